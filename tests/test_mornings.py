"""Loggers' thermometers judged by mornings on which vehicles of a depot start side by side.

Truth: air, thermometers and sags made by hand here; how much of a spread is real is its variance's share of the whole (errors in
variables, Fuller 1987, chapter 1).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.circuit.temperature import BATTERY_LAW, drag_law
from analysis.readings.mornings import BLOCK_D, by_mornings
from analysis.readings.panel import FleetTables

DAYS, VEHICLES = 600, 12
BEGAN = pd.Timestamp("2022-01-03")


def made(
    yard_k: float, start_k: float, logger_k: float, vehicles: int = VEHICLES, seed: int = 3
) -> tuple[FleetTables, np.ndarray]:
    """A depot of loggers that start every second morning, and what the air was by each start: vehicles stand `yard_k` apart, each
    thermometer is `logger_k` out for good and `start_k` from start to start (standard deviations)."""
    chance = np.random.default_rng(seed)
    day = np.arange(0, DAYS, 2)
    morning = 7.0 - 9.0 * np.cos(2.0 * np.pi * day / 365.25) + chance.normal(0.0, 3.5, len(day))
    air = morning + yard_k * chance.normal(size=(vehicles, len(day)))
    read = air + logger_k * chance.normal(size=(vehicles, 1)) + start_k * chance.normal(size=air.shape)
    sag = np.exp(BATTERY_LAW.log_factor(air) + drag_law().log_factor(air) + 0.1 * chance.normal(size=air.shape))
    names = [f"L{k:02d}" for k in range(vehicles)]
    minute = chance.integers(0, 60, air.shape)
    frame = pd.DataFrame(
        {
            "unit": np.repeat(names, len(day)),
            "taken_at": (
                BEGAN + pd.to_timedelta((np.tile(day, vehicles) * 24 + 5) * 60 + minute.ravel(), unit="min")
            ).as_unit("us"),
            "temperature_c": read.ravel(),
            "rest_v": 12.7,
            "crank_min_v": 12.7 - sag.ravel(),
        }
    )
    units = pd.DataFrame({"unit": names, "vehicle_class": "van", "system_v": 12, "depot": "hill"})
    nothing = pd.DataFrame({"unit": [], "done_on": pd.to_datetime([])})
    return FleetTables(units, frame, nothing, pd.DataFrame(), pd.DataFrame()), air.ravel()


def degrees(tables: FleetTables) -> np.ndarray:
    return tables.readings["temperature_c"].to_numpy()


def told(tables: FleetTables) -> np.ndarray:
    """Starts of the second half, when the thermometers are known."""
    return (tables.readings["taken_at"] > BEGAN + pd.Timedelta(days=DAYS / 2)).to_numpy()


@pytest.mark.parametrize(("yard_k", "start_k"), [(2.5, 1.8), (1.0, 2.5), (2.5, 0.2)])
def test_the_share_of_a_morning_s_differences_that_sags_confirm_is_left(yard_k: float, start_k: float) -> None:
    """By hand: yard² / (yard² + thermometer²) of every departure from the morning's mean."""
    tables, _ = made(yard_k, start_k, 0.0)
    then = pd.DataFrame(
        {"at": tables.readings["taken_at"].dt.date, "read": degrees(tables), "now": degrees(by_mornings(tables))}
    )
    for name in ("read", "now"):
        then[name] -= then.groupby("at")[name].transform("mean")
    late = then[told(tables)]
    share = float((late["read"] * late["now"]).sum() / (late["read"] ** 2).sum())
    assert share == pytest.approx(yard_k**2 / (yard_k**2 + start_k**2), abs=0.06)


def test_sags_that_follow_no_cold_tell_no_share() -> None:
    """Sags that grow as it gets warmer say nothing of thermometers: what their stated 1 K leaves of the differences stays, by hand."""
    tables, _ = made(2.5, 1.8, 0.0)
    sag = tables.readings["rest_v"] - tables.readings["crank_min_v"]
    wrong = replace(tables, readings=tables.readings.assign(crank_min_v=tables.readings["rest_v"] - 1.0 / sag))
    then = pd.DataFrame(
        {"at": wrong.readings["taken_at"].dt.date, "read": degrees(wrong), "now": degrees(by_mornings(wrong))}
    )
    for name in ("read", "now"):
        then[name] -= then.groupby("at")[name].transform("mean")
    late = then[told(wrong)]
    share = float((late["read"] * late["now"]).sum() / (late["read"] ** 2).sum())
    assert share == pytest.approx(1.0 - 1.0 / (late["read"] ** 2).mean(), abs=0.02)


@pytest.mark.parametrize("logger_k", [0.0, 1.5])
def test_degrees_come_nearer_to_the_air(logger_k: float) -> None:
    """Truth: the air by each vehicle, less how far its logger is out for good; what is left is what a Gaussian leaves, yard times
    thermometer over the root of both squares added, and the morning's mean of twelve."""
    tables, air = made(2.0, 1.8, logger_k)
    late = told(tables)
    before, after = (np.std((degrees(t) - air)[late]) for t in (tables, by_mornings(tables)))
    left = np.hypot(2.0 * 1.8 / np.hypot(2.0, 1.8), 1.8 / np.sqrt(VEHICLES))
    assert before == pytest.approx(np.hypot(1.8, logger_k), rel=0.35)
    assert after == pytest.approx(left, rel=0.1)


def test_later_readings_change_no_earlier_degrees() -> None:
    """Property: a list of a past day stays as it was."""
    tables, _ = made(2.0, 1.8, 1.0)
    day = BEGAN + pd.Timedelta(days=401)
    known = tables.readings["taken_at"] < day
    early = by_mornings(tables.before(day))
    assert (degrees(early) == degrees(by_mornings(tables))[known]).all()
    assert (degrees(early) != degrees(tables)[known]).mean() > 0.9


def test_what_stands_alone_stays_as_it_was_read() -> None:
    """One vehicle at its depot, loggers of other hours, a technician's reading, and a fleet of few readings."""
    alone, _ = made(2.0, 1.8, 1.0, vehicles=1)
    assert by_mornings(alone).readings is alone.readings
    tables, _ = made(2.0, 1.8, 1.0)
    hours = tables.readings["unit"].str[1:].astype(int) * 2
    apart = tables.readings.assign(
        taken_at=tables.readings["taken_at"].dt.normalize() + pd.to_timedelta(hours, unit="h")
    )
    assert (degrees(by_mornings(replace(tables, readings=apart))) == degrees(tables)).all()
    clamped = tables.readings.assign(crank_a=np.where(np.arange(len(tables.readings)) % 7 == 0, 150.0, np.nan))
    now = by_mornings(replace(tables, readings=clamped))
    some = clamped["crank_a"].notna().to_numpy()
    assert (degrees(now) == degrees(tables))[some].all()
    assert (degrees(now) != degrees(tables))[~some].mean() > 0.9
    few = tables.readings.groupby("unit").head(20)
    assert by_mornings(replace(tables, readings=few)).readings is few


def test_the_first_weeks_are_as_they_were_read() -> None:
    """Nothing is known of a thermometer before its first block of days is over."""
    tables, _ = made(2.0, 1.8, 1.0)
    first = ((tables.readings["taken_at"] - pd.Timestamp("1970-01-01")) // pd.Timedelta(days=BLOCK_D)).to_numpy()
    same = np.isclose(degrees(by_mornings(tables)), degrees(tables), atol=0.01)
    assert same[first == first.min()].all()
    assert same[first > first.min()].mean() < 0.1
