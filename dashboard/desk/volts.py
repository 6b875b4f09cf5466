"""Where the volts of vehicles' latest readings go, for paper: no screen and no assessment are needed."""

from collections.abc import Iterable
from datetime import date
from typing import Final

import pandas as pd
from sqlite_utils import Database

from analysis.bay.where_volts_go import WhereVoltsGo
from dashboard.desk.own_limits import limit_book
from dashboard.desk.reading_source import Record, latest_taken, limits_for, row_of
from dashboard.desk.weekly import coming_low_of
from ingest import store

LOOK_AHEAD_D: Final = 30  # [d] in which the coming low is looked for, as the list does unless told otherwise


def latest_volts(db: Database, names: Iterable[str], *, as_of: date) -> dict[str, WhereVoltsGo]:
    """Vehicle -> the bars of its latest reading before a day, of those that were ever read."""
    record, book = Record(db, pd.Timestamp(as_of)), limit_book(db)
    lows: dict[str, float] = {}
    found = {}
    for name in dict.fromkeys(names):
        vehicle = row_of(record.units, name)
        readings = store.read_readings(db, before=as_of, units=[name])
        if readings.empty:
            continue
        taken = latest_taken(db, vehicle, readings, record.known(vehicle), book)
        depot = str(vehicle["depot"])
        if vehicle["depot"] and depot not in lows:
            lows[depot] = coming_low_of(db, depot, as_of, LOOK_AHEAD_D)
        if taken is not None:
            found[name] = taken.volts(limits_for(vehicle, book), coming_c=lows.get(depot))
    return found
