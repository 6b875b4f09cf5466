"""A vehicle that left service: on no list from its last day on, on all lists before, and still a teacher of its class.

Truth: the same fleet without the last day; the list of the database for that of its export.
"""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import samples_kept
from samples_fleet import FEW, few, few_folder, fleet, fleet_folder, quick, tables_of
from samples_plan import make_inputs
from sqlite_utils import Database

from analysis.backtest.history import judged_flags, labelled, left_on, limit_lists, part_lives
from analysis.backtest.lists import backtest_lists
from analysis.costs import PARTS
from analysis.forecast.choices import LEARNING
from analysis.forecast.learning import learn_needs, look_back, need_grids, past_looked_at
from analysis.forecast.past import past_of
from analysis.readings.panel import LEFT, FleetTables, in_service
from analysis.readings.renewals import Renewals, ended_lives
from analysis.wear.lives import observed_lives
from analysis.wear.state import day_number
from analysis.worklist.assess import FleetList, assess, known_on
from dashboard.cli.main import main
from dashboard.cluster.engines import Here
from dashboard.cluster.fleet import leaving_listed
from dashboard.desk.assessment import NothingToAssess, assess_database
from dashboard.desk.kept_assessment import judged_version
from dashboard.desk.kept_readings import read_readings
from dashboard.desk.weekly import make_body
from ingest import store
from ingest.backups import backup
from ingest.corrections import correct
from ingest.parquet_folder import export_folder, import_folder, opened_folder

DAY = pd.Timestamp("2022-12-12")
BEFORE = DAY - pd.Timedelta(days=28)
GONE = FEW[2]
SOLD = {"by": "anna", "reason": "sold", "now": dt.datetime(2022, 12, 12, 6)}


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick(monkeypatch)


@pytest.fixture(scope="module")
def tables() -> FleetTables:
    return tables_of(few())


def left(tables: FleetTables, day: pd.Timestamp, *units: str) -> FleetTables:
    """The same vehicles, some of which leave on a day; what came of them later is not."""
    gone = tables.units["unit"].isin(units)
    made = tables.units.assign(**{LEFT: pd.Series(day, index=tables.units.index).where(gone)})
    later = {"readings": "taken_at", "repairs": "done_on"}
    kept = {}
    for name, column in later.items():
        table = getattr(tables, name)
        kept[name] = table[~(table["unit"].isin(units) & (table[column] >= day + pd.Timedelta(days=1)))]
    return replace(tables, units=made, **kept)


def same(one: FleetList, other: FleetList) -> None:
    for own in fields(FleetList):
        ours, theirs = getattr(one, own.name), getattr(other, own.name)
        if isinstance(ours, pd.DataFrame):
            pd.testing.assert_frame_equal(ours, theirs, obj=own.name)
        else:
            assert ours == theirs, own.name


@pytest.mark.nightly
def test_a_list_of_a_day_before_knows_nothing_of_it(tables: FleetTables) -> None:
    day = DAY - pd.Timedelta(days=1)
    same(samples_kept.assess(left(tables, DAY, GONE), as_of=day), samples_kept.assess(tables, as_of=day))


def test_from_its_last_day_on_it_is_on_no_list_and_teaches_its_class_still(tables: FleetTables) -> None:
    found, plain = (samples_kept.assess(t, as_of=DAY) for t in (left(tables, DAY, GONE), tables))
    others = [unit for unit in FEW if unit != GONE]
    assert sorted(found.units["unit"]) == others
    for name in ("parts", "outlook", "beyond", "resets", "drift"):
        assert GONE not in set(getattr(found, name)["unit"]), name
    assert list(found.state.names) == others
    name = str(tables.units.set_index("unit").at[GONE, "vehicle_class"])
    ours, theirs = (t.classes[t.classes["vehicle_class"].str.startswith(name)] for t in (found, plain))
    assert (theirs["units"] - ours["units"] == 1).all(), "the class counts it no more"
    assert (ours["readings"] == theirs["readings"]).all(), "what was read of it stays"
    usual = ours["quantity"].str.startswith("usual")
    assert ours.loc[usual, "value"].to_numpy() == pytest.approx(theirs.loc[usual, "value"].to_numpy())


def test_a_class_whose_vehicles_all_left_is_no_row(tables: FleetTables) -> None:
    classes = tables.units.set_index("unit")["vehicle_class"]
    alike = [str(unit) for unit in classes.index[classes == classes[GONE]]]
    found = samples_kept.assess(left(tables, DAY, *alike), as_of=DAY)
    assert not found.classes["vehicle_class"].str.startswith(classes[GONE]).any()
    assert set(found.units["unit"]) == set(FEW) - set(alike)


@pytest.mark.nightly
def test_past_lists_have_it_until_it_left(tables: FleetTables) -> None:
    days = [DAY - pd.Timedelta(days=1), DAY]
    lists = dict(backtest_lists(left(tables, DAY, GONE), days))
    ((day, plain),) = backtest_lists(tables, days[:1])
    same(lists[day], plain)
    assert (GONE in set(lists[day].units["unit"]), GONE in set(lists[DAY].units["unit"])) == (True, False)


def test_nothing_to_judge_where_all_have_left(tables: FleetTables) -> None:
    with pytest.raises(ValueError, match="no unit to assess"):
        assess(left(tables, DAY, *FEW), as_of=DAY)


def test_looks_count_a_vehicle_that_left_only_where_it_failed_before(monkeypatch: pytest.MonkeyPatch) -> None:
    """Not to have failed says nothing of a vehicle that was not there to fail; a look before is the very same one."""
    monkeypatch.undo()
    tables = tables_of(fleet())
    known = known_on(tables, DAY)
    past, days = past_looked_at(known.stated, known.vehicles, known.day)
    grids = need_grids(known.vehicles)
    look = look_back(past, days[-1], grids)
    kept = {past.key(days[-1], grids): look}
    monkeypatch.setattr("analysis.forecast.learning.past_looked_at", lambda *_: (past, days[-1:]))
    seen = learn_needs(known.stated, known.vehicles, known.day, looks=dict(kept)).looks.sum()
    assert seen == len(look.read) > 5
    failed = set(tables.repairs.loc[(tables.repairs["reason"] == "no_start"), "unit"])
    sound = next(str(u) for u in look.units[look.read] if u not in failed)
    for after, counted in ((3, seen - 1), (LEARNING.span_d - 2, seen - 1), (LEARNING.span_d - 1, seen)):
        gone = left(known.stated, pd.Timestamp("1970-01-01") + pd.Timedelta(days=days[-1] + after), sound)
        assert learn_needs(gone, known.vehicles, known.day, looks=dict(kept)).looks.sum() == counted, after


def test_a_look_of_a_day_before_is_kept_and_one_after_made_anew(tables: FleetTables) -> None:
    days = [day_number(DAY) - 84.0, day_number(DAY) - 42.0]
    grids = tuple(np.ones((1, 1)) for _ in range(3))
    at = pd.Timestamp("1970-01-01") + pd.Timedelta(days=days[1])
    plain = [past_of(tables, days).key(day, grids) for day in days]
    gone = tables.units.assign(**{LEFT: pd.Series(at, index=tables.units.index).where(tables.units["unit"] == GONE)})
    found = [past_of(replace(tables, units=gone), days).key(day, grids) for day in days]
    assert found[0] == plain[0]
    assert found[1] != plain[1]


def test_the_lives_of_its_parts_end_with_it_unfailed(tables: FleetTables) -> None:
    """Observed for as long as it was there; in the growth laws as a life that is over, at the end of its last day."""
    lives = observed_lives(left(tables, BEFORE, GONE).units, tables.repairs.iloc[:0], DAY, parts=PARTS)
    mine = lives[lives["unit"] == GONE]
    begun = pd.Timestamp(tables.units.set_index("unit").at[GONE, "in_service"])
    assert set(mine["age"]) == {float((BEFORE - begun).days)}
    assert (mine["running"].max(), mine["failed"].max()) == (0.0, 0.0)
    assert (lives.loc[lives["unit"] != GONE, "running"] == 1.0).all()
    record = Renewals(np.array([1]), np.array([50.0]), np.array([True]))
    ended = ended_lives(record, np.full(3, -np.inf), np.array([np.inf, 80.0, np.inf]))
    assert list(zip(ended.unit, ended.begin, ended.end, ended.failed, strict=True)) == [
        (1, -np.inf, 50.0, True),
        (1, 50.0, 81.0, False),
    ]


def test_in_service_is_told_by_the_day() -> None:
    units = pd.DataFrame({"unit": ["a", "b"], LEFT: pd.to_datetime(["2022-12-12", None])})
    days = (pd.Timestamp("2022-12-11"), pd.Timestamp("2022-12-12"))
    assert [in_service(units, day).tolist() for day in days] == [[True, True], [False, True]]
    assert in_service(units.drop(columns=LEFT), days[1]).all(), "a table without the column knows of no leaving"


# --- past lists beside what happened ---------------------------------------------------------------------------------


def test_what_is_not_seen_to_its_end_counts_nowhere() -> None:
    """A flag of a vehicle that was sold is none for nothing, and a horizon that its leaving cut short is none without a no-start."""
    days = pd.date_range("2022-01-03", periods=3, freq="28D")
    lists = pd.DataFrame({"as_of": [*days, *days], "unit": ["a"] * 3 + ["b"] * 3, "part": "battery", "flagged": True,
                          "no_start_probability": 0.2})  # fmt: skip
    units = pd.DataFrame({"unit": ["a", "b"], LEFT: pd.to_datetime(["2022-02-10", None])})
    repairs = pd.DataFrame(
        {"unit": ["b"], "done_on": [pd.Timestamp("2022-01-10")], "part": "battery", "reason": "no_start"}
    )
    known_to, none = pd.Timestamp("2023-06-01"), repairs.iloc[:0]
    flags = judged_flags(lists, none, known_to, left_on(units)).set_index("unit")["outcome"]
    assert flags.to_dict() == {"a": "too early to say", "b": "nothing"}
    rows = labelled(lists, repairs, known_to, horizon_days=30, left=left_on(units))
    assert [(r.unit, r.as_of.day, r.no_start) for r in rows.itertuples()] == [
        ("a", 3, 0.0), ("b", 3, 1.0), ("b", 31, 0.0), ("b", 28, 0.0),
    ]  # fmt: skip


def test_limits_and_lives_of_parts_end_with_it(tables: FleetTables) -> None:
    units = left(tables, BEFORE, GONE).units
    dates = pd.DatetimeIndex([BEFORE - pd.Timedelta(days=1), BEFORE, DAY])
    lists = limit_lists(tables.readings, units, tables.repairs, dates)
    assert lists.loc[lists["unit"] == GONE, "as_of"].tolist() == [dates[0]]
    lives = part_lives(
        units, tables.readings, tables.repairs.iloc[:0], "battery", (BEFORE - pd.Timedelta(days=90), DAY)
    )
    ends = lives.set_index("unit")["ended"]
    assert (ends[GONE], ends[FEW[0]]) == (BEFORE, DAY)


# --- database, folder, command line ----------------------------------------------------------------------------------


def put_out(path: Path, *units: str, day: str = "2022-12-12") -> Database:
    db = store.open_database(path)
    for unit in units:  # what the simulation goes on with is after the last day
        for table, column in (("readings", "taken_at"), ("repairs", "done_on")):
            db.execute(f"DELETE FROM {table} WHERE unit = ? AND date({column}) > ?", [unit, day])
        db.conn.commit()
        entry = correct(db, "vehicle", unit, {"out_of_service": day}, **SOLD)
        assert entry.stored, entry.problems
    return db


def test_the_database_keeps_lists_of_days_before_and_makes_later_ones_anew(tmp_path: Path) -> None:
    path = few_folder(tmp_path)
    db = store.open_database(path)
    db.execute("DELETE FROM readings WHERE date(taken_at) > '2022-12-12'")
    db.execute("DELETE FROM repairs WHERE date(done_on) > '2022-12-12'")
    db.conn.commit()
    days = (dt.date(2022, 12, 11), dt.date(2022, 12, 12))
    was = [judged_version(db, day) for day in days]
    put_out(path, GONE)
    assert [judged_version(db, day) == before for day, before in zip(days, was, strict=True)] == [True, False]
    assert GONE not in set(assess_database(db, as_of=days[1]).units["unit"])
    correct(db, "vehicle", GONE, {"out_of_service": ""}, **SOLD)
    assert GONE in set(assess_database(db, as_of=days[1]).units["unit"])


def test_no_day_to_act_by_is_named_from_a_last_day_ahead_on(tmp_path: Path) -> None:
    """The assessment stays as it was; the list of that day says of a flagged vehicle when it leaves."""
    db, day = store.open_database(few_folder(tmp_path)), dt.date(2022, 12, 12)
    found = assess_database(db, as_of=day)
    flagged = next(row for row in make_body(db, found)["units"] if row["act_by"])
    act_by = dt.date.fromisoformat(flagged["act_by"])
    leaves = max(act_by, day + dt.timedelta(days=1))
    for last, named in (
        (leaves, None if act_by == leaves else flagged["act_by"]),
        (leaves + dt.timedelta(days=1), flagged["act_by"]),
    ):
        put_out(tmp_path / "fleet.db", flagged["unit"], day=last.isoformat())
        assert store.last_days_ahead(db, day) == {flagged["unit"]: last}
        (row,) = [r for r in make_body(db, assess_database(db, as_of=day))["units"] if r["unit"] == flagged["unit"]]
        assert row["act_by"] == named
        assert row["evidence"][-1] == {"kind": "leaves", "on": last.isoformat()}
        assert row["reasons"][-1].startswith(f"its last day in service is {last.day} {last:%b %Y}")
    assert store.last_days_ahead(db, last) == {}


def test_kept_readings_and_a_backup_hold_what_the_database_holds(tmp_path: Path) -> None:
    path = few_folder(tmp_path)
    read_readings(store.open_database(path))
    db = put_out(path, GONE)
    pd.testing.assert_frame_equal(read_readings(db), store.read_readings(db))
    backup(db, tmp_path / "copy.db")
    pd.testing.assert_frame_equal(store.read_units(store.open_database(tmp_path / "copy.db")), store.read_units(db))


def test_all_left_is_one_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = few_folder(tmp_path)
    db = put_out(path, *FEW)
    with pytest.raises(NothingToAssess, match="No vehicle is in service on 2022-12-12: all of the 5"):
        assess_database(db, as_of=dt.date(2022, 12, 12))
    assert main(["--db", str(path), "risk", "--as-of", "2022-12-12"]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_a_folder_of_it_tells_who_leaves_and_makes_the_same_database(tmp_path: Path) -> None:
    """Partitions of three vehicles, of which one holds none that is in service; `test_cluster.py` compares the list of such a folder."""
    pytest.importorskip("pyarrow")
    path = fleet_folder(tmp_path)
    names = [str(u) for u in store.read_units(store.open_database(path))["unit"]]
    put_out(path, names[11], day="2023-01-20")
    db = put_out(path, *names[3:6], names[10])
    folder = export_folder(db, tmp_path / "parquet", vehicles=3).path
    import_folder(folder, tmp_path / "again.db")
    again = store.read_units(store.open_database(tmp_path / "again.db"))
    pd.testing.assert_frame_equal(again, store.read_units(db))
    day = dt.date(2022, 12, 12)
    assert leaving_listed(opened_folder(folder), Here(), names, as_of=day) == {names[11]: dt.date(2023, 1, 20)}


def test_its_sheet_says_so_in_one_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = few_folder(tmp_path)
    put_out(path, GONE)
    told = ("--db", str(path), "--as-of", "2022-12-12")
    assert main(["unit", GONE, *told]) == 0
    said = capsys.readouterr()
    assert said.out.startswith(f"The last day in service of {GONE} is 12 Dec 2022: from that day on it is on no list")
    assert "--as-of 2022-12-11" in said.err
    assert main(["unit", GONE, "--format", "json", *told]) == 0
    body = json.loads(capsys.readouterr().out)
    assert (body["unit"], body["out_of_service"]) == (GONE, "2022-12-12")
    assert main(["unit", GONE, "--db", str(path), "--as-of", "2022-12-11"]) == 0
    assert "Parts (at 20 °C)" in capsys.readouterr().out


def test_a_plan_has_hours_and_pins_for_vehicles_in_service_only() -> None:
    inputs = make_inputs(fleet=9)
    gone = str(inputs.fleet["unit"].iloc[0])
    day = pd.Timestamp("2024-01-01")
    fleet = inputs.fleet.assign(**{LEFT: pd.Series(day, index=inputs.fleet.index).where(inputs.fleet["unit"] == gone)})
    assert gone not in set(replace(inputs, fleet=fleet).in_service(day)["unit"])
    assert len(replace(inputs, fleet=fleet).in_service(day - pd.Timedelta(days=1))) == len(inputs.fleet)
