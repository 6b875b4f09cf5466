"""The small course on a card, in words."""

from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from dashboard.words.chart_words import NO_START_FROM, NO_START_RENEWED
from dashboard.words.plain_text import day, number, temperature
from dashboard.words.reasons import MEASURES, bare, plain

KEY: Final = "Line: the trend, dashed ahead; shaded: 80 % sure; grey: usual in its class; dotted: the limit; upright: the day of the list."
COLUMNS: Final = ("read on", "value", "unit at 20 °C")
FAILED_AT_C: Final = 5.0  # [°C] that the limit of a part without a printed one was for, in lists that do not say it


def course_text(course: Mapping[str, Any], *, fahrenheit: bool) -> str:
    """Level now with its range, what is usual, and the limit."""
    now = next((row for row in course["path"] if row[0] == 0.0), course["path"][-1])
    unit = str(course["unit"])
    _, value, low, high = now
    return (
        f"{MEASURES[course['part']].capitalize()} {plain(value, unit)} (80 % sure: {bare(low)} to {bare(high)}), usual "
        f"{bare(course['usual'])}{limit_text(course, fahrenheit=fahrenheit)}"
    )


def course_note(course: Mapping[str, Any], *, fahrenheit: bool) -> str:
    """The same in the room of a card: level, range, usual, limit."""
    now = next((row for row in course["path"] if row[0] == 0.0), course["path"][-1])
    _, value, low, high = now
    said = f"{plain(value, str(course['unit']))} ({bare(low)} to {bare(high)}), usual {bare(course['usual'])}"
    return (
        f"{said}, limit {bare(course['limit'])}"
        if course["limit_is"] == "printed"
        else said + limit_text(course, fahrenheit=fahrenheit)
    )


def limit_text(course: Mapping[str, Any], *, fahrenheit: bool) -> str:
    """What the dotted line is; of a vehicle that would not start with the part renewed, that; "" where nothing is near."""
    if course.get("others_fail"):
        return f"; {NO_START_RENEWED.format(temperature=temperature(course['limit_at_c'], fahrenheit=fahrenheit))}"
    if course["limit"] is None:
        return ""
    limit = plain(course["limit"], str(course["unit"]))
    if course["limit_is"] == "printed":
        return f"; printed limit {limit}"
    at = temperature(course.get("limit_at_c", FAILED_AT_C), fahrenheit=fahrenheit)
    return f"; {NO_START_FROM.format(temperature=at, level=limit)}"


def numbers(course: Mapping[str, Any], as_of: str) -> pd.DataFrame:
    """The readings behind the picture, the newest first."""
    today = pd.Timestamp(as_of)
    rows = [
        (day(today + pd.Timedelta(days=days)), f"{'at least ' if bound else ''}{number(value, 2)}", str(course["unit"]))
        for days, value, bound in reversed(course["readings"])
    ]
    return pd.DataFrame(rows, columns=list(COLUMNS))
