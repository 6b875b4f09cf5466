"""What the fleet's own no-starts teach: least cranking speed, supply and coil volts of every class.

Every six weeks of the past is looked at with the eyes of that day: the state of each vehicle from what was then known,
and the probability of a no-start in the following six weeks for every combination of needs on a grid.  What really
happened gives each combination its likelihood; with a published prior that is a posterior.
"""

from __future__ import annotations

from collections.abc import Iterator, MutableMapping
from dataclasses import dataclass, field, replace
from functools import partial
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.forecast.choices import DEPARTURE, LEARNING
from analysis.forecast.lows import Weather, coldest_month, depots_of, make_weather, seasonal_lows, shapes, winters_of
from analysis.forecast.past import UNITS_LOOKED_AT, Past, look_days, past_of, sharing_laws
from analysis.forecast.tally import NOTHING, Tally, tally
from analysis.kernel.loops import failed_by_needs
from analysis.kernel.ready import compiled
from analysis.readings.choices import OUTCOMES
from analysis.readings.class_laws import estimate_laws
from analysis.readings.draws import Draws, keys_of
from analysis.readings.observe import ClassLaws
from analysis.readings.outcomes import (
    courses_of,
    last_repair,
    no_starts_on_record,
    standing_failures,
    starts_on_record,
)
from analysis.readings.panel import (
    Elsewhere,
    FleetTables,
    Floats,
    Ints,
    Panel,
    Reals,
    among,
    days_since_epoch,
    here,
    in_chunks,
    left_d,
    without_slips,
)
from analysis.readings.renewals import panel_of
from analysis.readings.strays import Course, mended, stray_share
from analysis.starting.coldest_start import DrawnLaws, drawn_laws, starts_on_levels
from analysis.wear.state import FleetState, estimate_state, need_priors

DRAWS = 40  # of each vehicle in a look, for speed: needs differ by less than half their error between seeds
MOST_DRAWS = 128  # where a look sees few vehicles, whose class would move with its chance; as many as a list
SPEED_STEPS = np.arange(-2.4, 2.2, 0.75)  # grid around the prior, in its standard deviations
SUPPLY_STEPS = np.arange(-1.5, 1.51, 1.5)
COIL_STEPS = np.arange(-1.8, 1.81, 0.6)


Starts: TypeAlias = Reals
Grids: TypeAlias = tuple[Floats, Floats, Floats]
"""Of needs: (G, S) speed [rpm], (G, V) supply and (G, C) coil [V per 12 V]."""


@dataclass(frozen=True)
class Came:
    """What came in the window of a look, arrays (U,).

    happened: whether a no-start was recorded; stray: of those that nobody repaired, probability of a failure without a repair in such
    a window that has nothing to do with the circuit, else 0; telling: what came before and after it makes of the odds that it was
    the circuit's, else 1.
    """

    happened: npt.NDArray[np.bool_]
    stray: Floats
    telling: Floats

    @classmethod
    def answered(cls, happened: npt.NDArray[np.bool_]) -> Came:
        """No-starts that were all repaired."""
        return cls(happened, np.zeros(len(happened)), np.ones(len(happened)))

    def key(self) -> bytes:
        """Bytes that change with all of it."""
        return np.packbits(self.happened).tobytes() + (self.stray.tobytes() + self.telling.tobytes()) * bool(
            self.stray.any()
        )

    def real(self, p: Floats, rows: Ints) -> Floats:
        """(rows,) probability that what happened to some vehicles was the circuit's, or as good as; p: (rows,) that readings foretold."""
        circuits = LEARNING.unforeseen + self.telling[rows] * p
        return np.asarray(self.happened[rows] * circuits / (circuits + self.stray[rows]))


@dataclass(frozen=True)
class Look:
    """One look at the past: probability (W, S, V, C, N) of a no-start in the window, of the `telling` vehicles (N,) at their depots (N,).

    W runs over winters of a depot, each as probable as the others, the coldest first; S, V, C over the grids of needs; the other
    vehicles could not have failed under any of them; recorded: share of repairs that were recorded, as known then; read: vehicles
    that were ever read by then;
    groups: names of the classes that `group` tells of.
    """

    day: float
    units: npt.NDArray[np.object_]
    group: npt.NDArray[np.int64]
    telling: Ints
    depot: Ints
    probability: Reals
    recorded: float
    read: Ints
    groups: tuple[str, ...] = ()
    told: dict[bytes, Floats] = field(default_factory=dict, compare=False, repr=False)

    def without(self, vehicles: npt.NDArray[np.bool_]) -> Look:
        """The look without what some vehicles (U,) tell."""
        if not vehicles.any():
            return self
        kept = ~vehicles[self.telling]
        of_telling = {name: getattr(self, name)[..., kept] for name in ("telling", "depot", "probability")}
        return replace(self, **of_telling, read=self.read[~vehicles[self.read]], told={})

    def evidence(self, came: Came, classes: int) -> Floats:
        """(G, S, V, C) log probability of the no-starts that then came, kept for the next time.

        Vehicles of one depot met one winter, which nobody told of: of a class they are judged together in each, and the mean over the
        winters is what the class tells there.
        """
        key = came.key()
        if key not in self.told:
            p = LEARNING.unforeseen + (1.0 - LEARNING.unforeseen) * self.recorded * self.probability
            terms = np.where(came.happened[self.telling], np.log(p), np.log1p(-p))
            open_ = np.flatnonzero(came.stray[self.telling] > 0.0)
            if len(open_):  # nobody repaired it: the circuit's, or not
                at = self.telling[open_]
                circuits = came.telling[at] * (p[..., open_] - LEARNING.unforeseen)
                terms[..., open_] = np.log(LEARNING.unforeseen + came.stray[at] + circuits)
            group = self.group[self.telling]
            evidence = np.zeros((classes, *terms.shape[1:-1]))
            for g, depot in np.unique(np.stack([group, self.depot]), axis=1).T:
                together = terms[..., (group == g) & (self.depot == depot)].sum(axis=-1, dtype=np.float64)
                evidence[g] += np.logaddexp.reduce(together, axis=0) - np.log(len(together))
            self.told[key] = evidence
        return self.told[key]


@dataclass(frozen=True)
class LearnedNeeds:
    """What was learned; see the fields.

    needs: (G, 3) speed [rpm], supply and coil [V per 12 V]; se: (G, 3); offset, slope: calibration, logit p' = offset +
    slope * logit p; no_starts, looks: (G,) what it rests on; recorded: share of repairs that are recorded; weights:
    (G, S, V, C) posterior; grids: of speed (G, S), supply (G, V) and coil (G, C); groups: names of the classes; cold_c: (G,) mean
    low of the coldest month at the class's depots [degC], about which no-starts happen; stray: share of failures without a repair
    that had nothing to do with the circuit.
    """

    needs: Floats
    se: Floats
    offset: float
    slope: float
    no_starts: npt.NDArray[np.int64]
    looks: npt.NDArray[np.int64]
    recorded: float
    weights: Floats
    grids: Grids
    groups: tuple[str, ...]
    cold_c: Floats
    stray: float
    tally: Tally

    @property
    def told(self) -> Floats:
        """(G,) share of the stated variance of the least speed that starts have taken away."""
        stated_sd = np.ptp(self.grids[0], axis=1) / np.ptp(SPEED_STEPS)
        return np.asarray(np.clip(1.0 - (self.se[:, 0] / stated_sd) ** 2, 0.0, 1.0))

    def drawn(self, draws: int, seed: int = 0) -> Floats:
        """(G, draws, 3) needs drawn from the joint posterior of each class."""
        place = Draws(keys_of(list(self.groups)), draws, seed).even("needs")
        needs = np.empty((len(self.needs), draws, 3))
        for g in range(len(self.needs)):
            i, j, m = np.unravel_index(_systematic(self.weights[g].ravel(), place[g]), self.weights.shape[1:])
            needs[g] = np.stack([self.grids[0][g, i], self.grids[1][g, j], self.grids[2][g, m]], axis=1)
        return needs


def _systematic(weight: Floats, position: Floats) -> Ints:
    """Entries of a discrete distribution at positions (0 to 1) of its cumulative sum."""
    total = np.cumsum(weight)
    return np.asarray(np.minimum(np.searchsorted(total, position * total[-1]), len(weight) - 1), dtype=np.int64)


def need_grids(panel: Panel) -> Grids:
    """Grids of needs around the priors of the panel's classes."""
    mean, sd = need_priors(panel)
    speed, supply, coil = (
        mean[:, k, None] + sd[:, k, None] * steps for k, steps in enumerate((SPEED_STEPS, SUPPLY_STEPS, COIL_STEPS))
    )
    return speed, supply, coil


def scatter_draws(chance: Draws) -> tuple[Floats, Floats, Floats]:
    """Departures of single vehicles from the class, (U, K) each: relative speed, V, V."""
    scales = ((DEPARTURE.speed_share, "speed"), (DEPARTURE.supply_v, "supply"), (DEPARTURE.coil_v, "coil"))
    speed, supply, coil = (scale * chance.normal(name) for scale, name in scales)
    return speed, supply, coil


def recorded_share(repairs: pd.DataFrame, found: pd.DataFrame) -> float:
    """Share of repairs that the fleet records: no-start repairs on record beside renewals that only readings show."""
    recorded = int((repairs["reason"] == "no_start").sum())
    silent = len(found.drop_duplicates(["unit", "around_on"]))
    return (recorded + LEARNING.recorded_counts * LEARNING.recorded_share) / (
        recorded + silent + LEARNING.recorded_counts
    )


def not_failed(
    failed: Reals, since_reading_d: Floats, recorded: float, weight: Floats | None = None
) -> tuple[Reals, Reals]:
    """Weight of every draw as one in which the vehicle still stands as read (..., U, K), and the mean weight (..., U)
    of all draws in which it failed in the past `survival_d` days and was repaired without a record.

    failed: (..., U, K) probability of a no-start in those days; since_reading_d: (U,) days since the last reading, which
    would have shown the repair; NaN for none; recorded: share of repairs that are recorded; weight: (..., U, K) what each draw
    counts, 1 by default.
    """
    alive = np.maximum(1.0 - failed, LEARNING.least_alive)
    if weight is not None:
        alive, failed = weight * alive, weight * failed
    return alive, renewed_share(since_reading_d, recorded) * mean_of_draws(failed)


def renewed_share(since_reading_d: Floats, recorded: float) -> Floats:
    """(U,) share of the no-starts of the past `survival_d` days that were repaired without a record or a reading; see :func:`not_failed`."""
    unseen = np.clip(np.nan_to_num(since_reading_d, nan=LEARNING.survival_d) / LEARNING.survival_d, 0.0, 1.0)
    return np.asarray((1.0 - recorded) * unseen)


def mean_of_draws(values: Reals) -> Reals:
    """Mean over the last axis, as a product: quicker than a reduction over a few draws."""
    count = values.shape[-1]
    return np.asarray(np.matmul(values, np.full(count, 1.0 / count, dtype=values.dtype)))


def draws_of(vehicles: int) -> int:
    """Draws of each vehicle in a look that sees so many: as many in all as where it sees the most, and at most MOST_DRAWS."""
    return int(np.clip(DRAWS * UNITS_LOOKED_AT // max(vehicles, 1), DRAWS, MOST_DRAWS))


def look_back(past: Past, day: float, grids: Grids, laws: ClassLaws | None = None, *, seed: int | None = None) -> Look:
    """Look at a sampled fleet on a past day with what was known at its start; laws: of that day or before, else its own.

    grids: needs of all classes of the past, in its order.
    """
    then = past.before(day)
    ahead_d = np.array([-float(LEARNING.survival_d), 0.0, float(LEARNING.span_d)])
    seed = int(day // LEARNING.span_d) if seed is None else seed  # each look has chance of its own
    draws = draws_of(len(then.units))
    state = estimate_state(then, day, ahead_d, draws=draws, seed=seed, laws=laws, growth=False)
    units = state.panel.units["unit"].to_numpy(dtype=object)
    depots, depot = depots_of(state.panel.units)
    came = past.tables.lows
    before = make_weather(then.climate, depots, int(day) - LEARNING.survival_d, LEARNING.survival_d, came=came)
    days = np.arange(int(day), int(day) + LEARNING.span_d)
    season, shape = seasonal_lows(then.climate, depots, days), shapes(then.climate, depots, days)
    winters = winters_of(season, shape, depots, int(day), came=came, parts=LEARNING.winters)
    apart = scatter_draws(Draws(keys_of(units), draws, seed))
    laws_drawn = drawn_laws(state.laws, Draws(keys_of(list(state.panel.groups)), draws, seed))
    starts = [_starts_on_grid(state, h, grids, apart, laws_drawn) for h in range(3)]
    read = np.isfinite(state.last_day)  # a vehicle never read teaches nothing of its class
    telling = np.flatnonzero((_worst(starts[1:], winters, depot) > LEARNING.telling_probability) & read)
    share = recorded_share(then.repairs, state.resets.found)
    repaired = last_repair(state.panel.units, then.repairs, state.resets.day)
    told = starts_on_record(state.panel.units, then.readings)
    stray = stray_share(courses_of(told, mended(state.panel.units, then.repairs), day, share))
    stood = standing_failures(told, repaired, day, share, stray).any  # a failure nobody repaired comes again of itself
    telling = telling[~stood[telling]]
    was, now, later = ([part[:, telling] for part in parts] for parts in starts)
    failed = [_by_need(before, depot[telling], a, b) for a, b in zip(was, now, strict=True)]
    fails = [[_by_need(ahead, depot[telling], a, b) for a, b in zip(now, later, strict=True)] for ahead in winters]
    found = of_all_needs(failed, fails, day - state.last_day[telling], share)
    return Look(
        day, units, state.group, telling, depot[telling], found, share, np.flatnonzero(read), state.panel.groups
    )


def of_all_needs(failed: list[Reals], fails: list[list[Reals]], since_reading_d: Floats, recorded: float) -> Reals:
    """(W, S, V, C, N) probability of a no-start in the window, in each of W winters, for every combination of needs, of N vehicles
    that stand as read.

    failed, and fails in each winter: by speed (S, N, K), supply (V, N, K) and coil (C, N, K) alone, that a draw fails before the look
    and in its window: the need that runs out first decides.  since_reading_d (N,), recorded: see :func:`not_failed`.
    """
    probability = np.empty((len(fails), *map(len, failed), failed[0].shape[1]), dtype=np.float32)
    loop = compiled(failed_by_needs)
    if loop is not None:
        before = [np.ascontiguousarray(one, np.float64) for one in failed]
        ahead = [np.ascontiguousarray(np.stack(one), np.float64) for one in zip(*fails, strict=True)]
        gone = renewed_share(since_reading_d, recorded)
        loop(0, probability.shape[-1], *before, *ahead, gone, LEARNING.least_alive, probability)
        return probability
    failed_other, *fails_other = (np.maximum(v[1][:, None], v[2][None, :]) for v in (failed, *fails))
    for k in range(probability.shape[1]):
        alive, renewed = not_failed(np.maximum(failed[0][k], failed_other), since_reading_d, recorded)
        standing = mean_of_draws(alive) + renewed
        for winter, other in enumerate(fails_other):
            probability[winter, k] = mean_of_draws(alive * np.maximum(fails[winter][0][k], other)) / standing
    return probability


def _by_need(weather: Weather, depot: Ints, start_c: Reals, end_c: Reals) -> Reals:
    """(S, N, K) probability of a no-start for every value of one need; start_c, end_c: (S, N, K) coldest starts [degC]."""
    levels, _, draws = start_c.shape
    start, end = (c.reshape(-1, draws) for c in (start_c, end_c))
    return weather.probability(np.tile(depot, levels), start, end).reshape(start_c.shape)


def _worst(ends_of: list[tuple[Starts, Starts, Starts]], winters: tuple[Weather, ...], depot: Ints) -> Floats:
    """(U,) probability of a no-start under the highest needs; ends_of: coldest starts at both ends of the window."""
    ends = [np.maximum(at[0][-1], np.maximum(at[1][-1], at[2][-1])) for at in ends_of]
    return np.asarray(np.mean([ahead.probability(depot, *ends).mean(axis=-1) for ahead in winters], axis=0))


def _starts_on_grid(
    state: FleetState, h: int, grids: Grids, apart: tuple[Floats, ...], departures: DrawnLaws
) -> tuple[Starts, Starts, Starts]:
    """Coldest starts for every value of each need: (S, U, K), (V, U, K), (C, U, K); apart: how far single vehicles
    depart from the class in each, (U, K)."""
    on = [grid[state.group].T[:, :, None] for grid in grids]
    levels = (on[0] * (1.0 + apart[0]), on[1] + apart[1], on[2] + apart[2])
    return starts_on_levels(state.drawn[h], state.field, state.vehicles, levels, departures)


def learn_needs(
    tables: FleetTables,
    panel: Panel,
    day: float,
    *,
    looks: MutableMapping[str, Look] | None = None,
    elsewhere: Elsewhere | None = None,
) -> LearnedNeeds:
    """Posterior of the class needs from the no-starts recorded before `day`; the prior where there are none.

    tables hold nothing dated `day` or later; panel: of their vehicles.  looks: looks already made, by the key of the past that
    they rest on; new ones are added.  elsewhere: makes some of them.
    """
    grids = need_grids(panel)
    n = len(panel.groups)
    prior = (
        -0.5 * SPEED_STEPS[:, None, None] ** 2
        - 0.5 * SUPPLY_STEPS[None, :, None] ** 2
        - 0.5 * COIL_STEPS[None, None, :] ** 2
    )
    log_weight = np.tile(prior, (n, 1, 1, 1))
    counts, seen = np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64)
    failed = no_starts_on_record(tables.repairs, tables.readings)
    used: list[tuple[Look, Came]] = []
    stray = OUTCOMES.stray_share
    if len(failed):
        made = list(looks_at(tables, panel, day, grids, {} if looks is None else looks, elsewhere))
        left = pd.Series(left_d(tables.units), index=tables.units["unit"].astype(str))
        recorded = made[-1].recorded if made else LEARNING.recorded_share
        starts = starts_on_record(tables.units, tables.readings)
        courses = courses_of(starts, mended(tables.units, tables.repairs), day, recorded)
        stray = stray_share(courses)
        names = tables.units["unit"].astype(str).to_numpy(dtype=object)
        for look, came in zip(made, _came(made, failed, courses, names, stray), strict=True):
            # it was not there to fail, on the window's last day at the latest
            gone = left.reindex(look.units).to_numpy() < look.day + LEARNING.span_d - 1
            look = look.without(gone & ~came.happened)
            used.append((look, came))
            log_weight += LEARNING.learning_counts * look.evidence(came, n)
            real = came.happened & ((came.stray == 0.0) | (stray < (1.0 - stray) * came.telling))
            counts += np.bincount(look.group[real], minlength=n)
            seen += np.bincount(look.group[look.read], minlength=n)
    return _summary(log_weight, grids, counts, seen, used, panel.groups, coldest_months(tables, panel), stray)


def _came(
    looks: list[Look], failed: pd.DataFrame, courses: list[Course], names: npt.NDArray[np.object_], share: float
) -> list[Came]:
    """What came in the window of each look; failed: of :func:`no_starts_on_record`; courses: of all failures, of vehicles `names`;
    share: of failures without a repair, those that had nothing to do with the circuit."""
    when, who = days_since_epoch(failed["date"]), failed["unit"].astype(str).to_numpy(dtype=object)
    rows = [
        (names[one.unit], day, tells)
        for one in courses
        if not one.answered
        for day, tells in zip(one.day, one.telling(share), strict=True)
    ]
    own = pd.DataFrame(rows, columns=["unit", "day", "telling"])
    own["stray"] = share / (share + (1.0 - share) * own["telling"])
    open_ = set(zip(own["unit"], own["day"], strict=True))
    answered = np.array([one not in open_ for one in zip(who, np.floor(when), strict=True)], dtype=bool)

    def within(days: Floats, look: Look) -> npt.NDArray[np.bool_]:
        return (days >= look.day) & (days < look.day + LEARNING.span_d)

    windows = [own[within(own["day"].to_numpy(), look) & own["unit"].isin(look.units)] for look in looks]
    rate = sum(float(one["stray"].sum()) for one in windows) / max(sum(len(look.read) for look in looks), 1)
    out = []
    for look, one in zip(looks, windows, strict=True):
        came = within(when, look)
        most = one.groupby("unit")["telling"].max().reindex(look.units).to_numpy(np.float64)
        alone = np.isfinite(most) & ~np.isin(look.units, who[came & answered])
        happened = np.isin(look.units, who[came])
        out.append(Came(happened, np.where(alone, rate, 0.0), np.where(alone, most, 1.0)))
    return out


def coldest_months(tables: FleetTables, panel: Panel) -> Floats:
    """(G,) mean low of the coldest month [degC], the mean over the depots of the class's vehicles that were ever read."""
    depots, depot = depots_of(panel.units)
    read = among(panel.units["unit"], tables.readings["unit"].unique())
    count = np.bincount(panel.group[read], minlength=len(panel.groups))
    cold = np.bincount(panel.group[read], coldest_month(tables.climate, depots)[0][depot[read]], len(panel.groups))
    return np.asarray(cold / np.maximum(count, 1))


def looks_at(
    tables: FleetTables,
    panel: Panel,
    day: float,
    grids: Grids,
    looks: MutableMapping[str, Look],
    elsewhere: Elsewhere | None = None,
) -> Iterator[Look]:
    """The looks that a day learns from, oldest first, by the codes of the panel's classes; those not yet in `looks` are made."""
    past, days = past_looked_at(tables, panel, day)
    keys = [past.key(d, grids) for d in days]
    missing = sharing_laws([d for d, key in zip(days, keys, strict=True) if key not in looks])

    def fill(s: slice, call: Elsewhere = here) -> None:
        for own in missing[s]:
            looks.update(call(looks_of, past, own, grids))

    in_chunks(len(missing), 1, fill, partial(fill, call=elsewhere or here))
    for look in (looks[key] for key in keys):
        yield look if look.groups == panel.groups else recoded(look, panel.groups)


def past_looked_at(tables: FleetTables, panel: Panel, day: float) -> tuple[Past, list[float]]:
    """The past that a day learns from, and the days of its looks."""
    days = look_days(tables, day)
    return past_of(replace(tables, classes=panel.groups), days), days


def looks_of(past: Past, days: list[float], grids: Grids) -> dict[str, Look]:
    """The looks of some of the days of a past, by their keys: none depends on another."""
    laws: dict[float, ClassLaws] = {}
    return {past.key(d, grids): _made(past, d, grids, laws) for d in days}


def _made(past: Past, day: float, grids: Grids, laws: dict[float, ClassLaws]) -> Look:
    """A look; laws: class laws by their day, to which its own are added."""
    of = past.laws_day(day)
    if of is not None and of not in laws:
        laws[of] = estimate_laws(without_slips(panel_of(past.before(of))[0]))
    return look_back(past, day, grids, None if of is None else laws[of])


def recoded(look: Look, groups: tuple[str, ...]) -> Look:
    """A look by the codes of other classes, among which those of its vehicles are."""
    place = {name: g for g, name in enumerate(groups)}
    codes = np.array([place.get(name, -1) for name in look.groups], dtype=np.int64)
    return replace(look, group=codes[look.group], groups=groups, told={})


def _summary(
    log_weight: Floats,
    grids: Grids,
    counts: npt.NDArray[np.int64],
    seen: npt.NDArray[np.int64],
    used: list[tuple[Look, Came]],
    groups: tuple[str, ...],
    cold_c: Floats,
    stray: float,
) -> LearnedNeeds:
    """Posterior mean and standard deviation of each need."""
    n = len(log_weight)
    mean, sd = np.empty((n, 3)), np.empty((n, 3))
    weights = np.exp(log_weight - log_weight.max(axis=(1, 2, 3), keepdims=True))
    weights /= weights.sum(axis=(1, 2, 3), keepdims=True)
    speed, supply, coil = grids
    for g in range(n):
        for k, (grid, axes) in enumerate(((speed[g], (1, 2)), (supply[g], (0, 2)), (coil[g], (0, 1)))):
            marginal = weights[g].sum(axis=axes)
            mean[g, k] = float((marginal * grid).sum())
            sd[g, k] = float(np.sqrt((marginal * (grid - mean[g, k]) ** 2).sum()))
    recorded = used[-1][0].recorded if used else LEARNING.recorded_share
    latest = used[-LEARNING.calibration_looks :]
    offset, slope = calibration(*looked_at(weights, latest), recorded)
    learned = LearnedNeeds(
        mean, sd, offset, slope, counts, seen, recorded, weights, grids, groups, cold_c, stray, NOTHING
    )
    return replace(learned, tally=_tallied(learned, used))


def _tallied(learned: LearnedNeeds, used: list[tuple[Look, Came]]) -> Tally:
    """What looks expected, as probabilities are calibrated now, and what came."""
    expected, counted = [], []
    for look, came in used:
        own = over_needs(look, learned.weights, look.probability)
        p = own.mean(axis=0)
        p_now = calibrated(p[look.read], learned)
        by_winter = own[:, look.read] / np.maximum(p[look.read], 1e-9) * np.where(p[look.read] > 0.0, p_now, 0.0)
        expected.append(look.recorded * by_winter.sum(axis=1))
        counted.append(came.real(look.recorded * p[look.read], look.read).sum())
    return tally(expected, np.array(counted))


def over_needs(look: Look, weights: Floats, probability: Reals) -> Floats:
    """(..., U) probability (..., S, V, C, N) of a look's telling vehicles averaged over the posterior of the needs (G, S, V, C); 0 of
    the others."""
    out = np.zeros((*probability.shape[:-4], len(look.group)))
    for g, weight in enumerate(weights):
        mine = look.group[look.telling] == g
        out[..., look.telling[mine]] = np.tensordot(probability[..., mine], weight, axes=([-4, -3, -2], [0, 1, 2]))
    return out


def looked_at(weights: Floats, used: list[tuple[Look, Came]]) -> tuple[Floats, Floats]:
    """Probabilities of all looks, averaged over the posterior of the needs (G, S, V, C), and what came: 0, 1, or in between where it
    may have had nothing to do with the circuit."""
    p, y = [np.zeros(0)], [np.zeros(0)]
    for look, came in used:
        own = over_needs(look, weights, look.probability.mean(axis=0))
        p.append(own[look.read])
        y.append(came.real(look.recorded * own[look.read], look.read))
    return np.concatenate(p), np.concatenate(y)


def calibration(p: Floats, happened: Floats | npt.NDArray[np.bool_], recorded_share: float) -> tuple[float, float]:
    """Offset and slope of logit p' = offset + slope * logit p, held near (0, 1) by a prior that counts as data.

    Platt's method with a Gaussian prior, by Fisher scoring, for no-starts of which `recorded_share` are on record;
    p (N,), happened (N,) as recorded, between 0 and 1 where it may have been none.
    """
    x = logit(p)
    beta, start = np.array([0.0, 1.0]), np.array([0.0, 1.0])
    precision = np.diag([LEARNING.calibration_offset_sd**-2, LEARNING.calibration_slope_sd**-2])
    design = np.stack([np.ones_like(x), x], axis=1)
    for _ in range(30):
        q = 1.0 / (1.0 + np.exp(-design @ beta))
        recorded = recorded_share * q
        slope = recorded * (1.0 - q)
        pull = LEARNING.calibration_counts * slope / (recorded * (1.0 - recorded))
        gradient = design.T @ (pull * (happened - recorded)) - precision @ (beta - start)
        information = (design * (pull * slope)[:, None]).T @ design + precision
        step = np.linalg.solve(information, gradient)
        beta = beta + np.clip(step, -0.5, 0.5)
    return float(beta[0]), float(beta[1])


def logit(p: Reals) -> Floats:
    """log odds of probabilities held inside `least_probability` to one less it."""
    inside = np.clip(p, LEARNING.least_probability, 1.0 - LEARNING.least_probability)
    return np.asarray(np.log(inside / (1.0 - inside)), dtype=np.float64)


def calibrated(p: Reals, learned: LearnedNeeds) -> Floats:
    """Probabilities as the fleet's own past makes them; the prior leaves them nearly as they are."""
    return np.asarray(1.0 / (1.0 + np.exp(-(learned.offset + learned.slope * logit(p)))), dtype=np.float64)
