"""The plain check beside the growth model: Theil-Sen slope and Mann-Kendall test.

A person can redo these with a pocket calculator: the slope is the median of the slopes between all pairs of readings,
the test counts how many pairs rise.  Fewer than five readings carry a level only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from analysis.constants import DAYS_PER_YEAR
from analysis.readings.panel import Bools, Floats, Ints
from analysis.wear.choices import PLAIN_TREND

EXACT_UP_TO = 10  # readings up to which the Mann-Kendall test counts permutations (Helsel & Hirsch, from memory)
CHUNK_PAIRS = 400_000  # pairs at a time: they stay in the processor's cache


@dataclass(frozen=True)
class PlainTrend:
    """Per row: level (median), slope and its interval [per year], Mann-Kendall sum and two-sided p, usable readings.

    NaN slope, sum and p with fewer than five readings; NaN level without any.
    """

    level: Floats
    slope_per_year: Floats
    low: Floats
    high: Floats
    rises: Floats
    p: Floats
    readings: Ints


def plain_trend(day: Floats, value: Floats, usable: Bools, *, confidence: float = PLAIN_TREND.confidence) -> PlainTrend:
    """Theil-Sen and Mann-Kendall of every row at once: slope per year with its interval, rising less falling pairs and p.

    day [d], value, usable: (..., R), day may lack leading axes; NaN with fewer than five usable readings; p exact up to
    ten readings without ties, else Gaussian.  Source: Theil 1950, Sen 1968; Helsel & Hirsch, USGS TM 4-A3 (from memory).
    Raises ValueError for a confidence outside 0 to 1.  Sen's interval takes slopes by rank, as scipy.stats.theilslopes.
    """
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence is {confidence}; allowed are values between 0 and 1")
    shape, width = value.shape[:-1], value.shape[-1]
    day = np.broadcast_to(day, value.shape).reshape(-1, width)
    good = (usable & np.isfinite(value)).reshape(-1, width) & np.isfinite(day)
    y = value.reshape(-1, width)
    count = good.sum(axis=1)
    out = np.full((6, len(y)), np.nan)
    order = np.argsort(count, kind="stable")
    a = int(np.searchsorted(count[order], 1))
    while a < len(order):
        widest = max(int(count[order[min(a + CHUNK_PAIRS // 10, len(order) - 1)]]), 2)
        rows = order[a : a + max(1, 2 * CHUNK_PAIRS // (widest * (widest - 1)))]
        out[:, rows] = _chunk(day[rows], y[rows], good[rows], count[rows], confidence)
        a += len(rows)
    level, slope, low, high, rises, p = (v.reshape(shape) for v in out)
    return PlainTrend(level, slope, low, high, rises, p, count.reshape(shape))


def _chunk(day: Floats, value: Floats, good: Bools, n: Ints, confidence: float) -> Floats:
    """(6, rows) level, slope, low, high, rises, p of rows with at least one reading each."""
    width = int(n.max())
    front = np.argsort(~good, axis=1, kind="stable")[:, :width]
    here = np.arange(width)[None, :] < n[:, None]
    x = np.where(here, np.take_along_axis(day, front, axis=1), np.nan)
    y = np.where(here, np.take_along_axis(value, front, axis=1), np.nan)
    out = np.full((6, len(y)), np.nan)
    ordered = np.sort(y, axis=1)
    out[0] = _middle(ordered, n)
    if width < PLAIN_TREND.fewest_readings:
        return out
    slopes = _pair_slopes(x, y)
    rises = ((slopes > 0.0).sum(axis=1) - (slopes < 0.0).sum(axis=1)).astype(np.float64)
    slopes.sort(axis=1)
    pairs = np.isfinite(slopes).sum(axis=1)
    ties_y, ties_x = _tie_sums(ordered), _tie_sums(np.sort(x, axis=1))
    plain_var = np.maximum(n * (n - 1.0) * (2.0 * n + 5.0) - ties_y[2] - ties_x[2], 0.0) / 18.0
    half = float(ndtri(0.5 + 0.5 * confidence)) * np.sqrt(plain_var)
    last = np.maximum(pairs - 1, 0)
    upper = np.clip(np.round(0.5 * (pairs + half)), 0, last).astype(np.int64)
    lower = np.clip(np.round(0.5 * (pairs - half)) - 1, 0, last).astype(np.int64)
    out[1] = _middle(slopes, pairs)
    out[2] = np.take_along_axis(slopes, lower[:, None], axis=1)[:, 0]
    out[3] = np.take_along_axis(slopes, upper[:, None], axis=1)[:, 0]
    out[1:4] *= DAYS_PER_YEAR
    out[4], out[5] = rises, _two_sided(rises, n, plain_var, ties_y, ties_x)
    out[1:, n < PLAIN_TREND.fewest_readings] = np.nan
    return out


def _pair_slopes(x: Floats, y: Floats) -> Floats:
    """(rows, pairs) slopes between all readings, NaN for pairs that do not exist or are of the same moment."""
    n, width = y.shape
    out = np.empty((n, width * (width - 1) // 2))
    a = 0
    for lag in range(1, width):
        b = a + width - lag
        np.subtract(y[:, lag:], y[:, :-lag], out=out[:, a:b])
        apart = x[:, lag:] - x[:, :-lag]
        apart[apart == 0.0] = np.nan
        out[:, a:b] /= apart
        a = b
    return out


def _middle(ordered: Floats, n: Ints) -> Floats:
    """Median of the first n of every ordered row; NaN for none."""
    at = np.stack([np.maximum(n - 1, 0) // 2, np.minimum(n // 2, ordered.shape[1] - 1)], axis=1)
    return np.asarray(np.take_along_axis(ordered, at, axis=1).mean(axis=1))


def _tie_sums(ordered: Floats) -> tuple[Floats, Floats, Floats]:
    """Per row, over its groups of t equal values: sums of t(t-1), t(t-1)(t-2) and t(t-1)(2t+5)."""
    sums = np.zeros((3, len(ordered)))
    tied = np.flatnonzero((ordered[:, 1:] == ordered[:, :-1]).any(axis=1))
    if len(tied):
        some = ordered[tied]
        t = (some[:, :, None] == some[:, None, :]).sum(axis=2).astype(np.float64)
        t = np.where(np.isfinite(some), t, 1.0)
        sums[:, tied] = np.stack([t - 1.0, (t - 1.0) * (t - 2.0), (t - 1.0) * (2.0 * t + 5.0)]).sum(axis=2)
    return sums[0], sums[1], sums[2]


def _two_sided(
    rises: Floats,
    n: Ints,
    plain_var: Floats,
    ties_y: tuple[Floats, Floats, Floats],
    ties_x: tuple[Floats, Floats, Floats],
) -> Floats:
    """p of the Mann-Kendall sum: Gaussian with continuity correction and ties (Kendall 1970), exact for few values."""
    variance = plain_var + ties_y[0] * ties_x[0] / (2.0 * n * np.maximum(n - 1.0, 1.0))
    variance = variance + ties_y[1] * ties_x[1] / (9.0 * n * np.maximum((n - 1.0) * (n - 2.0), 1.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.where(rises == 0.0, 0.0, (np.abs(rises) - 1.0) / np.sqrt(variance))
    p = np.where(variance > 0.0, np.minimum(2.0 * ndtr(-z), 1.0), 1.0)
    exact = (n <= EXACT_UP_TO) & (ties_y[0] == 0.0) & (ties_x[0] == 0.0)
    table = exact_tails(int(n[exact].max(initial=1)))
    some = np.flatnonzero(exact)
    falls = (n[some] * (n[some] - 1) // 2 - np.abs(rises[some]).astype(np.int64)) // 2
    p[some] = np.minimum(2.0 * table[n[some], falls], 1.0)
    return np.asarray(p)


def exact_tails(most: int) -> Floats:
    """[n, f]: probability that a random order of n values has at most f falling pairs, n up to `most`."""
    size = most * (most - 1) // 2 + 1
    share = np.zeros((most + 1, size))
    share[:2, 0] = 1.0
    for n in range(2, most + 1):
        for lag in range(n):
            share[n, lag:] += share[n - 1, : size - lag] / n
    return np.cumsum(share, axis=1)
