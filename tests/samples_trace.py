"""Recorded starts of simulated vehicles with their truth, by forward physics that the analysis does not know."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.trace.find import find_starts
from analysis.trace.record import Found, Start, Trace
from analysis.trace.start import measure_start
from demo_fleet.traces import STEP_S, Instruments, Key, Played, play, record, script_of
from demo_fleet.vehicles import CLASSES

RATES_HZ = (100.0, 300.0, 1000.0, 10_000.0, 100_000.0)
SETTLED_S = 0.6  # from the inrush on; the simulated starts turn steadily by then
DISPLAY_S = 0.3  # a meter's display averages over about this long
TRUTHS = ("rest_v", "crank_dip_v", "crank_min_v", "peak_a", "crank_a", "crank_s", "crank_rpm", "source_mohm")


@dataclass(frozen=True)
class Known:
    """A start as it was played, with what is true of it by name."""

    name: str
    cylinders: int
    blocks: int
    played: Played
    truth: dict[str, float]


def known_start(name: str, rng: np.random.Generator, *, lasts_s: float | None = None) -> Known:
    """A start of a vehicle of a class, worn and charged by chance."""
    vehicle = CLASSES[name]
    even = 1 + 0.05 * rng.standard_normal(vehicle.cylinders)
    script = script_of(vehicle, even=tuple(even), worn=rng.uniform(0.8, 2.0), charge=rng.uniform(0.5, 1.0))
    on, turns = rng.uniform(0.6, 1.2), lasts_s or rng.uniform(1.6, 3.5)
    catches = on + turns - 0.3 if rng.random() < 0.5 else None
    played = play(
        script,
        [Key(on, on + turns, catches)],
        lasts_s=on + turns + rng.uniform(0.8, 1.5),
        begins_rad=rng.uniform(0, 12),
    )
    ends = on + turns if catches is None else catches
    steady = (played.time_s > on + SETTLED_S) & (played.time_s < ends - 0.02)
    rpm = float(played.rpm[steady].mean())
    stroke_s = 120 / rpm / vehicle.cylinders
    display = np.ones(int(max(1, round(DISPLAY_S / stroke_s)) * stroke_s / STEP_S))
    turning = (played.time_s > on + SETTLED_S) & (played.time_s < ends - 0.02)
    inrush = played.time_s < on + 0.3
    truth = {
        "rest_v": script.rest_v, "crank_dip_v": float(played.volts[inrush].min()),
        "crank_min_v": float(np.convolve(played.volts[turning], display / len(display), "valid").min()),
        "peak_a": float(played.amps[inrush].max()), "crank_a": float(played.amps[steady].mean()),
        "crank_s": ends - on, "crank_rpm": rpm, "source_mohm": script.battery_mohm,
    }  # fmt: skip
    return Known(name, vehicle.cylinders, vehicle.blocks, played, truth)


def by_instruments(known: Known, rate_hz: float, rng: np.random.Generator) -> Trace:
    """The start as a recorder writes it: noise, a clamp that is off and drifts."""
    noise_a = rng.choice([0.5, 2.0, 5.0])
    by = Instruments(rate_hz, 0.01 * known.blocks, noise_a, rng.normal(0, 5), rng.normal(0, 0.5))
    return Trace(*record(known.played, by, rng))


def taken_apart(trace: Trace, cylinders: int | None = 4) -> tuple[Found, list[Start]]:
    """All that is found in a trace."""
    found = find_starts(trace, cylinders=cylinders)
    return found, [measure_start(trace, marks, others=found.marks, cylinders=cylinders) for marks in found.marks]
