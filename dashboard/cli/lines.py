"""Sentences in the lines of a terminal."""

from __future__ import annotations

import textwrap

WIDTH = 118


def wrapped(text: str, mark: str) -> list[str]:
    """A sentence in lines of at most WIDTH after a mark; a line of a table as it is."""
    if len(text) + len(mark) <= WIDTH:
        return [mark + text]
    return textwrap.wrap(text, WIDTH, initial_indent=mark, subsequent_indent=" " * len(mark))
