"""What one reading says as plain objects for JSON: numbers, null where there is none, and the sentences."""

import math
from collections.abc import Mapping
from typing import Any

from analysis.bay.one_reading import Charge, ReadingCheck
from dashboard.words.finding_words import finding_sentence
from dashboard.words.limit_words import CHECK_WORDS, held_to
from dashboard.words.next_words import next_measurement
from dashboard.words.reading_sheet import against_words, closure_words, fit_words, reason_words, rows_of
from dashboard.words.safety import said_with


def reading_object(check: ReadingCheck) -> dict[str, Any]:
    """The same for JSON: numbers, null where there is none, and the sentences."""
    closure = check.closure
    return {
        "temperature_c": _rounded(check.temperature_c, 1),
        "temperature_assumed": check.temperature_assumed,
        "identified": {
            one.element: {
                "value": _rounded(one.value), "se": _rounded(one.se), "unit": one.unit,
                "expected": _rounded(one.expected), "reason": reason_words(one.reason) or None,
            }
            for one in rows_of(check)
        },
        "assumed": {name: {"value": _rounded(v), "se": _rounded(se)} for name, (v, se) in check.assumed.items()},
        "closure": {
            "checked": closure.checked, "closes": closure.closes if closure.checked else None,
            "values": closure.values, "p_value": _rounded(closure.p_value, 6) if closure.checked else None,
            "suspect": closure.suspect or None, "measured": _rounded(closure.measured),
            "expected": _rounded(closure.expected), "se": _rounded(closure.se), "off": _rounded(closure.off),
            "also": list(closure.also), "measured_twice": list(closure.settled), "sentence": closure_words(check),
        },
        "against": {
            "earlier": check.against.earlier, "compared": check.against.compared,
            "moved": {
                m.name: {"measured": m.measured, "expected": _rounded(m.expected), "se": _rounded(m.se)}
                for m in check.against.moved
            },
            "sentence": against_words(check) or None,
        },
        "charge": _charge_object(check.charge, fit_words(check)[:-1]),
        "limits": [_limit_object(row) for row in check.limits.to_dict("records")],
        "points_to": [
            {"segment": f.segment, "sentence": sentence, "next": following, "minutes": f.minutes,
             "caution": said_with(f"{sentence} {following}")}
            for f in check.findings
            for sentence, following in [(finding_sentence(f), next_measurement(f))]
        ],
    }  # fmt: skip


def _charge_object(charge: Charge | None, sentences: list[str]) -> dict[str, Any] | None:
    if charge is None:
        return None
    return {
        "state_of_charge": _rounded(charge.soc, 3), "surface_charge_v": _rounded(charge.surface_v, 3),
        "surface_charge_se_v": _rounded(charge.surface_se_v, 3), "verdict": charge.level or "pass",
        "freezes_at_c": _rounded(charge.freezing_c, 1), "battery_mohm_when_full": _rounded(charge.full_mohm),
        "battery_se_mohm_when_full": _rounded(charge.full_se_mohm), "sentences": sentences,
    }  # fmt: skip


def _limit_object(row: Mapping[Any, Any]) -> dict[str, Any]:
    return {
        "check": CHECK_WORDS[row["check"]], "verdict": row["verdict"], "value": _rounded(float(row["value"])),
        "limit": _rounded(float(row["limit"])), "margin": _rounded(float(row["margin"])), "unit": row["value_unit"],
        "words": held_to(row), "source": row["source"],
    }  # fmt: skip


def _rounded(value: float, digits: int = 4) -> float | None:
    return round(value, digits) if math.isfinite(value) else None
