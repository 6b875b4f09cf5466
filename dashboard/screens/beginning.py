"""The first steps on an empty database: vehicles, climate, readings, workshop hours, each with a template to fill in and a sample."""

from datetime import date

import streamlit as st

from dashboard.files import first_files
from dashboard.screens import session
from dashboard.screens.downloads import XLSX
from dashboard.screens.pages import page
from dashboard.words import beginning as say
from dashboard.words.beginning import BRING_IN, EMPTY, NO_READING, SAMPLE, STEPS, TO_STEPS, Step, state


def counts() -> dict[str, int]:
    """Table of a first step -> how many are on record; of the climate, of depots."""
    with session.database() as db:
        depots = len(list(db.query("SELECT depot FROM climate UNION SELECT depot FROM lows")))
        hours = len({str(row["depot"]) for row in db.query("SELECT depot FROM workshops")})
        return {
            "units": db.table("units").count, "climate": depots, "readings": db.table("readings").count, "workshops": hours,
        }  # fmt: skip


def begin() -> None:
    """On the first page of an empty database: the steps themselves."""
    st.info(EMPTY)
    steps()
    st.page_link(page("files"), label=BRING_IN, icon=":material/upload_file:")


def nothing_yet() -> None:
    """On a page that needs vehicles where there are none: where to begin."""
    st.info(EMPTY)
    to_steps()


def no_reading() -> None:
    """On a page that needs a reading before the day shown where there is none."""
    st.info(NO_READING)
    to_steps()


def to_steps() -> None:
    st.page_link(page("files"), label=TO_STEPS, icon=":material/checklist:")


def steps() -> None:
    """The steps with their state, templates and samples; unfolded as long as one is to be done."""
    found = counts()
    with st.expander(say.FIRST_STEPS, expanded=not all(found.values()), key="first_steps"):
        for position, step in enumerate(STEPS, 1):
            one(position, step, found[step.table])
        st.caption(SAMPLE)


def one(position: int, step: Step, count: int) -> None:
    """One step: what it is for, how far it has come, and its two files."""
    mark = ":material/check_circle:" if count else ":material/radio_button_unchecked:"
    with st.container(key=f"step_{step.table}", gap="small"):
        st.markdown(f"{mark} **{position}. {step.title}**, {state(step, count)}  \n:small[{step.why}]")
        with st.container(horizontal=True):
            template(step.table, step.title)
            st.download_button(
                say.SAMPLE_OF.format(table=step.title.casefold()), lambda: sample(session.today())[step.table],
                file_name=f"{step.table}.csv", mime="text/csv", key=f"sample_{step.table}", on_click="ignore",
            )  # fmt: skip
            if step.table == "readings" and session.has_vehicles():
                st.page_link(page("bay"), label=say.MEASURE, icon=":material/speed:")


def template(table: str, title: str) -> None:
    st.download_button(
        say.TEMPLATE.format(table=title.casefold()), lambda: first_files.template(table),
        file_name=f"{table}.xlsx", mime=XLSX, key=f"template_{table}", on_click="ignore",
    )  # fmt: skip


def no_hours(said: str) -> None:
    """On the plan's page, where workshop hours are missing: what to do, and the template."""
    if said:
        step = next(step for step in STEPS if step.table == "workshops")
        st.warning(said)
        with st.container(horizontal=True):
            template(step.table, step.title)
            st.page_link(page("files"), label=BRING_IN, icon=":material/upload_file:")


@st.cache_resource(show_spinner=False, max_entries=1)
def sample(until: date) -> dict[str, bytes]:
    return first_files.sample(until)
