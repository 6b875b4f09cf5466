"""Rows of a sheet become typed columns in our units; what cannot be read is kept beside them with its reason."""

import itertools
import json
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd

from ingest.bounds import MOST_ASIDE, MOST_BESIDE, refuse_more
from ingest.choices import FILES
from ingest.errors import FileRefused, NotDescribed
from ingest.fields import LONGEST_NAME, LONGEST_TEXT, Column, Conversion, Table, allowed_words, own_unit
from ingest.layout import Layout, is_of_units, own_name
from ingest.sheets import Block, Cells, cell_text, objects
from ingest.sources import IGNORE, PARTIAL, WORK
from ingest.values import (
    CAN_BE_READ,
    DEGREE,
    ORDERS,
    SERIAL_ZERO,
    SERIAL_ZERO_1904,
    UTC_MARK,
    ZONE_WORDS,
    Parsed,
    ParsedTime,
    ShortOrder,
    clean_text,
    counted,
    date_order_evidence,
    in_unit,
    in_utc,
    is_empty,
    month_of,
    parse_number,
    parse_time,
    plain_float,
    shown,
    ways_to_read,
)
from ingest.vocabulary import spoken, work_done

DECIMALS = 6  # of a stored value in V, A, °C: a microvolt, so that 0.12 V and 120 mV are the same number
LARGEST = 1e15  # in any unit: far outside every range; a number beyond counts as this one, so that no sum overflows
PLAIN_NUMBER = {mark: re.compile(rf"-?[0-9]{{1,15}}(?:{re.escape(mark)}[0-9]{{1,15}})?") for mark in (".", ",")}
TIME_DTYPE = "datetime64[s]"
_IN_UTC = re.compile(rf"\s*{UTC_MARK}$")
_OF_A_CLOCK = re.compile(rf"\d(?:\s*[+-]\d{{2}}:?\d{{2}}|\s*{ZONE_WORDS})$")


@dataclass
class Batch:
    """All rows of one sheet as typed columns of one table, with what is wrong with some of them.

    numbers: float64 (NaN = empty); times: datetime64[s] (NaT = empty); texts: object arrays of str ('' = empty).
    problems and remarks: sentences by row; crooked: rows that could not be taken apart, of which nothing else is said.
    raw: text of cells that could not be read, by (row, column). confirmed:
    columns that were measured twice, by row; only a person's entry says so. extra: per row the cells of columns that are
    not ours, as a JSON object or ''; beside: the headings of those that hold something. title: the vehicle of all rows where no cell
    of them names it, but their table's title does.
    """

    table: Table
    lines: npt.NDArray[np.int64]
    numbers: dict[str, npt.NDArray[np.float64]] = field(default_factory=dict)
    times: dict[str, npt.NDArray[np.datetime64]] = field(default_factory=dict)
    texts: dict[str, npt.NDArray[np.object_]] = field(default_factory=dict)
    extra: list[str] = field(default_factory=list)
    beside: tuple[str, ...] = ()
    problems: dict[int, list[str]] = field(default_factory=dict)
    crooked: frozenset[int] = frozenset()
    remarks: dict[int, list[str]] = field(default_factory=dict)
    raw: dict[tuple[int, str], str] = field(default_factory=dict)
    confirmed: dict[int, frozenset[str]] = field(default_factory=dict)
    original: Callable[[int], str] = lambda row: ""  # noqa: ARG005
    notes: list[str] = field(default_factory=list)
    ignored: int = 0
    title: str = ""

    def __len__(self) -> int:
        return len(self.lines)

    def add_problems(self, rows: Iterable[int], sentence: Callable[[int], str]) -> None:
        for row in rows:
            if row in self.crooked:
                continue
            self.problems.setdefault(int(row), []).append(sentence(int(row)))
            refuse_wrong(self.problems, self.lines)

    @property
    def filled(self) -> list[str]:
        """Names of the table's columns that the sheet has, in the table's order."""
        return [name for name in self.table.names if name in {*self.numbers, *self.times, *self.texts}]

    def stored(self, row: int, names: Iterable[str]) -> dict[str, object]:
        """Return cells as they are written to the database: None for an empty number or date, '' for empty text."""
        return {name: self._stored(self.table.column(name), row) for name in names}

    def _stored(self, column: Column, row: int) -> object:
        if column.name in self.numbers:
            value = float(self.numbers[column.name][row])
            return None if np.isnan(value) else int(value) if column.kind == "whole" else value
        if column.name in self.times:
            time = self.times[column.name][row]
            return None if np.isnat(time) else str(time.astype("datetime64[D]") if column.kind == "date" else time)
        return str(self.texts[column.name][row])

    def good(self) -> npt.NDArray[np.bool_]:
        """Return which rows have no problem so far."""
        out = np.ones(len(self), dtype=bool)
        out[list(self.problems)] = False
        return out

    def cells(self, row: int) -> dict[str, object]:
        """Return the row in our columns and units, with the original text where it could not be read."""
        out: dict[str, object] = {}
        for name in self.table.names:
            if (row, name) in self.raw:
                out[name] = self.raw[(row, name)]
            elif name in self.numbers and not np.isnan(self.numbers[name][row]):
                out[name] = float(self.numbers[name][row])
            elif name in self.times and not np.isnat(self.times[name][row]):
                out[name] = str(self.times[name][row])
            elif name in self.texts and self.texts[name][row]:
                out[name] = self.texts[name][row]
        return out


def refuse_wrong(problems: Mapping[int, Sequence[str]], lines: npt.NDArray[np.int64] | None = None) -> None:
    """FileRefused when so many rows are wrong that the file or its description must be."""
    if len(problems) <= MOST_ASIDE:
        return
    row, sentences = next(iter(problems.items()))
    where = f"line {lines[row]}" if lines is not None else "the first"
    raise FileRefused(
        f"over {MOST_ASIDE:,} of its rows cannot be believed, so its columns or its description must be wrong "
        f"({where}: {sentences[0]})"
    )


@dataclass
class _Part:
    """What one block gives, before all blocks of a sheet are joined."""

    original: Callable[[int], str]
    lines: npt.NDArray[np.int64]
    kept: npt.NDArray[np.int64]
    arrays: dict[str, npt.NDArray[Any]]
    extra: list[str]


class BatchBuilder:
    """Takes a sheet's blocks one after the other and joins them to a Batch."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.table = layout.table
        self._parts: list[_Part] = []
        self._count = 0
        self._ignored = 0
        self._no_reading = 0
        self._problems: dict[int, list[str]] = {}
        self._crooked: set[int] = set()
        self._remarks: dict[int, list[str]] = {}
        self._raw: dict[tuple[int, str], str] = {}
        self._undecided: list[tuple[int, str, str]] = []
        self._orders: dict[ShortOrder, list[tuple[int, str]]] = {}
        self._plain_dates = 0
        self._utc: list[tuple[int, str]] = []
        self._zoned = 0
        self._beside: dict[str, None] = {}
        self._beside_size = 0

    def add(self, block: Block) -> None:
        kept = self._kept_rows(block)
        arrays = {}
        for name, column in self._own_columns(block).items():
            cells, conversion, label = column
            arrays[name] = self._parse(self.table.column(name), cells[kept], conversion, label)
        for name, text in self.layout.constants.items():
            if name not in arrays:
                constant = np.full(len(kept), text, dtype=object)
                arrays[name] = self._parse(self.table.column(name), constant, None, name)
        for row, wrong in block.crooked.items():
            where = np.flatnonzero(kept == row)
            for index in where:
                self._problems[self._count + int(index)] = [wrong]
                self._crooked.add(self._count + int(index))
        self._parts.append(_Part(block.original, block.lines[kept], kept, arrays, self._extra(block, kept)))
        self._count += len(kept)
        refuse_wrong(self._problems)

    def _kept_rows(self, block: Block) -> npt.NDArray[np.int64]:
        keep = np.ones(len(block.lines), dtype=bool)
        for row in self._no_rows(block):
            keep[row] = False
        self._no_reading += len(keep) - int(keep.sum())
        patterns = self.layout.ignore_rows
        if patterns:
            described = np.array(
                [any(p.search(block.original(row)) for p in patterns) for row in range(len(keep))], dtype=bool
            )
            self._ignored += int((described & keep).sum())
            keep &= ~described
        return np.flatnonzero(keep).astype(np.int64)

    def _no_rows(self, block: Block) -> list[int]:
        """Rows that hold no reading: the heading or its units again, lines drawn, and lines of comment (a first cell alone, which begins with #)."""
        names = [own_name(heading) for heading in self.layout.headings]
        named = next((index for index, name in enumerate(names) if name), None)
        if not self.layout.heading_line or named is None or block.columns[named].dtype.kind != "O":
            return []
        first = block.columns[named].tolist()
        texts = {cell: clean_text(cell) for cell in {cell for cell in first if cell is None or isinstance(cell, str)}}
        odd = {
            cell
            for cell, text in texts.items()
            if text[:1] in ("", "#") or _LINE.fullmatch(text) or own_name(text) == names[named]
        }
        alike = [row for row, cell in enumerate(first) if cell in odd] if odd else []
        return [row for row in alike if _is_no_row((cell_text(cells[row]) for cells in block.columns), names)]

    def _own_columns(self, block: Block) -> dict[str, tuple[Cells, Conversion | None, str]]:
        out: dict[str, tuple[Cells, Conversion | None, str]] = {}
        day: Cells | None = None
        clock: Cells | None = None
        headed: list[str] = []
        for index, target in enumerate(self.layout.targets):
            if not target or target == IGNORE:
                continue
            cells, conversion = block.columns[index], self.layout.conversions[index]
            if target in PARTIAL and own_name(self.layout.headings[index]) != target:
                headed.append(self.layout.headings[index])
            if target == "taken_on":
                day = cells
            elif target == "taken_time":
                clock = cells
            elif target == WORK:
                out |= {name: (said, None, self._label(name, index)) for name, said in _taken_apart(cells).items()}
            else:
                name = conversion.column if conversion else target
                out[name] = (cells, conversion, self._label(name, index))
        if day is not None:
            out["taken_at"] = (
                day if clock is None else _joined_times(self._days_of_numbers(_days_below(day, clock)), clock),
                None,
                f"taken_at ({', '.join(headed)})" if headed else "taken_at",
            )
        return out

    def _days_of_numbers(self, days: Cells) -> Cells:
        """Days, those that are bare day numbers of a spreadsheet as such."""
        numbers = {day for day in days.tolist() if _A_NUMBER.fullmatch(cell_text(day))}
        read = {day: parse_time(day, "iso", self._day_zero).value for day in numbers}
        return objects([read.get(day) or day for day in days.tolist()]) if read else days

    @property
    def _day_zero(self) -> datetime:
        return SERIAL_ZERO_1904 if self.layout.from_1904 else SERIAL_ZERO

    def _label(self, name: str, index: int) -> str:
        heading = self.layout.headings[index]
        return name if self.layout.own and own_name(heading) == self.layout.targets[index] else f"{name} ({heading})"

    def _extra(self, block: Block, kept: npt.NDArray[np.int64]) -> list[str]:
        unknown = [
            (heading or f"column {index + 1}", block.columns[index])
            for index, (heading, target) in enumerate(zip(self.layout.headings, self.layout.targets, strict=True))
            if not target
        ]
        if not unknown:
            return []
        out = []
        for row in kept:
            found = {name: text for name, cells in unknown if (text := cell_text(cells[row]).strip())}
            self._beside |= dict.fromkeys(found)
            out.append(json.dumps(found, ensure_ascii=False) if found else "")
        self._beside_size += sum(map(len, out))
        most = "leave out the columns that are not ours, or name them in a source description"
        refuse_more("characters in columns that are not ours", self._beside_size, MOST_BESIDE, most)
        return out

    # --- one column ---

    def _parse(self, column: Column, cells: Cells, conversion: Conversion | None, label: str) -> npt.NDArray[Any]:
        if column.kind in ("number", "whole"):
            return self._numbers(column, cells, conversion, label)
        if column.kind in ("date", "time"):
            return self._times(column, cells, label)
        return self._texts(column, cells, label)

    def _numbers(
        self, column: Column, cells: Cells, conversion: Conversion | None, label: str
    ) -> npt.NDArray[np.float64]:
        factor, offset = (conversion.factor, conversion.offset) if conversion else (1.0, 0.0)
        if cells.dtype.kind == "f":
            infinite = np.flatnonzero(np.isinf(cells)).tolist()
            for row in infinite:
                self._wrong(int(row), column, label, f"{cells[row]} is not a number", str(cells[row]))
            values = np.where(np.isinf(cells), np.nan, cells)
            return _rounded(values, factor, offset)
        codes, uniques = _factorize(cells)
        found = np.full(len(uniques) + 1, np.nan)
        rows_with = _RowsByCode(codes)
        quick = np.full(len(uniques) + 1, np.nan)
        plain = PLAIN_NUMBER[self.layout.style.decimal]
        for code, cell in enumerate(uniques):
            if isinstance(cell, str) and plain.fullmatch(cell):  # what nearly all cells are
                quick[code] = plain_float(cell)
                continue
            named = month_of(clean_text(cell)) if column.name == "month" else 0
            if column.name == "price" and isinstance(cell, str):
                cell = _MONEY.sub("", cell)
            parsed = Parsed(float(named)) if named else parse_number(cell, self.layout.style)
            value, problem = _in_our_unit(parsed, column, conversion)
            if problem or parsed.remark:
                for row in rows_with(code):
                    if problem:
                        self._wrong(int(row), column, label, f"{shown(cell_text(cell))} {problem}", cell_text(cell))
                    else:
                        self._remarks.setdefault(self._count + int(row), []).append(f"{column.name}: {parsed.remark}")
            if value is not None and not problem:
                found[code] = value
        quick = _rounded(quick, factor, offset)
        return np.where(np.isnan(quick), found, quick)[codes]

    def _texts(self, column: Column, cells: Cells, label: str) -> npt.NDArray[np.object_]:
        codes, uniques = _factorize(cells)
        out = np.empty(len(uniques) + 1, dtype=object)
        out[-1] = ""
        longest = LONGEST_TEXT if column.name == "note" else LONGEST_NAME
        rows_with = _RowsByCode(codes)
        for code, cell in enumerate(uniques):
            text = clean_text(cell_text(cell))
            if column.kind == "choice":
                text = "" if is_empty(text) and text.casefold() not in column.choices else chosen(text, column.choices)
            elif column.name in ("unit", "depot", "vehicle_class") and is_empty(text):
                text = ""
            out[code] = text
            wrong = ""
            if column.choices and text and text not in column.choices:
                wrong = "is not one of the words"
            elif len(text) > longest:
                wrong = f"is {len(text)} characters long"
            if wrong:
                for row in rows_with(code):
                    self._wrong(int(row), column, label, f"{shown(cell_text(cell))} {wrong}", cell_text(cell))
        return np.asarray(out[codes], dtype=object)

    def _times(self, column: Column, cells: Cells, label: str) -> npt.NDArray[np.datetime64]:
        out = np.full(len(cells), np.datetime64("NaT"), dtype=TIME_DTYPE)
        slow = _fast_times(cells, out)
        self._plain_dates += len(cells) - len(slow)
        zone = self.layout.utc_to
        utc = np.isin(np.arange(len(cells)), slow, invert=True) if zone else np.zeros(0, np.bool_)
        for row in slow:
            cell = cells[row]
            if is_empty(cell):
                continue
            if zone:
                cell, utc[row] = _without_utc(cell)
            parsed = parse_time(cell, self.layout.date_order, self._day_zero)
            evidence = date_order_evidence(cell)
            if evidence and evidence != "either":
                self._orders.setdefault(evidence, []).append((self._count + int(row), cell_text(cell)))
            if parsed.utc and column.kind == "time":
                parsed = ParsedTime(problem=in_utc(cell_text(cell)))
                self._utc.append((self._count + int(row), cell_text(cell)))
            self._plain_dates += evidence != "either" and parsed.value is not None
            self._take_time(int(row), column, label, parsed, cell, out)
        if zone:
            self._tell_by_clock(column, cells, out, utc)
        if column.kind == "date":
            return out.astype("datetime64[D]").astype(TIME_DTYPE)
        return out

    def _tell_by_clock(
        self, column: Column, cells: Cells, out: npt.NDArray[np.datetime64], utc: npt.NDArray[np.bool_]
    ) -> None:
        """Times in UTC by the clock of the zone that the description names, in place; a day without a time of day stays."""
        at_midnight = out == out.astype("datetime64[D]")
        days = at_midnight.copy()
        if column.kind == "time":
            days[at_midnight] = [_no_clock(cell) for cell in cells[at_midnight].tolist()]
        taken = utc & ~np.isnat(out) & ~days
        if taken.any():
            out[taken] = by_clock_of(self.layout.utc_to, out[taken])
            self._zoned += int(taken.sum())

    def _take_time(
        self, row: int, column: Column, label: str, parsed: ParsedTime, cell: object, out: npt.NDArray[np.datetime64]
    ) -> None:
        if parsed.remark:
            self._remarks.setdefault(self._count + row, []).append(f"{column.name}: {parsed.remark}")
        if parsed.value is not None:
            out[row] = np.datetime64(parsed.value, "s")
            return
        if self.layout.own and CAN_BE_READ in parsed.problem:
            self._undecided.append((self._count + row, column.name, cell_text(cell)))
            self._raw[(self._count + row, column.name)] = cell_text(cell)
            return
        self._wrong(row, column, label, parsed.problem, cell_text(cell))

    def _wrong(self, row: int, column: Column, label: str, problem: str, text: str) -> None:
        number = self._count + row
        self._raw[(number, column.name)] = text
        self._problems.setdefault(number, []).append(f"{label}: {problem}; allowed is {_allowed(column)}")

    # --- all blocks together ---

    def finish(self) -> Batch:
        """Join the blocks; settle dates that only the whole file can settle."""
        names = {name for part in self._parts for name in part.arrays}
        joined = {name: np.concatenate([part.arrays[name] for part in self._parts]) for name in names}
        lines = [part.lines for part in self._parts]
        batch = Batch(
            table=self.table,
            lines=np.concatenate(lines) if lines else np.empty(0, dtype=np.int64),
            numbers={n: a for n, a in joined.items() if a.dtype.kind == "f"},
            times={n: a for n, a in joined.items() if a.dtype.kind == "M"},
            texts={n: a for n, a in joined.items() if a.dtype.kind == "O"},
            extra=[row for part in self._parts for row in part.extra],
            beside=tuple(self._beside),
            problems=self._problems,
            crooked=frozenset(self._crooked),
            remarks=self._remarks,
            raw=self._raw,
            original=self._original,
            ignored=self._ignored,
            title=self.layout.constants["unit"] if self.layout.by_title else "",
        )
        if self._no_reading:
            batch.notes.append(
                f"{counted(self._no_reading, 'row')} left out, repeating the heading or its units, drawn as a line, or beginning with #"
            )
        if self._zoned:
            batch.notes.append(f"{counted(self._zoned, 'time')} in UTC told by the clock of {self.layout.utc_to}")
        self._refuse_wrong_order(batch)
        self._refuse_utc(batch)
        self._settle_dates(batch)
        return batch

    def _refuse_wrong_order(self, batch: Batch) -> None:
        """Refuse a file whose dates prove another order than its description states: the rest would be stored wrong."""
        stated = self.layout.date_order
        against = max(self._orders.values(), key=len, default=[])
        if stated in ORDERS and stated not in self._orders and len(against) >= FILES.fewest_against:
            row, text = against[0]
            raise NotDescribed(
                f"its description {self.layout.source} says {stated}, but line {batch.lines[row]} has {text!r} and no "
                f"date needs {stated}; allowed is a description whose date_order fits the file"
            )

    def _refuse_utc(self, batch: Batch) -> None:
        """Refuse a file all of whose times are in UTC: row by row nobody wants to put it right."""
        if self._utc and self.layout.heading_line > 0 and not self._plain_dates and not self._undecided:
            row, text = self._utc[0]
            raise FileRefused(
                f"its times are in UTC (line {batch.lines[row]}: {shown(text)}); write them by the local clock, as "
                "2026-01-31T07:45, or with its offset, as 2026-01-31T07:45+01:00, or name the time zone of its depots in a description of it: "
                "cranktrend source draft FILE asks for it (utc_to)"
            )

    def _original(self, row: int) -> str:
        for part in self._parts:
            if row < len(part.kept):
                return part.original(int(part.kept[row]))
            row -= len(part.kept)
        raise ValueError(f"row is {row} too many; allowed is 0 to {self._count - 1}")

    def _settle_dates(self, batch: Batch) -> None:
        """Read the two-way dates in the order that other dates of the file prove; without proof nothing is guessed."""
        if not self._undecided:
            return
        if len(self._orders) == 1:
            order, proofs = next(iter(self._orders.items()))
            row, text = proofs[0]
            for number, name, cell in self._undecided:
                parsed = parse_time(cell, order)
                batch.times[name][number] = np.datetime64(parsed.value, "s") if parsed.value else np.datetime64("NaT")
                batch.raw.pop((number, name), None)
            proof = f"because line {batch.lines[row]} has {text!r}"
            batch.notes.append(f"{counted(len(self._undecided), 'date')} read {order.replace('-', ' ')}, {proof}")
            return
        of_a_file = self.layout.heading_line > 0  # what a person types has no heading and no other dates
        if of_a_file and not self._orders and not self._plain_dates:
            row, _, text = self._undecided[0]
            raise NotDescribed(
                f"its dates {CAN_BE_READ} {ways_to_read(text)} (line {batch.lines[row]}: {shown(text)}); "
                "write them as 2026-01-31, or state date_order in a source description"
            )
        for number, name, cell in self._undecided:
            batch.problems.setdefault(number, []).append(
                f"{name}: {shown(cell)} {CAN_BE_READ} {ways_to_read(cell)}; allowed is {_allowed(self.table.column(name))}"
            )


_LINE = re.compile(r"\s*[-=_:–—*]{3,}\s*")  # drawn below a heading


def _is_no_row(row: Iterator[str], names: Sequence[str]) -> bool:
    begun = next((cell for cell in row if cell), "")  # most rows are told by their first cell
    if begun.startswith("#"):
        return not any(row)
    cells = [begun, *(cell for cell in row if cell)]
    if all(map(_LINE.fullmatch, cells)):
        return True
    return is_of_units(cells) or [own_name(cell) for cell in cells] == [name for name in names if name]


def _taken_apart(cells: Cells) -> dict[str, Cells]:
    """Part and action out of work in words; words that do not say both stay as they are."""
    texts = [cell_text(cell) for cell in cells.tolist()]
    pairs = [found if all(found := work_done(text)) else (text, text) for text in texts]
    return {name: objects([pair[i] for pair in pairs]) for i, name in enumerate(("part", "action"))}


_BETWEEN = re.compile(r"[\s_-]+")


def chosen(text: str, choices: Sequence[str]) -> str:
    """Return the one of `choices` that `text` is or means, whatever its capitals, blanks and hyphens; else `text` as it is."""
    folded = _BETWEEN.sub("", text.casefold())
    ours = next((word for word in choices if _BETWEEN.sub("", word.casefold()) == folded), "")
    return ours or spoken(text, choices) or text


def _rounded(values: npt.NDArray[np.float64], factor: float, offset: float) -> npt.NDArray[np.float64]:
    return np.round(np.clip(values, -LARGEST, LARGEST) * factor + offset, DECIMALS) + 0.0


def _in_our_unit(parsed: Parsed, column: Column, conversion: Conversion | None) -> tuple[float | None, str]:
    """Return the value in the column's own unit; a unit beside the value goes before that of the heading."""
    if parsed.problem:
        return None, "cannot be read: " + parsed.problem if "two ways" in parsed.problem else "is not a number"
    if parsed.value is None:
        return None, ""
    factor, offset = (conversion.factor, conversion.offset) if conversion else (1.0, 0.0)
    own = own_unit(column.name)
    if parsed.unit and (parsed.unit, own) != (DEGREE, "°C"):
        clamp_output = in_unit(parsed, "V") if conversion is not None and conversion.unit == "mV" else None
        direct = in_unit(parsed, own)
        if direct is not None:
            factor, offset = direct
        elif clamp_output is not None:
            factor, offset = clamp_output[0] * 1000.0 * factor, 0.0
        else:
            return None, f"is in another unit than {column.name}"
    return float(_rounded(np.array(parsed.value), factor, offset)), ""


def _allowed(column: Column) -> str:
    unit = own_unit(column.name)
    if column.kind == "number" and unit and column.low is None:
        return f"a number in {unit}, or nothing"
    return allowed_words(column)


class _RowsByCode:
    """Which rows hold a distinct cell; sorted once, when it is first asked."""

    def __init__(self, codes: npt.NDArray[np.int64]) -> None:
        self._codes = codes
        self._order: npt.NDArray[np.int64] | None = None

    def __call__(self, code: int) -> list[int]:
        if self._order is None:
            self._order = np.argsort(self._codes, kind="stable").astype(np.int64)
            self._codes = self._codes[self._order]
        first, last = np.searchsorted(self._codes, (code, code + 1))
        return [int(row) for row in self._order[first:last]]


def _factorize(cells: Cells) -> tuple[npt.NDArray[np.int64], list[object]]:
    """Return codes (-1 for missing) and distinct cells."""
    if cells.dtype.kind == "f":
        cells = np.array([None if cell != cell else cell for cell in cells.tolist()], dtype=object)
    codes, uniques = pd.factorize(cells, use_na_sentinel=True)
    return codes.astype(np.int64), list(uniques)


_OFFSET = re.compile("[-+]").search


def by_clock_of(zone: str, moments: npt.NDArray[np.datetime64]) -> npt.NDArray[np.datetime64]:
    """Moments in UTC by the local clock of a time zone of the IANA data base (zoneinfo), as "Europe/Berlin"."""
    local = pd.DatetimeIndex(moments).tz_localize("UTC").tz_convert(ZoneInfo(zone)).tz_localize(None)
    return np.asarray(local.to_numpy(), dtype="datetime64[s]")


def _without_utc(cell: object) -> tuple[object, bool]:
    """A cell of a file in UTC without the mark that says so, and whether it is in UTC: not where it names an offset."""
    if isinstance(cell, datetime):
        aware = cell.tzinfo is not None
        return (cell.astimezone(UTC).replace(tzinfo=None) if aware else cell), True
    if not isinstance(cell, str):
        return cell, True
    bare = _IN_UTC.sub("", cell.strip())
    return bare, _OF_A_CLOCK.search(bare) is None


def _no_clock(cell: object) -> bool:
    """Whether a cell is a day without a time of day."""
    if isinstance(cell, str):
        return ":" not in cell and "T" not in cell.upper()
    return isinstance(cell, date) and not isinstance(cell, datetime)


def _fast_times(cells: Cells, out: npt.NDArray[np.datetime64]) -> npt.NDArray[np.int64]:
    """Fill `out` where cells are ISO 8601 texts; return the rows left over."""
    if cells.dtype.kind != "O":
        return np.flatnonzero(~np.isnan(cells))
    iso = np.array(
        [
            isinstance(c, str)
            and len(c) in (10, 16, 19)
            and c[4] == c[7] == "-"
            and c[-1].isdigit()
            and not _OFFSET(c, 10)
            for c in cells.tolist()
        ],
        dtype=bool,
    )
    if iso.any():
        texts = cells.copy()
        texts[~iso] = None
        parsed = pd.to_datetime(texts, format="ISO8601", errors="coerce")
        if getattr(parsed, "tz", None) is None:
            out[:] = np.asarray(parsed, dtype=TIME_DTYPE)
    return np.flatnonzero(np.isnat(out))


def _days_below(days: Cells, clocks: Cells) -> Cells:
    """Days of a list that writes each day once, above the clock times of that day: the empty ones filled in.

    In a list that writes a day twice running an empty one is a gap, and stays so.
    """
    cells, empty = days.tolist(), np.array([is_empty(day) for day in days.tolist()])
    told = [clean_text(cell) for cell, none in zip(cells, empty, strict=True) if not none]
    if not empty.any() or empty[0] or any(day == after for day, after in itertools.pairwise(told)):
        return days
    for row in np.flatnonzero(empty):
        if not is_empty(clocks[row]):
            cells[row] = cells[row - 1]
    return objects(cells)


_A_NUMBER = re.compile(r"[0-9]{5}(?:\.[0-9]+)?")
_MONEY = re.compile(r"^[A-Z]{3}\b|[A-Z]{3}$|[$€£¥]|(?i:\bkr\.?$|\bzł$|\bFr\.)")
"""A currency by its sign or code (ISO 4217): prices are in the user's own, whatever stands beside them."""
_HHMM = re.compile(r"([01]?[0-9]|2[0-3])([0-5][0-9])")
_SHARE_OF_A_DAY = re.compile(r"0[.,][0-9]{3,}")


def _joined_times(days: Cells, clocks: Cells) -> Cells:
    return objects([_joined_time(day, clock) for day, clock in zip(days.tolist(), clocks.tolist(), strict=True)])


def _joined_time(day: object, clock: object) -> object:
    if is_empty(clock):
        return day
    if isinstance(clock, str):
        clock = _clock_of(clean_text(clock))
    if isinstance(day, datetime):
        if isinstance(clock, time):
            return datetime.combine(day.date(), clock)
        if isinstance(clock, (int, float)) and 0 <= clock < 1:
            return datetime.combine(day.date(), time()) + timedelta(seconds=round(clock * 86_400))
        return f"{day:%Y-%m-%d} {cell_text(clock)}"
    return f"{cell_text(day)} {cell_text(clock)}"


def _clock_of(text: str) -> object:
    """A time of day as 0815, or as a spreadsheet's share of a day, in a way that :func:`parse_time` reads; else as it is."""
    if _HHMM.fullmatch(text):
        return f"{text[:-2]}:{text[-2:]}"
    return (
        f"{SERIAL_ZERO + timedelta(seconds=round(plain_float(text) * 86_400)):%H:%M:%S}"
        if _SHARE_OF_A_DAY.fullmatch(text)
        else text
    )


def batch_of(layout: Layout, blocks: Iterable[Block], progress: Callable[[int], None] | None = None) -> Batch:
    """Parse the blocks of one sheet; `progress` is told how much of the sheet each block was."""
    builder = BatchBuilder(layout)
    for block in blocks:
        builder.add(block)
        if progress is not None:
            progress(block.read_bytes)
    return builder.finish()


def one_row_block(values: Sequence[object]) -> Block:
    """Return a block of a single row, so that what a person types goes through the same parsing."""
    columns = [np.fromiter([value], dtype=object, count=1) for value in values]
    text = ",".join(cell_text(value) for value in values)
    return Block(np.array([1], dtype=np.int64), columns, lambda row: text)  # noqa: ARG005
