"""Transactions, origins (who or what wrote a row) and the audit of changed values."""

import sqlite3
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from secrets import token_hex
from types import MappingProxyType
from typing import Any, NoReturn

from sqlite_utils import Database

from ingest.errors import DatabaseTrouble, IngestError


@contextmanager
def writing(db: Database) -> Iterator[None]:
    """A transaction that holds the right to write from its start; nested use becomes part of the outer one.

    Raises DatabaseTrouble, with nothing written, for a database that is busy, full, read-only or damaged.
    """
    if db.conn.in_transaction:
        with db.atomic():
            yield
        return
    try:
        db.conn.execute("BEGIN IMMEDIATE")
        try:
            yield
            db.conn.commit()
        except BaseException:
            db.conn.rollback()
            raise
    except (sqlite3.IntegrityError, sqlite3.ProgrammingError):  # a fault of ours or of the row, not of the database
        raise
    except sqlite3.DatabaseError as error:
        raise DatabaseTrouble(error) from error


def put(db: Database, table: str, row: Mapping[str, object], *key: str) -> int:
    """Insert a row, or change the one of the same `key`; returns its number.

    sqlite-utils' insert looks at the table anew for every row, which doubles the time of an import; its upsert first makes a
    table of its own to see what SQLite can do, and loses the row on a full disk.
    """
    sql = f"INSERT INTO {table} ({', '.join(row)}) VALUES ({', '.join(f':{name}' for name in row)})"
    if key:
        sets = ", ".join(f"{name} = excluded.{name}" for name in row if name not in key)
        sql += f" ON CONFLICT ({', '.join(key)}) DO UPDATE SET {sets}"
    return int(db.execute(sql, dict(row)).lastrowid or 0)


def find(db: Database, table: str, **key: object) -> dict[str, Any] | None:
    where = " AND ".join(f"{name} = :{name}" for name in key)
    return first(db, f"SELECT * FROM {table} WHERE {where} LIMIT 1", key)


def first(db: Database, sql: str, values: Sequence[object] | dict[str, Any] = ()) -> dict[str, Any] | None:
    return next(db.query(sql, values), None)


@dataclass(frozen=True)
class Origin:
    """Who or what writes, when, and from which file; `entry_id` makes a form's resend recognisable."""

    kind: str
    by: str
    at: datetime
    file: str = ""
    sha256: str = ""
    source: str = ""
    entry_id: str | None = None


def write_origin(db: Database, origin: Origin) -> int:
    return put(db, "origins", {**vars(origin), "at": stamp(origin.at)})


@dataclass(frozen=True)
class Place:
    origin_id: int
    file: str
    now: datetime
    sheet: str = ""
    source: str = ""


@dataclass(frozen=True)
class Admitted:
    """What became of the rows of one batch; `stored_rows` are the rows of the batch that were stored, `still_aside`
    those of the set-aside rows that were set aside before, `known_from` days for :func:`note_write`."""

    rows: int = 0
    stored: int = 0
    known: int = 0
    set_aside: int = 0
    replaced: int = 0
    doubtful: int = 0
    stored_rows: tuple[int, ...] = ()
    still_aside: int = 0
    known_from: tuple[str, ...] = ()


@dataclass(frozen=True)
class Change:
    table: str
    row_key: str
    column: str
    old: object
    new: object


Columns = dict[str, tuple[str | None, str | None]]  # column -> old and new value, as the audit holds them


def write_change(
    db: Database, change: Change, *, by: str, at: datetime, reason: str, origin_id: int | None = None
) -> None:
    """Keep the old value of a changed cell in the audit."""
    old, new = as_text(change.old), as_text(change.new)
    where = {"table_name": change.table, "row_key": change.row_key, "column_name": change.column}
    why = {"at": stamp(at), "by": by, "reason": reason, "origin_id": origin_id}
    put(db, "audit", {**where, "old_value": old, "new_value": new, **why})


def changed_by(db: Database, change: int, tables: Container[str]) -> dict[tuple[str, str], Columns]:
    """Rows that a change touched, in its order: (table, row) -> column -> old and new value; IngestError when it touched none of
    `tables` first."""
    rows = list(db.query("SELECT * FROM audit WHERE origin_id = ? ORDER BY id", [int(change)]))
    if not rows or rows[0]["table_name"] not in tables:
        raise IngestError(f"there is no change {change} that can be undone; the logbook shows those there are")
    touched: dict[tuple[str, str], Columns] = {}
    for row in rows:
        columns = touched.setdefault((row["table_name"], row["row_key"]), {})
        columns[row["column_name"]] = (row["old_value"], row["new_value"])
    return touched


def refuse_later(
    db: Database, change: int, table: str, row_key: str, columns: Sequence[str] = (), *, said: str = ""
) -> NoReturn:
    """Raise IngestError with the change that came after `change` to a row (`said` for short), or to some of its columns."""
    where = "table_name = ? AND row_key = ?" + (
        f" AND column_name IN ({', '.join('?' * len(columns))})" if columns else ""
    )
    sql = f"SELECT * FROM audit WHERE {where} ORDER BY id DESC LIMIT 1"
    later = next(db.query(sql, [table, row_key, *columns]))
    raise IngestError(
        f"{said or row_key} was changed again on {later['at'][:10]} by {later['by']} (change {later['origin_id']}) after "
        f"change {change}; allowed is to undo the last one first"
    )


def as_text(value: object) -> str | None:
    return None if value is None else str(value)


def stamp(at: datetime) -> str:
    """Return a time as it is stored: ISO 8601 to the second."""
    return at.isoformat(timespec="seconds")


ROW_NUMBERS = MappingProxyType(
    {"readings": "reading_id", "repairs": "repair_id", "decisions": "id", "visits": "visit_id"}
)
"""Table whose rows a person can correct or withdraw -> the column that numbers them."""
DAY_COLUMNS = MappingProxyType({"readings": "taken_at", "repairs": "done_on"})
"""Table -> the column whose day says from when on a row is known; rows of other tables are known at all times."""


def next_number(db: Database, table: str) -> int:
    """Return the next number of a row of `table`; the number of a withdrawn row is never given again."""
    number = ROW_NUMBERS[table]
    row = db.execute(
        f"SELECT max(coalesce((SELECT max({number}) FROM {table}), 0),"
        " coalesce((SELECT max(row_id) FROM withdrawn WHERE table_name = ?), 0))",
        (table,),
    ).fetchone()
    return int(row[0]) + 1


def note_write(db: Database, table: str, days: Iterable[object] = ()) -> None:
    """Note that rows of `table` were written, and the earliest of their `days`: a list of that day sees none of it.

    A token tells this write from any other, in this database and in others.
    """
    first_on = min((str(day)[:10] for day in days), default="")
    put(db, "writes", {"table_name": table, "first_on": first_on, "token": token_hex(8)})
