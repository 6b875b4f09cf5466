"""A visit that was done in the plan: no longer to come, kept as done when the plan is made again, open again when taken back.

Truth: worked by hand from a made-up plan; RFC 5545 for the calendar (a known UID with a higher SEQUENCE is an update).
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

import pandas as pd
import pytest
from icalendar import Calendar
from samples_chance import one_in
from sqlite_utils import Database
from test_planning import DAY, NOW, office  # noqa: F401 - the fixture

from analysis.plan.replacement_plan import ReplacementPlan
from dashboard.desk.planning import load_plan, make_plan
from dashboard.files.plan_export import render
from dashboard.words.plan_words import summary_words
from ingest import corrections
from ingest.entries import Entry
from ingest.records import read_pins, save_decision, set_pin
from ingest.visits import PlannedVisit, Report, close_visit, planned_visit

Office = tuple[Database, Any]


def first_open(db: Database) -> dict[str, Any]:
    plan = load_plan(db)
    assert plan is not None
    return {str(k): v for k, v in plan.visits.iloc[0].to_dict().items()}


def done(db: Database, visit: dict[str, Any], found: str = "worn", at: datetime = NOW) -> Entry:
    part = visit["parts"][0]
    planned = PlannedVisit(
        visit["uid"], visit["unit"], f"{visit['visit_on']:%Y-%m-%d}", part, visit["job"], visit["hours"]
    )
    work = {"action": "replaced", "parts": (part,)} if found == "worn" else {}
    entry = close_visit(db, planned, Report(found, at.date(), **work), by="anna", now=at)
    assert entry.stored, entry.problems
    return entry


def again(office: Office, day: date = DAY) -> ReplacementPlan:  # noqa: F811
    return make_plan(office[0], as_of=day, assessment=office[1])


def test_a_done_visit_is_no_longer_to_come(office: Office) -> None:  # noqa: F811
    db, found = office
    first = make_plan(db, as_of=DAY, assessment=found)
    visit = first_open(db)
    entry = done(db, visit)
    plan = load_plan(db)
    assert plan is not None
    assert visit["uid"] not in set(plan.visits["uid"])
    assert len(plan.visits) == len(first.visits) - 1
    assert plan.done[["unit", "found"]].to_numpy().tolist() == [[visit["unit"], "worn"]]
    assert plan.done["sequence"].tolist() == [visit["sequence"] + 1]
    assert ", 1 of them done" in summary_words(plan)
    assert "of them done" not in summary_words(first)
    ordered = {unit for units in first.orders["units"] for unit in units}
    assert {unit for units in plan.orders["units"] for unit in units} == ordered - {visit["unit"]}
    assert plan.orders["quantity"].tolist() == [len(units) for units in plan.orders["units"]]
    assert plan.orders["price"].sum() == pytest.approx((plan.orders["price_each"] * plan.orders["quantity"]).sum())
    corrections.withdraw(db, "visit", entry.row_id or 0, by="anna", reason="another vehicle")
    reopened = load_plan(db)
    assert reopened is not None
    assert visit["uid"] in set(reopened.visits["uid"])
    assert reopened.done.empty


@pytest.mark.parametrize("found", one_in(2, ["worn", "sound"]))
def test_planning_again_keeps_it_as_done(office: Office, found: str) -> None:  # noqa: F811
    """Also on the same day, whose figures do not know yet what was done and found; its hours stay used, others move on."""
    db, assessment = office
    assessment.units = assessment.units.assign(act_by=pd.Timestamp(DAY))  # most come later than that
    make_plan(db, as_of=DAY, assessment=assessment)
    before = load_plan(db)
    assert before is not None
    late = before.visits["unit"].isin(before.act_by_missed["unit"])
    visit = first_visit_of(
        before, str(before.visits.loc[late & (before.visits["iso_week"] == "2026-W48"), "unit"].iloc[0])
    )
    done(db, visit, found)
    told = load_plan(db)
    assert told is not None
    assert visit["unit"] not in set(told.act_by_missed["unit"])
    plan = again(office)
    unit = visit["unit"]
    assert unit not in {
        *plan.visits["unit"],
        *plan.left_out["unit"],
        *plan.cancelled["unit"],
        *plan.act_by_missed["unit"],
    }
    assert plan.done["uid"].tolist() == [visit["uid"]]
    week = (plan.hours["depot"] == visit["depot"]) & (plan.hours["iso_week"] == "2026-W48")
    planned = plan.visits[(plan.visits["depot"] == visit["depot"]) & (plan.visits["iso_week"] == "2026-W48")]
    assert float(plan.hours.loc[week, "booked"].iloc[0]) == pytest.approx(planned["hours"].sum() + visit["hours"])
    assert plan.hours["hours"].tolist() == before.hours["hours"].tolist()
    assert again(office).version == plan.version  # nothing new: the same version stands


@pytest.mark.nightly
def test_what_was_fixed_by_hand_has_happened(office: Office) -> None:  # noqa: F811
    """Neither a pin nor an acceptance of before brings the vehicle in once more; a pin set after the visit does."""
    db, assessment = office
    make_plan(db, as_of=DAY, assessment=assessment)
    visit = first_open(db)
    unit, week = visit["unit"], "2026-W50"
    set_pin(db, unit=unit, kind="pin", week=week, by="bo", now=NOW)
    save_decision(db, unit=unit, iso_week="2026-W48", kind="accepted", by="bo", now=NOW)
    pinned = again(office)
    assert pinned.visits.set_index("unit").at[unit, "iso_week"] == week
    done(db, first_visit_of(pinned, unit), "sound", at=datetime(2026, 11, 23, 15))
    later = again(office, date(2026, 11, 24))
    assert not (later.visits[later.visits["unit"] == unit]["state"] == "pinned").any()
    assert not (later.visits[later.visits["unit"] == unit]["decision"] == "accepted").any()
    set_pin(db, unit=unit, kind="pin", week="2026-W51", by="bo", now=datetime(2026, 11, 24, 8))
    assert len(read_pins(db)) == 2
    fixed = again(office, date(2026, 11, 24)).visits.set_index("unit")
    assert fixed.loc[unit, ["iso_week", "state"]].tolist() == ["2026-W51", "pinned"]


def first_visit_of(plan: ReplacementPlan, unit: str) -> dict[str, Any]:
    return {str(k): v for k, v in plan.visits[plan.visits["unit"] == unit].iloc[0].to_dict().items()}


def test_exports_tell_done_visits(office: Office) -> None:  # noqa: F811
    db, assessment = office
    make_plan(db, as_of=DAY, assessment=assessment)
    visit = first_open(db)
    done(db, visit)
    plan = load_plan(db)
    assert plan is not None
    events = {str(e["uid"]): e for e in Calendar.from_ical(str(render(plan, "ics", now=NOW))).walk("VEVENT")}
    event = events[visit["uid"]]
    assert (event["status"], int(event["sequence"])) == ("CONFIRMED", visit["sequence"] + 1)
    assert str(event["summary"]).endswith("(done)")
    assert "Visit closed on 23 Nov 2026: the" in str(render(plan, "table"))
    assert f'"uid": "{visit["uid"]}"' in str(render(plan, "json"))
    other = next(d for d in plan.hours["depot"] if d != visit["depot"])
    assert visit["uid"] not in str(render(plan, "ics", depot=other, now=NOW))


@pytest.mark.nightly
def test_a_visit_is_found_by_its_name_in_whatever_version_has_it(office: Office) -> None:  # noqa: F811
    """The code on a printed sheet holds that name, and the plan may have been made again since."""
    db, assessment = office
    make_plan(db, as_of=DAY, assessment=assessment)
    visit = first_open(db)
    done(db, visit)
    again(office)
    found = planned_visit(db, visit["uid"])
    assert found is not None
    assert (found["unit"], pd.Timestamp(found["visit_on"])) == (visit["unit"], visit["visit_on"])
    assert planned_visit(db, "nobody@cranktrend") is None
