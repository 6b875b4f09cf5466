"""From simple checks to the segment at fault: the findings of the decision table for one set of measurements.

Used for a whole reading and for the trade's simple tests: loaded check of control wire and coil, jumper start, outcome.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import Final

import numpy as np

from analysis.bay.conditions import Row
from analysis.bay.decision_table import FILLS, TABLE
from analysis.bay.facts import Facts, number, with_derived
from analysis.circuit.limits import LIMIT_KEYS, Limits, default_limits

OUTCOMES: Final = ("started", "slow", "no_start", "no_click", "click", "chatter", "spins", "cranks_only")
JUMPER_RESULTS: Final = ("cranks", "no_crank", "fuse_opens")
MEASURED_HERE: Final = (
    "rest_v", "crank_min_v", "crank_dip_v", "crank_a", "peak_a", "drop_positive_v", "drop_ground_v", "drop_contacts_v",
    "drop_control_v", "coil_a", "pull_in_a", "crank_rpm", "charging_v", "temperature_c", "feed_v",
    "control_loaded_v",  # left on the control wire at the relay socket under the tester's load
    "coil_loaded_v",  # the same, measured at the coil's end of the wire: what splits wire from coil
    "coil_alone_v",  # the same on the coil alone, its wire taken off
    "tester_load_ohm",
)  # fmt: skip
NUMBERS: Final = (
    *MEASURED_HERE,
    # usual in the class at the reading's temperature
    "usual_crank_a", "usual_rpm", "usual_peak_a", "usual_crank_v", "usual_battery_mohm", "usual_motor_mohm", "usual_coil_ohm",
    "usual_drop_positive_v", "usual_drop_ground_v", "usual_drop_contacts_v", "usual_drop_control_v", "usual_rest_v",
    # what the vehicle's own earlier readings make it at that temperature
    "own_crank_a", "own_rpm", "own_peak_a", "own_crank_v", "own_battery_mohm", "own_motor_mohm", "own_coil_ohm", "own_rest_v",
    "own_drop_positive_v", "own_drop_ground_v", "own_drop_contacts_v", "own_drop_control_v",
    "battery_own_doubt", "positive_own_doubt", "ground_own_doubt", "contacts_own_doubt", "control_own_doubt",  # relative, of what they make the part
    "usual_warm_a",  # steady amps at 20 °C, at which limits on drops are meant
    "cold_amps_times",  # how many times the warm amps the cold takes, by the laws of temperature
    "load_doubt", "battery_doubt",  # relative, of what the laws say at this temperature
    "aid_a",  # of glow plugs or an intake heater beside the starter at this temperature
    "told_c",  # temperature that all of the reading goes with, where it does not with the one noted
    "cca_a",  # cold-cranking amps of all blocks that stand beside each other
    "agm",  # 1 where the battery is one
)  # fmt: skip
TELLING: Final = (*(name for name in MEASURED_HERE if name not in ("temperature_c", "tester_load_ohm")), "jumper_start")
"""What rows tell by, and ask for: temperature and tester's load only belong to it."""
NO_PART: Final = ("none", "measurement", "charging", "not_starting_system")  # segments that leave the fault unnamed
WORDS: Final[dict[str, tuple[str, ...]]] = {
    "outcome": OUTCOMES, "jumper_start": JUMPER_RESULTS,
    "failed_before": OUTCOMES,  # how the last try of the same visit went at which the engine did not turn
}  # fmt: skip


@dataclass(frozen=True)
class Finding:
    """A row that applies, by its key, with all facts and limits that it was found by.

    following: key of what is measured next, "" where nothing is or all of it was made; left: what of it is still to be
    measured, empty for all of it; doubts: the measurement that is not believed, "" for none.
    """

    row: str
    segment: str
    facts: Facts
    following: str
    left: tuple[str, ...]
    minutes: int
    source: str
    doubts: str = ""


def locate_segment(measurement: Mapping[str, object], *, limits: Limits | None = None) -> list[Finding]:
    """What the measurements point to, the likeliest first; empty where nothing is amiss.

    Rows stand in the table's order, drops by how far they are beyond their limits. What an earlier row explains is not
    named after it, and rows that stand alone only where no part is; what is good comes last.

    :param measurement: values by name, as in NUMBERS and WORDS; "doubted" for the name of a value that is stored but not
        believed, "doubted_value" for it; "twice" for names of values that were measured twice. None, NaN and "" count as
        not measured; other names are left alone, so that a whole reading may be passed
    :param limits: limits of the vehicle; None for 12 V, light duty
    :raises ValueError: a number that is none, or a word outside the allowed ones
    """
    chosen = default_limits(12) if limits is None else limits
    facts = with_derived(_facts(measurement), chosen)
    twice = str(facts.get("twice", "")).split(",")
    met = [
        row for row in _by_size(facts)
        if all(holds(facts, chosen) for holds in row.conditions) and _doubted_by(row, facts) not in twice
    ]  # fmt: skip
    told = {key: float(getattr(chosen, key)) for key in LIMIT_KEYS} | facts
    return [_finding(row, told) for row in _explained(met)]


def _doubted_by(row: Row, facts: Facts) -> str | None:
    """The measurement that a row does not believe, None for rows that believe all."""
    return str(facts.get(row.doubts, row.doubts)) if row.doubts and row.doubts not in NUMBERS else row.doubts or None


def _by_size(facts: Facts) -> list[Row]:
    """The table with rows that have a size in order of it, the largest first, where they stand together."""
    rows: list[Row] = []
    for sized, group in groupby(TABLE, key=lambda row: bool(row.size)):
        own = list(group)
        rows += sorted(own, key=lambda row: -np.nan_to_num(number(facts, row.size))) if sized else own
    return rows


def _explained(met: list[Row]) -> list[Row]:
    """Rows without those that an earlier one explains; "none" last."""
    shown: list[Row] = []
    hidden: set[str] = set()
    for row in met:
        if row.segment in hidden or (row.alone and any(one.alone or one.segment not in NO_PART for one in shown)):
            continue
        shown.append(row)
        hidden |= set(row.hides)
    return sorted(shown, key=lambda row: row.segment == "none")


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
    if twice := str(measurement.get("twice") or ""):
        facts["twice"] = twice
    return facts | _doubted(measurement)


def _doubted(measurement: Mapping[str, object]) -> dict[str, float | str]:
    """The first of the values that are not believed, and what was read."""
    name = str(measurement.get("doubted") or "")
    if name not in TELLING:
        return {}
    value = measurement.get("doubted_value")
    return {"doubted": name, **({"doubted_value": value} if isinstance(value, int | float) else {})}


def _finding(row: Row, facts: Facts) -> Finding:
    fills = FILLS.get(row.following, (row.following,) if row.following in TELLING else ())
    left = tuple(name for name in fills if name not in facts)
    made = bool(fills) and not left
    return Finding(
        row.name, row.segment, facts, "" if made else row.following, () if left == fills else left, row.minutes, row.source,
        _doubted_by(row, facts) or "",
    )  # fmt: skip
