"""Logs of a vehicle's bus become signals over time: candump text, MDF4, tables of on-board diagnostics.

A file is read line by line, or in pieces: what is kept are the few signals that tell of a start.
"""

import re
from array import array
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
import numpy.typing as npt

from ingest.bounds import LONGEST_LINE, MOST_CELLS, check_file, refuse_more
from ingest.bus_codes import J1939, PIDS, values_of
from ingest.choices import BUS_LOGS
from ingest.errors import FileRefused

Floats = npt.NDArray[np.float64]
Decode = Callable[[int, bool, bytes], Iterable[tuple[str, str, float]]]
MEASUREMENT = b"MDF     "  # an ASAM MDF file begins so
HEAD_BYTES = 4_096  # looked at to tell the kind of file: enough for some dozens of lines
_FRAME = re.compile(
    rb"^\s*\(([^)]{1,40})\)\s+\S+\s+([0-9A-Fa-f]{8}|[0-9A-Fa-f]{3})"
    rb"(?:#([0-9A-Fa-f]{0,16})|\s+\[[0-8]\]((?:\s+[0-9A-Fa-f]{2}){0,8}))(?:\s+[RT'].*)?\s*$"
)
STEP: Mapping[str, float] = {p.signal: p.factor for places in J1939.values() for p in places}


@dataclass(frozen=True)
class Samples:
    """A signal from one source: seconds in order (since 1970 where the log is dated), and values."""

    time_s: Floats
    value: Floats


@dataclass(frozen=True)
class BusLog:
    """What a log holds: by signal the sources that say it; whether its times are dates; lines that could not be read."""

    signals: Mapping[str, Mapping[str, Samples]]
    dated: bool
    unread: int = 0

    def fastest(self, signal: str) -> tuple[str, Samples | None]:
        """The source that says a signal most often, and what it says; nothing where none does."""
        sources = self.signals.get(signal, {})
        if not sources:
            return "", None
        name = max(sorted(sources), key=lambda source: len(sources[source].time_s))
        return name, sources[name]


class Gathered:
    def __init__(self) -> None:
        self._kept: dict[tuple[str, str], tuple[array[float], array[float]]] = {}
        self._count = 0
        self.unread = 0

    def add(self, signal: str, source: str, time_s: float, value: float) -> None:
        kept = self._kept.setdefault((signal, source), (array("d"), array("d")))
        kept[0].append(time_s)
        kept[1].append(value)
        self._count += 1
        if self._count > MOST_CELLS:
            refuse_more("values of signals", self._count, MOST_CELLS, "split it")

    def log(self) -> BusLog:
        """All of them in order of time; FileRefused where there are none, or times of no clock."""
        if not self._kept:
            raise FileRefused(
                "it holds none of the signals that tell of a start: engine speed, battery volts, temperatures"
            )
        signals: dict[str, dict[str, Samples]] = {}
        for (signal, source), (times, values) in self._kept.items():
            time_s, value = np.frombuffer(times), np.frombuffer(values)
            if len(time_s) > 1 and np.mean(np.diff(time_s) < 0.0) > BUS_LOGS.most_back:
                raise FileRefused(
                    "its times run backwards; allowed are times of a clock, or from the beginning of the log"
                )
            order = np.argsort(time_s, kind="stable")
            known = np.isfinite(value[order]) & np.isfinite(time_s[order])
            signals.setdefault(signal, {})[source] = Samples(time_s[order][known], value[order][known])
        first = min(float(s.time_s[0]) for one in signals.values() for s in one.values() if len(s.time_s))
        return BusLog(signals, first >= BUS_LOGS.dated_from_s, self.unread)


def read_log(file: Path, *, dbc: Path | None = None) -> BusLog:
    """The signals of a log; FileRefused for what is none, or lacks the extra that its kind needs.

    dbc: a data base of signals, by which frames are decoded where it knows them.
    """
    head = head_of(file)
    decode: Decode = values_of
    if dbc is not None:
        from ingest.bus_databases import decoder_of

        decode = decoder_of(dbc)
    gathered = Gathered()
    if head.startswith(MEASUREMENT):
        from ingest.bus_databases import read_mdf

        read_mdf(file, decode, gathered)
    elif is_candump(head):
        with file.open("rb") as opened:
            _read_candump(iter(lambda: opened.readline(LONGEST_LINE), b""), decode, gathered)
    else:
        from ingest.bus_tables import read_table

        read_table(file, gathered)
    return gathered.log()


def head_of(file: Path) -> bytes:
    """The first bytes of a file, which tell what kind it is of; FileRefused as `bounds.check_file`."""
    check_file(file)
    with file.open("rb") as opened:
        return opened.read(HEAD_BYTES)


def is_candump(head: bytes) -> bool:
    """Whether the first whole lines of a file are frames as candump writes them."""
    lines = [line for line in head.splitlines()[:-1] or head.splitlines() if line.strip()]
    return bool(lines) and sum(_FRAME.match(line) is not None for line in lines) > len(lines) // 2


def _read_candump(lines: Iterator[bytes], decode: Decode, gathered: Gathered) -> None:
    """candump's own log (-l, -L) and what it prints with times (-t a, -t A, -t z)."""
    for line in lines:
        found = _FRAME.match(line)
        time_s = _seconds(found[1]) if found else None
        if found is None or time_s is None:
            gathered.unread += bool(line.strip())
            continue
        identifier = int(found[2], 16)
        if identifier > 0x1FFFFFFF:  # an error frame
            continue
        data = bytes.fromhex((found[3] if found[3] is not None else found[4]).decode())
        for signal, source, value in decode(identifier, len(found[2]) > 3, data):
            gathered.add(signal, source, time_s, value)


def _seconds(text: bytes) -> float | None:
    """A frame's time: seconds, or a date and a time of day by the local clock."""
    try:
        return float(text)
    except ValueError:
        return moment_s(text.decode("ascii", "replace"))


def moment_s(text: str) -> float | None:
    """A date and a time of day by the local clock, as ISO 8601 writes them, in seconds since 1970."""
    try:
        return datetime.fromisoformat(text).timestamp()
    except (ValueError, OverflowError, OSError):
        return None


def step_of(signal: str) -> float:
    """The resolution of a signal on the bus."""
    return STEP.get(signal) or next((p.factor for p in PIDS.values() if p.signal == signal), 0.0)
