"""The numbers behind a picture: a table that is folded until somebody opens it, by mouse, finger or keyboard."""

from __future__ import annotations

from html import escape
from typing import Final

import pandas as pd

SUMMARY: Final = "The numbers behind this picture"
MOST_ROWS: Final = 400  # of a table, so that a page stays quick; our choice


def behind(table: pd.DataFrame, key: str, *, note: str = "") -> str:
    """A folded table of cells that are words already, in one line of HTML; `key` tells one picture's from another's; note:
    what the picture shows, above the table."""
    heads = "".join(f'<th scope="col">{escape(str(name))}</th>' for name in table)
    rows = "".join(
        "<tr>" + "".join(f"<td>{escape(str(cell))}</td>" for cell in row) + "</tr>"
        for row in table.head(MOST_ROWS).itertuples(index=False)
    )
    said = f'<p class="ct-note">{escape(note)}</p>' if note else ""
    return (
        f'<details class="ct-behind" data-behind="{escape(key, quote=True)}"><summary>{SUMMARY}</summary>'
        f'{said}<div class="ct-scroll" tabindex="0"><table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table></div></details>'
    )
