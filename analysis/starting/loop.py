"""Forward model of a start, and the coldest temperature at which a vehicle still starts.

From the state of a unit (resistances at 20 °C, open-circuit volts, load, motor constant, temperature laws) the series
loop of `analysis.circuit.resistances` is solved at any temperature. A start needs three things at once: enough cranking speed,
enough volts for the engine's electronics, and enough volts on the solenoid coil. The coldest start is the temperature
below which one of them is missing.

Units: volts of the whole system, mΩ, A, rpm of the crankshaft, °C. All arrays broadcast; 32-bit floats stay so.
Validity: direct current in the steady part of cranking, at the second to third revolution; one motor constant, which
a series-wound motor has only near one load; battery at the temperature given, which follows the air in hours.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from analysis.circuit.limits import (
    BATTERY_CURVATURE,
    BATTERY_PER_K,
    BRUSH_V,
    COPPER_PER_K,
    DRAG_CURVATURE,
    DRAG_PER_K,
    LOAD_SPEED_SHARE,
    OPEN_CIRCUIT_V_PER_K,
    REFERENCE_C,
    Limits,
)

Array = npt.NDArray[Any]
Value = float | Array

COLDEST_C: Final = -45.0  # our choice: below the freezing point of a half-charged battery nothing is predicted
WARMEST_C: Final = 40.0  # our choice: a unit that fails at 40 °C does not start at all
HALVINGS: Final = 8  # our choice: 85 K / 2^8 = 0.33 K, then one straight line inside
CHUNK: Final = 32_768  # our choice: values worked on at once, so that they stay in the processor's cache
LEAST_DRAG_PER_K: Final = 0.0055  # our choice: just above copper's gain at -45 °C, so that colder is never easier
SMALL: Final = 1e-9  # guards a division; a curvature this small bends nothing
VOLTS_OF_TWO_BLOCKS: Final = 16.0  # our choice: more volts than one charging block ever shows are two in series


@dataclass(frozen=True)
class StartState:
    """State of the starting circuit of one or many units; resistances and load at 20 °C, volts of the system.

    `load_a`: steady amps the engine asks for at `reference_rpm` and 20 °C. `emf_v_per_rpm`: back-emf by crankshaft
    speed. `battery_b`, `battery_c`, `drag_b`, `drag_c`: temperature laws (`analysis.circuit.temperature`).
    `load_speed_share`: share of the load that falls with speed, 0 for a load of constant torque. `sound_mohm`: cables,
    contacts and motor of a sound vehicle at 20 °C, see :func:`start_margins_v`; None for amps at the reference speed.
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
    load_speed_share: Value = LOAD_SPEED_SHARE.value
    open_circuit_v_per_k: Value = OPEN_CIRCUIT_V_PER_K.value
    sound_mohm: Value | None = None


@dataclass(frozen=True)
class StartLimits:
    """What a start needs: cranking speed [rpm], volts for the electronics [V], volts on the solenoid coil [V]."""

    least_rpm: Value
    supply_minimum_v: Value
    pull_in_v: Value


@dataclass(frozen=True)
class StartSolution:
    """One solved start. `back_emf_v` may be below zero where the motor could not turn; `speed_rpm` is then zero."""

    open_circuit_v: Array
    amps: Array
    battery_v: Array
    motor_v: Array
    coil_v: Array
    back_emf_v: Array
    speed_rpm: Array
    stall_a: Array
    stall_battery_v: Array


# Fields of the state that a renewed part replaces; a renewed battery is also a charged one.
PART_FIELDS: Final[dict[str, tuple[str, ...]]] = {
    "battery": ("open_circuit_v", "battery_mohm"),
    "positive_cable": ("positive_mohm",),
    "ground_path": ("ground_mohm",),
    "solenoid_contacts": ("contacts_mohm",),
    "starter_motor": ("motor_mohm", "emf_v_per_rpm"),
    "control_circuit": ("control_mohm", "coil_mohm"),
    "engine_drag": ("load_a",),
}


def start_limits(limits: Limits) -> StartLimits:
    """The three needs of a start from one group's limits."""
    return StartLimits(limits.least_cranking_rpm.value, limits.supply_minimum_v.value, limits.pull_in_v.value)


def emf_constant(
    motor_v: npt.ArrayLike, amps: npt.ArrayLike, motor_mohm: npt.ArrayLike, speed_rpm: npt.ArrayLike, *, brush_v: float
) -> Array:
    """Back-emf by speed [V/rpm] from volts at the motor [V], amps, winding [mΩ] and cranking speed [rpm]."""
    winding_v = np.asarray(amps) * np.asarray(motor_mohm) / 1000.0
    result: Array = (np.asarray(motor_v) - brush_v - winding_v) / np.asarray(speed_rpm)
    return result


def _warm(state: StartState, temperature_c: Value) -> tuple[Value, Value, Value, Value]:
    """Open-circuit volts, battery [Ω], copper factor and load [A] at a temperature."""
    x = REFERENCE_C.value - temperature_c
    copper = 1.0 - COPPER_PER_K.value * x
    battery = state.battery_mohm * 0.001 * np.exp(_law(state.battery_b, state.battery_c, x, least_slope=0.0))
    load = state.load_a * np.exp(_law(state.drag_b, state.drag_c, x, least_slope=LEAST_DRAG_PER_K))
    blocks = _blocks(state.open_circuit_v)
    open_v = state.open_circuit_v - state.open_circuit_v_per_k * blocks * x
    return open_v, battery, copper, load


def _blocks(volts: Value) -> Value:
    """12 V blocks in series, told from the open-circuit volts."""
    if isinstance(volts, np.ndarray):
        two: Array = (volts > VOLTS_OF_TWO_BLOCKS).astype(volts.dtype)
        return two + 1
    return 2.0 if volts > VOLTS_OF_TWO_BLOCKS else 1.0


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
    """Solve the start at temperatures [°C].

    The loop E - V_brush = I ΣR + k w and the load I = I_L(T) [(1 - s) + s w / w_ref] are linear in I and w, so that
    I = I_L [(1 - s) + s (E - V_brush) / (k w_ref)] / (1 + I_L s ΣR / (k w_ref)). Where the motor cannot turn,
    amps stop at the stall current (E - V_brush) / ΣR and the speed is zero.
    """
    return _solved(state, *_warm(state, np.asarray(temperature_c)))


def _solved(state: StartState, open_v: Value, battery: Value, copper: Value, load: Value) -> StartSolution:
    """The start of a circuit at the temperature of what :func:`_warm` gives."""
    cables = (state.positive_mohm + state.ground_mohm) * 0.001 * copper + state.contacts_mohm * 0.001
    outside = battery + cables
    loop = outside + state.motor_mohm * 0.001 * copper
    share = state.load_speed_share
    drive = open_v - state.brush_v
    amps, slowing = _slowed(state, load, drive, loop)
    stall = drive / loop
    left = drive - load * (1.0 - share) * loop
    back_emf = np.minimum(left, left / slowing)  # drive - amps loop while it turns; below zero the volts it lacks
    flowing = np.minimum(amps, stall)
    battery_v = open_v - flowing * battery
    coil = state.coil_mohm * copper
    return StartSolution(
        np.asarray(open_v),
        np.asarray(flowing),
        np.asarray(battery_v),
        np.asarray(open_v - flowing * outside),
        np.asarray(battery_v * coil / (coil + state.control_mohm)),
        np.asarray(back_emf),
        np.asarray(np.maximum(back_emf, 0.0) / state.emf_v_per_rpm),
        np.asarray(stall),
        np.asarray(open_v - stall * battery),
    )


def _slowed(state: StartState, load: Value, drive: Value, loop: Value) -> tuple[Value, Value]:
    """Amps of a load at the speed to which `drive` volts through `loop` ohms turn it, and by what factor `loop` makes
    them fewer."""
    reference_v, share = state.emf_v_per_rpm * state.reference_rpm, state.load_speed_share
    slowing = 1.0 + load * share * loop / reference_v
    return load * ((1.0 - share) + share * drive / reference_v) / slowing, slowing


def start_margins_v(state: StartState, temperature_c: npt.ArrayLike, limits: StartLimits) -> tuple[Array, Array, Array]:
    """Volts to spare for speed (as back-emf), for the electronics and for the solenoid coil at temperatures [°C].

    Electronics and coil are judged at the amps that the engine takes at the speed to which this battery turns it through
    sound cables and a sound motor: a bad cable must not look like a help to the battery. Where these are not given, at
    the amps that it asks for at its reference speed.
    """
    open_v, battery, copper, load = _warm(state, np.asarray(temperature_c))
    start = _solved(state, open_v, battery, copper, load)
    speed = start.back_emf_v - state.emf_v_per_rpm * limits.least_rpm
    if state.sound_mohm is not None:
        load, _ = _slowed(state, load, open_v - state.brush_v, battery + state.sound_mohm * 0.001 * copper)
    battery_v = open_v - load * battery
    coil = state.coil_mohm * copper
    # the smaller of the two: volts below zero, which no battery shows, must not shrink on the way to the coil
    coil_v = np.minimum(battery_v, battery_v * coil / (coil + state.control_mohm))
    return np.asarray(speed), np.asarray(battery_v - limits.supply_minimum_v), np.asarray(coil_v - limits.pull_in_v)


def start_margin_v(state: StartState, temperature_c: npt.ArrayLike, limits: StartLimits) -> Array:
    """Smallest of the three margins [V]; below zero the engine does not start."""
    speed, supply, coil = start_margins_v(state, temperature_c, limits)
    result: Array = np.minimum(np.minimum(speed, supply), coil)
    return result


NEEDS: Final = ("cranking speed", "supply voltage", "solenoid coil voltage")


def limiting_need(state: StartState, temperature_c: npt.ArrayLike, limits: StartLimits) -> Array:
    """Index into NEEDS of the need that runs out first at temperatures [°C]."""
    result: Array = np.argmin(np.stack(np.broadcast_arrays(*start_margins_v(state, temperature_c, limits))), axis=0)
    return result


def coldest_start(state: StartState, limits: StartLimits) -> Array:
    """Coldest temperature [°C] at which the engine still starts, broadcast over units and draws.

    Found by halving between -45 and +40 °C and a straight line inside the last half. -45 means "below -45 °C",
    +40 means "does not start at any temperature"; NaN where the state is.
    """
    return _in_chunks(_coldest, state, limits)


def _coldest(state: StartState, limits: StartLimits, shape: tuple[int, ...]) -> Array:
    """One chunk of :func:`coldest_start`."""
    arrays = [v.dtype for v in (getattr(state, f.name) for f in fields(state)) if isinstance(v, np.ndarray)]
    kind = np.result_type(np.float32, *arrays) if arrays else np.dtype(np.float64)
    cold = np.full(shape, COLDEST_C, dtype=kind)
    warm = np.full(shape, WARMEST_C, dtype=kind)
    at_cold = np.broadcast_to(start_margin_v(state, cold, limits), shape).copy()
    at_warm = np.broadcast_to(start_margin_v(state, warm, limits), shape).copy()
    always, never, unknown = at_cold >= 0, at_warm < 0, np.isnan(at_cold)
    for _ in range(HALVINGS):
        middle = (cold + warm) * kind.type(0.5)
        margin = start_margin_v(state, middle, limits)
        fails = margin < 0
        cold, at_cold = np.where(fails, middle, cold), np.where(fails, margin, at_cold)
        warm, at_warm = np.where(fails, warm, middle), np.where(fails, at_warm, margin)
    rise = at_warm - at_cold
    share = np.clip(np.divide(-at_cold, rise, out=np.ones_like(rise), where=rise > 0), 0.0, 1.0)
    found = cold + (warm - cold) * share
    found = np.where(always, kind.type(COLDEST_C), np.where(never, kind.type(WARMEST_C), found))
    result: Array = np.where(unknown, kind.type(np.nan), found)
    return result


def _in_chunks(
    work: Callable[[StartState, StartLimits, tuple[int, ...]], Array], state: StartState, limits: StartLimits
) -> Array:
    """Run `work` on slices of the first axis small enough for the processor's cache."""
    values = {f.name: getattr(state, f.name) for f in fields(state)}
    needs = {f.name: getattr(limits, f.name) for f in fields(limits)}
    shape = np.broadcast_shapes(*(np.shape(v) for v in (*values.values(), *needs.values())))
    if not shape:
        return work(state, limits, shape)
    rows = max(1, CHUNK // max(1, int(np.prod(shape[1:]))))
    parts = []
    for start in range(0, max(shape[0], 1), rows):
        here = slice(start, start + rows)
        part = replace(state, **{k: _slice(v, here, shape) for k, v in values.items()})
        need = replace(limits, **{k: _slice(v, here, shape) for k, v in needs.items()})
        parts.append(work(part, need, (min(rows, shape[0] - start), *shape[1:])))
    return np.concatenate(parts)


def _slice(value: Value | None, here: slice, shape: tuple[int, ...]) -> Any:
    """The rows of a value that has the full number of axes; others are shared by all rows."""
    if value is None:
        return None
    array = np.asarray(value)
    if array.ndim == 0:
        return float(array)  # a plain number does not widen 32-bit arrays
    return array[here] if array.ndim == len(shape) and array.shape[0] == shape[0] and shape[0] > 1 else array


def coldest_start_interval(
    coldest_c: npt.ArrayLike, *, low: float = 0.1, high: float = 0.9
) -> tuple[Array, Array, Array]:
    """Median and interval of the coldest start over its last axis, the draws; draws without a value are left out.

    :param low, high: quantiles, 0 < low < high < 1
    :raises ValueError: quantiles out of order
    """
    if not 0.0 < low < high < 1.0:
        raise ValueError(f"low and high are {low} and {high}; allowed is 0 < low < high < 1")
    ordered = np.sort(np.asarray(coldest_c), axis=-1)
    known = np.isfinite(ordered).sum(axis=-1)
    found = []
    for quantile in (0.5, low, high):
        place = quantile * np.maximum(known - 1, 0)
        below = np.floor(place).astype(np.int64)
        above = np.minimum(below + 1, np.maximum(known - 1, 0))
        first = np.take_along_axis(ordered, below[..., None], -1)[..., 0]
        second = np.take_along_axis(ordered, above[..., None], -1)[..., 0]
        found.append(first + (second - first) * (place - below))
    return found[0], found[1], found[2]


def renewed(state: StartState, part: str, healthy: StartState) -> StartState:
    """The state with one part as good as in `healthy` (better of the two where the unit is already better).

    :param part: one of PART_FIELDS
    :raises ValueError: an unknown part
    """
    if part not in PART_FIELDS:
        raise ValueError(f"part is {part!r}; allowed are {', '.join(PART_FIELDS)}")
    changes: dict[str, Value] = {}
    for name in PART_FIELDS[part]:
        own, good = getattr(state, name), getattr(healthy, name)
        pick = np.maximum if name == "open_circuit_v" else np.minimum
        changes[name] = good if name in ("emf_v_per_rpm", "coil_mohm") else pick(own, good)
    constant = state.emf_v_per_rpm / healthy.emf_v_per_rpm
    if part == "starter_motor":  # the engine asks for the same torque, which is amps times motor constant
        changes["load_a"] = state.load_a * constant
    if part == "engine_drag":
        changes["load_a"] = np.minimum(state.load_a, healthy.load_a / constant)
    return replace(state, **changes)


def aged(state: StartState, days: Value, log_rate_per_day: dict[str, Value]) -> StartState:
    """The state after some days of steady wear: fields times exp(rate x days), rates by field name [1/d].

    :raises ValueError: a name that is no field of the state
    """
    names = [f.name for f in fields(state)]
    unknown = [name for name in log_rate_per_day if name not in names]
    if unknown:
        raise ValueError(f"log_rate_per_day names {unknown[0]!r}; allowed are {', '.join(names)}")
    changes = {name: getattr(state, name) * np.exp(rate * days) for name, rate in log_rate_per_day.items()}
    return replace(state, **changes)


def coldest_start_by_part(state: StartState, healthy: StartState, limits: StartLimits) -> dict[str, Array]:
    """Coldest start [°C] with each single part renewed, by part."""
    return {part: coldest_start(renewed(state, part, healthy), limits) for part in PART_FIELDS}
