"""Imports begun on the screens: each in a process of its own, limited in memory and time, that can be stopped."""

import atexit
import json
import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from threading import Thread
from time import monotonic
from types import FrameType
from typing import Any

try:
    import resource
except ImportError:  # a system without such limits
    HAS_LIMITS = False
else:
    HAS_LIMITS = True

from dashboard.desk import act_log
from dashboard.words.log_words import act_line
from ingest.errors import FileRefused, IngestError
from ingest.importer import import_paths
from ingest.outcome import FileOutcome, Outcome
from ingest.store import open_database

SECONDS_PER_FILE = 60  # of work; a file within `ingest.bounds` takes less; our choice
MOST_MEMORY = 2_500_000_000  # [byte] reserved, of which an import within `ingest.bounds` uses under a billion
TELL_EVERY_S = 0.2  # how often the progress is told; our choice
OUT_OF_MEMORY = "the import needed more memory than an import may have; split the file, or save its table as CSV"


@dataclass(frozen=True)
class Order:
    """What to import: the files as they lie in a folder of ours, and how."""

    database: str
    files: tuple[str, ...]
    now: str
    by: str
    source: str | None = None
    dry_run: bool = False
    account: str = ""  # that the sign-in told, for the log


@dataclass
class Import:
    """An import at work or ended: how far it is, and what became of it."""

    order: Order
    folder: tempfile.TemporaryDirectory[str]
    file: str = ""
    done: float = 0.0
    outcome: Outcome | None = None
    failed: str = ""
    stopped: bool = False
    kept: tuple[str, ...] = ()
    _process: subprocess.Popen[str] | None = field(default=None, repr=False)

    @property
    def ended(self) -> bool:
        """Whether nothing will change any more."""
        return self._process is None

    def stop(self) -> None:
        """End it; the file at hand is forgotten whole, those stored before stay."""
        process = self._process
        if process is not None:
            self.stopped = True
            process.terminate()


def begin(order: Order, folder: tempfile.TemporaryDirectory[str]) -> Import:
    """Begin an import beside this process; the folder is removed when it has ended."""
    running = Import(order, folder)
    command = [sys.executable, "-m", "dashboard.judging.importing", json.dumps(asdict(order))]
    quiet, one_thread = subprocess.DEVNULL, {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    try:
        process = subprocess.Popen(
            command, stdin=quiet, stdout=subprocess.PIPE, stderr=quiet, encoding="utf-8", env=one_thread
        )
    except OSError as error:  # no memory or no process left just now
        running.failed = f"The import could not be begun: {error.strerror}."
        folder.cleanup()
        return running
    running._process = process
    Thread(target=_follow, args=(running, process, _last_origin(order.database)), daemon=True).start()
    return running


def _follow(running: Import, process: subprocess.Popen[str], before: int) -> None:
    """Take down what the process tells until it ends."""
    atexit.register(process.terminate)
    began = monotonic()
    try:
        with process:
            for line in process.stdout or ():
                told = json.loads(line)
                if "outcome" in told:
                    files = tuple(
                        FileOutcome(**{**one, "notes": tuple(one["notes"])}) for one in told["outcome"]["files"]
                    )
                    running.outcome = Outcome(files, told["outcome"]["dry_run"])
                elif "failed" in told:
                    running.failed = told["failed"]
                else:
                    running.file, running.done = told["file"], told["done"]
        if running.outcome is None:
            running.kept = _files_since(running.order.database, before)
            if not running.failed and not running.stopped:
                running.failed = f"The import ended before its end: {OUT_OF_MEMORY}."
    except IngestError as error:
        running.failed = str(error)
    finally:
        atexit.unregister(process.terminate)
        running.folder.cleanup()
        running._process = None
        _log(running, monotonic() - began)


def _log(running: Import, took_s: float) -> None:
    """Note what became of the import, with the names of its files."""
    outcome, order = running.outcome, running.order
    failed = "" if outcome else "stopped" if running.stopped else "failed"
    told = [outcome.summary(), *(one.file for one in outcome.files)] if outcome else list(running.kept)
    act_log.note(Path(order.database), act_line("import", order.account, took_s, told, failed), failed=bool(failed))


def _last_origin(database: str) -> int:
    with open_database(database) as db:
        return max((int(row["id"]) for row in db.query("SELECT max(id) AS id FROM origins") if row["id"]), default=0)


def _files_since(database: str, origin: int) -> tuple[str, ...]:
    """The files that were stored whole since an origin."""
    with open_database(database) as db:
        rows = db.query("SELECT file FROM origins WHERE id > ? AND kind = 'file' ORDER BY id", [origin])
        return tuple(str(row["file"]) for row in rows)


# --- in the process of its own ---------------------------------------------------------------------------------------


def main(arguments: Sequence[str]) -> int:
    """Import as ordered; tell progress and outcome as JSON lines on standard output."""
    order = Order(**{**(given := json.loads(arguments[0])), "files": tuple(given["files"])})
    limit_memory()
    try:
        db = open_database(order.database)
        outcome = import_paths(
            db, order.files, source=order.source, dry_run=order.dry_run, now=datetime.fromisoformat(order.now),
            by=order.by, progress=Teller(len(order.files)),
        )  # fmt: skip
    except (IngestError, ValueError) as error:
        _tell({"failed": str(error)})
    except MemoryError:
        _tell({"failed": f"Nothing more was stored: {OUT_OF_MEMORY}."})
    else:
        _tell({"outcome": asdict(outcome)})
    return 0


def limit_memory() -> None:
    """Limit the memory of this process where the system can; elsewhere `ingest.bounds` alone holds."""
    if HAS_LIMITS:
        _, most = resource.getrlimit(resource.RLIMIT_DATA)
        resource.setrlimit(resource.RLIMIT_DATA, (MOST_MEMORY, most))


def allow_a_file() -> None:
    """Give the next file its time: when it is used up, that file is refused and the others go on."""
    if not HAS_LIMITS:
        return
    used = resource.getrusage(resource.RUSAGE_SELF)
    _, most = resource.getrlimit(resource.RLIMIT_CPU)
    signal.signal(signal.SIGXCPU, _too_long)
    resource.setrlimit(resource.RLIMIT_CPU, (int(used.ru_utime + used.ru_stime) + SECONDS_PER_FILE, most))


def _too_long(_number: int, _frame: FrameType | None) -> None:
    allow_a_file()
    raise FileRefused(f"it takes more than {SECONDS_PER_FILE} s; split it, or save its table as CSV")


class Teller:
    """Tells how far the import is: the file at hand, and the share of all files that is done."""

    def __init__(self, files: int) -> None:
        self._files = files
        self._names: list[str] = []
        allow_a_file()  # to look into all of them
        self._told = 0.0

    def __call__(self, file: str, done: int, total: int) -> None:
        if not self._names or self._names[-1] != file:
            self._names.append(file)
            allow_a_file()
        share = (len(self._names) - 1 + done / max(total, 1)) / max(self._files, len(self._names))
        if monotonic() - self._told >= TELL_EVERY_S or done >= total:
            self._told = monotonic()
            _tell({"file": file, "done": min(share, 1.0)})


def _tell(what: dict[str, Any]) -> None:
    sys.stdout.write(json.dumps(what, ensure_ascii=False) + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
