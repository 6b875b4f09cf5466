"""Rows that could not be believed."""

import argparse

import pandas as pd

from dashboard.cli.commands.database import open_existing
from dashboard.cli.options import WHO
from dashboard.desk.terminal import DONE, SET_ASIDE, say
from dashboard.desk.terminal import show as show_text
from dashboard.files.as_csv import as_csv
from dashboard.words import terminal_words
from ingest import set_aside


def list_all(options: argparse.Namespace) -> None:
    rows = set_aside.list_set_aside(open_existing(options), state=options.state)
    show_text(as_csv(rows) if options.format == "csv" else set_aside_text(rows))


def set_aside_text(rows: pd.DataFrame) -> str:
    if rows.empty:
        return terminal_words.NO_ROW
    return "\n".join(
        terminal_words.ROW.format(number=r.id, file=r.file, sheet=_sheet(str(r.sheet)), line=r.line, reason=r.reason)
        for r in rows.itertuples()
    )


def _sheet(name: str) -> str:
    """Where in a workbook a row stands, "" in a file without sheets."""
    return terminal_words.ROW_SHEET.format(sheet=name) if name else ""


def show(options: argparse.Namespace) -> None:
    row = set_aside.show_set_aside(open_existing(options), options.id)
    show_text(
        f"{row.id}: {row.file}{_sheet(row.sheet)} line {row.line} ({row.state})\nreason: {row.reason}\noriginal: {row.original!r}"
    )
    for name, value in row.values.items():
        show_text(f"  {name} = {value!r}")


def correct(options: argparse.Namespace) -> int:
    """Check a row again with other cells, and say what became of it."""
    entry = set_aside.correct_set_aside(open_existing(options), options.id, dict(options.changes), by=WHO)
    for text in (*entry.problems, *entry.doubts):
        say(text)
    admitted = entry.stored or entry.known
    show_text(
        terminal_words.ROW_BECAME.format(
            number=options.id, became=terminal_words.ADMITTED if admitted else terminal_words.STILL_ASIDE
        )
    )
    return DONE if admitted else SET_ASIDE


def dismiss(options: argparse.Namespace) -> None:
    set_aside.dismiss_set_aside(open_existing(options), options.id, reason=options.reason, by=WHO)
    show_text(terminal_words.ROW_DISMISSED.format(number=options.id))
