"""Contrast in Chromium: every page in both themes keeps WCAG 2.2 AA; the charts' colours stand out from both grounds.

Truth: the ratio of WCAG 2.2 (relative luminance), reckoned in the browser from what it really draws.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from urllib.parse import urlsplit

import pytest
from samples_screens import worst_unit

from dashboard.charts import theme

playwright_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
from browser_screens import CHROMIUM, PATIENCE_MS, TALL, faint, move, no_sideways_scroll, settled  # noqa: E402
from playwright.sync_api import Page  # noqa: E402

TOOLKIT = "[data-testid=stMainMenu], [data-testid=stElementToolbar]"
PAGES = (
    ("?part=battery", "need attention"), ("logbook", "Logbook"), ("fleet", "The last twelve months"),
    ("plan", "no-starts avoided"), ("bay?unit={unit}", "Rest volts"), ("work?unit={unit}", "What was done"),
    ("visit?unit={unit}", "Visit done"),
    ("correct?unit={unit}", "Corrections"), ("unit?unit={unit}", "Every part"),
    ("files", "Bring in"), ("set_aside", "Rows to put right"), ("settings", "Costs and rules"),
)  # fmt: skip


def luminance(colour: str) -> float:
    """Relative luminance of #RRGGBB (WCAG 2.2)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def ratio(one: str, other: str) -> float:
    """Contrast of two colours."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


COLOURS = (theme.BLUE, theme.VERMILION, theme.ORANGE, theme.GREEN, theme.PURPLE, theme.GREY)


def test_the_ratio_is_that_of_the_standard() -> None:
    """WCAG 2.2: black on white is 21 to 1; #767676 is the lightest grey that reaches 4.5 on white."""
    assert ratio("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert ratio("#767676", "#FFFFFF") > 4.5 > ratio("#777777", "#FFFFFF")


@pytest.mark.parametrize(("colour", "ground"), list(itertools.product(COLOURS, theme.GROUNDS)))
def test_lines_and_signs_of_charts_stand_out(colour: str, ground: str) -> None:
    """WCAG 1.4.11: graphics 3 to 1."""
    assert ratio(colour, ground) >= 3.0


@pytest.mark.parametrize("filled", theme.FILLED)
def test_numbers_in_filled_cells_are_read(filled: str) -> None:
    """WCAG 1.4.3: text 4.5 to 1, on the palest and on the fullest cell."""
    assert ratio(theme.INK, filled) >= 4.5


@pytest.mark.browser
@pytest.mark.slow
@pytest.mark.skipif(not CHROMIUM, reason="Chromium is not installed (apt-get install chromium)")
@pytest.mark.nightly  # by day `test_the_phone_in_the_bay` holds list, vehicle and bay to it
@pytest.mark.parametrize("pages", [PAGES[place::4] for place in range(4)], ids=lambda pages: pages[0][0])
def test_every_page_has_its_address_and_is_read_in_both_themes(
    pages: Sequence[tuple[str, str]], opened: Callable[..., Page], address: str
) -> None:
    """Each page at its own address, no wider than the window, its charts drawn, without the toolkit's menu; what is no page says so.

    Every text, every edge of a field, every head of a table; the theme is changed in the open page, as phones do at dusk."""
    page, short, grounds = opened(f"{address}/no_such_page", TALL), list[str](), set[str]()
    page.get_by_text("Page not found").wait_for(timeout=PATIENCE_MS)
    page.keyboard.press("Escape")
    page.get_by_role("dialog").wait_for(state="detached")
    settled(page, first=True)
    for (address_of, text), schemes in zip(pages, itertools.cycle((("light", "dark"), ("dark", "light")))):
        move(page, f"/{address_of.format(unit=worst_unit())}", text)
        assert urlsplit(page.url).path == f"/{address_of.partition('?')[0]}"
        no_sideways_scroll(page)
        if address_of.startswith("unit"):
            page.locator("[data-testid=stVegaLiteChart] .marks").first.wait_for(timeout=PATIENCE_MS)
        short += faint(page, schemes, grounds)  # the first is what the page before was left in
        assert not any(one.is_visible() for one in page.locator(TOOLKIT).all()), (
            f"/{address_of}: the toolkit's own menu"
        )
    assert len(grounds) == 2, grounds
    assert not short, "\n".join(short)
