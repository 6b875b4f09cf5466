"""The limits in use."""

import argparse

from analysis.circuit.limits import LIMIT_KEYS
from dashboard.cli.commands.database import open_existing
from dashboard.cli.commands.files import read_text
from dashboard.cli.options import WHO
from dashboard.desk.own_limits import kind_of, limit_book, save_limits
from dashboard.desk.terminal import say, show
from dashboard.words import terminal_words
from dashboard.words.reading_sheet import load_test_text
from ingest.values import joined


def show_limits(options: argparse.Namespace) -> None:
    db = open_existing(options)
    system_v, fuel = kind_of(db, options.vehicle_class, options.system_v)
    limits = limit_book(db).for_group(options.vehicle_class, system_v, options.fuel or fuel)
    for key in LIMIT_KEYS:
        limit = getattr(limits, key)
        show(f"{key:28s} {limit.value:8.4g} {limit.unit:12s} {limit.lowest:g} to {limit.highest:g}; {limit.source}")
    show(load_test_text())


def set_limits(options: argparse.Namespace) -> None:
    of_nobody = save_limits(open_existing(options), read_text(options.file), by=WHO)
    show(terminal_words.LIMITS_IN_USE.format(file=options.file))
    if of_nobody:
        say(terminal_words.LIMITS_OF_NOBODY.format(classes=joined(of_nobody, "or")))
