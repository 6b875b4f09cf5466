"""What a stated choice moves: log score, no-starts caught and false flags with one choice moved to an end of its doubt.

    python tests/benchmarks/sensitivity.py                            every choice that the list may read, on ten fleets
    python tests/benchmarks/sensitivity.py --only forecast.weather    those of one stage, or of a room (--only wear)
    python tests/benchmarks/sensitivity.py --quick                    one small fleet and two lists: see below
    python tests/benchmarks/sensitivity.py forecast.weather.persistence=0.6    a value of your own
    python tests/benchmarks/sensitivity.py --count --only wear        how many runs that would be

Each variant is set beside the choices as they stand, on the same simulated fleets and dates, vehicle by vehicle: the
difference of the log score per vehicle and list, with its standard error over vehicles.  What moves most stands first; a
choice that moves less than two standard errors, no no-start and no flag, moves nothing that these fleets can show.
`--quick` finds what moves a great deal, and what moves nothing at all: it has a handful of no-starts, so that one of them
more or less is what "caught" moves by, and it sees one winter, few classes and no long past.

Choices that no module of the list reads (one reading, the plan, past lists, recorded starts) are left out.
"""

from __future__ import annotations

import argparse
import ast
import importlib
import os
import pickle
import sys
import time
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))
from print_choices import loaded_by, readers, stage, stages, variants_of

if TYPE_CHECKING:  # what a variant may change is imported after it was changed
    from demo_fleet.simulate import Fleet

EVERY_D, HORIZON_D = 56, 30
LEAD_D = 14
LIBRARIES = ["pandas", "pyarrow", "scipy.optimize", "scipy.sparse", "scipy.special", "scipy.stats", "threadpoolctl"]
LEAST_P = 1e-4  # a probability nearer to 0 or 1 counts as so near


@dataclass(frozen=True)
class Size:
    """How much each variant is tried on: which evaluation fleets, with how many vehicles, and how many lists of each; as many
    as `left_out` of the last ones are not made, as summer foretells nothing."""

    fleets: tuple[int, ...] = tuple(range(10))
    units: int = 150
    lists: int = 10
    left_out: int = 0


QUICK = Size(fleets=(6,), units=80, lists=2, left_out=2)


@dataclass(frozen=True)
class Figures:
    """Of one fleet under one variant: log score per vehicle (sum over lists), no-starts within reach of a list and the share
    of them caught, false flags per 100 healthy vehicle-years."""

    score: pd.Series
    no_starts: int
    caught: float
    false_flags: float
    lists: int


def main() -> None:
    """Print a row per variant, what moves most first."""
    options = _options()
    size = QUICK if options.quick else Size(tuple(range(options.fleets)), options.units)
    try:
        for change in filter(None, ";".join(options.variants).split(";")):
            known(change.partition("=")[0])
        labels = {"": "", **({one: one for one in options.variants} or variants(options.only))}
    except ValueError as problem:
        sys.exit(str(problem))
    named = list(labels)
    jobs = [(variant, k, size) for variant in named for k in size.fleets]
    if options.count:
        print(f"{len(named) - 1} variants, {len(jobs)} runs of {size.lists} lists of {size.units} vehicles")
        return
    started = time.perf_counter()
    processes = get_context("forkserver")  # each begins anew, with libraries loaded and nothing of ours: see `one`
    processes.set_forkserver_preload(LIBRARIES)
    with (
        TemporaryDirectory() as folder,
        ProcessPoolExecutor(options.workers, processes, max_tasks_per_child=1) as pool,
    ):
        list(pool.map(simulated, size.fleets, [size] * len(size.fleets), [folder] * len(size.fleets)))
        found = dict(zip(jobs, pool.map(one, jobs, [folder] * len(jobs)), strict=True))
    by_variant = {labels[variant]: [found[variant, k, size] for k in size.fleets] for variant in named}
    no_starts = sum(f.no_starts for f in by_variant[""])
    print(
        f"{len(size.fleets)} fleet(s) of {size.units} vehicles, {size.lists} lists each, {no_starts} no-starts; "
        f"{time.perf_counter() - started:.0f} s"
    )
    if options.quick:
        print("Quick: only what moves by several standard errors is told from chance here; the rest may move or not.")
    print_rows(by_variant)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("variants", nargs="*", help="ROOM.STAGE.CHOICE=VALUE, several joined by ; are one variant")
    parser.add_argument("--only", nargs="+", default=[], help="rooms, stages or choices")
    parser.add_argument("--fleets", type=int, default=len(Size.fleets))
    parser.add_argument("--units", type=int, default=Size.units)
    parser.add_argument(
        "--quick", action="store_true", help=f"one fleet of {QUICK.units} vehicles, {QUICK.lists} lists"
    )
    parser.add_argument("--count", action="store_true", help="say how many runs it would be, and stop")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    return parser.parse_args()


def variants(only: Sequence[str]) -> dict[str, str]:
    """ROOM.STAGE.CHOICE=VALUE -> a label, for either end of the doubt of every choice whose name begins with one of `only`.

    Raises ValueError for a name that fits no choice that a module of the list reads.
    """
    of_list = loaded_by("analysis.worklist.assess")
    read = [name for name, modules in readers().items() if modules & of_list]
    for wanted in only:
        if not any(f"{name}.".startswith(f"{wanted}.") for name in read):
            raise ValueError(f"--only {wanted}: the list reads no choice named so; allowed are names as in NUMBERS.md")
    asked = {name for name in read if not only or any(f"{name}.".startswith(f"{wanted}.") for wanted in only)}
    out = {}
    for key in stages():
        for choice, end, value in variants_of(stage(key)):
            name, several = f"{key}.{choice}", isinstance(value, Mapping | tuple)
            if name in asked:
                text = f"{name}={dict(value) if isinstance(value, Mapping) else value!r}"
                out[text] = f"{name} {end} end" if several else f"{name}={value:g}"
    return out


def print_rows(by_variant: dict[str, list[Figures]]) -> None:
    """Differences to the choices as they stand (the first row): by log score, then those that move nothing."""
    before = by_variant[""]
    rows = []
    for variant, after in by_variant.items():
        gain = pd.concat([b.score - a.score for a, b in zip(before, after, strict=True)]).to_numpy() / before[0].lists
        caught, false = (
            float(np.nanmean([getattr(f, name) for f in after]) - (np.nanmean([getattr(f, name) for f in before]) if variant else 0.0))
            for name in ("caught", "false_flags")
        )  # fmt: skip
        rows.append((variant, 1e4 * gain.mean(), 1e4 * gain.std() / np.sqrt(len(gain)), caught, false))
    still = [row for row in rows[1:] if not any(row[1:])]
    moving = sorted(
        (row for row in rows[1:] if any(row[1:])), key=lambda row: (-abs(row[1]), -abs(row[4]), -abs(row[3]))
    )
    print(
        f"{'variant':64s} {'log score':>10s} {'s.e.':>7s} {'caught':>7s} {'false':>7s}   (differences; score in 1e-4)"
    )
    print(
        f"{'as it stands (caught; false flags per 100 healthy years)':64s} {'':>18s} {rows[0][3]:7.3f} {rows[0][4]:7.2f}"
    )
    for variant, mean, error, caught, false in moving:
        told = "" if abs(mean) >= 2.0 * error else "  within chance"
        print(f"{variant:64s} {mean:10.2f} {error:7.2f} {caught:+7.3f} {false:+7.2f}{told}")
    if still:
        print("moves nothing at all here:", ", ".join(row[0] for row in still))


def simulated(k: int, size: Size, folder: str) -> None:
    """Leave an evaluation fleet in a folder, once for all variants: what is true of it no choice moves."""
    simulate = importlib.import_module("demo_fleet.simulate").simulate_fleet
    spec = importlib.import_module("demo_fleet.specs").evaluation_specs()[k]
    fleet = simulate(replace(spec, units=size.units, years=3.0))
    (Path(folder) / str(k)).write_bytes(pickle.dumps(fleet))


def one(job: tuple[str, int, Size], folder: str) -> Figures:
    """Figures of one fleet under one variant, in a process of its own in which nothing that reads a choice is loaded yet."""
    variant, k, size = job
    for change in filter(None, variant.split(";")):
        path, _, value = change.partition("=")
        move(path, ast.literal_eval(value))
    return figures(pickle.loads((Path(folder) / str(k)).read_bytes()), size)


def move(path: str, value: object) -> None:
    """Give a choice (ROOM.STAGE.CHOICE) another value."""
    key, name = known(path)
    object.__setattr__(stage(key), name, value)


def known(path: str) -> tuple[str, str]:
    """Stage and name of a choice (ROOM.STAGE.CHOICE); raises ValueError where there is none of that name."""
    key, _, name = path.rpartition(".")
    if key not in stages() or not hasattr(stage(key), name):
        raise ValueError(f"{path} is no choice; allowed are ROOM.STAGE.CHOICE, as in analysis/NUMBERS.md")
    return key, name


def figures(fleet: Fleet, size: Size) -> Figures:
    """Lists over the end of the fleet's past, held against what really failed."""
    backtest_lists = importlib.import_module("analysis.backtest.lists").backtest_lists
    tables_of = importlib.import_module("samples_fleet").tables_of
    last = pd.Timestamp(fleet.as_of) - pd.Timedelta(days=HORIZON_D + size.left_out * EVERY_D)
    days = pd.date_range(end=last, periods=size.lists, freq=f"{EVERY_D}D")
    issued = backtest_lists(tables_of(fleet), days)
    rows = pd.concat(
        [a.units[["unit", "flagged", "no_start_probability"]].assign(date=day) for day, a in issued], ignore_index=True
    )
    rows = rows.rename(columns={"no_start_probability": "p"})
    ahead = days_to_failure(fleet, rows)
    y, p = ahead < HORIZON_D, rows["p"].clip(LEAST_P, 1.0 - LEAST_P).to_numpy()
    score = pd.Series(np.where(y, np.log(p), np.log1p(-p)), index=rows["unit"]).groupby(level=0).sum()
    score.index = fleet.spec.name + " " + score.index.astype(str)
    hits = reached(fleet, rows, days)
    return Figures(
        score,
        len(hits),
        float(np.mean(hits)) if hits else float("nan"),
        false_flags(fleet, rows, days, ahead),
        size.lists,
    )


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
    """Share of no-starts whose vehicle stood flagged on the last list at least LEAD_D days before."""
    hits = reached(fleet, rows, days)
    return float(np.mean(hits)) if hits else float("nan")


def reached(fleet: Fleet, rows: pd.DataFrame, days: pd.DatetimeIndex) -> list[bool]:
    """Whether each no-start that a list could have foretold was flagged on the last one at least LEAD_D days before."""
    said = rows.set_index(["unit", "date"])["flagged"]
    hits = []
    for unit, when in zip(fleet.truth["unit"], fleet.truth["date"], strict=True):
        k = days.searchsorted(when - pd.Timedelta(days=LEAD_D), side="right") - 1
        if k >= 0 and days[0] + pd.Timedelta(days=HORIZON_D) < when <= days[-1] + pd.Timedelta(days=LEAD_D):
            hits.append(bool(said[unit, days[k]]))
    return hits


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


if __name__ == "__main__":
    main()
