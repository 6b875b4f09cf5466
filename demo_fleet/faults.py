"""How the seven parts of a starting system wear, when, along which curve, and what a repair undoes.

Wear of a part is a dimensionless level: 0 new, 1 = this part alone keeps this vehicle from starting on a typical
cold morning of its depot. `limits` finds, per vehicle and kind of fault, how much physical change level 1 is.
All figures are our own choices for an invented fleet unless a source is named.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from demo_fleet.cranking import ColdLaw, Condition, crank
from demo_fleet.vehicles import Hardware

Array = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
Scalar = TypeVar("Scalar", bound=np.generic)

PARTS = (
    "battery", "positive_cable", "ground_path", "solenoid_contacts", "starter_motor", "control_circuit", "engine_drag",
)  # fmt: skip
ACTIONS = ("replaced", "cleaned", "tightened", "charged")
LAWS = ("exponential", "linear", "power", "steps", "sudden")
GENERATIONS = 8
"""Parts drawn in advance per vehicle and place; the last one repeats."""
MOST_LEVEL = 6.0
"""Wear is not followed further than this: the vehicle would not start on a summer's day."""
EXPONENTIAL_STEEPNESS = 2.6
"""Growth e^2.6 = 13-fold from onset to level 1 for the exponential law."""
POWER = 2.0
STEP_SIZE = 0.45
SUDDEN_DAYS = 8.0
"""A sudden fault passes from nothing to past level 1 within about these days."""
SUDDEN_LEVEL = 1.5
BACKGROUND_PER_YEAR = 0.0015
"""Ordinary wear before the onset, levels per year."""
LOOSE_SHARE = 0.12
"""Scatter of a loose joint from start to start, share of its level (log sd)."""
CURABLE_LEFT = 0.03
"""Share of a curable fault left after the fitting cheap action (our choice)."""
STUBBORN_LEFT = 0.80
"""Share of an incurable fault left after a cheap action."""
CHEAP_ACTIONS: Mapping[str, tuple[str, ...]] = {
    "battery": ("charged",),
    "positive_cable": ("cleaned", "tightened"),
    "ground_path": ("cleaned", "tightened"),
    "solenoid_contacts": ("cleaned",),
    "starter_motor": ("cleaned",),
    "control_circuit": ("cleaned", "tightened"),
    "engine_drag": (),
}
"""Which cheap action can do anything at all for a part."""


@dataclass(frozen=True)
class Growth:
    """One part's habits: Weibull scale [years] and shape of the age at onset, median days from onset to level 1 with
    log sd, shares of the laws in LAWS order, share of the second kind of fault (curable, or shorted windings)."""

    onset_years: float
    onset_shape: float
    days: float
    days_sd: float
    laws: tuple[float, float, float, float, float]
    second_kind: float


GROWTH: Mapping[str, Growth] = {
    "battery": Growth(4.7, 2.2, 1100, 0.30, (0.55, 0.20, 0.18, 0.03, 0.04), 0.14),
    "positive_cable": Growth(48, 1.1, 520, 0.45, (0.35, 0.30, 0.20, 0.12, 0.03), 0.40),
    "ground_path": Growth(48, 1.1, 560, 0.45, (0.35, 0.30, 0.20, 0.12, 0.03), 0.35),
    "solenoid_contacts": Growth(33, 1.4, 520, 0.45, (0.45, 0.15, 0.25, 0.10, 0.05), 0.15),
    "starter_motor": Growth(23, 1.5, 520, 0.40, (0.50, 0.20, 0.22, 0.04, 0.04), 0.22),
    "control_circuit": Growth(110, 1.0, 420, 0.45, (0.30, 0.30, 0.20, 0.15, 0.05), 0.50),
    "engine_drag": Growth(400, 1.0, 420, 0.40, (0.20, 0.50, 0.30, 0.0, 0.0), 0.0),
}


@dataclass(frozen=True)
class Lives:
    """Pre-drawn fate of every part: arrays [unit, part, generation]; onset and days in effective days."""

    onset: Array
    days: Array
    law: IntArray
    second: npt.NDArray[np.bool_]
    step_at: Array
    record_draw: Array = field(repr=False)

    def pick(self, generation: IntArray) -> Lives:
        """The fates [unit, part] of the parts now fitted."""
        at = np.minimum(generation, GENERATIONS - 1)[:, :, None]
        return Lives(
            _fitted(self.onset, at), _fitted(self.days, at), _fitted(self.law, at), _fitted(self.second, at),
            _fitted(self.step_at, at), _fitted(self.record_draw, at),
        )  # fmt: skip


def _fitted(values: npt.NDArray[Scalar], at: IntArray) -> npt.NDArray[Scalar]:
    """Values [unit, part] of the generation `at` [unit, part, 1]."""
    picked: npt.NDArray[Scalar] = np.take_along_axis(values, at, axis=2)[:, :, 0]
    return picked


def draw_lives(units: int, growth: Mapping[str, Growth], rng: np.random.Generator) -> Lives:
    """Draw the fates of all parts of `units` vehicles over GENERATIONS replacements each."""
    shape = (units, len(PARTS), GENERATIONS)
    onset, days, law = np.empty(shape), np.empty(shape), np.empty(shape, np.int64)
    second = np.empty(shape, np.bool_)
    step_at, record_draw = rng.uniform(0.2, 0.8, shape), rng.random(shape)
    for column, part in enumerate(PARTS):
        g, one = growth[part], (units, GENERATIONS)
        onset[:, column] = 365.25 * g.onset_years * rng.weibull(g.onset_shape, one)
        days[:, column] = g.days * np.exp(g.days_sd * rng.standard_normal(one))
        law[:, column] = rng.choice(len(LAWS), size=one, p=np.array(g.laws) / sum(g.laws))
        second[:, column] = rng.random(one) < g.second_kind
    return Lives(onset, days, law, second, step_at, record_draw)


def wear(age_days: Array, lives: Lives) -> Array:
    """Wear level at an effective age [days] for parts with the fates `lives` (arrays of one shape), 0 to MOST_LEVEL."""
    s = np.clip((age_days - lives.onset) / lives.days, 0, MOST_LEVEL)
    steep = np.expm1(EXPONENTIAL_STEEPNESS * np.minimum(s, 2.0)) / np.expm1(EXPONENTIAL_STEEPNESS)
    level = np.where(lives.law == 0, steep, s)
    level = np.where(lives.law == 2, s**POWER, level)
    stepped = (1 - STEP_SIZE) * s + STEP_SIZE * (s > lives.step_at)
    level = np.where(lives.law == 3, stepped, level)
    abrupt = SUDDEN_LEVEL * np.clip((age_days - lives.onset) / SUDDEN_DAYS, 0, 1)
    level = np.where(lives.law == 4, abrupt, level)
    background = BACKGROUND_PER_YEAR * np.minimum(age_days, lives.onset) / 365.25
    return np.minimum(level + background, MOST_LEVEL)


def left_after(part: str, action: str, *, curable: bool) -> float:
    """Share of the wear that an action leaves; 1.0 where the action does nothing for the part.

    Raises ValueError for an unknown part or action.
    """
    if part not in PARTS:
        raise ValueError(f"part is {part!r}; allowed: {', '.join(PARTS)}")
    if action not in ACTIONS:
        raise ValueError(f"action is {action!r}; allowed: {', '.join(ACTIONS)}")
    if action == "replaced":
        return 0.0
    if action not in CHEAP_ACTIONS[part]:
        return 1.0
    return CURABLE_LEFT if curable and part != "starter_motor" else STUBBORN_LEFT


DRAINED_FACTOR, DRAINED_SOC, AGED_SOC = 0.25, 0.30, 0.015
"""Per unit of battery change: resistance rise and lost charge of a drained battery; lost charge of an aged one."""
BRUSH_DROP, SHORTED_FACTOR, WEAK_FIELD = 0.5, 0.30, 0.6
"""Per unit of starter change: brush drop when worn; winding resistance and loss of field when shorted."""


def apply_wear(change: Array, second: npt.NDArray[np.bool_], soc: Array) -> Condition:
    """The circuit's condition from physical change [unit, part] (level times limit) and kind of fault.

    Battery: first kind raises resistance with a little lost charge, second kind loses charge (undercharging or
    drain). Starter: first kind worn brushes and armature, second shorted windings that weaken the field.
    """
    battery, positive, ground, contacts, starter, control, drag = change.T
    drained, shorted = second[:, 0], second[:, 4]
    return Condition(
        battery_factor=1 + np.where(drained, DRAINED_FACTOR, 1.0) * battery,
        soc=np.clip(soc - np.where(drained, DRAINED_SOC, AGED_SOC) * battery, 0.02, 1.0),
        positive_add_mohm=positive,
        ground_add_mohm=ground,
        contacts_add_mohm=contacts,
        motor_factor=1 + np.where(shorted, SHORTED_FACTOR, 1.0) * starter,
        brush_factor=1 + np.where(shorted, 0.0, BRUSH_DROP) * starter,
        field_factor=1 / (1 + np.where(shorted, WEAK_FIELD, 0.0) * starter),
        control_add_ohm=control,
        drag_factor=1 + drag,
    )


MOST_CHANGE = np.array([14.0, 60.0, 60.0, 60.0, 12.0, 12.0, 4.0])
"""Upper ends of the search for each part's limit (factors, mΩ, mΩ, mΩ, factor, Ω, factor)."""


def limits(hardware: Hardware, law: ColdLaw, *, typical_cold_c: Array, soc: Array) -> Array:
    """Physical change [unit, part, kind] at which each part alone stops a start at the typical cold morning."""
    units = len(soc)
    found = np.empty((units, len(PARTS), 2))
    for kind in (0, 1):
        second = np.full((units, len(PARTS)), bool(kind))
        for column in range(len(PARTS)):
            low, high = np.zeros(units), np.full(units, MOST_CHANGE[column])
            for _ in range(22):
                change = np.zeros((units, len(PARTS)))
                change[:, column] = (low + high) / 2
                state = apply_wear(change, second, soc)
                starts = crank(hardware, state, law, typical_cold_c).margin_v > 0
                low = np.where(starts, change[:, column], low)
                high = np.where(starts, high, change[:, column])
            found[:, column, kind] = (low + high) / 2
    return np.maximum(found, 1e-3)
