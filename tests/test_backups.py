"""Copies of the database: whole or not there, its owner's only; one is made before an older database is changed.

Truth: the bytes and modes of files (POSIX), and a database that the first program version of all wrote
(`published/first_schema.sql`).
"""

from __future__ import annotations

import sqlite3
import stat
from datetime import datetime
from pathlib import Path

import pytest
from samples_ingest import fleet, reading, readings_file
from sqlite_utils import Database

from dashboard.cli.main import main
from ingest import backups, schema, store
from ingest.backups import backup
from ingest.errors import CouldNot, IngestError
from ingest.importer import import_paths
from ingest.store import open_database, read_readings

NOW = datetime(2024, 6, 1, 12, 0)


def old_database(path: Path) -> Path:
    """A database as the first steps left it, with a vehicle and a reading."""
    db = Database(path)
    schema.migrations.apply(db, stop_before="003_hours_by_week")
    db.conn.execute("INSERT INTO origins (kind, by, at) VALUES ('entry', 'me', '2023-01-01T00:00:00')")
    db.conn.execute(
        "INSERT INTO units (unit, vehicle_class, system_v, depot, origin_id) VALUES ('K-1', 'van', 12, 'hill', 1)"
    )
    db.conn.execute(
        "INSERT INTO readings (unit, taken_at, rest_v, origin_id) VALUES ('K-1', '2023-01-01T08:00:00', 12.6, 1)"
    )
    db.conn.commit()
    db.conn.close()
    return path


def copies(folder: Path) -> list[str]:
    return sorted(file.name for file in folder.glob("*-version-*"))


def mode(file: Path) -> int:
    return stat.S_IMODE(file.stat().st_mode)


def test_a_database_and_all_that_lies_beside_it_are_its_owner_s_only(db: Database, tmp_path: Path) -> None:
    """POSIX modes: whatever the umask lets others read otherwise."""
    import_paths(db, [readings_file(tmp_path, reading())], now=NOW)
    backup(db, tmp_path / "copy.db")
    for name in ("fleet.db", "fleet.db-wal", "fleet.db-shm", "copy.db"):
        assert mode(tmp_path / name) == 0o600, name


def test_a_database_that_others_may_read_stays_so(tmp_path: Path) -> None:
    """What its owner set is left alone."""
    open_database(tmp_path / "a.db").conn.close()
    (tmp_path / "a.db").chmod(0o640)
    open_database(tmp_path / "a.db").conn.close()
    assert mode(tmp_path / "a.db") == 0o640


def test_what_is_acknowledged_is_on_the_disk(db: Database) -> None:
    """SQLite's words: with FULL (2) a transaction in a write-ahead log lasts through a loss of power."""
    assert db.execute("PRAGMA synchronous").fetchone()[0] == 2


def test_a_copy_has_its_name_only_when_it_is_whole(
    db: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The name is not there while it is written, nor after it failed; nothing is left beside it."""
    seen: list[list[str]] = []

    def stopped(_: Path) -> None:
        seen.append([file.name for file in tmp_path.iterdir() if "copy.db" in file.name])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(backups, "settle", stopped)
    with pytest.raises(CouldNot, match="No space left on device"):
        backup(db, tmp_path / "copy.db")
    assert "copy.db" not in seen[0]
    assert len(seen[0]) == 1
    assert not [file for file in tmp_path.iterdir() if "copy.db" in file.name]


def test_a_copy_that_somebody_else_made_meanwhile_is_left_alone(
    db: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Never overwritten, also not by the one who was slower."""
    monkeypatch.setattr(backups, "settle", lambda _: (tmp_path / "copy.db").write_text("theirs"))
    with pytest.raises(IngestError, match="never overwrites"):
        backup(db, tmp_path / "copy.db")
    assert (tmp_path / "copy.db").read_text() == "theirs"


def test_what_a_stopped_copy_left_is_taken_away_later(
    db: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An unfinished copy that was written to lately may be somebody's; an old one was left behind."""
    left = tmp_path / ".copy.db.0a1b2c3d.part"
    left.write_text("")
    backup(db, tmp_path / "copy.db")
    assert left.exists()
    (tmp_path / "copy.db").unlink()
    monkeypatch.setattr(backups, "LEFT_S", -1.0)
    backup(db, tmp_path / "copy.db")
    assert not left.exists()


def test_a_copy_is_made_before_an_older_database_is_changed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The copy holds the old version, its owner's only; one line says so, once; a current database is not copied."""
    path = old_database(tmp_path / "fleet.db")
    before = "\n".join(sqlite3.connect(path).iterdump())
    assert main(["--db", str(path), "logbook"]) == 0
    said = capsys.readouterr().err.splitlines()
    assert len(said) == 1
    assert "older version 002" in said[0]
    (name,) = copies(tmp_path)
    assert name.startswith("fleet-version-002-20")
    assert name in said[0]
    assert mode(tmp_path / name) == 0o600
    assert "\n".join(sqlite3.connect(tmp_path / name).iterdump()) == before
    assert main(["--db", str(path), "logbook"]) == 0
    assert capsys.readouterr().err == ""
    assert copies(tmp_path) == [name]


def test_without_a_copy_nothing_is_changed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No room for the copy: the database stays as it was, and the sentence says why."""
    path = old_database(tmp_path / "fleet.db")

    def full(_: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(backups, "settle", full)
    with pytest.raises(CouldNot, match="No space left on device"):
        open_database(path)
    assert len(schema.migrations.applied(Database(path))) == 2
    assert copies(tmp_path) == []


def test_a_step_that_fails_takes_all_of_them_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """All steps or none: the database is of its old version still, and no copy of it is left."""
    path = old_database(tmp_path / "fleet.db")
    broken = schema.migrations._migrations[-1]
    monkeypatch.setattr(broken, "fn", lambda db: db.conn.execute("CREATE TABLE units (x)"))
    with pytest.raises(CouldNot, match="already exists"):
        open_database(path)
    monkeypatch.undo()
    assert len(schema.migrations.applied(Database(path))) == 2
    assert copies(tmp_path) == []
    assert len(read_readings(open_database(path))) == 1


def test_the_last_copies_are_kept_whatever_the_clock_says(tmp_path: Path) -> None:
    """Three of them, the newest among them even where the clock was set back; other databases' copies are left."""
    path = old_database(tmp_path / "fleet.db")
    theirs = ["fleet-version-017-2026-01-01-000000.db", "fleet2-version-001-2020-01-01-000000.db"]
    for name in (*(f"fleet-version-0{k:02d}-2026-01-01-000000.db" for k in (3, 9, 12)), *theirs):
        (tmp_path / name).write_text(name)
    told: list[Path] = []
    store.open_database(path, told=lambda _, copy: told.append(copy)).conn.close()
    assert copies(tmp_path) == sorted([told[0].name, "fleet-version-012-2026-01-01-000000.db", *theirs])


def test_two_copies_in_the_same_second_have_two_names(tmp_path: Path) -> None:
    """By hand: the second gets a number."""
    db = fleet(tmp_path)
    at = datetime(2026, 11, 28, 18, 0, 5)
    names = [backups.backup_of_version(db, tmp_path / "fleet.db", "018", now=at).name for _ in range(2)]
    assert names == ["fleet-version-018-2026-11-28-180005.db", "fleet-version-018-2026-11-28-180005-2.db"]
