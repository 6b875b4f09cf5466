"""What the lowest volts of a start tell of the battery when they are the dip of the inrush or an upper bound ("Lowest volts
that are something else" in NUMBERS.md)."""

from dataclasses import replace

import numpy as np
import scipy

from analysis.circuit.limits import COPPER_PER_K, REFERENCE_C
from analysis.circuit.temperature import BATTERY_LAW
from analysis.constants import DAYS_PER_YEAR
from analysis.readings.choices import BOUND, DIP
from analysis.readings.panel import Bools, Floats, Panel, group_median, nearest_known


def by_the_dip(panel: Panel) -> Bools:
    """(U, R) readings whose battery is told by the dip, because the lowest volts of steady turning were not read."""
    return np.asarray(np.isfinite(panel.measured["crank_dip_v"]) & np.isnan(panel.measured["crank_min_v"]))


def dip_amps(panel: Panel, rest_v: Floats, x: Floats, steady_mohm: Floats, share: Floats, label_mohm: Floats) -> Floats:
    """(2, U, R) amps that the battery's steady resistance would fall to the dip with, and their relative error.

    rest_v - dip = share * battery * peak, and dip = peak * everything else. Where the peak was not read, everything else
    is taken from the vehicle's other readings, else its class's; in a class where it was never read, so that its usual
    battery is the one that its steady readings, else its label (label_mohm (U,) at 20 degC), make it. x: kelvin below
    20 degC; steady_mohm: (U, R); share: (U,) of the battery's steady resistance that is there at the inrush.
    """
    m, g, n = panel.measured, panel.group, len(panel.groups)
    dip, peak = m["crank_dip_v"], m["peak_a"]
    copper = 1.0 - COPPER_PER_K.value * x
    battery = share[:, None] * np.exp(BATTERY_LAW.log_factor(REFERENCE_C.value - x))
    with np.errstate(divide="ignore", invalid="ignore"):
        others = dip / peak / copper
        own, usual = nearest_known(others), group_median(others, g, n)
        relative = group_median((rest_v / dip - 1.0) * copper / battery, g, n)
        usual_mohm = group_median(steady_mohm * share[:, None] / battery, g, n)
        usual_mohm = np.where(np.isfinite(usual_mohm), usual_mohm, group_median(label_mohm, g, n))
        from_class = np.where(np.isfinite(usual), usual, usual_mohm / 1e3 / relative)
        taken = np.where(np.isfinite(own), own, from_class[g][:, None])
        amps = share[:, None] * np.where(np.isfinite(peak), peak, dip / (taken * copper))
    error = np.where(np.isfinite(own), DIP.own_peak, DIP.class_peak)
    return np.stack([amps, np.hypot(DIP.share, np.where(np.isfinite(peak), 0.0, error))])


def bounds_as_values(panel: Panel, which: Bools) -> Panel:
    """The panel with the bounds of the vehicles `which` (U,) as if they were lowest volts."""
    low, at_most = panel.measured["crank_min_v"], panel.measured["crank_at_most_v"]
    filled = np.where(np.isnan(low) & which[:, None], at_most, low)
    return replace(panel, measured={**panel.measured, "crank_min_v": filled})


def taught_by_values(panel: Panel) -> Panel:
    """The panel that class laws are learned from: without bounds, but in classes that hold hardly anything else."""
    if not np.isfinite(panel.measured["crank_at_most_v"]).any():
        return panel
    values = np.isfinite(panel.measured["crank_min_v"]) | np.isfinite(panel.measured["crank_dip_v"])
    with_values = np.bincount(panel.group[values.any(axis=1)], minlength=len(panel.groups))
    return bounds_as_values(panel, with_values[panel.group] < BOUND.fewest_with_values)


def with_bounds(
    value: Floats, se: Floats, least: Floats, least_se: Floats, day: Floats, spread: Floats
) -> tuple[Floats, Floats]:
    """Multiples of the class-usual battery (U, R) with their errors, where bounds stand as what they add.

    `least`, `least_se`: what each bound would be as a value, NaN for none; day: (U, R); spread: (U,) between sound
    vehicles. Along each vehicle's readings, oldest first, what is expected begins as its class and follows its values; a
    bound makes it the normal cut off below the bound, by its mean and variance (moments of the truncated normal), and
    stands as the value that would have moved it so (expectation propagation, one pass; Minka 2001, from memory). A bound
    well below what is expected says nothing and stays NaN.
    """
    value, se = value.copy(), se.copy()
    mean, variance = np.ones(len(value)), spread**2
    last = np.full(len(value), np.nan)
    for r in range(value.shape[1]):
        read = np.isfinite(value[:, r])
        bound = np.isfinite(least[:, r]) & ~read
        gap_a = np.nan_to_num(day[:, r] - last) / DAYS_PER_YEAR
        variance = variance + np.where(read | bound, BOUND.per_root_year**2 * np.maximum(gap_a, 0.0), 0.0)
        last = np.where(read | bound, day[:, r], last)
        site, site_variance = _site(mean, variance, least[:, r], least_se[:, r])
        tells = bound & (site_variance * BOUND.tells < variance)
        value[tells, r], se[tells, r] = site[tells], np.sqrt(site_variance[tells])
        seen, error = np.where(read | tells, value[:, r], mean), np.where(read | tells, se[:, r] ** 2, np.inf)
        weight = variance / (variance + error)
        mean, variance = mean + weight * (seen - mean), variance * (1.0 - weight)
    return value, se


def _site(mean: Floats, variance: Floats, least: Floats, least_se: Floats) -> tuple[Floats, Floats]:
    """The value and variance that move a normal as the knowledge does that it lies above a bound read with an error."""
    beyond = (BOUND.beyond * np.maximum(np.nan_to_num(least) - mean, 0.0)) ** 2
    wide = variance + beyond
    both = wide + least_se**2
    away = (least - mean) / np.sqrt(both)
    with np.errstate(divide="ignore", invalid="ignore"):
        hazard = np.exp(-0.5 * away**2 - 0.5 * np.log(2.0 * np.pi) - scipy.special.log_ndtr(-away))
        lost = wide / both * hazard * (hazard - away)
        cut_mean, cut = mean + wide / np.sqrt(both) * hazard, wide * (1.0 - lost)
        precision = 1.0 / cut - 1.0 / wide
        site = (cut_mean / cut - mean / wide) / precision
        return np.asarray(site), np.asarray(np.maximum(1.0 / precision, beyond))
