"""Time from opening the address to the weekly list standing on the page, in Chromium: python bench_first_page.py.

Prints what was measured beside the target: 2 s on the demo, 4 s with 50,000 vehicles, from the moment the
server answers. The browser's own time for the same server's empty page is printed beside it. A large fleet is made by
copying the demo's vehicles, readings and list rows; nothing is judged beforehand but the demo.

    python tests/benchmarks/bench_first_page.py [DEMO_DATABASE] [--units 50000]
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

sys.path.insert(0, str(Path(__file__).parents[1]))

from browser_screens import CHROMIUM, FLAGS, READY, free_port, wait_for

from dashboard.cli.demo import make_demo
from demo_fleet.scenario import AS_OF
from ingest import store

TARGET_S = {"demo": 2.0, "large": 4.0}
OPENINGS = 4


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


def opened(browser: Browser, address: str) -> tuple[float, float]:
    """Seconds until the page's frame is there, and until the list's first row is."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    begun = time.monotonic()
    page.goto(address)
    frame_s = time.monotonic() - begun
    page.locator("[class*=st-key-row-1]").first.wait_for(timeout=120_000)
    list_s = time.monotonic() - begun
    page.wait_for_selector(READY)
    context.close()
    return frame_s, list_s


def measure(browser: Browser, database: Path, target_s: float, words: str) -> None:
    """Open the first page several times, the first time on a server that has just come up."""
    with screens(database) as address:
        for number in range(OPENINGS):
            frame_s, list_s = opened(browser, address)
            load = os.getloadavg()[0]
            print(
                f"{words:28s} opening {number + 1}: list after {list_s:5.2f} s (asked for {target_s:g} s; "
                f"browser's own frame {frame_s:4.2f} s, load {load:.1f} on {os.cpu_count()} processors)",
                flush=True,
            )


def enlarge(source: Path, target: Path, units: int) -> None:
    """Copy the demo until there are `units` vehicles, each with its original's readings, and a list as much longer."""
    store.backup(store.open_database(source), target)
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
    """Measure on the demo and on the large fleet."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("database", nargs="?", type=Path, help="a demo database; made anew when left out")
    parser.add_argument("--units", type=int, default=50_000)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        demo = options.database or Path(folder) / "demo.db"
        if options.database is None:
            make_demo(demo, demo.with_name("demo-files"), say=lambda _: None, show=lambda _: None)
        browser = play.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        measure(browser, demo, TARGET_S["demo"], "demo")
        large = Path(folder) / "large.db"
        enlarge(demo, large, options.units)
        measure(browser, large, TARGET_S["large"], f"{options.units} vehicles")
        browser.close()


if __name__ == "__main__":
    main()
