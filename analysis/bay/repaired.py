"""Did a repair help? The part's resistance at 20 °C before and after it, each from one reading with its own error.

Two readings with independent errors: their difference has the root of both squares, and is believed where it is more than
what nine of ten pairs of an unchanged part show by chance to that side.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from analysis.bay.expected import Expected
from analysis.bay.one_reading import Identified, ReadingCheck
from analysis.constants import Z_80

ELEMENT_OF: Final = {
    "battery": "battery", "positive_cable": "positive_cable", "ground_path": "ground_path",
    "solenoid_contacts": "solenoid_contacts", "starter_motor": "motor_winding", "control_circuit": "control_circuit",
}  # fmt: skip
"""Part -> the element of the circuit that is held against itself; engine drag has none, because the cold moves its amps."""
_USUAL: Final = {"battery": "battery_mohm", "positive_cable": "positive_mohm", "ground_path": "ground_mohm",
                 "solenoid_contacts": "contacts_mohm", "control_circuit": "control_mohm"}  # fmt: skip
BETTER, WORSE, NOT_TOLD = "better", "worse", "not told"


@dataclass(frozen=True)
class Repaired:
    """A part's resistance [mΩ at 20 °C] before and after, standard errors, what is usual in its class (NaN where the class
    tells nothing to hold it against), and whether it became better, worse, or nobody can tell."""

    before: float
    before_se: float
    after: float
    after_se: float
    usual: float
    outcome: str

    @property
    def fell(self) -> float:
        """How much lower it is after the repair [mΩ]."""
        return self.before - self.after


def readings_around(
    readings: pd.DataFrame, done_on: pd.Timestamp, needs: Sequence[str]
) -> tuple[pd.Series, pd.Series] | None:
    """The last reading before the day of a repair and the first on it or after, of those that hold all of `needs`; None
    where there is none on one side.

    What was measured on the day counts as after: a reading that is written down with a repair shows whether it helped.
    """
    full = readings[readings[list(needs)].notna().all(axis=1)].sort_values("taken_at")
    before, after = full[full["taken_at"] < done_on], full[full["taken_at"] >= done_on]
    return None if before.empty or after.empty else (before.iloc[-1], after.iloc[0])


def compare(part: str, before: ReadingCheck, after: ReadingCheck, expected: Expected) -> Repaired | None:
    """A part before and after; None where one of the readings does not tell its resistance.

    :param expected: for what is usual in the vehicle's class
    """
    element = ELEMENT_OF.get(part, "")
    first, then = (_element(check, element) for check in (before, after))
    if first is None or then is None:
        return None
    known = element in _USUAL and element not in {e for e, n in _READ_BY.items() if n in expected.unknown}
    usual = float(np.ravel(np.asarray(getattr(expected.usual, _USUAL[element])))[0]) if known else float("nan")
    noise = Z_80 * math.hypot(first.se, then.se)
    fell = first.value - then.value
    outcome = BETTER if fell > noise else WORSE if fell < -noise else NOT_TOLD
    return Repaired(first.value, first.se, then.value, then.se, usual, outcome)


_READ_BY: Final = {"battery": "crank_min_v", "positive_cable": "drop_positive_v", "ground_path": "drop_ground_v",
                   "solenoid_contacts": "drop_contacts_v", "control_circuit": "drop_control_v"}  # fmt: skip


def _element(check: ReadingCheck, element: str) -> Identified | None:
    found = next((one for one in check.identified if one.element == element), None)
    return None if found is None or found.reason else found
