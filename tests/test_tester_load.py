"""The tester's load is asked once: a loaded check is judged by ohms with the load last noted for that instrument, or device.

Truth: by hand, 12.6 V through 2.4 Ω into 0.17 Ω of two windings leave 0.83 V, into 0.40 Ω 1.80 V.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from samples_ingest import NOW, fleet
from sqlite_utils import Database
from test_one_reading import UNIT, fitting, take

from analysis.bay.findings import locate_segment
from analysis.bay.one_reading import ReadingCheck
from dashboard.desk.reading_source import load_of_tester
from dashboard.screens import bay
from ingest.entries import record_reading

AT = pd.Timestamp("2024-05-20T09:00")


@pytest.fixture
def db(tmp_path: Path) -> Database:
    made = fleet(tmp_path)
    rows = (
        ("K-101", "2024-05-01", "lamp", "2.4"),
        ("K-102", "2024-05-03", "lamp", "2.5"),
        ("K-102", "2024-05-04", "led", "48"),
    )
    for unit, day, instrument, load in rows:
        values = {"unit": unit, "taken_at": f"{day}T09:00", "instrument": instrument, "tester_load_ohm": load,
                  "control_loaded_v": "0.8"}  # fmt: skip
        assert record_reading(made, values, by="ben", now=NOW).stored
    return made


def test_the_load_last_noted_with_an_instrument_stands_for_one_not_noted(db: Database) -> None:
    check = {"taken_at": AT, "control_loaded_v": 0.8, "instrument": "lamp"}
    assert load_of_tester(db, check) == 2.5
    assert load_of_tester(db, check | {"taken_at": pd.Timestamp("2024-05-02")}) == 2.4, "what came later is not known"
    assert load_of_tester(db, check | {"tester_load_ohm": 10.0}) == 10.0
    assert load_of_tester(db, check | {"instrument": "another"}) is None
    assert load_of_tester(db, check | {"instrument": ""}) is None
    assert load_of_tester(db, {"taken_at": AT, "rest_v": 12.6, "instrument": "lamp"}) is None, (
        "no loaded check, no load"
    )


def test_a_device_is_asked_once() -> None:
    meter = bay.meter_of({"meter": {"tester_load_ohm": 2.4}})
    assert bay.values_of("A", {"control_loaded_v": "0.8"}, meter)["tester_load_ohm"] == "2.4"
    assert bay.values_of("A", {"control_loaded_v": "0.8", "tester_load_ohm": "48"}, meter)["tester_load_ohm"] == "48"
    assert "tester_load_ohm" not in bay.values_of("A", {"rest_v": "12.6"}, meter)
    assert bay.meter_of({"meter": {"tester_load_ohm": "<b>"}}).tester_load_ohm is None


def test_volts_that_a_lamp_calls_bad_are_good_for_a_headlamp_bulb() -> None:
    """The same 0.82 V: 0.17 Ω under 2.4 Ω, 3.3 Ω under 48 Ω where hold-in is known to have 1.4 Ω."""
    loaded = {"rest_v": 12.6, "control_loaded_v": 0.82, "coil_loaded_v": 0.81, "usual_coil_ohm": 1.4}
    assert [f.segment for f in locate_segment(loaded | {"tester_load_ohm": 2.4})] == ["none"]
    assert locate_segment(loaded | {"tester_load_ohm": 48.0})[0].segment == "coil"


def doubted(check: ReadingCheck) -> dict[str, str]:
    return {finding.doubts: finding.row for finding in check.findings if finding.doubts}


@pytest.mark.parametrize(
    ("changed", "name"),
    [({"drop_ground_v": 1.5}, "drop_ground_v"), ({"crank_a": 88.0}, "crank_a"), ({"rest_v": 12.1}, "rest_v"),
     ({"doubtful": "drop_ground_v", "drop_ground_v": 1.05}, "drop_ground_v")],
    ids=["drop", "clamp", "rest", "slip"],
)  # fmt: skip
def test_whatever_is_not_believed_counts_once_it_was_measured_twice(changed: dict[str, object], name: str) -> None:
    """A finding that says "measure again" names the value, so that the phone can ask; the answer silences it. Until then no
    limit judges it, nor anything by it."""
    reading = {**fitting(), "outcome": "started", **changed}
    assert name in doubted(take(reading, unit=UNIT))
    assert not any(check.startswith(name) for check in take(reading, unit=UNIT).limits["check"])
    again = take({**reading, "doubtful": "", "confirmed": name}, unit=UNIT)
    assert name not in doubted(again)
