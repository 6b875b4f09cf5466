"""A database as a folder of Parquet files and back: every row and value of every table, and one sentence for what is wrong.

Truth: the rows of the database that was exported, read by SQLite itself.
"""

from __future__ import annotations

import json
import sqlite3
import struct
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from samples_kept import copy_of
from sqlite_utils import Database

from dashboard.cli.main import main
from ingest import parquet_folder
from ingest.errors import CouldNot, DatabaseRefused, IngestError
from ingest.parquet_folder import MANIFEST, export_folder, import_folder, opened_folder, partition
from ingest.store import open_database

pytest.importorskip("pyarrow")

ODD_TEXTS = ("", " ", "Ünïcodé ✓ 𝕏 عربي", "e\u0301", "\u202etxet", "a\0b", "=1+1\r\n,\"'", "2024-02-29", "0012.50")
ODD_NUMBERS = (0.1, -7.3, 5e-324, 1.7976931348623157e308, 0.1 + 0.2, -1 / 3, float("inf"), 12.600000000000001)
ODD_WHOLES = (0, 1, 12, 2**31, 2**53 + 1, 2**63 - 1, -(2**63))
ODD = {"TEXT": (*ODD_TEXTS, None), "REAL": (*ODD_NUMBERS, None), "INTEGER": (*ODD_WHOLES, None)}
AT, DAY, WEEK = "2024-02-29T07:45:00", "2024-02-29", "2024-W09"
BASE: dict[str, Callable[[int], dict[str, Any]]] = {
    "origins": lambda n: {"id": n, "kind": "file", "by": "x", "at": AT},
    "units": lambda n: {"unit": unit(n), "vehicle_class": "a", "system_v": 24, "depot": "d", "origin_id": 1},
    "repairs": lambda n: {
        "unit": unit(n), "done_on": DAY, "part": "battery", "action": f"act {n}", "origin_id": 1},
    "climate": lambda n: {"depot": f"d{n}", "month": 1, "low_c": -3.5, "origin_id": 1},
    "forecast": lambda n: {"depot": f"d{n}", "date": DAY, "low_c": -3.5, "origin_id": 1},
    "services": lambda n: {"unit": unit(n), "due_on": f"{n}", "origin_id": 1},
    "parts": lambda n: {"part": ("battery", "starter_motor", "ground_path")[n % 3], "origin_id": 1},
    "set_aside": lambda n: {
        "table_name": "readings", "file": "f", "line": n, "reason": "r", "original": "o", "cells": "{}",
        "fingerprint": f"{n}", "origin_id": 1},
    "set_aside_attempts": lambda n: {"set_aside_id": 1, "at": AT, "by": "x", "changes": "{}", "result": f"{n}"},
    "audit": lambda n: {"at": AT, "by": "x", "table_name": "units", "row_key": f"{n}", "column_name": "c", "reason": "r"},
    "sources": lambda n: {"name": f"s{n}", "toml": "t", "headings": "h", "saved_at": AT, "saved_by": "x"},
    "decisions": lambda n: {"unit": unit(n), "iso_week": WEEK, "kind": "accepted", "by": "x", "at": AT},
    "reset_answers": lambda n: {
        "unit": unit(n), "part": "battery", "around_on": f"{n:010d}", "answer": "denied", "by": "x", "at": AT},
    "plans": lambda n: {"version": n, "made_at": AT, "by": "x", "as_of": DAY, "weeks": 13, "body": '{"a": 0.1}'},
    "plan_pins": lambda n: {"unit": unit(n), "part": f"{n}", "kind": "pin", "week": WEEK, "by": "x", "at": AT},
    "settings": lambda n: {"key": f"k{n}", "value": '"ü"', "by": "x", "at": AT},
    "devices": lambda n: {"device": f"d{n}", "units": "[]", "at": AT},
    "workshops": lambda n: {"depot": f"d{n}", "hours_per_week": 8.25, "origin_id": 1},
    "readings": lambda n: {"unit": unit(n), "taken_at": f"{n:019d}", "origin_id": 1},
    "writes": lambda n: {"id": n + 10, "table_name": "units", "token": f"t{n}"},
    "weekly_lists": lambda n: {"iso_week": WEEK, "version": n, "as_of": DAY, "issued_at": AT, "body": '{"units": []}'},
    "lows": lambda n: {"depot": f"d{n}", "date": DAY, "low_c": -3.5, "origin_id": 1},
    "visits": lambda n: {
        "uid": f"u{n}", "unit": unit(n), "planned_on": DAY, "done_on": DAY, "found": "worn", "origin_id": 1},
    "withdrawn": lambda n: {"table_name": "readings", "row_id": n, "cells": "{}", "origin_id": 1},
    "workshop_days": lambda n: {"depot": f"d{n}", "weekday": 1, "share": 0.2, "origin_id": 1},
    "closures": lambda n: {"depot": f"d{n}", "from_on": DAY, "to_on": DAY, "origin_id": 1},
    "posts": lambda n: {"iso_week": WEEK, "version": n, "recipient": f"{n}@b", "state": "sent", "at": AT},
    "accounts": lambda n: {"account": f"a{n}", "role": "manager", "by": "x", "at": AT},
    "code_secrets": lambda n: {"id": n, "secret": f"{n:064d}", "by": "x", "at": AT},
}  # fmt: skip
"""Of every table a row that it admits, other for each number."""


def unit(n: int) -> str:
    """Names whose order by bytes is not that of an alphabet, of a few vehicles."""
    return ("K-1", "k-1", "Ä 7", "Z", "zz 𝕏", "10", "9")[n % 7] if n else "K-1"


def marks(values: list[str]) -> str:
    return ", ".join("?" * len(values))


def tables_of(db: Database) -> list[str]:
    return [name for name in db.table_names() if not name.startswith(("sqlite_", "_sqlite_"))]


def contents(path: Path) -> dict[str, list[list[object]]]:
    """All rows of all tables, floats as their bits."""
    db = open_database(path)
    found = {}
    for name in tables_of(db):
        rows = db.conn.execute(f'SELECT rowid, * FROM "{name}" ORDER BY rowid').fetchall()
        found[name] = [[struct.pack("<d", v) if isinstance(v, float) else v for v in row] for row in rows]
    db.conn.close()
    return found


@pytest.fixture(scope="module")
def odd(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database in which every column of every table holds every odd value that it admits."""
    path = tmp_path_factory.mktemp("odd") / "odd.db"
    db = open_database(path)
    assert set(BASE) == set(tables_of(db))
    for name in BASE:
        columns = {column.name: column.type for column in db[name].columns}
        tried = [(), *((column, value) for column, kind in columns.items() for value in ODD[kind])]
        for n, one in enumerate(tried, start=1):
            row = BASE[name](n) | dict([one] if one else [])
            marks = ", ".join("?" * len(row))
            words = ", ".join(f'"{column}"' for column in row)
            with suppress(sqlite3.IntegrityError):  # the table does not admit it
                db.conn.execute(f'INSERT INTO "{name}" ({words}) VALUES ({marks})', list(row.values()))
    db.conn.commit()
    db.conn.close()
    return path


@pytest.fixture(scope="module")
def folder(odd: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Its export, two vehicles to a partition."""
    made = tmp_path_factory.mktemp("export") / "folder"
    export_folder(open_database(odd), made, vehicles=2)
    return made


def test_every_value_of_every_table_comes_back(odd: Path, folder: Path, tmp_path: Path) -> None:
    """Rows, numbers that SQLite gave them, NULL, whole numbers of 64 bits, floats to the last bit, texts to the last sign."""
    import_folder(folder, tmp_path / "again.db")
    before, after = contents(odd), contents(tmp_path / "again.db")
    assert before == after
    assert all(len(rows) for rows in before.values()), "every table has rows"
    values = {v for rows in before.values() for row in rows for v in row}
    assert {None, 2**63 - 1, -(2**63), *ODD_TEXTS} <= values
    assert {struct.pack("<d", number) for number in ODD_NUMBERS} <= values
    again = open_database(tmp_path / "again.db")
    assert again.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert not again.execute("PRAGMA foreign_key_check").fetchall()


def test_partitions_hold_all_rows_of_whole_vehicles(odd: Path, folder: Path) -> None:
    """Each vehicle in one partition, in the order of names by bytes; together as many rows as there were."""
    found, db = opened_folder(folder), open_database(odd)
    names = [name for (name,) in db.execute("SELECT unit FROM units ORDER BY unit")]
    assert found.partitions == -(-len(names) // 2)
    seen: list[str] = []
    for k in range(found.partitions):
        own = partition(found, k, ("units", "readings", "climate"))
        units = [name for (name,) in own.execute("SELECT unit FROM units ORDER BY unit")]
        assert {name for (name,) in own.execute("SELECT unit FROM readings")} <= set(units)
        assert own["climate"].count == db["climate"].count
        assert own["repairs"].count == 0
        every = {
            name for (name,) in db.execute(f"SELECT DISTINCT unit FROM readings WHERE unit IN ({marks(units)})", units)
        }
        assert {name for (name,) in own.execute("SELECT unit FROM readings")} == every
        seen += units
    assert seen == names
    for name in BASE:
        assert found.rows(name) == db[name].count


@pytest.mark.nightly
@pytest.mark.parametrize("rows", [3, 1, 2, 5, 50_000])
def test_partitions_do_not_depend_on_how_many_rows_are_on_their_way(
    rows: int, odd: Path, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(parquet_folder, "ROWS_AT_ONCE", rows)
    assert export_folder(open_database(odd), tmp_path / "folder", vehicles=2).files == opened_folder(folder).files
    import_folder(tmp_path / "folder", tmp_path / "again.db")
    assert contents(tmp_path / "again.db") == contents(odd)


def test_words_of_the_commands(odd: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder, again = tmp_path / "folder", tmp_path / "again.db"
    assert main(["--db", str(odd), "export", "--parquet", str(folder)]) == 0
    assert "partitions: 1" in capsys.readouterr().out
    assert (folder.stat().st_mode & 0o777, (folder / "units/000000.parquet").stat().st_mode & 0o777) == (0o700, 0o600)
    assert main(["--db", str(odd), "export", "--parquet", str(folder)]) == 2
    assert "never overwrites" in capsys.readouterr().err
    assert main(["--db", str(odd), "import", str(folder)]) == 2
    assert "becomes a new database" in capsys.readouterr().err
    assert main(["--db", str(again), "import", str(folder), "--dry-run"]) == 2
    assert "allowed is its name alone" in capsys.readouterr().err
    assert main(["--db", str(again), "import", str(folder)]) == 0
    assert contents(again) == contents(odd)


@pytest.fixture(scope="module")
def exported(odd: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Its export, two vehicles to a partition; to be copied."""
    folder = tmp_path_factory.mktemp("exported") / "folder"
    export_folder(open_database(odd), folder, vehicles=2)
    return folder


def _without_manifest(folder: Path) -> None:
    (folder / MANIFEST).unlink()


def _without_a_partition(folder: Path) -> None:
    (folder / "readings/000001.parquet").unlink()


def _with_a_changed_byte(folder: Path) -> None:
    file = folder / "readings/000001.parquet"
    body = bytearray(file.read_bytes())
    body[len(body) // 4] ^= 0xFF
    file.write_bytes(body)


def _cut_short(folder: Path) -> None:
    file = folder / "units/000000.parquet"
    file.write_bytes(file.read_bytes()[:-20])


def _of_another_partition(folder: Path) -> None:
    (folder / "units/000000.parquet").write_bytes((folder / "services/000000.parquet").read_bytes())


def _without_vehicles(folder: Path) -> None:
    _told(folder, lambda told: told["files"].update(units={}))


def _of_a_newer_version(folder: Path) -> None:
    _told(folder, lambda told: told.update(version="999"))


def _of_another_form(folder: Path) -> None:
    _told(folder, lambda told: told.update(form=2))


def _damaged_manifest(folder: Path) -> None:
    (folder / MANIFEST).write_text("{", encoding="utf-8")


def _told(folder: Path, change: Callable[[dict[str, Any]], object]) -> None:
    told = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    change(told)
    (folder / MANIFEST).write_text(json.dumps(told), encoding="utf-8")


@pytest.mark.parametrize(
    ("harm", "error", "words"),
    [
        (_without_manifest, IngestError, "is no folder that `cranktrend export --parquet` wrote"),
        (_without_a_partition, CouldNot, "000001.parquet is missing"),
        (_with_a_changed_byte, CouldNot, "000001.parquet is damaged"),
        (_cut_short, CouldNot, "000000.parquet is damaged"),
        (_of_another_partition, CouldNot, "000000.parquet holds"),
        (_without_vehicles, CouldNot, "does not fit together"),
        (_of_a_newer_version, DatabaseRefused, "version 999 are not known here"),
        (_of_another_form, IngestError, "form 2"),
        (_damaged_manifest, CouldNot, "is damaged"),
    ],
)
def test_what_is_wrong_with_a_folder_is_said_and_nothing_is_made(
    harm: Callable[[Path], None], error: type[Exception], words: str, exported: Path, tmp_path: Path
) -> None:
    own = copy_of(exported, tmp_path / "own")
    harm(own)
    with pytest.raises(error, match=words):
        import_folder(own, tmp_path / "again.db")
    assert [path.name for path in tmp_path.iterdir()] == ["own"]


def test_an_export_that_fails_leaves_nothing(odd: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(parquet_folder, "_write", full)
    with pytest.raises(CouldNot, match="No space left"):
        export_folder(open_database(odd), tmp_path / "folder")
    assert not list(tmp_path.iterdir())


def test_without_the_extra_one_sentence_says_what_to_install(
    odd: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(__import__("sys").modules, "pyarrow.parquet", None)
    assert main(["--db", str(odd), "export", "--parquet", str(tmp_path / "folder")]) == 3
    assert "pip install 'cranktrend[cluster]'" in capsys.readouterr().err


def test_tables_of_an_older_version_are_brought_up() -> None:
    """A folder says which version its tables were of; the database that is made has today's."""
    with pytest.raises(DatabaseRefused, match="not known"):
        parquet_folder.bring_to(Database(memory=True), "")
    db = Database(memory=True)
    parquet_folder.bring_to(db, "002")
    assert "decisions" in db.table_names()
    assert "lows" not in db.table_names()
