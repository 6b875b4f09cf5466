"""A visit that was done: its report, its repairs and its reading are stored together or not at all, once, and taken back whole.

Truth: what the test itself reported, and the rules of single repairs and readings, which have their own tests.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from typing import Any

import pytest
from sqlite_utils import Database

from dashboard.desk.kept_assessment import judged_version
from ingest import corrections
from ingest.errors import IngestError
from ingest.logbook import read_logbook
from ingest.records import read_findings
from ingest.store import read_readings, read_repairs
from ingest.visits import PlannedVisit, Report, close_visit, read_visits

NOW = datetime(2026, 11, 24, 10, 30)
VISIT = PlannedVisit("abc@cranktrend", "K-101", "2026-11-24", "battery", "replace battery", 1.2)
DONE = Report("worn", NOW.date(), action="replaced", parts=("battery",), note="terminal loose too",
              reading={"rest_v": "12.7", "crank_min_v": "10.9", "crank_a": "210", "temperature_c": "4"})  # fmt: skip


def close(db: Database, report: Report = DONE, **more: Any) -> Any:
    return close_visit(db, more.pop("visit", VISIT), report, by="anna", now=NOW, **more)


def on_record(db: Database) -> tuple[int, int, int]:
    """Visits, repairs and readings there are."""
    return len(read_visits(db)), len(read_repairs(db)), len(read_readings(db))


def test_a_report_is_the_repair_record_and_the_reading_after(db: Database) -> None:
    visits, repairs, readings = on_record(db)
    entry = close(db, entry_id="form-1")
    assert entry.stored
    assert on_record(db) == (visits + 1, repairs + 1, readings + 1)
    visit = read_visits(db).iloc[0]
    assert (visit["found"], visit["work"], visit["by"], f"{visit['done_on']:%Y-%m-%d}") == (
        "worn", "battery replaced", "anna", "2026-11-24",
    )  # fmt: skip
    assert read_repairs(db).iloc[-1][["unit", "part", "action"]].tolist() == ["K-101", "battery", "replaced"]
    reported = read_logbook(db, unit="K-101").query("what == 'reported'")
    assert reported["new"].tolist() == ["2026-11-24 found worn"]


def test_what_was_done_yesterday_was_measured_yesterday(db: Database) -> None:
    assert close(db, replace(DONE, done_on=date(2026, 11, 23))).stored
    assert f"{read_readings(db).iloc[-1]['taken_at']:%Y-%m-%d %H:%M}" == "2026-11-23 10:30"


def test_a_second_click_stores_nothing_twice_and_a_second_person_is_told(db: Database) -> None:
    first = close(db, entry_id="form-1")
    after = on_record(db)
    again = close(db, entry_id="form-1")
    assert (again.known, again.stored, again.row_id) == (True, False, first.row_id)
    other = close(db, replace(DONE, found="sound", action="", parts=(), reading={}), entry_id="form-2")
    assert "was reported by anna on 2026-11-24" in other.problems[0]
    assert on_record(db) == after


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"reading": {"rest_v": "1260", "crank_min_v": "10.9"}}, "rest_v"),
        ({"reading": {"volts": "12"}}, "is not a column of readings"),
        ({"parts": ("gearbox",)}, "part"),
        ({"parts": ()}, "belong together"),
        ({"found": "fine"}, "allowed are worn, sound, other, not_known"),
        ({"other_part": "ground_path"}, "other_part is 'ground_path' though found is 'worn'"),
        ({"found": "other", "other_part": "battery"}, "the part that was expected"),
        ({"done_on": date(2026, 11, 25)}, "today at the latest"),
        ({"done_on": date(2024, 11, 24)}, "a day of the past year"),
        ({"note": "x" * 501}, "note has 501 characters"),
    ],
)
def test_nothing_is_half_written(db: Database, changes: dict[str, Any], said: str) -> None:
    """The repair of a report whose reading cannot be believed is not stored either, nor any trace of the attempt."""
    before, origins = on_record(db), db["origins"].count
    entry = close(db, replace(DONE, **changes), entry_id="form-1")
    assert said in " ".join(entry.problems)
    assert on_record(db) == before
    assert db["origins"].count == origins
    assert close(db, entry_id="form-1").stored


def test_a_report_is_taken_back_whole_and_put_back_whole(db: Database) -> None:
    before = on_record(db)
    entry = close(db)
    after = on_record(db)
    gone = corrections.withdraw(db, "visit", entry.row_id, by="anna", reason="wrong vehicle")
    assert on_record(db) == before
    assert {str(row["word"]) for row in corrections.withdrawn_of(db, "K-101")} == {"visit", "repair", "reading"}
    assert len(corrections.withdrawn_of(db, "K-101")) == 3
    back = corrections.undo(db, gone.change, by="anna")
    assert on_record(db) == after
    corrections.undo(db, back.change, by="anna")
    assert on_record(db) == before


def test_a_report_taken_back_can_be_filled_in_anew(db: Database) -> None:
    """Unlike a file's row, which says what was withdrawn: a person says it now. Then the first cannot come back beside it."""
    entry = close(db, entry_id="form-1")
    gone = corrections.withdraw(db, "visit", entry.row_id, by="anna", reason="mistyped")
    assert "taken back" in close(db, entry_id="form-1").problems[0]
    again = close(db, replace(DONE, note="second try"), entry_id="form-2")
    assert again.stored
    assert again.row_id != entry.row_id
    after = on_record(db)
    with pytest.raises(IngestError, match="another visit"):
        corrections.undo(db, gone.change, by="anna")
    assert on_record(db) == after


def test_what_was_found_can_be_corrected(db: Database) -> None:
    entry = close(db)
    wrong = corrections.correct(db, "visit", entry.row_id, {"found": "fine"}, by="bo", reason="looked again")
    assert "allowed are worn, sound, other, not_known" in wrong.problems[0]
    strange = corrections.correct(db, "visit", entry.row_id, {"uid": "x"}, by="bo", reason="looked again")
    assert "allowed are found, other_part, note" in strange.problems[0]
    changes = {"found": "other", "other_part": "ground_path"}
    assert corrections.correct(db, "visit", entry.row_id, changes, by="bo", reason="looked again").stored
    assert read_visits(db).iloc[0][["found", "other_part"]].tolist() == ["other", "ground_path"]


@pytest.mark.parametrize(("found", "other", "sound"), [("worn", "", []), ("not_known", "", []), ("sound", "", ["battery"]),
                                                       ("other", "ground_path", ["battery"])])  # fmt: skip
def test_what_was_found_is_fed_back_to_the_judgement(db: Database, found: str, other: str, sound: list[str]) -> None:
    """A part found sound counts as a look that found nothing from the next day on, and the kept assessment is made anew."""
    day = date(2026, 11, 25)
    before = judged_version(db, day)
    close(db, Report(found, NOW.date(), other_part=other))
    assert read_findings(db, before=day)["part"].tolist() == sound
    assert read_findings(db, before=NOW.date()).empty
    assert (judged_version(db, day) != before) == bool(sound)


def test_a_visit_of_nobody_is_a_bad_call(db: Database) -> None:
    for strange in (replace(VISIT, uid=""), replace(VISIT, unit="NOBODY")):
        with pytest.raises(ValueError, match="allowed is a visit of the plan"):
            close(db, visit=strange)
