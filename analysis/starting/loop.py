"""Forward model of a start: amps, volts and speed at any temperature, and what is left of what a start needs.

Equations: "The start, solved at any temperature" in NUMBERS.md; `coldest_start` finds where a need is missing.

Units: volts of the whole system, mΩ, A, rpm of the crankshaft, °C. All arrays broadcast; 32-bit floats stay so.
Validity: direct current in the steady part of cranking, at the second to third revolution; one motor constant, which
a series-wound motor has only near one load; battery at the temperature given, which follows the air in hours, and the
engine too, unless a heater warms it.
"""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from analysis.circuit.choices import BATTERY_TABLES
from analysis.circuit.limits import (
    BATTERY_CURVATURE,
    BATTERY_PER_K,
    BRUSH_V,
    COPPER_PER_K,
    DRAG_CURVATURE,
    DRAG_PER_K,
    OPEN_CIRCUIT_V_PER_K,
    REFERENCE_C,
)
from analysis.readings.aid import amps_below, engine_c
from analysis.readings.choices import CLASSES, OBSERVING
from analysis.starting.choices import LOOP

Array = npt.NDArray[Any]
Value = float | Array

SMALL: Final = 1e-9  # guards a division; a curvature this small bends nothing


@dataclass(frozen=True)
class StartState:
    """State of the starting circuit of one or many vehicles; resistances and load at 20 °C, volts of the system.

    `load_a`: steady amps the engine asks for at `reference_rpm` and 20 °C. `emf_v_per_rpm`: back-emf by crankshaft
    speed. `battery_b`, `battery_c`, `drag_b`, `drag_c`: temperature laws (`analysis.circuit.temperature`).
    `load_speed_share`: share of the load that falls with speed, 0 for a load of constant torque. `sound_mohm`: cables,
    contacts and motor of a sound vehicle at 20 °C, see :func:`start_volts`; None for amps at the reference speed.
    `aid_load_a`: amps of glow plugs or an intake heater beside the starter's, in air below `aid_below_c`, where a block heater
    also makes the engine `engine_warmer_k` warmer than the air.
    """

    open_circuit_v: Value
    battery_mohm: Value
    positive_mohm: Value
    ground_mohm: Value
    contacts_mohm: Value
    motor_mohm: Value
    load_a: Value
    emf_v_per_rpm: Value
    reference_rpm: Value
    control_mohm: Value
    coil_mohm: Value
    battery_b: Value = BATTERY_PER_K.value
    battery_c: Value = BATTERY_CURVATURE.value
    drag_b: Value = DRAG_PER_K.value
    drag_c: Value = DRAG_CURVATURE.value
    brush_v: Value = BRUSH_V.value
    load_speed_share: Value = CLASSES.speed_share
    open_circuit_v_per_k: Value = OPEN_CIRCUIT_V_PER_K.value
    sound_mohm: Value | None = None
    aid_load_a: Value = 0.0
    aid_below_c: Value = OBSERVING.aid_below_c
    engine_warmer_k: Value = 0.0


@dataclass(frozen=True)
class StartSolution:
    """One solved start. `back_emf_v` may be below zero where the motor could not turn; `speed_rpm` is then zero."""

    amps: Array
    battery_v: Array
    back_emf_v: Array
    speed_rpm: Array
    stall_a: Array


def _warm(state: StartState, temperature_c: Value) -> tuple[Value, Value, Value, Value]:
    """Volts before the starter takes its amps, battery [Ω], copper factor and load [A] at a temperature."""
    x = REFERENCE_C.value - temperature_c
    copper = 1.0 - COPPER_PER_K.value * x
    battery = state.battery_mohm * 0.001 * battery_times(state.battery_b, state.battery_c, x)
    engine = temperature_c
    if isinstance(state.engine_warmer_k, np.ndarray) or state.engine_warmer_k:
        engine = engine_c(temperature_c, state.aid_below_c, state.engine_warmer_k)
    load = state.load_a * load_times(state.drag_b, state.drag_c, REFERENCE_C.value - engine)
    open_v = open_circuit_v_at(state, temperature_c)
    if isinstance(state.aid_load_a, np.ndarray) or state.aid_load_a:  # what else the battery gives lowers what is left
        open_v = open_v - aid_amps_at(state, temperature_c) * battery
    return open_v, battery, copper, load


def battery_times(b: Value, c: Value, colder_k: Value) -> Value:
    """By what a battery's resistance is multiplied so many K below 20 °C."""
    times: Value = np.exp(_law(b, c, colder_k, least_slope=0.0))
    return times


def load_times(b: Value, c: Value, colder_k: Value) -> Value:
    """By what the engine's load is multiplied so many K below 20 °C."""
    times: Value = np.exp(_law(b, c, colder_k, least_slope=LOOP.least_drag_per_k))
    return times


def open_circuit_v_at(state: StartState, temperature_c: Value) -> Value:
    """Volts at rest at a temperature [°C], starter and starting aid off."""
    x = REFERENCE_C.value - temperature_c
    return state.open_circuit_v - state.open_circuit_v_per_k * blocks_of(state.open_circuit_v) * x


def aid_amps_at(state: StartState, temperature_c: npt.ArrayLike) -> Array:
    """Amps that the starting aid draws beside the starter at temperatures [°C]."""
    return amps_below(state.aid_load_a, state.aid_below_c, temperature_c)


def blocks_of(volts: Value) -> Value:
    """12 V blocks in series, told from the open-circuit volts."""
    if isinstance(volts, np.ndarray):
        two: Array = (volts > BATTERY_TABLES.two_blocks_v).astype(volts.dtype)
        return two + 1
    return 2.0 if volts > BATTERY_TABLES.two_blocks_v else 1.0


def _law(b: Value, c: Value, x: Value, *, least_slope: float) -> Value:
    """b x + c x²; where curvature would bring the slope under the least, in the cold or the heat, straight on at it."""
    if not isinstance(c, np.ndarray):  # a plain number stays one, and does not widen 32-bit arrays
        if c == 0.0:
            return b * x
        bend: Value = (least_slope - b) / (2.0 * c if abs(c) >= SMALL else SMALL)
        held: Value = np.minimum(x, np.maximum(bend, 0.0)) if c < 0 else np.maximum(x, np.minimum(bend, 0.0))
    else:
        bend = (least_slope - b) / np.where(np.abs(c) < SMALL, SMALL, 2.0 * c)
        held = np.where(c < 0, np.minimum(x, np.maximum(bend, 0.0)), np.maximum(x, np.minimum(bend, 0.0)))
    return (b + c * held) * held + least_slope * (x - held)


def solve_start(state: StartState, temperature_c: npt.ArrayLike) -> StartSolution:
    """Solve the start at temperatures [°C]. Where the motor cannot turn, amps stop at the stall current and the speed is zero."""
    return _solved(state, *_warm(state, np.asarray(temperature_c)))


def _solved(state: StartState, open_v: Value, battery: Value, copper: Value, load: Value) -> StartSolution:
    """The start of a circuit at the temperature of what :func:`_warm` gives."""
    cables = (state.positive_mohm + state.ground_mohm) * 0.001 * copper + state.contacts_mohm * 0.001
    loop = battery + cables + state.motor_mohm * 0.001 * copper
    share = state.load_speed_share
    drive = open_v - state.brush_v
    amps, slowing = _slowed(state, load, drive, loop)
    stall = drive / loop
    left = drive - load * (1.0 - share) * loop
    back_emf = np.minimum(left, left / slowing)  # drive - amps loop while it turns; below zero the volts it lacks
    flowing = np.minimum(amps, stall)
    battery_v = open_v - flowing * battery
    return StartSolution(
        np.asarray(flowing),
        np.asarray(battery_v),
        np.asarray(back_emf),
        np.asarray(np.maximum(back_emf, 0.0) / state.emf_v_per_rpm),
        np.asarray(stall),
    )


def _slowed(state: StartState, load: Value, drive: Value, loop: Value) -> tuple[Value, Value]:
    """Amps of a load at the speed to which `drive` volts through `loop` ohms turn it, and by what factor `loop` makes
    them fewer."""
    reference_v, share = state.emf_v_per_rpm * state.reference_rpm, state.load_speed_share
    slowing = 1.0 + load * share * loop / reference_v
    return load * ((1.0 - share) + share * drive / reference_v) / slowing, slowing


def volts_at_amps(state: StartState, temperature_c: npt.ArrayLike, amps: npt.ArrayLike) -> dict[str, Array]:
    """Where the volts go at a temperature [°C] while the starter takes `amps` [A]: rest volts, battery volts, and the volts
    lost in the positive cable, the contacts and the ground path [V]."""
    flowing = np.asarray(amps)
    _, battery, copper, _ = _warm(state, np.asarray(temperature_c))
    rest_v = open_circuit_v_at(state, np.asarray(temperature_c))
    return {
        "rest_v": np.asarray(rest_v),
        "battery_v": np.asarray(rest_v - (flowing + aid_amps_at(state, temperature_c)) * battery),
        "positive_v": np.asarray(flowing * state.positive_mohm * 0.001 * copper),
        "contacts_v": np.asarray(flowing * state.contacts_mohm * 0.001),
        "ground_v": np.asarray(flowing * state.ground_mohm * 0.001 * copper),
    }


def start_volts(state: StartState, temperature_c: npt.ArrayLike) -> tuple[Array, Array, Array]:
    """Volts that speed comes from (the back-emf), at the electronics and at the solenoid coil, at temperatures [°C].

    Where no sound cables and motor are given, electronics and coil are judged at the amps asked for at the reference speed.
    """
    open_v, battery, copper, load = _warm(state, np.asarray(temperature_c))
    start = _solved(state, open_v, battery, copper, load)
    if state.sound_mohm is not None:
        load, _ = _slowed(state, load, open_v - state.brush_v, battery + state.sound_mohm * 0.001 * copper)
    battery_v = open_v - load * battery
    coil = state.coil_mohm * copper
    # the smaller of the two: volts below zero, which no battery shows, must not shrink on the way to the coil
    coil_v = np.minimum(battery_v, battery_v * coil / (coil + state.control_mohm))
    return start.back_emf_v, np.asarray(battery_v), np.asarray(coil_v)
