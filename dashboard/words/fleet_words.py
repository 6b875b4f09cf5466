"""What the page of the fleet says."""

from collections.abc import Sequence
from typing import Final

from dashboard.words.plain_text import count_words, safe, unbroken

NAMED: Final = 12  # vehicles named in a sentence, our choice
LIKELY, POSSIBLE = "likely", "possible"
FORECAST: Final = "**{depot}**, {day} (forecast): "
COUNTS_AT: Final = "{low}: {likely} likely, possibly {possible} in all"
COLD_ALT: Final = "{title}. At {counts}."
LISTED_BEFORE: Final = "on the list before"
THAT_LIST_WAS: Final = "it was"
AS_ISSUED: Final = "issued"
YES, NO = "yes", "no"
YEAR_KEY: Final = "Each list is worked out with that day's knowledge only and without a forecast, so that the last may differ from the weekly list."
YEAR_ALT: Final = (
    "Vehicles on the list, by {by}: {first} on {first_day}, most on {most_day} with {most}, {last} on {last_day}{each}."
)
PAST_NOT_WORKED_OUT: Final = "The past lists could not be worked out: {why}"
STOPPED: Final = "stopped"
COMING_COLD: Final = "What the coming cold would do"
NEED_ATTENTION: Final = "Need attention"
TOO_FEW: Final = "Too few readings to judge"
OVERDUE: Final = "Reading overdue"
NO_FORECAST: Final = "No forecast of these days is known; bring in a forecast file, or choose a low here."
FAIL_BY_LOW: Final = "Vehicles that fail to start, by morning low"
COLD_KEY: Final = (
    "Line: fail more likely than not. Shaded, up to its upper edge: could fail, by one chance in ten or more. "
    "Dashed: the low chosen above. Counted from the coldest start of each vehicle."
)
WHICH_FAIL: Final = "Which vehicles likely or possibly fail"
SO_MANY_AT: Final = "{count} at {low}."
FAIL_ALT: Final = "Vehicles that likely or possibly fail"
MOST_WORN: Final = "most worn"
A_NO_START_IS: Final = "a no-start is"
STARTS_DOWN_TO: Final = "starts down to"
SURE: Final = "80 % sure"
MORNING_LOW_C: Final = "Morning low, °C"
MORNING_LOW_F: Final = "Morning low, °F"
LAST_YEAR: Final = "The last twelve months"
COUNT_BY: Final = "Count by"
YEAR_TITLE: Final = "Vehicles on the list at the start of each month, by {by}"
NOBODY_LISTED: Final = "No vehicle was on a list in the last twelve months."
PAST_WORKED_OUT: Final = "Working out the lists of past months: {done} of {of}"
NO_NO_START: Final = "No no-start is on record in this time."
HAPPENED_ALT: Final = "No-starts that happened"
DAY: Final = "day"
THAT_LIST: Final = "that list"
WRONG_WHICH: Final = "Which, when and by whom"
WRONG_ALT: Final = "Flags looked at and nothing found"
LOOKED_AT: Final = "looked at"
TO_BE_READ: Final = "To be read"
NONE_OVERDUE: Final = "No vehicle is overdue: each was read within the last {days} days, and none is awaited."
TO_BE_READ_ALT: Final = "Vehicles to be read and why"
BAY_SHEETS: Final = "Blank bay sheets for the first {count} (PDF)"
SERVICE_ON: Final = "service on {day}"
NO_READING_FOR: Final = "no reading for {days} days"
ASKED_FOR: Final = "measurement asked for"
DUE: Final = "Due: {why}."
CODES: Final = "Codes for the windscreens"
CODES_HELP: Final = "Each opens its vehicle's page for measuring on the phone that reads it."
FIRST_CODES: Final = "the first {count} of "
CODES_OF: Final = "Codes of {first}{count} (PDF)"
LEARNED: Final = "What was learned of each class"
AFTERWARDS: Final = "worked out afterwards"
NO_LIST_YET: Final = "no list yet"
NOT_KNOWN: Final = "not known"
WORKED_OUT_NOW: Final = "being worked out"
YES_OTHER_PART: Final = "yes, for another part"


_NONE: Final = "**none of {of}** likely or possibly fails to start."


def _likely(count: int, of: int) -> str:
    """How many of so many vehicles likely fail to start."""
    return f"**{count or 'none'} of {count_words(of, 'vehicle')}** likely {_fail(count or 1)} to start"


def at_a_low(at: str, likely: Sequence[str], *, of: int, possible: int) -> str:
    """How many of a depot's vehicles likely fail to start at a low, and which."""
    if not possible:
        return f"at **{at}**, {_NONE.format(of=count_words(of, 'vehicle'))}"
    return f"at **{at}**, {_likely(len(likely), of)}{_named(likely)}; possibly {possible} in all."


def of_the_list(at: str, likely: Sequence[str]) -> str:
    """The same of the vehicles of an issued list."""
    end = "" if len(likely) > NAMED else "."
    return (
        f"at **{at}, {len(likely)}** of the list's vehicles likely {_fail(len(likely))} to start{_named(likely)}{end}"
    )


def on_the_coldest(likely: int, *, of: int, possible: int) -> str:
    """The same of all depots together."""
    if not possible:
        return f"On the coldest morning of each depot's forecast {_NONE.format(of=count_words(of, 'vehicle'))}"
    return f"On the coldest morning of each depot's forecast {_likely(likely, of)}, possibly {possible} in all."


def _fail(count: int) -> str:
    return "fails" if count == 1 else "fail"


def _named(units: Sequence[str]) -> str:
    shown = ", ".join(unbroken(safe(u)) for u in units[:NAMED]) + (" …" if len(units) > NAMED else "")
    return f": {shown}" if units else ""


def happened(no_starts: int, listed: int) -> str:
    """How many no-starts happened, and how many of them were on the list."""
    return f"**{count_words(no_starts, 'no-start')} happened; {listed} {'was' if listed == 1 else 'were'} on the last list before.**"


def for_nothing(flags: int) -> str:
    return (
        f"**{count_words(flags, 'flag')} looked at and nothing found**; a backtest counts {'it' if flags == 1 else 'them'} "
        f"as flags for nothing."
    )
