"""Laws that travel: what this fleet teaches of its classes, and whether another's fit it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.forecast.learning import LearnedNeeds
from analysis.readings.class_laws import estimate_laws, observe
from analysis.readings.observe import CHANNELS
from analysis.readings.panel import Bools, FleetTables, Ints, Panel, make_panel, without_slips
from analysis.readings.taught import TaughtClass, unlike
from analysis.wear.state import FleetState


@dataclass(frozen=True)
class Begun:
    """Classes that begin from what another fleet taught, and names of those whose own readings are too far from it."""

    used: tuple[TaughtClass, ...] = ()
    unlike: tuple[str, ...] = ()


def begin_from(tables: FleetTables) -> tuple[FleetTables, Begun]:
    """The tables with those of their taught classes that this fleet has and that fit its own readings."""
    if not tables.taught:
        return tables, Begun()
    panel = without_slips(make_panel(tables.units, tables.readings))
    laws = estimate_laws(panel)
    read = vehicles_read(panel, np.isfinite(observe(panel, laws).value))
    place = {name: g for g, name in enumerate(panel.groups)}
    here = [one for one in tables.taught if one.name in place]
    odd = {
        t.name
        for t in here
        if unlike(t, laws.base[place[t.name]], laws.base_sd[place[t.name]], read[place[t.name]].tolist())
    }
    used = tuple(one for one in here if one.name not in odd)
    return replace(tables, taught=used), Begun(used, tuple(sorted(odd)))


def vehicles_read(panel: Panel, known: Bools) -> Ints:
    """(G, 7) vehicles of each class of which each channel was ever read; known: (7, U, R)."""
    some: Bools = np.any(known, axis=2)
    return np.stack([some[:, panel.group == g].sum(axis=1) for g in range(len(panel.groups))])


def taught_by(state: FleetState, learned: LearnedNeeds) -> tuple[TaughtClass, ...]:
    """What the fleet has learned of each class that was ever read."""
    laws, growth, panel = state.laws, state.growth_laws, state.panel
    read = vehicles_read(panel, np.isfinite(state.observed.value))
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
                prior.power_share,
                np.array([ageing[c].per_year[g] for c in range(len(CHANNELS))]),
                np.array([ageing[c].se[g] for c in range(len(CHANNELS))]),
            )
        )
    return tuple(out)
