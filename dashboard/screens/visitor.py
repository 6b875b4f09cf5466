"""Who is looking: the account that the sign-in tells, or the vehicle whose windscreen code was shown."""

import os
from typing import Final
from urllib.parse import unquote

import streamlit as st
from sqlite_utils import Database

from dashboard.desk.rights import ANYBODY, Visitor, visitor_of
from dashboard.screens.gate import MARK
from ingest.fields import LONGEST_NAME

SIGN_IN_VARIABLE: Final = "CRANKTREND_SIGN_IN"  # set by the command that starts the screens
BY_HEADER: Final = "header"  # a reverse proxy tells the account
BY_PROVIDER: Final = "provider"  # OpenID Connect; what follows a colon is the claim that names the account
CODE: Final = "code"  # of a windscreen, in the address
_SHOWN: Final = "code_shown"


def how() -> str:
    """How people sign in: BY_HEADER, BY_PROVIDER, or "" where nobody does."""
    return os.environ.get(SIGN_IN_VARIABLE, "").partition(":")[0]


def account() -> str:
    """The account that the sign-in tells; "" for who is not signed in."""
    if how() == BY_HEADER:
        told = unquote(st.context.headers.get(MARK, ""))
    elif how() == BY_PROVIDER and st.user.get("is_logged_in"):
        claim = os.environ[SIGN_IN_VARIABLE].partition(":")[2]
        doubtful = claim == "email" and st.user.get("email_verified") is False  # OpenID Connect Core 1.0, section 5.1
        told = "" if doubtful else str(st.user.get(claim) or "")
    else:
        return ""
    return told if told.isprintable() and len(told) <= LONGEST_NAME else ""


def now(db: Database) -> Visitor:
    """The visitor with the roles that it has at this moment."""
    if not how():
        return ANYBODY
    return visitor_of(db, account(), *code_shown())


def code_shown() -> tuple[str, ...]:
    """The vehicle and the code of the windscreen by which this visit began; nothing where it began otherwise."""
    if st.query_params.get(CODE):
        st.session_state[_SHOWN] = (st.query_params.get("unit", ""), st.query_params[CODE])
    shown: tuple[str, ...] = st.session_state.get(_SHOWN, ())
    return shown
