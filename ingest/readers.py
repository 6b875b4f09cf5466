"""CSV and XLSX files become sheets of rows with true line numbers, whatever their encoding and delimiter."""

from __future__ import annotations

import csv
import io
import re
import warnings
import zipfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import ParseError

import numpy as np
import numpy.typing as npt
import openpyxl
import pandas as pd
from pandas.errors import EmptyDataError, ParserError

from ingest.errors import FileRefused

BLOCK_CHARACTERS = 8_000_000  # [characters] of a text file handled at once; our choice: some tens of thousands of rows
BLOCK_ROWS = 50_000  # rows handled at once where they must be read one by one; our choice
HEAD_ROWS = 40  # rows looked at to find the heading; our choice: title rows are rarely more than ten
HEAD_CHARACTERS = 200_000  # [characters] in which the heading must come; our choice
LARGEST_FILE = 2_000_000_000  # [byte] of one file; our choice, because it is read whole
LARGEST_WORKBOOK = 1_000_000_000  # [byte] unpacked; our choice, against archives made to fill the memory
LONGEST_QUOTED = 50  # [lines] of one quoted cell; our choice: a quote that stays open longer was never closed
DELIMITERS = (",", ";", "\t", "|")
SUFFIXES = (".csv", ".tsv", ".txt", ".xlsx", ".xlsm")

Cells = npt.NDArray[Any]


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
    blocks: Callable[[int, int], Iterator[Block]]
    size: int
    delimiter: str = ""
    encoding: str = ""

    def last_line_of(self, row: int) -> int:
        """Return the last line that row `row` of the head covers (a quoted heading may cover several)."""
        following = self.head_lines[row + 1] if row + 1 < len(self.head_lines) else self.head_lines[row] + 1
        return following - 1

    @property
    def is_workbook(self) -> bool:
        """Whether cells carry types of their own."""
        return not self.delimiter


def read_sheets(path: str | Path, *, encoding: str = "", delimiter: str = "") -> list[Sheet]:
    """Return the sheets of a CSV or XLSX file (by its content, not its name); raise FileRefused when it is neither.

    `encoding` and `delimiter` override what is found by looking.
    """
    file = Path(path)
    data = _bytes_of(file)
    if data[:4] == b"PK\x03\x04":
        return _workbook_sheets(file, data)
    if data[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        raise FileRefused("an old or locked Excel file; save it as .xlsx without a password, then import that")
    text, found = decode(data, encoding)
    del data
    if not text.strip():
        raise FileRefused("the file is empty; a table needs a heading and at least one row")
    return [_text_sheet(file, text, found, delimiter or sniff_delimiter(text))]


def _bytes_of(file: Path) -> bytes:
    if file.is_dir():
        raise FileRefused("a folder, not a file")
    try:
        size = file.stat().st_size
        if size > LARGEST_FILE:
            raise FileRefused(f"{size} bytes are too many at once; allowed are {LARGEST_FILE}: split the file")
        data = file.read_bytes()
    except FileNotFoundError:
        raise FileRefused("there is no such file") from None
    except OSError as error:
        raise FileRefused(f"it cannot be read: {error.strerror or error}") from error
    if not data.strip():
        raise FileRefused("the file is empty; a table needs a heading and at least one row")
    return data


# --- text ------------------------------------------------------------------------------------------------------------


def decode(data: bytes, encoding: str = "") -> tuple[str, str]:
    """Return the text and its encoding: the stated one, else by byte order mark, UTF-8, UTF-16, then Windows-1252."""
    if encoding:
        try:
            return data.decode(encoding).removeprefix("\ufeff"), encoding
        except (UnicodeDecodeError, LookupError) as error:
            raise FileRefused(f"it is not text in the encoding {encoding!r} that the description states") from error
    for mark, name in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if data.startswith(mark):
            return _strict(data, name), name
    sample = data[:4096]
    if b"\x00" in sample:
        half = len(sample) / 2
        for name, nuls, others in (("utf-16-le", sample[1::2], sample[::2]), ("utf-16-be", sample[::2], sample[1::2])):
            if nuls.count(0) > 0.7 * half and others.count(0) < 0.02 * half:
                return _strict(data, name), name
    for name in ("utf-8", "cp1252"):
        try:
            text = data.decode(name)
        except UnicodeDecodeError:
            continue
        return _no_controls(text), name
    raise FileRefused("it is not a text table (neither UTF-8, UTF-16 nor Windows-1252) and not an XLSX workbook")


def _strict(data: bytes, encoding: str) -> str:
    try:
        return _no_controls(data.decode(encoding).removeprefix("\ufeff"))
    except UnicodeDecodeError as error:
        raise FileRefused(f"it begins like {encoding} text but is damaged further on") from error


_CONTROLS = re.compile("[\x00-\x08\x0e-\x1f\x7f]")


def _no_controls(text: str) -> str:
    found = _CONTROLS.search(text)
    if found is None:
        return text
    line = text.count("\n", 0, found.start()) + 1
    what = "NUL bytes" if found[0] == "\x00" else f"control characters (code {ord(found[0])})"
    raise FileRefused(f"it holds {what} (first in line {line}), so it is not a text table")


def sniff_delimiter(text: str) -> str:
    """Return the delimiter whose count is steadiest over the first lines; ',' when none stands out."""
    lines = [line for line in text[:64_000].splitlines()[:HEAD_ROWS] if line.strip()]
    best, best_score = ",", 0.0
    for mark in DELIMITERS:
        widths = [len(row) for row in csv.reader(lines, delimiter=mark)]
        wide = [width for width in widths if width > 1]
        if not wide:
            continue
        usual = max(set(wide), key=lambda width: (wide.count(width), width))
        score = wide.count(usual) / len(widths) * min(usual, 6)
        if score > best_score:
            best, best_score = mark, score
    return best


def _text_sheet(file: Path, text: str, encoding: str, delimiter: str) -> Sheet:
    if "\r" in text and "\n" not in text:
        text = text.replace("\r", "\n")
    plain = '"' not in text and text.count("\r") == text.count("\r\n")
    head: list[list[object]] = []
    head_lines: list[int] = []
    for line, cells, _, _ in _rows_one_by_one(text[:HEAD_CHARACTERS], delimiter, 1):
        head.append([*cells])
        head_lines.append(line)
        if len(head) >= HEAD_ROWS:
            break

    def blocks(after_line: int, width: int) -> Iterator[Block]:
        start = _offset_after(text, after_line)
        if plain:
            return _plain_blocks(text, start, after_line, width, delimiter)
        return _slow_blocks(text, start, after_line, width, delimiter)

    return Sheet(file.name, "", head, head_lines, blocks, len(text), delimiter, encoding)


def _offset_after(text: str, line: int) -> int:
    position = 0
    for _ in range(line):
        found = text.find("\n", position)
        if found < 0:
            return len(text)
        position = found + 1
    return position


def _plain_blocks(text: str, start: int, after_line: int, width: int, delimiter: str) -> Iterator[Block]:
    """Blocks of a file without quotes: one row is one line, so pandas may parse many at once."""
    line = after_line + 1
    while start < len(text):
        end = text.find("\n", start + BLOCK_CHARACTERS)
        end = len(text) if end < 0 else end + 1
        part = text[start:end]
        torn = end == len(text) and not part.endswith("\n")
        yield from _parse_plain(part, line, width, delimiter, torn)
        line += part.count("\n")
        start = end


def _parse_plain(part: str, line: int, width: int, delimiter: str, torn: bool) -> Iterator[Block]:
    count = part.count("\n") + (0 if part.endswith("\n") else 1)
    if any(row.count(delimiter) >= width for row in part.split("\n")):  # surplus cells: row by row, nothing lost
        yield from _slow_blocks(part, 0, line - 1, width, delimiter)
        return
    try:
        frame = pd.read_csv(
            io.StringIO(part),
            sep=delimiter,
            header=None,
            names=range(width),
            index_col=False,
            keep_default_na=False,
            na_values=[""],
            skip_blank_lines=False,
            quoting=csv.QUOTE_NONE,
            low_memory=False,
            on_bad_lines="error",
            float_precision="round_trip",
        )
    except (ParserError, EmptyDataError, pd.errors.ParserWarning, OverflowError):
        frame = None
    if frame is None or len(frame) != count:
        yield from _slow_blocks(part, 0, line - 1, width, delimiter)
        return
    kept = ~frame.isna().all(axis=1).to_numpy()
    if not kept.all():
        frame = frame[kept]
    if not len(frame):
        return
    lines = (np.arange(count, dtype=np.int64) + line)[kept]
    columns = [_column(frame[name]) for name in frame.columns]
    split: list[str] = []

    def original(row: int) -> str:
        if not split:
            split.extend(part.split("\n"))
        return split[int(lines[row]) - line].rstrip("\r")

    crooked = {}
    last = part[part.rfind("\n") + 1 :] if torn else ""
    if last and last.count(delimiter) < width - 1:
        crooked[len(lines) - 1] = "the file ends in the middle of this line"
    yield Block(lines, columns, original, crooked, len(part))


def _column(series: pd.Series[Any]) -> Cells:
    if series.dtype.kind in "fiu":
        return series.to_numpy(dtype=np.float64)
    cells = series.to_numpy(dtype=object)
    cells[series.isna().to_numpy()] = ""
    if series.dtype.kind == "b":
        cells = np.array([str(cell) for cell in cells], dtype=object)
    return cells


def _slow_blocks(text: str, start: int, after_line: int, width: int, delimiter: str) -> Iterator[Block]:
    """Blocks of a file with quotes: cells may hold delimiters and line breaks."""
    lines: list[int] = []
    rows: list[list[str]] = []
    originals: list[str] = []
    crooked: dict[int, str] = {}
    size = 0
    for line, cells, original, wrong in _rows_one_by_one(text[start:] if start else text, delimiter, after_line + 1):
        size += len(original) + 1
        if not any(cell.strip() for cell in cells) and not wrong:
            continue
        surplus = [cell for cell in cells[width:] if cell.strip()]
        if surplus and not wrong:
            wrong = f"it has {len(cells)} values under {width} headings (a {delimiter!r} inside a value?)"
        if wrong:
            crooked[len(rows)] = wrong
        lines.append(line)
        rows.append([*cells[:width], *[""] * (width - len(cells))])
        originals.append(original)
        if len(rows) >= BLOCK_ROWS:
            yield _block(lines, rows, originals, crooked, size)
            lines, rows, originals, crooked, size = [], [], [], {}, 0
    if rows:
        yield _block(lines, rows, originals, crooked, size)


def _block(lines: list[int], rows: list[list[str]], originals: list[str], crooked: dict[int, str], size: int) -> Block:
    columns = []
    for cells in zip(*rows, strict=True):
        column = np.empty(len(cells), dtype=object)
        column[:] = cells
        columns.append(column)
    return Block(np.array(lines, dtype=np.int64), columns, originals.__getitem__, crooked, size)


def _rows_one_by_one(text: str, delimiter: str, first_line: int) -> Iterator[tuple[int, list[str], str, str]]:
    """Yield (line, cells, original, what is wrong) per row; a quote that is never closed costs its own line only."""
    physical = text.split("\n")
    if physical and physical[-1] == "":
        physical.pop()
    position = 0
    while position < len(physical):
        taken = 0

        def feed(begin: int = position) -> Iterator[str]:
            nonlocal taken
            for offset in range(begin, min(begin + LONGEST_QUOTED, len(physical))):
                taken += 1
                yield physical[offset].rstrip("\r") + "\n"

        if '"' not in physical[position]:
            original = physical[position].rstrip("\r")
            yield first_line + position, original.split(delimiter), original, ""
            position += 1
            continue
        cells, wrong = _quoted_row(feed(), delimiter)
        closed = taken < LONGEST_QUOTED and (position + taken < len(physical) or _quotes_close(physical[position:]))
        if wrong or not closed:
            original = physical[position].rstrip("\r")
            yield (
                first_line + position,
                original.split(delimiter),
                original,
                wrong or "a quotation mark is never closed",
            )
            position += 1
            continue
        original = "\n".join(part.rstrip("\r") for part in physical[position : position + taken])
        yield first_line + position, cells, original, ""
        position += taken


def _quoted_row(feed: Iterator[str], delimiter: str) -> tuple[list[str], str]:
    try:
        return next(csv.reader(feed, delimiter=delimiter)), ""
    except csv.Error as error:
        return [], f"its quotation marks do not fit ({error})"


def _quotes_close(rest: list[str]) -> bool:
    return "".join(rest).count('"') % 2 == 0


# --- workbooks -------------------------------------------------------------------------------------------------------

_DAMAGED = (zipfile.BadZipFile, zlib.error, KeyError, ValueError, TypeError, AttributeError, IndexError, EOFError)


def _workbook_sheets(file: Path, data: bytes) -> list[Sheet]:
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
    def blocks(after_line: int, width: int) -> Iterator[Block]:
        return _grid_blocks(rows, after_line, width)

    head = [list(row) for row in rows[:HEAD_ROWS]]
    cells = sum(len(row) for row in rows)
    return Sheet(file.name, title, head, list(range(1, len(head) + 1)), blocks, cells)


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
        crooked = {
            position: f"it has a value right of the {width} headings"
            for position, (_, row) in enumerate(chunk)
            if any(cell is not None for cell in row[width:])
        }
        originals = [cells_as_text(row) for _, row in chunk]
        lines = np.array([line for line, _ in chunk], dtype=np.int64)
        yield Block(lines, columns, originals.__getitem__, crooked, sum(len(row) for _, row in chunk))


def cells_as_text(row: list[object]) -> str:
    """Return a workbook's row as one line of comma-separated text, as it is kept when the row is set aside."""
    out = io.StringIO()
    csv.writer(out, lineterminator="").writerow([cell_text(cell) for cell in row])
    return out.getvalue().rstrip(",")


def cell_text(cell: object) -> str:
    """Return a cell as text: times in ISO 8601, numbers without a trailing .0."""
    if cell is None or (isinstance(cell, float) and cell != cell):
        return ""
    if isinstance(cell, (datetime, date, time)):
        return cell.isoformat()
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return str(int(cell))
    return str(cell)
