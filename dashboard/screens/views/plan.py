"""The replacement plan: weeks and depots with hours used and free, moves by hand with their cost, parts, export."""

from collections.abc import Callable
from functools import partial
from itertools import groupby
from typing import Any

import pandas as pd
import streamlit as st

from analysis.plan.done import without_outdated
from analysis.plan.figures import week_shown
from analysis.plan.replacement_plan import ReplacementPlan
from analysis.worklist.assess import Assessment
from dashboard.charts import charts
from dashboard.desk.planning import changed_since, load_plan, named, postponed_beyond
from dashboard.desk.refusals import PlanRefused
from dashboard.desk.rights import Act
from dashboard.files.plan_export import render
from dashboard.screens import acts, beginning, columns, downloads, pictures, plan_changes, plan_week, session, visits
from dashboard.screens.cards import card_table
from dashboard.screens.caution import before_work
from dashboard.screens.pages import in_tabs, page
from dashboard.screens.picker import pick_depot
from dashboard.screens.plan_changes import Wish, money
from dashboard.screens.workshop_hours import change_hours
from dashboard.words import chart_numbers, every_page, plan_words
from dashboard.words import plan_page as say
from dashboard.words.plain_text import day, number, percent, safe, span, week_and_monday, whole
from dashboard.words.plan_table import closed_sentences
from dashboard.words.reasons import PART_WORDS
from ingest.errors import IngestError
from ingest.records import list_plans

HOURS_SHOWN = 40  # weeks of workshops on a phone, our choice
DEPOTS_SAID = 8  # depots named in the text beside the board, our choice
NO_GAP = 0.0005  # a gap below is none: the solver's own tolerance is 0.01 %, our choice
VISITS_SHOWN = 40  # visits of one depot shown at a time; all are in the table, our choice
MIME = {"csv": "text/csv", "xlsx": downloads.XLSX, "ics": "text/calendar", "json": "application/json"}


def show() -> None:
    st.title(every_page.PAGES["plan"])
    if not session.has_vehicles():
        beginning.nothing_yet()
        return
    kept = session.read(load_plan)
    assessment = session.assessment(patient=kept is None)
    if assessment is None and kept is None:
        beginning.no_reading()
        return
    try:
        if assessment is not None:
            plan_changes.grant(assessment)
        plan, newest = current(kept, assessment)
        beginning.no_hours(safe(plan_words.no_hours_words(plan)))
        plan_week.this_week(plan)
        plan_week.late(plan)
        head(plan)
        before_work()
        shown: dict[str, Callable[[], None]] = {
            say.BOARD: lambda: board(plan),
            say.MOVE_A_VISIT: lambda: plan_changes.moving(plan, assessment, newest=newest),
            say.PARTS_TO_ORDER: lambda: orders(plan),
            say.WORK_ORDERS: lambda: visits.orders(plan),
            say.LEFT_OUT: lambda: left_out(plan),
            say.HOURS: lambda: hours(plan),
            say.RULES: lambda: rules(plan),
            say.EXPORT: lambda: export(plan),
        }
        in_tabs(shown, "plan_tab")
    except (PlanRefused, IngestError, ValueError) as error:
        st.error(safe(error))


def current(plan: ReplacementPlan | None, assessment: Assessment | None) -> tuple[ReplacementPlan, bool]:
    """The plan on record that is asked for, or a first one as it would be, and whether it is the newest; a button makes one
    for the day shown, once vehicles are judged."""
    if plan is None:
        plan = plan_changes.not_issued(assessment)
        st.info(say.NOT_ISSUED)
        st.markdown("\n".join(f"{at}. {safe(step)}" for at, step in enumerate(plan_words.first_steps(plan), start=1)))
        if acts.pressed(say.ISSUE, "plan", Act.PLAN):
            plan_changes.remember(Wish("again", plan.weeks))
            st.rerun()
        return plan, True
    stale = plan.as_of != pd.Timestamp(session.as_of())
    changed = session.read(changed_since, plan)
    label = say.AGAIN_WITH.format(day=day(session.as_of())) if stale else say.AGAIN
    with st.container(horizontal=True, vertical_alignment="bottom"):
        plan_changes.wish_button(
            label,
            Wish("again", plan.weeks),
            key="plan_again",
            primary=stale or changed is not None,
            disabled=assessment is None,
        )
        shown, newest = version_chosen(plan)
    plan_changes.answer(by_hand=False)
    if newest and changed is not None:
        st.warning(safe(plan_words.changed_words(changed.what, named(changed.by), changed.at)))
    if newest:
        since = visits.outdated()
        visits.say_outdated(since)
        if beyond := plan_words.postponed_words(session.read(postponed_beyond, shown, session.today())):
            st.warning(whole(safe(beyond, longest=visits.LONGEST_SINCE)))
        shown = without_outdated(shown, since)
    else:
        st.caption(say.EARLIER)
    judging_note(assessment)
    return shown, newest


def judging_note(assessment: Assessment | None) -> None:
    """While vehicles are judged the plan on record is shown; the page follows by itself."""
    line = st.container(key=f"{session.BESIDE}_plan")
    if assessment is None and session.has_readings(session.as_of()):
        with line:
            session.fresh_when_ready(session.key_of(), words=say.WAITS_FOR_JUDGING)


def version_chosen(plan: ReplacementPlan) -> tuple[ReplacementPlan, bool]:
    """An earlier version where one is asked for, and whether it is the newest."""
    versions = session.read(list_plans)
    if len(versions) < 2:
        return plan, True
    made = {int(v["version"]): v for v in versions.iloc[::-1].to_dict("records")}
    chosen = st.selectbox(
        say.VERSION, list(made), key=f"plan_version_{len(versions)}", width=420,
        format_func=lambda n: say.VERSION_MADE.format(version=n, day=day(made[n]['made_at']), who=named(made[n]['by'])),
    )  # fmt: skip
    if chosen is None or int(chosen) == max(made):
        return plan, True
    earlier = session.read(load_plan, int(chosen))
    return earlier or plan, False


def head(plan: ReplacementPlan) -> None:
    """What the plan saves, against what, in figures that add up; and what binds it."""
    plan_week.figures(plan)
    s = plan.summary
    st.caption(bound_words(plan))
    if s["moved"] or s["cancelled"]:
        st.caption(say.since_before(s["moved"], s["cancelled"], money(float(plan.settings["move_price"]), plan)))
    if float(s["pins_cost"]) > 0.5:
        st.caption(say.BY_HAND_COSTS.format(amount=money(float(s["pins_cost"]), plan)))
    for note in plan_words.noted(plan):
        if note != plan_words.hours_note(plan):  # stands above already, with the template
            st.caption(safe(note))


def bound_words(plan: ReplacementPlan) -> str:
    gap = min(abs(float(plan.summary.get("gap", 0.0))), 1.0)
    if gap >= NO_GAP:
        return say.MISSED.format(share=percent(gap))
    return say.BEST_OF_PROMISED if plan_words.keeps_promises(plan) else say.BEST


def board(plan: ReplacementPlan) -> None:
    """Weeks and depots with hours used and free, and each week's visits, folded but for the one that is looked at."""
    depots = sorted(set(plan.visits["depot"]) | set(plan.hours["depot"]))
    chosen = st.pills(every_page.DEPOT, depots, format_func=safe, key="plan_depot") if len(depots) > 1 else None
    hours = plan.hours if chosen is None else plan.hours[plan.hours["depot"] == chosen]
    visits = plan.visits if chosen is None else plan.visits[plan.visits["depot"] == chosen]
    if hours.empty:
        st.info(say.NO_HOURS)
    else:
        hours_board(hours)
    if visits.empty:
        if not plan_words.hours_note(plan):  # which stands above, with what to do
            st.info(plan_words.no_visit_words(plan))
        return
    least, looked = least_hours(), week_shown(plan, pd.Timestamp(session.as_of()))
    shown = visits.head(VISITS_SHOWN)
    for week in sorted(shown["iso_week"].unique().tolist()):
        rows = shown[shown["iso_week"] == week]
        with st.expander(plan_words.week_words(plan, week, depot=chosen), expanded=week == looked, key=f"week-{week}"):
            free = hours[(hours["iso_week"] == week) & hours["depot"].isin(rows["depot"])]
            st.markdown("; ".join(hours_words(h) for h in free.to_dict("records")))
            for visit in rows.to_dict("records"):
                visit_line(visit, plan, least)
    if len(visits) > VISITS_SHOWN:
        st.caption(say.more_visits(len(visits) - VISITS_SHOWN))


def hours_board(hours: pd.DataFrame) -> None:
    """Hours used of those there are: shaded on a desk, a card for each week on a phone."""
    title = say.HOURS_TITLE
    with st.container(key="wide_board"):
        used = {(h["iso_week"], h["depot"]): used_words(h) for h in hours.to_dict("records")}
        pictures.chart(
            charts.specification(charts.hours_chart(hours, title=title)), hours_text(hours), "hours_chart",
            chart_numbers.hours_numbers(hours, used),
        )  # fmt: skip
    with st.container(key="narrow_board"):
        depots = sorted(hours["depot"].unique())[:DEPOTS_SAID]
        by = {(h["iso_week"], h["depot"]): h for h in hours.to_dict("records")}
        weeks = sorted(hours["iso_week"].unique())
        alike = groupby(weeks, key=lambda week: [used_words(by[week, depot]) for depot in depots])
        rows = [[span(same[0], same[-1]), *words] for words, same in ((w, list(s)) for w, s in alike)]
        st.markdown(f"**{title}**")
        card_table([say.WEEK_HEAD, *depots], rows, name=title)
        if hours["depot"].nunique() > len(depots):
            st.caption(say.OTHER_DEPOTS)
    shut = closed_sentences(hours)
    if shut:
        st.caption(safe(" ".join(shut)))


def hours_text(hours: pd.DataFrame) -> str:
    """What the board of hours shows, in words; the table behind the tab of hours has every week."""
    by = hours.groupby("depot")[["booked", "hours"]].sum()
    said = "; ".join(
        say.DEPOT_HOURS.format(depot=name, used=number(used, 1), there=number(there, 1))
        for name, used, there in zip(by.index[:DEPOTS_SAID], by["booked"], by["hours"], strict=False)
    )
    more = every_page.MORE_DEPOTS.format(count=len(by) - DEPOTS_SAID) if len(by) > DEPOTS_SAID else ""
    return say.HOURS_TEXT.format(first=hours["iso_week"].min(), last=hours["iso_week"].max(), depots=said, more=more)


def used_words(hours: dict[Any, Any]) -> str:
    """Hours used of those there are, as short as a table needs."""
    there = float(hours["hours"])
    return (
        say.USED_OF.format(used=number(float(hours["booked"]), 1), there=number(there, 1))
        if there > 0
        else say.WITHOUT_HOURS
    )


def hours_words(hours: dict[Any, Any]) -> str:
    left = max(0.0, float(hours["hours"]) - float(hours["booked"]))
    return say.USED_AND_FREE.format(
        depot=safe(hours["depot"]), used=number(float(hours["booked"]), 1), free=number(left, 1)
    )


def least_hours() -> float:
    """Visits shorter than this [h] are better kept for a service, as the user set it."""
    value = session.settings().get("least_hours", 0.0)
    return float(value) if isinstance(value, int | float) else 0.0


def visit_line(visit: dict[Any, Any], plan: ReplacementPlan, least: float) -> None:
    with st.container(horizontal=True, wrap=False, vertical_alignment="top", key=f"visit-{visit['uid'][:24]}"):
        st.page_link(page("unit"), label=safe(visit["unit"]), query_params={"unit": visit["unit"]}, width=96)
        state = say.STATES.get(str(visit["state"]), "")
        extra = [w for w in (say.WITH_SERVICE if visit["in_service"] else "", state) if w]
        if visit["hours"] < least and not visit["in_service"]:
            extra.append(say.SHORT)
        said = (
            f"{day(visit['visit_on'], weekday=True)}: **{safe(visit['job'])}**, {number(float(visit['hours']), 1)} h, "
            f"{safe(plan_words.saving_words(visit, str(plan.summary['currency'])))}"
            + (f" ({'; '.join(extra)})" if extra else "")
        )
        st.markdown(whole(f"{said}.  \n{safe(visit['why'])}"), width="stretch")


# --- tables and export -----------------------------------------------------------------------------------------------


def orders(plan: ReplacementPlan) -> None:
    if plan.orders.empty:
        st.write(say.NO_PART)
        st.page_link(page("settings"), label=say.CHANGE_PRICES)
        return
    table = plan.orders.assign(
        part=[PART_WORDS.get(str(p), str(p)) for p in plan.orders["part"]],
        units=[", ".join(map(str, units)) for units in plan.orders["units"]],
    )
    card_table(plan_words.order_heads(plan), plan_words.order_rows(plan), name=say.PARTS_TO_ORDER, words=(2,))
    st.markdown(say.IN_ALL.format(amount=money(float(plan.orders["price"].sum()), plan)))
    with st.container(horizontal=True):
        downloads.table_button(table, "parts-to-order", key="orders")
        st.page_link(page("settings"), label=say.CHANGE_PRICES)


def left_out(plan: ReplacementPlan) -> None:
    """What would pay but found no room, and at what risk."""
    if plan.left_out.empty:
        st.write(say.NOTHING_LEFT_OUT)
        return
    card_table(
        plan_words.left_out_heads(plan),
        plan_words.left_out_rows(plan)[:VISITS_SHOWN],
        name=say.LEFT_OUT_ALT,
        words=(1, 2, 4),
    )
    if len(plan.left_out) > VISITS_SHOWN:
        st.caption(say.MORE_LEFT_OUT.format(count=len(plan.left_out) - VISITS_SHOWN))
    table = plan.left_out[["unit", "depot", "job", "best_week", "risk", "cost_at_risk", "saving", "why"]]
    downloads.table_button(table, "left-out", key="left")


def hours(plan: ReplacementPlan) -> None:
    """Hours by depot and week, and what one more would save: where an extra shift pays."""
    dear = plan.hours[plan.hours["hour_price"] >= 1.0].sort_values("hour_price", ascending=False)
    if dear.empty:
        st.write(say.HOURS_ENOUGH)
    for row in dear.head(3).to_dict("records"):
        st.markdown(
            say.ONE_MORE.format(
                depot=safe(row["depot"]),
                week=week_and_monday(row["iso_week"]),
                amount=money(float(row["hour_price"]), plan),
            )
        )
    table = plan.hours[["depot", "iso_week", "week_start", "hours", "booked", "visits", "hour_price"]]
    one_more = say.ONE_MORE_HEAD.format(currency=plan.summary["currency"])
    with st.container(key="wide_hours"):
        st.dataframe(
            table, hide_index=True, alt=say.HOURS_ALT, key="hours_table",
            column_config={
                "iso_week": say.WEEK_HEAD, "week_start": columns.day_of(say.FROM_HEAD),
                "hours": st.column_config.NumberColumn(say.HOURS_THERE, format="%.1f"),
                "booked": st.column_config.NumberColumn(say.HOURS_USED, format="%.1f"),
                "hour_price": st.column_config.NumberColumn(one_more, format="%.0f"),
            },
        )  # fmt: skip
    busy = table[(table["booked"] > 0) | (table["hour_price"] >= 1.0)].head(HOURS_SHOWN)
    with st.container(key="narrow_hours"):
        rows = [
            [f"{h['depot']}, {h['iso_week']}", used_words(h), str(h["visits"]), plan_words.amount(h["hour_price"])]
            for h in busy.to_dict("records")
        ]
        card_table([say.WORKSHOP_AND_WEEK, say.HOURS_USED, say.VISITS_HEAD, one_more], rows, name=say.BUSY_ALT)
        st.caption(say.BUSY_KEY)
    downloads.table_button(table, "workshop-hours", key="hours")
    change_hours()


def rules(plan: ReplacementPlan) -> None:
    st.write(say.RULES_KEY)
    st.page_link(page("settings"), label=say.CHANGE_RULES)
    table = plan_words.settings_table(plan.settings)
    columns.show_values(table, alt=say.RULES_ALT, key="rules_table")
    downloads.table_button(table, "plan-costs", key="rules")


def export(plan: ReplacementPlan) -> None:
    if not plan.version:
        st.info(say.ISSUE_TO_EXPORT)
        return
    depot = pick_depot(plan.hours["depot"], "export_depot")
    with st.container(horizontal=True):
        for kind, label in (("xlsx", say.SPREADSHEET), ("csv", say.CSV), ("ics", say.CALENDAR), ("json", say.JSON)):
            st.download_button(
                label, partial(render, plan, kind, depot=depot), file_name=f"plan-{plan.as_of:%Y-%m-%d}.{kind}",
                mime=MIME[kind], key=f"export_{kind}", on_click="ignore",
            )  # fmt: skip


show()
