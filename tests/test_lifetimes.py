"""Survival without a law: published example, statsmodels, late entry, and its interval."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from statsmodels.duration.survfunc import SurvfuncRight

from analysis.wear.lives import Weibull, fit_weibull, kaplan_meier


def test_the_example_of_bewick_cheek_and_ball() -> None:
    """Bewick, Cheek & Ball, Critical Care 2004 8:389 Table 2 (seen, computed); three printed digits."""
    path = Path(__file__).parent / "published" / "kaplan_meier.json"
    t: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    found = kaplan_meier(np.array(t["age"], dtype=float), np.array(t["failed"], dtype=float))
    assert found["age"].tolist() == t["at"]
    assert found["survival"].to_numpy() == pytest.approx(t["survival"], abs=5e-4)
    assert found["at_risk"].tolist() == [8, 6, 5, 3, 1]
    assert found["failures"].tolist() == [2, 1, 1, 1, 1]
    assert found[["low", "high"]].iloc[-1].isna().all()


@pytest.mark.parametrize("late", [False, True])
def test_survival_is_that_of_statsmodels(late: bool) -> None:
    rng = np.random.default_rng(1)
    entry = rng.uniform(0, 3, 300) if late else np.zeros(300)
    age = np.round(entry + 0.5 + 4.0 * rng.weibull(2.0, 300), 1)
    failed = (rng.random(300) < 0.6).astype(float)
    other = SurvfuncRight(age, failed, entry=entry if late else None)
    found = kaplan_meier(age, failed, entry if late else None)
    assert found["age"].to_numpy() == pytest.approx(other.surv_times)
    assert found["survival"].to_numpy() == pytest.approx(other.surv_prob)
    assert found["at_risk"].to_numpy() == pytest.approx(other.n_risk)


def test_intervals_hold_the_true_survival_nine_times_in_ten() -> None:
    rng = np.random.default_rng(3)
    law = Weibull(2.0, 1000.0)
    held = 0
    for _ in range(400):
        life, end = 1000.0 * rng.weibull(2.0, 80), rng.uniform(300, 1500, 80)
        found = kaplan_meier(np.minimum(life, end), (life <= end).astype(float))
        row = found[found["age"] <= 700.0].iloc[-1]
        held += row["low"] <= law.survival(700.0) <= row["high"]
    assert 0.90 - 4 * 0.015 < held / 400 < 0.90 + 4 * 0.015


def test_the_fitted_law_runs_through_the_survival() -> None:
    rng = np.random.default_rng(2)
    life, end = 1000.0 * rng.weibull(2.5, 3000), rng.uniform(200, 2000, 3000)
    age, failed = np.minimum(life, end), (life <= end).astype(float)
    law, steps = fit_weibull(age, failed), kaplan_meier(age, failed)
    for at in (400.0, 800.0, 1200.0):
        step = float(steps[steps["age"] <= at]["survival"].iloc[-1])
        assert law.survival(at) == pytest.approx(step, abs=0.03)


def test_bad_ages_are_named_and_no_failure_is_no_row() -> None:
    with pytest.raises(ValueError, match="not after its entry"):
        kaplan_meier(np.array([1.0]), np.array([1.0]), np.array([1.0]))
    assert kaplan_meier(np.array([1.0, 2.0]), np.zeros(2)).empty
