"""Probabilities over draws and windows: neither multiplied by the day nor added up, and never falling with time.

Truth: worked by hand on constructed outlooks, laws of probability, and a simulated fleet.
"""

from __future__ import annotations

from dataclasses import replace
from unittest.mock import Mock

import numpy as np
import pandas as pd
import pytest
import samples_kept
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples
from samples_fleet import drawn_of, fleet, quick, tables_of

from analysis.forecast.choices import LEARNING
from analysis.forecast.learning import SPEED_STEPS
from analysis.forecast.lows import Bounds, make_weather
from analysis.forecast.outlook import (
    Outlook,
    came_through,
    chosen,
    halves,
    later_probability,
    look_ahead,
    outlook_renewed,
    renewed_coldest,
    weekly_probability,
    weighted_mean,
    weighted_quantile,
    window_probability,
    with_renewed,
)
from analysis.forecast.season import LATER_D, WEEK_SEED, WEEKS, season_of
from analysis.readings.observe import BATTERY, CHANNELS, LOAD, MOTOR
from analysis.readings.panel import Reals
from analysis.readings.renewals import PARTS
from analysis.wear.state import FleetState
from analysis.worklist.assess import Assessment
from analysis.worklist.choices import JUDGING
from analysis.worklist.risk import with_other_causes

DAY = pd.Timestamp("2022-12-12")


def coldest_between(state: FleetState, outlook: Outlook, ahead_d: float) -> Reals:
    """(U, K) coldest start so many days ahead [degC]."""
    return Bounds.between(state.ahead_d, np.array([ahead_d])).coldest(outlook.coldest, 0)


@pytest.fixture(scope="module")
def assessed() -> Assessment:
    """A small fleet, assessed once."""
    with pytest.MonkeyPatch.context() as patch:
        quick(patch)
        return samples_kept.assess(tables_of(fleet()), as_of=DAY)


def by_draw(assessed: Assessment, weeks: int = WEEKS) -> np.ndarray:
    """(U, K, weeks) cumulative probabilities of the fleet."""
    depots, day = list(assessed.shared.season.depots), int(assessed.state.day)
    weather = [make_weather(fleet().climate, depots, day + 7 * w, 7, seed=WEEK_SEED + w) for w in range(weeks)]
    return weekly_probability(drawn_of(assessed).state, drawn_of(assessed).prognosis, weather)


# --- windows ---------------------------------------------------------------------------------------------------------


def test_two_weeks_are_more_than_the_worse_one_and_less_than_both_added(assessed: Assessment) -> None:
    """Law of probability: max(p1, p2) <= P(either) <= p1 + p2, for every vehicle, averaged over draws."""
    state, outlook = drawn_of(assessed).state, drawn_of(assessed).prognosis
    alive = outlook.alive
    day = int(state.day)
    alone = []
    for w, seed in ((0, 100), (1, 101)):
        weather = make_weather(fleet().climate, list(assessed.shared.season.depots), day + 7 * w, 7, seed=seed)
        start, end = (coldest_between(state, outlook, 7.0 * k) for k in (w, w + 1))
        alone.append(weighted_mean(weather.probability(outlook.depot, start, end), alive))
    both = weighted_mean(by_draw(assessed, 2)[..., 1], alive)
    assert (both >= np.maximum(*alone) - 1e-9).all()
    assert (both <= sum(alone) + 1e-9).all()
    risky = (alone[0] > 0.05) & (alone[0] < 0.95)
    assert risky.any()
    assert (both[risky] < sum(alone)[risky]).all()


def test_not_knowing_the_vehicle_is_no_new_chance_every_week(assessed: Assessment) -> None:
    """Why draws are averaged last: multiplied week by week, a doubt about the vehicle would grow into near certainty."""
    cumulative = by_draw(assessed)
    alive = drawn_of(assessed).prognosis.alive
    honest = weighted_mean(cumulative[..., -1], alive)
    weekly = 1.0 - (1.0 - cumulative) / np.concatenate(
        [np.ones_like(cumulative[..., :1]), np.maximum(1.0 - cumulative[..., :-1], 1e-12)], axis=-1
    )
    mean = np.stack([weighted_mean(weekly[..., w], alive) for w in range(WEEKS)])
    multiplied = 1.0 - np.prod(1.0 - mean, axis=0)
    doubtful = (honest > 0.05) & (honest < 0.9)
    assert doubtful.any()
    assert (honest[doubtful] < multiplied[doubtful]).all()


def test_the_horizon_never_lowers_a_probability(assessed: Assessment) -> None:
    """Property: by the end of a later week is at least by the end of an earlier one, draw by draw."""
    cumulative = by_draw(assessed)
    assert cumulative.shape == (*drawn_of(assessed).prognosis.alive.shape, WEEKS)
    assert (np.diff(cumulative, axis=-1) >= -1e-12).all()
    assert cumulative.min() >= 0.0
    assert cumulative.max() <= 1.0


def test_a_month_at_once_and_in_weeks_agree(assessed: Assessment) -> None:
    """Two ways to four weeks: one window, or week by week.  They differ by persistence across Sundays and by sampling:
    0.12 for a vehicle, 0.02 for the fleet."""
    outlook, state = drawn_of(assessed).prognosis, drawn_of(assessed).state
    weather = make_weather(fleet().climate, list(assessed.shared.season.depots), int(state.day), 28)
    start, end = (coldest_between(state, outlook, d) for d in (0.0, 28.0))
    once = weighted_mean(weather.probability(outlook.depot, start, end), outlook.alive)
    weekly = weighted_mean(by_draw(assessed, 4)[..., 3], outlook.alive)
    assert np.abs(once - weekly).max() < 0.12
    assert abs(once.mean() - weekly.mean()) < 0.02


def test_coldest_starts_between_times_are_on_the_line(assessed: Assessment) -> None:
    """Worked by hand: at the state's own times the state's own values, half-way the mean."""
    state, outlook = drawn_of(assessed).state, drawn_of(assessed).prognosis
    for k, ahead in enumerate(state.ahead_d[1:], start=1):
        assert coldest_between(state, outlook, float(ahead)) == pytest.approx(outlook.coldest[k], abs=1e-3)
    middle = 0.5 * (state.ahead_d[1] + state.ahead_d[2])
    mean = 0.5 * (outlook.coldest[1] + outlook.coldest[2])
    assert coldest_between(state, outlook, float(middle)) == pytest.approx(mean, abs=1e-3)


def test_a_vehicle_that_survived_the_cold_is_believed(assessed: Assessment) -> None:
    """Property: draws that would have failed in the past weeks weigh less; weights stay positive."""
    outlook, state = drawn_of(assessed).prognosis, drawn_of(assessed).state
    assert (outlook.alive > 0).all()
    assert (outlook.alive <= 1.0).all()
    bad = outlook.coldest[0] > 25.0
    if bad.any():
        assert outlook.alive[bad].max() < 0.05
    weather = make_weather(fleet().climate, list(assessed.shared.season.depots), int(state.day), 30)
    p = window_probability(outlook, weather, 1, 2)
    assert (weighted_mean(p, outlook.alive) <= p.mean(axis=1) + 0.02).all()


def test_a_vehicle_came_through_the_mornings_that_were_measured(assessed: Assessment) -> None:
    """Property: after weeks that were measured as mild no draw counts for less for not having failed; after one morning of -30 degC
    hardly any that would not have started at -28 counts at all."""
    depots, days = list(assessed.shared.season.depots), LEARNING.survival_d
    first = pd.Timestamp(DAY) - pd.Timedelta(days=days)
    mild = pd.concat(
        [pd.DataFrame({"depot": d, "date": pd.date_range(first, periods=days), "low_c": 25.0}) for d in depots]
    )
    bitter = mild.assign(low_c=mild["low_c"].where(mild["date"] != first + pd.Timedelta(days=30), -30.0))
    season = {name: season_of(fleet().units, fleet().climate, int(assessed.state.day), horizon_d=30, window_d=60, came=came)
              for name, came in (("mild", mild), ("bitter", bitter))}  # fmt: skip
    outlook, state = drawn_of(assessed).prognosis, drawn_of(assessed).state
    depot = season["mild"].codes(state.panel.units)
    failed = {name: of.past.probability(depot, outlook.coldest[0], outlook.coldest[1]) for name, of in season.items()}
    warm = np.maximum(outlook.coldest[0], outlook.coldest[1])
    assert (failed["mild"][warm < 24.0] == 0.0).all()
    assert (failed["bitter"][np.minimum(outlook.coldest[0], outlook.coldest[1]) > -28.0] == 1.0).all()
    for of in season.values():  # an ordinary year stays one
        assert (of.year.table == assessed.shared.season.year.table).all()


# --- means and quantiles ---------------------------------------------------------------------------------------------


def test_draws_in_which_no_winter_spares_a_sound_vehicle_count_for_less(assessed: Assessment) -> None:
    """By hand: needs so low that every sound vehicle starts, or so high that none does, leave all draws alike; where half of the
    draws need more than any engine turns, a vehicle of three years believes them by the cube of the least that is believed."""
    made, shared = drawn_of(assessed), assessed.shared
    state, depot = made.state, made.prognosis.depot
    draws, classes = state.drawn.shape[-1], len(state.laws.base)
    first = np.where(state.panel.present, state.panel.day, np.inf).min(axis=1)
    old, new = (pd.to_datetime(np.floor(first) - 365.25 * years - 1.0, unit="D") for years in (3.0, 0.5))

    def weights(speed: np.ndarray, served: pd.DatetimeIndex | None) -> np.ndarray:
        needs = np.tile(np.stack([speed, np.zeros(draws), np.zeros(draws)], axis=1), (classes, 1, 1))
        learned = Mock(drawn=lambda _: needs)
        units = state.panel.units.drop(columns="in_service", errors="ignore")
        units = units if served is None else units.assign(in_service=served)
        aged = replace(state, panel=replace(state.panel, units=units))
        return came_through(aged, learned, made.prognosis.laws, shared.season, depot)

    half = np.where(np.arange(draws) % 2, -5000.0, 5000.0)
    assert weights(np.full(draws, -5000.0), old) == pytest.approx(1.0)
    assert weights(np.full(draws, 5000.0), old) == pytest.approx(1.0)
    assert (weights(half, new) == 1.0).all(), "of a new vehicle it is not known yet"
    for served, power in ((old, 3.0), (None, 1.0)):
        found = weights(half, served)
        assert found[:, 1] == pytest.approx(1.0)
        assert found[:, 0] == pytest.approx(LEARNING.least_alive**power)


def test_what_starts_taught_of_needs_and_law_together_is_doubted_once(assessed: Assessment) -> None:
    """Property: needs that are known for certain (all of their stated doubt told) narrow the ranges of vehicles that start down to about
    the cold in which they were learned, whose needs make up for whatever the law is out there; needs of which nothing was told do not."""
    made, shared = drawn_of(assessed), assessed.shared
    known, now = shared.learned, shared.place(0.0)

    def spread(told: float) -> np.ndarray:
        stated_sd = np.ptp(known.grids[0], axis=1) / np.ptp(SPEED_STEPS)
        se = np.repeat(np.sqrt(1.0 - told) * stated_sd[:, None], 3, axis=1)
        found = look_ahead(made.state, replace(known, se=se), shared.season, shared.told, named=now)
        low, high = (weighted_quantile(found.coldest[now], np.ones_like(found.alive), q) for q in (0.1, 0.9))
        return np.asarray(high - low)

    near = np.abs(np.median(made.prognosis.coldest[now], axis=1) - known.cold_c[made.state.group]) < 8.0
    assert near.sum() > 2
    nothing, half, everything = (spread(told)[near].mean() for told in (0.0, 0.5, 1.0))
    assert everything < half < nothing


@examples(15)
@given(st.lists(st.tuples(st.floats(-40, 40), st.floats(0.01, 1.0)), min_size=1, max_size=12), st.floats(0.01, 0.99))
def test_weighted_quantiles_are_values_and_rise(pairs: list[tuple[float, float]], q: float) -> None:
    """Property: a quantile is one of the values; larger shares, larger values; order of draws does not matter."""
    values, weight = (np.array([column]) for column in zip(*pairs, strict=True))
    got = weighted_quantile(values, weight, q)[0]
    assert np.isclose(values, got).any()
    assert weighted_quantile(values, weight, min(q + 0.2, 1.0))[0] >= got
    assert weighted_quantile(values[:, ::-1], weight[:, ::-1], q)[0] == pytest.approx(got)


def test_weighted_mean_and_quantile_by_hand() -> None:
    """Worked by hand: weights 1, 1, 2 on 0, 10, 20."""
    values, weight = np.array([[20.0, 0.0, 10.0]]), np.array([[2.0, 1.0, 1.0]])
    assert weighted_mean(values, weight).tolist() == [12.5]
    assert [weighted_quantile(values, weight, q)[0] for q in (0.1, 0.4, 0.6)] == [0.0, 10.0, 20.0]


@examples(15)
@given(st.floats(0.0, 1.0), st.floats(0.0, 400.0))
def test_other_causes_add_a_little_and_never_pass_one(p: float, days: float) -> None:
    """Worked by hand: independent causes, 1 - (1 - p) exp(-rate t)."""
    got = float(with_other_causes(np.array([p]), days)[0])
    assert got == pytest.approx(1.0 - (1.0 - p) * np.exp(-JUDGING.other_causes_per_year * days / 365.25))
    assert p - 1e-12 <= got <= min(1.0, p + JUDGING.other_causes_per_year * days / 365.25) + 1e-12


# --- renewal ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("part", PARTS)
def test_renewing_touches_the_part_only_and_never_makes_it_worse(part: str, assessed: Assessment) -> None:
    """Definition: as good as new, or as good as it is where better."""
    state = drawn_of(assessed).state
    drawn, field = with_renewed(state.drawn, state.field, state.weak, state.built, part)
    assert (drawn <= state.drawn).all()
    moved = {int(c) for c in np.flatnonzero((drawn != state.drawn).any(axis=(0, 2, 3)))}
    allowed = {"starter_motor": {MOTOR, LOAD}, "engine_drag": {LOAD}, "battery": {BATTERY}}
    assert moved <= allowed.get(part, {PARTS.index(part) if part != "control_circuit" else 6})
    assert (field >= state.field).all()
    if part != "starter_motor":
        assert (field == state.field).all()


@pytest.mark.parametrize(
    ("part", "weak", "load", "field"),
    [
        ("starter_motor", True, 1.0, 1.0), ("starter_motor", False, 1.4, 0.8),
        ("engine_drag", True, 1.4, 0.8), ("engine_drag", False, 1.1, 0.8), ("battery", True, 1.4, 0.8),
    ],
)  # fmt: skip
def test_a_raised_load_goes_with_the_part_that_raises_it(part: str, weak: bool, load: float, field: float) -> None:
    """By hand: amps 1.4 times the usual are a weak field's, which a new starter brings back, or else the engine's drag, which
    returns to the 1.1 that the engine asked for as it was built."""
    drawn, old_field = np.full((len(CHANNELS), 1, 1), 1.4), np.array([[0.8]])
    renewed, new_field = with_renewed(drawn, old_field, np.array([[weak]]), np.array([[1.1]]), part)
    assert (renewed[LOAD, 0, 0], new_field[0, 0]) == (load, field)
    assert (drawn == 1.4).all()
    assert old_field[0, 0] == 0.8


def test_renewed_parts_start_colder_or_as_cold(assessed: Assessment) -> None:
    """Property: a better part never makes a vehicle start at a warmer temperature (the starter may: its stronger field
    turns slower where resistance is what limits)."""
    outlook, rows = drawn_of(assessed).prognosis, np.arange(len(drawn_of(assessed).state.group))
    state = drawn_of(assessed).state
    renewed = renewed_coldest(state, outlook, rows, state.drawn[1], outlook.coldest[1])
    for k, part in enumerate(PARTS):
        if part != "starter_motor":
            assert (renewed[k] <= outlook.coldest[1] + 0.3).all(), part


def test_the_outlook_with_a_renewal_is_that_of_the_renewed_vehicle(assessed: Assessment) -> None:
    """Two ways to the same: all times of `outlook_renewed` against `renewed_coldest` at one."""
    outlook, rows = drawn_of(assessed).prognosis, np.array([3, 0, 7])
    named = ["battery", "ground_path", "starter_motor"]
    state = drawn_of(assessed).state
    after = outlook_renewed(state, outlook, rows, named)
    direct = renewed_coldest(state, outlook, rows, state.drawn[1], outlook.coldest[1])
    for i, part in enumerate(named):
        assert after.coldest[1, i] == pytest.approx(direct[PARTS.index(part), i], abs=1e-3)
    assert after.alive == pytest.approx(chosen(outlook, rows).alive)


# --- beyond the weeks, and what a reading would tell -----------------------------------------------------------------


def test_the_quarters_beyond_go_on_from_the_weeks_and_never_fall(assessed: Assessment) -> None:
    """Cumulative probabilities per draw: from the last week on, over two years, up to 1 at most."""
    near = by_draw(assessed)[..., -1]
    ends = [7.0 * WEEKS + LATER_D * k for k in range(4)]
    day = int(drawn_of(assessed).state.day)
    weather = [
        make_weather(fleet().climate, list(assessed.shared.season.depots), day + int(d), LATER_D) for d in ends[:-1]
    ]
    far = later_probability(drawn_of(assessed).state, drawn_of(assessed).prognosis, weather, ends, near)
    assert (far[..., 0] >= near).all()
    assert (np.diff(far, axis=-1) >= 0).all()
    assert far.max() <= 1.0
    assert (far[..., -1] > near + 0.1).any()
    last = assessed.outlook[assessed.outlook["week"] == WEEKS - 1].set_index("unit")["probability"]
    first = assessed.beyond[assessed.beyond["week"] == WEEKS + 13].set_index("unit")["probability"]
    assert (first.reindex(last.index) >= last).all()


def test_the_halves_by_coldest_start_average_to_the_whole() -> None:
    """Worked by hand: weights 0.4, 0.2, 0.2 and 0.2 unseen (a repair nobody recorded), which counts as the best."""
    coldest = np.array([[-5.0, -20.0, -12.0]])
    better, worse = halves(coldest, np.array([[0.4, 0.2, 0.2]]))
    np.testing.assert_allclose(worse, [[0.8, 0.0, 0.2]])
    np.testing.assert_allclose(better, [[0.0, 0.4, 0.2]])


def test_the_worse_half_is_worse(assessed: Assessment) -> None:
    """On the whole and in nine of ten rows; within one vehicle a draw that stands better may be one that needs more."""
    for frame in (assessed.outlook, assessed.beyond):
        means = frame[["probability_better", "probability", "probability_worse"]].mean()
        assert means.is_monotonic_increasing
        assert means["probability_worse"] > 1.2 * means["probability_better"]
        assert (frame["probability_worse"] >= frame["probability"] - 0.02).mean() > 0.9
