"""What we chose about the changes since a list, and about how seldom vehicles are read."""

from dataclasses import dataclass
from typing import Final

from analysis.stated import stated


# fmt: off
@dataclass(frozen=True)
class Changes:
    """What counts as worse since the list before or, falling, as better (`weekly`)."""

    worse_rise: float = stated(0.05, "1", 0.025, 0.1, "a rise of the probability of a no-start; our choice")
    worse_k: float = stated(4.0, "K", 2.0, 6.0, "a warmer coldest start, where the probability did not fall as much; our choice")


@dataclass(frozen=True)
class Seldom:
    """When a list says that its vehicles are hardly ever read (`weekly`)."""

    year_d: float = stated(365.0, "d", 330.0, 400.0, "of reading that is looked back at; our choice, each season once")
    days: int = stated(2, "d", 2, 3, "with a reading in it are wanted of a vehicle; our choice, as it cannot be told from one how a part wears")
    share: float = stated(0.5, "1", 0.3, 0.7, "of the vehicles read on fewer: beyond it the list says so; our choice")


# fmt: on
CHANGES: Final = Changes()
SELDOM: Final = Seldom()
