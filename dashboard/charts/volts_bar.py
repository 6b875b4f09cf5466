"""The bars of where the volts go, for screens: drawn as a share of the width, so that a phone and a desk need one drawing."""

from collections.abc import Iterator, Mapping
from typing import Any, Final

import pandas as pd

from analysis.bay.where_volts_go import BATTERY, CIRCUIT, COMING, MOTOR, READ, USUAL, WhereVoltsGo
from analysis.constants import Z_80
from dashboard.charts import theme
from dashboard.charts.behind import behind
from dashboard.words import volts_words
from dashboard.words.plain_text import in_html, number, whole

BARS: Final = (READ, USUAL, COMING)
TALL, TOP, MARK = 26, 12, 9  # [px] a bar, the room above it and of a mark; our choice
BELOW: Final = TOP + TALL
WIDE_ENOUGH: Final = 0.16  # of the width: a segment as wide holds its own volts on a phone; our choice
TICK_V: Final = {12.0: 2.0, 24.0: 4.0}
COLOURS: Final = {
    BATTERY: theme.BLUE, "positive_cable": theme.PURPLE, "solenoid_contacts": theme.ORANGE, MOTOR: theme.GREY,
    CIRCUIT: theme.GREY, "ground_path": theme.GREEN,
}  # fmt: skip
"""The lost volts in the part's colour; what is left for the motor in grey."""


def volts_html(found: WhereVoltsGo, *, fahrenheit: bool, suspect: str = "") -> str:
    """The bars beneath each other with what to do above and the numbers folded below; suspect: the measurement that does not fit
    the others.

    One line of HTML: Markdown takes it as it is.
    """
    shown = [found.bar(name) for name in bars_of(found)]
    top = top_v(found)
    said = volts_words.to_do(found, fahrenheit=fahrenheit, suspect=suspect)
    pieces = [f'<p class="ct-title">{volts_words.TITLE}</p><p>{in_html(whole(said))}</p>']
    for own in shown:
        pieces.append(bar_html(own, volts_words.bar_title(own, fahrenheit=fahrenheit), top))
    if shown:
        pieces += [
            axis_html(top),
            f'<p class="ct-note">{in_html(_notes(found))}</p>',
            behind("volts", volts_words.numbers(found)),
        ]
    return f'<div class="ct-picture ct-volts">{"".join(pieces)}</div>'


def bars_of(found: WhereVoltsGo) -> list[str]:
    """The bars there are, from the top."""
    there = set(found.shares["bar"])
    return [*(name for name in BARS if name in there), *sorted(there - set(BARS))]


def top_v(found: WhereVoltsGo) -> float:
    """Volts at the left end of all bars: the highest rest volts."""
    return float(found.shares["from_v"].max()) if len(found.shares) else 0.0


def share_left(volts: float, top: float) -> float:
    """Where volts that are left stand, as a share of the width from the left."""
    return min(1.0, max(0.0, 1.0 - volts / top))


def _notes(found: WhereVoltsGo) -> str:
    pale = any(volts_words.is_pale(row) for row in found.shares.to_dict("records"))
    return f"{volts_words.MARKS}{' · ' + volts_words.PALE if pale else ''}"


def bar_html(own: pd.DataFrame, title: str, top: float) -> str:
    """One bar with its title, its marks and its legend."""
    drawn = "".join(_drawn(own, top))
    text = in_html(volts_words.bar_text(own, title))
    keys = "".join(_key(row) for row in own.to_dict("records"))
    return (
        f'<p class="ct-bar">{in_html(whole(title))}</p><svg role="img" aria-label="{text}" width="100%" '
        f'height="{BELOW + MARK + 2}">{drawn}</svg><ul class="ct-key" aria-hidden="true">{keys}</ul>'
    )


def _drawn(own: pd.DataFrame, top: float) -> Iterator[str]:
    rows = own.to_dict("records")
    for row in rows:
        x, to = share_left(row["from_v"], top), share_left(row["to_v"], top)
        pale = ' fill-opacity=".5" stroke-dasharray="3 2"' if volts_words.is_pale(row) else ""
        yield (
            f'<rect x="{x:.2%}" y="{TOP}" width="{max(0.0, to - x):.2%}" height="{TALL}" fill="{COLOURS[row["segment"]]}"'
            f' stroke="{COLOURS[row["segment"]]}"{pale}></rect>'
        )
    first = rows[0]
    low, high = (share_left(first["to_v"] + side * Z_80 * first["se_v"], top) for side in (1, -1))
    yield f'<line class="ct-sure" x1="{low:.2%}" x2="{high:.2%}" y1="{BELOW - 4}" y2="{BELOW - 4}"></line>'
    for row in rows:
        if row["limit_v"] == row["limit_v"]:
            yield _mark(row, share_left(row["from_v"] - row["limit_v"], top))
    for row in rows:  # last, so that no mark lies over a figure
        x, to = share_left(row["from_v"], top), share_left(row["to_v"], top)
        if to - x >= WIDE_ENOUGH:
            said = f"{number(row['volts'], 2)} V"
            yield f'<text class="ct-in" x="{(x + to) / 2:.2%}" y="{TOP + 0.68 * TALL:.0f}">{said}</text>'


def _mark(row: Mapping[Any, Any], at: float) -> str:
    """A limit: from above for the battery's least volts, from below for the most that a part may lose."""
    above = row["segment"] == BATTERY
    y, tip, ink = (1, TOP - 1, "currentColor") if above else (BELOW + MARK, BELOW + 1, COLOURS[row["segment"]])
    line = f'<line x1="0" x2="0" y1="{TOP}" y2="{BELOW}" class="ct-limit"></line>' if above else ""
    return f'<svg x="{at:.2%}" overflow="visible"><path d="M-5,{y}H5L0,{tip}Z" fill="{ink}"></path>{line}</svg>'


def _key(row: Mapping[Any, Any]) -> str:
    over = ' class="ct-over"' if row["over"] else ""
    pale = ' style="opacity:.6"' if volts_words.is_pale(row) else ""
    swatch = f'<span{pale}><i style="background:{COLOURS[row["segment"]]}"></i></span>'
    sign = f"{theme.ACT_SIGN} " if row["over"] else ""
    return f"<li{over}>{swatch}{sign}{volts_words.SEGMENT_WORDS[row['segment']]} {volts_words.volts_said(row)}</li>"


def axis_html(top: float) -> str:
    """The volts left, under the last bar."""
    step = TICK_V[24.0 if top > 18.0 else 12.0]
    ticks = [step * i for i in range(int(top / step) + 1)]
    drawn = "".join(
        f'<line x1="{share_left(v, top):.2%}" x2="{share_left(v, top):.2%}" y1="0" y2="4" stroke="currentColor"></line>'
        f'<text x="{share_left(v, top):.2%}" y="16" text-anchor="{"end" if v == 0 else "middle"}">{number(v)}</text>'
        for v in ticks
    )
    return (
        f'<svg class="ct-axis" aria-hidden="true" width="100%" height="19">{drawn}</svg>'
        f'<p class="ct-note">V · {volts_words.AXIS}</p>'
    )
