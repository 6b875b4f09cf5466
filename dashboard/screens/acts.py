"""Acts that go on record with a name and a time: nothing is written because a page was opened."""

from __future__ import annotations

import streamlit as st

from dashboard.screens import device, session
from dashboard.words import every_page as say


def pressed(label: str, key: str) -> bool:
    """A button for an act; asks for a name where nobody gave one.  True when the act is to be done."""
    with st.container(horizontal=True, vertical_alignment="bottom", key=f"act_{key}"):
        if not session.who_is_named():
            box = f"who_{key}"
            st.text_input(say.ISSUED_BY, max_chars=64, key=box, width=280, on_change=device.name_told, args=(box,))
        done = st.button(label, key=f"{key}_now", type="primary")
    if done and not session.who_is_named():
        st.error(say.NAME_FIRST)
        return False
    return done
