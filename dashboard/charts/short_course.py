"""The suspect part's course in the size of a card: readings, path with its range, what is usual, and the limit."""

from collections.abc import Mapping
from typing import Any, Final

from dashboard.charts import theme
from dashboard.charts.behind import behind
from dashboard.words import short_course_words
from dashboard.words.plain_text import in_html, whole

TALL: Final = 46  # [px] our choice: a card stays a card
HEADROOM: Final = 1.12  # times the highest drawn
MOST_OVER: Final = 2.5  # a limit so many times above all that was read is said, not drawn; our choice


def short_course_html(course: Mapping[str, Any], *, as_of: str, key: str, fahrenheit: bool) -> str:
    """The picture with its words, the numbers folded behind it, in one line of HTML."""
    text = short_course_words.course_text(course, fahrenheit=fahrenheit)
    drawing = (
        f'<svg role="img" aria-label="{in_html(text)}" viewBox="0 0 100 {TALL}" width="100%" height="{TALL}" '
        f'preserveAspectRatio="none">{_drawn(course)}</svg>'
    )
    table = behind(key, short_course_words.numbers(course, as_of), note=f"{text}. {short_course_words.KEY}")
    note = f'<p class="ct-note" aria-hidden="true">{in_html(whole(short_course_words.course_note(course, fahrenheit=fahrenheit)))}</p>'
    return f'<div class="ct-picture ct-short">{drawing}{note}{table}</div>'


def _drawn(course: Mapping[str, Any]) -> str:
    readings, path = course["readings"], course["path"]
    first = min([0.0, *(row[0] for row in readings), *(row[0] for row in path)])
    last = max(row[0] for row in path)
    highest = max([course["usual"], *(row[1] for row in readings), *(row[3] for row in path if row[0] <= 0)])
    at = course["limit"]
    limit_drawn = at is not None and at <= MOST_OVER * highest
    top = HEADROOM * max(highest, at if limit_drawn else 0.0)

    def x(days: float) -> float:
        return float(100.0 * (days - first) / max(last - first, 1.0))

    def y(value: float) -> float:
        return float(TALL * (1.0 - min(value / top, 1.0)))

    def line(points: list[tuple[float, float]]) -> str:
        return "M" + "L".join(f"{a:.2f},{b:.2f}" for a, b in points)

    upper = [(x(row[0]), y(row[3])) for row in path]
    lower = [(x(row[0]), y(row[2])) for row in reversed(path)]
    past = [(x(row[0]), y(row[1])) for row in path if row[0] <= 0]
    ahead = [(x(row[0]), y(row[1])) for row in path if row[0] >= 0]
    dots = "".join(f"M{x(days):.2f},{y(value):.2f}h0.01" for days, value, _ in readings)
    usual, limit = y(course["usual"]), y(at if limit_drawn else 0.0)
    return "".join(
        [
            f'<path d="{line([*upper, *lower])}Z" fill="{theme.BLUE}" fill-opacity=".2"></path>',
            f'<path d="M0,{usual:.2f}H100" stroke="{theme.GREY}" class="ct-line"></path>',
            f'<path d="M{x(0.0):.2f},0V{TALL}" stroke="{theme.GREY}" class="ct-line"></path>',
            f'<path d="{line(past)}" stroke="{theme.BLUE}" class="ct-line ct-strong"></path>',
            f'<path d="{line(ahead)}" stroke="{theme.BLUE}" class="ct-line ct-strong" stroke-dasharray="5 4"></path>',
            f'<path d="{dots}" stroke="{theme.BLUE}" class="ct-dots"></path>' if readings else "",
            f'<path d="M0,{limit:.2f}H100" stroke="{theme.VERMILION}" class="ct-line ct-strong" stroke-dasharray="2 3"></path>'
            if limit_drawn
            else "",
        ]
    )
