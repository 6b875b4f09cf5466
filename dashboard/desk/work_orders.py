"""Visits of the plan as work orders: what, why, what to measure before and after, parts, where the report goes, and where the volts go."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

import pandas as pd
from sqlite_utils import Database

from analysis.bay.expected import class_usual, hardly_read, usual_crank_a
from analysis.bay.where_volts_go import WhereVoltsGo
from analysis.plan.done import Outdated
from analysis.plan.replacement_plan import ReplacementPlan
from analysis.plan.result import rows_of
from analysis.plan.workshop_calendar import iso_week
from dashboard.desk.addresses import visit_address
from dashboard.desk.in_order import as_taken
from dashboard.desk.own_limits import limit_book
from dashboard.desk.reading_source import MEASURED_BY, Record, latest_taken, latest_trusted, limits_for, row_of
from dashboard.desk.weekly import coming_low_of
from dashboard.words.limit_lines import limit_lines
from dashboard.words.plan_words import partly_done
from dashboard.words.reasons import read_reasons
from ingest import store
from ingest.records import read_weekly_list, weekly_lists

ALWAYS: Final = ("temperature_c", "rest_v", "crank_min_v", "crank_a")
"""Measured at every visit: without them no part can be judged afterwards."""
REASONS_PRINTED: Final = 3  # of the list's, our choice, so that a sheet is one page
LOOK_AHEAD_D: Final = 30  # [d] in which the coming low is looked for, as the list does unless told otherwise


@dataclass(frozen=True)
class WorkOrder:
    """One visit with all that its sheet says.

    visit, vehicle: rows of the plan's visits and of the vehicles; why: the list's sentences, the plan's where the list does
    not name the vehicle; measure: columns, in the order in which they are taken; last,
    last_on: values read last; limits: in words, by column; parts: part -> the day by which it is ordered, None where it is
    not bought; address: where the visit is reported, "" where no phone reaches that.
    """

    visit: Mapping[str, Any]
    vehicle: Mapping[Any, Any]
    why: tuple[str, ...]
    measure: tuple[str, ...]
    last: Mapping[str, float]
    last_on: pd.Timestamp | None
    limits: Mapping[str, str]
    parts: Mapping[str, pd.Timestamp | None]
    address: str


def chosen_visits(
    plan: ReplacementPlan, *, unit: str = "", week: str = "", depot: str = "", since: Sequence[Outdated] = ()
) -> list[dict[str, Any]]:
    """The visits to come of a plan that are asked for, in the order of their days; "" asks for any. Those that nothing is left of
    `since` the plan was made are left out."""
    asked = {"unit": unit, "iso_week": week, "depot": depot}
    gone = {one.uid for one in since if one.whole}
    return [
        row
        for row in rows_of(plan.visits)
        if row["uid"] not in gone and all(not value or row[name] == value for name, value in asked.items())
    ]


def work_orders(
    db: Database,
    plan: ReplacementPlan,
    visits: list[dict[str, Any]],
    *,
    base: str = "",
    fahrenheit: bool = False,
    since: Sequence[Outdated] = (),
) -> list[WorkOrder]:
    """Work orders for visits of a plan; base: the address of the screens, "" where no phone reaches them; since: of
    :func:`dashboard.desk.planning.outdated_visits`."""
    record, book = Record(db, pd.Timestamp.now()), limit_book(db)
    done = {one.uid: one for one in since}
    listed, listed_on = _listed(db, plan.as_of.date())
    out = []
    for visit in visits:
        unit = str(visit["unit"])
        vehicle, readings = row_of(record.units, unit), store.read_readings(db, units=[unit])
        known = record.known(vehicle)
        usual_a = usual_crank_a(class_usual(known, float(vehicle["system_v"])), hardly_read(known))
        last, last_on = latest_trusted(readings)
        row = listed.get(unit)
        why = (
            [str(visit["why"])]
            if row is None
            else read_reasons(row, listed_on, fahrenheit=fahrenheit)[:REASONS_PRINTED]
        )
        if visit["uid"] in done:
            why.insert(0, partly_done(done[visit["uid"]]))
        limits = limit_lines(limits_for(vehicle, book), usual_a=usual_a, fahrenheit=fahrenheit)
        address = visit_address(base, unit, str(visit["uid"])) if base else ""
        out.append(
            WorkOrder(
                visit, vehicle, tuple(why), to_measure([*visit["parts"], *visit["beside"]]), last, last_on, limits,
                parts_needed(plan, visit), address,
            )
        )  # fmt: skip
    return out


def to_measure(parts: list[str]) -> tuple[str, ...]:
    """What to measure before and after work on these parts, in the order of the work."""
    return as_taken({*ALWAYS, *(name for part in parts for name in MEASURED_BY[part])})


def parts_needed(plan: ReplacementPlan, visit: Mapping[str, Any]) -> dict[str, pd.Timestamp | None]:
    """The parts that a visit needs at hand, and by when each is to be ordered."""
    if visit["kind"] not in ("replace", "cheap_first"):
        return {}
    orders = {(o["part"], unit): o["order_by"] for o in rows_of(plan.orders) for unit in o["units"]}
    return {part: orders.get((part, visit["unit"])) for part in visit["parts"]}


def _listed(db: Database, day: date) -> tuple[dict[str, Mapping[str, Any]], pd.Timestamp]:
    """The rows of the list issued last in the week of `day` or before, by vehicle, and its day."""
    iso = next((week for week in weekly_lists(db) if week <= iso_week(day)), "")
    issued = read_weekly_list(db, iso) if iso else None
    if issued is None:
        return {}, pd.Timestamp(day)
    return {str(row["unit"]): row for row in issued.body["units"]}, pd.Timestamp(issued.body["as_of"])


def latest_volts(db: Database, names: Iterable[str], *, as_of: date) -> dict[str, WhereVoltsGo]:
    """Vehicle -> the bars of its latest reading before a day, of those that were ever read."""
    record, book = Record(db, pd.Timestamp(as_of)), limit_book(db)
    lows: dict[str, float] = {}
    found = {}
    for name in dict.fromkeys(names):
        vehicle = row_of(record.units, name)
        readings = store.read_readings(db, before=as_of, units=[name])
        if readings.empty:
            continue
        taken = latest_taken(db, vehicle, readings, record.known(vehicle), book)
        depot = str(vehicle["depot"])
        if vehicle["depot"] and depot not in lows:
            lows[depot] = coming_low_of(db, depot, as_of, LOOK_AHEAD_D)
        if taken is not None:
            found[name] = taken.volts(limits_for(vehicle, book), coming_c=lows.get(depot))
    return found
