"""What a starting aid draws from the battery while it cranks: glow plugs, an intake heater."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.readings.choices import OBSERVING
from analysis.readings.panel import Floats, Ints, Panel


@dataclass(frozen=True)
class Aid:
    """Amps (U,) beside the starter's in air below below_c (U,) [degC]."""

    load_a: Floats
    below_c: Floats

    def of(self, rows: slice | Ints) -> Aid:
        """Of some vehicles."""
        return Aid(self.load_a[rows], self.below_c[rows])

    def of_state(self) -> dict[str, npt.NDArray[np.float32]]:
        """As fields of a start's state, (U, 1, 1)."""
        found = {"aid_load_a": self.load_a, "aid_below_c": self.below_c}
        return {name: value.astype(np.float32)[:, None, None] for name, value in found.items()}


def aid_of(units: pd.DataFrame) -> Aid | None:
    """Aids of vehicles (columns aid_load_a [A], aid_below_c [degC], either may be absent); None where none draws amps."""
    if "aid_load_a" not in units:
        return None
    load = units["aid_load_a"].to_numpy(np.float64, na_value=np.nan)
    if not (load > 0.0).any():
        return None
    below = (
        units["aid_below_c"].to_numpy(np.float64, na_value=np.nan)
        if "aid_below_c" in units
        else np.full(len(load), np.nan)
    )
    return Aid(np.nan_to_num(load), np.where(np.isfinite(below), below, OBSERVING.aid_below_c))


def aid_amps(panel: Panel, temperature_c: Floats) -> Floats | float:
    """(U, R) amps of the aids at each reading's temperature (U, R) [degC]; nil where no vehicle has any."""
    aid = aid_of(panel.units)
    return 0.0 if aid is None else amps_below(aid.load_a[:, None], aid.below_c[:, None], temperature_c)


def amps_below(load_a: npt.ArrayLike, below_c: npt.ArrayLike, temperature_c: npt.ArrayLike) -> npt.NDArray[Any]:
    """Amps of an aid at temperatures [degC]: its load in air below `below_c`, else nil; 32-bit floats stay so."""
    return np.where(np.asarray(temperature_c) < np.asarray(below_c), load_a, np.float32(0.0))
