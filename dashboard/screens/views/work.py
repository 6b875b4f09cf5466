"""Repairs done and how starts went: the record the judgement learns from."""

import uuid
from collections.abc import Mapping

import streamlit as st

from dashboard.desk import weekly
from dashboard.desk.rights import Act
from dashboard.screens import device, kept, one_unit, reception, session, visits
from dashboard.screens.caution import caution
from dashboard.screens.pages import IN_ADDRESS, page
from dashboard.screens.picker import with_unit
from dashboard.words import every_page
from dashboard.words import record_words as say
from dashboard.words.plain_text import day, safe
from dashboard.words.reasons import OUTCOME_WORDS, PART_WORDS
from ingest.entries import record_reading, record_repair
from ingest.fields import ACTIONS, FAILED_STARTS


def show(unit: str) -> None:
    kept.told("work", unit)
    st.markdown(f"**{safe(unit)}**")
    with st.container(horizontal=True):
        st.page_link(page("bay"), label=every_page.MEASURE_IT, query_params={"unit": unit})
        st.page_link(page("correct"), label=say.PUT_SOMETHING_RIGHT, query_params={"unit": unit})
        visits.links(unit)
    facts = one_unit.facts(unit)
    tabs = st.tabs([say.REPAIR, every_page.HOW_STARTED], key="work_tab", on_change="rerun", bind=IN_ADDRESS)
    with tabs[0]:
        repair(unit, facts)
    with tabs[1]:
        start(unit)


def entry_number(kind: str, values: Mapping[str, object]) -> str:
    """One number for the same values, so that a second click stores nothing twice."""
    numbers = session.held().setdefault("entries", {})
    if numbers.get(kind, (None, ""))[0] != values:
        numbers[kind] = (dict(values), uuid.uuid4().hex)
    return str(numbers[kind][1])


def save(unit: str, kind: str, values: Mapping[str, object], kept_words: str, known_words: str) -> None:
    """Store a repair or a start and say that it is on record, which can be taken back at once, or what is wrong."""
    store, word = (record_repair, "repair") if kind == "repair" else (record_reading, "reading")
    with session.saving(Act.RECORD, unit=unit) as db:
        entry = store(db, values, by=session.who(), now=session.now(), entry_id=entry_number(kind, values))
        if entry.stored or entry.known:
            words = kept_words if entry.stored else known_words
            kept.keep(kept.Kept("work", unit, words, word, entry.row_id or 0, act=Act.RECORD), known=entry.known)
            device.remember()
            st.rerun()
        kept.refused(entry.problems)


def repair(unit: str, facts: one_unit.Facts) -> None:
    caution(unit)
    part = st.pills(every_page.PART, list(PART_WORDS), format_func=PART_WORDS.__getitem__, key="repair_part")
    action = st.pills(every_page.WHAT_DONE, list(ACTIONS), key="repair_action")
    reason = st.pills(
        every_page.WHY, list(say.REASON_WORDS), format_func=say.REASON_WORDS.__getitem__, key="repair_reason"
    )
    done_on = st.date_input(every_page.DONE_ON, value=session.today(), max_value=session.today(), key="repair_on",
                            format=session.date_format())  # fmt: skip
    note = st.text_input(every_page.REMARK, max_chars=300, key="repair_note")
    if reception.may(Act.RECORD, unit) and st.button(
        say.SAVE_REPAIR, type="primary", width="stretch", key="save_repair", disabled=not (part and action)
    ):
        values = {"unit": unit, "part": part, "action": action, "reason": reason or "", "note": note,
                  "done_on": done_on.isoformat()}  # fmt: skip
        save(unit, "repair", values, say.REPAIR_KEPT, say.REPAIR_KNOWN)
    if len(facts.repairs):
        st.caption(say.ON_RECORD.format(repairs="; ".join(
            f"{day(r['done_on'])} {weekly.work_words(r)}"
            for r in facts.repairs.tail(3).iloc[::-1].to_dict("records"))))  # fmt: skip


def start(unit: str) -> None:
    outcome = st.pills(say.THE_START, list(OUTCOME_WORDS), format_func=OUTCOME_WORDS.__getitem__, key="start_outcome")
    on = st.date_input(
        every_page.DAY, value=session.today(), max_value=session.today(), key="start_on", format=session.date_format()
    )
    at = st.time_input(say.ABOUT_WHEN, value=session.now().time().replace(second=0), key="start_at")
    fahrenheit = session.fahrenheit()
    temperature = st.text_input(say.AIR.format(degrees="°F" if fahrenheit else "°C"), max_chars=10, key="start_air")
    note = st.text_input(every_page.REMARK, max_chars=300, key="start_note")
    if reception.may(Act.RECORD, unit) and st.button(
        say.SAVE_START, type="primary", width="stretch", key="save_start", disabled=not outcome
    ):
        values: dict[str, object] = {
            "unit": unit, "taken_at": f"{on.isoformat()}T{at:%H:%M:%S}", "outcome": outcome, "note": note,
            "technician": session.who(),
        }  # fmt: skip
        if temperature.strip():
            values["temperature_f" if fahrenheit else "temperature_c"] = temperature.strip().replace("−", "-")
        save(unit, "start", values, say.START_KEPT, say.START_KNOWN)
    if outcome in FAILED_STARTS:
        st.caption(say.REPAIR_TOO)


with_unit(every_page.PAGES["work"], show)
