"""A value beside its limit, in digits enough to tell the two apart; a temperature in both units."""

import math
from typing import Final

from analysis.circuit.battery import fahrenheit_from_celsius

MOST_DIGITS: Final = 4  # no workshop meter shows more


def digits_apart(value: float, limit: float, least: int) -> int:
    """Decimals, `least` or more, with which two different numbers do not look alike."""
    digits = least
    while digits < MOST_DIGITS and value != limit and f"{value:.{digits}f}" == f"{limit:.{digits}f}":
        digits += 1
    return digits


def usual_digits(unit: str) -> int:
    """Decimals that a value of this unit is shown with."""
    return 2 if unit.startswith("V") or unit == "Ω" else 0


def beyond(value: float, limit: float, unit: str) -> str:
    """On which side of its limit a value is: "above 0.20 V", or "0.204 V, above 0.200 V" where two digits look alike."""
    least = usual_digits(unit)
    digits = digits_apart(value, limit, least)
    side = "above" if value > limit else "below"
    said = f"{side} {limit:.{digits}f} {unit}"
    return said if digits == least else f"{value:.{digits}f} {unit}, {said}"


def both_degrees(celsius: float) -> str:
    """A temperature in °C and °F, each turned and rounded once, with a minus sign below nil and none at nil: "−18 °C (0 °F)"; "" for none."""
    if not math.isfinite(celsius):
        return ""
    kept = round(celsius, 1)  # as lists keep it, so that one figure never reads as two
    in_c, in_f = round(kept), round(float(fahrenheit_from_celsius(kept)))
    return f"{in_c} °C ({in_f} °F)".replace("-", "−")
