"""What people decide about the list: weekly lists, decisions, confirmed replacements, plans, settings, devices."""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import pandas as pd
from sqlite_utils import Database

from ingest.fields import PARTS
from ingest.store import read_table
from ingest.writing import Change, find, next_number, put, stamp, write_change, writing

DECISIONS = ("accepted", "measure", "postponed", "nothing_found")
PINS = ("pin", "forbid", "move")
ANSWERS = ("confirmed", "denied")
_WEEK = re.compile(r"^[0-9]{4}-W(?:0[1-9]|[1-4][0-9]|5[0-3])$")


@dataclass(frozen=True)
class WeeklyList:
    """A list as it was issued; `version` counts from 1, `reason` says why it was issued again."""

    iso_week: str
    as_of: str
    issued_at: str
    body: Mapping[str, Any]
    version: int = 1
    by: str = ""
    reason: str = ""


@dataclass(frozen=True)
class Plan:
    version: int
    made_at: str
    by: str
    as_of: str
    weeks: int
    body: Mapping[str, Any]
    note: str


def _allow(name: str, value: str, allowed: Sequence[str]) -> None:
    if value not in allowed:
        raise ValueError(f"{name} is {value!r}; allowed are {', '.join(allowed)}")


def _week(iso_week: str) -> str:
    if not _WEEK.match(iso_week):
        raise ValueError(f"iso_week is {iso_week!r}; allowed is a week such as 2026-W05")
    return iso_week


def _at(now: datetime | None) -> str:
    return stamp(now or datetime.now())


def _known_unit(db: Database, unit: str) -> str:
    if find(db, "units", unit=unit) is None:
        raise ValueError(f"unit is {unit!r}; allowed are the vehicles of the units table")
    return unit


# --- decisions about a vehicle on the list ---------------------------------------------------------------------------


def save_decision(
    db: Database,
    *,
    unit: str,
    iso_week: str,
    kind: str,
    reason: str = "",
    until: date | None = None,
    by: str,
    now: datetime | None = None,
) -> int:
    """Keep what was decided about a vehicle on the list of a week; postponing needs a reason and a date.

    Returns its number; pressed again on the same day by the same person, the number of what is on record already.
    """
    values = {"unit": unit, "iso_week": iso_week, "kind": kind, "reason": reason.strip(), "until": until}
    with writing(db):
        cells = {**checked_decision(db, values), "by": by}
        newest = db.table("decisions").rows_where("unit = ?", [unit], order_by="at DESC, id DESC", limit=1)
        for last in newest:
            if cells.items() <= last.items() and last["at"][:10] == _at(now)[:10]:
                return int(last["id"])
        number = next_number(db, "decisions")
        db.table("decisions").insert({"id": number, **cells, "at": _at(now)})
    return number


def checked_decision(db: Database, values: Mapping[str, object]) -> dict[str, object]:
    """Return unit, iso_week, kind, reason and until as they are stored; ValueError says what is not allowed."""
    kind, reason, until = str(values["kind"]), str(values["reason"] or ""), values["until"]
    _allow("kind", kind, DECISIONS)
    if isinstance(until, str) and until:
        try:
            until = date.fromisoformat(until)
        except ValueError:
            raise ValueError(f"until is {until!r}; allowed is a date as 2026-01-31") from None
    if kind == "postponed" and not (until and reason.strip()):
        raise ValueError("kind is 'postponed' without reason or until; allowed is postponing with both")
    return {
        "unit": _known_unit(db, str(values["unit"])),
        "iso_week": _week(str(values["iso_week"])),
        "kind": kind,
        "reason": reason.strip(),
        "until": until.isoformat() if isinstance(until, date) else None,
    }


def read_decisions(db: Database, *, before: date | None = None) -> pd.DataFrame:
    """Return decisions made before the day `before`: id, unit, iso_week, kind, reason, until, by, at."""
    columns = ("id", "unit", "iso_week", "kind", "reason", "until", "by", "at")
    order, made = "at, id", ("at", before)
    return read_table(db, "decisions", columns, order=order, before=made, dates=("until", "at"), ids=("id",))


def save_reset_answer(
    db: Database, *, unit: str, part: str, around_on: date, answer: str, by: str, now: datetime | None = None
) -> None:
    """Keep a person's answer to "looks replaced around ..., please confirm"; a new answer replaces the old one."""
    _allow("part", part, PARTS)
    _allow("answer", answer, ANSWERS)
    with writing(db):
        key = {"unit": _known_unit(db, unit), "part": part, "around_on": around_on.isoformat()}
        old = find(db, "reset_answers", **key)
        if old and old["answer"] != answer:
            change = Change("reset_answers", "/".join(key.values()), "answer", old["answer"], answer)
            write_change(db, change, by=by, at=now or datetime.now(), reason="answered again")
        put(db, "reset_answers", {**key, "answer": answer, "by": by, "at": _at(now)}, *key)


def read_reset_answers(db: Database) -> pd.DataFrame:
    """Return the answers: unit, part, around_on, answer, by, at."""
    columns, order = ("unit", "part", "around_on", "answer", "by", "at"), "unit, at"
    return read_table(db, "reset_answers", columns, order=order, dates=("around_on", "at"))


def read_findings(db: Database, *, before: date | None = None) -> pd.DataFrame:
    """Return looks that found a part sound, made before the day `before`: unit, part, found_on (when it was put on record).

    Of a visit that found the part it was for sound, that part. Of a decision the one that the list that stood then for its
    week names; "" where that list does not name the vehicle.
    """
    looks = read_table(db, _LOOKS, ("unit", "part", "at"), order="at, id", before=("at", before), dates=("at",))
    return looks.rename(columns={"at": "found_on"})


_LOOKS = """(
    SELECT id, unit, at, coalesce((SELECT json_extract(row.value, '$.part') FROM weekly_lists AS list,
        json_each(list.body, '$.units') AS row WHERE list.iso_week = decisions.iso_week
        AND list.version = (SELECT coalesce(max(iif(issued_at <= decisions.at, version, 1)), 1) FROM weekly_lists
            WHERE iso_week = decisions.iso_week)
        AND json_extract(row.value, '$.unit') = decisions.unit LIMIT 1), '') AS part
    FROM decisions WHERE kind = 'nothing_found'
    UNION ALL SELECT visits.visit_id, visits.unit, origins.at, visits.part FROM visits
    JOIN origins ON origins.id = visits.origin_id WHERE visits.found IN ('sound', 'other') AND visits.part <> '')"""


# --- lists and plans as issued ---------------------------------------------------------------------------------------


def issue_weekly_list(
    db: Database, iso_week: str, *, as_of: date, body: Mapping[str, Any], by: str = "", now: datetime | None = None
) -> bool:
    """Freeze the list of a week; return False, changing nothing, when that week's list was issued already."""
    with writing(db):
        if read_weekly_list(db, iso_week) is not None:
            return False
        _keep_list(db, WeeklyList(_week(iso_week), as_of.isoformat(), _at(now), body, by=by))
    return True


def issue_again(
    db: Database,
    iso_week: str,
    *,
    as_of: date,
    body: Mapping[str, Any],
    by: str,
    reason: str,
    now: datetime | None = None,
) -> int:
    """Freeze another list of a week beside the ones before, and return its version; ValueError without a reason."""
    if not reason.strip():
        raise ValueError("reason is empty; a list is issued again with a reason: any short text")
    with writing(db):
        last = read_weekly_list(db, _week(iso_week))
        if last is None:
            raise ValueError(f"iso_week is {iso_week!r}, of which no list was issued; allowed is a week with a list")
        again = WeeklyList(iso_week, as_of.isoformat(), _at(now), body, last.version + 1, by, reason.strip())
        _keep_list(db, again)
    return again.version


def _keep_list(db: Database, issued: WeeklyList) -> None:
    db.table("weekly_lists").insert({**vars(issued), "body": json.dumps(issued.body, ensure_ascii=False)})


def read_weekly_list(db: Database, iso_week: str, version: int | None = None) -> WeeklyList | None:
    """Return the list issued for a week, the one issued last when `version` is None; None when there is none."""
    where, values = "iso_week = ? AND version = coalesce(?, version)", [iso_week, version]
    rows = db.table("weekly_lists").rows_where(where, values, order_by="version DESC", limit=1)
    return next((WeeklyList(**{**row, "body": json.loads(row["body"])}) for row in rows), None)


def list_versions(db: Database, iso_week: str) -> dict[int, str]:
    """Return when each version of a week's list was issued, latest first."""
    sql = "SELECT version, issued_at FROM weekly_lists WHERE iso_week = ? ORDER BY version DESC"
    rows = db.query(sql, [iso_week])
    return {int(row["version"]): str(row["issued_at"]) for row in rows}


def weekly_lists(db: Database) -> list[str]:
    """Return the weeks with an issued list, latest first."""
    sql = "SELECT DISTINCT iso_week FROM weekly_lists ORDER BY iso_week DESC"
    return [str(row["iso_week"]) for row in db.query(sql)]


def save_plan(
    db: Database, *, as_of: date, weeks: int, body: Mapping[str, Any], by: str = "", now: datetime | None = None
) -> int:
    if weeks < 1:
        raise ValueError(f"weeks is {weeks}; allowed is 1 or more")
    with writing(db):
        text = json.dumps(body, ensure_ascii=False)
        row = {"made_at": _at(now), "by": by, "as_of": as_of.isoformat(), "weeks": weeks, "body": text, "note": ""}
        return put(db, "plans", row)


def read_plan(db: Database, version: int | None = None) -> Plan | None:
    """Return a version of the plan, the latest when `version` is None; None when there is none."""
    rows = db.table("plans").rows_where("version = coalesce(?, version)", [version], order_by="version DESC", limit=1)
    return next((Plan(**{**row, "body": json.loads(row["body"])}) for row in rows), None)


def list_plans(db: Database) -> pd.DataFrame:
    """Return the versions of the plan: version, made_at, by, as_of, weeks, note."""
    columns = ("version", "made_at", "by", "as_of", "weeks", "note")
    return read_table(db, "plans", columns, order="version", dates=("made_at", "as_of"), ids=("version", "weeks"))


def set_pin(
    db: Database, *, unit: str, kind: str, week: str, by: str = "", reason: str = "", now: datetime | None = None
) -> int:
    """Fix a job of a vehicle to a week ('pin'), keep it out of a week ('forbid'), or note a move by hand ('move')."""
    _allow("kind", kind, PINS)
    with writing(db):
        key = {"unit": _known_unit(db, unit), "part": "", "kind": kind, "week": _week(week)}
        put(db, "plan_pins", {**key, "reason": reason, "by": by, "at": _at(now)}, *key)
        row = find(db, "plan_pins", **key)
    assert row is not None
    return int(row["id"])


def remove_pin(db: Database, pin_id: int, *, by: str = "", now: datetime | None = None) -> bool:
    """Take a pin away, keeping it in the audit; False when there is none such."""
    with writing(db):
        row = find(db, "plan_pins", id=pin_id)
        if row is None:
            return False
        pin = "/".join(row[name] for name in ("unit", "part", "kind", "week"))
        change = Change("plan_pins", str(pin_id), "pin", pin, None)
        write_change(db, change, by=by, at=now or datetime.now(), reason="removed")
        db.table("plan_pins").delete(pin_id)
    return True


def read_pins(db: Database) -> pd.DataFrame:
    """Return pins: id, unit, kind, week, reason, by, at."""
    columns = ("id", "unit", "kind", "week", "reason", "by", "at")
    return read_table(db, "plan_pins", columns, order="id", dates=("at",), ids=("id",))


# --- settings and devices --------------------------------------------------------------------------------------------


def read_settings(db: Database) -> dict[str, Any]:
    return {row["key"]: json.loads(row["value"]) for row in db.query("SELECT key, value FROM settings")}


def save_setting(db: Database, key: str, value: Any, *, by: str, now: datetime | None = None) -> None:
    """Keep one setting; the old value goes to the audit."""
    text = json.dumps(value, ensure_ascii=False)
    with writing(db):
        old = find(db, "settings", key=key)
        if old and old["value"] == text:
            return
        change = Change("settings", key, "value", old["value"] if old else None, text)
        write_change(db, change, by=by, at=now or datetime.now(), reason="setting changed")
        put(db, "settings", {"key": key, "value": text, "by": by, "at": _at(now)}, "key")


def read_device(db: Database, device: str) -> dict[str, Any]:
    """Return what a device remembers (units of its meter, clamp scales, recent vehicles); {} when it is new."""
    row = find(db, "devices", device=device)
    return dict(json.loads(row["units"])) if row else {}


def save_device(db: Database, device: str, units: Mapping[str, Any], *, now: datetime | None = None) -> None:
    if not 1 <= len(device) <= 128:
        raise ValueError(f"device has {len(device)} characters; allowed are 1 to 128")
    with writing(db):
        kept = json.dumps(units, ensure_ascii=False)
        put(db, "devices", {"device": device, "units": kept, "at": _at(now)}, "device")
