"""Hours, working days, closed days and prices set on the screen: checked, kept with who and when, undone, and obeyed.

Truth: what the test set, read back from the tables, the audit and the logbook.
"""

from __future__ import annotations

import math
from datetime import date, datetime
from pathlib import Path

import pandas as pd
import pytest
from sqlite_utils import Database

from dashboard.desk.planning import parts_in_force, save_parts
from dashboard.desk.workshop_edits import close_days, depot_hours, open_days, set_usual_week, set_week
from ingest import store
from ingest.corrections import undo
from ingest.errors import IngestError
from ingest.importer import import_paths
from ingest.logbook import read_logbook

NOW = datetime(2026, 11, 23, 9, 0)
DAY = NOW.date()
WHO = {"by": "Berta", "now": NOW}
HOSTILE = "yard, usual week"  # a depot that is called as the audit calls a row


@pytest.fixture
def db(tmp_path: Path) -> Database:
    (tmp_path / "units.csv").write_text(
        f'unit,vehicle_class,system_v,depot\nA-1,van,12,yard\nA-2,van,12,"{HOSTILE}"\nA-3,van,12,every depot\n'
    )
    (tmp_path / "workshops.csv").write_text("depot,week_from,hours_per_week\nyard,,40\nyard,2026-12-21,0\n")
    made = store.open_database(tmp_path / "fleet.db")
    assert import_paths(made, [tmp_path / "units.csv", tmp_path / "workshops.csv"], now=NOW).exit_code == 0
    return made


def hours(db: Database, depot: str = "yard") -> dict[str, float]:
    frame = store.read_workshops(db)
    own = frame[frame["depot"] == depot]
    return dict(zip(own["week_from"].dt.strftime("%Y-%m-%d").fillna(""), own["hours_per_week"], strict=True))


def test_the_usual_week_is_set_by_day_and_undone(db: Database) -> None:
    """Tuesday 6 h and Saturday 2 h: 8 h a week, of which three quarters are Tuesday's."""
    assert depot_hours(db, "yard", since=DAY).usual == (8.0, 8.0, 8.0, 8.0, 8.0, 0.0, 0.0)
    change = set_usual_week(db, "yard", [None, 6.0, None, None, None, 2.0, None], **WHO)
    assert hours(db) == {"": 8.0, "2026-12-21": 0.0}
    days = store.read_workshop_days(db)
    assert days[["weekday", "share"]].to_numpy().tolist() == [[2, 0.75], [6, 0.25]]
    assert depot_hours(db, "yard", since=DAY).usual == (0.0, 6.0, 0.0, 0.0, 0.0, 2.0, 0.0)
    assert set_usual_week(db, "yard", [0.0, 6.0, 0.0, 0.0, 0.0, 2.0, 0.0], **WHO) == 0
    undo(db, change, by="Anna", now=NOW)
    assert hours(db)[""] == 40.0
    assert store.read_workshop_days(db).empty
    book = read_logbook(db)
    assert set(book.loc[book["change"] == change, "by"]) == {"Berta"}
    assert "workshop hours: yard, usual week" in book["record"].tolist()


def test_days_alike_from_monday_to_friday_need_no_days_of_their_own(db: Database) -> None:
    set_usual_week(db, "yard", [6.0] * 5 + [None, None], **WHO)
    assert hours(db)[""] == 30.0
    assert store.read_workshop_days(db).empty
    set_usual_week(db, "yard", [None] * 7, **WHO)
    assert "" not in hours(db)
    assert depot_hours(db, "yard", since=DAY).usual == (None,) * 7


def test_a_week_of_its_own_is_set_changed_taken_away_and_each_is_undone(db: Database) -> None:
    first = set_week(db, "yard", "2026-W53", 12.5, **WHO)
    second = set_week(db, "yard", "2026-W53", 4.0, **WHO)
    assert hours(db)["2026-12-28"] == 4.0
    with pytest.raises(IngestError, match=f"was changed again on 2026-11-23 by Berta \\(change {second}\\)"):
        undo(db, first, by="Anna", now=NOW)
    undo(db, second, by="Anna", now=NOW)
    assert hours(db)["2026-12-28"] == 12.5
    undo(db, first, by="Anna", now=NOW)
    assert "2026-12-28" not in hours(db)
    gone = set_week(db, "yard", "2026-W52", None, **WHO)
    assert hours(db) == {"": 40.0}
    back = undo(db, gone, by="Anna", now=NOW).change
    assert hours(db) == {"": 40.0, "2026-12-21": 0.0}
    assert back is not None
    undo(db, back, by="Anna", now=NOW)  # undoing is a change like others
    assert hours(db) == {"": 40.0}


@pytest.mark.parametrize("depot", ["", "yard", "every depot", HOSTILE])
def test_closed_days_are_undone_whatever_the_depot_is_called(db: Database, depot: str) -> None:
    change = close_days(db, depot, date(2026, 12, 24), date(2026, 12, 26), " between\nthe  years ", **WHO)
    other = close_days(db, "yard", date(2026, 5, 1), date(2026, 5, 1), "", **WHO)
    assert other
    assert depot_hours(db, depot, since=DAY).closed == ((date(2026, 12, 24), date(2026, 12, 26), "between the years"),)
    undo(db, change, by="Anna", now=NOW)
    assert len(store.read_closures(db)) == 1
    again = open_days(db, "yard", date(2026, 5, 1), date(2026, 5, 1), **WHO)
    assert store.read_closures(db).empty
    undo(db, again, by="Anna", now=NOW)
    assert store.read_closures(db)["depot"].tolist() == ["yard"]
    if depot == HOSTILE:
        usual = set_usual_week(db, HOSTILE, [1.0] * 7, **WHO)
        undo(db, usual, by="Anna", now=NOW)
        assert hours(db) == {"": 40.0, "2026-12-21": 0.0}
        assert hours(db, HOSTILE) == {}


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        (lambda db: set_usual_week(db, "yard", [-1.0] + [0.0] * 6, **WHO), "Monday at yard has -1.0 hours; allowed are numbers from 0"),
        (lambda db: set_usual_week(db, "yard", [math.nan] + [0.0] * 6, **WHO), "Monday at yard has nan hours"),
        (lambda db: set_usual_week(db, "yard", [9000.0] * 7, **WHO), "the week at yard has 63000.0 hours"),
        (lambda db: set_usual_week(db, "<b>nowhere", [1.0] * 7, **WHO), "there is no depot '<b>nowhere'; allowed are"),
        (lambda db: set_week(db, "yard", "2025-W53", 1.0, **WHO), "the week is '2025-W53'; allowed is a week such as"),
        (lambda db: set_week(db, "yard", "'; DROP TABLE units", 1.0, **WHO), "allowed is a week such as 2026-W52"),
        (lambda db: set_week(db, "yard", "2026-W52", math.inf, **WHO), "has inf hours; allowed are numbers from 0 to 10000"),
        (lambda db: close_days(db, "yard", None, DAY, "", **WHO), "the first or the last closed day is missing"),
        (lambda db: close_days(db, "yard", DAY, date(2026, 11, 22), "", **WHO), "lies before the first"),
        (lambda db: close_days(db, "yard", DAY, date(2028, 1, 1), "", **WHO), "is longer than a year"),
        (lambda db: close_days(db, "yard", date(1026, 1, 1), DAY, "", **WHO), "allowed are days from 2000 to 2100"),
        (lambda db: close_days(db, "yard", DAY, DAY, "x" * 201, **WHO), "the reason has 201 characters; allowed are 200"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_said_in_one_sentence_and_nothing_is_written(db: Database, bad: object, said: str) -> None:
    before = hours(db), len(store.read_closures(db)), store.data_version(db)
    with pytest.raises(ValueError, match=said.replace("(", "\\(")):
        bad(db)  # type: ignore[operator]
    assert (hours(db), len(store.read_closures(db)), store.data_version(db)) == before


def test_prices_are_kept_with_who_and_undone_and_an_old_file_does_not_bring_them_back(
    db: Database, tmp_path: Path
) -> None:
    file = tmp_path / "parts.csv"
    file.write_text("part,price,labour_h,lead_days\nbattery,210,0.8,2\n")
    import_paths(db, [file], now=NOW)
    parts = parts_in_force(db).set_index("part")
    parts.loc["battery", "price"] = 333.0
    parts.loc["starter_motor", "lead_days"] = 30.0  # of no file so far
    count, change = save_parts(db, parts.reset_index(), **WHO)
    assert count == 2
    set_week(db, "yard", "2026-W52", 7.0, **WHO)
    import_paths(db, [file, tmp_path / "workshops.csv"], now=NOW)
    now = parts_in_force(db).set_index("part")
    assert (now.loc["battery", "price"], now.loc["starter_motor", "lead_days"]) == (333.0, 30.0)
    assert hours(db)["2026-12-21"] == 7.0
    file.write_text("part,price,labour_h,lead_days\nbattery,250,0.8,2\n")  # a new price counts
    import_paths(db, [file], now=NOW)
    assert parts_in_force(db).set_index("part").loc["battery", "price"] == 250.0
    with pytest.raises(IngestError, match="battery was changed again"):
        undo(db, change, by="Anna", now=NOW)
    parts.loc["battery", "price"] = 260.0
    _, change = save_parts(db, parts.reset_index(), **WHO)
    undo(db, change, by="Anna", now=NOW)
    assert parts_in_force(db).set_index("part").loc["battery", "price"] == 250.0
    assert pd.Series(read_logbook(db)["record"]).str.contains("part battery").any()
