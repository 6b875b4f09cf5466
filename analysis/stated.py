"""A prior or a choice as a field of a frozen dataclass: its value with unit, doubt and source, all said once.

Every room holds those of its stages in its module `choices`, one frozen dataclass and its one instance per stage::

    @dataclass(frozen=True)
    class Weather:
        persistence: float = stated(0.75, "1", 0.66, 0.83, "what it is; where it comes from")

    WEATHER = Weather()

`low` and `high` are the doubt: the range of the sources or one standard deviation; where there is neither, what we would still
have believed, mostly half and twice of a rate or a count and a fifth either way of a boundary (our choice, because no source
tells).  Tables in NUMBERS.md are printed from the fields (`tests/print_choices.py`), and `tests/benchmarks/sensitivity.py`
measures what moving one of them does.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, Literal, TypeVar

Value = TypeVar("Value")
Numbers = TypeVar("Numbers", tuple[float, ...], Mapping[str, float])


@dataclass(frozen=True)
class Doubt:
    """What is said of a choice beside its value: unit, range, source.

    low and high are a value `between` which it may lie; or what the value is taken `times`; or, of shares, by how much each
    weighs more than the one before it (`tilt`), or the `power` that makes them more or less equal; shares keep their sum.
    """

    unit: str
    low: float
    high: float
    source: str
    kind: Literal["between", "times", "tilt", "power"] = "between"


def stated(value: Value, unit: str, low: float, high: float, source: str) -> Value:
    """A field of a number; low and high in its unit, with `value` between them."""
    found: Value = field(default=value, metadata={"stated": Doubt(unit, low, high, source)})
    return found


def stated_each(values: Numbers, unit: str, low: float, high: float, source: str) -> Numbers:
    """A field of several numbers of one kind, doubted together: by `low` to `high` times what they are."""
    said = {"stated": Doubt(unit, low, high, source, "times")}
    if isinstance(values, Mapping):
        kept: Any = MappingProxyType(dict(values))
        return field(default_factory=lambda: kept, metadata=said)
    found: Numbers = field(default=values, metadata=said)
    return found


def stated_shares(
    values: tuple[float, ...], low: float, high: float, source: str, kind: Literal["tilt", "power"] = "tilt"
) -> tuple[float, ...]:
    """A field of shares of one whole, in an order (`tilt`) or in none (`power`)."""
    found: tuple[float, ...] = field(default=values, metadata={"stated": Doubt("1", low, high, source, kind)})
    return found
