"""One vehicle's sheet."""

import argparse
import json
from datetime import date, timedelta

from sqlite_utils import Database

from dashboard.cli.commands.database import as_of, open_existing, say_age, vehicle_named
from dashboard.cli.tables import unit_sheet
from dashboard.desk.assessment import assess_database, row_of, terms_of
from dashboard.desk.reading_source import knowledge_of, latest_taken, unit_row
from dashboard.desk.terminal import say, show, show_json
from dashboard.desk.weekly import decision_with_reason, latest_decisions
from dashboard.words import every_page, terminal_words
from dashboard.words.plain_text import day as day_words
from ingest import store
from ingest.records import read_decisions
from ingest.writing import find


def left_on(db: Database, unit: str) -> date | None:
    """A vehicle's last day in service; None where it is in service, or not there."""
    row = find(db, "units", unit=unit)
    return date.fromisoformat(row["out_of_service"]) if row and row["out_of_service"] else None


def run_unit(options: argparse.Namespace) -> None:
    db = open_existing(options)
    day, options.unit = as_of(options), vehicle_named(db, options.unit)
    left = left_on(db, options.unit)
    if left is not None and left <= day:
        said = every_page.LEFT_SERVICE.format(unit=options.unit, day=day_words(left))
        hint = terminal_words.AS_JUDGED_LAST.format(day=left - timedelta(days=1))
        if options.format == "json":
            show_json(
                json.dumps({"unit": options.unit, "out_of_service": left.isoformat(), "reasons": [said]}, indent=2)
            )
        else:
            show(said)
            say(hint)
        return
    assessment = assess_database(db, as_of=day, horizon_days=options.horizon_days)
    every = store.read_readings(db, units=[options.unit])
    known, later = every[every["taken_at"] < str(day)], every[every["taken_at"] >= str(day)]
    terms = terms_of(db, day)
    row = row_of(assessment, options.unit, known, terms)
    if row is None:
        raise ValueError(
            f"unit {options.unit!r} is not in the database; `cranktrend risk --all` lists the ones that are"
        )
    unit = unit_row(db, options.unit)
    taken = latest_taken(db, unit, known, knowledge_of(assessment, unit), terms.book)
    repairs = store.read_repairs(db, before=day)
    decision = latest_decisions(read_decisions(db, before=day), day).get(options.unit)
    decided = decision_with_reason(decision) if decision else ""
    newest = later["taken_at"].max().date() if len(later) else None
    knows = terminal_words.known_readings(day, len(later), newest)
    sheet = unit_sheet(row, assessment, known, repairs, fmt=options.format, taken=taken, decided=decided, known=knows)
    (show_json if options.format == "json" else show)(sheet)
    say_age(db, day)
