"""What the table measures, one thing a process: python sides.py NAME FOLDER SIZES, called by table.py.

Prints one line of JSON: seconds by the clock, seconds of processor time, peak of memory [GiB] of this process, and what
was found. Modules are loaded before the clock starts.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import kendalltau, theilslopes

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))
from fleets import simulated, write_fleet, write_new_week
from samples_fleet import tables_of
from samples_plan import AS_OF, make_inputs

from analysis.costs import LONGEST_WEEKS, PlanSettings
from analysis.plan.assignment import relaxation
from analysis.plan.inputs import prepare
from analysis.plan.replacement_plan import PlanInputs, plan_replacements
from analysis.plan.visit_costs import worthwhile
from analysis.plan.workshop_calendar import plan_weeks
from analysis.readings.panel import FleetTables
from analysis.worklist.assess import assess
from dashboard.desk.assessment import assess_database
from dashboard.desk.kept_assessment import TOLERATED_FALSE_FLAGS, folder_of
from dashboard.desk.quick import quick_for
from dashboard.judging import past_lists
from ingest import store
from ingest.importer import import_paths

LOOPED = 300
"""Vehicles of the loop of textbook statistics, from which it is scaled up."""
LOOP_OVER = ("rest_v", "crank_min_v", "drop_positive_v", "drop_ground_v", "drop_contacts_v", "drop_control_v")
DOWN_SHARE = 0.02
Sizes = dict[str, float]
Found = dict[str, float]


@dataclass(frozen=True)
class Asked:
    """Where the files and the database of a group lie, and how large it is."""

    folder: Path
    sizes: Sizes


@contextmanager
def clocked(found: Found) -> Iterator[None]:
    """Add what the body takes to `found`."""
    clock, processor = time.perf_counter(), processor_s()
    yield
    found |= {"seconds": time.perf_counter() - clock, "processor_s": processor_s() - processor}


def processor_s() -> float:
    """Processor time of this process and of those that it began and that have ended [s]."""
    return sum(os.times()[:4])


def peak_gib() -> float:
    """Most memory of this process alone; the usual counter keeps that of the process that started it."""
    if peak := held_kib("self", "VmHWM"):
        return peak / 2**20
    raise SystemExit("this system does not tell the peak of a process's memory")


@contextmanager
def with_others(found: Found) -> Iterator[None]:
    """Add, where other processes take part, the most memory that this one and those held at one moment, looked at twenty times a
    second; files that are mapped, which they share, are counted in this one alone."""
    done, most, others = threading.Event(), 0.0, False

    def look() -> None:
        nonlocal most, others
        while not done.wait(0.05):
            began = [task.read_text() for task in Path("/proc/self/task").glob("*/children")]
            held = [held_kib(pid, "RssAnon") for pid in " ".join(began).split()]
            others = others or bool(held)
            most = max(most, held_kib("self", "VmRSS") + sum(held))

    looking = threading.Thread(target=look)
    looking.start()
    try:
        yield
    finally:
        done.set()
        looking.join()
    if others:
        found["all_gib"] = most / 2**20


def held_kib(pid: str, what: str) -> float:
    """Memory of a process, by the name of its kind in /proc; nil when it has ended."""
    try:
        lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    except OSError:
        return 0.0
    return next((float(line.split()[1]) for line in lines if line.startswith(what)), 0.0)


def make(asked: Asked, found: Found) -> None:
    """The files of a fleet."""
    with clocked(found):
        day = write_fleet(asked.folder, int(asked.sizes["units"]), int(asked.sizes["starts"]))
    (asked.folder / "day").write_text(day.isoformat())


def day_of(folder: Path) -> date:
    """The day of the list."""
    return date.fromisoformat((folder / "day").read_text())


def bare_import(asked: Asked, found: Found) -> None:
    """read_csv, then executemany into a table with the same key and nothing else."""
    with clocked(found):
        connection = sqlite3.connect(asked.folder / "bare.sqlite")
        connection.execute("PRAGMA journal_mode=WAL")
        for k, file in enumerate(sorted(asked.folder.glob("readings-*.csv"))):
            frame = pd.read_csv(file)
            columns = ", ".join(frame.columns)
            if not k:
                connection.execute(
                    f"CREATE TABLE readings (id INTEGER PRIMARY KEY, {columns}, UNIQUE (unit, taken_at))"
                )
            into = f"INSERT OR IGNORE INTO readings ({columns}) VALUES ({', '.join('?' * len(frame.columns))})"
            with connection:
                connection.executemany(into, zip(*(frame[name].tolist() for name in frame.columns), strict=True))


def whole_import(asked: Asked, found: Found) -> None:
    """The front door, with all files of the folder; called again, everything is known."""
    with clocked(found):
        db = store.open_database(asked.folder / "fleet.db")
        outcome = import_paths(
            db, sorted(asked.folder.glob("*.csv")), now=datetime.combine(day_of(asked.folder), datetime.min.time())
        )
    found |= {"set_aside": outcome.set_aside, "refused": outcome.refused}


def read(asked: Asked, found: Found) -> None:
    """Only reading the rows."""
    db = store.open_database(asked.folder / "fleet.db")
    with clocked(found):
        found["rows"] = len(store.read_readings(db))


def bare_read(asked: Asked, found: Found) -> None:
    """The same rows by pandas and nothing else."""
    connection = sqlite3.connect(asked.folder / "fleet.db")
    with clocked(found):
        found["rows"] = len(pd.read_sql_query("SELECT * FROM readings", connection, parse_dates=["taken_at"]))


def full(asked: Asked, found: Found) -> None:
    """The list with nothing kept from before, reading included."""
    db = store.open_database(asked.folder / "fleet.db")
    shutil.rmtree(folder_of(db), ignore_errors=True)
    with clocked(found):
        found["flagged"] = int(assess_database(db, as_of=day_of(asked.folder)).units["flagged"].sum())


def new_week(asked: Asked, found: Found) -> None:
    """The readings of the week after the list."""
    db, more = store.open_database(asked.folder / "fleet.db"), asked.folder / "more"
    more.mkdir(exist_ok=True)
    write_new_week(more, store.read_readings(db), day_of(asked.folder))
    now = datetime.combine(day_of(asked.folder) + timedelta(days=7), datetime.min.time())
    with clocked(found):
        outcome = import_paths(db, [more], now=now)
    found |= {"set_aside": outcome.set_aside, "refused": outcome.refused}


def weekly(asked: Asked, found: Found) -> None:
    """The next week's list, after `full` and `new_week`."""
    db = store.open_database(asked.folder / "fleet.db")
    with clocked(found):
        found["flagged"] = int(
            assess_database(db, as_of=day_of(asked.folder) + timedelta(days=7)).units["flagged"].sum()
        )


def trend_loop(asked: Asked, found: Found) -> None:
    """Two textbook statistics of six channels, a vehicle at a time; scaled up from some vehicles."""
    readings = store.read_readings(store.open_database(asked.folder / "fleet.db"))
    units = readings["unit"].unique()
    some = readings[readings["unit"].isin(units[:LOOPED])]
    with clocked(found):
        for _, mine in some.groupby("unit"):
            day = mine["taken_at"].to_numpy().astype("datetime64[s]").astype(float) / 86400.0
            for column in LOOP_OVER:
                value = mine[column].to_numpy(float)
                known = np.isfinite(value)
                if known.sum() > 1:
                    theilslopes(value[known], day[known])
                    kendalltau(day[known], value[known])
    scale = len(units) / min(LOOPED, len(units))
    found |= {name: found[name] * scale for name in ("seconds", "processor_s")}


def plan_inputs(sizes: Sizes) -> PlanInputs:
    """A fleet to plan."""
    many = {name: int(sizes[name]) for name in ("fleet", "at_risk", "depots")}
    return make_inputs(**many, hours=sizes["hours"], seed=3)


def plan_bound(asked: Asked, found: Found) -> None:
    """What no plan can beat, and no plan: costs of all visits and the linear relaxation of each depot."""
    inputs = plan_inputs(asked.sizes)
    with clocked(found):
        work = prepare(inputs, plan_weeks(AS_OF, LONGEST_WEEKS), PlanSettings(down_share=DOWN_SHARE))
        ways, bound = worthwhile(work.table), 0.0
        for d in range(len(work.depots)):
            own = ways.of(work.depot[ways.unit] == d)
            bound += relaxation(own, work.capacity.hours[d], work.capacity.visits[d])[0]
    found["lower_bound"] = bound


def plan(asked: Asked, found: Found) -> None:
    """The whole plan."""
    inputs = plan_inputs(asked.sizes)
    with clocked(found):
        made = plan_replacements(inputs, as_of=AS_OF, weeks=LONGEST_WEEKS, settings=PlanSettings(down_share=DOWN_SHARE))
    found |= {"visits": len(made.visits), "gap": made.summary["gap"], "lower_bound": made.summary["lower_bound"]}


def past(sizes: Sizes) -> tuple[FleetTables, pd.DatetimeIndex]:
    """Tables of a fleet and the dates, a week apart, on which it was judged."""
    fleet = simulated(int(sizes["units"]))
    return tables_of(fleet), pd.date_range(end=fleet.as_of, periods=int(sizes["dates"]), freq="7D")


def one_list(asked: Asked, found: Found) -> None:
    """One list on the last date."""
    tables, days = past(asked.sizes)
    quick_for(len(tables.units))
    with clocked(found):
        assess(tables, as_of=days[-1])


def backtest(asked: Asked, found: Found) -> None:
    """A list on each date, worded, by the processes that the command would use: their time counts too."""
    tables, days = past(asked.sizes)
    quick_for(len(tables.units))
    with clocked(found):
        wanted = past_lists.Asked(tables, 30, TOLERATED_FALSE_FLAGS)
        processes = past_lists.processes_for(len(tables.units), len(days))
        found["lists"] = sum(1 for _ in past_lists.lists_asked(wanted, list(days), processes=processes))


SIDES: dict[str, Callable[[Asked, Found], None]] = {
    one.__name__: one
    for one in (
        make, bare_import, whole_import, bare_read, read, full, new_week, weekly, trend_loop, plan_bound, plan, one_list, backtest
    )
}  # fmt: skip


def main() -> None:
    """Measure one side."""
    name, folder, sizes = sys.argv[1:]
    found: Found = {}
    sys.stdout.flush()
    answer = os.dup(1)
    os.dup2(2, 1)  # the solver writes where it likes
    with with_others(found):
        SIDES[name](Asked(Path(folder), json.loads(sizes)), found)
    found["peak_gib"] = peak_gib()
    os.write(answer, json.dumps(found).encode())


if __name__ == "__main__":
    main()
