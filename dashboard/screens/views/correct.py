"""Saved mistakes put right: a reading, a repair, a decision or the report of a visit corrected, moved, withdrawn, put back; a vehicle
corrected."""

from typing import Any

import pandas as pd
import streamlit as st

from dashboard.desk import weekly
from dashboard.desk.planning import named
from dashboard.desk.rights import act_of_row
from dashboard.screens import bay, columns, downloads, kept, one_unit, reception, session
from dashboard.screens.pages import IN_ADDRESS, page
from dashboard.screens.picker import with_unit
from dashboard.words import every_page
from dashboard.words import record_words as say
from dashboard.words.plain_text import day, safe, temperature, words
from dashboard.words.reasons import OUTCOME_WORDS
from dashboard.words.visit_words import closed_words
from ingest import corrections
from ingest.fields import FOUND, PARTS, QUANTITIES, TABLES, UNITS, VEHICLE
from ingest.records import DECISIONS, read_decisions
from ingest.visits import read_visits

BY_HAND: dict[str, dict[str, tuple[str, ...]]] = {
    "decision": {"kind": DECISIONS},
    "visit": {"found": FOUND, "other_part": ("", *PARTS)},
}
"""Word -> what the columns may hold of rows that come from no file."""
SEEN = "correct_seen"  # the rows that were shown, with what stood in them
ROWS_OFFERED = 400  # latest rows of a vehicle that can be chosen, our choice


def show(unit: str) -> None:
    kept.told("correct", unit)
    st.markdown(f"**{safe(unit)}**")
    word = st.pills(
        say.WHAT_PUT_RIGHT, [*corrections.KINDS, VEHICLE], default="reading", key="what", bind=IN_ADDRESS,
        format_func=say.KIND_WORDS.__getitem__,
    ) or "reading"  # fmt: skip
    if word == VEHICLE:
        vehicle(unit)
        return
    rows = rows_of(unit, word)
    if rows:
        chosen = st.selectbox(
            say.WHICH, list(rows), format_func=rows.__getitem__, key=f"which_{word}_{unit}"
        )  # fmt: skip
        one(unit, word, int(chosen or next(iter(rows))))
    else:
        st.write(say.NONE_ON_RECORD.format(kind=say.KIND_WORDS[word]))
    withdrawn(unit)


def vehicle(unit: str) -> None:
    """What a file said of the vehicle itself; undone in the logbook."""
    with session.database() as db:
        row = {name: value for name, value in corrections.vehicle_of(db, unit).items() if name != "unit"}
    key = f"{VEHICLE}_{unit}_{hash(tuple(row.values()))}"
    say_lost(f"{VEHICLE}_{unit}", row, key)
    changes = fields(VEHICLE, row, key)
    reason = st.text_input(say.WHY_CORRECTED, max_chars=200, key=f"because_{VEHICLE}_{unit}")
    off = not (changes and reception.may(act_of_row(VEHICLE)))
    if st.button(say.SAVE_CORRECTION, type="primary", width="stretch", key="save_correction", disabled=off):
        kept.changed(
            "correct", unit, say.CORRECTED, corrections.correct, VEHICLE, unit, changes, reason=reason, forget=SEEN
        )
    st.caption(say.UNDONE_IN_LOGBOOK)
    st.page_link(page("logbook"), label=say.LOGBOOK_OF_THIS, query_params={"unit_is": unit})


def rows_of(unit: str, word: str) -> dict[int, str]:
    """What can be put right of a vehicle, the latest first: number, and the words for it."""
    if word == "decision":
        made = session.read(read_decisions)
        own = made[made["unit"] == unit].iloc[::-1].head(ROWS_OFFERED).to_dict("records")
        return {int(d["id"]): f"{d['id']}: {weekly.decision_words(d)} ({d['by']})" for d in own}
    if word == "visit":
        told = session.read(read_visits)
        mine = told[told["unit"] == unit].iloc[::-1].head(ROWS_OFFERED).to_dict("records")
        return {int(v["visit_id"]): f"{v['visit_id']}: {closed_words(v)} ({v['by']})" for v in mine}
    facts = one_unit.facts(unit)
    if word == "repair":
        done = facts.repairs.iloc[::-1].head(ROWS_OFFERED).to_dict("records")
        return {int(r["repair_id"]): f"{r['repair_id']}: {day(r['done_on'])} {weekly.work_words(r)}" for r in done}
    read = facts.readings.iloc[::-1].head(ROWS_OFFERED).to_dict("records")
    return {
        int(r["reading_id"]): f"{r['reading_id']}: {r['taken_at']:%Y-%m-%d %H:%M}"
        + (f", {OUTCOME_WORDS.get(str(r['outcome']), r['outcome'])}" if r["outcome"] else "")
        + (say.DOUBTFUL if r["doubtful"] else "")
        for r in read
    }


# --- one row ---------------------------------------------------------------------------------------------------------


def one(unit: str, word: str, chosen: int) -> None:
    with session.database() as db:
        row = corrections.row_of(db, word, chosen)
        changed_before = corrections.changes_of(db, word, chosen)
    key = f"{word}_{chosen}_{len(changed_before)}"
    say_lost(f"{word}_{chosen}", row, key)
    changes = fields(word, row, key)
    reason = st.text_input(say.WHY_CORRECTED, max_chars=200, key=f"because_{word}_{chosen}")
    mine = reception.may(act_of_row(word))
    off = not (changes and mine)
    if st.button(say.SAVE_CORRECTION, type="primary", width="stretch", key="save_correction", disabled=off):
        kept.changed(
            "correct", unit, say.CORRECTED, corrections.correct, word, chosen, changes, reason=reason, forget=SEEN
        )
    if mine:
        withdraw(unit, word, chosen)
    if len(changed_before):
        st.markdown(say.CHANGED_BEFORE)
        shown = changed_before.drop(columns="change")
        columns.show(
            shown.assign(at=columns.moments(shown["at"]), column=[label_of(name) for name in shown["column"]]),
            alt=say.CHANGES_ALT.format(kind=say.KIND_WORDS[word]), key=f"changes_{key}", placeholder=say.NOTHING,
        )  # fmt: skip
        downloads.table_button(shown, f"changes-{word}-{chosen}", key="corrections")
        st.caption(say.UNDONE_IN_LOGBOOK)
        st.page_link(page("logbook"), label=say.LOGBOOK_OF_THIS, query_params={"unit_is": unit})


def withdraw(unit: str, word: str, chosen: int) -> None:
    with st.popover(say.WITHDRAW_OPENS.format(kind=say.KIND_WORDS[word]), key=f"withdraw_{word}_{chosen}"):
        its = say.WITH_IT_GO if word == "visit" else ""
        st.caption(say.COUNTS_NO_MORE.format(with_it=its))
        reason = st.text_input(say.WHY_WITHDRAWN, max_chars=200, key=f"withdraw_why_{word}_{chosen}")
        if st.button(say.WITHDRAW, type="primary", key="withdraw_now"):
            words = say.WITHDRAWN_NOW.format(kind=say.KIND_WORDS[word])
            kept.changed("correct", unit, words, corrections.withdraw, word, chosen, reason=reason)


def withdrawn(unit: str) -> None:
    """What was withdrawn of this vehicle, each with a button that puts it back."""
    gone = session.read(corrections.withdrawn_of, unit)
    if not gone:
        return
    st.subheader(say.WITHDRAWN)
    offered: set[int] = set()
    for row in gone:
        what: Any = row["row"]
        taken, other = what.get("taken_at"), what.get("done_on") or what.get("iso_week")
        of = f"{day(taken)}, {pd.Timestamp(taken):%H:%M}" if taken else day(other) if what.get("done_on") else other
        with st.container(horizontal=True, vertical_alignment="center"):
            st.caption(
                say.WITHDRAWN_LINE.format(
                    kind=say.KIND_WORDS[str(row["word"])].capitalize(),
                    number=row["number"],
                    moment=safe(of),
                    day=day(row["at"]),
                    by=safe(named(row["by"])),
                    reason=safe(row["reason"]),
                )
            )
            change = int(str(row["change"]))
            back = kept.Kept("correct", unit, "", change=change, again=True)
            if change not in offered and session.may(kept.act_of(back)):  # one click puts back all that went with it
                st.button(say.PUT_BACK, key=f"back_{change}", on_click=kept.take_back, args=(back,))
            offered.add(change)


# --- fields ----------------------------------------------------------------------------------------------------------


def say_lost(about: str, row: dict[str, Any], key: str) -> None:
    """Say what was typed over values that somebody else has changed since, as the fields begin anew with what is on record."""
    seen = session.held().setdefault(SEEN, {})
    key_before, shown = seen.get(about, (key, {}))
    seen[about] = key, {name: typed(name, value) for name, value in row.items()}
    if key_before == key:
        return
    texts = {name: str(st.session_state.get(f"c_{name}_{key_before}", stored)) for name, stored in shown.items()}
    lost = [f"{label_of(name)}: {text}" for name, text in texts.items() if text.strip() != shown[name]]
    if lost:
        st.warning(safe(say.CHANGED_MEANWHILE.format(typed="; ".join(lost))))


def fields(word: str, row: dict[str, Any], key: str) -> dict[str, object]:
    """A field for every column with the stored value, of a reading what it does not hold folded away; those that differ now, by
    column."""
    folded = [name for name in row if name in QUANTITIES and not typed(name, row[name])]
    changes = shown_fields(word, {name: value for name, value in row.items() if name not in folded}, key)
    if folded:
        with st.expander(say.NOT_MEASURED, key=f"not_measured_{key}"):
            changes |= shown_fields(word, {name: row[name] for name in folded}, key)
    return changes


def shown_fields(word: str, row: dict[str, Any], key: str) -> dict[str, object]:
    changes: dict[str, object] = {}
    for name, value in row.items():
        stored = typed(name, value)
        label, choices = label_of(name), choices_of(word, name)
        if choices:
            every = list(dict.fromkeys([stored, *choices]))
            said = str if name == "unit" else lambda one: say.CHOICE_WORDS.get(one, one)
            new = st.selectbox(label, every, format_func=said, key=f"c_{name}_{key}")
        else:
            new = st.text_input(label, value=stored, max_chars=500, key=f"c_{name}_{key}").strip()
        if new is not None and new != stored:
            in_f = name == "temperature_c" and session.fahrenheit()
            changes["temperature_f" if in_f else name] = new.replace("−", "-")
    return changes


def typed(name: str, value: object) -> str:
    if value is None:
        return ""
    if name == "temperature_c" and isinstance(value, float) and session.fahrenheit():
        return temperature(value, fahrenheit=True).removesuffix(" °F").replace("−", "-")
    if isinstance(value, float):
        return f"{value:.10g}"
    return str(value).replace("T", " ") if name == "taken_at" else str(value)


def label_of(name: str) -> str:
    if name not in QUANTITIES:
        return say.LABELS.get(name, words(name))
    unit = "°F" if name == "temperature_c" and session.fahrenheit() else bay.unit_of(name, bay.Meter())
    return f"{bay.LABELS.get(name, name)}, {unit}"


def choices_of(word: str, name: str) -> list[str]:
    """The words that a column may hold; none where anything may be typed."""
    if name == "unit":
        return [str(unit) for unit in session.units()["unit"]]
    if word in BY_HAND:
        return list(BY_HAND[word].get(name, ()))
    column = (UNITS if word == VEHICLE else TABLES[corrections.kind_of(word).table]).column(name)
    return [*([] if column.required or not column.choices else [""]), *column.choices]


with_unit(every_page.PAGES["correct"], show)
