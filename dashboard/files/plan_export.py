"""A plan as table, CSV, JSON, XLSX, and as one calendar by RFC 5545, of all depots or of one."""

import json
from dataclasses import replace
from datetime import datetime

import pandas as pd

from analysis.plan.done import still_to_order
from analysis.plan.replacement_plan import ReplacementPlan
from dashboard.files.as_csv import as_csv, cells_of
from dashboard.words.plain_text import clean
from dashboard.words.plan_table import table

FORMATS = ("table", "csv", "json", "ics", "xlsx")
VISIT_COLUMNS = (
    "unit", "depot", "iso_week", "visit_on", "in_service", "job", "hours", "cost_now", "cost_waiting", "saving",
    "probability_before", "probability_waiting", "no_starts_avoided", "state", "why",
)  # fmt: skip
COST_COLUMNS = ("cost_parts", "cost_labour", "cost_access", "cost_failing_before", "cost_life", "cost_after")
DONE_COLUMNS = ("unit", "depot", "visit_on", "done_on", "job", "part", "found", "hours")
DECISION_COLUMNS = ("decision", "decided_on", "decided_until", "decided_why")
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
    chosen = plan if depot is None else of_depot(plan, depot)
    if format == "ics":
        from dashboard.files.plan_calendar import render_calendar  # the table needs no calendar, and no workbook

        return render_calendar(chosen, depot, now or datetime.now())
    if format == "json":
        return json.dumps(chosen.to_body(), ensure_ascii=False, indent=1) + "\n"
    if format == "csv":
        # the visits, one line each; amounts in the plan's currency
        columns = [*VISIT_COLUMNS, *COST_COLUMNS, *DECISION_COLUMNS, *LATE_COLUMNS]
        cells = pd.DataFrame(list(cells_of(with_late(chosen), columns)), columns=columns, dtype=object)
        return as_csv(cells.map(lambda cell: clean(cell) if isinstance(cell, str) else cell))
    if format == "table":
        return table(chosen)
    from dashboard.files.plan_book import plan_book
    from dashboard.files.workbook import bytes_of

    return bytes_of(plan_book(chosen))


def of_depot(plan: ReplacementPlan, depot: str) -> ReplacementPlan:
    """The plan's rows of one depot; its ways of working, settings and notes stay those of the whole fleet."""
    frames = {
        name: getattr(plan, name).loc[getattr(plan, name)["depot"] == depot].reset_index(drop=True)
        for name in ("visits", "cancelled", "left_out", "hours", "done", "act_by_missed")
    }
    elsewhere = set(plan.visits.loc[plan.visits["depot"] != depot, "uid"])
    return replace(plan, **frames, orders=still_to_order(plan, elsewhere))


# --- CSV and sheets --------------------------------------------------------------------------------------------------


def with_late(plan: ReplacementPlan) -> pd.DataFrame:
    """The visits; beside each that is later than the weekly list says to act, by when and why."""
    late = plan.act_by_missed.set_index("unit")
    on = [late["act_by"].get(unit) for unit in plan.visits["unit"]]
    why = [late["why"].get(unit, "") for unit in plan.visits["unit"]]
    return plan.visits.assign(act_by=["" if day is None else day for day in on], why_later=why)
