"""The CUSUM's run lengths, its threshold for a stated rate of false flags, and the chances of its statistic.

The rate is in flags per 100 healthy vehicle-years, because that is what a workshop feels; the run length of a chart
follows from it, from how often vehicles are read and from how many channels are watched.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

from analysis.readings.panel import Floats, Ints
from analysis.wear.choices import DRIFT

CELLS = 120  # cells of the Markov chain; run lengths to 0.1 % for thresholds up to 10
CELL_WIDTH = 0.05  # cells of the chain for the chance of a statistic
STATISTIC_CAP = 25.0  # statistics above this have no chance worth telling apart
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


def threshold_for_rate(
    flags_per_100: float,
    readings_per_year: float,
    channels: int,
    k: float = DRIFT.allowance,
    *,
    winsor: float | None = DRIFT.winsor,
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

    below, above = (min(max(float(np.log(wanted)) - d, low), high) for d in NEAR_LOG_RUN_LENGTH)
    if miss(below) < 0.0 < miss(above):
        low, high = below, above
    return float(brentq(miss, low, high, xtol=1e-4))


def chance(
    statistic: Floats, readings: Ints, k: float = DRIFT.allowance, *, winsor: float | None = DRIFT.winsor
) -> Floats:
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
