"""On the screens nothing saved is permanent: undo in the confirmation, corrections in every field, the logbook.

Truth: what the test itself saved, read back from the database.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pandas as pd
import pytest
from samples_screens import AS_OF, assessed, worst_unit
from sqlite_utils import Database
from test_views import HOSTILE, run, said

from dashboard.screens import session
from dashboard.screens.session import TODAY_VARIABLE
from dashboard.words.plain_text import safe
from ingest import store
from ingest.corrections import correct, withdraw
from ingest.entries import record_repair
from ingest.logbook import read_logbook
from ingest.records import read_decisions, read_reset_answers, save_decision

OPENED, NOW = (dt.datetime.combine(AS_OF, dt.time(hour)) for hour in (5, 6))


@pytest.fixture
def db(fleet: Path, monkeypatch: pytest.MonkeyPatch) -> Database:
    monkeypatch.setattr(session, "now", lambda: OPENED)  # not the clock's time, before or after which NOW may be
    return store.open_database(fleet)


def repairs_of(db: Database, unit: str) -> pd.DataFrame:
    frame = store.read_repairs(db)
    return frame[frame["unit"] == unit]


def a_repair(db: Database, unit: str) -> int:
    """A battery charged today, by ben."""
    values = {"unit": unit, "part": "battery", "action": "charged"}
    return int(record_repair(db, values, by="ben", now=NOW).row_id or 0)


# --- sold or scrapped ------------------------------------------------------------------------------------------------


def test_a_vehicle_that_was_sold_leaves_what_is_chosen_from_and_its_page_says_so(
    db: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    unit = worst_unit()
    app = run("correct", unit=unit)
    app.button_group(key="what").set_value("vehicle").run()
    (field,) = [one for one in app.text_input if one.label.startswith("Last day in service")]
    field.set_value(AS_OF.isoformat()).run()
    app.text_input(key=f"because_vehicle_{unit}").set_value("sold")
    app.button(key="save_correction").click().run()
    assert store.read_units(db).set_index("unit").at[unit, "out_of_service"] == pd.Timestamp(AS_OF)
    page = run("unit", unit=unit)
    assert f"The last day in service of {safe(unit)} is" in said(page)
    assert {"Readings", "Repairs"} <= {one.value for one in page.subheader}, "what is on record can be read"
    assert "Starts down to" not in said(page)
    bay = run("bay", unit=unit)
    assert "The last day in service of" not in said(bay), "on its last day it is measured still"
    chosen = run("bay")
    chosen.text_input(key="pick").set_value(unit).run()
    assert [one.label for one in chosen.button if one.key == f"pick_{unit}"] == [safe(unit)]
    monkeypatch.setenv(TODAY_VARIABLE, (AS_OF + dt.timedelta(days=1)).isoformat())
    chosen = run("bay")
    chosen.text_input(key="pick").set_value(unit).run()
    assert [one.label for one in chosen.button if one.key == f"pick_{unit}"] == [f"{safe(unit)}, out of service"]


def test_the_bay_takes_no_reading_of_one_that_left(db: Database) -> None:
    unit = worst_unit()
    readings = store.read_readings(db, units=[unit])
    for number in readings.loc[readings["taken_at"] >= pd.Timestamp(AS_OF), "reading_id"]:
        withdraw(db, "reading", int(number), by="ben", reason="later", now=NOW)
    before = (AS_OF - dt.timedelta(days=1)).isoformat()
    assert correct(db, "vehicle", unit, {"out_of_service": before}, by="ben", reason="scrapped", now=NOW).stored
    bay = run("bay", unit=unit)
    assert f"The last day in service of {safe(unit)} is" in said(bay)
    assert not bay.number_input
    work = run("work", unit=unit)
    work.button_group(key="repair_part").set_value("battery").run()
    work.button_group(key="repair_action").set_value("charged").run()
    work.button(key="save_repair").click().run()
    assert f"is after the last day in service of {safe(unit)}" in said(work)


# --- undo in the confirmation ----------------------------------------------------------------------------------------


def test_a_repair_is_undone_where_it_was_saved_and_brought_back(db: Database) -> None:
    unit = worst_unit()
    before = len(repairs_of(db, unit))
    app = run("work", unit=unit)
    app.button_group(key="repair_part").set_value("battery").run()
    app.button_group(key="repair_action").set_value("charged").run()
    app.button(key="save_repair").click().run()
    assert "Repair kept" in said(app)
    assert len(repairs_of(db, unit)) == before + 1
    app.button(key="undo_kept").click().run()
    assert "Undone" in said(app)
    assert len(repairs_of(db, unit)) == before
    app.button(key="undo_kept").click().run()
    assert "on record again" in said(app)
    assert len(repairs_of(db, unit)) == before + 1


@pytest.mark.nightly
def test_a_reading_is_undone_on_the_phone(db: Database) -> None:
    unit = worst_unit()
    volts = "25,1" if "24" in str(store.read_units(db).set_index("unit").loc[unit, "system_v"]) else "12,6"
    before = len(store.read_readings(db, units=[unit]))
    app = run("bay", unit=unit)
    app.text_input(key=f"m_rest_v_{unit}_0").set_value(volts).run()
    app.button(key="save").click().run()
    assert len(store.read_readings(db, units=[unit])) == before + 1
    app.button(key="undo_saved").click().run()
    assert "Undone" in said(app)
    assert len(store.read_readings(db, units=[unit])) == before


@pytest.mark.nightly
def test_a_decision_pressed_twice_counts_once_and_is_undone(db: Database) -> None:
    unit = worst_unit()
    app = run("unit", unit=unit)
    app.button(key="nothing_now").click().run()
    assert "Kept on record" in said(app)
    app.button(key="nothing_now").click().run()
    assert "Kept on record" in said(app), "what the first click was told stands, with its undo"
    assert app.button(key="undo_kept")
    assert read_decisions(db)["kind"].tolist() == ["nothing_found"]
    app.button(key="accept").click().run()
    assert read_decisions(db)["kind"].tolist() == ["nothing_found", "accepted"]
    app.button(key="undo_kept").click().run()
    assert read_decisions(db)["kind"].tolist() == ["nothing_found"]
    assert "Undone" in said(app)


@pytest.mark.nightly
def test_an_answer_about_a_renewal_closes_its_question_and_can_be_changed(db: Database) -> None:
    unit, part, around = assessed().resets.iloc[0][["unit", "part", "around_on"]]
    app = run("unit", unit=unit)
    asked = said(app).count("looks renewed around")
    assert asked
    app.button(key=f"confirmed_{part}_{around:%Y%m%d}").click().run()
    assert "it was renewed" in said(app)
    assert said(app).count("looks renewed around") == asked - 1
    app.button(key=f"denied_{part}_{around:%Y%m%d}").click().run()
    assert read_reset_answers(db)["answer"].tolist() == ["denied"]
    assert "it was not renewed" in said(app)


# --- the page of corrections -----------------------------------------------------------------------------------------


def test_a_repair_is_corrected_moved_and_undone(db: Database) -> None:
    unit = worst_unit()
    other = next(str(u) for u in store.read_units(db)["unit"] if u != unit)
    number = a_repair(db, unit)
    app = run("correct", unit=unit)
    app.button_group(key="what").set_value("repair").run()
    app.selectbox(key=f"which_repair_{unit}").set_value(number).run()
    key = f"repair_{number}_0"
    app.selectbox(key=f"c_part_{key}").set_value("ground_path")
    app.selectbox(key=f"c_action_{key}").set_value("cleaned")
    app.text_input(key=f"c_note_{key}").set_value(HOSTILE)
    app.selectbox(key=f"c_unit_{key}").set_value(other).run()
    app.button(key="save_correction").click().run()
    assert "needs a reason" in said(app)
    app.text_input(key=f"because_repair_{number}").set_value("wrong van").run()
    app.button(key="save_correction").click().run()
    assert "Corrected" in said(app)
    moved = store.read_repairs(db).set_index("repair_id").loc[number]
    assert moved[["unit", "part", "action", "note"]].tolist() == [other, "ground_path", "cleaned", HOSTILE]
    app.button(key="undo_kept").click().run()
    back = store.read_repairs(db).set_index("repair_id").loc[number]
    assert back[["unit", "part", "action", "note"]].tolist() == [unit, "battery", "charged", ""]


def test_a_reading_is_withdrawn_with_a_reason_and_put_back(db: Database) -> None:
    unit = worst_unit()
    numbers = store.read_readings(db, units=[unit])["reading_id"].tolist()
    app = run("correct", unit=unit)
    app.button(key="withdraw_now").click().run()
    assert "needs a reason" in said(app)
    app.text_input(key=f"withdraw_why_reading_{numbers[-1]}").set_value("another vehicle's")
    app.button(key="withdraw_now").click().run()
    assert "counts no more" in said(app)
    assert store.read_readings(db, units=[unit])["reading_id"].tolist() == numbers[:-1]
    app = run("correct", unit=unit)
    assert f"Reading {numbers[-1]} of" in said(app)
    app.button(key=next(str(b.key) for b in app.button if str(b.key).startswith("back_"))).click().run()
    assert store.read_readings(db, units=[unit])["reading_id"].tolist() == numbers
    assert "Withdrawn" not in [s.value for s in app.subheader]


def test_a_decision_is_corrected(db: Database) -> None:
    unit = worst_unit()
    number = save_decision(db, unit=unit, iso_week="2026-W49", kind="accepted", by="m", now=NOW)
    app = run("correct", unit=unit)
    app.button_group(key="what").set_value("decision").run()
    key = f"decision_{number}_0"
    app.selectbox(key=f"c_kind_{key}").set_value("postponed")
    app.text_input(key=f"because_decision_{number}").set_value("slip").run()
    app.button(key="save_correction").click().run()
    assert "postponing with both" in said(app)
    app.text_input(key=f"c_reason_{key}").set_value("on tour")
    app.text_input(key=f"c_until_{key}").set_value("2026-12-20").run()
    app.button(key="save_correction").click().run()
    row = read_decisions(db).iloc[0]
    assert (row["kind"], row["reason"], row["until"]) == ("postponed", "on tour", pd.Timestamp("2026-12-20"))


def test_a_refused_correction_says_why_and_changes_nothing(db: Database) -> None:
    unit = worst_unit()
    number = int(store.read_readings(db, units=[unit])["reading_id"].iloc[-1])
    before = store.read_readings(db, units=[unit])
    app = run("correct", unit=unit)
    app.text_input(key=f"c_rest_v_reading_{number}_0").set_value("1264")
    app.text_input(key=f"because_reading_{number}").set_value("misread").run()
    app.button(key="save_correction").click().run()
    assert "Rest volts is 1264" in said(app).replace("\\", "")
    pd.testing.assert_frame_equal(store.read_readings(db, units=[unit]), before)


def test_records_carry_their_numbers_on_the_vehicle_s_page(db: Database) -> None:
    unit = worst_unit()
    number = a_repair(db, unit)
    app = run("unit", unit=unit, tab="Readings and repairs")
    tables = [frame.value for frame in app.dataframe]
    assert any("repair_id" in table and number in table["repair_id"].tolist() for table in tables)
    assert any("reading_id" in table for table in tables)


# --- the logbook -----------------------------------------------------------------------------------------------------


def test_the_logbook_filters_and_undoes(db: Database) -> None:
    unit = worst_unit()
    number = a_repair(db, unit)
    change = correct(db, "repair", number, {"note": HOSTILE}, by="anna", reason=HOSTILE, now=NOW).change
    app = run("logbook")
    table = app.dataframe[0].value
    assert table["record"].tolist()[0] == f"repair {number}"
    app.text_input(key="who_did").set_value("BEN").run()
    assert app.dataframe[0].value["what"].tolist() == ["recorded"]
    app.text_input(key="who_did").set_value("")
    app.text_input(key="unit_is").set_value(unit).run()
    assert set(app.dataframe[0].value["unit"]) == {unit}
    app.selectbox(key="undo_change").set_value(change)
    app.button(key="undo_now").click().run()
    assert "Undone" in said(app)
    assert repairs_of(db, unit).set_index("repair_id").loc[number, "note"] == ""
    app.text_input(key="who_did").set_value("nobody").run()
    assert "Nothing was put on record" in said(app)


def test_what_cannot_be_undone_is_said(db: Database) -> None:
    unit = worst_unit()
    number = a_repair(db, unit)
    change = correct(db, "repair", number, {"note": "wet"}, by="anna", reason="x", now=NOW).change
    withdraw(db, "repair", number, by="anna", reason="x", now=NOW)
    app = run("logbook")
    app.selectbox(key="undo_change").set_value(change).run()
    app.button(key="undo_now").click().run()
    assert f"repair {number} is withdrawn" in said(app)
    assert (read_logbook(db)["what"] == "put back").sum() == 0


# --- a vehicle -------------------------------------------------------------------------------------------------------


def test_a_vehicle_that_moved_is_put_right_and_undone(db: Database) -> None:
    unit = worst_unit()
    before = store.read_units(db).set_index("unit").loc[unit]
    app = run("correct", unit=unit)
    app.button_group(key="what").set_value("vehicle").run()
    assert app.button(key="save_correction").disabled
    field = next(f for f in app.text_input if f.label == "Depot")
    assert field.value == before["depot"]
    field.set_value("pass two").run()
    kind = next(f for f in app.selectbox if f.label == "How the battery is built")
    kind.set_value("AGM").run()
    app.button(key="save_correction").click().run()
    assert "needs a reason" in said(app)
    app.text_input(key=f"because_vehicle_{unit}").set_value("moved")
    app.button(key="save_correction").click().run()
    assert "the old values stay on record" in said(app)
    now = store.read_units(db).set_index("unit").loc[unit]
    assert (now["depot"], now["battery_type"], now["rated_cca_a"]) == ("pass two", "AGM", before["rated_cca_a"])
    app.button(key="undo_kept").click().run()
    now = store.read_units(db).set_index("unit").loc[unit]
    assert (now["depot"], now["battery_type"]) == (before["depot"], before["battery_type"])


def test_what_somebody_else_changed_meanwhile_is_said_with_what_was_typed(db: Database) -> None:
    """Two people correct one repair: the second hears that nothing of hers is saved, and what stood in her fields."""
    unit = worst_unit()
    number = a_repair(db, unit)
    app = run("correct", unit=unit)
    app.button_group(key="what").set_value("repair").run()
    field = next(one for one in app.text_input if one.label == "Remark")
    field.set_value("by the second").run()
    assert "not saved" not in said(app)
    assert not correct(
        db, "repair", number, {"note": "by the first"}, by="ann", reason="known better", now=NOW
    ).problems
    app.button(key="save_correction").click().run()
    assert safe("What you typed is not saved: Remark: by the second") in said(app)
    assert repairs_of(db, unit)["note"].iloc[-1] == "by the first"
    app.run()
    assert "not saved" not in said(app)
    next(one for one in app.text_input if one.label == "Remark").set_value("by both").run()
    app.text_input(key=f"because_repair_{number}").set_value("both are right")
    app.button(key="save_correction").click().run()
    assert "not saved" not in said(app), "her own change is none of somebody else"
    assert repairs_of(db, unit)["note"].iloc[-1] == "by both"
