"""What we chose about the sentences on a vehicle: from which figure on something is said."""

from dataclasses import dataclass
from typing import Final

from analysis.stated import stated


# fmt: off
@dataclass(frozen=True)
class Saying:
    """Which parts and doubts of a vehicle are said (`reasons`, `list_row`)."""

    worn: float = stated(0.5, "1", 0.4, 0.7, "a part more probably worn than not is named; our choice")
    suspect: float = stated(0.2, "1", 0.1, 0.3, "and one that may so probably be what limits the start; our choice")
    named: float = stated(0.01, "1", 0.005, 0.05, "a part less probably the cause than this is not named at all; our choice")
    most_parts: int = stated(3, "parts", 2, 5, "named for one vehicle; our choice, because more are no advice")
    undecided: float = stated(0.6, "1", 0.5, 0.75, "a suspect less sure than this may not be the only one; our choice")
    nearly: float = stated(0.6, "1", 0.4, 0.8, "of the suspect's probability: another part as probable is named beside it; our choice")
    perhaps_repaired: float = stated(0.25, "1", 0.15, 0.4, "probability of an unrecorded repair above which the list says so; our choice")
    fits: float = stated(1.6, "1", 1.3, 2.0, "a drop last read is this factor from the level at most, else it is said not to fit; our choice")
    nearly_nil_v: float = stated(0.02, "V", 0.01, 0.03,
        "a drop this small reads as nil on a shop meter, so that its ratio to the level says nothing; our choice")
    lately_d: float = stated(365.0, "d", 180.0, 730.0,
        "since its renewal: a part that is worn or over its limit again within them is looked into before it is renewed once more; our "
        "choice, because parts last years, and new ones are commonly under warranty for one or two; moves that sentence and what is to do alone")
    month_alone_d: float = stated(183.0, "d", 90.0, 366.0, "a month this long ago at most is named without its year; our choice")
    hidden: float = stated(0.5, "1", 0.4, 0.7, "a failure more probably unexplained than not is said to be so; our choice")
    least_gain_k: float = stated(1.0, "K", 0.5, 2.0, "of the coldest start: a repair that gains less gains hardly anything; our choice")


# fmt: on
SAYING: Final = Saying()
