"""Levels of a start: rest volts, the clamp's zero, peak and dip of the inrush, amps and lowest volts while turning steadily."""

from dataclasses import dataclass

import numpy as np

from analysis.constants import MEDIAN_SE
from analysis.trace.choices import FINDING, LEVELS
from analysis.trace.record import Array, Bound, Marks, Measured, Trace, between
from analysis.trace.ripple import Strokes
from analysis.trace.signals import at_end_of_range, noise_sd, running_mean, smoothed

NOT_RECORDED = Measured(missing="not recorded")


@dataclass(frozen=True)
class Zero:
    """What the clamp shows with nothing flowing: at each sample, its error, and what to mind about it."""

    amps: Array
    se: float
    moved_a: float = 0.0
    unknown: bool = False


def mean_of(values: Array) -> tuple[float, float]:
    """The median, and its standard error from the noise and from how far the halves differ."""
    half = len(values) // 2
    drift = abs(float(np.median(values[:half]) - np.median(values[half:]))) / 2 if half >= 3 else 0.0
    return float(np.median(values)), float(np.hypot(MEDIAN_SE * noise_sd(values) / np.sqrt(len(values)), drift))


def zero_of(trace: Trace, marks: Marks, span: tuple[float, float]) -> Zero:
    """The clamp's zero, on a line between before and after the start; only from before where it moved too far to be drift."""
    assert trace.amps is not None
    early = (max(span[0], marks.begin_s - LEVELS.rest_s - FINDING.guard_s), marks.begin_s - FINDING.guard_s)
    late = (marks.end_s + LEVELS.after_s, min(span[1], marks.end_s + LEVELS.after_s + LEVELS.rest_s))
    known = [(sum(w) / 2, *mean_of(part)) for w in (early, late) if len(part := trace.amps[between(trace, *w)]) >= 3]
    ones = np.ones(len(trace.amps))
    if not known:
        return Zero(0 * ones, LEVELS.zero_unknown_a, unknown=True)
    at, level, se = known[0]
    if len(known) == 1:
        return Zero(level * ones, se)
    later_at, later, later_se = known[1]
    part = trace.amps[between(trace, marks.steady_s, marks.end_s)]
    steady = float(np.median(part)) - level if len(part) else 0.0
    if max(abs(later - level), 2 * later_se) > max(LEVELS.zero_moves_a, LEVELS.zero_moves_share * steady):
        return Zero(level * ones, se, moved_a=later - level if abs(later - level) > LEVELS.zero_moves_a else 0.0)
    line = level + (later - level) * (trace.time_s - at) / (later_at - at)
    return Zero(line, float(np.hypot(np.hypot(se, later_se) / 2, LEVELS.zero_drift * abs(later - level))))


def rest_of(trace: Trace, marks: Marks, span: tuple[float, float], blocks: int) -> tuple[Measured, float]:
    """Volts before the start, and by how much they had been higher before something else drew [V]."""
    if trace.volts is None:
        return NOT_RECORDED, 0.0
    until = marks.begin_s - FINDING.guard_s
    near = trace.volts[between(trace, max(span[0], until - LEVELS.rest_s), until)]
    if len(near) < 3:
        return Measured(missing="nothing before"), 0.0
    level, se = mean_of(near)
    back = trace.volts[between(trace, max(span[0], until - LEVELS.rest_back_s), until)]
    size = max(3, int(LEVELS.rest_s / 2 * trace.rate_hz))
    pieces = [back[k : k + size] for k in range(0, len(back) - size + 1, size)]
    best, best_se = max((mean_of(piece) for piece in pieces), default=(level, se))
    if best - level > max(LEVELS.load_before_v * blocks, 4 * float(np.hypot(se, best_se))):
        return Measured(best, best_se), best - level
    return Measured(level, se), 0.0


def inrush_top(load: Array, trace: Trace, marks: Marks, clipped: Array) -> Measured:
    """The highest point of a load within the inrush; a top between two samples is put half a fall above the higher one."""
    rate = trace.rate_hz
    part = between(trace, marks.begin_s - 1 / rate, min(marks.steady_s, marks.begin_s + 2 * FINDING.inrush_s))
    own, count = load[part], max(1, round(LEVELS.top_s * rate))
    smooth = running_mean(own, count) if len(own) >= count + 2 else own
    if len(smooth) < 3:
        return Measured(missing="too short")
    noise = LEVELS.top_noise * noise_sd(own) / np.sqrt(count)
    at = int(np.argmax(smooth))
    falls = [float(smooth[at] - smooth[at + k]) / k for k in (1, 2) if at + k < len(smooth)]
    fall = max([0.0, *falls])
    bound: Bound = "at least" if clipped[part].any() or rate < LEVELS.inrush_hz else ""
    if bound:
        return Measured(float(smooth[at]), float(noise), bound)
    return Measured(float(smooth[at]) + fall / 2, float(np.hypot(noise, LEVELS.top_fall * fall)))


def steady_mean(values: Array, trace: Trace, marks: Marks, strokes: Strokes) -> Measured:
    """The mean while turning steadily, over whole strokes where they are known, every cylinder weighing alike."""
    part = values[between(trace, marks.steady_s, marks.end_s)]
    if len(part) < 3 or marks.end_s - marks.steady_s < LEVELS.least_steady_s:
        return Measured(missing="too short")
    period = trace.rate_hz / strokes.hz if strokes.hz else FINDING.unknown_settle_s * trace.rate_hz
    period = max(period, 1.0)
    whole = int(len(part) / period)
    if whole < 1:
        return Measured(float(part.mean()), float(part.std()))
    part = part[-round(whole * period) :]
    means = np.array([piece.mean() for piece in np.array_split(part, whole)])
    cylinders = min(strokes.cylinders or 1, whole)
    mean = float(np.mean([means[k::cylinders].mean() for k in range(cylinders)]))
    scatter = float(means.std(ddof=1) / np.sqrt(whole)) if whole > 1 else float(part.std() * LEVELS.settled_noise)
    noise = noise_sd(part) / np.sqrt(len(part))
    return Measured(mean, float(np.linalg.norm([scatter, noise, LEVELS.stretch_share * abs(mean)])))


def lowest_steady(trace: Trace, marks: Marks, strokes: Strokes) -> tuple[Measured, Measured]:
    """Lowest volts while turning steadily: averaged over whole strokes as a display averages, and in the ripple."""
    if trace.volts is None:
        return NOT_RECORDED, NOT_RECORDED
    window = between(trace, marks.steady_s, marks.end_s)
    part = trace.volts[window]
    # the middle of samples anywhere in the ripple lies at or above its lowest mean
    if trace.rate_hz < LEVELS.lowest_hz:
        seen = (
            Measured(float(np.median(part)), noise_sd(part), "at most") if len(part) else Measured(missing="too short")
        )
        return seen, seen
    if len(part) < 3 or marks.end_s - marks.steady_s < LEVELS.least_steady_s:
        return Measured(missing="too short"), Measured(missing="too short")
    period = trace.rate_hz / strokes.hz if strokes.hz else LEVELS.display_s * trace.rate_hz
    whole = max(1, round(LEVELS.display_s * trace.rate_hz / period))
    count = min(round(whole * period), len(part))
    shown = running_mean(part, count)
    noise = noise_sd(part)
    scatter = float((shown if len(shown) > 1 else part).std()) * LEVELS.settled_noise
    ripple = float(part.std()) * LEVELS.unlike_strokes
    bound: Bound = "at most" if at_end_of_range(trace.volts, high=False)[window].any() else ""
    low = Measured(float(shown.min()), float(np.linalg.norm([noise / np.sqrt(count), scatter, ripple])), bound)
    smooth = smoothed(part, trace.rate_hz, 5 * LEVELS.smooth_s)
    return low, Measured(float(smooth.min()), float(noise), bound)
