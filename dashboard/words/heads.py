"""What stands over a column of a table on the screens and in workbooks: words, not the names under which files and commands know it."""

from types import MappingProxyType
from typing import Final

HEADS: Final = MappingProxyType(
    {
        "at": "when", "by": "who", "change": "change", "day": "list of", "done_on": "done on", "id": "number",
        "iso_week": "list of", "last_reading_on": "last read", "new": "is", "no_starts": "no-starts", "old": "was",
        "reading_id": "number", "repair_id": "number", "se": "± one standard error", "set_aside_at": "since",
        "table_name": "table", "taken_at": "taken", "unit": "vehicle", "units": "vehicles", "vehicle_class": "class",
    }
)  # fmt: skip
"""Column -> its head where that is not the column's own name."""
IN_BOOKS: Final = MappingProxyType(
    {
        "part_probability": "sure of the part", "no_start_probability": "no-start", "coldest_start_c": "starts down to [°C]",
        "coming_low_c": "coming low [°C]", "action": "what to do", "caution": "what to mind", "act_by": "act by",
        "change": "change since the list before", "iso_week": "week", "visit_on": "planned for",
        "in_service": "in for its service", "job": "to do", "hours": "hours [h]", "booked": "booked [h]",
        "cost_now": "expected cost with this visit [money]", "cost_waiting": "expected cost when waiting [money]",
        "saving": "saved against waiting [money]", "would_save": "a visit would save [money]", "probability_before": "no-start before the visit",
        "probability_waiting": "no-start by the plan's end if nothing is done", "no_starts_avoided": "no-starts avoided",
        "cost_parts": "of which, as far as it still runs by then: parts [money]", "cost_labour": "labour [money]",
        "cost_access": "calling it in [money]", "cost_failing_before": "no-starts before the visit [money]",
        "cost_life": "life given up [money]", "cost_after": "what comes after [money]", "decision": "decision",
        "decided_on": "decided on", "decided_until": "postponed until", "decided_why": "its reason",
        "why_later": "why later than that", "risk": "no-start within the plan's weeks",
        "cost_at_risk": "at risk [money]", "units": "for", "quantity": "pieces", "order_by": "order by",
        "needed_on": "needed on", "price_each": "each [money]", "price": "in all [money]", "lead_days": "delivery [days]",
        "told_on": "taken to be ordered on", "week_start": "Monday", "hour_price": "one more hour saves [money]", "policy": "way of working",
        "cost": "= in all [money]", "cost_visits": "work of visits [money]", "cost_no_starts": "+ no-starts [money]",
        "cost_policy_after": "+ left for later [money]", "part_on": "its part comes on",
        "costs_more": "coming by then would cost more [money]",
    }
)  # fmt: skip
"""The same for columns of the list and the plan in a workbook, where one has no page around it that tells what is meant."""


def head(column: str) -> str:
    return HEADS.get(column, column.replace("_", " "))


def book_head(column: str, currency: str = "") -> str:
    """The head of a column in a workbook; amounts of money in the plan's currency."""
    return IN_BOOKS.get(column, head(column)).replace("[money]", f"[{currency}]")
