"""From the database to an assessment: the one path that the command line and the screens share."""

import math
from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, Final

import pandas as pd
from sqlite_utils import Database

from analysis.bay.next_measurement import made_already, rest_read, room_for_discharged
from analysis.bay.not_turned import asked_after
from analysis.circuit.limit_book import LimitBook
from analysis.circuit.limits import AGM
from analysis.costs import PlanSettings, settings_from_mapping
from analysis.forecast.lows import with_daily_lows
from analysis.readings.panel import FleetTables, in_service
from analysis.wear.state import OWN_NEEDS
from analysis.worklist.assess import Assessment, FleetList, assess
from dashboard.desk.kept_assessment import KeptLooks, folder_of, keep, kept, name_of, tolerated_false_flags
from dashboard.desk.kept_readings import read_readings
from dashboard.desk.other_core import other_core
from dashboard.desk.own_limits import limit_book
from dashboard.desk.quick import quick_for
from dashboard.desk.refusals import NothingToAssess
from dashboard.desk.taught_laws import taught_laws
from dashboard.words import list_row as wording
from dashboard.words import reasons
from ingest import store
from ingest.records import read_findings, read_reset_answers, read_settings

COSTS_KEY = "plan"  # the setting that holds the plan's costs and rules


def load_tables(db: Database, *, before: date | None = None) -> FleetTables:
    """All tables that an assessment needs; readings and repairs dated `before` or later are left out."""
    return FleetTables(
        units=with_own_needs(store.read_units(db), limit_book(db)),
        readings=read_readings(db, before=before),
        repairs=store.read_repairs(db, before=before),
        climate=store.read_climate(db),
        forecast=store.read_forecast(db),
        lows=store.read_lows(db, before=before),
        reset_answers=read_reset_answers(db),
        findings=read_findings(db, before=before),
        taught=taught_laws(db),
    )


def known_climate(db: Database, *, before: date) -> pd.DataFrame:
    """Each depot's climate by month as it is stated or, where a year of daily lows is known, as these have it."""
    return with_daily_lows(store.read_climate(db), store.read_lows(db, before=before))


def with_own_needs(units: pd.DataFrame, book: LimitBook) -> pd.DataFrame:
    """The vehicles with what the user's limits say that a start of their class needs [rpm, V]; NaN where nothing."""
    kinds = zip(units["vehicle_class"], units["system_v"], strict=True)
    own = [book.own(str(name), int(volts)) for name, volts in kinds]
    return units.assign(**{need: [limits.get(need, float("nan")) for limits in own] for need in OWN_NEEDS})


def assess_database(db: Database, *, as_of: date, horizon_days: int = 30) -> Assessment:
    """Assess the fleet in the database with what was known at the start of `as_of`; one that was kept is taken, and so are
    the looks at the past that nothing has changed.

    Raises NothingToAssess for a database without vehicles or readings, ValueError for a bad horizon.
    """
    folder = folder_of(db)
    with ExitStack() as to_the_end:
        with store.at_one_moment(db):
            name = name_of(db, as_of, horizon_days)
            found = kept(folder, name)
            if found is not None:
                return found
            elsewhere = to_the_end.enter_context(other_core(db.table("units").count))
            tables, tolerated = load_tables(db, before=as_of), tolerated_false_flags(db)
        check_not_empty(tables, as_of)
        quick_for(len(tables.units))
        looks = KeptLooks(folder)
        found = assess(
            tables,
            as_of=pd.Timestamp(as_of),
            horizon_days=horizon_days,
            tolerated_false_flags=tolerated,
            looks=looks,
            elsewhere=elsewhere,
        )
    looks.forget()
    keep(folder, name, found)
    return found


def open_questions(db: Database, assessment: Assessment) -> pd.DataFrame:
    """Renewals that nobody recorded, as rows of `assessment.resets`, without those that were answered, today too."""
    key, asked, answers = ["unit", "part", "around_on"], assessment.resets, read_reset_answers(db)
    return asked[~pd.MultiIndex.from_frame(asked[key]).isin(pd.MultiIndex.from_frame(answers[key]))]


def check_not_empty(tables: FleetTables, as_of: date) -> None:
    """One clear sentence where there is nothing to judge."""
    here = in_service(tables.units, pd.Timestamp(as_of))
    _check_some(len(here), in_service=bool(here.any()), readings=not tables.readings.empty, as_of=as_of)


def check_assessable(db: Database, as_of: date) -> None:
    """The same without reading the tables."""
    vehicles = db.table("units").count
    readings = store.newest_reading(db, before=as_of) is not None
    _check_some(vehicles, in_service=store.any_in_service(db, as_of), readings=readings, as_of=as_of)


def _check_some(vehicles: int, *, in_service: bool, readings: bool, as_of: date) -> None:
    if not vehicles:
        raise NothingToAssess("The database has no vehicles yet: import a units file first (cranktrend import FILE).")
    if not in_service:
        raise NothingToAssess(
            f"No vehicle is in service on {as_of}: all of the {vehicles} in the database had their last day by then; take an "
            "earlier date, or import a units file of other vehicles."
        )
    if not readings:
        raise NothingToAssess(
            f"The database has no reading before {as_of}: import readings first, or take a later date."
        )


def own_costs(db: Database) -> PlanSettings:
    """The user's costs where they can be used, else the stated defaults; the plan says what is wrong with them."""
    saved = read_settings(db).get(COSTS_KEY)
    try:
        return settings_from_mapping(saved) if isinstance(saved, Mapping) else PlanSettings()
    except ValueError:
        return PlanSettings()


@dataclass(frozen=True)
class Terms:
    """What a list is worded by, beside what was found: the user's limits and costs, and last days in service that lie ahead,
    which change no assessment, but no day from them on is named."""

    book: LimitBook = field(default_factory=LimitBook)
    costs: PlanSettings = field(default_factory=PlanSettings)
    leaving: Mapping[str, date] = field(default_factory=dict)


STATED: Final = Terms()  # of users who changed nothing


def terms_of(db: Database, day: date) -> Terms:
    """What the list of a day is worded by."""
    return Terms(limit_book(db), own_costs(db), store.last_days_ahead(db, day))


def list_rows(
    assessment: FleetList, readings: pd.DataFrame, terms: Terms = STATED, *, flagged_only: bool
) -> list[dict[str, object]]:
    """The weekly list as plain objects, in the order and with the names that the JSON contract states."""
    units = assessment.units[assessment.units["flagged"]] if flagged_only else assessment.units
    parts = parts_of(assessment, units)
    latest = reasons.latest_drops(readings, assessment.as_of)
    asked = units[units["flagged"] | (units["status"] != "judged")]
    known = readings[readings["taken_at"] < assessment.as_of]
    following = measured_next(asked, parts, known, terms)
    rows = []
    for unit in units.to_dict("records"):
        name = unit["unit"]
        drops, next_test, leaves = latest.get(name), following.get(name), terms.leaving.get(name)
        rows.append(wording.list_row(unit, parts[name], drops, assessment, terms.book, next_test, leaves))
    return rows


def measured_next(
    units: pd.DataFrame, parts: Mapping[str, list[Mapping[Any, Any]]], readings: pd.DataFrame, terms: Terms
) -> dict[str, str | None]:
    """What to measure next on some of an assessment's vehicles, None where that would change nothing that is done to them;
    parts: of :func:`parts_of`, of these vehicles and maybe others; readings: known on the assessment's day."""
    mine = set(units["unit"])
    own = readings[readings["unit"].isin(mine)]
    made, rest_v = made_already(own, units.set_index("unit")["renewed_on"]), rest_read(own)
    rows, limits = units.to_dict("records"), terms.book
    kinds = {
        str(unit["unit"]): (str(unit["vehicle_class"]), int(unit["system_v"]), str(unit.get("battery_type") or ""))
        for unit in rows
    }
    of_kind = {
        (name, volts, built): limits.for_group(name, volts, battery_type=built)
        for name, volts, built in set(kinds.values())
    }
    room = {
        unit: room_for_discharged(
            rest_v.get(unit, math.nan), kind[1], of_kind[kind].rest_watch_v.value, agm=kind[2] == AGM
        )
        for unit, kind in kinds.items()
    }
    failed = {unit: of_kind[kinds[unit]] for unit in units.loc[units["failed_starts"] > 0, "unit"].astype(str)}
    latest = reasons.latest_drops(own, pd.Timestamp.max)
    denied = {
        unit: str(first["part"])
        for unit, kind in kinds.items()
        if (first := next(iter(reasons.denied(parts[unit], latest.get(unit), of_kind[kind])), None))
    }
    return wording.next_tests(rows, parts, terms.costs, made, room, asked_after(own, failed), denied)


def seen_to(found: FleetList, readings: pd.DataFrame, book: LimitBook) -> dict[str, list[str]]:
    """The parts that the list says to see to at any visit of the vehicles that may be planned, by vehicle;
    readings: known on the assessment's day."""
    units = found.units[found.units["unit"].isin(set(found.outlook["unit"])) & (found.units["status"] == "judged")]
    latest, parts = reasons.latest_drops(readings, pd.Timestamp.max), parts_of(found, units)
    out = {}
    for unit in units.to_dict("records"):
        own, limits = latest.get(unit["unit"]), wording.limits_of(unit, book)
        if any(reasons.over_limit(part, own, limits) for part in reasons.DROP_COLUMN):
            out[unit["unit"]] = wording.over_their_limit(
                reasons.facts(unit, parts[unit["unit"]], own, found, limits), []
            )
    return out


def parts_of(assessment: FleetList, units: pd.DataFrame) -> dict[str, list[Mapping[Any, Any]]]:
    """The rows of the parts of some vehicles, by vehicle."""
    parts: dict[str, list[Mapping[Any, Any]]] = {}
    for row in assessment.parts[assessment.parts["unit"].isin(set(units["unit"]))].to_dict("records"):
        parts.setdefault(str(row["unit"]), []).append(row)
    return parts


def row_of(assessment: Assessment, unit: str, readings: pd.DataFrame, terms: Terms) -> dict[str, object] | None:
    """One vehicle as the list words it, of its own readings; None for one that was not judged."""
    own = replace(assessment, units=assessment.units[assessment.units["unit"] == unit])
    return next(iter(list_rows(own, readings, terms, flagged_only=False)), None)
