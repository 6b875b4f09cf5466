"""Many starts of a logger become few readings: none invented, counted, drift kept, and what was measured stays.

Truth: starts made by hand here, whose level is known; a median's variance from print (pi / 2 over n, Kendall and Stuart).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.circuit.temperature import BATTERY_LAW, drag_law
from analysis.constants import MEDIAN_SE, WEEK_D
from analysis.readings.choices import OBSERVING, THINNING
from analysis.readings.class_laws import estimate_laws, observe
from analysis.readings.observe import BATTERY
from analysis.readings.panel import FleetTables, Panel, at_their_mean, days_since_epoch, lean, make_panel, without_slips
from analysis.readings.thinning import READINGS_KEPT, Floats, sag_at_reference

UNITS = pd.DataFrame({"unit": ["L"], "vehicle_class": ["van"], "system_v": [12], "depot": ["hill"]})
NOBODY = pd.DataFrame({"unit": [], "done_on": pd.to_datetime([])})
BEGAN = pd.Timestamp("2022-01-03T06:00")


def logged(days: float = 500.0, every_h: float = 14.0, drift: float = 0.0, seed: int = 1) -> pd.DataFrame:
    """Rest and lowest volts of one vehicle's starts, 5 % of scatter each; its sag at 20 degC grows by `drift` a year."""
    chance = np.random.default_rng(seed)
    at = np.arange(0.0, days, every_h / 24.0)
    cold = 8.0 - 10.0 * np.cos(2.0 * np.pi * at / 365.25) + chance.normal(0.0, 3.0, len(at))
    factor = np.exp(BATTERY_LAW.log_factor(cold) + drag_law().log_factor(cold))
    sag = (1.0 + drift * at / 365.25) * factor * np.exp(chance.normal(0.0, 0.05, len(at)))
    return pd.DataFrame(
        {
            "unit": "L",
            "taken_at": (BEGAN + pd.to_timedelta(at, unit="D")).as_unit("us"),
            "temperature_c": cold,
            "rest_v": 12.7,
            "crank_min_v": 12.7 - sag,
        }
    )


def tables_of(readings: pd.DataFrame) -> FleetTables:
    """The logger's readings alone."""
    empty = pd.DataFrame()
    return FleetTables(UNITS, readings, NOBODY, empty, empty)


def test_weeks_then_four_weeks_and_every_start_is_counted_once() -> None:
    """By hand: 500 days at 14 hours are 858 starts; what is kept stands for all of the time it spans."""
    readings = logged()
    panel = make_panel(UNITS, readings)
    assert panel.row.shape[1] <= READINGS_KEPT
    day, count = panel.day[0], panel.stands_for[0]
    recent = day > day[-1] - THINNING.recent_d
    assert 10 <= recent.sum() <= 14
    assert count[recent][1:-1].tolist() == pytest.approx([12.0] * (recent.sum() - 2), abs=1.0)
    assert count[~recent][1:-1].tolist() == pytest.approx([12.0 * THINNING.old_weeks] * ((~recent).sum() - 2), abs=13.0)
    assert count.sum() == len(readings)
    assert np.isin(panel.measured["crank_min_v"][0], readings["crank_min_v"]).all(), "a start as it was read"


def test_how_far_the_starts_lie_apart_is_kept_with_their_number() -> None:
    """Truth: the standard deviation that numpy finds over all starts of the span that a usual one stands for, at 20 degC."""
    readings = logged()
    cold = readings["temperature_c"].to_numpy()
    log_sag = sag_at_reference((readings["rest_v"] - readings["crank_min_v"]).to_numpy(), cold, cold)
    week = np.floor(days_since_epoch(readings["taken_at"]) / WEEK_D)
    whole, slim = make_panel(UNITS, readings), make_panel(UNITS, lean(tables_of(readings)).readings)
    for panel in (whole, slim):
        for at in range(1, panel.day.shape[1] - 1):
            weeks = 1 if panel.day[0, -1] - panel.day[0, at] <= THINNING.recent_d else THINNING.old_weeks
            those = log_sag[week // weeks == np.floor(panel.day[0, at] / WEEK_D) // weeks]
            if len(those) != panel.stands_for[0, at]:
                continue  # the span in which weeks change into four of them is cut
            exactly = panel is whole or weeks == 1
            # a week's mean is not kept, only its middle start: of 12 starts that is out by 1.25 / sqrt(12) of their deviation
            assert panel.spread[0, at] == pytest.approx(np.std(those, ddof=1), rel=1e-9 if exactly else 0.2)
    assert (make_panel(UNITS, readings.tail(READINGS_KEPT)).spread == 0.0).all()


def test_a_usual_start_knows_the_mean_temperature_of_those_it_stands_for_and_is_brought_to_it() -> None:
    """Truth: means of the weeks by counting; along the published laws the sag at 20 degC stays, so that from mean to mean starts show
    their own law: one a fifth flatter than print, which they were chosen along, is found within a twentieth."""
    readings = logged(days=700.0)
    flatter = np.exp(
        -0.2 * (BATTERY_LAW.log_factor(readings.temperature_c) + drag_law().log_factor(readings.temperature_c))
    )
    readings["crank_min_v"] = 12.7 - (12.7 - readings["crank_min_v"]) * flatter
    readings["temperature_c"] += np.random.default_rng(8).normal(0.0, 1.6, len(readings))
    panel = make_panel(UNITS, lean(tables_of(readings)).readings)
    week = (readings["taken_at"] - pd.Timestamp("1970-01-01")).dt.days // 7
    mean_c = readings["temperature_c"].groupby(week).mean()
    newest = panel.day[0] > panel.day[0, -1] - THINNING.recent_d + 7.0
    np.testing.assert_allclose(panel.mean_c[0, newest], mean_c[panel.day[0, newest] // 7.0], atol=1e-9)

    def slope(of: Panel) -> float:
        t, sag = of.measured["temperature_c"][0], (of.measured["rest_v"] - of.measured["crank_min_v"])[0]
        printed = BATTERY_LAW.log_factor(t) + drag_law().log_factor(t)
        return float(np.polyfit(printed, np.log(sag), 1, w=np.sqrt(of.stands_for[0]))[0])

    brought = at_their_mean(panel)
    for of in (panel, brought):
        assert np.isfinite(of.measured["crank_min_v"]).all()
    assert slope(brought) == pytest.approx(0.8, abs=0.05)
    assert abs(slope(brought) - 0.8) < abs(slope(panel) - 0.8)
    single = make_panel(UNITS, readings.head(READINGS_KEPT))
    assert at_their_mean(single) is single


def test_usual_starts_on_a_heater_are_chosen_and_brought_by_the_drag_of_the_warmer_engine() -> None:
    """Truth: starts made here with the battery at the air's temperature and the drag at the engine's, no scatter: their sags at 20 degC
    are one value, on the heater and off it.  At the air's temperature they would lie as far apart as 15 K of drag."""
    heated = UNITS.assign(starting_aid="block_heater", aid_below_c=5.0)
    readings = logged()
    air = readings["temperature_c"].to_numpy()
    engine = np.where(air < 5.0, air + OBSERVING.heater_k, air)
    readings["crank_min_v"] = 12.7 - np.exp(BATTERY_LAW.log_factor(air) + drag_law().log_factor(engine))

    def sags(panel: Panel) -> Floats:
        m = at_their_mean(panel).measured
        t = m["temperature_c"][0]
        at_mean = np.where(t < 5.0, t + OBSERVING.heater_k, t)
        return np.log(12.7 - m["crank_min_v"][0]) - BATTERY_LAW.log_factor(t) - drag_law().log_factor(at_mean)

    whole = make_panel(heated, readings)
    slim = make_panel(heated, lean(replace(tables_of(readings), units=heated)).readings)
    for panel in (whole, slim):
        assert (panel.measured["temperature_c"] < 5.0).any()
        assert (panel.stands_for > 1.0).any()
        assert sags(panel) == pytest.approx(0.0, abs=1e-9)
        assert panel.spread == pytest.approx(0.0, abs=1e-6)
    assert make_panel(UNITS, readings).spread.max() > 0.05


def test_what_was_measured_with_more_than_volts_is_never_thinned() -> None:
    """One clamp reading among hundreds of starts stays, and stands for itself."""
    readings = logged()
    readings.loc[400, "crank_a"] = 300.0
    panel = make_panel(UNITS, readings)
    at = np.flatnonzero(panel.row[0] == 400)
    assert len(at) == 1
    assert panel.stands_for[0, at[0]] == 1.0


def test_few_readings_stay_as_they_are() -> None:
    """Up to as many as are kept, all are."""
    readings = logged(days=365.0, every_h=24.0 * 365.0 / READINGS_KEPT)
    assert len(readings) == READINGS_KEPT
    assert (make_panel(UNITS, readings).row[0] == np.arange(READINGS_KEPT)).all()
    assert lean(tables_of(readings)).readings is readings


@pytest.mark.parametrize("drift", [0.0, 0.15, 0.4])
def test_no_drift_is_lost(drift: float) -> None:
    """The slope over the kept starts is that of all of them, within two of its errors, and nil where there is none."""
    panel = make_panel(UNITS, logged(drift=drift))
    t = panel.measured["temperature_c"][0]
    level = np.log(panel.measured["rest_v"][0] - panel.measured["crank_min_v"][0])
    level = np.exp(level - BATTERY_LAW.log_factor(t) - drag_law().log_factor(t))
    years = (panel.day[0] - panel.day[0, 0]) / 365.25
    weight = np.sqrt(panel.stands_for[0])
    slope, covariance = np.polyfit(years, level, 1, w=weight, cov=True)
    assert slope[0] == pytest.approx(drift, abs=2.0 * float(np.sqrt(covariance[0, 0])))
    assert float(np.sqrt(covariance[0, 0])) < 0.02


def test_a_usual_start_of_many_is_surer_than_one_but_never_surer_than_what_they_share() -> None:
    """Errors against a single reading's: pi / (2 n) of its variance, not below the share that all starts have in common."""
    readings = logged()
    many = without_slips(make_panel(UNITS, readings))
    single = without_slips(make_panel(UNITS, readings.tail(READINGS_KEPT)))
    laws = estimate_laws(many)
    for panel, least in ((many, OBSERVING.shared_sd), (single, 0.05)):
        seen = observe(panel, laws)
        assert (
            np.nanmin(seen.se[BATTERY] / seen.value[BATTERY]) > 0.6 * least
        )  # a class's measured scatter is 0.6 at least
    ratio = float(np.nanmedian(observe(many, laws).se[BATTERY]) / np.nanmedian(observe(single, laws).se[BATTERY]))
    assert MEDIAN_SE / np.sqrt(48.0) < ratio < 0.8


def test_thinned_to_weeks_first_gives_the_same_panel_but_for_the_middle_of_a_month() -> None:
    """What an assessment does once for all its days: starts of the recent weeks are the very same."""
    readings = logged()
    slim = lean(tables_of(readings)).readings
    assert len(slim) < 0.4 * len(readings)
    whole, twice = make_panel(UNITS, readings), make_panel(UNITS, slim)
    recent = whole.day[0] > whole.day[0, -1] - THINNING.recent_d + 7.0
    np.testing.assert_array_equal(whole.day[0][recent], twice.day[0][-int(recent.sum()) :])
    assert twice.stands_for.sum() == len(readings)


def test_the_weakest_of_a_week_and_failed_starts_are_kept_beside_the_usual_ones() -> None:
    """They stand for no start of the panel: a single weak one makes no weak week, but a failure is still known."""
    readings = logged().assign(outcome="started")
    readings.loc[300, ["outcome", "crank_min_v"]] = ["no_start", 6.0]
    slim = lean(tables_of(readings)).readings
    failed = slim[slim["outcome"] == "no_start"]
    assert failed["stands_for"].tolist() == [0.0]
    assert 6.0 not in make_panel(UNITS, slim).measured["crank_min_v"]
    coldest = readings["temperature_c"].idxmin()
    assert (slim["taken_at"] == readings.loc[coldest, "taken_at"]).any(), "the coldest start that went well says most"


def test_of_a_week_of_bounds_the_furthest_is_kept_for_itself_alone() -> None:
    """Truth: the largest sag of each week by counting; a bound is no usual start and stands for no other."""
    readings = logged().assign(lowest_is="sampled")
    panel = make_panel(UNITS, readings)
    assert np.isnan(panel.measured["crank_min_v"]).all()
    assert (panel.stands_for[panel.present] == 1.0).all()
    newest = readings[readings["taken_at"] >= readings["taken_at"].max() - pd.Timedelta(days=70)]
    cold = newest["temperature_c"].to_numpy()
    at_20 = (12.7 - newest["crank_min_v"]) / np.exp(BATTERY_LAW.log_factor(cold) + drag_law().log_factor(cold))
    week = (newest["taken_at"] - pd.Timestamp("1970-01-01")).dt.days // 7
    furthest = newest["crank_min_v"][at_20.groupby(week).idxmax()].to_numpy()
    assert np.isin(furthest[1:], panel.measured["crank_at_most_v"][0]).all()
