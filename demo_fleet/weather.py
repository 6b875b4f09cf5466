"""Depot weather: monthly mean lows, persistent day-to-day anomalies, and wetness that corrodes joints."""

import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

Array = npt.NDArray[np.float64]

COLDEST_DAY = 20
"""Day of the year of the mean minimum, days: about three weeks after the solstice (our choice, because mid-January
is when northern mid-latitude lows bottom out)."""
DIURNAL_RANGE_C = 8.0
"""Day mean minus daily low times two, K: our choice for a temperate inland site."""
WET_SPREAD = 0.35
"""Log standard deviation of a winter's wetness from year to year: our choice."""
FORECAST_ERROR_C = 0.7
"""sd of a one-day forecast of the low [K]; its error wanders on, so it grows with the root of the lead (our choice)."""


@dataclass(frozen=True)
class Depot:
    """A depot's climate: mean January and July lows [°C], sd of the daily low [K], day-to-day correlation, wetness; skew of
    the daily lows, below 0 for winters with a long cold tail."""

    name: str
    january_c: float
    july_c: float
    low_sd_c: float = 3.5
    persistence: float = 0.78
    wetness: float = 1.0
    heated_bay_c: float = 17.0
    skew: float = 0.0


@dataclass(frozen=True)
class Weather:
    """Daily weather from `start`: lows [day, depot] in °C, wet [day, depot] as a corrosion rate with mean about 1."""

    start: dt.date
    low_c: Array
    mean_low_c: Array
    wet: Array


def mean_low(depot: Depot, day_of_year: Array) -> Array:
    """Mean daily low [°C] on days of the year, one sine wave through the January and July values."""
    middle, half = (depot.january_c + depot.july_c) / 2, (depot.july_c - depot.january_c) / 2
    return middle - half * np.cos(2 * np.pi * (day_of_year - COLDEST_DAY) / 365.25)


def make_weather(depots: tuple[Depot, ...], start: dt.date, days: int, rng: np.random.Generator) -> Weather:
    """Draw `days` days of lows and wetness for each depot; anomalies follow AR(1), shared in part between depots."""
    dates = pd.date_range(start, periods=days, freq="D")
    doy = dates.day_of_year.to_numpy(np.float64)
    mean = np.column_stack([mean_low(d, doy) for d in depots])
    common = rng.standard_normal((days, 1))
    own = rng.standard_normal((days, len(depots)))
    shock = 0.8 * common + 0.6 * own
    phi = np.array([d.persistence for d in depots])
    sd = np.array([d.low_sd_c for d in depots])
    anomaly = np.empty((days, len(depots)))
    level = shock[0]
    for day in range(days):
        level = phi * level + np.sqrt(1 - phi**2) * shock[day]
        anomaly[day] = level
    winter = (dates.year + (dates.month >= 7)).to_numpy() - dates.year.min()
    factor = np.exp(WET_SPREAD * rng.standard_normal((winter.max() + 1, len(depots))))
    season = 0.55 + 0.45 * np.cos(2 * np.pi * (doy - 10) / 365.25)
    wet = 0.4 + season[:, None] * factor[winter] * np.array([d.wetness for d in depots])
    tailed = np.column_stack([cold_tailed(anomaly[:, i], d.skew) for i, d in enumerate(depots)])
    return Weather(start, mean + sd * tailed, mean, wet)


def cold_tailed(z: Array, skew: float) -> Array:
    """Standard normal values -> values of mean 0, sd 1 and a skew below 0: a lognormal turned round; as they are at 0.

    The shape is found by halving: the skew of a lognormal is (e^s² + 2) sqrt(e^s² - 1).
    """
    if skew >= 0.0:
        return z
    low, high = 1e-4, 1.0
    for _ in range(40):
        middle = (low + high) / 2
        grown = np.exp(middle**2)
        low, high = (middle, high) if (grown + 2) * np.sqrt(grown - 1) < -skew else (low, middle)
    grown = np.exp(low**2)
    turned: Array = -(np.exp(-low * z) - np.sqrt(grown)) / np.sqrt(grown * (grown - 1))
    return turned


def climate_table(depots: tuple[Depot, ...]) -> pd.DataFrame:
    """The contract's climate table: depot, month, low_c, low_sd_c (rounded to 0.1 K as a user would write it)."""
    middle = np.array([(dt.date(2023, m, 15) - dt.date(2022, 12, 31)).days for m in range(1, 13)], np.float64)
    rows = [
        (d.name, month, round(float(low), 1), d.low_sd_c)
        for d in depots
        for month, low in zip(range(1, 13), mean_low(d, middle), strict=True)
    ]
    return pd.DataFrame(rows, columns=["depot", "month", "low_c", "low_sd_c"])


def lows_table(weather: Weather, depots: tuple[Depot, ...], *, before: dt.date) -> pd.DataFrame:
    """What a thermometer with a memory showed at the depots that have one, all but the last: depot, date, low_c."""
    days = (before - weather.start).days
    date = pd.to_datetime([weather.start + dt.timedelta(days=k) for k in range(days)]).astype("datetime64[us]")
    frames = [
        pd.DataFrame({"depot": depot.name, "date": date, "low_c": np.round(weather.low_c[:days, column], 1)})
        for column, depot in enumerate(depots[:-1])
    ]
    empty = pd.DataFrame({"depot": pd.Series(dtype=str), "date": date[:0], "low_c": pd.Series(dtype=np.float64)})
    return pd.concat(frames, ignore_index=True) if frames else empty


def forecast_table(
    weather: Weather, depots: tuple[Depot, ...], *, first: dt.date, days: int, rng: np.random.Generator
) -> pd.DataFrame:
    """A forecast of the lows from `first` on: the coming truth with an error that grows with the lead."""
    rows = []
    at = (first - weather.start).days
    for column, depot in enumerate(depots):
        error = 0.0
        for lead in range(min(days, len(weather.low_c) - at)):
            error += FORECAST_ERROR_C * rng.standard_normal()
            low = round(float(weather.low_c[at + lead, column] + error), 1)
            rows.append((depot.name, first + dt.timedelta(days=lead), low))
    table = pd.DataFrame(rows, columns=["depot", "date", "low_c"])
    table["date"] = pd.to_datetime(table["date"]).astype("datetime64[us]")
    return table
