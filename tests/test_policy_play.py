"""Policies played on one little fleet: the same vehicles, weather and fates for each (simulated truth)."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from policy_play import AllKnowing, Outcome, Planned, Visit, nobody_acts, play, price, share_of_saving

from analysis.plan_settings import PlanSettings
from demo_fleet.simulate import FleetRun
from demo_fleet.specs import evaluation_specs

SETTINGS = PlanSettings()
SPEC = replace(evaluation_specs()[1], units=40, years=1.8)  # ends in March: preventing before a winter pays in it


@pytest.fixture(scope="module")
def outcomes() -> dict[str, Outcome]:
    """Run to failure, the plan made every ten weeks, and the all-knowing planner."""
    policies = {
        "run_to_failure": nobody_acts,
        "plan": Planned(SETTINGS, every_weeks=10, weeks=13),
        "all_knowing": AllKnowing(SETTINGS),
    }
    return {name: play(SPEC, name, policy, SETTINGS)[0] for name, policy in policies.items()}


def test_the_plan_saves_money_and_no_starts(outcomes: dict[str, Outcome]) -> None:
    """One little fleet and a plan made only every ten weeks; the target of 70 % is judged by bench_policies.py."""
    assert outcomes["run_to_failure"].no_starts >= 3
    assert outcomes["all_knowing"].cost < outcomes["plan"].cost < outcomes["run_to_failure"].cost
    assert outcomes["plan"].no_starts < outcomes["run_to_failure"].no_starts
    assert share_of_saving(outcomes) > 0.3


def test_the_all_knowing_planner_lets_next_to_nothing_happen(outcomes: dict[str, Outcome]) -> None:
    assert outcomes["all_knowing"].no_starts <= 1
    assert share_of_saving(outcomes, "all_knowing") == 1.0


def test_prices_worked_by_hand() -> None:
    """A ground path replaced at a call-in: 35 + 1.0 h x 85 + 90; charging at a service: 0.4 h x 85."""
    run = FleetRun(replace(SPEC, units=5))
    run.advance(run.today + dt.timedelta(days=14))
    day = run.today
    visits = [Visit("U00001", day, "ground_path", "replaced", True), Visit("U00002", day, "battery", "charged", False)]
    assert price(run, visits, SETTINGS, day) == pytest.approx(35 + 85 + 90 + 34)
