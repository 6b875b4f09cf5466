"""The lists of many past days, made by several processes: those of one, in order, and one sentence where something goes wrong."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from dataclasses import replace
from functools import partial
from multiprocessing import active_children
from pathlib import Path

import pandas as pd
import pytest
from samples_fleet import few_folder, fleet_folder, quick

from analysis.backtest.lists import looks_before, make_looks
from analysis.forecast.past import LAWS_LOOKS, laws_span, look_days
from analysis.wear.state import day_number
from dashboard.desk import kept_assessment
from dashboard.desk.assessment import load_tables
from dashboard.desk.kept_assessment import FOLDER, LOOK_SUFFIX
from dashboard.judging import past_lists as judging
from dashboard.judging.past_lists import Asked, lists_asked, past_lists, processes_for
from ingest.errors import CouldNot
from ingest.store import open_database

COMMAND = (sys.executable, "-m", "dashboard.cli.entry")
DAYS = [pd.Timestamp(day) for day in ("2021-12-27", "2022-03-28")]
EARLY = pd.Timestamp("2021-09-06")
"""Before anything can be looked back at: the least work that is a list."""


@pytest.fixture
def asked(tmp_path: Path) -> Asked:
    path = few_folder(tmp_path)
    return Asked(load_tables(open_database(path)), 30, 5.0, Path(f"{path}{FOLDER}"))


@pytest.mark.nightly
def test_two_processes_make_the_lists_of_one_in_order_and_leave_no_process(asked: Asked) -> None:
    """Property: to the last bit, though looks at the past are made by both and handed round; without a folder too."""
    alone = list(lists_asked(replace(asked, folder=None), DAYS, processes=1))
    assert [one.day for one in alone] == DAYS
    assert any(row["flagged"] for one in alone for row in one.rows)
    pieces = looks_before(asked.tables, DAYS)
    assert len(pieces) == 2, "one for each process"
    before = set(active_children())
    assert list(lists_asked(asked, DAYS, processes=2)) == alone
    assert set(active_children()) <= before
    assert asked.folder is not None
    assert len(list(asked.folder.glob(f"*{LOOK_SUFFIX}"))) == sum(len(own) for _, own in pieces)


def test_every_look_is_made_once_and_with_those_that_share_its_laws(
    asked: Asked, monkeypatch: pytest.MonkeyPatch
) -> None:
    quick(monkeypatch, looks=3)
    dates = [pd.Timestamp(day) for day in ("2022-08-01", "2022-09-19")]
    pieces = looks_before(asked.tables, dates)
    days = [d for _, own in pieces for d in own]
    assert len(days) == len(set(days)) == 4, "three, and one that only the first list learns from"
    assert len(pieces) < len(days), "some share their laws"
    assert set(days) == {d for date in dates for d in look_days(asked.tables, day_number(date))}
    assert all(len(own) <= LAWS_LOOKS and len({laws_span(d) for d in own}) == 1 for _, own in pieces)
    looks: dict[str, object] = {}
    for date, own in pieces:
        make_looks(asked.tables, date, own, looks)  # type: ignore[arg-type]
    made = dict(looks)
    for date, own in pieces:
        make_looks(asked.tables, date, own, looks)  # type: ignore[arg-type]
    assert looks.keys() == made.keys()
    assert all(looks[key] is one for key, one in made.items()), "none is made twice"


@pytest.mark.nightly
def test_a_process_that_is_ended_from_outside_is_one_sentence(asked: Asked, monkeypatch: pytest.MonkeyPatch) -> None:
    """As a system does that runs out of memory: here after the first list was taken."""
    monkeypatch.setattr(judging, "AHEAD", 1)
    before = set(active_children())
    lists = lists_asked(asked, [EARLY] * 4, processes=2)
    next(lists)
    for child in set(active_children()) - before:
        os.kill(child.pid or 0, signal.SIGKILL if hasattr(signal, "SIGKILL") else signal.SIGTERM)
    with pytest.raises(CouldNot, match=r"^a process that was making past lists was ended by the system"):
        list(lists)
    assert set(active_children()) <= before


@pytest.mark.nightly
def test_what_a_list_refuses_is_refused_in_the_same_words(asked: Asked) -> None:
    with pytest.raises(ValueError, match="horizon_days is 0; allowed are whole numbers from 1 to 180"):
        list(lists_asked(replace(asked, horizon_days=0), [EARLY], processes=2))


@pytest.mark.nightly
@pytest.mark.skipif(os.name != "posix", reason="sends what a terminal sends")
def test_ctrl_c_ends_the_command_and_its_processes(tmp_path: Path) -> None:
    """Property: the first list is out, then SIGINT to all of them, as a terminal sends it: 130, one sentence, nobody left,
    for whoever is left holds the pipes open."""
    path = few_folder(tmp_path)
    words = ["--db", str(path), "backtest", "--from", "2021-08-09", "--to", "2021-11-08", "--every-days", "1"]
    pipe = subprocess.PIPE
    heeded = partial(signal.signal, signal.SIGINT, signal.SIG_DFL)  # what runs in the background of a shell ignores it
    group = subprocess.Popen(
        [*COMMAND, *words], stdout=pipe, stderr=pipe, text=True, start_new_session=True, preexec_fn=heeded
    )
    with group:
        assert group.stdout is not None
        assert group.stdout.readline().startswith("{")
        os.killpg(group.pid, signal.SIGINT)
        _, said = group.communicate(timeout=60)
    assert group.returncode == 130
    assert [line for line in said.splitlines() if "flagged" not in line] == [
        "cranktrend: stopped; every file and every entry is stored whole or not at all"
    ]


def test_how_many_processes(monkeypatch: pytest.MonkeyPatch) -> None:
    """One for a few lists; as many as cores for many; no more than memory holds of a large fleet."""
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: set(range(4)), raising=False)
    assert [processes_for(400, lists) for lists in (0, 1, 11, 12, 60)] == [1, 1, 1, 2, 4]
    assert [processes_for(vehicles, 60) for vehicles in (0, 5_000, 10_000, 10_001, 50_000)] == [4, 4, 2, 1, 1]


@pytest.mark.nightly
def test_past_lists_leave_no_more_looks_than_are_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    quick(monkeypatch, looks=2)
    monkeypatch.setattr(kept_assessment, "KEPT_LOOKS", 1)
    db = open_database(fleet_folder(tmp_path))
    assert [one.day for one in past_lists(db, [DAYS[0], EARLY])] == [EARLY, DAYS[0]]
    folder = kept_assessment.folder_of(db)
    assert folder is not None
    assert len(list(folder.glob(f"*{LOOK_SUFFIX}"))) == 1, "of two that were made"
