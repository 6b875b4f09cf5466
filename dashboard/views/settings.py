"""Settings: how far to look ahead, how many false flags are tolerated, money, units, hours."""

from __future__ import annotations

import streamlit as st

from dashboard import downloads, session
from dashboard.assessment import TOLERATED_FALSE_FLAGS
from dashboard.plain_text import safe
from ingest.errors import IngestError
from ingest.records import read_settings, save_setting

LEAST_HOURS_KEY = "least_hours"
CURRENCY_KEY = "currency"


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
        unit = st.segmented_control(
            "Temperatures on the screens", ["°C", "°F"], default="°F" if session.fahrenheit() else "°C", key="set_unit"
        )
        currency = st.text_input(
            "Currency", value=str(plan_value(saved, CURRENCY_KEY, "")), max_chars=8, key="set_currency",
            placeholder="EUR, USD …",
        )  # fmt: skip
        least = st.number_input(
            "Least hours worth planning a visit for", 0.0, 8.0, _hours(saved.get(LEAST_HOURS_KEY)), 0.25,
            key="set_hours", help="Visits shorter than this are shown as work for a service that is due anyway.",
        )  # fmt: skip
        if st.button("Save settings", type="primary", key="save_settings"):
            wanted = {
                session.HORIZON_KEY: int(horizon), "tolerated_false_flags": float(tolerated),
                "temperature_unit": unit or "°C", LEAST_HOURS_KEY: float(least),
            }  # fmt: skip
            keep(wanted, currency.strip())
    table = downloads.settings_table(saved)
    if len(table):
        st.subheader("On record")
        st.dataframe(table, hide_index=True, alt="Settings on record", key="settings_table")
        downloads.table_button(table, "settings", key="settings")


def plan_value(saved: dict[str, object], key: str, default: object) -> object:
    """One of the plan's own settings."""
    plan = saved.get("plan")
    return plan.get(key, default) if isinstance(plan, dict) else default


def _nearest(value: object) -> float:
    rate = float(value) if isinstance(value, int | float) else TOLERATED_FALSE_FLAGS
    return min((2.0, 5.0, 10.0), key=lambda known: abs(known - rate))


def _hours(value: object) -> float:
    return float(value) if isinstance(value, int | float) and 0 <= value <= 8 else 0.0


def keep(wanted: dict[str, object], currency: str) -> None:
    """Save every setting; the old values go to the audit."""
    try:
        with session.database() as db:
            for key, value in wanted.items():
                save_setting(db, key, value, by=session.who(), now=session.now())
            if currency:
                from dashboard.planning import save_plan_settings

                save_plan_settings(db, {CURRENCY_KEY: currency}, by=session.who(), now=session.now())
    except (IngestError, ValueError) as error:
        st.error(safe(error))
        return
    st.session_state["settings_note"] = "Settings saved."
    st.rerun()


show()
