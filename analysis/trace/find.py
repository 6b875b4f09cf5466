"""Where the starts are: a step up of amps, or down of volts, that begins like a starter and not like a heater."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from analysis.trace.choices import FINDING, LEVELS
from analysis.trace.record import Array, Found, Marks, OtherLoad, Trace, between, blocks_of
from analysis.trace.ripple import strokes_of
from analysis.trace.signals import noise_sd, quiet_noise_sd, smoothed, thinned


def find_starts(trace: Trace, *, system_v: int | None = None, cylinders: int | None = None) -> Found:
    """All starts of a trace with their marks; in the amps where they show any, else in the volts."""
    blocks = blocks_of(trace, system_v)
    seen, cut = Found(()), False
    for load, least in loads_of(trace, blocks):
        found = _starts_in(load, trace, least, cylinders)
        if found.marks and not _by_a_coil_alone(trace, found.marks[0], seen, blocks):
            return found
        cut |= _on_from_the_first(load, trace, least)
        seen = seen if seen.others else found
    return Found((), (OtherLoad(float(trace.time_s[0]), "cut"),)) if cut else seen


def _by_a_coil_alone(trace: Trace, marks: Marks, of_amps: Found, blocks: int) -> bool:
    """Whether volts go down by no more than what a weak battery loses by the amps of a solenoid."""
    coil = [one.figure for one in of_amps.others if one.kind == "coil"]
    if not coil or trace.volts is None:
        return False
    before, turning = (
        trace.volts[between(trace, first, last)]
        for first, last in ((marks.begin_s - LEVELS.rest_s, marks.begin_s), (marks.steady_s, marks.end_s))
    )
    return float(np.median(before) - np.median(turning)) < LEVELS.most_source_ohm * blocks * max(coil)


def _on_from_the_first(load: Array, trace: Trace, least: float) -> bool:
    """Whether a trace begins with most of its load on, which then goes, or with amps that never go: a start whose beginning is missing."""
    thin, rate = thinned(load, trace.rate_hz, FINDING.look_hz)
    count = min(max(3, int(FINDING.before_s * rate)), len(thin))
    level = pd.Series(thin).rolling(count).median().to_numpy()[count - 1 :]
    low, high = float(level.min()), float(level.max())
    never_off = load is trace.amps and float(thin.min()) > least
    return never_off or float(level[0]) - low > max(least, (high - low) / 2)


def loads_of(trace: Trace, blocks: int) -> list[tuple[Array, float]]:
    """What rises while a starter turns, and by how much at least: amps, and volts upside down."""
    loads = [] if trace.amps is None else [(trace.amps, FINDING.least_a)]
    return loads if trace.volts is None else [*loads, (-trace.volts, FINDING.least_v * blocks)]


def _starts_in(load: Array, trace: Trace, least: float, cylinders: int | None) -> Found:
    thin, rate = thinned(load, trace.rate_hz, FINDING.look_hz)
    before = _before(thin, rate)
    step = thin - before
    step[1:-1] = np.minimum(step[1:-1], np.maximum(step[2:], step[:-2]))  # one sample alone is a spike
    enough = max(
        least, FINDING.noises * quiet_noise_sd(thin), FINDING.least_share * float(np.nanmax(step, initial=0.0))
    )
    marks: list[Marks] = []
    others: list[OtherLoad] = []
    at = 0
    while (first := _next_above(step, enough, at)) is not None:
        base = float(before[first])
        last = _turns_until(thin, first, base, enough, rate)
        inner = _outgrown(step, first, last, rate)
        above, at_s = thin[first:last] - base, float(trace.time_s[0] + first / rate)
        if inner is not None or not _like_a_starter(above, rate):
            last = last if inner is None else inner - 1
            held = load is trace.amps and float(np.median(above)) >= FINDING.held_a
            others.append(OtherLoad(at_s, "held", float(np.median(above))) if held else OtherLoad(at_s))
        elif (times := _falls_to_nothing(above, rate)) is not None:
            others.append(OtherLoad(at_s, "chatter", times))
        elif load is trace.amps and rate >= FINDING.unclear_hz and float(np.median(above)) < FINDING.least_a:
            others.append(OtherLoad(at_s, "coil", float(np.median(above))))
        elif (last - first) / rate >= FINDING.spike_s:
            window = (first / rate + trace.time_s[0], last / rate + trace.time_s[0])
            marks.append(_marks(load, trace, window, base, cylinders))
        at = last + 1
    return Found(tuple(marks), tuple(others))


def _before(thin: Array, rate: float) -> Array:
    """What stood before each sample: the median over a while that ends a little earlier."""
    count = max(3, int(FINDING.before_s * rate))
    gap = max(1, int(FINDING.guard_s * rate / 2))
    return pd.Series(thin).rolling(count, min_periods=2).median().shift(gap).to_numpy()


def _outgrown(step: Array, first: int, last: int, rate: float) -> int | None:
    """Where a much larger step comes while a load is on: a heater was on, and the starter came in."""
    early = first + max(2, int(FINDING.inrush_s * rate))
    later = np.flatnonzero(step[early:last] > FINDING.outgrown * float(step[first:early].max()))
    return early + int(later[0]) if len(later) else None


def _next_above(step: Array, enough: float, at: int) -> int | None:
    over = np.flatnonzero(step[at:] > enough)
    return at + int(over[0]) if len(over) else None


def _turns_until(thin: Array, first: int, base: float, enough: float, rate: float) -> int:
    """The sample before which the load goes for good."""
    above = thin[first:] - base
    near = above[: max(3, int(2 * FINDING.off_s * rate))]
    level = float(np.median(near[near > enough / 2])) if (near > enough / 2).any() else enough
    off = above < FINDING.off_share * level
    need = max(1, round(FINDING.off_s * rate))
    on = np.flatnonzero(~off)
    gaps = np.flatnonzero(np.diff(np.concatenate([on, [on[-1] + need + 1 if len(on) else need]])) > need)
    end = int(on[gaps[0]]) + 1 if len(on) and len(gaps) else len(above)
    return first + max(end, 1)


def _like_a_starter(above: Array, rate: float) -> bool:
    """Whether a load has an inrush or a ripple; with slow sampling neither shows, and every load is taken for a start."""
    early = max(2, int(FINDING.inrush_s * rate))
    if rate < FINDING.unclear_hz or len(above) <= 2 * early:
        return True
    later = above[2 * early :]
    mean = float(np.median(later))
    inrush = float(above[:early].max()) / mean if mean > 0 else np.inf
    rest = later - pd.Series(later).rolling(max(3, int(rate)), center=True, min_periods=1).mean().to_numpy()
    ripple = float(np.sqrt(max(rest.var() - noise_sd(later) ** 2, 0.0))) / mean if mean > 0 else 0.0
    return inrush >= FINDING.inrush_share or ripple >= FINDING.ripple_share


def _falls_to_nothing(above: Array, rate: float) -> float | None:
    """How often a second a load comes and goes altogether; None where it stays on, as a starter does between two strokes."""
    full = float(np.quantile(above, FINDING.full_quantile))
    off = above < FINDING.nothing_share * full
    falls = int((np.diff(off.astype(np.int8)) == 1).sum())
    often = falls * rate / len(above)
    chatters = falls >= FINDING.fewest_falls and often * FINDING.off_s > 1 and float(off.mean()) >= FINDING.off_at_least
    return often if chatters and rate >= FINDING.unclear_hz else None


def _marks(load: Array, trace: Trace, window: Sequence[float], base: float, cylinders: int | None) -> Marks:
    """The marks of one start, to the sample."""
    rate, time = trace.rate_hz, trace.time_s
    smooth = smoothed(load, rate, LEVELS.smooth_s)
    near = 2 / min(rate, FINDING.look_hz)
    low, top, high = np.searchsorted(time, [window[0] - FINDING.guard_s, window[0] + FINDING.inrush_s, window[1]])
    top = max(min(int(top), int(high)), int(low) + 1)
    peak = int(low) + int(np.argmax(smooth[low:top]))
    quiet = np.flatnonzero(smooth[low:peak] - base < FINDING.begin_share * (smooth[peak] - base))
    begin = min(int(low + quiet[-1]) if len(quiet) else int(np.searchsorted(time, window[0])), len(time) - 3)
    end = _end(smooth, time, window[1], near)
    begin_s, end_s = float(time[begin]), float(max(time[end], time[begin + 2]))
    steady = _settled(smooth, time, (float(time[peak]), end_s), base, trace, cylinders)
    return Marks(begin_s, min(max(steady, float(time[begin + 1])), end_s), end_s)


def _end(smooth: Array, time: Array, last_s: float, near: float) -> int:
    """Where the load goes: its steepest fall near the sample from which on it is off."""
    low, high = np.searchsorted(time, [last_s - FINDING.guard_s, last_s + near])
    lag = max(1, int(FINDING.guard_s / 5 * (len(time) - 1) / (time[-1] - time[0])))
    part = smooth[max(0, low - lag) : min(len(smooth), high + lag)]
    if len(part) <= lag or last_s >= time[-1]:
        return min(int(high), len(time) - 1)
    fall = part[:-lag] - part[lag:]
    return min(max(0, int(low) - lag) + int(np.argmax(fall)) + lag // 2, len(time) - 1)


def _settled(
    smooth: Array, time: Array, span: Sequence[float], base: float, trace: Trace, cylinders: int | None
) -> float:
    """When turning is steady: a stroke after the load first comes down to what it is later."""
    peak, middle, end = np.searchsorted(time, [span[0], (span[0] + span[1]) / 2, span[1]])
    if end - middle < 3:
        return float(span[1])
    later = float(np.median(smooth[middle:end]))
    down = np.flatnonzero(smooth[peak:end] <= later)
    first = float(time[peak + down[0]]) if len(down) else float(time[middle])
    ripple = strokes_of(trace, (float(time[middle]), float(span[1])), cylinders=cylinders)
    wait = FINDING.settles / ripple.hz if ripple.hz else FINDING.unknown_settle_s
    return min(first + wait, (span[0] + span[1]) / 2) if later > base else float(span[1])
