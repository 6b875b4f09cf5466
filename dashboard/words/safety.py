"""What is said wherever somebody is sent to crank, to probe or to repair: every sentence once.

Common practice and TM 10-3930-671-24 (30 s, then 2 min); the vehicle maker's procedure comes before all of it.
"""

from typing import Final

STANDS: Final = "Neutral or park, wheels chocked."
BENEATH: Final = "Nobody under the vehicle while it is cranked; on stands if it is raised."
BATTERY: Final = "Ventilate; no sparks near the battery."
BODY: Final = "Eye protection, rings off, no loose sleeves near belts and fan."
DISABLE: Final = "Disable fuel or ignition by the maker's procedure before long cranking."
LEAD: Final = "Fused test lead, with the maker's fuse size."
CRANK: Final = "Crank no longer than the maker allows, 30 s at most, then let it cool for at least 2 min."
ALONE: Final = "A start-stop vehicle can start by itself: keep the key away from it."
JUMPER: Final = "The jumper bypasses the neutral or clutch switch: an engine in gear moves the vehicle."
AIRBAG: Final = "Never load-test airbag or steering-column wiring."
FROZEN: Final = "Never charge a frozen battery."
THAW: Final = (
    f"let it thaw in the warm before it is charged, jumped or cranked on; a case that bulges or leaks is done. {FROZEN}"
)
GROUND_FIRST: Final = "Disconnect the battery's ground first, connect it last."
HIGH_VOLTAGE: Final = "Not for high-voltage hybrid or electric traction systems."
MAKER: Final = "The vehicle maker's procedure, local rules and licensed practice come first."

CAUTIONS: Final = (
    STANDS, BENEATH, BATTERY, BODY, DISABLE, LEAD, CRANK, ALONE, JUMPER, AIRBAG, FROZEN, GROUND_FIRST, HIGH_VOLTAGE, MAKER,
)  # fmt: skip
FIRST: Final = (STANDS, BODY, CRANK)  # in bold where there is bold
WHEN: Final = (DISABLE, LEAD, ALONE, JUMPER, AIRBAG, FROZEN, GROUND_FIRST)  # said again with advice that asks for it
AT_ONCE: Final = tuple(one for one in CAUTIONS if one not in WHEN)
AND_WHEN: Final = "Long cranking, test leads, start-stop, jumper, airbags, charging, disconnecting"
SAFE_NOTE: Final = f"Before work, cranking or probing: {' '.join(CAUTIONS)}"
SAFE_LINE: Final = "In neutral, wheels chocked, nobody beneath, eye protection, 30 s at most"

_WITH: Final = (
    (("jumper",), JUMPER),
    (("belts",), ALONE),
    (("loaded check", "under load", "tester's load"), AIRBAG),
    (("load test", "load-test it", "overcharged"), BATTERY),
    (("charge ", "charged battery", "be charged"), FROZEN),
    (("by hand", "by eye", "taken out", "starter out", "on the bench", "replace the", "replace it", "one by one"), GROUND_FIRST),
    (("while cranking", "while the engine turns", "at crank", "at start", "starts", "cranking speed", "peak amps", "pull-in amps",
      "first moment", "largest drop", "drop across", "drop of the positive", "drop of the ground", "drop of the control"), DISABLE),
)  # fmt: skip
"""Words of an advice -> what has to be said with it."""


def in_bold(sentences: tuple[str, ...] = CAUTIONS) -> str:
    """What to mind, for a screen: the first things bold."""
    return " ".join(f"**{one}**" if one in FIRST else one for one in sentences)


def said_with(advice: str) -> str:
    """What has to be said with one advice, "" where nothing special has: it follows the advice, a space between."""
    text = advice.casefold()
    return " ".join(caution for words, caution in _WITH if any(word in text for word in words))


def with_caution(advice: str) -> str:
    """An advice with what has to be said with it."""
    caution = said_with(advice)
    if not caution:
        return advice
    stop = "" if advice.endswith((".", "!", "?")) else "."
    return f"{advice}{stop} {caution}"
