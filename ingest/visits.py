"""Planned visits that were done: what was found, done and read then, in one entry that is stored whole or not at all.

Repairs and the reading of a visit stand under the visit's own origin: they are taken back, and put back, with it.
"""

import json
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any

import pandas as pd
from sqlite_utils import Database

from ingest.admit import load_context
from ingest.entries import Entry, batch_of_entry, confirm, entry_of, store_under
from ingest.fields import FOUND, LONGEST_TEXT, PARTS, READINGS, REPAIRS, Table
from ingest.rules import check
from ingest.service_days import FIRST, LAST, outside_service
from ingest.store import read_table
from ingest.writing import Origin, Place, find, next_number, put, stamp, write_origin, writing

EARLIEST_D = 366  # [d] at most from a visit to its report; our choice: an older day is mistyped

VERSIONS_LOOKED = 200  # versions of the plan that a printed sheet is looked for in; our choice: months of them


@dataclass(frozen=True)
class PlannedVisit:
    """A visit as a plan has it: its lasting name, day, work in words and hours, and the part it is for, "" for none."""

    uid: str
    unit: str
    planned_on: str
    part: str = ""
    job: str = ""
    hours: float = 0.0


@dataclass(frozen=True)
class Report:
    """What whoever did a visit says of it.

    found: one of FOUND; other_part: the part that was at fault instead, "" for none of ours; action, parts: what was done to
    which parts; reading: as `entries.record_reading` takes it, empty for none; confirmed: values of it that were measured twice.
    """

    found: str
    done_on: date
    other_part: str = ""
    action: str = ""
    parts: tuple[str, ...] = ()
    note: str = ""
    reading: Mapping[str, object] = field(default_factory=dict)
    confirmed: Collection[str] = ()


class _NotStored(Exception):
    """Ends the transaction of a report that cannot be stored whole."""

    def __init__(self, entry: Entry) -> None:
        super().__init__()
        self.entry = entry


def close_visit(
    db: Database,
    visit: PlannedVisit,
    report: Report,
    *,
    by: str,
    now: datetime | None = None,
    entry_id: str | None = None,
    device: str = "",
) -> Entry:
    """Store a report with its repairs and its reading, all or nothing; Entry.row_id is the number of the visit.

    Entry.known: this very report (its `entry_id`) is stored already. Entry.problems say what is wrong; among them that
    somebody reported the visit before. ValueError for a visit without a name or of a vehicle that is not there.
    """
    at = now or datetime.now()
    vehicle = find(db, "units", unit=visit.unit)
    if not visit.uid or vehicle is None:
        raise ValueError(
            f"visit is {visit.uid!r} of {visit.unit!r}; allowed is a visit of the plan, of a vehicle that is there"
        )
    first, last = (str(vehicle[name] or "") for name in (FIRST, LAST))
    outside = outside_service(visit.unit, first, last, f"done_on {report.done_on}", report.done_on.isoformat())
    problems = (*problems_of(vars(report) | {"part": visit.part}), *_report_problems(report, at))
    problems = (*problems, outside) if outside else problems
    if problems:
        return Entry(problems=problems)
    try:
        with writing(db):
            before = _reported(db, visit, entry_id)
            return before or _store(db, visit, report, Origin("entry", by, at, file=device, entry_id=entry_id))
    except _NotStored as refused:
        return refused.entry


def problems_of(values: Mapping[str, Any]) -> tuple[str, ...]:
    """What is wrong with found, other_part, note and the part expected, a sentence each."""
    wrong = []
    found, other, part = values["found"], values["other_part"], values["part"]
    if found not in FOUND:
        wrong.append(f"found is {found!r}; allowed are {', '.join(FOUND)}")
    if other and other not in PARTS:
        wrong.append(f"other_part is {other!r}; allowed are {', '.join(PARTS)}, or nothing")
    if other and found != "other":
        wrong.append(
            f"other_part is {other!r} though found is {found!r}; allowed is another part where found is 'other'"
        )
    if other and other == part:
        wrong.append(f"other_part is {other!r}, the part that was expected; allowed is another one, or found 'worn'")
    if found == "worn" and not part:
        wrong.append("found is 'worn' though no part was expected; allowed is 'other', with the part that was worn")
    if len(values["note"]) > LONGEST_TEXT:
        wrong.append(f"note has {len(values['note'])} characters; allowed are {LONGEST_TEXT}")
    return tuple(wrong)


def _report_problems(report: Report, at: datetime) -> Iterator[str]:
    late = (at.date() - report.done_on).days
    if not 0 <= late <= EARLIEST_D:
        yield f"done_on is {report.done_on}; allowed is a day of the past year, today at the latest"
    if bool(report.parts) != bool(report.action):
        yield "parts and action belong together; allowed are both, or none where nothing was done"


def _reported(db: Database, visit: PlannedVisit, entry_id: str | None) -> Entry | None:
    """What to answer where this report, or another of the same visit, is stored already; None for a fresh one."""
    stored = find(db, "visits", uid=visit.uid)
    origin = find(db, "origins", entry_id=entry_id) if entry_id else None
    if stored is None:
        return (
            None if origin is None else Entry(problems=("this report was taken back; allowed is to fill it in anew",))
        )
    if origin is not None and stored["origin_id"] == origin["id"]:
        return Entry(known=True, row_id=int(stored["visit_id"]))
    told = find(db, "origins", id=stored["origin_id"]) or {"by": "", "at": ""}
    return Entry(
        problems=(
            f"the visit of {visit.unit} was reported by {told['by']} on {told['at'][:10]} (visit {stored['visit_id']}); "
            "allowed is to correct that report, or to take it back first",
        )
    )


def _store(db: Database, visit: PlannedVisit, report: Report, origin: Origin) -> Entry:
    place = Place(write_origin(db, origin), origin.file, origin.at)
    day = report.done_on.isoformat()
    for part in dict.fromkeys(report.parts):
        cells = {"unit": visit.unit, "done_on": day, "part": part, "action": report.action, "note": report.note}
        _store_row(db, REPAIRS, cells, place)
    read = Entry()
    if report.reading:
        taken = datetime.combine(report.done_on, origin.at.time())  # reported a day later, it was still measured then
        measured: dict[str, object] = {"taken_at": stamp(taken), **report.reading, "unit": visit.unit}
        read = _store_row(db, READINGS, measured, place, report.confirmed)
    number = next_number(db, "visits")
    row = {
        "visit_id": number, **vars(visit), "done_on": day, "found": report.found, "other_part": report.other_part,
        "note": report.note.strip(), "origin_id": place.origin_id,
    }  # fmt: skip
    put(db, "visits", row)
    return replace(read, stored=True, known=False, row_id=number)


def _store_row(
    db: Database, table: Table, values: Mapping[str, object], place: Place, confirmed: Collection[str] = ()
) -> Entry:
    """Store a row of the report as a person says it now; _NotStored with what is wrong with it."""
    batch, wrong = batch_of_entry(table, values)
    if wrong:
        raise _NotStored(Entry(problems=wrong))
    confirm(batch, confirmed)
    check(batch, load_context(db, place.now))
    entry = entry_of(batch) if batch.problems else store_under(db, batch, place, said_anew=True)
    if entry.problems:
        raise _NotStored(entry)
    return entry


# --- reading them again ----------------------------------------------------------------------------------------------

_REPORTED = """(SELECT v.*, o.by, o.at, u.depot, coalesce((SELECT group_concat(r.part || ' ' || r.action, ';')
    FROM repairs r WHERE r.origin_id = v.origin_id), '') AS work
    FROM visits v JOIN origins o ON o.id = v.origin_id JOIN units u ON u.unit = v.unit)"""
_COLUMNS = (
    "visit_id", "uid", "unit", "depot", "planned_on", "part", "job", "hours", "done_on", "found", "other_part", "work", "note",
    "by", "at",
)  # fmt: skip


def read_visits(db: Database, *, before: date | None = None) -> pd.DataFrame:
    """Return the visits that were reported as done, before the day `before` where one is given, the oldest first.

    Columns: visit_id, uid, unit, depot, planned_on, part (expected, "" for none), job, hours, done_on, found, other_part, work
    (as "battery replaced;ground_path cleaned"), note, by, at.
    """
    days, ids = ("planned_on", "done_on", "at"), ("visit_id",)
    told = ("at", before)
    return read_table(
        db, _REPORTED, _COLUMNS, order="done_on, visit_id", before=told, numbers=("hours",), dates=days, ids=ids
    )


def planned_visit(db: Database, uid: str) -> dict[str, Any] | None:
    """Return a visit as the newest plan that has it says it: the plan's columns, days as text; None for none."""
    late = f"AND plans.version > (SELECT max(version) FROM plans) - {VERSIONS_LOOKED}"
    return next(_planned(db, f"'$.uid') = ? {late} ORDER BY plans.version DESC LIMIT 1", uid), None)


def open_visits(db: Database, unit: str) -> list[dict[str, Any]]:
    """Return the visits of a vehicle in the newest plan that nobody reported yet, as `planned_visit` returns one."""
    newest = "'$.unit') = ? AND plans.version = (SELECT max(version) FROM plans)"
    done = "AND json_extract(visit.value, '$.uid') NOT IN (SELECT uid FROM visits)"
    return list(_planned(db, f"{newest} {done}", unit))


def _planned(db: Database, where: str, value: str) -> Iterator[dict[str, Any]]:
    sql = "SELECT visit.value FROM plans, json_each(plans.body, '$.visits') AS visit WHERE json_extract(visit.value, "
    for row in db.query(sql + where, [value]):
        yield dict(json.loads(row["value"]))


def as_planned(visit: Mapping[str, Any]) -> PlannedVisit:
    """A row of a plan's visits as it is reported."""
    parts, day = list(visit["parts"]), str(visit["visit_on"])[:10]
    return PlannedVisit(
        str(visit["uid"]), str(visit["unit"]), day, parts[0] if parts else "", str(visit["job"]), float(visit["hours"])
    )


def checked_visit(values: Mapping[str, object]) -> dict[str, object]:
    """Return found, other_part and note as they are stored; ValueError says what is not allowed."""
    new = {name: str(values[name] or "").strip() for name in ("found", "other_part", "note")}
    wrong = problems_of(new | {"part": str(values["part"])})
    if wrong:
        raise ValueError("; ".join(wrong))
    return dict(new)
