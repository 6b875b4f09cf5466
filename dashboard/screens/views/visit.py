"""A planned visit reported on the phone: what was found, what was done, the reading after; one form that closes the visit."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import streamlit as st

from dashboard.desk.addresses import uid_of
from dashboard.desk.reading_source import latest_trusted
from dashboard.desk.rights import Act
from dashboard.desk.work_orders import to_measure
from dashboard.screens import acts, bay, device, drafts, kept, one_unit, reception, session, visits
from dashboard.screens.caution import caution
from dashboard.screens.pages import page
from dashboard.screens.picker import with_unit
from dashboard.words import every_page, visit_words
from dashboard.words.plain_text import safe, whole
from dashboard.words.reasons import PART_WORDS
from ingest.fields import ACTIONS, PARTS
from ingest.visits import Report, as_planned, close_visit, open_visits, planned_visit, read_visits


@dataclass(frozen=True)
class Typed:
    found: str
    other: str
    action: str
    parts: tuple[str, ...]
    reading: Mapping[str, object]
    done_on: date
    note: str


def show(unit: str) -> None:
    """The page of a vehicle: the visit of the address, else its visits to come."""
    if device.awaited():
        return
    just_told = kept.told("visit", unit)
    asked = st.query_params.get("visit")
    with session.database() as db:
        to_come, done = open_visits(db, unit), read_visits(db)
        named = planned_visit(db, uid_of(str(asked))) if asked else None
    st.markdown(f"**{safe(unit)}**")
    visit = named if named is not None and named["unit"] == unit else next(iter(to_come), None)
    if visit is None:
        if not just_told:
            st.info(visit_words.NOT_MEANT)
        st.page_link(page("work"), label=every_page.PAGES["work"], query_params={"unit": unit})
        return
    told = done[done["uid"] == visit["uid"]]
    if len(told):
        visits.closed_line(told.iloc[-1].to_dict())
        return
    st.markdown(whole(f"{visit_words.PLANNED} {visits.planned_words(visit)}."))
    if visit["uid"] not in {one["uid"] for one in to_come}:
        st.caption(visit_words.NO_LONGER)
    st.page_link(page("bay"), label=visit_words.BEFORE, icon=":material/speed:", query_params={"unit": unit})
    report(unit, visit)


def report(unit: str, visit: Mapping[str, Any]) -> None:
    if not reception.may(Act.RECORD, unit):
        return
    caution(unit)
    acts.name_box(visit_words.DONE_BY, "who_visit")
    typed = fields(unit, visit)
    told = st.container(key="told")
    with st.container(key="savebar"):
        label = visit_words.SAVE if typed.found else visit_words.SAY_FIRST
        pressed = st.button(label, type="primary", width="stretch", key="save_visit", disabled=not typed.found)
    if pressed:
        with told:
            save(unit, visit, typed)


def fields(unit: str, visit: Mapping[str, Any]) -> Typed:
    """What was found, what was done to which parts, the reading after, when, and a remark; a draft until it is saved."""
    parts = [str(part) for part in visit["parts"]]
    part, draft = (parts[0] if parts else ""), drafts.values_of(draft_of(visit))
    key = f"{visit['uid'][:12]}_{unit}"
    said = visit_words.found_words(part)
    found = (
        st.pills(
            visit_words.asked_words(part), list(said), format_func=said.__getitem__, key=begun("found", key, draft)
        )
        or ""
    )
    other = ""
    if found == "other":
        choices = {**{p: PART_WORDS[p] for p in PARTS if p != part}, "": visit_words.SOMETHING_ELSE}
        at = begun("other", key, draft)
        other = st.pills(visit_words.WHICH, list(choices), format_func=choices.__getitem__, key=at) or ""
    action = st.pills(every_page.WHAT_DONE, list(ACTIONS), key=begun("action", key, draft)) or ""
    usual = parts if found in ("", "worn", "not_known") else [p for p in (other, *parts[1:]) if p]  # a sound part stays
    same = draft.get("found", "") == found and draft.get("other", "") == other
    worked = parts_done(usual, f"{key}_{found}_{other}", draft if same else {}) if action else []
    read, values = reading_after(unit, to_measure([*parts, *([other] if other else [])]), key, draft)
    today, on = session.today(), begun("done_on", key, draft, date.fromisoformat)
    st.session_state.setdefault(on, today)
    done_on = st.date_input(every_page.DONE_ON, max_value=today, key=on, format=session.date_format())
    note = st.text_input(every_page.REMARK, max_chars=300, key=begun("note", key, draft))
    typed = {"found": found, "other": other, "action": action, "parts": ",".join(worked), "note": note, **read}
    typed["done_on"] = "" if done_on == today else done_on.isoformat()
    left = {name: text for name, text in typed.items() if text.strip()}
    if left != draft:
        drafts.keep(draft_of(visit), left)
    return Typed(found, other, action, tuple(worked), values, done_on, note)


def draft_of(visit: Mapping[str, Any]) -> str:
    return f"visit {visit['uid']}"


def begun(name: str, key: str, draft: Mapping[str, str], read: Callable[[str], object] = str) -> str:
    """The key of a field, which goes on from the draft where it was not drawn yet."""
    field = f"{name}_{key}"
    if name in draft and field not in st.session_state:
        st.session_state[field] = read(draft[name])
    return field


def parts_done(usual: list[str], key: str, draft: Mapping[str, str]) -> list[str]:
    """The parts that were worked on, the usual ones unless told otherwise."""
    field = begun("parts", key, draft, lambda text: [part for part in text.split(",") if part in PARTS])
    st.session_state.setdefault(field, usual)
    return st.pills(
        visit_words.ON_PARTS, list(PARTS), format_func=PART_WORDS.__getitem__, selection_mode="multi", key=field
    )  # fmt: skip


def reading_after(
    unit: str, asked: tuple[str, ...], key: str, draft: Mapping[str, str]
) -> tuple[dict[str, str], dict[str, object]]:
    """Fields for what is measured after the work, in the units of this device's meter: as typed, and as a reading; all may
    stay empty."""
    meter = bay.meter_of(device.remembered(), fahrenheit=session.fahrenheit())
    last, _ = latest_trusted(one_unit.facts(unit).readings)
    typed = {}
    with st.container(key="measured"):
        st.markdown(f"**{visit_words.AFTER}**")
        for name in asked:
            typed[name] = st.text_input(
                bay.asked(name, meter), max_chars=20, key=begun(f"after_{name}", key, draft),
                placeholder=bay.last_words(name, last, meter),
            )  # fmt: skip
    values = bay.values_of(unit, typed, meter)
    reading = {**values, "technician": session.who()} if len(values) > 1 else {}
    return {f"after_{name}": text for name, text in typed.items()}, reading


def save(unit: str, visit: Mapping[str, Any], typed: Typed) -> None:
    """Close the visit; say what is wrong, or what is on record now, with the way to take it back."""
    if not acts.named():
        return
    words = Report(typed.found, typed.done_on, typed.other, typed.action, typed.parts, typed.note, typed.reading)
    with session.saving(Act.RECORD, unit=unit) as db:
        entry = close_visit(
            db, as_planned(visit), words, by=session.who(), now=session.now(), device=device.number(),
            entry_id=drafts.entry_id(draft_of(visit)),
        )  # fmt: skip
        if entry.stored or entry.known:
            doubts = (visit_words.DOUBTED.format(doubt=bay.spoken(doubt)) for doubt in entry.doubts)
            said = " ".join([visit_words.KEPT, *doubts])
            kept.keep(kept.Kept("visit", unit, said, "visit", entry.row_id or 0, act=Act.RECORD))
            drafts.keep(draft_of(visit), {})
            st.rerun()
        kept.refused(entry.problems)


with_unit(every_page.PAGES["visit"], show)
