"""Open the database, and read its tables as typed frames."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from sqlite_utils import Database

from ingest.backups import backup_of_version, forget_old_versions, make_private
from ingest.bulk import read_bulk
from ingest.errors import DatabaseRefused, DatabaseTrouble, IngestError
from ingest.fields import MEASUREMENTS, TABLES
from ingest.place import check_place
from ingest.schema import migrate, older_version
from ingest.sheets import objects

CACHE_KIB = 131_072  # [KiB] page cache of a connection: the index of a million readings fits; our choice
TEXT = pd.api.types.pandas_dtype("str")  # looked up once: by its name it is half the work of a small column
BUSY_MS = 15_000  # [ms] wait for another writer (a second technician, a running import) before giving up; our choice


def open_database(
    path: str | Path, *, create: bool = True, told: Callable[[str, Path], None] | None = None
) -> Database:
    """Open the database file `path` at the current version, with foreign keys on and write-ahead logging.

    What is said to be stored is on the disk, whatever happens to the power. A database of an older version is copied
    beside itself before it is changed; `told` is given that version and the copy.
    Raises DatabaseRefused when it is missing (and not `create`), not a database, not ours, or from a newer version;
    DatabaseTrouble when it is busy, damaged, or in a place that cannot be written to.
    """
    file = Path(path)
    check_place(file, create=create)
    connection = None
    try:
        with suppress(OSError):  # it is there, or SQLite says why it cannot be
            make_private(file)
        connection = sqlite3.connect(str(file), check_same_thread=False, timeout=BUSY_MS / 1000)
        db = Database(connection)
        refuse_foreign(db, file)
        db.enable_wal()
        db.executescript(f"PRAGMA synchronous=FULL; PRAGMA cache_size=-{CACHE_KIB}; PRAGMA foreign_keys=ON")
        _bring_up(db, file, told)
    except BaseException as error:
        if connection is not None:
            connection.close()
        if isinstance(error, sqlite3.Error):
            raise not_opened(error, file) from error
        if isinstance(error, DatabaseRefused):
            raise DatabaseRefused(f"{file}: {error}") from error
        raise
    return db


def _bring_up(db: Database, file: Path, told: Callable[[str, Path], None] | None) -> None:
    """Bring the tables up to today's, those of an older version after a copy of them; without a copy nothing is changed."""
    version = older_version(db)
    copy = backup_of_version(db, file, version) if version else None
    try:
        migrate(db)
    except BaseException:
        if copy:  # nothing was changed: the database is its own copy
            copy.unlink(missing_ok=True)
        raise
    if copy:
        forget_old_versions(file, copy)
        if told:
            told(version, copy)


def not_opened(error: sqlite3.Error, file: Path) -> IngestError:
    """A file that is no database was named by mistake; everything else is trouble with a database."""
    if getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_NOTADB:
        return DatabaseRefused(f"{file} cannot be opened, it is not a database; name another file with --db")
    return DatabaseTrouble(error)


def refuse_foreign(db: Database, file: Path) -> None:
    """Leave a database alone that some other program keeps its own tables in."""
    names = set(db.table_names())
    if names and "_sqlite_migrations" not in names:
        raise DatabaseRefused(f"{file.name} holds another program's tables ({min(names)!r} ...); name another file")


def only_read(db: Database, *, on: bool) -> None:
    """Let SQLite refuse everything that a connection would write, or take it again."""
    db.conn.execute(f"PRAGMA query_only={'ON' if on else 'OFF'}")


@contextmanager
def at_one_moment(db: Database) -> Iterator[None]:
    """Reads within see the database as it was at the first of them, whatever others write meanwhile."""
    if db.conn.in_transaction:
        yield
        return
    db.conn.execute("BEGIN")
    try:
        yield
    finally:
        db.conn.rollback()


def is_empty(db: Database) -> bool:
    """Tell whether nothing was ever stored or set aside."""
    return not any(db.query("SELECT 1 FROM origins LIMIT 1"))


def any_in_service(db: Database, day: date) -> bool:
    """Tell whether a vehicle is in service still for a list of `day`: its last day is a later one, or not known."""
    return any(
        db.query("SELECT 1 FROM units WHERE coalesce(out_of_service, '9999') > ? LIMIT 1", [day.isoformat()[:10]])
    )


def last_days_ahead(db: Database, day: date) -> dict[str, date]:
    """Return the last day in service of the vehicles that are in service still on `day` and leave later."""
    rows = db.query("SELECT unit, out_of_service FROM units WHERE out_of_service > ?", [day.isoformat()[:10]])
    return {row["unit"]: date.fromisoformat(row["out_of_service"]) for row in rows}


def newest_reading(db: Database, *, before: date) -> date | None:
    """Return the day of the newest reading taken before the day `before`; None when there is none."""
    (row,) = db.query("SELECT max(taken_at) AS newest FROM readings WHERE taken_at < ?", [before.isoformat()])
    return date.fromisoformat(row["newest"][:10]) if row["newest"] else None


def data_version(db: Database) -> str:
    """Return a short text that changes with every write the analysis would see (a key for caches)."""
    newest = db.query(
        "SELECT coalesce(max(id), 0) AS newest FROM origins UNION ALL SELECT coalesce(max(id), 0) FROM audit"
        " UNION ALL SELECT coalesce(max(id), 0) FROM decisions UNION ALL SELECT coalesce(max(at), '') FROM reset_answers"
        " UNION ALL SELECT count(*) FROM reset_answers UNION ALL SELECT coalesce(max(at), '') FROM settings"
    )
    return "-".join(str(row["newest"]) for row in newest)


# --- typed reads -----------------------------------------------------------------------------------------------------


def read_units(db: Database) -> pd.DataFrame:
    """Return units: unit, vehicle_class, system_v, fuel, cylinders, rated_cca_a [A], depot, in_service, battery_type,
    batteries, in_parallel, oil_grade, starting_aid, aid_below_c [°C], aid_load_a [A],
    fuel_limit_c [°C], out_of_service; words are '' and numbers NaN where not given."""
    return _described(db, "units", "unit")


def read_repairs(db: Database, *, before: date | None = None) -> pd.DataFrame:
    """Return repairs done before the day `before`: unit, done_on, part, action, reason, note, repair_id."""
    return _described(db, "repairs", "unit, done_on, repair_id", ("done_on", before), ids=("repair_id",))


def read_climate(db: Database) -> pd.DataFrame:
    """Return climate: depot, month, low_c [°C], low_sd_c [K]."""
    return _described(db, "climate", "depot, month")


def read_forecast(db: Database) -> pd.DataFrame:
    """Return forecast lows: depot, date, low_c [°C]."""
    return _described(db, "forecast", "depot, date")


def read_lows(db: Database, *, before: date | None = None) -> pd.DataFrame:
    """Return daily lows measured before the day `before`: depot, date, low_c [°C]."""
    return _described(db, "lows", "depot, date", ("date", before))


def read_services(db: Database) -> pd.DataFrame:
    """Return services: unit, due_on."""
    return _described(db, "services", "unit, due_on")


def read_workshops(db: Database) -> pd.DataFrame:
    """Return workshops: depot, week_from (NaT: the usual week), hours_per_week [h]."""
    return _described(db, "workshops", "depot, week_from")


def read_workshop_days(db: Database) -> pd.DataFrame:
    """Return the days on which workshops work: depot, weekday (1 is Monday), share of the week's hours."""
    columns = ("depot", "weekday", "share")
    return read_table(db, "workshop_days", columns, order="depot, weekday", numbers=("share",), ids=("weekday",))


def read_closures(db: Database) -> pd.DataFrame:
    """Return closed days: depot ("" for every one), from_on, to_on (both closed), why."""
    columns, order = ("depot", "from_on", "to_on", "why"), "from_on, to_on, depot"
    return read_table(db, "closures", columns, order=order, dates=("from_on", "to_on"))


def read_parts(db: Database) -> pd.DataFrame:
    """Return parts: part, price, labour_h [h], lead_days [d]."""
    return _described(db, "parts", "part")


def _described(
    db: Database, name: str, order: str, before: tuple[str, date | None] = ("", None), ids: Sequence[str] = ()
) -> pd.DataFrame:
    """A table whose columns `ingest.fields` describes, and numbers of its rows beside them."""
    table = TABLES[name]
    whole = [column.name for column in table.columns if column.kind == "whole" and column.required]
    numbers = [c.name for c in table.columns if c.kind in ("number", "whole") and c.name not in whole]
    dates = [column.name for column in table.columns if column.kind == "date"]
    columns, ids = (*table.names, *ids), (*whole, *ids)
    return read_table(db, name, columns, order=order, before=before, numbers=numbers, dates=dates, ids=ids)


READING_TEXTS = (
    "outcome", "jumper_start", "technician", "instrument", "note", "remark", "doubtful", "doubt_reason", "confirmed",
    "lowest_is",
)  # fmt: skip


def read_readings(db: Database, *, before: date | None = None, units: Sequence[str] | None = None) -> pd.DataFrame:
    """Return readings taken before the day `before`, of `units` or of all, sorted by unit and taken_at.

    Columns: unit, taken_at, all measurements (float64, NaN where missing), outcome, jumper_start, technician,
    instrument, note, remark, reading_id, doubtful (names of measurements not to be taken at face value, comma-joined),
    doubt_reason, confirmed (names of measurements that were taken twice and count as right, comma-joined), lowest_is
    ("sampled" where crank_min_v is an upper bound, else "").
    """
    limit = _day(before).isoformat() if before is not None else ""
    bulk = read_bulk(db, numbers=MEASUREMENTS, texts=READING_TEXTS, before=limit, units=units, halves=True)
    columns: dict[str, pd.Series[Any]] = {
        "unit": pd.Series(bulk.unit, dtype=TEXT),
        "taken_at": pd.Series(bulk.taken_at.astype("datetime64[us]")),
    }
    # columns in which nothing stands share one; each other array is let go of once it is a column: a large fleet fits in
    # memory once
    nothing, silence = pd.Series(np.full(len(bulk), np.nan)), pd.Series(np.full(len(bulk), "", object), dtype=TEXT)
    for name in MEASUREMENTS:
        values = bulk.numbers.pop(name)
        columns[name] = nothing if np.isnan(values).all() else pd.Series(values, copy=False)
    for name in READING_TEXTS:
        texts = bulk.texts.pop(name)
        columns[name] = pd.Series(texts, dtype=TEXT) if texts.any() else silence
    columns["reading_id"] = pd.Series(bulk.reading_id, copy=False)
    return pd.DataFrame(columns, copy=False)


LATEST_OF_EACH = """
SELECT {columns} FROM units JOIN readings ON readings.reading_id IN (
    SELECT reading_id FROM readings AS own WHERE own.unit = units.unit AND own.taken_at < ?
    ORDER BY own.taken_at DESC LIMIT {most}
) WHERE coalesce(units.out_of_service, '9999') >= ? ORDER BY readings.unit, readings.taken_at
"""


def read_latest(db: Database, *, before: datetime, most: int) -> pd.DataFrame:
    """Return the latest `most` readings taken before the moment `before` of every vehicle in service then: unit and all measurements."""
    columns = ("readings.unit", *(f"readings.{name}" for name in MEASUREMENTS))
    sql = LATEST_OF_EACH.format(columns=", ".join(columns), most=int(most))
    told = [before.isoformat(timespec="seconds"), before.date().isoformat()]
    frame = pd.DataFrame(db.query(sql, told), columns=["unit", *MEASUREMENTS])
    return frame.astype({"unit": "str", **dict.fromkeys(MEASUREMENTS, "float64")})


def _day(before: date) -> date:
    return before.date() if isinstance(before, datetime) else before


def read_table(
    db: Database,
    table: str,
    columns: Sequence[str],
    *,
    order: str,
    before: tuple[str, date | None] = ("", None),
    numbers: Sequence[str] = (),
    dates: Sequence[str] = (),
    ids: Sequence[str] = (),
) -> pd.DataFrame:
    """Return columns of a table (or of a query in brackets), rows of a column's days before a day where one is given.

    Each column has its dtype: float64, datetime64[us], int64, else str.
    """
    column, day = before
    where, values = (f" WHERE {column} < ?", [_day(day).isoformat()]) if day is not None else ("", [])
    rows = db.execute(f"SELECT {', '.join(columns)} FROM {table}{where} ORDER BY {order}", values).fetchall()
    by_column = list(zip(*rows, strict=True)) if rows else [()] * len(columns)
    return pd.DataFrame(
        {
            name: _typed(objects(cells), number=name in numbers, day=name in dates, whole=name in ids)
            for name, cells in zip(columns, by_column, strict=True)
        }
    )


def _typed(cells: npt.NDArray[np.object_], *, number: bool, day: bool, whole: bool) -> pd.Series[Any]:
    if number or whole:
        return pd.Series(cells.astype(np.float64 if number else np.int64))
    if day:
        return pd.Series(pd.to_datetime([cell or "" for cell in cells], format="ISO8601"), dtype="datetime64[us]")
    return pd.Series(["" if cell is None else cell for cell in cells.tolist()], dtype=TEXT)
