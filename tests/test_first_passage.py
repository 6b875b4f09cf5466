"""First passage of a limit against the inverse Gaussian, simulation, and properties."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.stats import invgauss

from analysis.wear.first_passage import first_passage_probability


def test_the_inverse_gaussian_example() -> None:
    """Inverse Gaussian first passage, F(10) = 0.6161631 (scipy.stats.invgauss, computed)."""
    path = Path(__file__).parent / "published" / "first_passage.json"
    t: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    found = first_passage_probability(t["time"], t["distance"], drift=t["drift"], diffusion=t["diffusion"])
    assert float(found) == pytest.approx(t["probability"], abs=5e-8)
    times = np.linspace(0.0, 2000.0, 400_001)
    reached = first_passage_probability(times, t["distance"], drift=t["drift"], diffusion=t["diffusion"])
    step, middle = np.diff(reached), 0.5 * (times[1:] + times[:-1])
    mean = float((step * middle).sum())
    assert mean == pytest.approx(t["mean"], rel=1e-4)
    assert float((step * (middle - mean) ** 2).sum()) == pytest.approx(t["variance"], rel=1e-3)


def test_a_known_drift_is_scipys_inverse_gaussian() -> None:
    rng = np.random.default_rng(1)
    a, v, s, t = (rng.uniform(low, high, 200) for low, high in ((0.1, 3), (0.02, 0.5), (0.1, 0.6), (0.5, 40)))
    expected = invgauss.cdf(t, (a / v) / (a**2 / s**2), scale=a**2 / s**2)
    assert first_passage_probability(t, a, drift=v, diffusion=s) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("mean", "spread", "diffusion", "time"), [(0.1, 0.08, 0.2, 8.0), (0.02, 0.1, 0.15, 12.0), (-0.05, 0.1, 0.3, 5.0)]
)
def test_a_drift_that_differs_between_parts_by_simulation(
    mean: float, spread: float, diffusion: float, time: float
) -> None:
    """Paths with the crossing between steps taken into account exactly (Brownian bridge), so 8 steps are enough."""
    rng = np.random.default_rng(2)
    n, steps = 200_000, 8
    dt = time / steps
    drift = rng.normal(mean, spread, (n, 1))
    moves = drift * dt + diffusion * np.sqrt(dt) * rng.standard_normal((n, steps))
    path = np.concatenate([np.zeros((n, 1)), np.cumsum(moves, axis=1)], axis=1)
    room = np.maximum(1.0 - path, 0.0)
    missed = np.prod(1.0 - np.exp(-2.0 * room[:, 1:] * room[:, :-1] / (diffusion**2 * dt)), axis=1)
    error = float(missed.std()) / np.sqrt(n)
    found = first_passage_probability(time, 1.0, drift=mean, drift_sd=spread, diffusion=diffusion)
    assert float(found) == pytest.approx(1.0 - float(missed.mean()), abs=4.0 * error)


def test_a_random_drift_is_the_mean_over_drifts() -> None:
    """Gauss-Hermite over the drift of the inverse Gaussian without spread."""
    node, weight = np.polynomial.hermite_e.hermegauss(60)
    many = first_passage_probability(6.0, 1.0, drift=0.1 + 0.06 * node, diffusion=0.25)
    one = first_passage_probability(6.0, 1.0, drift=0.1, drift_sd=0.06, diffusion=0.25)
    assert float(one) == pytest.approx(float((weight * many).sum() / weight.sum()), abs=1e-9)


def test_small_diffusion_stays_in_range_and_becomes_the_straight_line() -> None:
    t = np.array([9.0, 9.9, 10.1, 11.0])
    assert first_passage_probability(t, 1.0, drift=0.1, diffusion=1e-6) == pytest.approx([0, 0, 1, 1], abs=1e-6)
    spread = first_passage_probability(10.0, 1.0, drift=0.1, drift_sd=0.03, diffusion=1e-5)
    assert float(spread) == pytest.approx(0.5, abs=1e-3)


def test_order_and_edges() -> None:
    t = np.linspace(0.0, 50.0, 101)
    found = first_passage_probability(t, 1.0, drift=0.05, drift_sd=0.05, diffusion=0.2)
    assert found[0] == 0.0
    assert (np.diff(found) >= 0).all()
    nearer = first_passage_probability(t, 0.8, drift=0.05, drift_sd=0.05, diffusion=0.2)
    assert (nearer >= found).all()
    assert first_passage_probability(np.array([0.0, 5.0]), -0.1, drift=0.1, diffusion=0.2).tolist() == [1.0, 1.0]
    away = first_passage_probability(1e6, 1.0, drift=-0.1, diffusion=0.2)
    assert float(away) == pytest.approx(np.exp(-2 * 0.1 / 0.2**2), abs=1e-6)  # it may never be reached


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: first_passage_probability(-1.0, 1.0, drift=0.1, diffusion=0.2), "time is -1"),
        (lambda: first_passage_probability(1.0, 1.0, drift=0.1, diffusion=0.0), "diffusion is 0"),
        (lambda: first_passage_probability(1.0, 1.0, drift=0.1, diffusion=0.2, drift_sd=-1.0), "drift_sd is -1"),
    ],
)
def test_bad_calls_name_the_argument(call: Any, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()
