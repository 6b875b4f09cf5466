"""The small course of a card: the same numbers as the part's large picture, few and plain, said in words too.

Truth: `part_course` and the printed limit of the same assessment, which have tests of their own.
"""

from __future__ import annotations

import json
import re
from dataclasses import replace

import numpy as np
import pytest
from samples_screens import assessed, worst_unit

from analysis.circuit.limit_book import LimitBook
from analysis.starting.coldest_start import Needs, drawn_coldest_starts
from analysis.wear.paths import mean_value
from analysis.worklist.course import failing_levels, part_course, position, printed_limit
from analysis.worklist.part import PART_CHANNEL
from analysis.worklist.short_course import FAILS, MOST_READINGS, PRINTED, short_courses
from dashboard.charts.short_course import short_course_html
from dashboard.words.short_course_words import course_note, course_text

FIGURES = 1e-5  # six figures are kept, so that one level never reads as two


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


def test_the_other_limits_are_where_the_vehicle_stops_starting_at_the_coming_low() -> None:
    """Every listed vehicle: its part is beyond that level exactly where its coldest start is warmer than the low of the list."""
    a, told = assessed(), 0
    for row in a.units[a.units["flagged"]].to_dict("records"):
        found, large = (
            short_courses(a, [(row["unit"], row["part"])])[row["unit"]],
            part_course(a, row["unit"], row["part"]),
        )
        if found["limit_is"] == PRINTED:
            continue
        assert found["limit_is"] == FAILS
        assert found["limit_at_c"] == pytest.approx(large.fails_at_c)
        assert found["others_fail"] == large.others_fail
        if found["limit"] is None:
            continue
        told += 1
        assert found["limit"] == pytest.approx(large.fails_at, rel=FIGURES)
        assert found["limit"] > found["usual"]
        now = next(value for days, value, _, _ in found["path"] if days == 0)
        if abs(row["coldest_start_c"] - found["limit_at_c"]) > 0.5:
            assert (now > found["limit"]) == (row["coldest_start_c"] > found["limit_at_c"]), row["unit"]
    assert told > 2


def test_a_worse_part_of_the_same_vehicle_would_not_start_and_a_better_one_would() -> None:
    """The level found, put back into the start: a twentieth more of it starts at warmer air only, a twentieth less in the low."""
    a = assessed()
    unit = worst_unit()
    state = a.state.of(np.array([position(a, unit)]))
    c = PART_CHANNEL["battery"]
    level, low, _ = (float(each[0]) for each in failing_levels(a, np.array([position(a, unit)]), c))
    today = np.stack([mean_value(own.posterior(np.arange(1)), state.grid, 0.0)[0] for own in state.channels])

    def start_c(level: float) -> float:
        tried = today[:, :, None].copy()
        tried[c] = level
        needs = Needs(*a.shared.learned.needs[state.group].T[:, :, None])
        bare = replace(state.vehicles, aid=None)
        return float(drawn_coldest_starts(tried, np.ones((1, 1)), bare, needs).max())

    listed = float(a.units.set_index("unit").at[unit, "coldest_start_c"])
    moved = listed - start_c(float(today[c, 0]))
    assert start_c(0.95 * level) + moved < low < start_c(1.05 * level) + moved


def test_what_a_renewal_alone_would_not_mend_is_said_so() -> None:
    """Two parts drawn so bad that either alone keeps the vehicle from starting: neither has a level, and the card says why."""
    course = {"part": "battery", "unit": "mΩ", "usual": 5.0, "limit": None, "limit_is": FAILS, "limit_at_c": -18.0,
              "others_fail": True, "readings": [], "path": [[0.0, 9.0, 8.0, 10.0]]}  # fmt: skip
    assert course_text(course, fahrenheit=False) == (
        "Battery resistance 9.0 mΩ (80 % sure: 8.0 to 10.0), usual 5.0; no start at −18 °C with it renewed either"
    )
    assert (
        course_note(course, fahrenheit=True)
        == "9.0 mΩ (8.0 to 10.0), usual 5.0; no start at 0 °F with it renewed either"
    )
    far = course | {"others_fail": False}
    assert course_note(far, fahrenheit=False) == "9.0 mΩ (8.0 to 10.0), usual 5.0"
    old = {name: value for name, value in far.items() if name not in ("limit_at_c", "others_fail")} | {"limit": 23.6}
    assert course_note(old, fahrenheit=False) == "9.0 mΩ (8.0 to 10.0), usual 5.0; no start at 5 °C from 23.6 mΩ on"
    assert "<svg" in short_course_html(course, as_of="2026-11-21", key="k", fahrenheit=False)


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
