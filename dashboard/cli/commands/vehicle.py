"""One vehicle's sheet."""

from __future__ import annotations

import argparse

from dashboard.cli.commands.database import as_of, open_existing, say_age
from dashboard.cli.tables import unit_sheet
from dashboard.desk.assessment import assess_database, own_costs, row_of
from dashboard.desk.own_limits import limit_book
from dashboard.desk.reading_source import knowledge_of, latest_taken, unit_row
from dashboard.desk.terminal import DONE, show, show_json
from dashboard.desk.weekly import decision_with_reason, latest_decisions
from ingest import store
from ingest.records import read_decisions


def run_unit(options: argparse.Namespace) -> int:
    """Print one vehicle's sheet."""
    db = open_existing(options)
    day = as_of(options)
    assessment = assess_database(db, as_of=day, horizon_days=options.horizon_days)
    known = store.read_readings(db, before=day, units=[options.unit])
    row = row_of(assessment, options.unit, known, book=limit_book(db), costs=own_costs(db))
    if row is None:
        raise ValueError(
            f"unit {options.unit!r} is not in the database; `cranktrend risk --all` lists the ones that are"
        )
    unit = unit_row(db, options.unit)
    taken = latest_taken(db, unit, known, knowledge_of(assessment, unit), limit_book(db))
    repairs = store.read_repairs(db, before=day)
    decision = latest_decisions(read_decisions(db, before=day), day).get(options.unit)
    decided = decision_with_reason(decision) if decision else ""
    sheet = unit_sheet(row, assessment, known, repairs, fmt=options.format, taken=taken, decided=decided)
    (show_json if options.format == "json" else show)(sheet)
    say_age(db, day)
    return DONE
