"""The coming lows: climate through mid-months, persistence, forecast days, and the table against direct simulation."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples
from scipy.optimize import brentq
from scipy.stats import lognorm, norm

from analysis.forecast.choices import WEATHER
from analysis.forecast.lows import (
    LOWS_C,
    MID_MONTH,
    PATHS,
    Weather,
    cold_tailed,
    daily_courses,
    known_at,
    make_weather,
    seasonal_lows,
    shapes,
    stated_skew,
    winters_of,
    with_daily_lows,
)
from analysis.readings.panel import FleetTables

MONTHLY = [-4.0, -3.0, 0.0, 4.0, 9.0, 12.0, 14.0, 14.0, 10.0, 6.0, 1.0, -3.0]
CLIMATE = pd.DataFrame({"depot": "hill", "month": range(1, 13), "low_c": MONTHLY, "low_sd_c": 4.0})
JANUARY = 19_358  # 2023-01-01 in days since 1970: 53 x 365.25 rounded down
NO_FORECAST = pd.DataFrame({"depot": ["hill"], "date": [pd.Timestamp("2001-01-01")], "low_c": [0.0]}).iloc[:0]


def day(text: str) -> int:
    """Days since 1970 of a date."""
    return (pd.Timestamp(text) - pd.Timestamp("1970-01-01")).days


def weather(
    first: str = "2023-01-01", n_days: int = 30, climate: pd.DataFrame = CLIMATE, forecast: pd.DataFrame | None = None
) -> Weather:
    """Weather of one depot called hill."""
    return make_weather(climate, ["hill"], day(first), n_days, forecast)


def chance(of: Weather, start: float, end: float | None = None) -> float:
    """Probability of a morning colder than a coldest start."""
    both = np.array([[start]]), np.array([[start if end is None else end]])
    return float(of.probability(np.zeros(1, dtype=np.int64), *both)[0, 0])


# --- climate ---------------------------------------------------------------------------------------------------------


def test_mid_months_are_the_middles_of_the_months() -> None:
    """Worked by hand from the calendar: the middle day of each month of a common year, within half a day."""
    starts = pd.date_range("2023-01-01", "2024-01-01", freq="MS").day_of_year.to_numpy()[:12]
    lengths = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    assert pytest.approx(starts - 0.5 + lengths / 2, abs=0.8) == MID_MONTH


def test_the_monthly_mean_is_met_at_mid_month_and_straight_between() -> None:
    """Worked by hand: on 16 January January's mean, half-way to mid-February the mean of both."""
    days = np.array([day("2023-01-16"), day("2023-01-31"), day("2023-07-16")])
    mean, sd = seasonal_lows(CLIMATE, ["hill"], days)
    assert mean[0, 0] == pytest.approx(-4.0, abs=0.1)
    assert mean[0, 1] == pytest.approx(-3.5, abs=0.1)
    assert mean[0, 2] == pytest.approx(14.0, abs=0.1)
    assert sd[0] == pytest.approx([4.0, 4.0, 4.0])


def test_the_year_s_end_joins_its_beginning() -> None:
    """Property: December to January without a jump, also in a leap year; no day differs from the next by over 0.3 K."""
    for first in ("2023-12-01", "2024-12-01", "2024-02-20"):
        mean, _ = seasonal_lows(CLIMATE, ["hill"], np.arange(day(first), day(first) + 60))
        assert np.abs(np.diff(mean[0])).max() < 0.3


def test_one_month_only_holds_all_year_and_gaps_are_bridged() -> None:
    """Property: with one month known it stands for the year; a missing month is on the line between its neighbours."""
    days = np.arange(day("2023-01-01"), day("2024-01-01"), 30)
    mean, _ = seasonal_lows(CLIMATE.iloc[:1], ["hill"], days)
    assert (mean == -4.0).all()
    without_february, _ = seasonal_lows(CLIMATE.drop(index=1), ["hill"], np.array([day("2023-02-14")]))
    assert without_february[0, 0] == pytest.approx(-2.0, abs=0.15)


def test_an_unknown_depot_is_mild_and_wide() -> None:
    """Our choice, stated in the module: and the other depots are not touched by it."""
    mean, sd = seasonal_lows(CLIMATE, ["nowhere", "hill"], np.array([JANUARY]))
    assert (mean[0, 0], sd[0, 0]) == (WEATHER.unknown_low_c, WEATHER.unknown_sd_k)
    assert mean[1, 0] < 0.0


def test_a_missing_spread_is_a_usual_one() -> None:
    """A climate without standard deviations is still a climate."""
    _, sd = seasonal_lows(CLIMATE.assign(low_sd_c=np.nan), ["hill"], np.array([JANUARY]))
    assert 2.0 <= sd[0, 0] <= 6.0


# --- courses ---------------------------------------------------------------------------------------------------------


def test_courses_are_standard_normal_and_persistent() -> None:
    """Worked by hand: an autoregression of first order has mean 0, variance 1, correlation r^k after k days.

    600 x 200 values with persistence 0.75: the mean is known to 0.01, correlations to 0.02; tolerances are thrice that.
    """
    z = daily_courses(200, seed=1).T
    assert z.shape == (PATHS, 200)
    assert z.mean() == pytest.approx(0.0, abs=0.03)
    assert z.std() == pytest.approx(1.0, abs=0.03)
    for k in (1, 2, 5):
        r = np.corrcoef(z[:, :-k].ravel(), z[:, k:].ravel())[0, 1]
        assert r == pytest.approx(WEATHER.persistence**k, abs=0.05)


# --- the table -------------------------------------------------------------------------------------------------------


def skewed(z: np.ndarray) -> np.ndarray:
    """A lognormal turned round with the stated skew, by scipy's own moments: mean 0, standard deviation 1."""
    shape = brentq(lambda s: float(lognorm.stats(s, moments="s")) + WEATHER.steady_skew, 1e-3, 1.0)
    law = lognorm(shape)
    return (law.mean() - law.ppf(norm.cdf(-z))) / law.std()


def simulated(first: str, n_days: int, start: float, end: float, n: int = 20_000) -> float:
    """P(some morning is colder than the coldest start), simulated anew day by day with another generator."""
    rng = np.random.default_rng(1234)
    mean, sd = seasonal_lows(CLIMATE, ["hill"], np.arange(day(first), day(first) + n_days))
    z, failed = rng.standard_normal(n), np.zeros(n, dtype=bool)
    for k in range(n_days):
        if k:
            z = WEATHER.persistence * z + np.sqrt(1 - WEATHER.persistence**2) * rng.standard_normal(n)
        needs = start + (end - start) * (k + 0.5) / n_days
        failed |= mean[0, k] + sd[0, k] * skewed(z) < needs
    return float(failed.mean())


@pytest.mark.parametrize(
    ("first", "n_days", "start", "end"),
    [
        ("2023-01-01", 30, -12.0, -12.0), ("2023-01-01", 30, -15.0, -15.0), ("2023-01-01", 30, -14.0, -9.0),
        ("2023-09-10", 100, -10.0, 2.0), ("2023-03-01", 30, -6.0, -9.0), ("2023-01-10", 7, -8.0, -7.5),
        ("2023-06-01", 100, -10.0, 14.0), ("2023-01-01", 1, -4.0, -4.0),
    ],
)  # fmt: skip
def test_the_probability_agrees_with_direct_simulation(first: str, n_days: int, start: float, end: float) -> None:
    """Independent Monte Carlo, 20,000 courses.  0.06: three standard errors of the table's 600 courses at one half."""
    expected = simulated(first, n_days, start, end)
    assert chance(weather(first, n_days), start, end) == pytest.approx(expected, abs=0.06)


def test_a_single_morning_is_the_stated_distribution() -> None:
    """Worked by hand: one morning with mean m and spread s is colder than m - s with the chance of a turned lognormal."""
    mean, sd = seasonal_lows(CLIMATE, ["hill"], np.array([day("2023-01-16")]))
    expected = float((skewed(norm.ppf((np.arange(10_000) + 0.5) / 10_000)) < -1.0).mean())
    assert 0.14 < expected < 0.16
    assert chance(weather("2023-01-16", 1), float(mean[0, 0] - sd[0, 0])) == pytest.approx(expected, abs=0.045)


# --- cold tails and measured lows ------------------------------------------------------------------------------------


@pytest.mark.parametrize("skew", [-0.26, -0.6, -0.83])
def test_cold_tails_have_the_stated_shape(skew: float) -> None:
    """Law: mean 0, standard deviation 1 and the skew, on two million values; monotone; nothing changes at 0."""
    z = np.random.default_rng(3).standard_normal(2_000_000)
    tailed = cold_tailed(z, skew)
    assert tailed.mean() == pytest.approx(0.0, abs=0.005)
    assert tailed.std() == pytest.approx(1.0, abs=0.005)
    assert ((tailed - tailed.mean()) ** 3).mean() / tailed.std() ** 3 == pytest.approx(skew, abs=0.02)
    assert (np.diff(cold_tailed(np.sort(z[:1000]), skew)) >= 0).all()
    assert (cold_tailed(z, 0.0) == z).all()


def test_without_daily_lows_the_tail_is_that_of_places_that_scatter_as_much() -> None:
    """Worked by hand: the stated skews at and beyond the stated spreads, half-way between them in the middle; the spread is the coldest
    month's, a missing one the usual one, and a depot without a climate has the wide one of unknown places."""
    for spread, skew in ((3.0, -0.45), (4.5, -0.45), (5.25, -0.625), (6.8, -0.8), (np.nan, -0.45)):
        assert stated_skew(CLIMATE.assign(low_sd_c=spread), ["hill"])[0] == pytest.approx(skew)
    with_winter_only = CLIMATE.assign(low_sd_c=[6.8 if low < -3.0 else 2.0 for low in CLIMATE["low_c"]])
    assert stated_skew(with_winter_only, ["hill", "nowhere"]).tolist() == [-0.8, -0.8]


def made_lows(years: int, seed: int, *, summer: tuple[float, float] = (0.8, -0.8)) -> pd.DataFrame:
    """Daily lows of a made-up place: a sine year of -6 to 14 degC, 4 K about it, persistence 0.8 and skew -0.8 but for May to
    September."""
    rng = np.random.default_rng(seed)
    dates = pd.date_range("2010-01-01", periods=365 * years, freq="D", unit="us")
    warm = dates.month.isin(range(5, 10))
    persistence, skew = (np.where(warm, own, usual) for own, usual in zip(summer, (0.8, -0.8), strict=True))
    z = np.empty(len(dates))
    level = rng.standard_normal()
    for k, r in enumerate(persistence):
        level = r * level + np.sqrt(1 - r**2) * rng.standard_normal()
        z[k] = level
    mean = 4.0 - 10.0 * np.cos(2 * np.pi * (dates.day_of_year - 20) / 365.25)
    return pd.DataFrame({"depot": "made", "date": dates, "low_c": mean + 4.0 * cold_tailed(z, skew)})


def test_measured_lows_teach_mean_spread_persistence_and_shape() -> None:
    """Simulated truth, thirty years: months within 0.8 K, spread within 15 %, persistence and skew near what they were;
    few days teach nothing, other depots stay as stated."""
    learned = with_daily_lows(CLIMATE, made_lows(30, 1))
    assert (learned[learned["depot"] != "made"][["low_c"]].to_numpy() == CLIMATE[["low_c"]].to_numpy()).all()
    own = learned[learned["depot"] == "made"].set_index("month")
    assert own.loc[1, "low_c"] == pytest.approx(-5.9, abs=0.8)
    assert own.loc[7, "low_c"] == pytest.approx(13.9, abs=0.8)
    assert own["low_sd_c"].to_numpy() == pytest.approx(4.0, abs=0.6)
    assert own["persistence"].to_numpy() == pytest.approx(0.8, abs=0.04)
    assert own["skew"].mean() == pytest.approx(-0.8, abs=0.25)
    assert with_daily_lows(CLIMATE, made_lows(1, 2).iloc[:200]) is CLIMATE
    assert with_daily_lows(CLIMATE, None) is CLIMATE


def test_a_month_s_own_shape_counts_as_far_as_its_days_tell() -> None:
    """Simulated truth of 40 years: summers less persistent and without a cold tail are found, winters stay as they were; of two
    years each month lies nearer to the depot's winter. Days between months have what lies between, stated values where none are."""
    other = (0.5, 0.0)
    long, short = (
        with_daily_lows(CLIMATE, made_lows(years, 5, summer=other)).set_index("depot").loc["made"].set_index("month")
        for years in (40, 2)
    )
    summer, winter = [6, 7, 8], [1, 2, 12]
    assert long.loc[summer, "persistence"].to_numpy() == pytest.approx(0.5, abs=0.08)
    assert long.loc[winter, "persistence"].to_numpy() == pytest.approx(0.8, abs=0.04)
    assert long.loc[summer, "skew"].mean() > long.loc[winter, "skew"].mean() + 0.35
    for name in ("persistence", "skew"):
        apart = [abs(own.loc[summer, name].mean() - own.loc[winter, name].mean()) for own in (short, long)]
        assert apart[0] < apart[1]
    both = long.reset_index().assign(depot="made")
    days = np.array([day("2023-01-16"), day("2023-01-31"), day("2023-02-15")])
    persistence, _ = shapes(both, ["made", "nowhere"], days)
    assert persistence[0, 1] == pytest.approx(persistence[0, [0, 2]].mean(), abs=1e-3)
    assert (persistence[1] == WEATHER.persistence).all()
    assert (shapes(CLIMATE, ["hill"], days)[1] == WEATHER.steady_skew).all()


def test_courses_turn_as_persistent_as_their_days() -> None:
    """Worked by hand: a day's correlation with the one before it is the day's own."""
    z = daily_courses(60, 1, (0.9,) * 30 + (0.3,) * 30)
    r = [np.corrcoef(z[k - 1], z[k])[0, 1] for k in range(1, 60)]
    assert np.mean(r[:29]) == pytest.approx(0.9, abs=0.02)
    assert np.mean(r[29:]) == pytest.approx(0.3, abs=0.03)


def test_mornings_that_were_measured_are_as_they_came() -> None:
    """Worked by hand: of ten mornings at -3 degC but one at -12, a vehicle that starts down to -11 fails for certain and one that
    starts down to -13 never does; a coldest start that rises 2 K in the ten days is where it is on that morning.  A day that nobody
    measured keeps the season's chance, and other depots are left as they are."""
    came = pd.DataFrame({"depot": "hill", "date": pd.date_range("2023-01-01", periods=10), "low_c": -3.0})
    came.loc[8, "low_c"] = -12.0
    of = make_weather(CLIMATE, ["hill"], JANUARY, 10, came=came)
    assert chance(of, -11.0) == 1.0
    assert chance(of, -13.0) == 0.0
    assert chance(of, -13.0, -11.0) == 1.0  # -11.3 on the ninth day
    assert chance(of, -11.0, -13.0) == 0.0  # -12.7 on it
    unknown = came.assign(low_c=came["low_c"].where(came.index != 8))
    alone = make_weather(CLIMATE, ["hill"], JANUARY + 8, 1)
    assert chance(make_weather(CLIMATE, ["hill"], JANUARY, 10, came=unknown), -8.0) == pytest.approx(
        chance(alone, -8.0), abs=0.03
    )
    elsewhere = make_weather(CLIMATE, ["hill"], JANUARY, 10, came=came.assign(depot="vale"))
    assert (elsewhere.table == make_weather(CLIMATE, ["hill"], JANUARY, 10).table).all()


def test_nothing_measured_on_the_day_or_later_is_known() -> None:
    """Knowledge at the start of a day: later lows change nothing."""
    lows = made_lows(4, 3)
    day_of = lows["date"].iloc[800]
    empty = pd.DataFrame({"taken_at": pd.Series([], dtype="datetime64[us]")})
    none = empty.rename(columns={"taken_at": "done_on"})
    tables = FleetTables(pd.DataFrame(), empty, none, CLIMATE, pd.DataFrame(), lows=lows)
    cut = FleetTables(pd.DataFrame(), empty, none, CLIMATE, pd.DataFrame(), lows=lows.iloc[:800])
    pd.testing.assert_frame_equal(known_at(tables, day_of).climate, known_at(cut, day_of).climate)


def test_coldest_mornings_of_real_months_are_no_colder_than_foretold() -> None:
    """Seattle's daily lows of 2012 to 2015 (vega-datasets, seattle-weather.csv), each year foretold from the other three:
    3 to 8 % of the 48 months have their coldest morning below the 5 % quantile, where symmetric lows have 17 %."""
    seattle = pytest.importorskip("vega_datasets").local_data.seattle_weather()
    lows = pd.DataFrame({"depot": "s", "date": seattle["date"].astype("datetime64[us]"), "low_c": seattle["temp_min"]})
    below = {"tailed": [], "symmetric": []}
    for year in range(2012, 2016):
        learned = with_daily_lows(CLIMATE, lows[lows["date"].dt.year != year])
        for kind, climate in (("tailed", learned), ("symmetric", learned.assign(skew=0.0))):
            for month in range(1, 13):
                begin = pd.Timestamp(year, month, 1)
                real = lows[(lows["date"] >= begin) & (lows["date"] < begin + pd.offsets.MonthBegin(1))]["low_c"].min()
                window = make_weather(climate, ["s"], day(f"{begin:%Y-%m-%d}"), begin.days_in_month)
                below[kind].append(chance(window, float(real)) < 0.05)
    assert 0.03 <= np.mean(below["tailed"]) <= 0.08
    assert np.mean(below["symmetric"]) > 0.12


starts = st.floats(-44.0, 39.0)


@examples(15)
@given(starts, st.floats(-7.0, 20.0), st.floats(0.0, 10.0))
def test_a_worse_vehicle_never_has_a_smaller_chance(start: float, rise: float, worse: float) -> None:
    """Property: monotone in the coldest start and in its growth; between 0 and 1."""
    january = weather()
    p = chance(january, start, start + rise)
    assert 0.0 <= p <= 1.0
    assert chance(january, start + worse, start + worse + rise) >= p - 1e-12
    assert chance(january, start, start + rise + worse) >= p - 1e-12


def test_the_table_is_monotone_in_coldest_start() -> None:
    """Property of a distribution function, for every rise."""
    table = weather().table
    assert (np.diff(table, axis=2) >= 0).all()
    assert (np.diff(table, axis=1) >= 0).all()
    assert table[0, 0, -1] == 1.0


def test_far_outside_the_grid_is_never_and_always() -> None:
    """A start at -46 °C is safe here; at +41 °C it fails every morning."""
    assert chance(weather(), -60.0) == 0.0
    assert chance(weather(), 60.0) == 1.0
    assert chance(weather(), float(LOWS_C[0])) == 0.0


def test_longer_windows_and_colder_climates_are_riskier() -> None:
    """Property: more mornings, more chances; 5 K colder, like a start 5 K worse."""
    assert chance(weather(n_days=7), -12.0) < chance(weather(n_days=30), -12.0)
    colder = weather(climate=CLIMATE.assign(low_c=np.array(MONTHLY) - 5.0))
    assert chance(colder, -12.0) == pytest.approx(chance(weather(), -7.0), abs=1e-9)


def test_depots_do_not_disturb_each_other() -> None:
    """Property: a depot's row is the same whoever stands beside it."""
    both = pd.concat([CLIMATE, CLIMATE.assign(depot="vale", low_c=np.array(MONTHLY) + 9.0)], ignore_index=True)
    two = make_weather(both, ["hill", "vale"], JANUARY, 30)
    alone = make_weather(both, ["vale"], JANUARY, 30)
    assert (two.table[1] == alone.table[0]).all()
    assert two.coldest[1] > two.coldest[0]


def test_the_half_way_coldest_low_is_reached_in_half_of_the_courses() -> None:
    """Definition: `coldest` is the median of the window's lowest morning."""
    january = weather()
    assert chance(january, float(january.coldest[0])) == pytest.approx(0.5, abs=0.04)


# --- forecast --------------------------------------------------------------------------------------------------------


def forecast(first: str, lows: list[float], depot: str = "hill") -> pd.DataFrame:
    """A forecast of successive days."""
    return pd.DataFrame({"depot": depot, "date": pd.date_range(first, periods=len(lows)), "low_c": lows})


def test_forecast_days_replace_the_climate() -> None:
    """Simulated against worked by hand: seven days foreseen at -20 °C, a vehicle that starts down to -15 fails almost
    surely; foreseen at +2 °C it does not, whatever January usually brings."""
    cold = weather(n_days=7, forecast=forecast("2023-01-01", [-20.0] * 7))
    warm = weather(n_days=7, forecast=forecast("2023-01-01", [2.0] * 7))
    assert chance(cold, -15.0) > 0.99
    assert chance(warm, -10.0) < 0.01
    assert chance(weather(n_days=7), -15.0) < 0.2


def test_one_forecast_morning_has_the_stated_error() -> None:
    """Worked by hand: the first day's low is normal about the forecast with the stated error."""
    one = weather(n_days=1, forecast=forecast("2023-01-01", [-10.0]))
    assert chance(one, -10.0) == pytest.approx(0.5, abs=0.01)
    assert chance(one, -10.0 - WEATHER.forecast_sd_first_k) == pytest.approx(0.159, abs=0.01)


def test_days_outside_the_window_and_other_depots_change_nothing() -> None:
    """Property: yesterday's forecast, one for next month, one for elsewhere, one without a value."""
    usual = weather().table
    for other in (
        forecast("2022-12-30", [-30.0, -30.0]), forecast("2023-02-15", [-30.0]), forecast("2023-01-01", [-30.0], "vale"),
        forecast("2023-01-05", [float("nan")]), NO_FORECAST,
    ):  # fmt: skip
        assert (weather(forecast=other).table == usual).all()


def test_the_first_days_of_a_long_window_may_be_forecast() -> None:
    """Property: a warm week ahead lowers the month's chance, but not to nothing."""
    usual = chance(weather(), -12.0)
    warm_week = chance(weather(forecast=forecast("2023-01-01", [3.0] * 7)), -12.0)
    assert 0.3 * usual < warm_week < usual


def test_parts_of_a_window_make_up_the_whole_the_coldest_first() -> None:
    """Definition: the mean over equal parts of the courses is the whole window's; a colder part has the colder coldest morning, and a
    start that only cold ones stop is stopped in no mild one."""
    days = np.arange(JANUARY, JANUARY + 42)
    season, shape = seasonal_lows(CLIMATE, ["hill"], days), shapes(CLIMATE, ["hill"], days)
    whole, parts = (
        *winters_of(season, shape, ["hill"], JANUARY),
        winters_of(season, shape, ["hill"], JANUARY, parts=4),
    )
    assert np.mean([part.table for part in parts], axis=0) == pytest.approx(whole.table, abs=1e-12)
    coldest = [float(part.coldest[0]) for part in parts]
    assert coldest == sorted(coldest)
    assert coldest[1] <= float(whole.coldest[0]) <= coldest[2]
    between = 0.5 * (coldest[1] + coldest[2])
    assert chance(parts[0], between) == 1.0
    assert chance(parts[3], between) == 0.0


def test_make_weather_repeats_itself() -> None:
    """Contract: randomness by seed; the same window twice is the same table, another seed another one."""
    assert (weather().table == weather().table).all()
    other = make_weather(CLIMATE, ["hill"], JANUARY, 30, seed=8)
    assert (other.table != weather().table).any()
    assert np.abs(other.table - weather().table).max() < 0.12
