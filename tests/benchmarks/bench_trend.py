"""Theil-Sen and Mann-Kendall of a fleet at once, beside a loop of scipy over vehicles, in one run with ratios.

Run: python tests/benchmarks/bench_trend.py [UNITS] [READINGS PER UNIT] [UNITS OF THE LOOP]
The loop is timed on a sample of the same readings and scaled up; the answers on the sample are compared.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import TypeVar

import numpy as np
from scipy.stats import kendalltau, theilslopes

from analysis.constants import DAYS_PER_YEAR
from analysis.readings.panel import Bools, Floats
from analysis.wear.drift import watch_fleet
from analysis.wear.plain_trend import plain_trend

UNITS, READINGS, LOOPED = 50_000, 24, 150
CHANNELS = 6
LEAST = 5
T = TypeVar("T")


def fleet(units: int, readings: int) -> tuple[Floats, Floats, Floats, Bools]:
    """day (U, R), value, se, usable (6, U, R): four years of readings, a tenth missing, a tenth of the units worn."""
    rng = np.random.default_rng(1)
    day = np.sort(rng.uniform(0.0, 1461.0, (units, readings)), axis=1)
    se = np.full((CHANNELS, units, readings), 0.06)
    value = 1.0 + 0.1 * rng.standard_normal((CHANNELS, units, 1)) + se * rng.standard_normal(se.shape)
    value[0, ::10] += 0.2 * day[::10] / DAYS_PER_YEAR
    return day, value, se, rng.random(se.shape) > 0.1


def loop(day: Floats, value: Floats, usable: Bools) -> tuple[Floats, Floats]:
    """The yardstick: scipy.stats.theilslopes and kendalltau, one vehicle and channel after the other."""
    slope, tau = np.full(value.shape[:2], np.nan), np.full(value.shape[:2], np.nan)
    for c in range(value.shape[0]):
        for u in range(value.shape[1]):
            use = usable[c, u]
            if use.sum() >= LEAST:
                slope[c, u] = theilslopes(value[c, u, use], day[u, use], alpha=0.9).slope * DAYS_PER_YEAR
                tau[c, u] = kendalltau(day[u, use], value[c, u, use]).pvalue
    return slope, tau


def timed(run: Callable[[], T]) -> tuple[T, float, float]:
    """What `run` returns, seconds by the wall and seconds of processor time."""
    wall, processor = time.perf_counter(), time.process_time()
    answer = run()
    return answer, time.perf_counter() - wall, time.process_time() - processor


def main() -> None:
    given = [int(a) for a in sys.argv[1:4]]
    units, readings, looped = given + [UNITS, READINGS, LOOPED][len(given) :]
    day, value, se, usable = fleet(units, readings)
    ours, wall, processor = timed(lambda: plain_trend(day, value, usable))
    some = np.linspace(0, units - 1, looped).astype(int)
    theirs, loop_wall, loop_processor = timed(lambda: loop(day[some], value[:, some], usable[:, some]))
    scale = units / looped
    worst = float(np.nanmax(np.abs(ours.slope_per_year[:, some] - theirs[0])))
    spread = np.full((CHANNELS, units), 0.1)
    group = np.arange(units) % 8
    _, drift_wall, drift_processor = timed(
        lambda: watch_fleet(day, value, se, usable, spread, group, flags_per_100=5.0, trend=ours)
    )
    print(f"{units} units x {readings} readings x {CHANNELS} channels; the loop ran {looped} units, scaled up")
    print(f"{'':38}{'wall s':>10}{'processor s':>14}")
    print(f"{'at once: Theil-Sen, Mann-Kendall':38}{wall:10.2f}{processor:14.2f}")
    print(f"{'loop: theilslopes, kendalltau':38}{loop_wall * scale:10.1f}{loop_processor * scale:14.1f}")
    print(f"{'ratio':38}{loop_wall * scale / wall:10.0f}{loop_processor * scale / processor:14.0f}")
    print(f"{'drift of the same readings':38}{drift_wall:10.2f}{drift_processor:14.2f}")
    print(f"largest difference of a slope: {worst:.1e} a year")
    if not worst < 1e-9:
        raise SystemExit("the two do not agree")


if __name__ == "__main__":
    main()
