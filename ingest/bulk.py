"""Read very many readings quickly: numbers straight into arrays, texts only where there are any."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Any

import numpy as np
import numpy.typing as npt
from sqlite_utils import Database

from ingest.sheets import Cells, objects

UNITS_PER_QUERY = 500  # below SQLite's oldest limit of 999 parameters
SPARSE = 0.2  # share of rows with text below which only those rows are fetched; our choice, by trying
FIRST_ROWS = 1000  # in which a column that is filled at all mostly is; our choice
_ORDER = "ORDER BY unit, taken_at"


@dataclass(frozen=True)
class Bulk:
    """Readings sorted by unit and time: distinct units, per row its unit's code, time, id, numbers and texts."""

    units: list[str]
    code: npt.NDArray[np.int64]
    taken_at: npt.NDArray[np.datetime64]
    reading_id: npt.NDArray[np.int64]
    numbers: dict[str, npt.NDArray[np.float64]]
    texts: dict[str, npt.NDArray[np.object_]]

    def __len__(self) -> int:
        return len(self.code)

    @property
    def unit(self) -> Cells:
        return objects(self.units)[self.code] if len(self) else objects([])


def read_bulk(
    db: Database,
    *,
    numbers: Sequence[str],
    texts: Sequence[str],
    before: str = "",
    units: Sequence[str] | None = None,
) -> Bulk:
    """Return readings taken before the ISO time `before`, of `units` or of all; columns are names of the table's own.

    A column of numbers that is empty throughout shares one read-only array of NaN.
    """
    conditions = ["taken_at < ?"] if before else []
    parameters: list[object] = [before] if before else []
    if units is None:
        return _read(db, numbers, texts, conditions, parameters)
    wanted = sorted(set(units))
    chunks = [wanted[start : start + UNITS_PER_QUERY] for start in range(0, len(wanted), UNITS_PER_QUERY)]
    parts = [
        _read(db, numbers, texts, [*conditions, f"unit IN ({', '.join('?' * len(c))})"], [*parameters, *c])
        for c in chunks
    ]
    return _joined(parts, numbers, texts)


def _read(
    db: Database, numbers: Sequence[str], texts: Sequence[str], conditions: list[str], parameters: list[object]
) -> Bulk:
    where = f" WHERE {' AND '.join(conditions)}" if conditions else ""
    groups = db.conn.execute(
        f"SELECT unit, count(*) FROM readings{where} GROUP BY unit ORDER BY unit", parameters
    ).fetchall()
    units = [unit for unit, _ in groups]
    counts = np.array([count for _, count in groups], dtype=np.int64)
    rows = int(counts.sum()) if len(counts) else 0
    filled = _filled(db, numbers, texts, where, parameters) if rows else {}
    present = [name for name in numbers if filled.get(name)]
    columns = ["reading_id", "strftime('%s', taken_at) + 0", *(f"coalesce({name}, 9e999)" for name in present)]
    cursor = db.conn.execute(f"SELECT {', '.join(columns)} FROM readings{where} {_ORDER}", parameters)
    cells = np.fromiter(chain.from_iterable(cursor), dtype=np.float64, count=rows * len(columns))
    table = cells.reshape(rows, len(columns))
    nothing = np.broadcast_to(np.array(np.nan), (rows,))
    arrays: dict[str, npt.NDArray[np.float64]] = dict.fromkeys(numbers, nothing)
    for index, name in enumerate(present, start=2):
        values = table[:, index].copy()
        values[np.isinf(values)] = np.nan
        arrays[name] = values
    ids, seconds = table[:, 0].astype(np.int64), table[:, 1].astype(np.int64)
    del cells, table  # as large as all that is kept of it
    return Bulk(
        units=units,
        code=np.repeat(np.arange(len(units), dtype=np.int64), counts),
        taken_at=seconds.astype("datetime64[s]"),
        reading_id=ids,
        numbers=arrays,
        texts={name: _texts(db, name, filled.get(name, 0), ids, where, parameters) for name in texts},
    )


def _filled(
    db: Database, numbers: Sequence[str], texts: Sequence[str], where: str, parameters: Sequence[object]
) -> dict[str, int]:
    """Return in how many rows each column of texts has something, and of numbers whether any has: mostly one of the first."""
    some = ", ".join(f"count({name})" for name in numbers)
    first = f"SELECT {', '.join(numbers)} FROM readings{where} LIMIT {FIRST_ROWS}"
    found = dict(zip(numbers, db.conn.execute(f"SELECT {some} FROM ({first})", parameters).fetchone(), strict=True))
    left = [name for name, count in found.items() if not count]
    counts = [*(f"count({name})" for name in left), *(f"count(nullif({name}, ''))" for name in texts)]
    rest = db.conn.execute(f"SELECT {', '.join(counts)} FROM readings{where}", parameters).fetchone()
    return found | dict(zip([*left, *texts], rest, strict=True))


def _texts(
    db: Database, name: str, filled: int, ids: npt.NDArray[np.int64], where: str, parameters: Sequence[object]
) -> npt.NDArray[np.object_]:
    out = np.full(len(ids), "", dtype=object)
    if not filled:
        return out
    if filled > SPARSE * len(ids):
        cursor = db.conn.execute(f"SELECT {name} FROM readings{where} {_ORDER}", parameters)
        once: dict[str | None, str | None] = {}  # few people write many rows
        every = chain.from_iterable(cursor)
        return np.fromiter((once.setdefault(text, text) for text in every), dtype=object, count=len(ids))
    also = f"{where} AND {name} <> ''" if where else f" WHERE {name} <> ''"
    order = np.argsort(ids)
    for reading_id, text in db.conn.execute(f"SELECT reading_id, {name} FROM readings{also}", parameters):
        out[order[np.searchsorted(ids, reading_id, sorter=order)]] = text
    return out


def _joined(parts: Sequence[Bulk], numbers: Sequence[str], texts: Sequence[str]) -> Bulk:
    if len(parts) == 1:
        return parts[0]
    starts = np.cumsum([0, *(len(part.units) for part in parts)])[: len(parts)].tolist()
    return Bulk(
        units=[unit for part in parts for unit in part.units],
        code=_together([part.code + start for part, start in zip(parts, starts, strict=True)], np.int64),
        taken_at=_together([part.taken_at for part in parts], "datetime64[s]"),
        reading_id=_together([part.reading_id for part in parts], np.int64),
        numbers={name: _together([part.numbers[name] for part in parts], np.float64) for name in numbers},
        texts={name: _together([part.texts[name] for part in parts], object) for name in texts},
    )


def _together(arrays: Sequence[npt.NDArray[Any]], dtype: npt.DTypeLike) -> npt.NDArray[Any]:
    return np.concatenate(arrays) if arrays else np.empty(0, dtype=dtype)
