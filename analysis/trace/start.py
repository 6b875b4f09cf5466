"""One start of a trace, measured between its marks; moved marks give other values."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analysis.trace.choices import FINDING, LEVELS
from analysis.trace.levels import NOT_RECORDED, inrush_top, lowest_steady, mean_of, rest_of, steady_mean, zero_of
from analysis.trace.record import Array, Bound, Caution, Marks, Measured, Start, Trace, between, blocks_of
from analysis.trace.ripple import Strokes, evenness, rpm_of, strokes_of
from analysis.trace.signals import at_end_of_range, noise_sd, running_mean, smoothed
from analysis.trace.slope import MOHM_PER_OHM, source_resistance

SWAPPED: dict[Bound, Bound] = {"": "", "at least": "at most", "at most": "at least"}


def measure_start(
    trace: Trace,
    marks: Marks,
    *,
    others: Sequence[Marks] = (),
    system_v: int | None = None,
    cylinders: int | None = None,
) -> Start:
    """What a start shows between its marks.

    others: the marks of the file's other starts, so that what is before and after this one ends where they stand.
    ValueError where a mark lies outside the trace.
    """
    _refuse_outside(trace, marks)
    blocks = blocks_of(trace, system_v)
    span = _span(trace, marks, others)
    steady_end, falls_s = _until_it_catches(trace, marks, span)
    turning = replace(marks, end_s=max(steady_end, marks.steady_s))
    strokes = strokes_of(trace, (turning.steady_s, turning.end_s), cylinders=cylinders)
    cautions: dict[Caution, float] = {}
    rest, drawn = rest_of(trace, marks, span, blocks)
    low, in_ripple = lowest_steady(trace, turning, strokes)
    of_amps, zero_a = _of_amps(trace, marks, turning, strokes, span, cautions)
    peak, amps, source = _beside_volts(of_amps, rest, low, blocks, cautions)
    if drawn:
        cautions["load before"] = drawn
    ran = _ran(trace, marks, rest, span, blocks)
    _mind_edges(trace, marks, turning, cautions, ran=ran)
    return Start(
        marks=marks, rest_v=rest, crank_dip_v=_dip(trace, marks, cautions), crank_min_v=low,
        ripple_low_v=in_ripple, peak_a=peak, crank_a=amps, crank_s=_seconds(trace, marks, cautions, falls_s),
        firing_hz=Measured(strokes.hz, strokes.se, missing=strokes.missing), crank_rpm=_speed(strokes, cylinders),
        source_mohm=source, even=evenness(strokes, trace.rate_hz, cylinders),
        ran=ran, zero_a=zero_a, cautions=cautions,
    )  # fmt: skip


def _refuse_outside(trace: Trace, marks: Marks) -> None:
    first, last = float(trace.time_s[0]), float(trace.time_s[-1])
    for name, value in vars(marks).items():
        if not first <= value <= last:
            raise ValueError(
                f"the mark {name.removesuffix('_s')} is {value:g}; allowed is {first:g} to {last:g} s, within the trace"
            )


def _span(trace: Trace, marks: Marks, others: Sequence[Marks]) -> tuple[float, float]:
    """The time around a start that belongs to no other."""
    before = [m.end_s for m in others if m.end_s <= marks.begin_s]
    after = [m.begin_s for m in others if m.begin_s >= marks.end_s]
    return max(before, default=float(trace.time_s[0])), min(after, default=float(trace.time_s[-1]))


def _until_it_catches(trace: Trace, marks: Marks, span: tuple[float, float]) -> tuple[float, float]:
    """The end of steady turning, and how long the load takes to go [s]: an engine that fires takes over bit by bit."""
    load = trace.amps if trace.amps is not None else -trace.volts if trace.volts is not None else np.empty(0)
    end = marks.end_s - min(FINDING.guard_s / 2, (marks.end_s - marks.steady_s) / 4)
    part = load[between(trace, marks.steady_s, end)]
    size = max(2, int(2 * FINDING.unknown_settle_s * trace.rate_hz))
    if len(part) < 3 * size:
        return end, 0.0
    before = load[between(trace, max(span[0], marks.begin_s - LEVELS.rest_s), marks.begin_s - FINDING.guard_s)]
    base = float(np.median(before)) if len(before) >= 3 else float(part.min())
    shown = running_mean(part, size) - base
    usual = float(np.median(shown[: max(1, len(shown) // 2)]))
    falling = between(trace, marks.end_s - LEVELS.falls_s, marks.end_s + LEVELS.falls_s)
    last = smoothed(load, trace.rate_hz, LEVELS.smooth_s)[falling] - base
    high = np.flatnonzero(last > LEVELS.caught_share * usual)
    low = np.flatnonzero(last[high[-1] :] < FINDING.off_share * usual) if len(high) else high
    takes = float(low[0] / trace.rate_hz) if len(low) else 0.0
    held = np.flatnonzero(shown > LEVELS.caught_share * usual)
    if len(held) and held[-1] + 1 < len(shown):
        return marks.steady_s + float(held[-1] / trace.rate_hz), takes
    return (end if takes <= 4 * LEVELS.contacts_s else max(end - takes, marks.steady_s)), takes


def _of_amps(
    trace: Trace, marks: Marks, turning: Marks, strokes: Strokes, span: tuple[float, float],
    cautions: dict[Caution, float],
) -> tuple[tuple[Measured, Measured, Measured], float]:  # fmt: skip
    """Peak, steady amps and source resistance; and the clamp's zero at the start."""
    if trace.amps is None:
        return (NOT_RECORDED, NOT_RECORDED, NOT_RECORDED), 0.0
    zero = zero_of(trace, marks, span)
    clipped = at_end_of_range(trace.amps, high=True)
    around = between(trace, marks.begin_s, marks.end_s)
    if clipped[around].any():
        cautions["clipped amps"] = float(trace.amps.max())
    if zero.unknown:
        cautions["zero unknown"] = zero.se
    if zero.moved_a:
        cautions["zero moved"] = zero.moved_a
    own = trace.amps - zero.amps
    peak = _with_zero(inrush_top(own, trace, marks, clipped), zero.se)
    steady = _with_zero(steady_mean(own, trace, turning, strokes), zero.se)
    if steady.value is not None and clipped[between(trace, turning.steady_s, turning.end_s)].any():
        steady = replace(steady, bound="at least")
    usable = ~clipped
    if trace.volts is not None:
        usable &= ~at_end_of_range(trace.volts, high=False)
    source = source_resistance(trace, turning, zero.amps, usable, before_s=span[0])
    return (peak, steady, source), float(np.interp(marks.begin_s, trace.time_s, zero.amps))


def _beside_volts(
    of_amps: tuple[Measured, Measured, Measured], rest: Measured, low: Measured, blocks: int, cautions: dict[Caution, float]
) -> tuple[Measured, Measured, Measured]:  # fmt: skip
    """Peak, steady amps and source resistance, without those that the volts contradict: a clamp's wrong scale, an input that
    is AC coupled."""
    peak, amps, source = of_amps
    if amps.value is None or rest.value is None or low.value is None or low.bound or amps.bound:
        return of_amps
    ohm = (rest.value - low.value) / max(amps.value, LEVELS.zero_unknown_a)
    none = Measured(missing="unlike volts")
    if not LEVELS.least_source_ohm * blocks <= ohm <= LEVELS.most_source_ohm * blocks:
        cautions["unlike volts"] = MOHM_PER_OHM * ohm
        return none, none, none
    if source.value is not None and MOHM_PER_OHM * ohm > LEVELS.polarised_times * source.value:
        cautions["amps sink"] = amps.value
        return peak, none, source
    return of_amps


def _with_zero(found: Measured, se: float) -> Measured:
    return found if found.se is None else replace(found, se=float(np.hypot(found.se, se)))


def _dip(trace: Trace, marks: Marks, cautions: dict[Caution, float]) -> Measured:
    """Lowest volts in the inrush."""
    if trace.volts is None:
        return NOT_RECORDED
    clipped = at_end_of_range(trace.volts, high=False)
    if clipped[between(trace, marks.begin_s, marks.end_s)].any():
        cautions["clipped volts"] = float(trace.volts.min())
    if trace.rate_hz < LEVELS.lowest_hz:
        return Measured(missing="too slow")
    top = inrush_top(-trace.volts, trace, marks, clipped)
    return top if top.value is None else replace(top, value=-top.value, bound=SWAPPED[top.bound])


def _mind_edges(
    trace: Trace, marks: Marks, turning: Marks, cautions: dict[Caution, float], *, ran: bool | None
) -> None:  # fmt: skip
    """What the trace's ends and its rate take away."""
    if marks.begin_s - float(trace.time_s[0]) < 2 / trace.rate_hz:
        cautions["begins turning"] = marks.begin_s
    if float(trace.time_s[-1]) - marks.end_s < 2 / trace.rate_hz:
        cautions["ends turning"] = marks.end_s
    elif turning.end_s - turning.steady_s < LEVELS.least_steady_s:
        cautions["caught" if ran else "aborted"] = marks.end_s - marks.begin_s
    if LEVELS.lowest_hz <= trace.rate_hz < LEVELS.inrush_hz:
        cautions["slow inrush"] = trace.rate_hz


def _seconds(trace: Trace, marks: Marks, cautions: dict[Caution, float], falls_s: float) -> Measured:
    """How long the starter turned; each end lies between two samples, and an engine that fires takes a while to take over."""
    cut = "begins turning" in cautions or "ends turning" in cautions
    between_samples = float(np.sqrt(2 / 12) / trace.rate_hz)
    se = float(np.linalg.norm([between_samples, LEVELS.contacts_s, LEVELS.falls_doubt * falls_s]))
    return Measured(marks.end_s - marks.begin_s, se, "at least" if cut else "")


def _speed(strokes: Strokes, cylinders: int | None) -> Measured:
    if strokes.hz is None or strokes.se is None:
        return Measured(missing=strokes.missing)
    if cylinders is None:
        return Measured(missing="cylinders unknown")
    rpm = rpm_of(strokes.hz, cylinders)
    return Measured(rpm, float(np.hypot(rpm_of(strokes.se, cylinders), LEVELS.stretch_share * rpm)))


def _ran(trace: Trace, marks: Marks, rest: Measured, span: tuple[float, float], blocks: int) -> bool | None:
    """Whether the engine charged the battery afterwards; None where volts or time after the start are missing."""
    if trace.volts is None or rest.value is None:
        return None
    after: Array = trace.volts[
        between(trace, marks.end_s + LEVELS.after_s, min(span[1], marks.end_s + LEVELS.rest_back_s))
    ]
    if len(after) < 3 or len(after) / trace.rate_hz < LEVELS.rest_s:
        return None
    level, _ = mean_of(after[-max(3, len(after) // 4) :])
    return level > rest.value + LEVELS.charging_v * blocks - noise_sd(after)
