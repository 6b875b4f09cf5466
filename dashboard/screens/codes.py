"""Buttons for the codes on windscreens, and whether a phone can reach the address that they hold."""

from collections.abc import Sequence

import streamlit as st

from dashboard.desk.addresses import bay_address, only_here
from dashboard.desk.rights import Act, code_of
from dashboard.files import paper
from dashboard.screens import downloads, reception, session, visitor
from dashboard.words import every_page as say
from dashboard.words.plain_text import safe
from ingest.accounts import code_secret


def code_button(base: str, units: Sequence[str], name: str, label: str) -> None:
    """A button that makes the codes of `units` as a PDF of labels; base: the screens' address, "" for none."""

    def make() -> bytes:
        secret = ""
        if visitor.how():
            with session.database() as db:
                visitor.now(db).check(Act.CODES)
                secret = code_secret(db)
        addresses = [(unit, bay_address(base, unit, code_of(secret, unit) if secret else "")) for unit in units]
        return paper.codes_pdf(addresses)

    if reception.may(Act.CODES):
        downloads.pdf_button(label, make, name, key="codes_pdf", disabled=not (units and base) or only_here(base))


def code_reach(base: str) -> None:
    """Say which address the codes hold, and when no phone can reach it."""
    if not base or only_here(base):
        st.caption(say.CODE_UNREACHABLE.format(address=safe(base or say.NO_ADDRESS)))
    else:
        st.caption(say.CODE_HOLDS.format(address=safe(base)))
