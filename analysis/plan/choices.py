"""What we chose about the plan beside its costs, which are the user's to set (`analysis.costs`)."""

from dataclasses import dataclass
from typing import Final

from analysis.stated import stated


# fmt: off
@dataclass(frozen=True)
class Visits:
    """What a visit may be for, and what follows from it."""

    second_part_probability: float = stated(0.15, "1", 0.075, 0.3,
        "from which on a second part is worth renewing in the same visit; our choice, because the cost decides")
    react_weeks: float = stated(1.0, "weeks", 0.5, 2.0,
        "from a reading or a cheap act that did not help to the visit that follows; our choice")
    success_days: int = stated(180, "d", 90, 360,
        "a cheap act has helped when the part needed nothing more for so long, half a year; our choice")
    success_prior: float = stated(10.0, "acts", 5.0, 20.0,
        "of the fleet's own that the stated chance of success counts as much as; our choice")
    least_part_probability: float = stated(0.02, "1", 0.01, 0.05, "the right part is never held less probable; our choice")
    least_saved: float = stated(0.01, "1", 0.005, 0.02,
        "of a no-start: a visit that saves less than so much of one costs is not planned, as one draw of 128 is 0.008; our choice")
    working_days: int = stated(5, "d a week", 4, 7,
        "a workshop works Monday to Friday where nobody set its days; our choice, and a planned service on a weekend counts all the same")


# fmt: on
VISITS: Final = Visits()
