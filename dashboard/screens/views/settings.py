"""Settings: how far to look ahead, how many false flags are tolerated, money, units, hours."""

from collections.abc import Mapping
from typing import Any

import pandas as pd
import streamlit as st
from streamlit.elements.lib.column_types import ColumnConfig

from analysis.costs import MOST_MONEY, RANGES, PlanSettings
from dashboard.desk import act_log
from dashboard.desk.addresses import ADDRESS_KEY, LONGEST, checked
from dashboard.desk.assessment import own_costs
from dashboard.desk.habits import ALLOWED, DEPOTS_KEY, FLEET_KEYS, Habits, checked_depots, of_depot, of_fleet
from dashboard.desk.kept_assessment import TOLERATED_FALSE_FLAGS
from dashboard.desk.planning import parts_in_force, save_parts, save_plan_settings
from dashboard.desk.rights import Act
from dashboard.desk.terminal import own_version
from dashboard.screens import accounts, columns, device, downloads, kept, reception, session
from dashboard.words import every_page, log_words
from dashboard.words import settings_words as say
from dashboard.words.heads import head
from dashboard.words.plain_text import safe
from dashboard.words.plan_words import settings_table, valued
from dashboard.words.reasons import PART_WORDS
from ingest.fields import LONGEST_NAME
from ingest.records import save_setting

LEAST_HOURS_KEY = "least_hours"
CURRENCY_KEY = "currency"
DEPOT_COLUMNS = ("responsible", *ALLOWED)
FIELD_PX = 172  # [px] two side by side on a phone
STEPS = {
    "hour_rate": 5.0, "access_cost": 10.0, "move_price": 5.0, "failure_hours_factor": 0.1, "measure_h": 0.1, "clean_h": 0.1,
    "charge_h": 0.1, "down_share": 0.01, "frozen_weeks": 1, "urgent_probability": 0.01,
}  # fmt: skip
"""Setting -> step of its field."""
PARTS_SAVED = "parts_saved"
SHOWN, COSTS_SHOWN = "settings_shown", "costs_shown"
"""Names of what stood in the fields as the page was opened, or they were saved."""
SAVED = "settings_saved"  # which of the two were saved a moment ago
NO_START = ("roadside", "tow", "lost_work")  # what one no-start costs beside its repair
MONEY = ("hour_rate", "access_cost", "move_price")  # of these, amounts


def show() -> None:
    st.title(every_page.PAGES["settings"])
    saved = session.settings()
    mine = reception.may(Act.SETTINGS)
    saved_now = session.held().pop(SAVED, "")
    opened = "set_currency" not in st.session_state or saved_now == SHOWN
    with st.container(width=560):
        kept.told("settings", "")
        horizon = st.number_input(
            say.LOOK_AHEAD, 1, 180, session.horizon_days(), key="set_horizon",
            help=say.LOOK_AHEAD_HELP,
        )  # fmt: skip
        tolerated = st.select_slider(
            say.TOLERATED, [2.0, 5.0, 10.0],
            value=_nearest(saved.get("tolerated_false_flags", TOLERATED_FALSE_FLAGS)), key="set_tolerated",
            format_func=lambda rate: f"{rate:g}", help=say.TOLERATED_HELP,
        )  # fmt: skip
        fleet = habits_fields(of_fleet(saved), "set")
        currency = st.text_input(
            say.CURRENCY, value=str(plan_value(saved, CURRENCY_KEY, PlanSettings().currency)), max_chars=8, key="set_currency",
            placeholder=say.CURRENCY_HINT,
        )  # fmt: skip
        st.caption(say.ONE_CURRENCY)
        least = st.number_input(
            say.LEAST_WORK, 0.0, 8.0, _hours(saved.get(LEAST_HOURS_KEY)), 0.25,
            key="set_hours", help=say.LEAST_WORK_HELP,
        )  # fmt: skip
        address = st.text_input(
            say.ADDRESS, value=str(saved.get(ADDRESS_KEY, "")), max_chars=LONGEST,
            key="set_address", placeholder=say.ADDRESS_HINT,
            help=say.ADDRESS_HELP,
        )  # fmt: skip
        now = {
            ADDRESS_KEY: address, session.HORIZON_KEY: int(horizon), "tolerated_false_flags": float(tolerated),
            **{FLEET_KEYS[name]: value for name, value in fleet.items()},
            LEAST_HOURS_KEY: float(least), CURRENCY_KEY: currency.strip(),
        }  # fmt: skip
        if opened:
            session.held()[SHOWN] = now
        if st.button(say.SAVE, type="primary", key="save_settings", disabled=not mine):
            wanted = typed_since(SHOWN, now)
            money = str(wanted.pop(CURRENCY_KEY, ""))
            try:
                if ADDRESS_KEY in wanted:
                    wanted[ADDRESS_KEY] = checked(address)
            except ValueError as error:
                st.error(safe(error))
            else:
                keep(wanted, {CURRENCY_KEY: money} if money else {}, of=SHOWN)
    own_habits()
    accounts.show()
    depots(saved)
    costs(saved_now=saved_now == COSTS_SHOWN)
    parts()
    table = saved_table(saved)
    if len(table):
        st.subheader(say.ON_RECORD)
        columns.show_values(table, alt=say.ON_RECORD_ALT, key="settings_table")
        downloads.table_button(table, "settings", key="settings")
    about()


def about() -> None:
    st.subheader(log_words.ABOUT)
    log = act_log.log_of(session.database_path())
    st.caption(safe(log_words.VERSION_AND_LOG.format(version=own_version(), log=log)))


def habits_fields(now: Habits, key: str, *, free: str = "") -> dict[str, str]:
    """A choice of each habit; `free` names the choice of none, which is left out of the answer."""
    chosen = {}
    with st.container(horizontal=True, key=f"{key}_habits"):
        for name, allowed in ALLOWED.items():
            options = [free, *allowed] if free else list(allowed)
            value = st.selectbox(
                say.HABIT_WORDS[name], options, index=options.index(getattr(now, name)) if getattr(now, name) in options else 0,
                key=f"{key}_{name}", width=FIELD_PX,
            )  # fmt: skip
            if value and value != free:
                chosen[name] = str(value)
    return chosen


def own_habits() -> None:
    """What the person at this device reads, and the depot it belongs to."""
    st.subheader(say.ON_DEVICE)
    memory = device.remembered()
    kept_own = memory.get("habits")
    own = kept_own if isinstance(kept_own, dict) else {}
    st.caption(say.ON_DEVICE_HELP)
    places = [say.NO_DEPOT, *depot_names()]
    at = str(memory.get("depot", ""))
    depot = st.selectbox(
        say.DEPOT_OF_DEVICE, places, index=places.index(at) if at in places else 0, key="own_depot", width=280
    )
    chosen = habits_fields(Habits("", "", "").but(own), "own", free=say.AS_DEPOT)
    if st.button(say.SAVE_DEVICE, key="save_own"):
        with session.in_one_piece():
            kept.keep(kept.Kept("settings", "", say.DEVICE_KEPT))
            device.remember(habits=chosen or None, depot=None if depot == say.NO_DEPOT else depot)
        st.rerun()


def depot_names() -> list[str]:
    with session.database() as db:
        return [row["depot"] for row in db.query("SELECT DISTINCT depot FROM units WHERE depot != '' ORDER BY 1")]


def depots(saved: Mapping[str, Any]) -> None:
    """Who is responsible at each depot, and how it reads degrees, distances and dates."""
    names = depot_names()
    if not names:
        return
    st.subheader(say.DEPOTS)
    st.caption(say.DEPOTS_HELP)
    table = pd.DataFrame(
        [{"depot": name, **{c: of_depot(saved, name).get(c, "") for c in DEPOT_COLUMNS}} for name in names]
    )
    with st.form("depots", border=False):
        edited = st.data_editor(
            table, hide_index=True, key="set_depots", width=720, disabled=["depot"], placeholder="",
            column_config={
                "depot": st.column_config.TextColumn(head("depot"), pinned=True),
                "responsible": st.column_config.TextColumn(say.RESPONSIBLE, max_chars=LONGEST_NAME),
                **{n: st.column_config.SelectboxColumn(say.HABIT_WORDS[n].casefold(), options=list(a)) for n, a in ALLOWED.items()},
            },
        )  # fmt: skip
        if st.form_submit_button(say.SAVE_DEPOTS, key="save_depots", disabled=not session.may(Act.SETTINGS)):
            try:
                wanted = checked_depots(edited.fillna("").to_dict("records"))
            except ValueError as error:
                st.error(safe(error))
            else:
                keep({DEPOTS_KEY: wanted}, {})
    downloads.table_button(table, "depots", key="depots", label=say.DEPOTS_CSV)


def saved_table(saved: Mapping[str, object]) -> pd.DataFrame:
    """What was set, in words; what was not set is at its default above."""
    rows = [(say.SETTING_WORDS[name], *valued(saved[name])) for name in say.SETTING_WORDS if saved.get(name, "") != ""]
    plan = saved.get("plan")
    for rule, about, value, said in settings_table(plan if isinstance(plan, Mapping) else {}).to_numpy().tolist():
        rows.append((f"{rule}, {about}" if about else str(rule), float(value), str(said)))
    return pd.DataFrame(rows, columns=["setting", "value", say.IN_WORDS])


def costs(*, saved_now: bool) -> None:
    """What things cost and how the plan is bound, each with its default until the user sets it."""
    opened = "set_no_start" not in st.session_state or saved_now
    with session.database() as db:
        now = own_costs(db)
        classes = [row["vehicle_class"] for row in db.query("SELECT DISTINCT vehicle_class FROM units ORDER BY 1")]
    st.subheader(say.COSTS)
    st.caption(say.AMOUNTS_IN.format(currency=safe(now.currency)))
    with st.form("costs", border=False):
        st.markdown(say.NO_START_COSTS)
        allowed = list(dict.fromkeys([*now.no_start, *classes]))
        table = pd.DataFrame(
            [(name, c.roadside, c.tow, c.lost_work) for name, c in now.no_start.items()],
            columns=["class", *NO_START],
        )
        edited = st.data_editor(
            table, hide_index=True, num_rows="dynamic", key="set_no_start", width=640,
            column_config={
                "class": st.column_config.SelectboxColumn(head("vehicle_class"), options=allowed, required=True),
                "roadside": amount(say.ROADSIDE.format(currency=now.currency)),
                "tow": amount(say.TOW.format(currency=now.currency)),
                "lost_work": amount(say.LOST_WORK.format(currency=now.currency)),
            },
        )  # fmt: skip
        wanted: dict[str, object] = {}
        with st.container(horizontal=True, vertical_alignment="bottom"):
            for name, step in STEPS.items():
                label, meaning = say.COST_LABELS[name]
                low, high = RANGES[name]
                value = getattr(now, name)
                kind = int if isinstance(value, int) else float
                wanted[name] = st.number_input(
                    f"{label}, {safe(now.currency)}" if name in MONEY else label,
                    kind(low),
                    kind(high),
                    value,
                    kind(step),
                    key=f"set_{name}",
                    help=meaning,
                    width=FIELD_PX,
                )
        rows = edited.dropna().to_dict("records")
        wanted["no_start"] = {str(r["class"]): {n: float(r[n]) for n in NO_START} for r in rows}
        if opened:
            session.held()[COSTS_SHOWN] = wanted
        if st.form_submit_button(say.SAVE_COSTS, key="save_costs", disabled=not session.may(Act.SETTINGS)):
            keep({}, typed_since(COSTS_SHOWN, wanted), of=COSTS_SHOWN)
    downloads.table_button(table, "no-start-costs", key="no_start", label=say.NO_START_CSV)


def parts() -> None:
    """What each part costs, how long its work takes and how long it is awaited."""
    with session.database() as db:
        now, money = parts_in_force(db), own_costs(db).currency
    st.subheader(say.PARTS)
    kept.told("parts", "")
    mine = reception.may(Act.HOURS)
    st.caption(say.PARTS_HELP)
    with st.form("parts", border=False):
        edited = st.data_editor(
            now.assign(part=[PART_WORDS[part] for part in now["part"]]), hide_index=True, width=640,
            key=f"set_parts{session.held().get(PARTS_SAVED, '')}",
            disabled=["part"],
            column_config={
                "part": "part",
                "price": amount(say.PRICE.format(currency=money)),
                "labour_h": plain_number(say.WORK, 1000.0, "%.1f"),
                "lead_days": plain_number(say.DELIVERY, 1000.0, "%.0f"),
            },
        )  # fmt: skip
        if st.form_submit_button(say.SAVE_PARTS, key="save_parts", disabled=not mine):
            keep_parts(edited.assign(part=now["part"].tolist()))
    downloads.table_button(now, "parts", key="parts", label=say.PARTS_CSV)


def keep_parts(edited: pd.DataFrame) -> None:
    with session.saving(Act.HOURS) as db:
        changed, change = save_parts(db, edited, by=session.who(), now=session.now())
        said = say.parts_changed(changed)
        session.held()[PARTS_SAVED] = change  # a fresh table, so that what is undone is not typed in it still
        kept.keep(kept.Kept("parts", "", said, change=change))
        st.rerun()


def plain_number(label: str, most: float, digits: str) -> ColumnConfig:
    return st.column_config.NumberColumn(label, min_value=0.0, max_value=most, format=digits, required=True)


def amount(label: str) -> ColumnConfig:
    return st.column_config.NumberColumn(
        label, min_value=0.0, max_value=MOST_MONEY, format="%.0f", required=True, default=0.0
    )


def plan_value(saved: dict[str, object], key: str, default: object) -> object:
    plan = saved.get("plan")
    return plan.get(key, default) if isinstance(plan, dict) else default


def _nearest(value: object) -> float:
    rate = float(value) if isinstance(value, int | float) else TOLERATED_FALSE_FLAGS
    return min((2.0, 5.0, 10.0), key=lambda known: abs(known - rate))


def _hours(value: object) -> float:
    return float(value) if isinstance(value, int | float) and 0 <= value <= 8 else 0.0


def typed_since(of: str, now: Mapping[str, object]) -> dict[str, object]:
    """Those fields that hold something else than what is held under that name; the others may be somebody else's by now."""
    shown = session.held().get(of, {})
    return {name: value for name, value in now.items() if value != shown.get(name)}


def keep(wanted: dict[str, object], plan: dict[str, object], *, of: str = "") -> None:
    """Save settings and costs; of: under which name is held what stands in their fields."""
    with session.saving(Act.SETTINGS) as db:
        for key, value in wanted.items():
            save_setting(db, key, value, by=session.who(), now=session.now())
        if plan:
            save_plan_settings(db, plan, by=session.who(), now=session.now())
        kept.keep(kept.Kept("settings", "", say.SAVED))
        session.held()[SAVED] = of
        st.rerun()


show()
