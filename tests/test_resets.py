"""When a part was renewed: recorded, confirmed by a person, or found from a step down, never from later readings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.readings import renewals
from analysis.readings.observe import BATTERY, CHANNELS, CONTACTS, GROUND, LOAD, MOTOR, POSITIVE
from analysis.readings.panel import FleetTables, Panel, make_panel, nearest_of_same
from analysis.readings.renewals import (
    PART_CHANNELS,
    PARTS,
    Resets,
    find_steps,
    recorded_days,
    recorded_renewals,
    usable_readings,
)

EPOCH = pd.Timestamp("1970-01-01")
FIRST = pd.Timestamp("2022-01-10")
SE, BASE_SD = 0.08, 0.15


def day_of(moment: pd.Timestamp) -> float:
    return float((moment.normalize() - EPOCH).days)


def tables(
    n_readings: int = 8, *, repairs: list[tuple] | None = None, answers: list[tuple] | None = None
) -> FleetTables:
    """Two vehicles read every 40 days; repairs (unit, done_on, part, action), answers (unit, part, around_on, answer)."""
    taken = pd.date_range(FIRST, periods=n_readings, freq="40D") + pd.Timedelta(hours=9)
    readings = pd.DataFrame(
        {"unit": np.repeat(["A", "B"], n_readings), "taken_at": np.tile(taken, 2), "crank_a": 150.0}
    )
    rows = [(u, pd.Timestamp(d), p, a, "preventive") for u, d, p, a in repairs or []]
    given = [(u, p, pd.Timestamp(d), a, "anna", pd.Timestamp("2023-01-01")) for u, p, d, a in answers or []]
    return FleetTables(
        units=pd.DataFrame(
            {"unit": ["A", "B"], "vehicle_class": "van", "system_v": 12, "depot": "hill", "fuel": "diesel"}
        ),
        readings=readings,
        repairs=pd.DataFrame(rows, columns=["unit", "done_on", "part", "action", "reason"]),
        climate=pd.DataFrame(),
        forecast=pd.DataFrame(),
        reset_answers=pd.DataFrame(given, columns=["unit", "part", "around_on", "answer", "by", "at"]),
    )


def panel_of(given: FleetTables) -> Panel:
    return make_panel(given.units, given.readings)


def days_of(given: FleetTables) -> np.ndarray:
    panel = panel_of(given)
    return recorded_days(panel, recorded_renewals(panel, given))


def steps(values: list[float], channel: int = BATTERY, answers: list[tuple] | None = None) -> tuple[Resets, Panel]:
    """Steps of vehicle A whose one channel reads `values`; everything else is sound."""
    given = tables(len(values), answers=answers)
    panel = panel_of(given)
    value = np.ones((len(CHANNELS), 2, len(values)))
    value[channel, 0] = values
    usable = np.isfinite(value)
    se = np.where(usable, SE * np.maximum(value, 1.0), np.nan)
    found = find_steps(panel, value, se, usable, np.full((len(CHANNELS), 2), BASE_SD), given.reset_answers)
    return found, panel


def test_amps_are_not_taken_across_a_renewed_starter() -> None:
    """By hand: 100 A before, 150 A after, and every other reading without a clamp; the one on the day of the renewal tells neither side."""
    made = tables(8, repairs=[("A", FIRST + pd.Timedelta(days=120), "starter_motor", "replaced")])
    amps = np.array([100.0, np.nan, np.nan, 300.0, np.nan, 150.0, np.nan, np.nan])
    panel, _ = renewals.panel_of(replace(made, readings=made.readings.assign(crank_a=np.tile(amps, 2))))
    renewed, kept = nearest_of_same(panel.measured["crank_a"], panel.starter)
    assert renewed.tolist() == [100.0, 100.0, 100.0, 300.0, 150.0, 150.0, 150.0, 150.0]
    assert kept.tolist() == [100.0, 100.0, 100.0, 300.0, 300.0, 150.0, 150.0, 150.0]


# --- recorded --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("part", PARTS)
def test_a_recorded_repair_resets_the_part_it_touches_and_no_other(part: str) -> None:
    """Contract: recorded repairs reset the part they touch."""
    given = tables(repairs=[("A", "2022-05-05", part, "replaced")])
    day = days_of(given)
    touched = set(np.flatnonzero(np.isfinite(day[:, 0])))
    assert touched == set(PART_CHANNELS[part])
    assert np.isneginf(day[:, 1]).all(), "the other vehicle"
    assert {float(day[c, 0]) for c in touched} == {day_of(pd.Timestamp("2022-05-05"))}


def test_the_latest_repair_counts_whatever_the_order_of_rows() -> None:
    """Property: two batteries, the newer one is fitted."""
    both = [("A", "2022-07-07", "battery", "replaced"), ("A", "2022-03-03", "battery", "replaced")]
    for rows in (both, both[::-1]):
        given = tables(repairs=rows)
        assert days_of(given)[BATTERY, 0] == day_of(pd.Timestamp("2022-07-07"))


@pytest.mark.parametrize(
    ("action", "resets"), [("replaced", True), ("cleaned", True), ("tightened", True), ("charged", False)]
)
def test_a_charged_battery_is_not_a_new_one(action: str, resets: bool) -> None:
    """Common practice: charging does not bring lost plate area back; cleaning a joint does make it good."""
    given = tables(repairs=[("A", "2022-05-05", "battery", action)])
    assert np.isfinite(days_of(given)[BATTERY, 0]) == resets


def test_a_confirmed_answer_is_a_record_and_a_denied_one_is_not() -> None:
    """Contract: "confirmed or denied by a person"."""
    given = tables(answers=[("A", "battery", "2022-06-01", "confirmed"), ("B", "battery", "2022-06-01", "denied")])
    day = days_of(given)
    assert day[BATTERY, 0] == day_of(pd.Timestamp("2022-06-01"))
    assert np.isneginf(day[BATTERY, 1])


def test_readings_before_a_repair_tell_nothing_of_the_new_part() -> None:
    """Worked by hand: readings on days 0, 40, 80 ...; a repair on day 60 leaves those from day 80 on."""
    given = tables(repairs=[("A", str((FIRST + pd.Timedelta(days=60)).date()), "ground_path", "replaced")])
    panel = panel_of(given)
    value = np.ones((len(CHANNELS), 2, 8))
    use = usable_readings(panel, value, days_of(given), np.full((len(CHANNELS), 2), BASE_SD))
    assert use[GROUND, 0].tolist() == [False, False, True, True, True, True, True, True]
    assert use[BATTERY, 0].all()
    assert use[GROUND, 1].all()


@pytest.mark.parametrize(("reads", "kept"), [(1.1, True), (3.0, False)])
def test_a_reading_on_the_day_of_the_repair_counts_only_when_it_looks_new(reads: float, kept: bool) -> None:
    """Common practice: who measures and repairs on one day may have done either first; only the value tells."""
    given = tables(repairs=[("A", str((FIRST + pd.Timedelta(days=80)).date()), "battery", "replaced")])
    panel = panel_of(given)
    value = np.full((len(CHANNELS), 2, 8), reads)
    use = usable_readings(panel, value, days_of(given), np.full((len(CHANNELS), 2), BASE_SD))
    assert use[BATTERY, 0].tolist() == [False, False, kept, True, True, True, True, True]


def test_repairs_of_unknown_vehicles_and_an_empty_table() -> None:
    """Nothing happens, nothing breaks."""
    stray = tables(repairs=[("nobody", "2022-05-05", "battery", "replaced")])
    assert np.isneginf(days_of(stray)).all()
    assert np.isneginf(days_of(tables())).all()


# --- found -----------------------------------------------------------------------------------------------------------

WORN = [1.0, 1.3, 1.9, 2.6, 3.2]


def test_a_step_down_after_two_high_readings_is_found_on_its_day() -> None:
    """Simulated truth: a battery worn to three times its resistance is changed and nobody writes it down."""
    found, panel = steps([*WORN, 1.05, 1.0, 1.02])
    assert found.day[BATTERY, 0] == panel.day[0, 5]
    assert found.found[["unit", "part"]].to_numpy().tolist() == [["A", "battery"]]
    row = found.found.iloc[0]
    assert row["around_on"] == (FIRST + pd.Timedelta(days=200)).normalize()
    assert (row["before"], row["after"]) == (2.6, 1.05)
    assert np.isneginf(found.day[:, 1]).all()
    assert np.isneginf(found.day[1:, 0]).all()


@pytest.mark.parametrize(
    ("channel", "part"),
    [(POSITIVE, "positive_cable"), (GROUND, "ground_path"), (CONTACTS, "solenoid_contacts"), (MOTOR, "starter_motor"), (LOAD, "starter_motor")],
)  # fmt: skip
def test_the_part_of_the_channel_is_named(channel: int, part: str) -> None:
    """Definition of channels and parts."""
    found, _ = steps([*WORN, 1.0, 1.0], channel)
    assert found.found["part"].tolist() == [part]


@pytest.mark.parametrize("width", [6, 7, 8])
def test_a_later_reading_never_changes_an_earlier_verdict(width: int) -> None:
    """No look-ahead: the step stands on the day it is read, whatever is read later, high or low."""
    full = [*WORN, 1.0, 3.0, 0.9]
    found, panel = steps(full[:width])
    assert found.day[BATTERY, 0] == panel.day[0, 5]


def test_one_gross_low_reading_of_a_worn_part_is_a_step_only_until_wear_is_read_again() -> None:
    """A low value can be a slip too: it must look like a new part (3 standard deviations), not merely lower."""
    for low in (1.9, 1.6):
        found, _ = steps([*WORN, low, 3.3, 3.5])
        assert found.found.empty, low


def test_one_gross_high_reading_is_no_replacement() -> None:
    """Common practice: one value ten times its neighbours is a slip; what follows is not a new part."""
    found, _ = steps([1.0, 1.05, 10.0, 1.0, 1.0])
    assert found.found.empty
    assert np.isneginf(found.day).all()


def test_scatter_and_slow_recovery_are_no_replacement() -> None:
    """Simulated truth: sound parts with their usual scatter, and a slightly raised part that comes back."""
    rng = np.random.default_rng(8)
    for _ in range(100):
        found, _ = steps(list(1.0 + 0.1 * rng.standard_normal(12)))
        assert found.found.empty
    assert steps([1.0, 1.3, 1.35, 1.2, 1.0, 1.0])[0].found.empty


def test_gaps_do_not_hide_a_step() -> None:
    """Property: missing values between are as if they had not been taken."""
    found, panel = steps([1.0, 2.6, float("nan"), 3.2, float("nan"), 1.0])
    assert found.day[BATTERY, 0] == panel.day[0, 5]


def test_two_replacements_are_both_reported_and_the_later_counts() -> None:
    """Simulated truth: worn, changed, worn again, changed again."""
    found, panel = steps([2.5, 3.0, 1.0, 1.1, 2.9, 3.4, 1.0])
    assert len(found.found) == 2
    assert found.day[BATTERY, 0] == panel.day[0, 6]


def test_a_denied_step_is_taken_back() -> None:
    """Contract: a person denies that anything was renewed: no reset, no report; another part's denial is not meant."""
    around = str((FIRST + pd.Timedelta(days=200)).date())
    found, _ = steps([*WORN, 1.0, 1.0], answers=[("A", "battery", around, "denied")])
    assert found.found.empty
    assert np.isneginf(found.day[BATTERY, 0])
    for other in (
        ("A", "ground_path", around, "denied"),
        ("B", "battery", around, "denied"),
        ("A", "battery", "2020-01-01", "denied"),
    ):
        assert len(steps([*WORN, 1.0, 1.0], answers=[other])[0].found) == 1
