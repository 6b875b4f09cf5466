"""The plan's page: changes by two planners, reasons, figures on record, and plans of nothing, in sentences.

Truth: what the test itself clicked and what it put into the database, read back.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from pathlib import Path

import pytest
from samples_chance import one_in
from samples_screens import AS_OF, assessed
from streamlit.testing.v1 import AppTest
from test_views import run, said

from analysis.plan.replacement_plan import plan_replacements
from dashboard.desk import plan_moves
from dashboard.desk.planning import load_plan, make_plan
from dashboard.desk.workshop_edits import depot_hours
from dashboard.screens import session
from ingest import store
from ingest.records import read_pins, read_plan, save_plan, save_setting, set_pin
from ingest.sheet_edits import DAY_NAMES


@pytest.fixture
def fleet(fleet: Path) -> Path:
    db = store.open_database(fleet)
    make_plan(db, as_of=AS_OF, assessment=assessed(), by="berta", now=dt.datetime(2026, 11, 30, 8))
    db.conn.close()
    return fleet


@pytest.mark.nightly
def test_typing_a_reason_solves_nothing_and_it_goes_on_record(fleet: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A change is worked out once; the reason typed after it is kept with it."""
    solved: list[int] = []

    def counted(*args: object, **more: object) -> object:
        solved.append(1)
        return plan_replacements(*args, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(plan_moves, "plan_replacements", counted)
    app = run("plan")
    plan = load_plan(store.open_database(fleet))
    assert plan is not None
    app.session_state["plan_tab"] = "Move a visit"
    app.run()
    app.selectbox(key=f"move_unit_{plan.version}").set_value(plan.visits["unit"].iloc[0])
    app.selectbox(key="move_week").set_value("2027-W05").run()
    assert len(solved) == 2
    app.text_input(key="move_reason").set_value("the driver is away").run()
    assert len(solved) == 2
    app.text_input(key="move_reason").set_value("the driver is on leave")
    app.button(key="move_now").click().run()
    assert read_pins(store.open_database(fleet))["reason"].tolist() == ["the driver is on leave"]


@pytest.mark.nightly
def test_two_planners_are_asked_before_one_overwrites_the_other(fleet: Path) -> None:
    db = store.open_database(fleet)
    app = run("plan")
    plan = load_plan(db)
    assert plan is not None
    unit = plan.visits["unit"].iloc[0]
    app.session_state["plan_tab"] = "Move a visit"
    app.run()
    app.selectbox(key=f"move_unit_{plan.version}").set_value(unit)
    app.selectbox(key="move_week").set_value("2027-W05").run()
    set_pin(db, unit=unit, kind="pin", week="2027-W07", by="Berta <b>", now=dt.datetime(2026, 11, 30, 9, 12))
    app.button(key="move_now").click().run()
    asked = app.warning[0].value
    assert "was fixed to 2027\\-W07 by Berta \\<b\\> on 30 Nov 2026 at 09\\:12" in asked
    assert asked.endswith("all the same\\?")
    assert read_pins(db)["by"].tolist() == ["Berta <b>"]
    app.button(key="overtaken_leave").click().run()
    assert not app.warning
    assert read_pins(db)["week"].tolist() == ["2027-W07"]
    app.selectbox(key=f"move_unit_{plan.version}").set_value(unit)
    app.selectbox(key="move_week").set_value("2027-W05").run()
    set_pin(db, unit=unit, kind="pin", week="2027-W08", by="Berta", now=dt.datetime(2026, 11, 30, 9, 13))
    app.button(key="move_now").click().run()
    app.button(key="overtaken_mine").click().run()
    assert read_pins(db)["week"].tolist() == ["2027-W05"]
    assert not app.exception


@pytest.mark.nightly
def test_plan_again_shows_what_is_on_record(fleet: Path) -> None:
    """The figures after the click are those of the next drawing too; without any change it says so."""
    app = run("plan")
    app.button(key="plan_again").click().run()
    assert "Nothing changes: version 1 stands" in said(app).replace("\\", "")
    db = store.open_database(fleet)
    save_setting(db, "plan", {"no_start": {"light": {"lost_work": 301}, "heavy": {"lost_work": 601}}}, by="lead")
    app.button(key="plan_again").click().run()
    (first,) = [m.value for m in app.markdown if m.value.startswith("Version ")]
    assert first.startswith("Version 2,")
    app.run()
    assert [m.value for m in app.markdown if m.value.startswith("Version ")] == [first]


@pytest.mark.parametrize("what", one_in(4, ["nobody at risk", "no hours", "no workshop", "no depot"]))
def test_a_plan_of_nothing_is_said_in_sentences(fleet: Path, what: str, monkeypatch: pytest.MonkeyPatch) -> None:
    db = store.open_database(fleet)
    if what == "no workshop":
        db.conn.execute("DELETE FROM workshops")
    elif what == "no hours":
        db.conn.execute("UPDATE workshops SET hours_per_week = 0")
    db.conn.execute("DELETE FROM plans")
    db.conn.commit()
    found = assessed()
    if what == "nobody at risk":
        found = dataclasses.replace(found, outlook=found.outlook.iloc[:0], beyond=found.beyond.iloc[:0])
    elif what == "no depot":
        found = dataclasses.replace(found, units=found.units.assign(depot=None))
    monkeypatch.setattr(session, "assessment", lambda **_: found)
    app = run("plan")
    for tab in (
        "Board",
        "Move a visit",
        "Parts to order",
        "Left out",
        "Hours and their price",
        "Costs and rules",
        "Export",
    ):
        app.session_state["plan_tab"] = tab
        app.run()
        assert not app.exception, tab
        assert not app.error, tab
    app.session_state["plan_tab"] = "Board"
    text = said(app.run())
    assert "**0 visits" in text
    total, never = (
        next(m.value for m in app.markdown if "running to failure" in m.value).split(": ")[-1].split(" instead of ")
    )
    assert total == never.strip(".")
    assert "**0 USD saved**" in text.replace("\u00a0", " ")
    if what in ("no workshop", "no hours"):
        assert "No visit is planned, because no workshop hours are known for these weeks" in text.replace("\\", "")
        assert "give each depot's hours a week for this work, in this template" in text.replace("\\", "")
        assert "Template for workshop hours of each depot (XLSX)" in {b.proto.label for b in app.get("download_button")}
    elif what == "nobody at risk":
        assert "No visit pays in these weeks" in text
    else:
        assert "give their depot in units" in text
        assert "No visit can be planned in these weeks; what is left out, and why" in text


@pytest.mark.nightly
def test_a_version_reckoned_before_all_ways_went_over_the_same_weeks_compares_nothing(fleet: Path) -> None:
    db = store.open_database(fleet)
    row = read_plan(db)
    assert row is not None
    body = {**row.body, "summary": {k: v for k, v in row.body["summary"].items() if k != "policies_weeks"}}
    save_plan(db, as_of=AS_OF, weeks=row.weeks, body=body, by="an older program")
    app = run("plan")
    assert "against running to failure" not in said(app)
    app.session_state["plan_tab"] = "Export"  # which has no table of its own
    assert "not reckoned over the same weeks" in said(app.run())
    assert not app.get("html")[1:]  # the page's style alone


def hours_tab() -> AppTest:
    app = run("plan")
    app.session_state["plan_tab"] = "Hours and their price"
    return app.run()


@pytest.mark.nightly
def test_hours_set_on_the_screen_are_kept_undone_and_counted_with_by_the_next_plan(fleet: Path) -> None:
    """Hours of every day of a depot's usual week are halved; the plan on show says that it was made before."""
    db = store.open_database(fleet)
    app = hours_tab()
    assert not app.warning
    depot = str(app.selectbox(key="hours_depot").value)
    was = depot_hours(db, depot, since=AS_OF).usual
    fields = [field for field in app.number_input if field.key.startswith("usual_")]
    assert [field.label for field in fields] == list(DAY_NAMES)
    for field, hours in zip(fields, [3.0, 3.0, 0.0, 0.0, 0.0, 0.0, 0.0], strict=True):
        field.set_value(hours)
    app.button(key="save_usual").click().run()
    assert not app.exception
    assert "is saved" in app.success[0].value
    assert depot_hours(db, depot, since=AS_OF).usual == (3.0, 3.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    warned = app.warning[0].value.replace("\\", "")
    assert warned.startswith("Workshop hours were changed by somebody not named on 30 Nov 2026 at ")
    app.button(key="plan_again").click().run()
    plan = load_plan(db)
    assert plan is not None
    first = plan.hours[(plan.hours["depot"] == depot)].iloc[0]
    assert first["hours"] == pytest.approx(6.0)
    assert not app.warning
    app = hours_tab()
    assert not app.warning
    app = hours_tab()
    app.date_input(key="closed_from").set_value(dt.date(2026, 12, 25))
    app.date_input(key="closed_to").set_value(dt.date(2026, 12, 24))
    app.button(key="save_closed").click().run()
    assert "lies before the first" in app.error[0].value
    app.date_input(key="closed_to").set_value(dt.date(2026, 12, 26))
    app.text_input(key="closed_why").set_value("<b>*holiday*</b>")
    app.button(key="save_closed").click().run()
    shut = store.read_closures(db)
    assert shut["why"].tolist() == ["<b>*holiday*</b>"]
    assert "\\<b\\>\\*holiday" in said(app)
    app.button(key="undo_kept").click().run()
    assert store.read_closures(db).empty
    assert was != depot_hours(db, depot, since=AS_OF).usual


def test_a_plan_never_made_says_what_to_do_first(fleet: Path) -> None:
    db = store.open_database(fleet)
    db.conn.execute("DELETE FROM plans")
    db.conn.execute("DELETE FROM workshops")
    db.conn.commit()
    told = said(run("plan")).replace("\\", "")
    steps = [line for line in told.splitlines() if line[:3] in ("1. ", "2. ", "3. ", "4. ")]
    assert steps[0].startswith("1. Workshop hours are not known yet")
    assert "page Settings" in steps[1]
    assert steps[3].startswith("4. Issue the plan")
