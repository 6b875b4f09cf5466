"""Chromium and a server of ours, for the browser tests and for the pictures in the README."""

from __future__ import annotations

import os
import re
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Locator, Page

from dashboard.words.bay_words import THE_REST

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or ""
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-extensions",
    "--disable-component-update",
    "--disable-sync",
    # no page stays long enough for its scripts to be compiled to the utmost, or for its memory to matter [MB]
    "--js-flags=--no-opt --no-maglev --min-semi-space-size=32 --max-semi-space-size=64",
    # the lists below an address line, a process of its own for every window; the rest is what playwright asks for, which
    # is not heard beside ours
    "--disable-features=WebUIOmniboxPopup,WebUIOmniboxAimPopup,AvoidUnnecessaryBeforeUnloadCheckSync,"
    "DestroyProfileOnBrowserClose,HttpsUpgrades,LensOverlay,MediaRouter,PaintHolding,OptimizationHints,"
    "NetworkTimeServiceQuerying,AimEnabled,PreconnectToSearch",
)
QUICK = str(Path(__file__).with_name("quick_server.py"))
CALM = {"reduced_motion": "reduce"}  # nothing is drawn sixty times a second while a page waits
PHONE, DESK = {"width": 390, "height": 844}, {"width": 1280, "height": 900}  # [px]
TALL = {"width": 1280, "height": 4000}  # nothing is below the window, so that all of a page is measured
CONTRAST = Path(__file__).with_name("browser") / "contrast.js"
GROUND = "getComputedStyle(document.querySelector('[data-testid=stApp]')).backgroundColor"
READY = "[data-testid=stApp][data-test-script-state=notRunning]"
# Counts what the page asks its server to draw, and what of it the server has begun: a press is answered a moment later,
# in which the page still says that nothing runs.  0x5A opens a message that asks for a run (its field 11, length-delimited).
WATCH = """() => {
  if (window.drawings) return;
  const drawings = window.drawings = { asked: 0, begun: 0, changed: 0 };
  const send = WebSocket.prototype.send;
  WebSocket.prototype.send = function (data) {
    if (new Uint8Array(data.buffer ?? data)[data.byteOffset ?? 0] === 0x5A) {
      drawings.asked += 1; drawings.changed = performance.now();
    }
    return send.call(this, data);
  };
  const app = document.querySelector("[data-testid=stApp]");
  new MutationObserver(() => {
    if (app.dataset.testScriptState === "running") drawings.begun = drawings.asked;
    drawings.changed = performance.now();
  }).observe(app, { attributeFilter: ["data-test-script-state"] });
}"""
# One run may take up the next without the page seeing a pause: then it has to have been still for a while.
DRAWN = """before => drawings.asked > before && document.querySelector("READY")
  && (drawings.begun >= drawings.asked || performance.now() - drawings.changed > 1500)""".replace("READY", READY)
PATIENCE_MS = 120_000  # the machine may be busy, and the vehicles are judged while a test waits


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


@contextmanager
def server(database: Path, today: str, *words: str, port: int = 0, quick: Sequence[str] = ()) -> Iterator[str]:
    """The screens on `database` on the day `today`, started with `words`; gives the address, stops its own process at the end.

    quick: the first arguments of `quick_server`, which then serves them.
    """
    port = port or free_port()
    command = [
        sys.executable,
        *([QUICK, *quick] if quick else ["-m", "dashboard.cli.main"]),
        "--db",
        str(database),
        "dashboard",
        "--port",
        str(port),
        *words,
    ]
    surroundings = {**os.environ, "CRANKTREND_TODAY": today}
    address = f"http://127.0.0.1:{port}"
    log = database.with_suffix(f".{port}.log")
    with log.open("wb") as out, subprocess.Popen(command, env=surroundings, stdout=out, stderr=out) as process:
        try:
            wait_for(address + "/_stcore/health", process)
            yield address
        finally:
            process.terminate()
            process.wait(timeout=20)


def wait_for(address: str, process: subprocess.Popen[bytes]) -> None:
    """Wait until the server answers."""
    until = time.monotonic() + PATIENCE_MS / 1000
    while time.monotonic() < until:
        if process.poll() is not None:
            raise RuntimeError(f"the server ended with {process.returncode}")
        try:
            with urllib.request.urlopen(address, timeout=2):
                return
        except OSError:
            time.sleep(0.1)
    raise RuntimeError("the server did not answer")


def settled(page: Page, text: str = "", *, first: bool = False) -> None:
    """Wait until the script has run, and until `text` stands on the page.

    first: the page was just opened, so that the browser tells its number and the script runs a second time.
    """
    if first:
        page.wait_for_selector("body[data-device-known=yes]", state="attached", timeout=PATIENCE_MS)
    if text:
        page.get_by_text(text).first.wait_for(timeout=PATIENCE_MS)
    page.wait_for_selector(READY, timeout=PATIENCE_MS)
    assert not page.query_selector_all("[data-testid=stException]")


def after(page: Page, act: Callable[[], object]) -> None:
    """Do something that has the page drawn again, and wait until that is done; `settled` alone may look too early."""
    page.evaluate(WATCH)
    before = page.evaluate("drawings.asked")
    act()
    page.wait_for_function(DRAWN, arg=before, timeout=PATIENCE_MS)
    settled(page)


def move(page: Page, address: str, text: str = "") -> None:
    """Go to an address in the open page, as a step back or forward does: the browser does not load everything anew."""
    after(
        page,
        lambda: page.evaluate(
            "to => { history.pushState({}, '', to); dispatchEvent(new PopStateEvent('popstate')); }", address
        ),
    )
    settled(page, text)


def go(page: Page, title: str) -> None:
    """Choose a page in the margin, which a phone has folded away."""
    link = page.get_by_test_id("stSidebarNavLink").filter(has=page.get_by_text(title, exact=True))
    expand = page.get_by_test_id("stExpandSidebarButton")
    if expand.is_visible():
        expand.click()
    link.click()
    page.locator("h1").filter(has_text=title).wait_for(timeout=PATIENCE_MS)


def no_sideways_scroll(page: Page) -> None:
    """The page is no wider than the window."""
    wide = page.evaluate(
        "[document.documentElement.scrollWidth, document.querySelector('[data-testid=stMain]').scrollWidth]"
    )
    assert max(wide) <= page.viewport_size["width"], wide  # type: ignore[index]


def faint(page: Page, schemes: tuple[str, str], grounds: set[str]) -> list[str]:
    """What of the open page falls short of WCAG 2.2 AA in either theme; schemes: the one that it stands in, and the other.

    The grounds that were drawn are added to `grounds`.
    """
    measure, short = CONTRAST.read_text(encoding="utf-8"), list[str]()
    for scheme in schemes:
        before = page.evaluate(GROUND)
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        if scheme == schemes[1]:
            page.wait_for_function(f"before => {GROUND} !== before", arg=before)
        grounds.add(page.evaluate(GROUND))
        for _ in range(20):  # colours pass from one theme to the other, slowly on a busy machine
            if not (found := page.evaluate(measure)):
                break
            page.wait_for_timeout(250)
        short += [f"{page.url} {scheme} {line}" for line in found]
    return short


def box_of(page: Page, name: str) -> Locator:
    """The field of that name, whatever is said in brackets of where it is measured."""
    return page.get_by_role("textbox", name=re.compile(f"^{re.escape(name)}( \\(.*)?$"))


def field(page: Page, name: str, text: str) -> None:
    """Type into a field and leave it, as a thumb on the next field does."""
    box = box_of(page, name)
    if not box.count() and page.get_by_text(THE_REST).count():  # folded away: it is not needed today
        page.get_by_text(THE_REST).click()
    box.fill(text)
    box.press("Tab")
