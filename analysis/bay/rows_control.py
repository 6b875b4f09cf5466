"""Rows about the control side: feed, wire, coil, and what a fused jumper and a loaded check say."""

from typing import Final

from analysis.bay import sources
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
        "feed_dead",
        (below("feed_share", "wire_open_share"),),
        "feed", "feed_fuse_and_wire", 10, hides=("starter_motor", "control_circuit", "control_wire", "coil"),
    ),
    Row(
        "feed_weak",
        (at_least("feed_share", "wire_open_share"), above("feed_lacks_v", "control_circuit_drop_v")),
        "feed", "drop_to_the_feed", 10, hides=("starter_motor",),
    ),
    Row(
        "jumper_cranks",
        (is_word("jumper_start", "cranks"),),
        "control_circuit", "relay_coil_v", 10, hides=("control_circuit", "starter_motor"),
    ),
    Row(
        "coil_shorted",
        (
            either(
                both(BY_VOLTS, below("coil_alone_v", "coil_good_low_v")),
                both(BY_OHMS, below("alone_ohm", "least_coil_ohm")),
            ),
        ),
        "coil", "coil_ohms_for_a_short", 5, sources.LOADED, hides=("coil", "control_wire"),
    ),
    Row(
        "control_wire_shorted_coil_good_alone",
        (_TO_GROUND, _GOOD_ALONE),
        "control_wire", "wire_by_eye", 15, sources.LOADED, hides=("control_wire", "control_circuit"),
    ),
    Row(
        "jumper_fuse_opens",
        (is_word("jumper_start", "fuse_opens"),),
        "control_wire", "jumper_with_the_wire_off", 10,
    ),
    Row(
        "control_wire_open_coil_good",
        (near_battery("control_loaded_v"), not_near_battery("coil_loaded_v")),
        "control_wire", "drop_along_the_wire", 15, sources.LOADED, hides=("control_circuit", "control_wire"),
    ),
    Row(
        "control_wire_open",
        (near_battery("control_loaded_v"), isnt(measured("coil_loaded_v")), isnt(near_battery("coil_alone_v"))),
        "control_wire", "coil_loaded_v", 10, sources.LOADED, hides=("control_circuit",),
    ),
    Row(
        "coil_open",
        (near_battery("control_loaded_v"), near_battery("coil_loaded_v"), isnt(_GOOD_ALONE)),
        "coil", "coil_ohms_and_ground", 10, sources.LOADED, hides=("control_circuit",),
    ),
    Row(
        "coil_connector_open",
        (near_battery("control_loaded_v"), near_battery("coil_loaded_v"), _GOOD_ALONE),
        "control_wire", "coil_connector", 5, sources.LOADED, hides=("control_circuit",),
    ),
    Row(
        "control_wire_short_to_ground",
        (_SHORT,),
        "control_wire", "loaded_check_with_the_wire_off", 10, sources.LOADED, hides=("coil",),
    ),
    Row(
        "resistance_in_the_wire",
        (not_near_battery("control_loaded_v"), ends_differ, either(BY_OHMS, above("control_loaded_v", "wire_good_high_v"))),
        "control_wire", "drop_along_the_wire", 15, sources.LOADED, hides=("control_circuit", "control_wire"),
    ),
    Row(
        "control_side_resistive_by_ohms",
        (
            BY_OHMS, above("control_ohm", "two_windings_ohm"), isnt(coil_sound("control_ohm")),
            not_near_battery("control_loaded_v"), not_measured("coil_loaded_v", "coil_alone_v"),
        ),
        "control_circuit", "coil_loaded_v", 10, sources.OHMS,
    ),
    Row(
        "control_side_resistive_not_split",
        (
            BY_VOLTS, above("control_loaded_v", "wire_good_high_v"), not_near_battery("control_loaded_v"),
            not_measured("coil_loaded_v", "coil_alone_v"),
        ),
        "control_circuit", "coil_loaded_v", 10, sources.LOADED,
    ),
    Row(
        "coil_resistive_by_ohms",
        (
            BY_OHMS, above("winding_ohm", "two_windings_ohm"), isnt(coil_sound("winding_ohm")),
            measured("coil_loaded_v"), not_near_battery("coil_loaded_v"), isnt(ends_differ),
        ),
        "coil", "coil_alone_v", 10, sources.OHMS, hides=("coil", "control_circuit"),
    ),
    Row(
        "resistance_in_the_coil",
        (BY_VOLTS, above("control_loaded_v", "wire_good_high_v"), not_near_battery("control_loaded_v"), ends_equal),
        "coil", "coil_alone_v", 10, sources.LOADED,
    ),
    Row(
        "coil_good_alone",
        (
            either(
                both(BY_VOLTS, above("control_loaded_v", "wire_good_high_v")),
                both(BY_OHMS, above("control_ohm", "two_windings_ohm"), isnt(coil_sound("control_ohm"))),
            ),
            _GOOD_ALONE,
            isnt(measured("coil_loaded_v")),
        ),
        "control_wire", "drop_along_the_wire", 15, sources.LOADED,
    ),
    Row(
        "coil_open_measured_alone",
        (near_battery("coil_alone_v"),),
        "coil", "coil_ohms_and_ground", 10, sources.LOADED, hides=("coil", "control_circuit"),
    ),
    Row(
        "coil_resistive",
        (
            either(
                both(BY_VOLTS, above("coil_alone_v", "coil_good_high_v")),
                both(BY_OHMS, above("alone_ohm", "two_windings_ohm"), isnt(coil_sound("alone_ohm"))),
            ),
            isnt(near_battery("coil_alone_v")),
        ),
        "coil", "coil_ohms_and_ground", 10, sources.LOADED,
    ),
    Row(
        "no_volts_at_the_solenoid",
        (near_battery("drop_control_v"), isnt(above("coil_a", BOUNDARIES.dead_coil_a))),
        "control_circuit", "feed_then_jumper", 5,
        hides=("control_circuit", "coil", "starter_motor", "starter_or_drag", "battery"),
    ),
    Row(
        "coil_starved",
        (CONTROL_HIGH, below("solenoid_v", "must_pull_in_v"), isnt(is_word("outcome", "started", "slow", "cranks_only"))),
        "control_circuit", "wire_loaded_at_both_ends", 10, sources.PULL_IN,
        hides=("control_circuit", "coil", "starter_motor", "starter_or_drag"),
    ),
    Row(
        "hold_in_winding_open",
        (below("coil_a", BOUNDARIES.dead_coil_a), at_least("pull_in_a", "least_coil_a")),
        "coil", "coil_alone_v", 10, sources.OHMS, hides=("coil", "control_circuit"),
    ),
    Row(
        "coil_takes_no_amps",
        (CONTROL_GOOD, below("coil_a", BOUNDARIES.dead_coil_a), isnt(is_word("outcome", "started", "slow", "cranks_only"))),
        "coil", "coil_ohms_and_ground", 10, hides=("control_circuit", "starter_motor"),
    ),
    Row(
        "coil_gets_its_volts_no_click",
        (
            CONTROL_GOOD, is_word("outcome", "no_click"), at_least("rest_v", "rest_act_v"), not_measured("coil_a", "pull_in_a"),
            isnt(is_word("jumper_start", "cranks")),
        ),
        "coil", "coil_a", 5, hides=("control_circuit", "starter_motor"),
    ),
    Row(
        "coil_takes_no_amps_its_volts_not_measured",
        (
            below("coil_a", BOUNDARIES.dead_coil_a), not_measured("drop_control_v"),
            isnt(is_word("outcome", "started", "slow", "cranks_only")),
        ),
        "control_circuit", "drop_control_v", 5, hides=("control_circuit", "starter_motor"),
    ),
    Row(
        "coil_takes_amps_no_click",
        (is_word("outcome", "no_click"), at_least("coil_a", "least_coil_a"), isnt(CONTROL_HIGH)),
        "coil", "pull_in_a", 10,
    ),
    Row(
        "pull_in_winding_open",
        (at_least("pull_in_full_a", "least_coil_a"), at_most("pull_in_full_a", "highest_coil_a"), isnt(CONTROL_HIGH)),
        "coil", "coil_alone_v", 10, sources.OHMS, hides=("coil",),
    ),
    Row(
        "pull_in_amps_high",
        (above("pull_in_full_a", "highest_pull_in_a", widened="clamp_doubt"),),
        "coil", "coil_alone_v", 10, sources.OHMS,
    ),
    Row(
        "pull_in_amps_low",
        (below("pull_in_full_a", "least_both_a", widened="clamp_doubt"), isnt(CONTROL_HIGH)),
        "coil", "control_drop_then_coil_alone", 10, sources.OHMS,
    ),
    Row(
        "coil_amps_high",
        (above("coil_a", "highest_coil_a"), isnt(BOTH_WINDINGS)),
        "coil", "coil_alone_v", 10, sources.OHMS, hides=("coil", "control_circuit"),
    ),
    Row(
        "coil_amps_low",
        (below("coil_a", "least_coil_a"), at_least("coil_a", BOUNDARIES.dead_coil_a)),
        "control_circuit", "drop_control_v", 5,
    ),
)  # fmt: skip
