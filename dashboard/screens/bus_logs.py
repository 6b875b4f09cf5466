"""A log of the bus on the Files page: what was found in it, before any of it is stored."""

import tempfile
from collections.abc import Sequence

import pandas as pd
import streamlit as st
from streamlit.runtime.uploaded_file_manager import UploadedFile

from dashboard.desk.bus_source import Logged, became_words, checked, stored
from dashboard.desk.rights import Act
from dashboard.judging.bus_looking import look_into
from dashboard.screens import columns, downloads, kept, reception, session
from dashboard.screens.uploads import made_once, one_file, saved_to
from dashboard.words import bus_words as say
from dashboard.words import every_page
from dashboard.words.plain_text import number, safe, temperature
from dashboard.words.reading_sheet import is_bound, measured
from ingest.entries import Entry
from ingest.errors import FileRefused
from ingest.values import parse_time

KINDS = ["log", "txt", "csv", "mf4", "mdf"]
LONGEST = 600  # [characters] of a sentence, so that it is shown whole; our choice


def show() -> None:
    """The tab: a log, the vehicle it is of, what was found, and storing it."""
    st.write(say.WHICH_LOGS)
    upload = one_file(say.LOG, KINDS, key="log_file")
    dbc = one_file(say.DBC, ["dbc"], key="log_dbc")
    unit = st.selectbox(
        every_page.VEHICLE,
        list(session.units_in_service()["unit"]),
        index=None,
        placeholder=say.WHICH_VEHICLE,
        key="log_unit",
    )
    began = st.text_input(say.BEGAN, placeholder="2026-01-31T07:45", key="log_began")
    if upload is None:
        return
    if began and parse_time(began).value is None:
        st.error(say.NO_TIME.format(text=safe(began)))
        return
    try:
        logged = found_in(upload, dbc, began)
    except FileRefused as error:
        st.error(f"{safe(upload.name)}: {safe(error, longest=LONGEST)}.")
        return
    st.markdown(f"**{safe(logged.about, longest=LONGEST)}**")
    if logged.starts:
        offer(logged, str(unit) if unit else "")


def found_in(upload: UploadedFile, dbc: UploadedFile | None, began: str) -> Logged:
    """What a log holds, looked into once for the same files."""

    def look() -> Logged:
        with tempfile.TemporaryDirectory(prefix="cranktrend-") as folder, st.spinner(say.LOOKING):
            base = saved_to(folder, dbc) if dbc else None
            return look_into(saved_to(folder, upload), dbc=base, began=parse_time(began).value)

    return made_once("log_found", (upload.file_id, dbc.file_id if dbc else "", began), look)


def offer(logged: Logged, unit: str) -> None:
    """The starts with what would become of each, and a button that stores them."""
    entries: Sequence[Entry | None] = [None] * len(logged.starts)
    if unit and logged.dated:
        entries = session.read(checked, unit, logged.starts)
    table_of(logged, entries)
    if not logged.dated:
        st.info(say.NO_DATES)
    if reception.may(Act.RECORD) and st.button(
        say.STORE, type="primary", key="log_store", disabled=not (unit and logged.dated)
    ):
        with session.database(Act.RECORD, unit=unit) as db:
            entries = stored(db, unit, logged.starts, by=session.who())
            new, known = (sum(e is not None and getattr(e, what) for e in entries) for what in ("stored", "known"))
            wrong = sum(e is not None and bool(e.problems) for e in entries)
            said = say.STORED.format(new=new, known=known, wrong=wrong)
            kept.keep(kept.Kept("log", unit, said, wrong=bool(wrong)))
    kept.told("log", unit)


def table_of(logged: Logged, entries: Sequence[Entry | None]) -> None:
    """Every start in words: how it went, its values, what would become of it."""
    rows, in_f = [], session.fahrenheit()
    for one, entry in zip(logged.starts, entries, strict=True):
        values = {name: one.values.get(name) for name in say.SHOWN}
        cells = {
            label: measured(one.values, name)
            if is_bound(one.values, name)
            else figure(name, values[name], fahrenheit=in_f)
            for name, label in say.SHOWN.items()
        }
        rows.append(
            {"start": one.taken_at, "went": one.words[0], **cells, say.AS_READING: "; ".join(became_words(one, entry))}
        )
    table = pd.DataFrame(rows)
    filled = [name for name in table if name not in say.SHOWN.values() or (table[name] != "").any()]
    columns.show(table[filled], alt=say.STARTS_ALT, key="log_table")
    downloads.table_button(table[filled], "starts", key="log_starts")


def figure(name: str, value: object, *, fahrenheit: bool) -> str:
    """A value with the digits that it is read with; a temperature in the reader's unit."""
    if name == "temperature_c" and isinstance(value, float):
        return temperature(value, fahrenheit=fahrenheit)
    digits = 0 if name == "crank_rpm" else 2
    return number(float(value), digits) if isinstance(value, int | float) else ""
