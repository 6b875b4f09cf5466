"""A row of the weekly list: its reasons, the next measurement, the action.  No arithmetic that decides anything."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
import pandas as pd
from pandas.api.typing import NaTType

from analysis.bay.next_measurement import REPEAT, faulty_shares, next_measurements
from analysis.circuit.limit_book import LimitBook
from analysis.circuit.limits import Limits
from analysis.costs import PlanSettings
from analysis.readings.panel import RAN_FREE
from analysis.readings.renewals import PARTS
from dashboard.words.choices import SAYING
from dashboard.words.next_words import TESTS, next_measurement
from dashboard.words.plain_text import as_sentence
from dashboard.words.reasons import PART_WORDS, Fact, facts, lacking_facts, sentence, the_parts, turning_alone
from dashboard.words.safety import said_with

if TYPE_CHECKING:
    from datetime import date

    from analysis.bay.findings import Finding
    from analysis.worklist.assess import FleetList

Parts: TypeAlias = pd.DataFrame | Sequence[Mapping[Any, Any]]
CHEAP_FIRST = {
    "battery": "Charge and test the battery; replace it if the resistance stays high",
    "positive_cable": "Clean and tighten the positive cable's ends; replace the cable if the drop stays",
    "ground_path": "Clean and tighten the ground strap's ends; replace the strap if the drop stays",
    "solenoid_contacts": "Replace the solenoid contacts or the solenoid",
    "starter_motor": "Take the starter out and test it; replace it if it fails",
    "control_circuit": "Clean the control circuit's connections one by one; renew the worst",
    "engine_drag": "Look for what drags: oil grade, belts, a seizing unit",
}


WHILE_IT_FAILS = (
    "A full set of readings while the fault is there: rest volts, then lowest volts, amps and every drop at the next try to "
    "start; with no click, the feed and the control wire at the relay socket first."
)
LAST_WORK_FIRST = (
    "Check the last work first: terminals, fitting, the right part, its warranty. If all of it is in order, {then}"
)
NOT_TURNED = "{what}: the engine did not turn when it was last tried."
DROP_AGAIN = (
    "Drop of the {part} while cranking, once more: it was last read over its limit and far off the readings before."
)
PINION = "Pinion and ring gear by eye, the starter out: it ran and the engine did not turn."


IN_THE_SAME_VISIT, AT_THE_NEXT_SERVICE = "In the same visit", "at the next service"
NOTHING_NOW = "nothing now"
MEASURE_AGAIN = "at the next service measure the drop of the {parts} again"
MEASURE_FIRST = "measure first: {what}"
SEE_TO_ONE = "{when} see to {parts}, whose drop is over its limit"
SEE_TO_MORE = "{when} see to {parts}, whose drops are over their limits"
AMPS_OF_A_START = "Steady amps of one start, beside its volts: they tell a weak battery from an engine or a starter that takes more than usual."
TELL_THE_BATTERY = (REPEAT, "battery_load_test", "rest_v_after_two_hours")  # from more amps than usual
VOLTS_OF_A_START = "Rest volts, then lowest volts while cranking: they tell the battery from cables, starter and engine; with the amps, these too."


def part_rows(parts: Parts) -> Sequence[Mapping[Any, Any]]:
    """The parts of one vehicle as rows, from a frame or as they are."""
    return parts.to_dict("records") if isinstance(parts, pd.DataFrame) else parts


def next_tests(
    units: Sequence[Mapping[Any, Any]],
    parts: Mapping[str, Parts],
    costs: PlanSettings | None = None,
    made: Mapping[str, frozenset[str]] | None = None,
    discharged: Mapping[str, float] | None = None,
    not_turned: Mapping[str, Finding] | None = None,
    denied: Mapping[str, str] | None = None,
) -> dict[str, str | None]:
    """What to measure next on each vehicle before anything is done to it, None where that would change nothing at these costs:
    the one rule that list and plan follow.

    units, parts: rows of an assessment, the parts by vehicle; made: what was measured already, by vehicle; discharged: how much
    room its rest volts leave for a discharged battery; not_turned: what the bay finds of a vehicle whose engine did not turn when
    it was last tried; denied: a part whose last drop is over its limit and does not fit its other readings.
    """
    told = {str(unit["unit"]): _told_at_once(unit, part_rows(parts[unit["unit"]])) for unit in units}
    asked = [unit for unit in units if told[str(unit["unit"])] is None]
    if not asked:
        return _as_they_stand(told, not_turned or {})
    names, settings = [str(unit["unit"]) for unit in asked], costs or PlanSettings()
    known = [(made or {}).get(name, frozenset()) for name in names]
    rows = [part_rows(parts[name]) for name in names]
    shares, worn, read = np.zeros((3, len(asked), len(PARTS)))
    for k, own in enumerate(rows):
        for part in own:
            at = k, PARTS.index(str(part["part"]))
            shares[at], worn[at], read[at] = part["part_probability"], part["worn_probability"], part["readings"]
    shares = faulty_shares(shares, worn, read > 0)
    suspects = [next(p for p in own if p["part"] == unit["part"]) for unit, own in zip(asked, rows, strict=True)]
    best = next_measurements(
        shares / np.maximum(shares.sum(axis=1, keepdims=True), 1.0),
        no_start_probability=np.array([float(unit["flag_probability"]) for unit in asked]),
        last_slip=np.array(
            [0.0 if REPEAT in m else float(p["last_slip"]) for m, p in zip(known, suspects, strict=True)]
        ),
        discharged=np.array([(discharged or {}).get(name, 1.0) for name in names]),
        measured=known,
        settings=settings,
        no_start_cost=np.array(
            [settings.no_start_cost(str(unit["vehicle_class"]), float(unit["system_v"])).total for unit in asked]
        ),
    )
    again = {name: DROP_AGAIN.format(part=PART_WORDS[part]) for name, part in (denied or {}).items()}
    for name, unit, own, one in zip(names, asked, rows, best, strict=True):
        beside = one is not None and unit["part"] == "battery" and one.name not in TELL_THE_BATTERY
        other = AMPS_OF_A_START if beside and {"kind": "volts_only"} in lacking_facts(own) else None
        told[name] = again.get(name, other or (None if one is None else TESTS[one.name]))
    return _as_they_stand(told, not_turned or {})


def _as_they_stand(told: Mapping[str, str | None], not_turned: Mapping[str, Finding]) -> dict[str, str | None]:
    """What is measured next, of vehicles whose engine does not turn as the bay has it; where nothing is measured, nothing."""
    said = {name: NOT_TURNED.format(what=as_sentence(next_measurement(one))) for name, one in not_turned.items()}
    return {name: one if one is None else said.get(name, one) for name, one in told.items()}


def _told_at_once(unit: Mapping[Any, Any], rows: Sequence[Mapping[Any, Any]]) -> str | None:
    """What is measured whatever it costs, because too little of what was read tells of the vehicle as it is; None for nothing."""
    judged = unit["status"] == "judged"
    if unit["failed_starts"] and (not judged or unit["failure_unexplained"] > SAYING.hidden):
        return PINION if unit["failure"] == RAN_FREE else WHILE_IT_FAILS
    if not judged:
        return "A full set of readings at the next service: rest volts, lowest volts, amps, peak amps and every drop."
    if unit["repaired_probability"] > SAYING.perhaps_repaired:
        return "A full set of readings now: the last ones may be from before a repair that nobody recorded."
    return VOLTS_OF_A_START if turning_alone(rows) else None


def action(unit: Mapping[Any, Any], next_measurement: str | None, evidence: Sequence[Fact]) -> str:
    """What to do, one part first: with it those whose last drop is over its limit, as `evidence` has them; such a drop is seen to
    where nothing is urgent, too."""
    if unit["status"] != "judged" and not unit.get("failed_starts"):
        return "take readings at the next service"
    if not unit["flagged"]:
        over = over_their_limit(evidence, [])
        again = [
            PART_WORDS[str(fact["part"])]
            for fact in evidence
            if fact["kind"] == "misfit" and fact["drop_v"] > fact["limit_v"]
        ]
        if again and not over:
            return MEASURE_AGAIN.format(parts=" and of the ".join(again))
        return see_to(over, AT_THE_NEXT_SERVICE) if over else NOTHING_NOW
    if next_measurement is not None:
        return "measure again first"
    first = CHEAP_FIRST[str(unit["part"])]
    if any(fact["kind"] == "again" and fact["part"] == unit["part"] for fact in evidence):
        first = LAST_WORK_FIRST.format(then=first[:1].lower() + first[1:])
    over = over_their_limit(evidence, [unit["part"]])
    return f"{first}. {see_to(over)}" if over else first


def to_do(row: Mapping[str, Any]) -> str:
    """What to do about a vehicle of the list where only one line is left for it: what is measured first is named, without why."""
    following = str(row.get("next_test") or "")
    if not following or not row.get("flagged", True):
        return str(row.get("action", ""))
    what = following.split(":")[0].rstrip(".")
    return MEASURE_FIRST.format(what=what[:1].lower() + what[1:])


def over_their_limit(evidence: Sequence[Fact], but: Sequence[str]) -> list[str]:
    """Parts whose drop was last read over its limit, other than `but`."""
    drops = [fact for fact in evidence if fact["kind"] == "level" and "drop_v" in fact]
    return [str(fact["part"]) for fact in drops if fact["drop_v"] > fact["limit_v"] and fact["part"] not in but]


def see_to(parts: Sequence[str], when: str = IN_THE_SAME_VISIT) -> str:
    said = SEE_TO_ONE if len(parts) == 1 else SEE_TO_MORE
    return said.format(when=when, parts=the_parts(parts))


def list_row(
    unit: Mapping[Any, Any],
    parts: Parts,
    latest: Mapping[str, Any] | None,
    assessment: FleetList,
    book: LimitBook | None = None,
    following: str | None = None,
    leaves: date | None = None,
) -> dict[str, Any]:
    """One vehicle of the weekly list, as the JSON contract names its fields; `following`: what to measure next, of
    :func:`next_tests`; leaves: its last day in service, where that lies ahead.

    A part that hardly can be the cause is not named: `part` is null then.  `evidence` holds the figures of the reasons.
    """
    limits = limits_of(unit, book or LimitBook())
    evidence = facts(unit, part_rows(parts), latest, assessment, limits)
    if leaves is not None and unit["flagged"]:
        evidence.append({"kind": "leaves", "on": leaves.isoformat()})
    act_by = None if leaves is not None and unit["act_by"] >= pd.Timestamp(leaves) else iso_day(unit["act_by"])
    what = action(unit, following, evidence)
    return {
        "unit": str(unit["unit"]),
        "depot": None if pd.isna(unit["depot"]) else str(unit["depot"]),
        "vehicle_class": str(unit["vehicle_class"]),
        "flagged": bool(unit["flagged"]),
        "part": str(unit["part"]) if unit["part_probability"] >= SAYING.named else None,
        "part_probability": round(float(unit["part_probability"]), 3),
        "no_start_probability": round(float(unit["no_start_probability"]), 4),
        "coldest_start_c": round(float(unit["coldest_start_c"]), 1),
        "coldest_start_low_c": round(float(unit["coldest_start_low_c"]), 1),
        "coldest_start_high_c": round(float(unit["coldest_start_high_c"]), 1),
        "act_by": act_by,
        "last_reading_on": iso_day(unit["last_reading_on"]),
        "reasons": [sentence(fact, assessment.as_of) for fact in evidence],
        "next_test": following,
        "action": what,
        "looked_on": iso_day(unit["looked_on"]),
        "looked_part": str(unit["looked_part"]),
        "sound_probability": round(float(unit["sound_probability"]), 3),
        "evidence": evidence,
        "failed_on": iso_day(unit["failed_on"]),
        "readings": int(unit["readings"]),
        "readings_on_record": int(unit["readings_on_record"]),
        "caution": said_with(following or what),
    }


def limits_of(unit: Mapping[Any, Any], book: LimitBook) -> Limits:
    """What the drops of a vehicle of the list are held to."""
    return book.for_group(str(unit["vehicle_class"]), int(unit["system_v"]), str(unit.get("fuel", "diesel")), None)


def iso_day(moment: pd.Timestamp | NaTType) -> str | None:
    """A date as YYYY-MM-DD, None for none."""
    return None if pd.isna(moment) else f"{moment:%Y-%m-%d}"
