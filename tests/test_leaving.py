"""Vehicles whose last day in service is still ahead: the plan calls them in only where it pays until then.

Truth: costs worked by hand from the risk until the last day, and the same plan without it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples
from samples_plan import AS_OF, dates, make_inputs, pins

from analysis.costs import PlanSettings
from analysis.plan.inputs import PlanInputs, prepare
from analysis.plan.replacement_plan import ReplacementPlan, plan_replacements
from analysis.plan.visit_costs import REPLACE
from analysis.plan.workshop_calendar import plan_weeks
from dashboard.words.plan_words import missed_line, noted, with_words


def leaving(inputs: PlanInputs, days: dict[str, int]) -> PlanInputs:
    """The same fleet, of which some leave so many days after the plan's date."""
    last = [AS_OF + pd.Timedelta(days=days[unit]) if unit in days else pd.NaT for unit in inputs.fleet["unit"]]
    return replace(inputs, fleet=inputs.fleet.assign(out_of_service=dates(last)))


def make(inputs: PlanInputs, previous: ReplacementPlan | None = None) -> ReplacementPlan:
    return with_words(
        plan_replacements(inputs, as_of=AS_OF, weeks=13, previous=previous, settings=PlanSettings(down_share=1.0))
    )


@pytest.mark.parametrize("days", [10, 24, 80, 150])
def test_the_costs_of_a_vehicle_that_leaves_by_hand(days: int) -> None:
    """Waiting costs the no-starts until the last day; acting those before it, then the work and what renewing leaves until then; no
    life of the new part counts, and no time gained."""
    inputs = make_inputs(at_risk=6, services=False)
    parts = inputs.outlook.assign(probability_renewed=0.0)
    inputs = replace(inputs, outlook=parts, catalogue=inputs.catalogue.assign(lead_days=0.0))
    work = prepare(leaving(inputs, dict.fromkeys(inputs.fleet["unit"], days)), plan_weeks(AS_OF, 13), PlanSettings())
    c, table, knots = work.candidates, work.table, np.arange(27.0)
    for u, unit in enumerate(c.table["unit"]):
        own = inputs.outlook[inputs.outlook["unit"] == unit]["probability"].to_numpy()
        risk = np.concatenate([[0.0], own])
        until = float(np.interp(days / 7.0, knots, risk))
        planned = c.part_cost[u] + c.part_h[u] * 85.0 + 90.0
        for w in range(13):
            on = 7 * w
            if on >= days:
                assert table.day[REPLACE, u, w] == -1
                assert np.isinf(table.cost[REPLACE, u, w])
                continue
            before = float(risk[w])
            by_hand = before * c.fail_cost[u] + (1.0 - before) * planned
            assert table.cost[REPLACE, u, w] == pytest.approx(by_hand, rel=1e-9)
        if days <= 7 * 13:
            assert table.wait[u] == pytest.approx(until * c.fail_cost[u], rel=0.02)
        assert table.wait[u] <= until * c.fail_cost[u] + 1e-6
        assert table.constant[u] == 0.0


@given(st.integers(0, 10_000), st.integers(1, 120), st.booleans())
@examples(2)
def test_no_visit_is_planned_for_a_last_day_or_later(seed: int, days: int, services: bool) -> None:
    """Property, of visits made new, promised before, pinned and accepted; who does not leave is planned as if nobody did."""
    inputs = make_inputs(fleet=20, at_risk=10, hours=200.0, seed=seed, services=services)
    gone = {f"V-{i:04d}": days for i in range(5)}
    first = make(inputs)
    decided = pd.DataFrame({
        "unit": pd.Series(["V-0001"], dtype="str"), "kind": pd.Series(["accepted"], dtype="str"),
        "at": dates([AS_OF - pd.Timedelta(days=2)]), "until": dates([pd.NaT]),
    })  # fmt: skip
    week = plan_weeks(AS_OF, 13).iso[9]
    inputs = replace(inputs, decisions=decided, pins=pins(("V-0002", "pin", week)))
    plan = make(leaving(inputs, gone), first)
    mine = plan.visits[plan.visits["unit"].isin(gone)]
    assert (mine["visit_on"] < AS_OF + pd.Timedelta(days=days)).all()
    assert (mine["leaves_on"] == AS_OF + pd.Timedelta(days=days)).all()
    if days <= 7 * 9:
        last = f"{AS_OF + pd.Timedelta(days=days):%Y-%m-%d}"
        assert any(
            note == f"V-0002 is pinned to {week}, but its last day in service is {last}: the visit is not planned."
            for note in noted(plan)
        )
    if "V-0001" not in set(mine["unit"]):
        assert any("V-0001 was accepted" in note and "before its last day in service" in note for note in noted(plan))
        assert plan.left_out.set_index("unit").loc["V-0001", "reason"] == "leaves"
    others = make(inputs, first).visits
    others = others[~others["unit"].isin(gone)].reset_index(drop=True)
    kept = plan.visits[~plan.visits["unit"].isin(gone)].reset_index(drop=True)
    pd.testing.assert_frame_equal(kept[["unit", "visit_on", "job"]], others[["unit", "visit_on", "job"]])


def test_who_leaves_soon_comes_only_where_it_pays() -> None:
    """With a week left renewing never pays at these risks; the reason and what waiting risks are said."""
    inputs = make_inputs(fleet=20, at_risk=10, hours=200.0, services=False)
    before = make(inputs)
    unit = str(before.visits.loc[before.visits["kind"] == "replace", "unit"].iloc[0])
    due = inputs.units.assign(act_by=dates([AS_OF if u == unit else pd.NaT for u in inputs.units["unit"]]))
    soon = make(leaving(replace(inputs, units=due), {unit: 8}))
    assert unit not in set(soon.visits["unit"])
    row = soon.act_by_missed.set_index("unit").loc[unit]
    assert (row["reason"], row["leaves_on"]) == ("leaves", AS_OF + pd.Timedelta(days=8))
    said = missed_line(row.to_dict(), AS_OF)
    assert said.startswith("act now, no visit: no visit pays before its last day in service, 1 Dec 2026, at a ")
    assert said.endswith(" chance of a no-start if nothing is done")
    promised = replace(before, visits=before.visits.assign(iso_week=plan_weeks(AS_OF, 1).iso[0], visit_on=AS_OF))
    kept = make(leaving(inputs, {unit: 8}), promised)
    assert unit not in set(kept.visits["unit"]), "nor where the version before promised it"
    assert unit in set(kept.cancelled["unit"])
    late = make(leaving(inputs, {unit: 85}))
    visit = late.visits.set_index("unit").loc[unit]
    assert "by 16 Feb 2027, its last day in service, if nothing is done" in visit["why"]
    assert visit["cost_now"] < visit["cost_waiting"]
    assert ReplacementPlan.from_body(late.to_body()).visits["leaves_on"].tolist() == late.visits["leaves_on"].tolist()
