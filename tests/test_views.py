"""Screens without a browser: every page, an empty database, one reading, hostile names, decisions and entries.

Truth: what was put into the database by the test itself, and the simulated fleet's own files.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import os
import re
import threading
import time
from concurrent.futures import Future
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import pandas as pd
import pytest
from samples_chance import one_in
from samples_fleet import quick
from samples_screens import (
    AS_OF,
    assess_here,
    assessed,
    empty_database,
    one_reading_database,
    past_like_today,
    shown,
    worst_unit,
)
from streamlit.testing.v1 import AppTest
from test_one_reading import fitting, take

from analysis.bay.one_reading import ReadingCheck
from analysis.bay.verdict import verdict
from analysis.costs import PlanSettings
from analysis.plan.workshop_calendar import iso_week
from analysis.worklist.assess import Assessment, assess
from dashboard.desk import weekly
from dashboard.desk.assessment import load_tables
from dashboard.desk.planning import load_plan, make_plan, parts_in_force, plan_settings
from dashboard.judging import process as judging
from dashboard.judging.worker import Worker
from dashboard.screens import bay, history, session
from dashboard.screens.one_unit import Facts
from dashboard.screens.session import DATABASE_VARIABLE, TODAY_VARIABLE
from dashboard.words.plain_text import cold_words, percent, safe, span, week_and_monday, whole
from dashboard.words.plan_words import settings_table
from ingest import store
from ingest.entries import Entry, record_reading
from ingest.records import (
    read_decisions,
    read_pins,
    read_settings,
    read_weekly_list,
    save_device,
    save_setting,
)
from ingest.set_aside import list_set_aside

APP = Path(__file__).parents[1] / "dashboard" / "screens" / "app.py"
PAGES = (
    "weekly_list",
    "fleet",
    "unit",
    "plan",
    "bay",
    "visit",
    "work",
    "correct",
    "files",
    "set_aside",
    "logbook",
    "settings",
)
OF_A_VEHICLE = ("unit", "bay", "visit", "work", "correct")
HOSTILE = "<b>*_`[x](http://a.example)`~|$1$ :red[no] </script>"


def run(page: str = "weekly_list", *, unit: str | None = None, tab: str | None = None) -> AppTest:
    """The app on one page, with a device that has told its number; `tab` is one of the vehicle's page."""
    app = AppTest.from_file(str(APP), default_timeout=60)
    app.session_state["device"] = "ab" * 16
    if tab:
        app.session_state["unit_tab"] = tab
    if page != "weekly_list":  # opened at once, by its own address
        app.switch_page(f"views/{page}.py")
    if unit:
        app.query_params["unit"] = unit
    app.run()
    assert not app.exception, app.exception
    return app


def said(app: AppTest) -> str:
    """Everything that the page says."""
    kinds = (app.title, app.markdown, app.caption, app.info, app.success, app.warning, app.error, app.subheader)
    return "\n".join(str(element.value) for kind in kinds for element in kind)


@pytest.mark.parametrize("page", PAGES)
def test_empty_database_says_what_to_do(page: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(DATABASE_VARIABLE, str(empty_database(tmp_path / "empty.db")))
    app = run(page)
    if page not in ("files", "set_aside", "logbook", "settings"):
        assert "no vehicles in this database yet" in said(app)


@pytest.mark.parametrize("page", one_in(4, PAGES))
def test_one_reading_is_not_called_healthy(page: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shown(monkeypatch, one_reading_database(tmp_path / "one.db"), assess_here)
    monkeypatch.setattr(history, "_work_out", lambda *_: None)  # the past is no matter here
    app = run(page, unit="X-1" if page in OF_A_VEHICLE else None)
    text = said(app)
    if page == "weekly_list":
        assert "1 vehicle has too few readings" in text
        assert "No vehicle can be judged yet" in text
        assert "not known to be healthy" in text
    if page == "unit":
        assert "too few to judge" in text


@pytest.mark.nightly
def test_judging_beside_the_screens_finds_the_same(tmp_path: Path) -> None:
    path = one_reading_database(tmp_path / "one.db")
    key = session.Key(str(path), "", AS_OF, 30)
    found, here = judging.assess_apart(str(path), AS_OF, 30), assess_here(key)
    pd.testing.assert_frame_equal(found.units, here.units)


def test_the_weekly_list_is_issued_once_and_stays(fleet: Path) -> None:
    week = iso_week(AS_OF)
    db = store.open_database(fleet)
    assert weekly.issue(db, assessed())
    app = run()
    issued = read_weekly_list(db, week)
    assert issued is not None
    assert week in said(app)
    assert issued.body["units"][0]["unit"] == worst_unit()
    run()
    assert not weekly.issue(db, assessed())
    again = read_weekly_list(db, week)
    assert again is not None
    assert again.issued_at == issued.issued_at


def test_the_last_list_is_shown_while_the_next_is_worked_out(fleet: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where the list before can be chosen: the page goes on by itself, and says so."""
    db = store.open_database(fleet)
    before = dataclasses.replace(assessed(), as_of=pd.Timestamp(AS_OF - dt.timedelta(days=7)))
    assert weekly.issue(db, before)
    assert weekly.issue(db, assessed())
    monday = AS_OF + dt.timedelta(days=7)
    monkeypatch.setenv(TODAY_VARIABLE, monday.isoformat())
    done = threading.Event()

    def slowly(key: session.Key) -> Assessment:
        done.wait(30)
        return dataclasses.replace(assessed(), as_of=pd.Timestamp(key.as_of), horizon_days=key.horizon_days)

    monkeypatch.setattr(session, "_assess", slowly)
    monkeypatch.setattr(session, "PATIENCE_S", 0.05)
    app = run()
    assert f"The list of {iso_week(monday)} is being worked out" in said(app)
    assert f"**{iso_week(AS_OF)}**" in said(app)
    assert read_weekly_list(db, iso_week(monday)) is None
    done.set()
    session.judge().ask(session.key_of(monday)).result(30)
    app.run()
    assert f"**{iso_week(monday)}**" in said(app)
    assert app.selectbox(key="week").value == iso_week(monday)
    app.session_state["who"] = "anna"
    app.run().button(key="issue_now").click().run()
    changes = {r["change"] for r in read_weekly_list(db, iso_week(monday)).body["units"]}
    assert changes == {"same"}
    app.selectbox(key="week").set_value(iso_week(AS_OF)).run()
    assert f"The newest is that of {iso_week(monday)}" in said(app)


@pytest.mark.usefixtures("fleet")
def test_an_open_page_goes_on_to_the_next_day(monkeypatch: pytest.MonkeyPatch) -> None:
    """A page left open over Sunday night shows Monday; a day chosen by hand stays."""
    app = run()
    assert app.date_input(key="as_of").value == AS_OF
    monday = AS_OF + dt.timedelta(days=7)
    monkeypatch.setenv(TODAY_VARIABLE, monday.isoformat())
    assert app.run().date_input(key="as_of").value == monday
    chosen = AS_OF + dt.timedelta(days=3)
    app.date_input(key="as_of").set_value(chosen).run()
    monkeypatch.setenv(TODAY_VARIABLE, (monday + dt.timedelta(days=1)).isoformat())
    assert app.run().date_input(key="as_of").value == chosen


@pytest.mark.nightly
@pytest.mark.usefixtures("fleet")
def test_what_is_on_record_stands_while_vehicles_are_judged(fleet: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Fleet and vehicle show the last list's figures at once and say so; the fresh ones follow by themselves."""
    assert weekly.issue(store.open_database(fleet), assessed())
    week, unit = iso_week(AS_OF), worst_unit()
    done = threading.Event()
    monkeypatch.setattr(session, "PATIENCE_S", 0.05)
    monkeypatch.setattr(session, "_assess", lambda _key: assessed() if done.wait(60) else None)
    app = run("fleet")
    assert f"Until then: as in the list of {week}" in said(app)
    flagged = int(assessed().units["flagged"].sum())
    assert [m.value for m in app.metric[:2]] == [str(len(assessed().units)), str(flagged)]
    page = run("unit", unit=unit)
    assert f"as in the list of {week}" in said(page)
    row = assessed().units.set_index("unit").loc[unit]
    assert page.metric[0].value == percent(row["no_start_probability"])
    assert page.metric[1].value == cold_words(row["coldest_start_c"])
    assert "What to do" in said(page)
    done.set()
    session.judge().ask(session.key_of(AS_OF)).result(60)
    assert "Every part" in said(page.run())
    assert "What was learned of each class" in {e.label for e in app.run().expander}


def test_a_failed_judgement_is_said_with_a_button_that_tries_again(
    fleet: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A failure leaves what is on record on the page, and does not stick."""
    last_week = dataclasses.replace(assessed(), as_of=pd.Timestamp(AS_OF - dt.timedelta(days=7)))
    assert weekly.issue(store.open_database(fleet), last_week)
    works = False

    def may_fail(_key: session.Key) -> Assessment:
        if not works:
            raise judging.JudgingFailed("The vehicles could not be judged: no memory.")
        return assessed()

    monkeypatch.setattr(session, "_assess", may_fail)
    for page in ("weekly_list", "unit", "fleet"):
        app = run(page, unit=worst_unit() if page == "unit" else None)
        assert safe("could not be judged: no memory") in said(app)
        assert "tried again by itself in" in said(app)
        assert "being worked out" not in said(app)
    works = True
    app = run()
    assert "no memory" in said(app), "what failed a moment ago is not begun at every click"
    app.button(key="judge_again").click().run()
    session.judge().ask(session.key_of(AS_OF)).result(30)
    app.run()
    assert "no memory" not in said(app)
    assert f"**{iso_week(AS_OF)}**" in said(app)


def test_an_assessment_that_fails_at_once_keeps_no_page_waiting() -> None:
    """Worked by hand: it has failed before anybody can wait for it; a lock taken twice by one thread would wait for ever."""

    class Once:
        taken = False

        def __enter__(self) -> None:
            assert not self.taken, "taken by a thread that holds it"
            self.taken = True

        def __exit__(self, *_: object) -> None:
            self.taken = False

    class Failed(Worker):
        def submit(self, *_: object) -> Future:
            future: Future = Future()
            future.set_exception(judging.JudgingFailed("no memory"))
            return future

    key = session.Key("fleet.db", "", AS_OF, 30)
    judge = session.Judge(pool=Failed(), lock=Once())
    assert isinstance(judge.ask(key).exception(), judging.JudgingFailed)
    assert judge.failure(key)[0] == "no memory"
    assert key in judge.failed


def test_past_lists_are_kept_until_something_changes(fleet: Path) -> None:
    """A second server need not work them out again; a new reading makes them void."""
    db = store.open_database(fleet)
    key = session.Key(str(fleet), session.judged_version(db, AS_OF), AS_OF, 30)
    past = history.Past(history.month_days(AS_OF))
    past_like_today(key, past)
    assert history.Archive().known(key) is None
    history.keep(key, past)
    again = history.Archive().known(key)
    assert again is not None
    pd.testing.assert_frame_equal(again.flagged(), past.flagged())
    values = {"unit": worst_unit(), "taken_at": "2026-11-29T07:00", "crank_a": 200}
    assert record_reading(db, values, by="test", now=dt.datetime(2026, 11, 30, 6)).stored
    later = dataclasses.replace(key, version=session.judged_version(db, AS_OF))
    assert later != key
    assert history.Archive().known(later) is None


def test_postponing_needs_a_reason_and_goes_on_record(fleet: Path) -> None:
    unit = worst_unit()
    app = run("unit", unit=unit)
    app.button(key="postpone_now").click().run()
    assert "Say why" in said(app)
    app.text_input(key=f"why_{unit}").set_value(HOSTILE)
    app.button(key="postpone_now").click().run()
    assert not app.exception
    decisions = read_decisions(store.open_database(fleet))
    assert decisions["kind"].tolist() == ["postponed"]
    assert decisions["reason"].iloc[0] == HOSTILE
    text = said(app)
    assert safe(HOSTILE) in text
    assert HOSTILE not in text


def test_a_reading_with_a_slip_is_caught_saved_once_and_corrected(fleet: Path) -> None:
    unit = worst_unit()
    db = store.open_database(fleet)
    before = len(store.read_readings(db, units=[unit]))
    app = run("bay", unit=unit)
    app.text_input(key=f"m_rest_v_{unit}_0").set_value("126,4").run()
    assert "This cannot be saved" in said(app)
    assert app.button(key="save").disabled
    volts = "25,1" if "24" in str(store.read_units(db).set_index("unit").loc[unit, "system_v"]) else "12,6"
    app.text_input(key=f"m_rest_v_{unit}_0").set_value(volts).run()
    app.button(key="save").click().run()
    assert "reading saved" in said(app)
    after = store.read_readings(db, units=[unit])
    assert len(after) == before + 1
    assert after.iloc[-1]["rest_v"] == pytest.approx(float(volts.replace(",", ".")))
    number = int(after.iloc[-1]["reading_id"])
    app = run("correct", unit=unit)
    app.text_input(key=f"c_rest_v_reading_{number}_0").set_value("12.3" if volts == "12,6" else "24.9")
    app.text_input(key=f"because_reading_{number}").set_value("misread").run()
    app.button(key="save_correction").click().run()
    assert "Corrected" in said(app)
    old = db.execute(
        "SELECT old_value FROM audit WHERE row_key = ? AND column_name = 'rest_v'", (str(number),)
    ).fetchone()
    assert float(old[0]) == pytest.approx(float(volts.replace(",", ".")))


@pytest.mark.nightly
@pytest.mark.usefixtures("fleet")
def test_a_draft_comes_back() -> None:
    unit = worst_unit()
    app = run("bay", unit=unit)
    app.text_input(key=f"m_crank_a_{unit}_0").set_value("201").run()
    again = run("bay", unit=unit)
    assert again.text_input(key=f"m_crank_a_{unit}_0").value == "201"


def test_a_repair_is_kept_once(fleet: Path) -> None:
    unit = worst_unit()
    app = run("work", unit=unit)
    app.button_group(key="repair_part").set_value("battery").run()
    app.button_group(key="repair_action").set_value("replaced").run()
    app.button(key="save_repair").click().run()
    assert "Repair kept" in said(app)
    repairs = store.read_repairs(store.open_database(fleet))
    mine = repairs[(repairs["unit"] == unit) & (repairs["done_on"] == pd.Timestamp(AS_OF))]
    assert mine["action"].tolist() == ["replaced"]


def test_a_set_aside_row_is_dismissed_with_a_reason(fleet: Path) -> None:
    db = store.open_database(fleet)
    rows = list_set_aside(db)
    if rows.empty:
        pytest.fail("the invented fleet has gross errors, so that rows are set aside")
    number = int(rows["id"].iloc[0])
    app = run("set_aside")
    app.text_input(key=f"aside_why_{number}").set_value("no such reading")
    app.button(key=f"dismiss_now_{number}").click().run()
    assert "Left out" in said(app)
    assert len(list_set_aside(db, state="dismissed")) == 1


def test_a_set_aside_row_is_corrected_and_admitted(fleet: Path) -> None:
    """The value named in the reason is put right: the row is stored, and what it said stays on record."""
    db = store.open_database(fleet)
    rows = list_set_aside(db)
    wrong = next(r for r in rows.to_dict("records") if "would fit" in r["reason"])
    named = re.match(r"(\w+) is .* (?:misplaced|millivolts)\? ([\d.]+) would fit", wrong["reason"])
    assert named is not None
    column, fits = named.groups()
    app = run("set_aside")
    app.selectbox(key="aside_row_open").set_value(wrong["id"]).run()
    field = app.text_input(key=f"aside_{wrong['id']}_{column}")
    was = field.value
    field.set_value("nonsense").run()
    app.button(key=f"admit_{wrong['id']}").click().run()
    assert "is not a number" in said(app)
    app.text_input(key=f"aside_{wrong['id']}_{column}").set_value(fits)
    app.button(key=f"admit_{wrong['id']}").click().run()
    assert "Taken in" in said(app)
    corrected = list_set_aside(db, state="corrected")
    assert corrected["id"].tolist() == [wrong["id"]]
    assert str(float(was)) in corrected["original"].iloc[0] or was in corrected["original"].iloc[0]
    values = store.read_readings(db, units=[wrong["unit"]])[column].to_numpy()
    assert (abs(values - float(fits)) < 1e-6).any()


def test_settings_are_kept(fleet: Path) -> None:
    app = run("settings")
    app.number_input(key="set_horizon").set_value(45)
    app.button(key="save_settings").click().run()
    assert read_settings(store.open_database(fleet))["horizon_days"] == 45


def test_settings_that_somebody_else_saved_meanwhile_stay(fleet: Path) -> None:
    """Two people have the page open; each saves what he changed, and nothing else."""
    first, second = run("settings"), run("settings")
    first.text_input(key="set_currency").set_value("EUR")
    first.text_input(key="set_address").set_value("http://workshop:8501")
    first.button(key="save_settings").click().run()
    second.number_input(key="set_horizon").set_value(60)
    second.button(key="save_settings").click().run()
    saved = read_settings(store.open_database(fleet))
    assert (saved["plan"]["currency"], saved["screens_address"], saved["horizon_days"]) == (
        "EUR",
        "http://workshop:8501",
        60,
    )
    second.number_input(key="set_horizon").set_value(50)
    second.button(key="save_settings").click().run()
    assert read_settings(store.open_database(fleet))["plan"]["currency"] == "EUR", (
        "nor with what stands in the field since"
    )
    first.text_input(key="set_address").set_value("")
    first.button(key="save_settings").click().run()
    assert read_settings(store.open_database(fleet))["screens_address"] == ""


@pytest.mark.nightly
def test_codes_for_windscreens_hold_the_address_that_was_set(fleet: Path) -> None:
    app = run("settings")
    app.text_input(key="set_address").set_value("workshop")
    app.button(key="save_settings").click().run()
    assert "allowed is an address such as" in said(app)
    assert "screens_address" not in read_settings(store.open_database(fleet))
    app.text_input(key="set_address").set_value("http://localhost:8501")
    app.button(key="save_settings").click().run()
    assert "which a phone cannot reach" in said(run("fleet"))
    app.text_input(key="set_address").set_value("http://workshop:8501/")
    app.button(key="save_settings").click().run()
    assert read_settings(store.open_database(fleet))["screens_address"] == "http://workshop:8501"
    assert f"The code holds {safe('http://workshop:8501')}." in said(run("fleet"))


def test_costs_of_the_plan_are_set_on_screen(fleet: Path) -> None:
    app = run("settings")
    app.number_input(key="set_hour_rate").set_value(60.0)
    app.number_input(key="set_move_price").set_value(40.0)
    app.button(key="save_costs").click().run()
    assert not app.exception
    kept = plan_settings(store.open_database(fleet))
    assert (kept.hour_rate, kept.move_price) == (60.0, 40.0)
    assert kept.no_start == PlanSettings().no_start


def test_the_price_of_a_part_is_set_on_screen(fleet: Path) -> None:
    app = run("settings")
    was = parts_in_force(store.open_database(fleet)).set_index("part")
    app.session_state["set_parts"] = {"edited_rows": {0: {"price": 333.0}}, "added_rows": [], "deleted_rows": []}
    app.button(key="save_parts").click().run()
    assert not app.exception
    assert "1 part changed" in said(app)
    now = parts_in_force(store.open_database(fleet)).set_index("part")
    assert now.iloc[0]["price"] == 333.0
    assert (now.drop(index=now.index[0]) == was.drop(index=was.index[0])).all(axis=None)


@pytest.mark.nightly
def test_a_planner_keeps_a_vehicle_out_of_a_week(fleet: Path) -> None:
    """The cost of the change stands on the page before it is made; letting go brings the old plan back."""
    plan = make_plan(store.open_database(fleet), as_of=AS_OF, assessment=assessed())
    app = run("plan")
    unit, week = plan.visits.iloc[0][["unit", "iso_week"]]
    app.session_state["plan_tab"] = "Move a visit"
    app.run()
    app.selectbox(key=f"move_unit_{plan.version}").set_value(unit)
    app.button_group(key="move_kind").set_value("forbid")
    app.selectbox(key="move_week").set_value(week).run()
    assert f"not in {week_and_monday(week)}: **costs" in said(app)
    app.button(key="move_now").click().run()
    assert not app.exception
    assert "kept out of" in said(app)
    second = load_plan(store.open_database(fleet))
    assert second is not None
    assert second.version == plan.version + 1
    assert second.visits.set_index("unit")["iso_week"].get(unit) != week
    app.button(key=next(b.key for b in app.button if str(b.key).startswith("unpin_"))).click().run()
    assert read_pins(store.open_database(fleet)).empty


def test_temperatures_follow_the_setting_and_the_device_goes_first(fleet: Path) -> None:
    db = store.open_database(fleet)
    save_setting(db, "temperature_unit", "°F", by="test")
    assert "°F" in said(run())
    save_device(db, "ab" * 16, {"meter": {"fahrenheit": False}})
    assert "°F" not in said(run())


@pytest.mark.usefixtures("fleet")
def test_unknown_unit_in_the_address_is_said_harmlessly() -> None:
    for page in ("unit", "bay"):
        text = said(run(page, unit=HOSTILE))
        assert "There is no vehicle" in text
        assert HOSTILE not in text


@pytest.mark.nightly
@pytest.mark.usefixtures("fleet")
def test_a_click_is_quick_once_judged() -> None:
    """A click takes under 0.5 s of processor time, so that other work on the machine does not count; without drawing."""
    units = assessed().units["unit"].tolist()
    app = run("unit", unit=worst_unit())
    again, first_time = [], []
    for unit in units[1:5]:
        app.query_params["unit"] = unit
        for took in (first_time, again):
            begun = time.process_time()
            app.run()
            took.append(time.process_time() - begun)
        assert app.title[0].value == safe(unit)
    assert min(again) < 0.5
    assert min(first_time) < 0.5


# --- the list's comparison, worked by hand ---------------------------------------------------------------------------


def row(unit: str, probability: float, coldest: float = -10.0) -> dict[str, object]:
    return {
        "unit": unit,
        "no_start_probability": probability,
        "coldest_start_c": coldest,
        "part": "battery",
        "depot": "a",
    }


def test_changes_since_the_list_before() -> None:
    before = [row("A", 0.30), row("B", 0.30), row("C", 0.30), row("D", 0.30, -20.0)]
    now = [row("A", 0.40), row("B", 0.20), row("C", 0.31), row("D", 0.30, -12.0), row("E", 0.9)]
    changed = weekly.with_changes(now, before, compared=True)
    assert [r["change"] for r in changed] == ["worse", "better", "same", "worse", "new"]
    assert {r["change"] for r in weekly.with_changes(now, [], compared=False)} == {"first"}


def test_why_a_vehicle_has_gone() -> None:
    since = pd.Timestamp("2026-11-16")
    repairs = pd.DataFrame(
        {"unit": ["A"], "done_on": [pd.Timestamp("2026-11-18")], "part": ["battery"], "action": ["replaced"]}
    )
    decisions = pd.DataFrame({"unit": ["B"], "at": [pd.Timestamp("2026-11-17 09:00")], "kind": ["nothing_found"]})
    readings = pd.DataFrame({"unit": ["C"], "taken_at": [pd.Timestamp("2026-11-19 07:00")]})
    visits = pd.DataFrame(
        {
            "unit": ["E"],
            "done_on": [pd.Timestamp("2026-11-20")],
            "part": ["battery"],
            "found": ["sound"],
            "other_part": [""],
        }
    )
    now = {"no_start_probability": 0.02}

    def why(unit: str) -> str:
        return weekly.why_gone(row(unit, 0.4), now, repairs, decisions, readings, since, visits)

    assert why("A") == "battery replaced on 18 Nov"
    assert why("E") == "visit on 20 Nov: the battery was sound"
    assert why("B") == "looked at, nothing found, on 17 Nov"
    assert why("C") == "read again on 19 Nov: its probability fell from 40 % to 2 %"
    assert "without a new reading" in why("D")
    left = weekly.why_gone(row("F", 0.4), None, repairs, decisions, readings, since, visits)
    assert left == "the vehicle is out of service"
    once = row("D", 0.4) | {"failed_on": "2026-10-02"}
    left = weekly.why_gone(once, now, repairs, decisions, readings, since, visits)
    assert left == "its failed start of 2 Oct did not come again: it counts as fuel, ignition or a mistake by now"
    now["no_start_probability"] = 0.5  # it left the list though its probability rose: nothing "fell"
    assert why("D") == "its probability, 40 % then and 50 % now, is below what puts a vehicle on the list"


def test_a_postponement_ends_with_its_date() -> None:
    decisions = pd.DataFrame(
        {
            "unit": ["A", "B"],
            "kind": ["postponed", "postponed"],
            "until": [pd.Timestamp("2026-12-01"), pd.Timestamp("2026-11-30")],
            "at": [pd.Timestamp("2026-11-20")] * 2,
        }
    )
    assert list(weekly.latest_decisions(decisions, dt.date(2026, 11, 30))) == ["A"]


@pytest.mark.nightly
def test_past_lists_come_one_by_one(
    fleet: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "nice", lambda _step: 0)
    quick(monkeypatch, looks=2)
    history.main([str(fleet), "30", "2020-01-01", AS_OF.isoformat()])
    told = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert sum(history.WAYS in line for line in told) == 1, (
        "what the lists would have done comes once, on a line of its own"
    )
    lines = [line for line in told if history.WAYS not in line]
    assert [line["day"] for line in lines] == ["2020-01-01", AS_OF.isoformat()]
    assert lines[0]["units"] == []
    tables = load_tables(store.open_database(fleet, create=False))
    units = assess(replace(tables, forecast=tables.forecast.iloc[:0]), as_of=pd.Timestamp(AS_OF)).units
    assert sorted(u for u, _, _ in lines[1]["units"]) == sorted(units[units["flagged"]]["unit"]), "without the forecast"


def test_no_starts_and_whether_they_were_listed() -> None:
    """Worked by hand: A was listed for the part that failed, B for another, C was not, D failed before any list, F only clicked;
    G cranked well: not the starting circuit's fault."""
    past = history.Past((dt.date(2026, 10, 1), dt.date(2026, 11, 1)))
    past.lists = {
        dt.date(2026, 10, 1): pd.DataFrame({"unit": ["A"], "depot": ["x"], "part": ["battery"]}),
        dt.date(2026, 11, 1): pd.DataFrame({"unit": ["B"], "depot": ["x"], "part": ["battery"]}),
    }
    repairs = pd.DataFrame(
        {
            "unit": ["A", "B", "C", "D", "E"],
            "done_on": pd.to_datetime(["2026-10-20", "2026-11-05", "2026-11-05", "2026-09-30", "2026-10-20"]),
            "part": ["battery", "starter_motor", "battery", "battery", "battery"],
            "reason": ["no_start", "no_start", "no_start", "no_start", "preventive"],
        }
    )
    at = pd.Timestamp("2026-10-20 06:00")
    readings = pd.DataFrame({"unit": ["A", "F", "G"], "taken_at": at, "outcome": ["no_start", "click", "cranks_only"]})
    happened = history.no_starts(repairs, readings, first=dt.date(2026, 9, 1), before=dt.date(2026, 11, 21))
    said = dict(zip(happened["unit"], history.was_listed(happened, past, {}), strict=True))
    assert said == {"A": "yes", "B": "yes, for another part", "C": "no", "D": "no list yet", "F": "no"}
    issued = {dt.date(2026, 11, 2): pd.DataFrame({"unit": ["C"], "part": ["battery"]})}  # a Monday's list, on record
    said = dict(zip(happened["unit"], history.was_listed(happened, past, issued), strict=True))
    assert said == {"A": "yes", "B": "no", "C": "yes", "D": "no list yet", "F": "no"}
    days, how = history.which_list(happened, past, issued)
    which = dict(zip(happened["unit"], zip(days.dt.strftime("%d %b").fillna(""), how, strict=True), strict=True))
    assert which == {
        "A": ("01 Oct", "worked out afterwards"),
        "B": ("02 Nov", "issued"),
        "C": ("02 Nov", "issued"),
        "D": ("", ""),
        "F": ("01 Oct", "worked out afterwards"),
    }


def test_past_lists_and_plan_settings_in_words() -> None:
    """Counted by hand: 1 on the first list, 3 on the second, 2 on the last, of which the battery has both."""
    days = pd.to_datetime(["2026-09-01", "2026-10-01", "2026-10-01", "2026-11-01"])
    counted = pd.DataFrame(
        {"day": days, "part": ["battery", "battery", "ground path", "battery"], "vehicles": [1, 1, 2, 2]}
    )
    assert history.in_words(counted, "part") == (
        "Vehicles on the list, by part: 1 on 1 Sep 2026, most on 1 Oct 2026 with 3, 2 on 1 Nov 2026 (2 battery)."
    )
    shown = settings_table(PlanSettings(currency="EUR").as_mapping())
    rules = dict(zip(zip(shown["cost or rule"], shown["for"], strict=True), shown["value"], strict=True))
    assert rules["a workshop hour [EUR]", ""] == 85.0
    assert rules["tow [EUR]", "no-start, light"] == PlanSettings().no_start["light"].tow
    said = dict(zip(shown["cost or rule"], shown["in words"], strict=True))
    assert (said["weeks without hours"], said["currency"]) == ("none", "EUR")
    assert not shown["cost or rule"].str.contains("_").any(), "a code instead of words"


# --- small words and units -------------------------------------------------------------------------------------------


def test_meter_units_fill_the_right_columns() -> None:
    """Common practice: a large clamp gives 1 mV per A, a small one 100 mV per A; °F by definition."""
    meter = bay.Meter(fahrenheit=True, drops_mv=True, large_clamp_mv_per_a=1.0, small_clamp_mv_per_a=100.0, miles=True)
    typed = {"temperature_c": "23", "drop_ground_v": "120", "crank_a": "210", "coil_a": "850", "rest_v": "12,6"}
    values = bay.values_of("A", typed, meter)
    assert values == {
        "unit": "A",
        "temperature_f": "23",
        "drop_ground_mv": "120",
        "crank_clamp_mv": "210",
        "crank_clamp_mv_per_a": "1.0",
        "coil_clamp_mv": "850",
        "coil_clamp_mv_per_a": "100.0",
        "rest_v": "12,6",
    }
    assert bay.shown("temperature_c", -5.0, meter) == "23"
    assert bay.shown("coil_a", 8.5, meter) == "850"
    assert bay.unit_of("drop_ground_v", meter) == "mV"


def test_only_what_measuring_twice_can_settle_is_asked_about() -> None:
    """Air out of the season may be right; what is no number, or no voltage of a battery, is not made one by measuring it again."""
    typed = {"temperature_c": "41", "rest_v": "99", "crank_min_v": "abc"}
    wrong = (
        "temperature_c is 41 °C; allowed is -21 to 30 °C",
        "rest_v is 99 V; allowed is 3 to 16 V",
        "crank_min_v: 'abc' is not a number",
    )
    entry = Entry(values={"temperature_c": 41.0, "rest_v": 99.0, "crank_min_v": "abc"}, problems=wrong)
    assert bay.to_confirm(typed, entry, None, bay.Meter()) == {"temperature_c"}
    warm = Entry(values={"temperature_c": "warm"}, problems=("temperature_c: 'warm' is not a number",))
    assert bay.to_confirm({"temperature_c": "warm"}, warm, None, bay.Meter()) == set()


def test_what_cannot_be_saved_names_every_field_and_a_minus_is_a_minus() -> None:
    assert bay.spoken("out_of_service: 'soon' is not a date") == "Last day in service: 'soon' is not a date"
    said = bay.spoken("temperature_c is -40 °C; allowed is -30.8 to 35 °C on 2026-01-31")
    assert said == "Air at the vehicle is −40 °C; allowed is −30.8 to 35 °C on 2026-01-31"
    entry = Entry(problems=("temperature_c is 41 °C", "rest_v is 126.3 V"))
    lines = {name: [bay.Line(bay.WRONG, "")] for name in ("temperature_c", "rest_v")}
    assert "(air at the vehicle and rest volts)" in bay.summary(lines, entry).sentence


def test_a_value_good_by_its_limit_and_worse_than_before_is_to_be_watched(tmp_path: Path) -> None:
    """Worked by hand: lowest volts of the right battery less 1 V, still above 9.6 V; 1 V better than before stays good."""
    none = store.read_readings(store.open_database(tmp_path / "none.db"))
    facts = Facts({"unit": "A", "system_v": 12}, none, none, none)
    reading = {name: fitting()[name] for name in ("temperature_c", "rest_v", "crank_min_v")}

    def said(more_v: float) -> list[bay.Line]:
        own = {**reading, "crank_min_v": reading["crank_min_v"] + more_v}
        typed = {name: f"{value:.2f}" for name, value in own.items()}
        limits = {"crank_min_v": "at least 9.6 V"}
        return bay.field_lines(facts, typed, Entry(values=own), take(own), bay.Meter(), limits)["crank_min_v"]

    assert said(0.0) == [bay.Line(bay.PASS, "at least 9.6 V")]
    earlier = f"at least 9.6 V; earlier readings make it {reading['crank_min_v']:.2f} V at this temperature"
    assert said(-1.0) == [bay.Line(bay.WATCH, earlier)]
    assert said(0.8) == [bay.Line(bay.PASS, earlier)]


def test_a_drop_over_the_printed_limit_and_inside_it_at_its_amps_has_that_limit_said() -> None:
    """By hand: 0.40 V at the usual 246 A are 0.40 * 310 / 246 = 0.50 V at 310 A."""
    units = pd.DataFrame([{"unit": "A", "vehicle_class": "c", "system_v": 24, "fuel": "diesel", "cylinders": 6}])
    read = {"unit": "A", "taken_at": pd.Timestamp("2026-11-20"), "temperature_c": -4.0, "crank_a": 310.0}

    def judged(drop_v: float) -> tuple[str, str]:
        limits = verdict(pd.DataFrame([{**read, "drop_ground_v": drop_v}]), units, class_crank_a={"c": 246.0})
        return bay._verdicts(cast(ReadingCheck, SimpleNamespace(limits=limits)), bay.Meter())["drop_ground_v"]

    assert judged(0.45) == (bay.WATCH, "at most 0.50 V at these amps")
    assert judged(0.20) == (bay.PASS, "")
    assert judged(0.60) == (bay.ACT, "0.10 V outside the limit of 0.50 V at these amps")


def test_a_number_keeps_its_unit_on_its_line() -> None:
    assert (
        whole("85 % at −18 °C by 21 Feb 2027, 1,745 USD")
        == "85\u00a0% at −18\u00a0°C by 21\u00a0Feb 2027, 1,745\u00a0USD"
    )
    assert whole(safe("41 % chance, 3 vehicles")) == "41\u00a0\\% chance\\, 3 vehicles"


def test_typed_text_is_harmless_in_markdown() -> None:
    assert safe("a*b") == "a\\*b"
    assert safe("x\n# y") == "x \\# y"
    assert safe("<script>") == "\\<script\\>"
    assert span("1 %", "1 %") == "1 %"
