"""From simple checks to the segment at fault: the findings of the decision table for one set of measurements.

Used for a whole reading and for the trade's simple tests: loaded check of control wire and coil, jumper start, outcome.
Every finding carries a caution, because batteries give off explosive gas and starter cables carry hundreds of amps.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from analysis.bay.conditions import Facts, Row
from analysis.bay.decision_table import FILLS, MISSING_WORDS, TABLE
from analysis.circuit.limits import LIMIT_KEYS, Limits, default_limits

CAUTION: Final = (
    "Chock the wheels, out of gear, keep clear of belts and fan; no sparks near the battery; "
    "follow the vehicle maker's procedure."
)
OUTCOMES: Final = ("started", "slow", "no_start", "no_click", "click", "chatter", "spins", "cranks_only")
JUMPER_RESULTS: Final = ("cranks", "no_crank", "fuse_opens")
NUMBERS: Final = (
    "control_loaded_v",  # left on the control wire at the relay socket under the tester's load
    "coil_loaded_v",  # the same, measured at the coil's end of the wire: what splits wire from coil
    "coil_alone_v",  # the same on the coil alone, its wire taken off
    "rest_v",
    "crank_min_v",
    "crank_a",
    "peak_a",
    "drop_positive_v",
    "drop_ground_v",
    "drop_contacts_v",
    "drop_control_v",
    "coil_a",
    "crank_rpm",
    "temperature_c",
    "usual_crank_a",  # the class's median amps at this temperature
    "usual_rpm",
)
WORDS: Final[dict[str, tuple[str, ...]]] = {"outcome": OUTCOMES, "jumper_start": JUMPER_RESULTS}


@dataclass(frozen=True)
class Finding:
    """A row that applies, with its sentence filled in with values and limits; no next measurement where it was made."""

    row: str
    segment: str
    sentence: str
    next_measurement: str
    minutes: int
    source: str
    caution: str = CAUTION


def locate_segment(measurement: Mapping[str, object], *, limits: Limits | None = None) -> list[Finding]:
    """Return every row of the table that the measurements meet, in the table's order; empty where nothing is amiss.

    :param measurement: values by name, as in NUMBERS and WORDS; None, NaN and "" count as not measured; other names
        are left alone, so that a whole reading may be passed
    :param limits: limits of the vehicle; None for 12 V, light duty
    :raises ValueError: a number that is none, or a word outside the allowed ones
    """
    facts = _facts(measurement)
    chosen = default_limits(12) if limits is None else limits
    return [_finding(row, facts, chosen) for row in TABLE if all(holds(facts, chosen) for holds in row.conditions)]


def _facts(measurement: Mapping[str, object]) -> dict[str, float | str]:
    """The measurements that were made, checked."""
    facts: dict[str, float | str] = {}
    for name in NUMBERS:
        value = measurement.get(name)
        if value is None or value == "":
            continue
        try:
            number = float(str(value))
        except ValueError as error:
            raise ValueError(f"{name} is {value!r}, but must be a number") from error
        if math.isinf(number):
            raise ValueError(f"{name} is {value!r}, but must be a finite number")
        if not math.isnan(number):
            facts[name] = number
    for name, words in WORDS.items():
        word = measurement.get(name)
        if word is None or word == "" or word != word:
            continue
        if word not in words:
            raise ValueError(f"{name} is {word!r}; allowed are {', '.join(words)}")
        facts[name] = str(word)
    return facts


def _finding(row: Row, facts: Facts, limits: Limits) -> Finding:
    values: dict[str, float | str] = {key: float(getattr(limits, key)) for key in LIMIT_KEYS}
    values.update(facts)
    if isinstance(air_c := facts.get("temperature_c"), float | int):
        values["temperature_f"] = 1.8 * float(air_c) + 32.0
    sentence = row.sentence.format(**values)
    return Finding(row.name, row.segment, sentence, _not_made_yet(row, facts), row.minutes, row.source)


def _not_made_yet(row: Row, facts: Facts) -> str:
    """The row's next measurement, or what of it these measurements do not hold; "" where they hold all of it."""
    fills = FILLS.get(row.next_measurement, ())
    missing = [name for name in fills if name not in facts]
    if len(missing) == len(fills):
        return row.next_measurement
    return ", then ".join(MISSING_WORDS[name] for name in missing)
