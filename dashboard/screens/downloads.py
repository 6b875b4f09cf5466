"""Tables as files: every table on the screens can be taken along, safe to open in a spreadsheet."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
import streamlit as st

from dashboard.files.as_csv import as_csv
from dashboard.files.workbook import table_xlsx
from dashboard.words import every_page as say
from dashboard.words.plain_text import file_name

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def table_button(frame: pd.DataFrame, name: str, *, key: str, label: str = say.AS_CSV) -> None:
    st.download_button(
        label,
        lambda: as_csv(frame).encode("utf-8-sig"),
        file_name=f"{file_name(name)}.csv",
        mime="text/csv",
        key=f"csv_{key}",
        on_click="ignore",
        disabled=frame.empty,
    )


def pdf_button(label: str, make: Callable[[], bytes], name: str, *, key: str, disabled: bool = False) -> None:
    file = f"{file_name(name)}.pdf"
    st.download_button(
        label, make, file_name=file, mime="application/pdf", key=key, on_click="ignore", disabled=disabled
    )


def workbook_button(frame: pd.DataFrame, name: str, *, key: str) -> None:
    st.download_button(
        say.AS_XLSX, lambda: table_xlsx(frame, name), file_name=f"{file_name(name)}.xlsx", mime=XLSX, key=f"xlsx_{key}", on_click="ignore",
        disabled=frame.empty,
    )  # fmt: skip
