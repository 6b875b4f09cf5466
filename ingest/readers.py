"""CSV and XLSX files become sheets of rows with true line numbers, whatever their encoding and delimiter."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from pandas.errors import EmptyDataError, ParserError

from ingest.errors import FileRefused
from ingest.sheets import BLOCK_ROWS, HEAD_ROWS, Block, Cells, Sheet
from ingest.workbooks import workbook_sheets

BLOCK_CHARACTERS = 8_000_000  # [characters] of a text file handled at once; our choice: some tens of thousands of rows
HEAD_CHARACTERS = 200_000  # [characters] in which the heading must come; our choice
LARGEST_FILE = 2_000_000_000  # [byte] of one file; our choice, because it is read whole
LONGEST_QUOTED = 50  # [lines] of one quoted cell; our choice: a quote that stays open longer was never closed
DELIMITERS = (",", ";", "\t", "|")
SUFFIXES = (".csv", ".tsv", ".txt", ".xlsx", ".xlsm")


def read_sheets(path: str | Path, *, encoding: str = "", delimiter: str = "") -> list[Sheet]:
    """Return the sheets of a CSV or XLSX file (by its content, not its name); raise FileRefused when it is neither.

    `encoding` and `delimiter` override what is found by looking.
    """
    file = Path(path)
    data = _bytes_of(file)
    if data[:4] == b"PK\x03\x04":
        return workbook_sheets(file, data)
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

    def blocks(after_line: int, width: int, numeric: frozenset[int]) -> Iterator[Block]:
        start = _offset_after(text, after_line)
        if plain:
            return _plain_blocks(text, start, after_line, width, delimiter, numeric)
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


def _plain_blocks(
    text: str, start: int, after_line: int, width: int, delimiter: str, numeric: frozenset[int]
) -> Iterator[Block]:
    """Blocks of a file without quotes: one row is one line, so pandas may parse many at once."""
    line = after_line + 1
    while start < len(text):
        end = text.find("\n", start + BLOCK_CHARACTERS)
        end = len(text) if end < 0 else end + 1
        part = text[start:end]
        torn = end == len(text) and not part.endswith("\n")
        yield from _parse_plain(part, line, width, delimiter, numeric, torn)
        line += part.count("\n")
        start = end


def _parse_plain(
    part: str, line: int, width: int, delimiter: str, numeric: frozenset[int], torn: bool
) -> Iterator[Block]:
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
            dtype={index: str for index in range(width) if index not in numeric},
            keep_default_na=False,
            na_values=[""],
            skip_blank_lines=False,
            quoting=csv.QUOTE_NONE,
            low_memory=False,
            on_bad_lines="error",
        )
    except (ParserError, EmptyDataError, pd.errors.ParserWarning, OverflowError):
        frame = None
    if frame is None or len(frame) != count:
        yield from _slow_blocks(part, 0, line - 1, width, delimiter)
        return
    kept = np.ones(count, dtype=np.bool_)
    if re.search(rf"(?m)^(?:[^\S\n]|{re.escape(delimiter)})*$", part.removesuffix("\n")):
        rows = part.removesuffix("\n").split("\n")
        kept = np.array([bool(row.replace(delimiter, "").strip()) for row in rows])
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
    cells = series.to_numpy(dtype=object, copy=True)
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
