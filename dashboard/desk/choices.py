"""What we chose about the changes since a list."""

from dataclasses import dataclass
from typing import Final

from analysis.stated import stated


# fmt: off
@dataclass(frozen=True)
class Changes:
    """What counts as worse since the list before or, falling, as better (`weekly`)."""

    worse_rise: float = stated(0.05, "1", 0.025, 0.1, "a rise of the probability of a no-start; our choice")
    worse_k: float = stated(4.0, "K", 2.0, 6.0, "a warmer coldest start, where the probability did not fall as much; our choice")


# fmt: on
CHANGES: Final = Changes()
