"""Numbers to sentences of the trade: reasons, next measurement, action.  No arithmetic that decides anything."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, TypeAlias

import pandas as pd
from pandas.api.typing import NaTType

from analysis.assess import Assessment
from analysis.limit_book import LimitBook
from analysis.limits import Limits
from analysis.next_test import REPEAT, next_measurement
from analysis.plan_settings import PlanSettings

Parts: TypeAlias = pd.DataFrame | Sequence[Mapping[Any, Any]]
PART_WORDS = {
    "battery": "battery",
    "positive_cable": "positive cable",
    "ground_path": "ground path",
    "solenoid_contacts": "solenoid contacts",
    "starter_motor": "starter motor",
    "control_circuit": "control circuit",
    "engine_drag": "engine drag",
}
OUTCOME_WORDS = {
    "started": "started",
    "slow": "started slowly",
    "no_start": "no start",
    "no_click": "no click at all",
    "click": "one click, no crank",
    "chatter": "chatters",
    "spins": "starter spins, engine does not turn",
    "cranks_only": "cranks well, does not start",
}
MEASURES = {
    "battery": "battery resistance",
    "positive_cable": "positive cable",
    "ground_path": "ground path",
    "solenoid_contacts": "solenoid contacts",
    "starter_motor": "starter motor resistance",
    "control_circuit": "control circuit",
    "engine_drag": "cranking load",
}
DROP_COLUMN = {
    "positive_cable": ("drop_positive_v", "positive_cable_drop_v"),
    "ground_path": ("drop_ground_v", "ground_path_drop_v"),
    "solenoid_contacts": ("drop_contacts_v", "solenoid_contacts_drop_v"),
    "control_circuit": ("drop_control_v", "control_circuit_drop_v"),
}
NEED_WORDS = {
    "speed": "cranking speed runs out first",
    "supply": "supply voltage runs out first",
    "coil": "solenoid coil voltage runs out first",
}
WORN = 0.5  # a part more probably worn than not is named, our choice
SUSPECT = 0.2  # and one that may be what limits the start, our choice
MOST_PARTS = 3  # named for one vehicle, our choice
CHEAP_FIRST = {
    "battery": "Charge and test the battery; replace it if the resistance stays high",
    "positive_cable": "Clean and tighten the positive cable's ends; replace the cable if the drop stays",
    "ground_path": "Clean and tighten the ground strap's ends; replace the strap if the drop stays",
    "solenoid_contacts": "Replace the solenoid contacts or the solenoid",
    "starter_motor": "Take the starter out and test it; replace it",
    "control_circuit": "Clean the control circuit's connections one by one; renew the worst",
    "engine_drag": "Look for what drags: oil grade, belts, a seizing unit",
}


UNDECIDED = 0.6  # a suspect less sure than this may not be the only one, our choice ...
NEARLY = 0.6  # ... where another is at least this share as probable, our choice
PERHAPS_REPAIRED = 0.25  # probability of an unrecorded repair above which the list says so, our choice


def plain(value: float, unit: str) -> str:
    """A value with sensible digits and its unit."""
    size = abs(value)
    digits = 0 if size >= 100 else 1 if size >= 3 else 2
    return f"{value:.{digits}f} {unit}"


def quantity_unit(part: str) -> str:
    """Unit of a part's level."""
    return "A" if part == "engine_drag" else "mΩ"


def month_words(day: pd.Timestamp, as_of: pd.Timestamp) -> str:
    """ "in March", with the year when it is not the current one."""
    return f"in {day:%B}" if day.year == as_of.year else f"in {day:%B %Y}"


def latest_readings(readings: pd.DataFrame, as_of: pd.Timestamp) -> dict[str, dict[str, Any]]:
    """Latest known value of each drop, with its amps, per vehicle: what the technician saw on the meter."""
    known = readings[readings["taken_at"] < as_of]
    columns = ["crank_a", "coil_a", *(column for column, _ in DROP_COLUMN.values())]
    present = [c for c in columns if c in known]
    last = known.groupby("unit")[present].last()
    rows = zip(last.index, last.to_dict("records"), strict=True)
    return {str(unit): {str(k): v for k, v in row.items()} for unit, row in rows}


def drop_words(part: str, latest: Mapping[str, Any] | None, limits: Limits) -> str:
    """The drop last read, and the printed limit it is held against."""
    if part not in DROP_COLUMN or latest is None:
        return ""
    column, key = DROP_COLUMN[part]
    drop, amps = latest.get(column), latest.get("coil_a" if part == "control_circuit" else "crank_a")
    if drop is None or pd.isna(drop):
        return ""
    limit = getattr(limits, key)
    at = "" if amps is None or pd.isna(amps) else f" at {amps:.0f} A"
    return f" ({drop:.2f} V{at}; limit {limit.value:.1f} V)"


def level_reason(part: Mapping[Any, Any], latest: Mapping[str, Any] | None, limits: Limits, as_of: pd.Timestamp) -> str:
    """One part's level against its past and its class."""
    name, unit = str(part["part"]), quantity_unit(str(part["part"]))
    words = f"{MEASURES[name]} {plain(part['level_mohm'], unit)} at 20 °C{drop_words(name, latest, limits)}"
    before_on = part["before_on"]
    if pd.notna(before_on) and part["readings"] > 1 and (as_of - before_on).days > 20:
        words += f", was {plain(part['before_mohm'], unit)} {month_words(before_on, as_of)}"
    return f"{words}; class median {plain(part['usual_mohm'], unit)}"


def part_rows(parts: Parts) -> Sequence[Mapping[Any, Any]]:
    """The parts of one vehicle as rows, from a frame or as they are."""
    return parts.to_dict("records") if isinstance(parts, pd.DataFrame) else parts


def reasons(
    unit: Mapping[Any, Any],
    parts: Parts,
    latest: Mapping[str, Any] | None,
    assessment: Assessment,
    book: LimitBook | None = None,
) -> list[str]:
    """Why the vehicle stands where it stands: the suspect part first, then other worn parts, then the cold."""
    limits = (book or LimitBook()).for_group(
        str(unit["vehicle_class"]), int(unit["system_v"]), str(unit.get("fuel", "diesel")), None
    )
    if unit["status"] != "judged":
        count = int(unit["readings"])
        return [f"{count} reading{'' if count == 1 else 's'} so far: too few to judge, not known to be healthy"]
    rows = part_rows(parts)
    worn = [p for p in rows if p["worn_probability"] > WORN or p["part_probability"] > SUSPECT]
    worn.sort(key=lambda p: (-p["part_probability"], -p["worn_probability"]))
    found = [level_reason(p, latest, limits, assessment.as_of) for p in worn[:MOST_PARTS]]
    if unit["flagged"] and len(rivals := not_told_apart(rows)) > 1:
        found.append(rivals_reason(rivals, int(unit["readings"])))
    if pd.notna(unit["looked_on"]):
        found.append(looked_reason(unit, assessment.as_of))
    if pd.notna(unit["drifting_since"]):
        found.append(drift_reason(unit, assessment.as_of))
    found.append(cold_reason(unit))
    if unit["repaired_probability"] > PERHAPS_REPAIRED:
        found.append(
            f"by these readings it should have failed by now: {round(100 * unit['repaired_probability'])} % sure that it was"
            f" repaired without a record after the last of its {int(unit['readings'])} readings; ask the depot, record the repair"
        )
    renewed = next(p for p in rows if p["part"] == unit["part"])["renewed_coldest_start_c"]
    if pd.notna(renewed) and unit["flagged"]:
        found.append(renewed_reason(str(unit["part"]), float(renewed), float(unit["coldest_start_c"])))
    return found


def not_told_apart(rows: Sequence[Mapping[Any, Any]]) -> list[Mapping[Any, Any]]:
    """Parts of one vehicle of which none is the suspect with more than UNDECIDED, and which are nearly as probable as it.

    One row, or none, where the readings do tell.
    """
    ranked = sorted(rows, key=lambda p: -float(p["part_probability"]))
    first = float(ranked[0]["part_probability"]) if ranked else 1.0
    return [p for p in ranked if float(p["part_probability"]) >= NEARLY * first] if first <= UNDECIDED else ranked[:1]


def rivals_reason(rivals: Sequence[Mapping[Any, Any]], readings: int) -> str:
    """Several parts may be what limits the start: both worn, or the readings do not say which."""
    names = [f"{PART_WORDS[str(p['part'])]} ({round(100 * float(p['part_probability']))} %)" for p in rivals]
    listed = f"{', '.join(names[:-1])} and {names[-1]}"
    if min(float(p["worn_probability"]) for p in rivals) > WORN:
        return f"{listed} are worn at the same time, by {readings} readings: either may stop it"
    return f"{listed} cannot be told apart by its {readings} readings: measure before a part is bought"


def looked_reason(unit: Mapping[Any, Any], as_of: pd.Timestamp) -> str:
    """That somebody looked and found nothing, and what that is worth."""
    part = PART_WORDS[str(unit["looked_part"])]
    words = f"looked at on {day_words(pd.Timestamp(unit['looked_on']), as_of)}, nothing found on the {part}"
    sound = round(100 * float(unit["sound_probability"]))
    if sound < 1:
        return f"{words}: it counts for less, the other parts for more"
    return f"{words}: {sound} % sure that it is sound after all, so the probability is the lower"


def drift_reason(unit: Mapping[Any, Any], as_of: pd.Timestamp) -> str:
    """Since when readings lie beyond what the vehicle's own past and its class foretell."""
    return f"since {day_words(pd.Timestamp(unit['drifting_since']), as_of)} readings drift away from the vehicle's own past"


def day_words(day: pd.Timestamp, as_of: pd.Timestamp) -> str:
    """A day in words, with its year unless that is the list's."""
    return f"{day.day} {day:%B}" + ("" if day.year == as_of.year else f" {day.year}")


def cold_words(celsius: float) -> str:
    """A coldest start in words."""
    if celsius <= -44:
        return "below −44 °C"
    return f"{round(round(celsius, 1)):d} °C".replace("-", "−")  # as lists keep it


def cold_reason(unit: Mapping[Any, Any]) -> str:
    """The coldest start with its interval."""
    low, high = (cold_words(float(unit[k])) for k in ("coldest_start_low_c", "coldest_start_high_c"))
    words = f"starts down to {cold_words(float(unit['coldest_start_c']))} (80 % sure: {low} to {high})"
    return f"{words}; {NEED_WORDS[str(unit['limited_by'])]}"


def renewed_reason(part: str, renewed_c: float, now_c: float) -> str:
    """What renewing the suspect part alone would gain."""
    gain = now_c - max(renewed_c, -44.0)
    words = PART_WORDS[part]
    with_new = "with the drag removed" if part == "engine_drag" else f"with {words} renewed"
    if gain < 1.0:
        return f"{with_new} it would start hardly any colder: another part limits it too"
    return f"{with_new} it starts about {gain:.0f} K colder, down to {cold_words(renewed_c)}"


def next_test(
    unit: Mapping[Any, Any], parts: Parts, costs: PlanSettings | None = None, made: frozenset[str] = frozenset()
) -> str | None:
    """What to measure next, or None when nothing would change the decision at these costs; `made`: made already."""
    if unit["status"] != "judged":
        return "A full set of readings at the next service: rest volts, lowest volts, amps, peak amps and every drop."
    if not unit["flagged"]:
        return None
    if unit["repaired_probability"] > PERHAPS_REPAIRED:
        return "A full set of readings now: the last ones may be from before a repair that nobody recorded."
    rows = part_rows(parts)
    total = max(1.0, sum(float(p["part_probability"]) for p in rows))
    shares = {str(p["part"]): float(p["part_probability"]) / total for p in rows}
    suspect = next(p for p in rows if p["part"] == unit["part"])
    settings = costs or PlanSettings()
    best = next_measurement(
        shares,
        no_start_probability=float(unit["flag_probability"]),
        last_slip=0.0 if REPEAT in made else float(suspect["last_slip"]),
        measured=made,
        settings=settings,
        no_start_cost=settings.no_start_cost(str(unit["vehicle_class"]), float(unit["system_v"])).total,
    )
    return None if best is None else best.sentence


def action(unit: Mapping[Any, Any], next_measurement: str | None) -> str:
    """What to do about the vehicle, in a few words."""
    if unit["status"] != "judged":
        return "take readings at the next service"
    if not unit["flagged"]:
        return "none"
    if next_measurement is not None:
        return "measure again first"
    return CHEAP_FIRST[str(unit["part"])]


def list_row(
    unit: Mapping[Any, Any],
    parts: Parts,
    latest: Mapping[str, Any] | None,
    assessment: Assessment,
    book: LimitBook | None = None,
    costs: PlanSettings | None = None,
    made: frozenset[str] = frozenset(),
) -> dict[str, Any]:
    """One vehicle of the weekly list, as the JSON contract names its fields; `made`: measurements made already."""
    following = next_test(unit, parts, costs, made)
    return {
        "unit": str(unit["unit"]),
        "depot": None if pd.isna(unit["depot"]) else str(unit["depot"]),
        "vehicle_class": str(unit["vehicle_class"]),
        "flagged": bool(unit["flagged"]),
        "part": str(unit["part"]),
        "part_probability": round(float(unit["part_probability"]), 3),
        "no_start_probability": round(float(unit["no_start_probability"]), 4),
        "coldest_start_c": round(float(unit["coldest_start_c"]), 1),
        "coldest_start_low_c": round(float(unit["coldest_start_low_c"]), 1),
        "coldest_start_high_c": round(float(unit["coldest_start_high_c"]), 1),
        "act_by": iso_day(unit["act_by"]),
        "last_reading_on": iso_day(unit["last_reading_on"]),
        "reasons": reasons(unit, parts, latest, assessment, book),
        "next_test": following,
        "action": action(unit, following),
        "looked_on": iso_day(unit["looked_on"]),
        "looked_part": str(unit["looked_part"]),
        "sound_probability": round(float(unit["sound_probability"]), 3),
    }


def iso_day(moment: pd.Timestamp | NaTType) -> str | None:
    """A date as YYYY-MM-DD, None for none."""
    return None if pd.isna(moment) else f"{moment:%Y-%m-%d}"
