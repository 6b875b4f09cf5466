"""Tables in, one assessment out: the only module that composes the others (advisory generation, ISO 13374)."""

from __future__ import annotations

from collections.abc import Callable, MutableMapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields, replace

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from analysis.arrays import give_back
from analysis.forecast.learning import LearnedNeeds, Look, learn_needs
from analysis.forecast.lows import known_at
from analysis.forecast.season import season_of
from analysis.forecast.tally import Tally
from analysis.readings.meter_notes import MeterNote
from analysis.readings.mornings import by_mornings
from analysis.readings.panel import Elsewhere, FleetTables, Panel, among, in_service, lean, make_panel
from analysis.readings.taught import TaughtClass
from analysis.readings.thinning import READINGS_KEPT
from analysis.wear.state import FleetRead, day_number, read_fleet
from analysis.worklist.choices import FLAGS
from analysis.worklist.class_table import COLUMNS, class_table
from analysis.worklist.judge import DRAWS, Judged, Shared, judge_all, told_of
from analysis.worklist.risk import due, flag_levels, listed, watched, wear_of
from analysis.worklist.teaching import Begun, begin_from, taught_by

LAST = ("readings_on_record", "sound_probability", "looked_on", "looked_part")  # columns, after those of the list


@dataclass(frozen=True)
class FleetList:
    """What the list of a day says; see DEVELOPERS.md for the columns.

    units: one row per vehicle; parts: per vehicle and part; outlook: per vehicle and coming week; beyond: the same at
    the ends of later quarters; resets: renewals that nobody recorded; drift: per watched vehicle and channel;
    fleet_notes: wrong meters and thermometers; begun: what the fleet began from; tally: what its looks at the past
    expected, and what came.
    """

    as_of: pd.Timestamp
    horizon_days: int
    units: pd.DataFrame
    parts: pd.DataFrame
    outlook: pd.DataFrame
    beyond: pd.DataFrame
    resets: pd.DataFrame
    drift: pd.DataFrame
    fleet_notes: tuple[MeterNote, ...]
    begun: Begun
    tally: Tally


@dataclass(frozen=True)
class Assessment(FleetList):
    """Everything that the list, the vehicle's page and the plan show.

    classes: what was learned; state, shared: what any vehicle can be drawn from again; teaches: what another fleet may begin
    from.
    """

    classes: pd.DataFrame
    state: FleetRead
    shared: Shared
    teaches: tuple[TaughtClass, ...]


@dataclass(frozen=True)
class Known:
    """What the start of a day knows of a fleet.

    tables: without what came later, starts of loggers thinned; stated: the same with the climate as it is stated, because a look
    at the past knows the lows of its own day; vehicles: classes and fuels, without readings; on_record: readings of each
    vehicle before thinning; begun: what the fleet begins from.
    """

    day: float
    tables: FleetTables
    stated: FleetTables
    vehicles: Panel
    on_record: pd.Series[int]
    begun: Begun


def assess(
    tables: FleetTables,
    *,
    as_of: pd.Timestamp,
    horizon_days: int = 30,
    tolerated_false_flags: float = 5.0,
    draws: int = DRAWS,
    looks: MutableMapping[str, Look] | None = None,
    with_classes: bool = True,
    elsewhere: Elsewhere | None = None,
) -> Assessment:
    """Assess every vehicle with what was known at the start of `as_of`; the horizon is as_of to as_of + days - 1.

    Chunks of vehicles go to threads of their own, so that linear algebra gets one thread: its matrices are small.

    looks: looks at the past made by earlier calls on the same tables; more are added.  with_classes: whether to tabulate
    what was learned of the classes, which no list needs; the table is empty otherwise.  elsewhere: does some of the work
    in another process, whose linear algebra has one thread too.  Raises ValueError for a
    horizon outside 1 to 180 days, for no vehicle, and for a tolerated rate outside 0.5 to 50.
    """
    if horizon_days != int(horizon_days) or not 1 <= horizon_days <= 180:
        raise ValueError(f"horizon_days is {horizon_days}; allowed are whole numbers from 1 to 180")
    flag_levels(tolerated_false_flags)  # which refuses a rate before anything is worked out
    as_of = pd.Timestamp(as_of).normalize()
    if not in_service(tables.units, as_of).any():
        raise ValueError("there is no unit to assess")
    with threadpool_limits(limits=1, user_api="blas"):
        return _assess(tables, as_of, horizon_days, tolerated_false_flags, draws, looks, with_classes, elsewhere)


def _assess(
    tables: FleetTables,
    as_of: pd.Timestamp,
    horizon_days: int,
    tolerated: float,
    draws: int,
    looks: MutableMapping[str, Look] | None,
    with_classes: bool,
    elsewhere: Elsewhere | None,
) -> Assessment:
    known = known_on(tables, as_of)
    # looks see some hundred vehicles, as they were: they wait for nothing of today
    with ThreadPoolExecutor(1) as beside:
        learning = beside.submit(learn_needs, known.stated, known.vehicles, known.day, looks=looks, elsewhere=elsewhere)
        read, shared = read_known(known, learning.result, as_of, horizon_days, draws)
    give_back(read.panel.row.size)
    learned, here = shared.learned, read.in_service()
    judged = judge_all(here, shared, elsewhere)
    give_back(read.panel.row.size)
    found = concluded(known, here, judged, as_of, horizon_days, tolerated, learned.tally)
    return Assessment(
        **{one.name: getattr(found, one.name) for one in fields(FleetList)},
        classes=class_table(read, learned, known.tables) if with_classes else pd.DataFrame(columns=COLUMNS),
        state=replace(here, channels=tuple(replace(own, made=None) for own in here.channels)),
        shared=replace(shared, season=replace(shared.season, weeks=(), quarters=())),
        teaches=taught_by(read, learned) if with_classes else (),
    )


def known_on(tables: FleetTables, as_of: pd.Timestamp) -> Known:
    """What is known at the start of `as_of`."""
    known = known_at(tables, as_of)
    on_record = known.readings.groupby("unit").size()
    if (on_record > READINGS_KEPT).any():  # a logger reads some of them
        known = lean(by_mornings(known))
    known, begun = begin_from(known)
    vehicles = make_panel(known.units, known.readings.iloc[:0], known.taught)
    return Known(day_number(as_of), known, replace(known, climate=tables.climate), vehicles, on_record, begun)


def read_known(
    known: Known, learned: Callable[[], LearnedNeeds], as_of: pd.Timestamp, horizon_days: int, draws: int
) -> tuple[FleetRead, Shared]:
    """The vehicles read, and what they are judged with; learned: asked for as late as can be."""
    forecast = current_forecast(known.tables.forecast, as_of)
    window = {"horizon_d": horizon_days, "window_d": FLAGS.window_d}
    season = season_of(
        known.tables.units, known.tables.climate, int(known.day), **window, forecast=forecast, came=known.tables.lows
    )
    read = read_fleet(known.tables, known.day, needs=lambda: learned().needs, bays=True)
    return read, Shared(learned(), season, told_of(known.tables), horizon_days, draws)


def concluded(
    known: Known,
    read: FleetRead,
    judged: Judged,
    as_of: pd.Timestamp,
    horizon_days: int,
    tolerated: float,
    tally: Tally,
) -> FleetList:
    """The list of all vehicles that were judged; read: of them; tally: of what was learned."""
    levels = flag_levels(tolerated)
    count = known.on_record.reindex(judged.units["unit"], fill_value=0).to_numpy(np.int64)
    units = judged.units.assign(readings_on_record=count)
    units = units[[*(name for name in units if name not in LAST), *LAST]]
    drift = watched(read, due(wear_of(units), levels), tolerated)
    return FleetList(
        as_of,
        horizon_days,
        listed(units, levels, drift),
        judged.parts,
        judged.weeks,
        judged.beyond,
        reset_table(read),
        drift,
        read.bay_notes,
        known.begun,
        tally,
    )


def current_forecast(forecast: pd.DataFrame, as_of: pd.Timestamp) -> pd.DataFrame | None:
    """The forecast, if it was there on `as_of`: one that begins later was issued later, and would be hindsight."""
    if forecast.empty or forecast["date"].min() > as_of + pd.Timedelta(days=1):
        return None
    return forecast[forecast["date"] >= as_of]


def reset_table(state: FleetRead) -> pd.DataFrame:
    """Renewals that nobody recorded, newest first; before and after as multiples of class-usual."""
    found = state.resets.found[among(state.resets.found["unit"], state.names)]
    columns = ["unit", "part", "around_on", "before", "after"]
    return (
        found.drop_duplicates(["unit", "part", "around_on"])[columns]
        .sort_values(["around_on", "unit"], ascending=[False, True])
        .reset_index(drop=True)
    )
