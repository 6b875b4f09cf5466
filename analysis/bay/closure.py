"""Does a reading agree with itself and with what is expected of the vehicle, and if not, which measurement is wrong?

Ten measurements of a start and a state with its uncertainty over-determine the loop. The sum of squared residuals,
each weighed by instrument and state error, follows chi-squared when all is well. Leaving one measurement out at a time
shows whose absence repairs the rest: either that instrument was wrong, or that part has changed. Electrical values
alone cannot tell the two apart; measuring again can.
"""

from __future__ import annotations

from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
import scipy

from analysis.bay.choices import EXPECTING
from analysis.circuit.resistances import MEASURED, MOHM_PER_OHM, measured_values, measurement_errors
from analysis.circuit.temperature import copper_factor
from analysis.starting.loop import StartState, open_circuit_v_at, solve_start

Array = npt.NDArray[np.float64]

STATE_FIELDS: Final = (
    "open_circuit_v",
    "battery_mohm",
    "positive_mohm",
    "ground_mohm",
    "contacts_mohm",
    "motor_mohm",
    "load_a",
    "emf_v_per_rpm",
    "control_mohm",
    "coil_mohm",
)
MOVED_BY: Final = {  # measurement -> the field of the state that has changed where the measurement is right
    "rest_v": "open_circuit_v", "crank_min_v": "battery_mohm", "crank_a": "load_a", "peak_a": "motor_mohm",
    "drop_positive_v": "positive_mohm", "drop_ground_v": "ground_mohm", "drop_contacts_v": "contacts_mohm",
    "drop_control_v": "control_mohm", "coil_a": "coil_mohm", "crank_rpm": "emf_v_per_rpm",
}  # fmt: skip
STEP: Final = 1e-4  # relative step of the numerical derivatives


Spread = float | Array


@dataclass(frozen=True)
class StateSpread:
    """Relative standard errors of what is expected, in the order of STATE_FIELDS.

    Numbers, or arrays with one value per reading, for what is known of each vehicle. Volts are relative too: 0.006 of
    12.6 V is 0.08 V.
    """

    open_circuit: Spread
    battery: Spread
    positive: Spread
    ground: Spread
    contacts: Spread
    motor: Spread
    load: Spread
    emf: Spread
    control: Spread
    coil: Spread


@dataclass(frozen=True)
class Inrush:
    """How far the measured peak is from the stall that the loop's resistance gives.

    The peak is `share` (E - V_brush) / (ΣR - (1 - battery_share) R_battery): inductance keeps it under the stall, and a
    battery polarises within the second, so that part of its steady resistance is not there yet. (1, 1) is the stall.
    """

    share: float = 1.0
    battery_share: float = 1.0


STALL: Final = Inrush()


def predicted_measurements(state: StartState, temperature_c: npt.ArrayLike, *, inrush: Inrush = STALL) -> Array:
    """What the instruments should show, shape (..., 10) in the order of MEASURED, for a state at temperatures [°C]."""
    start = solve_start(state, temperature_c)
    early = replace(state, battery_mohm=state.battery_mohm * inrush.battery_share)  # the battery that the inrush sees
    copper = copper_factor(temperature_c)
    coil_a = start.battery_v / (state.coil_mohm * copper + state.control_mohm) * MOHM_PER_OHM
    columns = (
        open_circuit_v_at(state, np.asarray(temperature_c)),
        start.battery_v,
        start.amps,
        inrush.share * solve_start(early, temperature_c).stall_a,
        start.amps * state.positive_mohm * copper / MOHM_PER_OHM,
        start.amps * state.ground_mohm * copper / MOHM_PER_OHM,
        start.amps * state.contacts_mohm / MOHM_PER_OHM,
        coil_a * state.control_mohm / MOHM_PER_OHM,
        coil_a,
        start.speed_rpm,
    )
    return np.stack(np.broadcast_arrays(*columns), axis=-1).astype(np.float64)


def _slopes(state: StartState, temperature_c: Array, expected: Array, inrush: Inrush) -> Array:
    """Derivative of each measurement by the log of each field of the state, shape (n, 10, fields)."""
    columns = []
    for name in STATE_FIELDS:
        stepped = replace(state, **{name: getattr(state, name) * (1.0 + STEP)})
        columns.append((predicted_measurements(stepped, temperature_c, inrush=inrush) - expected) / STEP)
    return np.stack(columns, axis=-1)


def check_closure(
    readings: pd.DataFrame,
    expected: StartState,
    system_v: npt.ArrayLike,
    *,
    spread: StateSpread,
    inrush: Inrush = STALL,
    temperature_sd_k: npt.ArrayLike = 0.0,
    confirmed: AbstractSet[str] = frozenset(),
) -> pd.DataFrame:
    """Test each reading against Kirchhoff's laws and the state expected of its unit.

    :param readings: measurements and temperature_c, shape (n rows); missing measurements are left out
    :param expected: state of each reading's unit, fields scalar or shape (n,)
    :param spread: relative standard errors of that state, scalar or shape (n,)
    :param inrush: how far the peak is from the stall
    :param temperature_sd_k: how far the parts may be from the temperature given [K], scalar or shape (n,)
    :param confirmed: measurements that were taken twice and count as right: the part that each of them tells of may have
        changed by as much as they ask for, and they are never the suspect
    :returns: `chi2`, `dof` (measurements used), `p_value`, `closes`, `suspect` (the measurement whose absence repairs
        most, "" if the reading closes), `suspect_z` (its distance from what the others and the state make it, in
        standard errors), `suspect_off` (the same in its own unit), `suspect_expected`, `suspect_se` (what they make it
        and the standard error of that, meter's own included), `repaired` (True where the rest closes without it; False
        means that more than one is wrong), `also` (other measurements whose absence alone would repair it too,
        comma-joined)
    """
    found = departures(
        readings,
        expected,
        system_v,
        spread=spread,
        inrush=inrush,
        temperature_sd_k=temperature_sd_k,
        confirmed=confirmed,
    )
    blamed = found.used & ~np.isin(MEASURED, list(confirmed))
    return _test(found, blamed, readings.index).assign(
        suspect_expected=lambda tested: _suspected(found.measured, tested) - tested["suspect_off"]
    )


@dataclass(frozen=True)
class Departures:
    """Readings against what is expected: measured (n, 10) with surface charge taken off, residual (n, 10) (0 where there
    is none), its covariance (n, 10, 10) (1 on the diagonal there), which are `used` (n, 10), and the slope of each by the
    log of each field of the state (n, 10, fields)."""

    measured: Array
    residual: Array
    covariance: Array
    used: npt.NDArray[np.bool_]
    slope: Array


def departures(
    readings: pd.DataFrame,
    expected: StartState,
    system_v: npt.ArrayLike,
    *,
    spread: StateSpread,
    inrush: Inrush = STALL,
    temperature_sd_k: npt.ArrayLike = 0.0,
    confirmed: AbstractSet[str] = frozenset(),
) -> Departures:
    """How far readings are from what is expected of their units, and how far they may be; see `check_closure`."""
    rows = len(readings)
    blocks = np.broadcast_to(np.asarray(system_v, dtype=np.float64) / 12.0, (rows,))
    temperature = readings["temperature_c"].to_numpy(dtype=np.float64, na_value=np.nan)
    value, charge_se = measured_values(readings, blocks)
    measured = np.stack([value[name] for name in MEASURED], axis=-1)
    middle = np.broadcast_to(predicted_measurements(expected, temperature, inrush=inrush), measured.shape)
    slope = np.broadcast_to(_slopes(expected, temperature, middle, inrush), (*measured.shape, len(STATE_FIELDS)))
    share = np.stack([np.broadcast_to(value, (rows,)) for value in vars(spread).values()], axis=-1)
    by_name = measurement_errors(dict(zip(MEASURED, middle.T, strict=True)), blocks, charge_se)
    error = np.stack([by_name[name] for name in MEASURED], axis=-1)
    residual = measured - middle
    # no speed is held against that of an engine which is expected to stand
    used = np.isfinite(residual) & np.isfinite(error) & (error > 0.0)
    slope = np.where(used[:, :, None], np.nan_to_num(slope), 0.0)
    share = _widened(share, residual, slope, used, confirmed)
    covariance = np.einsum("nik,nk,njk->nij", slope, share**2, slope)
    warmer = np.nan_to_num(predicted_measurements(expected, temperature + 1.0, inrush=inrush) - middle)
    by_kelvin = warmer * np.broadcast_to(np.asarray(temperature_sd_k, dtype=np.float64), (rows,))[:, None]
    covariance += by_kelvin[:, :, None] * by_kelvin[:, None, :]
    pair = used[:, :, None] & used[:, None, :]
    covariance = np.where(pair, covariance, 0.0)
    diagonal = np.arange(len(MEASURED))
    covariance[:, diagonal, diagonal] += np.where(used, error**2, 1.0)
    return Departures(measured, np.where(used, residual, 0.0), covariance, used, slope)


def _widened(
    share: Array, residual: Array, slope: Array, used: npt.NDArray[np.bool_], confirmed: AbstractSet[str]
) -> Array:
    """Relative errors of the state (n, fields), as wide as the measurements that count as right ask for."""
    wide = share.copy()
    for name in confirmed & MOVED_BY.keys():
        i, k = MEASURED.index(name), STATE_FIELDS.index(MOVED_BY[name])
        own = np.where(used[:, i] & (slope[:, i, k] != 0.0), slope[:, i, k], np.inf)
        wide[:, k] = np.hypot(wide[:, k], np.where(used[:, i], residual[:, i], 0.0) / own)
    return wide


def _suspected(measured: Array, found: pd.DataFrame) -> Array:
    """The value of each reading's suspect, surface charge taken off; NaN where there is none."""
    place = [MEASURED.index(name) if name else 0 for name in found["suspect"]]
    values: Array = measured[np.arange(len(found)), place]
    return np.where((found["suspect"] == "").to_numpy(), np.nan, values)


def _test(found: Departures, blamed: npt.NDArray[np.bool_], index: pd.Index[int]) -> pd.DataFrame:
    """Chi-squared, and its fall when each measurement that may be `blamed` is left out: (S⁻¹r)_i² / (S⁻¹)_ii."""
    residual, used = found.residual, found.used
    inverse = np.linalg.inv(found.covariance)
    pulled = np.einsum("nij,nj->ni", inverse, residual)
    own = np.einsum("nii->ni", inverse)
    chi2 = (residual * pulled).sum(axis=1)
    fall = np.where(blamed, pulled**2 / own, 0.0)
    worst = fall.argmax(axis=1)
    place = np.arange(len(chi2)), worst
    dof = used.sum(axis=1)
    p_value = scipy.special.chdtrc(np.maximum(dof, 1), chi2)
    closes = p_value >= EXPECTING.closes_at
    rest_p = scipy.special.chdtrc(np.maximum(dof - 1, 1)[:, None], chi2[:, None] - fall)
    repairs = blamed & (rest_p >= EXPECTING.closes_at)
    return pd.DataFrame(
        {
            "chi2": chi2,
            "dof": dof,
            "p_value": p_value,
            "closes": closes,
            "suspect": np.where(closes, "", np.array(MEASURED, dtype=object)[worst]),
            "suspect_z": np.where(closes, np.nan, pulled[place] / np.sqrt(own[place])),
            "suspect_off": np.where(closes, np.nan, pulled[place] / own[place]),
            "suspect_se": np.where(closes, np.nan, 1.0 / np.sqrt(own[place])),
            "repaired": ~closes & repairs[place],
            "also": [
                _others(r, f, w) if bad else "" for r, f, w, bad in zip(repairs, fall, worst, ~closes, strict=True)
            ],
        },
        index=index,
    )


def _others(repairs: npt.NDArray[np.bool_], fall: Array, worst: int) -> str:
    """Measurements other than the worst that repair a reading too, the likelier first."""
    order = [int(i) for i in np.argsort(-fall) if repairs[i] and i != worst]
    return ",".join(MEASURED[i] for i in order)
