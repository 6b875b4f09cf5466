"""Opening, typed reads, backup."""

from __future__ import annotations

import sqlite3
import tracemalloc
from datetime import date, datetime
from pathlib import Path

import pandas as pd
import pytest
from samples_ingest import NOW, fleet, reading, readings_file
from sqlite_utils import Database

from ingest import store
from ingest.backups import backup
from ingest.errors import DatabaseRefused, IngestError
from ingest.fields import MEASUREMENTS
from ingest.importer import import_paths

HELD = 2.0  # times the numbers of the frame: 1.7 where each array is let go of in time, 3.2 where none is


@pytest.fixture
def db(tmp_path: Path) -> Database:
    db = fleet(tmp_path)
    lines = [
        reading(taken_at="2023-03-05T10:00", unit="K-102"),
        reading(taken_at="2023-03-02T10:00"),
        reading(taken_at="2023-03-01T10:00", crank_a="", note=""),
    ]
    import_paths(db, [readings_file(tmp_path, *lines)], now=NOW)
    return db


def test_readings_come_typed_and_sorted(db: Database) -> None:
    frame = store.read_readings(db)
    assert frame["unit"].tolist() == ["K-101", "K-101", "K-102"]
    assert frame["taken_at"].is_monotonic_increasing
    assert frame["taken_at"].dtype == "datetime64[us]"
    assert all(frame[name].dtype == "float64" for name in MEASUREMENTS)
    assert frame["unit"].dtype == "str"
    assert pd.isna(frame["crank_a"].iloc[0])
    assert (frame["doubtful"] == "").all()


def test_before_and_units_select(db: Database) -> None:
    assert len(store.read_readings(db, before=date(2023, 3, 2))) == 1
    assert len(store.read_readings(db, before=datetime(2023, 3, 3, 5))) == 2
    assert store.read_readings(db, units=["K-102", "NOBODY"])["unit"].tolist() == ["K-102"]
    assert len(store.read_readings(db, units=[])) == 0
    assert store.read_readings(db, before=date(2000, 1, 1)).dtypes.equals(store.read_readings(db).dtypes)


def test_many_units_are_read_in_parts(db: Database) -> None:
    wanted = [f"X{number}" for number in range(1200)] + ["K-101", "K-102"]
    assert store.read_readings(db, units=wanted)["unit"].tolist() == ["K-101", "K-101", "K-102"]


def test_very_many_readings_are_held_in_memory_about_once(db: Database) -> None:
    """Held against the frame itself: rows as SQLite gives them, arrays and columns would be several times as much."""
    columns = [name for name in db["readings"].columns_dict if name not in ("reading_id", "taken_at")]
    db.conn.execute(
        "WITH RECURSIVE n(k) AS (SELECT 1 UNION ALL SELECT k + 1 FROM n WHERE k < 40000)"
        f" INSERT INTO readings ({', '.join(columns)}, taken_at) SELECT {', '.join(columns)},"
        " strftime('%Y-%m-%dT%H:%M:%S', '2020-01-01', '+' || k || ' minutes')"
        " FROM readings, n WHERE unit = 'K-102'"
    )
    db.conn.commit()
    tracemalloc.start()
    try:
        frame = store.read_readings(db)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert len(frame) == 40_003
    numbers = frame[list(MEASUREMENTS)].memory_usage(index=False).sum()
    assert peak < HELD * numbers


def test_units_and_climate_are_typed(db: Database) -> None:
    units = store.read_units(db)
    assert units["system_v"].tolist() == [12, 12, 24]
    assert units["in_service"].dtype == "datetime64[us]"
    climate = store.read_climate(db)
    assert climate["month"].dtype == "int64"
    assert climate["low_c"].dtype == "float64"


def test_empty_tables_have_their_types(tmp_path: Path) -> None:
    db = store.open_database(tmp_path / "e.db")
    assert store.is_empty(db)
    assert store.read_readings(db)["taken_at"].dtype == "datetime64[us]"
    assert store.read_repairs(db)["done_on"].dtype == "datetime64[us]"
    for read in (store.read_forecast, store.read_services, store.read_workshops, store.read_parts, store.read_units):
        assert len(read(db)) == 0


def test_backup_never_overwrites(db: Database, tmp_path: Path) -> None:
    copy = backup(db, tmp_path / "copy.db")
    assert len(store.read_readings(store.open_database(copy))) == 3
    with pytest.raises(IngestError, match="never overwrites"):
        backup(db, copy)
    with pytest.raises(IngestError, match="no folder"):
        backup(db, tmp_path / "nowhere" / "copy.db")


def test_what_is_no_database_is_refused(tmp_path: Path) -> None:
    with pytest.raises(DatabaseRefused, match="there is no database"):
        store.open_database(tmp_path / "none.db", create=False)
    (tmp_path / "text.db").write_text("not a database, but a text of some length " * 50)
    with pytest.raises(DatabaseRefused, match="cannot be opened"):
        store.open_database(tmp_path / "text.db")
    with pytest.raises(DatabaseRefused, match="folder"):
        store.open_database(tmp_path)
    other = sqlite3.connect(tmp_path / "other.db")
    other.execute("CREATE TABLE recipes (name TEXT)")
    other.commit()
    other.close()
    with pytest.raises(DatabaseRefused, match="another program"):
        store.open_database(tmp_path / "other.db")


def test_data_version_follows_writes(db: Database, tmp_path: Path) -> None:
    before = store.data_version(db)
    again = readings_file(tmp_path, reading(taken_at="2023-03-02T10:00"), name="again.csv")
    import_paths(db, [again], now=NOW)
    assert store.data_version(db) == before, "a file that is known changes nothing"
    import_paths(db, [readings_file(tmp_path, reading(taken_at="2023-05-02T10:00"), name="new.csv")], now=NOW)
    assert store.data_version(db) != before
