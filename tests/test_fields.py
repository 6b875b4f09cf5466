"""Quantities, conversions and tables: conversions are exact by definition of the units."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples

from ingest.fields import (
    QUANTITIES,
    READINGS,
    TABLES,
    conversion,
    fahrenheit_to_celsius,
)

CONTRACT = {
    "units": "unit, vehicle_class, system_v, fuel, cylinders, rated_cca_a, depot, in_service",
    "repairs": "unit, done_on, part, action, reason",
    "climate": "depot, month, low_c, low_sd_c",
    "forecast": "depot, date, low_c",
    "services": "unit, due_on",
    "workshops": "depot, week_from, hours_per_week",
    "parts": "part, price, labour_h, lead_days",
    "readings": "unit, taken_at, odometer_km, temperature_c, rest_v, crank_min_v, crank_a, peak_a, drop_positive_v, "
    "drop_ground_v, drop_contacts_v, drop_control_v, coil_a, crank_rpm, technician, control_loaded_v, coil_loaded_v, "
    "charging_v, crank_s, outcome, instrument, note",
}


@pytest.mark.parametrize(("table", "columns"), CONTRACT.items())
def test_the_columns_of_the_contract_are_there(table: str, columns: str) -> None:
    assert set(columns.split(", ")) <= set(TABLES[table].names)


def test_vehicles_come_first_and_readings_last() -> None:
    assert next(iter(TABLES)) == "units"
    assert list(TABLES)[-1] == "readings"


@pytest.mark.parametrize(
    ("column", "value", "ours", "expected"),
    [
        ("temperature_f", 50.0, "temperature_c", 10.0),
        ("temperature_f", -40.0, "temperature_c", -40.0),
        ("drop_ground_mv", 90.0, "drop_ground_v", 0.09),
        ("odometer_mi", 100.0, "odometer_km", 160.9344),
        ("crank_clamp_mv", 224.0, "crank_a", 224.0),
        ("coil_clamp_mv", 935.0, "coil_a", 9.35),
        ("coil_ma", 9350.0, "coil_a", 9.35),
        ("low_f", 14.0, "low_c", -10.0),
        ("low_sd_f", 9.0, "low_sd_c", 5.0),
    ],
)
def test_units_in_the_name(column: str, value: float, ours: str, expected: float) -> None:
    found = conversion(column)
    assert found is not None
    assert found.column == ours
    assert value * found.factor + found.offset == pytest.approx(expected)


def test_clamp_scale_can_be_stated() -> None:
    found = conversion("crank_clamp_mv", 10.0)
    assert found is not None
    assert 2240 * found.factor == pytest.approx(224.0)
    with pytest.raises(ValueError, match="clamp_mv_per_a"):
        conversion("crank_clamp_mv", -1.0)


@pytest.mark.parametrize("name", ["colour", "rest_f", "unit", "crank_rpm_mv"])
def test_other_names_are_no_measurement(name: str) -> None:
    assert conversion(name) is None


@examples(25)
@given(st.floats(-100, 200))
def test_fahrenheit_and_back(temperature_f: float) -> None:
    assert fahrenheit_to_celsius(temperature_f) * 1.8 + 32 == pytest.approx(temperature_f, abs=1e-9)


def test_ranges_hold_a_healthy_and_a_failing_start() -> None:
    """Common practice: 12.6 V at rest, 9.6 V while cranking, 60 to 250 A; no 24 V value fits a 12 V system's rest."""
    low, high = QUANTITIES["rest_v"].range_12
    assert low < 11.0 < 12.9 < high < 24.0
    low, high = QUANTITIES["crank_min_v"].range_12
    assert low < 7.0 < 12.0 < high < 116.5


def test_unknown_column_is_a_bad_call() -> None:
    with pytest.raises(ValueError, match="no column 'colour'"):
        READINGS.column("colour")
