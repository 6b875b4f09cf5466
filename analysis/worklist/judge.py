"""Some vehicles judged, with what the whole fleet has learned: drawn, looked ahead, tabulated.

Nothing here depends on which other vehicles are judged with them, so that a fleet is judged a chunk at a time: what is drawn
of a large one would fill the memory.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from functools import partial
from typing import Final

import numpy as np
import pandas as pd

from analysis.arrays import give_back
from analysis.forecast.choices import LEARNING
from analysis.forecast.learning import LearnedNeeds, calibrated
from analysis.forecast.outlook import (
    Outlook,
    chosen,
    halves,
    later_probability,
    look_ahead,
    outlook_renewed,
    sound_coldest,
    weekly_probability,
    weighted_mean,
    weighted_quantile,
    window_bounds,
    window_probability,
)
from analysis.forecast.season import LATER_D, LATER_WINDOWS, WEEKS, Season
from analysis.readings.outcomes import with_outcome
from analysis.readings.panel import Bools, Elsewhere, FleetTables, Floats, Ints, Reals, dates_of, here, in_chunks
from analysis.readings.renewals import PARTS
from analysis.wear.state import FleetRead, FleetState, draw_state
from analysis.worklist.choices import FLAGS, JUDGING, NAMING
from analysis.worklist.inspections import Inspected, inspected
from analysis.worklist.part import part_table, wear_progress
from analysis.worklist.risk import Wear, either, unit_table, with_other_causes

DRAWS: Final = 128
MORE_DRAWS: Final = 4  # times as many of a vehicle whose chance they leave open
RANGE: Final = (0.1, 0.9)  # ends of the range that is shown: 80 % sure
SEASON_D: Final = 182
CHUNK_VEHICLES: Final = 500  # drawn at a time, twice over: 150 kB a vehicle, so that memory is not what ends it
TOLD_COLUMNS: Final = ["unit", "taken_at", "outcome", "temperature_c"]


@dataclass(frozen=True)
class Shared:
    """What every vehicle of a fleet is judged with.

    told: starts with a known outcome, repairs and looks that found nothing; draws: possible truths of each vehicle.
    """

    learned: LearnedNeeds
    season: Season
    told: FleetTables
    horizon_days: int
    draws: int

    @property
    def ahead_d(self) -> Floats:
        """Days from the list's day at which vehicles are drawn."""
        days = {-float(LEARNING.survival_d), 0.0, float(self.horizon_days), float(FLAGS.window_d), float(SEASON_D)}
        return np.array(sorted(days))

    def place(self, ahead_d: float) -> int:
        """Where among `ahead_d` a day is."""
        return int(np.searchsorted(self.ahead_d, ahead_d))


@dataclass(frozen=True)
class Judged:
    """Tables of some vehicles, in their order: units as of :func:`analysis.worklist.risk.unit_table`, not yet listed; parts;
    weeks ahead; quarters beyond."""

    units: pd.DataFrame
    parts: pd.DataFrame
    weeks: pd.DataFrame
    beyond: pd.DataFrame


def told_of(known: FleetTables) -> FleetTables:
    """What is told of vehicles beside what was measured."""
    readings = with_outcome(known.readings)
    return replace(
        known,
        readings=readings[[name for name in TOLD_COLUMNS if name in readings]].reset_index(drop=True),
        forecast=known.forecast.iloc[:0],
        lows=None,
        taught=(),
    )


def judge_all(read: FleetRead, shared: Shared, elsewhere: Elsewhere | None = None) -> Judged:
    """The whole fleet judged at the start of the day on which it was read, by more draws where these leave a probability open;
    elsewhere: judges some of them."""
    found, rows = in_turn(read, shared, CHUNK_VEHICLES, elsewhere)
    if not len(rows):
        return found
    give_back(read.panel.row.size)
    more, _ = in_turn(read.of(rows), with_more(shared), max(CHUNK_VEHICLES // MORE_DRAWS, 1), elsewhere)
    place = pd.Index(read.names)

    def merged(plain: pd.DataFrame, new: pd.DataFrame) -> pd.DataFrame:
        first, table = len(plain), pd.concat([plain, new], ignore_index=True)
        del plain
        vehicle = place.get_indexer(pd.Index(table["unit"].astype(str)))
        stays = ~np.isin(vehicle, rows) | (np.arange(len(table)) >= first)
        order = np.argsort(vehicle, kind="stable")
        return table.take(order[stays[order]]).reset_index(drop=True)

    # each is let go once it is merged: they are the most that a large fleet holds
    tables, of_some = dict(vars(found)), dict(vars(more))
    del found, more
    return Judged(*(merged(tables.pop(one.name), of_some.pop(one.name)) for one in fields(Judged)))


def in_turn(read: FleetRead, shared: Shared, size: int, elsewhere: Elsewhere | None = None) -> tuple[Judged, Ints]:
    """:func:`judged_by` of so many vehicles at a time, each with what is told of its own vehicles."""
    part, found = in_parts(read, shared), dict[int, tuple[Judged, Ints]]()

    def fill(s: slice, call: Elsewhere = here) -> None:
        found[s.start] = call(judged_by, *part(s))

    in_chunks(len(read.names), size, fill, partial(fill, call=elsewhere or here))
    begins = sorted(found)
    rows = np.concatenate([begin + found[begin][1] for begin in begins])
    return together([found.pop(begin)[0] for begin in begins]), rows


def in_parts(read: FleetRead, shared: Shared) -> Callable[[slice], tuple[FleetRead, Shared]]:
    """Some of the vehicles by their places, with what is told of them."""
    place = pd.Index(read.names)
    tables = {name: getattr(shared.told, name) for name in ("readings", "repairs", "findings")}
    codes = {
        name: place.get_indexer(pd.Index(table["unit"].astype(str)))
        for name, table in tables.items()
        if table is not None and len(table)
    }

    def part(s: slice) -> tuple[FleetRead, Shared]:
        own = {name: tables[name][(code >= s.start) & (code < s.stop)] for name, code in codes.items()}
        return read.of(np.arange(s.start, s.stop)), replace(shared, told=replace(shared.told, **own))

    return part


def together(parts: Sequence[Judged]) -> Judged:
    """The tables of all parts of a fleet, in the order of its vehicles."""
    tables = [dict(vars(one)) for one in parts]
    del parts  # so that those of each name are let go as they are put together
    return Judged(*(pd.concat([own.pop(one.name) for own in tables], ignore_index=True) for one in fields(Judged)))


def drawn(read: FleetRead, shared: Shared) -> tuple[FleetState, Outlook, Inspected]:
    """Possible truths of some vehicles, how they start in each, and what looks that found nothing say."""
    h = shared.place(shared.horizon_days)
    state = draw_state(read, shared.ahead_d, draws=shared.draws, rare=True)
    outlook = look_ahead(state, shared.learned, shared.season, shared.told, named=h)
    return (state, *inspected(state, outlook, h, shared.told.findings))


def drawn_as_judged(read: FleetRead, shared: Shared) -> tuple[FleetState, Outlook, Inspected]:
    """:func:`drawn` of a single vehicle, as many draws as it was judged by."""
    found = drawn(read, shared)
    outlook = found[1]
    by_draw = soon_by_draw(outlook, shared)
    open_ones = left_open(by_draw, outlook, soon_bounds(by_draw, outlook)[1])
    return drawn(read, with_more(shared)) if open_ones.any() else found


def with_more(shared: Shared) -> Shared:
    """The same with more draws."""
    return replace(shared, draws=MORE_DRAWS * shared.draws)


def soon_by_draw(outlook: Outlook, shared: Shared) -> Floats:
    """(U, K) probability, per draw, of a no-start within the horizon."""
    return window_probability(outlook, shared.season.soon, shared.place(0.0), shared.place(shared.horizon_days))


def soon_bounds(by_draw: Floats, outlook: Outlook) -> tuple[Floats, Floats]:
    """Two bounds (2, U, 1) each of probabilities by_draw (U, K): those that are shown, and a little further in."""
    low, high = RANGE
    shares = (low, JUDGING.open_tail, 1.0 - JUDGING.open_tail, high)
    found = window_bounds(by_draw[..., None], outlook.alive, gone_of(outlook), shares)
    return found[::3], found[1:3]


def left_open(by_draw: Floats, outlook: Outlook, inner: Floats) -> Bools:
    """(U,) whether so many draws by_draw (U, K) leave a probability open: its standard error, as of draws by plain chance, is beyond
    a share of half its range, the inner bounds of `soon_bounds`."""
    weight = outlook.alive / outlook.alive.sum(axis=1)[:, None]
    away = by_draw - (by_draw * weight).sum(axis=1)[:, None]
    error = (1.0 - outlook.renewed) * np.sqrt(np.square(weight * away).sum(axis=1))
    low, high = inner[..., 0]
    return np.asarray(error > JUDGING.open_share * np.maximum(0.5 * (high - low), JUDGING.open_least))


def judged_by(read: FleetRead, shared: Shared) -> tuple[Judged, Ints]:
    """The vehicles judged by as many draws as are asked for, and those whose probability they leave open."""
    learned, season, days = shared.learned, shared.season, shared.horizon_days
    state, outlook, looked = drawn(read, shared)
    now, h, far = (shared.place(d) for d in (0.0, days, FLAGS.window_d))
    failures = outlook.failures
    by_draw = soon_by_draw(outlook, shared)
    mean = calibrated((1.0 - outlook.renewed) * weighted_mean(by_draw, outlook.alive), learned)
    probability = either(with_other_causes(mean, days), failures.again(days))
    shown, inner = soon_bounds(by_draw, outlook)
    low, high = probability_range(shown, outlook, probability[:, None], learned, np.array([float(days)]))
    far_draw = window_probability(outlook, season.later, now, far)
    far_probability = (1.0 - outlook.renewed) * weighted_mean(far_draw, outlook.alive)
    far_probability = either(far_probability, failures.again(FLAGS.window_d))
    rows = np.flatnonzero(far_probability > JUDGING.detail_probability)
    wear = worn(state, outlook, season, far_probability, (now, far), rows)
    weight = outlook.alive[rows] * (NAMING.any_draw + far_draw[rows])
    by_part, shares, renewed = part_table(state, outlook, h, rows, weight)
    parts, shares = looked.on_parts(by_part, shares)
    weeks, beyond = outlook_table(state, outlook, shared, rows, shares, renewed)
    act_by = act_by_days(state, rows, weeks["probability"].to_numpy(np.float64))
    units = unit_table(state, outlook, shares, probability, (low[:, 0], high[:, 0]), far_probability, wear, act_by)
    return Judged(looked.on_units(units), parts, weeks, beyond), np.flatnonzero(left_open(by_draw, outlook, inner))


def worn(
    state: FleetState, outlook: Outlook, season: Season, probability: Floats, times: tuple[int, int], rows: Ints
) -> Wear:
    """What flags a vehicle, worked out for those in `rows`; the others risk hardly anything, and none of their reserve is used.

    probability: (U,) of a no-start in the flag's window; times: places of its ends in the state's times.
    """
    now, far = times
    alive = outlook.alive[rows]
    sound = sound_coldest(state, outlook, far, rows)
    avoidable, used = probability.copy(), np.zeros(len(probability))
    avoidable[rows] -= weighted_mean(season.later.probability(outlook.depot[rows], sound, sound), alive)
    typical = season.typical_c[outlook.depot[rows]]
    reserve_k = np.maximum(typical - weighted_quantile(sound, alive, 0.5), FLAGS.least_reserve_k)
    used[rows] = weighted_quantile(outlook.coldest[now][rows] - sound, alive, 0.5) / reserve_k
    return Wear(np.maximum(avoidable, 0.0), used, wear_progress(state))


def gone_of(outlook: Outlook) -> Floats:
    """(U,) weight, beside that of the draws, of a repair that nobody recorded."""
    return np.asarray(outlook.renewed / np.maximum(1.0 - outlook.renewed, 1e-6) * outlook.alive.sum(axis=1))


def probability_range(
    bounds: Floats, outlook: Outlook, probability: Floats, learned: LearnedNeeds, days: Reals
) -> tuple[Floats, Floats]:
    """(U, W) ends of `probability` (U, W), from the bounds (2, U, W) that hold 80 % of the draws and of repairs that nobody recorded.

    Calibrated and with other causes over `days` (W,) [d], as the probability is. A few draws that fail for certain lift a mean
    above its own 90 % quantile: the bounds are widened to it, so that they are 80 % sure at least.
    """
    low, high = (with_other_causes(calibrated(one, learned), days) for one in bounds)
    high = either(high, outlook.failures.again(days))
    return np.minimum(low, probability), np.maximum(high, probability)


def outlook_table(
    state: FleetState, outlook: Outlook, shared: Shared, rows: Ints, shares: Floats, renewed_c: dict[int, Reals]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Cumulative probabilities of the vehicles `rows`: per coming week, and at the ends of the quarters after them; renewed_c: of
    :func:`analysis.worklist.part.part_table`.

    As it is, with the suspect part renewed, and as it would be if the vehicle were known to stand in the better or in
    the worse half of what it may be today; the weeks also with their interval.
    """
    shown = ["probability", "probability_renewed", "probability_better", "probability_worse"]
    columns = ["unit", "part", "week", "week_start", "probability", "probability_low", "probability_high", *shown[1:]]
    if not len(rows):
        return pd.DataFrame(columns=columns), pd.DataFrame(columns=["unit", "week", *shown])
    learned, season = shared.learned, shared.season
    own = chosen(outlook, rows)
    part = [PARTS[k] for k in shares[rows].argmax(axis=1)]
    after = outlook_renewed(state, outlook, rows, part, renewed_c)
    by_draw, renewed = (weekly_probability(state, one, season.weeks) for one in (own, after))
    ends = [7.0 * WEEKS + LATER_D * i for i in range(LATER_WINDOWS + 1)]
    by_quarter = later_probability(state, own, season.quarters, ends, by_draw[..., -1])
    renewed_quarter = later_probability(state, after, season.quarters, ends, renewed[..., -1])
    weight = (1.0 - own.renewed[:, None]) * (own.alive / own.alive.sum(axis=1)[:, None])
    now = own.coldest[int(np.argmin(np.abs(state.ahead_d)))]
    better, worse = halves(now, weight)
    n = len(rows)
    names, parts = pd.array(state.names[rows], dtype="str"), pd.array(part, dtype="str")

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
    bounds = window_bounds(by_draw, own.alive, gone_of(own), RANGE)
    low, high = probability_range(bounds, own, mean, learned, end_d)
    weeks = pd.DataFrame(
        {
            "unit": names.repeat(WEEKS),
            "part": parts.repeat(WEEKS),
            "week": np.tile(np.arange(WEEKS), n),
            "week_start": dates_of(state.day + np.tile(7.0 * np.arange(WEEKS), n)),
            "probability_low": low.ravel(),
            "probability_high": high.ravel(),
            **plain,
        },
        columns=columns,
    )
    quarters = {"unit": names.repeat(LATER_WINDOWS), "week": np.tile(np.array(ends[1:]) / 7.0, n).astype(np.int64)}
    return weeks, pd.DataFrame({**quarters, **frame(by_quarter, renewed_quarter, np.array(ends[1:]))})


def act_by_days(state: FleetState, rows: Ints, probability: Floats) -> Floats:
    """(U,) day [d since 1970] before the week in which the chance of a no-start comes to `JUDGING.act_probability`; NaN later.

    probability: by the end of each coming week, of the vehicles `rows` one after the other.
    """
    out = np.full(len(state.panel.units), np.nan)
    reached = probability.reshape(len(rows), WEEKS) >= JUDGING.act_probability
    out[rows] = np.where(reached.any(axis=1), state.day + 7.0 * reached.argmax(axis=1), np.nan)
    return out
