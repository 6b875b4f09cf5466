"""Where the volts go on paper: in the right place, low enough for a work order, and on the sheets that carry it.

Truth: readings whose volts are worked out by hand in `test_where_volts_go`.
"""

from __future__ import annotations

import itertools
import re

import pytest
from reportlab.graphics.shapes import Drawing, Rect, String
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from test_paper import drawing as page_marks
from test_where_volts_go import BY_HAND, taken

from dashboard.files.paper_volts import WIDE, volts_drawing
from dashboard.files.pieces import build
from dashboard.words import volts_words


def texts(drawn: Drawing) -> list[str]:
    return [one.text for one in drawn.contents if isinstance(one, String)]


def test_the_bars_are_the_screen_s() -> None:
    """By hand: the axis begins at the class's 12.65 V; the first bar at 12.6 V, its battery is 2.4 V wide."""
    drawn = volts_drawing(taken(BY_HAND, coming_c=-10.0), fahrenheit=False)
    bars = [one for one in drawn.contents if isinstance(one, Rect)]
    assert len(bars) == 15
    assert (bars[0].x, bars[0].width) == (pytest.approx(WIDE * 0.05 / 12.65), pytest.approx(WIDE * 2.4 / 12.65))
    assert any("ground path 0.50 V ± 0.02, at most 0.22 V" in text for text in texts(drawn))


def test_it_is_low_enough_for_a_work_order_and_prints() -> None:
    drawn = volts_drawing(taken(BY_HAND, coming_c=-10.0), fahrenheit=True)
    assert drawn.height <= 49.001 * mm
    assert len(re.findall(rb"\bre\b", page_marks(build([drawn], title="t", wide=False)))) >= 15


def test_no_words_are_wider_than_the_paper_nor_over_each_other() -> None:
    """Three parts over their limits need a second line beneath each bar; PDF units, Vera's own widths."""
    over = BY_HAND | {"drop_positive_v": 0.55, "drop_contacts_v": 0.66}
    drawn = volts_drawing(taken(over, coming_c=-18.0), fahrenheit=True)
    said = [one for one in drawn.contents if isinstance(one, String) and one.textAnchor == "start"]
    assert sum("at most" in one.text for one in said) >= 4
    assert all(0 <= one.x + stringWidth(one.text, one.fontName, one.fontSize) <= WIDE for one in said)
    lines = sorted((one.y, one.fontSize) for one in said)
    assert all(high - low >= 0.95 * size for (low, size), (high, _) in itertools.pairwise(lines) if high > low)


def test_a_share_that_nobody_measured_is_white_and_dashed() -> None:
    drawn = volts_drawing(taken(BY_HAND | {"drop_ground_v": None}), fahrenheit=False)
    dashed = [one for one in drawn.contents if isinstance(one, Rect) and one.strokeDashArray]
    assert len(dashed) == 1
    assert "White and dashed" in volts_words.PAPER_MARKS


def test_a_reading_without_volts_says_why() -> None:
    drawn = volts_drawing(taken({"temperature_c": 20.0, "crank_a": 200.0}), fahrenheit=False)
    assert any("the volts while cranking were not measured" in text for text in texts(drawn))
