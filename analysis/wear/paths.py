"""Level and growth of every part from few, irregular, noisy readings: a grid of paths, each with its Gaussian posterior over
(new value, amount), weighted by its evidence ("Growth" in NUMBERS.md; state detection, ISO 13374)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy

from analysis.arrays import Rows
from analysis.constants import DAYS_PER_YEAR
from analysis.kernel.loops import (
    AMOUNT_SPREAD,
    DEPARTURE,
    DEPARTURE_D,
    NIL_SHARE,
    SLIP_LOG_SHARE,
    SLIP_SE,
    path_means,
    paths_weighed,
    values_drawn,
)
from analysis.kernel.ready import compiled
from analysis.readings.choices import OBSERVING
from analysis.readings.draws import Draws
from analysis.readings.panel import Bools, Floats, Ints, Reals, in_chunks
from analysis.wear.choices import PATHS

ONSET_LAGS_D = np.array([15.0, 35.0, 60.0, 90.0, 125.0, 170.0, 230.0, 310.0, 430.0, 600.0, 850.0, 1200.0, 1700.0])
LAG_WIDTHS_A = (
    np.diff([0.0, *0.5 * (ONSET_LAGS_D[1:] + ONSET_LAGS_D[:-1]), 1.3 * ONSET_LAGS_D[-1]]) / DAYS_PER_YEAR
)  # of the years that each of these lags stands for
LIVES_D = np.array([60.0, 120.0, 240.0, 480.0, 960.0, 1900.0])  # from the first sign to failure in the cold
MOST_EXCESS = 4.0  # paths that passed the failing excess this many times over are left out
CHUNK_UNITS = 250  # so that one chunk fits the cache
SURELY_GROWS_SD = 4.0  # amounts so many standard errors above nil are surely above it
LEAST_PATH_WEIGHT = 1e-6  # paths less probable than this change no figure
SURELY_STEADY = 1e-9  # more than rounding makes of a place among the draws
PER_DAY = 4  # steps of the table of growth


@dataclass(frozen=True)
class PathGrid:
    """The growth paths, N of them; the first is "steady".

    lag: onset [d before the assessment]; life [d]; design: column of the growth matrix, which is the step of the onset.
    """

    lag: Floats
    life: Floats
    design: Ints

    @property
    def size(self) -> int:
        """Number of paths."""
        return len(self.lag)

    @cached_property
    def steps(self) -> tuple[Ints, Ints]:
        """(N - 1,) steps of ONSET_LAGS_D and LIVES_D of every path but the steady one."""
        return self.design[1:], np.searchsorted(LIVES_D, self.life[1:])

    @property
    def pace(self) -> Floats:
        """(N,) a failing excess times it is what a path grows by in (1 a)^power."""
        return np.asarray((DAYS_PER_YEAR / self.life) ** PATHS.power)

    @cached_property
    def failed_before(self) -> Floats:
        """(N - 1,) by what the weight of every path but the steady one is divided, because its part would have failed."""
        return np.asarray(1.0 + (self.lag[1:] / self.life[1:]) ** (PATHS.surely_failed * PATHS.power))


def make_grid() -> PathGrid:
    """Every onset lag with every life that has not long passed the failing excess."""
    paths = [(np.nan, np.inf, 0)]
    for column, lag in enumerate(ONSET_LAGS_D):
        paths += [(lag, life, column) for life in LIVES_D if (lag / life) ** PATHS.power < MOST_EXCESS]
    lags, lives, columns = zip(*paths, strict=True)
    return PathGrid(np.array(lags), np.array(lives), np.array(columns, dtype=np.int64))


@dataclass(frozen=True)
class ChannelPrior:
    """Of one channel: onsets per vehicle and year, shares of lives (L,)."""

    onset_per_year: float
    life_share: Floats

    def log_weights(self, grid: PathGrid) -> Floats:
        """(N,) log prior weight of every path."""
        lag, life = grid.steps
        weight = np.zeros(grid.size)
        weight[1:] = self.onset_per_year * LAG_WIDTHS_A[lag] * self.life_share[life]
        weight[1:] /= grid.failed_before
        weight[1:] *= min(1.0, PATHS.most_worn / weight[1:].sum())
        weight[0] = 1.0 - weight[1:].sum()
        return np.asarray(np.log(np.maximum(weight, 1e-12)))


@dataclass(frozen=True)
class GrowthPrior:
    """Per channel: onsets per vehicle and year (C,), shares of lives (C, L)."""

    onset_per_year: Floats
    life_share: Floats

    def channel(self, c: int) -> ChannelPrior:
        """The prior of one channel."""
        return ChannelPrior(float(self.onset_per_year[c]), self.life_share[c])

    def log_weights(self, grid: PathGrid, channel: int) -> Floats:
        """(N,) log prior weight of every path."""
        return self.channel(channel).log_weights(grid)


def default_prior() -> GrowthPrior:
    """Before a fleet has taught anything: batteries wear most, lives of some months to some years."""
    onset = np.array(PATHS.onset_per_year)
    return GrowthPrior(onset, np.tile(PATHS.life_share, (len(onset), 1)))


AS_BUILT: Final = float("-inf")
"""Days ahead at which nothing has worn yet."""


@dataclass(frozen=True)
class Growth(Rows):
    """Posterior over paths of one channel: arrays (U, N), but the last three (U,).

    weight: probability of the path; base, amount: its new value and growth in (1 a)^power; var_base, var_amount, cov:
    their variances; last_slip: probability that the latest reading is a slip; ageing: what all parts of the class gain in a
    year [1/a] on the day that lies reference_d before the assessment [d], both (U,).
    """

    weight: Reals
    base: Reals
    amount: Reals
    var_base: Reals
    var_amount: Reals
    cov: Reals
    last_slip: Floats
    ageing: Floats
    reference_d: Floats

    @property
    def fields(self) -> list[Reals]:
        """Its arrays (U, N), as compiled loops take them."""
        own = (self.weight, self.base, self.amount, self.var_base, self.var_amount, self.cov)
        return [np.ascontiguousarray(field, np.float32) for field in own]

    @cached_property
    def worn_only(self) -> tuple[Floats, Floats, Floats, Floats]:
        """Amount, base, variance of the amount and covariance (U, N) with amounts below nil held at nil, as in the draws:
        a part gets no better by itself. Moments of a rectified normal."""
        amount, base = self.amount.astype(np.float64), self.base.astype(np.float64)
        variance, cov = self.var_amount.astype(np.float64), self.cov.astype(np.float64)
        sd = np.sqrt(np.maximum(variance, 1e-18))
        doubtful = (amount < SURELY_GROWS_SD * sd) & (self.weight > LEAST_PATH_WEIGHT)
        doubtful[:, 0] = False  # the steady path has no growth
        m, s = amount[doubtful], sd[doubtful]
        z = m / s
        inside, density = scipy.special.ndtr(z), np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi)
        mean = m * inside + s * density
        square = (m * m + s * s) * inside + m * s * density
        slope = cov[doubtful] / (s * s)
        base[doubtful] += slope * (mean - m)
        amount[doubtful] = mean
        variance[doubtful] = np.maximum(square - mean * mean, 0.0)
        cov[doubtful] = slope * variance[doubtful]
        return amount, base, variance, cov

    def aged(self, ahead_d: float | Floats) -> Floats:
        """(U,) what ordinary ageing adds until `ahead_d` days after the assessment, one for all or (U,); AS_BUILT: until today."""
        return np.asarray(
            self.ageing * (self.reference_d + np.where(ahead_d == AS_BUILT, 0.0, ahead_d)) / DAYS_PER_YEAR
        )


def growth_columns(day_before: Floats) -> Floats:
    """(..., L) growth in (1 a)^power of every onset lag, `day_before` days before the assessment, to the nearest quarter of
    a day."""
    table = _growth_table(PATHS.power)
    at = np.clip(np.rint(day_before * PER_DAY), 0, len(table) - 1).astype(np.int64)
    return table[at]


@lru_cache(maxsize=1)
def _growth_table(power: float) -> Floats:
    """(4 T, L) growth columns on every quarter of a day before the assessment; the last row is none at all."""
    day = np.arange(PER_DAY * int(ONSET_LAGS_D[-1]) + 1) / PER_DAY
    columns = np.asarray((np.maximum(ONSET_LAGS_D - day[:, None], 0.0) / DAYS_PER_YEAR) ** power)
    columns.setflags(write=False)
    return columns


def standing_alone(value: Floats, se: Floats, usable: Bools) -> Bools:
    """(U, R) readings far above or far below both neighbours in time: slips, not wear, because wear stays.

    The latest reading has no later neighbour and the first no earlier one: :func:`growth_posterior` judges them instead.
    """
    width = value.shape[1]
    if width < 3:
        return np.zeros(value.shape, dtype=bool)
    order = np.argsort(~usable, axis=1, kind="stable")
    y = np.take_along_axis(np.where(usable, value, np.nan), order, axis=1)
    error = np.take_along_axis(np.where(usable, se, np.nan), order, axis=1)
    before = np.concatenate([y[:, 2:3], y[:, :-1]], axis=1)
    after = np.concatenate([y[:, 1:], np.full((len(y), 1), np.nan)], axis=1)
    with np.errstate(invalid="ignore"):
        low, high = np.minimum(before, after), np.maximum(before, after)
        gap = np.where(y > high, y - high, np.where(y < low, low - y, 0.0))
        alone = gap > PATHS.stand_alone_se * error
    alone &= np.arange(width)[None, :] < (usable.sum(axis=1) - 1)[:, None]
    out = np.zeros(value.shape, dtype=bool)
    np.put_along_axis(out, order, np.where(np.isfinite(y), alone, False), axis=1)
    return out


def departures(day_before: Floats, value: Floats, usable: Bools) -> Floats:
    """(U, R) how far real wear may stray from a smooth path at each reading, seen from the latest one.

    The present is what counts: a path has to fit the latest readings closely and the earlier ones roughly.
    """
    width = value.shape[1]
    if not width:
        return np.zeros(value.shape)
    order = np.argsort(usable, axis=1, kind="stable")[:, max(0, width - 3) :]
    latest = np.sort(
        np.take_along_axis(np.where(usable, value, np.nan), order, axis=1), axis=1
    )  # what is none comes last
    count = np.isfinite(latest).sum(axis=1)
    rows, middle = np.arange(len(latest)), np.maximum(count - 1, 0)
    median = 0.5 * (latest[rows, middle // 2] + latest[rows, middle - middle // 2])
    excess = np.maximum(np.where(count > 0, median, 1.0) - 1.0, 0.0)
    newest = np.where(usable, day_before, np.inf).min(axis=1, initial=np.inf)
    age = np.where(usable, day_before - np.where(np.isfinite(newest), newest, 0.0)[:, None], 0.0)
    return np.asarray(PATHS.departure * excess[:, None] * np.minimum(age / PATHS.departure_d, 1.0))


def growth_posterior(
    day_before: Floats,
    value: Floats,
    se: Floats,
    usable: Bools,
    base_sd: Floats,
    fail_excess: Floats,
    grid: PathGrid,
    log_prior: Floats,
    ageing: Floats | None = None,
    reference_d: Floats | None = None,
    twice: Bools | None = None,
) -> Growth:
    """Posterior over growth paths for one channel of U vehicles with R readings.

    day_before: days before the assessment (U, R); value, se: multiples of the class-usual value (U, R); usable (U, R);
    base_sd: spread of sound vehicles about 1 (U,); fail_excess: excess at which the part fails in the cold (U,);
    log_prior: (N,), or (U, N) where vehicles differ; ageing, reference_d: (U,) as in :class:`Growth`, none by default:
    readings are seen as on that day, and the class-usual value is that day's; twice: (U, R) readings that were measured
    twice and are no slips.
    """
    sure = np.zeros(value.shape, dtype=bool) if twice is None else twice
    ageing, reference_d = (np.zeros(len(value)) if v is None else v for v in (ageing, reference_d))
    value = value + (ageing / DAYS_PER_YEAR)[:, None] * np.where(usable, day_before - reference_d[:, None], 0.0)
    n = value.shape[0]
    paths = [np.empty((n, grid.size), dtype=np.float32) for _ in range(6)]  # of many vehicles: half the memory
    slip = np.empty(n)
    weight, base, amount, var_base, var_amount, cov = paths
    found = Growth(weight, base, amount, var_base, var_amount, cov, slip, ageing, reference_d)
    loop = compiled(paths_weighed)
    if loop is not None:
        arrays = [np.ascontiguousarray(a, np.float64) for a in (day_before, value, se)]
        marks = [np.ascontiguousarray(a, bool) for a in (usable, sure)]
        each = [np.ascontiguousarray(a, np.float64) for a in (base_sd, fail_excess, np.atleast_2d(log_prior))]
        shape = (_growth_table(PATHS.power), float(PER_DAY), grid.design, grid.pace, _chosen())
        in_chunks(n, CHUNK_UNITS, lambda s: loop(s.start, s.stop, *arrays, *marks, *each, *shape, *paths, slip))
        return found
    log_prior = np.broadcast_to(log_prior, (n, grid.size))

    def fill(s: slice) -> None:
        part = _posterior_chunk(
            day_before[s], value[s], se[s], usable[s], base_sd[s], fail_excess[s], grid, log_prior[s], sure[s]
        )
        for whole, piece in zip(paths, part[:6], strict=True):
            whole[s] = piece
        slip[s] = part[6]

    in_chunks(n, CHUNK_UNITS, fill)
    return found


def _chosen() -> Floats:
    """Choices in the places that the compiled loop asks for."""
    out = np.empty(5)
    out[DEPARTURE], out[DEPARTURE_D], out[SLIP_SE] = PATHS.departure, PATHS.departure_d, PATHS.may_be_slip_se
    out[SLIP_LOG_SHARE], out[AMOUNT_SPREAD] = np.log(PATHS.outlier_share / PATHS.outlier_range), _amount_spread()
    return out


def _amount_spread() -> float:
    """Relative width of a path's amount, that a life step's neighbours overlap by."""
    return PATHS.life_spread * PATHS.power


_Sums = tuple[Floats, Floats, Floats, Floats, Floats]


def _posterior_chunk(
    day_before: Floats,
    value: Floats,
    se: Floats,
    usable: Bools,
    base_sd: Floats,
    fail_excess: Floats,
    grid: PathGrid,
    log_prior: Floats,
    twice: Bools,
) -> list[Floats]:
    usable = usable & np.isfinite(value) & np.isfinite(se)
    se = np.hypot(se, departures(day_before, value, usable))
    y = np.where(usable, value, 0.0)
    w = np.where(usable, 1.0 / np.square(np.where(usable, se, 1.0)), 0.0)
    g = growth_columns(np.where(np.isfinite(day_before), day_before, 1e6))
    s0, s1, s2, sy, sgy = _weighted_sums(y, w, g)
    rows = np.arange(len(y))
    first, last = np.where(usable, day_before, -np.inf).argmax(axis=1), y.shape[1] - 1 - usable[:, ::-1].argmax(axis=1)
    away = np.stack([_stands_out(y, w, y[rows, at], w[rows, at]) for at in (last, first)])
    may = np.stack([np.abs(away[0]), np.where(first == last, 0.0, away[1])]) > PATHS.may_be_slip_se
    kept = _solve((s0, s1, s2, sy, sgy), base_sd, fail_excess, grid, log_prior)
    total_kept = _log_sum(kept[0])
    weight = np.exp(kept[0] - total_kept[:, None])
    log_odds, left = np.full((3, len(y)), -np.inf), []
    for way, at in enumerate((last, first), start=1):
        far = np.flatnonzero(may[way - 1] & ~twice[rows, at])
        y_far, w_far, g_far = (v[far, at[far]] for v in (y, w, g))
        rest = _without((s0[far], s1[far], s2[far], sy[far], sgy[far]), y_far, w_far, g_far)
        without = _solve(rest, base_sd[far], fail_excess[far], grid, log_prior[far])
        total_left = _log_sum(without[0])
        likely = total_kept[far] + 0.5 * np.log(w_far / (2.0 * np.pi)) - 0.5 * w_far * y_far**2
        slipped = total_left + np.log(PATHS.outlier_share / PATHS.outlier_range)
        log_odds[way, far] = slipped - likely
        left.append((way, far, np.exp(without[0] - total_left[:, None]), without[1:]))
    log_odds[0] = 0.0
    odds = np.exp(log_odds - log_odds.max(axis=0))
    share = odds / odds.sum(axis=0)
    ways = [(rows, weight * share[0][:, None], kept[1:])]
    ways += [(far, of_left * share[way, far][:, None], fields_left) for way, far, of_left, fields_left in left]
    return [*_matched(ways), share[1]]


def _matched(ways: Sequence[tuple[Ints, Floats, list[Floats]]]) -> list[Floats]:
    """Weight of every path, and one Gaussian with the mean and spread of all ways of weighing: vehicles, (U, N) weights, and means
    and covariance each; the first way is of every vehicle."""
    of_all = ways[0][1]
    own, many = np.zeros_like(of_all), np.zeros((len(of_all), 1))
    for rows, of_way, _ in ways:
        own[rows] += of_way
        many[rows] += 1.0
    parts = [
        np.where(own[rows] > NIL_SHARE, of_way / np.maximum(own[rows], NIL_SHARE), 1.0 / many[rows])
        for rows, of_way, _ in ways
    ]
    base, amount = np.zeros_like(of_all), np.zeros_like(of_all)
    for (rows, _, of), part in zip(ways, parts, strict=True):
        base[rows] += part * of[0]
        amount[rows] += part * of[1]
    var_base, var_amount, cov = (np.zeros_like(of_all) for _ in range(3))
    for (rows, _, of), part in zip(ways, parts, strict=True):
        a, b = of[0] - base[rows], of[1] - amount[rows]
        var_base[rows] += part * (of[2] + a * a)
        var_amount[rows] += part * (of[3] + b * b)
        cov[rows] += part * (of[4] + a * b)
    return [own, base, amount, var_base, var_amount, cov]


def _log_sum(log_weight: Floats) -> Floats:
    """(U,) log of the summed weights (U, N), none of them nil."""
    most = log_weight.max(axis=1)
    return np.asarray(most + np.log(np.exp(log_weight - most[:, None]).sum(axis=1)))


def _stands_out(y: Floats, w: Floats, y_one: Floats, w_one: Floats) -> Floats:
    """(U,) standard errors by which one reading is above the mean of all others; nil where there are none.

    Where it is near to them, the chance of a slip is below one in a hundred, and counts as none.  Of a first reading only what
    lies above may be one: below it, a part has worn since.
    """
    others = w.sum(axis=1) - w_one
    some = (others > 1e-9 * w_one) & (w_one > 0)
    mean = ((w * y).sum(axis=1) - w_one * y_one) / np.where(some, others, 1.0)
    error = np.sqrt(1.0 / np.where(some, others, 1.0) + 1.0 / np.where(some, w_one, 1.0))
    return np.asarray(np.where(some, (y_one - mean) / error, 0.0))


def _weighted_sums(y: Floats, w: Floats, g: Floats) -> _Sums:
    wg = np.matmul(np.stack([w, w * y], axis=1), g)
    return w.sum(axis=1), wg[:, 0], np.matmul(w[:, None, :], g * g)[:, 0], (w * y).sum(axis=1), wg[:, 1]


def _without(sums: _Sums, y: Floats, w: Floats, g: Floats) -> _Sums:
    """The same sums with one reading taken out again."""
    s0, s1, s2, sy, sgy = sums
    return s0 - w, s1 - w[:, None] * g, s2 - w[:, None] * g**2, sy - w * y, sgy - (w * y)[:, None] * g


def _solve(sums: _Sums, base_sd: Floats, fail_excess: Floats, grid: PathGrid, log_prior: Floats) -> list[Floats]:
    """Conjugate linear regression y = base + amount * growth for every path: log evidence, means, covariance."""
    s0, s1, s2, sy, sgy = sums
    mean = fail_excess[:, None] * grid.pace[None, :]
    p_amount = np.maximum(_amount_spread() * mean, 1e-6)
    np.square(p_amount, out=p_amount)
    np.reciprocal(p_amount, out=p_amount)
    p_base = 1.0 / base_sd[:, None] ** 2
    s1, c, e1 = (v.take(grid.design, axis=1) for v in (s1, s2, sgy))
    for v in (s1, c, e1):
        v[:, 0] = 0.0  # the steady path has no growth
    a, e0 = s0[:, None] + p_base, sy[:, None] + p_base
    c += p_amount
    mean *= p_amount
    e1 += mean
    rest = np.square(mean, out=mean)
    rest /= p_amount  # mean^2 * p_amount
    inverse = a * c
    work = np.square(s1)
    inverse -= work
    log_odds = np.divide(p_amount, inverse, out=p_amount)
    log_odds *= p_base
    np.log(log_odds, out=log_odds)
    np.reciprocal(inverse, out=inverse)
    base = c * e0
    base -= np.multiply(s1, e1, out=work)
    base *= inverse
    amount = a * e1
    amount -= np.multiply(s1, e0, out=work)
    amount *= inverse
    e1 *= amount
    e1 += np.multiply(e0, base, out=work)
    e1 += log_odds
    e1 -= rest
    e1 -= p_base
    e1 *= 0.5
    log_weight = np.add(e1, log_prior, out=e1)
    c *= inverse
    s1 *= inverse
    np.negative(s1, out=s1)
    inverse *= a
    return [log_weight, base, amount, c, inverse, s1]


@dataclass(frozen=True)
class DrawNoise(Rows):
    """Chance of K draws of U vehicles, of one channel's growth."""

    chance: Draws
    channel: str

    @property
    def draws(self) -> int:
        """K."""
        return self.chance.count

    @property
    def path(self) -> Floats:
        """(U, K) places in (0, 1), spread over all of it."""
        return self.chance.even(f"{self.channel} path")

    def normal(self, name: str, where: Bools | None = None) -> Floats:
        """(U, K) standard normal of amount, base or pace; nil where it is not asked for (U, K)."""
        return self.chance.normal(f"{self.channel} {name}", where)


@dataclass(frozen=True)
class Rare(Rows):
    """That paths on which a part soon fails are drawn more often than they are probable, because a few of K draws would make up all
    of a small chance; each such draw counts for less (importance sampling: Kahn and Marshall 1953).

    fail_excess: (U,) excess at which the part fails; weight: (U, K) what each draw counts, multiplied as paths are drawn.
    """

    fail_excess: Floats
    weight: Floats

    def often(self, growth: Growth, grid: PathGrid) -> tuple[Reals, Reals]:
        """(U, N) each: how often the paths are drawn, and what a draw of each counts, the inverse of how much more often.

        A path that soon adds a share of the failing excess (`rare_excess`) or more is drawn up to so many times more often
        (`rare_times`), slower ones less by the square, none where they are no rarity: few draws are spent on it (`rare_share`).
        """
        times, most = PATHS.rare_times, PATHS.rare_share
        excess = growth.amount * _grown(grid, np.array([PATHS.rare_d])) / self.fail_excess[:, None]
        fast = np.square(np.clip(excess / PATHS.rare_excess, 0.0, 1.0))
        weight = growth.weight / growth.weight.sum(axis=1, dtype=np.float64)[:, None]
        share = (weight * fast).sum(axis=1, keepdims=True)
        more = 1.0 + np.minimum(times, most / np.maximum(share, most / times)) * fast
        often = weight * more
        return often.astype(np.float32), (often.sum(axis=1, keepdims=True) / more).astype(np.float32)


def draw_values(
    growth: Growth, grid: PathGrid, ahead_d: Floats, noise: DrawNoise, rare: Rare | None = None
) -> npt.NDArray[np.float32]:
    """(H, U, K) drawn values (multiples of class-usual) `ahead_d` days after the assessment (negative: before; AS_BUILT: as it
    would be today had nothing worn); rare: without it every draw counts the same."""
    place, base_z = noise.path, noise.normal("base")
    often, counts = (growth.weight, np.ones_like(growth.weight)) if rare is None else rare.often(growth, grid)
    weight = np.ones(place.shape) if rare is None else rare.weight
    loop = compiled(values_drawn)
    if loop is not None:
        steady = often[:, :1].astype(np.float64) / often.sum(axis=1, dtype=np.float64)[:, None]
        worn = place > steady * (1.0 - SURELY_STEADY)
        shape = _grown(grid, np.concatenate([[0.0], ahead_d]))
        chance = (place, noise.normal("amount", worn), base_z, noise.normal("pace", worn))
        found = np.empty((len(ahead_d), *place.shape), dtype=np.float32)
        loop(
            0, len(place),
            *(np.ascontiguousarray(of, np.float32) for of in (often, counts)), *growth.fields[1:],
            *(np.ascontiguousarray(z, np.float64) for z in chance),
            PATHS.pace_sd, shape[0], shape[1:], np.asarray(ahead_d, np.float64),
            np.stack([growth.aged(ahead) for ahead in ahead_d]), found, weight,
        )  # fmt: skip
        return found
    path = _draw_paths(often, place)
    weight *= np.take_along_axis(counts, path, axis=1)
    amount_z, pace_z = (noise.normal(name, path > 0) for name in ("amount", "pace"))

    def take(field: Reals) -> Floats:
        return np.asarray(np.take_along_axis(field, path, axis=1), dtype=np.float64)

    amount, var_amount, cov = take(growth.amount), take(growth.var_amount), take(growth.cov)
    drawn = np.maximum(amount + np.sqrt(var_amount) * amount_z, 0.0)
    drawn = np.where(path == 0, 0.0, drawn)
    var_rest = np.maximum(take(growth.var_base) - cov**2 / var_amount, 1e-12)
    base = take(growth.base) + np.where(path == 0, 0.0, cov / var_amount * (drawn - amount))
    base = base + np.sqrt(var_rest) * base_z
    out = np.empty((len(ahead_d), *path.shape), dtype=np.float32)
    pace = np.exp(PATHS.pace_sd * pace_z - 0.5 * PATHS.pace_sd**2)
    now, *later = (grown[path] for grown in _grown(grid, np.concatenate([[0.0], ahead_d])))
    for k, (ahead, then) in enumerate(zip(ahead_d, later, strict=True)):
        out[k] = base + drawn * (now + pace * (then - now) if ahead > 0 else then) + growth.aged(ahead)[:, None]
    return out


def _grown(grid: PathGrid, ahead_d: Floats) -> Floats:
    """(H, N) growth of each path `ahead_d` days after the assessment (H,)."""
    since = np.maximum(np.nan_to_num(grid.lag, nan=-np.inf) + ahead_d[:, None], 0.0)
    return np.asarray((since / DAYS_PER_YEAR) ** PATHS.power)


def _draw_paths(weight: Reals, even: Floats) -> Ints:
    """(U, K) stratified draws of paths by their weight (U, N) at the places `even` (U, K)."""
    size = weight.shape[1]
    cumulative = np.cumsum(weight, axis=1, dtype=np.float64)
    cumulative /= cumulative[:, -1:]
    offset = np.arange(len(cumulative))[:, None] * 2.0
    found = np.searchsorted((cumulative + offset).ravel(), (even + offset).ravel()).reshape(even.shape)
    return np.asarray(np.minimum(found - offset.astype(np.int64) // 2 * size, size - 1), dtype=np.int64)


def levels_of(growth: Growth, grid: PathGrid, later_d: float, back_d: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """(U,) posterior mean of the value today and its standard deviation, means `later_d` days ahead and `back_d` (U,) days ago."""
    loop = compiled(path_means)
    if loop is None:
        later, _ = mean_value(growth, grid, later_d)
        return *mean_value(growth, grid, 0.0), later, mean_before(growth, grid, back_d)
    found = np.empty((4, len(back_d)))
    shapes, back = _grown(grid, np.array([0.0, later_d])), growth_columns(back_d)
    loop(0, len(back_d), *growth.fields, shapes, back, grid.design, SURELY_GROWS_SD, LEAST_PATH_WEIGHT, found)
    level, later, before = (
        np.maximum(mean + growth.aged(day), OBSERVING.least_level)
        for mean, day in ((found[0], 0.0), (found[2], later_d), (found[3], -back_d))
    )
    return level, np.sqrt(np.maximum(found[1], 0.0)), later, before


def mean_value(growth: Growth, grid: PathGrid, ahead_d: float) -> tuple[Floats, Floats]:
    """(U,) posterior mean and standard deviation of the value `ahead_d` days after the assessment."""
    shape = _grown(grid, np.array([ahead_d]))
    weight = growth.weight.astype(np.float64)
    amount, base, variance, cov = growth.worn_only
    value = amount * shape
    value += base
    mean = np.einsum("un,un->u", weight, value)
    value -= mean[:, None]
    spread = variance * shape**2
    spread += cov * (2.0 * shape)
    spread += growth.var_base
    spread += np.square(value, out=value)
    sd = np.sqrt(np.maximum(np.einsum("un,un->u", weight, spread), 0.0))
    return np.maximum(mean + growth.aged(ahead_d), OBSERVING.least_level), sd


def mean_before(growth: Growth, grid: PathGrid, back_d: Floats) -> Floats:
    """(U,) posterior mean of the value `back_d` (U,) days ago, another day for each vehicle."""
    shape = growth_columns(back_d).take(grid.design, axis=1)
    shape[:, 0] = 0.0  # the steady path has no growth
    amount, base, _, _ = growth.worn_only
    shape *= amount
    shape += base
    mean = np.einsum("un,un->u", growth.weight.astype(np.float64), shape) + growth.aged(-back_d)
    return np.asarray(np.maximum(mean, OBSERVING.least_level))


def onset_day(growth: Growth, grid: PathGrid) -> Floats:
    """(U,) median days since wear began; NaN where steady is more likely than not."""
    worn = growth.weight[:, 1:]
    total = worn.sum(axis=1)
    order, likely = np.argsort(grid.lag[1:], kind="stable"), np.flatnonzero(total > 0.5)
    cumulative = np.cumsum(worn[likely][:, order], axis=1) / total[likely][:, None]
    at = (cumulative < 0.5).sum(axis=1)
    out = np.full(len(total), np.nan)
    out[likely] = grid.lag[1:][order][np.minimum(at, len(order) - 1)]
    return out
