"""Looks at the past are kept and taken again: a later list is the same as one worked out from nothing, whatever was done.

Truth: `assess` without anything kept, on the tables as they are then.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from samples_chance import is_night, more_by_night
from samples_fleet import FEW, few_folder, fleet, tables_of

from analysis.forecast import learning, past
from analysis.forecast.choices import LEARNING
from analysis.forecast.past import look_days, past_of, sample
from analysis.readings.panel import FleetTables, days_since_epoch, make_panel
from analysis.readings.taught import TaughtClass
from analysis.wear.state import day_number
from analysis.worklist.assess import assess
from dashboard.desk.assessment import assess_database, list_rows, load_tables, terms_of
from dashboard.desk.kept_assessment import FOLDER, KEPT_LOOKS, LOOK_SUFFIX, KeptLooks
from dashboard.desk.kept_readings import read_readings
from dashboard.judging.past_lists import past_lists
from ingest.corrections import correct, undo, withdraw
from ingest.entries import record_reading, record_repair
from ingest.importer import import_paths
from ingest.store import open_database

pytestmark = pytest.mark.usefixtures("compiled")  # as large fleets are judged

FIRST = dt.date(2022, 9, 5)
LOOKS = 2  # few, for time
WEEK = dt.timedelta(days=7)


@pytest.fixture(autouse=True)
def made(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """Days of the looks that are made."""
    monkeypatch.setattr(past, "LEARNING", replace(LEARNING, looks=LOOKS))
    days: list[float] = []
    look_back = learning.look_back

    def noted(of: past.Past, day: float, *arguments: object, **options: object) -> learning.Look:
        days.append(day)
        return look_back(of, day, *arguments, **options)  # type: ignore[arg-type]

    monkeypatch.setattr(learning, "look_back", noted)
    return days


def same(found: pd.DataFrame, other: pd.DataFrame) -> None:
    pd.testing.assert_frame_equal(found, other, rtol=0.0, atol=1e-9)


def acts(path: Path, rng: np.random.Generator) -> list[str]:
    """What is done in a week, by chance: readings old and new, a file of them, a repair, corrections, withdrawals, undoing."""
    db = open_database(path)
    units = list(FEW)
    who = {"by": "anna", "reason": "wrong", "now": dt.datetime(2023, 6, 1)}
    numbers = [n for (n,) in db.execute("SELECT reading_id FROM readings ORDER BY 1").fetchall()]
    done = []
    for act in rng.choice(["old", "new", "file", "repair", "correct", "withdraw", "undo"], size=4, replace=False):
        unit, at = str(rng.choice(units)), dt.datetime(2022, 9, 1) - dt.timedelta(days=int(rng.integers(1, 400)))
        values = {"unit": unit, "rest_v": 12.5, "crank_min_v": round(float(rng.uniform(9.6, 10.4)), 2), "crank_a": 180}
        if act == "old":
            record_reading(db, {**values, "taken_at": at.isoformat()}, now=who["now"], by="anna")
        elif act == "new":
            record_reading(db, {**values, "taken_at": "2022-09-03T07:10"}, now=who["now"], by="anna")
        elif act == "file":
            file = path.with_name("more.csv")
            rows = [
                {**values, "unit": str(one), "taken_at": at.isoformat()} for one in rng.choice(units, 3, replace=False)
            ]
            pd.DataFrame(rows).to_csv(file, index=False)
            assert import_paths(db, [file], now=who["now"]).stored == 3
        elif act == "repair":
            row = {"unit": unit, "done_on": at.date().isoformat(), "part": "battery", "action": "replaced"}
            record_repair(db, {**row, "reason": "no_start"}, now=who["now"], by="anna")
        elif act == "correct":
            correct(db, "reading", int(rng.choice(numbers)), {"temperature_c": 4.0}, **who)
        else:
            entry = withdraw(db, "reading", int(rng.choice(numbers)), **who)
            if act == "undo":
                undo(db, entry.change or 0, by="anna", now=who["now"])
        done.append(str(act))
    db.conn.close()
    return done


@pytest.mark.parametrize("seed", [pytest.param(seed, marks=pytest.mark.nightly) for seed in (1, 2, 3)])
def test_any_sequence_of_acts_gives_the_list_of_a_full_run(tmp_path: Path, seed: int) -> None:
    """Two lists a week apart, with acts by chance between them: each equal to one that takes nothing kept, to 1e-9."""
    path, rng = few_folder(tmp_path), np.random.default_rng(seed)
    for week in range(2):
        assert len(acts(path, rng)) == 4
        day = FIRST + week * WEEK
        db = open_database(path)
        found = assess_database(db, as_of=day)
        full = assess(load_tables(db, before=day), as_of=pd.Timestamp(day), tolerated_false_flags=5.0)
        for name in ("units", "parts", "outlook", "classes"):
            same(getattr(found, name), getattr(full, name))
        db.conn.close()


@more_by_night
def test_the_next_weeks_make_at_most_the_newest_look(tmp_path: Path, made: list[float]) -> None:
    """Lists of six weeks, each with a new reading: all looks for the first, and one more in all after it; a reading of two
    years ago makes all of them anew. By day the first and the last week."""
    path = few_folder(tmp_path)
    values = {"unit": FEW[0], "rest_v": 12.5, "crank_min_v": 10.2, "crank_a": 180}
    first = None
    for week in (0, 1, 6) if is_night() else (0, 6):
        day = FIRST + week * WEEK
        db = open_database(path)
        taken = dt.datetime.combine(day, dt.time(6)) - dt.timedelta(days=3)
        record_reading(db, {**values, "taken_at": taken.isoformat()}, now=taken, by="anna")
        assess_database(db, as_of=day)
        db.conn.close()
        first = first or len(made)
    assert first == LOOKS
    assert len(made) == first + 1
    db = open_database(path)
    record_reading(db, {**values, "taken_at": "2021-03-01T06:00"}, now=dt.datetime(2023, 1, 1), by="anna")
    assess_database(db, as_of=FIRST + 6 * WEEK)
    assert len(made) == 2 * first + 1


@pytest.mark.nightly
def test_looks_are_kept_beside_the_database_and_a_damaged_one_is_made_again(
    tmp_path: Path, made: list[float], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = few_folder(tmp_path)
    folder = Path(f"{path}{FOLDER}")
    list_of = assess_database(open_database(path), as_of=FIRST).units
    looks = sorted(folder.glob(f"*{LOOK_SUFFIX}"))
    assert len(looks) == len(made) == LOOKS
    assert {one.stat().st_mode & 0o777 for one in looks} == {0o600}
    looks[0].write_bytes(looks[0].read_bytes()[:-1])
    for kept in folder.glob("*.kept"):
        kept.unlink()
    same(assess_database(open_database(path), as_of=FIRST).units, list_of)
    assert len(made) == LOOKS + 1, "only the damaged one"
    monkeypatch.setattr("dashboard.desk.kept_assessment.KEPT_LOOKS", 1)
    KeptLooks(folder).forget()
    assert len(sorted(folder.glob(f"*{LOOK_SUFFIX}"))) == 1 < KEPT_LOOKS


@pytest.mark.nightly
def test_past_lists_take_the_looks_of_the_lists_before_them_and_keep_their_own(
    tmp_path: Path, made: list[float]
) -> None:
    """Looks for a list; past lists of that day and six weeks before it make the one before those, and again none."""
    path = few_folder(tmp_path)
    db = open_database(path)
    found, readings = assess_database(db, as_of=FIRST), read_readings(db)
    listed = list_rows(found, readings, terms_of(db, FIRST), flagged_only=False)
    assert len(made) == LOOKS
    days = [pd.Timestamp(FIRST - 6 * WEEK), pd.Timestamp(FIRST)]
    for _ in range(2):
        _, again = past_lists(open_database(path), days, processes=1)
        assert again.rows == listed
        assert len(made) == LOOKS + 1


def test_a_look_rests_on_nothing_that_came_after_it_nor_on_the_order_of_rows() -> None:
    tables = tables_of(fleet())
    day = day_number(pd.Timestamp(FIRST))
    days = look_days(tables.before(pd.Timestamp(FIRST)), day)
    grids = learning.need_grids(make_panel(tables.units, tables.readings.iloc[:0]))

    def keys(of: FleetTables) -> list[str]:
        of = of.before(pd.Timestamp(FIRST))
        return [past_of(of, days).key(d, grids) for d in days]

    plain = keys(tables)
    assert len(set(plain)) == len(days)
    turned = replace(tables, readings=tables.readings.iloc[::-1], repairs=tables.repairs.iloc[::-1])
    assert keys(turned) == plain
    at = days_since_epoch(tables.readings["taken_at"])
    later = tables.readings.assign(rest_v=tables.readings["rest_v"].where(at < days[-1], 12.0))
    assert keys(replace(tables, readings=later)) == plain
    never = tables.units.iloc[:1].assign(unit="never read")
    assert keys(replace(tables, units=pd.concat([tables.units, never]))) == plain
    earlier = tables.readings.assign(rest_v=tables.readings["rest_v"].where(at >= days[0], 12.0))
    assert not set(keys(replace(tables, readings=earlier))) & set(plain)
    assert not {past_of(tables, days).key(d, (grids[0] + 1.0, *grids[1:])) for d in days} & set(plain)
    lows = fleet().lows  # a look knows them until its window is over
    measured = keys(replace(tables, lows=lows))
    over = days_since_epoch(lows["date"]) >= days[0] + LEARNING.span_d
    assert keys(replace(tables, lows=lows[~over]))[0] == measured[0]
    in_it = ~over & (days_since_epoch(lows["date"]) >= days[0])
    assert in_it.any()
    assert keys(replace(tables, lows=lows.assign(low_c=lows["low_c"].where(~in_it, -1.0))))[0] != measured[0]
    assert not set(keys(replace(tables, taught=(TaughtClass("van 12 V", 9, 90, 0, *[np.zeros(2)] * 12),)))) & set(plain)


def test_the_sample_of_a_large_fleet_stays_when_vehicles_come(monkeypatch: pytest.MonkeyPatch) -> None:
    """A hundred vehicles of three hundred: those read later change nothing, one that was read before or left at most one place."""
    monkeypatch.setattr(past, "UNITS_LOOKED_AT", 100)
    first = pd.Series(np.arange(300.0), index=[f"V{k}" for k in range(300)])

    def sampled(first: pd.Series, **left: float) -> list[str]:
        return sample(
            first,
            pd.Series(np.inf, index=first.index)
            if not left
            else pd.Series(left).reindex(first.index, fill_value=np.inf),
            200.0,
        )

    before = sampled(first)
    assert len(before) == 100
    assert sampled(first[::-1]) == before
    assert sampled(pd.concat([first, pd.Series([200.0], index=["later"])])) == before
    more = sampled(pd.concat([first, pd.Series([1.0], index=["earlier"])]))
    assert len(set(before) - set(more)) <= 1
    gone = before[3]
    assert set(before) - set(sampled(first, **{gone: 200.0})) == {gone}
    assert sampled(first, **{gone: 201.0}) == before
