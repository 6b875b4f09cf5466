"""Tables of on-board diagnostics over time: a column of time beside one column a signal, or beside names and values."""

import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from ingest.bounds import LONGEST_LINE, MOST_COLUMNS, table_bytes
from ingest.bus_codes import AMBIENT_C, BATTERY_V, COOLANT_C, ENGINE_RPM, PIDS
from ingest.bus_logs import Gathered, moment_s
from ingest.errors import FileRefused
from ingest.sheets import HEAD_ROWS
from ingest.texts import decode, sniff_delimiter
from ingest.values import SECONDS, parse_time, plain_float, unit_factor
from ingest.vocabulary import folded, unit_in_heading

_PID = re.compile(r"^(?:pid\s*)?(?:0x)?(?:01\s?)?(?:0x)?(0c|42|05|46)$")
_NAMES = (  # the first that fits; a vehicle's speed is no engine's, oil and intake are no coolant
    (
        ENGINE_RPM,
        re.compile(
            r"\brpm\b|engine ?speed|\beng ?spe?e?d\b|drehzahl|u/min|tr/min|regime moteur|\bgiri\b|toerental|varvtal|\bobroty"
        ),
    ),
    (
        BATTERY_V,
        re.compile(r"\bvolt(?:s|age)?\b|\bbatt?\w* ?m?v(?:olt\w*)?\b|\bbatt?\w* .*pot|\b[uv] ?batt?\w*\b|spannung"),
    ),
    (
        COOLANT_C,
        re.compile(r"coolant|\bect\b|kuhlmittel|kuhlwasser|refroidissement|refrigerante|koelvloeistof|kylv[ae]"),
    ),
    (AMBIENT_C, re.compile(r"ambient|\baat\b|outside|aussen|\bexterieur")),
)
_BATTERY = re.compile(r"^batt?(?:ery|erie)?$")  # alone it may be its charge or temperature: its unit tells
_NOT = re.compile(r"vehicle speed|sensor|o2|lambda|\bair flow|fuel|oil|intake|throttle|pedal|turbo|crank")
TIME = re.compile(
    r"\btime|timestamp|zeit|\bheure\b|\btemps\b|\bhora\b|\btiempo|elapsed|\bseconds?\b|^ts?$|^t \w+$|^m?s$"
)
_CODE = re.compile(r"^(?:pid|parameter|signal|name)s?$")
_VALUE = re.compile(r"^(?:value|wert|valeur|valor)s?$")
_UNIT = re.compile(r"[\(\[]\s*([^()\[\]]{1,12}?)\s*[\)\]]")
_CLOCK = re.compile(r"^([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}(?:[.,][0-9]{1,9})?))?$")
_PART_OF_SECOND = re.compile(r":[0-9]{2}[.:][0-9]{2}[.,]([0-9]{1,9})(?![0-9])")
DAY_S = 86_400.0


@dataclass(frozen=True)
class Columns:
    """Where things stand: time and its factor to seconds, and either signals with factor and offset or code and value."""

    time: int
    per_second: float
    signals: dict[int, tuple[str, float, float]]
    code: int = -1
    value: int = -1


def signal_of(heading: str) -> str:
    """The signal that a heading or a name means; '' for none."""
    text = folded(_UNIT.sub(" ", heading).replace("_", " "))
    if (pid := _PID.match(text)) is not None:
        return PIDS[int(pid[1], 16)].signal
    if _NOT.search(text):
        return ""
    if _BATTERY.match(text) and unit_in_heading(heading).casefold() in ("v", "mv"):
        return BATTERY_V
    return next((signal for signal, words in _NAMES if words.search(text)), "")


def read_table(file: Path, gathered: Gathered) -> None:
    """Read a CSV of signals over time; FileRefused for one that is none."""
    pieces, _ = decode(table_bytes(file))
    delimiter = sniff_delimiter(pieces[0])
    rows = csv.reader(_lines(pieces), delimiter=delimiter)
    columns = _heading(rows)
    comma = delimiter != ","
    midnight, last = 0.0, -1.0
    for row in _counted(rows):
        if not any(row):
            continue
        time_s = _time(row[columns.time], columns.per_second, comma) if columns.time < len(row) else None
        if time_s is None:
            gathered.unread += 1
            continue
        if _CLOCK.match(row[columns.time].strip()):  # a time of day goes on past midnight
            midnight += DAY_S if time_s + midnight < last - DAY_S / 2.0 else 0.0
            time_s += midnight
            last = time_s
        for signal, value in _values(row, columns, comma):
            gathered.add(signal, "table", time_s, value)


def _lines(pieces: Sequence[str]) -> Iterator[str]:
    for piece in pieces:
        for line in piece.splitlines(keepends=True):
            if len(line) > LONGEST_LINE:
                raise FileRefused(f"a line has {len(line):,} characters; allowed are {LONGEST_LINE:,}")
            yield line


def _counted(rows: Iterator[list[str]]) -> Iterator[list[str]]:
    """The rows, with the sentence of a table that cannot be taken apart."""
    while True:
        try:
            row = next(rows, None)
        except csv.Error as error:
            raise FileRefused(f"it is no table of signals over time ({error})") from error
        if row is None:
            return
        yield row


def _heading(rows: Iterator[list[str]]) -> Columns:
    """The first row that names a time and the engine's speed, or a time, codes and values."""
    for _, row in zip(range(HEAD_ROWS), _counted(rows), strict=False):
        if len(row) > MOST_COLUMNS:
            break
        if (columns := columns_of(row)) is not None:
            return columns
    raise FileRefused(
        "it is no log that can be read: allowed are candump text with its times, MDF4, and a table with a time and the "
        "engine's speed (or PID 0C) in its heading, or with time, PID and value"
    )


def columns_of(row: Sequence[str]) -> Columns | None:
    """Where things stand under a heading that names a time and the engine's speed, or a time, codes and values."""
    names = [folded(_UNIT.sub(" ", cell)).replace("_", " ") for cell in row]
    times = [k for k, name in enumerate(names) if TIME.search(name) and not signal_of(row[k])]
    found = {k: signal for k, cell in enumerate(row) if (signal := signal_of(cell))}
    if not times:
        return None
    per_second = _seconds_of(row[times[0]])
    if ENGINE_RPM in found.values():
        first = {signal: k for k, signal in reversed(found.items())}
        return Columns(times[0], per_second, {k: (s, *unit_factor(unit_in_heading(row[k]))) for s, k in first.items()})
    code = next((k for k, name in enumerate(names) if _CODE.match(name)), -1)
    value = next((k for k, name in enumerate(names) if _VALUE.match(name)), -1)
    return Columns(times[0], per_second, {}, code, value) if code >= 0 and value >= 0 else None


def _seconds_of(heading: str) -> float:
    """What a heading's unit of time is in seconds, in brackets or its last word; 1 where it names none."""
    found = _UNIT.search(heading)
    unit = found[1] if found else re.split(r"[\s,/_]+", heading.strip())[-1]
    return SECONDS.get(unit.casefold(), 1.0)


def _time(cell: str, per_second: float, comma: bool) -> float | None:
    """A cell as seconds: a number, a time of day, or a date with one."""
    number = _number(cell, comma)
    if number is not None:
        return number * per_second
    text = cell.strip()
    if (clock := _CLOCK.match(text)) is not None:
        return 3600.0 * int(clock[1]) + 60.0 * int(clock[2]) + plain_float(clock[3] or "0")
    if (moment := moment_s(text.replace(",", "."))) is not None:
        return moment
    parsed = parse_time(text).value
    if parsed is None or parsed.year <= 1970:
        return None
    part = _PART_OF_SECOND.search(text)
    return parsed.timestamp() + (float(f"0.{part[1]}") if part else 0.0)


def _number(cell: str, comma: bool) -> float | None:
    """A cell as a number; a comma is a decimal one where it parts no columns."""
    try:
        return plain_float(cell) if comma else float(cell)
    except ValueError:
        return None


def _values(row: Sequence[str], columns: Columns, comma: bool) -> Iterator[tuple[str, float]]:
    if columns.code >= 0:
        if max(columns.code, columns.value) < len(row) and (signal := signal_of(row[columns.code])):
            value = _number(row[columns.value], comma)
            if value is not None:
                yield signal, value
        return
    for k, (signal, factor, offset) in columns.signals.items():
        value = _number(row[k], comma) if k < len(row) else None
        if value is not None:
            yield signal, value * factor + offset
