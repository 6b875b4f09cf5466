"""SIGKILL at random moments of every command that writes: what was acknowledged is there once, the rest whole or not at all."""

from __future__ import annotations

import datetime as dt
import random
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from samples_ingest import CLIMATE, UNITS, reading, readings_file

import dashboard.cli.commands.changes
import dashboard.cli.commands.importing
import dashboard.cli.commands.planner
import dashboard.cli.commands.post
import dashboard.cli.commands.record
import dashboard.cli.commands.safe_keeping  # noqa: F401 - all loaded once, not by every process
from dashboard.desk import assessment, kept_assessment
from faults.afterwards import Counts, faults_of, first_version, in_memory
from faults.running import a_moment, run, writes_of
from ingest.importer import import_paths
from ingest.store import open_database
from ingest.verify import verify

NOW = dt.datetime(2024, 6, 1, 12)
DAY = "2024-06-03"  # a Monday
READINGS = 300  # rows of the file that is imported
Sql = tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class Kind:
    """A command, what it says when it is done, and how what it stores is found: a count, and what it is when whole.

    again: what the next run says or does; older: begins with a database of the first version.
    """

    words: tuple[str, ...]
    says: str
    found: Sql
    older: bool = False
    again: tuple[int, ...] = (0,)


KINDS: Mapping[str, Kind] = {
    "import": Kind(
        ("import", "more.csv", "climate.csv"), " stored, 0 already known, 0 set aside",
        (("SELECT count(*) FROM readings JOIN origins ON id = origin_id WHERE file = 'more.csv'", READINGS),
         ("SELECT count(*) FROM climate WHERE depot = 'new'", 12)),
    ),
    "record": Kind(
        ("record", "K-101", "--taken-at", "2024-05-30T07:00", "--rest-v", "12.6", "--crank-min-v", "11.3"), "reading stored",
        (("SELECT count(*) FROM readings WHERE taken_at = '2024-05-30T07:00:00'", 1),),
    ),
    "correct": Kind(
        ("correct", "reading", "1", "crank_a=145", "note=x", "--reason", "slip"), "corrected",
        (("SELECT count(*) FROM audit WHERE table_name = 'readings' AND reason = 'slip'", 2),),
    ),
    "issue": Kind(
        ("issue", "--as-of", DAY, "--to", "post"), "plan",
        (("SELECT count(*) FROM weekly_lists", 1), ("SELECT count(*) FROM plans", 1)),
    ),
    "plan": Kind(
        ("plan", "--as-of", DAY, "--weeks", "6", "--pin", "K-101=2024-W25"), "Plan of",
        (("SELECT count(*) FROM plan_pins", 1), ("SELECT count(*) > 0 FROM plans", 1)),
    ),
    "backup": Kind(("backup", "copy.db"), "copied to", (), again=(0, 2)),
    "migration": Kind(("logbook",), "imported units.csv", (("SELECT count(*) FROM readings", 11),), older=True),
    "restore": Kind(
        ("restore", "before.db"), "is again as",
        (("SELECT count(*) FROM audit WHERE table_name = 'database'", 1),),
    ),
}  # fmt: skip


def quick() -> None:
    """Few looks at the past: what is tried is not how vehicles are judged."""
    from dataclasses import replace

    from analysis.forecast import past

    past.LEARNING = replace(past.LEARNING, looks=1)  # type: ignore[misc]


def base(folder: Path, *, judged: bool = True) -> None:
    """A folder with a small fleet's database, its assessment kept where that is needed, a copy, and a file to import."""
    quick()
    folder.mkdir()
    texts = {
        "units.csv": UNITS,
        "climate.csv": "\n".join(CLIMATE.replace("harbour", "new").splitlines()[:13]) + "\n",
        "usual.csv": CLIMATE,
    }
    for name, text in texts.items():
        (folder / name).write_text(text)
    db = open_database(folder / "fleet.db")
    days = [(unit, month, day) for unit in ("K-101", "K-102", "K-201") for month in range(1, 13) for day in (3, 17)]
    twice = {"K-201": {"rest_v": 25.3, "crank_min_v": 22.6}}
    first = [reading(unit=u, taken_at=f"2023-{m:02d}-{d:02d}T08:15", **twice.get(u, {})) for u, m, d in days]
    files = [folder / "units.csv", folder / "usual.csv", readings_file(folder, *first, name="first.csv")]
    assert import_paths(db, files, now=NOW).exit_code == 0
    more = [
        reading(unit="K-102", taken_at=f"2024-0{1 + k // 84}-{1 + k % 28:02d}T0{k // 28 % 3 + 5}:{k % 60:02d}")
        for k in range(READINGS)
    ]
    readings_file(folder, *more, name="more.csv")
    if judged:
        assessment.assess_database(db, as_of=dt.date.fromisoformat(DAY))
    db.conn.close()
    shutil.copyfile(folder / "fleet.db", folder / "before.db")
    (folder / "before.db").chmod(0o600)


def made_base(root: Path, kinds: Sequence[str]) -> None:
    """The base in `root`, made in a process of its own, so that no thread begins in this one."""
    judged = not {"issue", "plan"}.isdisjoint(kinds)
    kept_assessment.program()  # worked out once, not by every process
    run(("--version",), root / "base", before=lambda: base(root / "base", judged=judged), said=root / "making")
    assert (root / "base" / "before.db").exists(), (root / "making.err").read_text()


def killed(kind: str, *, many: int, seed: int, root: Path, by_clock: float = 0.5) -> Counts:
    """Kill one command `many` times, each time on a fresh copy of the base in `root`, and look at what is found.

    by_clock: the share that is killed at a moment by the clock; the others at one of the writes to the folder.
    """
    chance, counts, what = random.Random(f"{kind} {seed}"), Counts(), KINDS[kind]
    fresh(root, what)
    calm = run(*asked(root, what))
    assert calm.code == 0, calm
    assert what.says in calm.out, calm
    fresh(root, what)
    writes = writes_of(*asked(root, what))
    for _ in range(many):
        fresh(root, what)
        counts.tried += 1
        ran = run(*asked(root, what), moment=a_moment(chance, calm.took_s, writes, by_clock))
        counts.struck += ran.code is None
        counts.add([f"{kind}: {one}" for one in looked_at(root / "own", what, ran.out, counts)])
    return counts


def asked(root: Path, what: Kind) -> tuple[Sequence[str], Path]:
    """The words, with every file named in full, and the folder."""
    own = root / "own"
    named = [str(own / word) if word.endswith((".csv", ".db")) or word == "post" else word for word in what.words]
    return ("--db", str(own / "fleet.db"), *named), own


def fresh(root: Path, what: Kind) -> None:
    """The base anew."""
    shutil.rmtree(root / "own", ignore_errors=True)
    shutil.copytree(root / "base", root / "own")
    if what.older:
        (root / "own" / "fleet.db").unlink()
        first_version(root / "own" / "fleet.db")


def found_of(path: Path, found: Sql) -> list[int]:
    """What the counts are; 0 where there is no such table, as before a migration."""
    connection = sqlite3.connect(path)
    try:
        return [int(connection.execute(sql).fetchone()[0]) for sql, _ in found]
    finally:
        connection.close()


def looked_at(own: Path, what: Kind, said: str, counts: Counts) -> list[str]:
    """What is wrong after a kill, and after the same command again."""
    path, acknowledged = own / "fleet.db", what.says in said
    counts.acknowledged += acknowledged
    wrong = faults_of(path)
    for now, (sql, whole) in zip(found_of(path, what.found), what.found, strict=True):
        counts.whole += not acknowledged and now == whole
        counts.absent += not acknowledged and now == 0
        if acknowledged and now != whole:
            counts.lost += 1
            wrong.append(f"acknowledged, but {now} of {whole}: {sql}")
        elif now not in (0, whole):
            wrong.append(f"in part, {now} of {whole}: {sql}")
    wrong += copies_of(own, counts)
    if what.words[0] == "backup":
        there = (own / "copy.db").exists()
        counts.whole += not acknowledged and there
        counts.absent += not acknowledged and not there
        if acknowledged and not there:
            wrong.append("the copy was acknowledged and is not there")
    return wrong + next_run(own, what, counts)


def next_run(own: Path, what: Kind, counts: Counts) -> list[str]:
    """The same command again ends well, and leaves what an undisturbed run leaves."""
    again = run(*asked(own.parent, what))
    wrong = [] if again.code in what.again else [f"the next run ends with {again.code}: {again.err}"]
    wrong += [f"after the next run {one}" for one in (*faults_of(own / "fleet.db"), *copies_of(own, counts))]
    for now, (sql, whole) in zip(found_of(own / "fleet.db", what.found), what.found, strict=True):
        if now != whole and what.words[0] != "correct":
            wrong.append(f"after the next run {now} of {whole}: {sql}")
    return wrong


def copies_of(own: Path, counts: Counts) -> list[str]:
    """Every file that has the name of a copy is a whole one."""
    wrong = []
    for copy in own.glob("*.db"):
        if copy.name not in ("fleet.db", "before.db"):
            counts.copies += 1
            wrong += [f"{copy.name}: {one.kind}" for one in verify(copy).wrong]
    return wrong


def all_killed(*, many: int, seed: int, kinds: Sequence[str] = tuple(KINDS)) -> Iterator[tuple[str, Counts]]:
    """Every command killed `many` times, told as soon as it is done."""
    with tempfile.TemporaryDirectory(dir=in_memory()) as root:
        made_base(Path(root), kinds)
        for kind in kinds:
            yield kind, killed(kind, many=many, seed=seed, root=Path(root))
