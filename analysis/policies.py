"""What three simple policies would cost on the same vehicles: run to failure, fixed age, flagged list in order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import gamma, gammaincc

from analysis.assignment import HOURS_TOLERANCE, Capacity
from analysis.candidates import LEAST_RISK, Candidates, Catalogue, no_start_costs
from analysis.lifetimes import AgeReplacement, Lifetime, Weibull, age_replacement
from analysis.panel import Floats, Ints
from analysis.plan_calendar import PlanWeeks, visit_day
from analysis.plan_settings import PARTS, PlanSettings
from analysis.replacement import REPLACE, REPLACE_TWO, CostTable, Values, between, lived

LATEST_AGE_DAYS = 36525.0
"""An age limit beyond a hundred years is no limit."""


@dataclass(frozen=True)
class PolicyCost:
    """Expected cost [money], no-starts within the plan's weeks, visits and hours [h] of one policy."""

    policy: str
    cost: float
    no_starts: float
    visits: int
    hours: float


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


def run_to_failure_cost(c: Candidates, values: Values) -> Floats:
    """(U,) relative cost of never acting: every part runs until it fails, then is replaced at the roadside's price."""
    alive = 1.0 - c.risk[:, -1]
    return np.asarray(values.lost[:, -1] - c.rate * lived(c.risk)[:, -1] + alive * values.run_out, dtype=np.float64)


def run_to_failure(c: Candidates, values: Values, table: CostTable, end_week: float) -> PolicyCost:
    """Nobody acts before a no-start."""
    cost = run_to_failure_cost(c, values) + table.constant
    risk = failing(c, np.zeros(len(c), np.int64), np.full(len(c), -1), end_week)
    return PolicyCost("run_to_failure", float(cost.sum()), float(risk.sum()), 0, 0.0)


def flagged_list(
    c: Candidates,
    values: Values,
    table: CostTable,
    depot: Ints,
    capacity: Capacity,
    flagged: list[str],
    end_week: float,
) -> PolicyCost:
    """The flagged vehicles in order of probability, each in the first week with hours, whatever that costs."""
    hours, visits = capacity.hours.copy(), capacity.visits.copy()
    cost = run_to_failure_cost(c, values)
    day = np.full(len(c), -1)
    rows = {name: row for row, name in enumerate(c.table["unit"])}
    used = 0.0
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
            cost[row], day[row] = table.cost[REPLACE, row, week], table.day[REPLACE, row, week]
            used += float(need)
    risk = failing(c, np.zeros(len(c), np.int64), day, end_week)
    total = float((cost + table.constant).sum())
    return PolicyCost("flagged_list", total, float(risk.sum()), int((day >= 0).sum()), used)


def best_ages(
    units: pd.DataFrame, lives: Mapping[str, Lifetime], catalogue: Catalogue, settings: PlanSettings
) -> dict[str, AgeReplacement]:
    """Best fixed age [d] of each part, with the fleet's mean cost of a no-start (Barlow & Proschan 1965)."""
    extra = float(no_start_costs(units, settings).mean()) if len(units) else 0.0
    out = {}
    for part in PARTS:
        work_h = catalogue.labour_h[part]
        planned = catalogue.price[part] + work_h * settings.hour_rate + settings.access_cost
        unplanned = catalogue.price[part] + work_h * settings.failure_hours_factor * settings.hour_rate + extra
        out[part] = age_replacement(lives[part].law, planned=max(planned, 0.01), unplanned=max(unplanned, 0.01))
    return out


def mean_residual_life(law: Weibull, age: Floats) -> Floats:
    """Expected life left at an age (N,), in the unit of the law: the integral of S beyond it, over S."""
    x = (np.asarray(age, dtype=np.float64) / law.scale) ** law.shape
    whole = law.scale / law.shape * gamma(1.0 / law.shape) * gammaincc(1.0 / law.shape, x)
    return np.asarray(whole / np.maximum(np.exp(-x), 1e-300), dtype=np.float64)


def overdue_parts(lives: pd.DataFrame, ages: Mapping[str, AgeReplacement], weeks: PlanWeeks) -> pd.DataFrame:
    """Parts that reach their age limit within the plan: unit, part, age [d], due_day [d after as_of], oldest first."""
    frames = []
    for part, best in ages.items():
        if best.age >= LATEST_AGE_DAYS:
            continue
        running = lives[(lives["part"] == part) & (lives["running"] == 1.0)]
        due = running.assign(due_day=best.age - running["age"], over=running["age"] / best.age)
        frames.append(due.loc[due["due_day"] < weeks.end_day[-1]])
    if not frames:
        return pd.DataFrame({"unit": [], "part": [], "age": [], "due_day": [], "over": []})
    every: pd.DataFrame = pd.concat(frames)
    return every.sort_values(["over", "unit"], ascending=[False, True], ignore_index=True)


def fixed_age(
    c: Candidates, values: Values, table: CostTable, weeks: PlanWeeks, capacity: Capacity, overdue: pd.DataFrame,
    depot_of: Mapping[str, int], *, catalogue: Catalogue, lives: Mapping[str, Lifetime], rates: Mapping[str, float],
    settings: PlanSettings,
) -> PolicyCost:  # fmt: skip
    """Every part is replaced at its best fixed age, oldest first as far as hours reach; readings are not looked at.

    A part that is not the suspect one costs its work less the value of the life gained.
    """
    hours = capacity.hours.copy()
    cost = run_to_failure_cost(c, values)
    day = np.full(len(c), -1)
    rows = {name: row for row, name in enumerate(c.table["unit"])}
    suspects = c.table["part"].tolist()
    extra, used, count = 0.0, 0.0, 0
    for unit, part, age, due in zip(overdue["unit"], overdue["part"], overdue["age"], overdue["due_day"], strict=True):
        d, need = depot_of.get(unit, -1), catalogue.labour_h[part]
        days = visit_day(weeks, int(np.ceil(max(due, catalogue.lead_days[part], 0.0))))
        fits = (days >= 0) & (hours[d] + HOURS_TOLERANCE >= need) if d >= 0 else np.zeros(len(weeks), np.bool_)
        if not fits.any():
            continue
        week = int(np.argmax(fits))
        hours[d, week] -= need
        used, count = used + need, count + 1
        row = rows.get(unit, -1)
        if row >= 0 and suspects[row] == part and np.isfinite(table.cost[REPLACE, row, week]):
            cost[row], day[row] = table.cost[REPLACE, row, week], table.day[REPLACE, row, week]
            continue
        law = lives[part].law
        gained = law.mean - float(mean_residual_life(law, np.array([age]))[0])
        work = catalogue.price[part] + need * settings.hour_rate + settings.access_cost
        extra += work - rates[part] * min(max(gained, 0.0) / 7.0, work / max(rates[part], 1e-9))
    risk = failing(c, np.zeros(len(c), np.int64), day, float(weeks.end_day[-1]) / 7.0)
    total = float((cost + table.constant).sum()) + extra
    return PolicyCost("fixed_age", total, float(risk.sum()), count, used)
