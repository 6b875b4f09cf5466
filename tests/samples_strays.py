"""Failed starts put into a simulated fleet: its own no-starts, and stray ones that had nothing to do with the starting circuit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from samples_fleet import tables_of

from analysis.readings.panel import FleetTables
from demo_fleet.simulate import Fleet, FleetRun

STRAY_PER_YEAR = 0.3
START_EVERY_D = 7


def with_failures(fleet: Fleet, *, strays: bool = True, told: bool = False, starts: bool = False) -> FleetTables:
    """The tables of a fleet with failed starts on record as `no_start`, at the low of their mornings.

    strays: STRAY_PER_YEAR for each vehicle, which nobody repairs; told: the fleet's own no-starts, beside their repairs; starts:
    every START_EVERY_D th morning's start besides.
    """
    tables, chance = tables_of(fleet), np.random.default_rng((fleet.spec.seed, 77))
    run = FleetRun(fleet.spec)  # whose weather it was
    names = fleet.units["unit"].astype(str).to_numpy(dtype=object)
    days = pd.date_range(fleet.spec.start, periods=fleet.spec.days, freq="1D")
    lows_c = run.setting.weather.low_c[: len(days), run.setting.depot]
    what = np.full(lows_c.shape, "", dtype=object)
    stray = chance.random(lows_c.shape) < STRAY_PER_YEAR / 365.25
    if starts:
        what[(np.arange(len(days))[:, None] + np.arange(len(names))) % START_EVERY_D == 0] = "started"
    if told:
        what[days.get_indexer(fleet.truth["date"]), pd.Index(names).get_indexer(fleet.truth["unit"])] = "no_start"
    if strays:
        what[stray] = "no_start"
    if "in_service" in fleet.units:
        what[days.to_numpy()[:, None] < fleet.units["in_service"].to_numpy()] = ""
    at, who = np.nonzero(what != "")
    if not len(at):
        return tables
    more = pd.DataFrame(
        {
            "unit": names[who].astype(str),
            "taken_at": (days[at] + pd.Timedelta(hours=6)).astype("datetime64[us]"),
            "temperature_c": np.round(lows_c[at, who]),
            "outcome": what[at, who].astype(str),
        }
    )
    own = tables.readings.assign(outcome="", doubtful="")
    every = pd.concat([own, more.assign(doubtful="").reindex(columns=own.columns)], ignore_index=True)
    return replace(tables, readings=every.sort_values(["unit", "taken_at"], kind="stable", ignore_index=True))
