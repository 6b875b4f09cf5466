"""Kinds of arrays, records of arrays that run over the same rows, and what becomes of their memory."""

import ctypes
from contextlib import suppress
from dataclasses import dataclass, fields, replace
from typing import Any, Final, Self, TypeAlias

import numpy as np
import numpy.typing as npt

Floats: TypeAlias = npt.NDArray[np.float64]
Reals: TypeAlias = npt.NDArray[np.floating[Any]]  # 32 or 64 bits
Ints: TypeAlias = npt.NDArray[np.int64]
Bools: TypeAlias = npt.NDArray[np.bool_]

LARGE: Final = 1_000_000  # numbers in an array from which on holes between arrays are given back: some 10 MB each


@dataclass(frozen=True)
class Rows:
    """A record of arrays, and of records like it, whose first axis is the same: vehicles, starts, ways of acting."""

    def of(self, rows: slice | Ints | Bools) -> Self:
        """The same of some of the rows; what is neither an array nor such a record stays."""
        held = {one.name: getattr(self, one.name) for one in fields(self)}
        some: dict[str, Any] = {name: value[rows] for name, value in held.items() if isinstance(value, np.ndarray)}
        some |= {name: value.of(rows) for name, value in held.items() if isinstance(value, Rows)}
        return replace(self, **some)


def give_back(numbers: int) -> None:
    """After a step over arrays of so many numbers: what was let go of goes back to the system, where the C library can
    (malloc_trim of glibc, some 10 ms); it keeps it otherwise, a third of what a large fleet takes."""
    if numbers >= LARGE:
        with suppress(AttributeError, OSError, TypeError):  # another C library, or none that is found
            ctypes.CDLL(None).malloc_trim(0)
