"""What a stated choice moves: the list of one day with the choice at an end of its doubt, beside the list as choices stand.

    python tests/benchmarks/sensitivity.py                            every choice that the list reads
    python tests/benchmarks/sensitivity.py --only forecast.weather    those of a stage or of a room, or one choice
    ... --only forecast.weather --scores 10                           log score, caught and false flags over ten fleets instead

The list is that of a composed fleet (`composed_fleet`), in which every rule is at work, with the same draws before and after.
It keeps in `moves.csv` by how much probabilities and coldest starts change over vehicles, how many flags do, and which other
columns where none of these does; `python -m tests.print_choices --write` puts that into NUMBERS.md. What stands there for a
choice's value and doubt is not measured again: delete the rows, or the file, first.

Choices of the next measurement are held against what is to be measured next on every vehicle of that list: so many are asked for
something else; choices of imports against the demo's files: so many rows are set aside, or so many readings doubted, that were
not, or no longer. Choices that none of these reads (one reading, the plan, past lists, recorded starts) are left out.
"""

from __future__ import annotations

import argparse
import importlib
import os
import pickle
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import astuple
from datetime import datetime, time
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))
from moves import NEXT_TESTS, ROWS, Moved, keep, kept_moves
from print_choices import (
    choices_of,
    loaded_by,
    of_imports,
    of_next_tests,
    of_the_list,
    readers,
    said,
    stage,
    stages,
    variants_of,
)

if TYPE_CHECKING:  # what a variant may change is imported after it was changed
    from analysis.readings.panel import FleetTables
    from analysis.worklist.assess import Assessment

LIST = "analysis.worklist.assess"
LIBRARIES = ["pandas", "pyarrow", "scipy.optimize", "scipy.sparse", "scipy.special", "scipy.stats", "threadpoolctl"]
WITHIN = 1e-9  # a smaller change of a figure is none


def main() -> None:
    """Measure what is not in the file as it stands, printing each row as it comes."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", nargs="+", default=[], help="rooms, stages or choices")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument(
        "--scores", type=int, default=0, metavar="FLEETS", help="how lists of so many fleets score with each end"
    )
    parser.add_argument("--units", type=int, default=60, help="vehicles of each of these fleets")
    options = parser.parse_args()
    try:
        if options.scores:
            print(scored(options.only, options.scores, options.units))
        else:
            measure_moves(options.only, options.workers)
    except ValueError as problem:
        sys.exit(str(problem))


def fresh_processes(workers: int) -> ProcessPoolExecutor:
    """Processes that each do one thing, begun with the list's modules loaded."""
    processes = get_context("forkserver")
    processes.set_forkserver_preload([*LIBRARIES, LIST])
    return ProcessPoolExecutor(workers, processes, max_tasks_per_child=1)


def ends(only: Sequence[str]) -> list[tuple[str, str, object]]:
    """ROOM.STAGE.CHOICE, "low" or "high" and the value there, of either end of every choice whose name begins with one of `only`.

    Raises ValueError for a name that fits no choice that the list, its next measurements or imports read.
    """
    read = of_the_list() | of_next_tests() | of_imports()
    for wanted in only:
        if not any(f"{name}.".startswith(f"{wanted}.") for name in read):
            raise ValueError(f"--only {wanted}: the list reads no choice named so; allowed are names as in NUMBERS.md")
    asked = {name for name in read if not only or any(f"{name}.".startswith(f"{wanted}.") for wanted in only)}
    every = ((f"{key}.{choice}", end, value) for key in stages() for choice, end, value in variants_of(stage(key)))
    return [one for one in every if one[0] in asked]


def move(path: str, end: str) -> None:
    """Take a choice (ROOM.STAGE.CHOICE) to an end of its doubt."""
    key, _, name = path.rpartition(".")
    values = {(choice, at): value for choice, at, value in variants_of(stage(key))}
    object.__setattr__(stage(key), name, values[name, end])


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
    looked_at = of_the_looks()
    with (
        TemporaryDirectory() as folder,
        fresh_processes(workers) as pool,
        ProcessPoolExecutor(1, get_context("spawn"), max_tasks_per_child=1) as bare,
    ):
        at_import = bare.submit(read_at_import).result()
        pool.submit(composed, folder).result()
        jobs = [
            bare.submit(asked_otherwise, name, end, folder)
            if name in of_next_tests()
            else bare.submit(taken_otherwise, name, end, folder)
            if name in of_imports()
            else (bare if name in at_import else pool).submit(moved, name, end, name in looked_at, folder)
            for name, end, _ in asked
        ]
        for (name, end, value), job in zip(asked, jobs, strict=True):
            row = Moved(name, end, stands[name], said(value), *job.result())
            keep(row)
            print(*astuple(row), flush=True)


def of_the_looks() -> set[str]:
    """ROOM.STAGE.CHOICE of what looks at the past read."""
    learned_by = loaded_by("analysis.forecast.learning")
    return {name for name, modules in readers().items() if modules & learned_by}


def scored(only: Sequence[str], fleets: int, units: int) -> str:
    """The table of `ablation` with the ends of choices in the place of parts; choices that are read at import are left out."""
    with ProcessPoolExecutor(1, get_context("spawn")) as bare:
        at_import = bare.submit(read_at_import).result()
    ablation, looked_at = importlib.import_module("ablation"), of_the_looks()
    told: str = ablation.table(
        [
            ablation.Switch(name, f"{end}, {said(value)}", {name: value}, looks=name in looked_at)
            for name, end, value in ends(only)
            if name in of_the_list() - at_import
        ],
        ablation.fleets(fleets, units),
    )
    return told


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
    kept = {"fleet": (tables, day), "looks": looks, "list": of_list(found)}
    kept["asked"] = next_tests(tables, kept["list"])
    importlib.import_module("dashboard.cli.commands.demo").write_files(Path(folder) / FILES)
    kept["rows"] = rows_taken(folder)
    for name, what in kept.items():
        (Path(folder) / name).write_bytes(pickle.dumps(what))


def next_tests(tables: FleetTables, listed: dict[str, pd.DataFrame]) -> dict[str, str | None]:
    """What is to be measured next on every vehicle of a list, by the list's own rule."""
    desk, units = importlib.import_module("dashboard.desk.assessment"), listed["units"].reset_index(drop=True)
    parts = {str(name): own.to_dict("records") for name, own in listed["parts"].groupby("unit")}
    trusted = tables.readings.assign(**{name: "" for name in ("doubtful", "confirmed") if name not in tables.readings})
    found: dict[str, str | None] = desk.measured_next(units, parts, trusted, desk.STATED)
    return found


def asked_otherwise(name: str, end: str, folder: str) -> tuple[float, float, float, float, int, str, str]:
    """On how many vehicles of the composed fleet's list something else is to be measured next with a choice at an end of its doubt."""
    move(name, end)
    (tables, _), listed, before = (
        pickle.loads((Path(folder) / one).read_bytes()) for one in ("fleet", "list", "asked")
    )
    after = next_tests(tables, listed)
    count = sum(after[unit] != was for unit, was in before.items())
    return 0.0, 0.0, 0.0, 0.0, 0, f"{count} {NEXT_TESTS}" if count else "", ""


def moved(name: str, end: str, looked_at: bool, folder: str) -> tuple[float, float, float, float, int, str, str]:
    """What a choice at an end of its doubt changes of the composed fleet's list (see `moves.Moved`), in a process of its own.

    looked_at: whether looks at the past read what it moves, which are made anew where it changes nothing else.
    """
    move(name, end)
    assess = importlib.import_module(LIST).assess
    (tables, day), looks, before = (
        pickle.loads((Path(folder) / one).read_bytes()) for one in ("fleet", "looks", "list")
    )
    found = compared(before, of_list(assess(tables, as_of=day, looks=looks)))
    if any(found) or not looked_at:
        return (*found, "")
    return (*compared(before, of_list(assess(tables, as_of=day))), "anew")


FILES = "demo-files"


def rows_taken(folder: str) -> set[tuple[str, ...]]:
    """Rows of the demo's files that are set aside, and readings with what is doubted of them."""
    scenario = importlib.import_module("demo_fleet.scenario")
    importer, store = (importlib.import_module(f"ingest.{name}") for name in ("importer", "store"))
    with TemporaryDirectory() as own:
        db = store.open_database(Path(own) / "fleet.db")
        importer.import_paths(db, [Path(folder) / FILES], now=datetime.combine(scenario.AS_OF, time(6)))
        aside = db.execute("SELECT file, line FROM set_aside").fetchall()
        doubted = db.execute("SELECT unit, taken_at, doubtful FROM readings WHERE doubtful <> ''").fetchall()
    return {tuple(map(str, row)) for row in (*aside, *doubted)}


def taken_otherwise(name: str, end: str, folder: str) -> tuple[float, float, float, float, int, str, str]:
    """How many rows of the demo's files are set aside, or doubted, or no longer, with a choice at an end of its doubt."""
    move(name, end)
    before = pickle.loads((Path(folder) / "rows").read_bytes())
    count = len({row[:2] for row in before ^ rows_taken(folder)})
    return 0.0, 0.0, 0.0, 0.0, 0, f"{count} {ROWS}" if count else "", ""


LISTED = ("units", "parts", "outlook", "beyond", "resets", "drift", "classes")


def of_list(found: Assessment) -> dict[str, pd.DataFrame]:
    """The frames of a list, the vehicles in the order of their names, and its notes."""
    frames = {name: getattr(found, name) for name in LISTED}
    frames["units"] = frames["units"].set_index("unit", drop=False).sort_index()
    return frames | {"notes": pd.DataFrame({"notes": [repr(one) for one in found.fleet_notes]})}


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


if __name__ == "__main__":
    main()
