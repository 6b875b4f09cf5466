"""Growth laws that a fleet teaches: ordinary ageing, onsets of wear, lives."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples
from samples_fleet import chance_of, evidence_of
from statsmodels.regression.linear_model import WLS
from statsmodels.robust.norms import TukeyBiweight
from statsmodels.robust.robust_linear_model import RLM

from analysis.readings.renewals import Renewals, ended_lives
from analysis.wear.choices import GROWTH, PATHS
from analysis.wear.growth_laws import Ageing, ReadLives, learn_growth, ordinary_ageing, relearned, span_of
from analysis.wear.paths import (
    DAYS_PER_YEAR,
    LIVES_D,
    DrawNoise,
    GrowthPrior,
    default_prior,
    draw_values,
    growth_posterior,
    make_grid,
    mean_value,
)

GRID = make_grid()
PRIOR = default_prior()
NO_AGEING = Ageing(np.zeros(1), np.zeros(1), np.zeros(1), np.zeros(1, dtype=np.int64))
FAIL, SPREAD = 3.0, 0.12
WIDE = np.full(120, SPREAD)


# --- ordinary ageing -------------------------------------------------------------------------------------------------


def ageing_fleet(rate: float, *, worn: float = 0.0, n: int = 120, seed: int = 1) -> tuple[np.ndarray, ...]:
    """Days, values, errors and usable (U, R) of vehicles that all age, a share of which wears fast besides."""
    rng = np.random.default_rng(seed)
    day = np.sort(rng.uniform(19000.0, 20095.0, (n, 20)), axis=1)
    value = rng.normal(1.0, SPREAD, (n, 1)) + rate * (day - 19500.0) / DAYS_PER_YEAR
    fast = np.arange(n) < worn * n
    value += np.where(fast[:, None], rng.uniform(0.3, 1.5, (n, 1)) * (day - 19000.0) / DAYS_PER_YEAR, 0.0)
    se = np.full(day.shape, 0.06)
    return day, value + rng.normal(0.0, se), se, rng.random(day.shape) < 0.8


@pytest.mark.parametrize(("rate", "worn"), [(0.0, 0.0), (0.05, 0.0), (0.05, 0.3), (0.10, 0.4), (0.02, 0.6)])
def test_what_all_have_in_common_is_found_beside_fast_wear(rate: float, worn: float) -> None:
    """Simulation with a known slope; three standard errors, and the prior's pull towards none."""
    found = ordinary_ageing(*ageing_fleet(rate, worn=worn), WIDE, np.zeros(120, dtype=np.int64), 1)
    assert found.per_year[0] == pytest.approx(rate, abs=3.0 * found.se[0] + 0.004)
    assert found.lives[0] <= 120 * (1.0 - worn) + 6


def test_the_common_slope_agrees_with_a_library_s_robust_regression() -> None:
    """statsmodels: Tukey's biweight centre of the single slopes, themselves by its weighted least squares."""
    day, value, se, usable = ageing_fleet(0.06, worn=0.25)
    years = (day - 19500.0) / DAYS_PER_YEAR
    slopes = []
    for x, y, s, u in zip(years, value, se, usable, strict=True):
        fit = WLS(y[u], np.column_stack([np.ones(u.sum()), x[u]]), weights=1.0 / s[u] ** 2).fit()
        slopes.append(fit.params[1])
    robust = RLM(np.array(slopes), np.ones(len(slopes)), M=TukeyBiweight()).fit()
    found = ordinary_ageing(day, value, se, usable, WIDE, np.zeros(120, dtype=np.int64), 1)
    assert found.per_year[0] == pytest.approx(robust.params[0], abs=0.006)


def test_few_vehicles_are_given_the_fleet_s_ageing_and_too_small_a_fleet_none() -> None:
    """Definition: nine vehicles of a class that seem not to age, in a fleet that does; nine alone; none with readings."""
    day, value, se, usable = ageing_fleet(0.08)
    group = np.zeros(120, dtype=np.int64)
    group[:9] = 1
    value[:9] -= 0.08 * (day[:9] - 19500.0) / DAYS_PER_YEAR
    found = ordinary_ageing(day, value, se, usable, WIDE, group, 2)
    assert found.per_year == pytest.approx([0.08, 0.08], abs=0.015)
    assert found.lives[1] == 0
    alone = ordinary_ageing(day[9:18], value[9:18], se[9:18], usable[9:18], WIDE[:9], group[9:18], 1)
    none = ordinary_ageing(day, value, se, np.zeros_like(usable), WIDE, group, 2)
    assert [*alone.per_year, *none.per_year] == [0.0, 0.0, 0.0]


@examples(6)
@given(rate=st.floats(0.0, 0.2), back=st.floats(0.0, 700.0))
def test_ageing_is_the_same_as_readings_brought_to_one_day(rate: float, back: float) -> None:
    """Identity: the posterior with ageing is that of readings brought to the reference day; its values age from there."""
    rng = np.random.default_rng(2)
    before = np.sort(rng.uniform(0.0, 900.0, (3, 9)), axis=1)[:, ::-1]
    value, se = rng.normal(1.2, 0.1, (3, 9)), np.full((3, 9), 0.1)
    usable = np.ones((3, 9), dtype=bool)
    wide = (np.full(3, SPREAD), np.full(3, FAIL), GRID, PRIOR.log_weights(GRID, 0))
    own = growth_posterior(before, value, se, usable, *wide, np.full(3, rate), np.full(3, back))
    brought = growth_posterior(before, value + rate * (before - back) / DAYS_PER_YEAR, se, usable, *wide)
    np.testing.assert_allclose(own.weight, brought.weight, rtol=2e-4, atol=1e-6)
    for ahead in (0.0, 180.0):
        shift = rate * (back + ahead) / DAYS_PER_YEAR
        np.testing.assert_allclose(
            mean_value(own, GRID, ahead)[0], mean_value(brought, GRID, ahead)[0] + shift, atol=1e-4
        )
        drawn = [
            draw_values(g, GRID, np.array([ahead]), DrawNoise(chance_of(3, 40), "battery")) for g in (own, brought)
        ]
        assert np.median(np.abs(drawn[0] - drawn[1] - shift)) < 1e-3


# --- onsets, lives ---------------------------------------------------------------------------------------------------


def read_lives(n: int, *, rate: float, life_d: float, seed: int = 3) -> ReadLives:
    """Posterior weights of simulated lives: onset by a Poisson rate in 3 years of readings, one life; who wears past 1.3 lives
    is renewed."""
    rng = np.random.default_rng(seed)
    day = np.sort(rng.uniform(0.0, 1095.0, (n, 25)), axis=1)
    onset = DAYS_PER_YEAR * rng.exponential(1.0 / rate, n)
    own_life = life_d * np.exp(rng.normal(0.0, 0.2, n))
    end = np.minimum(onset + 1.3 * own_life, 1095.0)
    since = np.maximum(day - onset[:, None], 0.0)
    value = rng.normal(1.0, SPREAD, (n, 1)) + FAIL * (since / own_life[:, None]) ** PATHS.power
    se = np.full(day.shape, 0.06)
    value = value + rng.normal(0.0, se)
    usable = day < end[:, None]
    base = PRIOR.log_weights(GRID, 1)
    spread, fail = np.full(n, SPREAD), np.full(n, FAIL)
    found = growth_posterior(end[:, None] - day, value, se, usable, spread, fail, GRID, base)
    return ReadLives(found.weight, span_of(day, usable, end), np.zeros(n, dtype=np.int64))


def learned(read: ReadLives, channel: int = 1) -> tuple[GrowthPrior, float, float]:
    """Law of one channel; the others have no lives."""
    none = ReadLives(read.weight[:0], read.span_d[:0], read.group[:0])
    lives = [(read if c == channel else none,) for c in range(len(PRIOR.onset_per_year))]
    found = learn_growth(lives, [NO_AGEING] * len(lives), GRID, PRIOR, 1)
    return found.prior[0], float(found.onsets[0, channel]), float(found.years[0, channel])


@pytest.mark.parametrize(("rate", "life_d"), [(0.02, 480.0), (0.10, 240.0), (0.25, 960.0)])
def test_rate_and_life_of_a_simulated_fleet_are_learned(rate: float, life_d: float) -> None:
    """Simulation: 600 lives of three years; the rate within a quarter, the likeliest life within a step."""
    law, onsets, years = learned(read_lives(600, rate=rate, life_d=life_d))
    assert law.onset_per_year[1] == pytest.approx(rate, rel=0.25)
    assert abs(int(law.life_share[1].argmax()) - int(np.argmin(np.abs(np.log(LIVES_D / life_d))))) <= 1
    assert 0.0 < onsets < 600.0
    assert years < 1800.0


def test_no_lives_leave_the_stated_prior() -> None:
    """Definition."""
    read = read_lives(5, rate=0.1, life_d=480.0)
    law, onsets, years = learned(ReadLives(read.weight[:0], read.span_d[:0], read.group[:0]))
    for own, stated in zip(
        (law.onset_per_year, law.life_share),
        (PRIOR.onset_per_year, PRIOR.life_share),
        strict=True,
    ):
        np.testing.assert_allclose(own, stated)
    assert (onsets, years) == (0.0, 0.0)


def test_a_steady_fleet_lowers_the_rate_by_the_prior_s_own_count() -> None:
    """Worked by hand: no onset in Y years is (a / (a / r + Y)), gamma prior of a cases, for the fleet and then the class."""
    n = 400
    weight = np.zeros((n, GRID.size), dtype=np.float32)
    weight[:, 0] = 1.0
    read = ReadLives(weight, np.full(n, 2.0 * DAYS_PER_YEAR), np.zeros(n, dtype=np.int64))
    law, onsets, years = learned(read)
    stated = PRIOR.onset_per_year[1]
    fleet = GROWTH.onset_counts / (GROWTH.onset_counts / stated + 800.0)
    assert (onsets, years) == pytest.approx((0.0, 800.0))
    assert law.onset_per_year[1] == pytest.approx(GROWTH.class_counts / (GROWTH.class_counts / fleet + 800.0))
    np.testing.assert_allclose(law.life_share[1], PRIOR.life_share[1])
    assert GROWTH.life_counts > 0


def test_relearned_is_the_posterior_under_the_other_prior() -> None:
    """Identity with a direct solution under the other prior (Bayes)."""
    rng = np.random.default_rng(4)
    before = np.sort(rng.uniform(0.0, 900.0, (5, 12)), axis=1)[:, ::-1]
    value = 1.0 + np.linspace(0.0, 1.5, 5)[:, None] * (1.0 - before / 900.0) ** 2 + rng.normal(0.0, 0.05, (5, 12))
    usable = np.ones((5, 12), dtype=bool)
    other = GrowthPrior(PRIOR.onset_per_year * 0.3, PRIOR.life_share[:, ::-1].copy())
    old, new = (p.log_weights(GRID, 0) for p in (PRIOR, other))

    def under(log_prior: np.ndarray) -> object:
        return growth_posterior(
            before, value, np.full((5, 12), 0.05), usable, np.full(5, SPREAD), np.full(5, FAIL), GRID, log_prior
        )

    changed, direct = relearned(under(old), np.tile(np.exp(new - old), (5, 1))), under(new)
    np.testing.assert_allclose(changed.weight, direct.weight, atol=2e-3)
    np.testing.assert_allclose(evidence_of(changed), evidence_of(direct), atol=0.1)


def test_ended_lives_run_from_renewal_to_renewal() -> None:
    """Worked by hand: vehicle 2 twice on record and once more found; vehicle 0 once found; vehicle 1 never."""
    record = Renewals(np.array([2, 2]), np.array([500.0, 100.0]), np.array([True, False]))
    lives = ended_lives(record, np.array([300.0, -np.inf, 800.0]), np.full(3, np.inf))
    assert lives.unit.tolist() == [0, 2, 2, 2]
    assert lives.end.tolist() == [300.0, 100.0, 500.0, 800.0]
    assert lives.begin.tolist() == [-np.inf, -np.inf, 100.0, 500.0]
    assert lives.failed.tolist() == [False, False, True, False]
    nothing = Renewals(np.array([], dtype=np.int64), np.array([]), np.array([], dtype=bool))
    assert len(ended_lives(nothing, np.full(3, -np.inf), np.full(3, np.inf)).unit) == 0
