"""Wear of the seven parts: laws, lives, limits and what repairs undo."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import gamma

from demo_fleet.cranking import ColdLaw, crank
from demo_fleet.faults import (
    CHEAP_ACTIONS,
    GROWTH,
    LAWS,
    MOST_CHANGE,
    PARTS,
    SUDDEN_DAYS,
    Lives,
    apply_wear,
    draw_lives,
    left_after,
    limits,
    wear,
)  # fmt: skip
from demo_fleet.vehicles import CLASSES, build

ONSET, DAYS = 500.0, 300.0
BACKGROUND = 0.0015 * ONSET / 365.25


def one_life(law: str, step_at: float = 0.5) -> Lives:
    values = np.full((1, 1), 1.0)
    return Lives(
        ONSET * values, DAYS * values, np.full((1, 1), LAWS.index(law)), np.zeros((1, 1), np.bool_), step_at * values,
        values,
    )  # fmt: skip


def level(law: str, age: float) -> float:
    return float(wear(np.full((1, 1), age), one_life(law))[0, 0])


@pytest.mark.parametrize("law", ["exponential", "linear", "power", "steps"])
def test_slow_faults_pass_from_nothing_to_level_one_in_their_days(law: str) -> None:
    """Worked by hand: 0 at the onset and 1 at onset plus days, apart from the ordinary wear."""
    assert level(law, ONSET) == pytest.approx(BACKGROUND, abs=1e-12)
    assert level(law, ONSET + DAYS) == pytest.approx(1 + BACKGROUND, abs=1e-12)


def test_laws_have_their_shapes() -> None:
    """Halfway: linear 1/2, power 1/4, exponential (e^1.3 - 1)/(e^2.6 - 1); steps jump by 0.45 (by hand)."""
    half = ONSET + DAYS / 2
    assert level("linear", half) - BACKGROUND == pytest.approx(0.5)
    assert level("power", half) - BACKGROUND == pytest.approx(0.25)
    assert level("exponential", half) - BACKGROUND == pytest.approx((np.exp(1.3) - 1) / (np.exp(2.6) - 1))
    before, after = level("steps", half - 0.5), level("steps", half + 0.5)
    assert after - before == pytest.approx(0.45 + 0.55 / DAYS, abs=1e-9)


def test_a_sudden_fault_gives_little_warning() -> None:
    """Nothing the day before, past level 1 within SUDDEN_DAYS."""
    assert level("sudden", ONSET) < 0.02
    assert level("sudden", ONSET + SUDDEN_DAYS) > 1.0


@pytest.mark.parametrize("law", LAWS)
def test_wear_never_heals_and_stays_bounded(law: str) -> None:
    """Level against age never falls and ends at or below the cap (order property)."""
    levels = [level(law, age) for age in np.linspace(0, 5000, 400)]
    assert np.all(np.diff(levels) >= 0)
    assert max(levels) <= 6.0


def test_lives_have_the_means_they_were_asked_for() -> None:
    """Onset is Weibull with mean scale * Gamma(1 + 1/shape); median days as set (4 standard errors either side)."""
    lives = draw_lives(4000, GROWTH, np.random.default_rng(1))
    for column, part in enumerate(PARTS):
        g, onset = GROWTH[part], lives.onset[:, column] / 365.25
        mean = g.onset_years * gamma(1 + 1 / g.onset_shape)
        assert abs(onset.mean() - mean) < 4 * onset.std() / np.sqrt(onset.size)
        median_error = 4 * 1.2533 * g.days_sd / np.sqrt(onset.size)
        assert np.median(lives.days[:, column]) == pytest.approx(g.days, rel=median_error)
        share = lives.second[:, column].mean()
        assert abs(share - g.second_kind) <= 4 * np.sqrt(0.25 / onset.size)


@pytest.fixture(scope="module")
def fleet() -> tuple:
    names = sorted(CLASSES) * 3
    hardware = build(names, np.random.default_rng(3))
    soc = np.full(len(names), 0.94)
    cold = np.full(len(names), -8.0)
    return hardware, soc, cold, limits(hardware, ColdLaw(), typical_cold_c=cold, soc=soc)


@pytest.mark.parametrize("part", PARTS)
@pytest.mark.parametrize("kind", [0, 1])
def test_level_one_is_the_edge_of_starting_on_a_typical_cold_morning(fleet: tuple, part: str, kind: int) -> None:
    """A part alone at level 1 leaves no margin; at 0.95 the vehicle starts, at 1.05 it does not."""
    hardware, soc, cold, limit = fleet
    column = PARTS.index(part)
    assert np.all(limit[:, column, kind] < 0.999 * MOST_CHANGE[column])
    for share, sign in ((0.95, 1), (1.05, -1)):
        change = np.zeros((len(soc), len(PARTS)))
        change[:, column] = share * limit[:, column, kind]
        state = apply_wear(change, np.full(change.shape, bool(kind)), soc)
        margin = crank(hardware, state, ColdLaw(), cold).margin_v
        assert np.all(sign * margin > 0)


def signature(part: str, kind: int, name: str) -> float:
    """Relative change of one ideal reading of a light van at 10 °C when a part goes from new to level 0.7."""
    hardware = build(["light_van"], np.random.default_rng(0))
    soc, cold, at = np.full(1, 0.94), np.full(1, -8.0), np.full(1, 10.0)
    limit = limits(hardware, ColdLaw(), typical_cold_c=cold, soc=soc)
    change, second = np.zeros((1, len(PARTS))), np.full((1, len(PARTS)), bool(kind))
    new = crank(hardware, apply_wear(change, second, soc), ColdLaw(), at)
    change[0, PARTS.index(part)] = 0.7 * limit[0, PARTS.index(part), kind]
    worn = crank(hardware, apply_wear(change, second, soc), ColdLaw(), at)
    return float(getattr(worn, name)[0] / getattr(new, name)[0] - 1)


@pytest.mark.parametrize(
    ("part", "kind", "name", "sign"),
    [
        ("battery", 0, "crank_min_v", -1), ("battery", 0, "peak_a", -1), ("battery", 1, "rest_v", -1),
        ("positive_cable", 0, "drop_positive_v", 1), ("ground_path", 0, "drop_ground_v", 1),
        ("solenoid_contacts", 0, "drop_contacts_v", 1), ("starter_motor", 0, "peak_a", -1),
        ("starter_motor", 0, "crank_rpm", -1), ("starter_motor", 1, "crank_a", 1),
        ("control_circuit", 0, "drop_control_v", 1), ("control_circuit", 0, "coil_a", -1),
        ("engine_drag", 0, "crank_a", 1), ("engine_drag", 0, "crank_rpm", -1),
    ],
)  # fmt: skip
def test_faults_show_where_the_trade_looks_for_them(part: str, kind: int, name: str, sign: int) -> None:
    """Common practice: low amps from resistance or worn brushes, high amps from shorted windings or drag."""
    assert sign * signature(part, kind, name) > 0.015


@pytest.mark.parametrize("part", PARTS)
def test_repairs_undo_what_they_can(part: str) -> None:
    """Replacing leaves nothing; the fitting cheap act cures a curable fault; anything else changes nothing."""
    assert left_after(part, "replaced", curable=False) == 0.0
    for action in ("cleaned", "tightened", "charged"):
        left = left_after(part, action, curable=True)
        assert left == 1.0 if action not in CHEAP_ACTIONS[part] else left < 1.0
        assert left_after(part, action, curable=False) >= left


def test_unknown_words_are_refused_by_name() -> None:
    """A bad call names the argument, the value and what is allowed."""
    with pytest.raises(ValueError, match="part is 'flux_capacitor'; allowed: battery"):
        left_after("flux_capacitor", "replaced", curable=False)
    with pytest.raises(ValueError, match="action is 'kicked'; allowed: replaced, cleaned, tightened, charged"):
        left_after("battery", "kicked", curable=False)
