"""Named boundaries and conditions that rows of the decision table share."""

from __future__ import annotations

from typing import Final

from analysis.bay.conditions import above, at_least, at_most, below, both, either, is_word, isnt, measured, not_measured
from analysis.circuit.battery import COLDEST_PRINTED_C

STANDS_RPM: Final = 5.0  # our choice: a tachometer's flicker on an engine that does not turn
HARDLY: Final = 0.15  # of the usual amps, our choice: less than any starter takes, running free or locked
FREE_SHARE: Final = (
    0.8  # of the usual amps, our choice: a starter running free takes 90 of 150 to 300 A (PM starter data)
)
STALL_SHARE: Final = 0.7  # of the inrush, our choice: a turning engine takes a third to half of it
NOT_SLOW: Final = 0.95  # of the usual speed, our choice: as fast as ever
TWO_CABLES: Final = (1.6, 2.6)  # times the clamp's amps that all else tells of: round one of two cables
SLOWED: Final = 0.82  # of the usual speed, our choice: as much as a fifth more amps by drag cost
RAISED_AMPS: Final = 1.2  # times the usual, our choice: enough where the engine is clearly slow as well
SPEED_DOUBT: Final = (
    3.0  # times the doubt of the load, our choice: a series-wound motor loses more speed than it gains amps
)
CLEARLY_SLOW: Final = 0.75  # of the usual speed at usual amps, our choice
OFF_THE_CURVE: Final = 0.85  # of the speed to which these volts turn a usual motor, our choice
FASTER_THAN_VOLTS: Final = 1.1  # times that speed: the volts were not those at which it turned, our choice
LOW_PEAK: Final = 0.8  # of the usual inrush, our choice: four times the usual scatter of a clamp
USUAL_PEAK: Final = 0.92  # of the usual inrush, our choice: a worn battery lowers it
FASTER_THAN_DROP: Final = 1.08  # times that speed, our choice: a drop of half a volt makes half of it
CABLES: Final = ("positive_cable", "ground_path", "solenoid_contacts")
DIP_SHARES: Final = (0.75, 1.35)  # of the fall that the inrush makes through a usual battery, our choice
COLLAPSED: Final = 0.6  # of the rest volts, our choice: even a locked starter leaves a sound battery more
DEAD_COIL_A: Final = 0.5  # [A], our choice: a small clamp's zero

FAILED: Final = is_word("outcome", "no_start", "no_click", "click", "chatter")
STANDS: Final = at_most("crank_rpm", STANDS_RPM)
TURNS_OR_UNKNOWN: Final = isnt(STANDS)
HIGH: Final = both(
    TURNS_OR_UNKNOWN,
    either(
        above("amps_times", "high_amps_share", widened="load_doubt", by=0.5),
        both(
            above("amps_times", RAISED_AMPS, widened="load_doubt"),
            below("speed_times", SLOWED, widened="load_doubt"),
        ),
        both(not_measured("usual_crank_a"), above("crank_a", "highest_here_a")),
    ),
)
LOW: Final = below("amps_times", "low_amps_share", widened="load_doubt")
SLOW: Final = below("speed_times", "slow_share", widened="load_doubt", by=0.5)
LOW_CHARGE: Final = both(below("rest_v", "rest_watch_v"), isnt(below("rest_v", "rest_act_v")))
WORN_WITH_LOW_REST: Final = both(LOW_CHARGE, above("battery_times", "worn_low_battery_times", widened="battery_doubt"))
UNDER_THE_TABLE: Final = both(
    below("half_cca_v", "load_test_v"),
    at_least("temperature_c", COLDEST_PRINTED_C),
    isnt(at_most("battery_times", "worn_low_battery_times")),
)
WORN: Final = either(above("battery_times", "worn_battery_times", widened="battery_doubt"), UNDER_THE_TABLE)
BATTERY_AT_FAULT: Final = either(WORN, WORN_WITH_LOW_REST, below("rest_v", "rest_act_v"))
ONE_OF_A_PAIR: Final = above("blocks", 1.5)
BOTH_WINDINGS: Final = both(at_least("coil_a", "least_pull_in_a"), at_most("coil_a", "highest_pull_in_a"))
CONTROL_HIGH: Final = above("drop_control_v", "control_circuit_drop_v")
CONTROL_GOOD: Final = at_most("drop_control_v", "control_circuit_drop_v")
BY_OHMS: Final = measured("tester_load_ohm")
BY_VOLTS: Final = not_measured("tester_load_ohm")
AMPS_ROWS: Final = ("battery", "starter_motor", "starter_or_drag", "engine_drag")
