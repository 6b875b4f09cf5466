"""What a vehicle's next reading should show.

Truth: fleets simulated by `demo_fleet`, whose forward physics shares nothing with `analysis`; published tables.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest
from samples_chance import one_in
from samples_fleet import expected_of

from analysis.bay.closure import check_closure, predicted_measurements
from analysis.bay.expected import ClassKnowledge, Expected, class_knowledge, expected_of_each
from analysis.circuit.resistances import MEASURED
from analysis.readings.choices import NOISE
from analysis.readings.class_laws import ClassLaws, estimate_laws
from analysis.readings.panel import FleetTables, Panel, days_since_epoch, make_panel, without_slips
from demo_fleet.simulate import Fleet, simulate_fleet
from demo_fleet.specs import MIXED, FleetSpec, healthy_growth

SOUND = FleetSpec(1603, units=30, years=1.5, classes=MIXED, growth=healthy_growth(), gross=0.0)
EACH, EACH_BY_NIGHT = 1, 3  # latest readings of every vehicle that are checked


@cache
def sound() -> Fleet:
    """Vehicles whose parts never wear and whose values are never gross errors: none of them has anything to find."""
    return simulate_fleet(SOUND)


@cache
def learned() -> tuple[Panel, ClassLaws]:
    made = sound()
    panel = without_slips(make_panel(made.units, made.readings))
    return panel, estimate_laws(panel)


@cache
def knowledge(name: str) -> ClassKnowledge:
    panel, laws = learned()
    return class_knowledge(panel, name, laws)


def own_tables(unit: str, before: pd.Timestamp) -> FleetTables:
    made, none = sound(), pd.DataFrame()
    readings = made.readings[(made.readings["unit"] == unit) & (made.readings["taken_at"] < before)]
    return FleetTables(made.units[made.units["unit"] == unit], readings, made.repairs.iloc[:0], none, none)


def expect(unit: str, at: pd.Timestamp) -> Expected:
    row = sound().units.set_index("unit").loc[unit]
    known = knowledge(f"{row['vehicle_class']} {row['system_v']} V")
    return expected_of(own_tables(unit, at), float(days_since_epoch(pd.DatetimeIndex([at]))[0]), known)


@cache
def latest(each: int = EACH) -> tuple[tuple[pd.DataFrame, Expected], ...]:
    """The last readings of every vehicle with what was expected of them."""
    found = []
    for unit, own in sound().readings.groupby("unit"):
        ordered = own.sort_values("taken_at")
        for k in range(len(ordered) - each, len(ordered)):
            row = ordered.iloc[[k]].assign(temperature_c=ordered["temperature_c"].iloc[[k]].fillna(15.0))
            found.append((row, expect(str(unit), row["taken_at"].iloc[0])))
    return tuple(found)


def closure(row: pd.DataFrame, expected: Expected) -> pd.Series:
    return check_closure(
        row, expected.state, expected.volts, spread=expected.spread, inrush=expected.inrush,
        temperature_sd_k=NOISE.temperature_k,
    ).iloc[0]  # fmt: skip


@pytest.mark.parametrize("each", [EACH, pytest.param(EACH_BY_NIGHT, marks=pytest.mark.nightly)])
def test_sound_vehicles_are_hardly_ever_said_not_to_close(each: int) -> None:
    """Stated rate 1 in 1,000; 30 or 90 readings of 30 sound vehicles: none, or one by bad luck (chance 3 or 9 %)."""
    judged = [closure(*one) for one in latest(each)]
    assert sum(not one["closes"] for one in judged) <= 1
    away = np.mean([one["chi2"] / one["dof"] for one in judged])
    assert 0.4 < away < 1.2, "errors stated too wide would make the check blind, too narrow a nuisance"


@pytest.mark.parametrize(
    ("name", "factor", "share"),
    one_in(4, [("crank_a", 0.5, 0.9), ("peak_a", 0.5, 0.9), ("drop_ground_v", 3.0, 0.9), ("drop_positive_v", 3.0, 0.9),
     ("drop_contacts_v", 3.0, 0.9), ("coil_a", 0.5, 0.9), ("crank_min_v", 0.7, 0.9), ("rest_v", 0.85, 0.9)], apart=True),
)  # fmt: skip
def test_a_wrong_value_in_a_sound_vehicle_s_reading_is_named_with_its_distance(
    name: str, factor: float, share: float
) -> None:
    """One value made wrong: the check fails, names it, and says how far off within three standard errors."""
    some = [(row, e) for row, e in latest() if np.isfinite(row[name].iloc[0])]
    judged = [(row, closure(row.assign(**{name: row[name] * factor}), e)) for row, e in some]
    named = [(row, one) for row, one in judged if one["suspect"] == name]
    assert len(named) >= share * len(judged)
    near = []
    for row, one in named:
        off = (factor - 1.0) * float(row[name].iloc[0])
        if name == "rest_v":
            continue  # surface charge is taken off first
        near.append(abs(one["suspect_off"] - off) < 4.0 * one["suspect_se"])
        assert one["suspect_expected"] == pytest.approx(factor * float(row[name].iloc[0]) - one["suspect_off"])
    assert not near or np.mean(near) > 0.95, "a reading in thirty is itself out by more, as meters are"


def test_a_vehicle_never_read_is_expected_to_be_like_its_class() -> None:
    unit = str(sound().units["unit"].iloc[0])
    first = pd.Timestamp(SOUND.start)
    expected = expect(unit, first)
    assert expected.earlier == 0
    for name in ("battery_mohm", "positive_mohm", "load_a"):
        assert getattr(expected.state, name) == pytest.approx(getattr(expected.usual, name))
    assert expected.spread.ground > expect(unit, pd.Timestamp(SOUND.end)).spread.ground  # type: ignore[operator]


def test_only_readings_handed_over_count() -> None:
    """A later reading never changes what was expected: the tables hold what lies before."""
    unit = str(sound().units["unit"].iloc[3])
    at = sound().readings[sound().readings["unit"] == unit]["taken_at"].sort_values().iloc[6]
    own = own_tables(unit, at)
    shuffled = replace(own, readings=own.readings.sample(frac=1.0, random_state=1))
    day = float(days_since_epoch(pd.DatetimeIndex([at]))[0])
    known = knowledge(next(g for g in make_panel(own.units, own.readings).groups))
    assert expected_of(own, day, known) == expected_of(shuffled, day, known)
    assert expected_of(own, day, known).earlier == len(own.readings)


def test_vehicles_of_a_class_looked_at_together_are_expected_as_each_alone_within_a_fifth_of_their_errors() -> None:
    made, none = sound(), pd.DataFrame()
    at = pd.Timestamp(SOUND.end)
    name = make_panel(made.units, made.readings.iloc[:0]).groups[0]
    alike = made.units[made.units["vehicle_class"] + " " + made.units["system_v"].astype(str) + " V" == name].head(4)
    # of the third only a few readings, so that vehicles with fewer than others are among them
    few = made.readings.index[made.readings["unit"] == alike["unit"].iloc[2]][3:]
    readings = made.readings[made.readings["unit"].isin(alike["unit"])].drop(index=few)
    tables = FleetTables(alike, readings, made.repairs.iloc[:0], none, none)
    day = float(days_since_epoch(pd.DatetimeIndex([at]))[0])
    found = expected_of_each(tables, day, knowledge(name))
    assert sorted(found) == sorted(alike["unit"])
    for unit, expected in found.items():
        own = replace(tables, units=alike[alike["unit"] == unit], readings=readings[readings["unit"] == unit])
        alone = expected_of(own, day, knowledge(name))
        assert expected.earlier == alone.earlier
        for field, spread in (("battery_mohm", "battery"), ("ground_mohm", "ground"), ("load_a", "load")):
            off = np.log(getattr(expected.state, field) / getattr(alone.state, field))
            assert abs(off) < 0.2 * float(np.asarray(getattr(alone.spread, spread)))


def test_learned_battery_laws_lie_between_the_two_published_brackets() -> None:
    """Load-test table x1.37 and power-available table x2.5 from 20 to -18 °C (see tests/published)."""
    for name in make_panel(sound().units, sound().readings.iloc[:0]).groups:
        law = knowledge(name).battery
        assert 1.37 < np.exp(law.log_factor(-18.0)) < 2.5
        assert law.log_factor_se(-18.0) > law.log_factor_se(0.0) > 0.0


def test_nothing_is_expected_of_what_a_class_was_never_read_for() -> None:
    made = sound()
    few = made.readings.groupby("unit").head(1).iloc[:3]
    unit = made.units[made.units["unit"] == few["unit"].iloc[0]]
    none = pd.DataFrame()
    own = FleetTables(unit, few[few["unit"] == few["unit"].iloc[0]], made.repairs.iloc[:0], none, none)
    assert expected_of(own, float(days_since_epoch(few["taken_at"])[0]) + 30.0).unknown == frozenset(MEASURED)


def test_bad_calls() -> None:
    unit = str(sound().units["unit"].iloc[0])
    own = own_tables(unit, pd.Timestamp(SOUND.end))
    panel = make_panel(own.units, own.readings)
    with pytest.raises(ValueError, match="name is 'bus 12 V'"):
        class_knowledge(panel, "bus 12 V")
    known = replace(class_knowledge(panel, panel.groups[0]), name="bus 12 V")
    with pytest.raises(ValueError, match="known is of the class 'bus 12 V'"):
        expected_of(own, 1.0, known)
    with pytest.raises(ValueError, match="units are of the classes none; allowed is one class"):
        expected_of_each(replace(own, units=own.units.iloc[:0]), 1.0)


def test_predicted_peak_is_the_stall_where_nothing_is_said_of_the_inrush() -> None:
    row, expected = latest()[0]
    at = float(row["temperature_c"].iloc[0])
    stall = np.ravel(predicted_measurements(expected.state, at))[MEASURED.index("peak_a")]
    peak = np.ravel(predicted_measurements(expected.state, at, inrush=expected.inrush))[MEASURED.index("peak_a")]
    assert peak < stall
    assert expected.inrush.share * stall <= peak * 1.0001
