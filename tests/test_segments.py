"""The decision table, row by row, and hostile input. Expected segments: common practice."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.bay.decision_table import TABLE
from analysis.bay.findings import NUMBERS, OUTCOMES, locate_segment
from analysis.circuit.limits import default_limits

GOOD_DROPS = {"drop_positive_v": 0.1, "drop_ground_v": 0.1, "drop_contacts_v": 0.15}
HOLDS = {"crank_min_v": 11.0, "temperature_c": 20.0}
PARTS = {
    "battery", "positive_cable", "ground_path", "solenoid_contacts", "starter_motor", "control_circuit", "engine_drag",
    "starter_or_drag", "control_wire", "coil", "none",
}  # fmt: skip

# name of the row -> measurements that must meet it, measurements close by that must not, the segment
CASES: dict[str, tuple[dict[str, Any], dict[str, Any], str]] = {
    "battery discharged": ({"rest_v": 12.2}, {"rest_v": 12.3}, "battery"),
    "battery weak under load": (
        {"rest_v": 12.6, "crank_min_v": 8.4, "temperature_c": 0.0, "crank_a": 150.0},
        {"rest_v": 12.6, "crank_min_v": 9.3, "temperature_c": 0.0, "crank_a": 150.0},
        "battery",
    ),
    "battery pulled down by high amps": (
        {"crank_min_v": 8.0, "temperature_c": 20.0, "crank_a": 260.0, "usual_crank_a": 150.0},
        {"crank_min_v": 8.0, "temperature_c": 20.0, "crank_a": 160.0, "usual_crank_a": 150.0},
        "starter_or_drag",
    ),
    "control wire open": (
        {"control_loaded_v": 12.3, "rest_v": 12.6},
        {"control_loaded_v": 5.0, "rest_v": 12.6},
        "control_wire",
    ),
    "coil open": (
        {"control_loaded_v": 12.3, "coil_loaded_v": 12.3, "rest_v": 12.6},
        {"control_loaded_v": 12.3, "coil_loaded_v": 0.1, "rest_v": 12.6},
        "coil",
    ),
    "control wire short to ground": ({"control_loaded_v": 0.0}, {"control_loaded_v": 0.01}, "control_wire"),
    "control side good": ({"control_loaded_v": 0.15}, {"control_loaded_v": 0.16}, "none"),
    "control side resistive, not split": (
        {"control_loaded_v": 0.3},
        {"control_loaded_v": 0.3, "coil_loaded_v": 0.1},
        "control_circuit",
    ),
    "resistance in the wire": (
        {"control_loaded_v": 0.40, "coil_loaded_v": 0.05},
        {"control_loaded_v": 0.40, "coil_loaded_v": 0.39},
        "control_wire",
    ),
    "resistance in the coil": (
        {"control_loaded_v": 0.40, "coil_loaded_v": 0.39},
        {"control_loaded_v": 0.40, "coil_loaded_v": 0.05},
        "coil",
    ),
    "coil good alone": (
        {"control_loaded_v": 0.4, "coil_alone_v": 0.02},
        {"control_loaded_v": 0.1, "coil_alone_v": 0.02},
        "control_wire",
    ),
    "coil resistive or open": ({"coil_alone_v": 0.05}, {"coil_alone_v": 0.03}, "coil"),
    "coil shorted": ({"coil_alone_v": 0.0}, {"coil_alone_v": 0.01}, "coil"),
    "jumper cranks": ({"jumper_start": "cranks"}, {"jumper_start": "no_crank"}, "control_circuit"),
    "jumper does not crank, coil volts lost": (
        {"jumper_start": "no_crank", "drop_control_v": 2.0},
        {"jumper_start": "no_crank", "drop_control_v": 0.5},
        "control_circuit",
    ),
    "jumper does not crank": (
        {"jumper_start": "no_crank"},
        {"jumper_start": "no_crank", "drop_control_v": 2.0},
        "starter_motor",
    ),
    "jumper fuse opens": ({"jumper_start": "fuse_opens"}, {"jumper_start": "cranks"}, "control_wire"),
    "control drop high": ({"drop_control_v": 1.1}, {"drop_control_v": 0.9}, "control_circuit"),
    "coil amps low": ({"coil_a": 1.5}, {"coil_a": 2.5}, "control_circuit"),
    "coil amps high": ({"coil_a": 16.0}, {"coil_a": 14.0}, "coil"),
    "positive cable drop high": ({"drop_positive_v": 0.25}, {"drop_positive_v": 0.15}, "positive_cable"),
    "ground path drop high": ({"drop_ground_v": 0.25}, {"drop_ground_v": 0.15}, "ground_path"),
    "contact drop high": ({"drop_contacts_v": 0.35}, {"drop_contacts_v": 0.25}, "solenoid_contacts"),
    "high amps, slow": (
        {"crank_a": 220.0, "usual_crank_a": 150.0, "crank_rpm": 150.0, "usual_rpm": 200.0},
        {"crank_a": 160.0, "usual_crank_a": 150.0, "crank_rpm": 150.0, "usual_rpm": 200.0},
        "engine_drag",
    ),
    "high amps, not slow": (
        {"crank_a": 220.0, "usual_crank_a": 150.0, "crank_rpm": 210.0, "usual_rpm": 200.0},
        {"crank_a": 220.0, "usual_crank_a": 150.0, "crank_rpm": 190.0, "usual_rpm": 200.0},
        "starter_motor",
    ),
    "high amps, speed unknown": (
        {"crank_a": 220.0, "usual_crank_a": 150.0},
        {"crank_a": 190.0, "usual_crank_a": 150.0},
        "starter_or_drag",
    ),
    "low amps, drops good, battery holds": (
        {"crank_a": 90.0, "usual_crank_a": 150.0, **GOOD_DROPS, **HOLDS},
        {"crank_a": 90.0, "usual_crank_a": 150.0, **GOOD_DROPS, **HOLDS, "drop_ground_v": 1.0},
        "starter_motor",
    ),
    "low amps, drops unknown": (
        {"crank_a": 90.0, "usual_crank_a": 150.0},
        {"crank_a": 90.0, "usual_crank_a": 150.0, **GOOD_DROPS},
        "starter_motor",
    ),
    "no start, all power-side readings good": (
        {"outcome": "no_start", "crank_a": 150.0, **GOOD_DROPS, **HOLDS},
        {"outcome": "started", "crank_a": 150.0, **GOOD_DROPS, **HOLDS},
        "none",
    ),
    "no start, nothing measured": ({"outcome": "no_start"}, {"outcome": "no_start", "crank_min_v": 9.0}, "none"),
    "slow, speed below least": (
        {"outcome": "slow", "crank_rpm": 80.0},
        {"outcome": "slow", "crank_rpm": 120.0},
        "starter_or_drag",
    ),
    "slow, nothing measured": ({"outcome": "slow"}, {"outcome": "slow", "crank_min_v": 9.0}, "none"),
}


def names(measurement: dict[str, Any]) -> list[str]:
    return [finding.row for finding in locate_segment(measurement)]


def test_every_row_has_a_case_and_every_case_a_row() -> None:
    assert [row.name for row in TABLE] == list(dict.fromkeys(row.name for row in TABLE))
    assert {row.name for row in TABLE} == set(CASES)


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row.name)
def test_row(row: Any) -> None:
    met, close_by, segment = CASES[row.name]
    found = {finding.row: finding for finding in locate_segment(met)}
    assert row.name in found
    assert row.name not in names(close_by)
    finding = found[row.name]
    assert finding.segment == segment
    assert finding.segment in PARTS
    assert "{" not in finding.sentence
    assert finding.next_measurement
    assert 0 < finding.minutes <= 60
    assert finding.source
    assert "vehicle maker" in finding.caution


@pytest.mark.parametrize(
    "name", [n for n, (_, _, segment) in CASES.items() if segment not in ("none", "starter_motor")]
)
def test_the_first_finding_of_a_case_names_its_segment(name: str) -> None:
    met, _, segment = CASES[name]
    assert locate_segment(met)[0].segment == segment


def test_a_healthy_reading_finds_nothing() -> None:
    healthy = {"rest_v": 12.65, "crank_a": 150.0, "usual_crank_a": 150.0, "coil_a": 8.0, "drop_control_v": 0.8,
               "crank_rpm": 200.0, "usual_rpm": 200.0, "outcome": "started", **GOOD_DROPS, **HOLDS}  # fmt: skip
    assert locate_segment(healthy) == []


def test_nothing_measured_finds_nothing() -> None:
    assert locate_segment({}) == []
    assert locate_segment(dict.fromkeys(NUMBERS)) == []
    assert (
        locate_segment({name: float("nan") for name in NUMBERS} | {"outcome": float("nan"), "jumper_start": ""}) == []
    )


def test_limits_of_the_vehicle_move_the_table() -> None:
    truck = default_limits(24)
    assert locate_segment({"drop_ground_v": 0.3}, limits=truck) == []
    assert [f.segment for f in locate_segment({"drop_ground_v": 0.5}, limits=truck)] == ["ground_path"]
    assert [f.segment for f in locate_segment({"rest_v": 24.4}, limits=truck)] == ["battery"]


@pytest.mark.parametrize(
    ("measurement", "message"),
    [
        ({"rest_v": "twelve"}, "rest_v is 'twelve', but must be a number"),
        ({"rest_v": float("inf")}, "must be a finite number"),
        ({"jumper_start": "sparks"}, "jumper_start is 'sparks'; allowed are cranks, no_crank, fuse_opens"),
        ({"outcome": 3}, "outcome is 3; allowed are started, slow, no_start"),
    ],
)
def test_hostile_measurements_are_refused_in_one_sentence(measurement: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        locate_segment(measurement)


anything = st.dictionaries(st.sampled_from(NUMBERS), st.floats(-100, 1000) | st.none(), max_size=len(NUMBERS))


@settings(deadline=None, max_examples=60)
@given(anything, st.sampled_from([*OUTCOMES, None]))
def test_any_numbers_give_whole_sentences(measurement: dict[str, float | None], outcome: str | None) -> None:
    for finding in locate_segment({**measurement, "outcome": outcome}):
        assert "nan" not in finding.sentence
        assert "{" not in finding.sentence
