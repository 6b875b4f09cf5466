"""What past lists would have done, and values beyond a limit that nobody acted on, in words."""

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

from analysis.backtest.choices import PAST_LISTS
from dashboard.words.plain_text import MINUS, count_words
from dashboard.words.plan_words import money
from dashboard.words.reasons import PART_WORDS

WAY_WORDS: Final = {
    "as it was": "as it was: nobody acted before a no-start",
    "this list": "by the weekly list",
    "printed limits on the last reading": "by printed limits on the last reading",
    "battery at a fixed age": "battery at the age that would have been cheapest",
}
CHECK_WORDS: Final = {
    "rest_v": "rest volts",
    "load_test": "volts at half its cold-cranking amps, load-test table",
    "crank_min_v": "lowest volts while cranking",
    "drop_positive_v": "drop of the positive cable",
    "drop_ground_v": "drop of the ground path",
    "drop_contacts_v": "drop of the solenoid contacts",
    "drop_control_v": "drop of the control circuit",
}
NO_NO_START: Final = "No no-start is on record in this time, so that nothing can be said of what lists would have done."
FORESEEN: Final = "No-starts foreseen"
SAVED: Final = "Saved against waiting"
OTHER_WAYS: Final = "Other ways of working"
WAYS_ALT: Final = "Ways of working held against what happened"
BEYOND: Final = "Beyond a printed limit, and nobody acted"
NOT_BEYOND: Final = "No vehicle's newest reading is beyond a printed limit without a repair of that part since."
BEYOND_ALT: Final = "Parts beyond a printed limit without a repair since"
WHAT_WAS_READ: Final = "what was read"
READ_V: Final = "read [V]"
LIMIT_V: Final = "limit [V]"


def two_figures(ways: Sequence[Mapping[str, Any]], currency: str) -> tuple[str, str, str] | None:
    """No-starts foreseen, money saved against waiting, and a sentence with both; None where no no-start happened."""
    by = {str(way["way"]): way for way in ways}
    mine, was = by.get("this list"), by.get("as it was")
    if mine is None or was is None or not was["no_starts"]:
        return None
    saved = float(was["cost"]) - float(mine["cost"])
    foreseen = f"{mine['foreseen']:.0f} of {was['no_starts']:.0f}"
    size = money(abs(saved), currency)
    less = f"{size} less" if saved >= 0.0 else f"{size} more"
    sentence = (
        f"Had the workshop worked by the list of each month, {foreseen} no-starts would have been foreseen, at "
        f"{count_words(int(mine['for_nothing']), 'flag')} for nothing and {int(mine['undecided'])} too young to be judged; it "
        f"would have cost {less} than waiting. A no-start is foreseen when the last list {PAST_LISTS.foreseen_d} days or more "
        f"before it named the vehicle; those of the first {PAST_LISTS.settling_d} days, and a vehicle's next within "
        f"{PAST_LISTS.again_d}, are not counted."
    )
    return foreseen, size if saved >= 0.0 else f"{MINUS}{size}", sentence


def way_rows(ways: Sequence[Mapping[str, Any]], currency: str) -> list[dict[str, str | float]]:
    """Each way of working as a row; NaN where a figure does not apply to it."""

    def cell(way: Mapping[str, Any], name: str) -> float:
        return math.nan if way.get(name) is None else float(round(float(way[name])))

    return [
        {
            "way of working": WAY_WORDS.get(str(way["way"]), str(way["way"])),
            "no-starts": cell(way, "no_starts"),
            "foreseen": cell(way, "foreseen"),
            "right part": cell(way, "right_part"),
            "days before": cell(way, "median_lead_days"),
            "flags for nothing": cell(way, "for_nothing"),
            f"cost [{currency}]": cell(way, "cost"),
        }
        for way in ways
    ]


def beyond_words(row: Mapping[str, Any]) -> tuple[str, str]:
    """A part whose value is beyond its limit: the part, and what was read."""
    return PART_WORDS.get(str(row["part"]), str(row["part"])), CHECK_WORDS.get(str(row["check"]), str(row["check"]))


def beyond_how_many(parts: int, vehicles: int, twice: int) -> str:
    """How many parts are beyond a limit; twice: of how many two readings or more say so."""
    return (
        f"**{count_words(parts, 'part')} of {count_words(vehicles, 'vehicle')}**, {twice} of them in two readings or more. "
        f"A limit says nothing of the cold to come: the weekly list does."
    )
