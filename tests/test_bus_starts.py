"""Starts in a log of the bus: found by engine speed, read by volts and temperatures, bounds as bounds.

Truth: drives that the test itself made (`samples_bus`), with what happened in them stated.
"""

from __future__ import annotations

import numpy as np
import pytest
from samples_bus import Start, Trip, rpm_at, volts_at

from analysis.logs.starts import BusStart, Series, find_starts, step_s

TRUE = Start(20.0)


def series(trip: Trip, of: str, hz: float, step: float = 0.0) -> Series:
    t = np.arange(0.0, trip.seconds, 1.0 / hz) + 0.003
    value = [rpm_at(k, trip.starts) if of == "rpm" else volts_at(k, trip.starts, trip.rest_v) for k in t]
    return Series(t, np.round(np.array(value) / step) * step if step else np.array(value), step)


def starts_of(trip: Trip, *, rpm_hz: float = 50.0, volts_hz: float = 1.0) -> tuple[BusStart, ...]:
    steady = np.array([0.0, trip.seconds])
    return find_starts(
        series(trip, "rpm", rpm_hz, 0.125), series(trip, "volts", volts_hz, 0.05),
        Series(steady, np.full(2, trip.coolant_c)), Series(steady, np.full(2, trip.ambient_c)),
    )  # fmt: skip


@pytest.mark.parametrize("rpm_hz", [100.0, 50.0, 20.0, 10.0, 4.0])
def test_a_start_is_found_and_timed_within_its_error(rpm_hz: float) -> None:
    (found,) = starts_of(Trip((TRUE,)), rpm_hz=rpm_hz)
    assert found.started is True
    assert abs(found.began_s - TRUE.at_s) <= 0.5 / rpm_hz + 0.01
    assert abs(found.crank_s - TRUE.crank_s) <= 3.5 * found.crank_s_se
    assert found.crank_s_se == pytest.approx(np.sqrt(2.0 / 12.0) / rpm_hz, rel=0.05), "a sample's width at either end"
    assert abs(found.crank_rpm - TRUE.rpm) <= 2.0 * found.crank_rpm_se
    assert found.rest_v == pytest.approx(12.6)
    assert (found.ambient_c, found.coolant_c, found.cold) == (-4.0, -3.0, True)


def test_fast_volts_tell_the_dip_and_the_lowest_slow_ones_a_bound() -> None:
    """ISO 16750-2 profiles have the dip within the first tenth of a second; 9.8 V is the lowest of steady turning."""
    (fast,) = starts_of(Trip((TRUE,)), volts_hz=50.0)
    assert not fast.at_most
    assert fast.dip_v == pytest.approx(8.1, abs=0.05)
    assert fast.lowest_v == pytest.approx(9.8, abs=0.06)
    bounds = []
    for shift in np.arange(0.0, 1.0, 0.1):
        (slow,) = starts_of(Trip((Start(20.0 + shift),)), volts_hz=1.0)
        assert slow.at_most
        assert np.isnan(slow.dip_v)
        assert np.isnan(slow.lowest_v) or slow.lowest_v >= 9.8 - 0.05
        bounds.append(slow.lowest_v)
    assert np.isfinite(bounds).sum() >= 8


def test_slow_volts_are_a_bound_by_a_clock_of_whole_seconds_too() -> None:
    """Three rows a second under one time each: no step of none, so that nothing is taken for a dip."""
    assert step_s(np.array([0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 2.0])) == pytest.approx(1.0 / 3.0)
    trip = Trip((TRUE,))
    often = series(trip, "volts", 3.0, 0.05)
    (found,) = find_starts(series(trip, "rpm", 50.0, 0.125), Series(np.floor(often.time_s), often.value, often.step))
    assert found.at_most
    assert np.isnan(found.dip_v)


def test_an_engine_that_does_not_start_and_one_that_is_tried_again() -> None:
    trip = Trip((Start(10.0, crank_s=4.0, runs=False), Start(30.0, crank_s=2.0, runs_for_s=20.0)), volts_hz=20.0)
    first, second = starts_of(trip, volts_hz=20.0)
    assert (first.started, second.started) == (False, True)
    assert first.crank_s == pytest.approx(4.0, abs=0.05)
    assert first.lowest_v == pytest.approx(9.8, abs=0.11)


def test_an_engine_that_dies_at_once_did_not_start() -> None:
    (found,) = starts_of(Trip((Start(20.0, runs_for_s=0.8),)))
    assert found.started is False


def test_a_log_that_ends_too_soon_does_not_know() -> None:
    (found,) = starts_of(Trip((TRUE,), seconds=22.0))
    assert found.started is None
    (cranking,) = starts_of(Trip((Start(20.0, crank_s=9.0),), seconds=25.0))
    assert cranking.started is None


def test_a_log_that_begins_with_a_running_engine_holds_no_start() -> None:
    assert starts_of(Trip((Start(-5.0),))) == ()


@pytest.mark.parametrize("value", [250.0, 700.0, 8031.0])
def test_a_spike_of_one_sample_is_no_start(value: float) -> None:
    speed = series(Trip(()), "rpm", 10.0)
    speed.value[100] = value
    assert find_starts(speed) == ()


def test_volts_that_fall_while_nothing_turns_are_no_start_and_no_lowest() -> None:
    trip = Trip((TRUE,))
    volts = series(trip, "volts", 10.0)
    volts.value[50] = 2.0  # five seconds in, nothing turns
    volts.value[205] = 0.4  # in the start: no control unit lives on that
    volts.value[120] = 30.0  # before it
    (found,) = find_starts(series(trip, "rpm", 50.0), volts)
    assert found.rest_v == pytest.approx(12.6)
    assert found.lowest_v == pytest.approx(9.8, abs=0.1)
    assert find_starts(series(Trip(()), "rpm", 50.0), volts) == ()


def test_what_happened_in_a_gap_of_the_log_is_not_known() -> None:
    trip = Trip((TRUE,))
    speed = series(trip, "rpm", 10.0)
    kept = (speed.time_s < 15.0) | (speed.time_s > 20.5)
    assert find_starts(Series(speed.time_s[kept], speed.value[kept])) == ()


def test_volts_before_a_start_are_those_of_the_standing_engine() -> None:
    """Glow plugs draw for four of the seconds before; charging volts of the last drive are no rest."""
    trip = Trip((Start(2.0, crank_s=1.0, runs_for_s=10.0), Start(30.0)))
    volts = series(trip, "volts", 2.0)
    volts.value[(volts.time_s > 25.0) & (volts.time_s < 29.5)] = 11.9
    assert find_starts(series(trip, "rpm", 50.0), volts)[1].rest_v == pytest.approx(12.6)


@pytest.mark.parametrize(
    ("ambient", "coolant", "cold"), [(-4.0, 8.0, True), (-4.0, 60.0, False), (None, 20.0, True), (None, 60.0, False)]
)
def test_a_warm_engine_is_told_from_a_cold_one(ambient: float | None, coolant: float, cold: bool) -> None:
    speed = series(Trip((TRUE,)), "rpm", 50.0)
    air = Series(np.array([1.0]), np.array([ambient])) if ambient is not None else Series(np.zeros(0), np.zeros(0))
    (found,) = find_starts(speed, coolant=Series(np.array([1.0]), np.array([coolant])), ambient=air)
    assert found.cold is cold
    assert find_starts(speed)[0].cold is None


def test_times_that_do_not_rise_are_a_bad_call() -> None:
    with pytest.raises(ValueError, match="times of a signal"):
        find_starts(Series(np.array([1.0, 0.0]), np.zeros(2)))


def test_no_samples_and_noise_are_no_starts() -> None:
    assert find_starts(Series(np.zeros(0), np.zeros(0))) == ()
    flicker = np.abs(np.random.default_rng(1).normal(0.0, 15.0, 5000))
    assert find_starts(Series(np.arange(5000) / 50.0, flicker)) == ()
