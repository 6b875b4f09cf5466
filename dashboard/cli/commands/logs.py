"""Logs of the bus: the starts in them, and storing these as readings."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from dashboard.cli.commands.database import open_existing
from dashboard.cli.options import WHO
from dashboard.desk.bus_source import Logged, LoggedStart, starts_in, stored
from dashboard.desk.reading_source import unit_row
from dashboard.desk.terminal import DONE, REFUSED, SET_ASIDE, say, show, show_json, wrapped
from dashboard.words.bus_words import sources_words, start_words
from dashboard.words.plain_text import clean
from ingest.entries import Entry
from ingest.errors import FileRefused
from ingest.values import parse_time

NO_DATES = "it holds no dates; say when it began with --began, as 2026-01-31T07:45"


def run_log(options: argparse.Namespace) -> int:
    """Print the starts of every log; with --record, store them."""
    db = open_existing(options) if options.record else None
    if db is not None:
        unit_row(db, options.unit)
    code, found = DONE, []
    for path in options.files:
        try:
            logged = starts_in(
                Path(path), dbc=Path(options.dbc) if options.dbc else None, began=parse_time(options.began).value
            )
            if db is not None and any(one.taken_at is None for one in logged.starts):
                raise FileRefused(NO_DATES)
        except FileRefused as error:
            say(clean(f"{path}: {error}"))
            code = REFUSED
            continue
        rows = became(db, options.unit, logged)
        code = max(code, SET_ASIDE if any(entry is not None and entry.problems for _, entry in rows) else DONE)
        found.append(log_object(logged, rows))
        if options.format == "table":
            show_log(logged, rows, recorded=db is not None)
    if options.format == "json":
        show_json(json.dumps(found, ensure_ascii=False, indent=2, allow_nan=False))
    return code


def became(db: Database | None, unit: str, logged: Logged) -> list[tuple[LoggedStart, Entry | None]]:
    """Every start of a log with what became of it; stored where there is a database."""
    if db is None:
        return [(one, None) for one in logged.starts]
    return list(stored(db, unit, logged, by=WHO))


def show_log(logged: Logged, rows: list[tuple[LoggedStart, Entry | None]], *, recorded: bool) -> None:
    """The starts of one log, each with what became of it."""
    about = sources_words(
        len(logged.starts),
        logged.speed_from,
        logged.volts_from,
        logged.other_volts,
        logged.volts_every_s,
        logged.unread,
    )
    show(clean(f"{logged.file}: {about}"))
    for one, entry in rows:
        when = f"{one.taken_at:%Y-%m-%d %H:%M:%S}" if one.taken_at else f"{one.start.began_s:.1f} s"
        lines = wrapped(f"{when}  {', '.join(start_words(one.start))}", "  ")
        lines += [line for text in said_of(one, entry, recorded=recorded) for line in wrapped(clean(text), "    ")]
        show("\n".join(lines))


def said_of(one: LoggedStart, entry: Entry | None, *, recorded: bool) -> list[str]:
    """What became of a start as a reading."""
    if one.why_not:
        return [f"{'not stored' if recorded else 'no reading'}: {one.why_not}"]
    if entry is None:
        return []
    if entry.problems:
        return [f"not stored: {problem}" for problem in entry.problems]
    return [
        f"already known as reading {entry.row_id}" if entry.known else f"stored as reading {entry.row_id}",
        *entry.doubts,
    ]


def log_object(logged: Logged, rows: list[tuple[LoggedStart, Entry | None]]) -> dict[str, Any]:
    """One log for JSON: what its starts are as readings, and what became of each."""
    return {
        "file": logged.file, "speed_from": logged.speed_from, "volts_from": logged.volts_from or None,
        "starts": [
            {
                **one.values, "began_s": round(one.start.began_s, 3), "started": one.start.started,
                "reading": entry.row_id if entry is not None and not entry.problems else None,
                "stored": entry is not None and entry.stored,
                "problems": list(entry.problems) if entry is not None else [], "why_not": one.why_not or None,
            }
            for one, entry in rows
        ],
    }  # fmt: skip
