"""The forward model against independent solvers, and its monotony; coldest starts have `test_start.py`."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples
from scipy.integrate import quad
from scipy.optimize import brentq

from analysis.starting.loop import StartState, solve_start, start_volts

VAN = StartState(12.65, 7.0, 0.7, 0.6, 0.95, 17.0, 140.0, 0.038, 208.0, 107.0, 1500.0, load_speed_share=0.4)
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
    back = v[1] - v[2] - VAN.brush_v - amps * VAN.motor_mohm / 1000 * copper
    assert start.back_emf_v == pytest.approx(float(back), rel=1e-9)
    assert start.back_emf_v / start.speed_rpm == pytest.approx(0.038)


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


@examples(35)
@given(states, st.floats(-45.0, 35.0), st.floats(0.1, 20.0))
def test_colder_never_starts_better(state: StartState, celsius: float, colder: float) -> None:
    warm, cold = (start_volts(state, t) for t in (celsius, celsius - colder))
    for one, other in zip(warm, cold, strict=True):
        assert other <= one + 1e-9


@examples(35)
@given(states, st.sampled_from(RESISTANCES), st.floats(1.0, 5.0), st.floats(-45.0, 35.0))
def test_more_resistance_never_starts_better(state: StartState, part: str, factor: float, celsius: float) -> None:
    worse = replace(state, **{part: getattr(state, part) * factor})
    for good, bad in zip(start_volts(state, celsius), start_volts(worse, celsius), strict=True):
        assert bad <= good + 1e-9
    assert solve_start(worse, celsius).speed_rpm <= solve_start(state, celsius).speed_rpm + 1e-9


def test_neither_cold_nor_resistance_helps_in_a_hundred_thousand_random_circuits_with_bent_laws() -> None:
    """Laws bent either way, as a fit may give; volts within rounding."""
    rng, n = np.random.default_rng(21), 100_000
    draw = rng.uniform
    state = StartState(
        draw(11.9, 12.8, n), draw(3, 25, n), draw(0.1, 10, n), draw(0.1, 10, n), draw(0.1, 10, n), draw(4, 30, n),
        draw(60, 300, n), draw(0.02, 0.06, n), draw(120, 250, n), draw(20, 600, n), draw(1000, 3000, n),
        battery_b=draw(0.008, 0.02, n), battery_c=draw(-3e-4, 3e-4, n), drag_b=draw(0.007, 0.03, n),
        drag_c=draw(-3e-4, 3e-4, n), brush_v=draw(0.3, 1.5, n), load_speed_share=draw(0, 0.6, n),
    )  # fmt: skip
    t, colder = draw(-45, 35, n), draw(0.1, 20, n)
    here = start_volts(state, t)
    others = [start_volts(state, t - colder)]
    for name in (*RESISTANCES, "load_a"):
        worse = replace(state, **{name: getattr(state, name) * draw(1, 5, n)})
        others.append(start_volts(worse, t))
    for other in others:
        for good, bad in zip(here, other, strict=True):
            assert (bad <= good + 1e-9).all()


def test_more_control_resistance_is_no_help_where_the_battery_would_fall_below_zero_volts() -> None:
    """Found by the property test above: amps that no battery gives must not turn the coil's volts round."""
    state = replace(VAN, open_circuit_v=12.0, battery_mohm=12.0, load_a=1500.0)
    worse = replace(state, control_mohm=1000.0)
    assert start_volts(worse, -8.0)[2] <= start_volts(state, -8.0)[2]


@examples(15)
@given(states, st.floats(-40.0, 30.0))
def test_24_v_is_two_12_v_in_series(state: StartState, celsius: float) -> None:
    """Twice the volts, resistances, brushes and back-emf at the same amps: the same amps and speed, twice the volts."""
    twice = ("open_circuit_v", "brush_v", "emf_v_per_rpm", "coil_mohm", *RESISTANCES)
    double = replace(state, **{name: 2 * getattr(state, name) for name in twice})
    one, two = solve_start(state, celsius), solve_start(double, celsius)
    assert two.amps == pytest.approx(float(one.amps), rel=1e-9)
    assert two.speed_rpm == pytest.approx(float(one.speed_rpm), rel=1e-9)
    for single, pair in zip(start_volts(state, celsius), start_volts(double, celsius), strict=True):
        assert pair == pytest.approx(2 * float(single), abs=1e-9)
