"""Assessments, and the looks at the past that they learn from, kept in a folder beside their database: nothing is worked
out twice.

Each is kept under what it was made of: an assessment under the rows that its day knows, the settings it follows, the day
and horizon; a look under the rows that it rests on, so that a later list takes it as it is; and both under the program that
made them. Whatever is wrong with a kept one, it is worked out anew; the folder can be thrown away.
"""

import hashlib
from collections.abc import Iterator, MutableMapping
from contextlib import suppress
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import scipy
from sqlite_utils import Database

from analysis.forecast.learning import Look
from analysis.kernel.ready import is_ready
from analysis.worklist.assess import Assessment
from dashboard.desk import own_limits, taught_laws
from dashboard.desk.packed import NotPacked, pack_to, unpack
from ingest.backups import written_beside
from ingest.records import read_settings
from ingest.writing import first

FOLDER = "-assessments"  # follows the database's name
KEPT = 3  # this week's, last week's, and one that somebody looked up; our choice, as each takes some 14 kB a vehicle
KEPT_LOOKS = 54  # two years of them thrice over: a correction makes them anew; our choice, at most 0.3 MB each
SUFFIX, LOOK_SUFFIX = ".kept", ".look"
JUDGED_TABLES = ("units", "readings", "repairs", "climate", "forecast", "lows")
# whose code decides what an assessment, or a plan, holds
MADE_BY = ("analysis", "ingest", "dashboard/desk", "dashboard/words")
TOLERATED_FALSE_FLAGS = 5.0  # per 100 healthy unit-years, unless the settings say otherwise; our choice


def tolerated_false_flags(db: Database) -> float:
    """The false-flag rate that the user tolerates, per 100 healthy unit-years."""
    chosen = read_settings(db).get("tolerated_false_flags", TOLERATED_FALSE_FLAGS)
    return float(chosen) if isinstance(chosen, int | float) else TOLERATED_FALSE_FLAGS


def judged_version(db: Database, day: date) -> str:
    """A text that changes with every write that an assessment of `day` would see, and differs between databases.

    What is dated that day or later does not count, nor what the list does not rest on: pins, prices, decisions other
    than that nothing was found.
    """
    marks = ", ".join("?" * len(JUDGED_TABLES))
    sql = f"SELECT id, token FROM writes WHERE first_on < ? AND table_name IN ({marks}) ORDER BY id DESC LIMIT 1"
    write = first(db, sql, [day.isoformat(), *JUDGED_TABLES]) or {"id": "", "token": ""}
    answers = list(db.query("SELECT * FROM reset_answers WHERE at < ? ORDER BY 1, 2, 3, 4", [day.isoformat()]))
    own = read_settings(db)
    settings = (tolerated_false_flags(db), own.get(own_limits.SETTING, ""), own.get(taught_laws.SETTING) or "")
    return "-".join((*map(str, write.values()), _digest(answers), _digest(settings), _looks(db, day)))


def _looks(db: Database, day: date) -> str:
    """Changes with the looks that found a part sound and with the lists that name it, without reading the lists."""
    sql = "SELECT id, unit, iso_week, at FROM decisions WHERE kind = 'nothing_found' AND at < ? ORDER BY id"
    looks = list(db.query(sql, [day.isoformat()]))
    weeks = sorted({str(row["iso_week"]) for row in looks})
    marks = ", ".join("?" * len(weeks))
    sql = f"SELECT iso_week, version, issued_at FROM weekly_lists WHERE iso_week IN ({marks}) ORDER BY 1, 2"
    lists = list(db.query(sql, weeks))
    visits = list(
        db.query(
            "SELECT visit_id, unit, part, found, at FROM visits JOIN origins ON origins.id = origin_id WHERE at < ? AND found IN"
            " ('sound', 'other') ORDER BY visit_id",
            [day.isoformat()],
        )
    )
    return _digest((looks, lists, visits)) if looks or visits else ""


def _digest(rows: object) -> str:
    return hashlib.sha256(repr(rows).encode()).hexdigest()[:16]


@lru_cache(maxsize=1)
def program() -> str:
    """Changes with the code that makes assessments and with the libraries that reckon in it."""
    house = Path(__file__).resolve().parents[2]
    content = hashlib.sha256(repr((np.__version__, pd.__version__, scipy.__version__)).encode())
    for package in MADE_BY:
        for file in sorted((house / package).rglob("*.py")):
            content.update(file.read_bytes())
    return content.hexdigest()[:16]


def name_of(db: Database, as_of: date, horizon_days: int) -> str:
    """The name that an assessment of the database as it is would be kept under."""
    made_of = (judged_version(db, as_of), as_of.isoformat()[:10], horizon_days, program())
    return hashlib.sha256(repr(made_of).encode()).hexdigest()[:32] + SUFFIX


def folder_of(db: Database) -> Path | None:
    """Where the database's assessments are kept; None for a database in memory."""
    (file,) = (str(row["file"]) for row in db.query("PRAGMA database_list") if row["name"] == "main")
    return Path(file + FOLDER) if file else None


def kept(folder: Path | None, name: str) -> Assessment | None:
    """The assessment kept under a name; None where there is none that can be read whole."""
    found = None if folder is None else read_kept(folder / name)
    return found if isinstance(found, Assessment) else None


def keep(folder: Path | None, name: str, found: Assessment) -> None:
    """Keep an assessment, and forget all but the newest; where that is impossible, it is not kept."""
    if folder is not None:
        write_kept(folder / name, found)
        forget_old(folder, SUFFIX, KEPT)


class KeptLooks(MutableMapping[str, Look]):
    """Looks at the past by the key of what they rest on, and by whether loops were compiled, which rounds otherwise; without a
    folder they are kept in memory only."""

    def __init__(self, folder: Path | None) -> None:
        self._folder = folder
        self._here: dict[str, Look] = {}

    def _file(self, key: str) -> Path | None:
        name = hashlib.sha256(repr((key, program(), is_ready())).encode()).hexdigest()[:32] + LOOK_SUFFIX
        return None if self._folder is None else self._folder / name

    def __getitem__(self, key: str) -> Look:
        if key not in self._here:
            file = self._file(key)
            found = None if file is None else read_kept(file)
            if not isinstance(found, Look):
                raise KeyError(key)
            self._here[key] = found
        return self._here[key]

    def __setitem__(self, key: str, look: Look) -> None:
        self._here[key] = look
        file = self._file(key)
        if file is not None:
            write_kept(file, look)

    def __delitem__(self, key: str) -> None:
        del self._here[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._here)

    def __len__(self) -> int:
        return len(self._here)

    def forget(self) -> None:
        if self._folder is not None:
            forget_old(self._folder, LOOK_SUFFIX, KEPT_LOOKS)


def read_kept(file: Path) -> Any:
    """What a file holds; None where it cannot be read whole. What was read counts as new again."""
    try:
        found = unpack(file.read_bytes())
        file.touch()
    except (OSError, NotPacked):
        return None
    return found


def write_kept(file: Path, found: object) -> None:
    with suppress(OSError):  # a full disk, a folder that cannot be written to: nothing is lost but time
        file.parent.mkdir(mode=0o700, exist_ok=True)  # its owner's only, as the database is; so are temporary files
        with written_beside(file) as part:
            with part.open("w+b") as out:
                pack_to(out, found)
            part.replace(file)


def forget_old(folder: Path, suffix: str, most: int) -> None:
    """Forget all but the newest `most` of a kind; another process may have done so before."""
    with suppress(OSError):
        for old in sorted(folder.glob(f"*{suffix}"), key=lambda one: one.stat().st_mtime_ns)[:-most]:
            old.unlink()
