"""Logs of the bus: the starts in them, and storing these as readings."""

import argparse
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from dashboard.cli.commands.database import open_existing, vehicle_named
from dashboard.cli.options import WHO
from dashboard.desk.bus_source import Logged, became_words, starts_in, stored
from dashboard.desk.reading_source import unit_row
from dashboard.desk.terminal import DONE, REFUSED, SET_ASIDE, say, show, show_json, wrapped
from dashboard.words import terminal_words
from dashboard.words.plain_text import clean
from ingest.entries import Entry
from ingest.errors import FileRefused
from ingest.values import parse_time

NO_DATES = terminal_words.NO_DATES


def run_log(options: argparse.Namespace) -> int:
    db = open_existing(options) if options.record else None
    if db is not None:
        options.unit = vehicle_named(db, options.unit)
        unit_row(db, options.unit)
    code, found = DONE, []
    dbc, began = Path(options.dbc) if options.dbc else None, parse_time(options.began).value
    for path in options.files:
        try:
            logged = starts_in(Path(path), dbc=dbc, began=began)
            if db is not None and not logged.dated:
                raise FileRefused(NO_DATES)
        except FileRefused as error:
            say(clean(f"{path}: {error}"))
            code = REFUSED
            continue
        entries = [None] * len(logged.starts) if db is None else stored(db, options.unit, logged.starts, by=WHO)
        code = max(code, SET_ASIDE if any(entry is not None and entry.problems for entry in entries) else DONE)
        found.append(log_object(logged, entries))
        if options.format == "table":
            show("\n".join(log_lines(logged, entries)))
    if options.format == "json":
        show_json(json.dumps(found, ensure_ascii=False, indent=2, allow_nan=False))
    return code


def log_lines(logged: Logged, entries: Sequence[Entry | None]) -> list[str]:
    """The starts of one log, each with what became of it."""
    lines = wrapped(clean(f"{logged.file}: {logged.about}"), "")
    for one, entry in zip(logged.starts, entries, strict=True):
        lines += wrapped(f"{one.taken_at}  {', '.join(one.words)}", "  ")
        lines += [line for text in became_words(one, entry) for line in wrapped(clean(text), "    ")]
    return lines


def log_object(logged: Logged, entries: Sequence[Entry | None]) -> dict[str, Any]:
    """One log for JSON: what its starts are as readings, and what became of each."""
    return {
        "file": logged.file, "speed_from": logged.speed_from, "volts_from": logged.volts_from or None,
        "starts": [
            {
                **one.values, "began_s": round(one.began_s, 3), "words": list(one.words),
                "reading": entry.row_id if entry is not None and not entry.problems else None,
                "stored": entry is not None and entry.stored,
                "problems": list(entry.problems) if entry is not None else [], "why_not": one.why_not or None,
            }
            for one, entry in zip(logged.starts, entries, strict=True)
        ],
    }  # fmt: skip
