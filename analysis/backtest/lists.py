"""The list as it would have been issued on past days, each with that day's knowledge only."""

from collections.abc import Iterable, Iterator, MutableMapping
from dataclasses import replace

import pandas as pd
from threadpoolctl import threadpool_limits

from analysis.forecast.learning import Look, looks_of, need_grids, past_looked_at
from analysis.forecast.past import look_days, sharing_laws
from analysis.readings.outcomes import no_starts_on_record
from analysis.readings.panel import FleetTables, days_since_epoch
from analysis.worklist.assess import Assessment, assess, known_on


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
    tables = _without_forecast(tables)
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


def looks_before(tables: FleetTables, dates: list[pd.Timestamp]) -> list[tuple[pd.Timestamp, list[float]]]:
    """The looks at the past that lists of `dates` learn from, each once: days of looks that share class laws [d since 1970], with
    the latest of the dates that learns from them; newest first, and none depends on another.
    """
    met: set[float] = set()
    found = []
    newest_first = pd.DatetimeIndex(dates).normalize().sort_values(ascending=False)
    for day, number in zip(newest_first, days_since_epoch(newest_first), strict=True):
        new = [d for d in look_days(tables, number) if d not in met]
        met.update(new)
        found += [(day, own) for own in sharing_laws(new)[::-1]]
    return found


def make_looks(tables: FleetTables, date: pd.Timestamp, days: list[float], looks: MutableMapping[str, Look]) -> None:
    """Add to `looks` those of `days` that the list of `date` learns from and that are not there yet."""
    known = known_on(_without_forecast(tables), date)
    if no_starts_on_record(known.stated.repairs, known.stated.readings).empty:  # nothing is learned from them
        return
    past, learned_from = past_looked_at(known.stated, known.vehicles, known.day)
    grids = need_grids(known.vehicles)
    missing = [d for d in days if d in learned_from and past.key(d, grids) not in looks]
    with threadpool_limits(limits=1, user_api="blas"):
        looks.update(looks_of(past, missing, grids))


def _without_forecast(tables: FleetTables) -> FleetTables:
    return replace(tables, forecast=tables.forecast.iloc[:0])
