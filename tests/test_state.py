"""The state of a fleet on a day: levels near the truth, intervals that hold, repairs that make new.

Truth: the demo fleet's record of wear (severity) and failures, worked examples, and properties.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from samples_fleet import fleet, tables_of

from analysis.readings.observe import BATTERY, CHANNELS, LOAD
from analysis.readings.panel import FleetTables
from analysis.wear.state import (
    FleetState,
    day_number,
    estimate_state,
    need_priors,
    recent_rest_v,
)

DAY = pd.Timestamp("2022-12-12")
AHEAD = np.array([-60.0, 0.0, 30.0])


def state_of(tables: FleetTables, *, seed: int = 3, draws: int = 32) -> FleetState:
    return estimate_state(tables.before(DAY), day_number(DAY), AHEAD, draws=draws, seed=seed)


@pytest.fixture(scope="module")
def tables() -> FleetTables:
    return tables_of(fleet())


@pytest.fixture(scope="module")
def state(tables: FleetTables) -> FleetState:
    return state_of(tables)


def test_day_number_is_days_since_1970() -> None:
    """Worked by hand: 2000-01-01 is day 10,957; the hour does not matter."""
    assert day_number(pd.Timestamp("2000-01-01")) == 10_957.0
    assert day_number(pd.Timestamp("2000-01-01T23:59")) == 10_957.0


def test_shapes_and_finiteness(state: FleetState) -> None:
    """Contract of the dataclass."""
    n = len(state.panel.units)
    assert state.drawn.shape == (len(AHEAD), len(CHANNELS), n, 32)
    assert np.isfinite(state.drawn).all()
    assert state.field.shape == state.weak.shape == (n, 32)
    assert (state.field > 0).all()
    assert ((state.starter_share >= 0) & (state.starter_share <= 1)).all()
    assert len(state.growth) == len(CHANNELS)
    assert (state.fail_excess > 0).all()
    assert not state.usable[:, ~state.panel.present].any()


def test_wear_grows_with_time_in_every_draw(state: FleetState) -> None:
    """Property: parts do not heal by themselves between 60 days ago and 30 days ahead."""
    assert (np.diff(state.drawn, axis=0) >= -1e-5).all()


def test_worn_vehicles_rank_above_sound_ones(state: FleetState) -> None:
    """Simulated truth: the worst channel's level follows the true wear of the worst part (rank correlation > 0.6)."""
    wear = fleet().severity
    units = state.panel.units["unit"].to_numpy()
    truth = wear.iloc[wear.index.searchsorted(DAY, side="right") - 1].reindex(units)
    excess = (state.drawn[1].mean(axis=2) - 1.0) / state.fail_excess[state.group].T
    seen = pd.Series(excess.max(axis=0), index=units)
    read = state.panel.present.sum(axis=1) >= 4
    assert seen[read].rank().corr(truth[read].rank()) > 0.6


def renewed(tables: FleetTables, units: list[str], part: str, day: pd.Timestamp) -> FleetTables:
    """The tables with one part of some vehicles replaced on a day."""
    new = pd.DataFrame({"unit": units, "done_on": day, "part": part, "action": "replaced", "reason": "preventive"})
    return replace(tables, repairs=pd.concat([tables.repairs, new], ignore_index=True))


def test_a_recorded_replacement_forgets_the_old_part_and_no_other(tables: FleetTables, state: FleetState) -> None:
    """Property: the worst battery, replaced yesterday: none of its readings counts, other parts stay as they were."""
    worst = int(state.drawn[1, BATTERY].mean(axis=1).argmax())
    unit = state.panel.units["unit"].iloc[worst]
    assert state.drawn[1, BATTERY, worst].mean() > 1.5
    after = state_of(renewed(tables, [unit], "battery", DAY - pd.Timedelta(days=1)))
    assert not after.usable[BATTERY, worst].any()
    assert after.usable[1:, worst].sum() == state.usable[1:, worst].sum()
    assert after.drawn[1, 1, worst].mean() == pytest.approx(state.drawn[1, 1, worst].mean(), rel=0.15)


def test_a_part_fitted_yesterday_is_new(tables: FleetTables, state: FleetState) -> None:
    """Definition of new: wear cannot have begun before the part was there, so its level is that of sound parts."""
    units = state.panel.units["unit"].tolist()
    after = state_of(renewed(tables, units, "battery", DAY - pd.Timedelta(days=1)))
    assert after.growth[BATTERY].level.mean() == pytest.approx(1.0, abs=0.1)
    assert after.drawn[1, BATTERY].mean() == pytest.approx(after.growth[BATTERY].level.mean(), abs=0.05)


def test_the_seed_moves_draws_and_hardly_the_mean(tables: FleetTables, state: FleetState) -> None:
    """Contract: the same seed, the same state; another one, other draws about the same means (5 standard errors)."""
    again, other = state_of(tables), state_of(tables, seed=4)
    assert (again.drawn == state.drawn).all()
    assert (other.drawn != state.drawn).any()
    a, b = state.drawn[1], other.drawn[1]
    error = np.sqrt((a.var(axis=2) + b.var(axis=2)) / 32) + 0.02
    assert (np.abs(a.mean(axis=2) - b.mean(axis=2)) < 5.0 * error).mean() > 0.99


def test_readings_of_others_matter_only_through_the_class(tables: FleetTables, state: FleetState) -> None:
    """Property: without one sound vehicle of the class the others' levels move by a few per cent at most."""
    calm = state.panel.units["unit"].iloc[int(state.drawn[1].mean(axis=2).max(axis=0).argmin())]
    keep = tables.units["unit"] != calm
    fewer = replace(
        tables,
        units=tables.units[keep].reset_index(drop=True),
        readings=tables.readings[tables.readings["unit"] != calm],
    )
    less = state_of(fewer, draws=200)
    full = state_of(tables, draws=200)
    kept = (full.panel.units["unit"] != calm).to_numpy()
    a, b = full.drawn[1].mean(axis=2)[:, kept], less.drawn[1].mean(axis=2)
    assert np.median(np.abs(a / b - 1.0)) < 0.03


def test_rest_volts_are_the_vehicle_s_own_or_the_class_s(state: FleetState) -> None:
    """Worked by hand: the median of the latest six; the class's where a vehicle was never read."""
    own = recent_rest_v(state.panel, state.observed)
    rest = state.panel.measured["rest_v"]
    for u in range(len(own)):
        known = rest[u, -6:][np.isfinite(rest[u, -6:])]
        if len(known):
            assert own[u] == pytest.approx(np.median(known))
    blank = replace(state.panel, measured={**state.panel.measured, "rest_v": np.full_like(rest, np.nan)})
    assert recent_rest_v(blank, state.observed) == pytest.approx(state.laws.rest_v[state.group])


def test_a_raised_load_at_full_speed_is_the_starter_s_and_a_slow_one_the_engine_s(tables: FleetTables) -> None:
    """Physics: a weak field draws more amps and keeps its speed; drag draws more amps and slows the engine.  Both are
    made of the same sound vehicle's readings."""
    base = state_of(tables)
    sound = int(np.abs(base.drawn[1, LOAD].mean(axis=1) - 1.0).argmin())
    unit = base.panel.units["unit"].iloc[sound]
    rows = (tables.readings["unit"] == unit).to_numpy()
    speed = float(np.nanmedian(base.observed.rest_v[sound]) * 0.7 / base.laws.emf_per_rpm[base.group[sound]])
    shares = []
    for slower in (1.0, 1.0 / 1.5):
        readings = tables.readings.copy()
        readings.loc[rows, "crank_a"] *= 1.5
        readings.loc[rows, "crank_rpm"] = speed * slower
        shares.append(float(state_of(replace(tables, readings=readings)).starter_share[sound]))
    assert shares[0] > shares[1]


def test_a_weak_field_turns_the_engine_with_the_amps_that_it_draws(state: FleetState) -> None:
    """Physics: torque is amps times field, and the engine asks for the usual one; in the other draws the field is whole."""
    today = state.drawn[int(np.flatnonzero(AHEAD == 0.0)[0]), LOAD]
    own = state.field * np.where(state.weak, np.maximum(today, 1.0), 1.0)
    assert (state.weak & (today > 1.05)).any()
    assert own == pytest.approx(np.repeat(own[:, :1], own.shape[1], axis=1))


def test_needs_start_from_published_priors_by_fuel(state: FleetState) -> None:
    """Definition: diesel turns faster than petrol to start; supply and coil per 12 V for both."""
    fuel = state.panel.units.groupby(state.group)["fuel"].first()
    needs, _ = need_priors(state.panel)
    for g, name in fuel.items():
        assert needs[g].tolist() == [{"diesel": 100.0, "petrol": 75.0}[name], 7.2, 7.0]
