"""Survival without a law: published example, statsmodels, late entry, and its interval."""

import numpy as np
import pytest
from statsmodels.duration.survfunc import SurvfuncRight

from analysis.wear.lives import fit_weibull


def test_the_fitted_law_runs_through_the_survival() -> None:
    rng = np.random.default_rng(2)
    life, end = 1000.0 * rng.weibull(2.5, 3000), rng.uniform(200, 2000, 3000)
    age, failed = np.minimum(life, end), (life <= end).astype(float)
    law, steps = fit_weibull(age, failed), SurvfuncRight(age, failed)
    for at in (400.0, 800.0, 1200.0):
        step = float(steps.surv_prob[steps.surv_times <= at][-1])
        assert law.survival(at) == pytest.approx(step, abs=0.03)
