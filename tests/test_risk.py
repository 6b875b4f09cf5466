"""The list itself: thresholds by tolerated rate, order, statuses."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import samples_kept
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples
from samples_fleet import drawn_of, fleet, quick, tables_of

from analysis.readings.renewals import PARTS
from analysis.starting.coldest_start import drawn_coldest_starts
from analysis.wear.state import day_number, estimate_state
from analysis.worklist.choices import FLAGS, JUDGING
from analysis.worklist.risk import NEEDS, FlagLevels, Wear, drifting_since, due, flag_levels, watched

DAY = pd.Timestamp("2022-12-12")


@pytest.mark.parametrize("rate", FLAGS.rates)
def test_the_stated_rates_have_the_stated_levels(rate: float) -> None:
    """Definition."""
    k = FLAGS.rates.index(rate)
    worn, risky = (FLAGS.worn_probability[k], FLAGS.worn_used[k]), (FLAGS.risky_probability[k], FLAGS.risky_used[k])
    progress = FLAGS.progress[k]
    found = flag_levels(rate)
    assert [*found.worn, *found.risky, found.progress] == pytest.approx([*worn, *risky, progress])


@pytest.mark.parametrize("k", range(len(FLAGS.rates) - 1))
def test_levels_between_two_stated_rates_are_on_the_line_between_them(k: int) -> None:
    """Definition: on logarithmic scales, so that half way between two rates each level is the geometric mean of theirs."""
    low, high, middle = (
        flag_levels(r) for r in (*FLAGS.rates[k : k + 2], float(np.sqrt(FLAGS.rates[k] * FLAGS.rates[k + 1])))
    )
    for name in ("worn", "risky", "progress"):
        ends = np.array([getattr(low, name), getattr(high, name)])
        assert getattr(middle, name) == pytest.approx(np.sqrt(ends.prod(axis=0)))


def test_each_of_the_three_ways_flags_alone_and_none_by_half() -> None:
    """By hand: much used at some risk, less used at a high risk, or worn by progress; a level that is met counts."""
    levels = FlagLevels(worn=(0.05, 0.40), risky=(0.30, 0.35), progress=0.45)
    vehicles = [
        (0.05, 0.40, 0.0, True), (0.04, 0.90, 0.0, False), (0.29, 0.39, 0.0, False),
        (0.30, 0.35, 0.0, True), (0.90, 0.34, 0.0, False), (0.0, 0.0, 0.45, True), (0.0, 0.0, 0.44, False),
    ]  # fmt: skip
    *columns, flagged = (np.array(one) for one in zip(*vehicles, strict=True))
    assert due(Wear(*columns), levels).tolist() == flagged.tolist()


@examples(15)
@given(st.floats(0.5, 50.0), st.floats(0.5, 50.0))
def test_who_tolerates_more_is_warned_earlier(a: float, b: float) -> None:
    """Property: levels fall, or stay, as the tolerated rate rises; they are probabilities and shares of wear."""
    low, high = sorted((a, b))
    strict, lax = flag_levels(low), flag_levels(high)
    for s, x in zip([*strict.worn, *strict.risky, strict.progress], [*lax.worn, *lax.risky, lax.progress], strict=True):
        assert 0.0 < x <= s * (1.0 + 1e-9) < 1.0
    assert strict.worn[0] < strict.risky[0], "much wear flags at a lower risk than little ..."
    assert strict.worn[1] > strict.risky[1], "... and at a high risk less wear is enough"


@pytest.mark.parametrize("rate", [0.0, 0.49, 50.1, -3.0, float("nan"), float("inf")])
def test_a_rate_out_of_range_is_named(rate: float) -> None:
    """Contract: a bad call names the argument, its value and what is allowed."""
    with pytest.raises(ValueError, match=r"tolerated false flags is .*; allowed are 0\.5 to 50"):
        flag_levels(rate)


def test_order_flags_and_dates_of_the_list(monkeypatch: pytest.MonkeyPatch) -> None:
    """Definition: flagged by what a repair would avert and the reserve that is used, or by progress, never unless judged;
    ties by name; act before the chance of a no-start has come to one in ten."""
    quick(monkeypatch)
    assessed = samples_kept.assess(tables_of(fleet()), as_of=DAY)
    units = assessed.units
    ordered = units.sort_values(["no_start_probability", "flag_probability", "unit"], ascending=[False, False, True])
    pd.testing.assert_frame_equal(units, ordered)
    levels = flag_levels(5.0)
    flags = units["progress"] >= levels.progress
    for probability, used in (levels.worn, levels.risky):
        flags |= (units["avoidable_probability"] >= probability) & (units["reserve_used"] >= used)
    assert (units["avoidable_probability"] <= units["flag_probability"]).all()
    told = assessed.drift["drifting"] & (assessed.drift["away"] > 1)
    drifts = units["unit"].isin(assessed.drift.loc[told, "unit"])
    assert (units["drifting_since"].notna() == drifts).all()
    assert (units["flagged"] == (flags & (units["status"] == "judged"))).all()
    assert units["flagged"].any()
    weeks = assessed.outlook.set_index(["unit", "week_start"])["probability"]
    for unit in units[units["act_by"].notna()].itertuples():
        assert weeks[(unit.unit, unit.act_by)] >= JUDGING.act_probability
        if unit.act_by > DAY:
            assert weeks[(unit.unit, unit.act_by - pd.Timedelta(days=7))] < JUDGING.act_probability


def test_a_class_that_fears_the_cold_as_a_whole_is_not_flagged(monkeypatch: pytest.MonkeyPatch) -> None:
    """A depot 14 K colder makes every sound vehicle a risk; what no repair averts, and no wear caused, flags nobody more."""
    quick(monkeypatch)
    tables = tables_of(fleet())
    cold = replace(tables, climate=tables.climate.assign(low_c=tables.climate["low_c"] - 14.0))
    usual, colder = (samples_kept.assess(t, as_of=DAY).units.set_index("unit").sort_index() for t in (tables, cold))
    sound = (usual["reserve_used"] < 0.1) & (usual["progress"] < 0.1)
    assert sound.any()
    assert colder.loc[sound, "flag_probability"].mean() > 2.0 * usual.loc[sound, "flag_probability"].mean()
    assert not colder.loc[sound, "flagged"].any()


def test_the_suspect_part_s_own_drift_is_named_first() -> None:
    """Worked by hand: battery drifts since May, ground path since March.  Suspect battery: May; suspect contacts, which do
    not drift: the earliest of the others, March; a vehicle without drift: none."""
    days = pd.to_datetime(["2022-05-02", "2022-03-07", "2022-05-02", "2022-03-07", "2022-01-03"])
    channels = ["battery", "ground_path", "battery", "ground_path", "load"]
    drift = pd.DataFrame({"unit": list("AACCB"), "channel": channels, "drifting": [True] * 4 + [False], "away": 2})
    suspects = np.array([PARTS.index(p) for p in ("battery", "solenoid_contacts", "battery")])
    found = drifting_since(drift.assign(drifting_since=days), pd.Series(["A", "C", "B"]), suspects)
    assert [None if pd.isna(d) else f"{pd.Timestamp(d):%m-%d}" for d in found] == ["05-02", "03-07", None]
    once = drift.assign(drifting_since=days, away=[1, 2, 2, 1, 0])
    found = drifting_since(once, pd.Series(["A", "C", "B"]), suspects)
    assert [None if pd.isna(d) else f"{pd.Timestamp(d):%m-%d}" for d in found] == ["03-07", "05-02", None], (
        "one is no drift"
    )


def test_who_is_watched_does_not_change_what_is_found() -> None:
    """Property: a class of fewer than 500 is watched whole, whoever is due; with another tolerated rate the threshold
    moves, lower where more false flags are tolerated."""
    tables = tables_of(fleet())
    state = estimate_state(tables.before(DAY), day_number(DAY), np.array([0.0]), draws=2)
    nobody, all_of_them = (np.full(len(state.group), k) for k in (False, True))
    pd.testing.assert_frame_equal(watched(state, nobody, 5.0), watched(state, all_of_them, 5.0))
    assert watched(state, nobody, 20.0)["threshold"].iloc[0] < watched(state, nobody, 2.0)["threshold"].iloc[0]


@pytest.mark.nightly
def test_the_need_named_is_the_one_at_the_end_of_the_horizon(monkeypatch: pytest.MonkeyPatch) -> None:
    """Definition, worked out again: the need whose coldest start is warmest at the end of 180 days, not of 30."""
    quick(monkeypatch)
    named = {d: samples_kept.assess(tables_of(fleet(902)), as_of=DAY, horizon_days=d) for d in (30, 180)}
    by_day = {}
    for days, found in named.items():
        state, outlook = drawn_of(found).state, drawn_of(found).prognosis
        h = int(np.searchsorted(state.ahead_d, days))
        by_need = drawn_coldest_starts(state.drawn[h], state.field, state.vehicles, outlook.limits.needs, outlook.laws)
        counts = np.broadcast_to(state.weight, by_need.shape)  # rare paths are drawn more often, and count for less
        middle = np.quantile(by_need, 0.5, axis=2, weights=counts, method="inverted_cdf")
        at_end = np.array(NEEDS)[middle.argmax(axis=0)]
        by_day[days] = dict(zip(state.panel.units["unit"].astype(str), at_end, strict=True))
        assert dict(zip(found.units["unit"], found.units["limited_by"], strict=True)) == by_day[days]
    assert by_day[30] != by_day[180], "the two horizons name different needs somewhere, else nothing is tested"
