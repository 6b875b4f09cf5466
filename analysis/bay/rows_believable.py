"""Rows about measurements that cannot be believed, and about an engine that is turned as ever, or not at all."""

from typing import Final

from analysis.bay import sources
from analysis.bay.boundaries import (
    AMPS_ROWS,
    BATTERY_AT_FAULT,
    CABLES,
    CLAMP_BORNE_OUT,
    FAILED,
    HIGH,
    LOW,
    ONE_OF_A_PAIR,
    SLOW,
    STANDS,
    TURNS_EASILY,
    TURNS_OR_UNKNOWN,
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
    drop_high,
    either,
    is_word,
    isnt,
    measured,
    near_battery,
    not_measured,
)

_MORE_VOLTS: Final = above("volts_denied", BOUNDARIES.more_than_volts, widened="speed_doubt")
"""Speed and inrush are more than those of the volts read."""

_TOO_SLOW_ON_A_BAD_BATTERY: Final = both(below("crank_rpm", "least_cranking_rpm"), BATTERY_AT_FAULT)
"""No engine fires at such a speed, however usual it is in this cold, and what is known to be wrong comes first."""

_ON_ONE_BATTERY: Final = both(
    ONE_OF_A_PAIR,
    at_least("low_times", BOUNDARIES.one_battery_least),
    at_most("low_times", BOUNDARIES.one_battery_cranked),
)

_TURNED: Final = is_word("outcome", "started", "slow", "cranks_only")

_DIP: Final = both(
    above("battery_times", "worn_low_battery_times"),
    at_least("dip_share", BOUNDARIES.dip_least),
    at_most("dip_share", BOUNDARIES.dip_most),
    isnt(HIGH),
    isnt(WORN_WITH_LOW_REST),
    either(_MORE_VOLTS, above("own_curve_least", BOUNDARIES.faster_than_own)),
)
"""The volts read are those of the inrush."""

MEASUREMENT: Final = (
    Row(
        "only_one_battery_of_a_pair_measured",
        (is_word("doubted", "rest_v"),),
        "measurement", "rest_and_crank_v_across_both", 5, sources.PAIR_RESTS, doubts="doubted",
    ),
    Row(
        "slipped_decimal_point",
        (measured("doubted"), isnt(is_word("doubted", "rest_v"))),
        "measurement", "the_doubted_again", 5, sources.OWN_EARLIER, doubts="doubted",
    ),
    Row(
        "drop_that_the_turning_engine_denies",
        (_TURNED, near_battery("largest_drop_v")),
        "measurement", "largest_drop_again", 5, sources.OHM, hides=CABLES, doubts="largest_drop",
    ),
    Row(
        "control_drop_that_the_held_solenoid_denies",
        (_TURNED, below("held_v", "let_go_v"), near_battery("drop_control_v")),
        "measurement", "control_drop_again", 5, sources.OHM, hides=("control_circuit",), doubts="drop_control_v",
    ),
    Row(
        "drop_that_speed_and_inrush_deny",
        (
            drop_high, isnt(FAILED), isnt(is_word("outcome", "slow")),
            above("curve_least", BOUNDARIES.faster_than_drop, widened="speed_doubt"), above("largest_drop_v", "felt_drop_v"), isnt(HIGH), isnt(LOW),
            either(at_least("peak_times", BOUNDARIES.usual_peak), both(not_measured("peak_times"), at_least("speed_times", BOUNDARIES.not_slow))),
        ),
        "measurement", "largest_drop_again", 5, sources.OHM, hides=CABLES, doubts="largest_drop",
    ),
    Row(
        "drops_that_amps_deny",
        (below("dropped_share", BOUNDARIES.hardly_dropped), at_least("amps_times", BOUNDARIES.free_share)),
        "measurement", "drops_again", 10, sources.OHM, doubts="largest_drop",
    ),
    Row(
        "clamp_round_one_of_two_cables",
        (at_least("told_times", BOUNDARIES.two_cables_least), at_most("told_times", BOUNDARIES.two_cables_most)),
        "measurement", "amps_round_every_cable", 5, hides=AMPS_ROWS, doubts="crank_a",
    ),
    Row(
        "clamp_off",
        (
            measured("told_times"),
            either(above("told_times", BOUNDARIES.two_cables_most), below("told_times", 1.0 / BOUNDARIES.two_cables_least)),
        ),
        "measurement", "amps_from_zero", 5, hides=AMPS_ROWS, doubts="crank_a",
    ),
    Row(
        "usual_speed_at_few_amps",
        (LOW, at_least("speed_times", "slow_share"), not_measured("told_times"), isnt(CLAMP_BORNE_OUT), isnt(TURNS_EASILY)),
        "measurement", "amps_from_zero", 5, hides=AMPS_ROWS, doubts="crank_a",
    ),
    Row(
        "engine_still_warm",
        (
            is_word("outcome", "started"), CLAMP_BORNE_OUT, isnt(BATTERY_AT_FAULT),
            either(
                both(LOW, at_least("speed_times", BOUNDARIES.not_slow)),
                both(
                    below("amps_times", BOUNDARIES.free_share, widened="load_doubt"),
                    above("speed_times", BOUNDARIES.turns_easily, widened="speed_doubt"),
                ),
            ),
        ),
        "measurement", "cold_engine_again", 5, sources.OHM,
    ),
    Row(
        "an_engine_that_turned_at_no_speed",
        (STANDS, is_word("outcome", "started", "slow", "cranks_only")),
        "measurement", "speed_again", 5,
        hides=("starter_drive", "starter_motor", "starter_or_drag", "engine_drag"), doubts="crank_rpm",
    ),
    Row(
        "an_engine_that_did_not_turn_at_a_speed",
        (is_word("outcome", "no_click", "click", "spins"), isnt(STANDS), measured("crank_rpm")),
        "measurement", "terminal_and_battery_v_as_it_fails", 10,
        hides=("coil", "starter_motor", "starter_or_drag", "engine_drag"),
    ),
    Row(
        "coil_amps_of_nothing",
        (below("coil_a", BOUNDARIES.dead_coil_a), is_word("outcome", "started", "slow", "cranks_only")),
        "measurement", "coil_amps_from_zero", 5, hides=("coil",), doubts="coil_a",
    ),
    Row(
        "half_the_speed_of_these_volts",
        (
            is_word("outcome", "started"), TURNS_OR_UNKNOWN, below("curve_most", BOUNDARIES.half_the_speed, widened="speed_doubt"),
            at_least("peak_times", BOUNDARIES.usual_peak), isnt(HIGH), isnt(LOW), isnt(BATTERY_AT_FAULT), isnt(drop_high),
        ),
        "measurement", "speed_again", 5, sources.OHM, hides=("starter_motor",), doubts="crank_rpm",
    ),
    Row(
        "twice_the_speed_of_these_volts",
        (
            is_word("outcome", "started", "slow"), above("curve_least", BOUNDARIES.twice_the_speed, widened="speed_doubt"),
            isnt(STANDS), isnt(HIGH), isnt(LOW), isnt(BATTERY_AT_FAULT), isnt(drop_high),
        ),
        "measurement", "speed_again", 5, sources.OHM, hides=("starter_motor",), doubts="crank_rpm",
    ),
    Row(
        "charging_volts_of_one_battery_of_a_pair",
        (ONE_OF_A_PAIR, at_most("charging_share", BOUNDARIES.one_battery_charged)),
        "measurement", "charging_v_across_both", 5, sources.PAIR_CHARGES, hides=("charging",), doubts="charging_v",
    ),
    Row(
        "volts_while_cranking_of_one_battery_of_a_pair",
        (
            _ON_ONE_BATTERY, is_word("outcome", "started"), at_least("rest_v", "rest_act_v"),
            at_least("amps_times", BOUNDARIES.free_share), isnt(HIGH),
        ),
        "measurement", "crank_v_across_all", 5, sources.OHM, hides=("battery",), doubts="crank_min_v",
    ),
    Row(
        "dip_taken_for_steady_volts",
        (_DIP,),
        "measurement", "crank_v_without_min", 5, hides=("battery",), doubts="crank_min_v",
    ),
    Row(
        "volts_that_the_inrush_denies",
        (is_word("outcome", "started"), below("dip_told_v", "least_dip_v"), isnt(_DIP), isnt(_MORE_VOLTS)),
        "measurement", "crank_v_without_min", 5, sources.DIPS, hides=("battery",), doubts="crank_min_v",
    ),
    Row(
        "volts_that_did_not_fall",
        (_TURNED, at_most("battery_times", BOUNDARIES.hardly_falls), isnt(below("rest_v", "rest_watch_v"))),
        "measurement", "crank_v_without_min", 5, sources.OHM, hides=("battery",), doubts="crank_min_v",
    ),
    Row(
        "volts_that_speed_and_inrush_deny",
        (
            above("battery_times", "worn_battery_times"), isnt(FAILED), isnt(HIGH), isnt(LOW), isnt(WORN_WITH_LOW_REST), _MORE_VOLTS,
            isnt(both(_ON_ONE_BATTERY, is_word("outcome", "started"))), isnt(_DIP),
        ),
        "measurement", "crank_v_across_all", 5, sources.OHM, hides=("battery",), doubts="crank_min_v",
    ),
    Row(
        "temperature_in_other_degrees",
        (measured("temperature_c", "told_c"),),
        "measurement", "temperature_again", 1, sources.OWN_EARLIER, hides=AMPS_ROWS, doubts="temperature_c",
    ),
    Row(
        "temperature_not_noted_and_the_cold_explains_it",
        (not_measured("temperature_c"), measured("told_c")),
        "measurement", "temperature", 1, sources.OWN_EARLIER, hides=(*AMPS_ROWS, "none"), doubts="temperature_c",
    ),
    Row(
        "rest_volts_while_charging",
        (above("rest_v", "least_charging_v"),),
        "measurement", "rest_v_after_hours", 5, doubts="rest_v",
    ),
    Row(
        "rest_volts_taken_under_a_load",
        (below("rest_v", "rest_watch_v"), above("rest_told_more_v", "load_test_margin_v")),
        "measurement", "rest_v_minutes_later", 5, hides=("battery",), doubts="rest_v",
    ),
)  # fmt: skip

_NOTHING_AMISS: Final = (
    at_least("curve_least", BOUNDARIES.off_the_curve), isnt(HIGH), isnt(LOW), isnt(BATTERY_AT_FAULT), isnt(drop_high),
)  # fmt: skip
"""Speed goes with volts and amps, and these are as usual."""

TURNS: Final = (
    Row(
        "turns_too_easily_and_does_not_start",
        (
            TURNS_EASILY,
        ),
        "not_starting_system", "camshaft_and_compression", 20, sources.FROM_MEMORY, hides=("not_starting_system",),
    ),
    Row(
        "too_cold_to_fire",
        (
            is_word("outcome", "no_start", "cranks_only"), below("crank_rpm", "least_cranking_rpm"), TURNS_OR_UNKNOWN,
            at_least("cold_amps_times", BOUNDARIES.cold_explains), measured("speed_times"), isnt(SLOW), *_NOTHING_AMISS,
        ),
        "not_starting_system", "oil_then_warmed", 20, sources.COLD_OIL, hides=("not_starting_system",),
    ),
    Row(
        "cranks_well_and_does_not_start",
        (is_word("outcome", "no_start", "cranks_only"), at_least("cranked_well", 1.0), isnt(_TOO_SLOW_ON_A_BAD_BATTERY)),
        "not_starting_system", "fuel_spark_or_glow", 20,
    ),
    Row(
        "cranks_as_well_as_this_cold_lets_it_and_does_not_start",
        (
            is_word("outcome", "no_start", "cranks_only"), below("cranked_well", 1.0), isnt(SLOW), TURNS_OR_UNKNOWN,
            *_NOTHING_AMISS,
        ),
        "not_starting_system", "fuel_spark_or_glow", 20,
    ),
    Row(
        "starter_spins_free",
        (
            either(
                is_word("outcome", "spins"),
                both(
                    STANDS, above("amps_times", BOUNDARIES.hardly), below("amps_times", BOUNDARIES.free_share), isnt(drop_high),
                    isnt(BATTERY_AT_FAULT), isnt(is_word("outcome", "no_click", "click", "chatter")),
                ),
            ),
        ),
        "starter_drive", "pinion_by_eye", 45, sources.FREE_RUNNING,
        hides=("starter_motor", "starter_or_drag", "engine_drag", "not_starting_system"),
    ),
    Row(
        "locked",
        (
            either(
                both(STANDS, either(at_least("stall_share", BOUNDARIES.stall_share), above("amps_times", "high_amps_share"))),
                both(
                    not_measured("crank_rpm"), FAILED, at_least("stall_share", BOUNDARIES.stall_share),
                    above("amps_times", "high_amps_share"),
                ),
                both(not_measured("crank_rpm"), is_word("outcome", "click"), HIGH),
            ),
        ),
        "starter_or_drag", "engine_by_hand", 20, sources.NO_LOAD,
        hides=("starter_or_drag", "starter_motor", "engine_drag", *CABLES),
    ),
)  # fmt: skip
