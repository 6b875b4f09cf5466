"""The weeks of a plan: ISO weeks from a date on, their working days, and the hours of each depot's workshop."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.plan.choices import VISITS
from analysis.readings.panel import Floats, Ints

MID_WEEK = 3
"""The plan's first week is the ISO week that holds most of the seven days from the start: that of the fourth day."""


@dataclass(frozen=True)
class PlanWeeks:
    """The ISO weeks of a plan made at the start of the day `as_of`.

    monday: (W,) first days; iso: (W,) names such as 2026-W05; first_day: (W,) first day that still counts,
    days after `as_of`; end_day: (W,) the Monday after, days after `as_of`.
    """

    as_of: pd.Timestamp
    monday: pd.DatetimeIndex
    iso: tuple[str, ...]
    first_day: Ints
    end_day: Ints

    def __len__(self) -> int:
        return len(self.iso)

    def index(self, iso_week: str) -> int:
        """Position of an ISO week, -1 for one that is not in the plan."""
        return self.iso.index(iso_week) if iso_week in self.iso else -1

    def position(self, days: Floats) -> Ints:
        """Week of each moment [days after as_of], -1 outside the plan."""
        week = np.searchsorted(self.end_day, days, side="right")
        inside = (days >= self.first_day[0]) & (days < self.end_day[-1])
        return np.where(inside, week, -1).astype(np.int64)


def iso_name(day: pd.Timestamp) -> str:
    """ISO 8601 name of the week of a day, such as 2026-W05."""
    year, week, _ = day.isocalendar()
    return f"{year}-W{week:02d}"


def plan_weeks(as_of: pd.Timestamp, weeks: int) -> PlanWeeks:
    """The `weeks` ISO weeks of a plan made at the start of `as_of`."""
    start = pd.Timestamp(as_of).normalize()
    middle = start + pd.Timedelta(days=MID_WEEK)
    first_monday = middle - pd.Timedelta(days=middle.weekday())
    monday = pd.date_range(first_monday, periods=weeks, freq="7D", unit="us")
    offset = np.asarray((monday - start).days, dtype=np.int64)
    return PlanWeeks(start, monday, tuple(iso_name(day) for day in monday), np.maximum(offset, 0), offset + 7)


def visit_day(weeks: PlanWeeks, ready_day: int) -> Ints:
    """First working day of each week (W,) not before `ready_day` [days after as_of]; -1 when the week has none."""
    offset = weeks.end_day - 7
    day = np.maximum(np.maximum(weeks.first_day, offset), ready_day)
    return np.where(day < offset + VISITS.working_days, day, -1).astype(np.int64)


def workshop_hours(
    workshops: pd.DataFrame, depots: list[str], weeks: PlanWeeks, *, closed_weeks: Collection[str] = ()
) -> Floats:
    """Hours (D, W) of each depot and week [h].

    workshops: depot, hours_per_week and, if hours differ by week, week_from (a Monday; a row without one is the usual).
    A week that has begun counts by its working days left; closed weeks and depots without a row have no hours.
    """
    hours = np.zeros((len(depots), len(weeks)))
    given = workshops.dropna(subset=["hours_per_week"])
    dated = "week_from" in given.columns
    usual = given[given["week_from"].isna()] if dated else given
    for row, depot in enumerate(depots):
        own = usual.loc[usual["depot"] == depot, "hours_per_week"]
        hours[row] = float(own.iloc[-1]) if len(own) else 0.0
        if dated:
            special = given[(given["depot"] == depot) & given["week_from"].notna()]
            for start, value in zip(special["week_from"], special["hours_per_week"], strict=True):
                at = weeks.index(iso_name(pd.Timestamp(start)))
                if at >= 0:
                    hours[row, at] = float(value)
    left = (
        np.clip(weeks.end_day - 7 + VISITS.working_days - weeks.first_day, 0, VISITS.working_days) / VISITS.working_days
    )
    shut = np.isin(np.array(weeks.iso), np.array(list(closed_weeks), dtype=str))
    return np.asarray(np.maximum(hours, 0.0) * left * ~shut, dtype=np.float64)
