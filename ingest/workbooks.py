"""Workbooks (XLSX, ODS, XLS) become sheets of rows: formulas by their results, merged cells filled, damage named."""

import io
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, time
from itertools import islice
from pathlib import Path

import numpy as np
from python_calamine import (
    CalamineError,
    CalamineSheet,
    CalamineWorkbook,
    PasswordError,
    SheetVisibleEnum,
    XmlError,
    ZipError,
)

from ingest.errors import FileRefused
from ingest.old_workbooks import OLD, OldSheet, old_sheets
from ingest.opendocument_look import look_into_opendocument
from ingest.sheets import BLOCK_CELLS, BLOCK_ROWS, HEAD_ROWS, Block, Cells, Sheet, cells_as_text, objects
from ingest.values import Measured, counted
from ingest.workbook_look import DAMAGED, Look, look_into

Row = list[object]


def workbook_sheets(file: Path, data: bytes) -> list[Sheet]:
    """The tables of a workbook; FileRefused when it is damaged, empty, or larger than `bounds` allows."""
    found = (_sheet_of(file, grid) for grid in (_old_grids(data) if data.startswith(OLD) else _grids(data)))
    try:
        sheets = [sheet for sheet in found if sheet is not None]
    except (CalamineError, PasswordError, XmlError, ZipError) as error:
        raise FileRefused(DAMAGED) from error
    if not sheets:
        raise FileRefused("the workbook is empty; a table needs a heading and at least one row")
    return sheets


def _grids(data: bytes) -> Iterator["_Grid"]:
    # "mimetype" comes first in every OpenDocument file, as it is (OASIS, part 2, 3.3)
    looked = look_into_opendocument(data) if data[30:38] == b"mimetype" else look_into(data)
    book = CalamineWorkbook.from_filelike(io.BytesIO(data))
    shown = {sheet.name for sheet in book.sheets_metadata if sheet.visible == SheetVisibleEnum.Visible}
    for name, look in looked.items():
        yield _Grid(book.get_sheet_by_name(name), look, hidden=name not in shown)


def _old_grids(data: bytes) -> Iterator["_Grid"]:
    for sheet in old_sheets(data):
        yield _Grid(sheet, sheet.look, hidden=sheet.hidden)


class _Grid:
    """The rows of one sheet from row 1 and column A, as they are to be understood."""

    def __init__(self, sheet: CalamineSheet | OldSheet, look: Look, *, hidden: bool) -> None:
        self.name = sheet.name
        last_row, last_column = sheet.end or (-1, -1)
        self.width, self.cells = last_column + 1, (last_row + 1) * (last_column + 1)
        self.hidden, self.from_1904 = _hidden(look, sheet=hidden), look.from_1904
        self._sheet = sheet
        self._unread: dict[int, list[tuple[int, str]]] = {}
        for (row, column), text in look.texts.items():
            self._unread.setdefault(row, []).append((column, text))
        self._units: dict[int, list[tuple[int, str]]] = {}
        for (row, column), unit in look.units.items():
            self._units.setdefault(row, []).append((column - 1, unit))
        self._merged: dict[int, list[tuple[int, int]]] = {}
        for (top, left), (bottom, right) in sheet.merged_cell_ranges or []:
            if bottom > top and left == right:
                self._merged.setdefault(top + 1, []).append((left, bottom + 1))
        self._left: Row = [None] * (sheet.start or (0, 0))[1]  # it gives all rows, but columns from the first used one

    def rows(self) -> Iterator[tuple[int, Row]]:
        """Line number and cells of every row; a cell merged downwards gives its value to every row."""
        open_until: dict[int, tuple[int, object]] = {}
        every: Iterable[Sequence[object]] = self._sheet.iter_rows()
        for line, cells in enumerate(every, start=1):
            row = [*self._left, *map(_cell, cells)]
            for column, unit in self._units.get(line, ()):
                if column < len(row) and isinstance(number := row[column], float):
                    row[column] = Measured(number, unit)
            for column, text in self._unread.get(line, ()):
                row += [None] * (column - len(row))
                row[column - 1] = text
            for column, (bottom, value) in list(open_until.items()):
                if column < len(row):
                    row[column] = value
                if line >= bottom:
                    del open_until[column]
            for column, bottom in self._merged.get(line, ()):
                open_until[column] = (bottom, row[column] if column < len(row) else None)
            yield line, row


def _hidden(look: Look, *, sheet: bool) -> str:
    """What of a sheet is hidden in its workbook, "" for nothing."""
    counts = ((look.hidden_rows, "row"), (look.hidden_columns, "column"))
    return "all of it" if sheet else " and ".join(counted(number, noun) for number, noun in counts if number)


def _cell(value: object) -> object:
    """A cell's value: blanks are nothing, a day is its first moment."""
    if isinstance(value, str):
        return value.strip() or None
    if isinstance(value, date) and not isinstance(value, datetime):
        return datetime.combine(value, time())
    return value


def _sheet_of(file: Path, grid: _Grid) -> Sheet | None:
    """The grid as a sheet; None when nothing stands in it."""
    if not grid.width:
        return None
    head = [row for _, row in islice(grid.rows(), HEAD_ROWS)]

    def blocks(after_line: int, width: int, numeric: frozenset[int]) -> Iterator[Block]:
        return _grid_blocks(grid, after_line, width, numeric)

    return Sheet(
        file.name,
        grid.name,
        head,
        list(range(1, len(head) + 1)),
        blocks,
        grid.cells,
        width=grid.width,
        hidden=grid.hidden,
        from_1904=grid.from_1904,
    )


def _grid_blocks(grid: _Grid, after_line: int, width: int, numeric: frozenset[int]) -> Iterator[Block]:
    rows_at_once = max(1, min(BLOCK_ROWS, BLOCK_CELLS // max(1, width)))
    chunk: list[tuple[int, Row]] = []
    for line, row in grid.rows():
        if line > after_line and any(cell is not None for cell in row):
            chunk.append((line, row))
        if len(chunk) >= rows_at_once:
            yield _block(chunk, width, numeric)
            chunk = []
    if chunk:
        yield _block(chunk, width, numeric)


def _block(chunk: list[tuple[int, Row]], width: int, numeric: frozenset[int]) -> Block:
    columns = []
    for index in range(width):
        cells = [row[index] if index < len(row) else None for _, row in chunk]
        columns.append(_column(cells, plain=index in numeric))
    originals = [cells_as_text(row) for _, row in chunk]
    lines = np.array([line for line, _ in chunk], dtype=np.int64)
    return Block(lines, columns, originals.__getitem__, {}, sum(len(row) for _, row in chunk))


def _column(cells: Row, *, plain: bool) -> Cells:
    """The cells of a column: plain numbers at once where there is nothing else in it."""
    if plain and {type(cell) for cell in cells} <= {float, type(None)}:
        return np.array(cells, dtype=np.float64)
    return objects(cells)
