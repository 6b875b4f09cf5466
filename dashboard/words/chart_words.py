"""What stands in the charts over time, and the sentences that say the same."""

import math
from functools import partial
from typing import Final

import pandas as pd

from analysis.worklist.course import PartCourse
from dashboard.words.plain_text import cold_words, count_words, day, span, temperature
from dashboard.words.reasons import bare, plain

READ: Final = "read"
BOUND: Final = "at least (slow samples)"
LEFT_OUT: Final = "before a repair, or a slip"
DOUBTFUL: Final = "doubtful value, left out"
ASIDE: Final = "set aside"
WAITING: Final = "not judged yet"
TAKEN, KIND, LINE, DAY, WEEK, PROBABILITY, WITHOUT_HOURS = (
    "taken",
    "kind",
    "line",
    "day",
    "week",
    "probability",
    "no hours",
)
AT_A_TEMPERATURE: Final = "{unit} at {temperature}"
PRINTED_AT_USUAL: Final = "printed limit at the class's usual amps"
NO_START_FROM: Final = "no start at {temperature} from {level} on"
NO_START_RENEWED: Final = "no start at {temperature} with it renewed either"
NO_START_LEVEL: Final = "no start at {temperature}, the coming low"
LEVEL_OF_NO_START: Final = f"level of {NO_START_LEVEL}"
NOT_IT_ALONE: Final = "With it renewed the vehicle would not start at {temperature}, the coming low, either."
STANDS_FOR: Final = "starts it stands for"
STARTS_APART: Final = "standard deviation of those starts"
DAY_SHOWN: Final = "day shown"
USUAL_ASSUMED: Final = "a usual low, assumed"
USUAL_LOW: Final = "the depot's usual low"
AS_IT_IS: Final = "coldest start as it is"
FORECAST_LOW: Final = "forecast low"
BY_THEN: Final = "no-start by then"
NOTHING_DONE: Final = "if nothing is done"
WEEK_FROM: Final = "week from"
LIST_OF: Final = "list of"
MORNING_LOW: Final = "morning low, {degrees}"
FAIL_TO_START: Final = "vehicles that fail to start"
USED_OF: Final = "{used:.1f} of {there:.0f} h"
H_USED: Final = "h used"
H_THERE: Final = "h there"


def limit_words(course: PartCourse, printed_limit: float | None) -> str:
    """When the path reaches its limits if nothing is done, within the half year drawn; "" where neither is near."""
    ahead = course.path[course.path["ahead"]]
    said, at_c = [], temperature(course.fails_at_c)
    own = LEVEL_OF_NO_START.format(temperature=at_c)
    for limit, words in ((printed_limit, "printed limit"), (course.fails_at, own)):
        if limit is None or ahead.empty or not math.isfinite(limit):
            continue
        over = ahead[ahead["value"] >= limit]
        at = plain(limit, course.unit)
        if len(over):
            now = over.index[0] == ahead.index[0]
            said.append(
                f"is over the {words} ({at})"
                if now
                else f"reaches the {words} ({at}) around {day(over['day'].iloc[0])}"
            )
    told = f" It {' and '.join(said)}." if said else ""
    return f"{told} {NOT_IT_ALONE.format(temperature=at_c)}" if course.others_fail else told


def part_text(course: PartCourse, name: str, printed_limit: float | None = None) -> str:
    """What the part's chart shows, in words, and when it reaches its limits."""
    unit = course.unit
    if course.readings.empty:
        return f"{name}: never measured on this vehicle; usual in its class is {plain(course.usual, unit)} at 20 °C."
    said = partial(plain, unit=unit)
    at = "at least " if course.readings["bound"].iloc[-1] else ""
    last, now, end = course.readings.iloc[-1], course.path[course.path["ahead"]].iloc[0], course.path.iloc[-1]
    return (
        f"{name}: {count_words(len(course.readings), 'reading')}, the last on {day(last['taken_at'])} at {at}{said(last['value'])}. "
        f"Level now {said(now['value'])} (80 % sure between {bare(now['low'])} and {said(now['high'])}); usual in its "
        f"class {said(course.usual)}; in half a year {said(end['value'])} ({bare(end['low'])} to {said(end['high'])}) if "
        f"nothing is done.{limit_words(course, printed_limit)}"
    )


def cold_text(cold: pd.DataFrame, season: pd.DataFrame, *, fahrenheit: bool = False) -> str:
    now, end = cold.iloc[0], cold.iloc[-1]
    coldest = season.iloc[int(season["one_in_ten_c"].to_numpy().argmin())]
    mornings = (
        f"No climate of its depot is known: mornings like those drawn are assumed, one in ten below "
        f"{temperature(coldest['one_in_ten_c'], fahrenheit=fahrenheit)}; bring in a climate file."
        if season["assumed"].any()
        else f"In these months its depot is coldest around {day(coldest['day'])}: one morning in ten below "
        f"{temperature(coldest['one_in_ten_c'], fahrenheit=fahrenheit)}."
    )
    middle, low, high = (
        cold_words(now[name], fahrenheit=fahrenheit) for name in ("coldest_start_c", "low_c", "high_c")
    )
    ahead = cold_words(end["coldest_start_c"], fahrenheit=fahrenheit)
    return f"Coldest start now {middle} (80 % sure: {span(low, high)}), in half a year {ahead}. {mornings}"
