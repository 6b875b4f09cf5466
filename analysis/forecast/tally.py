"""No-starts that looks at the past expected beside those on record: whether they differ by more than chance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.forecast.choices import LEARNING
from analysis.readings.panel import Floats, Ints

TRIALS = 4000  # of the same weeks, for a chance of one in a hundred
SEED = 41


@dataclass(frozen=True)
class Tally:
    """What the latest looks expected as the list says it now, and what came.

    days: how long their windows were together; expected: no-starts to be on record; came: on record, those left out that had
    nothing to do with the circuit; by_chance: probability of so few, or of so many, if the list is right.
    """

    days: int
    expected: float
    came: float
    by_chance: float

    @property
    def times(self) -> float:
        """How many times as many were expected as came; below 1 where more came."""
        return self.expected / max(self.came, 1.0)

    @property
    def off(self) -> bool:
        """Whether chances read off the list would mislead, by more than chance."""
        far = max(self.times, 1.0 / max(self.times, 1e-9)) >= LEARNING.off_times
        return self.by_chance < LEARNING.off_chance and far


NOTHING = Tally(0, 0.0, 0.0, 1.0)


def tally(expected: list[Floats], came: Floats) -> Tally:
    """The latest looks together; expected: (W,) of each, no-starts to be on record in each of W winters that its depots may have met
    together, each as probable as the others; came: of each."""
    if not expected:
        return NOTHING
    chance = np.random.default_rng(SEED)
    of_winter = np.stack(expected)
    looks, winters = of_winter.shape
    met: Ints = chance.integers(winters, size=(TRIALS, looks))
    total = chance.poisson(of_winter[np.arange(looks), met].sum(axis=1))
    low, high = (total <= round(came.sum())).mean(), (total >= round(came.sum())).mean()
    return Tally(looks * LEARNING.span_d, float(of_winter.mean(axis=1).sum()), float(came.sum()), float(min(low, high)))
