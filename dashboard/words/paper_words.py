"""What stands on paper alone: the weekly list, a vehicle's sheet, a blank bay sheet, codes for windscreens."""

from typing import Final

from dashboard.words import list_words, vehicle_words
from dashboard.words.plain_text import count_words, day

LIST_HEADS: Final = (
    "", "vehicle", "part, how sure", list_words.NO_START_HEAD, list_words.STARTS_HEAD, list_words.ACT_BY_HEAD, "why and what",
    "decided",
)  # fmt: skip
PAGE: Final = "page {page}"
READ_ON: Final = "read {day}"
STANDS: Final = (
    "No-start within {days} days: <b>{chance}</b>. Starts <b>{cold}</b> ({cold_range}). Suspect: <b>{part}</b>, {sure} "
    "({share}). Act by: <b>{day}</b>."
)
WHAT_TO_DO: Final = "What to do: <b>{action}.</b>"
MEASURE_NEXT: Final = "Measure next: {what}"
START_HEAD, TAKEN_HEAD = "start", "taken"
AT_MOST: Final = "at most "

LIST_TITLE: Final = "Weekly list {week}"
GONE: Final = "Gone since the list before"
SHEET_TITLE: Final = "Vehicle {unit}, knowledge before {day}"
LAST_READINGS: Final = "Last readings"
DOUBTFUL: Final = "? doubtful: kept, but not used in the judgement"
NONE_ON_RECORD: Final = "none on record"
NOTES: Final = "Notes"
NO_REASON: Final = "no reason"
NONE_DUE: Final = "No vehicle is due."
BAY_SHEET: Final = "Bay sheet"
VEHICLE: Final = "Vehicle {unit}"
DAY_AND_TIME: Final = "Day and time"
MEASURED_BY: Final = "Measured by"
WORK_DONE: Final = "Work done, remarks"
CODES_TITLE: Final = "Codes for windscreens; cut along the lines"
CODE_HELP: Final = "Point a phone's camera at the code to enter a measurement."


def part_heads(temperature: str) -> tuple[str, ...]:
    level = vehicle_words.LEVEL_AT.format(temperature=temperature)
    return ("part", level, "usual in class", vehicle_words.A_MONTH_ADDS, "suspect", vehicle_words.RENEWED_STARTS)


def bay_heads(last_on: str) -> tuple[str, ...]:
    """Heads of a bay sheet; last_on: the day of the last reading."""
    return ("measure", "limit", f"last ({last_on})", "now")


def list_line(as_of: str, *, days: int, needing: int, of: int, shown: int) -> str:
    """What the list of the day `as_of` is about; where only some of the vehicles that need attention stand on the paper, that."""
    part = (
        ""
        if shown == needing
        else f" Here stand {shown} of these {needing}, as chosen by depot, class or part; those gone are of all."
    )
    return (
        f"Knowledge before {day(as_of)}; no-start within {days} days if nothing is done; {needing} of "
        f"{count_words(of, 'vehicle')}.{part}"
    )
