"""What an XLSX archive holds, looked at before its cells are read: how far they reach, what has no result, what is wrong.

ECMA-376 (Office Open XML), part 1: a workbook is a ZIP archive of XML parts; a cell `c` names its place in `r`, its kind in
`t` ("s" a number of a shared text, "e" an error), its formula in `f` and its value or the formula's result in `v`.
"""

import io
import posixpath
import re
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from html import unescape
from xml.etree import ElementTree

import numpy as np

from ingest.bounds import LARGEST_UNPACKED, LONGEST_CELL, MOST_COLUMNS, MOST_GRID, MOST_ROWS, MOST_TEXT, refuse_more
from ingest.errors import FileRefused
from ingest.values import unit_word

DAMAGED = "a damaged, incomplete or locked workbook; open and save it again, or copy it anew"
UNPACKED_AT_ONCE = 1 << 20  # [byte]; our choice
LARGEST_INDEX = 10_000_000  # [byte] of the lists of sheets and relations; our choice: a thousand sheets take a tenth
BROKEN = (
    zipfile.BadZipFile,
    zlib.error,
    NotImplementedError,
    RuntimeError,
    EOFError,
    OSError,
    ValueError,
    LookupError,
    StopIteration,
)
_RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"

Place = tuple[int, int]


@dataclass(frozen=True)
class Look:
    """What the cells of a sheet do not say: texts by (row, column) from 1 that stand for errors and formulas without a result, and
    how many of its used rows and columns are hidden; `from_1904`: its workbook counts days from 1904;
    `units`: what the formats of numbers show behind them."""

    texts: dict[Place, str] = field(default_factory=dict)
    hidden_rows: int = 0
    hidden_columns: int = 0
    from_1904: bool = False
    units: dict[Place, str] = field(default_factory=dict)


def look_into(data: bytes) -> dict[str, Look]:
    """Return the sheets of a workbook by name; FileRefused when it is damaged, none, or larger than `bounds` allows."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            _refuse_shapeless(archive)
            parts, from_1904 = _sheet_parts(archive)
            styles = _styles_with_units(archive)
            longest = _shared_texts(archive)
            looks, cells, text = {}, 0, 0
            for name, part in parts.items():
                xml = unpacked(archive, part)
                width, height = _reach(name, xml)
                cells += width * height
                text += _text_size(xml, longest)
                refuse_more("cells from the first to the last used one", cells, MOST_GRID, REMEDY)
                refuse_more("characters in its cells", text, MOST_TEXT, "split it")
                looks[name] = Look(
                    _errors(xml) | _without_result(xml), *_hidden(xml, width), from_1904, _units(xml, styles)
                )
            return looks
    except (*BROKEN, ElementTree.ParseError) as error:
        raise FileRefused(DAMAGED) from error


REMEDY = "delete what stands far below or beside the table, save it, and import it again; or save the table as CSV"


def _refuse_shapeless(archive: zipfile.ZipFile) -> None:
    if "[Content_Types].xml" not in archive.namelist():
        raise FileRefused("a ZIP archive but not an XLSX workbook; unpack it and import the tables inside")
    refuse_large(archive, LARGEST_UNPACKED)


def refuse_large(archive: zipfile.ZipFile, largest: int) -> None:
    """FileRefused where it unpacks to more than `largest` [byte], or is not whole."""
    size = sum(entry.file_size for entry in archive.infolist())
    if size > largest:
        raise FileRefused(
            f"it unpacks to {size / 1e6:,.0f} MB; allowed are {largest / 1e6:,.0f} MB: save the tables as CSV"
        )
    if archive.testzip() is not None:
        raise FileRefused(DAMAGED)


def unpacked(archive: zipfile.ZipFile, part: str) -> bytearray:
    """A part's bytes, held once."""
    xml = bytearray(archive.getinfo(part).file_size)
    done = 0
    with archive.open(part) as opened:
        while chunk := opened.read(UNPACKED_AT_ONCE):
            xml[done : done + len(chunk)] = chunk
            done += len(chunk)
    return xml


# --- parts -----------------------------------------------------------------------------------------------------------


def _sheet_parts(archive: zipfile.ZipFile) -> tuple[dict[str, str], bool]:
    """Sheet names and the parts that hold them, in order; whether days are counted from 1904 (ECMA-376, part 1, 18.2.28)."""
    roots = _tree(archive, "_rels/.rels")
    book = next(
        _resolved("", str(one.get("Target"))) for one in roots if str(one.get("Type")).endswith("/officeDocument")
    )
    folder, file = posixpath.split(book)
    relations = _tree(archive, posixpath.join(folder, "_rels", f"{file}.rels"))
    targets = {one.get("Id"): _resolved(folder, str(one.get("Target"))) for one in relations}
    kinds = {one.get("Id"): str(one.get("Type")) for one in relations}
    told = list(_tree(archive, book).iter())
    sheets = (one for one in told if one.tag.endswith("}sheet"))
    found = ((str(one.get("name")), one.get(_RELATION)) for one in sheets)
    parts = {name: targets[number] for name, number in found if kinds.get(number, "").endswith("/worksheet")}
    return parts, any(one.get("date1904") in ("1", "true") for one in told if one.tag.endswith("}workbookPr"))


def _resolved(folder: str, target: str) -> str:
    return posixpath.normpath(target.lstrip("/") if target.startswith("/") else posixpath.join(folder, target))


def _tree(archive: zipfile.ZipFile, part: str) -> ElementTree.Element:
    if archive.getinfo(part).file_size > LARGEST_INDEX:
        raise KeyError(part)
    return ElementTree.fromstring(archive.read(part))


# --- cells -----------------------------------------------------------------------------------------------------------

_CELL = rb"<(?:\w+:)?c\b"
_CELL_START = re.compile(_CELL)
_STARTS = [mark + after for mark in (b"<c", b":c") for after in (b" ", b"\t", b"\r", b"\n", b"/", b">")]
# of cells (letters and figures) and rows (figures), in whatever tag, quotes and length: its reader believes each of them
_REFERENCE = re.compile(rb"r(?<![\w:.-]r)\s*=\s*[\"']\s*([A-Za-z]*)([0-9]+)")
_ROW_START = re.compile(rb"<(?:\w+:)?row\b")
_ERROR = re.compile(_CELL + rb"([^>]*\bt=[\"']e[\"'][^>]*)>")
_FORMULA = re.compile(_CELL + rb"([^>]*)>\s*<(?:\w+:)?f\b([^>]*)>")
_SHARED = re.compile(_CELL + rb"[^>]*\bt=[\"']s[\"'][^>]*>\s*<(?:\w+:)?v>\s*([0-9]{1,9})\s*<")
_IS_TEXT = re.compile(rb"\bt=[\"']str[\"']")
_CELL_END = re.compile(rb"</(?:\w+:)?c>")
_VALUE = re.compile(rb"<(?:\w+:)?v\b[^>]*>([^<]*)<")
_INLINE = re.compile(rb"<(?:\w+:)?t\b[^>]*>([^<]+)<")
_FORMULA_TEXT = re.compile(rb"<(?:\w+:)?f\b[^>]*>([^<]*)<")


def _reach(name: str, xml: bytearray) -> tuple[int, int]:
    """Last used column and row, from 1; FileRefused when it is too wide or too long for a table."""
    columns, rows = set(), set()
    placed = 0
    for found in _REFERENCE.finditer(xml):
        columns.add(found[1])
        rows.add(found[2])
        placed += bool(found[1])
    width = max((_column_number(letters) for letters in columns), default=0)
    height = max((int(number) for number in rows), default=0)
    if placed < sum(map(xml.count, _STARTS)):
        # cells without a place follow each other
        follow = [len(_CELL_START.findall(row)) for row in _ROW_START.split(xml)]
        width += max(follow)
        height = max(height, len(follow))
    refuse_far(name, width, height)
    return width, height


def refuse_far(name: str, width: int, height: int) -> int:
    """Cells of a sheet's grid; FileRefused where it is too wide or too long for a table."""
    if width > MOST_COLUMNS or height > MOST_ROWS + 1 or width * height > MOST_GRID:
        raise FileRefused(
            f"sheet {name!r} reaches to column {width:,} and row {height:,}; allowed are {MOST_COLUMNS:,} columns, "
            f"{MOST_ROWS:,} rows and {MOST_GRID:,} cells: {REMEDY}"
        )
    return width * height


_HIDDEN = rb"<(?:\w+:)?%s\b([^>]*\bhidden=[\"'](?:1|true)[\"'][^>]*)>"
_HIDDEN_ROW, _HIDDEN_COLUMNS = re.compile(_HIDDEN % b"row"), re.compile(_HIDDEN % b"col")
_HOLDS_CELLS = re.compile(rb"\s*" + _CELL)
_SPAN = re.compile(rb"\b(min|max)=[\"']([0-9]{1,9})[\"']")


def _hidden(xml: bytearray, width: int) -> tuple[int, int]:
    """How many rows with cells and columns up to `width` are hidden (ECMA-376, part 1, 18.3.1.73 and 18.3.1.13)."""
    if b"hidden=" not in xml:
        return 0, 0
    rows = sum(_HOLDS_CELLS.match(xml, found.end()) is not None for found in _HIDDEN_ROW.finditer(xml))
    spans = [{key: int(value) for key, value in _SPAN.findall(found[1])} for found in _HIDDEN_COLUMNS.finditer(xml)]
    return rows, sum(max(0, min(span.get(b"max", 0), width) - span.get(b"min", 1) + 1) for span in spans)


def _column_number(letters: bytes) -> int:
    number = 0
    for letter in letters.upper():
        number = number * 26 + letter - 64  # A is 65 in ASCII
    return number


def _place(attributes: bytes) -> Place | None:
    found = _REFERENCE.search(attributes)
    return (int(found[2]), _column_number(found[1])) if found and found[1] else None


def _body(xml: bytearray, start: int) -> bytearray:
    end = _CELL_END.search(xml, start)
    return xml[start : end.start()] if end else bytearray()


def _errors(xml: bytearray) -> dict[Place, str]:
    """Cells with an error: what they show, as #N/A."""
    out: dict[Place, str] = {}
    if b't="e"' not in xml and b"t='e'" not in xml:
        return out
    for found in _ERROR.finditer(xml):
        place, value = _place(found[1]), _VALUE.search(_body(xml, found.end()))
        if place is not None and not found[1].endswith(b"/"):
            out[place] = _text(value[1]) if value and value[1].strip() else "#ERROR"
    return out


def _without_result(xml: bytearray) -> dict[Place, str]:
    """Formulas that nobody has worked out: their text, because their value is not in the file."""
    out: dict[Place, str] = {}
    if b"<f" not in xml and b":f" not in xml:
        return out
    for found in _FORMULA.finditer(xml):
        start = xml.rindex(b"<", found.start() + 1, found.end())
        body = _body(xml, start)
        value = _VALUE.search(body) or _INLINE.search(body)
        place = _place(found[1])
        if place is not None and (value is None or not value[1].strip()) and not _IS_TEXT.search(found[1]):
            formula = _FORMULA_TEXT.search(body)
            out[place] = "=" + (_text(formula[1]) if formula else "")
    return out


_IN_BRACKETS = re.compile(r"\[(?:\$([^\]-]*))?[^\]]*\]")
_NUMBER_AND_MORE = re.compile(
    r'(?:General|[#0?., ]*[#0?](?:E[+-]0+)?)((?:"[^"]*"|\\.|_.|\*.|[^\w"\\,%@/])+)', re.IGNORECASE
)


def unit_shown(number_format: str) -> str:
    """The unit that a number format shows behind every number, as `0.0" mV"` (ECMA-376, part 1, 18.8.31); "" for none."""
    found = _NUMBER_AND_MORE.fullmatch(_IN_BRACKETS.sub(r'"\1"', number_format.split(";")[0]))
    shown = re.sub(r'[_*].|["\\]', "", found[1]).strip() if found else ""
    return shown if unit_word(shown) else ""


def _styles_with_units(archive: zipfile.ZipFile) -> dict[bytes, str]:
    """The numbers of styles whose number format shows a unit, and this."""
    part = next((name for name in archive.namelist() if name.endswith("styles.xml")), "")
    if not part or archive.getinfo(part).file_size > LARGEST_INDEX:
        return {}
    tree = _tree(archive, part)
    formats = {
        one.get("numFmtId"): unit_shown(one.get("formatCode", "")) for one in tree.iter() if one.tag.endswith("}numFmt")
    }
    styles = next((list(one) for one in tree if one.tag.endswith("}cellXfs")), [])
    found = ((b"%d" % number, formats.get(one.get("numFmtId"), "")) for number, one in enumerate(styles))
    return {number: unit for number, unit in found if unit}


def _units(xml: bytearray, styles: Mapping[bytes, str]) -> dict[Place, str]:
    """Units that the styles of cells show."""
    if not styles:
        return {}
    styled = re.compile(_CELL + rb"([^>]*\bs=[\"'](%s)[\"'][^>]*)>" % b"|".join(styles))
    found = ((_place(one[1]), styles[one[2]]) for one in styled.finditer(xml))
    return {place: unit for place, unit in found if place}


def _text(raw: bytes) -> str:
    return unescape(raw.decode("utf-8", "replace"))[:LONGEST_CELL]


# --- texts -----------------------------------------------------------------------------------------------------------

_ITEM = re.compile(rb"<(?:\w+:)?si\b")


def _shared_texts(archive: zipfile.ZipFile) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Bytes of each shared text with its marks, by number; FileRefused for one longer than any cell may be."""
    parts = [name for name in archive.namelist() if name.endswith("sharedStrings.xml")]
    if not parts:
        return np.zeros(0, dtype=np.int64)
    xml = unpacked(archive, parts[0])
    starts = np.array([found.start() for found in _ITEM.finditer(xml)] + [len(xml)], dtype=np.int64)
    sizes = np.diff(starts)
    if len(sizes) and sizes.max() > 8 * LONGEST_CELL:  # marks of style included
        raise FileRefused(f"a cell of it holds over {LONGEST_CELL:,} characters, more than any may; shorten it")
    return sizes


def _text_size(xml: bytearray, sizes: np.ndarray[tuple[int], np.dtype[np.int64]]) -> int:
    """Bytes of the sheet's texts when every cell has its own copy."""
    if not len(sizes) or int(sizes.max()) * (xml.count(b't="s"') + xml.count(b"t='s'")) <= MOST_TEXT:
        return 0
    counts = np.zeros(len(sizes), dtype=np.int64)
    for found in _SHARED.finditer(xml):
        number = int(found[1])
        if number < len(sizes):
            counts[number] += 1
    return int(counts @ sizes)
