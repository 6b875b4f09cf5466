"""What a reading says as soon as it is recorded; loads no more than that, so that whoever stands at the vehicle waits less."""

from typing import Final

import pandas as pd
from sqlite_utils import Database

from dashboard.desk.own_limits import limit_book
from dashboard.desk.reading_source import Record, row_of, take_apart, whose
from dashboard.desk.terminal import wrapped
from dashboard.words import reading_sheet
from ingest.entries import Entry

AS_STORED: Final = "%Y-%m-%dT%H:%M:%S"  # a time that was read


def reading_advice(db: Database, name: str, entry: Entry) -> list[str]:
    """What a reading says at once, stored or not: resistances, whether it fits, how it compares, limits."""
    reading = entry.as_reading()
    at = pd.Timestamp(str(reading["taken_at"]))
    record = Record(db, at)
    readings = record.readings(name)
    before = readings[readings["taken_at"] < at]
    expected = record.vehicles([name])[name].expected
    taken = take_apart(db, row_of(record.units, name), reading, before, expected, limit_book(db))
    lines = reading_sheet.identified_lines(taken.check)
    return [
        w
        for text in [*whose_words(record, name, entry), *lines, *reading_sheet.advice_lines(taken.check)]
        for w in wrapped(text, "")
    ]


def whose_lines(db: Database, name: str, entry: Entry) -> list[str]:
    """The question whether a reading is another vehicle's, or nothing; asked of one that cannot be stored too."""
    at = pd.to_datetime(str(entry.values.get("taken_at", "")), format=AS_STORED, errors="coerce")
    if pd.isna(at):  # a time that is not there or was not read, as one in UTC, is said elsewhere
        return []
    record = Record(db, at)
    return whose_words(record, name, entry) if name in set(record.units["unit"]) else []


def whose_words(record: Record, name: str, entry: Entry) -> list[str]:
    """The same where the record was opened already."""
    found = whose(record.db, name, entry.as_reading(), record.vehicles)
    system_v = record.units.set_index("unit")["system_v"].to_dict()
    words = reading_sheet.whose_words(name, found, {str(unit): int(v) for unit, v in system_v.items()})
    return [words] if words else []
