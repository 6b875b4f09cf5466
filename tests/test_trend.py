"""Growth of a part from few readings: exact posterior, honest intervals, no fright at one slip of the pen."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples, one_in
from samples_fleet import chance_of, evidence_of
from scipy.integrate import quad
from scipy.stats import norm

from analysis.wear.choices import PATHS
from analysis.wear.paths import (
    DAYS_PER_YEAR,
    LIVES_D,
    ONSET_LAGS_D,
    DrawNoise,
    Growth,
    PathGrid,
    Rare,
    default_prior,
    departures,
    draw_values,
    growth_columns,
    growth_posterior,
    make_grid,
    mean_value,
    onset_day,
    standing_alone,
)

GRID = make_grid()
BASE_SD, FAIL = 0.15, 3.0


@dataclass(frozen=True)
class Series:
    """Readings of U parts: days before the assessment, values, standard errors, all (U, R)."""

    day: np.ndarray
    value: np.ndarray
    se: np.ndarray

    def posterior(self, *, grid: PathGrid = GRID, log_prior: np.ndarray | None = None, fail: float = FAIL) -> Growth:
        n = len(self.value)
        prior = default_prior().log_weights(grid, 0) if log_prior is None else log_prior
        use = np.isfinite(self.value)
        return growth_posterior(self.day, self.value, self.se, use, np.full(n, BASE_SD), np.full(n, fail), grid, prior)

    def level(self, ahead_d: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
        return mean_value(self.posterior(), GRID, ahead_d)


def one(day: list[float], value: list[float], se: float = 0.1) -> Series:
    """A single part's readings."""
    return Series(np.array([day]), np.array([value]), np.full((1, len(day)), se))


# --- the posterior of one path ---------------------------------------------------------------------------------------


def path_grid(lag: float, life: float) -> PathGrid:
    """A grid of "steady" and one growth path."""
    column = int(np.flatnonzero(lag == ONSET_LAGS_D)[0])
    return PathGrid(np.array([np.nan, lag]), np.array([np.inf, life]), np.array([0, column], dtype=np.int64))


@pytest.mark.parametrize(("lag", "life"), one_in(3, [(230.0, 240.0), (90.0, 120.0), (430.0, 960.0)], apart=True))
def test_mean_covariance_and_evidence_agree_with_numerical_integration(lag: float, life: float) -> None:
    """Worked independently: Bayes' theorem by numerical integration over new value and amount, for both paths.

    The likelihood is written out from the densities of normal variables; nothing of the conjugate algebra is used.
    Tolerance 1e-4: that of the integration, over a box of eight prior standard deviations each way.
    """
    series = one([200.0, 150.0, 100.0, 50.0, 5.0], [1.1, 1.05, 1.3, 1.2, 1.35], 0.08)
    se = np.hypot(0.08, departures(series.day, series.value, np.isfinite(series.value)))[0]
    shape = (np.maximum(lag - series.day[0], 0.0) / DAYS_PER_YEAR) ** PATHS.power
    middle = FAIL * (DAYS_PER_YEAR / life) ** PATHS.power
    spread = PATHS.life_spread * PATHS.power * middle
    x, y = np.linspace(middle - 8 * spread, middle + 8 * spread, 1601), np.linspace(0.3, 1.9, 801)
    amounts, bases = np.meshgrid(x, y, indexing="ij")
    density = norm.pdf(bases, 1.0, BASE_SD) * norm.pdf(amounts, middle, spread)
    for value, column, error in zip(series.value[0], shape, se, strict=True):
        density *= norm.pdf(value, bases + amounts * column, error)

    def moment(a: int, b: int) -> float:
        return float(np.trapezoid(np.trapezoid(amounts**a * bases**b * density, y, axis=1), x))

    worn = moment(0, 0)
    amount, base = moment(1, 0) / worn, moment(0, 1) / worn
    steady = quad(lambda b: norm.pdf(series.value[0], b, se).prod() * norm.pdf(b, 1.0, BASE_SD), 0.3, 1.9, epsrel=1e-9)[
        0
    ]
    grid = path_grid(lag, life)
    found = series.posterior(grid=grid, log_prior=np.log([0.5, 0.5]))
    assert found.last_slip[0] < 0.02, "no reading here is a slip, so that both paths rest on all of them"
    assert found.amount[0, 1] == pytest.approx(amount, rel=1e-4)
    assert found.base[0, 1] == pytest.approx(base, rel=1e-4)
    assert found.var_amount[0, 1] == pytest.approx(moment(2, 0) / worn - amount**2, rel=1e-3)
    assert found.var_base[0, 1] == pytest.approx(moment(0, 2) / worn - base**2, rel=1e-3)
    assert found.cov[0, 1] == pytest.approx(moment(1, 1) / worn - amount * base, rel=1e-3)
    kept = found.weight[0, 1] / found.weight[0, 0]
    assert np.log(kept) == pytest.approx(np.log(worn / steady), abs=0.05), "5 %: the small share of a slip is mixed in"


def test_growth_columns_are_the_power_of_time_since_onset() -> None:
    """Worked by hand: nothing before the onset, (years since onset)^power after it."""
    columns = growth_columns(np.array([[400.0, 10.0]]))[0]
    assert columns.shape == (2, len(ONSET_LAGS_D))
    at = list(ONSET_LAGS_D).index(90.0)
    assert columns[0, at] == 0.0
    assert columns[1, at] == pytest.approx((80.0 / 365.25) ** PATHS.power)


def test_prior_weights_are_a_distribution_in_which_most_parts_are_steady() -> None:
    """Property of a prior: sums to one; wear never more than stated."""
    for channel in range(7):
        weight = np.exp(default_prior().log_weights(GRID, channel))
        assert weight.sum() == pytest.approx(1.0, abs=1e-9)
        assert 0.4 <= weight[0] < 1.0


def test_no_path_has_long_passed_failing() -> None:
    """The grid leaves out paths of parts that would have failed four times over."""
    excess = (GRID.lag[1:] / GRID.life[1:]) ** PATHS.power
    assert (excess < 4.0).all()
    assert set(GRID.life[1:]) == set(LIVES_D)
    assert np.isnan(GRID.lag[0])
    assert GRID.size == len(GRID.lag) == len(GRID.design)


# --- evidence --------------------------------------------------------------------------------------------------------


def test_evidence_orders_flat_rising_and_steep() -> None:
    """Property: the more the readings rise, the more they speak for wear; flat ones speak against it."""
    day = np.arange(300.0, 0.0, -50.0)
    rise = np.array([0.0, 0.001, 0.003, 0.008])
    value = 1.0 + rise[:, None] * (300.0 - day)[None, :]
    series = Series(np.tile(day, (4, 1)), value, np.full(value.shape, 0.1))
    found = series.posterior()
    prior = default_prior().log_weights(GRID, 0)
    before = np.logaddexp.reduce(prior[1:]) - prior[0]
    assert (np.diff(evidence_of(found)) > 0).all()
    assert evidence_of(found)[0] < before
    assert evidence_of(found)[3] > before + 5.0
    assert found.weight.sum(axis=1) == pytest.approx(1.0)


def test_without_readings_the_posterior_is_the_prior() -> None:
    """Property: no data, no news: weights, new value and its spread are the prior's."""
    found = Series(np.full((1, 4), np.nan), np.full((1, 4), np.nan), np.full((1, 4), np.nan)).posterior()
    assert np.log(found.weight[0]) == pytest.approx(default_prior().log_weights(GRID, 0), abs=1e-6)
    assert found.base[0] == pytest.approx(1.0)
    assert np.sqrt(found.var_base[0]) == pytest.approx(BASE_SD)
    assert found.last_slip[0] == 0.0


def test_a_missing_reading_is_as_if_it_had_not_been_taken() -> None:
    """Property: NaN anywhere in the row, the same posterior as the row without it."""
    full = one([200.0, 160.0, 120.0, 80.0, 40.0], [1.0, np.nan, 1.1, np.nan, 1.4])
    short = one([200.0, 120.0, 40.0], [1.0, 1.1, 1.4])
    assert full.posterior().weight == pytest.approx(short.posterior().weight, abs=1e-9)
    assert full.level()[0] == pytest.approx(short.level()[0])


def test_many_units_at_once_are_as_one_by_one() -> None:
    """Property: a unit's posterior does not depend on its neighbours, nor on how the fleet is cut into chunks."""
    rng = np.random.default_rng(2)
    day = np.sort(rng.uniform(1.0, 500.0, (1700, 6)), axis=1)[:, ::-1].copy()
    value = 1.0 + 0.1 * rng.standard_normal(day.shape)
    fleet = Series(day, value, np.full(day.shape, 0.1))
    level, sd = fleet.level()
    for u in (0, 1499, 1500, 1699):
        alone = Series(day[u : u + 1], value[u : u + 1], fleet.se[u : u + 1]).level()
        assert level[u] == pytest.approx(alone[0][0], abs=1e-9)
        assert sd[u] == pytest.approx(alone[1][0], abs=1e-9)


# --- intervals -------------------------------------------------------------------------------------------------------


def simulate(n: int, rng: np.random.Generator, *, worn_share: float) -> tuple[Series, np.ndarray, np.ndarray]:
    """Series drawn from the model's own prior: path, amount, new value; readings every 3 to 10 weeks.

    Returns the readings, the true level now, and the log prior that they were drawn from.
    """
    prior = default_prior().log_weights(GRID, 0).copy()
    weight = np.exp(prior)
    weight = np.concatenate([[1.0 - worn_share], worn_share * weight[1:] / weight[1:].sum()])
    path = rng.choice(GRID.size, size=n, p=weight)
    day = np.cumsum(rng.uniform(21.0, 70.0, (n, 12)), axis=1)[:, ::-1] - 14.0
    middle = FAIL * (DAYS_PER_YEAR / GRID.life[path]) ** PATHS.power
    amount = np.where(path == 0, 0.0, middle * (1.0 + PATHS.life_spread * PATHS.power * rng.standard_normal(n)))
    lag = np.where(path == 0, 0.0, np.nan_to_num(GRID.lag[path]))
    base = 1.0 + BASE_SD * rng.standard_normal(n)
    since = np.maximum(lag[:, None] - np.concatenate([day, np.zeros((n, 1))], axis=1), 0.0) / DAYS_PER_YEAR
    level = base[:, None] + amount[:, None] * since**PATHS.power
    se = np.full(day.shape, 0.08)
    gone = rng.random(day.shape) < 0.2
    value = np.where(gone, np.nan, level[:, :-1] + se * rng.standard_normal(day.shape))
    return Series(day, value, se), level[:, -1], np.log(weight)


def covered(series: Series, log_prior: np.ndarray, truth: np.ndarray) -> float:
    """Share of truths inside the 90 % interval of 200 draws."""
    found = series.posterior(log_prior=log_prior)
    drawn = draw_values(found, GRID, np.array([0.0]), DrawNoise(chance_of(len(found.weight), 200), "battery"))[0]
    low, high = np.quantile(drawn, [0.05, 0.95], axis=1)
    return float(((truth >= low) & (truth <= high)).mean())


def test_ninety_per_cent_intervals_hold_about_ninety_per_cent() -> None:
    """Simulated truth from the model's own prior, 300 series, half of them worn.

    84 to 96 %: three standard errors of a share of 300 are 5 %.  Wear with an amount below zero, which the prior's
    normal tail allows and no draw gives, is left out.
    """
    rng = np.random.default_rng(41)
    series, truth, log_prior = simulate(300, rng, worn_share=0.5)
    grows = truth > 0.6
    kept = Series(series.day[grows], series.value[grows], series.se[grows])
    assert 0.84 <= covered(kept, log_prior, truth[grows]) <= 0.96


def test_the_mean_of_many_levels_is_right() -> None:
    """Simulated truth: over 300 series the estimated levels are neither high nor low on average (3 standard errors)."""
    rng = np.random.default_rng(42)
    series, truth, log_prior = simulate(300, rng, worn_share=0.4)
    sound = np.abs(truth) < 6.0
    mean, sd = mean_value(series.posterior(log_prior=log_prior), GRID, 0.0)
    z = ((mean - truth) / sd)[sound]
    assert abs(np.median(z)) < 3.0 * 1.25 / np.sqrt(len(z))


def test_more_readings_narrow_the_interval() -> None:
    """Property: a flat part read 12 times is known better than one read twice, and a long horizon worse than now."""
    few, many = one([60.0, 10.0], [1.1, 1.1]), one(list(np.linspace(360.0, 10.0, 12)), [1.1] * 12)
    assert many.level()[1][0] < few.level()[1][0]
    now, later = (many.level(ahead)[1][0] for ahead in (0.0, 180.0))
    assert later > now


# --- slips of the pen ------------------------------------------------------------------------------------------------

DAYS = [350.0, 300.0, 250.0, 200.0, 150.0, 100.0, 50.0, 5.0]
FLAT = [1.05, 0.95, 1.0, 1.1, 0.9, 1.0, 1.05, 1.0]


@pytest.mark.parametrize("factor", [3.0, 10.0])
@pytest.mark.parametrize("at", [2, 4, 6])
def test_one_slip_in_the_middle_is_set_apart(at: int, factor: float) -> None:
    """Common practice: a value far off both neighbours is a slip, because wear stays.  The level stays as it was."""
    slipped = FLAT.copy()
    slipped[at] *= factor
    series = one(DAYS, slipped)
    alone = standing_alone(series.value, series.se, np.isfinite(series.value))
    assert np.flatnonzero(alone[0]).tolist() == [at]
    left = one(DAYS, [np.nan if k == at else v for k, v in enumerate(slipped)])
    assert left.level()[0][0] == pytest.approx(one(DAYS, FLAT).level()[0][0], abs=0.05)


@pytest.mark.parametrize("last", [4.0, 8.0])
def test_one_slip_in_the_last_reading_does_not_move_the_level_far(last: float) -> None:
    """A steady part that suddenly reads several times its value: a slip is likelier than wear, and is said so."""
    series = one(DAYS, [*FLAT[:-1], last])
    found = series.posterior()
    assert found.last_slip[0] > 0.3
    level, _ = mean_value(found, GRID, 0.0)
    assert level[0] < 1.0 + 0.5 * (last - 1.0)


@pytest.mark.parametrize("rest", [[1.0], [1.0, 1.05], FLAT[1:]])
@pytest.mark.parametrize("first", [1.8, 2.5, 5.0])
def test_a_high_first_reading_contradicted_by_the_last_is_no_wear(first: float, rest: list[float]) -> None:
    """Common practice: wear does not heal; of a high and a later sound reading the sound one is the news."""
    days = DAYS[len(DAYS) - 1 - len(rest) :]
    series = one(days, [first, *rest])
    level, sd = series.level()
    without, narrow = one(days[1:], rest).level()
    wrong = series.posterior().last_slip[0]
    assert wrong < 0.1, "that the sound one is the slip"
    assert level[0] == pytest.approx(without[0], abs=0.25)
    other, wide = one(days[:-1], [first, *rest[:-1]]).level()
    doubt = wrong * (wide[0] ** 2 + (other[0] - without[0]) ** 2)
    assert sd[0] < 1.05 * np.hypot(narrow[0], np.sqrt(doubt)), "which is all the doubt"


@pytest.mark.parametrize("last", [1.6, 2.0, 2.7])
def test_a_leap_that_may_be_a_slip_is_weighed_as_both(last: float) -> None:
    """By hand: level and spread are those of two posteriors, with the latest reading for sure and without it, mixed."""
    series = one(DAYS, [*FLAT[:-1], last])
    share = series.posterior().last_slip[0]
    assert 0.01 < share < 0.99
    sure = growth_posterior(
        series.day, series.value, series.se, np.isfinite(series.value), np.array([BASE_SD]), np.array([FAIL]), GRID,
        default_prior().log_weights(GRID, 0), twice=np.ones(series.value.shape, dtype=bool),
    )  # fmt: skip
    (kept, kept_sd), (left, left_sd) = mean_value(sure, GRID, 0.0), one(DAYS, [*FLAT[:-1], np.nan]).level()
    level, sd = series.level()
    mixed = (1.0 - share) * kept[0] + share * left[0]
    spread = (1.0 - share) * (kept_sd[0] ** 2 + kept[0] ** 2) + share * (left_sd[0] ** 2 + left[0] ** 2) - mixed**2
    assert level[0] == pytest.approx(mixed, abs=0.01)
    assert sd[0] == pytest.approx(np.sqrt(spread), rel=0.02)


def test_a_first_reading_below_the_later_ones_is_none() -> None:
    """Common practice: what was sound at first and is worn now has worn."""
    assert one(DAYS[-3:], [1.0, 2.0, 2.1]).level()[0][0] == pytest.approx(2.1, abs=0.25)


def test_confirmed_by_a_second_reading_it_is_wear() -> None:
    """The same high value twice is no slip: level and evidence follow it."""
    series = one(DAYS, [*FLAT[:-2], 2.2, 2.6])
    found = series.posterior()
    level, _ = mean_value(found, GRID, 0.0)
    assert level[0] == pytest.approx(2.6, abs=0.35)
    assert found.last_slip[0] < 0.3
    assert evidence_of(found)[0] > 3.0
    assert 40.0 < onset_day(found, GRID)[0] < 200.0, "wear began between the last flat reading and the first high one"


def test_steady_parts_have_no_onset() -> None:
    """Property: where steady is likelier than worn no day is named."""
    assert np.isnan(onset_day(one(DAYS, FLAT).posterior(), GRID)[0])


def test_wear_is_no_slip() -> None:
    """A steady climb sets no reading apart, the ends included, for any power of time."""
    for power in (1.0, 2.0, 3.0):
        value = [1.0 + 3.0 * ((350.0 - d) / 345.0) ** power for d in DAYS]
        series = one(DAYS, value)
        assert not standing_alone(series.value, series.se, np.isfinite(series.value)).any()
        level, sd = series.level()
        assert level[0] == pytest.approx(value[-1], abs=max(0.3, 2.0 * sd[0]))


def test_too_few_readings_set_nothing_apart() -> None:
    """Property: with one or two readings there are no two neighbours."""
    for value in ([9.0], [1.0, 9.0]):
        assert not standing_alone(
            np.array([value]), np.full((1, len(value)), 0.1), np.ones((1, len(value)), bool)
        ).any()


# --- draws -----------------------------------------------------------------------------------------------------------


def test_draws_have_the_mean_and_spread_of_the_posterior() -> None:
    """Sampling against the closed form: 4000 draws of one clearly worn part, four standard errors and 12 % of spread;
    ahead, a pace of its own adds `pace_sd` of the growth."""
    found = one(DAYS, [1.0, 1.1, 1.3, 1.5, 1.8, 2.1, 2.5, 2.9]).posterior()
    drawn = draw_values(found, GRID, np.array([0.0, 30.0]), DrawNoise(chance_of(len(found.weight), 4000), "battery"))
    for k, ahead in enumerate((0.0, 30.0)):
        mean, sd = mean_value(found, GRID, ahead)
        assert drawn[k, 0].mean() == pytest.approx(mean[0], abs=4.0 * sd[0] / np.sqrt(4000.0) + 0.02)
        grown = mean[0] - mean_value(found, GRID, 0.0)[0][0]
        assert drawn[k, 0].std() == pytest.approx(np.hypot(sd[0], PATHS.pace_sd * grown), rel=0.12)
    assert (drawn[1] >= drawn[0] - 1e-6).all(), "wear does not heal by itself"


def test_rare_paths_are_drawn_more_often_and_count_as_much_as_they_are_probable() -> None:
    """Law (importance sampling): the weight of all draws, and of those that soon fail, is what it is without; of a part that reads
    sound some draws in a hundred fail soon instead of one, and of one that surely wears hardly any is drawn otherwise."""
    sound, worn = (one(DAYS, found).posterior() for found in (FLAT, [1.0, 1.1, 1.3, 1.5, 1.8, 2.1, 2.5, 2.9]))
    ahead, fails, many = np.array([30.0]), np.array([1.5]), 20_000
    for growth in (sound, worn):
        plain = draw_values(growth, GRID, ahead, DrawNoise(chance_of(1, many), "battery"))[0, 0]
        rare = Rare(fails, np.ones((1, many)))
        drawn, weight = (
            draw_values(growth, GRID, ahead, DrawNoise(chance_of(1, many), "battery"), rare)[0, 0],
            rare.weight[0],
        )
        soon, was = drawn > 1.0 + 0.3 * fails[0], plain > 1.0 + 0.3 * fails[0]
        assert weight.mean() == pytest.approx(1.0, abs=1e-3)
        assert (weight * soon).mean() == pytest.approx(was.mean(), rel=0.05, abs=2e-4)
        assert (weight * drawn).mean() == pytest.approx(plain.mean(), abs=2e-3)
        if growth is sound:
            assert 1e-4 < was.mean() < 0.02
            assert soon.mean() > 4.0 * was.mean()
            assert 1.0 <= np.median(weight) < 1.1, "the others count about as much as before"
        else:
            assert np.abs(weight - 1.0).max() < 0.21


def test_draws_come_from_the_generator_that_is_passed() -> None:
    """Contract: the same generator, the same draws; another one, others."""
    found = one(DAYS, FLAT).posterior()
    first, same, other = (
        draw_values(found, GRID, np.array([0.0]), DrawNoise(chance_of(len(found.weight), 16, seed), "battery"))
        for seed in (1, 1, 2)
    )
    assert (first == same).all()
    assert (first != other).any()


# --- shift, scale, order ---------------------------------------------------------------------------------------------

readings = st.lists(st.floats(0.6, 3.0), min_size=2, max_size=9)


@examples(10)
@given(st.lists(st.floats(0.6, 3.0), min_size=5, max_size=9), st.randoms(use_true_random=False))
def test_the_order_of_early_readings_is_of_no_matter(values: list[float], rnd: Random) -> None:
    """Property: columns older than the latest three, whose median sets the departures, may stand in any order."""
    day = list(np.linspace(400.0, 5.0, len(values)))
    mixed = list(range(len(values) - 3))
    rnd.shuffle(mixed)
    mixed += list(range(len(values) - 3, len(values)))
    straight = one(day, values).level()
    shuffled = one([day[k] for k in mixed], [values[k] for k in mixed]).level()
    assert shuffled[0] == pytest.approx(straight[0], abs=1e-6)
    assert shuffled[1] == pytest.approx(straight[1], abs=1e-6)


@examples(10)
@given(readings, st.floats(-300.0, 300.0))
def test_shifting_the_calendar_changes_nothing(values: list[float], days: float) -> None:
    """Property: only days before the assessment count; the same series later in history is the same series."""
    before = np.linspace(400.0, 5.0, len(values))
    moved = (10_000.0 + days) - ((10_000.0 + days) - before)
    assert one(list(moved), values).level()[0] == pytest.approx(one(list(before), values).level()[0], abs=1e-6)


@examples(10)
@given(readings)
def test_exact_readings_are_believed_and_vague_ones_are_not(values: list[float]) -> None:
    """Property: as the error grows without bound the level returns to that of no readings at all."""
    day = list(np.linspace(400.0, 5.0, len(values)))
    nothing = one([5.0], [np.nan]).level()[0][0]
    assert one(day, values, se=1e4).level()[0][0] == pytest.approx(nothing, abs=0.02)


@examples(10)
@given(readings, st.floats(0.01, 0.4))
def test_higher_readings_of_a_growing_part_never_lower_its_level(values: list[float], more: float) -> None:
    """Property: a part that read higher each time, all of it a little higher: the level is lower by no more than the latest
    leap is likelier a slip (5 % of a value: the shift makes other paths likelier)."""
    day, rising = list(np.linspace(400.0, 5.0, len(values))), sorted(values)
    low, high = one(day, rising), one(day, [v + more for v in rising])
    slip = high.posterior().last_slip[0] - low.posterior().last_slip[0]
    assert high.level()[0][0] >= low.level()[0][0] - 0.05 - max(slip, 0.0) * (rising[-1] - rising[0])


@examples(10)
@given(readings)
def test_the_level_of_a_growing_part_stays_near_its_last_reading(values: list[float]) -> None:
    """Property: read five days ago, the level is near the last reading, above a new part's and not far beyond it."""
    rising = sorted(values)
    level = one(list(np.linspace(400.0, 5.0, len(values))), rising).level()[0][0]
    assert min(rising[0], 1.0) - 0.3 <= level <= max(rising[-1], 1.0) + 1.0
