"""Tables as files: every table on the screens can be taken along, safe to open in a spreadsheet."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboard.words.plain_text import formula_safe


def as_csv(frame: pd.DataFrame) -> bytes:
    """A table as CSV in UTF-8; texts that a spreadsheet would run as a formula get an apostrophe in front."""
    out = {}
    for name in frame.columns:
        column = frame[name]
        typed = pd.api.types.is_numeric_dtype(column) or pd.api.types.is_datetime64_any_dtype(column)
        out[name] = column if typed else pd.Series([formula_safe(cell) for cell in column], dtype=object)
        out[name].index = frame.index
    return pd.DataFrame(out).to_csv(index=False).encode("utf-8-sig")


def table_button(frame: pd.DataFrame, name: str, *, key: str, label: str = "Table as CSV") -> None:
    """A button that saves the table."""
    st.download_button(
        label,
        lambda: as_csv(frame),
        file_name=f"{name}.csv",
        mime="text/csv",
        key=f"csv_{key}",
        on_click="ignore",
        disabled=frame.empty,
    )
