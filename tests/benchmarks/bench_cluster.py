"""What each step of a list past one machine costs, and what it sends: the figures that `analysis/NUMBERS.md` reckons from.

    python tests/benchmarks/bench_cluster.py --vehicles 20000

Every step is run here, one after the other, by an engine that counts: processor time of a call, and bytes of its result as they would
go to another worker. Steps that are called once grow with the fleet; the others with a partition.
"""

from __future__ import annotations

import argparse
import pickle
import resource
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from benchmarks.fleets import write_fleet

from dashboard.cluster.engines import Here
from dashboard.cluster.fleet import assess_folder
from dashboard.desk.quick import quick_for
from ingest.importer import import_paths
from ingest.parquet_folder import export_folder
from ingest.store import open_database

MEBI = 2**20


class Counting(Here):
    """Runs a function here, and notes what it took and what it gave."""

    def __init__(self) -> None:
        self.calls: dict[str, list[tuple[float, int]]] = defaultdict(list)

    def later(self, function: Callable[..., Any], *arguments: Any) -> Any:
        """Its result."""
        began = time.process_time()
        found = super().later(function, *arguments)
        took = time.process_time() - began
        self.calls[function.__name__].append((took, len(pickle.dumps(found, protocol=5))))
        return found


def main() -> None:
    """Make a fleet, export it, and print a line a step."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--vehicles", type=int, default=20_000)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        work = Path(name)
        (work / "files").mkdir()
        day = write_fleet(work / "files", asked.vehicles)
        db = open_database(work / "fleet.db")
        import_paths(db, [work / "files"])
        began = time.process_time()
        folder = export_folder(db, work / "parquet")
        print(f"export: {time.process_time() - began:.1f} s, {size_of(work / 'parquet') / MEBI:.1f} MiB on the disk")
        quick_for(folder.vehicles)
        engine = Counting()
        assess_folder(folder, engine, as_of=day, horizon_days=30, tolerated=5.0)
    print(f"{folder.vehicles} vehicles, {folder.rows('readings')} readings, {folder.partitions} partitions")
    print(f"{'step':14s} {'calls':>5s} {'s a call':>9s} {'s':>7s} {'MiB a call':>11s}")
    for step, calls in engine.calls.items():
        seconds, sent = sum(took for took, _ in calls), sum(given for _, given in calls)
        print(f"{step:14s} {len(calls):5d} {seconds / len(calls):9.2f} {seconds:7.1f} {sent / len(calls) / MEBI:11.2f}")
    print(f"peak {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MiB, copies for counting included")


def size_of(folder: Path) -> int:
    """Bytes of all files below a folder."""
    return sum(file.stat().st_size for file in folder.rglob("*.parquet"))


if __name__ == "__main__":
    main()
