"""How long the whole assessment takes, beside just reading the rows and beside a plain trend per vehicle.

    python tests/benchmarks/bench_assess.py [UNITS]

Makes a fleet of 500 vehicles with 24 readings each, copies it under new names up to UNITS (default 50,000), puts it into
a database, and prints seconds side by side: reading the rows, the whole assessment (reading included), and a loop of
`scipy.stats.theilslopes` and `kendalltau` over six channels, measured on 300 vehicles and scaled up.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy.stats import kendalltau, theilslopes

from dashboard.desk.assessment import assess_database
from demo_fleet.simulate import simulate_fleet
from demo_fleet.specs import evaluation_specs
from ingest import store
from ingest.importer import import_paths

SOURCE_UNITS = 500
READINGS = 24
LOOPED = 300


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    start = time.perf_counter()
    result = work()
    return time.perf_counter() - start, result


def write_fleet(folder: Path, units: int) -> pd.Timestamp:
    """The copied fleet as CSV files; returns the day after the last reading."""
    from dataclasses import replace

    fleet = simulate_fleet(replace(evaluation_specs()[1], units=SOURCE_UNITS, years=3.5))
    readings = fleet.readings.groupby("unit").tail(READINGS)
    copies = -(-units // SOURCE_UNITS)
    for name, frame in (("units", fleet.units), ("readings", readings), ("repairs", fleet.repairs)):
        parts = [frame.assign(unit=frame["unit"] + f"-{k:03d}") for k in range(copies)]
        pd.concat(parts).to_csv(folder / f"{name}.csv", index=False)
    fleet.climate.to_csv(folder / "climate.csv", index=False)
    return pd.Timestamp(readings["taken_at"].max()).normalize() + pd.Timedelta(days=1)


def loop_seconds(readings: pd.DataFrame, units: int) -> float:
    """Seconds of the per-vehicle loop, scaled to all vehicles."""
    columns = ["rest_v", "crank_min_v", "drop_positive_v", "drop_ground_v", "drop_contacts_v", "drop_control_v"]
    some = readings[readings["unit"].isin(readings["unit"].unique()[:LOOPED])]

    def work() -> None:
        for _, mine in some.groupby("unit"):
            day = mine["taken_at"].to_numpy().astype("datetime64[s]").astype(float) / 86400.0
            for column in columns:
                value = mine[column].to_numpy()
                known = np.isfinite(value)
                theilslopes(value[known], day[known])
                kendalltau(day[known], value[known])

    return timed(work)[0] * units / LOOPED


def main() -> None:
    units = int(sys.argv[1]) if len(sys.argv) > 1 else 50_000
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        day = write_fleet(folder, units)
        db = store.open_database(folder / "fleet.db")
        now = datetime.combine(day.date(), datetime.min.time())
        stored, outcome = timed(lambda: import_paths(db, [folder], now=now))
        print(f"import: {stored:.1f} s; {outcome.summary()}")
        read, readings = timed(lambda: store.read_readings(db))
        whole, assessment = timed(lambda: assess_database(db, as_of=day.date()))
        loop = loop_seconds(readings, units)
        flagged = int(assessment.units["flagged"].sum())
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
        print(f"{units} vehicles, {len(readings)} readings; {flagged} flagged; peak memory {peak:.2f} GiB")
        print(f"{'':40s} {'seconds':>9s} {'of assessment':>14s}")
        lines = {
            "reading the rows": read,
            "whole assessment, reading included": whole,
            "loop of theilslopes and kendalltau": loop,
        }
        for label, seconds in lines.items():
            print(f"{label:40s} {seconds:9.1f} {seconds / whole:14.2f}")


if __name__ == "__main__":
    main()
