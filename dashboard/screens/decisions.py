"""What a manager decides about a vehicle, on its card of the list or on its own page; on record with name and day."""

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

import streamlit as st

from analysis.plan.workshop_calendar import iso_week
from dashboard.desk import weekly
from dashboard.desk.rights import Act
from dashboard.screens import kept, reception, session
from dashboard.screens.pages import page
from dashboard.words import decision_words as say
from dashboard.words import every_page
from dashboard.words.plain_text import safe
from ingest.records import read_decisions, save_decision

POSTPONE_D = 14  # a postponement is proposed for this many days, our choice


def about(unit: str, *, flagged: bool) -> None:
    """On the vehicle's page: what was decided so far, and the buttons where it is on the list."""
    made = session.read(read_decisions)
    made = made[made["unit"] == unit]
    if flagged or len(made):
        st.subheader(say.DECIDE)
    kept.told("unit", unit)
    if flagged:
        buttons(unit, "unit")
    for decision in made.tail(5).iloc[::-1].to_dict("records"):
        st.caption(weekly.decision_line(decision))
    if len(made):
        asked = {"unit": unit, "what": "decision"}
        st.page_link(page("correct"), label=say.CORRECT, query_params=asked)


def on_card(unit: str, standing: Mapping[Any, Any] | None, where: str) -> None:
    """On a card of a list: a button that asks, and what was just kept with the way to take it back."""
    kept.told(where, unit)
    if session.may(Act.DECIDE) and st.button(say.DECIDE_ON_OPENS.format(unit=safe(unit)), key=f"decide_{unit}"):
        st.dialog(say.DECIDE_ON.format(unit=safe(unit)))(ask)(unit, standing, where)


def ask(unit: str, standing: Mapping[Any, Any] | None, where: str) -> None:
    """The same buttons over the list, with what stands already."""
    if standing is not None:
        st.caption(say.SO_FAR.format(decision=weekly.decision_line(standing)))
    buttons(unit, where)


def buttons(unit: str, where: str) -> None:
    """Accept, ask for a measurement, postpone, or nothing found."""
    if not reception.may(Act.DECIDE):
        return
    with st.container(horizontal=True, key="decisions"):
        if st.button(say.ACCEPT, type="primary", key="accept"):
            keep(unit, "accepted", where)
        if st.button(say.ASK, key="ask"):
            keep(unit, "measure", where)
        with st.popover(say.POSTPONE_OPENS, key="postpone"):
            reason = st.text_input(every_page.WHY, max_chars=200, key=f"why_{unit}")
            first = session.as_of() + timedelta(days=1)
            until = st.date_input(
                say.UNTIL, value=session.as_of() + timedelta(days=POSTPONE_D), min_value=first,
                max_value=first + timedelta(days=365), key=f"until_{unit}", format=session.date_format(),
            )  # fmt: skip
            if st.button(say.POSTPONE, key="postpone_now", type="primary"):
                if not reason.strip():
                    st.error(say.SAY_WHY)
                else:
                    keep(unit, "postponed", where, reason=reason, until=until)
        with st.popover(say.NOTHING_FOUND, key="nothing"):
            note = st.text_input(say.WHAT_LOOKED_AT, max_chars=200, key=f"note_{unit}")
            if st.button(say.KEEP, key="nothing_now", type="primary"):
                keep(unit, "nothing_found", where, reason=note)


def keep(unit: str, kind: str, where: str, *, reason: str = "", until: Any = None) -> None:
    with session.saving(Act.DECIDE, unit=unit) as db:
        before = set(read_decisions(db)["id"])
        number = save_decision(
            db, unit=unit, iso_week=iso_week(session.as_of()), kind=kind, reason=reason, until=until,
            by=session.who(), now=session.now(),
        )  # fmt: skip
        known = number in before
        kept.keep(kept.Kept(where, unit, say.KNOWN if known else say.KEPT, "decision", number), known=known)
        st.rerun()
