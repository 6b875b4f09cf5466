"""The compression strokes in the ripple: how often they come, how sure that is, and how even they are.

Each cylinder of a four-stroke engine fires once in two turns, so that strokes come N / 2 to a turn: rpm = 120 f / N.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy

from analysis.constants import Z_90
from analysis.trace.choices import RIPPLE
from analysis.trace.record import Array, Measured, Missing, Trace, between
from analysis.trace.signals import smoothed, thinned

TURNS_PER_CYCLE = 2  # of the crankshaft, four-stroke
SECONDS_PER_MINUTE = 60.0
T_OF_FEW = 1.0  # least residual degrees of freedom


@dataclass(frozen=True)
class Strokes:
    """Strokes a second with the standard error; the load's ripple and its count of strokes over time; why there are none."""

    hz: float | None = None
    se: float | None = None
    missing: Missing = ""
    ripple: Array | None = None
    count: Array | None = None
    cylinders: int | None = None


def rpm_of(hz: float, cylinders: int) -> float:
    """Turns of the crankshaft a minute by strokes a second."""
    return SECONDS_PER_MINUTE * TURNS_PER_CYCLE * hz / cylinders


def strokes_of(trace: Trace, span: Sequence[float], *, cylinders: int | None = None) -> Strokes:
    """The strokes in a stretch of steady turning, in the amps where they show, else in the volts."""
    needed = RIPPLE.samples_per_stroke * (cylinders or 4) * RIPPLE.sampled_rpm / (SECONDS_PER_MINUTE * TURNS_PER_CYCLE)
    if trace.rate_hz < needed:
        return Strokes(missing="too slow")
    part = between(trace, *span)
    found = Strokes(missing="no ripple")
    for load in (trace.amps, None if trace.volts is None else -trace.volts):
        if load is not None:
            found = replace(_strokes_in(load[part], trace.rate_hz, cylinders), cylinders=cylinders)
            if found.hz is not None:
                return found
    return found


def _strokes_in(load: Array, rate_hz: float, cylinders: int | None) -> Strokes:
    thin, rate = thinned(load, rate_hz, RIPPLE.look_hz)
    low, high = _band(cylinders, rate)
    if len(thin) < RIPPLE.fewest_strokes * rate / high or len(thin) < 8:
        return Strokes(missing="too short")
    # the samples without their slow course, a parabola
    x = np.linspace(-1.0, 1.0, len(thin))
    ripple = thin - np.polynomial.polynomial.polyval(x, np.polynomial.polynomial.polyfit(x, thin, 2))
    rough = _strongest(ripple, rate, (low, high), cylinders)
    if rough is None:
        return Strokes(missing="no ripple")
    if rough * len(thin) / rate < RIPPLE.fewest_strokes - 0.5:
        return Strokes(missing="too short")
    if _explained(ripple, rate, rough, cylinders) < RIPPLE.least_fit:
        return Strokes(missing="no ripple")
    return _counted(ripple, rate, rough)


def _band(cylinders: int | None, rate: float) -> tuple[float, float]:
    if cylinders is None:
        low, high = (RIPPLE.unknown_low_hz, RIPPLE.unknown_high_hz)
    else:
        low, high = (
            s * cylinders / (SECONDS_PER_MINUTE * TURNS_PER_CYCLE) for s in (RIPPLE.slowest_rpm, RIPPLE.fastest_rpm)
        )
    return low, min(high, rate / RIPPLE.samples_per_stroke)


def _strongest(ripple: Array, rate: float, band: tuple[float, float], cylinders: int | None) -> float | None:
    """The frequency of the strongest line; faster ones weigh more, so that a weak cylinder's slow line does not hide the
    strokes, and usual speeds do, so that a stroke's overtone does not."""
    count = 1 << int(np.ceil(np.log2(len(ripple) * 8)))
    power = np.abs(np.fft.rfft(ripple * np.hanning(len(ripple)), count)) ** 2
    hz = np.fft.rfftfreq(count, 1 / rate)
    inside = np.flatnonzero((hz >= band[0]) & (hz <= band[1]))
    if not len(inside):
        return None
    weighted = power[inside] * hz[inside]
    if cylinders is not None:
        off = np.log(rpm_of(1.0, cylinders) * hz[inside] / RIPPLE.usual_rpm) / RIPPLE.usual_spread
        weighted = weighted * np.exp(-(off**2) / 2)
    best = int(np.argmax(weighted))
    return float(hz[inside[best]])


def _explained(ripple: Array, rate: float, hz: float, cylinders: int | None) -> float:
    """Share of the scatter that strokes at this frequency, uneven ones too, explain."""
    time = np.arange(len(ripple)) / rate
    cycles = len(ripple) / rate * hz / (cylinders or 1)
    lines = [hz, 2 * hz]
    if cylinders and cycles >= 2:
        lines += [hz * k / cylinders for k in range(1, cylinders)]
    design = np.column_stack([f(2 * np.pi * line * time) for line in lines for f in (np.cos, np.sin)])
    fit = design @ np.linalg.lstsq(design, ripple, rcond=None)[0]
    total = float((ripple**2).sum())
    left = float(((ripple - fit) ** 2).sum())
    free = max(len(ripple) - design.shape[1], 1)
    return 1 - (left / free) / (total / len(ripple)) if total > 0 else 0.0


def _counted(ripple: Array, rate: float, rough: float) -> Strokes:
    """The frequency from the phases of the single strokes: their slope, and how far they lie off it."""
    step = rate / rough
    number = int(len(ripple) / step)
    centres, phases, heights = np.empty(number), np.empty(number), np.empty(number)
    for k in range(number):
        first, last = round(k * step), min(round((k + 1) * step), len(ripple))
        where = np.arange(first, last)
        part = ripple[first:last] - ripple[first:last].mean()
        turned = (part * np.exp(-2j * np.pi * where / step)).sum()
        centres[k], phases[k], heights[k] = (first + last - 1) / 2 / step, np.angle(turned), np.abs(turned)
    phases = np.unwrap(phases)
    slope, start = np.polyfit(centres, phases, 1)
    off = phases - slope * centres - start
    spread = float(((centres - centres.mean()) ** 2).sum())
    free = max(number - 2, T_OF_FEW)
    se = float(np.sqrt((off**2).sum() / free / spread)) * _widened(free) if spread else np.inf
    hz = rough * (1 + slope / (2 * np.pi))
    count = np.arange(len(ripple)) / step * (1 + slope / (2 * np.pi)) + start / (2 * np.pi)
    if not se / (2 * np.pi) < RIPPLE.loosest:
        return Strokes(missing="no ripple")
    return Strokes(float(hz), rough * se / (2 * np.pi), "", ripple, count)


def _widened(free: float) -> float:
    """How much wider a normal 90 % interval has to be when its standard error rests on few residuals (Student)."""
    return float(scipy.special.stdtrit(free, 0.95) / Z_90)


def evenness(strokes: Strokes, rate_hz: float, cylinders: int | None) -> tuple[Measured, ...]:
    """Height of each cylinder's stroke in percent of their mean, firing order, beginning unknown; empty where not to be told."""
    if strokes.ripple is None or strokes.count is None or strokes.hz is None or cylinders is None:
        return ()
    _, rate = thinned(strokes.ripple[:1], rate_hz, RIPPLE.look_hz)
    ripple = smoothed(strokes.ripple, rate, 0.25 / strokes.hz)
    heights = _heights(ripple, strokes.count)
    if cylinders < 2 or len(heights) < RIPPLE.strokes_each * cylinders:
        return ()
    each = [heights[k::cylinders] for k in range(cylinders)]
    mean = float(np.mean([one.mean() for one in each]))
    if mean <= 0:
        return ()
    repeated = [one for one in each if len(one) > 1]
    scatter = np.sqrt(
        sum(float(((one - one.mean()) ** 2).sum()) for one in repeated) / sum(len(one) - 1 for one in repeated)
    )
    share = [100 * float(scatter) / mean / np.sqrt(len(one)) for one in each]
    return tuple(
        Measured(100 * float(one.mean()) / mean, float(np.hypot(se, RIPPLE.even_se)))
        for one, se in zip(each, share, strict=True)
    )


def _heights(ripple: Array, count: Array) -> Array:
    """Each whole stroke's top over the mean of the valleys before and after it."""
    whole = range(int(np.ceil(count[0] + 0.5)), int(np.floor(count[-1] - 0.5)) + 1)
    heights = []
    for k in whole:
        low, top, high = np.searchsorted(count, [k - 0.5, k, k + 0.5])
        if high - low < 3 or top - low < 1 or high - top < 1:
            continue
        heights.append(ripple[low:high].max() - (ripple[low:top].min() + ripple[top:high].min()) / 2)
    return np.array(heights)
