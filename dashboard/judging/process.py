"""An assessment worked out by a process of its own, so that the screens stay quick while vehicles are judged."""

from __future__ import annotations

import atexit
import os
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from dashboard.desk.kept_assessment import folder_of, kept, name_of
from dashboard.desk.packed import pack_to, unpack
from ingest import store
from ingest.errors import IngestError

if TYPE_CHECKING:
    from analysis.worklist.assess import Assessment

NICE = 15  # the judging gives way to the screens by this much (19 is most); our choice


class JudgingFailed(Exception):
    """The vehicles could not be judged; the text says why."""


def assess_apart(path: str, as_of: date, horizon_days: int) -> Assessment:
    """What `assess_database` finds, worked out beside this process; JudgingFailed when that went wrong."""
    if found_before := kept_of(path, as_of, horizon_days):
        return found_before
    with tempfile.TemporaryDirectory(prefix="cranktrend-") as folder:
        out = Path(folder) / "assessment"
        asked = [path, as_of.isoformat(), str(horizon_days), str(out)]
        command = [sys.executable, "-m", "dashboard.judging.process", *asked]
        quiet = subprocess.DEVNULL
        try:
            worker = subprocess.Popen(command, stdin=quiet, stdout=quiet, stderr=subprocess.PIPE, text=True)
        except OSError as error:  # no memory or no process left just now
            raise JudgingFailed(f"The vehicles could not be judged: {error.strerror}.") from error
        with worker:
            atexit.register(worker.kill)
            _, said = worker.communicate()
        atexit.unregister(worker.kill)
        if worker.returncode or not out.exists():
            last = said.strip().splitlines()[-1] if said.strip() else f"the work ended with {worker.returncode}"
            raise JudgingFailed(f"The vehicles could not be judged: {last}")
        found: Assessment = unpack(out.read_bytes())
    return found


def kept_of(path: str, as_of: date, horizon_days: int) -> Assessment | None:
    """The assessment that is kept; None where there is none, or the database cannot tell: the work will say why."""
    try:
        with store.open_database(path, create=False) as db:
            return kept(folder_of(db), name_of(db, as_of, horizon_days))
    except (IngestError, sqlite3.Error):
        return None


def give_way(by: int) -> None:
    """Let the screens go first, where the system has such an order."""
    if hasattr(os, "nice"):
        os.nice(by)


def main(arguments: Sequence[str]) -> int:
    """Judge and write: database, day, horizon [d], file to write."""
    from dashboard.desk.assessment import assess_database

    path, day, horizon, out = arguments
    give_way(NICE)
    db = store.open_database(path, create=False)
    asked = date.fromisoformat(day), int(horizon)
    found = assess_database(db, as_of=asked[0], horizon_days=asked[1])
    if not _leads_to_kept(Path(out), folder_of(db), name_of(db, *asked)):
        with Path(out).open("w+b") as file:
            pack_to(file, found)
    return 0


def _leads_to_kept(out: Path, folder: Path | None, name: str) -> bool:
    """Whether the assessment is kept, and `out` leads there now: a large fleet's takes seconds to write again."""
    if folder is None or not (folder / name).exists():
        return False
    try:
        out.symlink_to((folder / name).resolve())
    except OSError:  # not every system lets everybody make one
        return False
    return True


if __name__ == "__main__":
    from dashboard.desk.terminal import answered

    raise SystemExit(answered(lambda: main(sys.argv[1:])))
