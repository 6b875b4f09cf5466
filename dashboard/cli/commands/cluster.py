"""The weekly list of a fleet past one machine."""

import argparse
from contextlib import nullcontext
from pathlib import Path

from dashboard.cli.commands.database import as_of
from dashboard.cli.commands.lists import show_list
from dashboard.cluster.engines import Here, on_dask
from dashboard.cluster.fleet import assess_folder, days_read_listed, leaving_listed, readings_listed
from dashboard.cluster.partitions import beside
from dashboard.desk.assessment import Terms, known_climate, list_rows, own_costs
from dashboard.desk.kept_assessment import tolerated_false_flags
from dashboard.desk.own_limits import limit_book
from dashboard.desk.weekly import assumed, notes_of
from ingest.parquet_folder import opened_folder


def run_assess(options: argparse.Namespace) -> None:
    """Print the weekly list of an exported folder, worked out by this machine or by workers."""
    folder, day = opened_folder(Path(options.folder).absolute()), as_of(options)
    db = beside(folder)
    with nullcontext(Here()) if options.engine == "here" else on_dask(options.scheduler) as engine:
        found = assess_folder(
            folder, engine, as_of=day, horizon_days=options.horizon_days, tolerated=tolerated_false_flags(db)
        )
        listed = (found.units if options.all else found.units[found.units["flagged"]])["unit"].tolist()
        readings = readings_listed(folder, engine, listed, as_of=day)
        read_on = days_read_listed(folder, engine, as_of=day)
        terms = Terms(limit_book(db), own_costs(db), leaving_listed(folder, engine, listed, as_of=day))
    rows = list_rows(found, readings, terms, flagged_only=not options.all)
    show_list(options, day, rows, found, assumed(known_climate(db, before=day), found), notes_of(found, read_on))
