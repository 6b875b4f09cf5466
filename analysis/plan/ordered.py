"""Parts that an earlier version told to order before the plan's day: they are on their way, and not ordered twice."""

from collections.abc import Collection, Mapping
from typing import Any, Final, NamedTuple

import pandas as pd

from analysis.plan.result import ReplacementPlan, rows_of

SPARE: Final = "spare_parts"
"""Where a plan's summary keeps what was told before and no visit of it uses."""


class Ordered(NamedTuple):
    """told_on: by when it was to be ordered; ready: when it is there [d after the plan's date], 0 where it should be; lead_days: of it."""

    told_on: pd.Timestamp
    ready: float
    lead_days: float


def ordered_before(
    previous: ReplacementPlan | None, repairs: pd.DataFrame, as_of: pd.Timestamp
) -> Mapping[tuple[str, str], Ordered]:
    """(unit, part) -> what the last version told to order before `as_of`, itself or as one before it had told.

    Nobody reports an order: that it went out as told is assumed. A part that was replaced since has been used.
    """
    if previous is None:
        return {}
    used = repairs[(repairs["action"] == "replaced") & (repairs["done_on"] < as_of)]
    last: dict[tuple[str, str], pd.Timestamp] = {}
    for row in rows_of(used.sort_values("done_on")):
        last[str(row["unit"]), str(row["part"])] = row["done_on"]
    told = [
        (str(unit), str(row["part"]), row["told_on"] if pd.notna(row["told_on"]) else row["order_by"], row["lead_days"])
        for row in rows_of(previous.orders)
        for unit in row["units"]
    ]
    spare = [
        (r["unit"], r["part"], pd.Timestamp(r["told_on"]), r["lead_days"]) for r in previous.summary.get(SPARE, ())
    ]
    out = {}
    for unit, part, on, lead in (*spare, *told):
        if on < as_of and not last.get((unit, part), pd.Timestamp.min) >= on:
            out[unit, part] = Ordered(on, max((on - as_of) / pd.Timedelta(days=1) + float(lead), 0.0), float(lead))
    return out


def spare_ones(
    ordered: Mapping[tuple[str, str], Ordered], orders: pd.DataFrame, units: Collection[str]
) -> list[dict[str, Any]]:
    """Those that no visit of the plan uses, of vehicles that are in service: kept with the plan, so that they are not told again."""
    used = {(unit, part) for part, names in zip(orders["part"], orders["units"], strict=True) for unit in names}
    return [
        {"unit": unit, "part": part, "told_on": one.told_on.date().isoformat(), "lead_days": one.lead_days}
        for (unit, part), one in sorted(ordered.items())
        if (unit, part) not in used and unit in units
    ]
