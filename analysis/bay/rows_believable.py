"""Rows about measurements that cannot be believed, and about an engine that is turned as ever, or not at all."""

from typing import Final

from analysis.bay.boundaries import (
    AMPS_ROWS,
    BATTERY_AT_FAULT,
    CABLES,
    FAILED,
    HIGH,
    LOW,
    ONE_OF_A_PAIR,
    OWN_EARLIER,
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
    not_measured,
)

_NO_LOAD: Final = "no-load tables TM 10-3930-671-24, TM 10-4320-307-24"

OHM: Final = "Ohm's law: a resistance takes volts from the motor"

_MORE_VOLTS: Final = above("volts_denied", BOUNDARIES.more_than_volts, widened="speed_doubt")
"""Speed and inrush are more than those of the volts read."""

_TOO_SLOW_ON_A_BAD_BATTERY: Final = both(below("crank_rpm", "least_cranking_rpm"), BATTERY_AT_FAULT)
"""No engine fires at such a speed, however usual it is in this cold, and what is known to be wrong comes first."""

_ON_ONE_BATTERY: Final = both(
    ONE_OF_A_PAIR,
    at_least("low_times", BOUNDARIES.one_battery_least),
    at_most("low_times", BOUNDARIES.one_battery_cranked),
)

MEASUREMENT: Final = (
    Row(
        "only one battery of a pair measured",
        (is_word("doubted", "rest_v"),),
        "measurement",
        "{doubted_said} goes with one battery of the pair. It is not used, nor are volts while cranking below it. If it was "
        "measured twice across both batteries, say so: then it counts.",
        "rest voltage and volts while cranking, across both batteries",
        5,
        "common practice: no 12 V battery rests as high as a pair",
        doubts="doubted",
    ),
    Row(
        "slipped decimal point",
        (measured("doubted"), isnt(is_word("doubted", "rest_v"))),
        "measurement",
        "{doubted_said} does not go with this vehicle's past and its other values: most likely a slip of the decimal point "
        "or the wrong range. It is not used. If it was measured twice, say so: then it counts.",
        "{doubted_name}, once more",
        5,
        OWN_EARLIER,
        doubts="doubted",
    ),
    Row(
        "drop that speed and inrush deny",
        (
            drop_high, isnt(FAILED), isnt(is_word("outcome", "slow")),
            above("curve_least", BOUNDARIES.faster_than_drop, widened="speed_doubt"), above("largest_drop_v", "felt_drop_v"), isnt(HIGH), isnt(LOW),
            either(at_least("peak_times", BOUNDARIES.usual_peak), both(not_measured("peak_times"), at_least("speed_times", BOUNDARIES.not_slow))),
        ),
        "measurement",
        "A drop of {largest_drop_v:.2f} V would slow the engine, and it turned as ever with the usual inrush: that drop was "
        "misread. If it was measured twice, say so: then it counts.",
        "the largest drop, once more",
        5,
        OHM,
        hides=CABLES,
        doubts="largest_drop",
    ),
    Row(
        "drops that amps deny",
        (below("dropped_share", BOUNDARIES.hardly_dropped), at_least("amps_times", BOUNDARIES.free_share)),
        "measurement",
        "{crank_a:.0f} A flowed, and the drops are next to nothing, at most {largest_drop_v:.2f} V: no cable is that good. They were "
        "read while nothing turned, on a lead that touched nothing, or in the wrong range.",
        "the drops once more, in the range for DC volts, read while the engine turns",
        10,
        OHM,
        doubts="largest_drop",
    ),
    Row(
        "clamp round one of two cables",
        (at_least("told_times", BOUNDARIES.two_cables_least), at_most("told_times", BOUNDARIES.two_cables_most)),
        "measurement",
        "The clamp shows {crank_a:.0f} A, but battery and drops together tell of about {told_a:.0f} A: the clamp was round "
        "one of two cables.",
        "amps while cranking, the clamp round every cable on the battery's post",
        5,
        hides=AMPS_ROWS,
        doubts="crank_a",
    ),
    Row(
        "clamp off",
        (
            measured("told_times"),
            either(above("told_times", BOUNDARIES.two_cables_most), below("told_times", 1.0 / BOUNDARIES.two_cables_least)),
        ),
        "measurement",
        "The clamp shows {crank_a:.0f} A, but battery and drops together tell of about {told_a:.0f} A: the clamp's zero, its "
        "range or its place is wrong.",
        "amps while cranking, the clamp set to zero first",
        5,
        hides=AMPS_ROWS,
        doubts="crank_a",
    ),
    Row(
        "usual speed at few amps",
        (LOW, at_least("speed_times", "slow_share"), not_measured("told_times"), isnt(TURNS_EASILY)),
        "measurement",
        "{crank_a:.0f} A are too few for an engine that turns at {crank_rpm:.0f} rpm: the clamp's zero or its place is wrong.",
        "amps while cranking, the clamp set to zero first",
        5,
        hides=AMPS_ROWS,
        doubts="crank_a",
    ),
    Row(
        "an engine that turned at no speed",
        (STANDS, is_word("outcome", "started", "slow", "cranks_only")),
        "measurement",
        "{crank_rpm:.0f} rpm, and the engine was turned: the tachometer read nothing.",
        "cranking speed by ripple or tachometer, once more",
        5,
        hides=("starter_drive", "starter_motor", "starter_or_drag", "engine_drag"),
        doubts="crank_rpm",
    ),
    Row(
        "an engine that did not turn at a speed",
        (is_word("outcome", "no_click", "click", "spins"), isnt(STANDS), measured("crank_rpm")),
        "measurement",
        "{crank_rpm:.0f} rpm, and the start is put down as one at which the engine stood: that word is wrong, or the values are of another "
        "try. Where it fails at times only, measure while it fails.",
        "volts at the solenoid's control terminal and at the battery at a try that fails",
        10,
        hides=("coil", "starter_motor", "starter_or_drag", "engine_drag"),
    ),
    Row(
        "coil amps of nothing",
        (below("coil_a", BOUNDARIES.dead_coil_a), is_word("outcome", "started", "slow", "cranks_only")),
        "measurement",
        "{coil_a:.1f} A, and the solenoid held while the engine was cranked: the clamp was round another wire, or its zero is wrong.",
        "coil amps, the clamp set to zero first and round the solenoid's control wire alone",
        5,
        hides=("coil",),
        doubts="coil_a",
    ),
    Row(
        "half the speed of these volts",
        (
            is_word("outcome", "started"), TURNS_OR_UNKNOWN, below("curve_most", BOUNDARIES.half_the_speed, widened="speed_doubt"),
            at_least("peak_times", BOUNDARIES.usual_peak), isnt(HIGH), isnt(LOW), isnt(BATTERY_AT_FAULT), isnt(drop_high),
        ),
        "measurement",
        "{crank_rpm:.0f} rpm is about half the speed that these volts and amps give, and the inrush is as usual: it was counted for another "
        "number of cylinders, or every second pulse was missed.",
        "cranking speed by ripple or tachometer, once more",
        5,
        OHM,
        hides=("starter_motor",),
        doubts="crank_rpm",
    ),
    Row(
        "charging volts of one battery of a pair",
        (ONE_OF_A_PAIR, at_most("charging_share", BOUNDARIES.one_battery_charged)),
        "measurement",
        "{charging_v:.2f} V with the engine running goes with one battery of the pair.",
        "charging volts across both batteries, from the first positive post to the last negative one",
        5,
        "common practice: a pair that nothing charges holds more",
        hides=("charging",),
        doubts="charging_v",
    ),
    Row(
        "volts while cranking of one battery of a pair",
        (
            _ON_ONE_BATTERY, is_word("outcome", "started"), at_least("rest_v", "rest_act_v"),
            at_least("amps_times", BOUNDARIES.free_share), isnt(HIGH),
        ),
        "measurement",
        "{crank_min_v:.2f} V goes with one battery of the pair: it started, and took {crank_a:.0f} A, which an engine does not on half "
        "its volts. If it was measured twice across both batteries, say so: then it counts.",
        "volts while cranking across all batteries, from the first positive post to the last negative one",
        5,
        OHM,
        hides=("battery",),
        doubts="crank_min_v",
    ),
    Row(
        "dip taken for steady volts",
        (
            above("battery_times", "worn_low_battery_times"),
            at_least("dip_share", BOUNDARIES.dip_least),
            at_most("dip_share", BOUNDARIES.dip_most),
            isnt(HIGH),
            isnt(WORN_WITH_LOW_REST),
            either(_MORE_VOLTS, above("own_curve_least", BOUNDARIES.faster_than_own)),
        ),
        "measurement",
        "{crank_min_v:.2f} V cannot be what the engine turned at: amps and speed are those of more volts. It is the dip of "
        "the first moment, which a meter's MIN holds.",
        "volts at the battery while the engine turns steadily, without MIN",
        5,
        hides=("battery",),
        doubts="crank_min_v",
    ),
    Row(
        "volts that speed and inrush deny",
        (
            above("battery_times", "worn_battery_times"), isnt(FAILED), isnt(HIGH), isnt(LOW), isnt(WORN_WITH_LOW_REST), _MORE_VOLTS,
            isnt(both(_ON_ONE_BATTERY, is_word("outcome", "started"))),
        ),
        "measurement",
        "{crank_min_v:.2f} V cannot be what the engine turned at: amps, inrush and speed are those of more volts. On one of two "
        "batteries a meter shows half; else its range or a lead is wrong.",
        "volts while cranking across all batteries, from the first positive post to the last negative one",
        5,
        OHM,
        hides=("battery",),
        doubts="crank_min_v",
    ),
    Row(
        "temperature in other degrees",
        (measured("temperature_c", "told_c"),),
        "measurement",
        "{temperature_c:.0f} °C does not go with volts, amps and speed: they are as ever at {told_c:.0f} °C. Were the degrees "
        "read in °F, or was the minus left out?",
        "temperature of the air at the vehicle, once more, in °C",
        1,
        OWN_EARLIER,
        hides=AMPS_ROWS,
        doubts="temperature_c",
    ),
    Row(
        "temperature not noted, and the cold explains it",
        (not_measured("temperature_c"), measured("told_c")),
        "measurement",
        "The air's temperature was not noted, and at {told_c:.0f} °C all that was measured would be as ever. In air that cold nothing "
        "points to a fault; in warmer air something does.",
        "temperature of the air at the vehicle, in °C",
        1,
        OWN_EARLIER,
        hides=(*AMPS_ROWS, "none"),
        doubts="temperature_c",
    ),
    Row(
        "rest volts while charging",
        (above("rest_v", "least_charging_v"),),
        "measurement",
        "{rest_v:.2f} V is not a battery at rest: the engine ran, a charger was on, or it has only just been taken off.",
        "rest volts with everything off, after some hours, or after a minute of headlamps",
        5,
        doubts="rest_v",
    ),
    Row(
        "rest volts taken under a load",
        (below("rest_v", "rest_watch_v"), above("rest_told_more_v", "load_test_margin_v")),
        "measurement",
        "{rest_v:.2f} V is not the battery at rest: while cranking it holds up like one of {open_told_v:.1f} V. Something "
        "was drawing: glow plugs, lights, the ignition.",
        "rest volts with everything off, some minutes later",
        5,
        hides=("battery",),
        doubts="rest_v",
    ),
)  # fmt: skip

TURNS: Final = (
    Row(
        "turns too easily and does not start",
        (
            TURNS_EASILY,
        ),
        "not_starting_system",
        "The engine turns faster than ever ({crank_rpm:.0f} against {usual_rpm:.0f} rpm) at fewer amps ({crank_a:.0f} against "
        "{usual_crank_a:.0f} A): it does not compress. Timing belt or chain, or valves: crank it no further.",
        "whether the camshaft turns with the crankshaft, then compression",
        20,
        "common practice, from memory",
        hides=("not_starting_system",),
    ),
    Row(
        "cranks well and does not start",
        (is_word("outcome", "no_start", "cranks_only"), at_least("cranked_well", 1.0), isnt(_TOO_SLOW_ON_A_BAD_BATTERY)),
        "not_starting_system",
        "The engine is cranked as well as ever and does not start: look at fuel, spark or glow, and the immobiliser, by the "
        "maker's procedure.",
        "fuel pressure, spark or glow, and fault memory by the maker's procedure",
        20,
    ),
    Row(
        "cranks as well as this cold lets it, and does not start",
        (
            is_word("outcome", "no_start", "cranks_only"), below("cranked_well", 1.0), isnt(SLOW), TURNS_OR_UNKNOWN,
            at_least("curve_least", BOUNDARIES.off_the_curve), isnt(HIGH), isnt(LOW), isnt(BATTERY_AT_FAULT), isnt(drop_high),
        ),
        "not_starting_system",
        "{crank_rpm:.0f} rpm is what a sound battery and starter make of this cold: look at fuel, which may be waxed, spark or glow, "
        "and the immobiliser, by the maker's procedure.",
        "fuel pressure, spark or glow, and fault memory by the maker's procedure",
        20,
    ),
    Row(
        "starter spins free",
        (
            either(
                is_word("outcome", "spins"),
                both(
                    STANDS, above("amps_times", BOUNDARIES.hardly), below("amps_times", BOUNDARIES.free_share), isnt(drop_high),
                    isnt(BATTERY_AT_FAULT), isnt(is_word("outcome", "no_click", "click", "chatter")),
                ),
            ),
        ),
        "starter_drive",
        "The starter runs and the engine does not turn: the pinion does not engage, its clutch slips, or the ring gear is "
        "worn.",
        "pinion and ring gear by eye, the starter out",
        45,
        "common practice; PM starter data: 90 A running free",
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
        "starter_or_drag",
        "{crank_a:.0f} A flow and the engine does not turn: the engine is seized, water or fuel stands in a cylinder, or the "
        "starter is locked. Crank it no further.",
        "turn the engine by hand at the crankshaft, key off and out of gear",
        20,
        _NO_LOAD,
        hides=("starter_or_drag", "starter_motor", "engine_drag", *CABLES),
    ),
)  # fmt: skip
