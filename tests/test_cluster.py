"""A fleet past one machine: lists equal those of one machine, whatever is cut where and whichever worker ends.

Truth: `assess` on the tables of the whole database; the list as `risk` prints it. Equal is 1e-9, relative or absolute.
"""

from __future__ import annotations

import datetime as dt
import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import fields
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import samples_kept
from benchmarks.fleets import write_fleet
from samples_fleet import SMALL, fleet_folder, quick
from sqlite_utils import Database
from test_left_service import put_out

from analysis.worklist import assess as worklist
from analysis.worklist.assess import FleetList
from dashboard.cli.commands import cluster
from dashboard.cli.main import main
from dashboard.cluster import engines, fleet
from dashboard.cluster.engines import Here, OnDask, on_dask
from dashboard.cluster.fleet import assess_folder, days_read_listed
from dashboard.desk.assessment import load_tables
from dashboard.desk.quick import quick_for
from dashboard.desk.refusals import NothingToAssess
from dashboard.desk.weekly import days_read
from ingest.errors import CouldNot
from ingest.importer import import_paths
from ingest.parquet_folder import export_folder, opened_folder
from ingest.records import save_decision, save_reset_answer, save_setting
from ingest.store import open_database, read_readings

pytest.importorskip("pyarrow")

DAY = dt.date(2022, 12, 12)
EARLY = dt.date(2021, 12, 13)
"""A day that one look at the past is before: the least that workers share out."""
CLOSE = 1e-9
TOLERATED = 5.0


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small fleet, with what people said of it: a look that found nothing, a renewal confirmed, a limit of their own; on DAY
    four have left, three of them neighbours by name."""
    folder = tmp_path_factory.mktemp("fleet")
    file = fleet_folder(folder).rename(folder / "fleet.db")
    names = [name for (name,) in open_database(file).execute("SELECT unit FROM units ORDER BY unit")]
    db = put_out(file, *names[3:6], names[10])
    first, second = names[:2]
    now = dt.datetime(2022, 12, 1, 6)
    save_decision(db, unit=first, iso_week="2022-W48", kind="nothing_found", by="x", now=now)
    answer = {"part": "battery", "around_on": dt.date(2022, 1, 1), "answer": "confirmed"}
    save_reset_answer(db, unit=second, **answer, by="x", now=now)  # type: ignore[arg-type]
    save_setting(db, "tolerated_false_flags", TOLERATED, by="x", now=now)
    db.conn.close()
    return file


@pytest.fixture(scope="module")
def folder(path: Path) -> Path:
    """Its export, three vehicles to a partition, of which one holds none that is in service on DAY."""
    made = path.with_name("parquet")
    export_folder(open_database(path), made, vehicles=3)
    return made


def assert_same_list(found: FleetList, expected: FleetList) -> None:
    """All tables and words of two lists, numbers within CLOSE."""
    for one in fields(FleetList):
        ours, theirs = getattr(found, one.name), getattr(expected, one.name)
        if isinstance(theirs, pd.DataFrame):
            assert len(theirs) == len(ours)
            pd.testing.assert_frame_equal(ours, theirs, check_exact=False, rtol=CLOSE, atol=CLOSE, obj=one.name)
        else:
            assert ours == theirs, one.name


def alone(db: Database, day: dt.date, **settings: Any) -> FleetList:
    """The list as one machine makes it."""
    tables = load_tables(db, before=day)
    quick_for(len(tables.units))
    return worklist.assess(tables, as_of=pd.Timestamp(day), tolerated_false_flags=TOLERATED, **settings)


def test_a_fleet_in_partitions_is_listed_as_a_whole_one(
    path: Path, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    quick(monkeypatch)
    whole = samples_kept.assess(
        load_tables(open_database(path), before=DAY), as_of=pd.Timestamp(DAY), tolerated_false_flags=TOLERATED
    )
    found = assess_folder(opened_folder(folder), Here(), as_of=DAY, horizon_days=30, tolerated=TOLERATED)
    assert opened_folder(folder).partitions == 8
    assert len(found.units) == len(whole.units) == SMALL.units - 4
    assert_same_list(found, whole)
    for year in (0, 1):  # of the fleet's last year, and of one that few vehicles were read in
        day = DAY + dt.timedelta(days=365 * year)
        alone = days_read(read_readings(open_database(path), before=day), pd.Timestamp(day)).sort_index()
        assert len(alone)
        together = days_read_listed(opened_folder(folder), Here(), as_of=day).sort_index()
        pd.testing.assert_series_equal(together, alone)


@pytest.mark.nightly
def test_the_command_prints_the_list_of_the_database(
    path: Path, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Worked out once: formats differ in how it is printed."""
    quick(monkeypatch)
    once = cache(lambda **asked: assess_folder(opened_folder(folder), Here(), **asked))
    monkeypatch.setattr(cluster, "assess_folder", lambda _folder, _engine, **asked: once(**asked))
    for words in (("--format", "json"), ("--all", "--format", "csv"), ()):
        told = ("--as-of", DAY.isoformat(), *words)
        assert main(["--db", str(path), "risk", *told]) == 0
        expected = capsys.readouterr().out
        assert main(["assess", "--parquet", str(folder), *told]) == 0
        assert capsys.readouterr().out == expected


def no_scheduler(_: Path) -> tuple[str, ...]:
    return ("--engine", "dask", "--scheduler", "tcp://127.0.0.1:1")


def no_address(_: Path) -> tuple[str, ...]:
    return ("--engine", "dask", "--scheduler", "nonsense://x")


def not_ours(folder: Path) -> tuple[str, ...]:
    (folder / "cranktrend.json").unlink()
    return ()


def a_partition_missing(folder: Path) -> tuple[str, ...]:
    (folder / "readings/000001.parquet").unlink()
    return ()


def a_partition_damaged(folder: Path) -> tuple[str, ...]:
    (folder / "readings/000001.parquet").write_bytes(b"PAR1")
    return ()


def only_an_address(_: Path) -> tuple[str, ...]:
    return ("--scheduler", "tcp://127.0.0.1:1")


def only_an_engine(_: Path) -> tuple[str, ...]:
    return ("--engine", "dask")


@pytest.mark.parametrize(
    ("harm", "code", "words"),
    [
        # by night: loading the library alone takes longer than all others together
        pytest.param(no_scheduler, 3, "no scheduler answers at tcp://127.0.0.1:1", marks=pytest.mark.nightly),
        pytest.param(no_address, 2, "is no address", marks=pytest.mark.nightly),
        (not_ours, 2, "is no folder that `cranktrend export --parquet` wrote"),
        (a_partition_missing, 3, "000001.parquet is missing"),
        (a_partition_damaged, 3, "000001.parquet is damaged"),
        (only_an_address, 2, "belongs to --engine dask"),
        (only_an_engine, 2, "needs the address of its scheduler"),
    ],
)
def test_what_is_wrong_is_one_sentence(
    harm: Callable[[Path], tuple[str, ...]],
    code: int,
    words: str,
    folder: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    if harm in (no_scheduler, no_address):
        pytest.importorskip("distributed")
    monkeypatch.setattr(engines, "ANSWER_S", 1)
    own = samples_kept.copy_of(folder, tmp_path / "own")
    assert main(["assess", "--parquet", str(own), "--as-of", DAY.isoformat(), *harm(own)]) == code
    said = capsys.readouterr()
    assert words in said.err
    assert (said.out, said.err.count("\n")) == ("", 1)


def test_a_folder_without_readings_of_the_day_is_refused(folder: Path) -> None:
    with pytest.raises(NothingToAssess, match="no reading before 1990-01-01"):
        assess_folder(opened_folder(folder), Here(), as_of=dt.date(1990, 1, 1), horizon_days=30, tolerated=TOLERATED)


def test_without_the_extra_one_sentence_says_what_to_install(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    words = ["assess", "--parquet", str(folder), "--engine", "dask", "--scheduler", "tcp://127.0.0.1:1"]
    assert main(words) == 3
    assert "pip install 'cranktrend[cluster]'" in capsys.readouterr().err


class OneEnds(OnDask):
    """Workers of which the one with most results is killed once the first vehicles are judged and others are not."""

    def __init__(self, client: Any) -> None:
        super().__init__(client)
        self.judged: list[Any] = []
        self.killed = ""

    def later(self, function: Callable[..., Any], *arguments: Any) -> Any:
        """As ever."""
        found = super().later(function, *arguments)
        if function is fleet._judged:
            self.judged.append(found)
        if function is fleet._concluded:
            self._kill()
        return found

    def _kill(self) -> None:
        while not any(one.done() for one in self.judged):
            time.sleep(0.02)
        held, numbers = self._client.has_what(), self._client.run(os.getpid)
        self.killed = max(held, key=lambda worker: len(held[worker]))
        assert not all(one.done() for one in self.judged), "it would be over before a worker ends"
        os.kill(numbers[self.killed], signal.SIGKILL)


@contextmanager
def workers(count: int) -> Iterator[OneEnds]:
    """A cluster on this machine, through the door by which the command goes."""
    distributed = pytest.importorskip("distributed")
    with (
        distributed.LocalCluster(
            n_workers=count, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
        ) as local,
        on_dask(local.scheduler_address) as engine,
    ):
        yield OneEnds(engine._client)


@pytest.mark.nightly
@pytest.mark.slow
@pytest.mark.filterwarnings("default")  # those of the library about a worker that ended
def test_a_worker_that_ends_half_way_changes_nothing(path: Path, folder: Path) -> None:
    whole = alone(open_database(path), EARLY, with_classes=False)
    with workers(2) as engine:
        found = assess_folder(opened_folder(folder), engine, as_of=EARLY, horizon_days=30, tolerated=TOLERATED)
    assert engine.killed
    assert_same_list(found, whole)


@pytest.mark.slow
@pytest.mark.nightly
@pytest.mark.filterwarnings("default")
def test_twenty_thousand_vehicles_by_four_workers_of_which_one_ends(tmp_path: Path) -> None:
    (tmp_path / "files").mkdir()
    day = write_fleet(tmp_path / "files", 20_000)
    db = open_database(tmp_path / "fleet.db")
    import_paths(db, [tmp_path / "files"])
    export_folder(db, tmp_path / "parquet")
    whole = alone(db, day, with_classes=False)
    with workers(4) as engine:
        found = assess_folder(
            opened_folder(tmp_path / "parquet"), engine, as_of=day, horizon_days=30, tolerated=TOLERATED
        )
    assert engine.killed
    assert len(found.units) == 20_000
    assert np.isfinite(found.units["no_start_probability"]).all()
    assert_same_list(found, whole)


def test_workers_that_end_again_and_again_are_one_sentence() -> None:
    distributed = pytest.importorskip("distributed")

    class Gone:
        def gather(self, _: object) -> object:
            raise distributed.KilledWorker("task", "worker", 3)

    with pytest.raises(CouldNot, match="ended again and again"):
        OnDask(Gone()).now([])
