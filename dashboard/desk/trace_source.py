"""A recorded trace, from its file to the reading it makes: the vehicle's cylinders and volts, the starts, the values."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from analysis.trace.choices import LEVELS
from analysis.trace.find import find_starts
from analysis.trace.record import Found, Marks, Start, Trace, upright
from analysis.trace.signals import without_spikes
from analysis.trace.start import measure_start
from dashboard.words.trace_words import alone_words
from ingest.errors import FileRefused
from ingest.fields import OF_A_TRACE, SAMPLED
from ingest.readers import read_sheets
from ingest.trace_files import TraceFile, read_trace

DIGITS = {"rest_v": 3, "crank_dip_v": 3, "crank_min_v": 3, "peak_a": 1, "crank_a": 1, "crank_rpm": 1, "crank_s": 2,
          "temperature_c": 1}  # fmt: skip


@dataclass(frozen=True)
class Recording:
    """A trace with its starts, and what was made of its file; cylinders and volts of the vehicle, None where not known."""

    name: str
    trace: Trace
    found: Found
    remarks: tuple[str, ...]
    reversed_clamp: bool = False
    cylinders: int | None = None
    system_v: int | None = None

    def measured(self, number: int) -> Start:
        """The start of this number, from 1."""
        marks = self.found.marks[number - 1]
        others = tuple(other for other in self.found.marks if other is not marks)
        return measure_start(
            self.trace, marks, others=others, system_v=self.system_v, cylinders=self.cylinders
        )  # fmt: skip

    def moved(self, number: int, marks: Marks) -> Recording:
        """The same with one start's marks where a person put them."""
        every = [*self.found.marks]
        every[number - 1] = marks
        return replace(self, found=replace(self.found, marks=tuple(every)))

    def marked(self, marks: Marks) -> Recording:
        """The same with a start where a person says that one is."""
        return replace(self, found=replace(self.found, marks=(*self.found.marks, marks)))


def recording_of(
    path: str | Path,
    *,
    unit: Mapping[str, Any] | None = None,
    clamp_mv_per_a: float | None = None,
    rate_hz: float | None = None,
    cylinders: int | None = None,
    volts: str = "",
    amps: str = "",
) -> Recording:
    """Read a recorded trace and find its starts; what is not said of the engine comes from the vehicle."""
    try:
        file = read_trace(read_sheets(path), clamp_mv_per_a=clamp_mv_per_a, rate_hz=rate_hz, volts=volts, amps=amps)
    except FileRefused as refused:
        raise FileRefused(f"{Path(path).name}: {refused}") from None
    known = unit or {}
    return found_in(file, cylinders=cylinders or _whole(known.get("cylinders")), system_v=_whole(known.get("system_v")))


def found_in(file: TraceFile, *, cylinders: int | None, system_v: int | None) -> Recording:
    """The starts in what a file holds."""
    calm, alone = without_spikes(Trace(file.time_s, file.volts, file.amps))
    trace, reversed_clamp = upright(calm)
    found = find_starts(trace, system_v=system_v, cylinders=cylinders)
    remarks = (*file.remarks, *([alone_words(alone)] if alone else []))
    return Recording(file.name, trace, found, remarks, reversed_clamp, cylinders, system_v)


def _whole(value: object) -> int | None:
    return int(value) if isinstance(value, int | float) and math.isfinite(value) and value > 0 else None


def as_reading(known: Mapping[str, float | None], *, ran: bool, sampled: bool) -> dict[str, object]:
    """Values of a recorded start as the columns of a reading: those that are known, rounded; seconds to a running engine only
    of one that ran; of slow samples that their lowest is an upper bound."""
    values: dict[str, object] = {
        name: round(value, DIGITS[name])
        for name, value in known.items()
        if value is not None and math.isfinite(value) and (ran or name != "crank_s")
    }
    return values | {"lowest_is": SAMPLED} if sampled and "crank_min_v" in values else values


def reading_values(start: Start, rate_hz: float) -> dict[str, object]:
    """The columns of a reading that a start fills. Bounds are no readings, except that the lowest of slow samples is kept as what
    it is."""
    found = {name: getattr(start, name) for name in OF_A_TRACE}
    known = {name: one.value for name, one in found.items() if not one.bound}
    sampled = start.crank_min_v.bound == "at most" and rate_hz < LEVELS.lowest_hz
    if sampled:
        known["crank_min_v"] = start.crank_min_v.value
    values = as_reading(known, ran="aborted" not in start.cautions and start.ran is not False, sampled=sampled)
    return values | {"instrument": f"recorded trace, {rate_hz:.6g} Hz"} if values else {}
