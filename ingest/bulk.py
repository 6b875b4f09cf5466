"""Read very many readings quickly: numbers straight into arrays, texts only where there are any, by two processes.

The other process imports this module and little else, so that it begins at once.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import numpy.typing as npt

from ingest.other_process import HasEnded, OtherProcess
from ingest.sheets import Cells, objects

if TYPE_CHECKING:
    from sqlite_utils import Database

UNITS_PER_QUERY = 500  # below SQLite's oldest limit of 999 parameters
SPARSE = 0.2  # share of rows with text below which only those rows are fetched; our choice, by trying
FIRST_ROWS = 1000  # in which a column that is filled at all mostly is; our choice
LEAST_FOR_TWO: Final = (
    200_000  # readings; with fewer another process takes longer to begin than it saves; our choice, by trying
)
JULIAN_1970: Final = 2_440_587.5  # `julianday` is quicker than seconds written out and read again
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
    halves: bool = False,
) -> Bulk:
    """Return readings taken before the ISO time `before`, of `units` or of all; columns are names of the table's own.

    A column of numbers that is empty throughout shares one read-only array of NaN. halves: very many may be read by two
    processes, which see what was committed only.
    """
    conditions = ["taken_at < ?"] if before else []
    parameters: list[object] = [before] if before else []
    if units is None:
        found = _by_two(db.conn, numbers, texts, conditions, parameters) if halves else None
        return found or _read(db.conn, numbers, texts, conditions, parameters)
    wanted = sorted(set(units))
    chunks = [wanted[start : start + UNITS_PER_QUERY] for start in range(0, len(wanted), UNITS_PER_QUERY)]
    parts = [
        _read(db.conn, numbers, texts, [*conditions, f"unit IN ({', '.join('?' * len(c))})"], [*parameters, *c])
        for c in chunks
    ]
    return _joined(parts, numbers, texts)


def _by_two(
    conn: sqlite3.Connection,
    numbers: Sequence[str],
    texts: Sequence[str],
    conditions: list[str],
    parameters: list[object],
) -> Bulk | None:
    """All readings; None where they are few, or no other process sees them as they are here."""
    highest = conn.execute("SELECT max(reading_id) FROM readings").fetchone()[0]
    (file,) = [str(file) for _, name, file in conn.execute("PRAGMA database_list") if name == "main"]
    if not file or (highest or 0) < LEAST_FOR_TWO:
        return None
    middle = "SELECT unit FROM units ORDER BY unit LIMIT 1 OFFSET (SELECT count(*) / 2 FROM units)"
    own, theirs = ((numbers, texts, [*conditions, f"unit {side} ({middle})"], parameters) for side in ("<", ">="))
    try:
        with OtherProcess() as other:
            other.ask(_newest_and_read, file, theirs)
            newest, first = _newest_write(conn), _read(conn, *own)
            newest_there, second = other.answer()
    except HasEnded:
        return None
    return _joined([first, second], numbers, texts) if newest_there == newest else None


def _newest_write(conn: sqlite3.Connection) -> object:
    return conn.execute("SELECT id, token FROM writes ORDER BY id DESC LIMIT 1").fetchone()


def _newest_and_read(file: str, asked: tuple[Any, ...]) -> tuple[object, Bulk]:
    """In the other process: the newest write, and some readings."""
    conn = sqlite3.connect(f"{Path(file).absolute().as_uri()}?mode=ro", uri=True)
    conn.execute("BEGIN")
    return _newest_write(conn), _read(conn, *asked)


def _read(
    conn: sqlite3.Connection,
    numbers: Sequence[str],
    texts: Sequence[str],
    conditions: list[str],
    parameters: list[object],
) -> Bulk:
    where = f" WHERE {' AND '.join(conditions)}" if conditions else ""
    groups = conn.execute(
        f"SELECT unit, count(*) FROM readings{where} GROUP BY unit ORDER BY unit", parameters
    ).fetchall()
    units = [unit for unit, _ in groups]
    counts = np.array([count for _, count in groups], dtype=np.int64)
    rows = int(counts.sum()) if len(counts) else 0
    filled = _filled(conn, numbers, texts, where, parameters) if rows else {}
    present = [name for name in numbers if filled.get(name)]
    columns = ["reading_id", "julianday(taken_at)", *(f"coalesce({name}, 9e999)" for name in present)]
    cursor = conn.execute(f"SELECT {', '.join(columns)} FROM readings{where} {_ORDER}", parameters)
    cells = np.fromiter(chain.from_iterable(cursor), dtype=np.float64, count=rows * len(columns))
    table = cells.reshape(rows, len(columns))
    nothing = np.broadcast_to(np.array(np.nan), (rows,))
    arrays: dict[str, npt.NDArray[np.float64]] = dict.fromkeys(numbers, nothing)
    for index, name in enumerate(present, start=2):
        values = table[:, index].copy()
        values[np.isinf(values)] = np.nan
        arrays[name] = values
    ids, seconds = table[:, 0].astype(np.int64), np.rint((table[:, 1] - JULIAN_1970) * 86_400.0).astype(np.int64)
    del cells, table  # as large as all that is kept of it
    return Bulk(
        units=units,
        code=np.repeat(np.arange(len(units), dtype=np.int64), counts),
        taken_at=seconds.astype("datetime64[s]"),
        reading_id=ids,
        numbers=arrays,
        texts={name: _texts(conn, name, filled.get(name, 0), ids, where, parameters) for name in texts},
    )


def _filled(
    conn: sqlite3.Connection, numbers: Sequence[str], texts: Sequence[str], where: str, parameters: Sequence[object]
) -> dict[str, int]:
    """Return in how many rows each column of texts has something, and of numbers whether any has: mostly one of the first."""
    some = ", ".join(f"count({name})" for name in numbers)
    first = f"SELECT {', '.join(numbers)} FROM readings{where} LIMIT {FIRST_ROWS}"
    found = dict(zip(numbers, conn.execute(f"SELECT {some} FROM ({first})", parameters).fetchone(), strict=True))
    left = [name for name, count in found.items() if not count]
    counts = [*(f"count({name})" for name in left), *(f"count(*) FILTER (WHERE {name} <> '')" for name in texts)]
    rest = conn.execute(f"SELECT {', '.join(counts)} FROM readings{where}", parameters).fetchone()
    return found | dict(zip([*left, *texts], rest, strict=True))


def _texts(
    conn: sqlite3.Connection,
    name: str,
    filled: int,
    ids: npt.NDArray[np.int64],
    where: str,
    parameters: Sequence[object],
) -> npt.NDArray[np.object_]:
    out = np.full(len(ids), "", dtype=object)
    if not filled:
        return out
    if filled > SPARSE * len(ids):
        cursor = conn.execute(f"SELECT {name} FROM readings{where} {_ORDER}", parameters)
        once: dict[str | None, str | None] = {}  # few people write many rows
        every = chain.from_iterable(cursor)
        return np.fromiter((once.setdefault(text, text) for text in every), dtype=object, count=len(ids))
    also = f"{where} AND {name} <> ''" if where else f" WHERE {name} <> ''"
    order = np.argsort(ids)
    for reading_id, text in conn.execute(f"SELECT reading_id, {name} FROM readings{also}", parameters):
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
