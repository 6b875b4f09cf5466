"""Many starts become few readings: the usual start of a week, further back of four weeks, stands for all of it ("Many starts"
in NUMBERS.md)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.arrays import Bools, Floats, Ints, Rows
from analysis.circuit.temperature import BATTERY_LAW, drag_law
from analysis.constants import WEEK_D
from analysis.readings.choices import NOISE, THINNING

READINGS_KEPT = 40  # readings per vehicle, the panel's width: three weeks apart, the densest, that is two years


@dataclass(frozen=True)
class Starts(Rows):
    """Starts (N,) to thin: vehicle's code, day [d since 1970], sag at 20 degC [log V, NaN where unknown], whether it is the
    least that the battery may have sagged, whether more than volts was read, how many starts each stands for already,
    how far their sags lie apart [standard deviation of log V], and the mean of their temperatures [degC]."""

    code: Ints
    day: Floats
    sag: Floats
    bound: Bools
    measured: Bools
    stands_for: Floats
    spread: Floats
    mean_c: Floats


def sag_at_reference(sag_v: Floats, temperature_c: Floats, engine_c: Floats) -> Floats:
    """Log sag [V] as it would be at 20 degC by the published laws of battery, in the air's temperature, and of drag, in the
    engine's [degC]; NaN where it was not read.

    Good enough to rank the starts of one month of one vehicle; a missing temperature is taken for a workshop's.
    """
    t, engine = (np.where(np.isfinite(c), c, NOISE.assumed_c) for c in (temperature_c, engine_c))
    with np.errstate(divide="ignore", invalid="ignore"):
        log_sag = np.log(np.where(sag_v > 0.0, sag_v, np.nan))
    return np.asarray(log_sag - BATTERY_LAW.log_factor(t) - drag_law().log_factor(engine), dtype=np.float64)


def many(code: Ints) -> Bools:
    """(N,) whether the vehicle of each start has more of them than are kept."""
    return np.asarray((np.bincount(code, minlength=1) > READINGS_KEPT)[code], dtype=np.bool_)


@dataclass(frozen=True)
class Usual:
    """Usual starts: position among the starts, how many each stands for, how far those lie apart [SD of log V], and the mean of
    their temperatures [degC]."""

    at: Ints
    stands_for: Floats
    spread: Floats
    mean_c: Floats


def by_week(starts: Starts) -> tuple[Usual, Ints]:
    """Usual starts of every week, and the weakest of every week (positions).

    Starts of vehicles with few are all usual.  The weeks are those of the calendar, so that the same starts are chosen
    whenever the list is made.
    """
    period = np.floor(starts.day / WEEK_D)
    return _usual(starts, np.where(many(starts.code), period, np.nan))


def by_age(starts: Starts) -> Usual:
    """The same for a list: weeks within `recent_d` of a vehicle's newest start, `old_weeks` of them before."""
    newest = np.full(int(starts.code.max(initial=0)) + 1, -np.inf)
    np.maximum.at(newest, starts.code, starts.day)
    week = np.floor(starts.day / WEEK_D)
    old = newest[starts.code] - starts.day > THINNING.recent_d
    period = np.where(old, np.floor(week / THINNING.old_weeks), week)  # weeks of two lengths never meet: see their size
    return _usual(starts, np.where(many(starts.code), period, np.nan))[0]


def _usual(starts: Starts, period: Floats) -> tuple[Usual, Ints]:
    """Middle start of every period of every vehicle by its sag, NaN periods being one start each.

    Where all that is known of a period are bounds, the furthest of them says all that the others say, for itself alone.
    """
    alone = starts.measured | ~np.isfinite(period)
    thin = np.flatnonzero(~alone)
    code, when = starts.code[thin], period[thin]
    rank = np.where(np.isfinite(starts.sag[thin]), starts.bound[thin].astype(np.int64), 2)  # values, bounds, nothing
    order = np.lexsort((starts.day[thin], starts.sag[thin], rank, when, code))
    thin, code, when = thin[order], code[order], when[order]
    first = np.flatnonzero(np.r_[True, (code[1:] != code[:-1]) | (when[1:] != when[:-1])]) if len(thin) else thin
    last = np.r_[first[1:], len(thin)]
    sagged, bound = np.isfinite(starts.sag[thin]), starts.bound[thin]
    known, bounds = sagged & ~bound, sagged & bound
    counted, bounded = (np.add.reduceat(each, first) if len(first) else first for each in (known, bounds))
    furthest = first + np.where(counted > 0, counted, np.maximum(bounded, 1)) - 1
    middle = np.where(counted > 0, first + (counted - 1) // 2, furthest)
    middle = np.where(counted + bounded > 0, middle, first + (last - first - 1) // 2)
    total, spread, mean_c = _pooled(starts.of(thin), known, first, last - first)
    usual = np.concatenate([np.flatnonzero(alone), thin[middle]])
    stands_for = np.concatenate([starts.stands_for[alone], np.maximum(total, 1.0)])
    spread = np.concatenate([starts.spread[alone], spread])
    mean_c = np.concatenate([starts.mean_c[alone], np.where(total > 0.0, mean_c, starts.mean_c[thin[middle]])])
    back = np.argsort(usual)
    return Usual(usual[back], stands_for[back], spread[back], mean_c[back]), np.sort(thin[furthest])


def _pooled(starts: Starts, known: Bools, first: Ints, length: Ints) -> tuple[Floats, Floats, Floats]:
    """How many starts each run of starts stands for, the standard deviation of all their sags [log V], and their mean temperature.

    Starts that stand for others already bring the squares of those (analysis of variance: within plus between).
    """
    if not len(first):
        return np.zeros(0), np.zeros(0), np.zeros(0)

    def summed(each: Floats) -> Floats:
        return np.asarray(np.add.reduceat(np.where(known, each, 0.0), first), dtype=np.float64)

    number = starts.stands_for
    total = summed(number)
    mean = summed(number * starts.sag) / np.maximum(total, 1.0)
    within = (number - 1.0) * np.square(starts.spread)
    between = number * np.square(starts.sag - np.repeat(mean, length))
    spread = np.sqrt(summed(within + between) / np.maximum(total - 1.0, 1.0))
    return total, spread, summed(number * starts.mean_c) / np.maximum(total, 1.0)
