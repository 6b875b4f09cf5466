"""What we chose or took from memory about readings as comparable numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from analysis.stated import stated


# fmt: off
@dataclass(frozen=True)
class Dip:
    """Relative errors of the amps that the dip of the inrush is divided by (`lowest`)."""

    share: float = stated(0.10, "1", 0.05, 0.2,
        "share of the battery's steady resistance that is there at the inrush, and how fast the meter holds MIN; our choice")
    own_peak: float = stated(0.08, "1", 0.04, 0.16, "peak amps taken from the vehicle's other readings; our choice")
    class_peak: float = stated(0.35, "1", 0.2, 0.5,
        "peak amps taken from the class; our choice, because a part that is worn elsewhere lowers the peak, and so the dip")


@dataclass(frozen=True)
class Bound:
    """How an upper bound of the lowest volts is weighed, as multiples of the class-usual battery (`lowest`)."""

    per_root_year: float = stated(0.10, "1/a^0.5", 0.05, 0.2, "a battery may have moved by in a year since it was read; our choice")
    beyond: float = stated(0.5, "1", 0.25, 1.0,
        "of what a bound exceeds the expected by: added to the expected value's doubt, and the bound's own doubt at least; our "
        "choice, because nobody knows how far beyond it the truth lies")
    tells: float = stated(0.05, "1", 0.025, 0.1, "of the expected value's information, least that a bound adds to count; our choice")
    fewest_with_values: int = stated(3, "vehicles", 2, 6,
        "of a class: with fewer its usual value is learned from bounds as if they were values; our choice")


@dataclass(frozen=True)
class Travel:
    """How far the same class of another fleet may differ (`taught`)."""

    law_share: float = stated(0.5, "1", 0.25, 1.0, "of the published doubt of a law that is left between fleets; our choice")
    usual_sd: float = stated(0.10, "1", 0.05, 0.2,
        "of usual values between fleets of one class, relative: batteries and cables of other makes; our choice")
    needs_share: float = stated(0.5, "1", 0.25, 1.0, "of the published doubt of a need that is left between fleets; our choice")
    ageing_sd: float = stated(0.01, "1/a", 0.005, 0.02, "of ordinary ageing between fleets, as their use differs; our choice")
    unlike: float = stated(0.001, "1", 0.0001, 0.01, "chance below which a law is taken for another kind of vehicle's; our choice")
    fewest_vehicles: int = stated(4, "vehicles", 3, 8, "whose readings of a channel may say so; our choice")


# fmt: on
DIP: Final = Dip()
BOUND: Final = Bound()
TRAVEL: Final = Travel()
