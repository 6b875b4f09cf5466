"""What the office knows besides readings: workshop hours with holidays, parts. All invented."""

import datetime as dt

import numpy as np
import pandas as pd

PLAN_WEEKS = 26
"""Services and workshop hours are known this far ahead."""
HOURS_PER_UNIT = 0.16
"""Workshop hours per vehicle and week that are free for starting systems (our choice)."""
LEAST_HOURS = 6.0
PARTS_LIST = (
    ("battery", 210.0, 0.8, 2), ("positive_cable", 65.0, 1.2, 5), ("ground_path", 35.0, 1.0, 4),
    ("solenoid_contacts", 85.0, 1.8, 6), ("starter_motor", 420.0, 2.5, 7), ("control_circuit", 45.0, 1.5, 3),
    ("engine_drag", 160.0, 4.0, 4),
)  # fmt: skip
"""part, price, labour [h], lead time [d]: invented round figures."""


def is_holiday_week(monday: dt.date) -> bool:
    """Weeks in which the workshop is shut: the one holding 25 December and the one holding 1 January."""
    days = [monday + dt.timedelta(days=n) for n in range(7)]
    return any((d.month, d.day) in ((12, 25), (1, 1)) for d in days)


def workshops_table(sizes: dict[str, int]) -> pd.DataFrame:
    """Usual hours: depot, hours_per_week."""
    hours = [max(LEAST_HOURS, 2 * round(HOURS_PER_UNIT * n / 2)) for n in sizes.values()]
    return pd.DataFrame({"depot": pd.Series(list(sizes), dtype="str"), "hours_per_week": np.array(hours, np.float64)})


def workshop_weeks_table(sizes: dict[str, int], today: dt.date) -> pd.DataFrame:
    """Hours week by week for the coming half year: depot, week_from (a Monday), hours_per_week; holidays are zero."""
    usual = workshops_table(sizes).set_index("depot")["hours_per_week"]
    monday = today - dt.timedelta(days=today.weekday())
    weeks = [monday + dt.timedelta(weeks=n) for n in range(PLAN_WEEKS)]
    rows = [(d, w, 0.0 if is_holiday_week(w) else float(usual[d])) for d in sizes for w in weeks]
    table = pd.DataFrame(rows, columns=["depot", "week_from", "hours_per_week"])
    table["week_from"] = pd.to_datetime(table["week_from"]).astype("datetime64[us]")
    return table


def parts_table() -> pd.DataFrame:
    """The contract's parts table."""
    table = pd.DataFrame(list(PARTS_LIST), columns=["part", "price", "labour_h", "lead_days"])
    table["lead_days"] = table["lead_days"].astype(np.float64)
    return table
