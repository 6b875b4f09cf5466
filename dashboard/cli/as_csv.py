"""Tables as CSV, in which no cell is a formula."""

from __future__ import annotations

import csv
import io
from typing import Any

import pandas as pd

from dashboard.words.plain_text import formula_safe

LIST_COLUMNS = (
    "unit", "depot", "vehicle_class", "flagged", "part", "part_probability", "no_start_probability",
    "coldest_start_c", "coldest_start_low_c", "coldest_start_high_c", "act_by", "last_reading_on", "reasons",
    "next_test", "action", "looked_on", "looked_part", "sound_probability", "failed_on", "readings", "readings_on_record",
)  # fmt: skip  # fmt: skip


def rows_as_csv(rows: list[dict[str, Any]]) -> str:
    """The list as CSV; several reasons are joined; a text that a spreadsheet would run is led by an apostrophe."""
    names = list(LIST_COLUMNS)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(names)
    for row in rows:
        values = [row[n] if n != "reasons" else "; ".join(row[n]) for n in names]
        writer.writerow([harmless(v) for v in values])
    return out.getvalue()


def harmless(value: Any) -> Any:
    """A cell that is no formula; nothing becomes an empty cell."""
    return "" if value is None else formula_safe(value)


def harmless_csv(frame: pd.DataFrame) -> str:
    """A table as CSV in which no cell is a formula."""
    return str(frame.map(harmless).to_csv(index=False))
