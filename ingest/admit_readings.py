"""Readings into the database, many at once: duplicates, other values at the same time, doubt marks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from sqlite_utils import Database

from ingest.bulk import read_bulk
from ingest.cells import Batch
from ingest.doubt import History, doubts
from ingest.fields import MEASUREMENTS, OBSERVATIONS, SAMPLED
from ingest.former import SAME
from ingest.rules import Context
from ingest.writing import Admitted, Place, next_number

TEXTS = (*OBSERVATIONS, "technician", "instrument", "note", "lowest_is")
ROWS_AT_ONCE = 50_000  # rows turned into Python objects at a time; our choice, to bound memory
LARGE_SHARE = 0.5  # of the fleet in one file: read all that is stored, not unit by unit; our choice


@dataclass(frozen=True)
class _Stored:
    """Readings already in the database for some units."""

    ids: npt.NDArray[np.int64]
    unit: npt.NDArray[np.object_]
    taken_at: npt.NDArray[np.datetime64]
    numbers: dict[str, npt.NDArray[np.float64]]
    texts: dict[str, npt.NDArray[np.object_]]
    doubtful: npt.NDArray[np.object_]
    doubt_reason: npt.NDArray[np.object_]
    confirmed: npt.NDArray[np.object_]
    line: npt.NDArray[np.int64]


@dataclass(frozen=True)
class _Merged:
    """Stored and new readings together, sorted by unit and time, stored ones first where both are equal.

    `source` is the row's number: below `offset` among the stored ones, from there on a good row of the batch.
    """

    unit: npt.NDArray[np.int64]
    units: list[str]
    taken_at: npt.NDArray[np.datetime64]
    source: npt.NDArray[np.int64]
    offset: int
    head: npt.NDArray[np.int64]


@dataclass(frozen=True)
class Judged:
    """What would happen to the good rows of a batch: those to store with their doubt marks, and marks that change."""

    new_rows: npt.NDArray[np.int64]
    names: npt.NDArray[np.object_]
    reasons: npt.NDArray[np.object_]
    columns: list[str]
    known: int
    changed_marks: list[tuple[str, str, int]]


def judge_readings(db: Database, batch: Batch, context: Context, answered: frozenset[int] = frozenset()) -> Judged:
    """Decide about the good rows without writing; rows with other values at a known time get a problem."""
    rows = np.flatnonzero(batch.good())
    known = len(answered)
    if answered:
        rows = rows[~np.isin(rows, list(answered))]
    if not len(rows):
        nothing = np.empty(0, dtype=object)
        return Judged(rows, nothing, nothing, [], known, [])
    stored = _load(db, sorted(set(batch.texts["unit"][rows].tolist())))
    merged = _merge(stored, batch, rows)
    is_head = merged.head == np.arange(len(merged.head))
    known += _settle_repeats(merged, stored, batch, rows, is_head)
    kept = np.flatnonzero(is_head)
    history, columns = _history(merged, kept, stored, batch, rows, context)
    names, reasons = doubts(history)
    fresh = merged.source[kept] >= merged.offset
    changed = _changed_marks(merged.source[kept][~fresh], names[~fresh], reasons[~fresh], stored)
    new_rows = rows[merged.source[kept][fresh] - merged.offset]
    return Judged(new_rows, names[fresh], reasons[fresh], columns, known, changed)


def admit_readings(db: Database, batch: Batch, context: Context, place: Place, answered: frozenset[int]) -> Admitted:
    """Store the good rows of the batch that are new; note the others' problems in the batch."""
    judged = judge_readings(db, batch, context, answered)
    _write_marks(db, judged.changed_marks)
    _write(db, batch, judged, place)
    return Admitted(
        stored=len(judged.new_rows),
        known=judged.known,
        doubtful=int(np.count_nonzero(judged.names != "")),
        stored_rows=tuple(judged.new_rows.tolist()),
    )


def recompute_doubts(db: Database, units: Sequence[str], context: Context) -> None:
    """Judge all stored readings of `units` anew, after one of them was corrected."""
    stored = _load(db, sorted(set(units)))
    if not len(stored.ids):
        return
    order = np.lexsort((stored.taken_at.astype(np.int64), _codes(stored.unit)))
    unit = _codes(stored.unit)[order]
    system_v = np.array([context.vehicles[u].system_v for u in stored.unit[order].tolist()], dtype=np.float64)
    numbers = {n: v[order] for n, v in stored.numbers.items()}
    outcome = stored.texts["outcome"][order]
    _leave_out_bounds(numbers, stored.texts["lowest_is"][order])
    names, reasons = doubts(History(unit, stored.taken_at[order], numbers, system_v, stored.confirmed[order], outcome))
    _write_marks(db, _changed_marks(order, names, reasons, stored))


def _codes(units: npt.NDArray[np.object_]) -> npt.NDArray[np.int64]:
    return pd.factorize(units, sort=True)[0].astype(np.int64)


# --- what is there ---------------------------------------------------------------------------------------------------


def _load(db: Database, units: Sequence[str]) -> _Stored:
    """Return what is stored of `units`; of a large share of the fleet all at once, because that is faster."""
    known = int(db.execute("SELECT count(*) FROM units").fetchone()[0])
    empty = db.execute("SELECT 1 FROM readings LIMIT 1").fetchone() is None
    whole = len(units) > LARGE_SHARE * known
    bulk = read_bulk(
        db,
        numbers=(*MEASUREMENTS, "line"),
        texts=(*TEXTS, "doubtful", "doubt_reason", "confirmed"),
        units=[] if empty else None if whole else units,
    )
    numbers = dict(bulk.numbers)
    line = np.nan_to_num(numbers.pop("line")).astype(np.int64)
    texts = {name: bulk.texts[name] for name in TEXTS}
    unit = _objects(bulk.units)[bulk.code] if len(bulk) else np.empty(0, dtype=object)
    return _Stored(
        bulk.reading_id, unit, bulk.taken_at, numbers, texts, bulk.texts["doubtful"], bulk.texts["doubt_reason"],
        bulk.texts["confirmed"], line,
    )  # fmt: skip


def _objects(cells: Sequence[object]) -> npt.NDArray[np.object_]:
    out = np.empty(len(cells), dtype=object)
    out[:] = cells
    return out


def _merge(stored: _Stored, batch: Batch, rows: npt.NDArray[np.int64]) -> _Merged:
    codes, units = pd.factorize(np.concatenate([stored.unit, batch.texts["unit"][rows]]), sort=True)
    taken = np.concatenate([stored.taken_at, batch.times["taken_at"][rows]])
    number = np.arange(len(codes))
    order = np.lexsort((number, taken.astype(np.int64), codes))
    unit, taken = codes[order].astype(np.int64), taken[order]
    same = np.zeros(len(order), dtype=bool)
    same[1:] = (unit[1:] == unit[:-1]) & (taken[1:] == taken[:-1])
    head = np.maximum.accumulate(np.where(same, 0, np.arange(len(order))))
    return _Merged(unit, list(units), taken, order.astype(np.int64), len(stored.ids), head)


# --- the same unit and time again ------------------------------------------------------------------------------------


def _settle_repeats(
    merged: _Merged,
    stored: _Stored,
    batch: Batch,
    rows: npt.NDArray[np.int64],
    is_head: npt.NDArray[np.bool_],
) -> int:
    """Count repeats of known readings as known; give those with other values a problem."""
    known = 0
    repeats = np.flatnonzero(~is_head)
    if not len(repeats):
        return known
    news = rows[merged.source[repeats] - merged.offset]
    heads = merged.source[merged.head[repeats]]
    differs = _differing(stored, batch, rows, merged.offset, heads, news)
    for index, row in enumerate(news.tolist()):
        changed = [name for name, flags in differs.items() if flags[index]]
        head = int(heads[index])
        if not changed:
            known += 1
            continue
        source = f"line {batch.lines[rows[head - merged.offset]]}" if head >= merged.offset else "a stored reading"
        batch.add_problems([row], _conflict(stored, batch, rows, merged.offset, head, changed, source))
    return known


def _differing(
    stored: _Stored,
    batch: Batch,
    rows: npt.NDArray[np.int64],
    offset: int,
    heads: npt.NDArray[np.int64],
    news: npt.NDArray[np.int64],
) -> dict[str, npt.NDArray[np.bool_]]:
    """Return by column where the new row differs from the first of its unit and time; an empty value does not."""
    out = {}
    old = heads < offset
    for name, values in batch.numbers.items():
        head = np.full(len(heads), np.nan)
        head[old] = stored.numbers[name][heads[old]]
        head[~old] = values[rows[heads[~old] - offset]]
        new = values[news]
        out[name] = ~np.isnan(new) & ~(np.abs(new - head) <= SAME)
    for name in TEXTS:
        if name in batch.texts:
            texts = np.full(len(heads), "", dtype=object)
            texts[old] = stored.texts[name][heads[old]]
            texts[~old] = batch.texts[name][rows[heads[~old] - offset]]
            new_text = batch.texts[name][news]
            out[name] = np.asarray((new_text != "") & (new_text != texts), dtype=bool)
    return out


def _conflict(
    stored: _Stored,
    batch: Batch,
    rows: npt.NDArray[np.int64],
    offset: int,
    head: int,
    changed: Sequence[str],
    source: str,
) -> Any:
    def value(name: str, new: int | None) -> str:
        if name in batch.numbers:
            number = batch.numbers[name][new] if new is not None else stored.numbers[name][head]
            return "nothing" if np.isnan(number) else f"{number:g}"
        return repr(batch.texts[name][new] if new is not None else stored.texts[name][head])

    def sentence(row: int) -> str:
        other = int(rows[head - offset]) if head >= offset else None
        differs = ", ".join(f"{name} {value(name, row)} instead of {value(name, other)}" for name in changed)
        when = str(batch.times["taken_at"][row]).replace("T", " ")[:16]
        return (
            f"same unit and time as {source} ({batch.texts['unit'][row]}, {when}) with other values: {differs}; "
            "allowed are the same values, or another time"
        )

    return sentence


# --- doubt and writing -----------------------------------------------------------------------------------------------


def _history(
    merged: _Merged,
    kept: npt.NDArray[np.int64],
    stored: _Stored,
    batch: Batch,
    rows: npt.NDArray[np.int64],
    context: Context,
) -> tuple[History, list[str]]:
    source = merged.source[kept]
    old = source < merged.offset
    present = [name for name in MEASUREMENTS if name in batch.numbers]
    numbers = {}
    for name in MEASUREMENTS:
        if name not in present and not old.any():
            continue
        values = np.full(len(kept), np.nan)
        values[old] = stored.numbers[name][source[old]]
        if name in present:
            values[~old] = batch.numbers[name][rows[source[~old] - merged.offset]]
        numbers[name] = values
    lowest = np.full(len(kept), "", dtype=object)
    lowest[old] = stored.texts["lowest_is"][source[old]]
    if "lowest_is" in batch.texts:
        lowest[~old] = batch.texts["lowest_is"][rows[source[~old] - merged.offset]]
    _leave_out_bounds(numbers, lowest)
    unit, taken = merged.unit[kept], merged.taken_at[kept]
    system = np.array([context.vehicles[u].system_v for u in merged.units], dtype=np.float64)[unit]
    twice = np.full(len(kept), "", dtype=object)
    twice[old] = stored.confirmed[source[old]]
    twice[~old] = _confirmed(batch, rows[source[~old] - merged.offset].tolist())
    outcome = np.full(len(kept), "", dtype=object)
    outcome[old] = stored.texts["outcome"][source[old]]
    if "outcome" in batch.texts:
        outcome[~old] = batch.texts["outcome"][rows[source[~old] - merged.offset]]
    return History(unit, taken, numbers, system, twice, outcome), present


def _leave_out_bounds(numbers: dict[str, npt.NDArray[np.float64]], lowest_is: npt.NDArray[np.object_]) -> None:
    """An upper bound may lie anywhere above the truth: no rule of plausible change holds for it."""
    if "crank_min_v" in numbers and (lowest_is == SAMPLED).any():
        numbers["crank_min_v"] = np.where(lowest_is == SAMPLED, np.nan, numbers["crank_min_v"])


def _changed_marks(
    source: npt.NDArray[np.int64],
    names: npt.NDArray[np.object_],
    reasons: npt.NDArray[np.object_],
    stored: _Stored,
) -> list[tuple[str, str, int]]:
    changed = (names != stored.doubtful[source]) | (reasons != stored.doubt_reason[source])
    ids = stored.ids[source[changed]].tolist()
    return list(zip(names[changed].tolist(), reasons[changed].tolist(), ids, strict=True))


def _write_marks(db: Database, marks: Sequence[tuple[str, str, int]]) -> None:
    db.conn.executemany("UPDATE readings SET doubtful = ?, doubt_reason = ? WHERE reading_id = ?", marks)


def _write(db: Database, batch: Batch, judged: Judged, place: Place) -> None:
    rows, present, names, reasons = judged.new_rows, judged.columns, judged.names, judged.reasons
    texts = [name for name in TEXTS if name in batch.texts]
    marks = ("remark", "extra", "confirmed", "doubtful", "doubt_reason", "origin_id", "line")
    first = next_number(db, "readings")
    columns = ["reading_id", "unit", "taken_at", *present, *texts, *marks]
    sql = f"INSERT INTO readings ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})"

    def tuples() -> Iterator[tuple[object, ...]]:
        for start in range(0, len(rows), ROWS_AT_ONCE):
            part = slice(start, start + ROWS_AT_ONCE)
            at = rows[part]
            numbers = at.tolist()
            yield from zip(
                range(first + start, first + start + len(numbers)),
                batch.texts["unit"][at].tolist(),
                np.datetime_as_string(batch.times["taken_at"][at], unit="s").tolist(),
                *(batch.numbers[name][at].tolist() for name in present),
                *(batch.texts[name][at].tolist() for name in texts),
                _remarks(batch, numbers),
                _extras(batch, numbers),
                _confirmed(batch, numbers),
                names[part].tolist(),
                reasons[part].tolist(),
                [place.origin_id] * len(numbers),
                batch.lines[at].tolist(),
                strict=True,
            )

    rows_left = tuples()
    while chunk := list(islice(rows_left, ROWS_AT_ONCE)):
        db.conn.executemany(sql, chunk)


def _remarks(batch: Batch, rows: Sequence[int]) -> list[str]:
    if not batch.remarks:
        return [""] * len(rows)
    return ["; ".join(batch.remarks.get(row, ())) for row in rows]


def _extras(batch: Batch, rows: Sequence[int]) -> list[str]:
    if not batch.extra:
        return [""] * len(rows)
    return [batch.extra[row] for row in rows]


def _confirmed(batch: Batch, rows: Sequence[int]) -> list[str]:
    """Per row the measurements that were taken twice, comma-joined."""
    return [",".join(sorted(batch.confirmed.get(row, ()))) for row in rows]
