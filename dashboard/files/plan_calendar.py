"""The plan's visits as a calendar (RFC 5545)."""

import hashlib
from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pandas as pd
from icalendar import Calendar, Event, Journal

from analysis.plan.replacement_plan import ReplacementPlan
from analysis.plan.result import rows_of
from dashboard.words import plan_words
from dashboard.words.plain_text import clean, count_words
from dashboard.words.plan_words import LATE_HEAD, missed_line
from dashboard.words.safety import SAFE_NOTE
from dashboard.words.visit_words import closed_words

PRODUCT_ID = "-//cranktrend//replacement plan//EN"


def render_calendar(plan: ReplacementPlan, depot: str | None, now: datetime) -> str:
    """One calendar (RFC 5545) with the visits of a plan, that of `depot` alone, or of all depots when None.

    A second import updates by UID and SEQUENCE, takes cancelled visits out and says which were done. A calendar must hold something, so one
    without visits holds a note that says so.
    """
    stamp = now.astimezone(UTC).replace(microsecond=0)
    calendar = Calendar()
    calendar.add("prodid", PRODUCT_ID)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", plan_words.CALENDAR + ("" if depot is None else f", {clean(depot)}"))
    late = {r["unit"]: [f"{LATE_HEAD}: {clean(missed_line(r, plan.as_of))}."] for r in rows_of(plan.act_by_missed)}
    for visit in plan.visits.to_dict("records"):
        what = f"{clean(visit['unit'])}: {visit['job']} ({visit['hours']:.1f} h)"
        told = "\n".join([visit["why"], *late.get(visit["unit"], ()), SAFE_NOTE])
        status = "CONFIRMED" if visit["state"] in ("kept", "pinned") else "TENTATIVE"
        calendar.add_component(_event(visit, visit["visit_on"], stamp, what, status, told))
    for visit in plan.done.to_dict("records"):
        what = plan_words.CALENDAR_DONE.format(unit=clean(visit["unit"]), job=visit["job"])
        calendar.add_component(_event(visit, visit["done_on"], stamp, what, "CONFIRMED", closed_words(visit)))
    for visit in plan.cancelled.to_dict("records"):
        what = f"{clean(visit['unit'])}: {visit['job']}"
        calendar.add_component(_event(visit, visit["visit_on"], stamp, what, "CANCELLED"))
    if not calendar.subcomponents:
        calendar.add_component(_no_visit(plan, depot, stamp))
    return str(calendar.to_ical().decode("utf-8"))


def _no_visit(plan: ReplacementPlan, depot: str | None, stamp: datetime) -> Journal:
    """A note on the plan's day that no visit is planned."""
    note = Journal()
    name = hashlib.sha256(f"{plan.as_of.date()}|{plan.weeks}|{depot or ''}".encode()).hexdigest()[:24]
    note.add("uid", f"{name}@cranktrend")
    note.add("dtstamp", stamp)
    note.add("dtstart", plan.as_of.date())
    note.add("summary", plan_words.NO_VISIT.format(weeks=count_words(plan.weeks, "week"), day=plan.as_of.date()))
    return note


def _event(
    visit: Mapping[Any, Any], day: pd.Timestamp, stamp: datetime, what: str, status: str, told: str = ""
) -> Event:
    start: date = day.date()
    event = Event()
    event.add("uid", str(visit["uid"]))
    event.add("sequence", int(visit["sequence"]))
    event.add("dtstamp", stamp)
    event.add("dtstart", start)
    event.add("dtend", start + timedelta(days=1))
    event.add("transp", "TRANSPARENT")
    event.add("summary", what)
    event.add("status", status)
    if told:
        event.add("description", told)
        event.add("location", clean(visit["depot"]))
    return event
