"""Outcomes of starts as evidence: a failure that nobody repaired leads the list, and what a start says of the cold.

Truth: worked by hand on constructed starts, laws of probability, and a simulated fleet to which outcomes are added.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import samples_kept
from samples_fleet import few, fleet, quick, tables_of

from analysis.bay import findings as segments
from analysis.readings.choices import LIKELY_PARTS, OUTCOMES
from analysis.readings.outcomes import (
    FAILED,
    Starts,
    blamed,
    last_repair,
    no_starts_on_record,
    outcome_weight,
    standing_failures,
)
from analysis.readings.panel import FleetTables, Floats
from analysis.readings.renewals import PARTS
from analysis.worklist.assess import Assessment, assess
from ingest import fields

pytestmark = pytest.mark.usefixtures("compiled")  # as large fleets are judged

DAY = pd.Timestamp("2022-12-12")
NEVER = np.array([-np.inf])
STRAY = OUTCOMES.stray_share


def starts(*rows: tuple[int, float, str, float]) -> Starts:
    """Starts of (vehicle, day, outcome, degC)."""
    unit, day, kind, cold = zip(*rows, strict=True)
    return Starts(np.array(unit), np.array(day, dtype=float), np.array(kind, dtype=object), np.array(cold, dtype=float))


def with_outcomes(tables: FleetTables, *rows: tuple[str, str, str, float]) -> FleetTables:
    """The tables with more starts: (vehicle, time, outcome, degC)."""
    frame = pd.DataFrame(rows, columns=["unit", "taken_at", "outcome", "temperature_c"])
    frame["taken_at"] = pd.to_datetime(frame["taken_at"]).astype("datetime64[us]")
    readings = tables.readings if "outcome" in tables.readings else tables.readings.assign(outcome="")
    more = pd.concat([readings, frame.reindex(columns=readings.columns)], ignore_index=True)
    more["doubtful"] = more["doubtful"].fillna("") if "doubtful" in more else ""
    return FleetTables(tables.units, more, tables.repairs, tables.climate, tables.forecast)


@pytest.fixture
def assessed(monkeypatch: pytest.MonkeyPatch) -> Assessment:
    """The small fleet without outcomes."""
    quick(monkeypatch)
    return samples_kept.assess(tables_of(fleet()), as_of=DAY)


# --- the vocabulary --------------------------------------------------------------------------------------------------


def test_the_kinds_of_failure_are_those_that_can_be_recorded() -> None:
    """Definition: every recordable outcome but these is a start, or not the starting system's fault."""
    assert set(fields.OUTCOMES) - set(FAILED) == {"started", "slow", "cranks_only"}
    assert set(segments.OUTCOMES) == set(fields.OUTCOMES)
    assert {name for name in dir(LIKELY_PARTS) if not name.startswith("_")} == set(FAILED)
    for shares in (getattr(LIKELY_PARTS, kind) for kind in FAILED):
        assert len(shares) == len(PARTS)
        assert sum(shares) == pytest.approx(1.0)


# --- failures that stand ---------------------------------------------------------------------------------------------


def test_a_failure_stands_until_a_repair_of_the_same_day_or_later() -> None:
    """Worked by hand: three failures; a repair before them leaves three, one on the last day none, one between them one."""
    told = starts((0, 90.3, "no_start", -3.0), (0, 92.3, "click", -1.0), (0, 95.3, "chatter", np.nan))
    for repaired, count in ((-np.inf, 3), (89.0, 3), (92.0, 1), (95.0, 0), (99.0, 0)):
        found = standing_failures(told, np.array([repaired]), 100.0, 0.9, STRAY)
        assert found.count.tolist() == [count]
        assert found.any.tolist() == [count > 0]
    found = standing_failures(told, NEVER, 100.0, 1.0, STRAY)
    assert (found.kind[0], found.last_day[0], found.temperature_c[0]) == ("chatter", 95.3, -1.0)


def test_how_probable_it_is_that_the_fault_is_still_there() -> None:
    """Worked by hand: of one failure `stray_share` are none of the circuit's; the second of a fault is `again_times` as likely as
    another stray one, and quiet days speak against both. Where nobody records repairs it may as well be mended."""
    told = starts((0, 100.0, "no_start", 0.0), (1, 90.0, "no_start", 0.0), (1, 95.0, "no_start", 0.0))
    share = 0.6
    quiet, half = np.exp(-OUTCOMES.again_per_day * 5.0), np.exp(-OUTCOMES.again_per_day * 2.5)
    found = standing_failures(told, np.full(3, -np.inf), 105.0, 1.0, share)
    begun = (0.4 * OUTCOMES.again_times * quiet * quiet**2, share * 0.4 * quiet**2)
    for u, fault, none in ((0, 0.4 * quiet, share), (1, sum(begun), share**2)):
        assert found.stands[u] == pytest.approx(fault / (fault + none))
        assert found.circuits[u] == pytest.approx(fault / (fault + none))
    assert found.stands[1] > 0.8 > found.stands[0]
    assert found.stands[2] == 0.0
    again = found.again(np.array([7.0, 30.0, 1e6]))
    assert again.shape == (3, 3)
    assert (np.diff(again, axis=1) >= 0).all()
    assert again[:, 2] == pytest.approx(found.stands)
    seldom = standing_failures(told, np.full(3, -np.inf), 105.0, 0.5, 0.4)
    stands, mended = 0.6 * 0.5 * half, 0.6 * 0.5
    assert seldom.stands[0] == pytest.approx(stands / (stands + mended + 0.4))
    assert seldom.circuits[0] == pytest.approx(stands / (stands + 0.4))


def test_a_failure_leads_as_long_as_its_fault_is_likely_enough_there() -> None:
    """Definition: after quiet weeks it leads no longer; where most failures are none of the circuit's, one alone never does, and three
    mornings one after the other do all the same."""
    once = starts((0, 100.0, "no_start", 0.0))
    thrice = starts(*((0, 100.0 + d, "no_start", 0.0) for d in range(3)))
    assert standing_failures(once, NEVER, 130.0, 0.9, STRAY).any[0]
    late = standing_failures(once, NEVER, 160.0, 0.9, STRAY)
    assert (late.any[0], late.count[0], late.stands[0], late.kind[0]) == (False, 0, 0.0, "")
    assert 0.0 < late.circuits[0] < OUTCOMES.leads
    assert not standing_failures(once, NEVER, 101.0, 0.9, 0.9).any[0]
    assert standing_failures(thrice, NEVER, 103.0, 0.9, 0.9).any[0]
    weeks = [(0, 104.0 + 2 * i, "started", -3.0) for i in range(14)]
    assert not standing_failures(starts((0, 100.0, "no_start", 0.0), *weeks), NEVER, 133.0, 0.9, STRAY).any[0]


def test_starts_as_cold_as_the_failure_take_it_off_the_list() -> None:
    """Definition: three of them, and a warm start says nothing."""
    failed = (0, 90.0, "no_start", -5.0)
    cold = [(0, 91.0 + i, "started", -5.5) for i in range(3)]
    warm = [(0, 91.0 + i, "started", 9.0) for i in range(9)]
    assert not standing_failures(starts(failed, *cold), NEVER, 100.0, 0.9, STRAY).any[0]
    assert standing_failures(starts(failed, *cold[:2]), NEVER, 100.0, 0.9, STRAY).any[0]
    assert standing_failures(starts(failed, *warm), NEVER, 100.0, 0.9, STRAY).any[0]
    assert not standing_failures(starts((0, 90.0, "cranks_only", -5.0)), NEVER, 100.0, 0.9, STRAY).any[0]


# --- what an outcome says of the draws -------------------------------------------------------------------------------


def test_a_failure_speaks_for_warm_coldest_starts_and_a_start_against_them() -> None:
    """Worked by hand: at -10 degC, draws that start down to -30, -10 and +10 degC, half a standard error at its middle; a failure that
    had nothing to do with the circuit says nothing."""
    coldest = np.array([[-30.0, -10.0, 10.0]])
    season = np.zeros(1)

    def weight(kind: str) -> np.ndarray:
        told = starts((0, 95.0, kind, -10.0))
        failures = standing_failures(told, NEVER, 100.0, 0.9, STRAY)
        return outcome_weight(told, failures, NEVER, (coldest, coldest), season, (40.0, 100.0))[0][0]

    half = OUTCOMES.unexplained + (1.0 - OUTCOMES.unexplained) * 0.5
    circuits = standing_failures(starts((0, 95.0, "no_start", -10.0)), NEVER, 100.0, 0.9, STRAY).circuits[0]
    by_hand = 1.0 - circuits + circuits * np.array([OUTCOMES.unexplained, half, 1.0])
    assert weight("no_start") == pytest.approx(by_hand, abs=1e-6)
    assert weight("started") == pytest.approx([1.0, half, OUTCOMES.unexplained], abs=1e-6)
    slow = weight("slow")
    assert slow[1] > 5 * slow[0]
    assert slow[1] > 5 * slow[2]
    assert weight("cranks_only").tolist() == [1.0, 1.0, 1.0]


def test_a_start_before_the_last_repair_says_nothing_of_the_part_now_fitted() -> None:
    """Definition."""
    told = starts((0, 80.0, "started", -20.0), (0, 81.0, "slow", -5.0), (0, 82.0, "no_start", -8.0))
    repaired = np.array([85.0])
    failures = standing_failures(told, repaired, 100.0, 0.9, STRAY)
    coldest = np.array([[-30.0, 0.0]])
    weight = outcome_weight(told, failures, repaired, (coldest, coldest), np.zeros(1), (40.0, 100.0))[0]
    assert weight.tolist() == [[1.0, 1.0]]


def test_many_starts_in_one_cold_say_no_more_than_the_coldest_of_them() -> None:
    """Definition: starts of one vehicle share their errors; the order they come in does not matter."""
    cold = [(0, 60.0 + i, "started", -1.0 * i) for i in range(20)]
    coldest = np.array([[-30.0, -18.0, 5.0]])

    def weight(rows: list[tuple[int, float, str, float]]) -> np.ndarray:
        told = starts(*rows)
        failures = standing_failures(told, NEVER, 100.0, 0.9, STRAY)
        return outcome_weight(told, failures, NEVER, (coldest, coldest), np.zeros(1), (40.0, 100.0))[0]

    assert weight(cold) == pytest.approx(weight(cold[-1:]))


def test_unwritten_temperatures_tell_less() -> None:
    """Property: where nobody wrote the cold down, draws on both sides of the season's low differ less."""
    coldest = np.array([[-15.0, 5.0]])
    ratio = []
    for cold in (-5.0, np.nan):
        told = starts((0, 95.0, "no_start", cold))
        failures = standing_failures(told, NEVER, 100.0, 0.9, STRAY)
        weight = outcome_weight(told, failures, NEVER, (coldest, coldest), np.array([-5.0]), (40.0, 100.0))[0][0]
        ratio.append(weight[1] / weight[0])
    assert 1.0 < ratio[1] < ratio[0]
    assert OUTCOMES.sd_k < OUTCOMES.unknown_sd_k


def share_of(part: str, share: float) -> Floats:
    """(1, 7) a share of one part."""
    return share * (np.array(PARTS) == part).astype(np.float64)[None]


def test_the_kind_of_failure_names_the_part_where_readings_leave_it_open() -> None:
    """Definition: chatter is the battery, spinning the starter, silence the control side; shares stay a distribution."""
    nil = np.zeros((1, len(PARTS)))
    expected = {"chatter": "battery", "spins": "starter_motor", "no_click": "control_circuit"}
    for kind, part in expected.items():
        failures = standing_failures(starts((0, 95.0, kind, 0.0)), NEVER, 100.0, 0.9, STRAY)
        for open_share in (0.0, 1.0):
            found = blamed(nil, nil, replace(failures, unexplained=np.array([open_share])))
            assert PARTS[found[0].argmax()] == part
            assert found.sum() == pytest.approx(1.0 - OUTCOMES.unexplained)
    own = share_of("solenoid_contacts", 0.9)
    failures = standing_failures(starts((0, 95.0, "click", 0.0)), NEVER, 100.0, 0.9, STRAY)
    shown = replace(failures, unexplained=np.array([0.0]))
    assert PARTS[blamed(own, nil, shown)[0].argmax()] == "solenoid_contacts"
    none = standing_failures(starts((0, 95.0, "started", 0.0)), NEVER, 100.0, 0.9, STRAY)
    assert blamed(own, nil, none).tolist() == own.tolist()


def test_what_readings_do_not_show_is_the_kind_of_failure_s_and_of_what_wears() -> None:
    """By hand: a vehicle that the cold would stop by its starter (.9), and that made no sound at 6 °C, has a control circuit at fault;
    one that clicked and whose contacts surely wear has them so, ten times as likely beside the motor's .30 as their .25 says."""
    own = share_of("starter_motor", 0.9)
    silent = standing_failures(starts((0, 95.0, "no_click", 6.0)), NEVER, 100.0, 0.9, STRAY)
    found = blamed(own, np.zeros((1, len(PARTS))), silent)[0]
    assert found.tolist() == pytest.approx([(1.0 - OUTCOMES.unexplained) * share for share in LIKELY_PARTS.no_click])
    clicked = standing_failures(starts((0, 95.0, "click", 2.0)), NEVER, 100.0, 0.9, STRAY)
    found = blamed(own, share_of("solenoid_contacts", 1.0), clicked)[0]
    contacts, motor = (found[PARTS.index(part)] for part in ("solenoid_contacts", "starter_motor"))
    assert contacts / motor == pytest.approx(OUTCOMES.worn_counts * 0.25 / 0.30)
    half = blamed(own, share_of("solenoid_contacts", 1.0), replace(clicked, unexplained=np.array([0.5])))[0]
    assert motor < half[PARTS.index("starter_motor")] < contacts


# --- on record -------------------------------------------------------------------------------------------------------


def test_no_starts_on_record_are_repairs_and_outcomes_once_a_day() -> None:
    """Worked by hand."""
    made = tables_of(fleet())
    unit = str(made.units["unit"].iloc[0])
    repairs = pd.DataFrame(
        {"unit": [unit], "done_on": [pd.Timestamp("2022-03-01")], "part": ["battery"], "action": ["replaced"], "reason": ["no_start"]}
    )  # fmt: skip
    tables = FleetTables(made.units, made.readings.iloc[:0], repairs, made.climate, made.forecast)
    tables = with_outcomes(
        tables,
        (unit, "2022-03-01 06:00", "no_start", -3.0),
        (unit, "2022-03-02 06:00", "click", -3.0),
        (unit, "2022-03-02 07:00", "click", -3.0),
        (unit, "2022-03-03 06:00", "started", -3.0),
        (unit, "2022-03-04 06:00", "cranks_only", -3.0),
    )
    found = no_starts_on_record(tables.repairs, tables.readings)
    assert found["date"].dt.strftime("%m-%d").tolist() == ["03-01", "03-02"]
    assert found["part"].tolist() == ["battery", ""]
    assert last_repair(made.units, repairs, np.full((7, len(made.units)), -np.inf)).max() > 0


# --- in the list -----------------------------------------------------------------------------------------------------


def test_three_failed_mornings_lead_the_list_until_they_are_repaired(
    assessed: Assessment, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A vehicle at the end of the list, three no-starts on record: first, flagged, with that as its figures; after a
    repair it is where it was."""
    quick(monkeypatch)
    unit = str(assessed.units["unit"].iloc[-1])
    failed = [(unit, f"2022-12-{d:02d} 06:30", "no_start", -2.0) for d in (5, 7, 9)]
    tables = with_outcomes(tables_of(fleet()), *failed)
    first = assess(tables, as_of=DAY).units.iloc[0]
    assert first["unit"] == unit
    assert first["flagged"]
    assert first["failed_starts"] == 3
    assert f"{first['failed_on']:%Y-%m-%d}" == "2022-12-09"
    assert first["no_start_probability"] > 0.5
    assert first["coldest_start_c"] >= -3.0, "it did not start at -2"
    assert first["failure_unexplained"] > 0.5
    assert first["probability_low"] <= first["no_start_probability"] <= first["probability_high"]
    done = pd.DataFrame(
        {"unit": [unit], "done_on": [pd.Timestamp("2022-12-10")], "part": ["battery"], "action": ["replaced"], "reason": ["no_start"]}
    )  # fmt: skip
    repairs = pd.concat([tables.repairs, done], ignore_index=True)
    mended = assess(FleetTables(tables.units, tables.readings, repairs, tables.climate, tables.forecast), as_of=DAY)
    after = mended.units.set_index("unit").loc[unit]
    assert after["failed_starts"] == 0
    assert after["no_start_probability"] < 0.2


def test_a_vehicle_never_measured_leads_the_list_when_it_failed(monkeypatch: pytest.MonkeyPatch) -> None:
    """A failure needs no reading beside it to be known."""
    quick(monkeypatch)
    made = tables_of(few())
    unit = str(made.units["unit"].iloc[3])
    made = FleetTables(
        made.units, made.readings[made.readings["unit"] != unit], made.repairs, made.climate, made.forecast
    )
    tables = with_outcomes(made, (unit, "2022-12-10 06:30", "chatter", np.nan))
    first = assess(tables, as_of=DAY).units.iloc[0]
    assert first["unit"] == unit
    assert first["flagged"]
    assert first["part"] == "battery"
    assert first["no_start_probability"] > 0.3


def test_failures_without_a_repair_teach_the_class_what_it_needs(monkeypatch: pytest.MonkeyPatch) -> None:
    """The fleet's no-starts given as outcomes, their repairs without a reason, teach as much as the repairs' reasons."""
    quick(monkeypatch, looks=3)
    made = tables_of(fleet())
    by_repairs = assess(made, as_of=DAY)
    bad = made.repairs[made.repairs["reason"] == "no_start"]
    told = [(str(r.unit), f"{r.done_on:%Y-%m-%d} 05:00", "no_start", float("nan")) for r in bad.itertuples()]
    silent = made.repairs.assign(reason=made.repairs["reason"].where(made.repairs["reason"] != "no_start", "complaint"))
    tables = with_outcomes(FleetTables(made.units, made.readings, silent, made.climate, made.forecast), *told)
    by_outcomes = assess(tables, as_of=DAY)
    taught = [a.classes.drop_duplicates("vehicle_class")["no_starts"].tolist() for a in (by_repairs, by_outcomes)]
    assert taught[0] == taught[1]
    assert sum(taught[0]) > 0
