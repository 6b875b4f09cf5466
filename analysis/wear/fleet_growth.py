"""Growth of one channel in a whole fleet: a posterior of a few vehicles at a time, and of each what the list asks for.

The posterior of one vehicle is some 350 numbers a channel, so those of a large fleet would fill the memory. It is made
in chunks that fit the cache, drawn from and summed up there, and made again for the one vehicle whose page is opened.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analysis.arrays import Rows
from analysis.readings.panel import Bools, Floats, Ints, Reals, in_chunks
from analysis.wear.choices import PATHS
from analysis.wear.growth_laws import relearned
from analysis.wear.paths import (
    CHUNK_UNITS,
    DrawNoise,
    Growth,
    PathGrid,
    Rare,
    draw_values,
    growth_posterior,
    levels_of,
    onset_day,
)

ONSET_SLACK_D = 15.0  # the shortest onset lag: wear may begin on the day a part is fitted
BEFORE_D = 270.0  # a level is compared with that of nine months ago, or of the first reading since the last repair
GROWTH_D = 30.0  # growth is that over the coming month


PER_VEHICLE = ("before_d", "value", "se", "usable", "base_sd", "fail_excess", "age_d", "group", "ageing", "reference_d")


@dataclass(frozen=True)
class ChannelReadings:
    """Everything that the growth posterior of one channel is made of, for U vehicles of G classes.

    before_d: days before the assessment (U, R); value, se: multiples of class-usual (U, R); usable: (U, R); base_sd,
    fail_excess: (U,); age_d: days since the part was fitted (U,), inf for unknown; group: (U,); ageing: what all parts
    of a class gain in a year (U,), seen from reference_d days before the assessment (U,); log_prior: (N,);
    ratio: (G, N) what the fleet's growth laws multiply its weights by; made: the posterior of all before that, where it was made;
    twice: (U, R) readings that were measured twice, None for none.
    """

    before_d: Floats
    value: Floats
    se: Floats
    usable: Bools
    base_sd: Floats
    fail_excess: Floats
    age_d: Floats
    group: Ints
    ageing: Floats
    reference_d: Floats
    grid: PathGrid
    log_prior: Floats
    ratio: Reals | None = None
    made: Growth | None = None
    twice: Bools | None = None

    def of(self, rows: slice | Ints) -> ChannelReadings:
        """What the growth of some vehicles is made of."""
        return replace(
            self,
            **{name: getattr(self, name)[rows] for name in PER_VEHICLE},
            made=None if self.made is None else self.made.of(rows),
            twice=None if self.twice is None else self.twice[rows],
        )

    def posterior(self, rows: slice | Ints) -> Growth:
        """Growth of some vehicles, under the growth laws where they are known."""
        growth = self._stated(rows) if self.made is None else self.made.of(rows)
        return growth if self.ratio is None else relearned(growth, self.ratio[self.group[rows]])

    def _stated(self, rows: slice | Ints) -> Growth:
        own = self.of(rows)
        log_prior = own.log_prior + older_than_the_part(own.grid, own.age_d)
        return growth_posterior(
            own.before_d, own.value, own.se, own.usable, own.base_sd, own.fail_excess, own.grid, log_prior, own.ageing,
            own.reference_d, own.twice,
        )  # fmt: skip


@dataclass(frozen=True)
class GrowthSummary(Rows):
    """What is kept of U posteriors, arrays (U,).

    steady: probability that the part does not wear; level, level_sd: its value today (multiples of class-usual); later:
    GROWTH_D ahead; before: `back_d` days ago; back_d: BEFORE_D, or less where the readings that count began later;
    onset_d: days since wear began, NaN where steady is more likely; last_slip: probability that the latest reading is one.
    """

    steady: Floats
    level: Floats
    level_sd: Floats
    later: Floats
    before: Floats
    back_d: Floats
    onset_d: Floats
    last_slip: Floats


def older_than_the_part(grid: PathGrid, age_d: Floats) -> Floats:
    """(U, N) log odds against wear that began before the part was fitted, `age_d` days ago (U,), inf for unknown.

    Not nil, because now and then a repair is recorded for a part that was left as it was.
    """
    before = np.nan_to_num(grid.lag, nan=0.0)[None, :] > age_d[:, None] + ONSET_SLACK_D
    return np.where(before, np.log(PATHS.not_renewed), 0.0)


def drawn_values(
    readings: ChannelReadings,
    ahead_d: Floats,
    noise: DrawNoise,
    also: Callable[[slice, Growth], None] = lambda _rows, _growth: None,
    rare: Rare | None = None,
) -> npt.NDArray[np.float32]:
    """(H, U, K) values of all vehicles drawn `ahead_d` days after the assessment; also: called with each posterior of some;
    rare: as in :func:`draw_values`."""
    n, grid = len(readings.value), readings.grid
    drawn = np.empty((len(ahead_d), n, noise.draws), dtype=np.float32)

    def fill(s: slice) -> None:
        own = readings.posterior(s)
        drawn[:, s] = draw_values(own, grid, ahead_d, noise.of(s), None if rare is None else rare.of(s))
        also(s, own)

    in_chunks(n, CHUNK_UNITS, fill)
    return drawn


def summed_up(
    readings: ChannelReadings, ahead_d: Floats, noise: DrawNoise, rare: Rare | None = None
) -> tuple[GrowthSummary, npt.NDArray[np.float32]]:
    """Summary of all vehicles, and :func:`drawn_values`."""
    n, grid = len(readings.value), readings.grid
    first = np.where(readings.usable, readings.before_d, -np.inf).max(axis=1, initial=-np.inf)
    back = np.minimum(np.where(np.isfinite(first), first, 0.0), BEFORE_D)
    steady, level, level_sd, later, before, onset, slip = (np.empty(n) for _ in range(7))

    def keep(s: slice, own: Growth) -> None:
        steady[s], onset[s], slip[s] = own.weight[:, 0], onset_day(own, grid), own.last_slip
        level[s], level_sd[s], later[s], before[s] = levels_of(own, grid, GROWTH_D, back[s])

    drawn = drawn_values(readings, ahead_d, noise, keep, rare)
    return GrowthSummary(steady, level, level_sd, later, before, back, onset, slip), drawn
