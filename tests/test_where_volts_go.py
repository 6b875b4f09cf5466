"""Where the volts go: the bar of a start, of a sound vehicle at the same amps, and of the coming low.

Truth: Kirchhoff's and Ohm's laws by hand, and nodal analysis (`test_circuit.nodal_start`), which shares no code with it.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from test_circuit import AMPS, STATE, nodal_start
from test_one_reading import EXPECTED, UNIT, fitting, take

from analysis.bay.expected import Expected
from analysis.bay.where_volts_go import COMING, READ, USUAL, WhereVoltsGo, where_volts_go
from analysis.circuit.limit_book import LimitBook

BY_HAND = {"temperature_c": 20.0, "rest_v": 12.6, "crank_min_v": 10.2, "crank_a": 200.0, "drop_positive_v": 0.3,
           "drop_contacts_v": 0.1, "drop_ground_v": 0.5}  # fmt: skip
ROUND = ["battery", "positive_cable", "solenoid_contacts", "starter_motor", "ground_path"]


def taken(reading: dict[str, Any], expected: Expected = EXPECTED, coming_c: float | None = None) -> WhereVoltsGo:
    system_v = int(expected.volts)
    limits = LimitBook().for_group("van", system_v, "diesel", 4.0)
    check = take(reading, expected, {**UNIT, "system_v": system_v})
    return where_volts_go(reading, check, expected, limits, coming_c=coming_c)


def volts(found: WhereVoltsGo, bar: str) -> dict[str, float]:
    own = found.bar(bar)
    return dict(zip(own["segment"], own["volts"], strict=True))


def test_a_reading_goes_round_the_circuit_from_its_rest_volts_to_zero() -> None:
    """By hand: 12.6 - 10.2 = 2.4 V in the battery; 10.2 - 0.3 - 0.1 - 0.5 = 9.3 V left for the motor."""
    own = taken(BY_HAND).bar(READ)
    assert own["segment"].tolist() == ROUND
    assert own["volts"].tolist() == pytest.approx([2.4, 0.3, 0.1, 9.3, 0.5])
    assert own["from_v"].tolist() == pytest.approx([12.6, 10.2, 9.9, 9.8, 0.5])
    assert own["to_v"].iloc[-1] == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("blocks", [1, 2])
def test_the_segments_are_those_of_nodal_analysis(blocks: int) -> None:
    nodes = nodal_start(AMPS, blocks=blocks)
    expected = replace(EXPECTED, volts=12.0 * blocks)
    found = volts(taken({"temperature_c": 20.0, **nodes}, expected), READ)
    assert found["starter_motor"] == pytest.approx(nodes["motor_v"])
    assert found["battery"] == pytest.approx(AMPS * 6.0e-3)
    assert sum(found.values()) == pytest.approx(12.65 * blocks)


def test_a_sound_vehicle_loses_its_own_ohms_times_the_same_amps() -> None:
    """Ohm by hand at 20 °C: 200 A through 6.0, 0.6, 0.8 and 0.5 mΩ; the motor keeps the rest of 12.65 V."""
    found = volts(taken(BY_HAND), USUAL)
    by_hand = {"battery": 1.2, "positive_cable": 0.12, "solenoid_contacts": 0.16, "ground_path": 0.1}
    assert {name: found[name] for name in by_hand} == pytest.approx(by_hand)
    assert found["starter_motor"] == pytest.approx(12.65 - 1.58)


def test_the_coming_low_at_the_reading_s_own_temperature_is_the_reading() -> None:
    """Consistency: the parts are the reading's own, so that nothing may change where the temperature does not."""
    reading = {**fitting(5.0), "drop_ground_v": 0.4, "crank_a": 230.0, "crank_min_v": 10.3}
    found = taken(reading, coming_c=5.0)
    assert volts(found, COMING) == pytest.approx(volts(found, READ), abs=0.03)


def test_the_cold_takes_more_amps_and_leaves_the_battery_less() -> None:
    found = taken(fitting(10.0), coming_c=-20.0)
    read, coming = found.bar(READ), found.bar(COMING)
    assert coming["amps"].iloc[0] > read["amps"].iloc[0]
    assert volts(found, COMING)["battery"] > 1.5 * volts(found, READ)["battery"]
    assert coming["volts"].sum() == pytest.approx(coming["from_v"].iloc[0])


def test_a_drop_that_nobody_measured_is_the_expected_one_and_says_so() -> None:
    """By hand: 200 A through this vehicle's 0.5 mΩ; the motor's error grows by the drop's quarter."""
    full, without = taken(BY_HAND).bar(READ), taken({**BY_HAND, "drop_ground_v": None}).bar(READ)
    ground = without.set_index("segment").loc["ground_path"]
    assert (ground["known"], ground["volts"]) == ("assumed", pytest.approx(0.1))
    assert ground["se_v"] == pytest.approx(0.025)
    assert without["volts"].sum() == pytest.approx(12.6)
    assert without["se_v"].iloc[3] > full["se_v"].iloc[3]


def test_volts_alone_tell_the_battery_from_the_rest_and_no_more() -> None:
    own = taken({"temperature_c": 20.0, "rest_v": 12.6, "crank_min_v": 10.2}).bar(READ)
    assert own["segment"].tolist() == ["battery", "circuit"]
    assert own["volts"].tolist() == pytest.approx([2.4, 10.2])
    assert np.isnan(own["amps"]).all()


def test_a_drop_measured_without_amps_is_told_apart_all_the_same() -> None:
    own = taken({"temperature_c": 20.0, "rest_v": 12.6, "crank_min_v": 10.2, "drop_ground_v": 0.5}).bar(READ)
    assert own["segment"].tolist() == ["battery", "circuit", "ground_path"]
    assert own["volts"].tolist() == pytest.approx([2.4, 9.7, 0.5])


def test_nothing_is_expected_of_what_its_class_was_hardly_read_for() -> None:
    unread = replace(EXPECTED, unknown=frozenset({"crank_a", "drop_positive_v", "drop_ground_v", "drop_contacts_v"}))
    found = taken({"temperature_c": 20.0, "rest_v": 12.6, "crank_min_v": 10.2}, unread, coming_c=-10.0)
    assert found.bar(USUAL)["segment"].tolist() == ["battery", "circuit"]
    assert found.bar(COMING).empty


def test_no_amps_are_expected_of_a_class_whose_amps_nobody_read() -> None:
    """What its engine is taken to draw, so that volts can be reckoned with, is no expectation to stand beside a printed limit."""
    unclamped = replace(EXPECTED, unknown=frozenset({"crank_a"}))
    volts_only = {name: BY_HAND[name] for name in ("temperature_c", "rest_v", "crank_min_v")}
    assert taken(volts_only, unclamped).bar(USUAL)["amps"].isna().all()
    assert taken(volts_only).bar(USUAL)["amps"].notna().all()
    assert taken(BY_HAND, unclamped).bar(USUAL)["amps"].tolist() == [200.0] * len(taken(BY_HAND, unclamped).bar(USUAL))


def test_limits_are_those_of_the_reading_s_checks() -> None:
    """A drop's limit grows with the amps; the battery may lose its rest volts less the least volts of that temperature."""
    found, check = taken(BY_HAND).bar(READ).set_index("segment"), take(BY_HAND)
    printed = dict(zip(check.limits["check"], check.limits["limit"], strict=True))
    assert found.at["ground_path", "limit_v"] == pytest.approx(printed["drop_ground_v"])
    assert found.at["positive_cable", "limit_v"] == pytest.approx(printed["drop_positive_v"])
    assert found.at["battery", "limit_v"] == pytest.approx(12.6 - printed["crank_min_v"])
    assert found["over"].to_dict() == dict.fromkeys(ROUND, False) | {"ground_path": True, "positive_cable": True}


@pytest.mark.parametrize(
    ("reading", "why"),
    [
        ({"rest_v": 12.6, "crank_min_v": 10.2, "lowest_is": "sampled"}, "only_a_bound"),
        ({"rest_v": 12.6, "crank_a": 200.0}, "no_crank_min_v"),
        ({"rest_v": 12.0, "crank_min_v": 12.4}, "volts_contradict"),
    ],
)  # fmt: skip
def test_a_reading_without_the_volts_has_no_bar_and_says_why(reading: dict[str, Any], why: str) -> None:
    found = taken({"temperature_c": 20.0, **reading}, coming_c=-10.0)
    assert (found.why_not, len(found.bar(READ)), len(found.bar(COMING))) == (why, 0, 0)
    assert len(found.bar(USUAL)) == 5


def test_glow_plugs_amps_are_lost_in_the_battery_alone() -> None:
    """By hand at 0 °C with 60 A of glow plugs: the battery gives 260 A, the cables carry 200 A."""
    expected = replace(EXPECTED, usual=replace(STATE, aid_load_a=60.0, aid_below_c=5.0, battery_b=0.0, battery_c=0.0))
    found = volts(taken({**BY_HAND, "temperature_c": 0.0}, expected), USUAL)
    assert found["battery"] == pytest.approx(260.0 * 6.0e-3)
    assert found["solenoid_contacts"] == pytest.approx(200.0 * 0.8e-3)
