"""Compiled loops beside whole arrays: the same figures, and never a reason to fail.

Truth: the arrays of the callers, which a root finder and work by hand hold in tests of their own. Both ways use 32-bit floats,
which round volts to some 1e-6 of them: a coldest start is known to 1e-4 K by them, and to 1e-3 K where a start gains hardly
anything with a kelvin, as one in a thousand of these does.
"""

from __future__ import annotations

import importlib
import sys
from collections.abc import Iterator
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pytest
from samples_fleet import chance_of
from test_start import LAWS, NEEDS, VOLTS

from analysis.forecast.learning import of_all_needs
from analysis.forecast.lows import LOWS_C, RISES_K, Bounds, Weather, failed_by
from analysis.forecast.outlook import weighted_quantile, window_bounds, with_renewed
from analysis.kernel import loops, ready
from analysis.readings.aid import Aid
from analysis.readings.observe import BATTERY, CHANNELS, ClassLaws, LawDoubt
from analysis.readings.panel import Floats, Ints
from analysis.readings.renewals import PARTS
from analysis.starting.coldest_start import (
    Limits,
    Needs,
    Vehicles,
    as_fitted,
    drawn_coldest_starts,
    drawn_laws,
    starts_on_levels,
    starts_with_renewed,
)
from analysis.starting.floors import Floors
from analysis.wear.paths import (
    DrawNoise,
    Growth,
    PathGrid,
    Rare,
    default_prior,
    draw_values,
    growth_posterior,
    levels_of,
    make_grid,
)
from dashboard.desk import quick

KELVIN, FLAT_KELVIN, FLAT = 1e-4, 1e-3, 1e-3


pytestmark = pytest.mark.usefixtures("compiled")


def both(of: object, monkeypatch: pytest.MonkeyPatch) -> tuple[object, object]:
    """What `of` finds with compiled loops, and with whole arrays."""
    assert callable(of)
    assert ready.compiled(loops.coldest_on_levels) is not None
    fast = of()
    with monkeypatch.context() as plain:
        plain.setattr(ready, "_made", {})
        return fast, of()


def assert_same_starts(fast: Floats, plain: Floats) -> None:
    """Within what 32-bit floats know."""
    np.testing.assert_allclose(fast, plain, rtol=0.0, atol=FLAT_KELVIN)
    assert (np.abs(fast - plain) > KELVIN).mean() < FLAT


def drawn(units: int, draws: int) -> tuple[Floats, Floats, Floats]:
    """Drawn states of every kind: sound, worn out, dead batteries, not a number; motor field and class."""
    rng = np.random.default_rng(9)
    state = np.exp(rng.normal(0.1, 0.5, (7, units, draws)))
    state[BATTERY, ::5] *= 8.0
    state[BATTERY, 3, 1], state[6, 4, 2], state[:, 7, 0] = np.nan, np.nan, 0.0
    state[5, 8] = 4.0
    field = rng.uniform(0.7, 1.3, (units, draws))
    return state, field, rng.integers(0, 2, units)


def aids(units: int) -> Aid:
    """Loads of every size, from every temperature down, and engines that heaters warm by nothing, little and much."""
    return Aid(np.linspace(0.0, 150.0, units), np.linspace(-30.0, 10.0, units), 15.0 * (np.arange(units) % 3))


@pytest.mark.parametrize("curve", [-2e-4, 0.0, 2e-4], ids=["flattens", "straight", "bent"])
@pytest.mark.parametrize("doubt", [0.0, 0.004])
@pytest.mark.parametrize("aided", [False, True])
def test_coldest_starts_are_those_of_whole_arrays(
    curve: float, doubt: float, aided: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """12 and 24 V, laws of every bend, as fitted and drawn, with and without aids, at needs that some never meet."""
    units, draws = 450, 7
    state, field, group = drawn(units, draws)
    laws: ClassLaws = replace(LAWS, battery_curve=np.full(2, curve), load_curve=np.full(2, curve))
    if doubt:
        unsure = LawDoubt(np.tile(np.diag([doubt**2, (doubt / 100.0) ** 2]), (2, 1, 1)), np.full((2, 2), 8.0))
        laws = replace(laws, battery_doubt=unsure, load_doubt=unsure)
    away = drawn_laws(laws, chance_of(2, draws)) if doubt else None
    needs = Needs(*(n * np.random.default_rng(k).uniform(0.3, 1.4, (units, draws)) for k, n in enumerate(NEEDS)))
    aid = aids(units) if aided else None
    own = Vehicles(LAWS.rest_v[group], group, VOLTS[group], laws, aid)
    fast, plain = both(lambda: drawn_coldest_starts(state, field, own, needs, away), monkeypatch)
    assert isinstance(plain, np.ndarray)
    assert len(np.unique(plain)) > units  # not all of them beyond the grid
    assert isinstance(fast, np.ndarray)
    assert_same_starts(fast, plain)


@pytest.mark.parametrize("aided", [False, True])
@pytest.mark.parametrize("unrenewed", [False, True])
def test_coldest_starts_with_parts_renewed_are_those_of_whole_arrays(unrenewed: bool, aided: bool) -> None:
    """Every set of parts and new batteries, weak fields and strong ones, floors that bind and that do not, searches that begin
    anywhere, or at the start with nothing renewed."""
    units, draws, rng = 512, 7, np.random.default_rng(12)
    state, field, group = drawn(units, draws)
    weak, bits = rng.random((units, draws)) < 0.5, np.arange(units) % 256
    built = rng.uniform(0.8, 1.2, (units, draws)).astype(np.float32)
    needs = Needs(*(n * rng.uniform(0.3, 1.2, (units, draws)) for n in NEEDS))
    as_charged = rng.choice([-273.15, -40.0, -15.0], (units, draws))
    limits = Limits(needs, Floors(as_charged.min(axis=1), as_charged, group))
    own = Vehicles(LAWS.rest_v[group], group, VOLTS[group], LAWS, aids(units) if aided else None)

    def whole(renewed: Ints) -> Floats:
        new, turns = state, field
        for k, part in enumerate(PARTS):
            mine = (renewed >> k & 1 == 1)[:, None]
            better, stronger = with_renewed(new, turns, weak, built, part)
            new, turns = np.where(mine, better, new), np.where(mine, stronger, turns)
        by_need = drawn_coldest_starts(new, turns, own, needs, as_fitted(LAWS)).max(axis=0)
        charged = (renewed >> loops.CHARGED & 1 == 1)[:, None]
        return np.where(charged, limits.ends(by_need, charged=True), limits.ends(by_need, charged=False))

    near = whole(np.zeros_like(bits)) if unrenewed else rng.uniform(-90.0, 60.0, (units, draws))
    rows = rng.permutation(units)
    motors = field, weak, built
    fast = starts_with_renewed(state, near, rows, bits[rows], motors, own, limits, as_fitted(LAWS), unrenewed=unrenewed)
    assert fast is not None
    found = whole(bits)[rows]
    assert (found > near[rows]).any() or not unrenewed, "a stronger field turns slower somewhere"
    assert_same_starts(fast, found)


def test_several_levels_of_a_need_are_read_off_one_start(monkeypatch: pytest.MonkeyPatch) -> None:
    """Grids of needs, another number of levels of each."""
    state, field, group = drawn(30, 5)
    levels = tuple(
        n * np.linspace(0.6, 1.2, k)[:, None, None] * np.ones((k, 30, 5)) for n, k in zip(NEEDS, (7, 3, 5), strict=True)
    )
    speed, supply, coil = levels

    def found() -> list[Floats]:
        own = Vehicles(LAWS.rest_v[group], group, VOLTS[group], LAWS)
        return list(starts_on_levels(state, field, own, (speed, supply, coil)))

    fast, plain = both(found, monkeypatch)
    assert isinstance(fast, list)
    assert isinstance(plain, list)
    assert [len(q) for q in fast] == [7, 3, 5]
    for q, p in zip(fast, plain, strict=True):
        assert_same_starts(q, p)


def test_probabilities_are_those_of_whole_arrays(monkeypatch: pytest.MonkeyPatch) -> None:
    """Weeks of three depots, coldest starts on the tables and beyond them on all sides, rising and falling."""
    rng = np.random.default_rng(4)
    tables = [np.sort(rng.random((3, len(RISES_K), len(LOWS_C)))) for _ in range(4)]
    windows = [
        Weather(np.maximum(t - never, 0.0), np.zeros(3)) for t, never in zip(tables, (0.0, 0.3, 0.0, 1.0), strict=True)
    ]
    depot, coldest = rng.integers(0, 3, 500), rng.uniform(-75.0, 50.0, (3, 500, 6)).astype(np.float32)
    bounds = Bounds.between(np.array([-60.0, 0.0, 30.0]), np.array([0.0, 7.0, 14.0, 30.0, 45.0]))
    fast, plain = both(lambda: failed_by(windows, depot, coldest, bounds, np.full((500, 6), 0.1)), monkeypatch)
    assert isinstance(fast, np.ndarray)
    assert isinstance(plain, np.ndarray)
    assert plain.min() > 0.1
    np.testing.assert_allclose(fast, plain, rtol=1e-6)
    one, other = both(lambda: windows[0].probability(depot, coldest[0], coldest[1]), monkeypatch)
    assert isinstance(one, np.ndarray)
    np.testing.assert_allclose(one, other, rtol=1e-6)
    np.testing.assert_allclose(one, windows[0].of_arrays(depot, coldest[0], coldest[1]), rtol=1e-6)


def test_probabilities_of_every_need_are_those_of_whole_arrays(monkeypatch: pytest.MonkeyPatch) -> None:
    """Seven speeds, three supplies and five coils in four winters: draws that surely fail, surely start, and between; vehicles read
    today, long ago and never."""
    rng = np.random.default_rng(5)

    def by_need() -> list[Floats]:
        return [np.clip(rng.normal(0.3, 0.6, (levels, 90, 40)), 0.0, 1.0) for levels in (7, 3, 5)]

    failed, fails, since = by_need(), [by_need() for _ in range(4)], rng.choice([0.0, 20.0, 300.0, np.nan], 90)
    fast, plain = both(lambda: of_all_needs(failed, fails, since, 0.7), monkeypatch)
    assert isinstance(plain, np.ndarray)
    assert plain.shape == (4, 7, 3, 5, 90)
    assert plain.max() > 2.0 * plain.min() > 0.0
    np.testing.assert_allclose(fast, plain, rtol=1e-6)


def test_quantiles_are_those_of_sorted_draws(monkeypatch: pytest.MonkeyPatch) -> None:
    """Values that many draws share, draws without weight, one draw alone, and shares at both ends."""
    rng = np.random.default_rng(6)
    for size, different in ((1, 1), (2, 3), (9, 3), (129, 1000), (128, 5)):
        values = rng.integers(0, different, (450, size)).astype(np.float32)
        weight = np.where(rng.random((450, size)) < 0.2, 0.0, rng.integers(1, 9, (450, size)) / 8.0)  # sums are exact
        weight[:, 0] += 0.125
        for q in (0.0, 0.125, 0.5, 1.0):
            fast, plain = both(lambda: weighted_quantile(values, weight, q), monkeypatch)  # noqa: B023
            np.testing.assert_array_equal(fast, plain)


def test_bounds_of_many_windows_are_those_of_sorted_draws(monkeypatch: pytest.MonkeyPatch) -> None:
    """Probabilities that rise from window to window, many of them nil or one, and a repair that may have been."""
    rng = np.random.default_rng(3)
    for draws, windows in ((1, 1), (7, 26), (128, 26)):
        rises = np.where(rng.random((450, draws, windows)) < 0.7, 0.0, rng.integers(0, 5, (450, draws, windows)))
        by_draw = np.minimum(np.cumsum(rises, axis=2) / 16.0, 1.0)
        weight, gone = rng.integers(1, 9, (450, draws)) / 8.0, rng.integers(0, 40, 450) / 8.0  # sums are exact
        fast, plain = both(lambda: window_bounds(by_draw, weight, gone, (0.125, 0.5, 0.875)), monkeypatch)  # noqa: B023
        np.testing.assert_array_equal(fast, plain)


def posterior(units: int, readings: int) -> tuple[Growth, PathGrid]:
    """Posteriors of parts sound and worn, of few and many readings, none, ones that are not numbers, and slips at the end."""
    rng = np.random.default_rng(8)
    days = np.sort(rng.uniform(0.0, 1500.0, (units, readings)))[:, ::-1]
    grown = 1.0 + rng.choice([0.0, 3.0], units)[:, None] * np.maximum(1.0 - days / 600.0, 0.0) ** 1.7
    usable, grid = rng.random((units, readings)) < rng.uniform(0.1, 1.0, units)[:, None], make_grid()
    value, spread, excess = grown + rng.normal(0.0, 0.05, days.shape), np.full(units, 0.1), np.full(units, 3.0)
    usable[::10], usable[::7, -1] = False, True
    value[::7, -1] += np.linspace(0.2, 4.0, len(value[::7]))
    value[4::9, 0] = np.nan
    log_prior = default_prior().log_weights(grid, BATTERY) - rng.uniform(0.0, 3.0, (units, grid.size))
    ageing = rng.uniform(0.0, 0.02, units)
    se = np.full(days.shape, 0.05)
    twice = rng.random(days.shape) < 0.2
    return growth_posterior(
        days, value, se, usable, spread, excess, grid, log_prior, ageing, np.full(units, 90.0), twice
    ), grid


@pytest.mark.parametrize("readings", [1, 2, 3, 12])
def test_posteriors_of_growth_are_those_of_whole_arrays(readings: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Weights and moments of every path, and how probable a slip is."""
    fast, plain = both(lambda: posterior(120, readings)[0], monkeypatch)
    assert isinstance(fast, Growth)
    assert isinstance(plain, Growth)
    assert readings < 3 or all(((low < plain.last_slip) & (plain.last_slip < low + 0.5)).any() for low in (0.0, 0.5))
    for one in fields(Growth):
        np.testing.assert_allclose(getattr(fast, one.name), getattr(plain, one.name), rtol=1e-6, atol=1e-9)


def test_drawn_values_are_those_of_whole_arrays(monkeypatch: pytest.MonkeyPatch) -> None:
    """Before, today and ahead."""
    growth, grid = posterior(60, 12)
    noise, ahead = DrawNoise(chance_of(60, 16), CHANNELS[BATTERY]), np.array([-60.0, 0.0, 30.0, 182.0])
    fast, plain = both(lambda: draw_values(growth, grid, ahead, noise), monkeypatch)
    assert isinstance(plain, np.ndarray)
    assert plain.max() > 2.0 * plain.min()
    np.testing.assert_allclose(fast, plain, rtol=1e-6)


def test_rare_paths_are_drawn_and_weighed_as_with_whole_arrays(monkeypatch: pytest.MonkeyPatch) -> None:
    """Values, and what each draw counts."""
    growth, grid = posterior(60, 12)
    noise, ahead = DrawNoise(chance_of(60, 16), CHANNELS[BATTERY]), np.array([0.0, 30.0])

    def drawn() -> tuple[np.ndarray, np.ndarray]:
        rare = Rare(np.full(60, 3.0), np.full((60, 16), 2.0))
        return draw_values(growth, grid, ahead, noise, rare), rare.weight

    fast, plain = both(drawn, monkeypatch)
    assert isinstance(fast, tuple)
    assert isinstance(plain, tuple)
    assert plain[1].min() < 1.0 < plain[1].max()
    for one, whole in zip(fast, plain, strict=True):
        np.testing.assert_allclose(one, whole, rtol=1e-6)


def test_levels_are_those_of_whole_arrays(monkeypatch: pytest.MonkeyPatch) -> None:
    """Means today, ahead and before, and how sure they are, of amounts that may be below nil."""
    growth, grid = posterior(60, 12)
    fast, plain = both(lambda: levels_of(growth, grid, 30.0, np.linspace(0.0, 300.0, 60)), monkeypatch)
    assert isinstance(fast, tuple)
    assert isinstance(plain, tuple)
    assert (growth.amount < 0.0).any()
    for one, whole in zip(fast, plain, strict=True):
        np.testing.assert_allclose(one, whole, rtol=1e-6)


TINY = """
def tiny(first, stop, values):
    for u in range(first, stop):
        values[u] += 1.0
"""


@pytest.fixture
def tiny(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[ready.Loop]:
    """A loop of a folder of its own, the only one there is to be compiled."""
    (tmp_path / "tiny_loop.py").write_text(TINY, encoding="utf-8")
    monkeypatch.syspath_prepend(tmp_path)
    loop: ready.Loop = importlib.import_module("tiny_loop").tiny
    monkeypatch.setattr(ready, "SIGNATURES", {loop: ("float64[::1]",)})
    monkeypatch.setattr(ready, "_made", {})
    yield loop
    del sys.modules["tiny_loop"]


def made_ready() -> tuple[bool, int]:
    """Whether the loops are ready, and how often a wait was told."""
    said: list[int] = []
    ready.leave()
    return ready.make_ready(lambda: said.append(1)), len(said)


def test_loops_are_made_once_and_kept_and_made_anew_where_that_is_damaged(tiny: ready.Loop, tmp_path: Path) -> None:
    """A wait is told where there is one; files cut off, and text that is none."""
    assert made_ready() == (True, 1)
    assert made_ready() == (True, 0)
    values, loop = np.zeros(3), ready.compiled(tiny)
    assert loop is not None
    loop(1, 3, values)
    assert values.tolist() == [0.0, 1.0, 1.0]
    kept = [*tmp_path.rglob("*.nbi"), *tmp_path.rglob("*.nbc")]
    assert len(kept) == 2
    no_text = b"\x80\x04\x8c\x02\xff\xff."
    for file, left in ((kept[0], no_text), *((one, one.read_bytes()[:400]) for one in kept)):
        file.write_bytes(left)
        assert made_ready() == (True, 1)
        assert made_ready() == (True, 0)


def test_where_nothing_can_be_compiled_whole_arrays_go_on(tiny: ready.Loop, monkeypatch: pytest.MonkeyPatch) -> None:
    """A computer without numba, and one where it finds no folder to keep anything in: no crash, and nothing said."""
    with monkeypatch.context() as without:
        without.setitem(sys.modules, "numba", None)
        assert made_ready() == (False, 0)
    from numba.core import caching  # here, so that only the worker that compiles loads it

    monkeypatch.setattr(caching.CompileResultCacheImpl, "_locator_classes", [])
    assert made_ready() == (False, 0)
    assert ready.compiled(tiny) is None


def test_a_small_fleet_and_who_says_plain_wait_for_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[object] = []
    monkeypatch.setattr(quick, "make_ready", asked.append)
    monkeypatch.delenv(quick.ARITHMETIC_VARIABLE, raising=False)
    quick.quick_for(quick.FROM_VEHICLES - 1)
    assert not asked
    quick.quick_for(quick.FROM_VEHICLES)
    assert len(asked) == 1
    monkeypatch.setenv(quick.ARITHMETIC_VARIABLE, quick.PLAIN)
    quick.quick_for(quick.FROM_VEHICLES)
    assert len(asked) == 1
