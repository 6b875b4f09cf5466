"""Temperature laws of the parts, their fit from a fleet's own readings, and corrections that carry their own error.

One form for every part ("Temperature" in NUMBERS.md), x = reference_c - temperature_c: log R(T) = log R(reference) + b x + c x².
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from analysis.circuit.choices import TEMPERATURE
from analysis.circuit.limits import (
    BATTERY_CURVATURE,
    BATTERY_CURVATURE_SD,
    BATTERY_PER_K,
    BATTERY_PER_K_SD,
    CONTACT_PER_K,
    CONTACT_PER_K_SD,
    COPPER_PER_K,
    DRAG_CURVATURE,
    DRAG_CURVATURE_SD,
    DRAG_PER_K,
    DRAG_PER_K_SD,
    DRAG_TOGETHER,
    REFERENCE_C,
)
from analysis.constants import MAD_TO_SD

Array = npt.NDArray[np.float64]
HUBER_C: Final = 1.345  # tuning constant of Huber weights: 95 % efficiency for Gaussian errors (Huber & Ronchetti 2009)
ROBUST_STEPS: Final = 12  # reweighting steps; the change after the tenth is below a thousandth of the error
SMALLEST_SCALE: Final = 1e-6  # keeps weights finite when readings repeat exactly


def _array(values: npt.ArrayLike) -> Array:
    return np.asarray(values, dtype=np.float64)


# --- Published laws --------------------------------------------------------------------------------------------------
def copper_factor(temperature_c: npt.ArrayLike) -> Array:
    """Copper resistance at a temperature [°C] over that at 20 °C: 1 + 0.00393 (T - 20).

    Source: NBS Handbook 100 / IEC 60028 (from memory). Holds from -100 to 200 °C.
    """
    return 1.0 + COPPER_PER_K.value * (_array(temperature_c) - REFERENCE_C.value)


# --- Laws as values --------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class TemperatureLaw:
    """log value(T) = log value(reference) + b x + c x², x = reference_c - T, with the errors of b and c."""

    b_per_k: float
    c_per_k2: float
    covariance: Array
    reference_c: float

    def log_factor(self, temperature_c: npt.ArrayLike) -> Array:
        """log of value(T) / value(reference)."""
        x = self.reference_c - _array(temperature_c)
        return self.b_per_k * x + self.c_per_k2 * x**2

    def log_factor_se(self, temperature_c: npt.ArrayLike, *, from_c: npt.ArrayLike | None = None) -> Array:
        """Standard error of the log step between two temperatures (from the reference if `from_c` is None).

        Grows with the distance between the two: with Var(b) to the power one and Var(c) to the power two.
        """
        start = _array(self.reference_c if from_c is None else from_c)
        x, x0 = self.reference_c - _array(temperature_c), self.reference_c - start
        d1, d2 = x - x0, x**2 - x0**2
        v = self.covariance
        variance = v[0, 0] * d1**2 + 2.0 * v[0, 1] * d1 * d2 + v[1, 1] * d2**2
        result: Array = np.sqrt(np.maximum(variance, 0.0))
        return result


def _law(b: float, b_sd: float, c: float, c_sd: float, together: float = 0.0) -> TemperatureLaw:
    """together: correlation of the errors of b and c."""
    both = together * b_sd * c_sd
    return TemperatureLaw(b, c, np.array([[b_sd**2, both], [both, c_sd**2]]), REFERENCE_C.value)


BATTERY_LAW: Final = _law(
    BATTERY_PER_K.value, BATTERY_PER_K_SD.value, BATTERY_CURVATURE.value, BATTERY_CURVATURE_SD.value
)
DRAG_LAW: Final = _law(
    DRAG_PER_K.value, DRAG_PER_K_SD.value, DRAG_CURVATURE.value, DRAG_CURVATURE_SD.value, DRAG_TOGETHER.value
)
OIL_DRAG: Final = {
    "0W": (0.0121, 2.6e-4),
    "5W": (0.0127, 2.7e-4),
    "10W": (0.0135, 2.9e-4),
    "15W": (0.0145, 3.3e-4),
    "20W": (0.0159, 3.9e-4),
    "25W": (0.0171, 4.4e-4),
}
"""By winter grade, slope [1/K] and curvature [1/K^2] of the drag: ASTM D341 lines of usual oils (44 to 170 cSt at 40 degC),
torque by viscosity^0.4 to 0.5 over a dry share of 30 to 50 %, computed."""


def drag_law(oil_grade: str = "") -> TemperatureLaw:
    """The published law of the drag, sharpened where the oil's SAE J300 grade is known."""
    known = OIL_DRAG.get(oil_grade.split("-")[0])
    if known is None:
        return DRAG_LAW
    doubt = TEMPERATURE.oil_drag_per_k_sd, TEMPERATURE.oil_drag_curvature_sd
    return _law(known[0], doubt[0], known[1], doubt[1], TEMPERATURE.oil_drag_together)


CONTACT_LAW: Final = _law(CONTACT_PER_K.value, CONTACT_PER_K_SD.value, 0.0, 0.0)
# Copper written in the same form: -log(1 + 0.00393 x) has b = -a and c = -a²/2; the rest is below 0.6 % to -40 °C.
COPPER_LAW: Final = TemperatureLaw(
    -COPPER_PER_K.value, -(COPPER_PER_K.value**2) / 2, np.zeros((2, 2)), REFERENCE_C.value
)


def at_reference(
    value: Array, se: Array, temperature_c: npt.ArrayLike, law: TemperatureLaw, temperature_se_c: npt.ArrayLike
) -> tuple[Array, Array]:
    """Values and their errors brought from the temperature of the reading [°C] to the law's reference.

    The law's part of the error is shared by all values corrected with one law; it is zero at the reference and grows away
    from it. `temperature_se_c` [K] adds what an uncertain temperature does through the law's slope.
    """
    factor = np.exp(-law.log_factor(temperature_c))
    slope = law.b_per_k + 2.0 * law.c_per_k2 * (law.reference_c - _array(temperature_c))
    error = np.hypot(law.log_factor_se(temperature_c), slope * _array(temperature_se_c))
    return value * factor, np.hypot(se * factor, np.abs(value) * factor * error)


# --- Fit from a fleet's readings -------------------------------------------------------------------------------------
def fit_temperature_law(
    log_value: npt.ArrayLike,
    temperature_c: npt.ArrayLike,
    unit_codes: npt.ArrayLike,
    se: npt.ArrayLike,
    *,
    time_days: npt.ArrayLike,
    prior: TemperatureLaw = BATTERY_LAW,
    temperature_se_c: npt.ArrayLike = 0.0,
    shared_sd: float = 0.0,
) -> TemperatureLaw:
    """Fit b and c of one class from its readings ("Temperature" in NUMBERS.md): differences to the vehicle's previous reading, Huber
    weights, errors in variables (Fuller 1987, section 1.2; never more than `least_told` leaves), shrunk to a published prior.

    :param log_value: log of the quantity, shape (n,); not-finite readings are left out
    :param temperature_c: temperature of the reading [°C], shape (n,)
    :param unit_codes: whole numbers from 0 naming the vehicle, shape (n,)
    :param se: standard error of one log value from the instruments, shape (n,) or one number
    :param time_days: time of the reading [d], shape (n,); their order does not matter
    :param prior: law whose coefficients and covariance are the prior
    :param temperature_se_c: standard error of each temperature against that of the part [K], one number or (n,)
    :param shared_sd: of one log value, the part that all readings within `shared_k` have in common: they do not average it away
    :raises ValueError: arrays of unequal length
    """
    y, t, units = _array(log_value).ravel(), _array(temperature_c).ravel(), np.asarray(unit_codes).ravel()
    if not len(y) == len(t) == len(units):
        raise ValueError(f"log_value, temperature_c and unit_codes have {len(y)}, {len(t)} and {len(units)} values")
    error, when = np.broadcast_to(_array(se).ravel(), y.shape), _array(time_days).ravel()
    good = np.isfinite(y) & np.isfinite(t) & np.isfinite(error)
    y, t, units, error = y[good], t[good], units[good].astype(np.int64), error[good]
    x = prior.reference_c - t
    design = np.column_stack([x, x**2])
    blur = _blur(x, np.broadcast_to(_array(temperature_se_c).ravel(), good.shape)[good])
    dy, dx, sd, group, later, blur = _from_previous(y, design, units, error, blur, when[good])
    if len(dy) == 0:
        return prior
    shared = 2.0 * shared_sd**2 * _neighbours(later)
    coefficient, covariance = _robust_fit(dy, dx, sd, group, prior, blur, shared)
    return TemperatureLaw(float(coefficient[0]), float(coefficient[1]), covariance, prior.reference_c)


def _from_previous(
    y: Array, design: Array, units: npt.NDArray[np.int64], error: Array, blur: Array, when: Array
) -> tuple[Array, Array, Array, npt.NDArray[np.int64], Array, Array]:
    """Values and design less those of the same vehicle's previous reading: difference of the values, of the design, its error,
    unit, x of the later reading, blur (n, 2, 2)."""
    order = np.lexsort((y, design[:, 0], when, units))
    same = units[order][1:] == units[order][:-1]
    now, before = order[1:][same], order[:-1][same]
    sd = np.hypot(error[now], error[before])
    return y[now] - y[before], design[now] - design[before], sd, units[now], design[now, 0], blur[now] + blur[before]


def _blur(x: Array, se: Array) -> Array:
    """(n, 2, 2) what an error of the temperature by one standard error adds to the squares of x and x², per reading."""
    slope = np.stack([np.ones_like(x), 2.0 * x], axis=-1)  # of x and of x² by the temperature
    blur: Array = (se**2)[:, None, None] * slope[:, :, None] * slope[:, None, :]
    return blur


def _neighbours(x: Array) -> Array:
    """(n,) how many of the values lie within the same `shared_k` as each."""
    _, place, count = np.unique(np.floor(x / TEMPERATURE.shared_k), return_inverse=True, return_counts=True)
    return np.asarray(count[place], dtype=np.float64)


def _told(information: Array, blur: Array) -> Array:
    """The information (2, 2) less what errors of the temperatures added to it, positive definite all the same."""
    values, vectors = np.linalg.eigh(information)
    root = vectors / np.sqrt(np.maximum(values, 1e-30))
    most = float(np.linalg.eigvalsh(root.T @ blur @ root).max())
    told: Array = information - min(1.0, (1.0 - TEMPERATURE.least_told) / max(most, 1e-12)) * blur
    return told


def _robust_fit(
    dy: Array, dx: Array, sd: Array, group: npt.NDArray[np.int64], prior: TemperatureLaw, blur: Array, shared: Array
) -> tuple[Array, Array]:
    """Iteratively reweighted least squares with a Gaussian prior; returns coefficients and covariance.

    blur: (n, 2, 2) of both readings of a difference; shared: (n,) variance of what each difference shares with the others, times
    how many these are.
    """
    start = np.array([prior.b_per_k, prior.c_per_k2])
    precision = np.linalg.pinv(prior.covariance)
    coefficient = start
    weight = np.ones_like(dy)
    for _ in range(ROBUST_STEPS):
        residual = dy - dx @ coefficient
        spread = np.maximum(_scale(residual, sd), sd)
        weight = 1.0 / np.maximum(1.0, np.abs(residual) / (HUBER_C * spread)) / (spread**2 + shared)
        information = _told((dx * weight[:, None]).T @ dx, np.tensordot(weight, blur, axes=1))
        coefficient = np.linalg.solve(information + precision, (dx * weight[:, None]).T @ dy + precision @ start)
    residual = dy - dx @ coefficient
    inflation = _inflation(dx, weight, residual, group)
    covariance = np.linalg.inv(information / inflation + precision)
    if inflation > 1.0:  # the data then weigh less against the prior too
        target = (dx * weight[:, None]).T @ dy / inflation + precision @ start
        coefficient = covariance @ target
    return coefficient, (covariance + covariance.T) / 2.0


def _scale(residual: Array, sd: Array) -> float:
    """Scatter of the residuals: 1.4826 MAD, or the instruments' own where there are too few."""
    if len(residual) < TEMPERATURE.fewest_for_scale:
        return float(max(np.sqrt(np.mean(sd**2)), float(np.sqrt(np.mean(residual**2))), SMALLEST_SCALE))
    return float(max(MAD_TO_SD * np.median(np.abs(residual)), SMALLEST_SCALE))


def _inflation(dx: Array, weight: Array, residual: Array, group: npt.NDArray[np.int64]) -> float:
    """How much wider than independent errors the error of b is, from sums within units (sandwich, White 1980)."""
    score = dx[:, 0] * weight * residual
    by_unit = np.bincount(group, score)
    information = float((dx[:, 0] ** 2 * weight).sum())
    return max(1.0, float((by_unit**2).sum()) / information) if information > 0 else 1.0
