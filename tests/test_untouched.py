"""Values beyond a printed limit on which nobody acted, and what past lists would have done, by hand."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from analysis.backtest.untouched import beyond_untouched
from dashboard.words.past_words import two_figures, way_rows

UNITS = pd.DataFrame(
    {"unit": ["A", "B"], "vehicle_class": "van", "system_v": 12, "fuel": "petrol", "cylinders": 4, "depot": "hill"}
)
AS_OF = pd.Timestamp("2026-11-23")
DAYS = pd.to_datetime(["2026-03-01T08:00", "2026-06-01T08:00", "2026-08-01T08:00", "2026-10-01T08:00"])


def readings(*drops: float, unit: str = "A", doubtful: str = "") -> pd.DataFrame:
    """Ground drops of one vehicle at 120 A and 20 degC, one on each of DAYS; the last may be marked doubtful."""
    frame = pd.DataFrame({"unit": unit, "taken_at": DAYS[: len(drops)], "temperature_c": 20.0, "crank_a": 120.0})
    frame = frame.assign(drop_ground_v=drops, rest_v=12.7, crank_min_v=11.2, doubtful="")
    frame.loc[len(drops) - 1, "doubtful"] = doubtful
    return frame


def repairs(*done: tuple[str, str, str]) -> pd.DataFrame:
    """Repairs: unit, part, day."""
    frame = pd.DataFrame(list(done), columns=["unit", "part", "done_on"])
    return frame.assign(done_on=pd.to_datetime(frame["done_on"]))


def test_a_run_beyond_the_limit_counts_from_its_first_reading() -> None:
    """0.20 V is the printed limit of a light vehicle's ground path (common practice): beyond it since June, by 0.1 of 0.2."""
    found = beyond_untouched(readings(0.25, 0.15, 0.22, 0.30), UNITS, repairs(), AS_OF)
    assert found["check"].tolist() == ["drop_ground_v"]
    row = found.iloc[0]
    assert (row["part"], row["value"], row["limit"], row["readings"]) == ("ground_path", 0.30, 0.20, 2)
    assert (row["since"], row["last"]) == (DAYS[2], DAYS[3])
    assert row["times"] == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("drops", "done", "doubtful", "still"),
    [
        ((0.25, 0.30, 0.30, 0.10), (), "", False),  # well again
        ((0.10, 0.30), (("A", "ground_path", "2026-07-01"),), "", False),  # acted on
        ((0.10, 0.30), (("A", "battery", "2026-07-01"),), "", True),  # another part
        ((0.10, 0.30), (("A", "ground_path", "2026-05-01"),), "", True),  # before it was read
        ((0.10, 0.30), (("A", "ground_path", "2026-11-23"),), "", True),  # not known yet on the day of the list
        ((0.10, 3.00), (), "drop_ground_v", False),  # a doubtful value
    ],
)
def test_what_was_acted_on_or_is_doubtful_is_left_out(
    drops: tuple[float, ...], done: tuple[tuple[str, str, str], ...], doubtful: str, still: bool
) -> None:
    found = beyond_untouched(readings(*drops, doubtful=doubtful), UNITS, repairs(*done), AS_OF)
    assert ("drop_ground_v" in set(found["check"])) is still


WAYS = [
    {"way": "as it was", "no_starts": 10, "foreseen": 0, "cost": 13787.0},
    {"way": "this list", "no_starts": 10, "foreseen": 6, "right_part": 6, "median_lead_days": 136.4, "for_nothing": 1,
     "undecided": 24, "cost": 11694.0},
]  # fmt: skip


def test_two_figures_for_a_meeting() -> None:
    """Saved: 13,787 less 11,694; the other way round it is said as more."""
    figures = two_figures(WAYS, "USD")
    assert figures is not None
    assert figures[:2] == ("6 of 10", "2,093 USD")
    assert "1 flag for nothing and 24 too young" in figures[2]
    assert "2,093 USD less than waiting" in figures[2]
    dearer = [WAYS[0], {**WAYS[1], "cost": 14000.0}]
    assert "213 USD more than waiting" in (two_figures(dearer, "USD") or ("", "", ""))[2]
    assert two_figures([{**way, "no_starts": 0} for way in WAYS], "USD") is None
    assert math.isnan(float(way_rows(WAYS, "USD")[0]["right part"]))
    assert way_rows(WAYS, "USD")[1]["cost [USD]"] == 11694.0
