"""Kinds of arrays, and records of arrays that run over the same rows."""

from dataclasses import dataclass, fields, replace
from typing import Any, Self, TypeAlias

import numpy as np
import numpy.typing as npt

Floats: TypeAlias = npt.NDArray[np.float64]
Reals: TypeAlias = npt.NDArray[np.floating[Any]]  # 32 or 64 bits
Ints: TypeAlias = npt.NDArray[np.int64]
Bools: TypeAlias = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Rows:
    """A record of arrays, and of records like it, whose first axis is the same: vehicles, starts, ways of acting."""

    def of(self, rows: slice | Ints | Bools) -> Self:
        """The same of some of the rows; what is neither an array nor such a record stays."""
        held = {one.name: getattr(self, one.name) for one in fields(self)}
        some: dict[str, Any] = {name: value[rows] for name, value in held.items() if isinstance(value, np.ndarray)}
        some |= {name: value.of(rows) for name, value in held.items() if isinstance(value, Rows)}
        return replace(self, **some)
