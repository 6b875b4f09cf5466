"""The replacement plan: weeks and depots with hours used and free, moves by hand with their cost, parts, export."""

from __future__ import annotations

from functools import partial
from typing import Any

import pandas as pd
import streamlit as st

from analysis.assess import Assessment
from analysis.plan import ReplacementPlan
from dashboard import charts, downloads, session
from dashboard.pages import page
from dashboard.plain_text import day, number, percent, safe
from dashboard.plan_export import render
from dashboard.plan_moves import move, try_move
from dashboard.planning import PLAN_WEEKS, PlanRefused, load_plan, make_plan
from dashboard.wording import PART_WORDS
from ingest.errors import IngestError
from ingest.records import read_pins, read_settings, remove_pin

VISITS_SHOWN = 40  # visits of one depot shown at a time; all are in the table, our choice
STATES = {"new": "new", "kept": "", "moved": "moved since the last plan", "pinned": "fixed by hand"}
MIME = {
    "csv": "text/csv",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "ics": "text/calendar",
    "json": "application/json",
}


def show() -> None:
    """The page."""
    st.title("Replacement plan")
    if not session.has_vehicles():
        session.nothing_yet()
        return
    assessment = session.assessment()
    if assessment is None:
        st.info("There is no reading before the day shown, so there is nothing to plan yet.")
        return
    try:
        plan = current(assessment)
        if plan is None:
            return
        head(plan)
        tabs = st.tabs(["Board", "Move a visit", "Parts to order", "Left out", "Against other policies", "Export"])
        with tabs[0]:
            board(plan)
        with tabs[1]:
            moving(plan, assessment)
        with tabs[2]:
            orders(plan)
        with tabs[3]:
            left_out(plan)
        with tabs[4]:
            policies(plan)
        with tabs[5]:
            export(plan)
    except (PlanRefused, IngestError, ValueError) as error:
        st.error(safe(error))


def current(assessment: Assessment) -> ReplacementPlan | None:
    """The plan on record, or a first one; a button makes a new one for the day shown."""
    with session.database() as db:
        plan = load_plan(db)
    weeks = plan.weeks if plan is not None else PLAN_WEEKS
    stale = plan is None or plan.as_of != assessment.as_of
    if plan is not None:
        label = f"Plan again with what was known on {day(assessment.as_of)}" if stale else "Plan again"
        if not st.button(label, key="plan_again", type="primary" if stale else "secondary"):
            return plan
    with session.database() as db, st.spinner("Planning …"):
        return make_plan(
            db, as_of=session.as_of(), weeks=weeks, assessment=assessment, by=session.who(), now=session.now()
        )


def money(value: float, plan: ReplacementPlan) -> str:
    """An amount in the plan's currency."""
    return f"{number(round(value))} {safe(plan.summary['currency'])}"


def head(plan: ReplacementPlan) -> None:
    """One paragraph: how much work, what it saves."""
    s = plan.summary
    st.markdown(
        f"Version {plan.version}, {plan.weeks} weeks from {day(plan.as_of, weekday=True)}: **{s['visits']} visits, "
        f"{number(float(s['hours']), 1)} h**, about **{number(float(s['no_starts_avoided']), 1)} no-starts avoided**. "
        f"Expected cost {money(float(s['cost']), plan)}; run to failure {money(float(s['cost_run_to_failure']), plan)}."
    )
    if float(s["pins_cost"]) > 0.5:
        st.caption(
            f"What was fixed by hand costs {money(float(s['pins_cost']), plan)} more than the best plan without it."
        )
    for note in plan.notes:
        st.caption(safe(note))


def board(plan: ReplacementPlan) -> None:
    """Weeks and depots with hours used and free, and each week's visits."""
    if plan.hours.empty:
        st.info("No workshop hours are known; bring in a workshops file with hours per week.")
    else:
        text = "Hours used of hours there are, by depot and week"
        st.vega_lite_chart(
            charts.specification(charts.hours_chart(plan.hours, title=text)),
            width="stretch",
            alt=text,
            key="hours_chart",
        )
    depots = sorted(plan.visits["depot"].unique().tolist())
    if not depots:
        st.success("No visit pays in these weeks.")
        return
    chosen = st.pills("Depot", depots, key="plan_depot")
    visits = plan.visits if chosen is None else plan.visits[plan.visits["depot"] == chosen]
    least = least_hours()
    for _, rows in visits.head(VISITS_SHOWN).groupby("iso_week", sort=True):
        with st.container(border=True, key=f"week-{rows['iso_week'].iloc[0]}"):
            free = plan.hours[
                (plan.hours["iso_week"] == rows["iso_week"].iloc[0]) & plan.hours["depot"].isin(rows["depot"])
            ]
            st.markdown(
                f"**{rows['iso_week'].iloc[0]}** · " + "; ".join(hours_words(h) for h in free.to_dict("records"))
            )
            for visit in rows.to_dict("records"):
                visit_line(visit, plan, least)
    if len(visits) > VISITS_SHOWN:
        st.caption(f"{len(visits) - VISITS_SHOWN} more visits are in the export.")


def hours_words(hours: dict[Any, Any]) -> str:
    """Hours used and free of a depot's week."""
    left = max(0.0, float(hours["hours"]) - float(hours["booked"]))
    return f"{safe(hours['depot'])}: {number(float(hours['booked']), 1)} h used, {number(left, 1)} h free"


def least_hours() -> float:
    """Visits shorter than this [h] are better kept for a service, as the user set it."""
    with session.database() as db:
        value = read_settings(db).get("least_hours", 0.0)
    return float(value) if isinstance(value, int | float) else 0.0


def visit_line(visit: dict[Any, Any], plan: ReplacementPlan, least: float) -> None:
    """One visit: vehicle, work, why."""
    with st.container(horizontal=True, wrap=False, vertical_alignment="top", key=f"visit-{visit['uid'][:24]}"):
        st.page_link(page("unit"), label=safe(visit["unit"]), query_params={"unit": visit["unit"]}, width=96)
        state = STATES.get(str(visit["state"]), "")
        extra = [w for w in ("with its service" if visit["in_service"] else "", state) if w]
        if visit["hours"] < least and not visit["in_service"]:
            extra.append("short: better kept for a service")
        st.markdown(
            f"{day(visit['visit_on'], weekday=True)}: **{safe(visit['job'])}**, {number(float(visit['hours']), 1)} h, "
            f"saves {money(float(visit['saving']), plan)}"
            + (f" ({'; '.join(extra)})" if extra else "")
            + f".  \n{safe(visit['why'])}",
            width="stretch",
        )


# --- moves by hand ---------------------------------------------------------------------------------------------------


def moving(plan: ReplacementPlan, assessment: Assessment) -> None:
    """Choose a visit and a week, see what moving costs, then move or leave it."""
    if plan.visits.empty:
        st.write("There is no visit to move.")
        return
    if plan.as_of != assessment.as_of:
        st.info("This plan is of another day; plan again before moving visits.")
        return
    labels = {v["unit"]: f"{v['unit']}, {v['iso_week']}: {v['job']}" for v in plan.visits.to_dict("records")}
    unit = st.selectbox("Visit", list(labels), format_func=labels.__getitem__, key="move_unit")
    weeks = sorted(plan.hours["iso_week"].unique().tolist())
    week = st.selectbox("To the week", weeks, key="move_week")
    reason = st.text_input("Why", max_chars=200, key="move_reason")
    if not unit or not week:
        return
    with session.database() as db, st.spinner("Planning with it …"):
        trial = try_move(db, plan, assessment, unit=unit, week=week, as_of=session.as_of())
    others = f"; {trial.others_moved} other visits would move" if trial.others_moved else ""
    if trial.week != week:
        st.warning(f"In {week} this cannot be done: there are too few hours, or no parts by then.")
        return
    sign = "costs" if trial.costs >= 0 else "saves"
    st.markdown(f"Moving {safe(unit)} to {week} **{sign} {money(abs(trial.costs), plan)}**{others}.")
    if st.button("Move it", type="primary", key="move_now"):
        with session.database() as db:
            move(
                db, assessment, unit=unit, week=week, as_of=session.as_of(), weeks=plan.weeks, reason=reason,
                by=session.who(), now=session.now(),
            )  # fmt: skip
        st.rerun()
    pins_on_record(plan, assessment)


def pins_on_record(plan: ReplacementPlan, assessment: Assessment) -> None:
    """What was fixed by hand, and letting it go."""
    with session.database() as db:
        pins = read_pins(db)
    for pin in pins.to_dict("records"):
        with st.container(horizontal=True, vertical_alignment="center"):
            why = f": {safe(pin['reason'])}" if pin["reason"] else ""
            st.markdown(f"{safe(pin['unit'])} fixed to {pin['week']} by {safe(pin['by'])}{why}")
            if st.button("Let go", key=f"unpin_{pin['id']}"):
                with session.database() as db:
                    remove_pin(db, int(pin["id"]), by=session.who(), now=session.now())
                    make_plan(
                        db, as_of=session.as_of(), weeks=plan.weeks, assessment=assessment, by=session.who(),
                        now=session.now(),
                    )  # fmt: skip
                st.rerun()


# --- tables and export -----------------------------------------------------------------------------------------------


def orders(plan: ReplacementPlan) -> None:
    """Parts to order, by when."""
    if plan.orders.empty:
        st.write("No part has to be ordered.")
        return
    table = plan.orders.copy()
    table["part"] = [PART_WORDS.get(str(p), str(p)) for p in table["part"]]
    table["units"] = [", ".join(map(str, units)) for units in table["units"]]
    st.dataframe(
        table, hide_index=True, alt="Parts to order", key="orders_table",
        column_config={name: st.column_config.DateColumn(format="YYYY-MM-DD") for name in ("order_by", "needed_on")},
    )  # fmt: skip
    st.markdown(f"In all {money(float(plan.orders['price'].sum()), plan)}.")
    downloads.table_button(table, "parts-to-order", key="orders")


def left_out(plan: ReplacementPlan) -> None:
    """What would pay but found no room, and at what risk."""
    if plan.left_out.empty:
        st.write("Nothing that pays was left out.")
        return
    columns = ["unit", "depot", "job", "best_week", "saving", "risk", "cost_at_risk", "why"]
    table = plan.left_out[columns]
    st.dataframe(
        table, hide_index=True, alt="Left out of the plan", key="left_table",
        column_config={"risk": st.column_config.NumberColumn("no-start risk", format="percent")},
    )  # fmt: skip
    downloads.table_button(table, "left-out", key="left")


def policies(plan: ReplacementPlan) -> None:
    """The plan beside simpler ways of working."""
    table = (
        plan.policies[["words", "cost", "no_starts", "visits", "hours"]] if "words" in plan.policies else plan.policies
    )
    st.dataframe(
        table, hide_index=True, alt="The plan beside simpler policies", key="policies_table",
        column_config={"cost": st.column_config.NumberColumn(format="%.0f"),
                       "no_starts": st.column_config.NumberColumn("no-starts", format="%.1f")},
    )  # fmt: skip
    gap = float(plan.summary.get("gap", 0.0))
    st.caption(f"The plan is within {percent(gap) if gap >= 0.01 else 'one per cent'} of the best that can be proved.")
    downloads.table_button(pd.DataFrame(table), "policies", key="policies")


def export(plan: ReplacementPlan) -> None:
    """The plan as a file, for all depots or one."""
    depots = sorted(plan.hours["depot"].unique().tolist())
    depot = st.selectbox("Depot", depots, index=None, placeholder="all", key="export_depot", width=240)
    with st.container(horizontal=True):
        for kind, label in (("xlsx", "Spreadsheet"), ("csv", "CSV"), ("ics", "Calendar"), ("json", "JSON")):
            st.download_button(
                label, partial(render, plan, kind, depot=depot), file_name=f"plan-{plan.as_of:%Y-%m-%d}.{kind}",
                mime=MIME[kind], key=f"export_{kind}", on_click="ignore",
            )  # fmt: skip


show()
