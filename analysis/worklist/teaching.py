"""Laws that travel: what this fleet teaches of its classes, and whether another's fit it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.forecast.learning import LearnedNeeds
from analysis.readings.class_laws import fitting, vehicles_read
from analysis.readings.observe import CHANNELS
from analysis.readings.panel import FleetTables, make_panel, without_slips
from analysis.readings.taught import TaughtClass
from analysis.wear.state import FleetRead


@dataclass(frozen=True)
class Begun:
    """Classes that begin from what another fleet taught, and names of those whose own readings are too far from it."""

    used: tuple[TaughtClass, ...] = ()
    unlike: tuple[str, ...] = ()


def begin_from(tables: FleetTables) -> tuple[FleetTables, Begun]:
    """The tables with those of their taught classes that this fleet has and that fit its own readings."""
    if not tables.taught:
        return tables, Begun()
    fits = fitting(without_slips(make_panel(tables.units, tables.readings)), tables.taught)
    used = tuple(one for one, fit in fits if fit)
    odd = tuple(sorted(one.name for one, fit in fits if not fit))
    return replace(tables, taught=used), Begun(used, odd)


def taught_by(state: FleetRead, learned: LearnedNeeds) -> tuple[TaughtClass, ...]:
    """What the fleet has learned of each class that was ever read."""
    laws, growth, panel = state.laws, state.growth_laws, state.panel
    read = vehicles_read(panel, state.observed)
    out = []
    for g, name in enumerate(panel.groups):
        mine = panel.group == g
        known = read[g] > 0
        if not known.any():
            continue
        prior, ageing = growth.prior[g], growth.ageing
        out.append(
            TaughtClass(
                name,
                int((panel.present[mine].any(axis=1)).sum()),
                int(panel.present[mine].sum()),
                int(learned.no_starts[g]),
                np.array([laws.battery_per_k[g], laws.battery_curve[g]]),
                laws.battery_doubt.covariance[g],
                np.array([laws.load_per_k[g], laws.load_curve[g]]),
                laws.load_doubt.covariance[g],
                np.where(known, laws.base[g], np.nan),
                np.where(known, laws.base_sd[g], np.nan),
                learned.needs[g],
                learned.se[g],
                prior.onset_per_year,
                prior.life_share,
                np.array([ageing[c].per_year[g] for c in range(len(CHANNELS))]),
                np.array([ageing[c].se[g] for c in range(len(CHANNELS))]),
            )
        )
    return tuple(out)
