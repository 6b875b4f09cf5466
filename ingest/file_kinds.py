"""What kind of file somebody brings, before anything is guessed of it: a table of ours, one start over time, a log."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Final, Literal

from ingest.bounds import table_bytes
from ingest.bus_logs import HEAD_BYTES, MEASUREMENT, is_candump
from ingest.errors import FileRefused
from ingest.sheets import Sheet
from ingest.trace_files import read_trace
from ingest.values import clean_text, parse_number
from ingest.vocabulary import folded

Kind = Literal["table", "trace", "log"]

SIGNALS: Final = re.compile(
    r"engine (?:speed|rpm)|vehicle speed|coolant|control module|fuel trim|throttle|intake (?:air|manifold)|engine load"
    r"|ambient air|mass air|timing advance|accelerator|oxygen|\bo2\b|\bobd\b|\bpid\b|\bspn\b|battery potential"
)
TIME: Final = re.compile(r"\btime|\bzeit|\btemps\b|\btiempo|seconds|timestamp|elapsed")
FEWEST_SIGNALS, FEWEST_ROWS = 2, 20  # headings that name a bus signal, and rows below them; our choice


def is_bus_log(path: str | Path) -> bool:
    """Whether the file holds frames of a bus by its first bytes; raises FileRefused as `bounds.table_bytes`."""
    begin = table_bytes(Path(path))[:HEAD_BYTES]
    return begin.startswith(MEASUREMENT) or is_candump(begin)


def kind_of_table(path: str | Path, sheets: Sequence[Sheet]) -> Kind:
    """What a file of rows and columns holds, by its headings and rows."""
    if any(_many_signals(sheet) for sheet in sheets):
        return "log"
    return "trace" if len(sheets) == 1 and _one_start(path, sheets[0]) else "table"


def _headings(sheet: Sheet) -> Sequence[str]:
    """The first row of the head that holds several words and no number."""
    for row in sheet.head:
        cells = [clean_text(cell) for cell in row if clean_text(cell)]
        if len(cells) >= 2 and all(parse_number(cell).value is None for cell in cells):
            return [folded(cell) for cell in cells]
    return ()


def _many_signals(sheet: Sheet) -> bool:
    headings = _headings(sheet)
    named = sum(bool(SIGNALS.search(text)) for text in headings)
    return named >= FEWEST_SIGNALS and any(TIME.search(text) for text in headings) and len(sheet.head) >= FEWEST_ROWS


def _one_start(path: str | Path, sheet: Sheet) -> bool:
    """Whether it reads as time, volts and amps of one recording, sampled evenly."""
    if sheet.is_workbook:
        return False
    try:
        read_trace(path)
    except (FileRefused, ValueError):
        return False
    return True
