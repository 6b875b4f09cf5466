"""Where the volts go, on paper: the bars of the screens in black, grey and white, with the volts written beneath."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

import pandas as pd
from reportlab.graphics.shapes import Drawing, Line, Polygon, Rect, String
from reportlab.lib.colors import Color, black, white
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth

from analysis.bay.where_volts_go import BATTERY, CIRCUIT, MOTOR, WhereVoltsGo
from dashboard.charts.volts_bar import WIDE_ENOUGH, bars_of, share_left, top_v
from dashboard.files.pieces import BOLD, PORTRAIT_MM, REGULAR, printable_plain
from dashboard.words import volts_words
from dashboard.words.plain_text import number

WIDE, TALL, MARK = PORTRAIT_MM * mm, 3.8 * mm, 1 * mm
EACH, HEAD, FOOT = 10.8 * mm, 5.5 * mm, 3 * mm  # of a bar with its words, of the title, of the key
LEGEND_PT, LINE = 6, 2.4 * mm  # letters of the volts beneath a bar, and a line of them more
GREYS: Final = {
    BATTERY: 0.35,
    "positive_cable": 0.0,
    "solenoid_contacts": 0.6,
    MOTOR: 1.0,
    CIRCUIT: 1.0,
    "ground_path": 0.0,
}
"""From black to white; neighbours differ, so that a copier keeps them apart."""


def volts_drawing(found: WhereVoltsGo, *, fahrenheit: bool) -> Drawing:
    """The bars beneath each other, 41 mm high, 49 mm where their volts need a second line; of a reading without bars the reason alone."""
    names, top = bars_of(found), top_v(found)
    beneath = {name: _legend(found.bar(name)) for name in names}
    high = {name: EACH + (len(lines) - 1) * LINE for name, lines in beneath.items()}
    drawing = Drawing(WIDE, HEAD + sum(high.values()) + (FOOT if names else HEAD))
    y = drawing.height - 3 * mm
    drawing.add(_words(0, y, volts_words.TITLE, 9, bold=True))
    if found.why_not:
        drawing.add(_words(32 * mm, y, volts_words.to_do(found, fahrenheit=fahrenheit), 7))
    y -= 1 * mm
    for name in names:
        y -= high[name]
        _add_bar(drawing, found.bar(name), top, y, beneath[name], fahrenheit=fahrenheit)
    if names:
        drawing.add(_words(0, 1 * mm, volts_words.PAPER_MARKS, 5.8))
    return drawing


def _words(x: float, y: float, text: str, size: float, *, bold: bool = False) -> String:
    return String(x, y, printable_plain(text), fontName=BOLD if bold else REGULAR, fontSize=size)


def _legend(own: pd.DataFrame) -> list[str]:
    """The volts of a bar's segments, in as many lines as fit the width."""
    lines = [""]
    for row in own.to_dict("records"):
        said = f"{volts_words.SEGMENT_WORDS[row['segment']]} {volts_words.volts_said(row)}"
        longer = f"{lines[-1]}; {said}" if lines[-1] else said
        fits = stringWidth(printable_plain(longer), REGULAR, LEGEND_PT) <= WIDE
        lines = [*lines[:-1], longer] if fits else [*lines, said]
    return lines


def _add_bar(
    drawing: Drawing, own: pd.DataFrame, top: float, y: float, beneath: Sequence[str], *, fahrenheit: bool
) -> None:
    """One bar with its limits, its title above and the lines of its volts beneath; `y`: the lower edge of all that."""
    rows, foot = own.to_dict("records"), y + 3.5 * mm + (len(beneath) - 1) * LINE
    title = volts_words.bar_title(own, fahrenheit=fahrenheit)
    drawing.add(_words(0, foot + TALL + 1.4 * mm, title, 6.5, bold=True))
    for below, line in enumerate(beneath):
        drawing.add(_words(0, foot - 2.8 * mm - below * LINE, line, LEGEND_PT))
    for row in rows:
        x, to = WIDE * share_left(row["from_v"], top), WIDE * share_left(row["to_v"], top)
        grey, pale = GREYS[row["segment"]], volts_words.is_pale(row)
        bar = Rect(x, foot, max(0.0, to - x), TALL)
        bar.fillColor, bar.strokeColor, bar.strokeWidth = white if pale else Color(grey, grey, grey), black, 0.5
        if pale:
            bar.strokeDashArray = [2.0, 1.0]
        drawing.add(bar)
        if to - x >= WIDE_ENOUGH * WIDE:
            inside = _words((x + to) / 2, foot + 0.3 * TALL, f"{number(row['volts'], 2)} V", 7)
            inside.textAnchor, inside.fillColor = "middle", black if pale or grey > 0.5 else white
            drawing.add(inside)
    for row in rows:
        if row["limit_v"] == row["limit_v"]:
            for shape in _mark(row, WIDE * share_left(row["from_v"] - row["limit_v"], top), foot):
                drawing.add(shape)


def _mark(row: Mapping[Any, Any], x: float, foot: float) -> list[Line | Polygon]:
    """The battery's least volts from above, through the bar; the most that a part may lose from below."""
    half, above = 0.7 * MARK, foot + TALL
    if row["segment"] == BATTERY:
        tip = Polygon([x - half, above + MARK, x + half, above + MARK, x, above], fillColor=black, strokeWidth=0)
        return [tip, Line(x, foot, x, above, strokeColor=black, strokeWidth=1, strokeDashArray=[2, 1])]
    return [Polygon([x - half, foot - MARK, x + half, foot - MARK, x, foot], fillColor=black, strokeWidth=0)]
