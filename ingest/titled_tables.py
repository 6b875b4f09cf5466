"""Tables below each other in a text, each under a line with its vehicle's number: a sheet for each."""

import re
from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np

from ingest.layout import Layout, own_layout, own_name
from ingest.sheets import HEAD_ROWS, Block, Sheet, cell_text
from ingest.values import clean_text
from ingest.vocabulary import OF_A_VEHICLE, meaning

_BEHIND_A_WORD = re.compile(r"^(.*?[^\W\d_])\s*[.:#]*\s+(\S+)$")  # as in "Vehicle: K-101"


def titled_tables(sheet: Sheet, named: str) -> list[tuple[Sheet, Layout]]:
    """The tables with our own headings but without a vehicle, titled by the lines above these; [] where one has no such line.

    Contract: every row of the text below a heading is in exactly one of them, under its own line number.
    """
    whole = own_layout(sheet, named=named, by_title=True)
    if whole is None:
        return []
    names = [own_name(heading) for heading in whole.headings]
    above = [cells for cells, line in zip(sheet.head, sheet.head_lines, strict=True) if line < whole.heading_line]
    lone = [
        _title(cells) for cells in above if any(map(clean_text, cells)) and [own_name(cell) for cell in cells] != names
    ]
    if not lone or not lone[-1]:
        return []
    blocks = list(sheet.blocks(0, whole.width, frozenset()))
    begins = np.cumsum([0, *(len(block.lines) for block in blocks)])

    def row(number: int) -> tuple[int, list[object]]:
        at = int(np.searchsorted(begins, number, side="right")) - 1
        inside = number - int(begins[at])
        return int(blocks[at].lines[inside]), [column[inside] for column in blocks[at].columns]

    first = next(place for place, name in enumerate(names) if name)
    begun = {cells[first] for cells in sheet.head if first < len(cells) and own_name(cells[first]) == names[first]}
    alike = [
        int(begins[at] + inside)
        for at, block in enumerate(blocks)
        for inside in np.flatnonzero(np.any([block.columns[first] == cell for cell in begun], axis=0)).tolist()
    ]
    starts = [number for number in alike if [own_name(cell) for cell in row(number)[1]] == names]
    titles = [_title(row(number - 1)[1]) if number else "" for number in starts]
    if not starts or not all(titles):
        return []
    found = []
    for title, (start, end) in zip(titles, pairwise([*starts, int(begins[-1]) + 1]), strict=True):
        head = [row(number) for number in range(start, min(start + HEAD_ROWS, end - 1))]
        part = _part(sheet, title, head, blocks, row(end - 2)[0], sheet.size // len(starts))
        layout = own_layout(part, named=named, by_title=True)
        if layout is not None:
            found.append((part, layout))
    return found


def _title(cells: Sequence[object]) -> str:
    """The only text of a line, without a word for a vehicle before it; "" where there are more."""
    texts = [text for cell in cells if (text := clean_text(cell_text(cell)))]
    if len(texts) != 1:
        return ""
    behind = _BEHIND_A_WORD.match(texts[0])
    return behind[2] if behind and meaning(behind[1], (OF_A_VEHICLE,)) else texts[0]


def _part(
    sheet: Sheet, title: str, head: list[tuple[int, list[object]]], blocks: list[Block], last: int, size: int
) -> Sheet:
    def below(after: int, width: int, numeric: frozenset[int]) -> Iterator[Block]:  # noqa: ARG001
        for block in blocks:
            kept = np.flatnonzero((block.lines > after) & (block.lines <= last))
            if len(kept):
                yield _rows_of(block, kept)

    cells, lines = [row for _, row in head], [line for line, _ in head]
    return Sheet(sheet.file, title, cells, lines, below, size, delimiter=sheet.delimiter, encoding=sheet.encoding)


def _rows_of(block: Block, kept: np.ndarray[tuple[int], np.dtype[np.int64]]) -> Block:
    crooked = {new: block.crooked[old] for new, old in enumerate(kept.tolist()) if old in block.crooked}
    columns = [column[kept] for column in block.columns]
    return Block(block.lines[kept], columns, lambda row: block.original(int(kept[row])), crooked)
