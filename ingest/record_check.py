"""Does the database hold what its own record says: the last change of every value, and the rows of every imported file."""

import json
import re
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlite_utils import Database

from ingest.accounts import read_accounts
from ingest.fields import TABLES
from ingest.former import WITHDRAWN
from ingest.sheet_edits import EDITED, key_of, row_key
from ingest.writing import ROW_NUMBERS, as_text

KEYS = {
    **{name: table.key for name, table in TABLES.items()},
    **{name: sheet.key for name, sheet in EDITED.items()},
    **{name: (number,) for name, number in ROW_NUMBERS.items()},
    "settings": ("key",),
    "reset_answers": ("unit", "part", "around_on"),
    "accounts": ("account",),
}
"""Table whose changes are on record -> the columns by which the record names its rows."""
_COUNTS = re.compile(r"rows \d+, stored (\d+), known \d+, set aside (\d+)")
_Row = Mapping[str, Any]
_ROW_TABLES = (*TABLES, "set_aside")  # tables that an import writes rows to


@dataclass(frozen=True)
class FileRows:
    """What an import said it stored in a table, what is there of it, and how much later changes may have taken over.

    table: "" where the import is of a version that told all of them together.
    """

    file: str
    at: str
    table: str
    said: int
    there: int
    taken_over: int = 0

    @property
    def right(self) -> bool:
        """Whether every row is accounted for, and no other has come."""
        return 0 <= self.said - self.there <= self.taken_over


# --- changes ---------------------------------------------------------------------------------------------------------


def changes_not_followed(db: Database) -> Iterator[dict[str, str | int]]:
    """Values that are not what the last change on record made them: table, row, column, told and there."""
    gone = _withdrawn(db)
    told: dict[str, list[tuple[str, str, str | None]]] = defaultdict(list)
    for row in db.query("SELECT table_name, row_key, column_name, new_value FROM audit ORDER BY id"):
        if row["table_name"] in KEYS:
            told[row["table_name"]].append((row["row_key"], row["column_name"], row["new_value"]))
    for table in sorted({"accounts", *told, *(name for name, _ in gone)}):
        yield from _not_followed(
            db, table, told[table], {key: row for (name, key), row in gone.items() if name == table}
        )


def _not_followed(
    db: Database, table: str, told: list[tuple[str, str, str | None]], gone: Mapping[str, _Row]
) -> Iterator[dict[str, str | int]]:
    """The same for one table; gone: its withdrawn rows by number."""
    found = _accounts(db) if table == "accounts" else _rows(db, table, {key for key, _, _ in told})
    there = {key: row for row in found for key in _keys_of(table, row)}
    last: dict[tuple[int | str, str], tuple[str, str | None]] = {}
    for key, column, new in told:  # of two names of the same row the last one counts
        last[id(there[key]) if key in there else _plain(table, key), column] = key, new
    for (_, column), (key, new) in last.items():
        if column == WITHDRAWN:
            right = (key in gone) == bool(new) and (key in there) != bool(new)
            now: str | None = "withdrawn" if key in gone else "there" if key in there else "gone"
        else:
            row = there.get(key, gone.get(key))
            now = None if row is None else as_text(row.get(column))
            right = _same(now, new)
        if not right:
            yield {"table": table, "row": key, "column": column, "told": str(new or ""), "there": str(now or "")}
    if table == "accounts":  # whoever has roles was given them
        for key in sorted(there.keys() - {key for key, _ in last.values()}):
            yield {"table": table, "row": key, "column": "roles", "told": "", "there": str(there[key]["roles"])}
    for key in gone.keys() - {key for (_, column), (key, _) in last.items() if column == WITHDRAWN}:
        yield {"table": table, "row": key, "column": WITHDRAWN, "told": "", "there": "withdrawn"}


def _rows(db: Database, table: str, named: set[str]) -> Iterator[_Row]:
    """The rows that the record may name: of large tables only those."""
    if table not in ROW_NUMBERS:
        yield from db[table].rows
        return
    for key in named:
        yield from db.query(f"SELECT * FROM {table} WHERE {ROW_NUMBERS[table]} = ?", [key])


def _accounts(db: Database) -> Iterator[_Row]:
    """Accounts with their roles as the record writes them; a version before the twentieth has none."""
    if "accounts" in db.table_names():
        yield from ({"account": one, "roles": ", ".join(roles)} for one, roles in read_accounts(db).items())


def _keys_of(table: str, row: _Row) -> set[str]:
    """A row's names in the record: as a file and, where that is different, as the screen writes it."""
    parts = tuple(str(row[name]) for name in KEYS[table])
    names = {"/".join(part for part in parts if part)}
    return names | {row_key(table, parts)} if table in EDITED else names


def _plain(table: str, key: str) -> str:
    """The name of a row that is gone as a file writes it."""
    wanted = (part for part in key_of(table, key) if part) if table in EDITED and ", " in key else (key,)
    return "/".join(wanted)


def _same(now: str | None, told: str | None) -> bool:
    if now == told:
        return True
    try:
        return now is not None and told is not None and float(now) == float(told)
    except ValueError:
        return False


def _withdrawn(db: Database) -> dict[tuple[str, str], _Row]:
    """Withdrawn rows by table and number; a version before the seventh has none."""
    if "withdrawn" not in db.table_names():
        return {}
    rows = db.table("withdrawn").rows
    return {(row["table_name"], str(row["row_id"])): json.loads(row["cells"]) for row in rows}


# --- files -----------------------------------------------------------------------------------------------------------


def rows_of_files(db: Database) -> tuple[FileRows, ...]:
    """What every import of a file said it stored beside what is there, in the order of the imports."""
    there = _there(db)
    later = _taken_over(db)
    out = []
    for row in db.query("SELECT * FROM origins WHERE kind = 'file' ORDER BY id"):
        number, file, at = row["id"], row["file"], row["at"]
        if row.get("kept"):
            for table, said in json.loads(row["kept"]).items():
                others = sum(1 for change in later[table] if change > number)
                out.append(FileRows(file, at, table, int(said), there[table, number], others))
        elif found := _COUNTS.fullmatch(row["counts"]):
            stored = sum(there[table, number] for table in TABLES)
            others = sum(1 for changes in later.values() for change in changes if change >= number)
            out.append(FileRows(file, at, "", int(found[1]), stored, others))
            out.append(FileRows(file, at, "set_aside", int(found[2]), there["set_aside", number], int(found[2])))
        else:
            out.append(FileRows(file, at, "", -1, 0))
    return tuple(out)


def kept_rows(db: Database, origin_id: int) -> str:
    """The rows that lie under an origin, per table, as the origin keeps them."""
    counts = {table: db.table(table).count_where("origin_id = ?", [origin_id]) for table in _ROW_TABLES}
    return json.dumps({table: rows for table, rows in counts.items() if rows})


def _there(db: Database) -> Counter[tuple[str, int]]:
    out: Counter[tuple[str, int]] = Counter()
    for table in set(_ROW_TABLES) & set(db.table_names()):
        for row in db.query(f"SELECT origin_id, count(*) AS rows FROM {table} GROUP BY origin_id"):
            out[table, row["origin_id"]] += row["rows"]
    for (table, _), gone in _withdrawn(db).items():
        out[table, int(gone.get("origin_id") or 0)] += 1
    return out


def _taken_over(db: Database) -> dict[str, list[int]]:
    """Per table the origins that changed rows of it, once for each row: such a row lies under the newer origin since."""
    numbered = ", ".join("?" * len(ROW_NUMBERS))
    sql = (
        "SELECT DISTINCT table_name, row_key, origin_id FROM audit"
        f" WHERE origin_id IS NOT NULL AND table_name NOT IN ({numbered})"
    )
    out: dict[str, list[int]] = defaultdict(list)
    for row in db.query(sql, list(ROW_NUMBERS)):
        out[row["table_name"]].append(row["origin_id"])
    return out
