"""What the manager and the technician leave on record through the screens, and every table as a file.

Truth: what the test itself chose, clicked and typed, read back from the database; the source text of the pages.
"""

from __future__ import annotations

import ast
import dataclasses
import datetime as dt
from collections import Counter
from pathlib import Path

import pandas as pd
import pytest
from samples_screens import AS_OF, assessed, worst_unit
from test_views import run, said

from analysis.plan.workshop_calendar import iso_week
from dashboard.desk import weekly
from dashboard.desk.past_lists import REPORTED, past_report
from dashboard.files.as_csv import as_csv
from dashboard.screens import session
from dashboard.screens.session import TODAY_VARIABLE
from dashboard.words.backtest_report import report_text
from dashboard.words.plain_text import safe
from ingest import store
from ingest.entries import record_reading
from ingest.records import read_decisions, read_weekly_list
from ingest.set_aside import correct_set_aside, list_set_aside, show_set_aside

VIEWS = Path(__file__).parents[1] / "dashboard" / "screens" / "views"
TABLES = ("st.dataframe", "st.table", "st.data_editor")


# --- every table can be taken along ----------------------------------------------------------------------------------


def called(function: ast.AST) -> Counter[str]:
    """How often each `owner.name(...)` is called within a function."""
    calls = (node.func for node in ast.walk(function) if isinstance(node, ast.Call))
    return Counter(
        f"{of.value.id}.{of.attr}" for of in calls if isinstance(of, ast.Attribute) and isinstance(of.value, ast.Name)
    )


@pytest.mark.parametrize("view", sorted(VIEWS.glob("*.py")), ids=lambda path: path.stem)
def test_every_table_has_its_download_beside_it(view: Path) -> None:
    """In each function that shows tables, as many are offered as files; no table is shown anywhere else."""
    tree = ast.parse(view.read_text(encoding="utf-8"))
    shown = 0
    for function in (node for node in tree.body if isinstance(node, ast.FunctionDef)):
        calls = called(function)
        tables = sum(calls[table] for table in TABLES)
        shown += tables
        assert calls["downloads.table_button"] >= tables, f"{view.stem}.{function.name}"
    calls = called(tree)
    assert shown == sum(calls[table] for table in TABLES)


@pytest.mark.usefixtures("fleet")
def test_the_tables_of_a_vehicle_come_with_their_rows_and_names() -> None:
    """The row names of the latest reading's table are in its file, which has no index."""
    app = run("unit", unit=worst_unit(), tab="Latest reading")
    table = app.table[0].value.reset_index()
    text = as_csv(table).splitlines()
    assert text[0] == "part,this reading,±,expected,unit"
    assert [line.split(",")[0] for line in text[1:]] == app.table[0].value.index.tolist()
    for tab, least in (("Latest reading", 2), ("Over time", 1), ("Readings and repairs", 1), ("On paper", 0)):
        app = app if tab == "Latest reading" else run("unit", unit=worst_unit(), tab=tab)
        files = [button.proto.label for button in app.get("download_button")]
        assert files.count("Table as CSV") == len(app.dataframe) + len(app.table) >= least


def test_what_was_tried_with_a_row_can_be_taken_along(fleet: Path) -> None:
    db = store.open_database(fleet)
    wrong = next(r for r in list_set_aside(db).to_dict("records") if "would fit" in r["reason"])
    column = wrong["reason"].split()[0]
    now = dt.datetime(2026, 11, 30, 7)
    tried = correct_set_aside(db, wrong["id"], {column: "9999"}, by="Technician", now=now)
    assert not tried.stored
    app = run("set_aside")
    app.selectbox(key="aside_row_open").set_value(wrong["id"]).run()
    table = next(frame.value for frame in app.dataframe if "result" in frame.value)
    assert table["by"].tolist() == ["Technician"]
    assert len(show_set_aside(db, wrong["id"]).attempts) == 1
    keys = [button.proto.id for button in app.get("download_button")]
    assert any("csv_tried" in key for key in keys), keys


# --- the weekly list's filters ---------------------------------------------------------------------------------------


def test_filters_leave_what_was_chosen_with_the_rank_of_the_whole_list(fleet: Path) -> None:
    assert weekly.issue(store.open_database(fleet), assessed())
    app = run()
    issued = read_weekly_list(store.open_database(fleet), iso_week(AS_OF))
    assert issued is not None
    rows = [{**row, "rank": i + 1} for i, row in enumerate(issued.body["units"])]
    drawn = sum("ct-short" in str(one.value) for one in app.markdown)
    assert drawn == min(len(rows), 25), "every card has the course of its part"
    app.session_state["list_tab"] = "Table and paper"
    app.run()
    for name in ("depot", "vehicle_class", "part"):
        values = [row[name] for row in rows]
        rarest = min(set(values), key=lambda value: (values.count(value), value))
        wanted = [row for row in rows if row[name] == rarest]
        assert 0 < len(wanted) < len(rows), f"a filter by {name} can only be told from none if it leaves something out"
        app.multiselect(key=name).set_value([rarest]).run()
        shown = app.dataframe[0].value
        assert shown["vehicle"].tolist() == [row["unit"] for row in wanted]
        assert shown["rank"].tolist() == [row["rank"] for row in wanted]
        assert f"Below stand {len(wanted)} of these {len(rows)} vehicles" in said(app)
        app.multiselect(key=name).set_value([]).run()
    assert len(app.dataframe[0].value) == len(rows)
    assert "Below stand" not in said(app)


# --- decisions -------------------------------------------------------------------------------------------------------


def report_of(path: Path) -> tuple[int, str]:
    """Flags for nothing that a backtest of the last two lists counts, and its whole report."""
    units = assessed().units.assign(flagged=assessed().units["flagged"].astype(bool))
    lists = pd.concat([units.assign(as_of=pd.Timestamp(AS_OF) - pd.Timedelta(days=k)) for k in (7, 0)])
    lists = lists[["as_of", *REPORTED]]
    db = store.open_database(path)
    text = report_text(past_report(db, lists, horizon_days=30))
    line = next(one for one in text.splitlines() if one.startswith("this list"))
    return int(line[36:].replace("–", "0").split()[-3]), text


def test_a_manager_s_decisions_go_on_record_and_a_wrong_flag_counts(fleet: Path) -> None:
    """Accept, ask, looked at and found nothing: with name, week and note; the backtest counts one more for nothing."""
    unit = worst_unit()
    before, _ = report_of(fleet)
    app = run("unit", unit=unit)
    app.text_input(key="who").set_value("Manager")
    app.button(key="accept").click().run()
    assert "plan it" in said(app)
    app.button(key="ask").click().run()
    assert "easurement asked for" in said(app)
    app.text_input(key=f"note_{unit}").set_value("cables and posts")
    app.button(key="nothing_now").click().run()
    assert not app.exception
    assert "found nothing: cables and posts (Manager)" in said(app)
    made = read_decisions(store.open_database(fleet))
    assert made["kind"].tolist() == ["accepted", "measure", "nothing_found"]
    assert made["reason"].tolist() == ["", "", "cables and posts"]
    assert set(made["unit"]) == {unit}
    assert set(made["by"]) == {"Manager"}
    assert set(made["iso_week"]) == {iso_week(AS_OF)}
    assert "Postponed or looked at (1)" in said(run())
    after, text = report_of(fleet)
    assert after == before + 1, text


@pytest.mark.nightly
@pytest.mark.usefixtures("fleet")
def test_a_wrong_flag_stands_on_the_fleet_s_page_from_the_next_day(monkeypatch: pytest.MonkeyPatch) -> None:
    unit = worst_unit()
    app = run("unit", unit=unit)
    app.button(key="nothing_now").click().run()
    tomorrow = AS_OF + dt.timedelta(days=1)
    monkeypatch.setenv(TODAY_VARIABLE, tomorrow.isoformat())
    later = dataclasses.replace(assessed(), as_of=pd.Timestamp(tomorrow))
    monkeypatch.setattr(session, "_assess", lambda _key: later)
    page = run("fleet")
    assert "1 flag looked at and nothing found" in said(page)
    table = next(frame.value for frame in page.dataframe if "iso_week" in frame.value)
    assert table["unit"].tolist() == [unit]


# --- how a start went ------------------------------------------------------------------------------------------------


def test_how_a_start_went_is_saved_in_the_bay(fleet: Path) -> None:
    unit = worst_unit()
    db = store.open_database(fleet)
    count = len(store.read_readings(db, units=[unit]))
    app = run("work", unit=unit)
    assert app.button(key="save_start").disabled
    app.button_group(key="start_outcome").set_value("no_start")
    app.date_input(key="start_on").set_value(AS_OF - dt.timedelta(days=1))
    app.time_input(key="start_at").set_value(dt.time(6, 40))
    app.text_input(key="start_air").set_value("−12,5")
    app.text_input(key="start_note").set_value("clicks only").run()
    assert "record the repair too" in said(app)
    app.button(key="save_start").click().run()
    assert not app.exception
    assert "Start kept" in said(app)
    mine = store.read_readings(db, units=[unit])
    assert len(mine) == count + 1
    kept = mine[mine["taken_at"] == pd.Timestamp("2026-11-29 06:40")].iloc[0]
    assert (kept["outcome"], kept["temperature_c"], kept["note"]) == ("no_start", -12.5, "clicks only")
    assert "counted in these figures from the next day on" not in said(run("unit", unit=unit)), (
        "it is of the day before"
    )
    start = {"unit": unit, "taken_at": f"{AS_OF}T05:10", "outcome": "click"}
    assert record_reading(db, start, by="Ada", now=dt.datetime.combine(AS_OF, dt.time(8)), entry_id="ab12").stored
    assert "counted in these figures from the next day on: one click, no crank." in said(
        run("unit", unit=unit)
    ).replace("\\", "")


@pytest.mark.nightly
def test_a_vehicle_is_decided_on_from_its_card_and_keeps_its_place(fleet: Path) -> None:
    """Looked at, nothing found: on record at once, undone at once, and the card stays where it was meanwhile."""
    unit = worst_unit()
    app = run()
    app.button(key=f"decide_{unit}").click().run()
    app.text_input(key=f"note_{unit}").set_value("posts")
    app.button(key=f"decide_{unit}").click()  # the test's own runs are of the whole page: the box stays open with it
    app.button(key="nothing_now").click().run()
    assert not app.exception
    assert "Kept on record" in said(app)
    assert "Postponed or looked at" not in said(app), "it keeps its place until something else is done"
    assert read_decisions(store.open_database(fleet))["reason"].tolist() == ["posts"]
    app.button(key="undo_kept").click().run()
    assert read_decisions(store.open_database(fleet)).empty


@pytest.mark.nightly
def test_from_one_vehicle_to_the_next_in_the_order_of_the_list(fleet: Path) -> None:
    """Before, next, and back to the list; the first has none before it, a vehicle off the list has none of them."""
    weekly.issue(store.open_database(fleet), assessed(), by="office")
    rows = assessed().units
    listed = [str(unit) for unit in rows.loc[rows["flagged"].astype(bool), "unit"]]
    links = {link.proto.label for link in run("unit", unit=listed[1]).get("page_link")}
    assert {f"Before: {safe(listed[0])}", f"Next: {safe(listed[2])}"} <= links
    first = {link.proto.label for link in run("unit", unit=listed[0]).get("page_link")}
    assert not any(label.startswith("Before: ") for label in first)
    assert any(label.endswith(f", 1 of {len(listed)}") for label in first)
    sound = str(rows.loc[~rows["flagged"].astype(bool), "unit"].iloc[0])
    assert not any("Next: " in link.proto.label for link in run("unit", unit=sound).get("page_link"))


@pytest.mark.usefixtures("fleet")
def test_the_fleet_s_page_has_the_two_figures_for_a_meeting_and_what_nobody_acted_on() -> None:
    app = run("fleet").run()  # the past lists have come meanwhile
    assert {m.label: m.value for m in app.metric if m.label in ("No-starts foreseen", "Saved against waiting")} == {
        "No-starts foreseen": "4 of 5", "Saved against waiting": safe("4,000 USD")
    }  # fmt: skip
    assert "Beyond a printed limit, and nobody acted" in said(app)
