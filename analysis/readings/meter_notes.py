"""What is to be known about meters and thermometers that are wrong, or disagree; its sentences: `dashboard/words/meter_words.py`."""

from dataclasses import dataclass
from typing import TypeAlias


@dataclass(frozen=True)
class WrongHand:
    """Whose readings are wrong beyond doubt.

    by: "technician" or "instrument"; effect: of `hands.EFFECTS`; value: relative, K for the thermometer, positive reads high; half:
    half the 90 % range of it; same_week_k: median difference to others' readings at the same depot in the same week, NaN for none.
    """

    by: str
    name: str
    effect: str
    value: float
    half: float
    readings: int
    vehicles: int
    same_week_k: float


@dataclass(frozen=True)
class Disagreement:
    """Hands of a depot that lie clearly apart, where it cannot be told which is right; apart: as `value` of a wrong hand."""

    effect: str
    depot: str
    above: tuple[str, ...]
    below: tuple[str, ...]
    apart: float


MeterNote: TypeAlias = WrongHand | Disagreement
