"""Monday's post in words: what a mail says, and what went wrong with it."""

from collections.abc import Sequence
from typing import Final

from dashboard.words.plain_text import as_sentence, clean, count_words

LIST_SHEET: Final = "weekly list"
LIST_NOTES_SHEET: Final = "notes on the list"
LATER: Final = "the list stays issued, and the next call sends what was not sent"


def line(text: str) -> str:
    """What a person typed, in one line in which nothing means anything to a mail server."""
    return clean(" ".join(text.split()))


def subject(week: str, version: int, depot: str) -> str:
    again = f", issued again ({version})" if version > 1 else ""
    return f"Starting systems, week {week}{again}" + (f": {line(depot)}" if depot else "")


def body(week: str, depot: str, vehicles: int, visits: int, address: str, names: Sequence[str]) -> str:
    where = f" at {line(depot)}" if depot else ""
    screens = f"\nThe screens: {address}\n" if address else ""
    verb = "needs" if vehicles == 1 else "need"
    return (
        f"The weekly list of {week}: {count_words(vehicles, 'vehicle')}{where} {verb} attention.\n"
        f"The plan: {count_words(visits, 'visit')} to come{where}.\n{screens}\nAttached: {', '.join(names)}.\n"
    )


def list_stands(week: str, told: str, vehicles: int) -> str:
    """That a list is issued now, or stands; told: when and by whom it was issued, "" for now."""
    words = f"stands as it was issued on {told}" if told else "is issued"
    return f"The list of {week} {words}; vehicles that need attention: {vehicles}."


def plan_stands(version: int, visits: int, *, new: bool) -> str:
    """That a version of the plan is issued now, or stands."""
    return f"Version {version} of the plan {'is issued' if new else 'stands'}; visits: {visits}."


def written(folder: str, names: Sequence[str]) -> str:
    return f"Written to {folder}: {', '.join(names)}."


def mailed(sent: Sequence[str], before: int, elsewhere: int) -> str:
    said = [f"mailed to {', '.join(line(one) for one in sent)}"] if sent else []
    said += [f"{count_words(before, 'recipient')} had it before; nothing is sent twice"] if before else []
    said += [f"another call is sending to {count_words(elsewhere, 'recipient')} now"] if elsewhere else []
    return as_sentence("; ".join(said)) + "."


def not_mailed(recipients: Sequence[str], server: str, why: str) -> str:
    return f"no mail to {', '.join(line(one) for one in recipients)}: {line(server)} says {line(why)}; {LATER}"
