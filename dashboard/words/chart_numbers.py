"""The numbers behind the charts over time, as tables of words: what a chart draws, once a month where it draws a curve."""

from collections.abc import Mapping, Sequence
from typing import Final

import pandas as pd

from analysis.trace.record import Trace
from analysis.worklist.course import PartCourse
from dashboard.words.plain_text import cold_words, day, number, percent, temperature
from dashboard.words.reasons import bare

SUMMARY: Final = "The numbers behind this picture"
EVERY: Final = 4  # a curve has a point a week: every fourth is written; our choice
TRACE_STEP_S: Final = 0.1  # [s] between the samples that are written of a recorded start; our choice
TRACE_ROWS: Final = 120  # of them at most, our choice
LOWS_STEP: Final = 5  # [°C] between the morning lows that are written; our choice


def part_numbers(course: PartCourse, kinds: Sequence[str]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The readings of a part, newest first, and its level month by month; kinds: what each reading is drawn as."""
    unit = course.unit
    readings = [
        (day(r["taken_at"]), bare(r["value"]), f"{bare(r['low'])} to {bare(r['high'])}", kind)
        for r, kind in zip(course.readings.to_dict("records"), kinds, strict=True)
    ]
    path = [
        (day(p["day"]), bare(p["value"]), f"{bare(p['low'])} to {bare(p['high'])}")
        for p in course.path.iloc[::EVERY].to_dict("records")
    ]
    return (
        pd.DataFrame(readings[::-1], columns=["read on", f"{unit} at 20 °C", "80 % sure", "drawn as"]),
        pd.DataFrame(path, columns=["level on", f"{unit} at 20 °C", "80 % sure"]),
    )


def cold_numbers(
    cold: pd.DataFrame, season: pd.DataFrame, forecast: pd.DataFrame, *, renewed: str | None, fahrenheit: bool
) -> tuple[pd.DataFrame, ...]:
    starts = pd.DataFrame(
        {
            "day": [day(d) for d in cold["day"]],
            "coldest start": [cold_words(c, fahrenheit=fahrenheit) for c in cold["coldest_start_c"]],
            "80 % sure": [
                f"{cold_words(low, fahrenheit=fahrenheit)} to {cold_words(high, fahrenheit=fahrenheit)}"
                for low, high in zip(cold["low_c"], cold["high_c"], strict=True)
            ],
        }
    )
    if renewed is not None:
        starts[renewed] = [cold_words(c, fahrenheit=fahrenheit) for c in cold["renewed_c"]]
    months = season.iloc[::EVERY]
    usual = pd.DataFrame(
        {
            "day": [day(d) for d in months["day"]],
            "usual low": [temperature(c, fahrenheit=fahrenheit) for c in months["low_c"]],
            "one morning in ten below": [temperature(c, fahrenheit=fahrenheit) for c in months["one_in_ten_c"]],
        }
    )
    foreseen = pd.DataFrame(
        {
            "day": [day(d) for d in forecast["date"]],
            "forecast low": [temperature(c, fahrenheit=fahrenheit) for c in forecast["low_c"]],
        }
    )
    return starts, usual, foreseen


def outlook_numbers(outlook: pd.DataFrame, renewed: str) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "week from": [day(d) for d in outlook["week_start"]],
            "no-start by then": [percent(p) for p in outlook["probability"]],
            "80 % sure": [
                f"{percent(low)} to {percent(high)}"
                for low, high in zip(outlook["probability_low"], outlook["probability_high"], strict=True)
            ],
            renewed: [percent(p) for p in outlook["probability_renewed"]],
        }
    )


def cold_count_numbers(counts: pd.DataFrame, *, fahrenheit: bool) -> pd.DataFrame:
    """Vehicles that fail to start, by morning low, the mildest first."""
    some = counts[counts["low_c"] % LOWS_STEP == 0].iloc[::-1]
    return pd.DataFrame(
        {
            "morning low": [temperature(float(c), fahrenheit=fahrenheit) for c in some["low_c"]],
            "more likely than not": [str(n) for n in some["likely"]],
            "possibly": [str(n) for n in some["possible"]],
        }
    )


def hours_numbers(hours: pd.DataFrame, used: Mapping[tuple[str, str], str]) -> pd.DataFrame:
    """Hours used of those there are, a row per week and depot; used: week and depot -> the same in words."""
    rows = [(h["iso_week"], h["depot"], used[h["iso_week"], h["depot"]]) for h in hours.to_dict("records")]
    return pd.DataFrame(rows, columns=["week", "depot", "hours"])


def trace_numbers(trace: Trace) -> pd.DataFrame:
    """Samples of a recorded start, the nearest to every tenth of a second; further apart where it is long."""
    step = max(1, round(TRACE_STEP_S * trace.rate_hz), -(-len(trace.time_s) // TRACE_ROWS))
    table = {"time, s": [number(float(t), 2) for t in trace.time_s[::step]]}
    for name, values, digits in (("volts", trace.volts, 2), ("amps", trace.amps, 0)):
        if values is not None:
            table[name] = [number(float(v), digits) for v in values[::step]]
    return pd.DataFrame(table)
