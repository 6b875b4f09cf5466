"""Work orders: one page a visit with what, why, what to measure, parts, cautions, and a code that opens its report.

Truth: the plan and the list that were put on record by the test; the sheet's own drawing operators.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pandas as pd
import pytest
from reportlab.lib.units import mm
from reportlab.platypus import Paragraph
from reportlab.platypus.flowables import Spacer
from samples_screens import AS_OF, listed_database
from sqlite_utils import Database
from test_paper import HOSTILE, pages

from analysis.plan.done import outdated
from analysis.plan.replacement_plan import ReplacementPlan
from analysis.plan.workshop_calendar import iso_week
from dashboard.cli.main import main
from dashboard.desk.addresses import uid_of, visit_address
from dashboard.desk.planning import load_plan, outdated_visits, postponed_beyond
from dashboard.desk.work_orders import WorkOrder, chosen_visits, to_measure, work_orders
from dashboard.files import work_order
from dashboard.files.work_order import work_orders_pdf
from dashboard.words import safety
from dashboard.words.plan_words import outdated_words, postponed_words, with_words
from dashboard.words.reasons import PART_WORDS
from ingest import store
from ingest.corrections import correct
from ingest.entries import record_repair
from ingest.fields import MEASUREMENTS, PARTS
from ingest.records import read_weekly_list, save_decision, save_setting

BASE = "http://workshop:8501"


@pytest.fixture
def fleet(tmp_path: Path) -> Path:
    return listed_database(tmp_path / "fleet.db")


@pytest.fixture
def order(fleet: Path) -> WorkOrder:
    """The first visit of a vehicle that the list names."""
    return ordered(store.open_database(fleet))


def ordered(db: Database, base: str = BASE) -> WorkOrder:
    plan, issued = load_plan(db), read_weekly_list(db, iso_week(AS_OF))
    assert plan is not None
    assert issued is not None
    listed = {row["unit"] for row in issued.body["units"]}
    visit = next(v for v in chosen_visits(plan) if v["unit"] in listed)
    return work_orders(db, plan, [visit], base=base)[0]


def texts(flowables: Any) -> Iterator[str]:
    """The words of a sheet, those in tables too."""
    for one in flowables:
        if isinstance(one, Paragraph):
            yield one.text
        elif isinstance(one, list | tuple):
            yield from texts(one)
        elif hasattr(one, "_cellvalues"):
            yield from texts(one._cellvalues)


def sheet(order: WorkOrder, **more: Any) -> str:
    return " ".join(texts(work_order._sheet(order, more.pop("picture", None), fahrenheit=False))).replace("\u00a0", " ")


def test_a_cable_over_its_limit_is_seen_to_and_measured_in_the_same_visit(fleet: Path) -> None:
    """Common practice: who renews a battery cleans a ground strap that loses twice its limit, and measures the drop before and after."""
    db = store.open_database(fleet)
    plan = load_plan(db)
    assert plan is not None
    worn = with_words(replace(plan, visits=plan.visits.assign(beside=[["ground_path"]] * len(plan.visits))))
    visit = next(v for v in chosen_visits(worn) if "ground_path" not in v["parts"])
    (order,) = work_orders(db, worn, [visit])
    assert "; see to the ground path" in sheet(order)
    assert "drop_ground_v" in order.measure


def test_a_sheet_says_what_why_and_what_to_mind(fleet: Path, order: WorkOrder) -> None:
    issued = read_weekly_list(store.open_database(fleet), iso_week(AS_OF))
    assert issued is not None
    row = next(row for row in issued.body["units"] if row["unit"] == order.visit["unit"])
    said = sheet(order)
    job = str(order.visit["job"])
    assert f"To do: {job[0].upper()}{job[1:]}." in said
    assert str(row["reasons"][0])[1:20] in said
    assert f"{order.visit['hours']:.1f} h" in said
    for caution in safety.CAUTIONS:
        assert said.count(caution) >= 1, caution
    for asked in (
        "before",
        "after",
        "Done by",
        "Day and time",
        "What did you find?",
        "worn or faulty",
        "What was done",
    ):
        assert asked in said, asked


def test_the_code_opens_the_report_of_this_visit(order: WorkOrder) -> None:
    """RFC 3986: what a browser reads from the address is the vehicle and the visit, whatever their names hold."""
    asked = parse_qs(urlsplit(order.address).query)
    assert urlsplit(order.address).path == "/visit"
    assert asked["unit"] == [order.visit["unit"]]
    assert uid_of(asked["visit"][0]) == order.visit["uid"]
    strange = parse_qs(urlsplit(visit_address(BASE, "A&B ü/#1", "other@calendar")).query)
    assert (strange["unit"], uid_of(strange["visit"][0])) == (["A&B ü/#1"], "other@calendar")
    assert "The code is missing" in sheet(replace(order, address=""))


@pytest.mark.parametrize("part", PARTS)
def test_measured_before_and_after_is_what_tells_of_the_part(part: str) -> None:
    """Common practice: a drop and a resistance are nothing without the amps, and the cold changes all of them."""
    asked = to_measure([part])
    assert {"temperature_c", "rest_v", "crank_min_v", "crank_a"} <= set(asked) <= set(MEASUREMENTS)
    drop = {"positive_cable": "drop_positive_v", "ground_path": "drop_ground_v", "starter_motor": "peak_a"}.get(part)
    assert drop is None or drop in asked


def test_one_page_a_visit_whatever_is_typed(order: WorkOrder) -> None:
    """The worst there can be: the longest names and reasons, every measurement, and a picture."""
    assert pages(work_orders_pdf([order])) == 1
    wide = {
        **order.visit,
        "unit": HOSTILE[:64],
        "depot": HOSTILE[:64],
        "job": HOSTILE[:200],
        "parts": ["control_circuit"],
    }
    vehicle = {**order.vehicle, "unit": HOSTILE[:64], "vehicle_class": HOSTILE[:64]}
    most = to_measure(["control_circuit", "positive_cable"])
    assert (
        pages(work_orders_pdf([replace(order, measure=most)], pictures={order.visit["unit"]: Spacer(1, 49 * mm)})) == 1
    )
    worst = replace(order, visit=wide, vehicle=vehicle, why=(HOSTILE,) * 4, measure=most)
    assert pages(work_orders_pdf([worst, order])) <= 3
    with pytest.raises(ValueError, match="no visit"):
        work_orders_pdf([])


@pytest.mark.nightly
def test_sheets_are_written_from_the_command_line(
    fleet: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    db = store.open_database(fleet)
    plan = load_plan(db)
    assert plan is not None
    first = plan.visits[plan.visits["iso_week"] == plan.visits["iso_week"].min()]
    words = ["--db", str(fleet), "work-orders"]
    assert main([*words, str(tmp_path / "w.pdf")]) == 0
    told = capsys.readouterr()
    assert f"work orders: {len(first)}" in told.out
    assert "The code is missing" in told.err
    assert pages((tmp_path / "w.pdf").read_bytes()) == len(first)
    save_setting(db, "screens_address", BASE, by="anna")
    depot, week = str(first["depot"].iloc[0]), str(first["iso_week"].iloc[0])
    assert main([*words, str(tmp_path / "d.pdf"), "--week", week, "--depot", depot]) == 0
    told = capsys.readouterr()
    assert f"work orders: {int((first['depot'] == depot).sum())}" in told.out
    assert not told.err
    assert main([*words, str(tmp_path / "w.pdf")]) == 2
    assert main([*words, str(tmp_path / "n.pdf"), "--unit", "NOBODY"]) == 2
    assert "has no visit to come with these words" in capsys.readouterr().err
    assert not (tmp_path / "n.pdf").exists()


# --- what was done since the plan was made ---------------------------------------------------------------------------


def planned(db: Database) -> tuple[ReplacementPlan, dict[str, Any]]:
    """The plan on record, and its first visit that replaces something."""
    plan = load_plan(db)
    assert plan is not None
    return plan, next(visit for visit in chosen_visits(plan) if visit["kind"] == "replace")


def renewed(db: Database, visit: dict[str, Any], parts: list[str], day: date = AS_OF) -> None:
    for part in parts:
        values = {"unit": visit["unit"], "part": part, "action": "replaced", "done_on": day.isoformat()}
        now = datetime.combine(AS_OF + timedelta(days=1), time(6))
        assert record_repair(db, values, by="ben", now=now).stored


def test_no_sheet_is_printed_for_a_visit_whose_parts_were_renewed_since(
    fleet: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Repairs of the plan's day and later, and earlier ones that were reported later; in one sentence, and the others are printed."""
    db = store.open_database(fleet)
    plan, visit = planned(db)
    assert outdated_visits(db, plan, AS_OF) == []
    renewed(db, visit, visit["parts"], AS_OF - timedelta(days=1))
    (one,) = outdated_visits(db, plan, AS_OF)
    assert (one.uid, one.whole, list(one.renewed)) == (visit["uid"], True, visit["parts"])
    assert visit["uid"] not in {other["uid"] for other in chosen_visits(plan, since=[one])}
    file = tmp_path / "orders.pdf"
    assert main(["--db", str(fleet), "work-orders", str(file), "--unit", str(visit["unit"])]) == 2
    said = capsys.readouterr().err
    assert "Overtaken since this plan was made, so that no work order is printed" in " ".join(said.split())
    assert f"{visit['unit']} (" in said
    assert not file.exists()
    week = [other for other in chosen_visits(plan, week=str(visit["iso_week"])) if other["uid"] != visit["uid"]]
    code = main(["--db", str(fleet), "work-orders", str(file), "--week", str(visit["iso_week"])])
    assert (code, file.exists()) == ((0, True) if week else (2, False))
    assert str(visit["unit"]) in capsys.readouterr().err


def test_a_visit_before_the_day_until_which_its_vehicle_was_postponed_since_is_named(fleet: Path) -> None:
    db = store.open_database(fleet)
    plan, visit = planned(db)
    on, unit, now = pd.Timestamp(visit["visit_on"]), str(visit["unit"]), datetime.combine(AS_OF, time(6))
    assert postponed_beyond(db, plan, AS_OF) == {}
    on_the_day: dict[str, pd.Timestamp] = {}
    for days, named in ((0, on_the_day), (9, {unit: on + pd.Timedelta(days=9)})):
        until = (on + pd.Timedelta(days=days)).date()
        save_decision(
            db, unit=unit, iso_week="2026-W48", kind="postponed", reason="part late", until=until, by="m", now=now
        )
        assert postponed_beyond(db, plan, AS_OF) == named
    assert f"{unit} (until " in postponed_words(named)
    assert postponed_words({}) == ""


def test_a_repair_that_the_plan_s_readings_came_after_overtakes_nothing(fleet: Path) -> None:
    """Put on record late: the part was read, and planned for, as it was after it."""
    db = store.open_database(fleet)
    plan, visit = planned(db)
    read = store.read_readings(db, before=AS_OF, units=[str(visit["unit"])])["taken_at"].max().date()
    renewed(db, visit, visit["parts"], read - timedelta(days=1))
    assert outdated_visits(db, plan, AS_OF) == []
    renewed(db, visit, visit["parts"], read)
    assert [one.uid for one in outdated_visits(db, plan, AS_OF)] == [visit["uid"]]


def test_a_sheet_of_a_visit_that_is_partly_done_says_so_first(fleet: Path) -> None:
    db = store.open_database(fleet)
    plan, visit = planned(db)
    both = [*visit["parts"], next(part for part in PARTS if part not in visit["parts"])]
    visits = plan.visits.assign(
        parts=[
            both if uid == visit["uid"] else parts
            for uid, parts in zip(plan.visits["uid"], plan.visits["parts"], strict=True)
        ]
    )
    plan = replace(plan, visits=visits)
    renewed(db, visit, visit["parts"])
    (one,) = since = outdated_visits(db, plan, AS_OF)
    assert (one.whole, one.still) == (False, (both[-1],))
    (chosen,) = chosen_visits(plan, unit=str(visit["unit"]), since=since)
    said = sheet(work_orders(db, plan, [chosen], base=BASE, since=since)[0])
    assert f"Since the plan was made: {PART_WORDS[visit['parts'][0]]} replaced on" in said
    assert f"see to the {PART_WORDS[both[-1]]} only." in said


def test_a_battery_that_was_charged_is_not_renewed_unless_that_was_planned() -> None:
    day = pd.Timestamp("2026-11-30")
    visits = [
        {"uid": f"{kind}@x", "unit": "a", "kind": kind, "parts": ["battery"], "visit_on": day + pd.Timedelta(days=9)}
        for kind in ("replace", "cheap", "measure")
    ]
    plan = SimpleNamespace(visits=pd.DataFrame(visits))
    since = pd.DataFrame({"unit": ["a", "b"], "part": "battery", "action": ["charged", "replaced"], "done_on": day})
    found = outdated(plan, since, {}, day)  # type: ignore[arg-type]
    assert [(one.uid, one.whole) for one in found] == [("cheap@x", True)]
    left = outdated(plan, since.iloc[:0], {"a": day}, day)  # type: ignore[arg-type]
    assert [(one.left_on, one.whole) for one in left] == [(day, True)] * 3
    ahead = [day + pd.Timedelta(days=n) for n in (9, 10)]
    told = [outdated(plan, since.iloc[:0], {"a": last}, day) for last in ahead]  # type: ignore[arg-type]
    assert [len(found) for found in told] == [3, 0]  # a last day ahead overtakes the visits of that day and later


def test_a_visit_on_a_last_day_in_service_or_later_is_overtaken(fleet: Path) -> None:
    db = store.open_database(fleet)
    plan, visit = planned(db)
    later = datetime.combine(AS_OF, time(6))
    for last, count in ((visit["visit_on"].date() + timedelta(days=1), 0), (AS_OF, 1)):
        values = {"out_of_service": last.isoformat()}
        assert correct(db, "vehicle", str(visit["unit"]), values, by="ben", reason="sold", now=later).stored
        assert len(outdated_visits(db, plan, AS_OF - timedelta(days=1))) == count
    (one,) = since = outdated_visits(db, plan, AS_OF)
    assert one.whole
    (said,) = outdated_words(since)
    assert f"{visit['unit']} (last day in service" in said
