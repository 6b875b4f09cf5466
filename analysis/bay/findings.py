"""From simple checks to the segment at fault: the findings of the decision table for one set of measurements.

Used for a whole reading and for the trade's simple tests: loaded check of control wire and coil, jumper start, outcome.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import Final

import numpy as np

from analysis.bay.choices import BOUNDARIES
from analysis.bay.conditions import Row
from analysis.bay.decision_table import FILLS, MISSING_WORDS, TABLE
from analysis.bay.facts import DROPS, Facts, number, with_derived
from analysis.bay.figures import beyond, both_degrees
from analysis.circuit.limits import LIMIT_KEYS, Limits, default_limits
from analysis.readings.outcomes import UNTURNED
from analysis.readings.panel import RAN_FREE

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
CRANKING: Final = "while cranking"
KEY_HELD: Final = "with the key held at crank"
"""When something is read: an engine that does not turn is not cranking."""
NO_PART: Final = ("none", "measurement", "charging", "not_starting_system")  # segments that leave the fault unnamed
WORDS: Final[dict[str, tuple[str, ...]]] = {
    "outcome": OUTCOMES, "jumper_start": JUMPER_RESULTS,
    "failed_before": OUTCOMES,  # how the last try of the same visit went at which the engine did not turn
}  # fmt: skip


@dataclass(frozen=True)
class Finding:
    """A row that applies, with its sentence filled in with values and limits; no next measurement where it was made.

    doubts: the measurement that is not believed, "" for none.
    """

    row: str
    segment: str
    sentence: str
    next_measurement: str
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
    return [_finding(row, facts, chosen) for row in _explained(met)]


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
    """The first of the values that are not believed, named and with its unit."""
    name = str(measurement.get("doubted") or "")
    if name not in MISSING_WORDS:
        return {}
    words, value = MISSING_WORDS[name], measurement.get("doubted_value")
    unit = {"v": "V", "a": "A"}.get(name.rsplit("_", 1)[-1], name.rsplit("_", 1)[-1])
    said = f"{words[:1].upper()}{words[1:]}, {value:g} {unit}," if isinstance(value, int | float) else words
    return {"doubted": name, "doubted_name": words, "doubted_said": said}


class _Said(dict[str, float | str]):
    """Values of a sentence; `value__limit` becomes "1.21 V at most 1.00 V" with digits enough to tell the two apart."""

    def __init__(self, facts: Facts, limits: Limits) -> None:
        super().__init__({key: float(getattr(limits, key)) for key in LIMIT_KEYS})
        self.update(facts)
        self.limits = limits

    def __missing__(self, key: str) -> str:
        name, _, bound = key.partition("__")
        if not bound:
            raise KeyError(key)
        value, limit = float(self[name]), float(self[bound])
        unit = str(getattr(self.limits, bound).unit) if hasattr(self.limits, bound) else bound[-1].upper()
        return beyond(value, limit, unit)


def _finding(row: Row, facts: Facts, limits: Limits) -> Finding:
    values = _Said(facts, limits)
    values["all_measured"] = _all_measured(facts)
    if isinstance(air_c := facts.get("temperature_c"), float | int):
        values["air"] = both_degrees(air_c)
    for part, name in DROPS.items():
        if f"{part}_at_usual_v" in facts:
            values[f"{part}_said"] = _drop_said(facts, part, name)
    following = row.next_measurement.format_map(values)
    sentence = row.sentence.format_map(values)
    return Finding(
        row.name, row.segment, sentence, _as_it_turns(_not_made_yet(following, facts), facts), row.minutes, row.source,
        _doubted_by(row, facts) or "",
    )  # fmt: skip


def _all_measured(facts: Facts) -> str:
    """What is said of all that was measured where none of it tells anything."""
    if any(name in facts for name in MISSING_WORDS):
        return "nothing that was measured says why"
    return "what was measured was set aside" if "doubted" in facts else "nothing was measured"


def _as_it_turns(following: str, facts: Facts) -> str:
    """What to measure, said for an engine that turns, as it should once its battery is charged, or that does not."""
    stands = facts.get("outcome") in UNTURNED and facts.get("outcome") != RAN_FREE and "charge" not in following
    return following.replace(CRANKING, KEY_HELD) if stands else following


def _drop_said(facts: Facts, part: str, name: str) -> str:
    """A drop as it was read, and where amps were other than usual, what it comes to at those."""
    read, at = number(facts, name), number(facts, f"{part}_at_usual_v")
    same_figure, no_amps = abs(at - read) < 0.005, read > BOUNDARIES.open_share * number(facts, "battery_now_v")
    if same_figure or no_amps:
        return f"{read:.2f} V"
    if "judged_at_a" not in facts:
        if at * number(facts, "cold_amps_times") >= read - 0.005:
            return f"{read:.2f} V in this cold, which is {at:.2f} V in the warm"
        flowed = number(facts, "crank_a")
        return f"{read:.2f} V at {flowed:.0f} A, which is {at:.2f} V at {at / read * flowed:.0f} A"
    amps = f"{number(facts, 'crank_a'):.0f} A" if "crank_a" in facts else "amps that nobody measured"
    return f"{read:.2f} V at {amps}, which is {at:.2f} V at the usual {number(facts, 'judged_at_a'):.0f} A"


def _not_made_yet(next_measurement: str, facts: Facts) -> str:
    """A row's next measurement, or what of it these measurements do not hold; "" where they hold all of it."""
    fills = FILLS.get(next_measurement, ())
    missing = [name for name in fills if name not in facts]
    if len(missing) == len(fills):
        return next_measurement
    return ", then ".join(MISSING_WORDS[name] for name in missing)
