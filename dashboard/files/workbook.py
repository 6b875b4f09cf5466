"""Tables as sheets of a workbook (XLSX): no cell is a formula, whatever anybody typed."""

import io
import re
from collections.abc import Callable, Sequence
from datetime import date

import pandas as pd
from openpyxl import Workbook
from openpyxl.cell.cell import Cell
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter

from dashboard.files.as_csv import cells_of
from dashboard.words.heads import book_head
from dashboard.words.plain_text import clean

WIDEST_COLUMN = 60
"""Widest column of a sheet [characters]."""
WIDEST_HEAD = 16
"""A head wider than this [characters] goes on in a second line."""
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_BY_UNIT = {"[money]": "#,##0", "[h]": "0.0", "[°C]": "0"}
_COUNTS = ("no_starts", "no_starts_avoided")
_CHANCES = ("part_probability", "no_start_probability", "probability_before", "probability_waiting", "risk")
_CHANCE = '[>0.99]"over 99 %";[<0.01]"under 1 %";0 %'
"""How a chance is shown, as `plain_text.percent` says it; the cell holds the figure."""


def sheet(
    book: Workbook,
    title: str,
    columns: Sequence[str],
    frame: pd.DataFrame,
    *,
    first: bool = False,
    currency: str = "",
    heads: Callable[[str], str] | None = None,
) -> None:
    """A sheet of a book, the last one or the first: no cell is a formula, whatever anybody typed.

    currency: of the amounts; heads: column -> what stands over it, `book_head` where it is None.
    """
    page = book.create_sheet(title, 0 if first else None)
    over = [book_head(name, currency) if heads is None else heads(name) for name in columns]
    widths = [max(map(len, head.split(" "))) if len(head) > WIDEST_HEAD else len(head) for head in over]
    shown = [_shown(name) for name in columns]
    rows = list(cells_of(frame, columns))
    days = [_only_days([row[at] for row in rows]) for at in range(len(columns))]
    for line, row in enumerate([list[object](over), *rows], start=1):
        for at, value in enumerate(row):
            cell = page.cell(row=line, column=at + 1)
            assert isinstance(cell, Cell)
            cell.alignment = Alignment(vertical="top", wrap_text=line == 1 or len(str(value)) > WIDEST_COLUMN)
            if line > 1 and days[at] and value:
                cell.value = date.fromisoformat(str(value))
            elif isinstance(value, str):
                cell.value = clean(value)
                cell.data_type = "s"
            else:
                cell.value = value  # type: ignore[assignment]
                cell.number_format = shown[at] if isinstance(value, float | int) else cell.number_format
            if line > 1:
                widths[at] = max(widths[at], len(str(value)))
    for at, width in enumerate(widths):
        page.column_dimensions[get_column_letter(at + 1)].width = min(width + 2, WIDEST_COLUMN)
    for cell in page[1]:
        cell.font = Font(bold=True)
    page.freeze_panes = "A2"


def _shown(column: str) -> str:
    """The number format of a column, by what it holds."""
    if column in _CHANCES:
        return _CHANCE
    head = book_head(column, "money")
    return "0.0" if column in _COUNTS else next((how for unit, how in _BY_UNIT.items() if unit in head), "General")


def _only_days(cells: Sequence[object]) -> bool:
    """Whether all cells that say anything are days written as text."""
    filled = [cell for cell in cells if cell not in (None, "")]
    return bool(filled) and all(isinstance(cell, str) and _DAY.fullmatch(cell) for cell in filled)


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
