"""Acts that go on record with a name and a time: nothing is written because a page was opened."""

import streamlit as st

from dashboard.desk.rights import Act
from dashboard.screens import device, reception, session, visitor
from dashboard.words import every_page as say


def pressed(label: str, key: str, act: Act) -> bool:
    """A button for an act beside the name that it goes on record under.  True when the act is to be done.

    Both are sent together: a name typed last thing before the press counts, and nothing moves in between.
    """
    if not reception.may(act):
        return False
    box = f"who_{key}"
    with (
        st.form(f"act_{key}", border=False, enter_to_submit=False),
        st.container(horizontal=True, vertical_alignment="bottom"),
    ):
        with st.container(width=280):
            name_box(say.ISSUED_BY, box)
        done = st.form_submit_button(label, key=f"{key}_now", type="primary")
    return done and named()


def name_box(label: str, key: str) -> None:
    """A box with the name of who is looking, there when the name is known too, so that nothing below it moves; an account needs none."""
    if not visitor.account():
        device.name_box(label, key)


def named() -> bool:
    """Whether there is a name to put on record; asks for it where there is none."""
    known = bool(session.who_is_named())
    if not known:
        st.error(say.NAME_FIRST)
    return known
