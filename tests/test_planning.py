"""From the database to a plan and back: versions, settings, pins, and what is refused."""

from datetime import date, datetime
from io import BytesIO
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pandas as pd
import pytest
from openpyxl import load_workbook
from samples_chance import is_night, more_by_night, one_in
from samples_fleet import demo, fleet, quick, tables_of
from samples_kept import assess as kept_assess
from samples_kept import copy_of, in_one_file, kept, kept_file
from samples_plan import AS_OF, make_inputs
from sqlite_utils import Database

from analysis.circuit.limit_book import LimitBook
from analysis.plan.replacement_plan import PlanInputs, ReplacementPlan, plan_replacements
from analysis.plan.result import rows_of
from analysis.worklist.assess import Assessment
from dashboard.desk import planning
from dashboard.desk.assessment import STATED, list_rows, seen_to
from dashboard.desk.plan_moves import changed, keep_pin, let_go, try_move
from dashboard.desk.planning import (
    Overtaken,
    PlanRefused,
    Seen,
    load_plan,
    make_plan,
    measures_of,
    parts_in_force,
    plan_settings,
    save_parts,
    save_plan_settings,
    seen_now,
)
from dashboard.files.plan_export import render
from dashboard.words.list_row import over_their_limit
from dashboard.words.plan_words import left_out_rows, noted, with_words
from ingest.importer import import_paths
from ingest.records import list_plans, read_pins, remove_pin, save_decision, save_setting, set_pin
from ingest.store import open_database, read_parts

DAY = date(2026, 11, 23)
NOW = datetime(2026, 11, 23, 9, 0)


@pytest.fixture
def office(tmp_path: Path) -> tuple[Database, Any]:
    """A database with the made-up fleet's files, and an assessment of it."""
    inputs = kept("planned", lambda: make_inputs(fleet=30, at_risk=10, hours=6.0))
    db = open_database(copy_of(kept_file("planned.db", _import_planned), tmp_path / "fleet.db"))
    return db, SimpleNamespace(outlook=inputs.outlook, beyond=None, units=inputs.units, parts=inputs.parts)


def _import_planned(path: Path) -> None:
    inputs, files = make_inputs(fleet=30, at_risk=10, hours=6.0), path.with_name("planned files")
    files.mkdir(exist_ok=True)
    units = inputs.fleet.assign(fuel="diesel", cylinders=4, rated_cca_a=760.0)
    frames = {"units": units, "services": inputs.services.drop_duplicates(), "workshops": inputs.workshops}
    for name, frame in (frames | {"parts": inputs.catalogue}).items():
        frame.to_csv(files / f"{name}.csv", index=False, date_format="%Y-%m-%d")
    db = open_database(path)
    outcome = import_paths(db, sorted(files.glob("*.csv")))
    assert outcome.exit_code == 0, outcome.lines()
    in_one_file(db)


def test_prices_of_parts_are_changed_and_the_old_ones_kept(office: tuple[Database, Any]) -> None:
    """Only what differs is stored, by the name of who did it; the plan counts with it; a missing number is refused."""
    db, found = office
    before = make_plan(db, as_of=DAY, assessment=found, save=False)
    parts = parts_in_force(db).set_index("part")
    was = float(parts.loc["battery", "price"])
    parts.loc["battery", "price"] = was + 500.0
    assert save_parts(db, parts.reset_index(), by="planner", now=NOW)[0] == 1
    assert save_parts(db, parts.reset_index(), by="planner", now=NOW) == (0, 0)
    now = read_parts(db).set_index("part")
    assert now.loc["battery", "price"] == was + 500.0
    old = db.execute("SELECT old_value, by FROM audit WHERE table_name = 'parts' AND column_name = 'price'").fetchall()
    assert [(float(value), by) for value, by in old] == [(was, "planner")]
    after = make_plan(db, as_of=DAY, assessment=found, save=False)
    assert after.summary["cost_run_to_failure"] > before.summary["cost_run_to_failure"]
    parts.loc["battery", "price"] = float("nan")
    with pytest.raises(ValueError, match="is missing"):
        save_parts(db, parts.reset_index(), by="planner", now=NOW)
    parts.loc["battery", "price"] = -1.0
    with pytest.raises(ValueError, match="price of battery is -1; allowed are 0 to"):
        save_parts(db, parts.reset_index(), by="planner", now=NOW)
    assert read_parts(db).set_index("part").loc["battery", "price"] == was + 500.0


@pytest.mark.parametrize("name", one_in(2, ["evaluation", "demo"]))
def test_list_and_plan_ask_for_the_same_measurement(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Who is known well enough to act is not called in to be measured; who is to be measured first is so in the plan too."""
    quick(monkeypatch)
    made = demo().fleet() if name == "demo" else fleet()
    tables, day = tables_of(made), pd.Timestamp(made.as_of)
    found = kept_assess(tables, as_of=day, with_classes=False)
    asked = measures_of(found, tables.readings, STATED)
    rows = {row["unit"]: row for row in list_rows(found, tables.readings, flagged_only=True)}
    inputs = PlanInputs(
        outlook=found.outlook, beyond=found.beyond, units=found.units, parts=found.parts, catalogue=made.parts,
        services=made.services, workshops=made.workshops, repairs=made.repairs, fleet=made.units, measure=asked,
        beside=seen_to(found, tables.readings, LimitBook()),
    )  # fmt: skip
    plan = with_words(plan_replacements(inputs, as_of=day))
    planned = [row for frame in (plan.visits, plan.left_out) for row in rows_of(frame) if row["unit"] in rows]
    assert planned
    for visit in planned:
        following = rows[visit["unit"]]["next_test"]
        assert visit["measurement"] == (following or "")
        assert visit["job"].startswith("measure ") == bool(following)
        assert (rows[visit["unit"]]["action"] == "measure again first") == bool(following)
        told = over_their_limit(rows[visit["unit"]]["evidence"], [rows[visit["unit"]]["part"], *visit["parts"]])
        assert visit["beside"] == told
        assert ("; see to the " in visit["job"]) == bool(told)
    assert not {row["unit"] for row in rows_of(plan.visits) if row["kind"] == "measure" and not row["measurement"]}
    if name == "demo":
        assert {bool(rows[visit["unit"]]["next_test"]) for visit in planned} == {True, False}
        stiff_by_build_is_left_alone(found, plan, "K-160")


def stiff_by_build_is_left_alone(found: Assessment, plan: ReplacementPlan, unit: str) -> None:
    """An engine that asked for a seventh more than its class from the first reading on starts no colder for work on it."""
    drag = found.parts[(found.parts["unit"] == unit) & (found.parts["part"] == "engine_drag")].iloc[0]
    assert drag["level_mohm"] > 1.1 * drag["usual_mohm"]
    assert drag["worn_probability"] < 0.05
    today = found.units.set_index("unit").loc[unit]
    assert drag["renewed_coldest_start_c"] == pytest.approx(today["coldest_start_c"], abs=0.1)
    assert drag["part_probability"] < 0.05
    assert unit not in set(plan.visits["unit"])


def test_versions_are_kept_and_read_as_they_were(office: tuple[Database, Any]) -> None:
    db, found = office
    first = make_plan(db, as_of=DAY, assessment=found)
    assert first.version == 1
    assert len(first.visits)
    assert make_plan(db, as_of=DAY, assessment=found).version == 1  # nothing changed: no new version
    unit = str(first.visits["unit"].iloc[0])
    set_pin(db, unit=unit, kind="pin", week="2027-W05", by="planner")
    second = make_plan(db, as_of=DAY, assessment=found)
    assert second.version == 2
    assert second.visits.set_index("unit").loc[unit, "iso_week"] == "2027-W05"
    old = load_plan(db, 1)
    assert old is not None
    assert old.visits.set_index("unit").loc[unit, "iso_week"] == first.visits.set_index("unit").loc[unit, "iso_week"]
    assert old.visits["why"].str.contains("Expected cost").all()
    assert load_plan(db, 99) is None


def test_hours_by_week_reach_the_plan_and_closed_weeks_are_said(office: tuple[Database, Any], tmp_path: Path) -> None:
    """Weeks with zero hours hold no visit; weeks whose hours nobody gave are named."""
    db, found = office
    free = make_plan(db, as_of=DAY, assessment=found, save=False)
    depot, week = free.visits.iloc[0][["depot", "iso_week"]]
    monday = free.hours.set_index("iso_week").loc[week, "week_start"].iloc[0]
    file = tmp_path / "workshops.csv"
    file.write_text(f"depot,week_from,hours_per_week\n{depot},{monday:%Y-%m-%d},0\nelsewhere,2026-11-23,8\n")
    assert import_paths(db, [file]).exit_code == 0
    shut = make_plan(db, as_of=DAY, assessment=found, save=False)
    assert len(shut.visits)
    assert not ((shut.visits["depot"] == depot) & (shut.visits["iso_week"] == week)).any()
    text = str(render(shut, "table"))
    assert f"{depot} is closed in {week}." in text
    assert not any("gives" in note for note in noted(shut))
    db.conn.execute("DELETE FROM workshops WHERE depot = ? AND week_from = ''", (depot,))
    file.write_text(f"depot,week_from,hours_per_week\n{depot},2026-12-07,9\n")
    import_paths(db, [file])
    partly = make_plan(db, as_of=DAY, assessment=found, save=False)
    assert set(partly.visits.loc[partly.visits["depot"] == depot, "iso_week"]) <= {"2026-W50"}
    assert any(f"workshops.csv gives {depot} no hours for" in note for note in noted(partly))


def test_a_plan_can_be_looked_at_without_keeping_it(office: tuple[Database, Any]) -> None:
    db, found = office
    assert make_plan(db, as_of=DAY, assessment=found, save=False).version == 0
    assert load_plan(db) is None


def test_an_older_date_does_not_build_on_a_later_plan(office: tuple[Database, Any]) -> None:
    db, found = office
    make_plan(db, as_of=DAY, assessment=found)
    earlier = make_plan(db, as_of=date(2026, 11, 16), assessment=found)
    assert set(earlier.visits["state"]) == {"new"}


@more_by_night
def test_the_same_question_is_not_solved_again(office: tuple[Database, Any], monkeypatch: pytest.MonkeyPatch) -> None:
    """The plan on record stands while nothing that it is made of changes; whatever changes, a plan is made. By day a pin and a
    decision, and its weeks; by night costs, parts and its day too."""
    db, found = office
    make_plan(db, as_of=DAY, assessment=found, weeks=6)
    last = make_plan(db, as_of=DAY, assessment=found, weeks=6)
    late = str(last.visits["unit"].iloc[0])
    asked: list[object] = []
    monkeypatch.setattr(
        planning, "plan_replacements", lambda *told, **more: asked.append(told) or plan_replacements(*told, **more)
    )
    assert rows_of(make_plan(db, as_of=DAY, assessment=found, weeks=6).visits) == rows_of(last.visits)
    assert not asked
    changes = [
        lambda: set_pin(db, unit=last.visits["unit"].iloc[-1], kind="forbid", week="2026-W49", by="lead"),
        lambda: save_decision(
            db, unit=late, iso_week="2026-W47", kind="postponed", reason="away", until=date(2027, 1, 4), by="m", now=NOW
        ),
    ]
    if is_night():
        changes += [
            lambda: save_plan_settings(db, {"hour_rate": 10}, by="lead"),
            lambda: save_parts(db, parts_in_force(db).assign(lead_days=1.0), by="lead"),
        ]
    for count, change in enumerate(changes, start=1):
        change()
        make_plan(db, as_of=DAY, assessment=found, weeks=6)
        assert len(asked) == count
    make_plan(db, as_of=DAY, assessment=found, weeks=8)
    assert len(asked) == len(changes) + 1
    if is_night():
        make_plan(db, as_of=date(2026, 11, 30), assessment=found, weeks=6)
        assert len(asked) == len(changes) + 2


def test_costs_are_settings_with_an_audit(office: tuple[Database, Any]) -> None:
    db, found = office
    cheap = make_plan(db, as_of=DAY, assessment=found, save=False)
    save_plan_settings(db, {"no_start": {"light": {"lost_work": 5000}}, "hour_rate": 10}, by="lead")
    save_plan_settings(db, {"currency": "EUR"}, by="lead")
    assert plan_settings(db).hour_rate == 10.0
    dear = make_plan(db, as_of=DAY, assessment=found, save=False)
    assert dear.summary["currency"] == "EUR"
    assert dear.summary["cost_run_to_failure"] > cheap.summary["cost_run_to_failure"]
    with pytest.raises(ValueError, match="hour_rate is -5"):
        save_plan_settings(db, {"hour_rate": -5}, by="lead")
    assert plan_settings(db).hour_rate == 10.0


@pytest.mark.parametrize("bad", [[1, 2], {"hour_rate": "much"}, "x"])
def test_settings_that_cannot_be_used_are_one_sentence(office: tuple[Database, Any], bad: object) -> None:
    db, found = office
    save_setting(db, "plan", bad, by="somebody")
    with pytest.raises(PlanRefused, match=r"saved plan settings .*allowed"):
        make_plan(db, as_of=DAY, assessment=found)


def test_no_vehicles_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(PlanRefused, match="no vehicles yet"):
        make_plan(open_database(tmp_path / "empty.db"), as_of=DAY)


def test_standard_output_stays_free(office: tuple[Database, Any], capfd: pytest.CaptureFixture[str]) -> None:
    db, found = office
    make_plan(db, as_of=DAY, assessment=found)
    assert capfd.readouterr().out == ""
    assert make_inputs().outlook["week_start"].min() == AS_OF


# --- changes by hand -------------------------------------------------------------------------------------------------


def move(
    db: Database, found: Any, *, unit: str, week: str, by: str, kind: str = "pin", seen: Seen | None = None
) -> ReplacementPlan:
    """A vehicle fixed to a week, or kept out of it, and the plan made so."""

    def change() -> None:
        keep_pin(db, unit=unit, week=week, kind=kind, by=by, now=NOW)

    return changed(db, found, change, as_of=DAY, weeks=13, by=by, now=NOW, seen=seen)


def release(db: Database, found: Any, number: int, *, by: str, seen: Seen) -> None:
    """A pin taken away, and the plan made so."""
    changed(
        db, found, lambda: remove_pin(db, number, by=by, now=NOW), as_of=DAY, weeks=13, by=by, now=NOW, seen=seen
    )  # fmt: skip


@pytest.mark.nightly
def test_a_vehicle_kept_out_of_its_week_goes_elsewhere_at_a_cost(office: tuple[Database, Any]) -> None:
    """Every change is tried without writing; taking a choice away never makes the plan cheaper (HiGHS: 0.01 %)."""
    db, found = office
    first = make_plan(db, as_of=DAY, assessment=found)
    unit, week = first.visits.iloc[-1][["unit", "iso_week"]]
    trial = try_move(db, first, found, unit=unit, week=week, as_of=DAY, kind="forbid")
    assert trial.week != week
    assert trial.costs >= -0.01
    assert read_pins(db).empty
    out = move(db, found, unit=unit, week=week, by="planner", kind="forbid")
    landed = out.visits.set_index("unit")["iso_week"].get(unit, "")
    assert landed == trial.week
    fixed = move(db, found, unit=unit, week=week, by="planner")
    assert fixed.visits.set_index("unit").loc[unit, "iso_week"] == week
    assert read_pins(db)[["kind", "week"]].to_numpy().tolist() == [["pin", week]]  # the ban on that week is over
    assert let_go(db, unit, by="planner") == 1
    assert read_pins(db).empty


def test_decisions_on_record_are_obeyed_and_said(office: tuple[Database, Any]) -> None:
    db, found = office
    free = make_plan(db, as_of=DAY, assessment=found, save=False)
    late, wanted = free.visits["unit"].iloc[0], "V-0025"
    assert wanted not in set(free.visits["unit"])
    until = date(2027, 1, 11)
    save_decision(db, unit=late, iso_week="2026-W47", kind="postponed", reason="away", until=until, by="m", now=NOW)
    save_decision(db, unit=wanted, iso_week="2026-W47", kind="accepted", by="m", now=NOW)
    plan = make_plan(db, as_of=DAY, assessment=found, save=False)
    why = plan.visits.set_index("unit")["why"]
    assert why[wanted].startswith("Accepted on 23 Nov 2026. ")
    if late in why.index:
        assert why[late].startswith("Postponed on 23 Nov 2026 until 11 Jan 2027: away. ")
        assert plan.visits.set_index("unit").loc[late, "visit_on"].date() >= until
    else:
        assert "it is postponed" in plan.left_out.set_index("unit").loc[late, "why"]


def test_a_visit_left_out_says_the_reason_that_was_typed(office: tuple[Database, Any]) -> None:
    """In the terminal, in the table of the page and in the workbook; typed marks do nothing, and a sentence ends once."""
    db, found = office
    late = make_plan(db, as_of=DAY, assessment=found, save=False).visits["unit"].iloc[0]
    save_decision(
        db, unit=late, iso_week="2026-W47", kind="postponed", reason="its strap\n\x1b[31m is  late.",
        until=date(2028, 1, 11), by="m", now=NOW,
    )  # fmt: skip
    plan = make_plan(db, as_of=DAY, assessment=found, save=False)
    said = "Postponed on 23 Nov 2026 until 11 Jan 2028: its strap ?[31m is late. "
    row = plan.left_out.set_index("unit").loc[late]
    assert row["why"].startswith(f"{said}Left out because it is postponed")
    assert said in str(render(plan, "table")).replace("\n", " ")
    assert [cells[4] for cells in left_out_rows(plan) if cells[0] == late] == [f"{said}It is postponed"]
    sheet = load_workbook(BytesIO(bytes(render(plan, "xlsx"))))["left out"]
    heads, *rows = ([cell.value for cell in line] for line in sheet)
    told = next(dict(zip(heads, line, strict=True)) for line in rows if line[0] == late)
    assert told["why"].startswith(said)


# --- two planners ----------------------------------------------------------------------------------------------------


@pytest.mark.nightly
def test_a_pin_of_another_planner_is_not_overwritten_unasked(office: tuple[Database, Any]) -> None:
    """What was fixed meanwhile is said with name and moment, and nothing is kept until it is asked for again."""
    db, found = office
    plan = make_plan(db, as_of=DAY, assessment=found)
    unit, other = plan.visits["unit"].iloc[0], plan.visits["unit"].iloc[1]
    mine = {"unit": unit, "week": "2027-W03"}
    seen = seen_now(db)
    move(db, found, **mine | {"week": "2027-W05"}, by="berta", seen=seen)
    with pytest.raises(Overtaken, match=rf"{unit} was fixed to 2027-W05 by berta on 23 Nov 2026 at 09:00"):
        move(db, found, **mine, by="anna", seen=seen)
    assert read_pins(db)[["unit", "week", "by"]].to_numpy().tolist() == [[unit, "2027-W05", "berta"]]
    assert list_plans(db)["by"].tolist() == ["command", "berta"]
    number = int(read_pins(db)["id"].iloc[0])
    with pytest.raises(Overtaken):
        release(db, found, number, by="anna", seen=seen)
    made = move(db, found, **mine, by="anna", seen=seen_now(db))
    assert made.visits.set_index("unit").loc[unit, "iso_week"] == "2027-W03"
    seen = seen_now(db)
    release(db, found, int(read_pins(db)["id"].iloc[0]), by="berta", seen=seen)
    with pytest.raises(Overtaken, match=f"{unit} is no longer fixed to 2027-W03"):
        move(db, found, **mine | {"unit": other}, by="anna", seen=seen)


@pytest.mark.nightly
def test_a_version_of_another_planner_is_not_passed_by(office: tuple[Database, Any]) -> None:
    db, found = office
    make_plan(db, as_of=DAY, assessment=found)
    seen = seen_now(db)
    save_plan_settings(db, {"hour_rate": 40}, by="berta")
    make_plan(db, as_of=DAY, assessment=found, by="berta", now=NOW)
    with pytest.raises(Overtaken, match="version 2 was made by berta on 23 Nov 2026 at 09:00"):
        make_plan(db, as_of=DAY, assessment=found, by="anna", seen=seen)
    assert len(list_plans(db)) == 2


@pytest.mark.nightly
def test_a_pin_that_comes_while_the_plan_is_worked_out_is_in_it(
    office: tuple[Database, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The version kept is one that knows of every pin, however long the working out took."""
    db, found = office
    unit = make_plan(db, as_of=DAY, assessment=found).visits["unit"].iloc[0]
    solve, turns = planning.plan_replacements, []

    def slow(*args: Any, **more: Any) -> Any:
        if not turns:
            set_pin(db, unit=unit, kind="pin", week="2027-W05", by="berta", now=NOW)
        turns.append(1)
        return solve(*args, **more)

    monkeypatch.setattr(planning, "plan_replacements", slow)
    plan = make_plan(db, as_of=DAY, assessment=found)
    assert len(turns) == 2
    assert plan.visits.set_index("unit").loc[unit, "iso_week"] == "2027-W05"


def test_figures_that_are_shown_are_kept(office: tuple[Database, Any]) -> None:
    """A plan with other figures is another version, even where every visit stays; one without is the one on record."""
    db, found = office
    first = make_plan(db, as_of=DAY, assessment=found)
    save_plan_settings(db, {"no_start": {"light": {"lost_work": 301}}}, by="lead")
    second = make_plan(db, as_of=DAY, assessment=found)
    assert second.summary["cost"] != first.summary["cost"]
    kept = load_plan(db)
    assert kept is not None
    assert (kept.version, kept.summary["cost"]) == (2, second.summary["cost"])
    same = make_plan(db, as_of=DAY, assessment=found)
    assert same.to_body() == kept.to_body()
    assert len(list_plans(db)) == 2
