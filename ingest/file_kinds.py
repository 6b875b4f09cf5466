"""What kind of file somebody brings, before anything is guessed of it: a table of ours, one start over time, a log, a table of another shape."""

import re
from collections.abc import Collection, Iterable, Sequence
from pathlib import Path
from typing import Final, Literal

from ingest.bus_logs import MEASUREMENT, head_of, is_candump
from ingest.bus_tables import TIME, columns_of, signal_of
from ingest.choices import BUS_LOGS, DRAFTING, FILES
from ingest.errors import FileRefused
from ingest.fields import conversion
from ingest.sheets import Sheet, cell_text
from ingest.trace_files import read_trace
from ingest.values import ORDERS, clean_text, month_of, parse_number, parse_time, shown
from ingest.vocabulary import OF_A_VEHICLE, READING_WORDS, folded, meaning

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


def side_by_side(sheet: Sheet) -> str:
    """What stands in columns of its own where it belongs into rows: days, months, or what is numbered; "" for nothing."""
    for row in sheet.head:
        cells = [cell for cell in row if clean_text(cell)]
        for what, rows, alike in (
            ("day", _A_READING, [cell for cell in cells if _is_day(cell)]),
            ("month", "depot, month and low_c", [cell for cell in cells if month_of(clean_text(cell))]),
            ("vehicle or reading", _A_READING, _numbered(cells) if is_heading(row) else []),
        ):
            if said := _beside_each_other(what, rows, alike, cells):
                return said
    return ""


def measured_by_days(sheet: Sheet) -> str:
    """That measurements of several days stand beside each other, each under a heading that names its day; "" where none do."""
    rows = ([cell for cell in row if clean_text(cell)] for row in sheet.head)
    return next(filter(None, (_beside_each_other("day", _A_READING, _of_days(cells), cells) for cells in rows)), "")


def _beside_each_other(what: str, rows: str, alike: Iterable[object], cells: Sequence[object]) -> str:
    """What is refused where most cells of a row are alike; "" where they are not."""
    texts = list(dict.fromkeys(shown(cell_text(cell)) for cell in alike))
    if len(texts) < FILES.fewest_side_by_side or 2 * len(texts) <= len(cells):
        return ""
    return f"has a column for each {what} ({texts[0]}, {texts[1]} ...); allowed is a row for each, with {rows}"


_A_READING = "unit, taken_at and each measurement in a column of its own"


def _is_day(cell: object) -> bool:
    return not isinstance(cell, (int, float)) and any(parse_time(cell, order).value is not None for order in ORDERS)


def _of_days(cells: Sequence[object]) -> list[object]:
    """Headings of measurements that name a day each, of several days, as "2026-02-16 rest V"."""
    dated = [
        (found[0], cell)
        for cell in cells
        if isinstance(cell, str) and (found := _DATED.search(cell)) and not _is_day(cell)
    ]
    return [cell for _, cell in dated] if len({day for day, _ in dated}) > 1 else []


_DATED = re.compile(
    r"(?<![0-9])(?:[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}|[0-9]{1,2}([./-])[0-9]{1,2}\1(?:[0-9]{4}|[0-9]{2}))(?![0-9])"
)


def _numbered(cells: Sequence[object]) -> list[object]:
    """Those cells that are alike but for their figures, as numbers of vehicles are: letters and two figures or more, without a blank."""
    texts = [clean_text(cell) for cell in cells]
    shapes = [re.sub(r"[0-9]", "0", text) for text in texts]
    usual = max(shapes, key=shapes.count, default="")
    if usual.count("0") < 2 or " " in usual or not re.search(r"[^\W\d_]", usual):
        return []
    return [cell for cell, shape in zip(cells, shapes, strict=True) if shape == usual]


def below_each_other(sheet: Sheet) -> str:
    """Names of measurements that stand in rows where each belongs into a column of its own; "" for none."""
    for place in range(max(map(len, sheet.head))):
        texts = [clean_text(row[place]) for row in sheet.head if place < len(row) and isinstance(row[place], str)]
        meant = [(word.column, text) for text in texts if (word := meaning(text, READING_WORDS))]
        named = {column: text for column, text in meant if conversion(column)}
        if len(named) > 1 and 2 * len(meant) > len(texts):
            first, second, *_ = map(shown, named.values())
            return f"has measurements below each other ({first}, {second} ...); allowed is a row for each reading, with {_A_READING}"
    return ""


def in_blocks(sheet: Sheet) -> str:
    """That a heading without a vehicle comes again below a line that names one, as where each vehicle has a table of its own; "" where
    none does."""
    seen: dict[tuple[str, ...], int] = {}
    named = False
    for row, line in zip(sheet.head, sheet.head_lines, strict=True):
        texts = _texts(row)
        of_a_vehicle = any(meaning(text, (OF_A_VEHICLE,)) for text in texts)
        named |= of_a_vehicle and not seen
        if of_a_vehicle or len(texts) < DRAFTING.fewest_meanings or not is_heading(row):
            continue
        if named and texts in seen:
            return _A_TABLE_EACH.format(first=seen[texts], again=line)
        seen[texts] = line
    again = _below_the_head(sheet, seen) if named and seen else None
    return _A_TABLE_EACH.format(first=seen[again[0]], again=again[1]) if again else ""


_A_TABLE_EACH = (
    "has the same heading in lines {first} and {again} and no column for the vehicle; allowed is one table with a column "
    "that says in every row whose it is (unit)"
)


def _texts(row: Iterable[object]) -> tuple[str, ...]:
    return tuple(text for cell in row if (text := clean_text(cell)))


def _below_the_head(sheet: Sheet, seen: Collection[tuple[str, ...]]) -> tuple[tuple[str, ...], int] | None:
    """The first of these headings that comes again in the rows below the head, and its line; None where none does."""
    begin = {heading[0] for heading in seen}
    for block in sheet.blocks(sheet.last_line_of(len(sheet.head) - 1), max(map(len, sheet.head)), frozenset()):
        begun = [
            {k for k, cell in enumerate(cells.tolist()) if isinstance(cell, str) and cell.strip() in begin}
            for cells in block.columns
        ]
        for row in sorted(set().union(*begun)):
            texts = _texts(cells[row] for cells in block.columns)
            if texts in seen:
                return texts, int(block.lines[row])
    return None


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
