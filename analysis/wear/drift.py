"""Drift of a part away from its own past, at a stated rate of false flags (state detection, ISO 13374).

A vehicle's own baseline is unknown, so every reading is held against what its earlier readings and its class foretell:
level N(1, base_sd^2), ageing as usual in the class.  For a sound vehicle the standardised surprise z of each reading
is then exactly N(0, 1) and independent of the others, whatever the baseline, so the threshold of the CUSUM built on z
follows from the tolerated rate alone.  A shift that a whole class shows in one week is taken out.

Learning never stops.  A baseline that stops learning after six readings leaves its error in every later z: to keep
the same rate its threshold must rise, and it finds steady wear later than one that goes on learning, because the mean
of the past lags behind a ramp instead of absorbing it (tests/test_drift.py measures both).

Measured on four fleets of demo_fleet without any failing part (1,200 vehicle-years): at 2, 5 and 10 stated flags per 100
vehicle-years, 2.0, 4.4 and 8.9 came.  A drift is not yet a failure: it flags nobody, and the list says since when it goes on,
once more than one reading lies away: a single odd one may cross the threshold, and is not yet a drift.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from analysis.constants import DAYS_PER_YEAR, WEEK_D
from analysis.readings.choices import OBSERVING
from analysis.readings.panel import Bools, Floats, Ints, dates_of, evenly, spread_over
from analysis.wear.choices import AGEING, DRIFT
from analysis.wear.control_chart import threshold_for_rate
from analysis.wear.growth_laws import GrowthLaws

FIT_VEHICLES = 500  # vehicles of one class that its scatter is learned from: more change nothing


@dataclass(frozen=True)
class Drift:
    """Per channel and vehicle (C, U): CUSUM statistic after the latest reading, alarm standing, day it began.

    since_day: first reading of the rise that crossed the threshold [d since 1970], NaN without alarm; alarms: how
    often the threshold was crossed; readings: how many counted; away: how many of the rise added to it; threshold of the
    statistic.
    """

    statistic: Floats
    alarm: Bools
    since_day: Floats
    alarms: Ints
    readings: Ints
    away: Ints
    threshold: float


@dataclass(frozen=True)
class Ageing:
    """How sound parts change by themselves: mean and spread between vehicles, per channel and vehicle (C, U) [1/a]."""

    mean: Floats
    sd: Floats


# --- What a sound vehicle does ---------------------------------------------------------------------------------------
def as_logs(value: Floats, se: Floats, usable: Bools) -> tuple[Floats, Floats]:
    """One plus the logarithm of every value, and the relative error at the vehicle's median level; (C, U, R).

    Errors of a resistance are mostly those of the amps it is divided by, so its logarithm errs evenly to both sides.
    """
    known = np.sort(np.where(usable & np.isfinite(value), value, np.nan), axis=-1)
    at = np.maximum(np.isfinite(known).sum(axis=-1) - 1, 0) // 2
    level = np.take_along_axis(known, at[..., None], axis=-1)
    level = np.maximum(np.where(np.isfinite(level), level, 1.0), OBSERVING.least_level)
    return 1.0 + np.log(np.maximum(value, OBSERVING.least_level)), se / level


def usual_ageing(laws: GrowthLaws, group: Ints) -> Ageing:
    """Ageing that growth laws learned of the classes of vehicles (U,); what may pass for it ends at `most_ageing`."""
    mean, error = (np.stack([getattr(one, name)[group] for one in laws.ageing]) for name in ("per_year", "se"))
    return Ageing(np.minimum(mean, DRIFT.most_ageing), np.hypot(error, AGEING.spread))


def usual_scatter(z: Floats, group: Ints) -> Floats:
    """(C, U) scatter of each class's surprises as a multiple of the stated errors, from 1 to `most_scatter`.

    z: (C, U, R) from :func:`predictive_z`; group (U,).  Sums over a few readings show errors that last (seasons);
    only those below 0 count, because wear lies above.
    """
    width = z.shape[2] // DRIFT.block * DRIFT.block
    out = np.ones(z.shape[:2])
    for g in np.unique(group) if width else []:
        mine = np.flatnonzero(group == g)
        some = np.clip(z[:, mine[evenly(len(mine), FIT_VEHICLES)], z.shape[2] - width :], -DRIFT.winsor, DRIFT.winsor)
        blocks = some.reshape(*some.shape[:2], -1, DRIFT.block)
        count = np.isfinite(blocks).sum(axis=3)
        total = np.where(np.isfinite(blocks), blocks, 0.0).sum(axis=3) / np.sqrt(np.maximum(count, 1))
        low = (count > 1) & (total < 0.0)
        square = np.where(low, total**2, 0.0).sum(axis=(1, 2)) + DRIFT.prior_blocks
        out[:, mine] = np.clip(np.sqrt(square / (low.sum(axis=(1, 2)) + DRIFT.prior_blocks)), 1.0, DRIFT.most_scatter)[
            :, None
        ]
    return out


def _years_since_first(day: Floats, usable: Bools) -> Floats:
    """(C, U, R) years since the first usable reading of the channel; 0 where there is none."""
    first = np.where(usable, day, np.inf).min(axis=-1, initial=np.inf)[..., None]
    return np.where(usable, np.where(usable, day, 0.0) - np.where(np.isfinite(first), first, 0.0), 0.0) / DAYS_PER_YEAR


class _Baseline:
    """What the readings so far say of every vehicle's own level and ageing (U, C): a regression on years, kept up.

    Exact for Gaussian errors: level ~ N(1, base_sd^2), ageing ~ N(mean, sd^2), each reading of known error.
    """

    def __init__(self, base_sd: Floats, ageing: Ageing) -> None:
        self.level, self.slope = np.ones(base_sd.shape), ageing.mean.T.copy()
        self.var_level, self.cov, self.var_slope = np.square(base_sd), np.zeros(base_sd.shape), np.square(ageing.sd.T)

    def foretell(self, u: Ints, years: Floats) -> tuple[Floats, Floats]:
        """(N, C) mean and variance of the level of vehicles `u`, `years` (N, C) after their first reading."""
        mean = self.level[u] + self.slope[u] * years
        return mean, self.var_level[u] + years * (2.0 * self.cov[u] + years * self.var_slope[u])

    def learn(self, u: Ints, years: Floats, surprise: Floats, variance: Floats, use: Bools) -> None:
        """Take up readings (N, C) that lie `surprise` above what was foretold, of total `variance`, where `use`."""
        level, cov, slope = self.var_level[u], self.cov[u], self.var_slope[u]
        with_level, with_slope = level + years * cov, cov + years * slope
        share = np.where(use, 1.0 / variance, 0.0)
        self.level[u] += with_level * share * surprise
        self.slope[u] += with_slope * share * surprise
        self.var_level[u] = level - with_level**2 * share
        self.cov[u] = cov - with_level * with_slope * share
        self.var_slope[u] = slope - with_slope**2 * share


def predictive_z(day: Floats, value: Floats, se: Floats, usable: Bools, base_sd: Floats, ageing: Ageing) -> Floats:
    """(C, U, R) surprise of every reading in standard deviations, given class and the vehicle's earlier readings.

    value, se: multiples of the class-usual value (C, U, R); usable (C, U, R); base_sd: spread of sound vehicles about
    1 (C, U); day (U, R) [d] and ageing: what sound parts do by themselves.  Exactly N(0, 1) and
    independent for a sound vehicle whose errors are Gaussian with the stated `se`; NaN where not usable.
    """
    good = usable & np.isfinite(value) & np.isfinite(se)
    years = _years_since_first(day, good)
    baseline = _Baseline(base_sd.T, ageing)
    out = np.full(value.shape, np.nan)
    everyone = np.arange(value.shape[1])
    for r in range(value.shape[2]):
        use, x = good[..., r].T, years[..., r].T
        mean, variance = baseline.foretell(everyone, x)
        variance = variance + np.where(use, se[..., r].T, 1.0) ** 2
        surprise = np.where(use, value[..., r].T - mean, 0.0)
        out[..., r] = np.where(use, surprise / np.sqrt(variance), np.nan).T
        baseline.learn(everyone, x, surprise, variance, use)
    return out


def readings_per_year(day: Floats, usable: Bools) -> float:
    """Usable readings per vehicle-year and channel after its first one, from first to last reading; 0 where no vehicle has two.

    Channels that nobody reads count as never read, not as first readings that are missing.

    day: (U, R) [d]; usable: (C, U, R).
    """
    seen = usable.any(axis=0)
    first = np.where(seen, day, np.inf).min(axis=1, initial=np.inf)
    last = np.where(seen, day, -np.inf).max(axis=1, initial=-np.inf)
    several = last > first
    years = float((last[several] - first[several]).sum()) / DAYS_PER_YEAR
    if years <= 0.0:
        return 0.0
    count = np.maximum(usable[:, several].sum(axis=2) - 1, 0).sum() / usable.shape[0]
    return float(count) / years


# --- What a class has in common --------------------------------------------------------------------------------------
def week_of(day: Floats) -> Ints:
    """Number of the week of every day [d since 1970]; -1 for none."""
    return np.where(np.isfinite(day), np.floor(np.where(np.isfinite(day), day, 0.0) / WEEK_D), -1).astype(np.int64)


def common_shift(residual: Floats, group: Ints) -> Floats:
    """(N, C) shift that the vehicles of a group have in common: the median of their residuals, 0 where too few share it.

    residual: (N, C) readings of one week less what was foretold, NaN for none; group: (N,) codes.  The median stays with
    the sound vehicles while fewer than half drift; taking it out, with the reading itself among those it is made of, does
    not widen a residual.
    """
    shift = np.zeros(residual.shape)
    order = np.argsort(group, kind="stable")
    for mine in np.split(order, np.flatnonzero(np.diff(group[order])) + 1):
        if len(mine) < DRIFT.fewest_sharing:
            continue
        ordered = np.sort(residual[mine], axis=0)
        n = np.isfinite(ordered).sum(axis=0)
        middle = np.stack([np.maximum(n - 1, 0) // 2, np.minimum(n // 2, len(mine) - 1)])
        shared = np.take_along_axis(ordered, middle, axis=0).mean(axis=0)
        shift[mine] = np.where(n >= DRIFT.fewest_sharing, shared, 0.0)
    return shift


class _Shifts:
    """Common shifts of one week after the other, for :func:`find_drift`."""

    def __init__(self, group: Ints, channels: int) -> None:
        self.group, self.week = group, -1
        self.latest = np.zeros((int(group.max(initial=-1)) + 1, channels))

    def of_week(self, week: int, u: Ints, residual: Floats) -> Floats:
        """(N, C) shift of vehicles `u`: that of the week's first reading holds for a second one in the same week."""
        mine = self.group[u]
        if week != self.week:
            self.week = week
            self.latest[:] = 0.0
            self.latest[mine] = common_shift(residual, mine)
        return self.latest[mine]


# --- The chart of every vehicle --------------------------------------------------------------------------------------
def find_drift(
    day: Floats,
    value: Floats,
    se: Floats,
    usable: Bools,
    base_sd: Floats,
    ageing: Ageing,
    group: Ints,
    *,
    threshold: float,
) -> Drift:
    """CUSUM of every vehicle and channel over its readings, oldest first.

    day: (U, R) [d since 1970]; value, se: multiples of class-usual (C, U, R); usable (C, U, R), False before a part's
    latest renewal; base_sd (C, U); threshold from :func:`threshold_for_rate`; ageing from :func:`usual_ageing`.
    group: (U,) classes within which a shift common to a week is taken out.  An alarm stands until the statistic is back
    at 0.
    """
    usable = usable & np.isfinite(value) & np.isfinite(se) & np.isfinite(day)[None]
    u, r, steps = _steps(day, np.asarray(usable.any(axis=0)))
    use = np.ascontiguousarray(usable[:, u, r].T)
    y, error = np.where(use, value[:, u, r].T, 1.0), np.where(use, se[:, u, r].T, 1.0)
    years = _years_since_first(day, usable)[:, u, r].T
    chart = _Chart(_Baseline(base_sd.T, ageing), threshold)
    shifts = _Shifts(group, value.shape[0])
    for s in steps:
        mean, variance = chart.baseline.foretell(u[s], years[s])
        surprise = y[s] - mean
        known = np.where(use[s] & (chart.readings[u[s]] > 0), surprise, np.nan)
        surprise = surprise - shifts.of_week(int(week_of(day[u[s.start], r[s.start]])), u[s], known)
        variance = variance + error[s] ** 2
        most = DRIFT.winsor * np.sqrt(variance)  # a slip may teach the baseline no more than that
        taught = np.where(chart.readings[u[s]] > 0, np.clip(surprise, -most, most), surprise)
        chart.take(u[s], day[u[s], r[s]], surprise / np.sqrt(variance), use[s])
        chart.baseline.learn(u[s], years[s], taught, variance, use[s])
    since = np.where(chart.alarm, chart.since, np.nan)
    away = np.where(chart.alarm, chart.away, 0)
    return Drift(chart.statistic.T, chart.alarm.T, since.T, chart.alarms.T, chart.readings.T, away.T, threshold)


class _Chart:
    """What is carried from reading to reading: statistic and alarm of every vehicle and channel (U, C)."""

    def __init__(self, baseline: _Baseline, threshold: float) -> None:
        self.baseline, self.threshold = baseline, threshold
        shape = baseline.level.shape
        self.statistic = np.zeros(shape)
        self.alarm = np.zeros(shape, dtype=bool)
        self.since = np.full(shape, np.nan)
        self.alarms = np.zeros(shape, dtype=np.int64)
        self.readings = np.zeros(shape, dtype=np.int64)
        self.away = np.zeros(shape, dtype=np.int64)

    def take(self, u: Ints, day: Floats, z: Floats, use: Bools) -> None:
        """One reading of each vehicle of `u` (N,): days (N,), surprises z (N, C), counted where `use`."""
        before, alarm = self.statistic[u], self.alarm[u]
        counted = np.clip(z, -DRIFT.winsor, DRIFT.winsor)
        now = np.where(use, np.maximum(0.0, before + counted - DRIFT.allowance), before)
        over = use & (now > self.threshold)
        self.alarms[u] += over & ~alarm
        self.since[u] = np.where((before == 0.0) & (now > 0.0), day[:, None], self.since[u])
        self.away[u] = np.where(now > 0.0, self.away[u] * (before > 0.0) + (now > before), 0)
        self.statistic[u], self.alarm[u] = now, (alarm | over) & (now > 0.0)
        self.readings[u] += use


def _steps(day: Floats, seen: Bools) -> tuple[Ints, Ints, list[slice]]:
    """Vehicle and column of every reading (N,) in the order of taking up, and the slices that are taken up together.

    Of one week each, and none holds a vehicle twice: its second reading of a week comes in a slice of its own.
    """
    u, r = np.nonzero(seen)
    if len(u) == 0:
        return u, r, []
    position = np.arange(len(u))
    step = week_of(day)[u, r]
    new = np.ones(len(u), dtype=bool)
    new[1:] = (u[1:] != u[:-1]) | (step[1:] != step[:-1])
    again = position - np.maximum.accumulate(np.where(new, position, 0))
    order = np.lexsort((u, again, step))
    key = np.stack([step[order], again[order]])
    cuts = [0, *(np.flatnonzero((key[:, 1:] != key[:, :-1]).any(axis=0)) + 1).tolist(), len(u)]
    return u[order], r[order], [slice(a, b) for a, b in pairwise(cuts)]


def watch_fleet(
    day: Floats,
    value: Floats,
    se: Floats,
    usable: Bools,
    base_sd: Floats,
    ageing: Ageing,
    group: Ints,
    *,
    flags_per_100: float,
) -> Drift:
    """Drift of a fleet at `flags_per_100` healthy vehicle-years: scatter and threshold learned from it.

    Arrays as in :func:`find_drift`, values as plain multiples of class-usual.  Without two readings of any vehicle the
    threshold is infinite and nothing is flagged.  Raises ValueError as :func:`threshold_for_rate`.
    """
    usable = usable & np.isfinite(value) & np.isfinite(se) & np.isfinite(day)[None]
    rate = readings_per_year(day, usable)
    h = threshold_for_rate(flags_per_100, rate, value.shape[0]) if rate > 0.0 else float("inf")
    logs, error = as_logs(value, se, usable)
    read = usable.any(axis=(0, 2))
    taught = [spread_over((group == g) & read, FIT_VEHICLES) for g in np.unique(group)]
    some = np.sort(np.concatenate([np.zeros(0, dtype=np.int64), *taught]))
    own = Ageing(ageing.mean[:, some], ageing.sd[:, some])
    part = (logs[:, some], error[:, some], usable[:, some], base_sd[:, some])
    found = usual_scatter(predictive_z(day[some], *part, own), group[some])
    scatter = np.ones(base_sd.shape)
    for g in np.unique(group):
        if (known := np.flatnonzero(group[some] == g)[:1]).size:
            scatter[:, group == g] = found[:, known]
    wider = Ageing(ageing.mean, ageing.sd * scatter)
    return find_drift(day, logs, error * scatter[..., None], usable, base_sd * scatter, wider, group, threshold=h)


def drift_table(units: Sequence[str], channels: Sequence[str], drift: Drift) -> pd.DataFrame:
    """Per vehicle and channel: unit, channel, statistic, threshold, drifting, drifting_since (NaT), readings, away."""
    n = len(units)
    return pd.DataFrame(
        {
            "unit": np.repeat(np.asarray(units, dtype=object), len(channels)).astype(str),
            "channel": np.tile(np.asarray(channels, dtype=object), n).astype(str),
            "statistic": drift.statistic.T.ravel(),
            "threshold": drift.threshold,
            "drifting": drift.alarm.T.ravel(),
            "drifting_since": dates_of(drift.since_day.T.ravel()),
            "readings": drift.readings.T.ravel(),
            "away": drift.away.T.ravel(),
        }
    )
