"""Logs of the bus looked into from the screens: each in a process of its own, limited in memory and time.

A log may be anybody's file, and who reads it is a library that trusts what it reads.
"""

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import Any

from dashboard.desk.bus_source import Logged, LoggedStart, starts_in
from dashboard.judging.importing import SECONDS_PER_FILE, allow_a_file, limit_memory
from ingest.errors import FileRefused

TOO_MUCH = "it takes more time or memory than a log may; split it"


def look_into(file: Path, *, dbc: Path | None = None, began: datetime | None = None) -> Logged:
    """The starts of a log; FileRefused as :func:`dashboard.desk.bus_source.starts_in`, and for one that takes too much."""
    order = [str(file), str(dbc or ""), began.isoformat() if began else ""]
    command = [sys.executable, "-m", "dashboard.judging.bus_looking", json.dumps(order)]
    try:
        done = subprocess.run(
            command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, encoding="utf-8",
            timeout=2 * SECONDS_PER_FILE, env={**os.environ, "OPENBLAS_NUM_THREADS": "1"}, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        raise FileRefused(TOO_MUCH) from None
    except OSError as error:
        raise FileRefused(f"it could not be looked into: {error.strerror}") from error
    told = json.loads(done.stdout) if done.returncode == 0 and done.stdout else {"refused": TOO_MUCH}
    if "refused" in told:
        raise FileRefused(told["refused"])
    return logged_of(told)


def logged_of(told: dict[str, Any]) -> Logged:
    starts = tuple(LoggedStart(**{**one, "words": tuple(one["words"])}) for one in told["starts"])
    return Logged(**{**told, "starts": starts})


# --- in the process of its own ---------------------------------------------------------------------------------------


def main(arguments: Sequence[str]) -> int:
    """Look into a log as ordered; tell what it holds, or why it is refused, as JSON on standard output."""
    file, dbc, began = json.loads(arguments[0])
    limit_memory()
    allow_a_file()
    try:
        logged = starts_in(
            Path(file), dbc=Path(dbc) if dbc else None, began=datetime.fromisoformat(began) if began else None
        )
        told: dict[str, Any] = asdict(logged)
    except FileRefused as error:
        told = {"refused": str(error)}
    except MemoryError:
        told = {"refused": TOO_MUCH}
    sys.stdout.write(json.dumps(told, ensure_ascii=False))
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
