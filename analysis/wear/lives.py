"""Lifetimes of parts from the fleet's own repairs, and the age at which replacing is cheapest in the long run."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy

from analysis.constants import DAYS_PER_YEAR
from analysis.readings.panel import Floats, days_since_epoch, left_d
from analysis.wear.choices import LIVES

SHAPE_RANGE = (0.3, 12.0)
"""Shapes outside this range do not occur with wearing parts; the fit is kept inside it."""
LONGEST_LIVES = 20.0
"""The search for the best age ends at this many scales: beyond it nothing survives."""


@dataclass(frozen=True)
class Weibull:
    """Lifetime S(t) = exp(-(t/scale)^shape); scale in the unit of the times given."""

    shape: float
    scale: float

    @property
    def mean(self) -> float:
        """Mean life, in the unit of the scale."""
        return float(self.scale * scipy.special.gamma(1.0 + 1.0 / self.shape))

    def survival(self, t: float) -> float:
        """S(t)."""
        return float(np.exp(-((t / self.scale) ** self.shape)))


@dataclass(frozen=True)
class Lifetime:
    """Life of one kind of part: its Weibull law [days], failures seen, and where the law comes from in words."""

    part: str
    law: Weibull
    failures: int
    source: str


@dataclass(frozen=True)
class AgeReplacement:
    """Replace at `age` (inf: run to failure) at a long-run `cost_rate`, both per unit of the law's scale."""

    age: float
    cost_rate: float


def fit_weibull(age: Floats, failed: Floats, entry: Floats | None = None) -> Weibull:
    """Weibull by maximum likelihood from ages at failure or at the end of observation.

    age, failed, entry: (N,) age at the end [any unit of time], 1 for a failure and 0 for still running, and age at
    which observation began (left truncation; 0 if seen from new). Raises ValueError without a failure or with
    ages that do not lie after their entry. Source: NIST/SEMATECH e-Handbook 8.4.1.2 (from memory, checked by test).
    """
    t = np.asarray(age, dtype=np.float64)
    d = np.asarray(failed, dtype=np.float64)
    begin = np.zeros_like(t) if entry is None else np.asarray(entry, dtype=np.float64)
    if not d.sum() > 0:
        raise ValueError("failed has no failure; allowed is at least one")
    if (t <= begin).any() or (begin < 0).any():
        raise ValueError("age has a value not after its entry; allowed are ages > entry >= 0")
    unit = float(np.mean(t))
    t, begin = t / unit, begin / unit
    log_t = float(d @ np.log(t))

    def scale_power(shape: float) -> float:
        """Scale to the power of the shape that is likeliest for it."""
        return float((t**shape - begin**shape).sum() / d.sum())

    def negative_log_likelihood(log_shape: float) -> float:
        shape = float(np.exp(log_shape))
        return float(-(d.sum() * (log_shape - np.log(scale_power(shape)) - 1.0) + (shape - 1.0) * log_t))

    shape = float(np.exp(_lowest(negative_log_likelihood, *map(float, np.log(SHAPE_RANGE)))[0]))
    return Weibull(shape, float(scale_power(shape) ** (1.0 / shape) * unit))


def cost_rate(law: Weibull, age: float, *, planned: float, unplanned: float) -> float:
    """Long-run cost per unit of time of replacing at `age` or at failure: (cp S + cf F) / integral of S.

    Source: Barlow & Proschan, Mathematical Theory of Reliability, 1965.
    """
    if np.isinf(age):
        return unplanned / law.mean
    survived = law.survival(age)
    # the integral of S to age
    length = law.mean * float(scipy.special.gammainc(1.0 / law.shape, (age / law.scale) ** law.shape))
    return float((planned * survived + unplanned * (1.0 - survived)) / length)


def age_replacement(law: Weibull, *, planned: float, unplanned: float) -> AgeReplacement:
    """Age that makes :func:`cost_rate` least; run to failure when the hazard does not rise or planning saves nothing.

    Raises ValueError for costs that are not positive. Source: Barlow & Proschan 1965.
    """
    if planned <= 0 or unplanned <= 0:
        raise ValueError(f"planned is {planned} and unplanned is {unplanned}; allowed are amounts above 0")
    never = AgeReplacement(float("inf"), unplanned / law.mean)
    if law.shape <= 1.0 or unplanned <= planned:
        return never

    def rate(log_age: float) -> float:
        return cost_rate(law, float(np.exp(log_age)), planned=planned, unplanned=unplanned)

    low, high = np.log(law.scale) - 6.0, np.log(law.scale * min(LONGEST_LIVES, 60.0 ** (1.0 / law.shape)))
    log_age, least = _lowest(rate, float(low), float(high))
    found = AgeReplacement(float(np.exp(log_age)), least)
    return found if found.cost_rate < never.cost_rate else never


def _lowest(of: Callable[[float], float], low: float, high: float) -> tuple[float, float]:
    """Where in a range something is least, and how much it is there."""
    best = scipy.optimize.minimize_scalar(of, bounds=(low, high), method="bounded", options={"xatol": 1e-9})
    return float(best.x), float(best.fun)


def observed_lives(
    units: pd.DataFrame, repairs: pd.DataFrame, as_of: pd.Timestamp, *, parts: Sequence[str]
) -> pd.DataFrame:
    """Lives of the parts of a fleet: unit, part, entry [d], age [d], failed (0|1), running (0|1).

    A life begins with a recorded replacement or with the vehicle; lives older than the first record enter late (left
    truncation). A replacement for a no-start is a failure, any other ends the life without one; so does a vehicle's last day
    in service, with which nothing of it runs on.
    """
    known = units[units["in_service"].notna()].drop_duplicates("unit").sort_values("unit")
    named = sorted(parts)
    begun, gone = days_since_epoch(known["in_service"]), np.floor(left_d(known))
    done = np.where(repairs["done_on"].notna(), days_since_epoch(repairs["done_on"]), np.nan)
    day = days_since_epoch(pd.DatetimeIndex([as_of]))[0]
    first_record = np.nanmin(done) if len(repairs) else day
    unit = pd.Index(known["unit"]).get_indexer(pd.Index(repairs["unit"]))
    part = pd.Index(named).get_indexer(pd.Index(repairs["part"]))
    ends = (part >= 0) & (repairs["action"] == "replaced").to_numpy(np.bool_) & (done < day)
    ends &= done > np.append(begun, np.inf)[unit]  # of no known vehicle none
    row = np.flatnonzero(ends)
    row = row[np.lexsort((done[row], part[row], unit[row]))]
    place = unit[row] * len(named) + part[row]
    last = np.append((np.diff(place) > 0) | (np.diff(done[row]) > 0), True)[: len(row)]  # of those of a day
    row, place = row[last], place[last]
    # the lives of each part of each vehicle one after the other; the first began with the vehicle
    life = np.sort(np.concatenate([np.arange(len(known) * len(named)), place]))
    ended = np.arange(len(row)) + place
    owner = life // len(named)
    begin, end, first = begun[owner], np.where(gone <= day, gone, day)[owner], np.ones(len(life), np.bool_)
    running, failed = ~(gone <= day)[owner], np.zeros(len(life))
    end[ended], begin[ended + 1], first[ended + 1], running[ended] = done[row], done[row], False, False
    failed[ended] = (repairs["reason"] == "no_start").to_numpy(np.bool_)[row]
    return pd.DataFrame(
        {
            "unit": known["unit"].astype("str").array.take(owner),
            "part": pd.array(named, dtype="str").take(life % len(named)),
            "entry": np.floor(np.where(first & (begin < first_record), first_record - begin, 0.0)),
            "age": np.floor(end - begin),
            "failed": failed,
            "running": running.astype(np.float64),
        }
    )


def part_lifetimes(
    lives: pd.DataFrame, *, parts: Sequence[str], life_years: Mapping[str, float]
) -> dict[str, Lifetime]:
    """Life of each part from :func:`observed_lives`, or from `life_years` [a] where failures are too few."""
    out = {}
    named, age, failed, entry = (lives[name].to_numpy() for name in ("part", "age", "failed", "entry"))
    useful = age > entry
    for part in parts:
        own = useful & (named == part)
        failures = int(failed[own].sum())
        if failures >= LIVES.least_failures:
            law = fit_weibull(age[own], failed[own], entry[own])
            out[part] = Lifetime(part, law, failures, f"the fleet's own {failures} failures")
        else:
            scale = life_years[part] * DAYS_PER_YEAR / float(scipy.special.gamma(1.0 + 1.0 / LIVES.assumed_shape))
            source = f"the setting of {life_years[part]:g} years (only {failures} failures in the fleet)"
            out[part] = Lifetime(part, Weibull(LIVES.assumed_shape, scale), failures, source)
    return out
