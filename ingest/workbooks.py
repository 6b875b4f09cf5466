"""XLSX workbooks become sheets of rows: formulas by their results, merged cells filled, damage named."""

from __future__ import annotations

import io
import warnings
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import ParseError

import numpy as np
import openpyxl

from ingest.errors import FileRefused
from ingest.sheets import BLOCK_ROWS, HEAD_ROWS, Block, Sheet, cells_as_text

LARGEST_WORKBOOK = 1_000_000_000  # [byte] unpacked; our choice, against archives made to fill the memory

_DAMAGED = (zipfile.BadZipFile, zlib.error, KeyError, ValueError, TypeError, AttributeError, IndexError, EOFError)


def workbook_sheets(file: Path, data: bytes) -> list[Sheet]:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            unpacked = sum(entry.file_size for entry in archive.infolist())
            names = set(archive.namelist())
    except (zipfile.BadZipFile, EOFError, ValueError) as error:
        raise FileRefused("a damaged or incomplete XLSX workbook; open and save it again, or copy it anew") from error
    if unpacked > LARGEST_WORKBOOK:
        raise FileRefused(f"the workbook unpacks to {unpacked} bytes; allowed are {LARGEST_WORKBOOK}")
    if "[Content_Types].xml" not in names:
        raise FileRefused("a ZIP archive but not an XLSX workbook; unpack it and import the tables inside")
    formulas, values = _load(data)
    sheets = []
    for sheet in formulas.worksheets:
        rows = _grid(sheet, values[sheet.title] if values is not None else None)
        if any(any(cell is not None for cell in row) for row in rows):
            sheets.append(_sheet_of(file, sheet.title, rows))
    if not sheets:
        raise FileRefused("the workbook is empty; a table needs a heading and at least one row")
    return sheets


def _load(data: bytes) -> tuple[Any, Any]:
    """Load the cells as written, and once more with the results of formulas when there are any."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)
            written = openpyxl.load_workbook(io.BytesIO(data))
            has_formulas = any(
                cell.data_type == "f" for sheet in written.worksheets for row in sheet.iter_rows() for cell in row
            )
            return written, openpyxl.load_workbook(io.BytesIO(data), data_only=True) if has_formulas else None
    except (*_DAMAGED, ParseError, OSError) as error:
        raise FileRefused("a damaged or incomplete XLSX workbook; open and save it again, or copy it anew") from error


def _grid(sheet: Any, results: Any) -> list[list[object]]:
    """Return the cells by row; a formula gives its saved result, a cell merged downwards its value in every row."""
    rows: list[list[object]] = []
    for cells in sheet.iter_rows():
        row: list[object] = []
        for cell in cells:
            value = cell.value
            if cell.data_type == "f":
                result = results.cell(row=cell.row, column=cell.column).value
                value = str(value) if result is None else result
            row.append(value.strip() or None if isinstance(value, str) else value)
        rows.append(row)
    for merged in sheet.merged_cells.ranges:
        if merged.max_row > merged.min_row and merged.min_col == merged.max_col:
            top = rows[merged.min_row - 1][merged.min_col - 1]
            for below in range(merged.min_row, merged.max_row):
                rows[below][merged.min_col - 1] = top
    return rows


def _sheet_of(file: Path, title: str, rows: list[list[object]]) -> Sheet:
    def blocks(after_line: int, width: int, numeric: frozenset[int]) -> Iterator[Block]:  # noqa: ARG001 - cells have types
        return _grid_blocks(rows, after_line, width)

    head = [list(row) for row in rows[:HEAD_ROWS]]
    cells = sum(len(row) for row in rows)
    lines = list(range(1, len(head) + 1))
    return Sheet(file.name, title, head, lines, blocks, cells, width=_used_width(rows))


def _used_width(rows: list[list[object]]) -> int:
    return max(index + 1 for row in rows for index, cell in enumerate(row) if cell is not None)


def _grid_blocks(rows: list[list[object]], after_line: int, width: int) -> Iterator[Block]:
    for start in range(after_line, len(rows), BLOCK_ROWS):
        chunk = [
            (number + 1, rows[number])
            for number in range(start, min(start + BLOCK_ROWS, len(rows)))
            if any(cell is not None for cell in rows[number])
        ]
        if not chunk:
            continue
        columns = []
        for index in range(width):
            column = np.empty(len(chunk), dtype=object)
            column[:] = [row[index] if index < len(row) else None for _, row in chunk]
            columns.append(column)
        originals = [cells_as_text(row) for _, row in chunk]
        lines = np.array([line for line, _ in chunk], dtype=np.int64)
        yield Block(lines, columns, originals.__getitem__, {}, sum(len(row) for _, row in chunk))
