"""Disks and clocks that fail a program: full, read-only, locked by another, set back."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from faults.afterwards import Counts, faults_of, in_memory
from faults.kills import KINDS, asked, found_of, fresh, made_base, next_run
from faults.running import Ran, run
from ingest import store

ROOM_KIB = (0, 4, 8, 16, 24, 32, 48, 64, 96, 128, 192, 256, 384, 512)  # [KiB] left on the disk
NOBODY = 65534  # the user number of nobody


def why_no_mount() -> str:
    """Why no small disk can be made here; "" where it can."""
    if not hasattr(os, "geteuid") or os.geteuid() != 0:
        return "only the administrator may make a small disk"
    with tempfile.TemporaryDirectory() as place:
        try:
            made = subprocess.run(
                ["mount", "-t", "tmpfs", "-o", "size=64k", "none", place], capture_output=True, check=False
            )
        except FileNotFoundError:
            return "there is no mount here"
        if made.returncode:
            return f"mount is refused here: {made.stderr.decode().strip()}"
        subprocess.run(["umount", place], check=True)
    return ""


@contextmanager
def small_disk(place: Path, kib: int) -> Iterator[Path]:
    """A disk of so many KiB at a new folder."""
    place.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={kib}k", "none", str(place)], check=True)
    try:
        yield place
    finally:
        subprocess.run(["umount", "-l", str(place)], check=True)


@contextmanager
def filled(disk: Path, room_kib: int) -> Iterator[None]:
    """The disk but for so much room."""
    filler = disk / "filler"
    free = os.statvfs(disk)
    size = free.f_bavail * free.f_frsize - room_kib * 1024
    with filler.open("wb") as file:
        file.write(b"\0" * max(0, size))
    try:
        yield
    finally:
        filler.unlink()


def one_sentence(ran: Ran) -> bool:
    """Whether a command that could not do its work says so, and nothing looks like a traceback."""
    said = [line for line in ran.err.splitlines() if line.startswith("cranktrend: ") or ": not stored: " in line]
    return bool(said) and "Traceback" not in ran.err and "fault of the program" not in ran.err


def full(*, rooms: Sequence[int] = ROOM_KIB, kinds: Sequence[str] = tuple(KINDS)) -> Counts:
    """Every command on disks with ever more room: done whole, or one sentence and nothing changed; with room it goes."""
    counts = Counts()
    with tempfile.TemporaryDirectory(dir=in_memory()) as place, small_disk(Path(place) / "disk", 24 * 1024) as disk:
        made_base(disk, kinds)
        for kind in kinds:
            for room in rooms:
                fresh(disk, KINDS[kind])
                with filled(disk, room):
                    ran = run(*asked(disk, KINDS[kind]), said=Path(place) / "said")
                counts.tried += 1
                counts.add([f"{kind}, {room} KiB: {one}" for one in after(disk / "own", kind, ran, counts)])
    return counts


def after(own: Path, kind: str, ran: Ran, counts: Counts) -> list[str]:
    """What is wrong after a command that may have failed, and after the same again without the fault."""
    what, wrong = KINDS[kind], []
    counts.struck += ran.code == 3
    acknowledged = ran.code == 0 and what.says in ran.out
    counts.acknowledged += acknowledged
    if ran.code not in (0, 3) or (ran.code == 3 and not one_sentence(ran)):
        wrong.append(f"ends with {ran.code}: {ran.err[-400:]}")
    wrong += faults_of(own / "fleet.db")
    for now, (sql, whole) in zip(found_of(own / "fleet.db", what.found), what.found, strict=True):
        counts.absent += now == 0
        counts.whole += not acknowledged and now == whole
        if acknowledged and now != whole:
            counts.lost += 1
        if (acknowledged and now != whole) or now not in (0, whole):
            wrong.append(f"{now} of {whole}: {sql}")
    return wrong + next_run(own, what, counts)


def locked(*, kinds: Sequence[str] = tuple(KINDS)) -> Counts:
    """Every command while another program writes: waited for, then one sentence; when that is done, it goes."""

    def impatient() -> None:
        store.BUSY_MS = 60

    def held(own: Path) -> Callable[[], None]:
        other = sqlite3.connect(own / "fleet.db", isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        return other.close

    return _each(kinds, held, before=impatient, unhindered=("backup", "migration"))


def read_only(*, kinds: Sequence[str] = tuple(KINDS)) -> Counts:
    """Every command of a user who may read the database and write neither it nor its folder."""

    def held(own: Path) -> Callable[[], None]:
        modes = {one: one.stat().st_mode for one in (own, *own.rglob("*"))}
        for one in modes:
            one.chmod(0o555 if one.is_dir() else 0o444)

        def let_go() -> None:
            for one, mode in modes.items():
                one.chmod(mode)

        return let_go

    def as_nobody() -> None:
        if os.geteuid() == 0:
            os.setuid(NOBODY)

    return _each(kinds, held, before=as_nobody, unhindered=())


def _each(
    kinds: Sequence[str],
    held: Callable[[Path], Callable[[], None]],
    *,
    before: Callable[[], None],
    unhindered: Sequence[str],
) -> Counts:
    """Every command under a fault that `held` makes and its result takes away."""
    counts = Counts()
    with tempfile.TemporaryDirectory(dir=in_memory()) as place:
        root = Path(place)
        root.chmod(0o755)
        made_base(root, kinds)
        for kind in kinds:
            fresh(root, KINDS[kind])
            let_go = held(root / "own")
            ran = run(*asked(root, KINDS[kind]), before=before)
            let_go()
            counts.tried += 1
            if ran.code == 0 and kind not in unhindered:
                counts.wrong.append(f"{kind}: done though it could not be: {ran.out}")
            counts.add([f"{kind}: {one}" for one in after(root / "own", kind, ran, counts)])
    return counts


def clock_set_back(*, kinds: Sequence[str] = tuple(KINDS), days: int = 400) -> Counts:
    """Every command twice, the second time with the clock set back: nothing is lost, nothing is taken for older."""
    counts = Counts()
    with tempfile.TemporaryDirectory(dir=in_memory()) as place:
        root = Path(place)
        made_base(root, kinds)
        for kind in kinds:
            what = KINDS[kind]
            fresh(root, what)
            run(*asked(root, what))
            (root / "own" / "copy.db").unlink(missing_ok=True)
            ran = run(*asked(root, what), before=lambda: set_clock(timedelta(days=-days)))
            counts.tried += 1
            counts.acknowledged += ran.code == 0
            if ran.code not in (0, *what.again):
                counts.wrong.append(f"{kind}: ends with {ran.code}: {ran.err[-300:]}")
            counts.add([f"{kind}: {one}" for one in faults_of(root / "own" / "fleet.db")])
            for now, (sql, whole) in zip(found_of(root / "own" / "fleet.db", what.found), what.found, strict=True):
                if now < whole:
                    counts.lost += 1
                    counts.wrong.append(f"{kind}: {now} of {whole}: {sql}")
    return counts


def set_clock(by: timedelta) -> None:
    """Let the program's own modules read another time, in a process that ends soon."""

    class Clock(type):
        def __instancecheck__(cls, one: object) -> bool:
            return isinstance(one, cls.__mro__[1])

    class Later(datetime, metaclass=Clock):
        @classmethod
        def now(cls, tz: Any = None) -> Any:
            return datetime.now(tz) + by

    class Day(date, metaclass=Clock):
        @classmethod
        def today(cls) -> Any:
            return date.today() + by

    for name, module in list(sys.modules.items()):
        if name.split(".")[0] in ("ingest", "dashboard"):
            for word, mine in (("datetime", Later), ("date", Day)):
                if getattr(module, word, None) in (datetime, date):
                    setattr(module, word, mine)
