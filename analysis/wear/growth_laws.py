"""What a fleet teaches about growth: how often wear of each channel begins, and how long it takes.

"Growth laws" in NUMBERS.md. Expectation and maximisation in turn (Dempster, Laird and Rubin 1977), with the maximum a
posteriori of a Poisson rate under a gamma prior and of shares under a Dirichlet prior (Gelman et al., Bayesian Data
Analysis, 3rd ed., 2.6 and 3.4; both from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy

from analysis.arrays import Rows
from analysis.constants import DAYS_PER_YEAR
from analysis.readings.panel import Bools, Floats, Ints, Panel, Reals, evenly
from analysis.readings.renewals import EndedLives
from analysis.readings.taught import TaughtClass
from analysis.wear.choices import AGEING, GROWTH, PATHS
from analysis.wear.paths import LIVES_D, ChannelPrior, Growth, GrowthPrior, PathGrid, growth_posterior, standing_alone

ROUNDS = 4  # of expectation and maximisation
AGEING_ROUNDS = 8
MOST_LIVES = 3000  # of each channel are looked at, past and present each: for speed


@dataclass(frozen=True)
class ReadLives:
    """Lives of one channel's parts as read, L of them: weight (L, N) of each path under the prior they were read with;
    span_d (L,) from the first reading to the life's end or to today; group (L,) class code."""

    weight: Reals
    span_d: Floats
    group: Ints


@dataclass(frozen=True)
class Ageing(Rows):
    """Of one channel and G classes: per_year, what all parts gain in a year (class-usual values); se of it; middle: day
    [d since 1970] on which the class-usual value holds; lives: (G,) that tell."""

    per_year: Floats
    se: Floats
    middle: Floats
    lives: Ints


@dataclass(frozen=True)
class GrowthLaws:
    """Growth laws of G classes: prior, one per class; years, onsets: (G, C) part-years watched, and wear that began in
    them (expected number); ageing: of each channel."""

    prior: tuple[GrowthPrior, ...]
    years: Floats
    onsets: Floats
    ageing: tuple[Ageing, ...]
    counts: float = GROWTH.class_counts  # cases that the fleet's own law counts as much as

    def of_class(self, g: int) -> GrowthLaws:
        """The laws of one class alone."""
        one = slice(g, g + 1)
        ageing = tuple(a.of(one) for a in self.ageing)
        return GrowthLaws(self.prior[one], self.years[one], self.onsets[one], ageing, self.counts)

    def ratio(self, grid: PathGrid, channel: int, base: GrowthPrior) -> Reals:
        """(G, N) weight of every path over that under `base`, 32-bit as a posterior's weights are."""
        before = base.log_weights(grid, channel)
        return np.exp(np.stack([p.log_weights(grid, channel) - before for p in self.prior])).astype(np.float32)


def ordinary_ageing(
    day: Floats,
    value: Floats,
    se: Floats,
    usable: Bools,
    base_sd: Floats,
    group: Ints,
    classes: int,
    taught: Mapping[int, tuple[float, float]] | None = None,
) -> Ageing:
    """Slope that the vehicles of a class have in common: what contacts and joints gain without being worn.

    day, value, se, usable: (U, R); base_sd, group: (U,).  Slopes by weighted least squares, of the vehicles that have not
    come to read high; their centre by weights that leave out what lies far from it (a redescending M-estimate, Huber
    and Ronchetti, Robust Statistics, 2nd ed., 4.8, from memory), since worn parts rise faster; shrunk to none, and every
    class to the fleet.  taught: of a class, what another fleet knows of it and with which error [1/a].
    """
    w = np.where(usable, 1.0 / np.square(np.where(usable, se, 1.0)), 0.0)
    x = np.where(usable, day, 0.0) / DAYS_PER_YEAR
    y = np.where(usable, value, 0.0)
    total = np.maximum(w.sum(axis=1), 1e-12)
    x_mean = (w * x).sum(axis=1) / total
    off = np.where(usable, x - x_mean[:, None], 0.0)
    carried = (w * off**2).sum(axis=1)
    span = np.ptp(np.where(usable, x, x_mean[:, None]), axis=1) if x.shape[1] else np.zeros(len(x))
    told = (usable.sum(axis=1) >= AGEING.fewest_readings) & (span >= AGEING.least_span_a) & (carried > 0)
    slope = np.where(told, (w * off * y).sum(axis=1) / np.where(told, carried, 1.0), np.nan)
    y_mean = (w * y).sum(axis=1) / total
    ends = y_mean + np.nan_to_num(slope) * np.where(usable, x - x_mean[:, None], 0.0).max(axis=1, initial=0.0)
    told &= ends < 1.0 + AGEING.sound_sd * base_sd
    variance = np.where(told, 1.0 / np.where(told, carried, 1.0), np.nan) + AGEING.spread**2
    whole, _, _ = _centre(slope[told], variance[told], 0.0, AGEING.sd)
    found = []
    for g in range(classes):
        own, before = told & (group == g), (taught or {}).get(g, (whole, AGEING.class_sd))
        found.append(_centre(slope[own], variance[own], *before))
    days = [day[group == g][usable[group == g]] for g in range(classes)]
    middle = np.array([np.median(own) if len(own) else 0.0 for own in days])
    rate, var, lives = (np.array(v) for v in zip(*found, strict=True))
    return Ageing(np.clip(rate, 0.0, AGEING.most), np.sqrt(var), middle, lives.astype(np.int64))


def _centre(slope: Floats, variance: Floats, prior: float, prior_sd: float) -> tuple[float, float, int]:
    """Centre of slopes, its variance, and how many tell: what is given before, where they are too few or agree on nothing."""
    if len(slope) < AGEING.fewest_telling:
        return prior, prior_sd**2, 0
    centre = float(np.median(slope))
    near = np.abs(slope - centre) < AGEING.far_sd * np.sqrt(variance)
    for _ in range(AGEING_ROUNDS):
        if near.sum() < AGEING.fewest_telling / 2:
            return prior, prior_sd**2, 0
        weight = near / variance
        centre, before = float((weight * slope).sum() / weight.sum()), near
        near = np.abs(slope - centre) < AGEING.far_sd * np.sqrt(variance)
        if (near == before).all():
            break
    information = float((near / variance).sum())
    return (
        (information * centre + prior / prior_sd**2) / (information + prior_sd**-2),
        1.0 / (information + prior_sd**-2),
        int(near.sum()),
    )


def span_of(day: Floats, usable: Bools, end: Floats) -> Floats:
    """(U,) days from the first usable reading (U, R) to `end` (U,), 0 without any."""
    first = np.where(usable, day, np.inf).min(axis=1, initial=np.inf)
    return np.where(np.isfinite(first), np.maximum(end - np.where(np.isfinite(first), first, 0.0), 0.0), 0.0)


def past_lives(
    panel: Panel,
    value: Floats,
    se: Floats,
    lives: EndedLives,
    base_sd: Floats,
    fail_excess: Floats,
    grid: PathGrid,
    log_prior: Floats,
    ageing: Ageing,
) -> ReadLives:
    """Lives of one channel that a renewal ended.

    value, se: (U, R); base_sd: (U,); fail_excess: (G,); log_prior: (N,); ageing: of the channel.  Where a no-start ended
    the life, it must have worn by then, whatever the last reading before said.
    """
    some = evenly(len(lives.unit), MOST_LIVES)
    unit, begin, end, failed = (a[some] for a in (lives.unit, lives.begin, lives.end, lives.failed))
    day = panel.day[unit]
    with np.errstate(invalid="ignore"):
        use = np.isfinite(value[unit]) & panel.present[unit]
        use &= (day > begin[:, None] + 0.99) & (day < np.floor(end)[:, None])
    use &= ~standing_alone(value[unit], se[unit], use)
    told = use.sum(axis=1) >= 2
    unit, end, failed, use, day = unit[told], end[told], failed[told], use[told], day[told]
    group = panel.group[unit]
    fails, gains, since = fail_excess[group], ageing.per_year[group], end - ageing.middle[group]
    found = growth_posterior(
        end[:, None] - day, value[unit], se[unit], use, base_sd[unit], fails, grid, log_prior, gains, since
    )
    lag = np.nan_to_num(grid.lag, nan=0.0) / DAYS_PER_YEAR
    excess = found.amount * lag**PATHS.power / fail_excess[group][:, None]
    ended = np.maximum(scipy.special.ndtr((excess - GROWTH.ends_at) / GROWTH.ends_at_sd), GROWTH.ends_sound)
    weight = found.weight * np.where(failed[:, None], ended, 1.0)
    return ReadLives(weight / weight.sum(axis=1, keepdims=True), span_of(day, use, end), group)


def present_vehicles(usable: Bools) -> Ints:
    """Vehicles whose present part of one channel tells of growth, spread evenly over the fleet; usable: (U, R)."""
    rows = np.flatnonzero(usable.sum(axis=1) >= 2)
    return rows[evenly(len(rows), MOST_LIVES)]


def present_lives(panel: Panel, growth: Growth, usable: Bools, day: float, rows: Ints) -> ReadLives:
    """Lives of one channel that go on, of the vehicles `rows`, whose growth it is; usable: (U, R) of all."""
    span = span_of(panel.day[rows], usable[rows], np.full(len(rows), day))
    return ReadLives(growth.weight, span, panel.group[rows])


def learn_growth(
    lives: Sequence[Sequence[ReadLives]],
    ageing: Sequence[Ageing],
    grid: PathGrid,
    base: GrowthPrior,
    classes: int,
    taught: Sequence[TaughtClass | None] = (),
) -> GrowthLaws:
    """Growth laws from the lives of each channel, which were read under `base`: of the whole fleet, then of each class.

    A class begins from what another fleet taught of it, else from the whole of this one.
    """
    years, onsets = np.zeros((classes, len(lives))), np.zeros((classes, len(lives)))
    rate, share = np.empty((classes, len(lives))), np.empty((classes, len(lives), len(LIVES_D)))
    for c, read in enumerate(lives):
        weight = np.concatenate([one.weight for one in read]).astype(np.float64)
        span = np.concatenate([one.span_d for one in read])
        group = np.concatenate([one.group for one in read])
        stated, before = base.channel(c), base.log_weights(grid, c)
        lag = np.nan_to_num(grid.lag, nan=np.inf)[None, :]
        begun = weight * (lag < span[:, None])  # the steady path never does
        years_free = np.where(np.isfinite(lag), np.maximum(span[:, None] - lag, 0.0), span[:, None]) / DAYS_PER_YEAR
        free = weight * years_free
        whole, _, _ = _fit(
            (weight, begun, free), span, grid, stated, before, (GROWTH.onset_counts, GROWTH.life_counts),
        )  # fmt: skip
        for g in range(classes):
            mine = group == g
            told = taught[g] if taught else None
            begin = whole if told is None else ChannelPrior(float(told.onset_per_year[c]), told.life_share[c])
            law, years[g, c], onsets[g, c] = _fit(
                (weight[mine], begun[mine], free[mine]), span[mine], grid, begin, before, (GROWTH.class_counts,) * 2
            )
            rate[g, c], share[g, c] = law.onset_per_year, law.life_share
    return GrowthLaws(tuple(map(GrowthPrior, rate, share)), years, onsets, tuple(ageing))


def _fit(
    lives: tuple[Floats, Floats, Floats],
    span_d: Floats,
    grid: PathGrid,
    prior: ChannelPrior,
    read_with: Floats,
    counts: tuple[float, float],
) -> tuple[ChannelPrior, float, float]:
    """One channel's law, shrunk to `prior`; part-years watched, and onsets in them.

    lives: weights (L, N), those of paths that began while the part was read, and weights times the years in which these could
    have begun; read_with: (N,) log prior that the weights were made under; counts: cases that the prior's rate and lives count
    as much as.
    """
    weight, begun, free = lives
    _, of_life = grid.steps
    law, seen, years = prior, 0.0, 0.0
    for _ in range(ROUNDS):
        ratio = np.exp(law.log_weights(grid) - read_with)
        total = np.maximum(weight @ ratio, 1e-300)
        told = 1.0 - weight[:, 0] * ratio[0] / total > GROWTH.told
        share = told / total
        onsets = ratio * (share @ begun)
        seen = float(onsets.sum())
        years = float(share @ (free @ ratio)) + float(span_d[~told].sum()) / DAYS_PER_YEAR
        by_life = counts[1] * prior.life_share + np.bincount(of_life, onsets[1:], len(LIVES_D))
        rate = (counts[0] + seen) / (counts[0] / prior.onset_per_year + years)
        law = ChannelPrior(rate, by_life / by_life.sum())
    return law, years, seen


def relearned(growth: Growth, ratio: Reals) -> Growth:
    """The same posterior under other prior weights; ratio: (U, N) new over old, as :meth:`GrowthLaws.ratio`."""
    weight = growth.weight * ratio
    weight /= np.maximum(weight.sum(axis=1, keepdims=True), 1e-30)
    return replace(growth, weight=weight)
