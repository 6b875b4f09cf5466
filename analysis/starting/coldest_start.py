"""From drawn states to coldest starts: speed, supply and coil volts of a start at each temperature of a grid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.circuit.limits import BRUSH_V
from analysis.readings.aid import Aid
from analysis.readings.choices import OBSERVING
from analysis.readings.draws import Draws
from analysis.readings.observe import BATTERY, CONTACTS, CONTROL, GROUND, LOAD, MOTOR, POSITIVE, ClassLaws
from analysis.readings.panel import Floats, Ints, Reals, in_chunks
from analysis.starting.choices import LOOP
from analysis.starting.loop import StartLimits, StartState, blocks_of, start_margins_v

GRID_C = np.arange(-68.0, 41.0, 4.0)
BELOW_C = -70.0  # what "starts at every temperature of the grid" is written as
CHUNK_UNITS = 400


@dataclass(frozen=True)
class Curves:
    """Cranking speed [rpm], battery volts and coil volts [V per 12 V] at each temperature of GRID_C, (..., T)."""

    speed: Reals
    supply: Reals
    coil: Reals


@dataclass(frozen=True)
class Needs:
    """What a start needs, per vehicle and draw (U, K): speed [rpm], supply and coil volts [V per 12 V]."""

    speed: Floats
    supply: Floats
    coil: Floats


@dataclass(frozen=True)
class DrawnLaws:
    """Departures of the class laws of battery and load in each draw, (G, K, 3): of the slope [1/K], of the curvature [1/K^2],
    and of the log of the usual value at 20 degC."""

    battery: Floats
    load: Floats


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
    return DrawnLaws(*(np.concatenate([d, b[..., None]], axis=-1) for d, b in zip((battery, load), back, strict=True)))


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
        emf_v_per_rpm=(per_unit["emf_v"] - brush) / speed * field.astype(np.float32)[..., None],
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


def start_curves(state: StartState, volts: Floats) -> Curves:
    """Curves over GRID_C of a state with arrays (U, K, 1); volts (U,) nominal system voltage."""
    grid = GRID_C.astype(np.float32)
    emf, supply, coil = start_margins_v(state, grid, StartLimits(0.0, 0.0, 0.0))
    per12 = (12.0 / volts).astype(np.float32)[:, None, None]
    return Curves(emf / state.emf_v_per_rpm, supply * per12, coil * per12)


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


def coldest_starts(curves: Curves, needs: Needs) -> npt.NDArray[np.float32]:
    """(3, U, K) coldest temperature at which speed, supply and coil each still suffice [degC]."""
    return np.stack(
        [
            crossing(curves.speed, needs.speed),
            crossing(curves.supply, needs.supply),
            crossing(curves.coil, needs.coil),
        ]
    )


def drawn_coldest_starts(
    state: Reals,
    field: Floats,
    rest_v: Floats,
    group: Ints,
    volts: Floats,
    laws: ClassLaws,
    needs: Needs,
    departures: DrawnLaws | None = None,
    aid: Aid | None = None,
) -> npt.NDArray[np.float32]:
    """(3, U, K) coldest starts of drawn states (7, U, K), in chunks that fit the cache."""
    found = np.empty((3, state.shape[1], state.shape[2]), dtype=np.float32)

    def fill(s: slice) -> None:
        circuit = start_state(
            state[:, s], field[s], rest_v[s], group[s], laws, departures, None if aid is None else aid.of(s)
        )
        own = Needs(needs.speed[s], needs.supply[s], needs.coil[s])
        found[:, s] = coldest_starts(start_curves(circuit, volts[s]), own)

    in_chunks(state.shape[1], CHUNK_UNITS, fill)
    return found
