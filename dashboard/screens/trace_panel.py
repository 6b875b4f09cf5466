"""In the bay: a recorded start instead of typing: the picture with its marks, and its values for the form."""

import tempfile
from collections.abc import Mapping
from typing import Any, Final

import pandas as pd
import streamlit as st
from streamlit.runtime.uploaded_file_manager import UploadedFile

from analysis.trace.record import Marks, Start
from dashboard.charts import charts
from dashboard.charts.trace_chart import trace_charts, trace_text
from dashboard.desk.trace_source import Recording, reading_values, recording_of
from dashboard.screens import bay, drafts, pictures
from dashboard.screens.uploads import made_once, one_file, saved_to
from dashboard.words import chart_numbers, trace_words
from dashboard.words.plain_text import safe, whole
from ingest.errors import IngestError
from ingest.fields import OF_A_TRACE

KINDS: Final = ["csv", "txt", "tsv", "xlsx"]
SCALES: Final = {trace_words.AS_WRITTEN: None, "1 mV/A": 1.0, "10 mV/A": 10.0, "100 mV/A": 100.0}
KEPT: Final = "recording"
NOT_TYPED: Final = ("instrument", "lowest_is")  # what a trace says beside its values
STEP_S: Final = 0.01  # [s] by which the buttons beside a mark move it: our choice, less than a stroke


def offer(unit: Mapping[Any, Any], meter: bay.Meter, form: int) -> None:
    """The fold in which a file is chosen, looked at and filled into the form."""
    with st.expander(trace_words.PANEL, icon=":material/monitoring:", key=f"trace_panel_{form}"):
        upload = one_file(trace_words.PANEL_HELP, KINDS, key=f"trace_file_{unit['unit']}_{form}")
        if upload is None:
            st.session_state.pop(KEPT, None)
            return
        recording = read(upload, unit, choices(unit, upload.file_id))
        if recording is not None:
            looked_at(recording, str(unit["unit"]), meter, upload.file_id, form)


def choices(unit: Mapping[Any, Any], key: str) -> dict[str, Any]:
    """What the file does not say itself."""
    scale = st.segmented_control(
        trace_words.SCALE_LABEL, list(SCALES), default=trace_words.AS_WRITTEN, key=f"trace_scale_{key}"
    )
    chosen: dict[str, Any] = {"clamp_mv_per_a": SCALES[scale or trace_words.AS_WRITTEN]}
    if not (isinstance(unit.get("cylinders"), int | float) and unit["cylinders"] > 0):
        chosen["cylinders"] = st.number_input(trace_words.CYLINDERS_LABEL, 1, 24, None, key=f"trace_cylinders_{key}")
    with st.popover(trace_words.MORE_LABEL):
        chosen["rate_hz"] = st.number_input(
            trace_words.RATE_LABEL, 0.5, 1_000_000.0, None, key=f"trace_rate_{key}", format="%g"
        )
        for name, label in trace_words.COLUMN_LABELS.items():
            chosen[name] = st.text_input(label, max_chars=200, key=f"trace_{name}_{key}")
    return chosen


def read(upload: UploadedFile, unit: Mapping[Any, Any], chosen: Mapping[str, Any]) -> Recording | None:
    """The recording, read anew only when the file or what is said of it is another; why not, where it cannot be read."""

    def read_it() -> Recording:
        with tempfile.TemporaryDirectory() as folder:
            return recording_of(saved_to(folder, upload), unit=unit, **chosen)

    try:
        return made_once(KEPT, (upload.file_id, unit["unit"], tuple(chosen.items())), read_it)
    except (IngestError, ValueError) as error:
        st.error(whole(safe(error)))
        return None


def looked_at(recording: Recording, unit: str, meter: bay.Meter, key: str, form: int) -> None:
    for note in trace_words.notes(recording.found, reversed_clamp=recording.reversed_clamp):
        st.info(whole(safe(note)))
    count = len(recording.found.marks)
    if not count:
        picture(recording, None)
        return
    position = 1
    if count > 1:
        position = st.segmented_control(
            trace_words.WHICH_START, range(1, count + 1), default=1, key=f"trace_which_{key}"
        ) or 1  # fmt: skip
    above = st.container()
    start = with_marks(recording, position, key)
    if start is None:
        return
    with above:
        picture(recording, start)
    values_table(start)
    for sentence in (*trace_words.caution_words(start), trace_words.ran_words(start)):
        if sentence:
            st.caption(whole(safe(sentence)))
    st.caption(trace_words.OWN_ERRORS)
    values = reading_values(start, recording.trace.rate_hz)
    st.button(
        trace_words.FILL_IN, key=f"trace_fill_{key}_{position}", icon=":material/input:", width="stretch",
        on_click=fill, args=(unit, values, meter, form),
    )  # fmt: skip


def with_marks(recording: Recording, position: int, key: str) -> Start | None:
    """The start between its marks, as found or as moved; None where they cannot be."""
    own = recording.found.marks[position - 1]
    first, last = float(recording.trace.time_s[0]), float(recording.trace.time_s[-1])
    keys = {name: f"trace_{name}_{key}_{position}" for name in trace_words.MARK_LABELS}
    at = {}
    st.caption(trace_words.MOVE)
    for place, (name, label) in zip(st.columns(3), trace_words.MARK_LABELS.items(), strict=True):
        with place:
            at[name] = float(
                st.number_input(label, first, last, getattr(own, name), STEP_S, format="%.3f", key=keys[name])
            )
    if any(abs(at[name] - getattr(own, name)) > 1e-9 for name in at):
        st.button(
            trace_words.AS_FOUND, key=f"trace_found_{key}_{position}", on_click=forget, args=(list(keys.values()),)
        )
    try:
        return recording.moved(position, Marks(**at)).measured(position)
    except ValueError as error:
        st.error(whole(safe(error)))
        return None


def forget(keys: list[str]) -> None:
    """Put the marks back to where they were found."""
    for key in keys:
        st.session_state.pop(key, None)


def picture(recording: Recording, start: Start | None) -> None:
    said = [] if start is None else [f"{label} {text}" for label, text in rows_of(start).items()]
    drawn = trace_charts(recording.trace, start, title=trace_words.PICTURE)
    for position, chart in enumerate(drawn):
        spec = charts.specification(chart)
        tables = [chart_numbers.trace_numbers(recording.trace)] if position + 1 == len(drawn) else []
        pictures.chart(spec, trace_text(start, said), f"trace_chart_{position}", *tables)


def rows_of(start: Start) -> dict[str, str]:
    """Each value in words, by what it is."""
    return {label: trace_words.row_words(start, name, unit) for name, label, unit in trace_words.ROWS}


def values_table(start: Start) -> None:
    even = trace_words.even_words(start.even)
    rows = rows_of(start) | ({"cylinders": even} if even else {})
    table = pd.DataFrame({trace_words.VALUE: [whole(text) for text in rows.values()]}, index=list(rows))
    st.table(table)


def fill(unit: str, values: Mapping[str, object], meter: bay.Meter, form: int) -> None:
    """Put the values into the form's fields, as this meter would show them, and keep them as the draft."""
    typed = {name: bay.shown(name, float(str(value)), meter) for name, value in values.items() if name in OF_A_TRACE}
    for name, text in typed.items():
        st.session_state[f"m_{name}_{unit}_{form}"] = text
    beside = {name: str(values.get(name, "")) for name in NOT_TYPED}
    drafts.keep(unit, drafts.values_of(unit) | typed | beside, drafts.twice_of(unit))
