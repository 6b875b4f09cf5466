"""A small invented fleet and its files, for the tests of `ingest`."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from samples_kept import copy_of, in_one_file, kept_file
from sqlite_utils import Database

from ingest.importer import import_paths
from ingest.store import open_database

NOW = datetime(2024, 6, 1, 12, 0)
UNITS = """unit,vehicle_class,system_v,fuel,cylinders,rated_cca_a,depot,in_service
K-101,panel_van,12,diesel,4,760,harbour,2019-03-01
K-102,panel_van,12,diesel,4,760,harbour,2019-04-01
K-201,tractor,24,diesel,6,1100,hill,2018-02-01
"""
LOWS = {
    "harbour": (1, 1, 3, 6, 10, 13, 15, 15, 12, 9, 5, 2),
    "hill": (-6, -5, -2, 2, 6, 9, 11, 11, 8, 4, -1, -4),
}
CLIMATE = "depot,month,low_c,low_sd_c\n" + "".join(
    f"{depot},{month},{low},4\n" for depot, lows in LOWS.items() for month, low in enumerate(lows, start=1)
)
HEADING = "unit,taken_at,odometer_km,temperature_c,rest_v,crank_min_v,crank_a,peak_a,drop_positive_v,drop_ground_v"
GOOD = "K-101,2023-03-01T08:15,81000,7.5,12.66,11.4,170,480,0.11,0.09"


def reading(**changes: object) -> str:
    """One good line of readings with some cells changed."""
    cells = dict(zip(HEADING.split(","), GOOD.split(","), strict=True))
    cells |= {name: str(value) for name, value in changes.items()}
    return ",".join(cells.values())


def fleet(folder: Path) -> Database:
    """A database holding the invented fleet's vehicles and climate, its files beside it; imported once a run."""
    copy_of(kept_file("three vehicles", _import_fleet), folder)
    return open_database(folder / "fleet.db")


def _import_fleet(folder: Path) -> None:
    folder.mkdir()
    (folder / "u.csv").write_text(UNITS)
    (folder / "c.csv").write_text(CLIMATE)
    db = open_database(folder / "fleet.db")
    outcome = import_paths(db, [folder / "u.csv", folder / "c.csv"], now=NOW)
    assert outcome.exit_code == 0, outcome.lines()
    in_one_file(db)


def readings_file(folder: Path, *lines: str, name: str = "readings.csv") -> Path:
    """A file of readings with our own column names."""
    file = folder / name
    file.write_text("\n".join([HEADING, *lines]) + "\n")
    return file


def reasons(db: Database) -> list[str]:
    """The reasons of all set-aside rows, in order."""
    return [row[0] for row in db.execute("SELECT reason FROM set_aside ORDER BY id").fetchall()]
