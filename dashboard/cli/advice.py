"""What a reading says as soon as it is recorded; loads no more than that, so that whoever stands at the vehicle waits less."""

from collections.abc import Mapping
from typing import Any, Final

import pandas as pd
from sqlite_utils import Database

from analysis.circuit.resistances import MEASURED
from dashboard.desk.own_limits import limit_book
from dashboard.desk.reading_source import Record, row_of, take_apart, whose
from dashboard.desk.terminal import wrapped
from dashboard.words import reading_sheet, terminal_words
from ingest.entries import Entry
from ingest.fields import CIRCUIT_MEASUREMENTS, QUANTITIES

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
    lines = [*compare_with_last(reading, before), *reading_sheet.identified_lines(taken.check)]
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


def compare_with_last(reading: Mapping[str, Any], before: pd.DataFrame) -> list[str]:
    """Measurements that no state of a circuit foretells, against the median of the vehicle's last five, where they differ by a fifth."""
    last = before.sort_values("taken_at").tail(5)
    lines = []
    for name in CIRCUIT_MEASUREMENTS:
        value = reading.get(name)
        if name in MEASURED or name == "crank_dip_v" or name not in last or value is None or pd.isna(value):
            continue
        usual = last[name].median()
        if pd.notna(usual) and usual and abs(value / usual - 1.0) > DIFFERS:
            words, typical = (reading_sheet.amount(name, v) for v in (value, usual))
            label, count = QUANTITIES[name].label.lower(), last[name].count()
            lines.append(terminal_words.AGAINST_LAST.format(label=label, value=words, count=count, usual=typical))
    return lines


DIFFERS = 0.2  # a fifth more or less is worth saying, our choice
