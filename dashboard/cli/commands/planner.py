"""The replacement plan."""

import argparse

from dashboard.cli.commands.database import as_of, open_existing, say_age
from dashboard.cli.options import WHO
from dashboard.desk.assessment import check_assessable
from dashboard.desk.plan_moves import keep_pin, let_go
from dashboard.desk.planning import make_plan
from dashboard.desk.terminal import say, show, show_bytes, show_json
from dashboard.files.plan_export import render
from dashboard.words import terminal_words
from ingest.writing import writing


def run_plan(options: argparse.Namespace) -> None:
    db, day = open_existing(options), as_of(options)
    check_assessable(db, day)
    with writing(db):
        for kind, pins in (("pin", options.pin), ("forbid", options.forbid)):
            for unit, week in pins:
                keep_pin(db, unit=unit, week=week.strip(), kind=kind, by=WHO)
        for unit in options.let_go:
            say(terminal_words.LET_GO.format(unit=unit, count=let_go(db, unit, by=WHO)))
    body = render(make_plan(db, as_of=day, weeks=options.weeks, by=WHO), options.format)
    if isinstance(body, bytes):
        show_bytes(body)
    else:
        (show_json if options.format == "json" else show)(body)
    say_age(db, day)
