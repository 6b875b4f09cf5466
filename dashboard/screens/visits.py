"""Visits of the plan on the pages: those to come, with their work orders and their reports, and those that were done."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import pandas as pd
import streamlit as st

from analysis.backtest.right_part import right_part
from analysis.plan.done import Outdated
from analysis.plan.replacement_plan import ReplacementPlan
from dashboard.desk.addresses import only_here
from dashboard.desk.planning import load_plan, outdated_visits
from dashboard.desk.work_orders import chosen_visits
from dashboard.files.work_order import printed_orders
from dashboard.screens import downloads, session
from dashboard.screens.address import screens_address
from dashboard.screens.codes import code_reach
from dashboard.screens.pages import page
from dashboard.screens.picker import pick_depot
from dashboard.words import every_page, visit_words
from dashboard.words.plain_text import day, number, safe, week_and_monday, whole
from dashboard.words.plan_words import outdated_words
from ingest.visits import open_visits, read_visits

CLOSED_SHOWN = 4  # visits of a vehicle that were done, our choice
LONGEST_SINCE = 2600  # characters of a sentence that names vehicles, as many as fit a page; our choice
LINES_SHOWN = 40  # visits of a week listed with their links; the sheets hold all, our choice


def told() -> pd.DataFrame:
    """The visits that were reported, for reading only; read once for as long as nothing is put on record."""
    return _told(str(session.database_path().resolve()), session.written())


@st.cache_resource(show_spinner=False, max_entries=2)
def _told(path: str, written: str) -> pd.DataFrame:  # noqa: ARG001 - its key
    return session.read(read_visits)


def about(unit: str) -> None:
    """On a vehicle's page: its visit to come, with the sheet and the way to report it, and its visits that were done."""
    to_come, done = session.read(open_visits, unit), told()
    done = done[done["unit"] == unit]
    if not to_come and done.empty:
        return
    st.subheader(visit_words.VISITS)
    for visit in to_come:
        st.markdown(whole(f"{planned_words(visit)}."))
        since = [one for one in outdated() if one.uid == visit["uid"]]
        say_outdated(since)
        with st.container(horizontal=True, key="visit_to_come"):
            if not any(one.whole for one in since):
                orders_button([visit], f"work-order-{unit}", visit_words.WORK_ORDER)
            report_link(visit)
    for one in done.tail(CLOSED_SHOWN).iloc[::-1].to_dict("records"):
        closed_line(one)


def outdated() -> list[Outdated]:
    """Visits of the newest plan that were overtaken since it was made; read once for as long as nothing is put on record."""
    plan = session.read(load_plan)
    known = (session.written(), plan.version if plan else 0, session.today())
    return [] if plan is None else _outdated(str(session.database_path().resolve()), known, plan)


@st.cache_resource(show_spinner=False, max_entries=2)
def _outdated(path: str, known: tuple[str, int, date], _plan: ReplacementPlan) -> list[Outdated]:  # noqa: ARG001 - its key
    with session.database() as db:
        return outdated_visits(db, _plan, known[-1])


def say_outdated(since: Sequence[Outdated]) -> None:
    for sentence in outdated_words(since):
        st.warning(whole(safe(sentence, longest=LONGEST_SINCE)))


def planned_words(visit: Mapping[str, Any]) -> str:
    when = day(pd.Timestamp(visit["visit_on"]), weekday=True)
    return f"{when}: **{safe(visit['job'])}**, {number(float(visit['hours']), 1)} h"


def report_link(visit: Mapping[str, Any], label: str = visit_words.REPORT) -> None:
    asked = {"unit": str(visit["unit"]), "visit": str(visit["uid"])}
    st.page_link(page("visit"), label=label, icon=":material/assignment_turned_in:", query_params=asked)


def links(unit: str) -> None:
    to_come = session.read(open_visits, unit)
    for visit in to_come:
        report_link(visit, f"{visit_words.REPORT_OF} {day(pd.Timestamp(visit['visit_on']))}")


def closed_line(visit: Mapping[Any, Any]) -> None:
    """A visit that was done, with what was said of it, and the way to put that right."""
    note = f" {every_page.REMARK}: {safe(visit['note'])}" if visit["note"] else ""
    st.markdown(whole(f":material/check_circle: {safe(visit_words.closed_words(visit))}{note} ({safe(visit['by'])})"))
    asked = {"unit": str(visit["unit"]), "what": "visit"}
    st.page_link(page("correct"), label=visit_words.CORRECT, query_params=asked)


def orders_button(visits: Sequence[Mapping[str, Any]], name: str, label: str) -> None:
    """A button that makes the sheets of some visits of the newest plan."""
    in_f, base = session.fahrenheit(), screens_address()
    wanted = {str(visit["uid"]) for visit in visits}

    def make() -> bytes:
        with session.database() as db:
            plan = load_plan(db)
            if plan is None:
                raise ValueError("there is no plan on record; allowed are visits of the newest plan")
            since = outdated_visits(db, plan, session.today())
            chosen = [visit for visit in chosen_visits(plan, since=since) if visit["uid"] in wanted]
            return printed_orders(db, plan, chosen, base="" if only_here(base) else base, fahrenheit=in_f, since=since)

    downloads.pdf_button(label, make, name, key="work_orders_pdf", disabled=not visits)


def orders(plan: ReplacementPlan) -> None:
    """On the plan's page: the sheets of a week and a depot, each visit with the way to report it; and what was done."""
    weeks = sorted(set(plan.visits["iso_week"]))
    if not plan.version or not weeks:
        st.info(visit_words.ISSUE_FIRST if weeks else visit_words.NONE_TO_COME)
    else:
        with st.container(horizontal=True):
            week = st.selectbox(every_page.WEEK, weeks, key="orders_week", width=260, format_func=week_and_monday)
            depot = pick_depot(plan.visits.loc[plan.visits["iso_week"] == week, "depot"], "orders_depot") or ""
        visits = chosen_visits(plan, week=str(week), depot=depot, since=outdated())
        orders_button(visits, f"work-orders-{week}", visit_words.orders_words(len(visits)))
        code_reach(screens_address())
        for visit in visits[:LINES_SHOWN]:
            with st.container(horizontal=True, vertical_alignment="center", key=f"order-{visit['uid'][:24]}"):
                st.markdown(whole(f"**{safe(visit['unit'])}**, {planned_words(visit)}"))
                report_link(visit)
    done_visits(plan)


def done_visits(plan: ReplacementPlan) -> None:
    if plan.done.empty:
        return
    done = told()
    done = done[done["uid"].isin(set(plan.done["uid"]))]
    st.subheader(f"{visit_words.DONE} ({len(done)})")
    for visit in done.iloc[::-1].head(LINES_SHOWN).to_dict("records"):
        with st.container(horizontal=True, vertical_alignment="center", key=f"done-{visit['uid'][:24]}"):
            st.page_link(page("unit"), label=safe(visit["unit"]), query_params={"unit": visit["unit"]}, width=96)
            st.markdown(whole(safe(f"{visit['job']}. {visit_words.closed_words(visit)}")), width="stretch")
    if len(done) > LINES_SHOWN:
        st.caption(f"{len(done) - LINES_SHOWN} {visit_words.MORE_DONE}")


def done_since(day_of_list: str) -> dict[str, str]:
    """Vehicle -> its last visit that was done on a list's day or later, in a sentence without what anybody typed."""
    done = told()
    later = done[done["done_on"] >= pd.Timestamp(day_of_list)]
    return {str(visit["unit"]): visit_words.closed_words(visit) for visit in later.to_dict("records")}


def right_part_line() -> None:
    """On the list's page: how often what was expected was found, where enough visits told."""
    done = told()
    share = right_part(done.loc[done["part"] != "", "found"].tolist())
    if share is not None:
        st.caption(visit_words.right_part_words(*share))
