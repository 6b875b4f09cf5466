"""A backup put back in the place of the database: whole or not at all, with what was there kept beside it."""

import os
import shutil
import sqlite3
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path

from sqlite_utils import Database

from ingest.backups import free_name, settle, stamped, written_beside
from ingest.errors import CouldNot, DatabaseRefused, DatabaseTrouble
from ingest.place import check_place
from ingest.schema import migrate
from ingest.verify import Verified, is_damage, verify
from ingest.writing import Change, write_change

BUSY = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
HELD = "is in use by another program (screens, an import); end that first, then try again: nothing was changed"


class BackupRefused(DatabaseRefused):
    """A backup that is not in order; `verified` says what is wrong with it."""

    def __init__(self, file: Path, verified: Verified) -> None:
        super().__init__(f"{file} is not in order")
        self.verified = verified


def restore(backup: Path, file: Path, *, by: str, now: datetime | None = None) -> Path | None:
    """Put a copy of `backup`, brought to today's version, in the place of the database `file`; where what was there lies now, None
    where nothing was.

    Raises BackupRefused for a backup that is not in order, DatabaseRefused for a file that is none, CouldNot where the
    database is in use or the disk does not take it; then everything is as it was.
    """
    at = now or datetime.now()
    check_place(file, create=True)
    check_place(backup, create=False)
    if file.exists() and backup.samefile(file):
        raise DatabaseRefused(f"{backup} is the database itself; allowed is a copy of it")
    verified = verify(backup)
    if verified.wrong:
        raise BackupRefused(backup, verified)
    try:
        with written_beside(file) as part, _alone(file) as sound:
            _copy(backup, part)
            name = free_name(file.with_name(f"{file.stem}-replaced-{stamped(at)}{file.suffix}"))
            replaced = name if file.exists() else None
            change = Change("database", file.name, "restored", replaced and replaced.name, backup.name)
            _bring_up(part, change, by=by, at=at)
            if replaced:
                part.chmod(stat.S_IMODE(file.stat().st_mode))  # whom its owner let read it
            settle(part)
            if replaced:
                _keep(file, replaced, sound=sound)
            part.replace(file)
            settle(file.parent)
    except sqlite3.Error as error:
        raise CouldNot(f"{file} was left as it was: {DatabaseTrouble(error)}") from error
    except OSError as error:
        raise CouldNot(f"{file} was left as it was: {error.strerror or error}") from error
    return replaced


@contextmanager
def _alone(file: Path) -> Iterator[bool]:
    """Hold the database so that nobody else reads or writes it, its log written into it; whether that was possible.

    It was not where there is none, or where it is damaged. CouldNot where somebody else holds it. Whoever waits for it
    meanwhile is told by SQLite that it has moved, and stores nothing in what was replaced.
    """
    if not file.exists():
        yield False
        return
    connection = sqlite3.connect(str(file), timeout=0, isolation_level=None)
    try:
        sound = _held(connection, file)
        yield sound
    finally:
        with suppress(sqlite3.Error):  # it is damaged, or another file by now
            connection.rollback()
        connection.close()


def _held(connection: sqlite3.Connection, file: Path) -> bool:
    try:
        connection.executescript("PRAGMA locking_mode=EXCLUSIVE; PRAGMA journal_mode=DELETE; BEGIN EXCLUSIVE")
    except sqlite3.Error as error:
        if getattr(error, "sqlite_errorcode", 0) & 0xFF in BUSY:
            raise CouldNot(f"{file} {HELD}") from error
        if not is_damage(error):
            raise
        return False
    return True


def _copy(backup: Path, part: Path) -> None:
    """The backup as it is, what waits in its own log too."""
    source = sqlite3.connect(str(backup))
    try:
        source.execute("VACUUM INTO ?", (str(part),))
    finally:
        source.close()


def _bring_up(part: Path, change: Change, *, by: str, at: datetime) -> None:
    """Bring the copy to today's tables and put the change on record."""
    db = Database(sqlite3.connect(str(part)))
    try:
        db.executescript("PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON")
        migrate(db)
        with db.atomic():
            write_change(db, change, by=by, at=at, reason="a backup was put back")
    finally:
        db.conn.close()


def _keep(file: Path, replaced: Path, *, sound: bool) -> None:
    """Give what is there a second name; the log of a damaged one goes with it, because it would be read into the new one."""
    log, shared = (file.with_name(file.name + ending) for ending in ("-wal", "-shm"))
    if not sound and log.exists():
        log.replace(replaced.with_name(replaced.name + "-wal"))
        shared.unlink(missing_ok=True)
    try:
        os.link(file, replaced)
    except OSError:  # a disk that knows no second names
        shutil.copy2(file, replaced)
        settle(replaced)
    settle(file.parent)
