"""Workbooks of Excel before 2007 (.xls, the BIFF format): their cells, given as those of an XLSX workbook are."""

import io
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

import xlrd
from xlrd.xldate import XLDateError, xldate_as_datetime

from ingest.bounds import MOST_GRID, MOST_TEXT, refuse_more
from ingest.errors import FileRefused
from ingest.workbook_look import Look, Place, unit_shown

OLD: Final = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
"""What each begins with ([MS-CFB], 2.2); so does a workbook with a password, of whatever age."""
UNREADABLE: Final = "a damaged or locked Excel file; open it and save it as .xlsx without a password, then import that"
_NOTHING = (xlrd.XL_CELL_EMPTY, xlrd.XL_CELL_BLANK)

Corner = tuple[int, int]


@dataclass(frozen=True)
class OldSheet:
    """One sheet: its rows up to the last used cell, and the corners of what is merged, from row and column 0."""

    name: str
    start: Corner | None
    end: Corner | None
    merged_cell_ranges: list[tuple[Corner, Corner]]
    rows: list[list[object]]
    hidden: bool
    look: Look

    def iter_rows(self) -> Iterator[list[object]]:
        """Cells of every row: text, number, moment, or what an error shows."""
        return iter(self.rows)


def old_sheets(data: bytes) -> list[OldSheet]:
    """The sheets of a workbook; FileRefused when it is damaged, locked, or larger than `bounds` allows."""
    try:
        book = xlrd.open_workbook(file_contents=data, formatting_info=True, ragged_rows=True, logfile=io.StringIO())
        found = [_sheet(book, sheet) for sheet in book.sheets()]
    except FileRefused:
        raise
    except Exception as error:  # damage shows in whatever its reader trips over
        raise FileRefused(UNREADABLE) from error
    refuse_more("cells from the first to the last used one", sum(map(_reach, found)), MOST_GRID, "split it")
    text = sum(len(cell) for sheet in found for row in sheet.rows for cell in row if isinstance(cell, str))
    refuse_more("characters in its cells", text, MOST_TEXT, "split it")
    return found


def _reach(sheet: OldSheet) -> int:
    return (sheet.end[0] + 1) * (sheet.end[1] + 1) if sheet.end else 0


def _sheet(book: xlrd.Book, sheet: xlrd.sheet.Sheet) -> OldSheet:
    rows: list[list[object]] = []
    shown = ((number, book.format_map.get(style.format_key)) for number, style in enumerate(book.xf_list))
    styled = {number: unit for number, one in shown if one and (unit := unit_shown(one.format_str))}
    units: dict[Place, str] = {}
    for number in range(sheet.nrows):
        kinds, values = sheet.row_types(number), sheet.row_values(number)
        used = max((k + 1 for k, kind in enumerate(kinds) if kind not in _NOTHING), default=0)
        rows.append([_cell(kind, value, book.datemode) for kind, value in zip(kinds[:used], values, strict=False)])
        styles = ((column + 1, sheet.cell_xf_index(number, column)) for column in range(used if styled else 0))
        units |= {(number + 1, column): styled[style] for column, style in styles if style in styled}
    while rows and not rows[-1]:
        rows.pop()
    merged = [((top, left), (bottom - 1, right - 1)) for top, bottom, left, right in sheet.merged_cells]
    end = (len(rows) - 1, max(map(len, rows)) - 1) if rows else None
    hidden_rows = sum(bool(row) and sheet.rowinfo_map[k].hidden for k, row in enumerate(rows) if k in sheet.rowinfo_map)
    hidden_columns = sum(bool(told.hidden) for k, told in sheet.colinfo_map.items() if end and k <= end[1])
    look = Look({}, hidden_rows, hidden_columns, book.datemode == 1, units)
    return OldSheet(sheet.name, (0, 0) if rows else None, end, merged, rows, bool(sheet.visibility), look)


def _cell(kind: int, value: object, datemode: int) -> object:
    if kind in _NOTHING:
        return None
    if kind == xlrd.XL_CELL_ERROR:
        return xlrd.error_text_from_code.get(value, "#ERROR")
    if kind == xlrd.XL_CELL_BOOLEAN:
        return bool(value)
    if kind == xlrd.XL_CELL_DATE and isinstance(value, float):
        try:
            if 0.0 <= value < 1.0:
                return (datetime.min + timedelta(seconds=round(86400.0 * value))).time()
            return xldate_as_datetime(value, datemode)
        except (XLDateError, OverflowError):
            return value
    return value
