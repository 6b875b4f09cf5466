"""The plan as a workbook (XLSX), for people: words over the columns, and in the cells."""

from collections.abc import Mapping
from functools import partial

import pandas as pd
from openpyxl import Workbook

from analysis.plan.replacement_plan import ReplacementPlan
from dashboard.files.plan_export import (
    COST_COLUMNS,
    DECISION_COLUMNS,
    DONE_COLUMNS,
    LATE_COLUMNS,
    VISIT_COLUMNS,
    of_depot,
    with_late,
)
from dashboard.files.workbook import empty_book, sheet
from dashboard.words.beginning import YES
from dashboard.words.plan_table import headline
from dashboard.words.plan_words import OF_ONE_DEPOT, ORDERED, POLICY_WORDS, noted, settings_table
from dashboard.words.reasons import PART_WORDS
from dashboard.words.safety import SAFE_NOTE
from dashboard.words.visit_words import FOUND_WORDS


def plan_book(plan: ReplacementPlan, *, depot: str | None = None) -> Workbook:
    """Of one depot or of all: visits, left out, orders, hours, policies, settings, visits that were done and who is late, one sheet each."""
    plan = plan if depot is None else of_depot(plan, depot)
    book = empty_book()
    put = partial(sheet, book, currency=str(plan.summary["currency"]))
    orders = ("part", "quantity", "order_by", "needed_on", "units", "price_each", "price", "lead_days", "told_on")
    hours = ("depot", "iso_week", "week_start", "hours", "booked", "visits", "hour_price")
    left_out = ("unit", "depot", "job", "best_week", "would_save", "risk", "cost_at_risk", "why", *DECISION_COLUMNS)
    policies = ("policy", "visits", "hours", "no_starts", "cost_visits", "cost_no_starts", "cost_policy_after", "cost")
    late = ("unit", "depot", "act_by", "visit_on", "part_on", "costs_more", "risk", "why")
    visits = with_late(plan)
    visits = visits.assign(in_service=[YES if due else "" for due in visits["in_service"]])
    ways = _said(plan.policies, policy=POLICY_WORDS).rename(columns={"cost_after": "cost_policy_after"})
    missed = plan.act_by_missed
    settings = settings_table(plan.settings)
    put("visits", [*VISIT_COLUMNS, *COST_COLUMNS, *DECISION_COLUMNS, *LATE_COLUMNS], visits)
    put("left out", left_out, plan.left_out.rename(columns={"saving": "would_save"}))
    put("orders", orders, _said(plan.orders, part={**PART_WORDS, **ORDERED}))
    put("hours", hours, plan.hours)
    put("policies", policies, ways)
    put("settings", list(settings.columns), settings)
    whose = [] if depot is None else [OF_ONE_DEPOT.format(depot=depot)]
    put("notes", ("note",), pd.DataFrame({"note": [headline(plan), *whose, *noted(plan), SAFE_NOTE]}))
    put("done", DONE_COLUMNS, _said(plan.done, part=PART_WORDS, found=FOUND_WORDS))
    put("act by missed", late, missed.assign(costs_more=missed["costs_more"].where(missed["costs_more"] > 0)))
    return book


def _said(frame: pd.DataFrame, **words: Mapping[str, str]) -> pd.DataFrame:
    """The frame with the codes of some columns in words."""
    return frame.assign(**{name: [told.get(code, code) for code in frame[name]] for name, told in words.items()})
