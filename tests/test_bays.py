"""Errors of bays, technicians and meters: put in by the test, or by the invented fleet, and found again.

Truth: the error that was put in (simulated truth).  Copper's 0.393 % per kelvin: NBS Handbook 100 / IEC 60028.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from samples_chance import one_in

from analysis.readings.bays import BayEffects, bay_effects, corrected
from analysis.readings.class_laws import estimate_laws, observe
from analysis.readings.hands import EFFECTS, channel_patterns
from analysis.readings.observe import BATTERY, CONTACTS, GROUND, LOAD, POSITIVE
from analysis.readings.panel import Panel, make_panel, without_slips
from dashboard.words.meter_words import meter_words
from demo_fleet.simulate import Fleet, simulate_fleet
from demo_fleet.specs import CONTINENTAL, FleetSpec

DROPS = ["drop_positive_v", "drop_ground_v", "drop_contacts_v", "drop_control_v"]


def look(units: pd.DataFrame, readings: pd.DataFrame) -> tuple[BayEffects, Panel]:
    """Effects found in a fleet's tables."""
    panel = without_slips(make_panel(units, readings))
    return bay_effects(panel, observe(panel, estimate_laws(panel)), readings), panel


@pytest.fixture(scope="module")
def fleet() -> Fleet:
    """A usual fleet, parts wearing, whose meters differ by no more than good meters do."""
    return simulate_fleet(FleetSpec(41, units=60, years=2.5, clamp_bias=1.0))


@pytest.fixture(scope="module")
def plain(fleet: Fleet) -> tuple[BayEffects, Panel]:
    """What is found in it as it is."""
    return look(fleet.units, fleet.readings)


@pytest.fixture(scope="module")
def hot(fleet: Fleet) -> tuple[pd.DataFrame, BayEffects, Panel]:
    """The readings with one technician's thermometer 10 K high, and what is found in them."""
    readings = spoilt(fleet, "T06", lambda r: r.assign(temperature_c=r["temperature_c"] + 10.0))
    return readings, *look(fleet.units, readings)


def spoilt(fleet: Fleet, who: str, change: Callable[[pd.DataFrame], pd.DataFrame]) -> pd.DataFrame:
    """The fleet's readings, those of one technician changed."""
    readings = fleet.readings.copy()
    mine = readings["technician"] == who
    assert mine.sum() > 40
    readings.loc[mine] = change(readings.loc[mine].copy())
    return readings


def said(effects: BayEffects) -> list[str]:
    return [meter_words(note) for note in effects.notes]


def row(effects: BayEffects, name: str, effect: str) -> pd.Series:
    """One row of the table."""
    table = effects.table
    return table[(table["name"] == name) & (table["effect"] == effect)].iloc[0]


@pytest.mark.nightly
def test_good_meters_of_worn_vehicles_raise_no_word(plain: tuple[BayEffects, Panel]) -> None:
    other = simulate_fleet(FleetSpec(42, units=60, years=2, clamp_bias=1.0, depots=CONTINENTAL))
    for effects, panel in (plain, look(other.units, other.readings)):
        assert len(effects.table) == 4 * 12
        assert not effects.table["significant"].any()
        assert effects.notes == ()
        assert effects.taken_out == {}
        assert corrected(panel, effects).measured.keys() == panel.measured.keys()


def test_one_thermometer_ten_kelvin_high_is_found_and_taken_out(
    fleet: Fleet, hot: tuple[pd.DataFrame, BayEffects, Panel]
) -> None:
    readings, effects, panel = hot
    found = row(effects, "T06", "thermometer")
    assert found["significant"]
    assert found["value"] == pytest.approx(10.0, abs=2.0)  # the meter's own 0.4 K and three standard errors
    assert effects.table["significant"].sum() == 1
    assert said(effects)[0].startswith("technician T06's readings: thermometer about ")
    assert re.search(r"about \d+ ± \d+ degrees high,", said(effects)[0])
    assert f"on {found['readings']} readings of {found['vehicles']} vehicles" in said(effects)[0]
    assert found["same_week_k"] > 5.0
    was = make_panel(fleet.units, fleet.readings).measured["temperature_c"]
    now = corrected(panel, effects).measured["temperature_c"]
    away = np.abs(now - was)
    mine = (readings["technician"] == "T06").to_numpy()[panel.row] & panel.present
    assert np.nanmax(away[mine]) < 2.0
    assert np.nanmax(away[~mine & panel.present]) < 1e-9


@pytest.mark.parametrize(("shift", "side"), one_in(2, [(-8.0, "low"), (6.0, "high")], apart=True))
def test_the_sign_of_a_thermometer(fleet: Fleet, shift: float, side: str) -> None:
    readings = spoilt(fleet, "T01", lambda r: r.assign(temperature_c=r["temperature_c"] + shift))
    effects, _ = look(fleet.units, readings)
    assert row(effects, "T01", "thermometer")["value"] == pytest.approx(shift, abs=2.0)
    assert len(said(effects)) == 1
    assert f" degrees {side}," in said(effects)[0]


@pytest.mark.parametrize(
    ("effect", "columns", "gain"),
    one_in(3, [("amps", ["crank_a"], 1.05), ("peak amps", ["peak_a"], 0.93), ("drops", DROPS, 1.06)], apart=True),
)
def test_the_gain_of_one_meter(
    fleet: Fleet, plain: tuple[BayEffects, Panel], effect: str, columns: list[str], gain: float
) -> None:
    readings = spoilt(fleet, "T04", lambda r: r.assign(**{c: r[c] * gain for c in columns}))
    effects, panel = look(fleet.units, readings)
    own = row(plain[0], "T04", effect)["value"]  # the meter's own error, up to 2 %
    found = row(effects, "T04", effect)
    assert found["significant"]
    assert found["value"] - own == pytest.approx(np.log(gain), abs=0.012)
    assert set(effects.taken_out) == set(columns)
    assert effects.table["significant"].sum() == 1
    ratio = corrected(panel, effects).measured[columns[0]] / panel.measured[columns[0]]
    mine = (readings["technician"] == "T04").to_numpy()[panel.row] & np.isfinite(ratio)
    np.testing.assert_allclose(ratio[mine], np.exp(-found["value"]), rtol=1e-12)


@pytest.mark.nightly
def test_a_meter_three_per_cent_high(fleet: Fleet, plain: tuple[BayEffects, Panel]) -> None:
    """A clamp that reads 3 % high in all, its own error included: found, and near three per cent."""
    own = row(plain[0], "T09", "amps")["value"]
    readings = spoilt(fleet, "T09", lambda r: r.assign(crank_a=r["crank_a"] * np.exp(0.03 - own)))
    effects, _ = look(fleet.units, readings)
    found = row(effects, "T09", "amps")
    assert found["significant"]
    assert found["value"] == pytest.approx(0.03, abs=0.01)
    assert "technician T09's readings: amps about" in said(effects)[0]


@pytest.mark.nightly
def test_a_whole_bay_with_one_thermometer_beside_other_depots() -> None:
    """Three of a depot's six technicians share the thermometer: other depots tell which bay is wrong."""
    fleet = simulate_fleet(FleetSpec(11, units=90, years=2.5, clamp_bias=1.0, thermometer_bias_c=10.0))
    effects, _ = look(fleet.units, fleet.readings)
    thermometer = effects.table[effects.table["effect"] == "thermometer"].set_index("name")
    assert set(thermometer.index[thermometer["significant"]]) == {"T09", "T10", "T11"}
    assert thermometer.loc[["T09", "T10", "T11"], "value"].mean() == pytest.approx(10.0, abs=2.0)
    assert thermometer["value"].drop(["T09", "T10", "T11"]).abs().max() < 1.5


def test_two_bays_alone_disagree_and_it_is_not_said_which_is_wrong() -> None:
    fleet = simulate_fleet(
        FleetSpec(44, units=60, years=2.5, clamp_bias=1.0, thermometer_bias_c=12.0, depots=CONTINENTAL[:1])
    )
    effects, _ = look(fleet.units, fleet.readings)
    assert not effects.table["significant"].any()
    thermometers = [s for s in said(effects) if s.startswith("thermometers")]
    assert len(thermometers) == 1
    assert "T03, T04, T05 up to" in thermometers[0]
    assert "above T00, T01, T02" in thermometers[0]
    assert "compare them with a third" in thermometers[0]


def test_gains_put_in_at_random_come_out(fleet: Fleet, plain: tuple[BayEffects, Panel]) -> None:
    rng = np.random.default_rng(7)
    names = sorted(fleet.readings["technician"].unique())
    gain = dict(zip(names, rng.normal(0.0, 0.03, len(names)), strict=True))
    readings = fleet.readings.copy()
    readings["crank_a"] = readings["crank_a"] * np.exp(readings["technician"].map(gain).astype(float))
    before, (after, _) = plain[0], look(fleet.units, readings)
    moved = np.array([row(after, n, "amps")["value"] - row(before, n, "amps")["value"] for n in names])
    truth = np.array([gain[n] for n in names])
    away = (moved - truth).reshape(2, 6)  # two depots: what all of one depot's meters share cannot be told
    assert np.abs(away - away.mean(axis=1, keepdims=True)).max() < 0.012  # three standard errors
    se = after.table.loc[after.table["effect"] == "amps", "se_beside"]
    assert se.between(0.002, 0.015).all()


def test_scatter_between_technicians_of_one_bay_is_as_large_as_stated(plain: tuple[BayEffects, Panel]) -> None:
    """Technicians of one bay share its meters: what they differ by is error alone, one standard error on average."""
    effects, _ = plain
    table = effects.table.assign(bay=effects.table["name"].str[1:].astype(int) // 3)
    away = table["value"] - table.groupby(["effect", "bay"])["value"].transform("mean")
    z = away / table["se_beside"] * np.sqrt(3.0 / 2.0)
    assert 0.5 < np.sqrt((z**2).mean()) < 1.3


def test_patterns_follow_the_laws(fleet: Fleet) -> None:
    panel = without_slips(make_panel(fleet.units, fleet.readings))
    laws = estimate_laws(panel)
    pattern = channel_patterns(panel, observe(panel, laws))
    amps, _, drops, thermometer = range(len(EFFECTS))
    assert pattern[:, LOAD, amps] == pytest.approx(1.0, abs=0.25)  # the load's speed factor takes a little of it
    for channel in (BATTERY, POSITIVE, GROUND, CONTACTS):
        np.testing.assert_allclose(pattern[:, channel, amps], -1.0, atol=0.02)
    for channel in (POSITIVE, GROUND, CONTACTS):
        np.testing.assert_allclose(pattern[:, channel, drops], 1.0, atol=0.02)
    np.testing.assert_allclose(pattern[:, BATTERY, drops], 0.0, atol=1e-9)
    for channel in (POSITIVE, GROUND):
        np.testing.assert_allclose(pattern[:, channel, thermometer], -0.00393, rtol=0.1)
    assert (pattern[:, BATTERY, thermometer] > 0.003).all()
    assert (pattern[:, LOAD, thermometer] > 0.002).all()


def test_instruments_are_judged_where_they_are_recorded(fleet: Fleet) -> None:
    readings = fleet.readings.copy()
    readings["instrument"] = "clamp " + (np.arange(len(readings)) % 4).astype(str).astype(object)
    readings["instrument"] = readings["instrument"].astype("str")
    wrong = readings["instrument"] == "clamp 2"
    readings.loc[wrong, "crank_a"] *= 1.06
    effects, _ = look(fleet.units, readings)
    assert set(effects.table.loc[effects.table["effect"] == "amps", "name"]) == {f"clamp {i}" for i in range(4)}
    assert set(effects.table.loc[effects.table["effect"] == "thermometer", "by"]) == {"technician"}
    found = row(effects, "clamp 2", "amps")
    assert found["significant"]
    assert found["value"] == pytest.approx(np.log(1.06), abs=0.015)
    assert effects.table["significant"].sum() == 1


def test_names_do_not_matter(fleet: Fleet, hot: tuple[pd.DataFrame, BayEffects, Panel]) -> None:
    readings, before, _ = hot
    renamed = readings.assign(
        technician=("Z" + (99 - readings["technician"].str[1:].astype(int)).astype(str)).astype("str")
    )
    other, _ = look(fleet.units, renamed)
    assert row(other, "Z93", "thermometer")["value"] == pytest.approx(
        row(before, "T06", "thermometer")["value"], abs=1e-6
    )


def test_nobody_is_named(fleet: Fleet) -> None:
    for readings in (
        fleet.readings.drop(columns="technician"),
        fleet.readings.assign(technician=pd.Series([" "] * len(fleet.readings), dtype="str")),
    ):
        panel = make_panel(fleet.units, readings)
        effects = bay_effects(panel, observe(panel, estimate_laws(panel)), readings)
        assert effects.table.empty
        assert effects.notes == ()


def test_too_few_vehicles_and_bad_calls(fleet: Fleet, hot: tuple[pd.DataFrame, BayEffects, Panel]) -> None:
    readings, found, panel = hot
    observed = observe(panel, estimate_laws(panel))
    strict = bay_effects(panel, observed, readings, fewest_vehicles=1000)
    assert not strict.table["significant"].any()
    assert strict.taken_out == {}
    with pytest.raises(ValueError, match="fewest_vehicles is 1; allowed are 2 and more"):
        bay_effects(panel, observed, readings, fewest_vehicles=1)
    with pytest.raises(ValueError, match="observed has the shape"):
        bay_effects(panel, replace(observed, value=observed.value[:, :5]), readings)
    narrow = make_panel(fleet.units.iloc[:1], readings[readings["unit"] == fleet.units["unit"].iloc[0]])
    with pytest.raises(ValueError, match="effects have the shape"):
        corrected(narrow, found)
