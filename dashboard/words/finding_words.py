"""What the decision table says: for each of its rows the sentence, by the row's key, with the figures of a finding's facts.

`value__limit` in a sentence becomes "above 1.00 V", or "1.004 V, above 1.000 V" where fewer digits would not tell the two apart.
"""

from collections.abc import Mapping
from typing import Final

from analysis.bay.choices import BOUNDARIES
from analysis.bay.facts import DROPS, Facts, number
from analysis.bay.findings import Finding
from dashboard.words.figures import beyond, both_degrees
from dashboard.words.next_words import ASKED, unit_of

AT_TIMES: Final = (
    "At an earlier try of this visit {tried}, and now it starts: unless that was put right meanwhile, {what}."
)
LOSES: Final = {
    "positive": "positive cable loses", "ground": "ground path loses", "contacts": "solenoid contacts lose",
    "control": "control circuit loses",
}  # fmt: skip

SENTENCES: Final[Mapping[str, str]] = {
    # --- measurements that cannot be believed
    "only_one_battery_of_a_pair_measured":
        "{doubted_said} goes with one battery of the pair. It is not used, nor are volts while cranking below it. If it was measured twice "
        "across both batteries, say so: then it counts.",
    "slipped_decimal_point":
        "{doubted_said} does not go with this vehicle's past and its other values: most likely a slip of the decimal point or the wrong "
        "range. It is not used. If it was measured twice, say so: then it counts.",
    "drop_that_the_turning_engine_denies":
        "{largest_drop_v:.2f} V are nearly all that the battery has, and the engine was turned: they cannot be lost in one place. A lead "
        "was on another point, or on ground. If it was measured twice, say so: then it counts.",
    "control_drop_that_the_held_solenoid_denies":
        "With {drop_control_v:.2f} V lost the solenoid would have {held_v:.2f} V, which holds none, and the engine was turned: a lead was "
        "on another point, or on ground.",
    "drop_that_speed_and_inrush_deny":
        "A drop of {largest_drop_v:.2f} V would slow the engine, and it turned as ever with the usual inrush: that drop was misread. If it "
        "was measured twice, say so: then it counts.",
    "drops_that_amps_deny":
        "{crank_a:.0f} A flowed, and the drops are next to nothing, at most {largest_drop_v:.2f} V: no cable is that good. They were read "
        "while nothing turned, on a lead that touched nothing, or in the wrong range.",
    "clamp_round_one_of_two_cables":
        "The clamp shows {crank_a:.0f} A, but battery and drops together tell of about {told_a:.0f} A: the clamp was round one of two "
        "cables.",
    "clamp_off":
        "The clamp shows {crank_a:.0f} A, but battery and drops together tell of about {told_a:.0f} A: the clamp's zero, its range or its "
        "place is wrong.",
    "usual_speed_at_few_amps":
        "{crank_a:.0f} A are too few for an engine that turns at {crank_rpm:.0f} rpm: the clamp's zero or its place is wrong.",
    "engine_still_warm":
        "{crank_a:.0f} A and {crank_rpm:.0f} rpm, and the drops go with these amps: the engine was still warm from a run and turned easily. "
        "What is usual in this air tells nothing of it.",
    "an_engine_that_turned_at_no_speed":
        "{crank_rpm:.0f} rpm, and the engine was turned: the tachometer read nothing.",
    "an_engine_that_did_not_turn_at_a_speed":
        "{crank_rpm:.0f} rpm, and the start is put down as one at which the engine stood: that word is wrong, or the values are of another "
        "try. Where it fails at times only, measure while it fails.",
    "coil_amps_of_nothing":
        "{coil_a:.1f} A, and the solenoid held while the engine was cranked: the clamp was round another wire, or its zero is wrong.",
    "half_the_speed_of_these_volts":
        "{crank_rpm:.0f} rpm is about half the speed that these volts and amps give, and the inrush is as usual: it was counted for another"
        " number of cylinders, or every second pulse was missed.",
    "twice_the_speed_of_these_volts":
        "{crank_rpm:.0f} rpm is about twice the speed that these volts and amps give: it was counted for another number of cylinders.",
    "charging_volts_of_one_battery_of_a_pair":
        "{charging_v:.2f} V with the engine running goes with one battery of the pair.",
    "volts_while_cranking_of_one_battery_of_a_pair":
        "{crank_min_v:.2f} V goes with one battery of the pair: it started, and took {crank_a:.0f} A, which an engine does not on half its "
        "volts. If it was measured twice across both batteries, say so: then it counts.",
    "dip_taken_for_steady_volts":
        "{crank_min_v:.2f} V cannot be what the engine turned at: amps and speed are those of more volts. It is the dip of the first "
        "moment, which a meter's MIN holds.",
    "volts_that_the_inrush_denies":
        "{crank_min_v:.2f} V at {crank_a:.0f} A cannot be: the {peak_a:.0f} A of the first moment would have left {dip_told_v:.1f} V, and it "
        "started. It is the dip of that moment, which a meter's MIN holds.",
    "volts_that_did_not_fall":
        "The battery fell by {fell_v:.2f} V at {crank_a:.0f} A, and none holds up so well: {crank_min_v:.2f} V were read before the engine "
        "turned, or by a meter too slow for it.",
    "volts_that_speed_and_inrush_deny":
        "{crank_min_v:.2f} V cannot be what the engine turned at: amps, inrush and speed are those of more volts. On one of two batteries a"
        " meter shows half; else its range or a lead is wrong.",
    "temperature_in_other_degrees":
        "{temperature_c:.0f} °C does not go with volts, amps and speed: they are as ever at {told_c:.0f} °C. Were the degrees read in °F, "
        "or was the minus left out?",
    "temperature_not_noted_and_the_cold_explains_it":
        "The air's temperature was not noted, and at {told_c:.0f} °C all that was measured would be as ever. In air that cold nothing "
        "points to a fault; in warmer air something does.",
    "rest_volts_while_charging":
        "{rest_v:.2f} V is not a battery at rest: the engine ran, a charger was on, or it has only just been taken off.",
    "rest_volts_taken_under_a_load":
        "{rest_v:.2f} V is not the battery at rest: while cranking it holds up like one of {open_told_v:.1f} V. Something was drawing: glow"
        " plugs, lights, the ignition.",
    # --- an engine that is turned as ever, or not at all
    "turns_too_easily_and_does_not_start":
        "The engine turns faster than ever ({crank_rpm:.0f} against {usual_rpm:.0f} rpm) at fewer amps ({crank_a:.0f} against "
        "{usual_crank_a:.0f} A): it does not compress. Timing belt or chain, or valves: crank it no further.",
    "cranks_well_and_does_not_start":
        "The engine is cranked as well as ever and does not start: look at fuel, spark or glow, and the immobiliser, by the maker's "
        "procedure.",
    "too_cold_to_fire":
        "{crank_rpm:.0f} rpm is what a sound battery and starter make of this cold, and {crank_rpm__least_cranking_rpm}, the least the engine "
        "needs to fire: its oil is too thick for this air. Warm it, or use thinner oil, before parts are looked at.",
    "cranks_as_well_as_this_cold_lets_it_and_does_not_start":
        "{crank_rpm:.0f} rpm is what a sound battery and starter make of this cold: look at fuel (diesel may be waxed), spark or glow, and "
        "the immobiliser, by the maker's procedure.",
    "starter_spins_free":
        "The starter runs and the engine does not turn: the pinion does not engage, its clutch slips, or the ring gear is worn.",
    "locked":
        "{crank_a:.0f} A flow and the engine does not turn: the engine is seized, water or fuel stands in a cylinder, or the starter is "
        "locked. Crank it no further.",
    # --- the control side
    "feed_dead":
        "{feed_v:.2f} V at the relay socket's feed terminal: nothing behind it works on that. Look at its fuse and its wire from the "
        "battery first.",
    "feed_weak":
        "The relay socket's feed terminal has {feed_v:.2f} V, {feed_lacks_v:.2f} V less than the battery: resistance in its wire, fuse or "
        "connectors.",
    "jumper_cranks":
        "With a fused jumper at the relay socket the engine cranks: battery, cables, starter and control wire work. The fault is before the"
        " socket: relay, switch, neutral or clutch switch, immobiliser.",
    "coil_shorted":
        "The coil alone leaves {coil_alone_v:.2f} V under load, less than a sound one: the coil is shorted.",
    "control_wire_shorted_coil_good_alone":
        "There is a short to ground, and the coil alone leaves {coil_alone_v:.2f} V, which is good: the control wire is shorted.",
    "jumper_fuse_opens":
        "The jumper's {jumper_fuse_a:.0f} A fuse opens: the control wire or the coil is shorted to ground (some solenoids need a 15 A fuse:"
        " look it up first).",
    "control_wire_open_coil_good":
        "{control_loaded_v:.2f} V left at the relay socket under load is near battery voltage, and {coil_loaded_v:.2f} V at the coil's end "
        "is not: the control wire or a connector between the two is open.",
    "control_wire_open":
        "{control_loaded_v:.2f} V left at the relay socket under load is near battery voltage: the control wire, its connectors or the "
        "coil's ground is open.",
    "coil_open":
        "Both ends of the control wire read near battery voltage ({coil_loaded_v:.2f} V at the coil), so that hardly any current flows: the"
        " coil or its ground is open.",
    "coil_connector_open":
        "Both ends of the control wire read near battery voltage ({coil_loaded_v:.2f} V at the coil), and the coil alone leaves "
        "{coil_alone_v:.2f} V, which is good: the connector between the two is open.",
    "control_wire_short_to_ground":
        "{control_loaded_v:.2f} V left at the relay socket under load is less than any sound coil leaves: the control wire or the coil is "
        "shorted to ground.",
    "resistance_in_the_wire":
        "Under load the ends of the control wire read {control_loaded_v:.2f} and {coil_loaded_v:.2f} V, more than {wire_ends_equal_v:.2f} V"
        " apart: the resistance is in the wire or its connectors.",
    "control_side_resistive_by_ohms":
        "{control_loaded_v:.2f} V left under the tester's {tester_load_ohm:.1f} Ω are {control_ohm:.2f} Ω, as no sound coil has: resistance"
        " in the control wire or the coil.",
    "control_side_resistive_not_split":
        "{control_loaded_v:.2f} V left at the relay socket under load is {control_loaded_v__wire_good_high_v}: resistance in the control "
        "wire or the coil, if the tester's load is that of a small lamp. With a heavy load a sound coil leaves more: note the tester's "
        "ohms.",
    "coil_resistive_by_ohms":
        "The coil has {winding_ohm:.2f} Ω ({coil_loaded_v:.2f} V left under the tester's {tester_load_ohm:.1f} Ω), as no sound one has: "
        "resistance in the coil or its ground.",
    "resistance_in_the_coil":
        "Both ends of the control wire read the same within {wire_ends_equal_v:.2f} V, so that the wire is good: the resistance is in the "
        "coil or its ground.",
    "coil_good_alone":
        "The coil alone leaves {coil_alone_v:.2f} V, which is good, and the wire with it {control_loaded_v:.2f} V: the resistance is in the"
        " wire.",
    "coil_open_measured_alone":
        "The coil alone leaves {coil_alone_v:.2f} V under load, near battery voltage, so that hardly any current flows: the coil or its "
        "ground is open.",
    "coil_resistive":
        "The coil alone leaves {coil_alone_v:.2f} V under load, more than a sound one: resistance in the coil or its ground.",
    "no_volts_at_the_solenoid":
        "Of the battery's volts {drop_control_v:.2f} V are lost before the solenoid: the control circuit is open.",
    "coil_starved":
        "The solenoid gets {solenoid_v:.2f} V, {solenoid_v__must_pull_in_v} at which it must pull in: the control circuit starves it.",
    "hold_in_winding_open":
        "The solenoid takes {pull_in_a:.0f} A as it pulls in and {coil_a:.1f} A to hold: its hold-in winding, or the ground of that, is "
        "open.",
    "coil_takes_no_amps": "The solenoid gets its volts and takes {coil_a:.1f} A: the coil or its ground is open.",
    "coil_gets_its_volts_no_click":
        "The solenoid gets {solenoid_v:.2f} V and nothing is heard: the coil or its ground is open, or the plunger is stuck.",
    "coil_takes_no_amps_its_volts_not_measured":
        "The solenoid coil takes {coil_a:.1f} A: it gets no volts, or it or its ground is open.",
    "coil_takes_amps_no_click":
        "The coil takes {coil_a:.1f} A and nothing is heard: the solenoid's plunger is stuck, or its pull-in winding is open.",
    "pull_in_winding_open":
        "The solenoid takes {pull_in_a:.0f} A as it pulls in, what the hold-in winding takes alone, and the control circuit is not what "
        "holds it back: the pull-in winding, or its way to ground through the starter, is open.",
    "pull_in_amps_high":
        "Both windings together take {pull_in_a:.0f} A, {pull_in_full_a__highest_pull_in_a} at full volts: shorted turns.",
    "pull_in_amps_low":
        "Both windings together take {pull_in_a:.0f} A, {pull_in_full_a__least_both_a} at full volts, and the control circuit is not what "
        "holds them back: a winding or its ground has resistance.",
    "coil_amps_high":
        "The solenoid coil takes {coil_a:.1f} A, {coil_a__highest_coil_a}, and not what both windings take: shorted turns. So many amps "
        "lose more volts on their way, too.",
    "coil_amps_low":
        "The solenoid coil takes {coil_a:.1f} A, below {least_coil_a:.0f} A: resistance in its wire or winding.",
    # --- the battery
    "one_battery_of_a_pair_discharged":
        "Rest voltage {rest_v:.2f} V is {rest_v__rest_act_v} (half charged): both batteries are discharged, or one of the pair is flat or "
        "has a dead cell.",
    "one_cell_dead":
        "Rest voltage {rest_v:.2f} V is that of five cells instead of six: one is dead, or the battery is deeply discharged.",
    "battery_deeply_discharged":
        "Rest voltage {rest_v:.2f} V is far below that of a flat battery: one so deeply discharged may not recover, or has dead cells.",
    "battery_discharged_though_charged":
        "Rest voltage {rest_v:.2f} V is {rest_v__rest_act_v} (half charged), and the generator gives {charging_v:.2f} V: something drains it "
        "while it stands, its trips are too short, or it no longer takes a charge.",
    "battery_discharged":
        "Rest voltage {rest_v:.2f} V is {rest_v__rest_act_v} (half charged): charge before judging anything else.",
    "chatter_lets_go_at_the_dip":
        "At the dip the solenoid has {held_v:.2f} V, {held_v__let_go_v} at which hold-in lets go: the battery, or a loose connection at its"
        " posts, lets the volts fall.",
    "volts_collapse":
        "The battery falls from {rest_v:.2f} to {lowest_v:.2f} V, where even a held solenoid may let go: a dead cell, or a loose connection"
        " at the post.",
    # --- the load
    "high_amps_slow_inrush_raised":
        "{crank_a:.0f} A are high, the engine turns slowly ({crank_rpm:.0f} against {usual_rpm:.0f} rpm) and the inrush is raised "
        "({peak_a:.0f} against {usual_peak_a:.0f} A): shorted or grounded windings in the starter.",
    "high_amps_slow_inrush_hardly_raised":
        "{crank_a:.0f} A are high, the engine turns slowly ({crank_rpm:.0f} against {usual_rpm:.0f} rpm) and the inrush is raised by no "
        "more than a clamp may be out ({peak_a:.0f} against {usual_peak_a:.0f} A): mechanical drag, or shorted windings.",
    "high_amps_slow":
        "{crank_a:.0f} A are high, the engine turns slowly ({crank_rpm:.0f} against {usual_rpm:.0f} rpm) and the inrush is as usual: "
        "mechanical drag, or a starter that binds.",
    "high_amps_not_slow":
        "{crank_a:.0f} A are high although the engine turns at its usual speed: shorted turns or a weak field in the starter.",
    "high_amps_somewhat_slow":
        "{crank_a:.0f} A are high and the engine turns somewhat slower ({crank_rpm:.0f} against {usual_rpm:.0f} rpm): mechanical drag, or a"
        " starter that binds or is shorted.",
    "high_amps_inrush_or_speed_unknown":
        "{crank_a:.0f} A are high: shorted windings or mechanical drag. Speed and inrush together tell them apart.",
    "high_amps_nobody_knows_what_is_usual":
        "{crank_a:.0f} A are high: shorted windings or mechanical drag. {crank_rpm:.0f} rpm and {peak_a:.0f} A of inrush do not tell the "
        "two apart, as too few readings say what is usual in this class.",
    "starter_open":
        "The battery's volts reach the starter, as no drop is missing any, and hardly any amps flow: it is open inside, brushes that do not"
        " touch or a dead spot of the commutator.",
    **dict.fromkeys(
        ("low_amps_drops_good_battery_holds", "low_amps_drops_good_battery_holds_inrush_known"),
        "{crank_a:.0f} A are low with good drops and a battery that holds: worn or open brushes or commutator in the starter.",
    ),
    "slow_inrush_low":
        "The engine turns slowly ({crank_rpm:.0f} against {usual_rpm:.0f} rpm) and the inrush is low ({peak_a:.0f} against "
        "{usual_peak_a:.0f} A) with good drops and a battery that holds: resistance in the starter, worn brushes or commutator.",
    "slower_than_ever_inrush_lower":
        "The engine turns slower than this vehicle's earlier readings make it ({crank_rpm:.0f} against {own_rpm:.0f} rpm), and the inrush "
        "is lower ({peak_a:.0f} against {own_peak_a:.0f} A), with good drops and a battery that holds: resistance in the starter, worn "
        "brushes or commutator.",
    "slow_at_usual_amps":
        "{crank_rpm:.0f} rpm is slow for the volts and amps that the starter gets ({usual_rpm:.0f} rpm is usual): the starter is weak.",
    # --- a weak battery
    "battery_lost_charge":
        "Rest voltage {rest_v:.2f} V is {rest_v__rest_watch_v} (three quarters charged) and {rest_fell_v:.2f} V less than this vehicle's "
        "earlier readings make it: it has lost charge.",
    "one_battery_of_a_pair":
        "{rest_v:.2f} V at rest and {battery_times:.1f} times the usual resistance: one battery of the pair is likely flat or worn while "
        "the other is sound.",
    "battery_weak_with_low_rest_volts":
        "{rest_v:.2f} V at rest and {battery_times:.1f} times the usual resistance: the battery is partly discharged or worn.",
    "battery_weak_under_load":
        "The battery held {crank_min_v:.2f} V at {crank_a:.0f} A. At {half_cca_a:.0f} A, half its label's cold-cranking amps, it would hold "
        "{half_cca_v:.2f} V, {half_cca_v__load_test_v} of the load-test table at {air}: it is worn.",
    "battery_weak_under_load_colder_than_the_table":
        "At {half_cca_a:.0f} A, half its label's cold-cranking amps, the battery would hold {half_cca_v:.2f} V at {air}. One that is what "
        "its label says holds more than {load_test_v:.2f} V, the least of the load-test table's coldest row, in this cold too: it is worn.",
    "battery_resistance_high":
        "The battery has {battery_mohm:.1f} mΩ, {battery_times:.1f} times what is usual at this temperature: it is worn.",
    "battery_weak_rest_volts_unknown":
        "{crank_min_v:.2f} V while cranking is {low_under_usual_v:.2f} V less than usual, at no more amps than usual: the battery is weak "
        "or discharged. Rest volts tell which.",
    "battery_weak_by_its_speed_amps_unknown":
        "{crank_min_v:.2f} V while cranking is {low_under_usual_v:.2f} V less than usual, and {crank_rpm:.0f} rpm is what these volts leave"
        " of the usual {usual_rpm:.0f} rpm at usual amps: the battery is weak. A load of so many amps would turn far slower.",
    "many_amps_by_their_speed_amps_unknown":
        "{crank_min_v:.2f} V while cranking is {low_under_usual_v:.2f} V less than usual, and {crank_rpm:.0f} rpm is far less than these "
        "volts leave of the usual {usual_rpm:.0f} rpm at usual amps: drag, or a starter that takes too many amps, before a weak battery.",
    "battery_weak_amps_unknown":
        "{crank_min_v:.2f} V while cranking is less than a sound battery usually holds; without amps a heavy load cannot be told from a "
        "weak battery.",
    # --- drops
    "positive_cable_drop_high":
        "The positive cable loses {positive_said}, {positive_at_usual_v__positive_cable_drop_v}.",
    "ground_path_drop_high": "The ground path loses {ground_said}, {ground_at_usual_v__ground_path_drop_v}.",
    "positive_cable_open":
        "Nearly all of the battery's volts, {positive_said}, are lost in the positive cable: one of its connections, or the cable itself, "
        "is open.",
    "ground_path_open":
        "Nearly all of the battery's volts, {ground_said}, are lost in the ground path: a strap or one of its connections is open.",
    "contacts_do_not_close":
        "Nearly all of the battery's volts, {contacts_said}, stand across the solenoid contacts: they do not close.",
    "contact_drop_high":
        "The solenoid contacts lose {contacts_said}, {contacts_at_usual_v__solenoid_contacts_drop_v}.",
    "control_drop_high": "The control circuit loses {drop_control_v:.2f} V, {drop_control_v__control_circuit_drop_v}.",
    **{
        f"{part}_drop_risen": f"The {loses} {{{part}_read_v:.2f}} V, which is within its limit and {{{part}_own_times:.1f}} times what this "
        "vehicle's earlier readings make it: it is going bad, unless it was misread."
        for part, loses in LOSES.items()
    },
    # --- charging
    "charges_little":
        "{charging_v:.2f} V with the engine running is {charging_v__least_charging_v}, and above the {rest_v:.2f} V of rest: a slipping belt "
        "or a weak generator, or one that the engine's control lets idle while the battery is full.",
    "charges_too_little":
        "{charging_v:.2f} V with the engine running is {charging_v__least_charging_v}: the battery is not charged.",
    "charges_too_much":
        "{charging_v:.2f} V with the engine running is {charging_v__charging_most_v}: the battery is overcharged.",
    # --- what stands alone
    "starts_now_nothing_was_heard": AT_TIMES.format(
        tried="nothing was heard",
        what="something before the solenoid makes contact at times only: relay, switch, neutral or clutch switch, a connector",
    ),
    "starts_now_it_only_clicked": AT_TIMES.format(
        tried="it only clicked",
        what="the contacts do not close each time, the starter has a dead spot, or a connection on the power side is loose",
    ),
    "starts_now_the_starter_only_spun": AT_TIMES.format(
        tried="the starter only spun",
        what="the pinion does not engage each time, or its clutch slips",
    ),
    "cranks_only_start_not_measured":
        "The engine cranks and does not start: fuel, spark or glow, the immobiliser, unless it cranks slower than ever.",
    "jumper_does_not_crank_nothing_heard":
        "Feed and battery are good, and with a fused jumper at the relay socket the engine does not crank either: where nothing is heard "
        "with the jumper too, the solenoid is not switched on, and the control wire or the coil is at fault.",
    "jumper_does_not_crank_nothing_heard_feed_unknown":
        "Nothing is heard, and with a fused jumper at the relay socket the engine does not crank either: without volts at the socket's feed"
        " terminal a jumper switches nothing on; with them, the control wire or the coil is at fault.",
    "one_winding_alone_nothing_heard":
        "{winding_ohm:.2f} Ω are those of the hold-in winding alone, and nothing is heard: the pull-in winding, or its way to ground "
        "through the starter, is open, unless this solenoid has one winding only.",
    "jumper_does_not_crank":
        "With a fused jumper at the relay socket the engine does not crank: control wire, solenoid, starter, cables or battery are at "
        "fault, not the relay or the switch.",
    "jumper_does_not_crank_control_side_good":
        "With a fused jumper at the relay socket the engine does not crank, and wire and coil are sound: the solenoid's contacts, the "
        "starter, a cable or the battery is at fault.",
    "jumper_does_not_crank_nothing_lost":
        "With a fused jumper at the relay socket the engine does not crank, and nothing is lost on the power side: the solenoid does not "
        "close. The control wire or the coil is at fault.",
    "chatter_volts_hold":
        "The solenoid chatters although the battery holds {lowest_v:.2f} V: its hold-in winding or its ground is open.",
    "chatter":
        "The solenoid chatters: mostly a flat battery or a loose connection, which lets the volts fall as soon as the contacts close.",
    "no_click_battery_good":
        "Nothing is heard and the battery has {rest_v:.2f} V: the solenoid is not switched on. Feed, relay, neutral or clutch switch, wire "
        "or coil.",
    "no_click_battery_and_feed_good":
        "Nothing is heard, the battery has {rest_v:.2f} V and the relay socket's feed terminal {feed_v:.2f} V: the solenoid is not switched"
        " on. Relay, neutral or clutch switch, wire or coil.",
    "click_contacts_lose_nothing":
        "The solenoid clicks once, and only {drop_contacts_v:.2f} V stand across its contacts: they are not what is open. A cable, the "
        "ground path or the starter's own windings are.",
    "click_battery_good":
        "The solenoid clicks once, the battery has {rest_v:.2f} V and the engine does not turn: contacts that do not close, before a cable "
        "or a locked starter.",
    "low_amps_drops_unknown":
        "{crank_a:.0f} A are low: worn starter, low battery voltage, or resistance in cable, contacts or ground.",
    "slow_all_but_the_starter_good":
        "The engine turned slowly with good drops, a battery that holds and no more amps than usual, where drag would take more: the "
        "starter is weak.",
    "slow_speed_below_least_all_else_good":
        "{crank_rpm:.0f} rpm is {crank_rpm__least_cranking_rpm}, the least the engine needs, with good drops and a battery that holds: "
        "drag, oil too thick for this air, or a weak starter.",
    "slow_speed_below_least":
        "{crank_rpm:.0f} rpm is {crank_rpm__least_cranking_rpm}, the least the engine needs, and nothing else that was measured says why.",
    # --- what is good, and what tells nothing
    **dict.fromkeys(
        ("control_side_good_it_cranks", "control_side_good"),
        "{control_loaded_v:.2f} V left at the relay socket under load is what a sound wire and coil leave.",
    ),
    "both_windings_caught":
        "{coil_a:.0f} A are what both windings take as the solenoid pulls in: sound. Hold-in alone shows once it is in.",
    "no_current_nothing_else_measured":
        "Hardly any current flows: the solenoid is not switched on, or the power side is open.",
    "did_not_turn_nothing_measured": "The engine did not start, and {all_measured}.",
    "did_not_start_rest_volts_only":
        "The engine did not start, and {rest_v:.2f} V at rest tell how far the battery is charged, not what it gives.",
    "did_not_start_volts_as_usual":
        "The engine did not start although the battery held {crank_min_v:.2f} V, about what is usual: if it turned as fast as ever, it is "
        "fuel or ignition, else resistance behind the battery, in cables, contacts, ground or starter.",
    "slow_volts_low_amps_not_measured":
        "The engine turned slowly and the battery held {crank_min_v:.2f} V, {low_under_usual_v:.2f} V less than usual: it is weak, or the "
        "starter takes too many amps.",
    "slow_in_the_cold_amps_and_volts_as_usual":
        "The engine turned slowly, and amps and volts are as usual at {air}: every engine turns slower in this cold.",
    "slow_volts_as_usual":
        "The engine turned slowly although the battery held {crank_min_v:.2f} V, about what is usual: so it is neither a weak battery nor "
        "drag, but resistance behind the battery, in cables, contacts, ground or starter.",
    "slow_drops_not_measured": "The engine turned slowly, and nothing that was measured says why.",
    "slow_drops_good_speed_or_inrush_not_measured":
        "The engine turned slowly with good drops: battery, starter or drag.",
    "slow_nothing_measured": "The engine turned slowly, and {all_measured}.",
    "slow_nothing_amiss":
        "The start is put down as slow, and nothing that was measured is beyond what sound vehicles show.",
}  # fmt: skip
"""Key of a row -> its sentence."""


def finding_sentence(finding: Finding) -> str:
    """What a finding says, with its figures."""
    return SENTENCES[finding.row].format_map(_Said(finding.facts))


class _Said(dict[str, float | str]):
    """Facts as a sentence names them; what several of them make is worked out where it is named."""

    def __init__(self, facts: Facts) -> None:
        super().__init__(facts)
        self["all_measured"] = _all_measured(facts)
        if "doubted" in facts:
            self["doubted_said"] = _doubted_said(facts)
        if isinstance(air_c := facts.get("temperature_c"), float | int):
            self["air"] = both_degrees(air_c)
        for part, name in DROPS.items():
            if f"{part}_at_usual_v" in facts:
                self[f"{part}_said"] = _drop_said(facts, part, name)

    def __missing__(self, key: str) -> str:
        name, _, bound = key.partition("__")
        if not bound:
            raise KeyError(key)
        return beyond(float(self[name]), float(self[bound]), unit_of(bound))


def _all_measured(facts: Facts) -> str:
    """What is said of all that was measured where none of it tells anything."""
    if any(name in facts for name in ASKED):
        return "nothing that was measured says why"
    return "what was measured was set aside" if "doubted" in facts else "nothing was measured"


def _doubted_said(facts: Facts) -> str:
    """A value that is not believed, by name and with what was read."""
    name, words = str(facts["doubted"]), ASKED[str(facts["doubted"])]
    if "doubted_value" not in facts:
        return words
    return f"{words[:1].upper()}{words[1:]}, {facts['doubted_value']:g} {unit_of(name)},"


def _drop_said(facts: Facts, part: str, name: str) -> str:
    """A drop as it was read, and where amps were other than usual, what it comes to at those."""
    read, at = number(facts, name), number(facts, f"{part}_at_usual_v")
    same_figure, no_amps = abs(at - read) < 0.005, read > BOUNDARIES.open_share * number(facts, "battery_now_v")
    if same_figure or no_amps:
        return f"{read:.2f} V"
    if "judged_at_a" not in facts:
        if at * number(facts, "cold_amps_times") >= read - 0.005:
            return f"{read:.2f} V in this air, which is {at:.2f} V in the warm"
        flowed = number(facts, "crank_a")
        return f"{read:.2f} V at {flowed:.0f} A, which is {at:.2f} V at {at / read * flowed:.0f} A"
    amps = f"{number(facts, 'crank_a'):.0f} A" if "crank_a" in facts else "amps that nobody measured"
    return f"{read:.2f} V at {amps}, which is {at:.2f} V at the usual {number(facts, 'judged_at_a'):.0f} A"
