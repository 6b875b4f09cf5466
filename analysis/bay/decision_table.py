"""Decision table from simple checks to the segment at fault, as data: one row, one list of conditions, one sentence.

The rows follow the trade's order of work: is the battery charged; is the control side or the power side at fault; which
wire, contact or cable. Every boundary is a limit of `analysis.circuit.limits`, so that a user's own limits move the table too.
A measurement that was not made never matches a row.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from analysis.bay.conditions import (
    Row,
    above,
    all_measured,
    amps_high,
    amps_low,
    at_most,
    below,
    drops_good,
    ends_differ,
    ends_equal,
    is_word,
    isnt,
    near_battery,
    not_measured,
    not_near_battery,
    passes_load_test,
    speed_low,
    speed_usual,
    under_load_test,
)

_LOADED = "common practice; the bands depend on the tester's load"
_AMPS = "common practice; TM 10-3930-671-24"

TABLE: Final[tuple[Row, ...]] = (
    Row(
        "battery discharged",
        (below("rest_v", "rest_act_v"),),
        "battery",
        "Rest voltage {rest_v:.2f} V is below {rest_act_v:.2f} V (half charged): charge before judging anything else.",
        "charge fully, rest some hours, then measure rest voltage and volts while cranking",
        15,
        "BCI rest-voltage table",
    ),
    Row(
        "battery weak under load",
        (under_load_test, isnt(below("rest_v", "rest_act_v")), isnt(amps_high)),
        "battery",
        "Volts while cranking {crank_min_v:.2f} V are below the load-test table at {temperature_c:.0f} °C "
        "({temperature_f:.0f} °F) "
        "without high amps: the battery cannot hold up its voltage.",
        "battery load test at half its cold-cranking rating for 15 s",
        10,
        "BCI load-test table",
    ),
    Row(
        "battery pulled down by high amps",
        (under_load_test, amps_high),
        "starter_or_drag",
        "Volts while cranking {crank_min_v:.2f} V are low because {crank_a:.0f} A flow: the load is at "
        "fault before the battery is.",
        "cranking speed by ripple or tachometer",
        5,
        _AMPS,
    ),
    Row(
        "control wire open",
        (near_battery("control_loaded_v"), isnt(near_battery("coil_loaded_v"))),
        "control_wire",
        "{control_loaded_v:.2f} V left at the relay socket under load is near battery voltage: the control wire, its "
        "connectors or the coil's ground is open.",
        "the same check at the coil's end of the wire",
        10,
        _LOADED,
    ),
    Row(
        "coil open",
        (near_battery("control_loaded_v"), ends_equal),
        "coil",
        "Both ends of the control wire read near battery voltage ({coil_loaded_v:.2f} V at the coil), so that the wire "
        "is good: the coil or its ground is open.",
        "coil resistance and the solenoid's ground connection",
        10,
        _LOADED,
    ),
    Row(
        "control wire short to ground",
        (at_most("control_loaded_v", "wire_good_low_v"),),
        "control_wire",
        "{control_loaded_v:.2f} V left at the relay socket under load is zero or below: the control wire is shorted to "
        "ground.",
        "take the wire off the coil and repeat: still zero means the wire, else the coil",
        10,
        _LOADED,
    ),
    Row(
        "control side good",
        (
            above("control_loaded_v", "wire_good_low_v"),
            at_most("control_loaded_v", "wire_good_high_v"),
        ),
        "none",
        "{control_loaded_v:.2f} V left at the relay socket under load is within {wire_good_high_v:.2f} V: control wire "
        "and coil are good.",
        "fused jumper at the relay socket",
        5,
        _LOADED,
    ),
    Row(
        "control side resistive, not split",
        (
            above("control_loaded_v", "wire_good_high_v"),
            not_near_battery("control_loaded_v"),
            not_measured("coil_loaded_v"),
            not_measured("coil_alone_v"),
        ),
        "control_circuit",
        "{control_loaded_v:.2f} V left at the relay socket under load is above {wire_good_high_v:.2f} V: resistance in "
        "the control wire or the coil.",
        "the same check at the coil's end of the wire, which tells wire from coil",
        10,
        _LOADED,
    ),
    Row(
        "resistance in the wire",
        (
            above("control_loaded_v", "wire_good_high_v"),
            not_near_battery("control_loaded_v"),
            ends_differ,
        ),
        "control_wire",
        "Under load the ends of the control wire read {control_loaded_v:.2f} and {coil_loaded_v:.2f} V, more than "
        "{wire_ends_equal_v:.2f} V apart: the resistance is in the wire or its connectors.",
        "voltage drop along the wire, connector by connector",
        15,
        _LOADED,
    ),
    Row(
        "resistance in the coil",
        (
            above("control_loaded_v", "wire_good_high_v"),
            not_near_battery("control_loaded_v"),
            ends_equal,
        ),
        "coil",
        "Both ends of the control wire read the same within {wire_ends_equal_v:.2f} V, so that the wire is good: the "
        "resistance is in the coil or its ground.",
        "loaded check of the coil alone",
        10,
        _LOADED,
    ),
    Row(
        "coil good alone",
        (
            isnt(below("coil_alone_v", "coil_good_low_v")), at_most("coil_alone_v", "coil_good_high_v"),
            above("control_loaded_v", "wire_good_high_v"),
        ),
        "control_wire",
        "The coil alone leaves {coil_alone_v:.2f} V, which is good, and the wire with it {control_loaded_v:.2f} V: "
        "the resistance is in the wire.",
        "voltage drop along the wire, connector by connector",
        15,
        _LOADED,
    ),
    Row(
        "coil resistive or open",
        (above("coil_alone_v", "coil_good_high_v"),),
        "coil",
        "The coil alone leaves {coil_alone_v:.2f} V under load, above {coil_good_high_v:.2f} V: resistance in the "
        "coil or its ground.",
        "coil resistance and the solenoid's ground connection",
        10,
        _LOADED,
    ),
    Row(
        "coil shorted",
        (below("coil_alone_v", "coil_good_low_v"),),
        "coil",
        "The coil alone leaves {coil_alone_v:.2f} V under load, below {coil_good_low_v:.2f} V: the coil is shorted.",
        "coil amps with a small clamp",
        5,
        _LOADED,
    ),
    Row(
        "jumper cranks",
        (is_word("jumper_start", "cranks"),),
        "control_circuit",
        "With a fused jumper at the relay socket the engine cranks: battery, cables, starter and control wire work. "
        "The fault is before the socket: relay, switch, neutral or clutch switch, immobiliser.",
        "volts at the relay's own coil with the key at start",
        10,
    ),
    Row(
        "jumper does not crank, coil volts lost",
        (
            is_word("jumper_start", "no_crank"),
            above("drop_control_v", "control_circuit_drop_v"),
        ),
        "control_circuit",
        "With a fused jumper the engine does not crank and the control circuit loses {drop_control_v:.2f} V, above "
        "{control_circuit_drop_v:.2f} V: the wire to the solenoid is at fault.",
        "loaded check of the control wire, both ends",
        10,
    ),
    Row(
        "jumper does not crank",
        (
            is_word("jumper_start", "no_crank"),
            isnt(above("drop_control_v", "control_circuit_drop_v")),
        ),
        "starter_motor",
        "With a fused jumper at the relay socket the engine does not crank: control wire, solenoid, starter, cables or "
        "battery are at fault, not the relay or the switch.",
        "voltage drop across the solenoid contacts, then positive and ground side, with the jumper on",
        15,
    ),
    Row(
        "jumper fuse opens",
        (is_word("jumper_start", "fuse_opens"),),
        "control_wire",
        "The jumper's {jumper_fuse_a:.0f} A fuse opens: the control wire or the coil is shorted to ground (some "
        "solenoids need a 15 A fuse: look it up first).",
        "take the wire off the solenoid and repeat: opens again means the wire, else the coil",
        10,
    ),
    Row(
        "control drop high",
        (above("drop_control_v", "control_circuit_drop_v"),),
        "control_circuit",
        "The control circuit loses {drop_control_v:.2f} V, above {control_circuit_drop_v:.2f} V.",
        "loaded check of the control wire at the relay socket",
        10,
    ),
    Row(
        "coil amps low",
        (below("coil_a", "least_coil_a"),),
        "control_circuit",
        "The solenoid coil takes {coil_a:.1f} A, below {least_coil_a:.0f} A: resistance in its wire or winding.",
        "control circuit drop while cranking",
        5,
    ),
    Row(
        "coil amps high",
        (above("coil_a", "highest_coil_a"),),
        "coil",
        "The solenoid coil takes {coil_a:.1f} A, above {highest_coil_a:.0f} A: shorted turns.",
        "loaded check of the coil alone",
        10,
    ),
    Row(
        "positive cable drop high",
        (above("drop_positive_v", "positive_cable_drop_v"),),
        "positive_cable",
        "The positive cable loses {drop_positive_v:.2f} V, above {positive_cable_drop_v:.2f} V.",
        "drop across each connection of the positive cable, post to clamp first",
        10,
    ),
    Row(
        "ground path drop high",
        (above("drop_ground_v", "ground_path_drop_v"),),
        "ground_path",
        "The ground path loses {drop_ground_v:.2f} V, above {ground_path_drop_v:.2f} V.",
        "drop engine block to frame, then frame to battery post",
        10,
        "TM 5-3820-256-24-4; common practice",
    ),
    Row(
        "contact drop high",
        (above("drop_contacts_v", "solenoid_contacts_drop_v"),),
        "solenoid_contacts",
        "The solenoid contacts lose {drop_contacts_v:.2f} V, above {solenoid_contacts_drop_v:.2f} V.",
        "repeat the drop on three starts: burnt contacts scatter",
        5,
    ),
    Row(
        "high amps, slow",
        (amps_high, speed_low),
        "engine_drag",
        "{crank_a:.0f} A are high and the engine turns slower than usual ({crank_rpm:.0f} against {usual_rpm:.0f} "
        "rpm): mechanical drag, or a starter that binds.",
        "turn the engine by hand at the crankshaft, key off and out of gear",
        20,
        _AMPS,
    ),
    Row(
        "high amps, not slow",
        (amps_high, speed_usual),
        "starter_motor",
        "{crank_a:.0f} A are high although the engine turns at its usual speed: shorted turns or a weak field in the "
        "starter.",
        "starter on the bench: no-load amps and speed",
        45,
        _AMPS,
    ),
    Row(
        "high amps, speed unknown",
        (amps_high, not_measured("crank_rpm")),
        "starter_or_drag",
        "{crank_a:.0f} A are high: shorted windings or mechanical drag. Volts and amps alone cannot tell them apart.",
        "cranking speed by ripple or tachometer",
        5,
        _AMPS,
    ),
    Row(
        "low amps, drops good, battery holds",
        (amps_low, drops_good, passes_load_test),
        "starter_motor",
        "{crank_a:.0f} A are low with good drops and a battery that holds: worn brushes or commutator in the starter.",
        "peak amps, which give the starter's own resistance",
        5,
        _AMPS,
    ),
    Row(
        "low amps, drops unknown",
        (amps_low, isnt(all_measured("drop_positive_v", "drop_ground_v", "drop_contacts_v"))),
        "starter_motor",
        "{crank_a:.0f} A are low: worn starter, low battery voltage, or resistance in cable, contacts or ground.",
        "the three drops of the power side while cranking",
        10,
        _AMPS,
    ),
    Row(
        "no start, all power-side readings good",
        (is_word("outcome", "no_start"), drops_good, passes_load_test, isnt(amps_low), isnt(amps_high),
         isnt(above("drop_control_v", "control_circuit_drop_v"))),
        "none",
        "The engine did not start although battery, cables and contacts read good: cranking is not what failed, or it "
        "fails now and then.",
        "fused jumper at the relay socket; then fuel and ignition by the maker's procedure",
        10,
    ),
    Row(
        "no start, nothing measured",
        (is_word("outcome", "no_start"), not_measured("crank_min_v"), not_measured("control_loaded_v"),
         not_measured("jumper_start")),
        "none",
        "The engine did not start and nothing was measured.",
        "rest voltage, then volts at the battery while cranking",
        5,
    ),
    Row(
        "slow, speed below least",
        (is_word("outcome", "slow", "started"), below("crank_rpm", "least_cranking_rpm")),
        "starter_or_drag",
        "{crank_rpm:.0f} rpm is below {least_cranking_rpm:.0f} rpm, the least the engine needs.",
        "battery volts and amps while cranking, then the three drops",
        10,
    ),
    Row(
        "slow, nothing measured",
        (is_word("outcome", "slow"), not_measured("crank_rpm"), not_measured("crank_min_v")),
        "none",
        "The engine turned slowly and nothing was measured.",
        "volts at the battery and amps while cranking",
        5,
    ),
)  # fmt: skip

FILLS: Final[Mapping[str, tuple[str, ...]]] = {
    "cranking speed by ripple or tachometer": ("crank_rpm",),
    "the same check at the coil's end of the wire": ("coil_loaded_v",),
    "fused jumper at the relay socket": ("jumper_start",),
    "loaded check of the coil alone": ("coil_alone_v",),
    "coil amps with a small clamp": ("coil_a",),
    "voltage drop across the solenoid contacts, then positive and ground side, with the jumper on": (
        "drop_contacts_v", "drop_positive_v", "drop_ground_v",
    ),
    "loaded check of the control wire, both ends": ("control_loaded_v", "coil_loaded_v"),
    "loaded check of the control wire at the relay socket": ("control_loaded_v",),
    "control circuit drop while cranking": ("drop_control_v",),
    "peak amps, which give the starter's own resistance": ("peak_a",),
    "the three drops of the power side while cranking": ("drop_contacts_v", "drop_positive_v", "drop_ground_v"),
    "fused jumper at the relay socket; then fuel and ignition by the maker's procedure": ("jumper_start",),
    "battery volts and amps while cranking, then the three drops": (
        "crank_min_v", "crank_a", "drop_contacts_v", "drop_positive_v", "drop_ground_v",
    ),
    "rest voltage, then volts at the battery while cranking": ("rest_v", "crank_min_v"),
    "volts at the battery and amps while cranking": ("crank_min_v", "crank_a"),
}  # fmt: skip
"""Next measurement -> what a reading that contains it holds; those without a column of their own are left out."""

MISSING_WORDS: Final[Mapping[str, str]] = {
    "rest_v": "rest voltage",
    "crank_min_v": "volts at the battery while cranking",
    "crank_a": "amps while cranking",
    "drop_contacts_v": "voltage drop across the solenoid contacts",
    "drop_positive_v": "voltage drop of the positive cable",
    "drop_ground_v": "voltage drop of the ground path",
    "control_loaded_v": "loaded check of the control wire at the relay socket",
    "coil_loaded_v": "the same check at the coil's end of the wire",
}
"""What is asked for where only some of a next measurement was made."""
