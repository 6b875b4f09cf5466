"""Repairs done, how starts went, and corrections of what was read: the record the judgement learns from."""

from __future__ import annotations

import uuid
from typing import Any

import streamlit as st

from dashboard import bay, columns, downloads, one_unit, session, weekly
from dashboard.caution import caution
from dashboard.pages import page
from dashboard.picker import pick_unit
from dashboard.plain_text import day, safe
from dashboard.reasons import OUTCOME_WORDS, PART_WORDS
from ingest import corrections
from ingest.entries import Entry, record_reading, record_repair
from ingest.errors import IngestError
from ingest.fields import ACTIONS, FAILED_STARTS, MEASUREMENTS

REASON_WORDS = {"no_start": "it did not start", "preventive": "before it failed", "complaint": "driver's complaint"}


def show() -> None:
    """The page."""
    st.title("Repairs and starts")
    with st.container(key="bay", width=640):
        if not session.has_vehicles():
            session.nothing_yet()
            return
        unit = pick_unit()
        said()
        if unit is None:
            return
        st.markdown(f"**{safe(unit)}**")
        st.page_link(page("bay"), label="Measure this vehicle", query_params={"unit": unit})
        facts = one_unit.facts(unit)
        tabs = st.tabs(["Repair", "How it started", "Correct a reading"])
        with tabs[0]:
            repair(unit, facts)
        with tabs[1]:
            start(unit)
        with tabs[2]:
            correct(unit, facts)


def said() -> None:
    """What was saved by the last click, once."""
    words = st.session_state.pop("work_note", None)
    if words:
        st.success(words, icon=":material/check_circle:")


def entry_number(kind: str) -> str:
    """One number per form filled in, so that a second click stores nothing twice."""
    return str(st.session_state.setdefault(f"entry_{kind}", uuid.uuid4().hex))


def finish(kind: str, entry: Entry, words: str) -> None:
    """Say what is wrong, or start a fresh form."""
    if entry.stored or entry.known:
        st.session_state.pop(f"entry_{kind}", None)
        st.session_state["work_note"] = words
        st.rerun()
    for problem in entry.problems:
        st.error(safe(bay.spoken(problem)))


def repair(unit: str, facts: one_unit.Facts) -> None:
    """A repair: part, what was done, why, when."""
    caution(unit)
    part = st.pills("Part", list(PART_WORDS), format_func=PART_WORDS.__getitem__, key="repair_part")
    action = st.pills("What was done", list(ACTIONS), key="repair_action")
    reason = st.pills("Why", list(REASON_WORDS), format_func=REASON_WORDS.__getitem__, key="repair_reason")
    done_on = st.date_input("Done on", value=session.today(), max_value=session.today(), key="repair_on",
                            format="YYYY-MM-DD")  # fmt: skip
    note = st.text_input("Remark", max_chars=300, key="repair_note")
    if st.button("Save repair", type="primary", width="stretch", key="save_repair", disabled=not (part and action)):
        values = {"unit": unit, "part": part, "action": action, "reason": reason or "", "note": note,
                  "done_on": done_on.isoformat()}  # fmt: skip
        try:
            with session.database() as db:
                entry = record_repair(db, values, by=session.who(), now=session.now(), entry_id=entry_number("repair"))
        except (IngestError, ValueError) as error:
            st.error(safe(error))
            return
        finish("repair", entry, "Repair kept." if entry.stored else "This repair is on record already.")
    if len(facts.repairs):
        st.caption("On record: " + "; ".join(
            f"{day(r['done_on'])} {weekly.work_words(r)}"
            for r in facts.repairs.tail(3).iloc[::-1].to_dict("records")))  # fmt: skip


def start(unit: str) -> None:
    """How a start went, with or without a measurement."""
    outcome = st.pills("The start", list(OUTCOME_WORDS), format_func=OUTCOME_WORDS.__getitem__, key="start_outcome")
    on = st.date_input("Day", value=session.today(), max_value=session.today(), key="start_on", format="YYYY-MM-DD")
    at = st.time_input("About when", value=session.now().time().replace(second=0), key="start_at")
    fahrenheit = session.fahrenheit()
    temperature = st.text_input(f"Air at the vehicle, {'°F' if fahrenheit else '°C'}", max_chars=10, key="start_air")
    note = st.text_input("Remark", max_chars=300, key="start_note")
    if st.button("Save start", type="primary", width="stretch", key="save_start", disabled=not outcome):
        values: dict[str, object] = {
            "unit": unit, "taken_at": f"{on.isoformat()}T{at:%H:%M:%S}", "outcome": outcome, "note": note,
            "technician": session.who(),
        }  # fmt: skip
        if temperature.strip():
            values["temperature_f" if fahrenheit else "temperature_c"] = temperature.strip().replace("−", "-")
        try:
            with session.database() as db:
                entry = record_reading(db, values, by=session.who(), now=session.now(), entry_id=entry_number("start"))
        except (IngestError, ValueError) as error:
            st.error(safe(error))
            return
        finish("start", entry, "Start kept." if entry.stored else "This start is on record already.")
    if outcome in FAILED_STARTS:
        st.caption("If it was repaired because of this, record the repair too, with “it did not start” as the reason.")


def correct(unit: str, facts: one_unit.Facts) -> None:
    """Change values of a reading; the old ones stay on record."""
    if facts.readings.empty:
        st.write("There is no reading to correct.")
        return
    newest = facts.readings.iloc[::-1]
    ids = newest["reading_id"].tolist()
    labels = {
        r["reading_id"]: f"{r['taken_at']:%Y-%m-%d %H:%M}" + (" (doubtful)" if r["doubtful"] else "")
        for r in newest.to_dict("records")
    }
    chosen = st.selectbox("Reading", ids, format_func=labels.__getitem__, key=f"correct_{unit}")
    row = newest[newest["reading_id"] == chosen].to_dict("records")[0]
    if row["doubt_reason"]:
        st.warning(safe(bay.spoken(str(row["doubt_reason"]))))
    changes = changed_fields(row)
    reason = st.text_input("Why it is corrected", max_chars=200, key=f"why_{chosen}")
    if st.button("Save correction", type="primary", width="stretch", key="save_correction", disabled=not changes):
        try:
            with session.database() as db:
                entry = corrections.correct(
                    db, "reading", int(chosen), changes, by=session.who(), reason=reason, now=session.now()
                )
        except (IngestError, ValueError) as error:
            st.error(safe(error))
            return
        finish("correction", entry, "Corrected; the old values stay on record.")
    history(int(chosen))


def changed_fields(row: dict[Any, Any]) -> dict[str, str]:
    """Fields with the stored values; those that differ now, by column."""
    changes: dict[str, str] = {}
    for name in MEASUREMENTS:
        value = row[name]
        old = "" if value != value else f"{value:g}"
        unit = bay.unit_of(name, bay.Meter())
        new = st.text_input(f"{bay.LABELS.get(name, name)}, {unit}", value=old, max_chars=20,
                            key=f"c_{name}_{row['reading_id']}").strip()  # fmt: skip
        if new != old:
            changes[name] = new.replace("−", "-")
    return changes


def history(reading_id: int) -> None:
    """What was changed in this reading before."""
    changes = one_unit.changes_of(reading_id)
    if len(changes):
        st.markdown("**Corrected before**")
        st.dataframe(
            changes.assign(at=columns.moments(changes["at"])), hide_index=True, alt="Corrections of this reading",
            key=f"changes_{reading_id}", column_config={"at": columns.at("at")},
        )  # fmt: skip
        downloads.table_button(changes, f"corrections-{reading_id}", key="corrections")


show()
