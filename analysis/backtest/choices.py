"""What we chose about judging past lists."""

from dataclasses import dataclass
from typing import Final

from analysis.stated import stated


# fmt: off
@dataclass(frozen=True)
class PastLists:
    """What counts as foreseen, as for nothing, and what a calibration needs."""

    foreseen_d: int = stated(14, "d", 7, 28,
        "a no-start is foreseen when the last list at least so long before flagged the vehicle; our choice")
    settling_d: int = stated(30, "d", 15, 60,
        "no-starts this soon after the first list are not counted; our choice, because nothing could have been done")
    again_d: int = stated(90, "d", 45, 180,
        "nor the next no-start of a vehicle this soon after one; our choice, because nobody could have read it twice")
    for_nothing_d: int = stated(270, "d", 180, 365,
        "a flag is for nothing when neither a no-start nor that part's repair follows within; our choice")
    renewed_for_nothing: float = stated(0.3, "1", 0.15, 0.6,
        "share of flags for nothing after which the part is renewed all the same; our choice")
    fewest_no_starts: int = stated(40, "no-starts", 20, 80,
        "and as many starts that a calibration needs; our choice, because two parameters want ten events each at the least")
    fewest_visits: int = stated(10, "visits", 5, 20,
        "that looked at the part expected, before it is said how often it was the one; our choice, as its 80 % interval is at most 0.4 wide then")
    run_readings: int = stated(12, "readings", 6, 24,
        "newest of a vehicle among which a run beyond its limit is looked for; our choice, because it rarely goes further back")
    least_p: float = stated(1e-4, "1", 1e-5, 1e-3, "probabilities are held so far inside 0 and 1 before a logit is taken; our choice")


# fmt: on
PAST_LISTS: Final = PastLists()
