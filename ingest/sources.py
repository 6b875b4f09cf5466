"""Source descriptions: which heading of a workshop's own file is which of our columns, in which unit and date order."""

import json
import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, cast
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from sqlite_utils import Database

from ingest.bounds import bytes_of
from ingest.errors import FileRefused, SourceProblem
from ingest.fields import CLAMP_COLUMNS, TABLES, Table, conversion
from ingest.values import ORDERS, DateOrder, NumberStyle, clean_text
from ingest.writing import Change, find, put, stamp, write_change, writing

DATE_ORDERS = (*ORDERS, "iso")
MOST_HEADING_ROWS = 3  # our choice: more heading rows than a main, a sub and a unit row are not seen
PARTIAL = ("taken_on", "taken_time")  # a date and a time of day in two columns make taken_at
WORK = "work"  # part and action of a repair in one column of words
ZONE_SHOWN = "Europe/Berlin or America/Denver"
IGNORE = "-"  # a heading described so is left out knowingly
ITS_TITLE = (
    "the sheet's title"  # a vehicle described so under [constants] is the one that the title of each sheet names
)
_NAME = re.compile(r"^[^\s/\\][^/\\]{0,63}$")


@dataclass(frozen=True)
class Source:
    """A checked source description; `columns` maps a heading (as `heading_key` gives it) to our column's name."""

    table: Table
    columns: Mapping[str, str]
    headings: Mapping[str, str]
    skip_rows: int = 0
    heading_rows: int = 1
    sheet: str = ""
    encoding: str = ""
    delimiter: str = ""
    style: NumberStyle = NumberStyle()  # noqa: RUF009 - frozen
    date_order: DateOrder = "iso"
    clamp_mv_per_a: Mapping[str, float] = field(default_factory=dict)
    ignore_rows: tuple[re.Pattern[str], ...] = ()
    constants: Mapping[str, str] = field(default_factory=dict)
    name: str = ""
    utc_to: str = ""


@dataclass(frozen=True)
class SavedSource:
    name: str
    saved_at: str
    saved_by: str
    headings: tuple[str, ...]


def heading_key(text: object) -> str:
    """Return a heading in the form headings are compared: lower case, single blanks, no colon or dot at the end."""
    return " ".join(clean_text(text).split()).casefold().rstrip(":.; ")


# --- reading a description -------------------------------------------------------------------------------------------

_KEYS = {
    "table": str,
    "skip_rows": int,
    "heading_rows": int,
    "sheet": str,
    "encoding": str,
    "delimiter": str,
    "decimal": str,
    "thousands": str,
    "date_order": str,
    "utc_to": str,
    "ignore_rows": list,
    "columns": dict,
    "clamp_mv_per_a": dict,
    "constants": dict,
}


def parse_source(toml_text: str, *, name: str = "") -> Source:
    """Read and check a description; raise SourceProblem with one sentence saying what to change."""
    where = f"source description {name}" if name else "source description"
    try:
        raw = tomllib.loads(toml_text)
    except tomllib.TOMLDecodeError as error:
        raise SourceProblem(f"{where}: not valid TOML: {error}") from error
    for key, value in raw.items():
        if key not in _KEYS:
            raise SourceProblem(f"{where}: {key!r} is not known; allowed are {', '.join(_KEYS)}")
        if not isinstance(value, _KEYS[key]) or isinstance(value, bool):
            raise SourceProblem(f"{where}: {key} is {value!r}; allowed is {_KIND_WORDS[_KEYS[key]]}")
    try:
        return _checked(raw, name)
    except (SourceProblem, ValueError) as error:
        raise SourceProblem(f"{where}: {error}") from error


_KIND_WORDS = {str: "a text in quotes", int: "a whole number", list: "a list of texts", dict: "a section"}


def _checked(raw: Mapping[str, Any], name: str) -> Source:
    table_name = raw.get("table", "readings")
    if table_name not in TABLES:
        raise SourceProblem(f"table is {table_name!r}; allowed are {', '.join(TABLES)}")
    table = TABLES[table_name]
    columns, headings = _columns(raw.get("columns", {}), table)
    constants = {key: str(value) for key, value in raw.get("constants", {}).items()}
    missing = missing_columns([*columns.values(), *constants], table)
    if missing:
        raise SourceProblem(f"no heading is {missing[0]!r}; {table.name} needs {', '.join(missing)}")
    return Source(
        table=table,
        columns=columns,
        headings=headings,
        skip_rows=_whole(raw, "skip_rows", 0, 0, 1000),
        heading_rows=_whole(raw, "heading_rows", 1, 1, MOST_HEADING_ROWS),
        sheet=raw.get("sheet", ""),
        encoding=_encoding(raw.get("encoding", "")),
        delimiter=_delimiter(raw.get("delimiter", "")),
        style=NumberStyle(raw.get("decimal", "."), raw.get("thousands", "")),
        date_order=_date_order(raw, table),
        clamp_mv_per_a=_clamps(raw.get("clamp_mv_per_a", {})),
        ignore_rows=_patterns(raw.get("ignore_rows", [])),
        constants=_constants(constants, table),
        name=name,
        utc_to=_zone(raw.get("utc_to", "")),
    )


def _whole(raw: Mapping[str, Any], key: str, default: int, low: int, high: int) -> int:
    value = int(raw.get(key, default))
    if not low <= value <= high:
        raise SourceProblem(f"{key} is {value}; allowed is {low} to {high}")
    return value


def _columns(raw: Mapping[str, Any], table: Table) -> tuple[dict[str, str], dict[str, str]]:
    columns: dict[str, str] = {}
    headings: dict[str, str] = {}
    for heading, target in raw.items():
        if not isinstance(target, str):
            raise SourceProblem(
                f"column {heading!r} is {target!r}; allowed is the name of one of our columns in quotes"
            )
        if target == IGNORE:
            columns[heading_key(heading)], headings[heading_key(heading)] = IGNORE, heading
            continue
        if target_of(target, table) is None:
            raise SourceProblem(
                f"column {heading!r} is {target!r}, which {table.name} does not have; allowed are "
                f"{', '.join((*table.names, *((WORK,) if table.name == 'repairs' else ())))}, the same with _mv, _f, _mi for other units, "
                f'{", ".join(CLAMP_COLUMNS)} for clamp outputs, or "-" to leave it out'
            )
        if target_of(target, table) in {target_of(other, table) for other in columns.values() if other != IGNORE}:
            raise SourceProblem(
                f'two headings are {target_of(target, table)}, one of them {heading!r}; name one of them "-"'
            )
        columns[heading_key(heading)], headings[heading_key(heading)] = target, heading
    return columns, headings


def target_of(name: str, table: Table) -> str | None:
    """Return the column of `table` that `name` (ours, or ours in another unit) fills; None when there is none."""
    if (table.name == "readings" and name in PARTIAL) or (table.name == "repairs" and name == WORK):
        return name
    if name in table.names:
        return name
    found = conversion(name)
    return found.column if found and found.column in table.names else None


def columns_filled(names: Iterable[str], table: Table) -> set[str]:
    """Return the columns of `table` that `names` fill; a day in a column of its own makes the time of a reading, work in words
    part and action of a repair."""
    filled = {ours for name in names if (ours := target_of(name, table))}
    return (
        filled | ({"taken_at"} if "taken_on" in filled else set()) | ({"part", "action"} if WORK in filled else set())
    )


def missing_columns(names: Iterable[str], table: Table) -> list[str]:
    """Return the columns that every row of `table` must have and that `names` do not fill."""
    filled = columns_filled(names, table)
    return [column.name for column in table.columns if column.required and column.name not in filled]


def _date_order(raw: Mapping[str, Any], table: Table) -> DateOrder:
    order = raw.get("date_order", "?" if any(c.kind in ("date", "time") for c in table.columns) else "iso")
    if order == "?":
        raise SourceProblem(
            "date_order is not settled; a date such as 05/06/2022 or 26-11-25 can be read in several ways: "
            f"write {', '.join(ORDERS)} or iso"
        )
    if order not in DATE_ORDERS:
        raise SourceProblem(f"date_order is {order!r}; allowed are {', '.join(DATE_ORDERS)}")
    return cast(DateOrder, order)


def _zone(name: str) -> str:
    """A time zone whose clock the times of a file in UTC are told by, "" for none."""
    if name == "?":
        raise SourceProblem(
            f"utc_to is not settled; its times are in UTC: write the time zone of its depots, as {ZONE_SHOWN}"
        )
    try:
        return name and ZoneInfo(name).key
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise SourceProblem(f"utc_to is {name!r}; allowed is a time zone such as {ZONE_SHOWN}") from None


def _encoding(name: str) -> str:
    try:
        "".encode(name or "utf-8")
    except LookupError as error:
        raise SourceProblem(f"encoding is {name!r}; allowed are names such as utf-8, utf-16, cp1252") from error
    return name


def _delimiter(mark: str) -> str:
    mark = {"tab": "\t", "\\t": "\t"}.get(mark, mark)
    if len(mark) > 1 or mark in ('"', "\n", "\r"):
        raise SourceProblem(f"delimiter is {mark!r}; allowed is one character such as ',' ';' or 'tab'")
    return mark


def _clamps(raw: Mapping[str, Any]) -> dict[str, float]:
    for column, scale in raw.items():
        if column not in CLAMP_COLUMNS:
            raise SourceProblem(f"clamp {column!r} is not known; allowed are {', '.join(CLAMP_COLUMNS)}")
        if isinstance(scale, bool) or not isinstance(scale, (int, float)) or not 0 < scale <= 10_000:
            raise SourceProblem(
                f"the scale of {column} is {scale!r}; allowed is a number of mV per A above 0, such as 1 or 100"
            )
    return {column: float(scale) for column, scale in raw.items()}


def _patterns(raw: Sequence[object]) -> tuple[re.Pattern[str], ...]:
    out = []
    for text in raw:
        try:
            out.append(re.compile(str(text)))
        except re.error as error:
            raise SourceProblem(f"ignore_rows has {text!r}, which is not a pattern: {error}") from error
    return tuple(out)


def _constants(raw: Mapping[str, str], table: Table) -> dict[str, str]:
    for column in raw:
        if column not in table.names:
            raise SourceProblem(
                f"constant {column!r} is not a column of {table.name}; allowed are {', '.join(table.names)}"
            )
    return dict(raw)


# --- descriptions in the database ------------------------------------------------------------------------------------


def save_source(db: Database, name: str, toml_text: str, *, by: str = "command", now: datetime | None = None) -> Source:
    """Check the description and keep it under `name`; an older one of that name goes to the audit."""
    if not _NAME.match(name):
        raise SourceProblem(f"the name {name!r} cannot be used; allowed are 1 to 64 characters without slashes")
    source = parse_source(toml_text, name=name)
    at = now or datetime.now()
    headings = json.dumps(sorted(source.headings.values()), ensure_ascii=False)
    with writing(db):
        old = find(db, "sources", name=name)
        if old and old["toml"] != toml_text:
            change = Change("sources", name, "toml", old["toml"], toml_text)
            write_change(db, change, by=by, at=at, reason="saved again")
        row = {"name": name, "toml": toml_text, "headings": headings, "saved_at": stamp(at), "saved_by": by}
        put(db, "sources", row, "name")
    return source


def list_sources(db: Database) -> list[SavedSource]:
    return [
        SavedSource(row["name"], row["saved_at"], row["saved_by"], tuple(json.loads(row["headings"])))
        for row in db.query("SELECT * FROM sources ORDER BY name")
    ]


def read_source(db: Database, name: str) -> str:
    """Return the TOML text saved under `name`; raise SourceProblem naming what there is."""
    row = find(db, "sources", name=name)
    if row is None:
        names = [source.name for source in list_sources(db)]
        raise SourceProblem(f"there is no source {name!r}; there are {', '.join(names) if names else 'none yet'}")
    return str(row["toml"])


def saved_sources(db: Database) -> list[Source]:
    return [parse_source(row["toml"], name=row["name"]) for row in db.query("SELECT * FROM sources ORDER BY name")]


def find_source(db: Database, name_or_file: str) -> Source:
    """Return the description saved under a name, or read from a TOML file."""
    file = Path(name_or_file)
    if find(db, "sources", name=name_or_file) is None and (file.suffix == ".toml" or file.is_file()):
        try:
            return parse_source(bytes_of(file).decode("utf-8"), name=file.name)
        except (FileRefused, UnicodeDecodeError) as error:
            raise SourceProblem(f"the source description {name_or_file} cannot be read: {error}") from error
    return parse_source(read_source(db, name_or_file), name=name_or_file)
