"""Draft a source description for a file that nobody has described yet."""

from __future__ import annotations

from ingest.readers import Sheet
from ingest.values import clean_text


def likely_heading(sheet: Sheet) -> list[str]:
    """Return the texts of the row that looks most like a heading."""
    best: list[str] = []
    for row in sheet.head:
        texts = [clean_text(cell) for cell in row if isinstance(cell, str) and clean_text(cell)]
        if len(texts) > len(best):
            best = texts
    return best
