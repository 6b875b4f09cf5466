"""Make the README's pictures from the real screens on the demo: python tests/make_screenshots.py [DATABASE]."""

from __future__ import annotations

import datetime as dt
import sys
import tempfile
from pathlib import Path

from browser_screens import CHROMIUM, FLAGS, READY, box_of, field, server, settled
from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

from analysis.plan.workshop_calendar import iso_week
from dashboard.desk import weekly
from dashboard.desk.planning import make_plan
from demo_fleet.export import export_fleet
from demo_fleet.scenario import AS_OF, demo_operator
from ingest import store
from ingest.importer import import_paths

PICTURES = Path(__file__).parents[1] / "dashboard" / "pictures"
LARGEST_BYTES = 150_000
COLOURS = 96  # colours of a picture, so that it stays small; our choice
DESK, PHONE = {"width": 1280, "height": 860}, {"width": 390, "height": 844}
SEVEN_DAYS = dt.timedelta(days=7)


def demo_database(folder: Path) -> Path:
    """The demo with two weekly lists and a plan issued."""
    export_fleet(demo_operator(), folder / "files", weekly_hours=True)
    db = store.open_database(folder / "demo.db")
    import_paths(db, [folder / "files"], now=dt.datetime.combine(AS_OF, dt.time(6)))
    for day in (AS_OF - SEVEN_DAYS, AS_OF):
        weekly.issue_for(db, day, by="fleet office", now=dt.datetime.combine(day, dt.time(6)))
    make_plan(db, as_of=AS_OF, by="planner", now=dt.datetime.combine(AS_OF, dt.time(7)))
    db.conn.close()
    return folder / "demo.db"


def keep(page: Page, name: str) -> None:
    """Save what the window shows, with few colours."""
    page.wait_for_selector(READY)
    page.wait_for_timeout(1500)
    path = PICTURES / f"{name}.png"
    page.screenshot(path=path)
    with Image.open(path) as picture:
        picture.convert("RGB").quantize(COLOURS).save(path, optimize=True)
    size = path.stat().st_size
    if size > LARGEST_BYTES:
        raise SystemExit(f"{path} has {size} bytes; allowed are {LARGEST_BYTES}")


def window(browser: Browser, address: str, size: dict[str, int], theme: str) -> Page:
    """A fresh window on one page."""
    page = browser.new_context(viewport=size, color_scheme=theme).new_page()  # type: ignore[arg-type]
    page.goto(address)
    settled(page, first=True)
    return page


def pictures(browser: Browser, address: str, database: Path) -> None:
    """The list, a vehicle, the bay on a phone, the fleet and the plan."""
    db = store.open_database(database)
    issued = weekly.read_weekly_list(db, iso_week(AS_OF))
    db.conn.close()
    if issued is None:
        raise SystemExit(f"{database} has no list for {iso_week(AS_OF)}")
    unit = issued.body["units"][1]["unit"]
    page = window(browser, address, DESK, "light")
    settled(page, "need attention")
    keep(page, "weekly-list")
    page = window(browser, f"{address}/unit?unit={unit}", DESK, "light")
    settled(page, "Every part")
    page.get_by_text("Part over time").scroll_into_view_if_needed()
    page.mouse.move(700, 400)
    page.mouse.wheel(0, 480)
    keep(page, "vehicle")
    page = window(browser, f"{address}/bay?unit=K-109", PHONE, "light")
    settled(page, "wheels chocked")
    keep(page, "bay-cautions")
    for name, value in (
        ("Air at the vehicle, °C", "4"),
        ("Rest volts, V", "12,63"),
        ("Lowest volts while cranking, V", "11,7"),
        ("Steady amps while cranking, A", "221"),
        ("Drop, ground path, V", "2,91"),
    ):
        field(page, name, value)
    settled(page, "Measure next")
    box_of(page, "Drop, ground path, V").evaluate("box => box.scrollIntoView({ block: 'center' })")
    keep(page, "bay-check")
    page = window(browser, f"{address}/fleet", DESK, "dark")
    settled(page, "What the coming cold would do")
    keep(page, "fleet-dark")
    page = window(browser, f"{address}/plan", DESK, "light")
    settled(page, "visits")
    keep(page, "plan")


def main(arguments: list[str]) -> None:
    """Make every picture."""
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        database = Path(arguments[0]) if arguments else demo_database(Path(folder))
        with server(database, AS_OF.isoformat()) as address, sync_playwright() as play:
            browser = play.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
            pictures(browser, address, database)
            browser.close()


if __name__ == "__main__":
    main(sys.argv[1:])
