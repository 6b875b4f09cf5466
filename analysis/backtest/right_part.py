"""How often the part that a visit was planned for was the one at fault, from what was found there."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.backtest.choices import PAST_LISTS
from analysis.backtest.reliability import wilson_interval

LEVEL = 0.80  # of the interval, as of those of the list


@dataclass(frozen=True)
class RightPart:
    """right of looked visits found the part expected at fault; low, high: 80 % interval of that share (Wilson 1927)."""

    right: int
    looked: int
    low: float
    high: float


def right_part(found: Sequence[str]) -> RightPart | None:
    """Of visits that were for a part: worn, sound or other, what else is not counted; None under `fewest_visits`."""
    looked = sum(one in ("worn", "sound", "other") for one in found)
    if looked < PAST_LISTS.fewest_visits:
        return None
    right = sum(one == "worn" for one in found)
    low, high = wilson_interval(np.array([right]), np.array([looked]), level=LEVEL)
    return RightPart(right, looked, float(low[0]), float(high[0]))
