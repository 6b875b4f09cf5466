"""Rows about the control side: feed, wire, coil, and what a fused jumper and a loaded check say."""

from typing import Final

from analysis.bay.boundaries import BOTH_WINDINGS, BY_OHMS, BY_VOLTS, CONTROL_GOOD, CONTROL_HIGH
from analysis.bay.choices import BOUNDARIES
from analysis.bay.conditions import (
    Row,
    above,
    at_least,
    at_most,
    below,
    both,
    coil_sound,
    either,
    ends_differ,
    ends_equal,
    is_word,
    isnt,
    measured,
    near_battery,
    not_measured,
    not_near_battery,
)

_LOADED: Final = "common practice; the bands depend on the tester's load"
_OHMS: Final = "TM 5-2420-230-24-2 p. 13-33, TM 9-4940-568-34: ohms of sound windings"

_SHORT: Final = either(
    both(BY_VOLTS, at_most("control_loaded_v", "wire_good_low_v")),
    both(BY_OHMS, below("control_ohm", "least_coil_ohm")),
)
_TO_GROUND: Final = either(is_word("jumper_start", "fuse_opens"), _SHORT)
_GOOD_ALONE: Final = either(
    both(BY_VOLTS, isnt(below("coil_alone_v", "coil_good_low_v")), at_most("coil_alone_v", "coil_good_high_v")),
    both(BY_OHMS, coil_sound("alone_ohm")),
)

CONTROL: Final = (
    Row(
        "feed dead",
        (below("feed_share", "wire_open_share"),),
        "feed",
        "{feed_v:.2f} V at the relay socket's feed terminal: nothing behind it works on that. Look at its fuse and its wire from the "
        "battery first.",
        "the feed's fuse, both sides, and its wire back to the battery",
        10,
        hides=("starter_motor", "control_circuit", "control_wire", "coil"),
    ),
    Row(
        "feed weak",
        (at_least("feed_share", "wire_open_share"), above("feed_lacks_v", "control_circuit_drop_v")),
        "feed",
        "The relay socket's feed terminal has {feed_v:.2f} V, {feed_lacks_v:.2f} V less than the battery: resistance in its "
        "wire, fuse or connectors.",
        "voltage drop from the battery to the feed terminal, connector by connector",
        10,
        hides=("starter_motor",),
    ),
    Row(
        "jumper cranks",
        (is_word("jumper_start", "cranks"),),
        "control_circuit",
        "With a fused jumper at the relay socket the engine cranks: battery, cables, starter and control wire work. "
        "The fault is before the socket: relay, switch, neutral or clutch switch, immobiliser.",
        "volts at the relay's own coil with the key at start",
        10,
        hides=("control_circuit", "starter_motor"),
    ),
    Row(
        "coil shorted",
        (
            either(
                both(BY_VOLTS, below("coil_alone_v", "coil_good_low_v")),
                both(BY_OHMS, below("alone_ohm", "least_coil_ohm")),
            ),
        ),
        "coil",
        "The coil alone leaves {coil_alone_v:.2f} V under load, less than a sound one: the coil is shorted.",
        "ohms of the coil, its wire off: no more than the leads alone show means a short",
        5,
        _LOADED,
        hides=("coil", "control_wire"),
    ),
    Row(
        "control wire shorted, coil good alone",
        (_TO_GROUND, _GOOD_ALONE),
        "control_wire",
        "There is a short to ground, and the coil alone leaves {coil_alone_v:.2f} V, which is good: the control wire is shorted.",
        "the wire by eye where it may chafe, then its ohms to ground with both ends off",
        15,
        _LOADED,
        hides=("control_wire", "control_circuit"),
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
        "control wire open, coil good",
        (near_battery("control_loaded_v"), not_near_battery("coil_loaded_v")),
        "control_wire",
        "{control_loaded_v:.2f} V left at the relay socket under load is near battery voltage, and {coil_loaded_v:.2f} V at the coil's "
        "end is not: the control wire or a connector between the two is open.",
        "voltage drop along the wire, connector by connector",
        15,
        _LOADED,
        hides=("control_circuit", "control_wire"),
    ),
    Row(
        "control wire open",
        (near_battery("control_loaded_v"), isnt(measured("coil_loaded_v")), isnt(near_battery("coil_alone_v"))),
        "control_wire",
        "{control_loaded_v:.2f} V left at the relay socket under load is near battery voltage: the control wire, its "
        "connectors or the coil's ground is open.",
        "the same check at the coil's end of the wire",
        10,
        _LOADED,
        hides=("control_circuit",),
    ),
    Row(
        "coil open",
        (near_battery("control_loaded_v"), near_battery("coil_loaded_v"), isnt(_GOOD_ALONE)),
        "coil",
        "Both ends of the control wire read near battery voltage ({coil_loaded_v:.2f} V at the coil), so that hardly any "
        "current flows: the coil or its ground is open.",
        "coil resistance and the solenoid's ground connection",
        10,
        _LOADED,
        hides=("control_circuit",),
    ),
    Row(
        "coil's connector open",
        (near_battery("control_loaded_v"), near_battery("coil_loaded_v"), _GOOD_ALONE),
        "control_wire",
        "Both ends of the control wire read near battery voltage ({coil_loaded_v:.2f} V at the coil), and the coil alone leaves "
        "{coil_alone_v:.2f} V, which is good: the connector between the two is open.",
        "the connector at the coil by eye, then the same check with it pressed on",
        5,
        _LOADED,
        hides=("control_circuit",),
    ),
    Row(
        "control wire short to ground",
        (_SHORT,),
        "control_wire",
        "{control_loaded_v:.2f} V left at the relay socket under load is less than any sound coil leaves: the control wire or "
        "the coil is shorted to ground.",
        "take the wire off the coil and repeat: still as low means the wire, else the coil",
        10,
        _LOADED,
        hides=("coil",),
    ),
    Row(
        "resistance in the wire",
        (not_near_battery("control_loaded_v"), ends_differ, either(BY_OHMS, above("control_loaded_v", "wire_good_high_v"))),
        "control_wire",
        "Under load the ends of the control wire read {control_loaded_v:.2f} and {coil_loaded_v:.2f} V, more than "
        "{wire_ends_equal_v:.2f} V apart: the resistance is in the wire or its connectors.",
        "voltage drop along the wire, connector by connector",
        15,
        _LOADED,
        hides=("control_circuit", "control_wire"),
    ),
    Row(
        "control side resistive, by ohms",
        (
            BY_OHMS, above("control_ohm", "two_windings_ohm"), isnt(coil_sound("control_ohm")),
            not_near_battery("control_loaded_v"), not_measured("coil_loaded_v", "coil_alone_v"),
        ),
        "control_circuit",
        "{control_loaded_v:.2f} V left under the tester's {tester_load_ohm:.1f} Ω are {control_ohm:.2f} Ω, as no sound coil "
        "has: resistance in the control wire or the coil.",
        "the same check at the coil's end of the wire",
        10,
        _OHMS,
    ),
    Row(
        "control side resistive, not split",
        (
            BY_VOLTS, above("control_loaded_v", "wire_good_high_v"), not_near_battery("control_loaded_v"),
            not_measured("coil_loaded_v", "coil_alone_v"),
        ),
        "control_circuit",
        "{control_loaded_v:.2f} V left at the relay socket under load is {control_loaded_v__wire_good_high_v}: resistance in "
        "the control wire or the coil, if the tester's load is that of a small lamp. With a heavy load a sound coil leaves "
        "more: note the tester's ohms.",
        "the same check at the coil's end of the wire",
        10,
        _LOADED,
    ),
    Row(
        "coil resistive, by ohms",
        (
            BY_OHMS, above("winding_ohm", "two_windings_ohm"), isnt(coil_sound("winding_ohm")),
            measured("coil_loaded_v"), not_near_battery("coil_loaded_v"), isnt(ends_differ),
        ),
        "coil",
        "The coil has {winding_ohm:.2f} Ω ({coil_loaded_v:.2f} V left under the tester's {tester_load_ohm:.1f} Ω), as no sound "
        "one has: resistance in the coil or its ground.",
        "loaded check of the coil alone",
        10,
        _OHMS,
        hides=("coil", "control_circuit"),
    ),
    Row(
        "resistance in the coil",
        (BY_VOLTS, above("control_loaded_v", "wire_good_high_v"), not_near_battery("control_loaded_v"), ends_equal),
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
            either(
                both(BY_VOLTS, above("control_loaded_v", "wire_good_high_v")),
                both(BY_OHMS, above("control_ohm", "two_windings_ohm"), isnt(coil_sound("control_ohm"))),
            ),
            _GOOD_ALONE,
            isnt(measured("coil_loaded_v")),
        ),
        "control_wire",
        "The coil alone leaves {coil_alone_v:.2f} V, which is good, and the wire with it {control_loaded_v:.2f} V: "
        "the resistance is in the wire.",
        "voltage drop along the wire, connector by connector",
        15,
        _LOADED,
    ),
    Row(
        "coil open, measured alone",
        (near_battery("coil_alone_v"),),
        "coil",
        "The coil alone leaves {coil_alone_v:.2f} V under load, near battery voltage, so that hardly any current flows: the coil or its "
        "ground is open.",
        "coil resistance and the solenoid's ground connection",
        10,
        _LOADED,
        hides=("coil", "control_circuit"),
    ),
    Row(
        "coil resistive",
        (
            either(
                both(BY_VOLTS, above("coil_alone_v", "coil_good_high_v")),
                both(BY_OHMS, above("alone_ohm", "two_windings_ohm"), isnt(coil_sound("alone_ohm"))),
            ),
            isnt(near_battery("coil_alone_v")),
        ),
        "coil",
        "The coil alone leaves {coil_alone_v:.2f} V under load, more than a sound one: resistance in the coil or its ground.",
        "coil resistance and the solenoid's ground connection",
        10,
        _LOADED,
    ),
    Row(
        "no volts at the solenoid",
        (near_battery("drop_control_v"), isnt(above("coil_a", BOUNDARIES.dead_coil_a))),
        "control_circuit",
        "Of the battery's volts {drop_control_v:.2f} V are lost before the solenoid: the control circuit is open.",
        "feed terminal of the relay socket with the key at crank, then a fused jumper",
        5,
        hides=("control_circuit", "coil", "starter_motor", "starter_or_drag", "battery"),
    ),
    Row(
        "coil starved",
        (CONTROL_HIGH, below("solenoid_v", "must_pull_in_v"), isnt(is_word("outcome", "started", "slow", "cranks_only"))),
        "control_circuit",
        "The solenoid gets {solenoid_v:.2f} V, {solenoid_v__must_pull_in_v} at which it must pull in: the control circuit "
        "starves it.",
        "loaded check of the control wire, both ends",
        10,
        "pull-in volts: service manual, TM 5-3895-382-24",
        hides=("control_circuit", "coil", "starter_motor", "starter_or_drag"),
    ),
    Row(
        "hold-in winding open",
        (below("coil_a", BOUNDARIES.dead_coil_a), at_least("pull_in_a", "least_coil_a")),
        "coil",
        "The solenoid takes {pull_in_a:.0f} A as it pulls in and {coil_a:.1f} A to hold: its hold-in winding, or the ground of that, is "
        "open.",
        "loaded check of the coil alone",
        10,
        _OHMS,
        hides=("coil", "control_circuit"),
    ),
    Row(
        "coil takes no amps",
        (CONTROL_GOOD, below("coil_a", BOUNDARIES.dead_coil_a), isnt(is_word("outcome", "started", "slow", "cranks_only"))),
        "coil",
        "The solenoid gets its volts and takes {coil_a:.1f} A: the coil or its ground is open.",
        "coil resistance and the solenoid's ground connection",
        10,
        hides=("control_circuit", "starter_motor"),
    ),
    Row(
        "coil gets its volts, no click",
        (
            CONTROL_GOOD, is_word("outcome", "no_click"), at_least("rest_v", "rest_act_v"), not_measured("coil_a", "pull_in_a"),
            isnt(is_word("jumper_start", "cranks")),
        ),
        "coil",
        "The solenoid gets {solenoid_v:.2f} V and nothing is heard: the coil or its ground is open, or the plunger is stuck.",
        "coil amps with a small clamp",
        5,
        hides=("control_circuit", "starter_motor"),
    ),
    Row(
        "coil takes no amps, its volts not measured",
        (
            below("coil_a", BOUNDARIES.dead_coil_a), not_measured("drop_control_v"),
            isnt(is_word("outcome", "started", "slow", "cranks_only")),
        ),
        "control_circuit",
        "The solenoid coil takes {coil_a:.1f} A: it gets no volts, or it or its ground is open.",
        "control circuit drop while cranking",
        5,
        hides=("control_circuit", "starter_motor"),
    ),
    Row(
        "coil takes amps, no click",
        (is_word("outcome", "no_click"), at_least("coil_a", "least_coil_a"), isnt(CONTROL_HIGH)),
        "coil",
        "The coil takes {coil_a:.1f} A and nothing is heard: the solenoid's plunger is stuck, or its pull-in winding is open.",
        "pull-in amps with a small clamp at the first moment",
        10,
    ),
    Row(
        "pull-in winding open",
        (at_least("pull_in_full_a", "least_coil_a"), at_most("pull_in_full_a", "highest_coil_a"), isnt(CONTROL_HIGH)),
        "coil",
        "The solenoid takes {pull_in_a:.0f} A as it pulls in, what the hold-in winding takes alone, and the control circuit is not what "
        "holds it back: the pull-in winding, or its way to ground through the starter, is open.",
        "loaded check of the coil alone",
        10,
        _OHMS,
        hides=("coil",),
    ),
    Row(
        "pull-in amps high",
        (above("pull_in_full_a", "highest_pull_in_a", widened="clamp_doubt"),),
        "coil",
        "Both windings together take {pull_in_a:.0f} A, {pull_in_full_a__highest_pull_in_a} at full volts: shorted turns.",
        "loaded check of the coil alone",
        10,
        _OHMS,
    ),
    Row(
        "pull-in amps low",
        (below("pull_in_full_a", "least_both_a", widened="clamp_doubt"), isnt(CONTROL_HIGH)),
        "coil",
        "Both windings together take {pull_in_a:.0f} A, {pull_in_full_a__least_both_a} at full volts, and the control "
        "circuit is not what holds them back: a winding or its ground has resistance.",
        "control circuit drop while cranking, then loaded check of the coil alone",
        10,
        _OHMS,
    ),
    Row(
        "coil amps high",
        (above("coil_a", "highest_coil_a"), isnt(BOTH_WINDINGS)),
        "coil",
        "The solenoid coil takes {coil_a:.1f} A, {coil_a__highest_coil_a}, and not what both windings take: shorted turns. So many amps lose more "
        "volts on their way, too.",
        "loaded check of the coil alone",
        10,
        _OHMS,
        hides=("coil", "control_circuit"),
    ),
    Row(
        "coil amps low",
        (below("coil_a", "least_coil_a"), at_least("coil_a", BOUNDARIES.dead_coil_a)),
        "control_circuit",
        "The solenoid coil takes {coil_a:.1f} A, below {least_coil_a:.0f} A: resistance in its wire or winding.",
        "control circuit drop while cranking",
        5,
    ),
)  # fmt: skip
