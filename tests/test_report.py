"""The backtest report: counted by hand on small histories, and against scikit-learn and printed formulas.

Sources: Brier 1950, Murphy 1973 (decomposition), Wilson 1927 (interval; 8 of 10 at 95 % is 0.490 to 0.943, worked by
hand), scikit-learn's brier_score_loss, log_loss, calibration_curve and LogisticRegression as oracles; histories
worked by hand.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples
from sklearn.calibration import calibration_curve
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import brier_score_loss, log_loss

from analysis.backtest import reliability
from analysis.backtest.history import (
    counted_no_starts,
    foreseen,
    judged_flags,
    labelled,
    left_on,
    limit_lists,
    part_lives,
)
from analysis.backtest.report import BacktestReport, ReportCosts, backtest_report
from analysis.costs import NoStartCost, PlanSettings
from dashboard.words.backtest_report import report_text

FIRST = pd.Timestamp("2024-01-01")
DATES = pd.date_range(FIRST, periods=26, freq="14D")
COLUMNS = [
    "temperature_c", "rest_v", "crank_min_v", "crank_a", "peak_a", "drop_positive_v", "drop_ground_v",
    "drop_contacts_v", "drop_control_v", "coil_a", "crank_rpm",
]  # fmt: skip


def made_lists(flagged: dict[str, tuple[int, int, str]], vehicles: str = "ABCD", p: float = 0.02) -> pd.DataFrame:
    """Lists of DATES; vehicle -> (first list, last list, part) of one run of flags."""
    rows = []
    for i, day in enumerate(DATES):
        for unit in vehicles:
            first, last, part = flagged.get(unit, (99, -1, "battery"))
            on = first <= i <= last
            rows.append((day, unit, part, on, 0.6 if on else p))
    frame = pd.DataFrame(rows, columns=["as_of", "unit", "part", "flagged", "no_start_probability"])
    return frame.astype({"unit": "str", "part": "str"})


def equal_counts(bins: int) -> tuple[float, ...]:
    """Quantiles that cut into bins of as many rows each."""
    return tuple(float(q) for q in np.linspace(0.0, 1.0, bins + 1))


def made_repairs(*rows: tuple[str, int, str, str, str]) -> pd.DataFrame:
    """Repairs: unit, days after FIRST, part, action, reason."""
    frame = pd.DataFrame(rows, columns=["unit", "done_on", "part", "action", "reason"])
    frame["done_on"] = FIRST + pd.to_timedelta(frame["done_on"].astype(int), unit="D")
    return frame.astype(dict.fromkeys(("unit", "part", "action", "reason"), "str"))


def made_units(vehicles: str = "ABCD", in_service: str = "2022-01-01") -> pd.DataFrame:
    """Vehicles of one 12 V class."""
    return pd.DataFrame(
        {
            "unit": pd.Series(list(vehicles), dtype="str"),
            "vehicle_class": "van",
            "system_v": 12,
            "fuel": "diesel",
            "cylinders": 4,
            "depot": "one",
            "in_service": pd.Timestamp(in_service),
        }
    )


def made_readings(*rows: dict[str, object]) -> pd.DataFrame:
    """Readings with the given values, others missing; one sound one long before if there is none."""
    given_rows = rows or ({"unit": "A", "taken_at": FIRST - pd.Timedelta(days=30), "rest_v": 12.7},)
    frame = pd.DataFrame([{**dict.fromkeys(COLUMNS, np.nan), **row} for row in given_rows])
    return frame.astype({"unit": "str"}).sort_values(["unit", "taken_at"], ignore_index=True)


def test_a_history_counted_by_hand() -> None:
    """A: battery no-start on day 200, flagged from list 10 (day 140): foreseen, lead 60, right part.
    B: contacts no-start on day 150, flagged for the battery from list 5 (day 70): foreseen, lead 80, wrong part.
    C: no-start on day 100, flagged only from list 7 (day 98, two days before): missed.
    D: flagged on lists 2 to 4 and nothing ever came, history to day 500: for nothing.
    """
    lists = made_lists(
        {"A": (10, 14, "battery"), "B": (5, 10, "battery"), "C": (7, 7, "starter_motor"), "D": (2, 4, "ground_path")}
    )
    repairs = made_repairs(
        ("A", 200, "battery", "replaced", "no_start"),
        ("B", 150, "solenoid_contacts", "replaced", "no_start"),
        ("C", 100, "starter_motor", "replaced", "no_start"),
        ("D", 500, "engine_drag", "replaced", "complaint"),
    )
    report = backtest_report(lists, made_units(), made_readings(), repairs)
    seen = report.no_starts.set_index("unit")
    assert seen["foreseen"].to_dict() == {"A": True, "B": True, "C": False}
    assert seen.loc["A", "lead_days"] == 60
    assert seen.loc["B", "lead_days"] == 80
    assert np.isnan(seen.loc["C", "lead_days"])
    flags = report.flags.set_index("unit")
    assert flags["outcome"].to_dict() == {"A": "no-start", "B": "no-start", "C": "no-start", "D": "nothing"}
    assert flags.loc["D", "first"] == DATES[2]
    assert flags.loc["D", "last"] == DATES[4]
    way = report.ways.set_index("way").loc["this list"]
    assert (way["no_starts"], way["foreseen"], way["right_part"], way["missed"]) == (3, 2, 1, 1)
    assert (way["flags"], way["for_nothing"], way["undecided"]) == (4, 1, 0)
    assert way["median_lead_days"] == 70
    assert way["for_nothing_per_100"] == pytest.approx(100 / (26 * 4 * 14 / 365.25))


def test_the_money_of_that_history() -> None:
    """Worked by hand, light vehicles: no-start 180 + 120 + 300 = 600; workshop hour 85.

    As it was: battery 600 + 200 + 1.2 x 85 = 902; one starter 600 + 400 + 3.75 x 85 = 1318.75.
    List: battery foreseen 200 + 0.8 x 85 = 268; starter missed 1318.75; ground flag for nothing
    90 + 0.4 x 85 = 124 and 0.3 x (40 + 85) = 37.50.
    """
    lists = made_lists({"A": (10, 14, "battery"), "D": (2, 4, "ground_path")})
    repairs = made_repairs(
        ("A", 200, "battery", "replaced", "no_start"),
        ("C", 100, "starter_motor", "replaced", "no_start"),
        ("B", 500, "battery", "charged", "complaint"),
    )
    ways = backtest_report(lists, made_units(in_service="2024-06-01"), made_readings(), repairs).ways.set_index("way")
    assert ways.loc["as it was", "cost"] == pytest.approx(902 + 1318.75)
    assert ways.loc["this list", "cost"] == pytest.approx(268 + 1318.75 + 124 + 37.5)
    heavy = ReportCosts(replace(PlanSettings(), no_start={"van": NoStartCost(491.0, 1000.0, 2000.0)}), 1.0)
    ways = backtest_report(lists, made_units(), made_readings(), repairs, costs=heavy).ways.set_index("way")
    assert ways.loc["as it was", "cost"] == pytest.approx(902 + 1318.75 + 2 * (3491 - 600))
    assert ways.loc["this list", "cost"] == pytest.approx(268 + 1318.75 + 2891 + 124 + 125)


def test_a_wrong_part_costs_both_repairs() -> None:
    lists = made_lists({"A": (10, 14, "battery")})
    repairs = made_repairs(
        ("A", 200, "ground_path", "cleaned", "no_start"), ("B", 500, "battery", "charged", "complaint")
    )
    way = backtest_report(lists, made_units(), made_readings(), repairs).ways.set_index("way").loc["this list"]
    assert way["cost"] == pytest.approx((40 + 85) + (200 + 0.8 * 85))
    assert way["right_part"] == 0


def test_which_no_starts_are_counted() -> None:
    """Not within 30 days of the first list, nor 90 days of the vehicle's last one, nor 14 days after the last list."""
    last = (DATES[-1] - FIRST).days
    repairs = made_repairs(
        ("A", 30, "battery", "replaced", "no_start"),
        ("B", 31, "battery", "replaced", "no_start"),
        ("B", 120, "battery", "replaced", "no_start"),
        ("B", 211, "battery", "replaced", "no_start"),
        ("C", last + 14, "battery", "replaced", "no_start"),
        ("D", last + 15, "battery", "replaced", "no_start"),
        ("D", 100, "battery", "replaced", "preventive"),
    )
    counted = counted_no_starts(repairs, DATES)
    days = (counted["date"] - FIRST).dt.days
    assert list(zip(counted["unit"], days, strict=True)) == [("B", 31), ("B", 211), ("C", last + 14)]


def test_the_lead_is_that_of_the_unbroken_run() -> None:
    """Flagged early, cleared, flagged again: only the second run counts."""
    lists = made_lists({"A": (3, 20, "battery")})
    lists.loc[(lists["unit"] == "A") & (lists["as_of"] == DATES[8]), "flagged"] = False
    events = counted_no_starts(made_repairs(("A", 200, "battery", "replaced", "no_start")), DATES)
    assert foreseen(lists, events)["lead_days"].tolist() == [200 - 9 * 14]
    exact = counted_no_starts(made_repairs(("A", 14 * 3 + 14, "battery", "replaced", "no_start")), DATES)
    assert foreseen(lists, exact)[["foreseen", "lead_days"]].to_numpy().tolist() == [[True, 14.0]]
    short = counted_no_starts(made_repairs(("A", 14 * 3 + 13, "battery", "replaced", "no_start")), DATES)
    assert foreseen(lists, short)["foreseen"].tolist() == [False]


def test_what_becomes_of_flags() -> None:
    lists = made_lists(
        {"A": (2, 4, "battery"), "B": (2, 4, "battery"), "C": (20, 22, "battery"), "D": (2, 4, "battery")}
    )
    repairs = made_repairs(
        ("A", 28 + 270, "battery", "replaced", "preventive"),
        ("B", 28 + 271, "battery", "replaced", "preventive"),
        ("D", 60, "starter_motor", "replaced", "preventive"),
    )
    known_to = FIRST + pd.Timedelta(days=400)
    flags = judged_flags(lists, repairs, known_to, left_on(made_units()))
    assert flags["outcome"].tolist() == ["repaired", "nothing", "too early to say", "nothing"]
    decisions = pd.DataFrame(
        {"unit": ["A", "C"], "kind": ["nothing_found", "accepted"], "at": ["2024-02-20T09:00:00"] * 2}
    )
    flags = judged_flags(lists, repairs, known_to, left_on(made_units()), decisions)
    assert flags["outcome"].tolist() == ["nothing", "nothing", "too early to say", "nothing"]
    late = decisions.assign(at="2024-06-01T09:00:00")
    assert judged_flags(lists, repairs, known_to, left_on(made_units()), late)["outcome"].tolist()[0] == "repaired"


def test_printed_limits_on_the_last_reading() -> None:
    """Ground drop 0.35 V against 0.2 V (TM 5-3820-256-24-4) from day 40 on; repaired on day 90; contacts never."""
    readings = made_readings(
        {"unit": "A", "taken_at": FIRST + pd.Timedelta(days=10, hours=9), "drop_ground_v": 0.05, "rest_v": 12.7},
        {"unit": "A", "taken_at": FIRST + pd.Timedelta(days=42, hours=9), "drop_ground_v": 0.35, "rest_v": 12.7},
        {"unit": "B", "taken_at": FIRST + pd.Timedelta(days=10, hours=9), "drop_contacts_v": 0.02, "rest_v": 12.7},
    )
    repairs = made_repairs(("A", 90, "ground_path", "cleaned", "preventive"))
    lists = limit_lists(readings, made_units(), repairs, DATES)
    assert len(lists) == 26 * 4
    flagged = lists[lists["flagged"]]
    assert flagged["unit"].unique().tolist() == ["A"]
    assert flagged["part"].unique().tolist() == ["ground_path"]
    days = ((flagged["as_of"] - FIRST).dt.days).tolist()
    assert days == [56, 70, 84]  # the list of day 42 is made before that day's reading; day 98 follows the repair


def test_replacement_at_a_fixed_age() -> None:
    """Batteries new on 2022-01-01; A's fails at 2.55 years, B's lasts.  At 2 years: in the year from 2024-01-01 both
    are renewed at once (age 2.0 on day 0), A's no-start prevented; at 3 years nothing is due before 2025-01-01."""
    units, readings = made_units("AB"), made_readings()
    repairs = made_repairs(("A", 200, "battery", "replaced", "no_start"), ("B", 500, "battery", "charged", "complaint"))
    window = (DATES[0], DATES[-1] + pd.Timedelta(days=14))
    lives = part_lives(units, readings, repairs, "battery", window)
    assert lives.groupby("unit").size().to_dict() == {"A": 2, "B": 1}
    lists = made_lists({}, vehicles="AB")
    way = backtest_report(lists, units, readings, repairs).ways.iloc[-1]
    assert way["way"] == "battery at a fixed age"
    assert (way["foreseen"], way["replacements"]) == (1, 2)
    assert way["cost"] == pytest.approx(2 * 268)
    assert way["age_y"] == 2.0
    cheap = replace(PlanSettings(), no_start={**PlanSettings().no_start, "van": NoStartCost(0.0, 0.0, 0.0)})
    way = backtest_report(lists, units, readings, repairs, costs=ReportCosts(cheap)).ways.iloc[-1]
    assert (way["foreseen"], way["replacements"]) == (0, 0)


def test_outcomes_within_the_horizon() -> None:
    """A list of day D covers D to D + 29; lists whose horizon has not ended are left out."""
    repairs = made_repairs(("A", 56, "battery", "replaced", "no_start"), ("B", 60, "battery", "replaced", "preventive"))
    lists = made_lists({}, vehicles="AB")
    rows = labelled(lists, repairs, FIRST + pd.Timedelta(days=113), horizon_days=30, left=left_on(made_units()))
    bad = rows[rows["no_start"] == 1.0]
    assert bad["unit"].unique().tolist() == ["A"]
    assert ((bad["as_of"] - FIRST).dt.days).tolist() == [28, 42, 56]
    assert (rows["as_of"].max() - FIRST).days == 84  # day 84 to day 113
    one_less = labelled(lists, repairs, FIRST + pd.Timedelta(days=112), horizon_days=30, left=left_on(made_units()))
    assert (one_less["as_of"].max() - FIRST).days == 70


# --- probabilities ----------------------------------------------------------------------------------------------------


def drawn(n: int = 4000, seed: int = 3, slope: float = 1.0, shift: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """Probabilities as lists have them, and outcomes whose log odds are shift + slope x theirs."""
    rng = np.random.default_rng(seed)
    p = np.clip(rng.beta(0.35, 4.0, n), 0.001, 0.97)
    true = 1.0 / (1.0 + np.exp(-(shift + slope * np.log(p / (1 - p)))))
    return p, (rng.random(n) < true).astype(float)


def test_scores_as_scikit_learn_has_them() -> None:
    p, y = drawn()
    assert reliability.brier_score(p, y) == pytest.approx(brier_score_loss(y, p), rel=1e-12)
    assert reliability.log_score(p, y) == pytest.approx(log_loss(y, p), rel=1e-12)
    base = brier_score_loss(y, np.full(len(y), y.mean()))
    assert reliability.skill(p, y) == pytest.approx(1 - brier_score_loss(y, p) / base)
    assert reliability.skill(np.full(len(y), y.mean()), y) == pytest.approx(0.0, abs=1e-12)
    assert reliability.skill(y, y) == 1.0
    assert np.isnan(reliability.skill(np.zeros(5), np.zeros(5)))


def test_bins_as_scikit_learn_has_them() -> None:
    p, y = drawn()
    seen, said = calibration_curve(y, p, n_bins=10, strategy="quantile")
    table = reliability.reliability_table(p, y, np.arange(len(p)), quantiles=equal_counts(10))
    np.testing.assert_allclose(table["seen"], seen, rtol=1e-12)
    np.testing.assert_allclose(table["said"], said, rtol=1e-12)
    assert (table["rows"].iloc[2:] == 400).all()  # the lowest probabilities are equal, and share a bin
    assert table["no_starts"].sum() == y.sum()


def test_equal_probabilities_share_a_bin() -> None:
    p = np.array([0.01] * 90 + [0.4] * 10)
    y = np.array([0.0] * 90 + [1.0] * 4 + [0.0] * 6)
    table = reliability.reliability_table(p, y, np.arange(100))
    assert table["rows"].tolist() == [90, 10]
    assert table["seen"].tolist() == [0.0, 0.4]
    assert table["bin"].tolist() == [0, 1]


probabilities = st.lists(st.tuples(st.floats(0, 1), st.booleans()), min_size=1, max_size=60)


@examples(25)
@given(probabilities)
def test_the_parts_of_the_brier_score_add_up(pairs: list[tuple[float, bool]]) -> None:
    """Murphy 1973: exactly reliability - resolution + uncertainty where each bin holds one probability."""
    p, y = np.array([a for a, _ in pairs]), np.array([float(b) for _, b in pairs])
    exact = reliability.brier_parts(p, y, np.unique(p, return_inverse=True)[1])
    assert exact.within == pytest.approx(0.0, abs=1e-12)
    assert exact.brier == pytest.approx(np.mean((p - y) ** 2))
    coarse = reliability.brier_parts(p, y, reliability.bin_numbers(p, equal_counts(4)))
    assert coarse.brier == pytest.approx(coarse.reliability - coarse.resolution + coarse.uncertainty + coarse.within)
    assert coarse.uncertainty == pytest.approx(y.mean() * (1 - y.mean()))
    assert coarse.resolution <= coarse.uncertainty + 1e-12


def test_a_decomposition_by_hand() -> None:
    """Four at 0.5 of which two fail, four at 0.25 of which one does: calibrated, so reliability is 0; resolution
    (0.125^2 + 0.125^2) / 2 = 0.015625; uncertainty 0.375 x 0.625 = 0.234375; Brier 0.21875."""
    p = np.array([0.5] * 4 + [0.25] * 4)
    y = np.array([1, 1, 0, 0, 1, 0, 0, 0], dtype=float)
    parts = reliability.brier_parts(p, y, np.array([1, 1, 1, 1, 0, 0, 0, 0]))
    assert (parts.reliability, parts.resolution) == (0.0, 0.015625)
    assert (parts.uncertainty, parts.brier) == (0.234375, 0.21875)


def test_wilson_interval() -> None:
    """8 of 10, z = 1.96: (0.8 + 0.19208 -+ 0.31366) / 1.38416 = 0.4902 and 0.9433, worked by hand; 0 of n at
    z^2 / (n + z^2)."""
    low, high = reliability.wilson_interval(np.array([8.0]), np.array([10.0]), level=0.95)
    assert low[0] == pytest.approx(0.4902, abs=1e-4)
    assert high[0] == pytest.approx(0.9433, abs=1e-4)
    low, high = reliability.wilson_interval(np.array([0.0, 0.0]), np.array([50.0, 0.0]), level=0.95)
    assert low.tolist() == [0.0, 0.0]
    assert high[0] == pytest.approx(3.8415 / 53.8415, rel=1e-4)
    assert high[1] == pytest.approx(1.0)


@pytest.mark.nightly
def test_intervals_hold_the_truth_and_widen_with_repeated_vehicles() -> None:
    """90 % intervals of calibrated probabilities hold nine in ten of the truths; lists of one vehicle are one."""
    held = total = 0
    for seed in range(20):
        p, y = drawn(1500, seed=seed)
        table = reliability.reliability_table(p, y, np.arange(len(p)), quantiles=equal_counts(5))
        held += int(((table["said"] >= table["seen_low"]) & (table["said"] <= table["seen_high"])).sum())
        total += len(table)
    assert 0.84 < held / total < 0.98
    p, y = drawn(300)
    thirds = equal_counts(3)
    alone = reliability.reliability_table(p, y, np.arange(300), quantiles=thirds).iloc[-1]
    repeated = reliability.reliability_table(
        np.tile(p, 20), np.tile(y, 20), np.tile(np.arange(300), 20), quantiles=thirds
    ).iloc[-1]
    assert repeated["rows"] == 20 * alone["rows"]
    narrow = reliability.wilson_interval(np.array([20.0 * alone["no_starts"]]), np.array([20.0 * alone["rows"]]))
    assert repeated["seen_high"] - repeated["seen_low"] > 2.0 * float(narrow[1][0] - narrow[0][0])


def test_recall_in_the_highest_ranked() -> None:
    """Two lists of 40: two vehicles of each are looked at."""
    p = np.concatenate([np.linspace(0.0, 0.39, 40), np.linspace(0.39, 0.0, 40)])
    y = np.zeros(80)
    y[[39, 38, 37, 40, 79]] = 1.0
    group = np.repeat([0, 1], 40)
    assert reliability.recall_top(p, y, group) == pytest.approx(3 / 5)
    shuffled = np.random.default_rng(0).permutation(80)
    assert reliability.recall_top(p[shuffled], y[shuffled], group[shuffled]) == pytest.approx(3 / 5)
    assert np.isnan(reliability.recall_top(p, np.zeros(80), group))


def test_calibration_as_scikit_learn_fits_it_and_as_it_was_drawn() -> None:
    p, y = drawn(60_000, slope=0.6, shift=-0.8)
    found = reliability.fit_calibration(p, y)
    plain = LogisticRegression(C=np.inf, tol=1e-8).fit(np.log(p / (1 - p))[:, None], y)
    assert found.slope == pytest.approx(plain.coef_[0, 0], abs=2e-3)
    assert found.intercept == pytest.approx(plain.intercept_[0], abs=5e-3)
    assert found.slope == pytest.approx(0.6, abs=0.04)
    assert found.intercept == pytest.approx(-0.8, abs=0.1)
    better = found.apply(p)
    assert better.mean() == pytest.approx(y.mean(), rel=1e-3)  # calibrated in the large
    assert reliability.skill(better, y) > reliability.skill(p, y)
    assert (np.diff(better[np.argsort(p)]) >= 0).all()


def test_calibrated_probabilities_stay_as_they_are() -> None:
    p, y = drawn(60_000)
    found = reliability.fit_calibration(p, y)
    assert found.slope == pytest.approx(1.0, abs=0.05)
    assert np.abs(found.apply(p) - p).max() < 0.03


def test_too_few_no_starts_leave_the_probabilities_alone() -> None:
    p = np.linspace(0.01, 0.5, 400)
    for events, enough in ((39, False), (40, True)):
        y = np.zeros(400)
        y[np.linspace(100, 399, events).astype(int)] = 1.0
        found = reliability.fit_calibration(p, y)
        assert found.enough is enough
        assert found.no_starts == events
        assert np.array_equal(found.apply(p), p) is not enough
    assert reliability.fit_calibration(p, np.zeros(400)).why == reliability.FEW
    backwards = reliability.fit_calibration(p, (p < 0.1).astype(float))
    assert not backwards.enough
    assert backwards.why == reliability.BACKWARDS
    assert not reliability.fit_calibration(np.full(200, 0.3), np.repeat([0.0, 1.0], 100)).enough


def test_calibration_looks_at_earlier_lists_only() -> None:
    p, y = drawn(1200, slope=0.5)
    day = np.repeat(np.arange(10) * 14.0, 120)
    out = reliability.calibrated_forward(p, y, day, horizon_days=30.0)
    late = day >= 70
    changed = np.where(late, 1.0 - y, y)
    again = reliability.calibrated_forward(p, changed, day, horizon_days=30.0)
    known = day < 70 + 30
    np.testing.assert_array_equal(out[known], again[known])
    assert not np.array_equal(out[~known], again[~known])
    np.testing.assert_array_equal(out[day < 30], p[day < 30])
    assert not np.array_equal(out[known], p[known])
    fit = reliability.fit_calibration(p[day + 30 <= 126], y[day + 30 <= 126])
    np.testing.assert_allclose(out[day == 126], fit.apply(p[day == 126]))


# --- the whole --------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def report() -> BacktestReport:
    """A fleet of 60 whose lists know a little."""
    rng = np.random.default_rng(8)
    vehicles = [f"V{i:02d}" for i in range(60)]
    fails = {u: int(rng.integers(40, 350)) for u in vehicles[:25]}
    rows = []
    for day in DATES:
        for u in vehicles:
            left = fails.get(u, 9999) - (day - FIRST).days
            p = float(np.clip((0.5 if 0 <= left < 30 else 0.03) * rng.lognormal(0, 0.4), 0.001, 0.95))
            rows.append((day, u, "battery", p > 0.2, p))
    lists = pd.DataFrame(rows, columns=["as_of", "unit", "part", "flagged", "no_start_probability"])
    repairs = made_repairs(*((u, d, "battery", "replaced", "no_start") for u, d in fails.items()))
    units = made_units("AB").iloc[[0] * 60].assign(unit=vehicles).reset_index(drop=True)
    return backtest_report(lists, units, made_readings({"unit": "V00", "taken_at": FIRST, "rest_v": 12.7}), repairs)


def test_odds_of_a_made_fleet(report: BacktestReport) -> None:
    odds = report.odds
    assert odds is not None
    assert 0.3 < odds.skill < 0.9
    assert odds.monthly_skill < odds.skill + 0.05
    assert odds.no_starts == odds.bins["no_starts"].sum() == odds.months["no_starts"].sum()
    assert odds.rows == odds.bins["rows"].sum() == odds.months["rows"].sum()
    assert odds.calibration.enough
    assert 0.5 < odds.recall_top5 <= 1.0


def test_the_text_says_the_figures(report: BacktestReport) -> None:
    text = report_text(report)
    lines = text.splitlines()
    assert max(len(line) for line in lines) <= 100
    assert "Backtest: 26 lists of 60 vehicles, 1 Jan 2024 to 16 Dec 2024" in text
    way = report.ways.set_index("way").loc["this list"]
    row = next(line for line in lines if line.startswith("this list"))
    assert f"{way['foreseen']:.0f} of {way['no_starts']:.0f}" in row
    assert f"{way['cost']:.0f}" in row
    assert "roadside 491" in text
    assert "battery: " in text
    assert report.odds is not None
    assert f"skill {report.odds.skill:.3f} against the base rate" in text


def test_nothing_happened_and_nothing_to_judge() -> None:
    lists = made_lists({})
    quiet = backtest_report(lists, made_units(), made_readings(), made_repairs())
    assert quiet.no_starts.empty
    assert quiet.odds is not None
    assert quiet.odds.no_starts == 0
    text = report_text(quiet)
    assert "No no-start happened" in text
    assert "nan" not in text
    one = lists[lists["as_of"] == FIRST]
    young = backtest_report(one, made_units(), made_readings(), made_repairs())
    assert young.odds is None
    assert "No list is old enough" in report_text(young)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: reliability.brier_score(np.array([1.2]), np.array([1.0])), "p has 1.2"),
        (lambda: reliability.brier_score(np.array([0.2]), np.array([0.5])), "y has 0.5"),
        (lambda: reliability.brier_score(np.zeros(2), np.zeros(3)), "shapes"),
        (lambda: reliability.brier_score(np.zeros(0), np.zeros(0)), "p is empty"),
        (lambda: reliability.wilson_interval(np.ones(1), np.ones(1), level=1.0), "level is 1.0"),
        (lambda: backtest_report(made_lists({}), made_units(), made_readings(), made_repairs(), horizon_days=0), "horizon_days is 0"),
        (lambda: backtest_report(made_lists({}).iloc[:0], made_units(), made_readings(), made_repairs()), "lists has"),
    ],
)  # fmt: skip
def test_bad_calls(call: Callable[[], object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()
