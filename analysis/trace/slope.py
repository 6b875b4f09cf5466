"""The source's resistance: how far the volts go down with the amps within one start.

V = E − R I − Σ R_k L_k(I): L_k is the amps' running mean with a time in which a battery polarises (a first-order lag), so that
R is what the volts follow at once. Ordinary least squares; the error is a sandwich over blocks of residuals that move together
(Liang and Zeger 1986), because neighbouring residuals do.
"""

import numpy as np
from scipy.signal import lfilter

from analysis.trace.choices import FINDING, LEVELS, SLOPE
from analysis.trace.record import Array, Marks, Measured, Trace, between
from analysis.trace.signals import noise_sd, thinned

MOHM_PER_OHM = 1000.0


def source_resistance(trace: Trace, marks: Marks, zero_a: Array, usable: Array, *, before_s: float) -> Measured:
    """Slope of volts against amps [mΩ] from just before the start to its end, without the steep rise of the inrush.

    usable: samples of which neither volts nor amps stand at the end of a range.
    """
    if trace.volts is None or trace.amps is None:
        return Measured(missing="not recorded")
    whole = between(trace, max(before_s, marks.begin_s - LEVELS.rest_s), marks.end_s)
    rate = trace.rate_hz
    volts, thin_rate = thinned(trace.volts[whole], rate, SLOPE.look_hz)
    amps, _ = thinned((trace.amps - zero_a)[whole], rate, SLOPE.look_hz)
    time, _ = thinned(trace.time_s[whole], rate, SLOPE.look_hz)
    good, _ = thinned(usable[whole].astype(float), rate, SLOPE.look_hz)
    turning = time >= marks.begin_s
    if turning.sum() < SLOPE.fewest_blocks:
        return Measured(missing="too short")
    peak = float(time[turning][np.argmax(amps[turning][: max(3, int(2 * FINDING.inrush_s * thin_rate))])])
    guard = 1 / thin_rate
    kept = (good > 1 - 1e-9) & ((time < marks.begin_s - FINDING.guard_s) | (time > peak + SLOPE.after_peak_s))
    kept &= time < marks.end_s - max(2 * guard, SLOPE.after_peak_s)
    noise = noise_sd(amps[kept]) if kept.sum() > 3 else 0.0
    swing = float(amps[kept & turning].std()) if (kept & turning).sum() > 3 else 0.0
    if swing < SLOPE.least_swing * noise / np.sqrt(3) or swing == 0:
        return Measured(missing="no slope")
    lags = [lagged(amps, thin_rate, tau) for tau in SLOPE.polarises_s]
    design = np.column_stack([np.ones(len(amps)), amps, *lags])[kept]
    return _slope(design, volts[kept], thin_rate, noise)


def lagged(amps: Array, rate: float, tau_s: float) -> Array:
    """The amps as a first-order lag follows them, from none at the beginning."""
    keep = float(np.exp(-1 / (rate * tau_s)))
    followed: Array = lfilter([1 - keep], [1, -keep], amps)
    return followed


def _slope(design: Array, volts: Array, rate: float, noise_a: float) -> Measured:
    size = max(1, int(SLOPE.block_s * rate))
    blocks = len(volts) // size
    if blocks < SLOPE.fewest_blocks:
        return Measured(missing="too short")
    information = design.T @ design
    information[1, 1] -= len(volts) * noise_a**2  # noise of the amps flattens a slope; it is known, and taken out
    turned = np.linalg.pinv(information)
    found = turned @ (design.T @ volts)
    scores = design * (volts - design @ found)[:, None]
    sums = np.add.reduceat(scores, np.arange(0, blocks * size, size), axis=0)
    free = max(blocks - design.shape[1], 1)
    spread = turned @ (sums.T @ sums) @ turned * blocks / free
    resistance, se = -float(found[1]) * MOHM_PER_OHM, float(np.sqrt(max(spread[1, 1], 0.0))) * MOHM_PER_OHM
    if resistance <= 0 or se > resistance:
        return Measured(missing="no slope")
    return Measured(resistance, float(np.hypot(se, SLOPE.share * resistance)))
