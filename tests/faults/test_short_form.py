"""The short form of every fault: a few of each, with the numbers of chance fixed; the long form is `python -m tests.faults`.

Truth: SQLite's own checks of a file, rows counted after each fault beside what the program had said, and `cranktrend check`.
"""

from __future__ import annotations

import sqlite3
import sys
from pathlib import Path
from typing import Any

import pytest

from dashboard.cli.main import main
from faults import disks, fuzz, kills, power
from faults.afterwards import Counts, first_version
from faults.disk_log import why_not
from ingest import store
from ingest.entries import record_reading
from ingest.verify import verify

fork = pytest.mark.skipif(sys.platform != "linux", reason="processes are forked and watched through /proc")
disk = pytest.mark.skipif(bool(disks.why_no_mount()), reason=disks.why_no_mount())
seen = pytest.mark.skipif(bool(why_not()), reason=why_not())


@pytest.mark.nightly
@fork
@seen
def test_a_kill_loses_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    """Two kills of each command, at random writes; the long form does it by the clock too."""
    kills.made_base(tmp_path, ())
    for kind in ("import", "migration", "restore"):
        found = kills.killed(kind, many=2, seed=7, root=tmp_path, by_clock=0.0)
        assert found.wrong == []
        assert found.tried == 2
        assert found.struck + found.acknowledged >= 2, "a command that was not struck on its way has told its end"


@seen
@pytest.mark.parametrize("doing", [power.work, power.upgrade])
def test_a_power_cut_loses_nothing_that_was_acknowledged(doing: Any) -> None:
    """Eight cuts, each with another part of what nobody waited for on the disk."""
    found = power.cuts(doing, many=8, seed=3, readings=6)
    assert found.wrong == []
    assert found.acknowledged + found.whole > 8


@seen
def test_a_power_cut_is_seen_to_lose_what_nobody_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """The harness finds losses where there are some: SQLite's NORMAL does not wait for the log (sqlite.org/pragma.html)."""
    opened = store.open_database

    def hasty(*arguments: Any, **options: Any) -> Any:
        db = opened(*arguments, **options)
        db.conn.execute("PRAGMA synchronous=NORMAL")
        return db

    monkeypatch.setattr(power, "open_database", hasty)
    assert power.cuts(power.work, many=8, seed=3, readings=6).lost > 0


@fork
@disk
def test_a_full_disk_is_one_sentence_and_changes_nothing() -> None:
    """A real disk of memory: no room at all, and a little."""
    assert disks.full(rooms=(0, 48), kinds=("import",)).wrong == []


@fork
@pytest.mark.parametrize("fault", [disks.locked, disks.read_only, disks.clock_set_back])
def test_a_fault_of_the_place_is_one_sentence_and_changes_nothing(fault: Any) -> None:
    """Another program holds it; nobody may write there; the clock goes back 400 days between two commands."""
    found: Counts = fault(kinds=("import",))
    assert found.wrong == []


@pytest.mark.parametrize(("group", "many"), [("readers", 60), ("forms", 60), ("descriptions", 300), ("addresses", 40)])
def test_odd_inputs_are_stored_set_aside_or_refused(group: str, many: int) -> None:
    """No exception that is not a refusal, no row unaccounted for."""
    assert fuzz.fuzzed(group, many=many, seed=5).wrong == []


def test_a_database_of_the_first_version_is_brought_up_with_every_row(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every row that the first version's dump holds is there once, in the columns that it had; `check` finds nothing."""
    path = first_version(tmp_path / "fleet.db")
    before = rows_of(path)
    assert before["readings"][0][:3] == (1, "K-101", "2023-01-03T08:15:00"), "the dump's own first reading"
    assert {table: len(rows) for table, rows in before.items() if rows and not table.startswith("_")} == {
        "origins": 11, "units": 3, "readings": 11, "repairs": 2, "climate": 24, "forecast": 1, "services": 1, "workshops": 2,
        "parts": 1, "set_aside": 1, "set_aside_attempts": 1, "audit": 2, "decisions": 1, "weekly_lists": 1, "settings": 1,
    }  # fmt: skip
    assert main(["--db", str(path), "check"]) == 0
    assert "older version 002" in capsys.readouterr().out
    assert main(["--db", str(path), "logbook"]) == 0
    assert "Ada" in capsys.readouterr().out
    after = rows_of(path, columns_of(first_version(tmp_path / "again.db")))
    for table, rows in before.items():
        if not table.startswith("_"):
            assert after[table] == rows, table
    assert verify(path).findings == ()
    assert record_reading(store.open_database(path), {"unit": "K-101", "rest_v": 12.6}, by="t").stored


def columns_of(path: Path) -> dict[str, list[str]]:
    """The columns of every table."""
    connection = sqlite3.connect(path)
    tables = [row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()]
    out = {table: [row[1] for row in connection.execute(f"PRAGMA table_info({table})").fetchall()] for table in tables}
    connection.close()
    return out


def rows_of(path: Path, columns: dict[str, list[str]] | None = None) -> dict[str, list[tuple[Any, ...]]]:
    """The rows of every table, in the columns asked for."""
    connection = sqlite3.connect(path)
    asked = columns or {
        row[0]: ["*"] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
    }
    out = {
        table: sorted(connection.execute(f"SELECT {', '.join(names)} FROM {table}").fetchall(), key=repr)
        for table, names in asked.items()
    }
    connection.close()
    return out
