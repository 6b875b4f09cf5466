"""Visits that were done: they are no longer to come, their hours are used, and a plan made again does not ask for them."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from analysis.plan.inputs import PlanInputs
from analysis.plan.result import FRAMES, ReplacementPlan, frame_of, rows_of
from analysis.plan.workshop_calendar import iso_week, plan_weeks


def with_done(plan: ReplacementPlan, done: pd.DataFrame) -> ReplacementPlan:
    """The plan with visits that were done taken from those to come, or cancelled, and told as `done`.

    done: uid, unit, depot, planned_on, done_on, part, found, hours, job of every visit that was reported.
    """
    if done.empty:
        return replace(plan, done=frame_of([], FRAMES["done"]))
    known = set(done["uid"])
    was = {str(row["uid"]): int(row["sequence"]) for row in rows_of(plan.done)}
    came = {str(row["uid"]): int(row["sequence"]) + 1 for row in rows_of(pd.concat([plan.visits, plan.cancelled]))}
    monday = plan_weeks(plan.as_of, plan.weeks).monday[0]
    told = done[done["uid"].isin({*was, *came}) | (done["done_on"] >= monday) | (done["planned_on"] >= monday)]
    rows = [
        {**row, "visit_on": row["planned_on"], "iso_week": iso_week(row["done_on"]),
         "sequence": was.get(str(row["uid"]), came.get(str(row["uid"]), 1))}
        for row in rows_of(told)
    ]  # fmt: skip
    left = {name: getattr(plan, name) for name in ("visits", "cancelled")}
    left = {name: frame[~frame["uid"].isin(known)].reset_index(drop=True) for name, frame in left.items()}
    today = set(done.loc[done["done_on"] >= plan.as_of, "unit"])
    seen = today | _units_done(plan, known)
    left["act_by_missed"] = plan.act_by_missed[~plan.act_by_missed["unit"].isin(seen)].reset_index(drop=True)
    orders = still_to_order(plan, known)
    return replace(plan, **left, orders=orders, done=frame_of(rows, FRAMES["done"]))


@dataclass(frozen=True)
class Outdated:
    """A visit to come that something has overtaken since its plan was made.

    renewed: part -> what was done to it and on which day; still: its other parts; left_on: the vehicle's last day in service, where
    that is the day on which it is looked at, the visit's, or one before.
    """

    uid: str
    unit: str
    renewed: Mapping[str, tuple[str, pd.Timestamp]] = field(default_factory=dict)
    still: tuple[str, ...] = ()
    left_on: pd.Timestamp | None = None

    @property
    def whole(self) -> bool:
        """Whether nothing is left to come for."""
        return self.left_on is not None or not self.still


def outdated(
    plan: ReplacementPlan, since: pd.DataFrame, left: Mapping[str, pd.Timestamp], today: pd.Timestamp
) -> list[Outdated]:
    """Visits to come whose parts were renewed since the plan was made, or whose vehicle left service or will have by then, in
    the plan's order.

    since: repairs that the plan does not know of: unit, part, action, done_on; left: last day in service of vehicles. A part is
    renewed by its replacement; one that is planned to be charged or cleaned at first by that, too.
    """
    out = []
    for visit in rows_of(plan.visits):
        unit, parts = str(visit["unit"]), list(visit["parts"])
        mine = since[(since["unit"] == unit) & since["part"].isin(parts)]
        if visit["kind"] != "cheap":
            mine = mine[mine["action"] == "replaced"]
        renewed = {str(r["part"]): (str(r["action"]), r["done_on"]) for r in rows_of(mine.sort_values("done_on"))}
        last = left.get(unit)
        gone = last is not None and last <= max(today, visit["visit_on"])
        if renewed or gone:
            still = tuple(part for part in parts if part not in renewed)
            out.append(Outdated(str(visit["uid"]), unit, renewed, still, last if gone else None))
    return out


def without_outdated(plan: ReplacementPlan, since: Collection[Outdated]) -> ReplacementPlan:
    """The plan without the visits that have nothing left: they are cancelled, and nothing is ordered for them, nor for parts that were
    renewed since."""
    gone = {one.uid for one in since if one.whole}
    over = plan.visits["uid"].isin(gone)
    fallen = plan.visits.loc[over, list(FRAMES["cancelled"])].assign(sequence=lambda rows: rows["sequence"] + 1)
    late = plan.act_by_missed[~plan.act_by_missed["unit"].isin(plan.visits.loc[over, "unit"])]
    return replace(
        plan,
        visits=plan.visits[~over].reset_index(drop=True),
        cancelled=pd.concat([plan.cancelled, fallen], ignore_index=True) if len(fallen) else plan.cancelled,
        act_by_missed=late.reset_index(drop=True),
        orders=still_to_order(plan, gone, {(part, one.unit) for one in since for part in one.renewed}),
    )


def _units_done(plan: ReplacementPlan, known: Collection[str]) -> set[str]:
    return set(plan.visits.loc[plan.visits["uid"].isin(known), "unit"])


def still_to_order(
    plan: ReplacementPlan, known: Collection[str], renewed: Collection[tuple[str, str]] = ()
) -> pd.DataFrame:
    """The plan's orders without those of vehicles whose visits need no parts any more, by the visits' `uid`, and of parts that were
    renewed: part, unit."""
    gone = _units_done(plan, known)
    if not gone and not renewed:
        return plan.orders
    out = []
    for row in rows_of(plan.orders):
        units = [unit for unit in row["units"] if unit not in gone and (row["part"], unit) not in renewed]
        if units:
            out.append({**row, "units": units, "quantity": len(units), "price": row["price_each"] * len(units)})
    return frame_of(out, FRAMES["orders"])


def without_done(inputs: PlanInputs, as_of: pd.Timestamp) -> PlanInputs:
    """The inputs with the visits that were reported before the end of the plan's day, without pins of these, and without the
    vehicles that were done on the plan's own day: what was found and done there the figures of the day do not know yet."""
    done: pd.DataFrame = inputs.done[inputs.done["at"] < as_of + pd.Timedelta(days=1)]
    today = set(done.loc[done["at"] >= as_of, "unit"])

    def others(frame: pd.DataFrame) -> pd.DataFrame:
        return frame[~frame["unit"].astype(str).isin(today)]

    beyond = None if inputs.beyond is None else others(inputs.beyond)
    pins = open_pins(inputs.pins, done)
    return replace(inputs, pins=pins, done=done, outlook=others(inputs.outlook), beyond=beyond)


def open_pins(pins: pd.DataFrame, done: pd.DataFrame) -> pd.DataFrame:
    """The pins but those to a week of vehicles that were done since: what was fixed has happened."""
    if "at" not in pins.columns or not len(done):
        return pins
    last = done.groupby(done["unit"].astype(str))["at"].max().reindex(pins["unit"].astype(str)).to_numpy()
    with np.errstate(invalid="ignore"):
        over = (pins["kind"] != "forbid").to_numpy() & (pins["at"].to_numpy() <= last)
    kept: pd.DataFrame = pins[~over]
    return kept
