"""Files: bring them in, and describe those that have headings of their own."""

from __future__ import annotations

import tempfile
from pathlib import Path, PurePath

import pandas as pd
import streamlit as st
from streamlit.runtime.uploaded_file_manager import UploadedFile

from dashboard import columns, downloads, session
from dashboard.pages import page
from dashboard.plain_text import day, safe
from ingest.drafting import draft_source, preview
from ingest.errors import IngestError
from ingest.importer import import_paths
from ingest.outcome import Outcome
from ingest.sources import list_sources, parse_source, read_source, save_source

PREVIEW_ROWS = 6
KINDS = ["csv", "txt", "tsv", "xlsx"]


def show() -> None:
    """The page."""
    st.title("Files")
    tabs = st.tabs(["Bring in files", "Describe a file", "Descriptions on record"])
    with tabs[0]:
        bring_in()
    with tabs[1]:
        describe()
    with tabs[2]:
        known()


def saved_to(folder: str, upload: UploadedFile) -> Path:
    """An uploaded file in a folder of our own, under its own last name only."""
    name = PurePath(upload.name.replace("\\", "/")).name or "file"
    path = Path(folder) / name
    path.write_bytes(upload.getvalue())
    return path


def bring_in() -> None:
    """Import files: every row is stored, known already, or set aside with its reason."""
    st.write(
        "CSV or XLSX files of vehicles, readings, repairs, climate, forecast, services, workshops or parts. A file may "
        "come twice; the second time changes nothing. A row that cannot be believed is set aside with its reason."
    )
    uploads = st.file_uploader("Files", type=KINDS, accept_multiple_files=True, key="uploads")
    with session.database() as db:
        names = [source.name for source in list_sources(db)]
    source = st.selectbox("Description", names, index=None, placeholder="found by the headings", key="use_source")
    dry = st.toggle("Only try, store nothing", key="dry")
    if not st.button("Bring in", type="primary", key="import", disabled=not uploads):
        return
    with tempfile.TemporaryDirectory() as folder:
        paths = [saved_to(folder, upload) for upload in uploads or []]
        try:
            with session.database() as db, st.spinner("Reading …"):
                outcome = import_paths(db, list(paths), source=source, dry_run=dry, now=session.now(), by=session.who())
        except (IngestError, ValueError) as error:
            st.error(safe(error))
            return
    say(outcome, dry=dry)


def say(outcome: Outcome, *, dry: bool) -> None:
    """What became of every row."""
    (st.info if dry else st.success)(safe(outcome.summary()) + (" Nothing was stored: this was a try." if dry else ""))
    table = pd.DataFrame(
        [(f.file, f.table, f.rows, f.stored, f.known, f.set_aside, f.error) for f in outcome.files],
        columns=["file", "table", "rows", "stored", "already known", "set aside", "refused because"],
    )
    st.dataframe(table, hide_index=True, alt="What became of each file", key="outcome_table")
    downloads.table_button(table, "import", key="import_table")
    if outcome.set_aside and not dry:
        st.page_link(page("set_aside"), label="Work through set-aside rows")


def describe() -> None:
    """Draft a description, change it, check it against the file's first rows, save it under a name."""
    st.write("For a file with headings of its own. A description is drafted from headings, units and values; "
             "check it against the preview before saving.")  # fmt: skip
    upload = st.file_uploader("File", type=KINDS, key="describe_file")
    if upload is None:
        return
    with tempfile.TemporaryDirectory() as folder:
        path = saved_to(folder, upload)
        try:
            draft = draft_source(path)
        except IngestError as error:
            st.error(safe(error))
            return
        for question in draft.questions:
            st.warning(safe(question), icon=":material/help:")
        for unsure in draft.unsure:
            st.caption(f"Check: {safe(unsure)}")
        text = st.text_area("Description", value=draft.toml, height=340, key=f"toml_{upload.file_id}")
        st.markdown("**First rows as they would be read**")
        try:
            frame = preview(path, text, rows=PREVIEW_ROWS)
        except (IngestError, ValueError) as error:
            st.error(safe(error))
            return
        st.dataframe(
            columns.with_moments(frame), hide_index=True, alt="First rows as they would be read", key="preview"
        )
        downloads.table_button(frame, f"first-rows-{Path(upload.name).stem}", key="preview")
    name = st.text_input("Save as", max_chars=64, key="source_name")
    if st.button("Save description", type="primary", key="save_source", disabled=not name.strip()):
        try:
            parse_source(text)
            with session.database() as db:
                save_source(db, name.strip(), text, by=session.who(), now=session.now())
        except (IngestError, ValueError) as error:
            st.error(safe(error))
            return
        st.success("Saved. Files with these headings are read by it from now on.")


def known() -> None:
    """Descriptions on record."""
    with session.database() as db:
        sources = list_sources(db)
        if not sources:
            st.write("None yet. Files with our own column names need none.")
            return
        name = st.selectbox("Description on record", [s.name for s in sources], key="known_source")
        text = read_source(db, name or sources[0].name)
    one = next(s for s in sources if s.name == (name or sources[0].name))
    st.caption(f"Saved {day(one.saved_at)} by {safe(one.saved_by)}; {len(one.headings)} headings.")
    st.code(text, language="toml", wrap_lines=True)
    st.download_button("Description as a file", text, file_name="source.toml", key="source_toml", on_click="ignore")


show()
