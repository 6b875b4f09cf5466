"""A file's tables as sheets of rows: what every kind of file is turned into before anything is understood."""

import csv
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any

import numpy as np
import numpy.typing as npt

BLOCK_ROWS = 50_000  # rows handled at once where they must be read one by one; our choice
BLOCK_CELLS = 2_000_000  # cells handled at once; our choice, to bound memory
HEAD_ROWS = 40  # rows looked at to find the heading; our choice: title rows are rarely more than ten

Cells = npt.NDArray[Any]


def objects(cells: Sequence[object]) -> Cells:
    """Return cells, none of them a sequence, as an array of objects."""
    out = np.empty(len(cells), dtype=object)
    out[:] = cells
    return out


@dataclass(frozen=True)
class Block:
    """Some rows of a sheet by column: float64 columns where all cells are plain numbers, else object columns.

    `lines` are the rows' line numbers in the file (heading of a plain file is 1); `original(i)` is row i as it stood.
    `crooked` maps a row to what is wrong with its shape.
    """

    lines: npt.NDArray[np.int64]
    columns: list[Cells]
    original: Callable[[int], str]
    crooked: dict[int, str] = field(default_factory=dict)
    read_bytes: int = 0


@dataclass(frozen=True)
class Sheet:
    """One table of a file: its first rows (for finding the heading) and a way to read the rows below a line."""

    file: str
    name: str
    head: list[list[object]]
    head_lines: list[int]
    blocks: Callable[[int, int, frozenset[int]], Iterator[Block]]
    size: int
    delimiter: str = ""
    encoding: str = ""
    width: int = 0  # of a workbook's sheet: its cells cannot slip sideways, so cells without a heading are kept
    hidden: str = ""  # what of a workbook's sheet is not shown there
    from_1904: bool = False  # bare day numbers count from 1904, as in workbooks that began on a Macintosh

    def last_line_of(self, row: int) -> int:
        """Return the last line that row `row` of the head covers (a quoted heading may cover several)."""
        following = self.head_lines[row + 1] if row + 1 < len(self.head_lines) else self.head_lines[row] + 1
        return following - 1

    @property
    def is_workbook(self) -> bool:
        """Whether cells carry types of their own."""
        return not self.delimiter


class _Lines(list[str]):
    write = list.append


def cells_as_text(row: list[object]) -> str:
    """Return a workbook's row as one line of comma-separated text, as it is kept when the row is set aside."""
    lines = _Lines()
    csv.writer(lines, lineterminator="").writerow([cell_text(cell) for cell in row])
    return lines[0].rstrip(",")


def cell_text(cell: object) -> str:
    """Return a cell as text: times in ISO 8601, numbers without a trailing .0."""
    if cell is None:
        return ""
    if isinstance(cell, float):
        if cell != cell:
            return ""
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else str(cell)
    if isinstance(cell, (datetime, date, time)):
        return cell.isoformat()
    return str(cell)
