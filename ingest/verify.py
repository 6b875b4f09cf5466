"""Is a database in order: its pages, its references, its record of changes, and the rows of every imported file.

Nothing is written, and an older database stays of its version.
"""

import sqlite3
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from types import MappingProxyType

from sqlite_utils import Database

from ingest.errors import DatabaseTrouble
from ingest.fields import TABLES
from ingest.place import check_place
from ingest.record_check import FileRows, changes_not_followed, rows_of_files
from ingest.schema import check_not_newer, migrations, version_of
from ingest.store import not_opened, refuse_foreign

MOST_SAID = 20  # complaints of SQLite's own check that are told, our choice: the first ones name the place
NOTES = ("readable", "older")  # kinds of findings that are no fault
_OTHERS = 0o077  # permissions of anybody but the owner (POSIX)


@dataclass(frozen=True)
class Finding:
    """One thing that is not in order: its kind, and the figures that say which."""

    kind: str
    figures: Mapping[str, str | int]

    @property
    def wrong(self) -> bool:
        return self.kind not in NOTES


@dataclass(frozen=True)
class Verified:
    """What was found: version ("" without tables), rows per table, imported files, and what is not in order."""

    version: str = ""
    rows: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))
    files: tuple[FileRows, ...] = ()
    findings: tuple[Finding, ...] = ()

    @property
    def wrong(self) -> tuple[Finding, ...]:
        return tuple(one for one in self.findings if one.wrong)


def verify(file: Path) -> Verified:
    """Look through the database `file`; raises as `open_database` does where it is none of ours, or cannot be read."""
    check_place(file, create=False)
    try:
        connection = sqlite3.connect(str(file))
        try:
            db = Database(connection)
            refuse_foreign(db, file)
            check_not_newer(db)
            found = verify_open(db)
        finally:
            connection.close()
    except sqlite3.Error as error:
        told = not_opened(error, file)
        if is_damage(error) and isinstance(told, DatabaseTrouble):
            return Verified(findings=(_damaged(error),))
        raise told from error
    if not file.stat().st_mode & _OTHERS:
        return found
    note = Finding("readable", {"file": str(file)})
    return Verified(found.version, found.rows, found.files, (*found.findings, note))


def is_damage(error: sqlite3.Error) -> bool:
    """Whether SQLite complains of what it read, and not of a lock, a full disk or a place it may not write to."""
    code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF
    return code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR)


def _damaged(error: sqlite3.Error) -> Finding:
    return Finding("damaged", {"said": " ".join(str(error).split())})


def verify_open(db: Database) -> Verified:
    """The same for an open database; damage ends the look, because what comes after it means nothing."""
    findings: list[Finding] = []
    try:
        checked = list(db.query(f"PRAGMA integrity_check({MOST_SAID})"))
        said = [" ".join(str(row["integrity_check"]).split()) for row in checked]
        findings += [Finding("damaged", {"said": one}) for one in said if one != "ok"]
        if not findings and not db.table_names():
            return Verified()
        findings += _missing(db)
        if findings:
            return Verified(findings=tuple(findings))
        findings += [*_references(db), *_texts(db)]
        findings += [Finding("change", one) for one in changes_not_followed(db)]
        files = rows_of_files(db)
        findings += [Finding("rows", vars(one)) for one in files if not one.right]
    except sqlite3.Error as error:
        if not is_damage(error):
            raise
        return Verified(findings=(*findings, _damaged(error)))
    version, tables = version_of(db), db.table_names()
    if migrations.pending(db):
        findings.append(Finding("older", {"version": version}))
    rows = {name: int(db[name].count) for name in (*TABLES, "set_aside") if name in tables}
    return Verified(version, rows, files, tuple(findings))


def _missing(db: Database) -> Iterator[Finding]:
    """Tables, columns and indexes that a database of this version has and this one has not."""
    pending = [step.name for step in migrations.pending(db)]
    tables, indexes = _shape_before(pending[0] if pending else None)
    there = db.table_names()
    for name, columns in tables.items():
        if name not in there:
            yield Finding("missing", {"what": f"no such table: {name}"})
            continue
        for column in sorted(columns - db[name].columns_dict.keys()):
            yield Finding("missing", {"what": f"no such column: {name}.{column}"})
    for name in sorted(indexes - _indexes(db)):
        yield Finding("missing", {"what": f"no such index: {name}"})


@cache
def _shape_before(step: str | None) -> tuple[Mapping[str, frozenset[str]], frozenset[str]]:
    """Tables with their columns, and indexes, as they are before a step, or after all of them."""
    sound = Database(memory=True)
    migrations.apply(sound, stop_before=step)
    tables = {name: frozenset(sound[name].columns_dict) for name in sound.table_names()}
    return MappingProxyType(tables), _indexes(sound)


def _indexes(db: Database) -> frozenset[str]:
    sql = "SELECT name FROM sqlite_master WHERE type = 'index' AND sql IS NOT NULL"
    return frozenset(row["name"] for row in db.query(sql))


def _references(db: Database) -> Iterator[Finding]:
    """Rows that name a vehicle or an origin that is not there."""
    broken = Counter((row["table"], row["parent"]) for row in db.query("PRAGMA foreign_key_check"))
    for (table, named), rows in sorted(broken.items()):
        yield Finding("reference", {"table": table, "named": named, "rows": rows})


def _texts(db: Database) -> Iterator[Finding]:
    """Cells of set-aside rows that are kept as JSON and are none; of other tables SQLite's own check knows."""
    for table, column in (("set_aside", "cells"), ("set_aside_attempts", "changes")):
        bad = db.table(table).count_where(f"NOT json_valid({column})")
        if bad:
            yield Finding("text", {"table": table, "column": column, "rows": bad})
