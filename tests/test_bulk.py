"""Readings that two processes read are those that one reads, and where the other cannot help, one reads them all.

Truth: `store.read_readings` with one process.
"""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from samples_fleet import fleet_folder
from sqlite_utils import Database

from ingest import bulk, store
from ingest.entries import record_reading

BEFORE = dt.date(2022, 1, 1)


@pytest.fixture
def db(tmp_path: Path) -> Database:
    return store.open_database(fleet_folder(tmp_path))


@pytest.fixture
def two(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Another process helps with any number of readings; how many were read by each part of what was put together."""
    rows: list[int] = []
    joined = bulk._joined

    def noted(parts: list[bulk.Bulk], *names: object) -> bulk.Bulk:
        rows.extend(len(part) for part in parts)
        return joined(parts, *names)  # type: ignore[arg-type]

    monkeypatch.setattr(bulk, "LEAST_FOR_TWO", 1)
    monkeypatch.setattr(bulk, "_joined", noted)
    return rows


@pytest.mark.parametrize("before", [None, BEFORE])
def test_two_processes_read_what_one_reads(
    db: Database, before: dt.date | None, request: pytest.FixtureRequest
) -> None:
    alone = store.read_readings(db, before=before)
    rows = request.getfixturevalue("two")
    pd.testing.assert_frame_equal(store.read_readings(db, before=before), alone, check_exact=True)
    assert len(rows) == 2
    assert min(rows) > 0.3 * len(alone)


def test_one_reads_all_where_the_other_sees_another_moment(
    db: Database, two: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bulk, "LEAST_FOR_TWO", 1_000_000)
    alone = store.read_readings(db)
    monkeypatch.setattr(bulk, "LEAST_FOR_TWO", 1)
    unit = str(alone["unit"].iloc[-1])
    with store.at_one_moment(db):
        assert db.table("readings").count == len(alone)  # from here on it sees nothing new
        with store.open_database(db.execute("PRAGMA database_list").fetchone()[2]) as other:
            at = dt.datetime(2023, 5, 30, 8)
            record_reading(other, {"unit": unit, "taken_at": at.isoformat(), "rest_v": 12.5}, by="me", now=at)
        two.clear()
        pd.testing.assert_frame_equal(store.read_readings(db), alone, check_exact=True)
        assert not two
    assert len(store.read_readings(db)) == sum(two) == len(alone) + 1


@pytest.mark.parametrize("program", ["/there/is/none", "false"])
def test_one_reads_all_where_the_other_does_not_begin_or_ends(
    db: Database, program: str, two: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "executable", program)
    assert len(store.read_readings(db)) == db.table("readings").count
    assert not two


def test_columns_in_which_nothing_stands_share_memory_until_one_is_written_to(db: Database) -> None:
    found = store.read_readings(db)
    empty = [name for name in ("pull_in_a", "tester_load_ohm") if found[name].isna().all()]
    assert len(empty) == 2
    one, other = empty
    assert np.shares_memory(found[one].to_numpy(), found[other].to_numpy())
    found.loc[0, one] = 80.0
    assert found[one].notna().sum() == 1
    assert found[other].isna().all()
