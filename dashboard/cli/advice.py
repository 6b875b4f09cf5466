"""What a reading says as soon as it is recorded; loads no more than that, so that whoever stands at the vehicle waits less."""

from __future__ import annotations

import pandas as pd
from sqlite_utils import Database

from dashboard.desk.own_limits import limit_book
from dashboard.desk.reading_source import Record, row_of, take_apart, whose
from dashboard.desk.terminal import wrapped
from dashboard.words import reading_sheet, terminal_words
from ingest.entries import Entry
from ingest.fields import CIRCUIT_MEASUREMENTS, MEASUREMENTS, QUANTITIES


def reading_advice(db: Database, name: str, entry: Entry) -> list[str]:
    """What a reading says at once, stored or not: resistances, whether it fits, limits, and how it compares."""
    reading = entry.as_reading()
    at = pd.Timestamp(str(reading["taken_at"]))
    record = Record(db, at)
    readings = record.readings(name)
    before = readings[readings["taken_at"] < at]
    expected = record.vehicles([name])[name].expected
    taken = take_apart(db, row_of(record.units, name), reading, before, expected, limit_book(db))
    own = pd.DataFrame(
        [{"taken_at": at, **{n: v for n, v in entry.values.items() if n in (*MEASUREMENTS, "lowest_is")}}]
    )
    lines = compare_with_last(pd.concat([before, own.reindex(columns=before.columns)], ignore_index=True))
    lines += reading_sheet.identified_lines(taken.check)
    asked = whose_words(record, name, entry)
    return [w for text in [*asked, *lines, *reading_sheet.advice_lines(taken.check)] for w in wrapped(text, "")]


def whose_lines(db: Database, name: str, entry: Entry) -> list[str]:
    """The question whether a reading is another vehicle's, or nothing; asked of one that cannot be stored too."""
    at = pd.to_datetime(str(entry.values.get("taken_at", "")), errors="coerce")
    if pd.isna(at):  # a time that is not there or cannot be read is said elsewhere
        return []
    record = Record(db, at)
    return whose_words(record, name, entry) if name in set(record.units["unit"]) else []


def whose_words(record: Record, name: str, entry: Entry) -> list[str]:
    """The same where the record was opened already."""
    found = whose(record.db, name, entry.as_reading(), record.vehicles)
    system_v = record.units.set_index("unit")["system_v"].to_dict()
    words = reading_sheet.whose_words(name, found, {str(unit): int(v) for unit, v in system_v.items()})
    return [words] if words else []


def compare_with_last(readings: pd.DataFrame) -> list[str]:
    """The latest reading against the median of the vehicle's up to five before it, where it differs by a fifth."""
    if len(readings) < 2:
        return [terminal_words.FIRST_READING]
    ordered = readings.sort_values("taken_at")
    latest, before = ordered.iloc[-1], ordered.iloc[-6:-1]
    lines = []
    for name in CIRCUIT_MEASUREMENTS:
        if name not in ordered or pd.isna(latest[name]) or reading_sheet.is_bound(latest, name):
            continue
        usual = before[name].median()
        if pd.notna(usual) and usual and abs(latest[name] / usual - 1.0) > DIFFERS:
            words = reading_sheet.amount(name, latest[name]), reading_sheet.amount(name, usual)
            label = QUANTITIES[name].label.lower()
            lines.append(
                terminal_words.AGAINST_LAST.format(
                    label=label, value=words[0], count=before[name].count(), usual=words[1]
                )
            )
    return lines or [terminal_words.LIKE_LAST]


DIFFERS = 0.2  # a fifth more or less is worth saying, our choice
