"""What was learned of every class, as a table."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from samples_fleet import fleet, tables_of

from analysis.costs import PlanSettings
from analysis.readings.class_laws import estimate_laws
from analysis.readings.panel import make_panel
from analysis.readings.renewals import PARTS
from analysis.wear.choices import LIVES
from analysis.wear.lives import part_lifetimes
from analysis.worklist.choices import JUDGING
from analysis.worklist.class_table import COLUMNS, failure_rows, law_rows


def lives(failed: dict[str, int], *, running: int = 50, years: float = 6.0) -> pd.DataFrame:
    """Lives of each part: so many that failed at about `years`, and running ones of half that age."""
    rng = np.random.default_rng(1)
    rows = []
    for part in PARTS:
        n = failed.get(part, 0)
        ages = np.concatenate([365.25 * years * rng.weibull(3.0, n), np.full(running, 0.5 * 365.25 * years)])
        for i, age in enumerate(ages):
            rows.append((f"V{i:03d}", part, 0.0, age, float(i < n), float(i >= n)))
    return pd.DataFrame(rows, columns=["unit", "part", "entry", "age", "failed", "running"])


def rows_of(own: pd.DataFrame, fleet: pd.DataFrame) -> list:
    return failure_rows(own, part_lifetimes(fleet, parts=PARTS, life_years=PlanSettings().life_years))


def value(rows: list, quantity: str) -> tuple:
    return next(row for row in rows if row[0] == quantity)


def test_shares_of_no_starts_are_the_counts_over_a_stated_prior() -> None:
    """Dirichlet posterior mean, worked by hand: (10 x stated + count) / (10 + all); the stated one with no failure at all."""
    own = lives({"battery": 30, "starter_motor": 10})
    rows, none = rows_of(own, own), rows_of(lives({}), lives({}))
    stated = value(none, "share of no-starts, battery")[1]
    found = value(rows, "share of no-starts, battery")
    assert found[1] == pytest.approx((JUDGING.share_counts * stated + 30) / (JUDGING.share_counts + 40))
    assert found[4] == 30
    a, all_ = JUDGING.share_counts * stated + 30, JUDGING.share_counts + 40
    assert found[2] == pytest.approx(np.sqrt(a * (all_ - a) / (all_**2 * (all_ + 1))))
    for one in (rows, none):
        assert sum(r[1] for r in one if r[0].startswith("share")) == pytest.approx(1.0)


def test_a_class_with_few_failures_is_given_the_fleet_s_age_and_a_fleet_with_few_the_stated_one() -> None:
    """Definition; half of Weibull lives fail by scale x (ln 2)^(1/shape)."""
    few, many = lives({"battery": LIVES.least_failures - 1}, years=2.0), lives({"battery": 60})
    name = "age by which half have failed, battery"
    own, of_fleet, stated = (value(rows_of(a, b), name) for a, b in ((many, many), (few, many), (few, few)))
    assert own[1:3] == of_fleet[1:3]
    assert own[4] == 60
    mean = PlanSettings().life_years["battery"]
    assert 0.85 * mean < stated[1] < mean
    assert own[1] != pytest.approx(stated[1])


def test_the_columns_are_those_of_the_table() -> None:
    """Definition: five values of a row, the class, and its three counts."""
    assert len(COLUMNS) == len(rows_of(lives({}), lives({}))[0]) + 4


def test_a_class_never_read_is_told_the_published_laws_in_the_cold_with_their_doubt() -> None:
    """Worked by hand at -20 °C, x = 40 K: battery e^(0.009 x 40 + 1.75e-4 x 1600) = e^0.64 = 1.896, its logarithm known
    to sqrt((0.003 x 40)^2 + (0.6e-4 x 1600)^2) = 0.1537; load e^(0.012 x 40 + 2.8e-4 x 1600) = e^0.928 = 2.529, to
    sqrt(0.12^2 + 0.104^2 + 2 x 0.5 x 0.12 x 0.104) = 0.1942, as slope and curvature go together there."""
    tables = tables_of(fleet())
    rows = law_rows(estimate_laws(make_panel(tables.units, tables.readings.iloc[:0])), 0)
    for name, times, log_error in (("battery resistance", 1.896, 0.1537), ("load", 2.529, 0.1942)):
        found = value(rows, f"{name} at −20 °C, times that at 20 °C")
        assert found[1] == pytest.approx(times, abs=0.001)
        assert found[2] == pytest.approx(times * log_error, abs=0.001)
