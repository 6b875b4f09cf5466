"""The state of every vehicle on a day: growth of each part, drawn states, motor field (state detection, ISO 13374)."""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Self

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.arrays import give_back
from analysis.circuit.choices import BATTERY_TABLES
from analysis.circuit.limits import burns, class_fuels, default_limits
from analysis.readings.aid import aid_of
from analysis.readings.choices import CLASSES, TRAVEL
from analysis.readings.class_laws import estimate_laws, observe
from analysis.readings.draws import Draws, keys_of
from analysis.readings.meter_notes import MeterNote
from analysis.readings.observe import CHANNELS, LOAD, MOTOR, TAKEN_FROM, ClassLaws, Observations, smooth_level
from analysis.readings.panel import (
    Bools,
    FleetTables,
    Floats,
    Ints,
    Panel,
    Reals,
    days_since_epoch,
    in_chunks,
    in_service,
    left_d,
    own_median,
    without_slips,
)
from analysis.readings.renewals import Resets, ended_lives, find_steps, panel_of, recorded_days, usable_readings
from analysis.starting.coldest_start import BELOW_C, Needs, Vehicles, drawn_coldest_starts
from analysis.wear.choices import FAILING, NEED_DOUBT
from analysis.wear.fleet_growth import ChannelReadings, GrowthSummary, drawn_values, summed_up
from analysis.wear.growth_laws import (
    MOST_LIVES,
    Ageing,
    GrowthLaws,
    ReadLives,
    learn_growth,
    ordinary_ageing,
    past_lives,
    present_lives,
    present_vehicles,
)
from analysis.wear.paths import AS_BUILT, DrawNoise, PathGrid, Rare, default_prior, make_grid, standing_alone

FAIL_RANGE = (0.3, 120.0)  # range of excess searched for it, in class-usual values


@dataclass(frozen=True)
class FleetRead:
    """What the readings of U vehicles tell at the start of a day, before anything is drawn.

    channels: what each channel's growth is made of; rest_v: (U,); usable: (7, U, R); reset_day: (7, U); last_day: (U,) day
    of the latest reading, NaN for none; fail_excess: (G, 7); bay_notes: wrong meters and thermometers.
    """

    day: float
    panel: Panel
    observed: Observations
    grid: PathGrid
    channels: tuple[ChannelReadings, ...]
    rest_v: Floats
    usable: Bools
    reset_day: Floats
    resets: Resets
    last_day: Floats
    fail_excess: Floats
    growth_laws: GrowthLaws
    bay_notes: tuple[MeterNote, ...]

    @property
    def laws(self) -> ClassLaws:
        """Class laws that the state was made with."""
        return self.observed.laws

    @property
    def spread(self) -> Floats:
        """(7, U) spread of sound vehicles about the class-usual values."""
        return self.observed.spread(self.panel.group)

    @property
    def group(self) -> Ints:
        """(U,) class code."""
        return self.panel.group

    @cached_property
    def vehicles(self) -> Vehicles:
        """What is the same in all draws of a start."""
        return Vehicles(self.rest_v, self.group, self.panel.volts, self.laws, aid_of(self.panel.units))

    @cached_property
    def names(self) -> npt.NDArray[np.object_]:
        """(U,) names of the vehicles."""
        return np.asarray(self.panel.units["unit"].astype(str).to_numpy(dtype=object))

    def in_service(self) -> Self:
        """What is known of the vehicles that are in service still."""
        here = in_service(self.panel.units, self.day)
        return self if here.all() else self.of(np.flatnonzero(here))

    def of(self, rows: Ints) -> Self:
        """What is known of some of the vehicles; what all share stays."""
        return replace(
            self,
            panel=self.panel.of(rows),
            observed=self.observed.of(rows),
            channels=tuple(channel.of(rows) for channel in self.channels),
            resets=replace(self.resets, day=self.resets.day[:, rows]),
            **{name: getattr(self, name)[rows] for name in ("rest_v", "last_day")},
            **{name: getattr(self, name)[:, rows] for name in ("usable", "reset_day")},
        )


@dataclass(frozen=True)
class FleetState(FleetRead):
    """The same vehicles with K possible truths of each.

    growth: one per channel, none where nobody asked; drawn: (H, 7, U, K) multiples of class-usual at `ahead_d`; field: (U, K)
    motor field; weak: (U, K) draws in which a raised load is the starter's; starter_share: (U,) how probable that is; built:
    (U, K) load as the vehicle was built, which work on the engine brings back; weight: (U, K) what a draw counts, 1 for the most.
    """

    growth: tuple[GrowthSummary, ...]
    ahead_d: Floats
    drawn: Reals
    field: Floats
    weak: Bools
    starter_share: Floats
    built: Reals
    weight: Floats

    @property
    def motors(self) -> tuple[Floats, Bools, Reals]:
        """What a drawn start takes of the motors."""
        return self.field, self.weak, self.built

    def of(self, rows: Ints) -> Self:
        """Some of the vehicles, with what was drawn of them."""
        return replace(
            super().of(rows),
            growth=tuple(growth.of(rows) for growth in self.growth),
            drawn=self.drawn[:, :, rows],
            **{name: getattr(self, name)[rows] for name in ("field", "weak", "starter_share", "built", "weight")},
        )


def estimate_state(
    tables: FleetTables,
    day: float,
    ahead_d: Floats,
    *,
    draws: int,
    seed: int = 0,
    laws: ClassLaws | None = None,
    growth_laws: GrowthLaws | None = None,
    growth: bool = True,
) -> FleetState:
    """State of every vehicle, read and drawn; see :func:`read_fleet` and :func:`draw_state`."""
    read = read_fleet(tables, day, laws=laws, growth_laws=growth_laws)
    return draw_state(read, ahead_d, draws=draws, seed=seed, growth=growth)


def draw_state(
    read: FleetRead, ahead_d: Floats, *, draws: int, seed: int = 0, growth: bool = True, rare: bool = False
) -> FleetState:
    """K possible truths of every vehicle at days ahead; those of a vehicle are the same whatever others are drawn with it.

    growth: whether growth is summed up as well, which draws do without; rare: whether paths on which a part soon fails are drawn
    more often, so that draws count by their weight.
    """
    chance = Draws(keys_of(read.names), draws, seed)
    drawn = np.empty((len(ahead_d), len(CHANNELS), len(read.names), draws), dtype=np.float32)
    weight = np.ones((len(read.names), draws))
    summaries = []
    for c, own in enumerate(read.channels):
        days = np.append(ahead_d, AS_BUILT) if c == LOAD else ahead_d
        noise, often = DrawNoise(chance, CHANNELS[c]), Rare(own.fail_excess, weight) if rare else None
        if growth:
            summary, found = summed_up(own, days, noise, often)
            summaries.append(summary)
        else:
            found = drawn_values(own, days, noise, rare=often)
        drawn[:, c] = found[: len(ahead_d)]
        if c == LOAD:
            built = found[-1]
    now = drawn[int(np.argmin(np.abs(ahead_d)))]
    field, weak, share = draw_field(read.panel, read.observed, now, chance)
    return FleetState(
        **{one.name: getattr(read, one.name) for one in fields(FleetRead)},
        growth=tuple(summaries),
        ahead_d=ahead_d,
        drawn=drawn,
        field=field,
        weak=weak,
        starter_share=share,
        built=built,
        weight=weight / weight.max(axis=1, keepdims=True),
    )


def read_fleet(
    tables: FleetTables,
    day: float,
    *,
    laws: ClassLaws | None = None,
    needs: Callable[[], Floats] | None = None,
    growth_laws: GrowthLaws | None = None,
    bays: bool = False,
) -> FleetRead:
    """What the tables tell of every vehicle; they hold nothing dated `day` [d since 1970] or later.

    needs: what gives (G, 3) what a start needs of each class, for the excess at which parts fail; default priors.  growth_laws: of
    the same classes, where they were learned from more vehicles than these.  bays: look for wrong meters and
    thermometers, and take them out.
    """
    panel, renewals = panel_of(tables)
    panel = without_slips(panel)
    give_back(panel.row.size)
    laws = laws or estimate_laws(panel)
    observed = observe(panel, laws)
    bay_notes: tuple[MeterNote, ...] = ()
    if bays and tables.units["depot"].notna().any():
        from analysis.readings.bays import bay_effects, corrected  # loads sparse matrices: a single vehicle needs none

        found = bay_effects(panel, observed, tables.readings)
        bay_notes = found.notes
        if found.taken_out:
            panel = corrected(panel, found)
            laws = estimate_laws(panel)
            observed = observe(panel, laws)
    give_back(panel.row.size)
    spread = observed.spread(panel.group)
    reset_day = recorded_days(panel, renewals)
    usable = usable_readings(panel, observed.value, reset_day, spread)
    resets = find_steps(panel, observed.value, observed.se, usable, spread, tables.reset_answers)
    reset_day = np.maximum(reset_day, np.where(np.isfinite(resets.day), resets.day - 0.5, -np.inf))
    usable &= panel.day[None] >= np.where(np.isfinite(resets.day), resets.day, -np.inf)[..., None]
    fail = failing_excess(laws, panel, needs() if needs else need_priors(panel)[0])
    grid, prior = make_grid(), default_prior()
    before, left = day - panel.day, left_d(panel.units)
    n = len(panel.units)
    channels: dict[int, ChannelReadings] = {}
    lives: dict[int, tuple[ReadLives, ReadLives]] = {}
    ageings: dict[int, Ageing] = {}

    def read_channel(one: slice) -> None:
        c, group = one.start, panel.group
        value, se, base_sd, log_prior = observed.value[c], observed.se[c], spread[c], prior.log_weights(grid, c)
        twice = measured_twice(panel, c)
        use = usable[c] & (twice | ~standing_alone(value, se, usable[c]))
        usable[c] = use
        if growth_laws:
            ageing = growth_laws.ageing[c]
        else:
            taught = taught_ageing(panel, c)
            ageing = ordinary_ageing(panel.day, value, se, use, base_sd, group, len(panel.groups), taught)
        ageings[c] = ageing
        own = ChannelReadings(
            before, value, se, use, base_sd, fail[group, c], day - reset_day[c], group,
            ageing.per_year[group], day - ageing.middle[group], grid, log_prior, twice=twice,
        )  # fmt: skip
        if not growth_laws:
            if n <= MOST_LIVES:  # the same vehicles are drawn from
                own = replace(own, made=own.posterior(slice(None)))
            rows = present_vehicles(use & (left > day)[:, None])
            ended = ended_lives(renewals[c], resets.day[c], left)
            past = past_lives(panel, value, se, ended, base_sd, fail[:, c], grid, log_prior, ageing)
            lives[c] = present_lives(panel, own.posterior(rows), use, day, rows), past
        channels[c] = own

    in_chunks(len(CHANNELS), 1, read_channel)
    each = range(len(CHANNELS))
    learned = growth_laws or learn_growth(
        [lives[c] for c in each], [ageings[c] for c in each], grid, prior, len(panel.groups), panel.taught
    )
    grown = tuple(replace(channels[c], ratio=learned.ratio(grid, c, prior)) for c in each)
    return FleetRead(
        day, panel, observed, grid, grown, recent_rest_v(panel, observed), usable, reset_day, resets, _last_day(panel),
        fail, learned, bay_notes,
    )  # fmt: skip


def taught_ageing(panel: Panel, channel: int) -> dict[int, tuple[float, float]]:
    """Ordinary ageing of a channel as another fleet taught it, with its error, by class."""
    return {
        g: (float(told.ageing[channel]), float(np.hypot(told.ageing_se[channel], TRAVEL.ageing_sd)))
        for g, told in enumerate(panel.taught)
        if told is not None
    }


def measured_twice(panel: Panel, channel: int) -> Bools:
    """(U, R) readings in which a measurement behind the channel was taken twice: no slips, however far they stand out."""
    out = np.zeros(panel.row.shape, dtype=bool)
    for name in TAKEN_FROM[channel]:
        out |= panel.twice.get(name, np.zeros(panel.row.shape, dtype=bool))
    return out


def _last_day(panel: Panel) -> Floats:
    day = np.where(panel.present, panel.day, -np.inf).max(axis=1, initial=-np.inf)
    return np.where(np.isfinite(day), day, np.nan)


def recent_rest_v(panel: Panel, observed: Observations) -> Floats:
    """(U,) rest volts: median of the latest measured ones; class-usual where none was measured."""
    rest = np.where(panel.present, panel.measured["rest_v"], np.nan)[:, -FAILING.recent_readings :]
    own = own_median(rest)
    usual = observed.laws.rest_v[panel.group]
    usual = np.where(np.isfinite(usual), usual, BATTERY_TABLES.full_rest_v * panel.volts / 12.0)
    return np.where(np.isfinite(own), own, usual)


def draw_field(panel: Panel, observed: Observations, now: Reals, chance: Draws) -> tuple[Floats, Bools, Floats]:
    """Motor field relative to the class (U, K), where a raised load is the starter's (U, K), how probable that is (U,).

    A weak field needs more amps for the same torque but turns as fast; raised drag turns slower.  Cranking speed tells
    them apart, and a worn motor's resistance points to the starter; without either the prior odds speak.
    """
    level = smooth_level(observed.value)
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.log(observed.emf_per_rpm / observed.laws.emf_per_rpm[panel.group][:, None])
    z = np.where(np.isfinite(z) & (np.abs(z) < 2.0), z, np.nan)
    sound = (
        np.isfinite(z)
        & (level[LOAD] < CLASSES.raised_load - FAILING.clear_of_raised)
        & (np.abs(z) < FAILING.sound_log_field)
    )
    count = sound.sum(axis=1)
    own = np.where(sound, z, 0.0).sum(axis=1) / (count + (FAILING.field_error / FAILING.field_sd) ** 2)
    raised = np.isfinite(z) & (level[LOAD] > CLASSES.raised_load)
    more = np.log(np.maximum(level[LOAD], 1.0))
    error = 2.0 * FAILING.field_error
    away = np.where(raised, z - own[:, None], 0.0)
    vote = np.where(raised, 0.5 * (away / error) ** 2 - 0.5 * ((away + more) / error) ** 2, 0.0)
    log_odds = np.log(FAILING.starter_odds) + np.clip(vote, -FAILING.most_vote, FAILING.most_vote).sum(axis=1)
    motor = np.median(level[MOTOR][:, -3:], axis=1)
    sound_motor, worn_motor = (
        (motor - 1.0) / FAILING.sound_motor_sd,
        (motor - FAILING.worn_motor) / FAILING.worn_motor_sd,
    )
    worn = 0.5 * sound_motor**2 - 0.5 * worn_motor**2
    high = np.median(level[LOAD][:, -3:], axis=1) > CLASSES.raised_load
    log_odds = log_odds + np.where(high, np.clip(worn, FAILING.least_motor_vote, FAILING.most_motor_vote), 0.0)
    share = 1.0 / (1.0 + np.exp(-log_odds))
    weak = chance.even("field") < share[:, None]
    field = np.where(weak, 1.0 / np.maximum(now[LOAD], 1.0), 1.0) * np.exp(own)[:, None]
    return field, weak, share


OWN_NEEDS = ("least_cranking_rpm", "supply_minimum_v", "pull_in_v")
"""Limits that are a start's needs, and columns that units may carry: what the user states of the class [rpm, V]."""


def need_priors(panel: Panel) -> tuple[Floats, Floats]:
    """(G, 3) least speed [rpm], supply and coil volts [V per 12 V] before the fleet has taught anything, and their sd.

    The user's own where the vehicles carry OWN_NEEDS, else those that another fleet taught, else the printed ones by the fuel
    of the class.
    """
    mean, sd = np.empty((len(panel.groups), 3)), np.empty((len(panel.groups), 3))
    has, at = np.unique(panel.group, return_index=True)
    first = panel.units.iloc[at]
    fuels = class_fuels(panel.group.tolist(), panel.units["fuel"].astype(str).tolist())
    system_v = first["system_v"].tolist()
    stated = {name: first[name].tolist() for name in OWN_NEEDS if name in first}
    place = dict(zip(has.tolist(), range(len(has)), strict=True))
    for g in range(len(panel.groups)):
        i = place.get(g)
        fuel = fuels.get(g, "diesel" if i is None else "")
        volts = 12 if i is None else int(system_v[i])
        limits = default_limits(volts, fuel=fuel)
        sd[g] = _speed_sd(fuel, limits.least_cranking_rpm.value), NEED_DOUBT.supply_sd_v, NEED_DOUBT.coil_sd_v
        for k, name in enumerate(OWN_NEEDS):
            own = None if i is None or name not in stated or pd.isna(stated[name][i]) else stated[name][i]
            limit = getattr(limits, name)
            value = limit.value if own is None else own
            mean[g, k] = value * 12.0 / volts if limit.unit == "V" else value
            told = panel.taught[g]
            if told is not None and own is None:
                mean[g, k] = told.needs[k]
                sd[g, k] = min(sd[g, k], float(np.hypot(told.needs_se[k], TRAVEL.needs_share * sd[g, k])))
    return mean, sd


def _speed_sd(fuel: str, least_rpm: float) -> float:
    """Doubt of the least cranking speed [rpm]; where nobody said what an engine burns it may be the diesel's."""
    known = burns(fuel)
    if known == "diesel":
        return NEED_DOUBT.diesel_speed_sd_rpm
    apart = 0.0 if known else default_limits().least_cranking_rpm.value - least_rpm
    return float(np.hypot(NEED_DOUBT.petrol_speed_sd_rpm, apart))


def failing_excess(laws: ClassLaws, panel: Panel, needs: Floats) -> Floats:
    """(G, 7) excess of each part, in class-usual values, at which a sound vehicle no longer starts at `FAILING.at_c`."""
    excess, n, channels = np.geomspace(*FAIL_RANGE, 48), len(panel.groups), np.arange(len(CHANNELS))
    usual_v = np.array([panel.volts[panel.group == g][0] if (panel.group == g).any() else 12.0 for g in range(n)])
    rest_v = np.where(np.isfinite(laws.rest_v), laws.rest_v, BATTERY_TABLES.full_rest_v * usual_v / 12.0)
    group = np.tile(np.arange(n), len(channels))  # each class with one part after the other worn
    state: Floats = np.ones((len(channels), len(channels), n, len(excess)))
    state[channels, channels] += excess
    state = state.reshape(len(channels), len(group), len(excess))
    flat = Needs(*(np.repeat(needs[group, k][:, None], len(excess), axis=1) for k in range(3)))
    of_each = Vehicles(rest_v[group], group, usual_v[group], laws)
    start = drawn_coldest_starts(state, np.ones(state.shape[1:]), of_each, flat).max(axis=0)
    fails = np.where(np.isfinite(start), start, BELOW_C) >= FAILING.at_c
    first = np.where(fails.any(axis=1), fails.argmax(axis=1), len(excess) - 1)
    return np.ascontiguousarray(excess[first].reshape(len(channels), n).T)


def day_number(moment: pd.Timestamp) -> float:
    """Days since 1970-01-01 of the start of a day."""
    return float(days_since_epoch(pd.DatetimeIndex([moment.normalize()]))[0])
