"""Lifetimes and simple policies against published examples."""

import numpy as np
import pandas as pd
import pytest
from samples_plan import AS_OF, dates, make_inputs, no_repairs
from scipy.integrate import quad

from analysis.costs import PARTS, PlanSettings
from analysis.plan.candidates import best_ages
from analysis.plan.inputs import prepare
from analysis.plan.policies import flagged_list, mean_residual_life, overdue_parts, run_to_failure
from analysis.plan.workshop_calendar import plan_weeks
from analysis.wear.lives import (
    AgeReplacement,
    Weibull,
    age_replacement,
    cost_rate,
    fit_weibull,
    observed_lives,
    part_lifetimes,
)

NIST_FAILED = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
BEARINGS = [
    17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.48, 51.84, 51.96, 54.12, 55.56, 67.80, 68.64, 68.64, 68.88, 84.12,
    93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40,
]  # fmt: skip


def test_best_age_of_the_published_example() -> None:
    """Barlow & Proschan 1965 (computed): shape 2.5, scale 1000 h, costs 1 and 5 -> 493.05 h, 0.003462 per hour."""
    best = age_replacement(Weibull(2.5, 1000.0), planned=1.0, unplanned=5.0)
    assert best.age == pytest.approx(493.05, abs=0.05)  # the curve is flat at its lowest point
    assert best.cost_rate == pytest.approx(0.003462, abs=5e-7)
    hazard = 2.5 / 1000.0 * (best.age / 1000.0) ** 1.5  # of Weibull(2.5, 1000.0)
    assert best.cost_rate == pytest.approx(4.0 * hazard, rel=1e-4)


@pytest.mark.parametrize(("shape", "unplanned"), [(1.0, 5.0), (0.8, 9.0), (2.5, 1.0), (3.0, 0.5)])
def test_without_wear_or_without_a_saving_the_part_runs_to_failure(shape: float, unplanned: float) -> None:
    law = Weibull(shape, 100.0)
    best = age_replacement(law, planned=1.0, unplanned=unplanned)
    assert best == AgeReplacement(float("inf"), unplanned / law.mean)


def test_cost_rate_tends_to_run_to_failure_with_age() -> None:
    law = Weibull(2.5, 1000.0)
    assert cost_rate(law, 1e4, planned=1.0, unplanned=5.0) == pytest.approx(5.0 / law.mean, rel=1e-6)


def test_weibull_of_the_published_censored_data() -> None:
    """NIST/SEMATECH 8.4.1.2, ten failures and ten running at 500 h (computed): shape 1.7208, scale 606.53."""
    age = np.array([*NIST_FAILED, *[500] * 10], dtype=float)
    law = fit_weibull(age, np.array([1.0] * 10 + [0.0] * 10))
    assert law.shape == pytest.approx(1.7208, abs=2e-4)
    assert law.scale == pytest.approx(606.53, abs=0.02)


def test_weibull_of_the_ball_bearings() -> None:
    """Lieblein & Zelen 1956 (from memory, computed): shape 2.102, scale 81.88 million revolutions."""
    law = fit_weibull(np.array(BEARINGS), np.ones(len(BEARINGS)))
    assert law.shape == pytest.approx(2.102, abs=5e-4)
    assert law.scale == pytest.approx(81.88, abs=0.005)


def test_late_entry_is_no_bias() -> None:
    """Simulated truth: lives seen only from an age on, the earlier failures unseen; 3 % of 4,000 lives."""
    rng = np.random.default_rng(3)
    life, entry = 1000 * rng.weibull(2.2, 4000), rng.uniform(0, 900, 4000)
    seen = life > entry
    law = fit_weibull(life[seen], np.ones(seen.sum()), entry[seen])
    assert law.shape == pytest.approx(2.2, rel=0.05)
    assert law.scale == pytest.approx(1000, rel=0.03)
    naive = fit_weibull(life[seen], np.ones(seen.sum()))
    assert naive.scale > 1.05 * law.scale


def test_a_life_that_was_not_looked_at_for_a_day_teaches_nothing() -> None:
    """A part renewed, or a vehicle first known of, on the day itself: age and entry are one, beside lives that teach."""
    failed = pd.DataFrame({"part": "battery", "entry": 0.0, "age": [*map(float, NIST_FAILED)] * 3, "failed": 1.0})
    unseen = failed.tail(1).assign(entry=failed["age"].iloc[-1])
    years = PlanSettings().life_years
    taught = part_lifetimes(failed, parts=["battery"], life_years=years)
    assert taught["battery"].failures == 30
    assert part_lifetimes(pd.concat([failed, unseen]), parts=["battery"], life_years=years) == taught


def test_mean_life_left_is_the_integral_of_survival() -> None:
    law = Weibull(2.2, 1500.0)
    for age in (0.0, 700.0, 3000.0):
        expected = quad(law.survival, age, np.inf)[0] / law.survival(age)
        assert mean_residual_life(law, np.array([age]))[0] == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("age", "failed", "message"),
    [([1.0, 2.0], [0.0, 0.0], "no failure"), ([0.0, 2.0], [1.0, 1.0], "ages > entry")],
)
def test_lives_that_carry_no_fit_are_a_bad_call(age: list[float], failed: list[float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        fit_weibull(np.array(age), np.array(failed))


def test_lives_worked_by_hand() -> None:
    """One vehicle in service before the first record, two replacements: three lives, the first seen late."""
    units = pd.DataFrame({"unit": ["a", "b"], "in_service": dates([pd.Timestamp("2020-01-01"), AS_OF])})
    repairs = pd.DataFrame({
        "unit": ["a", "a", "a"], "part": ["battery"] * 3, "action": ["replaced", "charged", "replaced"],
        "reason": ["no_start", "", "preventive"],
        "done_on": dates([pd.Timestamp(d) for d in ("2022-01-01", "2022-06-01", "2024-01-01")]),
    })  # fmt: skip
    lives = observed_lives(units, repairs, AS_OF, parts=["battery"]).drop(columns="part")
    own = lives[lives["unit"] == "a"].sort_values("running").to_numpy().tolist()
    assert own == [
        ["a", 731.0, 731.0, 1.0, 0.0], ["a", 0.0, 730.0, 0.0, 0.0],
        ["a", 0.0, float((AS_OF - pd.Timestamp("2024-01-01")).days), 0.0, 1.0],
    ]  # fmt: skip


def test_with_few_failures_the_stated_life_is_used_and_said() -> None:
    inputs = make_inputs()
    years = PlanSettings().life_years
    lives = part_lifetimes(
        observed_lives(inputs.fleet, no_repairs(), AS_OF, parts=PARTS), parts=PARTS, life_years=years
    )
    assert lives["battery"].law.mean == pytest.approx(5.0 * 365.25)
    assert "setting of 5 years" in lives["battery"].source


def test_flagged_list_keeps_hours_and_fixed_age_takes_the_oldest_first() -> None:
    inputs = make_inputs(fleet=40, at_risk=20, hours=3.0)
    work = prepare(inputs, plan_weeks(AS_OF, 8), PlanSettings())
    flagged = inputs.units.loc[inputs.units["flagged"], "unit"].tolist()
    found = flagged_list(work, flagged)
    never = run_to_failure(work)
    assert 0 < found.visits <= len(flagged)
    assert found.hours <= work.capacity.hours.sum()
    assert found.no_starts < never.no_starts
    ages = best_ages(inputs.fleet, work.lives, work.catalogue, PlanSettings(), access=PlanSettings().access_cost)
    overdue = overdue_parts(work.seen, ages, work.weeks)
    assert (overdue["over"].diff().dropna() <= 0).all()
    assert (overdue["due_day"] < work.weeks.end_day[-1]).all()
