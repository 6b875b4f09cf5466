"""Pages of kept texts in Chromium: set-aside rows and descriptions come without what they do not need.

Truth: what the browser asks for, and the rows brought in here.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from samples_screens import one_reading_database

from ingest import store
from ingest.importer import import_paths
from ingest.sources import save_source

playwright_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
from browser_screens import CHROMIUM, FLAGS, no_sideways_scroll, server, settled  # noqa: E402
from playwright.sync_api import sync_playwright  # noqa: E402

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(not CHROMIUM, reason="Chromium is not installed (apt-get install chromium)"),
]
DESCRIBED = 'date_order = "iso"\n[columns]\n"Fzg" = "unit"\n"Zeit" = "taken_at"\n"Ruhe V" = "rest_v"\n'
LARGEST_ANSWER = 1_000_000  # [byte]: the table's own parts stay below; the highlighter has half as much again


def test_set_aside_rows_and_descriptions_come_without_a_highlighter(tmp_path: Path) -> None:
    path = one_reading_database(tmp_path / "fleet.db")
    lines = [f"X-1,2026-09-01T{hour:02d}:00:00,126,{'a long remark ' * 20}" for hour in range(20)]
    (tmp_path / "wrong.csv").write_text("\n".join(["unit,taken_at,rest_v,note", *lines, ""]))
    db = store.open_database(path)
    assert import_paths(db, [tmp_path / "wrong.csv"], now=dt.datetime(2026, 11, 30, 5)).set_aside == 20
    save_source(db, "hill", DESCRIBED)
    db.conn.close()
    with server(path, "2026-11-30") as address, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        page = browser.new_context(viewport={"width": 390, "height": 844}).new_page()
        answers: list[tuple[str, int]] = []
        page.on("response", lambda one: answers.append((one.url, int(one.headers.get("content-length") or 0))))
        page.goto(f"{address}/set_aside")
        settled(page, "Take the row in", first=True)
        settled(page, "X-1,2026-09-01T00:00:00,126,a long remark")
        no_sideways_scroll(page)
        page.goto(f"{address}/files")
        settled(page, "Bring in files", first=True)
        page.get_by_role("tab", name="Descriptions on record").click()
        settled(page, '"Ruhe V" = "rest_v"')
        no_sideways_scroll(page)
        page.wait_for_load_state("networkidle")
        browser.close()
    # the program's own first file is one for all pages
    late = [one for one in answers if "/index." not in one[0]]
    assert not [url for url, _ in late if "yntaxHighlighter" in url]
    assert max(size for _, size in late) < LARGEST_ANSWER
