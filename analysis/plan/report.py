"""The tables of a plan: visits with their reasons in numbers, what was left out, orders, hours, policies."""

import hashlib
from collections.abc import Collection
from typing import Any

import numpy as np
import pandas as pd

from analysis.costs import CHEAP_ACTIONS
from analysis.plan.act_by import act_by_missed, left_over
from analysis.plan.assignment import Assignment
from analysis.plan.candidates import Candidates, best_ages, between
from analysis.plan.done import with_done
from analysis.plan.inputs import PlanInputs, Work, last_working_day
from analysis.plan.ordered import SPARE, spare_ones
from analysis.plan.policies import (
    PolicyCost,
    avoided,
    fixed_age,
    flagged_list,
    overdue_parts,
    reckoned,
    run_to_failure,
    spent_on,
)
from analysis.plan.result import FRAMES, ReplacementPlan, frame_of, rows_of
from analysis.plan.rules import Rules
from analysis.plan.visit_costs import CHEAP, CHEAP_FIRST, MEASURE, REPLACE, REPLACE_TWO, Options, lived, make_costs
from analysis.plan.workshop_calendar import PlanWeeks, iso_week
from analysis.readings.panel import Floats

KIND_WORDS = ("replace", "replace", "cheap", "measure", "cheap_first")


def report(
    inputs: PlanInputs,
    work: Work,
    rules: Rules,
    options: Options,
    result: Assignment,
    previous: ReplacementPlan | None,
    pins_cost: float,
) -> ReplacementPlan:
    rows = options.of(result.chosen)
    visits, cancelled = _with_identity(_visits(work, rules, rows), previous, work.weeks, set(inputs.done["uid"]))
    hours = _hours_frame(work, rows, result)
    policies = _policies(inputs, work, rows)
    planned, never = policies[0], policies[1]
    summary = {
        "currency": work.settings.currency,
        "visits": len(visits),
        "hours": float(visits["hours"].sum()),
        "no_starts_avoided": never.no_starts - planned.no_starts,
        "cost": planned.cost,
        "cost_run_to_failure": never.cost,
        "policies_weeks": len(work.weeks),
        "saving": float(visits["saving"].sum()),
        "lower_bound": result.lower_bound,
        "gap": result.gap,
        "method": sorted(set(result.method)),
        "pins_cost": pins_cost,
        "moved": int((visits["state"] == "moved").sum()),
        "cancelled": len(cancelled),
        "promised": _held_back(work, rules),
        "lifetimes": {part: life.source for part, life in work.lives.items()},
    }
    left_out, orders = _left_out(work, rules, rows), _orders(work, visits)
    here = set(inputs.in_service(work.weeks.as_of)["unit"])
    summary[SPARE] = spare_ones(work.ordered, orders, here - set(inputs.done["unit"]))
    made = ReplacementPlan(
        as_of=work.weeks.as_of,
        weeks=len(work.weeks),
        settings=work.settings.as_mapping(),
        notes=tuple(dict.fromkeys(work.notes)),
        visits=visits,
        cancelled=cancelled,
        left_out=left_out,
        orders=orders,
        hours=hours,
        policies=frame_of([vars(p) for p in policies], FRAMES["policies"]),
        done=frame_of([], FRAMES["done"]) if previous is None else previous.done,
        summary=summary,
        act_by_missed=act_by_missed(inputs, work, rules, rows, left_out),
    )
    return with_done(made, inputs.done)


def _held_back(work: Work, rules: Rules) -> bool:
    """Whether what the last version promised keeps a visit from where it would pay: a week of it, or a near week that it fixed."""
    shut = (work.table.cost < work.table.to_beat[None, :, None]) & ~np.isfinite(rules.cost)
    return bool((rules.promised >= 0).any() or shut[:, ~rules.pinned].any())


def _parts_and_actions(c: Candidates, row: int, kind: int) -> tuple[list[str], list[str]]:
    part, second = c.part[row], c.second[row]
    if kind == MEASURE:
        return [part] if part else [], ["measured"]
    if kind == CHEAP:
        return [part], [CHEAP_ACTIONS[part]]
    if kind == CHEAP_FIRST:
        return [part], [CHEAP_ACTIONS[part] + " or replaced"]
    return ([part], ["replaced"]) if kind == REPLACE else ([part, second], ["replaced", "replaced"])


def _visits(work: Work, rules: Rules, rows: Options) -> pd.DataFrame:
    c, table = work.candidates, work.table
    out = []
    order = np.lexsort((rows.unit, rows.day))
    end, fewer = c.risk_until(work.end_week), avoided(c, rows, work.end_week)
    costs = table.cost[rows.kind, rows.unit, rows.week] + table.constant[rows.unit]
    made_of = rows_of(_components(work, rows, costs))
    for i in order:
        u, w, kind, day = int(rows.unit[i]), int(rows.week[i]), int(rows.kind[i]), int(rows.day[i])
        parts, actions = _parts_and_actions(c, u, kind)
        cost = float(costs[i])
        waiting = float(table.wait[u] + table.constant[u])
        state = "pinned" if rules.pinned[u] else "new"
        if state == "new" and rules.promised[u] >= 0:
            state = "kept" if rules.promised[u] == w else "moved"
        out.append({
            "unit": c.table["unit"].iloc[u], "depot": c.table["depot"].iloc[u], "iso_week": work.weeks.iso[w],
            "visit_on": work.weeks.as_of + pd.Timedelta(days=day), "in_service": bool(table.free[kind, u, w]),
            "kind": KIND_WORDS[kind], "parts": parts, "actions": actions, "hours": float(rows.hours[i]),
            "cost_now": cost, "cost_waiting": waiting, "saving": waiting - cost,
            **made_of[i],
            "probability_before": float(between(c.risk[u : u + 1], np.array([[day / 7.0]]))[0, 0]),
            "probability_waiting": float(end[u]), "no_starts_avoided": float(fewer[u]),
            "state": state, "uid": "", "sequence": 0, "job": "", "why": "", **_decision(work, u),
            "measurement": c.table["measurement"].iloc[u], "leaves_on": work.left_on(u), "beside": _beside(c, u, parts),
        })  # fmt: skip
    return frame_of(out, FRAMES["visits"])


def _beside(c: Candidates, u: int, parts: Collection[str]) -> list[str]:
    """Further parts that are seen to at a visit for `parts`."""
    return [part for part in c.table["beside"].iloc[u] if part not in parts]


def _decision(work: Work, u: int) -> dict[str, str]:
    what = work.decided
    return {
        "decision": what.kind[u], "decided_on": what.on[u], "decided_until": what.until[u], "decided_why": what.why[u],
    }  # fmt: skip


def _components(work: Work, rows: Options, total: Floats) -> pd.DataFrame:
    """The parts that the visits' expected costs `total` (N,) are made of, a row for each; they add up to them [money]."""
    c, u = work.candidates, rows.unit
    weeks = rows.day[:, None] / 7.0
    spent = spent_on(work, rows)
    renews = np.isin(rows.kind, (REPLACE, REPLACE_TWO, CHEAP_FIRST))
    waste = c.rate[u] * (work.values.life[u] - between(lived(c.risk[u]), weeks)[:, 0])
    out = {
        "cost_parts": spent.parts,
        "cost_labour": spent.labour,
        "cost_access": spent.access,
        "cost_failing_before": c.fail_cost[u] * between(c.risk[u], weeks)[:, 0],
        "cost_life": np.where(renews, waste, 0.0),
    }
    return pd.DataFrame({**out, "cost_after": total - sum(out.values())})


def _with_identity(
    visits: pd.DataFrame, previous: ReplacementPlan | None, weeks: PlanWeeks, done: Collection[str]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Give each visit its lasting identity and sequence number (RFC 5545); visits that fell away are cancelled, and one like
    a visit that was `done` already is another one."""
    known: dict[str, dict[str, Any]] = {}
    gone: dict[str, dict[str, Any]] = {}
    if previous is not None:
        coming = previous.visits[previous.visits["visit_on"] >= weeks.as_of]
        known = {str(row["unit"]): row for row in rows_of(coming)}
        later = previous.cancelled[previous.cancelled["visit_on"] >= weeks.as_of]
        gone = {str(row["uid"]): row for row in rows_of(later)}
    out = visits.copy()
    uids, sequences = [], []
    for row in visits.to_dict("records"):
        old = known.pop(str(row["unit"]), None)
        if old is not None:
            same = old["visit_on"] == row["visit_on"] and old["parts"] == row["parts"]
            same = same and old["actions"] == row["actions"]
            uid, sequence = str(old["uid"]), int(old["sequence"]) + (0 if same else 1)
        else:
            text = "|".join([str(row["unit"]), *row["parts"], row["visit_on"].date().isoformat()])
            uid = _uid(text)
            while uid in done:
                text += "|again"
                uid = _uid(text)
            sequence = int(gone.pop(uid)["sequence"]) + 1 if uid in gone else 0
        uids.append(uid)
        sequences.append(sequence)
    out["uid"], out["sequence"] = pd.Series(uids, dtype="str"), pd.Series(sequences, dtype="int64")
    fallen = [{**row, "sequence": int(row["sequence"]) + 1} for row in known.values()]
    columns = FRAMES["cancelled"]
    lost = [{name: row[name] for name in columns} for row in [*gone.values(), *fallen]]
    return out, frame_of(lost, columns)


def _uid(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:24] + "@cranktrend"


def _left_out(work: Work, rules: Rules, rows: Options) -> pd.DataFrame:
    """Vehicles that should come but cannot: no hours, no depot, the part arrives too late, or they are postponed; and
    accepted ones, whether they pay or not."""
    c, table = work.candidates, work.table
    relative = table.cost - table.wait[None, :, None]
    served = np.zeros(len(c), np.bool_)
    served[rows.unit] = True
    risk = c.risk_until(work.end_week)
    unpostponed = _unpostponed(work)
    units, depots = c.table["unit"].tolist(), c.table["depot"].tolist()
    out = []
    for u in range(len(c)):
        if served[u]:
            continue
        kind, week, best = REPLACE, -1, 0.0  # of one that was accepted, and can come on no day
        if np.isfinite(relative[:, u]).any():
            kind, week = (int(x) for x in np.unravel_index(int(np.argmin(relative[:, u])), relative[:, u].shape))
            best = float(relative[kind, u, week])
        reason = "no depot" if work.depot[u] < 0 else _full(work, rows, relative[:, u], u)
        if np.isfinite(c.leaves[u]) and not np.isfinite(rules.cost[:, u]).any():
            reason = "leaves"
        if not best < -table.least[u] and not work.decided.accepted[u]:
            kind, week, best, reason = _too_early(work, u, unpostponed)
            if not best < -table.least[u]:
                continue
        parts, _ = _parts_and_actions(c, u, kind)
        out.append({
            "unit": units[u], "depot": depots[u], "kind": KIND_WORDS[kind],
            "parts": parts, "best_week": work.weeks.iso[week] if week >= 0 else "", "saving": -best,
            "risk": float(risk[u]), "cost_at_risk": float(risk[u] * c.fail_cost[u]), "reason": reason,
            "job": "", "why": "", **_decision(work, u), "measurement": c.table["measurement"].iloc[u],
            "leaves_on": work.left_on(u), "beside": _beside(c, u, parts),
        })  # fmt: skip
    frame = frame_of(out, FRAMES["left_out"])
    return frame.sort_values(["saving", "unit"], ascending=[False, True], ignore_index=True)


def _unpostponed(work: Work) -> Floats:
    """Costs of acting as they were if nobody had postponed anything; the table's own where nobody did."""
    if not (work.decided.not_before > 0).any():
        return work.table.cost
    services, waits_for = work.table.services, work.table.waits_for
    return make_costs(
        work.candidates, work.values, work.weeks, services, waits_for, work.settings, work.opened, work.depot
    ).cost


def _too_early(work: Work, u: int, unpostponed: Floats) -> tuple[int, int, float, str]:
    """Kind, week (-1), cost relative to waiting and reason of a visit that is postponed, or whose part arrives too late;
    no cost below waiting where it is neither."""
    c, table, postponed = work.candidates, work.table, work.decided.not_before[u] > 0
    if postponed:
        free = unpostponed[:, u]
        return int(free.min(axis=1).argmin()), -1, float(free.min() - table.wait[u]), "postponed"
    now = c.part_cost[u] + c.part_h[u] * work.settings.hour_rate + work.settings.access_cost + work.values.left[u, 0]
    late = bool(c.part[u]) and c.lead[u] > last_working_day(work.weeks)
    return REPLACE, -1, float(now - table.wait[u]) if late else np.inf, "part too late"


def _full(work: Work, rows: Options, relative: Floats, u: int) -> str:
    """Whether hours or places were lacking in the weeks in which acting would have paid."""
    left, _ = left_over(work, rows, int(work.depot[u]))
    kinds, weeks = np.nonzero((relative < -work.table.least[u]) | (np.isfinite(relative) & work.decided.accepted[u]))
    fits = left[weeks] >= work.table.hours[kinds, u]
    return "no places" if fits.any() else "no hours"


def _orders(work: Work, visits: pd.DataFrame) -> pd.DataFrame:
    """Parts to order, by the week in which the first of them must be ordered; those that an earlier version told to order before
    the plan's day apart from the others."""
    lines: dict[tuple[str, str, bool], list[tuple[pd.Timestamp, pd.Timestamp, str]]] = {}
    for row in visits[visits["kind"].isin(["replace", "cheap_first"])].to_dict("records"):
        for part in row["parts"]:
            before = work.ordered.get((str(row["unit"]), part))
            lead = pd.Timedelta(days=int(np.ceil(work.catalogue.lead_days[part])))
            order_by = row["visit_on"] - lead if before is None else before.told_on
            lines.setdefault((iso_week(order_by), part, before is None), []).append(
                (order_by, row["visit_on"], str(row["unit"]))
            )
    out = []
    for (_, part, new), jobs in sorted(lines.items()):
        each = work.catalogue.price[part]
        order_by = min(j[0] for j in jobs)
        out.append({
            "part": part, "quantity": len(jobs), "order_by": order_by, "needed_on": min(j[1] for j in jobs),
            "units": [j[2] for j in jobs], "price_each": each, "price": each * len(jobs),
            "lead_days": float(work.catalogue.lead_days[part]), "told_on": pd.NaT if new else order_by,
        })  # fmt: skip
    return frame_of(out, FRAMES["orders"])


def _hours_frame(work: Work, rows: Options, result: Assignment) -> pd.DataFrame:
    out = []
    for d, depot in enumerate(work.depots):
        mine = work.depot[rows.unit] == d
        booked = np.bincount(rows.week[mine], rows.hours[mine], len(work.weeks))
        count = np.bincount(rows.week[mine], minlength=len(work.weeks))
        for w, iso in enumerate(work.weeks.iso):
            out.append({
                "depot": depot, "iso_week": iso, "week_start": work.weeks.monday[w],
                "hours": float(work.capacity.hours[d, w] + work.done_h[d, w]),
                "booked": float(booked[w] + work.done_h[d, w]), "visits": int(count[w]),
                "hour_price": float(result.hour_price[d, w]),
            })  # fmt: skip
    return frame_of(out, FRAMES["hours"])


def _policies(inputs: PlanInputs, work: Work, rows: Options) -> list[PolicyCost]:
    """The plan beside the three simple policies, on the same vehicles, weeks, risks and hours."""
    flagged = inputs.units.loc[inputs.units["flagged"].astype(bool), "unit"].astype(str).tolist()
    fleet = inputs.in_service(work.weeks.as_of)
    ages = best_ages(fleet, work.lives, work.catalogue, work.settings, access=work.settings.access_cost)
    overdue = overdue_parts(work.seen, ages, work.weeks)
    overdue = overdue[~overdue["unit"].isin(inputs.leaving(work.weeks.as_of))]  # nobody renews by age what is sold soon
    index = {name: i for i, name in enumerate(work.depots)}
    depot_of = {u: index.get(str(d), -1) for u, d in zip(fleet["unit"], fleet["depot"], strict=True)}
    return [
        reckoned("plan", work, rows),
        run_to_failure(work),
        fixed_age(work, overdue, depot_of),
        flagged_list(work, flagged),
    ]
