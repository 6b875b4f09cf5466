"""Whether an assessment is worked out with compiled arithmetic: for a large fleet, and where a person did not say otherwise."""

import os
from typing import Final

from analysis.kernel.ready import make_ready
from dashboard.desk.terminal import say
from dashboard.words.terminal_words import PREPARING

FROM_VEHICLES: Final = 300  # fewer are judged sooner than compiled arithmetic is loaded, or made; our choice
ARITHMETIC_VARIABLE: Final = "CRANKTREND_ARITHMETIC"
PLAIN: Final = "plain"  # what it says where nothing is to be compiled


def quick_for(vehicles: int) -> None:
    """Make compiled arithmetic ready for a fleet of so many vehicles; where it cannot be had, the work takes longer."""
    if vehicles >= FROM_VEHICLES and os.environ.get(ARITHMETIC_VARIABLE) != PLAIN:
        make_ready(lambda: say(PREPARING))
