"""What a planner sets on the screen (hours and days of workshops, closed days, prices), and what was wrong of a vehicle: kept with
who, when and why, and undone.

Every saving is one change, whose number undoes it; each value that it changed is in the audit with the old one.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby
from types import MappingProxyType

from sqlite_utils import Database

from ingest.fields import TABLES, UNITS
from ingest.service_days import known_from
from ingest.writing import (
    Change,
    Origin,
    as_text,
    changed_by,
    find,
    note_write,
    put,
    refuse_later,
    write_change,
    write_origin,
    writing,
)

Key = tuple[str, ...]
Values = Mapping[str, object]
DAY_NAMES = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_WEEK_OF, _USUAL, _EVERY = "week of ", "usual week", "every depot"


@dataclass(frozen=True)
class Sheet:
    """A small table that is set row by row: its key, and the values beside it."""

    name: str
    key: tuple[str, ...]
    values: tuple[str, ...]


@dataclass(frozen=True)
class Edit:
    """One row to be: its values, or None where it is to go."""

    sheet: str
    key: Key
    values: Values | None


SHEETS: Mapping[str, Sheet] = MappingProxyType(
    {
        sheet.name: sheet
        for sheet in (
            Sheet("workshops", ("depot", "week_from"), ("hours_per_week",)),
            Sheet("workshop_days", ("depot", "weekday"), ("share",)),
            Sheet("closures", ("depot", "from_on", "to_on"), ("why",)),
            Sheet("parts", ("part",), ("price", "labour_h", "lead_days")),
        )
    }
)


EDITED: Mapping[str, Sheet] = MappingProxyType(
    {**SHEETS, UNITS.name: Sheet(UNITS.name, UNITS.key, tuple(name for name in UNITS.names if name not in UNITS.key))}
)
"""The sheets, and the vehicles, which are put right the same way (`corrections.correct`)."""


def save_edits(db: Database, edits: list[Edit], *, by: str, reason: str = "", now: datetime | None = None) -> int:
    """Set rows as one change and return its number; 0, with nothing written, where nothing differs."""
    mine = Origin("correction", by, now or datetime.now())
    with writing(db):
        todo = [(edit, old) for edit in edits if (old := _values_now(db, edit.sheet, edit.key)) != edit.values]
        if not todo:
            return 0
        change = write_origin(db, mine)
        for edit, old in todo:
            _set(db, edit, old, change, mine, reason)
    return change


def is_sheet_change(db: Database, change: int) -> bool:
    """Whether a change was made by :func:`save_edits`."""
    made, row = find(db, "origins", id=int(change), kind="correction"), find(db, "audit", origin_id=int(change))
    return made is not None and row is not None and row["table_name"] in EDITED


def undo_edits(db: Database, change: int, *, by: str, reason: str = "undone", now: datetime | None = None) -> int:
    """Put the rows of a change back and return the number of that change; IngestError where one was set again since."""
    mine = Origin("correction", by, now or datetime.now())
    with writing(db):
        again = write_origin(db, mine)
        for (name, row_key), columns in changed_by(db, change, EDITED).items():
            key = key_of(name, row_key)
            current = _values_now(db, name, key)
            told = {column: as_text((current or {}).get(column)) for column in columns}
            if told != {column: new for column, (_, new) in columns.items()}:
                refuse_later(db, change, name, row_key)
            before = {**(current or {}), **{c: _typed(name, c, old) for c, (old, _) in columns.items()}}
            gone = all(value is None for value in before.values())
            _set(db, Edit(name, key, None if gone else before), current, again, mine, reason)
    return again


def said_before(db: Database, name: str) -> dict[Key, list[dict[str, object]]]:
    """What rows of a sheet said before each change that was made on the screen: a file that says so again brings nothing."""
    sql = """SELECT row_key, origin_id, column_name, old_value FROM audit WHERE table_name = ?
        AND origin_id IN (SELECT id FROM origins WHERE kind = 'correction') ORDER BY row_key, id DESC"""
    rows = list(db.query(sql, [name]))
    out: dict[Key, list[dict[str, object]]] = {}
    for row_key, mine in groupby(rows, key=lambda row: str(row["row_key"])):
        key = key_of(name, row_key)
        state: dict[str, object] = dict.fromkeys(EDITED[name].values) | (_values_now(db, name, key) or {})
        for _, cells in groupby(mine, key=lambda row: int(row["origin_id"])):
            told = {row["column_name"]: row["old_value"] for row in cells}
            state = state | {column: _typed(name, column, old) for column, old in told.items()}
            out.setdefault(key, []).append(state)
    return out


# --- how -------------------------------------------------------------------------------------------------------------


def _values_now(db: Database, name: str, key: Key) -> dict[str, object] | None:
    sheet = EDITED[name]
    row = find(db, name, **dict(zip(sheet.key, key, strict=True)))
    return None if row is None else {column: row[column] for column in sheet.values}


def _set(db: Database, edit: Edit, old: Values | None, change: int, mine: Origin, reason: str) -> None:
    sheet = EDITED[edit.sheet]
    named = dict(zip(sheet.key, edit.key, strict=True))
    if edit.values is None:
        db.table(sheet.name).delete(edit.key)
    else:
        put(db, sheet.name, {**named, **edit.values, "origin_id": change}, *sheet.key)
    changed: dict[str, tuple[object, object]] = {}
    for column in sheet.values:
        was, is_now = (None if row is None else row.get(column) for row in (old, edit.values))
        if was != is_now:
            changed[column] = was, is_now
            one = Change(sheet.name, row_key(sheet.name, edit.key), column, was, is_now)
            write_change(db, one, by=mine.by, at=mine.at, reason=reason, origin_id=change)
    note_write(db, sheet.name, known_from(changed))


def _typed(name: str, column: str, text: str | None) -> object:
    kind = TABLES[name].column(column).kind if name in TABLES else "text" if column == "why" else "number"
    return text if text is None or kind not in ("number", "whole") else int(text) if kind == "whole" else float(text)


def row_key(name: str, key: Key) -> str:
    """A row as the audit and the logbook name it; :func:`key_of` reads it again, whatever a depot is called."""
    if name == "workshops":
        return f"{key[0]}, {_WEEK_OF}{key[1]}" if key[1] else f"{key[0]}, {_USUAL}"
    if name == "workshop_days":
        return f"{key[0]}, {DAY_NAMES[int(key[1]) - 1]}"
    if name == "closures":
        return f"{f'depot {key[0]}' if key[0] else _EVERY}, {key[1]} to {key[2]}"
    return key[0]


def key_of(name: str, row_key: str) -> Key:
    """The row that :func:`row_key` named."""
    head, _, tail = row_key.rpartition(", ")
    if name == "workshops":
        return head, "" if tail == _USUAL else tail.removeprefix(_WEEK_OF)
    if name == "workshop_days":
        return head, str(DAY_NAMES.index(tail) + 1)
    if name == "closures":
        return ("" if head == _EVERY else head.removeprefix("depot "), *tail.split(" to "))
    return (row_key,)


# --- what may be set -------------------------------------------------------------------------------------------------

MOST_HOURS = 10_000.0  # [h] of a week, as in a workshops file
MOST_CLOSED_D = 366  # [d] closed at a stretch, our choice: a workshop closed for longer has no hours in its usual week
LONGEST_WHY = 200  # characters, our choice
_ISO_WEEK = re.compile(r"^\d{4}-W\d{2}$")
YEARS = (2000, 2100)  # years that a day may be of, our choice: others are slips of the hand


def checked_hours(what: str, hours: object) -> float:
    """Hours as a number; ValueError says what is not allowed."""
    number = isinstance(hours, int | float) and not isinstance(hours, bool)
    if not number or not 0 <= float(str(hours)) <= MOST_HOURS:
        raise ValueError(f"{what} has {hours!s:.40} hours; allowed are numbers from 0 to {MOST_HOURS:g}")
    return float(str(hours))


def checked_monday(iso_week: object) -> date:
    """The Monday of a week such as 2026-W52; ValueError for what is none."""
    text = str(iso_week)
    try:
        if not _ISO_WEEK.match(text):
            raise ValueError
        return date.fromisocalendar(int(text[:4]), int(text[-2:]), 1)
    except ValueError:
        raise ValueError(f"the week is {text[:40]!r}; allowed is a week such as 2026-W52") from None


def checked_closure(first: object, last: object, why: object) -> tuple[str, str, str]:
    """First and last closed day and the reason as they are stored; ValueError says what is not allowed."""
    if not isinstance(first, date) or not isinstance(last, date):
        raise ValueError(
            "the first or the last closed day is missing; allowed are two days, the same one twice for one day"
        )
    if not all(YEARS[0] <= day.year <= YEARS[1] for day in (first, last)):
        raise ValueError(f"the closed days are {first} to {last}; allowed are days from {YEARS[0]} to {YEARS[1]}")
    if last < first:
        raise ValueError(
            f"the last closed day {last} lies before the first, {first}; allowed is the same day or a later one"
        )
    if (last - first).days >= MOST_CLOSED_D:
        raise ValueError(f"{first} to {last} is longer than a year; allowed are {MOST_CLOSED_D} days at most")
    text = " ".join(str(why or "").split())
    if len(text) > LONGEST_WHY:
        raise ValueError(f"the reason has {len(text)} characters; allowed are {LONGEST_WHY} at most")
    return first.isoformat(), last.isoformat(), text
