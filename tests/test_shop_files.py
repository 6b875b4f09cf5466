"""The workshop files that the project was given come out exactly as stated beside them (expected.json)."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from sqlite_utils import Database

from ingest.drafting import draft_source
from ingest.importer import import_paths
from ingest.sources import save_source
from ingest.store import open_database

SHOP = Path(__file__).parents[2] / "shared" / "shop_files"
NOW = datetime(2026, 1, 1)
pytestmark = pytest.mark.skipif(not SHOP.is_dir(), reason="the shop files are not beside this checkout")

SEMICOLONS = """
encoding = "cp1252"
delimiter = ";"
decimal = ","
thousands = "."
date_order = "day-first"
[columns]
"Vehicle no." = "unit"
"Date/time" = "taken_at"
"Mileage (km)" = "odometer_km"
"Bay temp (°C)" = "temperature_c"
"Resting volts (V)" = "rest_v"
"Lowest volts cranking (V)" = "crank_min_v"
"Steady amps (A)" = "crank_a"
"Drop + cable (mV)" = "drop_positive_mv"
"Drop earth (mV)" = "drop_ground_mv"
"Drop contacts (mV)" = "drop_contacts_mv"
"Drop control (V)" = "drop_control_v"
"Coil amps (A)" = "coil_a"
"Remarks" = "note"
"""
WORKBOOK = """
skip_rows = 3
heading_rows = 2
date_order = "month-first"
[columns]
"Unit" = "unit"
"When" = "taken_at"
"Odometer miles" = "odometer_mi"
"Temp F" = "temperature_f"
"Battery rest V" = "rest_v"
"Battery low V" = "crank_min_v"
"Clamp A mV" = "crank_clamp_mv"
"Drop pos V" = "drop_positive_v"
"Drop gnd V" = "drop_ground_v"
"Drop sol V" = "drop_contacts_v"
"Drop ctl V" = "drop_control_v"
"Clamp B mV" = "coil_clamp_mv"
"Notes" = "note"
[clamp_mv_per_a]
crank_clamp_mv = 1
coil_clamp_mv = 100
"""


@pytest.fixture
def expected() -> dict[str, Any]:
    return json.loads((SHOP / "expected.json").read_text())


@pytest.fixture
def db(tmp_path: Path) -> Database:
    db = open_database(tmp_path / "shop.db")
    for name in ("units.csv", "repairs.csv", "climate.csv"):
        assert import_paths(db, [SHOP / name], now=NOW).exit_code == 0
    return db


def test_every_file_in_turn(db: Database, expected: dict[str, Any]) -> None:
    save_source(db, "office", SEMICOLONS)
    save_source(db, "bay 3", WORKBOOK)
    for name, want in expected.items():
        outcome = import_paths(db, [SHOP / name], now=NOW)
        got = outcome.files[0]
        if "error" in want:
            assert outcome.exit_code == 2
            assert (got.rows, got.stored) == (0, 0)
            assert got.error
            assert "\n" not in got.error
            continue
        assert (got.rows, got.stored, got.set_aside, got.known) == (
            want["rows"],
            want["stored"],
            want["set_aside"],
            want.get("duplicates", 0),
        )
        assert outcome.exit_code == (1 if want["set_aside"] else 0)
        again = import_paths(db, [SHOP / name], now=NOW)
        assert (again.stored, again.set_aside, again.still_aside) == (0, want["set_aside"], want["set_aside"])
        assert again.known == want["rows"] - want["set_aside"]


def test_faults_are_found_on_their_lines_with_original_text(db: Database, expected: dict[str, Any]) -> None:
    import_paths(db, [SHOP / "1_usual.csv"], now=NOW)
    import_paths(db, [SHOP / "4_faults.csv"], now=NOW)
    lines = (SHOP / "4_faults.csv").read_text(encoding="utf-8-sig").splitlines()
    rows = db.execute("SELECT line, original FROM set_aside").fetchall()
    assert {str(line) for line, _ in rows} == set(expected["4_faults.csv"]["faults"])
    assert all(original == lines[line - 1] for line, original in rows)
    here = "FROM readings JOIN origins ON origins.id = origin_id WHERE file = '4_faults.csv' AND line"
    value, remark = db.execute(f"SELECT crank_min_v, remark {here} = 84").fetchone()
    assert (value, remark) == (23.13, "")
    value, remark = db.execute(f"SELECT drop_ground_v, remark {here} = 85").fetchone()
    assert value is None
    assert "over range" in remark
    hostile = db.execute(f"SELECT technician {here} = 82").fetchone()[0]
    assert hostile == "T01'); DROP TABLE readings;--"


@pytest.mark.parametrize("name", ["2_semicolons.csv", "3_workbook.xlsx"])
def test_drafted_descriptions_import_them_fully(db: Database, expected: dict[str, Any], name: str) -> None:
    draft = draft_source(SHOP / name)
    assert draft.questions == ()
    save_source(db, "drafted", draft.toml)
    got = import_paths(db, [SHOP / name], now=NOW).files[0]
    assert (got.stored, got.set_aside) == (expected[name]["stored"], expected[name]["set_aside"])
    assert got.source == "drafted"


def test_units_of_the_foreign_files_become_ours(db: Database) -> None:
    """By hand from the first rows: 176 mV, 52940 mi x 1.609344, (46.9 - 32) / 1.8, 935 mV / 100 mV per A."""
    save_source(db, "office", SEMICOLONS)
    save_source(db, "bay 3", WORKBOOK)
    import_paths(db, [SHOP / "2_semicolons.csv", SHOP / "3_workbook.xlsx"], now=NOW)
    row = db.execute(
        "SELECT odometer_km, drop_positive_v, drop_control_v FROM readings WHERE taken_at = '2021-09-27T12:29:00'"
    )
    assert row.fetchone() == (217462.0, 0.176, 1.19)
    row = db.execute(
        "SELECT odometer_km, temperature_c, crank_a, coil_a FROM readings WHERE taken_at = '2022-01-10T07:19:00'"
    )
    assert row.fetchone() == pytest.approx((85198.671, 8.2778, 224.0, 9.35), rel=1e-5)
    text = db.execute("SELECT count(*) FROM readings WHERE taken_at = '2022-01-11T16:31:00'").fetchone()[0]
    assert text == 1, "04:31 PM is half past four in the afternoon"


def test_the_whole_folder_at_once_in_any_order(tmp_path: Path) -> None:
    other = open_database(tmp_path / "other.db")
    save_source(other, "office", SEMICOLONS)
    save_source(other, "bay 3", WORKBOOK)
    outcome = import_paths(other, [SHOP], now=NOW)
    assert outcome.exit_code == 2
    assert outcome.refused == 6
    assert outcome.stored == 60 + 13 + 24 + 133 + 133 + 133 + 121
