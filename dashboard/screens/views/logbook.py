"""Who did what, when and why; a change can be undone from here."""

from datetime import date, timedelta

import pandas as pd
import streamlit as st

from dashboard.screens import bay, columns, downloads, kept, reception, session
from dashboard.screens.pages import IN_ADDRESS, page
from dashboard.words import every_page
from dashboard.words import record_words as say
from dashboard.words.plain_text import safe
from ingest.logbook import MOST, read_logbook

SHOWN_D = 90  # [d] looked back at first, our choice
CHANGES_OFFERED = 50  # latest changes that can be chosen to be undone, our choice


def show() -> None:
    st.title(every_page.PAGES["logbook"])
    kept.told("logbook", "")
    with st.container(horizontal=True, key="filters"):
        unit = st.text_input(
            every_page.VEHICLE, max_chars=64, key="unit_is", placeholder=say.WHOLE_NUMBER, bind=IN_ADDRESS
        )
        who = st.text_input(say.WHO, max_chars=64, key="who_did", placeholder=say.PART_OF_NAME, bind=IN_ADDRESS)
        since = st.date_input(
            say.SINCE, value=session.today() - timedelta(days=SHOWN_D), max_value=session.today(), key="since",
            format=session.date_format(), bind=IN_ADDRESS,
        )  # fmt: skip
    done = session.read(read_logbook, unit=unit.strip(), who=who.strip(), since=since if isinstance(since, date) else None
    )  # fmt: skip
    if done.empty:
        st.write(say.NOTHING_THEN)
        return
    table(done)
    undoing(done)


def table(done: pd.DataFrame) -> None:
    columns.show(
        done.assign(
            at=columns.moments(done["at"]),
            what=done["what"].replace(say.LOGGED),
            record=[say.logged_record(str(record)) for record in done["record"]],
            column=[bay.LABELS.get(name, name.replace("_", " ")) for name in done["column"]],
            change=done["change"].astype("Int64").where(done["change"] > 0),
        ),
        alt=say.LOGBOOK_ALT, key="logbook_table", placeholder="",
        columns={
            "change": st.column_config.NumberColumn(say.CHANGE_HEAD, format="%d", help=say.CHANGE_HELP),
        },
    )  # fmt: skip
    if len(done) == MOST:
        st.caption(say.LATEST_LINES.format(count=MOST))
    downloads.table_button(done, "logbook", key="logbook")


def undoing(done: pd.DataFrame) -> None:
    changes = done[done["change"] > 0].drop_duplicates("change").head(CHANGES_OFFERED)
    if changes.empty:
        return
    words = {
        int(row["change"]): f"{row['change']}: {row['at'].replace('T', ' ')[:16]} {row['by']}, {row['what']} "
        f"{row['record']}" + (f" ({row['unit']})" if row["unit"] else "")
        for row in changes.to_dict("records")
    }
    with st.container(width=640):
        chosen = st.selectbox(say.CHANGE, list(words), format_func=words.__getitem__, key="undo_change")
        note = kept.Kept("logbook", "", "", change=chosen or 0)
        if reception.may(kept.act_of(note)):
            st.button(say.UNDO_CHANGE, key="undo_now", icon=":material/undo:", on_click=kept.take_back, args=(note,))
        unit = str(changes.loc[changes["change"] == chosen, "unit"].iloc[0])
        if unit:
            st.page_link(page("correct"), label=say.CORRECTIONS_OF.format(unit=safe(unit)), query_params={"unit": unit})


show()
