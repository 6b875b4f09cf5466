"""Service visits and meters: from noise-free starts to the readings a workshop writes down, errors included.

All magnitudes are our own choices of the size that common practice knows (a clamp good to 2 or 3 %, drops to a few
millivolts, contacts that differ from start to start).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from demo_fleet.cranking import Crank, crank
from demo_fleet.faults import apply_wear
from demo_fleet.offices import PLAN_WEEKS
from demo_fleet.specs import MEASUREMENTS, FleetSpec
from demo_fleet.vehicles import Hardware
from demo_fleet.weather import DIURNAL_RANGE_C, Weather

Array = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

BAYS_PER_DEPOT = 2
TECHNICIANS_PER_BAY = 3
FRIDAY = 4
"""Workshops are shut at weekends: visits that would fall on one are brought forward to this weekday."""
HOME_BAY_SHARE, ROUGH_BAY_SHARE = 0.75, 0.3
"""Share of visits to the vehicle's usual bay; share of bays whose clamp is read to 5 A."""
GAIN_SD, OFFSET_A, VOLT_GAIN_SD, DROP_OFFSET_V, BAY_THERMOMETER_C = 0.010, 1.0, 0.0015, 0.001, 0.4
"""Between bays: log sd of clamp gain, sd of its zero [A], log sd of voltmeter gain, sd of zero [V], thermometer [K]."""
TENFOLD, TENTH = 0.4, 0.4
"""Shares of gross errors that are a decimal point to the right or left; the rest are swapped columns."""
CHANNELS = 20
"""Independent standard normal draws kept per visit."""
LOAD_SCATTER = 0.030
"""Log sd of the engine's load from start to start: oil temperature, piston positions."""
JOINT_SCATTER, CONTACT_SCATTER = 0.040, 0.050
"""Log sd of joints and of solenoid contacts from start to start."""
METER_V, METER_DROP_V = 0.012, 0.0025
"""sd of a voltmeter reading per 12 V block [V] and of a millivolt reading [V]."""
CRANK_V = 0.045
"""sd of reading the lowest steady cranking voltage off a moving display, per 12 V block [V]."""
CLAMP, PEAK, COIL, TACHO, DROP = 0.025, 0.040, 0.022, 0.020, 0.02
"""Relative sd of clamp, inrush, coil clamp, tachometer and drop readings."""
SURFACE_SHARE, SURFACE_V = 0.3, 0.05
"""Share of readings soon after a drive, and their mean surface charge per 12 V block [V]."""
SOAK_C, THERMOMETER_C = 1.8, 0.8
"""sd of battery minus bay temperature and of the thermometer [K]."""
CRANK_MISSING = 0.2
"""The lowest voltage is what a reading is taken for: it is missing this much less often than the others."""


@dataclass(frozen=True)
class Bays:
    """Meters of each bay: gains and offsets."""

    clamp_gain: Array
    clamp_offset_a: Array
    volt_gain: Array
    drop_offset_v: Array
    thermometer_c: Array
    rough: npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Visits:
    """Planned readings in order of time: day index, vehicle, minute of day, bay, technician,
    share of the usual heating (0 = read outdoors), and the draws that decide scatter, gaps and wrong entries."""

    day: IntArray
    unit: IntArray
    minute: IntArray
    bay: IntArray
    technician: IntArray
    heated: Array
    normal: Array
    chance: Array
    uniform: Array

    def take(self, rows: npt.NDArray[np.intp]) -> Visits:
        """Some of the visits by row number."""
        return Visits(*(values[rows] for values in vars(self).values()))


def make_bays(spec: FleetSpec, rng: np.random.Generator) -> Bays:
    """Draw the meters; the last bay's clamp reads `clamp_bias`, its thermometer is off by `thermometer_bias_c`."""
    n = BAYS_PER_DEPOT * len(spec.depots)
    gain, thermometer = (
        np.exp(GAIN_SD * spec.noise * rng.standard_normal(n)),
        BAY_THERMOMETER_C * rng.standard_normal(n),
    )
    gain[-1] *= spec.clamp_bias
    thermometer[-1] += spec.thermometer_bias_c
    return Bays(
        gain, OFFSET_A * spec.noise * rng.standard_normal(n), np.exp(VOLT_GAIN_SD * rng.standard_normal(n)),
        DROP_OFFSET_V * spec.noise * rng.standard_normal(n), thermometer, rng.random(n) < ROUGH_BAY_SHARE,
    )  # fmt: skip


def plan_visits(spec: FleetSpec, depot: IntArray, first_day: IntArray, rng: np.random.Generator) -> Visits:
    """Draw all service visits, also those planned for the half year after the end; from `first_day` on, irregular."""
    low, high = 7 * spec.interval_weeks[0], 7 * spec.interval_weeks[1]
    count = int(np.ceil((spec.days + 7 * PLAN_WEEKS) / low)) + 1
    gaps = np.rint(rng.uniform(low, high, (spec.units, count))).astype(np.int64)
    gaps[:, 0] = rng.integers(1, int(high) + 1, spec.units)
    day = np.cumsum(gaps, axis=1) + np.maximum(first_day, 0)[:, None]
    unit = np.broadcast_to(np.arange(spec.units)[:, None], day.shape)
    weekday = (day + spec.start.weekday()) % 7
    day = np.maximum(day - np.maximum(weekday - FRIDAY, 0), np.maximum(first_day, 0)[:, None])
    keep = day < spec.days + 7 * PLAN_WEEKS
    day, unit = day[keep], unit[keep]
    minute = rng.integers(7 * 60, 16 * 60, len(day))
    order = np.lexsort((unit, minute, day))
    day, unit, minute = day[order], unit[order], minute[order]
    own = rng.random(len(day)) < HOME_BAY_SHARE
    home = (unit % BAYS_PER_DEPOT).astype(np.int64)
    within = np.where(own, home, rng.integers(0, BAYS_PER_DEPOT, len(day)))
    bay = depot[unit] * BAYS_PER_DEPOT + within
    technician = bay * TECHNICIANS_PER_BAY + rng.integers(0, TECHNICIANS_PER_BAY, len(day))
    normal = rng.standard_normal((len(day), CHANNELS))
    chance = rng.random((len(day), len(MEASUREMENTS)))
    uniform = rng.random((len(day), len(MEASUREMENTS) + 3))
    return Visits(day, unit, minute, bay, technician, np.ones(len(day)), normal, chance, uniform)


def battery_temperature_c(spec: FleetSpec, weather: Weather, visits: Visits) -> tuple[Array, Array]:
    """Battery temperature and bay temperature [°C] at each visit: between outdoors by day and a heated bay."""
    depot = visits.bay // BAYS_PER_DEPOT
    heated = np.array([d.heated_bay_c for d in spec.depots])[depot]
    outdoors = weather.low_c[visits.day, depot] + DIURNAL_RANGE_C * np.clip(visits.minute / 60 - 5, 0, 9) / 9
    share = visits.heated * spec.bay_warmth * np.clip((heated - outdoors) / 12, 0, 1)
    bay = outdoors + share * (heated - outdoors) + 1.0 * visits.normal[:, 0]
    return bay + SOAK_C * visits.normal[:, 1], bay


@dataclass(frozen=True)
class Seen:
    """True state of the vehicles at their visits: physical change and kind of fault [visit, part], charge."""

    change: Array
    second: npt.NDArray[np.bool_]
    soc: Array


def measure(
    spec: FleetSpec, hardware: Hardware, weather: Weather, bays: Bays, visits: Visits, seen: Seen
) -> dict[str, Array]:
    """What is written down at each visit: temperature_c and MEASUREMENTS, NaN where missing."""
    battery_c, bay_c = battery_temperature_c(spec, weather, visits)
    z, noise = visits.normal, spec.noise
    state = apply_wear(seen.change, seen.second, np.clip(seen.soc + 0.02 * z[:, 2], 0.02, 1.0))
    state = replace(state, drag_factor=state.drag_factor * np.exp(LOAD_SCATTER * noise * z[:, 3]))
    true = crank(hardware.take(visits.unit), state, spec.cold, battery_c)
    values = _metered(spec, true, bays, visits, hardware.blocks[visits.unit])
    temperature = bay_c + bays.thermometer_c[visits.bay] + THERMOMETER_C * z[:, 15]
    values["temperature_c"] = np.round(temperature, 1)
    _spoil(spec, values, visits)
    _omit(spec, values, visits)
    return values


def _metered(spec: FleetSpec, true: Crank, bays: Bays, visits: Visits, blocks: Array) -> dict[str, Array]:
    """Meter gains, offsets, scatter and rounding."""
    z, noise, bay = visits.normal, spec.noise, visits.bay
    volts, offset = bays.volt_gain[bay], bays.drop_offset_v[bay]
    surface = np.where(visits.uniform[:, -1] < SURFACE_SHARE, -SURFACE_V * np.log1p(-visits.uniform[:, -2]), 0.0)

    def amps(value: Array, relative: float, column: int) -> Array:
        shown = value * bays.clamp_gain[bay] * np.exp(relative * noise * z[:, column]) + bays.clamp_offset_a[bay]
        return np.where(bays.rough[bay], 5 * np.round(shown / 5), np.round(shown))

    def drop(value: Array, scatter: float, column: int) -> Array:
        sd = np.hypot(scatter, DROP) * noise
        shown = value * np.exp(sd * z[:, column]) + offset + METER_DROP_V * noise * z[:, column + 8]
        return np.asarray(np.clip(np.round(shown, 3), 0.001, None), np.float64)

    return {
        "rest_v": np.round(volts * true.rest_v + blocks * (surface + METER_V * noise * z[:, 4]), 2),
        "crank_min_v": np.round(volts * true.crank_min_v + blocks * CRANK_V * noise * z[:, 5], 2),
        "crank_a": amps(true.crank_a, CLAMP, 6),
        "peak_a": amps(true.peak_a, PEAK, 7),
        "drop_positive_v": drop(true.drop_positive_v, JOINT_SCATTER, 8),
        "drop_ground_v": drop(true.drop_ground_v, JOINT_SCATTER, 9),
        "drop_contacts_v": drop(true.drop_contacts_v, CONTACT_SCATTER, 10),
        "drop_control_v": drop(true.drop_control_v, JOINT_SCATTER, 11),
        "coil_a": np.round(true.coil_a * np.exp(COIL * noise * z[:, 12]), 2),
        "crank_rpm": np.round(true.crank_rpm * np.exp(TACHO * noise * z[:, 13])),
    }


def _spoil(spec: FleetSpec, values: dict[str, Array], visits: Visits) -> None:
    """Wrong entries: a misplaced decimal, two neighbouring columns swapped, °F written as °C."""
    neighbours = {"drop_positive_v": "drop_ground_v", "crank_a": "peak_a", "drop_contacts_v": "drop_control_v"}
    for column, name in enumerate(MEASUREMENTS):
        draw = visits.uniform[:, column]
        share = draw / max(spec.gross, 1e-12)
        tenfold, tenth = share < TENFOLD, (share >= TENFOLD) & (share < TENFOLD + TENTH)
        values[name] = np.where(
            tenfold, np.round(10 * values[name], 2), np.where(tenth, np.round(values[name] / 10, 3), values[name])
        )
        if name in neighbours:
            swap, other = (share >= TENFOLD + TENTH) & (share < 1), neighbours[name]
            values[name], values[other] = (
                np.where(swap, values[other], values[name]),
                np.where(swap, values[name], values[other]),
            )
    fahrenheit = visits.uniform[:, -3] < spec.gross
    written = values["temperature_c"]
    values["temperature_c"] = np.where(fahrenheit, np.round(written * 9 / 5 + 32, 1), written)


def _omit(spec: FleetSpec, values: dict[str, Array], visits: Visits) -> None:
    """Leave out what was not written down."""
    for column, name in enumerate(MEASUREMENTS):
        share = spec.missing * (CRANK_MISSING if name == "crank_min_v" else 1.0)
        share = 1 - spec.rpm_share if name == "crank_rpm" else share
        share = 1.0 if name in spec.without else share
        values[name] = np.where(visits.chance[:, column] < share, np.nan, values[name])


def readings_table(
    spec: FleetSpec, names: list[str], visits: Visits, values: dict[str, Array], odometer_km: Array
) -> pd.DataFrame:
    """The contract's readings table, sorted by unit and time."""
    start = np.datetime64(spec.start, "us")
    minute_us = np.timedelta64(60_000_000, "us")
    taken = start + (visits.day * 1440 + visits.minute) * minute_us
    table = pd.DataFrame({"unit": np.array(names, dtype=object)[visits.unit], "taken_at": taken})
    table["unit"] = table["unit"].astype("str")
    table["odometer_km"] = np.round(odometer_km)
    for name in ("temperature_c", *MEASUREMENTS):
        table[name] = values[name]
    table["technician"] = pd.Series([f"T{n:02d}" for n in visits.technician], dtype="str")
    if spec.record_instrument:
        labels = [f"{d.name}-{b + 1}" for d in spec.depots for b in range(BAYS_PER_DEPOT)]
        table["instrument"] = pd.Series([labels[n] for n in visits.bay], dtype="str")
    return table.sort_values(["unit", "taken_at"], kind="stable", ignore_index=True)
