"""Workshop hours, weeks that differ and closed days, set on the screen; the next plan counts with them."""

from collections.abc import Callable
from datetime import timedelta
from functools import partial

import streamlit as st

from analysis.plan.workshop_calendar import iso_week
from dashboard.desk.rights import Act
from dashboard.desk.workshop_edits import (
    DepotHours,
    close_days,
    depot_hours,
    known_depots,
    open_days,
    set_usual_week,
    set_week,
)
from dashboard.screens import kept, reception, session
from dashboard.screens.pages import page
from dashboard.words import every_page, plan_page
from dashboard.words import workshop_words as say
from dashboard.words.plain_text import number, safe, week_and_monday
from dashboard.words.workshop_words import closed_words
from ingest.sheet_edits import DAY_NAMES, MOST_HOURS

PLACE = "plan_hours"  # where what was kept is told
FIELD_PX = 110  # [px] three fields side by side on a phone
WEEKS_AHEAD = 53  # weeks that can be given hours of their own, our choice: a year
LINES_SHOWN = 60  # weeks or closed days listed, our choice


def change_hours() -> None:
    """One workshop's usual week, weeks that differ and closed days, each saved by itself and undone by its button."""
    st.subheader(say.TITLE, anchor=False)
    kept.told(PLACE, "")
    if not reception.may(Act.HOURS):
        return
    depots = session.read(known_depots)
    if not depots:
        st.info(say.NO_DEPOT)
        return
    st.caption(say.NEXT_PLAN)
    st.page_link(page("settings"), label=plan_page.CHANGE_PRICES)
    depot = st.selectbox(say.WORKSHOP, depots, key="hours_depot", width=320)
    found, every = (session.read(depot_hours, name, since=session.as_of()) for name in (depot, ""))
    usual_week(depot, found)
    own_weeks(depot, found)
    closed(depot, found, every)


def usual_week(depot: str, found: DepotHours) -> None:
    with st.form(f"usual_{depot}", border=True):
        st.markdown(f"**{say.USUAL}**")
        mark = abs(hash((depot, found.usual)))  # another record, other fields
        with st.container(horizontal=True, vertical_alignment="bottom"):
            hours = [
                st.number_input(
                    name, 0.0, MOST_HOURS, value, 0.5, format="%.1f", key=f"usual_{mark}_{at}", width=FIELD_PX
                )
                for at, (name, value) in enumerate(zip(DAY_NAMES, found.usual, strict=True))
            ]
        if st.form_submit_button(say.SAVE_USUAL, key="save_usual"):
            kept_words = say.USUAL_KEPT_BESIDE if found.weeks else say.USUAL_KEPT
            told = kept_words.format(depot=depot, count=len(found.weeks))
            done(told, partial(set_usual_week, depot=depot, hours=hours))


def own_weeks(depot: str, found: DepotHours) -> None:
    first = session.as_of() - timedelta(days=session.as_of().weekday())
    mondays = [first + timedelta(weeks=n) for n in range(WEEKS_AHEAD)]
    names = {iso_week(monday): monday for monday in mondays}
    with st.form(f"week_{depot}", border=True):
        st.markdown(f"**{say.OWN}**")
        with st.container(horizontal=True, vertical_alignment="bottom"):
            week = st.selectbox(
                every_page.WEEK, list(names), key="own_week", width=260,
                format_func=week_and_monday,
            )  # fmt: skip
            hours = st.number_input(
                say.HOURS, 0.0, MOST_HOURS, 0.0, 0.5, format="%.1f", key="own_hours", width=FIELD_PX
            )
        if st.form_submit_button(say.SAVE_WEEK, key="save_week"):
            done(
                say.WEEK_KEPT.format(depot=depot, week=week), partial(set_week, depot=depot, iso_week=week, hours=hours)
            )
    if found.weeks:
        with st.expander(say.OWN_WEEKS.format(count=len(found.weeks)), key="own_weeks"):
            for monday, h in found.weeks[:LINES_SHOWN]:
                name = iso_week(monday)
                said = say.WEEK_HOURS.format(week=week_and_monday(name), hours=number(h, 1))
                undo_line(
                    said, say.AS_USUAL, f"as_usual_{name}", say.USUAL_AGAIN.format(depot=depot, week=name),
                    partial(set_week, depot=depot, iso_week=name, hours=None),
                )  # fmt: skip


def closed(depot: str, found: DepotHours, every: DepotHours) -> None:
    """Holidays and other closed days, of this workshop or of every one."""
    with st.form(f"closed_{depot}", border=True):
        st.markdown(f"**{say.CLOSED}**")
        with st.container(horizontal=True, vertical_alignment="bottom"):
            first = st.date_input(say.FROM, session.as_of(), key="closed_from", format=session.date_format(), width=160)
            last = st.date_input(say.TO, session.as_of(), key="closed_to", format=session.date_format(), width=160)
            why = st.text_input(every_page.WHY, max_chars=200, key="closed_why", width=260)
        everywhere = st.checkbox(say.EVERYWHERE, key="closed_everywhere")
        if st.form_submit_button(say.SAVE_CLOSED, key="save_closed"):
            place = "" if everywhere else depot
            done(say.CLOSED_KEPT, partial(close_days, depot=place, first=first, last=last, why=why))
    for place, hours in ((depot, found), ("", every)):
        for a, b, because in hours.closed[:LINES_SHOWN]:
            undo_line(
                closed_words(place, a, b, because), say.OPEN, f"open_{place}_{a}_{b}", say.OPEN_AGAIN,
                partial(open_days, depot=place, first=a, last=b),
            )  # fmt: skip


def undo_line(said: str, label: str, key: str, told: str, do: Callable[..., int]) -> None:
    """What is on record, with a button that takes it away."""
    with st.container(horizontal=True, vertical_alignment="center"):
        st.markdown(safe(said))
        if st.button(label, key=key):
            done(told, do)


def done(words: str, do: Callable[..., int]) -> None:
    """Do it, say so with a button that takes it back, or say that nothing differs; what cannot be is said in its place."""
    with session.saving(Act.HOURS) as db:
        change = do(db, by=session.who(), now=session.now())
        kept.keep(kept.Kept(PLACE, "", words if change else say.NOTHING, change=change))
        st.rerun()
