"""Past lists, and what they would have done."""

import argparse
import json
from datetime import timedelta

import pandas as pd

from dashboard.cli.commands.database import open_existing
from dashboard.cli.commands.lists import list_body
from dashboard.desk.past_lists import REPORTED, past_report
from dashboard.desk.terminal import say, show_json
from dashboard.judging.past_lists import past_lists
from dashboard.words import terminal_words
from dashboard.words.backtest_report import report_text
from dashboard.words.plain_text import count_words


def run_backtest(options: argparse.Namespace) -> None:
    """Print the list as it would have been issued on each date, one JSON object a line; a report to standard error."""
    db = open_existing(options)
    first, last = getattr(options, "from"), options.to
    dates = [pd.Timestamp(first + timedelta(days=k)) for k in range(0, (last - first).days + 1, options.every_days)]
    lists: list[dict[str, object]] = []
    for one in past_lists(db, dates, horizon_days=options.horizon_days):
        body = list_body(one.day.date(), options.horizon_days, one.rows, one.assumed)
        show_json(json.dumps(body, ensure_ascii=False))
        lists += [{"as_of": one.day, **{name: row[name] for name in REPORTED}} for row in one.rows]
        flagged = sum(bool(row["flagged"]) for row in one.rows)
        say(terminal_words.DAY_FLAGGED.format(day=one.day, flagged=flagged, of=count_words(len(one.rows), "vehicle")))
    say(report_text(past_report(db, pd.DataFrame(lists), horizon_days=options.horizon_days)))
