"""Vehicles that the plan has in after the day by which the weekly list says to act, or not at all; and why."""

from typing import Any

import numpy as np
import pandas as pd

from analysis.plan.assignment import HOURS_TOLERANCE
from analysis.plan.candidates import between
from analysis.plan.inputs import PlanInputs, Work, pin_rows
from analysis.plan.result import FRAMES, frame_of
from analysis.plan.rules import Rules
from analysis.plan.visit_costs import CHEAP_FIRST, REPLACE, REPLACE_TWO, Options
from analysis.readings.panel import Floats

WAITS, LEAVES, FAILS = "waiting pays", "leaves", "fails before"
MOST = 0.5  # of a vehicle's risk: more of it before the work could be done is why no visit pays


def act_by_missed(
    inputs: PlanInputs, work: Work, rules: Rules, rows: Options, left_out: pd.DataFrame
) -> pd.DataFrame:  # fmt: skip
    """A row for each vehicle that comes later than it should, or not though it should within the plan, earliest first.

    Nobody can come before the first working day of the workshop: where the day to act by lies before it, that day counts.
    """
    row_of = {str(unit): row for row, unit in enumerate(work.candidates.table["unit"])}
    visit_of = {int(u): n for n, u in enumerate(rows.unit)}
    without = dict(zip(left_out["unit"], left_out["reason"], strict=True))
    depot_of = dict(zip(inputs.fleet["unit"].astype(str), inputs.fleet["depot"].fillna("").astype(str), strict=True))
    last = int(work.weeks.end_day[-1]) - 1
    first = {name: int(work.opened.next_open[d, work.weeks.first_day[0]]) for d, name in enumerate(work.depots)}
    forbidden = {unit for unit, kind, _ in pin_rows(inputs.pins) if kind == "forbid"}
    leaving, at_risk = inputs.leaving(work.weeks.as_of), work.candidates.risk_until(work.end_week)
    out: list[dict[str, Any]] = []
    for unit, day in _days_to_act_by(inputs).items():
        limit = max(int((day - work.weeks.as_of).days), first.get(depot_of.get(unit, ""), 0))
        visit = visit_of.get(row_of.get(unit, -1))
        on = last + 1 if visit is None else int(rows.day[visit])
        leaves = leaving.get(unit, np.inf)
        if on <= limit or limit > last or leaves <= limit:
            continue
        u = row_of.get(unit, -1)
        found: dict[str, Any] = {
            "risk": float(at_risk[u]) if u >= 0 else 0.0,
            "reason": without.get(unit, LEAVES if leaves <= last else WAITS),
        }
        if leaves <= last:
            found["leaves_on"] = work.weeks.as_of + pd.Timedelta(days=leaves)
        if visit is None and u >= 0 and found["reason"] == WAITS:
            found |= _before_any_visit(work, u, found["risk"])
        if visit is not None:
            comes = work.weeks.as_of + pd.Timedelta(days=on)
            found |= {"visit_on": comes, **_why(work, rules, rows, visit, limit, by_hand=unit in forbidden)}
        out.append({"unit": unit, "depot": depot_of.get(unit, ""), "act_by": day, **found})
    frame = frame_of(out, FRAMES["act_by_missed"])
    return frame.sort_values(["act_by", "unit"], ignore_index=True)


def _days_to_act_by(inputs: PlanInputs) -> dict[str, pd.Timestamp]:
    if "act_by" not in inputs.units:
        return {}
    known = inputs.units.dropna(subset=["act_by"]).drop_duplicates("unit")
    return dict(zip(known["unit"].astype(str), pd.to_datetime(known["act_by"]).dt.normalize(), strict=True))


def _before_any_visit(work: Work, u: int, risk: float) -> dict[str, Any]:
    """The first day on which a part could be renewed, and the chance that the vehicle fails before: where that is most of its risk."""
    soonest = _soonest(work, u, REPLACE)
    if soonest < 0:
        return {}
    before = float(between(work.candidates.risk[u : u + 1], np.array([[soonest / 7.0]]))[0, 0])
    if before <= MOST * risk:
        return {}
    on = work.weeks.as_of + pd.Timedelta(days=soonest)
    return {"reason": FAILS, "soonest_on": on, "risk_before": before}


def _soonest(work: Work, u: int, kind: int) -> int:
    """The first day [d after the plan's date] on which a visit of this kind can be, -1 for none."""
    days = work.table.day[kind, u]
    possible = days[(days >= 0) & np.isfinite(work.table.cost[kind, u])]
    return int(possible.min()) if len(possible) else -1


def _why(work: Work, rules: Rules, rows: Options, visit: int, limit: int, *, by_hand: bool) -> dict[str, Any]:
    """Why a visit comes after `limit` [days after the plan's date]: the reason, and the figure or day that belongs to it."""
    u, kind, on = int(rows.unit[visit]), int(rows.kind[visit]), int(rows.day[visit])
    if rules.pinned[u]:
        return {"reason": "pinned"}
    soonest = _soonest(work, u, kind)
    if soonest > limit:
        # the day on which the part comes, where that is after `limit`; NaT where it is no hindrance
        ready = _lead(work, u, kind)
        part_on = work.weeks.as_of + pd.Timedelta(days=ready) if ready > limit else pd.NaT
        if on > soonest:
            return {"part_on": part_on, **_later_than(work, rules, rows, visit, soonest, by_hand=by_hand)}
        return {"part_on": part_on, "reason": _not_before(work, u, kind, on, limit)}
    return _later_than(work, rules, rows, visit, limit, by_hand=by_hand)


def _later_than(work: Work, rules: Rules, rows: Options, visit: int, limit: int, *, by_hand: bool) -> dict[str, Any]:
    """Why a visit comes after `limit` though the work could be done by then."""
    u, week, kind = int(rows.unit[visit]), int(rows.week[visit]), int(rows.kind[visit])
    days, costs = work.table.day[kind, u], work.table.cost[kind, u]
    early = np.flatnonzero((days >= 0) & (days <= limit) & np.isfinite(costs))
    left_h, left_places = left_over(work, rows, int(work.depot[u]))
    if not (work.capacity.hours[work.depot[u], early] > 0).any():
        return {"reason": "closed"}
    allowed = early[np.isfinite(rules.cost[kind, u, early])]
    if not len(allowed):
        return {"reason": "kept out" if by_hand else "frozen"}
    enough = allowed[left_h[allowed] + HOURS_TOLERANCE >= work.table.hours[kind, u]]
    if not len(enough):
        return {"reason": "no hours"}
    fits = enough[work.table.free[kind, u, enough] | (left_places[enough] >= 1)]
    if not len(fits):
        return {"reason": "no places"}
    dearer = float(costs[fits].min() - costs[week])
    if dearer <= 0:
        return {"reason": "kept"}
    return {"reason": "service" if work.table.free[kind, u, week] else "later", "costs_more": dearer}


def _lead(work: Work, u: int, kind: int) -> int:
    c = work.candidates
    days = {REPLACE: c.lead[u], CHEAP_FIRST: c.lead[u], REPLACE_TWO: max(c.lead[u], c.second_lead[u])}.get(kind, 0.0)
    return int(np.ceil(days))


def _not_before(work: Work, u: int, kind: int, on: int, limit: int) -> str:
    """Why the work cannot be done before the day `on` at all."""
    if work.decided.not_before[u] > limit:
        return "postponed"
    ready = _lead(work, u, kind)
    soonest = work.opened.visit_day(work.weeks, int(work.depot[u]), ready)
    if bool((work.table.services[u] == on).any()) and int(soonest[soonest >= 0].min(initial=on)) < on:
        return "service"
    return "part" if ready > limit else "closed"


def left_over(work: Work, rows: Options, depot: int) -> tuple[Floats, Floats]:
    """Hours and places that the plan leaves at a depot in each week."""
    mine, weeks = work.depot[rows.unit] == depot, len(work.weeks)
    called = mine & rows.calls_in
    hours = work.capacity.hours[depot] - np.bincount(rows.week[mine], rows.hours[mine], weeks)
    return hours, work.capacity.visits[depot] - np.bincount(rows.week[called], minlength=weeks)
