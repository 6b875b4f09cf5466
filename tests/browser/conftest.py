"""One Chromium and one server on the small fleet for all of these tests; a test that needs a fleet of its own starts its own."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    from browser_screens import CHROMIUM, FLAGS
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        one = play.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield one
        one.close()


@pytest.fixture(scope="package")
def here() -> tuple[str, str]:
    """How a server is told to assess a test's own small database itself (`quick_server`)."""
    from samples_kept import folder

    return str(folder()), "here"


@pytest.fixture(scope="package")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small fleet with three weeks' lists and a plan issued."""
    from samples_screens import listed_database

    return listed_database(tmp_path_factory.mktemp("listed") / "fleet.db")


@pytest.fixture(scope="package")
def address(fleet: Path) -> Iterator[str]:
    """The screens on it."""
    from browser_screens import server
    from samples_kept import folder
    from samples_screens import AS_OF

    with server(fleet, AS_OF.isoformat(), quick=(str(folder()), "fleet")) as address:
        yield address


@pytest.fixture(scope="package")
def device(browser: Browser) -> Iterator[Callable[[int], BrowserContext]]:
    """For each width of a window one device that many tests use, so that it need not read the program's own files each time."""
    from browser_screens import CALM

    known: dict[int, BrowserContext] = {}

    def _device(width: int) -> BrowserContext:
        if width not in known:  # a device keeps whether the margin is folded away
            known[width] = browser.new_context(**CALM)
        return known[width]

    yield _device
    for one in known.values():
        one.close()


@pytest.fixture
def opened(browser: Browser, device: Callable[[int], BrowserContext]) -> Iterator[Callable[..., Page]]:
    """Opens an address in a fresh window, of a device that was never here if `new`; nothing is ever asked of another machine."""
    from browser_screens import CALM, DESK

    pages: list[Page] = []
    own: list[BrowserContext] = []
    asked: list[str] = []

    def _opened(address: str, size: dict[str, int] = DESK, theme: str = "light", *, new: bool = False) -> Page:
        if new:
            own.append(browser.new_context(**CALM))
        page = (own[-1] if new else device(size["width"])).new_page()
        pages.append(page)
        page.set_viewport_size(size)  # type: ignore[arg-type]
        page.emulate_media(color_scheme=theme)  # type: ignore[arg-type]
        page.on("request", lambda request: asked.append(request.url))
        page.goto(address)
        return page

    yield _opened
    for one in (*pages, *own):
        one.close()
    outside = {urlsplit(url).hostname for url in asked} - {"127.0.0.1", None, ""}
    assert not outside, outside
