"""Monday's post in words: what a mail says, and what went wrong with it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from dashboard.words.plain_text import clean, count_words

LATER: Final = "the list stays issued, and the next call sends what was not sent"


def line(text: str) -> str:
    """What a person typed, in one line in which nothing means anything to a mail server."""
    return clean(" ".join(text.split()))


def subject(week: str, version: int, depot: str) -> str:
    """The head of a mail."""
    again = f", issued again ({version})" if version > 1 else ""
    return f"Starting systems, week {week}{again}" + (f": {line(depot)}" if depot else "")


def body(week: str, depot: str, vehicles: int, visits: int, address: str, names: Sequence[str]) -> str:
    """What a mail says."""
    where = f" at {line(depot)}" if depot else ""
    screens = f"\nThe screens: {address}\n" if address else ""
    verb = "needs" if vehicles == 1 else "need"
    return (
        f"The weekly list of {week}: {count_words(vehicles, 'vehicle')}{where} {verb} attention.\n"
        f"The plan: {count_words(visits, 'visit')} to come{where}.\n{screens}\nAttached: {', '.join(names)}.\n"
    )


def mailed(sent: Sequence[str], before: int) -> str:
    """What became of the mail."""
    if not sent:
        return (
            f"mailed before to all {before} recipients; nothing is sent twice" if before else "nobody is to get a mail"
        )
    already = f"; {before} had it before" if before else ""
    return f"mailed to {', '.join(line(one) for one in sent)}{already}"


def not_mailed(recipients: Sequence[str], server: str, why: str) -> str:
    """Why a mail did not go."""
    return f"no mail to {', '.join(line(one) for one in recipients)}: {line(server)} says {line(why)}; {LATER}"
