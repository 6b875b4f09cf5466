"""The weekly list, past lists, and what was learned of the classes."""

import argparse
import json
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from analysis.worklist.assess import FleetList
from dashboard.cli.commands.database import as_of, open_existing, say_age
from dashboard.cli.commands.files import read_text, write_new
from dashboard.cli.options import WHO
from dashboard.cli.tables import list_table
from dashboard.desk.assessment import assess_database, known_climate, list_rows, terms_of
from dashboard.desk.taught_laws import forget_laws, laws_text, save_laws
from dashboard.desk.terminal import say, show, show_json, wrapped
from dashboard.desk.weekly import assumed, days_read, notes_of
from dashboard.files.as_csv import as_csv, rows_as_csv
from dashboard.words import terminal_words
from dashboard.words.plain_text import clean
from dashboard.words.safety import CAUTIONS
from ingest import store


def run_risk(options: argparse.Namespace) -> None:
    db = open_existing(options)
    day = as_of(options)
    assessment = assess_database(db, as_of=day, horizon_days=options.horizon_days)
    readings = store.read_readings(db, before=day)
    rows = list_rows(assessment, readings, terms_of(db, day), flagged_only=not options.all)
    taken_for_granted = assumed(known_climate(db, before=day), assessment)
    show_list(
        options, day, rows, assessment, taken_for_granted, notes_of(assessment, days_read(readings, assessment.as_of))
    )
    say_age(db, day)


def show_list(
    options: argparse.Namespace,
    day: date,
    rows: list[dict[str, Any]],
    found: FleetList,
    taken_for_granted: list[str],
    notes: list[str],
) -> None:
    """The weekly list as --format asks for it, and its notes."""
    if options.format == "json":
        body = list_body(day, options.horizon_days, rows, taken_for_granted)
        show_json(json.dumps(body, ensure_ascii=False, indent=1))
    elif options.format == "csv":
        show(rows_as_csv(rows))
    said = [clean(note) for note in (*notes, *taken_for_granted)]
    if options.format == "table":
        show(list_table(rows, found))
        if said:
            show("\n".join(["", *(line for note in said for line in wrapped(note, ""))]))
        return
    for note in said:
        say(note)


def list_body(day: date, horizon_days: int, rows: list[dict[str, Any]], taken_for_granted: list[str]) -> dict[str, Any]:
    said = {"assumed": taken_for_granted, "cautions": list(CAUTIONS)}
    return {"as_of": day.isoformat(), "horizon_days": horizon_days, "units": rows, **said}


def run_classes(options: argparse.Namespace) -> None:
    """Print what was learned of every class, from how many readings and no-starts; or take it from file to file."""
    db = open_existing(options)
    if options.import_from is not None:
        found = save_laws(db, read_text(options.import_from), by=WHO)
        show(terminal_words.BEGIN_FROM.format(file=options.import_from, count=len(found)))
        return
    if options.forget:
        forget_laws(db, by=WHO)
        show(terminal_words.BEGIN_PUBLISHED)
        return
    assessment = assess_database(db, as_of=as_of(options))
    if options.export is not None:
        written = write_new(Path(options.export), laws_text(assessment))
        show(terminal_words.LAWS_WRITTEN.format(file=written, count=len(assessment.teaches)))
        return
    if options.format == "csv":
        show(as_csv(assessment.classes))
    else:
        table = assessment.classes.copy()
        table["value"] = [f"{v:.3g}" for v in table["value"]]
        table["se"] = ["" if pd.isna(v) else f"{v:.2g}" for v in table["se"]]
        table["cases"] = ["" if pd.isna(v) else f"{v:.0f}" for v in table["cases"]]
        show(table.to_string(index=False))
