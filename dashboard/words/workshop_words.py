"""What stands where workshop hours and closed days are set on the screen."""

from __future__ import annotations

from datetime import date

from dashboard.words.plain_text import day

HOURS_WORDS = {
    "title": "Change hours and closed days",
    "no depot": "No depot is known yet. Bring in a list of vehicles first, under Files: it says where each one stands.",
    "next plan": "The next plan counts with them. What was changed, by whom and when stands in the logbook and can be undone.",
    "prices": "Prices, delivery times and hours of work of parts",
    "workshop": "Workshop",
    "usual": "Usual week: hours for this work on each day",
    "save usual": "Save the usual week",
    "usual kept": "The usual week at {depot} is saved. Plan again to count with it.",
    "own": "A week that differs",
    "week": "Week",
    "hours": "Hours",
    "save week": "Save this week",
    "week kept": "The hours of {week} at {depot} are saved. Plan again to count with them.",
    "own weeks": "Weeks with hours of their own, which count instead of the usual week: {count}",
    "as usual": "As usual",
    "usual again": "{week} at {depot} is as usual again. Plan again to count with it.",
    "closed": "Closed: holidays and other days without work",
    "from": "From",
    "to": "To, this day too",
    "why": "Why",
    "everywhere": "At every depot",
    "save closed": "Save closed days",
    "closed kept": "The closed days are saved. Plan again to count with them.",
    "open": "Open again",
    "open again": "These days are open again. Plan again to count with them.",
    "nothing": "Nothing differs from what is on record.",
}


def closed_words(depot: str, first: date, last: date, why: str) -> str:
    """Closed days in words."""
    days = day(first, weekday=True) if first == last else f"{day(first, weekday=True)} to {day(last, weekday=True)}"
    return f"{depot or 'Every depot'}: closed {days}" + (f", {why}" if why else "")
