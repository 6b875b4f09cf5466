"""What a plan and three simple policies cost on the same vehicles, all reckoned by :func:`reckoned`: run to failure, fixed age,
flagged list in order ("Plan against other ways" in NUMBERS.md)."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy

from analysis.plan.assignment import HOURS_TOLERANCE
from analysis.plan.candidates import LEAST_RISK, Candidates, between
from analysis.plan.choices import VISITS
from analysis.plan.inputs import Work
from analysis.plan.visit_costs import CHEAP, CHEAP_FIRST, MEASURE, REPLACE, REPLACE_TWO, CostTable, Options, options_of
from analysis.plan.workshop_calendar import PlanWeeks
from analysis.readings.panel import Floats, Ints
from analysis.wear.lives import AgeReplacement, Weibull

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


@dataclass(frozen=True)
class Spent:
    """Expected money (N,) of visits: parts used, hours worked, vehicles called in. A vehicle that fails before its visit
    is repaired as one that failed, and has none of them."""

    parts: Floats
    labour: Floats
    access: Floats


def spent_on(work: Work, rows: Options) -> Spent:
    """What the work of the visits `rows` is expected to cost.

    A cheap act that is followed by the replacement only where it is in vain uses the part, and its hours, that often.
    """
    c, u, kind = work.candidates, rows.unit, rows.kind
    alive = 1.0 - between(c.risk[u], rows.day[:, None] / 7.0)[:, 0]
    vain = 1.0 - c.cheap_success[u]
    one, first = c.part_cost[u], kind == CHEAP_FIRST
    parts = np.select(
        [kind == REPLACE, kind == REPLACE_TWO, first], [one, one + c.second_cost[u], vain * one], default=0.0
    )
    hours = work.table.own_hours[kind, u] - np.where(first, (1.0 - vain) * c.part_h[u], 0.0)
    access = np.where(rows.calls_in, work.settings.access_cost, 0.0)
    return Spent(alive * parts, alive * hours * work.settings.hour_rate, alive * access)


def failing(c: Candidates, kind: Ints, day: Ints, end_week: float) -> Floats:
    """(U,) probability of a no-start until `end_week` when acted on at `day` (-1: not) by `kind` of visit."""
    end = np.full((len(c), 1), end_week)
    t = np.maximum(day, 0)[:, None] / 7.0
    before = between(c.risk, t)[:, 0]
    renewed = np.where((kind == REPLACE_TWO)[:, None], c.renewed * (1.0 - c.second_share[:, None]), c.renewed)
    now = between(renewed, t)[:, 0]
    after = np.maximum(between(renewed, end)[:, 0] - now, 0.0) / np.maximum(1.0 - now, LEAST_RISK)
    return np.where(day >= 0, before + (1.0 - before) * after, c.risk_until(end_week))


def avoided(c: Candidates, rows: Options, end_week: float) -> Floats:
    """(U,) no-starts until `end_week` that the visits `rows`, at most one per vehicle, avoid; after a measurement, acting
    follows `VISITS.react_weeks` later, and a cheap act avoids what it cures."""
    kind, day = np.zeros(len(c), np.int64), np.full(len(c), -1)
    kind[rows.unit], day[rows.unit] = rows.kind, rows.day
    follows = np.where(kind == MEASURE, day + int(7 * VISITS.react_weeks), day)
    acted = np.where((day >= 0) & (follows < 7.0 * end_week), follows, -1)
    less = c.risk_until(end_week) - failing(c, kind, acted, end_week)
    return less * np.where(kind == CHEAP, c.cheap_success, 1.0)


def reckoned(policy: str, work: Work, rows: Options, besides: Besides = Besides()) -> PolicyCost:
    """What `policy` costs with the visits `rows`, at most one per vehicle, and what it does `besides` on sound parts."""
    c, table = work.candidates, work.table
    cost = table.wait + table.constant
    cost[rows.unit] = table.cost[rows.kind, rows.unit, rows.week] + table.constant[rows.unit]
    left = c.risk_until(work.end_week) - avoided(c, rows, work.end_week)
    visits, hours = len(rows) + besides.visits, float(rows.hours.sum()) + besides.hours
    total, failing_cost = float(cost.sum()) + besides.cost, float((left * c.fail_cost).sum())
    spent = spent_on(work, rows)
    paid = float((spent.parts + spent.labour + spent.access).sum()) + besides.work
    return PolicyCost(
        policy, total, float(left.sum()), visits, hours, paid, failing_cost, total - paid - failing_cost
    )  # fmt: skip


def _replacing(table: CostTable, unit: list[int], week: list[int]) -> Options:
    """Visits that replace the suspect part, by unit."""
    order = np.argsort(np.array(unit, dtype=np.int64), kind="stable")
    u, w = np.array(unit, dtype=np.int64)[order], np.array(week, dtype=np.int64)[order]
    return options_of(table, u, w, np.full(len(u), REPLACE))


def run_to_failure(work: Work) -> PolicyCost:
    """Nobody is called in."""
    return reckoned("run_to_failure", work, _replacing(work.table, [], []))


def flagged_list(work: Work, flagged: list[str]) -> PolicyCost:
    """The flagged vehicles in order of probability, each in the first week with hours, whatever that costs."""
    table, depot = work.table, work.depot
    hours, visits = work.capacity.hours.copy(), work.capacity.visits.copy()
    rows = {name: row for row, name in enumerate(work.candidates.table["unit"])}
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
    return reckoned("flagged_list", work, _replacing(table, unit, weeks))


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


def fixed_age(work: Work, overdue: pd.DataFrame, depot_of: Mapping[str, int]) -> PolicyCost:
    """Every part is replaced at its best fixed age, oldest first as far as hours reach; readings are not looked at.

    A part that is not the suspect one costs its work less the value of the life gained.
    """
    hours, catalogue, weeks = work.capacity.hours.copy(), work.catalogue, work.weeks
    rows = {name: row for row, name in enumerate(work.candidates.table["unit"])}
    suspects = work.candidates.part
    taken: dict[int, int] = {}
    extra = Besides()
    for unit, part, age, due in zip(overdue["unit"], overdue["part"], overdue["age"], overdue["due_day"], strict=True):
        d, need = depot_of.get(unit, -1), catalogue.labour_h[part]
        days = work.opened.visit_day(weeks, d, int(np.ceil(max(due, catalogue.lead_days[part], 0.0))))
        fits = (days >= 0) & (hours[d] + HOURS_TOLERANCE >= need) if d >= 0 else np.zeros(len(weeks), np.bool_)
        if not fits.any():
            continue
        week = int(np.argmax(fits))
        hours[d, week] -= need
        row = rows.get(unit, -1)
        if row >= 0 and suspects[row] == part and np.isfinite(work.table.cost[REPLACE, row, week]):
            taken[row] = week
            continue
        law = work.lives[part].law
        gained = law.mean - float(mean_residual_life(law, np.array([age]))[0])
        paid = catalogue.price[part] + need * work.settings.hour_rate + work.settings.access_cost
        saved = work.rates[part] * min(max(gained, 0.0) / 7.0, paid / max(work.rates[part], 1e-9))
        extra = Besides(extra.cost + paid - saved, extra.work + paid, extra.visits + 1, extra.hours + need)
    return reckoned("fixed_age", work, _replacing(work.table, list(taken), list(taken.values())), extra)
