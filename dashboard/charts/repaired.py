"""Before and after a repair side by side: the part's resistance with its range, and where the volts went."""

import math
from collections.abc import Mapping

import pandas as pd

from analysis.bay.repaired import Repaired
from analysis.bay.where_volts_go import READ, WhereVoltsGo
from analysis.constants import Z_80
from dashboard.charts import theme
from dashboard.charts.behind import behind
from dashboard.charts.volts_bar import axis_html, bar_html, top_v
from dashboard.words import repaired_words, volts_words
from dashboard.words.plain_text import day, in_html, whole
from dashboard.words.reasons import plain

ROW, HEIGHT = 22, 62  # [px] of a line of the picture, and of all of it


def repaired_html(
    part: str,
    found: Repaired | None,
    volts: Mapping[str, WhereVoltsGo],
    days: Mapping[str, pd.Timestamp],
    *,
    fahrenheit: bool,
) -> str:
    """What is said, the part's dots, both bars on one scale, and the numbers, in one line of HTML.

    volts, days: `before` and `after` the repair.
    """
    text = repaired_words.said(part, found)
    pieces = [f"<p>{in_html(whole(text))}</p>", "" if found is None else _dots(found, text)]
    top = max(top_v(one) for one in volts.values())
    halves = []
    for side, one in volts.items():
        own = one.bar(READ)
        if len(own):
            title = (
                f"{repaired_words.SIDES[side]}, {day(days[side])}: {volts_words.conditions(own, fahrenheit=fahrenheit)}"
            )
            halves.append(f"<div>{bar_html(own, title, top)}{axis_html(top)}</div>")
    pieces.append(f'<div class="ct-pair">{"".join(halves)}</div>')
    tables = [volts_words.numbers(one).assign(bar=repaired_words.SIDES[side]) for side, one in volts.items()]
    dots = f"{repaired_words.DOTS} · " if found is not None else ""
    note = f'<p class="ct-note">{in_html(dots + volts_words.MARKS)}</p>'
    shown = behind("repaired", repaired_words.numbers(found, days), pd.concat(tables, ignore_index=True))
    return f'<div class="ct-picture ct-volts">{"".join(pieces)}{note}{shown}</div>'


def _dots(found: Repaired, text: str) -> str:
    """Two dots with their ranges over one scale from nil, with a line where the usual is."""
    sides = {
        repaired_words.BEFORE: (found.before, found.before_se),
        repaired_words.AFTER: (found.after, found.after_se),
    }
    usual = found.usual if math.isfinite(found.usual) else 0.0
    top = 1.35 * max(usual, *(value + Z_80 * se for value, se in sides.values()))
    drawn = []
    if usual:
        drawn.append(
            f'<line class="ct-usual" x1="{usual / top:.2%}" x2="{usual / top:.2%}" y1="0" y2="{HEIGHT - 16}"></line>'
            f'<text x="{usual / top:.2%}" y="{HEIGHT - 3}" text-anchor="middle">{repaired_words.USUAL}</text>'
        )
    for i, (side, (value, se)) in enumerate(sides.items()):
        y = ROW * i + 13
        low, high = max(0.0, value - Z_80 * se) / top, (value + Z_80 * se) / top
        drawn.append(
            f'<line x1="{low:.2%}" x2="{high:.2%}" y1="{y}" y2="{y}" stroke="{theme.BLUE}" stroke-width="4"></line>'
            f'<circle cx="{value / top:.2%}" cy="{y}" r="6" fill="{theme.BLUE}"></circle>'
            f'<text x="{high:.2%}" dx="10" y="{y + 4}">{in_html(side)} {in_html(plain(value, "mΩ"))}</text>'
        )
    return (
        f'<svg role="img" aria-label="{in_html(text)}" width="100%" height="{HEIGHT}" class="ct-dots-row">'
        f"{''.join(drawn)}</svg>"
    )
