"""Temperature laws: recovery of simulated truth, shrinkage to the prior, and corrections that carry their error."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples
from sklearn.linear_model import HuberRegressor

from analysis.circuit.temperature import (
    BATTERY_LAW,
    CONTACT_LAW,
    COPPER_LAW,
    DRAG_LAW,
    TemperatureLaw,
    copper_factor,
    fit_temperature_law,
)


def fleet(
    n: int,
    units: int,
    rng: np.random.Generator,
    *,
    b: float = 0.011,
    c: float = 0.0,
    low: float = -5.0,
    high: float = 30.0,
    noise: float = 0.06,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Log values, temperatures, unit codes and days of a simulated fleet with a known law."""
    unit = rng.integers(0, units, n)
    t = rng.uniform(low, high, n)
    x = 20.0 - t
    y = rng.normal(2.0, 0.3, units)[unit] + b * x + c * x**2 + rng.normal(0, noise, n)
    return y, t, unit, rng.uniform(0, 1500, n)


def drawn(law: TemperatureLaw, number: int, rng: np.random.Generator) -> np.ndarray:
    """Draws of slope and curvature as the law states its doubt, (number, 2)."""
    return rng.multivariate_normal([law.b_per_k, law.c_per_k2], law.covariance, size=number, method="eigh")


def test_thousands_of_readings_give_the_data() -> None:
    rng = np.random.default_rng(1)
    y, t, unit, days = fleet(20_000, 1_000, rng, b=0.022, c=1.5e-4)
    law = fit_temperature_law(y, t, unit, 0.06, time_days=days)
    se = np.sqrt(np.diag(law.covariance))
    assert abs(law.b_per_k - 0.022) < 3 * se[0] < 0.002
    assert abs(law.c_per_k2 - 1.5e-4) < 3 * se[1] + 1e-5  # the prior on curvature still pulls a little


def test_ten_readings_in_a_narrow_range_give_the_prior() -> None:
    rng = np.random.default_rng(2)
    y, t, unit, days = fleet(10, 3, rng, b=0.04, low=14.0, high=16.0)
    law = fit_temperature_law(y, t, unit, 0.06, time_days=days)
    b_sd, c_sd = np.sqrt(np.diag(BATTERY_LAW.covariance))
    assert law.b_per_k == pytest.approx(BATTERY_LAW.b_per_k, abs=0.15 * b_sd)
    assert law.c_per_k2 == pytest.approx(BATTERY_LAW.c_per_k2, abs=0.1 * c_sd)
    np.testing.assert_allclose(np.sqrt(np.diag(law.covariance)), np.sqrt(np.diag(BATTERY_LAW.covariance)), rtol=0.05)


@pytest.mark.parametrize("n", [0, 1])
def test_no_or_one_reading_gives_the_prior_itself(n: int) -> None:
    law = fit_temperature_law(
        np.ones(n), np.full(n, 5.0), np.zeros(n, dtype=int), 0.06, time_days=np.arange(n), prior=DRAG_LAW
    )
    assert (law.b_per_k, law.c_per_k2) == (DRAG_LAW.b_per_k, DRAG_LAW.c_per_k2)
    np.testing.assert_array_equal(law.covariance, DRAG_LAW.covariance)
    nothing = fit_temperature_law(
        np.full(5, np.nan), np.full(5, 3.0), np.zeros(5, dtype=int), 0.06, time_days=np.arange(5.0)
    )
    assert (nothing.b_per_k, nothing.c_per_k2) == (BATTERY_LAW.b_per_k, BATTERY_LAW.c_per_k2)


@pytest.mark.parametrize("c", [0.0, 3.5e-4])
def test_curvature_leaves_the_published_one_only_where_the_data_carry_it(c: float) -> None:
    """A straight law, or one bent twice as much as the prior, each 2.9 prior standard deviations away from it: seen
    between 10 and 20 °C it keeps the prior's curvature within a third of that distance, seen from -25 to 30 °C it is
    found to 1e-5 per K², 1.6 % of the resistance at -20 °C."""
    rng = np.random.default_rng(3)
    y, t, unit, days = fleet(300, 60, rng, c=c, low=10.0, high=20.0)
    away = abs(c - BATTERY_LAW.c_per_k2)
    assert fit_temperature_law(y, t, unit, 0.06, time_days=days).c_per_k2 == pytest.approx(
        BATTERY_LAW.c_per_k2, abs=away / 3
    )
    y, t, unit, days = fleet(20_000, 500, rng, c=c, low=-25.0, high=30.0)
    assert fit_temperature_law(y, t, unit, 0.06, time_days=days).c_per_k2 == pytest.approx(c, abs=1e-5)


def test_outliers_and_failing_units_hardly_move_the_fit() -> None:
    """5 % wild readings, and a tenth of the units doubling over four years: differences in time still give the law."""
    rng = np.random.default_rng(4)
    y, t, unit, days = fleet(8_000, 400, rng)
    wild = rng.random(len(y)) < 0.05
    y = y + np.where(wild, rng.choice([-2.3, 2.3], len(y)), 0.0) + np.where(unit < 40, 0.7 * days / 1500, 0.0)
    law = fit_temperature_law(y, t, unit, 0.06, time_days=days)
    assert law.b_per_k == pytest.approx(0.011, abs=0.001)


def test_coefficient_agrees_with_an_independent_huber_regression() -> None:
    """scikit-learn's HuberRegressor on differences to the unit's reading before; 0.0003 per K allows for its other scale."""
    rng = np.random.default_rng(6)
    y, t, unit, days = fleet(3_000, 100, rng, b=0.016)
    y = y + np.where(rng.random(len(y)) < 0.1, rng.normal(0, 1, len(y)), 0)
    order = np.lexsort((days, unit))
    same = np.diff(unit[order]) == 0
    dx, dx2, dy = (np.diff(v[order])[same] for v in (20 - t, (20 - t) ** 2 / 100, y))
    other = HuberRegressor(fit_intercept=False, alpha=0.0).fit(np.column_stack([dx, dx2]), dy)
    ours = fit_temperature_law(
        y, t, unit, 0.06, time_days=days, prior=TemperatureLaw(0.014, 0.0, np.diag([1.0, 1.0]), 20.0)
    )  # a prior that says nothing
    assert ours.b_per_k == pytest.approx(other.coef_[0], abs=3e-4)
    assert ours.c_per_k2 == pytest.approx(other.coef_[1] / 100, abs=2e-5)


def test_nine_in_ten_intervals_hold_the_truth() -> None:
    """90 % intervals over 200 simulated fleets: between 84 and 96 % of b and of the log factor at -20 °C (3 sd).

    They hold because the truths are drawn from the prior of the fit and the noise is what the fit takes it for, so that
    the posterior is that of Bayes; other truths would be missed as often as the prior is wrong about them.
    """
    rng = np.random.default_rng(8)
    inside = np.zeros(2)
    for b, c in drawn(BATTERY_LAW, 200, rng):
        y, t, unit, days = fleet(240, 40, rng, b=b, c=c, low=0.0, high=25.0)
        law = fit_temperature_law(y, t, unit, 0.06, time_days=days)
        cold = law.log_factor(-20.0) - (b * 40.0 + c * 40.0**2)
        error = np.array([law.b_per_k - b, cold])
        inside += np.abs(error) < 1.645 * np.array([np.sqrt(law.covariance[0, 0]), law.log_factor_se(-20.0)])
    assert ((inside / 200 > 0.84) & (inside / 200 < 0.96)).all()


def test_the_readings_of_a_large_fleet_are_fitted() -> None:
    """240,000 readings of 10,000 vehicles: the law that they were made by, to a hundredth of it."""
    rng = np.random.default_rng(9)
    y, t, unit, days = fleet(240_000, 10_000, rng)
    law = fit_temperature_law(y, t, unit, 0.06, time_days=days)
    assert law.b_per_k == pytest.approx(0.011, abs=1e-4)


def test_order_of_readings_and_names_of_units_are_irrelevant() -> None:
    rng = np.random.default_rng(10)
    y, t, unit, days = fleet(500, 30, rng)
    places, names = rng.permutation(500), rng.permutation(30)
    one = fit_temperature_law(y, t, unit, 0.06, time_days=days)
    two = fit_temperature_law(y[places], t[places], names[unit][places], 0.06, time_days=days[places])
    assert two.b_per_k == pytest.approx(one.b_per_k, rel=1e-9)
    np.testing.assert_allclose(two.covariance, one.covariance, rtol=1e-6)


@examples(10)
@given(st.floats(-3, 3))
def test_scale_of_the_quantity_is_irrelevant(shift: float) -> None:
    """Ω or mΩ: a constant added to the log changes nothing."""
    y, t, unit, days = fleet(200, 20, np.random.default_rng(12))
    one = fit_temperature_law(y, t, unit, 0.06, time_days=days)
    two = fit_temperature_law(y + shift, t, unit, 0.06, time_days=days)
    assert two.b_per_k == pytest.approx(one.b_per_k, abs=1e-9)


def test_arrays_of_unequal_length_are_refused() -> None:
    with pytest.raises(ValueError, match="have 3, 2 and 3 values"):
        fit_temperature_law([1, 2, 3], [1, 2], [0, 0, 0], 0.06, time_days=[0, 1, 2])


# --- Laws and corrections --------------------------------------------------------------------------------------------
def test_copper_in_the_common_form_agrees_with_the_exact_law() -> None:
    """Second order is within 0.6 % from -40 to 60 °C and within 0.1 % from -10 to 50 °C."""
    t = np.linspace(-40, 60, 101)
    ratio = np.exp(COPPER_LAW.log_factor(t)) / copper_factor(t)
    assert np.abs(ratio - 1).max() < 0.006
    assert np.abs(ratio - 1)[(t >= -10) & (t <= 50)].max() < 0.001


@pytest.mark.parametrize("law", [BATTERY_LAW, DRAG_LAW, CONTACT_LAW])
def test_uncertainty_grows_away_from_the_reference_and_from_the_temperatures_seen(law: TemperatureLaw) -> None:
    se = law.log_factor_se(np.array([20.0, 10.0, 0.0, -10.0, -20.0]))
    assert se[0] == 0
    assert (np.diff(se) > 0).all()
    from_seen = law.log_factor_se(np.array([14.0, 4.0, -20.0]), from_c=14.0)
    assert from_seen[0] == 0
    assert (np.diff(from_seen) > 0).all()


def test_uncertainty_of_a_correction_agrees_with_draws_of_the_law() -> None:
    """20,000 draws: the scatter of the log factor at -20 °C within 3 % (six Monte Carlo errors)."""
    draws = drawn(BATTERY_LAW, 20_000, np.random.default_rng(13))
    x = 40.0
    assert (draws[:, 0] * x + draws[:, 1] * x**2).std() == pytest.approx(
        float(BATTERY_LAW.log_factor_se(-20.0)), rel=0.03
    )


@pytest.mark.parametrize("covariance", [-0.9, 0.9])
def test_slope_and_curvature_that_err_together_add_up_and_against_each_other_cancel(covariance: float) -> None:
    """Linear algebra: the variance of d1 b + d2 c, with d1 = 38 K and d2 = 1,444 K² from 20 to -18 °C; by 20,000 draws too."""
    sd = np.array([0.003, 6e-5])
    together = np.outer(sd, sd) * [[1.0, covariance], [covariance, 1.0]]
    law = TemperatureLaw(0.01, 2e-4, together, 20.0)
    step = np.array([38.0, 38.0**2])
    assert law.log_factor_se(-18.0) == pytest.approx(np.sqrt(step @ together @ step))
    steps = drawn(law, 20_000, np.random.default_rng(5)) @ step
    assert law.log_factor_se(-18.0) == pytest.approx(steps.std(), rel=0.03)
    from_c = np.array([38.0 - 10.0, 38.0**2 - 10.0**2])
    assert law.log_factor_se(-18.0, from_c=10.0) == pytest.approx(np.sqrt(from_c @ together @ from_c))
