"""The list itself: thresholds by tolerated rate, order, statuses."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from samples_fleet import fleet, quick, tables_of

from analysis.assess import assess
from analysis.risk import ACT_PROBABILITY, FLAG_LEVELS, flag_levels

DAY = pd.Timestamp("2022-12-12")


@pytest.mark.parametrize("rate", sorted(FLAG_LEVELS))
def test_the_stated_rates_have_the_stated_levels(rate: float) -> None:
    """Definition."""
    assert flag_levels(rate) == pytest.approx(FLAG_LEVELS[rate])


@settings(max_examples=50, deadline=None)
@given(st.floats(0.5, 50.0), st.floats(0.5, 50.0))
def test_who_tolerates_more_is_warned_earlier(a: float, b: float) -> None:
    """Property: levels fall, or stay, as the tolerated rate rises; they are probabilities and shares of wear."""
    low, high = sorted((a, b))
    for strict, lax in zip(flag_levels(low), flag_levels(high), strict=True):
        assert 0.0 < lax <= strict < 1.0


@pytest.mark.parametrize("rate", [0.0, 0.49, 50.1, -3.0, float("nan"), float("inf")])
def test_a_rate_out_of_range_is_named(rate: float) -> None:
    """Convention 5."""
    with pytest.raises(ValueError, match=r"tolerated false flags is .*; allowed are 0\.5 to 50"):
        flag_levels(rate)


def test_order_flags_and_dates_of_the_list(monkeypatch: pytest.MonkeyPatch) -> None:
    """Definition: flagged by probability or by progress and never unless judged; ties by name; act before the chance of
    a no-start has come to one in ten."""
    quick(monkeypatch)
    assessed = assess(tables_of(fleet()), as_of=DAY)
    units = assessed.units
    ordered = units.sort_values(["no_start_probability", "flag_probability", "unit"], ascending=[False, False, True])
    pd.testing.assert_frame_equal(units, ordered)
    probability, progress = flag_levels(5.0)
    due = (units["flag_probability"] >= probability) | (units["progress"] >= progress)
    assert (units["flagged"] == (due & (units["status"] == "judged"))).all()
    weeks = assessed.outlook.set_index(["unit", "week_start"])["probability"]
    for unit in units[units["act_by"].notna()].itertuples():
        assert weeks[(unit.unit, unit.act_by)] >= ACT_PROBABILITY
        if unit.act_by > DAY:
            assert weeks[(unit.unit, unit.act_by - pd.Timedelta(days=7))] < ACT_PROBABILITY
