"""A plan as table, CSV, JSON, XLSX, and as one calendar by RFC 5545, of all depots or of one."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pandas as pd
from icalendar import Calendar, Event, Journal
from openpyxl import Workbook

from analysis.plan.replacement_plan import ReplacementPlan
from analysis.plan.result import FRAMES, rows_of
from dashboard.files.as_csv import as_csv
from dashboard.files.plan_table import headline, table
from dashboard.files.workbook import bytes_of, cells_of, empty_book, sheet
from dashboard.words.plain_text import clean
from dashboard.words.plan_words import LATE_HEAD, missed_line
from dashboard.words.safety import REPAIR_NOTE
from dashboard.words.visit_words import closed_words

FORMATS = ("table", "csv", "json", "ics", "xlsx")
PRODUCT_ID = "-//cranktrend//replacement plan//EN"
VISIT_COLUMNS = (
    "unit", "depot", "iso_week", "visit_on", "in_service", "job", "hours", "cost_now", "cost_waiting", "saving",
    "probability_before", "probability_waiting", "no_starts_avoided", "state", "why",
)  # fmt: skip
COST_COLUMNS = ("cost_parts", "cost_labour", "cost_access", "cost_failing_before", "cost_life", "cost_after")
DONE_COLUMNS = ("unit", "depot", "visit_on", "done_on", "job", "part", "found", "hours")
DECISION_COLUMNS = ("decision", "decided_on", "decided_until")
LATE_COLUMNS = ("act_by", "why_later")


def render(plan: ReplacementPlan, format: str, *, depot: str | None = None, now: datetime | None = None) -> str | bytes:
    """The plan in one of FORMATS, of one depot or of all; bytes for "xlsx", else text.

    now: moment written into calendars (DTSTAMP), naive local time or aware; the clock's when None. Raises ValueError
    for an unknown format or depot.
    """
    if format not in FORMATS:
        raise ValueError(f"format is {format!r}; allowed are {', '.join(FORMATS)}")
    known = sorted(set(plan.hours["depot"]) | set(plan.visits["depot"]) | set(plan.left_out["depot"]) - {""})
    if depot is not None and depot not in known:
        raise ValueError(f"depot is {depot!r}; allowed are {', '.join(known)}")
    if format == "ics":
        return render_calendar(plan, depot=depot, now=now)
    chosen = plan if depot is None else _of_depot(plan, depot)
    if format == "json":
        return json.dumps(chosen.to_body(), ensure_ascii=False, indent=1) + "\n"
    if format == "csv":
        return _csv(chosen)
    return bytes_of(plan_book(chosen)) if format == "xlsx" else table(chosen)


def _of_depot(plan: ReplacementPlan, depot: str) -> ReplacementPlan:
    frames = {
        name: getattr(plan, name).loc[getattr(plan, name)["depot"] == depot].reset_index(drop=True)
        for name in ("visits", "cancelled", "left_out", "hours", "done", "act_by_missed")
    }
    return replace(plan, **frames)


# --- CSV and sheets --------------------------------------------------------------------------------------------------


def _csv(plan: ReplacementPlan) -> str:
    """The visits, one line each; amounts in the plan's currency."""
    columns = [*VISIT_COLUMNS, *COST_COLUMNS, *DECISION_COLUMNS, *LATE_COLUMNS]
    cells = pd.DataFrame(list(cells_of(with_late(plan), columns)), columns=columns, dtype=object)
    return as_csv(cells.map(lambda cell: clean(cell) if isinstance(cell, str) else cell))


def with_late(plan: ReplacementPlan) -> pd.DataFrame:
    """The visits; beside each that is later than the weekly list says to act, by when and why."""
    late = plan.act_by_missed.set_index("unit")
    on = [late["act_by"].get(unit) for unit in plan.visits["unit"]]
    why = [late["why"].get(unit, "") for unit in plan.visits["unit"]]
    return plan.visits.assign(act_by=["" if day is None else day for day in on], why_later=why)


def plan_book(plan: ReplacementPlan, *, depot: str | None = None) -> Workbook:
    """Of one depot or of all: visits, left out, orders, hours, policies, settings, visits that were done and who is late, one sheet each."""
    plan = plan if depot is None else _of_depot(plan, depot)
    book = empty_book()
    orders = ("part", "quantity", "order_by", "needed_on", "units", "price_each", "price", "lead_days")
    hours = ("depot", "iso_week", "week_start", "hours", "booked", "visits", "hour_price")
    left_out = ("unit", "depot", "job", "best_week", "saving", "risk", "cost_at_risk", "why", *DECISION_COLUMNS)
    sheet(book, "visits", [*VISIT_COLUMNS, *COST_COLUMNS, *DECISION_COLUMNS, *LATE_COLUMNS], with_late(plan))
    sheet(book, "left out", left_out, plan.left_out)
    sheet(book, "orders", orders, plan.orders)
    sheet(book, "hours", hours, plan.hours)
    sheet(book, "policies", FRAMES["policies"], plan.policies)
    settings = pd.DataFrame({"setting": list(plan.settings), "value": [json.dumps(v) for v in plan.settings.values()]})
    sheet(book, "settings", ("setting", "value"), settings)
    sheet(book, "notes", ("note",), pd.DataFrame({"note": [headline(plan), *plan.notes, REPAIR_NOTE]}))
    sheet(book, "done", DONE_COLUMNS, plan.done)
    sheet(book, "act by missed", FRAMES["act_by_missed"], plan.act_by_missed)
    return book


# --- calendars -------------------------------------------------------------------------------------------------------


def render_calendar(plan: ReplacementPlan, *, depot: str | None = None, now: datetime | None = None) -> str:
    """One calendar (RFC 5545) with the visits of `depot`, or of all depots when None.

    A second import updates by UID and SEQUENCE, takes cancelled visits out and says which were done. A calendar must hold something, so one
    without visits holds a note that says so.
    """
    stamp = (now or datetime.now()).astimezone(UTC).replace(microsecond=0)
    visits, cancelled, done = (
        frame if depot is None else frame[frame["depot"] == depot] for frame in (plan.visits, plan.cancelled, plan.done)
    )
    calendar = Calendar()
    calendar.add("prodid", PRODUCT_ID)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", "Starting-system visits" + ("" if depot is None else f", {clean(depot)}"))
    late = {r["unit"]: [f"{LATE_HEAD}: {clean(missed_line(r, plan.as_of))}."] for r in rows_of(plan.act_by_missed)}
    for visit in visits.to_dict("records"):
        settled = visit["state"] in ("kept", "pinned")
        event = _event(visit["uid"], visit["sequence"], visit["visit_on"], stamp)
        event.add("summary", f"{clean(visit['unit'])}: {visit['job']} ({visit['hours']:.1f} h)")
        event.add("description", "\n".join([visit["why"], *late.get(visit["unit"], ()), REPAIR_NOTE]))
        event.add("location", clean(visit["depot"]))
        event.add("status", "CONFIRMED" if settled else "TENTATIVE")
        calendar.add_component(event)
    for visit in done.to_dict("records"):
        event = _event(visit["uid"], visit["sequence"], visit["done_on"], stamp)
        event.add("summary", f"{clean(visit['unit'])}: {visit['job']} (done)")
        event.add("description", closed_words(visit))
        event.add("location", clean(visit["depot"]))
        event.add("status", "CONFIRMED")
        calendar.add_component(event)
    for visit in cancelled.to_dict("records"):
        event = _event(visit["uid"], visit["sequence"], visit["visit_on"], stamp)
        event.add("summary", f"{clean(visit['unit'])}: {visit['job']}")
        event.add("status", "CANCELLED")
        calendar.add_component(event)
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
    note.add("summary", f"No visit is planned in the {plan.weeks} weeks from {plan.as_of.date()}")
    return note


def _event(uid: object, sequence: object, day: pd.Timestamp, stamp: datetime) -> Event:
    """A visit as an event of a whole day."""
    start: date = day.date()
    event = Event()
    event.add("uid", str(uid))
    event.add("sequence", int(str(sequence)))
    event.add("dtstamp", stamp)
    event.add("dtstart", start)
    event.add("dtend", start + timedelta(days=1))
    event.add("transp", "TRANSPARENT")
    return event
