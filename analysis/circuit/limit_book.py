"""A user's own limits per system voltage and vehicle class, read from a mapping such as a parsed TOML text.

The text that a user writes::

    [system_12]                       # all 12 V vehicles; [system_24] for 24 V ones
    control_circuit_drop_v = 0.5

    [vehicle_class.heavy_truck]       # one class; goes over the table of its voltage
    duty = "heavy"
    ground_path_drop_v = 0.3
    least_cranking_rpm = 120

The keys are the fields of :class:`analysis.circuit.limits.Limits`. This module opens no file: the caller parses the text.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from analysis.circuit.limits import DUTIES, LIMIT_KEYS, SYSTEM_VOLTAGES, Limit, Limits, default_limits

_USERS_OWN = "the user's own limits"
_TABLES = ", ".join(f"[system_{v}]" for v in SYSTEM_VOLTAGES) + " and [vehicle_class.NAME]"


@dataclass(frozen=True)
class LimitBook:
    """Overrides of the default limits, by system voltage and by vehicle class."""

    by_system: Mapping[int, Mapping[str, float]] = field(default_factory=dict)
    by_class: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    duty_by_class: Mapping[str, str] = field(default_factory=dict)

    def for_group(
        self,
        vehicle_class: str,
        system_v: int,
        fuel: str = "diesel",
        cylinders: float | None = None,
        battery_type: str = "",
    ) -> Limits:
        """Return the limits of one group of vehicles: defaults, then its voltage's table, then its class's table.

        A class's own value that is out of range at this voltage is meant for its vehicles of the other, and passed over.

        :raises ValueError: system_v is neither 12 nor 24
        """
        duty = self.duty_by_class.get(vehicle_class)
        limits = default_limits(system_v, duty=duty, fuel=fuel, cylinders=cylinders, battery_type=battery_type)
        chosen: dict[str, Limit] = {key: getattr(limits, key) for key in LIMIT_KEYS}
        sources = (
            (f"system_{system_v}", self.by_system.get(system_v, {})),
            (f"vehicle_class.{vehicle_class}", self.by_class.get(vehicle_class, {})),
        )
        for table, own in sources:
            for key, value in own.items():
                if chosen[key].lowest <= value <= chosen[key].highest:
                    chosen[key] = _own_limit(getattr(limits, key), table, value)
        return Limits(system_v=limits.system_v, duty=limits.duty, fuel=limits.fuel, **chosen)

    def check_class(self, vehicle_class: str, system_v: int) -> None:
        """Hold what the user set for a class against the ranges of a voltage that its vehicles have.

        :raises ValueError: a value is out of range; one sentence with the key, the value and what is allowed
        """
        limits = default_limits(system_v)
        for key, value in self.by_class.get(vehicle_class, {}).items():
            limit = getattr(limits, key)
            _check_range(f"vehicle_class.{vehicle_class}", key, value, limit.lowest, limit.highest, limit.unit)

    def own(self, vehicle_class: str, system_v: int) -> dict[str, float]:
        """What the user set for a class at a voltage, by key; nothing of the printed limits."""
        return {**self.by_system.get(system_v, {}), **self.by_class.get(vehicle_class, {})}


def limits_from_mapping(mapping: Mapping[str, object]) -> LimitBook:
    """Turn a parsed text of limits into a book of limits.

    :param mapping: as in the module's example
    :raises ValueError: an unknown table or key, a value that is no number or outside its range; one sentence with
        the key, the value and what is allowed
    """
    by_system: dict[int, dict[str, float]] = {}
    by_class: dict[str, dict[str, float]] = {}
    duties: dict[str, str] = {}
    systems = {f"system_{v}": v for v in SYSTEM_VOLTAGES}
    for table, content in mapping.items():
        if table in systems:
            voltage = systems[table]
            by_system[voltage] = _values(table, _as_table(table, content), voltages=(voltage,))
        elif table == "vehicle_class":
            for name, own in _as_table(table, content).items():
                where = f"vehicle_class.{name}"
                values = dict(_as_table(where, own))
                if "duty" in values:
                    duties[str(name)] = _duty(where, values.pop("duty"))
                by_class[str(name)] = _values(where, values, voltages=SYSTEM_VOLTAGES)
        else:
            raise ValueError(f"limits: unknown table {table!r}; allowed are {_TABLES}")
    return LimitBook(by_system, by_class, duties)


def _as_table(where: str, content: object) -> Mapping[str, object]:
    if not isinstance(content, Mapping):
        raise ValueError(f"limits: {where} is {content!r}, but must be a table of keys and numbers")
    return content


def _duty(where: str, value: object) -> str:
    if value not in DUTIES:
        raise ValueError(f"limits: {where}.duty is {value!r}; allowed are {' and '.join(DUTIES)}")
    return str(value)


def _values(where: str, content: Mapping[str, object], *, voltages: tuple[int, ...]) -> dict[str, float]:
    """Check every key and number of one table against the ranges of the voltages it may apply to."""
    checked: dict[str, float] = {}
    for key, value in content.items():
        if key not in LIMIT_KEYS:
            raise ValueError(f"limits: {where}.{key} is not a limit; allowed are {', '.join(LIMIT_KEYS)}")
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise ValueError(f"limits: {where}.{key} is {value!r}, but must be a number")
        ranges = [getattr(default_limits(v), key) for v in voltages]
        low, high = min(r.lowest for r in ranges), max(r.highest for r in ranges)
        _check_range(where, key, float(value), low, high, ranges[0].unit)
        checked[key] = float(value)
    return checked


def _check_range(where: str, key: str, value: float, low: float, high: float, unit: str) -> None:
    if not low <= value <= high:
        raise ValueError(f"limits: {where}.{key} is {value:g} {unit}; allowed is {low:g} to {high:g} {unit}")


def _own_limit(default: Limit, where: str, value: float) -> Limit:
    """Return the default with a user's value and the source saying whose it is."""
    return replace(default, value=value, source=f"{_USERS_OWN}, {where}")
