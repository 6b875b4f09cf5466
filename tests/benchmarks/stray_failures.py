"""What failed starts that had nothing to do with the starting circuit (fuel, ignition, a driver's mistake) do to the lists of two
evaluation fleets that record them as `no_start`, and repair nothing:

python stray_failures.py [MODE ...] [--fleets NAME,NAME] [--seed N]

Modes: `none` (no outcome on record), `told` (the fleet's own no-starts as outcomes, too), `strays` (stray ones beside the
repairs), `both`, and the same with `+starts` (a start a week is on record besides). Prints a line a fleet and
mode: no-starts caught, false flags per 100 healthy vehicle-years, Brier skill over the weeks between two lists, median error of
the coldest start and how often its 80 % range holds, no-starts said and come.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))
from bench_travel import days_to_failure
from samples_strays import with_failures
from test_ranges import ROUNDING_K
from test_recovery import score

from analysis.backtest.lists import backtest_lists
from analysis.readings.panel import FleetTables
from demo_fleet.simulate import Fleet, FleetRun
from demo_fleet.specs import evaluation_specs

NAMES = ("usual_mixed", "heavy_24v")
MODES = ("strays", "both+starts", "told")
UNITS, YEARS, LISTS, EVERY_D = 90, 2.75, 12, 42


@dataclass(frozen=True)
class Lived:
    """A fleet lived through: what is known of it, its true coldest starts on the days of lists (lists, vehicles) [degC]."""

    fleet: Fleet
    days: pd.DatetimeIndex
    truth: pd.DataFrame


def lived(name: str, seed: int | None) -> Lived:
    """One of the evaluation fleets."""
    spec = replace(next(s for s in evaluation_specs() if s.name == name), units=UNITS, years=YEARS)
    spec = spec if seed is None else replace(spec, seed=seed)
    last = pd.Timestamp(spec.end) - pd.Timedelta(days=EVERY_D)
    days = pd.date_range(end=last, periods=LISTS, freq=f"{EVERY_D}D")
    run, rows = FleetRun(spec), {}
    for day in days:
        run.advance(day.date())
        rows[day] = run.true_state().set_index("unit")["coldest_start_c"]
    run.advance(spec.end)
    return Lived(run.fleet(), days, pd.DataFrame(rows).T)


def tables_in(one: Lived, mode: str) -> FleetTables:
    """What is known of the fleet where its failed starts are written down so."""
    what, _, starts = mode.partition("+")
    return with_failures(
        one.fleet, strays=what in ("strays", "both"), told=what in ("told", "both"), starts=bool(starts)
    )


def line(name: str, mode: str, one: Lived) -> str:
    """The figures of a fleet's lists."""
    issued = backtest_lists(tables_in(one, mode), one.days, horizon_days=EVERY_D)
    said = ["unit", "flagged", "part", "no_start_probability", "failed_starts"]
    cold = ["coldest_start_c", "coldest_start_low_c", "coldest_start_high_c"]
    lists = pd.concat([found.units[[*said, *cold]].assign(date=day) for day, found in issued], ignore_index=True)
    scored = score(one.fleet, lists)
    failed = days_to_failure(one.fleet, lists) < EVERY_D
    p = lists["no_start_probability"].to_numpy(np.float64)
    read = np.isfinite(p)
    brier = 1.0 - ((p - failed)[read] ** 2).sum() / ((failed.mean() - failed)[read] ** 2).sum()
    truth = np.array([one.truth.at[day, unit] for day, unit in zip(lists["date"], lists["unit"], strict=True)])
    error = lists["coldest_start_c"].to_numpy() - truth
    low, high = lists["coldest_start_low_c"] - ROUNDING_K, lists["coldest_start_high_c"] + ROUNDING_K
    holds = ((truth >= low) & (truth <= high)).to_numpy()
    flagged = lists["flagged"].to_numpy(bool)
    return (
        f"{name:14s} {mode:13s} caught {scored.caught:.2f} of {scored.no_starts:3d}, false flags {scored.false_rate:5.1f} "
        f"({scored.false_flags} in {scored.healthy_years:.0f} a), Brier skill {brier:+.3f}, median {np.nanmedian(error):+.2f} K "
        f"(flagged {np.nanmedian(error[flagged]):+.2f}), holds {holds.mean():.2f} (flagged {holds[flagged].mean():.2f}), "
        f"said {np.nansum(p):.0f}, came {failed.sum()}, led by a failure {int((lists['failed_starts'] > 0).sum())}"
    )


def main() -> None:
    """A line a fleet and mode."""
    words = sys.argv[1:]
    seed = int(words[words.index("--seed") + 1]) if "--seed" in words else None
    names = words[words.index("--fleets") + 1].split(",") if "--fleets" in words else list(NAMES)
    modes = [word for word in words if word.split("+")[0] in ("none", "told", "strays", "both")] or list(MODES)
    for name in names:
        one = lived(name, seed)
        for mode in modes:
            print(line(name, mode, one), flush=True)


if __name__ == "__main__":
    main()
