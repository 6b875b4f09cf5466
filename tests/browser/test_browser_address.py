"""Addresses in Chromium: what is chosen lives in the address; every page has one; back, reload and a shared link hold.

Truth: the simulated fleet's own list, read from the database; the order of a column worked out by Python's sort.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from urllib.parse import parse_qs, quote, urlsplit

import pytest
from samples_screens import AS_OF, assessed

from analysis.plan.workshop_calendar import iso_week

playwright_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
from browser_screens import CHROMIUM, after, go, move, settled  # noqa: E402
from playwright.sync_api import Page  # noqa: E402

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(not CHROMIUM, reason="Chromium is not installed (apt-get install chromium)"),
]
WEEKS = [AS_OF - dt.timedelta(days=14), AS_OF - dt.timedelta(days=7)]
ROWS = "[class*=st-key-row-] [data-testid=stPageLink] a"
PLACE = "document.querySelector('[data-testid=stMain]').scrollTop"
Opened = Callable[..., Page]


def asked(page: Page) -> dict[str, list[str]]:
    """What the address asks for."""
    return parse_qs(urlsplit(page.url).query)


def listed(page: Page) -> list[str]:
    """The vehicles of the list in the order shown, each as "rank number"."""
    settled(page)
    return [row.inner_text() for row in page.locator(ROWS).all()]


def listed_when(page: Page, holds: Callable[[list[str]], bool]) -> list[str]:
    """The rows as soon as `holds` is true of them, or as they are after ten seconds."""
    for _ in range(40):
        if holds(rows := listed(page)):
            return rows
        page.wait_for_timeout(250)
    return rows


def numbers_of(rows: list[str]) -> list[str]:
    """The vehicles' numbers of rows as shown."""
    return [row.split()[-1] for row in rows]


@pytest.mark.nightly
def test_what_is_chosen_lives_in_the_address(opened: Opened, address: str) -> None:
    """Week, filter, order and tab: a reload and the same address in another browser show the same."""
    page = opened(address)
    settled(page, "need attention", first=True)
    earlier = iso_week(WEEKS[0])
    choose(page, "Week", earlier)
    settled(page, "This is an earlier list")
    page.get_by_test_id("stMultiSelect").filter(has_text="Part").locator("input").click()
    after(page, page.get_by_role("option", name="battery").click)
    page.keyboard.press("Escape")
    choose(page, "Order", "vehicle")
    page.wait_for_url("**order=vehicle**")
    wanted = {"week": [earlier], "part": ["battery"], "order": ["vehicle"]}
    assert asked(page) == wanted
    rows = listed_when(page, lambda rows: numbers_of(rows) == sorted(numbers_of(rows)))
    assert len(rows) > 2
    page.reload()
    settled(page, "This is an earlier list", first=True)
    assert listed_when(page, lambda again: again == rows) == rows
    assert asked(page) == wanted
    other = opened(page.url, new=True)
    settled(other, "This is an earlier list", first=True)
    assert listed_when(other, lambda again: again == rows) == rows
    assert asked(other) == wanted


def choose(page: Page, label: str, option: str) -> None:
    """Take an option of a box."""
    page.get_by_role("combobox", name=label, exact=True).click()
    after(page, page.get_by_role("option", name=option, exact=True).click)


@pytest.mark.nightly
def test_back_brings_the_list_as_it_was_left_and_reload_the_vehicle_last_chosen(opened: Opened, address: str) -> None:
    """One step back from a vehicle: the same order, the same height; forward: the same vehicle. From one vehicle's page to
    another's, found in the margin: a reload must not fall back to the first."""
    page = opened(f"{address}/?order={quote('starts down to')}")
    settled(page, "need attention", first=True)
    page.locator(ROWS).first.wait_for()  # the words above the rows come before them
    rows = listed(page)
    page.evaluate(f"{PLACE} = 500")
    link = page.locator(ROWS).nth(2)
    unit = link.inner_text().split()[-1]
    link.click()
    settled(page, "What to do")
    page.wait_for_url(f"**/unit?unit={unit}")
    left_at = page.evaluate(PLACE)
    page.go_back()
    page.locator("h1").filter(has_text="Weekly list").wait_for()
    assert listed_when(page, lambda again: again == rows) == rows
    assert asked(page) == {"order": ["starts down to"]}
    page.wait_for_function(f"Math.abs({PLACE} - 500) < 200")
    assert left_at < 200
    page.go_forward()
    page.locator("h1").filter(has_text=unit).wait_for()
    one, other = assessed().units["unit"].iloc[:2]
    move(page, f"/unit?unit={one}&as_of={WEEKS[1].isoformat()}")
    page.locator("h1").filter(has_text=one).wait_for()
    box = page.get_by_role("textbox", name="Find a vehicle")
    box.fill(other)
    box.press("Enter")
    page.get_by_test_id("stSidebar").get_by_role("link", name=other).click()
    page.wait_for_url(f"**unit={other}**")
    page.reload()
    page.locator("h1").filter(has_text=other).wait_for(timeout=60_000)
    page.go_back()
    page.locator("h1").filter(has_text=one).wait_for(timeout=60_000)
    go(page, "Logbook")


@pytest.mark.nightly
def test_the_table_sorts_chances_by_their_size(opened: Opened, address: str) -> None:
    """A click on a head of the table: under 1 % is less than 8 %, 8 % is less than 80 %."""
    page = opened(f"{address}/?list_tab={quote('Table and paper')}")
    settled(page, "need attention", first=True)
    table = page.get_by_test_id("stDataFrame").first
    table.locator("tbody tr").first.wait_for(state="attached")

    def shown() -> tuple[list[str], list[float]]:
        heads = table.locator("th").all_inner_texts()  # the one that is sorted by has an arrow before its name
        if len(heads) < len(plain):  # a head's own menu was met, and hid a column
            return heads, []
        return heads, [float(row.locator("td").nth(at).inner_text()) for row in table.locator("tbody tr").all()]

    plain = table.locator("th").all_inner_texts()
    at = plain.index("no-start")
    begun = shown()[1]
    assert len(begun) > 5

    def click(x: int) -> tuple[list[str], list[float]]:
        box = table.locator("canvas").first.bounding_box()
        assert box is not None
        before = shown()
        page.mouse.click(box["x"] + x, box["y"] + 18)
        for _ in range(10):  # drawn soon, or not so soon on a busy machine
            page.wait_for_timeout(250)
            if (now := shown()) != before:
                return now
        return before

    for x in range(385, 640, 20):  # where its head lies is not said: along the heads, until one sorts it
        heads, once = click(x)
        if once and heads[at] != plain[at]:
            assert (once, click(x)[1]) == (sorted(begun), sorted(begun, reverse=True))
            break
        page.keyboard.press("Escape")  # a head's own menu may have been met
        if not once:
            page.reload()
            table.locator("tbody tr").first.wait_for(state="attached")
    else:
        pytest.fail(f"no head sorts the chances by their size: {begun}")


def by_key(page: Page, name: str, most: int = 120) -> None:
    """Go on with the tab key until the link or button with `name` in its words has the focus."""
    for _ in range(most):
        page.keyboard.press("Tab")
        words = page.evaluate("document.activeElement.matches('a, button') ? document.activeElement.innerText : ''")
        if name in str(words):
            return
    raise AssertionError(f"{name} was not reached in {most} steps")


@pytest.mark.nightly
def test_a_list_is_visited_and_decided_on_without_a_mouse(opened: Opened, address: str) -> None:
    """Tab and Enter alone: into the first card's decision, accept it there, then on to the vehicle and to the next one."""
    page = opened(address)
    settled(page, "need attention", first=True)
    card = page.locator("[class*=st-key-row-]:has([data-testid=stPageLink])").first
    by_key(page, page.locator(ROWS).first.inner_text(), most=80)  # the rank, then the vehicle's number
    first = str(page.evaluate("document.activeElement.innerText")).split()[-1]
    by_key(page, f"Decide on {first}", most=20)
    page.keyboard.press("Enter")
    page.get_by_role("dialog").wait_for()
    by_key(page, "Accept: plan it", most=20)
    page.keyboard.press("Enter")
    settled(page, "Kept on record")
    assert "Accepted on" in card.inner_text()
    card.locator("a").first.focus()
    page.keyboard.press("Enter")
    settled(page, "Every part")
    by_key(page, "Next: ", most=60)
    page.keyboard.press("Enter")
    page.wait_for_function("name => !document.querySelector('h1')?.innerText.includes(name)", arg=first)
