"""Rows that stand only where nothing else is pointed at, and rows that say what is good."""

from typing import Final

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

_LOADED: Final = "common practice; the bands depend on the tester's load"
_OHMS: Final = "TM 5-2420-230-24-2 p. 13-33, TM 9-4940-568-34: ohms of sound windings"
_AMPS: Final = "common practice; TM 10-3930-671-24"

_CONTROL_SIDE_GOOD: Final = either(
    both(BY_VOLTS, above("control_loaded_v", "wire_good_low_v"), at_most("control_loaded_v", "wire_good_high_v")),
    both(BY_OHMS, coil_sound("control_ohm"), isnt(ends_differ), isnt(ONE_WINDING_UNHEARD)),
)
_CONTROL_SAID: Final = (
    "{control_loaded_v:.2f} V left at the relay socket under load is what a sound wire and coil leave."
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


def _at_times(tried: str, outcome: str, segment: str, what: str, following: str, minutes: int) -> Row:
    """It starts now, and did not turn at an earlier try of the same visit."""
    return Row(
        f"starts now, {tried}",
        (is_word("failed_before", outcome), is_word("outcome", "started")),
        segment,
        f"At an earlier try of this visit {tried}, and now it starts: unless that was put right meanwhile, {what}.",
        following,
        minutes,
        alone=True,
    )


ALONE: Final = (
    _at_times(
        "nothing was heard", "no_click", "control_circuit",
        "something before the solenoid makes contact at times only: relay, switch, neutral or clutch switch, a connector",
        "volts at the solenoid's control terminal at a try that fails", 10,
    ),
    _at_times(
        "it only clicked", "click", "solenoid_contacts",
        "the contacts do not close each time, the starter has a dead spot, or a connection on the power side is loose",
        "drop across the solenoid contacts at several starts and at a try that fails", 10,
    ),
    _at_times(
        "the starter only spun", "spins", "starter_drive", "the pinion does not engage each time, or its clutch slips",
        "pinion and ring gear by eye, the starter out", 45,
    ),
    Row(
        "cranks only, start not measured",
        (is_word("outcome", "cranks_only"), not_measured("cranked_well")),
        "not_starting_system",
        "The engine cranks and does not start: fuel, spark or glow, the immobiliser, unless it cranks slower than ever.",
        "cranking speed by ripple or tachometer",
        5,
        alone=True,
    ),
    Row(
        "jumper does not crank, nothing heard",
        (
            is_word("jumper_start", "no_crank"), is_word("outcome", "no_click"), at_least("rest_v", "rest_act_v"),
            at_least("feed_share", "wire_open_share"), isnt(CONTROL_HIGH),
        ),
        "control_wire",
        "Feed and battery are good, and with a fused jumper at the relay socket the engine does not crank either: where nothing is heard "
        "with the jumper too, the solenoid is not switched on, and the control wire or the coil is at fault.",
        "loaded check of the control wire, both ends",
        10,
        hides=("control_wire", "starter_motor"),
        alone=True,
    ),
    Row(
        "jumper does not crank, nothing heard, feed unknown",
        (
            is_word("jumper_start", "no_crank"), is_word("outcome", "no_click"), at_least("rest_v", "rest_act_v"),
            not_measured("feed_v"), isnt(CONTROL_HIGH),
        ),
        "control_circuit",
        "Nothing is heard, and with a fused jumper at the relay socket the engine does not crank either: without volts at the socket's "
        "feed terminal a jumper switches nothing on; with them, the control wire or the coil is at fault.",
        "feed terminal of the relay socket, then loaded check of the control wire, both ends",
        10,
        hides=("control_wire", "starter_motor"),
        alone=True,
    ),
    Row(
        "one winding alone, nothing heard",
        (ONE_WINDING_UNHEARD,),
        "coil",
        "{winding_ohm:.2f} Ω are those of the hold-in winding alone, and nothing is heard: the pull-in winding, or its way to ground "
        "through the starter, is open, unless this solenoid has one winding only.",
        "pull-in amps with a small clamp at the first moment",
        10,
        _OHMS,
        alone=True,
    ),
    Row(
        "jumper does not crank",
        (is_word("jumper_start", "no_crank"), isnt(CONTROL_HIGH), isnt(_NOTHING_LOST), isnt(_CONTROL_SIDE_GOOD)),
        "starter_motor",
        "With a fused jumper at the relay socket the engine does not crank: control wire, solenoid, starter, cables or "
        "battery are at fault, not the relay or the switch.",
        "voltage drop across the solenoid contacts, then positive and ground side, with the jumper on",
        15,
        alone=True,
    ),
    Row(
        "jumper does not crank, control side good",
        (is_word("jumper_start", "no_crank"), isnt(CONTROL_HIGH), isnt(_NOTHING_LOST), _CONTROL_SIDE_GOOD),
        "starter_motor",
        "With a fused jumper at the relay socket the engine does not crank, and wire and coil are sound: the solenoid's contacts, the "
        "starter, a cable or the battery is at fault.",
        "voltage drop across the solenoid contacts, then positive and ground side, with the jumper on",
        15,
        alone=True,
    ),
    Row(
        "jumper does not crank, nothing lost",
        (is_word("jumper_start", "no_crank"), isnt(CONTROL_HIGH), _NOTHING_LOST),
        "control_wire",
        "With a fused jumper at the relay socket the engine does not crank, and nothing is lost on the power side: the solenoid does "
        "not close. The control wire or the coil is at fault.",
        "loaded check of the control wire, both ends",
        10,
        alone=True,
    ),
    Row(
        "chatter, volts hold",
        (is_word("outcome", "chatter"), at_least("lowest_v", "load_test_v"), isnt(CONTROL_HIGH), isnt(drop_high)),
        "coil",
        "The solenoid chatters although the battery holds {lowest_v:.2f} V: its hold-in winding or its ground is open.",
        "loaded check of the coil alone",
        10,
        alone=True,
    ),
    Row(
        "chatter",
        (is_word("outcome", "chatter"),),
        "battery",
        "The solenoid chatters: mostly a flat battery or a loose connection, which lets the volts fall as soon as the "
        "contacts close.",
        "rest voltage, then volts at the battery while cranking",
        5,
        alone=True,
    ),
    Row(
        "no click, battery good",
        (is_word("outcome", "no_click"), at_least("rest_v", "rest_act_v"), not_measured("feed_v")),
        "control_circuit",
        "Nothing is heard and the battery has {rest_v:.2f} V: the solenoid is not switched on. Feed, relay, neutral or clutch "
        "switch, wire or coil.",
        "feed terminal of the relay socket with the key at crank, then a fused jumper",
        5,
        alone=True,
    ),
    Row(
        "no click, battery and feed good",
        (is_word("outcome", "no_click"), at_least("rest_v", "rest_act_v"), measured("feed_v")),
        "control_circuit",
        "Nothing is heard, the battery has {rest_v:.2f} V and the relay socket's feed terminal {feed_v:.2f} V: the solenoid is not "
        "switched on. Relay, neutral or clutch switch, wire or coil.",
        "fused jumper at the relay socket",
        5,
        alone=True,
    ),
    Row(
        "click, battery good",
        (is_word("outcome", "click"), at_least("rest_v", "rest_act_v"), isnt(drops_good)),
        "solenoid_contacts",
        "The solenoid clicks once, the battery has {rest_v:.2f} V and the engine does not turn: contacts that do not close, "
        "before a cable or a locked starter.",
        "the three drops of the power side while cranking",
        10,
        alone=True,
    ),
    Row(
        "low amps, drops unknown",
        (
            LOW, above("amps_times", BOUNDARIES.hardly), isnt(measured("drop_positive_v", "drop_ground_v", "drop_contacts_v")),
            isnt(at_least("speed_times", "slow_share")),
        ),
        "starter_motor",
        "{crank_a:.0f} A are low: worn starter, low battery voltage, or resistance in cable, contacts or ground.",
        "the three drops of the power side while cranking",
        10,
        _AMPS,
        alone=True,
    ),
    Row(
        "slow, all but the starter good",
        (
            is_word("outcome", "slow"), drops_good, measured("battery_times", "amps_times"), isnt(BATTERY_AT_FAULT), isnt(HIGH),
            not_measured("speed_times"), isnt(at_least("peak_times", BOUNDARIES.usual_peak)),
            below("cold_amps_times", BOUNDARIES.cold_explains),
        ),
        "starter_motor",
        "The engine turned slowly with good drops, a battery that holds and no more amps than usual, where drag would take more: the "
        "starter is weak.",
        "cranking speed and peak amps",
        10,
        _AMPS,
        alone=True,
    ),
    Row(
        "slow, speed below least, all else good",
        (
            is_word("outcome", "slow", "no_start"), below("crank_rpm", "least_cranking_rpm"), TURNS_OR_UNKNOWN, drops_good,
            measured("battery_times"), isnt(BATTERY_AT_FAULT), either(not_measured("speed_times"), SLOW),
        ),
        "starter_or_drag",
        "{crank_rpm:.0f} rpm is {crank_rpm__least_cranking_rpm}, the least the engine needs, with good drops and a battery that holds: "
        "drag, oil too thick for this air, or a weak starter.",
        "oil grade, then turn the engine by hand at the crankshaft, key off and out of gear",
        20,
        hides=("starter_or_drag",),
        alone=True,
    ),
    Row(
        "slow, speed below least",
        (
            is_word("outcome", "slow", "no_start"), below("crank_rpm", "least_cranking_rpm"), TURNS_OR_UNKNOWN,
            either(not_measured("speed_times"), SLOW),
        ),
        "none",
        "{crank_rpm:.0f} rpm is {crank_rpm__least_cranking_rpm}, the least the engine needs, and nothing else that was measured says why.",
        "battery volts and amps while cranking, then the three drops",
        10,
        alone=True,
    ),
)  # fmt: skip

NONE: Final = (
    Row(
        "control side good, it cranks",
        (_CONTROL_SIDE_GOOD, CRANKS),
        "none",
        _CONTROL_SAID,
        "",
        0,
        _LOADED,
    ),
    Row(
        "control side good",
        (_CONTROL_SIDE_GOOD, isnt(CRANKS)),
        "none",
        _CONTROL_SAID,
        "fused jumper at the relay socket",
        5,
        _LOADED,
    ),
    Row(
        "both windings caught",
        (BOTH_WINDINGS,),
        "none",
        "{coil_a:.0f} A are what both windings take as the solenoid pulls in: sound. Hold-in alone shows once it is in.",
        "coil amps with a small clamp",
        5,
        _OHMS,
    ),
    Row(
        "no current, nothing else measured",
        (
            FAILED, HARDLY_FLOWS, not_measured("control_loaded_v", "jumper_start"), isnt(CONTROL_HIGH),
            isnt(measured("drop_positive_v", "drop_ground_v", "drop_contacts_v")),
        ),
        "none",
        "Hardly any current flows: the solenoid is not switched on, or the power side is open.",
        "control circuit drop while cranking, then the three drops",
        10,
        alone=True,
    ),
    Row(
        "did not turn, nothing measured",
        (FAILED, not_measured("rest_v", "crank_min_v", "crank_a", "control_loaded_v", "feed_v", "jumper_start")),
        "none",
        "The engine did not start, and {all_measured}.",
        "rest voltage, then volts at the battery and amps while cranking",
        5,
        alone=True,
    ),
    Row(
        "did not start, rest volts only",
        (
            is_word("outcome", "no_start"), measured("rest_v"),
            not_measured("crank_min_v", "crank_a", "control_loaded_v", "feed_v", "jumper_start"),
            isnt(measured("drop_positive_v", "drop_ground_v", "drop_contacts_v", "drop_control_v")),
        ),
        "none",
        "The engine did not start, and {rest_v:.2f} V at rest tell how far the battery is charged, not what it gives.",
        "volts at the battery and amps while cranking",
        5,
        alone=True,
    ),
    Row(
        "did not start, volts as usual",
        (
            is_word("outcome", "no_start"), at_most("low_under_usual_v", "clear_fall_v"), isnt(HARDLY_FLOWS),
            not_measured("crank_a", "crank_rpm", "control_loaded_v", "feed_v", "jumper_start"),
            isnt(measured("drop_positive_v", "drop_ground_v", "drop_contacts_v")),
        ),
        "none",
        "The engine did not start although the battery held {crank_min_v:.2f} V, about what is usual: if it turned as fast as ever, it is "
        "fuel or ignition, else resistance behind the battery, in cables, contacts, ground or starter.",
        "the three drops of the power side while cranking",
        10,
        alone=True,
    ),
    Row(
        "slow, volts low, amps not measured",
        (is_word("outcome", "slow"), _VOLTS_LOW),
        "none",
        "The engine turned slowly and the battery held {crank_min_v:.2f} V, {low_under_usual_v:.2f} V less than usual: it is weak, or "
        "the starter takes too many amps.",
        "amps while cranking",
        5,
        alone=True,
    ),
    Row(
        "slow in the cold, amps and volts as usual",
        (_SEEN_SLOW, _COLD_IS_ENOUGH),
        "none",
        "The engine turned slowly, and amps and volts are as usual at {air}: every engine turns "
        "slower in this cold.",
        "cranking speed by ripple or tachometer",
        5,
        alone=True,
    ),
    Row(
        "slow, volts as usual",
        (_SEEN_SLOW, _VOLTS_AS_USUAL, isnt(measured("drop_positive_v", "drop_ground_v", "drop_contacts_v"))),
        "none",
        "The engine turned slowly although the battery held {crank_min_v:.2f} V, about what is usual: so it is neither a weak battery "
        "nor drag, but resistance behind the battery, in cables, contacts, ground or starter.",
        "the three drops of the power side while cranking",
        10,
        alone=True,
    ),
    Row(
        "slow, drops not measured",
        (
            _SEEN_SLOW, isnt(_VOLTS_LOW), isnt(_VOLTS_AS_USUAL), isnt(_COLD_IS_ENOUGH), isnt(not_measured("crank_min_v", "crank_a", "crank_rpm")),
            isnt(measured("drop_positive_v", "drop_ground_v", "drop_contacts_v")),
        ),
        "none",
        "The engine turned slowly, and nothing that was measured says why.",
        "the three drops of the power side while cranking",
        10,
        alone=True,
    ),
    Row(
        "slow, drops good, speed or inrush not measured",
        (_SEEN_SLOW, drops_good, isnt(_COLD_IS_ENOUGH), isnt(measured("crank_rpm", "peak_a", "crank_a"))),
        "none",
        "The engine turned slowly with good drops: battery, starter or drag.",
        "amps while cranking, cranking speed and peak amps",
        10,
        alone=True,
    ),
    Row(
        "slow, nothing measured",
        (is_word("outcome", "slow"), not_measured("crank_rpm", "crank_min_v", "crank_a")),
        "none",
        "The engine turned slowly, and {all_measured}.",
        "volts at the battery and amps while cranking",
        5,
        alone=True,
    ),
    Row(
        "slow, nothing amiss",
        (is_word("outcome", "slow"),),
        "none",
        "The start is put down as slow, and nothing that was measured is beyond what sound vehicles show.",
        "the three drops of the power side while cranking",
        10,
        alone=True,
    ),
)  # fmt: skip
