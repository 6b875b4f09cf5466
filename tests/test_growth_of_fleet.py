"""Growth of a fleet made a few vehicles at a time, held against the posterior of all of them at once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from samples_fleet import chance_of

from analysis.wear.choices import PATHS
from analysis.wear.fleet_growth import (
    BEFORE_D,
    GROWTH_D,
    ONSET_SLACK_D,
    ChannelReadings,
    GrowthSummary,
    drawn_values,
    older_than_the_part,
    summed_up,
)
from analysis.wear.paths import (
    CHUNK_UNITS,
    DAYS_PER_YEAR,
    DrawNoise,
    default_prior,
    draw_values,
    make_grid,
    mean_before,
    mean_value,
    onset_day,
)

GRID = make_grid()
VEHICLES = 2 * CHUNK_UNITS + 30
AHEAD = np.array([-91.0, 0.0, 30.0])


@pytest.fixture(scope="module")
def readings() -> ChannelReadings:
    """Twelve readings of each of 530 parts, a third of them wearing since half a year, some fitted lately."""
    rng = np.random.default_rng(8)
    before = np.sort(rng.uniform(2.0, 700.0, (VEHICLES, 12)), axis=1)[:, ::-1]
    worn = rng.random(VEHICLES) < 0.33
    value = 1.0 + worn[:, None] * 0.012 * np.maximum(180.0 - before, 0.0) + 0.1 * rng.standard_normal(before.shape)
    return ChannelReadings(
        before,
        value,
        np.full(before.shape, 0.1),
        rng.random(before.shape) < 0.9,
        np.full(VEHICLES, 0.15),
        np.full(VEHICLES, 3.0),
        np.where(rng.random(VEHICLES) < 0.2, 300.0, np.inf),
        (np.arange(VEHICLES) % 2).astype(np.int64),
        np.full(VEHICLES, 0.02),
        np.full(VEHICLES, 200.0),
        GRID,
        default_prior().log_weights(GRID, 0),
        np.exp(np.stack([np.zeros(GRID.size), np.linspace(0.0, 1.0, GRID.size)])).astype(np.float32),
    )


def the_same(a: GrowthSummary, b: GrowthSummary) -> None:
    for name, value in vars(a).items():
        np.testing.assert_allclose(value, getattr(b, name), rtol=1e-5, atol=1e-6, err_msg=name)


def test_a_fleet_in_chunks_is_the_fleet_at_once(readings: ChannelReadings) -> None:
    """Property: summary and draws are those of the whole posterior by the functions that read it."""
    noise = DrawNoise(chance_of(VEHICLES, 16), "battery")
    summary, drawn = summed_up(readings, AHEAD, noise)
    whole = readings.posterior(slice(None))
    np.testing.assert_array_equal(drawn, draw_values(whole, GRID, AHEAD, noise))
    np.testing.assert_array_equal(drawn_values(readings, AHEAD, noise), drawn)
    level, level_sd = mean_value(whole, GRID, 0.0)
    later = mean_value(whole, GRID, GROWTH_D)[0]
    before = mean_before(whole, GRID, summary.back_d)
    onset = onset_day(whole, GRID)
    direct = GrowthSummary(
        whole.weight[:, 0], level, level_sd, later, before, summary.back_d, onset, np.asarray(whole.last_slip)
    )
    the_same(summary, direct)
    assert 0.2 < np.isfinite(summary.onset_d).mean() < 0.5, "about a third wear"


def test_wear_counts_from_nil_up_as_in_the_draws(readings: ChannelReadings) -> None:
    """Worked by simulation: amounts below nil are held at nil, new values move with them; moments of 200,000 draws."""
    rng = np.random.default_rng(5)
    own = readings.posterior(np.arange(6))
    amount, base, variance, cov = own.worn_only
    doubtful = np.argwhere((own.amount < 1.5 * np.sqrt(own.var_amount)) & (own.weight > 1e-4))
    assert len(doubtful) > 5
    for u, p in doubtful[:: max(1, len(doubtful) // 12)]:
        if p == 0:
            continue
        va, vb, between = (float(v[u, p]) for v in (own.var_amount, own.var_base, own.cov))
        a, b = rng.multivariate_normal([own.amount[u, p], own.base[u, p]], [[va, between], [between, vb]], 200_000).T
        held = np.maximum(a, 0.0)
        b = b + between / va * (held - a)
        assert amount[u, p] == pytest.approx(held.mean(), abs=0.02 * va**0.5)
        assert base[u, p] == pytest.approx(b.mean(), abs=0.02 * vb**0.5)
        assert variance[u, p] == pytest.approx(held.var(), rel=0.05, abs=1e-9)
        assert cov[u, p] == pytest.approx(np.cov(held, b)[0, 1], rel=0.1, abs=7e-3 * (va * vb) ** 0.5), (
            "three errors of 200,000 draws"
        )


def test_a_posterior_made_before_is_used_as_it_is(readings: ChannelReadings) -> None:
    """Property: the laws of the fleet are applied to it once, whether it is made again or not."""
    noise = DrawNoise(chance_of(VEHICLES, 4), "battery")
    made = replace(readings, made=replace(readings, ratio=None).posterior(slice(None)))
    the_same(summed_up(made, AHEAD, noise)[0], summed_up(readings, AHEAD, noise)[0])
    rows = np.array([3, 200, 41])
    np.testing.assert_allclose(made.posterior(rows).weight, readings.posterior(rows).weight, rtol=1e-5, atol=1e-7)


def test_the_level_of_that_day_is_worked_out_path_by_path(readings: ChannelReadings) -> None:
    """Definition: base + amount (lag - days back)^power of every path, by its weight; quarter days make no difference."""
    rows = np.arange(40)
    own, back = readings.posterior(rows), np.linspace(0.1, BEFORE_D, 40)
    lag = np.where(np.isnan(GRID.lag), -1e9, GRID.lag)
    since = np.maximum(lag - back[:, None], 0.0) / DAYS_PER_YEAR
    amount, base, _, _ = own.worn_only
    expected = (own.weight * (base + amount * since**PATHS.power)).sum(axis=1)
    expected += readings.ageing[rows] * (readings.reference_d[rows] - back) / DAYS_PER_YEAR
    np.testing.assert_allclose(mean_before(own, GRID, back), expected, rtol=2e-3)


def test_what_it_is_compared_with_lies_no_earlier_than_its_readings(readings: ChannelReadings) -> None:
    """Definition: nine months back, or the first reading that counts; none, where nothing counts."""
    nothing = replace(readings, usable=np.zeros_like(readings.usable))
    noise = DrawNoise(chance_of(VEHICLES, 4), "battery")
    assert (summed_up(nothing, AHEAD, noise)[0].back_d == 0.0).all()
    late = replace(readings, usable=readings.usable & (readings.before_d < 100.0))
    back = summed_up(late, AHEAD, noise)[0].back_d
    assert (back < 100.0).all()
    assert (summed_up(readings, AHEAD, noise)[0].back_d <= BEFORE_D).all()


def test_wear_older_than_its_part_is_hardly_believed() -> None:
    """Definition: paths that begin before the part was fitted, and the slack, weigh `not_renewed` as much; others as they did."""
    against = older_than_the_part(GRID, np.array([200.0, np.inf]))
    older = np.nan_to_num(GRID.lag) > 200.0 + ONSET_SLACK_D
    assert older.any()
    assert not older.all()
    np.testing.assert_allclose(against[0], np.where(older, np.log(PATHS.not_renewed), 0.0))
    assert (against[1] == 0.0).all()
