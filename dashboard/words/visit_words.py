"""A planned visit in words: what it is for, what was found, what was done, and how often the part expected was the one."""

from collections.abc import Mapping
from typing import Any, Final

from dashboard.words.plain_text import as_sentence, count_words, day, percent
from dashboard.words.reasons import PART_WORDS, several

FOUND_WORDS: Final = {
    "worn": "worn or faulty",
    "sound": "sound",
    "other": "sound, but another part was at fault",
    "not_known": "cannot be told yet",
}
NO_PART_FOUND: Final = {
    "other": "a part was at fault",
    "sound": "nothing was at fault",
    "not_known": "cannot be told yet",
}
SOMETHING_ELSE: Final = "something else"
ASKED: Final = "What did you find?"
CLOSED: Final = "Visit closed"
REPORT: Final = "Report it done"
WORK_ORDER: Final = "Work order (PDF)"
SAVE: Final = "Save: the visit is done"
SAY_FIRST: Final = "Say first what you found"
PLANNED: Final = "Planned for"
WHICH: Final = "Which"
ON_PARTS: Final = "On which parts"
DONE_BY: Final = "Done by, your name"
BEFORE: Final = "Enter the reading before the work"
AFTER: Final = "The reading after"
KEPT: Final = "The visit is closed; what was reported is on record."
DOUBTED: Final = "{doubt} It is kept, but not used."
NO_LONGER: Final = "This visit is not in the newest plan; if the work was done, report it all the same."
VISITS: Final = "Visits"
DONE: Final = "Done"
REPORT_OF: Final = "Report the visit of"
CORRECT: Final = "Correct this report, or take it back"
ISSUE_FIRST: Final = "Issue the plan first; then its visits can be printed."
NONE_TO_COME: Final = "No visit is to come."
MORE_DONE: Final = "more are in the plan's export."
ORDER: Final = "Work order"
TO_DO: Final = "To do"
WITH_SERVICE: Final = ", with its service"
PARTS: Final = "Parts"
NO_PARTS: Final = "none"
ORDER_BY: Final = "to be ordered by"
WHO_ASKED: Final = ("Done by", "Day and time", "Hours")
REMARKS: Final = "Remarks"
NOT_MEANT: Final = (
    "There is no visit in the plan for this vehicle. A repair without one is put on record under Repairs and starts."
)
NO_CODE: Final = "The code is missing, because a phone cannot reach these screens: set their address under Settings, then print this again."
CODE_HELP: Final = "Done? Point a phone's camera here and report what was found, what was done and the reading after."


def asked_words(part: str) -> str:
    """The question of what was found, with the part that was expected, "" for none."""
    return f"{PART_WORDS[part].capitalize()}: {ASKED}" if part else ASKED


def found_words(part: str) -> Mapping[str, str]:
    """What can have been found at a visit for a part, "" for none, in the words of a button."""
    return FOUND_WORDS if part else NO_PART_FOUND


def found_said(visit: Mapping[Any, Any]) -> str:
    """What a visit found: "the battery was worn or faulty"."""
    part, found, other = str(visit["part"]), str(visit["found"]), str(visit.get("other_part", ""))
    if found == "other":
        named = f"the {PART_WORDS[other]}" if other else SOMETHING_ELSE
        fault = f"{named} {_was(other)} at fault"
        return f"the {PART_WORDS[part]} {_was(part)} sound, {fault}" if part else fault
    if not part:
        return NO_PART_FOUND.get(found, found)
    return f"the {PART_WORDS[part]} " + (
        "cannot be judged yet" if found == "not_known" else f"{_was(part)} {FOUND_WORDS[found]}"
    )


def _was(part: str) -> str:
    """The verb of a part, "" for none: contacts were."""
    return "were" if several(PART_WORDS.get(part, "")) else "was"


def work_said(visit: Mapping[Any, Any]) -> str:
    """What was done at a visit, "" for nothing: "battery replaced"."""
    done = [one.split(" ") for one in str(visit.get("work", "")).split(";") if one]
    return ", ".join(f"{PART_WORDS.get(part, part)} {action}" for part, action in done)


def closed_words(visit: Mapping[Any, Any]) -> str:
    """A visit that was reported, in a sentence without what anybody typed."""
    work = work_said(visit)
    return f"{CLOSED} on {day(visit['done_on'])}: {found_said(visit)}{f'; {work}' if work else ''}."


def right_part_words(right: int, looked: int, low: float, high: float) -> str:
    return as_sentence(
        f"of {looked} visits that looked at the part expected, it was the one at fault in {right} "
        f"({percent(right / looked)}; 80 % sure: {percent(low)} to {percent(high)})."
    )


def orders_words(count: int) -> str:
    return f"{count_words(count, 'work order')} (PDF)"


def measure_heads(last_on: str) -> tuple[str, ...]:
    """Heads of the table of what to measure; last_on: the day of the last reading."""
    return ("measure", "limit", f"last ({last_on})", "before", "after")
