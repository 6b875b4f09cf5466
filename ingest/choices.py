"""What we chose about rows and values that are to be believed: each a field with its unit, doubt and source, as `analysis.stated` has
them of what is worked out; NUMBERS.md prints both."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, NamedTuple, TypeVar

Value = TypeVar("Value", int, float)


class Doubt(NamedTuple):
    """What is said of a choice beside its value; it may lie between low and high."""

    unit: str
    low: float
    high: float
    source: str
    kind: str = "between"


def stated(value: Value, unit: str, low: float, high: float, source: str) -> Value:
    """A field of a number; low and high in its unit, with `value` between them."""
    found: Value = field(default=value, metadata={"stated": Doubt(unit, low, high, source)})
    return found


# fmt: off
@dataclass(frozen=True)
class Believing:
    """Rows that are believed (`rules`): the rest is set aside."""

    clock_slack_min: float = stated(10.0, "min", 2.0, 60.0, "that a phone's clock may run ahead of the server's; our choice")
    earliest_year: int = stated(1980, "1", 1970, 1990, "no reading in a workshop's files is older; our choice")
    meter_tolerance: float = stated(0.01, "1", 0.005, 0.03, "in which two readings of one voltage agree; our choice: a workshop multimeter")
    clamp_tolerance: float = stated(0.05, "1", 0.02, 0.1,
        "by which steady amps may lie above peak amps; our choice: a clamp is good to a few per cent, and these are two")
    colder_by_k: float = stated(27.0, "K", 20.0, 35.0,
        "air below the depot's mean daily low of the month; our choice: record lows of inland stations lie so far below, from memory")
    colder_by_sd: float = stated(6.0, "standard deviations of the daily lows", 5.0, 8.0, "the same, where that is more; our choice likewise")
    warmer_by_k: float = stated(18.0, "K", 12.0, 24.0, "from that low to a hot afternoon; our choice, wide on purpose")
    warmer_by_sd: float = stated(4.0, "standard deviations of the daily lows", 3.0, 6.0, "in addition to that; our choice, wide on purpose")
    warmest_bay_c: float = stated(35.0, "°C", 30.0, 45.0, "a heated bay, or a yard in the sun, in any month; our choice")
    low_sd_k: float = stated(4.5, "K", 3.0, 6.0, "of daily lows where the climate file gives none; our choice, typical of stations")
    most_looked_for: int = stated(200, "vehicles", 50, 1000,
        "unknown, of which a known one is looked for; our choice: with more, the fleet is another")
    largest_looked_through: int = stated(5000, "vehicles", 1000, 20000, "known, among which one is looked for; our choice, to save time")
    alike: float = stated(0.8, "1", 0.7, 0.9, "share of two numbers' letters that are the same, to name one for the other; our choice")


@dataclass(frozen=True)
class Doubting:
    """Values that are stored but not taken at face value (`doubt`)."""

    earlier: int = stated(5, "readings", 3, 8, "of the same vehicle that a value is compared with; our choice")
    fewest_earlier: int = stated(2, "readings", 1, 4, "of them that must be there; our choice")
    ten_least: float = stated(8.0, "1", 6.5, 9.5, "a ratio that a slipped decimal point explains, readings' noise included; our choice")
    ten_most: float = stated(12.5, "1", 10.5, 15.0, "the same at the most; our choice")
    steady: float = stated(1.6, "1", 1.3, 2.2, "largest over smallest of the earlier values; our choice: a healthy drop scatters less")
    healthy_drop_v: float = stated(0.03, "V per 12 V", 0.015, 0.06, "a drop from there on may be a repaired one, not a tenth; our choice")
    odometer_back_km: float = stated(1000.0, "km", 300.0, 3000.0, "behind the earlier ones; our choice: trip corrections stay below")
    odometer_times: float = stated(5.0, "1", 3.0, 10.0, "the median of the earlier ones, further ahead of which it is doubted; our choice")
    odometer_least_km: float = stated(5000.0, "km", 2000.0, 10000.0,
        "below, a vehicle may well have run so many times as far by its next reading; our choice")
    one_battery_v: float = stated(15.5, "V", 14.5, 16.5,
        "at rest on a 24 V system, one battery of the pair was measured; common practice: no 12 V battery rests higher")
    least_mohm: float = stated(0.6, "mΩ per 12 V", 0.3, 1.2,
        "sag over amps; our choice: a battery of 300 to 1200 A rating has 2 to 10 mΩ (SAE J537: at most 9 for 600 A at -18 °C)")
    most_mohm: float = stated(90.0, "mΩ per 12 V", 45.0, 180.0, "the same at the most; our choice: several times that, dying in the cold")
    collapsed: float = stated(0.6, "rest volts", 0.5, 0.7,
        "at a start that failed less is a dead cell, whatever few amps flow; our choice")
    least_sag_v: float = stated(0.3, "V", 0.15, 0.6, "below, a meter's rounding rules the quotient; our choice")
    fallen_amps: float = stated(0.88, "1", 0.8, 0.95,
        "of the earlier amps, as a new resistance makes them; our choice: sound readings scatter less from one to the next")
    fallen: float = stated(0.85, "1", 0.75, 0.92, "the same of inrush, speed and coil amps; our choice likewise")
    more_amps: float = stated(1.1, "1", 1.02, 1.25, "times the earlier ones, a lower speed is the cold's, not a cable's; our choice")
    less_sag: float = stated(0.5, "1", 0.3, 0.7, "of the earlier ones: amps that are truly a tenth let the battery sag less; our choice")


# fmt: on
BELIEVING: Final = Believing()
DOUBTING: Final = Doubting()
