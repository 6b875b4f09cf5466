"""Readings into the database, many at once: duplicates, other values at the same time, doubt marks."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from sqlite_utils import Database

from ingest.bulk import read_bulk
from ingest.cells import Batch
from ingest.choices import FILES
from ingest.doubt import History, doubts
from ingest.fields import MEASUREMENTS, OBSERVATIONS, SAMPLED
from ingest.rules import Context
from ingest.writing import Admitted, Place, next_number

TEXTS = (*OBSERVATIONS, "technician", "instrument", "note", "lowest_is")
ROWS_AT_ONCE = 50_000  # rows turned into Python objects at a time; our choice, to bound memory
LARGE_SHARE = 0.5  # of the fleet in one file: read all that is stored, not unit by unit; our choice


@dataclass(frozen=True)
class _Stored:
    ids: npt.NDArray[np.int64]
    unit: npt.NDArray[np.object_]
    taken_at: npt.NDArray[np.datetime64]
    numbers: dict[str, npt.NDArray[np.float64]]
    texts: dict[str, npt.NDArray[np.object_]]
    doubtful: npt.NDArray[np.object_]
    doubt_reason: npt.NDArray[np.object_]
    confirmed: npt.NDArray[np.object_]


@dataclass(frozen=True)
class _Merged:
    """Stored and new readings together, sorted by unit and time, stored ones first where both are equal.

    `source` is the row's number: below `offset` among the stored ones, from there on among `rows` of the batch; `head`
    is the place of the first row of the same vehicle and time.
    """

    stored: _Stored
    batch: Batch
    rows: npt.NDArray[np.int64]
    unit: npt.NDArray[np.int64]
    units: list[str]
    taken_at: npt.NDArray[np.datetime64]
    source: npt.NDArray[np.int64]
    head: npt.NDArray[np.int64]

    @property
    def offset(self) -> int:
        return len(self.stored.ids)

    def row(self, source: Any) -> Any:
        """Row of the batch for the number (or numbers) of a new reading."""
        return self.rows[source - self.offset]

    def number(self, name: str, source: npt.NDArray[np.int64]) -> npt.NDArray[np.float64]:
        """A measurement of the readings with these numbers; NaN where there is none."""
        return self._gathered(self.stored.numbers[name], self.batch.numbers.get(name), source, np.nan)

    def text(self, name: str, source: npt.NDArray[np.int64]) -> npt.NDArray[np.object_]:
        """A text of the readings with these numbers; '' where there is none."""
        return self._gathered(self.stored.texts[name], self.batch.texts.get(name), source, "")

    def _gathered(
        self, stored: npt.NDArray[Any], new: npt.NDArray[Any] | None, source: npt.NDArray[np.int64], empty: object
    ) -> npt.NDArray[Any]:
        old = source < self.offset
        out = np.full(len(source), empty, dtype=stored.dtype)
        out[old] = stored[source[old]]
        if new is not None:
            out[~old] = new[self.row(source[~old])]
        return out


@dataclass(frozen=True)
class Judged:
    """What would happen to the good rows of a batch: those to store with their doubt marks, and marks that change."""

    new_rows: npt.NDArray[np.int64]
    names: npt.NDArray[np.object_]
    reasons: npt.NDArray[np.object_]
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
        return Judged(rows, nothing, nothing, known, [])
    stored = _load(db, sorted(set(batch.texts["unit"][rows].tolist())))
    merged = _merge(stored, batch, rows)
    is_head = merged.head == np.arange(len(merged.head))
    known += _settle_repeats(merged, np.flatnonzero(~is_head))
    kept = np.flatnonzero(is_head)
    names, reasons = doubts(_history(merged, kept, context))
    source = merged.source[kept]
    fresh = source >= merged.offset
    changed = _changed_marks(source[~fresh], names[~fresh], reasons[~fresh], stored)
    return Judged(merged.row(source[fresh]), names[fresh], reasons[fresh], known, changed)


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
    known = db.table("units").count
    empty = not any(db.query("SELECT 1 FROM readings LIMIT 1"))
    whole = len(units) > LARGE_SHARE * known
    bulk = read_bulk(
        db,
        numbers=MEASUREMENTS,
        texts=(*TEXTS, "doubtful", "doubt_reason", "confirmed"),
        units=[] if empty else None if whole else units,
    )
    texts = {name: bulk.texts[name] for name in TEXTS}
    marks = (bulk.texts[name] for name in ("doubtful", "doubt_reason", "confirmed"))
    return _Stored(bulk.reading_id, bulk.unit, bulk.taken_at, bulk.numbers, texts, *marks)


def _merge(stored: _Stored, batch: Batch, rows: npt.NDArray[np.int64]) -> _Merged:
    codes, units = pd.factorize(np.concatenate([stored.unit, batch.texts["unit"][rows]]), sort=True)
    taken = np.concatenate([stored.taken_at, batch.times["taken_at"][rows]])
    number = np.arange(len(codes))
    order = np.lexsort((number, taken.astype(np.int64), codes))
    unit, taken = codes[order].astype(np.int64), taken[order]
    same = np.zeros(len(order), dtype=bool)
    same[1:] = (unit[1:] == unit[:-1]) & (taken[1:] == taken[:-1])
    head = np.maximum.accumulate(np.where(same, 0, np.arange(len(order))))
    return _Merged(stored, batch, rows, unit, list(units), taken, order.astype(np.int64), head)


# --- the same vehicle and time again ---------------------------------------------------------------------------------


def _settle_repeats(merged: _Merged, repeats: npt.NDArray[np.int64]) -> int:
    """Count repeats of known readings as known; give those with other values a problem."""
    news, heads = merged.source[repeats], merged.source[merged.head[repeats]]
    differs = _differing(merged, heads, news)
    wrong = np.any([np.zeros(len(repeats), dtype=bool), *differs.values()], axis=0)
    for index in np.flatnonzero(wrong).tolist():
        changed = [name for name, flags in differs.items() if flags[index]]
        _refuse_conflict(merged, int(heads[index]), int(news[index]), changed)
    return int(np.count_nonzero(~wrong))


def _differing(
    merged: _Merged, heads: npt.NDArray[np.int64], news: npt.NDArray[np.int64]
) -> dict[str, npt.NDArray[np.bool_]]:
    """Return by column where the new row differs from the first of its unit and time; an empty value does not."""
    out = {}
    for name in merged.batch.numbers:
        head, new = merged.number(name, heads), merged.number(name, news)
        out[name] = ~np.isnan(new) & ~(np.abs(new - head) <= FILES.same)
    for name in TEXTS:
        if name in merged.batch.texts:
            text = merged.text(name, news)
            out[name] = np.asarray((text != "") & (text != merged.text(name, heads)), dtype=bool)
    return out


def _refuse_conflict(merged: _Merged, head: int, new: int, changed: Sequence[str]) -> None:
    batch, row = merged.batch, merged.row(new)

    def value(name: str, source: int) -> str:
        if name not in batch.numbers:
            return repr(merged.text(name, np.array([source]))[0])
        number = merged.number(name, np.array([source]))[0]
        return "nothing" if np.isnan(number) else f"{number:g}"

    source = f"line {batch.lines[merged.row(head)]}" if head >= merged.offset else "a stored reading"
    differs = ", ".join(f"{name} {value(name, new)} instead of {value(name, head)}" for name in changed)
    when = str(batch.times["taken_at"][row]).replace("T", " ")[:16]
    sentence = (
        f"same vehicle and time as {source} ({batch.texts['unit'][row]}, {when}) with other values: {differs}; "
        "allowed are the same values, or another time"
    )
    batch.add_problems([row], lambda _: sentence)


# --- doubt and writing -----------------------------------------------------------------------------------------------


def _history(merged: _Merged, kept: npt.NDArray[np.int64], context: Context) -> History:
    source, batch = merged.source[kept], merged.batch
    old = source < merged.offset
    numbers = {name: merged.number(name, source) for name in MEASUREMENTS if name in batch.numbers or old.any()}
    _leave_out_bounds(numbers, merged.text("lowest_is", source))
    unit = merged.unit[kept]
    system_v = np.array([context.vehicles[u].system_v for u in merged.units], dtype=np.float64)[unit]
    twice = np.full(len(kept), "", dtype=object)
    twice[old] = merged.stored.confirmed[source[old]]
    twice[~old] = _confirmed(batch, merged.row(source[~old]).tolist())
    return History(unit, merged.taken_at[kept], numbers, system_v, twice, merged.text("outcome", source))


def _leave_out_bounds(numbers: dict[str, npt.NDArray[np.float64]], lowest_is: npt.NDArray[np.object_]) -> None:
    """An upper bound may lie anywhere above the truth: no rule of plausible change holds for it."""
    if "crank_min_v" in numbers and (lowest_is == SAMPLED).any():
        numbers["crank_min_v"] = np.where(lowest_is == SAMPLED, np.nan, numbers["crank_min_v"])


def _changed_marks(
    source: npt.NDArray[np.int64], names: npt.NDArray[np.object_], reasons: npt.NDArray[np.object_], stored: _Stored
) -> list[tuple[str, str, int]]:
    changed = (names != stored.doubtful[source]) | (reasons != stored.doubt_reason[source])
    ids = stored.ids[source[changed]].tolist()
    return list(zip(names[changed].tolist(), reasons[changed].tolist(), ids, strict=True))


def _write_marks(db: Database, marks: Sequence[tuple[str, str, int]]) -> None:
    db.conn.executemany("UPDATE readings SET doubtful = ?, doubt_reason = ? WHERE reading_id = ?", marks)


def _write(db: Database, batch: Batch, judged: Judged, place: Place) -> None:
    rows, names, reasons = judged.new_rows, judged.names, judged.reasons
    present = [name for name in MEASUREMENTS if name in batch.numbers]
    texts = [name for name in TEXTS if name in batch.texts]
    marks = ("remark", "extra", "confirmed", "doubtful", "doubt_reason", "origin_id", "line")
    first = next_number(db, "readings")
    columns = ["reading_id", "unit", "taken_at", *present, *texts, *marks]
    sql = f"INSERT INTO readings ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})"

    for start in range(0, len(rows), ROWS_AT_ONCE):
        part = slice(start, start + ROWS_AT_ONCE)
        at = rows[part]
        numbers = at.tolist()
        nothing = [""] * len(numbers)
        cells = zip(
            range(first + start, first + start + len(numbers)),
            batch.texts["unit"][at].tolist(),
            np.datetime_as_string(batch.times["taken_at"][at], unit="s").tolist(),
            *(batch.numbers[name][at].tolist() for name in present),
            *(batch.texts[name][at].tolist() for name in texts),
            ["; ".join(batch.remarks.get(row, ())) for row in numbers] if batch.remarks else nothing,
            [batch.extra[row] for row in numbers] if batch.extra else nothing,
            _confirmed(batch, numbers),
            names[part].tolist(),
            reasons[part].tolist(),
            [place.origin_id] * len(numbers),
            batch.lines[at].tolist(),
            strict=True,
        )
        db.conn.executemany(sql, cells)


def _confirmed(batch: Batch, rows: Sequence[int]) -> list[str]:
    """Per row the measurements that were taken twice, comma-joined; hardly any file knows of one."""
    if not batch.confirmed:
        return [""] * len(rows)
    return [",".join(sorted(batch.confirmed.get(row, ()))) for row in rows]
