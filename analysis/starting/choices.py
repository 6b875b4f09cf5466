"""What we chose about the start at any temperature."""

from dataclasses import dataclass
from typing import Final

from analysis.stated import stated


# fmt: off
@dataclass(frozen=True)
class Loop:
    """The start's loop and load."""

    least_drag_per_k: float = stated(0.0055, "1/K", 0.0052, 0.007,
        "of the load; our choice, just above copper's gain at -45 °C, so that colder is never easier")
    nominal_rpm: float = stated(190.0, "rpm", 150.0, 230.0, "cranking speed of a sound vehicle where the fleet never read it; our choice")


# fmt: on
LOOP: Final = Loop()
