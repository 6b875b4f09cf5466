"""Another process that does some of an assessment: the list of one process alone, whether it lasts, ends or does not begin.

Truth: the same database judged by this process alone.
"""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from samples_fleet import few_folder

from analysis.forecast import past
from analysis.forecast.choices import LEARNING
from analysis.readings.panel import in_chunks
from analysis.worklist.assess import Assessment
from dashboard.desk import other_core
from dashboard.desk.assessment import assess_database
from dashboard.desk.kept_assessment import FOLDER, LOOK_SUFFIX
from ingest.other_process import HasEnded, OtherProcess
from ingest.store import open_database

DAY = dt.date(2022, 9, 5)
LOOKS = 2  # few, for time


def judged(folder: Path) -> tuple[Assessment, list[bytes]]:
    """The list of a day, and the looks that were kept beside the database."""
    path = few_folder(folder)
    found = assess_database(open_database(path), as_of=DAY)
    return found, [one.read_bytes() for one in sorted(Path(f"{path}{FOLDER}").glob(f"*{LOOK_SUFFIX}"))]


@pytest.fixture
def alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Assessment, list[bytes]]:
    monkeypatch.setattr(past, "LEARNING", replace(LEARNING, looks=LOOKS))
    return judged(tmp_path / "alone")


@pytest.fixture
def calls(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Another process does some of any assessment: the functions that it was asked for, of which those that gave something."""
    names: list[str] = []
    call = OtherProcess.call

    def noted(self: OtherProcess, function: Callable[..., object], *arguments: object) -> object:
        found = call(self, function, *arguments)
        names.append(getattr(arguments[2], "__name__", ""))
        return found

    monkeypatch.setattr(OtherProcess, "call", noted)
    monkeypatch.setattr(other_core, "FROM_VEHICLES", 1)
    monkeypatch.setattr(other_core, "cores", lambda: 2)
    return names


def same(found: tuple[Assessment, list[bytes]], other: tuple[Assessment, list[bytes]]) -> None:
    for name in ("units", "parts", "outlook", "beyond", "resets", "drift", "classes"):
        pd.testing.assert_frame_equal(getattr(found[0], name), getattr(other[0], name), check_exact=True)
    assert found[1] == other[1]
    assert len(found[1]) == LOOKS


def test_two_processes_find_what_one_finds(
    alone: tuple[Assessment, list[bytes]], calls: list[str], tmp_path: Path
) -> None:
    same(judged(tmp_path / "two"), alone)
    assert {"looks_of", "judged_by"} <= set(calls)


@pytest.mark.parametrize("program", ["/there/is/none", "false"])
def test_one_does_it_all_where_the_other_does_not_begin_or_ends(
    program: str,
    alone: tuple[Assessment, list[bytes]],
    calls: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sys, "executable", program)
    same(judged(tmp_path / "one"), alone)
    assert not calls


def test_one_goes_on_where_the_other_ends_half_way(
    alone: tuple[Assessment, list[bytes]], calls: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As a system does that runs out of memory: here after the looks were made."""
    noted = OtherProcess.call

    def ended(self: OtherProcess, *asked: object) -> object:
        if calls:
            self._worker.kill()
        return noted(self, *asked)  # type: ignore[arg-type]

    monkeypatch.setattr(OtherProcess, "call", ended)
    same(judged(tmp_path / "half"), alone)
    assert calls == ["looks_of"]


def test_few_vehicles_and_one_core_are_judged_by_one_process(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(other_core, "cores", lambda: 2)
    with other_core.other_core(other_core.FROM_VEHICLES - 1) as other:
        assert other is None
    monkeypatch.setattr(other_core, "cores", lambda: 1)
    with other_core.other_core(other_core.FROM_VEHICLES) as other:
        assert other is None


def test_what_goes_wrong_there_ends_it_and_it_leaves_with_who_began_it() -> None:
    with OtherProcess() as other:
        assert other.call(divmod, 7, 2) == (3, 1)
        with pytest.raises(HasEnded):
            other.call(divmod, 7, 0)
        with pytest.raises(HasEnded):
            other.call(divmod, 7, 2)
    with OtherProcess() as other:
        other.begin(divmod, 7, 2)
        other.ask(divmod, 9, 2)
        assert other.answer() == (4, 1)
    assert other._worker.returncode is not None


def test_chunks_are_shared_with_who_does_the_same_elsewhere() -> None:
    """Each once; and what goes wrong with one is raised, and no more are begun."""
    mine: list[int] = []
    theirs: list[int] = []
    in_chunks(50, 1, lambda s: mine.append(s.start), lambda s: theirs.append(s.start))
    assert sorted(mine + theirs) == list(range(50))
    done: list[int] = []

    def fails(s: slice) -> None:
        done.append(s.start)
        raise ValueError("of one chunk")

    with pytest.raises(ValueError, match="of one chunk"):
        in_chunks(50, 1, fails)
    assert len(done) <= 2
