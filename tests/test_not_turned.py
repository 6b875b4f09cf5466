"""What is measured next where the engine did not turn: list and bay ask for the same, and for nothing that needs it to turn.

Common practice: of a vehicle that only clicks a workshop takes rest volts, then volts and amps with the key held at crank; what is lost
in a joint shows only while amps flow.
"""

from typing import Any

import pandas as pd
import pytest

from analysis.bay.findings import locate_segment
from analysis.bay.not_turned import asked_after
from analysis.circuit.limits import default_limits
from dashboard.words import list_row, safety
from dashboard.words.next_words import next_measurement

LIMITS = {"A": default_limits(12)}
SUSPECTED = {
    "unit": "A", "status": "judged", "flagged": True, "part": "ground_path", "flag_probability": 0.6, "vehicle_class": "van",
    "system_v": 12, "repaired_probability": 0.0, "failed_starts": 1, "failure": "click", "failure_unexplained": 0.2,
}  # fmt: skip
GROUND = {"part": "ground_path", "part_probability": 0.9, "worn_probability": 0.9, "readings": 5, "last_slip": 0.0}


def readings(*rows: dict[str, Any]) -> pd.DataFrame:
    """Readings of one vehicle, one a day."""
    dated = [
        {"unit": "A", "taken_at": pd.Timestamp(f"2026-11-{day:02d}T07:10"), "doubtful": "", "confirmed": "", **row}
        for day, row in enumerate(rows, 1)
    ]
    return pd.DataFrame(dated)


STARTED = {"outcome": "started", "rest_v": 12.7, "crank_min_v": 10.4, "crank_a": 210.0}


@pytest.mark.parametrize("outcome", ["click", "no_click", "chatter", "spins"])
def test_list_and_bay_ask_for_the_same_of_an_engine_that_stands(outcome: str) -> None:
    for held in ({}, {"rest_v": 12.6}, {"rest_v": 11.8}):
        asked = next_measurement(asked_after(readings(STARTED, {"outcome": outcome, **held}), LIMITS)["A"])
        said = [next_measurement(f) for f in locate_segment({"outcome": outcome, **held}) if f.following]
        assert asked == said[0]
        assert "while cranking" not in asked or outcome == "spins" or asked.startswith("charge")


def test_nothing_that_needs_a_turning_engine_is_asked_of_one_that_clicks() -> None:
    """The joints of the ground path are suspected: with the engine turning their drops are what tells."""
    turning = list_row.next_tests([SUSPECTED | {"failed_starts": 0}], {"A": [GROUND]})["A"]
    assert turning is not None
    assert "while cranking" in turning
    asked = asked_after(readings(STARTED, {"outcome": "click"}), LIMITS)
    said = list_row.next_tests([SUSPECTED], {"A": [GROUND]}, not_turned=asked)["A"]
    assert said == (
        "Rest voltage, then volts at the battery and amps with the key held at crank: the engine did not turn when it was last tried."
    )
    assert safety.DISABLE in safety.said_with(said), "it may turn all the same"
    assert list_row.to_do({"next_test": said, "flagged": True}).endswith("with the key held at crank")


def test_nobody_is_sent_to_try_a_locked_engine_once_more() -> None:
    """A no-start at 0 rpm stood as one that clicked did; common practice: water or fuel in a cylinder bends a rod when it is cranked on."""
    locked = {
        "outcome": "no_start",
        "rest_v": 12.66,
        "crank_min_v": 9.6,
        "crank_a": 460.0,
        "peak_a": 480.0,
        "crank_rpm": 0.0,
    }
    asked = asked_after(readings(STARTED, locked), LIMITS)
    said = list_row.next_tests(
        [SUSPECTED | {"failure": "no_start", "failure_unexplained": 0.9}], {"A": [GROUND]}, not_turned=asked
    )["A"]
    assert said is not None
    assert said.startswith("Turn the engine by hand at the crankshaft")
    assert asked_after(readings(STARTED, locked | {"crank_rpm": 140.0}), LIMITS) == {}


def test_what_was_read_at_the_click_is_not_asked_for_again() -> None:
    dead = {"outcome": "click", "rest_v": 12.6, "crank_min_v": 12.5, "crank_a": 4.0}
    assert (
        next_measurement(asked_after(readings(dead), LIMITS)["A"])
        == "the three drops of the power side with the key held at crank"
    )
    doubted = {**dead, "rest_v": 1.26, "doubtful": "rest_v"}
    assert "rest voltage" in next_measurement(asked_after(readings(doubted), LIMITS)["A"])


def test_a_battery_that_is_charged_first_should_turn_it_afterwards() -> None:
    asked = next_measurement(asked_after(readings({"outcome": "click", "rest_v": 11.9}), LIMITS)["A"])
    assert asked.startswith("charge fully")
    assert asked.endswith("volts while cranking")


def test_an_engine_that_turned_since_is_asked_as_any_other() -> None:
    assert asked_after(readings({"outcome": "click"}, STARTED), LIMITS) == {}
    assert asked_after(readings({"outcome": "click"}), {}) == {}
    assert asked_after(readings({"outcome": "click"}).drop(columns="outcome"), LIMITS) == {}


def test_where_enough_is_known_nothing_more_is_measured() -> None:
    """A worn battery that clicked in real cold is charged and tested: five minutes of volts would change nothing."""
    battery = {"part": "battery", "part_probability": 1.0, "worn_probability": 1.0, "readings": 9, "last_slip": 0.0}
    unit = SUSPECTED | {"part": "battery"}
    charged = {"A": 0.0}
    assert list_row.next_tests([unit], {"A": [battery]}, discharged=charged)["A"] is None
    asked = asked_after(readings({"outcome": "click"}), LIMITS)
    assert list_row.next_tests([unit], {"A": [battery]}, discharged=charged, not_turned=asked)["A"] is None


def test_a_failed_start_is_not_left_to_the_next_service() -> None:
    unit = SUSPECTED | {"status": "too few readings"}
    assert list_row.next_tests([unit], {"A": []})["A"] == list_row.WHILE_IT_FAILS
    assert list_row.action(unit, list_row.WHILE_IT_FAILS, []) == "measure again first"
