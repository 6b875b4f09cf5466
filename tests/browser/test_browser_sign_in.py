"""Through the server: a provider's sign-in, a windscreen's code, and what the door refuses."""

from __future__ import annotations

import http.client
import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from samples_provider import CLIENT, SECRET, provider
from samples_screens import AS_OF, one_reading_database

from dashboard.desk.addresses import bay_address
from dashboard.desk.rights import code_of
from ingest import store
from ingest.accounts import code_secret, give_roles

playwright_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
from browser_screens import CHROMIUM, PATIENCE_MS, free_port, server, settled  # noqa: E402
from playwright.sync_api import Browser  # noqa: E402

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not CHROMIUM, reason="Chromium is not installed (apt-get install chromium)"),
]
ADA = "ada@fleet.example"


@pytest.fixture(scope="module")
def screens(tmp_path_factory: pytest.TempPathFactory, here: tuple[str, str]) -> Iterator[tuple[str, Path]]:
    """One vehicle behind a provider who knows Ada; the administrator of the screens is somebody else."""
    pytest.importorskip("authlib")
    pytest.importorskip("httpx")
    folder = tmp_path_factory.mktemp("sign-in")
    path, port = one_reading_database(folder / "one.db"), free_port()
    give_roles(store.open_database(path), "boss@fleet.example", ["administrator"], by="test")
    (folder / "secret").write_text(SECRET)
    (folder / "secret").chmod(0o600)
    with provider(ADA) as address:
        settings = folder / "sign-in.toml"
        settings.write_text(
            f'provider = "{address}"\nclient_id = "{CLIENT}"\nclient_secret_file = "secret"\n'
            f'address = "http://127.0.0.1:{port}"\n'
        )
        with server(path, AS_OF.isoformat(), "--sign-in", str(settings), port=port, quick=here) as own:
            yield own, path
    assert SECRET not in path.with_suffix(f".{port}.log").read_text(), "no secret in what the server says"
    assert SECRET.encode() not in path.read_bytes()


def shown(text: str) -> re.Pattern[str]:
    """The text as it stands on a page, where a mail address is kept from becoming a link by what has no width."""
    return re.compile(re.escape(text).replace("@", "@\u2060?"))


@pytest.mark.nightly
def test_who_signs_in_is_unknown_until_a_role_is_given(screens: tuple[str, Path], browser: Browser) -> None:
    address, path = screens
    page = browser.new_page()
    page.goto(address)
    page.get_by_text("Sign in to see these pages.").wait_for(timeout=PATIENCE_MS)
    assert not page.get_by_text("Weekly list").count()
    page.get_by_role("button", name="Sign in").click()
    page.get_by_text(shown(f"Your account {ADA} is not known here. Ask boss@fleet.example")).wait_for(
        timeout=PATIENCE_MS
    )
    give_roles(store.open_database(path), ADA, ["technician"], by="test")
    page.reload()
    page.get_by_text(shown(f"Signed in as {ADA} (technician)")).wait_for(timeout=PATIENCE_MS)
    settled(page, "Weekly list")
    page.context.close()


@pytest.mark.nightly
def test_a_phone_with_a_code_measures_its_vehicle_only(screens: tuple[str, Path], browser: Browser) -> None:
    address, path = screens
    db = store.open_database(path)
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.goto(bay_address(address, "X-1", code_of(code_secret(db), "X-1")))
    page.get_by_text("last read").wait_for(timeout=PATIENCE_MS)
    assert not page.get_by_test_id("stSidebarNavLink").count()
    page.goto(f"{address}/fleet")
    page.get_by_text("Sign in to see these pages.").wait_for(timeout=PATIENCE_MS)
    page.context.close()


@pytest.mark.nightly
def test_other_names_and_foreign_pages_are_refused(screens: tuple[str, Path]) -> None:
    host = urlsplit(screens[0]).netloc
    upgrade = {
        "Connection": "Upgrade",
        "Upgrade": "websocket",
        "Sec-WebSocket-Version": "13",
        "Sec-WebSocket-Key": "AAAAAAAAAAAAAAAAAAAAAA==",
    }
    for path, more in (("/", {}), ("/_stcore/health", {}), ("/_stcore/stream", upgrade)):
        for headers, status in (
            ({"Host": "evil.example"}, 421), ({"Host": host, "Origin": "http://evil.example"}, 403), ({"Host": host, "Origin": "null"}, 403),
        ):  # fmt: skip
            connection = http.client.HTTPConnection(host, timeout=20)
            connection.request("GET", path, headers={**headers, **more})
            assert connection.getresponse().status == (403 if more else status), (path, headers)
            connection.close()
