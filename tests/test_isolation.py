"""Which part: the share of draws in which its renewal gains most, on draws written by hand and on simulated faults."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import samples_kept
from samples_fleet import drawn_of, fleet, quick, tables_of

from analysis.readings.renewals import PARTS
from analysis.worklist.assess import Assessment
from analysis.worklist.choices import NAMING
from analysis.worklist.part import part_shares, wear_progress, wear_shares

DAY = pd.Timestamp("2022-12-12")


@pytest.fixture(scope="module")
def assessed() -> Assessment:
    """A small fleet, assessed once."""
    with pytest.MonkeyPatch.context() as patch:
        quick(patch)
        return samples_kept.assess(tables_of(fleet()), as_of=DAY)


def gains(*draws: dict[str, float]) -> np.ndarray:
    """(7, 1, K) kelvin gained by each part's renewal."""
    out = np.zeros((len(PARTS), 1, len(draws)))
    for k, draw in enumerate(draws):
        for part, gain in draw.items():
            out[PARTS.index(part), 0, k] = gain
    return out


def test_shares_are_counted_by_draws_and_weights() -> None:
    """Worked by hand: four draws, of which the second counts twice."""
    draws = gains({"battery": 9.0, "ground_path": 3.0}, {"ground_path": 5.0}, {"battery": 2.0}, {"battery": 0.2})
    shares = part_shares(draws, np.array([[1.0, 2.0, 1.0, 1.0]]))[0]
    assert shares[PARTS.index("battery")] == pytest.approx(2 / 5)
    assert shares[PARTS.index("ground_path")] == pytest.approx(2 / 5)
    assert shares.sum() == pytest.approx(4 / 5), "the draw in which nothing gains names no part"


def test_less_than_the_least_gain_names_no_part() -> None:
    """Definition."""
    assert part_shares(gains({"battery": NAMING.least_gain_k}), np.ones((1, 1))).sum() == 0.0
    assert part_shares(gains({"battery": NAMING.least_gain_k + 0.01}), np.ones((1, 1))).sum() == 1.0


def test_shares_are_probabilities_for_every_vehicle(assessed: Assessment) -> None:
    """Property: between 0 and 1; for vehicles looked at in detail they add up to one at most."""
    parts = assessed.parts
    assert parts["part_probability"].between(0.0, 1.0).all()
    assert parts["worn_probability"].between(0.0, 1.0).all()
    detailed = parts[parts["renewed_coldest_start_c"].notna()]
    assert (detailed.groupby("unit")["part_probability"].sum() <= 1.0 + 1e-9).all()
    assert wear_shares(drawn_of(assessed).state).shape == (len(assessed.units), len(PARTS))


def test_the_part_that_then_fails_is_the_one_named(assessed: Assessment) -> None:
    """Simulated truth: of the vehicles that fail within 60 days and are flagged, most have the failing part named."""
    truth = fleet().truth
    soon = truth[(truth["date"] >= DAY) & (truth["date"] < DAY + pd.Timedelta(days=60))].drop_duplicates("unit")
    named = assessed.units[assessed.units["flagged"]].set_index("unit")["part"]
    caught = soon[soon["unit"].isin(named.index)]
    assert len(caught) >= 2
    assert (caught["part"] == named.reindex(caught["unit"]).to_numpy()).mean() >= 0.6


def test_the_named_part_is_what_renewal_helps_most(assessed: Assessment) -> None:
    """Property: of vehicles named with over 0.9, no other part's renewal alone starts more than 3 K colder."""
    sure = assessed.units[assessed.units["flagged"] & (assessed.units["part_probability"] > 0.9)]
    assert len(sure) >= 2
    for unit in sure.itertuples():
        mine = assessed.parts[assessed.parts["unit"] == unit.unit].set_index("part")["renewed_coldest_start_c"]
        if mine.notna().all():
            assert mine[unit.part] <= mine.min() + 3.0


def test_no_renewal_makes_a_vehicle_start_warmer_than_today(assessed: Assessment) -> None:
    """Property: "with battery renewed it starts about ... K colder" speaks of one day, so no part may look harmful."""
    today = assessed.units.set_index("unit")["coldest_start_c"]
    parts = assessed.parts[
        assessed.parts["renewed_coldest_start_c"].notna() & (assessed.parts["part"] != "starter_motor")
    ]
    worse = parts["renewed_coldest_start_c"].to_numpy() - today.reindex(parts["unit"]).to_numpy()
    assert worse.max() < 0.3


def test_levels_carry_their_error_and_their_class(assessed: Assessment) -> None:
    """Property: level x usual = level in units; errors positive; a date before the list for what it is compared with."""
    parts = assessed.parts
    assert parts["level_mohm"].to_numpy() == pytest.approx((parts["level"] * parts["usual_mohm"]).to_numpy())
    assert (parts["se_mohm"] > 0).all()
    assert (parts["before_on"] <= DAY).all()
    assert (parts["began_on"].dropna() < DAY).all()
    assert (parts["growth_per_year"] >= -1e-9).all(), "wear does not heal"


def test_progress_is_nothing_for_sound_parts_and_grows_with_wear(assessed: Assessment) -> None:
    """Simulated truth: progress follows how far the worst part really is (rank correlation over 0.5), and is near
    nothing for vehicles whose parts are new."""
    progress = pd.Series(wear_progress(drawn_of(assessed).state), index=assessed.state.panel.units["unit"].to_numpy())
    severity = fleet().severity
    truth = severity.iloc[severity.index.searchsorted(DAY, side="right") - 1].reindex(progress.index)
    assert progress.rank().corr(truth.rank()) > 0.5
    assert progress[truth < 0.1].median() == 0.0
    assert (progress >= 0).all()
