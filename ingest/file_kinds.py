"""What kind of file somebody brings, before anything is guessed of it: a table of ours, one start over time, a log."""

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Final, Literal

from ingest.bus_logs import MEASUREMENT, head_of, is_candump
from ingest.bus_tables import TIME, columns_of, signal_of
from ingest.choices import BUS_LOGS
from ingest.errors import FileRefused
from ingest.sheets import Sheet
from ingest.trace_files import read_trace
from ingest.values import clean_text, parse_number
from ingest.vocabulary import OF_A_VEHICLE, folded, meaning

Kind = Literal["table", "trace", "log"]

SIGNALS: Final = re.compile(
    r"engine (?:speed|rpm)|vehicle speed|coolant|control module|fuel trim|throttle|intake (?:air|manifold)|engine load"
    r"|ambient air|mass air|timing advance|accelerator|oxygen|\bo2\b|\bobd\b|\bpid\b|\bspn\b|battery potential"
)


def is_bus_log(path: str | Path) -> bool:
    """Whether the file holds frames of a bus by its first bytes; raises FileRefused as `bounds.check_file`."""
    begin = head_of(Path(path))
    return begin.startswith(MEASUREMENT) or is_candump(begin)


def kind_of_table(sheets: Sequence[Sheet]) -> Kind:
    """What a file of rows and columns holds, by its headings and rows."""
    if any(_many_signals(sheet) for sheet in sheets):
        return "log"
    return "trace" if len(sheets) == 1 and _one_start(sheets[0]) else "table"


def is_heading(row: Sequence[object]) -> bool:
    """Whether a row holds words, no numbers, in more than one column."""
    cells = [cell for cell in row if clean_text(cell)]
    return len(cells) >= 2 and all(isinstance(cell, str) and parse_number(cell).value is None for cell in cells)


def _many_signals(sheet: Sheet) -> bool:
    if len(sheet.head) < BUS_LOGS.fewest_rows:
        return False
    heading = next(([clean_text(cell) for cell in row] for row in sheet.head if is_heading(row)), [])
    named = sum(bool(SIGNALS.search(folded(text))) for text in heading)
    if named >= BUS_LOGS.fewest_signals and any(TIME.search(folded(text)) for text in heading):
        return True
    return not any(meaning(text, (OF_A_VEHICLE,)) for text in heading) and _signals_over_time(sheet, heading)


def _signals_over_time(sheet: Sheet, heading: Sequence[str]) -> bool:
    """Whether the engine's speed stands beside another signal, or names of signals stand one below the other."""
    columns = columns_of(heading)
    if columns is None or columns.code < 0:
        return columns is not None and len(columns.signals) >= BUS_LOGS.fewest_signals
    return any(signal_of(clean_text(row[columns.code])) for row in sheet.head if columns.code < len(row))


def _one_start(sheet: Sheet) -> bool:
    """Whether it reads as time, volts and amps of one recording, sampled evenly."""
    if sheet.is_workbook:
        return False
    try:
        read_trace([sheet])
    except (FileRefused, ValueError):
        return False
    return True
