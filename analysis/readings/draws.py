"""Chance that belongs to the vehicle: the k-th draw of a quantity depends on the vehicle's number, the quantity and k only.

Points and shifts: "Coldest start" in NUMBERS.md. K draws of a quantity fall into all K-ths of its range. Dealt by row they
would change with every vehicle that comes or goes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
import scipy

from analysis.arrays import Rows
from analysis.readings.observe import CHANNELS
from analysis.readings.panel import Bools, Floats
from analysis.readings.sobol import DIRECTIONS, scrambled_points

Whole = npt.NDArray[np.uint64]
# of each channel's growth: which path, how much, new value, pace ahead
OF_CHANNELS: Final = ("path", "amount", "base", "pace")
QUANTITIES: Final = (
    *(f"{channel} {name}" for channel in CHANNELS for name in OF_CHANNELS),
    "field", "speed", "supply", "coil", "load bend", "needs", "battery slope", "battery bend", "load slope",
)  # fmt: skip
INSIDE: Final = 1e-9  # draws stay so far inside 0 and 1, where the tails are 6 standard deviations out


@dataclass(frozen=True)
class Draws(Rows):
    """K draws of each quantity for U vehicles or classes.

    key: (U,) one number for each, of :func:`keys_of`; count: K; seed: another seed, another chance.
    """

    key: Whole
    count: int
    seed: int = 0

    def even(self, quantity: str, where: Bools | None = None) -> Floats:
        """(U, K) evenly spread over (0, 1), or (N,) those of `where` (U, K) in its order. Raises ValueError for a quantity that
        is not of QUANTITIES."""
        if quantity not in QUANTITIES:
            raise ValueError(f"quantity is {quantity!r}; allowed are {', '.join(QUANTITIES)}")
        axis = QUANTITIES.index(quantity)
        shift = _unit(mixed(self.key ^ _of_quantity(axis + 1000 * self.seed + 1)))
        point = points(self.count, self.seed)[axis]
        if where is None:
            place = point[None, :] + shift[:, None]
        else:
            row, column = np.nonzero(where)
            place = point[column] + shift[row]
        place -= place >= 1.0
        return np.asarray(np.clip(place, INSIDE, 1.0 - INSIDE, out=place), dtype=np.float64)

    def normal(self, quantity: str, where: Bools | None = None) -> Floats:
        """(U, K) standard normal; nil where it is not asked for."""
        if where is None:
            return np.asarray(scipy.special.ndtri(self.even(quantity)), dtype=np.float64)
        found = np.zeros(where.shape)
        found[where] = scipy.special.ndtri(self.even(quantity, where))
        return found


def keys_of(names: Sequence[str] | pd.Series | npt.NDArray[np.object_]) -> Whole:
    """One whole number for each name, always the same for the same name, on every machine."""
    return np.asarray(pd.util.hash_array(np.asarray(names, dtype=object), categorize=False), dtype=np.uint64)


def points(count: int, seed: int) -> Floats:
    """(axes, count) the points that all vehicles share; read only. Fewer are the first of more."""
    return _made(max(1, int(np.ceil(np.log2(max(count, 2))))), seed)[:, :count]


@lru_cache(maxsize=8)
def _made(power: int, seed: int) -> Floats:
    found = scrambled_points(len(DIRECTIONS), power, seed)  # a quantity more or less leaves the others their chance
    found.setflags(write=False)
    return found


@lru_cache(maxsize=1024)
def _of_quantity(number: int) -> Whole:
    return mixed(np.array([number], dtype=np.uint64))


def mixed(value: Whole) -> Whole:
    """Every bit of a number stirred into every other (SplitMix64: Steele, Lea and Flood 2014)."""
    with np.errstate(over="ignore"):
        z = value + np.uint64(0x9E3779B97F4A7C15)
        z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return np.asarray(z ^ (z >> np.uint64(31)), dtype=np.uint64)


def _unit(value: Whole) -> Floats:
    """Whole numbers of 64 bits -> [0, 1)."""
    return np.asarray((value >> np.uint64(11)).astype(np.float64) * 2.0**-53)
