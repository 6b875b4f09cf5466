"""Readings side by side: the newest in the last column, doubtful and slipped values out, nothing lost or invented."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples

from analysis.readings.choices import SLIPS
from analysis.readings.panel import (
    MEASURED,
    READINGS_KEPT,
    FleetTables,
    class_groups,
    dates_of,
    days_since_epoch,
    group_median,
    make_panel,
    row_quantile,
    trusted_values,
    without_slips,
)

UNITS = pd.DataFrame(
    {"unit": ["C", "A", "B"], "vehicle_class": ["van", "van", "bus"], "system_v": [12, 12, 24], "depot": "hill"}
)


def readings(rows: list[tuple[str, str, float]]) -> pd.DataFrame:
    """Readings of (unit, taken_at, crank_a)."""
    frame = pd.DataFrame(rows, columns=["unit", "taken_at", "crank_a"])
    return frame.assign(taken_at=pd.to_datetime(frame["taken_at"], format="ISO8601").astype("datetime64[us]"))


ROWS = [("A", "2022-03-01T08:00", 150.0), ("A", "2022-01-01T08:00", 140.0), ("B", "2022-02-01T12:00", 300.0)]


def test_the_newest_reading_stands_in_the_last_column() -> None:
    """Worked by hand: two readings of A, one of B, none of C; vehicles by name."""
    panel = make_panel(UNITS, readings(ROWS))
    assert panel.units["unit"].tolist() == ["A", "B", "C"]
    np.testing.assert_array_equal(panel.measured["crank_a"], [[140, 150], [np.nan, 300], [np.nan, np.nan]])
    assert panel.row.tolist() == [[1, 0], [-1, 2], [-1, -1]]
    assert panel.present.tolist() == [[True, True], [False, True], [False, False]]
    assert panel.day[0, 1] == pytest.approx(19_052 + 8 / 24)
    assert panel.volts.tolist() == [12.0, 24.0, 12.0]
    assert np.isnan(panel.measured["peak_a"]).all()


@examples(5)
@given(st.permutations(range(7)), st.permutations(range(3)))
def test_the_order_of_rows_is_of_no_matter(order: list[int], units: list[int]) -> None:
    """Property: shuffled rows, the same panel."""
    rows = [("A", f"2022-0{k}-11T08:00", 100.0 + k) for k in range(1, 5)] + [
        ("B", f"2022-0{k}-11", 300.0 + k) for k in (2, 4, 6)
    ]
    one = make_panel(UNITS, readings(rows))
    other = make_panel(UNITS.iloc[units], readings([rows[k] for k in order]))
    np.testing.assert_array_equal(one.day, other.day)
    np.testing.assert_array_equal(one.measured["crank_a"], other.measured["crank_a"])
    assert one.groups == other.groups
    assert (one.group == other.group).all()


def test_only_the_latest_readings_are_kept() -> None:
    """Definition: READINGS_KEPT per vehicle, the oldest go."""
    many = readings([("A", str(pd.Timestamp("2020-01-01") + pd.Timedelta(days=9 * k)), float(k)) for k in range(60)])
    panel = make_panel(UNITS, many)
    assert panel.day.shape == (3, READINGS_KEPT)
    assert panel.measured["crank_a"][0].tolist() == list(range(60 - READINGS_KEPT, 60))


def test_no_reading_at_all_and_an_unknown_vehicle() -> None:
    """An empty panel has one empty column; a reading of nobody is a bad call, named."""
    panel = make_panel(UNITS, readings([]))
    assert panel.day.shape == (3, 1)
    assert not panel.present.any()
    with pytest.raises(ValueError, match="unit 'X' is not in units"):
        make_panel(UNITS, readings([*ROWS, ("X", "2022-01-01", 1.0)]))


def test_vehicles_are_compared_within_class_and_voltage() -> None:
    """Definition: a class that comes in both voltages is two groups."""
    codes, names = class_groups(UNITS.assign(system_v=[12, 24, 24]))
    assert names == ("bus 24 V", "van 12 V", "van 24 V")
    assert codes.tolist() == [1, 2, 0]


# --- what is believed ------------------------------------------------------------------------------------------------


def test_doubtful_values_are_taken_out_one_by_one() -> None:
    """Contract of ingest: `doubtful` names measurements, comma-joined; the others of the row stay."""
    frame = readings(ROWS).assign(peak_a=[500.0, 480.0, 900.0], doubtful=["peak_a", "", "crank_a, peak_a"])
    values = trusted_values(frame)
    np.testing.assert_array_equal(values["crank_a"], [150, 140, np.nan])
    np.testing.assert_array_equal(values["peak_a"], [np.nan, 480, np.nan])
    assert frame["peak_a"].notna().all(), "the given frame is not changed"
    assert set(values) == set(MEASURED)


def test_a_starter_that_ran_free_holds_no_engine_s_load() -> None:
    """Common practice: without the engine it takes a third of the amps; what was at rest, and other starts, count as ever."""
    told = readings(ROWS).assign(rest_v=12.6, crank_min_v=12.3, outcome=["spins", "started", None])
    panel = make_panel(UNITS, told)
    np.testing.assert_array_equal(panel.measured["crank_a"], [[140, np.nan], [np.nan, 300], [np.nan, np.nan]])
    assert np.isfinite(panel.measured["crank_min_v"]).tolist() == [[True, False], [False, True], [False, False]]
    assert np.isfinite(panel.measured["rest_v"]).sum() == 3


def test_a_starter_that_drew_nothing_holds_no_load_and_nothing_to_divide_by() -> None:
    """Worked by hand: nil amps, 25.1 V, 0.02 V over the contacts: the amps, what was read with them and the drops are none."""
    told = readings([("A", "2022-03-01T08:00", 0.0), ("A", "2022-01-01T08:00", 140.0)])
    panel = make_panel(UNITS, told.assign(rest_v=25.3, crank_min_v=25.1, drop_contacts_v=0.02))
    for name, value in (("crank_a", 140.0), ("crank_min_v", 25.1), ("drop_contacts_v", 0.02), ("rest_v", 25.3)):
        np.testing.assert_array_equal(panel.measured[name][0], [value, 25.3 if name == "rest_v" else np.nan])


def test_missing_doubt_is_no_doubt_and_unknown_names_are_passed_over() -> None:
    """NaN in `doubtful`, or a column the analysis does not use, takes nothing out."""
    frame = readings(ROWS).assign(doubtful=pd.Series([None, "odometer_km", ""], dtype="str"))
    np.testing.assert_array_equal(trusted_values(frame)["crank_a"], [150, 140, 300])


@pytest.mark.parametrize("name", list(SLIPS.factors))
def test_a_misplaced_decimal_point_is_taken_out_and_honest_spread_is_not(name: str) -> None:
    """Common practice: ten times the class median (1.3 times for rest volts) is no measurement of a vehicle."""
    rows = [("A", f"2022-{k:02d}-01", 150.0) for k in range(1, 10)]
    far = 1.3 if name == "rest_v" else 10.0
    near = 1.0 + 0.6 * (SLIPS.factors[name] - 1.0)
    frame = readings(rows).assign(**{name: [100.0] * 6 + [100.0 * far, 100.0 * near, 100.0 / near]})
    kept = without_slips(make_panel(UNITS, frame)).measured[name][0]
    assert np.isfinite(kept).tolist() == [True] * 6 + [False, True, True]


def test_slips_are_judged_within_the_class() -> None:
    """A bus draws more than a van: neither is a slip of the other."""
    rows = [("A", f"2022-0{k}-01", 60.0) for k in range(1, 5)] + [("B", f"2022-0{k}-01", 600.0) for k in range(1, 5)]
    kept = without_slips(make_panel(UNITS, readings(rows))).measured["crank_a"]
    assert np.isfinite(kept[:2]).all()


# --- small tools -----------------------------------------------------------------------------------------------------


def test_days_and_dates_are_inverse() -> None:
    """Worked by hand: 2000-03-01 is day 11,017; NaN is NaT; a fraction is its day."""
    days = days_since_epoch(pd.DatetimeIndex(["2000-03-01", "1969-12-31T12:00"]))
    assert days.tolist() == [11_017.0, -0.5]
    back = dates_of(np.array([11_017.99, np.nan]))
    assert back[0] == pd.Timestamp("2000-03-01")
    assert back[1] is pd.NaT


def test_group_median_and_row_quantile() -> None:
    """Worked by hand, with gaps, an empty group and an empty row."""
    values = np.array([[1.0, 3.0], [np.nan, 8.0], [np.nan, np.nan]])
    assert group_median(values, np.array([0, 0, 1]), 3)[0] == 3.0
    assert np.isnan(group_median(values, np.array([0, 0, 1]), 3)[1:]).all()
    assert row_quantile(np.array([[4.0, 1.0, np.nan, 3.0, 2.0]]), 0.5).tolist() == [2.0]
    assert np.isnan(row_quantile(values, 0.35)[2])


def test_before_leaves_the_day_itself_out() -> None:
    """Contract: knowledge at the start of the day."""
    empty = pd.DataFrame()
    repairs = pd.DataFrame({"unit": ["A", "A"], "done_on": pd.to_datetime(["2022-02-28", "2022-03-01"])})
    answers = pd.DataFrame({"unit": ["A"], "at": pd.to_datetime(["2022-03-01T10:00"])})
    known = FleetTables(UNITS, readings(ROWS), repairs, empty, empty, answers).before(pd.Timestamp("2022-03-01"))
    assert known.readings["taken_at"].max() < pd.Timestamp("2022-03-01")
    assert len(known.readings) == 2
    assert len(known.repairs) == 1
    assert known.reset_answers is not None
    assert known.reset_answers.empty
