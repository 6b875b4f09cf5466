"""How often the 80 % range of the coldest start holds, on every evaluation fleet: python coldest_ranges.py [SEED ...].

A fleet's classes are one draw of nature's laws each, so that its vehicles err together: one fleet holds nearly all of the
time and another half of it, and only many of them show whether the range is honest. Prints a line a fleet and their sum.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))
from samples_fleet import tables_of
from test_ranges import ROUNDING_K

from analysis.worklist.assess import assess
from demo_fleet.simulate import FleetRun
from demo_fleet.specs import FleetSpec, evaluation_specs

SEEDS = (1, 2)
UNITS, YEARS = 90, 2.4


def held(spec: FleetSpec, seed: int) -> pd.DataFrame:
    """One list of a fleet beside its truth: error and width [K], below and above (the truth lies there), flagged."""
    spec = replace(spec, units=UNITS, years=YEARS, seed=seed)
    run, day = FleetRun(spec), pd.Timestamp(spec.end)
    run.advance(spec.end)
    units = assess(tables_of(run.fleet()), as_of=day, with_classes=False).units.set_index("unit")
    truth = run.true_state().set_index("unit")["coldest_start_c"].reindex(units.index)
    low, high = units["coldest_start_low_c"], units["coldest_start_high_c"]
    return pd.DataFrame(
        {
            "error": units["coldest_start_c"] - truth,
            "width": high - low,
            "below": truth < low - ROUNDING_K,
            "above": truth > high + ROUNDING_K,
            "flagged": units["flagged"],
        }
    )


def line(name: str, some: pd.DataFrame) -> str:
    """The figures of some vehicles."""
    flagged = some[some["flagged"]]

    def holds(frame: pd.DataFrame) -> float:
        return 1.0 - float((frame["below"] | frame["above"]).mean())

    return (
        f"{name:22s} {len(some):5d} vehicles, range holds {holds(some):4.2f} (flagged {holds(flagged):4.2f} of {len(flagged)}), "
        f"median error {some['error'].median():+5.2f} K, width {some['width'].median():4.1f} K, "
        f"truth colder {some['below'].mean():4.2f}, warmer {some['above'].mean():4.2f}"
    )


def main() -> None:
    """A line a fleet and seed, then all of them."""
    seeds = [int(word) for word in sys.argv[1:]] or list(SEEDS)
    every = []
    for spec in evaluation_specs():
        for seed in seeds:
            every.append(held(spec, seed))
            print(line(f"{spec.name} {seed}", every[-1]), flush=True)
    print(line("all", pd.concat(every)))


if __name__ == "__main__":
    main()
