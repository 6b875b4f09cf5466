"""What is said of classes that begin from another fleet's laws."""

from analysis.worklist.teaching import Begun
from dashboard.words.plain_text import count_words, some


def begun_words(begun: Begun) -> list[str]:
    """A sentence on each: classes that begin from another fleet, and those whose own readings are too far from it."""
    out = []
    if begun.used:
        named = [
            f"{one.name} ({count_words(one.vehicles, 'vehicle')}, {count_words(one.readings, 'reading')})"
            for one in begun.used
        ]
        out.append(
            f"Usual values, cold and wear of {some(named)} begin from what another fleet has learned; "
            f"this fleet's own readings outweigh it as they come"
        )
    if begun.unlike:
        out.append(
            f"What another fleet has learned of {some(list(begun.unlike))} does not fit the readings here and is left out: "
            f"the vehicles may be of another make under the same name"
        )
    return out
