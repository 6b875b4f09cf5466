"""The weekly list: per vehicle the probability, the part, the coldest start, the flag (advisory, ISO 13374)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.forecast.outlook import Outlook, coldest_today, weighted_quantile
from analysis.readings.observe import CHANNELS
from analysis.readings.panel import Bools, Floats, Ints, Reals, dates_of, spread_over
from analysis.readings.renewals import PART_CHANNELS, PARTS
from analysis.wear.drift import drift_table, watch_fleet
from analysis.wear.state import FleetState

FLAG_WINDOW_D = 100  # a flag looks this far ahead: two or three services; our choice
# by tolerated false flags per 100 healthy unit-years: probability over FLAG_WINDOW_D, and progress of the worst part (0 new,
# 1 failing at +5 degC), above which a vehicle is flagged by these alone, and above which it is flagged where its readings
# also drift at that rate; our choice, from figures of simulated fleets, see DEVELOPERS.md
FLAG_LEVELS = {
    2.0: ((0.40, 0.50), (0.22, 0.37)),
    5.0: ((0.31, 0.45), (0.15, 0.30)),
    10.0: ((0.20, 0.36), (0.08, 0.25)),
}
ACT_PROBABILITY = 0.10  # act before the chance of a no-start has come to one in ten, our choice
FEWEST_READINGS = 3  # fewer readings in all, and the vehicle is not judged; our choice
OTHER_CAUSES_PER_YEAR = 0.015  # no-starts that no reading foretells, per vehicle and year; our choice
WATCHED_BESIDE = 500  # vehicles of each class whose drift is watched in any case, our choice
NEEDS = ("speed", "supply", "coil")


@dataclass(frozen=True)
class FlagLevels:
    """Probability over FLAG_WINDOW_D and progress that flag a vehicle: by these alone, and where it also drifts."""

    alone: tuple[float, float]
    drifting: tuple[float, float]


def flag_levels(tolerated: float) -> FlagLevels:
    """Levels for a tolerated rate of false flags, between those of FLAG_LEVELS on logarithmic scales.

    tolerated: false flags per 100 healthy unit-years; raises ValueError outside 0.5 to 50.
    """
    if not 0.5 <= tolerated <= 50.0:
        raise ValueError(f"tolerated false flags is {tolerated}; allowed are 0.5 to 50 per 100 healthy unit-years")
    rates = sorted(FLAG_LEVELS)
    table = np.log(np.array([FLAG_LEVELS[r] for r in rates]))
    at = np.exp([[np.interp(np.log(tolerated), np.log(rates), table[:, i, k]) for k in range(2)] for i in range(2)])
    return FlagLevels((float(at[0, 0]), float(at[0, 1])), (float(at[1, 0]), float(at[1, 1])))


def with_other_causes(probability: Reals, days: float | Reals) -> Floats:
    """Probability with the small rate of no-starts that no reading foretells."""
    other = 1.0 - np.exp(-OTHER_CAUSES_PER_YEAR * days / 365.25)
    return either(probability, other)


def either(one: Reals, other: Reals | float) -> Floats:
    """Probability that at least one of two independent things happens."""
    return np.asarray(1.0 - (1.0 - one) * (1.0 - other), dtype=np.float64)


def due(flag_probability: Floats, progress: Floats, levels: tuple[float, float]) -> Bools:
    """(U,) vehicles whose probability or progress is at or above `levels` of the two."""
    return np.asarray((flag_probability >= levels[0]) | (progress >= levels[1]))


def watched(state: FleetState, vehicles: Bools, tolerated: float) -> pd.DataFrame:
    """Drift of `vehicles` (U,) at the tolerated rate of false flags: rows of :func:`analysis.wear.drift.drift_table`.

    WATCHED_BESIDE vehicles of each class, spread over it, are watched with them: they show what sound vehicles do, and which
    shifts all of a class had in one week.
    """
    rows, read = vehicles.copy(), np.isfinite(state.last_day)
    for g in range(len(state.laws.base)):
        rows[spread_over((state.group == g) & read, WATCHED_BESIDE)] = True
    at = np.flatnonzero(rows)
    drift = watch_fleet(
        state.panel.day[at],
        state.observed.value[:, at],
        state.observed.se[:, at],
        state.usable[:, at],
        state.laws.base_sd[state.group[at]].T,
        state.group[at],
        flags_per_100=tolerated,
    )
    return drift_table(state.panel.units["unit"].astype(str).iloc[at].tolist(), CHANNELS, drift)


def drifting_since(drift: pd.DataFrame, units: pd.Series, part: Ints) -> npt.NDArray[np.datetime64]:
    """(U,) day since which the suspect part drifts; where it does not, any other of the vehicle; NaT for none."""
    standing = drift[drift["drifting"]]
    own = [CHANNELS[c] for k in part for c in PART_CHANNELS[PARTS[k]]]
    pairs = pd.DataFrame(
        {"unit": np.repeat(units.to_numpy(), [len(PART_CHANNELS[PARTS[k]]) for k in part]), "channel": own}
    )
    suspect = standing.merge(pairs, on=["unit", "channel"]).groupby("unit")["drifting_since"].min()
    other = standing.groupby("unit")["drifting_since"].min()
    found = suspect.reindex(units.to_numpy()).fillna(other.reindex(units.to_numpy()))
    return np.asarray(found.to_numpy(dtype="datetime64[us]"))


def unit_table(
    state: FleetState,
    outlook: Outlook,
    shares: Floats,
    probability: Floats,
    bounds: tuple[Floats, Floats],
    flag_probability: Floats,
    progress: Floats,
    act_by_day: Floats,
    *,
    levels: FlagLevels,
    drift: pd.DataFrame,
) -> pd.DataFrame:
    """One row per vehicle: those whose failed start nobody repaired first, then by probability.

    progress: (U,) of :func:`analysis.worklist.part.wear_progress`; drift: of :func:`watched`.  A vehicle that drifts is
    flagged at a lower level than one that does not.
    """
    units = state.panel.units
    part = shares.argmax(axis=1)
    rows = np.arange(len(units))
    count = np.isfinite(state.observed.value).any(axis=0).sum(axis=1)
    status = np.where(count == 0, "no reading", np.where(count < FEWEST_READINGS, "too few readings", "judged"))
    now, alive = coldest_today(state, outlook, part, rows)
    limited = np.array(NEEDS)[outlook.limiting]
    since = drifting_since(drift, units["unit"].astype(str), part)
    flagged = due(flag_probability, progress, levels.alone)
    flagged = (flagged | (due(flag_probability, progress, levels.drifting) & ~np.isnat(since))) & (status == "judged")
    failures = outlook.failures
    flagged |= failures.any
    table = pd.DataFrame(
        {
            "unit": units["unit"].astype(str).to_numpy(),
            "depot": units["depot"].to_numpy(),
            "vehicle_class": units["vehicle_class"].to_numpy(),
            "system_v": units["system_v"].to_numpy(),
            "flagged": flagged,
            "part": np.array(PARTS)[part],
            "part_probability": shares[rows, part],
            "no_start_probability": probability,
            "probability_low": bounds[0],
            "probability_high": bounds[1],
            "flag_probability": flag_probability,
            "progress": progress,
            "drifting_since": since,
            "coldest_start_c": weighted_quantile(now, alive, 0.5),
            "coldest_start_low_c": weighted_quantile(now, alive, 0.1),
            "coldest_start_high_c": weighted_quantile(now, alive, 0.9),
            "repaired_probability": outlook.renewed,
            "act_by": dates_of(np.where(flagged, act_by_day, np.nan)),
            "last_reading_on": dates_of(state.last_day),
            "readings": count,
            "status": status,
            "limited_by": limited,
            "failed_starts": failures.count,
            "failed_on": dates_of(failures.last_day),
            "failed_at_c": failures.temperature_c,
            "failure": failures.kind.astype(str),
            "failure_unexplained": failures.unexplained,
        }
    )
    first = table["failed_starts"] > 0
    order = ["no_start_probability", "flag_probability", "unit"]
    ranked = table.assign(first=first).sort_values(["first", *order], ascending=[False, False, False, True])
    return ranked.drop(columns="first").reset_index(drop=True)
