"""Decision table from simple checks to the segment at fault, as data: one row, one list of conditions, one sentence.

The rows stand in the order in which they are named: is the measurement believable; does the engine turn as ever (then it
is not the starting circuit); is the control side at fault; is the battery charged and sound; does the load ask for more
than it should; which cable, contact or wire. Every boundary is a limit of `analysis.circuit.limits`, so that a user's own
limits move the table too. A measurement that was not made never matches a row.
"""

from collections.abc import Mapping
from typing import Final

from analysis.bay.conditions import Row
from analysis.bay.rows_alone import ALONE, NONE
from analysis.bay.rows_believable import MEASUREMENT, TURNS
from analysis.bay.rows_control import CONTROL
from analysis.bay.rows_power import BATTERY, CHARGING, DROPS, LOAD, WEAK

TABLE: Final[tuple[Row, ...]] = (
    *MEASUREMENT, *TURNS, *CONTROL, *BATTERY, *LOAD, *WEAK, *DROPS, *CHARGING, *ALONE, *NONE,
)  # fmt: skip

FILLS: Final[Mapping[str, tuple[str, ...]]] = {
    "amps while cranking": ("crank_a",),
    "cranking speed by ripple or tachometer": ("crank_rpm",),
    "cranking speed and peak amps": ("crank_rpm", "peak_a"),
    "amps while cranking, cranking speed and peak amps": ("crank_a", "crank_rpm", "peak_a"),
    "the same check at the coil's end of the wire": ("coil_loaded_v",),
    "fused jumper at the relay socket": ("jumper_start",),
    "feed terminal of the relay socket with the key at crank, then a fused jumper": ("feed_v", "jumper_start"),
    "loaded check of the coil alone": ("coil_alone_v",),
    "coil amps with a small clamp": ("coil_a",),
    "pull-in amps with a small clamp at the first moment": ("pull_in_a",),
    "voltage drop across the solenoid contacts, then positive and ground side, with the jumper on": (
        "drop_contacts_v", "drop_positive_v", "drop_ground_v",
    ),
    "loaded check of the control wire, both ends": ("control_loaded_v", "coil_loaded_v"),
    "loaded check of the control wire at the relay socket": ("control_loaded_v",),
    "feed terminal of the relay socket, then loaded check of the control wire, both ends": (
        "feed_v", "control_loaded_v", "coil_loaded_v",
    ),
    "control circuit drop while cranking": ("drop_control_v",),
    "control circuit drop while cranking, then loaded check of the coil alone": ("drop_control_v", "coil_alone_v"),
    "control circuit drop while cranking, then the three drops": (
        "drop_control_v", "drop_contacts_v", "drop_positive_v", "drop_ground_v",
    ),
    "peak amps, which give the starter's own resistance": ("peak_a",),
    "the three drops of the power side while cranking": ("drop_contacts_v", "drop_positive_v", "drop_ground_v"),
    "battery volts and amps while cranking, then the three drops": (
        "crank_min_v", "crank_a", "drop_contacts_v", "drop_positive_v", "drop_ground_v",
    ),
    "rest voltage, then volts at the battery while cranking": ("rest_v", "crank_min_v"),
    "rest voltage, then volts at the battery and amps while cranking": ("rest_v", "crank_min_v", "crank_a"),
    "volts at the battery and amps while cranking": ("crank_min_v", "crank_a"),
}  # fmt: skip
"""Next measurement -> what a reading that contains it holds; those without a column of their own are left out."""

MISSING_WORDS: Final[Mapping[str, str]] = {
    "rest_v": "rest voltage",
    "crank_min_v": "volts at the battery while cranking",
    "crank_a": "amps while cranking",
    "peak_a": "peak amps",
    "crank_rpm": "cranking speed",
    "coil_a": "coil amps",
    "drop_contacts_v": "voltage drop across the solenoid contacts",
    "drop_positive_v": "voltage drop of the positive cable",
    "drop_ground_v": "voltage drop of the ground path",
    "drop_control_v": "voltage drop of the control circuit",
    "control_loaded_v": "loaded check of the control wire at the relay socket",
    "coil_loaded_v": "the same check at the coil's end of the wire",
    "coil_alone_v": "loaded check of the coil alone",
    "feed_v": "feed terminal of the relay socket with the key at crank",
    "jumper_start": "fused jumper at the relay socket",
    "pull_in_a": "pull-in amps",
    "crank_dip_v": "dip at the first moment",
    "charging_v": "charging volts",
}
"""What is asked for where only some of a next measurement was made, and what a doubted value is called."""
