"""What no-starts teach of a class's needs: the likelihood by hand, needs found again, and no luck of the draw.

Truth: worked by hand on looks of three vehicles; looks drawn from stated needs; the same fleet under other seeds.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import samples_kept
from samples_fleet import fleet, quick, tables_of

import analysis.forecast.past
from analysis.forecast import learning
from analysis.forecast.choices import LEARNING
from analysis.forecast.learning import (
    COIL_STEPS,
    DRAWS,
    SPEED_STEPS,
    SUPPLY_STEPS,
    Came,
    Look,
    calibration,
    learn_needs,
    look_back,
    need_grids,
    not_failed,
    of_all_needs,
    past_looked_at,
)
from analysis.forecast.past import look_days, moment_of, past_of
from analysis.readings.draws import Draws, Whole
from analysis.readings.panel import FleetTables, make_panel
from analysis.wear.choices import NEED_DOUBT
from analysis.wear.state import day_number

DAY = pd.Timestamp("2022-12-12")


def test_a_look_over_three_vehicles_by_hand() -> None:
    """Worked by hand: one need, two values; the draws of three vehicles that fail before and in the window."""
    failed = np.array([[[0.0, 0.0], [0.0, 0.5], [0.0, 1.0]], [[0.0, 0.0], [0.5, 1.0], [0.0, 1.0]]])
    fails = np.array([[[0.0, 0.0], [0.2, 0.6], [0.1, 1.0]], [[0.0, 0.4], [0.6, 1.0], [0.3, 1.0]]])
    none = np.zeros((1, 3, 2))
    since, recorded = np.array([0.0, 30.0, 60.0]), 0.8
    mild = 0.5 * fails
    both = of_all_needs([failed, none, none], [[fails, none, none], [mild, none, none]], since, recorded)
    assert both.shape == (2, 2, 1, 1, 3)
    assert both[1] == pytest.approx(0.5 * both[0], rel=1e-6)
    found = both[0]
    for s in range(2):
        for u in range(3):
            alive = [max(1.0 - f, LEARNING.least_alive) for f in failed[s, u]]
            lost = (1.0 - recorded) * since[u] / LEARNING.survival_d * float(np.mean(failed[s, u]))
            by_hand = np.mean([a * f for a, f in zip(alive, fails[s, u], strict=True)]) / (np.mean(alive) + lost)
            assert found[s, 0, 0, u] == pytest.approx(by_hand, rel=1e-6)
    weight, gone = not_failed(failed, since, recorded)
    assert weight.shape == failed.shape
    assert gone.shape == failed.shape[:-1]


def a_look(probability: np.ndarray, group: np.ndarray, recorded: float = 1.0) -> Look:
    """A look of vehicles of one depot whose probabilities (S, V, C, N) are given, the same in all winters, or (W, S, V, C, N)."""
    n = len(group)
    names = np.array([f"V{i}" for i in range(n)], dtype=object)
    winters = probability if probability.ndim == 5 else probability[None]
    return Look(0.0, names, group, np.arange(n), np.zeros(n, dtype=np.int64), winters, recorded, np.arange(n))


def test_evidence_is_the_log_probability_of_what_happened_class_by_class() -> None:
    """Worked by hand: vehicle 0 of class 0 failed, 1 did not, 2 is of class 1 and did not."""
    p = np.array([0.3, 0.1, 0.2])[None, None, None, :]
    evidence = a_look(p, np.array([0, 0, 1]), 0.9).evidence(Came.answered(np.array([True, False, False])), 2)
    q = LEARNING.unforeseen + (1.0 - LEARNING.unforeseen) * 0.9 * p.ravel()
    assert evidence.shape == (2, 1, 1, 1)
    assert evidence[0].item() == pytest.approx(np.log(q[0]) + np.log1p(-q[1]))
    assert evidence[1].item() == pytest.approx(np.log1p(-q[2]))


def test_a_failure_that_nobody_repaired_is_the_circuits_or_a_stray_one() -> None:
    """Worked by hand: two vehicles failed, and nobody repaired the second; what followed makes it .3 times as probably the circuit's."""
    p = np.array([0.3, 0.1, 0.2])[None, None, None, :]
    came = Came(np.array([True, True, False]), np.array([0.0, 0.03, 0.0]), np.array([1.0, 0.3, 1.0]))
    q = (1.0 - LEARNING.unforeseen) * 0.9 * p.ravel()
    look = a_look(p, np.zeros(3, dtype=np.int64), 0.9)
    by_hand = np.log(
        [q[0] + LEARNING.unforeseen, 0.3 * q[1] + LEARNING.unforeseen + 0.03, 1.0 - q[2] - LEARNING.unforeseen]
    )
    assert look.evidence(came, 1).item() == pytest.approx(by_hand.sum())
    assert look.evidence(Came.answered(came.happened), 1).item() != pytest.approx(by_hand.sum())
    real = came.real(q, np.arange(3))
    assert real.tolist() == pytest.approx([1.0, 1.0 - 0.03 / np.exp(by_hand[1]), 0.0])


def test_vehicles_of_one_depot_are_judged_in_one_winter() -> None:
    """Worked by hand: a cold winter stops each of three vehicles with .8, a mild one with .1, and none was stopped. Together they tell
    of the mild one, and so less against the need than three strangers; the vehicle of another depot had a winter of its own."""
    p = np.array([[0.8, 0.8, 0.8], [0.1, 0.1, 0.1]])[:, None, None, None, :]
    look = a_look(p, np.zeros(3, dtype=np.int64))
    cold, mild = (1.0 - LEARNING.unforeseen) * (1.0 - p[:, 0, 0, 0, 0])
    none = Came.answered(np.zeros(3, dtype=bool))
    assert look.evidence(none, 1).item() == pytest.approx(np.log((cold**3 + mild**3) / 2.0))
    apart = replace(look, depot=np.array([0, 0, 1]), told={})
    by_hand = np.log((cold**2 + mild**2) / 2.0) + np.log((cold + mild) / 2.0)
    assert apart.evidence(none, 1).item() == pytest.approx(by_hand)
    assert apart.evidence(none, 1).item() > 3.0 * np.log((cold + mild) / 2.0)
    assert look.without(np.array([True, False, False])).evidence(none, 1).item() == pytest.approx(
        np.log((cold**2 + mild**2) / 2.0)
    )


def test_a_no_start_teaches_in_the_window_that_it_fell_in(monkeypatch: pytest.MonkeyPatch) -> None:
    """Worked by hand: prior and stated share of two looks' evidence; of three no-starts one fell in the first window, one on the last day
    of the second, and one on the day after."""
    monkeypatch.setattr(analysis.forecast.past, "LEARNING", replace(LEARNING, looks=2))
    made = tables_of(fleet())
    panel, day = make_panel(made.units, made.readings.iloc[:0]), day_number(DAY) + 1.0
    who = panel.units["unit"].to_numpy(dtype=object)[panel.group == panel.group[0]][:3]
    first, second = look_days(made, day)
    assert second + LEARNING.span_d < day
    on = [first + 3.0, second + LEARNING.span_d - 1.0, second + LEARNING.span_d]
    came = pd.DataFrame({"unit": who, "done_on": [moment_of(at) for at in on], "part": "battery", "action": "replaced"})
    known = replace(made, repairs=came.assign(reason="no_start", note=""))
    known, grids = known.before(moment_of(day)), need_grids(panel)
    past, days = past_looked_at(known, panel, day)
    assert days == [first, second]
    rng, shape = np.random.default_rng(6), (len(SPEED_STEPS), len(SUPPLY_STEPS), len(COIL_STEPS))
    group = np.full(3, panel.group[0])
    looks = [
        replace(a_look(rng.uniform(0.0, 0.3, (*shape, 3)), group), day=at, units=who, groups=panel.groups)
        for at in days
    ]
    found = learn_needs(
        known, panel, day, looks={past.key(at, grids): look for at, look in zip(days, looks, strict=True)}
    )
    told = [
        look.evidence(Came.answered(who == name), len(panel.groups))[panel.group[0]]
        for look, name in zip(looks, who, strict=False)
    ]
    prior = np.add.outer(np.add.outer(-0.5 * SPEED_STEPS**2, -0.5 * SUPPLY_STEPS**2), -0.5 * COIL_STEPS**2)
    by_hand = np.exp(prior + LEARNING.learning_counts * (told[0] + told[1]))
    assert found.weights[panel.group[0]] == pytest.approx(by_hand / by_hand.sum())
    assert found.no_starts[panel.group[0]] == found.no_starts.sum() == 2


def test_each_look_has_chance_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    """Contract: all draws of a look are of one seed, which is that of no other look and the same when it is made again."""
    made = tables_of(fleet())
    few = made.units.head(3)
    tables = replace(made, units=few, readings=made.readings[made.readings["unit"].isin(few["unit"])]).before(DAY)
    panel = make_panel(tables.units, tables.readings.iloc[:0])
    days, grids, seeds = look_days(tables, day_number(DAY))[-2:], need_grids(panel), []

    def noted(keys: Whole, count: int, seed: int = 0) -> Draws:
        seeds.append(seed)
        return Draws(keys, count, seed)

    monkeypatch.setattr(learning, "Draws", noted)
    of = []
    for day in (*days, days[0]):
        seeds.clear()
        look_back(past_of(tables, days), day, grids)
        of.append({*seeds})
    assert all(len(one) == 1 for one in of)
    assert of[0] == of[2] != of[1]


def test_needs_of_a_simulated_class_are_found_again() -> None:
    """Simulated truth: 18 looks at 200 vehicles whose no-starts follow the third speed, first supply, fifth coil value
    of the grids: the posterior's mean of each need lies within two of its stated errors, over ten fleets."""
    rng = np.random.default_rng(4)
    shape = (len(SPEED_STEPS), len(SUPPLY_STEPS), len(COIL_STEPS))
    true = (2, 0, 4)
    prior = (
        -0.5 * SPEED_STEPS[:, None, None] ** 2
        - 0.5 * SUPPLY_STEPS[None, :, None] ** 2
        - 0.5 * COIL_STEPS[None, None, :] ** 2
    )
    within = []
    for _ in range(10):
        log_weight = prior.copy()
        for _look in range(18):
            vehicle = rng.normal(-2.5, 1.5, 200)  # how near each is to failing, of any need
            which = rng.integers(0, 3, 200)
            steps = np.stack(np.meshgrid(SPEED_STEPS, SUPPLY_STEPS, COIL_STEPS, indexing="ij"))
            logit = vehicle + 1.2 * steps.reshape(3, *shape)[which].transpose(1, 2, 3, 0)
            p = 1.0 / (1.0 + np.exp(-logit))
            came = Came.answered(rng.random(200) < LEARNING.unforeseen + p[true])
            log_weight += LEARNING.learning_counts * a_look(p, np.zeros(200, dtype=np.int64)).evidence(came, 1)[0]
        weight = np.exp(log_weight - log_weight.max())
        weight /= weight.sum()
        for k, grid in enumerate((SPEED_STEPS, SUPPLY_STEPS, COIL_STEPS)):
            marginal = weight.sum(axis=tuple(a for a in range(3) if a != k))
            mean = float(marginal @ grid)
            sd = float(np.sqrt(marginal @ (grid - mean) ** 2)) + 0.1
            within.append(abs(mean - grid[true[k]]) < 2.0 * sd)
    assert np.mean(within) >= 0.9


@pytest.mark.nightly
def test_two_seeds_teach_the_same_within_half_the_stated_error() -> None:
    """The same looks with other draws: every class's needs move by less than half their stated error."""
    made = tables_of(fleet())
    panel = make_panel(made.units, made.readings.iloc[:0])
    known = made.before(DAY)
    day = day_number(DAY)
    days, grids = look_days(known, day)[-6:], need_grids(panel)
    past = past_of(known, days)
    found = []
    for shift in (0, 1000):
        looks = {past.key(d, grids): look_back(past, d, grids, seed=int(d // LEARNING.span_d) + shift) for d in days}
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(analysis.forecast.past, "LEARNING", replace(LEARNING, looks=len(looks)))
            found.append(learn_needs(known, panel, day, looks=looks))
    one, other = found
    assert (np.abs(one.needs - other.needs) < 0.5 * one.se).all()
    assert DRAWS >= 40


def test_a_look_knows_the_mornings_that_came() -> None:
    """Property: six weeks of 25 degC stop next to none of the small fleet's 24 vehicles under usual needs, and under any need fewer
    than its climate does; with one morning of -45 in them nearly all are expected to have failed under the greatest speed."""
    tables = tables_of(fleet()).before(DAY)
    panel = make_panel(tables.units, tables.readings.iloc[:0])
    grids, day = need_grids(panel), look_days(tables, day_number(DAY))[-1]
    at = pd.date_range(pd.Timestamp("1970-01-01") + pd.Timedelta(days=day - 60), periods=102).astype("datetime64[us]")
    mild = pd.concat([pd.DataFrame({"depot": d, "date": at, "low_c": 25.0}) for d in tables.units["depot"].unique()])
    bitter = mild.assign(low_c=mild["low_c"].where(mild["date"] != at[80], -45.0))
    seen = {}
    for name, lows in (("climate", None), ("mild", mild), ("bitter", bitter)):
        seen[name] = look_back(past_of(replace(tables, lows=lows), [day]), day, grids)
    everyone = {name: look.probability.mean(axis=0).sum(axis=-1) for name, look in seen.items()}
    in_mild = seen["mild"].probability
    assert in_mild == pytest.approx(np.broadcast_to(in_mild[:1], in_mild.shape), abs=1e-6)  # nothing is left to chance
    middle = tuple(steps // 2 for steps in everyone["mild"].shape)
    assert everyone["mild"][middle] < 0.1 < everyone["climate"][middle]
    assert (everyone["mild"] < everyone["climate"]).all()
    assert (everyone["climate"] < everyone["bitter"]).all()
    assert everyone["bitter"][-1].min() > 0.9 * len(seen["bitter"].read)


def test_without_no_starts_the_published_prior_stands() -> None:
    """Definition: a fleet that never failed to start teaches nothing yet, its needs are those of the prior."""
    made = tables_of(fleet())
    quiet = FleetTables(made.units, made.readings, made.repairs.iloc[:0], made.climate, made.forecast)
    panel = make_panel(made.units, made.readings.iloc[:0])
    learned = learn_needs(quiet.before(DAY), panel, day_number(DAY))
    speed, supply, coil = need_grids(panel)
    prior = np.exp(-0.5 * SPEED_STEPS**2)
    assert learned.needs[0, 0] == pytest.approx(float((prior / prior.sum()) @ speed[0]))
    assert (learned.offset, learned.slope) == pytest.approx((0.0, 1.0), abs=0.02)
    assert (learned.no_starts == 0).all()
    assert (learned.told < 0.1).all()
    assert supply.min() < learned.needs[0, 1] < supply.max()
    assert coil.min() < learned.needs[0, 2] < coil.max()


def test_needs_are_learned_about_the_coldest_month_of_the_class_s_depots() -> None:
    """By hand: two depots of a class with -8 and -2 degC in January, three vehicles at the first and one at the other, and a third depot
    whose vehicle nobody ever read; a need known to half of its stated error is told by three quarters."""
    made = tables_of(fleet())
    depots = ["hill"] * 3 + ["coast", "pole"]
    units = made.units.head(5).assign(vehicle_class="van", system_v=12, fuel="diesel", depot=depots)
    climate = pd.DataFrame(
        {
            "depot": np.repeat(["hill", "coast", "pole"], 2),
            "month": [1, 7] * 3,
            "low_c": [-8.0, 12.0, -2.0, 15.0, -40.0, 0.0],
        }
    )
    panel = make_panel(units, made.readings.iloc[:0])
    readings = made.readings[made.readings["unit"].isin(units["unit"].head(4))]
    quiet = FleetTables(units, readings, made.repairs.iloc[:0], climate, made.forecast)
    learned = learn_needs(quiet, panel, day_number(DAY))
    assert learned.cold_c == pytest.approx([(3 * -8.0 + -2.0) / 4.0], abs=0.1)
    half = replace(learned, se=np.full((1, 3), 0.5 * NEED_DOUBT.diesel_speed_sd_rpm))
    assert half.told == pytest.approx([0.75])


def test_drawn_needs_have_the_posteriors_mean_and_stay_with_their_class() -> None:
    """Property: 128 draws of each class keep its mean within a tenth of its error, whatever other classes there are."""
    with pytest.MonkeyPatch.context() as patch:
        quick(patch)
        found = samples_kept.assess(tables_of(fleet()), as_of=DAY)
    learned = found.shared.learned
    drawn = learned.drawn(128)
    assert drawn.shape == (len(found.state.panel.groups), 128, 3)
    assert np.abs(drawn.mean(axis=1) - learned.needs) == pytest.approx(0.0, abs=0.35 * float(learned.se.max()))


@pytest.mark.parametrize(("offset", "slope"), [(0.0, 1.0), (0.4, 1.0), (0.0, 0.8)])
def test_calibration_finds_what_bends_probabilities(offset: float, slope: float) -> None:
    """Simulated truth: 40,000 events at logit p' = offset + slope logit p; the prior holds it near (0, 1)."""
    rng = np.random.default_rng(8)
    x = rng.normal(-2.5, 1.5, 40_000)
    happened = rng.random(40_000) < 0.9 / (1.0 + np.exp(-(offset + slope * x)))
    found = calibration(1.0 / (1.0 + np.exp(-x)), happened, 0.9)
    assert found == pytest.approx((offset, slope), abs=0.12)
