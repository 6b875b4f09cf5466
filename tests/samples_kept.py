"""What takes seconds to make and never changes is made once a run, and kept where all workers of the run find it."""

from __future__ import annotations

import fcntl
import hashlib
import pickle
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import fields
from inspect import signature
from pathlib import Path
from typing import Any, TypeVar

import pandas as pd
from sqlite_utils import Database

from analysis.forecast import past
from analysis.kernel import ready
from analysis.readings.panel import FleetTables
from analysis.worklist import assess as worklist
from analysis.worklist.assess import Assessment

Made = TypeVar("Made")
_FOLDER: list[Path] = []


def keep_in(folder: Path) -> None:
    """Keep everything below this folder, which is the run's own and no other's."""
    folder.mkdir(exist_ok=True)
    _FOLDER[:] = [folder]


def folder() -> Path:
    """Where everything is kept."""
    return _FOLDER[0]


def kept_file(name: str, make: Callable[[Path], None]) -> Path:
    """The file or folder of that name, made by `make` if nobody did; to be copied, never written to."""
    path = _FOLDER[0] / name
    with (_FOLDER[0] / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # another worker may be making it
        if not path.exists():
            with tempfile.TemporaryDirectory(dir=_FOLDER[0]) as begun:
                make(Path(begun) / name)
                (Path(begun) / name).rename(path)
    return path


def copy_of(kept: Path, path: Path) -> Path:
    """A copy of a kept file or folder at `path`, which a test may write to."""
    if kept.is_dir():
        shutil.copytree(kept, path, dirs_exist_ok=True)
    else:
        shutil.copyfile(kept, path)
    return path


def in_one_file(db: Database) -> None:
    """Close a database so that its file alone is all of it."""
    db.conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.conn.close()


def kept(name: str, make: Callable[[], Made]) -> Made:
    """What `make` gives, made once a run; each call gets an object of its own."""
    file = kept_file(f"{name}.pickle", lambda path: _write(path, make()))
    with file.open("rb") as stored:
        made: Made = pickle.load(stored)
    return made


def _write(path: Path, made: object) -> None:
    with path.open("wb") as file:
        pickle.dump(made, file, protocol=pickle.HIGHEST_PROTOCOL)


def assess(tables: FleetTables, **settings: Any) -> Assessment:
    """`analysis.worklist.assess.assess`, worked out once a run for equal tables, settings, number of looks and loops.

    It is a pure function, so that keeping its results changes none (`test_assess.py` compares). For tests of what is made
    of an assessment; tests of the assessment itself call the function. Looks handed in for later calls stay empty.
    """
    settings.pop("looks", None)
    usual = {name: own.default for name, own in signature(worklist.assess).parameters.items()}
    settings = {name: usual[name] for name in usual.keys() - {"tables", "looks", "as_of"}} | settings
    frames = [(f.name, content(getattr(tables, f.name))) for f in fields(tables)]
    asked = repr((frames, sorted(settings.items()), past.LEARNING, ready.is_ready()))
    name = hashlib.sha256(asked.encode("utf-8", "surrogatepass")).hexdigest()
    return kept(name, lambda: worklist.assess(tables, **settings))


def content(frame: pd.DataFrame | tuple[object, ...] | None) -> str:
    """The rows of a frame in their order, with names and types of its columns and its index, as a key."""
    if not isinstance(frame, pd.DataFrame):
        return repr(frame)
    kinds = [(name, str(kind)) for name, kind in frame.dtypes.items()]
    return str([kinds, frame.index.tolist(), *(frame[name].tolist() for name in frame.columns)])
