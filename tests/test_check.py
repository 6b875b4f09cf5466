"""`check` finds what is not in order and says what to do; a sound database is never accused.

Truth: faults that the test itself puts into the file behind the program's back, and everything a person can do with the
program, after which nothing may be found.
"""

from __future__ import annotations

import json
import sqlite3
from datetime import date, datetime
from pathlib import Path

import pytest
from samples_ingest import CLIMATE, GOOD, UNITS, reading, readings_file

from dashboard.cli.main import main
from ingest import corrections, set_aside, sheet_edits
from ingest.accounts import give_roles, take_roles
from ingest.backups import backup
from ingest.importer import import_paths
from ingest.records import remove_pin, save_decision, save_reset_answer, save_setting, set_pin
from ingest.store import open_database
from ingest.verify import Verified, verify

NOW = datetime(2024, 6, 1, 12, 0)
PARTS = "part,price,labour_h,lead_days\nbattery,90,1,2\nstarter_motor,300,2,5\n"


def file_of(folder: Path, name: str, text: str) -> Path:
    (folder / name).write_text(text)
    return folder / name


@pytest.fixture(scope="module")
def worked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database in which everything was done that leaves a trace."""
    folder = tmp_path_factory.mktemp("worked")
    path = folder / "fleet.db"
    db = open_database(path)
    files = [
        file_of(folder, "u.csv", UNITS), file_of(folder, "c.csv", CLIMATE), file_of(folder, "p.csv", PARTS),
        file_of(folder, "w.csv", "depot,week_from,hours_per_week\nharbour,,12\nhill,2024-06-03,3\nhill,2024-06-03,4\n"),
        file_of(folder, "r.csv", "unit,done_on,part,action\nK-101,2023-02-01,battery,replaced\n"),
    ]  # fmt: skip
    lines = [GOOD, GOOD, *(reading(taken_at=f"2023-03-0{k}T08:15") for k in range(2, 8)), reading(crank_a=9999)]
    import_paths(db, [*files, readings_file(folder, *lines, reading(crank_a=9999))], now=NOW)
    import_paths(db, [file_of(folder, "c2.csv", CLIMATE.replace("harbour,1,1", "harbour,1,2"))], now=NOW)
    import_paths(db, [file_of(folder, "p2.csv", PARTS.replace("90", "95"))], now=NOW)
    import_paths(
        db,
        [file_of(folder, "u2.csv", UNITS.replace("in_service", "in_service,oil_grade").replace("01\n", "01,5W-30\n"))],
        now=NOW,
    )
    edit = sheet_edits.Edit("parts", ("battery",), {"price": 80.0, "labour_h": 1.0, "lead_days": 3.0})
    gone = sheet_edits.Edit("workshops", ("hill", "2024-06-03"), None)
    sheet_edits.undo_edits(db, sheet_edits.save_edits(db, [edit], by="p", now=NOW), by="p", now=NOW)
    sheet_edits.save_edits(db, [edit, gone], by="p", now=NOW)
    corrections.correct(db, "reading", 1, {"crank_a": 145, "note": "x"}, by="t", reason="slip", now=NOW)
    corrections.correct(db, "reading", 2, {"unit": "K-102"}, by="t", reason="slip", now=NOW)
    corrections.withdraw(db, "reading", 3, by="t", reason="wrong", now=NOW)
    change = corrections.withdraw(db, "reading", 4, by="t", reason="wrong", now=NOW).change
    corrections.undo(db, change or 0, by="t", now=NOW)
    corrections.withdraw(db, "repair", 1, by="t", reason="wrong", now=NOW)
    number = save_decision(db, unit="K-101", iso_week="2024-W22", kind="accepted", by="m", now=NOW)
    corrections.correct(db, "decision", number, {"kind": "measure"}, by="m", reason="slip", now=NOW)
    for answer in ("confirmed", "denied"):
        save_reset_answer(db, unit="K-101", part="battery", around_on=date(2023, 1, 1), answer=answer, by="m", now=NOW)
    for value in (3, 4.0):
        save_setting(db, "tolerated_false_flags", value, by="m", now=NOW)
    remove_pin(db, set_pin(db, unit="K-101", kind="pin", week="2024-W30", by="m", now=NOW), by="m", now=NOW)
    set_aside.correct_set_aside(db, 1, {"crank_a": "160", "taken_at": "2023-05-01T08:00"}, by="t", now=NOW)
    give_roles(db, "ada", ["technician", "planner", "manager"], by="m", now=NOW)
    take_roles(db, "ada", ["manager"], by="m", now=NOW)
    give_roles(db, "ben", ["technician"], by="m", now=NOW)
    take_roles(db, "ben", ["technician"], by="m", now=NOW)
    db.conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.conn.close()
    return path


@pytest.fixture
def own(worked: Path, tmp_path: Path) -> Path:
    return backup(open_database(worked), tmp_path / "own.db")


def spoiled(path: Path, *statements: str) -> Verified:
    """What is found after somebody wrote to the file with another program."""
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA ignore_check_constraints=ON")
    for statement in statements:
        connection.execute(statement)
    connection.commit()
    connection.close()
    return verify(path)


def test_all_that_the_program_does_leaves_a_database_in_order(worked: Path) -> None:
    """Nothing is found, not even a note; the counts are those of the files, by hand."""
    found = verify(worked)
    assert found.findings == ()
    assert found.rows["units"] == 3
    said = {(one.file, one.table): (one.said, one.there) for one in found.files}
    assert said["readings.csv", "readings"] == (7, 7), "a line twice, and one set aside"
    assert said["readings.csv", "set_aside"] == (1, 1), "the same wrong line twice is kept once"
    assert said["c.csv", "climate"] == (24, 23)
    assert said["c2.csv", "climate"] == (1, 1)
    assert said["u.csv", "units"] == (3, 0), "a newer file says more of each vehicle"


def test_an_older_database_is_in_order_by_the_counts_it_has(own: Path) -> None:
    """Before the rows of each table were kept, an import told how many it stored in all."""
    found = spoiled(own, "UPDATE origins SET kept = ''")
    assert found.wrong == ()
    lost = spoiled(own, "DELETE FROM readings WHERE reading_id IN (5, 6)")
    assert [one.figures["file"] for one in lost.wrong if one.kind == "rows"] == [], (
        "later changes may have taken them over"
    )
    lost = spoiled(own, "DELETE FROM readings", "DELETE FROM climate")
    assert "rows" in [one.kind for one in lost.wrong]


FAULTS = (
    ("rows", "DELETE FROM readings WHERE reading_id = 5", "readings.csv, imported on 2024-06-01: 7 rows of readings were stored, 6 are there"),
    ("rows", "DELETE FROM set_aside", "1 row were set aside, 0 are there"),
    ("rows", "DELETE FROM climate WHERE depot = 'hill'", "24 rows of climate were stored, 11 are there"),
    ("rows", "UPDATE origins SET counts = '', kept = '' WHERE id = 1", "there is no account of its rows"),
    ("change", "UPDATE readings SET crank_a = 99 WHERE reading_id = 1", "readings 1: crank_a is 99.0, but the last change on record made it 145.0"),
    ("change", "UPDATE parts SET price = 1 WHERE part = 'battery'", "parts battery: price is 1.0"),
    ("change", "UPDATE settings SET value = '9'", "settings tolerated_false_flags: value is 9"),
    ("change", "DELETE FROM withdrawn WHERE table_name = 'repairs'", "repairs 1: withdrawn is gone"),
    ("change", "DELETE FROM audit WHERE row_key = '3'", "readings 3: withdrawn is withdrawn, but the last change on record made it nothing"),
    ("change", "INSERT INTO accounts VALUES ('mallory', 'administrator', 'x', 'x')", "accounts mallory: roles is administrator"),
    ("change", "DELETE FROM accounts WHERE role = 'planner'", "accounts ada: roles is technician, but"),
    ("reference", "UPDATE readings SET unit = 'NOBODY' WHERE reading_id = 6", "1 row of readings belong to a row of units that is not there"),
    ("text", "UPDATE set_aside SET cells = '{'", "set_aside hold cells that cannot be read"),
    ("damaged", "UPDATE readings SET rest_v = 1200 WHERE reading_id = 6", "CHECK constraint failed in readings"),
    ("missing", "DROP INDEX audit_by_row", "no such index: audit_by_row"),
    ("missing", "DROP TABLE posts", "no such table: posts"),
    ("missing", "ALTER TABLE units DROP COLUMN aid_load_a", "no such column: units.aid_load_a"),
)  # fmt: skip


@pytest.mark.parametrize(("kind", "statement", "words"), FAULTS, ids=[f"{f[0]} {f[1]}" for f in FAULTS])
def test_each_fault_is_found_and_said(
    own: Path, kind: str, statement: str, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A sentence that names the place, one that says what to do, exit code 3."""
    found = spoiled(own, statement)
    assert kind in [one.kind for one in found.wrong]
    before = own.read_bytes()
    assert main(["--db", str(own), "check"]) == 3
    got = capsys.readouterr()
    assert words in " ".join(got.out.split())
    assert "cranktrend restore BACKUP" in " ".join(got.out.split())
    assert got.err.count("cranktrend: ") == 1
    assert own.read_bytes() == before


def test_json_says_the_same(own: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The keys that DEVELOPERS.md names."""
    assert main(["--db", str(own), "check", "--format", "json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["in_order"] is True
    assert told["findings"] == []
    assert told["rows"]["units"] == 3
    spoiled(own, "UPDATE readings SET crank_a = 99 WHERE reading_id = 1")
    assert main(["--db", str(own), "check", "--format", "json"]) == 3
    told = json.loads(capsys.readouterr().out)
    (one,) = told["findings"]
    assert told["in_order"] is False
    assert (one["kind"], one["wrong"], one["row"], one["column"]) == ("change", True, "1", "crank_a")
    assert one["do"]


def test_damage_is_found_and_nothing_more_is_said_of_the_rest(own: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every page but the first overwritten; and the first one too, which makes it no database at all."""
    body = own.read_bytes()
    own.write_bytes(body[:4096] + b"\xa5" * (len(body) - 4096))
    assert main(["--db", str(own), "check"]) == 3
    assert "cranktrend: the database is damaged" in capsys.readouterr().err
    own.write_bytes(b"\xa5" * len(body))
    assert main(["--db", str(own), "check"]) == 2


def test_notes_are_no_faults(own: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Others may read it: said, with exit code 0."""
    own.chmod(0o644)
    assert main(["--db", str(own), "check"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "note: Others on this machine may read" in out
    assert "In order:" in out
