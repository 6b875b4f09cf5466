"""The replacement plan: assessment, workshops, parts, pins and the last version in; who comes when, and why, out."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from analysis.assignment import Assignment, Capacity, assign, reserve
from analysis.candidates import Candidates, Catalogue, complete_catalogue, make_candidates, weekly_rates
from analysis.lifetimes import Lifetime, part_lifetimes
from analysis.panel import Bools, Floats, Ints
from analysis.plan_calendar import PlanWeeks, plan_weeks, visit_day, workshop_hours
from analysis.plan_settings import CHEAP_ACTIONS, LONGEST_WEEKS, PARTS, PlanSettings
from analysis.policies import (
    PolicyCost,
    best_ages,
    failing,
    fixed_age,
    flagged_list,
    overdue_parts,
    run_to_failure,
)
from analysis.replacement import (
    CHEAP,
    CHEAP_FIRST,
    MEASURE,
    REACT_WEEKS,
    REPLACE,
    REPLACE_TWO,
    CostTable,
    Options,
    Values,
    between,
    make_costs,
    make_values,
    worthwhile,
)

SUCCESS_DAYS = 180
"""A cheap act has helped when the part needed nothing more for so long [d] (our choice: half a year)."""
SUCCESS_PRIOR = 10.0
"""The stated chance of success counts as much as so many acts of the fleet's own (our choice)."""
KIND_WORDS = ("replace", "replace", "cheap", "measure", "cheap_first")
STATES = ("new", "kept", "moved", "pinned")
DATES = ("visit_on", "order_by", "needed_on", "week_start")


@dataclass(frozen=True)
class PlanInputs:
    """outlook, units, parts: of the Assessment; catalogue, services, workshops, repairs: tables as in DEVELOPERS.md;
    pins: unit, kind, week, part (ISO weeks; later rows win)."""

    outlook: pd.DataFrame
    units: pd.DataFrame
    parts: pd.DataFrame
    catalogue: pd.DataFrame
    services: pd.DataFrame
    workshops: pd.DataFrame
    repairs: pd.DataFrame
    fleet: pd.DataFrame
    pins: pd.DataFrame | None = None


@dataclass(frozen=True)
class ReplacementPlan:
    """A plan as it is shown, stored and exported; columns of the frames are listed in DEVELOPERS.md."""

    as_of: pd.Timestamp
    weeks: int
    settings: Mapping[str, Any]
    notes: tuple[str, ...]
    visits: pd.DataFrame
    cancelled: pd.DataFrame
    left_out: pd.DataFrame
    orders: pd.DataFrame
    hours: pd.DataFrame
    policies: pd.DataFrame
    summary: Mapping[str, Any]
    version: int = 0

    def to_body(self) -> dict[str, Any]:
        """Plain values for JSON; :meth:`from_body` reads them again."""
        out: dict[str, Any] = {
            "as_of": self.as_of.date().isoformat(),
            "weeks": self.weeks,
            "version": self.version,
            "summary": dict(self.summary),
            "notes": list(self.notes),
        }
        for name in FRAMES:
            out[name] = [_plain(row) for row in getattr(self, name).to_dict("records")]
        out["settings"] = dict(self.settings)
        return out

    @staticmethod
    def from_body(body: Mapping[str, Any]) -> ReplacementPlan:
        """The plan that :meth:`to_body` wrote."""
        frames = {name: _frame(body[name], FRAMES[name]) for name in FRAMES}
        return ReplacementPlan(
            pd.Timestamp(body["as_of"]), int(body["weeks"]), body["settings"], tuple(body["notes"]),
            summary=body["summary"], version=int(body["version"]), **frames,
        )  # fmt: skip


FRAMES: Mapping[str, tuple[str, ...]] = {
    "visits": (
        "unit", "depot", "iso_week", "visit_on", "in_service", "kind", "parts", "actions", "hours", "cost_now",
        "cost_waiting", "saving", "cost_parts", "cost_labour", "cost_access", "cost_failing_before", "cost_life",
        "cost_after", "probability_before", "probability_waiting", "no_starts_avoided", "state", "uid", "sequence",
        "job", "why",
    ),
    "cancelled": ("unit", "depot", "visit_on", "uid", "sequence", "job"),
    "left_out": (
        "unit", "depot", "kind", "parts", "best_week", "saving", "risk", "cost_at_risk", "reason", "job", "why"
    ),
    "orders": ("part", "quantity", "order_by", "needed_on", "units", "price_each", "price"),
    "hours": ("depot", "iso_week", "week_start", "hours", "booked", "visits", "hour_price"),
    "policies": ("policy", "cost", "no_starts", "visits", "hours"),
}  # fmt: skip


def _rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(key): value for key, value in row.items()} for row in frame.to_dict("records")]


def _plain(row: Mapping[Any, Any]) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for key, value in row.items():
        if isinstance(value, pd.Timestamp):
            out[str(key)] = value.date().isoformat()
        elif isinstance(value, np.generic):
            out[str(key)] = value.item()
        else:
            out[str(key)] = value
    return out


def _frame(rows: list[dict[str, Any]], columns: tuple[str, ...]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=list(columns))
    for name in DATES:
        if name in frame:
            frame[name] = pd.to_datetime(frame[name]).astype("datetime64[us]")
    return frame


@dataclass(frozen=True)
class _Work:
    """Everything between the inputs and the frames."""

    weeks: PlanWeeks
    settings: PlanSettings
    catalogue: Catalogue
    lives: Mapping[str, Lifetime]
    rates: Mapping[str, float]
    candidates: Candidates
    values: Values
    table: CostTable
    depots: list[str]
    depot: Ints
    capacity: Capacity
    notes: list[str] = field(default_factory=list)

    @property
    def end_week(self) -> float:
        """End of the plan [weeks after its date]."""
        return float(self.weeks.end_day[-1]) / 7.0


@dataclass(frozen=True)
class _Rules:
    """Who must come, what a promised week saves, and the costs with forbidden weeks taken out."""

    cost: Floats
    forced: Bools
    pinned: Bools
    bonus: Floats
    promised: Ints


def plan_replacements(
    inputs: PlanInputs,
    *,
    as_of: pd.Timestamp,
    weeks: int = 13,
    settings: PlanSettings | None = None,
    previous: ReplacementPlan | None = None,
) -> ReplacementPlan:
    """Plan the visits of the coming `weeks` ISO weeks at least expected cost.

    Raises ValueError for `weeks` outside 1 to 26. Missing prices, depots, hours and unreachable lead times are said in
    the plan's notes and planned around.
    """
    if not 1 <= weeks <= LONGEST_WEEKS:
        raise ValueError(f"weeks is {weeks}; allowed are 1 to {LONGEST_WEEKS}")
    chosen_settings = settings or PlanSettings()
    work = _prepare(inputs, plan_weeks(pd.Timestamp(as_of), weeks), chosen_settings)
    rules = _apply_rules(work, inputs.pins, previous)
    options, result = _solve(work, rules)
    pins_cost = 0.0
    if rules.pinned.any() or not np.array_equal(np.isfinite(rules.cost), np.isfinite(work.table.cost)):
        free = _apply_rules(replace(work, notes=[]), None, previous)
        free_options, free_result = _solve(replace(work, notes=[]), free)
        pins_cost = _true_cost(work, options, result) - _true_cost(work, free_options, free_result)
    return _report(inputs, work, rules, options, result, previous, pins_cost)


def _true_cost(work: _Work, options: Options, result: Assignment) -> float:
    """Sum of the visits' costs relative to waiting, without the price of moves."""
    rows = options.take(result.chosen)
    return float((work.table.cost[rows.kind, rows.unit, rows.week] - work.table.wait[rows.unit]).sum())


# --- what the costs are made of --------------------------------------------------------------------------------------


def _prepare(inputs: PlanInputs, weeks: PlanWeeks, settings: PlanSettings) -> _Work:
    catalogue = complete_catalogue(inputs.catalogue, settings)
    notes = list(catalogue.notes)
    fleet = inputs.fleet.assign(unit=inputs.fleet["unit"].astype(str))
    lives = part_lifetimes(fleet, inputs.repairs, weeks.as_of, parts=PARTS, life_years=settings.life_years)
    rates = weekly_rates(fleet, catalogue, lives, settings)
    forced = _pinned_parts(inputs.pins, weeks, fleet)
    candidates = make_candidates(
        inputs.outlook, inputs.units, inputs.parts, catalogue=catalogue, rates=rates, lives=lives, settings=settings,
        success=cheap_success(inputs.repairs, weeks.as_of, settings), forced=forced,
    )  # fmt: skip
    names = candidates.table["unit"].tolist()
    services, service_week, first_service = _service_days(inputs.services, names, weeks, candidates.risk.shape[1] - 1)
    values = make_values(candidates, service_week, settings)
    table = make_costs(candidates, values, weeks, services, first_service, settings)
    depots = sorted({d for d in fleet["depot"].fillna("").astype(str) if d})
    depot = np.array([depots.index(d) if d in depots else -1 for d in candidates.table["depot"]], dtype=np.int64)
    capacity = _capacity(inputs, fleet, depots, weeks, settings)
    notes += _warnings(inputs, candidates, catalogue, depots, capacity, weeks)
    return _Work(
        weeks, settings, catalogue, lives, rates, candidates, values, table, depots, depot, capacity, notes
    )  # fmt: skip


def cheap_success(repairs: pd.DataFrame, as_of: pd.Timestamp, settings: PlanSettings) -> dict[str, float]:
    """Chance that the cheap act cures each part: the stated one, moved by how the fleet's own acts turned out.

    An act counts once SUCCESS_DAYS have passed; it has helped when the part needed nothing more in that time.
    """
    known = repairs[repairs["done_on"] < as_of]
    out = {}
    for part in CHEAP_ACTIONS:
        own = known[known["part"] == part].sort_values(["unit", "done_on"])
        later = own.groupby("unit")["done_on"].shift(-1)
        acts = own["action"].isin(["cleaned", "tightened", "charged"])
        acts &= (as_of - own["done_on"]).dt.days >= SUCCESS_DAYS
        good = later.isna() | ((later - own["done_on"]).dt.days > SUCCESS_DAYS)
        stated = settings.clean_success.get(part, 0.0)
        out[part] = float((SUCCESS_PRIOR * stated + (acts & good).sum()) / (SUCCESS_PRIOR + acts.sum()))
    return out


def _pinned_parts(pins: pd.DataFrame | None, weeks: PlanWeeks, fleet: pd.DataFrame) -> dict[str, str]:
    """Units of the fleet that are pinned to a week of the plan, with the part the pin names."""
    out: dict[str, str] = {}
    known = set(fleet["unit"])
    for unit, kind, week, part in _pin_rows(pins):
        if kind != "forbid" and weeks.index(week) >= 0 and unit in known:
            out[unit] = part if part in PARTS else ""
    return out


def _pin_rows(pins: pd.DataFrame | None) -> list[tuple[str, str, str, str]]:
    if pins is None or not len(pins):
        return []
    columns = (pins[name].astype(str) for name in ("unit", "kind", "week", "part"))
    return list(zip(*columns, strict=True))


def _service_days(
    services: pd.DataFrame, names: list[str], weeks: PlanWeeks, outlook_weeks: int
) -> tuple[Ints, Bools, Ints]:
    """Planned services: day in each plan week (U, W), -1 for none; whether in each outlook week (U, K); first (U,)."""
    in_plan = np.full((len(names), len(weeks)), -1, dtype=np.int64)
    in_outlook = np.zeros((len(names), outlook_weeks), dtype=np.bool_)
    first = np.full(len(names), -1, dtype=np.int64)
    due = services[services["due_on"] >= weeks.as_of].sort_values("due_on", ascending=False)
    row = pd.Index(names).get_indexer(pd.Index(due["unit"].astype(str)))
    day = (due["due_on"] - weeks.as_of).dt.days.to_numpy(np.int64)
    row, day = row[row >= 0], day[row >= 0]
    week = weeks.position(day.astype(np.float64))
    inside = week >= 0
    in_plan[row[inside], week[inside]] = day[inside]
    near = day < 7 * outlook_weeks
    in_outlook[row[near], day[near] // 7] = True
    first[row] = day
    return in_plan, in_outlook, first


def _capacity(
    inputs: PlanInputs, fleet: pd.DataFrame, depots: list[str], weeks: PlanWeeks, settings: PlanSettings
) -> Capacity:
    hours = workshop_hours(inputs.workshops, depots, weeks, closed_weeks=settings.closed_weeks)
    size = fleet["depot"].value_counts().reindex(depots).to_numpy(np.float64)
    down = np.maximum(1.0, np.floor(settings.down_share * size))
    return Capacity(hours, np.repeat(down[:, None], len(weeks), axis=1))


def _warnings(
    inputs: PlanInputs, c: Candidates, catalogue: Catalogue, depots: list[str], capacity: Capacity, weeks: PlanWeeks
) -> list[str]:
    """Sentences about what is missing or cannot be done."""
    out = []
    empty = [d for d, hours in zip(depots, capacity.hours.sum(axis=1), strict=True) if hours <= 0]
    if len(empty) == len(depots):
        out.append(
            "No workshop has any hours in these weeks, so no visit can be planned: give hours_per_week in "
            "workshops.csv; the vehicles left out show what waiting risks."
        )
    elif empty:
        out.append(f"No workshop hours in these weeks at {', '.join(empty)}: vehicles there are left out.")
    homeless = c.table.loc[c.table["depot"] == "", "unit"].tolist()
    if homeless:
        out.append(f"No depot is known for {_some(homeless)}: they are left out; give their depot in units.csv.")
    late = visit_days_end(weeks)
    for part in sorted(set(c.table["part"]) - {""}):
        if catalogue.lead_days[part] > late:
            out.append(
                f"{part} takes {catalogue.lead_days[part]:g} days to arrive, longer than the plan's {len(weeks)} weeks:"
                " it cannot be replaced within the plan; order it now."
            )
    known = set(inputs.fleet["unit"].astype(str))
    for unit, _, week, _ in _pin_rows(inputs.pins):
        if unit not in known:
            out.append(f"The pin of {unit} in {week} names no vehicle of the fleet and is left aside.")
    return out


def visit_days_end(weeks: PlanWeeks) -> int:
    """Last working day of the plan [days after its date]."""
    return int(visit_day(weeks, 0)[-1]) + 4


def _some(names: list[str], most: int = 5) -> str:
    head = ", ".join(names[:most])
    return head if len(names) <= most else f"{head} and {len(names) - most} more"


# --- pins, frozen weeks, promises ------------------------------------------------------------------------------------


def _apply_rules(work: _Work, pins: pd.DataFrame | None, previous: ReplacementPlan | None) -> _Rules:
    """Take out forbidden and frozen weeks, and find who must come and which week was promised."""
    cost = work.table.cost.copy()
    units = work.candidates.table["unit"].tolist()
    row_of = {name: row for row, name in enumerate(units)}
    promised = np.full(len(units), -1, dtype=np.int64)
    if previous is not None:
        for unit, week in zip(previous.visits["unit"], previous.visits["iso_week"], strict=True):
            if unit in row_of:
                promised[row_of[unit]] = work.weeks.index(week)
    pinned = _apply_pins(work, cost, row_of, pins)
    if pins is None or not len(pins):
        cost[:, work.candidates.table["forced"].to_numpy()] = np.inf
    forced = pinned.copy()
    bonus = np.zeros((len(units), len(work.weeks)))
    has = promised >= 0
    bonus[np.flatnonzero(has), promised[has]] = work.settings.move_price
    frozen = min(work.settings.frozen_weeks, len(work.weeks)) if previous is not None else 0
    if frozen:
        risk = between(work.candidates.risk, np.full((len(units), 1), work.weeks.end_day[frozen - 1] / 7.0))[:, 0]
        for row in range(len(units)):
            if pinned[row]:
                continue
            if 0 <= promised[row] < frozen and np.isfinite(cost[:, row, promised[row]]).any():
                others = np.arange(len(work.weeks)) != promised[row]
                cost[:, row, others] = np.inf
                forced[row] = True
            elif risk[row] < work.settings.urgent_probability:
                cost[:, row, :frozen] = np.inf
    return _Rules(cost, forced, pinned, bonus, promised)


def _apply_pins(work: _Work, cost: Floats, row_of: Mapping[str, int], pins: pd.DataFrame | None) -> Bools:
    """Change `cost` in place for pins; return who is pinned to a week."""
    pinned = np.zeros(len(row_of), np.bool_)
    rows = _pin_rows(pins)
    wanted: dict[str, tuple[int, str, str]] = {}
    for unit, kind, week, part in rows:
        at = work.weeks.index(week)
        if unit not in row_of:
            continue
        if kind == "forbid":
            if at >= 0:
                row = row_of[unit]
                own = work.candidates.table["part"].iloc[row]
                cost[REPLACE_TWO, row, at] = np.inf
                if part in ("", own):
                    cost[:, row, at] = np.inf
        elif at >= 0:
            wanted[unit] = (at, week, part)
        elif week > work.weeks.iso[-1]:
            work.notes.append(f"{unit} is pinned to {week}, after the plan's last week {work.weeks.iso[-1]}.")
    for unit, (at, week, part) in wanted.items():
        row = row_of[unit]
        others = np.arange(len(work.weeks)) != at
        cost[:, row, others] = np.inf
        if part in PARTS:
            cost[MEASURE, row] = np.inf
        if np.isfinite(cost[:, row, at]).any():
            pinned[row] = True
        else:
            work.notes.append(
                f"{unit} is pinned to {week}, but the part cannot be there by then: the visit is not planned."
            )
    return pinned


# --- solving ---------------------------------------------------------------------------------------------------------


def _solve(work: _Work, rules: _Rules) -> tuple[Options, Assignment]:
    """Book who must come, then assign the rest; the result's rows refer to the options returned."""
    table = replace(work.table, cost=rules.cost)
    options = worthwhile(table, keep=rules.forced, bonus=rules.bonus)
    booked, capacity, refused = reserve(options, work.depot, work.capacity, rules.forced)
    for row in refused:
        unit = work.candidates.table["unit"].iloc[row]
        why = "has no depot" if work.depot[row] < 0 else "the hours of that week do not reach for it"
        work.notes.append(f"{unit} was to come in a fixed week, but {why}: the visit is not planned.")
    open_rows = np.flatnonzero(~rules.forced[options.unit])
    rest = assign(options.take(open_rows), work.depot, capacity)
    chosen = np.sort(np.concatenate([booked, open_rows[rest.chosen]]))
    fixed = float(options.cost[booked].sum()) if len(booked) else 0.0
    bound = rest.lower_bound + fixed
    return options, Assignment(chosen, rest.cost + fixed, bound, rest.hour_price, rest.method)


# --- the result ------------------------------------------------------------------------------------------------------


def _report(
    inputs: PlanInputs,
    work: _Work,
    rules: _Rules,
    options: Options,
    result: Assignment,
    previous: ReplacementPlan | None,
    pins_cost: float,
) -> ReplacementPlan:
    rows = options.take(result.chosen)
    visits, cancelled = _with_identity(_visits(work, rules, rows), previous, work.weeks)
    hours = _hours_frame(work, rows, result)
    policies = _policies(inputs, work, rows)
    planned, never = policies[0], policies[1]
    summary = {
        "currency": work.settings.currency,
        "visits": len(visits),
        "hours": float(visits["hours"].sum()) if len(visits) else 0.0,
        "no_starts_avoided": never.no_starts - planned.no_starts,
        "cost": planned.cost,
        "cost_run_to_failure": never.cost,
        "saving": float(visits["saving"].sum()) if len(visits) else 0.0,
        "lower_bound": result.lower_bound,
        "gap": result.gap,
        "method": sorted(set(result.method)),
        "pins_cost": pins_cost,
        "moved": int((visits["state"] == "moved").sum()) if len(visits) else 0,
        "cancelled": len(cancelled),
        "lifetimes": {part: life.source for part, life in work.lives.items()},
    }
    return ReplacementPlan(
        as_of=work.weeks.as_of,
        weeks=len(work.weeks),
        settings=work.settings.as_mapping(),
        notes=tuple(dict.fromkeys(work.notes)),
        visits=visits,
        cancelled=cancelled,
        left_out=_left_out(work, rows),
        orders=_orders(work, visits),
        hours=hours,
        policies=pd.DataFrame([vars(p) for p in policies], columns=list(FRAMES["policies"])),
        summary=summary,
    )


def _parts_and_actions(c: Candidates, row: int, kind: int) -> tuple[list[str], list[str]]:
    part, second = str(c.table["part"].iloc[row]), str(c.table["second"].iloc[row])
    if kind == MEASURE:
        return [part] if part else [], ["measured"]
    if kind == CHEAP:
        return [part], [CHEAP_ACTIONS[part]]
    if kind == CHEAP_FIRST:
        return [part], [CHEAP_ACTIONS[part] + " or replaced"]
    return ([part], ["replaced"]) if kind == REPLACE else ([part, second], ["replaced", "replaced"])


def _visits(work: _Work, rules: _Rules, rows: Options) -> pd.DataFrame:
    c, table = work.candidates, work.table
    out = []
    order = np.lexsort((rows.unit, rows.day))
    end = failing(c, np.zeros(len(c), np.int64), np.full(len(c), -1), work.end_week)
    for i in order:
        u, w, kind, day = int(rows.unit[i]), int(rows.week[i]), int(rows.kind[i]), int(rows.day[i])
        parts, actions = _parts_and_actions(c, u, kind)
        cost = float(table.cost[kind, u, w] + table.constant[u])
        waiting = float(table.wait[u] + table.constant[u])
        state = "pinned" if rules.pinned[u] else "new"
        if state == "new" and rules.promised[u] >= 0:
            state = "kept" if rules.promised[u] == w else "moved"
        out.append({
            "unit": c.table["unit"].iloc[u], "depot": c.table["depot"].iloc[u], "iso_week": work.weeks.iso[w],
            "visit_on": work.weeks.as_of + pd.Timedelta(days=day), "in_service": bool(table.free[kind, u, w]),
            "kind": KIND_WORDS[kind], "parts": parts, "actions": actions, "hours": float(rows.hours[i]),
            "cost_now": cost, "cost_waiting": waiting, "saving": waiting - cost,
            **_components(work, u, w, kind, day),
            "probability_before": float(between(c.risk[u : u + 1], np.array([[day / 7.0]]))[0, 0]),
            "probability_waiting": float(end[u]), "no_starts_avoided": _avoided(work, u, kind, day),
            "state": state, "uid": "", "sequence": 0, "job": "", "why": "",
        })  # fmt: skip
    return _frame(out, FRAMES["visits"])


def _components(work: _Work, u: int, w: int, kind: int, day: int) -> dict[str, float]:
    """The parts that a visit's expected cost is made of; they add up to `cost_now` [money]."""
    c, s = work.candidates, work.settings
    risk = float(between(c.risk[u : u + 1], np.array([[day / 7.0]]))[0, 0])
    alive = 1.0 - risk
    vain = 1.0 - c.cheap_success[u]
    one, both = c.part_cost[u], c.part_cost[u] + c.second_cost[u]
    parts = {REPLACE: one, REPLACE_TWO: both, CHEAP_FIRST: vain * one}.get(kind, 0.0)
    hours = work.table.hours[kind, u] - (c.part_h[u] * (1.0 - vain) if kind == CHEAP_FIRST else 0.0)
    out = {
        "cost_parts": alive * float(parts),
        "cost_labour": alive * float(hours) * s.hour_rate,
        "cost_access": 0.0 if work.table.free[kind, u, w] else alive * s.access_cost,
        "cost_failing_before": float(c.fail_cost[u]) * risk,
    }
    if kind in (REPLACE, REPLACE_TWO, CHEAP_FIRST):
        lived_weeks = float(between(_lived_row(c, u), np.array([[day / 7.0]]))[0, 0])
        waste = float(c.rate[u]) * (float(work.values.life[u]) - lived_weeks)
        out["cost_life"] = waste
    else:
        out["cost_life"] = 0.0
    total = float(work.table.cost[kind, u, w] + work.table.constant[u])
    out["cost_after"] = total - sum(out.values())
    return out


def _lived_row(c: Candidates, u: int) -> Floats:
    alive = 1.0 - c.risk[u]
    return np.concatenate([[0.0], np.cumsum(0.5 * (alive[1:] + alive[:-1]))])[None]


def _avoided(work: _Work, u: int, kind: int, day: int) -> float:
    """No-starts within the plan's weeks that the visit avoids; after measuring, acting follows a week later."""
    c = work.candidates
    if kind == MEASURE:
        kind, day = REPLACE, day + int(7 * REACT_WEEKS)
    kinds, days = np.full(len(c), kind), np.full(len(c), -1)
    without = failing(c, kinds, days, work.end_week)[u]
    days[u] = day
    avoided = float(without - failing(c, kinds, days, work.end_week)[u])
    return avoided * float(c.cheap_success[u]) if kind == CHEAP else avoided


def _with_identity(
    visits: pd.DataFrame, previous: ReplacementPlan | None, weeks: PlanWeeks
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Give each visit its lasting identity and sequence number (RFC 5545); visits that fell away are cancelled."""
    known: dict[str, dict[str, Any]] = {}
    gone: dict[str, dict[str, Any]] = {}
    if previous is not None:
        coming = previous.visits[previous.visits["visit_on"] >= weeks.as_of]
        known = {str(row["unit"]): row for row in _rows(coming)}
        later = previous.cancelled[previous.cancelled["visit_on"] >= weeks.as_of]
        gone = {str(row["uid"]): row for row in _rows(later)}
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
            uid = hashlib.sha256(text.encode()).hexdigest()[:24] + "@cranktrend"
            sequence = int(gone.pop(uid)["sequence"]) + 1 if uid in gone else 0
        uids.append(uid)
        sequences.append(sequence)
    out["uid"], out["sequence"] = pd.Series(uids, dtype="str"), pd.Series(sequences, dtype="int64")
    fallen = [{**row, "sequence": int(row["sequence"]) + 1} for row in known.values()]
    columns = FRAMES["cancelled"]
    lost = [{name: row[name] for name in columns} for row in [*gone.values(), *fallen]]
    return out, _frame(lost, columns)


def _left_out(work: _Work, rows: Options) -> pd.DataFrame:
    """Vehicles that should come but cannot: no hours, no depot, or the part arrives too late."""
    c, table = work.candidates, work.table
    relative = table.cost - table.wait[None, :, None]
    served = np.zeros(len(c), np.bool_)
    served[rows.unit] = True
    risk = failing(c, np.zeros(len(c), np.int64), np.full(len(c), -1), work.end_week)
    now = c.part_cost + c.part_h * work.settings.hour_rate + work.settings.access_cost + work.values.left[:, 0]
    out = []
    for u in range(len(c)):
        if served[u]:
            continue
        kind, week = (int(x) for x in np.unravel_index(int(np.argmin(relative[:, u])), relative[:, u].shape))
        best = float(relative[kind, u, week])
        reason = "no depot" if work.depot[u] < 0 else _full(work, rows, relative[:, u], u)
        if not best < 0:
            late = c.has_part[u] and c.lead[u] > visit_days_end(work.weeks)
            best = float(now[u] - table.wait[u])
            if not (late and best < 0):
                continue
            kind, week, reason = REPLACE, -1, "part too late"
        parts, _ = _parts_and_actions(c, u, kind)
        out.append({
            "unit": c.table["unit"].iloc[u], "depot": c.table["depot"].iloc[u], "kind": KIND_WORDS[kind],
            "parts": parts, "best_week": work.weeks.iso[week] if week >= 0 else "", "saving": -best,
            "risk": float(risk[u]), "cost_at_risk": float(risk[u] * c.fail_cost[u]), "reason": reason,
            "job": "", "why": "",
        })  # fmt: skip
    frame = _frame(out, FRAMES["left_out"])
    return frame.sort_values(["saving", "unit"], ascending=[False, True], ignore_index=True)


def _full(work: _Work, rows: Options, relative: Floats, u: int) -> str:
    """Whether hours or places were lacking in the weeks in which acting would have paid."""
    d = work.depot[u]
    mine = work.depot[rows.unit] == d
    left = work.capacity.hours[d] - np.bincount(rows.week[mine], rows.hours[mine], len(work.weeks))
    kinds, weeks = np.nonzero(relative < 0)
    fits = left[weeks] >= work.table.hours[kinds, u]
    return "no places" if fits.any() else "no hours"


def _orders(work: _Work, visits: pd.DataFrame) -> pd.DataFrame:
    """Parts to order, by the week in which the first of them must be ordered."""
    lines: dict[tuple[str, str], list[tuple[pd.Timestamp, pd.Timestamp, str]]] = {}
    for row in visits[visits["kind"].isin(["replace", "cheap_first"])].to_dict("records"):
        for part in row["parts"]:
            lead = pd.Timedelta(days=int(np.ceil(work.catalogue.lead_days[part])))
            order_by = row["visit_on"] - lead
            year, week, _ = order_by.isocalendar()
            lines.setdefault((f"{year}-{week:02d}", part), []).append((order_by, row["visit_on"], str(row["unit"])))
    out = []
    for (_, part), jobs in sorted(lines.items()):
        each = work.catalogue.price[part]
        out.append({
            "part": part, "quantity": len(jobs), "order_by": min(j[0] for j in jobs),
            "needed_on": min(j[1] for j in jobs), "units": [j[2] for j in jobs], "price_each": each,
            "price": each * len(jobs),
        })  # fmt: skip
    return _frame(out, FRAMES["orders"])


def _hours_frame(work: _Work, rows: Options, result: Assignment) -> pd.DataFrame:
    out = []
    for d, depot in enumerate(work.depots):
        mine = work.depot[rows.unit] == d
        booked = np.bincount(rows.week[mine], rows.hours[mine], len(work.weeks))
        count = np.bincount(rows.week[mine], minlength=len(work.weeks))
        for w, iso in enumerate(work.weeks.iso):
            out.append({
                "depot": depot, "iso_week": iso, "week_start": work.weeks.monday[w],
                "hours": float(work.capacity.hours[d, w]), "booked": float(booked[w]), "visits": int(count[w]),
                "hour_price": float(result.hour_price[d, w]),
            })  # fmt: skip
    return _frame(out, FRAMES["hours"])


def _policies(inputs: PlanInputs, work: _Work, rows: Options) -> list[PolicyCost]:
    """The plan beside the three simple policies, on the same vehicles, risks and hours."""
    c, table = work.candidates, work.table
    cost = table.wait + table.constant
    cost[rows.unit] = table.cost[rows.kind, rows.unit, rows.week] + table.constant[rows.unit]
    never = failing(c, np.zeros(len(c), np.int64), np.full(len(c), -1), work.end_week)
    avoided = sum(_avoided(work, int(rows.unit[i]), int(rows.kind[i]), int(rows.day[i])) for i in range(len(rows)))
    plan = PolicyCost("plan", float(cost.sum()), float(never.sum() - avoided), len(rows), float(rows.hours.sum()))
    flagged = inputs.units.loc[inputs.units["flagged"].astype(bool), "unit"].astype(str).tolist()
    fleet = inputs.fleet.assign(unit=inputs.fleet["unit"].astype(str))
    ages = best_ages(fleet, work.lives, work.catalogue, work.settings)
    overdue = overdue_parts(fleet, inputs.repairs, ages, work.weeks.as_of, work.weeks)
    index = {name: i for i, name in enumerate(work.depots)}
    depot_of = {u: index.get(str(d), -1) for u, d in zip(fleet["unit"], fleet["depot"], strict=True)}
    return [
        plan,
        run_to_failure(c, table, work.end_week),
        fixed_age(
            c, table, work.weeks, work.capacity, overdue, depot_of, catalogue=work.catalogue,
            lives=work.lives, rates=work.rates, settings=work.settings,
        ),
        flagged_list(c, table, work.depot, work.capacity, flagged, work.end_week),
    ]  # fmt: skip
