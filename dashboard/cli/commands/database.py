"""The database that a command works on, and the day that it works for."""

import argparse
from datetime import date
from pathlib import Path

from sqlite_utils import Database

from dashboard.cli.options import database_path
from dashboard.desk.terminal import say
from dashboard.words import terminal_words
from dashboard.words.plain_text import count_words
from ingest import store
from ingest.rules import same_unit

OLD_D = 60  # [d] a list says so when no reading is younger, our choice: two of the usual horizons


def open_existing(options: argparse.Namespace) -> Database:
    """The database, which has to be there already."""
    return store.open_database(database_path(options), create=False, told=say_brought_up)


def open_or_make(path: Path) -> Database:
    """The database, made when there is none, which is said: its name may have been mistyped."""
    new = not path.exists()
    db = store.open_database(path, told=say_brought_up)
    if new:
        say(terminal_words.NEW_DATABASE.format(path=path))
    return db


def say_brought_up(version: str, copy: Path) -> None:
    """Tell that an older database was changed, and where it lies as it was."""
    say(terminal_words.OLDER_VERSION.format(version=version, copy=copy))


def vehicle_named(db: Database, unit: str) -> str:
    """The vehicle's number as it is on record, where `unit` is that but for spaces, hyphens and capitals; else `unit`."""
    found = same_unit(db, unit)
    if found and found != unit:
        say(terminal_words.TAKEN_FOR.format(unit=unit, found=found))
    return found or unit


def as_of(options: argparse.Namespace) -> date:
    """The day of --as-of, else today."""
    chosen: date | None = options.as_of
    return chosen or today()


def today() -> date:
    return date.today()


def say_age(db: Database, day: date) -> None:
    """Tell how old the newest reading is, where that is old."""
    newest = store.newest_reading(db, before=day)
    if newest is not None and (day - newest).days > OLD_D:
        say(terminal_words.NOTHING_LATER.format(newest=newest, days=count_words((day - newest).days, "day"), day=day))
