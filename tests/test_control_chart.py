"""Charts against published examples and run lengths; thresholds against simulation."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analysis.wear.choices import DRIFT
from analysis.wear.control_chart import run_length, threshold_for_rate

PUBLISHED = Path(__file__).parent / "published"


def table(name: str) -> dict[str, Any]:
    content: dict[str, Any] = json.loads((PUBLISHED / f"{name}.json").read_text(encoding="utf-8"))
    return content


def test_run_lengths_of_the_one_sided_cusum() -> None:
    """Hawkins & Olwell 1998 (from memory, computed): four printed digits, 120 cells reach 0.06 % of them."""
    t = table("run_length")
    for row in t["rows"]:
        for shift, expected in zip(t["shifts"], row["run_lengths"], strict=True):
            assert run_length(row["h"], t["k"], shift=shift) == pytest.approx(expected, rel=6e-4)


@pytest.mark.parametrize(("rate", "expected"), [(1, 6.5), (2, 5.8), (5, 4.9), (10, 4.2)])
def test_thresholds_of_seven_readings_in_six_channels(rate: float, expected: float) -> None:
    """Computed beforehand from the needed run length of a channel, 4200, 2100, 840 and 420 readings."""
    assert threshold_for_rate(rate, 7.0, 6, winsor=None) == pytest.approx(expected, abs=0.05)
    run = run_length(threshold_for_rate(rate, 7.0, 6), winsor=DRIFT.winsor)
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
        z = np.clip(rng.standard_normal(n), -DRIFT.winsor, DRIFT.winsor)
        length += alive
        total = np.maximum(0.0, total + z - 0.5)
        alive &= total <= h
    assert not alive.any()
    # a run length is nearly exponential: its mean over n runs errs by 1/sqrt(n), four of which are allowed
    assert length.mean() == pytest.approx(run_length(h, winsor=DRIFT.winsor), rel=4.0 / np.sqrt(n))


def test_where_readings_are_seldom_the_least_threshold_raises_fewer_flags_than_tolerated() -> None:
    """Definition: one channel of seven read once in two years, for the greatest rate that a setting may tolerate."""
    per_year = 0.5 / 7.0
    h = threshold_for_rate(50.0, per_year, 7)
    assert 100.0 * per_year * 7 / run_length(h, winsor=DRIFT.winsor) < 50.0
    assert threshold_for_rate(50.0, 7.0, 7) > h


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: threshold_for_rate(0.0, 7.0, 6), "flags_per_100 is 0"),
        (lambda: threshold_for_rate(5.0, 7.0, 0), "channels 0"),
        (lambda: threshold_for_rate(1e-30, 7.0, 6), "no threshold"),
        (lambda: run_length(-1.0), "h is -1"),
    ],
)
def test_bad_calls_name_the_argument(call: Any, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()
