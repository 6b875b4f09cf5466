"""Saved mistakes put right: readings, repairs, decisions and reports of visits corrected, withdrawn, and put back.

Every change is kept in the audit with who, when, why, old and new value; its number undoes it. A withdrawn row is out of
its table, so that nothing reads it; it is kept whole beside it.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from types import MappingProxyType

import pandas as pd
from sqlite_utils import Database

from ingest.admit import load_context
from ingest.admit_readings import recompute_doubts
from ingest.cells import Batch
from ingest.entries import Entry, batch_of_entry, confirm, entry_of, merged_values, with_doubts
from ingest.errors import IngestError
from ingest.fields import CORRECTABLE, FILE, READINGS, REPAIRS, TABLES, UNITS, VEHICLE
from ingest.former import WITHDRAWN, typed
from ingest.records import checked_decision
from ingest.rules import check
from ingest.service_days import DATED, FIRST, LAST, left_outside, outside_service
from ingest.sheet_edits import EDITED, Edit, is_sheet_change, save_edits, undo_edits
from ingest.sources import target_of
from ingest.visits import checked_visit
from ingest.writing import (
    DAY_COLUMNS,
    ROW_NUMBERS,
    Change,
    Columns,
    Origin,
    as_text,
    changed_by,
    find,
    note_write,
    refuse_later,
    write_change,
    write_origin,
    writing,
)

Row = dict[str, object]
CONFIRMED = "confirmed"  # the readings' column of measurements that were taken twice


@dataclass(frozen=True)
class Kind:
    """What a person can correct: its table, the columns that can be corrected, and those that no two rows may share."""

    word: str
    table: str
    columns: tuple[str, ...]
    key: tuple[str, ...] = ()

    @property
    def number(self) -> str:
        return ROW_NUMBERS[self.table]


KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        word: Kind(word, CORRECTABLE[word], *columns)
        for word, columns in {
            "reading": (READINGS.names, READINGS.key),
            "repair": (REPAIRS.names, REPAIRS.key),
            "decision": (("unit", "iso_week", "kind", "reason", "until"),),
            "visit": (("found", "other_part", "note"), ("uid", "planned_on")),
        }.items()
    }
)
_OF_TABLE = {kind.table: kind for kind in KINDS.values()}


def kind_of(word: str) -> Kind:
    """Return the kind called `word`; ValueError when there is none such."""
    if word not in KINDS:
        raise ValueError(f"{word!r} cannot be corrected; allowed are {', '.join(KINDS)}")
    return KINDS[word]


def row_of(db: Database, word: str, number: int) -> Row:
    """Return a row as it is on record, in the columns that can be corrected; IngestError when there is none such."""
    kind = kind_of(word)
    row = _whole(db, kind, number)
    return {name: row[name] for name in kind.columns}


# --- three things to do with a saved row -----------------------------------------------------------------------------


def correct(
    db: Database,
    word: str,
    number: int | str,
    changes: Mapping[str, object],
    *,
    by: str,
    reason: str,
    now: datetime | None = None,
) -> Entry:
    """Change values of a stored reading, repair, decision, report of a visit or vehicle after the checks of a new one.

    `changes`: by column, or the same in other units; an empty text empties a value, another `unit` moves the row to
    that vehicle. Entry.problems say what is wrong, Entry.known that nothing changed. IngestError: no such row.
    """
    if not reason.strip():
        return Entry(problems=("a correction needs a reason; allowed is any short text",))
    if word == VEHICLE:
        return _correct_vehicle(db, str(number), changes, by, reason, now or datetime.now())
    kind, number, at = kind_of(word), int(number), now or datetime.now()
    with writing(db):
        old = _whole(db, kind, number)
        entry, new = _checked(db, kind, number, old, changes, at)
        changed = {name: value for name, value in new.items() if value != old[name]}
        if entry.problems or not changed.keys() - {CONFIRMED}:
            return replace(entry, known=not entry.problems, row_id=number)
        change = write_origin(db, Origin("correction", by, at))
        _set(db, kind, number, old, changed, Origin("correction", by, at), reason, change)
        _follow(db, [(kind, old, {**old, **changed})], at)
        return with_doubts(db, kind.table, replace(entry, stored=True, row_id=number, change=change))


def vehicle_of(db: Database, unit: str) -> Row:
    """Return what is on record of a vehicle; IngestError where there is none of that number."""
    row = find(db, UNITS.name, unit=unit)
    if row is None:
        raise IngestError(f"there is no vehicle {unit}")
    return {name: row[name] for name in UNITS.names}


def _correct_vehicle(
    db: Database, unit: str, changes: Mapping[str, object], by: str, reason: str, at: datetime
) -> Entry:
    """Change what is on record of a vehicle, after the checks of a new one; its number stays."""
    with writing(db):
        kept = {name: value for name, value in vehicle_of(db, unit).items() if value not in (None, "")}
        batch, wrong = batch_of_entry(UNITS, merged_values(UNITS, kept, changes))
        if wrong:
            return Entry(problems=wrong)
        check(batch, load_context(db, at))
        if batch.problems:
            return entry_of(batch)
        new = _values(batch)
        if new.pop("unit") != unit:
            return Entry(problems=("the number of a vehicle stays; allowed are its other columns",))
        if outside := left_outside(db, unit, kept, new):
            return Entry(problems=(outside,))
        change = save_edits(db, [Edit(UNITS.name, (unit,), new)], by=by, reason=reason.strip(), now=at)
        recompute_doubts(db, [unit], load_context(db, at))
        return replace(entry_of(batch), stored=bool(change), known=not change, change=change or None)


def withdraw(db: Database, word: str, number: int | str, *, by: str, reason: str, now: datetime | None = None) -> Entry:
    """Take a reading, repair, decision or report of a visit out of what is judged; it stays on record and can be put back
    (`undo`). With the report of a visit go the repairs and the reading that it put on record; with a file, called by its name, those that
    the last import of a file of that name brought and that are on record still, so that a corrected one can come in their place."""
    if not reason.strip():
        return Entry(problems=("withdrawing needs a reason; allowed is any short text",))
    mine = Origin("correction", by, now or datetime.now())
    with writing(db):
        rows = _of_file(db, str(number)) if word == FILE else _with_its_rows(db, kind_of(word), int(number))
        change = write_origin(db, mine)
        for kind, n, row in rows:
            _withdrawn(db, kind, n, row, ("yes", change), mine, reason)
        _follow(db, [(kind, row, row) for kind, _, row in rows], mine.at)
    return Entry(stored=True, row_id=rows[0][1], change=change)


def undo(db: Database, change: int, *, by: str, reason: str = "undone", now: datetime | None = None) -> Entry:
    """Put back what a correction or a withdrawal changed; that is a change itself, and can be undone too.

    IngestError: no such change, changed again since, or the place is taken by another row.
    """
    if is_sheet_change(db, change):
        with writing(db):
            again = undo_edits(db, change, by=by, reason=reason, now=now)
            vehicles = _vehicles_put_back(db, again)
            recompute_doubts(db, vehicles, load_context(db, now or datetime.now()))
        return Entry(stored=True, change=again)
    mine = Origin("correction", by, now or datetime.now())
    with writing(db):
        touched = changed_by(db, change, _OF_TABLE)
        again = write_origin(db, mine)
        moved = [
            (_OF_TABLE[table], *_undo_row(db, _OF_TABLE[table], int(number), columns, change, again, mine, reason))
            for (table, number), columns in touched.items()
        ]
        _follow(db, moved, mine.at)
        table, number = next(iter(touched))
        return with_doubts(db, table, Entry(stored=True, row_id=int(number), change=again))


# --- how -------------------------------------------------------------------------------------------------------------


def _vehicles_put_back(db: Database, change: int) -> list[str]:
    """Vehicles that a change touched; IngestError where one has something on record outside its days in service now."""
    out = []
    for (table, unit), columns in changed_by(db, change, EDITED).items():
        if table == UNITS.name:
            old, new = ({name: cells[which] for name, cells in columns.items()} for which in (0, 1))
            if outside := left_outside(db, unit, old, new):
                raise IngestError(outside)
            out.append(unit)
    return out


def _check_day(db: Database, kind: Kind, number: int, row: Row) -> None:
    """Raise IngestError when a row that is put back is of no day on which its vehicle is in service."""
    day = next((str(row[column])[:10] for word, _, _, column in DATED if word == kind.word), "")
    vehicle = find(db, UNITS.name, unit=row["unit"]) if day else None
    if vehicle:
        first, last = (str(vehicle[name] or "") for name in (FIRST, LAST))
        if outside := outside_service(str(row["unit"]), first, last, f"{kind.word} {number} of {day}", day):
            raise IngestError(outside)


def _undo_row(
    db: Database, kind: Kind, number: int, columns: Columns, change: int, again: int, mine: Origin, reason: str
) -> tuple[Row, Row]:
    """Put one row back to what it was before `change`, under the new change `again`; return it before and after."""
    if WITHDRAWN in columns:
        was_taken = bool(columns[WITHDRAWN][1])
        row = _put_back(db, kind, number, change) if was_taken else _whole(db, kind, number)
        _withdrawn(db, kind, number, row, (None if was_taken else "yes", again), mine, reason)
        return row, row
    old = _whole(db, kind, number)
    other = [name for name, (_, told) in columns.items() if as_text(old[name]) != told]
    if other:
        refuse_later(db, change, kind.table, str(number), other, said=f"{kind.word} {number}")
    back = {name: typed(kind.table, name, before) for name, (before, _) in columns.items()}
    _check_free(db, kind, number, {**old, **back})
    _check_day(db, kind, number, {**old, **back})
    _set(db, kind, number, old, back, mine, reason, again)
    return old, {**old, **back}


def _withdrawn(
    db: Database, kind: Kind, number: int, row: Row, told: tuple[str | None, int], mine: Origin, reason: str
) -> None:
    """Take a row out ("yes"), or note that it is back (None), under a change; `told`: which of them, and the change."""
    taken, change = told
    if taken:
        _take_out(db, kind, number, row, change)
    one = Change(kind.table, str(number), WITHDRAWN, None if taken else "yes", taken)
    write_change(db, one, by=mine.by, at=mine.at, reason=reason, origin_id=change)


def _with_its_rows(db: Database, kind: Kind, number: int) -> list[tuple[Kind, int, Row]]:
    """The row, and for the report of a visit what stands under its origin still."""
    row = _whole(db, kind, number)
    return [(kind, number, row), *(_under(db, row["origin_id"]) if kind.word == "visit" else ())]


def _of_file(db: Database, name: str) -> list[tuple[Kind, int, Row]]:
    """What the last import of a file of that name brought and is on record still; IngestError where that is nothing."""
    for one in db.query("SELECT id FROM origins WHERE kind = 'file' AND file = ? ORDER BY id DESC", [name]):
        if rows := _under(db, one["id"]):
            return rows
    raise IngestError(
        f"no reading or repair of a file {name!r} is on record; allowed are the names that `logbook` shows as imported"
    )


def files_on_record(db: Database) -> list[str]:
    """Names of the files of which readings or repairs are on record still, the latest import first."""
    sought = " UNION ".join(f"SELECT origin_id FROM {KINDS[word].table}" for word in ("reading", "repair"))
    found = db.query(f"SELECT file FROM origins WHERE kind = 'file' AND id IN ({sought}) ORDER BY id DESC")
    return list(dict.fromkeys(str(one["file"]) for one in found))


def _under(db: Database, origin: object) -> list[tuple[Kind, int, Row]]:
    """Repairs and readings that stand under an origin."""
    return [
        (its, int(one[its.number]), one)
        for its in (KINDS["repair"], KINDS["reading"])
        for one in list(db.query(f"SELECT * FROM {its.table} WHERE origin_id = ?", [origin]))
    ]


def _whole(db: Database, kind: Kind, number: int) -> Row:
    row = find(db, kind.table, **{kind.number: int(number)})
    if row is None:
        gone = find(db, "withdrawn", table_name=kind.table, row_id=int(number))
        if gone:
            raise IngestError(
                f"{kind.word} {number} is withdrawn; allowed is to undo that (change {gone['origin_id']})"
            )
        raise IngestError(f"there is no {kind.word} {number}")
    return row


def _checked(
    db: Database, kind: Kind, number: int, old: Row, changes: Mapping[str, object], at: datetime
) -> tuple[Entry, Row]:
    """What would become of the row with the changes, and its values as they would be stored."""
    if kind.table not in TABLES:
        return _checked_by_hand(db, kind, old, changes)
    table = TABLES[kind.table]
    kept = {name: old[name] for name in kind.columns if old[name] not in (None, "")}
    batch, wrong = batch_of_entry(table, merged_values(table, kept, changes))
    if wrong:
        return Entry(problems=wrong), {}
    if table is READINGS:
        confirm(batch, _still_confirmed(old, changes))
    check(batch, load_context(db, at))
    if batch.problems:
        return entry_of(batch), {}
    new = _values(batch)
    try:
        _check_free(db, kind, number, new)
    except IngestError as error:
        return Entry(problems=(str(error),), values=batch.cells(0)), {}
    return entry_of(batch), new


def _values(batch: Batch) -> Row:
    """Every column of the single row of a batch as it is stored, those that are not there as empty."""
    empty: Row = {
        column.name: None if column.kind in ("number", "whole", "date", "time") else ""
        for column in batch.table.columns
    }
    twice = {CONFIRMED: ",".join(sorted(batch.confirmed.get(0, ())))} if batch.table is READINGS else {}
    return empty | batch.stored(0, batch.filled) | twice


def _still_confirmed(old: Row, changes: Mapping[str, object]) -> list[str]:
    """Measurements that were taken twice and are not changed now: a new value was not measured twice."""
    touched = {target_of(name, READINGS) for name in changes}
    return [name for name in str(old[CONFIRMED]).split(",") if name and name not in touched]


def _checked_by_hand(db: Database, kind: Kind, old: Row, changes: Mapping[str, object]) -> tuple[Entry, Row]:
    """The same for what comes from no file: decisions and reports of visits."""
    strange = [name for name in changes if name not in kind.columns]
    if strange:
        allowed = ", ".join(kind.columns)
        return Entry(problems=(f"{strange[0]!r} is not a column of {kind.table}; allowed are {allowed}",)), {}
    wanted = {**old, **{n: v or None for n, v in changes.items()}}
    try:
        new = checked_decision(db, wanted) if kind.word == "decision" else checked_visit(wanted)
    except ValueError as error:
        return Entry(problems=(str(error),)), {}
    return Entry(values=new), new


def _check_free(db: Database, kind: Kind, number: int, row: Row) -> None:
    """Raise IngestError when another row has the place of this one."""
    if not kind.key:
        return
    other = find(db, kind.table, **{name: row[name] for name in kind.key})
    if other and other[kind.number] != number:
        place = ", ".join(str(row[name]) for name in kind.key[1:])
        raise IngestError(
            f"{row['unit']} has another {kind.word} ({other[kind.number]}) of {place}; allowed is a place of its own, or to "
            "correct or withdraw the other one first"
        )


def _set(
    db: Database, kind: Kind, number: int, old: Row, changed: Row, origin: Origin, reason: str, change: int
) -> None:
    for name, value in changed.items():
        one = Change(kind.table, str(number), name, old[name], value)
        write_change(db, one, by=origin.by, at=origin.at, reason=reason.strip(), origin_id=change)
    db.table(kind.table).update(number, dict(changed))


def _take_out(db: Database, kind: Kind, number: int, row: Row, change: int) -> None:
    cells = json.dumps(row, ensure_ascii=False)
    db.table("withdrawn").insert({"table_name": kind.table, "row_id": number, "cells": cells, "origin_id": change})
    db.table(kind.table).delete(number)


def _put_back(db: Database, kind: Kind, number: int, change: int) -> Row:
    found = find(db, "withdrawn", table_name=kind.table, row_id=number)
    if found is None:
        refuse_later(db, change, kind.table, str(number), [WITHDRAWN], said=f"{kind.word} {number}")
    row: Row = json.loads(found["cells"])
    _check_free(db, kind, number, row)
    _check_day(db, kind, number, row)
    db.table(kind.table).insert(row)
    db.table("withdrawn").delete_where("table_name = ? AND row_id = ?", (kind.table, number))
    return row


def _follow(db: Database, moved: Sequence[tuple[Kind, Row, Row]], at: datetime) -> None:
    """After rows changed, each with what it was and is: judge the doubts of the vehicles' readings anew, and note from which day on
    something else is known."""
    for kind in dict.fromkeys(kind for kind, _, _ in moved):
        rows = [row for one, old, new in moved if one is kind for row in (old, new)]
        if kind.table in DAY_COLUMNS:
            note_write(db, kind.table, [row[DAY_COLUMNS[kind.table]] for row in rows])
        if kind.table == READINGS.name:
            recompute_doubts(db, [str(row["unit"]) for row in rows], load_context(db, at))


# --- what was done ---------------------------------------------------------------------------------------------------


def changes_of(db: Database, word: str, number: int) -> pd.DataFrame:
    """Return what was changed in a row, oldest first: at, by, column, old, new, reason, change."""
    names = 'at, by, column_name AS "column", old_value AS old, new_value AS new, reason, origin_id AS change'
    sql = f"SELECT {names} FROM audit WHERE table_name = ? AND row_key = ? ORDER BY id"
    rows = db.query(sql, [kind_of(word).table, str(int(number))])
    return pd.DataFrame(rows, columns=["at", "by", "column", "old", "new", "reason", "change"])


def withdrawn_of(db: Database, unit: str) -> list[dict[str, object]]:
    """Return the withdrawn rows of a vehicle, the last one first: word, number, change, at, by, reason, row."""
    rows = db.query(
        "SELECT w.table_name AS word, w.row_id AS number, w.origin_id AS change, a.at, a.by, a.reason, w.cells AS row FROM withdrawn w"
        " JOIN audit a ON a.origin_id = w.origin_id AND a.table_name = w.table_name AND a.row_key = CAST(w.row_id AS TEXT)"
        " WHERE json_extract(w.cells, '$.unit') = ? ORDER BY w.origin_id DESC",
        [unit],
    )
    return [{**row, "word": _OF_TABLE[row["word"]].word, "row": json.loads(row["row"])} for row in rows]
