"""Draws belong to the vehicle: spread, independence, and that nothing else in the fleet makes a difference.

Truth: laws of probability, and a simulated fleet to which vehicles that were never read are added.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import samples_kept
from print_choices import NUMBERS
from samples_fleet import drawn_of, few, fleet, quick, tables_of
from scipy.stats import kstest, qmc

from analysis.forecast import learning
from analysis.forecast.learning import look_back
from analysis.forecast.outlook import chosen
from analysis.forecast.season import LATER_WINDOWS, WEEKS
from analysis.readings.draws import QUANTITIES, Draws, keys_of
from analysis.readings.panel import FleetTables
from analysis.readings.sobol import DIRECTIONS, scrambled_points
from analysis.wear.state import draw_state
from analysis.worklist import judge as judge_module
from analysis.worklist.assess import Assessment, assess
from analysis.worklist.judge import drawn_as_judged, judge_all, left_open, soon_bounds, with_more
from demo_fleet.simulate import simulate_fleet
from demo_fleet.specs import evaluation_specs

DAY = pd.Timestamp("2022-12-12")
FIGURES = (
    "no_start_probability", "probability_low", "probability_high", "flag_probability", "progress", "coldest_start_c",
    "coldest_start_low_c", "coldest_start_high_c", "part_probability", "repaired_probability",
)  # fmt: skip


def names(count: int) -> list[str]:
    return [f"K-{i:05d}" for i in range(count)]


# --- one vehicle's draws ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [16, 40, 128])
def test_draws_of_a_quantity_are_spread_over_all_of_its_range(count: int) -> None:
    """Property: of K draws every eighth of the range holds about an eighth, for every vehicle and quantity."""
    draws = Draws(keys_of(names(50)), count)
    for quantity in QUANTITIES:
        share = np.stack([np.histogram(row, bins=8, range=(0, 1))[0] / count for row in draws.even(quantity)])
        assert np.abs(share - 0.125).max() <= 0.125 * (1.0 if count < 100 else 0.3)


@pytest.mark.parametrize("seed", [0, 7])
@pytest.mark.parametrize("power", [0, 1, 4, 9])
def test_points_are_those_of_the_library(power: int, seed: int) -> None:
    """Reference library: scipy.stats.qmc, to the last bit, for every axis; fewer are the first of more."""
    library = qmc.Sobol(len(DIRECTIONS), scramble=True, rng=np.random.default_rng(seed))
    found = scrambled_points(len(DIRECTIONS), power, seed)
    np.testing.assert_array_equal(found, library.random_base2(power).T)
    np.testing.assert_array_equal(found, scrambled_points(len(DIRECTIONS), power + 1, seed)[:, : 2**power])
    with pytest.raises(ValueError, match=f"axes is {len(DIRECTIONS) + 1}; allowed"):
        scrambled_points(len(DIRECTIONS) + 1, power, seed)


def test_draws_of_many_vehicles_are_even_and_normal() -> None:
    """Law: Kolmogorov and Smirnov against the stated distributions; means and quantiles of one vehicle are near them."""
    draws = Draws(keys_of(names(400)), 128)
    assert kstest(draws.even("field")[:, 7], "uniform").pvalue > 0.01
    assert kstest(draws.normal("speed")[:, 3], "norm").pvalue > 0.01
    assert np.abs(draws.normal("speed").mean(axis=1)).max() < 0.06, "plain chance would have 0.25"


def test_quantities_and_vehicles_do_not_follow_each_other() -> None:
    """Law: correlations between quantities of a vehicle and between vehicles of a quantity are about nil."""
    draws = Draws(keys_of(names(60)), 128)
    every = np.stack([draws.even(q) for q in QUANTITIES])
    between = np.corrcoef(every[:, 0])
    assert np.abs(between[np.triu_indices(len(QUANTITIES), 1)]).max() < 0.5
    assert np.abs(between[np.triu_indices(len(QUANTITIES), 1)]).mean() < 0.1
    shifts = (every[:, :, 0] - every[:1, :, 0]) % 1.0
    assert np.abs(np.corrcoef(every[:, :, 0].T)[np.triu_indices(60, 1)]).mean() < 0.2
    assert len(np.unique(np.round(shifts, 9))) > 1


def test_a_vehicle_has_the_same_draws_in_every_fleet_and_another_seed_has_others() -> None:
    """Definition, and a value worked out once that must not change from release to release."""
    whole, alone = Draws(keys_of(names(9)), 16), Draws(keys_of(["K-00004"]), 16)
    for quantity in QUANTITIES:
        assert (whole.even(quantity)[4] == alone.even(quantity)[0]).all()
        assert (replace(alone, seed=3).even(quantity) != alone.even(quantity)).all()
    assert keys_of(["K-00004"])[0] == keys_of(pd.Series(["K-00004"]))[0]
    with pytest.raises(ValueError, match="quantity is 'mass'; allowed are"):
        alone.even("mass")


def test_as_many_draws_are_made_as_is_said() -> None:
    """NUMBERS.md; the fewest that leave less than a quarter of a stated range open."""
    said = f"has {judge_module.DRAWS} draws of its own in a list and {learning.DRAWS} in a look"
    assert said in " ".join(NUMBERS.read_text(encoding="utf-8").split())
    assert (judge_module.DRAWS, learning.DRAWS) >= (128, 40)
    assert [learning.draws_of(n) for n in (0, 24, 144, 400, 900)] == [128, 128, 111, 40, 40]


# --- the list --------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def usual() -> Assessment:
    """The small fleet."""
    with pytest.MonkeyPatch.context() as patch:
        quick(patch, looks=2)
        return samples_kept.assess(tables_of(fleet()), as_of=DAY)


def same(one: Assessment, other: Assessment) -> None:
    """The figures of the vehicles of `one` in both."""
    a, b = (x.units.set_index("unit") for x in (one, other))
    b = b.loc[a.index]
    assert (a["flagged"] == b["flagged"]).all()
    assert (a["part"] == b["part"]).all()
    for name in FIGURES:
        np.testing.assert_allclose(a[name].to_numpy(float), b[name].to_numpy(float), rtol=0, atol=1e-9, err_msg=name)


@pytest.mark.parametrize(
    "names", [("AAA", "U00009x", "ZZZ"), *(pytest.param((n,), marks=pytest.mark.nightly) for n in ("AAA", "ZZZ"))]
)
def test_vehicles_never_read_change_nothing_for_the_others(
    names: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """More vehicles, first, in the middle and last by name, of a known and a new class: all others to 1e-9, so that removing or renaming
    them changes nothing either; by night one alone."""
    quick(monkeypatch)
    made = tables_of(few())
    more = pd.concat([made.units.iloc[:1].assign(unit=name) for name in names])
    more.loc[more["unit"] == "ZZZ", "vehicle_class"] = "a class of its own"
    units = pd.concat([more, made.units], ignore_index=True)
    same(samples_kept.assess(made, as_of=DAY), assess(replace(made, units=units), as_of=DAY))


@pytest.mark.nightly
def test_the_order_of_files_changes_nothing(usual: Assessment, monkeypatch: pytest.MonkeyPatch) -> None:
    """Rows of every table shuffled: all figures to 1e-9."""
    quick(monkeypatch, looks=2)
    made = tables_of(fleet())
    shuffled = FleetTables(
        made.units.sample(frac=1.0, random_state=1).reset_index(drop=True),
        made.readings.sample(frac=1.0, random_state=2).reset_index(drop=True),
        made.repairs.sample(frac=1.0, random_state=3).reset_index(drop=True),
        made.climate.sample(frac=1.0, random_state=4).reset_index(drop=True),
        made.forecast,
    )
    same(usual, assess(shuffled, as_of=DAY))


def reseed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Another seed in everything that is drawn from here on, looks at the past too."""
    monkeypatch.setattr(Draws.__init__, "__defaults__", (1,))
    monkeypatch.setattr(draw_state, "__kwdefaults__", {**draw_state.__kwdefaults__, "seed": 1})
    monkeypatch.setattr(look_back, "__kwdefaults__", {"seed": 100_001})


def shares_moved(one: pd.DataFrame, two: pd.DataFrame) -> tuple[pd.Series[float], pd.Series[float]]:
    """By what share of half its stated range each vehicle's coldest start and its probability differ, the latter of two in a hundred at
    the least; by unit."""
    found: list[pd.Series[float]] = []
    for figure, of, unit, least in (
        ("coldest_start_c", "coldest_start", "_c", 0.0),
        ("no_start_probability", "probability", "", 0.02),
    ):
        half = 0.5 * (one[f"{of}_high{unit}"] - one[f"{of}_low{unit}"])
        found.append((one[figure] - two[figure]).abs() / np.maximum(half, least))
    return found[0], found[1]


@pytest.mark.nightly
@pytest.mark.parametrize("k", [1, 2, 7])
def test_two_seeds_agree_within_half_the_stated_error_on_evaluation_fleets(
    k: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In January, every look at the past: all coldest starts and all probabilities (four seeds, every pair: .23 to .41 at most)."""
    made = tables_of(simulate_fleet(replace(evaluation_specs()[k], units=120)))
    last = made.readings["taken_at"].max()
    day = min(pd.Timestamp(last.year, 1, 8), last.normalize())
    one = assess(made, as_of=day, with_classes=False).units.set_index("unit")
    reseed(monkeypatch)
    two = assess(made, as_of=day, with_classes=False).units.set_index("unit").loc[one.index]
    moved_c, moved_p = shares_moved(one, two)
    assert (moved_c > 0.0).all(), "other draws"
    assert (moved_c <= 0.5).all()
    assert (moved_p <= 0.5).all()
    assert np.sqrt((moved_p**2).mean()) <= 0.1


def test_a_vehicle_whose_chance_is_left_open_is_judged_by_more_draws(usual: Assessment) -> None:
    """By hand: of 128 draws 6 that fail for certain leave about a twentieth open, with a standard error of sqrt(.047 (1 - .047) / 128)
    = .019; one in two does not, nor do draws that all say the same, nor what a repair has ended."""
    outlook = chosen(drawn_of(usual).prognosis, np.zeros(4, dtype=np.int64))
    outlook = replace(outlook, alive=np.ones((4, 128)), renewed=np.array([0.0, 0.0, 0.0, 0.9]))
    by_draw = np.zeros((4, 128))
    by_draw[0, :6] = by_draw[1, ::2] = by_draw[3, :6] = 1.0
    by_draw[2] = 0.05
    assert left_open(by_draw, outlook, soon_bounds(by_draw, outlook)[1]).tolist() == [True, False, False, False]


def test_more_draws_change_the_vehicles_that_they_are_for_and_no_other(
    usual: Assessment, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Contract: rows in their places; those of the vehicle as if all had so many draws, its page by as many; all others as before."""
    first = int(np.flatnonzero(usual.state.names == usual.outlook["unit"].iloc[0])[0])
    read, some = usual.state.of(np.array([(first + k) % len(usual.state.names) for k in (23, 0, 1, 2)])), 1
    names = read.names
    monkeypatch.setattr(judge_module, "left_open", lambda by_draw, *_: np.zeros(len(by_draw), dtype=bool))
    season = replace(usual.shared.season, weeks=usual.shared.season.weeks or (usual.shared.season.soon,) * WEEKS)
    season = replace(season, quarters=season.quarters or (season.soon,) * LATER_WINDOWS)
    shared = replace(usual.shared, season=season)
    few, many = judge_all(read, shared), judge_all(read, with_more(shared))
    monkeypatch.setattr(judge_module, "left_open", lambda by_draw, *_: np.arange(len(by_draw)) == some % len(by_draw))
    found = judge_all(read, shared)
    for table in ("units", "parts", "weeks", "beyond"):
        now, before, all_more = (getattr(one, table) for one in (found, few, many))
        own = now["unit"] == names[some]
        assert own.any()
        pd.testing.assert_frame_equal(now[~own], before[before["unit"] != names[some]], check_index_type=False)
        like = all_more[all_more["unit"] == names[some]]
        pd.testing.assert_frame_equal(now[own].reset_index(drop=True), like.reset_index(drop=True), rtol=0.0, atol=1e-9)
    assert drawn_as_judged(read.of(np.array([some])), shared)[1].alive.shape == (1, 4 * shared.draws)


def test_two_seeds_say_the_same_within_half_of_what_the_list_states(
    usual: Assessment, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another seed in everything that is drawn, looks at the past too: every coldest start moves by at most half of half its stated
    range; so does every probability of a no-start, where that is more than a hundredth, and by a fifth of it in the root mean square
    (seven seeds, every pair: .06 to .17, and one of 42 pairs has a vehicle that moves by more than half); the probability that flags,
    which has no range, by a standard error of as many independent draws (binomial law) in the root mean square, and by less than four
    of them."""
    quick(monkeypatch, looks=2)
    reseed(monkeypatch)
    other = assess(tables_of(fleet()), as_of=DAY, with_classes=False)
    one, two = (x.units.set_index("unit").sort_index() for x in (usual, other))
    moved_c, moved_p = shares_moved(one, two)
    assert (moved_c > 0.0).all(), "other draws"
    assert (moved_c <= 0.5).all()
    assert (moved_p <= 0.5).all()
    assert np.sqrt((moved_p**2).mean()) <= 0.2
    moved = (one[list(FIGURES)] - two[list(FIGURES)]).abs()
    p = 0.5 * (one["flag_probability"] + two["flag_probability"])
    errors = moved["flag_probability"] / np.sqrt(p * (1.0 - p) / usual.shared.draws)
    assert np.sqrt((errors**2).mean()) < 1.0
    assert errors.max() < 4.0
