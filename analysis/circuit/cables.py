"""Resistance of a new cable by its size and length, and the drop it predicts: what a good cable may show at most."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from analysis.circuit.temperature import copper_factor

Array = npt.NDArray[np.float64]

# IEC 60228, class 5 (flexible) plain copper: largest resistance at 20 °C, by nominal area [mm²]: [Ω/km] = [mΩ/m].
IEC_60228_CLASS_5: Final = {16: 1.21, 25: 0.780, 35: 0.554, 50: 0.386, 70: 0.272, 95: 0.206, 120: 0.161}
# ASTM B258: diameter of gauge n is 0.005 in x 92^((36 - n) / 39); 4/0 is n = -3.
AWG_BASE_MIL: Final = 5.0
AWG_RATIO: Final = 92.0
AWG_STEPS: Final = 39.0
AWG_BASE: Final = 36.0
OHM_CMIL_PER_FT: Final = 10.371  # annealed copper at 20 °C, 100 % IACS, from memory
FEET_PER_METRE: Final = 1.0 / 0.3048


def awg_number(gauge: str) -> int:
    """Gauge number of a text such as "4/0", "2/0" or "10"; several zeros count below zero ("4/0" is -3).

    :raises ValueError: not a gauge from 4/0 to 40
    """
    text = gauge.strip()
    zeros, slash, rest = text.partition("/")
    if slash and rest == "0" and zeros in ("1", "2", "3", "4"):
        return 1 - int(zeros)
    if text.isdecimal() and int(text) <= 40:
        return int(text)
    raise ValueError(f"gauge is {gauge!r}; allowed are 4/0, 3/0, 2/0, 1/0 and 0 to 40")


def awg_mohm_per_m(gauge: str) -> float:
    """Resistance of a copper wire of an American gauge at 20 °C [mΩ/m] (ASTM B258 diameter, annealed copper)."""
    mils: float = AWG_BASE_MIL * AWG_RATIO ** ((AWG_BASE - awg_number(gauge)) / AWG_STEPS)
    return OHM_CMIL_PER_FT / (mils * mils) * FEET_PER_METRE * 1000.0


def iec_mohm_per_m(area_mm2: int) -> float:
    """Largest resistance of a flexible copper cable at 20 °C [mΩ/m] by nominal area (IEC 60228 class 5).

    :raises ValueError: an area that is not in the table
    """
    if area_mm2 not in IEC_60228_CLASS_5:
        allowed = ", ".join(str(area) for area in IEC_60228_CLASS_5)
        raise ValueError(f"area_mm2 is {area_mm2}; allowed are {allowed} mm²")
    return float(IEC_60228_CLASS_5[area_mm2])


def cable_drop_v(
    mohm_per_m: npt.ArrayLike, length_m: npt.ArrayLike, amps: npt.ArrayLike, *, temperature_c: npt.ArrayLike = 20.0
) -> Array:
    """Voltage drop [V] along a cable: length [m], amps, conductor temperature [°C]; terminals not included."""
    at_20 = np.asarray(mohm_per_m, dtype=np.float64) * np.asarray(length_m) / 1000.0
    result: Array = at_20 * np.asarray(amps) * copper_factor(temperature_c)
    return result
