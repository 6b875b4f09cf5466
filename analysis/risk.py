"""The weekly list: per vehicle the probability, the part, the coldest start, the flag (advisory, ISO 13374)."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.isolation import wear_progress
from analysis.panel import Floats, Reals, dates_of
from analysis.prognosis import Outlook, weighted_quantile
from analysis.resets import PARTS
from analysis.state import FleetState

FLAG_WINDOW_D = 100  # a flag looks this far ahead: two or three services; our choice
# by tolerated false flags per 100 healthy unit-years: probability over FLAG_WINDOW_D, and progress of the worst part
# (0 new, 1 failing at +5 degC) above which a vehicle is flagged; our choice, from figures of simulated fleets, see DEVELOPERS.md
FLAG_LEVELS = {2.0: (0.32, 0.38), 5.0: (0.20, 0.30), 10.0: (0.13, 0.26)}
ACT_PROBABILITY = 0.10  # act before the chance of a no-start has come to one in ten, our choice
FEWEST_READINGS = 3  # fewer readings in all, and the vehicle is not judged; our choice
OTHER_CAUSES_PER_YEAR = 0.015  # no-starts that no reading foretells, per vehicle and year; our choice
NEEDS = ("speed", "supply", "coil")


def flag_levels(tolerated: float) -> tuple[float, float]:
    """Probability over FLAG_WINDOW_D and progress that flag a vehicle, for a tolerated rate of false flags.

    tolerated: false flags per 100 healthy unit-years; raises ValueError outside 0.5 to 50.
    """
    if not 0.5 <= tolerated <= 50.0:
        raise ValueError(f"tolerated false flags is {tolerated}; allowed are 0.5 to 50 per 100 healthy unit-years")
    rates = np.log(np.array(sorted(FLAG_LEVELS)))
    levels = np.log(np.array([FLAG_LEVELS[r] for r in sorted(FLAG_LEVELS)]))
    probability, progress = (float(np.exp(np.interp(np.log(tolerated), rates, levels[:, k]))) for k in range(2))
    return probability, progress


def with_other_causes(probability: Reals, days: float | Reals) -> Floats:
    """Probability with the small rate of no-starts that no reading foretells."""
    other = 1.0 - np.exp(-OTHER_CAUSES_PER_YEAR * days / 365.25)
    return np.asarray(1.0 - (1.0 - probability) * (1.0 - other))


def unit_table(
    state: FleetState,
    outlook: Outlook,
    shares: Floats,
    probability: Floats,
    bounds: tuple[Floats, Floats],
    flag_probability: Floats,
    act_by_day: Floats,
    *,
    levels: tuple[float, float],
) -> pd.DataFrame:
    """One row per vehicle, highest probability first."""
    units = state.panel.units
    part = shares.argmax(axis=1)
    rows = np.arange(len(units))
    count = np.isfinite(state.observed.value).any(axis=0).sum(axis=1)
    status = np.where(count == 0, "no reading", np.where(count < FEWEST_READINGS, "too few readings", "judged"))
    now = outlook.coldest[int(np.argmin(np.abs(state.ahead_d)))]
    limited = np.array(NEEDS)[outlook.limiting]
    progress = wear_progress(state)
    flagged = ((flag_probability >= levels[0]) | (progress >= levels[1])) & (status == "judged")
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
            "coldest_start_c": weighted_quantile(now, outlook.alive, 0.5),
            "coldest_start_low_c": weighted_quantile(now, outlook.alive, 0.1),
            "coldest_start_high_c": weighted_quantile(now, outlook.alive, 0.9),
            "repaired_probability": outlook.renewed,
            "act_by": dates_of(np.where(flagged, act_by_day, np.nan)),
            "last_reading_on": dates_of(state.last_day),
            "readings": count,
            "status": status,
            "limited_by": limited,
        }
    )
    return table.sort_values(
        ["no_start_probability", "flag_probability", "unit"], ascending=[False, False, True]
    ).reset_index(drop=True)
