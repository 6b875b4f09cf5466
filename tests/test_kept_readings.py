"""Readings that were kept are those of the database, whatever was written since, and only changed vehicles are read again.

Truth: `store.read_readings` of all vehicles.
"""

from __future__ import annotations

import datetime as dt
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from samples_fleet import fleet, fleet_folder
from sqlite_utils import Database
from test_packed import pack

from dashboard.desk import kept_readings
from dashboard.desk.kept_assessment import FOLDER
from dashboard.desk.kept_readings import SUFFIX, read_readings
from ingest import store
from ingest.corrections import correct, undo, withdraw
from ingest.entries import record_reading
from ingest.importer import import_paths

NOW = dt.datetime(2023, 6, 1)
WHO = {"by": "anna", "reason": "wrong", "now": NOW}


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return fleet_folder(tmp_path)


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[Sequence[str] | None]:
    """Of which vehicles readings were read; None for all."""
    of: list[Sequence[str] | None] = []
    read = store.read_readings

    def noted(db: Database, **options: Any) -> pd.DataFrame:
        if options.get("units") != []:
            of.append(options.get("units"))
        return read(db, **options)

    monkeypatch.setattr(kept_readings.store, "read_readings", noted)
    return of


def units() -> list[str]:
    return [str(unit) for unit in fleet().units["unit"]]


def reading(unit: str, at: dt.datetime, low_v: float = 10.1) -> dict[str, object]:
    return {"unit": unit, "taken_at": at.isoformat(), "rest_v": 12.5, "crank_min_v": low_v, "crank_a": 180}


def acts(db: Database, folder: Path, rng: np.random.Generator) -> dict[str, Callable[[], object]]:
    """What may be done to readings, with vehicles and rows by chance."""
    numbers = [n for (n,) in db.execute("SELECT reading_id FROM readings ORDER BY 1").fetchall()]
    unit, number = str(rng.choice(units())), int(rng.choice(numbers))
    at = dt.datetime(2022, 9, 1) - dt.timedelta(minutes=int(rng.integers(1, 600_000)))
    low_v = round(float(rng.uniform(4.0, 10.4)), 2)
    file = folder / f"{number}.csv"
    rows = [reading(str(one), at, low_v) for one in rng.choice(units(), 3, replace=False)]

    def imported() -> None:
        pd.DataFrame(rows).to_csv(file, index=False)
        import_paths(db, [file], now=NOW)

    def put_back() -> None:
        entry = withdraw(db, "reading", number, **WHO)  # type: ignore[arg-type]
        undo(db, entry.change or 0, by="anna", now=NOW)

    return {
        "recorded": lambda: record_reading(db, reading(unit, at, low_v), by="anna", now=NOW),
        "imported": imported,
        "corrected": lambda: correct(db, "reading", number, {"crank_min_v": low_v}, **WHO),  # type: ignore[arg-type]
        "of another vehicle": lambda: correct(db, "reading", number, {"unit": unit}, **WHO),  # type: ignore[arg-type]
        "withdrawn": lambda: withdraw(db, "reading", number, **WHO),  # type: ignore[arg-type]
        "put back": put_back,
    }


def same(db: Database, before: dt.date | None = None) -> pd.DataFrame:
    found, truth = read_readings(db, before=before), store.read_readings(db, before=before)
    pd.testing.assert_frame_equal(found, truth, rtol=0.0, atol=0.0)
    return found


@pytest.mark.parametrize("seed", [0, *(pytest.param(seed, marks=pytest.mark.nightly) for seed in range(1, 4))])
def test_any_sequence_of_acts_gives_the_readings_of_the_database(
    path: Path, tmp_path: Path, seed: int, asked: list[Sequence[str] | None]
) -> None:
    """After each one to three of them, and of any day: to the last bit, and never more than the vehicles touched read."""
    rng, db = np.random.default_rng(seed), store.open_database(path)
    same(db)
    for _ in range(12):
        for _ in range(int(rng.integers(1, 4))):
            own = acts(db, tmp_path, rng)
            own[str(rng.choice(list(own)))]()
        asked.clear()
        read_readings(db)
        assert all(read is not None and len(read) <= 9 for read in asked), asked
        same(db, dt.date(2022, 1, 1) + dt.timedelta(days=int(rng.integers(0, 300))))


def test_what_was_not_touched_is_not_read_again(path: Path, asked: list[Sequence[str] | None]) -> None:
    db = store.open_database(path)
    read_readings(db)
    read_readings(db)
    assert asked == [None], "the second time nothing"
    record_reading(db, reading(units()[2], dt.datetime(2022, 9, 2)), by="anna", now=NOW)
    store.open_database(path).conn.close()
    read_readings(store.open_database(path), before=dt.date(2022, 9, 1))
    assert asked == [None, [units()[2]]], "the one vehicle, though its new reading is not asked for"


def test_doubts_that_are_judged_anew_are_seen(path: Path) -> None:
    """As after another version of the program wrote other marks: of a vehicle without any new or corrected row."""
    db = store.open_database(path)
    read_readings(db)
    with db.conn:
        db.execute("UPDATE readings SET doubtful = 'rest_v', doubt_reason = 'far' WHERE unit = ?", [units()[1]])
    record_reading(db, reading(units()[2], dt.datetime(2022, 9, 2)), by="anna", now=NOW)
    found = same(db)
    assert (found.loc[found["unit"] == units()[1], "doubtful"] == "rest_v").all()


def test_another_database_of_the_same_name_gets_none_of_it(
    path: Path, tmp_path: Path, asked: list[Sequence[str] | None]
) -> None:
    """A copy that was put back and went on otherwise: as many writes and rows, with other numbers in them."""
    copy = shutil.copyfile(path, tmp_path / "copy.db")
    for which, low_v in ((path, 10.1), (copy, 9.7)):
        db = store.open_database(which)
        record_reading(db, reading(units()[2], dt.datetime(2022, 9, 2), low_v), by="anna", now=NOW)
        db.conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        if which == path:
            read_readings(db)
        db.conn.close()
    shutil.copyfile(copy, path)
    asked.clear()
    db = store.open_database(path)
    read_readings(db)
    assert asked == [None]
    same(db)


def test_a_damaged_or_foreign_file_is_made_anew(path: Path, asked: list[Sequence[str] | None]) -> None:
    db = store.open_database(path)
    read_readings(db)
    (file,) = Path(f"{path}{FOLDER}").glob(f"*{SUFFIX}")
    whole = file.read_bytes()
    assert len(whole) < 6_000 * len(units()) + 40_000, "bytes a vehicle, and what is written of the columns"
    for content in (whole[:-1], b"", pack({"write": 1}), pack([1.0])):
        file.write_bytes(content)
        asked.clear()
        read_readings(db)
        assert asked == [None]
        assert file.read_bytes() == whole
        same(db)
