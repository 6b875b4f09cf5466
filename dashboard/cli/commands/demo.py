"""The demo: an invented operator's files, imported through the front door."""

import argparse
import filecmp
import shutil
import tempfile
from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from pathlib import Path

from sqlite_utils import Database

from analysis.plan.workshop_calendar import iso_week
from analysis.worklist.assess import Assessment
from dashboard.cli.commands.database import open_or_make
from dashboard.cli.options import database_path
from dashboard.cli.tables import list_table
from dashboard.desk import terminal
from dashboard.desk.assessment import assess_database, list_rows, terms_of
from dashboard.desk.planning import make_plan
from dashboard.desk.weekly import issue, issue_for
from dashboard.files.plan_export import render
from dashboard.words import terminal_words
from demo_fleet.export import export_fleet
from demo_fleet.scenario import AS_OF, OPERATOR, PUT_OFF, STORIES, demo_operator
from ingest import store
from ingest.importer import import_paths
from ingest.records import read_settings, save_decision, save_setting

MARK = "demo_fleet"
BY = "demo"


class DemoRefused(ValueError):
    """The file holds something else."""


def run_demo(options: argparse.Namespace) -> None:
    """Make the demo fleet's files and database, and print its weekly list and plan."""
    path = database_path(options)
    open_or_make(path).conn.close()
    make_demo(path, Path(options.folder), say=terminal.say, show=terminal.show)


def make_demo(path: Path, files: Path, *, say: Callable[[str], None], show: Callable[[str], None]) -> None:
    """Make the demo database at `path` (nothing else may be in it) from files that it writes into the folder `files`.

    Prints the weekly list, the plan, what to try next.  Raises DemoRefused where something else stands, unharmed.
    """
    db = store.open_database(path)
    if not store.is_empty(db) and MARK not in read_settings(db):
        raise DemoRefused(
            f"{path} holds something other than the demo; name another file with --db, or none for demo.db"
        )
    day = AS_OF
    now = datetime.combine(day, time(6, 0))
    outcome = import_paths(db, write_files(files), now=now, by=BY)
    save_setting(db, MARK, {"as_of": day.isoformat()}, by=BY)
    say(terminal_words.DEMO_MADE.format(operator=OPERATOR, became=outcome.summary(), files=files))
    assessment = issued_lists(db, day, now)
    rows = list_rows(assessment, store.read_readings(db, before=day), terms_of(db, day), flagged_only=True)
    show(list_table(rows, assessment))
    show(str(render(make_plan(db, as_of=day, assessment=assessment, by=BY), "table")))
    name = next(iter(STORIES))
    show(terminal_words.demo_next(path, files, name, STORIES[name][0], AS_OF))


def write_files(folder: Path) -> list[Path]:
    """Write the operator's files as a user would have them; what is there already has to say the same."""
    with tempfile.TemporaryDirectory() as made:
        written = export_fleet(demo_operator(), Path(made), weekly_hours=True)
        places = [folder / file.name for file in written]
        for file, place in zip(written, places, strict=True):
            if place.exists() and not (place.is_file() and filecmp.cmp(file, place, shallow=False)):
                raise DemoRefused(
                    f"{place} is there already and is not the demo's; move it away, or name another folder with --files"
                )
        folder.mkdir(parents=True, exist_ok=True)
        for file, place in zip(written, places, strict=True):
            shutil.copyfile(file, place)
    return places


def issued_lists(db: Database, day: date, now: datetime) -> Assessment:
    """Issue the list of the week before, if there is none, and of this one; returns the assessment of `day`."""
    assessment = assess_database(db, as_of=day)
    week = timedelta(days=7)
    issue_for(db, day - week, by=BY, now=now - week)
    for unit, times in PUT_OFF.items():
        for on, until, why in times:
            at = datetime.combine(on, now.time())
            save_decision(
                db, unit=unit, iso_week=iso_week(on), kind="postponed", reason=why, until=until, by=BY, now=at
            )
    issue(db, assessment, by=BY, now=now)
    return assessment
