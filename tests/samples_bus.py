"""Logs of a vehicle's bus made from starts whose truth is stated here, for the tests of logs.

Nothing of `ingest` or `analysis` is used: frames are packed by the published layouts written out again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

BEGAN = 1_796_108_400.0  # 2026-12-01 07:00:00 UTC
IDLE_RPM = 700.0


@dataclass(frozen=True)
class Start:
    """What happens: seconds into the log, how long the starter turns at which speed, volts, and whether it runs then."""

    at_s: float
    crank_s: float = 1.4
    rpm: float = 180.0
    lowest_v: float = 9.8
    dip_v: float = 8.1
    runs: bool = True
    runs_for_s: float = 60.0


def rpm_at(t: float, starts: tuple[Start, ...]) -> float:
    """Engine speed, which ripples by 5 % twice a turn while the starter turns it."""
    for one in starts:
        since = t - one.at_s
        if 0.0 <= since < one.crank_s:
            return one.rpm * (1.0 + 0.05 * np.sin(2.0 * np.pi * one.rpm / 30.0 * since))
        if one.runs and one.crank_s <= since < one.crank_s + one.runs_for_s:
            return IDLE_RPM
    return 0.0


def volts_at(t: float, starts: tuple[Start, ...], rest_v: float = 12.6) -> float:
    """Battery volts: rest, the dip of 80 ms, steady cranking, 14.1 V while the engine runs."""
    for one in starts:
        since = t - one.at_s
        if 0.0 <= since < 0.08:
            return one.dip_v
        if 0.08 <= since < one.crank_s:
            return one.lowest_v + 0.1 * abs(np.sin(2.0 * np.pi * one.rpm / 60.0 * since))
        if one.runs and one.crank_s <= since < one.crank_s + one.runs_for_s:
            return 14.1
    return rest_v


def eec1(rpm: float) -> bytes:
    """PGN 61444: engine speed in bytes 4 and 5, 0.125 rpm a bit, low byte first."""
    raw = round(rpm * 8.0)
    return bytes([0xFF, 0x7D, 0x7D, raw & 0xFF, raw >> 8, 0xFF, 0xF0, 0xFF])


def vep1(volts: float, keyswitch: float | None = None) -> bytes:
    """PGN 65271: battery potential in bytes 5 and 6, keyswitch in 7 and 8, 0.05 V a bit."""
    raw, key = round(volts * 20.0), 0xFFFF if keyswitch is None else round(keyswitch * 20.0)
    return bytes([0xFF, 0xFF, 0xFF, 0xFF, raw & 0xFF, raw >> 8, key & 0xFF, key >> 8])


def et1(coolant_c: float) -> bytes:
    """PGN 65262: coolant in byte 1, 1 °C a bit from -40."""
    return bytes([round(coolant_c + 40.0), *[0xFF] * 7])


def amb(ambient_c: float) -> bytes:
    """PGN 65269: ambient air in bytes 4 and 5, 1/32 °C a bit from -273."""
    raw = round((ambient_c + 273.0) * 32.0)
    return bytes([0xFF, 0xFF, 0xFF, raw & 0xFF, raw >> 8, 0xFF, 0xFF, 0xFF])


@dataclass(frozen=True)
class Trip:
    """A log: how long, which starts, how often volts are sent [1/s], and the temperatures."""

    starts: tuple[Start, ...]
    seconds: float = 60.0
    volts_hz: float = 1.0
    rpm_hz: float = 50.0
    ambient_c: float = -4.0
    coolant_c: float = -3.0
    rest_v: float = 12.6

    def frames(self) -> Iterator[tuple[float, int, bytes]]:
        """Time [s], 29-bit identifier and bytes, in order."""
        sent: list[tuple[float, int, Callable[[float], bytes]]] = [
            (self.rpm_hz, 0x0CF00400, lambda t: eec1(rpm_at(t, self.starts))),
            (self.volts_hz, 0x18FEF700, lambda t: vep1(volts_at(t, self.starts, self.rest_v))),
            (0.2, 0x18FEF721, lambda t: vep1(volts_at(t, self.starts, self.rest_v) - 0.3)),
            (1.0, 0x18FEEE00, lambda t: et1(self.coolant_c)),  # noqa: ARG005
            (1.0, 0x18FEF500, lambda t: amb(self.ambient_c)),  # noqa: ARG005
            (10.0, 0x18F00E51, lambda t: bytes(8)),  # noqa: ARG005
        ]
        rows = [
            (round(k / hz + 0.001 * n, 6), identifier, pack(k / hz + 0.001 * n))
            for n, (hz, identifier, pack) in enumerate(sent)
            for k in range(int(self.seconds * hz))
        ]
        return iter(sorted(rows, key=lambda row: row[0]))

    def candump(self, *, began: float = BEGAN) -> str:
        """The log as candump -L writes it."""
        return "".join(
            f"({began + t:.6f}) can0 {identifier:08X}#{data.hex().upper()}\n" for t, identifier, data in self.frames()
        )

    def table(self, *, hz: float = 4.0) -> str:
        """The same drive as a table of on-board diagnostics, one row a query, with a decimal comma."""
        rows = [
            "Time (s);Engine RPM (rpm);Control module voltage (V);Coolant (°F);Ambient air (°C);Vehicle speed (km/h)"
        ]
        for k in range(int(self.seconds * hz)):
            t = k / hz
            cells = (t, rpm_at(t, self.starts), volts_at(t, self.starts, self.rest_v), self.coolant_c * 1.8 + 32.0,
                     self.ambient_c, 0.0)  # fmt: skip
            rows.append(";".join(f"{cell:.3f}".replace(".", ",") for cell in cells))
        return "\n".join(rows) + "\n"
