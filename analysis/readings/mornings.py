"""What loggers' thermometers are worth, from mornings on which several vehicles of a depot start side by side ("Mornings" in
NUMBERS.md)."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.arrays import Floats, Ints
from analysis.constants import WEEK_D
from analysis.readings.aid import engine_temperature
from analysis.readings.choices import MORNINGS, NOISE
from analysis.readings.panel import FleetTables, days_since_epoch, more_than_logged, turning_the_engine, whose
from analysis.readings.thinning import many, sag_at_reference

BLOCK_D = 4 * WEEK_D
"""What is learned in one block of days is used from the next on, so that no later reading changes an earlier temperature."""

DECIMALS = 2  # of degrees: what the order of additions leaves must not make an old reading another one


@dataclass(frozen=True)
class Mornings:
    """Starts (N,) that were not alone: row of the readings, vehicle, morning, block of days from the first, degrees read [degC]."""

    at: Ints
    unit: Ints
    morning: Ints
    block: Ints
    read_c: Floats

    def mean(self, values: Floats) -> Floats:
        """(N,) mean over each start's morning."""
        return np.asarray((np.bincount(self.morning, values) / np.bincount(self.morning))[self.morning], np.float64)

    def before(self, values: Floats) -> Floats:
        """(B,) sum of values (N,) over all blocks before each."""
        return _before(np.bincount(self.block, values))


def by_mornings(tables: FleetTables) -> FleetTables:
    """The tables with the degrees that loggers read brought to what their mornings make of them.

    From each logger's degrees its usual departure from the others of its depot is taken; of what is left between the vehicles of
    one morning that share stays by which the sags tell that they were as much colder or warmer.
    """
    readings = tables.readings
    unit, values = whose(tables.units, readings), turning_the_engine(readings)
    found = side_by_side(tables.units, readings, unit, values)
    if not len(found.at):
        return tables
    own_c = found.read_c - usual_departure(found, len(tables.units))
    middle = found.mean(own_c)
    with np.errstate(invalid="ignore", divide="ignore"):
        log_sag = np.log((values["rest_v"] - values["crank_min_v"])[found.at])
    colder, shared = (
        -sag_at_reference(np.ones(len(c)), c, engine_temperature(tables.units, c, found.unit)) for c in (own_c, middle)
    )
    degrees = readings["temperature_c"].to_numpy(np.float64, copy=True)
    share = real_share(found, log_sag, colder - shared, shared, own_c - middle)
    degrees[found.at] = np.round(middle + share * (own_c - middle), DECIMALS)
    return replace(tables, readings=readings.assign(temperature_c=degrees))


def side_by_side(units: pd.DataFrame, readings: pd.DataFrame, unit: Ints, values: dict[str, Floats]) -> Mornings:
    """A logger's first start of a day, where another vehicle of its depot makes its own within the same hours."""
    logged = many(unit) & ~more_than_logged(readings, values) & np.isfinite(values["temperature_c"])
    depot = units["depot"].to_numpy(object)[unit]
    at = np.flatnonzero(logged & pd.notna(depot))
    when = days_since_epoch(readings["taken_at"])[at]
    order = np.lexsort((when, np.floor(when), unit[at]))
    at, when = at[order], when[order]
    first = np.r_[True, (np.diff(np.floor(when)) != 0.0) | (np.diff(unit[at]) != 0)] if len(at) else np.zeros(0, bool)
    at, when = at[first], when[first]
    hours = np.floor(when * (24.0 / MORNINGS.hours))
    morning = pd.DataFrame({"depot": pd.factorize(depot[at])[0], "hours": hours}).groupby(["depot", "hours"])
    together = (morning["hours"].transform("size") > 1).to_numpy()
    at, when = at[together], when[together]
    block = np.floor(when / BLOCK_D).astype(np.int64)
    code = pd.factorize(morning.ngroup().to_numpy()[together])[0].astype(np.int64)
    return Mornings(at, unit[at], code, block - block.min(initial=0), values["temperature_c"][at])


def usual_departure(found: Mornings, n_units: int) -> Floats:
    """(N,) kelvin by which each start's logger usually reads more than the others beside it, of earlier blocks, shrunk to none."""
    met = np.bincount(found.morning)[found.morning]
    away = (found.read_c - found.mean(found.read_c)) * met / (met - 1.0)
    n_blocks = int(found.block.max()) + 1
    place = found.unit * n_blocks + found.block
    count, total = (
        _before(np.bincount(place, each, minlength=n_units * n_blocks).reshape(n_units, n_blocks)).ravel()[place]
        for each in (np.ones(len(away)), away)
    )
    scatter = found.before(away * away) / np.maximum(found.before(np.ones(len(away))), 1.0)
    return np.asarray(total / (count + scatter[found.block] / MORNINGS.logger_k**2 + 1e-9), dtype=np.float64)


def real_share(found: Mornings, log_sag: Floats, apart: Floats, shared: Floats, apart_k: Floats) -> Floats:
    """(N,) share of the differences within a morning that are the vehicles' own, as earlier blocks tell.

    log_sag [log V]; shared, apart: by what the published laws have it grow for the morning's mean degrees, and for the start's own
    beyond these; apart_k: that in kelvin.  Sags follow both, the mean's as far as it is right itself (errors in variables).
    """
    ones = np.ones(len(log_sag))
    met = np.bincount(found.morning)[found.morning]
    life = pd.factorize(found.unit * (int(found.block.max()) + 1) + found.block)[0]
    known = np.isfinite(log_sag)

    def about_own(values: Floats) -> Floats:
        weight = np.where(known, 1.0, 0.0)
        mean = np.bincount(life, weight * np.where(known, values, 0.0)) / np.maximum(np.bincount(life, weight), 1.0)
        return np.where(known, values - mean[life], 0.0)

    y, a, d = about_own(log_sag), about_own(shared), about_own(apart)
    far = np.abs(y - a - d) > MORNINGS.reject  # a start that failed, or wear within the block
    y, a, d = (np.where(far, 0.0, each) for each in (y, a, d))
    aa, ad, dd, ay, dy, yy, n = (
        found.before(each) for each in (a * a, a * d, d * d, a * y, d * y, y * y, 1.0 * (a != 0.0))
    )
    blur = found.before(np.where(known, apart**2 / np.maximum(met - 1.0, 1.0), 0.0))
    det = np.maximum(aa * dd - ad * ad, 1e-12)
    of_mean, of_own = (ay * dd - dy * ad) / det, (dy * aa - ay * ad) / det
    noise = np.maximum(yy - of_mean * ay - of_own * dy, 0.0) / np.maximum(n, 1.0)
    mean_right = 1.0 - np.clip(blur / np.maximum(aa, 1e-12), 0.0, MORNINGS.most_blur)
    follows = np.maximum(of_mean, 1e-9)  # sags that follow no cold: an error without end, so that they tell nothing
    ratio = of_own / follows
    told = ratio * mean_right / np.maximum(1.0 - ratio * (1.0 - mean_right), MORNINGS.least_left)
    error = np.sqrt(noise * aa / det) / follows
    apart_var = found.before(np.where(known, apart_k**2, 0.0)) / np.maximum(found.before(1.0 * known), 1.0)
    before = np.clip(1.0 - NOISE.thermometer_k**2 / np.maximum(apart_var, 1e-9), 0.0, 1.0)
    weight = np.where(n > 0.0, MORNINGS.share_sd**2 / (MORNINGS.share_sd**2 + error**2), 0.0)
    share = np.clip(before + weight * (np.where(n > 0.0, told, before) - before), 0.0, 1.0)
    first = found.before(ones) == 0.0  # nothing is known yet: degrees stay as they were read
    return np.where(first, 1.0, share)[found.block]


def _before(by_block: npt.ArrayLike) -> Floats:
    """Sums over all blocks before each, along the last axis."""
    each = np.asarray(by_block, dtype=np.float64)
    return np.asarray(np.cumsum(each, axis=-1) - each, dtype=np.float64)
