"""How often the part that a visit was planned for was the one at fault, from what was found there."""

from collections.abc import Sequence

import numpy as np

from analysis.backtest.choices import PAST_LISTS
from analysis.backtest.reliability import wilson_interval

LEVEL = 0.80  # of the interval, as of those of the list


def right_part(found: Sequence[str]) -> tuple[int, int, float, float] | None:
    """How many visits found the part expected at fault, of how many that looked, and the 80 % interval of that share (Wilson 1927).

    found: of visits that were for a part: worn, sound or other, what else is not counted; None under `fewest_visits`.
    """
    looked = sum(one in ("worn", "sound", "other") for one in found)
    if looked < PAST_LISTS.fewest_visits:
        return None
    right = sum(one == "worn" for one in found)
    low, high = wilson_interval(np.array([right]), np.array([looked]), level=LEVEL)
    return right, looked, float(low[0]), float(high[0])
