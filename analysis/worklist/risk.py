"""The weekly list: per vehicle the probability, the part, the coldest start, the flag (advisory, ISO 13374)."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.constants import DAYS_PER_YEAR
from analysis.forecast.outlook import Outlook, coldest_today
from analysis.readings.aid import has_block_heater, said
from analysis.readings.observe import CHANNELS
from analysis.readings.panel import Bools, Floats, Ints, Reals, dates_of, spread_over
from analysis.readings.renewals import PART_CHANNELS, PARTS
from analysis.starting.floors import FLOORS
from analysis.wear.drift import drift_table, usual_ageing, watch_fleet
from analysis.wear.state import FleetRead, FleetState
from analysis.worklist.choices import FLAGS, JUDGING

WATCHED_BESIDE = 500  # vehicles of each class whose drift is watched in any case, for speed
NEEDS = ("speed", "supply", "coil")


@dataclass(frozen=True)
class FlagLevels:
    """What flags a vehicle: avoidable probability and used reserve where much is used, the same where the risk is high, progress."""

    worn: tuple[float, float]
    risky: tuple[float, float]
    progress: float


def flag_levels(tolerated: float) -> FlagLevels:
    """Levels for a tolerated rate of false flags, between those of `FLAGS` on logarithmic scales.

    tolerated: false flags per 100 healthy unit-years; raises ValueError outside 0.5 to 50.
    """
    if not 0.5 <= tolerated <= 50.0:
        raise ValueError(f"tolerated false flags is {tolerated}; allowed are 0.5 to 50 per 100 healthy unit-years")
    by_rate = (FLAGS.worn_probability, FLAGS.worn_used, FLAGS.risky_probability, FLAGS.risky_used, FLAGS.progress)
    at = [float(np.exp(np.interp(np.log(tolerated), np.log(FLAGS.rates), np.log(levels)))) for levels in by_rate]
    return FlagLevels((at[0], at[1]), (at[2], at[3]), at[4])


@dataclass(frozen=True)
class Wear:
    """(U,) each: probability over `FLAGS.window_d` that renewing what was read would avert; share used of the reserve, 0 as
    sound, 1 failing on a typical cold morning of its depot; progress of :func:`analysis.worklist.part.wear_progress`."""

    avoidable: Floats
    used: Floats
    progress: Floats


def due(wear: Wear, levels: FlagLevels) -> Bools:
    """(U,) vehicles that the levels flag."""
    found = wear.progress >= levels.progress
    for probability, used in (levels.worn, levels.risky):
        found |= (wear.avoidable >= probability) & (wear.used >= used)
    return np.asarray(found)


def with_other_causes(probability: Reals, days: float | Reals) -> Floats:
    """Probability with the small rate of no-starts that no reading foretells."""
    other = 1.0 - np.exp(-JUDGING.other_causes_per_year * days / DAYS_PER_YEAR)
    return either(probability, other)


def either(one: Reals, other: Reals | float) -> Floats:
    """Probability that at least one of two independent things happens."""
    return np.asarray(1.0 - (1.0 - one) * (1.0 - other), dtype=np.float64)


def watched(state: FleetRead, vehicles: Bools, tolerated: float) -> pd.DataFrame:
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
        state.spread[:, at],
        usual_ageing(state.growth_laws, state.group[at]),
        state.group[at],
        flags_per_100=tolerated,
    )
    return drift_table(state.names[at].tolist(), CHANNELS, drift)


def drifting_since(drift: pd.DataFrame, units: pd.Series, part: Ints) -> npt.NDArray[np.datetime64]:
    """(U,) day since which the suspect part drifts, by more than one reading; where it does not, any other of the vehicle; NaT for
    none."""
    standing = drift[drift["drifting"] & (drift["away"] > 1)]
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
    wear: Wear,
    act_by_day: Floats,
) -> pd.DataFrame:
    """One row per vehicle, in the order of the state; :func:`listed` flags them and puts them in the list's order."""
    units = state.panel.units
    part = shares.argmax(axis=1)
    rows = np.arange(len(units))
    count = np.isfinite(state.observed.value).any(axis=0).sum(axis=1)
    status = np.where(count == 0, "no reading", np.where(count < JUDGING.fewest_readings, "too few readings", "judged"))
    low, middle, high = coldest_today(state, outlook, part, rows, (0.1, 0.5, 0.9))
    limited = np.array(NEEDS)[outlook.limiting].astype(object)
    held = middle <= np.median(outlook.limits.floors.as_charged, axis=1) + JUDGING.floor_held_k
    limited = np.where(held, np.array(FLOORS)[outlook.limits.floors.binding], limited)
    failures, heater = outlook.failures, has_block_heater(units)
    return pd.DataFrame(
        {
            "unit": units["unit"].astype(str).to_numpy(),
            "depot": units["depot"].to_numpy(),
            "vehicle_class": units["vehicle_class"].to_numpy(),
            "system_v": units["system_v"].to_numpy(),
            "flagged": False,
            "part": np.array(PARTS)[part],
            "part_probability": shares[rows, part],
            "no_start_probability": probability,
            "probability_low": bounds[0],
            "probability_high": bounds[1],
            "flag_probability": flag_probability,
            "avoidable_probability": wear.avoidable,
            "reserve_used": wear.used,
            "progress": wear.progress,
            "drifting_since": np.datetime64("NaT", "us"),
            "coldest_start_c": middle,
            "coldest_start_low_c": low,
            "coldest_start_high_c": high,
            "repaired_probability": outlook.renewed,
            "act_by": dates_of(act_by_day),
            "last_reading_on": dates_of(state.last_day),
            "renewed_on": dates_of(state.reset_day.max(axis=0)),
            "readings": count,
            "status": status,
            "limited_by": limited,
            "block_heater": heater,
            "heater_below_c": np.where(heater, said(units, "aid_below_c"), np.nan),
            "failed_starts": failures.count,
            "failed_on": dates_of(failures.last_day),
            "failed_at_c": failures.temperature_c,
            "failure": failures.kind.astype(str),
            "failure_unexplained": failures.unexplained,
        }
    )


def wear_of(table: pd.DataFrame) -> Wear:
    """What flags vehicles, of a :func:`unit_table`."""
    return Wear(*(table[name].to_numpy(np.float64) for name in ("avoidable_probability", "reserve_used", "progress")))


def listed(table: pd.DataFrame, levels: FlagLevels, drift: pd.DataFrame) -> pd.DataFrame:
    """A :func:`unit_table` with what is flagged, and since when it drifts: vehicles whose failed start nobody repaired first,
    then by probability.

    drift: of :func:`watched`.
    """
    first = table["failed_starts"] > 0
    flagged = due(wear_of(table), levels) & (table["status"] == "judged").to_numpy() | first.to_numpy()
    part = pd.Index(PARTS).get_indexer(pd.Index(table["part"])).astype(np.int64)
    out = table.assign(
        flagged=flagged,
        drifting_since=drifting_since(drift, table["unit"], part),
        act_by=table["act_by"].where(flagged),
        first=first,
    )
    order = ["no_start_probability", "flag_probability", "unit"]
    ranked = out.sort_values(["first", *order], ascending=[False, False, False, True])
    return ranked.drop(columns="first").reset_index(drop=True)
