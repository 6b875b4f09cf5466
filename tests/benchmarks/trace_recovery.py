"""Prints what is found again of simulated starts: truth, found and error, by samples a second.

    python tests/benchmarks/trace_recovery.py [STARTS]     so many starts in the second table (default: 27)

The first table is one start, value by value; the second is many, with worn batteries, uneven cylinders, noise, and clamps that
are off and drift.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from samples_trace import RATES_HZ, TRUTHS, Known, by_instruments, known_start, taken_apart

from analysis.constants import Z_90
from analysis.trace.record import Measured, Start
from demo_fleet.vehicles import CLASSES
from ingest.fields import QUANTITIES

SHOWN = "panel_van_diesel"


def unit_of(name: str) -> str:
    """The unit of a value."""
    return QUANTITIES[name].unit if name in QUANTITIES else "mΩ"


def found_in(known: Known, rate: float, rng: np.random.Generator) -> Start | None:
    """The one start that is found in a recording, None where none or several are."""
    _, starts = taken_apart(by_instruments(known, rate, rng), known.cylinders)
    return starts[0] if len(starts) == 1 else None


def words(found: Measured) -> str:
    """A value with its error, or why there is none."""
    if found.value is None:
        return found.missing
    return f"{found.bound} {found.value:.2f} ± {found.se:.2f}".strip()


def one_start(rng: np.random.Generator) -> None:
    """Truth and what is found, for one start at every rate."""
    known = known_start(SHOWN, rng)
    print(f"One start of a {SHOWN}, ± one standard error\n")
    print(f"{'':14s}{'truth':>10s}" + "".join(f"{rate:>18,.0f} Hz" for rate in RATES_HZ))
    starts = [found_in(known, rate, rng) for rate in RATES_HZ]
    for name in TRUTHS:
        cells = ["not found" if start is None else words(getattr(start, name)) for start in starts]
        print(f"{name:12s}{unit_of(name):>4s}{known.truth[name]:8.2f}" + "".join(f"{cell:>21s}" for cell in cells))


def many_starts(count: int, rng: np.random.Generator) -> None:
    """Errors over many starts: their middle, nineteen of twenty, and how many of nine in ten hold the truth."""
    off: dict[tuple[str, float], list[tuple[float, float]]] = defaultdict(list)
    lost = 0
    for k in range(count):
        known = known_start(tuple(CLASSES)[k % len(CLASSES)], rng)
        for rate in RATES_HZ:
            start = found_in(known, rate, rng)
            lost += start is None
            for name in TRUTHS if start is not None else ():
                found: Measured = getattr(start, name)
                if found.value is not None and found.se is not None and not found.bound:
                    error = found.value - known.truth[name]
                    off[name, rate].append((error / known.truth[name], error / found.se))
    print(
        f"\n{count} starts of nine classes: error in %: middle, 19 of 20 within; share of 90 % intervals with the truth\n"
    )
    print(f"{'':14s}" + "".join(f"{rate:>22,.0f} Hz" for rate in RATES_HZ))
    for name in TRUTHS:
        cells = []
        for rate in RATES_HZ:
            share, sds = np.array(off[name, rate]).T
            held = np.mean(np.abs(sds) < Z_90)
            cells.append(f"{100 * np.median(share):+.2f} {100 * np.quantile(np.abs(share), 0.95):6.2f} {held:5.0%}")
        print(f"{name:14s}" + "".join(f"{cell:>25s}" for cell in cells))
    print(f"\nrecordings in which not exactly one start was found: {lost} of {count * len(RATES_HZ)}")


def main() -> int:
    """Both tables."""
    rng = np.random.default_rng(2)
    one_start(rng)
    many_starts(int(sys.argv[1]) if len(sys.argv) > 1 else 27, rng)
    return 0


if __name__ == "__main__":
    sys.exit(main())
