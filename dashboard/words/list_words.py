"""What the page of the weekly list says."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from analysis.constants import DAYS_PER_YEAR
from analysis.forecast.tally import Tally
from dashboard.words.plain_text import count_words, day
from dashboard.words.reasons import OUTCOME_WORDS

CHANGE_WORDS: Final = {"new": "new", "worse": "worse", "better": "better", "same": "as before", "first": "first list"}
BY_RANK: Final = "by rank"
THE_LIST: Final = "The list"
GONE_SINCE: Final = "Gone since"
TABLE_AND_PAPER: Final = "Table and paper"
BEING_WORKED_OUT: Final = "The list of {week} is being worked out; meanwhile this is the one issued before."
EARLIER: Final = "This is an earlier list, as it was issued. The newest is that of {newest}."
ISSUED: Final = "Issued"
ISSUED_AT: Final = "{moment} ({version} of {count})"
ISSUED_SINCE: Final = "This list was issued again since; here it stands as it was."
ISSUE: Final = "Issue the list of {week}"
IS_ISSUED: Final = "The list of {week} is issued."
WAS_ISSUED: Final = "The list of {week} was issued meanwhile; this is it."
ISSUE_AGAIN: Final = "Issue this list again …"
ISSUE_AGAIN_HELP: Final = (
    "With everything known before today. The list issued before stays on record and can be read here."
)
WHY_AGAIN: Final = "Why it is issued again"
AGAIN: Final = "Issue again"
SAY_WHY: Final = "Say why it is issued again; any short text will do."
BY: Final = "Issued by {who} {when}."
FORECAST: Final = " (forecast {low} on {day})"
COLDEST: Final = "Coldest morning to be expected in that time: {lows}."
BRING_CLIMATE: Final = "Bring in a file of the climate or of daily lows, then issue the list"
ORDER: Final = "Order"
NONE_LEFT: Final = "No vehicle on this list with these filters."
NONE_NEEDS: Final = "No vehicle needs attention."
PAGE: Final = "Page"
PARKED: Final = "Postponed or looked at ({count})"
COMING_LOW: Final = "Coming low {low}"
CHANGES: Final = " {new} new, {worse} worse, {gone} gone since {before}."
CHANCE: Final = "No-start **{chance}** · {act}"
LAST_READ: Final = "Last read {day}"
STARTS: Final = "Starts **{down_to}**"
FIRST_LIST: Final = "This is the first list; there is none to compare with."
NONE_GONE: Final = "No vehicle has left the list."
WAS_ON_LIST: Final = "Was on the list for its {part} ({chance}). Gone because: {why}."
NO_START_HEAD: Final = "no-start"
STARTS_HEAD: Final = "starts down to"
COMING_LOW_HEAD: Final = "coming low"
ACT_BY_HEAD: Final = "act by"
LAST_READ_HEAD: Final = "last read"
ACTION_HEAD: Final = "what to do"
TABLE_ALT: Final = "The weekly list as a table"
PRINTED: Final = "List for printing (PDF)"

NOT_ISSUED: Final = "The list of {week} is not issued: this is how it would be with what was known before {day}."
ISSUED_AGAIN: Final = "Issued again on {day} ({by}): {reason}."
RESPONSIBLE: Final = "Responsible at {named}."
CLIMATE_ASSUMED: Final = (
    "No climate is known of {depots}: mornings of about {middle} all year round, two in three between {low} and {high}, are "
    "assumed there"
)
SPELLS_ASSUMED: Final = (
    "Cold spells of {depots} are taken to be as at other places whose lows vary as much: a file of a year's daily lows "
    "(lows.csv) would tell"
)
SELDOM_READ: Final = (
    "{count} of {of} vehicles were read less than twice in the year before: wear that comes between readings is not seen, and few "
    "no-starts of such vehicles are foreseen; read them at every service, and once before the cold"
)
MANY_EXPECTED: Final = (
    "Of the last {months} this list would have expected {expected}, and {came} on record, too few for chance: mornings were milder "
    "than the climate says, vehicles stand warm, or failed starts are not written down. Read its chances as upper bounds. Record every "
    "failed start, bring in daily lows (lows.csv), and give vehicles that stand warm a depot of their own with its lows"
)
FEW_EXPECTED: Final = (
    "Of the last {months} this list would have expected {expected}, and {came} on record, too many for chance: mornings were colder than "
    "the climate says, or starts failed that had nothing to do with the starting circuit. Read its chances as lower bounds. Bring in "
    "daily lows (lows.csv), and record what lacked fuel or ignition as '{cranked}'"
)
OUT_OF_SERVICE: Final = "the vehicle is out of service"
WORK_ON: Final = "{work} on {day}"
VISIT_ON: Final = "visit on {day}: {found}"
LOOKED_ON: Final = "looked at, nothing found, on {day}"
NOT_AGAIN: Final = "its failed start of {day} did not come again: it counts as fuel, ignition or a mistake by now"
FELL: Final = "its probability fell from {then} to {now}"
BELOW: Final = "its probability, {then} then and {now} now, is below what puts a vehicle on the list"
READ_AGAIN: Final = "read again on {day}: {change}"
WITHOUT_READING: Final = "{change} without a new reading: the coming weeks look milder, or the fleet taught more"
DRAG_CAUSE: Final = "cause of the engine drag {action}"


def head(week: str, as_of: str, *, needing: int, of: int, changes: str, days: int) -> str:
    """Which list it is and how many vehicles are on it; changes: CHANGES, "" where there is no list before."""
    return (
        f"**{week}**, with everything known before {day(as_of, weekday=True)}: **{needing} of {count_words(of, 'vehicle')}** "
        f"need{'s' if needing == 1 or of == 1 else ''} attention.{changes} Probabilities are for a no-start within {days} days if "
        f"nothing is done."
    )


def part_shown(of: int, rows: Sequence[Mapping[str, Any]], *, changes: bool) -> str:
    """That filters leave a part of the list, and how much of it is new or worse."""
    new, worse = (sum(row.get("change") == change for row in rows) for change in ("new", "worse"))
    tail = f", {new} new, {worse} worse" if changes and rows else ""
    return f"Below stand {len(rows)} of these {of} vehicles{tail}."


def unjudged(count: int) -> str:
    one = count == 1
    return (
        f"{count} vehicle{' has' if one else 's have'} too few readings to be judged; {'it is' if one else 'they are'} "
        f"not known to be healthy."
    )


def was(before: str, *, cold: bool) -> str:
    """What a figure was on the list before: a chance, or how cold it started."""
    if not cold:
        return f"was {before}"
    return f"started {before}" if before.startswith("below") else f"started down to {before}"


def past_words(tally: Tally) -> str:
    """How many no-starts looks at the past expected, and how many are on record, where they differ by more than chance."""
    came = round(tally.came)
    return (MANY_EXPECTED if tally.times > 1.0 else FEW_EXPECTED).format(
        months=count_words(round(12.0 * tally.days / DAYS_PER_YEAR), "month"),
        expected=count_words(round(tally.expected), "no-start"),
        came=f"{came or 'none'} {'is' if came < 2 else 'are'}",
        cranked=OUTCOME_WORDS["cranks_only"],
    )
