"""Where the volts of vehicles' latest readings go, for paper: no screen and no assessment are needed."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Final

import pandas as pd
from sqlite_utils import Database

from analysis.bay.expected import ClassKnowledge
from analysis.bay.where_volts_go import WhereVoltsGo
from dashboard.desk.own_limits import limit_book
from dashboard.desk.reading_source import class_name, knowledge_from, latest_taken, limits_for, row_of
from dashboard.desk.weekly import coming_low_of
from ingest import store

LOOK_AHEAD_D: Final = 30  # [d] in which the coming low is looked for, as the list does unless told otherwise


def latest_volts(db: Database, names: Iterable[str], *, as_of: date) -> dict[str, WhereVoltsGo]:
    """Vehicle -> the bars of its latest reading before a day, of those that were ever read."""
    units, book, before = store.read_units(db), limit_book(db), pd.Timestamp(as_of)
    known: dict[str, ClassKnowledge] = {}
    lows: dict[str, float] = {}
    found = {}
    for name in dict.fromkeys(names):
        vehicle = row_of(units, name)
        readings = store.read_readings(db, before=as_of, units=[name])
        of = class_name(vehicle)
        if readings.empty:
            continue
        if of not in known:
            known[of] = knowledge_from(db, vehicle, before=before, units=units)
        taken = latest_taken(db, vehicle, readings, known[of], book)
        depot = str(vehicle["depot"])
        if vehicle["depot"] and depot not in lows:
            lows[depot] = coming_low_of(db, depot, as_of, LOOK_AHEAD_D)
        if taken is not None:
            found[name] = taken.volts(limits_for(vehicle, book), coming_c=lows.get(depot))
    return found
