"""The figures of a plan as they are shown: whole amounts that add up, the week that is looked at, what to order by then."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.plan.choices import VISITS
from analysis.plan.result import ReplacementPlan, rows_of
from analysis.plan.workshop_calendar import iso_week

CENT = 0.01
"""A sum that is off by more than this [money] is no sum of its parts."""


@dataclass(frozen=True)
class Figures:
    """One way of working in whole amounts [money]: visits + no_starts + after = total; starts: no-starts of the plan's
    weeks, to the tenth; saved: what it costs less than no visit."""

    policy: str
    visits: int
    no_starts: int
    after: int
    total: int
    saved: int
    starts: float
    count: int
    hours: float


def figures_of(plan: ReplacementPlan) -> tuple[Figures, ...]:
    """Every way of working, the plan first; none for a version from before they were taken apart."""
    rows = rows_of(plan.policies)
    apart = [r["cost"] - r["cost_visits"] - r["cost_no_starts"] - r["cost_after"] for r in rows]
    if "policies_weeks" not in plan.summary or any(abs(off) > CENT for off in apart):
        return ()
    never = next((round(r["cost"]) for r in rows if r["policy"] == "run_to_failure"), 0)
    out = []
    for r in rows:
        part = whole_amounts({name: r[f"cost_{name}"] for name in ("visits", "no_starts", "after")})
        total = sum(part.values())
        starts = round(r["no_starts"], 1) + 0.0
        out.append(
            Figures(
                r["policy"],
                **part,
                total=total,
                saved=never - total,
                starts=starts,
                count=r["visits"],
                hours=r["hours"],
            )
        )
    return tuple(out)


def whole_amounts(parts: Mapping[str, float]) -> dict[str, int]:
    """The parts of a sum in whole amounts that add up to the sum's own whole amount.

    Each stays within one of what it is: what rounding down leaves over goes to those that lose most by it.
    """
    down = {name: int(np.floor(value)) for name, value in parts.items()}
    over = round(sum(parts.values())) - sum(down.values())
    by_loss = sorted(parts, key=lambda name: down[name] - parts[name])
    return {name: down[name] + (name in by_loss[:over]) for name in parts}


def last_day(plan: ReplacementPlan) -> pd.Timestamp:
    """The last day of the plan's weeks."""
    return plan.hours["week_start"].max() + pd.Timedelta(days=6) if len(plan.hours) else plan.as_of


def week_shown(plan: ReplacementPlan, day: pd.Timestamp) -> str:
    """The ISO week that somebody who looks on `day` has before him: on a weekend the coming one, and the plan's first where
    it begins later."""
    looked_at = day + pd.Timedelta(days=7 - day.weekday()) if day.weekday() >= VISITS.working_days else day
    weeks = sorted(plan.hours["iso_week"].unique())
    return max(iso_week(looked_at), weeks[0]) if weeks else iso_week(looked_at)


def to_order(plan: ReplacementPlan, day: pd.Timestamp) -> pd.DataFrame:
    """Orders that must go out on `day` or should have before, and that no earlier version told of."""
    due: pd.DataFrame = plan.orders[(plan.orders["order_by"] <= day) & plan.orders["told_on"].isna()]
    return due.reset_index(drop=True)


def told_before(plan: ReplacementPlan) -> pd.DataFrame:
    """Orders that an earlier version told of: taken to be on their way."""
    return plan.orders[plan.orders["told_on"].notna()].reset_index(drop=True)
