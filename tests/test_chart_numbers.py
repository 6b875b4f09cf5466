"""Every chart has its numbers folded behind it, the same that it draws, reached by the keyboard.

Truth: the courses that the charts are drawn from, and sines by hand for a recorded start.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from samples_screens import assessed, worst_unit

from analysis.trace.record import Trace
from analysis.worklist.course import cold_course, part_course
from dashboard.charts import charts
from dashboard.charts.behind import behind
from dashboard.words import chart_numbers
from dashboard.words.chart_numbers import SUMMARY
from dashboard.words.plain_text import cold_words, day
from dashboard.words.reasons import bare

SCREENS = Path(__file__).parents[1] / "dashboard" / "screens"


def test_no_chart_is_shown_without_its_numbers() -> None:
    """Charts are shown by `pictures.chart`, which folds the numbers below; the past lists' have a table with a download."""
    for path in SCREENS.rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        for call in re.finditer(r"vega_lite_chart\(", text):
            after = text[call.start() : call.start() + 400]
            assert path.name == "pictures.py" or "expander(SUMMARY)" in after, path.name


def test_a_table_opens_by_keyboard_and_holds_text_as_text() -> None:
    """`details` and `summary` take the focus and open at Enter by themselves; what a person typed is escaped."""
    html = behind("k", pd.DataFrame({"<b>": ["<script>alert(1)</script>"]}))
    assert html.startswith("<details")
    assert f"<summary>{SUMMARY}</summary>" in html
    assert "<script>" not in html
    assert "&lt;script&gt;" in html


def test_a_part_s_numbers_are_those_that_its_chart_draws() -> None:
    course = part_course(assessed(), worst_unit(), "battery")
    readings, path = chart_numbers.part_numbers(course, charts.kinds_of(course))
    last, now = course.readings.iloc[-1], course.path.iloc[0]
    assert readings.iloc[0].tolist()[:2] == [day(last["taken_at"]), bare(last["value"])]
    assert path.iloc[0].tolist()[:2] == [day(now["day"]), bare(now["value"])]
    assert len(readings) == len(course.readings)


def test_the_cold_s_numbers_are_in_the_reader_s_degrees() -> None:
    cold = cold_course(assessed(), worst_unit(), part="battery")
    season = pd.DataFrame({"day": cold["day"].head(1), "low_c": [-10.0], "one_in_ten_c": [-20.0]})
    forecast = pd.DataFrame({"date": cold["day"].head(1), "low_c": [-5.0]})
    starts, usual, foreseen = chart_numbers.cold_numbers(cold, season, forecast, renewed="renewed", fahrenheit=True)
    assert starts.iloc[0].tolist()[1] == cold_words(float(cold["coldest_start_c"].iloc[0]), fahrenheit=True)
    assert usual.iloc[0].tolist()[1:] == ["14 °F", "−4 °F"]
    assert foreseen.iloc[0].tolist()[1] == "23 °F"
    assert "renewed" in starts


@pytest.mark.parametrize(("seconds", "rows"), [(5.0, 50), (60.0, 120)])
def test_a_recorded_start_is_written_every_tenth_of_a_second_and_never_too_long(seconds: float, rows: int) -> None:
    time_s = np.arange(int(1000 * seconds)) / 1000.0
    table = chart_numbers.trace_numbers(Trace(time_s, volts=12.0 + np.sin(time_s)))
    assert len(table) == rows
    assert table.iloc[1].tolist() == (["0.10", "12.10"] if rows == 50 else ["0.50", "12.48"])
