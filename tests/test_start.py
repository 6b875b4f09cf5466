"""From drawn states to coldest starts: the table of temperatures against a root finder."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples
from samples_fleet import chance_of
from scipy.optimize import brentq

from analysis.circuit.limits import COPPER_PER_K
from analysis.circuit.temperature import BATTERY_LAW, DRAG_LAW, TemperatureLaw
from analysis.readings.observe import BATTERY, CHANNELS, CONTROL, LOAD, MOTOR, ClassLaws, LawDoubt
from analysis.readings.panel import Floats
from analysis.starting.choices import LOOP
from analysis.starting.coldest_start import (
    BELOW_C,
    GRID_C,
    DrawnLaws,
    Needs,
    Vehicles,
    as_fitted,
    crossing,
    drawn_coldest_starts,
    drawn_laws,
    start_curves,
    start_state,
    usual_speed,
)
from analysis.starting.loop import solve_start, start_volts

LAWS = ClassLaws(
    battery_per_k=np.array([0.012, 0.012]),
    battery_curve=np.array([0.0001, 0.0001]),
    load_per_k=np.array([0.012, 0.010]),
    load_curve=np.array([0.0001, 0.0001]),
    battery_doubt=LawDoubt(np.zeros((2, 2, 2)), np.zeros((2, 2))),
    load_doubt=LawDoubt(np.zeros((2, 2, 2)), np.zeros((2, 2))),
    base=np.array([[6.0, 0.6, 0.6, 0.9, 11.0, 180.0, 110.0], [8.0, 0.9, 0.9, 1.2, 16.0, 320.0, 170.0]]),
    base_sd=np.full((2, 7), 0.1),
    rest_v=np.array([12.65, 25.3]),
    emf_v=np.array([7.9, 13.5]),
    speed_share=np.array([0.3, 0.3]),
    emf_per_rpm=np.array([0.04, np.nan]),
    scatter=np.ones((2, 7)),
    coil_mohm=np.array([1500.0, 3000.0]),
    inrush=np.array([[0.85, 0.95], [0.85, 0.95]]),
    between=np.zeros((2, 2, 2)),
    lent=np.zeros((2, 2)),
)
NEEDS = (100.0, 7.2, 7.0)
VOLTS = np.array([12.0, 24.0])


def of_classes(group: np.ndarray) -> Vehicles:
    """Vehicles of these classes as they usually are."""
    return Vehicles(LAWS.rest_v[group], group, VOLTS[group], LAWS)


def starts(multiples: dict[int, float], *, unit: int = 0, field: float = 1.0) -> np.ndarray:
    """(3,) coldest starts of one vehicle with some channels worn."""
    state = np.ones((len(CHANNELS), 1, 1))
    for channel, value in multiples.items():
        state[channel] = value
    needs = Needs(*(np.full((1, 1), n) for n in NEEDS))
    one = np.array([unit])
    found = drawn_coldest_starts(state, np.full((1, 1), field), of_classes(one), needs)
    return found[:, 0, 0]


def root(multiples: dict[int, float], need: int, *, unit: int = 0) -> float:
    """The same from `analysis.starting.loop.start_volts` and Brent's method, in double precision."""
    state = np.ones((len(CHANNELS), 1, 1))
    for channel, value in multiples.items():
        state[channel] = value
    one = np.array([unit])
    circuit = start_state(state, np.ones((1, 1)), LAWS.rest_v[one], one, LAWS)
    exact = replace(
        circuit, **{n: float(np.asarray(getattr(circuit, n)).squeeze()) for n in circuit.__dataclass_fields__}
    )
    per_12 = VOLTS[unit] / 12.0
    least = (NEEDS[0] * exact.emf_v_per_rpm, NEEDS[1] * per_12, NEEDS[2] * per_12)[need]
    margin = lambda t: float(start_volts(exact, t)[need]) - least  # noqa: E731 - the one line that is solved
    if margin(-44.0) >= 0:
        return BELOW_C
    return float(brentq(margin, -44.0, 40.0, xtol=1e-6))


WORN = [
    {BATTERY: 2.5},
    {BATTERY: 4.0},
    {MOTOR: 1.9},
    {LOAD: 1.7},
    {CONTROL: 3.5, BATTERY: 1.8},
    {1: 8.0},
    {2: 9.0},
    {3: 6.0},
]


@pytest.mark.parametrize("unit", [0, 1])
@pytest.mark.parametrize("worn", WORN, ids=str)
@pytest.mark.parametrize("need", [0, 1, 2])
def test_the_grid_finds_the_root_of_the_exact_margin(worn: dict[int, float], need: int, unit: int) -> None:
    """Independent numerical solution: Brent's method on the same physics.

    0.5 K: a straight line over 4 K of a curve bends away by that much at most; single precision adds little.
    """
    expected = root(worn, need, unit=unit)
    assert starts(worn, unit=unit)[need] == pytest.approx(expected, abs=0.5)


def test_the_roots_looked_at_are_not_all_outside_the_grid() -> None:
    """Guard of the test above: most of its vehicles have a coldest start inside the temperatures looked at."""
    inside = [root(worn, need, unit=unit) > -44.0 for worn in WORN for need in range(3) for unit in range(2)]
    assert np.mean(inside) > 0.4


def test_a_sound_vehicle_starts_in_the_cold_and_says_so() -> None:
    """Common practice: a sound starting system starts an engine at -20 °C and colder."""
    assert (starts({}) < -20.0).all()


@examples(15)
@given(st.sampled_from(range(7)), st.floats(1.0, 6.0), st.floats(1.0, 1.5))
def test_more_wear_never_starts_colder(channel: int, level: float, more: float) -> None:
    """Property: any part worse, no need met at a colder temperature (0.3 K: a straight line over 4 K).

    The load is left out of one: a slower engine draws fewer amps, which helps the solenoid coil and the supply.
    """
    before, after = starts({channel: level}), starts({channel: level * more})
    assert (after >= before - 0.3).all()


def test_the_control_circuit_touches_the_coil_only() -> None:
    """Worked by hand: a drop in the control wire takes volts from the coil and from nothing else."""
    before, after = starts({BATTERY: 2.0}), starts({BATTERY: 2.0, CONTROL: 3.0})
    assert after[:2] == pytest.approx(before[:2])
    assert after[2] > before[2]


def test_a_stronger_field_turns_slower_for_the_same_volts() -> None:
    """Physics: speed is back-emf over field, so a motor with a weak field turns faster unloaded by resistance."""
    assert starts({BATTERY: 2.5}, field=0.8)[0] < starts({BATTERY: 2.5}, field=1.0)[0]


def test_usual_speed_is_emf_over_its_constant_or_nominal() -> None:
    """Worked by hand: 7.9 V / 0.04 V/rpm = 197.5 rpm; nominal where speed was never read."""
    assert usual_speed(LAWS) == pytest.approx([7.9 / 0.04, LOOP.nominal_rpm])


def test_the_nominal_speed_is_one_that_a_sound_engine_cranks_at() -> None:
    """Service manual of light trucks: 150 to 200 rpm in the warm."""
    assert 150.0 <= LOOP.nominal_rpm <= 200.0


def test_curves_are_per_12_volts() -> None:
    """Scale property: a 24 V vehicle of two 12 V ones in series has the same curves per 12 V."""
    double = replace(
        LAWS, base=LAWS.base[[0, 0]] * np.array([[1.0] * 7, [2, 2, 2, 2, 2, 1, 2]]), emf_v=np.array([7.9, 15.8]),
        emf_per_rpm=np.array([0.04, 0.08]), coil_mohm=np.array([1500.0, 3000.0]), load_per_k=np.array([0.012, 0.012]),
    )  # fmt: skip
    state, group = np.full((7, 2, 1), 1.6), np.array([0, 1])
    circuit = start_state(state, np.ones((2, 1)), LAWS.rest_v, group, double)
    for curve in start_curves(circuit, VOLTS):
        assert curve.shape == (2, 1, len(GRID_C))
        assert curve[0] == pytest.approx(curve[1], rel=1e-4)


def test_a_vehicle_does_not_depend_on_its_neighbours() -> None:
    """Property: many at once, in chunks, as one by one."""
    n = 3100
    rng = np.random.default_rng(3)
    state = rng.uniform(1.0, 4.0, (7, n, 2))
    group, field = rng.integers(0, 2, n), np.ones((n, 2))
    needs = Needs(*(np.full((n, 2), v) for v in NEEDS))
    fleet = drawn_coldest_starts(state, field, of_classes(group), needs)
    assert fleet.shape == (3, n, 2)
    for u in (0, 1499, 1500, 3099):
        s = slice(u, u + 1)
        own = Needs(*(np.full((1, 2), v) for v in NEEDS))
        alone = drawn_coldest_starts(state[:, s], field[s], of_classes(group[s]), own)
        assert fleet[:, s] == pytest.approx(alone, abs=1e-3)


def test_no_vehicle_no_start() -> None:
    """Property: an empty fleet gives an empty answer."""
    empty = Needs(*(np.zeros((0, 4)),) * 3)
    nobody = of_classes(np.zeros(0, dtype=np.int64))
    found = drawn_coldest_starts(np.zeros((7, 0, 4)), np.zeros((0, 4)), nobody, empty)
    assert found.shape == (3, 0, 4)


# --- crossing --------------------------------------------------------------------------------------------------------


def test_crossing_of_a_straight_line_is_exact() -> None:
    """Worked by hand: 100 + 2 T reaches 90 at -5 °C."""
    line = (100.0 + 2.0 * GRID_C).astype(np.float32)[None, :]
    assert crossing(line, np.array([90.0])) == pytest.approx([-5.0], abs=1e-4)


def test_crossing_takes_the_last_fall_and_knows_always_and_never() -> None:
    """Definition: the coldest temperature above which the curve stays at or above the level."""
    dip = np.full(len(GRID_C), 10.0, dtype=np.float32)
    dip[[2, 9]] = 0.0
    found = float(crossing(dip[None], np.array([5.0]))[0])
    assert GRID_C[9] < found < GRID_C[10]
    assert float(crossing(dip[None], np.array([-1.0]))[0]) == BELOW_C
    assert float(crossing(dip[None], np.array([11.0]))[0]) >= GRID_C[-1]


@examples(15)
@given(st.floats(0.5, 3.0), st.floats(0.0, 200.0), st.floats(0.0, 20.0))
def test_a_higher_need_is_met_at_a_warmer_temperature(slope: float, need: float, more: float) -> None:
    """Property: monotone in the need."""
    curve = (100.0 + slope * GRID_C).astype(np.float32)[None]
    low, high = (float(crossing(curve, np.array([n]))[0]) for n in (need, need + more))
    assert high >= low - 1e-3


def test_needs_are_held_against_their_own_curves() -> None:
    """Property: changing one need moves that coldest start and no other."""
    state = np.full((7, 1, 1), 1.4)
    vehicle = (state, np.ones((1, 1)), of_classes(np.array([0])))
    before = drawn_coldest_starts(*vehicle, Needs(*(np.full((1, 1), n) for n in NEEDS)))
    for k in range(3):
        more = [n + 0.1 * n * (k == i) for i, n in enumerate(NEEDS)]
        after = drawn_coldest_starts(*vehicle, Needs(*(np.full((1, 1), n) for n in more)))
        moved = (after != before)[:, 0, 0]
        assert moved.tolist() == [i == k for i in range(3)]


# --- turning slower --------------------------------------------------------------------------------------------------


def test_electronics_and_coil_see_the_volts_of_the_solved_start_where_cables_and_motor_are_sound() -> None:
    """Property: they see what a meter would show while cranking, as long as the motor turns."""
    state = np.ones((len(CHANNELS), 1, 1))
    state[BATTERY] = 2.5
    one = np.array([0])
    circuit = start_state(state, np.ones((1, 1)), LAWS.rest_v[one], one, LAWS)
    solved = solve_start(circuit, GRID_C.astype(np.float32))
    _, supply, coil = start_curves(circuit, VOLTS[one])
    turning = np.asarray(solved.speed_rpm)[0, 0] > 0
    assert turning.sum() > 10
    # within 0.02 V, because the contacts of a sound vehicle are taken to follow copper here
    assert supply[0, 0, turning] == pytest.approx(np.asarray(solved.battery_v)[0, 0, turning], abs=0.02)
    coil_mohm = np.asarray(circuit.coil_mohm) * (1.0 - COPPER_PER_K.value * (20.0 - GRID_C))
    coil_v = np.asarray(solved.battery_v) * coil_mohm / (coil_mohm + np.asarray(circuit.control_mohm))
    assert coil[0, 0, turning] == pytest.approx(coil_v[0, 0, turning], abs=0.02)


@examples(10)
@given(st.integers(0, len(CHANNELS) - 1), st.floats(1.0, 6.0), st.floats(1.0, 2.0))
def test_a_worse_part_is_no_help(channel: int, level: float, more: float) -> None:
    """Property: with more resistance, or more load, none of the three needs is met at a colder temperature."""
    assert (starts({channel: level * more}) >= starts({channel: level}) - 0.02).all()


# --- the laws as far out as they may be ------------------------------------------------------------------------------

CLASSES, DRAWS = 60, 128


def doubtful(law: TemperatureLaw, seen_c: Floats) -> LawDoubt:
    """A law's doubt after readings at temperatures (G, R), its slope and curvature known to trade against each other."""
    x = law.reference_c - seen_c
    sd = np.sqrt(np.diag(law.covariance))
    covariance = np.outer(sd, sd) * np.array([[1.0, -0.6], [-0.6, 1.0]])
    return LawDoubt(np.tile(covariance, (len(x), 1, 1)), np.stack([x.mean(axis=1), (x * x).mean(axis=1)], axis=1))


def many(seen_c: Floats) -> ClassLaws:
    """Classes like the first of LAWS, of which each was read at its own temperatures (G, R)."""
    n = len(seen_c)
    apart = ("battery_doubt", "load_doubt", "speed")
    whole = {f.name: getattr(LAWS, f.name)[np.zeros(n, dtype=int)] for f in fields(LAWS) if f.name not in apart}
    doubts = {"battery_doubt": doubtful(BATTERY_LAW, seen_c), "load_doubt": doubtful(DRAG_LAW, seen_c)}
    return ClassLaws(**whole, **doubts)


def log_departure(of: Floats, celsius: Floats) -> Floats:
    """(G, K, R) log of a drawn law over the fitted one, at 20 degC its usual value too; celsius (G, R)."""
    x = (20.0 - celsius)[:, None, :]
    return np.asarray(of[..., :1] * x + of[..., 1:2] * x**2 + of[..., 2:])


@pytest.fixture(scope="module")
def seen_c() -> Floats:
    """Forty readings of each class, about a mean and over a range of its own."""
    rng = np.random.default_rng(4)
    return rng.uniform(-5, 25, (CLASSES, 1)) + rng.uniform(2, 10, (CLASSES, 1)) * rng.standard_normal((CLASSES, 40))


def test_a_drawn_law_leaves_what_was_read_as_it_was_read(seen_c: Floats) -> None:
    """Definition: over the readings of the class every draw departs by nil in the mean; by nil at each of them, where all
    were taken at one temperature."""
    drawn = drawn_laws(many(seen_c), chance_of(CLASSES, DRAWS))
    at_one = np.tile(seen_c[:, :1], (1, 5))
    same = drawn_laws(many(at_one), chance_of(CLASSES, DRAWS))
    for of, alone in ((drawn.battery, same.battery), (drawn.load, same.load)):
        assert of.shape == (CLASSES, DRAWS, 3)
        assert np.abs(log_departure(of, seen_c).mean(axis=2)).max() < 1e-12
        assert np.abs(log_departure(alone, at_one)).max() < 1e-12
        assert np.abs(log_departure(of, np.full((CLASSES, 1), -20.0))).max() > 0.2


def test_drawn_laws_spread_in_the_cold_as_far_as_the_law_s_own_doubt_says(seen_c: Floats) -> None:
    """Against `LawDoubt.relative_se`, at -20 degC: each of 60 classes within 19 %, three sampling errors of a standard
    deviation of 128 draws (1 / sqrt(2 x 127) each, were they dealt by chance); all together within 2 %, and no bias."""
    laws, cold = many(seen_c), np.full((CLASSES, 1), -20.0)
    drawn = drawn_laws(laws, chance_of(CLASSES, DRAWS))
    for of, doubt in ((drawn.battery, laws.battery_doubt), (drawn.load, laws.load_doubt)):
        stated = doubt.relative_se(20.0 - cold, np.arange(CLASSES))[:, 0]
        departure = log_departure(of, cold)[..., 0]
        ratio = departure.std(axis=1, ddof=1) / stated
        assert np.abs(ratio - 1.0).max() < 0.19
        assert ratio.mean() == pytest.approx(1.0, abs=0.02)
        assert np.abs(departure.mean(axis=1) / stated).max() < 3.0 / np.sqrt(DRAWS)


@pytest.mark.parametrize("share", [0.0, 0.6, 1.0])
def test_what_starts_in_one_cold_have_told_of_a_law_is_not_drawn_again_there(seen_c: Floats, share: float) -> None:
    """Definition: in that air a share of each departure is gone, all of it where starts told all; from there on to any other cold
    it departs by as much as before."""
    drawn, air_c = drawn_laws(many(seen_c), chance_of(CLASSES, DRAWS)), seen_c.min(axis=1)
    less = drawn.less_in(air_c, np.full(CLASSES, share))
    there, far = air_c[:, None], air_c[:, None] - 15.0
    for of, left in ((drawn.battery, less.battery), (drawn.load, less.load)):
        assert log_departure(left, there) == pytest.approx((1.0 - share) * log_departure(of, there), abs=1e-12)
        further, as_before = (log_departure(one, far) - log_departure(one, there) for one in (left, of))
        assert further == pytest.approx(as_before, abs=1e-12)


def test_the_laws_of_battery_and_load_depart_each_for_itself(seen_c: Floats) -> None:
    """Property: no correlation between the two over the draws of a class (below 3.5 / sqrt(128)), nor on the whole."""
    drawn = drawn_laws(many(seen_c), chance_of(CLASSES, DRAWS))
    cold = np.full((CLASSES, 1), -20.0)
    battery, load = (log_departure(of, cold)[..., 0] for of in (drawn.battery, drawn.load))
    found = [np.corrcoef(b, w)[0, 1] for b, w in zip(battery, load, strict=True)]
    assert np.abs(found).max() < 3.5 / np.sqrt(DRAWS)
    assert abs(np.mean(found)) < 3.5 / np.sqrt(DRAWS * CLASSES)


def test_a_drawn_law_is_the_one_the_start_is_solved_with() -> None:
    """Worked by hand: amps that the engine asks for, and ohms of the battery, at -20 degC in the circuit of each draw."""
    laws = many(np.full((1, 4), 12.0))
    drawn = drawn_laws(laws, chance_of(1, 16))
    circuit = start_state(np.ones((7, 1, 16)), np.ones((1, 16)), laws.rest_v, np.array([0]), laws, drawn)
    cold = np.full((1, 1), -20.0)
    for usual, b, c, value, of in (
        (6.0, circuit.battery_b, circuit.battery_c, circuit.battery_mohm, drawn.battery),
        (180.0, circuit.drag_b, circuit.drag_c, circuit.load_a, drawn.load),
    ):
        at_cold = np.asarray(value * np.exp(b * 40.0 + c * 1600.0))[0, :, 0]
        fitted = usual * np.exp(0.012 * 40.0 + 0.0001 * 1600.0)  # LAWS
        assert at_cold == pytest.approx(fitted * np.exp(log_departure(of, cold)[0, :, 0]), rel=1e-5)


def test_laws_as_fitted_change_nothing_and_serve_any_number_of_draws() -> None:
    """Definition: the laws of the class, the same as with none given and as laws that are known for certain."""
    state = np.random.default_rng(6).uniform(1.0, 3.0, (7, 2, 5))
    group, needs = np.array([1, 0]), Needs(*(np.full((2, 5), n) for n in NEEDS))
    nothing = as_fitted(LAWS)
    assert (nothing.battery == 0.0).all()
    assert (nothing.load == 0.0).all()

    def found(departures: DrawnLaws | None) -> Floats:
        return drawn_coldest_starts(state, np.ones((2, 5)), of_classes(group), needs, departures)

    certain = drawn_laws(LAWS, chance_of(2, 5))  # no doubt in LAWS
    assert (found(None) == found(nothing)).all()
    assert (found(None) == found(certain)).all()
    doubt = replace(LAWS, battery_doubt=doubtful(BATTERY_LAW, np.full((2, 3), 12.0)))
    assert (found(drawn_laws(doubt, chance_of(2, 5))) != found(None)).any()
