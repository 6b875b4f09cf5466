"""Text tables: bytes become pieces of whole lines, and these rows, whatever the encoding, delimiter and quoting."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from pandas.errors import EmptyDataError, ParserError

from ingest.bounds import LONGEST_LINE, MOST_CELLS, MOST_COLUMNS, MOST_ROWS, refuse_more
from ingest.choices import FILES
from ingest.errors import FileRefused
from ingest.sheets import BLOCK_CELLS, BLOCK_ROWS, HEAD_ROWS, Block, Cells, Sheet, objects

PIECE_BYTES = 8_000_000  # [byte] of a text file handled at once; our choice: some tens of thousands of rows
SNIFFED_CHARACTERS = 64_000  # in which the delimiter shows; our choice
DELIMITERS = (",", ";", "\t", "|")

END_OF_DOS = "\x1a"  # ends a file of DOS

Pieces = Sequence[str]


def text_sheet(file: Path, data: bytes, *, encoding: str = "", delimiter: str = "") -> Sheet:
    """The table in a text file; FileRefused when it is no text, or larger than `bounds` allows."""
    pieces, found = decode(data, encoding)
    if not any(piece.strip() for piece in pieces):
        raise FileRefused("the file is empty; a table needs a heading and at least one row")
    _refuse_marked_up(pieces[0])
    _refuse_shapeless(pieces)
    pieces = _unquoted(pieces)
    return _sheet(file, pieces, found, delimiter or sniff_delimiter(pieces[0]))


_MARKED_UP = {"<": "a web page or XML", "{": "JSON", "[{": "JSON"}


def _refuse_marked_up(text: str) -> None:
    begin = "".join(text[:SNIFFED_CHARACTERS].split())[:2]
    what = _MARKED_UP.get(begin, _MARKED_UP.get(begin[:1], ""))
    if what:
        raise FileRefused(f"{what}, not a table, whatever its name says; save it as .xlsx or CSV, then import that")


def _refuse_shapeless(pieces: Pieces) -> None:
    lines = sum(piece.count("\n") for piece in pieces)
    refuse_more("lines", lines, MOST_ROWS, "split it")
    before = 0
    for piece in pieces:
        lengths = [len(line) for line in piece.split("\n")]
        if max(lengths) > LONGEST_LINE:
            number = before + lengths.index(max(lengths)) + 1
            raise FileRefused(
                f"line {number:,} has {max(lengths):,} characters; allowed are {LONGEST_LINE:,} (are the line ends lost?)"
            )
        before += len(lengths) - 1


# --- encodings -------------------------------------------------------------------------------------------------------


def decode(data: bytes, encoding: str = "") -> tuple[list[str], str]:
    """Return the text in pieces of whole lines and its encoding: the stated one, else by byte order mark, UTF-8, UTF-16,
    then Windows-1252, or Windows-1250 where its letters make words."""
    if encoding:
        try:
            return _pieces(data, encoding), encoding
        except (UnicodeError, LookupError) as error:
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
            pieces = _pieces(data, name)
        except UnicodeError:
            continue
        if name == "cp1252" and any(map(_NO_WESTERN_WORD.search, pieces)):
            with suppress(UnicodeError):
                pieces, name = _pieces(data, "cp1250"), "cp1250"
        return _no_controls(pieces), name
    raise FileRefused(
        "it is not a text table (neither UTF-8, UTF-16 nor Windows-1252) and no workbook (XLSX, XLS, ODS); a table in another encoding is "
        "saved as CSV in UTF-8"
    )


_NO_WESTERN_WORD = re.compile(r"[^\W\d_][\u00b3\u00b9\u00bf][^\W\d_]")
"""Pr¹d, s³aby, du¿y: signs that no word of Windows-1252 holds are ą, ł and ż of Windows-1250."""


def _strict(data: bytes, encoding: str) -> list[str]:
    try:
        return _no_controls(_pieces(data, encoding))
    except UnicodeDecodeError as error:
        raise FileRefused(f"it begins like {encoding} text but is damaged further on") from error


def _pieces(data: bytes, encoding: str) -> list[str]:
    """Decode piece by piece: a rare letter makes its own piece wide in memory, not the whole file."""
    decoder = codecs.getincrementaldecoder(encoding)()
    parts = []
    for start in range(0, max(len(data), 1), PIECE_BYTES):
        part = data[start : start + PIECE_BYTES]
        parts.append(decoder.decode(part, start + len(part) >= len(data)))
    parts[0] = parts[0].removeprefix("\ufeff")
    parts[-1] = parts[-1].removesuffix(END_OF_DOS)
    if not any("\n" in part for part in parts):
        parts = [part.replace("\r", "\n") for part in parts]
    return _whole_lines(parts)


def _whole_lines(parts: Pieces) -> list[str]:
    pieces, begun = [], []
    for part in parts:
        end = part.rfind("\n") + 1
        if not end:
            begun.append(part)
            continue
        pieces.append("".join([*begun, part[:end]]))
        begun = [part[end:]]
    last = "".join(begun)
    return [*pieces, last] if last or not pieces else pieces


_CONTROLS = re.compile("[\x00-\x08\x0e-\x1f\x7f]")


def _no_controls(pieces: list[str]) -> list[str]:
    line = 1
    for piece in pieces:
        found = _CONTROLS.search(piece)
        if found is not None:
            line += piece.count("\n", 0, found.start())
            what = "NUL bytes" if found[0] == "\x00" else f"control characters (code {ord(found[0])})"
            raise FileRefused(f"it holds {what} (first in line {line}), so it is not a text table")
        line += piece.count("\n")
    return pieces


_WHOLE = re.compile(r'\s*"((?:[^"]|"")*)"\s*')


def _unquoted(pieces: list[str]) -> list[str]:
    """Lines that a program put in quotation marks whole, as if each were one cell, without these."""
    first = [line for line in pieces[0][:SNIFFED_CHARACTERS].splitlines()[:HEAD_ROWS] if line.strip()]
    if not all(_WHOLE.fullmatch(line) and any(mark in line for mark in DELIMITERS) for line in first):
        return pieces

    def inner(line: str) -> str:
        found = _WHOLE.fullmatch(line)
        return found[1].replace('""', '"') if found else line

    return ["\n".join(map(inner, piece.split("\n"))) for piece in pieces]


def sniff_delimiter(text: str) -> str:
    """Return the delimiter whose count is steadiest over the first lines; ',' when none stands out."""
    lines = [line for line in text[:SNIFFED_CHARACTERS].splitlines()[:HEAD_ROWS] if line.strip()]
    best, best_score = ",", 0.0
    for mark in DELIMITERS:
        widths = [len(row) for row in csv.reader(lines, delimiter=mark)]
        wide = [width for width in widths if width > 1]
        if not wide:
            continue
        usual = max(set(wide), key=lambda width: (wide.count(width), width))
        score = wide.count(usual) / len(widths) * min(usual, 6)
        if score > best_score or (best == "," and score > 0 and _commas_are_decimal(lines, mark)):
            best, best_score = mark, max(score, best_score)
    return best


_DECIMAL_COMMA = re.compile(r"(?<=[0-9]),(?=[0-9])")


def _commas_are_decimal(lines: Sequence[str], mark: str) -> bool:
    """Whether commas stand only in lines that another mark splits, between digits of its cells, one a cell at most."""
    cells = [cell for line in lines for cell in line.split(mark)]
    return (
        all(mark in line for line in lines if "," in line)
        and all(cell.count(",") == len(_DECIMAL_COMMA.findall(cell)) <= 1 for cell in cells)
        and any("," in cell for cell in cells)
    )


# --- rows ------------------------------------------------------------------------------------------------------------


def _sheet(file: Path, pieces: Pieces, encoding: str, delimiter: str) -> Sheet:
    plain = all('"' not in piece and piece.count("\r") == piece.count("\r\n") for piece in pieces)
    lines = sum(piece.count("\n") for piece in pieces)
    head: list[list[object]] = []
    head_lines: list[int] = []
    for line, cells, _, _ in _rows_one_by_one(pieces, delimiter, 1):
        head.append([*cells[: MOST_COLUMNS + 1]])
        head_lines.append(line)
        if len(head) >= HEAD_ROWS:
            break

    def blocks(after_line: int, width: int, numeric: frozenset[int]) -> Iterator[Block]:
        refuse_more("columns", width, MOST_COLUMNS, "leave out those that are not needed")
        refuse_more(f"cells ({lines:,} lines, {width} columns)", lines * width, MOST_CELLS, "split it")
        below = _below(pieces, after_line)
        if plain:
            return _plain_blocks(below, after_line, width, delimiter, numeric)
        return _slow_blocks(below, after_line, width, delimiter)

    return Sheet(file.name, "", head, head_lines, blocks, sum(map(len, pieces)), delimiter, encoding)


def _below(pieces: Pieces, line: int) -> Iterator[str]:
    for piece in pieces:
        count = piece.count("\n")
        if line <= 0:
            yield piece
        elif line <= count:
            position = 0
            for _ in range(line):
                position = piece.index("\n", position) + 1
            if position < len(piece):
                yield piece[position:]
        line -= count


def _plain_blocks(
    pieces: Iterator[str], after_line: int, width: int, delimiter: str, numeric: frozenset[int]
) -> Iterator[Block]:
    """Blocks of a file without quotes: one row is one line, so pandas may parse many at once."""
    line = after_line + 1
    rows_at_once = max(1, BLOCK_CELLS // width)
    for piece in pieces:
        for part in _cut(piece, rows_at_once):
            yield from _parse_plain(part, line, width, delimiter, numeric)
            line += part.count("\n")


def _cut(piece: str, rows: int) -> Iterator[str]:
    """The piece in parts of at most `rows` lines."""
    if piece.count("\n") <= rows:
        yield piece
        return
    lines = [*_lines(piece)]
    for start in range(0, len(lines), rows):
        yield "".join(lines[start : start + rows])


def _lines(piece: str) -> Iterator[str]:
    """Lines with their ends; only a line feed ends one."""
    start = 0
    while start < len(piece):
        end = piece.find("\n", start) + 1 or len(piece)
        yield piece[start:end]
        start = end


def _parse_plain(part: str, line: int, width: int, delimiter: str, numeric: frozenset[int]) -> Iterator[Block]:
    torn = not part.endswith("\n")  # only the file's last line can be
    count = part.count("\n") + torn
    if any(row.count(delimiter) >= width for row in part.split("\n")):  # surplus cells: row by row, nothing lost
        yield from _slow_blocks(iter([part]), line - 1, width, delimiter)
        return
    frame = _frame(part, width, delimiter, numeric)
    if frame is None or len(frame) != count:
        yield from _slow_blocks(iter([part]), line - 1, width, delimiter)
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


def _frame(part: str, width: int, delimiter: str, numeric: frozenset[int]) -> pd.DataFrame | None:
    """The lines as pandas reads them, None where it cannot."""
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
        return None
    odd = {index for index in numeric if index < width and frame[index].dtype in (bool, object)}  # TRUE is told as True
    return _frame(part, width, delimiter, numeric - odd) if odd else frame


def _column(series: pd.Series[Any]) -> Cells:
    if series.dtype.kind in "fiu":
        return series.to_numpy(dtype=np.float64)
    cells = series.to_numpy(dtype=object, copy=True)
    cells[series.isna().to_numpy()] = ""
    return cells


def _slow_blocks(pieces: Iterator[str], after_line: int, width: int, delimiter: str) -> Iterator[Block]:
    """Blocks of a file with quotes: cells may hold delimiters and line breaks."""
    lines: list[int] = []
    rows: list[list[str]] = []
    originals: list[str] = []
    crooked: dict[int, str] = {}
    size = 0
    rows_at_once = max(1, min(BLOCK_ROWS, BLOCK_CELLS // width))
    for line, cells, original, wrong in _rows_one_by_one(pieces, delimiter, after_line + 1):
        size += len(original) + 1
        if not any(cell.strip() for cell in cells) and not wrong:
            continue
        if not wrong and any(cell.strip() for cell in cells[width:]):
            many = f"more than {MOST_COLUMNS:,}" if len(cells) > MOST_COLUMNS else str(len(cells))
            wrong = f"it has {many} values under {width} headings (a {delimiter!r} inside a value?)"
        if wrong:
            crooked[len(rows)] = wrong
        lines.append(line)
        rows.append([*cells[:width], *[""] * (width - len(cells))])
        originals.append(original)
        if len(rows) >= rows_at_once:
            yield _block(lines, rows, originals, crooked, size)
            lines, rows, originals, crooked, size = [], [], [], {}, 0
    if rows:
        yield _block(lines, rows, originals, crooked, size)


def _block(lines: list[int], rows: list[list[str]], originals: list[str], crooked: dict[int, str], size: int) -> Block:
    columns = [objects(cells) for cells in zip(*rows, strict=True)]
    return Block(np.array(lines, dtype=np.int64), columns, originals.__getitem__, crooked, size)


def _rows_one_by_one(
    pieces: Iterator[str] | Pieces, delimiter: str, first_line: int
) -> Iterator[tuple[int, list[str], str, str]]:
    """Yield (line, cells, original, what is wrong) per row; a quote that is never closed costs its own line only."""
    coming = iter(pieces)
    physical: list[str] = []
    position, more = 0, True
    while True:
        while more and len(physical) - position <= FILES.longest_quoted:
            piece = next(coming, None)
            more = piece is not None
            if piece is not None:
                first_line += position
                physical, position = physical[position:], 0
                physical.extend(piece.removesuffix("\n").split("\n"))
        if position >= len(physical):
            return
        line = first_line + position
        cells, taken, wrong = _one_row(physical, position, delimiter)
        yield line, cells, "\n".join(part.rstrip("\r") for part in physical[position : position + taken]), wrong
        position += taken


def _one_row(physical: list[str], position: int, delimiter: str) -> tuple[list[str], int, str]:
    """The row that begins at a line: its cells, how many lines it takes, and what is wrong with it."""
    first = physical[position].rstrip("\r")
    if '"' not in first:
        return first.split(delimiter, MOST_COLUMNS), 1, ""
    taken = 0

    def feed() -> Iterator[str]:
        nonlocal taken
        for offset in range(position, min(position + FILES.longest_quoted, len(physical))):
            taken += 1
            yield physical[offset].rstrip("\r") + "\n"

    cells, wrong = _quoted_row(feed(), delimiter)
    closed = taken < FILES.longest_quoted and (
        position + taken < len(physical) or ("".join(physical[position:]).count('"') % 2 == 0)
    )
    if wrong or not closed:
        return first.split(delimiter, MOST_COLUMNS), 1, wrong or "a quotation mark is never closed"
    return cells, taken, ""


def _quoted_row(feed: Iterator[str], delimiter: str) -> tuple[list[str], str]:
    try:
        return next(csv.reader(feed, delimiter=delimiter)), ""
    except csv.Error as error:
        return [], f"its quotation marks do not fit ({error})"
