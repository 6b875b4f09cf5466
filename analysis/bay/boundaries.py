"""Named boundaries and conditions that rows of the decision table share."""

from typing import Final

from analysis.bay.choices import BOUNDARIES
from analysis.bay.conditions import (
    above,
    at_least,
    at_most,
    below,
    both,
    either,
    is_word,
    isnt,
    measured,
    not_measured,
    one_winding,
)
from analysis.circuit.battery import COLDEST_PRINTED_C

CABLES: Final = ("positive_cable", "ground_path", "solenoid_contacts")

FAILED: Final = is_word("outcome", "no_start", "no_click", "click", "chatter")
STANDS: Final = at_most("crank_rpm", BOUNDARIES.stands_rpm)
CRANKS: Final = either(
    is_word("outcome", "started", "slow", "spins", "cranks_only"), above("crank_rpm", BOUNDARIES.stands_rpm),
    above("amps_times", BOUNDARIES.hardly),
)  # fmt: skip
"""The solenoid was switched on and its contacts closed, so that nobody needs a jumper to know it."""
TURNS_OR_UNKNOWN: Final = isnt(STANDS)
HIGH: Final = both(
    TURNS_OR_UNKNOWN,
    either(
        above("amps_times", "high_amps_share", widened="load_doubt", by=0.5),
        both(
            above("amps_times", BOUNDARIES.raised_amps, widened="load_doubt"),
            either(
                below("speed_times", BOUNDARIES.slowed, widened="speed_doubt"),
                both(is_word("outcome", "slow"), below("speed_times", BOUNDARIES.not_slow, widened="speed_doubt")),
                both(is_word("outcome", "slow"), not_measured("speed_times")),
            ),
        ),
        both(not_measured("usual_crank_a"), above("crank_a", "highest_here_a")),
    ),
)
CLAMP_BORNE_OUT: Final = either(
    both(at_least("drops_told_times", 1.0 / BOUNDARIES.clamp_borne_out), at_most("drops_told_times", BOUNDARIES.clamp_borne_out)),
    both(
        not_measured("drops_told_times"),
        at_least("battery_times", 1.0 / BOUNDARIES.clamp_borne_out), at_most("battery_times", BOUNDARIES.clamp_borne_out),
    ),
)  # fmt: skip
"""Cables and contacts, or where they were not read the battery, lose what they do at the amps that the clamp shows."""
LOW: Final = below("amps_times", "low_amps_share", widened="load_doubt")
SLOW: Final = below("speed_times", "slow_share", widened="speed_doubt")
LOW_CHARGE: Final = both(below("rest_v", "rest_watch_v"), isnt(below("rest_v", "rest_act_v")))
WORN_WITH_LOW_REST: Final = both(LOW_CHARGE, above("battery_times", "worn_low_battery_times", widened="battery_doubt"))
UNDER_THE_TABLE: Final = both(
    below("half_cca_v", "load_test_v"),
    at_least("temperature_c", COLDEST_PRINTED_C),
    isnt(at_most("battery_times", "worn_low_battery_times")),
)
WORN: Final = either(above("battery_times", "worn_battery_times", widened="battery_doubt"), UNDER_THE_TABLE)
UNDER_ITS_LAST_ROW: Final = both(
    below("half_cca_v", "load_test_v"),
    below("temperature_c", COLDEST_PRINTED_C),
    at_least("temperature_c", BOUNDARIES.battery_told_c),
    above("battery_times", "worn_low_battery_times"),
)
BATTERY_AT_FAULT: Final = either(WORN, UNDER_ITS_LAST_ROW, WORN_WITH_LOW_REST, below("rest_v", "rest_act_v"))
ONE_OF_A_PAIR: Final = above("blocks", 1.5)
TURNS_EASILY: Final = both(
    is_word("outcome", "no_start", "cranks_only"), above("speed_times", BOUNDARIES.turns_easily, widened="speed_doubt"),
    below("amps_times", BOUNDARIES.free_share), TURNS_OR_UNKNOWN,
)  # fmt: skip
BOTH_WINDINGS: Final = both(at_least("coil_a", "least_pull_in_a"), at_most("coil_a", "highest_pull_in_a"))
CONTROL_HIGH: Final = above("drop_control_v", "control_circuit_drop_v")
CONTROL_GOOD: Final = at_most("drop_control_v", "control_circuit_drop_v")
BY_OHMS: Final = measured("tester_load_ohm")
BY_VOLTS: Final = not_measured("tester_load_ohm")
ONE_WINDING_UNHEARD: Final = both(
    BY_OHMS, is_word("outcome", "no_click"), one_winding("winding_ohm"), isnt(CONTROL_HIGH),
)  # fmt: skip
HARDLY_FLOWS: Final = either(
    below("amps_times", BOUNDARIES.hardly),
    both(not_measured("usual_crank_a"), below("crank_a", "enough_a")),
    both(not_measured("crank_a"), at_least("low_share", BOUNDARIES.hardly_sags)),
)
AMPS_ROWS: Final = ("battery", "starter_motor", "starter_or_drag", "engine_drag")
