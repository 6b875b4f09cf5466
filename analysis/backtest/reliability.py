"""How good probabilities of a no-start were: Brier score and its parts, reliability with intervals, calibration.

Every function takes probabilities `p` and outcomes `y` (1 for a no-start in the horizon, 0 for none), both (n,) of floats;
:func:`brier_score`, which is asked first of any of them, refuses what is none.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy

from analysis.backtest.choices import PAST_LISTS
from analysis.readings.panel import Floats, Ints

LOGIT_STEP = 0.01  # logits are grouped to this step before fitting; changes the fit by less than a thousandth
LEVEL = 0.90  # of intervals
TOP_SHARE = 0.05
RESAMPLES = 400
UPPER_QUANTILES = (0.0, 0.5, 0.75, 0.875, 0.9375, 0.97, 0.985, 1.0)
"""Bins that halve the rest each time: most vehicles have a small probability, and the large ones matter."""


@dataclass(frozen=True)
class BrierParts:
    """brier = reliability - resolution + uncertainty + within (Murphy 1973; within: Stephenson et al. 2008)."""

    brier: float
    reliability: float
    resolution: float
    uncertainty: float
    within: float


LEARNED, FEW, ALIKE, BACKWARDS = "learned", "few", "alike", "backwards"
"""Calibration learned; too few no-starts; all probabilities alike; higher ones did not mean more no-starts."""


@dataclass(frozen=True)
class Calibration:
    """logit of the calibrated probability = intercept + slope x logit (Platt 1999); why: `LEARNED`, or why nothing was."""

    intercept: float
    slope: float
    no_starts: int
    why: str

    @property
    def enough(self) -> bool:
        """Whether there was enough to learn from."""
        return self.why == LEARNED

    def apply(self, p: Floats) -> Floats:
        """Calibrated probabilities (n,); the same where there was not enough to learn from."""
        if not self.enough:
            return np.asarray(p, dtype=np.float64)
        return np.asarray(1.0 / (1.0 + np.exp(-(self.intercept + self.slope * logit(p)))), dtype=np.float64)


def brier_score(p: Floats, y: Floats) -> float:
    """Mean squared error of the probabilities (Brier 1950).

    Raises ValueError for lengths that differ, nothing at all, or values outside 0 to 1 (p), 0, 1 (y).
    """
    p, y = np.asarray(p, dtype=np.float64), np.asarray(y, dtype=np.float64)
    if p.shape != y.shape or p.ndim != 1:
        raise ValueError(f"p and y have the shapes {p.shape} and {y.shape}; allowed are two equal lengths")
    if not len(p):
        raise ValueError("p is empty; at least one probability is needed")
    if not (np.isfinite(p) & (p >= 0) & (p <= 1)).all():
        raise ValueError(f"p has {p[~(np.isfinite(p) & (p >= 0) & (p <= 1))][0]}; allowed are 0 to 1")
    if not np.isin(y, (0.0, 1.0)).all():
        raise ValueError(f"y has {y[~np.isin(y, (0.0, 1.0))][0]}; allowed are 0 and 1")
    return float(np.mean((p - y) ** 2))


def log_score(p: Floats, y: Floats) -> float:
    """Mean of -log of the probability given to what happened; probabilities held inside `PAST_LISTS.least_p` to 1 - `PAST_LISTS.least_p`."""
    held = np.clip(p, PAST_LISTS.least_p, 1.0 - PAST_LISTS.least_p)
    return float(-np.mean(np.where(y == 1.0, np.log(held), np.log1p(-held))))


def skill(p: Floats, y: Floats, reference: Floats | None = None) -> float:
    """1 - Brier score / that of `reference` (n,), by default of the base rate; NaN where the reference never errs."""
    base = np.full(len(y), y.mean()) if reference is None else np.asarray(reference, dtype=np.float64)
    against = float(np.mean((base - y) ** 2))
    return 1.0 - brier_score(p, y) / against if against > 0 else float("nan")


def monthly_rate(y: Floats, month: Ints) -> Floats:
    """(n,) share of no-starts in each row's calendar month, the rows' own included: the sternest base rate."""
    total, count = np.bincount(month, weights=y, minlength=13), np.bincount(month, minlength=13)
    return np.asarray((total / np.maximum(count, 1))[month], dtype=np.float64)


def recall_top(p: Floats, y: Floats, group: Ints) -> float:
    """Share of no-starts among the TOP_SHARE of vehicles ranked highest on each list (`group`); NaN without no-starts."""
    order = np.lexsort((np.arange(len(p)), -p, group))
    _, first, size = np.unique(group[order], return_index=True, return_counts=True)
    rank = np.arange(len(p)) - np.repeat(first, size)
    taken = np.maximum(np.round(TOP_SHARE * size), 1)
    found = float(y[order][rank < np.repeat(taken, size)].sum())
    return found / float(y.sum()) if y.any() else float("nan")


def bin_numbers(p: Floats, quantiles: tuple[float, ...]) -> Ints:
    """(n,) bin of each probability, bins being cut at quantiles of the probabilities; equal ones share a bin."""
    inner = np.unique(np.quantile(p, quantiles[1:-1]))
    return np.unique(np.searchsorted(inner, p), return_inverse=True)[1].astype(np.int64)


def brier_parts(p: Floats, y: Floats, number: Ints) -> BrierParts:
    """Parts of the Brier score for bins `number` (n,)."""
    count = np.maximum(np.bincount(number), 1)
    said, seen = np.bincount(number, weights=p) / count, np.bincount(number, weights=y) / count
    weight = np.bincount(number) / len(p)
    reliability = float(weight @ (said - seen) ** 2)
    resolution = float(weight @ (seen - y.mean()) ** 2)
    uncertainty = float(y.mean() * (1.0 - y.mean()))
    brier = brier_score(p, y)
    return BrierParts(brier, reliability, resolution, uncertainty, brier - (reliability - resolution + uncertainty))


def wilson_interval(events: Floats, count: Floats, *, level: float = LEVEL) -> tuple[Floats, Floats]:
    """Interval of a share (Wilson 1927), (low, high); 0 to 1 for a count of nothing."""
    if not 0 < level < 1:
        raise ValueError(f"level is {level}; allowed are shares between 0 and 1")
    z2 = float(scipy.special.ndtri(0.5 + level / 2.0)) ** 2
    n = np.maximum(np.asarray(count, dtype=np.float64), 1e-12)
    share = np.asarray(events, dtype=np.float64) / n
    middle = (share + z2 / (2.0 * n)) / (1.0 + z2 / n)
    half = np.sqrt(z2 * (share * (1.0 - share) / n + z2 / (4.0 * n * n))) / (1.0 + z2 / n)
    return np.clip(middle - half, 0.0, 1.0), np.clip(middle + half, 0.0, 1.0)


def reliability_table(
    p: Floats, y: Floats, unit: Ints, *, quantiles: tuple[float, ...] = UPPER_QUANTILES
) -> pd.DataFrame:
    """Reliability diagram: one row per bin with what was said, what was seen, and its 90 % interval.

    :param unit: (n,) vehicle codes; the interval is Wilson's, or that of resampled vehicles where it is wider, because
        the lists of one vehicle are not independent
    :returns: bin, lowest, highest, said (mean probability), seen (share), seen_low, seen_high, rows, no_starts, vehicles
    """
    number = bin_numbers(p, quantiles)
    n_bins = int(number.max()) + 1
    seen, rows = np.bincount(number, weights=y).astype(np.float64), np.bincount(number).astype(np.float64)
    low, high = wilson_interval(seen, rows)
    code = pd.factorize(unit)[0]
    per = (code * n_bins + number, (int(code.max()) + 1) * n_bins)
    events = np.bincount(per[0], weights=y, minlength=per[1]).reshape(-1, n_bins)
    counts = np.bincount(per[0], minlength=per[1]).reshape(-1, n_bins)
    drawn = np.random.default_rng(0).multinomial(len(events), np.full(len(events), 1.0 / len(events)), size=RESAMPLES)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (drawn @ events) / (drawn @ counts)
    tail = (1.0 - LEVEL) / 2.0
    spread = np.nanquantile(np.where(np.isfinite(share), share, low), [tail, 1.0 - tail], axis=0)
    grouped = pd.DataFrame({"bin": number, "p": p, "y": y, "unit": code}).groupby("bin")
    table = grouped.agg(
        lowest=("p", "min"), highest=("p", "max"), said=("p", "mean"), seen=("y", "mean"), rows=("y", "size"),
        no_starts=("y", "sum"), vehicles=("unit", "nunique"),
    )  # fmt: skip
    table["seen_low"], table["seen_high"] = np.minimum(low, spread[0]), np.maximum(high, spread[1])
    table["no_starts"] = table["no_starts"].astype(int)
    columns = ["lowest", "highest", "said", "seen", "seen_low", "seen_high", "rows", "no_starts", "vehicles"]
    return table[columns].reset_index()


def months_table(p: Floats, y: Floats, month: Ints) -> pd.DataFrame:
    """Per calendar month: rows, no_starts, expected (sum of probabilities), brier, skill against the month's own rate."""
    rows = []
    for one in np.unique(month):
        mine = month == one
        rows.append(
            {
                "month": int(one),
                "rows": int(mine.sum()),
                "no_starts": int(y[mine].sum()),
                "expected": float(p[mine].sum()),
                "brier": brier_score(p[mine], y[mine]),
                "skill": skill(p[mine], y[mine]),
            }
        )
    return pd.DataFrame(rows)


def logit(p: Floats) -> Floats:
    """Log odds of probabilities held inside `PAST_LISTS.least_p` to 1 - `PAST_LISTS.least_p`."""
    held = np.clip(np.asarray(p, dtype=np.float64), PAST_LISTS.least_p, 1.0 - PAST_LISTS.least_p)
    return np.asarray(np.log(held) - np.log1p(-held), dtype=np.float64)


def fit_calibration(p: Floats, y: Floats) -> Calibration:
    """Calibration from past lists; none, and why, where fewer than `PAST_LISTS.fewest_no_starts` no-starts (or starts)
    are known."""
    events, fewest = int(y.sum()), PAST_LISTS.fewest_no_starts
    if min(events, len(y) - events) < fewest:
        return Calibration(0.0, 1.0, events, FEW)
    step = np.round(logit(p) / LOGIT_STEP).astype(np.int64)
    first = int(step.min())
    count = np.bincount(step - first)
    bad = np.bincount(step - first, weights=y)
    x = (np.arange(len(count)) + first) * LOGIT_STEP
    weight = np.concatenate([bad, count - bad])
    label = np.repeat([1, 0], len(x))
    used = weight > 0
    if len(np.unique(np.tile(x, 2)[used])) < 2:
        return Calibration(0.0, 1.0, events, ALIKE)
    # loaded where past lists are scored, not where a page is opened
    from sklearn.linear_model import LogisticRegression

    model = LogisticRegression(C=np.inf, tol=1e-8, max_iter=1000)
    model.fit(np.tile(x, 2)[used, None], label[used], sample_weight=weight[used])
    slope, intercept = float(model.coef_[0, 0]), float(model.intercept_[0])
    if slope <= 0.0:
        return Calibration(0.0, 1.0, events, BACKWARDS)
    return Calibration(intercept, slope, events, LEARNED)


def calibrated_forward(p: Floats, y: Floats, day: Floats, *, horizon_days: float) -> Floats:
    """(n,) each list's probabilities calibrated on earlier lists whose horizon had ended by its `day` [d]."""
    out = p.copy()
    for one in np.unique(day):
        known = day + horizon_days <= one
        if y[known].sum() >= PAST_LISTS.fewest_no_starts:
            mine = day == one
            out[mine] = fit_calibration(p[known], y[known]).apply(p[mine])
    return out
