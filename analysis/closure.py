"""Does a reading agree with itself and with what is expected of the unit, and if not, which measurement is wrong?

Seven measurements of a start and a state with its uncertainty over-determine the loop. The sum of squared residuals,
each weighed by instrument and state error, follows chi-squared when all is well. Leaving one measurement out at a time
shows whose absence repairs the rest: either that instrument was wrong, or that part has changed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from analysis.circuit import DROPS, MOHM_PER_OHM, Instrument, measured_column
from analysis.coldstart import StartState, solve_start
from analysis.load import RPM_SHARE
from analysis.temperature import copper_factor

Array = npt.NDArray[np.float64]

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
CLOSES_AT: Final = 0.001  # our choice: chance of a sound reading being called not closing
STEP: Final = 1e-4  # relative step of the numerical derivatives


@dataclass(frozen=True)
class StateSpread:
    """Relative standard errors of what is expected, one for each kind of part (our choice of defaults).

    Volts are relative too: 0.006 of 12.6 V is 0.08 V.
    """

    open_circuit: float = 0.006
    battery: float = 0.15
    cables: float = 0.25
    motor: float = 0.10
    load: float = 0.10
    emf: float = 0.08
    control: float = 0.15

    def of(self, name: str) -> float:
        """The relative error of one field of the state."""
        kinds = {
            "open_circuit_v": self.open_circuit, "battery_mohm": self.battery, "motor_mohm": self.motor,
            "load_a": self.load, "emf_v_per_rpm": self.emf, "control_mohm": self.control, "coil_mohm": self.control,
        }  # fmt: skip
        return kinds.get(name, self.cables)


def predicted_measurements(state: StartState, temperature_c: npt.ArrayLike) -> Array:
    """What the instruments should show, shape (..., 10) in the order of MEASURED, for a state at temperatures [°C]."""
    start = solve_start(state, temperature_c)
    copper = copper_factor(temperature_c)
    coil_a = start.battery_v / (state.coil_mohm * copper + state.control_mohm) * MOHM_PER_OHM
    columns = (
        start.open_circuit_v,
        start.battery_v,
        start.amps,
        start.stall_a,
        start.amps * state.positive_mohm * copper / MOHM_PER_OHM,
        start.amps * state.ground_mohm * copper / MOHM_PER_OHM,
        start.amps * state.contacts_mohm / MOHM_PER_OHM,
        coil_a * state.control_mohm / MOHM_PER_OHM,
        coil_a,
        start.speed_rpm,
    )
    return np.stack(np.broadcast_arrays(*columns), axis=-1).astype(np.float64)


def measurement_errors(measured: Array, blocks: Array, instrument: Instrument) -> Array:
    """Standard error of each measurement, shape (n, 10), from the instruments' errors at the measured value."""
    v = {name: measured[:, i] for i, name in enumerate(MEASURED)}
    drop = {name: np.hypot(instrument.drop_v, instrument.drop_share * v[name]) for name in DROPS}
    columns = {
        "rest_v": instrument.battery_v * blocks,
        "crank_min_v": instrument.crank_v * blocks,
        "crank_a": np.hypot(instrument.amps_a, instrument.amps_share * v["crank_a"]),
        "peak_a": np.hypot(instrument.amps_a, instrument.peak_share * v["peak_a"]),
        **drop,
        "drop_control_v": np.hypot(instrument.control_v, instrument.drop_share * v["drop_control_v"]),
        "coil_a": instrument.coil_share * v["coil_a"],
        "crank_rpm": RPM_SHARE * v["crank_rpm"],
    }
    return np.stack([columns[name] for name in MEASURED], axis=-1)


def _slopes(state: StartState, temperature_c: Array, expected: Array) -> Array:
    """Derivative of each measurement by the log of each field of the state, shape (n, 10, fields)."""
    columns = []
    for name in STATE_FIELDS:
        stepped = replace(state, **{name: getattr(state, name) * (1.0 + STEP)})
        columns.append((predicted_measurements(stepped, temperature_c) - expected) / STEP)
    return np.stack(columns, axis=-1)


def check_closure(
    readings: pd.DataFrame,
    expected: StartState,
    system_v: npt.ArrayLike,
    *,
    spread: StateSpread | None = None,
    instrument: Instrument | None = None,
) -> pd.DataFrame:
    """Test each reading against Kirchhoff's laws and the state expected of its unit.

    :param readings: measurements and temperature_c, shape (n rows); missing measurements are left out
    :param expected: state of each reading's unit, fields scalar or shape (n,)
    :param spread: relative standard errors of that state
    :returns: `chi2`, `dof` (measurements used), `p_value`, `closes`, `suspect` (the measurement whose absence repairs
        most, "" if the reading closes), `suspect_z` (its distance from what the others predict, in standard errors),
        `repaired` (True where the rest closes without it; False means that more than one is wrong)
    """
    rows = len(readings)
    blocks = np.broadcast_to(np.asarray(system_v, dtype=np.float64) / 12.0, (rows,))
    temperature = readings["temperature_c"].to_numpy(dtype=np.float64, na_value=np.nan)
    measured = np.stack([measured_column(readings, name) for name in MEASURED], axis=-1)
    middle = np.broadcast_to(predicted_measurements(expected, temperature), measured.shape)
    slope = np.broadcast_to(_slopes(expected, temperature, middle), (*measured.shape, len(STATE_FIELDS)))
    share = np.array([(spread or StateSpread()).of(name) for name in STATE_FIELDS])
    error = measurement_errors(middle, blocks, instrument or Instrument())
    residual = measured - middle
    used = np.isfinite(residual) & np.isfinite(error)
    covariance = np.einsum("nik,k,njk->nij", np.nan_to_num(slope), share**2, np.nan_to_num(slope))
    pair = used[:, :, None] & used[:, None, :]
    covariance = np.where(pair, covariance, 0.0)
    diagonal = np.arange(len(MEASURED))
    covariance[:, diagonal, diagonal] += np.where(used, error**2, 1.0)
    return _test(np.where(used, residual, 0.0), covariance, used, readings.index)


def _test(residual: Array, covariance: Array, used: npt.NDArray[np.bool_], index: pd.Index[int]) -> pd.DataFrame:
    """Chi-squared, and its fall when each measurement is left out: (S⁻¹r)_i² / (S⁻¹)_ii."""
    inverse = np.linalg.inv(covariance)
    pulled = np.einsum("nij,nj->ni", inverse, residual)
    own = np.einsum("nii->ni", inverse)
    chi2 = (residual * pulled).sum(axis=1)
    fall = np.where(used, pulled**2 / own, 0.0)
    worst = fall.argmax(axis=1)
    place = np.arange(len(chi2)), worst
    dof = used.sum(axis=1)
    p_value = stats.chi2.sf(chi2, np.maximum(dof, 1))
    closes = p_value >= CLOSES_AT
    rest_p = stats.chi2.sf(chi2 - fall[place], np.maximum(dof - 1, 1))
    names = np.array(MEASURED, dtype=object)[worst]
    return pd.DataFrame(
        {
            "chi2": chi2,
            "dof": dof,
            "p_value": p_value,
            "closes": closes,
            "suspect": np.where(closes, "", names),
            "suspect_z": np.where(closes, np.nan, pulled[place] / np.sqrt(own[place])),
            "repaired": ~closes & (rest_p >= CLOSES_AT),
        },
        index=index,
    )
