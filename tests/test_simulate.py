"""The simulated fleet: reproducible, blind to the future, comparable between policies, and true to its own record."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from demo_fleet.cranking import coldest_start_c, crank
from demo_fleet.faults import PARTS, apply_wear
from demo_fleet.simulate import WORN_ENOUGH, Fleet, FleetRun, simulate_fleet
from demo_fleet.specs import MEASUREMENTS, FleetSpec, evaluation_specs, healthy_growth

SPEC = FleetSpec(501, units=110, years=1.5, unrecorded=0.0, misrecorded=0.0)
TABLES = ("units", "readings", "repairs", "climate", "forecast", "services", "workshops", "parts", "truth", "severity")


@pytest.fixture(scope="module")
def fleet() -> Fleet:
    return simulate_fleet(SPEC)


def test_the_same_seed_gives_the_same_fleet_and_another_seed_another() -> None:
    """Determinism: every table equal, bit for bit."""
    few = replace(SPEC, units=20, years=1.0)
    one, again, other = (simulate_fleet(replace(few, seed=seed)) for seed in (501, 501, 502))
    assert len(one.truth)
    for name in TABLES:
        pd.testing.assert_frame_equal(getattr(one, name), getattr(again, name))
    assert not other.readings.crank_a.equals(one.readings.crank_a)


def test_columns_and_types_are_those_of_the_contract(fleet: Fleet) -> None:
    """DEVELOPERS.md, glossary of columns, in order; strings `str`, dates datetime64[us], measurements float64."""
    columns = {
        "units": "unit vehicle_class system_v fuel cylinders rated_cca_a depot in_service",
        "readings": "unit taken_at odometer_km temperature_c rest_v crank_min_v crank_a peak_a drop_positive_v "
        "drop_ground_v drop_contacts_v drop_control_v coil_a crank_rpm technician",
        "repairs": "unit done_on part action reason",
        "climate": "depot month low_c low_sd_c",
        "forecast": "depot date low_c",
        "services": "unit due_on",
        "workshops": "depot hours_per_week",
        "parts": "part price labour_h lead_days",
        "truth": "unit date part",
    }
    texts = {"unit", "vehicle_class", "fuel", "depot", "technician", "part", "action", "reason"}
    dates = {"in_service", "taken_at", "done_on", "date", "due_on"}
    for name, wanted in columns.items():
        table: pd.DataFrame = getattr(fleet, name)
        assert list(table.columns) == wanted.split()
        assert len(table) > 0
        for column in table.columns:
            dtype = str(table[column].dtype)
            if column in texts:
                assert dtype == "str"
            elif column in dates:
                assert dtype == "datetime64[us]"
            elif column not in ("system_v", "cylinders", "month"):
                assert dtype == "float64"
    assert set(fleet.units.system_v) == {12, 24}
    key = fleet.readings[["unit", "taken_at"]]
    assert not key.duplicated().any()
    pd.testing.assert_frame_equal(key, key.sort_values(["unit", "taken_at"]))
    assert set(fleet.readings.unit) <= set(fleet.units.unit)


def test_every_no_start_is_repaired_and_recorded_when_nothing_goes_unrecorded(fleet: Fleet) -> None:
    """Each truth row has a repairs row: same unit, day and part, replaced because of a no-start."""
    both = fleet.truth.merge(fleet.repairs, left_on=["unit", "date", "part"], right_on=["unit", "done_on", "part"])
    assert len(both) == len(fleet.truth) > 40
    assert set(both.action) == {"replaced"}
    assert set(both.reason) == {"no_start"}


@pytest.mark.nightly
def test_unrecorded_and_misrecorded_repairs_come_at_their_rates() -> None:
    """Shares within four binomial standard errors; what was done is still known to the truth."""
    fleet = simulate_fleet(replace(SPEC, units=400, unrecorded=0.4, misrecorded=0.1))
    done = fleet.repairs_done
    n = len(done)
    assert abs((~done.recorded).mean() - 0.4) < 4 * np.sqrt(0.24 / n)
    assert len(fleet.repairs) == done.recorded.sum()
    firsts = fleet.truth.merge(done[done.recorded], left_on=["unit", "date"], right_on=["unit", "done_on"])
    single = firsts.groupby(["unit", "date"]).filter(lambda g: len(g) == 1)
    wrong = (single.part_x != single.part_y).mean()
    assert 0.03 < wrong < 0.35


@pytest.mark.nightly
def test_frequencies_are_those_of_an_untreated_fleet() -> None:
    """Our choice of realism, per unit-year: 0.2 to 0.4 no-starts, batteries about half, every part represented."""
    spec = replace(next(s for s in evaluation_specs() if s.name == "usual_mixed"), act_share=0.0)
    truth = simulate_fleet(spec).truth
    assert 0.2 < len(truth) / 1200 < 0.4
    share = truth.part.value_counts(normalize=True)
    assert 0.35 < share["battery"] < 0.70
    assert set(share.index) == set(PARTS)
    assert share["engine_drag"] < 0.05
    winter = truth.date.dt.month.isin([10, 11, 12, 1, 2, 3]).mean()
    assert winter > 0.6


def test_severity_is_near_one_at_a_no_start(fleet: Fleet) -> None:
    """Median 0.85 to 1.15 at the last weekly value; nearly all between 0.35 and 1.8; and healthy units stay low."""
    severity = fleet.severity
    last = [severity[u][: pd.Timestamp(d)].iloc[-1] for u, d, _ in fleet.truth.itertuples(index=False)]
    assert 0.85 < np.median(last) < 1.15
    assert np.mean([0.35 <= s <= 1.8 for s in last]) > 0.9
    never = severity.drop(columns=fleet.truth.unit.unique())
    assert never.iloc[0].median() < 0.2
    assert (np.diff(severity.index.to_numpy()) == np.timedelta64(7, "D")).all()


def test_mornings_that_stop_a_vehicle_without_a_worn_part_are_kept_apart() -> None:
    """Physics: such a vehicle does not start at that low (a parked battery's temperature within 4 K of it), and no part has failed."""
    spec = replace(next(s for s in evaluation_specs() if s.name == "severe_mixed"), units=60, years=1.0)
    heated = simulate_fleet(spec).heated
    first = heated["date"].min()
    run = FleetRun(spec)
    run.advance(first.date())
    stopped = heated.loc[heated["date"] == first, "unit"]
    state = run.true_state().set_index("unit").loc[stopped]
    low = run.setting.weather.low_c[
        (first.date() - spec.start).days, run.setting.depot[[run.setting.row[u] for u in stopped]]
    ]
    assert (state["coldest_start_c"] > low - 4.0).all()
    assert (state["severity"] < WORN_ENOUGH).all()
    run.advance(spec.end)
    both = run.no_starts().merge(run.fleet().heated, on=["unit", "date"])
    assert both.empty


def test_a_fleet_without_faults_has_no_no_starts_even_in_the_cold() -> None:
    """Null fleet: nothing fails, severity stays under 0.1."""
    fleet = simulate_fleet(FleetSpec(77, units=100, years=2, growth=healthy_growth()))
    assert fleet.truth.empty
    assert fleet.repairs.empty
    assert fleet.severity.to_numpy().max() < 0.1
    assert str(fleet.truth.date.dtype) == "datetime64[us]"


def test_a_step_by_step_run_knows_only_the_past_and_ends_where_one_stride_ends(fleet: Fleet) -> None:
    """No look-ahead: at each stop the tables are the final ones cut at that day, and stops change nothing."""
    run = FleetRun(SPEC)
    for days in (40, 41, 300, 500):
        today = SPEC.start + dt.timedelta(days=days)
        run.advance(today)
        cut = pd.Timestamp(today)
        seen, final = run.readings_so_far(), fleet.readings[fleet.readings.taken_at < cut]
        pd.testing.assert_frame_equal(seen, final.reset_index(drop=True))
        pd.testing.assert_frame_equal(
            run.repairs_so_far(), fleet.repairs[fleet.repairs.done_on < cut].reset_index(drop=True)
        )
        pd.testing.assert_frame_equal(run.no_starts(), fleet.truth[fleet.truth.date < cut].reset_index(drop=True))
    run.advance(SPEC.end)
    pd.testing.assert_frame_equal(run.severity(), fleet.severity)


def test_acting_in_time_prevents_and_changes_nothing_else(fleet: Fleet) -> None:
    """Replacing the failing part the day before removes that no-start; all other units live exactly as before."""
    chosen = fleet.truth[fleet.truth.date > pd.Timestamp(SPEC.start) + pd.Timedelta(days=200)].iloc[::5]
    chosen = chosen.drop_duplicates("unit")
    act = pd.DataFrame({
        "unit": chosen.unit, "done_on": chosen.date - pd.Timedelta(days=1), "part": chosen.part, "action": "replaced",
    })  # fmt: skip
    treated = simulate_fleet(SPEC, act=act)
    keys = set(treated.truth[["unit", "date"]].itertuples(index=False, name=None))
    prevented = [(u, d) not in keys for u, d in zip(chosen.unit, chosen.date, strict=True)]
    assert len(prevented) > 5
    assert np.mean(prevented) > 0.95
    for before, after in ((fleet.truth, treated.truth), (fleet.readings, treated.readings)):
        others = [t[~t.unit.isin(chosen.unit)].reset_index(drop=True) for t in (before, after)]
        pd.testing.assert_frame_equal(*others)
    preventive = treated.repairs[treated.repairs.reason == "preventive"]
    assert len(preventive) == len(chosen)
    assert len(treated.truth) < len(fleet.truth)


@pytest.mark.nightly
def test_policies_meet_the_same_weather_visits_and_fates(fleet: Fleet) -> None:
    """Common random numbers: renewing every battery early on leaves weather, visits, and other parts' first lives."""
    half = SPEC.start + dt.timedelta(days=200)
    act = [(unit, half, "battery", "replaced") for unit in fleet.units.unit]
    treated = simulate_fleet(SPEC, act=act)
    pd.testing.assert_frame_equal(treated.forecast, fleet.forecast)
    columns = ["unit", "taken_at", "temperature_c", "technician", "odometer_km"]
    pd.testing.assert_frame_equal(treated.readings[columns], fleet.readings[columns])
    before = treated.readings.taken_at < pd.Timestamp(half)
    pd.testing.assert_frame_equal(treated.readings[before], fleet.readings[before])
    batteries = [(f.truth.part == "battery")[f.truth.date >= pd.Timestamp(half)].sum() for f in (treated, fleet)]
    assert batteries[0] < 0.5 * batteries[1]


@pytest.mark.nightly
def test_an_action_that_does_nothing_changes_nothing(fleet: Fleet) -> None:
    """Charging a cable is recorded and useless: the truth is the same."""
    act = [(unit, SPEC.start + dt.timedelta(days=100), "positive_cable", "charged") for unit in fleet.units.unit]
    treated = simulate_fleet(SPEC, act=act)
    pd.testing.assert_frame_equal(treated.truth, fleet.truth)
    assert (treated.repairs.action == "charged").sum() == SPEC.units


@pytest.mark.nightly
def test_a_fork_looks_ahead_without_touching_the_run(fleet: Fleet) -> None:
    """A planner's look ahead sees the truth that will come, and the run then goes on as if nobody had looked."""
    run, today = FleetRun(SPEC), SPEC.start + dt.timedelta(days=250)
    run.advance(today)
    ahead = run.fork()
    unit = str(fleet.truth[fleet.truth.date > pd.Timestamp(today)].iloc[0].unit)
    ahead.do(unit, today, "battery", "replaced")
    ahead.advance(SPEC.end)
    assert run.today == today
    run.advance(SPEC.end)
    pd.testing.assert_frame_equal(run.no_starts(), fleet.truth)
    assert len(ahead.repairs_done()) != len(run.repairs_done()) or not ahead.no_starts().equals(run.no_starts())


@pytest.mark.nightly
def test_an_all_knowing_planner_prevents_what_it_foresees(fleet: Fleet) -> None:
    """Every four weeks replace what is foreseen to fail within five: almost no no-start is left of dozens."""
    run = FleetRun(SPEC)
    while run.today < SPEC.end:
        for unit, _, part in run.foresee(35).itertuples(index=False):
            run.do(str(unit), run.today, str(part), "replaced")
        run.advance(min(run.today + dt.timedelta(days=28), SPEC.end))
    assert len(run.no_starts()) < 0.1 * len(fleet.truth)
    acts = run.repairs_so_far()
    assert len(acts[acts.reason == "preventive"]) < 2 * len(fleet.truth)


def test_the_true_state_ranks_those_who_will_fail(fleet: Fleet) -> None:
    """Who fails within 60 days has less margin than nine in ten of the others, and mostly by the part named."""
    run, today = FleetRun(SPEC), dt.date(2021, 11, 20)
    run.advance(today)
    state = run.true_state().set_index("unit")
    soon = fleet.truth[fleet.truth.date.between(pd.Timestamp(today), pd.Timestamp(today) + pd.Timedelta(days=60))]
    soon = soon.drop_duplicates("unit")
    assert len(soon) >= 5
    others = state.margin_c.drop(soon.unit)
    assert state.margin_c[soon.unit].median() < others.quantile(0.1)
    assert (state.part[soon.unit].to_numpy() == soon.part.to_numpy()).mean() > 0.8
    assert state.coldest_start_c.between(-70, 60).all()


def test_noise_free_state_of_a_reading_obeys_kirchhoff() -> None:
    """The states kept for readings, without meters: voltages around the loop add up (1e-9 V)."""
    run = FleetRun(SPEC)
    run.advance(SPEC.start + dt.timedelta(days=200))
    n = int(np.searchsorted(run.setting.visits.day, 200))
    seen, rows = run._seen, run.setting.visits.unit[:n]
    state = apply_wear(seen.change[:n], seen.second[:n], seen.soc[:n])
    k = crank(run.setting.hardware.take(rows), state, SPEC.cold, np.full(n, 5.0))
    loop = k.drop_positive_v + k.drop_contacts_v + k.motor_v + k.drop_ground_v
    np.testing.assert_allclose(loop, k.crank_min_v, rtol=0, atol=1e-9)
    assert np.all(coldest_start_c(run.setting.hardware.take(rows), state, SPEC.cold) < 60)


def test_silent_swaps_are_done_and_never_recorded() -> None:
    """Battery changes that nobody writes down: in what was done, not in the records; readings step down."""
    spec = replace(SPEC, silent_swaps=0.3, growth=healthy_growth())
    fleet = simulate_fleet(spec)
    assert 0.15 < len(fleet.repairs_done) / (spec.units * spec.years) < 0.45
    assert fleet.repairs.empty


def test_bad_calls_are_refused_in_a_sentence() -> None:
    """ValueError naming the argument, the value and what is allowed; nothing is done."""
    run = FleetRun(replace(SPEC, units=5))
    run.advance(SPEC.start + dt.timedelta(days=10))
    with pytest.raises(ValueError, match="to_date is 2021-06-05; allowed: 2021-06-11 to"):
        run.advance(SPEC.start + dt.timedelta(days=4))
    with pytest.raises(ValueError, match="unit is 'X'; allowed: U00001 to U00005"):
        run.do("X", run.today, "battery", "replaced")
    with pytest.raises(ValueError, match="days is 0; allowed: 1 or more"):
        run.foresee(0)
    with pytest.raises(ValueError, match="part is 'wheel'"):
        run.do("U00001", run.today, "wheel", "replaced")
    with pytest.raises(ValueError, match="date is 2021-06-05"):
        run.do("U00001", SPEC.start + dt.timedelta(days=4), "battery", "replaced")
    with pytest.raises(ValueError, match=r"missing is 1\.2; allowed: 0 to 1"):
        FleetSpec(1, missing=1.2)
    with pytest.raises(ValueError, match="classes has 'tank'"):
        FleetSpec(1, classes={"tank": 1.0})
    with pytest.raises(ValueError, match="without has 'mood'"):
        FleetSpec(1, without=("mood",))
    with pytest.raises(ValueError, match="depots is empty"):
        FleetSpec(1, depots=())


def test_evaluation_fleets_differ_in_what_the_hidden_fleets_differ_in() -> None:
    """At least twelve, all seeds and names different; cadence 3 to 14 weeks; up to a quarter missing; special cases."""
    specs = evaluation_specs()
    assert len(specs) >= 12
    assert len({s.seed for s in specs}) == len({s.name for s in specs}) == len(specs)
    assert min(s.interval_weeks[0] for s in specs) == 3
    assert max(s.interval_weeks[1] for s in specs) == 14
    assert max(s.missing for s in specs) == 0.25
    assert any("peak_a" in s.without for s in specs)
    assert any(s.unrecorded > 0.3 for s in specs)
    assert any(s.thermometer_bias_c >= 10 for s in specs)
    only = next(s for s in specs if s.name == "heavy_24v")
    assert set(simulate_fleet(replace(only, years=0.3)).units.system_v) == {24}
    assert len({s.cold for s in specs}) >= 5
    assert len({s.depots for s in specs}) >= 5
    assert len(MEASUREMENTS) == 10
