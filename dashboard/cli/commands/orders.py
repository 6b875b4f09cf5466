"""The visits of the plan on record as work orders."""

import argparse
from datetime import date
from pathlib import Path

from dashboard.cli.commands.database import open_existing
from dashboard.cli.commands.files import write_new
from dashboard.desk.addresses import ADDRESS_KEY
from dashboard.desk.habits import of_fleet
from dashboard.desk.planning import load_plan, outdated_visits
from dashboard.desk.refusals import PlanRefused
from dashboard.desk.terminal import say, show
from dashboard.desk.work_orders import chosen_visits
from dashboard.files.work_order import printed_orders
from dashboard.words import terminal_words
from dashboard.words.plan_words import outdated_words
from dashboard.words.visit_words import NO_CODE
from ingest.records import read_settings


def run_work_orders(options: argparse.Namespace) -> None:
    db = open_existing(options)
    plan = load_plan(db)
    if plan is None:
        raise PlanRefused(terminal_words.NO_PLAN)
    week = options.week or ("" if options.unit or plan.visits.empty else str(plan.visits["iso_week"].min()))
    asked = {"unit": options.unit, "week": week, "depot": options.depot}
    meant = {visit["uid"] for visit in chosen_visits(plan, **asked)}
    since = [one for one in outdated_visits(db, plan, date.today()) if one.uid in meant]
    visits, told = chosen_visits(plan, **asked, since=since), outdated_words(since)
    if not visits:
        raise PlanRefused(" ".join(told) or terminal_words.NO_VISIT.format(version=plan.version))
    for sentence in told:
        say(sentence)
    own = read_settings(db)
    base, in_f = str(own.get(ADDRESS_KEY, "")), of_fleet(own).fahrenheit
    pdf = printed_orders(db, plan, visits, base=base, fahrenheit=in_f, since=since)
    show(terminal_words.ORDERS_WRITTEN.format(file=write_new(Path(options.file), pdf), count=len(visits)))
    if not base:
        say(NO_CODE)
