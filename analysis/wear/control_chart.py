"""The CUSUM's run lengths, and its threshold for a stated rate of false flags.

The rate is in flags per 100 healthy vehicle-years, because that is what a workshop feels; the run length of a chart
follows from it, from how often vehicles are read and from how many channels are watched.
"""

from functools import lru_cache

import numpy as np
import scipy

from analysis.wear.choices import DRIFT

CELLS = 120  # cells of the Markov chain; run lengths to 0.1 % for thresholds up to 10
THRESHOLD_RANGE = (0.25, 25.0)
NEAR_LOG_RUN_LENGTH = (2.6, 0.8)  # the threshold lies so much below the logarithm of the run length, as a rule


@lru_cache(maxsize=256)
def run_length(h: float, k: float = DRIFT.allowance, *, shift: float = 0.0, winsor: float | None = None) -> float:
    """Average number of readings until the one-sided CUSUM of N(shift, 1) values, from 0, exceeds h.

    winsor: values count at most this much (None: fully).  Source: Brook & Evans 1972, Markov chain (from memory,
    checked against Hawkins & Olwell 1998).
    """
    if not (h > 0.0 and k >= 0.0):
        raise ValueError(f"h is {h} and k is {k}; allowed are h above 0 and k of at least 0")
    width = 2.0 * h / (2.0 * CELLS - 1.0)
    at = np.arange(CELLS) * width  # values of the CUSUM; the first cell is zero
    edge = at[None, :] + 0.5 * width - at[:, None] + k
    below = scipy.special.ndtr(edge - shift)
    if winsor is not None:
        below = np.where(edge >= winsor, 1.0, np.where(edge < -winsor, 0.0, below))
    stay = np.diff(below, axis=1, prepend=0.0)  # probabilities of going from one to another
    return float(np.linalg.solve(np.eye(CELLS) - stay, np.ones(CELLS))[0])


def threshold_for_rate(
    flags_per_100: float, readings_per_year: float, channels: int, *, winsor: float | None = DRIFT.winsor
) -> float:
    """Threshold h at which sound vehicles are flagged `flags_per_100` times in 100 vehicle-years over all channels.

    flags_per_100: above 0; readings_per_year: per vehicle and channel; channels: how many are watched.  The rate of
    the union is at most the sum of the channels' rates, so it is an upper bound when channels go together.  The
    least threshold, 0.25, where readings are so seldom that it raises fewer.  Raises ValueError when none up to 25 gives the rate.
    """
    if not (flags_per_100 > 0.0 and readings_per_year > 0.0 and channels >= 1):
        raise ValueError(
            f"flags_per_100 is {flags_per_100}, readings_per_year {readings_per_year}, channels {channels}; "
            "allowed are values above 0 and at least one channel"
        )
    wanted = 100.0 * readings_per_year * channels / flags_per_100
    low, high = THRESHOLD_RANGE
    if wanted <= run_length(low, winsor=winsor):
        return low
    if wanted > run_length(high, winsor=winsor):
        raise ValueError(
            f"flags_per_100 is {flags_per_100}: with {readings_per_year:g} readings a year in {channels} channels no "
            f"threshold up to {high} gives this rate"
        )

    def miss(h: float) -> float:
        return float(np.log(run_length(h, winsor=winsor) / wanted))

    below, above = (min(max(float(np.log(wanted)) - d, low), high) for d in NEAR_LOG_RUN_LENGTH)
    if miss(below) < 0.0 < miss(above):
        low, high = below, above
    return float(scipy.optimize.brentq(miss, low, high, xtol=1e-4))
