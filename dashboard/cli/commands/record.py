"""One reading, recorded."""

import argparse
import sqlite3
from collections.abc import Mapping, Sequence

from sqlite_utils import Database

from dashboard.cli.advice import reading_advice, whose_lines
from dashboard.cli.commands.database import open_existing
from dashboard.cli.options import RECORDABLE, WHO
from dashboard.desk.terminal import COULD_NOT, DONE, SET_ASIDE, say, show
from dashboard.words import terminal_words
from dashboard.words.plain_text import clean
from ingest import entries
from ingest.entries import Entry
from ingest.errors import IngestError


def run_record(options: argparse.Namespace) -> int:
    db = open_existing(options)
    given = {name: getattr(options, name) for name in RECORDABLE if getattr(options, name) is not None}
    entry = keep_reading(db, {"unit": options.unit, **given}, options.measured_twice, dry_run=options.dry_run)
    return say_kept(db, str(entry.values.get("unit") or options.unit), entry, dry_run=options.dry_run)


def keep_reading(db: Database, values: Mapping[str, object], twice: Sequence[str], *, dry_run: bool = False) -> Entry:
    """Check a reading and, unless it is only tried, store it; what is wrong or doubtful about it is said."""
    checked = entries.check_reading(db, values, confirmed=twice) if dry_run else None
    entry = checked or entries.record_reading(db, values, by=WHO, confirmed=twice)
    for text in (*entry.problems, *entry.doubts, *entry.remarks):
        say(text)
    return entry


def say_kept(db: Database, unit: str, entry: Entry, *, dry_run: bool = False) -> int:
    """What became of a reading and what it shows; returns the exit code."""
    if entry.problems or not (entry.stored or entry.known or dry_run):
        for line in whose_lines(db, unit, entry):
            say(clean(line))
        return SET_ASIDE
    became = terminal_words.CHECKED if dry_run else terminal_words.KNOWN if entry.known else "stored"
    show(terminal_words.READING_BECAME.format(unit=unit, became=became, moment=entry.values.get("taken_at", "")))
    try:
        lines = reading_advice(db, unit, entry)
    except (ValueError, ArithmeticError, LookupError, IngestError, sqlite3.Error) as error:
        say(terminal_words.NOT_WORKED_OUT.format(error=error))
        return COULD_NOT if dry_run else DONE  # a stored reading is stored, whatever is said about it
    for line in lines:
        show(clean(line))
    return DONE
