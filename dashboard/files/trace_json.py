"""A recorded trace as plain objects for JSON: values with errors and bounds, null where there is none, with the reason."""

from typing import Any

from analysis.trace.record import Measured, Start
from dashboard.desk.trace_source import Recording
from dashboard.words import trace_words
from ingest.entries import Entry

DIGITS = 4  # of a value: a tenth of a millivolt; our choice


def trace_object(recording: Recording, chosen: int | None) -> dict[str, Any]:
    trace = recording.trace
    numbers = [chosen] if chosen else range(1, len(recording.found.marks) + 1)
    return {
        "file": recording.name, "samples": len(trace.time_s), "rate_hz": round(trace.rate_hz, DIGITS),
        "cylinders": recording.cylinders, "system_v": recording.system_v, "remarks": list(recording.remarks),
        "notes": trace_words.notes(recording.found, reversed_clamp=recording.reversed_clamp),
        "other_loads_s": [round(one.at_s, DIGITS) for one in recording.found.others],
        "other_loads": [
            {"at_s": round(one.at_s, DIGITS), "kind": one.kind, "figure": round(one.figure, DIGITS)}
            for one in recording.found.others
        ],
        "starts": [start_object(recording.measured(n), n) for n in numbers],
    }  # fmt: skip


def start_object(start: Start, position: int) -> dict[str, Any]:
    names = (*(name for name, _, _ in trace_words.ROWS), "ripple_low_v", "firing_hz")
    return {
        "start": position,
        **{name: round(value, DIGITS) for name, value in vars(start.marks).items()},
        **{name: measured_object(getattr(start, name)) for name in names},
        "even_percent": [measured_object(one) for one in start.even],
        "even_caution": trace_words.EVEN_HINT if start.even else None,
        "ran": start.ran,
        "cautions": trace_words.caution_words(start),
    }


def measured_object(found: Measured) -> dict[str, Any]:
    """One value; `bound` is null, "at most" or "at least"."""
    return {
        "value": None if found.value is None else round(found.value, DIGITS),
        "se": None if found.se is None else round(found.se, DIGITS),
        "bound": found.bound or None,
        "reason": trace_words.MISSING[found.missing] if found.missing else None,
    }


def entry_object(entry: Entry) -> dict[str, Any]:
    return {
        "stored": entry.stored, "known": entry.known, "values": dict(entry.values),
        "problems": list(entry.problems), "doubts": list(entry.doubts), "remarks": list(entry.remarks),
    }  # fmt: skip
