"""Failed starts that no repair followed: which were the starting circuit's, and which had nothing to do with it (fuel, ignition, a
driver's mistake), by what came after them ("Outcomes of starts" in NUMBERS.md; state detection, ISO 13374)."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from analysis.readings.choices import OUTCOMES
from analysis.readings.panel import Bools, Floats, Ints, days_since_epoch

SHARES: Floats = np.linspace(
    0.0025, 0.9975, 200, dtype=np.float64
)  # of stray failures, that are weighed against each other
MOST_AGAIN = 40  # failures one after the other that count: more make nothing surer
MOST_SILENT = 5.0  # starts that were to be expected and are not on record: likewise


@dataclass(frozen=True)
class Course:
    """Mornings on which one vehicle failed, N of them with no repair between, and what came after the last.

    unit: its row; day: (N,) [d since 1970]; again: (N,) how probable the later ones are if a fault has stood since each, over their
    being stray ones; passed: how probable what came after is if the fault still stood, over a stray failure: each start that it
    let pass speaks against it, and that none is on record of a vehicle whose starts are speaks for it; recorded: share of repairs on record;
    answered: whether a repair followed the last so soon that it was for it.
    """

    unit: int
    day: Floats
    again: Floats
    passed: float
    recorded: float
    answered: bool

    @property
    def after(self) -> float:
        """How probable what came after is if a fault had stopped the last start: it stands, or was mended without a record."""
        return (1.0 - self.recorded) + self.recorded * self.passed

    def begun(self, share: float | Floats) -> Floats:
        """(..., N) weight of a fault that began with each failure, those before it stray; that of none at all is share ** N."""
        place = np.arange(len(self.day))
        stray = np.asarray(share, dtype=np.float64)[..., None]
        return np.asarray((1.0 - stray) * stray**place * self.again * self.after)

    def stands(self, share: float) -> tuple[float, float]:
        """Probability that its fault is still there, and that it is so if nobody mended it without a record."""
        whole, none = float(self.begun(share).sum()), share ** len(self.day)
        stands = whole * self.recorded * self.passed / self.after
        return stands / (none + whole), stands / (none + stands)

    def telling(self, share: float) -> Floats:
        """(N,) what came before and after each makes of the odds that it was the circuit's, over the odds of any."""
        begun = self.begun(share)
        fault = np.cumsum(begun)
        stray = share ** len(self.day) + fault[-1] - fault
        return np.asarray(fault / stray * share / (1.0 - share))


def mended(units: pd.DataFrame, repairs: pd.DataFrame) -> tuple[Ints, Floats]:
    """Row of the vehicle (R,) and day [d since 1970] (R,) of every repair on record of some vehicles."""
    code = pd.Index(units["unit"].astype(str)).get_indexer(pd.Index(repairs["unit"].astype(str)))
    known = code >= 0
    day = days_since_epoch(repairs["done_on"]) if len(repairs) else np.zeros(0)
    return code[known].astype(np.int64), day[known]


def courses(
    unit: Ints, day: Floats, failed: Bools, started: Bools, went: Bools, temperature_c: Floats,
    repairs: tuple[Ints, Floats], today: float, recorded: float,
) -> list[Course]:  # fmt: skip
    """Failures of vehicles up to `today`, those between two repairs together.

    unit, day, failed, started, went, temperature_c: (S,) of starts by vehicle and time, went those that did not fail, in whatever way;
    repairs: of :func:`mended`; recorded: share of repairs that are.  Failures of one morning are one.
    """
    found = []
    on = repairs[1][np.lexsort(repairs[::-1])]
    by = np.sort(repairs[0])
    for u in np.unique(unit[failed]):
        rows = slice(*np.searchsorted(unit, (u, u + 1)))
        days, cold = day[rows], temperature_c[rows]
        own = on[slice(*np.searchsorted(by, (u, u + 1)))]
        for since, until in pairwise((-np.inf, *np.unique(own), np.inf)):
            # a repair on the day of a failure follows it
            mine = failed[rows] & (np.floor(days) > since) & (np.floor(days) <= until)
            if not mine.any():
                continue
            mornings = np.unique(np.floor(days[mine]))
            first, last = days[mine][[0, -1]]
            over = min(until, today)
            after = (days > last) & (days < over)
            warmest = np.fmax.reduce(cold[mine]) if np.isfinite(cold[mine]).any() else np.inf
            as_cold = started[rows] & after & (cold <= warmest + OUTCOMES.sd_k)
            quiet = max(over - last, 0.0)
            rate = OUTCOMES.again_per_day * recorded
            later = np.minimum(len(mornings) - 1.0 - np.arange(len(mornings)), MOST_AGAIN)
            again = OUTCOMES.again_times**later * np.exp(-rate * (mornings[-1] - mornings))
            passed = float(np.exp(-rate * quiet) * OUTCOMES.passes ** int(as_cold.sum()))
            if not (went[rows] & after).any():
                before = went[rows] & (days < first) & (days >= first - OUTCOMES.stands_d)
                missed = min(int(before.sum()) / OUTCOMES.stands_d * quiet, MOST_SILENT)
                passed *= 1.0 + OUTCOMES.still * float(np.expm1(missed))
            answered = bool(np.isfinite(until) and until - mornings[-1] <= OUTCOMES.answered_d)
            found.append(Course(int(u), mornings, again, passed, recorded, answered))
    return found


def stray_share(found: list[Course]) -> float:
    """Share of failures without a repair that had nothing to do with the circuit: posterior mean over a beta prior."""
    ahead = (
        OUTCOMES.stray_counts * OUTCOMES.stray_share - 1.0,
        OUTCOMES.stray_counts * (1.0 - OUTCOMES.stray_share) - 1.0,
    )
    log = ahead[0] * np.log(SHARES) + ahead[1] * np.log1p(-SHARES)
    for one in found:
        if not one.answered:
            log += np.log(SHARES ** len(one.day) + one.begun(SHARES).sum(axis=-1))
    weight = np.exp(log - log.max())
    return float((weight * SHARES).sum() / weight.sum())
