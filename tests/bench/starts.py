"""Starts of made-up vehicles from a forward model of its own, so that the bench does not judge the program by itself.

A series-wound motor whose flux saturates, an engine whose torque goes with the oil, a battery, cables and contacts; the
laws and sizes are the published ones named beside them. Sound readings scatter as workshop meters do.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp, nan
from typing import Any

import numpy as np
import pandas as pd

COPPER = 0.00393  # NBS Handbook 100 / IEC 60028
DRAG = (0.010, 2.5e-4)  # inside the ASTM D341 lines of 0W-20 to 15W-40: b 0.008 to 0.019, c 2.3e-4 to 4.1e-4, computed
BATTERY = (0.009, 1.75e-4)  # open impedance data of charged AGM blocks, DOI 10.5281/zenodo.14981233
BRUSH_V = 1.2  # two copper-graphite brushes, from memory
DRY = 0.65  # share of the torque that does not go with speed, from memory
SCATTER = {"rest_v": 0.0008, "crank_min_v": 0.003, "crank_a": 0.02, "peak_a": 0.03, "drop_positive_v": 0.03,
           "drop_ground_v": 0.03, "drop_contacts_v": 0.04, "drop_control_v": 0.02, "coil_a": 0.02,
           "crank_rpm": 0.025}  # fmt: skip


@dataclass(frozen=True)
class Build:
    """One class of vehicles at 20 °C; torque in newton metres at the starter's shaft at `rpm`, resistances in mΩ."""

    name: str
    system_v: int
    fuel: str
    cylinders: int
    cca_a: float
    battery: float
    positive: float
    ground: float
    contacts: float
    motor: float
    torque: float
    rpm: float
    saturation_a: float
    stall_nm_per_a: float
    coil_ohm: float
    control_mohm: float
    rest_v: float = 12.66
    drag: float = 1.0
    field: float = 1.0
    gear: float = 1.0

    @property
    def blocks(self) -> float:
        return self.system_v / 12.0


# Sizes: usual amps 60 to 150 A (petrol) and 230 to 630 A (light-truck diesel), service manuals; 24 V diesels more than 300 A.
BUILDS = {
    "town_car": Build("town_car", 12, "petrol", 3, 480, 6.5, 0.7, 0.5, 0.8, 15.0, 1.6, 240, 220, 0.036, 1.5, 80),
    "sedan": Build("sedan", 12, "petrol", 6, 700, 4.8, 0.6, 0.45, 0.7, 11.0, 2.4, 190, 250, 0.040, 0.9, 45),
    "diesel_pickup": Build("diesel_pickup", 12, "diesel", 8, 1500, 2.4, 0.30, 0.25, 0.35, 5.5, 7.2, 180, 420, 0.050, 0.75, 40),
    "lorry": Build("lorry", 24, "diesel", 6, 1100, 6.4, 0.5, 0.4, 0.45, 10.0, 13.5, 160, 500, 0.095, 2.4, 90, rest_v=25.3),
    "coach": Build("coach", 24, "diesel", 6, 1400, 5.0, 0.45, 0.35, 0.4, 8.0, 15.5, 150, 560, 0.100, 1.9, 70, rest_v=25.3),
}  # fmt: skip


def flux(build: Build, amps: float) -> float:
    """Torque per amp [N·m/A] of the series-wound motor."""
    return build.field * build.stall_nm_per_a * amps / (amps + build.saturation_a)


def turn(build: Build, celsius: float) -> tuple[float, float, float]:
    """Amps, engine speed [rpm] and open-circuit volts of a steady start, found by halving."""
    x = 20.0 - celsius
    open_v = build.rest_v - 0.0012 * build.blocks * x
    copper = 1.0 - COPPER * x
    loop = loop_ohm(build, celsius)
    torque = build.torque * build.drag * exp(DRAG[0] * x + DRAG[1] * x * x)
    gear = _gear(build)
    low, high = 1.0, (open_v - BRUSH_V) / loop
    for _ in range(60):
        amps = 0.5 * (low + high)
        emf = open_v - BRUSH_V - amps * loop
        speed = max(emf, 0.0) / flux(build, amps) * 60.0 / (2.0 * np.pi) / gear
        asked = torque * (DRY + (1.0 - DRY) * speed / build.rpm)
        low, high = (amps, high) if flux(build, amps) * amps < asked else (low, amps)
    assert copper > 0
    return amps, speed, open_v


def loop_ohm(build: Build, celsius: float) -> float:
    x = 20.0 - celsius
    copper = 1.0 - COPPER * x
    battery = build.battery * exp(BATTERY[0] * x + BATTERY[1] * x * x)
    return (battery + (build.positive + build.ground + build.motor) * copper + build.contacts) / 1000.0


_GEARS: dict[str, float] = {}


def _gear(build: Build) -> float:
    """Shaft over engine speed that makes the sound class turn at its speed in the warm."""
    if build.name not in _GEARS:
        sound = BUILDS[build.name]
        low, high = 1.0, (sound.rest_v - BRUSH_V) / loop_ohm(sound, 20.0)
        for _ in range(60):
            amps = 0.5 * (low + high)
            low, high = (amps, high) if flux(sound, amps) * amps < sound.torque else (low, amps)
        emf = sound.rest_v - BRUSH_V - amps * loop_ohm(sound, 20.0)
        _GEARS[build.name] = emf / flux(sound, amps) * 60.0 / (2.0 * np.pi) / sound.rpm
    return _GEARS[build.name]


def reading(build: Build, celsius: float) -> dict[str, float]:
    """What perfect meters show of a start."""
    amps, rpm, open_v = turn(build, celsius)
    x = 20.0 - celsius
    copper = 1.0 - COPPER * x
    battery = build.battery * exp(BATTERY[0] * x + BATTERY[1] * x * x) / 1000.0
    low = open_v - amps * battery
    coil_a = low / (build.coil_ohm * copper + build.control_mohm / 1000.0)
    return {
        "temperature_c": celsius, "rest_v": open_v, "crank_min_v": low, "crank_a": amps,
        "peak_a": 0.86 * (open_v - BRUSH_V) / loop_ohm(build, celsius),
        "drop_positive_v": amps * build.positive * copper / 1000.0,
        "drop_ground_v": amps * build.ground * copper / 1000.0, "drop_contacts_v": amps * build.contacts / 1000.0,
        "drop_control_v": coil_a * build.control_mohm / 1000.0, "coil_a": coil_a, "crank_rpm": rpm,
    }  # fmt: skip


def units() -> pd.DataFrame:
    """Five vehicles of each class."""
    rows = [
        {"unit": f"{b.name}-{i}", "vehicle_class": b.name, "system_v": b.system_v, "fuel": b.fuel, "cylinders": b.cylinders,
         "rated_cca_a": b.cca_a, "depot": "yard"}
        for b in BUILDS.values() for i in range(5)
    ]  # fmt: skip
    return pd.DataFrame(rows)


def sound_history(seed: int = 5) -> pd.DataFrame:
    """Nine readings of every vehicle between 2 and 27 °C; vehicles of a class differ by a tenth."""
    rng = np.random.default_rng(seed)
    rows: list[dict[str, Any]] = []
    for build in BUILDS.values():
        for i in range(5):
            parts = ("battery", "positive", "ground", "contacts", "motor", "torque", "control_mohm")
            own = replace(build, **{p: getattr(build, p) * exp(0.08 * rng.standard_normal()) for p in parts})
            for month in range(9):
                at = pd.Timestamp("2023-11-10T08:00") + pd.Timedelta(days=80 * month + int(rng.integers(20)))
                shown = reading(own, float(rng.uniform(2.0, 27.0)))
                rows.append({"unit": f"{build.name}-{i}", "taken_at": at, "outcome": "started", "doubtful": ""}
                            | {n: v * (1.0 + SCATTER.get(n, 0.0) * rng.standard_normal()) for n, v in shown.items()})  # fmt: skip
    return pd.DataFrame(rows)


def missing(names: str) -> dict[str, float]:
    """Columns that were not measured."""
    return dict.fromkeys(names.split(), nan)
