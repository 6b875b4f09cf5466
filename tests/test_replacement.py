"""Costs of acting week by week: against enumeration, Monte Carlo, sums worked by hand, and common sense."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples
from samples_plan import AS_OF, make_inputs

from analysis.costs import PlanSettings
from analysis.plan.inputs import PlanInputs, Work, prepare
from analysis.plan.replacement_plan import plan_replacements
from analysis.plan.visit_costs import (
    CHEAP_FIRST,
    KINDS,
    MEASURE,
    REPLACE,
    cost_to_go,
    end_value,
    later_value,
    lived,
    worthwhile,
)
from analysis.plan.workshop_calendar import plan_weeks


def prepared(inputs: PlanInputs | None = None, *, weeks: int = 13, **changes: object) -> Work:
    """Everything up to the costs, for made-up vehicles."""
    chosen = inputs or make_inputs()
    return prepare(chosen, plan_weeks(AS_OF, weeks), replace(PlanSettings(), **changes))


@given(st.integers(0, 10_000))
@examples(15)
def test_cost_to_go_is_the_best_of_all_weeks_tried_one_by_one(seed: int) -> None:
    """Bellman's recursion against enumeration: act in week 0, 1, ... or never, each costed forwards."""
    rng = np.random.default_rng(seed)
    weeks = 8
    risk = np.concatenate([[0.0], np.sort(rng.uniform(0, 0.9, weeks))])[None]
    act, fail, rate = rng.uniform(50, 500, (1, weeks)), rng.uniform(300, 2000, 1), rng.uniform(0, 5, 1)
    end = rng.uniform(0, 400, 1)
    value = cost_to_go(risk, act, fail, rate, end)[0, 0]
    alive = 1.0 - risk[0]
    costs = []
    for stop in range(weeks + 1):
        mean_life = float(np.sum(0.5 * (alive[:stop] + alive[1 : stop + 1])))
        then = act[0, stop] if stop < weeks else end[0]
        costs.append(fail[0] * risk[0, stop] - rate[0] * mean_life + alive[stop] * then)
    assert value == pytest.approx(min(costs), rel=1e-9)


def test_postponing_pays_exactly_while_hazard_times_the_difference_is_below_the_rate() -> None:
    """Barlow & Proschan 1965: at the best age, hazard x (fail - planned) equals the long-run cost rate."""
    fail, work, rate = np.array([1000.0]), 200.0, np.array([4.0])
    limit = rate[0] / (fail[0] - work)  # 0.5 % a week
    for hazard, acts in ((0.8 * limit, False), (1.25 * limit, True)):
        risk = (1.0 - (1.0 - hazard) ** np.arange(27))[None]
        value = cost_to_go(risk, np.full((1, 26), work), fail, rate, np.array([work]))
        assert bool(value[0, 0] == pytest.approx(work)) is acts


def test_cost_of_acting_agrees_with_a_simulation_of_failure_times() -> None:
    """Monte Carlo, 400,000 vehicles drawn from the risk curve; three standard errors.

    A repair at the roadside renews the part too, so both ways leave the same risk from their day on.
    """
    work = prepared(make_inputs(services=False))
    c, u, w = work.candidates, 0, 6
    t = float(work.table.day[REPLACE, u, w]) / 7.0
    rng = np.random.default_rng(4)
    fails_at = np.interp(rng.random(400_000), c.risk[u], np.arange(27.0), right=np.inf)
    failed = fails_at < t
    left = np.interp(np.minimum(fails_at, t), np.arange(27.0), work.values.left[u])
    planned = c.part_cost[u] + c.part_h[u] * work.settings.hour_rate + work.settings.access_cost + left
    cost = np.where(failed, c.fail_cost[u] + left, planned) - c.rate[u] * np.minimum(fails_at, t)
    error = cost.std() / np.sqrt(len(cost))
    assert work.table.cost[REPLACE, u, w] == pytest.approx(cost.mean(), abs=3 * error + 0.5)


def test_cost_today_by_hand() -> None:
    """Acting on day 0 on a part that is at hand: price + labour x rate + access + what the work leaves open."""
    inputs = make_inputs(services=False)
    inputs = replace(inputs, catalogue=inputs.catalogue.assign(lead_days=0.0))
    work = prepared(inputs, hour_rate=100.0, access_cost=70.0)
    c = work.candidates
    by_hand = c.part_cost + 100.0 * c.part_h + 70.0 + work.values.left[:, 0]
    np.testing.assert_allclose(work.table.cost[REPLACE, :, 0], by_hand)


def test_a_planned_service_saves_the_access_and_nothing_else() -> None:
    """The same day with and without a service: the difference is access x chance of still running."""
    inputs = make_inputs(services=False)
    inputs = replace(inputs, catalogue=inputs.catalogue.assign(lead_days=0.0))
    without = prepared(inputs)
    unit = str(without.candidates.table["unit"].iloc[2])
    monday = AS_OF + np.timedelta64(21, "D")
    services = inputs.services.iloc[:0].copy()
    services.loc[0] = [unit, monday]
    services = services.astype({"unit": "str", "due_on": "datetime64[us]"})
    with_it = prepared(replace(inputs, services=services))
    alive = 1.0 - without.candidates.risk[2, 3]
    saved = without.table.cost[REPLACE, 2, 3] - with_it.table.cost[REPLACE, 2, 3]
    assert with_it.table.free[REPLACE, 2, 3]
    assert saved == pytest.approx(alive * without.settings.access_cost, rel=1e-9)


def test_waiting_is_never_valued_below_the_best_visit_beyond_the_horizon() -> None:
    """No edge effect: with unlimited hours the best week of a vehicle does not depend on how far the plan looks."""
    inputs = make_inputs(fleet=60, at_risk=30, services=False, seed=9)
    short, long = prepared(inputs, weeks=8), prepared(inputs, weeks=20)
    best_long = long.table.cost[REPLACE].argmin(axis=1)
    for u in np.flatnonzero(best_long < 6):
        assert short.table.cost[REPLACE, u].argmin() == best_long[u]
    postponed = np.flatnonzero(best_long > 8)
    assert (short.table.wait[postponed] <= short.table.cost[REPLACE, postponed].min(axis=1) + 1e-6).all()


def test_a_bad_part_is_acted_upon_at_once_also_in_a_plan_of_one_week() -> None:
    """A plan that always postpones to the edge is wrong: the value beyond the horizon is not zero."""
    inputs = make_inputs(fleet=20, at_risk=10, services=False, seed=2)
    outlook = inputs.outlook.assign(probability=np.tile(1 - 0.75 ** np.arange(1, 27), 10))
    outlook["probability_renewed"] = 0.02 * outlook["probability"]
    work = prepared(replace(inputs, outlook=outlook, catalogue=inputs.catalogue.assign(lead_days=0.0)), weeks=1)
    best = work.table.cost.min(axis=0)[:, 0]
    assert (best < work.table.wait).all()


def winter_and(later: float) -> PlanInputs:
    """A battery that fails this winter with 0.36, and by the next one with `later`; none of it once renewed."""
    inputs = make_inputs(fleet=4, at_risk=1, services=False, parts=("battery",))
    week = np.arange(1, 27)
    risk = 0.36 * np.clip(week / 13.0, 0.0, 1.0)
    curves = {
        "probability": risk,
        "probability_low": risk,
        "probability_high": risk,
        "probability_renewed": 0.01 * risk,
    }
    halves = {"probability_better": 0.6 * risk, "probability_worse": 1.4 * risk}
    far = pd.DataFrame({"unit": pd.Series(["V-0000"] * 2, dtype="str"), "week": [39, 52], "probability": [0.36, later]})
    far = far.assign(**dict.fromkeys(halves, far["probability"]), probability_renewed=0.01 * far["probability"])
    units = inputs.units.assign(system_v=12, part_probability=0.99)
    catalogue = inputs.catalogue.assign(lead_days=0.0)
    return replace(
        inputs,
        outlook=inputs.outlook.assign(**curves, **halves),
        beyond=far,
        units=units,
        fleet=units,
        catalogue=catalogue,
    )


def test_halves_lie_at_the_ends_of_an_interval_and_their_middle_is_the_risk() -> None:
    """By hand: 0.4 that may be anything from 0 to 1 is 0 in the better half, and 0.8 in the worse."""
    inputs = make_inputs(fleet=4, at_risk=1, services=False)
    told = {"probability": 0.4, "probability_low": 0.0, "probability_high": 1.0, "probability_renewed": 0.0}
    made = prepared(replace(inputs, outlook=inputs.outlook.assign(**told))).candidates
    assert made.better[0, 1:] == pytest.approx(0.0)
    assert made.worse[0, 1:] == pytest.approx(0.8)


def test_a_part_that_outlives_the_winter_is_not_taken_for_new() -> None:
    """Whether to renew at 0.36 this winter hangs on the next: 278 + 90 now against 0.36 x 912 and what comes after."""
    doomed, harmless = prepared(winter_and(0.98)), prepared(winter_and(0.36))
    assert doomed.table.cost[REPLACE, 0].min() < doomed.table.wait[0] - 30.0
    assert harmless.table.cost[REPLACE, 0].min() > harmless.table.wait[0]


def test_risks_beyond_the_outlook_go_on_with_an_even_hazard_to_each_quarter() -> None:
    """Worked by hand: 0.36 at week 26 and 39; 0.98 at week 52 is 13 weeks of hazard ln(0.64 / 0.02) / 13."""
    c = prepared(winter_and(0.98)).candidates
    assert c.risk.shape == (1, 27)
    assert c.later.shape == (4, 1, 27)
    np.testing.assert_allclose(c.later[0, 0, :14], 0.0, atol=1e-12)
    np.testing.assert_allclose(c.later[0, 0, 14:], 1.0 - (0.02 / 0.64) ** (np.arange(1, 14) / 13.0))
    assert (c.better <= c.risk).all()
    assert (c.worse >= c.risk).all()


def test_a_reading_at_a_service_after_the_plan_is_waited_for_as_one_within_it() -> None:
    """A measuring visit in the last week, in a service, costs its hours and tells what the service tells anyway."""
    inputs = make_inputs(fleet=60, at_risk=40, seed=3)
    plan = plan_replacements(inputs, as_of=AS_OF, weeks=8, settings=PlanSettings(down_share=1.0))
    measured = plan.visits[plan.visits["kind"] == "measure"]
    first = inputs.services.groupby("unit")["due_on"].min()
    assert not (measured["visit_on"] == measured["unit"].map(first)).any()


def test_the_value_after_the_outlook_counts_what_renewing_takes_away() -> None:
    """Worked by hand: nothing to come or nothing to be saved is worth 0; a sure failure next week costs the renewal."""
    sure = np.array([[0.0, 1.0 - 1e-6]])
    none, work, fail, rate = np.zeros((1, 2)), np.array([300.0]), np.array([900.0]), np.array([2.0])
    assert later_value(none, none, work, fail, rate)[0] == 0.0
    assert later_value(sure, sure, work, fail, rate)[0] == 0.0
    assert later_value(sure, none, work, fail, rate)[0] == 300.0
    late = np.concatenate([np.zeros((1, 53)), sure[:, 1:]], axis=1)
    assert later_value(late, np.zeros((1, 54)), work, fail, rate)[0] == pytest.approx(300.0 - 52 * 2.0)


def test_the_value_at_the_end_lies_between_a_new_part_and_a_renewal() -> None:
    risk = np.linspace(0, 1, 5)[:, None] * np.linspace(0, 0.999, 27)[None]
    value = end_value(risk, np.full(5, 300.0), np.full(5, 900.0), np.full(5, 2.0))
    assert value[0] == 0.0
    assert (np.diff(value) >= 0).all()
    assert value[-1] == 300.0


def test_lived_weeks_are_the_integral_of_survival() -> None:
    risk = (1 - np.exp(-0.05 * np.arange(27)))[None]
    assert lived(risk)[0, -1] == pytest.approx((1 - np.exp(-1.3)) / 0.05, rel=1e-3)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_knowing_more_never_costs_more(seed: int) -> None:
    """Value of information is not negative: knowing all costs at most as much as not knowing (Jensen)."""
    work = prepared(make_inputs(fleet=50, at_risk=40, seed=seed))
    assert (work.values.informed <= work.values.waiting + 1e-6 + 1e-9 * np.abs(work.values.waiting)).mean() > 0.99


def test_a_measurement_that_resolves_nothing_is_never_worth_a_visit() -> None:
    inputs = make_inputs(fleet=50, at_risk=40, hours=100.0)
    plan = plan_replacements(inputs, as_of=AS_OF, settings=PlanSettings(measure_resolves=0.0, down_share=1.0))
    assert len(plan.visits) > 10
    assert not (plan.visits["kind"] == "measure").any()


def test_measuring_is_worth_more_where_the_suspicion_is_less_sure() -> None:
    """Two vehicles alike but for the probability of the part: the doubtful one gains more from a measurement."""
    inputs = make_inputs(fleet=4, at_risk=2, services=False, parts=("battery",))
    one = inputs.outlook[inputs.outlook["unit"] == "V-0000"]
    sure, doubtful = one.assign(probability_renewed=0.02 * one["probability"]), one.assign(unit="V-0001")
    doubtful["probability_renewed"] = 0.5 * doubtful["probability"]
    units = inputs.units.assign(system_v=12)
    units.loc[:1, "part"] = "battery"
    units.loc[:1, "part_probability"] = [0.98, 0.5]
    outlook = pd.concat([sure, doubtful], ignore_index=True).astype({"unit": "str", "part": "str"})
    work = prepared(replace(inputs, outlook=outlook, units=units, fleet=units, parts=inputs.parts.iloc[:0]))
    gain = (work.table.cost[REPLACE] - work.table.cost[MEASURE]).max(axis=1)
    assert gain[1] > gain[0]


def test_cleaning_first_costs_less_the_likelier_it_cures() -> None:
    inputs = make_inputs(fleet=10, at_risk=4, parts=("ground_path",), services=False)
    costs = [prepared(inputs, clean_success={"ground_path": p}).table.cost[CHEAP_FIRST, :, 2] for p in (0.0, 0.5, 0.9)]
    assert (costs[0] > costs[1]).all()
    assert (costs[1] > costs[2]).all()
    assert np.isinf(prepared(make_inputs(parts=("starter_motor",))).table.cost[CHEAP_FIRST]).all()


def test_a_dearer_no_start_never_makes_a_visit_later() -> None:
    inputs = make_inputs(fleet=60, at_risk=30, services=False, seed=6)
    weeks = []
    for factor in (1.0, 3.0):
        costs = {k: replace(v, lost_work=factor * v.lost_work) for k, v in PlanSettings().no_start.items()}
        work = prepared(inputs, weeks=26, no_start=costs, measure_resolves=0.0)
        weeks.append(work.table.cost[REPLACE].argmin(axis=1))
    assert (weeks[1] <= weeks[0]).all()
    assert (weeks[1] < weeks[0]).any()


def test_ways_of_acting_that_another_beats_in_cost_and_hours_are_dropped() -> None:
    work = prepared(make_inputs(fleet=60, at_risk=40))
    options = worthwhile(work.table)
    assert (options.cost < 0).all()
    assert (np.diff(options.unit) >= 0).all()
    for u, w in {(int(a), int(b)) for a, b in zip(options.unit, options.week, strict=True)}:
        same = (options.unit == u) & (options.week == w)
        order = np.argsort(options.hours[same])
        assert (np.diff(options.cost[same][order]) <= 0).all()
    assert len(KINDS) == len(work.table.cost)
