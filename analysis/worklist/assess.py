"""Tables in, one assessment out: the only module that composes the others (advisory generation, ISO 13374)."""

from __future__ import annotations

from collections.abc import MutableMapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from analysis.forecast.choices import LEARNING
from analysis.forecast.learning import LearnedNeeds, Look, calibrated, learn_needs
from analysis.forecast.lows import Weather, known_at, make_weather, typical_cold
from analysis.forecast.outlook import (
    WEEKS,
    Outlook,
    chosen,
    halves,
    later_probability,
    look_ahead,
    outlook_renewed,
    sound_coldest,
    weekly_probability,
    weekly_weather,
    weighted_mean,
    weighted_quantile,
    window_probability,
)
from analysis.readings.panel import FleetTables, Floats, Ints, Reals, dates_of, lean, make_panel
from analysis.readings.renewals import PARTS
from analysis.readings.taught import TaughtClass
from analysis.wear.state import FleetState, day_number, estimate_state
from analysis.worklist.choices import FLAGS, JUDGING, NAMING
from analysis.worklist.class_table import COLUMNS, class_table
from analysis.worklist.inspections import inspected
from analysis.worklist.part import part_table, wear_progress
from analysis.worklist.risk import Wear, due, either, flag_levels, unit_table, watched, with_other_causes
from analysis.worklist.teaching import Begun, begin_from, taught_by

DRAWS = 128
SEASON_D = 182
LATER_D, LATER_WINDOWS = 91, 6
"""Beyond the weeks of the outlook, so many windows of so many days: two years in all, since a worn part that lives through
one winter meets the next one worse. Within a draw the coldest start goes on rising as it rose before."""
LATER_SEED = 200


@dataclass(frozen=True)
class Assessment:
    """Everything that the list, the unit page and the plan show; see DEVELOPERS.md for the columns.

    units: one row per vehicle; parts: per vehicle and part; outlook: per vehicle and coming week; beyond: the same at
    the ends of later quarters; resets: renewals that nobody recorded; drift: per watched vehicle and channel; classes:
    what was learned; fleet_notes: sentences about bays, meters and whole classes; teaches: what another fleet may begin
    from; begun: what this one began from.
    """

    as_of: pd.Timestamp
    horizon_days: int
    units: pd.DataFrame
    parts: pd.DataFrame
    outlook: pd.DataFrame
    beyond: pd.DataFrame
    resets: pd.DataFrame
    drift: pd.DataFrame
    classes: pd.DataFrame
    fleet_notes: tuple[str, ...]
    state: FleetState
    prognosis: Outlook
    teaches: tuple[TaughtClass, ...]
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
) -> Assessment:
    """Assess every vehicle with what was known at the start of `as_of`; the horizon is as_of to as_of + days - 1.

    Chunks of vehicles go to threads of their own, so that linear algebra gets one thread: its matrices are small.

    looks: looks at the past made by earlier calls on the same tables; more are added.  with_classes: whether to tabulate
    what was learned of the classes, which no list needs; the table is empty otherwise.  Raises ValueError for a
    horizon outside 1 to 180 days, for no vehicle, and for a tolerated rate outside 0.5 to 50.
    """
    if horizon_days != int(horizon_days) or not 1 <= horizon_days <= 180:
        raise ValueError(f"horizon_days is {horizon_days}; allowed are whole numbers from 1 to 180")
    if tables.units.empty:
        raise ValueError("there is no unit to assess")
    as_of = pd.Timestamp(as_of).normalize()
    with threadpool_limits(limits=1, user_api="blas"):
        return _assess(tables, as_of, horizon_days, tolerated_false_flags, draws, looks, with_classes)


def _assess(
    tables: FleetTables,
    as_of: pd.Timestamp,
    horizon_days: int,
    tolerated: float,
    draws: int,
    looks: MutableMapping[str, Look] | None,
    with_classes: bool,
) -> Assessment:
    levels = flag_levels(tolerated)
    day, known = day_number(as_of), known_at(tables, as_of)
    on_record = known.readings.groupby("unit").size()
    known, begun = begin_from(lean(known))
    vehicles = make_panel(
        known.units, known.readings.iloc[:0], known.taught
    )  # classes and fuels are all that is needed
    stated = replace(known, climate=tables.climate)  # a look at the past knows the lows of its own day
    learned = learn_needs(stated, vehicles, day, looks=looks)
    ahead = np.array(
        sorted({-float(LEARNING.survival_d), 0.0, float(horizon_days), float(FLAGS.window_d), float(SEASON_D)})
    )
    now, h, far = (int(np.searchsorted(ahead, d)) for d in (0.0, horizon_days, FLAGS.window_d))
    state = estimate_state(known, day, ahead, draws=draws, needs=learned.needs, bays=True)
    outlook = look_ahead(state, learned, known, named=h)
    outlook, looked = inspected(state, outlook, h, known.findings)
    failures = outlook.failures
    forecast = current_forecast(known.forecast, as_of)
    soon = make_weather(known.climate, list(outlook.depots), int(day), horizon_days, forecast)
    later = make_weather(known.climate, list(outlook.depots), int(day), FLAGS.window_d, forecast)
    by_draw = window_probability(outlook, soon, now, h)
    mean = calibrated((1.0 - outlook.renewed) * weighted_mean(by_draw, outlook.alive), learned)
    probability = either(with_other_causes(mean, horizon_days), failures.again(horizon_days))
    bounds = probability_bounds(by_draw, outlook, probability, learned, horizon_days)
    far_draw = window_probability(outlook, later, now, far)
    far_probability = (1.0 - outlook.renewed) * weighted_mean(far_draw, outlook.alive)
    far_probability = either(far_probability, failures.again(FLAGS.window_d))
    rows = np.flatnonzero(far_probability > JUDGING.detail_probability)
    wear = worn(state, outlook, later, known.climate, far_probability, (now, far), rows)
    weight = outlook.alive[rows] * (NAMING.any_draw + far_draw[rows])
    parts, shares = looked.on_parts(*part_table(state, outlook, h, rows, weight))
    weeks, beyond = outlook_table(state, outlook, learned, known, forecast, rows, shares)
    act_by = act_by_days(state, weeks)
    drift = watched(state, due(wear, levels), tolerated)
    units = unit_table(
        state, outlook, shares, probability, bounds, far_probability, wear, act_by, levels=levels, drift=drift
    )
    units["readings_on_record"] = on_record.reindex(units["unit"], fill_value=0).to_numpy(np.int64)
    return Assessment(
        as_of,
        horizon_days,
        looked.on_units(units),
        parts,
        weeks,
        beyond,
        reset_table(state),
        drift,
        class_table(state, learned, known) if with_classes else pd.DataFrame(columns=COLUMNS),
        state.bay_notes,
        state,
        outlook,
        taught_by(state, learned) if with_classes else (),
        begun,
    )


def worn(
    state: FleetState,
    outlook: Outlook,
    weather: Weather,
    climate: pd.DataFrame,
    probability: Floats,
    times: tuple[int, int],
    rows: Ints,
) -> Wear:
    """What flags a vehicle, worked out for those in `rows`; the others risk hardly anything, and none of their reserve is used.

    weather: of the flag's window; probability: (U,) of a no-start in it; times: places of its ends in the state's times.
    """
    now, far = times
    alive = outlook.alive[rows]
    sound = sound_coldest(state, outlook, far, rows)
    avoidable, used = probability.copy(), np.zeros(len(probability))
    avoidable[rows] -= weighted_mean(weather.probability(outlook.depot[rows], sound, sound), alive)
    typical = typical_cold(climate, list(outlook.depots))[outlook.depot[rows]]
    reserve_k = np.maximum(typical - weighted_quantile(sound, alive, 0.5), FLAGS.least_reserve_k)
    used[rows] = weighted_quantile(outlook.coldest[now][rows] - sound, alive, 0.5) / reserve_k
    return Wear(np.maximum(avoidable, 0.0), used, wear_progress(state))


def current_forecast(forecast: pd.DataFrame, as_of: pd.Timestamp) -> pd.DataFrame | None:
    """The forecast, if it was there on `as_of`: one that begins later was issued later, and would be hindsight."""
    if forecast.empty or forecast["date"].min() > as_of + pd.Timedelta(days=1):
        return None
    return forecast[forecast["date"] >= as_of]


def probability_bounds(
    by_draw: Reals, outlook: Outlook, probability: Floats, learned: LearnedNeeds, days: float
) -> tuple[Floats, Floats]:
    """(U,) bounds of `probability` (U,) that hold 80 % of the draws by_draw (U, K) and of repairs that nobody recorded.

    Calibrated and with other causes over `days` [d], as the probability is. A few draws that fail for certain lift a mean
    above its own 90 % quantile: the bounds are widened to it, so that they are 80 % sure at least.
    """
    gone = outlook.renewed / np.maximum(1.0 - outlook.renewed, 1e-6) * outlook.alive.sum(axis=1)
    weight = np.concatenate([outlook.alive, gone[:, None]], axis=1)
    values = np.concatenate([by_draw, np.zeros((len(by_draw), 1), dtype=by_draw.dtype)], axis=1)
    low, high = (with_other_causes(calibrated(weighted_quantile(values, weight, q), learned), days) for q in (0.1, 0.9))
    high = either(high, outlook.failures.again(days))
    return np.minimum(low, probability), np.maximum(high, probability)


def outlook_table(
    state: FleetState,
    outlook: Outlook,
    learned: LearnedNeeds,
    known: FleetTables,
    forecast: pd.DataFrame | None,
    rows: Ints,
    shares: Floats,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Cumulative probabilities of the vehicles `rows`: per coming week, and at the ends of the quarters after them.

    As it is, with the suspect part renewed, and as it would be if the vehicle were known to stand in the better or in
    the worse half of what it may be today; the weeks also with their interval.
    """
    shown = ["probability", "probability_renewed", "probability_better", "probability_worse"]
    columns = ["unit", "part", "week", "week_start", "probability", "probability_low", "probability_high", *shown[1:]]
    if not len(rows):
        return pd.DataFrame(columns=columns), pd.DataFrame(columns=["unit", "week", *shown])
    own = chosen(outlook, rows)
    weather = weekly_weather(state, own, known.climate, forecast)
    part = [PARTS[k] for k in shares[rows].argmax(axis=1)]
    after = outlook_renewed(state, outlook, rows, part)
    by_draw, renewed = (weekly_probability(state, one, weather) for one in (own, after))
    later = [
        make_weather(
            known.climate, list(own.depots), int(state.day) + 7 * WEEKS + LATER_D * i, LATER_D, seed=LATER_SEED + i
        )
        for i in range(LATER_WINDOWS)
    ]
    ends = [7.0 * WEEKS + LATER_D * i for i in range(LATER_WINDOWS + 1)]
    by_quarter = later_probability(state, own, later, ends, by_draw[..., -1])
    renewed_quarter = later_probability(state, after, later, ends, renewed[..., -1])
    weight = (1.0 - own.renewed[:, None]) * (own.alive / own.alive.sum(axis=1)[:, None])
    now = own.coldest[int(np.argmin(np.abs(state.ahead_d)))]
    better, worse = halves(now, weight)
    names = state.panel.units["unit"].astype(str).to_numpy()[rows]
    n = len(rows)

    again_renewed = 1.0 - shares[rows].max(axis=1)  # a fault in another part stands on

    def frame(plain: Floats, new: Floats, end_d: Reals) -> dict[str, Floats]:
        values = ((plain, weight), (new, weight), (plain, better), (plain, worse))
        means = [calibrated(np.matmul(w[:, None], p)[:, 0], learned) for p, w in values]
        again = own.failures.again(end_d)
        more = (again, again * again_renewed[:, None], again, again)
        found = [either(with_other_causes(mean, end_d), a).ravel() for mean, a in zip(means, more, strict=True)]
        return dict(zip(shown, found, strict=True))

    end_d = 7.0 * (np.arange(WEEKS) + 1.0)
    plain = frame(by_draw, renewed, end_d)
    mean = plain["probability"].reshape(n, WEEKS)
    bounds = [
        probability_bounds(by_draw[..., w].astype(np.float32), own, mean[:, w], learned, end_d[w]) for w in range(WEEKS)
    ]
    low, high = (np.stack([pair[k] for pair in bounds], axis=1) for k in range(2))
    weeks = pd.DataFrame(
        {
            "unit": np.repeat(names, WEEKS),
            "part": np.repeat(part, WEEKS),
            "week": np.tile(np.arange(WEEKS), n),
            "week_start": dates_of(state.day + np.tile(7.0 * np.arange(WEEKS), n)),
            "probability_low": low.ravel(),
            "probability_high": high.ravel(),
            **plain,
        },
        columns=columns,
    )
    quarters = {"unit": np.repeat(names, LATER_WINDOWS), "week": np.tile(np.array(ends[1:]) / 7.0, n).astype(np.int64)}
    return weeks, pd.DataFrame({**quarters, **frame(by_quarter, renewed_quarter, np.array(ends[1:]))})


def act_by_days(state: FleetState, weeks: pd.DataFrame) -> Floats:
    """(U,) day [d since 1970] before the week in which the chance of a no-start comes to `JUDGING.act_probability`; NaN later."""
    out = np.full(len(state.panel.units), np.nan)
    reached = weeks[weeks["probability"] >= JUDGING.act_probability]
    first = reached.groupby("unit")["week"].min()
    code = pd.Index(state.panel.units["unit"].astype(str)).get_indexer(pd.Index(first.index))
    out[code] = state.day + 7.0 * first.to_numpy(np.float64)
    return out


def reset_table(state: FleetState) -> pd.DataFrame:
    """Renewals that nobody recorded, newest first; before and after as multiples of class-usual."""
    found = state.resets.found
    columns = ["unit", "part", "around_on", "before", "after"]
    return (
        found.drop_duplicates(["unit", "part", "around_on"])[columns]
        .sort_values(["around_on", "unit"], ascending=[False, True])
        .reset_index(drop=True)
    )
