"""Charts for screen: titles, units, intervals, and a text that says the same to those who cannot see them."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import altair as alt
import pandas as pd

from analysis.worklist.course import PartCourse
from dashboard.charts import theme
from dashboard.words import chart_words as say
from dashboard.words.chart_words import ASIDE, BOUND, DOUBTFUL, LEFT_OUT, READ, WAITING
from dashboard.words.plain_text import STARTS_NEVER_C, fahrenheit_of, temperature
from dashboard.words.reasons import plain

Chart: TypeAlias = alt.LayerChart | alt.FacetChart | alt.Chart

HEIGHT = 380  # [px] with title and legend, our choice
LOW_HEIGHT = 330
FEW_DEPOTS = 5  # up to so many, the hours are written out
_DATE = alt.Axis(format="%b %y", labelOverlap=True, tickCount=8, title=None, grid=False)
_UPWARDS = "M0,-1L0.9,0L0.35,0L0.35,1L-0.35,1L-0.35,0L-0.9,0Z"  # an arrow, as a path within -1 to 1
_LOOKS = {
    READ: ("circle", theme.BLUE),
    BOUND: (_UPWARDS, theme.GREEN),
    LEFT_OUT: ("cross", theme.GREY),
    DOUBTFUL: ("diamond", theme.ORANGE),
    ASIDE: ("triangle-up", theme.VERMILION),
    WAITING: ("square", theme.PURPLE),
}


@dataclass(frozen=True)
class Axis:
    """An upright axis that several layers share."""

    title: str
    scale: alt.Scale
    format: str = ""

    def y(self, field: str) -> alt.Y:
        """The channel of one field on this axis."""
        return alt.Y(field, scale=self.scale, title=self.title, axis=alt.Axis(format=self.format or alt.Undefined))


_FOOT = 0.02  # marks without a value stand this share of the axis above zero


def specification(chart: Chart) -> dict[str, Any]:
    """The chart as a Vega-Lite specification, for the screens to keep; checking it is the tests' work."""
    spec: dict[str, Any] = chart.to_dict(validate=False)
    return spec


def _rows(frame: Any, **_options: Any) -> dict[str, Any]:
    """A DataFrame's rows as Vega-Lite takes them: null where missing or infinite; times are texts, see `_time`."""
    plain = {}
    for name in frame.columns:
        cells = frame[name].tolist()
        plain[str(name)] = [None if isinstance(cell, float) and not math.isfinite(cell) else cell for cell in cells]
    return {"values": [dict(zip(plain, row, strict=True)) for row in zip(*plain.values(), strict=True)]}


# Altair's own ways take every column's type apart anew for every layer and check every piece of a chart as it is made:
# together two fifths of the time that a chart takes. The tests check whole charts instead.
alt.utils.schemapi.disable_debug_mode()
alt.data_transformers.register("rows", _rows)
alt.data_transformers.enable("rows")


def title_of(words: str) -> alt.TitleParams:
    return alt.TitleParams(words, anchor="start", fontSize=14)


def _by_line(looks: Mapping[str, tuple[str, list[int]]]) -> dict[str, Any]:
    names, colours, dashes = list(looks), [c for c, _ in looks.values()], [d for _, d in looks.values()]
    legend = alt.Legend(title=None, orient="bottom", columns=1, labelLimit=300)
    return {
        "color": alt.Color("line:N", scale=alt.Scale(domain=names, range=colours), legend=legend),
        "strokeDash": alt.StrokeDash("line:N", scale=alt.Scale(domain=names, range=dashes), legend=None),
    }


def _shaded(base: alt.Chart, words: str, tip: list[alt.Tooltip], *, title: str, height: int) -> Chart:
    """A grid of cells, shaded by `share`, with words written into each."""
    colour = alt.Color("share:Q", scale=alt.Scale(domain=[0, 1], range=list(theme.FILLED)), legend=None)
    cells = base.mark_rect(stroke=theme.GREY, strokeWidth=0.4).encode(color=colour, tooltip=tip)
    written = base.mark_text(fontSize=11).encode(text=alt.Text(words), color=alt.value(theme.INK))
    return alt.layer(cells, written).properties(height=height, title=title_of(title))


def _between(base: alt.Chart, x: str, axis: Axis, low: str, high: str, *, colour: str, opacity: float) -> alt.Chart:
    """What lies between two fields, shaded."""
    area: alt.Chart = base.mark_area(color=colour, opacity=opacity, clip=True)
    drawn: alt.Chart = area.encode(x=alt.X(x, axis=_DATE), y=axis.y(low), y2=alt.Y2(high))
    return drawn


def _lines(
    data: pd.DataFrame, x: str, axis: Axis, looks: Mapping[str, tuple[str, list[int]]], tips: Sequence[alt.Tooltip]
) -> alt.Chart:
    """Columns `value` and `line` as lines over time, each with its look."""
    tip = [alt.Tooltip("line:N", title=say.LINE), *tips]
    line: alt.Chart = alt.Chart(data).mark_line(strokeWidth=2, clip=True)
    drawn: alt.Chart = line.encode(x=alt.X(x, axis=_DATE), y=axis.y("value:Q"), **_by_line(looks), tooltip=tip)
    return drawn


def _time(frame: pd.DataFrame, *names: str) -> pd.DataFrame:
    """Timestamps as the browser takes them: local, without a zone, so that no day slips."""
    out = frame.copy()
    for name in names:
        out[name] = out[name].dt.strftime("%Y-%m-%dT%H:%M:%S")
    return out


def part_chart(
    course: PartCourse,
    *,
    title: str,
    as_of: pd.Timestamp,
    repairs: pd.DataFrame,
    printed_limit: float | None = None,
    marks: pd.DataFrame | None = None,
    fahrenheit: bool = False,
) -> Chart:
    """One part over time: readings with their intervals, the path and its projection, class band, limits, repairs.

    repairs: done_on, words; marks: taken_at, kind (DOUBTFUL, ASIDE, WAITING) of what has no value to draw.
    """
    readings = course.readings.assign(kind=kinds_of(course))
    top = _top(course, printed_limit)
    days = [as_of, *course.readings["taken_at"], *course.path["day"]]
    first, last = min(days), max(days)
    axis = Axis(
        say.AT_A_TEMPERATURE.format(unit=course.unit, temperature=temperature(20.0, fahrenheit=fahrenheit)),
        alt.Scale(domain=[0, top], nice=False),
    )
    low, high = max(0.0, course.usual - 2 * course.spread), course.usual + 2 * course.spread
    band = pd.DataFrame([{"from": first, "to": last, "low": low, "high": high}])
    layers: list[alt.Chart] = [
        alt.Chart(_time(band, "from", "to"))
        .mark_rect(color=theme.GREY, opacity=0.18)
        .encode(x=alt.X("from:T", axis=_DATE), x2=alt.X2("to:T"), y=axis.y("low:Q"), y2=alt.Y2("high:Q"))
    ]
    layers += _limit_lines(course, printed_limit, first, top, fahrenheit=fahrenheit)
    layers += _path_layers(course, axis)
    layers += _reading_layers(readings, marks, axis, top)
    layers += _event_layers(repairs, as_of, top, first)
    return alt.layer(*layers, height=HEIGHT, title=title_of(title))


def kinds_of(course: PartCourse) -> list[str]:
    """What each reading of a course is drawn as."""
    told = zip(course.readings["bound"], course.readings["used"], strict=True)
    return [BOUND if bound else READ if used else LEFT_OUT for bound, used in told]


def _top(course: PartCourse, printed_limit: float | None) -> float:
    """Upper end of the axis: everything read fits; a limit far above does not squeeze the readings flat."""
    seen = [1.5 * course.usual, course.usual + 3 * course.spread]
    if len(course.readings):
        seen.append(1.1 * float(course.readings["value"].max()))
    if len(course.path):
        now = course.path[~course.path["ahead"]]
        seen.append(1.6 * float(now["high"].max() if len(now) else course.path["high"].iloc[0]))
    height = max(seen)
    limits = [x for x in (printed_limit, course.fails_at) if x is not None and x < 3 * height]
    return 1.05 * max([height, *limits])


def _limit_lines(
    course: PartCourse, printed_limit: float | None, first: pd.Timestamp, top: float, *, fahrenheit: bool
) -> list[alt.Chart]:
    lines = [
        (printed_limit, say.PRINTED_AT_USUAL, [4, 3]),
        (
            course.fails_at,
            say.NO_START_LEVEL.format(temperature=temperature(course.fails_at_c, fahrenheit=fahrenheit)),
            [1, 2],
        ),
    ]
    layers = []
    for value, words, dash in lines:
        if value is None or not value <= top:
            continue
        at = _time(
            pd.DataFrame({"value": [value], "day": [first], "words": [f"{words}: {plain(value, course.unit)}"]}), "day"
        )
        layers.append(
            alt.Chart(at).mark_rule(strokeDash=dash, color=theme.VERMILION, strokeWidth=1.5).encode(y=alt.Y("value:Q"))
        )
        layers.append(
            alt.Chart(at)
            .mark_text(align="left", baseline="bottom", dx=4, dy=-2, color=theme.VERMILION, fontSize=11)
            .encode(x=alt.X("day:T"), y=alt.Y("value:Q"), text=alt.Text("words:N"))
        )
    return layers


def _path_layers(course: PartCourse, axis: Axis) -> list[alt.Chart]:
    path = _time(course.path, "day")
    base = alt.Chart(path)
    return [
        _between(base, "day:T", axis, "low:Q", "high:Q", colour=theme.BLUE, opacity=0.16),
        base.transform_filter("!datum.ahead")
        .mark_line(color=theme.BLUE, strokeWidth=2, clip=True)
        .encode(x=alt.X("day:T"), y=axis.y("value:Q")),
        base.transform_filter("datum.ahead")
        .mark_line(color=theme.BLUE, strokeWidth=2, strokeDash=[6, 4], clip=True)
        .encode(x=alt.X("day:T"), y=axis.y("value:Q")),
    ]


def _reading_layers(readings: pd.DataFrame, marks: pd.DataFrame | None, axis: Axis, top: float) -> list[alt.Chart]:
    if marks is not None and len(marks):
        foot = _FOOT * top
        readings = pd.concat(
            [readings, marks.assign(value=foot, low=foot, high=foot, starts=1, apart=0.0)], ignore_index=True
        )
    if readings.empty:
        return []
    shown = ["taken_at", "value", "low", "high", "kind", "starts", "apart"]
    data = alt.Chart(_time(readings[shown], "taken_at"))
    kinds = [kind for kind in _LOOKS if (readings["kind"] == kind).any()]
    legend = alt.Legend(title=None, orient="bottom", columns=2, labelLimit=160)
    colour = alt.Color(
        "kind:N", scale=alt.Scale(domain=kinds, range=[_LOOKS[kind][1] for kind in kinds]), legend=legend
    )
    shapes = alt.Scale(domain=kinds, range=[_LOOKS[kind][0] for kind in kinds])
    tip = [
        alt.Tooltip("taken_at:T", title=say.TAKEN, format="%d %b %Y %H:%M"),
        alt.Tooltip("value:Q", format=".2f"),
        alt.Tooltip("kind:N", title=say.KIND),
        alt.Tooltip("starts:Q", title=say.STANDS_FOR, format=".0f"),
        alt.Tooltip("apart:Q", title=say.STARTS_APART, format=".2f"),
    ]
    return [
        data.mark_rule(opacity=0.45, clip=True).encode(
            x=alt.X("taken_at:T"), y=axis.y("low:Q"), y2=alt.Y2("high:Q"),
            color=colour,
        ),
        data.mark_point(filled=True, size=46, opacity=0.95, clip=True).encode(
            x=alt.X("taken_at:T"), y=axis.y("value:Q"), tooltip=tip,
            color=colour,
            shape=alt.Shape("kind:N", scale=shapes, legend=legend),
        ),
    ]  # fmt: skip


def _event_layers(repairs: pd.DataFrame, as_of: pd.Timestamp, top: float, first: pd.Timestamp) -> list[alt.Chart]:
    """Repairs as upright lines with words, and the day whose knowledge is shown."""
    events = pd.concat(
        [
            pd.DataFrame({"done_on": [as_of], "words": [say.DAY_SHOWN]}),
            repairs[repairs["done_on"] >= first][["done_on", "words"]],
        ],
        ignore_index=True,
    )
    base = alt.Chart(_time(events.assign(top=top), "done_on"))
    return [
        base.mark_rule(color=theme.GREY, strokeDash=[2, 2]).encode(x=alt.X("done_on:T")),
        base.mark_text(angle=270, align="right", baseline="bottom", dx=-4, dy=-3, color=theme.GREY, fontSize=10).encode(
            x=alt.X("done_on:T"), y=alt.Y("top:Q"), text=alt.Text("words:N")
        ),
    ]


def _degrees(frame: pd.DataFrame, *names: str) -> pd.DataFrame:
    return frame.assign(**{name: fahrenheit_of(frame[name]) for name in names})


def cold_chart(
    cold: pd.DataFrame,
    season: pd.DataFrame,
    forecast: pd.DataFrame,
    *,
    title: str,
    renewed: str | None,
    fahrenheit: bool = False,
) -> Chart:
    """The coldest start over the coming half year against the depot's mornings.

    cold: as `analysis.worklist.course.cold_course`; season: as `season_course`; forecast: date, low_c; renewed: words for the
    line with the suspect part renewed, None to leave it out.
    """
    lowest, highest = float(season["one_in_ten_c"].min()) - 8, float(season["low_c"].max()) + 6
    for column in ("high_c", "coldest_start_c"):
        highest = max(highest, min(float(cold[column].max()), STARTS_NEVER_C) + 2)
    lowest = min(lowest, max(float(cold["coldest_start_c"].min()) - 3, -46.0))
    if renewed is not None and cold["renewed_c"].notna().any():
        lowest = min(lowest, max(float(cold["renewed_c"].min()) - 3, -46.0))
    title_y = "°F" if fahrenheit else "°C"
    if fahrenheit:
        lowest, highest = fahrenheit_of(lowest), fahrenheit_of(highest)
        cold = _degrees(cold, "coldest_start_c", "low_c", "high_c", "renewed_c")
        season, forecast = _degrees(season, "low_c", "one_in_ten_c"), _degrees(forecast, "low_c")
    axis = Axis(title_y, alt.Scale(domain=[lowest, highest], nice=False))
    seasons, starts = alt.Chart(_time(season, "day")), alt.Chart(_time(cold, "day"))
    mornings = _between(seasons, "day:T", axis, "one_in_ten_c:Q", "low_c:Q", colour=theme.GREY, opacity=0.22)
    called = say.USUAL_ASSUMED if season["assumed"].any() else say.USUAL_LOW
    usual = (called, theme.GREY, [1, 0], season.rename(columns={"low_c": "value"}))
    start = (say.AS_IT_IS, theme.BLUE, [1, 0], cold.rename(columns={"coldest_start_c": "value"}))
    lines = [usual, start]
    if renewed is not None and cold["renewed_c"].notna().any():
        lines.append((renewed, theme.GREEN, [6, 4], cold.rename(columns={"renewed_c": "value"})))
    if len(forecast):
        lines.append(
            (say.FORECAST_LOW, theme.PURPLE, [2, 2], forecast.rename(columns={"low_c": "value", "date": "day"}))
        )
    data = pd.concat([f[["day", "value"]].assign(line=name) for name, _, _, f in lines], ignore_index=True)
    looks = {name: (colour, dash) for name, colour, dash, _ in lines}
    between = _between(starts, "day:T", axis, "low_c:Q", "high_c:Q", colour=theme.BLUE, opacity=0.16)
    drawn = _lines(_time(data, "day"), "day:T", axis, looks, (
        alt.Tooltip("day:T", title=say.DAY, format="%d %b %Y"), alt.Tooltip("value:Q", title=title_y, format=".0f"),
    ))  # fmt: skip
    return alt.layer(mornings, between, drawn, height=LOW_HEIGHT, title=title_of(title))


def outlook_chart(outlook: pd.DataFrame, *, title: str, renewed: str) -> Chart:
    """Probability of a no-start by the end of each coming week, as it is and with the suspect part renewed.

    outlook: week_start, probability, probability_low, probability_high, probability_renewed.
    """
    axis = Axis(say.BY_THEN, alt.Scale(domain=[0, 1]), "%")
    data = _time(outlook, "week_start")
    looks = {say.NOTHING_DONE: (theme.VERMILION, [1, 0]), renewed: (theme.GREEN, [6, 4])}
    courses = [data[name] for name in ("probability", "probability_renewed")]
    long = pd.concat(
        [data[["week_start"]].assign(value=p, line=line) for line, p in zip(looks, courses, strict=True)],
        ignore_index=True,
    )
    between = _between(
        alt.Chart(data), "week_start:T", axis, "probability_low:Q", "probability_high:Q",
        colour=theme.VERMILION, opacity=0.14,
    )  # fmt: skip
    lines = _lines(long, "week_start:T", axis, looks, (
        alt.Tooltip("week_start:T", title=say.WEEK_FROM, format="%d %b %Y"),
        alt.Tooltip("value:Q", title=say.PROBABILITY, format=".0%"),
    ))  # fmt: skip
    return alt.layer(between, lines, height=LOW_HEIGHT, title=title_of(title))


def risk_history_chart(history: pd.DataFrame, *, by: str, title: str, order: Sequence[str]) -> Chart:
    """Vehicles on past lists: a line per depot or part, a column per list, the count written into every cell.

    history: day, `by`, vehicles; order: the lines from the top.
    """
    days = sorted(history["day"].unique())
    grid = pd.MultiIndex.from_product([order, days], names=[by, "day"]).to_frame(index=False)
    data = grid.merge(history, on=[by, "day"], how="left")
    data["vehicles"] = [0 if pd.isna(n) else int(n) for n in data["vehicles"]]
    most = max(1, int(data["vehicles"].max()))
    data["share"] = [n / most for n in data["vehicles"]]
    base = alt.Chart(_time(data, "day")).encode(
        x=alt.X("yearmonthdate(day):O", axis=alt.Axis(title=None, format="%d %b %y", labelAngle=0, labelOverlap=True)),
        y=alt.Y(f"{by}:N", sort=list(order), title=None, axis=alt.Axis(labelLimit=130)),
    )
    tip = [
        alt.Tooltip("yearmonthdate(day):T", title=say.LIST_OF, format="%d %b %Y"),
        alt.Tooltip(f"{by}:N"),
        alt.Tooltip("vehicles:Q"),
    ]
    return _shaded(base, "vehicles:Q", tip, title=title, height=60 + 28 * len(order))


def cold_count_chart(counts: pd.DataFrame, *, chosen_c: float, title: str, fahrenheit: bool = False) -> Chart:
    """How many vehicles likely fail to start at each temperature: columns low_c, likely, possible."""
    unit = "°F" if fahrenheit else "°C"
    rule = pd.DataFrame({"low_c": [chosen_c]})
    if fahrenheit:
        counts, rule = _degrees(counts, "low_c"), _degrees(rule, "low_c")
    base = alt.Chart(counts).encode(
        x=alt.X("low_c:Q", title=say.MORNING_LOW.format(degrees=unit), scale=alt.Scale(nice=False))
    )
    y = alt.Y("likely:Q", title=say.FAIL_TO_START, axis=alt.Axis(tickMinStep=1))
    return alt.layer(
        base.mark_area(color=theme.ORANGE, opacity=0.3, interpolate="step").encode(y=y, y2=alt.Y2("possible:Q")),
        base.mark_line(color=theme.VERMILION, interpolate="step", strokeWidth=2).encode(
            y=y,
            tooltip=[
                alt.Tooltip("low_c:Q", title=unit, format=".0f"),
                alt.Tooltip("likely:Q"),
                alt.Tooltip("possible:Q"),
            ],
        ),
        alt.Chart(rule).mark_rule(strokeDash=[4, 3], color=theme.GREY, strokeWidth=2).encode(x=alt.X("low_c:Q")),
    ).properties(height=LOW_HEIGHT, title=title_of(title))


def hours_chart(hours: pd.DataFrame, *, title: str) -> Chart:
    """Hours used of the hours there are, by depot and week: columns depot, iso_week, hours, booked."""
    few = hours["depot"].nunique() <= FEW_DEPOTS
    data = hours.assign(
        share=[b / h if h > 0 else 0.0 for b, h in zip(hours["booked"], hours["hours"], strict=True)],
        words=[
            say.WITHOUT_HOURS if h <= 0 else say.USED_OF.format(used=b, there=h) if few else f"{b:.0f}/{h:.0f}"
            for b, h in zip(hours["booked"], hours["hours"], strict=True)
        ],
    )[["depot", "iso_week", "hours", "booked", "share", "words"]]
    base = alt.Chart(data).encode(
        x=alt.X("depot:N", title=None, axis=alt.Axis(orient="top", labelAngle=0 if few else -40, labelLimit=90)),
        y=alt.Y("iso_week:O", title=None),
    )
    tip = [alt.Tooltip("depot:N"), alt.Tooltip("iso_week:N", title=say.WEEK), alt.Tooltip("booked:Q", title=say.H_USED, format=".1f"),
           alt.Tooltip("hours:Q", title=say.H_THERE, format=".1f")]  # fmt: skip
    height = 60 + 26 * max(1, data["iso_week"].nunique())
    return _shaded(base, "words:N", tip, title=title, height=height)
