"""Starts in a log of the bus: found by the engine's speed, read by volts and temperatures beside it ("Logs of the bus" in
NUMBERS.md)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.arrays import Floats
from analysis.constants import MAD_TO_SD
from analysis.logs.choices import FINDING

NAN = float("nan")


@dataclass(frozen=True)
class Series:
    """One signal: seconds, rising, and values in its unit; step: its resolution."""

    time_s: Floats
    value: Floats
    step: float = 0.0

    def between(self, first_s: float, last_s: float) -> Series:
        """The part of it from one moment to another, both included."""
        a, b = np.searchsorted(self.time_s, first_s, "left"), np.searchsorted(self.time_s, last_s, "right")
        return Series(self.time_s[a:b], self.value[a:b], self.step)


NOTHING = Series(np.zeros(0), np.zeros(0))


@dataclass(frozen=True)
class BusStart:
    """One start, NaN where nothing is known.

    began_s: when the engine began to turn; started: whether it ran then, None where the log ends before; crank_s, crank_rpm
    with standard errors; rest_v before; lowest_v while the starter turned the engine, an upper bound of the lowest where
    `at_most`; dip_v of the inrush, of fast volts only; ambient_c, coolant_c; cold: whether the engine was as cold as the
    air, None where nobody knows.
    """

    began_s: float
    started: bool | None
    crank_s: float
    crank_s_se: float
    crank_rpm: float
    crank_rpm_se: float
    rest_v: float
    lowest_v: float
    at_most: bool
    dip_v: float
    ambient_c: float
    coolant_c: float
    cold: bool | None


@dataclass(frozen=True)
class _Turned:
    """A stretch of engine speed: positions of the last standing sample, of the first that turns, of the first that runs (or
    of the first that no longer turns), and whether it runs then."""

    standing: int
    first: int
    end: int
    started: bool | None


def find_starts(
    speed: Series, volts: Series = NOTHING, coolant: Series = NOTHING, ambient: Series = NOTHING
) -> tuple[BusStart, ...]:
    """Every start in a log.

    :param speed: engine speed [rpm]; :param volts: of the battery [V]; :param coolant, ambient: temperatures [°C]
    :raises ValueError: times of a signal that do not rise
    """
    for one in (speed, volts, coolant, ambient):
        if (np.diff(one.time_s) < 0.0).any():
            raise ValueError("the times of a signal do not rise; allowed are times in order")
    smooth = Series(speed.time_s, without_spikes(speed.value), speed.step)
    return tuple(_read(turned, smooth, volts, coolant, ambient) for turned in _turned(smooth))


def without_spikes(value: Floats) -> Floats:
    """Values with each that both its neighbours contradict replaced: the median of three."""
    if len(value) < 3:
        return value
    out = value.copy()
    out[1:-1] = np.median(np.stack([value[:-2], value[1:-1], value[2:]]), axis=0)
    return out


def _turned(speed: Series) -> Iterator[_Turned]:
    """Stretches in which a standing engine was turned."""
    t, turns, runs = speed.time_s, speed.value >= FINDING.turns_rpm, speed.value >= FINDING.runs_rpm
    after_gap = np.diff(t, prepend=-np.inf) > FINDING.gap_s
    stops = np.flatnonzero(~turns | after_gap)
    for first in (np.flatnonzero(turns[1:] & ~turns[:-1] & ~after_gap[1:]) + 1).tolist():
        place = int(np.searchsorted(stops, first, "right"))
        last = int(stops[place]) if place < len(stops) else len(t)
        found = _ran(t, runs, first, last)
        end, started = found if found else (last, None if last == len(t) or after_gap[last] else False)
        cranked = float(t[min(end, len(t) - 1)] - t[first])
        few = not found and (end - first < 2 or cranked < FINDING.least_crank_s)
        if not few and cranked <= FINDING.longest_crank_s:
            yield _Turned(first - 1, first, end, started)


def _ran(t: Floats, runs: npt.NDArray[np.bool_], first: int, last: int) -> tuple[int, bool | None] | None:
    """Where within a stretch the engine runs by itself for good: position, and whether it was seen for long enough."""
    slow = np.flatnonzero(~runs[first:last])
    begins = first + (int(slow[-1]) + 1 if len(slow) else 0)
    candidates = [first + int(k) for k in np.flatnonzero(runs[first:last])]
    for begin in candidates:
        held = int(np.searchsorted(t[:last], t[begin] + FINDING.runs_s, "right"))
        if runs[begin:held].all() and held - begin >= 2:
            seen = t[last - 1] - t[begin] >= FINDING.runs_s
            return begin, True if seen else (None if last == len(t) else False)
        if begin >= begins:
            break
    return None


def _read(turned: _Turned, speed: Series, volts: Series, coolant: Series, ambient: Series) -> BusStart:
    t = speed.time_s
    before, first = float(t[turned.standing]), float(t[turned.first])
    last, after = float(t[turned.end - 1]), float(t[min(turned.end, len(t) - 1)])
    began, ended = 0.5 * (before + first), 0.5 * (last + after)
    known = turned.end > turned.first  # at least one sample of cranking itself
    rpm, rpm_se = _speed(speed.value[turned.first : turned.end], speed.step)
    rest, lowest, at_most, dip = _volts(volts, speed, turned, began)
    near = ambient.between(began - FINDING.air_s, began + FINDING.air_s).value
    air = float(np.median(near)) if len(near) else NAN
    water = coolant.between(began - FINDING.air_s, began)
    warm = float(water.value[-1]) if len(water.value) else NAN
    return BusStart(
        began, turned.started, ended - began if known else NAN,
        float(np.hypot(first - before, after - last)) / float(np.sqrt(12.0)) if known else NAN, rpm, rpm_se,
        rest, lowest, at_most, dip, air, warm, _cold(air, warm),
    )  # fmt: skip


def _speed(value: Floats, step: float) -> tuple[float, float]:
    """Cranking speed and its error: the median, without the first and the last sample where there are enough."""
    if not len(value):
        return NAN, NAN
    inner = value[1:-1] if len(value) >= 5 else value
    middle = float(np.median(inner))
    least = np.hypot(step / np.sqrt(12.0), FINDING.speed_doubt * middle)
    if len(inner) == 1:
        return middle, FINDING.one_sample_doubt * middle
    scatter = MAD_TO_SD * float(np.median(np.abs(inner - middle))) * float(np.sqrt(np.pi / 2.0 / len(inner)))
    return middle, float(np.hypot(least, scatter))


def _volts(volts: Series, speed: Series, turned: _Turned, began: float) -> tuple[float, float, bool, float]:
    """Rest volts, lowest volts while the engine is seen to turn, whether they are a bound, and the dip of the inrush."""
    t, standing = speed.time_s, speed.value < FINDING.turns_rpm
    moved = np.flatnonzero(~standing[: turned.standing + 1])
    since = float(t[moved[-1]]) if len(moved) else -np.inf
    still = volts.between(max(began - FINDING.rest_s, since), float(t[turned.standing]))
    rest = float(np.quantile(without_spikes(still.value), FINDING.rest_share)) if len(still.value) else NAN
    near = volts.between(began - FINDING.gap_s, float(t[turned.end - 1]) + FINDING.gap_s)
    fast = len(near.value) > 2 and step_s(near.time_s) <= 1.01 / FINDING.steady_volts_hz
    if fast:
        near = Series(near.time_s, without_spikes(near.value), near.step)
    kept = near.value >= FINDING.least_share * rest if np.isfinite(rest) else near.value > 0.0
    near = Series(near.time_s[kept], near.value[kept], near.step)
    steady_from = (began if fast else float(t[turned.first])) + FINDING.inrush_s  # a slow sample may lie in the dip
    steady = near.between(steady_from, float(t[turned.end - 1])).value
    dip = near.between(float(t[turned.standing]), steady_from).value if fast else np.zeros(0)
    return rest, _least(steady), not fast, _least(dip)


def step_s(time_s: Floats) -> float:
    """Usual time between two samples [s]; their mean where a clock of whole seconds tells most of them the same time.

    time_s: two or more times [s], rising.
    """
    steps = np.diff(time_s)
    middle = float(np.median(steps))
    return middle if middle > 0.0 else float(np.mean(steps))


def _least(value: Floats) -> float:
    return float(value.min()) if len(value) else NAN


def _cold(ambient_c: float, coolant_c: float) -> bool | None:
    """Whether the engine was as cold as the air; None where its coolant is not known."""
    if np.isnan(coolant_c):
        return None
    if np.isnan(ambient_c):
        return coolant_c <= FINDING.cold_coolant_c
    return coolant_c <= ambient_c + FINDING.cold_engine_k
