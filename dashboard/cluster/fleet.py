"""A fleet in an exported folder assessed by an engine: the same functions of `analysis`, a partition at a time.

What a vehicle tells of itself alone is worked out where its partition is; what classes teach is worked out by one worker from what
the partitions give it.  Looks at the past depend on nothing but a few hundred vehicles, and none on another.
"""

from datetime import date

import pandas as pd
from threadpoolctl import threadpool_limits

from analysis.forecast.learning import Grids, LearnedNeeds, Look, learn_needs, looks_of, need_grids, past_looked_at
from analysis.forecast.past import Past, sharing_laws
from analysis.readings.panel import FleetTables, in_service
from analysis.wear.state import FleetRead
from analysis.worklist.assess import FleetList, Known, concluded, known_on, read_known
from analysis.worklist.judge import DRAWS, Judged, Shared, in_parts, judge_all, together
from dashboard.cluster.engines import Engine
from dashboard.cluster.partitions import days_read_of, joined, last_days_of, readings_of, tables_of, weather_of
from dashboard.desk.assessment import check_not_empty
from dashboard.desk.quick import quick_for
from ingest.parquet_folder import ParquetFolder


def assess_folder(
    folder: ParquetFolder, engine: Engine, *, as_of: date, horizon_days: int, tolerated: float
) -> FleetList:
    """The list of a day of the fleet in a folder.

    Raises NothingToAssess for one without vehicles or readings, CouldNot for a damaged one or workers that end.
    """
    day, n = pd.Timestamp(as_of).normalize(), folder.vehicles
    weather = engine.later(weather_of, folder, as_of)
    tables = [engine.later(tables_of, folder, k, as_of) for k in range(folder.partitions)]
    known = engine.later(_known, as_of, weather, *tables)
    past = engine.later(_past, known)
    (days,) = engine.now([engine.later(_look_days, past)])
    made = [engine.later(_looks, n, past, own) for own in days]
    learned = engine.later(_learned, n, known, *made)
    read = engine.later(_read, n, known, learned, day, horizon_days)
    places = [engine.later(_size, one, day) for one in tables]
    judged, first = [], 0
    for size in engine.now(places):
        if size:
            judged.append(engine.later(_judged, n, engine.later(_part, read, first, first + size)))
        first += size
    (found,) = engine.now([engine.later(_concluded, known, read, day, horizon_days, tolerated, *judged)])
    listed: FleetList = found
    return listed


def readings_listed(folder: ParquetFolder, engine: Engine, names: list[str], *, as_of: date) -> pd.DataFrame:
    parts = [engine.later(readings_of, folder, k, names, as_of) for k in range(folder.partitions)]
    found: pd.DataFrame = pd.concat(engine.now(parts), ignore_index=True)
    return found


def days_read_listed(folder: ParquetFolder, engine: Engine, *, as_of: date) -> pd.Series:
    """`days_read` of the whole fleet."""
    found: pd.Series = pd.concat(
        engine.now([engine.later(days_read_of, folder, k, as_of) for k in range(folder.partitions)])
    )
    return found


def leaving_listed(folder: ParquetFolder, engine: Engine, names: list[str], *, as_of: date) -> dict[str, date]:
    parts = [engine.later(last_days_of, folder, k, names, as_of) for k in range(folder.partitions)]
    return {unit: last for part in engine.now(parts) for unit, last in part.items()}


def _size(tables: FleetTables, day: pd.Timestamp) -> int:
    """How many vehicles of a partition are in service."""
    return int(in_service(tables.units, day).sum())


def _known(as_of: date, weather: FleetTables, *parts: FleetTables) -> Known:
    tables = joined(weather, *parts) if parts else weather
    check_not_empty(tables, as_of)
    return known_on(tables, pd.Timestamp(as_of).normalize())


def _past(known: Known) -> tuple[Past, list[float], Grids]:
    return *past_looked_at(known.stated, known.vehicles, known.day), need_grids(known.vehicles)


def _look_days(past: tuple[Past, list[float], Grids]) -> list[list[float]]:
    """The days of the looks, those together that share class laws."""
    return sharing_laws(past[1])


def _looks(n: int, past: tuple[Past, list[float], Grids], days: list[float]) -> dict[str, Look]:
    with _as_alone(n):
        return looks_of(past[0], days, past[2])


def _learned(n: int, known: Known, *looks: dict[str, Look]) -> LearnedNeeds:
    with _as_alone(n):
        made = {key: look for one in looks for key, look in one.items()}
        return learn_needs(known.stated, known.vehicles, known.day, looks=made)


def _read(
    n: int, known: Known, learned: LearnedNeeds, day: pd.Timestamp, horizon_days: int
) -> tuple[FleetRead, Shared]:
    """The vehicles in service, in the order of the partitions, and what they are judged with."""
    with _as_alone(n):
        read, shared = read_known(known, lambda: learned, day, horizon_days, DRAWS)
        return read.in_service(), shared


def _part(read: tuple[FleetRead, Shared], first: int, end: int) -> tuple[FleetRead, Shared]:
    return in_parts(*read)(slice(first, end))


def _judged(n: int, part: tuple[FleetRead, Shared]) -> Judged:
    with _as_alone(n):
        return judge_all(*part)


def _concluded(
    known: Known, read: tuple[FleetRead, Shared], day: pd.Timestamp, horizon: int, tolerated: float, *parts: Judged
) -> FleetList:
    return concluded(known, read[0], together(parts), day, horizon, tolerated, read[1].learned.tally)


def _as_alone(vehicles: int) -> threadpool_limits:
    """The arithmetic of a single machine with the whole fleet, whatever a worker holds of it: compiled or not, linear algebra in one
    thread."""
    quick_for(vehicles)
    return threadpool_limits(limits=1, user_api="blas")
