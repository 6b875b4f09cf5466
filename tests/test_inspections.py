"""What "nothing found" is worth: Bayes' rule by hand, on simulated fleets, from the decision to the list and its words."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import samples_kept
from samples_fleet import Drawn, drawn_of, fleet, quick, tables_of
from samples_ingest import fleet as ingest_fleet

from analysis.readings.panel import FleetTables
from analysis.readings.renewals import PARTS
from analysis.starting.floors import NOWHERE_C, Floors
from analysis.worklist.assess import Assessment
from analysis.worklist.choices import INSPECTION, NAMING
from analysis.worklist.inspections import drawn_ago, gained, inspected
from dashboard.desk.assessment import list_rows
from ingest.records import issue_weekly_list, read_findings, save_decision

pytestmark = pytest.mark.usefixtures("compiled")  # as large fleets are judged

DAY = pd.Timestamp("2022-12-12")
H = 2  # place of the horizon among the times of an assessment


@pytest.fixture(scope="module")
def tables() -> FleetTables:
    return tables_of(fleet())


@pytest.fixture(scope="module")
def before(tables: FleetTables) -> Assessment:
    with pytest.MonkeyPatch.context() as patch:
        quick(patch)
        return samples_kept.assess(tables, as_of=DAY)


def looks(*rows: tuple[str, str, str]) -> pd.DataFrame:
    """Looks that found nothing: unit, part, day."""
    found = pd.to_datetime(pd.Series([r[2] for r in rows], dtype="object"), format="ISO8601").astype("datetime64[us]")
    return pd.DataFrame({"unit": [r[0] for r in rows], "part": [r[1] for r in rows], "found_on": found})


def again(tables: FleetTables, findings: pd.DataFrame) -> Assessment:
    with pytest.MonkeyPatch.context() as patch:
        quick(patch)
        return samples_kept.assess(replace(tables, findings=findings), as_of=DAY)


def blamed(found: Assessment, least: float = 0.99) -> pd.Series:
    """A vehicle at risk whose readings blame one part."""
    rows = found.units[(found.units["part_probability"] >= least) & (found.units["failed_starts"] == 0)]
    return rows.iloc[0]


def surely_blamed(found: Assessment) -> pd.Series:
    """Of these the one of which the most draws blame that part, not only those that fail soon."""
    names = drawn_of(found).state.panel.units["unit"].astype(str).tolist()
    rows = found.units[(found.units["part_probability"] >= 0.99) & (found.units["failed_starts"] == 0)]
    sure = [
        shares_of(found, names.index(u), 3.0)[PARTS.index(p)] for u, p in zip(rows["unit"], rows["part"], strict=True)
    ]
    assert max(sure) > 0.99
    return rows.iloc[int(np.argmax(sure))]


def shares_of(found: Assessment | Drawn, row: int, ago_d: float) -> np.ndarray:
    """(7,) weight of the draws in which each part limits the start ahead and cost it something then, worked out apart."""
    own = found if isinstance(found, Drawn) else drawn_of(found)
    state, outlook, rows = own.state, own.prognosis, np.array([row])
    ahead = gained(state, outlook, rows, state.drawn[H][:, rows])[:, 0]
    then = gained(state, outlook, rows, drawn_ago(state, rows, np.array([ago_d])))[:, 0]
    weight = outlook.alive[row] / outlook.alive[row].sum()
    best = np.where(ahead.max(axis=0) > NAMING.least_gain_k, ahead.argmax(axis=0), -1)
    return np.array([weight[(best == k) & (then[k] > NAMING.least_gain_k)].sum() for k in range(len(PARTS))])


def test_by_hand_of_vehicles_and_parts(before: Assessment) -> None:
    """Bayes' rule: P (1 - s) / (1 - P s), where readings alone are never surer than `INSPECTION.surest`; twice, with (1 - s) squared.

    Of every other vehicle, for time.
    """
    state, outlook = drawn_of(before).state, drawn_of(before).prognosis
    names = state.panel.units["unit"].astype(str).tolist()
    s, told = INSPECTION.sees, 0
    for row, name in list(enumerate(names))[::2]:
        prior = np.minimum(shares_of(before, row, 4.0), INSPECTION.surest)
        for k in np.flatnonzero(prior > 0.05):
            for days, missed in ((("2022-12-08",), 1 - s), (("2022-12-08", "2022-11-30"), (1 - s) ** 2)):
                found = looks(*[(name, PARTS[k], day) for day in days])
                after, said = inspected(state, outlook, H, found)
                if not np.isfinite(said.looked_day[row]):
                    continue
                if len(days) == 2 and shares_of(before, row, 12.0)[k] != shares_of(before, row, 4.0)[k]:
                    continue  # the fault came between the two looks
                draws = replace(drawn_of(before), prognosis=after)
                share = shares_of(draws, row, 4.0)[k] * (1.0 - said.sound[row] / (1.0 - said.repaired[row]))
                assert share == pytest.approx(prior[k] * missed / (1.0 - prior[k] * (1.0 - missed)), rel=1e-6)
                assert after.renewed[row] == pytest.approx(said.sound[row] + said.repaired[row])
                told += 1
    assert told > 10


def test_a_look_lowers_the_probability_the_flag_and_the_part_and_nothing_else(
    tables: FleetTables, before: Assessment
) -> None:
    unit = surely_blamed(before)
    after = again(tables, looks((str(unit["unit"]), str(unit["part"]), "2022-12-09")))
    row = after.units.set_index("unit").loc[unit["unit"]]
    for name in ("no_start_probability", "flag_probability", "part_probability"):
        assert row[name] < unit[name], name
    s, p = INSPECTION.sees, INSPECTION.surest
    assert row["part_probability"] == pytest.approx(p * (1 - s) / (1 - p * s), abs=0.02)
    own = after.parts[(after.parts["unit"] == unit["unit"]) & (after.parts["part"] == unit["part"])]
    assert own["part_probability"].iloc[0] == pytest.approx(row["part_probability"])
    chance = after.outlook.set_index("unit").loc[unit["unit"], "probability"].to_numpy()
    assert (chance < before.outlook.set_index("unit").loc[unit["unit"], "probability"].to_numpy()).all()
    others = [a.units[a.units["unit"] != unit["unit"]].set_index("unit").sort_index() for a in (before, after)]
    pd.testing.assert_frame_equal(*others)


def test_a_battery_that_would_freeze_gains_by_its_renewal(before: Assessment) -> None:
    """Definition of the floor: a new battery is a charged one, also where a look asks what each part costs the start."""
    n = len(drawn_of(before).state.group)
    frozen = Floors(np.full(n, NOWHERE_C), np.full(n, 30.0), np.zeros(n, dtype=np.int64))
    outlook, rows = drawn_of(before).prognosis, np.arange(n)
    outlook = replace(outlook, limits=replace(outlook.limits, floors=frozen))
    gain = gained(drawn_of(before).state, outlook, rows, drawn_of(before).state.drawn[1])
    battery = PARTS.index("battery")
    assert (gain[battery] > NAMING.least_gain_k).mean() > 0.9
    starts = drawn_of(before).prognosis.coldest[1] < 30.0  # nothing but the frozen battery keeps these draws from it
    assert starts.mean() > 0.99
    assert (np.delete(gain, battery, axis=0)[:, starts] == 0.0).all()


def test_words_and_fields_say_so(tables: FleetTables, before: Assessment) -> None:
    unit = surely_blamed(before)
    after = again(tables, looks((str(unit["unit"]), str(unit["part"]), "2022-12-09")))
    (row,) = [r for r in list_rows(after, tables.readings, flagged_only=False) if r["unit"] == unit["unit"]]
    assert (row["looked_on"], row["looked_part"]) == ("2022-12-09", unit["part"])
    sentence = next(r for r in row["reasons"] if r.startswith("looked at on 9 December, nothing found on the "))
    assert f": {round(100 * row['sound_probability'])} % sure that it is sound after all" in sentence
    plain = list_rows(before, tables.readings, flagged_only=False)
    assert not any("nothing found" in text for r in plain for text in r["reasons"])
    assert all((r["looked_on"], r["looked_part"], r["sound_probability"]) == (None, "", 0.0) for r in plain)


def test_one_week_counts_once_and_the_next_again(before: Assessment) -> None:
    unit = blamed(before)
    name, part = str(unit["unit"]), str(unit["part"])
    once = inspected(drawn_of(before).state, drawn_of(before).prognosis, H, looks((name, part, "2022-12-07T08:00")))
    same = inspected(
        drawn_of(before).state,
        drawn_of(before).prognosis,
        H,
        looks((name, part, "2022-12-06T08:00"), (name, part, "2022-12-07T08:00")),
    )
    twice = inspected(
        drawn_of(before).state,
        drawn_of(before).prognosis,
        H,
        looks((name, part, "2022-12-02"), (name, part, "2022-12-07T08:00")),
    )
    np.testing.assert_array_equal(once[0].renewed, same[0].renewed)
    np.testing.assert_array_equal(once[0].alive, same[0].alive)
    row = drawn_of(before).state.panel.units["unit"].astype(str).tolist().index(name)
    assert twice[1].sound[row] > once[1].sound[row] > 0


def test_what_does_not_count(tables: FleetTables, before: Assessment) -> None:
    """A look of the day or later, one before the part was renewed, one at a vehicle nobody knows: nothing changes."""
    unit = blamed(before)
    name, part = str(unit["unit"]), str(unit["part"])
    late = again(tables, looks((name, part, "2022-12-12T07:00")))
    pd.testing.assert_frame_equal(late.units, before.units)
    state, outlook = drawn_of(before).state, drawn_of(before).prognosis
    assert inspected(state, outlook, H, looks(("nobody", part, "2022-12-01")))[1].sound.max() == 0.0
    row = state.panel.units["unit"].astype(str).tolist().index(name)
    renewed = replace(state, reset_day=state.reset_day.copy())
    renewed.reset_day[:, row] = state.day - 1.0
    after, said = inspected(renewed, outlook, H, looks((name, part, "2022-12-01")))
    assert np.isnan(said.looked_day[row])
    np.testing.assert_array_equal(after.alive, outlook.alive)


def test_a_look_without_a_part_is_one_at_the_part_that_the_readings_blame(before: Assessment) -> None:
    unit = blamed(before)
    named = inspected(
        drawn_of(before).state,
        drawn_of(before).prognosis,
        H,
        looks((str(unit["unit"]), str(unit["part"]), "2022-12-07")),
    )
    plain = inspected(
        drawn_of(before).state, drawn_of(before).prognosis, H, looks((str(unit["unit"]), "", "2022-12-07"))
    )
    np.testing.assert_array_equal(named[0].renewed, plain[0].renewed)
    assert named[1].part == plain[1].part


def test_a_start_that_failed_is_no_reading_that_misleads(before: Assessment) -> None:
    """Where a failed start stands, the look shifts the blame between parts, and nobody says that it is sound."""
    unit = blamed(before)
    row = drawn_of(before).state.panel.units["unit"].astype(str).tolist().index(str(unit["unit"]))
    failures = drawn_of(before).prognosis.failures
    count = failures.count.copy()
    count[row] = 1
    failed = replace(drawn_of(before).prognosis, failures=replace(failures, count=count))
    _, said = inspected(drawn_of(before).state, failed, H, looks((str(unit["unit"]), str(unit["part"]), "2022-12-07")))
    assert said.sound[row] == 0.0


def test_the_part_looked_at_is_the_one_on_the_list_of_that_week(tmp_path: Path) -> None:
    """From the decision: the issued list of its week names the part; only what nobody withdrew, and before the day."""
    db = ingest_fleet(tmp_path)
    body = {"units": [{"unit": "K-102", "part": "battery"}, {"unit": "K-101", "part": "ground_path"}]}
    issue_weekly_list(db, "2024-W22", as_of=date(2024, 5, 27), body=body)
    for unit, week, kind, at in (
        ("K-101", "2024-W22", "nothing_found", datetime(2024, 5, 28, 9)),
        ("K-101", "2024-W22", "accepted", datetime(2024, 5, 29, 9)),
        ("K-101", "2024-W23", "nothing_found", datetime(2024, 6, 4, 9)),
        ("K-102", "2024-W22", "nothing_found", datetime(2024, 6, 6, 9)),
    ):
        save_decision(db, unit=unit, iso_week=week, kind=kind, by="m", now=at)
    found = read_findings(db, before=date(2024, 6, 6))
    assert found[["unit", "part"]].to_numpy().tolist() == [["K-101", "ground_path"], ["K-101", ""]]
    assert found["found_on"].tolist() == [pd.Timestamp("2024-05-28 09:00"), pd.Timestamp("2024-06-04 09:00")]
    assert read_findings(db).iloc[-1].tolist()[:2] == ["K-102", "battery"]
    assert read_findings(db, before=date(2024, 1, 1)).empty
