"""Rows about the power side: battery, load, starter, cables, contacts; and charging."""

from typing import Final

from analysis.bay import sources
from analysis.bay.boundaries import (
    BATTERY_AT_FAULT,
    CONTROL_HIGH,
    FAILED,
    HARDLY_FLOWS,
    HIGH,
    LOW,
    LOW_CHARGE,
    ONE_OF_A_PAIR,
    SLOW,
    TURNS_OR_UNKNOWN,
    UNDER_ITS_LAST_ROW,
    UNDER_THE_TABLE,
    WORN,
    WORN_WITH_LOW_REST,
)
from analysis.bay.choices import BOUNDARIES
from analysis.bay.conditions import (
    Row,
    above,
    at_least,
    at_most,
    below,
    both,
    drops_good,
    either,
    is_word,
    isnt,
    measured,
    near_battery,
    not_measured,
)

_FASTER_AT_MORE_AMPS: Final = both(
    TURNS_OR_UNKNOWN,
    above("amps_times", BOUNDARIES.raised_amps, widened="load_doubt"),
    above("curve_least", BOUNDARIES.faster_than_volts, widened="speed_doubt"),
)
"""Drag that raised the amps would have slowed the engine: turning faster than these volts make it, the field is weak."""

_INRUSH_RAISED: Final = above("peak_times", "raised_peak_share")

BATTERY: Final = (
    Row(
        "one_battery_of_a_pair_discharged",
        (ONE_OF_A_PAIR, below("rest_v", "rest_act_v")),
        "battery",
        "each_alone_then_charge",
        15,
        sources.REST_TABLE_PAIR,
        hides=("battery",),
    ),
    Row(
        "one_cell_dead",
        (
            isnt(ONE_OF_A_PAIR),
            at_least("rest_v", BOUNDARIES.five_cells_least_v),
            at_most("rest_v", BOUNDARIES.five_cells_most_v),
        ),
        "battery",
        "charge_for_a_dead_cell",
        15,
        sources.FIVE_SIXTHS,
        hides=("battery",),
    ),
    Row(
        "battery_deeply_discharged",
        (isnt(ONE_OF_A_PAIR), below("rest_v", BOUNDARIES.five_cells_least_v)),
        "battery",
        "charge_slowly",
        15,
        sources.BELOW_FIVE_SIXTHS,
        hides=("battery",),
    ),
    Row(
        "battery_discharged_though_charged",
        (
            isnt(ONE_OF_A_PAIR),
            below("rest_v", "rest_act_v"),
            at_least("charging_v", "least_charging_v"),
            at_most("charging_v", "charging_most_v"),
        ),
        "battery",
        "charge_then_drain",
        15,
        sources.REST_TABLE_PAIR,
        hides=("battery",),
    ),
    Row(
        "battery_discharged",
        (isnt(ONE_OF_A_PAIR), below("rest_v", "rest_act_v")),
        "battery",
        "charge_first",
        15,
        sources.REST_TABLE,
        hides=("battery",),
    ),
    Row(
        "chatter_lets_go_at_the_dip",
        (is_word("outcome", "chatter"), below("held_v", "let_go_v"), isnt(CONTROL_HIGH)),
        "battery",
        "rest_then_crank_v",
        5,
        hides=("battery", "starter_motor"),
    ),
    Row(
        "volts_collapse",
        (
            either(below("low_share", BOUNDARIES.collapsed), both(FAILED, below("lowest_share", BOUNDARIES.collapsed))),
            isnt(HIGH),
            isnt(at_most("battery_times", "worn_low_battery_times")),
        ),
        "battery",
        "posts_then_load_test",
        10,
        hides=("battery", "starter_motor"),
    ),
)

_SWITCHED_ON: Final = either(measured("crank_a"), is_word("outcome", "click"))
"""What is read over contacts that were never told to close is nothing, too."""
_USUAL_UNKNOWN: Final = both(
    measured("crank_rpm", "peak_a"), either(not_measured("speed_times"), not_measured("peak_times"))
)
_STARTER_TAKES_FEW: Final = both(LOW, drops_good, isnt(BATTERY_AT_FAULT), isnt(at_least("speed_times", "slow_share")))

LOAD: Final = (
    Row(
        "high_amps_slow_inrush_raised",
        (HIGH, SLOW, _INRUSH_RAISED, above("peak_times", BOUNDARIES.plainly_raised)),
        "starter_motor", "starter_on_the_bench", 45, sources.NO_LOAD, hides=("starter_or_drag",),
    ),
    Row(
        "high_amps_slow_inrush_hardly_raised",
        (HIGH, SLOW, _INRUSH_RAISED, at_most("peak_times", BOUNDARIES.plainly_raised)),
        "starter_or_drag", "engine_by_hand_then_peak", 20, sources.NO_LOAD,
    ),
    Row(
        "high_amps_slow",
        (HIGH, SLOW, at_most("peak_times", "raised_peak_share")),
        "engine_drag", "engine_by_hand", 20, sources.NO_LOAD, hides=("starter_or_drag",),
    ),
    Row(
        "high_amps_not_slow",
        (either(HIGH, _FASTER_AT_MORE_AMPS), at_least("speed_times", BOUNDARIES.not_slow)),
        "starter_motor", "starter_on_the_bench", 45, sources.NO_LOAD,
    ),
    Row(
        "high_amps_somewhat_slow",
        (HIGH, below("speed_times", BOUNDARIES.not_slow), isnt(SLOW), measured("peak_times")),
        "starter_or_drag", "engine_by_hand", 20, sources.NO_LOAD,
    ),
    Row(
        "high_amps_inrush_or_speed_unknown",
        (
            HIGH,
            either(not_measured("speed_times"), both(below("speed_times", BOUNDARIES.not_slow), not_measured("peak_times"))),
            isnt(_USUAL_UNKNOWN),
        ),
        "starter_or_drag", "speed_and_peak", 10, sources.AMPS,
    ),
    Row(
        "high_amps_nobody_knows_what_is_usual",
        (HIGH, _USUAL_UNKNOWN),
        "starter_or_drag", "engine_by_hand", 20, sources.AMPS,
    ),
    Row(
        "starter_open",
        (FAILED, HARDLY_FLOWS, drops_good, at_least("low_share", BOUNDARIES.hardly_sags), _SWITCHED_ON),
        "starter_motor", "motor_terminal_v_then_bench", 45, sources.NO_LOAD,
        hides=("starter_motor", "starter_or_drag"),
    ),
    Row(
        "low_amps_drops_good_battery_holds",
        (_STARTER_TAKES_FEW, not_measured("peak_times")),
        "starter_motor", "peak_a", 5, sources.NO_LOAD,
    ),
    Row(
        "low_amps_drops_good_battery_holds_inrush_known",
        (_STARTER_TAKES_FEW, measured("peak_times")),
        "starter_motor", "starter_on_the_bench", 45, sources.NO_LOAD,
    ),
    Row(
        "slow_inrush_low",
        (
            either(SLOW, both(is_word("outcome", "slow"), below("speed_times", BOUNDARIES.not_slow))), TURNS_OR_UNKNOWN,
            below("peak_times", BOUNDARIES.low_peak, widened="battery_doubt"), drops_good, isnt(BATTERY_AT_FAULT), isnt(HIGH), isnt(LOW),
        ),
        "starter_motor", "starter_on_the_bench", 45, sources.NO_LOAD, hides=("starter_motor",),
    ),
    Row(
        "slower_than_ever_inrush_lower",
        (
            below("speed_own_times", BOUNDARIES.not_slow, widened="speed_doubt"), TURNS_OR_UNKNOWN,
            below("peak_own_times", BOUNDARIES.usual_peak), below("motor_own_times", BOUNDARIES.weaker_than_own), drops_good,
            isnt(BATTERY_AT_FAULT), isnt(HIGH), isnt(LOW),
        ),
        "starter_motor", "starter_on_the_bench", 45, sources.NO_LOAD, hides=("starter_motor",),
    ),
    Row(
        "slow_at_usual_amps",
        (
            below("speed_times", BOUNDARIES.clearly_slow, widened="speed_doubt"), isnt(HIGH), isnt(LOW), TURNS_OR_UNKNOWN,
            drops_good, isnt(BATTERY_AT_FAULT), below("curve_most", BOUNDARIES.off_the_curve),
            isnt(at_least("stall_share", BOUNDARIES.near_stall)),
        ),
        "starter_motor", "starter_on_the_bench", 45, sources.NO_LOAD,
    ),
)  # fmt: skip

_VOLTS_LOW_SPEED_TELLS: Final = (
    not_measured("crank_a"), at_least("rest_v", "rest_watch_v"), above("crank_rpm", BOUNDARIES.stands_rpm),
    above("low_under_usual_v", "clear_fall_v", widened="battery_doubt"), at_least("speeds_apart", BOUNDARIES.speeds_told_apart),
)  # fmt: skip

WEAK: Final = (
    Row(
        "battery_lost_charge",
        (LOW_CHARGE, above("rest_fell_v", "lost_charge_v"), isnt(WORN_WITH_LOW_REST)),
        "battery", "charge_then_what_drains", 15, sources.REST_TABLE_OWN, hides=("battery",),
    ),
    Row(
        "one_battery_of_a_pair",
        (ONE_OF_A_PAIR, WORN_WITH_LOW_REST),
        "battery", "each_battery_alone", 5, sources.REST_TABLE_MULTIPLE, hides=("battery",),
    ),
    Row(
        "battery_weak_with_low_rest_volts",
        (isnt(ONE_OF_A_PAIR), WORN_WITH_LOW_REST),
        "battery", "charge_first", 15, sources.REST_TABLE_MULTIPLE, hides=("battery",),
    ),
    Row(
        "battery_weak_under_load",
        (UNDER_THE_TABLE,),
        "battery", "load_test", 10, sources.LOAD_TEST, hides=("battery",),
    ),
    Row(
        "battery_weak_under_load_colder_than_the_table",
        (UNDER_ITS_LAST_ROW,),
        "battery", "load_test_warmed_up", 10, sources.LOAD_TEST, hides=("battery",),
    ),
    Row(
        "battery_resistance_high",
        (WORN,),
        "battery", "load_test", 10, sources.OHM_FALL, hides=("battery",),
    ),
    Row(
        "battery_weak_rest_volts_unknown",
        (
            not_measured("rest_v"), measured("amps_times"), isnt(HIGH), TURNS_OR_UNKNOWN,
            above("low_under_usual_v", "clear_fall_v", widened="battery_doubt"),
        ),
        "battery", "rest_v_with_all_off", 5, hides=("battery",),
    ),
    Row(
        "battery_weak_by_its_speed_amps_unknown",
        (
            *_VOLTS_LOW_SPEED_TELLS, at_least("speed_of_weak_battery", BOUNDARIES.off_the_curve),
            at_most("speed_of_weak_battery", BOUNDARIES.faster_than_volts),
        ),
        "battery", "crank_a", 5, sources.BACK_EMF, hides=("battery",), alone=True,
    ),
    Row(
        "many_amps_by_their_speed_amps_unknown",
        (*_VOLTS_LOW_SPEED_TELLS, at_most("speed_of_more_amps", BOUNDARIES.faster_than_volts)),
        "starter_or_drag", "crank_a", 5, sources.BACK_EMF, hides=("battery", "starter_or_drag"), alone=True,
    ),
    Row(
        "battery_weak_amps_unknown",
        (
            not_measured("crank_a"),
            either(
                both(below("crank_min_v", "load_test_v"), above("low_under_usual_v", "clear_fall_v")),
                both(not_measured("low_under_usual_v"), below("crank_min_v", "least_here_v")),
            ),
        ),
        "battery", "crank_a", 5, sources.LOAD_TABLE, alone=True,
    ),
)  # fmt: skip


def _risen(part: str, segment: str, following: str, minutes: int) -> Row:
    """A drop that is within its limit and far above what the vehicle's own earlier readings make it."""
    return Row(
        f"{part}_drop_risen",
        (
            above(f"{part}_own_times", BOUNDARIES.worse_than_own, widened=f"{part}_own_doubt"),
            at_least(f"{part}_size", BOUNDARIES.worth_naming), at_most(f"{part}_size", 1.0),
        ),
        segment, following, minutes, sources.OWN_MULTIPLE, size=f"{part}_size",
    )  # fmt: skip


_RISEN: Final = (
    _risen("positive", "positive_cable", "positive_joints", 10),
    _risen("ground", "ground_path", "ground_in_steps", 10),
    _risen("contacts", "solenoid_contacts", "contacts_drop_three_times", 5),
    _risen("control", "control_circuit", "control_loaded_v", 10),
)

DROPS: Final = (
    Row(
        "positive_cable_drop_high",
        (above("positive_at_usual_v", "positive_cable_drop_v"), isnt(near_battery("drop_positive_v"))),
        "positive_cable", "positive_joints", 10, size="positive_size",
    ),
    Row(
        "ground_path_drop_high",
        (above("ground_at_usual_v", "ground_path_drop_v"), isnt(near_battery("drop_ground_v"))),
        "ground_path", "ground_in_steps", 10, sources.GROUND, size="ground_size",
    ),
    Row(
        "positive_cable_open",
        (near_battery("drop_positive_v"),),
        "positive_cable", "positive_joints", 10, size="positive_size",
    ),
    Row(
        "ground_path_open",
        (near_battery("drop_ground_v"),),
        "ground_path", "ground_in_steps", 10, size="ground_size",
    ),
    Row(
        "contacts_do_not_close",
        (near_battery("drop_contacts_v"),),
        "solenoid_contacts", "terminal_v_of_a_click", 5, size="contacts_size",
    ),
    Row(
        "contact_drop_high",
        (above("contacts_at_usual_v", "solenoid_contacts_drop_v"), isnt(near_battery("drop_contacts_v"))),
        "solenoid_contacts", "contacts_drop_three_times", 5, size="contacts_size",
    ),
    Row(
        "control_drop_high",
        (CONTROL_HIGH,),
        "control_circuit", "control_loaded_v", 10, sources.BOTH_ACTIVATED, size="control_size",
    ),
    *_RISEN,
)  # fmt: skip

CHARGING: Final = (
    Row(
        "charges_little",
        (below("charging_v", "least_charging_v"), measured("rest_v"), at_least("charging_v", "charged_least_v")),
        "charging",
        "charging_v_loaded",
        5,
        sources.FROM_MEMORY,
        hides=("charging",),
    ),
    Row(
        "charges_too_little",
        (below("charging_v", "least_charging_v"),),
        "charging",
        "generator_and_belt",
        10,
    ),
    Row(
        "charges_too_much",
        (above("charging_v", "charging_most_v"),),
        "charging",
        "regulator_sense",
        10,
    ),
)
