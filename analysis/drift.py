"""Drift of a part away from its own past, at a stated rate of false flags (state detection, ISO 13374).

A vehicle's own baseline is unknown, so every reading is held against what its earlier readings and its class foretell.
Without drift the standardised surprise z of each reading is exactly N(0, 1) and independent of the others, whatever
the baseline: the threshold of the CUSUM built on z therefore follows from the tolerated rate alone.

A baseline that learns from every reading lags behind a steady ramp rather than absorbing it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from scipy.optimize import brentq
from scipy.special import ndtr
from scipy.stats import false_discovery_control

from analysis.panel import Bools, Floats, Ints, dates_of

ALLOWANCE = 0.5  # k of the CUSUM, standard deviations: tuned to a shift of one, the textbook choice
WINSOR = 3.0  # surprises count at most this much, so that two slips do not make a flag; our choice
CELLS = 120  # cells of the Markov chain; run lengths to 0.1 % for thresholds up to 10
CELL_WIDTH = 0.05  # cells of the chain for the chance of a statistic
STATISTIC_CAP = 25.0  # statistics above this have no chance worth telling apart
THRESHOLD_RANGE = (0.25, 25.0)
FEWEST_SHARING = 8  # vehicles that must share a week before their common shift is taken out; our choice
WEEK_D = 7.0
DAYS_PER_YEAR = 365.25
SIEGMUND_OVERSHOOT = 1.166  # Siegmund 1985, from memory: two overshoots of 0.583


@dataclass(frozen=True)
class Drift:
    """Per channel and vehicle (C, U): CUSUM statistic after the latest reading, alarm standing, day it began.

    since_day: first reading of the rise that crossed the threshold [d since 1970], NaN without alarm; alarms: how
    often the threshold was crossed; readings: how many counted; threshold of the statistic.
    shifts: common shifts taken out, one row per batch and channel: group, week, channel (number), shift, vehicles.
    """

    statistic: Floats
    alarm: Bools
    since_day: Floats
    alarms: Ints
    readings: Ints
    threshold: float
    shifts: pd.DataFrame


# --- Published charts ------------------------------------------------------------------------------------------------
def cusum(z: Floats, *, k: float = ALLOWANCE) -> Floats:
    """Upper one-sided CUSUM S = max(0, S + z - k) along the last axis; a missing z leaves S as it is.

    Source: NIST/SEMATECH e-Handbook 6.3.2.3 (from memory).
    """
    total = np.zeros(z.shape[:-1])
    out = np.empty(z.shape)
    for r in range(z.shape[-1]):
        total = np.maximum(0.0, total + np.where(np.isfinite(z[..., r]), z[..., r] - k, 0.0))
        out[..., r] = total
    return out


def ewma(values: Floats, *, weight: float, start: float = 0.0) -> Floats:
    """Exponentially weighted moving average along the last axis; a missing value leaves it as it is.

    weight: of the newest value, above 0 and at most 1.  Source: NIST/SEMATECH e-Handbook 6.3.2.4 (from memory).
    """
    if not 0.0 < weight <= 1.0:
        raise ValueError(f"weight is {weight}; allowed are values above 0 and at most 1")
    level = np.full(values.shape[:-1], start)
    out = np.empty(values.shape)
    for r in range(values.shape[-1]):
        now = values[..., r]
        level = np.where(np.isfinite(now), weight * now + (1.0 - weight) * level, level)
        out[..., r] = level
    return out


def ewma_limits(start: float, sd: float, *, weight: float, width: float = 3.0) -> tuple[float, float]:
    """Lower and upper limit of an EWMA of values with mean `start` and standard deviation `sd`, once it has settled."""
    half = width * sd * float(np.sqrt(weight / (2.0 - weight)))
    return start - half, start + half


# --- Run lengths and thresholds --------------------------------------------------------------------------------------
def run_length(h: float, k: float = ALLOWANCE, *, shift: float = 0.0, winsor: float | None = None) -> float:
    """Average number of readings until the one-sided CUSUM of N(shift, 1) values, from 0, exceeds h.

    winsor: values count at most this much (None: fully).  Source: Brook & Evans 1972, Markov chain (from memory,
    checked against Hawkins & Olwell 1998).
    """
    if not (h > 0.0 and k >= 0.0):
        raise ValueError(f"h is {h} and k is {k}; allowed are h above 0 and k of at least 0")
    width = 2.0 * h / (2.0 * CELLS - 1.0)
    stay = _chain(CELLS, width, k, shift, winsor)
    return float(np.linalg.solve(np.eye(CELLS) - stay, np.ones(CELLS))[0])


def _chain(cells: int, width: float, k: float, shift: float, winsor: float | None) -> Floats:
    """(cells, cells) probabilities of going from one value of the CUSUM to another; the first cell is zero."""
    at = np.arange(cells) * width
    edge = at[None, :] + 0.5 * width - at[:, None] + k
    below = ndtr(edge - shift)
    if winsor is not None:
        below = np.where(edge >= winsor, 1.0, np.where(edge < -winsor, 0.0, below))
    return np.diff(below, axis=1, prepend=0.0)


def siegmund_run_length(h: float, k: float = ALLOWANCE, *, shift: float = 0.0) -> float:
    """Siegmund's approximation of :func:`run_length`.

    (exp(-2 D b) + 2 D b - 1) / (2 D^2) with D = shift - k, b = h + 1.166.  Source: Siegmund 1985 (from memory).
    """
    d, b = shift - k, h + SIEGMUND_OVERSHOOT
    if abs(d) < 1e-8:
        return b * b
    return float((np.exp(-2.0 * d * b) + 2.0 * d * b - 1.0) / (2.0 * d * d))


def threshold_for_rate(
    flags_per_100: float,
    readings_per_year: float,
    channels: int,
    k: float = ALLOWANCE,
    *,
    winsor: float | None = WINSOR,
) -> float:
    """Threshold h at which sound vehicles are flagged `flags_per_100` times in 100 vehicle-years over all channels.

    flags_per_100: above 0; readings_per_year: per vehicle and channel; channels: how many are watched.  The rate of
    the union is at most the sum of the channels' rates, so it is an upper bound when channels go together.  Raises
    ValueError when no threshold from 0.25 to 25 gives the rate.
    """
    if not (flags_per_100 > 0.0 and readings_per_year > 0.0 and channels >= 1):
        raise ValueError(
            f"flags_per_100 is {flags_per_100}, readings_per_year {readings_per_year}, channels {channels}; "
            "allowed are values above 0 and at least one channel"
        )
    wanted = 100.0 * readings_per_year * channels / flags_per_100
    low, high = THRESHOLD_RANGE
    if not run_length(low, k, winsor=winsor) <= wanted <= run_length(high, k, winsor=winsor):
        raise ValueError(
            f"flags_per_100 is {flags_per_100}: with {readings_per_year:g} readings a year in {channels} channels no "
            f"threshold from {low} to {high} gives this rate"
        )

    def miss(h: float) -> float:
        return float(np.log(run_length(h, k, winsor=winsor) / wanted))

    return float(brentq(miss, low, high, xtol=1e-4))


def readings_per_year(day: Floats, usable: Bools) -> float:
    """Usable readings per vehicle-year and channel, from first to last reading; 0 where no vehicle has two.

    day: (U, R) [d]; usable: (C, U, R).
    """
    seen = usable.any(axis=0)
    first = np.where(seen, day, np.inf).min(axis=1, initial=np.inf)
    last = np.where(seen, day, -np.inf).max(axis=1, initial=-np.inf)
    several = last > first
    years = float((last[several] - first[several]).sum()) / DAYS_PER_YEAR
    if years <= 0.0:
        return 0.0
    count = usable[:, several].sum() / usable.shape[0] - several.sum()
    return float(max(count, 0.0)) / years


# --- The chart of every vehicle --------------------------------------------------------------------------------------
def predictive_z(value: Floats, se: Floats, usable: Bools, base_sd: Floats, *, learn_from: int | None = None) -> Floats:
    """(..., R) surprise of every reading in standard deviations, given the class and the vehicle's earlier readings.

    value, se: multiples of the class-usual value (..., R); usable (..., R); base_sd: spread of sound vehicles about 1
    (...).  Exactly N(0, 1) and independent for a sound vehicle whose errors are Gaussian with the stated `se`; NaN
    where not usable.  learn_from: only the first so many readings teach the baseline; the surprises after them share
    its error, so that :func:`threshold_for_rate` no longer holds (None: all of them teach).
    """
    precision = 1.0 / np.square(base_sd)
    mean = np.ones(value.shape[:-1])
    learned = np.zeros(value.shape[:-1], dtype=np.int64)
    out = np.full(value.shape, np.nan)
    for r in range(value.shape[-1]):
        use = usable[..., r] & np.isfinite(value[..., r]) & np.isfinite(se[..., r])
        y, error = np.where(use, value[..., r], 1.0), np.where(use, se[..., r], 1.0)
        out[..., r] = np.where(use, (y - mean) / np.sqrt(1.0 / precision + error**2), np.nan)
        teach = use if learn_from is None else use & (learned < learn_from)
        more = np.where(teach, 1.0 / error**2, 0.0)
        mean = mean + more / (precision + more) * (y - mean)
        precision, learned = precision + more, learned + teach
    return out


def week_of(day: Floats) -> Ints:
    """Number of the week of every day [d since 1970]; -1 for none."""
    return np.where(np.isfinite(day), np.floor(np.where(np.isfinite(day), day, 0.0) / WEEK_D), -1).astype(np.int64)


def common_shift(residual: Floats, group: Ints, *, fewest: int = FEWEST_SHARING) -> tuple[Floats, Ints]:
    """Shift that the vehicles of a group have in common: the median of their residuals, 0 where fewer than `fewest`.

    residual: (N, C) readings of one week less what was foretold, NaN for none; group: (N,) codes.  Returns the shift
    (N, C) and how many vehicles it rests on (N, C).  The median stays with the sound vehicles while fewer than half
    drift; taking it out, with the reading itself among those it is made of, does not widen a residual.
    """
    shift, count = np.zeros(residual.shape), np.zeros(residual.shape, dtype=np.int64)
    order = np.argsort(group, kind="stable")
    for mine in np.split(order, np.flatnonzero(np.diff(group[order])) + 1):
        if len(mine) < fewest:
            continue
        ordered = np.sort(residual[mine], axis=0)
        n = np.isfinite(ordered).sum(axis=0)
        middle = np.stack([np.maximum(n - 1, 0) // 2, np.minimum(n // 2, len(mine) - 1)])
        enough = n >= fewest
        shift[mine] = np.where(enough, np.take_along_axis(ordered, middle, axis=0).mean(axis=0), 0.0)
        count[mine] = np.where(enough, n, 0)
    return shift, count


def find_drift(
    day: Floats,
    value: Floats,
    se: Floats,
    usable: Bools,
    base_sd: Floats,
    *,
    threshold: float,
    k: float = ALLOWANCE,
    group: Ints | None = None,
    winsor: float = WINSOR,
) -> Drift:
    """CUSUM of every vehicle and channel over its readings, oldest first.

    day: (U, R) [d since 1970]; value, se: multiples of class-usual (C, U, R); usable (C, U, R), False before a part's
    latest renewal; base_sd (C, U); threshold from :func:`threshold_for_rate`.  group: (U,) classes within which a
    shift common to a week is taken out (None: it stays in).  An alarm stands until the statistic is back at 0.
    """
    usable = usable & np.isfinite(value) & np.isfinite(se) & np.isfinite(day)[None]
    u, r, steps = _steps(day, np.asarray(usable.any(axis=0)), by_week=group is not None)
    use = np.ascontiguousarray(usable[:, u, r].T)
    y, error = np.where(use, value[:, u, r].T, 1.0), np.where(use, se[:, u, r].T, 1.0)
    chart = _Chart(base_sd.T, threshold, k, winsor)
    shifts = _Shifts(group, value.shape[0])
    for s in steps:
        now = y[s]
        if group is not None:
            foretold = np.where(use[s] & (chart.readings[u[s]] > 0), now - chart.mean[u[s]], np.nan)
            now = now - shifts.of_week(int(week_of(day[u[s.start], r[s.start]])), u[s], foretold)
        chart.take(u[s], day[u[s], r[s]], now, error[s], use[s])
    since = np.where(chart.alarm, chart.since, np.nan)
    return Drift(chart.statistic.T, chart.alarm.T, since.T, chart.alarms.T, chart.readings.T, threshold, shifts.table())


class _Chart:
    """What is carried from reading to reading: baseline, statistic and alarm of every vehicle and channel (U, C)."""

    def __init__(self, base_sd: Floats, threshold: float, k: float, winsor: float) -> None:
        self.threshold, self.k, self.winsor = threshold, k, winsor
        self.precision = 1.0 / np.square(base_sd)
        self.mean = np.ones(base_sd.shape)
        self.statistic = np.zeros(base_sd.shape)
        self.alarm = np.zeros(base_sd.shape, dtype=bool)
        self.since = np.full(base_sd.shape, np.nan)
        self.alarms = np.zeros(base_sd.shape, dtype=np.int64)
        self.readings = np.zeros(base_sd.shape, dtype=np.int64)

    def take(self, u: Ints, day: Floats, y: Floats, error: Floats, use: Bools) -> None:
        """One reading of each vehicle of `u` (N,): days (N,), values and errors (N, C), counted where `use`."""
        precision, mean, before, alarm = self.precision[u], self.mean[u], self.statistic[u], self.alarm[u]
        z = np.clip((y - mean) / np.sqrt(1.0 / precision + error**2), -self.winsor, self.winsor)
        now = np.where(use, np.maximum(0.0, before + z - self.k), before)
        over = use & (now > self.threshold)
        self.alarms[u] += over & ~alarm
        self.since[u] = np.where((before == 0.0) & (now > 0.0), day[:, None], self.since[u])
        more = np.where(use, 1.0 / error**2, 0.0)
        self.mean[u] = mean + more / (precision + more) * (y - mean)
        self.precision[u] = precision + more
        self.statistic[u], self.alarm[u] = now, (alarm | over) & (now > 0.0)
        self.readings[u] += use


class _Shifts:
    """Common shifts of one week after the other, for :func:`find_drift`."""

    def __init__(self, group: Ints | None, channels: int) -> None:
        self.group = np.zeros(0, dtype=np.int64) if group is None else group
        self.week = -1
        self.now = np.zeros((int(self.group.max(initial=-1)) + 1, channels))
        self.rows: list[tuple[int, int, int, float, int]] = []

    def of_week(self, week: int, u: Ints, residual: Floats) -> Floats:
        """(N, C) shift of vehicles `u`: that of the week's first reading holds for a second one in the same week."""
        mine = self.group[u]
        if week != self.week:
            shift, count = common_shift(residual, mine)
            self.week = week
            self.now[:] = 0.0
            self.now[mine] = shift
            groups, at = np.unique(mine, return_index=True)
            for g, c in zip(*np.nonzero(count[at]), strict=True):
                self.rows.append((int(groups[g]), week, int(c), float(shift[at[g], c]), int(count[at[g], c])))
        return self.now[mine]

    def table(self) -> pd.DataFrame:
        """One row per group, week and channel whose common shift was taken out."""
        return pd.DataFrame(self.rows, columns=["group", "week", "channel", "shift", "vehicles"])


def _steps(day: Floats, seen: Bools, *, by_week: bool) -> tuple[Ints, Ints, list[slice]]:
    """Vehicle and column of every reading (N,) in the order of taking up, and the slices that are taken up together.

    No slice holds a vehicle twice.  By week, a vehicle's second reading of a week comes in a slice of its own.
    """
    u, r = np.nonzero(seen)
    if len(u) == 0:
        return u, r, []
    position = np.arange(len(u))
    step = week_of(day)[u, r] if by_week else np.zeros(len(u), dtype=np.int64)
    new = np.ones(len(u), dtype=bool)
    new[1:] = (u[1:] != u[:-1]) | (step[1:] != step[:-1])
    again = position - np.maximum.accumulate(np.where(new, position, 0))
    order = np.lexsort((u, again, step))
    key = np.stack([step[order], again[order]])
    cuts = [0, *(np.flatnonzero((key[:, 1:] != key[:, :-1]).any(axis=0)) + 1).tolist(), len(u)]
    return u[order], r[order], [slice(a, b) for a, b in pairwise(cuts)]


def drift_table(
    units: Sequence[str],
    channels: Sequence[str],
    day: Floats,
    value: Floats,
    se: Floats,
    usable: Bools,
    base_sd: Floats,
    *,
    flags_per_100: float,
    group: Ints | None = None,
    k: float = ALLOWANCE,
) -> pd.DataFrame:
    """Per vehicle and channel: unit, channel, statistic, threshold, drifting, drifting_since (NaT), chance, readings.

    Arrays as in :func:`find_drift`; the threshold follows from `flags_per_100` healthy vehicle-years and from how
    often this fleet is read.  chance: how often a sound vehicle's statistic is at least as high.
    """
    rate = readings_per_year(day, usable)
    h = threshold_for_rate(flags_per_100, rate, len(channels), k) if rate > 0.0 else float("inf")
    found = find_drift(day, value, se, usable, base_sd, threshold=h, k=k, group=group)
    n = len(units)
    return pd.DataFrame(
        {
            "unit": np.repeat(np.asarray(units, dtype=object), len(channels)).astype(str),
            "channel": np.tile(np.asarray(channels, dtype=object), n).astype(str),
            "statistic": found.statistic.T.ravel(),
            "threshold": h,
            "drifting": found.alarm.T.ravel(),
            "drifting_since": dates_of(found.since_day.T.ravel()),
            "chance": chance(found.statistic, found.readings, k).T.ravel(),
            "readings": found.readings.T.ravel(),
        }
    )


# --- How surprising, and in which order ------------------------------------------------------------------------------
def chance(statistic: Floats, readings: Ints, k: float = ALLOWANCE, *, winsor: float | None = WINSOR) -> Floats:
    """Probability that a sound vehicle's statistic is at least as high after as many readings; 1 for a statistic of 0.

    Source: the Markov chain of Brook & Evans 1972, stepped forward from 0.
    """
    cells = round(STATISTIC_CAP / CELL_WIDTH) + 1
    step = _chain(cells, CELL_WIDTH, k, 0.0, winsor)
    step[:, -1] += 1.0 - step.sum(axis=1)
    most = int(readings.max(initial=0))
    tail = np.ones((most + 1, cells))
    tail[0, 1:] = 0.0
    share = np.eye(1, cells)[0]
    for n in range(1, most + 1):
        share = share @ step
        tail[n] = np.cumsum(share[::-1])[::-1]
    # a cell reaches half a width below its middle: the chance of a value is that of the cell it lies in
    at = np.clip(np.floor(statistic / CELL_WIDTH + 0.5).astype(np.int64), 0, cells - 1)
    return np.asarray(np.clip(tail[readings, at], 0.0, 1.0))


def q_values(p: Floats) -> Floats:
    """(U,) false-discovery rate of the list that ends with each vehicle, its best channel taken times their number.

    p: (C, U) chances.  Orders one list; it is no contract over repeated weekly lists, which is the flag rate.  Source:
    Benjamini & Hochberg 1995 as scipy.stats.false_discovery_control has it.
    """
    if p.shape[1] == 0:
        return np.zeros(0)
    own = np.minimum(p.min(axis=0) * p.shape[0], 1.0)
    return np.asarray(false_discovery_control(own), dtype=np.float64)
