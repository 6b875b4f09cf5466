"""In the bay: choose the vehicle, type what the meter shows, see at once whether it can be right, save at the thumb."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import timedelta

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from analysis.bay.one_reading import ReadingCheck
from dashboard.charts import theme
from dashboard.desk.in_order import STEPS, fields_today
from dashboard.desk.reading_source import latest_trusted
from dashboard.desk.rights import Act
from dashboard.screens import (
    acts,
    bay,
    columns,
    device,
    downloads,
    drafts,
    kept,
    one_unit,
    pictures,
    reception,
    session,
    trace_panel,
)
from dashboard.screens.caution import caution
from dashboard.screens.issued import issued_row, newest_issued
from dashboard.screens.pages import page
from dashboard.screens.picker import with_unit
from dashboard.words import bay_words as say
from dashboard.words import every_page, reading_sheet, trace_words
from dashboard.words.finding_words import finding_sentence
from dashboard.words.plain_text import day, safe, temperature, whole, words
from dashboard.words.reasons import OUTCOME_WORDS
from ingest.entries import Entry, check_reading, record_reading
from ingest.errors import IngestError
from ingest.fields import OF_A_TRACE, QUANTITIES, Quantity

SIGNS = {**theme.SIGNS, bay.DOUBT: "?", bay.WRONG: "✕"}


@dataclass(frozen=True)
class Form:
    """What stands in the form: typed text by field, what is outside the fields, and a place beside every field."""

    unit: str
    typed: dict[str, str]
    beside: dict[str, DeltaGenerator]
    twice: frozenset[str]


def show(unit: str) -> None:
    if device.awaited():
        return
    facts = one_unit.facts(unit)
    about(facts)
    if one_unit.said_left(facts, session.today() - timedelta(days=1)):  # on its last day it is read still
        return
    caution(unit)
    entered, where, units = st.container(), st.container(), st.container()
    with units:
        meter = choose_meter()
    with entered:
        form = fields(facts, meter)
    with where:
        pictures.leads(facts, form.typed, tuple(form.beside))
    told, bar = st.container(key="told"), st.container(key="savebar")  # there at once, so that the bar never blinks
    with told:
        entry, check = judged(facts, form, meter)
        lines = beside_fields(facts, form, meter, entry, check)
        if entry is not None and check is not None:
            details(facts, entry, check)
    with bar:
        question = st.container(key="whose")
        at_the_thumb(form, meter, entry, check, lines)
        if entry is not None:
            with question:  # last, because other vehicles may have to be worked out for it
                wrong_vehicle(facts, form, entry)


def who_measures() -> None:
    """The name that goes on record with the reading: asked once on a device, then shown.

    The box stays until the page is opened anew, so that nothing moves under the finger that leaves it.
    """
    name = session.who_is_named()
    if session.looking().account:
        st.caption(safe(name))
        return
    if device.awaited():
        return
    if session.held().setdefault("asked_here", not name):
        acts.name_box(say.YOUR_NAME_ONCE, "who_bay")
    else:
        with st.popover(safe(name) or say.YOUR_NAME_IF, icon=":material/person:", key="who_here"):
            acts.name_box(say.YOUR_NAME_IF, "who_bay")


def about(facts: one_unit.Facts) -> None:
    unit = facts.unit
    last = facts.readings["taken_at"].max() if len(facts.readings) else None
    read = say.LAST_READ.format(day=day(last)) if last is not None else say.NEVER_READ
    st.markdown(f"**{safe(unit['unit'])}** · {safe(words(str(unit['vehicle_class'])))} · {unit['system_v']} V · {read}")


def choose_meter() -> bay.Meter:
    meter = bay.meter_of(device.remembered(), fahrenheit=session.fahrenheit())
    with st.expander(say.METER_UNITS, key="meter_units", on_change="rerun"):  # the same label keeps it open
        shows = st.empty()
        fahrenheit = st.segmented_control(say.TEMPERATURE, ["°C", "°F"], default="°F" if meter.fahrenheit else "°C",
                                          key="meter_t") == "°F"  # fmt: skip
        drops = st.segmented_control(say.DROPS, ["V", "mV"], default="mV" if meter.drops_mv else "V",
                                     key="meter_d") == "mV"  # fmt: skip
        large = clamp(say.LARGE_CLAMP, "large", meter.large_clamp_mv_per_a, bay.LARGE_CLAMP)
        small = clamp(say.SMALL_CLAMP, "small", meter.small_clamp_mv_per_a, bay.SMALL_CLAMP)
        miles = st.segmented_control(say.ODOMETER, ["km", "mi"], default="mi" if meter.miles else "km",
                                     key="meter_o") == "mi"  # fmt: skip
        load = st.number_input(
            say.TESTER_LOAD, *QUANTITIES["tester_load_ohm"].range_12, meter.tester_load_ohm,
            key="meter_load", format="%g", placeholder=say.TESTER_LOAD_HINT,
        )  # fmt: skip
    chosen = bay.Meter(fahrenheit, drops, large, small, miles, None if load is None else float(load))
    shows.caption(say.IT_SHOWS.format(units=meter_words(chosen)))
    if chosen != meter:
        device.remember(meter=vars(chosen))
    return chosen


def meter_words(meter: bay.Meter) -> str:
    clamp_words = "A" if meter.large_clamp_mv_per_a is None else say.MV_AT.format(scale=meter.large_clamp_mv_per_a)
    return say.METER_SHOWS.format(
        degrees="°F" if meter.fahrenheit else "°C", drops="mV" if meter.drops_mv else "V", clamp=clamp_words
    )


def clamp(label: str, key: str, scale: float | None, usual: float) -> float | None:
    """Whether a clamp is read in amps or in millivolts, and its scale."""
    shows = st.segmented_control(
        say.CLAMP_SHOWS.format(clamp=label), ["A", "mV"], default="A" if scale is None else "mV", key=f"meter_{key}"
    )
    if shows != "mV":
        return None
    chosen = st.number_input(
        say.CLAMP_SCALE.format(clamp=label), 0.01, 10_000.0, scale or usual, key=f"scale_{key}", format="%g"
    )
    return float(chosen)


# --- fields and their draft ------------------------------------------------------------------------------------------


def fields(facts: one_unit.Facts, meter: bay.Meter) -> Form:
    """The fields; what was typed is kept as a draft of this device and vehicle."""
    unit = str(facts.unit["unit"])
    draft = drafts.values_of(unit)
    last, _ = latest_trusted(facts.readings)
    typed: dict[str, str] = {}
    beside: dict[str, DeltaGenerator] = {}

    def draw(names: Collection[str]) -> None:
        for name in names:
            if name == OF_A_TRACE[0]:  # above what a trace tells, below what it does not
                trace_panel.offer(facts.unit, meter, form_number())
            typed[name] = one_field(QUANTITIES[name], unit, draft, last, meter)
            beside[name] = st.container(key=f"beside_{name}")

    def draw_steps(names: Collection[str]) -> None:
        for step, mine in STEPS:
            if now := [name for name in mine if name in names]:
                st.markdown(f"**{step}**")
                draw(now)

    suspect = suspected(unit)
    first = fields_today(suspect, last)
    rest = {name for _, names in STEPS for name in names} - set(first)
    st.markdown(f"**{say.today_words(first, suspect, never=bool(last) and not set(first) <= set(last))}**")
    with st.container(key="measured"):
        draw_steps(first)
        with st.expander(say.THE_REST, expanded=bool(rest & set(draft)), key=f"rest_{unit}"):
            draw_steps(rest)
    seldom = [name for name, field in QUANTITIES.items() if field.seldom]
    with st.expander(say.SELDOM, expanded=bool({*seldom} & set(draft))):
        draw(seldom)
        for name, asked, said in (
            ("outcome", every_page.HOW_STARTED, OUTCOME_WORDS), ("jumper_start", say.JUMPER, say.JUMPER_WORDS),
        ):  # fmt: skip
            typed[name] = st.pills(
                asked, list(said), format_func=said.__getitem__, key=f"{name}_{unit}_{form_number()}",
                default=draft.get(name) if draft.get(name) in said else None,
            ) or ""  # fmt: skip
        typed["note"] = st.text_input(
            every_page.REMARK, value=draft.get("note", ""), max_chars=300, key=f"note_{unit}_{form_number()}"
        )
    if draft.get("instrument") and any(typed[name].strip() for name in OF_A_TRACE):
        typed["instrument"] = draft["instrument"]
        st.caption(trace_words.FILLED.format(safe(draft["instrument"])))
    if draft.get("lowest_is") and typed["crank_min_v"].strip() == draft.get("crank_min_v"):  # another value is typed
        typed["lowest_is"] = draft["lowest_is"]
        st.caption(trace_words.SAMPLED_WORDS)
    kept = {name: text for name, text in typed.items() if text.strip()}
    twice = {name: text for name, text in kept.items() if name in bay.LABELS and is_twice(unit, name, text)}
    if kept != draft or twice != drafts.twice_of(unit):
        drafts.keep(unit, kept, twice)
    return Form(unit, kept, beside, frozenset(twice))


def suspected(unit: str) -> str:
    """The part under which the vehicle stands on the newest list issued; "" where it stands on none."""
    issued = newest_issued(session.as_of())
    row = issued_row(issued, unit) if issued is not None else None
    return str(row["part"] or "") if row else ""


def one_field(field: Quantity, unit: str, draft: Mapping[str, str], last: Mapping[str, float], meter: bay.Meter) -> str:
    """One field with its unit, where to measure, and the last value as a hint."""
    key = f"m_{field.name}_{unit}_{form_number()}"
    if key not in st.session_state and draft.get(field.name):
        st.session_state[key] = draft[field.name]
    return st.text_input(
        bay.asked(field.name, meter),
        key=key,
        placeholder=bay.last_words(field.name, last, meter),
        max_chars=20,
        live="600ms",
    )


def form_number() -> int:
    """Number of the form on the screen: a new one after every save, so that its fields are empty."""
    return int(session.held().get("form", 0))


def twice_key(unit: str, name: str, text: str) -> str:
    """The tick beside a field belongs to the text that stands in it: another text was not measured twice."""
    return f"twice_{name}_{text}_{unit}_{form_number()}"


def is_twice(unit: str, name: str, text: str) -> bool:
    """Whether it was ticked, now or before the page was loaded again, that the value was measured twice."""
    key = twice_key(unit, name, text)
    return bool(st.session_state[key]) if key in st.session_state else drafts.twice_of(unit).get(name) == text


# --- before saving ---------------------------------------------------------------------------------------------------


def judged(facts: one_unit.Facts, form: Form, meter: bay.Meter) -> tuple[Entry | None, ReadingCheck | None]:
    """What would become of the reading, and what it says; None where nothing or nothing believable was typed."""
    if not any(name not in ("note", "odometer_km", "temperature_c") for name in form.typed):
        return None, None
    try:
        with session.database() as db:
            values = bay.values_of(form.unit, form.typed, meter)
            entry = check_reading(db, values, now=session.now(), confirmed=form.twice)
    except (IngestError, ValueError) as error:
        st.error(safe(error))
        return None, None
    return entry, None if entry.problems else one_unit.taken_apart(facts, entry.as_reading()).check


def beside_fields(
    facts: one_unit.Facts, form: Form, meter: bay.Meter, entry: Entry | None, check: ReadingCheck | None
) -> dict[str, list[bay.Line]]:
    """Say beside every field its limit and last value, and what the value typed there comes to."""
    celsius = entry.values.get("temperature_c") if entry else None
    limits = one_unit.limits_shown(
        facts, temperature_c=celsius if isinstance(celsius, float) else None, fahrenheit=meter.fahrenheit,
        drops_mv=meter.drops_mv,
    )  # fmt: skip
    lines = bay.field_lines(facts, form.typed, entry, check, meter, limits)
    asked = set() if entry is None else bay.to_confirm(form.typed, entry, check, meter)
    for name, said in lines.items():
        with form.beside[name]:
            calm = all(line.verdict in ("", bay.PASS) for line in said)
            for line in said:  # small print alone may stand close under its field
                (st.caption if calm else st.markdown)(in_words(line))
            if name in asked | form.twice:
                key = twice_key(form.unit, name, form.typed[name])
                st.checkbox(say.TWICE, value=name in form.twice, key=key)
    return lines


def in_words(line: bay.Line) -> str:
    """A verdict with its sign, then the sentence."""
    lead = f"{SIGNS[line.verdict]} **{bay.SAID[line.verdict]}:** " if line.verdict else ""
    return f"{lead}{whole(safe(line.sentence))}"


def details(facts: one_unit.Facts, entry: Entry, check: ReadingCheck) -> None:
    """What the values say together: remarks, whether they fit, resistances, what they point to."""
    st.subheader(say.BEFORE_SAVING)
    for remark in entry.remarks:
        st.caption(safe(bay.spoken(remark)))
    pictures.volts_typed(facts, entry.as_reading(), check)
    says(check)
    for line in reading_sheet.before_words(check):
        st.caption(line)
    for finding in check.findings[: reading_sheet.MOST_FINDINGS]:
        lead = reading_sheet.SEGMENT_WORDS[finding.segment]
        st.markdown(f"**{lead}:** {one_unit.for_reader(finding_sentence(finding))}")


def says(check: ReadingCheck) -> None:
    """Whether the values fit, the battery's charge, and the resistances; short enough for a phone."""
    one_unit.show_fit(check)
    at = temperature(20.0, fahrenheit=session.fahrenheit())
    with st.expander(say.RESISTANCES_AT.format(temperature=at), expanded=True):
        table = reading_sheet.identified_table(check)
        known = table[table[reading_sheet.READ].notna()]
        if len(known):
            st.table(columns.in_words(known, cells=reading_sheet.identified_words(known)))
            downloads.table_button(known.reset_index(), "this-reading", key="this_reading")
        one_unit.show_unidentified(check)
    one_unit.show_limits(check)


def wrong_vehicle(facts: one_unit.Facts, form: Form, entry: Entry) -> None:
    """Ask whether the values are another vehicle's, with the likely ones; a question, whatever the answer."""
    asked_of = drafts.entry_id(form.unit)
    if not session.looking().may_read:  # other vehicles are not named to the holder of a code
        return
    if "taken_at" not in entry.values or session.held().get("own_vehicle") == asked_of:
        return
    found = one_unit.whose_reading(facts, entry.as_reading())
    if not found.asked:
        return
    units = session.units()
    system_v = dict(zip(units["unit"].tolist(), units["system_v"].tolist(), strict=True))
    st.markdown(f"**{safe(reading_sheet.whose_words(form.unit, found, system_v))}**")
    with st.container(horizontal=True):
        for other, _ in found.likely:
            if st.button(say.IT_IS.format(unit=safe(other)), key=f"whose_{other}"):
                drafts.hand_over(form.unit, other)
                st.query_params["unit"] = other
                st.rerun()
        if st.button(say.IT_IS.format(unit=safe(form.unit)), key="whose_own"):
            session.held()["own_vehicle"] = asked_of
            st.rerun()


# --- at the thumb ----------------------------------------------------------------------------------------------------


def at_the_thumb(
    form: Form, meter: bay.Meter, entry: Entry | None, check: ReadingCheck | None, lines: dict[str, list[bay.Line]]
) -> None:
    """The reading in one line, what to measure next, and the button; after it, what became of the reading."""
    if not form.typed and saved_note(form.unit):
        return
    if entry is None:
        st.caption(say.TYPE)
    else:
        st.markdown(in_words(bay.summary(lines, entry)))
        for problem in entry.problems:
            if not bay.columns_in(problem, meter) & set(form.typed):
                st.markdown(in_words(bay.Line(bay.WRONG, bay.spoken(problem))))
    if entry is not None and check is not None:
        following = bay.measure_next(check, entry) or say.ENOUGH
        st.markdown(every_page.MEASURE_NEXT.format(what=safe(following)))
    if reception.may(Act.RECORD, form.unit) and st.button(
        say.SAVE, type="primary", width="stretch", key="save", disabled=entry is None or bool(entry.problems)
    ):
        save(form, meter)


def save(form: Form, meter: bay.Meter) -> None:
    """Save the reading; the draft goes only when the database has it."""
    by, number = session.who(), form_number()
    values = bay.values_of(form.unit, form.typed, meter) | {"technician": by}
    try:
        with session.database(Act.RECORD, unit=form.unit) as db:
            done = record_reading(
                db, values, by=by, now=session.now(), entry_id=drafts.entry_id(form.unit), device=device.number(),
                confirmed=form.twice,
            )  # fmt: skip
            if done.stored or done.known:
                name = by if session.who_is_named() else ""
                note = {"unit": form.unit, "by": name, "known": done.known, "reading_id": done.row_id}
                session.held().update(form=number + 1, saved_note=note)
                drafts.keep(form.unit, {})
                st.rerun()
            kept.refused(done.problems)
    except (IngestError, ValueError) as error:
        st.error(say.NOT_LOST.format(error=safe(error)))


def saved_note(unit: str) -> bool:
    """Say what was saved, until something is typed again; whether there was anything to say."""
    note = session.held().get("saved_note")
    if not isinstance(note, dict) or note["unit"] != unit:
        return kept.told("bay", unit)
    by = say.MEASURED_BY.format(who=note["by"]) if note["by"] else say.WITHOUT_NAME
    what = say.SAVED_BEFORE if note["known"] else say.SAVED.format(by=by)
    st.success(say.SAVED_COUNTS.format(unit=safe(unit), what=safe(what)),
               icon=":material/check_circle:")  # fmt: skip
    with st.container(horizontal=True, vertical_alignment="center", key="saved_next"):
        if not note["known"]:
            saved = kept.Kept("bay", unit, "", "reading", int(note["reading_id"]), act=Act.RECORD)
            st.button(every_page.UNDO, key="undo_saved", icon=":material/undo:", on_click=undo_saved, args=(saved,))
        if not session.looking().may_read:
            return True
        st.page_link(page("unit"), label=say.SEE, query_params={"unit": unit})
        st.page_link(page("correct"), label=say.CORRECT, query_params={"unit": unit})
        st.page_link(page("work"), label=say.RECORD_REPAIR, query_params={"unit": unit})
    return True


def undo_saved(saved: kept.Kept) -> None:
    session.held().pop("saved_note", None)
    kept.take_back(saved)


with_unit(every_page.PAGES["bay"], show, who_measures)
