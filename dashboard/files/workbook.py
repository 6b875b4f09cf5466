"""Tables as sheets of a workbook (XLSX): no cell is a formula, whatever anybody typed."""

import io
from collections.abc import Sequence

import pandas as pd
from openpyxl import Workbook
from openpyxl.cell.cell import Cell
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter

from dashboard.files.as_csv import cells_of
from dashboard.words.plain_text import clean

WIDEST_COLUMN = 60
"""Widest column of a sheet [characters]."""


def sheet(book: Workbook, title: str, columns: Sequence[str], frame: pd.DataFrame, *, first: bool = False) -> None:
    """A sheet of a book, the last one or the first: no cell is a formula, whatever anybody typed."""
    page = book.create_sheet(title, 0 if first else None)
    widths = [0] * len(columns)
    heads: list[object] = list(columns)
    for line, row in enumerate([heads, *cells_of(frame, columns)], start=1):
        for at, value in enumerate(row):
            cell = page.cell(row=line, column=at + 1)
            assert isinstance(cell, Cell)
            if isinstance(value, str):
                cell.value = clean(value)
                cell.data_type = "s"
            else:
                cell.value = value  # type: ignore[assignment]
            widths[at] = max(widths[at], len(str(value)))
    for at, width in enumerate(widths):
        page.column_dimensions[get_column_letter(at + 1)].width = min(width + 2, WIDEST_COLUMN)
    for cell in page[1]:
        cell.font = Font(bold=True)
    page.freeze_panes = "A2"


def bytes_of(book: Workbook) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def empty_book() -> Workbook:
    book = Workbook()
    book.remove(book.worksheets[0])
    return book


def table_xlsx(frame: pd.DataFrame, title: str) -> bytes:
    book = empty_book()
    sheet(book, title, list(frame.columns), frame)
    return bytes_of(book)
