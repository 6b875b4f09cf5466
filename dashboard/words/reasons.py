"""Why a vehicle stands where it stands on the list: facts first, each a few figures, then one sentence for each.

Every figure of a sentence stands in its fact, and the facts go into the list's JSON beside the sentences, so that nothing
is said that a program cannot check.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, TypeAlias

import numpy as np
import pandas as pd

from analysis.circuit.limits import Limits
from analysis.readings.choices import OBSERVING
from dashboard.words.choices import SAYING
from dashboard.words.figures import digits_apart, usual_digits
from dashboard.words.plain_text import (
    F_PER_K,
    STARTS_ALWAYS_C,
    STARTS_NEVER_C,
    as_sentence,
    cold_words,
    count_words,
    day,
    fahrenheit_of,
    in_reader_unit,
    percent,
    span,
    temperature,
)
from ingest.values import joined

if TYPE_CHECKING:
    from analysis.worklist.assess import FleetList

Fact: TypeAlias = dict[str, Any]
"""`kind` and the figures of one sentence, rounded as they are said, temperatures to 0.1; dates as YYYY-MM-DD."""
Row: TypeAlias = Mapping[Any, Any]

PART_WORDS: Final = {
    "battery": "battery",
    "positive_cable": "positive cable",
    "ground_path": "ground path",
    "solenoid_contacts": "solenoid contacts",
    "starter_motor": "starter motor",
    "control_circuit": "control circuit",
    "engine_drag": "engine drag",
}
BATTERY_OR_AMPS: Final = "battery or amps"  # not told apart by volts alone
STARTER_OR_BATTERY: Final = "starter or battery"  # not told apart by amps and drops without volts under load
TURNING: Final = {"speed_only": ("slow cranking", "cranking speed"), "time_only": ("long cranking", "cranking time")}
"""Kinds of facts that say that speed or time alone judges a vehicle -> what is named for a part of it: flagged, and not."""
LACKING: Final = ("volts_only", "no_volts", *TURNING, "no_drops")  # kinds of facts that are no finding
OUTCOME_WORDS: Final = {
    "started": "started",
    "slow": "started slowly",
    "no_start": "no start",
    "no_click": "no click at all",
    "click": "one click, no crank",
    "chatter": "chatters",
    "spins": "starter spins, engine does not turn",
    "cranks_only": "cranks well, does not start",
}
CRANKED_WELL: Final = f"; if fuel or ignition was missing, put its outcome right: {OUTCOME_WORDS['cranks_only']}"
MEASURES: Final = {
    "battery": "battery resistance",
    "positive_cable": "positive cable",
    "ground_path": "ground path",
    "solenoid_contacts": "solenoid contacts",
    "starter_motor": "starter motor resistance",
    "control_circuit": "control circuit",
    "engine_drag": "cranking load",
}
AS_IF: Final = {
    "speed_only": "cranks as slowly as with a battery of",
    "time_only": "cranks as long as with a battery of",
}
"""What stands for the measure of a battery that speed or time alone tells."""
TELLS: Final = {
    "battery": "rest volts and lowest volts while cranking, with the amps",
    "positive_cable": "the drop along the positive cable while cranking, with the amps",
    "ground_path": "the drop along the ground path while cranking, with the amps",
    "solenoid_contacts": "the drop across the solenoid contacts while cranking, with the amps",
    "starter_motor": "the peak amps as the starter begins to turn",
    "control_circuit": "the drop from battery post to solenoid control terminal, with the coil's amps",
    "engine_drag": "the steady amps while cranking",
}
"""What has to be measured before a part can be judged."""
DROP_COLUMN: Final = {
    "positive_cable": ("drop_positive_v", "positive_cable_drop_v"),
    "ground_path": ("drop_ground_v", "ground_path_drop_v"),
    "solenoid_contacts": ("drop_contacts_v", "solenoid_contacts_drop_v"),
    "control_circuit": ("drop_control_v", "control_circuit_drop_v"),
}
MAIN_DROPS: Final = ("positive_cable", "ground_path", "solenoid_contacts")
NEED_WORDS: Final = {
    "speed": "cranking speed runs out first",
    "supply": "supply voltage runs out first",
    "coil": "solenoid coil voltage runs out first",
    "oil": "colder than that its oil is too thick for any starter",
    "fuel": "colder than that its fuel does not flow",
    "freezing": "colder than that its battery, charged as it is, freezes",
}
ALSO_LIMITS: Final = {"oil": "its oil", "fuel": "its fuel"}  # no part does that


# --- small words -----------------------------------------------------------------------------------------------------


def plain(value: float, unit: str) -> str:
    """A value with sensible digits and its unit."""
    size = abs(value)
    digits = 0 if size >= 100 else 1 if size >= 3 else 2
    text = f"{value:.{digits}f}"
    return f"{text if float(text) else text.lstrip('-')} {unit}"


def bare(value: float) -> str:
    """A value with sensible digits, where its unit stands elsewhere."""
    return plain(value, "").strip()


def rounded(value: float) -> float:
    return float(bare(value))


def quantity_unit(part: str) -> str:
    return "A" if part == "engine_drag" else "mΩ"


def month_words(day: pd.Timestamp, as_of: pd.Timestamp) -> str:
    """ "in March", with the year where that month is not of the half year before."""
    return f"in {day:%B}" if (as_of - day).days <= SAYING.month_alone_d else f"in {day:%B %Y}"


def day_words(day: pd.Timestamp, as_of: pd.Timestamp) -> str:
    """A day in words, with its year unless that is the list's."""
    return f"{day.day} {day:%B}" + ("" if day.year == as_of.year else f" {day.year}")


def cold_span(low: float, high: float) -> str:
    """The range of a coldest start; one word where both ends are the same."""
    return span(cold_words(low), cold_words(high))


def part_name(part: str | None) -> str:
    """A part in words; a dash where none is suspected."""
    return "–" if part is None else PART_WORDS[part]


def suspect_name(row: Row) -> str:
    """The part of a list's row in words; where volts, speed or time alone tell of it, what they do not tell apart."""
    kinds = [fact["kind"] for fact in row.get("evidence", ())]
    turning = [TURNING[kind] for kind in kinds if kind in TURNING]
    if turning and row["part"] not in (None, "control_circuit"):
        flagged, not_flagged = turning[0]
        return flagged if row.get("flagged", True) else not_flagged
    if "no_volts" in kinds and row["part"] in ("starter_motor", "battery"):
        return STARTER_OR_BATTERY
    return BATTERY_OR_AMPS if "volts_only" in kinds and row["part"] == "battery" else part_name(row["part"])


def turned(part: Row) -> str | None:
    """`speed_only` or `time_only` where a part's readings tell of it by that alone, and so stand for more than the part."""
    by_speed, by_time = (int(part.get(name, 0)) for name in ("by_speed", "by_time"))
    if not 0 < by_speed + by_time == int(part["readings"]):
        return None
    return "speed_only" if by_speed else "time_only"


def told_name(part: Row) -> str:
    """A row of the parts in words: the part, or the speed or time that stands for it."""
    alone = turned(part)
    return TURNING[alone][1] if alone else PART_WORDS[str(part["part"])]


def measure_name(part: Row) -> str:
    measure = MEASURES[str(part["part"])]
    return f"{told_name(part)}, as {measure}" if turned(part) else measure


def known(value: Any) -> bool:
    """Whether a cell holds something: neither None nor NaN nor NaT."""
    return value is not None and bool(value == value)


def _date(moment: Any) -> str | None:
    return None if not known(moment) else f"{moment:%Y-%m-%d}"


def _tenth(value: Any) -> float | None:
    return None if not known(value) else round(float(value), 1)


def _share(value: Any) -> float:
    return round(float(value), 3)


# --- facts -----------------------------------------------------------------------------------------------------------


def facts(unit: Row, parts: Sequence[Row], latest: Row | None, assessment: FleetList, limits: Limits) -> list[Fact]:
    """Why the vehicle stands where it stands: a failure nobody repaired, the suspect, other worn parts, then the cold."""
    found = [failed_fact(unit)] if unit["failed_starts"] else []
    if unit["status"] != "judged":
        return [*found, too_few_fact(unit)]
    hidden = unit["failed_starts"] > 0 and unit["failure_unexplained"] > SAYING.hidden
    if hidden:
        found.append({"kind": "unexplained", "unexplained_probability": _share(unit["failure_unexplained"])})
    worn = [
        p
        for p in parts
        if p["readings"] > 0
        and (p["worn_probability"] > SAYING.worn or (p["part_probability"] > SAYING.suspect and not hidden))
    ]
    worn.sort(key=lambda p: (-p["part_probability"], -p["worn_probability"]))
    suspect = next(p for p in parts if p["part"] == unit["part"])
    alone = turning_alone(parts)
    told = alone is not None and suspect["part"] != "control_circuit"
    if suspect["readings"] == 0 and not told and not hidden and suspect["part_probability"] > SAYING.suspect:
        found.append(never_measured_fact(suspect))
    over = [
        p for p in worn[SAYING.most_parts :] if over_limit(str(p["part"]), latest, limits)
    ]  # to be seen to all the same
    for p in (*worn[: SAYING.most_parts], *over):
        level, *misfit = level_facts(p, latest, limits, assessment.as_of)
        found += [level, *misfit, *again_facts(p, level, assessment.as_of)]
    told_of = {fact.get("part") for fact in found}
    found += [misfit_fact(p, latest, limits) for p in denied(parts, latest, limits) if p["part"] not in told_of]
    found += lacking_facts(parts)
    if unit["flagged"] and not told and not hidden and len(rivals := not_told_apart(parts)) > 1:
        found.append(rivals_fact(rivals, int(unit["readings"])))
    if known(unit["looked_on"]):
        found.append(looked_fact(unit))
    if known(unit["drifting_since"]):
        found.append({"kind": "drift", "since": _date(unit["drifting_since"])})
    if hidden:
        return found
    found.append(cold_fact(unit))
    if unit["block_heater"]:
        found.append(heater_fact(unit))
    measured = suspect["readings"] > 0 and suspect["worn_probability"] > SAYING.worn
    if unit["repaired_probability"] > SAYING.perhaps_repaired and measured:
        found.append(repaired_fact(unit))
    if unit["flagged"] and not told:
        found += renewed_facts(suspect, unit)
    return found


def failed_fact(unit: Row) -> Fact:
    return {
        "kind": "failed",
        "failed_starts": int(unit["failed_starts"]),
        "failed_on": _date(unit["failed_on"]),
        "failed_at_c": _tenth(unit["failed_at_c"]),
        "failure": str(unit["failure"]),
    }


def too_few_fact(unit: Row) -> Fact:
    """Too little to judge, and how many readings are on record all the same."""
    return {"kind": "too_few", "readings": int(unit["readings"]), "readings_on_record": int(unit["readings_on_record"])}


def never_measured_fact(part: Row) -> Fact:
    """The first suspect is a part that no reading tells of, or none since work was done on it."""
    return {
        "kind": "never_measured",
        "part": str(part["part"]),
        "part_probability": _share(part["part_probability"]),
    } | ({"renewed_on": _date(part["renewed_on"])} if known(part.get("renewed_on")) else {})


def turning_alone(parts: Sequence[Row]) -> str | None:
    """`speed_only` or `time_only` where a vehicle is judged by how fast or how long it cranks and by nothing else."""
    read = [p for p in parts if p.get("readings", 0) > 0]
    return turned(read[0]) if len(read) == 1 else None


def lacking_facts(parts: Sequence[Row]) -> list[Fact]:
    """What was never measured on a vehicle that is judged all the same: volts and amps, the amps, volts under load, or every drop.

    What was measured before a part was renewed is not used, but it was measured.
    """
    if alone := turning_alone(parts):
        return [{"kind": alone}]
    read = {str(p["part"]): int(p["readings"]) > 0 or known(p.get("renewed_on")) for p in parts}
    found: list[Fact] = []
    if read["battery"] and not read["engine_drag"]:
        found.append({"kind": "volts_only"})
    if read["starter_motor"] and not read["battery"]:
        found.append({"kind": "no_volts"})
    if not any(read[p] for p in MAIN_DROPS):
        found.append({"kind": "no_drops"})
    return found


def level_facts(part: Row, latest: Row | None, limits: Limits, as_of: pd.Timestamp) -> list[Fact]:
    """One part's level against its past and its class, with the drop last read where that fits the level."""
    name = str(part["part"])
    fact: Fact = {
        "kind": "level",
        "part": name,
        "level": rounded(float(part["level_mohm"])),
        "usual": rounded(float(part["usual_mohm"])),
        "unit": quantity_unit(name),
    }
    if alone := turned(part):
        fact["by"] = alone
    before_on = part["before_on"]
    if known(before_on) and part["readings"] > 1 and (as_of - before_on).days > 20:
        fact |= {"before": rounded(float(part["before_mohm"])), "before_on": _date(before_on)}
    read = drop_read(name, latest)
    if read is None:
        return [fact]
    drop, amps = read
    limit = round(float(getattr(limits, DROP_COLUMN[name][1]).value), 2)
    figures: Fact = {"drop_v": round(drop, digits_apart(drop, limit, usual_digits("V"))), "limit_v": limit} | (
        {} if amps is None else {"drop_at_a": round(amps)}
    )
    if drop_fits(drop, amps, float(part["level_mohm"])):
        return [fact | figures]
    grown = (
        "before" in fact
        and part["level_mohm"] > part["before_mohm"]
        and drop_fits(drop, amps, float(part["before_mohm"]))
    )
    return [fact, {"kind": "misfit", "part": name, **figures} | ({"before_on": fact["before_on"]} if grown else {})]


def again_facts(part: Row, level: Fact, as_of: pd.Timestamp) -> list[Fact]:
    """A part that was renewed lately, by a record or by a step of its readings, and is worn or over its limit again."""
    on, over = part["renewed_on"], level.get("drop_v", 0.0) > level.get("limit_v", 0.0)
    if part["part"] == "engine_drag":  # a new starter renews its load too
        return []
    if not known(on) or (as_of - on).days > SAYING.lately_d:
        return []
    if not over and part["worn_probability"] <= SAYING.worn:
        return []
    recorded = bool(part["renewal_recorded"])
    return [{"kind": "again", "part": level["part"], "renewed_on": _date(on), "recorded": recorded, "over_limit": over}]


def drop_read(part: str, latest: Row | None) -> tuple[float, float | None] | None:
    """The drop last read [V] and the amps of the same reading [A], None for amps unknown; None where none was read."""
    read = None if part not in DROP_COLUMN or latest is None else latest.get(DROP_COLUMN[part][0])
    if read is None or not known(read["drop_v"]):
        return None
    flows = known(read["amps"]) and float(read["amps"]) > 0.0
    return float(read["drop_v"]), float(read["amps"]) if flows else None


def denied(parts: Sequence[Row], latest: Row | None, limits: Limits) -> list[Row]:
    """Parts whose drop was last read over its limit, and more than their other readings make it."""
    out = []
    for part in parts:
        name, level = str(part["part"]), float(part.get("level_mohm", math.nan))
        read = drop_read(name, latest)
        if read is None or not part["readings"] or not over_limit(name, latest, limits):
            continue
        drop, amps = read
        if amps is not None and not drop_fits(drop, amps, level) and 1e3 * drop / amps > level:
            out.append(part)
    return out


def misfit_fact(part: Row, latest: Row | None, limits: Limits) -> Fact:
    """A drop over its limit that does not fit the part's other readings."""
    fact: Fact = level_facts(part, latest, limits, pd.Timestamp.max)[-1]
    return fact


def over_limit(part: str, latest: Row | None, limits: Limits) -> bool:
    """Whether a part's drop was last read over its limit."""
    read = drop_read(part, latest)
    return read is not None and read[0] > float(getattr(limits, DROP_COLUMN[part][1]).value)


def drop_fits(drop_v: float, amps: float | None, level_mohm: float) -> bool:
    """Whether a drop and a level [mOhm] may stand beside each other; a drop near nil fits every level near nil."""
    if amps is None:
        return True
    if drop_v <= SAYING.nearly_nil_v:
        return level_mohm * amps < 5e3 * SAYING.nearly_nil_v
    return abs(math.log(1e3 * drop_v / amps / level_mohm)) < math.log(SAYING.fits)


def latest_drops(readings: pd.DataFrame, as_of: pd.Timestamp) -> dict[str, dict[str, dict[str, Any]]]:
    """Per vehicle and column the drop last read before the day, with the amps of the same reading: what a technician saw."""
    known = readings[readings["taken_at"] < as_of].sort_values("taken_at", kind="stable")
    code, units = pd.factorize(known["unit"])
    out: dict[str, dict[str, dict[str, Any]]] = {}
    for part, (column, _) in DROP_COLUMN.items():
        amps = "coil_a" if part == "control_circuit" else "crank_a"
        if column not in known:
            continue
        read = np.flatnonzero(known[column].notna().to_numpy())
        last = np.full(len(units), -1)
        last[code[read]] = read  # of several of a vehicle the latest, which comes last
        rows = known.take(last[last >= 0])
        flowing = rows[amps].tolist() if amps in rows else [None] * len(rows)
        for name, drop, a in zip(units[last >= 0], rows[column].tolist(), flowing, strict=True):
            out.setdefault(str(name), {})[column] = {"drop_v": drop, "amps": a}
    return out


def not_told_apart(parts: Sequence[Row]) -> list[Row]:
    """Parts of one vehicle of which none is the suspect with more than SAYING.undecided, and which are nearly as probable as it.

    One row, or none, where the readings do tell.
    """
    ranked = sorted(parts, key=lambda p: -float(p["part_probability"]))
    first = float(ranked[0]["part_probability"]) if ranked else 1.0
    if first < SAYING.named:
        return []
    return (
        [p for p in ranked if float(p["part_probability"]) >= SAYING.nearly * first]
        if first <= SAYING.undecided
        else ranked[:1]
    )


def rivals_fact(rivals: Sequence[Row], readings: int) -> Fact:
    """Several parts may be what limits the start: both worn, or the readings do not say which."""
    named = [{"part": str(p["part"]), "part_probability": _share(p["part_probability"])} for p in rivals]
    worn = min(float(p["worn_probability"]) for p in rivals) > SAYING.worn
    return {"kind": "rivals", "parts": named, "all_worn": worn, "readings": readings}


def looked_fact(unit: Row) -> Fact:
    sound = _share(unit["sound_probability"])
    return {
        "kind": "looked",
        "part": str(unit["looked_part"]),
        "on": _date(unit["looked_on"]),
        "sound_probability": sound,
    }


def cold_fact(unit: Row) -> Fact:
    names = ("coldest_start_c", "coldest_start_low_c", "coldest_start_high_c")
    return {"kind": "cold", **{n: _tenth(unit[n]) for n in names}, "limited_by": str(unit["limited_by"])}


def heater_fact(unit: Row) -> Fact:
    """What its coldest start rests on where the vehicle has a block heater, and says below what it is plugged in, or does not."""
    below = _tenth(unit["heater_below_c"])
    return (
        {"kind": "heater_off"}
        if below is None
        else {"kind": "heater", "below_c": below, "warmer_k": OBSERVING.heater_k}
    )


def repaired_fact(unit: Row) -> Fact:
    return {
        "kind": "perhaps_repaired",
        "repaired_probability": _share(unit["repaired_probability"]),
        "readings": int(unit["readings"]),
    }


def renewed_facts(suspect: Row, unit: Row) -> list[Fact]:
    """What renewing the suspect alone would gain; nothing where both starts are off the same end of the scale."""
    renewed, now = suspect["renewed_coldest_start_c"], float(unit["coldest_start_c"])
    if not known(renewed) or now <= STARTS_ALWAYS_C or float(renewed) >= STARTS_NEVER_C:
        return []
    return [
        {
            "kind": "renewed",
            "part": str(unit["part"]),
            "renewed_coldest_start_c": _tenth(renewed),
            "colder_k": _tenth(now - max(float(renewed), STARTS_ALWAYS_C)),
            "limited_by": str(unit["limited_by"]),
        }
    ]


# --- sentences -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Reader:
    """The day a sentence is said on, and whether its reader thinks in °F; each figure is turned and rounded once."""

    as_of: pd.Timestamp
    fahrenheit: bool = False

    def cold(self, celsius: float) -> str:
        """A temperature, or a coldest start off the scale."""
        return cold_words(celsius, fahrenheit=self.fahrenheit)

    def down_to(self, celsius: float) -> str:
        """How cold it starts, to follow "starts": off the scale at either end too."""
        word = {"below": "even ", "above": "only "}.get(self.cold(celsius).split()[0], "down to ")
        return f"{word}{self.cold(celsius)}"

    def degrees(self, apart_k: float) -> str:
        """How far apart two temperatures are."""
        return count_words(round(apart_k * (F_PER_K if self.fahrenheit else 1.0)), "degree")

    def apart(self, warmer_c: float, colder_c: float) -> str:
        """How far apart two temperatures are that are both shown: what a reader who takes one from the other gets, and never nothing."""
        kept = [round(value, 1) for value in (warmer_c, colder_c)]  # as they are shown
        shown = [round(fahrenheit_of(one) if self.fahrenheit else one) for one in kept]
        return count_words(max(shown[0] - shown[1], 1), "degree")


def sentence(fact: Fact, as_of: pd.Timestamp, *, fahrenheit: bool = False) -> str:
    kind = str(fact["kind"])
    return _ALIKE[kind] if kind in _ALIKE else _SENTENCES[kind](fact, Reader(as_of, fahrenheit))


def read_reasons(row: Row, as_of: pd.Timestamp, *, fahrenheit: bool) -> list[str]:
    """The reasons of a row of the list in the reader's unit; lists from before facts were kept have only their sentences."""
    if fahrenheit and row.get("evidence"):
        return [sentence(fact, as_of, fahrenheit=True) for fact in row["evidence"]]
    return [in_reader_unit(str(said), fahrenheit=fahrenheit) for said in row["reasons"]]


def first_reason(row: Row, as_of: pd.Timestamp, *, fahrenheit: bool) -> str:
    return next(iter(read_reasons(row, as_of, fahrenheit=fahrenheit)), "")


def lacking_words(row: Row, as_of: pd.Timestamp) -> str:
    """What was never measured on a vehicle, and what would tell, but for its first reason; "" where it lacks nothing."""
    lacks = [fact for fact in row.get("evidence", ())[1:] if fact["kind"] in LACKING]
    return " ".join(f"{as_sentence(sentence(fact, as_of))}." for fact in lacks)


def _failed(fact: Fact, to: Reader) -> str:
    count, cold = int(fact["failed_starts"]), fact["failed_at_c"]
    unsaid = fact["failure"] == "no_start"  # of which it is not known whether the engine turned
    how = "" if unsaid else f" ({OUTCOME_WORDS[str(fact['failure'])]})"
    at = "" if cold is None else f" at {to.cold(float(cold))}"
    since = "and no repair is on record since" + (CRANKED_WELL if unsaid else "")
    when = day_words(pd.Timestamp(str(fact["failed_on"])), to.as_of)
    if count == 1:
        return f"did not start on {when}{at}{how}, {since}"
    warmest = "" if cold is None else f", the warmest at {to.cold(float(cold))}"
    return f"did not start {count} times, last on {when}{how}{warmest}, {since}"


def _unexplained(fact: Fact, _: Reader) -> str:
    sure = 100.0 * float(fact["unexplained_probability"])
    share = "" if sure > 99.0 else f" ({sure:.0f} % sure)"
    return f"its readings do not show why it failed{share}: find the fault before it goes out again"


def _too_few(fact: Fact, _: Reader) -> str:
    used, held = int(fact["readings"]), int(fact["readings_on_record"])
    if held > used:
        what = "none of them holds" if not used else f"only {used} of them {'hold' if used > 1 else 'holds'}"
        return f"{count_words(held, 'reading')} on record, {what} enough to judge a part by: not known to be healthy"
    return f"{count_words(used, 'reading')} so far: too few to judge, not known to be healthy"


def several(name: str) -> bool:
    """Whether a part's name means more than one: contacts were, a battery was; "" does not."""
    return name.endswith("s")


def _never_measured(fact: Fact, to: Reader) -> str:
    part, when = str(fact["part"]), "never measured"
    if "renewed_on" in fact:
        when = f"not measured since the work on {day_words(pd.Timestamp(str(fact['renewed_on'])), to.as_of)}"
    share = percent(float(fact["part_probability"]))
    are, were = ("are", "they were") if several(PART_WORDS[part]) else ("is", "it was")
    return f"{PART_WORDS[part]} ({share}) {are} suspected only because {were} {when}: {TELLS[part]} would tell"


def _drop(fact: Fact) -> str:
    at = f" at {fact['drop_at_a']} A" if "drop_at_a" in fact else ""
    drop, limit = float(fact["drop_v"]), float(fact["limit_v"])
    digits = digits_apart(drop, limit, usual_digits("V"))
    return f"{drop:.{digits}f} V{at}; limit {limit:.{digits}f} V"


def _level(fact: Fact, to: Reader) -> str:
    unit = str(fact["unit"])
    what = AS_IF[str(fact["by"])] if "by" in fact else MEASURES[str(fact["part"])]
    words = f"{what} {plain(float(fact['level']), unit)} at {to.cold(20.0)}"
    words += f" ({_drop(fact)})" if "drop_v" in fact else ""
    if "before" in fact and plain(float(fact["before"]), unit) != plain(float(fact["level"]), unit):
        on = pd.Timestamp(str(fact["before_on"]))
        words += f", was {plain(float(fact['before']), unit)} {month_words(on, to.as_of)}"
    return f"{words}; class median {plain(float(fact['usual']), unit)}"


def _again(fact: Fact, to: Reader) -> str:
    part, when = PART_WORDS[str(fact["part"])], day_words(pd.Timestamp(str(fact["renewed_on"])), to.as_of)
    it_is, its, look = ("they are", "their", "look") if several(part) else ("it is", "its", "looks")
    renewed = (
        f"work on the {part} is on record on {when}"
        if fact["recorded"]
        else f"the {part} {look} renewed around {when}, though no repair is on record"
    )
    again = f"over {its} limit" if fact["over_limit"] else "worn"
    return f"{renewed}, and {it_is} {again} again: check that work and the part fitted before it is done once more"


def _misfit(fact: Fact, _: Reader) -> str:
    apart = "it may have grown since" if "before_on" in fact else "that does not fit its other readings"
    return f"{PART_WORDS[str(fact['part'])]} last read {_drop(fact)}: {apart}, measure it again"


def the_parts(parts: Sequence[str]) -> str:
    """ "the positive cable and the ground path"."""
    return joined([f"the {PART_WORDS[part]}" for part in parts])


def _rivals(fact: Fact, _: Reader) -> str:
    names = [f"{PART_WORDS[p['part']]} ({percent(p['part_probability'])})" for p in fact["parts"]]
    listed = joined(names)
    by = count_words(int(fact["readings"]), "reading")
    if fact["all_worn"]:
        return f"{listed} are worn at the same time, by {by}: either may stop it"
    return f"{listed} cannot be told apart by its {by}: measure before a part is bought"


def _leaves(fact: Fact, _: Reader) -> str:
    return f"its last day in service is {day(str(fact['on']))}: what would fail later counts no more"


def _drift(fact: Fact, to: Reader) -> str:
    since = day_words(pd.Timestamp(str(fact["since"])), to.as_of)
    return f"since {since} its readings have been drifting away from its own past"


def _looked(fact: Fact, to: Reader) -> str:
    when = day_words(pd.Timestamp(str(fact["on"])), to.as_of)
    words = f"looked at on {when}, nothing found on the {PART_WORDS[str(fact['part'])]}"
    sound = float(fact["sound_probability"])
    if sound < 0.01:
        return f"{words}: it counts for less, the other parts for more"
    return f"{words}: {percent(sound)} sure that it is sound after all, so the probability is the lower"


def _cold(fact: Fact, to: Reader) -> str:
    low, high = (to.cold(float(fact[f"coldest_start{end}_c"])) for end in ("_low", "_high"))
    return f"starts {to.down_to(float(fact['coldest_start_c']))} (80 % sure: {span(low, high)}); {NEED_WORDS[str(fact['limited_by'])]}"


def _heater(fact: Fact, to: Reader) -> str:
    below, warmer = temperature(float(fact["below_c"]), fahrenheit=to.fahrenheit), to.degrees(float(fact["warmer_k"]))
    return f"with its block heater on below {below} the engine is taken to be {warmer} warmer than the air"


def _perhaps_repaired(fact: Fact, _: Reader) -> str:
    return (
        f"by these readings it should have failed by now: {percent(float(fact['repaired_probability']))} sure that it was"
        f" repaired without a record after the last of its {count_words(int(fact['readings']), 'reading')};"
        " ask the depot, record the repair"
    )


def _renewed(fact: Fact, to: Reader) -> str:
    part, gain = str(fact["part"]), float(fact["colder_k"])
    with_new = "with the drag removed" if part == "engine_drag" else f"with the {PART_WORDS[part]} renewed"
    cold = float(fact["renewed_coldest_start_c"])
    if gain < SAYING.least_gain_k:
        if cold <= STARTS_ALWAYS_C:  # how much is gained is not known
            return f"{with_new} it starts {to.down_to(cold)}"
        return f"{with_new} it would start hardly any colder: {ALSO_LIMITS.get(str(fact['limited_by']), 'another part')} limits it too"
    about = "more than" if cold <= STARTS_ALWAYS_C else "about"
    end = max(cold, STARTS_ALWAYS_C)
    shown = to.apart(end + gain, end) if end + gain < STARTS_NEVER_C else to.degrees(gain)
    return f"{with_new} it starts {about} {shown} colder, {to.down_to(cold)}"


_ALIKE: Final = {
    "volts_only": "judged by volts alone: a weak battery and more amps than usual are not told apart, the amps of one start would tell",
    "no_volts": "no volts while cranking were ever measured: a weak battery is not seen, or taken for a worn starter, the lowest volts of"
    " one start would tell",
    "speed_only": "judged by cranking speed alone: battery, cables, starter and engine are not told apart, rest volts and"
    " lowest volts of one start would tell",
    "time_only": "judged by cranking time alone: battery, cables, starter, engine and its fuel are not told apart, rest volts"
    " and lowest volts of one start would tell",
    "heater_off": "nobody said below what its block heater is plugged in: it counts as off",
    "no_drops": "no drop was ever measured, neither along the cables nor across the contacts: 20 minutes would tell",
}
_SENTENCES: Final = {
    "failed": _failed,
    "unexplained": _unexplained,
    "too_few": _too_few,
    "never_measured": _never_measured,
    "level": _level,
    "misfit": _misfit,
    "again": _again,
    "rivals": _rivals,
    "looked": _looked,
    "drift": _drift,
    "leaves": _leaves,
    "cold": _cold,
    "heater": _heater,
    "perhaps_repaired": _perhaps_repaired,
    "renewed": _renewed,
}
