"""The coming lows: a depot's monthly climate with day-to-day persistence, and the forecast where there is one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
import numpy.typing as npt
import pandas as pd
import scipy

from analysis.constants import DAYS_PER_YEAR
from analysis.forecast.choices import WEATHER
from analysis.kernel.loops import failed_by_the_end
from analysis.kernel.ready import compiled
from analysis.readings.panel import FleetTables, Floats, Ints, Reals, days_since_epoch, in_chunks
from analysis.starting.coldest_start import CHUNK_UNITS

WINTER_MONTHS = (11, 12, 1, 2, 3)  # the months whose shape counts, north of the equator
PATHS = 600  # simulated courses of daily lows: probabilities to about 2 %
RISES_K = np.arange(-8.0, 25.0, 1.0)
LOWS_C = np.arange(-46.0, 42.0, 0.5)
MID_MONTH = np.array([15.5, 45, 74.5, 105, 135.5, 166, 196.5, 227.5, 258, 288.5, 319, 349.5])


@dataclass(frozen=True)
class Weather:
    """P(some morning of the window is colder than the coldest start): table (D, S, L) over rise and value of it.

    coldest: (D,) the low that the window reaches in half of the simulated courses [degC].
    """

    table: Floats
    coldest: Floats

    @cached_property
    def none_below(self) -> Floats:
        """(D,) the low that no morning is colder than [degC], -inf where there is none."""
        first = np.argmax((self.table > 0.0).any(axis=1), axis=-1)
        return np.where(first > 0, LOWS_C[first - 1], -np.inf)

    def probability(self, depot: Ints, start_c: Reals, end_c: Reals) -> Floats:
        """depot (U,); start_c, end_c (U, K): coldest start at both ends of the window, straight between [degC]."""
        ends, bounds = np.stack([start_c, end_c]), Bounds(np.zeros(2, np.int64), np.arange(2, dtype=np.float32))
        return failed_by([self], depot, ends, bounds, np.zeros(start_c.shape))[..., 0]

    def of_arrays(self, depot: Ints, start_c: Reals, end_c: Reals) -> Floats:
        """The same with whole arrays."""
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


@dataclass(frozen=True)
class Bounds:
    """Where the bounds of windows lie between times at which coldest starts are known: the time before each, and the share
    of the way to the next."""

    place: Ints
    share: npt.NDArray[np.float32]

    @classmethod
    def between(cls, times_d: Floats, ends_d: Floats) -> Bounds:
        """Of bounds [d ahead] between times [d ahead], rising."""
        place = np.clip(np.searchsorted(times_d, ends_d) - 1, 0, len(times_d) - 2).astype(np.int64)
        share = (ends_d - times_d[place]) / (times_d[place + 1] - times_d[place])
        return cls(place, share.astype(np.float32))

    def coldest(self, coldest_c: Reals, k: int) -> Reals:
        """(U, K) coldest starts at one of the bounds, straight between those at the times (H, U, K) [degC]."""
        at, share = self.place[k], self.share[k]
        return np.asarray(coldest_c[at] * (1 - share) + coldest_c[at + 1] * share)


def failed_by(windows: Sequence[Weather], depot: Ints, coldest_c: Reals, bounds: Bounds, failed: Floats) -> Floats:
    """(U, K, windows) probability of a no-start by the end of each of the windows, one after the other.

    coldest_c: (H, U, K) coldest starts at the times that `bounds` lie between; failed: (U, K) probability by the first of these.
    """
    out = np.empty((len(failed), len(windows), failed.shape[1])).swapaxes(1, 2)
    loop = compiled(failed_by_the_end)
    if loop is None:
        stood = 1.0 - failed
        for w, window in enumerate(windows):
            start, end = (bounds.coldest(coldest_c, k) for k in (w, w + 1))
            stood = stood * (1.0 - window.of_arrays(depot, start, end))
            out[..., w] = 1.0 - stood
        return out
    tables, none_below = (np.stack([getattr(window, name) for window in windows]) for name in ("table", "none_below"))
    arrays = (
        np.ascontiguousarray(coldest_c, dtype=np.float32),
        bounds.place,
        bounds.share,
        np.ascontiguousarray(failed),
    )

    def fill(s: slice) -> None:
        loop(s.start, s.stop, tables, none_below, depot, RISES_K, LOWS_C, *arrays, out.swapaxes(1, 2))

    in_chunks(len(depot), CHUNK_UNITS, fill)
    return out


def depots_of(units: pd.DataFrame) -> tuple[list[str], Ints]:
    """Depot names, and the code of each vehicle's depot."""
    codes, names = pd.factorize(units["depot"].fillna("").astype(str), sort=True)
    return [str(n) for n in names], codes.astype(np.int64)


def seasonal_lows(climate: pd.DataFrame, depots: list[str], days: Ints) -> tuple[Floats, Floats]:
    """Mean daily low and its standard deviation [degC, K], (D, N), interpolated between mid-months; days since 1970."""
    known = climate[climate["low_c"].notna()]
    mean = _through_months(known, "low_c", depots, days, WEATHER.unknown_low_c)
    sd = _through_months(known.fillna({"low_sd_c": WEATHER.usual_sd_k}), "low_sd_c", depots, days, WEATHER.unknown_sd_k)
    return mean, sd


def _through_months(
    climate: pd.DataFrame, column: str, depots: list[str], days: Ints, unknown: Floats | float
) -> Floats:
    """(D, N) values of a column on days since 1970, straight between the mid-months that are known; `unknown`, of all or of
    each depot, where none is."""
    out = np.repeat(np.broadcast_to(unknown, len(depots))[:, None], len(days), axis=1)
    if column not in climate:
        return out
    dates = days.astype("datetime64[D]")
    day_of_year = (dates - dates.astype("datetime64[Y]")).astype(np.int64) + 1
    month = climate["month"].to_numpy(dtype=np.int64)
    value = climate[column].to_numpy(dtype=np.float64, na_value=np.nan)
    told, place = np.isfinite(value), climate["depot"].to_numpy(dtype=object)
    for i, depot in enumerate(depots):
        own = np.flatnonzero(told & (place == depot))
        if not len(own):
            continue
        own = own[np.argsort(month[own], kind="stable")]
        at = MID_MONTH[month[own] - 1]
        xs = np.concatenate([at - DAYS_PER_YEAR, at, at + DAYS_PER_YEAR])
        out[i] = np.interp(day_of_year, xs, np.tile(value[own], 3))
    return out


def coldest_month(climate: pd.DataFrame, depots: list[str]) -> tuple[Floats, Floats]:
    """Mean low of each depot's coldest month and the spread of its lows [degC, K], (D,) each."""
    mean, sd = seasonal_lows(climate, depots, np.arange(365))
    coldest = mean.argmin(axis=1)[:, None]
    return np.take_along_axis(mean, coldest, 1)[:, 0], np.take_along_axis(sd, coldest, 1)[:, 0]


def stated_skew(climate: pd.DataFrame, depots: list[str]) -> Floats:
    """(D,) skew of the daily lows of depots of which no daily lows are known, by how much those of the coldest month scatter."""
    _, sd = coldest_month(climate, depots)
    ends = (WEATHER.steady_sd_k, WEATHER.changing_sd_k), (WEATHER.steady_skew, WEATHER.changing_skew)
    return np.interp(sd, *ends)


def typical_cold(climate: pd.DataFrame, depots: list[str]) -> Floats:
    """(D,) a typical cold morning of each depot [degC]: one standard deviation below the mean low of its coldest month."""
    mean, sd = coldest_month(climate, depots)
    return np.asarray(mean - sd)


def shapes(climate: pd.DataFrame, depots: list[str], days: Ints) -> tuple[Floats, Floats]:
    """Correlation with the day before and skew of the daily lows, (D, N), stated ones where the climate has none; days since
    1970."""
    persistence = _through_months(climate, "persistence", depots, days, WEATHER.persistence)
    skew = _through_months(climate, "skew", depots, days, stated_skew(climate, depots))
    return persistence, np.clip(skew, WEATHER.least_skew, 0.0)


def cold_tailed(z: Floats, skew: Floats | float) -> Floats:
    """Standard normal departures -> departures of mean 0, standard deviation 1 and a skew below 0: a lognormal turned round.

    skew: of all, or of each row.  That of a lognormal with log standard deviation s is (w + 2) sqrt(w - 1), w = exp(s^2); w is
    the root of w^3 + 3 w^2 - 4 = skew^2, with x = w + 1 that of x^3 - 3 x = 2 + skew^2.
    """
    tail = np.minimum(skew, -0.01)
    w = 2.0 * np.cosh(np.arccosh(1.0 + 0.5 * tail**2) / 3.0) - 1.0
    s = np.sqrt(np.log(w))
    return np.asarray(np.where(np.asarray(skew) > -0.01, z, (np.sqrt(w) - np.exp(-s * z)) / np.sqrt(w * (w - 1.0))))


def with_daily_lows(climate: pd.DataFrame, lows: pd.DataFrame | None) -> pd.DataFrame:
    """The climate with what measured daily lows (depot, date, low_c) teach by month: low_c, low_sd_c, persistence, skew.

    A depot with `full_year_d` days of lows has its own climate from them, months without any from the stated one; a depot
    with fewer keeps what is stated. Mean and spread of a month are of the days' departures from the month's course, so
    that a month that warms is not taken for one that scatters.
    """
    if lows is None or lows.empty:
        return climate
    frames = [climate]
    for depot, own in lows.dropna(subset=["low_c"]).groupby("depot"):
        if len(own) >= WEATHER.full_year_d:
            stated = climate[climate["depot"] == depot]
            frames[0] = frames[0][frames[0]["depot"] != depot]
            frames.append(_learned(str(depot), own.sort_values("date"), stated))
    return pd.concat(frames, ignore_index=True) if len(frames) > 1 else climate


def known_at(tables: FleetTables, day: pd.Timestamp) -> FleetTables:
    """The tables at the start of a day, their climate with what daily lows measured before it teach."""
    then = tables.before(day)
    return replace(then, climate=with_daily_lows(then.climate, then.lows))


def _learned(depot: str, lows: pd.DataFrame, stated: pd.DataFrame) -> pd.DataFrame:
    """One depot's climate from its measured lows, by date."""
    month = lows["date"].dt.month.to_numpy()
    value = lows["low_c"].to_numpy(np.float64)
    mean = pd.Series(value).groupby(month).mean().reindex(range(1, 13))
    known = stated.groupby("month")["low_c"].mean().reindex(range(1, 13))
    mean = mean.fillna(known).interpolate(limit_direction="both")
    table = pd.DataFrame({"depot": depot, "month": range(1, 13), "low_c": mean.to_numpy(), "low_sd_c": np.nan})
    course, _ = seasonal_lows(table, [depot], days_since_epoch(lows["date"]).astype(np.int64))
    away = value - course[0]
    spread = pd.Series(away).groupby(month).std().reindex(range(1, 13))
    spread = spread.fillna(stated.groupby("month")["low_sd_c"].mean().reindex(range(1, 13)))
    table["low_sd_c"] = spread.interpolate(limit_direction="both").to_numpy()
    scaled = away / np.maximum(table["low_sd_c"].to_numpy()[month - 1], WEATHER.least_sd_k)
    follows = np.append(False, np.diff(days_since_epoch(lows["date"])) == 1.0)
    products = np.where(follows, scaled * np.append(0.0, scaled[:-1]), np.nan)
    pairs, thirds = _by_month(products, month), _by_month(scaled**3, month)
    persistence = np.clip(_of_winter(pairs, WEATHER.persistence), 0.0, WEATHER.most_persistence)
    on_its_own = (1.0 - persistence) / (1.0 + persistence)  # of a day that is like the one before it, from memory
    table["persistence"] = np.clip(_of_month(pairs, persistence, on_its_own), 0.0, WEATHER.most_persistence)
    table["skew"] = np.clip(
        _of_month(thirds, _of_winter(thirds, float(stated_skew(table, [depot])[0])), on_its_own),
        WEATHER.least_skew,
        0.0,
    )
    return table


def _by_month(value: Floats, month: Ints) -> pd.DataFrame:
    """Mean, and count of those that are known, of values (N,) by month."""
    return pd.Series(value).groupby(month).agg(["mean", "count"]).reindex(range(1, 13)).fillna(0.0)


def _of_winter(known: pd.DataFrame, stated: float) -> float:
    """A winter's mean, the stated one counting as `WEATHER.winter_d` days."""
    winter = known.loc[list(WINTER_MONTHS)]
    total = (winter["mean"] * winter["count"]).sum() + WEATHER.winter_d * stated
    return float(total / (winter["count"].sum() + WEATHER.winter_d))


def _of_month(known: pd.DataFrame, winter: float, on_its_own: float) -> Floats:
    """(12,) each month's mean, the winter's counting as `WEATHER.month_d` days that are each on its own."""
    days = on_its_own * known["count"].to_numpy(np.float64)
    return np.asarray((days * known["mean"] + WEATHER.month_d * winter) / (days + WEATHER.month_d), dtype=np.float64)


@lru_cache(maxsize=128)
def daily_courses(n_days: int, seed: int, persistence: float | tuple[float, ...] = WEATHER.persistence) -> Floats:
    """(n_days, PATHS) standard normal departures with day-to-day persistence, one for all days or one for each, always the same
    for a seed; read only.

    Every course has its mirror image, and the first day takes evenly spaced quantiles: 600 courses stand for more.
    """
    rng = np.random.default_rng(seed)
    half = rng.standard_normal((n_days, PATHS // 2))
    half[0] = scipy.special.ndtri((rng.permutation(PATHS // 2) + 0.5) / PATHS)
    z = np.concatenate([half, -half], axis=1)
    of_day = np.broadcast_to(persistence, n_days)
    for k in range(1, n_days):
        z[k] = of_day[k] * z[k - 1] + np.sqrt(1.0 - of_day[k] ** 2) * z[k]
    z.setflags(write=False)
    return z


def make_weather(
    climate: pd.DataFrame,
    depots: list[str],
    first_day: int,
    n_days: int,
    forecast: pd.DataFrame | None = None,
    *,
    came: pd.DataFrame | None = None,
    seed: int = 7,
) -> Weather:
    """Weather of the window of `n_days` from `first_day` [days since 1970]; came: lows of it that were measured (depot, date, low_c)."""
    days = np.arange(first_day, first_day + n_days)
    season, shape = seasonal_lows(climate, depots, days), shapes(climate, depots, days)
    (whole,) = winters_of(season, shape, depots, first_day, forecast, came=came, seed=seed)
    return whole


def winters_of(
    season: tuple[Floats, Floats],
    shape: tuple[Floats, Floats],
    depots: list[str],
    first_day: int,
    forecast: pd.DataFrame | None = None,
    *,
    came: pd.DataFrame | None = None,
    seed: int = 7,
    parts: int = 1,
) -> tuple[Weather, ...]:
    """Weather of the window whose :func:`seasonal_lows` are `season`, (D, N) each, from `first_day` [days since 1970], in so many equal
    parts of its courses, the coldest first: what it is like where its winter is such a one.

    shape: its :func:`shapes`; came: lows of it that were measured; parts divides PATHS, and the mean of all is the whole window's.
    """
    mean, sd = season
    n_days = mean.shape[1]
    if forecast is not None and len(forecast):
        ahead = days_since_epoch(forecast["date"]) - first_day
        forecast = forecast[(ahead >= 0) & (ahead < n_days)]  # none for most weeks to come
    ramp = (np.arange(n_days) + 0.5) / n_days
    table = np.empty((parts, len(depots), len(RISES_K), len(LOWS_C)))
    coldest = np.empty((parts, len(depots)))
    left, worst = np.empty((n_days, PATHS)), np.empty((len(RISES_K), PATHS))
    for i, depot in enumerate(depots):
        z = daily_courses(n_days, seed, tuple(shape[0][i].round(2).tolist()))
        lows = mean[i][:, None] + sd[i][:, None] * cold_tailed(z, shape[1][i][:, None])
        if forecast is not None and len(forecast):
            lows = _with_forecast(lows, z, forecast[forecast["depot"] == depot], first_day)
        if came is not None and len(came):
            lows = _as_they_came(lows, came[came["depot"] == depot], first_day)
        lowest = lows.min(axis=0)
        for k, rise in enumerate(RISES_K):
            np.subtract(lows, rise * ramp[:, None], out=left).min(axis=0, out=worst[k])
        for part, own in enumerate(np.argsort(lowest, kind="stable").reshape(parts, -1)):
            coldest[part, i] = np.median(lowest[own])
            table[part, i] = _share_at_or_below(worst[:, own])
    return tuple(Weather(*each) for each in zip(table, coldest, strict=True))


def _share_at_or_below(worst: Floats) -> Floats:
    """(S, L) share of some courses (S, N) whose coldest morning is no warmer than each of LOWS_C."""
    step = LOWS_C[1] - LOWS_C[0]
    first = np.ceil((np.clip(worst, LOWS_C[0], LOWS_C[-1] + step) - LOWS_C[0]) / step).astype(np.int64)
    # the first low that is not below it
    first += np.arange(len(worst))[:, None] * (len(LOWS_C) + 1)
    counts = np.bincount(first.ravel(), minlength=len(worst) * (len(LOWS_C) + 1)).reshape(len(worst), -1)
    return np.asarray(counts[:, :-1].cumsum(axis=1) / worst.shape[1])


def _as_they_came(lows: Floats, came: pd.DataFrame, first_day: int) -> Floats:
    """Replace the days whose low was measured; what is not known of a day has the season's chance."""
    out = lows.copy()
    at = days_since_epoch(came["date"]).astype(np.int64) - first_day
    inside = (at >= 0) & (at < len(lows)) & came["low_c"].notna().to_numpy()
    out[at[inside]] = came["low_c"].to_numpy(np.float64)[inside][:, None]
    return out


def _with_forecast(lows: Floats, z: Floats, forecast: pd.DataFrame, first_day: int) -> Floats:
    """Replace the days that a forecast of some of them covers; its error grows with the days ahead."""
    out = lows.copy()
    ahead = days_since_epoch(forecast["date"]).astype(np.int64) - first_day
    for k, low in zip(ahead, forecast["low_c"].to_numpy(np.float64), strict=True):
        if np.isfinite(low):
            error = min(WEATHER.forecast_sd_first_k + WEATHER.forecast_sd_per_day_k * k, WEATHER.forecast_sd_most_k)
            out[k] = low + error * z[k]
    return out
