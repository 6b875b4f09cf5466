"""Single readings judged as a tradesperson would: a bench of sound and faulty ones, each with where its conclusion is from.

The readings come from a forward model of their own (`bench/starts.py`); the vehicles have nine sound readings each, none
colder than 2 °C, before the one that is judged.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from bench.cases import CASES, FAULTY, SOUND, Case, times
from bench.starts import BUILDS, SCATTER, missing, reading, sound_history, units
from samples_chance import one_in
from samples_fleet import expected_of

from analysis.bay.expected import ClassKnowledge, Expected, class_knowledge
from analysis.bay.one_reading import ReadingCheck, check_one_reading
from analysis.circuit.limit_book import LimitBook, limits_from_mapping
from analysis.circuit.limits import LIMIT_KEYS, SYSTEM_VOLTAGES, default_limits
from analysis.readings.class_laws import estimate_laws
from analysis.readings.panel import FleetTables, days_since_epoch, make_panel, without_slips
from dashboard.words.finding_words import finding_sentence

AT = pd.Timestamp("2025-11-20T09:00")
PRINTED = LimitBook()


@pytest.fixture(scope="module")
def expected() -> dict[str, Expected]:
    """What one vehicle of each class should show, from its class's sound readings."""
    every, history = units(), sound_history()
    panel = without_slips(make_panel(every, history))
    empty = pd.DataFrame()
    none = pd.DataFrame({"unit": pd.Series(dtype=str), "done_on": pd.Series(dtype="datetime64[ns]"),
                         "part": pd.Series(dtype=str), "action": pd.Series(dtype=str), "reason": pd.Series(dtype=str)})  # fmt: skip
    found, laws = {}, estimate_laws(panel)
    for name, build in BUILDS.items():
        known: ClassKnowledge = class_knowledge(panel, f"{name} {build.system_v} V", laws)
        first = every[every["unit"] == f"{name}-0"].reset_index(drop=True)
        own = history[history["unit"] == f"{name}-0"]
        tables = FleetTables(first, own, none, empty, empty)
        found[name] = expected_of(tables, float(days_since_epoch(pd.DatetimeIndex([AT]))[0]), known)
    return found


def judged(case: Case, expected: Expected, book: LimitBook = PRINTED) -> ReadingCheck:
    """The case's reading, taken apart."""
    build = BUILDS[case.build]
    own = replace(build, **{name: getattr(build, name) * factor for name, factor in case.parts.items()})
    shown: dict[str, Any] = reading(own, case.celsius)
    typed = {name: value(shown[name]) if callable(value) else value for name, value in case.shown.items()}
    values = shown | missing(case.gone) | typed
    unit = units().set_index("unit").loc[f"{case.build}-0"].to_dict() | {"unit": f"{case.build}-0"}
    limits = book.for_group(case.build, build.system_v, build.fuel, float(build.cylinders))
    marks = {"taken_at": AT, "outcome": case.outcome, "jumper_start": case.jumper, "doubtful": case.doubted}
    return check_one_reading(values | marks, unit, expected, limits, book)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_bench(case: Case, expected: dict[str, Expected]) -> None:
    found = judged(case, expected[case.build]).findings
    said = [finding.segment for finding in found]
    rows = [f"{finding.row}: {finding_sentence(finding)}" for finding in found]
    assert (said[0] if said else "none") in case.first, (rows, case.source)
    assert not set(said) & set(case.never), (rows, case.source)


@pytest.mark.parametrize("end", one_in(2, ["lowest", "highest"]))
def test_limits_at_the_end_of_what_may_be_set_are_judged_by(end: str, expected: dict[str, Expected]) -> None:
    """Property: every limit at once at an end of its range: readings are taken apart, other values are beyond it, something else is found."""
    own = {system_v: default_limits(system_v) for system_v in SYSTEM_VOLTAGES}
    book = limits_from_mapping(
        {f"system_{v}": {key: getattr(getattr(own[v], key), end) for key in LIMIT_KEYS} for v in SYSTEM_VOLTAGES}
    )
    some = [case for case in FAULTY if not case.gone][:: 1 + len(FAULTY) // 8]
    plain, at_end = ([judged(case, expected[case.build], of) for case in some] for of in (PRINTED, book))
    assert all(
        not one.limits["verdict"].equals(other.limits["verdict"]) for one, other in zip(plain, at_end, strict=True)
    )
    assert any(one.findings != other.findings for one, other in zip(plain, at_end, strict=True))


def test_the_bench_has_enough_of_both() -> None:
    """Nothing is won by crying wolf: sound readings about as often as faulty ones, cold and 24 V among them."""
    assert len(CASES) >= 70
    assert len(SOUND) >= 0.4 * len(CASES)
    assert sum(case.celsius <= -15 for case in SOUND) >= 8
    assert sum(BUILDS[case.build].system_v == 24 for case in FAULTY) >= 15
    assert all(case.source for case in CASES)


@pytest.mark.parametrize("starts", [20, pytest.param(40, marks=pytest.mark.nightly)])
def test_sound_starts_in_any_weather_name_no_part(starts: int, expected: dict[str, Expected]) -> None:
    """Vehicles that differ by a tenth from their class, oils from thin to thick, -28 to 30 °C, meters that scatter."""
    rng = np.random.default_rng(3)
    named = []
    for _ in range(starts):
        name = str(rng.choice(list(BUILDS)))
        parts = {
            p: float(np.exp(0.09 * rng.standard_normal()))
            for p in ("battery", "positive", "ground", "contacts", "torque")
        }
        case = Case("sound", name, float(rng.uniform(-28.0, 30.0)), ("none",), (), "own model", parts=parts)
        factors = {n: times(1.0 + sd * float(rng.standard_normal())) for n, sd in SCATTER.items()}
        named += [
            finding_sentence(finding) for finding in judged(replace(case, shown=factors), expected[name]).findings
        ]
    assert len(named) <= 1, named
