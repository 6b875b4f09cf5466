"""A command in a process of its own, begun in an instant from one that has loaded the program, and killed at a moment."""

from __future__ import annotations

import gc
import os
import random
import signal
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from time import monotonic, sleep

from dashboard.cli.main import main
from faults.disk_log import Event, watched, why_not

PATIENCE_S = 600.0  # [s] after which a command that does not end is a fault, our choice: on a machine that many share it takes minutes


@dataclass(frozen=True)
class Ran:
    """How a command ended: its exit code, None where it was killed; what it said; how long it took."""

    code: int | None
    out: str
    err: str
    took_s: float


@dataclass(frozen=True)
class Moment:
    """When to kill: so many seconds after the begin, or at so manieth write to the folder; 0 for never."""

    after_s: float = 0.0
    at_write: int = 0


def run(
    words: Sequence[str],
    folder: Path,
    *,
    moment: Moment | None = None,
    before: Callable[[], None] | None = None,
    said: Path | None = None,
) -> Ran:
    """Run `cranktrend` with these words; `before` is called in its process first, what it says is kept at `said`."""
    moment, told = moment or Moment(), said or folder.parent / f"{folder.name}.said"
    files = [Path(f"{told}.{name}") for name in ("out", "err")]
    for file in files:
        file.write_bytes(b"")  # a run may be killed before it says anything
    started = monotonic()
    pid = os.fork()
    if pid == 0:
        _child(words, folder, moment, before, told)
    code = _wait(pid, started, moment.after_s)
    out, err = (file.read_text(errors="replace") for file in files)
    return Ran(code, out, err, monotonic() - started)


def _child(words: Sequence[str], folder: Path, moment: Moment, before: Callable[[], None] | None, told: Path) -> None:
    """The forked process: it never returns into the one it came from."""
    code = 70  # as sysexits has it: a fault of the harness itself
    gc.disable()  # it would touch, and so copy, all that was loaded before
    try:
        for number, name in ((1, "out"), (2, "err")):
            opened = os.open(f"{told}.{name}", os.O_WRONLY)
            os.dup2(opened, number)
        sys.stdout, sys.stderr = (os.fdopen(n, "w", encoding="utf-8", closefd=False) for n in (1, 2))
        if before:
            before()
        code = _ended(words) if not moment.at_write else _struck(words, folder, moment.at_write)
        sys.stdout.flush()
        sys.stderr.flush()
    finally:
        os._exit(code)


def _ended(words: Sequence[str]) -> int:
    try:
        return main(list(words))
    except SystemExit as left:
        return int(left.code or 0)


def _struck(words: Sequence[str], folder: Path, number: int) -> int:
    seen = 0

    def strike(_: Event) -> None:
        nonlocal seen
        seen += 1
        if seen >= number:
            os.kill(os.getpid(), signal.SIGKILL)

    with watched(folder, strike):
        return _ended(words)


def writes_of(words: Sequence[str], folder: Path, before: Callable[[], None] | None = None) -> int:
    """How many writes to a folder a command makes; 0 where they cannot be seen."""
    if why_not():
        return 0
    counter = folder.parent / f"{folder.name}.writes"

    def count() -> None:
        if before:
            before()
        layer = watched(folder, lambda _: counter.open("ab").write(b".") and None)
        layer.__enter__()

    counter.write_bytes(b"")
    run(words, folder, before=count)
    return counter.stat().st_size


def _wait(pid: int, started: float, after_s: float) -> int | None:
    while True:
        done, status = os.waitpid(pid, os.WNOHANG)
        if done:
            return None if os.WIFSIGNALED(status) else os.WEXITSTATUS(status)
        passed = monotonic() - started
        if (after_s and passed >= after_s) or passed > PATIENCE_S:
            os.kill(pid, signal.SIGKILL)
            os.waitpid(pid, 0)
            if passed > PATIENCE_S:
                raise TimeoutError("a command did not end")
            return None
        sleep(0.001)


def a_moment(chance: random.Random, took_s: float, writes: int, by_clock: float) -> Moment:
    """A random moment of a command: a share of them by the clock, the others at a write."""
    if writes and chance.random() >= by_clock:
        return Moment(at_write=chance.randint(1, writes))
    return Moment(after_s=max(0.001, chance.random() * 1.05 * took_s))
