"""A vehicle's first and last day in service: how files say them, what is not believed outside them, from when on they are known.

Truth: the invented fleet's own rows; which lists a write is seen by, as `note_write` notes it.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from samples_ingest import NOW, UNITS, fleet, reading, readings_file, reasons
from sqlite_utils import Database

from ingest.corrections import correct, undo, withdraw
from ingest.entries import record_reading, record_repair
from ingest.errors import IngestError
from ingest.importer import import_paths
from ingest.visits import PlannedVisit, Report, close_visit
from ingest.vocabulary import UNIT_WORDS, meaning

LAST = dt.date(2024, 4, 30)
SOLD = {"by": "anna", "reason": "sold", "now": NOW}
VALUES = {"unit": "K-101", "rest_v": 12.6, "crank_min_v": 11.2}


@pytest.fixture
def db(tmp_path: Path) -> Database:
    return fleet(tmp_path / "fleet")


def last_day(db: Database, unit: str = "K-101") -> str | None:
    (found,) = db.execute("SELECT out_of_service FROM units WHERE unit = ?", [unit]).fetchone()
    return found


def sold(db: Database, day: str = LAST.isoformat()) -> int:
    entry = correct(db, "vehicle", "K-101", {"out_of_service": day}, **SOLD)
    assert entry.stored, entry.problems
    assert entry.change is not None
    return entry.change


def first_seen(db: Database) -> str:
    """The day whose list is the last that does not see the newest write; "" where all lists see it."""
    return str(db.execute("SELECT first_on FROM writes ORDER BY id DESC LIMIT 1").fetchone()[0])


@pytest.mark.parametrize(
    "heading",
    ["out_of_service", "sold on", "Out of service", "decommissioned", "scrapped on", "last day in service", "deregistered on",
     "außer Betrieb", "abgemeldet am", "verkauft am", "verschrottet", "Stilllegung", "in Betrieb bis"],
)  # fmt: skip
def test_a_heading_in_the_trades_words_is_the_last_day(heading: str, db: Database, tmp_path: Path) -> None:
    file = tmp_path / "sold.csv"
    file.write_text(f"unit,vehicle_class,system_v,depot,{heading}\nK-101,panel_van,12,harbour,{LAST}\n")
    assert import_paths(db, [file], now=NOW).exit_code == 0
    assert (last_day(db), last_day(db, "K-102")) == (LAST.isoformat(), None)


@pytest.mark.parametrize(
    "heading", ["in service", "in service since", "Inbetriebnahme", "Erstzulassung", "commissioned"]
)
def test_the_first_day_is_called_as_ever(heading: str) -> None:
    found = meaning(heading, UNIT_WORDS)
    assert found is not None
    assert found.column == "in_service"


@pytest.mark.parametrize("heading", ["sold to", "sale price", "Verkaufspreis"])
def test_who_bought_it_and_for_how_much_is_no_day(heading: str) -> None:
    found = meaning(heading, UNIT_WORDS)
    assert found is None or found.column != "out_of_service"


def test_a_file_without_the_column_or_with_it_empty_erases_nothing(db: Database, tmp_path: Path) -> None:
    sold(db)
    file = tmp_path / "units.csv"
    for text in (UNITS, UNITS.replace("in_service\n", "in_service,out_of_service\n").replace("-01\n", "-01,\n")):
        file.write_text(text)
        assert import_paths(db, [file], now=NOW).exit_code == 0
        assert last_day(db) == LAST.isoformat()


def test_a_last_day_is_known_from_that_day_on(db: Database, tmp_path: Path) -> None:
    """By hand, by a file that only says this, put right, taken back: a list of an earlier day sees nothing of it."""
    before = (LAST - dt.timedelta(days=1)).isoformat()
    change = sold(db)
    assert first_seen(db) == before
    sold(db, "2024-05-20")
    assert first_seen(db) == before
    undo(db, change + 1, by="anna", now=NOW)
    assert (last_day(db), first_seen(db)) == (LAST.isoformat(), before)
    correct(db, "vehicle", "K-101", {"out_of_service": ""}, **SOLD)
    assert (last_day(db), first_seen(db)) == (None, before)
    file = tmp_path / "sold.csv"
    file.write_text("unit,vehicle_class,system_v,depot,out_of_service\nK-102,panel_van,12,harbour,2024-03-31\n")
    import_paths(db, [file], now=NOW)
    assert first_seen(db) == "2024-03-30"
    correct(db, "vehicle", "K-102", {"out_of_service": "2024-04-01", "depot": "hill"}, **SOLD)
    assert first_seen(db) == "", "the depot is known at all times"


def test_what_is_dated_after_the_last_day_is_not_taken_in(db: Database, tmp_path: Path) -> None:
    sold(db)
    on, after = ({**VALUES, "taken_at": f"2024-0{month}T08:00"} for month in ("4-30", "5-01"))
    assert record_reading(db, on, by="anna", now=NOW).stored, "on the last day it is measured still"
    for found in (
        record_reading(db, after, by="anna", now=NOW),
        record_repair(
            db, {"unit": "K-101", "done_on": "2024-05-01", "part": "battery", "action": "replaced"}, by="a", now=NOW
        ),
        close_visit(
            db,
            PlannedVisit("v1", "K-101", "2024-04-29", "battery"),
            Report("sound", dt.date(2024, 5, 1)),
            by="a",
            now=NOW,
        ),
    ):
        (said,) = found.problems
        assert not found.stored
        assert "2024-05-01 is after the last day in service of K-101, 2024-04-30" in said
        assert "correct its out_of_service" in said
        assert "such as K-101-2" in said
    import_paths(db, [readings_file(tmp_path, reading(taken_at="2024-05-02T08:00"), reading())], now=NOW)
    (reason,) = reasons(db)
    assert "taken_at 2024-05-02 is after the last day in service of K-101" in reason


def test_what_is_dated_before_the_first_day_is_not_taken_in(db: Database) -> None:
    repair = {"unit": "K-101", "done_on": "2019-02-28", "part": "battery", "action": "replaced"}
    (said,) = record_repair(db, repair, by="anna", now=NOW).problems
    assert "done_on 2019-02-28 is before the first day in service of K-101, 2019-03-01" in said
    assert "correct its in_service" in said
    assert record_repair(db, {**repair, "done_on": "2019-03-01"}, by="anna", now=NOW).stored


def test_days_in_service_leave_nothing_on_record_outside(db: Database, tmp_path: Path) -> None:
    number = record_reading(db, {**VALUES, "taken_at": "2024-05-12T08:00"}, by="anna", now=NOW).row_id
    assert number is not None
    (said,) = correct(db, "vehicle", "K-101", {"out_of_service": str(LAST)}, **SOLD).problems
    assert said.startswith(f"out_of_service is 2024-04-30, and reading {number} of K-101 is of 2024-05-12; allowed is")
    (said,) = correct(db, "vehicle", "K-101", {"in_service": "2024-05-13"}, **SOLD).problems
    assert f"reading {number} of K-101 is of 2024-05-12; allowed is 2024-05-12 or earlier" in said
    file = tmp_path / "sold.csv"
    file.write_text(f"unit,vehicle_class,system_v,depot,out_of_service\nK-101,panel_van,12,harbour,{LAST}\n")
    import_paths(db, [file], now=NOW)
    assert reasons(db)[0].startswith("out_of_service is 2024-04-30, and reading")
    assert last_day(db) is None
    taken = withdraw(db, "reading", number, by="anna", reason="of another vehicle", now=NOW).change
    sold(db)
    assert taken is not None
    with pytest.raises(IngestError, match="after the last day in service"):
        undo(db, taken, by="anna", now=NOW)
    assert not list(db.query("SELECT * FROM readings"))


def test_a_day_is_put_back_only_where_nothing_came_meanwhile(db: Database) -> None:
    sold(db)
    emptied = correct(db, "vehicle", "K-101", {"out_of_service": ""}, **SOLD).change
    assert emptied is not None
    record_reading(db, {**VALUES, "taken_at": "2024-05-12T08:00"}, by="anna", now=NOW)
    with pytest.raises(IngestError, match="reading 1 of K-101 is of 2024-05-12"):
        undo(db, emptied, by="anna", now=NOW)
    assert last_day(db) is None


def test_it_leaves_after_it_came(db: Database, tmp_path: Path) -> None:
    (said,) = correct(db, "vehicle", "K-101", {"out_of_service": "2019-02-28"}, **SOLD).problems
    assert said == "out_of_service 2019-02-28 is before in_service 2019-03-01; allowed is that day or a later one"
    file = tmp_path / "sold.csv"
    file.write_text("unit,vehicle_class,system_v,depot,out_of_service\nK-101,panel_van,12,harbour,2019-02-28\n")
    import_paths(db, [file], now=NOW)
    assert reasons(db) == [said]


def test_a_number_given_anew_is_told_what_to_do(db: Database, tmp_path: Path) -> None:
    sold(db)
    file = tmp_path / "new.csv"
    file.write_text("unit,vehicle_class,system_v,depot,in_service\nK-101,coach,24,hill,2024-05-02\n")
    import_paths(db, [file], now=NOW)
    (reason,) = reasons(db)
    assert "its last day in service is 2024-04-30" in reason
    assert "another vehicle that bears its number now needs one of its own, such as K-101-2" in reason


def test_what_a_file_said_before_it_was_corrected_does_not_come_back(db: Database, tmp_path: Path) -> None:
    file = tmp_path / "sold.csv"
    file.write_text(f"unit,vehicle_class,system_v,depot,out_of_service\nK-101,panel_van,12,harbour,{LAST}\n")
    import_paths(db, [file], now=NOW)
    correct(db, "vehicle", "K-101", {"out_of_service": ""}, **SOLD)
    file.write_text(file.read_text() + "\n")
    assert import_paths(db, [file], now=NOW).exit_code == 0
    assert last_day(db) is None
