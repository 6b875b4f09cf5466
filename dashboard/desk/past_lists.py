"""Past lists held against what happened, with the fleet's own costs, limits and decisions."""

import pandas as pd
from sqlite_utils import Database

from analysis.backtest.report import BacktestReport, ReportCosts, backtest_report
from dashboard.desk.assessment import own_costs
from dashboard.desk.own_limits import limit_book
from ingest import store
from ingest.records import read_decisions

REPORTED = ("unit", "part", "flagged", "no_start_probability")
"""What is taken of each row of a list, beside its day `as_of`."""


def past_report(db: Database, lists: pd.DataFrame, *, horizon_days: int) -> BacktestReport:
    """What lists (`as_of` and REPORTED, all vehicles of each) would have done, in no-starts, flags and money."""
    return backtest_report(
        lists.astype({"as_of": "datetime64[us]"}), store.read_units(db), store.read_readings(db), store.read_repairs(db),
        horizon_days=horizon_days, decisions=read_decisions(db), costs=ReportCosts(own_costs(db)), book=limit_book(db),
    )  # fmt: skip
