"""Short tables that are read and added up: a table on a desk, a card for each row on a phone; nothing scrolls sideways."""

from collections.abc import Sequence

import streamlit as st

from dashboard.words.plain_text import in_html


def card_table(heads: Sequence[str], rows: Sequence[Sequence[str]], *, name: str, words: Sequence[int] = ()) -> None:
    """Show `rows` under `heads`; the first cell names its row. words: columns of words, all others are figures.

    Every text is shown as it is, whatever was typed in it. name: what the table is, for who hears it read.
    """
    st.html(as_html(heads, rows, name=name, words=words))


def as_html(heads: Sequence[str], rows: Sequence[Sequence[str]], *, name: str, words: Sequence[int] = ()) -> str:
    sides = ["words" if at == 0 or at in words else "figure" for at in range(len(heads))]
    top = "".join(
        f'<th scope="col" class="{side}">{in_html(head)}</th>' for head, side in zip(heads, sides, strict=True)
    )
    body = "".join(f"<tr>{_row(heads, row, sides)}</tr>" for row in rows)
    return (
        f'<table class="cards" aria-label="{in_html(name)}"><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>'
    )


def _row(heads: Sequence[str], row: Sequence[str], sides: Sequence[str]) -> str:
    """The cells of a row; each knows its head, which a phone shows beside it."""
    first, *rest = zip(heads, row, sides, strict=True)
    cells = "".join(f'<td class="{side}" data-head="{in_html(head)}">{in_html(cell)}</td>' for head, cell, side in rest)
    return f'<th scope="row" class="words">{in_html(first[1])}</th>{cells}'
