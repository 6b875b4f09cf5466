"""Files: bring them in, and describe those that have headings of their own."""

import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pandas as pd
import streamlit as st
from streamlit.runtime.uploaded_file_manager import UploadedFile

from dashboard.desk import act_log
from dashboard.desk.rights import Act
from dashboard.judging.importing import Import, Order, begin
from dashboard.screens import beginning, bus_logs, columns, downloads, kept, reception, session, visitor
from dashboard.screens.pages import page
from dashboard.screens.uploads import one_file, saved_to, some_files
from dashboard.words import every_page, files_words
from dashboard.words.described import DATE_ORDERS, GROUPS, MARKS, column_words, columns_to_choose, question_words
from dashboard.words.log_words import BEGUN
from dashboard.words.plain_text import as_sentence, clean, count_words, day, safe
from dashboard.words.record_words import WHY_WITHDRAWN, WITHDRAW
from ingest import corrections
from ingest.drafting import Described, Draft, draft_source, preview
from ingest.errors import IngestError
from ingest.fields import CLAMP_COLUMNS, FILE
from ingest.outcome import Outcome
from ingest.readers import SUFFIXES
from ingest.sources import list_sources, parse_source, read_source, save_source

PREVIEW_ROWS = 10
LONGEST_REASON = 2000  # [characters] of a reason, so that it is shown whole; our choice
KINDS = [suffix.removeprefix(".") for suffix in SUFFIXES]


def show() -> None:
    st.title(every_page.PAGES["files"])
    if st.session_state.pop("files_describe", False):
        st.session_state["files_tab"] = files_words.DESCRIBE
    tabs = st.tabs(
        [files_words.BRING_IN, files_words.BUS, files_words.DESCRIBE, files_words.ON_RECORD],
        key="files_tab",
        on_change="rerun",
    )
    with tabs[0]:
        bring_in()
    with tabs[1]:
        bus_logs.show()
    with tabs[2]:
        describe()
    with tabs[3]:
        known()


def bring_in() -> None:
    """Import files: every row is stored, known already, or set aside with its reason."""
    beginning.steps()
    st.write(files_words.WHICH_FILES)
    if not reception.may(Act.IMPORT):
        return
    uploads = some_files(files_words.FILES, KINDS, key="uploads")
    names = [source.name for source in session.read(list_sources)]
    source = st.selectbox(
        files_words.DESCRIPTION, names, index=None, placeholder=files_words.BY_HEADINGS, key="use_source"
    )
    dry = st.toggle(files_words.ONLY_TRY, key="dry")
    run: Import | None = session.held().get("import_run")
    at_work = run is not None and not run.ended
    if st.button(files_words.BRING_IN_NOW, type="primary", key="import", disabled=not uploads or at_work):
        try:
            begin_import(uploads, source, dry=dry)
        except OSError as error:
            st.error(files_words.NOT_LAID_DOWN.format(why=safe(error.strerror)))
            return
        st.rerun()
    if at_work:
        progress()
        return
    if run is not None:
        ended(run)
    take_out()


def begin_import(uploads: Sequence[UploadedFile], source: str | None, *, dry: bool) -> None:
    folder = tempfile.TemporaryDirectory(prefix="cranktrend-")
    files = tuple(str(saved_to(folder.name, upload)) for upload in uploads)
    order = Order(
        str(session.database_path()), files, session.now().isoformat(), session.who(), source, dry, visitor.account()
    )
    with session.database(Act.IMPORT):  # the import opens the database for itself, and is logged when it has ended
        act_log.became(BEGUN)
        session.held()["import_run"] = begin(order, folder)


@st.fragment(run_every="500ms")
def progress() -> None:
    """How far the import is, and a way to stop it; the page follows when it has ended."""
    run: Import = session.held()["import_run"]
    if run.ended:
        session.draw_again("imported")
    st.progress(run.done, text=files_words.READING.format(file=safe(run.file)) if run.file else files_words.LOOKING)
    if st.button(files_words.STOP, key="import_stop", disabled=run.stopped):
        run.stop()


def ended(run: Import) -> None:
    if run.outcome is not None:
        say(run.outcome)
        return
    kept = (
        files_words.STORED_BEFORE.format(files=", ".join(map(safe, run.kept)))
        if run.kept
        else files_words.NOTHING_STORED
    )
    if run.stopped:
        st.warning(files_words.STOPPED.format(kept=kept))
    else:
        st.error(f"{safe(run.failed, longest=LONGEST_REASON)} {kept}")


def say(outcome: Outcome) -> None:
    """What became of every row: green only when every row is in; each refusal whole, with the way to mend it."""
    tried = files_words.WAS_A_TRY if outcome.dry_run else ""
    refused = [one for one in outcome.files if one.error]
    tell = st.error if refused else st.warning if outcome.set_aside else st.info if outcome.dry_run else st.success
    tell(safe(outcome.summary(), longest=LONGEST_REASON) + "." + tried)
    for one in refused:
        st.markdown(f"**{safe(one.file)}** {files_words.NOT_STORED if one.could_not else files_words.REFUSED}: "
                    f"{safe(one.error, longest=LONGEST_REASON)}.")  # fmt: skip
    if any(one.describe for one in refused) and st.button(
        files_words.DESCRIBE, key="to_describe", icon=":material/edit_note:"
    ):
        st.session_state["files_describe"] = True
        st.rerun()
    if outcome.set_aside and not outcome.dry_run and not session.has_vehicles():
        st.markdown(files_words.VEHICLES_FIRST)
    elif outcome.set_aside and not outcome.dry_run:
        rows = count_words(outcome.set_aside, "row")
        st.page_link(page("set_aside"), label=files_words.WORK_THROUGH.format(rows=rows), icon=":material/rule:")
    table = pd.DataFrame(
        [(f.file, f.table, f.rows, f.stored, f.known, f.set_aside, f.doubtful, f.error) for f in outcome.files],
        columns=[
            "file",
            "table",
            "rows",
            "stored",
            files_words.ALREADY_KNOWN,
            files_words.TO_PUT_RIGHT,
            "doubtful",
            files_words.REFUSED_BECAUSE,
        ],
    )
    columns.show(table, alt=files_words.OUTCOME_ALT, key="outcome_table")
    downloads.table_button(table, "import", key="import_table")
    notes = [f"{safe(one.file)}: {safe(note, longest=LONGEST_REASON)}" for one in outcome.files for note in one.notes]
    if notes:
        st.markdown(f"{files_words.NOTES}\n" + "\n".join(f"- {note}" for note in notes))


def take_out() -> None:
    """Withdraw what a file brought, with a button that puts it back."""
    kept.told("files", "")
    names = session.read(corrections.files_on_record)
    if not names or not reception.may(Act.CORRECT):
        return
    with st.popover(files_words.TAKE_OUT_OPENS, key="take_out"):
        st.caption(files_words.TAKEN_OUT_MEANS)
        name = st.selectbox(files_words.FILE, names, format_func=clean, key="take_out_file")
        reason = st.text_input(WHY_WITHDRAWN, max_chars=200, key="take_out_why")
        if st.button(WITHDRAW, type="primary", key="take_out_now"):
            words = files_words.TAKEN_OUT.format(file=name)
            kept.changed("files", "", words, corrections.withdraw, FILE, name, reason=reason, forget="import_run")


def describe() -> None:
    """Draft a description, change it in a form, check it against the file's first rows, save it under a name."""
    st.write(files_words.DESCRIBE_HELP)
    if not reception.may(Act.IMPORT):
        return
    upload = one_file(files_words.FILE, KINDS, key="describe_file")
    if upload is None:
        return
    with tempfile.TemporaryDirectory() as folder:
        path = saved_to(folder, upload)
        try:
            draft = draft_source(path)
        except IngestError as error:
            st.error(safe(error))
            return
        st.info(as_sentence(safe(draft.kind)), icon=":material/description:")
        asked = st.container()
        described = form(draft, upload.file_id)
        for question in described.questions:
            asked.warning(question_words(question, described.table), icon=":material/help:")
        text = described.toml()
        with st.expander(files_words.AS_TEXT):
            text = st.text_area(
                files_words.DESCRIPTION, value=text, height=340, key=f"toml_{upload.file_id}_{hash(text)}"
            )
        st.markdown(f"**{files_words.FIRST_ROWS}**")
        if described.questions and text == described.toml():
            st.write(files_words.AFTER_ANSWER)
            return
        try:
            frame = preview(path, text, rows=PREVIEW_ROWS)
        except (IngestError, ValueError) as error:
            st.error(safe(error))
            return
        columns.show(columns.with_moments(frame), alt=files_words.FIRST_ROWS, key="preview")
        downloads.table_button(frame, f"first-rows-{Path(upload.name).stem}", key="preview")
    name = st.text_input(files_words.SAVE_AS, max_chars=64, key="source_name")
    if st.button(files_words.SAVE_DESCRIPTION, type="primary", key="save_source", disabled=not name.strip()):
        try:
            parse_source(text)
            with session.database(Act.IMPORT) as db:
                save_source(db, name.strip(), text, by=session.who(), now=session.now())
                kept.keep(kept.Kept("described", "", files_words.SAVED))
        except (IngestError, ValueError) as error:
            st.error(safe(error))
            return
    kept.told("described", "")


def form(draft: Draft, file: str) -> Described:
    """The description as the form has it: what each heading is, how dates and numbers are written, clamp scales."""
    first = draft.described
    choices = columns_to_choose(first.table)
    orders = ["?", *DATE_ORDERS] if first.date_order == "?" else list(DATE_ORDERS)
    left, middle, right = st.columns(3)
    order = left.selectbox(
        files_words.DATES, orders, index=orders.index(first.date_order), key=f"order_{file}",
        format_func=lambda one: DATE_ORDERS.get(one, files_words.CHOOSE),
    )  # fmt: skip
    decimal = middle.selectbox(files_words.DECIMALS, list(MARKS), index=list(MARKS).index(first.decimal), key=f"decimal_{file}",
                               format_func=lambda one: MARKS[one])  # fmt: skip
    groups = list(GROUPS)
    thousands = right.selectbox(files_words.THOUSANDS, groups, index=groups.index(first.thousands), key=f"thousands_{file}",
                                format_func=lambda one: GROUPS[one])  # fmt: skip
    zone = first.utc_to and st.text_input(
        files_words.ZONE, "" if first.utc_to == "?" else first.utc_to, key=f"zone_{file}", placeholder=files_words.ZONE_AS, width=320
    )  # fmt: skip
    st.markdown(files_words.EACH_HEADING)
    said = []
    for k, (heading, target) in enumerate(first.columns):
        doubt = draft.doubt(heading)
        name = files_words.TO_CHECK.format(heading=safe(heading)) if doubt else safe(heading)
        options = choices if target in choices else [*choices, target]
        chosen = st.selectbox(
            name, options, index=options.index(target), key=f"column_{file}_{k}", help=as_sentence(safe(doubt)) if doubt else None,
            format_func=lambda one: column_words(one, first.table),
        )  # fmt: skip
        said.append((heading, str(chosen)))
    clamps = {
        target: st.number_input(
            files_words.CLAMP_SCALE.format(column=as_sentence(column_words(target, first.table))), min_value=0.001, max_value=1000.0,
            value=float(first.clamps.get(target, CLAMP_COLUMNS[target][1])), key=f"clamp_{file}_{target}",
        )
        for target in CLAMP_COLUMNS
        if target in dict(said).values()
    }  # fmt: skip
    return replace(
        first,
        columns=tuple(said),
        decimal=str(decimal),
        thousands=str(thousands),
        date_order=str(order),
        clamps=clamps,
        utc_to=zone.strip() or first.utc_to,
    )


def known() -> None:
    with session.database() as db:
        sources = list_sources(db)
        if not sources:
            st.write(files_words.NONE_YET)
            return
        name = st.selectbox(files_words.KNOWN, [s.name for s in sources], key="known_source")
        text = read_source(db, name or sources[0].name)
    one = next(s for s in sources if s.name == (name or sources[0].name))
    st.caption(files_words.SAVED_BY.format(day=day(one.saved_at), by=safe(one.saved_by), count=len(one.headings)))
    st.text(text)  # not as code: for that the browser fetches a highlighter of 1.5 MB
    st.download_button(files_words.AS_FILE, text, file_name="source.toml", key="source_toml", on_click="ignore")


show()
