"""Import of 50,000 units x 24 readings in one CSV, beside a bare read_csv plus executemany of the same file.

Run: python tests/benchmarks/bench_import.py [UNITS] [READINGS PER UNIT]
Each side runs in a process of its own, so that its peak of memory is its own.
"""

from __future__ import annotations

import resource
import sqlite3
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

UNITS, READINGS = 50_000, 24


def write_files(folder: Path, units: int, readings: int) -> None:
    """Write units.csv and readings.csv of a healthy fleet; rows come in the order of time, as shops keep them."""
    rng = np.random.default_rng(1)
    names = [f"U{number:06d}" for number in range(units)]
    system = rng.choice([12, 24], units)
    frame = pd.DataFrame({"unit": names, "vehicle_class": "truck", "system_v": system, "depot": "yard"})
    frame = frame.assign(fuel="diesel", cylinders=6, rated_cca_a=900, in_service="2020-01-01")
    frame.to_csv(folder / "units.csv", index=False)
    count = units * readings
    which = np.tile(np.arange(units), readings)
    minutes = np.repeat(np.arange(readings) * 45 * 1440, units) + rng.integers(0, 40 * 1440, count)
    scale = system[which] / 12.0
    amps = np.round(rng.normal(250, 20, count))
    rows = pd.DataFrame(
        {
            "unit": np.array(names, dtype=object)[which],
            "taken_at": np.datetime64("2021-01-01T00:00:00", "s") + minutes.astype("timedelta64[m]"),
            "odometer_km": rng.integers(10_000, 400_000, units)[which] + minutes // 20,
            "temperature_c": np.round(rng.normal(12, 5, count), 1),
            "rest_v": np.round(12.6 * scale + rng.normal(0, 0.05, count), 2),
            "crank_min_v": np.round(11.2 * scale + rng.normal(0, 0.1, count), 2),
            "crank_a": amps,
            "peak_a": np.round(amps * 2.5),
            "drop_positive_v": np.round(rng.normal(0.15, 0.01, count), 3),
            "drop_ground_v": np.round(rng.normal(0.12, 0.01, count), 3),
            "drop_contacts_v": np.round(rng.normal(0.18, 0.01, count), 3),
            "drop_control_v": np.round(rng.normal(0.9, 0.05, count), 3),
            "coil_a": np.round(rng.normal(8, 0.5, count), 2),
            "crank_rpm": np.round(rng.normal(190, 10, count)),
            "technician": np.array([f"T{number:02d}" for number in range(12)], dtype=object)[
                rng.integers(0, 12, count)
            ],
        }
    ).sort_values("taken_at")
    for name in rows.columns[4:14]:
        rows.loc[rng.random(count) < 0.1, name] = np.nan
    rows.to_csv(folder / "readings.csv", index=False, date_format="%Y-%m-%dT%H:%M:%S")


def bare(folder: Path) -> None:
    """The yardstick: read_csv, then executemany into a table with the same key and nothing else."""
    frame = pd.read_csv(folder / "readings.csv")
    connection = sqlite3.connect(folder / "bare.db")
    connection.execute("PRAGMA journal_mode=WAL")
    columns = ", ".join(frame.columns)
    connection.execute(f"CREATE TABLE readings (id INTEGER PRIMARY KEY, {columns}, UNIQUE (unit, taken_at))")
    marks = ", ".join("?" * len(frame.columns))
    with connection:
        rows = zip(*(frame[name].tolist() for name in frame.columns), strict=True)
        connection.executemany(f"INSERT INTO readings ({columns}) VALUES ({marks})", rows)


def ours(folder: Path) -> None:
    """The front door."""
    from ingest.importer import import_paths
    from ingest.store import open_database

    db = open_database(folder / "ours.db")
    outcome = import_paths(db, [folder / "readings.csv"])
    if outcome.set_aside or outcome.refused:
        raise SystemExit(f"the benchmark's own rows must be stored: {outcome.summary()}")
    print(outcome.summary())


def again(folder: Path) -> None:
    """The same file once more: everything is known."""
    ours(folder)


def read(folder: Path) -> None:
    """Read all readings as a typed frame."""
    from ingest.store import open_database, read_readings

    print(read_readings(open_database(folder / "ours.db")).shape)


def main() -> None:
    """Time each side in its own process and print the ratio."""
    if len(sys.argv) == 4 and sys.argv[1] == "--side":
        start = time.perf_counter()
        {"bare": bare, "ours": ours, "again": again, "read": read}[sys.argv[2]](Path(sys.argv[3]))
        peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"TIME {time.perf_counter() - start:.2f} {peak_mb:.0f}")
        return
    units = int(sys.argv[1]) if len(sys.argv) > 1 else UNITS
    readings = int(sys.argv[2]) if len(sys.argv) > 2 else READINGS
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_files(folder, units, readings)
        from ingest.importer import import_paths
        from ingest.store import open_database

        if import_paths(open_database(folder / "ours.db"), [folder / "units.csv"]).exit_code:
            raise SystemExit("the benchmark's own vehicles must be stored")
        print(f"{units} units x {readings} readings, {(folder / 'readings.csv').stat().st_size / 1e6:.0f} MB")
        seconds = {}
        for side in ("bare", "ours", "again", "read"):
            command = [sys.executable, __file__, "--side", side, name]
            lines = subprocess.run(command, check=True, capture_output=True, text=True).stdout.splitlines()
            took, peak_mb = lines[-1].split()[1:]
            seconds[side] = float(took)
            ratio = seconds[side] / seconds["bare"]
            print(f"{side:6} {took:>7} s  {ratio:5.2f} x bare  peak {peak_mb} MB  {' '.join(lines[:-1])}")


if __name__ == "__main__":
    main()
