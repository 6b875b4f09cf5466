"""Rows that could not be believed: listed, shown, corrected through the same checks, or dismissed with a reason."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
import pandas as pd
from sqlite_utils import Database

from ingest.admit import load_context
from ingest.entries import Entry, batch_of_entry, merged_values, store_checked
from ingest.errors import IngestError
from ingest.fields import TABLES
from ingest.rules import check
from ingest.writing import Origin, first, stamp, writing

STATES = ("open", "corrected", "dismissed", "admitted")
_COLUMNS = (
    "id",
    "state",
    "table_name",
    "file",
    "sheet",
    "line",
    "reason",
    "original",
    "unit",
    "source",
    "set_aside_at",
)
_ROWS = "(SELECT s.*, o.at AS set_aside_at FROM set_aside s JOIN origins o ON o.id = s.origin_id)"


@dataclass(frozen=True)
class Attempt:
    """One try to correct a set-aside row."""

    at: str
    by: str
    changes: Mapping[str, str]
    result: str


@dataclass(frozen=True)
class SetAside:
    """A set-aside row: where it stood, why it was set aside, its values as far as could be read, what was tried."""

    id: int
    state: str
    table_name: str
    file: str
    sheet: str
    line: int
    reason: str
    original: str
    unit: str
    source: str
    values: Mapping[str, object]
    extra: Mapping[str, str]
    set_aside_at: str
    resolved_at: str = ""
    resolved_by: str = ""
    resolution: str = ""
    attempts: tuple[Attempt, ...] = field(default=())


def list_set_aside(db: Database, *, state: str = "open") -> pd.DataFrame:
    """Return the set-aside rows in one `state` (open, corrected, dismissed, admitted) or 'all', oldest first.

    Columns: id, state, table_name, file, sheet, line, reason, original, unit, source, set_aside_at.
    """
    if state not in (*STATES, "all"):
        raise ValueError(f"state is {state!r}; allowed are {', '.join(STATES)} and all")
    rows = db.query(f"SELECT {', '.join(_COLUMNS)} FROM {_ROWS} WHERE ? IN (state, 'all') ORDER BY id", [state])
    return pd.DataFrame(rows, columns=list(_COLUMNS))


def show_set_aside(db: Database, number: int) -> SetAside:
    """Return one set-aside row with everything known about it; raise IngestError when there is none such."""
    names = (*_COLUMNS, "cells", "coalesce(resolved_at, '') AS resolved_at", "coalesce(resolved_by, '') AS resolved_by")
    sql = f"SELECT {', '.join(names)}, resolution FROM {_ROWS} WHERE id = ?"
    row = first(db, sql, [int(number)])
    if row is None:
        raise IngestError(f"there is no set-aside row {number}; 'set-aside list' shows those there are")
    cells = json.loads(row.pop("cells"))
    extra = cells.pop("extra", {})
    told = "SELECT at, by, changes, result FROM set_aside_attempts WHERE set_aside_id = ? ORDER BY id"
    tried = db.query(told, [int(number)])
    attempts = tuple(Attempt(**{**one, "changes": json.loads(one["changes"])}) for one in tried)
    return SetAside(**row, values=cells, extra=extra, attempts=attempts)


def correct_set_aside(
    db: Database, number: int, changes: Mapping[str, str], *, by: str, now: datetime | None = None
) -> Entry:
    """Admit a set-aside row with `changes` (our columns, or the same in other units) if it passes the same checks.

    The original stays on record. When it fails again, Entry.problems say why and the row stays open; what was tried
    is kept. Raises IngestError when the row does not exist or is not open.
    """
    at = now or datetime.now()
    with writing(db):
        row = _open_row(db, number)
        table = TABLES[row.table_name]
        batch, wrong = batch_of_entry(table, merged_values(table, row.values, changes))
        if wrong:
            return Entry(problems=wrong[:1])
        batch.lines, batch.original = np.array([row.line], dtype=np.int64), lambda _: row.original
        if row.extra:
            batch.extra = [json.dumps(dict(row.extra), ensure_ascii=False)]
        check(batch, load_context(db, at))
        if batch.problems:
            entry = Entry(problems=tuple(dict.fromkeys(batch.problems[0])), values=batch.cells(0))
        else:
            entry = store_checked(
                db, batch, Origin("correction", by, at, file=row.file, source=row.source), file=row.file
            )
        done = entry.stored or entry.known
        result = "stored" if entry.stored else "known already" if entry.known else "; ".join(entry.problems)
        text = json.dumps({name: str(value) for name, value in changes.items()}, ensure_ascii=False)
        tried = {"set_aside_id": row.id, "at": stamp(at), "by": by, "changes": text, "result": result}
        db.table("set_aside_attempts").insert(tried)
        if done:
            _resolve(db, row.id, "corrected", f"{result} as {_words(changes)}", by=by, at=at)
    return entry


def _words(changes: Mapping[str, str]) -> str:
    return ", ".join(f"{name} {value or 'nothing'}" for name, value in changes.items()) or "it was"


def dismiss_set_aside(db: Database, number: int, *, reason: str, by: str, now: datetime | None = None) -> None:
    """Close a set-aside row without storing it; it stays on record with the reason. Raises IngestError."""
    if not reason.strip():
        raise IngestError("a dismissal needs a reason; allowed is any short text")
    with writing(db):
        row = _open_row(db, number)
        _resolve(db, row.id, "dismissed", reason.strip(), by=by, at=now or datetime.now())


def _open_row(db: Database, number: int) -> SetAside:
    row = show_set_aside(db, number)
    if row.state != "open":
        raise IngestError(f"set-aside row {number} is {row.state} already ({row.resolution}); allowed are open rows")
    return row


def _resolve(db: Database, number: int, state: str, resolution: str, *, by: str, at: datetime) -> None:
    done = {"state": state, "resolution": resolution, "resolved_by": by, "resolved_at": stamp(at)}
    db.table("set_aside").update(number, done)
