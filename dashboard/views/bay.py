"""In the bay: choose the vehicle, type what the meter shows, see at once whether it can be right, save."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

import streamlit as st

from analysis.one_reading import ReadingCheck
from dashboard import bay, device, downloads, one_unit, reading_sheet, session, theme
from dashboard.pages import page
from dashboard.picker import pick_unit
from dashboard.plain_text import day, safe, temperature, words
from dashboard.wording import OUTCOME_WORDS
from ingest.entries import Entry, check_reading, record_reading
from ingest.errors import IngestError

DRAFTS_KEPT = 6  # drafts of different vehicles that a device keeps, our choice
JUMPER_WORDS = {"cranks": "cranks", "no_crank": "does not crank", "fuse_opens": "fuse opens"}


def show() -> None:
    """The page."""
    st.title("Measure")
    with st.container(key="bay", width=640):
        if not session.has_vehicles():
            session.nothing_yet()
            return
        unit = pick_unit()
        saved_note()
        if unit is None or device.awaited():
            return
        facts = one_unit.facts(unit)
        about(facts)
        st.warning(bay.CAUTION, icon=":material/warning:")
        meter = choose_meter()
        typed = fields(facts, meter)
        entry = look(facts, typed, meter)
        save(facts, typed, meter, entry)


def about(facts: one_unit.Facts) -> None:
    """What the vehicle is and when it was last read."""
    unit = facts.unit
    last = facts.readings["taken_at"].max() if len(facts.readings) else None
    read = f"last read {day(last)}" if last is not None else "never read"
    st.markdown(f"**{safe(unit['unit'])}** · {safe(words(str(unit['vehicle_class'])))} · {unit['system_v']} V · {read}")


def choose_meter() -> bay.Meter:
    """The meter's units, remembered for this device."""
    memory = device.remembered()
    meter = bay.meter_of(memory if "meter" in memory else {"meter": {"fahrenheit": session.fahrenheit()}})
    st.caption(f"This meter shows {meter_words(meter)}.")
    with st.expander("Units of this meter", key="meter_units", on_change="rerun"):  # the same label keeps it open
        fahrenheit = st.segmented_control("Temperature", ["°C", "°F"], default="°F" if meter.fahrenheit else "°C",
                                          key="meter_t") == "°F"  # fmt: skip
        drops = st.segmented_control("Voltage drops", ["V", "mV"], default="mV" if meter.drops_mv else "V",
                                     key="meter_d") == "mV"  # fmt: skip
        large = clamp("Large clamp", "large", meter.large_clamp_mv_per_a, bay.LARGE_CLAMP)
        small = clamp("Small clamp", "small", meter.small_clamp_mv_per_a, bay.SMALL_CLAMP)
        miles = st.segmented_control("Odometer", ["km", "mi"], default="mi" if meter.miles else "km",
                                     key="meter_o") == "mi"  # fmt: skip
    chosen = bay.Meter(fahrenheit, drops, large, small, miles)
    if chosen != meter:
        device.remember(meter=vars(chosen))
        st.rerun()
    return chosen


def meter_words(meter: bay.Meter) -> str:
    """The meter's units in a line."""
    clamp_words = "A" if meter.large_clamp_mv_per_a is None else f"mV at {meter.large_clamp_mv_per_a:g} mV/A"
    return (
        f"{'°F' if meter.fahrenheit else '°C'}, drops in {'mV' if meter.drops_mv else 'V'}, the clamp in {clamp_words}"
    )


def clamp(label: str, key: str, scale: float | None, usual: float) -> float | None:
    """Whether a clamp is read in amps or in millivolts, and its scale."""
    shows = st.segmented_control(
        f"{label} shows", ["A", "mV"], default="A" if scale is None else "mV", key=f"meter_{key}"
    )
    if shows != "mV":
        return None
    chosen = st.number_input(f"{label}, mV per A", 0.01, 10_000.0, scale or usual, key=f"scale_{key}", format="%g")
    return float(chosen)


# --- fields and their draft ------------------------------------------------------------------------------------------


def fields(facts: one_unit.Facts, meter: bay.Meter) -> dict[str, str]:
    """The fields; what was typed is kept as a draft of this device and vehicle."""
    unit = str(facts.unit["unit"])
    draft = draft_of(unit)
    last, _ = one_unit.last_values(facts)
    typed: dict[str, str] = {}
    with st.container(key="measured"):
        for field in bay.FIELDS:
            if not field.more:
                typed[field.name] = one_field(field, unit, draft, last, meter)
    more = {f.name for f in bay.FIELDS if f.more}
    with st.expander("Loaded checks, charging, how it started, remarks", expanded=bool(more & set(draft))):
        for field in bay.FIELDS:
            if field.more:
                typed[field.name] = one_field(field, unit, draft, last, meter)
        typed["outcome"] = st.pills(
            "How it started", list(OUTCOME_WORDS), format_func=OUTCOME_WORDS.__getitem__,
            default=draft.get("outcome") if draft.get("outcome") in OUTCOME_WORDS else None,
            key=f"outcome_{unit}_{form_number()}",
        ) or ""  # fmt: skip
        typed["jumper_start"] = st.pills(
            "Fused jumper at the relay socket", list(JUMPER_WORDS), format_func=JUMPER_WORDS.__getitem__,
            default=draft.get("jumper_start") if draft.get("jumper_start") in JUMPER_WORDS else None,
            key=f"jumper_{unit}_{form_number()}",
        ) or ""  # fmt: skip
        typed["note"] = st.text_input(
            "Remark", value=draft.get("note", ""), max_chars=300, key=f"note_{unit}_{form_number()}"
        )
    kept = {name: text for name, text in typed.items() if text.strip()}
    if kept != draft:
        keep_draft(unit, kept)
    return kept


def one_field(
    field: bay.FieldOf, unit: str, draft: Mapping[str, str], last: Mapping[str, float], meter: bay.Meter
) -> str:
    """One field with its unit, where to measure, and the last value as a hint."""
    before = f"last {bay.shown(field.name, last[field.name], meter)}" if field.name in last else ""
    key = f"m_{field.name}_{unit}_{form_number()}"
    if key not in st.session_state and draft.get(field.name):
        st.session_state[key] = draft[field.name]
    where = f" ({field.where})" if field.where else ""
    return st.text_input(
        f"{field.label}, {bay.unit_of(field.name, meter)}{where}",
        key=key,
        placeholder=before,
        max_chars=20,
        live="600ms",
    )


def form_number() -> int:
    """Number of the form on the screen: a new one after every save, so that its fields are empty."""
    return int(st.session_state.get("form", 0))


def drafts() -> dict[str, dict[str, Any]]:
    """Drafts of this device, by vehicle; kept in this visit as long as the browser has not told its number."""
    kept = device.remembered().get("drafts") or st.session_state.get("drafts")
    return dict(kept) if isinstance(kept, Mapping) else {}


def draft_of(unit: str) -> dict[str, str]:
    """What was typed for this vehicle and not saved yet."""
    mine = drafts().get(unit, {})
    values = mine.get("values", {}) if isinstance(mine, Mapping) else {}
    return {str(k): str(v) for k, v in values.items()} if isinstance(values, Mapping) else {}


def keep_draft(unit: str, values: Mapping[str, str]) -> None:
    """Keep what was typed, under one entry number, so that sending it twice stores it once."""
    kept = drafts()
    if values:
        entry_id = kept.get(unit, {}).get("entry_id") or uuid.uuid4().hex
        kept = {**{u: d for u, d in kept.items() if u != unit}, unit: {"entry_id": entry_id, "values": dict(values)}}
    else:
        kept.pop(unit, None)
    kept = dict(list(kept.items())[-DRAFTS_KEPT:])
    st.session_state["drafts"] = kept
    device.remember(drafts=kept)


# --- before saving, and saving ---------------------------------------------------------------------------------------


def look(facts: one_unit.Facts, typed: Mapping[str, str], meter: bay.Meter) -> Entry | None:
    """Say at once whether the values can be right, how they compare, and what to measure next."""
    if not any(name not in ("note", "odometer_km", "temperature_c") for name in typed):
        st.caption("Type what the meter shows; comma or point, as you like. Leave empty what you did not measure.")
        return None
    try:
        with session.database() as db:
            entry = check_reading(db, bay.values_of(str(facts.unit["unit"]), typed, meter), now=session.now())
    except (IngestError, ValueError) as error:
        st.error(safe(error))
        return None
    st.subheader("Before you save")
    for problem in entry.problems:
        st.error(safe(bay.spoken(problem)), icon=":material/block:")
    if entry.problems:
        st.caption("This cannot be saved as it is: correct the value, or empty the field.")
        return entry
    for doubt in entry.doubts:
        st.warning(f"{safe(bay.spoken(doubt))} It can be saved; it will be kept but not used.",
                   icon=":material/help:")  # fmt: skip
    for remark in entry.remarks:
        st.caption(safe(bay.spoken(remark)))
    check = bay.taken_apart(facts, entry)
    lines = bay.comparisons(facts, entry, check)
    marks = {"act": "over the limit", "watch": "watch", "pass": "good"}
    lead = {verdict: f"{theme.SIGNS[verdict]} **{said}** " for verdict, said in marks.items()}
    st.markdown("\n".join(f"- {lead.get(line.verdict, '')}{safe(line.sentence)}" for line in lines))
    says(check)
    for finding in check.findings[: reading_sheet.MOST_FINDINGS]:
        st.markdown(f"**Points to the {safe(words(finding.segment))}:** {safe(finding.sentence)}")
    following = bay.measure_next(check, entry)
    if following:
        st.markdown(f"**Measure next:** {safe(following)}")
    else:
        st.markdown("**Measure next:** nothing; this is enough.")
    return entry


def says(check: ReadingCheck) -> None:
    """Whether the values fit, the battery's charge, and the resistances; short enough for a phone."""
    in_f = session.fahrenheit()
    one_unit.show_fit(check, fahrenheit=in_f)
    with st.expander(f"Resistances at {temperature(20.0, fahrenheit=in_f)}", expanded=True):
        table = reading_sheet.identified_table(check)
        known = table[table["this reading"] != reading_sheet.NOT_IDENTIFIED]
        if len(known):
            st.table(known)
            downloads.table_button(known.reset_index(), "this-reading", key="this_reading")
        for text in (*reading_sheet.not_identified(check), *reading_sheet.assumed_words(check)):
            st.caption(safe(reading_sheet.for_reader(text, fahrenheit=in_f), longest=600))
    with st.expander("Every check by its printed limit"):
        said = [reading_sheet.for_reader(text, fahrenheit=in_f) for text in reading_sheet.limit_words(check)]
        st.markdown("\n".join(f"- {safe(text, longest=600)}" for text in said))


def save(facts: one_unit.Facts, typed: Mapping[str, str], meter: bay.Meter, entry: Entry | None) -> None:
    """Save the reading; the draft goes only when the database has it."""
    unit = str(facts.unit["unit"])
    if not st.button(
        "Save reading", type="primary", width="stretch", key="save", disabled=entry is None or bool(entry.problems)
    ):
        return
    values = bay.values_of(unit, typed, meter) | {"technician": session.who()}
    try:
        with session.database() as db:
            done = record_reading(
                db, values, by=session.who(), now=session.now(), entry_id=drafts().get(unit, {}).get("entry_id"),
                device=device.number(),
            )  # fmt: skip
    except (IngestError, ValueError) as error:
        st.error(f"{safe(error)} Nothing is lost: what you typed stays here.")
        return
    if not done.stored and not done.known:
        for problem in done.problems:
            st.error(safe(bay.spoken(problem)))
        return
    st.session_state["form"] = form_number() + 1
    keep_draft(unit, {})
    st.session_state["saved_note"] = (unit, done.known)
    st.rerun()


def saved_note() -> None:
    """Say what was saved, once."""
    note = st.session_state.pop("saved_note", None)
    if note is None:
        return
    unit, known = note
    st.success(f"{safe(unit)}: {'this reading was saved before' if known else 'reading saved'}. "
               "It counts in the judgement from tomorrow.", icon=":material/check_circle:")  # fmt: skip
    with st.container(horizontal=True):
        st.page_link(page("unit"), label="See the vehicle", query_params={"unit": unit})
        st.page_link(page("work"), label="Record a repair or correct a value", query_params={"unit": unit})


show()
