"""Probability of a no-start in a window, now and week by week ("Probability" in NUMBERS.md; prognostic assessment, ISO 13374).

A draw is one possible truth about a vehicle: how each part stands and grows, and what this vehicle needs to start.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from analysis.circuit.choices import BATTERY_TABLES
from analysis.constants import DAYS_PER_YEAR
from analysis.forecast.choices import DEPARTURE, LEARNING
from analysis.forecast.learning import LearnedNeeds, not_failed, scatter_draws
from analysis.forecast.lows import Bounds, Weather, failed_by
from analysis.forecast.season import Season
from analysis.kernel.loops import CHARGED, places_by_window, weighted_places
from analysis.kernel.ready import compiled
from analysis.readings.aid import has_block_heater
from analysis.readings.draws import Draws, keys_of
from analysis.readings.observe import CHANNELS, LOAD
from analysis.readings.outcomes import (
    Failures,
    explained,
    last_repair,
    outcome_weight,
    standing_failures,
    starts_on_record,
)
from analysis.readings.panel import Bools, FleetTables, Floats, Ints, Panel, Reals, days_since_epoch, in_chunks
from analysis.readings.renewals import PART_CHANNELS, PARTS
from analysis.starting.coldest_start import (
    CHUNK_UNITS,
    DrawnLaws,
    Limits,
    Needs,
    Vehicles,
    drawn_coldest_starts,
    drawn_laws,
    starts_with_renewed,
)
from analysis.starting.floors import floors_of
from analysis.wear.state import FleetState

CHARGE_SEED = 1_000_003  # chance of its own for the charge, so that the other draws stay as they are
Drawn: TypeAlias = Reals


@dataclass(frozen=True)
class Outlook:
    """Coldest starts and probabilities of U vehicles and K draws.

    coldest: (H, U, K) coldest start [degC] at the state's `ahead_d`; limiting: (U,) need that runs out first at the end of the
    horizon (0 speed, 1 supply, 2 coil); alive: (U, K) weight of a draw; renewed: (U,) probability that it failed since its last reading
    and was repaired without a record; depot: (U,) place among the season's; limits: what a start needs and is promised, per draw;
    laws: of each class in each draw; failures: starts that failed and that no repair has followed.
    """

    coldest: Reals
    limiting: Ints
    alive: Floats
    renewed: Floats
    depot: Ints
    limits: Limits
    laws: DrawnLaws
    failures: Failures


def unit_needs(state: FleetState, learned: LearnedNeeds, draws: int) -> Needs:
    """Needs of each vehicle and draw (U, K)."""
    speed_e, supply_e, coil_e = scatter_draws(Draws(keys_of(state.names), draws))
    own = learned.drawn(draws)[state.group]
    return Needs(own[..., 0] * (1.0 + speed_e), own[..., 1] + supply_e, own[..., 2] + coil_e)


def look_ahead(state: FleetState, learned: LearnedNeeds, season: Season, told: FleetTables, *, named: int) -> Outlook:
    """Coldest starts at every `ahead_d` of the state (the first is `survival_d` ago, the second 0).

    told: starts with a known outcome and repairs, as known at the start of the state's day, of these vehicles and maybe
    others; named: index of the day ahead at which the limiting need is named, the end of the horizon asked for.
    """
    draws = state.drawn.shape[-1]
    needs = unit_needs(state, learned, draws)
    laws = drawn_laws(state.laws, Draws(keys_of(list(state.panel.groups)), draws))
    # needs that were learned with a law that is out in that cold make up for it there
    laws = laws.less_in(learned.cold_c, learned.told)
    charge = Draws(keys_of(state.names), draws, CHARGE_SEED)
    floors = floors_of(state.panel.units, state.rest_v / (state.panel.volts / 12.0), charge.normal("battery base"))
    limits = Limits(needs, floors)
    every, none = np.arange(len(state.names)), np.zeros(len(state.names), dtype=np.int64)

    def by_need(h: int) -> Reals:
        return drawn_coldest_starts(state.drawn[h], state.field, state.vehicles, needs, laws)

    def at_time(h: int) -> Reals:
        if h == named:
            return ahead
        own = state.motors, state.vehicles, limits, laws
        found = starts_with_renewed(state.drawn[h], ahead, every, none, *own, unrenewed=False)
        return limits.ends(by_need(h).max(axis=0), charged=False) if found is None else found

    of_each = by_need(named)
    limiting, ahead = (
        np.stack([weighted_quantile(one, state.weight, 0.5) for one in of_each]).argmax(axis=0),
        limits.ends(of_each.max(axis=0), charged=False),
    )
    coldest = np.stack([at_time(h) for h in range(len(state.ahead_d))])
    depot = season.codes(state.panel.units)
    failed = season.past.probability(depot, coldest[0], coldest[1])
    weight, lost = not_failed(failed, state.day - state.last_day, learned.recorded, state.weight)
    starts = starts_on_record(state.panel.units, told.readings)
    repaired = last_repair(state.panel.units, told.repairs, state.resets.day)
    failures = standing_failures(starts, repaired, state.day, learned.recorded, learned.stray)
    survived = np.maximum(1.0 - failed, LEARNING.least_alive)
    # as it failed, it stands as it failed, or something else than its circuit failed
    weight = np.where(failures.circuits[:, None] > 0.0, state.weight, weight)
    usual_c = season.usual_c[depot]
    span = (state.day - LEARNING.survival_d, state.day)
    ends = (coldest[0], coldest[1])
    likely, fits = outcome_weight(starts, failures, repaired, ends, usual_c, span, weight, survived)
    alive, failures = weight * likely, explained(failures, fits, usual_c)
    renewed = np.where(failures.any, 0.0, lost / (alive.mean(axis=-1) + lost))
    alive = alive * came_through(state, learned, laws, season, depot)
    return Outlook(coldest, limiting, alive, renewed, depot, limits, laws, failures)


def came_through(state: FleetState, learned: LearnedNeeds, laws: DrawnLaws, season: Season, depot: Ints) -> Floats:
    """(U, K) weight of each draw as one in which a sound vehicle of the class comes through as many ordinary years at the depot as the
    vehicle was in service before its first reading; 1 for the likeliest.

    Vehicles whose class did not start in an ordinary winter even when sound would not have been kept: what is drawn of needs and
    laws has to agree with that.  Years since the first reading are not among them, because what happened in them is learned from.
    One year where nobody said since when it serves; none with a block heater, which does not start as cold as the air.
    """
    years = np.where(has_block_heater(state.panel.units), 0.0, years_before_read(state.panel, state.day))
    out = np.ones((len(years), state.drawn.shape[-1]))
    mine = np.flatnonzero(years)
    if not len(mine):
        return out
    alike = np.stack([state.group[mine], depot[mine]], axis=1)
    _, first, place = np.unique(alike, axis=0, return_index=True, return_inverse=True)
    some = mine[first]
    group, volts = state.group[some], state.panel.volts[some]
    own = learned.drawn(out.shape[1])[group]
    full_v = BATTERY_TABLES.full_rest_v * volts / 12.0
    rest_v = np.where(np.isfinite(state.laws.rest_v[group]), state.laws.rest_v[group], full_v)
    sound: Floats = np.ones((len(CHANNELS), *own.shape[:2]))
    needs = Needs(own[..., 0], own[..., 1], own[..., 2])
    usual = Vehicles(rest_v, group, volts, state.laws)
    coldest = drawn_coldest_starts(sound, sound[0], usual, needs, laws).max(axis=0)
    started = np.maximum(1.0 - season.year.probability(depot[some], coldest, coldest), LEARNING.least_alive)
    weight = started[place.reshape(-1)] ** years[mine][:, None]
    out[mine] = weight / weight.max(axis=-1, keepdims=True)
    return out


def years_before_read(panel: Panel, day: float) -> Floats:
    """(U,) whole years [a] that each vehicle was in service before its first reading, or before `day` [d since 1970] where it has none."""
    units = panel.units
    first = np.minimum(np.where(panel.present, panel.day, np.inf).min(axis=1, initial=np.inf), day)
    if "in_service" not in units:
        return np.ones(len(units))
    known = units["in_service"].notna().to_numpy()
    served = np.floor((first - days_since_epoch(units["in_service"])) / DAYS_PER_YEAR)
    return np.asarray(np.where(known, np.maximum(served, 0.0), 1.0))


def weighted_mean(values: Floats, weight: Floats) -> Floats:
    """(U,) mean over draws."""
    return np.asarray((values * weight).sum(axis=-1) / weight.sum(axis=-1))


def weighted_quantile(values: Reals, weight: Floats, q: float) -> Floats:
    """(U,) quantile over draws."""
    loop = compiled(weighted_places)
    if loop is not None and values.dtype == np.float32 and not np.isnan(values).any():
        arrays, found = (np.ascontiguousarray(values), np.ascontiguousarray(weight, np.float64)), np.empty(len(values))
        in_chunks(len(values), CHUNK_UNITS, lambda s: loop(s.start, s.stop, *arrays, q, found))
        return found
    order = np.argsort(values, axis=-1)
    ordered = np.take_along_axis(values, order, axis=-1)
    cumulative = np.cumsum(np.take_along_axis(weight, order, axis=-1), axis=-1)
    at = (cumulative < q * cumulative[..., -1:]).sum(axis=-1)
    return np.take_along_axis(ordered, np.minimum(at, values.shape[-1] - 1)[..., None], axis=-1)[..., 0].astype(float)


def window_bounds(by_draw: Floats, weight: Floats, nil_weight: Floats, shares: tuple[float, ...]) -> Floats:
    """(S, U, W) quantiles over draws of probabilities by_draw (U, K, W), of weight (U, K), beside a nil of nil_weight (U,);
    shares rise."""
    units, _, windows = by_draw.shape
    loop = compiled(places_by_window)
    if loop is not None:
        found = np.empty((len(shares), units, windows))
        own = (np.ascontiguousarray(a, np.float64) for a in (by_draw.swapaxes(1, 2), weight, nil_weight, shares))
        arrays = (*own, found)
        in_chunks(units, CHUNK_UNITS, lambda s: loop(s.start, s.stop, *arrays))
        return found
    every = np.concatenate([by_draw, np.zeros((units, 1, windows))], axis=1).astype(np.float32)
    weight = np.concatenate([weight, nil_weight[:, None]], axis=1)
    by_share = [[weighted_quantile(every[..., w], weight, q) for w in range(windows)] for q in shares]
    return np.array(by_share).reshape(len(shares), windows, units).swapaxes(1, 2)


def chosen(outlook: Outlook, rows: Ints) -> Outlook:
    """The outlook of some vehicles only."""
    return Outlook(
        outlook.coldest[:, rows],
        outlook.limiting[rows],
        outlook.alive[rows],
        outlook.renewed[rows],
        outlook.depot[rows],
        outlook.limits.of(rows),
        outlook.laws,
        outlook.failures.of(rows),
    )


def window_probability(outlook: Outlook, weather: Weather, start: int, end: int) -> Floats:
    """(U, K) probability of a no-start in the window between two of the state's times."""
    return weather.probability(outlook.depot, outlook.coldest[start], outlook.coldest[end])


def weekly_probability(state: FleetState, outlook: Outlook, weather: Sequence[Weather]) -> npt.NDArray[np.float64]:
    """(U, K, weeks) probability, per draw, of a no-start by the end of each coming week if nothing is done."""
    ends = [7.0 * w for w in range(len(weather) + 1)]
    return later_probability(state, outlook, weather, ends, np.zeros(outlook.alive.shape))


def later_probability(
    state: FleetState, outlook: Outlook, weather: Sequence[Weather], ends: list[float], failed: Floats
) -> Floats:
    """(U, K, windows) probability, per draw, of a no-start by the end of each later window.

    ends: (windows + 1,) bounds of the windows [d ahead]; failed: (U, K) probability by the first of them.
    """
    bounds = Bounds.between(state.ahead_d, np.array(ends))
    return failed_by(weather, outlook.depot, outlook.coldest, bounds, failed)


def halves(coldest: Reals, weight: Floats) -> tuple[Floats, Floats]:
    """Weights (U, K) of the draws, each summing to 1 at most, in the better and the worse half by coldest start.

    coldest: (U, K) coldest start today [degC]; weight: (U, K), summing to less than 1 where the vehicle may have been
    repaired without a record, which belongs to the better half. What a reading of the vehicle would tell.
    """
    order = np.argsort(coldest, axis=-1, kind="stable")
    ordered = np.take_along_axis(weight, order, axis=-1)
    up_to = np.cumsum(ordered, axis=-1) + (1.0 - weight.sum(axis=-1, keepdims=True))
    worse = np.empty_like(ordered)
    np.put_along_axis(worse, order, np.clip(up_to - 0.5, 0.0, ordered), axis=-1)
    return 2.0 * (weight - worse), 2.0 * worse


def with_renewed(drawn: Drawn, field: Floats, weak: Bools, built: Reals, part: str) -> tuple[Drawn, Floats]:
    """Drawn state (..., 7, U, K) and field (U, K) with one part as good as new, or as good as it is where better.

    New is what is usual of the class, but drag returns to what it was as the vehicle was `built` (U, K): no work makes an
    engine easier to turn than that.  A new starter also brings its field back, in the draws in which a raised load is the
    starter's; otherwise the load is the engine's.
    """
    out, new_field = drawn.copy(), field
    for c in PART_CHANNELS[part]:
        if c != LOAD:
            out[..., c, :, :] = np.minimum(out[..., c, :, :], 1.0)
    if part == "starter_motor":
        out[..., LOAD, :, :] = np.where(weak, np.minimum(out[..., LOAD, :, :], 1.0), out[..., LOAD, :, :])
        new_field = np.where(weak, np.maximum(field, 1.0), field)
    if part == "engine_drag":
        out[..., LOAD, :, :] = np.where(weak, out[..., LOAD, :, :], np.minimum(out[..., LOAD, :, :], built))
    return out, new_field


def bits_of(parts: Sequence[str]) -> Ints:
    """(N,) each part as `renewed` of :func:`coldest_with` has it alone."""
    own = {part: 1 << k | (1 << CHARGED if part == "battery" else 0) for k, part in enumerate(PARTS)}
    return np.array([own[part] for part in parts], dtype=np.int64)


def coldest_with(
    state: FleetState, outlook: Outlook, rows: Ints, renewed: Ints, drawn: Reals, known: Reals | None
) -> Reals:
    """(rows, K) coldest start of the vehicles `rows` of a drawn state (7, U, K) with parts renewed [degC].

    renewed: (rows,) bits, 2^k for the k-th of PARTS and CHARGED after them, which a battery is that does not freeze; known:
    (U, K) coldest start with nothing renewed, None where it is not known, which takes longer.
    """
    near = np.zeros(drawn.shape[1:], np.float32) if known is None else known
    own = state.motors, state.vehicles, outlook.limits, outlook.laws
    found = starts_with_renewed(drawn, near, rows, renewed, *own, unrenewed=known is not None)
    if found is not None:
        return found
    out = np.empty((len(rows), drawn.shape[-1]), dtype=np.float32)
    for bits in np.unique(renewed):
        mine = np.flatnonzero(renewed == bits)
        at = rows[mine]
        new, field = drawn[:, at], state.field[at]
        for k, part in enumerate(PARTS):
            if bits >> k & 1:
                new, field = with_renewed(new, field, state.weak[at], state.built[at], part)
        limits = outlook.limits.of(at)
        by_need = drawn_coldest_starts(new, field, state.vehicles.of(at), limits.needs, outlook.laws)
        out[mine] = limits.ends(by_need.max(axis=0), charged=bool(bits >> CHARGED & 1))
    return out


def renewed_coldest(state: FleetState, outlook: Outlook, rows: Ints, drawn: Reals, known: Reals | None) -> Reals:
    """(7 parts, rows, K) coldest start of a drawn state (7, U, K) with each part alone renewed [degC]; known: as above."""
    each = [np.full(len(rows), bits) for bits in bits_of(PARTS)]
    return np.stack([coldest_with(state, outlook, rows, bits, drawn, known) for bits in each])


def sound_coldest(state: FleetState, outlook: Outlook, h: int, rows: Ints) -> Reals:
    """(rows, K) coldest start with every part renewed that was ever read [degC]: what is known of no repair betters it.

    A part that was never read may be as it will: that is a reason to read it, not to renew it.
    """
    renewed = np.full(len(rows), 1 << CHARGED, dtype=np.int64)
    for k, part in enumerate(PARTS):
        read = state.usable[list(PART_CHANNELS[part])][:, rows].any(axis=(0, 2))
        renewed |= np.where(read, np.int64(1 << k), 0)
    return coldest_with(state, outlook, rows, renewed, state.drawn[h], outlook.coldest[h])


def coldest_today(
    state: FleetState,
    outlook: Outlook,
    suspect: Ints,
    rows: Ints,
    shares: tuple[float, ...],
    also: tuple[str, Reals] | None = None,
    stays: Floats | float = 1.0,
) -> Floats:
    """(S, rows) quantiles of the coldest start today [degC]: as read, with the suspect renewed without a record, and where a
    failed start that no reading explains stands.

    suspect: (U,) place of the suspect part in PARTS; shares: of the quantiles; also: a part that is renewed in every draw, and
    the coldest starts today (rows, K) with it; stays: (rows,) share of unexplained failures that its renewal leaves.  So a
    range that is shown knows of the repair and of the failure that the probability of a no-start reckons with.
    """
    now = int(np.argmin(np.abs(state.ahead_d)))
    today = state.drawn[now], outlook.coldest[now]
    parts = np.zeros(len(rows), dtype=np.int64) if also is None else np.repeat(bits_of([also[0]]), len(rows))
    as_read = today[1][rows] if also is None else also[1]
    renewed, failures = outlook.renewed[rows], outlook.failures.of(rows)
    hidden = np.minimum(failures.stands * failures.unexplained * stays, 1.0 - 1e-6)
    failed_c = np.where(failures.any, failures.cold_c, 0.0)[:, None].astype(as_read.dtype)
    perhaps = renewed > DEPARTURE.may_be_renewed
    out = np.empty((len(shares), len(rows)))
    for mine in (np.flatnonzero(perhaps), np.flatnonzero(~perhaps)):
        at, known = rows[mine], [as_read[mine]]
        weights = [outlook.alive[at]]
        if perhaps[mine].any():
            known.append(coldest_with(state, outlook, at, parts[mine] | bits_of(PARTS)[suspect[at]], *today))
            gone = renewed[mine] / np.maximum(1.0 - renewed[mine], 1e-6) * weights[0].mean(axis=1)
            weights.append(np.broadcast_to(gone[:, None], weights[0].shape))
        standing = hidden[mine] / (1.0 - hidden[mine]) * sum(weight.sum(axis=1) for weight in weights)
        values = np.concatenate([*known, failed_c[mine]], axis=1)
        weight = np.concatenate([*weights, standing[:, None]], axis=1)
        for found, share in zip(out, shares, strict=True):
            found[mine] = weighted_quantile(values, weight, share)
    return out


def outlook_renewed(
    state: FleetState, outlook: Outlook, rows: Ints, parts: list[str], known: Mapping[int, Reals] | None = None
) -> Outlook:
    """The outlook of `rows` with the named part of each renewed today; other vehicles are left out.

    known: by place among the state's times, :func:`renewed_coldest` of the same rows, where it was worked out before.
    """
    bits, place, held = bits_of(parts), [PARTS.index(part) for part in parts], known or {}

    def at_time(h: int) -> Reals:
        if h in held:
            return held[h][place, np.arange(len(rows))]
        return coldest_with(state, outlook, rows, bits, state.drawn[h], outlook.coldest[h])

    return replace(chosen(outlook, rows), coldest=np.stack([at_time(h) for h in range(len(state.ahead_d))]))
