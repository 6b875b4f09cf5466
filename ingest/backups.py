"""Copies of the database, readable by their owner only: written beside, made to last, then given their name."""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from glob import escape
from pathlib import Path
from secrets import token_hex
from time import time

from sqlite_utils import Database

from ingest.errors import CouldNot, DatabaseTrouble, IngestError
from ingest.place import OWNER_ONLY

KEPT_VERSIONS = 3  # copies from before a change of version: the last, and two found out late; our choice
LEFT_S = 3600.0  # [s] after which an unfinished copy was left by a run that was stopped; one takes seconds; our choice


def backup(db: Database, file: str | Path) -> Path:
    """Write a compact copy of the whole database to the new file `file`; raise IngestError when it exists.

    The name is there only once all of the copy is on the disk.
    """
    target = Path(file)
    if target.exists():
        raise IngestError(f"{target} is there already; a backup never overwrites: name a new file")
    if not target.parent.is_dir():
        raise IngestError(f"there is no folder {target.parent} for the backup")
    try:
        with written_beside(target) as part:
            db.conn.execute("VACUUM INTO ?", (str(part),))
            settle(part)
            give_name(part, target)
    except sqlite3.Error as error:
        raise CouldNot(f"the backup to {target} failed: {DatabaseTrouble(error)}") from error
    except FileExistsError:
        raise IngestError(f"{target} is there already; a backup never overwrites: name a new file") from None
    except OSError as error:
        raise CouldNot(f"the backup to {target} failed: {error.strerror or error}") from error
    return target


def backup_of_version(db: Database, file: Path, version: str, *, now: datetime | None = None) -> Path:
    """Copy a database of an older version beside itself, under a name with that version and the time."""
    stem = f"{file.stem}-version-{version}-{stamped(now or datetime.now())}"
    return backup(db, free_name(file.with_name(stem + file.suffix)))


def forget_old_versions(file: Path, newest: Path) -> None:
    """Remove all copies from before changes of version but `newest` and the last ones before it."""
    found = set(file.parent.glob(f"{escape(file.stem)}-version-[0-9]*{escape(file.suffix)}")) - {newest}
    for old in sorted(found, key=lambda one: one.name)[: -(KEPT_VERSIONS - 1)]:
        with suppress(OSError):  # it stays; nothing is lost but room
            old.unlink()


def stamped(at: datetime) -> str:
    return f"{at:%Y-%m-%d-%H%M%S}"


def free_name(wished: Path) -> Path:
    """The name itself, or with a number where it is taken: a clock may be set back."""
    name, number = wished, 1
    while name.exists():
        number += 1
        name = wished.with_name(f"{wished.stem}-{number}{wished.suffix}")
    return name


def make_private(file: Path) -> None:
    """Make an empty file that its owner alone can read, FileExistsError where there is one; SQLite gives a database's
    other files the same permissions."""
    os.close(os.open(file, os.O_CREAT | os.O_EXCL | os.O_WRONLY, OWNER_ONLY))


@contextmanager
def written_beside(target: Path) -> Iterator[Path]:
    """An empty private file beside `target` to write to first; it is gone afterwards, whatever happens."""
    for left in target.parent.glob(f".{escape(target.name)}.*.part"):
        with suppress(OSError):  # another run may have taken it away
            if time() - left.stat().st_mtime > LEFT_S:
                left.unlink()
    part = target.with_name(f".{target.name}.{token_hex(4)}.part")
    make_private(part)
    try:
        yield part
    finally:
        part.unlink(missing_ok=True)


def settle(file: Path) -> None:
    """Wait until what was written to a file, or to a folder's list of names, is on the disk: SQLite does not do so for a copy."""
    if file.is_dir() and os.name != "posix":  # only there a folder can be waited for
        return
    opened = os.open(file, os.O_RDONLY if file.is_dir() else os.O_RDWR)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)


def give_name(part: Path, target: Path) -> None:
    """Give a finished file its name for good; FileExistsError where somebody else was quicker."""
    try:
        os.link(part, target)
    except FileExistsError:
        raise
    except OSError:  # a disk that knows no second names
        if target.exists():
            raise FileExistsError(target) from None
        part.rename(target)
    settle(target.parent)
