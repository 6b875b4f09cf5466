"""What a logger's starts cost: import and assessment of 600 starts a vehicle beside 24 readings a vehicle, in one run.

    python tests/benchmarks/bench_many_starts.py [UNITS] [STARTS PER UNIT]

The same vehicles (default 1,000) twice: with 24 readings each as technicians take them, and with volts and temperature of
600 starts over their last year beside them. Each side runs in a process of its own, so that its peak of memory is its own.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from datetime import datetime
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from bench_assess import write_fleet

from dashboard.desk.assessment import assess_database
from ingest import store
from ingest.importer import import_paths

COLD_PER_K = 0.021  # log sag of battery and drag together, per kelvin


def add_starts(folder: Path, starts: int) -> None:
    """Starts as a logger sees them, each like one of the vehicle's own readings but for cold and scatter."""
    readings = pd.read_csv(folder / "readings.csv", parse_dates=["taken_at"])
    end = readings["taken_at"].max()
    chance = np.random.default_rng(5)
    of = readings.groupby("unit").sample(starts, replace=True, random_state=5)[
        ["unit", "temperature_c", "rest_v", "crank_min_v"]
    ]
    at = end - pd.to_timedelta(chance.uniform(0.0, 365.0, len(of)), unit="D")
    cold = np.round(chance.normal(9.0, 8.0, len(of)), 1)
    warmer = np.nan_to_num(cold - of["temperature_c"].to_numpy())
    sag = (of["rest_v"] - of["crank_min_v"]) * np.exp(-COLD_PER_K * warmer + chance.normal(0.0, 0.05, len(of)))
    logged = of.assign(
        taken_at=at.to_numpy().astype("datetime64[s]"),
        temperature_c=cold,
        crank_min_v=(of["rest_v"] - sag).round(2).clip(4.0),
        technician="logger",
    )
    pd.concat([readings, logged]).to_csv(folder / "readings.csv", index=False)


def side(folder: Path, day: str) -> None:
    """Import and assess one folder; prints seconds, rows and peak memory."""
    began = time.perf_counter()
    db = store.open_database(folder / "fleet.db")
    import_paths(db, [folder], now=datetime.fromisoformat(day))
    stored = time.perf_counter()
    rows = len(store.read_readings(db))
    read = time.perf_counter()
    assess_database(db, as_of=datetime.fromisoformat(day).date())
    done = time.perf_counter()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    print(stored - began, read - stored, done - read, rows, peak)


def main() -> None:
    if len(sys.argv) > 3 and sys.argv[1] == "--side":
        side(Path(sys.argv[2]), sys.argv[3])
        return
    units = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000
    starts = int(sys.argv[2]) if len(sys.argv) > 2 else 600
    print(f"{units} vehicles {'import s':>20s} {'read s':>9s} {'assess s':>9s} {'rows':>9s} {'GiB':>6s}")
    found = []
    for label, many in (("24 readings each", 0), (f"and {starts} starts each", starts)):
        with tempfile.TemporaryDirectory() as name:
            day = write_fleet(Path(name), units)
            if many:
                add_starts(Path(name), many)
            out = subprocess.run(
                [sys.executable, __file__, "--side", name, day.isoformat()], capture_output=True, text=True, check=True
            )
            found.append([float(v) for v in out.stdout.split()[-5:]])
        print(
            f"{label:24s} {found[-1][0]:12.1f} {found[-1][1]:9.1f} {found[-1][2]:9.1f} {found[-1][3]:9.0f} {found[-1][4]:6.2f}"
        )
    print(
        f"{'ratio':24s} {found[1][0] / found[0][0]:12.1f} {found[1][1] / found[0][1]:9.1f} {found[1][2] / found[0][2]:9.1f}"
    )


if __name__ == "__main__":
    main()
