"""Readings as padded arrays: one row per vehicle, one column per reading, oldest first (data manipulation, ISO 13374).

Everything after this module works on whole fleets at once, so the last :data:`READINGS_KEPT` readings of every
vehicle are laid out side by side, right-aligned: the newest reading stands in the last column.  Where a logger read more
starts than that, one start stands for a week or a month of them (`analysis.readings.thinning`).
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any, Self, TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.arrays import Bools as Bools
from analysis.arrays import Floats as Floats
from analysis.arrays import Ints as Ints
from analysis.arrays import Reals as Reals
from analysis.arrays import Rows
from analysis.constants import MAD_TO_SD, WEEK_D
from analysis.readings.aid import engine_temperature
from analysis.readings.choices import NOISE, SLIPS
from analysis.readings.taught import TaughtClass
from analysis.readings.thinning import READINGS_KEPT, Starts, by_age, by_week, many, sag_at_reference

MEASURED = (
    "temperature_c",
    "rest_v",
    "crank_min_v",
    "crank_a",
    "peak_a",
    "drop_positive_v",
    "drop_ground_v",
    "drop_contacts_v",
    "drop_control_v",
    "coil_a",
    "crank_rpm",
    "crank_dip_v",
    "crank_at_most_v",
    "crank_s",
)
"""Columns of readings, and `crank_at_most_v`: what `crank_min_v` holds where it is an upper bound of the lowest volts."""
RAN_FREE = "spins"  # the outcome of a starter that ran without turning the engine
SAMPLED = "sampled"  # what a reading's `lowest_is` says of such a bound
LOGGED = ("temperature_c", "rest_v", "crank_min_v", "crank_rpm", "crank_dip_v", "crank_at_most_v", "crank_s")
"""What a logger reads of every start."""

LEFT = "out_of_service"
"""Column of the units: last day in service; a list of that day knows of it, and one of a day before does not."""

WORKERS = 2  # threads over chunks of vehicles: numpy lets go of the lock in its loops

Elsewhere: TypeAlias = Callable[..., Any]
"""Calls a function of a module with its arguments in another process, and gives what it returns."""


def here(function: Callable[..., Any], *arguments: Any) -> Any:
    """Calls a function with its arguments in this process, as :data:`Elsewhere` does in another."""
    return function(*arguments)


_at_work = threading.local()


def in_chunks(
    count: int, size: int, fill: Callable[[slice], None], other: Callable[[slice], None] | None = None
) -> None:
    """Call `fill` with slices of at most `size` that cover `count` rows, two at a time; each writes its own rows.

    Within one of the two, one after the other.  other: does what `fill` does, elsewhere: one of the two calls it instead.
    """
    slices = [slice(a, min(a + size, count)) for a in range(0, count, size)]
    if len(slices) < 2 or getattr(_at_work, "busy", False):
        for s in slices:
            (other or fill)(s)
        return
    left = iter(slices)

    def go(one: Callable[[slice], None]) -> None:
        try:
            while (s := next(left, None)) is not None:
                one(s)
        except BaseException:
            deque(left, maxlen=0)  # nobody goes on with what has failed
            raise

    with ThreadPoolExecutor(WORKERS, initializer=one_after_the_other) as pool:
        for done in [pool.submit(go, fill), *(pool.submit(go, other or fill) for _ in range(WORKERS - 1))]:
            done.result()


def one_after_the_other() -> None:
    """From here on the thread that calls this does all chunks itself."""
    _at_work.busy = True


@dataclass(frozen=True)
class FleetTables:
    """The tables that an assessment needs, as `ingest.store` reads them; all frames, columns as in DEVELOPERS.md.

    A vehicle that has left service stays among the vehicles: what was read of it teaches its class.
    """

    units: pd.DataFrame
    readings: pd.DataFrame
    repairs: pd.DataFrame
    climate: pd.DataFrame
    forecast: pd.DataFrame
    reset_answers: pd.DataFrame | None = None
    findings: pd.DataFrame | None = None
    """Looks that found nothing: unit, part, found_on."""
    lows: pd.DataFrame | None = None
    """Measured daily lows: depot, date, low_c."""
    taught: tuple[TaughtClass, ...] = ()
    """What another fleet taught of classes, which this one begins from."""
    classes: tuple[str, ...] = ()
    """Names of the classes where these are some vehicles of a larger fleet; none: those that `units` has."""

    def before(self, day: pd.Timestamp) -> FleetTables:
        """The same tables without anything dated `day` or later: knowledge at the start of that day."""
        dated = {
            "readings": "taken_at",
            "repairs": "done_on",
            "reset_answers": "at",
            "findings": "found_on",
            "lows": "date",
        }
        known = {}
        for name, column in dated.items():
            table = getattr(self, name)
            if table is not None and len(table) and not (before := (table[column] < day).to_numpy()).all():
                known[name] = table[before]  # of a large fleet's readings no copy where none is left out
        if LEFT in self.units and (later := self.units[LEFT] > day).any():
            known["units"] = self.units.assign(**{LEFT: self.units[LEFT].mask(later)})
        return replace(self, **known)


def in_service(units: pd.DataFrame, day: float | pd.Timestamp) -> Bools:
    """(U,) whether vehicles are in service still, for a list of a day [d since 1970]."""
    number = float(days_since_epoch(pd.DatetimeIndex([day]))[0]) if isinstance(day, pd.Timestamp) else day
    return np.asarray(left_d(units) > number)


def left_d(units: pd.DataFrame) -> Floats:
    """(U,) last day in service of vehicles [d since 1970], inf where not known."""
    if LEFT not in units:
        return np.full(len(units), np.inf)
    left = pd.to_datetime(units[LEFT])
    return np.where(left.notna(), days_since_epoch(left), np.inf)


@dataclass(frozen=True)
class Panel(Rows):
    """Readings of U vehicles, R columns, NaN where there is none.

    day: (U, R) days since 1970-01-01; row: (U, R) position in the readings frame, -1 for none;
    measured: name -> (U, R) value in the column's unit; technician: (U, R) code, -1 for unknown;
    group: (U,) class code; groups: names of the class codes; volts: (U,) nominal system voltage [V];
    stands_for, spread, mean_c: (U, R) starts that each reading stands for, how far their sags lie apart [SD of log V], and their
    mean temperature [degC];
    twice: name -> (U, R) values that were measured twice and count as right; names without any are absent;
    taught: of each class, what another fleet taught; starter: (U, R) which starter and engine each reading was taken with, a number
    that rises with every renewal on record.
    """

    units: pd.DataFrame
    day: Floats
    row: Ints
    measured: dict[str, Floats]
    technician: Ints
    group: Ints
    groups: tuple[str, ...]
    volts: Floats
    stands_for: Floats
    spread: Floats
    mean_c: Floats
    twice: dict[str, Bools]
    taught: tuple[TaughtClass | None, ...]
    starter: Ints

    @property
    def present(self) -> Bools:
        """(U, R) whether there is a reading at all."""
        return self.row >= 0

    def of(self, rows: slice | Ints | Bools) -> Self:
        """The panel of some of its vehicles."""
        measured = {name: values[rows] for name, values in self.measured.items()}
        twice = {name: values[rows] for name, values in self.twice.items()}
        units = self.units.iloc[rows].reset_index(drop=True)
        return replace(super().of(rows), units=units, measured=measured, twice=twice)


def days_since_epoch(moments: pd.Series | pd.DatetimeIndex) -> Floats:
    """Timestamps -> days since 1970-01-01 [d], fractional."""
    stamps = pd.DatetimeIndex(moments).as_unit("s").asi8
    return np.asarray(stamps, dtype=np.float64) / 86400.0


def dates_of(days: Floats) -> pd.DatetimeIndex:
    """Days since 1970 -> midnights; NaN -> NaT."""
    whole = np.floor(days)
    stamps = np.where(np.isfinite(whole), np.nan_to_num(whole), 0).astype("datetime64[D]").astype("datetime64[us]")
    return pd.DatetimeIndex(np.where(np.isfinite(whole), stamps, np.datetime64("NaT", "us")))


def class_groups(units: pd.DataFrame, classes: tuple[str, ...] = ()) -> tuple[Ints, tuple[str, ...]]:
    """Vehicle class and system voltage together make the group that vehicles are compared within; classes: of the larger
    fleet that these are some vehicles of."""
    label = np.array(
        list(map(group_name, *(units[name].to_numpy() for name in ("vehicle_class", "system_v")))), dtype=object
    )
    if classes:
        return pd.Index(classes).get_indexer(pd.Index(label)).astype(np.int64), classes
    codes, names = pd.factorize(label, sort=True)
    return codes.astype(np.int64), tuple(str(n) for n in names)


def group_name(vehicle_class: object, system_v: float) -> str:
    """The name of the group of a class's vehicles of one voltage [V]."""
    return f"{vehicle_class} {int(system_v)} V"


def make_panel(
    units: pd.DataFrame, readings: pd.DataFrame, taught: tuple[TaughtClass, ...] = (), classes: tuple[str, ...] = ()
) -> Panel:
    """Lay out readings [columns of DEVELOPERS.md] per vehicle; doubtful values become missing.

    classes: as in :func:`class_groups`.  Raises ValueError when `readings` names a unit that `units` lacks.
    """
    units = units.sort_values("unit", kind="stable").reset_index(drop=True)
    code = whose(units, readings)
    trusted = turning_the_engine(readings)
    starts = _starts(code, readings, trusted, units)
    shown = np.flatnonzero(starts.stands_for > 0.0)
    usual = by_age(starts.of(shown))
    of_usual = shown[usual.at]
    order = np.lexsort((starts.day[of_usual], code[of_usual]))
    stands_for, spread, mean_c = usual.stands_for[order], usual.spread[order], usual.mean_c[order]
    order = of_usual[order]
    code, day = code[order], starts.day[order]
    count = np.bincount(code, minlength=len(units))
    back = (np.cumsum(count) - 1)[code] - np.arange(len(code))
    width = max(1, min(READINGS_KEPT, int(count.max(initial=0))))
    keep = back < width
    at, shown = code[keep] * width + (width - 1 - back[keep]), order[keep]

    def laid_out(values: npt.NDArray[Any], nothing: float) -> npt.NDArray[Any]:
        out = np.full(len(units) * width, nothing, dtype=values.dtype)
        out[at] = values
        return out.reshape(len(units), width)

    row, whole_day = laid_out(shown, -1), laid_out(day[keep], np.nan)
    group, groups = class_groups(units, classes)
    counted, apart = laid_out(stands_for[keep], 1.0), laid_out(spread[keep], 0.0)
    middle_c = laid_out(mean_c[keep], np.nan)
    measured = {name: laid_out(column[shown], np.nan) for name, column in trusted.items()}
    technician = (
        pd.factorize(readings["technician"], sort=True)[0]
        if "technician" in readings
        else np.full(len(trusted["rest_v"]), -1)
    )
    who = laid_out(technician[shown].astype(np.int64), -1)
    volts = units["system_v"].to_numpy(np.float64)
    known = {one.name: one for one in taught}
    of_each = tuple(known.get(name) for name in groups)
    twice = _measured_twice(readings, row)
    none = np.zeros(row.shape, dtype=np.int64)
    return Panel(
        units, whole_day, row, measured, who, group, groups, volts, counted, apart, middle_c, twice, of_each, none
    )


def whose(units: pd.DataFrame, readings: pd.DataFrame) -> Ints:
    """(N,) row of `units` of each reading. Raises ValueError when `readings` names a unit that `units` lacks."""
    code = pd.Index(units["unit"].astype(str)).get_indexer(pd.Index(readings["unit"].astype(str))).astype(np.int64)
    if (code < 0).any():
        raise ValueError(f"readings: unit {readings['unit'].iloc[int(np.argmin(code))]!r} is not in units")
    return code


def among(units: pd.Series, names: Any) -> Bools:
    """(N,) whether vehicles are among those of these names, none of them twice: where names are many `isin`, which takes each
    apart, takes fifty times as long."""
    return np.asarray(pd.Index(names).get_indexer(pd.Index(units)) >= 0)


def _starts(code: Ints, readings: pd.DataFrame, trusted: dict[str, Floats], units: pd.DataFrame) -> Starts:
    """Readings of the vehicles `code` (rows of `units`) as starts that may be thinned: not those with more than volts, speed and
    temperature, nor confirmed ones."""
    thinned = "stands_for" in readings
    stands_for = readings["stands_for"].to_numpy(np.float64) if thinned else np.ones(len(readings))
    spread = readings["spread"].to_numpy(np.float64) if thinned else np.zeros(len(readings))
    own_c = np.where(np.isfinite(trusted["temperature_c"]), trusted["temperature_c"], NOISE.assumed_c)
    mean_c = readings["mean_c"].to_numpy(np.float64) if thinned else own_c
    day = days_since_epoch(readings["taken_at"]) if len(readings) else np.zeros(0)
    bound = np.isnan(trusted["crank_min_v"]) & np.isfinite(trusted["crank_at_most_v"])
    low = np.where(bound, trusted["crank_at_most_v"], trusted["crank_min_v"])
    sag = sag_at_reference(
        trusted["rest_v"] - np.where(np.isnan(low), trusted["crank_dip_v"], low),
        trusted["temperature_c"],
        engine_temperature(units, trusted["temperature_c"], code),
    )
    return Starts(code, day, sag, bound, more_than_logged(readings, trusted), stands_for, spread, mean_c)


def more_than_logged(readings: pd.DataFrame, trusted: dict[str, Floats]) -> Bools:
    """(N,) readings with more than volts, speed and temperature, and confirmed ones: no logger's."""
    more = np.any([np.isfinite(trusted[name]) for name in MEASURED if name not in LOGGED], axis=0)
    if "confirmed" in readings:
        more |= (readings["confirmed"].fillna("").astype(str) != "").to_numpy()
    return np.asarray(more, dtype=np.bool_)


def _telling_outcomes(readings: pd.DataFrame, starts: Starts) -> Ints:
    """Starts of which it is known how they went: all that failed or were slow, and of each week the coldest that went well."""
    outcome = readings["outcome"].fillna("").astype(str).to_numpy()
    well = np.flatnonzero(outcome == "started")
    week = np.floor(starts.day[well] / WEEK_D)
    cold = readings["temperature_c"].to_numpy(np.float64)[well]
    order = np.lexsort((cold, week, starts.code[well]))
    well, week = well[order], week[order]
    first = np.r_[True, (np.diff(week) != 0) | (np.diff(starts.code[well]) != 0)] if len(well) else well.astype(bool)
    return np.concatenate([np.flatnonzero(~np.isin(outcome, ("", "started"))), well[first]])


def lean(tables: FleetTables) -> FleetTables:
    """The tables with the starts of vehicles that a logger reads thinned to weeks: their readings get columns
    `stands_for`, `spread` and `mean_c`, the number nil for the weakest of a week and for starts that tell how they went, which stand
    beside the usual one.

    An assessment looks at them on many days; on any of them the panel is made of these.
    """
    readings = tables.readings
    if not many(pd.factorize(readings["unit"])[0].astype(np.int64)).any():
        return tables
    starts = _starts(whose(tables.units, readings), readings, turning_the_engine(readings), tables.units)
    usual, weakest = by_week(starts)
    count = np.full(len(readings), np.nan)
    count[weakest] = 0.0
    if "outcome" in readings:
        count[_telling_outcomes(readings, starts)] = 0.0
    count[usual.at] = usual.stands_for
    spread, mean_c = np.zeros(len(readings)), starts.mean_c.copy()
    spread[usual.at], mean_c[usual.at] = usual.spread, usual.mean_c
    some = np.isfinite(count)
    slim = readings[some].assign(stands_for=count[some], spread=spread[some], mean_c=mean_c[some])
    return replace(tables, readings=slim.reset_index(drop=True))


def _measured_twice(readings: pd.DataFrame, row: Ints) -> dict[str, Bools]:
    """Name -> (U, R) values that a technician took twice; `row`: (U, R) position of each reading, -1 for none."""
    if "confirmed" not in readings:
        return {}
    names = readings["confirmed"].fillna("").astype(str).to_numpy()
    out: dict[str, Bools] = {}
    for at in np.argwhere((row >= 0) & (names != "")[row]) if len(names) else ():
        for name in names[row[tuple(at)]].split(","):
            out.setdefault(name, np.zeros(row.shape, dtype=bool))[tuple(at)] = True
    return out


def without_slips(panel: Panel) -> Panel:
    """The panel without values that no wear explains, amps, volts or speed far from the class median; a value that was
    measured twice stays."""
    measured = dict(panel.measured)
    for name, factor in SLIPS.factors.items():
        value = measured[name]
        typical = group_median(value, panel.group, len(panel.groups))[panel.group][:, None]
        with np.errstate(invalid="ignore", divide="ignore"):
            slip = np.abs(np.log(value / typical)) > np.log(factor)
        if name in panel.twice:
            slip &= ~panel.twice[name]
        measured[name] = np.where(slip, np.nan, value)
    return replace(panel, measured=measured)


def at_their_mean(panel: Panel) -> Panel:
    """The panel with usual starts brought to the mean temperature of those that they stand for, along the published laws by which
    they were chosen ("Temperature" in NUMBERS.md); a single start stays."""
    m = panel.measured
    rest, low, own_c = m["rest_v"], m["crank_min_v"], m["temperature_c"]
    many = (panel.stands_for > 1.0) & np.isfinite(panel.mean_c) & np.isfinite(own_c)
    if not many.any():
        return panel
    mean_c = np.where(many, panel.mean_c, own_c)
    own_engine, mean_engine = (engine_temperature(panel.units, c) for c in (own_c, mean_c))
    sag = np.exp(
        sag_at_reference(rest - low, own_c, own_engine) - sag_at_reference(np.ones(low.shape), mean_c, mean_engine)
    )
    brought = {"temperature_c": mean_c, "crank_min_v": np.where(many & np.isfinite(sag), rest - sag, low)}
    return replace(panel, measured={**m, **brought})


def group_median(values: Floats, group: Ints, n_groups: int) -> Floats:
    """Median of all finite values of each group's vehicles, (G,); NaN where there are none."""
    out = np.full(n_groups, np.nan)
    for g in range(n_groups):
        mine = values[group == g]
        mine = mine[np.isfinite(mine)]
        if len(mine):
            out[g] = np.median(mine)
    return out


def own_median(values: Floats) -> Floats:
    """(U,) median of each vehicle's values (U, R); NaN where there are none."""
    ordered, rows = np.sort(values, axis=1), np.arange(len(values))  # what is none comes last
    last = np.maximum(np.isfinite(values).sum(axis=1) - 1, 0)
    return np.asarray(0.5 * (ordered[rows, last // 2] + ordered[rows, last - last // 2]))


def evenly_of_each_group(panel: Panel, readings: int) -> Ints:
    """Vehicles, in order, spread evenly over those of each group that were ever read (all of a group that never was): so
    many that they have about `readings` columns."""
    most = max(1, readings // panel.row.shape[1])
    read = panel.present.any(axis=1)
    groups = [panel.group == g for g in range(len(panel.groups))]
    rows = [spread_over(g & read if (g & read).any() else g, most) for g in groups]
    return np.sort(np.concatenate([np.zeros(0, dtype=np.int64), *rows]))


def evenly(count: int, most: int) -> Ints:
    """At most `most` of `count` places, evenly spread, first and last among them."""
    return np.unique(np.linspace(0, max(count - 1, 0), min(count, most)).astype(np.int64))


def spread_over(which: Bools, most: int) -> Ints:
    """At most `most` of the rows (U,) that are meant, evenly spread over them: no row counts for its name."""
    rows = np.flatnonzero(which)
    return np.asarray(rows[evenly(len(rows), most)], dtype=np.int64)


def nearest_known(values: Floats) -> Floats:
    """Fill gaps along each row with the latest earlier known value, else the earliest later one."""
    known = np.isfinite(values)
    width = values.shape[1]
    position = np.where(known, np.arange(width), -1)
    earlier = np.maximum.accumulate(position, axis=1)
    first = np.where(known.any(axis=1), known.argmax(axis=1), 0)[:, None]
    source = np.where(earlier >= 0, earlier, first) + width * np.arange(len(values))[:, None]
    return np.asarray(values.ravel().take(source), dtype=np.float64)


def nearest_of_same(values: Floats, life: Ints) -> Floats:
    """The same, of readings of one `life` (U, R) alone; NaN where that has no value."""
    filled = nearest_known(values)
    several = np.flatnonzero((life != life[:, :1]).any(axis=1))
    own, lives = values[several], life[several]
    for one in range(int(lives.max(initial=-1)) + 1):
        within = lives == one
        filled[several] = np.where(within, nearest_known(np.where(within, own, np.nan)), filled[several])
    return filled


def pooled_scatter(away: Floats, prior: float, worth: float) -> float:
    """Standard deviation by the median of what lies away (NaN: not known), beside a prior worth so many."""
    away = away[np.isfinite(away)]
    seen = MAD_TO_SD * float(np.median(np.abs(away))) if len(away) else 0.0
    return (len(away) * seen + worth * prior) / (len(away) + worth)


def row_quantile(values: Floats, q: float) -> Floats:
    """Quantile of the finite values along the last axis (lower neighbour); NaN where there are none."""
    ordered = np.sort(values, axis=-1)
    known = np.isfinite(values).sum(axis=-1)
    at = np.floor(q * np.maximum(known - 1, 0)).astype(np.int64)
    return np.take_along_axis(ordered, at[..., None], axis=-1)[..., 0]


def turning_the_engine(readings: pd.DataFrame) -> dict[str, Floats]:
    """:func:`trusted_values` without those of a starter that ran without the engine, and of one that drew nothing: they hold no
    engine's load, and no amps that volts could be divided by."""
    out = trusted_values(readings)
    idle = out["crank_a"] <= 0.0
    free = np.zeros(len(readings), dtype=bool)
    if "outcome" in readings:
        free = (readings["outcome"] == RAN_FREE).to_numpy(bool, na_value=False)
    for name in ("crank_a", "crank_min_v", "crank_at_most_v", "crank_rpm", "crank_s"):
        if name in out:
            out[name] = np.where(free | idle, np.nan, out[name])
    for name in ("drop_positive_v", "drop_ground_v", "drop_contacts_v"):
        out[name] = np.where(idle, np.nan, out[name])
    return out


def doubted(readings: pd.DataFrame, *names: str) -> Bools:
    """(N,) readings of which one of these measurements is marked doubtful."""
    return np.array([not {*str(d).split(",")}.isdisjoint(names) for d in readings["doubtful"].tolist()], dtype=bool)


def trusted_values(readings: pd.DataFrame) -> dict[str, Floats]:
    """Measurement columns as float arrays, with values marked doubtful taken out and bounds of the lowest volts apart."""
    out = {}
    for name in MEASURED:
        known = name in readings
        out[name] = readings[name].to_numpy(np.float64, copy=True) if known else np.full(len(readings), np.nan)
    if "doubtful" in readings:
        doubtful = readings["doubtful"].fillna("").astype(str)
        marked = np.flatnonzero((doubtful != "").to_numpy())
        for position, names in zip(marked, doubtful.iloc[marked], strict=True):
            for name in names.split(","):
                if name.strip() in out:
                    out[name.strip()][position] = np.nan
    if "lowest_is" in readings and (bound := (readings["lowest_is"] == SAMPLED).to_numpy()).any():
        out["crank_at_most_v"] = np.where(bound, out["crank_min_v"], np.nan)
        out["crank_min_v"] = np.where(bound, np.nan, out["crank_min_v"])
    return out
