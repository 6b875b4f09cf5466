"""Rows that could not be believed: put them right and take them in, or leave them out with a reason."""

import pandas as pd
import streamlit as st

from dashboard.desk.rights import Act
from dashboard.screens import bay, columns, downloads, kept, reception, session
from dashboard.screens.pages import IN_ADDRESS
from dashboard.words import every_page
from dashboard.words import record_words as say
from dashboard.words.plain_text import day, safe, words
from ingest.errors import IngestError
from ingest.fields import QUANTITIES, TABLES
from ingest.set_aside import SetAside, correct_set_aside, dismiss_set_aside, list_set_aside, show_set_aside

FIELD_PX = 172  # [px] two side by side on a phone
REASON_SHOWN = 70  # characters of a reason in the choice of rows, our choice
ROWS_SHOWN = 500  # rows of the table at a time; all of them are in the download, our choice


def show() -> None:
    st.title(every_page.PAGES["set_aside"])
    st.write(say.KEPT_APART)
    kept.told("set_aside", "")
    state = (
        st.segmented_control(
            say.SHOW,
            list(say.STATES),
            default="open",
            key="aside_state",
            bind=IN_ADDRESS,
            format_func=say.STATES.__getitem__,
        )
        or "open"
    )
    rows = session.read(list_set_aside, state=state)
    if rows.empty:
        st.success(say.NO_ROW_WAITS if state == "open" else say.NO_SUCH_ROW)
        return
    rows = rows.assign(reason=[bay.spoken(str(reason)) for reason in rows["reason"]])
    table = rows[["id", "state", "table_name", "unit", "reason", "file", "line", "original", "set_aside_at"]]
    shown = table.head(ROWS_SHOWN)
    columns.show(
        shown.assign(
            state=shown["state"].map(say.STATES), table_name=shown["table_name"].map(words),
            set_aside_at=columns.moments(shown["set_aside_at"]),
        ),
        alt=say.ROWS_ALT, height=260, key="aside_table",
    )  # fmt: skip
    downloads.table_button(table, f"set-aside-{state}", key="aside")
    if len(table) > ROWS_SHOWN:
        st.caption(say.FIRST_ROWS.format(shown=ROWS_SHOWN, count=len(table)))
    ids = shown["id"].tolist()
    about = {
        r["id"]: f"{r['id']} · {r['unit'] or words(r['table_name'])} · {shortened(r['reason'])}"
        for r in shown.to_dict("records")
    }
    chosen = st.selectbox(say.ROW, ids, format_func=about.__getitem__, key=f"aside_row_{state}")
    if chosen is not None:
        one(int(chosen))


def shortened(text: str) -> str:
    """The beginning of a sentence, with a mark where something was cut off."""
    return text if len(text) <= REASON_SHOWN else text[: REASON_SHOWN - 1] + "…"


def label(name: str) -> str:
    unit = f", {QUANTITIES[name].unit}" if name in QUANTITIES else ""
    return f"{bay.LABELS.get(name, say.LABELS.get(name, words(name).capitalize()))}{unit}"


def one(number: int) -> None:
    """One row: where it stood, why it was not taken in, what was tried, and what can be done."""
    try:
        row = session.read(show_set_aside, number)
    except IngestError as error:
        st.error(safe(error))
        return
    sheet = say.SHEET.format(sheet=safe(row.sheet)) if row.sheet else ""
    st.markdown(
        say.ROW_LINE.format(
            file=safe(row.file),
            sheet=sheet,
            line=row.line,
            day=day(row.set_aside_at),
            reason=safe(bay.spoken(row.reason)),
        )
    )
    st.text(row.original)  # not as code: for that the browser fetches a highlighter of 1.5 MB
    if row.attempts:
        tried(row)
    if row.state != "open":
        st.caption(
            say.RESOLVED.format(
                state=say.STATES[row.state].capitalize(),
                by=safe(row.resolved_by),
                day=day(row.resolved_at),
                resolution=safe(row.resolution),
            )
        )
        return
    if reception.may(Act.ASIDE):
        correct(row)
        dismiss(row)


def tried(row: SetAside) -> None:
    st.markdown(say.TRIED_BEFORE)
    table = pd.DataFrame(
        [(a.at, a.by, bay.spoken(a.result)) for a in row.attempts], columns=["at", "by", "result"]
    )  # fmt: skip
    columns.show(table.assign(at=columns.moments(table["at"])), alt=say.TRIED_ALT, key=f"tried_table_{row.id}")
    downloads.table_button(table, f"tried-{row.id}", key="tried")


def correct(row: SetAside) -> None:
    """Fields of what the table asks for and the row has, with its values; what differs is what is corrected."""
    st.subheader(say.PUT_IT_RIGHT)
    changes: dict[str, str] = {}
    with st.container(horizontal=True, vertical_alignment="bottom", key="aside_fields"):
        needed = [column.name for column in TABLES[row.table_name].columns if column.required]
        for name in dict.fromkeys([*needed, *row.values]):
            old = "" if row.values.get(name) is None else str(row.values[name])
            new = st.text_input(
                label(name), value=old, max_chars=64,
                key=f"aside_{row.id}_{name}", help=name, width=FIELD_PX,
            )  # fmt: skip
            if new.strip() != old.strip():
                changes[name] = new.strip()
    if st.button(say.TAKE_IN, type="primary", key=f"admit_{row.id}"):
        with session.saving(Act.ASIDE) as db:
            entry = correct_set_aside(db, row.id, changes, by=session.who(), now=session.now())
            if entry.stored or entry.known:
                kept.keep(kept.Kept("set_aside", "", say.TAKEN_IN))
                st.rerun()
            kept.refused(entry.problems)


def dismiss(row: SetAside) -> None:
    with st.popover(say.LEAVE_OUT_OPENS, key=f"dismiss_{row.id}"):
        reason = st.text_input(every_page.WHY, max_chars=200, key=f"aside_why_{row.id}")
        if st.button(say.LEAVE_OUT, key=f"dismiss_now_{row.id}"):
            with session.saving(Act.ASIDE) as db:
                dismiss_set_aside(db, row.id, reason=reason, by=session.who(), now=session.now())
                kept.keep(kept.Kept("set_aside", "", say.LEFT_OUT))
                st.rerun()


show()
