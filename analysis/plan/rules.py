"""What binds a plan beside hours: the planner's pins, frozen near weeks, and weeks promised by the last version."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.plan.candidates import between
from analysis.plan.inputs import Work, pin_rows
from analysis.plan.result import ReplacementPlan, note
from analysis.readings.panel import Bools, Floats, Ints


@dataclass(frozen=True)
class Rules:
    """Who must come, what a promised week saves, and the costs with forbidden weeks taken out."""

    cost: Floats
    forced: Bools
    pinned: Bools
    accepted: Bools
    bonus: Floats
    promised: Ints


def apply_rules(
    work: Work, pins: pd.DataFrame, previous: ReplacementPlan | None, *, no_room: Sequence[int] = ()
) -> Rules:
    """Take out forbidden and frozen weeks, and find who must come and which week was promised.

    A vehicle whose visit of the last version is past, and was not reported as done, may come in a frozen week. Where that version
    had no hours it promised nothing, and nothing is frozen. A promised visit that does not pay any more is no promise where the
    vehicle leaves, or where one that is urgent, or missed its own, could come instead.

    no_room: rows whose promised week has no room for all of them any more, as after days in it were closed: they may come in any week.
    """
    cost = work.table.cost.copy()
    units = work.candidates.table["unit"].tolist()
    row_of = {name: row for row, name in enumerate(units)}
    promised = np.full(len(units), -1, dtype=np.int64)
    missed = np.zeros(len(units), np.bool_)
    if previous is not None:
        over = previous.visits["visit_on"] < work.weeks.as_of
        missed = np.isin(units, previous.visits.loc[over, "unit"].to_numpy(dtype=object))
        coming = previous.visits[~over]
        for unit, week in zip(coming["unit"], coming["iso_week"], strict=True):
            if unit in row_of:
                promised[row_of[unit]] = work.weeks.index(week)
    pinned = _apply_pins(work, cost, row_of, pins)
    if pins.empty:
        cost[:, work.candidates.table["forced"].to_numpy() & ~work.decided.accepted] = np.inf
    forced = pinned.copy()
    bonus = np.zeros((len(units), len(work.weeks)))
    has = promised >= 0
    bonus[np.flatnonzero(has), promised[has]] = work.settings.move_price
    frozen = min(work.settings.frozen_weeks, len(work.weeks)) if previous is not None else 0
    if previous is not None and frozen:
        risk = between(work.candidates.risk, np.full((len(units), 1), work.weeks.end_day[frozen - 1] / 7.0))[:, 0]
        near = _planned_weeks(work, previous, frozen)
        first = (promised >= 0) & (promised < frozen)
        wanting = ~first & ((risk >= work.settings.urgent_probability) | missed)
        pressed = np.isin(work.depot, work.depot[wanting])
        for row in range(len(units)):
            if pinned[row] or row in no_room:
                continue
            free = pressed[row] or np.isfinite(work.candidates.leaves[row])
            if first[row] and free and not (cost[:, row, promised[row]] < work.table.to_beat[row]).any():
                bonus[row] = 0.0
            elif first[row] and np.isfinite(cost[:, row, promised[row]]).any():
                others = np.arange(len(work.weeks)) != promised[row]
                cost[:, row, others] = np.inf
                forced[row] = True
            elif risk[row] < work.settings.urgent_probability and not missed[row]:
                cost[:, row, near.get(int(work.depot[row]), [])] = np.inf
    return Rules(cost, forced, pinned, work.decided.accepted & ~forced, bonus, promised)


def _planned_weeks(work: Work, previous: ReplacementPlan, frozen: int) -> dict[int, list[int]]:
    """Depot -> the near weeks in which the last version had hours there, and so said who comes."""
    had = previous.hours.loc[previous.hours["hours"] > 0, ["depot", "iso_week"]]
    known = set(had.itertuples(index=False, name=None))
    return {d: [w for w in range(frozen) if (name, work.weeks.iso[w]) in known] for d, name in enumerate(work.depots)}


def _apply_pins(work: Work, cost: Floats, row_of: Mapping[str, int], pins: pd.DataFrame) -> Bools:
    """Change `cost` in place for pins; return who is pinned to a week."""
    pinned = np.zeros(len(row_of), np.bool_)
    rows = pin_rows(pins)
    wanted: dict[str, tuple[int, str]] = {}
    for unit, kind, week in rows:
        at = work.weeks.index(week)
        if unit not in row_of:
            continue
        if kind == "forbid":
            if at >= 0:
                cost[:, row_of[unit], at] = np.inf
        elif at >= 0:
            wanted[unit] = (at, week)
        elif week > work.weeks.iso[-1]:
            work.notes.append(note("pinned_after", unit=unit, week=week, last=work.weeks.iso[-1]))
    for unit, (at, week) in wanted.items():
        row = row_of[unit]
        others = np.arange(len(work.weeks)) != at
        cost[:, row, others] = np.inf
        if np.isfinite(cost[:, row, at]).any():
            pinned[row] = True
        else:
            early = work.decided.not_before[row] >= work.weeks.end_day[at]
            why, until = "postponed" if early else "no_part", work.decided.until[row]
            if (left_on := work.left_on(row)) is not None and work.candidates.leaves[row] < work.weeks.end_day[at]:
                why, until = "leaves", f"{left_on:%Y-%m-%d}"
            work.notes.append(note("pinned", unit=unit, week=week, why=why, until=until))
    return pinned
