"""The numbers behind a picture: a table that is folded until somebody opens it, by mouse, finger or keyboard."""

from typing import Final

import pandas as pd

from dashboard.words.chart_numbers import SUMMARY
from dashboard.words.plain_text import in_html

MOST_ROWS: Final = 400  # of a table, so that a page stays quick; our choice


def behind(key: str, *tables: pd.DataFrame, note: str = "") -> str:
    """Folded tables of cells that are words already, in one line of HTML; `key` tells one picture's from another's; note:
    what the picture shows, above them."""
    said = f'<p class="ct-note">{in_html(note)}</p>' if note else ""
    shown = "".join(_table(table) for table in tables if len(table))
    return (
        f'<details class="ct-behind" data-behind="{in_html(key)}"><summary>{SUMMARY}</summary>'
        f'{said}<div class="ct-scroll" tabindex="0">{shown}</div></details>'
    )


def _table(table: pd.DataFrame) -> str:
    heads = "".join(f'<th scope="col">{in_html(name)}</th>' for name in table)
    rows = "".join(
        "<tr>" + "".join(f"<td>{in_html(cell)}</td>" for cell in row) + "</tr>"
        for row in table.head(MOST_ROWS).itertuples(index=False)
    )
    return f"<table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"
