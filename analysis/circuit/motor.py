"""The starter motor itself: volts, amps, torque and speed from one set of constants.

    V = V_brush + I R + k(I) w          back-emf
    torque = k(I) I - torque_lost       k(I) = k0 / (1 + I / I_sat): the armature weakens the field

In SI units the same k serves both. Constants hold for a warm motor; R follows the copper law on the winding.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[Any]


@dataclass(frozen=True)
class MotorConstants:
    """Winding [mΩ], brush drop [V], emf constant at no amps [V s], amps that halve it [A], lost torque [N m]."""

    winding_mohm: float
    brush_v: float
    emf_v_s: float
    saturation_a: float
    lost_torque_nm: float


def emf_constant_v_s(motor: MotorConstants, amps: npt.ArrayLike) -> Array:
    """Back-emf constant [V s], which is the torque constant [N m/A], at some amps."""
    return np.asarray(motor.emf_v_s / (1.0 + np.asarray(amps) / motor.saturation_a))


def shaft_torque_nm(motor: MotorConstants, amps: npt.ArrayLike) -> Array:
    """Torque at the shaft [N m] at some amps."""
    return np.asarray(emf_constant_v_s(motor, amps) * np.asarray(amps) - motor.lost_torque_nm)


def shaft_speed_rpm(motor: MotorConstants, volts: npt.ArrayLike, amps: npt.ArrayLike) -> Array:
    """Speed of the shaft [rpm] at some volts and amps; zero or less means that it stands still."""
    back_emf = np.asarray(volts) - motor.brush_v - np.asarray(amps) * motor.winding_mohm / 1000.0
    return np.asarray(back_emf / emf_constant_v_s(motor, amps) * 60.0 / (2.0 * np.pi))


def locked_volts(motor: MotorConstants, amps: npt.ArrayLike) -> Array:
    """Volts at the terminals of a locked motor at some amps."""
    return np.asarray(motor.brush_v + np.asarray(amps) * motor.winding_mohm / 1000.0)
