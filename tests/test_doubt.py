"""Slipped decimal points are doubted, failing parts are not, and no later reading changes an earlier judgement."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples

from ingest.doubt import History, doubts


def judge(name: str, values: list[float], *, system_v: float = 12.0, **others: list[float]) -> list[str]:
    """Doubts about one unit's readings in a row."""
    count = len(values)
    numbers = {name: np.array(values, dtype=float)} | {n: np.array(v, dtype=float) for n, v in others.items()}
    history = History(
        np.zeros(count, dtype=np.int64),
        np.arange(count).astype("datetime64[s]"),
        numbers,
        np.full(count, system_v),
    )
    return doubts(history)[0].tolist()


@pytest.mark.parametrize(
    ("name", "values", "doubted"),
    [
        ("drop_ground_v", [0.10, 0.11, 0.09, 1.04, 0.10], [3]),
        ("crank_a", [170, 165, 17.2, 171], [2]),
        ("crank_a", [170, 165, 1680, 171], [2]),
        ("coil_a", [7.5, 7.4, 76, 7.5], [2]),
        ("drop_ground_v", [0.10, 0.10, 0.011, 0.1], [2]),
        ("drop_ground_v", [0.10, 0.64, 1.68, 3.4], []),
        ("drop_ground_v", [0.10, 0.11, 0.30, 0.91, 2.3], []),
        ("drop_ground_v", [1.0, 1.0, 1.1, 0.1], []),
        ("drop_ground_v", [0.10, 1.04], []),
        ("odometer_km", [80_000, 82_000, 20_000, 86_000], [2]),
        ("odometer_km", [80_000, 82_000, 820_000, 86_000], [2]),
        ("odometer_km", [80_000, 82_000, 81_500, 86_000], []),
        ("temperature_c", [1.0, 1.2, 11.0], []),
    ],
)
def test_slips_and_failing_parts(name: str, values: list[float], doubted: list[int]) -> None:
    assert [i for i, names in enumerate(judge(name, values)) if names == name] == doubted


def test_one_battery_of_a_pair() -> None:
    assert judge("rest_v", [25.3, 12.6], system_v=24.0) == ["", "rest_v"]
    assert judge("rest_v", [12.6, 12.6]) == ["", ""]
    assert judge("rest_v", [25.3, 12.6], system_v=24.0, crank_min_v=[21.8, 10.9]) == ["", "rest_v,crank_min_v"]
    assert judge("rest_v", [25.3, 12.6], system_v=24.0, crank_min_v=[21.8, 21.8]) == ["", "rest_v"], "across both"


def test_amps_that_the_sag_does_not_bear_out() -> None:
    """Ohm's law, by hand: 1.2 V over 8 A is 150 mΩ; over 170 A it is 7 mΩ, as a battery has; SAE J537: 9 mΩ at most."""
    rest, low = [12.6, 12.6], [11.4, 11.4]
    assert judge("crank_a", [170, 8], rest_v=rest, crank_min_v=low) == ["", "crank_a"]


def test_amps_as_ever_are_believed_where_the_rest_volts_were_taken_under_a_load() -> None:
    """Ohm's law, by hand: 0.6 V over 555 A is 1.1 mΩ; with the 25.6 V of before it is 3.8 mΩ, as two blocks have."""
    numbers = {"rest_v": [25.6, 25.6, 24.1], "crank_min_v": [23.5] * 3}
    assert judge("crank_a", [550, 540, 555], system_v=24.0, **numbers) == ["", "", ""]
    assert judge("crank_a", [550, 540, 2200], system_v=24.0, **numbers) == ["", "", "crank_a"]


def test_a_sag_of_a_few_tenths_of_a_volt_bears_nothing_out() -> None:
    """By hand: 0.2 V over 400 A and 0.4 V over 800 A are both 0.5 mΩ, as no battery has; but a meter that shows tenths of a
    volt may have made 0.2 V of 0.3 V."""
    assert judge("crank_a", [400], rest_v=[12.6], crank_min_v=[12.4]) == [""]
    assert judge("crank_a", [800], rest_v=[12.6], crank_min_v=[12.2]) == ["crank_a"]


@examples(15)
@given(st.lists(st.sampled_from([0.1, 0.11, 0.3, 1.0, 1.05, 0.011, float("nan")]), min_size=1, max_size=12), st.data())
def test_no_look_ahead(values: list[float], data: st.DataObject) -> None:
    cut = data.draw(st.integers(1, len(values)))
    assert judge("drop_ground_v", values)[:cut] == judge("drop_ground_v", values[:cut])


def test_units_do_not_mix() -> None:
    values = np.array([0.1, 0.1, 0.1, 1.0, 1.0, 1.0])
    unit = np.array([0, 0, 0, 1, 1, 1], dtype=np.int64)
    times = np.arange(6).astype("datetime64[s]")
    names, _ = doubts(History(unit, times, {"drop_ground_v": values}, np.full(6, 12.0)))
    assert set(names.tolist()) == {""}


STEADY = [0.12, 0.13, 0.12]


@pytest.mark.parametrize(
    ("others", "outcome", "doubted"),
    [
        ({}, "started", True),
        ({}, "", True),
        ({}, "slow", False),
        ({}, "no_start", False),
        ({"crank_a": [150, 155, 152, 120]}, "started", False),
        ({"crank_rpm": [215, 210, 218, 160]}, "started", False),
        ({"peak_a": [490, 480, 485, 330]}, "started", False),
        ({"crank_a": [150, 155, 152, 153], "crank_rpm": [215, 210, 218, 212]}, "started", True),
        ({"crank_a": [150, 155, 152, 270], "crank_rpm": [215, 210, 218, 150]}, "started", True),
    ],
    ids=["started", "unknown", "slow", "failed", "fewer amps", "slower", "less inrush", "all as ever", "only the cold"],
)
def test_a_sudden_rise_that_the_start_bears_out_is_no_slip(
    others: dict[str, list[float]], outcome: str, doubted: bool
) -> None:
    """Ohm's law: a resistance ten times as large leaves amps, inrush and speed lower; a slip of the pen leaves all as
    ever, and a cold morning slows an engine that takes more amps."""
    values = {"drop_contacts_v": np.array([*STEADY, 1.3])}
    history = History(
        np.zeros(4, dtype=np.int64), np.arange(4).astype("datetime64[s]"),
        values | {n: np.array(v, dtype=float) for n, v in others.items()}, np.full(4, 12.0),
        outcome=np.array(["started"] * 3 + [outcome], dtype=object),
    )  # fmt: skip
    assert (doubts(history)[0].tolist()[-1] == "drop_contacts_v") is doubted


@pytest.mark.parametrize(
    ("others", "doubted"),
    [
        ({"crank_a": [150, 155, 152, 3], "rest_v": [12.6] * 4, "crank_min_v": [11.8, 11.7, 11.8, 12.55]}, False),
        ({"rest_v": [12.6] * 4, "crank_min_v": [11.8, 11.7, 11.8, 12.55]}, False),
        ({"crank_a": [150, 155, 152, 151], "rest_v": [12.6] * 4, "crank_min_v": [11.8, 11.7, 11.8, 12.55]}, True),
        ({"crank_a": [150, 155, 152, 15], "rest_v": [12.6] * 4, "crank_min_v": [11.8, 11.7, 11.8, 11.7]}, True),
    ],
    ids=["an open joint", "one without a clamp", "amps as ever", "two slips"],
)
def test_drops_that_fall_with_the_amps_are_no_slips(others: dict[str, list[float]], doubted: bool) -> None:
    """Ohm's law: 3 A through an open joint leave 2 mV on a sound ground path, and no sag on the battery."""
    names = judge("drop_ground_v", [0.08, 0.081, 0.079, 0.008], **others)[-1].split(",")
    assert ("drop_ground_v" in names) is doubted


def test_a_starved_coil_and_a_dead_cell_are_no_slips() -> None:
    """Coil amps that halve bear ten times the control drop out; 4 V left at 20 A is a dead cell where the start failed."""
    assert judge("drop_control_v", [0.75, 0.74, 0.76, 7.4], coil_a=[7.9, 7.8, 7.9, 3.2]) == ["", "", "", ""]
    assert judge("drop_control_v", [0.75, 0.74, 0.76, 7.4], coil_a=[7.9, 7.8, 7.9, 7.8])[-1] == "drop_control_v"
    numbers = {"rest_v": np.array([12.5]), "crank_min_v": np.array([4.0]), "crank_a": np.array([20.0])}
    for outcome, mark in (("click", ""), ("started", "crank_a")):
        at = np.zeros(1, dtype=np.int64), np.arange(1).astype("datetime64[s]")
        history = History(*at, numbers, np.full(1, 12.0), outcome=np.array([outcome], dtype=object))
        assert doubts(history)[0].tolist() == [mark]
