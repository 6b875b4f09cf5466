"""Frames of a vehicle's bus become values: published layouts of SAE J1939 and of on-board diagnostics, a source beside each.

Read again in public worked examples and tables (`tests/test_bus_logs.py` holds them): SPN 190, PIDs 05 and 0C. The other
layouts are from memory of the standards named, and agree with public signal tables.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

ENGINE_RPM, BATTERY_V, KEYSWITCH_V, COOLANT_C, AMBIENT_C = (
    "engine_rpm", "battery_v", "keyswitch_v", "coolant_c", "ambient_c",
)  # fmt: skip


@dataclass(frozen=True)
class Place:
    """Where a value stands in a frame: `first` byte from 0, one or two bytes; value = whole number * factor + offset."""

    signal: str
    number: int
    first: int
    length: int
    factor: float
    offset: float
    source: str


# SAE J1939-71: the low byte first; whole numbers from 0xFB00 (one byte: 0xFB) on are no values but "error", "not
# available" and the like.
J1939: Mapping[int, tuple[Place, ...]] = MappingProxyType(
    {
        61444: (Place(ENGINE_RPM, 190, 3, 2, 0.125, 0.0, "SAE J1939-71, EEC1, bytes 4-5"),),
        65271: (
            Place(BATTERY_V, 168, 4, 2, 0.05, 0.0, "SAE J1939-71, VEP1, bytes 5-6; from memory"),
            Place(KEYSWITCH_V, 158, 6, 2, 0.05, 0.0, "SAE J1939-71, VEP1, bytes 7-8; from memory"),
        ),
        65262: (Place(COOLANT_C, 110, 0, 1, 1.0, -40.0, "SAE J1939-71, ET1, byte 1; from memory"),),
        65269: (Place(AMBIENT_C, 171, 3, 2, 0.03125, -273.0, "SAE J1939-71, AMB, bytes 4-5; from memory"),),
    }
)
SPN: Mapping[int, str] = MappingProxyType({p.number: p.signal for places in J1939.values() for p in places})
NO_VALUE = {1: 0xFB, 2: 0xFB00}

# SAE J1979 service 01: the high byte first.
PIDS: Mapping[int, Place] = MappingProxyType(
    {
        0x0C: Place(ENGINE_RPM, 0x0C, 0, 2, 0.25, 0.0, "SAE J1979, PID 0C: (256 A + B) / 4"),
        0x42: Place(BATTERY_V, 0x42, 0, 2, 0.001, 0.0, "SAE J1979, PID 42: (256 A + B) / 1000; from memory"),
        0x05: Place(COOLANT_C, 0x05, 0, 1, 1.0, -40.0, "SAE J1979, PID 05: A - 40"),
        0x46: Place(AMBIENT_C, 0x46, 0, 1, 1.0, -40.0, "SAE J1979, PID 46: A - 40; from memory"),
    }
)
SHOWN_SERVICE = 0x41  # answer to service 01
ANSWERS_11 = range(0x7E8, 0x7F0)  # ISO 15765-4: identifiers of control units that answer, from memory
ANSWERS_29 = 0x18DAF100  # and with 29 bits: to the tester F1, from the unit in the low byte


def pgn_of(identifier: int) -> int:
    """The parameter group of a 29-bit identifier (SAE J1939-21): below 240 its second byte is an address."""
    group = (identifier >> 8) & 0x3FFFF
    return group if (group >> 8) & 0xFF >= 240 else group & 0x3FF00


def values_of(identifier: int, long: bool, data: bytes) -> Iterator[tuple[str, str, float]]:
    """Signal, who said it, and value of everything in a frame that is known here; `long`: a 29-bit identifier."""
    if long and (identifier & 0x1FFFFF00) != ANSWERS_29:
        for place in J1939.get(pgn_of(identifier), ()):
            raw = int.from_bytes(data[place.first : place.first + place.length], "little")
            if len(data) >= place.first + place.length and raw < NO_VALUE[place.length]:
                yield place.signal, f"address {identifier & 0xFF:02X}", raw * place.factor + place.offset
    elif long or identifier in ANSWERS_11:
        for pid, value in answered(data):
            yield PIDS[pid].signal, f"unit {identifier & 0xFF:02X}", value


def answered(data: bytes) -> Iterator[tuple[int, float]]:
    """PIDs and values of an answer in a single frame (ISO 15765-2: its first byte is its length); there may be several."""
    if not data or data[0] > 7 or len(data) <= data[0] or data[1:2] != bytes([SHOWN_SERVICE]):
        return
    at, end = 2, 1 + data[0]
    while at < end and (place := PIDS.get(data[at])) is not None and at + place.length < end:
        yield data[at], int.from_bytes(data[at + 1 : at + 1 + place.length], "big") * place.factor + place.offset
        at += 1 + place.length
