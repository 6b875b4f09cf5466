"""A backup is put back whole or not at all; what was there stays; a broken one and a database in use are refused.

Truth: dumps of the databases by SQLite, locks that another connection or process really holds, and disks that fail at a
step of the way.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from time import sleep

import pytest
from samples_ingest import fleet, reading, readings_file
from test_backups import mode, old_database

from dashboard.cli.main import main
from ingest import restoring
from ingest.backups import backup
from ingest.entries import record_reading
from ingest.errors import CouldNot
from ingest.importer import import_paths
from ingest.restoring import restore
from ingest.store import open_database, read_readings
from ingest.verify import verify

NOW = datetime(2024, 6, 1, 12, 0)
AT = datetime(2026, 11, 28, 18, 0, 5)


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """`fleet.db` with two readings, and `copy.db` from before the second."""
    db = fleet(tmp_path)
    import_paths(db, [readings_file(tmp_path, reading())], now=NOW)
    backup(db, tmp_path / "copy.db")
    import_paths(db, [readings_file(tmp_path, reading(taken_at="2023-05-01T08:00"))], now=NOW)
    db.conn.close()
    return tmp_path


def dump(path: Path) -> str:
    """All of a database but the record of what was put back."""
    connection = sqlite3.connect(path)
    lines = [line for line in connection.iterdump() if "'restored'" not in line and "sqlite_sequence" not in line]
    connection.close()
    return "\n".join(lines)


def names(place: Path) -> list[str]:
    return sorted(file.name for file in place.iterdir() if file.suffix not in (".csv", ".log"))


def test_a_copy_is_put_back_and_what_was_there_is_kept(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Both are there whole; the record says what was done; the next command goes on."""
    newer, older = dump(place / "fleet.db"), dump(place / "copy.db")
    (place / "fleet.db").chmod(0o640)
    assert main(["--db", str(place / "fleet.db"), "restore", str(place / "copy.db")]) == 0
    said = capsys.readouterr().out
    (kept,) = place.glob("fleet-replaced-20*.db")
    assert str(kept) in said
    assert dump(kept) == newer
    assert dump(place / "fleet.db") == dump(place / "copy.db") == older
    assert mode(place / "fleet.db") == 0o640, "whom its owner let read it"
    assert names(place) == ["copy.db", kept.name, "fleet.db"]
    assert verify(place / "fleet.db").wrong == verify(kept).wrong == ()
    assert main(["--db", str(place / "fleet.db"), "logbook"]) == 0
    assert "a backup was put back" in capsys.readouterr().out
    assert main(["--db", str(place / "fleet.db"), "import", str(place / "readings.csv")]) == 0
    assert len(read_readings(open_database(place / "fleet.db"))) == 2


def test_where_there_is_no_database_it_is_made(place: Path) -> None:
    """After a disk was changed: nothing to keep, the file is its owner's only."""
    replaced = restore(place / "copy.db", place / "new.db", by="t", now=AT)
    assert replaced is None
    assert mode(place / "new.db") == 0o600
    assert dump(place / "new.db") == dump(place / "copy.db")


def test_an_older_copy_is_brought_up_and_stays_itself(place: Path) -> None:
    """A database that the second step left, put back: today's tables, the copy as it was."""
    old = old_database(place / "old.db")
    before = old.read_bytes()
    restore(old, place / "fleet.db", by="t", now=AT)
    assert old.read_bytes() == before
    assert verify(place / "fleet.db").findings == ()
    assert len(read_readings(open_database(place / "fleet.db"))) == 1


def cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-8192])


def lose(path: Path) -> None:
    connection = sqlite3.connect(path)
    connection.execute("DELETE FROM readings")
    connection.commit()
    connection.close()


@pytest.mark.parametrize(
    "spoil", [cut, lose, lambda path: path.write_text("no database " * 900)], ids=["cut", "lost", "text"]
)
def test_a_broken_copy_is_refused(
    place: Path, spoil: Callable[[Path], None], capsys: pytest.CaptureFixture[str]
) -> None:
    """Cut off, short of rows, no database: exit code 2, one sentence, everything as it was."""
    spoil(place / "copy.db")
    before = (place / "fleet.db").read_bytes()
    assert main(["--db", str(place / "fleet.db"), "restore", str(place / "copy.db")]) == 2
    assert capsys.readouterr().err.count("cranktrend: ") == 1
    assert (place / "fleet.db").read_bytes() == before
    assert names(place) == ["copy.db", "fleet.db"]


def test_names_that_cannot_be_meant_are_refused(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The database itself, a file that is not there, a folder."""
    for name, words in (
        ("fleet.db", "is the database itself"),
        ("none.db", "there is no database"),
        (".", "is a folder"),
    ):
        assert main(["--db", str(place / "fleet.db"), "restore", str(place / name)]) == 2
        assert words in capsys.readouterr().err


def test_a_database_in_use_is_left_alone(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Another connection that only once read, one that writes; when they are gone it goes."""
    for begin in ("SELECT count(*) FROM units", "BEGIN IMMEDIATE"):
        other = sqlite3.connect(place / "fleet.db")
        other.execute(begin).fetchall()
        assert main(["--db", str(place / "fleet.db"), "restore", str(place / "copy.db")]) == 3
        assert "is in use by another program" in capsys.readouterr().err
        assert not list(place.glob("*replaced*"))
        other.close()
    assert main(["--db", str(place / "fleet.db"), "restore", str(place / "copy.db")]) == 0


def record_when_told(path: Path, told: Path, said: Path) -> None:
    """As another program does: open the database, store a reading, and say so."""
    while not told.exists():
        sleep(0.005)
    try:
        db = open_database(path)
        record_reading(db, {"unit": "K-101", "taken_at": "2023-06-01T08:00", "rest_v": 12.6}, by="w", now=NOW)
        said.write_text("stored")
    except CouldNot:
        said.write_text("not stored")


def has_open(pid: int, path: Path) -> bool:
    return any(one.is_symlink() and one.readlink() == path for one in Path(f"/proc/{pid}/fd").iterdir())


@pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="nothing tells here what another program has open")
def test_who_waited_meanwhile_stores_nothing_in_what_was_replaced(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A reading is acknowledged only where it is found afterwards: in the database that was put back."""
    told, said = place / "told", place / "said"
    if not (pid := os.fork()):
        try:
            record_when_told(place / "fleet.db", told, said)
        finally:
            os._exit(0)
    real = restoring._copy

    def slow(copy: Path, part: Path) -> None:
        told.touch()
        for _ in range(1000):
            if has_open(pid, place / "fleet.db"):
                break
            sleep(0.005)
        assert has_open(pid, place / "fleet.db"), "it waits"
        real(copy, part)

    monkeypatch.setattr(restoring, "_copy", slow)
    replaced = restore(place / "copy.db", place / "fleet.db", by="t", now=AT)
    os.waitpid(pid, 0)
    stored = len(read_readings(open_database(place / "fleet.db"))) - 1
    assert (said.read_text(), stored) in (("stored", 1), ("not stored", 0))
    assert replaced is not None
    assert len(read_readings(open_database(replaced))) == 2


@pytest.mark.parametrize("step", ["_copy", "_bring_up", "_keep", "settle"])
def test_a_disk_that_fails_on_the_way_changes_nothing(place: Path, step: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whichever step fails: the database is as it was, and nothing half-written lies about."""

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    before = dump(place / "fleet.db")
    monkeypatch.setattr(restoring, step, full)
    with pytest.raises(CouldNot, match="was left as it was: No space left on device"):
        restore(place / "copy.db", place / "fleet.db", by="t", now=AT)
    monkeypatch.undo()
    assert dump(place / "fleet.db") == before
    assert names(place) == ["copy.db", "fleet.db"]


def test_a_damaged_database_is_kept_with_its_log(place: Path) -> None:
    """Its log would be read into the copy otherwise: that is the torn log of a database that was put back over it."""
    db = open_database(place / "fleet.db")
    db.execute("UPDATE units SET depot = 'elsewhere'")
    db.conn.commit()
    for ending in ("", "-wal", "-shm"):
        shutil.copyfile(place / f"fleet.db{ending}", place / f"torn.db{ending}")
    db.conn.close()
    (place / "torn.db").write_bytes(b"\xa5" * 4096 + (place / "torn.db").read_bytes()[4096:])
    before = (place / "torn.db").read_bytes()
    replaced = restore(place / "copy.db", place / "torn.db", by="t", now=AT)
    assert replaced == place / "torn-replaced-2026-11-28-180005.db"
    assert replaced.read_bytes() == before
    assert (place / f"{replaced.name}-wal").exists()
    assert dump(place / "torn.db") == dump(place / "copy.db")
