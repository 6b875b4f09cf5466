"""What pages show beside their words: the list as a workbook, a small course on each card, figures that add up, a repair
before and after.

Truth: the list and the plan on record; sums of the figures as they stand on the page.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from pathlib import Path

import pytest
import streamlit as st
from openpyxl import load_workbook
from samples_screens import AS_OF, assessed, listed_database, shown
from streamlit.testing.v1 import AppTest
from test_views import run

from analysis.plan.workshop_calendar import iso_week
from dashboard.desk.reading_source import MEASURED_BY
from ingest import store
from ingest.entries import record_repair
from ingest.records import read_weekly_list

AMOUNT = re.compile(r"[−-]?[\d,]+")


@pytest.fixture
def fleet(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    return shown(monkeypatch, listed_database(tmp_path / "fleet.db"), lambda _key: assessed())


def html(app: AppTest) -> str:
    """All that the page draws as HTML."""
    return "\n".join([str(one.value) for one in app.markdown] + [str(one.proto.body) for one in app.get("html")])


def test_the_list_has_a_small_course_on_each_card_and_comes_as_a_workbook_and_on_paper(
    fleet: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    issued = read_weekly_list(store.open_database(fleet), iso_week(AS_OF))
    assert issued is not None
    rows = issued.body["units"]
    app = run()
    assert html(app).count('<div class="ct-picture ct-short">') == sum(bool(row["course"]) for row in rows) == len(rows)
    files: dict[str, Callable[[], bytes]] = {}
    monkeypatch.setattr(st, "download_button", lambda label, data, **_: files.__setitem__(label, data))
    app.session_state["list_tab"] = "Table and paper"
    app.run()
    assert not app.exception
    heads, *lines = load_workbook(io.BytesIO(files["Table as XLSX"]())).worksheets[0].values
    assert [line[heads.index("vehicle")] for line in lines] == [row["unit"] for row in rows]
    assert files["List for printing (PDF)"]().startswith(b"%PDF")


@pytest.mark.usefixtures("fleet")
def test_the_figures_of_the_plan_s_page_add_up_as_they_are_read() -> None:
    """Work of visits + no-starts + left for later = in all, and no visit's in all - this way's = saved, on every line."""
    tables = re.findall(r'<table class="cards".*?</table>', html(run("plan")), re.DOTALL)
    (table,) = [one for one in tables if "= in all" in one]
    lines = re.findall(r"<tr><th scope=\"row\".*?</tr>", table)
    cells = [re.findall(r"<td [^>]*>(.*?)</td>", line)[-5:] for line in lines]
    figures = [[int(AMOUNT.findall(cell)[0].replace(",", "").replace("−", "-")) for cell in row] for row in cells]
    assert len(figures) >= 3
    no_visit = next(row for row, line in zip(figures, lines, strict=True) if "no visit</th>" in line)
    for work, no_starts, left, in_all, saved in figures:
        assert work + no_starts + left == in_all
        assert no_visit[3] - in_all == saved


def test_a_repair_stands_on_the_vehicle_s_page_before_and_after(fleet: Path) -> None:
    db = store.open_database(fleet)
    readings = store.read_readings(db)
    read = readings[readings[list(MEASURED_BY["ground_path"])].notna().all(axis=1)]
    unit = str(read["unit"].value_counts().index[0])
    days = read.loc[read["unit"] == unit, "taken_at"].sort_values().dt.date.tolist()
    done = {"unit": unit, "part": "ground_path", "action": "cleaned", "done_on": days[-1].isoformat()}
    assert record_repair(db, done, by="ann").stored
    app = run("unit", unit=unit, tab="Readings and repairs")
    (pair,) = re.findall(r'<div class="ct-pair">.*', html(app))
    assert pair.count("ct-bar") == 2
    assert "Before" in pair
    assert "After" in pair
