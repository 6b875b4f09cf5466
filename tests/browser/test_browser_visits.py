"""The visits in Chromium, start to finish, each at 1280 and at 390 px, one in the light and one in the dark.

Truth: the small fleet's own list, and what the test itself typed, read back from the database.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from urllib.parse import urlparse

import pandas as pd
import pytest
from samples_screens import AS_OF, assessed, fleet_database

from analysis.plan.workshop_calendar import iso_week
from dashboard.desk import weekly
from dashboard.desk.addresses import visit_address
from dashboard.desk.planning import load_plan
from dashboard.desk.work_orders import chosen_visits
from dashboard.words.every_page import NEWER_THERE
from dashboard.words.plain_text import week_and_monday
from ingest import store
from ingest.entries import record_reading
from ingest.records import save_decision
from ingest.visits import read_visits

playwright_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
from browser_screens import (  # noqa: E402
    CHROMIUM,
    DESK,
    PATIENCE_MS,
    PHONE,
    after,
    box_of,
    field,
    go,
    move,
    no_sideways_scroll,
    server,
    settled,
)
from playwright.sync_api import Locator, Page, expect  # noqa: E402
from playwright.sync_api import TimeoutError as PlaywrightTimeout  # noqa: E402

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(not CHROMIUM, reason="Chromium is not installed (apt-get install chromium)"),
]
NEXT_MONDAY = AS_OF + dt.timedelta(days=7)
FOREIGN = """Sheet of the hill depot;;;;;
Vehicle no.;Date;Rest volts;Cranking volts;Cranking amps;Ground drop mV
{one};17.11.2026;12,71;11,52;224;95
{other};19.11.2026;12,66;11,48;231;102
"""
Opened = Callable[..., Page]


def of_12_v(place: int) -> str:
    """A vehicle of 12 V that is not on the list, the same at every call."""
    units = assessed().units
    return str(units[~units["flagged"] & (units["system_v"] == 12)]["unit"].sort_values().iloc[place])


@pytest.mark.nightly  # by day test_views.py postpones, and the vehicle's page is opened by test_browser_contrast.py
@pytest.mark.parametrize(
    ("size", "theme"), [pytest.param(DESK, "light", id="desk"), pytest.param(PHONE, "dark", id="phone")]
)
def test_a_manager_reads_prints_and_postpones(address: str, opened: Opened, size: dict[str, int], theme: str) -> None:
    """Open the list, print it, open the first vehicle that nothing is decided about, postpone it."""
    page = opened(address, size, theme)
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
    why = box_of(page, "Why")
    why.fill("waits for the part")
    why.press("Enter")  # a step to the next field would open its calendar over the button
    page.get_by_test_id("stPopoverBody").get_by_role("button", name="Postpone").click()
    settled(page, "Postponed on")
    no_sideways_scroll(page)


def choose(page: Page, box: str, option: Locator) -> None:
    """Open a box and take one of its options; fresher figures draw the page again, which shuts what was just opened."""
    for _ in range(5):
        page.get_by_role("combobox", name=box, exact=True).click()
        with suppress(PlaywrightTimeout):
            option.click(timeout=5_000)
            return
    raise AssertionError(page.get_by_role("option").all_inner_texts())


@pytest.mark.parametrize(
    ("size", "theme", "later"),
    [
        pytest.param(DESK, "dark", "2026-W52", id="desk", marks=pytest.mark.nightly),
        pytest.param(PHONE, "light", "2026-W51", id="phone", marks=pytest.mark.nightly),
    ],
)
def test_a_planner_moves_a_visit(
    fleet: Path, address: str, opened: Opened, size: dict[str, int], theme: str, later: str
) -> None:
    """Try a visit in a later week, see what that costs, move it; the new version keeps it there."""
    page = opened(f"{address}/plan", size, theme)
    settled(page, "no-starts avoided")
    page.get_by_role("tab", name="Move a visit").click()
    settled(page, "It is to")
    choose(page, "Visit", page.get_by_role("option").first)
    choose(page, "Week", page.get_by_role("option", name=later))
    tried = f"in {week_and_monday(later)}: costs"
    settled(page, tried)
    said = page.get_by_text(tried).first.inner_text()
    unit = said.split()[0]
    field(page, "Why", "the bay is taken")
    page.get_by_role("button", name="Move it").click()
    settled(page, f"{unit} fixed to {later}")
    db = store.open_database(fleet)
    plan = load_plan(db)
    db.conn.close()
    assert plan is not None
    settled(page, f"Version {plan.version}, {plan.weeks} weeks")
    no_sideways_scroll(page)
    assert plan.visits.set_index("unit").loc[unit, "iso_week"] == later


@pytest.mark.parametrize(
    ("size", "theme", "place", "drops"),
    [
        pytest.param(PHONE, "dark", 0, "V", id="phone", marks=pytest.mark.nightly),
        pytest.param(DESK, "light", 1, "mV", id="desk", marks=pytest.mark.nightly),
    ],
)
def test_a_technician_measures(
    fleet: Path, address: str, opened: Opened, size: dict[str, int], theme: str, place: int, drops: str
) -> None:
    """Find a vehicle by part of its number, slip, mend, reload, save, correct; drops and clamp in V and A, or both in mV."""
    page, unit = opened(f"{address}/bay", size, theme), of_12_v(place)
    settled(page, "Measure", first=True)
    drop, typed = f"Drop, ground path, {drops}", {"V": "2,91", "mV": "2910"}[drops]
    page.get_by_role("textbox", name="Vehicle", exact=True).fill(unit[-3:])
    page.get_by_role("button", name=unit).click()
    settled(page, "wheels chocked")
    if drops == "mV":  # two are enough of this vehicle: the others are folded away
        page.get_by_text("The rest, in the order of the work").click()
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
    db = store.open_database(fleet)
    last = store.read_readings(db, units=[unit]).iloc[-1]
    assert (last["rest_v"], last["crank_a"], last["drop_ground_v"]) == (12.63, 221.0, 2.91)
    page.get_by_role("link", name="Correct a value").click()
    settled(page, "Save correction")
    field(page, "Drop, ground path, V", "2.81")
    field(page, "Why it is corrected", "misread")
    page.get_by_role("button", name="Save correction").click()
    settled(page, "Corrected; the old values stay on record")
    assert store.read_readings(db, units=[unit]).iloc[-1]["drop_ground_v"] == 2.81
    old = db.execute("SELECT old_value FROM audit WHERE column_name = 'drop_ground_v' ORDER BY id DESC").fetchone()
    assert float(old[0]) == 2.91
    db.conn.close()
    no_sideways_scroll(page)


@pytest.mark.nightly
def test_the_screens_that_no_visit_opens(address: str, opened: Opened) -> None:
    """On the phone: no error, no sideways scroll; `test_browser_contrast.py` opens every page at the desk.

    A vehicle is found by part of its number. Saving a reading on the phone, and putting it right, are in
    `test_browser_bay.py` and `test_browser_records.py`, moving a visit in `test_plan_views.py`; whole visits come by night.
    """
    page, unit = opened(f"{address}/plan", PHONE, "dark", new=True), of_12_v(0)  # its margin will be left unfolded
    settled(page, "no-starts avoided", first=True)
    page.get_by_role("tab", name="Move a visit").click()
    settled(page, "It is to")
    no_sideways_scroll(page)
    move(page, "/bay", "Measure")
    page.get_by_role("textbox", name="Vehicle", exact=True).fill(unit[-3:])
    page.get_by_role("button", name=unit).click()
    settled(page, "wheels chocked")
    no_sideways_scroll(page)
    move(page, "/set_aside", "Rows to put right")
    no_sideways_scroll(page)
    for title in ("Settings", "Fleet"):
        go(page, title)
        settled(page, "What the coming cold would do" if title == "Fleet" else "")
        no_sideways_scroll(page)


@pytest.mark.nightly
def test_an_office_brings_in_a_foreign_file(fleet: Path, address: str, opened: Opened) -> None:
    """A file with headings of its own: described on screen, checked against its first rows, saved, brought in."""
    page, one, other = opened(f"{address}/files", PHONE, "light"), of_12_v(2), of_12_v(3)
    file = fleet.with_name("hill.csv")
    file.write_text(FOREIGN.format(one=one, other=other), encoding="utf-8")
    settled(page, "Bring in files", first=True)
    page.get_by_role("tab", name="Describe a file").click()
    page.locator(".st-key-describe_file input[type=file]").set_input_files(file)
    settled(page, "First rows as they would be read")
    page.get_by_text("The description as text").click()
    described = page.get_by_role("textbox", name="Description")
    expect(described).to_have_value(
        re.compile('date_order = "day-first"'), timeout=PATIENCE_MS
    )  # it opens a moment later
    field(page, "Save as", "hill depot")
    page.get_by_role("button", name="Save description").click()
    settled(page, "Files with these headings are read by it from now on")
    no_sideways_scroll(page)
    after(page, page.get_by_role("tab", name="Bring in files").click)
    settled(page, "A file may come twice")  # the tab draws the page again, which would drop a file given before
    page.locator("input[type=file]").first.set_input_files(file)
    page.get_by_role("button", name="Bring in", exact=True).click()
    settled(page, "2 stored")
    db = store.open_database(fleet)
    read = store.read_readings(db, units=[other]).set_index("taken_at").loc[pd.Timestamp("2026-11-19")]
    db.conn.close()
    assert (read["rest_v"], read["crank_a"]) == (12.66, 231.0)
    assert read["drop_ground_v"] == pytest.approx(0.102)


@pytest.mark.nightly
def test_a_visit_is_reported_where_the_code_on_its_sheet_leads(fleet: Path, address: str, opened: Opened) -> None:
    """On the phone: one form, clicked twice, is one report; it closes the visit, and is taken back with one click.

    By day `test_visit_views.py` fills in the form, `test_overtaken.py` clicks twice, `test_work_orders.py` reads the code, and
    `test_browser_contrast.py` opens the page.
    """
    db = store.open_database(fleet)
    plan = load_plan(db)
    assert plan is not None
    visit = next(v for v in chosen_visits(plan)[::-1] if v["kind"] == "replace")
    units = store.read_units(db).set_index("unit")
    page = opened(visit_address(address, visit["unit"], visit["uid"]), PHONE, "dark")
    settled(page, "What did you find?", first=True)
    after(page, lambda: field(page, "Done by, your name", "anna"))
    page.get_by_text("worn or faulty").click()
    settled(page, "Save: the visit is done")
    page.get_by_text("replaced", exact=True).click()
    settled(page, "On which parts")
    volts = "25.3" if units.at[visit["unit"], "system_v"] == 24 else "12.7"
    after(page, lambda: field(page, "Rest volts, V", volts))
    no_sideways_scroll(page)
    page.get_by_role("button", name="Save: the visit is done").dblclick()
    settled(page, "The visit is closed")
    assert page.get_by_text("Visit closed on").count() == 1
    no_sideways_scroll(page)
    assert read_visits(db)[["uid", "found", "by"]].to_numpy().tolist() == [[visit["uid"], "worn", "anna"]]
    page.get_by_role("button", name="Undo").click()
    settled(page, "What did you find?")
    assert read_visits(db).empty
    db.conn.close()


def nothing_typed_is_lost_to_fresher_figures(page: Page, path: Path) -> None:
    """A box opened over a list that is being judged anew stays with what is typed in it; the list follows once it is shut."""
    db = store.open_database(path)
    values = {"unit": of_12_v(0), "taken_at": f"{AS_OF}T07:00", "rest_v": 12.6}
    assert record_reading(db, values, by="test", now=dt.datetime.combine(NEXT_MONDAY, dt.time(5))).stored
    db.conn.close()
    page.get_by_role("button", name="Decide on").first.click()
    page.get_by_role("button", name="Postpone …").click()
    why = box_of(page, "Why")
    why.press_sequentially("waits for the p")
    page.get_by_text(NEWER_THERE).wait_for(timeout=PATIENCE_MS)
    page.wait_for_timeout(1_500)  # longer than a page waits that nobody is at work on
    why.press_sequentially("art")
    assert why.input_value() == "waits for the part"
    for _ in range(2):  # what is asked, then the box around it
        page.keyboard.press("Escape")
    page.get_by_role("dialog").wait_for(state="detached")
    page.get_by_text(NEWER_THERE).wait_for(state="detached")
    settled(page)


@pytest.mark.nightly
def test_a_new_monday(opened: Opened, tmp_path: Path) -> None:
    """The page opens on last week's list while this week's is worked out, and goes on to it without a touch; what was
    postponed stands apart with its reason; the list is issued under the name typed last thing before the press."""
    path, this_week = fleet_database(tmp_path / "fleet.db"), iso_week(NEXT_MONDAY)
    db = store.open_database(path)
    weekly.issue(db, assessed(), now=dt.datetime.combine(AS_OF, dt.time(6)))
    for unit in assessed().units["unit"].iloc[:2]:
        save_decision(
            db, unit=unit, iso_week=iso_week(AS_OF), kind="postponed", reason="waits for the part",
            until=NEXT_MONDAY + dt.timedelta(days=14), by="m", now=dt.datetime.combine(AS_OF, dt.time(7)),
        )  # fmt: skip
    db.conn.close()
    with server(path, NEXT_MONDAY.isoformat()) as address:
        page = opened(address, PHONE, "light")
        page.get_by_text(f"{this_week}, with everything known before").wait_for(timeout=PATIENCE_MS)
        settled(page, "Postponed or looked at (2)")
        assert page.get_by_role("combobox", name="Week").input_value() == this_week
        assert not urlparse(page.url).query, "the newest list needs no mention"
        assert page.get_by_text("waits for the part").count() == 2
        no_sideways_scroll(page)
        nothing_typed_is_lost_to_fresher_figures(page, path)
        page.get_by_text(f"The list of {this_week} is not issued").wait_for()
        box_of(page, "Issued by, your name").fill("Anna")
        page.get_by_role("button", name=f"Issue the list of {this_week}").click()  # at once
        settled(page, f"The list of {this_week} is issued.")
        assert page.get_by_text("Issued by Anna").is_visible()
        no_sideways_scroll(page)
        page.get_by_role("tab", name="Gone since").click()
        settled(page)
