"""The battery: published tables of rest voltage, gravity, freezing and load test; ratings; banks of blocks.

A block is one 12 V lead-acid battery. Two in series make 24 V; blocks in parallel share the amps.
"""

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
import scipy

from analysis.circuit.choices import BATTERY_TABLES
from analysis.circuit.limits import (
    BATTERY_SOC_RISE,
    HIGHEST_OPEN_CIRCUIT_V,
    OPEN_CIRCUIT_V_PER_K,
    SURFACE_CHARGE_HOURS,
    SURFACE_CHARGE_SD_V,
    SURFACE_CHARGE_V,
)

Array = npt.NDArray[np.float64]

# BCI rest-voltage and gravity table at 26.7 °C (80 °F): open-circuit volts, specific gravity, percent charged.
REST_TABLE_C: Final = 26.7
REST_TABLE_V: Final = np.array([11.89, 12.06, 12.24, 12.45, 12.65])
REST_TABLE_SG: Final = np.array([1.120, 1.155, 1.190, 1.225, 1.265])
REST_TABLE_SOC: Final = np.array([0.0, 0.25, 0.5, 0.75, 1.0])
# Freezing point of the electrolyte, TM 5-4210-230-14&P-1 Table 2, °F at the gravities above.
FREEZING_TABLE_F: Final = np.array([15.0, 5.0, -15.0, -35.0, -75.0])
# Lowest volts under half the cold-cranking rating for 15 s, BCI Battery Service Manual as quoted in service manuals.
LOAD_TEST_F: Final = np.array([0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0])
LOAD_TEST_V: Final = np.array([8.5, 8.7, 8.9, 9.1, 9.3, 9.4, 9.5, 9.6])
# Gravity correction, TM 5-4210-230-14&P-1: 0.004 per 10 °F about 80 °F.
# Volts while cranking that are typical at -23 to -7 °C, TM 5-3895-382-24 Table 29: 6 to 8 V of 12, 12 to 16 V of 24.
TYPICAL_COLD_C: Final = -7.0
TYPICAL_COLD_SHARE: Final = 6.0 / 9.0  # of the least volts in the warm
COLDEST_PRINTED_C: Final = -17.8  # the load-test table's last row, 0 °F
ICE_FROM_SD: Final = 4.0  # so many errors above the freezing point no battery is frozen
# Cold-cranking tests: temperature, and volts that must remain at rated amps, by standard.
RATING_C: Final = -18.0
RATING_TEST_V: Final = {"SAE J537": 7.2, "EN 50342-1": 7.5}


def _array(values: npt.ArrayLike) -> Array:
    return np.asarray(values, dtype=np.float64)


def _interp(at: Array, table_x: Array, table_y: Array) -> Array:
    result: Array = np.interp(at, table_x, table_y)
    return result


def celsius_from_fahrenheit(temperature_f: npt.ArrayLike) -> Array:
    """Convert °F to °C."""
    return (_array(temperature_f) - 32.0) / 1.8


def fahrenheit_from_celsius(temperature_c: npt.ArrayLike) -> Array:
    """Convert °C to °F."""
    return _array(temperature_c) * 1.8 + 32.0


def least_cranking_v(warm_v: npt.ArrayLike, temperature_c: npt.ArrayLike) -> Array:
    """Least volts [V] of a battery while it cranks at a temperature [°C], given those of a warm day.

    In the cold two thirds of them, which TM 5-3895-382-24 calls typical at -7 °C and colder; a straight line between. As
    on a warm day where the temperature is NaN.
    """
    share = _interp(
        _array(temperature_c), np.array([TYPICAL_COLD_C, BATTERY_TABLES.warm_c]), np.array([TYPICAL_COLD_SHARE, 1.0])
    )
    return _array(warm_v) * np.where(np.isfinite(share), share, 1.0)


def _blocks(system_v: npt.ArrayLike) -> Array:
    volts = _array(system_v)
    if not np.isin(volts, (12.0, 24.0)).all():
        raise ValueError(f"system_v is {np.unique(volts).tolist()}; allowed are 12 and 24")
    return volts / 12.0


def load_test_minimum_v(temperature_c: npt.ArrayLike, *, system_v: npt.ArrayLike = 12) -> Array:
    """Lowest battery volts [V] in the load test (half the cold-cranking amps for 15 s) at a temperature [°C].

    Linear between the printed rows, constant above 70 °F and below 0 °F, where nothing is printed; 24 V is twice the
    12 V value (derived). NaN where the temperature is NaN.
    Source: BCI Battery Service Manual as quoted in service manuals.
    """
    return _interp(fahrenheit_from_celsius(temperature_c), LOAD_TEST_F, LOAD_TEST_V) * _blocks(system_v)


def state_of_charge(
    open_circuit_v: npt.ArrayLike,
    *,
    system_v: npt.ArrayLike = 12,
    temperature_c: npt.ArrayLike = REST_TABLE_C,
    agm: npt.ArrayLike = False,
) -> Array:
    """State of charge [0..1] from open-circuit volts [V] of a rested lead-acid battery at a temperature [°C].

    Linear between rows of the BCI table (26.7 °C), clamped at its ends; volts are first brought to 26.7 °C with
    1.2 mV/K a block, and an AGM battery's to those of a flooded one as charged. Meaningless within hours of charging: see :func:`open_circuit`.
    """
    block_v = _array(open_circuit_v) / _blocks(system_v) - _above_v(agm)
    at_table = block_v + OPEN_CIRCUIT_V_PER_K.value * (REST_TABLE_C - _array(temperature_c))
    return _interp(at_table, REST_TABLE_V, REST_TABLE_SOC)


def _above_v(agm: npt.ArrayLike) -> Array:
    """How much higher a battery rests than a flooded one as charged [V per 12 V]."""
    return np.where(agm, BATTERY_TABLES.agm_above_v, 0.0)


def charge_factor(soc: npt.ArrayLike) -> Array:
    """Battery resistance at a state of charge [0..1] as a multiple of that when full: 1 + 0.6 (1 - soc).

    Our choice (see BATTERY_SOC_RISE): linear, good to some 20 %; a discharged battery is to be charged, not judged.
    """
    return 1.0 + BATTERY_SOC_RISE.value * (1.0 - np.clip(_array(soc), 0.0, 1.0))


def full_charge_resistance_mohm(
    battery_mohm: npt.ArrayLike,
    open_circuit_v: npt.ArrayLike,
    *,
    system_v: npt.ArrayLike = 12,
    temperature_c: npt.ArrayLike = REST_TABLE_C,
    agm: npt.ArrayLike = False,
) -> tuple[Array, Array]:
    """Resistance [mΩ] the battery would have when full, and the relative error that this correction brings.

    The measured resistance is divided by :func:`charge_factor` at the state of charge that the rested volts show; the
    factor's rise is uncertain by a third of itself (our choice). NaN where the volts or the temperature are.
    """
    soc = state_of_charge(open_circuit_v, system_v=system_v, temperature_c=temperature_c, agm=agm)
    factor = charge_factor(soc)
    return _array(battery_mohm) / factor, (factor - 1.0) * BATTERY_TABLES.charge_factor_doubt / factor


def gravity_from_charge(soc: npt.ArrayLike) -> Array:
    """Specific gravity at 80 °F at a state of charge [0..1], linear between rows of the BCI table."""
    return _interp(_array(soc), REST_TABLE_SOC, REST_TABLE_SG)


def freezing_point_c(specific_gravity: npt.ArrayLike) -> Array:
    """Freezing point [°C] of the electrolyte at a gravity at 80 °F, linear between rows, clamped at the table's ends.

    Source: TM 5-4210-230-14&P-1 Table 2.
    """
    return celsius_from_fahrenheit(_interp(_array(specific_gravity), REST_TABLE_SG, FREEZING_TABLE_F))


def freezes_at_c(
    open_circuit_v: npt.ArrayLike,
    *,
    system_v: npt.ArrayLike = 12,
    temperature_c: npt.ArrayLike = REST_TABLE_C,
    agm: npt.ArrayLike = False,
) -> Array:
    """Temperature [°C] at which a battery of these rested volts [V] freezes; NaN where the volts are not known."""
    soc = state_of_charge(open_circuit_v, system_v=system_v, temperature_c=temperature_c, agm=agm)
    return freezing_point_c(gravity_from_charge(soc))


def ice(
    open_circuit_v: npt.ArrayLike,
    se_v: npt.ArrayLike,
    temperature_c: npt.ArrayLike,
    *,
    system_v: npt.ArrayLike = 12,
    agm: npt.ArrayLike = False,
) -> tuple[Array, Array]:
    """Log of how many times its own resistance a battery shows at a temperature [°C] for the ice in it, and its standard error.

    The volts [V], known to `se_v`, leave open where it freezes, and so whether it is frozen; frozen it shows `frozen_times` its
    resistance, give or take. Nothing above the freezing point of an empty one and where volts or temperature are not known.
    """
    known = np.broadcast_arrays(*(_array(v) for v in (open_circuit_v, se_v, temperature_c, system_v, agm)))
    log, error = np.zeros(known[0].shape), np.zeros(known[0].shape)
    warmest = float(freezing_point_c(REST_TABLE_SG[0])) + ICE_FROM_SD * BATTERY_TABLES.freezing_sd_k
    cold = np.isfinite(known[0]) & (known[2] < warmest)
    if not cold.any():  # most workshops' readings
        return log, error
    volts, se, at, system, gel = (v[cold] for v in known)
    point, low, high = (
        freezes_at_c(volts + step * se, system_v=system, temperature_c=at, agm=gel > 0) for step in (0.0, -1.0, 1.0)
    )
    frozen = scipy.special.ndtr((point - at) / np.hypot(BATTERY_TABLES.freezing_sd_k, 0.5 * (low - high)))
    step = np.log(BATTERY_TABLES.frozen_times)
    log[cold] = frozen * step
    error[cold] = np.sqrt(frozen * (BATTERY_TABLES.frozen_log_sd**2 + step**2) - log[cold] ** 2)
    return log, error


def rating_resistance_mohm(rated_a: npt.ArrayLike, *, standard: str = "SAE J537") -> Array:
    """Largest apparent resistance [mΩ] at -18 °C that a 12 V block with this cold-cranking rating [A] may have.

    (12.6 V - test volts) / rated amps: 7.2 V by SAE J537, 7.5 V by EN 50342-1. Ratings are not converted.

    :raises ValueError: an unknown standard, or amps that are not above zero
    """
    if standard not in RATING_TEST_V:
        raise ValueError(f"standard is {standard!r}; allowed are {', '.join(RATING_TEST_V)}")
    amps = _array(rated_a)
    if (amps <= 0).any():
        raise ValueError(f"rated_a is {amps.min():g} A; it must be above 0 A")
    return (BATTERY_TABLES.rating_open_circuit_v - RATING_TEST_V[standard]) / amps * 1000.0


def held_at_half_rating_v(
    open_v: npt.ArrayLike, low_v: npt.ArrayLike, amps: npt.ArrayLike, rated_cca_a: npt.ArrayLike
) -> Array:
    """Volts that a battery would hold at half its cold-cranking amps, by the resistance that its fall over its amps [A] is; 0 for one
    that cannot give so many."""
    held = _array(open_v) - (_array(open_v) - _array(low_v)) / _array(amps) * 0.5 * _array(rated_cca_a)
    return np.maximum(held, 0.0)


def bank_cca_a(units: pd.DataFrame) -> Array:
    """Cold-cranking amps [A] of all batteries beside each other: the label's, times the strings in parallel.

    Columns rated_cca_a, system_v, and where known batteries and in_parallel; NaN where the label's amps are not known. More
    batteries than make the system's volts stand beside each other unless `in_parallel` is "no".
    """
    label, volts, count = (
        pd.to_numeric(units[n]).to_numpy(np.float64) if n in units else np.full(len(units), np.nan)
        for n in ("rated_cca_a", "system_v", "batteries")
    )
    strings = np.fmax(1.0, count / (volts / 12.0))
    alone = (units["in_parallel"] == "no").to_numpy() if "in_parallel" in units else np.zeros(len(units), np.bool_)
    return label * np.where(alone, 1.0, strings)


def open_circuit(
    rest_v: npt.ArrayLike,
    *,
    system_v: npt.ArrayLike = 12,
    hours_rested: npt.ArrayLike | None = None,
    agm: npt.ArrayLike = False,
) -> tuple[Array, Array]:
    """True open-circuit volts [V] and their standard error from surface charge [V], given rest volts [V].

    "Surface charge" in NUMBERS.md: a rested AGM battery shows `agm_above_v` more than any other. The meter's own error is not in it.
    """
    blocks = _blocks(system_v)
    block_v = _array(rest_v) / blocks
    above = np.maximum(block_v - _above_v(agm) - HIGHEST_OPEN_CIRCUIT_V.value, 0.0)
    charge = np.zeros_like(block_v)
    error = np.full_like(block_v, SURFACE_CHARGE_SD_V.value)
    if hours_rested is not None:
        hours = _array(hours_rested)
        known = SURFACE_CHARGE_V.value * np.exp(-hours / SURFACE_CHARGE_HOURS.value)
        charge = np.where(np.isfinite(known), known, charge)
        error = np.where(np.isfinite(known), 0.5 * known, error)
    charge = np.maximum(charge, above)
    return (block_v - charge) * blocks, (error + 0.5 * above) * blocks
