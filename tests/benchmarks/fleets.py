"""The fleets that are measured: one simulated fleet copied under new names, with a technician's readings or a logger's too."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from demo_fleet.simulate import Fleet, simulate_fleet
from demo_fleet.specs import evaluation_specs

SOURCE_UNITS = 500
READINGS = 24
YEARS = 3.5
ROWS_A_FILE = 800_000
"""A file may have a million."""
COLD_PER_K = 0.021
"""Log sag of battery and drag together, per kelvin."""
SLIP_SHARE, WARMEST_C = 0.2, 40.0
"""Rest volts so far from the vehicle's usual ones, and air so warm [degC], were written down wrong: a logger does not do that."""
OVER_LOW_K = (3.0, 4.0)
"""Air at a logged start over the mean low of its month: mean and standard deviation [K]."""
NEW_SHARE = 0.08
"""Vehicles that are read again within a week: 4,000 of 50,000."""


def simulated(units: int) -> Fleet:
    """The fleet that the others are copies of."""
    return simulate_fleet(replace(evaluation_specs()[1], units=units, years=YEARS))


def write_fleet(folder: Path, units: int, starts: int = 0) -> date:
    """The copied fleet as CSV files, with `starts` logged starts a vehicle beside its readings; the day after the last."""
    source = min(units, SOURCE_UNITS)
    fleet = simulated(source)
    readings = fleet.readings.groupby("unit").tail(READINGS)
    tables = {"units": fleet.units, "repairs": fleet.repairs, "readings": readings}
    tables = {name: _copied(frame, -(-units // source)) for name, frame in tables.items()}
    every = tables.pop("readings")
    if starts:
        every = pd.concat([every, logged(every, starts, _copied(fleet.units, -(-units // source)), fleet.climate)])
    for name, frame in {**tables, "climate": fleet.climate}.items():
        frame.to_csv(folder / f"{name}.csv", index=False)
    for k, first in enumerate(range(0, len(every), ROWS_A_FILE)):
        every.iloc[first : first + ROWS_A_FILE].to_csv(folder / f"readings-{k}.csv", index=False)
    return pd.Timestamp(readings["taken_at"].max()).date() + timedelta(days=1)


def write_new_week(folder: Path, readings: pd.DataFrame, day: date) -> None:
    """A file of new readings in the week from `day` on, each near the last one of its vehicle."""
    chance = np.random.default_rng(7)
    last = readings.groupby("unit").tail(1).sample(frac=NEW_SHARE, random_state=7)
    last = last.drop(columns=[name for name in last if name.endswith("_id")]).dropna(axis=1, how="all")
    minutes = pd.to_timedelta(chance.integers(0, 6 * 1440, len(last)), unit="min")
    volts = (last["rest_v"] + chance.normal(0.0, 0.02, len(last))).round(3)
    last = last.assign(taken_at=(pd.Timestamp(day) + minutes).astype("datetime64[s]"), rest_v=volts)
    last.to_csv(folder / "readings.csv", index=False)


def _copied(frame: pd.DataFrame, copies: int) -> pd.DataFrame:
    return pd.concat([frame.assign(unit=frame["unit"] + f"-{k:03d}") for k in range(copies)])


def logged(readings: pd.DataFrame, starts: int, vehicles: pd.DataFrame, climate: pd.DataFrame) -> pd.DataFrame:
    """Starts of the last year as a logger sees them, each like the vehicle's reading before it but for cold and scatter.

    Like any of its readings they would say of a part that wears, or was renewed, that it is as it was for years.
    """
    chance = np.random.default_rng(5)
    like = readings[["unit", "taken_at", "temperature_c", "rest_v", "crank_min_v"]].dropna()
    usual = like.groupby("unit")["rest_v"].transform("median")
    slips = (np.abs(like["rest_v"] / usual - 1.0) > SLIP_SHARE) | (like["temperature_c"] > WARMEST_C)
    like = like[~slips & (like["crank_min_v"] < like["rest_v"])].sort_values("taken_at", kind="stable")
    units = np.repeat(like["unit"].unique(), starts)
    at = readings["taken_at"].max() - pd.to_timedelta(chance.uniform(0.0, 365.0, len(units)), unit="D")
    wanted = pd.DataFrame({"unit": units, "taken_at": at.astype("datetime64[s]").astype(like["taken_at"].dtype)})
    of = pd.merge_asof(wanted.sort_values("taken_at", kind="stable"), like, on="taken_at", by="unit").dropna()
    depot = of["unit"].map(vehicles.set_index("unit")["depot"])
    lows = climate.set_index(["depot", "month"])["low_c"]
    low = lows.reindex(pd.MultiIndex.from_arrays([depot, of["taken_at"].dt.month])).to_numpy()
    cold = np.round(low + chance.normal(*OVER_LOW_K, len(of)), 1)
    warmer = cold - of["temperature_c"].to_numpy()
    sag = (of["rest_v"] - of["crank_min_v"]) * np.exp(-COLD_PER_K * warmer + chance.normal(0.0, 0.05, len(of)))
    return of.assign(temperature_c=cold, crank_min_v=(of["rest_v"] - sag).round(2).clip(4.0), technician="logger")
