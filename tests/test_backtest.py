"""Lists of the past are the lists of the past: each as if issued on its day, in order, whatever days are asked for."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pandas as pd
import pytest
from samples_chance import is_night, more_by_night
from samples_fleet import cut, few, quick, tables_of

from analysis.backtest.lists import backtest_lists
from analysis.worklist.assess import Assessment, assess

pytestmark = pytest.mark.usefixtures("compiled")  # as large fleets are judged

DAYS = [pd.Timestamp(d) for d in ("2022-10-03", *(["2022-11-07"] if is_night() else []), "2023-01-02")]


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick(monkeypatch, looks=2)


def same(one: Assessment, other: Assessment) -> None:
    for name in ("units", "parts", "outlook", "resets", "drift"):
        pd.testing.assert_frame_equal(getattr(one, name), getattr(other, name), obj=name)


@cache
def together() -> list[tuple[pd.Timestamp, Assessment]]:
    """The lists of DAYS, asked for in the wrong order."""
    return list(backtest_lists(tables_of(few()), DAYS[::-1]))


@pytest.mark.nightly
def test_every_list_is_that_of_its_day_on_tables_cut_there() -> None:
    """Contract: "a backtest list for D equals `risk --as-of D` on a database without anything dated D or later", though
    looks at the past are shared between the lists."""
    for day, issued in together():
        same(issued, assess(cut(tables_of(few()), day), as_of=day))


@more_by_night
def test_the_order_and_company_of_days_is_of_no_matter() -> None:
    """Property: lists come oldest first; one day alone, or after others, is the same list."""
    assert [day for day, _ in together()] == DAYS
    ((_, alone),) = backtest_lists(tables_of(few()), [DAYS[-1]])
    same(together()[-1][1], alone)


@pytest.mark.nightly
def test_horizon_and_tolerance_are_passed_on() -> None:
    """Property: the settings of a list are those it was asked for."""
    tables = tables_of(few())
    ((_, issued),) = backtest_lists(tables, DAYS[:1], horizon_days=60, tolerated_false_flags=2.0)
    known = replace(tables, forecast=tables.forecast.iloc[:0])
    same(issued, assess(known, as_of=DAYS[0], horizon_days=60, tolerated_false_flags=2.0))
    assert issued.horizon_days == 60
    with pytest.raises(ValueError, match="horizon_days is 0"):
        next(iter(backtest_lists(tables, DAYS, horizon_days=0)))


def test_no_day_no_list() -> None:
    """Property: nothing asked, nothing answered."""
    assert list(backtest_lists(tables_of(few()), [])) == []
