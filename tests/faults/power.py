"""Power cuts: a day's work is watched write by write, and the disk is looked at as it would be after a cut at any of them."""

from __future__ import annotations

import random
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

from samples_ingest import CLIMATE, UNITS, reading, readings_file

from faults.afterwards import Counts, faults_of, first_version, in_memory
from faults.disk_log import Event, watched
from faults.disk_model import Disk
from ingest import corrections
from ingest.backups import backup
from ingest.entries import record_reading, record_repair
from ingest.importer import import_paths
from ingest.records import issue_weekly_list, save_decision, save_plan
from ingest.restoring import restore
from ingest.store import open_database
from ingest.verify import verify

NOW = datetime(2024, 6, 1, 12)


@dataclass(frozen=True)
class Step:
    """One thing that is done: how it is found again, and what is found when it was done whole."""

    name: str
    sql: str
    whole: int


@dataclass
class Log:
    """What was done to the disk, with marks where a step began and where it was acknowledged."""

    events: list[Event] = field(default_factory=list)
    steps: dict[str, Step] = field(default_factory=dict)

    @contextmanager
    def step(self, name: str, sql: str, whole: int) -> Iterator[None]:
        """A step of the work."""
        self.steps[name] = Step(name, sql, whole)
        self.events.append(Event("mark", f"begun {name}"))
        yield
        self.events.append(Event("mark", f"done {name}"))


def work(folder: Path, log: Log, *, readings: int) -> None:
    """Make a database, fill it, put things on record, copy it, put the copy back: what people do in a week."""
    files = {name: folder.parent / name for name in ("units.csv", "climate.csv")}
    files["units.csv"].write_text(UNITS)
    files["climate.csv"].write_text(CLIMATE)
    lines = [reading(taken_at=f"2023-0{m}-{d:02d}T08:15") for m in range(1, 7) for d in range(1, 29)]
    path = folder / "fleet.db"
    db = open_database(path)
    with log.step("units", "SELECT count(*) FROM units", 3):
        import_paths(db, [files["units.csv"]], now=NOW)
    with log.step("climate", "SELECT count(*) FROM climate", 24):
        import_paths(db, [files["climate.csv"]], now=NOW)
    with log.step(
        "readings", "SELECT count(*) FROM readings JOIN origins ON id = origin_id WHERE file = 'r.csv'", len(lines)
    ):
        import_paths(db, [readings_file(folder.parent, *lines, name="r.csv")], now=NOW)
    for k in range(readings):
        at = f"2024-0{1 + k // 28}-{1 + k % 28:02d}T07:30:00"
        with log.step(f"reading {k}", f"SELECT count(*) FROM readings WHERE taken_at = '{at}'", 1):
            record_reading(db, {"unit": "K-102", "taken_at": at, "rest_v": 12.6, "crank_min_v": 11.2}, by="t", now=NOW)
        if k == readings // 2:
            db.conn.close()
            db = open_database(path)
    with log.step("repair", "SELECT count(*) FROM repairs", 1):
        record_repair(
            db, {"unit": "K-101", "done_on": "2024-05-01", "part": "battery", "action": "replaced"}, by="t", now=NOW
        )
    with log.step("correction", "SELECT count(*) FROM audit WHERE table_name = 'readings'", 1):
        corrections.correct(db, "reading", 1, {"crank_a": 145}, by="t", reason="slip", now=NOW)
    with log.step("decision", "SELECT count(*) FROM decisions", 1):
        save_decision(db, unit="K-101", iso_week="2024-W22", kind="accepted", by="m", now=NOW)
    body = {"units": [{"unit": "K-101", "why": "x" * 20000}]}
    with log.step("list", "SELECT count(*) FROM weekly_lists", 1):
        issue_weekly_list(db, "2024-W22", as_of=date(2024, 5, 27), body=body, now=NOW)
    with log.step("plan", "SELECT count(*) FROM plans", 1):
        save_plan(db, as_of=date(2024, 5, 27), weeks=13, body=body, by="m", now=NOW)
    with log.step("copy", "", 1):
        backup(db, folder / "copy.db")
    db.conn.close()
    with log.step("put back", "SELECT count(*) FROM audit WHERE table_name = 'database'", 1):
        restore(folder / "copy.db", path, by="t", now=NOW)
    db = open_database(path)
    with log.step("after", "SELECT count(*) FROM readings WHERE taken_at = '2024-05-31T07:30:00'", 1):
        record_reading(db, {"unit": "K-101", "taken_at": "2024-05-31T07:30", "rest_v": 12.6}, by="t", now=NOW)
    db.conn.close()


def upgrade(folder: Path, log: Log, *, readings: int) -> None:
    """Open a database of the first version, and record something in it."""
    del readings
    with log.step("upgrade", "SELECT count(*) FROM readings WHERE taken_at < '2024'", 11):
        db = open_database(folder / "fleet.db")
    with log.step("after", "SELECT count(*) FROM readings WHERE taken_at = '2024-05-31T07:30:00'", 1):
        record_reading(db, {"unit": "K-101", "taken_at": "2024-05-31T07:30", "rest_v": 12.6}, by="t", now=NOW)
    db.conn.close()


def watched_work(root: Path, doing: Callable[..., None], *, readings: int) -> tuple[Log, dict[str, bytes]]:
    """The log of the work done in a new folder below `root`, and what lay there at the beginning."""
    folder = root / "disk"
    folder.mkdir(parents=True)
    if doing is upgrade:
        first_version(folder / "fleet.db")
    start = {str(one): one.read_bytes() for one in folder.iterdir()}
    log = Log()
    with watched(folder, log.events.append):
        doing(folder, log, readings=readings)
    return log, start


def cuts(doing: Callable[..., None], *, many: int, seed: int, readings: int = 40) -> Counts:
    """Cut the power at `many` moments of the work, and look at what is found each time."""
    chance, counts = random.Random(seed), Counts()
    with tempfile.TemporaryDirectory(dir=in_memory()) as root:
        log, start = watched_work(Path(root), doing, readings=readings)
        moments = sorted(chance.choices(range(len(log.events) + 1), k=many))
        disk, begun, done, at = Disk(start), set[str](), set[str](), 0
        for moment in moments:
            for event in log.events[at:moment]:
                disk.take(event)
                if event.what == "mark":
                    word, _, name = event.path.partition(" ")
                    (begun if word == "begun" else done).add(name)
            at = moment
            found = Path(root) / "found"
            found.mkdir()
            disk.cut(found, Path(root) / "disk", chance)
            counts.tried += 1
            counts.add(looked_at(found, log, begun, done, counts))
            for one in found.iterdir():
                one.unlink()
            found.rmdir()
    return counts


def looked_at(found: Path, log: Log, begun: set[str], done: set[str], counts: Counts) -> list[str]:
    """What is wrong after a cut: a step that was acknowledged is not there, one is there in part, the file is not whole."""
    path = found / "fleet.db"
    db = open_database(path)
    wrong = []
    for name in begun:
        step = log.steps[name]
        copied = int((found / "copy.db").exists())
        there = int(db.execute(step.sql).fetchone()[0]) if step.sql else copied
        acknowledged = name in done
        counts.acknowledged += acknowledged
        counts.whole += not acknowledged and there == step.whole
        counts.absent += not acknowledged and there == 0
        if acknowledged and there != step.whole:
            counts.lost += 1
            wrong.append(f"{name} was acknowledged, {there} of {step.whole} are there")
        elif there not in (0, step.whole):
            wrong.append(f"{name} is there in part: {there} of {step.whole}")
    if "upgrade" in done and not list(found.glob("fleet-version-002-*.db")):
        wrong.append("the older database was changed, and its copy is not there")
    for copy in found.glob("*.db"):
        if copy != path:
            counts.copies += 1
            wrong += [f"{copy.name}: {one}" for one in verify(copy).wrong]
    number = record_reading(db, {"unit": "K-101", "taken_at": "2024-05-30T06:00", "rest_v": 12.6}, by="n", now=NOW)
    if not number.stored and int(db.execute("SELECT count(*) FROM units").fetchone()[0]):
        wrong.append(f"the next reading is not stored: {number.problems}")
    db.conn.close()
    return wrong + faults_of(path)
