"""What stands where workshop hours and closed days are set on the screen."""

from datetime import date
from typing import Final

from dashboard.words.plain_text import day

TITLE: Final = "Change hours and closed days"
NO_DEPOT: Final = (
    "No depot is known yet. Bring in a list of vehicles first, under Files: it says where each one stands."
)
NEXT_PLAN: Final = (
    "The next plan counts with them. What was changed, by whom and when stands in the logbook and can be undone."
)
WORKSHOP: Final = "Workshop"
USUAL: Final = "Usual week: hours for this work on each day"
SAVE_USUAL: Final = "Save the usual week"
USUAL_KEPT: Final = "The usual week at {depot} is saved. Plan again to count with it."
USUAL_KEPT_BESIDE: Final = (
    "The usual week at {depot} is saved. It counts in weeks without hours of their own: {count} coming weeks have such hours, "
    "listed below. Plan again to count with it."
)
OWN: Final = "A week that differs"
HOURS: Final = "Hours"
SAVE_WEEK: Final = "Save this week"
WEEK_KEPT: Final = "The hours of {week} at {depot} are saved. Plan again to count with them."
OWN_WEEKS: Final = "Weeks with hours of their own, which count instead of the usual week: {count}"
AS_USUAL: Final = "As usual"
USUAL_AGAIN: Final = "{week} at {depot} is as usual again. Plan again to count with it."
CLOSED: Final = "Closed: holidays and other days without work"
FROM: Final = "From"
TO: Final = "To, this day too"
EVERYWHERE: Final = "At every depot"
SAVE_CLOSED: Final = "Save closed days"
CLOSED_KEPT: Final = "The closed days are saved. Plan again to count with them."
OPEN: Final = "Open again"
OPEN_AGAIN: Final = "These days are open again. Plan again to count with them."
NOTHING: Final = "Nothing differs from what is on record."
WEEK_HOURS: Final = "{week}: {hours} h"


def closed_words(depot: str, first: date, last: date, why: str) -> str:
    days = day(first, weekday=True) if first == last else f"{day(first, weekday=True)} to {day(last, weekday=True)}"
    return f"{depot or 'Every depot'}: closed {days}" + (f", {why}" if why else "")
