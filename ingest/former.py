"""What corrected and withdrawn rows said before: a file that says so again brings nothing new."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from sqlite_utils import Database

from ingest.cells import Batch
from ingest.choices import FILES
from ingest.fields import TABLES
from ingest.writing import ROW_NUMBERS, find

WITHDRAWN = "withdrawn"  # stands in the audit for a column where a row was withdrawn or put back


@dataclass(frozen=True)
class Former:
    """What row `row_id` said once; `change` is the number of the change that ended it; `withdrawn` that of
    the one that withdrew the row, 0 where it is on record."""

    row_id: int
    change: int
    values: Mapping[str, object]
    withdrawn: int = 0


def former_rows(db: Database, batch: Batch) -> dict[int, Former]:
    """Return the good rows of the batch that say what a row of its table said before it was corrected or withdrawn."""
    if batch.table.name not in ROW_NUMBERS:
        return {}
    former: dict[tuple[object, ...], list[Former]] = {}
    for one in _all_former(db, batch.table.name):
        former.setdefault(tuple(one.values[name] for name in batch.table.key), []).append(one)
    if not former:
        return {}
    units = {str(key[batch.table.key.index("unit")]) for key in former}
    found = {}
    for row in np.flatnonzero(batch.good()).tolist():
        if batch.texts["unit"][row] not in units:
            continue
        told = batch.stored(row, batch.filled)
        for one in former.get(tuple(told[name] for name in batch.table.key), ()):
            if all(_same(value, one.values[name]) for name, value in told.items()):
                found[row] = one
                break
    return found


def _same(new: object, old: object) -> bool:
    """Tell whether a cell says nothing, or what was said before."""
    if new in (None, ""):
        return True
    if isinstance(new, float | int) and isinstance(old, float | int):
        return abs(new - old) <= FILES.same
    return new == old


def _all_former(db: Database, table: str) -> Iterator[Former]:
    """What every corrected or withdrawn row of `table` said before each of its changes, told from its last state."""
    names = TABLES[table].names
    rows = db.query("SELECT * FROM withdrawn WHERE table_name = ?", [table])
    gone = {int(row["row_id"]): (json.loads(row["cells"]), int(row["origin_id"])) for row in rows}
    for row_id, (cells, change) in gone.items():
        yield Former(row_id, change, {name: cells.get(name) for name in names}, change)
    sql = """SELECT row_key, origin_id, column_name, old_value FROM audit WHERE table_name = ? AND column_name <> ?
        AND origin_id IS NOT NULL ORDER BY row_key, id DESC"""
    changes = list(db.query(sql, [table, WITHDRAWN]))
    for number, mine in groupby(changes, key=lambda row: int(row["row_key"])):
        last = gone[number][0] if number in gone else find(db, table, **{ROW_NUMBERS[table]: number}) or {}
        state = {name: last.get(name) for name in names}
        for change, cells in groupby(mine, key=lambda row: int(row["origin_id"])):
            told = {row["column_name"]: row["old_value"] for row in cells}
            state |= {name: typed(table, name, old) for name, old in told.items() if name in state}
            yield Former(number, change, dict(state), gone[number][1] if number in gone else 0)


def typed(table: str, name: str, text: str | None) -> object:
    """Return a value of the audit as its column holds it."""
    numbers = {column.name for column in TABLES[table].columns if column.kind == "number"} if table in TABLES else set()
    return float(text) if text is not None and name in numbers else text
