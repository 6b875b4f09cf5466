"""List and vehicle page: where they say different figures, both are said, and since when.

Truth: worked by hand on rows written here; on the screens, the same assessment with figures changed by the test.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from pathlib import Path

import pandas as pd
import pytest
from samples_screens import AS_OF, assessed, worst_unit
from test_views import run, said

from dashboard.desk import weekly
from dashboard.screens import session
from dashboard.words.since import changed, since_issued
from ingest import store
from ingest.records import WeeklyList

THEN = {
    "no_start_probability": 0.081, "coldest_start_c": -12.4, "coldest_start_low_c": -20.0, "coldest_start_high_c": -6.0,
    "part_probability": 0.9, "part": "battery", "act_by": "2026-11-30",
    "last_reading_on": "2026-11-13",
}  # fmt: skip
NOW = THEN | {"flagged": True, "act_by": pd.Timestamp("2026-11-30"), "last_reading_on": pd.Timestamp("2026-11-13")}


def test_only_what_reads_otherwise_is_said_with_both_figures() -> None:
    """Worked by hand: 8.1 % and 8.4 % read alike, 8 % and 23 % do not; −12.4 °C is 10 °F, −8 °C is 18 °F."""
    months = {"horizons": (30, 30), "days": ("2026-11-23", "2026-11-27"), "fahrenheit": False}
    assert changed(THEN, NOW, **months) == []
    assert changed(THEN, NOW | {"no_start_probability": 0.084}, **months) == []
    newer = NOW | {"no_start_probability": 0.23, "coldest_start_c": -8.0, "act_by": pd.NaT, "part": "starter_motor"}
    assert changed(THEN, newer, **months) == [
        "no-start 8 % then, 23 % now", "starts down to −12 °C then, −8 °C now", "suspect battery then, starter motor now",
        "to act by 30 Nov 2026 then, no date now",
    ]  # fmt: skip
    wider = NOW | {"coldest_start_low_c": -21.0, "part_probability": 0.8}
    assert changed(THEN, wider, **months) == [
        "80 % sure of −20 °C to −6 °C then, −21 °C to −6 °C now", "its sureness 90 % then, 80 % now",
    ]  # fmt: skip
    assert changed(THEN, newer, **months | {"fahrenheit": True})[1] == "starts down to 10 °F then, 18 °F now"
    assert changed(THEN, NOW, **months | {"horizons": (30, 60)}) == [
        "no-start 8 % within 30 days then, 8 % within 60 days now"
    ]
    gone = changed(THEN, NOW | {"flagged": False}, **months)
    assert gone == ["on the list then, it would not be now"]
    at_once = THEN | {"act_by": "2026-11-21"}
    assert changed(at_once, NOW | {"act_by": pd.Timestamp("2026-11-27")}, **months) == []
    assert changed(THEN, NOW | {"act_by": pd.Timestamp("2026-11-27")}, **months) == [
        "to act by 30 Nov 2026 then, at once now"
    ]
    assert changed(None, NOW, **months) == ["not on the list then, it would be now"]
    assert changed(None, NOW | {"flagged": False}, **months) == []


def test_a_vehicle_of_the_list_that_left_service_since_is_said() -> None:
    issued = WeeklyList("2026-W49", "2026-11-30", "2026-11-30T06:00:00", {"horizon_days": 30})
    said = since_issued(issued, THEN, None, as_of="2026-12-02", horizon_days=30, fahrenheit=False)
    assert said == "Since the list of 2026-W49 was issued: out of service now."


def test_list_and_page_say_what_changed_since_the_list_was_issued(
    fleet: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A list issued with other figures: both pages say both figures; nothing is said where nothing differs."""
    unit = worst_unit()
    older = assessed().units.copy()
    older.loc[older["unit"] == unit, "no_start_probability"] = 0.2345
    db = store.open_database(fleet)
    assert weekly.issue(db, dataclasses.replace(assessed(), units=older))
    day_after = AS_OF + dt.timedelta(days=1)
    monkeypatch.setenv("CRANKTREND_TODAY", day_after.isoformat())
    session.judge().ask(session.key_of(day_after)).result(60)
    words = "Since the list of 2026-W49 was issued: no-start 23 % then, "
    for page in (run("unit", unit=unit), run()):
        text = said(page).replace("\\", "").replace("\u00a0", " ")
        assert text.count(words) == 1
    other = str(assessed().units["unit"].iloc[1])
    assert "Since the list" not in said(run("unit", unit=other))
