"""Who begins finds templates that the import takes, a sample that is stored whole, and steps that know how far it is."""

from __future__ import annotations

import datetime as dt
import io
from pathlib import Path

import pytest
from openpyxl import load_workbook
from test_views import run, said

from dashboard.files.first_files import FIRST, sample, template
from dashboard.screens.session import DATABASE_VARIABLE, TODAY_VARIABLE
from ingest import store
from ingest.fields import TABLES
from ingest.importer import import_paths

NOW = dt.datetime(2026, 11, 28, 9)
ROWS = {
    "units": {"unit": "S-001", "vehicle_class": "light_van", "system_v": 12, "depot": "hill"},
    "climate": {"depot": "hill", "month": 1, "low_c": -3.0},
    "readings": {"unit": "S-001", "taken_at": dt.datetime(2026, 11, 1, 8), "rest_v": 12.6, "crank_min_v": 10.9},
    "workshops": {"depot": "hill", "hours_per_week": 12},
}


def test_a_template_filled_in_is_taken_as_it_stands(tmp_path: Path) -> None:
    """One row under each template's headings, brought in from the workbook with both its sheets."""
    for name in FIRST:
        book = load_workbook(io.BytesIO(template(name)))
        assert [row[0].value for row in book["columns"].iter_rows(min_row=2)] == list(TABLES[name].names)
        sheet = book[name]
        sheet.append([ROWS[name].get(str(cell.value)) for cell in sheet[1]])
        book.save(tmp_path / f"{name}.xlsx")
    db = store.open_database(tmp_path / "own.db")
    found = import_paths(db, [tmp_path / f"{name}.xlsx" for name in FIRST], now=NOW)
    assert [(one.stored, one.set_aside, one.error) for one in found.files] == [(1, 0, "")] * len(FIRST)


def test_the_sample_is_stored_whole_and_ends_the_day_before(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every row in, in the order of the steps; then the steps say so."""
    monkeypatch.setenv(DATABASE_VARIABLE, str(tmp_path / "own.db"))
    monkeypatch.setenv(TODAY_VARIABLE, NOW.date().isoformat())
    app = run("files")
    assert said(app).count("to do") == len(FIRST)
    links = {link.proto.label for link in run("fleet").get("page_link")}
    assert "First steps, templates and a sample to try" in links
    files = sample(NOW.date())
    for name in FIRST:
        (tmp_path / f"{name}.csv").write_bytes(files[name])
    db = store.open_database(tmp_path / "own.db")
    found = import_paths(db, [tmp_path / f"{name}.csv" for name in FIRST], now=NOW)
    assert [(one.error, one.set_aside) for one in found.files] == [("", 0)] * len(FIRST)
    newest = store.read_readings(db)["taken_at"].max()
    assert dt.timedelta(0) < NOW - newest.to_pydatetime() < dt.timedelta(days=10)
    assert "to do" not in said(run("files"))
