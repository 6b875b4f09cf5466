"""Rows set aside from an earlier file that a later one brings in rightly: known by all that was not wrong of them, and closed."""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from sqlite_utils import Database

from ingest.cells import Batch
from ingest.choices import FILES
from ingest.values import counted
from ingest.writing import Place, stamp

CLASHES = "with other values"
"""What the reason of a row says that another row of its key is stored: nothing that a file says of others settles that."""


@dataclass(frozen=True)
class _Open:
    """A row that waits: its values, the columns that its reason names, and where it stood."""

    id: int
    cells: Mapping[str, object]
    wrong: frozenset[str]
    line: int


def close_put_right(db: Database, batch: Batch, stored: Sequence[int], place: Place) -> None:
    """Close rows that earlier files had set aside where a row that was stored now says the same but for what was wrong.

    The vehicle and the day or time are the same; where one of them was what was wrong, the line of the file is. stored: the rows of
    the batch that were stored. It is told in the batch's notes.
    """
    waiting = _waiting(db, batch, place)
    if not waiting or not stored:
        return
    closed = []
    for wrong in dict.fromkeys(frozenset(one.wrong & set(batch.table.key)) for one in waiting):
        asked = [name for name in batch.table.key if name not in wrong]
        mine: dict[tuple[object, ...], list[_Open]] = {}
        for one in waiting:
            if one.wrong & set(batch.table.key) == wrong:
                at = [one.cells.get(name) for name in asked]
                mine.setdefault((*at, one.line) if wrong else tuple(at), []).append(one)
        for row in _perhaps(batch, stored, asked, mine):
            cells = batch.cells(row)
            at = [cells.get(name) for name in asked]
            for one in mine.get((*at, int(batch.lines[row])) if wrong else tuple(at), ()):
                if _the_same_but_wrong(one, cells, batch.table.key):
                    said = f"brought in rightly by {place.file}, line {batch.lines[row]}"
                    told = {
                        "state": "admitted",
                        "resolved_by": "import",
                        "resolved_at": stamp(place.now),
                        "resolution": said,
                    }
                    db.table("set_aside").update(one.id, told)
                    closed.append(one.id)
    if closed:
        numbers = ", ".join(map(str, sorted(set(closed))))
        batch.notes.append(
            f"{counted(len(set(closed)), 'row')} set aside before, brought in rightly now and closed: {numbers}"
        )


def _waiting(db: Database, batch: Batch, place: Place) -> list[_Open]:
    found = db.query(
        "SELECT id, cells, reason, line FROM set_aside WHERE table_name = ? AND state = 'open' AND origin_id <> ?",
        [batch.table.name, place.origin_id],
    )
    out = []
    for row in found:
        named = frozenset(n for n in batch.table.names if re.search(rf"\b{n}\b", row["reason"]))
        if CLASHES not in row["reason"]:
            cells = {name: value for name, value in json.loads(row["cells"]).items() if name in batch.table.names}
            out.append(_Open(int(row["id"]), cells, named, int(row["line"])))
    return out


def _perhaps(
    batch: Batch, stored: Sequence[int], asked: Sequence[str], mine: Mapping[tuple[object, ...], object]
) -> list[int]:
    """The stored rows whose first column that is asked for is one of a row that waits."""
    if not asked:
        return list(stored)
    known = {key[0] for key in mine}
    column = batch.texts.get(asked[0], batch.times.get(asked[0]))
    if column is None:
        return list(stored)
    said = column[list(stored)]
    there = np.isin(said.astype(str), [str(one) for one in known])
    return [row for row, may in zip(stored, there, strict=True) if may]


def _the_same_but_wrong(one: _Open, cells: Mapping[str, object], key: Sequence[str]) -> bool:
    """Whether all that was not wrong of a row stands in another, too, and what was wrong does not.

    With the key the same, one other column may differ: of two that contradict each other the reason may name the right one. A line that
    could not be taken apart (its reason names no column) is put right by any row of its key.
    """
    if not one.wrong:
        return True
    differ = {name for name in one.cells if not _alike(one.cells[name], cells.get(name))}
    differ |= {name for name in one.wrong if name not in one.cells and name in cells}
    return bool(differ) and (differ <= one.wrong or (len(differ) == 1 and not differ & set(key)))


def _alike(old: object, new: object) -> bool:
    if isinstance(old, float) and isinstance(new, float):
        return abs(old - new) <= FILES.same
    return old == new
