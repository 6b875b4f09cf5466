"""The small course of a card: the same numbers as the part's large picture, few and plain, said in words too.

Truth: `part_course` and the printed limit of the same assessment, which have tests of their own.
"""

from __future__ import annotations

import json
import re

import pytest
from samples_screens import assessed, worst_unit

from analysis.circuit.limit_book import LimitBook
from analysis.worklist.course import part_course, printed_limit
from analysis.worklist.part import PART_CHANNEL
from analysis.worklist.short_course import FAILS, MOST_READINGS, PRINTED, short_courses
from dashboard.charts.short_course import short_course_html
from dashboard.words.short_course_words import course_text

FIGURES = 2e-3  # four figures are kept


@pytest.mark.parametrize("part", ["battery", "ground_path", "starter_motor", "engine_drag"])
def test_it_is_the_large_course_in_few_numbers(part: str) -> None:
    unit = worst_unit()
    small, large = short_courses(assessed(), [(unit, part)])[unit], part_course(assessed(), unit, part)
    today = large.path[large.path["ahead"]].iloc[0]
    assert next(row for row in small["path"] if row[0] == 0)[1:] == pytest.approx(
        [today["value"], today["low"], today["high"]], rel=FIGURES
    )
    used = large.readings[large.readings["used"]]["value"].tail(MOST_READINGS)
    assert [value for _, value, _ in small["readings"]] == pytest.approx(used.tolist(), rel=FIGURES)
    assert (small["unit"], small["usual"]) == (large.unit, pytest.approx(large.usual, rel=FIGURES))


def test_the_limit_is_the_printed_one_where_there_is_one() -> None:
    a, unit = assessed(), worst_unit()
    found = short_courses(a, [(unit, "ground_path")])[unit] | {"path": []}
    state = a.state
    u = state.panel.units["unit"].tolist().index(unit)
    row = state.panel.units.iloc[u]
    limits = LimitBook().for_group(str(row["vehicle_class"]), int(row["system_v"]), "diesel", None)
    by_hand = printed_limit(
        state.laws, int(state.group[u]), PART_CHANNEL["ground_path"], limits.ground_path_drop_v.value, float(row["system_v"])
    )  # fmt: skip
    assert (found["limit"], found["limit_is"]) == (pytest.approx(by_hand, rel=FIGURES), PRINTED)
    battery = short_courses(a, [(unit, "battery")])[unit]
    assert (battery["limit"], battery["limit_is"]) == (
        pytest.approx(part_course(a, unit, "battery").fails_at, rel=FIGURES), FAILS,
    )  # fmt: skip


def test_a_list_keeps_it_in_little_room() -> None:
    listed = assessed().units[assessed().units["flagged"]]
    found = short_courses(assessed(), list(zip(listed["unit"], listed["part"], strict=True)))
    assert set(found) == set(listed["unit"])
    assert len(json.dumps(found)) / len(found) < 1200, "bytes of a vehicle"


def test_the_card_draws_it_with_its_range_and_limit_and_says_it_in_words() -> None:
    course = {"part": "ground_path", "unit": "mΩ", "usual": 0.5, "limit": 1.0, "limit_is": "printed",
              "readings": [[-90.0, 0.6, 0.0], [-10.0, 0.9, 0.0]],
              "path": [[-91.0, 0.6, 0.5, 0.7], [0.0, 0.9, 0.8, 1.0], [91.0, 1.2, 0.9, 1.5]]}  # fmt: skip
    html = short_course_html(course, as_of="2026-11-21", key="k", fahrenheit=False)
    said = "Ground path 0.90 mΩ (80 % sure: 0.80 to 1.00), usual 0.50; printed limit 1.00 mΩ"
    assert course_text(course, fahrenheit=False) == said
    assert f'aria-label="{said}"' in html
    assert html.count("stroke-dasharray") == 2, "the path ahead and the limit"
    assert "11 Nov 2026" in html
    assert "\n" not in html
    far = short_course_html(course | {"limit": 9.0}, as_of="2026-11-21", key="k", fahrenheit=False)
    assert far.count("stroke-dasharray") == 1
    assert "printed limit 9.0 mΩ" in far


def test_dots_stand_where_their_values_are() -> None:
    """By hand: the axis goes to 1.12 times the highest of the range (1.0); 0.9 stands 46 (1 - 0.9 / 1.12) = 9.04 from the top."""
    course = {"part": "battery", "unit": "mΩ", "usual": 0.5, "limit": 9.0, "limit_is": "fails",
              "readings": [[-100.0, 0.9, 0.0]], "path": [[0.0, 0.9, 0.8, 1.0], [100.0, 1.0, 0.9, 1.2]]}  # fmt: skip
    dots = re.search(
        r'd="M([\d.]+),([\d.]+)h0.01"', short_course_html(course, as_of="2026-11-21", key="k", fahrenheit=False)
    )
    assert dots is not None
    assert [float(n) for n in dots.groups()] == pytest.approx([0.0, 9.04], abs=0.01)
