"""Below which temperature no start is promised, whatever the circuit can do: the oil, the fuel, a battery that freezes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.arrays import Rows
from analysis.circuit.battery import freezes_at_c
from analysis.circuit.choices import INSTRUMENT
from analysis.circuit.limits import AGM, SURFACE_CHARGE_SD_V
from analysis.readings.aid import aid_of, said
from analysis.readings.panel import Bools, Floats, Ints

CRANKING_LIMIT_C = {"0W": -35.0, "5W": -30.0, "10W": -25.0, "15W": -20.0, "20W": -15.0, "25W": -10.0}
"""By the winter grade of the oil, the temperature of its cranking viscosity limit [degC]: SAE J300."""
NOWHERE_C = -273.15
FLOORS = ("oil", "fuel", "freezing")


@dataclass(frozen=True)
class Floors(Rows):
    """Coldest temperature [degC] that is promised at all: (U,) by oil and fuel, and with the battery as charged as it rests, (U,)
    or (U, K) in each draw.

    binding: (U,) place in FLOORS of what sets `as_charged`, mostly.
    """

    charged: Floats
    as_charged: Floats
    binding: Ints


def freezing_c(rest_v: Floats, agm: Bools | bool = False) -> Floats:
    """Temperature at which a 12 V block of these rest volts freezes [degC]; none where the volts are not known.

    Blocks of 12.28 and 12.19 V show twice their resistance at about these temperatures (DOI 10.5281/zenodo.14981233).
    """
    return np.where(np.isfinite(rest_v), freezes_at_c(rest_v, agm=agm), NOWHERE_C)


def floors_of(units: pd.DataFrame, block_rest_v: Floats, away: Floats | None = None) -> Floors:
    """Floors of vehicles: oil_grade, starting_aid, fuel_limit_c and battery_type of `units` where known, rest volts per 12 V.

    The oil is as warm as the engine: a block heater that is plugged in at the oil's limit already moves it by what it warms, one
    plugged in in colder air only, not at all.  away: (U, K) standard normal, by which the rest volts are off in each draw, and so
    the point at which the battery freezes; None for the volts as they are.
    """
    n = len(units)
    grade, grades = pd.factorize(units["oil_grade"] if "oil_grade" in units else np.full(n, "", dtype=object))
    limits = [CRANKING_LIMIT_C.get(str(name).split("-")[0], np.nan) for name in grades]
    oil = np.array([*limits, np.nan])[grade]
    if (aid := aid_of(units)) is not None:
        oil = np.where(aid.below_c >= oil, oil - aid.warmer_k, oil)
    fuel = said(units, "fuel_limit_c")
    agm = (units["battery_type"] == AGM).to_numpy(bool) if "battery_type" in units else np.zeros(n, dtype=bool)
    warmest = np.maximum(np.nan_to_num(oil, nan=NOWHERE_C), np.nan_to_num(fuel, nan=NOWHERE_C))
    each = np.stack(
        [np.nan_to_num(oil, nan=NOWHERE_C), np.nan_to_num(fuel, nan=NOWHERE_C), freezing_c(block_rest_v, agm)]
    )
    binding = each.argmax(axis=0).astype(np.int64)
    if away is None:
        return Floors(warmest, each.max(axis=0), binding)
    off_v = np.hypot(SURFACE_CHARGE_SD_V.value, INSTRUMENT.battery_v) * away
    freezing = freezing_c(block_rest_v[:, None] + off_v, agm[:, None])
    return Floors(warmest, np.maximum(warmest[:, None], freezing), binding)
