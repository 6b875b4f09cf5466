"""The coming lows: a depot's monthly climate with day-to-day persistence, and the forecast where there is one."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd
from scipy.special import ndtri

from analysis.readings.panel import Floats, Ints, Reals, days_since_epoch

PERSISTENCE = 0.75  # correlation of one day's departure from the season with the next; from memory, 0.6 to 0.85
PATHS = 600  # simulated courses of daily lows, our choice: probabilities to about 2 %
RISES_K = np.arange(-8.0, 25.0, 1.0)
LOWS_C = np.arange(-46.0, 42.0, 0.5)
FORECAST_SD_FIRST_K = 1.5  # error of a forecast low on the first day, from memory
FORECAST_SD_PER_DAY_K = 0.25
FORECAST_SD_MOST_K = 4.0
USUAL_SD_K = 4.0  # of daily lows where a climate has none, our choice
UNKNOWN_LOW_C = 5.0  # a depot without climate: our choice, mild, and wide
UNKNOWN_SD_K = 8.0
MID_MONTH = np.array([15.5, 45, 74.5, 105, 135.5, 166, 196.5, 227.5, 258, 288.5, 319, 349.5])


@dataclass(frozen=True)
class Weather:
    """P(some morning of the window is colder than the coldest start): table (D, S, L) over rise and value of it.

    coldest: (D,) the low that the window reaches in half of the simulated courses [degC].
    """

    table: Floats
    coldest: Floats

    def probability(self, depot: Ints, start_c: Reals, end_c: Reals) -> Floats:
        """depot (U,); start_c, end_c (U, K): coldest start at both ends of the window, straight between [degC]."""
        rise = np.clip(end_c - start_c, RISES_K[0], RISES_K[-1]) - RISES_K[0]
        j = np.minimum(rise.astype(np.int64), len(RISES_K) - 2)
        across = rise - j
        at = (np.clip(start_c, LOWS_C[0], LOWS_C[-1]) - LOWS_C[0]) / (LOWS_C[1] - LOWS_C[0])
        i = np.minimum(at.astype(np.int64), len(LOWS_C) - 2)
        along = at - i
        d = depot[:, None]
        after = i + 1
        lower = self.table[d, j, i] * (1.0 - along) + self.table[d, j, after] * along
        upper = self.table[d, j + 1, i] * (1.0 - along) + self.table[d, j + 1, after] * along
        return np.asarray(lower * (1.0 - across) + upper * across)


def seasonal_lows(climate: pd.DataFrame, depots: list[str], days: Ints) -> tuple[Floats, Floats]:
    """Mean daily low and its standard deviation [degC, K], (D, N), interpolated between mid-months; days since 1970."""
    mean = np.full((len(depots), len(days)), UNKNOWN_LOW_C)
    sd = np.full((len(depots), len(days)), UNKNOWN_SD_K)
    dates = days.astype("datetime64[D]")
    day_of_year = (dates - dates.astype("datetime64[Y]")).astype(np.int64) + 1
    known = climate[["month", "low_c", "low_sd_c"]].to_numpy(dtype=np.float64, na_value=np.nan)
    place = climate["depot"].to_numpy(dtype=object)
    for i, depot in enumerate(depots):
        own = known[(place == depot) & np.isfinite(known[:, 1])]
        if not len(own):
            continue
        own = own[np.argsort(own[:, 0], kind="stable")]
        at = MID_MONTH[own[:, 0].astype(np.int64) - 1]
        xs = np.concatenate([at - 365.25, at, at + 365.25])
        mean[i] = np.interp(day_of_year, xs, np.tile(own[:, 1], 3))
        sd[i] = np.interp(day_of_year, xs, np.tile(np.where(np.isfinite(own[:, 2]), own[:, 2], USUAL_SD_K), 3))
    return mean, sd


@lru_cache(maxsize=64)
def daily_courses(n_days: int, seed: int) -> Floats:
    """(n_days, PATHS) standard normal departures with day-to-day persistence, always the same for a seed; read only.

    Every course has its mirror image, and the first day takes evenly spaced quantiles: 600 courses stand for more.
    """
    rng = np.random.default_rng(seed)
    half = rng.standard_normal((n_days, PATHS // 2))
    half[0] = ndtri((rng.permutation(PATHS // 2) + 0.5) / PATHS)
    z = np.concatenate([half, -half], axis=1)
    fresh = np.sqrt(1.0 - PERSISTENCE**2)
    for k in range(1, n_days):
        z[k] = PERSISTENCE * z[k - 1] + fresh * z[k]
    z.setflags(write=False)
    return z


def make_weather(
    climate: pd.DataFrame,
    depots: list[str],
    first_day: int,
    n_days: int,
    forecast: pd.DataFrame | None = None,
    *,
    seed: int = 7,
) -> Weather:
    """Weather of the window of `n_days` from `first_day` [days since 1970]."""
    season = seasonal_lows(climate, depots, np.arange(first_day, first_day + n_days))
    return weather_of(season, depots, first_day, forecast, seed=seed)


def weather_of(
    season: tuple[Floats, Floats],
    depots: list[str],
    first_day: int,
    forecast: pd.DataFrame | None = None,
    *,
    seed: int = 7,
) -> Weather:
    """Weather of the window whose :func:`seasonal_lows` are `season`, (D, N) each, from `first_day` [days since 1970]."""
    mean, sd = season
    n_days = mean.shape[1]
    z = daily_courses(n_days, seed)
    ramp = (np.arange(n_days) + 0.5) / n_days
    table = np.empty((len(depots), len(RISES_K), len(LOWS_C)))
    coldest = np.empty(len(depots))
    for i, depot in enumerate(depots):
        lows = mean[i][:, None] + sd[i][:, None] * z
        if forecast is not None and len(forecast):
            lows = _with_forecast(lows, z, forecast[forecast["depot"] == depot], first_day)
        coldest[i] = np.median(lows.min(axis=0))
        worst = np.stack([(lows - rise * ramp[:, None]).min(axis=0) for rise in RISES_K])
        table[i] = _share_at_or_below(worst)
    return Weather(table, coldest)


def _share_at_or_below(worst: Floats) -> Floats:
    """(S, L) share of the courses (S, PATHS) whose coldest morning is no warmer than each of LOWS_C."""
    first = np.searchsorted(LOWS_C, worst.ravel()).reshape(worst.shape)  # the first low that is not below it
    first += np.arange(len(worst))[:, None] * (len(LOWS_C) + 1)
    counts = np.bincount(first.ravel(), minlength=len(worst) * (len(LOWS_C) + 1)).reshape(len(worst), -1)
    return np.asarray(counts[:, :-1].cumsum(axis=1) / PATHS)


def _with_forecast(lows: Floats, z: Floats, forecast: pd.DataFrame, first_day: int) -> Floats:
    """Replace the days that a forecast covers; its error grows with the days ahead."""
    out = lows.copy()
    ahead = days_since_epoch(forecast["date"]).astype(np.int64) - first_day
    for k, low in zip(ahead, forecast["low_c"].to_numpy(np.float64), strict=True):
        if 0 <= k < len(lows) and np.isfinite(low):
            error = min(FORECAST_SD_FIRST_K + FORECAST_SD_PER_DAY_K * k, FORECAST_SD_MOST_K)
            out[k] = low + error * z[k]
    return out
