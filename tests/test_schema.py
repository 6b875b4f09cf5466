"""The database guards itself: types, checks, foreign keys, versions."""

from __future__ import annotations

import ast
import sqlite3
from pathlib import Path

import pytest
from sqlite_utils import Database

from ingest import schema
from ingest.errors import DatabaseRefused
from ingest.fields import OUTCOMES, TABLES
from ingest.schema import migrations
from ingest.store import open_database, read_workshops

READING = "INSERT INTO readings (unit, taken_at, rest_v, origin_id) VALUES (?, ?, ?, 1)"


def test_tables_are_strict_and_have_their_columns(db: Database) -> None:
    strict = {row[1]: row[5] for row in db.execute("PRAGMA table_list").fetchall()}
    for name, table in TABLES.items():
        assert strict[name] == 1
        assert {*table.names, "extra", "origin_id", "line"} <= set(db[name].columns_dict)


def test_settings_of_the_connection(db: Database) -> None:
    assert db.execute("PRAGMA foreign_keys").fetchone()[0] == 1
    assert db.execute("PRAGMA journal_mode").fetchone()[0] == "wal"


@pytest.mark.parametrize(
    "values",
    [
        ("NOBODY", "2023-01-01T00:00:00", 12.6),
        ("K-101", "2023-01-01", 12.6),
        ("K-101", "2023-01-01T00:00:00", 1200.0),
        ("K-101", "2023-01-01T00:00:00", "text"),
    ],
)
def test_wrong_rows_cannot_get_in_by_another_way(db: Database, values: tuple[object, ...]) -> None:
    with pytest.raises(sqlite3.IntegrityError):
        db.conn.execute(READING, values)


def test_one_reading_per_unit_and_time(db: Database) -> None:
    db.conn.execute(READING, ("K-101", "2023-01-01T00:00:00", 12.6))
    with pytest.raises(sqlite3.IntegrityError):
        db.conn.execute(READING, ("K-101", "2023-01-01T00:00:00", 12.5))


def test_a_newer_database_is_refused_in_one_sentence(tmp_path: Path) -> None:
    db = open_database(tmp_path / "new.db")
    db.execute(
        "INSERT INTO _sqlite_migrations (migration_set, name, applied_at) VALUES ('cranktrend', '999_later', '')"
    )
    db.conn.commit()
    with pytest.raises(DatabaseRefused, match="newer version of cranktrend") as caught:
        open_database(tmp_path / "new.db")
    assert "\n" not in str(caught.value)


def test_opening_again_changes_nothing(tmp_path: Path) -> None:
    open_database(tmp_path / "a.db").close()
    before = (tmp_path / "a.db").read_bytes()
    open_database(tmp_path / "a.db").close()
    assert (tmp_path / "a.db").read_bytes() == before


def test_steps_say_for_ever_what_they_said() -> None:
    """A step that read a list of `fields` would build another table for a new database than an old one has."""
    tree = ast.parse(Path(schema.__file__).read_text())
    imported = [node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
    assert "ingest.fields" not in imported


def test_readings_of_an_older_database_are_kept_and_take_the_new_outcomes(tmp_path: Path) -> None:
    path = tmp_path / "old.db"
    old = database_of(path, ("001_records", "002_work_with_the_list", "003_hours_by_week", "004_kept_figures"))
    old.conn.execute("INSERT INTO origins (kind, by, at) VALUES ('entry', 'me', '')")
    old.conn.execute(
        "INSERT INTO units (unit, vehicle_class, system_v, depot, origin_id) VALUES ('K-1', 'van', 12, 'hill', 1)"
    )
    kept = "INSERT INTO readings (reading_id, unit, taken_at, rest_v, outcome, note, origin_id, line) VALUES (7, 'K-1', ?, 12.6, ?, 'x', 1, 3)"
    old.conn.execute(kept, ("2023-01-01T00:00:00", "no_start"))
    old.conn.commit()
    with pytest.raises(sqlite3.IntegrityError):
        old.conn.execute(kept, ("2023-01-02T00:00:00", "click"))
    old.conn.close()
    db = open_database(path)
    row = db.execute(
        "SELECT reading_id, unit, taken_at, rest_v, outcome, note, origin_id, line FROM readings"
    ).fetchall()
    assert row == [(7, "K-1", "2023-01-01T00:00:00", 12.6, "no_start", "x", 1, 3)]
    for day, outcome in enumerate(OUTCOMES, start=2):
        db.conn.execute(
            "INSERT INTO readings (unit, taken_at, outcome, origin_id) VALUES ('K-1', ?, ?, 1)",
            (f"2023-01-{day:02d}T00:00:00", outcome),
        )
    for wrong in (
        ("K-1", "2023-01-02T00:00:00", "slow"),
        ("K-1", "2024-01-02T00:00:00", "maybe"),
        ("K-2", "2024-01-02T00:00:00", "slow"),
    ):
        with pytest.raises(sqlite3.IntegrityError):
            db.conn.execute("INSERT INTO readings (unit, taken_at, outcome, origin_id) VALUES (?, ?, ?, 1)", wrong)
    assert db.execute("PRAGMA foreign_key_check").fetchall() == []


def database_of(path: Path, steps: tuple[str, ...]) -> Database:
    """A database as these steps left it."""
    old = Database(path)
    for step in migrations.pending(old):
        if step.name in steps:
            step.fn(old)
    old.conn.execute(
        "CREATE TABLE _sqlite_migrations (id INTEGER PRIMARY KEY, migration_set TEXT, name TEXT, applied_at TEXT)"
    )
    for name in steps:
        old.conn.execute(
            "INSERT INTO _sqlite_migrations (migration_set, name, applied_at) VALUES ('cranktrend', ?, '')", (name,)
        )
    return old


def test_hours_of_an_older_database_become_the_usual_week(tmp_path: Path) -> None:
    """A database as the second step left it: its workshop hours are kept, the row says who wrote it."""
    path = tmp_path / "old.db"
    old = database_of(path, ("001_records", "002_work_with_the_list"))
    old.conn.execute("INSERT INTO origins (kind, by, at) VALUES ('entry', 'me', '')")
    old.conn.execute("INSERT INTO workshops (depot, hours_per_week, origin_id, line) VALUES ('hill', 12, 1, 7)")
    old.conn.commit()
    old.conn.close()
    db = open_database(path)
    hours = read_workshops(db)
    assert hours["depot"].tolist() == ["hill"]
    assert hours["week_from"].isna().all()
    assert hours["hours_per_week"].tolist() == [12.0]
    assert db.execute("SELECT line, origin_id FROM workshops").fetchall() == [(7, 1)]
    assert db.execute("PRAGMA foreign_key_check").fetchall() == []
