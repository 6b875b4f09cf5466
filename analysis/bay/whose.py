"""Whose reading is it? The typed values under what each vehicle should show, and the odds that it is another's.

A reading under a wrong number spoils two vehicles. Each vehicle's expected reading (`analysis.bay.expected`) with its errors
gives the likelihood of the typed values, the odometer among them. Under its own vehicle a reading may also hold one
wrong value, or tell of a part that has changed since; under another it has to fit as it is. Bayes' rule with a small
chance of a wrong number gives the odds. At even odds it is asked: by Markov's inequality the evidence reaches that for
at most p / (1 - p), p being that chance, of the readings that are the vehicle's own, if the models hold.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
import scipy

from analysis.bay.choices import WHOSE
from analysis.bay.closure import MOVED_BY, STATE_FIELDS, Departures
from analysis.bay.expected import Expected
from analysis.bay.one_reading import trusted_row
from analysis.circuit.resistances import MEASURED
from analysis.readings.choices import NOISE
from analysis.readings.panel import SAMPLED, Floats, doubted


@dataclass(frozen=True)
class Odometer:
    """What the odometer should show [km], with the scale of its error; NaN for a vehicle that was never read for it."""

    km: float
    scale_km: float


@dataclass(frozen=True)
class Vehicle:
    """What one vehicle's reading should show."""

    expected: Expected
    odometer: Odometer


@dataclass(frozen=True)
class Whose:
    """Probability that the reading is another vehicle's, and the likeliest others with theirs, likeliest first."""

    probability: float
    likely: tuple[tuple[str, float], ...] = ()

    @property
    def asked(self) -> bool:
        """Whether it is worth a question."""
        return self.probability >= WHOSE.ask_at


OWN: Final = Whose(0.0)


def odometer_at(readings: pd.DataFrame, at: pd.Timestamp) -> Odometer:
    """The odometer expected at a moment from one vehicle's earlier readings (taken_at, odometer_km, doubtful)."""
    shown = readings["odometer_km"].to_numpy(np.float64)
    ago_d = (at - readings["taken_at"]).dt.total_seconds().to_numpy(np.float64) / 86400.0
    told = np.flatnonzero((ago_d > 0.0) & np.isfinite(shown) & ~np.asarray(doubted(readings, "odometer_km")))
    if not len(told):
        return Odometer(float("nan"), float("nan"))
    first, last = told[np.argmax(ago_d[told])], told[np.argmin(ago_d[told])]
    days = ago_d[first] - ago_d[last]
    pace = (shown[last] - shown[first]) / days if days >= 1.0 else WHOSE.km_a_day
    run = max(float(pace), 0.0) * float(ago_d[last])
    return Odometer(float(shown[last]) + run, WHOSE.odometer_sd_km + WHOSE.odometer_sd_share * run)


def looks_foreign(reading: Mapping[str, Any], own: Vehicle) -> bool:
    """Whether a reading is so far from what its vehicle should show that others are worth a look."""
    row, sd_k = _row(reading)
    found = own.expected.departures(row, sd_k)
    if found.used.any() and scipy.special.chdtrc(int(found.used.sum()), _chi2(found)) < WHOSE.look_at:
        return True
    km, expected = _km(reading), own.odometer
    if not (np.isfinite(km) and np.isfinite(expected.km)):
        return False
    return bool(
        2.0 * scipy.special.stdtr(WHOSE.odometer_tail, -abs(km - expected.km) / expected.scale_km) < WHOSE.look_at
    )


def nearest_vehicles(reading: Mapping[str, Any], latest: pd.DataFrame, *, most: int = WHOSE.nearest) -> list[str]:
    """Vehicles whose latest values lie nearest to a reading's, nearest first: a coarse choice of whom to compare with.

    :param latest: one row per unit (the index) with its latest values by column
    """
    values = {n: _number(reading.get(n)) for n in (*MEASURED, "odometer_km")}
    if reading.get("lowest_is") == SAMPLED:
        values["crank_min_v"] = float("nan")  # a bound may be any vehicle's
    away = pd.Series(0.0, index=latest.index)
    for name, value in values.items():
        if not np.isfinite(value) or name not in latest:
            continue
        known = latest[name].to_numpy(np.float64)
        if name == "odometer_km":
            steps = ((value - known) / WHOSE.near_km) ** 2
        else:
            steps = (
                np.log(np.maximum(value, WHOSE.least_size) / np.maximum(known, WHOSE.least_size)) / WHOSE.near_sd
            ) ** 2
        away += np.where(np.isfinite(steps), np.minimum(steps, WHOSE.farthest), WHOSE.unread)
    return [str(unit) for unit in away.sort_values(kind="stable").index[:most]]


def whose_reading(reading: Mapping[str, Any], own: Vehicle, others: Mapping[str, Vehicle], *, vehicles: int) -> Whose:
    """The odds that a reading is another vehicle's.

    :param reading: measurements by name [V, A, °C, rpm, km], None or NaN for missing
    :param others: vehicles that it is compared with
    :param vehicles: how many others the fleet has; a wrong number is any of them alike
    :raises ValueError: fewer vehicles than `others`
    """
    if vehicles < len(others):
        raise ValueError(f"vehicles is {vehicles}; allowed is {len(others)} and more, as many as there are others")
    row, sd_k = _row(reading)
    row = own.expected.foretold(row)
    typed = {n for n in MEASURED if np.isfinite(row[n].iloc[0])}
    km = _km(reading)
    if not others or not (typed or np.isfinite(km)):
        return OWN
    here = np.log1p(-WHOSE.prior_other) + _log_own(row, own.expected, sd_k) + _log_km(km, own.odometer, own=True)
    there = {
        unit: np.log(WHOSE.prior_other / vehicles)
        + _log_sound(v.expected.departures(row, sd_k))
        + _log_km(km, v.odometer)
        for unit, v in others.items()
        if not v.expected.unknown & typed
    }
    total = float(scipy.special.logsumexp([here, *there.values()]))
    share = {unit: float(np.exp(value - total)) for unit, value in there.items()}
    ranked = sorted(share.items(), key=lambda pair: -pair[1])
    likely = tuple(pair for pair in ranked[: WHOSE.most_named] if pair[1] >= WHOSE.least_named)
    return Whose(min(1.0, sum(share.values())), likely)


def _number(value: object) -> float:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else float("nan")


def _km(reading: Mapping[str, Any]) -> float:
    return _number(reading.get("odometer_km"))


def _row(reading: Mapping[str, Any]) -> tuple[pd.DataFrame, float]:
    """The reading as one row with a temperature, doubtful values too, and the temperature's error [K]."""
    row = trusted_row({**reading, "doubtful": ""})
    noted = np.isfinite(row["temperature_c"].iloc[0])
    return (
        (row, NOISE.temperature_k)
        if noted
        else (row.assign(temperature_c=NOISE.assumed_c), NOISE.assumed_temperature_k)
    )


def _chi2(found: Departures) -> float:
    return float(found.residual[0] @ np.linalg.solve(found.covariance[0], found.residual[0]))


def _log_normal(residual: Floats, covariance: Floats, count: int) -> float:
    """Log density of residuals; those not used are 0 with variance 1 and count for nothing."""
    _, log_det = np.linalg.slogdet(covariance)
    return float(-0.5 * (residual @ np.linalg.solve(covariance, residual) + log_det + count * np.log(2.0 * np.pi)))


def _log_sound(found: Departures) -> float:
    """Log likelihood of a reading that is as expected."""
    return _log_normal(found.residual[0], found.covariance[0], int(found.used.sum()))


def _log_own(row: pd.DataFrame, expected: Expected, sd_k: float) -> float:
    """The same under its own vehicle, where a part may have changed, a value may be wrong, or all may be worse."""
    found = expected.departures(row, sd_k)
    residual, covariance, slope = found.residual[0], found.covariance[0], found.slope[0]
    places = np.flatnonzero(found.used[0])
    count = len(places)
    if not count:
        return 0.0
    used = found.used[0].astype(np.float64)
    logs = [np.log(WHOSE.sound) + _log_sound(found)]
    fields = sorted({STATE_FIELDS.index(MOVED_BY[MEASURED[i]]) for i in places})
    for k in fields:
        moved = covariance + WHOSE.changed_sd**2 * np.outer(slope[:, k], slope[:, k])
        logs.append(np.log(WHOSE.changed / len(fields)) + _log_normal(residual, moved, count))
    for i in places:
        kept = np.delete(np.arange(len(MEASURED)), i)
        rest = _log_normal(residual[kept], covariance[np.ix_(kept, kept)], count - 1)
        anywhere = -np.log(max(abs(float(found.measured[0, i])), WHOSE.least_size) * np.log(WHOSE.slip_times))
        logs.append(np.log(WHOSE.slipped / count) + rest + anywhere)
    wide = np.where(np.outer(used, used) > 0, WHOSE.loose_times**2, 1.0) * covariance
    logs.append(np.log(WHOSE.loose) + _log_normal(residual, wide, count))
    return float(scipy.special.logsumexp(logs))


def _log_km(km: float, expected: Odometer, *, own: bool = False) -> float:
    """Log density of the odometer [1/km]; nothing where it was not read."""
    if not np.isfinite(km):
        return 0.0
    if not np.isfinite(expected.km):
        return float(-np.log(WHOSE.any_km))
    fits = _log_t((km - expected.km) / expected.scale_km) - float(np.log(expected.scale_km))
    return (
        float(scipy.special.logsumexp([np.log1p(-WHOSE.misread) + fits, np.log(WHOSE.misread / WHOSE.any_km)]))
        if own
        else fits
    )


def _log_t(z: float) -> float:
    """Log density of Student's t with `WHOSE.odometer_tail` degrees of freedom (Abramowitz and Stegun 26.7.1)."""
    tail = WHOSE.odometer_tail
    top = scipy.special.gammaln((tail + 1.0) / 2.0) - scipy.special.gammaln(tail / 2.0) - 0.5 * np.log(tail * np.pi)
    return float(top - (tail + 1.0) / 2.0 * np.log1p(z * z / tail))


def latest_values(readings: pd.DataFrame) -> pd.DataFrame:
    """One row per unit with the latest value of every column, for `nearest_vehicles`; readings sorted by time."""
    return readings.groupby("unit")[[*MEASURED, "odometer_km"]].last()
