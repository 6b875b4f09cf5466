"""A fleet's readings, kept beside the database as they were read: only those of vehicles of which something was written
since are read again.

What is kept belongs to a write that the database still tells of by its token, so that of another database, or of a copy
that was put back, nothing is taken. Columns in which nothing stands are left out of the file.
"""

from __future__ import annotations

from datetime import date
from functools import cache
from typing import Any, Final

import numpy as np
import pandas as pd
from sqlite_utils import Database

from dashboard.desk.kept_assessment import folder_of, forget_old, program, read_kept, write_kept
from ingest import store

SUFFIX: Final = ".readings"
MOST_CHANGED: Final = 0.5  # share of vehicles above which all of them are read: our choice, as it is the quicker way
MARKS: Final = ["reading_id", "doubtful", "doubt_reason"]
Kept = dict[str, Any]
"""write, token: the newest write, whatever its table; reading_id, audit_id: the highest numbers; readings: the frame."""


def read_readings(db: Database, *, before: date | None = None) -> pd.DataFrame:
    """What :func:`ingest.store.read_readings` returns of all vehicles; call within `store.at_one_moment`."""
    folder, now = folder_of(db), _state(db)
    if folder is None or now is None:
        return store.read_readings(db, before=before)
    file = folder / (program() + SUFFIX)
    held = read_kept(file)
    found = None
    if isinstance(held, dict):
        try:
            found = _brought_up(db, held, now)
        except (AttributeError, IndexError, KeyError, TypeError, ValueError):
            found = None  # not kept by us
    if found is None or now["write"] != held["write"]:
        found = store.read_readings(db) if found is None else found
        write_kept(file, {**now, "readings": found[[name for name, column in found.items() if _some(column)]]})
        forget_old(folder, SUFFIX, 1)
    if before is not None and (later := (found["taken_at"] >= pd.Timestamp(before)).to_numpy()).any():
        found = found[~later].reset_index(drop=True)
    return found


def _state(db: Database) -> Kept | None:
    """How far the database has come; None where no reading, or no write, is on record."""
    return next(
        db.query(
            "SELECT id AS write, token, (SELECT max(reading_id) FROM readings) AS reading_id,"
            " (SELECT coalesce(max(id), 0) FROM audit) AS audit_id FROM writes WHERE reading_id IS NOT NULL"
            " ORDER BY id DESC LIMIT 1"
        ),
        None,
    )


def _brought_up(db: Database, held: Kept, now: Kept) -> pd.DataFrame | None:
    """All readings of today by those that were kept; None where these are of another database, or most have changed."""
    if not db.table("writes").count_where("id = ? AND token = ?", [held["write"], held["token"]]):
        return None
    kept, empty = held["readings"], store.read_readings(db, units=[])
    if held["write"] != now["write"]:
        changed = _changed(db, held, _whole(kept, empty[["unit", *MARKS]]))
        if len(changed) > MOST_CHANGED * kept["unit"].nunique():
            return None
        if changed:
            fresh = store.read_readings(db, units=changed)
            some = [name for name in empty if name in kept or _some(fresh[name])]
            kept = _joined(_whole(kept, empty[some]), fresh[some], set(changed))
    if len(kept) != db.table("readings").count:
        return None
    return _whole(kept, empty)


def _changed(db: Database, held: Kept, kept: pd.DataFrame) -> list[str]:
    """Vehicles whose rows are not what was kept: new rows, corrected, withdrawn, put back, or judged otherwise doubtful."""
    newer = db.query("SELECT unit FROM readings WHERE reading_id > ?", [held["reading_id"]])
    found = {str(row["unit"]) for row in newer}
    numbers: set[int] = set()
    for row in db.query("SELECT * FROM audit WHERE id > ? AND table_name = 'readings'", [held["audit_id"]]):
        numbers.add(int(row["row_key"]))
        found |= {str(row[name]) for name in ("old_value", "new_value") if row["column_name"] == "unit"}
    for number in numbers:
        found |= {str(row["unit"]) for row in db.query("SELECT unit FROM readings WHERE reading_id = ?", [number])}
    doubtful = db.query(f"SELECT {', '.join(MARKS)} FROM readings WHERE doubtful <> ''")
    was = kept.loc[kept["doubtful"] != "", MARKS].itertuples(index=False, name=None)
    numbers |= {int(row[0]) for row in {tuple(row.values()) for row in doubtful} ^ set(was)}
    return sorted(found | set(kept.loc[kept["reading_id"].isin(numbers), "unit"]))


def _joined(kept: pd.DataFrame, fresh: pd.DataFrame, changed: set[str]) -> pd.DataFrame:
    """Kept rows but for those of the changed vehicles, with the fresh ones of these, in the order of unit and time."""
    code, names = pd.factorize(kept["unit"])
    stays = ~np.array([name in changed for name in names], dtype=bool)[code]
    both = pd.concat([kept[stays], fresh], ignore_index=True)
    place = {name: k for k, name in enumerate(sorted({*names, *changed}))}  # as SQLite orders them, by code point
    code, names = pd.factorize(both["unit"])
    order = np.argsort(np.array([place[name] for name in names])[code], kind="stable")
    return both.take(order).reset_index(drop=True)


def _some(column: pd.Series[Any]) -> bool:
    if column.dtype == np.float64:
        return not np.isnan(column.to_numpy()).all()
    return column.dtype != "str" or bool((column != "").any())


def _whole(kept: pd.DataFrame, empty: pd.DataFrame) -> pd.DataFrame:
    """The kept columns with those that were left out, in the order and of the kinds of `empty`."""

    @cache  # those of a kind share one
    def nothing(kind: Any) -> pd.Series[Any]:
        value: Any = np.nan if kind == np.float64 else ""
        return pd.Series(pd.array([value], dtype=kind).take(np.zeros(len(kept), np.int64)))

    columns = {name: kept[name] if name in kept else nothing(kind) for name, kind in empty.dtypes.items()}
    return pd.DataFrame(columns, copy=False)
