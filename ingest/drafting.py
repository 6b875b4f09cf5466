"""Draft a source description for a file that nobody has described yet, saying which guesses are unsure."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import islice
from pathlib import Path
from statistics import median

import pandas as pd

from ingest.cells import batch_of
from ingest.choices import DRAFTING
from ingest.errors import FileRefused, IngestError
from ingest.fields import CLAMP_COLUMNS, HELD_IN_OTHERS, TABLES, Table, conversion, largest_of, own_unit
from ingest.file_kinds import (
    below_each_other,
    in_blocks,
    is_bus_log,
    is_heading,
    kind_of_table,
    measured_by_days,
    side_by_side,
)
from ingest.layout import Layout, combined_headings, is_of_units, is_own, own_layout, source_layout
from ingest.readers import read_sheets
from ingest.sheets import Sheet, cell_text
from ingest.sources import IGNORE, ITS_TITLE, MOST_HEADING_ROWS, WORK, ZONE_SHOWN, missing_columns, parse_source
from ingest.values import (
    ORDERS,
    UTC_MARK,
    NumberStyle,
    clean_text,
    date_order_evidence,
    decimal_mark,
    is_empty,
    joined,
    parse_number,
    parse_time,
    ways_to_read,
)
from ingest.vocabulary import (
    WORDS_OF,
    Word,
    beside,
    folded,
    in_unit_of,
    meaning,
    of_a_minimum,
    unit_in_heading,
    unknown_unit,
)

ROWS_LOOKED_AT = 20_000  # rows whose dates and values are looked at; our choice, so that a draft comes at once
TAKEN_FOR = {
    "readings": "readings",
    "units": "vehicles",
    "repairs": "repairs",
    "climate": "the depots' monthly lows",
    "lows": "the depots' daily lows",
}
A_TRACE = "is one start over time (time, volts, amps): cranktrend trace, or the bay on screen, reads it as it is, no description is needed"
A_LOG = "is a log of many signals over time: cranktrend log, or Logs of the bus on screen, finds the starts in it, no description is needed"
ONE_COLUMN = "has one value a line; allowed between values are commas, semicolons, tabs or bars (|)"
LOWEST_OF = (
    "lowest while it turns steadily, or what a meter's MIN held (then crank_dip_v), or the lowest of slow samples (then "
    'lowest_is = "sampled" under [constants])?'
)
CLAMP_OF = {ours: name for name, (ours, _) in CLAMP_COLUMNS.items()}  # by column of ours, that of a clamp's millivolts
DATED_BY = {"readings": "taken_at", "units": "in_service", "repairs": "done_on", "lows": "date"}
ALL_SHEETS = ("sheet", '"*"')
_BY_TITLES = f', as unit = "{ITS_TITLE}" where that is the vehicle\'s number'
OF_A_TIME = ("taken_at", "taken_on", "taken_time")
_IN_UTC = re.compile(rf"[0-9]\s*{UTC_MARK}$")
_SAYS_UTC = re.compile(r"\b(?:utc|gmt|zulu)\b", re.IGNORECASE)
OF_A_DATE = ("taken_on", "out_of_service", *DATED_BY.values())
_CLAMP_SCALE = re.compile(
    r"(clamp\s*\w*|zange\s*\w*|pince\s*\w*)\W{0,3}([0-9.,]+)\s*mv\s*(?:per|/|pro|par)\s*a", re.IGNORECASE
)


@dataclass(frozen=True)
class Described:
    """A description in parts, as a form asks for them.

    columns: each heading with our column (in the file's unit, as `drop_ground_mv`), "" for none; date_order "?" where
    nothing settles it; reading: the other keys of the file's layout, as TOML; unsure: of a heading or a key; clamps: mV per A.
    """

    file: str
    table: Table
    columns: tuple[tuple[str, str], ...]
    decimal: str
    thousands: str
    date_order: str
    reading: tuple[tuple[str, str], ...]
    clamps: Mapping[str, float]
    unsure: Mapping[str, str]
    date_question: str = ""
    utc_to: str = ""
    utc_question: str = ""

    @property
    def questions(self) -> tuple[str, ...]:
        open_date: tuple[str, ...] = (self.date_question,) if self.date_order == "?" else ()
        open_date += (self.utc_question,) if self.utc_to == "?" else ()
        needed = missing_columns((target for _, target in self.columns), self.table)
        return (
            *open_date,
            *(
                f"columns: which heading is {n!r}? It must be there, or stand under [constants]"
                f"{_BY_TITLES if n == 'unit' and ALL_SHEETS in self.reading else ''}"
                for n in needed
            ),
        )

    def toml(self) -> str:
        lines = [f"# Drafted from {self.file}. Check every line, above all those marked 'unsure', then save it."]
        lines += [f"# question: {question}" for question in self.questions]
        marks = (("decimal", self.decimal), ("thousands", self.thousands), ("date_order", self.date_order))
        pairs = [("table", toml_text(self.table.name)), *self.reading, *((key, toml_text(mark)) for key, mark in marks)]
        pairs += [("utc_to", toml_text(self.utc_to))] if self.utc_to else []
        for key, value in pairs:
            note = self.unsure.get(key, "")
            mark = "" if key == "date_order" and self.date_order != "?" else "unsure: "
            lines.append(f"{key} = {value}" + (f"  # {mark}{note}" if note else ""))
        lines += ["", "[columns]", *(self._line(heading, target) for heading, target in self.columns)]
        used = {target: scale for target, scale in self.clamps.items() if target in dict(self.columns).values()}
        if used:
            lines += ["", "[clamp_mv_per_a]"] + [f"{target} = {scale:g}" for target, scale in used.items()]
        return "\n".join(lines) + "\n"

    def _line(self, heading: str, target: str) -> str:
        if not target:
            return f'# {toml_text(heading)} = ""  # not understood: name one of our columns, or "-" to leave it out'
        doubt = self.unsure.get(_of_heading(heading), "")
        return f"{toml_text(heading)} = {toml_text(target)}" + (f"  # unsure: {doubt}" if doubt else "")


def _of_heading(heading: str) -> str:
    """The key of a heading's doubt, which no key of the layout is."""
    return f"[{heading}]"


@dataclass(frozen=True)
class Draft:
    """A drafted description, what kind of file it is taken for, questions that must be answered, guesses to check, and the other
    sheets of a workbook that hold tables."""

    described: Described
    kind: str
    unsure: tuple[str, ...] = ()
    other_sheets: tuple[str, ...] = ()

    @property
    def questions(self) -> tuple[str, ...]:
        return self.described.questions

    @property
    def toml(self) -> str:
        return self.described.toml()

    def doubt(self, heading: str) -> str:
        """What is unsure of a heading's column, "" for nothing."""
        return self.described.unsure.get(_of_heading(heading), "")


@dataclass
class _Column:
    """One column of the file as far as it is understood."""

    heading: str
    target: str = ""
    doubt: str = ""
    values: list[object] = field(default_factory=list)

    def mind(self, doubt: str) -> None:
        """Add what is unsure of it, before what was unsure already."""
        self.doubt = f"{doubt}; {self.doubt}" if self.doubt else doubt


@dataclass(frozen=True)
class _Region:
    """Where the heading is and what it means."""

    start: int
    rows: int
    headings: tuple[str, ...]
    words: tuple[Word | None, ...]
    table: Table

    @property
    def understood(self) -> int:
        """Number of different columns of ours that the headings name."""
        return len({word.column for word in self.words if word})


def likely_heading(sheet: Sheet) -> list[str]:
    """Return the headings of a sheet as far as they can be made out."""
    region = _region(sheet)
    if region is not None:
        return [heading for heading in region.headings if heading]
    best: list[str] = []
    for row in sheet.head:
        texts = [clean_text(cell) for cell in row if isinstance(cell, str) and clean_text(cell)]
        if len(texts) > len(best):
            best = texts
    return best


def no_table_of_readings(path: str | Path, sheets: Sequence[Sheet]) -> str:
    """What the file is, and what reads it, where it is no table: a log, one start over time, or of another shape; "" for a table."""
    held = "log" if is_bus_log(path) else kind_of_table(sheets)
    if held != "table":
        return {"log": A_LOG, "trace": A_TRACE}[held]
    if all(sheet.delimiter and max(map(len, sheet.head)) < 2 for sheet in sheets):
        return ONE_COLUMN
    understood = any(_region(sheet) for sheet in sheets)
    return next(
        filter(
            None,
            (
                in_blocks(one)
                or measured_by_days(one)
                or ("" if understood else side_by_side(one) or below_each_other(one))
                for one in sheets
            ),
        ),
        "",
    )


def can_be_drafted(sheet: Sheet) -> bool:
    """Whether enough of a sheet's headings is understood for a draft."""
    return _region(sheet) is not None


def draft_source(path: str | Path, sheet_name: str = "") -> Draft:
    """Draft a description of the file from its headings, units and values; of a workbook's sheet that is named, else of the one of
    which most is understood.

    Day, month or year first is never guessed: without a date that settles it, `date_order` is left "?" and importing
    with it is refused. Raises FileRefused when the file is no table, IngestError when it needs no description.
    """
    sheets = [] if is_bus_log(path) else read_sheets(path)
    named = [sheet for sheet in sheets if sheet_name in ("", sheet.name)]
    own = [(sheet, layout) for sheet in named if (layout := own_layout(sheet, named=Path(path).stem))]
    for sheet, layout in own:
        if question := _utc_question(_of_layout(sheet, layout)):
            return _draft_of_own(sheet, layout, question)
    held, sheets = len(sheets), [sheet for sheet in sheets if all(sheet is not one for one, _ in own)]
    if own and (sheet_name or not any(map(can_be_drafted, sheets))):
        raise IngestError(f"{Path(path).name} has our own column names; import it as it is, no description is needed")
    if what := no_table_of_readings(path, sheets):
        raise FileRefused(f"{Path(path).name} {what}")
    if sheet_name and sheet_name not in (names := [sheet.name for sheet in sheets]):
        raise FileRefused(f"{Path(path).name} has no sheet {sheet_name!r}; it has {', '.join(map(repr, names))}")
    found = [(sheet, region) for sheet in sheets if (region := _region(sheet)) is not None]
    regions = [(sheet, region) for sheet, region in found if sheet_name in ("", sheet.name)]
    if not regions:
        quoted = ", ".join(repr(text) for text in likely_heading(sheets[0])[:6])
        raise FileRefused(
            f"fewer than {DRAFTING.fewest_meanings} headings in it are understood ({quoted}); name at least vehicle, time and one "
            "measurement, outcome or repair; workshop hours, prices of parts and planned services come under our own headings: depot and "
            "hours_per_week; part, price, labour_h and lead_days; unit and due_on"
        )
    sheet, region = max(regions, key=lambda pair: pair[1].understood)
    columns = _columns(sheet, region)
    others = [(other, its) for other, its in found if other is not sheet]
    alike = bool(others) and not sheet_name and all(its.headings == region.headings for _, its in others)
    for other, its in others if alike else ():  # what one sheet leaves open the next may show
        for column, same in zip(columns, _columns(other, its), strict=True):
            column.values += same.values
    headed = [column for column in columns if column.heading]
    notes = _Notes()
    _find_times(columns, region.table)
    scales = _clamps(sheet, columns)
    decimal, thousands = _number_marks(columns, notes)
    _settle_units(columns, decimal, thousands, notes)
    order, utc = _date_order(columns, notes), _utc_question(columns)
    described = Described(
        sheet.file, region.table, tuple((column.heading, column.target) for column in headed), decimal, thousands, order,
        _layout(sheet, region, held, alike=alike), scales,
        {**notes.top, **{_of_heading(column.heading): column.doubt for column in headed if column.doubt}}, "".join(notes.questions),
        "?" if utc else "", utc,
    )  # fmt: skip
    kind = f"taken for {TAKEN_FOR[region.table.name]}: {region.understood} of {len(headed)} headings are understood"
    return Draft(described, kind, tuple(notes.unsure), () if alike else tuple(other.name for other, _ in others))


@dataclass
class _Notes:
    questions: list[str] = field(default_factory=list)
    unsure: list[str] = field(default_factory=list)
    top: dict[str, str] = field(default_factory=dict)


# --- headings --------------------------------------------------------------------------------------------------------


def _region(sheet: Sheet) -> _Region | None:
    """Return the heading whose words mean most of our columns; fewer rows and earlier ones win a tie."""
    best: _Region | None = None
    for rows in range(1, MOST_HEADING_ROWS + 1):
        for start in range(len(sheet.head) - rows + 1):
            block = sheet.head[start : start + rows]
            if not all(map(is_heading, block)):
                continue
            headings = combined_headings(block)
            for name, words in WORDS_OF.items():
                region = _Region(start, rows, headings, _once(headings, words), TABLES[name])
                if region.understood >= DRAFTING.fewest_meanings and (
                    best is None or region.understood > best.understood
                ):
                    best = region
    return best and _down_to_the_units(sheet, best)


def _down_to_the_units(sheet: Sheet, region: _Region) -> _Region:
    """The heading with the row of units below it, where there is one."""
    end = region.start + region.rows
    if region.rows == MOST_HEADING_ROWS or not is_of_units([*sheet.head[end : end + 1], []][0]):
        return region
    headings = combined_headings(sheet.head[region.start : end + 1])
    words = _once(headings, WORDS_OF[region.table.name])
    return replace(region, rows=region.rows + 1, headings=headings, words=words)


def _once(headings: Sequence[str], words: tuple[Word, ...]) -> tuple[Word | None, ...]:
    """Give each heading its meaning; where two mean the same, the surer one has it, then the one understood whole, then the first."""
    found = [meaning(heading, words) for heading in headings]
    first: dict[str, int] = {}
    for index, word in enumerate(found):
        if word is not None:
            held = first.get(word.column, -1)
            if held < 0 or _clear(word, headings[index]) > _clear(found[held], headings[held]):
                first[word.column] = index
    kept = [word if word and first[word.column] == index else None for index, word in enumerate(found)]
    return tuple(_whole_work(_whole_times(kept)))


def _clear(word: Word | None, heading: str) -> tuple[bool, bool]:
    return word is not None and word.sure, not beside(heading)


def _whole_work(words: Sequence[Word | None]) -> list[Word | None]:
    """What was done, without a part beside it, names the part too."""
    if "part" in (word.column for word in words if word):
        return list(words)
    return [replace(word, column=WORK) if word and word.column == "action" else word for word in words]


def _whole_times(words: Sequence[Word | None]) -> list[Word | None]:
    """A date without a time of day beside it is the time of the reading; a lone time of day is none."""
    present = {word.column for word in words if word}
    if "taken_at" not in present and {"taken_on", "taken_time"} <= present:
        return list(words)
    out: list[Word | None] = []
    for word in words:
        if word is not None and word.column == "taken_on" and "taken_at" not in present:
            word = replace(word, column="taken_at")
        out.append(None if word and word.column in ("taken_on", "taken_time") else word)
    return out


def _columns(sheet: Sheet, region: _Region) -> list[_Column]:
    columns = [
        _Column(heading, word.column if word else "", "" if word is None else _half_understood(heading, word))
        for heading, word in zip(region.headings, region.words, strict=True)
    ]
    after = sheet.last_line_of(min(region.start + region.rows, len(sheet.head)) - 1)
    count = 0
    for block in sheet.blocks(after, len(columns), frozenset()):
        for column, cells in zip(columns, block.columns, strict=True):
            column.values += [cell for cell in cells.tolist() if cell is not None and cell == cell and clean_text(cell)]
        count += len(block.lines)
        if count >= ROWS_LOOKED_AT:
            break
    return columns


def _half_understood(heading: str, word: Word) -> str:
    """What is unsure of a heading that was understood: words of it that tell of something else."""
    if is_own(heading):
        return ""
    if of_a_minimum(heading, word):
        return LOWEST_OF
    other = beside(heading)
    if other:
        return f"only a part of the heading is understood, not {', '.join(repr(w) for w in other[:3])}"
    return "" if word.sure else "the heading is not clear"


def _find_times(columns: list[_Column], table: Table) -> None:
    """Where no heading means the day that the table dates, take the column that holds dates throughout, aloud."""
    if table.name not in DATED_BY or any(column.target in OF_A_DATE for column in columns):
        return
    for column in columns:
        if column.target or not column.values:
            continue
        dates = sum(
            any(parse_time(cell, order).value is not None for order in ORDERS)
            for cell in column.values
            if not isinstance(cell, (int, float))
        )
        if dates >= DRAFTING.mostly * len(column.values):
            column.target, column.doubt = DATED_BY[table.name], "the heading is not clear, but the column holds dates"
            return


# --- clamps, numbers, units ------------------------------------------------------------------------------------------


def _clamps(sheet: Sheet, columns: list[_Column]) -> dict[str, float]:
    """Find clamp outputs in millivolts: scales from the title rows or headings, else the usual ones, as a question."""
    stated: dict[str, float] = {}
    for row in sheet.head:
        for cell in row:
            for name, scale in _CLAMP_SCALE.findall(clean_text(cell)):
                value = parse_number(scale.rstrip(".,")).value
                if value:
                    stated[folded(name)] = value
    scales: dict[str, float] = {}
    for column in columns:
        millivolts = unit_in_heading(column.heading).casefold() == "mv"
        name = next((n for n in stated if folded(column.heading).startswith(n)), "")
        if not name and not (millivolts and column.target in CLAMP_OF):
            continue
        scale = stated.get(name, 0.0)
        target = CLAMP_OF.get(column.target, "")
        if not target:
            target = "coil_clamp_mv" if scale > DRAFTING.large_clamp_mv else "crank_clamp_mv"
            column.doubt = f"clamp of {scale:g} mV per A taken to be round the " + (
                "coil wire" if target == "coil_clamp_mv" else "starter cable"
            )
        if not scale:
            scale = CLAMP_COLUMNS[target][1]
            column.doubt = f"the scale of the clamp is not stated; {scale:g} mV per A is usual"
        column.target = target
        scales[target] = scale
    return scales


_GROUPED = {mark: re.compile(rf"^[1-9][0-9]{{0,2}}(?:{re.escape(mark)}[0-9]{{3}})+(?:[.,][0-9]+)?$") for mark in ".,"}


def _number_marks(columns: list[_Column], notes: _Notes) -> tuple[str, str]:
    """Return the decimal and the thousands mark that the values show."""
    numeric = [column for column in columns if _is_numeric(column)]
    told = [
        (clean_text(value).split(" ")[0], _largest_in(column))
        for column in numeric
        for value in column.values
        if isinstance(value, str)
    ]
    bare = [text for text, _ in told]
    marks = [decimal_mark(text, most) for text, most in told]
    commas, points = marks.count(","), marks.count(".")
    decimal = "," if commas > points else "."
    if commas and points:
        notes.top["decimal"] = f"{commas} values have a decimal comma, {points} a decimal point"
        notes.unsure.append(notes.top["decimal"])
    group = "." if decimal == "," else ","
    grouped = any(_GROUPED[group].match(text) for text in bare)
    if grouped and not commas and not points:
        notes.top["thousands"] = f"{group!r} taken as thousands mark; no value shows its decimal mark"
        notes.unsure.append(notes.top["thousands"])
    return decimal, group if grouped else ""


def _largest_in(column: _Column) -> float:
    made = conversion(in_unit_of(column.heading, column.target) or column.target)
    return largest_of(made) if made else float("inf")


def _is_numeric(column: _Column) -> bool:
    return column.target in CLAMP_COLUMNS or (
        column.target.endswith(("_v", "_a", "_c", "_km", "_rpm", "_s", "_ohm"))
        and (column.target != "crank_s" or bool(column.values))
    )


def _settle_units(columns: list[_Column], decimal: str, thousands: str, notes: _Notes) -> None:
    """Turn targets into their variant in the file's unit: by the heading, else by the values, and say when unsure."""
    for column in columns:
        if own_unit(column.target) and column.target not in CLAMP_COLUMNS:
            _settle_unit(column, _median(column, decimal, thousands))
        if column.doubt:
            notes.unsure.append(f"{column.heading!r}: {column.doubt}")


def _settle_unit(column: _Column, middle: float | None) -> None:
    named = in_unit_of(column.heading, column.target)
    if named:
        column.target = named
        _contradiction(column, middle)
        return
    if foreign := unknown_unit(column.heading, column.target):
        column.mind(f"the heading says {foreign}, a unit that is not known here: change the values")
        return
    expected = own_unit(column.target)
    if column.target in ("system_v", "rated_cca_a") or expected not in HELD_IN_OTHERS:
        return
    if middle is None:
        column.mind(f"no values to tell the unit by; {expected} assumed")
        return
    if expected not in _UNITS_BY_VALUE:
        column.mind(f"the heading names no unit; {expected} assumed (values around {middle:g})")
        return
    looks = expected
    if middle > _largest(column):
        looks, suffix = _UNITS_BY_VALUE[expected]
        column.target = column.target.rsplit("_", 1)[0] + suffix
    column.mind(f"the heading names no unit; values around {middle:g} look like {looks}")


_UNITS_BY_VALUE = {"V": ("mV", "_mv"), "°C": ("°F", "_f")}
"""Unit of ours -> the one that larger values are in, and how a column's name ends then."""


def _largest(column: _Column) -> float:
    """The largest median that values in our unit have."""
    if own_unit(column.target) == "°C":
        return DRAFTING.fahrenheit_low_c if column.target == "low_c" else DRAFTING.fahrenheit_c
    return DRAFTING.millivolt_drop_v if "drop" in column.target else DRAFTING.millivolt_battery_v


def _contradiction(column: _Column, middle: float | None) -> None:
    """Say so when the values do not fit the unit of the heading."""
    made = conversion(column.target)
    if middle is None or made is None:
        return
    if made.unit in _UNITS_BY_VALUE and middle > _largest(column):
        looks, _ = _UNITS_BY_VALUE[made.unit]
        column.mind(f"the heading says {made.unit}, but values around {middle:g} look like {looks}")
    elif made.unit == "mV" and 0 < middle < 2.0:
        column.mind(f"the heading says mV, but values around {middle:g} look like V")


def _median(column: _Column, decimal: str, thousands: str) -> float | None:
    style = NumberStyle("," if decimal == "," else ".", thousands)
    values = [parse_number(cell, style).value for cell in column.values]
    numbers = [value for value in values if value is not None]
    return median(numbers) if numbers else None


# --- dates -----------------------------------------------------------------------------------------------------------


def _date_order(columns: list[_Column], notes: _Notes) -> str:
    """Return the order that the file's dates prove, 'iso' when none needs one, '?' when nothing settles it."""
    cells = [v for column in columns if column.target in OF_A_DATE for v in column.values]
    seen = [date_order_evidence(cell) for cell in cells]
    first: dict[str, int] = {order: index for index, order in reversed(list(enumerate(seen))) if order}
    _note_swapped(cells, seen, notes)
    proved = [order for order in ORDERS if order in first]
    if len(proved) > 1:
        example = joined([cell_text(cells[first[order]]) for order in proved])
        some, *others = (order.replace("-", " ") for order in proved)
        notes.questions.append(
            f"date_order: some dates are {some}, others {joined(others, 'or')} ({example}); which is it?"
        )
        return "?"
    if proved:
        notes.top["date_order"] = f"proved by {cell_text(cells[first[proved[0]]])}"
        return proved[0]
    if "either" in first:
        example = cell_text(cells[first["either"]])
        notes.questions.append(f"date_order: is {example} {ways_to_read(example)}? No date in the file settles it")
        return "?"
    return "iso"


def _utc_question(columns: Sequence[_Column]) -> str:
    """What is asked of a file whose times are in UTC, by their mark (Z) or the heading over them; "" where nothing says so."""
    for column in columns:
        if column.target in OF_A_TIME:
            marked = next((cell_text(cell) for cell in column.values if _IN_UTC.search(cell_text(cell))), "")
            if marked or _SAYS_UTC.search(column.heading):
                said = marked or f"under {column.heading!r}"
                return f"utc_to: its times are in UTC ({said}); which time zone's clock do its depots go by? As {ZONE_SHOWN}"
    return ""


def _of_layout(sheet: Sheet, layout: Layout) -> list[_Column]:
    """The columns of a sheet with our own headings, with the first values below them."""
    columns = [_Column(heading, target) for heading, target in zip(layout.headings, layout.targets, strict=True)]
    below = [row for row, line in zip(sheet.head, sheet.head_lines, strict=True) if line > layout.heading_line]
    for row in below:
        for column, cell in zip(columns, row, strict=False):
            column.values += [] if is_empty(cell) else [cell]
    return columns


def _draft_of_own(sheet: Sheet, layout: Layout, question: str) -> Draft:
    """The description of a file with our own headings whose times are in UTC: nothing but their zone is open."""
    headed = [
        (heading, target or IGNORE) for heading, target in zip(layout.headings, layout.targets, strict=True) if heading
    ]
    described = Described(
        sheet.file, layout.table, tuple(headed), layout.style.decimal, layout.style.thousands, "iso", (), {}, {}, "", "?", question
    )  # fmt: skip
    return Draft(described, f"taken for {TAKEN_FOR[layout.table.name]}: its headings are our own")


def _note_swapped(cells: Sequence[object], seen: Sequence[str], notes: _Notes) -> None:
    """A spreadsheet in another language turns 05/06 into a real date with day and month swapped, and leaves 27/06."""
    real = [cell for cell in cells if isinstance(cell, datetime)]
    text = [order for order in seen if order]
    if len(real) >= DRAFTING.fewest_swapped and text and all(cell.day <= 12 for cell in real) and "either" not in text:
        notes.unsure.append(
            f"all {len(real)} real dates fall on days 1 to 12 and all text dates on later ones: "
            "the spreadsheet may have swapped day and month in the real dates"
        )


# --- writing TOML ----------------------------------------------------------------------------------------------------


def toml_text(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + re.sub(r"[\x00-\x1f\x7f]", lambda m: f"\\u{ord(m[0]):04x}", escaped) + '"'


def _layout(sheet: Sheet, region: _Region, sheets: int, *, alike: bool) -> tuple[tuple[str, str], ...]:
    """Where the heading stands and how the file is written, as keys of a description."""
    first = sheet.head_lines[region.start]
    pairs = [("skip_rows", str(first - 1)), ("heading_rows", str(region.rows))]
    if sheet.is_workbook and sheets > 1:
        pairs.append(ALL_SHEETS if alike else ("sheet", toml_text(sheet.name)))
    if not sheet.is_workbook:
        encoding = "utf-8" if sheet.encoding == "utf-8-sig" else sheet.encoding
        pairs += [
            ("encoding", toml_text(encoding)),
            ("delimiter", toml_text("tab" if sheet.delimiter == "\t" else sheet.delimiter)),
        ]
    return tuple(pairs)


# --- preview ---------------------------------------------------------------------------------------------------------


def preview(path: str | Path, toml: str, *, rows: int) -> pd.DataFrame:
    """Return the first rows as the description reads them, in our columns and units, with `line` and `problem`.

    `toml` is a description's text. Raises SourceProblem or FileRefused.
    """
    source = parse_source(toml)
    for sheet in read_sheets(path, encoding=source.encoding, delimiter=source.delimiter):
        layout = source_layout(sheet, source, all_headings=False)
        if layout is None:
            continue
        batch = batch_of(layout, islice(sheet.blocks(layout.heading_line, layout.width, layout.numeric), 1))
        out = []
        for row in range(min(rows, len(batch))):
            problem = "; ".join(batch.problems.get(row, ()))
            out.append({"line": int(batch.lines[row]), **batch.cells(row), "problem": problem})
        return pd.DataFrame(out)
    raise FileRefused("the headings of the description are not in the file")
