"""What is to be known about a plan before its visits: for each key of a note of `analysis.plan` its sentence.

A plan on record holds the sentences, with parts as the files call them; `plan_words.noted` calls them as the trade does.
"""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from analysis.plan.result import Note
from analysis.readings.renewals import PARTS
from dashboard.words.plain_text import count_words

STAND_INS: Final = "planned with the settings"
"""What a note says where a price, an hour or a delivery time is not the user's own."""
_SET_THEM: Final = ", or set them on the plan's page"
_WAITING: Final = f"{_SET_THEM}; the vehicles left out show what waiting risks."

NOTES: Final[Mapping[str, str]] = {
    "some_not_on_record": f"Not on record for some parts, and so {STAND_INS}: {{assumed}}. A parts.csv gives them, or the page Settings.",
    "none_on_record":
        f"No parts.csv was imported and nothing set in its place, so all is {STAND_INS}: {{assumed}}. Import one, or set them on the page "
        "Settings.",
    "no_hours_known":
        "No workshop hours are known, so no visit can be planned: import a workshops.csv (columns depot and hours_per_week)"
        f"{_WAITING}",
    "no_hours_anywhere":
        "No workshop has any hours in these weeks, so no visit can be planned: give more hours_per_week in workshops.csv"
        f"{_WAITING}",
    "no_hours_at":
        "No workshop hours in these weeks at {depots}: vehicles there are left out; give their hours_per_week in workshops.csv"
        f"{_SET_THEM}.",
    "weeks_without_hours":
        "workshops.csv gives {depot} no hours for {missing}: no work is planned there then; add these weeks, or a row without "
        "week_from for the usual week.",
    "no_depot_known": "No depot is known for {units}: they are left out; give their depot in units.csv.",
    "delivered_after":
        "Delivery of {part} takes {days:g} days, longer than this plan of {weeks}: none can be replaced within it; order now.",
    "pin_of_nobody": "The pin of {unit} in {week} names no vehicle in service and is left aside.",
    "pinned_after": "{unit} is pinned to {week}, after the plan's last week {last}.",
    "pinned": "{unit} is pinned to {week}, but {why}: the visit is not planned.",
    "accepted": "{unit} was accepted on {on}, but {why}: it is not in the plan.",
    "week_full":
        "{unit} was to come in a fixed week that has no hours or places left for it: every other week was looked at.",
    "fixed_week": "{unit} was to come in a fixed week, but {why}: the visit is not planned.",
}  # fmt: skip
WHY: Final[Mapping[tuple[str, str], str]] = {
    ("pinned", "postponed"): "it is postponed until {until}",
    ("pinned", "no_part"): "the part cannot be there by then",
    ("pinned", "leaves"): "its last day in service is {until}",
    ("accepted", "no_depot"): "it has no depot",
    ("accepted", "no_room"): "no week has the hours and places for it",
    ("accepted", "leaves"): "nothing can be done before its last day in service, {until}",
    ("fixed_week", "no_depot"): "has no depot",
    ("fixed_week", "no_room"): "the hours or places of that week do not reach for it",
}
"""Key of a note and why a visit is not planned -> what is said of it."""
MOST_NAMED: Final = 5  # our choice
ASSUMED: Final = {"price": "prices", "labour_h": "labour hours", "lead_days": "delivery times"}


def note_words(note: Note | str) -> str:
    """A note as a sentence; one of a plan on record is one."""
    if isinstance(note, str):
        return note
    figures: dict[str, Any] = dict(note.figures)
    if "why" in figures:
        figures["why"] = WHY[note.key, figures["why"]].format(**figures)
    for name in ("units", "missing"):
        if name in figures:
            figures[name] = _some(figures[name])
    if "depots" in figures:
        figures["depots"] = ", ".join(figures["depots"])
    if "weeks" in figures:
        figures["weeks"] = count_words(figures["weeks"], "week")
    if "assumed" in figures:
        figures["assumed"] = "; ".join(
            _assumed(column, dict(of), figures["currency"]) for column, of in figures["assumed"]
        )
    return NOTES[note.key].format(**figures)


def _assumed(column: str, of: Mapping[str, float], currency: str) -> str:
    """What stands in for one column of the parts file: part -> its value."""
    unit = {"price": currency, "labour_h": "h", "lead_days": "days"}[column]
    if len(of) == len(PARTS) and len(set(of.values())) == 1:
        return f"{ASSUMED[column]}: {next(iter(of.values())):g} {unit} for each part"
    return f"{ASSUMED[column]}: {', '.join(f'{part} {value:g} {unit}' for part, value in of.items())}"


def _some(names: Sequence[str]) -> str:
    """The first few of many names, and how many more there are."""
    head = ", ".join(names[:MOST_NAMED])
    return head if len(names) <= MOST_NAMED else f"{head} and {len(names) - MOST_NAMED} more"
