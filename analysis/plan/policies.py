"""What a plan and three simple policies cost on the same vehicles, all reckoned by :func:`reckoned`: run to failure, fixed age,
flagged list in order ("Plan against other ways" in NUMBERS.md)."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy

from analysis.costs import PlanSettings
from analysis.plan.assignment import HOURS_TOLERANCE, Capacity
from analysis.plan.candidates import LEAST_RISK, Candidates, Catalogue, between
from analysis.plan.choices import VISITS
from analysis.plan.spent import work_of
from analysis.plan.visit_costs import CHEAP, MEASURE, REPLACE, REPLACE_TWO, CostTable, Options, options_of
from analysis.plan.workshop_calendar import Opening, PlanWeeks
from analysis.readings.panel import Floats, Ints
from analysis.wear.lives import AgeReplacement, Lifetime, Weibull

LATEST_AGE_DAYS = 36525.0
"""An age limit beyond a hundred years is no limit."""


@dataclass(frozen=True)
class PolicyCost:
    """Expected cost [money], no-starts within the plan's weeks, visits and hours [h] of one policy.

    The cost is the sum of three: the visits' work, the no-starts of these weeks with their repairs, and what is left
    after the last week: wear that goes on, less the life that is left in parts.
    """

    policy: str
    cost: float
    no_starts: float
    visits: int
    hours: float
    cost_visits: float
    cost_no_starts: float
    cost_after: float


@dataclass(frozen=True)
class Besides:
    """Work of a policy on parts that no reading suspects: cost [money], that of the work alone, visits, hours [h]."""

    cost: float = 0.0
    work: float = 0.0
    visits: int = 0
    hours: float = 0.0


def failing(c: Candidates, kind: Ints, day: Ints, end_week: float) -> Floats:
    """(U,) probability of a no-start until `end_week` when acted on at `day` (-1: not) by `kind` of visit."""
    end = np.full((len(c), 1), end_week)
    never = between(c.risk, end)[:, 0]
    t = np.maximum(day, 0)[:, None] / 7.0
    before = between(c.risk, t)[:, 0]
    renewed = np.where((kind == REPLACE_TWO)[:, None], c.renewed * (1.0 - c.second_share[:, None]), c.renewed)
    now = between(renewed, t)[:, 0]
    after = np.maximum(between(renewed, end)[:, 0] - now, 0.0) / np.maximum(1.0 - now, LEAST_RISK)
    return np.where(day >= 0, before + (1.0 - before) * after, never)


def avoided(c: Candidates, kind: Ints, day: Ints, end_week: float) -> Floats:
    """(U,) no-starts until `end_week` that a visit of `kind` at `day` (-1: none) avoids; after a measurement, acting
    follows `VISITS.react_weeks` later, and a cheap act avoids what it cures."""
    follows = np.where(kind == MEASURE, day + int(7 * VISITS.react_weeks), day)
    acted = np.where((day >= 0) & (follows < 7.0 * end_week), follows, -1)
    without = failing(c, kind, np.full(len(c), -1), end_week)
    return (without - failing(c, kind, acted, end_week)) * np.where(kind == CHEAP, c.cheap_success, 1.0)


def reckoned(
    policy: str, c: Candidates, table: CostTable, rows: Options, end_week: float, settings: PlanSettings,
    *, besides: Besides | None = None,
) -> PolicyCost:  # fmt: skip
    """What `policy` costs with the visits `rows`, at most one per vehicle, and what it does `besides` on sound parts."""
    extra = besides or Besides()
    cost = table.wait + table.constant
    cost[rows.unit] = table.cost[rows.kind, rows.unit, rows.week] + table.constant[rows.unit]
    kind, day = np.zeros(len(c), np.int64), np.full(len(c), -1)
    kind[rows.unit], day[rows.unit] = rows.kind, rows.day
    never = failing(c, kind, np.full(len(c), -1), end_week)
    left = never - avoided(c, kind, day, end_week)
    visits, hours = len(rows) + extra.visits, float(rows.hours.sum()) + extra.hours
    total, failing_cost = float(cost.sum()) + extra.cost, float((left * c.fail_cost).sum())
    work = float(work_of(c, table, rows, settings).total.sum()) + extra.work
    return PolicyCost(
        policy, total, float(left.sum()), visits, hours, work, failing_cost, total - work - failing_cost
    )  # fmt: skip


def _replacing(table: CostTable, unit: list[int], week: list[int]) -> Options:
    """Visits that replace the suspect part, by unit."""
    order = np.argsort(np.array(unit, dtype=np.int64), kind="stable")
    u, w = np.array(unit, dtype=np.int64)[order], np.array(week, dtype=np.int64)[order]
    return options_of(table, u, w, np.full(len(u), REPLACE))


def run_to_failure(c: Candidates, table: CostTable, end_week: float, settings: PlanSettings) -> PolicyCost:
    """Nobody is called in."""
    return reckoned("run_to_failure", c, table, _replacing(table, [], []), end_week, settings)


def flagged_list(
    c: Candidates, table: CostTable, depot: Ints, capacity: Capacity, flagged: list[str], end_week: float,
    settings: PlanSettings,
) -> PolicyCost:  # fmt: skip
    """The flagged vehicles in order of probability, each in the first week with hours, whatever that costs."""
    hours, visits = capacity.hours.copy(), capacity.visits.copy()
    rows = {name: row for row, name in enumerate(c.table["unit"])}
    unit: list[int] = []
    weeks: list[int] = []
    for name in flagged:
        row = rows.get(name, -1)
        if row < 0 or depot[row] < 0:
            continue
        need, d = table.hours[REPLACE, row], depot[row]
        fits = np.isfinite(table.cost[REPLACE, row]) & (hours[d] + HOURS_TOLERANCE >= need) & (visits[d] >= 1)
        if fits.any():
            week = int(np.argmax(fits))
            hours[d, week] -= need
            visits[d, week] -= 1
            unit.append(row)
            weeks.append(week)
    return reckoned("flagged_list", c, table, _replacing(table, unit, weeks), end_week, settings)


def mean_residual_life(law: Weibull, age: Floats) -> Floats:
    """Expected life left at an age (N,), in the unit of the law: the integral of S beyond it, over S."""
    x = (np.asarray(age, dtype=np.float64) / law.scale) ** law.shape
    whole = law.scale / law.shape * scipy.special.gamma(1.0 / law.shape) * scipy.special.gammaincc(1.0 / law.shape, x)
    return np.asarray(whole / np.maximum(np.exp(-x), 1e-300), dtype=np.float64)


def overdue_parts(lives: pd.DataFrame, ages: Mapping[str, AgeReplacement], weeks: PlanWeeks) -> pd.DataFrame:
    """Parts that reach their age limit within the plan: unit, part, age [d], due_day [d after as_of], oldest first."""
    limit = np.array([best.age for best in ages.values()], dtype=np.float64)
    kind = pd.Index(list(ages)).get_indexer(pd.Index(lives["part"]))
    age, own = lives["age"].to_numpy(np.float64), limit[kind]
    due = (kind >= 0) & (own < LATEST_AGE_DAYS) & (lives["running"].to_numpy() == 1.0) & (own - age < weeks.end_day[-1])
    found: pd.DataFrame = lives[due].assign(due_day=(own - age)[due], over=(age / own)[due], kind=kind[due])
    found = found.sort_values(["over", "unit", "kind"], ascending=[False, True, True], ignore_index=True)
    return found.drop(columns="kind")


def fixed_age(
    c: Candidates, table: CostTable, weeks: PlanWeeks, opened: Opening, capacity: Capacity, overdue: pd.DataFrame,
    depot_of: Mapping[str, int], *, catalogue: Catalogue, lives: Mapping[str, Lifetime], rates: Mapping[str, float],
    settings: PlanSettings,
) -> PolicyCost:  # fmt: skip
    """Every part is replaced at its best fixed age, oldest first as far as hours reach; readings are not looked at.

    A part that is not the suspect one costs its work less the value of the life gained.
    """
    hours = capacity.hours.copy()
    rows = {name: row for row, name in enumerate(c.table["unit"])}
    suspects = c.table["part"].tolist()
    taken: dict[int, int] = {}
    extra = Besides()
    for unit, part, age, due in zip(overdue["unit"], overdue["part"], overdue["age"], overdue["due_day"], strict=True):
        d, need = depot_of.get(unit, -1), catalogue.labour_h[part]
        days = opened.visit_day(weeks, d, int(np.ceil(max(due, catalogue.lead_days[part], 0.0))))
        fits = (days >= 0) & (hours[d] + HOURS_TOLERANCE >= need) if d >= 0 else np.zeros(len(weeks), np.bool_)
        if not fits.any():
            continue
        week = int(np.argmax(fits))
        hours[d, week] -= need
        row = rows.get(unit, -1)
        if row >= 0 and suspects[row] == part and np.isfinite(table.cost[REPLACE, row, week]):
            taken[row] = week
            continue
        law = lives[part].law
        gained = law.mean - float(mean_residual_life(law, np.array([age]))[0])
        work = catalogue.price[part] + need * settings.hour_rate + settings.access_cost
        saved = rates[part] * min(max(gained, 0.0) / 7.0, work / max(rates[part], 1e-9))
        extra = Besides(extra.cost + work - saved, extra.work + work, extra.visits + 1, extra.hours + need)
    end_week = float(weeks.end_day[-1]) / 7.0
    visits = _replacing(table, list(taken), list(taken.values()))
    return reckoned("fixed_age", c, table, visits, end_week, settings, besides=extra)
