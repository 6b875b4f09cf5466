"""The bay screen's logic without the screen: fields, meter units, what to say before a reading is saved."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from analysis.bay.one_reading import ReadingCheck
from analysis.bay.verdict import LOAD_TEST_CHECK
from dashboard.desk.reading_source import LOADED, latest_trusted
from dashboard.screens.one_unit import Facts
from dashboard.words import bay_words as say
from dashboard.words import reading_sheet, record_words
from dashboard.words.next_words import next_measurement
from dashboard.words.plain_text import MINUS, as_sentence, below_nil, fahrenheit_of, number
from dashboard.words.safety import with_caution
from ingest.entries import Entry
from ingest.fields import KM_PER_MILE, MAIN_DROPS, MV_PER_V, QUANTITIES
from ingest.values import joined

PASS, WATCH, ACT, DOUBT, WRONG = "pass", "watch", "act", "doubt", "wrong"
SAID: Final = {PASS: say.GOOD, WATCH: say.WATCH, ACT: say.OUTSIDE_LIMIT, DOUBT: say.DOUBTFUL, WRONG: say.WRONG}
LARGE_CLAMP, SMALL_CLAMP = 1.0, 100.0  # [mV/A] usual scales of a large and of a small clamp; common practice
ENOUGH: Final = (
    "rest_v", "crank_min_v", "crank_a", "drop_positive_v", "drop_ground_v", "drop_contacts_v", "temperature_c",
)  # fmt: skip


@dataclass(frozen=True)
class Meter:
    """Units of one device's meter and clamps, and the load of its tester [Ω]; a clamp scale of None means that the meter
    shows amps itself, a load of None that nobody has said it."""

    fahrenheit: bool = False
    drops_mv: bool = False
    large_clamp_mv_per_a: float | None = None
    small_clamp_mv_per_a: float | None = None
    miles: bool = False
    tester_load_ohm: float | None = None

    def scale_of(self, name: str) -> float:
        """What a clamp shows for an amp [mV/A]; 1 where it shows amps."""
        return (self.small_clamp_mv_per_a if name == "coil_a" else self.large_clamp_mv_per_a) or 1.0


LABELS: Final = {name: quantity.label for name, quantity in QUANTITIES.items()}


def meter_of(memory: Mapping[str, Any], *, fahrenheit: bool = False) -> Meter:
    """The meter that a device remembers; anything unusable counts as not remembered.

    fahrenheit: how the thermometer reads where no meter is remembered at all.
    """
    kept = memory.get("meter", {"fahrenheit": fahrenheit})
    kept = kept if isinstance(kept, Mapping) else {}
    return Meter(
        fahrenheit=kept.get("fahrenheit") is True,
        drops_mv=kept.get("drops_mv") is True,
        large_clamp_mv_per_a=_scale(kept.get("large_clamp_mv_per_a")),
        small_clamp_mv_per_a=_scale(kept.get("small_clamp_mv_per_a")),
        miles=kept.get("miles") is True,
        tester_load_ohm=_scale(kept.get("tester_load_ohm")),
    )


def _scale(value: object) -> float | None:
    good = isinstance(value, int | float) and not isinstance(value, bool) and 0 < value <= 10_000
    return float(value) if good and isinstance(value, int | float) else None


def column(name: str, meter: Meter) -> str:
    """The column that a field fills with this meter: `drop_ground_mv`, `crank_clamp_mv`, `temperature_f` ..."""
    if name == "temperature_c" and meter.fahrenheit:
        return "temperature_f"
    if name == "odometer_km" and meter.miles:
        return "odometer_mi"
    if (name.startswith("drop_") or name.endswith(("loaded_v", "alone_v"))) and meter.drops_mv:
        return name.removesuffix("_v") + "_mv"
    if name in ("crank_a", "peak_a") and meter.large_clamp_mv_per_a is not None:
        return name.removesuffix("_a") + "_clamp_mv"
    if name == "coil_a" and meter.small_clamp_mv_per_a is not None:
        return "coil_clamp_mv"
    return name


def unit_of(name: str, meter: Meter) -> str:
    """The unit a field is typed in with this meter."""
    filled = column(name, meter)
    if filled.endswith("_mv"):
        return "mV"
    if filled in ("temperature_f", "odometer_mi"):
        return "°F" if filled == "temperature_f" else "mi"
    return QUANTITIES[name].unit


def shown(name: str, value: float, meter: Meter) -> str:
    """A stored value in the unit that this meter shows, without the unit."""
    filled = column(name, meter)
    if filled == "temperature_f":
        return number(fahrenheit_of(value))
    if filled == "odometer_mi":
        return number(value / KM_PER_MILE)
    if filled.endswith("_clamp_mv"):
        return number(value * meter.scale_of(name))
    if filled.endswith("_mv"):
        return number(value * MV_PER_V)
    return number(value, QUANTITIES[name].digits)


def asked(name: str, meter: Meter) -> str:
    """The words over a field: what, in which unit with this meter, and where."""
    quantity = QUANTITIES[name]
    where = f" ({quantity.where})" if quantity.where else ""
    return f"{quantity.label}, {unit_of(name, meter)}{where}"


def last_words(name: str, last: Mapping[str, float], meter: Meter) -> str:
    """The value read last as a hint in its field; "" where there is none."""
    return say.LAST.format(value=shown(name, last[name], meter)) if name in last else ""


def with_unit(name: str, value: float, meter: Meter) -> str:
    """A stored value with the unit that this meter shows."""
    return f"{shown(name, value, meter)} {unit_of(name, meter)}"


def values_of(unit: str, typed: Mapping[str, str], meter: Meter) -> dict[str, object]:
    values: dict[str, object] = {"unit": unit}
    for name, text in typed.items():
        if not text.strip():
            continue
        filled = column(name, meter) if name in LABELS else name
        values[filled] = text.strip().replace(MINUS, "-")
        if filled.endswith("_clamp_mv"):
            values[f"{filled}_per_a"] = str(meter.scale_of(name))
    if meter.tester_load_ohm is not None and any(name in typed for name in LOADED):
        values.setdefault("tester_load_ohm", str(meter.tester_load_ohm))
    return values


_SPOKEN = {**{n: label.split(",")[0] for n, label in record_words.LABELS.items() if "_" in n}, **LABELS}
"""Column -> what a sentence calls it; names that are plain words too stay as they are."""
_NAMES = re.compile(r"\b(" + "|".join(sorted((re.escape(n) for n in _SPOKEN), key=len, reverse=True)) + r")\b")


def spoken(sentence: str) -> str:
    """A sentence of the checks with the field's label for the column's name, and a minus before what is below nil."""
    said = _NAMES.sub(lambda match: _SPOKEN[match.group(1)].lower(), sentence)
    return as_sentence(below_nil(said))


@dataclass(frozen=True)
class Line:
    """What is said beside a field: verdict (pass, watch, act, doubt, wrong or "") and the rest of the sentence."""

    verdict: str
    sentence: str


def field_lines(
    facts: Facts, typed: Mapping[str, str], entry: Entry | None, check: ReadingCheck | None, meter: Meter,
    limits: Mapping[str, str],
) -> dict[str, list[Line]]:  # fmt: skip
    """Field -> what to say beside it: what is wrong or doubtful about its value, its verdict, its limit, its last value, and
    what it should be by earlier readings where it is not; good by its limit and worse than that is to be watched."""
    last, _ = latest_trusted(facts.readings)
    judged = {} if check is None else _verdicts(check, meter)
    moved = {} if check is None else {m.name: m for m in check.against.moved}
    said: dict[str, list[Line]] = {}
    for name in QUANTITIES:
        lines = [] if entry is None or name not in typed else _wrong_or_doubtful(name, entry, check, meter)
        verdict, margin = judged.get(name, ("", "")) if name in typed else ("", "")
        before = say.LAST.format(value=with_unit(name, last[name], meter)) if name in last and name in typed else ""
        unlike = ""
        if name in moved and name in typed and not lines:
            unlike = say.BY_EARLIER.format(value=with_unit(name, moved[name].expected, meter))
            verdict = WATCH if verdict in ("", PASS) and reading_sheet.perhaps_worse(moved[name]) else verdict
        rest = "; ".join(part for part in (limits.get(name, ""), margin, before, unlike) if part)
        said[name] = [*lines, *([Line(verdict, rest)] if rest else [])]
    return said


def _wrong_or_doubtful(name: str, entry: Entry, check: ReadingCheck | None, meter: Meter) -> list[Line]:
    """Why the value cannot be, or may not be right."""
    wrong = [Line(WRONG, spoken(p)) for p in entry.problems if name in columns_in(p, meter)]
    doubts = dict(zip(entry.doubtful, entry.doubts, strict=False))
    if name in doubts:
        wrong.append(Line(DOUBT, say.KEPT_NOT_USED.format(doubt=spoken(doubts[name]))))
    elif check is not None and reading_sheet.misfit(check) and check.closure.suspect == name:
        fits = f"{reading_sheet.amount(name, check.closure.expected)} ± {reading_sheet.amount(name, check.closure.se)}"
        wrong.append(Line(DOUBT, say.DOES_NOT_FIT.format(value=fits)))
    return wrong


def columns_in(sentence: str, meter: Meter) -> set[str]:
    """Fields that a sentence of the checks names, whichever unit's column it names."""
    return {name for name in QUANTITIES if re.search(rf"\b({name}|{column(name, meter)})\b", sentence)}


def to_confirm(typed: Mapping[str, str], entry: Entry, check: ReadingCheck | None, meter: Meter) -> set[str]:
    """Fields of which it can be asked whether they were measured twice: doubtful, not fitting, not believed by a finding, or air that is
    not of the season; no other value that cannot be becomes one by measuring it twice."""
    names = set(entry.doubtful) | set(entry.confirmed)
    if isinstance(entry.values.get("temperature_c"), float):
        names |= {name for p in entry.problems for name in columns_in(p, meter) if name == "temperature_c"}
    if check is not None and reading_sheet.misfit(check):
        names.add(check.closure.suspect)
    if check is not None:
        names |= {finding.doubts for finding in check.findings if finding.doubts}
    return names & set(typed)


def summary(lines: Mapping[str, list[Line]], entry: Entry) -> Line:
    worst = {v: [n for n, of in lines.items() if any(one.verdict == v for one in of)] for v in SAID}
    if entry.problems:
        named = f" ({joined([LABELS[n].lower() for n in worst[WRONG]])})" if worst[WRONG] else ""
        return Line(WRONG, say.CANNOT_BE_SAVED.format(field=named))
    for verdict in (ACT, DOUBT, WATCH):
        if worst[verdict]:
            return Line(verdict, joined([LABELS[n].lower() for n in worst[verdict]]))
    return Line(PASS, say.WHAT_CAN_BE_JUDGED) if worst[PASS] else Line("", say.NO_LIMIT)


CHECK_OF: Final = {
    LOAD_TEST_CHECK: "crank_min_v",
    **{name: name for name in ("rest_v", "crank_min_v", *MAIN_DROPS, "drop_control_v", "crank_rpm", "feed_v")},
    **{f"{name}_{side}": name for name in ("crank_a", "coil_a", "pull_in_a", "charging_v") for side in ("high", "low")},
}


def _verdicts(check: ReadingCheck, meter: Meter) -> dict[str, tuple[str, str]]:
    """Worst verdict of each measured column, and how far outside its limit it is, or that amps move the limit past it."""
    found: dict[str, tuple[str, str]] = {}
    rank = {PASS: 0, WATCH: 1, ACT: 2}
    for one in check.limits.to_dict("records"):
        name = CHECK_OF.get(str(one["check"]))
        if name is None:
            continue
        words = _outside(name, one, meter) if float(one["margin"]) < 0 else _yet_inside(name, one, meter)
        if name not in found or rank[str(one["verdict"])] > rank[found[name][0]]:
            found[name] = (str(one["verdict"]), words)
    return found


def _outside(name: str, judged: Mapping[Any, Any], meter: Meter) -> str:
    """How far a value is outside its limit, and which where the amps or the cold move it."""
    limit, margin = (with_unit(name, abs(float(judged[n])), meter) for n in ("limit", "margin"))
    if str(judged["check"]) == LOAD_TEST_CHECK:
        return say.WOULD_HOLD.format(volts=with_unit(name, float(judged["value"]), meter), short=margin)
    return say.OUTSIDE.format(margin=margin, limit=limit) + (say.AT_THESE_AMPS if name in MAIN_DROPS else "")


def _yet_inside(name: str, judged: Mapping[Any, Any], meter: Meter) -> str:
    """The limit of a drop that is over the printed one and within it at the amps that flowed; "" for all others."""
    if name not in MAIN_DROPS or float(judged["value"]) <= float(judged["printed"]):
        return ""
    return say.AT_MOST_HERE.format(limit=with_unit(name, float(judged["limit"]), meter))


def measure_next(check: ReadingCheck, entry: Entry) -> str:
    """What to measure next and why, or "" when enough was measured: what is not believed, then the charge, then what does
    not fit."""
    first = next((f for f in check.findings if f.doubts and f.following), None)
    if first is not None:
        return with_caution(say.ABOUT_MIN.format(what=as_sentence(next_measurement(first)), minutes=first.minutes))
    charged = check.charge is None or check.charge.level != "act"
    if charged and reading_sheet.misfit(check):
        words = reading_sheet.VALUE_WORDS[check.closure.suspect]
        return say.ONCE_MORE.format(what=as_sentence(words))
    for finding in check.findings:
        if finding.following:
            return with_caution(
                say.ABOUT_MIN.format(what=as_sentence(next_measurement(finding)), minutes=finding.minutes)
            )
    for name in ENOUGH:
        if entry.values.get(name) in (None, ""):
            return say.MORE_WORTH[name]
    return ""
