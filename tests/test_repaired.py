"""Before and after a repair: which readings, whether it helped, and how it is drawn and said.

Truth: Ohm's law by hand on readings at 20 °C.
"""

from __future__ import annotations

import re
from typing import Any

import pandas as pd
import pytest
from test_one_reading import EXPECTED, take
from test_where_volts_go import BY_HAND, taken

from analysis.bay.repaired import BETTER, NOT_TOLD, WORSE, Repaired, compare, readings_around
from dashboard.charts.repaired import repaired_html
from dashboard.words import repaired_words

DAYS = {"before": pd.Timestamp("2026-06-08"), "after": pd.Timestamp("2026-08-07")}


def compared(before: dict[str, Any], after: dict[str, Any], part: str = "ground_path") -> Repaired | None:
    return compare(part, take(BY_HAND | before), take(BY_HAND | after), EXPECTED)


def test_ohms_before_and_after_are_the_drop_over_the_amps() -> None:
    """0.5 V and 0.1 V over 200 A are 2.5 and 0.5 mΩ; its class usually has 0.5 mΩ."""
    found = compared({"drop_ground_v": 0.5}, {"drop_ground_v": 0.1})
    assert found is not None
    assert (found.before, found.after, found.usual) == (pytest.approx(2.5), pytest.approx(0.5), pytest.approx(0.5))
    assert (found.fell, found.outcome) == (pytest.approx(2.0), BETTER)
    said = repaired_words.said("ground_path", found)
    assert (
        said
        == "Ground path 2.50 mΩ before, 0.50 mΩ after, usual 0.50 mΩ: the repair took away 2.00 mΩ; nothing more to do."
    )


@pytest.mark.parametrize(
    ("before_v", "after_v", "outcome", "words"),
    [
        (0.105, 0.1, NOT_TOLD, "no difference that the meters' errors let tell"),
        (0.1, 0.5, WORSE, "it reads worse than before"),
        (0.9, 0.3, BETTER, "still more than is usual, so look at it once more"),
    ],
)
def test_errors_decide_what_is_a_difference(before_v: float, after_v: float, outcome: str, words: str) -> None:
    found = compared({"drop_ground_v": before_v}, {"drop_ground_v": after_v})
    assert found is not None
    assert found.outcome == outcome
    assert words in repaired_words.said("ground_path", found)


def test_what_was_not_measured_both_times_is_not_compared() -> None:
    assert compared({"drop_ground_v": None}, {}) is None
    assert compared({}, {}, "engine_drag") is None
    assert "do not both tell the resistance of the engine drag" in repaired_words.said("engine_drag", None)


def test_the_readings_on_both_sides_hold_what_tells_of_the_part_and_the_day_s_own_counts_as_after() -> None:
    days = pd.to_datetime(["2026-01-01", "2026-02-01", "2026-03-01", "2026-04-01"])
    readings = pd.DataFrame({"taken_at": days, "drop_ground_v": [0.5, None, 0.1, 0.2], "crank_a": 200.0})
    pair = readings_around(readings, pd.Timestamp("2026-03-01"), ("drop_ground_v", "crank_a"))
    assert pair is not None
    assert [row["drop_ground_v"] for row in pair] == [0.5, 0.1]
    assert readings_around(readings, pd.Timestamp("2026-05-01"), ("crank_a",)) is None


def test_both_bars_stand_side_by_side_on_one_scale_with_the_numbers_behind() -> None:
    volts = {"before": taken(BY_HAND), "after": taken(BY_HAND | {"drop_ground_v": 0.1, "rest_v": 12.3})}
    found = compared({"drop_ground_v": 0.5}, {"drop_ground_v": 0.1})
    html = repaired_html("ground_path", found, volts, DAYS, fahrenheit=False)
    assert html.count("<rect") == 10
    starts = [float(x) for x in re.findall(r'<rect x="([\d.]+)%" y="12"', html)]
    assert starts[5] - starts[0] == pytest.approx(100 * 0.3 / 12.65, abs=0.02), "0.3 V less at rest"
    assert html.count("<table>") == 2
    assert "8 Jun 2026" in html
    assert "\n" not in html
