"""The recipe "a measurement" of DEVELOPERS.md, followed word for word on a copy of the program.

Truth: a made-up measurement with values written here; nothing but the recipe's two entries is added to the copy.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from samples_kept import in_one_file, kept

from ingest import store
from ingest.importer import import_paths

ROOT = Path(__file__).parents[1]
IN_FIELDS = """    Quantity(
        "hold_in_a", "A", (0.0, 40.0), (0.0, 60.0), "amps that hold the solenoid in",
        "Hold-in amps", "small clamp round the control wire", heading="hold-in", digits=1,
    ),
)  # fmt: skip
QUANTITIES: Mapping"""
IN_SCHEMA = """
# Amps that hold the solenoid in.
_step("999_hold_in", "ALTER TABLE readings ADD COLUMN hold_in_a REAL CHECK (hold_in_a BETWEEN 0.0 AND 60.0)")
"""
UNITS = "unit,vehicle_class,system_v,fuel,depot\nX-1,van,12,diesel,yard\n"
READINGS = """unit,taken_at,rest_v,crank_min_v,crank_a,temperature_c,hold_in_ma
X-1,2026-11-02T07:00:00,12.6,10.9,200,4,7300
X-1,2026-11-03T07:00:00,12.6,10.9,200,4,730000
X-1,2026-11-04T07:00:00,12.6,10.9,200,4,7300
X-1,2026-11-04T09:00:00,12.6,10.9,200,4,7300
"""
TRIED = """
import contextlib, datetime as dt, io, json, os, sys
from pathlib import Path
import pandas as pd
from streamlit.testing.v1 import AppTest
from dashboard.cli import main as cli
from dashboard.files import paper
from dashboard.screens import one_unit, session
from dashboard.desk.assessment import assess_database
from dashboard.words.list_row import list_row
from ingest import store
from ingest.importer import import_paths

path = Path(os.environ["CRANKTREND_DB"])
db = store.open_database(path)
outcome = import_paths(db, [Path("units.csv"), Path("readings.csv")], now=dt.datetime(2026, 11, 30, 5))
old = store.open_database("old.db")
assessed = assess_database(db, as_of=dt.date(2026, 11, 30))
session._assess = lambda key: assessed

def page(name):
    app = AppTest.from_file("dashboard/screens/app.py", default_timeout=60)
    app.session_state["device"] = "ab" * 16
    app.session_state["unit_tab"] = "Readings and repairs"
    app.switch_page(f"views/{name}.py")
    app.query_params["unit"] = "X-1"
    app.run()
    assert not app.exception, app.exception
    return app

def printed(*arguments):
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert cli.main(list(arguments)) == 0
    return out.getvalue()

readings = store.read_readings(db)
sheet = paper.BayUnit("X-1", "yard", "van", 12, "", {"hold_in_a": 7.3}, readings["taken_at"].iloc[0], {})
said = {
    "import": [outcome.stored, outcome.set_aside, readings["hold_in_a"].tolist()],
    "reason": db.execute("SELECT reason FROM set_aside").fetchone()[0],
    "older database": store.read_readings(old)["rest_v"].tolist(),
    "phone": [field.label for field in page("bay").text_input],
    "vehicle page": [c for table in page("unit").dataframe for c in table.value.columns],
    "bay sheet": str(paper._bay_page(sheet, fahrenheit=False)),
    "vehicle on paper": str(paper._reading_tables(readings, fahrenheit=False)),
    "json": json.loads(printed("unit", "X-1", "--as-of", "2026-11-30", "--format", "json"))["latest_reading"]["measured"],
    "typed": printed("record", "X-1", "--taken-at", "2026-11-05T08:00", "--hold-in-a", "9.9", "--rest-v", "12.5"),
    "sheet in the terminal": printed("unit", "X-1", "--as-of", "2026-11-30"),
}
print(json.dumps(said))
"""


pytestmark = pytest.mark.nightly


@pytest.fixture
def said(tmp_path: Path) -> dict[str, Any]:
    """What a copy of the program with the made-up measurement shows of it."""
    return kept("the recipe of a measurement", lambda: said_by_copy(tmp_path / "copy"))


def said_by_copy(copy: Path) -> dict[str, Any]:
    """Make the copy, follow the recipe, ask it everywhere."""
    for package in ("analysis", "dashboard", "demo_fleet", "ingest"):
        # with what is compiled: of a copy of the same age it holds
        shutil.copytree(ROOT / package, copy / package, ignore=shutil.ignore_patterns("pictures"))
    make_old_database(copy)
    fields = copy / "ingest" / "fields.py"
    before = fields.read_text()
    fields.write_text(before.replace(")  # fmt: skip\nQUANTITIES: Mapping", IN_FIELDS, 1))
    assert fields.read_text() != before
    with (copy / "ingest" / "schema.py").open("a") as schema:
        schema.write(IN_SCHEMA)
    (copy / "units.csv").write_text(UNITS)
    (copy / "readings.csv").write_text(READINGS)
    found: dict[str, Any] = json.loads(in_copy(copy, TRIED).splitlines()[-1])
    return found


def make_old_database(copy: Path) -> None:
    """A database of the program as it is, with one reading."""
    (copy / "units.csv").write_text(UNITS)
    (copy / "plain.csv").write_text("unit,taken_at,rest_v\nX-1,2026-10-02T07:00:00,12.4\n")
    db = store.open_database(copy / "old.db")
    import_paths(db, [copy / "units.csv", copy / "plain.csv"])
    in_one_file(db)


def in_copy(copy: Path, program: str) -> str:
    """Run a program with the copy's packages; what it printed."""
    environment = {**os.environ, "PYTHONPATH": str(copy), "CRANKTREND_DB": str(copy / "new.db")}
    environment["CRANKTREND_TODAY"] = "2026-11-30"
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", program],
        cwd=copy,
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    return done.stdout


def test_a_measurement_added_by_the_recipe_is_imported_in_its_units(said: dict[str, Any]) -> None:
    assert said["import"] == [4, 1, [7.3, 7.3, 7.3]]
    assert "hold_in_a is 730 A; allowed on a 12 V system is 0 to 40 A" in said["reason"]
    assert said["older database"] == [12.4]


def test_it_is_asked_for_on_the_phone_and_on_the_bay_sheet(said: dict[str, Any]) -> None:
    assert "Hold-in amps, A (small clamp round the control wire)" in said["phone"]
    assert "Hold-in amps: small clamp round the control wire" in said["bay sheet"]
    assert "7.3 A" in said["bay sheet"]


def test_it_is_shown_and_printed(said: dict[str, Any]) -> None:
    assert "hold_in_a" in said["vehicle page"]
    assert "hold-in, A" in said["vehicle on paper"]
    assert "7.3" in said["vehicle on paper"]
    assert "hold_in_a" in said["sheet in the terminal"]


def test_it_is_in_the_json_and_can_be_typed(said: dict[str, Any]) -> None:
    assert said["json"]["hold_in_a"] == 7.3
    assert "hold-in amps 9.9 A, not 7.3 A" in " ".join(said["typed"].split())
