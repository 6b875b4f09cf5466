"""Where the volts go, in words: names of the segments, what each bar is, what to do, and the numbers behind it."""

import math
from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from analysis.bay.choices import EXPECTING
from analysis.bay.where_volts_go import (
    ASSUMED,
    BATTERY,
    BY_METER,
    CIRCUIT,
    COMING,
    DROP_OF,
    MOTOR,
    READ,
    REST,
    USUAL,
    WhereVoltsGo,
)
from dashboard.words.list_row import CHEAP_FIRST
from dashboard.words.plain_text import as_sentence, number, temperature
from dashboard.words.reading_sheet import VALUE_WORDS, reason_words
from dashboard.words.safety import with_caution
from ingest.values import joined

TITLE: Final = "Where the volts go"
AXIS: Final = "volts left, from the battery's rest volts down to zero"
SEGMENT_WORDS: Final = {
    BATTERY: "battery",
    "positive_cable": "positive cable",
    "solenoid_contacts": "solenoid contacts",
    MOTOR: "left for the motor",
    CIRCUIT: "rest of the circuit",
    "ground_path": "ground path",
}
SEVERAL: Final = ("solenoid_contacts",)  # that "lose", not "loses"
BAR_WORDS: Final = {
    READ: "This reading",
    USUAL: "Expected of a sound vehicle of its class",
    COMING: "Coming low, with the parts as last read",
}
BAR_SHORT: Final = {READ: "this reading", USUAL: "expected", COMING: "coming low"}
PALE: Final = "pale: not measured, the expected share is drawn."
MARKS: Final = "▼ least volts at the battery · ▲ most that the part in its colour may lose · thin line: 80 % sure"
PAPER_MARKS: Final = (
    "Triangle from above: least volts at the battery; from below: most that the part to its left may lose. White and "
    "dashed: not measured, the expected share."
)
NOT_TOLD: Final = (
    "The amps were not measured: whether a weak battery or too many amps take its volts is not told apart, nor what the "
    "cables, the contacts and the motor take. The steady amps and the three drops of one start would tell."
)
DROPS_NOT_TOLD: Final = "Not told apart from the motor's share: {parts}; drops while cranking would tell."
BUT_UNLIKE: Final = ", but the {part} {lose} {volts} V where {usual} V are usual"
NOTHING_OVER: Final = "No part loses more than it may"
MEASURED_OF: Final = {BATTERY: ("rest_v", "crank_min_v"), **{segment: (drop,) for segment, drop in DROP_OF.items()}}
LEAST_LIMIT_V: Final = 0.01  # [V] a limit under it divides nothing; a meter's last digit
COLUMNS: Final = ("bar", "part", "volts", "± V", "at most, V", "known from")
KNOWN_WORDS: Final = {"measured": "measured", ASSUMED: "expected, not measured", REST: "what is left"}


def bar_title(own: pd.DataFrame, *, fahrenheit: bool) -> str:
    """What a bar is: of what, at which temperature, amps and rest volts."""
    return f"{BAR_WORDS[str(own['bar'].iloc[0])]}: {conditions(own, fahrenheit=fahrenheit)}"


def conditions(own: pd.DataFrame, *, fahrenheit: bool) -> str:
    at_c, amps, rest = (float(own[name].iloc[0]) for name in ("temperature_c", "amps", "from_v"))
    flowing = f"{number(amps)} A" if math.isfinite(amps) else "amps not measured"
    return f"{temperature(at_c, fahrenheit=fahrenheit)}, {flowing}, {number(rest, 2)} V at rest"


def volts_said(row: Mapping[Any, Any]) -> str:
    """A segment's volts with their error, and its limit where it is over it."""
    said = f"{number(row['volts'], 2)} V ± {number(row['se_v'], 2)}"
    return f"{said}, at most {number(row['limit_v'], 2)} V" if row["over"] else said


def bar_text(own: pd.DataFrame, title: str) -> str:
    """A bar for those who cannot see it."""
    said = [f"{SEGMENT_WORDS[row['segment']]} {volts_said(row)}{_pale(row)}" for row in own.to_dict("records")]
    return f"{title}: {'; '.join(said)}."


def _pale(row: Mapping[Any, Any]) -> str:
    return " (not measured, expected)" if is_pale(row) else ""


def is_pale(row: Mapping[Any, Any]) -> bool:
    """Whether a segment of a reading was not measured, so that the expected share is drawn in its place."""
    return bool(row["bar"] == READ and row["known"] == ASSUMED)


def to_do(found: WhereVoltsGo, *, fahrenheit: bool, suspect: str = "") -> str:
    """What the bars say is to be done, in a sentence or two; suspect: the measurement that does not fit the others."""
    if found.why_not:
        return as_sentence(f"there is no bar of this reading: {reason_words(found.why_not)}.")
    own, coming = found.bar(READ), found.bar(COMING)
    if own["over"].any():
        return _over(own, found.bar(USUAL), "", suspect)
    if coming["over"].any():
        at = temperature(float(coming["temperature_c"].iloc[0]), fahrenheit=fahrenheit)
        return " ".join(
            filter(None, (_over(coming, found.bar(USUAL), f"at the coming low of {at} ", suspect), _not_told(own)))
        )
    when = ", now or at the coming low" if len(coming) else ""
    missing = [SEGMENT_WORDS[row["segment"]] for row in own.to_dict("records") if is_pale(row)]
    unlike = _unlike(own, found.bar(USUAL))
    if told := _not_told(own):
        return f"{NOTHING_OVER}{when}, as far as it was measured{unlike}. {told}"
    if missing:
        return f"{NOTHING_OVER}{when}{unlike}. Not measured: {joined(missing)}."
    return f"{NOTHING_OVER}{when}{unlike or ': nothing to do here'}."


def _not_told(own: pd.DataFrame) -> str:
    """What a reading leaves together with the motor, and what would tell it apart; "" where it is all told apart."""
    if (own["segment"] != CIRCUIT).all():
        return ""
    if not math.isfinite(float(own["amps"].iloc[0])):
        return NOT_TOLD
    parts = [SEGMENT_WORDS[segment] for segment in DROP_OF if segment not in set(own["segment"])]
    return DROPS_NOT_TOLD.format(parts=joined(parts))


def _unlike(own: pd.DataFrame, usual: pd.DataFrame) -> str:
    """The measured part that loses the most beyond a sound vehicle's, within its limit; "" where none does beyond the errors."""
    both = own[own["known"] == BY_METER].merge(usual, on="segment", suffixes=("", "_usual"))
    doubt = (both["se_v"] ** 2 + both["se_v_usual"] ** 2) ** 0.5
    rows = both.assign(beyond=(both["volts"] - both["volts_usual"]) / doubt).to_dict("records")
    far = [row for row in rows if row["beyond"] >= EXPECTING.moved_z]
    if not far:
        return ""
    row = max(far, key=lambda one: float(one["beyond"]))
    return BUT_UNLIKE.format(
        part=SEGMENT_WORDS[row["segment"]], lose="lose" if row["segment"] in SEVERAL else "loses",
        volts=number(row["volts"], 2), usual=number(row["volts_usual"], 2),
    )  # fmt: skip


def _over(own: pd.DataFrame, usual: pd.DataFrame, when: str, suspect: str) -> str:
    """The part that is furthest over its limit, by how much, and what is done about it first."""
    over = [row for row in own.to_dict("records") if row["over"]]
    row = max(over, key=lambda one: float(one["volts"]) / max(float(one["limit_v"]), LEAST_LIMIT_V))
    segment = str(row["segment"])
    sound = usual.loc[usual["segment"] == segment, "volts"]
    usually = f", {number(float(sound.iloc[0]), 2)} V is usual" if len(sound) and not when else ""
    verb = "would lose" if when else "lose" if segment in SEVERAL else "loses"
    lost = f"{when}the {SEGMENT_WORDS[segment]} {verb} {number(row['volts'], 2)} V; at most {number(row['limit_v'], 2)} V is allowed"
    if suspect and suspect in MEASURED_OF[segment]:
        return f"{as_sentence(lost)}{usually}. Measure the {VALUE_WORDS[suspect]} once more first: this value does not fit the others."
    return with_caution(f"{as_sentence(lost)}{usually}. {CHEAP_FIRST[segment]}.")


def numbers(found: WhereVoltsGo) -> pd.DataFrame:
    """The numbers behind the bars, a row per segment, as they are read."""
    rows = [
        (BAR_SHORT.get(r["bar"], r["bar"]), SEGMENT_WORDS[r["segment"]], number(r["volts"], 2), number(r["se_v"], 2),
         number(r["limit_v"], 2), KNOWN_WORDS[r["known"]])
        for r in found.shares.to_dict("records")
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=list(COLUMNS))
