"""One reading, recorded."""

from __future__ import annotations

import argparse
import sqlite3

from dashboard.cli.advice import reading_advice, whose_lines
from dashboard.cli.commands.database import open_existing
from dashboard.cli.options import RECORDABLE, WHO
from dashboard.desk.terminal import COULD_NOT, DONE, SET_ASIDE, say, show
from dashboard.words.plain_text import clean
from ingest import entries
from ingest.errors import IngestError


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
        return SET_ASIDE
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
