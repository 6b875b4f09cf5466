"""What one reading says, in words: the same sentences for the vehicle's sheet, for `record`, for the bay and on paper."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from typing import Any, Final

import pandas as pd

from analysis.bay.against import Moved
from analysis.bay.findings import Finding
from analysis.bay.one_reading import (
    ASIDE,
    HARDLY_FLOWED,
    ONLY_A_BOUND,
    Charge,
    Closure,
    Identified,
    ReadingCheck,
)
from analysis.bay.sources import OWN_EARLIER
from analysis.bay.where_volts_go import CONTRADICT
from analysis.bay.whose import Whose
from analysis.circuit.battery import LOAD_TEST_F, celsius_from_fahrenheit, load_test_minimum_v
from analysis.circuit.load import NO_PEAK, NO_SPEED, NOT_ABOVE
from analysis.circuit.resistances import BELOW_ZERO, ELEMENTS, WITHOUT
from dashboard.words.figures import both_degrees
from dashboard.words.finding_words import finding_sentence
from dashboard.words.limit_words import CHECK_WORDS, held_to, sentence
from dashboard.words.next_words import ASKED, next_measurement
from dashboard.words.plain_text import as_sentence, in_reader_unit, number
from dashboard.words.reasons import PART_WORDS, several
from dashboard.words.safety import FROZEN, THAW, said_with
from ingest.fields import MAIN_DROPS, QUANTITIES, SAMPLED
from ingest.values import joined

ELEMENT_WORDS: Final = {
    "battery": "battery",
    "positive_cable": "positive cable",
    "ground_path": "ground path",
    "solenoid_contacts": "solenoid contacts",
    "motor_winding": "motor winding",
    "motor_lumped": "motor as a whole",
    "control_circuit": "control circuit",
    "coil": "solenoid coil",
    "back_emf": "back-emf",
    "motor_constant": "motor constant",
    "torque": "cranking torque",
}
SHOWN: Final = tuple(ELEMENT_WORDS)
OVER_TIME: Final = tuple(e for e in SHOWN if e in ELEMENTS and e not in ("motor_lumped", "coil"))
VALUE_WORDS: Final = {
    "rest_v": "rest volts",
    "crank_min_v": "lowest volts while cranking",
    "crank_a": "steady amps",
    "peak_a": "peak amps",
    "drop_positive_v": "positive cable drop",
    "drop_ground_v": "ground path drop",
    "drop_contacts_v": "contact drop",
    "drop_control_v": "control circuit drop",
    "coil_a": "coil amps",
    "crank_rpm": "cranking speed",
}
CHANGED: Final = {  # what has changed if the meter was right
    "rest_v": "the battery's charge",
    "crank_min_v": "the battery",
    "crank_a": "the load (starter motor or engine)",
    "peak_a": "the starter motor",
    "drop_positive_v": "the positive cable",
    "drop_ground_v": "the ground path",
    "drop_contacts_v": "the solenoid contacts",
    "drop_control_v": "the control circuit",
    "coil_a": "the solenoid coil",
    "crank_rpm": "the starter motor or the engine's drag",
}
TAKEN_WITH: Final = {"crank_a": "clamp", "peak_a": "clamp", "coil_a": "clamp", "crank_rpm": "speed reading"}
_DROPS: Final = (*MAIN_DROPS, "drop_control_v")
REASON_WORDS: Final = {
    **{WITHOUT[name]: "the drop was not measured" for name in _DROPS},
    **{ASIDE[name]: "the drop was set aside" for name in _DROPS},
    WITHOUT["crank_a"]: "no steady cranking amps were measured",
    WITHOUT["rest_v"]: "the rest volts were not measured",
    WITHOUT["crank_min_v"]: "the volts while cranking were not measured",
    WITHOUT["coil_a"]: "the coil amps were not measured",
    WITHOUT["peak_a"]: (
        "without peak amps a worn motor winding cannot be told from back-emf, nor a weak motor from a weak battery"
    ),
    ASIDE["crank_a"]: "the amps while cranking were set aside",
    ASIDE["rest_v"]: "the rest volts were set aside",
    ASIDE["crank_min_v"]: "the volts while cranking were set aside",
    ASIDE["coil_a"]: "the coil amps were set aside",
    HARDLY_FLOWED: "hardly any amps flowed",
    ONLY_A_BOUND: "the volts while cranking were sampled slowly: the lowest lies at or below what was seen",
    NO_PEAK: "without peak amps it cannot be told from the motor winding",
    NO_SPEED: "without the cranking speed a weak starter field cannot be told from engine drag",
    NOT_ABOVE: "peak amps are not above the steady amps",
    BELOW_ZERO: "volts contradict each other: the result would be below zero",
    CONTRADICT: "volts contradict each other",
}
"""Key of why something has no value -> what is said of it."""
NOT_CHECKED: Final = {
    "ran_free": "the starter ran without the engine, whose load the amps and volts of other starts hold",
    HARDLY_FLOWED: "hardly any amps flowed, so that no part was put to the test",
    "did_not_turn": "the engine did not turn, and the amps, volts and drops of other starts are those of one that turns",
    "too_few": "fewer than three values can be compared",
    "class_hardly_read": "fewer than three values can be compared, as its class has hardly been read for the others",
}
"""Key of why nobody can tell whether the values fit -> what is said of it."""


_BOTH: Final = re.compile(r"([−-]?\d+ °C) \(([−-]?\d+ °F)\)")


def for_reader(text: str, *, fahrenheit: bool) -> str:
    """A sentence with its temperatures in the reader's unit, once."""
    return in_reader_unit(_BOTH.sub(r"\2" if fahrenheit else r"\1", text), fahrenheit=fahrenheit)


def digits_of(value: float) -> int:
    """Decimals that a value of this size is shown with."""
    size = abs(value)
    return 0 if size >= 100 else 1 if size >= 10 else 2


def with_error(value: float, se: float) -> str:
    """A value ± its standard error, both with the same decimals."""
    digits = digits_of(value)
    return f"{number(value, digits)} ± {number(se, digits)}"


def amount(name: str, value: float) -> str:
    quantity = QUANTITIES[name]
    return f"{number(value, quantity.digits)} {quantity.unit}"


def measured(reading: Mapping[Any, Any], name: str) -> str:
    """A value of a reading with the digits that its meter shows; an upper bound says so, nothing is nothing."""
    value = reading.get(name)
    if value is None or pd.isna(value):
        return ""
    at_most = "at most " if is_bound(reading, name) else ""
    return f"{at_most}{number(float(value), QUANTITIES[name].digits)}"


def is_bound(reading: Mapping[Any, Any] | pd.Series[Any], name: str) -> bool:
    """Whether a reading's value is an upper bound: the lowest volts where they were sampled slowly."""
    return name == "crank_min_v" and reading.get("lowest_is") == SAMPLED


def reason_words(reason: str) -> str:
    return REASON_WORDS[reason] if reason else ""


def rows_of(check: ReadingCheck) -> list[Identified]:
    """Every element in the order it is shown."""
    found = {one.element: one for one in check.identified}
    return [found[name] for name in SHOWN]


def not_identified(check: ReadingCheck) -> list[str]:
    """One sentence for everything that has no value; those with the same reason share it."""
    by_reason: dict[str, list[str]] = {}
    for one in rows_of(check):
        if one.reason:
            by_reason.setdefault(reason_words(one.reason), []).append(ELEMENT_WORDS[one.element])
    return [f"{as_sentence(joined(names))}: not identified, because {why}." for why, names in by_reason.items()]


def assumed_words(check: ReadingCheck) -> list[str]:
    """What was filled in for a missing measurement, where something identified rests on it."""
    known = {one.element for one in check.identified if not one.reason}
    used = {name: both for name, both in check.assumed.items() if known & set(RESTS_ON_ASSUMED[name])}
    out = [
        f"{as_sentence(VALUE_WORDS[name])} assumed to be {amount(name, value)} ± {amount(name, se)}, as this vehicle usually "
        "shows; the errors are wider for it."
        for name, (value, se) in used.items()
        if not name.startswith("drop_")
    ]
    drops = [name for name in used if name.startswith("drop_")]
    if drops:
        value, se = used[drops[0]]
        words = joined([VALUE_WORDS[name].removesuffix(" drop") for name in drops])
        out.append(
            f"For the motor's own resistance {amount(drops[0], value)} ± {amount(drops[0], se)} are assumed where no drop "
            f"is known: {words}."
        )
    if check.temperature_assumed:
        out.append(
            f"Temperature not noted: {both_degrees(check.temperature_c)} assumed, 8 degrees either way; the errors are wider for it."
        )
    return out


_SERIES: Final = ("battery", "positive_cable", "ground_path", "solenoid_contacts", "motor_lumped", "motor_winding")
RESTS_ON_ASSUMED: Final = {
    "crank_a": _SERIES, "rest_v": ("battery", "motor_winding"),
    **dict.fromkeys(("drop_positive_v", "drop_ground_v", "drop_contacts_v"), ("motor_lumped", "motor_winding")),
}  # fmt: skip


def identified_table(check: ReadingCheck) -> pd.DataFrame:
    """Part -> what this reading makes it with its standard error, what it was expected to be, and the unit.

    What is not identified has no numbers.
    """
    return pd.DataFrame(
        [(ELEMENT_WORDS[r.element], r.value, r.se, r.expected, r.unit) for r in rows_of(check)],
        columns=["part", READ, "±", "expected", "unit"],
    ).set_index("part")


def identified_words(table: pd.DataFrame) -> dict[str, list[str]]:
    """The numbers of :func:`identified_table` as they are read, by column; value and error with the same decimals."""

    def said(name: str, missing: str) -> list[str]:
        like = table["expected" if name == "expected" else READ]
        return [
            number(v, digits_of(size)) if math.isfinite(v) else missing
            for v, size in zip(table[name], like, strict=True)
        ]

    return {READ: said(READ, NOT_IDENTIFIED), "±": said("±", "–"), "expected": said("expected", "–")}


READ: Final = "this reading"
NOT_IDENTIFIED: Final = "not identified"


def _expected_words(one: Identified) -> str:
    return "–" if not math.isfinite(one.expected) else f"{number(one.expected, digits_of(one.expected))} {one.unit}"


def identified_lines(check: ReadingCheck) -> list[str]:
    """What the reading identifies, one part a line with what was expected; then why the rest is not identified."""
    lines = [f"{'at 20 °C':18s} {'this reading':>20s} {'expected':>13s}"]
    lines += [
        f"{ELEMENT_WORDS[r.element]:18s} {with_error(r.value, r.se):>13s} {r.unit:6s} {_expected_words(r):>13s}"
        for r in rows_of(check)
        if not r.reason
    ]
    if len(lines) == 1:
        lines = []
    return [*lines, *not_identified(check), *assumed_words(check)]


def over_time_lines(over_time: pd.DataFrame) -> list[str]:
    """Resistances of the latest readings with their standard errors, oldest first."""
    words = {"taken": [f"{moment:%Y-%m-%d}" for moment in over_time["taken_at"]], **over_time_words(over_time)}
    lines = ["".join(f"{name:>15s}" if i else f"{name:10s}" for i, name in enumerate(words))]
    for row in zip(*words.values(), strict=True):
        lines.append("".join(f"{cell:>15s}" if i else f"{cell:10s}" for i, cell in enumerate(row)))
    return lines


def over_time_table(over_time: pd.DataFrame) -> pd.DataFrame:
    """Day and, for every part, the resistance [mΩ]."""
    columns = {"taken": over_time["taken_at"]}
    return pd.DataFrame(columns | {_short(e): over_time[f"{e}_mohm"] for e in OVER_TIME})


def over_time_words(over_time: pd.DataFrame) -> dict[str, list[str]]:
    """For every part of :func:`over_time_table` the resistances with their standard errors; a dash where there is none."""
    pairs = {e: zip(over_time[f"{e}_mohm"], over_time[f"{e}_se_mohm"], strict=True) for e in OVER_TIME}
    return {_short(e): [with_error(v, se) if math.isfinite(v) else "–" for v, se in both] for e, both in pairs.items()}


def _short(element: str) -> str:
    return ELEMENT_WORDS[element].replace("solenoid ", "").replace(" circuit", "")


def closure_words(check: ReadingCheck) -> str:
    """Whether the reading fits, and if not: which value, how far off, and what to do. That values fit the earlier readings is
    not said beside :func:`against_words` saying which of them do not."""
    closure = check.closure
    if not closure.checked:
        return f"Whether the values fit cannot be checked: {NOT_CHECKED[closure.why_not]}."
    held = _held_against(closure.earlier)
    if closure.closes:
        beside = "" if check.against.moved else f" and {held}"
        fit = f"the {closure.values} values fit each other{beside}."
        return f"{settled_words(closure)} With that, {fit}" if closure.settled else as_sentence(fit)
    if explained(check):
        return "The values fit another temperature than the one that they were held against."
    name, words = closure.suspect, VALUE_WORDS[closure.suspect]
    side = "high" if closure.off > 0 else "low"
    said = (
        f"The values do not fit. Most likely wrong: {words} {amount(name, closure.measured)}; the other values and "
        f"{held} make it {amount(name, closure.expected)} ± {amount(name, closure.se)}, so that it reads "
        f"{amount(name, abs(closure.off))} too {side}. Either {_taken_with(closure)} or "
        f"{CHANGED[name]}: one reading cannot tell a wrong value from a changed part. {_to_do(closure, words)}"
    )
    if closure.settled:
        said = f"{settled_words(closure)} {said}"
    if closure.also:
        said += f" A wrong value of {joined([VALUE_WORDS[n] for n in closure.also])} would explain it too."
    if not closure.repaired:
        said += " The rest does not fit without it either: more than one value is off, so measure the whole set again."
    return said


def settled_words(closure: Closure) -> str:
    """What was measured twice counts as right, so that the part behind it has changed."""
    return " ".join(
        f"{as_sentence(VALUE_WORDS[name])}: measured twice, so that {CHANGED[name]} {'have' if CHANGED[name].endswith('s') else 'has'} changed."
        for name in closure.settled
    )


def fit_words(check: ReadingCheck) -> list[str]:
    """State of charge and surface charge, then whether the values fit: the order in which they are to be settled."""
    words = closure_words(check)
    # what is not rest says nothing of the charge
    no_rest = any(finding.doubts == "rest_v" for finding in check.findings)
    empty = check.charge is not None and check.charge.level == "act" and not no_rest
    if empty and check.closure.checked and not check.closure.closes:
        words += " A battery that is not charged can do this alone, so charge it before looking further."
    if math.isfinite(check.rest_aside_v) and "rest_v" not in check.before:
        return [rest_aside_words(check.rest_aside_v), words]
    if no_rest:
        return [words]
    return [*charge_words(check.charge, read_before="rest_v" in check.before), words]


def rest_aside_words(rest_v: float) -> str:
    """Rest volts that were measured and are not used, and why: `doubt` knows no other doubt of them."""
    return (
        f"Rest volts {rest_v:.2f} V were set aside, because they go with one battery of a pair, not with 24 V: until they are "
        "measured again, a discharged battery cannot be told from a worn one."
    )


def against_words(check: ReadingCheck) -> str:
    """Whether a reading is like the vehicle's earlier ones, each value at this reading's temperature; "" where none can be held
    against them, and where they are alike but for what a finding or the closure says already."""
    against, closure = check.against, check.closure
    if not against.compared:
        return FIRST_READING if not against.earlier else ""
    before = _held_against(against.earlier)
    if not against.moved:
        # a finding that rests on the earlier readings says what is unlike them; what points to a fault was hardly ever measured before
        told = any(OWN_EARLIER in f.source or f.segment not in ("none", "not_starting_system") for f in check.findings)
        told = told or (closure.checked and closure.closes and closure.earlier == against.earlier)
        return "" if told else LIKE_EARLIER.format(before=before)
    values = "; ".join(
        MOVED.format(name=value_words(m.name), value=amount(m.name, m.measured), usual=amount(m.name, m.expected))
        for m in against.moved
    )
    return UNLIKE_EARLIER.format(before=before, temperature=both_degrees(check.temperature_c), values=values)


def value_words(name: str) -> str:
    """A measurement in a sentence."""
    label = QUANTITIES[name].label
    return VALUE_WORDS.get(name, f"{label[:1].lower()}{label[1:]}")


FIRST_READING: Final = "The first reading of this vehicle: nothing to compare it with yet."
LIKE_EARLIER: Final = "What was measured is like {before}."
UNLIKE_EARLIER: Final = "Unlike {before}, taken to {temperature}: {values}."
MOVED: Final = "{name} {value}, not {usual}"


def misfit(check: ReadingCheck) -> bool:
    """Whether the closure was checked and is not given, and no finding says of the whole reading why."""
    return check.closure.checked and not check.closure.closes and not explained(check)


def explained(check: ReadingCheck) -> bool:
    """Whether a finding says that the reading fits another temperature than the air's, so that no value of it is wrong."""
    return any(finding.row in ANOTHER_TEMPERATURE for finding in check.findings)


ANOTHER_TEMPERATURE: Final = (
    "engine_still_warm",
    "temperature_in_other_degrees",
    "temperature_not_noted_and_the_cold_explains_it",
)
BETTER: Final = {"crank_min_v": 1, "peak_a": 1, "drop_positive_v": -1, "drop_ground_v": -1, "drop_contacts_v": -1,
                 "drop_control_v": -1, "crank_dip_v": 1, "crank_s": -1}  # fmt: skip  # the side on which a renewed part reads


def perhaps_worse(moved: Moved) -> bool:
    """Whether a value is not on the side on which a renewed part reads."""
    return (moved.measured - moved.expected) * BETTER.get(moved.name, 0) <= 0


def _to_do(closure: Closure, words: str) -> str:
    """Measure again; where the part reads better than it was, ask for a repair that nobody wrote down."""
    if closure.off * BETTER.get(closure.suspect, 0) > 0:
        part = CHANGED[closure.suspect]
        return f"Measure the {words} again, and if {part} {'were' if several(part) else 'was'} renewed, put that on record."
    return f"Measure the {words} again before ordering a part."


def _taken_with(closure: Closure) -> str:
    """The instrument that may be wrong, and how it usually is."""
    if closure.suspect == "peak_a" and closure.off < 0:
        return "the clamp (a slow one misses the peak)"
    if closure.suspect == "rest_v" and closure.off > 0:
        return "the meter (or surface charge from a recent run)"
    return f"the {TAKEN_WITH.get(closure.suspect, 'meter')}"


def _held_against(earlier: int) -> str:
    if earlier == 0:
        return "what is usual in its class"
    return f"this vehicle's {earlier} earlier readings" if earlier > 1 else "this vehicle's one earlier reading"


def charge_words(charge: Charge | None, *, read_before: bool = False) -> list[str]:
    """State of charge and surface charge: what they do to the battery's resistance, and what to do first."""
    if charge is None:
        return [] if read_before else ["Rest volts not measured: a discharged battery cannot be told from a worn one."]
    out = []
    if charge.looks_like_surface_charge:
        out.append(
            f"Rest volts {charge.rest_v:.2f} V are more than a rested battery shows: surface charge from a recent run or "
            f"charger. {charge.surface_v:.2f} V are taken off, ± {charge.surface_se_v:.2f} V stay as error: let it rest some "
            "hours, then measure the rest volts again."
        )
    if charge.level:
        first = "charge it first, then measure again" if charge.level == "act" else "charge it before judging it"
        about = "is nearly empty" if charge.soc < 0.05 else f"is about {5 * round(20 * charge.soc)} % charged"
        words = f"The battery {about} ({charge.rest_v:.2f} V at rest): {first}."
        if math.isfinite(charge.full_mohm):
            words += f" When full it would have about {with_error(charge.full_mohm, charge.full_se_mohm)} mΩ at 20 °C."
        if charge.level == "act":
            words += f" Its acid freezes near {both_degrees(charge.freezing_c)}."
            words += f" The air was colder, so that it may be frozen: {THAW}" if charge.ice else f" {FROZEN}"
        if not charge.battery_type:
            words += (
                " How it is built is not on record, so it is read as flooded: an AGM battery of these volts holds less."
            )
        out.append(words)
    if not out:
        out.append(
            f"Hours since the last run are not noted: ± {charge.surface_se_v:.2f} V for surface charge are in the battery's error."
        )
    return out


def limit_words(check: ReadingCheck, *, most: int | None = None) -> list[str]:
    """The checks that did not pass, worst first, each with its margin and the limit's own words; then the rest."""
    judged = check.limits.to_dict("records")
    over = [sentence(row) for row in judged if row["verdict"] != "pass"]
    passed = [row for row in judged if row["verdict"] == "pass"]
    shown = over if most is None else over[:most]
    if len(over) > len(shown):
        left = len(over) - len(shown)
        shown.append(f"{left} more {'checks are' if left > 1 else 'check is'} not passed.")
    for name in SAID_WHEN_SOUND:
        own = [row for row in judged if str(row["check"]).startswith(name)]
        if own and all(row["verdict"] == "pass" for row in own):
            shown.append(_sound(name, own))
    if passed:
        close = _closest(passed)
        shown.append(f"{len(passed)} {'other ' if over else ''}check{'s' if len(passed) > 1 else ''} passed{close}.")
    return shown


SAID_WHEN_SOUND: Final = {
    "coil_a": "coil amps", "pull_in_a": "pull-in amps", "feed_v": "feed volts", "charging_v": "charging volts",
}  # fmt: skip
"""What is measured seldom and on purpose, so that it is answered where it is sound too -> what it is called."""


def _sound(name: str, rows: list[dict[Any, Any]]) -> str:
    """That a measurement was judged and is sound: by which range, and whose."""
    every = dict.fromkeys(str(row["source"]) for row in rows)
    sources = [one for one in every if not any(other != one and other.startswith(one) for other in every)]
    return (
        f"{as_sentence(SAID_WHEN_SOUND[name])} {amount(name, float(rows[0]['value']))}: sound, "
        f"{joined([held_to(row) for row in rows])} ({'; '.join(sources)})."
    )


def _closest(passed: list[dict[Any, Any]]) -> str:
    """The passed check with the smallest margin in volts for its limit."""
    volts = [row for row in passed if math.isfinite(float(row["margin_v"])) and float(row["limit"])]
    if not volts:
        return ""
    least = min(volts, key=lambda row: float(row["margin_v"]) / abs(float(row["limit"])))
    return f"; closest: {CHECK_WORDS[least['check']]}, {float(least['margin_v']):.2f} V inside its limit ({held_to(least)})"


SEGMENT_WORDS: Final = {
    "battery": "Points to the battery", "positive_cable": "Points to the positive cable",
    "ground_path": "Points to the ground path", "solenoid_contacts": "Points to the solenoid contacts",
    "starter_motor": "Points to the starter motor", "engine_drag": "Points to drag in the engine",
    "starter_or_drag": "Points to the starter motor or drag in the engine",
    "control_circuit": "Points to the control circuit", "control_wire": "Points to the control wire",
    "coil": "Points to the solenoid coil", "feed": "Points to the feed of the relay socket",
    "starter_drive": "Points to the starter's pinion and clutch", "charging": "Points to the charging system",
    "not_starting_system": "Not the starting circuit", "measurement": "Measure again", "none": "Points to no part",
}  # fmt: skip
"""Segment -> what stands before the sentence of a finding."""


def finding_words(finding: Finding) -> str:
    """One finding of the decision table with its next measurement, and what to mind with that."""
    sentence, what = finding_sentence(finding), next_measurement(finding)
    following = f" Going by these measurements, next: {what}." if what else ""
    caution = said_with(f"{sentence}{following}")
    return f"{SEGMENT_WORDS[finding.segment]}: {sentence}{following}{' ' if caution else ''}{caution}"


def pointed_words(check: ReadingCheck, most: int | None = None) -> list[str]:
    """All findings, or the first of them, with what was measured shortly before and counts in them."""
    return [*before_words(check), *(finding_words(f) for f in check.findings[:most])]


def before_words(check: ReadingCheck) -> list[str]:
    """What was measured shortly before and counts in the findings."""
    before = [ASKED[name] for name in check.before if name in ASKED]
    return [WITH_BEFORE.format(names=", ".join(before))] if before and check.findings else []


WITH_BEFORE: Final = "With what was measured in the hours before: {names}."


def work_since(repairs: pd.DataFrame, taken_at: pd.Timestamp, said_day: Callable[[pd.Timestamp], str]) -> str:
    """What was done to a vehicle after a reading, which tells of it as it was before; "" for nothing."""
    later = repairs[repairs["done_on"] > taken_at].sort_values("done_on")
    works = [
        f"{PART_WORDS.get(str(row['part']), str(row['part']))} {row['action']} ({said_day(row['done_on'])})"
        for row in later.to_dict("records")
    ]
    return WORK_SINCE.format(works=joined(list(dict.fromkeys(works)))) if works else ""


WORK_SINCE: Final = "Since then: {works}. The reading tells how it was before."


def paper_lines(taken_on: str, check: ReadingCheck, since: str = "") -> list[str]:
    """The same in a few lines for the vehicle's sheet on paper; since: :func:`work_since`."""
    known = [f"{ELEMENT_WORDS[r.element]} {with_error(r.value, r.se)} {r.unit}" for r in rows_of(check) if not r.reason]
    lines = [f"reading of {taken_on}, at 20 °C: {', '.join(known)}"] if known else []
    lines += [since.rstrip(".")] if since else []
    unknown = [ELEMENT_WORDS[r.element] for r in rows_of(check) if r.reason]
    if unknown:
        lines.append(f"not identified by it: {', '.join(unknown)}")
    for text in fit_words(check):
        lines += [part.rstrip(".") for part in text.replace(" Either ", LINE_BREAK + "Either ").split(LINE_BREAK)]
    return lines


def whose_words(unit: str, whose: Whose, system_v: Mapping[str, int]) -> str:
    """The question whether the reading is another vehicle's; "" where there is none. Units: system volts by vehicle."""
    if not whose.asked:
        return ""
    with_volts = len({system_v.get(name) for name in (unit, *(name for name, _ in whose.likely))}) > 1
    named = [f"{name} ({system_v[name]} V)" if with_volts and name in system_v else name for name, _ in whose.likely]
    own = f"{unit} ({system_v[unit]} V)" if with_volts and unit in system_v else unit
    if not named:
        return f"Is this another vehicle? The values are unlike {own} and like several others."
    which = named[0] if len(named) == 1 else f"{', '.join(named[:-1])} or {named[-1]}"
    return f"Is this {which}? The values are unlike {own} and like {'that one' if len(named) == 1 else 'these'}."


LINE_BREAK: Final = "\n"


def load_test_text() -> str:
    """The published load-test table, in °F and °C, for 12 and 24 V."""
    lines = ["battery load test, half the cold-cranking amps for 15 s: at least", "      °F      °C    12 V    24 V"]
    for f in LOAD_TEST_F[::-1]:
        c = float(celsius_from_fahrenheit(f))
        twelve, double = (float(load_test_minimum_v(c, system_v=v)) for v in (12, 24))
        lines.append(f"  {f:6.0f}  {c:6.1f}  {twelve:6.2f}  {double:6.2f}")
    lines.append(
        "  between rows a straight line; BCI Battery Service Manual as quoted in service manuals; 24 V twice, derived"
    )
    return "\n".join(lines)


def advice_lines(check: ReadingCheck) -> list[str]:
    """Whether the reading fits, the battery's charge, the limits that are not met, and what it points to."""
    return [
        *fit_words(check),
        *([against] if (against := against_words(check)) else []),
        *limit_words(check, most=MOST_LIMITS),
        *pointed_words(check, MOST_FINDINGS),
    ]


MOST_LIMITS: Final = 4  # checks not passed that are written out, our choice
MOST_FINDINGS: Final = 3  # our choice
