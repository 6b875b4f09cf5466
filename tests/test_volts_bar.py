"""The bars of where the volts go as they are drawn: in the right place, over their limits, with text and numbers behind.

Truth: readings whose volts are worked out by hand in `test_where_volts_go`.
"""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from test_where_volts_go import BY_HAND, EXPECTED, taken

from analysis.bay.where_volts_go import READ
from dashboard.charts.volts_bar import share_left, volts_html
from dashboard.words import volts_words
from dashboard.words.chart_numbers import SUMMARY


def drawn(reading: dict[str, object], coming_c: float | None = None, *, fahrenheit: bool = False) -> str:
    return volts_html(taken(reading, coming_c=coming_c), fahrenheit=fahrenheit)


def test_the_bar_stands_where_its_volts_are() -> None:
    """By hand: the axis begins at the class's 12.65 V; 12.6 V stand 0.40 % from the left, and 2.4 V are 18.97 % wide."""
    first = re.search(r'<rect x="([\d.]+)%" y="\d+" width="([\d.]+)%"', drawn(BY_HAND))
    assert first is not None
    assert [float(n) for n in first.groups()] == pytest.approx([0.40, 18.97], abs=0.011)
    assert (share_left(12.65, 12.65), share_left(0.0, 12.65)) == (0.0, 1.0)


def test_it_says_what_is_over_its_limit_by_how_much_and_what_to_do() -> None:
    said = volts_words.to_do(taken(BY_HAND), fahrenheit=False)
    assert said.startswith(
        "The ground path loses 0.50 V; at most 0.22 V is allowed, 0.10 V is usual. Clean and tighten"
    )


def test_contacts_are_several() -> None:
    said = volts_words.to_do(taken(BY_HAND | {"drop_contacts_v": 2.0}), fahrenheit=False)
    assert said.startswith("The solenoid contacts lose 2.00 V; at most"), said


def test_a_value_that_does_not_fit_is_measured_again_before_anything_is_repaired() -> None:
    said = volts_words.to_do(taken(BY_HAND), fahrenheit=False, suspect="drop_ground_v")
    assert said.endswith(
        "0.10 V is usual. Measure the ground path drop once more first: this value does not fit the others."
    )
    assert "Clean and tighten" in volts_words.to_do(taken(BY_HAND), fahrenheit=False, suspect="crank_a")


def test_what_only_the_cold_brings_over_its_limit_is_said_of_the_cold() -> None:
    """The limit of a drop grows with the amps, the battery's least volts fall in the cold: a battery that sags much is over both."""
    weak = BY_HAND | {"crank_min_v": 9.7, "drop_positive_v": 0.12, "drop_ground_v": 0.1}
    said = volts_words.to_do(taken(weak, coming_c=-25.0), fahrenheit=False)
    assert said.startswith("At the coming low of −25 °C the battery would lose"), said
    assert "Charge and test the battery" in said


def test_a_sound_reading_says_that_there_is_nothing_to_do() -> None:
    sound = BY_HAND | {"crank_min_v": 11.4, "drop_positive_v": 0.12, "drop_contacts_v": 0.16, "drop_ground_v": 0.1}
    assert volts_words.to_do(taken(sound), fahrenheit=False) == "No part loses more than it may: nothing to do here."


def test_every_bar_is_said_to_those_who_cannot_see_it() -> None:
    html = drawn(BY_HAND, -10.0, fahrenheit=True)
    texts = re.findall(r'role="img" aria-label="([^"]+)"', html)
    assert len(texts) == 3
    assert "68 °F, 200 A, 12.60 V at rest: battery 2.40 V ±" in texts[0]
    assert "ground path 0.50 V ± 0.02, at most 0.22 V" in texts[0]
    assert "14 °F" in texts[2]


def test_the_numbers_behind_it_are_folded_and_complete() -> None:
    html = drawn(BY_HAND, -10.0)
    table = html[html.index("<details") :]
    assert SUMMARY in table
    assert len(re.findall("<tr>", table)) == 1 + 15
    assert "2.40" in table


def test_what_was_not_measured_is_pale_and_said() -> None:
    without = BY_HAND | {"drop_positive_v": None, "drop_ground_v": None}
    html = drawn(without)
    assert html.count("stroke-dasharray=") == 2
    assert volts_words.PALE in html
    assert "positive cable 0.12 V ± 0.03 (not measured, expected)" in html
    assert "Not measured: positive cable and ground path." in volts_words.to_do(taken(without), fahrenheit=False)


def test_volts_alone_are_said_not_to_tell_apart() -> None:
    html = drawn({"temperature_c": 20.0, "rest_v": 12.6, "crank_min_v": 10.2})
    assert "is not told apart" in html
    assert "rest of the circuit 10.20 V" in html


def test_amps_that_were_measured_are_not_said_to_be_missing() -> None:
    """In a class that was hardly read for drops they stay with the motor, and one drop that was measured is told apart."""
    unread = replace(EXPECTED, unknown=frozenset({"drop_positive_v", "drop_ground_v", "drop_contacts_v"}))
    sound = {"temperature_c": 20.0, "rest_v": 12.6, "crank_min_v": 11.4, "crank_a": 200.0}
    said = volts_words.to_do(taken(sound | {"drop_ground_v": 0.1}, unread), fahrenheit=False)
    assert said == (
        "No part loses more than it may, as far as it was measured. Not told apart from the motor's share: positive cable and solenoid "
        "contacts; drops while cranking would tell."
    )


def test_a_battery_within_its_limit_that_loses_far_more_than_usual_is_named() -> None:
    """By hand: 6 mΩ and 200 A take 1.2 V of a sound battery at 20 °C; 3.0 V leave 9.6 V, above the least of 9 V."""
    said = volts_words.to_do(
        taken({"temperature_c": 20.0, "rest_v": 12.6, "crank_min_v": 9.6, "crank_a": 200.0}), fahrenheit=False
    )
    assert said.startswith("No part loses more than it may, but the battery loses 3.00 V where 1.2"), said


def test_without_the_volts_there_are_no_bars_but_the_reason() -> None:
    found = taken({"temperature_c": 20.0, "crank_a": 200.0})
    assert found.bar(READ).empty
    assert "the volts while cranking were not measured" in volts_words.to_do(found, fahrenheit=False)


def test_it_is_one_line_so_that_markdown_leaves_it_alone() -> None:
    assert "\n" not in drawn(BY_HAND, -10.0)
