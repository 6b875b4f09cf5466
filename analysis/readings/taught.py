"""What one fleet learned of a vehicle class, so that another fleet may begin from it ("Laws that travel" in NUMBERS.md)."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any, Final

import numpy as np
import scipy

from analysis.arrays import Floats
from analysis.circuit.temperature import TemperatureLaw
from analysis.readings.choices import TRAVEL

CHANNEL_COUNT: Final = 7


@dataclass(frozen=True)
class TaughtClass:
    """One class (class and volts, as ``van 12 V``) as another fleet knows it, channels in the order of `CHANNELS`.

    vehicles, readings, no_starts: what it rests on; battery, load: slope [1/K] and curvature [1/K²] of the laws, with
    covariance (2, 2); usual: [mΩ at 20 °C; A for the load] and relative spread between sound vehicles, (7,), NaN where
    never read; needs: least speed [rpm], supply and coil [V per 12 V] with errors (3,); onset_per_year [1/a] (7,);
    life_share: (7, L); ageing: [class-usual values a year] with errors (7,).
    """

    name: str
    vehicles: int
    readings: int
    no_starts: int
    battery: Floats
    battery_covariance: Floats
    load: Floats
    load_covariance: Floats
    usual: Floats
    usual_spread: Floats
    needs: Floats
    needs_se: Floats
    onset_per_year: Floats
    life_share: Floats
    ageing: Floats
    ageing_se: Floats

    def plain(self) -> dict[str, Any]:
        """As numbers, lists and words; what was never read is null."""
        found = {one.name: getattr(self, one.name) for one in fields(self)}
        return {name: _nulls(v.tolist()) if isinstance(v, np.ndarray) else v for name, v in found.items()}

    def battery_law(self, published: TemperatureLaw) -> TemperatureLaw:
        """The battery's law as a prior of another fleet."""
        return _as_prior(self.battery, self.battery_covariance, published)

    def load_law(self, published: TemperatureLaw) -> TemperatureLaw:
        """The drag's law, likewise."""
        return _as_prior(self.load, self.load_covariance, published)


def _as_prior(law: Floats, covariance: Floats, published: TemperatureLaw) -> TemperatureLaw:
    left = TRAVEL.law_share**2 * published.covariance
    return TemperatureLaw(float(law[0]), float(law[1]), covariance + left, published.reference_c)


def _nulls(values: Any) -> Any:
    if isinstance(values, list):
        return [_nulls(v) for v in values]
    return values if math.isfinite(values) else None


def taught_class(told: Mapping[str, Any], *, lives: int) -> TaughtClass:
    """A class from plain numbers, lists and words, whatever else they hold; ValueError with one sentence for what is none.

    lives: how many steps of them there are.
    """
    shapes = {
        "battery": (2,), "battery_covariance": (2, 2), "load": (2,), "load_covariance": (2, 2), "usual": (CHANNEL_COUNT,),
        "usual_spread": (CHANNEL_COUNT,), "needs": (3,), "needs_se": (3,), "onset_per_year": (CHANNEL_COUNT,), "ageing": (CHANNEL_COUNT,),
        "ageing_se": (CHANNEL_COUNT,), "life_share": (CHANNEL_COUNT, lives),
    }  # fmt: skip
    name = told.get("name") if isinstance(told, Mapping) else None
    if not isinstance(name, str) or not 0 < len(name) <= 80:
        raise ValueError("a class has no name; allowed is text up to 80 characters")
    held: dict[str, Any] = {key: _count(name, key, told.get(key)) for key in ("vehicles", "readings", "no_starts")}
    held |= {key: _numbers(name, key, told.get(key), shape) for key, shape in shapes.items()}
    return TaughtClass(name, **held)


def _count(name: str, key: str, value: object) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= 10**9:
        raise ValueError(f"{name}: {key} is {value!r:.40}; allowed are whole numbers from 0 to 1,000,000,000")
    return value


UNREAD: Final = ("usual", "usual_spread")  # what may be unknown
POSITIVE: Final = ("usual", "usual_spread", "needs", "needs_se", "onset_per_year", "life_share", "ageing_se")


def _numbers(name: str, key: str, value: object, shape: tuple[int, ...]) -> Floats:
    """An array of that shape: finite, not negative where it cannot be, shares that sum to one, variances that are some."""
    try:
        found = np.array(value, dtype=np.float64)
    except (TypeError, ValueError, OverflowError):
        found = np.zeros(0)
    sizes = " x ".join(str(n) for n in shape)
    if found.shape != shape:
        raise ValueError(f"{name}: {key} is not {sizes} numbers")
    known = found[np.isfinite(found)]
    if (key not in UNREAD and known.size != found.size) or (np.abs(known) > 1e6).any():
        raise ValueError(f"{name}: {key} holds what is no number up to a million")
    if key in POSITIVE and (known < 0.0).any():
        raise ValueError(f"{name}: {key} holds a number below nil")
    if key.endswith("_share") and (np.abs(found.sum(axis=1) - 1.0) > 1e-6).any():
        raise ValueError(f"{name}: {key} holds shares that do not sum to one")
    if key.endswith("covariance") and (not np.allclose(found, found.T) or np.linalg.eigvalsh(found).min() < -1e-12):
        raise ValueError(f"{name}: {key} is no covariance")
    return found


def pooled_usual(
    taught: TaughtClass | None, channel: int, own: float, own_spread: float, vehicles: int
) -> tuple[float, float]:
    """Usual value and spread of a class where another fleet's are known: means by their precision, on the log scale.

    own, own_spread: of this fleet, NaN where it was never read; vehicles: whose readings they are from.
    """
    if taught is None or not np.isfinite(taught.usual[channel]):
        return own, own_spread
    usual, spread = float(taught.usual[channel]), float(taught.usual_spread[channel])
    if not np.isfinite(own):
        return usual, spread
    theirs, ours = TRAVEL.usual_sd**2 + spread**2 / max(taught.vehicles, 1), own_spread**2 / max(vehicles, 1)
    share = ours / (ours + theirs)
    return float(np.exp((1.0 - share) * np.log(own) + share * np.log(usual))), own_spread


def unlike(taught: TaughtClass, usual: Floats, spread: Floats, vehicles: Sequence[int]) -> bool:
    """Whether a class as this fleet reads it is hardly that of the other fleet: usual values too far away by chi-squared.

    usual, spread: (7,) of this fleet alone; vehicles: of each channel, whose readings they are from.
    """
    enough = (np.asarray(vehicles) >= TRAVEL.fewest_vehicles) & np.isfinite(taught.usual) & np.isfinite(usual)
    if not enough.any():
        return False
    away = np.log(usual[enough] / taught.usual[enough])
    fleets = 2.0 * TRAVEL.usual_sd**2  # either departs from what their class has in common
    variance = (
        fleets
        + spread[enough] ** 2 / np.asarray(vehicles)[enough]
        + taught.usual_spread[enough] ** 2 / max(taught.vehicles, 1)
    )
    return bool(scipy.special.chdtrc(int(enough.sum()), float((away**2 / variance).sum())) < TRAVEL.unlike)
