"""Visits fixed to a week or kept out of one by hand: what that costs, tried without writing, and keeping it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime

import pandas as pd
from sqlite_utils import Database

from analysis.plan.replacement_plan import ReplacementPlan, plan_replacements
from analysis.worklist.assess import Assessment
from dashboard.desk.planning import Seen, inputs_of, load_plan, make_plan, plan_settings, refuse_if_overtaken
from ingest import store
from ingest.records import read_pins, remove_pin, set_pin
from ingest.writing import writing


@dataclass(frozen=True)
class Trial:
    """What a change would do: more money in all [the plan's currency], the week the visit lands in ("" for none), other
    visits that would move too."""

    costs: float
    week: str
    others_moved: int


def try_move(
    db: Database,
    plan: ReplacementPlan,
    assessment: Assessment,
    *,
    unit: str,
    week: str,
    as_of: date,
    kind: str = "pin",
    kept: ReplacementPlan | None = None,
) -> Trial:
    """Plan again with `unit` fixed to `week` ("pin") or kept out of it ("forbid"), without keeping anything.

    kept: of :func:`without_move`, where it is known already.
    """
    pins = read_pins(db)
    others = pins[~_replaced(pins, unit, week, kind)]
    now = (pd.Timestamp(as_of) + pd.Timedelta(days=1)).as_unit("us")  # after all that is done on that day
    pin = {"id": 0, "unit": unit, "kind": kind, "week": week, "reason": "", "by": "", "at": now}
    tried = _plan(db, plan, assessment, pd.concat([others, pd.DataFrame([pin])], ignore_index=True), as_of)
    kept = kept or without_move(db, plan, assessment, as_of=as_of)
    landed = tried.visits[tried.visits["unit"] == unit]["iso_week"]
    before = dict(zip(kept.visits["unit"], kept.visits["iso_week"], strict=True))
    after = dict(zip(tried.visits["unit"], tried.visits["iso_week"], strict=True))
    moved = sum(after.get(u) != w for u, w in before.items() if u != unit)
    costs = float(tried.summary["cost"]) - float(kept.summary["cost"])
    return Trial(costs, "" if landed.empty else str(landed.iloc[0]), moved)


def without_move(db: Database, plan: ReplacementPlan, assessment: Assessment, *, as_of: date) -> ReplacementPlan:
    """The plan that a change by hand is held against: with today's figures and the pins on record."""
    return _plan(db, plan, assessment, read_pins(db), as_of)


def _replaced(pins: pd.DataFrame, unit: str, week: str, kind: str) -> pd.Series[bool]:
    """Pins that a new one puts an end to: a vehicle is fixed to one week, and not to one that it is kept out of."""
    fixed, here = pins["kind"] != "forbid", pins["week"] == week
    return (pins["unit"] == unit) & (fixed | here if kind == "pin" else here)


def _plan(db: Database, plan: ReplacementPlan, found: Assessment, pins: pd.DataFrame, as_of: date) -> ReplacementPlan:
    inputs = inputs_of(db, found, store.read_units(db), pins, as_of)
    return plan_replacements(
        inputs, as_of=pd.Timestamp(as_of), weeks=plan.weeks, settings=plan_settings(db), previous=load_plan(db)
    )


def changed(
    db: Database,
    assessment: Assessment,
    change: Callable[[], object],
    *,
    as_of: date,
    weeks: int,
    by: str,
    now: datetime,
    seen: Seen | None = None,
) -> ReplacementPlan:
    """Make a change by hand, to a pin, and keep the plan made so as a new version.

    seen: what the planner had in view; raises Overtaken, changing nothing, when something came after it.
    """
    with writing(db):
        if seen is not None:
            refuse_if_overtaken(db, seen)
        change()
    return make_plan(db, as_of=as_of, weeks=weeks, assessment=assessment, by=by, now=now)


def keep_pin(
    db: Database, *, unit: str, week: str, kind: str, by: str, reason: str = "", now: datetime | None = None
) -> None:
    """Fix `unit` to `week` ("pin"), or keep it out of it ("forbid"), in place of earlier pins.

    Raises ValueError for an unknown vehicle or week.
    """
    with writing(db):
        pins = read_pins(db)
        set_pin(db, unit=unit, kind=kind, week=week, by=by, reason=reason, now=now)
        for number in pins.loc[_replaced(pins, unit, week, kind), "id"]:
            same = pins.loc[pins["id"] == number, ["kind", "week"]].to_numpy().tolist() == [[kind, week]]
            if not same:
                remove_pin(db, int(number), by=by, now=now)


def let_go(db: Database, unit: str, *, by: str) -> int:
    """Take all pins of a vehicle away; how many there were."""
    pins = read_pins(db)
    mine = [int(number) for number in pins.loc[pins["unit"] == unit, "id"]]
    for number in mine:
        remove_pin(db, number, by=by)
    return len(mine)
