"""What a starting aid does to a start: amps of glow plugs or an intake heater, an engine that a block heater has warmed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.arrays import Bools, Floats, Ints, Rows
from analysis.readings.choices import OBSERVING

BLOCK_HEATER: Final = "block_heater"  # a starting_aid


@dataclass(frozen=True)
class Aid(Rows):
    """In air below below_c (U,) [degC]: amps beside the starter's, and kelvin by which the engine is warmer than the air (U,)."""

    load_a: Floats
    below_c: Floats
    warmer_k: Floats

    def of_state(self) -> dict[str, npt.NDArray[np.float32]]:
        """As fields of a start's state, (U, 1, 1)."""
        found = {"aid_load_a": self.load_a, "aid_below_c": self.below_c, "engine_warmer_k": self.warmer_k}
        return {name: value.astype(np.float32)[:, None, None] for name, value in found.items()}


def aid_of(units: pd.DataFrame) -> Aid | None:
    """Aids of vehicles (columns aid_load_a [A], starting_aid, aid_below_c [degC], each may be absent); None where none does anything.

    A block heater warms the engine in air below the temperature that the vehicle says it is plugged in at, and nowhere where it
    says none.
    """
    load, below = said(units, "aid_load_a"), said(units, "aid_below_c")
    heated = np.isfinite(below)
    if heated.any():
        heated &= has_block_heater(units)
    if not ((load > 0.0) | heated).any():
        return None
    below = np.where(np.isfinite(below), below, OBSERVING.aid_below_c)
    return Aid(np.nan_to_num(load), below, np.where(heated, OBSERVING.heater_k, 0.0))


def said(units: pd.DataFrame, name: str) -> Floats:
    """(U,) what vehicles say in a column of numbers; NaN where nothing, or where there is no such column."""
    return units[name].to_numpy(np.float64, na_value=np.nan) if name in units else np.full(len(units), np.nan)


def has_block_heater(units: pd.DataFrame) -> Bools:
    """(U,) whether the vehicle has an engine block heater, as its column starting_aid says."""
    if "starting_aid" not in units:
        return np.zeros(len(units), dtype=bool)
    return np.asarray(units["starting_aid"] == BLOCK_HEATER, dtype=bool)


def aid_amps(units: pd.DataFrame, temperature_c: Floats) -> Floats | float:
    """(U, R) amps of the vehicles' aids at each reading's temperature (U, R) [degC]; nil where no vehicle has any."""
    aid = aid_of(units)
    return 0.0 if aid is None else amps_below(aid.load_a[:, None], aid.below_c[:, None], temperature_c)


def amps_below(load_a: npt.ArrayLike, below_c: npt.ArrayLike, temperature_c: npt.ArrayLike) -> npt.NDArray[Any]:
    """Amps of an aid at temperatures [degC]: its load in air below `below_c`, else nil; 32-bit floats stay so."""
    return np.where(np.asarray(temperature_c) < np.asarray(below_c), load_a, np.float32(0.0))


def engine_c(temperature_c: npt.ArrayLike, below_c: npt.ArrayLike, warmer_k: npt.ArrayLike) -> npt.NDArray[Any]:
    """Temperature of the engine [degC] in air of `temperature_c`: the air's, below `below_c` so many kelvin warmer; 32-bit floats
    stay so. The battery, the cables and the starter stay at the air's."""
    air = np.asarray(temperature_c)
    return np.asarray(air + np.where(air < np.asarray(below_c), warmer_k, np.float32(0.0)))


def engine_temperature(units: pd.DataFrame, temperature_c: Floats, vehicle: Ints | None = None) -> Floats:
    """Temperature of the engines at each reading's air [degC], (U, R), or (N,) where `vehicle` (N,) says whose each reading is: the
    air's where no block heater warms them."""
    aid = aid_of(units)
    if aid is None:
        return temperature_c
    of_each = np.arange(len(units))[:, None] if vehicle is None else vehicle
    return engine_c(temperature_c, aid.below_c[of_each], aid.warmer_k[of_each])
