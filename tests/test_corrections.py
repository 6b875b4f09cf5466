"""Saved mistakes are put right: corrected, moved, withdrawn, put back; the past follows, and files bring nothing back.

Truth: what the test itself stored, changed and imported again.
"""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
from samples_ingest import GOOD, NOW, UNITS, reading, readings_file
from sqlite_utils import Database

from ingest import corrections, records
from ingest.corrections import correct, undo, withdraw
from ingest.entries import check_reading, record_reading, record_repair
from ingest.errors import IngestError
from ingest.importer import import_paths
from ingest.logbook import read_logbook
from ingest.record_check import changes_not_followed, rows_of_files
from ingest.store import read_readings, read_repairs, read_units

WHO = {"by": "anna", "reason": "misread", "now": NOW}
REPAIRS = "unit,done_on,part,action,reason,note\nK-101,2024-02-03,battery,replaced,no_start,\n"


def only_reading(db: Database) -> dict[str, Any]:
    frame = read_readings(db)
    assert len(frame) == 1
    return {str(name): value for name, value in frame.iloc[0].to_dict().items()}


def a_decision(db: Database, **changes: Any) -> int:
    call = {"unit": "K-101", "iso_week": "2024-W22", "kind": "nothing_found", "by": "m", "now": NOW} | changes
    return records.save_decision(db, **call)


def audit(db: Database) -> list[tuple[Any, ...]]:
    return list(
        db.execute(
            "SELECT table_name, row_key, column_name, old_value, new_value, by, reason FROM audit ORDER BY id"
        ).fetchall()
    )


# --- correcting ------------------------------------------------------------------------------------------------------


def test_a_correction_keeps_the_old_value_and_its_file_stays_known(db: Database, tmp_path: Path) -> None:
    file = readings_file(tmp_path, GOOD)
    import_paths(db, [file], now=NOW)
    number = int(only_reading(db)["reading_id"])
    entry = correct(db, "reading", number, {"crank_a": "175", "peak_a": ""}, **WHO)
    assert entry.stored
    row = only_reading(db)
    assert row["crank_a"] == 175.0
    assert row["peak_a"] != row["peak_a"]
    key = ("readings", str(number))
    assert audit(db) == [
        (*key, "crank_a", "170.0", "175.0", "anna", "misread"),
        (*key, "peak_a", "480.0", None, "anna", "misread"),
    ]
    outcome = import_paths(db, [file], now=NOW)
    assert (outcome.known, outcome.set_aside) == (1, 0)
    assert only_reading(db)["crank_a"] == 175.0


def test_a_file_that_says_something_close_by_is_not_what_was_said_before(db: Database, tmp_path: Path) -> None:
    """What was corrected is known by its old value to the digits that are stored; a hundredth of a volt is another value."""
    import_paths(db, [readings_file(tmp_path, GOOD)], now=NOW)
    number = int(only_reading(db)["reading_id"])
    assert correct(db, "reading", number, {"rest_v": "12.5"}, **WHO).stored
    close_by = import_paths(db, [readings_file(tmp_path, reading(rest_v=12.65), name="b.csv")], now=NOW)
    assert (close_by.known, close_by.set_aside) == (0, 1)


def test_corrections_are_checked_like_a_new_entry(db: Database, tmp_path: Path) -> None:
    import_paths(db, [readings_file(tmp_path, GOOD, reading(taken_at="2023-03-02T08:15"))], now=NOW)
    number = int(read_readings(db)["reading_id"].iloc[0])
    before = read_readings(db)

    def said(changes: dict[str, object]) -> str:
        return " ".join(correct(db, "reading", number, changes, **WHO).problems)

    assert "above rest" in said({"rest_v": 9})
    assert "decimal point misplaced" in said({"rest_v": "126.6"})
    assert "K-101 has another reading (2) of 2023-03-02T08:15:00" in said({"taken_at": "2023-03-02T08:15"})
    assert "'colour' is not a column" in said({"colour": "red"})
    assert "unknown" in said({"unit": "K-999"})
    assert correct(db, "reading", number, {}, by="a", reason=" ", now=NOW).problems
    same = correct(db, "reading", number, {"rest_v": "12.66"}, **WHO)
    assert (same.known, same.stored, same.change) == (True, False, None)
    with pytest.raises(IngestError, match="no reading 999"):
        correct(db, "reading", 999, {}, **WHO)
    with pytest.raises(ValueError, match="allowed are reading, repair, decision"):
        correct(db, "list", 1, {}, **WHO)
    assert read_readings(db).equals(before)
    assert audit(db) == []


def test_every_column_of_a_reading_can_be_corrected(db: Database) -> None:
    values = {"unit": "K-101", "taken_at": "2024-05-01T09:00", "rest_v": 12.6, "outcome": "started", "note": "wet"}
    number = int(record_reading(db, values, by="ben", now=NOW).row_id or 0)
    new = {
        "unit": "K-102", "taken_at": "2024-05-02T10:30:00", "rest_v": 12.5, "outcome": "slow", "note": "dry",
        "technician": "ben", "instrument": "meter 2", "crank_a": 170, "jumper_start": "cranks", "odometer_km": 1000,
    }  # fmt: skip
    assert correct(db, "reading", number, new, **WHO).problems == ()
    assert corrections.row_of(db, "reading", number).items() >= new.items()


def test_a_reading_moves_to_another_vehicle_and_its_file_stays_known(db: Database, tmp_path: Path) -> None:
    file = readings_file(tmp_path, GOOD)
    import_paths(db, [file], now=NOW)
    entry = correct(db, "reading", 1, {"unit": "K-102"}, **WHO)
    assert only_reading(db)["unit"] == "K-102"
    outcome = import_paths(db, [file], now=NOW)
    assert (outcome.stored, outcome.known, outcome.set_aside) == (0, 1, 0)
    assert only_reading(db)["unit"] == "K-102"
    typed = dict(zip(("unit", "taken_at", "rest_v"), ("K-101", "2023-03-01T08:15", 12.66), strict=True))
    said = record_reading(db, typed, by="ben", now=NOW)
    assert said.problems == check_reading(db, typed, now=NOW).problems
    assert f"undo that (change {entry.change})" in said.problems[0]
    assert record_reading(db, {**typed, "rest_v": 12.5}, by="ben", now=NOW).stored, "another measurement is another"


def test_a_24_volt_value_does_not_pass_on_a_12_volt_vehicle_when_moved(db: Database) -> None:
    values = {"unit": "K-201", "taken_at": "2024-05-01T09:00", "rest_v": 25.4}
    number = int(record_reading(db, values, by="ben", now=NOW).row_id or 0)
    assert correct(db, "reading", number, {"unit": "K-101"}, **WHO).problems


def test_a_value_measured_twice_is_so_no_longer_when_corrected_and_again_when_undone(db: Database) -> None:
    values = {"unit": "K-101", "taken_at": "2024-05-01T09:00", "rest_v": 12.6, "crank_a": 170}
    number = record_reading(db, values, by="ben", now=NOW, confirmed=["rest_v", "crank_a"]).row_id or 0
    entry = correct(db, "reading", number, {"crank_a": 180}, **WHO)
    assert only_reading(db)["confirmed"] == "rest_v"
    undo(db, entry.change or 0, by="anna", now=NOW)
    assert only_reading(db)["confirmed"] == "crank_a,rest_v"


def test_a_repair_is_corrected_in_every_column(db: Database, tmp_path: Path) -> None:
    file = tmp_path / "repairs.csv"
    file.write_text(REPAIRS)
    import_paths(db, [file], now=NOW)
    new = {
        "unit": "K-102", "done_on": "2024-02-04", "part": "ground_path", "action": "cleaned", "reason": "complaint",
        "note": "green crust",
    }  # fmt: skip
    assert correct(db, "repair", 1, new, **WHO).problems == ()
    assert corrections.row_of(db, "repair", 1) == new
    outcome = import_paths(db, [file], now=NOW)
    assert (outcome.stored, outcome.known, outcome.set_aside) == (0, 1, 0)
    assert "battery, positive_cable" in correct(db, "repair", 1, {"part": "belt"}, **WHO).problems[0]
    record_repair(
        db, {"unit": "K-101", "part": "battery", "action": "charged", "done_on": "2024-02-04"}, by="b", now=NOW
    )
    clash = {"unit": "K-101", "part": "battery", "action": "charged"}
    assert "another repair (2)" in correct(db, "repair", 1, clash, **WHO).problems[0]


def test_a_decision_is_corrected_in_every_column(db: Database) -> None:
    number = a_decision(db)
    new = {
        "unit": "K-102", "iso_week": "2024-W21", "kind": "postponed", "reason": "on tour", "until": "2024-06-30",
    }  # fmt: skip
    assert correct(db, "decision", number, new, **WHO).stored
    assert corrections.row_of(db, "decision", number) == new
    for wrong, words in (
        ({"until": ""}, "postponing with both"),
        ({"until": "soon"}, "a date as 2026-01-31"),
        ({"kind": "ignored"}, "allowed are accepted"),
        ({"unit": "K-9"}, "allowed are the vehicles"),
        ({"iso_week": "2024-99"}, "a week such as"),
        ({"by": "x"}, "allowed are unit, iso_week, kind, reason, until"),
    ):
        assert words in " ".join(correct(db, "decision", number, wrong, **WHO).problems)
    assert corrections.row_of(db, "decision", number) == new


# --- withdrawing and putting back ------------------------------------------------------------------------------------


def test_a_withdrawn_reading_is_not_read_and_its_file_brings_it_not_back(db: Database, tmp_path: Path) -> None:
    file = readings_file(tmp_path, GOOD, reading(taken_at="2023-03-02T08:15"))
    import_paths(db, [file], now=NOW)
    entry = withdraw(db, "reading", 1, **WHO)
    assert read_readings(db)["reading_id"].tolist() == [2]
    assert audit(db) == [("readings", "1", "withdrawn", None, "yes", "anna", "misread")]
    outcome = import_paths(db, [file], now=NOW)
    assert (outcome.stored, outcome.known, outcome.set_aside) == (0, 2, 0)
    assert read_readings(db)["reading_id"].tolist() == [2]
    with pytest.raises(
        IngestError, match=rf"reading 1 is withdrawn; allowed is to undo that \(change {entry.change}\)"
    ):
        withdraw(db, "reading", 1, **WHO)
    undo(db, entry.change or 0, by="anna", now=NOW)
    assert read_readings(db)["crank_a"].tolist() == [170.0, 170.0]
    assert import_paths(db, [file], now=NOW).known == 2


def test_a_corrected_then_withdrawn_reading_stays_known_in_all_its_words(db: Database, tmp_path: Path) -> None:
    first = readings_file(tmp_path, GOOD)
    import_paths(db, [first], now=NOW)
    correct(db, "reading", 1, {"crank_a": 180}, **WHO)
    gone = withdraw(db, "reading", 1, **WHO)
    second = readings_file(tmp_path, reading(crank_a=180), name="second.csv")
    outcome = import_paths(db, [first, second], now=NOW)
    assert (outcome.stored, outcome.known, outcome.set_aside) == (0, 2, 0)
    assert [f"'cranktrend undo {gone.change}' puts back" in " ".join(one.notes) for one in outcome.files] == [
        True,
        True,
    ]
    other = readings_file(tmp_path, reading(crank_a=190), name="other.csv")
    assert import_paths(db, [other], now=NOW).stored == 1, "this was never withdrawn"


def test_the_number_of_a_withdrawn_row_is_never_given_again(db: Database) -> None:
    values = {"unit": "K-101", "rest_v": 12.6}
    repair = {"unit": "K-101", "part": "battery", "action": "charged"}
    first = record_reading(db, {**values, "taken_at": "2024-05-01T09:00"}, by="ben", now=NOW).row_id
    fixed = record_repair(db, repair, by="ben", now=NOW).row_id
    decided = a_decision(db)
    for word, number in (("reading", first), ("repair", fixed), ("decision", decided)):
        assert withdraw(db, word, number or 0, **WHO).stored
    assert record_reading(db, {**values, "taken_at": "2024-05-02T09:00"}, by="ben", now=NOW).row_id == (first or 0) + 1
    assert record_repair(db, {**repair, "action": "replaced"}, by="ben", now=NOW).row_id == (fixed or 0) + 1
    assert a_decision(db, kind="accepted") == decided + 1


def test_withdrawn_repairs_and_decisions_are_not_read(db: Database) -> None:
    repair = record_repair(db, {"unit": "K-101", "part": "battery", "action": "charged"}, by="ben", now=NOW).row_id or 0
    decision = a_decision(db)
    gone = [withdraw(db, "repair", repair, **WHO).change, withdraw(db, "decision", decision, **WHO).change]
    assert read_repairs(db).empty
    assert records.read_decisions(db).empty
    for change in gone:
        undo(db, change or 0, by="anna", now=NOW)
    assert read_repairs(db)["repair_id"].tolist() == [repair]
    assert records.read_decisions(db)["id"].tolist() == [decision]
    assert "needs a reason" in withdraw(db, "repair", repair, by="a", reason="", now=NOW).problems[0]


def test_doubt_follows_when_what_it_rests_on_is_withdrawn(db: Database, tmp_path: Path) -> None:
    """Ten times the earlier drops is doubtful; without earlier drops there is nothing to doubt it by."""
    lines = [reading(taken_at=f"2023-0{month}-01T08:00") for month in (1, 2, 3)]
    import_paths(db, [readings_file(tmp_path, *lines)], now=NOW)
    values = {"unit": "K-101", "taken_at": "2024-05-01T09:00", "drop_ground_mv": "910"}
    record_reading(db, values, by="ben", now=NOW)
    assert read_readings(db)["doubtful"].iloc[-1] == "drop_ground_v"
    changes = [withdraw(db, "reading", number, **WHO).change for number in (1, 2, 3)]
    assert only_reading(db)["doubtful"] == ""
    for change in changes:
        undo(db, change or 0, by="anna", now=NOW)
    assert read_readings(db)["doubtful"].iloc[-1] == "drop_ground_v"


# --- undoing ---------------------------------------------------------------------------------------------------------


def test_undo_puts_back_and_can_be_undone(db: Database, tmp_path: Path) -> None:
    import_paths(db, [readings_file(tmp_path, GOOD)], now=NOW)
    before = read_readings(db)
    change = correct(db, "reading", 1, {"crank_a": 175, "peak_a": "", "unit": "K-102"}, **WHO).change or 0
    after = read_readings(db)
    back = undo(db, change, by="ben", now=NOW).change or 0
    assert read_readings(db).equals(before)
    assert {row[-2:] for row in audit(db)[3:]} == {("ben", "undone")}
    undo(db, back, by="ben", now=NOW)
    assert read_readings(db).equals(after)
    gone = withdraw(db, "reading", 1, **WHO).change or 0
    back = undo(db, gone, by="ben", now=NOW).change or 0
    undo(db, back, by="ben", now=NOW)
    assert read_readings(db).empty


def test_only_the_last_change_is_undone_and_only_into_a_free_place(db: Database, tmp_path: Path) -> None:
    import_paths(db, [readings_file(tmp_path, GOOD)], now=NOW)
    first = correct(db, "reading", 1, {"crank_a": 175}, **WHO).change or 0
    other = correct(db, "reading", 1, {"rest_v": 12.6}, **WHO).change or 0
    second = correct(db, "reading", 1, {"crank_a": 180}, **WHO).change or 0
    with pytest.raises(IngestError, match=rf"reading 1 was changed again .* \(change {second}\)"):
        undo(db, first, by="ben", now=NOW)
    assert undo(db, other, by="ben", now=NOW).stored, "another column was not changed again"
    with pytest.raises(IngestError, match="no change 999 that can be undone"):
        undo(db, 999, by="ben", now=NOW)
    gone = withdraw(db, "reading", 1, **WHO).change or 0
    with pytest.raises(IngestError, match="is withdrawn"):
        undo(db, second, by="ben", now=NOW)
    values = {"unit": "K-101", "taken_at": "2023-03-01T08:15", "rest_v": 12.1}
    assert record_reading(db, values, by="ben", now=NOW).stored
    with pytest.raises(IngestError, match="K-101 has another reading \\(2\\) of 2023-03-01T08:15:00"):
        undo(db, gone, by="ben", now=NOW)
    assert read_readings(db)["reading_id"].tolist() == [2]


def test_a_refused_change_leaves_nothing_behind(db: Database, tmp_path: Path) -> None:
    import_paths(db, [readings_file(tmp_path, GOOD)], now=NOW)
    count = "SELECT (SELECT count(*) FROM origins), (SELECT count(*) FROM audit), (SELECT count(*) FROM writes)"
    before = db.execute(count).fetchone()
    correct(db, "reading", 1, {"rest_v": 9}, **WHO)
    with pytest.raises(IngestError):
        undo(db, 999, by="a")
    with pytest.raises(IngestError):
        withdraw(db, "repair", 7, **WHO)
    assert db.execute(count).fetchone() == before


def test_a_form_sent_again_after_its_undo_stays_undone(db: Database) -> None:
    """A second click that was under way must not bring back what the first click's undo took away."""
    values = {"unit": "K-101", "taken_at": "2024-05-01T09:00", "rest_v": 12.6}
    entry = record_reading(db, values, by="ben", now=NOW, entry_id="form-1")
    withdraw(db, "reading", entry.row_id or 0, by="ben", reason="undone at once", now=NOW)
    again = record_reading(db, values, by="ben", now=NOW, entry_id="form-1")
    assert not again.stored
    assert again.problems
    assert read_readings(db).empty


def test_lists_issued_before_stay_and_every_day_before_knows_the_correction(db: Database, tmp_path: Path) -> None:
    import_paths(db, [readings_file(tmp_path, GOOD)], now=NOW)
    body = {"units": [{"unit": "K-101", "part": "battery"}]}
    records.issue_weekly_list(db, "2024-W22", as_of=date(2024, 5, 27), body=body, now=NOW)
    issued = records.read_weekly_list(db, "2024-W22")
    correct(db, "reading", 1, {"crank_a": 175}, **WHO)
    assert read_readings(db, before=date(2023, 3, 2))["crank_a"].tolist() == [175.0]
    withdraw(db, "reading", 1, **WHO)
    assert read_readings(db, before=date(2023, 3, 2)).empty
    assert records.read_weekly_list(db, "2024-W22") == issued


# --- decisions pressed twice -----------------------------------------------------------------------------------------


def test_found_nothing_pressed_twice_is_one_look(db: Database) -> None:
    first = a_decision(db)
    assert a_decision(db) == first
    assert a_decision(db, now=datetime(2024, 6, 2, 9)) != first, "another day is another look"
    assert a_decision(db, now=datetime(2024, 6, 2, 9), by="x") != first, "another person's look"
    accepted = a_decision(db, kind="accepted", now=datetime(2024, 6, 2, 10))
    assert a_decision(db, now=datetime(2024, 6, 2, 11)) > accepted, "decided otherwise in between"
    assert len(records.read_decisions(db)) == 5
    assert len(records.read_decisions(db, before=date(2024, 6, 2))) == 1


# --- vehicles --------------------------------------------------------------------------------------------------------


def vehicle(db: Database, name: str = "K-101") -> dict[str, Any]:
    return dict(read_units(db).set_index("unit").loc[name])


def test_a_vehicle_that_moved_is_put_right_and_its_old_file_brings_nothing_back(db: Database, tmp_path: Path) -> None:
    """A vehicle moves to another depot with a stronger battery: known in every list, on record, in order, and undone."""
    entry = correct(db, "vehicle", "K-101", {"depot": "hill", "rated_cca_a": "800", "battery_type": "agm"}, **WHO)
    assert entry.stored
    row = vehicle(db)
    assert (row["depot"], row["rated_cca_a"], row["battery_type"], row["cylinders"]) == ("hill", 800.0, "AGM", 4)
    key = ("units", "K-101")
    assert [change[:5] for change in audit(db)] == [
        (*key, "rated_cca_a", "760.0", "800.0"), (*key, "depot", "harbour", "hill"), (*key, "battery_type", "", "AGM"),
    ]  # fmt: skip
    old = tmp_path / "old.csv"
    old.write_text(UNITS)
    again = import_paths(db, [old], now=NOW)
    assert (again.stored, again.known, again.set_aside) == (0, 3, 0)
    assert vehicle(db)["depot"] == "hill"
    other = tmp_path / "other.csv"
    other.write_text(UNITS.replace("harbour", "pass", 1))
    assert import_paths(db, [other], now=NOW).set_aside == 1, "a third depot is neither what was said nor what is"
    assert not list(changes_not_followed(db))
    assert all(file.right for file in rows_of_files(db))
    (first, *_) = [row for row in read_logbook(db, unit="K-101").to_dict("records") if row["column"] == "depot"]
    assert (first["record"], first["old"], first["new"], first["why"]) == (
        "vehicle K-101",
        "harbour",
        "hill",
        "misread",
    )
    assert first["change"] == entry.change
    assert entry.change
    undo(db, entry.change, by="anna", now=NOW)
    row = vehicle(db)
    assert (row["depot"], row["rated_cca_a"], row["battery_type"], row["cylinders"]) == ("harbour", 760.0, "", 4)
    assert not list(changes_not_followed(db))


def test_readings_are_doubted_by_the_voltage_that_the_vehicle_has(db: Database, tmp_path: Path) -> None:
    """12.6 V at rest is a 12 V battery, and one of a pair on 24 V."""
    import_paths(db, [readings_file(tmp_path, GOOD)], now=NOW)
    assert only_reading(db)["doubtful"] == ""
    change = correct(db, "vehicle", "K-101", {"system_v": "24"}, **WHO).change
    assert "rest_v" in only_reading(db)["doubtful"]
    assert change
    undo(db, change, by="anna", now=NOW)
    assert only_reading(db)["doubtful"] == ""


@pytest.mark.parametrize(
    ("changes", "problem"),
    [
        ({"unit": "K-9"}, "the number of a vehicle stays"),
        ({"depot": ""}, "depot is empty"),
        ({"system_v": "48"}, "allowed is 12, 24"),
        ({"colour": "red"}, "is not a column of units"),
    ],
)
def test_what_a_vehicle_cannot_be_is_refused(db: Database, changes: dict[str, str], problem: str) -> None:
    before = str(vehicle(db))
    assert problem in correct(db, "vehicle", "K-101", changes, **WHO).problems[0]
    assert "needs a reason" in correct(db, "vehicle", "K-101", {"depot": "hill"}, by="anna", reason=" ").problems[0]
    assert correct(db, "vehicle", "K-101", {"depot": "harbour"}, **WHO).known
    with pytest.raises(IngestError, match="no vehicle K-7"):
        correct(db, "vehicle", "K-7", {"depot": "hill"}, **WHO)
    assert str(vehicle(db)) == before
    assert audit(db) == []


def test_what_a_file_brought_is_withdrawn_at_once_and_a_corrected_file_takes_its_place(
    db: Database, tmp_path: Path
) -> None:
    """Amps in tenths all over a file; what came before and a file of the same name before it stay."""
    before = readings_file(tmp_path, GOOD, reading(taken_at="2023-02-01T08:15"))
    import_paths(db, [before], now=NOW)
    days = [f"2023-04-{day:02d}T08:15" for day in range(1, 6)]
    wrong = readings_file(tmp_path, *(reading(taken_at=day, crank_a=17, peak_a="") for day in days))
    assert import_paths(db, [wrong], now=NOW).stored == len(days)
    entry = withdraw(db, "file", wrong.name, **WHO)
    assert len(read_readings(db)) == 2
    again = import_paths(db, [wrong], now=NOW)  # it brings nothing back
    way = f"'cranktrend undo {entry.change}' puts back what was withdrawn then"
    assert (again.stored, again.files[0].notes) == (0, (f"rows of it were withdrawn: {way}",))
    right = readings_file(tmp_path, *(reading(taken_at=day, crank_a=170, peak_a="") for day in days))
    assert import_paths(db, [right], now=NOW).stored == len(days)
    assert read_readings(db)["crank_a"].tolist() == [170.0] * 7
    assert entry.change is not None
    with pytest.raises(IngestError, match="has another reading"):
        undo(db, entry.change, **WHO)  # its place is taken
    later = withdraw(db, "file", right.name, **WHO)
    undo(db, entry.change, **WHO)
    assert sorted(read_readings(db)["crank_a"]) == [17.0] * 5 + [170.0] * 2
    assert later.change is not None
    assert not list(changes_not_followed(db))
    with pytest.raises(IngestError, match="no reading or repair of a file"):
        withdraw(db, "file", "other.csv", **WHO)
