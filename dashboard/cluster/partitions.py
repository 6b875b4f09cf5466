"""Partitions of an exported database as the tables that an assessment needs: by the same typed reads as of the database."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import Final

import pandas as pd
from sqlite_utils import Database

from analysis.readings.panel import FleetTables
from dashboard.desk.assessment import load_tables
from dashboard.desk.weekly import days_read
from ingest import store
from ingest.parquet_folder import ParquetFolder, insert_rows, partition, rows_where

BY_VEHICLE: Final = ("units", "readings", "repairs", "reset_answers", "decisions", "visits")
"""Tables cut by vehicle that :func:`tables_of` reads."""
OF_ALL: Final = ("settings", "climate", "forecast", "lows")
"""Tables that belong to no vehicle; `settings` hold limits and taught laws."""


def beside(folder: ParquetFolder) -> Database:
    """A database in memory of what belongs to no vehicle."""
    return partition(folder, None, OF_ALL)


def tables_of(folder: ParquetFolder, k: int, before: date) -> FleetTables:
    """Partition k with what is dated before a day; without weather, which is of all: :func:`joined` adds it."""
    db = partition(folder, k, (*BY_VEHICLE, "settings"))
    found = [
        ("weekly_lists", "iso_week", "SELECT DISTINCT iso_week AS named FROM decisions WHERE kind = 'nothing_found'"),
        ("origins", "id", "SELECT DISTINCT origin_id AS named FROM visits"),
    ]
    for table, column, asked in found:  # the list that a decision was on, and when a visit was reported
        values = [row["named"] for row in db.query(asked)]
        if values:
            for rows in rows_where(folder, table, column, values):
                insert_rows(db, table, rows)
    return load_tables(db, before=before)


def readings_of(folder: ParquetFolder, k: int, names: Sequence[str], before: date) -> pd.DataFrame:
    return store.read_readings(partition(folder, k, ("readings",), of=names), before=before)


def days_read_of(folder: ParquetFolder, k: int, before: date) -> pd.Series:
    return days_read(store.read_readings(partition(folder, k, ("readings",)), before=before), pd.Timestamp(before))


def last_days_of(folder: ParquetFolder, k: int, names: Sequence[str], day: date) -> dict[str, date]:
    """Of some vehicles of partition k the last day in service, where that lies after `day`."""
    return store.last_days_ahead(partition(folder, k, ("units",), of=names), day)


def joined(weather: FleetTables, *parts: FleetTables) -> FleetTables:
    """The tables of all partitions, in their order; weather: what belongs to no vehicle."""
    names = ("units", "readings", "repairs", "reset_answers", "findings")
    whole = {name: pd.concat([getattr(one, name) for one in parts], ignore_index=True) for name in names}
    return replace(weather, **whole)


def weather_of(folder: ParquetFolder, before: date) -> FleetTables:
    """What belongs to no vehicle: climate, lows, forecast, and what another fleet taught."""
    return load_tables(beside(folder), before=before)
