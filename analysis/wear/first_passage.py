"""When a wandering quantity first reaches a limit: drift, its uncertainty between parts, and diffusion."""

from __future__ import annotations

import numpy as np
from scipy.special import erfcx, log_ndtr, ndtr

from analysis.readings.panel import Floats


def first_passage_probability(
    time: float | Floats,
    distance: float | Floats,
    *,
    drift: float | Floats,
    diffusion: float | Floats,
    drift_sd: float | Floats = 0.0,
) -> Floats:
    """Probability that a Wiener process has reached a limit `distance` above its present value within `time`.

    time: at least 0 [any unit]; distance [unit of the quantity], 0 or less counts as reached; drift [unit/time] with
    standard deviation `drift_sd` between parts; diffusion [unit/sqrt(time)], above 0.  Arrays broadcast.  A drift that
    may point away from the limit may never reach it, so the probability need not tend to 1 and there need be no mean.
    Without `drift_sd` this is the inverse Gaussian.  Source: F(t) of the random-drift Wiener process, checked by
    simulation and, with drift_sd 0, against scipy.stats.invgauss.  Raises ValueError outside these ranges.
    """
    t, a, v, s, w = np.broadcast_arrays(
        *(np.asarray(x, dtype=np.float64) for x in (time, distance, drift, diffusion, drift_sd))
    )
    if (t < 0).any():
        raise ValueError(f"time is {t.min()}; allowed are values of at least 0")
    if not (s > 0).all():
        raise ValueError(f"diffusion is {s.min()}; allowed are values above 0")
    if (w < 0).any():
        raise ValueError(f"drift_sd is {w.min()}; allowed are values of at least 0")
    later = np.where(t > 0.0, t, 1.0)
    a_up = np.maximum(a, 0.0)
    sd = np.sqrt(w**2 * later**2 + s**2 * later)
    straight = ndtr((v * later - a_up) / sd)
    b = (2.0 * w**2 * a_up * later + s**2 * (v * later + a_up)) / (s**2 * sd)
    # the second term, exp(2 v a/s^2 + 2 w^2 a^2/s^4) Phi(-b), is phi((v t - a)/D) Phi(-b)/phi(b): both factors of the
    # first form leave the range of floats where diffusion is small, those of the second do not
    mills = 0.5 * erfcx(np.maximum(b, 0.0) / np.sqrt(2.0))
    mirrored = np.exp(-0.5 * ((v * later - a_up) / sd) ** 2) * mills
    exponent = np.minimum(2.0 * v * a_up / s**2 + 2.0 * w**2 * a_up**2 / s**4, 0.0)
    reached = np.clip(straight + np.where(b > 0.0, mirrored, np.exp(exponent + log_ndtr(-b))), 0.0, 1.0)
    return np.where(a <= 0.0, 1.0, np.where(t > 0.0, reached, 0.0))
