"""Settings: how far to look ahead, how many false flags are tolerated, money, units, hours."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd
import streamlit as st
from streamlit.elements.lib.column_types import ColumnConfig

from analysis.costs import MOST_MONEY, RANGES, PlanSettings
from dashboard.desk.addresses import ADDRESS_KEY, LONGEST, checked
from dashboard.desk.assessment import own_costs
from dashboard.desk.habits import (
    ALLOWED,
    DEPOTS_KEY,
    FLEET_KEYS,
    Habits,
    checked_depots,
    of_depot,
    of_fleet,
)
from dashboard.desk.kept_assessment import TOLERATED_FALSE_FLAGS
from dashboard.desk.planning import parts_in_force, save_parts, save_plan_settings
from dashboard.screens import columns, device, downloads, kept, session
from dashboard.words.plain_text import count_words, safe
from dashboard.words.plan_words import settings_table, valued
from dashboard.words.reasons import PART_WORDS
from ingest.fields import LONGEST_NAME
from ingest.records import read_settings, save_setting

LEAST_HOURS_KEY = "least_hours"
CURRENCY_KEY = "currency"
NO_DEPOT, AS_DEPOT = "none", "as the depot"
HABIT_WORDS = {"degrees": "Temperatures", "distance": "Distances", "dates": "Dates in tables and fields"}
DEPOT_COLUMNS = ("responsible", *ALLOWED)
FIELD_PX = 172  # [px] two side by side on a phone
SETTING_WORDS = {
    session.HORIZON_KEY: "look ahead [days]",
    "tolerated_false_flags": "false flags tolerated, per 100 healthy vehicles and year",
    "temperature_unit": "temperatures",
    "distance_unit": "distances",
    "date_order": "dates in tables and fields",
    ADDRESS_KEY: "address of these screens",
    LEAST_HOURS_KEY: "least work worth a visit of its own [h]",
}
COSTS = {
    "hour_rate": ("A workshop hour", 5.0, "What an hour of work costs."),
    "access_cost": ("Calling a vehicle in", 10.0, "Saved when the vehicle is in for a service anyway."),
    "move_price": (
        "Moving a planned visit",
        5.0,
        "A visit of the last plan moves only when that saves more than this.",
    ),
    "failure_hours_factor": (
        "Unplanned repair, times its hours",
        0.1,
        "How much longer a repair takes at the roadside.",
    ),
    "measure_h": ("A measuring visit, h", 0.1, "Hours to measure the whole circuit."),
    "clean_h": ("Clean and tighten, h", 0.1, "Hours to clean and tighten a connection."),
    "charge_h": ("Charge a battery, h", 0.1, "Hours of work for a charge."),
    "down_share": ("Largest share called in a week", 0.01, "Of a depot's vehicles, 0.1 is one in ten."),
    "frozen_weeks": ("Near weeks that stay as planned", 1, "Only urgent vehicles come in between."),
    "urgent_probability": (
        "Urgent from a probability of",
        0.01,
        "Of a no-start within the weeks that stay as planned.",
    ),
}
"""Setting -> label, step, and what it means."""
PARTS_SAVED = "parts_saved"
MONEY = ("hour_rate", "access_cost", "move_price")  # of these, amounts


def show() -> None:
    """The page."""
    st.title("Settings")
    with session.database() as db:
        saved = read_settings(db)
    with st.container(width=560):
        note = st.session_state.pop("settings_note", None)
        if note:
            st.success(note)
        horizon = st.number_input(
            "Look ahead, days", 1, 180, session.horizon_days(), key="set_horizon",
            help="The list's probabilities are for a no-start within this many days.",
        )  # fmt: skip
        tolerated = st.select_slider(
            "False flags tolerated, per 100 healthy vehicles and year", [2.0, 5.0, 10.0],
            value=_nearest(saved.get("tolerated_false_flags", TOLERATED_FALSE_FLAGS)), key="set_tolerated",
            format_func=lambda rate: f"{rate:g}", help="Fewer false flags, and more no-starts that nobody foresaw.",
        )  # fmt: skip
        fleet = habits_fields(of_fleet(saved), "set", HABIT_WORDS)
        currency = st.text_input(
            "Currency", value=str(plan_value(saved, CURRENCY_KEY, PlanSettings().currency)), max_chars=8, key="set_currency",
            placeholder="EUR, USD …",
        )  # fmt: skip
        least = st.number_input(
            "Least work worth a visit of its own, h", 0.0, 8.0, _hours(saved.get(LEAST_HOURS_KEY)), 0.25,
            key="set_hours", help="Visits shorter than this are shown as work for a service that is due anyway.",
        )  # fmt: skip
        address = st.text_input(
            "Address of these screens, for codes on windscreens", value=str(saved.get(ADDRESS_KEY, "")), max_chars=LONGEST,
            key="set_address", placeholder="http://workshop:8501",
            help="As a phone in the workshop reaches them. Empty: as this browser does.",
        )  # fmt: skip
        if st.button("Save settings", type="primary", key="save_settings"):
            try:
                wanted = {
                    ADDRESS_KEY: checked(address), session.HORIZON_KEY: int(horizon),
                    "tolerated_false_flags": float(tolerated),
                    **{FLEET_KEYS[name]: value for name, value in fleet.items()},
                    LEAST_HOURS_KEY: float(least),
                }  # fmt: skip
            except ValueError as error:
                st.error(safe(error))
            else:
                keep(wanted, {CURRENCY_KEY: currency.strip()} if currency.strip() else {})
    own_habits()
    depots(saved)
    costs()
    parts()
    table = saved_table(saved)
    if len(table):
        st.subheader("On record")
        columns.show_values(table, alt="Settings on record", key="settings_table")
        downloads.table_button(table, "settings", key="settings")


def habits_fields(now: Habits, key: str, labels: Mapping[str, str], *, free: str = "") -> dict[str, str]:
    """A choice of each habit; `free` names the choice of none, which is left out of the answer."""
    chosen = {}
    with st.container(horizontal=True, key=f"{key}_habits"):
        for name, allowed in ALLOWED.items():
            options = [free, *allowed] if free else list(allowed)
            value = st.selectbox(
                labels[name], options, index=options.index(getattr(now, name)) if getattr(now, name) in options else 0,
                key=f"{key}_{name}", width=FIELD_PX,
            )  # fmt: skip
            if value and value != free:
                chosen[name] = str(value)
    return chosen


def own_habits() -> None:
    """What the person at this device reads, and the depot it belongs to."""
    st.subheader("On this device")
    memory = device.remembered()
    kept_own = memory.get("habits")
    own = kept_own if isinstance(kept_own, dict) else {}
    st.caption("Only for this phone or desk. What is left open follows its depot, then the fleet's settings above.")
    places = [NO_DEPOT, *depot_names()]
    at = str(memory.get("depot", ""))
    depot = st.selectbox(
        "Depot of this device", places, index=places.index(at) if at in places else 0, key="own_depot", width=280
    )
    chosen = habits_fields(Habits("", "", "").but(own), "own", HABIT_WORDS, free=AS_DEPOT)
    if st.button("Save for this device", key="save_own"):
        device.remember(habits=chosen or None, depot=None if depot == NO_DEPOT else depot)
        st.session_state["settings_note"] = "Kept for this device."
        st.rerun()


def depot_names() -> list[str]:
    """Depots of the vehicles."""
    with session.database() as db:
        return [str(row[0]) for row in db.execute("SELECT DISTINCT depot FROM units WHERE depot != '' ORDER BY 1")]


def depots(saved: Mapping[str, Any]) -> None:
    """Who is responsible at each depot, and how it reads degrees, distances and dates."""
    names = depot_names()
    if not names:
        return
    st.subheader("Depots")
    st.caption(
        "Who is responsible stands on the list and its printed sheet. What is left empty follows the fleet's settings."
    )
    table = pd.DataFrame(
        [{"depot": name, **{c: of_depot(saved, name).get(c, "") for c in DEPOT_COLUMNS}} for name in names]
    )
    with st.form("depots", border=False):
        edited = st.data_editor(
            table, hide_index=True, key="set_depots", width=720, disabled=["depot"],
            column_config={
                "depot": st.column_config.TextColumn("depot", pinned=True),
                "responsible": st.column_config.TextColumn("responsible", max_chars=LONGEST_NAME),
                **{n: st.column_config.SelectboxColumn(HABIT_WORDS[n].casefold(), options=list(a)) for n, a in ALLOWED.items()},
            },
        )  # fmt: skip
        if st.form_submit_button("Save depots", key="save_depots"):
            try:
                wanted = checked_depots(edited.fillna("").to_dict("records"))
            except ValueError as error:
                st.error(safe(error))
            else:
                keep({DEPOTS_KEY: wanted}, {})
    downloads.table_button(table, "depots", key="depots", label="Depots as CSV")


def saved_table(saved: Mapping[str, object]) -> pd.DataFrame:
    """What was set, in words; what was not set is at its default above."""
    rows = [(SETTING_WORDS[name], *valued(saved[name])) for name in SETTING_WORDS if saved.get(name, "") != ""]
    plan = saved.get("plan")
    for rule, about, value, said in settings_table(plan if isinstance(plan, Mapping) else {}).to_numpy().tolist():
        rows.append((f"{rule}, {about}" if about else str(rule), float(value), str(said)))
    return pd.DataFrame(rows, columns=["setting", "value", "in words"])


def costs() -> None:
    """What things cost and how the plan is bound, each with its default until the user sets it."""
    with session.database() as db:
        now = own_costs(db)
        classes = [row[0] for row in db.execute("SELECT DISTINCT vehicle_class FROM units ORDER BY 1").fetchall()]
    st.subheader("Costs and rules of the plan")
    st.caption(f"Amounts are in {safe(now.currency)}. They are stated defaults until you set your own.")
    with st.form("costs", border=False):
        st.markdown("**What one no-start costs** beside its repair; a class without a row of its own counts as light "
                    "(12 V) or heavy (24 V).")  # fmt: skip
        allowed = list(dict.fromkeys([*now.no_start, *classes]))
        table = pd.DataFrame(
            [(name, c.roadside, c.tow, c.lost_work) for name, c in now.no_start.items()],
            columns=["class", "roadside", "tow", "lost_work"],
        )
        edited = st.data_editor(
            table, hide_index=True, num_rows="dynamic", key="set_no_start", width=640,
            column_config={
                "class": st.column_config.SelectboxColumn("class", options=allowed, required=True),
                "roadside": amount(f"roadside help [{now.currency}]"),
                "tow": amount(f"tow [{now.currency}]"),
                "lost_work": amount(f"lost work [{now.currency}]"),
            },
        )  # fmt: skip
        wanted: dict[str, object] = {}
        with st.container(horizontal=True, vertical_alignment="bottom"):
            for name, (label, step, words) in COSTS.items():
                low, high = RANGES[name]
                value = getattr(now, name)
                kind = int if isinstance(value, int) else float
                wanted[name] = st.number_input(
                    f"{label}, {now.currency}" if name in MONEY else label,
                    kind(low),
                    kind(high),
                    value,
                    kind(step),
                    key=f"set_{name}",
                    help=words,
                    width=FIELD_PX,
                )
        if st.form_submit_button("Save costs and rules", key="save_costs"):
            rows = edited.to_dict("records")
            wanted["no_start"] = {
                str(r["class"]): {n: float(r[n]) for n in ("roadside", "tow", "lost_work")} for r in rows
            }
            keep({}, wanted)
    downloads.table_button(table, "no-start-costs", key="no_start", label="No-start costs as CSV")


def parts() -> None:
    """What each part costs, how long its work takes and how long it is awaited."""
    with session.database() as db:
        now, money = parts_in_force(db), own_costs(db).currency
    st.subheader("Parts")
    kept.told("settings", "")
    st.caption("Price, hours of work and days from order to delivery, as the plan counts them.")
    with st.form("parts", border=False):
        edited = st.data_editor(
            now.assign(part=[PART_WORDS[part] for part in now["part"]]), hide_index=True, width=640,
            key=f"set_parts{st.session_state.get(PARTS_SAVED, '')}",
            disabled=["part"],
            column_config={
                "part": "part",
                "price": amount(f"price [{money}]"),
                "labour_h": plain_number("work [h]", 1000.0, "%.1f"),
                "lead_days": plain_number("delivery [days]", 1000.0, "%.0f"),
            },
        )  # fmt: skip
        if st.form_submit_button("Save parts", key="save_parts"):
            keep_parts(edited.assign(part=now["part"].tolist()))
    downloads.table_button(now, "parts", key="parts", label="Parts as CSV")


def keep_parts(edited: pd.DataFrame) -> None:
    """Save what was changed, as a parts file would."""
    with session.saving() as db:
        changed, change = save_parts(db, edited, by=session.who(), now=session.now())
        said = f"{count_words(changed, 'part')} changed; the old values stay on record. Plan again to use them."
        st.session_state[PARTS_SAVED] = change  # a fresh table, so that what is undone is not typed in it still
        kept.keep(kept.Kept("settings", "", said, change=change))
        st.rerun()


def plain_number(label: str, most: float, digits: str) -> ColumnConfig:
    """A column of numbers from 0 on."""
    return st.column_config.NumberColumn(label, min_value=0.0, max_value=most, format=digits, required=True)


def amount(label: str) -> ColumnConfig:
    """A column of money."""
    return st.column_config.NumberColumn(
        label, min_value=0.0, max_value=MOST_MONEY, format="%.0f", required=True, default=0.0
    )


def plan_value(saved: dict[str, object], key: str, default: object) -> object:
    """One of the plan's own settings."""
    plan = saved.get("plan")
    return plan.get(key, default) if isinstance(plan, dict) else default


def _nearest(value: object) -> float:
    rate = float(value) if isinstance(value, int | float) else TOLERATED_FALSE_FLAGS
    return min((2.0, 5.0, 10.0), key=lambda known: abs(known - rate))


def _hours(value: object) -> float:
    return float(value) if isinstance(value, int | float) and 0 <= value <= 8 else 0.0


def keep(wanted: dict[str, object], plan: dict[str, object]) -> None:
    """Save every setting; the old values go to the audit."""
    with session.saving() as db:
        for key, value in wanted.items():
            save_setting(db, key, value, by=session.who(), now=session.now())
        if plan:
            save_plan_settings(db, plan, by=session.who(), now=session.now())
        st.session_state["settings_note"] = "Settings saved."
        st.rerun()


show()
