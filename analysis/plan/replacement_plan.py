"""The replacement plan: assessment, workshops, parts, pins and the last version in; who comes when, and why, out."""

from dataclasses import replace

import numpy as np
import pandas as pd

from analysis.costs import LONGEST_WEEKS, PlanSettings
from analysis.plan.assignment import Assignment, Solved, assign, reserve
from analysis.plan.done import with_done, without_done
from analysis.plan.inputs import PlanInputs, Work, prepare
from analysis.plan.report import report
from analysis.plan.result import ReplacementPlan, note
from analysis.plan.rules import Rules, apply_rules
from analysis.plan.visit_costs import Options, worthwhile
from analysis.plan.workshop_calendar import plan_weeks
from analysis.readings.panel import Ints

__all__ = ["PlanInputs", "ReplacementPlan", "plan_replacements"]


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
    the plan's notes and planned around. Visits that were done, by the end of that day, stay done.
    """
    if not 1 <= weeks <= LONGEST_WEEKS:
        raise ValueError(f"weeks is {weeks}; allowed are 1 to {LONGEST_WEEKS}")
    chosen_settings = settings or PlanSettings()
    inputs = without_done(inputs, pd.Timestamp(as_of))
    if previous is not None:
        previous = with_done(previous, inputs.done)
    work = prepare(inputs, plan_weeks(pd.Timestamp(as_of), weeks), chosen_settings, previous)
    solved: Solved = {}
    rules, options, result = _with_rules(work, inputs.pins, previous, solved)
    pins_cost = 0.0
    if rules.pinned.any() or not np.array_equal(np.isfinite(rules.cost), np.isfinite(work.table.cost)):
        _, free_options, free_result = _with_rules(replace(work, notes=[]), inputs.pins.iloc[:0], previous, solved)
        pins_cost = _true_cost(work, options, result) - _true_cost(work, free_options, free_result)
    return report(inputs, work, rules, options, result, previous, pins_cost)


def _with_rules(
    work: Work, pins: pd.DataFrame, previous: ReplacementPlan | None, solved: Solved
) -> tuple[Rules, Options, Assignment]:
    """Solve by the rules; where a promised week has no room for all any more, those of its depot are chosen among anew, in every week."""
    rules = apply_rules(work, pins, previous)
    options, result, refused = _solve(work, rules, solved)
    held = rules.forced & ~rules.pinned
    full = {(work.depot[row], rules.promised[row]) for row in refused if held[row] and work.depot[row] >= 0}
    no_room = [int(row) for row in np.flatnonzero(held) if (work.depot[row], rules.promised[row]) in full]
    if no_room:
        rules = apply_rules(replace(work, notes=[]), pins, previous, no_room=no_room)
        options, result, refused = _solve(work, rules, solved)
    _say_refused(work, rules, options, refused)
    kept = dict(zip(options.unit[result.chosen].tolist(), options.week[result.chosen].tolist(), strict=True))
    names = work.candidates.table["unit"]
    work.notes.extend(note("week_full", unit=names.iloc[r]) for r in no_room if kept.get(r) != rules.promised[r])
    return rules, options, result


def _true_cost(work: Work, options: Options, result: Assignment) -> float:
    """Sum of the visits' costs relative to waiting, without the price of moves."""
    rows = options.of(result.chosen)
    return float((work.table.cost[rows.kind, rows.unit, rows.week] - work.table.wait[rows.unit]).sum())


def _solve(work: Work, rules: Rules, solved: Solved) -> tuple[Options, Assignment, tuple[int, ...]]:
    """Book who must come, then assign the rest: options, the result, whose rows refer to them, and who found no room.

    Accepted vehicles are assigned like all others, as most of them pay anyway; only where one of them would stay away
    are they all booked before the rest.
    """
    table = replace(work.table, cost=rules.cost)
    options = worthwhile(table, keep=rules.forced | rules.accepted, bonus=rules.bonus)
    must = np.flatnonzero(rules.forced)
    found, refused = _booked_first(work, options, must, solved)
    away = np.setdiff1d(np.flatnonzero(rules.accepted), options.unit[found.chosen])
    if len(away):
        least = np.full(len(rules.accepted), np.inf)
        np.minimum.at(least, options.unit, options.cost)
        accepted = np.flatnonzero(rules.accepted)
        first = np.concatenate([must, accepted[np.argsort(least[accepted])]])
        found, refused = _booked_first(work, options, first, solved)
    return options, found, refused


def _say_refused(work: Work, rules: Rules, options: Options, refused: tuple[int, ...]) -> None:
    """A note for each that must come and found no room."""
    for row in refused:
        unit = work.candidates.table["unit"].iloc[row]
        why = "no_depot" if work.depot[row] < 0 else "no_room"
        if rules.accepted[row]:
            left_on = work.left_on(row)
            why = "leaves" if left_on is not None and row not in options.unit else why
            until = "" if left_on is None else f"{left_on:%Y-%m-%d}"
            work.notes.append(note("accepted", unit=unit, on=work.decided.on[row], why=why, until=until))
        else:
            work.notes.append(note("fixed_week", unit=unit, why=why))


def _booked_first(
    work: Work, options: Options, units: Ints, solved: Solved
) -> tuple[Assignment, tuple[int, ...]]:  # fmt: skip
    """Book `units` in their order, assign all others; and those of `units` that there was no room for."""
    booked, capacity, refused = reserve(options, work.depot, work.capacity, units)
    open_rows = np.flatnonzero(~np.isin(options.unit, units))
    rest = assign(options.of(open_rows), work.depot, capacity, solved=solved)
    chosen = np.sort(np.concatenate([booked, open_rows[rest.chosen]]))
    fixed = float(options.cost[booked].sum()) if len(booked) else 0.0
    bound = rest.lower_bound + fixed
    return Assignment(chosen, rest.cost + fixed, bound, rest.hour_price, rest.method, fixed), refused
