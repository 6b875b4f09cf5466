"""Visits, meters, gaps and wrong entries of the invented fleet."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from demo_fleet.measuring import BAYS_PER_DEPOT, TECHNICIANS_PER_BAY
from demo_fleet.simulate import Fleet, simulate_fleet
from demo_fleet.specs import CONTINENTAL, MEASUREMENTS, FleetSpec, healthy_growth

HEALTHY = FleetSpec(41, units=150, years=2.0, growth=healthy_growth(), gross=0.0, clamp_bias=1.0)


@pytest.fixture(scope="module")
def healthy() -> Fleet:
    return simulate_fleet(HEALTHY)


def test_missing_rates_are_as_asked() -> None:
    """Each measurement is missing at its rate within four binomial standard errors; left-out ones are never there."""
    spec = replace(HEALTHY, missing=0.2, rpm_share=0.4, without=("peak_a",))
    readings = simulate_fleet(spec).readings
    for name in MEASUREMENTS:
        wanted = {"crank_rpm": 0.6, "peak_a": 1.0, "crank_min_v": 0.04}.get(name, 0.2)
        error = 4 * np.sqrt(wanted * (1 - wanted) / len(readings))
        assert abs(readings[name].isna().mean() - wanted) <= error
    assert readings.temperature_c.notna().all()


def test_visits_come_irregularly_within_the_interval_and_on_working_days(healthy: Fleet) -> None:
    """Gaps of 4 to 10 weeks (two days less or more for the weekend), spread over that range, Monday to Friday."""
    readings = healthy.readings
    gaps = readings.groupby("unit").taken_at.diff().dt.total_seconds().dropna() / 86400
    assert gaps.between(28 - 3, 70 + 3).all()
    assert gaps.std() > 9
    assert readings.taken_at.dt.day_of_week.max() <= 4
    assert readings.taken_at.dt.hour.between(7, 16).all()


def test_meters_round_as_meters_do(healthy: Fleet) -> None:
    """Volts to 10 mV, drops to 1 mV, amps to 1 A or, in some bays, 5 A."""
    readings = healthy.readings
    for name, step in (("rest_v", 0.01), ("crank_min_v", 0.01), ("drop_ground_v", 0.001), ("crank_a", 1.0)):
        steps = readings[name].dropna().to_numpy() / step
        np.testing.assert_allclose(steps, np.rint(steps), atol=1e-6)
    bay = readings.technician.str[1:].astype(int) // TECHNICIANS_PER_BAY
    fives = [(readings.crank_a[bay == b].dropna() % 5 == 0).all() for b in sorted(bay.unique())]
    assert len(fives) == BAYS_PER_DEPOT * len(HEALTHY.depots)
    assert not all(fives)


def test_scatter_of_a_healthy_vehicle_is_that_of_common_practice(healthy: Fleet) -> None:
    """Within a vehicle: drops over amps 4 to 12 %, amps 3 to 8 %, rest volts under 0.5 % (clamps good to 2 or 3 %)."""
    readings = healthy.readings
    resistance = np.log(readings.drop_ground_v / readings.crank_a)
    bounds = ((resistance, 0.04, 0.12), (np.log(readings.crank_a), 0.03, 0.08), (np.log(readings.rest_v), 0.001, 0.005))
    for values, low, high in bounds:
        centred = values - values.groupby(readings.unit).transform("median")
        assert low < 1.4826 * centred.abs().median() < high


@pytest.mark.nightly  # by day test_bays.py finds such a bay, and no other
def test_a_biased_clamp_and_thermometer_show_in_their_bay_only() -> None:
    """Simulated truth: the last bay's amps read 8 % higher and its thermometer 10 K warmer than with good meters."""
    plain = replace(HEALTHY, depots=CONTINENTAL)
    biased = replace(plain, clamp_bias=1.08, thermometer_bias_c=10.0)
    good, bad = (simulate_fleet(s).readings for s in (plain, biased))
    pd.testing.assert_series_equal(good.taken_at, bad.taken_at)
    last = good.technician.str[1:].astype(int) // TECHNICIANS_PER_BAY == BAYS_PER_DEPOT * len(plain.depots) - 1
    assert (bad.crank_a / good.crank_a)[last].median() == pytest.approx(1.08, abs=0.01)
    assert (bad.temperature_c - good.temperature_c)[last].median() == pytest.approx(10.0, abs=0.05)
    pd.testing.assert_frame_equal(good[~last], bad[~last])


def test_wrong_entries_come_at_their_rate(healthy: Fleet) -> None:
    """With the same draws, values changed by `gross` 0.02 are about 2 % of those written, most of them tenfold."""
    spoiled = simulate_fleet(replace(HEALTHY, gross=0.02)).readings
    ratio = (spoiled.crank_min_v / healthy.readings.crank_min_v).dropna()
    wrong = (ratio - 1).abs() > 0.5
    assert wrong.mean() == pytest.approx(0.8 * 0.02, abs=4 * np.sqrt(0.016 / len(ratio)))
    assert set(np.round(np.log10(ratio[wrong]))) == {-1.0, 1.0}
    swapped = np.isclose(spoiled.drop_positive_v, healthy.readings.drop_ground_v) & ~np.isclose(
        spoiled.drop_positive_v, healthy.readings.drop_positive_v
    )
    assert 0 < swapped.mean() < 0.02


def test_warmer_readings_mean_thinner_oil(healthy: Fleet) -> None:
    """Steady amps fall with the bay's temperature within every class (the physics survives the meters)."""
    merged = healthy.readings.merge(healthy.units, on="unit")
    for _, group in merged.groupby("vehicle_class"):
        amps = np.log(group.crank_a) - np.log(group.crank_a).groupby(group.unit).transform("mean")
        assert np.corrcoef(amps.fillna(0), group.temperature_c)[0, 1] < -0.2
