"""A small invented fleet in a database, made once a run, for the tests of screens and paper."""

from __future__ import annotations

import datetime as dt
import shutil
import tempfile
from functools import cache
from pathlib import Path

import pandas as pd

from analysis.worklist.assess import Assessment
from dashboard.desk.assessment import assess_database
from demo_fleet.export import export_fleet
from demo_fleet.simulate import simulate_fleet
from demo_fleet.specs import SEVERE, FleetSpec
from ingest import store
from ingest.importer import import_paths

AS_OF = dt.date(2026, 11, 30)  # a Monday


@cache
def _made() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="screens"))
    spec = FleetSpec(
        seed=11,
        units=40,
        years=2.0,
        start=dt.date(2024, 11, 30),
        depots=SEVERE,
        prefix="T-",
        first_number=1,
        digits=3,
        oil="0W-20",
    )
    export_fleet(simulate_fleet(spec), folder / "files")
    db = store.open_database(folder / "fleet.db")
    import_paths(db, [folder / "files"], now=dt.datetime(2026, 11, 30, 5))
    db.conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.conn.close()
    return folder / "fleet.db"


def fleet_database(path: Path) -> Path:
    """A copy of the small fleet's database at `path`."""
    shutil.copyfile(_made(), path)
    return path


@cache
def assessed() -> Assessment:
    """The small fleet, assessed on AS_OF."""
    db = store.open_database(_made())
    try:
        return assess_database(db, as_of=AS_OF)
    finally:
        db.conn.close()


def worst_unit() -> str:
    """The vehicle first on the list."""
    return str(assessed().units["unit"].iloc[0])


def empty_database(path: Path) -> Path:
    """A database without anything in it."""
    store.open_database(path).conn.close()
    return path


def one_reading_database(path: Path) -> Path:
    """One vehicle with one reading."""
    db = store.open_database(path)
    units = path.with_name("units.csv")
    units.write_text("unit,vehicle_class,system_v,fuel,depot\nX-1,van,12,diesel,yard\n")
    readings = path.with_name("readings.csv")
    readings.write_text(
        "unit,taken_at,rest_v,crank_min_v,crank_a,temperature_c\nX-1,2026-11-02T07:00:00,12.6,10.9,200,4\n"
    )
    import_paths(db, [units, readings], now=dt.datetime(2026, 11, 30, 5))
    db.conn.close()
    return path


def readings_of(unit: str) -> pd.DataFrame:
    """The vehicle's readings."""
    db = store.open_database(_made())
    try:
        return store.read_readings(db, units=[unit])
    finally:
        db.conn.close()
