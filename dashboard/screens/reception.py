"""What is open to whom: all pages, the bay page of one vehicle, or one page that says whom to ask."""

from collections.abc import Callable

import streamlit as st
from streamlit.navigation.page import Page

from dashboard.desk.rights import Act, Visitor
from dashboard.screens import session, visitor
from dashboard.screens.pages import ADDRESSES, page
from dashboard.words import every_page as every
from dashboard.words import rights_words as say
from dashboard.words.plain_text import safe, whole
from ingest.accounts import administrators


def pages_of(who: Visitor) -> list[Page]:
    """Every address of the screens for who may not read: the bay page of a code's vehicle, else what is to be done."""
    told = _told(who)
    own = {"bay": page("bay")} if who.code_unit else {}
    return [own.get(name) or st.Page(told, title=every.PROGRAM, url_path=name) for name in ADDRESSES]


def _told(who: Visitor) -> Callable[[], None]:
    def told() -> None:
        st.title(every.PROGRAM)
        account = visitor.account()
        if who.code_unit:
            st.info(safe(say.ANOTHER_VEHICLE.format(unit=who.code_unit)))
            st.page_link(page("bay"), label=every.MEASURE_IT, query_params={"unit": who.code_unit})
        elif visitor.code_shown():
            st.warning(say.CODE_WRONG)
        if account:
            with session.database() as db:
                st.info(whole(safe(say.unknown_account(account, administrators(db)))))
        elif visitor.how() == visitor.BY_PROVIDER:
            st.info(say.SIGN_IN_FIRST)
        else:
            st.info(say.NO_NAME)
        sign_in_or_out()

    return told


def sign_in_or_out() -> None:
    """The button of the provider's sign-in; a proxy's own is outside of these pages."""
    if visitor.how() != visitor.BY_PROVIDER:
        return
    if st.user.get("is_logged_in"):
        st.button(say.SIGN_OUT, key="sign_out", on_click=st.logout)
    else:
        st.button(say.SIGN_IN, key="sign_in", type="primary", on_click=st.login)


def signed_in() -> None:
    """In the margin: as whom, in which roles, and the way out."""
    who = session.looking()
    st.caption(say.SIGNED_IN.format(account=safe(who.account), roles=", ".join(who.roles)))
    sign_in_or_out()


def may(act: Act, unit: str = "") -> bool:
    """Whether who is looking may do it; where not, one line says who may."""
    who = session.looking()
    if who.may(act, unit):
        return True
    st.caption(say.not_yours(act, act.roles, who.roles))
    return False
