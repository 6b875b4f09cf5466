"""The technician's phone in Chromium: what is in sight, where it is said, what is asked only once.

Truth: what the test itself typed, read back from the database; boxes as the browser lays them out at 390 x 844.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import pytest
from samples_screens import one_reading_database

from ingest import store
from ingest.entries import record_reading
from ingest.importer import import_paths

playwright_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
from browser_screens import (  # noqa: E402
    CHROMIUM,
    PATIENCE_MS,
    PHONE,
    TALL,
    after,
    box_of,
    faint,
    field,
    move,
    no_sideways_scroll,
    server,
    settled,
)
from playwright.sync_api import Locator, Page  # noqa: E402

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not CHROMIUM, reason="Chromium is not installed (apt-get install chromium)"),
]
GROUND = "Drop, ground path, V"
NAME = "Your name, asked once on this device"


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """One vehicle with a steady ground drop, and one that failed to start, which brings it to the list."""
    path, units = one_reading_database(tmp_path / "one.db"), tmp_path / "units.csv"
    units.write_text("unit,vehicle_class,system_v,fuel,depot\nX-2,van,12,diesel,yard\n")
    db = store.open_database(path)
    import_paths(db, [units], now=dt.datetime(2026, 11, 30, 5))
    failed = {"unit": "X-2", "taken_at": "2026-11-28T07:00", "outcome": "no_start"}
    assert record_reading(db, failed, by="test", now=dt.datetime(2026, 11, 30, 5)).stored
    for day in (10, 12, 14):
        values = {"unit": "X-1", "taken_at": f"2026-11-{day}T07:00", "rest_v": 12.6, "drop_ground_v": 0.1}
        assert record_reading(db, values, by="test", now=dt.datetime(2026, 11, 30, 5)).stored
    db.conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.conn.close()
    return path


def span(found: Locator) -> tuple[float, float]:
    """Top and bottom on the screen [px]."""
    box = found.bounding_box()
    assert box is not None
    return box["y"], box["y"] + box["height"]


def in_sight(page: Page, text: str) -> tuple[float, float]:
    """Where `text` stands, which is on the screen without scrolling."""
    top, bottom = span(page.get_by_text(text).first)
    assert 0 <= top < bottom <= PHONE["height"], (text, top, bottom)
    return top, bottom


def test_the_phone_in_the_bay(own: Path, here: tuple[str, str], opened: Callable[..., Page]) -> None:
    with server(own, "2026-11-30", quick=here) as address:
        page = opened(f"{address}/bay?unit=X-1", PHONE, new=True)
        settled(page, "wheels chocked", first=True)
        in_sight(page, "electric traction systems")
        bar = page.locator(".st-key-savebar")
        assert span(box_of(page, "Air at the vehicle, °C"))[1] <= span(bar)[0], (
            "the first field is in the first screenful"
        )
        below = span(box_of(page, "Rest volts, V"))
        field(page, NAME, "Ann of the bay")
        assert span(box_of(page, "Rest volts, V")) == below, "nothing moves under the finger that leaves the box"

        for name, text in (("Rest volts, V", "12,6"), ("Steady amps while cranking, A", "200"), (GROUND, "1,02")):
            field(page, name, text)
        settled(page, "about ten times that")
        said = span(page.get_by_text("doubtful:").first)
        assert 0 <= said[0] - span(box_of(page, GROUND))[1] < 160, "the verdict stands under the field just typed"
        save = page.get_by_role("button", name="Save reading")
        assert span(save)[1] <= PHONE["height"]
        next_words = page.locator(".st-key-savebar").get_by_text("Measure next")
        assert 0 <= span(save)[0] - span(next_words)[1] < 60, "the summary is one glance from Save"

        after(page, page.get_by_text("Measured twice, it is right").click)
        page.get_by_text("about ten times that").wait_for(state="detached")
        said = span(page.get_by_text("outside its limit:").first)
        assert 0 <= said[0] - span(box_of(page, GROUND))[1] < 60
        page.reload()
        settled(page, "Measured twice", first=True)
        assert page.get_by_role("checkbox", name="Measured twice, it is right").is_checked()
        no_sideways_scroll(page)
        pictures_by_keyboard(page)

        save.click()
        settled(page, "reading saved")
        in_sight(page, "reading saved, measured by Ann of the bay")
        in_sight(page, "Correct a value")
        db = store.open_database(own)
        last = store.read_readings(db, units=["X-1"]).iloc[-1]
        db.conn.close()
        assert (last["drop_ground_v"], last["doubtful"], last["confirmed"]) == (1.02, "", "drop_ground_v")
        assert last["technician"] == "Ann of the bay"

        page.goto(f"{address}/bay?unit=X-1")
        settled(page, "Ann of the bay", first=True)
        assert box_of(page, NAME).count() == 0, "the name is asked once on a device"
        in_sight(page, "In neutral, wheels chocked")
        assert not page.get_by_text("electric traction systems").first.is_visible(), "one line after the first time"
        page.get_by_text("In neutral, wheels chocked").first.click()
        page.get_by_text("electric traction systems").first.wait_for()
        at_a_desk_in_both_themes(page)


def at_a_desk_in_both_themes(page: Page) -> None:
    """Bay, vehicle with its charts drawn, and list, no wider than the window; every text and edge in light and dark (`faint`)."""
    page.set_viewport_size(TALL)  # type: ignore[arg-type]
    light, dark, grounds = "light", "dark", set[str]()
    short = faint(page, (light, dark), grounds)
    for to, text, schemes in (("/unit?unit=X-1", "Every part", (dark, light)), ("/", "need", (light, dark))):
        move(page, to, text)
        no_sideways_scroll(page)
        drawn = "[data-testid=stVegaLiteChart] .marks" if "unit" in to else "[class*=st-key-row-] a"
        page.locator(drawn).first.wait_for(timeout=PATIENCE_MS)
        short += faint(page, schemes, grounds)
    assert len(grounds) == 2, grounds
    assert not short, "\n".join(short)


def pictures_by_keyboard(page: Page) -> None:
    """Where the leads go for the field at hand, where the volts go, and the numbers behind it, without a mouse."""
    leads = page.locator("summary").filter(has_text="Where the two leads go")
    leads.focus()
    page.keyboard.press("Enter")
    lowest = page.get_by_role(
        "img", name="Red lead at the battery's positive post, black lead at the battery's negative post"
    )
    lowest.wait_for()
    assert "while cranking" in (lowest.get_attribute("aria-label") or ""), "rest volts are typed: the lowest come next"
    field(page, "Lowest volts while cranking, V", "10.1")
    page.locator(".ct-volts").get_by_role("img", name="This reading").wait_for()
    behind = page.locator(".ct-volts summary")
    behind.focus()
    page.keyboard.press("Enter")
    page.locator(".ct-volts td").filter(has_text="rest of the circuit").first.wait_for()
    no_sideways_scroll(page)
