"""Rows about the power side: battery, load, starter, cables, contacts; and charging."""

from typing import Final

from analysis.bay.boundaries import (
    BATTERY_AT_FAULT,
    CONTROL_HIGH,
    FAILED,
    HARDLY_FLOWS,
    HIGH,
    LOW,
    LOW_CHARGE,
    ONE_OF_A_PAIR,
    OWN_EARLIER,
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

_AMPS: Final = "common practice; TM 10-3930-671-24"
_NO_LOAD: Final = "no-load tables TM 10-3930-671-24, TM 10-4320-307-24"
_LOAD_TEST: Final = "BCI load-test table, at half the label's cold-cranking amps"

_FASTER_AT_MORE_AMPS: Final = both(
    TURNS_OR_UNKNOWN,
    above("amps_times", BOUNDARIES.raised_amps, widened="load_doubt"),
    above("curve_least", BOUNDARIES.faster_than_volts, widened="speed_doubt"),
)
"""Drag that raised the amps would have slowed the engine: turning faster than these volts make it, the field is weak."""

_INRUSH_RAISED: Final = above("peak_times", "raised_peak_share")

_LOAD_TEST_NEXT: Final = (
    "battery load test at half its cold-cranking rating for 15 s, each battery alone where there are two"
)
_CHARGE_FIRST: Final = "charge fully, each battery alone where there are two, rest some hours, then measure rest voltage and volts while cranking"
_POSITIVE_NEXT: Final = "drop across each connection of the positive cable while cranking, post to clamp first"
_GROUND_NEXT: Final = "drop engine block to frame while cranking, then frame to battery post"
_CONTACTS_NEXT: Final = "repeat the drop on three starts: burnt contacts scatter"
_CONTROL_NEXT: Final = "loaded check of the control wire at the relay socket"

BATTERY: Final = (
    Row(
        "one battery of a pair discharged",
        (ONE_OF_A_PAIR, below("rest_v", "rest_act_v")),
        "battery",
        "Rest voltage {rest_v:.2f} V is {rest_v__rest_act_v} (half charged): both batteries are discharged, or one of the pair is "
        "flat or has a dead cell.",
        "rest volts of each battery alone; then charge fully, rest some hours, and measure rest voltage and volts while cranking",
        15,
        "BCI rest-voltage table; common practice",
        hides=("battery",),
    ),
    Row(
        "one cell dead",
        (
            isnt(ONE_OF_A_PAIR),
            at_least("rest_v", BOUNDARIES.five_cells_least_v),
            at_most("rest_v", BOUNDARIES.five_cells_most_v),
        ),
        "battery",
        "Rest voltage {rest_v:.2f} V is that of five cells instead of six: one is dead, or the battery is deeply discharged.",
        "charge fully, rest some hours, then measure rest voltage: where it comes back to this, a cell is dead and the battery is done",
        15,
        "five sixths of the BCI rest-voltage table; common practice",
        hides=("battery",),
    ),
    Row(
        "battery deeply discharged",
        (isnt(ONE_OF_A_PAIR), below("rest_v", BOUNDARIES.five_cells_least_v)),
        "battery",
        "Rest voltage {rest_v:.2f} V is far below that of a flat battery: one so deeply discharged may not recover, or has dead cells.",
        "charge slowly, as its maker says for a deeply discharged battery, rest some hours, then measure rest voltage and load-test it: "
        "replace it where it does not hold",
        15,
        "below five sixths of the BCI rest-voltage table; common practice",
        hides=("battery",),
    ),
    Row(
        "battery discharged",
        (isnt(ONE_OF_A_PAIR), below("rest_v", "rest_act_v")),
        "battery",
        "Rest voltage {rest_v:.2f} V is {rest_v__rest_act_v} (half charged): charge before judging anything else.",
        _CHARGE_FIRST,
        15,
        "BCI rest-voltage table",
        hides=("battery",),
    ),
    Row(
        "chatter, lets go at the dip",
        (is_word("outcome", "chatter"), below("held_v", "let_go_v"), isnt(CONTROL_HIGH)),
        "battery",
        "At the dip the solenoid has {held_v:.2f} V, {held_v__let_go_v} at which hold-in lets go: the battery, or a loose "
        "connection at its posts, lets the volts fall.",
        "rest voltage, then volts at the battery while cranking",
        5,
        hides=("battery", "starter_motor"),
    ),
    Row(
        "volts collapse",
        (
            either(below("low_share", BOUNDARIES.collapsed), both(FAILED, below("lowest_share", BOUNDARIES.collapsed))),
            isnt(HIGH),
            isnt(at_most("battery_times", "worn_low_battery_times")),
        ),
        "battery",
        "The battery falls from {rest_v:.2f} to {lowest_v:.2f} V, where even a held solenoid may let go: a "
        "dead cell, or a loose connection at the post.",
        f"drop from post to clamp while cranking, at both posts, then {_LOAD_TEST_NEXT}",
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
_FEW_SAID: Final = "{crank_a:.0f} A are low with good drops and a battery that holds: worn or open brushes or commutator in the starter."

LOAD: Final = (
    Row(
        "high amps, slow, inrush raised",
        (HIGH, SLOW, _INRUSH_RAISED, above("peak_times", BOUNDARIES.plainly_raised)),
        "starter_motor",
        "{crank_a:.0f} A are high, the engine turns slowly ({crank_rpm:.0f} against {usual_rpm:.0f} rpm) and the inrush is "
        "raised ({peak_a:.0f} against {usual_peak_a:.0f} A): shorted or grounded windings in the starter.",
        "starter on the bench: no-load amps and speed",
        45,
        _NO_LOAD,
        hides=("starter_or_drag",),
    ),
    Row(
        "high amps, slow, inrush hardly raised",
        (HIGH, SLOW, _INRUSH_RAISED, at_most("peak_times", BOUNDARIES.plainly_raised)),
        "starter_or_drag",
        "{crank_a:.0f} A are high, the engine turns slowly ({crank_rpm:.0f} against {usual_rpm:.0f} rpm) and the inrush is raised by "
        "no more than a clamp may be out ({peak_a:.0f} against {usual_peak_a:.0f} A): mechanical drag, or shorted windings.",
        "turn the engine by hand at the crankshaft, key off and out of gear; then peak amps once more",
        20,
        _NO_LOAD,
    ),
    Row(
        "high amps, slow",
        (HIGH, SLOW, at_most("peak_times", "raised_peak_share")),
        "engine_drag",
        "{crank_a:.0f} A are high, the engine turns slowly ({crank_rpm:.0f} against {usual_rpm:.0f} rpm) and the inrush is as "
        "usual: mechanical drag, or a starter that binds.",
        "turn the engine by hand at the crankshaft, key off and out of gear",
        20,
        _NO_LOAD,
        hides=("starter_or_drag",),
    ),
    Row(
        "high amps, not slow",
        (either(HIGH, _FASTER_AT_MORE_AMPS), at_least("speed_times", BOUNDARIES.not_slow)),
        "starter_motor",
        "{crank_a:.0f} A are high although the engine turns at its usual speed: shorted turns or a weak field in the "
        "starter.",
        "starter on the bench: no-load amps and speed",
        45,
        _NO_LOAD,
    ),
    Row(
        "high amps, somewhat slow",
        (HIGH, below("speed_times", BOUNDARIES.not_slow), isnt(SLOW), measured("peak_times")),
        "starter_or_drag",
        "{crank_a:.0f} A are high and the engine turns somewhat slower ({crank_rpm:.0f} against {usual_rpm:.0f} rpm): mechanical drag, or "
        "a starter that binds or is shorted.",
        "turn the engine by hand at the crankshaft, key off and out of gear",
        20,
        _NO_LOAD,
    ),
    Row(
        "high amps, inrush or speed unknown",
        (
            HIGH,
            either(not_measured("speed_times"), both(below("speed_times", BOUNDARIES.not_slow), not_measured("peak_times"))),
            isnt(_USUAL_UNKNOWN),
        ),
        "starter_or_drag",
        "{crank_a:.0f} A are high: shorted windings or mechanical drag. Speed and inrush together tell them apart.",
        "cranking speed and peak amps",
        10,
        _AMPS,
    ),
    Row(
        "high amps, nobody knows what is usual",
        (HIGH, _USUAL_UNKNOWN),
        "starter_or_drag",
        "{crank_a:.0f} A are high: shorted windings or mechanical drag. {crank_rpm:.0f} rpm and {peak_a:.0f} A of inrush do not tell the two "
        "apart, as too few readings say what is usual in this class.",
        "turn the engine by hand at the crankshaft, key off and out of gear",
        20,
        _AMPS,
    ),
    Row(
        "starter open",
        (FAILED, HARDLY_FLOWS, drops_good, at_least("low_share", BOUNDARIES.hardly_sags), _SWITCHED_ON),
        "starter_motor",
        "The battery's volts reach the starter, as no drop is missing any, and hardly any amps flow: it is open inside, brushes that do "
        "not touch or a dead spot of the commutator.",
        "volts at the starter's motor terminal, key at crank; then the starter on the bench",
        45,
        _NO_LOAD,
        hides=("starter_motor", "starter_or_drag"),
    ),
    Row(
        "low amps, drops good, battery holds",
        (_STARTER_TAKES_FEW, not_measured("peak_times")),
        "starter_motor",
        _FEW_SAID,
        "peak amps, which give the starter's own resistance",
        5,
        _NO_LOAD,
    ),
    Row(
        "low amps, drops good, battery holds, inrush known",
        (_STARTER_TAKES_FEW, measured("peak_times")),
        "starter_motor",
        _FEW_SAID,
        "starter on the bench: no-load amps and speed",
        45,
        _NO_LOAD,
    ),
    Row(
        "slow, inrush low",
        (
            either(SLOW, both(is_word("outcome", "slow"), below("speed_times", BOUNDARIES.not_slow))), TURNS_OR_UNKNOWN,
            below("peak_times", BOUNDARIES.low_peak, widened="battery_doubt"), drops_good, isnt(BATTERY_AT_FAULT), isnt(HIGH), isnt(LOW),
        ),
        "starter_motor",
        "The engine turns slowly ({crank_rpm:.0f} against {usual_rpm:.0f} rpm) and the inrush is low ({peak_a:.0f} against "
        "{usual_peak_a:.0f} A) with good drops and a battery that holds: resistance in the starter, worn brushes or "
        "commutator.",
        "starter on the bench: no-load amps and speed",
        45,
        _NO_LOAD,
        hides=("starter_motor",),
    ),
    Row(
        "slower than ever, inrush lower",
        (
            below("speed_own_times", BOUNDARIES.not_slow, widened="speed_doubt"), TURNS_OR_UNKNOWN,
            below("peak_own_times", BOUNDARIES.usual_peak), below("motor_own_times", BOUNDARIES.weaker_than_own), drops_good,
            isnt(BATTERY_AT_FAULT), isnt(HIGH), isnt(LOW),
        ),
        "starter_motor",
        "The engine turns slower than this vehicle's earlier readings make it ({crank_rpm:.0f} against {own_rpm:.0f} rpm), and the "
        "inrush is lower ({peak_a:.0f} against {own_peak_a:.0f} A), with good drops and a battery that holds: resistance in the "
        "starter, worn brushes or commutator.",
        "starter on the bench: no-load amps and speed",
        45,
        _NO_LOAD,
        hides=("starter_motor",),
    ),
    Row(
        "slow at usual amps",
        (
            below("speed_times", BOUNDARIES.clearly_slow, widened="speed_doubt"), isnt(HIGH), isnt(LOW), TURNS_OR_UNKNOWN,
            drops_good, isnt(BATTERY_AT_FAULT), below("curve_most", BOUNDARIES.off_the_curve),
        ),
        "starter_motor",
        "{crank_rpm:.0f} rpm is slow for the volts and amps that the starter gets ({usual_rpm:.0f} rpm is usual): the starter "
        "is weak.",
        "starter on the bench: no-load amps and speed",
        45,
        _NO_LOAD,
    ),
)  # fmt: skip

_VOLTS_LOW_SPEED_TELLS: Final = (
    not_measured("crank_a"), at_least("rest_v", "rest_watch_v"), above("crank_rpm", BOUNDARIES.stands_rpm),
    above("low_under_usual_v", "clear_fall_v", widened="battery_doubt"), at_least("speeds_apart", BOUNDARIES.speeds_told_apart),
)  # fmt: skip

WEAK: Final = (
    Row(
        "battery lost charge",
        (LOW_CHARGE, above("rest_fell_v", "lost_charge_v"), isnt(WORN_WITH_LOW_REST)),
        "battery",
        "Rest voltage {rest_v:.2f} V is {rest_v__rest_watch_v} (three quarters charged) and {rest_fell_v:.2f} V less than this "
        "vehicle's earlier readings make it: it has lost charge.",
        "charge fully, then charging volts with the engine running, and amps drawn with everything off",
        15,
        f"BCI rest-voltage table; {OWN_EARLIER}",
        hides=("battery",),
    ),
    Row(
        "one battery of a pair",
        (ONE_OF_A_PAIR, WORN_WITH_LOW_REST),
        "battery",
        "{rest_v:.2f} V at rest and {battery_times:.1f} times the usual resistance: one battery of the pair is likely flat or "
        "worn while the other is sound.",
        "rest volts of each battery alone",
        5,
        "BCI rest-voltage table; our choice of the multiple",
        hides=("battery",),
    ),
    Row(
        "battery weak, with low rest volts",
        (isnt(ONE_OF_A_PAIR), WORN_WITH_LOW_REST),
        "battery",
        "{rest_v:.2f} V at rest and {battery_times:.1f} times the usual resistance: the battery is partly discharged or worn.",
        _CHARGE_FIRST,
        15,
        "BCI rest-voltage table; our choice of the multiple",
        hides=("battery",),
    ),
    Row(
        "battery weak under load",
        (UNDER_THE_TABLE,),
        "battery",
        "At {half_cca_a:.0f} A, half its label's cold-cranking amps, the battery would hold {half_cca_v:.2f} V, "
        "{half_cca_v__load_test_v} of the load-test table at {air}: it is worn.",
        _LOAD_TEST_NEXT,
        10,
        _LOAD_TEST,
        hides=("battery",),
    ),
    Row(
        "battery weak under load, colder than the table",
        (UNDER_ITS_LAST_ROW,),
        "battery",
        "At {half_cca_a:.0f} A, half its label's cold-cranking amps, the battery would hold {half_cca_v:.2f} V at {air}. "
        "One that is what its label says holds more than {load_test_v:.2f} V, the least of the load-test table's "
        "coldest row, in this cold too: it is worn.",
        f"{_LOAD_TEST_NEXT}, warmed up",
        10,
        _LOAD_TEST,
        hides=("battery",),
    ),
    Row(
        "battery resistance high",
        (WORN,),
        "battery",
        "The battery has {battery_mohm:.1f} mΩ, {battery_times:.1f} times what is usual at this temperature: it is worn.",
        _LOAD_TEST_NEXT,
        10,
        "Ohm's law: fall over amps; our choice of the multiple",
        hides=("battery",),
    ),
    Row(
        "battery weak, rest volts unknown",
        (
            not_measured("rest_v"), measured("amps_times"), isnt(HIGH), TURNS_OR_UNKNOWN,
            above("low_under_usual_v", "clear_fall_v", widened="battery_doubt"),
        ),
        "battery",
        "{crank_min_v:.2f} V while cranking is {low_under_usual_v:.2f} V less than usual, at no more amps than usual: the battery is weak or "
        "discharged. Rest volts tell which.",
        "rest volts with everything off",
        5,
        hides=("battery",),
    ),
    Row(
        "battery weak by its speed, amps unknown",
        (
            *_VOLTS_LOW_SPEED_TELLS, at_least("speed_of_weak_battery", BOUNDARIES.off_the_curve),
            at_most("speed_of_weak_battery", BOUNDARIES.faster_than_volts),
        ),
        "battery",
        "{crank_min_v:.2f} V while cranking is {low_under_usual_v:.2f} V less than usual, and {crank_rpm:.0f} rpm is what these volts leave of "
        "the usual {usual_rpm:.0f} rpm at usual amps: the battery is weak. A load of so many amps would turn far slower.",
        "amps while cranking",
        5,
        "Ohm's law and the motor's back-emf; our choice of the multiples",
        hides=("battery",),
        alone=True,
    ),
    Row(
        "many amps by their speed, amps unknown",
        (*_VOLTS_LOW_SPEED_TELLS, at_most("speed_of_more_amps", BOUNDARIES.faster_than_volts)),
        "starter_or_drag",
        "{crank_min_v:.2f} V while cranking is {low_under_usual_v:.2f} V less than usual, and {crank_rpm:.0f} rpm is far less than these volts "
        "leave of the usual {usual_rpm:.0f} rpm at usual amps: drag, or a starter that takes too many amps, before a weak battery.",
        "amps while cranking",
        5,
        "Ohm's law and the motor's back-emf; our choice of the multiples",
        hides=("battery", "starter_or_drag"),
        alone=True,
    ),
    Row(
        "battery weak, amps unknown",
        (
            not_measured("crank_a"),
            either(
                both(below("crank_min_v", "load_test_v"), above("low_under_usual_v", "clear_fall_v")),
                both(not_measured("low_under_usual_v"), below("crank_min_v", "least_here_v")),
            ),
        ),
        "battery",
        "{crank_min_v:.2f} V while cranking is less than a sound battery usually holds; without amps a heavy load cannot be "
        "told from a weak battery.",
        "amps while cranking",
        5,
        "BCI load-test table",
        alone=True,
    ),
)  # fmt: skip


def _risen(part: str, segment: str, words: str, following: str, minutes: int) -> Row:
    """A drop that is within its limit and far above what the vehicle's own earlier readings make it."""
    return Row(
        f"{part} drop risen",
        (
            above(f"{part}_own_times", BOUNDARIES.worse_than_own, widened=f"{part}_own_doubt"),
            at_least(f"{part}_size", BOUNDARIES.worth_naming), at_most(f"{part}_size", 1.0),
        ),
        segment,
        f"{words} {{{part}_read_v:.2f}} V, which is within its limit and {{{part}_own_times:.1f}} times what this vehicle's earlier "
        "readings make it: it is going bad, unless it was misread.",
        following,
        minutes,
        f"{OWN_EARLIER}; our choice of the multiple",
        size=f"{part}_size",
    )  # fmt: skip


_RISEN: Final = (
    _risen("positive", "positive_cable", "The positive cable loses", _POSITIVE_NEXT, 10),
    _risen("ground", "ground_path", "The ground path loses", _GROUND_NEXT, 10),
    _risen("contacts", "solenoid_contacts", "The solenoid contacts lose", _CONTACTS_NEXT, 5),
    _risen("control", "control_circuit", "The control circuit loses", _CONTROL_NEXT, 10),
)

DROPS: Final = (
    Row(
        "positive cable drop high",
        (above("positive_at_usual_v", "positive_cable_drop_v"), isnt(near_battery("drop_positive_v"))),
        "positive_cable",
        "The positive cable loses {positive_said}, {positive_at_usual_v__positive_cable_drop_v}.",
        _POSITIVE_NEXT,
        10,
        size="positive_size",
    ),
    Row(
        "ground path drop high",
        (above("ground_at_usual_v", "ground_path_drop_v"), isnt(near_battery("drop_ground_v"))),
        "ground_path",
        "The ground path loses {ground_said}, {ground_at_usual_v__ground_path_drop_v}.",
        _GROUND_NEXT,
        10,
        "TM 5-3820-256-24-4; common practice",
        size="ground_size",
    ),
    Row(
        "positive cable open",
        (near_battery("drop_positive_v"),),
        "positive_cable",
        "Nearly all of the battery's volts, {positive_said}, are lost in the positive cable: one of its connections, or the cable itself, is "
        "open.",
        _POSITIVE_NEXT,
        10,
        size="positive_size",
    ),
    Row(
        "ground path open",
        (near_battery("drop_ground_v"),),
        "ground_path",
        "Nearly all of the battery's volts, {ground_said}, are lost in the ground path: a strap or one of its connections is open.",
        _GROUND_NEXT,
        10,
        size="ground_size",
    ),
    Row(
        "contacts do not close",
        (near_battery("drop_contacts_v"),),
        "solenoid_contacts",
        "Nearly all of the battery's volts, {contacts_said}, stand across the solenoid contacts: they do not close.",
        "volts at the solenoid's control terminal, key at crank: with hardly any of the battery's missing there and a click, the contacts "
        "are burnt open; without, the solenoid does not pull in",
        5,
        size="contacts_size",
    ),
    Row(
        "contact drop high",
        (above("contacts_at_usual_v", "solenoid_contacts_drop_v"), isnt(near_battery("drop_contacts_v"))),
        "solenoid_contacts",
        "The solenoid contacts lose {contacts_said}, {contacts_at_usual_v__solenoid_contacts_drop_v}.",
        _CONTACTS_NEXT,
        5,
        size="contacts_size",
    ),
    Row(
        "control drop high",
        (CONTROL_HIGH,),
        "control_circuit",
        "The control circuit loses {drop_control_v:.2f} V, {drop_control_v__control_circuit_drop_v}.",
        _CONTROL_NEXT,
        10,
        "common practice; TM 5-2420-230-24-2 p. 13-33: with both windings activated",
        size="control_size",
    ),
    *_RISEN,
)  # fmt: skip

CHARGING: Final = (
    Row(
        "charges too little",
        (below("charging_v", "least_charging_v"),),
        "charging",
        "{charging_v:.2f} V with the engine running is {charging_v__least_charging_v}: the battery is not charged.",
        "charging volts at the generator's own post, then the belt and the field or exciter wire",
        10,
    ),
    Row(
        "charges too much",
        (above("charging_v", "charging_most_v"),),
        "charging",
        "{charging_v:.2f} V with the engine running is {charging_v__charging_most_v}: the battery is overcharged.",
        "voltage drop of the regulator's sense wire and its ground",
        10,
    ),
)
