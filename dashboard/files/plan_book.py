"""The plan as a workbook (XLSX)."""

import json

import pandas as pd
from openpyxl import Workbook

from analysis.plan.replacement_plan import ReplacementPlan
from analysis.plan.result import FRAMES
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
from dashboard.words.plan_table import headline
from dashboard.words.plan_words import noted
from dashboard.words.safety import SAFE_NOTE


def plan_book(plan: ReplacementPlan, *, depot: str | None = None) -> Workbook:
    """Of one depot or of all: visits, left out, orders, hours, policies, settings, visits that were done and who is late, one sheet each."""
    plan = plan if depot is None else of_depot(plan, depot)
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
    sheet(book, "notes", ("note",), pd.DataFrame({"note": [headline(plan), *noted(plan), SAFE_NOTE]}))
    sheet(book, "done", DONE_COLUMNS, plan.done)
    sheet(book, "act by missed", FRAMES["act_by_missed"], plan.act_by_missed)
    return book
