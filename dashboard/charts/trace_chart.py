"""The picture of a recorded start: volts over amps over time, with the marks and the levels that were found."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import altair as alt
import pandas as pd

from analysis.trace.record import Array, Marks, Measured, Start, Trace, between
from analysis.trace.signals import envelope
from dashboard.charts import theme
from dashboard.charts.charts import Chart, title_of
from dashboard.words.plain_text import number
from dashboard.words.trace_words import AMPS_AXIS, MARK_WORDS, TIME_AXIS, VOLTS_AXIS

POINTS: Final = 700  # of each line: our choice, about two for each pixel of a phone
AROUND_S: Final = 0.6  # [s] shown before and after a start: our choice
PANEL_HEIGHT: Final = 270  # [px] of each of the two, its words too: our choice, both fit a phone's height
HEADROOM, FOOTROOM, SMALLEST_ROOM = 1.2, 0.06, 1e-3  # of the axes, for words above and lines below: our choice
AXIS_WIDTH: Final = 34  # [px] kept for the numbers, so that both pictures stand under each other

Place = Literal["above", "left", "right"]
DRAWN: Final[dict[Place, dict[str, Any]]] = {
    "above": {"align": "left", "baseline": "bottom", "dx": 3, "dy": -4},
    "left": {"align": "right", "baseline": "middle", "dx": -4},
    "right": {"align": "left", "baseline": "middle", "dx": 4},
}
"""Where a level's words stand beside it: where the line is not."""


@dataclass(frozen=True)
class Level:
    """A level between two times, with its words and the place they stand at."""

    value: float
    from_s: float
    to_s: float
    words: str
    place: Place


def trace_charts(trace: Trace, start: Start | None, *, title: str) -> list[Chart]:
    """Volts and amps over the seconds round a start, or all of them where there is none; one picture each."""
    span = (float(trace.time_s[0]), float(trace.time_s[-1]))
    if start is not None:
        span = max(span[0], start.marks.begin_s - AROUND_S), min(span[1], start.marks.end_s + AROUND_S)
    part = between(trace, span[0], span[1] + 1 / trace.rate_hz)
    zero_a = 0.0 if start is None else start.zero_a
    sides = [] if trace.volts is None else [(trace.volts[part], volts_levels(start, span[0]), VOLTS_AXIS, theme.BLUE)]
    if trace.amps is not None:
        sides.append((trace.amps[part] - zero_a, amps_levels(start), AMPS_AXIS, theme.VERMILION))
    pictures: list[Chart] = []
    for position, (values, levels, axis, colour) in enumerate(sides):
        x = alt.X(
            "time_s:Q",
            title=TIME_AXIS if position + 1 == len(sides) else None,
            scale=alt.Scale(domain=list(span), nice=False),
        )
        layers = _line_layers(trace.time_s[part], values, levels, x, axis, colour)
        layers += [] if start is None else _mark_layers(start.marks, x, named=position == 0)
        head = title_of(title if position == 0 else "")
        pictures.append(alt.layer(*layers, height=PANEL_HEIGHT, title=head))
    return pictures


def volts_levels(start: Start | None, first_s: float) -> list[Level]:
    """Rest volts, the dip and the lowest while turning steadily, where they stand."""
    if start is None:
        return []
    marks = start.marks
    return [
        *_level(start.rest_v, first_s, marks.begin_s, "V", "above"),
        *_level(start.crank_dip_v, marks.begin_s, marks.steady_s, "V", "left"),
        *_level(start.crank_min_v, marks.steady_s, marks.end_s, "V", "right"),
    ]


def amps_levels(start: Start | None) -> list[Level]:
    """The peak and the steady amps, where they stand."""
    if start is None:
        return []
    marks = start.marks
    return [
        *_level(start.peak_a, marks.begin_s, marks.steady_s, "A", "left"),
        *_level(start.crank_a, marks.steady_s, marks.end_s, "A", "right"),
    ]


def _level(found: Measured, from_s: float, to_s: float, unit: str, place: Place) -> list[Level]:
    if found.value is None:
        return []
    value = f"{number(found.value, 2 if unit == 'V' else 0)} {unit}"
    return [Level(found.value, from_s, to_s, f"{found.bound} {value}".strip(), place)]


def _line_layers(
    time_s: Array, values: Array, levels: Sequence[Level], x: alt.X, title: str, colour: str
) -> list[alt.Chart]:
    time, line = envelope(time_s, values, POINTS)
    low, high = float(line.min()), float(line.max())
    room = max(high - low, SMALLEST_ROOM)
    scale = alt.Scale(domain=[low - FOOTROOM * room, low + HEADROOM * room], nice=False)
    y = alt.Y("value:Q", title=title, scale=scale, axis=alt.Axis(minExtent=AXIS_WIDTH, maxExtent=AXIS_WIDTH))
    tip = [alt.Tooltip("time_s:Q", title=TIME_AXIS, format=".3f"), alt.Tooltip("value:Q", title=title, format=".4g")]
    drawn = alt.Chart(pd.DataFrame({"time_s": time, "value": line})).mark_line(color=colour, strokeWidth=1.2, clip=True)
    layers = [drawn.encode(x=x, y=y, tooltip=tip)]
    for level in levels:
        row = alt.Chart(pd.DataFrame([{"time_s": level.from_s, **vars(level)}]))
        layers.append(
            row.mark_rule(color=colour, strokeWidth=3, strokeDash=[7, 3], clip=True).encode(x=x, x2="to_s:Q", y=y)
        )
        beside = row.mark_text(color=colour, fontSize=12, fontWeight="bold", **DRAWN[level.place])
        at = alt.X("to_s:Q" if level.place == "right" else "time_s:Q")
        layers.append(beside.encode(x=at, y=y, text="words:N"))
    return layers


def _mark_layers(marks: Marks, x: alt.X, *, named: bool) -> list[alt.Chart]:
    """The three marks as upright lines, with their words at the top where they are named."""
    rows = pd.DataFrame({"time_s": list(vars(marks).values()), "words": list(MARK_WORDS.values())})
    base = alt.Chart(rows).encode(x=x)
    lines = base.mark_rule(color=theme.GREY, strokeWidth=1.5, strokeDash=[4, 3])
    words = base.mark_text(align="left", baseline="top", dx=3, dy=3, color=theme.GREY, fontSize=11)
    return [lines, words.encode(y=alt.value(0), text="words:N")] if named else [lines]


def trace_text(start: Start | None, said: Sequence[str]) -> str:
    """The same for those who cannot see it."""
    if start is None:
        return "; ".join(said)
    at = vars(start.marks).values()
    times = ", ".join(f"{words} {number(s, 2)} s" for words, s in zip(MARK_WORDS.values(), at, strict=True))
    return f"{times}. {'; '.join(said)}"
