"""The weeks of a plan: ISO weeks from a date on, the days on which workshops work, and the hours of each week."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from analysis.plan.choices import VISITS
from analysis.readings.panel import Bools, Floats, Ints

MID_WEEK = 3
"""The plan's first week is the ISO week that holds most of the seven days from the start: that of the fourth day."""

ROUNDED = 9
"""Decimals to which shares of a week are summed: five fifths are a whole."""


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


def iso_week(day: date) -> str:
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
    return PlanWeeks(start, monday, tuple(iso_week(day) for day in monday), np.maximum(offset, 0), offset + 7)


@dataclass(frozen=True)
class Opening:
    """When workshops work in a plan's days, a row for each depot and a last one for vehicles without a depot.

    share: (D+1, N) share of a usual week's hours that falls on a day, 0 where nobody works; next_open: (D+1, N+1) the day
    itself or the next one on which somebody works, N for none; closed: (D+1, N) days that somebody closed, not those without
    hours in a usual week. N days, counted from the plan's date.
    """

    share: Floats
    next_open: Ints
    closed: Bools

    def visit_days(self, weeks: PlanWeeks, depot: Ints, ready_day: Ints) -> Ints:
        """First working day (U, W) of each week not before `ready_day` (U,) [days after as_of], at the depots (U,); -1
        where the week has none."""
        start = np.maximum(np.maximum(weeks.first_day, weeks.end_day - 7)[None, :], ready_day[:, None])
        day = self.next_open[depot[:, None], np.minimum(start, self.share.shape[1])]
        return np.where(day < weeks.end_day, day, -1).astype(np.int64)

    def visit_day(self, weeks: PlanWeeks, depot: int, ready_day: int) -> Ints:
        """The same (W,) at one depot, -1 for vehicles without one."""
        return np.asarray(self.visit_days(weeks, np.array([depot]), np.array([ready_day]))[0], dtype=np.int64)


def opening(
    depots: list[str], weeks: PlanWeeks, *, days: pd.DataFrame | None = None, closures: pd.DataFrame | None = None
) -> Opening:
    """When the workshops of `depots` work.

    days: depot, weekday (1 is Monday) and share of the week's hours, of depots whose days are known; all others work
    `VISITS.working_days` alike days from Monday on. closures: depot ("" for all), from_on, to_on, both closed.
    """
    usual = np.where(np.arange(7) < VISITS.working_days, 1.0 / VISITS.working_days, 0.0)
    by_weekday = np.repeat(usual[None], len(depots) + 1, axis=0)
    row_of = {name: row for row, name in enumerate(depots)}
    for depot, own in days.groupby("depot") if days is not None else ():
        if str(depot) in row_of:
            by_weekday[row_of[str(depot)]] = 0.0
            by_weekday[row_of[str(depot)], own["weekday"].to_numpy(np.int64) - 1] = own["share"]
    count = int(weeks.end_day[-1])
    closed = np.zeros((len(depots) + 1, count), np.bool_)
    for row in [] if closures is None else closures.to_dict("records"):
        first, last = ((row[name] - weeks.as_of).days for name in ("from_on", "to_on"))
        here = slice(None) if row["depot"] == "" else row_of.get(row["depot"], slice(0))
        closed[here, max(first, 0) : max(last + 1, 0)] = True
    share = np.where(closed, 0.0, by_weekday[:, (np.arange(count) + weeks.as_of.weekday()) % 7])
    day = np.where(share > 0, np.arange(count), count)
    day = np.concatenate([day, np.full((len(day), 1), count)], axis=1)
    return Opening(share, np.minimum.accumulate(day[:, ::-1], axis=1)[:, ::-1].astype(np.int64), closed)


def workshop_hours(
    workshops: pd.DataFrame,
    depots: list[str],
    weeks: PlanWeeks,
    *,
    closed_weeks: Collection[str] = (),
    opened: Opening | None = None,
) -> Floats:
    """Hours (D, W) of each depot and week [h].

    workshops: depot, hours_per_week and, if hours differ by week, week_from (a Monday; a row without one is the usual).
    A week counts by the days on which somebody works that are left of it and not closed; closed weeks and depots without a
    row have no hours.
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
                at = weeks.index(iso_week(pd.Timestamp(start)))
                if at >= 0:
                    hours[row, at] = float(value)
    share = (opened or opening(depots, weeks)).share[: len(depots)]
    ends = np.concatenate([np.zeros((len(depots), 1)), np.cumsum(share, axis=1)], axis=1)
    first = np.maximum(weeks.first_day, np.maximum(weeks.end_day - 7, 0))
    open_days = ends[:, weeks.end_day] - ends[:, first]
    left = np.clip(np.round(open_days, ROUNDED), 0.0, 1.0)
    shut = np.isin(np.array(weeks.iso), np.array(list(closed_weeks), dtype=str))
    return np.asarray(np.maximum(hours, 0.0) * left * ~shut, dtype=np.float64)
