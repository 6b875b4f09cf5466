"""What is measured next: for each key that a row of the decision table gives, and for each candidate, what a technician is told."""

from collections.abc import Mapping
from typing import Final

from analysis.bay.facts import Facts
from analysis.bay.findings import Finding
from analysis.readings.outcomes import UNTURNED
from analysis.readings.panel import RAN_FREE

CRANKING: Final = "while cranking"
KEY_HELD: Final = "with the key held at crank"
"""When something is read: an engine that does not turn is not cranking."""
ASKED: Final[Mapping[str, str]] = {
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
"""Measurement -> what it is called where only some of a next measurement is left, and where its value is doubted."""
LOAD_TEST: Final = "battery load test at half its cold-cranking rating for 15 s, each battery alone where there are two"

NEXT: Final[Mapping[str, str]] = {
    **{name: ASKED[name] for name in ("crank_a", "control_loaded_v", "coil_loaded_v", "coil_alone_v", "jumper_start")},
    "rest_and_crank_v_across_both": "rest voltage and volts while cranking, across both batteries",
    "the_doubted_again": "{doubted_name}, once more",
    "largest_drop_again": "the largest drop, once more",
    "control_drop_again": "the control circuit's drop once more while cranking, from the battery's positive post to the solenoid's control terminal",
    "cold_engine_again": "the same start once the engine has stood overnight",
    "drops_again": "the drops once more, in the range for DC volts, read while the engine turns",
    "amps_round_every_cable": "amps while cranking, the clamp round every cable on the battery's post",
    "amps_from_zero": "amps while cranking, the clamp set to zero first",
    "speed_again": "cranking speed by ripple or tachometer, once more",
    "terminal_and_battery_v_as_it_fails":
        "volts at the solenoid's control terminal and at the battery at a try that fails",
    "coil_amps_from_zero": "coil amps, the clamp set to zero first and round the solenoid's control wire alone",
    "charging_v_across_both":
        "charging volts across both batteries, from the first positive post to the last negative one",
    "crank_v_across_all":
        "volts while cranking across all batteries, from the first positive post to the last negative one",
    "crank_v_without_min": "volts at the battery while the engine turns steadily, without MIN",
    "temperature_again": "temperature of the air at the vehicle, once more, in °C",
    "temperature": "temperature of the air at the vehicle, in °C",
    "rest_v_after_hours": "rest volts with everything off, after some hours, or after a minute of headlamps",
    "rest_v_minutes_later": "rest volts with everything off, some minutes later",
    "camshaft_and_compression": "whether the camshaft turns with the crankshaft, then compression",
    "fuel_spark_or_glow": "fuel pressure, spark or glow, and fault memory by the maker's procedure",
    "pinion_by_eye": "pinion and ring gear by eye, the starter out",
    "engine_by_hand": "turn the engine by hand at the crankshaft, key off and out of gear",
    "feed_fuse_and_wire": "the feed's fuse, both sides, and its wire back to the battery",
    "drop_to_the_feed": "voltage drop from the battery to the feed terminal, connector by connector",
    "relay_coil_v": "volts at the relay's own coil with the key at start",
    "coil_ohms_for_a_short": "ohms of the coil, its wire off: no more than the leads alone show means a short",
    "wire_by_eye": "the wire by eye where it may chafe, then its ohms to ground with both ends off",
    "jumper_with_the_wire_off": "take the wire off the solenoid and repeat: opens again means the wire, else the coil",
    "drop_along_the_wire": "voltage drop along the wire, connector by connector",
    "coil_ohms_and_ground": "coil resistance and the solenoid's ground connection",
    "coil_connector": "the connector at the coil by eye, then the same check with it pressed on",
    "loaded_check_with_the_wire_off":
        "take the wire off the coil and repeat: still as low means the wire, else the coil",
    "feed_then_jumper": "feed terminal of the relay socket with the key at crank, then a fused jumper",
    "wire_loaded_at_both_ends": "loaded check of the control wire, both ends",
    "coil_a": "coil amps with a small clamp",
    "drop_control_v": "control circuit drop while cranking",
    "pull_in_a": "pull-in amps with a small clamp at the first moment",
    "control_drop_then_coil_alone": "control circuit drop while cranking, then loaded check of the coil alone",
    "each_alone_then_charge":
        "rest volts of each battery alone; then charge fully, rest some hours, and measure rest voltage and volts while cranking",
    "charge_for_a_dead_cell":
        "charge fully, rest some hours, then measure rest voltage: where it comes back to this, a cell is dead and the battery is done",
    "charge_slowly":
        "charge slowly, as its maker says for a deeply discharged battery, rest some hours, then measure rest voltage and load-test it: "
        "replace it where it does not hold",
    "charge_first":
        "charge fully, each battery alone where there are two, rest some hours, then measure rest voltage and volts while cranking",
    "rest_then_crank_v": "rest voltage, then volts at the battery while cranking",
    "posts_then_load_test": f"drop from post to clamp while cranking, at both posts, then {LOAD_TEST}",
    "starter_on_the_bench": "starter on the bench: no-load amps and speed",
    "engine_by_hand_then_peak":
        "turn the engine by hand at the crankshaft, key off and out of gear; then peak amps once more",
    "speed_and_peak": "cranking speed and peak amps",
    "motor_terminal_v_then_bench":
        "volts at the starter's motor terminal, key at crank; then the starter on the bench",
    "peak_a": "peak amps, which give the starter's own resistance",
    "charge_then_drain": "charge fully, then amps drawn with everything off, once the vehicle has gone to sleep",
    "charge_then_what_drains":
        "charge fully, then charging volts with the engine running, and amps drawn with everything off",
    "each_battery_alone": "rest volts of each battery alone",
    "load_test": "battery load test at half its cold-cranking rating for 15 s, each battery alone where there are two",
    "load_test_warmed_up": f"{LOAD_TEST}, warmed up",
    "rest_v_with_all_off": "rest volts with everything off",
    "positive_joints": "drop across each connection of the positive cable while cranking, post to clamp first",
    "ground_in_steps": "drop engine block to frame while cranking, then frame to battery post",
    "terminal_v_of_a_click":
        "volts at the solenoid's control terminal, key at crank: with hardly any of the battery's missing there and a click, the contacts "
        "are burnt open; without, the solenoid does not pull in",
    "contacts_drop_three_times": "repeat the drop on three starts: burnt contacts scatter",
    "generator_and_belt": "charging volts at the generator's own post, then the belt and the field or exciter wire",
    "charging_v_loaded": "charging volts at raised idle with headlamps and blower on",
    "regulator_sense": "voltage drop of the regulator's sense wire and its ground",
    "terminal_v_as_it_fails": "volts at the solenoid's control terminal at a try that fails",
    "contacts_drop_as_it_fails": "drop across the solenoid contacts at several starts and at a try that fails",
    "crank_rpm": "cranking speed by ripple or tachometer",
    "feed_then_wire_loaded": "feed terminal of the relay socket, then loaded check of the control wire, both ends",
    "drops_with_the_jumper_on":
        "voltage drop across the solenoid contacts, then positive and ground side, with the jumper on",
    "three_drops": "the three drops of the power side while cranking",
    "other_drops_then_motor_terminal":
        "voltage drop of the positive cable and of the ground path, key at crank; then volts at the starter's motor terminal",
    "oil_then_warmed": "oil grade, then the same start with the engine warmed",
    "oil_then_engine_by_hand": "oil grade, then turn the engine by hand at the crankshaft, key off and out of gear",
    "crank_v_and_amps_then_drops": "battery volts and amps while cranking, then the three drops",
    "control_drop_then_three": "control circuit drop while cranking, then the three drops",
    "rest_then_crank_v_and_amps": "rest voltage, then volts at the battery and amps while cranking",
    "crank_v_and_amps": "volts at the battery and amps while cranking",
    "amps_speed_and_peak": "amps while cranking, cranking speed and peak amps",
}  # fmt: skip
"""Key of a next measurement -> what a technician is told."""

TESTS: Final[Mapping[str, str]] = {
    "repeat":
        "Repeat the last reading: it stands far off the ones before and may be a slip.",
    "cranking_speed":
        "Cranking speed together with steady amps: high amps at full speed is a weak starter, high amps at low speed is drag in the engine.",
    "rest_v_after_two_hours":
        "Rest volts after two hours without charging: low volts mean a discharged battery, to be charged and tested again; good volts with "
        "high resistance mean a worn one.",
    "battery_load_test":
        "Load test of the charged battery, half its cold-cranking amps for 15 s: volts below the table's are the battery, good volts are "
        "something behind it.",
    "positive_joints":
        "Voltage drop across each joint of the positive cable while cranking, post to clamp, then lug to stud: a drop at a joint wants "
        "cleaning, a drop between the lugs is the cable.",
    "ground_joints":
        "Voltage drop across each joint of the ground path while cranking, starter housing to negative post in steps: a drop at a joint "
        "wants cleaning, a drop along the strap is the strap.",
    "contacts_three_times":
        "Voltage drop across the solenoid's two studs while cranking, three times: burnt contacts are high and differ from start to start.",
    "control_wire_loaded":
        "Loaded check of the control wire at the relay socket, then at the coil's end: unequal volts are the wire, equal and high ones the "
        "joints before the socket.",
    "peak_a":
        "Peak amps with a clamp that holds the inrush: low peak amps at good volts is resistance in the starter, usual peak amps clear it.",
    "engine_by_hand":
        "Turn the engine over by hand with a bar, battery disconnected: stiff is drag in the engine, easy clears it.",
    "starter_on_the_bench":
        "Take the starter out and run it unloaded: amps and speed off the maker's figures are the starter.",
}  # fmt: skip
"""Key of a candidate of `analysis.bay.next_measurement` -> what a technician is told, and what it tells apart."""


def next_measurement(finding: Finding) -> str:
    """What is measured next after a finding, or what of it is left; "" where nothing is."""
    if not finding.following:
        return ""
    if finding.left:
        return _as_it_turns(", then ".join(ASKED[name] for name in finding.left), finding.facts)
    doubted = ASKED.get(str(finding.facts.get("doubted")), "")
    return _as_it_turns(NEXT[finding.following].format(doubted_name=doubted), finding.facts)


def _as_it_turns(following: str, facts: Facts) -> str:
    """What to measure, said for an engine that turns, as it should once its battery is charged, or that does not."""
    stands = facts.get("outcome") in UNTURNED and facts.get("outcome") != RAN_FREE and "charge" not in following
    return following.replace(CRANKING, KEY_HELD) if stands else following


def unit_of(name: str) -> str:
    """The unit that the name of a figure ends with."""
    ending = name.rsplit("_", 1)[-1]
    return {"v": "V", "a": "A"}.get(ending, ending)
