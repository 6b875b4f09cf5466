"""A small invented fleet in a database, made once a run, for the tests of screens and paper."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd
from samples_kept import copy_of, in_one_file, kept, kept_file
from streamlit import config

from analysis.worklist.assess import Assessment
from dashboard.desk import kept_assessment, weekly
from dashboard.desk.assessment import assess_database
from dashboard.desk.planning import make_plan
from dashboard.screens import history, serving, session
from demo_fleet.export import export_fleet
from demo_fleet.simulate import simulate_fleet
from demo_fleet.specs import SEVERE, FleetSpec
from ingest import store
from ingest.importer import import_paths

if TYPE_CHECKING:
    import pytest

for name in ("runner.magicEnabled", "browser.gatherUsageStats"):  # pages run in tests as they are served
    config.set_option(name, serving.FLAGS[name])

AS_OF = dt.date(2026, 11, 30)  # a Monday


SPEC = FleetSpec(
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


def _made() -> Path:
    return kept_file("screens.db", _import_fleet)


def _import_fleet(path: Path) -> None:
    files = path.with_name("screens files")
    export_fleet(simulate_fleet(SPEC), files)
    db = store.open_database(path)
    import_paths(db, [files], now=dt.datetime.combine(AS_OF, dt.time(5)))
    in_one_file(db)


def fleet_database(path: Path) -> Path:
    """A copy of the small fleet's database at `path`."""
    return copy_of(_made(), path)


def shown(monkeypatch: pytest.MonkeyPatch, path: Path, judge: Callable[[session.Key], Assessment]) -> Path:
    """The database as the screens show it on AS_OF, judged by `judge` in this process; by `assess_here` with one look at the past,
    and once a run where nothing differs."""
    if judge is assess_here:
        from samples_fleet import quick

        quick(monkeypatch)
    monkeypatch.setenv(session.DATABASE_VARIABLE, str(path))
    monkeypatch.setenv(session.TODAY_VARIABLE, AS_OF.isoformat())
    monkeypatch.setattr(session, "_assess", judge)
    monkeypatch.setattr(session, "PATIENCE_S", 60.0)
    return path


def assess_here(key: session.Key) -> Assessment:
    """What the screens ask for, without a process of its own, to save the time that it takes to begin."""
    db = store.open_database(key.path)
    try:
        return assess_database(db, as_of=key.as_of, horizon_days=key.horizon_days)
    finally:
        db.conn.close()


def listed_database(path: Path) -> Path:
    """The same with three weeks' lists and a plan issued, and beside it all that a server would work out of this week and of
    the week before."""
    put_past_lists(copy_of(kept_file("screens with lists.db", _put_lists), path))
    for day in (AS_OF - dt.timedelta(days=7), AS_OF):
        put_worked_out(path, day)
    return path


def _put_lists(path: Path) -> None:
    db = store.open_database(fleet_database(path))
    when = dt.datetime.combine(AS_OF, dt.time(5))
    for monday in (when - dt.timedelta(days=14), when - dt.timedelta(days=7), when):
        assert weekly.issue(db, replace(assessed(), as_of=pd.Timestamp(monday.date())), now=monday)
    make_plan(db, as_of=AS_OF, assessment=assessed(), by="planner", now=when)
    in_one_file(db)


def put_worked_out(path: Path, day: dt.date) -> None:
    """Keep today's assessment beside the database, as if a server had worked it out for `day`."""
    db = store.open_database(path)
    found = replace(assessed(), as_of=pd.Timestamp(day))
    kept_assessment.keep(kept_assessment.folder_of(db), kept_assessment.name_of(db, day, session.HORIZON_D), found)
    in_one_file(db)


def put_past_lists(path: Path, found: Assessment | None = None) -> None:
    """Keep lists of the past year that are like today's beside the database; found: today's, the small fleet's unless told."""
    db = store.open_database(path)
    key = session.Key(str(path), session.judged_version(db, AS_OF), AS_OF, session.HORIZON_D)
    past = history.Past(history.month_days(AS_OF))
    past_like_today(key, past, found)
    history.keep(key, past)
    in_one_file(db)


def past_like_today(_key: session.Key, past: history.Past, found: Assessment | None = None) -> None:
    """Past lists that are today's, for the pages; the real ones have their own test."""
    units = (found or assessed()).units
    flagged = units[units["flagged"]][["unit", "depot", "part"]]
    past.ways = [
        {"way": "as it was", "no_starts": 5, "foreseen": 0, "cost": 9000.0},
        {"way": "this list", "no_starts": 5, "foreseen": 4, "for_nothing": 2, "undecided": 1, "cost": 5000.0},
    ]
    past.lists.update(dict.fromkeys(past.days, flagged))


@cache
def assessed() -> Assessment:
    """The small fleet, assessed on AS_OF."""
    return kept("screens assessed", _assess)


def _assess() -> Assessment:
    import pytest  # here, so that a server on this fleet does not load what makes others
    from samples_fleet import quick

    db = store.open_database(_made())
    try:
        with pytest.MonkeyPatch.context() as patch:
            quick(patch, looks=2)
            return assess_database(db, as_of=AS_OF)
    finally:
        db.conn.close()


def worst_unit() -> str:
    """The vehicle first on the list."""
    return str(assessed().units["unit"].iloc[0])


def empty_database(path: Path) -> Path:
    """A database without anything in it."""
    return copy_of(kept_file("empty.db", lambda new: in_one_file(store.open_database(new))), path)


def one_reading_database(path: Path) -> Path:
    """One vehicle with one reading."""
    return copy_of(kept_file("one reading.db", _put_one_reading), path)


def _put_one_reading(path: Path) -> None:
    db = store.open_database(path)
    units = path.with_name("units.csv")
    units.write_text("unit,vehicle_class,system_v,fuel,depot\nX-1,van,12,diesel,yard\n")
    readings = path.with_name("readings.csv")
    readings.write_text(
        "unit,taken_at,rest_v,crank_min_v,crank_a,temperature_c\nX-1,2026-11-02T07:00:00,12.6,10.9,200,4\n"
    )
    import_paths(db, [units, readings], now=dt.datetime(2026, 11, 30, 5))
    in_one_file(db)


def readings_of(unit: str) -> pd.DataFrame:
    """The vehicle's readings."""
    db = store.open_database(_made())
    try:
        return store.read_readings(db, units=[unit])
    finally:
        db.conn.close()


def content(path: Path) -> list[str]:
    """Everything in the database, as SQL."""
    db = store.open_database(path)
    try:
        return list(db.conn.iterdump())
    finally:
        db.conn.close()
