"""Saved mistakes in Chromium: undo at the thumb, a correction and its undo, the logbook, a list issued again.

Truth: what the test itself typed, read back from the database.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pandas as pd
import pytest
from samples_screens import one_reading_database
from sqlite_utils import Database

from analysis.plan.workshop_calendar import iso_week
from analysis.worklist.assess import Assessment
from dashboard.desk import weekly
from dashboard.desk.assessment import assess_database
from ingest import store
from ingest.entries import record_reading
from ingest.importer import import_paths
from ingest.records import list_versions
from ingest.sources import save_source

playwright_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
from browser_screens import CHROMIUM, DESK, PHONE, field, move, no_sideways_scroll, server, settled  # noqa: E402
from playwright.sync_api import Browser, Page  # noqa: E402

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not CHROMIUM, reason="Chromium is not installed (apt-get install chromium)"),
]
Opened = Callable[..., Page]
TODAY = dt.date(2026, 11, 30)
DESCRIBED = 'date_order = "iso"\n[columns]\n"Fzg" = "unit"\n"Zeit" = "taken_at"\n"Ruhe V" = "rest_v"\n'
LARGEST_ANSWER = 1_000_000  # [byte]: the table's own parts stay below; the highlighter has half as much again
PICTURES = os.environ.get("CRANKTREND_PICTURES", "")  # a folder, to look at what the test sees


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One vehicle without a climate, whose list of this week is issued."""
    path = one_reading_database(tmp_path_factory.mktemp("records") / "one.db")
    db = store.open_database(path)
    for day in (10, 12, 14):
        values = {"unit": "X-1", "taken_at": f"2026-11-{day}T07:00", "rest_v": 12.6, "drop_ground_v": 0.1}
        assert record_reading(db, values, by="ben", now=dt.datetime(2026, 11, 30, 5)).stored
    assert weekly.issue(db, as_of_today(db), now=dt.datetime(2026, 11, 30, 6))
    db.conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.conn.close()
    return path


@pytest.fixture(scope="module")
def address(own: Path, here: tuple[str, str]) -> Iterator[str]:
    with server(own, TODAY.isoformat(), quick=here) as address:
        yield address


def as_of_today(db: Database) -> Assessment:
    return dataclasses.replace(assess_database(db, as_of=TODAY), as_of=pd.Timestamp(TODAY))


def look(page: Page, name: str) -> None:
    no_sideways_scroll(page)
    if PICTURES:
        page.screenshot(path=str(Path(PICTURES) / f"{name}.png"))


def readings(path: Path) -> pd.DataFrame:
    db = store.open_database(path)
    try:
        return store.read_readings(db)
    finally:
        db.conn.close()


@pytest.mark.nightly
def test_nothing_saved_is_permanent(own: Path, address: str, opened: Opened) -> None:
    page = opened(f"{address}/bay?unit=X-1", PHONE)
    settled(page, "wheels chocked", first=True)
    field(page, "Rest volts, V", "12,1")
    settled(page, "Measure next")
    page.get_by_role("button", name="Save reading").click()
    settled(page, "reading saved")
    look(page, "saved")
    assert len(readings(own)) == 5
    undo = page.get_by_role("button", name="Undo")
    box = undo.bounding_box()
    assert box is not None
    assert 0 <= box["y"] < box["y"] + box["height"] <= PHONE["height"], "in sight without scrolling"
    undo.click()
    settled(page, "the logbook keeps it")
    look(page, "undone")
    assert len(readings(own)) == 4
    page.get_by_role("button", name="Bring it back").click()
    settled(page, "on record again")
    assert readings(own)["rest_v"].iloc[-1] == 12.1

    move(page, "/correct?unit=X-1", "Save correction")
    look(page, "correct-phone")
    field(page, "Rest volts, V", "12,4")
    field(page, "Why it is corrected", "misread")
    page.get_by_role("button", name="Save correction").click()
    settled(page, "the old values stay on record")
    assert readings(own)["rest_v"].iloc[-1] == 12.4
    page.get_by_role("button", name="Undo").click()
    settled(page, "the logbook keeps it")
    assert readings(own)["rest_v"].iloc[-1] == 12.1

    look(page, "corrected")
    page.set_viewport_size(DESK)  # type: ignore[arg-type]
    move(page, "/logbook?unit_is=X-1", "Undo this change")
    look(page, "logbook")
    move(page, "/correct?unit=X-1&what=decision", "no decision of this vehicle")
    look(page, "correct")


@pytest.mark.nightly
def test_a_list_is_issued_again(own: Path, address: str, opened: Opened) -> None:
    page = opened(address)
    settled(page, "No climate is known of yard", first=True)
    look(page, "assumed")
    page.get_by_role("button", name="Issue this list again").click()
    field(page, "Why it is issued again", "a reading was missing")
    look(page, "again")
    page.get_by_role("button", name="Issue again").click()
    settled(page, "Issued again on")
    page.get_by_role("combobox", name="Issued").wait_for()
    look(page, "issued-again")
    db = store.open_database(own)
    assert list(list_versions(db, iso_week(TODAY))) == [2, 1]
    db.conn.close()


@pytest.mark.nightly
def test_set_aside_rows_and_descriptions_come_without_a_highlighter(own: Path, address: str, browser: Browser) -> None:
    """Pages of kept texts come without what they do not need; truth: what the browser asks for, and the rows brought in."""
    lines = [f"X-1,2026-09-01T{hour:02d}:00:00,126,{'a long remark ' * 20}" for hour in range(20)]
    wrong = own.with_name("wrong.csv")
    wrong.write_text("\n".join(["unit,taken_at,rest_v,note", *lines, ""]))
    db = store.open_database(own)
    assert import_paths(db, [wrong], now=dt.datetime(2026, 11, 30, 5)).set_aside == 20
    save_source(db, "hill", DESCRIBED)
    db.conn.close()
    page = browser.new_context(viewport=PHONE).new_page()  # type: ignore[arg-type]
    answers: list[tuple[str, int]] = []
    page.on("response", lambda one: answers.append((one.url, int(one.headers.get("content-length") or 0))))
    page.goto(f"{address}/set_aside")
    settled(page, "Take the row in", first=True)
    settled(page, "X-1,2026-09-01T00:00:00,126,a long remark")
    no_sideways_scroll(page)
    move(page, "/files", "Bring in files")
    page.get_by_role("tab", name="Descriptions on record").click()
    settled(page, '"Ruhe V" = "rest_v"')
    no_sideways_scroll(page)
    page.wait_for_load_state("networkidle")
    # the program's own first file is one for all pages
    late = [one for one in answers if "/index." not in one[0]]
    assert not [url for url, _ in late if "yntaxHighlighter" in url]
    assert max(size for _, size in late) < LARGEST_ANSWER
