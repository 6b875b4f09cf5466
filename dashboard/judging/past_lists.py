"""The lists of many past days, by as many processes as there are cores: equal to those of one process, in order.

Each process takes the next day that none has taken. The looks at the past that lists learn from are made first, each once, and
handed round through the folder that keeps them beside the database.
"""

import os
import pickle
import signal
from collections import deque
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from multiprocessing import active_children, get_context, parent_process
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Thread
from typing import Final

import pandas as pd
from sqlite_utils import Database

from analysis.backtest.lists import backtest_lists, looks_before, make_looks
from analysis.forecast.lows import with_daily_lows
from analysis.readings.panel import FleetTables
from dashboard.desk.assessment import STATED, Terms, check_not_empty, list_rows, load_tables, own_costs
from dashboard.desk.kept_assessment import KeptLooks, folder_of, tolerated_false_flags
from dashboard.desk.own_limits import limit_book
from dashboard.desk.quick import quick_for
from dashboard.desk.weekly import assumed
from ingest import store
from ingest.errors import CouldNot
from ingest.other_process import cores

LEAST_LISTS: Final = 6  # of each process: loading what it needs takes as long as two or three; our choice
MOST_VEHICLES: Final = 20_000  # judged at a time by all processes together, as they take some 1.6 GiB; our choice
AHEAD: Final = 2  # lists of each process that are begun or done before the first of them is taken; our choice
ENDED: Final = (
    "a process that was making past lists was ended by the system, perhaps for want of memory; the lists so far are right,"
    " and the same command begins again"
)


@dataclass(frozen=True)
class PastList:
    """The list of a day as it would have been issued: its rows, and what it rests on that nobody stated, in sentences."""

    day: pd.Timestamp
    rows: list[dict[str, object]]
    assumed: list[str]


@dataclass(frozen=True)
class Asked:
    """What lists are made of: tables, settings, what they are worded by, and the folder that keeps looks (None: none)."""

    tables: FleetTables
    horizon_days: int
    tolerated: float
    folder: Path | None = None
    terms: Terms = STATED

    def list_of(self, day: pd.Timestamp, looks: KeptLooks) -> PastList:
        """The list of a day; looks that are not yet there are added."""
        ((_, found),) = backtest_lists(
            self.tables, [day], horizon_days=self.horizon_days, tolerated_false_flags=self.tolerated, looks=looks
        )
        readings, lows = self.tables.readings, self.tables.before(day).lows
        rows = list_rows(found, readings, self.terms, flagged_only=False)
        climate = self.tables.climate if lows is None else with_daily_lows(self.tables.climate, lows)
        return PastList(day, rows, assumed(climate, found))


def past_lists(
    db: Database, dates: Iterable[pd.Timestamp], *, horizon_days: int = 30, processes: int | None = None
) -> Iterator[PastList]:
    """The lists of `dates`, oldest first, of the database as it is now; processes: how many make them, None as many as are worth it.

    Raises NothingToAssess for a database without vehicles or readings by then, ValueError for a bad horizon, CouldNot where a
    process was ended from outside.
    """
    days = sorted(pd.Timestamp(day) for day in dates)
    with store.at_one_moment(db):
        terms = Terms(limit_book(db), own_costs(db))
        asked = Asked(load_tables(db), horizon_days, tolerated_false_flags(db), folder_of(db), terms)
    if days:
        check_not_empty(asked.tables.before(days[-1]), days[-1].date())
    return lists_asked(asked, days, processes=processes or processes_for(len(asked.tables.units), len(days)))


def lists_asked(asked: Asked, days: list[pd.Timestamp], *, processes: int) -> Iterator[PastList]:
    """The lists of `days`, in order, made by so many processes; 1: by this one."""
    quick_for(len(asked.tables.units))  # before others begin, so that loops are compiled once
    looks = KeptLooks(asked.folder)
    try:
        if processes > 1:
            yield from _by_others(asked, days, processes)
        else:
            yield from (asked.list_of(day, looks) for day in days)
    finally:
        looks.forget()


def processes_for(vehicles: int, lists: int) -> int:
    """How many processes are worth it: none for few lists, no more than cores, or than memory holds large fleets."""
    return max(1, min(cores(), lists // LEAST_LISTS, MOST_VEHICLES // max(vehicles, 1)))


def _by_others(asked: Asked, days: list[pd.Timestamp], processes: int) -> Iterator[PastList]:
    """The lists, made by processes that begin with nothing of this one's, and end with it."""
    others = set(active_children())
    with TemporaryDirectory(prefix="cranktrend-") as folder:
        file = Path(folder) / "asked"
        file.write_bytes(pickle.dumps(replace(asked, folder=asked.folder or Path(folder))))
        # a process copied with its threads' locks may stand still for ever
        pool = ProcessPoolExecutor(processes, mp_context=get_context("spawn"), initializer=_begin, initargs=(file,))
        try:
            pieces = looks_before(asked.tables, days)
            for made in [pool.submit(_make_looks, day, own) for day, own in pieces]:
                made.result()
            coming = deque(pool.submit(_list_of, day) for day in days[: AHEAD * processes])
            for day in [*days[AHEAD * processes :], *[None] * len(coming)]:
                yield coming.popleft().result()
                if day is not None:
                    coming.append(pool.submit(_list_of, day))
        except BrokenProcessPool as error:
            raise CouldNot(ENDED) from error
        finally:
            for child in set(active_children()) - others:
                child.terminate()
            pool.shutdown(cancel_futures=True)


_at_work: tuple[Asked, KeptLooks] | None = None
"""In a process that was begun for it: what lists are made of."""


def _begin(file: Path) -> None:
    """Ready for lists; who began this process is stopped by Ctrl-C, and ends it."""
    global _at_work
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    Thread(target=_end_with_parent, daemon=True).start()
    asked: Asked = pickle.loads(file.read_bytes())
    quick_for(len(asked.tables.units))
    _at_work = asked, KeptLooks(asked.folder)


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _own() -> tuple[Asked, KeptLooks]:
    assert _at_work is not None
    return _at_work


def _make_looks(day: pd.Timestamp, days: list[float]) -> None:
    asked, looks = _own()
    make_looks(asked.tables, day, days, looks)


def _list_of(day: pd.Timestamp) -> PastList:
    asked, looks = _own()
    return asked.list_of(day, looks)
