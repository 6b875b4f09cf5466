"""Charts against published examples and run lengths; thresholds against simulation."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.stats import false_discovery_control

from analysis.wear.control_chart import (
    WINSOR,
    chance,
    cusum,
    ewma,
    ewma_limits,
    q_values,
    run_length,
    siegmund_run_length,
    threshold_for_rate,
)

PUBLISHED = Path(__file__).parent / "published"


def table(name: str) -> dict[str, Any]:
    content: dict[str, Any] = json.loads((PUBLISHED / f"{name}.json").read_text(encoding="utf-8"))
    return content


def test_cusum_of_the_nist_example() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.3 (from memory, computed)."""
    t = table("cusum")
    upper = cusum(np.array(t["values"]) - t["target"], k=t["k"])
    for number, expected in t["upper"].items():
        assert upper[int(number) - 1] == pytest.approx(expected, abs=1e-9)
    assert int(np.argmax(upper > t["h"])) + 1 == t["first_signal"]


def test_ewma_of_the_nist_example() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.4 (from memory, computed); half of the last printed digit is 0.005.

    The lower limit is printed 47.4115 for 47.41157: cut, not rounded, so the limits may differ by one digit.
    """
    t = table("ewma")
    assert ewma(np.array(t["values"]), weight=t["weight"], start=t["start"]) == pytest.approx(t["ewma"], abs=0.005)
    assert ewma_limits(t["start"], t["sd"], weight=t["weight"]) == pytest.approx(t["limits"], abs=1e-4)


def test_run_lengths_of_the_one_sided_cusum() -> None:
    """Hawkins & Olwell 1998 (from memory, computed): four printed digits, 120 cells reach 0.06 % of them."""
    t = table("run_length")
    for row in t["rows"]:
        for shift, expected in zip(t["shifts"], row["run_lengths"], strict=True):
            assert run_length(row["h"], t["k"], shift=shift) == pytest.approx(expected, rel=6e-4)
            # Siegmund's formula is an approximation, good to about one per cent here
            assert siegmund_run_length(row["h"], t["k"], shift=shift) == pytest.approx(expected, rel=0.012)


def test_siegmund_without_drift_is_the_limit_of_small_drift() -> None:
    assert siegmund_run_length(4.0, 0.5, shift=0.5) == pytest.approx(
        siegmund_run_length(4.0, 0.5, shift=0.5 + 1e-5), rel=1e-3
    )


@pytest.mark.parametrize(("rate", "expected"), [(1, 6.5), (2, 5.8), (5, 4.9), (10, 4.2)])
def test_thresholds_of_seven_readings_in_six_channels(rate: float, expected: float) -> None:
    """Computed beforehand from the needed run length of a channel, 4200, 2100, 840 and 420 readings."""
    assert threshold_for_rate(rate, 7.0, 6, winsor=None) == pytest.approx(expected, abs=0.05)
    run = run_length(threshold_for_rate(rate, 7.0, 6), winsor=WINSOR)
    assert 100.0 * 7.0 * 6 / run == pytest.approx(rate, rel=0.01)


def test_a_lower_rate_needs_a_higher_threshold_and_winsorising_a_lower_one() -> None:
    heights = [threshold_for_rate(rate, 6.0, 7) for rate in (20.0, 10.0, 5.0, 2.0, 1.0)]
    assert heights == sorted(heights)
    assert threshold_for_rate(5.0, 6.0, 7) < threshold_for_rate(5.0, 6.0, 7, winsor=None)


def test_run_length_of_winsorised_values_by_simulation() -> None:
    rng = np.random.default_rng(5)
    h, n = 2.5, 4000
    total, alive, length = np.zeros(n), np.ones(n, dtype=bool), np.zeros(n)
    for _ in range(1500):
        z = np.clip(rng.standard_normal(n), -WINSOR, WINSOR)
        length += alive
        total = np.maximum(0.0, total + z - 0.5)
        alive &= total <= h
    assert not alive.any()
    # a run length is nearly exponential: its mean over n runs errs by 1/sqrt(n), four of which are allowed
    assert length.mean() == pytest.approx(run_length(h, winsor=WINSOR), rel=4.0 / np.sqrt(n))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: threshold_for_rate(0.0, 7.0, 6), "flags_per_100 is 0"),
        (lambda: threshold_for_rate(5.0, 7.0, 0), "channels 0"),
        (lambda: threshold_for_rate(5000.0, 7.0, 6), "no threshold"),
        (lambda: run_length(-1.0), "h is -1"),
        (lambda: ewma(np.zeros(3), weight=0.0), "weight is 0"),
    ],
)
def test_bad_calls_name_the_argument(call: Any, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()


def test_missing_values_leave_a_chart_as_it_is() -> None:
    z = np.array([1.0, np.nan, 2.0, np.nan])
    assert cusum(z, k=0.5).tolist() == [0.5, 0.5, 2.0, 2.0]
    assert ewma(z, weight=0.5).tolist() == [0.5, 0.5, 1.25, 1.25]


def test_chance_is_that_of_simulated_statistics() -> None:
    rng = np.random.default_rng(8)
    z = np.clip(rng.standard_normal((40_000, 12)), -WINSOR, WINSOR)
    statistic = cusum(z)
    for n in (1, 4, 12):
        p = chance(statistic[:, n - 1], np.full(len(z), n))
        for level in (0.01, 0.05, 0.2):
            # cells of 0.05 make the share a little smaller than the level; four binomial errors are allowed
            share, error = float((p <= level).mean()), np.sqrt(level / len(z))
            assert 0.80 * level - 4 * error < share < level + 4 * error
    assert chance(np.array([0.0, 3.0]), np.array([5, 0])) == pytest.approx([1.0, 0.0], abs=1e-12)


def test_q_values_are_those_of_benjamini_and_hochberg() -> None:
    """scipy.stats.false_discovery_control, and the step-up rule written out by hand."""
    p = np.random.default_rng(2).uniform(size=(1, 30)) ** 2
    order = np.argsort(p[0])
    by_hand = np.empty(30)
    by_hand[order] = np.minimum.accumulate((p[0][order] * 30 / np.arange(1, 31))[::-1])[::-1]
    assert q_values(p) == pytest.approx(by_hand)
    both = np.vstack([p, np.ones((1, 30))])
    assert q_values(both) == pytest.approx(false_discovery_control(np.minimum(2 * p[0], 1.0)))
    assert q_values(np.zeros((7, 0))).shape == (0,)
