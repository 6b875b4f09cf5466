"""Where the two leads go: the right points for every field, for 12 and 24 V, in words and in the drawing, with what to mind.

Truth: the fields' own definitions (`ingest.fields`): a drop is measured along the part that it is named for.
"""

from __future__ import annotations

import re
from html import escape

import pytest

from dashboard.charts.leads import leads_html
from dashboard.charts.theme import GROUNDS, LEAD_RED
from dashboard.words import safety
from dashboard.words.lead_words import LEADS, field_at_hand, leads_text
from ingest.fields import QUANTITIES

NO_LEADS = {"temperature_c", "crank_rpm", "odometer_km", "crank_s", "tester_load_ohm"}
ENDS = {
    "rest_v": ("the battery's positive post", "the battery's negative post"),
    "crank_min_v": ("the battery's positive post", "the battery's negative post"),
    "crank_dip_v": ("the battery's positive post", "the battery's negative post"),
    "charging_v": ("the battery's positive post", "the battery's negative post"),
    "drop_positive_v": ("the battery's positive post", "the starter's B+ stud"),
    "drop_ground_v": ("the starter's housing", "the battery's negative post"),
    "drop_contacts_v": ("the starter's B+ stud", "the solenoid's motor stud"),
    "drop_control_v": ("the battery's positive post", "the solenoid's control terminal"),
    "feed_v": ("the feed terminal of the relay socket", "bare metal of the engine"),
    "control_loaded_v": ("the control terminal of the relay socket", "the battery's negative post"),
    "coil_loaded_v": ("the solenoid's control terminal", "the starter's housing"),
    "coil_alone_v": ("the solenoid's control terminal", "the starter's housing"),
}
ROUND = {"crank_a": "the starter cable", "peak_a": "the starter cable", "coil_a": "the control wire",
         "pull_in_a": "the control wire"}  # fmt: skip


def test_every_field_that_leads_or_a_clamp_measure_has_its_drawing() -> None:
    assert set(LEADS) == set(QUANTITIES) - NO_LEADS == {*ENDS, *ROUND}


@pytest.mark.parametrize("field", ENDS)
def test_both_points_are_named(field: str) -> None:
    red, black = ENDS[field]
    assert re.match(f"Red lead at {re.escape(red)}.*, black lead at {re.escape(black)}.*; ", leads_text(field))


@pytest.mark.parametrize("field", ROUND)
def test_a_clamp_goes_round_one_cable(field: str) -> None:
    assert leads_text(field).startswith(f"Clamp round {ROUND[field]}; while cranking.")
    assert " cx=" in leads_html(field, system_v=12)
    assert "red lead" not in leads_html(field, system_v=12).casefold()


@pytest.mark.parametrize("system_v", [12, 24])
@pytest.mark.parametrize("field", LEADS)
def test_the_drawing_says_its_points_to_those_who_cannot_see_it(field: str, system_v: int) -> None:
    html = leads_html(field, system_v=system_v)
    label = re.search(r'role="img" aria-label="([^"]+)"', html)
    assert label is not None
    assert label[1].replace("&#x27;", "'") == leads_text(field, series=system_v == 24)
    assert "\n" not in html


def test_two_blocks_stand_in_series_or_in_parallel_and_the_posts_are_their_outer_ones() -> None:
    one, series, parallel = (
        leads_html("rest_v", system_v=v, parallel=p) for v, p in ((12, False), (24, False), (12, True))
    )
    assert [html.count("12 V</text>") for html in (one, series, parallel)] == [1, 2, 2]
    assert "outer positive post of the two batteries in series" in series
    assert "positive post that the starter cable leaves from" in parallel
    probes = [
        [float(x) for x in re.findall(r'<circle cx="([\d.]+)" cy="206', html)] for html in (one, series, parallel)
    ]
    assert [sorted(xs) for xs in probes] == [[40.0, 120.0], [28.0, 152.0], [28.0, 152.0]]


def test_what_to_mind_stands_with_it() -> None:
    assert escape(safety.DISABLE) in leads_html("drop_ground_v", system_v=12)
    assert escape(safety.AIRBAG) in leads_html("coil_alone_v", system_v=12)
    assert escape(safety.BODY) in leads_html("charging_v", system_v=12)
    assert escape(safety.DISABLE) not in leads_html("rest_v", system_v=12)


def test_the_field_at_hand_is_the_first_that_is_empty() -> None:
    assert field_at_hand({}) == "rest_v"
    assert field_at_hand({"rest_v": "12.6", "crank_min_v": "10", "crank_dip_v": " "}) == "crank_dip_v"
    assert field_at_hand(dict.fromkeys(LEADS, "1")) == "rest_v"
    assert field_at_hand({}, ("temperature_c", "drop_ground_v", "rest_v")) == "drop_ground_v"
    assert field_at_hand({"drop_ground_v": "0.1"}, ("drop_ground_v", "rest_v")) == "rest_v"


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("ground", GROUNDS)
def test_the_red_lead_stands_out_from_both_grounds(ground: str) -> None:
    """WCAG 2.2, 1.4.11: 3 to 1."""
    light, dark = sorted((luminance(LEAD_RED), luminance(ground)), reverse=True)
    assert (light + 0.05) / (dark + 0.05) >= 3.0
