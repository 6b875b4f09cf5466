"""In Chromium: pages full of hostile names hold no element that was made of them, and neither browser nor server asks anybody.

Truth: what the browser drew and asked for; what the server's own Python asked of a network, by its audit hook (PEP 578).
"""

from __future__ import annotations

import base64
import os
import socket
import subprocess
import sys
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from recorded_network import recorded
from samples_hostile import HOST, hostile_database
from samples_screens import AS_OF

playwright_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
from browser_screens import CHROMIUM, go, server, settled  # noqa: E402
from playwright.sync_api import Browser, Page  # noqa: E402

pytestmark = [pytest.mark.browser, pytest.mark.slow]
MADE_OF_TEXT = Path(__file__).with_name("made_of_text.js").read_text(encoding="utf-8")
IN_THE_MARGIN = (
    "Fleet",
    "Replacement plan",
    "Repairs and starts",
    "Corrections",
    "Logbook",
    "Files",
    "Rows to put right",
    "Settings",
)


def test_recorder_writes_down_what_is_asked_and_refuses_it(tmp_path: Path) -> None:
    """The proof that silence means something: in a program started by a program, too."""
    told, asked = recorded(tmp_path)
    ask = f"import socket; socket.create_connection(('{HOST}', 80))"
    code = f"import subprocess, sys; sys.exit(subprocess.run([sys.executable, '-c', {ask!r}], stderr=-3).returncode)"
    assert subprocess.run([sys.executable, "-c", code], env={**os.environ, **told}, check=False).returncode == 1
    assert asked.read_text() == f"socket.getaddrinfo {HOST}\n"


@pytest.mark.nightly
@pytest.mark.skipif(not CHROMIUM, reason="Chromium is not installed (apt-get install chromium)")
def test_no_element_is_made_of_a_name_and_nothing_leaves_the_machine(
    tmp_path: Path, browser: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    told, asked = recorded(tmp_path)
    for name, value in told.items():
        monkeypatch.setenv(name, value)
    path, found, out = hostile_database(tmp_path / "hostile"), list[str](), set[str]()
    with server(path, AS_OF.isoformat()) as address:
        page = browser.new_context(viewport={"width": 1280, "height": 2400}).new_page()
        page.on("request", lambda one: out.add(one.url))
        page.goto(address)
        settled(page, first=True)
        found += made_of_text(page)
        page.locator("[class*=st-key-row-] a").first.click()
        page.wait_for_url("**/unit?*")
        settled(page)
        found += made_of_text(page)
        for title in IN_THE_MARGIN:
            go(page, title)
            settled(page)
            found += made_of_text(page)
        page.close()
        for name, origin in ((urlsplit(address).netloc, f"http://{HOST}"), (HOST, f"http://{HOST}")):
            knock(address, name, origin)
    assert not found, "\n".join(found)
    abroad = {url for url in out if urlsplit(url).hostname != "127.0.0.1" and not url.startswith(("data:", "blob:"))}
    assert not abroad
    assert asked.read_text() == ""


def made_of_text(page: Page) -> list[str]:
    """What on a page was made of a name, with the page's address."""
    return [f"{urlsplit(page.url).path} {line}" for line in page.evaluate(MADE_OF_TEXT)]


def knock(address: str, name: str, origin: str) -> None:
    """Ask for the screens' lasting connection (RFC 6455) as a page of `origin` does, whatever the answer."""
    here = urlsplit(address)
    key = base64.b64encode(os.urandom(16)).decode()
    lines = (
        "GET /_stcore/stream HTTP/1.1", f"Host: {name}", f"Origin: {origin}", "Connection: Upgrade",
        "Upgrade: websocket", "Sec-WebSocket-Version: 13", f"Sec-WebSocket-Key: {key}", "", "",
    )  # fmt: skip
    with socket.create_connection((here.hostname, here.port), timeout=20) as one:
        one.sendall("\r\n".join(lines).encode())
        assert one.recv(1000)
