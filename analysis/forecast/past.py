"""The past that looks rest on: on which days they are made, of which vehicles, and a key that tells one past from another.

A look rests on what was known at the start of its day, of a sample of the vehicles that were read by then.  The key says
all of that in a few letters: where it is the same, so is the look, whatever was read since.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np
import pandas as pd

from analysis.constants import DAYS_PER_YEAR
from analysis.forecast.choices import LEARNING
from analysis.forecast.lows import known_at
from analysis.readings.draws import Whole, keys_of, mixed
from analysis.readings.panel import LEFT, Bools, FleetTables, Floats, Ints, days_since_epoch, left_d

LAWS_LOOKS = 3  # looks that share class laws, those of the first of their days; for speed
RESTS_ON = {
    "units": "",
    "readings": "taken_at",
    "repairs": "done_on",
    "reset_answers": "at",
    "climate": "",
    "lows": "date",
}
"""Tables that a look rests on, and the columns that date them: what was known on its day, and lows until its window is over."""
UNITS_LOOKED_AT = 400  # a fixed sample is enough to learn class needs from; for speed


@dataclass(frozen=True)
class Rows:
    """Rows of a table, N of them: number (N,), which changes with anything in the row; unit (N,), the place of its vehicle
    among those of the past, and at (N,), its moment, None for a table without."""

    number: Whole
    unit: Ints | None
    at: pd.Series | None

    def known(self, vehicles: Bools, moment: pd.Timestamp) -> Bools:
        """(N,) rows of some vehicles (U,) before a moment."""
        some = np.ones(len(self.number), dtype=bool) if self.unit is None else vehicles[self.unit]
        return some if self.at is None else some & (self.at < moment).to_numpy()

    def told(self, vehicles: Bools, moment: pd.Timestamp) -> bytes:
        """Bytes that change with every row of some vehicles (U,) before a moment, and not with the order of rows."""
        rows = self.number[self.known(vehicles, moment)]
        return b"".join(int(part.sum(dtype=np.uint64)).to_bytes(8) for part in (rows, mixed(rows)))


@dataclass(frozen=True)
class Past:
    """Tables of the vehicles that the looks of some days see, and when each vehicle was first read.

    first_d, left_d: (U,) day of a vehicle's first reading, and its last day in service, inf where not known [d since 1970], by
    name; begins: first reading of the whole fleet; rows: of each table that a look rests on, and of the last days in service.
    """

    tables: FleetTables
    first_d: pd.Series[float]
    left_d: pd.Series[float]
    begins: float
    rows: tuple[Rows, ...]

    def before(self, day: float) -> FleetTables:
        """Tables of the vehicles that a look on a day is at, with what was known at its start."""
        vehicles, moment = np.zeros(len(self.first_d), dtype=bool), moment_of(day)
        vehicles[_sampled(self.first_d, self.left_d, day)] = True
        own = {
            name: getattr(self.tables, name)[rows.known(vehicles, moment)]
            for name, rows in zip(RESTS_ON, self.rows, strict=False)
            if rows.unit is not None
        }
        own["units"] = own["units"].reset_index(drop=True)
        return known_at(replace(self.tables, **own), moment)

    def laws_day(self, day: float) -> float | None:
        """Day of the class laws that a look uses: every LAWS_LOOKS looks, on a fixed calendar; None for its own, in the
        first year of readings."""
        last = laws_span(day) * LAWS_LOOKS * LEARNING.span_d
        return last if last >= self.begins + DAYS_PER_YEAR else None

    def key(self, day: float, grids: tuple[Floats, ...]) -> str:
        """What tells the look of a day from every other; grids: of needs, that its probabilities lie on."""
        taught = [one.plain() for one in self.tables.taught]
        made_of = hashlib.sha256(repr((day, self.laws_day(day), taught)).encode())
        vehicles, moment = np.zeros(len(self.first_d), dtype=bool), moment_of(day)
        vehicles[_sampled(self.first_d, self.left_d, day)] = True
        over = moment_of(day + LEARNING.span_d)
        for name, rows in zip((*RESTS_ON, LEFT), self.rows, strict=True):
            made_of.update(rows.told(vehicles, over if name == "lows" else moment))
        for grid in grids:
            made_of.update(np.ascontiguousarray(grid).tobytes())
        return made_of.hexdigest()


def past_of(tables: FleetTables, days: list[float]) -> Past:
    """The past of a fleet, for looks on `days`."""
    unit = tables.readings["unit"].astype(str)
    day = pd.Series(days_since_epoch(tables.readings["taken_at"]), index=unit.index)
    first = day.groupby(unit.to_numpy(dtype=object)).min()
    left = pd.Series(left_d(tables.units), index=tables.units["unit"].astype(str).to_numpy(dtype=object)).reindex(
        first.index
    )
    seen = sorted(set().union(*(sample(first, left, d) for d in days)))
    own = _of(tables, seen)
    names = pd.Index(seen)
    rows = tuple(_rows(_undated(getattr(own, name)), names, at) for name, at in RESTS_ON.items())
    rows = (*rows, _rows(_leaving(own.units), names, LEFT))
    return Past(own, first.loc[seen], left.loc[seen], float(first.min()) if len(first) else np.nan, rows)


def _undated(table: pd.DataFrame | None) -> pd.DataFrame | None:
    """A table without the last days in service, which are known from their own day on: :func:`_leaving`."""
    return table.drop(columns=LEFT) if table is not None and LEFT in table else table


def _leaving(units: pd.DataFrame) -> pd.DataFrame:
    """Vehicles with their last day in service, dated by the day before: who looks at its start knows of it."""
    if LEFT not in units:
        return units.iloc[:0]
    left: pd.DataFrame = units.loc[units[LEFT].notna(), ["unit", LEFT]]
    return left.assign(**{LEFT: left[LEFT] - pd.Timedelta(days=1)})


def sample(first_d: pd.Series[float], left_d: pd.Series[float], day: float) -> list[str]:
    """At most UNITS_LOOKED_AT of the vehicles that were read before a day, always the same ones: those whose names give the
    smallest numbers, so that a vehicle that comes later changes nothing; those that left service by then come last."""
    return [str(name) for name in first_d.index[_sampled(first_d, left_d, day)]]


def _sampled(first_d: pd.Series[float], left_d: pd.Series[float], day: float) -> Ints:
    read = np.flatnonzero(first_d.to_numpy() < day)
    if len(read) > UNITS_LOOKED_AT:
        keys, gone = keys_of(first_d.index.to_numpy(dtype=object)[read]), left_d.to_numpy()[read] <= day
        read = read[np.lexsort((keys, gone))[:UNITS_LOOKED_AT]]
    return np.asarray(read, dtype=np.int64)


def _of(tables: FleetTables, names: list[str]) -> FleetTables:
    """The tables of some vehicles that a look rests on."""
    own = {
        name: table[table["unit"].isin(names)]
        for name in RESTS_ON
        if (table := getattr(tables, name)) is not None and "unit" in table
    }
    own["units"] = own["units"].reset_index(drop=True)
    return replace(tables, **own, findings=None)


def _rows(table: pd.DataFrame | None, names: pd.Index[str], at: str) -> Rows:
    """The rows of a table of the vehicles `names` (U,), dated by a column of it, "" for one without dates."""
    if table is None or table.empty:
        return Rows(np.zeros(0, dtype=np.uint64), None, None)
    number = np.asarray(pd.util.hash_pandas_object(table, index=False), dtype=np.uint64)
    unit = names.get_indexer(pd.Index(table["unit"])).astype(np.int64) if "unit" in table else None
    return Rows(number, unit, table[at] if at else None)


def moment_of(day: float) -> pd.Timestamp:
    """The start of a day [d since 1970]."""
    return pd.Timestamp("1970-01-01") + pd.Timedelta(days=day)


def laws_span(day: float) -> int:
    """Number, on a fixed calendar, of the span of days whose looks share class laws."""
    return int(day // (LAWS_LOOKS * LEARNING.span_d))


def sharing_laws(days: list[float]) -> list[list[float]]:
    """Days of looks, in order, those together that share class laws."""
    return [list(own) for _, own in groupby(days, laws_span)]


def look_days(tables: FleetTables, day: float) -> list[float]:
    """Days of the looks that a day can learn from: on a fixed calendar, windows over before `day`, after first data."""
    if tables.readings.empty:
        return []
    first = float(days_since_epoch(pd.DatetimeIndex([tables.readings["taken_at"].min()]))[0]) + LEARNING.first_look_d
    newest = np.floor((day - LEARNING.span_d) / LEARNING.span_d) * LEARNING.span_d
    days = newest - LEARNING.span_d * np.arange(LEARNING.looks)
    return [float(d) for d in days[::-1] if d >= first]
