"""What a person waits for in Chromium: the list, a click, the verdict in the bay; beside an empty page of the toolkit.

Prints seconds beside what is asked for: the list 2 s on the demo and 3 s with 50,000 vehicles from the moment the
server answers, a click 0.5 s, the verdict 1 s after the last field is left. The empty page has a title and a button and
is served by the toolkit alone. A large fleet is made by copying the demo's vehicles, readings and list rows; nothing is
judged beforehand but the demo. Medians and the slowest of several tries; `--json FILE` keeps them for a comparison.

    python tests/benchmarks/bench_first_page.py [DEMO_DATABASE] [--units 50000] [--json FILE]
"""

from __future__ import annotations

import argparse
import json
import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, Locator, Page, sync_playwright

sys.path.insert(0, str(Path(__file__).parents[1]))

from browser_screens import CHROMIUM, FLAGS, READY, box_of, field, free_port, wait_for

from dashboard.cli.commands.demo import make_demo
from dashboard.words.bay_words import THE_REST
from demo_fleet.scenario import AS_OF
from ingest import store
from ingest.backups import backup

OPEN, CLICK, VERDICT = "opening", "click", "verdict"
ASKED_S = {OPEN: 2.0, CLICK: 0.5, VERDICT: 1.0}
LARGE_OPEN_S = 3.0
DOUBTFUL = re.compile("about ten times that|doubtful:|outside its limit")
TRIES = 5
EMPTY = """import streamlit as st
st.title("Empty")
st.session_state["n"] = st.session_state.get("n", 0) + st.button("Press")
st.text(f"pressed {st.session_state['n']} times")
"""
Times = dict[str, list[float]]


@contextmanager
def empty_page(folder: Path) -> Iterator[str]:
    """A page with a title, a button and a line, as the toolkit alone serves it."""
    app, port = folder / "empty.py", free_port()
    app.write_text(EMPTY)
    flags = ["--server.headless=true", "--browser.gatherUsageStats=false", "--server.fileWatcherType=none"]
    command = [sys.executable, "-m", "streamlit", "run", str(app), f"--server.port={port}", *flags]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        try:
            wait_for(f"http://127.0.0.1:{port}/_stcore/health", process)
            yield f"http://127.0.0.1:{port}"
        finally:
            process.terminate()
            process.wait(timeout=20)


@contextmanager
def screens(database: Path) -> Iterator[str]:
    """The screens as the command serves them."""
    port = free_port()
    command = [sys.executable, "-m", "dashboard.cli.main", "--db", str(database), "dashboard", "--port", str(port)]
    surroundings = {**os.environ, "CRANKTREND_TODAY": AS_OF.isoformat()}
    with subprocess.Popen(command, env=surroundings, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        try:
            wait_for(f"http://127.0.0.1:{port}/_stcore/health", process)
            yield f"http://127.0.0.1:{port}"
        finally:
            process.terminate()
            process.wait(timeout=20)


def seconds(act: Callable[[], object], there: Locator) -> float:
    """Seconds from `act` until `there` is on the page."""
    begun = time.monotonic()
    act()
    there.first.wait_for(timeout=120_000)
    return time.monotonic() - begun


def window(browser: Browser) -> Page:
    """A browser that was never here."""
    return browser.new_context(viewport={"width": 1280, "height": 900}).new_page()


def on_the_empty_page(browser: Browser, address: str) -> Times:
    """Its opening and its button."""
    times: Times = {OPEN: [], CLICK: []}
    for _ in range(TRIES):
        page = window(browser)
        times[OPEN].append(seconds(lambda p=page: p.goto(address), page.get_by_text("pressed 0 times")))
        page.wait_for_selector(READY)
        press = page.get_by_role("button", name="Press")
        times[CLICK].append(seconds(press.click, page.get_by_text("pressed 1 times")))
        page.context.close()
    return times


def on_our_pages(browser: Browser, address: str) -> Times:
    """The list; a click on its first vehicle, on the page's second tab and back to the list; a verdict in the bay."""
    times: Times = {OPEN: [], CLICK: [], VERDICT: []}
    rows = "[class*=st-key-row-] [data-testid=stPageLink] a"
    for _ in range(TRIES):
        page = window(browser)
        times[OPEN].append(seconds(lambda p=page: p.goto(address), page.locator("[class*=st-key-row-1]")))
        still(page)
        unit = page.locator(rows).first.inner_text().split()[-1]
        times[CLICK].append(seconds(page.locator(rows).first.click, page.get_by_text("What to do")))
        still(page)
        times[CLICK].append(seconds(page.go_back, page.locator("[class*=st-key-row-1]")))
        page.goto(f"{address}/bay?unit={unit}")
        page.get_by_role("button", name="Save reading").wait_for(timeout=120_000)
        still(page)
        for name, text in (("Rest volts, V", "25.4"), ("Steady amps while cranking, A", "600")):
            field(page, name, text)
            still(page)
        box = box_of(page, "Drop, ground path, V")
        if not box.count():
            page.get_by_text(THE_REST).click()
            still(page)
        box.fill("3.1")
        times[VERDICT].append(seconds(lambda b=box: b.press("Tab"), page.get_by_text(DOUBTFUL)))
        page.context.close()
    return times


def still(page: Page) -> None:
    """Wait until the page has not run for half a second."""
    page.wait_for_timeout(500)
    page.wait_for_selector(READY, timeout=120_000)


def told(words: str, times: Times, asked_s: dict[str, float]) -> None:
    """A line for each thing waited for."""
    for what, found in times.items():
        asked = f"asked for {asked_s[what]:g} s" if what in asked_s else ""
        line = f"{statistics.median(found):5.2f} s, slowest {max(found):5.2f} s of {len(found)}"
        print(f"{words:16s} {what:8s} {line}  {asked}  load {os.getloadavg()[0]:.1f}", flush=True)


def enlarge(source: Path, target: Path, units: int) -> None:
    """Copy the demo until there are `units` vehicles, each with its original's readings, and a list as much longer."""
    backup(store.open_database(source), target)
    db = store.open_database(target)
    names = [row[0] for row in db.execute("SELECT unit FROM units ORDER BY unit").fetchall()]
    copies = max(1, units // len(names))
    db.conn.execute("PRAGMA synchronous=OFF")
    for table, key in (("units", ""), ("readings", "reading_id")):
        columns = [c for c in db[table].columns_dict if c not in ("unit", key)]
        for k in range(1, copies):
            db.conn.execute(
                f"INSERT INTO {table} (unit, {', '.join(columns)}) SELECT unit || '-{k}', {', '.join(columns)}"
                f" FROM {table} WHERE unit IN (SELECT value FROM json_each(?))",
                (json.dumps(names),),
            )
    for week, text in db.execute("SELECT iso_week, body FROM weekly_lists").fetchall():
        body = json.loads(text)
        rows = [r | ({"unit": f"{r['unit']}-{k}"} if k else {}) for k in range(copies) for r in body["units"]]
        body |= {"units": rows, "counts": {name: n * copies for name, n in body["counts"].items()}}
        db.conn.execute("UPDATE weekly_lists SET body = ? WHERE iso_week = ?", (json.dumps(body), week))
    db.conn.commit()
    db.conn.close()


def main() -> None:
    """Measure the empty page, the demo and the large fleet in one run."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("database", nargs="?", type=Path, help="a demo database; made anew when left out")
    parser.add_argument("--units", type=int, default=50_000)
    parser.add_argument("--json", type=Path, help="keep the seconds in this file")
    options = parser.parse_args()
    kept: dict[str, Times] = {}
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        demo, large = options.database or Path(folder) / "demo.db", Path(folder) / "large.db"
        if options.database is None:
            make_demo(demo, demo.with_name("demo-files"), say=lambda _: None, show=lambda _: None)
        enlarge(demo, large, options.units)
        browser = play.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        with empty_page(Path(folder)) as address:
            kept["empty page"] = on_the_empty_page(browser, address)
        told("empty page", kept["empty page"], {})
        for words, database, asked_s in (
            ("demo", demo, ASKED_S),
            (f"{options.units} vehicles", large, ASKED_S | {OPEN: LARGE_OPEN_S}),
        ):
            with screens(database) as address:
                kept[words] = on_our_pages(browser, address)
            told(words, kept[words], asked_s)
        browser.close()
    if options.json:
        options.json.write_text(json.dumps(kept, indent=1))


if __name__ == "__main__":
    main()
