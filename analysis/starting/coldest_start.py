"""From drawn states to coldest starts: speed, supply and coil volts of a start at each temperature of a grid."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

from analysis.arrays import Rows
from analysis.circuit.limits import BRUSH_V, COPPER_PER_K, REFERENCE_C
from analysis.kernel.loops import (
    AID_A,
    AID_BELOW_C,
    BRUSH_LOST_V,
    COIL_MOHM,
    EMF_V,
    OPEN_V,
    PER_12,
    REFERENCE_RPM,
    SOUND_MOHM,
    SPEED_SHARE,
    coldest_on_levels,
    coldest_with_renewed,
)
from analysis.kernel.ready import compiled
from analysis.readings.aid import Aid, engine_c
from analysis.readings.choices import OBSERVING
from analysis.readings.draws import Draws
from analysis.readings.observe import BATTERY, CONTACTS, CONTROL, GROUND, LOAD, MOTOR, POSITIVE, ClassLaws
from analysis.readings.panel import Bools, Floats, Ints, Reals, in_chunks
from analysis.starting.choices import LOOP
from analysis.starting.floors import Floors
from analysis.starting.loop import StartState, battery_times, blocks_of, load_times, start_volts

GRID_C = np.arange(-68.0, 41.0, 4.0)
BELOW_C = -70.0  # what "starts at every temperature of the grid" is written as
CHUNK_UNITS = 400

Levels: TypeAlias = tuple[Floats, Floats, Floats]
"""Levels of speed (S, U, K) [rpm], supply (V, U, K) and coil volts (C, U, K) [V per 12 V]."""
Starts: TypeAlias = tuple[npt.NDArray[np.float32], npt.NDArray[np.float32], npt.NDArray[np.float32]]
"""Coldest starts at them [degC]."""
Colds: TypeAlias = tuple[npt.NDArray[np.float32], ...]


@dataclass(frozen=True)
class Needs(Rows):
    """What a start needs, per vehicle and draw (U, K): speed [rpm], supply and coil volts [V per 12 V]."""

    speed: Floats
    supply: Floats
    coil: Floats


@dataclass(frozen=True)
class Vehicles(Rows):
    """What is the same in all draws of U vehicles: rest volts and nominal system voltage [V], class codes, laws of the classes,
    and what starting aids do, None where no vehicle has any."""

    rest_v: Floats
    group: Ints
    volts: Floats
    laws: ClassLaws
    aid: Aid | None = None


@dataclass(frozen=True)
class DrawnLaws:
    """Departures of the class laws of battery and load in each draw, (G, K, 3): of the slope [1/K], of the curvature [1/K^2],
    and of the log of the usual value at 20 degC; made: what was worked out of them, by the laws that they depart from."""

    battery: Floats
    load: Floats
    made: dict[int, tuple[ClassLaws, Colds]] = field(default_factory=dict, compare=False, repr=False)

    def less_in(self, air_c: Floats, share: Floats) -> DrawnLaws:
        """The departures less a share (G,) of what each comes to in air of `air_c` (G,) [degC]."""
        x = (REFERENCE_C.value - air_c)[:, None]

        def less(away: Floats) -> Floats:
            there = away[..., 0] * x + away[..., 1] * x**2 + away[..., 2]
            return np.stack([away[..., 0], away[..., 1], away[..., 2] - share[:, None] * there], axis=-1)

        return DrawnLaws(less(self.battery), less(self.load))

    def batteries(self, laws: ClassLaws, draws: int) -> Colds:
        """What the cold multiplies the battery's resistance by, and the most of it at a temperature and above it, (G, T, K) each."""
        return self._colds(laws, draws)[0], self._colds(laws, draws)[2]

    def _colds(self, laws: ClassLaws, draws: int) -> Colds:
        if id(laws) not in self.made:
            every = np.arange(len(laws.base))
            battery, load = (
                _cold(laws, name, getattr(self, name), draws, every, GRID_C) for name in ("battery", "load")
            )
            self.made[id(laws)] = laws, (battery, load, _most(battery), _most(load), _most(load * _copper()[:, None]))
        return self.made[id(laws)][1]

    def loads(self, laws: ClassLaws, draws: int, group: Ints, aid: Aid | None) -> tuple[Ints, Colds]:
        """What the cold multiplies the load of each vehicle by: (U,) places, in what it is and the most of it and of it times copper
        at a temperature and above it, (L, T, K) each. Those of classes first; then those of engines that a heater warms."""
        _, load, _, most, copper_most = self._colds(laws, draws)
        heated = np.flatnonzero(aid.warmer_k > 0.0) if aid is not None else ()
        if aid is None or not len(heated):
            return group, (load, most, copper_most)
        below_c = aid.below_c.astype(np.float32)[:, None]
        alike = np.column_stack([group[heated], (below_c[heated] > GRID_C).sum(axis=1), aid.warmer_k[heated]])
        _, first, place = np.unique(alike, axis=0, return_index=True, return_inverse=True)
        some = heated[first]
        engine = engine_c(GRID_C, below_c[some], aid.warmer_k[some][:, None])
        warmer = _cold(laws, "load", self.load, draws, group[some], engine)
        of_vehicle = group.copy()
        of_vehicle[heated] = len(load) + place.reshape(-1)
        every = warmer, _most(warmer), _most(warmer * _copper()[:, None])
        return of_vehicle, tuple(np.concatenate(both) for both in zip((load, most, copper_most), every, strict=True))


def _most(times: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """The most at a temperature and above it, (..., T, K)."""
    return np.ascontiguousarray(np.maximum.accumulate(times[:, ::-1], axis=1)[:, ::-1])


def _cold(
    laws: ClassLaws, name: str, away: Floats, draws: int, group: Ints, temperature_c: Floats
) -> npt.NDArray[np.float32]:
    """(N, T, K) by what the cold multiplies a quantity of classes `group` (N,) at temperatures (T,) or (N, T) [degC]."""
    b, c = (
        getattr(laws, f"{name}_{kind}")[group][:, None] + away[group, :, k] for k, kind in enumerate(("per_k", "curve"))
    )
    times = battery_times if name == "battery" else load_times
    x = REFERENCE_C.value - temperature_c[..., None]
    found = times(b[:, None], c[:, None], x) * np.exp(away[group][:, None, :, 2])
    return np.ascontiguousarray(np.broadcast_to(found, (len(b), len(GRID_C), draws)), dtype=np.float32)


def drawn_laws(laws: ClassLaws, chance: Draws) -> DrawnLaws:
    """The laws of each class as far out as they may be; chance: of the classes by name.

    The usual value moves against them, so that what was read stays as it was read at the temperatures of the readings.
    Of starts that nobody clamped the sag was read: the more the amps rise, the less the battery's resistance does.
    """
    battery_doubt, load_doubt, between = laws.battery_doubt, laws.load_doubt, laws.between
    battery = _departures(battery_doubt.covariance, chance, "battery")
    follows = between @ np.linalg.pinv(battery_doubt.covariance)  # of the load's by the battery's
    own = _departures(load_doubt.covariance - follows @ between.transpose(0, 2, 1), chance, "load")
    load = own + np.einsum("gij,gkj->gki", follows, battery)
    back = [-np.einsum("gki,gi->gk", *pair) for pair in ((battery, battery_doubt.centre), (load, load_doubt.centre))]
    back[0] -= np.einsum("gki,gi->gk", load, laws.lent)
    found = [np.concatenate([d, b[..., None]], axis=-1) for d, b in zip((battery, load), back, strict=True)]
    return DrawnLaws(found[0], found[1])


def as_fitted(laws: ClassLaws) -> DrawnLaws:
    """The laws of each class as they are, in one draw that serves all."""
    none = np.zeros((len(laws.base), 1, 3))
    return DrawnLaws(none, none)


def _departures(covariance: Floats, chance: Draws, name: str) -> Floats:
    """(G, K, 2) of slope and curvature."""
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :]
    z = np.stack([chance.normal(f"{name} slope"), chance.normal(f"{name} bend")], axis=-1)
    return np.asarray(np.einsum("gij,gkj->gki", root, z), dtype=np.float64)


def usual_speed(laws: ClassLaws) -> Floats:
    """(G,) cranking speed of a sound vehicle of the class at 20 degC [rpm]; nominal where it was never read."""
    with np.errstate(invalid="ignore"):
        speed = laws.emf_v / laws.emf_per_rpm
    return np.where(np.isfinite(speed), speed, LOOP.nominal_rpm)


def start_state(
    state: Reals,
    field: Floats,
    rest_v: Floats,
    group: Ints,
    laws: ClassLaws,
    departures: DrawnLaws | None = None,
    aid: Aid | None = None,
) -> StartState:
    """Drawn multiples (7, U, K) of the class-usual values -> state of the starting circuit, arrays (U, K, 1).

    field: (U, K) motor field relative to the class (1 = as usual); rest_v: (U,) rest volts; departures: of the laws in each
    draw, none for the laws as they are; aid: load of the vehicles' starting aids, None where no vehicle has any.
    """
    usual = laws.base[group].T[:, :, None]
    value = (np.maximum(state, OBSERVING.least_level) * usual).astype(np.float32)[..., None]
    per_unit = {name: getattr(laws, name)[group].astype(np.float32)[:, None, None] for name in _PER_CLASS}
    speed = usual_speed(laws)[group].astype(np.float32)[:, None, None]
    brush = np.float32(BRUSH_V.value) * np.asarray(blocks_of(rest_v), np.float32)[:, None, None]
    away = departures or as_fitted(laws)
    battery, load = (np.moveaxis(d[group].astype(np.float32), 2, 0)[..., None] for d in (away.battery, away.load))
    return StartState(
        open_circuit_v=rest_v.astype(np.float32)[:, None, None],
        battery_mohm=value[BATTERY] * np.exp(battery[2]),
        positive_mohm=value[POSITIVE],
        ground_mohm=value[GROUND],
        contacts_mohm=value[CONTACTS],
        motor_mohm=value[MOTOR],
        load_a=value[LOAD] * np.exp(load[2]),
        emf_v_per_rpm=per_unit["emf_v"] / speed * field.astype(np.float32)[..., None],
        reference_rpm=speed,
        control_mohm=value[CONTROL],
        coil_mohm=per_unit["coil_mohm"],
        battery_b=per_unit["battery_per_k"] + battery[0],
        battery_c=per_unit["battery_curve"] + battery[1],
        drag_b=per_unit["load_per_k"] + load[0],
        drag_c=per_unit["load_curve"] + load[1],
        brush_v=brush,
        load_speed_share=per_unit["speed_share"],
        open_circuit_v_per_k=0.0,
        sound_mohm=usual[[POSITIVE, GROUND, CONTACTS, MOTOR]].sum(axis=0).astype(np.float32)[..., None],
        **({} if aid is None else aid.of_state()),
    )


_PER_CLASS = ("emf_v", "coil_mohm", "battery_per_k", "battery_curve", "load_per_k", "load_curve", "speed_share")


def start_curves(state: StartState, volts: Floats) -> tuple[Reals, Reals, Reals]:
    """Cranking speed [rpm], battery volts and coil volts [V per 12 V] at each temperature of GRID_C, (U, K, T), of a state with
    arrays (U, K, 1); volts (U,) nominal system voltage."""
    emf, supply, coil = start_volts(state, GRID_C.astype(np.float32))
    per12 = (12.0 / volts).astype(np.float32)[:, None, None]
    return emf / state.emf_v_per_rpm, supply * per12, coil * per12


def crossing(curve: Reals, level: npt.ArrayLike) -> npt.NDArray[np.float32]:
    """Coldest temperature [degC] above which `curve` (..., T) stays at or above `level` (...)."""
    margin = curve - np.asarray(level, dtype=np.float32)[..., None]
    short = margin < 0
    last = len(GRID_C) - 1 - short[..., ::-1].argmax(axis=-1)
    after = np.minimum(last + 1, len(GRID_C) - 1)
    below = np.take_along_axis(margin, last[..., None], axis=-1)[..., 0]
    above = np.take_along_axis(margin, after[..., None], axis=-1)[..., 0]
    share = np.where(after > last, -below / np.maximum(above - below, 1e-6), 1.0)
    found = GRID_C[last] + (GRID_C[1] - GRID_C[0]) * np.clip(share, 0.0, 1.0)
    return np.where(short.any(axis=-1), found, BELOW_C).astype(np.float32)


def drawn_coldest_starts(
    state: Reals, field: Floats, vehicles: Vehicles, needs: Needs, departures: DrawnLaws | None = None
) -> npt.NDArray[np.float32]:
    """(3, U, K) coldest starts of drawn states (7, U, K)."""
    levels = (needs.speed[None], needs.supply[None], needs.coil[None])
    return np.concatenate(starts_on_levels(state, field, vehicles, levels, departures))


def starts_on_levels(
    state: Reals, field: Floats, vehicles: Vehicles, levels: Levels, departures: DrawnLaws | None = None
) -> Starts:
    """Coldest starts of drawn states (7, U, K) at every level of speed, supply and coil alone, in chunks that fit the cache."""
    found = tuple(np.empty(level.shape, dtype=np.float32) for level in levels)
    loop = compiled(coldest_on_levels)
    if loop is not None:
        shared = _laid_out(vehicles, departures or as_fitted(vehicles.laws), state.shape[2])
        arrays = (*(np.ascontiguousarray(a, dtype=np.float32) for a in (state, field)), *shared)
        asked = [np.ascontiguousarray(level, dtype=np.float32) for level in levels]

        def fill(s: slice) -> None:
            loop(s.start, s.stop, *arrays, *asked, *found)

    else:

        def fill(s: slice) -> None:
            own = vehicles.of(s)
            circuit = start_state(state[:, s], field[s], own.rest_v, own.group, own.laws, departures, own.aid)
            for out, curve, need in zip(found, start_curves(circuit, own.volts), levels, strict=True):
                for each, level in zip(out, need, strict=True):
                    each[s] = crossing(curve, level[s])

    in_chunks(state.shape[1], CHUNK_UNITS, fill)
    return found[0], found[1], found[2]


@dataclass(frozen=True)
class Limits:
    """What a coldest start ends at: needs and floors; laid: what compiled loops take of the vehicles that these are the limits of,
    by the field of their motors."""

    needs: Needs
    floors: Floors
    laid: dict[int, tuple[Floats, tuple[Any, ...]]] = field(default_factory=dict, compare=False, repr=False)

    def of(self, rows: Ints) -> Limits:
        """Those of some vehicles."""
        return Limits(self.needs.of(rows), self.floors.of(rows))

    def ends(self, coldest: Reals, *, charged: bool) -> Reals:
        """Modelled coldest starts (..., U, K), none colder than what is promised; charged: with a new battery."""
        floor = self.floors.charged if charged else self.floors.as_charged
        return np.asarray(np.maximum(coldest, (floor if floor.ndim == 2 else floor[:, None]).astype(coldest.dtype)))

    @cached_property
    def singles(self) -> list[npt.NDArray[np.float32]]:
        """As compiled loops take them."""
        needs, floor = self.needs, self.floors.as_charged
        every = np.broadcast_to(floor if floor.ndim == 2 else floor[:, None], needs.speed.shape)
        own = (needs.speed, needs.supply, needs.coil, every, self.floors.charged)
        return [np.ascontiguousarray(a, np.float32) for a in own]


def starts_with_renewed(
    state: Reals,
    near: Reals,
    rows: Ints,
    renewed: Ints,
    motors: tuple[Floats, Bools, Reals],
    vehicles: Vehicles,
    limits: Limits,
    departures: DrawnLaws,
    *,
    unrenewed: bool,
) -> npt.NDArray[np.float32] | None:
    """(rows, K) coldest starts of the vehicles `rows` of a drawn state (7, U, K) with parts renewed, in bits as
    :func:`coldest_with_renewed` has them; None where loops are not compiled.

    near: (U, K) starts near these; motors: (U, K) their field, whether a raised load is the starter's, and the load as it was built;
    unrenewed: whether `near` are the starts with nothing renewed, which spares most of the search.
    """
    loop = compiled(coldest_with_renewed)
    if loop is None:
        return None
    draws, (field, weak, built), own = state.shape[2], motors, vehicles
    if id(field) not in limits.laid:  # the same for every part and every day ahead
        limits.laid[id(field)] = field, (
            np.ascontiguousarray(field, np.float32), np.ascontiguousarray(weak), np.ascontiguousarray(built, np.float32),
            *_laid_out(own, departures, draws), departures.batteries(own.laws, draws)[1],
            *departures.loads(own.laws, draws, own.group, own.aid)[1][1:], *limits.singles,
        )  # fmt: skip
    arrays = (
        *(np.ascontiguousarray(a, np.int64) for a in (rows, renewed)),
        *(np.ascontiguousarray(a, np.float32) for a in (state, near)), unrenewed, *limits.laid[id(field)][1],
    )  # fmt: skip
    found = np.empty((len(rows), draws), np.float32)
    in_chunks(len(rows), CHUNK_UNITS, lambda s: loop(s.start, s.stop, *arrays, found))
    return found


def _laid_out(vehicles: Vehicles, away: DrawnLaws, draws: int) -> tuple[Any, ...]:
    """What :func:`coldest_on_levels` reads, as :func:`start_state` makes it; the laws of a draw are the same for a whole class,
    and so is what they make of battery and load at each temperature: (G, T, K), and more of loads where heaters warm engines."""
    rest_v, group, laws, aid = vehicles.rest_v, vehicles.group, vehicles.laws, vehicles.aid
    load_place, (load, *_) = away.loads(laws, draws, group, aid)
    circuit = np.empty((len(rest_v), 10), dtype=np.float32)
    circuit[:, OPEN_V], circuit[:, BRUSH_LOST_V] = rest_v, BRUSH_V.value * blocks_of(rest_v)
    circuit[:, REFERENCE_RPM], circuit[:, EMF_V] = usual_speed(laws)[group], laws.emf_v[group]
    circuit[:, COIL_MOHM], circuit[:, SPEED_SHARE] = laws.coil_mohm[group], laws.speed_share[group]
    circuit[:, SOUND_MOHM] = laws.base[group][:, [POSITIVE, GROUND, CONTACTS, MOTOR]].sum(axis=1)
    circuit[:, PER_12] = 12.0 / vehicles.volts
    circuit[:, AID_A], circuit[:, AID_BELOW_C] = (0.0, 0.0) if aid is None else (aid.load_a, aid.below_c)
    return (
        laws.base[group].astype(np.float32),
        circuit,
        np.ascontiguousarray(group, dtype=np.int64),
        np.ascontiguousarray(load_place, dtype=np.int64),
        away.batteries(laws, draws)[0],
        load,
        _copper(),
        GRID_C.astype(np.float32),
        np.float32(BELOW_C),
        np.float32(OBSERVING.least_level),
    )


def _copper() -> npt.NDArray[np.float32]:
    """(T,) by what the cold multiplies copper's resistance."""
    return np.asarray(1.0 - COPPER_PER_K.value * (REFERENCE_C.value - GRID_C), dtype=np.float32)
