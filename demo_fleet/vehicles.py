"""Vehicle classes of the demo and evaluation fleets, and the spread of hardware within a class.

The numbers are our own round values of the orders in common practice (12 V light vehicle 60 to 250 A steady, about
600 A inrush, coils near 7 A; 24 V heavy starters several hundred amps); no vehicle maker's data.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class VehicleClass:
    """One class as built: resistances [mΩ] at 20 °C (battery at 25 °C), currents [A] at 20 °C and `ref_rpm`.

    What single vehicles may have been given: `rest_above_v` of an AGM block over a flooded one as charged [V], and below
    `aid_below_c` [°C] `aid_a` of an intake heater beside the starter [A].
    """

    name: str
    blocks: int
    fuel: str
    cylinders: int
    rated_cca_a: int
    battery_mohm: float
    positive_mohm: float
    ground_mohm: float
    contacts_mohm: float
    motor_mohm: float
    brush_v: float
    emf_v_per_rpm: float
    friction_a: float
    viscous_a: float
    ref_rpm: float
    control_ohm: float
    coil_ohm: float
    pull_in_v: float
    ecu_v: float
    least_rpm: float
    oil_40_cst: float
    oil_100_cst: float
    km_per_year: float
    rest_above_v: float = 0.0
    aid_below_c: float = -273.15
    aid_a: float = 0.0


CLASSES = {
    c.name: c
    for c in (
        VehicleClass(
            "passenger_car", 1, "petrol", 4, 540, 5.6, 0.75, 0.55, 0.85, 15.0, 1.5, 0.0345, 62, 70, 220,
            0.085, 1.60, 7.0, 6.0, 75, 62, 10.5, 18_000,
        ),
        VehicleClass(
            "light_van", 1, "petrol", 4, 640, 4.9, 0.65, 0.55, 0.80, 13.5, 1.6, 0.0360, 66, 80, 215,
            0.085, 1.45, 7.1, 6.1, 72, 70, 11.5, 32_000,
        ),
        VehicleClass(
            "panel_van_diesel", 1, "diesel", 4, 850, 3.5, 0.48, 0.42, 0.62, 7.9, 1.6, 0.0400, 105, 118, 195,
            0.072, 1.22, 7.2, 6.3, 84, 88, 14.0, 41_000,
        ),
        VehicleClass(
            "pickup_v8_diesel", 1, "diesel", 8, 1500, 2.1, 0.36, 0.30, 0.42, 4.4, 1.7, 0.0415, 190, 215, 185,
            0.066, 1.05, 7.4, 6.4, 88, 92, 14.2, 36_000,
        ),
        VehicleClass(
            "farm_tractor", 1, "diesel", 4, 1000, 2.6, 0.45, 0.50, 0.55, 6.6, 1.7, 0.0430, 130, 150, 175,
            0.078, 1.15, 7.3, 5.8, 80, 105, 14.5, 6_000,
        ),
        VehicleClass(
            "rigid_truck", 2, "diesel", 4, 760, 6.9, 0.62, 0.55, 0.75, 13.0, 2.4, 0.0900, 125, 140, 180,
            0.125, 2.50, 14.0, 11.0, 88, 105, 14.5, 55_000,
        ),
        VehicleClass(
            "long_haul_tractor", 2, "diesel", 6, 1150, 4.4, 0.46, 0.42, 0.58, 9.6, 2.5, 0.0980, 175, 190, 160,
            0.110, 2.15, 14.2, 11.5, 84, 110, 14.8, 120_000,
        ),
        VehicleClass(
            "city_bus", 2, "diesel", 6, 1250, 4.1, 0.70, 0.52, 0.60, 9.2, 2.5, 0.0990, 180, 200, 160,
            0.120, 2.05, 14.4, 11.5, 85, 110, 14.8, 60_000,
        ),
        VehicleClass(
            "wheel_loader", 2, "diesel", 6, 1000, 4.3, 0.50, 0.52, 0.60, 10.0, 2.5, 0.0970, 180, 205, 160,
            0.120, 2.25, 14.2, 10.5, 80, 115, 15.0, 9_000,
        ),
    )
}  # fmt: skip
"""Our own classes (see the module's first paragraph)."""

SPREAD = {
    "battery_mohm": 0.06, "positive_mohm": 0.14, "ground_mohm": 0.16, "contacts_mohm": 0.14, "motor_mohm": 0.05,
    "brush_v": 0.05, "emf_v_per_rpm": 0.03, "friction_a": 0.05, "viscous_a": 0.06, "control_ohm": 0.16,
    "coil_ohm": 0.04, "pull_in_v": 0.04, "ecu_v": 0.02, "least_rpm": 0.04, "km_per_year": 0.25,
}  # fmt: skip
"""Log standard deviation between vehicles of a class as new (our choice, because joints vary more than castings)."""
CLASS_SHIFT = 0.4
"""Share of SPREAD by which a whole class differs from its table from fleet to fleet (our choice)."""


@dataclass(frozen=True)
class Hardware:
    """Vehicles as built, one array entry per vehicle; units as in VehicleClass."""

    blocks: Array
    battery_mohm: Array
    positive_mohm: Array
    ground_mohm: Array
    contacts_mohm: Array
    motor_mohm: Array
    brush_v: Array
    emf_v_per_rpm: Array
    friction_a: Array
    viscous_a: Array
    ref_rpm: Array
    control_ohm: Array
    coil_ohm: Array
    pull_in_v: Array
    ecu_v: Array
    least_rpm: Array
    oil_40_cst: Array
    oil_100_cst: Array
    km_per_year: Array
    rest_above_v: Array
    aid_below_c: Array
    aid_a: Array

    def take(self, rows: npt.NDArray[np.intp]) -> Hardware:
        """The same vehicles by row number, repeats allowed."""
        return Hardware(**{f.name: getattr(self, f.name)[rows] for f in fields(self)})

    def scaled(self, rows: npt.NDArray[np.intp], **factors: float) -> Hardware:
        """A copy in which the named quantities of some vehicles are multiplied."""
        changed = {}
        for name, factor in factors.items():
            values = getattr(self, name).copy()
            values[rows] *= factor
            changed[name] = values
        return replace(self, **changed)

    def given(self, rows: npt.NDArray[np.intp], **values: float) -> Hardware:
        """A copy in which the named quantities of some vehicles are these."""
        changed = {name: getattr(self, name).copy() for name in values}
        for name, value in values.items():
            changed[name][rows] = value
        return replace(self, **changed)


def build(names: list[str], rng: np.random.Generator) -> Hardware:
    """Draw the hardware of vehicles whose classes are `names`; classes themselves shift a little per fleet."""
    shift = {n: {q: CLASS_SHIFT * s * rng.standard_normal() for q, s in SPREAD.items()} for n in CLASSES}
    columns: dict[str, Array] = {}
    for field in fields(Hardware):
        values = np.array([float(getattr(CLASSES[n], field.name)) for n in names])
        if field.name in SPREAD:
            own = SPREAD[field.name] * rng.standard_normal(len(names))
            values *= np.exp(own + np.array([shift[n][field.name] for n in names]))
        columns[field.name] = values
    return Hardware(**columns)
