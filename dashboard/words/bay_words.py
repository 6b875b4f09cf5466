"""What the bay's page says of the fields to fill in today."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from dashboard.words.reasons import PART_WORDS

COUNTS: Final = ("None", "One", "Two", "Three", "Four", "Five", "Six", "Seven")
THE_REST: Final = "The rest, in the order of the work"


def today_words(names: Sequence[str], suspect: str, *, never: bool) -> str:
    """How many values are enough today, and why those; the air's temperature is not counted."""
    number = sum(name != "temperature_c" for name in names)
    count = COUNTS[number] if number < len(COUNTS) else str(number)
    why = f": {PART_WORDS[suspect]} suspected" if suspect else ": never all measured here" if never else ""
    return f"{count} {'is' if number == 1 else 'are'} enough today{why}"
