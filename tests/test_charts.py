"""Charts: valid Vega-Lite, with a title, units, intervals and a text; and the course they draw is the list's own.

Truth: the simulated fleet's readings by hand (volts over amps), and the assessment the charts were made from.
"""

from __future__ import annotations

import json
import re
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from samples_chance import one_in
from samples_screens import assessed, readings_of, worst_unit
from scipy.stats import theilslopes

from analysis.constants import Z_80
from analysis.worklist.choices import JUDGING
from analysis.worklist.course import PartCourse, cold_course, part_course, plain_slopes, season_course, theil_sen
from dashboard.charts import charts
from dashboard.words import chart_words
from dashboard.words.reasons import plain


def specs_in(spec: dict[str, Any]) -> str:
    return str(spec)


def part(unit: str, name: str) -> charts.Chart:
    a = assessed()
    return charts.part_chart(
        part_course(a, unit, name),
        title=f"{name} of {unit}",
        as_of=a.as_of,
        repairs=pd.DataFrame({"done_on": pd.to_datetime(["2026-03-02"]).as_unit("us"), "words": ["replaced"]}),
        printed_limit=1.0,
        marks=pd.DataFrame({"taken_at": pd.to_datetime(["2026-05-02"]).as_unit("us"), "kind": [chart_words.ASIDE]}),
    )


@pytest.mark.parametrize(
    "name", one_in(4, ["battery", "ground_path", "starter_motor", "control_circuit", "engine_drag"])
)
def test_a_part_chart_is_valid_and_says_unit_and_limits(name: str) -> None:
    spec = part(worst_unit(), name).to_dict()  # altair checks it against the Vega-Lite schema
    text = specs_in(spec)
    assert ("A at 20 °C" if name == "engine_drag" else "mΩ at 20 °C") in text
    assert f"{name} of {worst_unit()}" in text
    assert "replaced" in text
    assert chart_words.ASIDE in text


def test_chart_colours_are_never_alone() -> None:
    """Every kind of reading has a shape of its own beside its colour."""
    looks = list(charts._LOOKS.values())
    assert len({shape for shape, _ in looks}) == len(looks)
    assert len({colour for _, colour in looks}) == len(looks)


def test_the_course_ends_at_the_level_that_the_list_states() -> None:
    a, unit = assessed(), worst_unit()
    stated = a.parts[(a.parts["unit"] == unit)].set_index("part")
    for name in stated.index:
        course = part_course(a, unit, str(name))
        now = course.path[course.path["ahead"]].iloc[0]
        assert now["value"] == pytest.approx(stated.loc[name, "level_mohm"], rel=1e-6)
        half = (now["high"] - now["value"]) / Z_80
        assert half == pytest.approx(stated.loc[name, "se_mohm"], rel=1e-6)
        assert course.usual == pytest.approx(stated.loc[name, "usual_mohm"])


def test_readings_drawn_are_volts_over_amps() -> None:
    """Worked by hand: the ground path's mΩ are drop over steady amps, copper brought from the air's °C to 20 °C."""
    a, unit = assessed(), worst_unit()
    drawn = part_course(a, unit, "ground_path").readings.set_index("taken_at")["value"]
    raw = readings_of(unit).set_index("taken_at")
    both = raw.dropna(subset=["drop_ground_v", "crank_a", "temperature_c"])
    both = both[both["doubtful"] == ""]
    common = both.index.intersection(drawn.index)
    assert len(common) > 5
    by_hand = 1e3 * both["drop_ground_v"] / both["crank_a"] / (1 + 0.00393 * (both["temperature_c"] - 20))
    assert drawn[common].to_numpy() == pytest.approx(by_hand[common].to_numpy(), rel=0.02)


def test_the_cold_course_starts_at_the_coldest_start_of_the_list() -> None:
    a, unit = assessed(), worst_unit()
    row = a.units.set_index("unit").loc[unit]
    cold = cold_course(a, unit, part=str(row["part"]))
    assert cold["day"].iloc[0] == a.as_of
    assert cold["coldest_start_c"].iloc[0] == pytest.approx(float(row["coldest_start_c"]), abs=0.01)
    assert (cold["low_c"] <= cold["coldest_start_c"]).all()
    assert (cold["coldest_start_c"] <= cold["high_c"]).all()
    assert (cold["renewed_c"] <= cold["coldest_start_c"] + 0.01).all()


def test_cold_and_outlook_charts_are_valid() -> None:
    a, unit = assessed(), worst_unit()
    climate = pd.DataFrame({"depot": "x", "month": range(1, 13), "low_c": [-9.0] * 12, "low_sd_c": [3.0] * 12})
    cold, season = cold_course(a, unit, part="battery"), season_course(climate, "x", a.as_of)
    assert season["one_in_ten_c"].to_numpy() == pytest.approx(-9.0 - 1.2816 * 3.0, abs=1e-3)  # normal table
    forecast = pd.DataFrame({"depot": ["x"], "date": pd.to_datetime(["2026-12-01"]).as_unit("us"), "low_c": [-11.0]})
    text = specs_in(charts.cold_chart(cold, season, forecast, title="cold", renewed="with battery renewed").to_dict())
    assert "°C" in text
    assert "with battery renewed" in text
    assert "forecast low" in text
    mine = a.outlook[a.outlook["unit"] == unit]
    text = specs_in(charts.outlook_chart(mine, title="by week", renewed="battery renewed").to_dict())
    assert "probability_low" in text
    assert "In these months its depot is coldest around" in chart_words.cold_text(cold, season)
    elsewhere = season_course(climate, "y", a.as_of)
    assert "No climate of its depot is known" in chart_words.cold_text(cold, elsewhere)
    text = specs_in(charts.cold_chart(cold, elsewhere, forecast, title="cold", renewed=None).to_dict())
    assert "a usual low, assumed" in text


def test_fleet_charts_are_valid() -> None:
    history = pd.DataFrame(
        {"day": pd.to_datetime(["2026-10-01", "2026-11-01"]), "part": ["battery"] * 2, "vehicles": [2, 3]}
    )
    assert "battery" in specs_in(charts.risk_history_chart(history, by="part", title="t", order=["battery"]).to_dict())
    counts = pd.DataFrame({"low_c": [-10, 0], "likely": [3, 1], "possible": [5, 2]})
    assert "morning low, °C" in specs_in(charts.cold_count_chart(counts, chosen_c=-5.0, title="t").to_dict())
    hours = pd.DataFrame({"depot": ["a", "b"], "iso_week": ["2026-W48"] * 2, "hours": [8.0, 0.0], "booked": [2.0, 0.0]})
    assert "2.0 of 8 h" in specs_in(charts.hours_chart(hours, title="t").to_dict())


def test_the_text_says_what_the_chart_shows() -> None:
    a, unit = assessed(), worst_unit()
    course = part_course(a, unit, "battery")
    text = chart_words.part_text(course, "Battery resistance")
    assert f"{len(course.readings)} readings" in text
    assert plain(float(course.readings["value"].iloc[-1]), "mΩ") in text
    assert not re.search(r"\d{2,}\.\d{2} mΩ", text), "four figures of a resistance that is known to a tenth"


def test_unknown_vehicle_or_part_is_named() -> None:
    with pytest.raises(ValueError, match="'nobody'"):
        part_course(assessed(), "nobody", "battery")
    with pytest.raises(ValueError, match="allowed are battery"):
        part_course(assessed(), worst_unit(), "wheel")


def test_charts_follow_the_readers_thermometer() -> None:
    """°F = 1.8 °C + 32 by definition: -9 °C is 15.8 °F, -40 °C is -40 °F; the chart keeps its shape."""
    a, unit = assessed(), worst_unit()
    climate = pd.DataFrame({"depot": "x", "month": range(1, 13), "low_c": [-9.0] * 12, "low_sd_c": [3.0] * 12})
    cold, season = cold_course(a, unit, part="battery"), season_course(climate, "x", a.as_of)
    forecast = pd.DataFrame({"depot": ["x"], "date": pd.to_datetime(["2026-12-01"]).as_unit("us"), "low_c": [-40.0]})
    chart = charts.cold_chart(cold, season, forecast, title="cold", renewed=None, fahrenheit=True)
    text = specs_in(chart.to_dict())
    assert "°F" in text
    assert "°C" not in text
    assert "15.8" in text
    counts = pd.DataFrame({"low_c": [-10, 0], "likely": [3, 1], "possible": [5, 2]})
    text = specs_in(charts.cold_count_chart(counts, chosen_c=-5.0, title="t", fahrenheit=True).to_dict())
    assert "morning low, °F" in text
    assert "23.0" in text  # -5 °C
    course = part_course(a, unit, "battery")
    drawn = charts.part_chart(
        course, title="t", as_of=a.as_of, repairs=pd.DataFrame({"done_on": [], "words": []}).astype(
            {"done_on": "datetime64[us]", "words": "str"}), fahrenheit=True,
    )  # fmt: skip
    assert "mΩ at 68 °F" in specs_in(drawn.to_dict())


def test_the_plain_slope_is_scipy_s_theil_sen_of_the_drawn_readings() -> None:
    """Reference library: scipy.stats.theilslopes on the last year's readings of the chart, in mOhm a month."""
    a = assessed()
    unit = worst_unit()
    slopes, compared = plain_slopes(a.state, unit), 0
    for name, (middle, low, high) in slopes.items():
        drawn = part_course(a, unit, name).readings
        drawn = drawn[drawn["used"] & (drawn["taken_at"] >= a.as_of - pd.Timedelta(days=JUDGING.plain_d))]
        if len(drawn) < 5:
            assert np.isnan(middle)
            continue
        months = (drawn["taken_at"] - a.as_of).dt.total_seconds().to_numpy() / (86400.0 * 365.25 / 12.0)
        expected = theilslopes(drawn["value"].to_numpy(), months, alpha=0.9)
        assert middle == pytest.approx(expected.slope, rel=1e-3, abs=1e-6)
        assert (low, high) == pytest.approx((expected.low_slope, expected.high_slope), rel=1e-3, abs=1e-6)
        compared += 1
    assert compared >= 3
    with pytest.raises(KeyError):
        plain_slopes(a.state, "nobody")


@pytest.mark.parametrize("ties", [False, True])
def test_the_plain_slope_and_its_interval_are_scipy_s_with_ties_too(ties: bool) -> None:
    """Reference library: scipy.stats.theilslopes, 40 series of 5 to 16 readings."""
    rng = np.random.default_rng(1)
    for count in rng.integers(5, 17, 40):
        day, value = np.sort(rng.uniform(0, 1200, count)), rng.normal(1.0, 0.1, count)
        if ties:
            value, day = np.round(value, 1), np.round(day / 60.0) * 60.0
        expected = theilslopes(value, day, alpha=JUDGING.plain_confidence)
        assert theil_sen(day, value) == (expected.slope, expected.low_slope, expected.high_slope)


def test_the_plain_slope_of_a_published_example_and_of_too_few_readings() -> None:
    """Helsel & Hirsch, USGS TM 4-A3 (from memory, computed): 1, although one of the seven values is far off."""
    assert theil_sen(np.arange(1.0, 8.0), np.array([1.0, 2.0, 3.0, 4.0, 5.0, 16.0, 7.0]))[0] == 1.0
    assert np.isnan(theil_sen(np.arange(4.0), np.arange(4.0))).all()
    assert np.isnan(theil_sen(np.zeros(6), np.arange(6.0))).all()


def test_what_is_missing_is_null_in_a_chart() -> None:
    """JSON has no infinity and no NaN; a browser would refuse the whole chart."""
    frame = pd.DataFrame({"value": [1.5, float("nan"), float("inf")], "count": [1, 2, 3], "kind": ["a", None, "c"]})
    assert charts._rows(frame) == {
        "values": [
            {"value": 1.5, "count": 1, "kind": "a"},
            {"value": None, "count": 2, "kind": None},
            {"value": None, "count": 3, "kind": "c"},
        ]
    }
    assert "Infinity" not in json.dumps(charts._rows(frame))


def test_when_a_part_reaches_its_limit_is_said() -> None:
    """By hand: 1, 2, 3 mOhm on three days ahead are over 0.5 now, at 2.5 on the third day, never at 9."""
    days = pd.to_datetime(["2026-11-21", "2026-12-21", "2027-01-20"])
    path = pd.DataFrame({"day": days, "value": [1.0, 2.0, 3.0], "low": 0.5, "high": 4.0, "ahead": True})
    course = PartCourse("ground_path", "mΩ", pd.DataFrame(), path, 0.5, 0.1, 9.0, -18.0, others_fail=False)
    assert chart_words.limit_words(course, None) == ""
    assert chart_words.limit_words(course, 2.5) == " It reaches the printed limit (2.50 mΩ) around 20 Jan 2027."
    assert chart_words.limit_words(replace(course, fails_at=0.5), None) == (
        " It is over the level of no start at −18 °C, the coming low (0.50 mΩ)."
    )
    assert chart_words.limit_words(replace(course, fails_at=float("nan"), others_fail=True), None) == (
        " With it renewed the vehicle would not start at −18 °C, the coming low, either."
    )
