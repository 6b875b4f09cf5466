"""The weather around a day, of all depots of a fleet: what chunks of its vehicles are judged with."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.forecast.choices import LEARNING
from analysis.forecast.lows import Weather, depots_of, seasonal_lows, shapes, typical_cold, winters_of
from analysis.readings.panel import Floats, Ints

WEEKS = 26
LATER_D, LATER_WINDOWS = 91, 6
"""Beyond the weeks of the outlook, so many windows of so many days: two years in all, since a worn part that lives through
one winter meets the next one worse. Within a draw the coldest start goes on rising as it rose before."""
YEAR_D = 365
WEEK_SEED, LATER_SEED = 100, 200


@dataclass(frozen=True)
class Season:
    """Weather of D depots: of an ordinary year past, of the last `survival_d` days as they came, of the horizon, of the flag's window,
    of each coming week and of the quarters after them; usual_c, typical_c: (D,) usual low of the day, and that of a typical cold morning
    [degC]."""

    depots: tuple[str, ...]
    year: Weather
    past: Weather
    soon: Weather
    later: Weather
    weeks: tuple[Weather, ...]
    quarters: tuple[Weather, ...]
    usual_c: Floats
    typical_c: Floats

    def codes(self, units: pd.DataFrame) -> Ints:
        """(U,) depot of each vehicle."""
        names, own = depots_of(units)
        return np.asarray(pd.Index(self.depots).get_indexer(pd.Index(names)), dtype=np.int64)[own]


def season_of(
    units: pd.DataFrame,
    climate: pd.DataFrame,
    day: int,
    *,
    horizon_d: int,
    window_d: int,
    forecast: pd.DataFrame | None = None,
    came: pd.DataFrame | None = None,
) -> Season:
    """The season around a day [d since 1970] at the depots of `units`; came: daily lows measured before it."""
    depots, _ = depots_of(units)
    days = np.arange(day - YEAR_D, day + 7 * WEEKS + LATER_D * LATER_WINDOWS)
    courses = (*seasonal_lows(climate, depots, days), *shapes(climate, depots, days))

    def window(
        first: int, n_days: int, seed: int = 7, *, told: pd.DataFrame | None = None, came: pd.DataFrame | None = None
    ) -> Weather:
        at = slice(first - int(days[0]), first - int(days[0]) + n_days)
        mean, sd, persistence, skew = (of[:, at] for of in courses)
        (whole,) = winters_of((mean, sd), (persistence, skew), depots, first, told, came=came, seed=seed)
        return whole

    return Season(
        tuple(depots),
        window(day - YEAR_D, YEAR_D),
        window(day - LEARNING.survival_d, LEARNING.survival_d, came=came),
        window(day, horizon_d, told=forecast),
        window(day, window_d, told=forecast),
        tuple(window(day + 7 * w, 7, WEEK_SEED + w, told=forecast) for w in range(WEEKS)),
        tuple(window(day + 7 * WEEKS + LATER_D * i, LATER_D, LATER_SEED + i) for i in range(LATER_WINDOWS)),
        courses[0][:, YEAR_D],
        typical_cold(climate, depots),
    )
