"""Drift: exact surprises, the stated rate on sound fleets, and what must not flag a fleet."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import kstest

from analysis.readings.observe import CHANNELS
from analysis.readings.panel import Bools, FleetTables, Floats, Ints
from analysis.wear.choices import AGEING, DRIFT
from analysis.wear.control_chart import run_length, threshold_for_rate
from analysis.wear.drift import (
    Ageing,
    common_shift,
    drift_table,
    find_drift,
    predictive_z,
    readings_per_year,
    usual_ageing,
    usual_scatter,
    watch_fleet,
    week_of,
)
from analysis.wear.growth_laws import Ageing as LearnedAgeing
from analysis.wear.growth_laws import GrowthLaws, ordinary_ageing
from analysis.wear.state import day_number, estimate_state
from demo_fleet.simulate import simulate_fleet
from demo_fleet.specs import FleetSpec, healthy_growth

Fleet = tuple[Floats, Floats, Floats, Bools, Floats]


def sound_fleet(units: int, readings: int, *, channels: int = 3, seed: int = 1, ageing: float = 0.0) -> Fleet:
    """day, value, se, usable, base_sd of vehicles with their own baselines and Gaussian errors of known size."""
    rng = np.random.default_rng(seed)
    shape = (channels, units, readings)
    day = np.sort(rng.uniform(0.0, readings * 52.0, (units, readings)), axis=1)
    base_sd = np.full((channels, units), 0.15)
    se = np.exp(rng.normal(np.log(0.06), 0.3, shape))
    value = 1.0 + base_sd[..., None] * rng.standard_normal((channels, units, 1)) + se * rng.standard_normal(shape)
    value += ageing * (day - day[:, :1])[None] / 365.25
    usable = rng.random(shape) > 0.15
    return day, value, se, usable, base_sd


def no_ageing(base_sd: Floats) -> Ageing:
    return Ageing(np.zeros(base_sd.shape), np.zeros(base_sd.shape))


def each(day: Floats) -> Ints:
    """Every vehicle a class of its own: no shift is common to any."""
    return np.arange(len(day))


def vehicle_years(day: Floats) -> float:
    return float((day[:, -1] - day[:, 0]).sum()) / 365.25


def test_surprises_are_those_of_the_whole_covariance_matrix() -> None:
    """Innovations of a Gaussian vector: the inverse Cholesky factor of its covariance, applied to it."""
    day, value, se, usable, base_sd = sound_fleet(5, 9)
    ageing = Ageing(np.full(base_sd.shape, 0.03), np.full(base_sd.shape, 0.02))
    z = predictive_z(day, value, se, usable, base_sd, ageing)
    assert (np.isfinite(z) == usable).all()
    for c in range(len(value)):
        for u in range(5):
            use = usable[c, u]
            x = (day[u, use] - day[u, use][0]) / 365.25
            covariance = 0.15**2 + 0.02**2 * np.outer(x, x) + np.diag(se[c, u, use] ** 2)
            expected = np.linalg.solve(np.linalg.cholesky(covariance), value[c, u, use] - 1.0 - 0.03 * x)
            assert z[c, u, use] == pytest.approx(expected, abs=1e-9)


def test_surprises_of_sound_vehicles_are_standard_normal_and_independent() -> None:
    day, value, se, usable, base_sd = sound_fleet(3000, 12, channels=1)
    z = predictive_z(day, value, se, usable, base_sd, no_ageing(base_sd))[0]
    assert kstest(z[np.isfinite(z)], "norm").pvalue > 0.01
    pair = z[:, 1:] * z[:, :-1]
    pair = pair[np.isfinite(pair)]
    assert abs(pair.mean()) < 4.0 / np.sqrt(len(pair))


@pytest.mark.parametrize("stated", [5.0, *(pytest.param(rate, marks=pytest.mark.nightly) for rate in (2.0, 10.0))])
def test_a_sound_fleet_stays_within_the_stated_rate(stated: float) -> None:
    day, value, se, usable, base_sd = sound_fleet(4000, 24)
    h = threshold_for_rate(stated, readings_per_year(day, usable), len(value))
    part = (day, value, se, usable, base_sd, no_ageing(base_sd))
    alarms = int(find_drift(*part, np.arange(len(day)) % 3, threshold=h).alarms.sum())
    expected = stated / 100.0 * vehicle_years(day)
    # a chart starts at zero, so the first years see somewhat fewer flags than the long run: at least half
    assert 0.5 * expected < alarms < expected + 3.0 * np.sqrt(expected)


def test_the_stated_rate_holds_when_ageing_and_scatter_are_learned() -> None:
    day, value, se, usable, base_sd = sound_fleet(3000, 24, ageing=0.05, seed=4)
    usable[:] = True
    group = np.arange(3000) % 2
    laws = [ordinary_ageing(day, value[c], se[c], usable[c], base_sd[c], group, 2) for c in range(3)]
    ageing = usual_ageing(GrowthLaws((), np.zeros(0), np.zeros(0), tuple(laws)), group)
    found = watch_fleet(day, value, 0.8 * se, usable, base_sd, ageing, group, flags_per_100=5.0)
    expected = 5.0 / 100.0 * vehicle_years(day)
    assert found.alarms.sum() < expected + 3.0 * np.sqrt(expected)
    unaware = (0.8 * se, usable, base_sd, no_ageing(base_sd), each(day))
    without = find_drift(day, value, *unaware, threshold=found.threshold)
    assert without.alarms.sum() > 5 * expected  # the same fleet, with neither ageing nor the true scatter known


@pytest.mark.nightly  # one more sound fleet for the rate that is held above
def test_an_invented_sound_fleet_stays_within_the_stated_rate() -> None:
    """demo_fleet shares no constant with analysis; its joints age slowly and its meters err by bay."""
    fleet = simulate_fleet(FleetSpec(33, units=60, years=2.5, growth=healthy_growth(), gross=0.0))
    tables = FleetTables(fleet.units, fleet.readings, fleet.repairs, fleet.climate, fleet.forecast)
    state = estimate_state(tables, day_number(pd.Timestamp(fleet.as_of)), np.array([0.0]), draws=2)
    spread = state.laws.base_sd[state.group].T
    day, seen = state.panel.day, state.observed
    ageing = usual_ageing(state.growth_laws, state.group)
    found = watch_fleet(day, seen.value, seen.se, state.usable, spread, ageing, state.group, flags_per_100=5.0)
    expected = 5.0 / 100.0 * float(np.nansum(np.nanmax(day, axis=1) - np.nanmin(day, axis=1))) / 365.25
    assert len(found.alarms) == len(CHANNELS)
    assert found.alarms.sum() <= expected + 3.0 * np.sqrt(expected)


def frozen_statistics(value: Floats, se: float, base_sd: float, learn: int) -> Floats:
    """Largest CUSUM of charts whose baseline learns from the first `learn` readings only, written out plainly."""
    precision, mean = 1.0 / base_sd**2, np.ones(len(value))
    total, most = np.zeros(len(value)), np.zeros(value.shape)
    for r in range(value.shape[1]):
        z = np.clip((value[:, r] - mean) / np.sqrt(1.0 / precision + se**2), -3.0, 3.0)
        total = np.maximum(0.0, total + z - 0.5)
        most[:, r] = total
        if r < learn:
            mean = mean + (value[:, r] - mean) / se**2 / (precision + 1.0 / se**2)
            precision += 1.0 / se**2
    return np.maximum.accumulate(most, axis=1)


def test_a_baseline_that_stops_learning_breaks_the_rate_and_finds_wear_later() -> None:
    rng = np.random.default_rng(3)
    se, base_sd, n, readings = 0.06, 0.12, 8000, 30
    sound = 1.0 + base_sd * rng.standard_normal((n, 1)) + se * rng.standard_normal((n, readings))
    worn = sound + 0.2 * se * np.maximum(np.arange(readings) - 10, 0)
    always, frozen = (frozen_statistics(sound, se, base_sd, learn) for learn in (readings, 6))
    h = threshold_for_rate(5.0, 7.0, 6)
    assert (always[:, -1] > h).mean() < readings / run_length(h, winsor=3.0) + 3 * np.sqrt(0.03 / n)
    assert (frozen[:, -1] > h).mean() > 3 * (always[:, -1] > h).mean()
    later = []
    for learn, statistic in ((readings, always), (6, frozen)):
        level = np.quantile(statistic[:, -1], 0.97)  # the same share of sound vehicles flagged
        later.append(float((frozen_statistics(worn, se, base_sd, learn) <= level).sum(axis=1).mean()))
    assert later[0] + 1.0 < later[1]


def test_channels_that_nobody_reads_take_nothing_from_those_that_are_read() -> None:
    """Worked by hand: eight readings of one channel of seven over a year are seven after the first, one a channel and year; a second vehicle
    with six of two channels over half a year and one with a single reading: (7 + 5 + 5) / 7 in 1.5 years."""
    day = np.full((3, 8), np.nan)
    day[0], day[1, :6], day[2, 0] = np.linspace(0.0, 365.25, 8), np.linspace(0.0, 182.625, 6), 10.0
    usable = np.zeros((7, 3, 8), dtype=bool)
    usable[0] = np.isfinite(day)
    assert readings_per_year(day[:1], usable[:, :1]) == pytest.approx(1.0)
    usable[3, 1, :6] = True
    assert readings_per_year(day, usable) == pytest.approx(17.0 / 7.0 / 1.5)


def test_a_shift_of_the_whole_fleet_flags_nobody() -> None:
    day, value, se, usable, base_sd = sound_fleet(600, 24, seed=6)
    begin = 500.0
    value = value + np.where(day >= begin, 0.08, 0.0)[None]  # a new meter reads eight per cent high
    h = threshold_for_rate(5.0, readings_per_year(day, usable), len(value))
    part = (day, value, se, usable, base_sd, no_ageing(base_sd))
    left_in = find_drift(*part, each(day), threshold=h)
    taken_out = find_drift(*part, np.zeros(600, dtype=np.int64), threshold=h)
    expected = 5.0 / 100.0 * vehicle_years(day)
    assert taken_out.alarms.sum() < expected + 3.0 * np.sqrt(expected)
    assert left_in.alarms.sum() > 10 * expected


def test_a_vehicle_that_wears_is_flagged_among_a_fleet_that_shifts() -> None:
    day, value, se, usable, base_sd = sound_fleet(600, 24, seed=6)
    usable[:] = True
    value = value + np.where(day >= 500.0, 0.08, 0.0)[None]
    value[1, 7] += np.maximum(day[7] - 700.0, 0.0) / 365.25 * 0.6
    h = threshold_for_rate(5.0, readings_per_year(day, usable), len(value))
    found = find_drift(day, value, se, usable, base_sd, no_ageing(base_sd), np.zeros(600, dtype=np.int64), threshold=h)
    assert found.alarm[1, 7]
    assert 650.0 < found.since_day[1, 7] < 900.0
    assert not found.alarm[0, 7]
    assert np.isnan(found.since_day[0, 7])


def test_common_shift_needs_enough_vehicles_and_is_their_median() -> None:
    few = np.arange(float(DRIFT.fewest_sharing - 1))[:, None]
    assert common_shift(few, np.zeros(len(few), dtype=np.int64)).max() == 0.0
    many = np.array([[0.1], [0.2], [0.3], [0.4], [0.5], [0.6], [0.7], [9.0], [np.nan]])
    assert common_shift(many, np.zeros(9, dtype=np.int64))[:, 0] == pytest.approx([0.45] * 9)
    apart = common_shift(np.concatenate([many, few]), np.array([1] * 9 + [0] * len(few)))
    assert apart[:9, 0] == pytest.approx([0.45] * 9)
    assert (apart[9:] == 0.0).all()


def test_permuted_dates_find_nothing() -> None:
    """Worn vehicles, their readings in random order: no more flags than the stated rate."""
    rng = np.random.default_rng(9)
    day, value, se, usable, base_sd = sound_fleet(2000, 24, channels=1, seed=9)
    usable[:], se = True, np.full(value.shape, 0.06)
    flat = 1.0 + 0.06 * rng.standard_normal(value.shape)
    worn = flat + 0.006 * np.arange(24)
    h = threshold_for_rate(5.0, readings_per_year(day, usable), 1)
    shuffled = rng.permuted(worn, axis=2)
    spread = np.full(base_sd.shape, 0.10)
    wide = np.sqrt(0.06**2 + 0.006**2 * (24**2 - 1) / 12)  # a shuffled ramp is scatter about its middle
    part = (np.full(se.shape, wide), usable, spread, no_ageing(spread), each(day))
    ordered, mixed = (find_drift(day, one, *part, threshold=h).alarms.sum() for one in (worn, shuffled))
    expected = 5.0 / 100.0 * vehicle_years(day)
    assert mixed < expected + 3.0 * np.sqrt(expected)
    assert ordered > 3 * mixed


def test_a_higher_reading_never_lowers_the_latest_statistic_if_it_is_the_latest() -> None:
    day, value, se, usable, base_sd = sound_fleet(50, 10)
    usable[:] = True
    higher = value.copy()
    higher[..., -1] += 0.1
    part = (se, usable, base_sd, no_ageing(base_sd), each(day))
    lower, upper = (find_drift(day, v, *part, threshold=4.0).statistic for v in (value, higher))
    assert (upper >= lower).all()
    assert (upper > lower).any()


def test_vehicles_and_channels_do_not_depend_on_their_order() -> None:
    day, value, se, usable, base_sd = sound_fleet(60, 10, seed=2)
    group = np.arange(60) % 2
    turn = np.random.default_rng(0).permutation(60)
    none = no_ageing(base_sd)
    a = watch_fleet(day, value, se, usable, base_sd, none, group, flags_per_100=10.0)
    part = (v[::-1][:, turn] for v in (value, se, usable, base_sd))
    b = watch_fleet(day[turn], *part, none, group[turn], flags_per_100=10.0)
    assert b.statistic == pytest.approx(a.statistic[::-1][:, turn])


def test_second_reading_of_a_week_counts_once_each_and_shares_the_shift() -> None:
    day = np.tile(np.array([0.0, 20.0, 21.5, 40.0]), (10, 1))
    assert week_of(day)[0].tolist() == [0, 2, 3, 5]
    day[:, 2] = 20.4
    value = np.ones((1, 10, 4))
    value[:, :, 1:3] = 1.4
    se, usable, spread = np.full(value.shape, 0.05), np.ones(value.shape, dtype=bool), np.full((1, 10), 0.1)
    usable[0, :3, 2] = False
    group = np.zeros(10, dtype=np.int64)
    found = find_drift(day, value, se, usable, spread, no_ageing(spread), group, threshold=3.0)
    assert found.readings[0].tolist() == [3, 3, 3] + [4] * 7
    assert found.alarms.sum() == 0
    assert (found.statistic < 0.5).all()


def test_nothing_is_flagged_without_readings_or_vehicles() -> None:
    nothing = np.zeros((7, 0, 1))
    none = watch_fleet(
        nothing[0], nothing, nothing, nothing > 0, nothing[..., 0], no_ageing(nothing[..., 0]),
        np.zeros(0, dtype=np.int64), flags_per_100=5.0,
    )  # fmt: skip
    assert none.alarm.shape == (7, 0)
    day, value, se, usable, base_sd = sound_fleet(3, 2)
    usable[:] = False
    group = np.zeros(3, dtype=np.int64)
    unknown = np.full(day.shape, np.nan)
    found = watch_fleet(unknown, value, se, usable, base_sd, no_ageing(base_sd), group, flags_per_100=5.0)
    table = drift_table(["a", "b", "c"], ["x", "y", "z"], found)
    assert not table["drifting"].any()
    assert table["drifting_since"].isna().all()
    assert table["unit"].tolist() == ["a"] * 3 + ["b"] * 3 + ["c"] * 3


def test_table_shows_alarm_and_day() -> None:
    day, value, se, usable, base_sd = sound_fleet(40, 20, seed=3)
    usable[:] = True
    value[2, 5, 12:] += 0.5
    group = np.zeros(40, dtype=np.int64)
    found = watch_fleet(day, value, se, usable, base_sd, no_ageing(base_sd), group, flags_per_100=2.0)
    units = [f"K-{n}" for n in range(40)]
    row = drift_table(units, ["a", "b", "c"], found).set_index(["unit", "channel"]).loc[("K-5", "c")]
    assert row["drifting"]
    assert row["statistic"] > row["threshold"]
    assert row["drifting_since"] <= pd.Timestamp("1970-01-01") + pd.Timedelta(days=float(day[5, 13]))


def test_readings_that_lie_away_are_counted_one_by_one() -> None:
    """Worked by hand: ten like each other, then one far away crosses a low threshold alone; as ever again it stays alone, and a
    second one far away makes two."""
    day = np.tile(20.0 * np.arange(13), (1, 1))
    value, se = np.ones((1, 1, 13)), np.full((1, 1, 13), 0.05)
    usable, spread, group = np.ones((1, 1, 13), dtype=bool), np.full((1, 1), 0.1), np.zeros(1, dtype=np.int64)
    value[0, 0, [10, 12]] = 2.0
    told = [
        find_drift(
            day[:, :n], value[..., :n], se[..., :n], usable[..., :n], spread, no_ageing(spread), group, threshold=1.5
        )
        for n in (10, 11, 12, 13)
    ]
    assert [bool(one.alarm[0, 0]) for one in told] == [False, True, True, True]
    assert [int(one.away[0, 0]) for one in told] == [0, 1, 1, 2]


def test_a_whole_class_that_gains_fast_is_drift_and_no_ageing() -> None:
    """What may pass for ageing ends at a tenth a year; what is learned of it is `growth_laws`' (tests/test_growth_laws.py)."""
    found = [LearnedAgeing(np.array([0.05, 0.5]), np.array([0.02, 0.0]), np.zeros(2), np.ones(2, dtype=np.int64))]
    ageing = usual_ageing(GrowthLaws((), np.zeros(0), np.zeros(0), tuple(found)), np.array([0, 1, 1]))
    assert ageing.mean.tolist() == [[0.05, 0.10, 0.10]]
    assert ageing.sd[0] == pytest.approx([np.hypot(0.02, AGEING.spread), AGEING.spread, AGEING.spread])


def test_scatter_is_learned_from_below_and_has_bounds() -> None:
    rng = np.random.default_rng(1)
    z = rng.standard_normal((1, 800, 20))
    group = np.repeat([0, 1], 400)
    assert usual_scatter(z, group) == pytest.approx(1.0, abs=0.06)
    assert usual_scatter(1.25 * z, group) == pytest.approx(1.22, abs=0.06)  # surprises count at most three
    assert usual_scatter(9.0 * z, group).max() == 1.5
    worn = z.copy()
    worn[:, ::5, 10:] += 4.0
    assert usual_scatter(worn, group) == pytest.approx(1.0, abs=0.06)
    assert (usual_scatter(z[..., :3], group) == 1.0).all()


def test_a_large_class_is_known_by_vehicles_from_all_over_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Property: whether the uneasy half of a class comes first or last by name makes no difference to its scatter."""
    monkeypatch.setattr("analysis.wear.drift.FIT_VEHICLES", 400)
    z = np.random.default_rng(1).standard_normal((1, 1600, 20))
    z[:, 800:] *= 1.3
    group = np.zeros(1600, dtype=np.int64)
    names_reversed = z[:, ::-1]
    assert usual_scatter(z, group)[0, 0] == pytest.approx(usual_scatter(names_reversed, group)[0, 0], abs=0.04)
