"""Rows that stand only where nothing else is pointed at, and rows that say what is good."""

from typing import Final

from analysis.bay import sources
from analysis.bay.boundaries import (
    BATTERY_AT_FAULT,
    BOTH_WINDINGS,
    BY_OHMS,
    BY_VOLTS,
    CONTROL_HIGH,
    CRANKS,
    FAILED,
    HARDLY_FLOWS,
    HIGH,
    LOW,
    ONE_WINDING_UNHEARD,
    SLOW,
    TURNS_OR_UNKNOWN,
)
from analysis.bay.choices import BOUNDARIES
from analysis.bay.conditions import (
    Row,
    above,
    at_least,
    at_most,
    below,
    both,
    coil_sound,
    drop_high,
    drops_good,
    either,
    ends_differ,
    is_word,
    isnt,
    measured,
    not_measured,
)

_CONTROL_SIDE_GOOD: Final = either(
    both(BY_VOLTS, above("control_loaded_v", "wire_good_low_v"), at_most("control_loaded_v", "wire_good_high_v")),
    both(BY_OHMS, coil_sound("control_ohm"), isnt(ends_differ), isnt(ONE_WINDING_UNHEARD)),
)

_NOTHING_LOST: Final = both(drops_good, isnt(at_least("amps_times", BOUNDARIES.hardly)))
_SEEN_SLOW: Final = both(is_word("outcome", "slow"), isnt(at_least("speed_times", BOUNDARIES.not_slow)))
_VOLTS_LOW: Final = both(not_measured("crank_a"), above("low_under_usual_v", "clear_fall_v"))
_VOLTS_AS_USUAL: Final = both(
    not_measured("crank_a"),
    at_most("low_under_usual_v", "clear_fall_v"),
    below("cold_amps_times", BOUNDARIES.cold_explains),
)
_COLD_IS_ENOUGH: Final = both(
    isnt(SLOW), measured("battery_times"), at_least("cold_amps_times", BOUNDARIES.cold_explains),
    isnt(HIGH), isnt(LOW), isnt(BATTERY_AT_FAULT),
)  # fmt: skip


def _at_times(name: str, outcome: str, segment: str, following: str, minutes: int) -> Row:
    """It starts now, and did not turn at an earlier try of the same visit."""
    return Row(
        name, (is_word("failed_before", outcome), is_word("outcome", "started")), segment, following, minutes, alone=True,
    )  # fmt: skip


ALONE: Final = (
    _at_times("starts_now_nothing_was_heard", "no_click", "control_circuit", "terminal_v_as_it_fails", 10),
    _at_times("starts_now_it_only_clicked", "click", "solenoid_contacts", "contacts_drop_as_it_fails", 10),
    _at_times("starts_now_the_starter_only_spun", "spins", "starter_drive", "pinion_by_eye", 45),
    Row(
        "cranks_only_start_not_measured",
        (is_word("outcome", "cranks_only"), not_measured("cranked_well")),
        "not_starting_system", "crank_rpm", 5, alone=True,
    ),
    Row(
        "jumper_does_not_crank_nothing_heard",
        (
            is_word("jumper_start", "no_crank"), is_word("outcome", "no_click"), at_least("rest_v", "rest_act_v"),
            at_least("feed_share", "wire_open_share"), isnt(CONTROL_HIGH),
        ),
        "control_wire", "wire_loaded_at_both_ends", 10, hides=("control_wire", "starter_motor"), alone=True,
    ),
    Row(
        "jumper_does_not_crank_nothing_heard_feed_unknown",
        (
            is_word("jumper_start", "no_crank"), is_word("outcome", "no_click"), at_least("rest_v", "rest_act_v"),
            not_measured("feed_v"), isnt(CONTROL_HIGH),
        ),
        "control_circuit", "feed_then_wire_loaded", 10, hides=("control_wire", "starter_motor"), alone=True,
    ),
    Row(
        "one_winding_alone_nothing_heard",
        (ONE_WINDING_UNHEARD,),
        "coil", "pull_in_a", 10, sources.OHMS, alone=True,
    ),
    Row(
        "jumper_does_not_crank",
        (is_word("jumper_start", "no_crank"), isnt(CONTROL_HIGH), isnt(_NOTHING_LOST), isnt(_CONTROL_SIDE_GOOD)),
        "starter_motor", "drops_with_the_jumper_on", 15, alone=True,
    ),
    Row(
        "jumper_does_not_crank_control_side_good",
        (is_word("jumper_start", "no_crank"), isnt(CONTROL_HIGH), isnt(_NOTHING_LOST), _CONTROL_SIDE_GOOD),
        "starter_motor", "drops_with_the_jumper_on", 15, alone=True,
    ),
    Row(
        "jumper_does_not_crank_nothing_lost",
        (is_word("jumper_start", "no_crank"), isnt(CONTROL_HIGH), _NOTHING_LOST),
        "control_wire", "wire_loaded_at_both_ends", 10, alone=True,
    ),
    Row(
        "chatter_volts_hold",
        (is_word("outcome", "chatter"), at_least("lowest_v", "load_test_v"), isnt(CONTROL_HIGH), isnt(drop_high)),
        "coil", "coil_alone_v", 10, alone=True,
    ),
    Row(
        "chatter",
        (is_word("outcome", "chatter"),),
        "battery", "rest_then_crank_v", 5, alone=True,
    ),
    Row(
        "no_click_battery_good",
        (is_word("outcome", "no_click"), at_least("rest_v", "rest_act_v"), not_measured("feed_v")),
        "control_circuit", "feed_then_jumper", 5, alone=True,
    ),
    Row(
        "no_click_battery_and_feed_good",
        (is_word("outcome", "no_click"), at_least("rest_v", "rest_act_v"), measured("feed_v")),
        "control_circuit", "jumper_start", 5, alone=True,
    ),
    Row(
        "click_contacts_lose_nothing",
        (
            is_word("outcome", "click"), at_least("rest_v", "rest_act_v"), at_most("contacts_read_v", "solenoid_contacts_drop_v"),
            isnt(drop_high), isnt(drops_good),
        ),
        "starter_motor", "other_drops_then_motor_terminal", 10, sources.NO_LOAD, alone=True,
    ),
    Row(
        "click_battery_good",
        (is_word("outcome", "click"), at_least("rest_v", "rest_act_v"), isnt(drops_good)),
        "solenoid_contacts", "three_drops", 10, alone=True,
    ),
    Row(
        "low_amps_drops_unknown",
        (
            LOW, above("amps_times", BOUNDARIES.hardly), isnt(measured("drop_positive_v", "drop_ground_v", "drop_contacts_v")),
            isnt(at_least("speed_times", "slow_share")),
        ),
        "starter_motor", "three_drops", 10, sources.AMPS, alone=True,
    ),
    Row(
        "slow_all_but_the_starter_good",
        (
            is_word("outcome", "slow"), drops_good, measured("battery_times", "amps_times"), isnt(BATTERY_AT_FAULT),
            at_most("amps_times", BOUNDARIES.as_many_amps), not_measured("speed_times"), isnt(at_least("peak_times", BOUNDARIES.usual_peak)),
            below("cold_amps_times", BOUNDARIES.cold_explains),
        ),
        "starter_motor", "speed_and_peak", 10, sources.AMPS, alone=True,
    ),
    Row(
        "slow_speed_below_least_all_else_good",
        (
            is_word("outcome", "slow", "no_start"), below("crank_rpm", "least_cranking_rpm"), TURNS_OR_UNKNOWN, drops_good,
            measured("battery_times"), isnt(BATTERY_AT_FAULT), either(not_measured("speed_times"), SLOW),
        ),
        "starter_or_drag", "oil_then_engine_by_hand", 20, hides=("starter_or_drag",), alone=True,
    ),
    Row(
        "slow_speed_below_least",
        (
            is_word("outcome", "slow", "no_start"), below("crank_rpm", "least_cranking_rpm"), TURNS_OR_UNKNOWN,
            either(not_measured("speed_times"), SLOW),
        ),
        "none", "crank_v_and_amps_then_drops", 10, alone=True,
    ),
)  # fmt: skip

NONE: Final = (
    Row(
        "control_side_good_it_cranks",
        (_CONTROL_SIDE_GOOD, CRANKS),
        "none", "", 0, sources.LOADED,
    ),
    Row(
        "control_side_good",
        (_CONTROL_SIDE_GOOD, isnt(CRANKS)),
        "none", "jumper_start", 5, sources.LOADED,
    ),
    Row(
        "both_windings_caught",
        (BOTH_WINDINGS,),
        "none", "coil_a", 5, sources.OHMS,
    ),
    Row(
        "no_current_nothing_else_measured",
        (
            FAILED, HARDLY_FLOWS, not_measured("control_loaded_v", "jumper_start"), isnt(CONTROL_HIGH),
            isnt(measured("drop_positive_v", "drop_ground_v", "drop_contacts_v")),
        ),
        "none", "control_drop_then_three", 10, alone=True,
    ),
    Row(
        "did_not_turn_nothing_measured",
        (FAILED, not_measured("rest_v", "crank_min_v", "crank_a", "control_loaded_v", "feed_v", "jumper_start")),
        "none", "rest_then_crank_v_and_amps", 5, alone=True,
    ),
    Row(
        "did_not_start_rest_volts_only",
        (
            is_word("outcome", "no_start"), measured("rest_v"),
            not_measured("crank_min_v", "crank_a", "control_loaded_v", "feed_v", "jumper_start"),
            isnt(measured("drop_positive_v", "drop_ground_v", "drop_contacts_v", "drop_control_v")),
        ),
        "none", "crank_v_and_amps", 5, alone=True,
    ),
    Row(
        "did_not_start_volts_as_usual",
        (
            is_word("outcome", "no_start"), at_most("low_under_usual_v", "clear_fall_v"), isnt(HARDLY_FLOWS),
            not_measured("crank_a", "crank_rpm", "control_loaded_v", "feed_v", "jumper_start"),
            isnt(measured("drop_positive_v", "drop_ground_v", "drop_contacts_v")),
        ),
        "none", "three_drops", 10, alone=True,
    ),
    Row(
        "slow_volts_low_amps_not_measured",
        (is_word("outcome", "slow"), _VOLTS_LOW),
        "none", "crank_a", 5, alone=True,
    ),
    Row(
        "slow_in_the_cold_amps_and_volts_as_usual",
        (_SEEN_SLOW, _COLD_IS_ENOUGH),
        "none", "crank_rpm", 5, alone=True,
    ),
    Row(
        "slow_volts_as_usual",
        (_SEEN_SLOW, _VOLTS_AS_USUAL, isnt(measured("drop_positive_v", "drop_ground_v", "drop_contacts_v"))),
        "none", "three_drops", 10, alone=True,
    ),
    Row(
        "slow_drops_not_measured",
        (
            _SEEN_SLOW, isnt(_VOLTS_LOW), isnt(_VOLTS_AS_USUAL), isnt(_COLD_IS_ENOUGH), isnt(not_measured("crank_min_v", "crank_a", "crank_rpm")),
            isnt(measured("drop_positive_v", "drop_ground_v", "drop_contacts_v")),
        ),
        "none", "three_drops", 10, alone=True,
    ),
    Row(
        "slow_drops_good_speed_or_inrush_not_measured",
        (_SEEN_SLOW, drops_good, isnt(_COLD_IS_ENOUGH), isnt(measured("crank_rpm", "peak_a", "crank_a"))),
        "none", "amps_speed_and_peak", 10, alone=True,
    ),
    Row(
        "slow_nothing_measured",
        (is_word("outcome", "slow"), not_measured("crank_rpm", "crank_min_v", "crank_a")),
        "none", "crank_v_and_amps", 5, alone=True,
    ),
    Row(
        "slow_nothing_amiss",
        (is_word("outcome", "slow"),),
        "none", "three_drops", 10, alone=True,
    ),
)  # fmt: skip
