"""Temperature laws of battery and load in a class: fitted from readings with amps, and from the sags of starts without."""

import numpy as np

from analysis.circuit.limits import REFERENCE_C
from analysis.circuit.temperature import TemperatureLaw, fit_temperature_law
from analysis.readings.choices import CLASSES, NOISE, OBSERVING
from analysis.readings.observe import LawDoubt, Raw
from analysis.readings.panel import Floats, Panel

Law = tuple[Floats, Floats]
"""Slope [1/K] and curvature [1/K^2] of every class, (G,)."""


def log_of(values: Floats) -> Floats:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.log(values), dtype=np.float64)


def log_battery(panel: Panel, raw: Raw) -> tuple[Floats, Floats]:
    """Log battery resistance without ice, and its error, where rest volts and amps were both measured."""
    both = np.isfinite(panel.measured["rest_v"]) & np.isfinite(panel.measured["crank_a"])
    return log_of(np.where(both, raw.battery, np.nan)) - raw.ice[0], np.hypot(CLASSES.battery_se, raw.ice[1])


def usual_oil(panel: Panel) -> list[str]:
    """The oil grade of each class: that of most of its vehicles of which it is known, empty where it is of none."""
    if "oil_grade" not in panel.units:
        return [""] * len(panel.groups)
    grade = panel.units["oil_grade"].astype(str)
    found = [grade[(panel.group == g) & (grade != "").to_numpy()] for g in range(len(panel.groups))]
    return [str(some.mode().iloc[0]) if len(some) else "" for some in found]


def fitted(
    panel: Panel,
    log_value: Floats,
    se: Floats | float,
    priors: list[TemperatureLaw],
    temperature_c: Floats | None = None,
    quantities: int = 1,
) -> tuple[tuple[Floats, Floats], LawDoubt]:
    """Temperature law (b, c) of every class and its doubt, from differences between successive readings of a vehicle.

    se: standard error of one log value; priors: the published law of each class; temperature_c: (U, R) of what obeys it, the air's
    unless told; quantities: whose product the value is, each with what its readings share.
    """
    n, se = len(panel.groups), np.broadcast_to(se, log_value.shape)
    at = panel.measured["temperature_c"] if temperature_c is None else temperature_c
    b, c = np.empty(n), np.empty(n)
    covariance, centre = np.empty((n, 2, 2)), np.zeros((n, 2))
    unit = np.broadcast_to(np.arange(len(panel.units))[:, None], log_value.shape)
    for g, prior in enumerate(priors):
        some = np.flatnonzero(panel.group == g)
        law = fit_temperature_law(
            log_value[some],
            at[some],
            unit[some],
            se[some],
            time_days=np.nan_to_num(panel.day[some]),
            prior=prior,
            temperature_se_c=NOISE.thermometer_k / np.sqrt(panel.stands_for[some]),
            shared_sd=OBSERVING.shared_sd * np.sqrt(quantities),
        )
        b[g], c[g] = law.b_per_k, law.c_per_k2
        covariance[g] = law.covariance
        x = prior.reference_c - at[some]
        x = x[np.isfinite(x) & np.isfinite(log_value[some])]
        if len(x):
            centre[g] = x.mean(), (x * x).mean()
    return (b, c), LawDoubt(covariance, centre)


def told_by_sags(
    panel: Panel, raw: Raw, laws: tuple[Law, Law], doubts: tuple[LawDoubt, LawDoubt]
) -> tuple[tuple[Law, Law], tuple[LawDoubt, LawDoubt], tuple[Floats, Floats]]:
    """The laws of battery and load with what the sags of starts that nobody clamped tell of them: of their sum alone.

    raw: with amps by the load's law; laws, doubts: from readings with amps.  Both laws take of the difference what their doubts
    are of the sum's, and are then known together better than each alone (a Gaussian given the sum of its two parts).  Also
    `between` and `lent` of :class:`ClassLaws`.  In a class most of whose starts were clamped the others tell nothing new: they
    share its seasons, charge and habits.
    """
    (battery, load), n, m = doubts, len(panel.groups), panel.measured
    sagged = np.isfinite(m["rest_v"]) & np.isfinite(m["crank_min_v"])
    clamped, unclamped = sagged & np.isfinite(m["crank_a"]), sagged & np.isnan(m["crank_a"])
    count = [np.bincount(panel.group, each.sum(axis=1), minlength=n) for each in (clamped, unclamped)]
    mostly = count[1] > count[0]
    if not mostly.any():
        return laws, doubts, (np.zeros_like(battery.covariance), np.zeros_like(battery.centre))
    same = raw.x == raw.engine_x  # a sum of laws is told where both parts are as cold
    some = unclamped & mostly[panel.group][:, None] & same
    both = battery.covariance + load.covariance
    before = np.stack(laws[0], axis=1)
    priors = [TemperatureLaw(float(b), float(c), both[g], REFERENCE_C.value) for g, (b, c) in enumerate(before)]
    log_value = log_of(np.where(some, raw.battery, np.nan)) - raw.ice[0]
    found, told = fitted(panel, log_value, np.hypot(CLASSES.battery_se, raw.ice[1]), priors, quantities=2)
    gain = [np.linalg.solve(both, d.covariance).transpose(0, 2, 1) for d in doubts]
    shift, known = np.stack(found, axis=1) - before, both - told.covariance
    moved = [np.stack(law, axis=1) + np.einsum("gij,gj->gi", k, shift) for law, k in zip(laws, gain, strict=True)]
    left = [d.covariance - k @ known @ k.transpose(0, 2, 1) for d, k in zip(doubts, gain, strict=True)]
    between = -gain[1] @ known @ gain[0].transpose(0, 2, 1)
    share = np.where(mostly, count[1] / np.maximum(count[0] + count[1], 1), 0.0)[:, None]
    centre = (1.0 - share) * battery.centre + share * told.centre
    together = between, share * (told.centre - load.centre)
    doubts = LawDoubt(left[0], centre), LawDoubt(left[1], load.centre)
    return ((moved[0][:, 0], moved[0][:, 1]), (moved[1][:, 0], moved[1][:, 1])), doubts, together
