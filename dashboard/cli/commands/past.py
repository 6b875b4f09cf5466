"""Past lists, and what they would have done."""

from __future__ import annotations

import argparse
import json
from datetime import timedelta

import pandas as pd

from dashboard.cli.commands.database import open_existing
from dashboard.cli.commands.lists import list_body
from dashboard.desk.assessment import backtest_database, known_climate, list_rows, own_costs
from dashboard.desk.own_limits import limit_book
from dashboard.desk.past_lists import REPORTED, past_report
from dashboard.desk.terminal import say, show_json
from dashboard.desk.weekly import assumed
from dashboard.words import terminal_words
from dashboard.words.backtest_report import report_text
from ingest import store


def run_backtest(options: argparse.Namespace) -> int:
    """Print the list as it would have been issued on each date, one JSON object a line; a report to standard error."""
    db = open_existing(options)
    first, last = getattr(options, "from"), options.to
    dates = [pd.Timestamp(first + timedelta(days=k)) for k in range(0, (last - first).days + 1, options.every_days)]
    readings, book, costs = store.read_readings(db), limit_book(db), own_costs(db)
    lists: list[dict[str, object]] = []
    for day, assessment in backtest_database(db, dates, horizon_days=options.horizon_days):
        rows = list_rows(assessment, readings, flagged_only=False, book=book, costs=costs)
        body = list_body(
            day.date(), options.horizon_days, rows, assumed(known_climate(db, before=day.date()), assessment.units)
        )
        show_json(json.dumps(body, ensure_ascii=False))
        lists += [{"as_of": day, **{name: row[name] for name in REPORTED}} for row in rows]
        say(terminal_words.DAY_FLAGGED.format(day=day, flagged=sum(bool(r["flagged"]) for r in rows), of=len(rows)))
    say(report_text(past_report(db, pd.DataFrame(lists), horizon_days=options.horizon_days)))
    return 0
