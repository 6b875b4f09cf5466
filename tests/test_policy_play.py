"""Policies played on one little fleet: the same vehicles, weather and fates for each (simulated truth)."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from policy_play import AllKnowing, Outcome, Planned, Visit, nobody_acts, play, price, share_of_saving
from scipy.stats import norm

from analysis.costs import PlanSettings
from analysis.plan.replacement_plan import PlanInputs, ReplacementPlan, plan_replacements
from demo_fleet.simulate import FleetRun
from demo_fleet.specs import evaluation_specs

SETTINGS = PlanSettings()
SPEC = replace(evaluation_specs()[1], units=60, years=0.8)  # ends in March: preventing before a winter pays in it
BLUR_WEEKS = 4.0  # how sharply the made-up assessment below sees a no-start coming


class SeenThroughAHaze(Planned):
    """The plan on an assessment made up from the truth: right vehicle and part, the week known to BLUR_WEEKS.

    The assessment itself is judged by its own tests; bench_policies.py plays the two together.
    """

    def plan(self, run: FleetRun) -> ReplacementPlan:
        fleet = run.fleet()
        coming = run.foresee(182).drop_duplicates("unit")
        week = np.arange(1, 27)
        fails = (coming["date"] - pd.Timestamp(run.today)).dt.days.to_numpy() / 7.0
        risk = np.maximum.accumulate(0.97 * norm.cdf((week - fails[:, None]) / BLUR_WEEKS), axis=1)
        names, parts = (np.repeat(coming[c].to_numpy(), 26) for c in ("unit", "part"))
        outlook = pd.DataFrame({
            "unit": names, "part": parts, "week": np.tile(week - 1, len(coming)), "probability": risk.ravel(),
            "probability_low": risk.ravel(), "probability_high": risk.ravel(),
            "probability_renewed": 0.05 * risk.ravel(),
        }).astype({"unit": "str", "part": "str"})  # fmt: skip
        units = fleet.units.assign(flagged=fleet.units["unit"].isin(coming["unit"]), part_probability=0.95)
        inputs = PlanInputs(
            outlook=outlook, units=units, parts=pd.DataFrame(), catalogue=fleet.parts, services=fleet.services,
            workshops=fleet.workshops, repairs=fleet.repairs, fleet=fleet.units,
        )  # fmt: skip
        return plan_replacements(inputs, as_of=pd.Timestamp(run.today), weeks=8, settings=SETTINGS, previous=self.last)


@pytest.fixture(scope="module")
def outcomes() -> dict[str, Outcome]:
    """Run to failure, the plan made every six weeks, and the all-knowing planner."""
    policies = {
        "run_to_failure": nobody_acts,
        "plan": SeenThroughAHaze(SETTINGS, every_weeks=6),
        "all_knowing": AllKnowing(SETTINGS),
    }
    return {
        name: play(SPEC, name, policy, SETTINGS, warm_up_days=60, closing_days=0)[0]
        for name, policy in policies.items()
    }


@pytest.mark.nightly
def test_the_plan_saves_most_of_what_can_be_saved(outcomes: dict[str, Outcome]) -> None:
    """The target of 70 % of the all-knowing planner's saving, here with risks known to four weeks."""
    assert outcomes["run_to_failure"].no_starts >= 5
    assert outcomes["all_knowing"].cost < outcomes["plan"].cost < outcomes["run_to_failure"].cost
    assert outcomes["plan"].no_starts < outcomes["run_to_failure"].no_starts / 2
    assert share_of_saving(outcomes) > 0.7


@pytest.mark.nightly
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
