"""Back-emf, motor constant and cranking torque: what tells a weak starter field (a lower constant at unchanged torque) from a
stiff engine ("From measured to inferred" in NUMBERS.md)."""

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.circuit.choices import INSTRUMENT
from analysis.circuit.limits import BRUSH_SD_V, BRUSH_V, FEWEST_CRANK_A
from analysis.circuit.resistances import WITHOUT, measured_values, measurement_errors

Array = npt.NDArray[np.float64]

RAD_PER_S_PER_RPM: Final = 2.0 * np.pi / 60.0
NO_PEAK: Final = "emf_without_peak"
NO_SPEED: Final = "constant_without_speed"
NOT_ABOVE: Final = "peak_not_above"


def infer_load(readings: pd.DataFrame, system_v: npt.ArrayLike) -> pd.DataFrame:
    """Back-emf, power, motor constant and torque of each reading, with standard errors.

    :param readings: rest_v [V], crank_a [A], peak_a [A], crank_rpm [rpm]; any may be missing
    :param system_v: 12 or 24 [V]
    :returns: back_emf_v, back_emf_se_v, power_w (turned into motion, gear losses included), emf_v_per_rpm,
        emf_se_v_per_rpm, torque_nm (at the crankshaft), torque_se_nm, reason (a key, "" where all is identified)
    """
    blocks = np.broadcast_to(np.asarray(system_v, dtype=np.float64) / 12.0, (len(readings),))
    value, charge_se = measured_values(readings, blocks)
    error = measurement_errors(value, blocks, charge_se)
    amps, peak = (np.where(value[a] >= FEWEST_CRANK_A.value, value[a], np.nan) for a in ("crank_a", "peak_a"))
    rpm = np.where(value["crank_rpm"] >= INSTRUMENT.fewest_rpm, value["crank_rpm"], np.nan)
    share = np.where(amps < peak, amps / peak, np.nan)
    drive = value["rest_v"] - BRUSH_V.value
    emf = drive * (1.0 - share)
    amps_share, peak_share = error["crank_a"] / amps, error["peak_a"] / peak
    volts_se = np.hypot(error["rest_v"], BRUSH_SD_V.value) * (1.0 - share)
    emf_se = np.sqrt(volts_se**2 + (drive * share) ** 2 * (amps_share**2 + peak_share**2))
    # torque = emf I / w: amps act on it twice, on the back-emf downward and directly
    power = emf * amps
    power_se = amps * np.sqrt(
        volts_se**2 + (drive * (1.0 - 2.0 * share) * amps_share) ** 2 + (drive * share * peak_share) ** 2
    )
    speed = rpm * RAD_PER_S_PER_RPM
    return pd.DataFrame(
        {
            "back_emf_v": emf,
            "back_emf_se_v": emf_se,
            "power_w": power,
            "emf_v_per_rpm": emf / rpm,
            "emf_se_v_per_rpm": np.hypot(emf_se, emf * INSTRUMENT.rpm_share) / rpm,
            "torque_nm": power / speed,
            "torque_se_nm": np.hypot(power_se, power * INSTRUMENT.rpm_share) / speed,
            "reason": _reasons(value["rest_v"], amps, peak, rpm),
        },
        index=readings.index,
    )


def _reasons(rest: Array, amps: Array, peak: Array, rpm: Array) -> npt.NDArray[np.object_]:
    conditions = [np.isnan(rest), np.isnan(amps), np.isnan(peak), amps >= peak, np.isnan(rpm)]
    keys = np.array([WITHOUT["rest_v"], WITHOUT["crank_a"], NO_PEAK, NOT_ABOVE, NO_SPEED, ""], dtype=object)
    found = np.stack([*conditions, np.ones(len(rest), dtype=bool)])
    result: npt.NDArray[np.object_] = keys[found.argmax(axis=0)]
    return result
