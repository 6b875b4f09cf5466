"""What a measured value is held to: the name of each check of `analysis.bay.verdict`, its limit in words, and the verdict as a sentence."""

import math
from collections.abc import Mapping
from typing import Any, Final

from dashboard.words.figures import both_degrees, digits_apart, usual_digits

CHECK_WORDS: Final[Mapping[str, str]] = {
    "rest_v": "rest voltage",
    "load_test": "battery at half its cold-cranking amps, load-test table",
    "crank_min_v": "volts while cranking",
    "drop_positive_v": "positive drop",
    "drop_ground_v": "ground drop",
    "drop_contacts_v": "contacts drop",
    "positive_side_drop_v": "positive side drop",
    "drop_control_v": "control circuit drop",
    "v_per_100a": "cables and ground per 100 A",
    "crank_a_high": "cranking amps, high",
    "crank_a_low": "cranking amps, low",
    "crank_rpm": "cranking speed",
    "crank_s": "seconds cranked",
    "coil_a_low": "coil amps, low",
    "coil_a_high": "coil amps, high",
    "pull_in_a_low": "pull-in amps, low",
    "pull_in_a_high": "pull-in amps, high",
    "feed_v": "feed volts",
    "charging_v_low": "charging volts, low",
    "charging_v_high": "charging volts, high",
}
HELD_TO: Final[Mapping[str, str]] = {
    "rest_v": "50 % charged is {printed:g} V at rest",
    "load_test": "at {amps:.0f} A at least the load-test table's {limit:.2f} V at {air}",
    "crank_min_v": "battery at least {printed:g} V while cranking",
    "drop_positive_v": "positive cable typically under {printed:g} V",
    "drop_ground_v": "ground side at most {printed:g} V",
    "drop_contacts_v": "solenoid contacts under {printed:g} V",
    "positive_side_drop_v": "positive side in all at most {printed:g} V",
    "drop_control_v": "control circuit up to {printed:g} V",
    "v_per_100a": "cables and ground together at most {printed:.2f} V per 100 A",
    "crank_a_high": "at most {printed:g} times the class median",
    "crank_a_low": "at least {printed:g} times the class median",
    "crank_rpm": "at least {printed:g} rpm",
    "crank_s": "crank at most {printed:g} s",
    "coil_a_low": "coil at least {printed:g} A",
    "coil_a_high": "hold-in winding at most {printed:g} A",
    "pull_in_a_low": "both windings at least {printed:g} A",
    "pull_in_a_high": "both windings at most {printed:g} A",
    "feed_v": "at most {printed:.1f} V less than the battery has",
    "charging_v_low": "charging at least {printed:g} V",
    "charging_v_high": "charging at most {printed:g} V",
}
"""Check -> what its limit says; `printed` is the limit's own number."""
MOST_AMPS: Final = "at most {printed:g} A"
"""Of cranking amps where nobody knows what is usual in the class."""
AT_USUAL: Final = " at the usual {usual_a:.0f} A, {limit:.2f} V at {amps:.0f} A"
AT_FULL: Final = " at {full_v:.2f} V; read: {amps:.0f} A at {rest_v:.2f} V"
AT_TEMPERATURE: Final = ", {limit:.{digits}f} {value_unit} at this temperature"


def held_to(judged: Mapping[Any, Any]) -> str:
    """The limit of one row of :func:`analysis.bay.verdict.verdict` in words, and what amps or the cold make of it."""
    check, value, limit, printed = (
        str(judged["check"]),
        *(float(judged[name]) for name in ("value", "limit", "printed")),
    )
    usual = math.isfinite(judged["usual_a"])
    said = MOST_AMPS if check == "crank_a_high" and not usual else HELD_TO[check]
    if check.startswith(("drop_", "positive_side")) and usual and limit != printed:
        said += AT_USUAL
    elif check == "pull_in_a_high" and judged["rest_v"] > 0:
        said += AT_FULL
    elif (check in ("crank_min_v", "crank_rpm") and limit < printed) or (
        check == "charging_v_high" and limit > printed
    ):
        said += AT_TEMPERATURE
    digits = {"crank_min_v": digits_apart(limit, value, 1), "crank_rpm": 0}.get(check, 2)
    return said.format(**judged, digits=digits, air=both_degrees(float(judged["temperature_c"])))


def sentence(judged: Mapping[Any, Any]) -> str:
    """One row of :func:`analysis.bay.verdict.verdict` as a sentence with value, limit and unit."""
    unit, check = str(judged["value_unit"]), CHECK_WORDS[str(judged["check"])]
    value, margin, limit = (float(judged[n]) for n in ("value", "margin", "limit"))
    side = "inside" if margin >= 0 else "outside"
    digits = digits_apart(value, limit, usual_digits(unit))
    return (
        f"{check[:1].upper()}{check[1:]} {value:.{digits}f} {unit}: {judged['verdict']}, "
        f"{abs(margin):.{digits}f} {unit} {side} the limit ({held_to(judged)}; {judged['source']})."
    )
