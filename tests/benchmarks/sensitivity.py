"""What a stated choice moves: log score, no-starts caught and false flags with one constant changed at a time.

    python tests/benchmarks/sensitivity.py                          every variant of VARIANTS, on all fleets
    python tests/benchmarks/sensitivity.py --fleets 3 --units 100   quicker and rougher
    python tests/benchmarks/sensitivity.py analysis.forecast.lows.PERSISTENCE=0.6   one choice of your own

Each variant is set beside the choices as they stand, on the same simulated fleets and dates, vehicle by vehicle: the
difference of the log score per vehicle and list, with its standard error over vehicles.  A choice that moves less than
one standard error anywhere, and no false flag, moves nothing that these fleets can show.
"""

from __future__ import annotations

import argparse
import ast
import importlib
import os
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))
from samples_fleet import tables_of

from analysis.backtest.lists import backtest_lists
from demo_fleet.simulate import Fleet, simulate_fleet
from demo_fleet.specs import evaluation_specs

LISTS, EVERY_D, HORIZON_D = 10, 56, 30
LEAD_D = 14
LEAST_P = 1e-4  # a probability nearer to 0 or 1 counts as so near


@dataclass(frozen=True)
class Figures:
    """Of one fleet under one variant: log score per vehicle (sum over lists), Brier skill, caught, false flags a year."""

    score: pd.Series
    brier: float
    caught: float
    false_flags: float


def main() -> None:
    """Print a row per variant."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("variants", nargs="*", help="MODULE.CONSTANT=VALUE, several joined by ; are one variant")
    parser.add_argument("--fleets", type=int, default=10)
    parser.add_argument("--units", type=int, default=150)
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    options = parser.parse_args()
    variants = ["", *(options.variants or VARIANTS)]
    jobs = [(variant, k, options.units) for variant in variants for k in range(options.fleets)]
    started = time.perf_counter()
    with ProcessPoolExecutor(options.workers, max_tasks_per_child=1) as pool:
        found = dict(zip(jobs, pool.map(one, jobs), strict=True))
    print(
        f"{options.fleets} fleets of {options.units} vehicles, {LISTS} lists each; {time.perf_counter() - started:.0f} s"
    )
    print(f"{'variant':60s} {'log score':>10s} {'s.e.':>7s} {'Brier':>7s} {'caught':>7s} {'false':>6s}")
    for variant in variants:
        print_row(
            variant, [(found["", k, options.units], found[variant, k, options.units]) for k in range(options.fleets)]
        )


def print_row(variant: str, pairs: list[tuple[Figures, Figures]]) -> None:
    """Differences to the choices as they stand; the first row is those themselves."""
    gain = pd.concat([b.score - a.score for a, b in pairs]).to_numpy()
    mean, error = gain.mean() / LISTS, gain.std() / np.sqrt(len(gain)) / LISTS
    brier, caught, false = (
        float(np.mean([getattr(b, n) for _, b in pairs])) for n in ("brier", "caught", "false_flags")
    )
    print(
        f"{variant or 'as it stands':60s} {1e4 * mean:10.2f} {1e4 * error:7.2f} {brier:7.3f} {caught:7.3f} {false:6.2f}"
    )


def one(job: tuple[str, int, int]) -> Figures:
    """Figures of one fleet under one variant, in a process of its own."""
    variant, k, units = job
    for change in filter(None, variant.split(";")):
        path, _, value = change.partition("=")
        module, _, name = path.rpartition(".")
        setattr(importlib.import_module(module), name, _value(value))
    spec = evaluation_specs()[k]
    return figures(simulate_fleet(replace(spec, units=units, years=3.0)))


def _value(text: str) -> object:
    """A number, a tuple or list (an array), as Python writes it."""
    found = ast.literal_eval(text)
    return np.array(found) if isinstance(found, list) else found


def figures(fleet: Fleet) -> Figures:
    """Lists over the fleet's last year and a half, held against what really failed."""
    last = pd.Timestamp(fleet.as_of) - pd.Timedelta(days=HORIZON_D)
    days = pd.date_range(end=last, periods=LISTS, freq=f"{EVERY_D}D")
    issued = backtest_lists(tables_of(fleet), days)
    rows = pd.concat(
        [a.units[["unit", "flagged", "no_start_probability"]].assign(date=day) for day, a in issued], ignore_index=True
    )
    rows = rows.rename(columns={"no_start_probability": "p"})
    failed = fleet.truth.groupby("unit")["date"].apply(lambda d: np.sort(d.to_numpy()))
    ahead = np.full(len(rows), 1e6)
    for i, (unit, day) in enumerate(zip(rows["unit"], rows["date"], strict=True)):
        later = failed.get(unit, np.array([], dtype="datetime64[us]"))
        later = later[later >= np.datetime64(day)]
        ahead[i] = (later[0] - np.datetime64(day)) / np.timedelta64(1, "D") if len(later) else 1e6
    y, p = ahead < HORIZON_D, rows["p"].clip(LEAST_P, 1.0 - LEAST_P).to_numpy()
    score = pd.Series(np.where(y, np.log(p), np.log1p(-p)), index=rows["unit"]).groupby(level=0).sum()
    score.index = fleet.spec.name + " " + score.index.astype(str)
    brier = 1.0 - float(((p - y) ** 2).mean() / ((y.mean() - y) ** 2).mean())
    return Figures(score, brier, caught(fleet, rows, days), false_flags(fleet, rows, days, ahead))


def caught(fleet: Fleet, rows: pd.DataFrame, days: pd.DatetimeIndex) -> float:
    """Share of no-starts whose vehicle stood flagged on the last list at least LEAD_D days before."""
    said = rows.set_index(["unit", "date"])["flagged"]
    hits = []
    for unit, when in zip(fleet.truth["unit"], fleet.truth["date"], strict=True):
        k = days.searchsorted(when - pd.Timedelta(days=LEAD_D), side="right") - 1
        if k >= 0 and days[0] + pd.Timedelta(days=HORIZON_D) < when <= days[-1] + pd.Timedelta(days=LEAD_D):
            hits.append(bool(said[unit, days[k]]))
    return float(np.mean(hits)) if hits else float("nan")


def false_flags(fleet: Fleet, rows: pd.DataFrame, days: pd.DatetimeIndex, ahead_d: np.ndarray) -> float:
    """Flags newly raised on vehicles without a no-start within 270 days and no part past 0.3, per 100 such vehicle-years."""
    at = [fleet.severity.index.searchsorted(d, side="right") - 1 for d in days]
    wear = fleet.severity.iloc[at].set_axis(days).stack()
    wear.index.names = ["date", "unit"]
    rows = rows.assign(ahead=ahead_d).merge(wear.rename("wear").reset_index(), on=["unit", "date"])
    rows = rows.sort_values(["unit", "date"])
    healthy = (rows["ahead"] > 270) & (rows["wear"] < 0.3)
    new = rows["flagged"] & ~rows.groupby("unit")["flagged"].shift(fill_value=False)
    return 100.0 * float((new & healthy).sum()) / max(float(healthy.sum()) * EVERY_D / 365.25, 1e-9)


VARIANTS: list[str] = []

if __name__ == "__main__":
    main()
