"""The invented fleet's forward physics: circuit laws, published points, and the order that physics demands."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples

from demo_fleet.cranking import ColdLaw, Condition, battery_mohm, coldest_start_c, crank, viscosity_ratio
from demo_fleet.specs import BENT_COLD, FLAT_COLD, KINKED_COLD, STEEP_COLD
from demo_fleet.vehicles import CLASSES, Hardware, build

LAWS = [ColdLaw(), STEEP_COLD, FLAT_COLD, BENT_COLD, KINKED_COLD]


def as_built() -> Hardware:
    """Every class exactly as its table says."""
    columns = {f.name: np.array([float(getattr(c, f.name)) for c in CLASSES.values()]) for f in fields(Hardware)}
    return Hardware(**columns)


def sound(n: int) -> Condition:
    one, zero = np.ones(n), np.zeros(n)
    return Condition(one, 0.94 * one, zero, zero, zero, one, one, one, zero, one)


HARDWARE, N = as_built(), len(CLASSES)


@given(
    temperature_c=st.floats(-35, 35), battery=st.floats(1, 4), positive=st.floats(0, 20), ground=st.floats(0, 20),
    contacts=st.floats(0, 20), motor=st.floats(1, 3), drag=st.floats(1, 2), soc=st.floats(0.1, 1),
)  # fmt: skip
@examples(15)
def test_voltages_around_the_loop_add_up(
    temperature_c: float, battery: float, positive: float, ground: float, contacts: float, motor: float, drag: float,
    soc: float,
) -> None:  # fmt: skip
    """Kirchhoff: battery = positive drop + contacts + motor + ground drop (1e-9 V: rounding of floats only)."""
    one = np.ones(N)
    state = replace(
        sound(N), battery_factor=battery * one, positive_add_mohm=positive * one, ground_add_mohm=ground * one,
        contacts_add_mohm=contacts * one, motor_factor=motor * one, drag_factor=drag * one, soc=soc * one,
    )  # fmt: skip
    k = crank(HARDWARE, state, ColdLaw(), np.full(N, temperature_c))
    loop = k.drop_positive_v + k.drop_contacts_v + k.motor_v + k.drop_ground_v
    turning = k.crank_a > 0
    assert np.all(turning)
    np.testing.assert_allclose(loop, k.crank_min_v, rtol=0, atol=1e-9)
    np.testing.assert_allclose(k.drop_control_v + k.coil_v, k.crank_min_v, rtol=0, atol=1e-9)
    assert np.all(k.peak_a >= k.crank_a)
    assert np.all(k.rest_v > k.crank_min_v)


def test_one_start_solved_independently() -> None:
    """The steady speed equals the root of the loop's balance found by bisection (worked independently).

    Torque is amps times field, so that at nine tenths of the field a drag of 1.1 takes 1.1 / 0.9 the amps."""
    temperature = np.full(N, -7.0)
    state = replace(
        sound(N), ground_add_mohm=np.full(N, 2.0), drag_factor=np.full(N, 1.1), field_factor=np.full(N, 0.9)
    )
    k = crank(HARDWARE, state, ColdLaw(), temperature)
    loop_ohm = (k.rest_v - k.crank_min_v + k.drop_positive_v + k.drop_ground_v + k.drop_contacts_v) / k.crank_a
    loop_ohm = loop_ohm + HARDWARE.motor_mohm * (1 + 0.00393 * (temperature - 20)) / 1000
    thick = viscosity_ratio(temperature, HARDWARE.oil_40_cst, HARDWARE.oil_100_cst) ** ColdLaw().oil_exponent
    low, high = np.zeros(N), np.full(N, 500.0)
    for _ in range(60):
        rpm = (low + high) / 2
        fluid = HARDWARE.viscous_a * thick * (0.55 + 0.45 * rpm / HARDWARE.ref_rpm)
        amps = 1.1 / 0.9 * (HARDWARE.friction_a + fluid)
        left = k.rest_v - HARDWARE.brush_v - amps * loop_ohm - 0.9 * HARDWARE.emf_v_per_rpm * rpm
        low, high = np.where(left > 0, rpm, low), np.where(left > 0, high, rpm)
    np.testing.assert_allclose(k.crank_rpm, rpm, rtol=1e-6)
    np.testing.assert_allclose(k.crank_a, amps, rtol=1e-6)


def test_a_stalled_motor_draws_what_the_loop_allows() -> None:
    """With the engine seized the current is (E - brush) / loop and the speed is zero (Ohm's law by hand)."""
    state = replace(sound(N), drag_factor=np.full(N, 50.0))
    k = crank(HARDWARE, state, ColdLaw(), np.full(N, 20.0))
    assert np.all(k.crank_rpm == 0)
    np.testing.assert_allclose(k.motor_v, k.crank_a * HARDWARE.motor_mohm / 1000 + HARDWARE.brush_v, rtol=1e-12)
    loop = k.drop_positive_v + k.drop_contacts_v + k.motor_v + k.drop_ground_v
    np.testing.assert_allclose(loop, k.crank_min_v, rtol=0, atol=1e-9)


@pytest.mark.parametrize("law", LAWS)
def test_colder_never_starts_better(law: ColdLaw) -> None:
    """A vehicle that starts at one temperature starts at every warmer one; below 15 °C each kelvin costs margin.

    (Above, the coil's copper warms faster than the oil thins: a hundredth of a volt, far from any edge.)
    """
    for state in (sound(N), replace(sound(N), battery_factor=np.full(N, 2.0)), replace(sound(N), soc=np.full(N, 0.5))):
        grid = np.array([crank(HARDWARE, state, law, np.full(N, float(t))).margin_v for t in range(25, -46, -1)])
        assert np.all(np.diff((grid > 0).astype(int), axis=0) <= 0)
        assert np.all(np.diff(grid[10:], axis=0) < 0)
        assert np.all(grid[0] > 1)
        assert np.all(grid[-1] < grid[0] - 1)


WORSE = {
    "battery_factor": 1.4, "positive_add_mohm": 4.0, "ground_add_mohm": 4.0, "contacts_add_mohm": 4.0,
    "motor_factor": 1.4, "brush_factor": 1.4, "control_add_ohm": 0.9, "drag_factor": 1.3, "soc": 0.6,
}  # fmt: skip


@pytest.mark.parametrize("name", WORSE)
@pytest.mark.parametrize("temperature_c", [20.0, 0.0, -15.0, -25.0])
def test_more_wear_never_starts_better(name: str, temperature_c: float) -> None:
    """A worse part turns the engine slower or as fast, and raises a sound vehicle's coldest start or leaves it."""
    worse = replace(sound(N), **{name: np.full(N, WORSE[name])})
    before, after = (crank(HARDWARE, s, ColdLaw(), np.full(N, temperature_c)) for s in (sound(N), worse))
    assert np.all(after.crank_rpm <= before.crank_rpm + 1e-9)
    healthy, ill = (coldest_start_c(HARDWARE, s, ColdLaw()) for s in (sound(N), worse))
    assert np.all(ill > healthy + 0.5)


@pytest.mark.parametrize("name", ["battery_factor", "control_add_ohm", "drag_factor", "soc"])
def test_what_costs_the_coil_volts_never_helps(name: str) -> None:
    """Battery, control circuit, drag: every margin falls. (Series resistance spares a weak battery's coil a little.)"""
    worse = replace(sound(N), **{name: np.full(N, WORSE[name])})
    for temperature_c in (20.0, 0.0, -15.0, -25.0):
        at = np.full(N, temperature_c)
        margins = (crank(HARDWARE, s, ColdLaw(), at).margin_v for s in (worse, sound(N)))
        assert np.all(next(margins) <= next(margins) + 1e-12)


def test_coldest_start_is_where_the_margin_vanishes() -> None:
    """At the temperature found the margin is zero within what 0.0005 K can change it (a few mV at most)."""
    coldest = coldest_start_c(HARDWARE, sound(N), ColdLaw())
    margin = crank(HARDWARE, sound(N), ColdLaw(), coldest).margin_v
    np.testing.assert_allclose(margin, 0.0, atol=2e-3)
    assert np.all((coldest < -15) & (coldest > -45))


def test_oil_follows_the_published_walther_example() -> None:
    """ASTM D341 worked example: 32 cSt at 40 °C and 5.4 at 100 °C give 8.53 at 80 °C (published; within 0.5 %)."""
    points = np.array([40.0, 80.0, 100.0])
    ratio = viscosity_ratio(points, np.full(3, 32.0), np.full(3, 5.4))
    assert 32.0 * ratio[1] / ratio[0] == pytest.approx(8.53, rel=0.005)
    assert 32.0 * ratio[2] / ratio[0] == pytest.approx(5.4, rel=1e-9)


def test_windings_follow_copper() -> None:
    """A stalled motor's winding at -18 °C: 0.8507 of 20 °C (copper law, NBS Handbook 100, from memory)."""
    state = replace(sound(N), drag_factor=np.full(N, 50.0))
    warm, cold = (crank(HARDWARE, state, ColdLaw(), np.full(N, t)) for t in (20.0, -18.0))
    ratio = ((cold.motor_v - HARDWARE.brush_v) / cold.crank_a) / ((warm.motor_v - HARDWARE.brush_v) / warm.crank_a)
    np.testing.assert_allclose(ratio, 0.8507, atol=5e-5)


@pytest.mark.parametrize("law", LAWS)
def test_battery_resistance_rises_as_the_two_published_tables_allow(law: ColdLaw) -> None:
    """From 20 to -18 °C x1.37 (load-test table) to x2.5 (power table of TM 5-4210-230-14&P-1), both as computed."""
    warm, cold = (battery_mohm(HARDWARE, sound(N), law, np.full(N, t)) for t in (20.0, -18.0))
    assert np.all((cold / warm > 1.3) & (cold / warm < 2.6))


def test_orders_of_magnitude_of_common_practice() -> None:
    """12 V light vehicles: 60 to 250 A steady, inrush near 600 A, coil 2 to 15 A, drops of sound cables under 0.2 V."""
    k = crank(HARDWARE, sound(N), ColdLaw(), np.full(N, 15.0))
    light = [i for i, c in enumerate(CLASSES.values()) if c.blocks == 1 and c.cylinders == 4 and c.rated_cca_a < 900]
    assert len(light) == 3
    assert np.all((k.crank_a[light] > 60) & (k.crank_a[light] < 250))
    assert np.all((k.peak_a[light] > 350) & (k.peak_a[light] < 900))
    assert np.all((k.coil_a > 2) & (k.coil_a < 15))
    assert np.all((k.drop_positive_v[light] < 0.2) & (k.drop_ground_v[light] < 0.2))
    assert np.all(k.drop_contacts_v[light] < 0.3)


def test_spread_of_hardware_is_reproducible_and_small() -> None:
    """Two draws with one seed are equal; vehicles of a class stay within a third of each other in the motor."""
    names = ["light_van"] * 200
    one, two = (build(names, np.random.default_rng(5)) for _ in range(2))
    np.testing.assert_array_equal(one.motor_mohm, two.motor_mohm)
    assert 0.03 < np.std(np.log(one.motor_mohm)) < 0.07
    scaled = one.scaled(np.array([3]), motor_mohm=2.0)
    assert scaled.motor_mohm[3] == 2 * one.motor_mohm[3]
    assert scaled.motor_mohm[4] == one.motor_mohm[4]
