"""The replacement plan, and its visits as work orders."""

from __future__ import annotations

import argparse
from pathlib import Path

from dashboard.cli.commands.database import as_of, open_existing, say_age
from dashboard.cli.commands.files import write_new
from dashboard.cli.options import WHO
from dashboard.desk.addresses import ADDRESS_KEY
from dashboard.desk.assessment import check_assessable
from dashboard.desk.habits import of_fleet
from dashboard.desk.plan_moves import keep_pin, let_go
from dashboard.desk.planning import load_plan, make_plan
from dashboard.desk.refusals import PlanRefused
from dashboard.desk.terminal import DONE, say, show, show_bytes, show_json
from dashboard.desk.work_orders import chosen_visits
from dashboard.files.plan_export import render
from dashboard.files.work_order import printed_orders
from dashboard.words.visit_words import NO_CODE
from ingest.records import read_settings
from ingest.writing import writing


def run_plan(options: argparse.Namespace) -> int:
    """Print the replacement plan."""
    db, day = open_existing(options), as_of(options)
    check_assessable(db, day)
    with writing(db):
        for kind, pins in (("pin", options.pin), ("forbid", options.forbid)):
            for unit, week in pins:
                keep_pin(db, unit=unit, week=week.strip(), kind=kind, by=WHO)
        for unit in options.let_go:
            say(f"{unit}: {let_go(db, unit, by=WHO)} pins taken away")
    body = render(make_plan(db, as_of=day, weeks=options.weeks, by=WHO), options.format)
    if isinstance(body, bytes):
        show_bytes(body)
    else:
        (show_json if options.format == "json" else show)(body)
    say_age(db, day)
    return DONE


def run_work_orders(options: argparse.Namespace) -> int:
    """Write the sheets of the visits asked for to a new PDF file."""
    db = open_existing(options)
    plan = load_plan(db)
    if plan is None:
        raise PlanRefused("No plan is on record yet: make one first (cranktrend plan, or cranktrend issue).")
    week = options.week or ("" if options.unit or plan.visits.empty else str(plan.visits["iso_week"].min()))
    visits = chosen_visits(plan, unit=options.unit, week=week, depot=options.depot)
    if not visits:
        raise PlanRefused(
            f"Version {plan.version} of the plan has no visit to come with these words; `cranktrend plan` shows those there are."
        )
    own = read_settings(db)
    base, in_f = str(own.get(ADDRESS_KEY, "")), of_fleet(own).fahrenheit
    pdf = printed_orders(db, plan, visits, base=base, fahrenheit=in_f)
    show(f"written to {write_new(Path(options.file), pdf)}; work orders: {len(visits)}")
    if not base:
        say(NO_CODE)
    return DONE
