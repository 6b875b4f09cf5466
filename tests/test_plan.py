"""The plan as a whole: conservation laws, pins, promises, versions, and what bad input leads to."""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples
from samples_plan import AS_OF, PARTS, catalogue, dates, make_inputs, pins

from analysis.costs import NoStartCost, PlanSettings, settings_from_mapping
from analysis.plan import assignment
from analysis.plan.assignment import Capacity
from analysis.plan.inputs import cheap_success, prepare
from analysis.plan.policies import avoided, flagged_list, reckoned, run_to_failure
from analysis.plan.replacement_plan import PlanInputs, ReplacementPlan, plan_replacements
from analysis.plan.visit_costs import MEASURE, Options, options_of, worthwhile
from analysis.plan.workshop_calendar import opening, plan_weeks, workshop_hours
from analysis.readings.panel import Floats
from dashboard.words.plan_words import noted


def make(inputs: PlanInputs, *, weeks: int = 13, previous: ReplacementPlan | None = None, **changes: object):
    """A plan of made-up inputs with some settings changed."""
    return plan_replacements(
        inputs, as_of=AS_OF, weeks=weeks, settings=replace(PlanSettings(), **changes), previous=previous
    )


# --- conservation ----------------------------------------------------------------------------------------------------


@given(
    st.integers(0, 10_000), st.integers(1, 30), st.integers(1, 3), st.floats(0.0, 12.0), st.integers(1, 26),
    st.booleans(),
)  # fmt: skip
@examples(2)
def test_hours_places_and_lead_times_are_kept(
    seed: int, at_risk: int, depots: int, hours: float, weeks: int, again: bool
) -> None:
    """Properties: booked hours, vehicles called in, one visit a vehicle, one action a part, part there in time."""
    inputs = make_inputs(fleet=40, at_risk=at_risk, depots=depots, hours=hours, seed=seed)
    plan = make(inputs, weeks=weeks)
    if again:
        plan = make(replace(inputs, pins=pins(("V-0000", "pin", plan.hours["iso_week"].iloc[0]))), previous=plan)
    assert (plan.hours["booked"] <= plan.hours["hours"] + 1e-6).all()
    booked = plan.visits.groupby(["depot", "iso_week"])["hours"].sum()
    table = plan.hours.set_index(["depot", "iso_week"])["booked"]
    assert all(abs(table[key] - value) < 1e-9 for key, value in booked.items())
    called = plan.visits[~plan.visits["in_service"]].groupby(["depot", "iso_week"]).size()
    size = inputs.fleet["depot"].value_counts()
    assert all(count <= max(1, int(0.1 * size[depot])) for (depot, _), count in called.items())
    assert plan.visits["unit"].is_unique
    lead = catalogue().set_index("part")["lead_days"]
    for row in plan.visits.to_dict("records"):
        assert len(set(row["parts"])) == len(row["parts"])
        assert row["visit_on"] >= AS_OF
        assert row["visit_on"].isocalendar()[1] == int(row["iso_week"][-2:])
        if row["kind"] in ("replace", "cheap_first"):
            assert all(row["visit_on"] >= AS_OF + pd.Timedelta(days=int(lead[p])) for p in row["parts"])
    assert (plan.orders["order_by"] >= AS_OF).all()


def test_every_visit_pays_and_its_costs_add_up() -> None:
    plan = make(make_inputs(fleet=80, at_risk=50, hours=6.0))
    v = plan.visits
    assert len(v) > 10
    assert (v["saving"] > 0).all()
    parts = [c for c in v.columns if c.startswith("cost_") and c not in ("cost_now", "cost_waiting")]
    np.testing.assert_allclose(v[parts].sum(axis=1).astype(float), v["cost_now"].astype(float))
    sure = v[v["kind"].isin(["replace"])]
    assert (sure[parts].to_numpy(float) >= -1e-6).all()
    assert (v["no_starts_avoided"] <= v["probability_waiting"] + 1e-9).all()


def test_the_plan_is_cheaper_than_the_simple_policies() -> None:
    plan = make(make_inputs(fleet=80, at_risk=30, hours=20.0), down_share=0.5)
    cost = plan.policies.set_index("policy")["cost"]
    assert cost.index.tolist() == ["plan", "run_to_failure", "fixed_age", "flagged_list"]
    assert (cost["plan"] < cost.drop("plan")).all()
    starts = plan.policies.set_index("policy")["no_starts"]
    assert starts["plan"] < starts["run_to_failure"]
    assert plan.summary["no_starts_avoided"] == pytest.approx(starts["run_to_failure"] - starts["plan"])


@pytest.mark.nightly
def test_scarce_hours_have_a_price_and_leave_vehicles_out() -> None:
    inputs = make_inputs(fleet=400, at_risk=60, depots=1, hours=3.0)
    plan = make(inputs, down_share=0.5)
    assert len(plan.left_out) > 0
    assert (plan.left_out["reason"] == "no hours").all()
    assert plan.hours["hour_price"].max() > 10
    more = plan.hours.sort_values("hour_price").iloc[-1]
    hours = inputs.workshops.assign(week_from=pd.NaT)
    extra = pd.DataFrame({"depot": [more["depot"]], "hours_per_week": [3.5], "week_from": [more["week_start"]]})
    better = make(replace(inputs, workshops=pd.concat([hours, extra])), down_share=0.5)
    gain = better.summary["saving"] - plan.summary["saving"]
    assert 0 < gain < 2.5 * 0.5 * more["hour_price"]  # integers may gain more than the slope, not without limit
    roomy = make(make_inputs(fleet=400, at_risk=60, depots=1, hours=300.0), down_share=0.5)
    assert roomy.hours["hour_price"].max() == pytest.approx(0.0, abs=1e-6)
    assert not len(roomy.left_out)


def test_a_vehicle_that_no_renewal_is_likely_to_help_has_no_part_renewed() -> None:
    """Definition: the answer that is the most probable counts, and "none of them" is one, for all that the parts leave to one."""
    inputs = make_inputs(parts=("engine_drag",))
    visited = {}
    for share in (0.1, 1.0):
        told = inputs.parts.assign(part_probability=share * inputs.parts["part_probability"])
        visits = make(replace(inputs, parts=told)).visits
        visited[share] = int((visits["kind"] == "replace").sum())
    assert visited[0.1] == 0
    assert visited[1.0] > 0


def test_parts_that_go_together_come_in_one_visit() -> None:
    inputs = make_inputs(fleet=20, at_risk=6, parts=("starter_motor",), services=False)
    table = inputs.parts.copy()
    table.loc[table["part"] == "starter_motor", "part_probability"] = 0.55
    table.loc[table["part"] == "solenoid_contacts", "part_probability"] = 0.4
    outlook = inputs.outlook.assign(probability_renewed=0.45 * inputs.outlook["probability"])
    plan = make(replace(inputs, parts=table, outlook=outlook), hour_rate=60.0)
    both = plan.visits[[len(p) == 2 for p in plan.visits["parts"]]]
    assert len(both)
    assert both["parts"].iloc[0] == ["starter_motor", "solenoid_contacts"]
    assert both["hours"].iloc[0] == pytest.approx(2.5)  # the contacts come with the starter


# --- one reckoning for all policies ----------------------------------------------------------------------------------


@given(st.integers(0, 10_000), st.integers(1, 20), st.integers(1, 26), st.booleans(), st.booleans())
@examples(2)
def test_without_a_visit_every_policy_costs_what_running_to_failure_costs(
    seed: int, at_risk: int, weeks: int, services: bool, some_hours: bool
) -> None:
    """Property, to the cent: no workshop hours and a lead time beyond the plan both leave every policy without a visit."""
    inputs = make_inputs(fleet=20, at_risk=at_risk, hours=8.0 * some_hours, seed=seed, services=services)
    if some_hours:  # hours, but nobody has a suspect part or a depot
        inputs = replace(inputs, fleet=inputs.fleet.assign(depot=""), units=inputs.units.assign(depot=""))
    plan = make(inputs, weeks=weeks)
    assert plan.policies["visits"].eq(0).all()
    never = plan.policies.set_index("policy").loc["run_to_failure"]
    for row in plan.policies.to_dict("records"):
        assert row["cost"] == pytest.approx(never["cost"], abs=0.005)
        assert row["no_starts"] == pytest.approx(never["no_starts"], abs=1e-9)
    assert plan.summary["saving"] == plan.summary["no_starts_avoided"] == plan.summary["gap"] == 0.0


@given(
    st.integers(0, 10_000), st.integers(1, 25), st.floats(0.5, 12.0), st.integers(1, 26), st.booleans(), st.booleans()
)  # fmt: skip
@examples(2)
def test_rows_and_totals_of_a_plan_are_the_same_money(
    seed: int, at_risk: int, hours: float, weeks: int, services: bool, pinned: bool
) -> None:
    """Properties: the rows' savings add up to waiting less plan, and no percentage leaves 0 to 100."""
    inputs = make_inputs(fleet=30, at_risk=at_risk, hours=hours, seed=seed, services=services)
    if pinned:
        first = plan_weeks(AS_OF, weeks).iso[-1]
        inputs = replace(inputs, pins=pins(("V-0000", "pin", first), ("V-0029", "pin", first)))
    plan = make(inputs, weeks=weeks)
    cost = plan.policies.set_index("policy")["cost"]
    v = plan.visits
    saved = float(v["saving"].sum())
    assert saved == pytest.approx(cost["run_to_failure"] - cost["plan"], abs=0.005)
    assert plan.summary["saving"] == pytest.approx(
        plan.summary["cost_run_to_failure"] - plan.summary["cost"], abs=0.005
    )
    assert saved == pytest.approx(float((v["cost_waiting"] - v["cost_now"]).sum()), abs=0.005)
    assert float(v["no_starts_avoided"].sum()) == pytest.approx(plan.summary["no_starts_avoided"], abs=1e-6)
    shares = [v["probability_before"], v["probability_waiting"], plan.left_out["risk"], v["no_starts_avoided"]]
    assert all(s.between(0.0, 1.0).all() for s in shares)
    assert (v["probability_before"] <= v["probability_waiting"] + 1e-9).all()
    assert 0.0 <= plan.summary["gap"] <= 1.0
    assert (plan.policies["no_starts"] >= -1e-9).all()


@given(st.integers(0, 10_000), st.integers(1, 20), st.integers(2, 20))
@examples(2)
def test_the_same_visits_cost_the_same_whoever_chose_them(seed: int, at_risk: int, weeks: int) -> None:
    """Property: the flagged list's visits, called a plan, cost what they cost as the flagged list; half a list, half."""
    work = prepare(
        make_inputs(fleet=25, at_risk=at_risk, hours=9.0, seed=seed), plan_weeks(AS_OF, weeks), PlanSettings()
    )
    names = work.candidates.table["unit"].tolist()
    listed = flagged_list(work, names)
    roomy = replace(work, capacity=room_for_all(work.capacity))
    alone = [flagged_list(roomy, [name]) for name in names]
    never = run_to_failure(work)
    options = worthwhile(work.table)
    best = options.of(np.unique(options.unit, return_index=True)[1].astype(np.int64))
    assert vars(reckoned("plan", work, best)) == vars(reckoned("flagged_list", work, best)) | {"policy": "plan"}
    assert listed.visits <= len(names)
    gains = [never.cost - one.cost for one in alone]
    every = flagged_list(replace(roomy, depot=np.maximum(work.depot, 0)), names)
    assert never.cost - every.cost == pytest.approx(sum(gains), rel=1e-9, abs=0.005)


def room_for_all(capacity: Capacity) -> Capacity:
    """Hours and places for everybody."""
    return Capacity(np.full_like(capacity.hours, 1e6), np.full_like(capacity.visits, 1e6))


def test_a_vehicle_measured_in_the_last_week_avoids_no_start_that_it_has_had() -> None:
    """By hand: the part is renewed a week after the reading, thus after the plan's end, and avoids nothing within it."""
    work = prepare(make_inputs(fleet=4, at_risk=2), plan_weeks(AS_OF, 3), PlanSettings())
    visits = options_of(work.table, np.arange(2), np.zeros(2, np.int64), np.full(2, MEASURE))
    fewer = avoided(work.candidates, replace(visits, day=np.full(2, 15)), work.end_week)
    assert fewer.tolist() == [0.0, 0.0]
    assert (avoided(work.candidates, replace(visits, day=np.full(2, 4)), work.end_week) > 0).all()


# --- decisions -------------------------------------------------------------------------------------------------------


def decisions(*rows: tuple[str, str, str, str]) -> pd.DataFrame:
    """Decisions: unit, kind, day made, end of a postponement ("" for none)."""
    return pd.DataFrame({
        "unit": pd.Series([r[0] for r in rows], dtype="str"), "kind": pd.Series([r[1] for r in rows], dtype="str"),
        "at": dates([pd.Timestamp(r[2]) for r in rows]), "until": dates([pd.Timestamp(r[3] or "NaT") for r in rows]),
    })  # fmt: skip


@pytest.mark.nightly
@given(st.integers(0, 10_000), st.integers(1, 60), st.floats(0.5, 9.0), st.booleans())
@examples(2)
def test_a_postponed_vehicle_never_comes_before_its_date(seed: int, days: int, hours: float, services: bool) -> None:
    """Property, of every postponed vehicle and of a pin too: the visit is on the date or later, or there is none."""
    until = AS_OF + pd.Timedelta(days=days)
    bare = make_inputs(fleet=20, at_risk=10, hours=hours, seed=seed, services=services)
    made = decisions(*[(f"V-{i:04d}", "postponed", "2026-11-20T09:00", f"{until:%Y-%m-%d}") for i in range(6)])
    inputs = replace(bare, decisions=made, pins=pins(("V-0003", "pin", plan_weeks(AS_OF, 1).iso[0])))
    plan = make(inputs, previous=make(bare))
    mine = plan.visits[plan.visits["unit"].isin(made["unit"])]
    assert (mine["visit_on"] >= until).all()
    assert (mine["decision"] == "postponed").all()
    assert (mine["decided_until"] == f"{until:%Y-%m-%d}").all()
    if days >= 7:
        assert any(f"postponed until {until:%Y-%m-%d}" in note for note in noted(plan))


def test_postponed_beyond_the_plan_is_left_out_with_that_reason() -> None:
    inputs = make_inputs(fleet=20, at_risk=10, hours=20.0)
    unit = make(inputs).visits["unit"].iloc[0]
    late = make(replace(inputs, decisions=decisions((unit, "postponed", "2026-11-20", "2027-04-01"))), weeks=8)
    row = late.left_out.set_index("unit").loc[unit]
    assert (row["reason"], row["decided_until"]) == ("postponed", "2027-04-01")
    assert row["saving"] > 0
    over = make(replace(inputs, decisions=decisions((unit, "postponed", "2026-11-20", "2026-11-23"))))
    assert over.visits.set_index("unit").loc[unit, "decision"] == ""  # the date has come: nothing stands


@given(st.integers(0, 10_000), st.floats(0.0, 3.0), st.integers(1, 8))
@examples(2)
def test_an_accepted_vehicle_is_in_the_plan_or_the_plan_says_why_not(seed: int, hours: float, weeks: int) -> None:
    """Property, also of vehicles whose visit does not pay, of healthy ones and of one without a depot."""
    inputs = make_inputs(fleet=20, at_risk=12, hours=hours, seed=seed)
    names = [f"V-{i:04d}" for i in (0, 3, 7, 11, 15)]
    nowhere = inputs.fleet["unit"] == "V-0011"
    inputs = replace(
        inputs,
        decisions=decisions(*[(name, "accepted", "2026-11-20", "") for name in names]),
        fleet=inputs.fleet.assign(depot=inputs.fleet["depot"].mask(nowhere, "")),
        units=inputs.units.assign(depot=inputs.units["depot"].mask(nowhere, "")),
    )
    plan = make(inputs, weeks=weeks)
    came = set(plan.visits["unit"])
    for name in names:
        if name in came:
            continue
        assert any(note.startswith(f"{name} was accepted on 2026-11-20, but ") for note in noted(plan))
        assert name in set(plan.left_out["unit"])
    assert plan.visits.loc[plan.visits["unit"].isin(names), "decision"].eq("accepted").all()
    assert plan.left_out["reason"].isin(["no hours", "no places", "no depot", "part too late"]).all()
    assert "V-0011" not in came


@pytest.mark.nightly
def test_an_accepted_vehicle_comes_also_where_its_visit_does_not_pay() -> None:
    """Both accepted and room for both: they come; a repair since, or another decision since, ends it."""
    inputs = make_inputs(fleet=30, at_risk=6, hours=20.0)
    free = set(make(inputs).visits["unit"])
    idle = "V-0020"
    assert idle not in free
    accepted = replace(inputs, decisions=decisions((idle, "accepted", "2026-11-23T10:00", "")))
    plan = make(accepted)
    assert plan.visits.set_index("unit").loc[idle, "actions"] == ["measured"]
    assert plan.summary["pins_cost"] == 0.0
    done = pd.DataFrame({
        "unit": [idle], "part": ["battery"], "action": ["replaced"], "reason": [""], "done_on": dates([AS_OF])
    })  # fmt: skip
    assert idle not in set(make(replace(accepted, repairs=done)).visits["unit"])
    later = decisions((idle, "accepted", "2026-11-20", ""), (idle, "nothing_found", "2026-11-21", ""))
    assert idle not in set(make(replace(inputs, decisions=later)).visits["unit"])
    tomorrow = decisions((idle, "accepted", "2026-11-24", ""))
    assert idle not in set(make(replace(inputs, decisions=tomorrow)).visits["unit"])


@pytest.mark.nightly
def test_accepted_vehicles_go_before_all_others_where_hours_are_few() -> None:
    """Hours for few: without the decision others take them; with it the accepted vehicle comes and another stays away."""
    inputs = make_inputs(fleet=200, at_risk=40, depots=1, hours=2.5)
    away = make(inputs, weeks=4).left_out
    unit = away[away["kind"] == "replace"]["unit"].iloc[-1]
    plan = make(replace(inputs, decisions=decisions((unit, "accepted", "2026-11-20", ""))), weeks=4)
    assert unit in set(plan.visits["unit"])
    assert 0.0 <= plan.summary["gap"] <= 1.0


# --- pins, promises, versions ----------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def inputs() -> PlanInputs:
    return make_inputs(fleet=80, at_risk=30, hours=6.0, seed=4)


@pytest.fixture(scope="module")
def first(inputs: PlanInputs) -> ReplacementPlan:
    return make(inputs)


def test_a_pin_is_kept_and_its_price_is_said(inputs: PlanInputs, first: ReplacementPlan) -> None:
    unit, week = first.visits["unit"].iloc[0], "2027-W06"
    assert first.visits["iso_week"].iloc[0] != week
    plan = make(replace(inputs, pins=pins((unit, "pin", week))))
    row = plan.visits.set_index("unit").loc[unit]
    assert (row["iso_week"], row["state"]) == (week, "pinned")
    assert plan.summary["pins_cost"] > 0
    assert first.summary["saving"] - plan.summary["saving"] == pytest.approx(plan.summary["pins_cost"], rel=0.01)


def test_a_pin_solves_no_other_depot_again(
    inputs: PlanInputs, first: ReplacementPlan, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The price of a pin is the difference to the plan without it; depots without a pin are the same in both."""
    solved: list[int] = []
    truly = assignment._solve_depot

    def counted(options: Options, hours: Floats, visits: Floats) -> assignment._Part:
        solved.append(len(options))
        return truly(options, hours, visits)

    monkeypatch.setattr(assignment, "_solve_depot", counted)
    visit = first.visits.iloc[0]
    plan_replacements(
        replace(inputs, pins=pins((visit["unit"], "move", first.hours["iso_week"].iloc[-1]))), as_of=AS_OF
    )
    assert len(solved) == first.hours["depot"].nunique() + 1


def test_a_healthy_vehicle_can_be_pinned_too(inputs: PlanInputs) -> None:
    plan = make(replace(inputs, pins=pins(("V-0071", "pin", "2026-W50"))))
    assert plan.visits.set_index("unit").loc["V-0071", "actions"] == ["measured"]


def test_a_move_overrides_an_earlier_pin_and_a_forbidden_week_stays_empty(
    inputs: PlanInputs, first: ReplacementPlan
) -> None:
    unit, week = first.visits["unit"].iloc[0], first.visits["iso_week"].iloc[0]
    moved = make(replace(inputs, pins=pins((unit, "pin", "2026-W50"), (unit, "move", "2026-W52"))))
    assert moved.visits.set_index("unit").loc[unit, "iso_week"] == "2026-W52"
    forbidden = make(replace(inputs, pins=pins((unit, "forbid", week))))
    assert not ((forbidden.visits["unit"] == unit) & (forbidden.visits["iso_week"] == week)).any()
    assert forbidden.summary["pins_cost"] >= -1e-6


def test_pins_that_cannot_be_kept_are_said(inputs: PlanInputs) -> None:
    late = "V-0000"
    rows = pins(
        (late, "pin", "2026-W48"), ("V-9999", "pin", "2026-W50"),
        *[(f"V-{i:04d}", "pin", "2026-W51") for i in range(10, 20)],
    )  # fmt: skip
    plan = make(replace(inputs, pins=rows, measure={late: ""}))
    text = " ".join(noted(plan))
    assert f"{late} is pinned to 2026-W48, but the part cannot be there by then" in text
    assert "V-9999 in 2026-W50 names no vehicle" in text
    assert "the hours or places of that week do not reach" in text
    assert (plan.hours["booked"] <= plan.hours["hours"] + 1e-6).all()


def test_planning_again_changes_nothing(inputs: PlanInputs, first: ReplacementPlan) -> None:
    again = make(inputs, previous=first)
    columns = ["unit", "visit_on", "parts", "uid", "sequence"]
    pd.testing.assert_frame_equal(again.visits[columns], first.visits[columns])
    assert (again.visits["state"] == "kept").all()
    assert not len(again.cancelled)


def test_moving_a_promised_visit_has_its_price(inputs: PlanInputs, first: ReplacementPlan) -> None:
    """Costs drift by a little: at a high price nobody is moved, at none some are, and the high price costs a little."""
    rng = np.random.default_rng(0)
    power = np.repeat(rng.uniform(0.6, 1.6, 30), 26)
    columns = [c for c in inputs.outlook if c.startswith("probability")]
    outlook = inputs.outlook.assign(**{c: inputs.outlook[c] ** power for c in columns})
    changed = replace(inputs, outlook=outlook)
    stay, free = (make(changed, previous=first, move_price=p, frozen_weeks=0) for p in (1000.0, 0.0))
    assert stay.summary["moved"] == 0
    assert free.summary["moved"] > 0
    assert free.summary["saving"] >= stay.summary["saving"] - 1e-6


def test_near_weeks_are_frozen_except_for_the_urgent(inputs: PlanInputs, first: ReplacementPlan) -> None:
    near = set(first.hours["iso_week"].iloc[:2])
    kept = first.visits[first.visits["iso_week"].isin(near)]
    assert len(kept)
    outlook = inputs.outlook.copy()
    newly = [u for u in outlook["unit"].unique() if u not in set(first.visits["unit"])][:1]
    outlook.loc[outlook["unit"].isin(newly), "probability"] = np.linspace(0.5, 0.95, 26)
    plan = make(replace(inputs, outlook=outlook), previous=first, frozen_weeks=2, urgent_probability=0.3)
    now = plan.visits[plan.visits["iso_week"].isin(near)]
    assert set(kept["unit"]) <= set(now["unit"])
    assert set(now["unit"]) - set(kept["unit"]) <= set(newly)
    calm = make(replace(inputs, outlook=outlook), previous=first, frozen_weeks=2, urgent_probability=1.0)
    assert set(calm.visits.loc[calm.visits["iso_week"].isin(near), "unit"]) == set(kept["unit"])


def test_who_was_promised_days_that_were_closed_since_comes_on_others(
    inputs: PlanInputs, first: ReplacementPlan
) -> None:
    """The first week is closed after it was promised: nobody loses a visit that still pays, each is said, none comes in that week."""
    week = first.hours["iso_week"].iloc[0]
    depots = inputs.workshops["depot"].unique()
    monday = pd.to_datetime(f"{week}-1", format="%G-W%V-%u")
    shut = pd.DataFrame({"depot": depots, "week_from": monday, "hours_per_week": 0.0})
    usual = (
        inputs.workshops[inputs.workshops["week_from"].isna()] if "week_from" in inputs.workshops else inputs.workshops
    )
    closed = replace(inputs, workshops=pd.concat([usual, shut]))
    promised = set(first.visits.loc[first.visits["iso_week"] == week, "unit"])
    assert len(promised) > 3
    plan = make(closed, previous=first)
    assert week not in set(plan.visits["iso_week"])
    anew = set(make(closed).visits["unit"]) & promised
    assert len(anew) > 3
    assert len(anew - set(plan.visits["unit"])) <= 1  # the visits of the weeks that stay have first call on their hours
    for unit in promised:
        assert f"{unit} was to come in a fixed week that has no hours" in " ".join(noted(plan))


def test_a_promised_week_that_was_cut_short_keeps_those_for_whom_it_matters_most(
    inputs: PlanInputs, first: ReplacementPlan
) -> None:
    """A depot's first week has hours for some of its visits only: they go to those that lose most by waiting, whatever their numbers."""
    week = first.hours["iso_week"].iloc[0]
    mine = first.visits[first.visits["iso_week"] == week]
    depot = mine["depot"].value_counts().index[0]
    mine = mine[mine["depot"] == depot]
    assert len(mine) > 2
    monday = pd.to_datetime(f"{week}-1", format="%G-W%V-%u")
    cut = pd.DataFrame({"depot": [depot], "week_from": [monday], "hours_per_week": [4.0]})
    changed = replace(inputs, workshops=pd.concat([inputs.workshops, cut]))
    plan = make(changed, previous=first)
    still = plan.visits[(plan.visits["iso_week"] == week) & (plan.visits["depot"] == depot)]
    assert 1 <= len(still) < len(mine)
    anew = make(changed, previous=first, frozen_weeks=0)
    assert plan.summary["saving"] == pytest.approx(anew.summary["saving"], rel=0.01)


def test_a_week_in_which_the_last_version_had_no_hours_is_not_frozen(
    inputs: PlanInputs, first: ReplacementPlan
) -> None:
    """Planned before the workshop hours were known, and again: as if it were the first time, and no other way is cheaper."""
    empty = make(replace(inputs, workshops=inputs.workshops.iloc[:0]))
    assert not len(empty.visits)
    again = make(inputs, previous=empty)
    columns = ["unit", "visit_on", "parts", "uid", "sequence"]
    pd.testing.assert_frame_equal(again.visits[columns], first.visits[columns])
    assert not again.summary["promised"]
    assert make(inputs, previous=first).summary["promised"]
    costs = again.policies.set_index("policy")["cost"]
    assert (costs["plan"] <= costs + 0.01 * costs.abs() * again.summary["gap"] + 1e-6).all()


def test_who_missed_the_visit_may_come_in_a_frozen_week(inputs: PlanInputs, first: ReplacementPlan) -> None:
    """A week later nobody was there: who was promised that week is not kept waiting by the visits of the next."""
    later = AS_OF + pd.Timedelta(days=7)
    missed = set(first.visits.loc[first.visits["visit_on"] < later, "unit"])
    promised = set(first.visits["unit"]) - missed
    calm = replace(PlanSettings(), frozen_weeks=2, urgent_probability=1.0)
    plan = plan_replacements(inputs, as_of=later, settings=calm, previous=first)
    near = set(plan.visits.loc[plan.visits["iso_week"].isin(set(plan.hours["iso_week"].iloc[:2])), "unit"])
    assert near & missed
    assert near <= missed | promised
    ever = replace(first, visits=first.visits[first.visits["unit"].isin(promised)])
    kept_out = plan_replacements(inputs, as_of=later, settings=calm, previous=ever)
    near = set(kept_out.visits.loc[kept_out.visits["iso_week"].isin(set(plan.hours["iso_week"].iloc[:2])), "unit"])
    assert not near & missed


def test_a_visit_of_a_day_that_has_passed_is_not_promised_again(inputs: PlanInputs, first: ReplacementPlan) -> None:
    """Planned for Monday, planned again on Wednesday: the vehicle may have been there; nothing is frozen or cancelled."""
    done = first.visits[first.visits["visit_on"] < AS_OF + pd.Timedelta(days=2)]
    assert len(done)
    gone = replace(inputs, outlook=inputs.outlook[~inputs.outlook["unit"].isin(done["unit"])])
    plan = plan_replacements(gone, as_of=AS_OF + pd.Timedelta(days=2), previous=first)
    assert not set(done["uid"]) & (set(plan.visits["uid"]) | set(plan.cancelled["uid"]))


@pytest.mark.nightly
def test_identities_last_and_cancelled_visits_are_kept_for_the_calendars(
    inputs: PlanInputs, first: ReplacementPlan
) -> None:
    unit, uid = first.visits["unit"].iloc[-1], first.visits["uid"].iloc[-1]
    moved = make(replace(inputs, pins=pins((unit, "move", "2026-W49"))), previous=first)
    row = moved.visits.set_index("unit").loc[unit]
    assert (row["uid"], row["sequence"]) == (uid, 1)
    gone = replace(inputs, outlook=inputs.outlook[inputs.outlook["unit"] != unit])
    second = make(gone, previous=moved)
    assert second.cancelled[["unit", "uid", "sequence"]].to_numpy().tolist() == [[unit, uid, 2]]
    third = make(gone, previous=second)
    assert third.cancelled[["uid", "sequence"]].to_numpy().tolist() == [[uid, 2]]
    back = make(inputs, previous=third)
    found = back.visits.set_index("unit").loc[unit]
    assert found["sequence"] == 3 if found["uid"] == uid else found["sequence"] == 0
    assert back.visits["uid"].is_unique
    assert not set(back.visits["uid"]) & set(back.cancelled["uid"])


def test_a_stored_plan_is_read_as_it_was(first: ReplacementPlan) -> None:
    again = ReplacementPlan.from_body(json.loads(json.dumps(first.to_body(), allow_nan=False)))
    assert again.summary == json.loads(json.dumps(dict(first.summary)))
    for name in ("visits", "left_out", "orders", "hours", "policies", "cancelled"):
        pd.testing.assert_frame_equal(getattr(again, name), getattr(first, name), check_dtype=False)


# --- bad input -------------------------------------------------------------------------------------------------------


def test_no_hours_anywhere_is_said_and_all_are_left_out() -> None:
    plan = make(make_inputs(hours=0.0))
    assert not len(plan.visits)
    assert len(plan.left_out)
    assert any("No workshop has any hours" in note for note in noted(plan))
    no_table = make(replace(make_inputs(), workshops=make_inputs().workshops.iloc[:0]))
    assert any(
        "No workshop hours are known, so no visit can be planned: import a workshops.csv" in n for n in noted(no_table)
    )


def test_one_depot_without_hours_is_named() -> None:
    inputs = make_inputs()
    plan = make(replace(inputs, workshops=inputs.workshops.iloc[:1]))
    assert any("depot1" in note for note in noted(plan))
    assert set(plan.visits["depot"]) <= {"depot0"}


def test_a_part_without_a_price_is_planned_with_the_stated_one() -> None:
    inputs = make_inputs(parts=("battery",))
    table = inputs.catalogue.assign(price=[np.nan, *inputs.catalogue["price"].iloc[1:]])
    plan = make(replace(inputs, catalogue=table), part_price={**PlanSettings().part_price, "battery": 333.0})
    assert any("Not on record for some parts" in note and "battery 333 USD" in note for note in noted(plan))
    assert (plan.orders["price_each"] == 333.0).all()
    empty = make(replace(inputs, catalogue=inputs.catalogue.iloc[:0]))
    assert len(empty.visits)
    (said,) = [note for note in noted(empty) if "parts.csv" in note]
    assert said.startswith(
        "No parts.csv was imported and nothing set in its place, so all is planned with the settings: prices: battery 200 USD, "
    )
    assert "; delivery times: 5 days for each part." in said


def test_a_lead_time_longer_than_the_plan_is_said() -> None:
    inputs = make_inputs(parts=("starter_motor",), at_risk=10)
    table = inputs.catalogue.assign(lead_days=np.where(inputs.catalogue["part"] == "starter_motor", 200.0, 2.0))
    plan = make(replace(inputs, catalogue=table))
    assert any("Delivery of starter motor takes 200 days, longer than this plan of" in note for note in noted(plan))
    assert not (plan.visits["kind"] == "replace").any()
    assert (plan.left_out["reason"] == "part too late").any()


def test_a_vehicle_without_a_depot_is_left_out_by_name() -> None:
    inputs = make_inputs(at_risk=20)
    visits = make(inputs).visits
    unit = visits.loc[visits["kind"] == "replace", "unit"].iloc[0]  # one that comes if it has a depot
    where = inputs.units["depot"].where(inputs.units["unit"] != unit, "")
    plan = make(replace(inputs, units=inputs.units.assign(depot=where), fleet=inputs.fleet.assign(depot=where)))
    assert any(f"No depot is known for {unit}" in note for note in noted(plan))
    assert unit not in set(plan.visits["unit"])
    assert plan.left_out.set_index("unit").loc[unit, "reason"] == "no depot"


def test_nothing_at_risk_is_an_empty_plan() -> None:
    inputs = make_inputs()
    plan = make(replace(inputs, outlook=inputs.outlook.iloc[:0]))
    assert not len(plan.visits)
    assert plan.summary["saving"] == 0.0
    assert len(plan.to_body()["hours"]) == 26


@pytest.mark.parametrize("weeks", [0, 27, -1])
def test_weeks_out_of_range_are_a_bad_call(weeks: int) -> None:
    with pytest.raises(ValueError, match=r"weeks is .*; allowed are 1 to 26"):
        make(make_inputs(), weeks=weeks)


# --- settings, weeks, learned success --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"hour_rate": -1}, r"hour_rate is -1; allowed are numbers from 0"),
        ({"hour_rate": "85"}, "hour_rate is '85'"),
        ({"hour_rate": float("nan")}, "hour_rate is nan"),
        ({"down_share": 2}, "down_share is 2"),
        ({"frozen_weeks": 1.5}, "whole numbers"),
        ({"nonsense": 1}, "'nonsense' is not known; allowed are"),
        ({"clean_success": {"wheel": 0.4}}, "part 'wheel'"),
        ({"no_start": {"light": {"taxi": 1}}}, "'taxi'"),
        ({"no_start": 5}, "allowed is a table"),
        ({"closed_weeks": ["2026-53"]}, "weeks such as 2026-W52"),
        ({"currency": ""}, "1 to 8 printable"),
    ],
)
def test_settings_that_cannot_be_used_name_what_is_allowed(values: dict[str, object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        settings_from_mapping(values)


def test_settings_come_back_as_they_were_and_keep_the_other_defaults() -> None:
    changed = settings_from_mapping(
        {"no_start": {"bus": {"tow": 900}}, "life_years": {"battery": 4}, "frozen_weeks": 2}
    )
    assert changed.no_start_cost("bus", 24.0) == NoStartCost(0.0, 900.0, 0.0)
    assert changed.no_start_cost("van", 12.0) == PlanSettings().no_start["light"]
    assert changed.no_start_cost("tractor", 24.0).roadside == 491.0  # trucking council benchmark, early 2020
    assert changed.life_years["starter_motor"] == PlanSettings().life_years["starter_motor"]
    assert settings_from_mapping(changed.as_mapping()) == changed


def test_weeks_are_iso_weeks_and_a_begun_week_counts_by_its_days_left() -> None:
    """Worked by hand: 2026 has 53 ISO weeks; from Wednesday three of five working days are left."""
    weeks = plan_weeks(pd.Timestamp("2026-12-30"), 2)
    assert weeks.iso == ("2026-W53", "2027-W01")
    assert opening([], weeks).visit_day(weeks, -1, 0).tolist() == [0, 5]
    assert opening([], weeks).visit_day(weeks, -1, 4).tolist() == [-1, 5]
    table = pd.DataFrame({"depot": ["a"], "hours_per_week": [10.0]})
    assert workshop_hours(table, ["a", "b"], weeks).tolist() == [[6.0, 10.0], [0.0, 0.0]]
    assert workshop_hours(table, ["a"], weeks, closed_weeks=("2027-W01",)).tolist() == [[6.0, 0.0]]
    friday = plan_weeks(pd.Timestamp("2026-11-27"), 1)
    assert friday.iso == ("2026-W49",)  # most of the seven days from a Friday lie in the next week


def test_working_days_and_closed_days_by_hand() -> None:
    """Depot a works Tuesday 6 h and Saturday 2 h, b Monday to Friday; closed from Tuesday 1 to Wednesday 2 December, b only
    on Monday 7 December."""
    weeks = plan_weeks(pd.Timestamp("2026-11-30"), 2)  # a Monday
    days = pd.DataFrame({"depot": ["a", "a", "c"], "weekday": [2, 6, 1], "share": [0.75, 0.25, 1.0]})
    shut = pd.DataFrame({
        "depot": ["", "b", "c"], "from_on": pd.to_datetime(["2026-12-01", "2026-12-07", "2026-11-01"]),
        "to_on": pd.to_datetime(["2026-12-02", "2026-12-07", "2027-11-01"]), "why": ["", "stocktaking", "not a depot"],
    })  # fmt: skip
    table = pd.DataFrame({"depot": ["a", "b"], "hours_per_week": [8.0, 10.0]})
    opened = opening(["a", "b"], weeks, days=days, closures=shut)
    assert opened.visit_day(weeks, 0, 0).tolist() == [5, 8]
    assert opened.visit_day(weeks, 1, 0).tolist() == [0, 8]
    assert opened.visit_day(weeks, 1, 5).tolist() == [-1, 8]
    assert opened.visit_day(weeks, -1, 1).tolist() == [3, 7]  # without a depot only what is closed everywhere counts
    hours = workshop_hours(table, ["a", "b"], weeks, opened=opened)
    assert hours.tolist() == [[2.0, 8.0], [6.0, 8.0]]


@pytest.mark.parametrize("day", pd.date_range("2026-11-23", periods=7).tolist())
def test_every_day_of_the_week_starts_a_plan_with_working_days(day: pd.Timestamp) -> None:
    weeks = plan_weeks(day, 26)
    assert (opening([], weeks).visit_day(weeks, -1, 0) >= 0).all()
    assert weeks.position(np.array([-0.5, float(weeks.end_day[-1])])).tolist() == [-1, -1]


def test_the_chance_of_a_cheap_act_is_moved_by_the_fleets_own_acts() -> None:
    """Worked by hand: prior 0.4 counts as 10; two old acts, one in vain; one too young to count -> (4 + 1) / 12."""
    old = AS_OF - pd.Timedelta(days=400)
    rows = pd.DataFrame({
        "unit": ["a", "b", "b", "c"], "part": ["ground_path"] * 4,
        "action": ["cleaned", "tightened", "replaced", "cleaned"], "reason": [""] * 4,
        "done_on": dates([old, old, old + pd.Timedelta(days=30), AS_OF - pd.Timedelta(days=30)]),
    })  # fmt: skip
    found = cheap_success(rows, AS_OF, PlanSettings())
    assert found["ground_path"] == pytest.approx(5 / 12)
    assert found["positive_cable"] == pytest.approx(0.4)
    assert set(found) <= set(PARTS)


def test_a_promise_that_does_not_pay_gives_way_to_one_that_is_urgent(
    inputs: PlanInputs, first: ReplacementPlan
) -> None:
    """One place a week: the promised vehicle has become sound, another one is about to fail; without that one the promise stands."""
    near = first.hours["iso_week"].iloc[0]
    mine = first.visits[first.visits["iso_week"] == near]
    unit, depot = str(mine["unit"].iloc[0]), str(mine["depot"].iloc[0])
    there = set(inputs.fleet.loc[inputs.fleet["depot"] == depot, "unit"])
    other = next(u for u in inputs.outlook["unit"].unique() if u in there and u not in set(mine["unit"]))
    names = [column for column in inputs.outlook if column.startswith("probability")]
    outlook = inputs.outlook.assign(
        **{n: inputs.outlook[n].where(inputs.outlook["unit"] != unit, 0.001) for n in names}
    )
    rules = {"down_share": 0.01, "urgent_probability": 0.3}
    only = first.visits[first.visits["unit"] == unit]
    before = replace(first, visits=only)
    calm = outlook.assign(**{n: outlook[n].where(outlook["unit"] == unit, 0.002) for n in names})
    kept = make(replace(inputs, outlook=calm, services=inputs.services.iloc[:0]), previous=before, **rules)
    assert unit in set(kept.visits["unit"])
    urgent = calm.copy()
    rows = urgent["unit"] == other
    urgent.loc[rows, "probability"] = np.linspace(0.5, 0.95, int(rows.sum()))
    urgent.loc[rows, "probability_renewed"] = 0.01
    for name in ("probability_low", "probability_high"):
        urgent.loc[rows, name] = np.linspace(0.5, 0.95, int(rows.sum()))
    parts = inputs.catalogue.assign(lead_days=0.0)
    plan = make(
        replace(inputs, outlook=urgent, catalogue=parts, services=inputs.services.iloc[:0]), previous=before, **rules
    )
    coming = plan.visits.set_index("unit")["iso_week"]
    assert unit not in coming
    assert coming[other] == near
