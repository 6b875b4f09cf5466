"""From measured volts and amps to the resistance of every part of the starting circuit, with errors ("From measured to
inferred" in NUMBERS.md)."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.circuit.battery import open_circuit
from analysis.circuit.choices import INSTRUMENT
from analysis.circuit.limits import BRUSH_SD_V, BRUSH_V, FEWEST_COIL_A, FEWEST_CRANK_A

Array = npt.NDArray[np.float64]
Texts = npt.NDArray[np.object_]

ELEMENTS: Final = (
    "battery",
    "positive_cable",
    "ground_path",
    "solenoid_contacts",
    "motor_lumped",
    "motor_winding",
    "control_circuit",
    "coil",
)
MEASURED: Final = (
    "rest_v",
    "crank_min_v",
    "crank_a",
    "peak_a",
    "drop_positive_v",
    "drop_ground_v",
    "drop_contacts_v",
    "drop_control_v",
    "coil_a",
    "crank_rpm",
)
FEWEST_A: Final = {"crank_a": FEWEST_CRANK_A.value, "peak_a": FEWEST_CRANK_A.value, "coil_a": FEWEST_COIL_A.value}
DROPS: Final = ("drop_positive_v", "drop_ground_v", "drop_contacts_v")
MOHM_PER_OHM: Final = 1000.0


@dataclass(frozen=True)
class Inferred:
    """Resistances at the temperature of the reading, shape (n, 8) in the order of ELEMENTS.

    `reason` is "" where a value is identified, else the key of why not; `assumed` names the measurements that were missing
    and filled with a typical value of larger error, comma-joined.
    """

    value_mohm: Array
    se_mohm: Array
    reason: Texts
    assumed: Texts


@dataclass(frozen=True)
class _Inputs:
    """Every source's value and standard error, shape (n,), and which were filled in."""

    value: dict[str, Array]
    se: dict[str, Array]
    filled: dict[str, npt.NDArray[np.bool_]]


def measured_column(readings: pd.DataFrame, name: str) -> Array:
    """One column as floats, NaN for missing values and for a missing column."""
    if name not in readings:
        return np.full(len(readings), np.nan)
    return readings[name].to_numpy(dtype=np.float64, na_value=np.nan)


def measured_values(readings: pd.DataFrame, blocks: Array) -> tuple[dict[str, Array], Array]:
    """Every measurement, surface charge taken off the rest volts, and the error that this leaves [V]; by a column `agm`, 1 where the
    battery is one, or it is taken for none."""
    value = {name: measured_column(readings, name) for name in MEASURED}
    hours = measured_column(readings, "hours_rested")
    agm = measured_column(readings, "agm") == 1.0
    value["rest_v"], charge_se = open_circuit(value["rest_v"], system_v=blocks * 12.0, hours_rested=hours, agm=agm)
    return value, charge_se


def measurement_errors(value: Mapping[str, Array], blocks: Array, charge_se_v: Array) -> dict[str, Array]:
    """Standard error of every measurement, from the instruments' errors at its value; charge_se_v: of the rest volts beside."""
    return {
        "rest_v": np.hypot(INSTRUMENT.battery_v * blocks, charge_se_v),
        "crank_min_v": INSTRUMENT.crank_v * blocks,
        "crank_a": np.hypot(INSTRUMENT.amps_a, INSTRUMENT.amps_share * value["crank_a"]),
        "peak_a": np.hypot(INSTRUMENT.amps_a, INSTRUMENT.peak_share * value["peak_a"]),
        **{name: np.hypot(INSTRUMENT.drop_v, INSTRUMENT.drop_share * value[name]) for name in DROPS},
        "drop_control_v": np.hypot(INSTRUMENT.control_v, INSTRUMENT.drop_share * value["drop_control_v"]),
        "coil_a": INSTRUMENT.coil_share * value["coil_a"],
        "crank_rpm": INSTRUMENT.rpm_share * value["crank_rpm"],
    }


def _fill(value: Array, se: Array, typical: Array, typical_se: Array) -> tuple[Array, Array, npt.NDArray[np.bool_]]:
    missing = ~np.isfinite(value)
    usable = missing & np.isfinite(typical)
    return np.where(usable, typical, value), np.where(usable, typical_se, se), usable


def _gather(
    readings: pd.DataFrame, blocks: Array, typical_crank_a: Array, typical_crank_rel_sd: float, typical_rest_v: Array
) -> _Inputs:
    """Measured values with their instrument errors; missing ones filled where a typical value is known."""
    value, charge_se = measured_values(readings, blocks)
    for amps, fewest in FEWEST_A.items():
        value[amps] = np.where(value[amps] >= fewest, value[amps], np.nan)
    sag = value["rest_v"] - value["crank_min_v"]
    still = np.isfinite(measured_column(readings, "crank_a")) & (sag < INSTRUMENT.still_sag_v * blocks)
    se = measurement_errors(value, blocks, charge_se)
    filled: dict[str, npt.NDArray[np.bool_]] = {}
    typical = {
        "crank_a": (np.where(still, np.nan, typical_crank_a), typical_crank_rel_sd * typical_crank_a),
        "rest_v": (typical_rest_v, INSTRUMENT.assumed_rest_v * blocks),
    }
    for name, (middle, sd) in typical.items():
        value[name], se[name], filled[name] = _fill(value[name], se[name], middle, sd)
    value["brush_v"] = np.full(len(readings), BRUSH_V.value)
    se["brush_v"] = np.full(len(readings), BRUSH_SD_V.value)
    value["aid_a"] = np.nan_to_num(measured_column(readings, "aid_a"))
    return _Inputs(value, se, filled)


def _assume_drops(inputs: _Inputs, blocks: Array) -> _Inputs:
    """The same inputs with missing drops set to a typical one of large error, for the motor only."""
    value, se, filled = dict(inputs.value), dict(inputs.se), dict(inputs.filled)
    for name in DROPS:
        typical, sd = INSTRUMENT.assumed_drop_v * blocks, INSTRUMENT.assumed_drop_sd_v * blocks
        value[name], se[name], filled[name] = _fill(value[name], se[name], typical, sd)
    return _Inputs(value, se, filled)


def _elements(v: dict[str, Array], m: dict[str, Array]) -> tuple[dict[str, Array], dict[tuple[str, str], Array]]:
    """Resistances [Ω] and their derivatives by source. `v` as measured, `m` with assumed drops for the motor."""
    amps, peak, coil = v["crank_a"], v["peak_a"], v["coil_a"]
    given = amps + v["aid_a"]  # all that the battery gives
    at_stall = 1.0 + v["aid_a"] / peak  # the same, as a multiple of the starter's
    fall = v["rest_v"] - v["crank_min_v"]
    lost = m["drop_positive_v"] + m["drop_ground_v"] + m["drop_contacts_v"]
    motor_v = v["crank_min_v"] - lost
    stall_v = v["rest_v"] - v["brush_v"]
    coil_v = v["crank_min_v"] - v["drop_control_v"]
    value = {
        "battery": fall / given,
        "positive_cable": v["drop_positive_v"] / amps,
        "ground_path": v["drop_ground_v"] / amps,
        "solenoid_contacts": v["drop_contacts_v"] / amps,
        "motor_lumped": motor_v / amps,
        "motor_winding": stall_v / peak - at_stall * fall / given - lost / amps,
        "control_circuit": v["drop_control_v"] / coil,
        "coil": coil_v / coil,
    }
    slope = {
        ("battery", "rest_v"): 1 / given,
        ("battery", "crank_min_v"): -1 / given,
        ("battery", "crank_a"): -fall / given**2,
        ("positive_cable", "drop_positive_v"): 1 / amps,
        ("positive_cable", "crank_a"): -v["drop_positive_v"] / amps**2,
        ("ground_path", "drop_ground_v"): 1 / amps,
        ("ground_path", "crank_a"): -v["drop_ground_v"] / amps**2,
        ("solenoid_contacts", "drop_contacts_v"): 1 / amps,
        ("solenoid_contacts", "crank_a"): -v["drop_contacts_v"] / amps**2,
        ("motor_lumped", "crank_min_v"): 1 / amps,
        ("motor_lumped", "crank_a"): -motor_v / amps**2,
        ("motor_winding", "rest_v"): 1 / peak - at_stall / given,
        ("motor_winding", "brush_v"): -1 / peak,
        ("motor_winding", "peak_a"): (v["aid_a"] * fall / given - stall_v) / peak**2,
        ("motor_winding", "crank_min_v"): at_stall / given,
        ("motor_winding", "crank_a"): at_stall * fall / given**2 + lost / amps**2,
        ("control_circuit", "drop_control_v"): 1 / coil,
        ("control_circuit", "coil_a"): -v["drop_control_v"] / coil**2,
        ("coil", "crank_min_v"): 1 / coil,
        ("coil", "drop_control_v"): -1 / coil,
        ("coil", "coil_a"): -coil_v / coil**2,
    }
    for drop in DROPS:
        slope["motor_lumped", drop] = -1 / amps
        slope["motor_winding", drop] = -1 / amps
    return value, slope


_RESTED_ON: Final = (
    *("rest_v", "crank_min_v", "crank_a", "peak_a", "drop_positive_v", "drop_ground_v", "drop_contacts_v"),
    *("drop_control_v", "coil_a"),
)
WITHOUT: Final = {name: f"no_{name}" for name in _RESTED_ON}
"""Measurement -> key of why what needs it has no value where it is missing."""
BELOW_ZERO: Final = "below_zero"
"""Volts contradict each other."""
_NEEDS: Final[dict[str, tuple[str, ...]]] = {
    "battery": ("crank_min_v", "rest_v", "crank_a"),
    "positive_cable": ("drop_positive_v", "crank_a"),
    "ground_path": ("drop_ground_v", "crank_a"),
    "solenoid_contacts": ("drop_contacts_v", "crank_a"),
    "motor_lumped": ("crank_min_v", "crank_a"),
    "motor_winding": ("peak_a", "crank_min_v", "rest_v", "crank_a"),
    "control_circuit": ("drop_control_v", "coil_a"),
    "coil": ("drop_control_v", "coil_a", "crank_min_v"),
}


def _reasons(inputs: _Inputs, value: dict[str, Array]) -> Texts:
    """A key for every element that the measurements do not identify."""
    rows = len(inputs.value["crank_a"])
    reason = np.full((rows, len(ELEMENTS)), "", dtype=object)
    for i, element in enumerate(ELEMENTS):
        for source in _NEEDS[element]:
            missing = ~np.isfinite(inputs.value[source]) & (reason[:, i] == "")
            reason[missing, i] = WITHOUT[source]
        impossible = (
            (reason[:, i] == "") & ~(value[element] >= 0) & np.isin(element, ("battery", "motor_lumped", "coil"))
        )
        reason[impossible, i] = BELOW_ZERO
    return reason


def infer_resistances(
    readings: pd.DataFrame,
    system_v: npt.ArrayLike,
    *,
    typical_crank_a: npt.ArrayLike = np.nan,
    typical_crank_rel_sd: float = INSTRUMENT.assumed_amps_share,
    typical_rest_v: npt.ArrayLike = np.nan,
) -> Inferred:
    """Infer the resistance of every element that each reading identifies, with its standard error.

    :param readings: columns rest_v, crank_min_v, crank_a, peak_a, drop_*_v [V, A], coil_a; any may be missing;
        `hours_rested` [h] if known; `aid_a` [A] of glow plugs or an intake heater, which the clamp does not see
    :param system_v: 12 or 24, one number or one per reading [V]
    :param typical_crank_a: class's median amps at this temperature [A], used where crank_a is missing; NaN for none
    :param typical_crank_rel_sd: relative error of that
    :param typical_rest_v: class's median rest volts, used where rest_v is missing; NaN for none
    :returns: values [mΩ] at the temperature of the reading. Small negative drops are kept, because cutting them would
        bias the mean of a good cable upward.
    :raises ValueError: system_v other than 12 or 24

    The battery's value contains polarisation over the seconds of cranking; surface charge enters its error.
    A discharged battery looks resistive: see :func:`analysis.circuit.battery.charge_factor`.
    """
    rows = len(readings)
    blocks = np.broadcast_to(np.asarray(system_v, dtype=np.float64) / 12.0, (rows,))
    typical_a = np.broadcast_to(np.asarray(typical_crank_a, dtype=np.float64), (rows,))
    typical_v = np.broadcast_to(np.asarray(typical_rest_v, dtype=np.float64), (rows,))
    inputs = _gather(readings, blocks, typical_a, typical_crank_rel_sd, typical_v)
    motor = _assume_drops(inputs, blocks)
    value, slope = _elements(inputs.value, motor.value)
    reason = _reasons(inputs, value)
    known = reason == ""
    stacked = np.where(known, np.column_stack([value[e] for e in ELEMENTS]) * MOHM_PER_OHM, np.nan)
    spread = {
        (e, s): d * (motor.se[s] if e.startswith("motor") else inputs.se[s]) * MOHM_PER_OHM
        for (e, s), d in slope.items()
    }
    variance = np.column_stack([sum((spread[k] ** 2 for k in spread if k[0] == e), np.zeros(rows)) for e in ELEMENTS])
    return Inferred(stacked, np.where(known, np.sqrt(variance), np.nan), reason, _assumed(motor))


def _assumed(motor: _Inputs) -> Texts:
    """Names of the measurements that were missing and filled, comma-joined."""
    names = ("rest_v", "crank_a", *DROPS)
    code = sum((motor.filled[name].astype(np.int64) << i for i, name in enumerate(names)), np.int64(0))
    texts = np.array(
        [",".join(n for i, n in enumerate(names) if pattern >> i & 1) for pattern in range(1 << len(names))],
        dtype=object,
    )
    result: Texts = texts[code]
    return result
