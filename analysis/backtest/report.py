"""What past lists would have done on the user's own history: no-starts, flags, money, and how good the odds were.

Three ways of working are held against what happened: the list, the printed limits on the last reading, and
replacement at a fixed age.  A repair with the reason "no_start" is a no-start.  Nothing is known of no-starts that were
prevented: a repair of the part that a flag named counts for the flag.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from analysis.backtest import reliability
from analysis.backtest.choices import PAST_LISTS
from analysis.backtest.history import (
    counted_no_starts,
    foreseen,
    judged_flags,
    labelled,
    left_on,
    limit_lists,
    part_lives,
    watched_years,
)
from analysis.backtest.reliability import Calibration
from analysis.circuit.limit_book import LimitBook
from analysis.constants import DAYS_PER_YEAR
from analysis.costs import PlanSettings
from analysis.readings.panel import Floats, days_since_epoch

FIXED_AGES_Y = (2.0, 3.0, 4.0, 5.0, 6.0, 8.0)  # grid of ages tried for replacement at a fixed age
FIXED_PART = "battery"  # the part that fleets replace by age, common practice


@dataclass(frozen=True)
class ReportCosts:
    """What things cost [money]: prices and hours as in the plan's settings.

    A no-start costs the settings' roadside help (heavy: 491 USD, mean of early 2020, trucking council benchmark), tow
    and lost work, and the repair at `failure_hours_factor` times its hours; a foreseen one the planned repair of the
    part that failed, and of the part named where that was another; a flag for nothing the measuring visit and, in
    `renewed_for_nothing` of the cases, the part named.
    """

    settings: PlanSettings = field(default_factory=PlanSettings)
    renewed_for_nothing: float = PAST_LISTS.renewed_for_nothing

    def planned(self, part: str) -> float:
        """Planned repair of a part."""
        return self.settings.part_price[part] + self.settings.part_labour_h[part] * self.settings.hour_rate

    def unplanned(self, part: str) -> float:
        """Repair of a part after a no-start, without the no-start itself."""
        hours = self.settings.part_labour_h[part] * self.settings.failure_hours_factor
        return self.settings.part_price[part] + hours * self.settings.hour_rate

    @property
    def visit(self) -> float:
        """A visit that finds nothing."""
        return self.settings.access_cost + self.settings.measure_h * self.settings.hour_rate


@dataclass(frozen=True)
class OddsReport:
    """How good the probabilities were, over lists whose horizon has ended.

    rows, no_starts: (vehicle, list) pairs and those with a no-start; skill: Brier skill against the base rate;
    monthly_skill: against each calendar month's own rate; log: log score; recall_top5; parts: of the Brier score;
    bins, months: tables of `analysis.backtest.reliability`; forward_skill: skill after calibration on earlier lists only;
    calibration: learned from all of them, for lists to come.
    """

    rows: int
    no_starts: int
    skill: float
    monthly_skill: float
    log: float
    recall_top5: float
    parts: reliability.BrierParts
    bins: pd.DataFrame
    months: pd.DataFrame
    forward_skill: float
    calibration: Calibration


@dataclass(frozen=True)
class BacktestReport:
    """The whole report.

    first, last: dates of the first and last list; lists, vehicles: how many; known_to: last day of the history;
    ways: one row per way of working (as it was, list, limits, fixed age) with no_starts, foreseen, right_part,
    missed, median_lead_days, flags, for_nothing, undecided, for_nothing_per_100 (unit-years), replacements, cost,
    age_y (of a fixed age); no_starts: unit, date, part, named, foreseen, lead_days; flags: unit, part, first, last, outcome
    ("no-start", "repaired", "nothing", "too early to say"); odds: None when no list's horizon has ended; costs.
    """

    first: pd.Timestamp
    last: pd.Timestamp
    known_to: pd.Timestamp
    lists: int
    vehicles: int
    horizon_days: int
    ways: pd.DataFrame
    no_starts: pd.DataFrame
    flags: pd.DataFrame
    odds: OddsReport | None
    costs: ReportCosts


def backtest_report(
    lists: pd.DataFrame,
    units: pd.DataFrame,
    readings: pd.DataFrame,
    repairs: pd.DataFrame,
    *,
    horizon_days: int = 30,
    decisions: pd.DataFrame | None = None,
    costs: ReportCosts | None = None,
    book: LimitBook | None = None,
) -> BacktestReport:
    """Hold a series of past lists against what happened.

    :param lists: as_of (midnight), unit, part, flagged, no_start_probability: all vehicles of every list
    :param units, readings, repairs: as in DEVELOPERS.md, up to the end of the history
    :param decisions: unit, kind, at; kind "nothing_found" makes a flag of that time one for nothing
    :param book: the limits that the list is compared with; printed ones by default
    :raises ValueError: no list, a missing column, or a horizon outside 1 to 180
    """
    if not 1 <= horizon_days <= 180:
        raise ValueError(f"horizon_days is {horizon_days}; allowed are 1 to 180")
    needed = ["as_of", "unit", "part", "flagged", "no_start_probability"]
    if lists.empty or not set(needed) <= set(lists.columns):
        raise ValueError(
            f"lists has the columns {list(lists.columns)} and {len(lists)} rows; needed are {needed}, not empty"
        )
    costs = costs or ReportCosts()
    lists = lists[needed].sort_values(["unit", "as_of"], ignore_index=True)
    dates = pd.DatetimeIndex(np.sort(lists["as_of"].unique()))
    known_to = max(
        dates[-1], *(frame[c].max() for frame, c in ((readings, "taken_at"), (repairs, "done_on")) if len(frame))
    )
    events = counted_no_starts(repairs, dates)
    prices = {
        str(u): costs.settings.no_start_cost(str(k), float(v)).total
        for u, k, v in zip(units["unit"], units["vehicle_class"], units["system_v"], strict=True)
    }
    left = left_on(units)
    limits = limit_lists(readings, units, repairs, dates, book=book)
    flags, of_limits = (
        judged_flags(lists, repairs, known_to, left, decisions),
        judged_flags(limits, repairs, known_to, left),
    )
    mine = _way("this list", lists, events, flags, costs, prices)
    theirs = _way("printed limits on the last reading", limits, events, of_limits, costs, prices)
    cost = _failure_cost(events, costs, prices)
    was = _row("as it was", events, cost, foreseen=0, missed=len(events))
    fixed = _fixed_age(units, readings, repairs, events, dates, costs, prices)
    return BacktestReport(
        dates[0], dates[-1], known_to, len(dates), lists["unit"].nunique(), horizon_days,
        pd.DataFrame([was, mine, theirs, fixed]), foreseen(lists, events), flags,
        odds_report(lists, repairs, known_to, horizon_days=horizon_days, left=left), costs,
    )  # fmt: skip


def _failure_cost(events: pd.DataFrame, costs: ReportCosts, prices: Mapping[str, float]) -> float:
    usual = float(np.mean(list(prices.values()))) if prices else 0.0
    pairs = zip(events["unit"], events["part"], strict=True)
    return float(sum(prices.get(str(u), usual) + costs.unplanned(str(p)) for u, p in pairs))


def _row(way: str, events: pd.DataFrame, cost: float, **more: float) -> dict[str, object]:
    """One way of working; what does not apply to it is NaN."""
    empty = dict.fromkeys(
        ("foreseen", "right_part", "missed", "median_lead_days", "flags", "for_nothing", "undecided",
         "for_nothing_per_100", "replacements", "age_y"), float("nan"),
    )  # fmt: skip
    return {"way": way, "no_starts": len(events), **empty, **more, "cost": cost}


def _way(
    way: str,
    lists: pd.DataFrame,
    events: pd.DataFrame,
    flags: pd.DataFrame,
    costs: ReportCosts,
    prices: Mapping[str, float],
) -> dict[str, object]:
    """Figures of one series of lists with its judged flags."""
    seen = foreseen(lists, events)
    caught, missed = seen[seen["foreseen"]], seen[~seen["foreseen"]]
    wrong = caught[caught["named"] != caught["part"]]
    idle = flags[flags["outcome"] == "nothing"]
    early = flags[flags["outcome"] == "too early to say"]
    repair = sum(costs.planned(str(p)) for p in [*caught["part"], *wrong["named"]])
    visits = costs.visit * (len(idle) + len(early)) + costs.renewed_for_nothing * sum(
        costs.planned(str(p)) for p in idle["part"]
    )
    years = watched_years(lists)
    figures = {
        "foreseen": len(caught),
        "right_part": len(caught) - len(wrong),
        "missed": len(missed),
        "median_lead_days": float(caught["lead_days"].median()) if len(caught) else float("nan"),
        "flags": len(flags),
        "for_nothing": len(idle),
        "undecided": len(early),
        "for_nothing_per_100": 100.0 * len(idle) / years if years > 0 else float("nan"),
    }
    return _row(way, events, _failure_cost(missed, costs, prices) + repair + visits, **figures)


def _fixed_age(
    units: pd.DataFrame,
    readings: pd.DataFrame,
    repairs: pd.DataFrame,
    events: pd.DataFrame,
    dates: pd.DatetimeIndex,
    costs: ReportCosts,
    prices: Mapping[str, float],
) -> dict[str, object]:
    """Replacement of the battery at the fixed age that would have cost least: chosen in hindsight, so at its best."""
    window = (dates[0], dates[-1] + pd.Timedelta(days=PAST_LISTS.foreseen_d))
    lives = part_lives(units, readings, repairs, FIXED_PART, window)
    tried = [_one_age(age, lives, events, window, costs, prices) for age in FIXED_AGES_Y]
    age, prevented, replacements, cost = min(tried, key=lambda t: t[3])
    missed = len(events) - prevented
    return _row(
        "battery at a fixed age", events, cost, foreseen=prevented, right_part=prevented, missed=missed,
        replacements=replacements, age_y=age,
    )  # fmt: skip


def _one_age(
    age_years: float,
    lives: pd.DataFrame,
    events: pd.DataFrame,
    window: tuple[pd.Timestamp, pd.Timestamp],
    costs: ReportCosts,
    prices: Mapping[str, float],
) -> tuple[float, int, int, float]:
    """(age, no-starts prevented, replacements, cost): a life longer than the age would have been cut short by a new part."""
    age = age_years * DAYS_PER_YEAR

    born = days_since_epoch(lives["born"])
    open_day, close_day = days_since_epoch(pd.DatetimeIndex(window))

    def cuts(until: Floats) -> Floats:
        return np.asarray(np.maximum(np.ceil((until - born) / age) - 1.0, 0.0), dtype=np.float64)

    ends = np.minimum(days_since_epoch(lives["ended"]), close_day)
    replacements = int((cuts(ends) - cuts(np.maximum(born, open_day))).sum())
    mine = events[events["part"] == FIXED_PART].merge(lives, left_on=["unit", "date"], right_on=["unit", "ended"])
    prevented = mine[(mine["date"] - mine["born"]).dt.days > age]
    key = pd.MultiIndex.from_frame(events[["unit", "date"]])
    left = events[~key.isin(pd.MultiIndex.from_frame(prevented[["unit", "date"]]))]
    cost = _failure_cost(left, costs, prices) + replacements * costs.planned(FIXED_PART)
    return age_years, len(prevented), replacements, cost


def odds_report(
    lists: pd.DataFrame,
    repairs: pd.DataFrame,
    known_to: pd.Timestamp,
    *,
    horizon_days: int,
    left: pd.Series[pd.Timestamp],
) -> OddsReport | None:
    """How good the probabilities were; None when no list's horizon has ended yet; left: of `history.left_on`."""
    rows = labelled(lists, repairs, known_to, horizon_days=horizon_days, left=left)
    if rows.empty:
        return None
    p, y = rows["no_start_probability"].to_numpy(np.float64), rows["no_start"].to_numpy(np.float64)
    day, month = days_since_epoch(rows["as_of"]), rows["as_of"].dt.month.to_numpy(np.int64)
    unit, group = pd.factorize(rows["unit"])[0].astype(np.int64), pd.factorize(rows["as_of"])[0].astype(np.int64)
    forward = reliability.calibrated_forward(p, y, day, horizon_days=float(horizon_days))
    return OddsReport(
        rows=len(rows),
        no_starts=int(y.sum()),
        skill=reliability.skill(p, y),
        monthly_skill=reliability.skill(p, y, reliability.monthly_rate(y, month)),
        log=reliability.log_score(p, y),
        recall_top5=reliability.recall_top(p, y, group),
        parts=reliability.brier_parts(p, y, reliability.bin_numbers(p, reliability.UPPER_QUANTILES)),
        bins=reliability.reliability_table(p, y, unit),
        months=reliability.months_table(p, y, month),
        forward_skill=reliability.skill(forward, y),
        calibration=reliability.fit_calibration(p, y),
    )
