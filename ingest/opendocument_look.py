"""What an OpenDocument table (.ods) holds, looked at before its cells are read: how far they reach, which show an error.

OASIS OpenDocument 1.2, part 1: rows (9.1.3) and cells (9.1.4) that are alike stand once, with the number of times they are repeated.
"""

import io
import zipfile
from dataclasses import dataclass, field
from typing import Final
from xml.parsers import expat

from ingest.bounds import LARGEST_UNPACKED, LONGEST_CELL, MOST_GRID, MOST_TEXT, refuse_more
from ingest.errors import FileRefused
from ingest.workbook_look import BROKEN, DAMAGED, REMEDY, Look, Place, refuse_far, refuse_large, unpacked

SHEET: Final = "application/vnd.oasis.opendocument.spreadsheet"
"""What the part "mimetype" says of a table (OASIS, part 2, 3.3)."""
_CELLS = ("table-cell", "covered-table-cell")


@dataclass
class _Seen:
    """One table while it is read: row and column that come next, corner of the last used cell, texts of cells with an error."""

    row: int = 0
    column: int = 0
    width: int = 0
    height: int = 0
    characters: int = 0
    errors: dict[Place, str] = field(default_factory=dict)
    hidden: int = 0
    used: int = 0  # columns of the row so far, up to the last used cell


class _Reader:
    """Counts while the parser goes through a table's XML; what it holds is never kept whole."""

    def __init__(self) -> None:
        self.tables: dict[str, _Seen] = {}
        self._open: list[_Seen] = []
        self._row_times = self._cell_times = 1
        self._text: list[str] = []
        self._has_value = self._wrong = self._row_hidden = False

    def start(self, tag: str, told: dict[str, str]) -> None:
        own = {key.rpartition(" ")[2]: value for key, value in told.items()}
        name = tag.rpartition(" ")[2]
        if name == "table":
            self._open.append(self.tables.setdefault(own.get("name", ""), _Seen()))
        elif name == "table-row" and self._open:
            self._row_times = int(own.get("number-rows-repeated", 1))
            self._row_hidden = own.get("visibility", "visible") != "visible"
            self._open[-1].column = self._open[-1].used = 0
        elif name in _CELLS:
            self._cell_times, self._text = int(own.get("number-columns-repeated", 1)), []
            kinds = {key.rpartition(" ")[0]: value for key, value in told.items() if key.endswith(" value-type")}
            self._has_value, self._wrong = bool(kinds), "error" in kinds.values()

    def text(self, piece: str) -> None:
        if self._open:
            self._text.append(piece)

    def end(self, tag: str) -> None:
        name = tag.rpartition(" ")[2]
        if name == "table" and self._open:
            self._open.pop()
        if not self._open:
            return
        seen = self._open[-1]
        if name in _CELLS:
            self._cell(seen, "".join(self._text).strip())
        elif name == "table-row":
            seen.row += self._row_times
            if seen.used:
                seen.width, seen.height = max(seen.width, seen.used), seen.row
                seen.hidden += self._row_times if self._row_hidden else 0

    def _cell(self, seen: _Seen, text: str) -> None:
        if self._has_value or text:
            seen.used = seen.column + self._cell_times
            seen.characters += len(text) * self._cell_times * self._row_times
        if self._wrong:
            seen.errors[seen.row + 1, seen.column + 1] = text[:LONGEST_CELL] or "#ERROR"
        seen.column += self._cell_times


def look_into_opendocument(data: bytes) -> dict[str, Look]:
    """As :func:`ingest.workbook_look.look_into`, of an OpenDocument table."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            if archive.read("mimetype").strip() != SHEET.encode():
                raise FileRefused(
                    "an OpenDocument file, but no table; save the table as .ods, .xlsx or CSV, then import that"
                )
            refuse_large(archive, LARGEST_UNPACKED)
            reader, parser = _Reader(), expat.ParserCreate(namespace_separator=" ")
            parser.StartElementHandler, parser.EndElementHandler = reader.start, reader.end
            parser.CharacterDataHandler = reader.text
            parser.Parse(bytes(unpacked(archive, "content.xml")), True)
    except (*BROKEN, expat.ExpatError) as error:
        raise FileRefused(DAMAGED) from error
    cells = sum(refuse_far(name, seen.width, seen.height) for name, seen in reader.tables.items())
    refuse_more("cells from the first to the last used one", cells, MOST_GRID, REMEDY)
    refuse_more(
        "characters in its cells", sum(seen.characters for seen in reader.tables.values()), MOST_TEXT, "split it"
    )
    return {name: Look(seen.errors, seen.hidden) for name, seen in reader.tables.items()}
