"""A recorded start from a file: time, volts and amps in columns of any order, as even samples in our units."""

import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from ingest.cells import PLAIN_NUMBER
from ingest.choices import TRACE_FILES
from ingest.errors import FileRefused
from ingest.fields import FASTEST_HZ, LARGEST_CLAMP, SLOWEST_HZ, SMALLEST_CLAMP
from ingest.layout import style_of
from ingest.sheets import Block, Sheet, cell_text
from ingest.values import (
    OVER_RANGE,
    SECONDS,
    NumberStyle,
    clean_text,
    is_empty,
    joined,
    parse_number,
    plain_float,
    shown,
    unit_word,
)

Array = npt.NDArray[np.float64]
Kind = Literal["time", "volts", "amps"]


_TIME = frozenset({"time", "t", "zeit", "temps", "tiempo", "tempo", "elapsed", "timestamp"})
_AMPS = frozenset({
    "amp", "amps", "ampere", "amperes", "current", "strom", "courant", "corriente", "corrente", "i", "clamp", "zange",
    "stromzange", "pince", "pinza", "cranking",
})  # fmt: skip
_VOLTS = frozenset({
    "volt", "volts", "voltage", "spannung", "tension", "tensione", "voltaje", "u", "v", "ubat", "ubatt", "vbat", "vbatt",
    "battery", "batterie", "bateria", "bat", "batt",
})  # fmt: skip
_CHANNELS = frozenset({"ch", "channel", "kanal", "canal", "canale", "voie", "input", "eingang", "probe", "trace"})
_IN_BRACKETS = re.compile(r"[(\[{]\s*([^()\[\]{}]*?)\s*[)\]}]")
_AFTER_SLASH = re.compile(r"/\s*([A-Za-zµμ]+)\s*$")
_NO_WORD = re.compile(r"[^a-zµμäöüéèçñ]+")


@dataclass(frozen=True)
class TraceFile:
    """A recording as even samples: time [s], volts and amps (None where not recorded), and what was made of the columns."""

    name: str
    time_s: Array
    volts: Array | None
    amps: Array | None
    remarks: tuple[str, ...]


@dataclass(frozen=True)
class Column:
    """A column that is used: what it holds, where it stands, its heading, and the factor to our unit."""

    kind: Kind
    index: int
    heading: str
    factor: float


def read_trace(
    sheets: Sequence[Sheet],
    *,
    clamp_mv_per_a: float | None = None,
    rate_hz: float | None = None,
    volts: str = "",
    amps: str = "",
) -> TraceFile:
    """Read a recording from a file's sheets; FileRefused, in a sentence, for what is none.

    clamp_mv_per_a: the clamp's scale, where the file holds its millivolts or volts. rate_hz: samples a second, where there
    is no time. volts, amps: headings, where the file does not say which column is which.
    """
    if clamp_mv_per_a is not None and not SMALLEST_CLAMP <= clamp_mv_per_a <= LARGEST_CLAMP:
        raise ValueError(
            f"the clamp's scale is {clamp_mv_per_a:g} mV/A; allowed is {SMALLEST_CLAMP:g} to {LARGEST_CLAMP:,.0f} mV/A"
        )
    if rate_hz is not None and not SLOWEST_HZ <= rate_hz <= FASTEST_HZ:
        raise ValueError(f"the rate is {rate_hz:g} Hz; allowed is {SLOWEST_HZ:g} to {FASTEST_HZ:,.0f} Hz")
    wanted = {"volts": volts, "amps": amps}
    wrong = ""
    for sheet in sheets:
        for row in range(len(sheet.head)):
            try:
                found = _columns(sheet, row, clamp_mv_per_a, wanted)
            except FileRefused as refused:
                wrong = wrong or str(refused)
                continue
            if found is not None:
                columns, first = found
                return _read(sheet, columns, first, rate_hz, clamp_mv_per_a)
    raise FileRefused(wrong or NO_COLUMNS)


NO_COLUMNS = (
    "no heading over its numbers names volts or amps; allowed are headings as time_ms, volts, amps, with or without units "
    "under them"
)


# --- which column is which -------------------------------------------------------------------------------------------


def _columns(
    sheet: Sheet, row: int, clamp_mv_per_a: float | None, wanted: Mapping[str, str]
) -> tuple[list[Column], int] | None:
    """The columns that a heading row names, and the row of the head with the first numbers; None where it is no heading."""
    headings = [" ".join(clean_text(cell).split()) for cell in sheet.head[row]]
    if not any(headings) or any(_is_number(cell) for cell in headings):
        return None
    units, first = _units_below(sheet, row, len(headings))
    if first >= len(sheet.head) or not any(_is_number(cell) for cell in sheet.head[first]):
        return None
    kinds: dict[Kind, list[tuple[int, str, str]]] = {"time": [], "volts": [], "amps": []}
    for index, heading in enumerate(headings):
        kind, unit = _kind_of(heading, units[index])
        for name, asked in wanted.items():
            if asked and asked.casefold().strip() == heading.casefold():
                kind = "volts" if name == "volts" else "amps"
        if kind is not None:
            kinds[kind].append((index, heading, unit))
    if not kinds["volts"] and not kinds["amps"]:
        return None
    _refuse_unknown(headings, wanted)
    if clamp_mv_per_a is not None and not kinds["amps"]:
        _clamp_among_volts(kinds, wanted["volts"])
    return [
        column
        for kind, candidates in kinds.items()
        if (column := _chosen(kind, candidates, wanted.get(kind, ""), clamp_mv_per_a)) is not None
    ], first


def _units_below(sheet: Sheet, row: int, width: int) -> tuple[list[str], int]:
    """The units that stand in a row of their own under the headings, and the first row with anything in it after them."""
    below = [clean_text(cell) for cell in sheet.head[row + 1]] if row + 1 < len(sheet.head) else []
    cells = [_IN_BRACKETS.sub(r"\1", cell).strip() for cell in below] + [""] * width
    told = any(cells) and all(not cell or _unit(cell) for cell in cells)
    first = row + 2 if told else row + 1
    while first < len(sheet.head) and all(is_empty(cell) for cell in sheet.head[first]):
        first += 1
    return cells[:width] if told else [""] * width, first


def _unit(text: str) -> tuple[str, float] | None:
    """Our unit (s, V, A) and the factor to it for a word that names one."""
    word = text.strip().casefold()
    if word in SECONDS:
        return "s", SECONDS[word]
    known = unit_word(word)
    return (known[0], known[1]) if known is not None and known[0] in ("V", "A") else None


def _is_number(cell: object) -> bool:
    return not is_empty(cell) and parse_number(cell).value is not None


def _kind_of(heading: str, below: str) -> tuple[Kind | None, str]:
    """What a column holds, by its unit and the words over it, and its unit as written."""
    bracket = [found for found in _IN_BRACKETS.findall(heading) if _unit(found)]
    slash = _AFTER_SLASH.findall(heading)
    words = [word for word in _NO_WORD.split(_IN_BRACKETS.sub(" ", heading.casefold())) if word]
    unit = below or (bracket[0] if bracket else slash[0] if slash and _unit(slash[0]) else "")
    if not unit and words and _unit(words[-1]) and not _CHANNELS & set(words[:-1]):
        unit = words[-1]
    of_unit = _unit(unit)
    told = set(words) if not _CHANNELS & set(words) else {word for word in words if len(word) > 1}
    if of_unit is not None and of_unit[0] == "s":
        return "time", unit
    if told & _TIME and of_unit is None:
        return "time", unit
    if (of_unit is not None and of_unit[0] == "A") or told & _AMPS:
        return "amps", unit
    if of_unit is not None or told & _VOLTS:
        return "volts", unit
    return None, ""


def _refuse_unknown(headings: Sequence[str], wanted: Mapping[str, str]) -> None:
    known = {heading.casefold() for heading in headings}
    for name, asked in wanted.items():
        if asked and asked.casefold().strip() not in known:
            listed = ", ".join(shown(heading) for heading in headings if heading)
            raise FileRefused(f"it has no column {shown(asked)} for {name}; allowed are {listed}")


def _clamp_among_volts(kinds: dict[Kind, list[tuple[int, str, str]]], volts: str) -> None:
    """Where a clamp's scale is given and no column names amps: the one in mV beside one in V is the clamp's."""
    others = [one for one in kinds["volts"] if volts and one[1].casefold() != volts.casefold().strip()]
    if not volts and len(kinds["volts"]) > 1:
        others = [one for one in kinds["volts"] if (_unit(one[2]) or ("V", 1.0))[1] != 1.0]
    elif not volts:
        others = kinds["volts"]
    if len(others) == 1:
        kinds["amps"] = others
        kinds["volts"] = [one for one in kinds["volts"] if one is not others[0]]


def _chosen(
    kind: Kind, candidates: list[tuple[int, str, str]], asked: str, clamp_mv_per_a: float | None
) -> Column | None:
    """The one column of a kind, with the factor to our unit."""
    if asked:
        candidates = [one for one in candidates if one[1].casefold() == asked.casefold().strip()]
    if kind == "time":
        candidates = candidates[:1]
    if not candidates:
        return None
    if len(candidates) > 1:
        listed = joined([shown(heading) for _, heading, _ in candidates])
        raise FileRefused(f"the columns {listed} may each hold {kind}; say the heading of the one that does")
    index, heading, unit = candidates[0]
    return Column(kind, index, heading, _factor(kind, heading, unit, clamp_mv_per_a))


def _factor(kind: Kind, heading: str, unit: str, clamp_mv_per_a: float | None) -> float:
    ours, factor = _unit(unit) or ({"time": "s", "volts": "V", "amps": "A"}[kind], 1.0)
    if kind != "amps":
        return factor
    if ours == "V":
        if clamp_mv_per_a is None:
            raise FileRefused(
                f"the column {shown(heading)} holds the clamp's {unit}; say the clamp's scale, such as 10mV/A, to have amps"
            )
        return factor * 1000.0 / clamp_mv_per_a
    if clamp_mv_per_a is None:
        return factor
    if unit:
        raise FileRefused(f"the column {shown(heading)} is in {unit} already; leave the clamp's scale out")
    return 1.0 / clamp_mv_per_a  # no unit stands there: millivolts, as a scale in mV/A says


# --- the numbers -----------------------------------------------------------------------------------------------------


def _read(
    sheet: Sheet, columns: Sequence[Column], first: int, rate_hz: float | None, clamp_mv_per_a: float | None
) -> TraceFile:
    style = style_of(sheet, first - 1, dict.fromkeys((column.index for column in columns), float("inf")))
    width = max(len(row) for row in sheet.head[: first + 1])
    numeric = frozenset(column.index for column in columns) if style.decimal == "." else frozenset()
    head = dict(enumerate(sheet.head[first]))
    begin = next((_CLOCK.fullmatch(_text(head.get(c.index))) for c in columns if c.kind == "time"), None)
    parts: list[list[Array]] = [[] for _ in columns]
    lines: list[npt.NDArray[np.int64]] = []
    for block in sheet.blocks(sheet.last_line_of(first - 1), width, numeric):
        rows = _whole_rows(block)
        lines.append(block.lines[rows])
        for part, column in zip(parts, columns, strict=True):
            cells, numbers = block.columns[column.index][rows], block.lines[rows]
            if begin is not None and column.kind == "time":
                part.append(_by_the_clock(cells, column, numbers, begin))
            else:
                part.append(_numbers(cells, column, numbers, style))
    values = {column.kind: np.concatenate(part) for part, column in zip(parts, columns, strict=True)}
    line = np.concatenate(lines) if lines else np.empty(0, dtype=np.int64)
    values, line, remarks = _complete(values, line)
    if begin is not None:
        values["time"] = values["time"] - values["time"][0]
    for column in columns:
        if column.kind != "time":
            values[column.kind], said = _in_range(column, values[column.kind])
            remarks += said
    time, columns_even, said = _even(values, line, rate_hz)
    scale = [f"the clamp's scale is {clamp_mv_per_a:g} mV/A"] if clamp_mv_per_a is not None and "amps" in values else []
    used = ", ".join(f"{column.kind} from {shown(column.heading)}" for column in columns)
    return TraceFile(
        sheet.file, time, columns_even.get("volts"), columns_even.get("amps"), (used, *scale, *remarks, *said)
    )


def _whole_rows(block: Block) -> npt.NDArray[np.intp]:
    """Rows that are whole; a torn last line is left out, any other row of another shape refuses the file."""
    keep = np.ones(len(block.lines), dtype=bool)
    for row, wrong in block.crooked.items():
        if "ends in the middle" not in wrong:
            raise FileRefused(f"line {block.lines[row]}: {wrong}")
        keep[row] = False
    return np.flatnonzero(keep)


def _numbers(cells: npt.NDArray[Any], column: Column, lines: npt.NDArray[np.int64], style: NumberStyle) -> Array:
    """Cells as numbers in our unit: NaN where empty, infinite where over the range."""
    if cells.dtype.kind == "f":
        return np.asarray(cells * column.factor, dtype=np.float64)
    plain = PLAIN_NUMBER[style.decimal]
    values = np.empty(len(cells))
    for row, cell in enumerate(cells):
        if isinstance(cell, str) and plain.fullmatch(cell):
            values[row] = plain_float(cell)
            continue
        text = clean_text(cell_text(cell)).casefold()
        if text in OVER_RANGE or text.lstrip("+-") in ("∞", "inf", "infinity"):
            values[row] = -np.inf if text.startswith("-") else np.inf
            continue
        parsed = parse_number(cell, style)
        if parsed.problem:
            where = f"line {lines[row]}, column {shown(column.heading)}"
            raise FileRefused(f"{where}: {parsed.problem}; allowed are numbers")
        values[row] = np.nan if parsed.value is None else parsed.value
    return values * column.factor


_CLOCK = re.compile(r"(?:([0-9]{4}-[0-9]{2}-[0-9]{2})[T ])?([0-9]{1,2}):([0-9]{2}):([0-9]{2}(?:[.,][0-9]{1,9})?)")


def _text(cell: object) -> str:
    return cell_text(cell).strip()


def _day(found: re.Match[str]) -> int:
    """The number of the day that stands before a time of day; 0 where none does."""
    return date.fromisoformat(found[1]).toordinal() if found[1] else 0


def _by_the_clock(cells: npt.NDArray[Any], column: Column, lines: npt.NDArray[np.int64], begin: re.Match[str]) -> Array:
    """Times of day, with or without their day, in seconds since the day of `begin` began: NaN where empty."""
    values = np.full(len(cells), np.nan)
    for row, cell in enumerate(cells):
        found = _CLOCK.fullmatch(_text(cell))
        with suppress(ValueError):  # a day that no calendar has
            if found is not None:
                values[row] = (
                    86_400 * (_day(found) - _day(begin))
                    + 3600 * int(found[2])
                    + 60 * int(found[3])
                    + plain_float(found[4])
                )
        if np.isnan(values[row]) and not is_empty(cell):
            where = f"line {lines[row]}, column {shown(column.heading)}"
            raise FileRefused(f"{where}: {shown(_text(cell))} is no time of day as {shown(begin[0])}, the first")
    return values


def _complete(
    values: dict[Kind, Array], line: npt.NDArray[np.int64]
) -> tuple[dict[Kind, Array], npt.NDArray[np.int64], list[str]]:
    """Rows in which every column has a value."""
    whole = np.logical_and.reduce([~np.isnan(column) for column in values.values()])
    lacking = int((~whole).sum())
    if whole.sum() < TRACE_FILES.fewest_rows:
        raise FileRefused(
            f"it has {int(whole.sum())} rows with a value in each column; allowed are {TRACE_FILES.fewest_rows} or more"
        )
    if lacking > TRACE_FILES.most_gaps * len(line):
        raise FileRefused(
            f"{lacking:,} of its {len(line):,} rows lack a value (first in line {line[~whole][0]}); allowed are "
            f"{TRACE_FILES.most_gaps:.0%}: every row needs its time, volts and amps together"
        )
    said = [f"{lacking} rows without a value left out"] if lacking else []
    return {kind: column[whole] for kind, column in values.items()}, line[whole], said


def _in_range(column: Column, values: Array) -> tuple[Array, list[str]]:
    """Values over the meter's range as its end; FileRefused where the unit or the scale cannot be right."""
    finite = values[np.isfinite(values)]
    if not len(finite):
        raise FileRefused(f"the column {shown(column.heading)} is over the meter's range in every row")
    over = ~np.isfinite(values)
    largest = TRACE_FILES.largest_v if column.kind == "volts" else TRACE_FILES.largest_a
    most = float(np.abs(finite).max())
    if most > largest:
        remedy = (
            "is it in mV? write the unit into its heading" if column.kind == "volts" else "is the clamp's scale right?"
        )
        unit = "V" if column.kind == "volts" else "A"
        raise FileRefused(
            f"the column {shown(column.heading)} goes to {most:,.0f} {unit}; allowed are {largest:,.0f} {unit}: {remedy}"
        )
    if column.kind == "volts" and most < TRACE_FILES.least_v:
        raise FileRefused(
            f"the column {shown(column.heading)} goes to {most:.3g} V, no battery's; allowed are {TRACE_FILES.least_v:.0f} V or "
            "more: say the heading of the battery's volts"
        )
    ends = np.where(values > 0, finite.max(), finite.min())
    said = [f"{int(over.sum())} of the values of {shown(column.heading)} over the meter's range"] if over.any() else []
    return np.where(over, ends, values), said


# --- even times ------------------------------------------------------------------------------------------------------


def _even(
    values: Mapping[Kind, Array], line: npt.NDArray[np.int64], rate_hz: float | None
) -> tuple[Array, dict[Kind, Array], list[str]]:
    """Times that rise evenly from where they begin, with the columns at them."""
    columns: dict[Kind, Array] = {kind: column for kind, column in values.items() if kind != "time"}
    count = len(line)
    if "time" not in values:
        if rate_hz is None:
            raise FileRefused("it has no column of time; say how many samples a second it has")
        return np.arange(count) / rate_hz, columns, []
    time = values["time"]
    _refuse_broken(time, line)
    lasts = float(time[-1] - time[0])
    rate = (count - 1) / lasts if lasts > 0 else np.inf
    if rate_hz is not None:
        if not np.isfinite(rate) or abs(rate / rate_hz - 1) > TRACE_FILES.other_rate:
            said = f"{rate:,.6g}" if np.isfinite(rate) else "endlessly many"
            raise FileRefused(
                f"its times make {said} samples a second, and {rate_hz:g} are said; leave one of them out"
            )
        return time[0] + np.arange(count) / rate_hz, columns, []
    if not SLOWEST_HZ <= rate <= FASTEST_HZ:
        raise FileRefused(
            f"its times make {rate:,.4g} samples a second; allowed are {SLOWEST_HZ:g} to {FASTEST_HZ:,.0f}: is the time in "
            "ms or µs? write the unit into its heading"
        )
    return _at_one_rate(time, columns)


def _refuse_broken(time: Array, line: npt.NDArray[np.int64]) -> None:
    """FileRefused for times that are no numbers, go back or leave samples out."""
    if not np.isfinite(time).all():
        raise FileRefused(f"line {line[~np.isfinite(time)][0]}: the time is not a number")
    back = np.flatnonzero(np.diff(time) < 0)
    if len(back):
        raise FileRefused(
            f"line {line[back[0] + 1]}: the time goes back from {time[back[0]]:g} to {time[back[0] + 1]:g} s; allowed are "
            "rising times (two recordings in one file?)"
        )
    pause = np.diff(time)
    where = int(np.argmax(pause))
    moves = pause[pause > 0]
    if len(moves) and pause[where] > TRACE_FILES.longest_pause * float(np.median(moves)):
        raise FileRefused(
            f"{pause[where]:.3g} s are missing after line {line[where]}; allowed is a recording without a pause"
        )


def _at_one_rate(time: Array, columns: dict[Kind, Array]) -> tuple[Array, dict[Kind, Array], list[str]]:
    """The columns at even times: as they are where only the times are rounded, else between the samples on straight lines."""
    even = np.linspace(time[0], time[-1], len(time))
    step = float(even[1] - even[0])
    pause = np.diff(time)
    repeated = int((pause == 0).sum())
    resolution = float(pause[pause > 0].min()) if repeated else 0.0
    if np.abs(time - even).max() <= max(TRACE_FILES.even_share * step, resolution):
        return even, columns, ["its times repeat: taken as evenly spaced"] if repeated else []
    rising = np.concatenate([[True], pause > 0])
    grid = np.arange(time[0], time[-1] + step / 2, step)
    laid = {kind: np.interp(grid, time[rising], column[rising]) for kind, column in columns.items()}
    return grid, laid, ["its times are uneven: values between them lie on straight lines"]
