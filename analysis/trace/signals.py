"""What is done to samples before anything is read from them: means of a few, smoothing, noise, ends of a range."""

import numpy as np
from scipy.signal import savgol_filter

from analysis.constants import MAD_TO_SD
from analysis.trace.choices import FINDING, LEVELS, RECORDING
from analysis.trace.record import Array, Trace

MOST_STRETCHES, FEWEST_IN_STRETCH = 40, 6  # that noise is taken in
INNER = (0.01, 0.99)  # quantiles between which lies the range of a trace, whatever its spikes are


def thinned(values: Array, rate_hz: float, to_hz: float) -> tuple[Array, float]:
    """Means of neighbouring samples, so that there are about `to_hz` a second or as many as before; and the new rate."""
    size = max(1, int(rate_hz // to_hz))
    count = len(values) // size
    return values[: count * size].reshape(count, size).mean(axis=1), rate_hz / size


def noise_sd(values: Array) -> float:
    """Standard deviation of the noise from sample to sample, whatever slow moves lie under it."""
    if len(values) < 3:
        return 0.0
    second = np.diff(values, 2)  # variance 6 s² for white noise
    return float(MAD_TO_SD * np.median(np.abs(second - np.median(second))) / np.sqrt(6))


def smoothed(values: Array, rate_hz: float, over_s: float) -> Array:
    """The samples with noise averaged over a short time by a running parabola, which keeps the height of peaks."""
    window = int(over_s * rate_hz) | 1
    return values if window < 5 or len(values) < window else savgol_filter(values, window, 2)


def quiet_noise_sd(values: Array) -> float:
    """Noise of the quieter stretches, so that ripple at slow sampling is not taken for noise."""
    pieces = np.array_split(values, max(1, min(MOST_STRETCHES, len(values) // FEWEST_IN_STRETCH)))
    return float(np.quantile([noise_sd(piece) for piece in pieces], 0.25))


def running_mean(values: Array, count: int) -> Array:
    """Means over `count` neighbours, only where there are so many."""
    total = np.concatenate([[0.0], np.cumsum(values - values[0])])
    means: Array = (total[count:] - total[:-count]) / count + values[0]
    return means


def without_spikes(trace: Trace) -> tuple[Trace, int]:
    """The trace with samples that stand alone put between their neighbours, and how many; slow traces stay as they are."""
    if trace.rate_hz < RECORDING.alone_hz:
        return trace, 0
    (volts, of_volts), (amps, of_amps) = _calm(trace.volts, FINDING.least_v), _calm(trace.amps, FINDING.least_a)
    return Trace(trace.time_s, volts, amps), of_volts + of_amps


def _calm(values: Array | None, least: float) -> tuple[Array | None, int]:
    if values is None:
        return None, 0
    spread = float(np.ptp(np.quantile(values, INNER)))
    reach = max(least, RECORDING.alone_share * spread, FINDING.noises * quiet_noise_sd(values))
    middle, apart = (values[2:] + values[:-2]) / 2, np.abs(values[2:] - values[:-2])
    alone = np.flatnonzero(np.abs(values[1:-1] - middle) > np.maximum(RECORDING.alone_times * apart, reach))
    calm = values.copy()
    calm[alone + 1] = middle[alone]
    return calm, len(alone)


def at_end_of_range(values: Array, *, high: bool) -> Array:
    """Which samples stand at the end of the instrument's range: equal extremes, several in a row."""
    extreme = values.max() if high else values.min()
    at = values == extreme
    count = LEVELS.clipped_samples
    if at.sum() < count or at.mean() > 0.5:  # a flat line is no end of a range
        return np.zeros(len(values), dtype=bool)
    padded = np.concatenate([[False], at, [False]])
    edges = np.flatnonzero(np.diff(padded.astype(np.int8)))
    long = [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= count]
    clipped = np.zeros(len(values), dtype=bool)
    for a, b in long:
        clipped[a:b] = True
    return clipped


def envelope(time_s: Array, values: Array, most: int) -> tuple[Array, Array]:
    """At most so many points that keep every peak and valley: lowest and highest of each stretch, in order of time."""
    size = -(-len(values) // max(1, most // 2))
    if size <= 2:
        return time_s, values
    points = [0]
    for first in range(0, len(values), size):
        part = values[first : first + size]
        points += sorted({first + int(part.argmin()), first + int(part.argmax())})
    kept = np.array(sorted({*points, len(values) - 1}))
    return time_s[kept], values[kept]
