"""No-starts expected of the past beside those that came: by how much they may differ, and what the list says where they differ by more.

Truth: worked by hand; Poisson probabilities; a simulated fleet whose climate is said too cold.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import samples_kept
import scipy.stats
from samples_fleet import fleet, quick, tables_of

from analysis.forecast.choices import LEARNING
from analysis.forecast.tally import NOTHING, Tally, tally
from analysis.worklist.assess import assess
from dashboard.desk.weekly import assumed
from dashboard.words.list_words import past_words

DAY = pd.Timestamp("2023-03-20")
WINTERS = LEARNING.winters


def test_so_few_by_chance_are_as_probable_as_a_poisson_count_says() -> None:
    """Winters all alike: the two tails of a Poisson distribution; worked by hand for sums and days."""
    expected = [np.full(WINTERS, 4.0), np.full(WINTERS, 6.0)]
    few = tally(expected, np.array([1.0, 2.0]))
    assert (few.days, few.expected, few.came) == (2 * LEARNING.span_d, 10.0, 3.0)
    assert few.by_chance == pytest.approx(scipy.stats.poisson.cdf(3, 10.0), abs=0.004)
    many = tally(expected, np.array([9.0, 11.0]))
    assert many.by_chance == pytest.approx(scipy.stats.poisson.sf(19, 10.0), abs=0.004)
    assert tally([], np.zeros(0)) is NOTHING
    assert not NOTHING.off


def test_a_mild_winter_is_no_reason_to_doubt_a_list() -> None:
    """Property: with winters that differ few no-starts are far more probable than with winters that are alike."""
    alike, unlike = np.full(WINTERS, 12.0), np.linspace(2.0, 22.0, WINTERS)
    came = np.array([2.0, 2.0])
    assert alike.sum() == pytest.approx(unlike.sum())
    assert tally([alike] * 2, came).by_chance < LEARNING.off_chance < tally([unlike] * 2, came).by_chance


def test_it_is_said_from_twice_as_many_on_and_beyond_chance_only() -> None:
    """Definition."""
    for expected, came, by_chance, off in (
        (40.0, 10.0, 0.001, True),
        (10.0, 40.0, 0.001, True),
        (40.0, 10.0, 0.2, False),
        (40.0, 25.0, 0.001, False),
        (25.0, 40.0, 0.001, False),
        (9.0, 0.0, 0.0, True),
    ):
        assert Tally(756, expected, came, by_chance).off is off


def test_the_sentence_counts_months_and_no_starts() -> None:
    few, many = (past_words(Tally(378, *both, 0.001)) for both in ((40.4, 10.0), (9.7, 31.0)))
    assert few.startswith(
        "Of the last 12 months this list would have expected 40 no-starts, and 10 are on record, too few for chance"
    )
    assert "upper bounds" in few
    assert "lows.csv" in few
    assert many.startswith(
        "Of the last 12 months this list would have expected 10 no-starts, and 31 are on record, too many for chance"
    )
    assert "lower bounds" in many
    assert "and none is on record" in past_words(Tally(378, 9.0, 0.0, 0.0))
    assert "and 1 is on record" in past_words(Tally(378, 9.0, 1.0, 0.001))


@pytest.mark.usefixtures("compiled")
def test_a_fleet_whose_mornings_were_milder_than_its_climate_is_told_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """Simulated truth: with its own climate as many come as are expected; with one said 14 K too cold far more are."""
    quick(monkeypatch, looks=18)
    made = tables_of(fleet())
    own = samples_kept.assess(made, as_of=DAY)
    assert own.tally.days == own.tally.days // LEARNING.span_d * LEARNING.span_d > 300
    assert own.tally.came > 5.0
    assert not own.tally.off
    climate = made.climate.assign(low_c=made.climate["low_c"] - 14.0)
    found = assess(replace(made, climate=climate), as_of=DAY)
    assert found.tally.times > LEARNING.off_times
    assert found.tally.off
    said = assumed(climate, found)
    assert said[-1] == past_words(found.tally)
    assert [*assumed(climate, replace(found, tally=own.tally)), said[-1]] == said
