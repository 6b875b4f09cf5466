"""What a person enters: one reading or repair, checked like any row of a file."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np
from sqlite_utils import Database

from ingest.admit import admit_good, load_context
from ingest.admit_readings import judge_readings
from ingest.cells import Batch, batch_of, one_row_block
from ingest.fields import CLAMP_COLUMNS, QUANTITIES, READINGS, REPAIRS, Table, conversion
from ingest.former import former_rows
from ingest.layout import Layout
from ingest.rules import check
from ingest.sources import PARTIAL, target_of
from ingest.values import is_empty, plain_float
from ingest.writing import ROW_NUMBERS, Origin, Place, find, stamp, write_origin, writing

COMMA_IS_DECIMAL = ("V", "°C", "s")  # in these units nobody groups thousands, so a typed comma is a decimal one


@dataclass(frozen=True)
class Entry:
    """What became of an entry: stored (or `known`: it was there already), or why not, and what is doubtful about it.

    doubts: one sentence for each of `doubtful`; confirmed: measurements that were taken twice; change: the number of a
    correction, by which it can be undone.
    """

    stored: bool = False
    known: bool = False
    row_id: int | None = None
    problems: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    doubtful: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    values: Mapping[str, object] = field(default_factory=dict)
    confirmed: tuple[str, ...] = ()
    change: int | None = None

    def as_reading(self) -> dict[str, object]:
        """The entry as a row of the readings: values, and names of the doubtful ones and of those measured twice."""
        return {**self.values, "doubtful": ",".join(self.doubtful), "confirmed": ",".join(self.confirmed)}


def check_reading(
    db: Database, values: Mapping[str, object], *, now: datetime | None = None, confirmed: Collection[str] = ()
) -> Entry:
    """Say what would become of a reading without storing it.

    `values`: our columns or the same in other units (`drop_ground_mv`, `temperature_f`, `crank_clamp_mv` with
    `crank_clamp_mv_per_a` for its scale); numbers or text ("0,12", "850 mV"). `taken_at` is now when not given.
    `confirmed`: measurements that were taken twice: no rule of plausible change doubts them, and the season at the depot
    does not set the air's temperature aside; what physics forbids stays forbidden. ValueError for another name.
    """
    at = now or datetime.now()
    batch, wrong = batch_of_entry(READINGS, _with_time(values, at))
    if wrong:
        return Entry(problems=wrong)
    confirm(batch, confirmed)
    context = load_context(db, at)
    check(batch, context)
    _refuse_former(db, batch)
    judged = judge_readings(db, batch, context)
    entry = entry_of(batch, known=judged.known > 0)
    return doubted(entry, str(judged.names[0]), str(judged.reasons[0])) if len(judged.new_rows) else entry


def record_reading(
    db: Database,
    values: Mapping[str, object],
    *,
    by: str,
    now: datetime | None = None,
    entry_id: str | None = None,
    device: str = "",
    confirmed: Collection[str] = (),
) -> Entry:
    """Store one reading if it passes the checks; see `check_reading` for `values` and `confirmed`.

    `entry_id`: made by the form, so that sending the same entry again changes nothing.
    """
    at = now or datetime.now()
    origin = Origin("entry", by, at, file=device, entry_id=entry_id)
    return _record(db, READINGS, _with_time(values, at), origin, confirmed)


def record_repair(
    db: Database, values: Mapping[str, object], *, by: str, now: datetime | None = None, entry_id: str | None = None
) -> Entry:
    """Store one repair (unit, done_on, part, action, reason, note) if it passes; `done_on` is today if not given."""
    at = now or datetime.now()
    given = {"done_on": at.date().isoformat(), **{k: v for k, v in values.items() if k != "done_on" or not is_empty(v)}}
    return _record(db, REPAIRS, given, Origin("entry", by, at, entry_id=entry_id))


def _with_time(values: Mapping[str, object], at: datetime) -> dict[str, object]:
    given = {name: value for name, value in values.items() if name != "taken_at" or not is_empty(value)}
    return given if "taken_on" in given else {"taken_at": stamp(at), **given}


def confirm(batch: Batch, names: Collection[str]) -> None:
    for name in names:
        if name not in QUANTITIES:
            raise ValueError(f"confirmed names {name!r}; allowed are {', '.join(QUANTITIES)}")
    batch.confirmed = {0: frozenset(n for n in names if n in batch.numbers and not np.isnan(batch.numbers[n][0]))}


def _record(
    db: Database, table: Table, values: Mapping[str, object], origin: Origin, confirmed: Collection[str] = ()
) -> Entry:
    batch, wrong = batch_of_entry(table, values)
    if wrong:
        return Entry(problems=wrong)
    confirm(batch, confirmed)
    with writing(db):
        resent = _resent(db, table, origin.entry_id)
        if resent is not None:
            return replace(entry_of(batch, known=True), row_id=resent, problems=())
        context = load_context(db, origin.at)
        check(batch, context)
        if batch.problems:
            return entry_of(batch)
        return store_checked(db, batch, origin, file=origin.file)


def store_checked(db: Database, batch: Batch, origin: Origin, *, file: str) -> Entry:
    """Store the single row of a checked batch under a new origin; inside a transaction."""
    _refuse_former(db, batch)
    if batch.problems:
        return entry_of(batch)
    origin_id = write_origin(db, origin)
    entry = store_under(db, batch, Place(origin_id, file, origin.at))
    if not entry.stored:
        db.table("origins").delete(origin_id)
    return entry


def store_under(db: Database, batch: Batch, place: Place, *, said_anew: bool = False) -> Entry:
    """Store the single row of a checked batch under an origin that is there; said_anew: as in `admit_good`."""
    result = admit_good(db, batch, load_context(db, place.now), place, said_anew=said_anew)
    entry = entry_of(batch, known=result.known > 0, stored=result.stored > 0)
    if batch.problems:
        return entry
    return with_doubts(db, batch.table.name, replace(entry, row_id=_row_id(db, batch)))


def with_doubts(db: Database, table: str, entry: Entry) -> Entry:
    """The entry with what the row of its number is doubted for, where that is a reading."""
    row = find(db, table, reading_id=entry.row_id) if table == READINGS.name else None
    return doubted(entry, row["doubtful"], row["doubt_reason"]) if row else entry


def doubted(entry: Entry, names: str, reasons: str) -> Entry:
    """The entry with its doubtful measurements and one reason for each; a reason may hold semicolons itself."""
    doubtful = tuple(part for part in names.split(",") if part)
    said: list[str] = []
    for part in reasons.split("; ") if reasons else []:
        begins = len(said) < len(doubtful) and part.startswith(doubtful[len(said)])
        said = [*said, part] if begins or not said else [*said[:-1], f"{said[-1]}; {part}"]
    return replace(entry, doubts=tuple(said), doubtful=doubtful)


def _resent(db: Database, table: Table, entry_id: str | None) -> int | None:
    if entry_id is None:
        return None
    origin = find(db, "origins", entry_id=entry_id)
    found = find(db, table.name, origin_id=origin["id"]) if origin else None
    return int(found[ROW_NUMBERS[table.name]]) if found else None


def _row_id(db: Database, batch: Batch) -> int | None:
    if batch.table.name not in ROW_NUMBERS:
        return None
    row = find(db, batch.table.name, **batch.stored(0, batch.table.key))
    return int(row[ROW_NUMBERS[batch.table.name]]) if row else None


def _refuse_former(db: Database, batch: Batch) -> None:
    """Give an entry a problem when a row said the same and was withdrawn, or corrected to another vehicle or time."""
    for row, old in former_rows(db, batch).items():
        if _row_id(db, batch) is None:
            ended = next(db.query("SELECT * FROM audit WHERE origin_id = ? LIMIT 1", [old.change]))
            batch.problems[row] = [
                f"{batch.table.name[:-1]} {old.row_id} said the same until it was withdrawn or corrected on {ended['at'][:10]} by "
                f"{ended['by']} ({ended['reason']}); allowed is to undo that (change {old.change}), or another time"
            ]


def entry_of(batch: Batch, *, known: bool = False, stored: bool = False) -> Entry:
    return Entry(
        stored=stored,
        known=known,
        problems=tuple(dict.fromkeys(batch.problems.get(0, ()))),
        remarks=tuple(batch.remarks.get(0, ())),
        values=batch.cells(0),
        confirmed=tuple(sorted(batch.confirmed.get(0, ()))),
    )


# --- a row from named values -----------------------------------------------------------------------------------------


def batch_of_entry(table: Table, values: Mapping[str, object]) -> tuple[Batch, tuple[str, ...]]:
    """Return a batch of one row, and what is wrong with the names of its values."""
    scales, wrong = _scales(values)
    cells: dict[str, object] = {}
    filled: dict[str, str] = {}
    for name, value in values.items():
        if name.removesuffix("_per_a") in CLAMP_COLUMNS and name.endswith("_per_a"):
            continue
        ours = target_of(name, table)
        if ours is None:
            wrong.append(f"{name!r} is not a column of {table.name}; allowed are {', '.join(table.names)}")
        elif ours in filled and not is_empty(value):
            wrong.append(f"{name} and {filled[ours]} are both given; allowed is one of them")
        elif not is_empty(value) or not any(ours == target_of(other, table) for other in cells):
            cells[name] = _typed_value(ours, value)
            if not is_empty(value):
                filled[ours] = name
    targets = tuple(cells)
    layout = Layout(
        table=table,
        heading_line=0,
        headings=targets,
        targets=targets,
        conversions=tuple(conversion(t, scales.get(t)) if t not in PARTIAL else None for t in targets),
    )
    return batch_of(layout, [one_row_block(list(cells.values()))]), tuple(wrong)


def _scales(values: Mapping[str, object]) -> tuple[dict[str, float], list[str]]:
    scales: dict[str, float] = {}
    wrong = []
    for name, value in values.items():
        column = name.removesuffix("_per_a")
        if column == name or column not in CLAMP_COLUMNS or is_empty(value):
            continue
        try:
            scale = plain_float(str(value))
        except ValueError:
            scale = float("nan")
        if not 0 < scale <= 10_000:
            wrong.append(f"{name} is {value!r}; allowed is a number of mV per A above 0, such as 1 or 100")
        else:
            scales[column] = scale
    return scales, wrong


def _typed_value(ours: str, value: object) -> object:
    """Read a typed comma as decimal where thousands cannot be meant."""
    quantity = QUANTITIES.get(ours)
    if isinstance(value, str) and quantity and quantity.unit in COMMA_IS_DECIMAL and "." not in value:
        return value.replace(",", ".") if value.count(",") == 1 else value
    return value


def merged_values(table: Table, old: Mapping[str, object], changes: Mapping[str, object]) -> dict[str, object]:
    """Return the old values with the changes put over them, whatever unit a change comes in."""
    touched = {target_of(name, table) for name in changes}
    kept = {name: value for name, value in old.items() if target_of(name, table) not in touched}
    return {**kept, **changes}
