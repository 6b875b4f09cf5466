"""Forward physics of a start: one series loop from battery through cables and contacts to motor and engine.

Deliberately richer than a monitor's model: log battery resistance is bent and kinked in the cold, polarisation
adds to it, the oil follows a Walther line with an exponent, the load falls with speed.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from demo_fleet.vehicles import Hardware

Array = npt.NDArray[np.float64]

COPPER_PER_K = 0.00393
"""Temperature coefficient of copper at 20 °C, 1/K: NBS Handbook 100, IEC 60028 (from memory)."""
EMPTY_V, SPAN_V, BEND_V = 11.70, 1.02, 0.06
"""Rest voltage of a 12 V block: empty, rise to full, and a bend in between, V: our choice near the BCI rest
voltages 11.89 to 12.65 V, deliberately not equal to them."""
OPEN_CIRCUIT_V_PER_K = 0.0011
"""Rise of a 12 V block's open-circuit voltage with temperature, V/K: about 1.2 mV/K from memory, ours differs."""
SOC_RESISTANCE = 0.9
"""Relative rise of battery resistance from full to empty, squared law: our choice."""
POLARISATION = 0.30
"""Extra apparent battery resistance while cranking steadily, share of the ohmic one: our choice."""
VISCOUS_AT_REST = 0.55
"""Share of the viscous load current that does not fall with speed: our choice."""
INRUSH = 0.88
"""Inrush as a share of the stalled current; inductance keeps the true stall out of reach (our choice)."""
GREASE_PER_K = 0.0045
"""Stiffening of the solenoid plunger per kelvin below 20 °C, 1/K: our choice."""
WARM_C = 20.0
"""Temperature at which currents and viscosities are stated, °C."""
COLDEST_C, WARMEST_C = -70.0, 60.0
"""Bracket of the search for the coldest start, °C."""


@dataclass(frozen=True)
class ColdLaw:
    """How things change with cold: ln battery resistance slope [1/K] and bend [1/K²] below 25 °C, extra slope [1/K]
    below `kink_c` [°C], exponent of oil viscosity in the viscous load, share of joints that follow copper."""

    battery_per_k: float = 0.0095
    battery_per_k2: float = 0.00012
    kink_c: float = -12.0
    kink_per_k: float = 0.006
    oil_exponent: float = 0.42
    copper_share: float = 0.7


@dataclass(frozen=True)
class Condition:
    """Wear of each vehicle: factors (1 = new) and additions (0 = new)."""

    battery_factor: Array
    soc: Array
    positive_add_mohm: Array
    ground_add_mohm: Array
    contacts_add_mohm: Array
    motor_factor: Array
    brush_factor: Array
    field_factor: Array
    control_add_ohm: Array
    drag_factor: Array


@dataclass(frozen=True)
class Crank:
    """One noise-free start per vehicle: what ideal meters would show, and the margins [V per 12 V block]."""

    rest_v: Array
    crank_min_v: Array
    crank_a: Array
    peak_a: Array
    dip_v: Array
    drop_positive_v: Array
    drop_ground_v: Array
    drop_contacts_v: Array
    motor_v: Array
    drop_control_v: Array
    coil_a: Array
    coil_v: Array
    crank_rpm: Array
    margin_v: Array

    def take(self, rows: npt.NDArray[np.intp]) -> Crank:
        """The same starts by row number."""
        return Crank(**{f.name: getattr(self, f.name)[rows] for f in fields(self)})


def viscosity_ratio(temperature_c: Array, oil_40_cst: Array, oil_100_cst: Array) -> Array:
    """Kinematic viscosity over that at 20 °C from a Walther line (ASTM D341) through 40 and 100 °C."""
    y40, y100 = np.log10(np.log10(oil_40_cst + 0.7)), np.log10(np.log10(oil_100_cst + 0.7))
    b = (y40 - y100) / (np.log10(373.15) - np.log10(313.15))
    y = y40 - b * (np.log10(temperature_c + 273.15) - np.log10(313.15))
    y20 = y40 - b * (np.log10(WARM_C + 273.15) - np.log10(313.15))
    ratio: Array = (10 ** (10**y) - 0.7) / (10 ** (10**y20) - 0.7)
    return ratio


def viscosity_cst(temperature_c: float, oil_40_cst: float, oil_100_cst: float) -> float:
    """Kinematic viscosity [cSt] of the same line."""
    at, forty, hundred = (np.array([v]) for v in (temperature_c, oil_40_cst, oil_100_cst))
    over = viscosity_ratio(at, forty, hundred) / viscosity_ratio(np.array([40.0]), forty, hundred)
    return float(oil_40_cst * over[0])


def battery_mohm(hardware: Hardware, condition: Condition, law: ColdLaw, temperature_c: Array) -> Array:
    """Ohmic battery resistance [mΩ] at a battery temperature, bent and kinked on the log scale."""
    below = 25.0 - temperature_c
    log_rise = law.battery_per_k * below + law.battery_per_k2 * np.clip(below, 0, None) ** 2
    log_rise = log_rise + law.kink_per_k * np.clip(law.kink_c - temperature_c, 0, None)
    discharged = 1 + SOC_RESISTANCE * (1 - condition.soc) ** 2
    resistance: Array = hardware.battery_mohm * condition.battery_factor * np.exp(log_rise) * discharged
    return resistance


def rest_v(hardware: Hardware, condition: Condition, temperature_c: Array) -> Array:
    """Open-circuit voltage [V] at rest."""
    soc = condition.soc
    block = EMPTY_V + SPAN_V * soc - BEND_V * soc * (1 - soc) + OPEN_CIRCUIT_V_PER_K * (temperature_c - 25.0)
    volts: Array = hardware.blocks * (block + hardware.rest_above_v)
    return volts


def crank(hardware: Hardware, condition: Condition, law: ColdLaw, temperature_c: Array) -> Crank:
    """Solve one start per vehicle: steady speed in closed form (load = friction + viscous part falling with speed)."""
    copper = 1 + COPPER_PER_K * (temperature_c - 20.0)
    joint = law.copper_share * copper + (1 - law.copper_share)
    ohmic = battery_mohm(hardware, condition, law, temperature_c) / 1000
    steady = ohmic * (1 + POLARISATION)
    positive = (hardware.positive_mohm * joint + condition.positive_add_mohm) / 1000
    ground = (hardware.ground_mohm * joint + condition.ground_add_mohm) / 1000
    contacts = (hardware.contacts_mohm + condition.contacts_add_mohm) / 1000
    motor = hardware.motor_mohm * condition.motor_factor * copper / 1000
    beside = np.where(temperature_c < hardware.aid_below_c, hardware.aid_a, 0.0)
    rest, brush = rest_v(hardware, condition, temperature_c), hardware.brush_v * condition.brush_factor
    source, first = rest - beside * steady, rest - beside * ohmic
    emf = hardware.emf_v_per_rpm * condition.field_factor
    thick = viscosity_ratio(temperature_c, hardware.oil_40_cst, hardware.oil_100_cst) ** law.oil_exponent
    load = condition.drag_factor / condition.field_factor
    fixed_a = load * (hardware.friction_a + hardware.viscous_a * thick * VISCOUS_AT_REST)
    per_rpm_a = load * hardware.viscous_a * thick * (1 - VISCOUS_AT_REST) / hardware.ref_rpm
    loop = steady + positive + ground + contacts + motor
    free_rpm = (source - brush - fixed_a * loop) / (emf + per_rpm_a * loop)
    turning = free_rpm > 0
    stall_a = np.clip((source - brush) / loop, 0, None)
    amps = np.where(turning, fixed_a + per_rpm_a * free_rpm, stall_a)
    rpm = np.where(turning, free_rpm, 0.0)
    peak = np.maximum(INRUSH * np.clip((first - brush) / (loop - steady + ohmic), 0, None), amps)
    low = source - amps * steady
    dip = first - peak * ohmic
    coil_ohm, control_ohm = hardware.coil_ohm * copper, hardware.control_ohm + condition.control_add_ohm
    coil_a = low / (coil_ohm + control_ohm)
    pull_in = hardware.pull_in_v * copper * (1 + GREASE_PER_K * np.clip(20.0 - temperature_c, 0, None))
    speed_margin = (free_rpm - hardware.least_rpm) * emf
    margin = np.minimum(np.minimum(speed_margin, dip - hardware.ecu_v), coil_a * coil_ohm - pull_in) / hardware.blocks
    return Crank(
        rest_v=rest, crank_min_v=low, crank_a=amps, peak_a=peak, dip_v=dip, drop_positive_v=amps * positive,
        drop_ground_v=amps * ground, drop_contacts_v=amps * contacts, motor_v=amps * motor + brush + emf * rpm,
        drop_control_v=coil_a * control_ohm, coil_a=coil_a, coil_v=coil_a * coil_ohm, crank_rpm=rpm, margin_v=margin,
    )  # fmt: skip


def coldest_start_c(hardware: Hardware, condition: Condition, law: ColdLaw) -> Array:
    """The temperature [°C] at which the start margin changes sign, by 18 bisections (within 0.0005 K)."""
    low, high = np.full(len(hardware.blocks), COLDEST_C), np.full(len(hardware.blocks), WARMEST_C)
    for _ in range(18):
        middle = (low + high) / 2
        starts = crank(hardware, condition, law, middle).margin_v > 0
        high, low = np.where(starts, middle, high), np.where(starts, low, middle)
    return np.asarray((low + high) / 2, np.float64)
