"""Recorded starts: volts, amps and speed over time from a series loop that turns an engine against its compressions.

Forward physics of its own, richer than what takes a trace apart: inductance, polarisation with a time of its own, compression
strokes of a bell's shape that may differ, an engine that catches, clamps with an offset, a drift and an end of their range.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from demo_fleet.cranking import POLARISATION
from demo_fleet.vehicles import CLASSES, VehicleClass

Array = npt.NDArray[np.float64]

STEP_S = 2e-4
"""Step of the integration, s: our choice, a tenth of the loop's own time."""
LOOP_TIME_S = 0.0025
"""Inductance over resistance of a starter's loop, s: our choice, of the order of common practice."""
OPENING_S = 0.001
"""Time in which the arc of opening contacts dies, s: our choice."""
POLARISES_S = 0.35
"""Time in which the battery polarises, s: our choice."""
STROKE_RAD = 0.5
"""Half width of a compression stroke in crank angle, rad: our choice, most of the pressure stands within 60 degrees."""
GIVEN_BACK = 0.85
"""Share of the compression's work that its expansion gives back: our choice."""
STROKE_SHARE = 1.1
"""Torque of a stroke as a share of the steady torque: our choice, so that the ripple is 10 to 30 % of the amps."""
INERTIA_S = 0.13
"""Kinetic energy at the steady speed over the steady power, s: our choice, so that a start is up to speed in 0.3 s."""
PULL_IN_A, PULL_IN_S = 25.0, 0.03
"""Amps of the solenoid before its contacts close, and for how long: our choice."""
FREE_SHARE = 0.2
"""Amps of a starter that an engine overruns, as a share of the steady ones: our choice."""
CATCHING = 1.6
"""Torque of a firing engine as a share of the steady torque: our choice."""
RUNNING_V = 14.1
"""Volts per 12 V block with the engine running: common practice."""
CHARGING_S = 0.4
"""Time in which the volts rise once the engine runs, s: our choice."""


@dataclass(frozen=True)
class StartScript:
    """A vehicle at one start; resistances [mΩ], amps at the steady speed `rpm`, even: strength of each cylinder's stroke."""

    rest_v: float
    battery_mohm: float
    loop_mohm: float
    brush_v: float
    emf_v_per_rpm: float
    load_a: float
    load_rises: float
    rpm: float
    even: tuple[float, ...]
    blocks: int = 1


@dataclass(frozen=True)
class Key:
    """When the starter is switched on and off [s], and when the engine catches (None: it does not)."""

    on_s: float
    off_s: float
    catches_s: float | None = None


@dataclass(frozen=True)
class Played:
    """What happened, noise-free, at steps of STEP_S: volts at the battery, amps, speed of the engine."""

    time_s: Array
    volts: Array
    amps: Array
    rpm: Array


@dataclass(frozen=True)
class Instruments:
    """What the recorder does to the truth: samples a second, noise, and the clamp's offset, drift and end of range."""

    rate_hz: float
    noise_v: float = 0.01
    noise_a: float = 2.0
    offset_a: float = 0.0
    drift_a_per_s: float = 0.0
    clips_at_a: float = np.inf


def script_of(
    vehicle: VehicleClass, *, even: Sequence[float] | None = None, worn: float = 1.0, charge: float = 0.9
) -> StartScript:
    """A start of a vehicle as its class is built; worn: factor on the battery's resistance."""
    loop = vehicle.positive_mohm + vehicle.ground_mohm + vehicle.contacts_mohm + vehicle.motor_mohm
    load = float(vehicle.friction_a + vehicle.viscous_a)
    rest = vehicle.blocks * (11.7 + 1.0 * charge)
    drop = load * (vehicle.battery_mohm * worn * (1 + POLARISATION) + loop) / 1000
    rpm = (rest - vehicle.brush_v - drop) / vehicle.emf_v_per_rpm
    strokes = tuple(even) if even is not None else (1.0,) * vehicle.cylinders
    return StartScript(
        rest, vehicle.battery_mohm * worn, loop, vehicle.brush_v, vehicle.emf_v_per_rpm, load, 0.25, rpm, strokes,
        vehicle.blocks,
    )  # fmt: skip


def stroke(angle: Array, even: Sequence[float]) -> Array:
    """Torque of the compressions at a crank angle [rad], as a share of the largest: one stroke of each in two turns."""
    total = np.zeros_like(angle)
    for k, strength in enumerate(even):
        after = (angle - 4 * np.pi * (k + 0.5) / len(even) + 2 * np.pi) % (4 * np.pi) - 2 * np.pi
        bell = -after / STROKE_RAD * np.exp(0.5 * (1 - (after / STROKE_RAD) ** 2))
        total += strength * np.where(after < 0, bell, GIVEN_BACK * bell)
    return total


def play(script: StartScript, keys: Sequence[Key], *, lasts_s: float, begins_rad: float = 0.3) -> Played:
    """Integrate the starts of one vehicle."""
    time = np.arange(0.0, lasts_s, STEP_S)
    closed, fires = _switched(time, keys)
    ohm, loop = script.battery_mohm / 1000, script.loop_mohm / 1000
    table = STROKE_SHARE * script.load_a * stroke(np.linspace(0, 4 * np.pi, TABLE, endpoint=False), script.even)
    per_step = STEP_S * script.rpm / (2 * INERTIA_S * script.load_a)  # [rpm/A]
    decays = {True: np.exp(-STEP_S / LOOP_TIME_S), False: np.exp(-STEP_S / OPENING_S)}
    lag = STEP_S / POLARISES_S
    amps, rpm, angle, polar = 0.0, 0.0, begins_rad, 0.0
    out = np.empty((3, len(time)))
    for k, on in enumerate(closed.tolist()):
        force = script.rest_v - polar - script.brush_v - script.emf_v_per_rpm * rpm
        aim = max(force / (ohm + loop), FREE_SHARE * script.load_a) if on else 0.0
        amps = aim + (amps - aim) * decays[on]
        polar += lag * (POLARISATION * ohm * amps - polar)
        load = script.load_a * (1 - script.load_rises + script.load_rises * rpm / script.rpm)
        against = load + table[int(angle * TABLE / (4 * np.pi)) % TABLE]
        rpm += per_step * (amps - against + CATCHING * script.load_a * fires[k])
        rpm = min(max(rpm, 0.0), 3 * script.rpm)
        angle += rpm * (2 * np.pi / 60) * STEP_S
        out[:, k] = amps, rpm, polar
    return _seen(script, time, keys, out)


TABLE = 4096
"""Steps of a cycle in the table of strokes: our choice."""


def _switched(time: Array, keys: Sequence[Key]) -> tuple[npt.NDArray[np.bool_], Array]:
    """Whether the contacts are closed, and how much the engine fires, at each moment."""
    closed, fires = np.zeros(len(time), dtype=bool), np.zeros(len(time))
    for key in keys:
        closed |= (time >= key.on_s) & (time < key.off_s)
        if key.catches_s is not None:
            fires[(time >= key.catches_s) & (time < key.off_s)] = 1.0
    return closed, fires


def _seen(script: StartScript, time: Array, keys: Sequence[Key], out: Array) -> Played:
    """What ideal instruments at the battery show: the solenoid before, and charging after the engine has caught."""
    amps, rpm, polar = out
    extra = np.zeros(len(time))
    charged = np.zeros(len(time))
    for key in keys:
        extra[(time >= key.on_s - PULL_IN_S) & (time < key.on_s)] = PULL_IN_A
        if key.catches_s is not None:
            after = np.clip(time - key.off_s, 0, None)
            charged = np.maximum(
                charged, (RUNNING_V * script.blocks - script.rest_v) * (1 - np.exp(-after / CHARGING_S))
            )
    amps = amps + extra
    volts = script.rest_v - polar - amps * script.battery_mohm / 1000 + charged
    return Played(time, volts, amps, rpm)


def record(played: Played, by: Instruments, rng: np.random.Generator) -> tuple[Array, Array, Array]:
    """Time [s], volts and amps as the recorder writes them down."""
    time = np.arange(0.0, played.time_s[-1], 1 / by.rate_hz)
    volts = np.interp(time, played.time_s, played.volts) + by.noise_v * rng.standard_normal(len(time))
    amps = np.interp(time, played.time_s, played.amps) + by.noise_a * rng.standard_normal(len(time))
    amps = np.minimum(amps + by.offset_a + by.drift_a_per_s * time, by.clips_at_a)
    return time, volts, amps


def write_example(file: Path, *, rate_hz: float = 1000.0, seed: int = 5) -> Path:
    """Write a trace of a van that starts, as a recorder with a clamp of 1 mV/A gives it; returns the file."""
    played = play(script_of(CLASSES["panel_van_diesel"]), [Key(0.8, 2.8, 2.5)], lasts_s=4.0)
    time, volts, amps = record(played, Instruments(rate_hz, offset_a=4.0), np.random.default_rng(seed))
    rows = np.column_stack([time * 1000, volts, amps])
    np.savetxt(
        file, rows, fmt=("%.3f", "%.3f", "%.1f"), delimiter=",", header="Time,Battery,Clamp\nms,V,mV", comments=""
    )
    return file
