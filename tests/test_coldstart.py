"""The forward model against independent solvers, its monotony, and the coldest start."""

from dataclasses import replace
from time import perf_counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq

from analysis.circuit.battery import bank_resistance_mohm, bank_voltage_v, unequal_parallel
from analysis.circuit.limits import default_limits
from analysis.starting.loop import (
    COLDEST_C,
    NEEDS,
    PART_FIELDS,
    WARMEST_C,
    StartLimits,
    StartState,
    aged,
    coldest_start,
    coldest_start_by_part,
    coldest_start_interval,
    emf_constant,
    limiting_need,
    renewed,
    solve_start,
    start_limits,
    start_margin_v,
    start_margins_v,
)

VAN = StartState(12.65, 7.0, 0.7, 0.6, 0.95, 17.0, 140.0, 0.038, 208.0, 107.0, 1500.0)
NEED = start_limits(default_limits(12, fuel="petrol"))
RESISTANCES = ("battery_mohm", "positive_mohm", "ground_mohm", "contacts_mohm", "motor_mohm", "control_mohm")


def log_factor(b: float, c: float, x: float, least: float) -> float:
    """b x + c x² as the sum of its slope from the reference on, where the slope is never below the least."""
    return float(quad(lambda u: max(b + 2 * c * u, least), 0.0, x)[0])


def loop_residual(amps: float, state: StartState, celsius: float) -> float:
    """Kirchhoff's voltage law written out once more, for the root finder: volts left over at some amps."""
    x = 20.0 - celsius
    copper = 1.0 - 0.00393 * x
    e = state.open_circuit_v - 0.0012 * x
    battery = state.battery_mohm / 1000 * np.exp(log_factor(state.battery_b, state.battery_c, x, 0.0))
    rest = (state.positive_mohm + state.ground_mohm + state.motor_mohm) / 1000 * copper + state.contacts_mohm / 1000
    load = state.load_a * np.exp(log_factor(state.drag_b, state.drag_c, x, 0.0055))
    share = state.load_speed_share
    # load = amps / ((1 - s) + s w / w_ref), turned round for the speed at these amps
    speed = state.reference_rpm * (amps / load - (1 - share)) / share
    return float(e - state.brush_v - amps * (battery + rest) - state.emf_v_per_rpm * speed)


@pytest.mark.parametrize("celsius", [35.0, 20.0, 0.0, -20.0, -30.0])
def test_start_agrees_with_a_root_finder_on_the_loop_equation(celsius: float) -> None:
    amps = brentq(loop_residual, 1.0, 2000.0, args=(VAN, celsius), xtol=1e-12)
    start = solve_start(VAN, celsius)
    assert start.amps == pytest.approx(amps, rel=1e-9)
    assert start.speed_rpm > 0


@pytest.mark.parametrize("celsius", [20.0, -18.0])
def test_voltages_close_by_kirchhoff_and_agree_with_a_nodal_solution(celsius: float) -> None:
    """Nodes battery+, motor+, block; source as a Norton pair; the motor draws the solved amps."""
    start = solve_start(VAN, celsius)
    x = 20.0 - celsius
    copper = 1.0 - 0.00393 * x
    g_b = 1000 / (VAN.battery_mohm * np.exp(0.009 * x + 1.75e-4 * x**2))  # the published law, by hand
    g_p = 1000 / (VAN.positive_mohm * copper + VAN.contacts_mohm)
    g_g = 1000 / (VAN.ground_mohm * copper)
    amps = float(start.amps)
    y = np.array([[g_b + g_p, -g_p, 0.0], [-g_p, g_p, 0.0], [0.0, 0.0, g_g]])
    i = np.array([(12.65 - 0.0012 * x) * g_b, -amps, amps])
    v = np.linalg.solve(y, i)
    assert start.battery_v == pytest.approx(v[0], rel=1e-9)
    assert start.motor_v == pytest.approx(v[1] - v[2], rel=1e-9)
    back = start.motor_v - VAN.brush_v - amps * VAN.motor_mohm / 1000 * copper
    assert start.back_emf_v == pytest.approx(float(back), rel=1e-9)
    assert emf_constant(start.motor_v, amps, VAN.motor_mohm * copper, start.speed_rpm, brush_v=1.0) == pytest.approx(
        0.038
    )


def test_coldest_start_agrees_with_a_root_finder() -> None:
    """0.02 K: a straight line inside a third of a kelvin."""
    for change in ({}, {"battery_mohm": 14.0}, {"ground_mohm": 12.0}, {"control_mohm": 500.0}, {"load_a": 200.0}):
        state = replace(VAN, **change)
        root = brentq(lambda t, s=state: float(start_margin_v(s, t, NEED)), -45.0, 40.0)
        assert coldest_start(state, NEED) == pytest.approx(root, abs=0.02), change


def test_coldest_start_says_below_and_never_with_its_ends_and_nan_with_nan() -> None:
    strong = replace(VAN, battery_mohm=1.0, load_a=40.0)
    dead = replace(VAN, ground_mohm=500.0)
    assert coldest_start(strong, NEED) == COLDEST_C
    assert coldest_start(dead, NEED) == WARMEST_C
    both = replace(VAN, battery_mohm=np.array([1.0, np.nan, 7.0]))
    found = coldest_start(both, NEED)
    assert np.isnan(found).tolist() == [False, True, False]


def test_which_need_runs_out_first() -> None:
    cases = {0: {"ground_mohm": 25.0}, 1: {"battery_mohm": 25.0, "control_mohm": 1.0}, 2: {"control_mohm": 700.0}}
    for need, change in cases.items():
        state = replace(VAN, **change)
        at = float(coldest_start(state, NEED))
        assert limiting_need(state, at - 0.5, NEED) == need, NEEDS[need]
        assert min(float(m) for m in start_margins_v(state, at - 0.5, NEED)) < 0


states = st.builds(
    StartState,
    open_circuit_v=st.floats(11.9, 12.8),
    battery_mohm=st.floats(3.0, 25.0),
    positive_mohm=st.floats(0.1, 10.0),
    ground_mohm=st.floats(0.1, 10.0),
    contacts_mohm=st.floats(0.1, 10.0),
    motor_mohm=st.floats(4.0, 30.0),
    load_a=st.floats(60.0, 300.0),
    emf_v_per_rpm=st.floats(0.02, 0.06),
    reference_rpm=st.floats(120.0, 250.0),
    control_mohm=st.floats(20.0, 600.0),
    coil_mohm=st.floats(1000.0, 3000.0),
    battery_b=st.floats(0.008, 0.02),
    battery_c=st.floats(0.0, 3e-4),
    drag_b=st.floats(0.007, 0.03),
    drag_c=st.floats(0.0, 3e-4),
    brush_v=st.floats(0.3, 1.5),
    load_speed_share=st.floats(0.0, 0.6),
)


@settings(deadline=None, max_examples=150)
@given(states, st.floats(-45.0, 35.0), st.floats(0.1, 20.0))
def test_colder_never_starts_better(state: StartState, celsius: float, colder: float) -> None:
    warm, cold = (start_margins_v(state, t, NEED) for t in (celsius, celsius - colder))
    for one, other in zip(warm, cold, strict=True):
        assert other <= one + 1e-9


@settings(deadline=None, max_examples=150)
@given(states, st.sampled_from(RESISTANCES), st.floats(1.0, 5.0), st.floats(-45.0, 35.0))
def test_more_resistance_never_starts_better(state: StartState, part: str, factor: float, celsius: float) -> None:
    worse = replace(state, **{part: getattr(state, part) * factor})
    for good, bad in zip(start_margins_v(state, celsius, NEED), start_margins_v(worse, celsius, NEED), strict=True):
        assert bad <= good + 1e-9
    assert coldest_start(worse, NEED) >= coldest_start(state, NEED) - 0.05
    assert solve_start(worse, celsius).speed_rpm <= solve_start(state, celsius).speed_rpm + 1e-9


def test_neither_cold_nor_resistance_helps_in_a_hundred_thousand_random_circuits_with_bent_laws() -> None:
    """Laws bent either way, as a fit may give; margins [V] within rounding."""
    rng, n = np.random.default_rng(21), 100_000
    draw = rng.uniform
    state = StartState(
        draw(11.9, 12.8, n), draw(3, 25, n), draw(0.1, 10, n), draw(0.1, 10, n), draw(0.1, 10, n), draw(4, 30, n),
        draw(60, 300, n), draw(0.02, 0.06, n), draw(120, 250, n), draw(20, 600, n), draw(1000, 3000, n),
        battery_b=draw(0.008, 0.02, n), battery_c=draw(-3e-4, 3e-4, n), drag_b=draw(0.007, 0.03, n),
        drag_c=draw(-3e-4, 3e-4, n), brush_v=draw(0.3, 1.5, n), load_speed_share=draw(0, 0.6, n),
    )  # fmt: skip
    t, colder = draw(-45, 35, n), draw(0.1, 20, n)
    here = start_margins_v(state, t, NEED)
    others = [start_margins_v(state, t - colder, NEED)]
    for name in (*RESISTANCES, "load_a"):
        worse = replace(state, **{name: getattr(state, name) * draw(1, 5, n)})
        others.append(start_margins_v(worse, t, NEED))
    for other in others:
        for good, bad in zip(here, other, strict=True):
            assert (bad <= good + 1e-9).all()


def test_more_control_resistance_is_no_help_where_the_battery_would_fall_below_zero_volts() -> None:
    """Found by the property test above: amps that no battery gives must not turn the coil's margin round."""
    state = replace(VAN, open_circuit_v=12.0, battery_mohm=12.0, load_a=1500.0)
    worse = replace(state, control_mohm=1000.0)
    assert start_margins_v(worse, -8.0, NEED)[2] <= start_margins_v(state, -8.0, NEED)[2]


@settings(deadline=None, max_examples=50)
@given(states, st.floats(-40.0, 30.0))
def test_24_v_is_two_12_v_in_series(state: StartState, celsius: float) -> None:
    """Twice the volts, resistances, brushes and back-emf at the same amps: the same amps, speed and coldest start."""
    twice = ("open_circuit_v", "brush_v", "emf_v_per_rpm", "coil_mohm", *RESISTANCES)
    double = replace(state, **{name: 2 * getattr(state, name) for name in twice})
    one, two = solve_start(state, celsius), solve_start(double, celsius)
    assert two.amps == pytest.approx(float(one.amps), rel=1e-9)
    assert two.speed_rpm == pytest.approx(float(one.speed_rpm), rel=1e-9)
    assert two.coil_v == pytest.approx(2 * float(one.coil_v), rel=1e-9)
    need = StartLimits(NEED.least_rpm, 2 * np.float64(NEED.supply_minimum_v), 2 * np.float64(NEED.pull_in_v))
    assert coldest_start(double, need) == pytest.approx(float(coldest_start(state, NEED)), abs=1e-6)


def test_two_batteries_in_parallel_and_in_series() -> None:
    """Two equal blocks: series doubles volts and resistance, parallel halves resistance; unlike ones by Millman."""
    assert bank_voltage_v(12.6, series=2) == 25.2
    assert bank_resistance_mohm(6.0, series=2) == 12.0
    assert bank_resistance_mohm(6.0, parallel=2) == 3.0
    assert bank_resistance_mohm(6.0, series=2, parallel=2) == 6.0
    v, r = unequal_parallel([12.6, 12.6], [6.0, 6.0])
    assert (v, r) == (pytest.approx(12.6), pytest.approx(3.0))
    v, r = unequal_parallel([12.6, 12.0], [5.0, 15.0])
    assert r == pytest.approx(3.75)
    assert v == pytest.approx(12.45)  # by hand: (12.6 / 5 + 12 / 15) x 3.75
    with pytest.raises(ValueError, match="parallel is 0"):
        bank_resistance_mohm(6.0, parallel=0)


def test_a_second_battery_in_parallel_starts_colder() -> None:
    worn = replace(VAN, battery_mohm=14.0)
    pair = replace(worn, battery_mohm=float(bank_resistance_mohm(14.0, parallel=2)))
    assert coldest_start(pair, NEED) < coldest_start(worn, NEED) - 10


def test_scalar_equals_array_and_units_do_not_mix() -> None:
    battery = np.array([5.0, 8.0, 14.0, 30.0])
    many = coldest_start(replace(VAN, battery_mohm=battery), NEED)
    for value, mohm in zip(many, battery, strict=True):
        assert value == pytest.approx(float(coldest_start(replace(VAN, battery_mohm=float(mohm)), NEED)), abs=1e-9)
    assert (np.diff(many) > 0).all()


def big(units: int, draws: int, rng: np.random.Generator) -> StartState:
    def spread(value: float, sd: float) -> np.ndarray:
        drawn: np.ndarray = (value * np.exp(sd * rng.standard_normal((units, draws)))).astype(np.float32)
        return drawn

    shared = (0.012 + 0.001 * rng.standard_normal((1, draws))).astype(np.float32)
    return replace(
        VAN, battery_mohm=spread(9.0, 0.3), positive_mohm=spread(0.7, 0.3), ground_mohm=spread(1.2, 0.5),
        contacts_mohm=spread(0.9, 0.3), motor_mohm=spread(17.0, 0.15), load_a=spread(150.0, 0.15),
        control_mohm=spread(107.0, 0.2), coil_mohm=spread(1500.0, 0.05), battery_b=shared, drag_b=shared,
    )  # fmt: skip


def test_fifty_thousand_units_by_64_draws_in_seconds() -> None:
    """About 2 s on two cores; 15 s allows for a busy machine."""
    state = big(50_000, 64, np.random.default_rng(1))
    start = perf_counter()
    found = coldest_start(state, NEED)
    assert perf_counter() - start < 15.0
    assert found.shape == (50_000, 64)
    assert found.dtype == np.float32
    few = slice(100, 103)
    rows = replace(state, **{k: v[few] for k, v in vars(state).items() if isinstance(v, np.ndarray) and len(v) > 1})
    np.testing.assert_allclose(coldest_start(rows, NEED), found[few], atol=1e-3)


def test_interval_of_draws() -> None:
    """1,001 evenly spread draws: quantiles are known; draws without a value are left out."""
    draws = np.random.default_rng(2).permutation(np.linspace(-30.0, -10.0, 1001))
    middle, low, high = coldest_start_interval(np.stack([draws, np.full(1001, np.nan)]))
    assert (middle[0], low[0], high[0]) == (pytest.approx(-20.0), pytest.approx(-28.0), pytest.approx(-12.0))
    assert np.isnan(middle[1])
    half = np.where(np.arange(1001) % 2 == 0, draws, np.nan)
    assert coldest_start_interval(half)[0] == pytest.approx(np.nanmedian(half))
    with pytest.raises(ValueError, match="low and high are"):
        coldest_start_interval(draws, low=0.9, high=0.1)


def test_ninety_percent_intervals_hold_the_truth() -> None:
    """State known to within its errors: 5 to 95 % holds the true coldest start in 90 ± 4 % of 1,000 units (4 sd).

    They hold because the draws scatter about what was read as what was read scatters about the truth (on the log scale,
    with no prior), and because the coldest start rises with each of the three: its order is theirs.
    """
    rng = np.random.default_rng(3)
    names, sd = ("battery_mohm", "ground_mohm", "load_a"), 0.1
    truth = {n: getattr(VAN, n) * np.exp(0.3 * rng.standard_normal((1000, 1))) for n in names}
    true_coldest = coldest_start(replace(VAN, **truth), NEED)[:, 0]
    drawn = {
        n: v * np.exp(sd * (rng.standard_normal((1000, 1)) + rng.standard_normal((1000, 400))))
        for n, v in truth.items()
    }
    _, low, high = coldest_start_interval(coldest_start(replace(VAN, **drawn), NEED), low=0.05, high=0.95)
    inside = (low <= true_coldest) & (true_coldest <= high)
    assert 0.86 < inside.mean() < 0.94


# --- Renewed and aged ------------------------------------------------------------------------------------------------
BAD = {
    "battery": {"battery_mohm": 20.0, "open_circuit_v": 12.2},
    "positive_cable": {"positive_mohm": 14.0},
    "ground_path": {"ground_mohm": 14.0},
    "solenoid_contacts": {"contacts_mohm": 14.0},
    "starter_motor": {"motor_mohm": 30.0},
    "control_circuit": {"control_mohm": 500.0},
    "engine_drag": {"load_a": 230.0},
}


@pytest.mark.parametrize("part", PART_FIELDS)
def test_renewing_the_bad_part_gives_the_healthy_coldest_start_and_no_other_does_as_much(part: str) -> None:
    bad = replace(VAN, **BAD[part])
    now = float(coldest_start(bad, NEED))
    by_part = {p: float(v) for p, v in coldest_start_by_part(bad, VAN, NEED).items()}
    assert by_part[part] == pytest.approx(float(coldest_start(VAN, NEED)), abs=0.01)
    assert by_part[part] < now - 2
    assert min(by_part, key=by_part.__getitem__) == part
    assert all(value <= now + 0.01 for value in by_part.values())


def test_a_new_starter_with_a_stronger_field_takes_fewer_amps_for_the_same_torque() -> None:
    weak = replace(VAN, emf_v_per_rpm=0.85 * 0.038, load_a=140.0 / 0.85)
    assert renewed(weak, "starter_motor", VAN).load_a == pytest.approx(140.0)
    with pytest.raises(ValueError, match="part is 'horn'; allowed are battery"):
        renewed(VAN, "horn", VAN)


def test_a_new_part_never_makes_a_better_than_new_unit_worse() -> None:
    better = replace(VAN, battery_mohm=5.0)
    assert renewed(better, "battery", VAN).battery_mohm == 5.0


def test_aged() -> None:
    """ln 2 / 100 per day doubles in 100 days (by hand)."""
    later = aged(VAN, 100.0, {"ground_mohm": np.log(2) / 100})
    assert later.ground_mohm == pytest.approx(1.2)
    assert coldest_start(later, NEED) >= coldest_start(VAN, NEED)
    with pytest.raises(ValueError, match="names 'horn'"):
        aged(VAN, 1.0, {"horn": 1.0})
