"""Theil-Sen and Mann-Kendall against published examples, scipy, and properties."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.stats import kendalltau, norm, theilslopes
from statsmodels.datasets import nile

from analysis.readings.panel import Bools, Floats
from analysis.wear.choices import PLAIN_TREND
from analysis.wear.plain_trend import DAYS_PER_YEAR, EXACT_UP_TO, exact_tails, plain_trend

PUBLISHED = Path(__file__).parent / "published"


def table(name: str) -> dict[str, Any]:
    content: dict[str, Any] = json.loads((PUBLISHED / f"{name}.json").read_text(encoding="utf-8"))
    return content


def nile_rows() -> tuple[Floats, Floats, Bools]:
    """Years as days, volumes, all usable; one row."""
    volume = np.asarray(nile.load_pandas().data["volume"], dtype=np.float64)[None]
    return np.arange(volume.shape[1]) * DAYS_PER_YEAR, volume, np.ones(volume.shape, dtype=bool)


def readings(rows: int, width: int, *, seed: int, ties: bool = False) -> tuple[Floats, Floats, Bools]:
    rng = np.random.default_rng(seed)
    day = np.sort(rng.uniform(0, 1200, (rows, width)), axis=1)
    value = rng.normal(1.0, 0.1, (rows, width)) + rng.normal(0, 0.1, (rows, 1)) * day / DAYS_PER_YEAR
    if ties:
        value, day = np.round(value, 1), np.round(day / 60.0) * 60.0
    return day, value, rng.random((rows, width)) > 0.25


def theil_sen(day: Floats, value: Floats, usable: Bools) -> tuple[Floats, Floats, Floats]:
    """Slope per year and its interval."""
    found = plain_trend(day, value, usable)
    return found.slope_per_year, found.low, found.high


def mann_kendall(day: Floats, value: Floats, usable: Bools) -> tuple[Floats, Floats]:
    """Rising less falling pairs, and p."""
    found = plain_trend(day, value, usable)
    return found.rises, found.p


def test_helsel_and_hirsch_example() -> None:
    """Helsel & Hirsch, USGS TM 4-A3 (from memory, computed)."""
    t = table("theil_sen")
    found = plain_trend(np.array(t["x"]) * DAYS_PER_YEAR, np.array([t["y"]], dtype=float), np.ones((1, 7), dtype=bool))
    assert found.slope_per_year[0] == pytest.approx(t["slope"], abs=1e-12)
    assert found.rises[0] == t["rises"]
    assert found.rises[0] / 21.0 == pytest.approx(t["tau"], abs=5e-4)
    assert found.p[0] == pytest.approx(t["p"], abs=5e-6)


def test_nile_slope_and_trend_test() -> None:
    """Nile data (ship with statsmodels): S -1387, Z -4.1281, slope -2.6 a year (from memory, computed)."""
    t = table("nile")
    day, volume, usable = nile_rows()
    found = plain_trend(day, volume, usable)
    assert found.rises[0] == t["rises"]
    assert found.slope_per_year[0] == pytest.approx(t["slope_per_year"], abs=1e-9)
    assert norm.isf(found.p[0] / 2.0) == pytest.approx(-t["z"], abs=5e-5)


@pytest.mark.parametrize("ties", [False, True])
def test_slopes_and_intervals_are_those_of_scipy(ties: bool) -> None:
    day, value, usable = readings(120, 16, seed=1, ties=ties)
    slope, low, high = theil_sen(day, value, usable)
    level = plain_trend(day, value, usable).level
    for i in range(len(value)):
        use = usable[i]
        assert level[i] == pytest.approx(np.median(value[i, use]))
        if use.sum() < PLAIN_TREND.fewest_readings:
            assert np.isnan([slope[i], low[i], high[i]]).all()
            continue
        expected = theilslopes(value[i, use], day[i, use], alpha=0.9)
        ours = np.array([slope[i], low[i], high[i]]) / DAYS_PER_YEAR
        assert ours == pytest.approx([expected.slope, expected.low_slope, expected.high_slope], rel=1e-9, abs=1e-12)


def corrected_p(day: Floats, value: Floats, rises: float) -> float:
    """scipy's asymptotic p of Kendall's tau with the continuity correction, one pair, that it leaves out."""
    if rises == 0.0:
        return 1.0
    z = norm.isf(kendalltau(day, value, method="asymptotic").pvalue / 2.0) * (abs(rises) - 1.0) / abs(rises)
    return float(2.0 * norm.sf(z))


def test_trend_test_is_kendalls_tau() -> None:
    """Exact p for few readings without ties; asymptotic, but for the continuity correction, beyond."""
    day, value, usable = readings(150, 14, seed=2)
    rises, p = mann_kendall(day, value, usable)
    exact = 0
    for i in range(len(value)):
        use = usable[i]
        n = int(use.sum())
        if n < PLAIN_TREND.fewest_readings:
            assert np.isnan(p[i])
            continue
        assert rises[i] == pytest.approx(kendalltau(day[i, use], value[i, use]).statistic * n * (n - 1) / 2)
        if n <= EXACT_UP_TO:
            exact += 1
            assert p[i] == pytest.approx(kendalltau(day[i, use], value[i, use], method="exact").pvalue, abs=1e-12)
        else:
            assert p[i] == pytest.approx(corrected_p(day[i, use], value[i, use], rises[i]), abs=1e-9)
    assert exact > 20


def test_ties_have_kendalls_variance() -> None:
    day, value, usable = readings(150, 24, seed=3, ties=True)
    rises, p = mann_kendall(day, value, usable)
    for i in range(len(value)):
        use = usable[i]
        if use.sum() <= EXACT_UP_TO:
            continue
        assert p[i] == pytest.approx(corrected_p(day[i, use], value[i, use], rises[i]), abs=1e-9)


def test_exact_tails_of_four_values_by_hand() -> None:
    """24 orders of four values have 0 to 6 falling pairs in 1 3 5 6 5 3 1 ways (worked by hand)."""
    assert exact_tails(4)[4, :7] == pytest.approx(np.cumsum([1, 3, 5, 6, 5, 3, 1]) / 24.0)


def test_intervals_hold_the_true_slope_nine_times_in_ten() -> None:
    rng = np.random.default_rng(4)
    day = np.sort(rng.uniform(0, 1200, (4000, 18)), axis=1)
    value = 1.0 + 0.12 * day / DAYS_PER_YEAR + rng.normal(0, 0.06, day.shape)
    _, low, high = theil_sen(day, value, np.ones(day.shape, dtype=bool))
    held = float(((low <= 0.12) & (high >= 0.12)).mean())
    assert 0.90 - 4 * 0.005 < held < 0.90 + 6 * 0.005  # ranks are whole, so it may hold a little more


def test_permuted_dates_find_a_trend_as_often_as_stated() -> None:
    rng = np.random.default_rng(5)
    day = np.sort(rng.uniform(0, 1200, (4000, 15)), axis=1)
    value = rng.permuted(np.tile(np.linspace(1.0, 2.0, 15), (4000, 1)), axis=1)
    _, p = mann_kendall(day, value, np.ones(day.shape, dtype=bool))
    assert float((p <= 0.05).mean()) == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 4000))


def test_a_quarter_of_gross_errors_moves_the_slope_little() -> None:
    rng = np.random.default_rng(6)
    day = np.sort(rng.uniform(0, 1200, (500, 20)), axis=1)
    value = 1.0 + 0.2 * day / DAYS_PER_YEAR + rng.normal(0, 0.02, day.shape)
    value[:, ::5] *= 10.0
    slope, _, _ = theil_sen(day, value, np.ones(day.shape, dtype=bool))
    assert np.median(slope) == pytest.approx(0.2, abs=0.05)
    by_squares = np.polyfit(day[0], value[0], 1)[0] * DAYS_PER_YEAR
    assert abs(by_squares - 0.2) > 3 * abs(slope[0] - 0.2)


def test_scale_shift_order_and_padding() -> None:
    day, value, usable = readings(60, 12, seed=7)
    slope, low, high = theil_sen(day, value, usable)
    assert theil_sen(day + 5000.0, 3.0 * value + 2.0, usable)[0] == pytest.approx(3.0 * slope, nan_ok=True)
    mirrored = theil_sen(day, -value, usable)
    assert mirrored[0] == pytest.approx(-slope, nan_ok=True)
    assert mirrored[1] == pytest.approx(-high, nan_ok=True, abs=0.05)  # ranks are rounded, not mirrored
    padded = [np.concatenate([np.full((60, 3), fill), v], axis=1) for fill, v in ((np.nan, day), (np.nan, value))]
    more = np.concatenate([np.zeros((60, 3), dtype=bool), usable], axis=1)
    assert theil_sen(padded[0], padded[1], more)[1] == pytest.approx(low, nan_ok=True)
    stacked = theil_sen(day, np.stack([value, 2.0 * value]), np.stack([usable, usable]))[0]
    assert stacked[1] == pytest.approx(2.0 * slope, nan_ok=True)
    assert theil_sen(day[3], value[3], usable[3])[0] == pytest.approx(slope[3], nan_ok=True)


def test_few_readings_have_a_level_only_and_none_has_nothing() -> None:
    day = np.arange(4.0) * 100.0
    value = np.array([[1.0, 1.2, 1.4, 1.3], [np.nan] * 4])
    found = plain_trend(day, value, np.ones((2, 4), dtype=bool))
    assert found.level[0] == pytest.approx(1.25)
    assert found.readings.tolist() == [4, 0]
    assert np.isnan(found.slope_per_year).all()
    assert np.isnan(found.p).all()
    assert np.isnan(found.level[1])
    with pytest.raises(ValueError, match=r"confidence is 90"):
        plain_trend(day, value, np.ones((2, 4), dtype=bool), confidence=90.0)


def test_equal_values_have_no_trend() -> None:
    found = plain_trend(np.arange(8.0), np.ones((1, 8)), np.ones((1, 8), dtype=bool))
    assert (found.slope_per_year[0], found.rises[0], found.p[0]) == (0.0, 0.0, 1.0)
