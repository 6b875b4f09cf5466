"""On the settings page of an administrator: which account has which roles, and new codes for windscreens."""

from collections.abc import Callable

import pandas as pd
import streamlit as st

from dashboard.desk.rights import Act
from dashboard.screens import columns, downloads, kept, session, visitor
from dashboard.words import every_page
from dashboard.words import rights_words as say
from ingest.accounts import give_roles, new_code_secret, read_accounts, take_roles
from ingest.fields import LONGEST_NAME, ROLES


def show() -> None:
    """The accounts with their roles, and what an administrator does with them; nothing where nobody signs in."""
    if not visitor.how() or not session.may(Act.ACCOUNTS):
        return
    st.subheader(say.ACCOUNTS)
    kept.told("accounts", "")
    known = session.read(read_accounts)
    table = pd.DataFrame([(name, ", ".join(roles)) for name, roles in known.items()], columns=["account", "roles"])
    columns.show(table, alt=say.ACCOUNTS, key="accounts_table")
    downloads.table_button(table, "accounts", key="accounts")
    with st.form("accounts", border=False, enter_to_submit=False, width=560):
        account = st.text_input(say.ACCOUNT, max_chars=LONGEST_NAME, key="account", help=say.ACCOUNT_HELP)
        roles = st.multiselect(say.ROLES, ROLES, key="account_roles", placeholder=say.CHOOSE_ROLES)
        with st.container(horizontal=True):
            if st.form_submit_button(say.GIVE, key="give_roles"):
                changed(give_roles, account, roles)
            if st.form_submit_button(say.TAKE, key="take_roles"):
                changed(take_roles, account, roles)
    with st.popover(say.NEW_CODES_OPENS, key="new_codes"):
        st.caption(say.NEW_CODES_HELP)
        reason = st.text_input(every_page.WHY, max_chars=200, key="new_codes_why")
        if st.button(say.NEW_CODES_NOW, key="new_codes_now"):
            with session.saving(Act.ACCOUNTS) as db:
                new_code_secret(db, by=session.who(), reason=reason, now=session.now())
                kept.keep(kept.Kept("accounts", "", say.NEW_CODES_MADE))
                st.rerun()


def changed(do: Callable[..., bool], account: str, roles: list[str]) -> None:
    """Give or take roles, and say what the account has now; what cannot be is said in its place."""
    with session.saving(Act.ACCOUNTS) as db:
        different = bool(roles) and do(db, account, roles, by=session.who(), now=session.now())
        held = ", ".join(read_accounts(db).get(account.strip(), ())) or say.NO_ROLE
        said = f"{account.strip()}: {held}" if different else say.NOTHING_CHANGED
        kept.keep(kept.Kept("accounts", "", said))
        st.rerun()
