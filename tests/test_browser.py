"""The three visits in Chromium on the demo, start to finish, each at 1280 and at 390 px and in both themes.

Truth: the demo's staged stories, and what the test itself typed, read back from the database.
"""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlparse

import pytest

from dashboard.desk import weekly
from dashboard.desk.assessment import assess_database
from dashboard.desk.planning import load_plan, make_plan
from demo_fleet.export import export_fleet
from demo_fleet.scenario import AS_OF, demo_operator
from ingest import store
from ingest.importer import import_paths

playwright_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
from browser_screens import CHROMIUM, FLAGS, box_of, field, go, no_sideways_scroll, server, settled  # noqa: E402
from playwright.sync_api import Browser, Page, sync_playwright  # noqa: E402

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(not CHROMIUM, reason="Chromium is not installed (apt-get install chromium)"),
]
NEXT_MONDAY = AS_OF + dt.timedelta(days=(7 - AS_OF.weekday()) % 7 or 7)
MOVED_TO = ("2026-W51", "2026-W50")
FOREIGN = """Sheet of the hill depot;;;;;
Vehicle no.;Date;Rest volts;Cranking volts;Cranking amps;Ground drop mV
K-109;17.11.2026;12,71;11,52;224;95
K-113;19.11.2026;12,66;11,48;231;102
"""
PHONE, DESK = {"width": 390, "height": 844}, {"width": 1280, "height": 900}


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's database with this week's list issued."""
    folder = tmp_path_factory.mktemp("demo")
    export_fleet(demo_operator(), folder / "files")
    db = store.open_database(folder / "demo.db")
    import_paths(db, [folder / "files"], now=dt.datetime.combine(AS_OF, dt.time(6)))
    found = assess_database(db, as_of=AS_OF)
    weekly.issue(db, found, now=dt.datetime.combine(AS_OF, dt.time(6)))
    make_plan(db, as_of=AS_OF, assessment=found, by="planner")
    db.conn.close()
    return folder / "demo.db"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as play:
        one = play.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield one
        one.close()


def open_page(browser: Browser, address: str, size: dict[str, int], theme: str, asked: list[str]) -> Page:
    """A fresh window; every address that is asked for goes to `asked`."""
    context = browser.new_context(viewport=size, color_scheme=theme, accept_downloads=True)  # type: ignore[arg-type]
    page = context.new_page()
    page.on("request", lambda request: asked.append(request.url))
    page.goto(address)
    return page


def test_three_visits(demo: Path, browser: Browser) -> None:
    asked: list[str] = []
    with server(demo, AS_OF.isoformat()) as address:
        begun = time.monotonic()
        page = open_page(browser, address, DESK, "light", asked)
        settled(page, "need attention")
        first_page_s = time.monotonic() - begun
        manager(page)
        manager(open_page(browser, address, PHONE, "dark", asked))
        # the planner comes before a new reading does, so that the vehicles are judged once
        planner(open_page(browser, f"{address}/plan", DESK, "dark", asked), demo, MOVED_TO[0])
        planner(open_page(browser, f"{address}/plan", PHONE, "light", asked), demo, MOVED_TO[1])
        technician(open_page(browser, f"{address}/bay", PHONE, "dark", asked), demo, "K-109", "V")
        technician(open_page(browser, f"{address}/bay", DESK, "light", asked), demo, "K-105", "mV")
        office(open_page(browser, f"{address}/files", PHONE, "light", asked), demo)
        other_screens(browser, address, asked)
    with server(demo, NEXT_MONDAY.isoformat()) as address:
        page = open_page(browser, address, PHONE, "light", asked)
        settled(page, f"{weekly.iso_week(NEXT_MONDAY)}")
        settled(page, "Postponed or looked at (2)")
        assert page.get_by_text("waits for the part").count() == 2
        no_sideways_scroll(page)
        page.get_by_role("tab", name="Gone since").click()
    outside = {urlparse(url).hostname for url in asked} - {"127.0.0.1", None, ""}
    assert not outside, outside
    assert first_page_s < 20.0, "the first page took far longer than the 2 s that a quiet machine needs"


def manager(page: Page) -> None:
    """Open the list, print it, open the first vehicle that nothing is decided about, postpone it."""
    settled(page, "need attention", first=True)
    no_sideways_scroll(page)
    page.get_by_role("tab", name="Table and paper").click()
    with page.expect_download() as download:
        page.get_by_role("button", name="List for printing (PDF)").click()
    assert Path(download.value.path()).read_bytes().startswith(b"%PDF")
    no_sideways_scroll(page)
    page.get_by_role("tab", name="The list").click()
    page.locator("[class*=st-key-row-] [data-testid=stPageLink] a").first.click()
    settled(page, "Every part")
    page.locator("[data-testid=stVegaLiteChart] .marks").first.wait_for(timeout=30_000)
    no_sideways_scroll(page)
    if not page.get_by_test_id("stExpandSidebarButton").is_visible():
        field(page, "Your name, for the record", "Manager")
    page.get_by_role("button", name="Postpone …").click()
    field(page, "Why", "waits for the part")
    page.get_by_test_id("stPopoverBody").get_by_role("button", name="Postpone").click()
    settled(page, "Postponed on")
    no_sideways_scroll(page)
    page.context.close()


def technician(page: Page, demo: Path, other: str, drops: str) -> None:
    """Find a vehicle by part of its number, slip, mend, reload, save, correct; drops and clamp in V and A, or both in mV."""
    settled(page, "Measure", first=True)
    drop, typed = f"Drop, ground path, {drops}", {"V": "2,91", "mV": "2910"}[drops]
    page.get_by_role("textbox", name="Vehicle", exact=True).fill(other[-3:])
    page.get_by_role("button", name=other).click()
    settled(page, "wheels chocked")
    if drops == "mV":
        page.get_by_text("Units of this meter").click()
        page.get_by_test_id("stButtonGroup").get_by_text("mV", exact=True).first.click()
        box_of(page, drop).wait_for()
        page.locator(".st-key-meter_large").get_by_text("mV", exact=True).click()
        scale = page.get_by_role("spinbutton", name="Large clamp, mV per A")
        scale.fill("10")
        scale.press("Enter")
        settled(page, "the clamp in mV at 10 mV/A")
    field(page, "Rest volts, V", "126,3")
    settled(page, "This cannot be saved as it is")
    field(page, "Rest volts, V", "12,63")
    field(
        page, *{"V": ("Steady amps while cranking, A", "221"), "mV": ("Steady amps while cranking, mV", "2210")}[drops]
    )
    field(page, drop, typed)
    settled(page, "outside its limit")
    settled(page, "Measure next")
    no_sideways_scroll(page)
    page.reload()
    settled(page, "Before you save", first=True)
    assert box_of(page, drop).input_value() == typed
    page.get_by_role("button", name="Save reading").click()
    settled(page, "reading saved")
    db = store.open_database(demo)
    last = store.read_readings(db, units=[other]).iloc[-1]
    assert (last["rest_v"], last["crank_a"], last["drop_ground_v"]) == (12.63, 221.0, 2.91)
    page.get_by_role("link", name="Correct a value").click()
    settled(page, "Save correction")
    field(page, "Drop, ground path, V", "2.81")
    field(page, "Why it is corrected", "misread")
    page.get_by_role("button", name="Save correction").click()
    settled(page, "Corrected; the old values stay on record")
    assert store.read_readings(db, units=[other]).iloc[-1]["drop_ground_v"] == 2.81
    old = db.execute("SELECT old_value FROM audit WHERE column_name = 'drop_ground_v' ORDER BY id DESC").fetchone()
    assert float(old[0]) == 2.91
    db.conn.close()
    no_sideways_scroll(page)
    page.context.close()


def planner(page: Page, demo: Path, later: str) -> None:
    """Try a visit in a later week, see what that costs, move it; the new version keeps it there."""
    settled(page, "no-starts avoided")
    page.get_by_role("tab", name="Move a visit").click()
    settled(page, "It is to")
    page.get_by_role("combobox", name="Visit", exact=True).click()
    page.get_by_role("option").filter(has_not_text=later).first.click()
    page.get_by_role("combobox", name="Week", exact=True).click()
    page.get_by_role("option", name=later).click()
    settled(page, f"in {later} costs")
    said = page.get_by_text(f"in {later} costs").first.inner_text()
    unit = said.split()[0]
    field(page, "Why", "the bay is taken")
    page.get_by_role("button", name="Move it").click()
    settled(page, f"{unit} fixed to {later}")
    db = store.open_database(demo)
    plan = load_plan(db)
    db.conn.close()
    assert plan is not None
    settled(page, f"Version {plan.version}, {plan.weeks} weeks")
    no_sideways_scroll(page)
    assert plan.visits.set_index("unit").loc[unit, "iso_week"] == later
    page.context.close()


def office(page: Page, demo: Path) -> None:
    """A file with headings of its own: described on screen, checked against its first rows, saved, brought in."""
    file = demo.with_name("hill.csv")
    file.write_text(FOREIGN, encoding="utf-8")
    settled(page, "Bring in files", first=True)
    page.get_by_role("tab", name="Describe a file").click()
    page.locator("input[type=file]").nth(1).set_input_files(file)
    settled(page, "First rows as they would be read")
    assert 'date_order = "day-first"' in page.get_by_role("textbox", name="Description").input_value()
    field(page, "Save as", "hill depot")
    page.get_by_role("button", name="Save description").click()
    settled(page, "Files with these headings are read by it from now on")
    no_sideways_scroll(page)
    page.get_by_role("tab", name="Bring in files").click()
    page.locator("input[type=file]").first.set_input_files(file)
    page.get_by_role("button", name="Bring in", exact=True).click()
    settled(page, "2 stored")
    db = store.open_database(demo)
    read = store.read_readings(db, units=["K-113"]).iloc[-1]
    db.conn.close()
    assert (str(read["taken_at"])[:10], read["rest_v"], read["crank_a"]) == ("2026-11-19", 12.66, 231.0)
    assert read["drop_ground_v"] == pytest.approx(0.102)
    page.context.close()


def other_screens(browser: Browser, address: str, asked: list[str]) -> None:
    """The screens that no visit opens: no error, no sideways scroll, at both widths, in both themes.

    The fleet comes last, because it has the lists of past months worked out meanwhile.
    """
    opened = []
    for size, theme, titles in ((PHONE, "dark", ("Settings",)), (DESK, "light", ("Settings", "Files"))):
        page = open_page(browser, f"{address}/set_aside", size, theme, asked)
        settled(page, "Set-aside rows", first=True)
        no_sideways_scroll(page)
        for title in titles:
            go(page, title)
            settled(page)
            no_sideways_scroll(page)
        opened.append(page)
    for page in opened:
        go(page, "Fleet")
        settled(page, "What the coming cold would do")
        no_sideways_scroll(page)
        page.context.close()
