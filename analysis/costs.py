"""Costs and rules of the replacement plan: every one with a stated default, every one to be set by the user.

Money is in the user's own currency. The defaults are round figures of our own choice, except where a source is named.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any, Final

PARTS = (
    "battery",
    "positive_cable",
    "ground_path",
    "solenoid_contacts",
    "starter_motor",
    "control_circuit",
    "engine_drag",
)
CHEAP_ACTIONS: Mapping[str, str] = {
    "battery": "charged",
    "positive_cable": "cleaned",
    "ground_path": "cleaned",
    "control_circuit": "cleaned",
}
"""Part -> the cheap act that may do: charge a battery, clean and tighten a connection (common practice)."""
TOGETHER: Mapping[frozenset[str], float] = {
    frozenset(("starter_motor", "solenoid_contacts")): 1.0,
    frozenset(("battery", "positive_cable")): 0.5,
    frozenset(("battery", "ground_path")): 0.5,
    frozenset(("positive_cable", "ground_path")): 0.5,
}
"""Parts that go together in one visit -> share of the shorter job's hours saved (our choice: the starter comes off
once for both; battery and cables meet at the same posts)."""
LONGEST_WEEKS = 26
"""The assessment looks this many weeks ahead, and no plan can look further."""
MOST_MONEY = 1e7
"""Upper end of any amount a user may set."""
_ISO_WEEK = re.compile(r"^\d{4}-W(0[1-9]|[1-4]\d|5[0-3])$")


@dataclass(frozen=True)
class NoStartCost:
    """What one no-start costs beside the repair itself: help at the roadside, the tow, and the work lost [money]."""

    roadside: float
    tow: float
    lost_work: float

    @property
    def total(self) -> float:
        """Sum of the three [money]."""
        return self.roadside + self.tow + self.lost_work


DEFAULT_NO_START: Mapping[str, NoStartCost] = {
    "light": NoStartCost(180.0, 120.0, 300.0),
    "heavy": NoStartCost(491.0, 350.0, 600.0),
}
"""Roadside, heavy: 491 USD, mean roadside repair of early 2020 (trucking council benchmark, seen); tow and lost load
are not in that figure. All others are our choice. Light is a 12 V, heavy a 24 V vehicle."""

OF_PARTS: Final = {
    "battery": (5.0, 200.0, 0.8),
    "positive_cable": (20.0, 60.0, 1.2),
    "ground_path": (20.0, 40.0, 1.0),
    "solenoid_contacts": (15.0, 90.0, 2.0),
    "starter_motor": (15.0, 400.0, 2.5),
    "control_circuit": (20.0, 50.0, 1.5),
    "engine_drag": (40.0, 150.0, 4.0),
}
"""Part -> its life [a], price [money] and work [h] where nothing tells of them."""


@dataclass(frozen=True)
class PlanSettings:
    """Costs [money], hours [h] and rules of a plan.

    hour_rate: a workshop hour; access_cost: taking a vehicle out of work for a visit, saved at a planned service;
    failure_hours_factor: hours of an unplanned repair relative to the planned one; measure_h, clean_h, charge_h: hours
    of a measuring visit, of clean and tighten, of a charge; clean_success: part -> chance that its cheap act cures;
    cheap_life_share: share of a new part's life that a cured part has left; life_years: part -> mean life where the
    fleet's own repairs are too few; measure_resolves: share of the doubt whether a
    vehicle stands in the better or the worse half of what it may be that a reading takes away (over six simulated fleets
    the probabilities moved at a reading by 0.6 to 1.2 of what that doubt is worth);
    down_share: largest share of a depot's vehicles called in per week; frozen_weeks: near weeks that stay as the last
    version had them, but for vehicles that missed their visit; urgent_probability: chance of a no-start within them at
    which a vehicle comes in all the same; move_price: price of moving a visit of the last version; part_price, part_labour_h: stand-ins where
    parts.csv is silent; default_lead_days: the same for the lead time; closed_weeks: ISO weeks without hours.
    """

    currency: str = "USD"
    hour_rate: float = 85.0
    access_cost: float = 90.0
    failure_hours_factor: float = 1.5
    measure_h: float = 0.4
    clean_h: float = 0.6
    charge_h: float = 0.4
    clean_success: Mapping[str, float] = field(
        default_factory=lambda: {"battery": 0.12, "positive_cable": 0.4, "ground_path": 0.4, "control_circuit": 0.3}
    )
    cheap_life_share: float = 0.5
    life_years: Mapping[str, float] = field(
        default_factory=lambda: {part: life for part, (life, _, _) in OF_PARTS.items()}
    )
    measure_resolves: float = 0.9
    down_share: float = 0.1
    frozen_weeks: int = 1
    urgent_probability: float = 0.1
    move_price: float = 25.0
    part_price: Mapping[str, float] = field(
        default_factory=lambda: {part: price for part, (_, price, _) in OF_PARTS.items()}
    )
    part_labour_h: Mapping[str, float] = field(
        default_factory=lambda: {part: work for part, (_, _, work) in OF_PARTS.items()}
    )
    default_lead_days: float = 5.0
    closed_weeks: tuple[str, ...] = ()
    no_start: Mapping[str, NoStartCost] = field(default_factory=lambda: dict(DEFAULT_NO_START))

    def no_start_cost(self, vehicle_class: str, system_v: float) -> NoStartCost:
        """Costs of a no-start of a vehicle: of its class if set, else light (12 V) or heavy (24 V)."""
        if vehicle_class in self.no_start:
            return self.no_start[vehicle_class]
        return self.no_start["heavy" if system_v > 18 else "light"]

    def as_mapping(self) -> dict[str, Any]:
        """All settings as plain values, for showing and storing; :func:`settings_from_mapping` reads them again."""
        out: dict[str, Any] = {}
        for one in fields(self):
            value = getattr(self, one.name)
            if one.name == "no_start":
                value = {k: {"roadside": c.roadside, "tow": c.tow, "lost_work": c.lost_work} for k, c in value.items()}
            elif isinstance(value, Mapping):
                value = dict(value)
            out[one.name] = list(value) if isinstance(value, tuple) else value
        return out


RANGES: Mapping[str, tuple[float, float]] = {
    "hour_rate": (0.0, MOST_MONEY),
    "access_cost": (0.0, MOST_MONEY),
    "failure_hours_factor": (1.0, 20.0),
    "measure_h": (0.0, 100.0),
    "clean_h": (0.0, 100.0),
    "charge_h": (0.0, 100.0),
    "clean_success": (0.0, 1.0),
    "cheap_life_share": (0.0, 1.0),
    "life_years": (0.1, 200.0),
    "measure_resolves": (0.0, 1.0),
    "down_share": (0.001, 1.0),
    "frozen_weeks": (0, LONGEST_WEEKS),
    "urgent_probability": (0.0, 1.0),
    "move_price": (0.0, MOST_MONEY),
    "part_price": (0.0, MOST_MONEY),
    "part_labour_h": (0.0, 1000.0),
    "default_lead_days": (0.0, 3650.0),
    "roadside": (0.0, MOST_MONEY),
    "tow": (0.0, MOST_MONEY),
    "lost_work": (0.0, MOST_MONEY),
}
"""Lowest and highest value a user may set, in the unit of the setting."""
_BY_PART = ("clean_success", "life_years", "part_price", "part_labour_h")


def settings_from_mapping(values: Mapping[str, Any]) -> PlanSettings:
    """Turn a user's settings (missing keys keep their default) into PlanSettings.

    Raises ValueError naming the setting, the value and what is allowed.
    """
    default = PlanSettings()
    names = tuple(one.name for one in fields(PlanSettings))
    out: dict[str, Any] = {}
    for name, value in values.items():
        if name not in names:
            raise ValueError(f"plan setting {name!r} is not known; allowed are {', '.join(names)}")
        if name == "no_start":
            out[name] = _no_start(value)
        elif name in _BY_PART:
            out[name] = {**getattr(default, name), **_by_part(name, value)}
        elif name == "closed_weeks":
            out[name] = _closed_weeks(value)
        elif name == "currency":
            if not isinstance(value, str) or not 1 <= len(value) <= 8 or not value.isprintable():
                raise ValueError(f"plan setting currency is {value!r}; allowed are 1 to 8 printable characters")
            out[name] = value
        else:
            number = _number(name, name, value)
            if name == "frozen_weeks" and number != int(number):
                raise ValueError(f"plan setting frozen_weeks is {value!r}; allowed are whole numbers of weeks")
            out[name] = int(number) if name == "frozen_weeks" else number
    return PlanSettings(**out)


def _number(name: str, limits: str, value: object) -> float:
    low, high = RANGES[limits]
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise ValueError(f"plan setting {name} is {value!r}; allowed are numbers from {low:g} to {high:g}")
    return float(value)


def _mapping(name: str, value: object) -> Mapping[str, Any]:
    if not isinstance(value, Mapping):
        raise ValueError(f"plan setting {name} is {value!r}; allowed is a table of names and values")
    return value


def _by_part(name: str, value: object) -> dict[str, float]:
    table = _mapping(name, value)
    for part in table:
        if part not in PARTS:
            raise ValueError(f"plan setting {name} names the part {part!r}; allowed are {', '.join(PARTS)}")
    return {part: _number(f"{name}.{part}", name, number) for part, number in table.items()}


def _no_start(value: object) -> dict[str, NoStartCost]:
    out = dict(DEFAULT_NO_START)
    for vehicle_class, costs in _mapping("no_start", value).items():
        table = _mapping(f"no_start.{vehicle_class}", costs)
        if unknown := set(table) - {"roadside", "tow", "lost_work"}:
            raise ValueError(
                f"plan setting no_start.{vehicle_class} has {min(unknown)!r}; allowed are roadside, tow, lost_work"
            )
        base = out.get(vehicle_class, NoStartCost(0.0, 0.0, 0.0))
        amounts = {
            key: _number(f"no_start.{vehicle_class}.{key}", key, table.get(key, getattr(base, key)))
            for key in ("roadside", "tow", "lost_work")
        }
        out[str(vehicle_class)] = NoStartCost(**amounts)
    return out


def _closed_weeks(value: object) -> tuple[str, ...]:
    if not isinstance(value, list | tuple):
        raise ValueError(f"plan setting closed_weeks is {value!r}; allowed is a list of weeks such as 2026-W52")
    for week in value:
        if not isinstance(week, str) or not _ISO_WEEK.match(week):
            raise ValueError(f"plan setting closed_weeks has {week!r}; allowed are weeks such as 2026-W52")
    return tuple(value)
