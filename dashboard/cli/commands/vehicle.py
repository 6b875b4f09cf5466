"""One vehicle: its sheet, and a reading of it."""

from __future__ import annotations

import argparse
import sqlite3

from dashboard.cli.commands.database import as_of, open_existing, say_age
from dashboard.cli.options import RECORDABLE, WHO
from dashboard.cli.tables import reading_advice, unit_sheet, whose_lines
from dashboard.desk.assessment import assess_database, list_rows, own_costs
from dashboard.desk.own_limits import limit_book
from dashboard.desk.reading_source import knowledge_of, latest_taken, unit_row
from dashboard.desk.terminal import COULD_NOT, DONE, say, show, show_json
from dashboard.words.plain_text import clean
from ingest import entries, store
from ingest.errors import IngestError


def run_unit(options: argparse.Namespace) -> int:
    """Print one vehicle's sheet."""
    db = open_existing(options)
    day = as_of(options)
    assessment = assess_database(db, as_of=day, horizon_days=options.horizon_days)
    known = store.read_readings(db, before=day, units=[options.unit])
    listed = list_rows(assessment, known, flagged_only=False, book=limit_book(db), costs=own_costs(db))
    rows = [row for row in listed if row["unit"] == options.unit]
    if not rows:
        raise ValueError(
            f"unit {options.unit!r} is not in the database; `cranktrend risk --all` lists the ones that are"
        )
    unit = unit_row(db, options.unit)
    taken = latest_taken(db, unit, known, knowledge_of(assessment, unit), limit_book(db))
    repairs = store.read_repairs(db, before=day)
    sheet = unit_sheet(rows[0], assessment, known, repairs, fmt=options.format, taken=taken)
    (show_json if options.format == "json" else show)(sheet)
    say_age(db, day)
    return 0


def run_record(options: argparse.Namespace) -> int:
    """Record one reading of a vehicle, checked like any other."""
    db = open_existing(options)
    given = {name: getattr(options, name) for name in RECORDABLE if getattr(options, name) is not None}
    values = {"unit": options.unit, **given}
    twice = options.measured_twice
    checked = entries.check_reading(db, values, confirmed=twice) if options.dry_run else None
    entry = checked or entries.record_reading(db, values, by=WHO, confirmed=twice)
    for text in (*entry.problems, *entry.doubts, *entry.remarks):
        say(text)
    if entry.problems or not (entry.stored or entry.known or options.dry_run):
        for line in whose_lines(db, options.unit, entry):
            say(clean(line))
        return 1
    became = "checked, not stored" if options.dry_run else "already known" if entry.known else "stored"
    show(f"{options.unit}: reading {became} ({entry.values.get('taken_at', '')})")
    try:
        lines = reading_advice(db, options.unit, entry)
    except (ValueError, ArithmeticError, LookupError, IngestError, sqlite3.Error) as error:
        say(f"what this reading shows could not be worked out: {error}")
        return COULD_NOT if options.dry_run else DONE  # a stored reading is stored, whatever is said about it
    for line in lines:
        show(clean(line))
    return DONE
