"""The list as it would have been issued on past days, each with that day's knowledge only."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, MutableMapping
from dataclasses import replace

import pandas as pd

from analysis.forecast.learning import Look
from analysis.readings.panel import FleetTables
from analysis.worklist.assess import Assessment, assess


def backtest_lists(
    tables: FleetTables,
    dates: Iterable[pd.Timestamp],
    *,
    horizon_days: int = 30,
    tolerated_false_flags: float = 5.0,
    looks: MutableMapping[str, Look] | None = None,
) -> Iterator[tuple[pd.Timestamp, Assessment]]:
    """Assessments on each of `dates`, in order; the same as `assess` on tables without anything dated later.

    Forecasts are left out, because nobody knows when they were issued; so is the table of what was learned of classes.
    Looks at the past are shared between dates, and with whoever made `looks`: each depends on what was known on its own day
    only.
    """
    looks = {} if looks is None else looks
    tables = replace(tables, forecast=tables.forecast.iloc[:0])
    for day in sorted(pd.Timestamp(d) for d in dates):
        yield (
            day,
            assess(
                tables,
                as_of=day,
                horizon_days=horizon_days,
                tolerated_false_flags=tolerated_false_flags,
                looks=looks,
                with_classes=False,
            ),
        )
