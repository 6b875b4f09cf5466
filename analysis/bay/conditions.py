"""Conditions on measurements, from which the rows of `analysis.bay.decision_table` are put together."""

import math
from collections.abc import Callable
from dataclasses import dataclass

from analysis.bay import sources
from analysis.bay.choices import BOUNDARIES
from analysis.bay.facts import DROP_LIMITS, Facts, number
from analysis.circuit.limits import Limits

Condition = Callable[[Facts, Limits], bool]


@dataclass(frozen=True)
class Row:
    """One row, by its key: all conditions must hold. `segment` is a part, a piece of one, "measurement", "charging" or "none";
    `following`: the key of what is measured next, "" for nothing.

    hides: segments that this row explains, so that they are not named beside it; alone: it stands only where nothing
    else is pointed at; size: the fact by which rows next to each other are ordered, the largest first; doubts: the
    measurement that the row does not believe, or the fact that names it: where that was measured twice, the row is silent.
    """

    name: str
    conditions: tuple[Condition, ...]
    segment: str
    following: str
    minutes: int
    source: str = sources.COMMON
    hides: tuple[str, ...] = ()
    alone: bool = False
    size: str = ""
    doubts: str = ""


Bound = str | float


def _bound(bound: Bound, facts: Facts, limits: Limits) -> float:
    """A number, a limit or another fact by its name."""
    if not isinstance(bound, str):
        return bound
    return float(getattr(limits, bound)) if hasattr(limits, bound) else number(facts, bound)


def above(name: str, bound: Bound, *, widened: str = "", by: float = 1.0) -> Condition:
    """The fact is above a bound; `widened` by the relative doubt of that name, e.g. of the cold."""
    return lambda facts, limits: number(facts, name) > _bound(bound, facts, limits) * _wide(widened, by, facts)


def below(name: str, bound: Bound, *, widened: str = "", by: float = 1.0) -> Condition:
    """The fact is below a bound, see :func:`above`."""
    return lambda facts, limits: number(facts, name) < _bound(bound, facts, limits) / _wide(widened, by, facts)


def at_most(name: str, bound: Bound) -> Condition:
    """The fact is at or below a bound."""
    return lambda facts, limits: number(facts, name) <= _bound(bound, facts, limits)


def at_least(name: str, bound: Bound) -> Condition:
    """The fact is at or above a bound."""
    return lambda facts, limits: number(facts, name) >= _bound(bound, facts, limits)


def _wide(name: str, by: float, facts: Facts) -> float:
    doubt = number(facts, name) if name else 0.0
    return math.exp(min(by * doubt, BOUNDARIES.most_widened)) if doubt > 0 else 1.0


def is_word(name: str, *words: str) -> Condition:
    """The fact is one of these words."""
    return lambda facts, _limits: facts.get(name) in words


def isnt(condition: Condition) -> Condition:
    """The condition does not hold, or was not measured."""
    return lambda facts, limits: not condition(facts, limits)


def either(*conditions: Condition) -> Condition:
    """At least one of the conditions holds."""
    return lambda facts, limits: any(condition(facts, limits) for condition in conditions)


def both(*conditions: Condition) -> Condition:
    """All of the conditions hold."""
    return lambda facts, limits: all(condition(facts, limits) for condition in conditions)


def measured(*names: str) -> Condition:
    """Every one of these was measured."""
    return lambda facts, _limits: all(name in facts for name in names)


def not_measured(*names: str) -> Condition:
    """None of these was measured."""
    return lambda facts, _limits: not any(name in facts for name in names)


def near_battery(name: str) -> Condition:
    """The volts are near the battery's: at or above the open-wire share of its rest volts."""
    return lambda facts, limits: number(facts, name) >= limits.wire_open_share.value * number(facts, "battery_now_v")


def not_near_battery(name: str) -> Condition:
    """The volts were measured and are not near the battery's."""
    return lambda facts, limits: number(facts, name) < limits.wire_open_share.value * number(facts, "battery_now_v")


def ends_equal(facts: Facts, limits: Limits) -> bool:
    """Both ends of the control wire read the same under load; with the load known, or the wire's ohms are within the limit
    when what two readings may differ by is taken off."""
    apart, equal = _ends_apart_v(facts), limits.wire_ends_equal_v.value + 1e-9
    return apart <= equal or number(facts, "wire_ohm") * (1.0 - equal / apart) <= limits.wire_good_ohm.value


def ends_differ(facts: Facts, limits: Limits) -> bool:
    """The two ends of the control wire read differently under load."""
    return not math.isnan(_ends_apart_v(facts)) and not ends_equal(facts, limits)


def _ends_apart_v(facts: Facts) -> float:
    return abs(number(facts, "control_loaded_v") - number(facts, "coil_loaded_v"))


def two_windings(name: str) -> Condition:
    """Ohms of both windings in parallel; a vehicle of small hold-in amps has more, as its pull-in amps are small, too."""

    def holds(facts: Facts, limits: Limits) -> bool:
        ohm, own = number(facts, name), number(facts, "usual_coil_ohm")
        most = max(limits.two_windings_ohm.value, own / BOUNDARIES.both_over_hold_in if own > 0 else 0.0)
        return limits.least_coil_ohm.value <= ohm <= most

    return holds


def one_winding(name: str) -> Condition:
    """Ohms of one winding alone, more than both have: the vehicle's own hold-in winding where its amps are known."""

    def holds(facts: Facts, limits: Limits) -> bool:
        ohm, own = number(facts, name), number(facts, "usual_coil_ohm")
        if not ohm > limits.two_windings_ohm.value:
            return False
        if own > 0:
            return abs(ohm - own) <= BOUNDARIES.own_coil_share * own
        return limits.one_winding_ohm.value <= ohm <= limits.highest_coil_ohm.value

    return holds


def coil_sound(name: str) -> Condition:
    """Ohms of two windings in parallel, or of one alone."""
    return either(two_windings(name), one_winding(name))


def drops_good(facts: Facts, limits: Limits) -> bool:
    """Positive, ground and contact drops were all measured and are within their limits at usual amps."""
    return all(
        number(facts, f"{part}_at_usual_v") <= float(getattr(limits, limit)) for part, limit in DROP_LIMITS.items()
    )


def drop_high(facts: Facts, limits: Limits) -> bool:
    """At least one of them is above its limit."""
    return any(
        number(facts, f"{part}_at_usual_v") > float(getattr(limits, limit)) for part, limit in DROP_LIMITS.items()
    )
