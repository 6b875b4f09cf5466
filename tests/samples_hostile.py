"""A small invented fleet in which all that is typed or imported tries to be more than text."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pandas as pd
import pytest
from samples_fleet import quick
from samples_kept import copy_of, in_one_file, kept_file
from samples_screens import AS_OF, put_past_lists
from sqlite_utils import Database

from analysis.plan.workshop_calendar import iso_week
from analysis.worklist.assess import Assessment
from dashboard.desk import weekly
from dashboard.desk.addresses import ADDRESS_KEY
from dashboard.desk.assessment import assess_database
from dashboard.desk.habits import DEPOTS_KEY
from dashboard.desk.planning import load_plan, make_plan, save_plan_settings
from demo_fleet.export import export_fleet
from demo_fleet.simulate import simulate_fleet
from demo_fleet.specs import SEVERE, FleetSpec
from ingest import corrections, store
from ingest.entries import record_reading
from ingest.importer import import_paths
from ingest.records import read_decisions, save_decision, save_setting
from ingest.sources import save_source
from ingest.visits import Report, as_planned, close_visit, open_visits

HOST = "evil.invalid"  # a name that nobody has (RFC 2606)
NAMES = (
    f"![x](http://{HOST}/x.png)", f"a\n\n![x](http://{HOST}/y.png)", f"http://{HOST}/a", f"www.{HOST}", "a\nb",
    ":red[x] :heart:", "$x^2$ `c`", ":material/home: :material_home:", "# head", f"[a](javascript:{HOST})", "=1+1",
    f"x@{HOST}", "\u202egnp.exe", f"<style>*{{}}</style><script src=//{HOST}/z>", ":streamlit:", "**b** ~~s~~",
    f"<img src=//{HOST}/v.png onerror=x>", "- one",
)  # fmt: skip
TOLD = " ".join(NAMES)[:500]  # as much of all of it as a remark holds
LONG = f"[l](http://{HOST}/" + "l" * 100
SPEC = FleetSpec(
    seed=3, units=len(NAMES), years=0.7, start=dt.date(2026, 3, 19), depots=SEVERE, prefix="T-", first_number=1,
    digits=3, oil="0W-20",
)  # fmt: skip
SOURCE = f'date_order = "iso"\n[columns]\n"{NAMES[0]}" = "unit"\n"{NAMES[5]}" = "taken_at"\n"{NAMES[9]}" = "rest_v"\n'
NOW = dt.datetime.combine(AS_OF, dt.time(5))


def hostile_database(folder: Path) -> Path:
    """A copy of the database in `folder`, with its list, its plan, its past lists and its assessment, as on AS_OF."""
    return copy_of(kept_file("hostile", _make), folder) / "fleet.db"


def _make(folder: Path) -> None:
    folder.mkdir()
    db = store.open_database(folder / "fleet.db")
    import_paths(db, [_files(folder / "files")], now=NOW, by=NAMES[0])
    _typed(db)
    with pytest.MonkeyPatch.context() as patch:
        quick(patch)
        found = assess_database(db, as_of=AS_OF)
    _issued(db, found)
    in_one_file(db)
    put_past_lists(folder / "fleet.db", found)


def _files(folder: Path) -> Path:
    """The fleet's files, renamed."""
    export_fleet(simulate_fleet(SPEC), folder)
    units = dict(zip((f"T-{n:03d}" for n in range(1, len(NAMES) + 1)), NAMES, strict=True))
    depots = dict(zip((depot.name for depot in SEVERE), NAMES, strict=False))
    for file in folder.glob("*.csv"):
        table = pd.read_csv(file, dtype=object, keep_default_na=False)
        for column, names in (("unit", units), ("depot", depots)):
            if column in table:
                table[column] = table[column].map(names)
        remarks = ("note", "instrument") if "taken_at" in table else ()
        for column in {"vehicle_class", "fuel", "technician"} & {*table} | {*remarks}:
            table[column] = [NAMES[k % len(NAMES)] for k in range(len(table))]
        table.to_csv(file, index=False)
    return folder


def _typed(db: Database) -> None:
    """What people said: decisions, settings, a description of a file, a reading, a correction with its reason."""
    kinds = ("accepted", "measure", "postponed", "nothing_found")
    for kind, unit in zip(kinds, NAMES, strict=False):
        until = AS_OF + dt.timedelta(days=9) if kind == "postponed" else None
        save_decision(
            db, unit=unit, iso_week=iso_week(AS_OF), kind=kind, reason=TOLD, by=LONG[:64], now=NOW, until=until
        )
    save_plan_settings(db, {"currency": "$x$"}, by=NAMES[2], now=NOW)
    save_setting(db, ADDRESS_KEY, f"http://{HOST}", by=NAMES[2], now=NOW)
    responsible = {name: {"responsible": NAMES[9]} for name in NAMES[: len(SEVERE)]}
    save_setting(db, DEPOTS_KEY, responsible, by=NAMES[2], now=NOW)
    values = {"unit": NAMES[0], "rest_v": "12.6", "crank_min_v": "10.9", "temperature_c": "4", "note": TOLD}
    assert record_reading(db, values | {"technician": NAMES[1]}, by=NAMES[1], now=NOW).stored
    failed = {"unit": NAMES[4], "taken_at": f"{AS_OF - dt.timedelta(days=1)}T06:00", "outcome": "no_start"}
    assert record_reading(db, failed, by=NAMES[1], now=NOW).stored, "which brings it to the list"
    last = int(read_decisions(db)["id"].max())
    corrections.correct(db, "decision", last, {"reason": NAMES[0]}, by=NAMES[13], reason=TOLD, now=NOW)
    corrections.withdraw(db, "decision", last, by=NAMES[0], reason=TOLD, now=NOW)
    save_source(db, NAMES[3], SOURCE, by=NAMES[2], now=NOW)


def _issued(db: Database, found: Assessment) -> None:
    """The list, the list once more, the plan, and the report of one of its visits."""
    weekly.issue(db, found, by=NAMES[0], now=NOW)
    weekly.issue_once_more(db, found, by=NAMES[3], reason=TOLD, now=NOW)
    make_plan(db, as_of=AS_OF, assessment=found, by=NAMES[1], now=NOW)
    plan = load_plan(db)
    assert plan is not None
    visit = open_visits(db, str(plan.visits["unit"].iloc[0]))[0]
    assert close_visit(db, as_planned(visit), Report("sound", AS_OF, note=TOLD), by=NAMES[0], now=NOW).stored
