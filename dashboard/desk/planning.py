"""From the database to a plan: reads what the plan needs, keeps every version, finds the last one again."""

import hashlib
import json
import os
import pickle
import sys
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

import numpy as np
import pandas as pd
from sqlite_utils import Database

from analysis.costs import PlanSettings, settings_from_mapping
from analysis.plan.candidates import complete_catalogue
from analysis.plan.done import Outdated, outdated, with_done
from analysis.plan.replacement_plan import PlanInputs, ReplacementPlan, plan_replacements
from analysis.worklist.assess import Assessment
from dashboard.desk.assessment import COSTS_KEY, Terms, assess_database, measured_next, parts_of, seen_to, terms_of
from dashboard.desk.kept_assessment import KEPT, folder_of, forget_old, program, read_kept, write_kept
from dashboard.desk.kept_readings import read_readings
from dashboard.desk.refusals import PlanRefused
from dashboard.desk.weekly import latest_decisions
from dashboard.words import plan_page
from dashboard.words.every_page import NOT_NAMED, ON_AT, SOMEBODY
from dashboard.words.plain_text import day as day_words
from dashboard.words.plan_words import with_words
from ingest import store
from ingest.fields import PART_PRICES, PARTS
from ingest.records import list_plans, read_decisions, read_pins, read_plan, read_settings, save_plan, save_setting
from ingest.sheet_edits import SHEETS, Edit, save_edits
from ingest.visits import read_visits
from ingest.writing import first, writing

SETTING_KEY = COSTS_KEY
PART_COLUMNS = ("part", "price", "labour_h", "lead_days")
PLAN_WEEKS = 13
"""Weeks of a plan unless the user says otherwise (our choice: a quarter of a year)."""


_STDOUT_LOCK = threading.Lock()  # standard output is the process's: one planner at a time may turn it aside


TOLD_DIGITS = 2  # decimals of a figure that make another plan of it, our choice
SUFFIX = ".plan"  # of the file beside the database that says which question the plan on record answers
MOST_TRIES = 4  # times that a plan is made anew because another planner was quicker, our choice


class Overtaken(Exception):
    """Another person changed the plan since it was looked at; the text says what, who and when."""


@dataclass(frozen=True)
class Seen:
    """What a planner had in view: the newest version, and the pins as (vehicle, kind, week, by, at)."""

    version: int
    pins: tuple[tuple[str, str, str, str, pd.Timestamp], ...]


def seen_now(db: Database) -> Seen:
    versions, pins = list_plans(db), read_pins(db)
    rows = pins[["unit", "kind", "week", "by", "at"]].itertuples(index=False, name=None)
    return Seen(int(versions["version"].max()) if len(versions) else 0, tuple(rows))


def refuse_if_overtaken(db: Database, seen: Seen) -> None:
    """Raise Overtaken when a pin or a version came, or a pin went, after what was `seen`."""
    now = seen_now(db)
    told = [
        plan_page.WAS_PINNED.format(unit=unit, pinned=pin_words(kind), week=week, by=named(by), when=when(at))
        for unit, kind, week, by, at in now.pins if (unit, kind, week, by, at) not in seen.pins
    ]  # fmt: skip
    told += [
        plan_page.NO_LONGER.format(unit=unit, pinned=pin_words(kind), week=week)
        for unit, kind, week, by, at in seen.pins
        if (unit, kind, week) not in {pin[:3] for pin in now.pins} and unit not in {pin[0] for pin in now.pins}
    ]
    if not told and now.version != seen.version:
        newest = list_plans(db).iloc[-1]
        told = [
            plan_page.VERSION_CAME.format(version=now.version, by=named(newest["by"]), when=when(newest["made_at"]))
        ]
    if told or now != seen:
        raise Overtaken(plan_page.SINCE_OPENED.format(told="; ".join(told) or plan_page.PIN_RENEWED))


def pin_words(kind: str) -> str:
    """What a pin does to a vehicle, before the week."""
    return plan_page.KEPT_OUT if kind == "forbid" else plan_page.FIXED


def named(by: object) -> str:
    """Who it was, within a sentence."""
    return SOMEBODY if by in ("", NOT_NAMED) else str(by)


def when(moment: pd.Timestamp) -> str:
    return ON_AT.format(day=day_words(moment), time=moment)


def inputs_of(db: Database, found: Assessment, fleet: pd.DataFrame, pins: pd.DataFrame, as_of: date) -> PlanInputs:
    """What a plan is made from: an assessment of the day, the workshop's tables, decisions, and the pins to be kept."""
    readings, terms = read_readings(db, before=as_of), terms_of(db, as_of)
    return PlanInputs(
        outlook=found.outlook, beyond=found.beyond, units=found.units, parts=found.parts, catalogue=store.read_parts(db),
        services=store.read_services(db), workshops=store.read_workshops(db),
        workshop_days=store.read_workshop_days(db), closures=store.read_closures(db),
        fleet=fleet,
        repairs=store.read_repairs(db, before=as_of), pins=pins, decisions=read_decisions(db), done=read_visits(db),
        measure=measures_of(found, readings, terms), beside=seen_to(found, readings, terms.book),
    )  # fmt: skip


def measures_of(found: Assessment, readings: pd.DataFrame, terms: Terms) -> dict[str, str]:
    """What is measured before anything is done to the vehicles that may be planned, "" for nothing; by the list's rule."""
    watched = found.units[found.units["unit"].isin(set(found.outlook["unit"]))]
    asked = measured_next(watched, parts_of(found, watched), readings, terms)
    return {unit: sentence or "" for unit, sentence in asked.items()}


def make_plan(
    db: Database,
    *,
    as_of: date,
    weeks: int = PLAN_WEEKS,
    assessment: Assessment | None = None,
    save: bool = True,
    by: str = "command",
    now: datetime | None = None,
    seen: Seen | None = None,
) -> ReplacementPlan:
    """Plan the coming weeks with what was known at the start of `as_of`, and keep it as a new version.

    assessment: of the same day, if there is one already; seen: what the planner had in view. Where nothing differs from
    the last version, that one is returned. A version that another planner keeps meanwhile is built upon, never passed by.
    Raises Overtaken when something came after what was `seen`, ValueError for weeks outside 1 to 26, PlanRefused for no
    vehicles or unusable settings, and what `assess_database` raises where there is nothing to assess. A plan that answers
    the same question is not made again: which one the last plan answered stands beside the database.
    """
    day = as_of.date() if isinstance(as_of, datetime) else as_of
    fleet = store.read_units(db)
    if fleet.empty:
        raise PlanRefused("The database has no vehicles yet, so there is nothing to plan: import a units file first.")
    found = assessment or assess_database(db, as_of=day)
    for _ in range(MOST_TRIES):
        if seen is not None:
            refuse_if_overtaken(db, seen)
        base = seen_now(db)
        last = load_plan(db)
        inputs, settings = inputs_of(db, found, fleet, read_pins(db), day), plan_settings(db)
        asked = hashlib.sha256(pickle.dumps((program(), inputs, settings, last, day, weeks))).hexdigest() + SUFFIX
        folder = folder_of(db)
        if save and last is not None and folder is not None and read_kept(folder / asked) is True:
            return last
        plan = _made(db, inputs, settings, last, day, weeks)
        if not save:
            return plan
        with writing(db):
            if seen_now(db) != base:
                continue
            if last is not None and _same(plan, last):
                if folder is not None:
                    write_kept(folder / asked, True)
                    forget_old(folder, SUFFIX, KEPT)
                return last
            version = save_plan(db, as_of=day, weeks=weeks, body=plan.to_body(), by=by, now=now)
            return replace(plan, version=version)
    raise PlanRefused("Others are changing the plan at this moment; plan again in a minute.")


def _made(
    db: Database, inputs: PlanInputs, settings: PlanSettings, last: ReplacementPlan | None, day: date, weeks: int
) -> ReplacementPlan:
    """A plan on top of the last version, unless that is of a later day; nothing is kept."""
    previous = last if last is not None and last.as_of <= pd.Timestamp(day) else None
    with _solver_talk_to_stderr():
        plan = plan_replacements(inputs, as_of=pd.Timestamp(day), weeks=weeks, settings=settings, previous=previous)
    return with_words(replace(plan, summary={**plan.summary, "made_with": made_with(db)}))


def _same(plan: ReplacementPlan, last: ReplacementPlan) -> bool:
    """Whether nothing that anyone is told has changed: visits, cancellations, figures, notes and settings."""

    def told(one: ReplacementPlan) -> list[Any]:
        visits = one.visits.assign(state=one.visits["state"] == "pinned")
        frames = (visits, one.cancelled, one.left_out, one.orders, one.hours, one.policies, one.done, one.act_by_missed)
        tables = [frame.copy() for frame in frames]
        for frame in tables:
            for column in frame.select_dtypes("float"):
                frame[column] = frame[column].round(TOLD_DIGITS) + 0.0  # no minus zero
        figures = [frame.astype(str).to_numpy().tolist() for frame in tables]
        return [one.as_of, one.weeks, one.summary.get("made_with"), list(one.notes), dict(one.settings), *figures]

    return told(plan) == told(last)


def load_plan(db: Database, version: int | None = None) -> ReplacementPlan | None:
    """A version of the plan as it was made; the latest when `version` is None, its visits that were done since told as done.

    None when there is none.
    """
    stored = read_plan(db, version)
    if stored is None:
        return None
    plan = replace(ReplacementPlan.from_body(stored.body), version=stored.version)
    return plan if version is not None else with_done(plan, read_visits(db))


def outdated_visits(db: Database, plan: ReplacementPlan, day: date) -> list[Outdated]:
    """Visits to come of the plan on record that were overtaken since it was made, as it is known on `day`: parts renewed, or the
    vehicle's last day in service come, or the visit's day not before it."""
    made = list_plans(db).set_index("version")["made_at"].get(plan.version)
    if made is None:  # a plan that is not on record knows all there is
        return []
    repairs = store.read_table(
        db,
        "(SELECT r.unit, r.part, r.action, r.done_on, o.at, (SELECT max(taken_at) FROM readings WHERE unit = r.unit"
        f" AND taken_at < '{plan.as_of:%Y-%m-%d}') AS read_at FROM repairs r JOIN origins o ON o.id = r.origin_id)",
        ("unit", "part", "action", "done_on", "at", "read_at"),
        order="done_on",
        dates=("done_on", "at", "read_at"),
    )
    # what the plan's readings were taken after they told of already, whenever it was put on record
    told = repairs["done_on"] < repairs["read_at"].dt.normalize()
    since = repairs[(repairs["done_on"] >= plan.as_of) | ((repairs["at"] > made) & ~told)]
    units, today = store.read_units(db), pd.Timestamp(day)
    left = {str(u): on for u, on in zip(units["unit"], units["out_of_service"], strict=True) if pd.notna(on)}
    return outdated(plan, since, left, today)


def postponed_beyond(db: Database, plan: ReplacementPlan, day: date) -> dict[str, pd.Timestamp]:
    """Vehicle -> until when it was postponed, of those whose visit to come lies before that: decided since the plan was made."""
    standing = latest_decisions(read_decisions(db), day)
    coming = plan.visits[plan.visits["visit_on"] >= pd.Timestamp(day)]
    planned = dict(zip(coming["unit"], coming["visit_on"], strict=True))
    until = {unit: pd.Timestamp(d["until"]) for unit, d in standing.items() if d["kind"] == "postponed"}
    return {unit: until[unit] for unit in planned if unit in until and until[unit] > planned[unit]}


def plan_settings(db: Database) -> PlanSettings:
    """The plan's costs and rules: the user's own where saved, else the stated defaults."""
    saved = read_settings(db).get(SETTING_KEY, {})
    if not isinstance(saved, dict):
        raise PlanRefused(f"The saved plan settings are {saved!r}; allowed is a table of names and values.")
    try:
        return settings_from_mapping(saved)
    except ValueError as error:
        raise PlanRefused(f"The saved plan settings cannot be used: {error}.") from error


def parts_in_force(db: Database) -> pd.DataFrame:
    """What parts cost and take, the user's own where known, else the settings': part, price, labour_h, lead_days."""
    catalogue = complete_catalogue(store.read_parts(db), plan_settings(db))
    rows = [(p, catalogue.price[p], catalogue.labour_h[p], catalogue.lead_days[p]) for p in PARTS]
    return pd.DataFrame(rows, columns=list(PART_COLUMNS))


def save_parts(db: Database, parts: pd.DataFrame, *, by: str, now: datetime | None = None) -> tuple[int, int]:
    """Keep prices, hours and delivery times that differ from those in force; the number of parts, and of the change.

    Raises ValueError with the reason for a value that cannot be stored.
    """
    old = parts_in_force(db).set_index("part")
    new = parts.set_index("part")[list(PART_COLUMNS[1:])].astype("float64")
    if not np.isfinite(new.to_numpy()).all():
        raise ValueError("a price, an hour or a delivery time is missing; allowed are numbers of 0 and more")
    for column in PART_PRICES.columns[1:]:
        low, high = float(column.low or 0.0), float(column.high or 0.0)
        for part, value in new[column.name].items():
            if not low <= value <= high:
                raise ValueError(
                    f"{column.name} of {part} is {value:g}; allowed are {low:g} to {high:g}: {column.meaning}"
                )
    changed = [str(part) for part in new.index if bool((new.loc[part] != old.loc[part]).any())]
    rows = {str(row["part"]): row for row in new.reset_index().to_dict("records")}
    edits = [Edit("parts", (part,), {name: float(rows[part][name]) for name in PART_COLUMNS[1:]}) for part in changed]
    return len(changed), save_edits(db, edits, by=by, now=now)


def made_with(db: Database) -> dict[str, str]:
    """Short texts that change with what a plan is made with: workshop hours, prices of parts, costs and rules."""
    hours = (store.read_workshops(db), store.read_workshop_days(db), store.read_closures(db))
    return {
        "hours": _digest([frame.astype(str).to_numpy().tolist() for frame in hours]),
        "prices": _digest(parts_in_force(db).astype(str).to_numpy().tolist()),
        "costs": _digest(plan_settings(db).as_mapping()),
    }


def _digest(value: object) -> str:
    return hashlib.sha256(json.dumps(value, sort_keys=True, default=str).encode()).hexdigest()[:16]


@dataclass(frozen=True)
class ChangedSince:
    """What was changed after a plan was made, and who did the last of it; "" and None where only files changed it."""

    what: tuple[str, ...]
    by: str = ""
    at: pd.Timestamp | None = None


def changed_since(db: Database, plan: ReplacementPlan) -> ChangedSince | None:
    """What the plan on record does not know yet of hours, prices and costs; None where nothing, or nothing is known."""
    then = plan.summary.get("made_with")
    if not isinstance(then, Mapping):
        return None
    what = tuple(name for name, now in made_with(db).items() if then.get(name) != now)
    if not what:
        return None
    marks = ", ".join("?" * len(SHEETS))
    last = first(
        db,
        f"SELECT a.at, o.by FROM audit a JOIN origins o ON o.id = a.origin_id WHERE a.table_name IN ({marks})"
        " AND o.kind = 'correction' UNION ALL SELECT at, by FROM audit WHERE table_name = 'settings' AND row_key = ?"
        " ORDER BY 1 DESC LIMIT 1",
        [*SHEETS, SETTING_KEY],
    )
    return ChangedSince(what, str(last["by"]), pd.Timestamp(last["at"])) if last else ChangedSince(what)


def save_plan_settings(db: Database, changes: dict[str, Any], *, by: str, now: datetime | None = None) -> PlanSettings:
    """Change some of the plan's costs and rules; the old ones stay in the audit. Raises ValueError for a bad value."""
    saved = read_settings(db).get(SETTING_KEY, {})
    merged = {**(saved if isinstance(saved, dict) else {}), **changes}
    checked = settings_from_mapping(merged)
    save_setting(db, SETTING_KEY, merged, by=by, now=now)
    return checked


@contextmanager
def _solver_talk_to_stderr() -> Iterator[None]:
    """HiGHS now and then writes a line of its own to standard output, which must carry the result and nothing else: it goes to
    standard error while the caller works."""
    with _STDOUT_LOCK:
        try:
            out, err = sys.__stdout__, sys.__stderr__
            if out is None or err is None:
                yield
                return
            out.flush()
            kept = os.dup(1)
        except (OSError, ValueError):
            yield
            return
        try:
            os.dup2(2, 1)
            yield
        finally:
            os.dup2(kept, 1)
            os.close(kept)
