"""Moving a visit by hand: what it would cost, tried without writing anything, and the pin that keeps it there."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

import pandas as pd
from sqlite_utils import Database

from analysis.assess import Assessment
from analysis.plan import PlanInputs, ReplacementPlan, plan_replacements
from dashboard.planning import load_plan, make_plan, plan_settings
from ingest import store
from ingest.records import read_pins, remove_pin, set_pin


@dataclass(frozen=True)
class Trial:
    """What a move would do: more money in all [currency], the week it lands in, other visits that would move too."""

    costs: float
    week: str
    others_moved: int
    currency: str


def try_move(
    db: Database, plan: ReplacementPlan, assessment: Assessment, *, unit: str, week: str, as_of: date
) -> Trial:
    """Plan again with `unit` pinned to `week`, without keeping anything; ValueError where that cannot be done."""
    pins = read_pins(db)
    others = pins[~((pins["unit"] == unit) & (pins["kind"] == "pin"))]
    now = pd.Timestamp(as_of).as_unit("us")
    pin = {"id": 0, "unit": unit, "part": "", "kind": "pin", "week": week, "reason": "", "by": "", "at": now}
    tried = _plan(db, plan, assessment, pd.concat([others, pd.DataFrame([pin])], ignore_index=True), as_of)
    kept = _plan(db, plan, assessment, pins, as_of)
    landed = tried.visits[tried.visits["unit"] == unit]["iso_week"]
    before = dict(zip(kept.visits["unit"], kept.visits["iso_week"], strict=True))
    after = dict(zip(tried.visits["unit"], tried.visits["iso_week"], strict=True))
    moved = sum(after.get(u) != w for u, w in before.items() if u != unit)
    costs = float(tried.summary["cost"]) - float(kept.summary["cost"])
    return Trial(costs, "" if landed.empty else str(landed.iloc[0]), moved, str(tried.summary["currency"]))


def _plan(db: Database, plan: ReplacementPlan, found: Assessment, pins: pd.DataFrame, as_of: date) -> ReplacementPlan:
    inputs = PlanInputs(
        outlook=found.outlook, units=found.units, parts=found.parts, catalogue=store.read_parts(db),
        services=store.read_services(db), workshops=store.read_workshops(db), fleet=store.read_units(db),
        repairs=store.read_repairs(db, before=as_of), pins=pins,
    )  # fmt: skip
    return plan_replacements(
        inputs, as_of=pd.Timestamp(as_of), weeks=plan.weeks, settings=plan_settings(db), previous=load_plan(db)
    )


def move(
    db: Database,
    assessment: Assessment,
    *,
    unit: str,
    week: str,
    as_of: date,
    weeks: int,
    reason: str,
    by: str,
    now: datetime,
) -> ReplacementPlan:
    """Pin `unit` to `week` in place of an earlier pin, and keep the plan made with it as a new version."""
    for pin in read_pins(db).to_dict("records"):
        if pin["unit"] == unit and pin["kind"] == "pin":
            remove_pin(db, int(pin["id"]), by=by, now=now)
    set_pin(db, unit=unit, kind="pin", week=week, by=by, reason=reason, now=now)
    return make_plan(db, as_of=as_of, weeks=weeks, assessment=assessment, by=by, now=now)
