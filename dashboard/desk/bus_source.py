"""From a log of the bus to readings: which source of a signal counts, what of each start is a reading, and storing them."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlite_utils import Database

from analysis.logs.starts import NOTHING, BusStart, Series, find_starts, step_s
from dashboard.desk.trace_source import as_reading
from dashboard.words import bus_words
from dashboard.words.bus_words import sources_words, start_words
from ingest.bus_codes import AMBIENT_C, BATTERY_V, COOLANT_C, ENGINE_RPM, KEYSWITCH_V
from ingest.bus_logs import BusLog, read_log, step_of
from ingest.entries import Entry, check_reading, record_reading
from ingest.errors import FileRefused
from ingest.writing import writing

INSTRUMENT = "bus log"


@dataclass(frozen=True)
class LoggedStart:
    """A start of a log: when it began [s], how it went in words, what of it is a reading (without `taken_at` where the log holds
    no dates), and why it is none where it is none."""

    began_s: float
    words: tuple[str, ...]
    values: Mapping[str, object]
    why_not: str = ""

    @property
    def taken_at(self) -> str:
        """When, by the local clock; the seconds into a log without dates."""
        return str(self.values.get("taken_at", "")).replace("T", " ") or f"{self.began_s:.1f} s"


@dataclass(frozen=True)
class Logged:
    """What a log holds: its starts, where speed and volts are from, and that in words; whether its times are dates."""

    file: str
    about: str
    speed_from: str
    volts_from: str
    dated: bool
    starts: tuple[LoggedStart, ...]


def starts_in(file: Path, *, dbc: Path | None = None, began: datetime | None = None) -> Logged:
    """Find the starts of a log; FileRefused for a file that is none, or that has no engine speed.

    began: when a log without dates began, by the local clock.
    """
    log = read_log(file, dbc=dbc)
    speed_from, speed = _series(log, ENGINE_RPM)
    if not len(speed.time_s):
        raise FileRefused("it holds no engine speed, by which starts are found (SPN 190, PID 0C)")
    from_battery = BATTERY_V if log.signals.get(BATTERY_V) else KEYSWITCH_V
    volts_from, volts = _series(log, from_battery)
    found = find_starts(speed, volts, _series(log, COOLANT_C)[1], _series(log, AMBIENT_C)[1])
    others = tuple(sorted(set(log.signals.get(from_battery, {})) - {volts_from}))
    every = step_s(volts.time_s) if len(volts.time_s) > 1 else math.nan
    zero = 0.0 if log.dated else began.timestamp() if began else None
    starts = tuple(_logged(start, zero, file.name) for start in found)
    where = f"{volts_from}, keyswitch" if from_battery == KEYSWITCH_V and volts_from else volts_from
    about = sources_words(len(starts), speed_from, where, others, every, log.unread)
    return Logged(file.name, about, speed_from, where, zero is not None, starts)


def _series(log: BusLog, signal: str) -> tuple[str, Series]:
    name, samples = log.fastest(signal)
    return (name, Series(samples.time_s, samples.value, step_of(signal))) if samples else ("", NOTHING)


def _logged(start: BusStart, zero_s: float | None, file: str) -> LoggedStart:
    """The start as the values of a reading, without its vehicle."""
    at = None if zero_s is None else datetime.fromtimestamp(zero_s + start.began_s).replace(microsecond=0)
    known = {"rest_v": start.rest_v, "crank_dip_v": start.dip_v, "crank_rpm": start.crank_rpm, "temperature_c": air_c(start),
             "crank_s": start.crank_s}  # fmt: skip
    if not (start.at_most and start.lowest_v >= start.rest_v):  # a bound at rest tells nothing
        known["crank_min_v"] = start.lowest_v
    values = as_reading(known, ran=bool(start.started), sampled=start.at_most)
    if start.started:
        values["outcome"] = "started"
    if at is not None:
        values["taken_at"] = at.isoformat()
    values |= {"instrument": INSTRUMENT, "note": f"from {file}"[:200]}
    return LoggedStart(start.began_s, tuple(start_words(start)), values, bus_words.WARM if start.cold is False else "")


def air_c(start: BusStart) -> float:
    """The air at the vehicle: as the bus says, else that of a cold engine's coolant."""
    if math.isnan(start.ambient_c) and start.cold:
        return start.coolant_c
    return start.ambient_c


def stored(db: Database, unit: str, starts: Sequence[LoggedStart], *, by: str) -> list[Entry | None]:
    """Store starts as readings of a vehicle, checked like any other, all in one go; None for one that is no reading."""
    with writing(db):
        return [None if one.why_not else record_reading(db, {"unit": unit, **one.values}, by=by) for one in starts]


def checked(db: Database, unit: str, starts: Sequence[LoggedStart]) -> list[Entry | None]:
    """What would become of the starts, storing none."""
    return [None if one.why_not else check_reading(db, {"unit": unit, **one.values}) for one in starts]


def became_words(one: LoggedStart, entry: Entry | None) -> list[str]:
    """What became of a start as a reading, one sentence each; nothing where it was only looked at."""
    if one.why_not:
        return [bus_words.NOT_A_READING.format(why=one.why_not)]
    if entry is None:
        return []
    if entry.problems:
        return [bus_words.NOT_STORED.format(why=problem) for problem in entry.problems]
    number = bus_words.AS_READING_NUMBER.format(number=entry.row_id) if entry.row_id is not None else ""
    state = bus_words.KNOWN if entry.known else bus_words.IS_STORED if entry.stored else ""
    return [f"{state}{number}" if state else bus_words.TO_BE_STORED, *entry.doubts]
