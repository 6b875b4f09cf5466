"""Checked rows into their table: stored, already known, or set aside; nothing is ever overwritten silently."""

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime

import numpy as np
from sqlite_utils import Database

from ingest.admit_readings import admit_readings
from ingest.cells import Batch
from ingest.former import Former, former_rows
from ingest.put_right import close_put_right
from ingest.rules import UNKNOWN, Context, Vehicle, check
from ingest.service_days import FIRST, LAST, LEFT_IN_USE, known_from, left_outside
from ingest.sheet_edits import EDITED, said_before
from ingest.writing import (
    DAY_COLUMNS,
    ROW_NUMBERS,
    Admitted,
    Change,
    Place,
    find,
    next_number,
    note_write,
    put,
    stamp,
    write_change,
)


def load_context(db: Database, now: datetime) -> Context:
    """Return what the rules need from the database: vehicles and climate."""
    vehicles = {
        row["unit"]: Vehicle(int(row["system_v"]), row["depot"], row[FIRST] or "", row[LAST] or "")
        for row in db.query(f"SELECT unit, system_v, depot, {FIRST}, {LAST} FROM units")
    }
    climate = {
        (row["depot"], int(row["month"])): (row["low_c"], float("nan") if row["low_sd_c"] is None else row["low_sd_c"])
        for row in db.query("SELECT * FROM climate")
    }
    return Context(vehicles, climate, now)


def admit(db: Database, batch: Batch, place: Place) -> Admitted:
    """Check the batch and write it, wrong rows to the set-aside rows; call inside a transaction."""
    context = load_context(db, place.now)
    check(batch, context)
    result = admit_good(db, batch, context, place)
    fresh, still, known = put_aside(db, batch, sorted(batch.problems), place)
    _mark_admitted(db, batch, result.stored_rows, place)
    close_put_right(db, batch, result.stored_rows, place)
    return replace(result, rows=len(batch), known=result.known + known, set_aside=fresh + still, still_aside=still)


def admit_good(db: Database, batch: Batch, context: Context, place: Place, *, said_anew: bool = False) -> Admitted:
    """Write the rows of a checked batch that have no problem; rows that clash with stored ones get one.

    said_anew: a person says it now, so that it counts though a row said the same before and was withdrawn.
    """
    former = former_rows(db, batch)
    answered = frozenset() if said_anew else _answered(db, batch) | frozenset(former) | _set_on_screen(db, batch)
    batch.notes += _ways_back(former.values())
    is_reading = batch.table.name == "readings"
    result = (
        admit_readings(db, batch, context, place, answered) if is_reading else _admit_small(db, batch, place, answered)
    )
    if result.stored:
        days = batch.times.get(DAY_COLUMNS.get(batch.table.name, ""))
        note_write(db, batch.table.name, result.known_from if days is None else [days[list(result.stored_rows)].min()])
    return result


def _ways_back(former: Iterable[Former]) -> list[str]:
    """How rows that are known, but withdrawn, are put back."""
    return [
        f"rows of it were withdrawn: 'cranktrend undo {change}' puts back what was withdrawn then"
        for change in sorted({one.withdrawn for one in former if one.withdrawn})
    ]


# --- set aside -------------------------------------------------------------------------------------------------------


def fingerprint(batch: Batch, row: int) -> str:
    """Return what recognises a set-aside row when it comes again: its table and its text, and the title above it."""
    text = "\x1f".join([batch.table.name, batch.original(row).strip(), *filter(None, [batch.title])])
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def put_aside(db: Database, batch: Batch, rows: Iterable[int], place: Place) -> tuple[int, int, int]:
    """Set whole rows aside with reason and original text.

    Return how many this import set aside, how many wait since an earlier one, and how many a person has answered.
    """
    fresh = still = known = 0
    for row in rows:
        cells = batch.cells(row)
        if batch.extra and batch.extra[row]:
            cells["extra"] = json.loads(batch.extra[row])
        known_by = fingerprint(batch, row)
        reason = "; ".join(dict.fromkeys(batch.problems[row]))
        before = find(db, "set_aside", fingerprint=known_by)
        state, origin_id = (before["state"], before["origin_id"]) if before else ("open", place.origin_id)
        if not before:
            aside = {
                "table_name": batch.table.name, "file": place.file, "sheet": place.sheet, "line": int(batch.lines[row]),
                "reason": reason, "original": batch.original(row),
                "cells": json.dumps(cells, ensure_ascii=False), "fingerprint": known_by, "unit": str(cells.get("unit", "")),
                "source": place.source, "origin_id": place.origin_id,
            }  # fmt: skip
            put(db, "set_aside", aside)
        elif UNKNOWN in before["reason"] and UNKNOWN not in reason:
            db.table("set_aside").update(before["id"], {"reason": reason})
        fresh += state == "open" and origin_id == place.origin_id
        still += state == "open" and origin_id != place.origin_id
        known += state != "open"
    return fresh, still, known


def _answered(db: Database, batch: Batch) -> frozenset[int]:
    """Return good rows that a person has already corrected or dismissed: they are known, whatever changed since."""
    sql = "SELECT unit, fingerprint FROM set_aside WHERE table_name = ? AND state IN ('corrected', 'dismissed')"
    rows = list(db.query(sql, [batch.table.name]))
    return frozenset(_rows_with(batch, *({row[n] for row in rows} for n in ("unit", "fingerprint"))) if rows else ())


def _set_on_screen(db: Database, batch: Batch) -> frozenset[int]:
    """Return good rows that say what was there before somebody set it or put it right: they are known, and change nothing."""
    sheet = EDITED.get(batch.table.name)
    before = said_before(db, sheet.name) if sheet else {}
    if not sheet or not before:
        return frozenset()
    found = set()
    for row in np.flatnonzero(batch.good()).tolist():
        told = batch.stored(row, batch.filled)
        said = {name: told[name] for name in sheet.values if told.get(name) not in (None, "")}
        states = before.get(tuple(str(told.get(name) or "") for name in sheet.key), ())
        if any(said.items() <= state.items() for state in states):
            found.add(row)
    return frozenset(found)


def _rows_with(batch: Batch, units: set[str], fingerprints: set[str]) -> list[int]:
    unit = batch.texts.get("unit")
    return [
        int(row)
        for row in np.flatnonzero(batch.good())
        if (unit is None or unit[row] in units) and fingerprint(batch, int(row)) in fingerprints
    ]


def _mark_admitted(db: Database, batch: Batch, stored: Sequence[int], place: Place) -> None:
    """Close open set-aside entries whose very row was stored now, because a vehicle or a description came later."""
    sql = "SELECT id, unit, fingerprint FROM set_aside WHERE table_name = ? AND state = 'open'"
    rows = list(db.query(sql, [batch.table.name]))
    if not rows or not stored:
        return
    entries = {row["fingerprint"]: row["id"] for row in rows}
    units = {row["unit"] for row in rows}
    texts = batch.texts.get("unit")
    for row in stored:
        if texts is not None and texts[row] not in units:
            continue
        number = entries.get(fingerprint(batch, row))
        if number is not None:
            told = {"resolved_at": stamp(place.now), "resolution": "believed when its file came again"}
            db.table("set_aside").update(number, {"state": "admitted", "resolved_by": "import", **told})


# --- tables of some thousand rows ------------------------------------------------------------------------------------


def _admit_small(db: Database, batch: Batch, place: Place, answered: frozenset[int]) -> Admitted:
    names = batch.filled
    existing = _existing(db, batch, names)
    stored = known = replaced = 0
    stored_rows: list[int] = []
    noted: list[list[str]] = []
    for row in np.flatnonzero(batch.good()).tolist():
        values = batch.stored(row, names)
        values |= {name: "" for name in batch.table.key if values.get(name) is None}  # the key may be left open
        key = tuple(values[name] for name in batch.table.key)
        old = existing.get(key)
        if row in answered:
            known += 1
        elif old is None:
            _insert(db, batch, row, values, place)
            existing[key] = (values, int(batch.lines[row]))
            stored_rows.append(row)
            noted.append([])
            stored += 1
        else:
            changed = [name for name in names if values[name] not in (None, "") and values[name] != old[0].get(name)]
            if not changed:
                known += 1
            elif (
                batch.table.replaces
                or (  # a newer file may say of a vehicle what was not known: no value is given up for it
                    batch.table.name == "units" and all(old[0].get(name) in (None, "") for name in changed)
                )
            ):
                if wrong := _outside_service(db, batch, changed, values):
                    batch.problems.setdefault(row, []).append(wrong)
                    continue
                _replace(db, batch, row, values, old[0], changed, place)
                existing[key] = ({**old[0], **{n: values[n] for n in changed}}, int(batch.lines[row]))
                stored_rows.append(row)
                noted.append(known_from({name: (old[0].get(name), values[name]) for name in changed}))
                stored += 1
                replaced += 1
            else:
                wrong = _other_values(db, batch, changed, values, old[0])
                batch.problems.setdefault(row, []).append(wrong)
    days = tuple(day for own in noted for day in own) if all(noted) else ()
    return Admitted(stored=stored, known=known, replaced=replaced, stored_rows=tuple(stored_rows), known_from=days)


def _outside_service(db: Database, batch: Batch, changed: Sequence[str], values: dict[str, object]) -> str:
    """Why a file cannot say of a vehicle when it came or left: the two days, or what is on record outside them; "" where it can."""
    if batch.table.name != "units" or not {FIRST, LAST} & set(changed):
        return ""
    unit = str(values["unit"])
    old = find(db, "units", unit=unit) or {}
    new = {**old, **{name: values[name] for name in changed}}
    if new[FIRST] and new[LAST] and str(new[LAST]) < str(new[FIRST]):
        return f"{LAST} {new[LAST]} is before {FIRST} {new[FIRST]}; allowed is that day or a later one"
    return left_outside(db, unit, old, new)


def _other_values(
    db: Database, batch: Batch, changed: Sequence[str], values: dict[str, object], old: dict[str, object]
) -> str:
    key = ", ".join(str(values[name]) for name in batch.table.key if values[name] != "")
    differs = ", ".join(f"{name} {values[name]}, stored is {old.get(name) or 'nothing'}" for name in changed)
    allowed = "allowed are the same values"
    if batch.table.name == "units":
        allowed += ", or to put the vehicle right (cranktrend correct vehicle)"
        left = (find(db, "units", unit=key) or {}).get(LAST)
        allowed += f"; its last day in service is {left}: {LEFT_IN_USE.format(unit=key)}" if left else ""
    return f"{batch.table.name} has {key} already with other values ({differs}); {allowed}"


def _existing(
    db: Database, batch: Batch, names: Sequence[str]
) -> dict[tuple[object, ...], tuple[dict[str, object], int]]:
    columns = list(dict.fromkeys([*batch.table.key, *names]))
    rows = db.execute(f"SELECT {', '.join(columns)}, line FROM {batch.table.name}").fetchall()
    out: dict[tuple[object, ...], tuple[dict[str, object], int]] = {}
    for row in rows:
        values = dict(zip(columns, row[:-1], strict=True))
        out[tuple(values[name] for name in batch.table.key)] = (values, int(row[-1] or 0))
    return out


def _insert(db: Database, batch: Batch, row: int, values: dict[str, object], place: Place) -> None:
    extra = batch.extra[row] if batch.extra else ""
    cells = {**values, "extra": extra, "origin_id": place.origin_id, "line": int(batch.lines[row])}
    if batch.table.name in ROW_NUMBERS:
        cells[ROW_NUMBERS[batch.table.name]] = next_number(db, batch.table.name)
    put(db, batch.table.name, cells)


def _replace(
    db: Database,
    batch: Batch,
    row: int,
    values: dict[str, object],
    old: dict[str, object],
    changed: Sequence[str],
    place: Place,
) -> None:
    key = "/".join(str(values[name]) for name in batch.table.key if values[name] != "")
    for name in changed:
        change = Change(batch.table.name, key, name, old.get(name), values[name])
        why = "a newer file gives another value"
        write_change(db, change, by=place.file, at=place.now, reason=why, origin_id=place.origin_id)
    sets = ", ".join(f"{name} = ?" for name in [*changed, "origin_id", "line"])
    where = " AND ".join(f"{name} = ?" for name in batch.table.key)
    parameters = [values[name] for name in changed] + [place.origin_id, int(batch.lines[row])]
    db.execute(
        f"UPDATE {batch.table.name} SET {sets} WHERE {where}", parameters + [values[name] for name in batch.table.key]
    )
