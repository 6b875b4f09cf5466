"""The small course on a card, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from dashboard.words.plain_text import day, number, temperature
from dashboard.words.reasons import MEASURES, bare, plain

KEY: Final = "Line: the trend, dashed ahead; shaded: 80 % sure; grey: usual in its class; dotted: the limit; upright: the day of the list."
COLUMNS: Final = ("read on", "value", "unit at 20 °C")
FAILS_AT_C: Final = 5.0  # [°C] at which the limit of a part without a printed one is meant, as in its large picture


def course_text(course: Mapping[str, Any], *, fahrenheit: bool) -> str:
    """Level now with its range, what is usual, and the limit."""
    now = next((row for row in course["path"] if row[0] == 0.0), course["path"][-1])
    unit = str(course["unit"])
    _, value, low, high = now
    return (
        f"{MEASURES[course['part']].capitalize()} {plain(value, unit)} (80 % sure: {bare(low)} to {bare(high)}), usual "
        f"{bare(course['usual'])}; {limit_text(course, fahrenheit=fahrenheit)}"
    )


def course_note(course: Mapping[str, Any]) -> str:
    """The same in the room of a card: level, range, usual, limit."""
    now = next((row for row in course["path"] if row[0] == 0.0), course["path"][-1])
    _, value, low, high = now
    said = f"{plain(value, str(course['unit']))} ({bare(low)} to {bare(high)}), usual {bare(course['usual'])}"
    return f"{said}, limit {bare(course['limit'])}"


def limit_text(course: Mapping[str, Any], *, fahrenheit: bool) -> str:
    """What the dashed line is."""
    at = temperature(FAILS_AT_C, fahrenheit=fahrenheit)
    what = "printed limit" if course["limit_is"] == "printed" else f"no start at {at} from this alone at"
    return f"{what} {plain(course['limit'], str(course['unit']))}"


def numbers(course: Mapping[str, Any], as_of: str) -> pd.DataFrame:
    """The readings behind the picture, the newest first."""
    today = pd.Timestamp(as_of)
    rows = [
        (day(today + pd.Timedelta(days=days)), f"{'at least ' if bound else ''}{number(value, 2)}", str(course["unit"]))
        for days, value, bound in reversed(course["readings"])
    ]
    return pd.DataFrame(rows, columns=list(COLUMNS))
