"""Weather of the invented depots: means, spread, persistence, wetness and forecasts."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from demo_fleet.weather import Depot, Weather, climate_table, forecast_table, make_weather

DEPOTS = (Depot("north", -8.0, 14.0, 4.0, 0.8, 1.4), Depot("south", 3.0, 17.0, 3.0, 0.7, 0.6))
START = dt.date(2001, 1, 1)


@pytest.fixture(scope="module")
def weather() -> Weather:
    return make_weather(DEPOTS, START, 20 * 365, np.random.default_rng(1))


def test_lows_have_the_spread_and_persistence_asked_for(weather: Weather) -> None:
    """Simulated truth: sd within 5 % and lag-one correlation within 0.04 of the depot's (20 years of days)."""
    anomaly = weather.low_c - weather.mean_low_c
    for column, depot in enumerate(DEPOTS):
        assert anomaly[:, column].std() == pytest.approx(depot.low_sd_c, rel=0.05)
        lag_one = np.corrcoef(anomaly[1:, column], anomaly[:-1, column])[0, 1]
        assert lag_one == pytest.approx(depot.persistence, abs=0.04)


def test_the_year_goes_from_january_to_july(weather: Weather) -> None:
    """The mean low is coldest near 20 January and warmest half a year later, at the depot's values."""
    for column, depot in enumerate(DEPOTS):
        year = weather.mean_low_c[:365, column]
        assert 15 <= int(np.argmin(year)) <= 25
        assert year.min() == pytest.approx(depot.january_c, abs=0.05)
        assert year.max() == pytest.approx(depot.july_c, abs=0.05)


def test_joints_corrode_faster_in_winter_and_at_wet_depots(weather: Weather) -> None:
    """January is wetter than July everywhere, and the wet depot wetter than the dry one."""
    month = np.array([(START + dt.timedelta(days=d)).month for d in range(len(weather.wet))])
    winter, summer = weather.wet[month == 1].mean(axis=0), weather.wet[month == 7].mean(axis=0)
    assert np.all(winter > 1.5 * summer)
    assert winter[0] > winter[1]


def test_climate_table_is_what_the_weather_averages_to(weather: Weather) -> None:
    """Monthly means of 20 drawn years against the table, within four standard errors of correlated days (1.2 K)."""
    table = climate_table(DEPOTS)
    assert list(table.columns) == ["depot", "month", "low_c", "low_sd_c"]
    assert len(table) == 24
    month = np.array([(START + dt.timedelta(days=d)).month for d in range(len(weather.low_c))])
    for column, depot in enumerate(DEPOTS):
        rows = table[table.depot == depot.name]
        drawn = [weather.low_c[month == m, column].mean() for m in rows.month]
        assert np.max(np.abs(np.array(drawn) - rows.low_c.to_numpy())) < 1.2


def test_forecast_errors_grow_with_the_lead(weather: Weather) -> None:
    """First day within about 0.7 K, tenth within about 2.2 K (root of the lead): sd within a fifth over 400 issues."""
    rng, errors = np.random.default_rng(2), []
    for issue in range(400):
        first = START + dt.timedelta(days=10 + 7 * issue)
        table = forecast_table(weather, DEPOTS[:1], first=first, days=10, rng=rng)
        at = (first - START).days
        errors.append(table.low_c.to_numpy() - weather.low_c[at : at + 10, 0])
    sd = np.std(errors, axis=0)
    assert sd[0] == pytest.approx(0.7, rel=0.2)
    assert sd[9] == pytest.approx(0.7 * np.sqrt(10), rel=0.2)
    assert str(table.date.dtype) == "datetime64[us]"
