"""Set-aside rows: corrected through the same checks with the original on record, or dismissed with a reason."""

from __future__ import annotations

from pathlib import Path

import pytest
from samples_ingest import NOW, UNITS, fleet, reading, readings_file
from sqlite_utils import Database

from ingest.errors import IngestError
from ingest.importer import import_paths
from ingest.set_aside import correct_set_aside, dismiss_set_aside, list_set_aside, show_set_aside
from ingest.store import read_readings


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return readings_file(tmp_path, reading(crank_min_v="abc"), reading(unit="K-1O2"), reading(unit="K-201", crank_a=-3))


@pytest.fixture
def db(tmp_path: Path, file: Path) -> Database:
    db = fleet(tmp_path)
    assert import_paths(db, [file], now=NOW).set_aside == 3
    return db


def test_list_and_show(db: Database) -> None:
    frame = list_set_aside(db)
    assert frame["line"].tolist() == [2, 3, 4]
    assert frame["file"].unique().tolist() == ["readings.csv"]
    row = show_set_aside(db, 1)
    assert row.original == reading(crank_min_v="abc")
    assert row.values["crank_min_v"] == "abc"
    assert row.values["rest_v"] == 12.66
    with pytest.raises(IngestError, match="no set-aside row 99"):
        show_set_aside(db, 99)
    with pytest.raises(ValueError, match="state"):
        list_set_aside(db, state="lost")


def test_a_row_that_comes_again_says_what_is_wrong_with_it_now(db: Database, file: Path, tmp_path: Path) -> None:
    """Worked by hand: the vehicle is entered meanwhile, and what was measured of it is another one's at the same time."""
    assert "is unknown" in show_set_aside(db, 2).reason
    newer = tmp_path / "units.csv"
    newer.write_text(f"{UNITS.splitlines()[0]}\n{UNITS.splitlines()[1].replace('K-101', 'K-1O2')}\n")
    first = readings_file(tmp_path, reading(unit="K-1O2", crank_min_v=10.9), name="first.csv")
    told = import_paths(db, [newer, first], now=NOW).files[0].notes
    assert told == ("1 row of readings.csv set aside while the vehicle was not known: import that file again",)
    assert import_paths(db, [file], now=NOW).still_aside == 3
    assert "is unknown" not in show_set_aside(db, 2).reason
    assert "10.9" in show_set_aside(db, 2).reason


def test_a_correction_goes_through_the_same_checks(db: Database) -> None:
    again = correct_set_aside(db, 1, {"crank_min_v": "13.9"}, by="anna", now=NOW)
    assert not again.stored
    assert "above rest volts" in again.problems[0]
    assert show_set_aside(db, 1).state == "open"
    good = correct_set_aside(db, 1, {"crank_min_mv": "11400"}, by="anna", now=NOW)
    assert good.stored
    row = show_set_aside(db, 1)
    assert (row.state, row.resolved_by) == ("corrected", "anna")
    assert row.original == reading(crank_min_v="abc")
    assert [attempt.result for attempt in row.attempts][-1] == "stored"
    assert read_readings(db)["crank_min_v"].tolist() == [11.4]
    origin = db.execute("SELECT kind, by, file FROM origins JOIN readings ON origin_id = id").fetchone()
    assert origin == ("correction", "anna", "readings.csv")
    with pytest.raises(IngestError, match="corrected already"):
        correct_set_aside(db, 1, {}, by="anna")


def test_answered_rows_stay_answered_when_the_file_comes_again(db: Database, file: Path, tmp_path: Path) -> None:
    correct_set_aside(db, 2, {"unit": "K-102"}, by="anna", now=NOW)
    dismiss_set_aside(db, 3, reason="clamp broken", by="anna", now=NOW)
    again = import_paths(db, [file], now=NOW)
    assert (again.stored, again.known, again.set_aside) == (0, 2, 1), "the row that nobody answered waits still"
    (tmp_path / "new.csv").write_text("unit,vehicle_class,system_v,depot\nK-1O2,bus,12,hill\n")
    import_paths(db, [tmp_path / "new.csv"], now=NOW)
    outcome = import_paths(db, [file], now=NOW)
    assert (outcome.stored, outcome.known) == (0, 2), "a row corrected to another vehicle is not stored a second time"
    assert sorted(list_set_aside(db, state="all")["state"]) == ["corrected", "dismissed", "open"]


def test_dismissing_needs_a_reason(db: Database) -> None:
    with pytest.raises(IngestError, match="needs a reason"):
        dismiss_set_aside(db, 3, reason=" ", by="anna")
    dismiss_set_aside(db, 3, reason="clamp broken", by="anna", now=NOW)
    assert show_set_aside(db, 3).resolution == "clamp broken"
    assert len(list_set_aside(db)) == 2


def test_unknown_column_in_a_correction(db: Database) -> None:
    entry = correct_set_aside(db, 1, {"colour": "red"}, by="anna")
    assert "'colour' is not a column" in entry.problems[0]


def test_rows_that_the_corrected_file_brings_in_rightly_are_closed(db: Database, tmp_path: Path) -> None:
    """A value, a vehicle's number, and one of two values that contradict each other; a slip that is left stays open."""
    again = readings_file(
        tmp_path, reading(crank_min_v=11.2), reading(unit="K-102"), reading(unit="K-201", crank_a=-3), name="second.csv"
    )
    (told,) = import_paths(db, [again], now=NOW).files
    assert (told.stored, told.still_aside) == (2, 1)
    assert told.notes[-1] == "2 rows set aside before, brought in rightly now and closed: 1, 2"
    assert list_set_aside(db)["id"].tolist() == [3]
    row = show_set_aside(db, 1)
    assert (row.state, row.resolution, row.resolved_by) == (
        "admitted",
        "brought in rightly by second.csv, line 2",
        "import",
    )
    above = readings_file(tmp_path, reading(taken_at="2023-03-02T08:15", rest_v=9.0), name="third.csv")
    assert import_paths(db, [above], now=NOW).set_aside == 1
    right = readings_file(tmp_path, reading(taken_at="2023-03-02T08:15"), name="third.csv")
    import_paths(db, [right], now=NOW)
    assert list_set_aside(db)["id"].tolist() == [3]


@pytest.mark.parametrize(
    "other",
    [
        reading(crank_min_v=11.2, rest_v=12.5),  # two values differ: another reading
        reading(crank_min_v=11.2, taken_at="2023-03-01T08:16"),
        reading(crank_min_v=11.2, unit="K-102"),
    ],
)
def test_another_reading_closes_nothing(db: Database, tmp_path: Path, other: str) -> None:
    file = readings_file(
        tmp_path, reading(taken_at="2023-02-01T08:15"), other, name="second.csv"
    )  # on another line than its like
    assert import_paths(db, [file], now=NOW).stored == 2
    assert list_set_aside(db)["id"].tolist() == [1, 2, 3]


def test_a_repair_whose_day_was_mistyped_is_closed_by_its_line(tmp_path: Path) -> None:
    db = fleet(tmp_path)
    head = "unit,done_on,part,action,reason\n"
    for day, waits in (("2023-13-05", [1]), ("2023-12-05", [])):
        file = tmp_path / "repairs.csv"
        file.write_text(f"{head}K-102,2023-04-05,battery,replaced,no_start\nK-101,{day},battery,replaced,no_start\n")
        import_paths(db, [file], now=NOW)
        assert list_set_aside(db)["id"].tolist() == waits


@pytest.mark.parametrize("broken", ["A decimal comma: 12,66", "the end of the file"])
def test_a_line_that_could_not_be_taken_apart_is_closed_by_the_whole_one(tmp_path: Path, broken: str) -> None:
    db, whole = fleet(tmp_path), reading()
    line = whole.replace("12.66", "12,66") if "comma" in broken else whole[:-9]
    file = readings_file(tmp_path, reading(unit="K-102"), line)
    file.write_text(file.read_text().removesuffix("\n"))
    assert import_paths(db, [file], now=NOW).set_aside == 1
    readings_file(tmp_path, reading(unit="K-102"), whole)
    assert import_paths(db, [file], now=NOW).stored == 1
    assert list_set_aside(db).empty
