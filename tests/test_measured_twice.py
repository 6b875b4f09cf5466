"""A value that the technician measured twice is stored, believed and used; what physics forbids stays forbidden.

Truth: values typed by the test itself; Kirchhoff's laws for what cannot be, however often it is measured.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from samples_ingest import NOW, fleet
from samples_plan import measured_next
from sqlite_utils import Database
from test_one_reading import fitting, take

from analysis.bay.choices import EXPECTING
from analysis.bay.findings import locate_segment
from analysis.bay.next_measurement import made_already
from analysis.readings.observe import GROUND
from analysis.readings.panel import FleetTables, days_since_epoch, make_panel, without_slips
from analysis.wear.state import estimate_state
from dashboard.cli.main import main
from dashboard.files import reading_json
from dashboard.screens import one_unit
from dashboard.words import reading_sheet
from demo_fleet.simulate import simulate_fleet
from demo_fleet.specs import MIXED, FleetSpec, healthy_growth
from ingest.corrections import correct
from ingest.entries import check_reading, record_reading
from ingest.store import open_database, read_readings

DROPS = (0.10, 0.11, 0.10)
SLIP = {"unit": "K-101", "taken_at": "2024-05-20T09:00", "drop_ground_v": "1.05", "rest_v": "12.6"}


@pytest.fixture
def db(tmp_path: Path) -> Database:
    """K-101 with three readings of a steady ground drop."""
    made = fleet(tmp_path)
    for day, drop in enumerate(DROPS, start=1):
        values = {
            "unit": "K-101",
            "taken_at": f"2024-05-0{day}T09:00",
            "drop_ground_v": drop,
            "odometer_km": 80_000 + day,
        }
        assert record_reading(made, values, by="ben", now=NOW).stored
    return made


def test_a_doubted_value_is_believed_when_measured_twice(db: Database) -> None:
    assert check_reading(db, SLIP, now=NOW).doubtful == ("drop_ground_v",)
    assert check_reading(db, SLIP, now=NOW, confirmed=["drop_ground_v"]).doubtful == ()
    entry = record_reading(db, SLIP, by="ben", now=NOW, confirmed=["drop_ground_v"])
    assert entry.stored
    last = read_readings(db).iloc[-1]
    assert (last["confirmed"], last["doubtful"]) == ("drop_ground_v", "")
    units = pd.DataFrame({"unit": ["K-101"], "vehicle_class": ["panel_van"], "system_v": [12]})
    panel = make_panel(units, read_readings(db))
    assert panel.measured["drop_ground_v"][0, -1] == 1.05


def test_the_mark_is_shown_among_the_readings(db: Database) -> None:
    record_reading(db, SLIP, by="ben", now=NOW, confirmed=["drop_ground_v"])
    facts = one_unit.Facts({"unit": "K-101"}, read_readings(db), pd.DataFrame(), pd.DataFrame())
    assert one_unit.readings_shown(facts)["confirmed"].tolist() == ["drop ground", "", "", ""]
    assert one_unit.reading_columns()["confirmed"]["label"] == "measured twice"


def test_what_was_measured_twice_begins_a_new_past(db: Database) -> None:
    """An instrument cluster that was replaced starts low: the next readings are held against the new one."""
    for day, km in enumerate((50, 900), start=21):
        values = {"unit": "K-101", "taken_at": f"2024-05-{day}T09:00", "rest_v": 12.6, "odometer_km": km}
        twice = ["odometer_km"] if km == 50 else []
        assert record_reading(db, values, by="ben", now=NOW, confirmed=twice).doubtful == ()
    assert (read_readings(db)["doubtful"] == "").all()


def test_another_doubt_beside_it_stays(db: Database) -> None:
    entry = check_reading(db, SLIP | {"odometer_km": 20_000}, now=NOW, confirmed=["drop_ground_v"])
    assert entry.doubtful == ("odometer_km",)
    amps = {"rest_v": 12.6, "crank_min_v": 12.2, "crank_a": 1900, "unit": "K-101", "odometer_km": 20_000}
    both = check_reading(db, amps, now=NOW)
    assert both.doubtful == ("odometer_km", "crank_a")
    assert [d.split()[0] for d in both.doubts] == list(both.doubtful), "one sentence each, though one has a semicolon"


def test_an_unlikely_temperature_is_set_aside_until_it_is_measured_twice(db: Database) -> None:
    """-35 °C at the harbour in May is beyond the depot's season, and within what a thermometer shows."""
    cold = SLIP | {"drop_ground_v": "0.1", "temperature_c": "-35"}
    assert "for the depot and month" in check_reading(db, cold, now=NOW).problems[0]
    assert record_reading(db, cold, by="ben", now=NOW, confirmed=["temperature_c"]).stored
    assert (
        "temperature"
        in check_reading(db, cold | {"temperature_c": "-80"}, now=NOW, confirmed=["temperature_c"]).problems[0]
    )


@pytest.mark.parametrize(
    "values",
    [{"drop_ground_v": "12.7"}, {"rest_v": "126.5"}, {"crank_min_v": "13.5"}, {"crank_a": "-20"},
     {"crank_a": "300", "peak_a": "200"}],
)  # fmt: skip
def test_what_physics_forbids_is_not_stored_however_often_it_is_measured(db: Database, values: dict[str, str]) -> None:
    given = {"unit": "K-101", "rest_v": "12.6", "crank_min_v": "11.2"} | values
    entry = record_reading(db, given, by="ben", now=NOW, confirmed=list(values))
    assert entry.problems
    assert not entry.stored
    assert len(read_readings(db)) == len(DROPS)


def test_a_corrected_value_was_not_measured_twice(db: Database) -> None:
    number = record_reading(db, SLIP, by="ben", now=NOW, confirmed=["drop_ground_v", "rest_v"]).row_id
    assert number is not None
    assert correct(db, "reading", number, {"drop_ground_v": "1.02"}, by="ann", reason="misread", now=NOW).stored
    last = read_readings(db).iloc[-1]
    assert (last["confirmed"], last["doubtful"]) == ("rest_v", "drop_ground_v")


def test_the_closure_takes_it_as_right_and_says_what_has_changed() -> None:
    reading = fitting() | {"drop_ground_v": 0.9}
    assert take(reading).closure.suspect == "drop_ground_v"
    settled = take(reading | {"confirmed": "drop_ground_v"})
    assert settled.closure.closes
    assert settled.closure.settled == ("drop_ground_v",)
    assert not reading_sheet.misfit(settled)
    words = reading_sheet.closure_words(settled)
    assert words.startswith("Ground path drop: measured twice, so that the ground path has changed.")
    said = reading_json.reading_object(settled)["closure"]
    assert said["measured_twice"] == ["drop_ground_v"]
    assert said["sentence"] == words


def test_a_second_wrong_value_is_still_found() -> None:
    reading = fitting() | {"drop_ground_v": 0.9, "drop_positive_v": 1.4, "confirmed": "drop_ground_v"}
    closure = take(reading).closure
    assert (closure.closes, closure.suspect) == (False, "drop_positive_v")
    assert closure.p_value < EXPECTING.closes_at


def test_a_value_measured_twice_that_fits_changes_nothing() -> None:
    twice, once = take(fitting() | {"confirmed": "drop_ground_v"}).closure, take(fitting()).closure
    assert (twice.closes, twice.settled, twice.p_value) == (True, (), once.p_value)


def test_analysis_uses_amps_far_from_the_class_when_measured_twice() -> None:
    """Five times the class's amps is a slip to the panel, unless it was measured twice."""
    amps = [200.0] * 8 + [1000.0]
    units = pd.DataFrame({"unit": ["A"], "vehicle_class": ["van"], "system_v": [12]})
    readings = pd.DataFrame(
        {"unit": "A", "taken_at": pd.date_range("2026-01-01", periods=9), "crank_a": amps, "confirmed": ""}
    )
    assert np.isnan(without_slips(make_panel(units, readings)).measured["crank_a"][0, -1])
    readings.loc[8, "confirmed"] = "crank_a,rest_v"
    assert without_slips(make_panel(units, readings)).measured["crank_a"][0, -1] == 1000.0


def test_the_trend_uses_it_and_calls_it_no_slip() -> None:
    """A ground drop six times its past, alone: a slip more likely than wear, unless it was measured twice."""
    made = simulate_fleet(FleetSpec(1603, units=12, years=1.0, classes=MIXED, growth=healthy_growth(), gross=0.0))
    readings = made.readings.sort_values(["unit", "taken_at"]).reset_index(drop=True).assign(doubtful="", confirmed="")
    last = int(readings[(readings["unit"] == readings["unit"].iloc[0]) & readings["drop_ground_v"].notna()].index[-1])
    readings = readings[
        readings.index.isin([last]) | (readings["unit"] != readings["unit"].iloc[0]) | (readings.index < last)
    ]
    readings.loc[last, "drop_ground_v"] *= 6.0
    level, slip = {}, {}
    for twice in ("", "drop_ground_v"):
        readings.loc[last, "confirmed"] = twice
        tables = FleetTables(made.units, readings, made.repairs.iloc[:0], pd.DataFrame(), pd.DataFrame())
        day = float(days_since_epoch(pd.DatetimeIndex([readings["taken_at"].max()]))[0]) + 1.0
        state = estimate_state(tables, day, np.array([0.0]), draws=64)
        row = state.panel.units["unit"].tolist().index(readings.loc[last, "unit"])
        level[twice], slip[twice] = state.growth[GROUND].level[row], state.growth[GROUND].last_slip[row]
    assert slip[""] > 0.5
    assert slip["drop_ground_v"] == 0.0
    assert level["drop_ground_v"] > 2.0 * level[""]


@pytest.mark.usefixtures("db")
def test_record_takes_it_from_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    base = ["--db", str(tmp_path / "fleet.db"), "record", "K-101", "--taken-at", "2024-05-20T09:00"]
    assert main([*base, "--rest-v", "12.6", "--measured-twice", "drop_ground_v"]) == 2
    assert "--measured-twice names drop_ground_v, of which no value is given" in capsys.readouterr().err
    values = ["--rest-v", "12.6", "--drop-ground-v", "1.05"]
    assert main([*base, *values, "--measured-twice", "drop_ground_v"]) == 0
    assert "decimal point?" not in capsys.readouterr().err
    last = read_readings(open_database(tmp_path / "fleet.db")).iloc[-1]
    assert (last["confirmed"], last["doubtful"]) == ("drop_ground_v", "")


# --- what was measured is not asked for again ------------------------------------------------------------------------


def of_unit(**columns: list[object]) -> pd.DataFrame:
    count = len(next(iter(columns.values())))
    times = pd.date_range("2026-11-01", periods=count, freq="2D")
    return pd.DataFrame({"unit": "A", "taken_at": times, "doubtful": "", "confirmed": "", **columns})


def test_a_measurement_that_the_latest_readings_hold_is_not_asked_for() -> None:
    shares, risk = {"starter_motor": 0.5, "engine_drag": 0.45}, 0.5
    asked = measured_next(shares, risk=risk)
    assert asked is not None
    assert asked.name == "cranking_speed"
    made = made_already(of_unit(crank_rpm=[np.nan, 140.0], crank_a=[210.0, 220.0]))["A"]
    again = measured_next(shares, risk=risk, measured=made)
    assert again is None or again.name != "cranking_speed"


def test_what_counts_as_made() -> None:
    """Contacts three times, a loaded check once; not what is doubtful, long ago, or another vehicle's."""
    assert "contacts_three_times" in made_already(of_unit(drop_contacts_v=[0.1, 0.2, 0.1]))["A"]
    assert made_already(of_unit(drop_contacts_v=[0.1, 0.2]))["A"] == frozenset()
    assert made_already(of_unit(peak_a=[500.0]))["A"] == {"peak_a"}
    loaded = of_unit(control_loaded_v=[11.2], coil_loaded_v=[11.0])
    assert made_already(loaded)["A"] == {"control_wire_loaded"}
    assert made_already(of_unit(peak_a=[500.0], doubtful=["peak_a"]))["A"] == frozenset()
    old = of_unit(peak_a=[500.0, np.nan], taken_at=[pd.Timestamp("2026-07-01"), pd.Timestamp("2026-11-01")])
    assert made_already(old)["A"] == frozenset()
    assert made_already(of_unit(peak_a=[np.nan], confirmed=["crank_a"]))["A"] == {"repeat"}
    assert made_already(of_unit(peak_a=[])) == {}


def test_what_was_measured_after_an_advice_stands_until_a_part_is_renewed() -> None:
    """A check made in September is not asked for again because a service of November has read the usual values since; three
    readings over as many months are no check made three times, and the last reading is repeated by nothing before it."""
    days = [pd.Timestamp(day) for day in ("2026-09-02", "2026-09-04", "2026-09-06", "2026-11-20")]
    kinds = {"drop_contacts_v": [0.1, 0.2, 0.1, 0.1], "crank_min_v": [11.0, 11.1, 11.0, 9.0], "crank_a": [150.0] * 4}
    since = of_unit(**kinds, crank_rpm=[np.nan, 140.0, np.nan, np.nan], taken_at=days)
    assert made_already(since)["A"] == {"contacts_three_times", "cranking_speed"}
    apart = of_unit(drop_contacts_v=[0.1, 0.2, 0.1], taken_at=pd.date_range("2026-09-01", periods=3, freq="30D"))
    assert made_already(apart)["A"] == frozenset()
    for renewed, made in (("2026-09-01", True), ("2026-09-05", False)):
        renewed_on = pd.Series([pd.Timestamp(renewed)], index=["A"])
        assert ("cranking_speed" in made_already(since, renewed_on)["A"]) == made
    assert made_already(since, pd.Series([pd.NaT], index=["A"])) == made_already(since)


def test_a_reading_taken_for_an_advice_answers_it() -> None:
    """Rest volts alone, a load test's three values, one drop alone: no full set, so they were taken because asked for."""
    full = {"rest_v": 12.6, "crank_min_v": 11.0, "crank_a": 150.0, "drop_positive_v": 0.1, "drop_ground_v": 0.1,
            "drop_contacts_v": 0.1}  # fmt: skip
    assert made_already(of_unit(**{name: [value] for name, value in full.items()}))["A"] == frozenset()
    for name, columns in (
        ("rest_v_after_two_hours", ("rest_v",)),
        ("battery_load_test", ("rest_v", "crank_min_v", "crank_a")),
        ("positive_joints", ("drop_positive_v", "crank_a")),
        ("ground_joints", ("drop_ground_v",)),
    ):
        after = {c: [full[c], full[c] if c in columns else np.nan] for c in full}
        made = made_already(of_unit(**after))["A"]
        assert name in made, name
        asked = measured_next({"battery": 0.5, "ground_path": 0.3}, measured=made)
        assert asked is None or asked.name != name
    twice = made_already(of_unit(crank_min_v=[11.0, 11.1], crank_a=[150.0, 151.0]))["A"]
    assert "repeat" in twice


def test_a_reading_that_holds_the_test_is_not_followed_by_it() -> None:
    """Coil amps of 1 A call for the control circuit drop; 0.4 V of it are measured already."""
    low = {"coil_a": 1.0}
    assert [f.following for f in locate_segment(low)] == ["drop_control_v"]
    assert [f.following for f in locate_segment(low | {"drop_control_v": 0.4})] == [""]
    amps = {"crank_a": 60.0, "usual_crank_a": 150.0, "drop_contacts_v": 0.1}
    assert [(f.following, f.left) for f in locate_segment(amps)] == [
        ("three_drops", ("drop_positive_v", "drop_ground_v"))
    ]
