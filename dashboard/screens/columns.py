"""Tables that sort as they read: numbers and dates stay what they are, and their words are only shown over them."""

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any, Literal

import pandas as pd
import streamlit as st
from pandas.io.formats.style import Styler
from streamlit.elements.lib.column_types import ColumnConfig

from dashboard.screens import session
from dashboard.words.heads import head
from dashboard.words.plain_text import day, number

_MOMENT = r"\d{4}-\d{2}-\d{2}(T[\d:.]+)?"
Words = Callable[[Any], str]
ROW_PX = 35  # [px] a row of the framework's tables


def plain_number(value: float) -> str:
    """A number with as many digits as it needs, three decimals at most; a dash when it is missing."""
    text = number(float(value), 3)
    return text.rstrip("0").rstrip(".") if "." in text else text


def or_blank(value: float) -> str:
    """A number; nothing where there is none."""
    return plain_number(value) if pd.notna(value) else ""


def show(
    table: pd.DataFrame | Styler,
    *,
    alt: str,
    key: str,
    columns: Mapping[str, ColumnConfig | str] | None = None,
    height: int | Literal["auto"] = "auto",
    placeholder: str = "–",
) -> None:
    """A table on a page: every column under its words, days and moments in the reader's order.

    columns: column -> another head, or how it is shown; alt: what the table tells, for who does not see it.
    """
    frame = table.data if isinstance(table, Styler) else table  # type: ignore[attr-defined]
    shown: dict[str, ColumnConfig | str] = {}
    for name in map(str, frame.columns):
        moment = isinstance(table, pd.DataFrame) and pd.api.types.is_datetime64_any_dtype(frame[name])
        whole_days = moment and bool((frame[name].dropna() == frame[name].dropna().dt.normalize()).all())
        shown[name] = (day_of(head(name)) if whole_days else at(head(name))) if moment else head(name)
    if height != "auto" and ROW_PX * (len(frame) + 1) < height:  # no empty rows below the last
        height = "auto"
    st.dataframe(
        table, hide_index=True, alt=alt, key=key, column_config={**shown, **(columns or {})}, placeholder=placeholder, height=height,
    )  # fmt: skip


def day_of(label: str) -> ColumnConfig:
    """A column of days in the reader's order."""
    return st.column_config.DateColumn(label, format=session.date_format())


def show_values(table: pd.DataFrame, *, alt: str, key: str) -> None:
    """A table of settings: the column `value` plain, nothing where there is none."""
    words = in_words(table, {"value": or_blank})
    show(words, alt=alt, key=key, placeholder="")


def in_words(
    frame: pd.DataFrame, words: Mapping[str, Words] | None = None, *, cells: Mapping[str, Sequence[str]] | None = None
) -> Styler:
    """The table with every number and day shown in words, sorted by what it is.

    words: column -> how one value is said; without it days are said as `day` says them and numbers plainly.
    cells: column -> the words of each row, for words that need more than the value; for short tables, each cell has its
    own rule.
    """
    table = frame if frame.index.is_unique else frame.reset_index(drop=True)
    said: dict[str, Words] = {}
    for name, column in table.items():
        if pd.api.types.is_datetime64_any_dtype(column):
            said[str(name)] = day
        elif pd.api.types.is_float_dtype(column):
            said[str(name)] = plain_number
    said |= words or {}
    shown = table.style.format({name: how for name, how in said.items() if name in table})
    for name, texts in (cells or {}).items():
        for row, text in zip(table.index, texts, strict=True):
            shown = shown.format(partial(_only, text), subset=pd.IndexSlice[[row], [name]])
    return shown


def moments(values: pd.Series) -> pd.Series:
    """Moments as moments, from the text that the database keeps."""
    return pd.to_datetime(values, format="ISO8601", errors="coerce").astype("datetime64[us]")


def with_moments(frame: pd.DataFrame) -> pd.DataFrame:
    """The table with columns of moments, kept as text in ISO 8601, as moments; a column with any other text stays."""
    out = frame.copy()
    for name in frame.columns:
        if pd.api.types.is_numeric_dtype(frame[name]) or pd.api.types.is_datetime64_any_dtype(frame[name]):
            continue
        filled = frame[name].astype(str).where(frame[name].notna(), "").str.strip()
        if filled.any() and filled[filled != ""].str.fullmatch(_MOMENT).all():
            out[name] = moments(filled)
    return out


def at(label: str) -> ColumnConfig:
    """A column of moments, to the minute."""
    return st.column_config.DatetimeColumn(label, format=f"{session.date_format()} HH:mm")


def _only(text: str, _value: object) -> str:
    return text


def days(values: Sequence[object] | pd.Series) -> pd.Series:
    """Days as days, whatever text or moment they came as; missing stays missing."""
    given = pd.Series(values, dtype=object)
    return pd.to_datetime(given, errors="coerce").astype("datetime64[us]").dt.normalize()
