"""A vehicle's days in service, from the first to the last: what is dated outside them, and from when on a change of them is known."""

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Final

from sqlite_utils import Database

FIRST: Final = "in_service"
LAST: Final = "out_of_service"
DATED: Final = (("reading", "readings", "reading_id", "taken_at"), ("repair", "repairs", "repair_id", "done_on"),
                ("visit", "visits", "visit_id", "done_on"))  # fmt: skip
"""What happens to a vehicle: its word, table, number and day."""
LEFT_IN_USE: Final = "another vehicle that bears its number now needs one of its own, such as {unit}-2"


def outside_service(unit: str, first: str, last: str, what: str, day: str) -> str:
    """Why a day (2026-01-31), called `what`, is none of a vehicle's in service, from `first` to `last`; "" where it is one.

    first, last: "" where not known.
    """
    if last and day > last:
        return (
            f"{what} is after the last day in service of {unit}, {last}; allowed is that day at the latest, or to correct its "
            f"{LAST} first (cranktrend correct vehicle), and {LEFT_IN_USE.format(unit=unit)}"
        )
    if first and day < first:
        return (
            f"{what} is before the first day in service of {unit}, {first}; allowed is that day at the earliest, or to correct its "
            f"{FIRST} first (cranktrend correct vehicle)"
        )
    return ""


def left_outside(db: Database, unit: str, old: Mapping[str, object], new: Mapping[str, object]) -> str:
    """Why a vehicle's days in service cannot be changed from `old` to `new`: what is on record outside; "" where nothing is.

    Of what lies outside the days of `old` already nothing is said.
    """
    for name, after, order in ((LAST, ">", "DESC"), (FIRST, "<", "ASC")):
        day = str(new.get(name) or "")
        if not day or day == str(old.get(name) or ""):
            continue
        found = [
            (str(row[column])[:10], word, int(row[number]))
            for word, table, number, column in DATED
            for row in db.table(table).rows_where(
                f"unit = ? AND date({column}) {after} ?", [unit, day], order_by=f"{column} {order}", limit=1
            )
        ]
        if found:
            far, word, number = max(found) if name == LAST else min(found)
            side = "later" if name == LAST else "earlier"
            return (
                f"{name} is {day}, and {word} {number} of {unit} is of {far}; allowed is {far} or {side}, or to withdraw that {word} "
                "or move it to the vehicle it is of first"
            )
    return ""


def known_from(changed: Mapping[str, tuple[object, object]]) -> list[str]:
    """Days for `writing.note_write` of a vehicle's changed values (old, new): a last day in service is known on that day itself,
    all else on every day."""
    if changed.keys() != {LAST}:
        return []
    days = [date.fromisoformat(str(day)) for day in changed[LAST] if day not in (None, "")]
    return [(day - timedelta(days=1)).isoformat() for day in days]
