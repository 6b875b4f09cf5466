"""One vehicle's course for its page: what was read of a part, the path drawn through it, and the cold it starts in.

Takes a finished assessment apart; it estimates nothing anew, so that the page shows what the list was made from.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy

from analysis.constants import DAYS_PER_YEAR, Z_80
from analysis.forecast.lows import seasonal_lows
from analysis.forecast.outlook import outlook_renewed, weighted_quantile
from analysis.readings.observe import BATTERY, CHANNELS, CONTACTS, CONTROL, GROUND, LOAD, POSITIVE, ClassLaws
from analysis.readings.panel import Bools, Floats, Ints, dates_of
from analysis.starting.coldest_start import BELOW_C, GRID_C, Needs, drawn_coldest_starts
from analysis.starting.floors import FLOORS
from analysis.wear.paths import mean_value
from analysis.wear.state import FleetRead
from analysis.worklist.assess import Assessment
from analysis.worklist.choices import JUDGING
from analysis.worklist.judge import drawn_as_judged
from analysis.worklist.part import PART_CHANNEL

PATH_STEP_D = 7.0  # the drawn path has a point a week
AHEAD_D = 182.0
MONTHS_PER_YEAR = 12.0
LEVELS_TRIED = (0.01, 120.0, 96)  # excess over class-usual, from, to, and how many: 1 % to what nothing starts with
LIMIT_OF = {
    POSITIVE: ("positive_cable_drop_v", "load"),
    GROUND: ("ground_path_drop_v", "load"),
    CONTACTS: ("solenoid_contacts_drop_v", "load"),
    CONTROL: ("control_circuit_drop_v", "coil"),
}


@dataclass(frozen=True)
class PartCourse:
    """A part of one vehicle over time, in `unit` at 20 °C.

    readings: taken_at, value, low, high (80 %), used, starts (that it stands for), bound (whether the value is the least that
    it can be); path: day, value, low,
    high, ahead; usual and spread (one standard deviation) of the class; fails_at: value from which on the vehicle, otherwise as it
    is, does not start at the coming low `fails_at_c` [°C], NaN for none; others_fail: whether it would not with this part renewed.
    """

    part: str
    unit: str
    readings: pd.DataFrame
    path: pd.DataFrame
    usual: float
    spread: float
    fails_at: float
    fails_at_c: float
    others_fail: bool


def position(assessment: Assessment, unit: str) -> int:
    """Row of `unit` in the state's arrays; ValueError for a vehicle that was not assessed."""
    found = np.flatnonzero(assessment.state.names == unit)
    if not len(found):
        raise ValueError(f"unit is {unit!r}; allowed are the vehicles assessed")
    return int(found[0])


def part_course(assessment: Assessment, unit: str, part: str) -> PartCourse:
    """The course of one part of one vehicle; ValueError for an unknown vehicle or part."""
    if part not in PART_CHANNEL:
        raise ValueError(f"part is {part!r}; allowed are {', '.join(PART_CHANNEL)}")
    state, u, c = assessment.state, position(assessment, unit), PART_CHANNEL[part]
    usual = float(state.laws.base[state.group[u], c])
    readings = _readings(state, u, c, usual)
    (level,), (at_c,), (others,) = failing_levels(assessment, np.array([u]), c)
    return PartCourse(
        part,
        "A" if CHANNELS[c] == "load" else "mΩ",
        readings,
        _path(state, u, c, usual, readings),
        usual,
        float(state.spread[c, u]) * usual,
        float(level) * usual,
        float(at_c),
        bool(others),
    )


def failing_levels(assessment: Assessment, rows: Ints, channel: int) -> tuple[Floats, Floats, Bools]:
    """Level of one channel at which the vehicles `rows` start at the coming low and no colder (multiple of class-usual, NaN for
    none), that low of their depots [°C], and whether a vehicle would not start at it with this part as usual either; (rows,) each.

    All other channels stand at their mean of today. The starts found are moved by what the list's coldest start, which also knows
    outcomes and repairs, is away from that of the means, so that a level beyond the one found and a coldest start warmer than the
    low are the same thing.
    """
    state, season, learned = assessment.state.of(rows), assessment.shared.season, assessment.shared.learned
    n, at_c = len(rows), np.round(season.soon.coldest[season.codes(state.panel.units)], 1)
    today = np.stack([mean_value(own.posterior(np.arange(n)), state.grid, 0.0)[0] for own in state.channels])
    levels = 1.0 + np.append(0.0, np.geomspace(*LEVELS_TRIED))
    tried = np.repeat(today[:, :, None], len(levels) + 1, axis=2)
    tried[channel, :, :-1] = levels
    needs = Needs(*np.repeat(learned.needs[state.group].T[:, :, None], len(levels) + 1, axis=2))
    start = drawn_coldest_starts(tried, np.ones(tried.shape[1:]), state.vehicles, needs).max(axis=0)
    listed = assessment.units.set_index("unit").loc[state.names.tolist()]
    coldest, floor = listed["coldest_start_c"].to_numpy(np.float64), listed["limited_by"].isin(FLOORS).to_numpy()
    on_scale = (np.minimum(coldest, start[:, -1]) > BELOW_C) & (np.maximum(coldest, start[:, -1]) < GRID_C[-1]) & ~floor
    start = start[:, :-1] + np.where(on_scale, coldest - start[:, -1], 0.0)[:, None]
    reached = start >= at_c[:, None]
    others = reached[:, 0] | (floor & (coldest > at_c))
    level = np.full(n, np.nan)
    for i in np.flatnonzero(reached.any(axis=1) & ~others):
        k = int(reached[i].argmax())
        level[i] = np.interp(at_c[i], start[i, k - 1 : k + 1], levels[k - 1 : k + 1])
    return level, at_c, others


def plain_slopes(state: FleetRead, unit: str) -> dict[str, tuple[float, float, float]]:
    """Theil-Sen slope of every part over about the last year, with its 90 % interval [mOhm a month; A for drag].

    The plain check beside the model's growth: the median of the slopes between all pairs of readings.  Only readings
    since the part was last renewed count; NaN with fewer than five.  Raises KeyError for an unknown vehicle.
    """
    names = state.names.tolist()
    if unit not in names:
        raise KeyError(unit)
    u = names.index(unit)
    day = state.panel.day[u]
    recent = state.usable[:, u] & (day[None] >= state.day - JUDGING.plain_d)
    out = {}
    for part, c in PART_CHANNEL.items():
        value = state.observed.value[c, u]
        use = recent[c] & np.isfinite(value)
        a_month = float(state.laws.base[state.group[u], c]) * DAYS_PER_YEAR / MONTHS_PER_YEAR
        middle, low, high = (a_month * slope for slope in theil_sen(day[use], value[use]))
        out[part] = (middle, low, high)
    return out


def theil_sen(day: Floats, value: Floats) -> tuple[float, float, float]:
    """Median of the slopes between all pairs of readings, and its interval by rank [per day]; NaN of too few readings.

    Source: Theil 1950, Sen 1968; as `scipy.stats.theilslopes`, whose loading takes longer than a vehicle's sheet.
    """
    count = len(value)
    if count < JUDGING.plain_readings or day.min() == day.max():
        return (float("nan"),) * 3
    later = day[:, None] > day
    slopes = np.sort((value[:, None] - value)[later] / (day[:, None] - day)[later])
    same = np.concatenate([np.unique(both, return_counts=True)[1] for both in (day, value)])
    ties = (same * (same - 1) * (2 * same + 5)).sum()
    half = -scipy.special.ndtri(0.5 - 0.5 * JUDGING.plain_confidence) * np.sqrt(
        (count * (count - 1) * (2 * count + 5) - ties) / 18.0
    )
    low, high = np.round(0.5 * (len(slopes) - half)) - 1, np.round(0.5 * (len(slopes) + half))
    low, high = slopes[[max(int(low), 0), min(int(high), len(slopes) - 1)]]
    return float(np.median(slopes)), float(low), float(high)


def with_bounds(state: FleetRead, u: int, c: int) -> tuple[Floats, Bools]:
    """(R,) values of one part of one vehicle, multiples of class-usual, and which of them are the least that it can be."""
    value = state.observed.value[c, u]
    if c != BATTERY or state.observed.least is None:
        return value, np.zeros(len(value), dtype=bool)
    bound = np.isfinite(state.observed.least[u])
    return np.where(bound, state.observed.least[u], value), bound


def _readings(state: FleetRead, u: int, c: int, usual: float) -> pd.DataFrame:
    value, bound = with_bounds(state, u, c)
    se = np.where(bound, 0.0, state.observed.se[c, u])
    keep = np.isfinite(value) & state.panel.present[u]
    seconds = np.round(np.where(keep, np.nan_to_num(state.panel.day[u]), 0.0) * 86400.0).astype("int64")
    return pd.DataFrame(
        {
            "taken_at": seconds.astype("datetime64[s]").astype("datetime64[us]")[keep],
            "value": (value * usual)[keep],
            "low": ((value - Z_80 * se) * usual)[keep],
            "high": ((value + Z_80 * se) * usual)[keep],
            "used": state.usable[c, u][keep],
            "starts": state.panel.stands_for[u][keep],
            "apart": (value * state.panel.spread[u] * usual)[keep] if c == BATTERY else 0.0,
            "bound": bound[keep],
        }
    )


def _path(state: FleetRead, u: int, c: int, usual: float, readings: pd.DataFrame) -> pd.DataFrame:
    """Posterior mean and 80 % interval of the level, from the first reading that counts to half a year ahead."""
    used = readings[readings["used"]]
    back = 0.0 if used.empty else max(0.0, state.day - float(used["taken_at"].iloc[0].timestamp()) / 86400.0)
    ahead = np.append(np.arange(-back, 0.0, PATH_STEP_D), np.arange(0.0, AHEAD_D + 1.0, PATH_STEP_D))
    own = state.channels[c].posterior(np.array([u]))
    levels = [mean_value(own, state.grid, float(a)) for a in ahead]
    mean = np.array([float(m[0]) for m, _ in levels])
    sd = np.array([float(s[0]) for _, s in levels])
    return pd.DataFrame(
        {
            "day": dates_of(state.day + ahead),
            "value": mean * usual,
            "low": np.maximum(mean - Z_80 * sd, 0.0) * usual,
            "high": (mean + Z_80 * sd) * usual,
            "ahead": ahead >= 0,
        }
    )


def printed_limit(laws: ClassLaws, group: int, channel: int, limit_v: float, system_v: float) -> float:
    """A printed drop [V] as a resistance [mΩ] at the class's usual amps (coil amps for the control circuit)."""
    coil = channel == CONTROL
    amps = 1e3 * system_v / float(laws.coil_mohm[group]) if coil else float(laws.base[group, LOAD])
    return 1e3 * limit_v / amps


def cold_course(assessment: Assessment, unit: str, *, part: str | None = None) -> pd.DataFrame:
    """Coldest start of one vehicle over the coming half year, with `part` renewed today beside it.

    :returns: day, coldest_start_c, low_c, high_c (80 %), renewed_c (NaN without `part`)
    """
    state, own, _ = drawn_as_judged(assessment.state.of(np.array([position(assessment, unit)])), assessment.shared)
    now, alive = own.coldest, own.alive
    renewed = outlook_renewed(state, own, np.zeros(1, dtype=np.int64), [part]).coldest if part else None
    keep = [k for k, a in enumerate(state.ahead_d) if a >= 0]
    listed = assessment.units[assessment.units["unit"] == unit]  # today's also reckon with repairs and failures

    def course(name: str, q: float) -> list[float]:
        later = [float(weighted_quantile(now[k], alive, q)[0]) for k in keep if state.ahead_d[k] > 0]
        return [float(listed[name].iloc[0]), *later]

    return pd.DataFrame(
        {
            "day": dates_of(state.day + state.ahead_d[keep]),
            "coldest_start_c": course("coldest_start_c", 0.5),
            "low_c": course("coldest_start_low_c", 0.1),
            "high_c": course("coldest_start_high_c", 0.9),
            "renewed_c": [
                float("nan") if renewed is None else float(weighted_quantile(renewed[k], alive, 0.5)[0]) for k in keep
            ],
        }
    )


def season_course(climate: pd.DataFrame, depot: str, as_of: pd.Timestamp) -> pd.DataFrame:
    """A depot's daily lows over the coming days by its climate: day, low_c (mean), one_in_ten_c (a cold morning), and
    assumed: whether no climate of the depot is known."""
    ahead = np.arange(0, int(AHEAD_D) + 1, 7, dtype=np.int64)
    first = int(as_of.timestamp() // 86400)
    mean, sd = seasonal_lows(climate, [depot], first + ahead)
    known = climate.loc[climate["depot"] == depot, "low_c"].notna().any()
    return pd.DataFrame(
        {
            "day": dates_of((first + ahead).astype(np.float64)),
            "low_c": mean[0],
            "one_in_ten_c": mean[0] - Z_80 * sd[0],
            "assumed": not known,
        }
    )
