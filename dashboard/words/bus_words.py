"""What a log of the bus says, in words."""

import math
from typing import Final

from analysis.logs.starts import BusStart
from dashboard.words.plain_text import count_words, number, temperature

WHICH_LOGS: Final = (
    "A log of a vehicle's bus: candump text, MDF4, or a table of signals over time (CSV). Starts are found by "
    "the engine's speed. Nothing is stored before you say so."
)
LOG: Final = "Log"
DBC: Final = "Your own data base of signals (DBC), if frames need one"
WHICH_VEHICLE: Final = "the vehicle that the log is of"
BEGAN: Final = "Log began (only where it holds no dates)"
NO_TIME: Final = "{text} is no time; allowed is a time as 2026-01-31T07:45."
LOOKING: Final = "Looking into the log …"
NO_DATES: Final = "The log holds no dates: say above when it began."
STORE: Final = "Store these starts"
STORED: Final = "{new} stored, {known} already known, {wrong} not believed."
AS_READING: Final = "as a reading"
STARTS_ALT: Final = "Starts found in the log"
WARM: Final = "the engine was warm, and a warm engine does not draw what the air's temperature says"
NOT_A_READING: Final = "no reading: {why}"
NOT_STORED: Final = "not stored: {why}"
AS_READING_NUMBER: Final = " as reading {number}"
KNOWN, IS_STORED, TO_BE_STORED = "already known", "stored", "to be stored"
SHOWN: Final = {
    "rest_v": "rest, V", "crank_min_v": "lowest, V", "crank_dip_v": "dip, V", "crank_s": "cranking, s",
    "crank_rpm": "speed, rpm", "temperature_c": "air",
}  # fmt: skip
"""Value of a start -> its head."""


def started_words(start: BusStart) -> str:
    if start.started is None:
        return "the log ends before it is known"
    return "started" if start.started else "did not start"


def start_words(start: BusStart) -> list[str]:
    said = [started_words(start)]
    if math.isfinite(start.rest_v):
        said.append(f"rest {number(start.rest_v, 2)} V")
    if math.isfinite(start.lowest_v):
        said.append(f"lowest {'at most ' if start.at_most else ''}{number(start.lowest_v, 2)} V")
    if math.isfinite(start.dip_v):
        said.append(f"dip {number(start.dip_v, 2)} V")
    if math.isfinite(start.crank_s):
        said.append(f"cranking {number(start.crank_s, 2)} ± {number(start.crank_s_se, 2)} s")
    if math.isfinite(start.crank_rpm):
        said.append(f"at {number(start.crank_rpm)} ± {number(start.crank_rpm_se)} rpm")
    for name, value in (("air", start.ambient_c), ("coolant", start.coolant_c)):
        if math.isfinite(value):
            said.append(f"{name} {temperature(value)}")
    return said


def sources_words(
    starts: int, speed_from: str, volts_from: str, others: tuple[str, ...], every_s: float, unread: int
) -> str:
    """How many starts a log holds, and where its figures are from."""
    said = [f"{count_words(starts, 'start')}, speed from {speed_from}"]
    if volts_from:
        every = f" every {number(every_s, 2)} s" if math.isfinite(every_s) else ""
        also = f" (also from {', '.join(others)})" if others else ""
        said.append(f"volts from {volts_from}{every}{also}")
    else:
        said.append("no volts")
    if unread:
        said.append(f"{count_words(unread, 'line')} left out that could not be read")
    return "; ".join(said)
