"""What a stated choice moves: log score, no-starts caught and false flags with one choice moved to an end of its doubt.

    python tests/benchmarks/sensitivity.py                            every choice that the list may read, on ten fleets
    python tests/benchmarks/sensitivity.py --only forecast.weather    those of one stage, or of a room (--only wear)
    python tests/benchmarks/sensitivity.py --quick                    one small fleet and two lists: see below
    python tests/benchmarks/sensitivity.py forecast.weather.persistence=0.6    a value of your own
    python tests/benchmarks/sensitivity.py --count --only wear        how many runs that would be
    python tests/benchmarks/sensitivity.py --moves                    without luck: what changes on one list, see below

Each variant is set beside the choices as they stand, on the same simulated fleets and dates, vehicle by vehicle: the
difference of the log score per vehicle and list, with its standard error over vehicles.  What moves most stands first; a
choice that moves less than two standard errors, no no-start and no flag, moves nothing that these fleets can show.
`--quick` finds what moves a great deal, and what moves nothing at all: it has a handful of no-starts, so that one of them
more or less is what "caught" moves by, and it sees one winter, few classes and no long past.

`--moves` needs no no-start: the list of one day of a composed fleet (`composed_fleet`), in which every rule is at work, with
the same draws before and after. It keeps in `moves.csv` by how much probabilities and coldest starts change over vehicles,
how many flags do, and which other columns where none of these does; `python -m tests.print_choices --write` puts that into
NUMBERS.md. What stands there for a choice's value and doubt is not measured again: delete the rows, or the file, first.

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
from dataclasses import astuple, dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))
from moves import Moved, keep, kept_moves
from print_choices import choices_of, loaded_by, of_the_list, readers, said, stage, stages, variants_of

if TYPE_CHECKING:  # what a variant may change is imported after it was changed
    from analysis.worklist.assess import Assessment
    from demo_fleet.simulate import Fleet

EVERY_D, HORIZON_D = 56, 30
LEAD_D = 14
LIST = "analysis.worklist.assess"
LIBRARIES = ["pandas", "pyarrow", "scipy.optimize", "scipy.sparse", "scipy.special", "scipy.stats", "threadpoolctl"]
WITHIN = 1e-9  # a smaller change of a figure is none
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
    if options.moves:
        measure_moves(options.only, options.workers)
        return
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
    with TemporaryDirectory() as folder, fresh_processes(options.workers) as pool:
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


def fresh_processes(workers: int, *loaded: str) -> ProcessPoolExecutor:
    """Processes that each do one thing, begun with libraries loaded and nothing of ours (see `one`) but what is `loaded`."""
    processes = get_context("forkserver")
    processes.set_forkserver_preload([*LIBRARIES, *loaded])
    return ProcessPoolExecutor(workers, processes, max_tasks_per_child=1)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("variants", nargs="*", help="ROOM.STAGE.CHOICE=VALUE, several joined by ; are one variant")
    parser.add_argument("--only", nargs="+", default=[], help="rooms, stages or choices")
    parser.add_argument("--fleets", type=int, default=len(Size.fleets))
    parser.add_argument("--units", type=int, default=Size.units)
    parser.add_argument(
        "--quick", action="store_true", help=f"one fleet of {QUICK.units} vehicles, {QUICK.lists} lists"
    )
    parser.add_argument("--moves", action="store_true", help="what changes on one list of a composed fleet")
    parser.add_argument("--count", action="store_true", help="say how many runs it would be, and stop")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    return parser.parse_args()


def variants(only: Sequence[str]) -> dict[str, str]:
    """ROOM.STAGE.CHOICE=VALUE -> a label, for either end of the doubt of every choice whose name begins with one of `only`.

    Raises ValueError for a name that fits no choice that a module of the list reads.
    """
    out = {}
    for name, end, value in ends(only):
        several = isinstance(value, Mapping | tuple)
        out[written(name, value)] = f"{name} {end} end" if several else f"{name}={value:g}"
    return out


def ends(only: Sequence[str]) -> list[tuple[str, str, object]]:
    """ROOM.STAGE.CHOICE, "low" or "high" and the value there, as `variants`."""
    read = of_the_list()
    for wanted in only:
        if not any(f"{name}.".startswith(f"{wanted}.") for name in read):
            raise ValueError(f"--only {wanted}: the list reads no choice named so; allowed are names as in NUMBERS.md")
    asked = {name for name in read if not only or any(f"{name}.".startswith(f"{wanted}.") for wanted in only)}
    every = ((f"{key}.{choice}", end, value) for key in stages() for choice, end, value in variants_of(stage(key)))
    return [one for one in every if one[0] in asked]


def written(name: str, value: object) -> str:
    """A variant as it can be typed."""
    return f"{name}={dict(value) if isinstance(value, Mapping) else value!r}"


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
    move_all(variant)
    return figures(pickle.loads((Path(folder) / str(k)).read_bytes()), size)


def move_all(variant: str) -> None:
    """Move every choice that a variant names."""
    for change in filter(None, variant.split(";")):
        path, _, value = change.partition("=")
        move(path, ast.literal_eval(value))


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


def measure_moves(only: Sequence[str], workers: int) -> None:
    """Add to the file what choices move that stand there no longer as they are, one end of each first; print each as it comes."""
    there = kept_moves()
    stands = {f"{key}.{one.name}": said(one.value) for key in stages() for one in choices_of(stage(key))}
    asked = []
    for name, end, value in ends(only):
        row = there.get((name, end))
        if row is None or (row.stands, row.to) != (stands[name], said(value)):
            asked.append((name, end, value))
    asked.sort(key=lambda one: one[1])
    learned_by = loaded_by("analysis.forecast.learning")
    looked_at = {name for name, modules in readers().items() if modules & learned_by}
    with (
        TemporaryDirectory() as folder,
        fresh_processes(workers, LIST) as pool,
        ProcessPoolExecutor(1, get_context("spawn"), max_tasks_per_child=1) as bare,
    ):
        at_import = bare.submit(read_at_import).result()
        pool.submit(composed, folder).result()
        jobs = [
            (bare if name in at_import else pool).submit(moved, written(name, value), name in looked_at, folder)
            for name, _, value in asked
        ]
        for (name, end, value), job in zip(asked, jobs, strict=True):
            row = Moved(name, end, stands[name], said(value), *job.result())
            keep(row)
            print(*astuple(row), flush=True)


def read_at_import() -> frozenset[str]:
    """ROOM.STAGE.CHOICE of what is read while the list's modules are loaded: to move it later would move nothing."""
    read = set[str]()
    for key in stages():
        held = stage(key)

        def noted(self: object, name: str, key: str = key) -> object:
            read.add(f"{key}.{name}")
            return object.__getattribute__(self, name)

        type(held).__getattribute__ = noted  # type: ignore[method-assign,assignment]
    importlib.import_module(LIST)
    return frozenset(read)


def composed(folder: str) -> None:
    """Leave the composed fleet in a folder, its list as the choices stand, and the looks at its past."""
    tables, day = importlib.import_module("composed_fleet").composed_fleet()
    looks: dict[str, object] = {}
    found = importlib.import_module(LIST).assess(tables, as_of=day, looks=looks)
    for name, what in {"fleet": (tables, day), "looks": looks, "list": of_list(found)}.items():
        (Path(folder) / name).write_bytes(pickle.dumps(what))


def moved(variant: str, looked_at: bool, folder: str) -> tuple[float, float, float, float, int, str, str]:
    """What one variant changes of the composed fleet's list (see `moves.Moved`), in a process of its own.

    looked_at: whether looks at the past read what it moves, which are made anew where it changes nothing else.
    """
    move_all(variant)
    assess = importlib.import_module(LIST).assess
    (tables, day), looks, before = (
        pickle.loads((Path(folder) / name).read_bytes()) for name in ("fleet", "looks", "list")
    )
    found = compared(before, of_list(assess(tables, as_of=day, looks=looks)))
    if any(found) or not looked_at:
        return (*found, "")
    return (*compared(before, of_list(assess(tables, as_of=day))), "anew")


LISTED = ("units", "parts", "outlook", "beyond", "resets", "drift", "classes")


def of_list(found: Assessment) -> dict[str, pd.DataFrame]:
    """The frames of a list, the vehicles in the order of their names, and its notes."""
    frames = {name: getattr(found, name) for name in LISTED}
    frames["units"] = frames["units"].set_index("unit", drop=False).sort_index()
    return frames | {"notes": pd.DataFrame({"notes": list(found.fleet_notes)})}


def compared(
    before: dict[str, pd.DataFrame], after: dict[str, pd.DataFrame]
) -> tuple[float, float, float, float, int, str]:
    """Largest and mean change of probability (a vehicle that is judged in one only counts as from nil) and of the coldest
    start [K], flags that differ, and columns that do where none of these does."""
    a, b = before["units"], after["units"]
    p = np.abs(b["no_start_probability"].fillna(0.0) - a["no_start_probability"].fillna(0.0)).to_numpy()
    k = np.nan_to_num(np.abs(b["coldest_start_c"] - a["coldest_start_c"]).to_numpy(np.float64))
    found = [float(f"{one:.3g}") if one > WITHIN else 0.0 for one in (p.max(), p.mean(), k.max(), k.mean())]
    flags = int((a["flagged"] != b["flagged"]).sum())
    elsewhere = [] if any(found) or flags else [f"{name}: {_unlike(before[name], after[name])}" for name in before]
    return (*found, flags, "; ".join(one for one in elsewhere if not one.endswith(": ")))


def _unlike(before: pd.DataFrame, after: pd.DataFrame) -> str:
    """Names of columns that differ; "rows" where there are more or fewer."""
    if before.shape != after.shape:
        return "rows"
    found = []
    for name in before:
        a, b = before[name].reset_index(drop=True), after[name].reset_index(drop=True)
        same = np.allclose(a, b, rtol=0.0, atol=WITHIN, equal_nan=True) if a.dtype.kind == "f" else a.equals(b)
        found += [] if same else [str(name)]
    return ", ".join(found)


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
