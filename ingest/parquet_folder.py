"""The whole database as a folder of Parquet files, and back: every row and every value of every table.

Tables whose rows belong to vehicles are cut into partitions of whole vehicles in the order of their names; partition k of each
of them holds the same vehicles.  All other tables lie in one file each.  `cranktrend.json` names every file with its rows, and
is written last: a folder without it is none of ours, or not whole.
"""

import json
import shutil
import sqlite3
from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from secrets import token_hex
from typing import Any, Final

from sqlite_utils import Database

from ingest.backups import give_name, settle, written_beside
from ingest.bounds import VEHICLES_A_PARTITION
from ingest.errors import CouldNot, DatabaseRefused, DatabaseTrouble, IngestError
from ingest.schema import bring_to, migrate, version_of

MANIFEST: Final = "cranktrend.json"
FORM: Final = 1  # of the folder: another number is another program's
ROWS_AT_ONCE: Final = 50_000  # rows of a table that are on their way at a time; our choice
ROWID: Final = "_rowid"  # column of a table that SQLite numbers by itself
KINDS: Final = {"INTEGER": "int64", "REAL": "float64", "TEXT": "large_string", "BLOB": "large_binary"}
"""Types of columns of a STRICT table (sqlite.org/stricttables.html) -> types of Parquet that hold all their values."""


@dataclass(frozen=True)
class Table:
    """A table: names of its columns with their types, and whether its rows are cut by vehicle."""

    name: str
    columns: tuple[tuple[str, str], ...]
    by_vehicle: bool


@dataclass(frozen=True)
class ParquetFolder:
    """A folder that was written whole: version of its tables, number of partitions, and rows of every file of each table."""

    path: Path
    version: str
    partitions: int
    vehicles: int
    files: Mapping[str, Mapping[str, int]]

    def rows(self, table: str) -> int:
        return sum(self.files.get(table, {}).values())


def export_folder(db: Database, folder: Path, *, vehicles: int = VEHICLES_A_PARTITION) -> ParquetFolder:
    """Write the whole database to the new folder, `vehicles` to a partition; the folder has its name once all of it is there.

    Raises IngestError where the name is taken, CouldNot where the disk fails or pyarrow is not installed.
    """
    _arrow()
    if folder.exists():
        raise IngestError(f"{folder} is there already; an export never overwrites: name a new folder")
    if not folder.parent.is_dir():
        raise IngestError(f"there is no folder {folder.parent} for the export")
    begun = folder.with_name(f".{folder.name}.{token_hex(4)}.part")
    db.conn.execute("BEGIN")
    try:
        begun.mkdir(mode=0o700)
        names = [row["unit"] for row in db.query("SELECT unit FROM units ORDER BY unit")]
        last = [own[-1] for own in (names[k : k + vehicles] for k in range(0, len(names), vehicles))]
        files = {table.name: _written(db, table, begun, last) for table in _tables(db)}
        manifest = {
            "form": FORM, "version": version_of(db), "partitions": len(last), "vehicles": len(names), "files": files,
        }  # fmt: skip
        (begun / MANIFEST).write_text(json.dumps(manifest, indent=1), encoding="utf-8")
        settle(begun / MANIFEST)
        begun.rename(folder)
        settle(folder.parent)
    except sqlite3.Error as error:
        raise CouldNot(f"the export to {folder} failed: {DatabaseTrouble(error)}") from error
    except OSError as error:
        raise CouldNot(f"the export to {folder} failed: {error.strerror or error}") from error
    finally:
        db.conn.rollback()
        shutil.rmtree(begun, ignore_errors=True)
    return opened_folder(folder)


def is_parquet_folder(path: Path) -> bool:
    """Whether a folder says that it is such an export."""
    try:
        return (path / MANIFEST).is_file()
    except OSError:  # a name that no file can have
        return False


def opened_folder(folder: Path) -> ParquetFolder:
    """What a folder holds, by its own word; raise IngestError where it is none of ours, CouldNot where it is not whole."""
    if not is_parquet_folder(folder):
        raise IngestError(f"{folder} is no folder that `cranktrend export --parquet` wrote: {MANIFEST} is not in it")
    try:
        told = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        if told["form"] != FORM:
            raise IngestError(
                f"{folder} was written in form {told['form']}, which this version cannot read; allowed is {FORM}"
            )
        files = {str(t): {str(f): int(n) for f, n in own.items()} for t, own in told["files"].items()}
        found = ParquetFolder(folder, str(told["version"]), int(told["partitions"]), int(told["vehicles"]), files)
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise CouldNot(f"{folder / MANIFEST} is damaged; export again") from error
    for name in (name for own in files.values() for name in own):
        if not (folder / name).is_file():
            raise CouldNot(f"{folder / name} is missing; export again")
    return found


def import_folder(folder: Path, path: Path) -> ParquetFolder:
    """Make the new database file `path` of a folder, whole or not at all.

    Raises DatabaseRefused where `path` is there, IngestError for a folder of none of ours or of a newer version, CouldNot for one
    that is damaged.
    """
    found = opened_folder(folder)
    if path.exists():
        raise DatabaseRefused(f"{path} is there already; {folder} becomes a new database: name one with --db")
    if not path.parent.is_dir():
        raise DatabaseRefused(f"there is no folder {path.parent} to keep the database in")
    try:
        with written_beside(path) as part:
            db = Database(sqlite3.connect(str(part)))
            try:
                _filled(db, found)
                migrate(db)
                db.disable_wal()
            finally:
                db.conn.close()
            settle(part)
            give_name(part, path)
    except sqlite3.Error as error:
        raise CouldNot(f"{folder} does not fit together ({error}); export again") from error
    except FileExistsError:
        raise DatabaseRefused(f"{path} is there already; name a new database with --db") from None
    except OSError as error:
        raise CouldNot(f"{path} could not be written: {error.strerror or error}") from error
    return found


def partition(
    found: ParquetFolder, k: int | None, tables: Sequence[str], *, of: Sequence[str] | None = None
) -> Database:
    """A database in memory with partition k of `tables`, those not cut by vehicle whole, and no row of other tables.

    k: None for no vehicle at all; of: only these vehicles.  Its references are not checked: it holds some of the rows only.
    """
    db = Database(memory=True)
    bring_to(db, found.version)
    db.conn.execute("BEGIN")
    for table in _tables(db):
        files = found.files.get(table.name, {}) if table.name in tables else {}
        for name in files if not table.by_vehicle else {_file(table.name, k)} & set(files) if k is not None else ():
            rows = _read(found, table, name)
            _insert(db, table, rows if of is None or not table.by_vehicle else _among(rows, "unit", of))
    db.conn.commit()
    migrate(db)
    return db


def rows_where(found: ParquetFolder, table: str, column: str, values: Sequence[object]) -> Iterator[Any]:
    """The rows of each file of a table that is not cut by vehicle, of which a column has one of `values`."""
    for name in found.files.get(table, {}):
        yield _among(_table_of(found, name), column, values)


def insert_rows(db: Database, table: str, rows: Any) -> None:
    """Insert rows of :func:`rows_where` into a database that :func:`partition` made."""
    for known in _tables(db):
        if known.name == table:
            _insert(db, known, rows)


def _among(rows: Any, column: str, values: Sequence[object]) -> Any:
    arrow = _arrow()
    return rows.filter(arrow.compute.is_in(rows[column], arrow.array(values, rows[column].type)))


def _filled(db: Database, found: ParquetFolder) -> None:
    """All rows of a folder in an empty database of its version; its references have to fit."""
    bring_to(db, found.version)
    tables = _tables(db)
    other = sorted(set(found.files) ^ {table.name for table in tables})
    if other:
        raise CouldNot(f"{found.path / MANIFEST} is damaged: table {other[0]!r} does not belong; export again")
    db.conn.execute("PRAGMA foreign_keys=OFF")
    db.conn.execute("BEGIN")
    for table in tables:
        db.conn.execute(f'DELETE FROM "{table.name}"')  # a change of version may have written a row
        for name in found.files[table.name]:
            _insert(db, table, _read(found, table, name))
    for wrong in db.query("PRAGMA foreign_key_check"):
        raise CouldNot(
            f"{found.path} does not fit together: a row of {wrong['table']} names a row of {wrong['parent']} that is not there"
        )
    db.conn.commit()


def _tables(db: Database) -> list[Table]:
    """All tables of a database but the one that holds its version, those that others refer to first."""
    found = []
    for table in db.tables:  # in the order in which they were made
        if table.name.startswith(("sqlite_", "_sqlite_")):
            continue
        columns = [(column.name, KINDS[column.type]) for column in table.columns]
        if [column.type for column in table.columns if column.is_pk] != ["INTEGER"]:
            columns.insert(0, (ROWID, "int64"))
        of_units = any((key.other_table, key.column) == ("units", "unit") for key in table.foreign_keys)
        found.append(Table(table.name, tuple(columns), table.name == "units" or of_units))
    return found


def _written(db: Database, table: Table, folder: Path, last: Sequence[str]) -> dict[str, int]:
    """Write a table's files, one a partition whose last vehicles these are, or one for all; rows of each."""
    (folder / table.name).mkdir(mode=0o700)
    said = ", ".join("rowid" if name == ROWID else f'"{name}"' for name, _ in table.columns)
    order = "unit, rowid" if table.by_vehicle else "rowid"
    cursor = db.conn.execute(f'SELECT {said} FROM "{table.name}" ORDER BY {order}')
    if not table.by_vehicle:
        name = f"{table.name}/all.parquet"
        return {name: _write(folder / name, table, iter(lambda: cursor.fetchmany(ROWS_AT_ONCE), []))}
    at = [name for name, _ in table.columns].index("unit")
    files: dict[str, int] = {}
    left: list[tuple[Any, ...]] = []
    for k, until in enumerate(last):

        def own(until: str = until) -> Iterator[list[tuple[Any, ...]]]:
            while True:
                rows = left.copy() or cursor.fetchmany(ROWS_AT_ONCE)
                inside = bisect_right(rows, _after(until), key=lambda row: _after(row[at]))
                if inside:
                    yield rows[:inside]
                left[:] = rows[inside:]
                if left or not rows:
                    return

        name = _file(table.name, k)
        files[name] = _write(folder / name, table, own())
    if left or cursor.fetchone():
        raise CouldNot(f"rows of {table.name} belong to no vehicle; `cranktrend check` says more")
    return files


def _after(text: str) -> bytes:
    """A text as SQLite orders it: by its bytes."""
    return text.encode("utf-8", "surrogatepass")


def _file(table: str, k: int) -> str:
    return f"{table}/{k:06d}.parquet"


def _write(file: Path, table: Table, chunks: Iterator[list[tuple[Any, ...]]]) -> int:
    """Write rows to a Parquet file, with a check sum of every page; their number."""
    arrow = _arrow()
    schema = arrow.schema([(name, getattr(arrow, kind)()) for name, kind in table.columns])
    count = 0
    with arrow.parquet.ParquetWriter(file, schema, compression="zstd", write_page_checksum=True) as out:
        for rows in chunks:
            columns = [
                arrow.array(cells, field.type) for cells, field in zip(zip(*rows, strict=True), schema, strict=True)
            ]
            out.write_batch(arrow.record_batch(columns, schema=schema))
            count += len(rows)
    file.chmod(0o600)
    settle(file)
    return count


def _table_of(found: ParquetFolder, name: str) -> Any:
    """A file's rows; CouldNot where it is missing or damaged."""
    arrow = _arrow()
    file = found.path / name
    try:
        table = arrow.parquet.read_table(file, page_checksum_verification=True, partitioning=None)
    except FileNotFoundError:
        raise CouldNot(f"{file} is missing; export again") from None
    except (OSError, arrow.ArrowException) as error:
        raise CouldNot(f"{file} is damaged; export again") from error
    expected = next(own[name] for own in found.files.values() if name in own)
    if table.num_rows != expected:
        raise CouldNot(f"{file} holds {table.num_rows} rows instead of {expected}; export again")
    return table


def _read(found: ParquetFolder, table: Table, name: str) -> Any:
    """A file's rows, its columns being those of the table."""
    rows = _table_of(found, name)
    if [(field.name, str(field.type)) for field in rows.schema] != [(n, _told(k)) for n, k in table.columns]:
        raise CouldNot(f"{found.path / name} holds other columns than {table.name} has; export again")
    return rows


def _told(kind: str) -> str:
    return "double" if kind == "float64" else kind


def _insert(db: Database, table: Table, rows: Any) -> None:
    said = ", ".join("rowid" if name == ROWID else f'"{name}"' for name, _ in table.columns)
    sql = f'INSERT INTO "{table.name}" ({said}) VALUES ({", ".join("?" * len(table.columns))})'
    for batch in rows.to_batches(max_chunksize=ROWS_AT_ONCE):
        db.conn.executemany(sql, zip(*(column.to_pylist() for column in batch.columns), strict=True))


def _arrow() -> Any:
    """pyarrow, which is an extra; CouldNot where it is not installed."""
    try:
        import pyarrow
        import pyarrow.compute
        import pyarrow.parquet
    except ImportError:
        raise CouldNot("Parquet needs the extra `cluster`: pip install 'cranktrend[cluster]'") from None
    return pyarrow
