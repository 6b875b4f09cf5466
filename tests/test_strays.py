"""Failed starts without a repair: which were the starting circuit's, by what came after them.

Truth: worked by hand; failures drawn from a stated share; a simulated fleet into which stray failures are put.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
import pytest
from samples_fleet import quick
from samples_strays import STRAY_PER_YEAR, with_failures
from test_outcomes import starts
from test_ranges import ROUNDING_K
from test_recovery import COLDEST, EVERY_D, gone, score

from analysis.backtest.lists import backtest_lists
from analysis.readings.choices import OUTCOMES
from analysis.readings.outcomes import courses_of
from analysis.readings.strays import Course, stray_share

pytestmark = pytest.mark.usefixtures("compiled")
NONE = (np.zeros(0, dtype=np.int64), np.zeros(0))
Lists = pd.DataFrame


@pytest.fixture(scope="module", autouse=True)
def _kept_weather() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        quick(patch, looks=18)
        yield


def repaired(*rows: tuple[int, float]) -> tuple[np.ndarray, np.ndarray]:
    """Repairs of (vehicle, day)."""
    return np.array([u for u, _ in rows], dtype=np.int64), np.array([d for _, d in rows])


def test_failures_between_two_repairs_are_one_course() -> None:
    """Worked by hand: two on one morning are one; a repair soon after them answers, a late one does not."""
    told = starts(
        (0, 10.3, "click", -4.0), (0, 10.4, "no_start", -3.0), (0, 12.3, "no_start", -9.0), (0, 60.3, "no_start", -1.0),
        (1, 20.3, "no_start", np.nan),
    )  # fmt: skip
    late = 13.0 + OUTCOMES.answered_d
    found = courses_of(told, repaired((0, 13.0), (0, 300.0), (1, late + 8.0)), 400.0, 0.8)
    assert [(one.unit, one.day.tolist(), one.answered) for one in found] == [
        (0, [10.0, 12.0], True),
        (0, [60.0], False),
        (1, [20.0], False),
    ]
    again = OUTCOMES.again_times * np.exp(-0.8 * OUTCOMES.again_per_day * 2.0)
    assert found[0].again == pytest.approx([again, 1.0])
    assert found[1].passed == pytest.approx(np.exp(-0.8 * OUTCOMES.again_per_day * (300.0 - 60.3)))


def test_what_came_after_tells_whose_a_failure_was() -> None:
    """Worked by hand: three starts as cold halve a fault's chance each, warm ones say nothing, and one that nobody wrote the air of
    down neither; what came after moves the odds as much as it is likelier of a fault."""
    cold = [(0, 91.0 + i, "started", -4.0) for i in range(3)]
    more = [(0, 94.0, "started", 5.0), (0, 95.0, "started", np.nan), (0, 96.0, "slow", -9.0)]
    (one,) = courses_of(starts((0, 90.0, "no_start", -5.0), *cold, *more), NONE, 100.0, 0.9)
    assert one.passed == pytest.approx(OUTCOMES.passes**3 * np.exp(-0.9 * OUTCOMES.again_per_day * 10.0))
    assert one.telling(0.3) == pytest.approx([0.1 + 0.9 * one.passed])
    twice = Course(0, np.array([90.0, 92.0]), np.array([15.0, 1.0]), 0.5, 1.0, False)
    fault = 0.7 * np.array([15.0, 0.3]) * 0.5  # it began with the first, or with the second after a stray one
    first = fault[0] / (fault[1] + 0.09)
    second = fault.sum() / 0.09
    assert twice.telling(0.3) == pytest.approx(np.array([first, second]) * 0.3 / 0.7)


def test_a_failure_followed_by_no_start_leads_where_starts_are_on_record() -> None:
    """Worked by hand: of a vehicle with a start a day on record none came in five days after it failed.  Where nearly all failures are
    stray ones it leads the list all the same, and would not with a start since, or if its starts were never on record."""
    daily = [(0, 30.0 + i, "started", -20.0) for i in range(60)]
    failed = (0, 90.0, "no_start", -5.0)
    (silent,) = courses_of(starts(*daily, failed), NONE, 95.0, 0.9)
    quiet = np.exp(-0.9 * OUTCOMES.again_per_day * 5.0)
    missed = 60.0 / OUTCOMES.stands_d * 5.0
    assert silent.passed == pytest.approx(quiet * (1.0 - OUTCOMES.still + OUTCOMES.still * np.exp(missed)))
    assert silent.stands(0.9)[0] > OUTCOMES.leads
    (went,) = courses_of(starts(*daily, failed, (0, 91.0, "slow", 4.0)), NONE, 95.0, 0.9)
    (unseen,) = courses_of(starts(failed), NONE, 95.0, 0.9)
    assert went.passed == unseen.passed == pytest.approx(quiet)
    assert unseen.stands(0.9)[0] < OUTCOMES.leads


def test_the_share_of_stray_failures_is_found_again() -> None:
    """Simulated truth: sixty failures of sixty vehicles, of which a share never comes again, the others three times within some weeks but for those
    mended without a record; with none the stated share; what a repair answered says nothing."""
    chance, recorded = np.random.default_rng(3), 0.88
    for share in (0.1, 0.5, 0.9):
        rows = []
        for u in range(60):
            rows.append((u, 100.0, "no_start", -3.0))
            if chance.random() >= share and chance.random() < recorded:
                rows += [(u, 100.0 + d, "no_start", -3.0) for d in np.cumsum(chance.exponential(20.0, 3))]
        found = stray_share(courses_of(starts(*rows), NONE, 300.0, recorded))
        assert abs(found - share) < 0.15
    assert stray_share([]) == pytest.approx(OUTCOMES.stray_share, abs=0.01)
    answered = courses_of(starts((0, 90.0, "no_start", 0.0)), repaired((0, 91.0)), 300.0, 1.0)
    assert stray_share(answered) == stray_share([])


def lists_of(every: int, *, strays: bool, told: bool) -> Lists:
    """Some lists of an evaluation fleet with failures on record."""
    fleet, _ = gone("usual_mixed")
    last = pd.Timestamp(fleet.as_of) - pd.Timedelta(days=14)
    days = pd.date_range(end=last, periods=11, freq=f"{EVERY_D}D")[::every]
    issued = backtest_lists(with_failures(fleet, strays=strays, told=told), days)
    said = ["unit", "flagged", "part", "failed_starts", *COLDEST]
    return pd.concat([found.units[said].assign(date=day) for day, found in issued], ignore_index=True)


@pytest.mark.slow
@pytest.mark.parametrize(
    "every", [pytest.param(10, id="two lists"), pytest.param(1, marks=pytest.mark.nightly, id="all lists")]
)
def test_failures_that_had_nothing_to_do_with_the_circuit_teach_no_class_and_hold_no_vehicle(every: int) -> None:
    """Simulated truth: an evaluation fleet with STRAY_PER_YEAR stray failures a vehicle and year beside its repairs.  Of every ten of
    the last 42 days nine lead no list; on the last one coldest starts are right in the middle and held by their ranges as without
    them; by night false flags over eleven lists stay within what is tolerated and two standard deviations (a flag for each would
    make some 30 per 100 vehicle-years more)."""
    fleet, truth = gone("usual_mixed")
    lists = lists_of(every, strays=True, told=False)
    last = lists[lists["date"] == lists["date"].max()].set_index("unit").reindex(truth.index)
    fresh = STRAY_PER_YEAR * EVERY_D / 365.25 * len(fleet.units)
    assert (last["failed_starts"] > 0).sum() <= 0.1 * fresh + 1.0
    assert abs((last["coldest_start_c"] - truth).median()) < 1.5
    low, high = last["coldest_start_low_c"] - ROUNDING_K, last["coldest_start_high_c"] + ROUNDING_K
    assert truth.between(low, high).mean() >= 0.75
    if every == 1:
        found = score(fleet, lists)
        expected = 0.05 * found.healthy_years
        assert found.false_flags <= expected + 2.0 * np.sqrt(expected) + 1.0
        assert found.caught >= 0.70


def test_one_failure_that_a_fleet_of_repairers_did_not_repair_leads_its_list() -> None:
    """Definition: where failures are repaired, one that is not, and is of these days, leads."""
    (course,) = courses_of(starts((0, 99.0, "no_start", 0.0)), NONE, 100.0, 0.9)
    assert course.stands(stray_share([]))[0] > OUTCOMES.leads
