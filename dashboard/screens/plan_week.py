"""The first screenful of the plan: this week's visits, what to order today, who comes late, and figures that add up."""

from typing import Any

import pandas as pd
import streamlit as st

from analysis.plan.figures import to_order, week_shown
from analysis.plan.replacement_plan import ReplacementPlan
from analysis.plan.result import rows_of
from dashboard.screens import session
from dashboard.screens.cards import card_table
from dashboard.screens.pages import page
from dashboard.words import plan_page as say
from dashboard.words import plan_words, visit_words
from dashboard.words.plain_text import as_sentence, day, number, safe, unbroken, whole

MOST_SHOWN = 30  # visits of this week shown above the tabs, all stand on the board; our choice
LONGEST_ORDER = 2600  # characters: as many vehicles as are named, each as long as a name may be
MOST_LATE = 100  # vehicles that come late named on the page, all are in the export; our choice
WIDE = (2, 1)  # shares of the page's width: who comes, what to order


def this_week(plan: ReplacementPlan) -> None:
    """Who comes this week and for what, beside what to order today."""
    looked = max(plan.as_of, pd.Timestamp(session.as_of()))
    week = week_shown(plan, looked)
    st.subheader(say.THIS_WEEK.format(week=plan_words.week_words(plan, week)), anchor=False)
    left, right = st.columns(WIDE, gap="medium")
    with left, st.container(key="who_comes"):
        mine = plan.visits[plan.visits["iso_week"] == week]
        if mine.empty and not plan_words.hours_note(plan):  # which stands above, with what to do
            st.write(plan_words.no_visit_words(plan) if plan.visits.empty else say.NOBODY)
        for on, rows in mine.head(MOST_SHOWN).groupby("visit_on", sort=True):
            st.markdown(f"**{day(on, weekday=True)}**, {number(float(rows['hours'].sum()), 1)} h")
            for visit in rows_of(rows.sort_values(["depot", "unit"])):
                one_line(visit)
        if len(mine) > MOST_SHOWN:
            st.caption(say.more_on_board(len(mine) - MOST_SHOWN))
    with right:
        with st.container(border=True, key="order_today"):
            orders = rows_of(to_order(plan, looked))
            st.markdown(f"**{plan_words.ORDER_TODAY}**")
            st.markdown(
                "\n".join(
                    f"- {unbroken(whole(safe(plan_words.order_words(o, looked), longest=LONGEST_ORDER)))}"
                    for o in orders
                )
                or plan_words.NOTHING_TO_ORDER
            )
            if told := plan_words.told_words(plan):
                st.caption(whole(safe(told, longest=LONGEST_ORDER)))
        st.markdown(plan_words.summary_words(plan))


def one_line(visit: dict[str, Any]) -> None:
    with st.container(horizontal=True, wrap=False, vertical_alignment="top", key=f"visit-now-{visit['uid'][:24]}"):
        st.page_link(page("unit"), label=safe(visit["unit"]), query_params={"unit": visit["unit"]}, width=96)
        service = visit_words.WITH_SERVICE if visit["in_service"] else ""
        said = f"{safe(visit['depot'])}: {safe(visit['job'])}, {number(float(visit['hours']), 1)} h{service}"
        st.markdown(whole(said), width="stretch")


def late(plan: ReplacementPlan) -> None:
    """Vehicles that come after the day by which the weekly list says to act."""
    rows = rows_of(plan.act_by_missed)
    if rows:
        with st.expander(plan_words.late_words(plan), key="act_by_missed", icon=":material/schedule:"):
            lines = [
                f"- **{safe(r['unit'])}**, {safe(r['depot'])}: {safe(plan_words.missed_line(r, plan.as_of))}."
                for r in rows[:MOST_LATE]
            ]
            st.markdown(whole("\n".join(lines)))
            if len(rows) > MOST_LATE:
                st.caption(say.MORE_IN_EXPORT.format(count=len(rows) - MOST_LATE))


def figures(plan: ReplacementPlan) -> None:
    """What the plan and other ways of working cost over the same weeks, in whole amounts that add up."""
    rows = plan_words.figure_rows(plan)
    if not rows:
        return
    card_table(plan_words.figure_heads(plan), [[as_sentence(row[0]), *row[1:]] for row in rows], name=say.WAYS_COST)
    for sentence in plan_words.fewer_words(plan):
        st.markdown(whole(safe(sentence)))
    st.caption(whole(safe(plan_words.figures_words(plan))))
