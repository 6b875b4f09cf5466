"""A reading taken apart on the screens and in the terminal: the bay before saving, the vehicle's page, `unit`, `record`.

Truth: values typed by the test itself, worked by hand; the small fleet's own readings.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from samples_screens import AS_OF, assess_here, assessed, one_reading_database, readings_of, shown, worst_unit
from streamlit.testing.v1 import AppTest
from test_views import run, said

from analysis.bay.next_measurement import CANDIDATES
from analysis.bay.repaired import readings_around
from dashboard.cli.main import main
from dashboard.cli.tables import unit_sheet
from dashboard.desk import assessment
from dashboard.desk.assessment import list_rows
from dashboard.desk.own_limits import limit_book
from dashboard.desk.reading_source import MEASURED_BY, expect, knowledge_of, latest_taken, unit_row
from ingest import store


def whole_reading(unit: str) -> dict[str, float]:
    """The vehicle's latest complete reading."""
    names = ["temperature_c", "rest_v", "crank_min_v", "crank_a", "peak_a", "drop_positive_v", "drop_ground_v"]
    readings = readings_of(unit).dropna(subset=names)
    return {name: float(readings[name].iloc[-1]) for name in names}


@pytest.mark.usefixtures("fleet")
def test_the_bay_says_what_does_not_fit_before_it_is_saved() -> None:
    """Peak amps a little above the steady ones: the clamp was too slow, or the starter is at its end."""
    unit = worst_unit()
    values = whole_reading(unit)
    app = run("bay", unit=unit)
    for name, value in {**values, "peak_a": 1.15 * values["crank_a"]}.items():
        app.text_input(key=f"m_{name}_{unit}_0").set_value(f"{value:g}")
    app.run()
    text = said(app)
    assert "The values do not fit" in text.replace("\\", "")
    assert "Measure the peak amps again before ordering a part" in text.replace("\\", "")
    assert "Peak amps once more" in text
    assert "battery" in app.table[0].value.index
    assert not app.button(key="save").disabled


@pytest.mark.nightly
@pytest.mark.usefixtures("fleet")
def test_the_bay_says_charge_first() -> None:
    """BCI table: 12.0 V (24 V: 24.0) at rest is below half charged."""
    unit = worst_unit()
    system_v = float(assessed().units.set_index("unit").loc[unit, "system_v"])
    app = run("bay", unit=unit)
    app.text_input(key=f"m_rest_v_{unit}_0").set_value(f"{system_v}").run()
    assert "charge it first, then measure again" in said(app).replace("\\", "")


@pytest.mark.nightly
def test_the_bay_takes_a_jumper_start_down(fleet: Path) -> None:
    unit = worst_unit()
    app = run("bay", unit=unit)
    app.text_input(key=f"m_rest_v_{unit}_0").set_value(
        "12.6" if "12" in str(unit_row(store.open_database(fleet), unit)["system_v"]) else "25.2"
    )
    app.button_group(key=f"jumper_start_{unit}_0").set_value("cranks").run()
    assert "the engine cranks" in said(app)
    app.number_input(key="meter_load").set_value(48.0)  # typed last thing before the press
    app.button(key="save").click().run()
    assert store.read_readings(store.open_database(fleet), units=[unit])["jumper_start"].iloc[-1] == "cranks"


@pytest.mark.usefixtures("fleet")
def test_the_vehicle_s_page_says_what_its_latest_reading_says() -> None:
    app = run("unit", unit=worst_unit(), tab="Latest reading")
    assert "What the latest reading says" in said(app)
    assert any('class="ct-title">Where the volts go' in str(one.value) for one in app.markdown)
    table = app.table[0].value
    assert list(table.columns) == ["this reading", "±", "expected", "unit"]
    assert {"battery", "motor winding", "control circuit", "cranking torque"} <= set(table.index)


@pytest.mark.nightly
def test_a_repair_with_readings_on_both_sides_stands_between_them(fleet: Path) -> None:
    """The latest such repair of the simulated fleet: what is said of it, and both bars."""
    db = store.open_database(fleet)
    readings, repairs = store.read_readings(db, before=AS_OF), store.read_repairs(db)
    for repair in repairs.iloc[::-1].to_dict("records"):
        own = readings[readings["unit"] == repair["unit"]]
        if readings_around(own, repair["done_on"], MEASURED_BY[repair["part"]]) is not None:
            break
    app = run("unit", unit=repair["unit"], tab="Readings and repairs")
    assert "Before and after the repair" in [head.value for head in app.subheader]
    html = next(str(one.value) for one in app.markdown if "ct-pair" in str(one.value))
    assert "<p>" in html
    assert html.count('role="img"') >= 2


@pytest.mark.nightly
def test_a_first_reading_of_a_class_is_not_held_against_anything(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shown(monkeypatch, one_reading_database(tmp_path / "one.db"), assess_here)
    text = said(run("unit", unit="X-1", tab="Latest reading")).replace("\\", "")
    assert "cannot be checked: fewer than three values can be compared" in text


def test_the_page_asks_for_no_measurement_that_was_made(fleet: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The vehicle's page and the list are worded from the same: with every candidate made, neither asks for another."""
    every = store.read_readings(store.open_database(fleet))
    unit = next(
        str(r["unit"]) for r in list_rows(assessed(), every, flagged_only=True) if r["next_test"] and not r["failed_on"]
    )
    assert "Enter a measurement" in links(run("unit", unit=unit))
    everything = {unit: frozenset(c.name for c in CANDIDATES)}
    monkeypatch.setattr(assessment, "made_already", lambda *_: everything)
    (row,) = [r for r in list_rows(assessed(), readings_of(unit), flagged_only=False) if r["unit"] == unit]
    asks = row["next_test"] is not None
    assert ("Enter a measurement" in links(run("unit", unit=unit))) == asks
    assert not asks


def links(app: AppTest) -> set[str]:
    """What the page's links say."""
    return {link.proto.label for link in app.get("page_link")}


def test_the_sheet_in_text_and_json(fleet: Path) -> None:
    """Additions only: what the contract names is as it was; the sheet's sentences are the JSON's."""
    unit, db = worst_unit(), store.open_database(fleet)
    readings = readings_of(unit)
    taken = latest_taken(db, unit_row(db, unit), readings, knowledge_of(assessed(), unit_row(db, unit)), limit_book(db))
    row = next(r for r in list_rows(assessed(), readings, flagged_only=False) if r["unit"] == unit)
    both = [
        unit_sheet(row, assessed(), readings, store.read_repairs(db), fmt=f, taken=taken) for f in ("table", "json")
    ]
    body = json.loads(both[1], parse_constant=pytest.fail)
    assert set(row) <= set(body)
    said = body["latest_reading"]
    assert set(said["identified"]["battery"]) == {"value", "se", "unit", "expected", "reason"}
    assert len(said["resistances_over_time"]) == 6
    flat = " ".join(both[0].split())
    for text in (said["closure"]["sentence"], *said["charge"]["sentences"], "Resistances over time, mΩ at 20 °C"):
        assert text in flat
    assert {one["verdict"] for one in said["limits"]} <= {"pass", "watch", "act"}


def test_what_is_expected_does_not_change_with_readings_taken_later(fleet: Path) -> None:
    unit, db = worst_unit(), store.open_database(fleet)
    row, readings = unit_row(db, unit), readings_of(unit)
    at = readings["taken_at"].iloc[-4]
    known = knowledge_of(assessed(), row)
    assert expect(db, row, readings, known, at=at) == expect(db, row, readings.iloc[:-4], known, at=at)


def test_record_says_it_all_and_a_dry_run_stores_nothing(fleet: Path, capsys: pytest.CaptureFixture[str]) -> None:
    unit = worst_unit()
    values = {**whole_reading(unit), "taken_at": "2025-11-11T08:00", "outcome": "slow", "jumper_start": "cranks"}
    words = [w for name, v in values.items() for w in (f"--{name.replace('_', '-')}", str(v))]
    before = len(store.read_readings(store.open_database(fleet)))
    assert main(["--db", str(fleet), "record", unit, "--dry-run", *words]) == 0
    dry = capsys.readouterr().out
    assert f"{unit}: reading checked, not stored" in dry
    assert len(store.read_readings(store.open_database(fleet))) == before
    assert main(["--db", str(fleet), "record", unit, *words]) == 0
    stored = capsys.readouterr().out
    assert stored.splitlines()[1:] == dry.splitlines()[1:], "the same advice before saving and after"
    for text in (
        "motor winding",
        "With a fused jumper",
        "checks passed",
        "solenoid coil: not identified, because the drop was not measured",
    ):
        assert text in stored
    mine = store.read_readings(store.open_database(fleet), units=[unit])
    kept = mine[mine["taken_at"] == "2025-11-11T08:00"].iloc[0]
    assert (kept["outcome"], kept["jumper_start"]) == ("slow", "cranks")
