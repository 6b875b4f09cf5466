"""Where a sheet's heading is, which table it holds, and which of its columns is which of ours."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from ingest.choices import FILES
from ingest.errors import FileRefused
from ingest.fields import (
    CIRCUIT_MEASUREMENTS,
    FORECAST,
    HELD_IN_OTHERS,
    LOWS,
    OBSERVATIONS,
    READINGS,
    TABLES,
    Conversion,
    Table,
    conversion,
    largest_of,
    other_units,
    own_unit,
)
from ingest.sheets import Sheet
from ingest.sources import IGNORE, ITS_TITLE, PARTIAL, WORK, Source, columns_filled, heading_key, target_of
from ingest.values import (
    ORDERS,
    DateOrder,
    NumberStyle,
    clean_text,
    decimal_mark,
    is_empty,
    parse_number,
    parse_time,
    shown,
    unit_word,
)
from ingest.vocabulary import (
    WORDS_OF,
    beside,
    bracketed_unit,
    in_unit_of,
    meaning,
    of_a_minimum,
    unit_in_heading,
    unknown_unit,
    without_brackets,
)


@dataclass(frozen=True)
class Layout:
    """How to read the rows of one sheet: per column its heading and target ('' = a column we do not know)."""

    table: Table
    heading_line: int
    headings: tuple[str, ...]
    targets: tuple[str, ...]
    conversions: tuple[Conversion | None, ...]
    style: NumberStyle = NumberStyle()  # noqa: RUF009 - frozen
    date_order: DateOrder = "iso"
    own: bool = True
    source: str = ""
    ignore_rows: tuple[re.Pattern[str], ...] = ()
    constants: Mapping[str, str] = field(default_factory=dict)
    utc_to: str = ""
    from_1904: bool = False
    by_title: bool = False  # the vehicle under `constants` is the sheet's title

    @property
    def numeric(self) -> frozenset[int]:
        """Columns that may be read as plain numbers at once; none where a point may group thousands."""
        if self.style.decimal != ".":
            return frozenset()
        return frozenset(index for index, found in enumerate(self.conversions) if found is not None)

    @property
    def width(self) -> int:
        return len(self.headings)


def own_name(cell: object) -> str:
    """Return a heading in the form of our own column names: lower case, underscores, without a unit in brackets."""
    text = clean_text(cell)
    bare = without_brackets(text) if bracketed_unit(text) else text
    return re.sub(r"[\s\-]+", "_", bare.strip()).casefold().strip("_")


def _own_target(heading: str, table: Table) -> str:
    """The column of ours that a heading names, in the unit that stands beside in brackets; '' where it is none of ours."""
    name = own_name(heading)
    ours = target_of(name, table) if name else None
    if ours is None or not bracketed_unit(heading) or not own_unit(ours):
        return name if ours else ""
    return in_unit_of(heading, ours)


def is_own(heading: str) -> bool:
    """Whether a heading is the name of a column of ours, in whatever capitals, blanks and hyphens."""
    return any(_own_target(heading, table) for table in TABLES.values())


def is_of_units(row: Sequence[object]) -> bool:
    """Whether a row holds units and nothing else, but for the dash of what has none and how dates are written, as it stands below a
    heading."""
    cells = [bare for cell in row if (bare := _bare_unit(cell)) and not _OF_A_DATE.fullmatch(bare)]
    return len(cells) >= 2 and all(map(unit_word, cells))


_OF_A_DATE = re.compile(
    r"(?:[dt]{1,2}|m{1,4}|[yja]{2,4}|h{1,2}|s{2})(?:[-./: t](?:[dt]{1,2}|m{1,4}|[yja]{2,4}|h{1,2}|s{2}))+",
    re.IGNORECASE,
)
"""How dates and times are written, as dd.mm.yyyy, TT.MM.JJJJ and hh:mm."""


def _bare_unit(cell: object) -> str:
    text = clean_text(cell).strip("[]() ")
    return "" if is_empty(text) else text


def _with_units(headings: Sequence[str], units: Sequence[object]) -> tuple[str, ...]:
    """Headings with the units that stand below them, in brackets where nothing stands in brackets yet."""
    below = [_bare_unit(cell) for cell in units[: len(headings)]]
    below += [""] * (len(headings) - len(below))
    return tuple(
        f"{heading} ({unit})" if heading and unit_word(unit) and not bracketed_unit(heading) else heading
        for heading, unit in zip(headings, below, strict=True)
    )


def own_layout(sheet: Sheet, *, named: str = "", by_title: bool = False) -> Layout | None:
    """Return the layout of a sheet with the project's own column names, else None.

    Beside them a heading in the trade's words is taken where it says whole, unit and all, which column of ours it is.
    FileRefused where it leaves open which, or in which unit: kept beside the rows it would be missing from them.
    by_title: of a sheet without a column for the vehicle, taken for the one that its title names.
    Lows that were measured and lows that are foreseen have the same columns: "lows" in `named`, the file's name, tells.
    """
    for index, row in enumerate(sheet.head):
        table = _table_of([*map(own_name, row), *(["unit"] if by_title else [])])
        if table is None:
            continue
        if table is FORECAST and LOWS.name in f"{named} {sheet.name}".casefold():
            table = LOWS
        headings = _padded(_headings(row), sheet)
        below = sheet.head[index + 1] if index + 1 < len(sheet.head) else []
        if is_of_units(below):
            headings, index = _with_units(headings, below), index + 1
        ours = [_own_target(heading, table) for heading in headings]
        targets = _with_the_trades_words(ours, headings, table, sheet.head[index + 1 :])
        _refuse_twice(targets, table)
        conversions = tuple(_conversion(target, table, {}) for target in targets)
        style = style_of(sheet, index, {i: largest_of(made) for i, made in enumerate(conversions) if made is not None})
        line = sheet.last_line_of(index)
        unit = {"unit": sheet.name} if by_title else {}
        return Layout(
            table,
            line,
            headings,
            targets,
            conversions,
            style,
            constants=unit,
            from_1904=sheet.from_1904,
            by_title=by_title,
        )
    return None


_CAN_MEAN = {
    "crank_a": "crank_a (steady), peak_a (inrush) or coil_a (solenoid)",
    "crank_min_v": "crank_min_v (lowest while the engine turns steadily) or crank_dip_v (what MIN held)",
}


def _with_the_trades_words(
    targets: Sequence[str], headings: Sequence[str], table: Table, rows: Sequence[Sequence[object]]
) -> tuple[str, ...]:
    """Fill in which column of ours, in its unit, the headings mean that do not carry one of our names."""
    filled = {target_of(target, table) for target in targets if target}
    out, dates = list(targets), {column.name for column in table.columns if column.kind == "date"}
    for index, heading in enumerate(headings):
        word = None if targets[index] or not heading else meaning(heading, WORDS_OF.get(table.name, ()))
        if word is None or word.column in filled or beside(heading):
            continue
        if conversion(word.column) is None:
            if word.sure and word.column in dates and _holds_dates(rows, index):
                out[index] = word.column
            continue
        named = in_unit_of(heading, word.column)
        if not named and (unit_in_heading(heading) or not _holds_numbers(rows, index)):
            continue
        if not word.sure or of_a_minimum(heading, word):
            raise FileRefused(
                f"the heading {shown(heading)} can mean {_CAN_MEAN[word.column]}; name it the one that it is"
            )
        units = [n for n in other_units(word.column) if not n.endswith(("_ma", "_ka"))]  # amps nobody takes for those
        usual = own_unit(word.column) not in HELD_IN_OTHERS and not unknown_unit(heading, word.column)
        if not named and not usual:
            raise FileRefused(
                f"the heading {shown(heading)} names no unit that is known here; name it {' or '.join(units)}"
            )
        out[index] = named or word.column
    return tuple(out)


def _holds_dates(rows: Sequence[Sequence[object]], column: int) -> bool:
    """Whether the first rows hold nothing but dates, or nothing: few vehicles of a file have left."""
    cells = [row[column] for row in rows if column < len(row) and not is_empty(row[column])]
    return any(all(parse_time(cell, order).value is not None for cell in cells) for order in ORDERS)


def _holds_numbers(rows: Sequence[Sequence[object]], column: int) -> bool:
    cells = [row[column] for row in rows if column < len(row) and clean_text(row[column])]
    return any(parse_number(cell).value is not None for cell in cells)


def style_of(sheet: Sheet, heading: int, largest: Mapping[int, float]) -> NumberStyle:
    """How the first rows below a heading write numbers: by the decimal marks that they show, where all show the same.

    The other mark then groups thousands: 81,000 beside 12.66 is no 81. largest: of each column of numbers, what its values may be at the most.
    """
    marks = {
        decimal_mark(clean_text(row[i]), most)
        for row in sheet.head[heading + 1 :]
        for i, most in largest.items()
        if i < len(row) and isinstance(row[i], str)
    }
    if "," in marks and "." not in marks:
        return NumberStyle(",", ".")
    return NumberStyle(".", "," if "." in marks and "," not in marks else "")


def _table_of(names: Sequence[str]) -> Table | None:
    best, most = None, 0
    for table in TABLES.values():
        filled = columns_filled(names, table)
        if not filled.issuperset(table.recognised_by):
            continue
        if table is READINGS and not filled.intersection((*CIRCUIT_MEASUREMENTS, *OBSERVATIONS)):
            continue
        if len(filled) > most:
            best, most = table, len(filled)
    return best


def _headings(row: Sequence[object]) -> tuple[str, ...]:
    texts = [" ".join(clean_text(cell).split()) for cell in row]
    while texts and not texts[-1]:
        texts.pop()
    return tuple(texts)


def _padded(texts: Sequence[str], sheet: Sheet) -> tuple[str, ...]:
    """Add empty headings up to the width of a workbook's sheet."""
    return (*texts, *[""] * (sheet.width - len(texts)))


def _conversion(target: str, table: Table, clamps: Mapping[str, float]) -> Conversion | None:
    return (
        conversion(target, clamps.get(target))
        if target and target not in PARTIAL and target_of(target, table)
        else None
    )


def _refuse_twice(targets: Sequence[str], table: Table) -> None:
    seen = set()
    for target in targets:
        ours = target_of(target, table) if target else None
        if ours and ours in seen:
            raise FileRefused(f"two columns are {ours}; allowed is one: rename or remove the other")
        seen.add(ours)


def combined_headings(rows: Sequence[Sequence[object]]) -> tuple[str, ...]:
    """Join heading rows above each other; a heading over several columns counts for each that has one below it."""
    width = max((len(row) for row in rows), default=0)
    out = []
    above: list[str] = [""] * len(rows)
    for column in range(width):
        parts = []
        texts = [" ".join(clean_text(row[column]).split()) if column < len(row) else "" for row in rows]
        for level, text in enumerate(texts):
            if text:
                above[level] = text
                above[level + 1 :] = [""] * (len(rows) - level - 1)
                parts.append(text)
            elif any(texts[level + 1 :]):
                parts.append(above[level])
        out.append(" ".join(part for part in parts if part))
    while out and not out[-1]:
        out.pop()
    return tuple(out)


def source_layout(sheet: Sheet, source: Source, *, all_headings: bool) -> Layout | None:
    """Return the layout of a sheet that `source` describes, wherever its heading begins; None when it does not fit.

    `all_headings`: every described heading must be there (to recognise a file unasked), else most of them.
    """
    if source.sheet and source.sheet not in ("*", sheet.name):
        return None
    starts = sorted(range(len(sheet.head)), key=lambda start: abs(start - _start_of(sheet, source)))
    for start in starts:
        rows = sheet.head[start : start + source.heading_rows]
        headings = _padded(combined_headings(rows), sheet)
        layout = _fit(sheet, source, headings, start, all_headings)
        if layout is not None:
            return layout
    return None


def _start_of(sheet: Sheet, source: Source) -> int:
    for index, line in enumerate(sheet.head_lines):
        if line > source.skip_rows:
            return index
    return 0


def _fit(sheet: Sheet, source: Source, headings: tuple[str, ...], start: int, all_headings: bool) -> Layout | None:
    keys = [heading_key(heading) for heading in headings]
    found = {key for key in keys if key in source.columns}
    wanted = set(source.columns) if all_headings else {k for k, v in source.columns.items() if v != IGNORE}
    share = len(found & wanted) / len(wanted) if wanted else 0.0
    needed = {*PARTIAL, WORK, *(column.name for column in source.table.columns if column.required)}
    required = {key for key, target in source.columns.items() if target_of(target, source.table) in needed}
    if not required <= found or share < (1.0 if all_headings else FILES.fewest_headings):
        return None
    targets = tuple(source.columns.get(key, "") for key in keys)
    _refuse_twice([t for t in targets if t != IGNORE], source.table)
    by_title = sheet.is_workbook and source.constants.get("unit") == ITS_TITLE
    return Layout(
        table=source.table,
        heading_line=sheet.last_line_of(min(start + source.heading_rows, len(sheet.head_lines)) - 1),
        headings=headings,
        targets=targets,
        conversions=tuple(
            None if t == IGNORE else _conversion(t, source.table, source.clamp_mv_per_a) for t in targets
        ),
        style=source.style,
        date_order=source.date_order,
        own=False,
        source=source.name,
        ignore_rows=source.ignore_rows,
        constants={**source.constants, "unit": sheet.name} if by_title else source.constants,
        by_title=by_title,
        utc_to=source.utc_to,
        from_1904=sheet.from_1904,
    )
