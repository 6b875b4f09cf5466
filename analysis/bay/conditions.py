"""Conditions on measurements, from which the rows of `analysis.bay.decision_table` are put together."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from analysis.circuit.battery import load_test_minimum_v
from analysis.circuit.limits import Limits

Facts = Mapping[str, float | str]
Condition = Callable[[Facts, Limits], bool]


@dataclass(frozen=True)
class Row:
    """One row: all conditions must hold. `segment` is a part, or "none", "control_wire", "coil", "starter_or_drag"."""

    name: str
    conditions: tuple[Condition, ...]
    segment: str
    sentence: str
    next_measurement: str
    minutes: int
    source: str = "common practice"


def _number(facts: Facts, name: str) -> float:
    value = facts.get(name, math.nan)
    return float(value) if not isinstance(value, str) else math.nan


def above(name: str, limit: str, *, times: float = 1.0) -> Condition:
    """The measurement is above a limit."""
    return lambda facts, limits: _number(facts, name) > times * float(getattr(limits, limit))


def at_most(name: str, limit: str, *, times: float = 1.0) -> Condition:
    """The measurement is at or below a limit."""
    return lambda facts, limits: _number(facts, name) <= times * float(getattr(limits, limit))


def below(name: str, limit: str) -> Condition:
    """The measurement is below a limit."""
    return lambda facts, limits: _number(facts, name) < float(getattr(limits, limit))


def is_word(name: str, *words: str) -> Condition:
    """The fact is one of these words."""
    return lambda facts, _limits: facts.get(name) in words


def isnt(condition: Condition) -> Condition:
    """The condition does not hold, or was not measured."""
    return lambda facts, limits: not condition(facts, limits)


def all_measured(*names: str) -> Condition:
    """Every one of these numbers was measured."""
    return lambda facts, _limits: not any(math.isnan(_number(facts, name)) for name in names)


def near_battery(name: str) -> Condition:
    """The volts are near the battery's: above the open-wire share of the rest voltage (else the system's)."""
    return lambda facts, limits: _number(facts, name) >= _open_wire_v(facts, limits)


def not_near_battery(name: str) -> Condition:
    """The volts were measured and are not near the battery's."""
    return lambda facts, limits: _number(facts, name) < _open_wire_v(facts, limits)


def _open_wire_v(facts: Facts, limits: Limits) -> float:
    battery = _number(facts, "rest_v")
    return limits.wire_open_share.value * (battery if battery > 0 else float(limits.system_v))


def ends_equal(facts: Facts, limits: Limits) -> bool:
    """Both ends of the control wire read the same under load."""
    return abs(_number(facts, "control_loaded_v") - _number(facts, "coil_loaded_v")) <= limits.wire_ends_equal_v.value


def ends_differ(facts: Facts, limits: Limits) -> bool:
    """The two ends of the control wire read differently under load."""
    return abs(_number(facts, "control_loaded_v") - _number(facts, "coil_loaded_v")) > limits.wire_ends_equal_v.value


def under_load_test(facts: Facts, limits: Limits) -> bool:
    """Volts while cranking are below the load-test table at the reading's temperature."""
    table = load_test_minimum_v(_number(facts, "temperature_c"), system_v=limits.system_v)
    return _number(facts, "crank_min_v") < float(table)


def passes_load_test(facts: Facts, limits: Limits) -> bool:
    """Volts while cranking are at or above the load-test table."""
    table = load_test_minimum_v(_number(facts, "temperature_c"), system_v=limits.system_v)
    return _number(facts, "crank_min_v") >= float(table)


def amps_high(facts: Facts, limits: Limits) -> bool:
    """Amps well above what the class takes, or above the printed maximum where the class is not known."""
    usual = _number(facts, "usual_crank_a")
    limit = usual * limits.high_amps_share.value if usual > 0 else limits.highest_cranking_a.value
    return _number(facts, "crank_a") > limit


def amps_low(facts: Facts, limits: Limits) -> bool:
    """Amps well below what the class takes."""
    return _number(facts, "crank_a") < _number(facts, "usual_crank_a") * limits.low_amps_share.value


def speed_usual(facts: Facts, _limits: Limits) -> bool:
    """The engine turns at least as fast as the class usually does."""
    return _number(facts, "crank_rpm") >= _number(facts, "usual_rpm")


def speed_low(facts: Facts, _limits: Limits) -> bool:
    """The engine turns slower than the class usually does."""
    return _number(facts, "crank_rpm") < _number(facts, "usual_rpm")


def not_measured(name: str) -> Condition:
    """The measurement was not made."""
    return lambda facts, _limits: math.isnan(_number(facts, name)) and not isinstance(facts.get(name), str)


def drops_good(facts: Facts, limits: Limits) -> bool:
    """Positive, ground and contact drops were all measured and are within their limits."""
    pairs = (
        ("drop_positive_v", limits.positive_cable_drop_v),
        ("drop_ground_v", limits.ground_path_drop_v),
        ("drop_contacts_v", limits.solenoid_contacts_drop_v),
    )
    return all(_number(facts, name) <= limit.value for name, limit in pairs)
