"""What laws of another fleet are worth to a small one: Brier skill and false flags with and without them.

    python tests/benchmarks/bench_travel.py [--pupils 10] [--units 30] [--years 1.7]

A large fleet teaches (250 vehicles, three years); ten small ones of the same classes, other seeds, begin alone, from what it
taught, and from an unlike fleet's laws under the same names of classes.  Pooled over all, every four weeks of the last year.
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))
from samples_fleet import tables_of

from analysis.readings.taught import TaughtClass
from analysis.worklist.assess import assess
from demo_fleet.simulate import Fleet, simulate_fleet
from demo_fleet.specs import FleetSpec, evaluation_specs

EVERY_D, HORIZON_D, LISTS_D, LEAD_D = 28, 30, 392, 14
WAYS = ("alone", "taught", "unlike")


def spec_of(name: str) -> FleetSpec:
    """An evaluation fleet by name."""
    return next(one for one in evaluation_specs() if one.name == name)


def taught_by_fleet(spec: FleetSpec) -> tuple[TaughtClass, ...]:
    """What a fleet has learned by its end."""
    fleet = simulate_fleet(spec)
    return assess(tables_of(fleet), as_of=pd.Timestamp(fleet.as_of)).teaches


def pupil(
    job: tuple[FleetSpec, dict[str, tuple[TaughtClass, ...]]],
) -> list[tuple[str, np.ndarray, np.ndarray, float, float, int]]:
    """Probabilities and outcomes of one small fleet, begun in each way."""
    spec, taught = job
    fleet = simulate_fleet(spec)
    end = pd.Timestamp(fleet.as_of) - pd.Timedelta(days=HORIZON_D)
    days = pd.date_range(end=end, periods=LISTS_D // EVERY_D, freq=f"{EVERY_D}D")
    out = []
    for way in WAYS:
        tables, rows, odd = replace(tables_of(fleet), taught=taught.get(way, ())), [], 0
        for day in days:
            found = assess(tables, as_of=day)
            odd += len(found.begun.unlike)
            rows.append(found.units[["unit", "flagged", "no_start_probability"]].assign(date=day))
        table = pd.concat(rows, ignore_index=True).rename(columns={"no_start_probability": "p"})
        ahead = days_to_failure(fleet, table)
        out.append(
            (
                way,
                table["p"].to_numpy(),
                ahead < HORIZON_D,
                caught(fleet, table, days),
                false_flags(fleet, table, days, ahead),
                odd,
            )
        )
    return out


def days_to_failure(fleet: Fleet, rows: pd.DataFrame) -> np.ndarray:
    """Days from each row's date to the next no-start of its unit, 1e6 where none came."""
    failed = fleet.truth.groupby("unit")["date"].apply(lambda d: np.sort(d.to_numpy()))
    ahead = np.full(len(rows), 1e6)
    for i, (unit, day) in enumerate(zip(rows["unit"], rows["date"], strict=True)):
        later = failed.get(unit, np.array([], dtype="datetime64[us]"))
        later = later[later >= np.datetime64(day)]
        ahead[i] = (later[0] - np.datetime64(day)) / np.timedelta64(1, "D") if len(later) else 1e6
    return ahead


def caught(fleet: Fleet, rows: pd.DataFrame, days: pd.DatetimeIndex) -> float:
    """Share of the no-starts that a list could have foretold that were flagged on the last one at least LEAD_D days before."""
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


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pupils", type=int, default=10)
    parser.add_argument("--units", type=int, default=30)
    parser.add_argument("--years", type=float, default=1.7)
    options = parser.parse_args()
    usual = spec_of("usual_mixed")
    taught = {"taught": taught_by_fleet(replace(usual, units=250, years=3.0))}
    other = taught_by_fleet(replace(spec_of("heavy_24v"), units=150, years=3.0))
    names = [one.name for one in taught["taught"]]
    taught["unlike"] = tuple(replace(other[k % len(other)], name=name) for k, name in enumerate(names))
    jobs = [
        (replace(usual, seed=9000 + k, units=options.units, years=options.years), taught) for k in range(options.pupils)
    ]
    with ProcessPoolExecutor(2) as pool:
        found = [one for each in pool.map(pupil, jobs) for one in each]
    print(f"{options.pupils} fleets of {options.units} vehicles, {options.years} years")
    print(
        f"{'begun':8s} {'Brier skill':>12s} {'log score':>10s} {'caught':>7s} {'false':>6s} {'no-starts':>10s} {'classes left out':>17s}"
    )
    for way in WAYS:
        mine = [one for one in found if one[0] == way]
        p, y = np.concatenate([m[1] for m in mine]), np.concatenate([m[2] for m in mine])
        skill = 1.0 - float(((p - y) ** 2).mean() / ((y.mean() - y) ** 2).mean())
        inside = np.clip(p, 1e-4, 1 - 1e-4)
        score = float(np.where(y, np.log(inside), np.log1p(-inside)).mean())
        found_share, false = np.nanmean([m[3] for m in mine]), np.mean([m[4] for m in mine])
        print(
            f"{way:8s} {skill:12.3f} {1e4 * score:10.1f} {found_share:7.2f} {false:6.2f} {int(y.sum()):10d} {sum(m[5] for m in mine):17d}"
        )


if __name__ == "__main__":
    main()
