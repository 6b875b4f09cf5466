"""The assignment against brute force on small cases, the LP bound on large ones, and its conservation laws."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples, one_in
from scipy.optimize import linear_sum_assignment

from analysis.plan.assignment import Capacity, assign, relaxation, reserve
from analysis.plan.visit_costs import Options


def make_options(rng: np.random.Generator, units: int, weeks: int, kinds: int = 2) -> Options:
    unit, week, kind = (x.ravel() for x in np.meshgrid(range(units), range(weeks), range(kinds), indexing="ij"))
    hours = rng.choice([0.4, 0.8, 1.0, 1.5, 2.5], (units, kinds))[unit, kind]
    worth = rng.gamma(2.0, 200.0, units)[unit] * (0.5 + 0.5 * kind / kinds)
    cost = -worth * np.exp(-0.15 * week) + rng.normal(0, 20, len(unit))
    keep = (cost < 0) & (rng.random(len(unit)) < 0.8)
    calls = rng.random(len(unit)) < 0.8
    every = Options(unit, week, kind, hours, calls, 7 * week, cost)
    return every.of(np.flatnonzero(keep))


def brute_force(options: Options, hours: np.ndarray, visits: np.ndarray) -> float:
    """Cheapest cost of all combinations of at most one option a vehicle, by trying every one."""
    per_unit = [[-1, *np.flatnonzero(options.unit == u)] for u in np.unique(options.unit)]
    best = 0.0
    for rows in itertools.product(*per_unit):
        picked = np.array([r for r in rows if r >= 0], dtype=int)
        used = np.bincount(options.week[picked], options.hours[picked], len(hours))
        calls = np.bincount(options.week[picked], options.calls_in[picked].astype(float), len(hours))
        if (used <= hours + 1e-9).all() and (calls <= visits).all():
            best = min(best, float(options.cost[picked].sum()))
    return best


@pytest.mark.parametrize("seed", one_in(3, range(12)))
@pytest.mark.parametrize("exact_options", [0, 1500])
def test_the_plan_agrees_with_trying_everything(seed: int, exact_options: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Worked by enumeration: the plan is the best, within the solver's own gap."""
    monkeypatch.setattr("analysis.plan.assignment.EXACT_OPTIONS", exact_options)
    rng = np.random.default_rng(seed)
    options = make_options(rng, 5, 3)
    hours, visits = rng.uniform(0.5, 3.0, 3), rng.integers(0, 3, 3).astype(float)
    best = brute_force(options, hours, visits)
    depot, capacity = np.zeros(5, dtype=np.int64), Capacity(hours[None], visits[None])
    plan = assign(options, depot, capacity)
    assert plan.cost == pytest.approx(best, rel=3e-4 if exact_options else 1.5e-3, abs=1e-6)
    assert plan.lower_bound <= best + 1e-6


def test_equal_jobs_agree_with_the_transport_problem() -> None:
    """With jobs of one hour the problem is a transport problem: scipy's linear_sum_assignment on replicated slots."""
    rng = np.random.default_rng(5)
    units, weeks, places = 30, 6, 3
    cost = -rng.gamma(2.0, 100.0, (units, weeks))
    unit, week = (x.ravel() for x in np.meshgrid(range(units), range(weeks), indexing="ij"))
    options = Options(unit, week, 0 * unit, np.ones(len(unit)), np.ones(len(unit), bool), 7 * week, cost.ravel())
    rows, columns = linear_sum_assignment(np.repeat(cost, places, axis=1))
    best = float(np.repeat(cost, places, axis=1)[rows, columns].sum())
    capacity = Capacity(np.full((1, weeks), float(places)), np.full((1, weeks), 99.0))
    assert assign(options, np.zeros(units, dtype=np.int64), capacity).cost == pytest.approx(best, rel=2e-4)


@pytest.mark.nightly
def test_a_large_depot_is_solved_nearly_and_says_how_nearly() -> None:
    """The linear relaxation, computed beside it, is a bound that no plan can beat (Geoffrion 1974, from memory)."""
    rng = np.random.default_rng(11)
    options = make_options(rng, 80, 16)
    hours, visits = np.full(16, 2.5), np.full(16, 2.0)
    linear, price = relaxation(options, hours, visits)
    plan = assign(options, np.zeros(80, dtype=np.int64), Capacity(hours[None], visits[None]))
    assert plan.method == ("nearly exact",)
    assert linear - 1e-6 <= plan.lower_bound <= plan.cost
    assert 0.0 <= plan.gap < 0.005
    assert plan.hour_price[0] == pytest.approx(price)


def test_the_price_of_an_hour_is_what_one_more_hour_saves() -> None:
    """Worked by hand: two vehicles, one hour each, one hour in the week; the second is worth 30."""
    options = Options(
        np.array([0, 1]), np.zeros(2, int), np.zeros(2, int), np.ones(2), np.ones(2, bool), np.zeros(2, int),
        np.array([-50.0, -30.0]),
    )  # fmt: skip
    plan = assign(options, np.zeros(2, dtype=np.int64), Capacity(np.array([[1.0]]), np.array([[9.0]])))
    assert plan.chosen.tolist() == [0]
    assert plan.hour_price[0, 0] == pytest.approx(30.0)


@given(st.integers(0, 10_000), st.integers(1, 25), st.integers(1, 8), st.integers(1, 3))
@examples(10)
def test_hours_and_places_are_never_exceeded_and_nobody_comes_twice(
    seed: int, units: int, weeks: int, depots: int
) -> None:
    rng = np.random.default_rng(seed)
    options = make_options(rng, units, weeks)
    depot = rng.integers(0, depots, units)
    capacity = Capacity(rng.uniform(0, 5, (depots, weeks)), rng.integers(0, 5, (depots, weeks)).astype(float))
    plan = assign(options, depot, capacity)
    picked = options.of(plan.chosen)
    assert len(np.unique(picked.unit)) == len(picked)
    for d in range(depots):
        mine = depot[picked.unit] == d
        used = np.bincount(picked.week[mine], picked.hours[mine], weeks)
        calls = np.bincount(picked.week[mine], picked.calls_in[mine].astype(float), weeks)
        assert (used <= capacity.hours[d] + 1e-6).all()
        assert (calls <= capacity.visits[d] + 1e-6).all()
    assert plan.lower_bound <= plan.cost + 1e-6
    assert plan.cost <= 0


def test_more_hours_never_cost_more() -> None:
    rng = np.random.default_rng(3)
    options = make_options(rng, 20, 5)
    depot, visits = np.zeros(20, dtype=np.int64), np.full((1, 5), 9.0)
    costs = [assign(options, depot, Capacity(np.full((1, 5), h), visits)).cost for h in (0.0, 1.0, 2.0, 4.0, 8.0)]
    assert costs[0] == 0.0
    assert all(b <= a + 1e-3 * abs(a) for a, b in itertools.pairwise(costs))


def test_what_must_come_is_booked_first_and_said_when_it_does_not_fit() -> None:
    options = Options(
        np.array([0, 1, 2]), np.zeros(3, int), np.zeros(3, int), np.array([1.0, 1.0, 2.0]), np.ones(3, bool),
        np.zeros(3, int), np.array([5.0, -90.0, 1.0]),
    )  # fmt: skip
    capacity = Capacity(np.array([[1.5]]), np.array([[2.0]]))
    booked, left, refused = reserve(options, np.zeros(3, dtype=np.int64), capacity, np.array([0, 2]))
    assert booked.tolist() == [0]
    assert refused == (2,)
    assert left.hours[0, 0] == pytest.approx(0.5)
    assert left.visits[0, 0] == 1.0


def test_a_week_outside_the_capacity_is_a_bad_call() -> None:
    options = make_options(np.random.default_rng(1), 3, 4)
    with pytest.raises(ValueError, match="allowed are 0 to 1"):
        assign(options, np.zeros(3, dtype=np.int64), Capacity(np.ones((1, 2)), np.ones((1, 2))))
