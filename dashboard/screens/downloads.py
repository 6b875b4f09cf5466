"""Tables as files: every table on the screens can be taken along, safe to open in a spreadsheet."""

from collections.abc import Callable

import pandas as pd
import streamlit as st

from dashboard.files.as_csv import as_csv
from dashboard.files.workbook import table_xlsx
from dashboard.words import every_page as say
from dashboard.words.plain_text import file_name

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def table_button(frame: pd.DataFrame, name: str, *, key: str, label: str = say.AS_CSV) -> None:
    _button(label, lambda: as_csv(frame).encode("utf-8-sig"), f"{name}.csv", "text/csv", f"csv_{key}", frame.empty)


def pdf_button(label: str, make: Callable[[], bytes], name: str, *, key: str, disabled: bool = False) -> None:
    _button(label, make, f"{name}.pdf", "application/pdf", key, disabled)


def workbook_button(frame: pd.DataFrame, name: str, *, key: str) -> None:
    _button(say.AS_XLSX, lambda: table_xlsx(frame, name), f"{name}.xlsx", XLSX, f"xlsx_{key}", frame.empty)


def _button(label: str, make: Callable[[], bytes], file: str, mime: str, key: str, disabled: bool) -> None:
    name, ending = file.rsplit(".", 1)
    named = f"{file_name(name)}.{ending}"
    st.download_button(label, make, file_name=named, mime=mime, key=key, on_click="ignore", disabled=disabled)
