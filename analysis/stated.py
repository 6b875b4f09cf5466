"""A prior or a choice as a field of a frozen dataclass: its value with unit, doubt and source, all said once.

Every room holds those of its stages in its module `choices`, one frozen dataclass and its one instance per stage::

    @dataclass(frozen=True)
    class Weather:
        persistence: float = stated(0.75, "1", 0.66, 0.83, "what it is; where it comes from")

    WEATHER = Weather()

`low` and `high` are the doubt: the range of the sources or one standard deviation; where there is neither, half and twice of a
rate or a count, a fifth either way of a width (our choice, because no source tells).  Tables in NUMBERS.md are printed
from the fields (:func:`table_of`), and what moving one of them does is measured by their variants (:func:`variants_of`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields
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


@dataclass(frozen=True)
class Choice:
    """One field of a stage, as it stands."""

    name: str
    value: Any
    doubt: Doubt


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


def choices_of(stage: Any) -> tuple[Choice, ...]:
    """Every stated field of a stage (an instance), in order."""
    return tuple(
        Choice(one.name, getattr(stage, one.name), one.metadata["stated"])
        for one in fields(stage)
        if "stated" in one.metadata
    )


def variants_of(stage: Any) -> Iterator[tuple[str, str, Any]]:
    """Field, end of its doubt ("low" or "high") and the value there, of every field and end that differs from its value."""
    for choice in choices_of(stage):
        for end in ("low", "high"):
            value = _moved(choice.value, getattr(choice.doubt, end), choice.doubt.kind)
            if value != choice.value:
                yield choice.name, end, value


def _moved(value: Any, to: float, kind: str) -> Any:
    """The value at an end of its doubt, of the same type."""
    if kind in ("tilt", "power"):
        weights = [one * to**k if kind == "tilt" else one**to for k, one in enumerate(value)]
        return tuple(sum(value) * one / sum(weights) for one in weights)
    if isinstance(value, Mapping):
        return MappingProxyType({key: one * to for key, one in value.items()})
    if isinstance(value, tuple):
        return tuple(one * to for one in value)
    return type(value)(to)


SPANS = {
    "between": "{} to {}",
    "times": "times {} to {}",
    "tilt": "each over the one before times {} to {}",
    "power": "to the power {} to {}",
}


def table_of(stage: Any) -> str:
    """The stage's choices as a table in Markdown."""
    rows = ["| choice | value | unit | doubt | what it is; where it comes from |", "| --- | --- | --- | --- | --- |"]
    for choice in choices_of(stage):
        low, high = f"{choice.doubt.low:g}", f"{choice.doubt.high:g}"
        span = SPANS[choice.doubt.kind].format(low, high)
        rows.append(
            f"| `{choice.name}` | {_said(choice.value)} | {choice.doubt.unit} | {span} | {choice.doubt.source} |"
        )
    return "\n".join(rows)


def _said(value: Any) -> str:
    """A value as the table shows it."""
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {one:g}" for key, one in value.items())
    if isinstance(value, tuple):
        return ", ".join(f"{one:g}" for one in value)
    return f"{value:g}"
