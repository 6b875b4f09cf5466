"""The next measurement: bounds, brute force, limits, and cases in which a technician would agree.

Truth: value of information lies between nothing and the value of perfect information (Raiffa & Schlaifer 1961, from
memory); enumeration by plain loops; common practice for what is measured when.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import erf, sqrt
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples
from samples_plan import COSTS, measured_next

from analysis.bay.next_measurement import (
    CANDIDATES,
    CAUSES,
    CHEAP,
    EDGES,
    NAMES,
    SLIP,
    SOUND,
    Candidate,
    InformationValues,
    cause_probabilities,
    decision_costs,
    faulty_shares,
    information_values,
    next_measurements,
    outcome_probabilities,
    rest_read,
    room_for_discharged,
)
from analysis.readings.renewals import PARTS
from analysis.starting.loop import StartState, solve_start

ACTIONS = ("wait", *(f"renew {part}" for part in PARTS), *(f"clean or charge {part}" for part in CHEAP.values()))
"""What `decision_costs` tells the costs of, in its order."""


def values_of(belief: np.ndarray, risk: np.ndarray, money: float = 600.0, **options: Any) -> InformationValues:
    """What every candidate is worth at the usual prices."""
    return information_values(belief, risk, settings=COSTS, no_start_cost=np.full(len(belief), money), **options)


def perfect(belief: np.ndarray, risk: np.ndarray, money: float = 600.0) -> np.ndarray:
    """(n,) what knowing the cause would save: the best act now, less the best act for each cause."""
    cost = decision_costs(belief, risk, np.full(len(belief), money), COSTS)
    now = np.einsum("nah,nh->na", cost, belief).min(axis=1)
    return np.asarray(now - np.einsum("nh,nh->n", cost.min(axis=1), belief))


beliefs = st.lists(st.floats(0.001, 1.0), min_size=len(NAMES), max_size=len(NAMES)).map(
    lambda w: np.array([w]) / np.sum(w)
)


@examples(15)
@given(beliefs, st.floats(0.0, 1.0), st.floats(0.0, 5000.0))
def test_between_nothing_and_perfect_knowledge(belief: np.ndarray, risk: float, money: float) -> None:
    found = values_of(belief, np.array([risk]), money)
    assert (found.value >= 0.0).all()
    assert (found.value <= perfect(belief, np.array([risk]), money)[:, None] + 1e-9).all()
    assert found.cost[0] >= 0.0


def test_enumeration_by_plain_loops() -> None:
    """Every cause, act and outcome in turn, with the normal distribution from the error function."""
    rng = np.random.default_rng(5)
    belief = rng.dirichlet(np.ones(len(NAMES)))
    cost = decision_costs(belief[None], np.array([0.3]), np.array([900.0]), COSTS)[0]
    found = values_of(belief[None], np.array([0.3]), 900.0)

    def below(x: float, mean: float) -> float:
        return 0.5 * (1.0 + erf((x - mean) / sqrt(2.0)))

    now = min(sum(belief[h] * cost[a, h] for h in range(len(NAMES))) for a in range(len(ACTIONS)))
    assert found.cost[0] == pytest.approx(now)
    for t, candidate in enumerate(CANDIDATES):
        after = 0.0
        for k in range(len(EDGES) + 1):
            chance = []
            for cause in NAMES:
                mean = candidate.means.get(cause, 0.0)
                top = 1.0 if k == len(EDGES) else below(EDGES[k], mean)
                bottom = 0.0 if k == 0 else below(EDGES[k - 1], mean)
                chance.append(top - bottom)
            after += min(
                sum(belief[h] * cost[a, h] * chance[h] for h in range(len(NAMES))) for a in range(len(ACTIONS))
            )
        assert found.value[0, t] == pytest.approx(now - after, abs=1e-6)


def test_limits_of_a_measurement() -> None:
    """One that says nothing is worth nothing; one that says everything is worth perfect knowledge; sharper is better."""
    belief = np.random.default_rng(2).dirichlet(np.ones(len(NAMES)), size=20)
    risk = np.full(20, 0.4)
    spread = {cause: 1.2 * i for i, cause in enumerate(NAMES)}
    sizes = (0.0, 0.1, 0.3, 1.0)
    made = [Candidate(str(s), 1.0, {c: s * (m - 7.0) for c, m in spread.items()}) for s in sizes]
    value = values_of(belief, risk, candidates=made).value
    np.testing.assert_allclose(value[:, 0], 0.0, atol=1e-9)
    assert (np.diff(value, axis=1) >= -1e-9).all()
    two = np.zeros((1, len(NAMES)))
    two[0, NAMES.index("starter_motor")] = two[0, NAMES.index("engine_drag")] = 0.5
    sure = Candidate("sure", 1.0, {"starter_motor": 8.0, "engine_drag": -8.0})
    found, known = values_of(two, np.array([0.4]), candidates=[sure]), perfect(two, np.array([0.4]))
    assert found.value[0, 0] == pytest.approx(known[0], rel=1e-6)
    assert known[0] > 50.0


def test_a_worked_two_cause_case() -> None:
    """Starter or drag, even odds, one no-start of 600 certain if nothing is done; worked by hand.

    Renew the starter: 400 + 2.5 h x 85 = 612.50.  Drag: 150 + 4 h x 85 = 490.  Wrong starter first: 612.50 + 490 +
    600 + 0.5 x 4 x 85 = 1872.50; wrong engine work first: 490 + 612.50 + 600 + 0.5 x 2.5 x 85 = 1808.75.  Even odds:
    starter first 1242.50, engine first 1149.375, waiting 0.5 x (1318.75 + 1260) = 1289.375; knowing: 551.25.
    """
    belief = np.zeros((1, len(NAMES)))
    belief[0, NAMES.index("starter_motor")] = belief[0, NAMES.index("engine_drag")] = 0.5
    cost = decision_costs(belief, np.array([1.0]), np.array([600.0]), COSTS)[0]
    starter, drag = NAMES.index("starter_motor"), NAMES.index("engine_drag")
    assert cost[ACTIONS.index("renew starter_motor"), starter] == pytest.approx(612.50)
    assert cost[ACTIONS.index("renew starter_motor"), drag] == pytest.approx(1872.50)
    assert cost[ACTIONS.index("renew engine_drag"), starter] == pytest.approx(1808.75)
    assert cost[ACTIONS.index("wait"), starter] == pytest.approx(612.50 + 600.0 + 106.25)
    assert ACTIONS[int((cost @ belief[0]).argmin())] == "renew engine_drag"
    assert values_of(belief, np.array([1.0])).cost[0] == pytest.approx(1149.375)
    assert perfect(belief, np.array([1.0]))[0] == pytest.approx(1149.375 - 551.25)


def test_outcomes_sum_to_one_and_costs_are_least_for_the_right_repair() -> None:
    np.testing.assert_allclose(outcome_probabilities(CANDIDATES).sum(axis=2), 1.0, atol=1e-12)
    belief = np.full((1, len(NAMES)), 1.0 / len(NAMES))
    cost = decision_costs(belief, np.array([0.6]), np.array([600.0]), COSTS)[0]
    for h, cause in enumerate(NAMES):
        best = ACTIONS[int(cost[:, h].argmin())]
        if cause in CHEAP:
            assert best == f"clean or charge {CHEAP[cause]}"
        else:
            assert best == (f"renew {CAUSES[cause]}" if CAUSES[cause] else "wait")


@pytest.mark.parametrize(
    ("shares", "options", "name"),
    [
        ({"starter_motor": 0.5, "engine_drag": 0.45}, {}, "cranking_speed"),
        ({"starter_motor": 0.5, "engine_drag": 0.45}, {"measured": {"crank_rpm"}}, "engine_by_hand"),
        ({"battery": 0.97}, {}, "rest_v_after_two_hours"),
        ({"battery": 0.5, "starter_motor": 0.45}, {"measured": {"crank_rpm", "peak_a"}}, "battery_load_test"),
        ({"positive_cable": 0.95}, {}, "positive_joints"),
        ({"ground_path": 0.95}, {}, "ground_joints"),
        ({"control_circuit": 0.9}, {}, "control_wire_loaded"),
        ({"solenoid_contacts": 0.5, "engine_drag": 0.4}, {}, "contacts_three_times"),
        ({"starter_motor": 0.45, "battery": 0.0, "solenoid_contacts": 0.0}, {"measured": {"crank_rpm"}},
         "peak_a"),
        ({"engine_drag": 0.5}, {"measured": {"crank_rpm"}}, "engine_by_hand"),
        ({"starter_motor": 0.6}, {"measured": {"crank_rpm", "peak_a"}, "no_start_cost": 4000.0}, "starter_on_the_bench"),
        ({"starter_motor": 0.9}, {"slip": 0.6}, "repeat"),
    ],
)  # fmt: skip
def test_a_technician_would_agree(shares: dict[str, float], options: dict[str, Any], name: str) -> None:
    """Common practice: the cheap check that decides between the suspects comes first."""
    found = measured_next(shares, **options)
    assert found is not None
    assert found.name == name


def test_what_peak_amps_are_expected_to_show_is_what_the_circuit_does() -> None:
    """Ohm's law on the loop: 30 % more in the starter, or in the battery, lets the inrush fall by so many of a 5 % clamp's
    errors; both fall, so that low peak amps alone do not tell the two apart."""
    state = StartState(12.65, 6.0, 0.6, 0.5, 0.8, 15.0, 180.0, 0.04, 185.0, 110.0, 1500.0)
    (means,) = (c.means for c in CANDIDATES if c.columns == ("peak_a",))

    def peak(circuit: StartState) -> float:
        return float(solve_start(circuit, 20.0).stall_a)

    for cause, field in (("starter_motor", "motor_mohm"), ("worn_battery", "battery_mohm")):
        fallen = peak(replace(state, **{field: 1.3 * getattr(state, field)})) / peak(state) - 1.0
        assert means[cause] == pytest.approx(fallen / 0.05, abs=0.5)


def test_enough_act() -> None:
    """One sure suspect with one repair, or nothing suspected: no measurement changes the decision."""
    assert measured_next({"solenoid_contacts": 0.99}) is None
    assert measured_next({"starter_motor": 0.97}) is None
    assert measured_next({}, risk=0.01) is None
    assert measured_next({"battery": 0.02}, risk=0.001) is None
    everything = {c.name for c in CANDIDATES}
    assert measured_next({"starter_motor": 0.5, "engine_drag": 0.45}, measured=everything) is None


def test_a_measurement_is_chosen_by_its_worth_less_its_minutes() -> None:
    shares = {"starter_motor": 0.5, "engine_drag": 0.45}
    row = np.array([[shares.get(p, 0.0) for p in PARTS]])
    belief = cause_probabilities(row, np.zeros(1), COSTS, np.ones(1))
    net = values_of(belief, np.array([0.5])).value[0] - COSTS.hour_rate / 60.0 * np.array(
        [c.minutes for c in CANDIDATES]
    )
    assert measured_next(shares) == CANDIDATES[int(net.argmax())]
    assert net.max() > 0.0


def test_causes_add_up() -> None:
    shares = np.array([[0.3, 0.1, 0.0, 0.2, 0.1, 0.05, 0.05]])
    belief = cause_probabilities(shares, np.array([0.25]), COSTS, np.ones(1))[0]
    assert belief.sum() == pytest.approx(1.0)
    assert belief[SLIP] == pytest.approx(0.25)
    assert belief[SOUND] == pytest.approx(0.75 * 0.2)
    for k, part in enumerate(PARTS):
        mine = sum(belief[h] for h, p in enumerate(CAUSES.values()) if p == part)
        assert mine == pytest.approx(0.75 * shares[0, k])
    discharged = belief[NAMES.index("discharged_battery")]
    assert discharged == pytest.approx(0.75 * 0.3 * COSTS.clean_success["battery"])


def test_a_part_that_was_read_and_is_sound_is_not_measured_for_what_a_worn_battery_takes_away() -> None:
    """Coil volts run out first where the battery is worn: in some draws a perfect control wire would help more than a battery.  One
    that was never read may be at fault as before."""
    shares, worn = np.zeros((2, 1, len(PARTS)))
    battery, control = PARTS.index("battery"), PARTS.index("control_circuit")
    shares[0, [battery, control]], worn[0, [battery, control]] = (0.90, 0.08), (1.0, 0.004)
    read = np.ones_like(worn, dtype=bool)
    at_fault = faulty_shares(shares, worn, read)
    assert at_fault.sum() == pytest.approx(0.98)
    assert at_fault[0, control] == pytest.approx(0.98 * 0.004 / 0.904)
    never = np.arange(len(PARTS))[None] != control
    np.testing.assert_allclose(faulty_shares(shares, worn, never), shares)
    np.testing.assert_allclose(faulty_shares(shares, np.zeros_like(worn), read), shares)
    asked = [next_measurements(
        own, no_start_probability=np.array([0.4]), last_slip=np.zeros(1), discharged=np.zeros(1), measured=[frozenset()],
        settings=COSTS, no_start_cost=np.array([1400.0]))[0] for own in (shares, at_fault)]  # fmt: skip
    assert asked[0] is not None
    assert "control" in asked[0].name
    assert asked[1] is None


def test_rest_volts_on_record_leave_no_room_for_a_discharged_battery_and_are_not_asked_for() -> None:
    """BCI table: 12.45 V rest a block that is 75 % charged; at it the odds are even, some hundredths of a volt decide."""
    assert room_for_discharged(12.45, 12, 12.45) == pytest.approx(0.5)
    assert room_for_discharged(12.65, 12, 12.45) < 0.001
    assert room_for_discharged(12.25, 12, 12.45) > 0.999
    assert room_for_discharged(25.3, 24, 24.9) == pytest.approx(room_for_discharged(12.65, 12, 12.45))
    assert room_for_discharged(float("nan"), 12, 12.45) == 1.0
    assert room_for_discharged(12.60, 12, 12.60, agm=True) == pytest.approx(0.5)
    asked = measured_next({"battery": 0.995})
    assert asked is not None
    assert asked.name == "rest_v_after_two_hours"
    assert measured_next({"battery": 0.995}, discharged=room_for_discharged(12.65, 12, 12.45)) is None
    low = measured_next({"battery": 0.995}, discharged=room_for_discharged(12.2, 12, 12.45))
    assert low is not None
    assert low.name == asked.name


def test_the_latest_rest_volts_that_nobody_doubts_count() -> None:
    readings = pd.DataFrame(
        {
            "unit": ["A", "A", "A", "B"],
            "taken_at": pd.to_datetime(["2026-03-01", "2026-01-01", "2026-02-01", "2026-01-01"]),
            "rest_v": [9.1, 12.6, 12.4, np.nan],
            "doubtful": ["rest_v", "", "", ""],
        }
    )
    assert rest_read(readings) == {"A": 12.4}
    assert rest_read(readings.iloc[:0]) == {}


def test_many_vehicles_are_each_judged_alone_and_money_scales() -> None:
    rng = np.random.default_rng(1)
    shares = rng.dirichlet(np.ones(8) * 0.4, size=300)[:, :7]
    risk, slip = rng.uniform(0, 1, 300), rng.uniform(0, 0.5, 300) * (rng.random(300) < 0.2)
    usual: dict[str, Any] = {
        "no_start_probability": risk,
        "last_slip": slip,
        "discharged": np.ones(300),
        "measured": [frozenset()] * 300,
    }
    together = next_measurements(shares, settings=COSTS, no_start_cost=np.full(300, 600.0), **usual)
    for i in (0, 7, 131, 299):
        assert measured_next(dict(zip(PARTS, shares[i], strict=True)), risk=risk[i], slip=slip[i]) == together[i]
    assert 30 < sum(t is not None for t in together) < 290
    twice = replace(COSTS, hour_rate=2 * COSTS.hour_rate, part_price={p: 2 * v for p, v in COSTS.part_price.items()})
    assert next_measurements(shares, settings=twice, no_start_cost=np.full(300, 1200.0), **usual) == together


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: measured_next({"battery": 1.5}, risk=0.1), "shares has 1.5"),
        (lambda: measured_next({"battery": 0.7, "engine_drag": 0.6}, risk=0.1), "add up to 1.3"),
        (lambda: measured_next({"battery": 0.7}, risk=float("nan")), "no_start_probability has nan"),
        (lambda: measured_next({"battery": 0.7}, risk=0.1, slip=-0.1), "last_slip has -0.1"),
        (lambda: measured_next({"battery": 0.7}, risk=0.1, no_start_cost=-5.0), "no_start_cost has -5.0"),
    ],
)
def test_bad_calls_name_argument_and_range(call: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words) as caught:
        call()
    assert "allowed are" in str(caught.value)
