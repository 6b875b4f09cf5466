"""Buttons for the codes on windscreens, and whether a phone can reach the address that they hold."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from dashboard.desk.addresses import bay_address, only_here
from dashboard.files import paper
from dashboard.screens import downloads
from dashboard.words import every_page as say
from dashboard.words.plain_text import safe


def code_button(base: str, units: Sequence[str], name: str, label: str) -> None:
    """A button that makes the codes of `units` as a PDF of labels; base: the screens' address, "" for none."""
    downloads.pdf_button(
        label, lambda: paper.codes_pdf([(unit, bay_address(base, unit)) for unit in units]), name, key="codes_pdf",
        disabled=not (units and base),
    )  # fmt: skip


def code_reach(base: str) -> None:
    """Say which address the codes hold, and when no phone can reach it."""
    if not base or only_here(base):
        st.caption(say.CODE_UNREACHABLE.format(address=safe(base or say.NO_ADDRESS)))
    else:
        st.caption(say.CODE_HOLDS.format(address=safe(base)))
