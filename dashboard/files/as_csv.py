"""Tables as CSV, in which no cell is a formula (OWASP, CSV injection)."""

from collections.abc import Iterable
from typing import Any

import pandas as pd

from dashboard.words.plain_text import formula_safe

LIST_COLUMNS = (
    "unit", "depot", "vehicle_class", "flagged", "part", "part_probability", "no_start_probability",
    "coldest_start_c", "coldest_start_low_c", "coldest_start_high_c", "act_by", "last_reading_on", "reasons",
    "next_test", "action", "looked_on", "looked_part", "sound_probability", "failed_on", "readings", "readings_on_record",
    "caution",
)  # fmt: skip


def as_csv(frame: pd.DataFrame) -> str:
    """A table as CSV: a text that a spreadsheet would run is led by an apostrophe, nothing is an empty cell."""
    out = {}
    for name in frame.columns:
        column = frame[name]
        typed = pd.api.types.is_numeric_dtype(column) or pd.api.types.is_datetime64_any_dtype(column)
        out[name] = column
        if not typed:
            out[name] = pd.Series(list(map(formula_safe, column)), dtype=object, index=frame.index)
    heads = [str(formula_safe(name)) for name in frame.columns]
    return str(pd.DataFrame(out, index=frame.index).to_csv(index=False, header=heads))


def rows_as_csv(rows: list[dict[str, Any]]) -> str:
    """The list as CSV; several reasons are joined."""
    cells = [[row[n] if n != "reasons" else "; ".join(row[n]) for n in LIST_COLUMNS] for row in rows]
    return as_csv(pd.DataFrame(cells, columns=list(LIST_COLUMNS), dtype=object))


def cells_of(frame: pd.DataFrame, columns: Iterable[str]) -> Iterable[list[object]]:
    """The rows of some columns as a file holds them: days without a time, lists as text, four decimals."""
    for row in frame[list(columns)].itertuples(index=False):
        out: list[object] = []
        for value in row:
            if value is pd.NaT:
                out.append(None)
            elif isinstance(value, pd.Timestamp):
                out.append(value.date())
            elif isinstance(value, list):
                out.append(", ".join(str(item) for item in value))
            elif isinstance(value, float):
                out.append(round(float(value), 4) if value == value else None)
            else:
                out.append(value)
        yield out
