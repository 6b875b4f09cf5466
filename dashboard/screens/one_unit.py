"""Everything on record about one vehicle, gathered for its page, its bay sheet and the bay screen."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import pandas as pd
import streamlit as st

from analysis.bay.expected import ClassKnowledge, Expected, class_usual, hardly_read, usual_crank_a
from analysis.bay.one_reading import ReadingCheck
from analysis.bay.whose import Vehicle, Whose, odometer_at
from analysis.circuit.limit_book import LimitBook
from analysis.circuit.limits import Limits
from analysis.readings.panel import doubted
from analysis.worklist.assess import Assessment
from analysis.worklist.course import LIMIT_OF, PartCourse, cold_course, part_course, printed_limit, season_course
from analysis.worklist.part import PART_CHANNEL
from dashboard.desk.assessment import known_climate
from dashboard.desk.habits import USUAL, Habits
from dashboard.desk.own_limits import limit_book
from dashboard.desk.reading_source import (
    MEASURED_BY,
    Taken,
    class_name,
    expect,
    knowledge_from,
    knowledge_of,
    latest_trusted,
    limits_for,
    row_of,
    take_apart,
    whose,
)
from dashboard.files.paper import BayUnit
from dashboard.screens import columns, session
from dashboard.screens.pages import page
from dashboard.words import chart_words, every_page, reading_sheet
from dashboard.words import vehicle_words as say
from dashboard.words.heads import head
from dashboard.words.limit_lines import limit_lines
from dashboard.words.plain_text import day as day_words
from dashboard.words.plain_text import fahrenheit_of, safe
from dashboard.words.reasons import OUTCOME_WORDS
from ingest import store
from ingest.fields import KM_PER_MILE, MEASUREMENTS, QUANTITIES, SAMPLED
from ingest.records import read_reset_answers
from ingest.set_aside import list_set_aside

CLASSES_KEPT, UNITS_KEPT = 16, 64  # classes and vehicles of which a server keeps what is expected, our choice


@dataclass(frozen=True)
class Facts:
    """A vehicle's row of the vehicles, its readings (oldest first), its repairs and its open set-aside rows."""

    unit: Mapping[Any, Any]
    readings: pd.DataFrame
    repairs: pd.DataFrame
    set_aside: pd.DataFrame


def facts(unit: str) -> Facts:
    """Read what is on record about `unit`; ValueError for a vehicle that is not there."""
    row = row_of(session.units(), unit)
    with session.database() as db:
        readings = store.read_readings(db, units=[unit])
        repairs = store.read_repairs(db)
        aside = list_set_aside(db)
    return Facts(row, readings, repairs[repairs["unit"] == unit], aside[aside["unit"] == unit])


def said_left(own: Facts, day: date) -> bool:
    """Whether the vehicle is out of service on a day, and where it is, that it is said, with the way to put it right."""
    left = own.unit["out_of_service"]
    if pd.isna(left) or left > pd.Timestamp(day):
        return False
    unit = str(own.unit["unit"])
    st.info(every_page.LEFT_SERVICE.format(unit=safe(unit), day=day_words(left)), icon=":material/garage:")
    if session.looking().may_read:
        st.page_link(page("correct"), label=say.CORRECT_VEHICLE, query_params={"unit": unit, "what": "vehicle"})
    return True


def answered(unit: str) -> dict[tuple[str, date], tuple[str, str]]:
    """Questions about unrecorded renewals that were answered: part and day -> the answer, and who gave it."""
    answers = session.read(read_reset_answers)
    mine = answers[answers["unit"] == unit].to_dict("records")
    return {(str(a["part"]), a["around_on"].date()): (str(a["answer"]), str(a["by"])) for a in mine}


def course(assessment: Assessment, unit: str, part: str, limits: Limits) -> tuple[PartCourse, float | None]:
    """The course of a part, and the printed limit as a resistance [mΩ] where there is one."""
    own = part_course(assessment, unit, part)
    channel = PART_CHANNEL[part]
    if channel not in LIMIT_OF:
        return own, None
    state = assessment.state
    row = int((state.panel.units["unit"] == unit).to_numpy().argmax())
    limit = getattr(limits, LIMIT_OF[channel][0])
    return own, printed_limit(state.laws, int(state.group[row]), channel, limit.value, float(limits.system_v))


def marks(own: Facts, part: str, as_of: pd.Timestamp) -> pd.DataFrame:
    """Readings that the part's chart cannot draw as a value: doubtful, not judged yet, or set aside."""
    names = MEASURED_BY[part]
    readings = own.readings
    doubtful = readings[doubted(readings, *names)]
    late = readings[readings["taken_at"] >= as_of]
    frames = [
        pd.DataFrame({"taken_at": doubtful["taken_at"], "kind": chart_words.DOUBTFUL}),
        pd.DataFrame({"taken_at": late["taken_at"], "kind": chart_words.WAITING}),
    ]
    aside = own.set_aside[own.set_aside["table_name"] == "readings"]
    if len(aside):
        when = pd.to_datetime(aside["original"].str.extract(r"(\d{4}-\d{2}-\d{2})")[0], errors="coerce").dropna()
        frames.append(pd.DataFrame({"taken_at": when.astype("datetime64[us]"), "kind": chart_words.ASIDE}))
    return pd.concat([f for f in frames if len(f)], ignore_index=True) if any(len(f) for f in frames) else frames[0]


def cold(assessment: Assessment, row: Mapping[Any, Any]) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Coldest start ahead, the depot's season and its forecast."""
    with session.database() as db:
        climate = known_climate(db, before=assessment.as_of.date())
        forecast = store.read_forecast(db)
    depot = str(row["depot"])
    own = forecast[(forecast["depot"] == depot) & (forecast["date"] >= assessment.as_of)]
    suspect = assessment.units.set_index("unit").at[str(row["unit"]), "part"]
    start = cold_course(assessment, str(row["unit"]), part=str(suspect))
    return start, season_course(climate, depot, assessment.as_of), own


def readings_shown(own: Facts, habits: Habits = USUAL) -> pd.DataFrame:
    """Readings newest first, without the columns that this vehicle never filled; °F and miles where the reader has them."""
    frame = own.readings.iloc[::-1]
    frame = frame.assign(outcome=frame["outcome"].replace(OUTCOME_WORDS))
    if habits.fahrenheit:
        frame = frame.assign(temperature_c=fahrenheit_of(frame["temperature_c"]))
    if habits.miles:
        frame = frame.assign(odometer_km=frame["odometer_km"] / KM_PER_MILE)
    frame = frame.assign(
        confirmed=[", ".join(QUANTITIES[n].over_column for n in str(c).split(",") if n) for c in frame["confirmed"]]
    )
    filled = [name for name in MEASUREMENTS if frame[name].notna().any()]
    if (frame["lowest_is"] == SAMPLED).any():
        frame["crank_min_v"] = [reading_sheet.measured(row, "crank_min_v") for row in frame.to_dict("records")]
    texts = [name for name in ("outcome", "technician", "note", "confirmed") if (frame[name] != "").any()]
    return frame[["taken_at", *filled, *texts, "doubtful", "doubt_reason", "reading_id"]].reset_index(drop=True)


def reading_columns(habits: Habits = USUAL, *, bounds: bool = False) -> dict[str, Any]:
    """Column settings: digits that a meter shows; `bounds`: some of the lowest volts are upper bounds, in words."""
    shown: dict[str, Any] = {"taken_at": columns.at(head("taken_at"))}
    shown["reading_id"] = st.column_config.NumberColumn(head("reading_id"), format="%d")
    shown["confirmed"] = st.column_config.TextColumn(say.MEASURED_TWICE)
    theirs = {"°C": habits.degrees, "km": habits.distance}
    for name, quantity in QUANTITIES.items():
        label = f"{quantity.over_column}, {theirs.get(quantity.unit, quantity.unit)}"
        shown[name] = st.column_config.NumberColumn(label, format=f"%.{quantity.digits}f", help=quantity.meaning)
    if bounds:
        quantity = QUANTITIES["crank_min_v"]
        shown["crank_min_v"] = st.column_config.TextColumn(
            f"{quantity.over_column}, {quantity.unit}", help=say.AT_MOST_HELP.format(meaning=quantity.meaning)
        )
    return shown


def limits_shown(
    own: Facts, *, temperature_c: float | None = None, fahrenheit: bool = False, drops_mv: bool = False
) -> dict[str, str]:
    """The limit of each measurement of this vehicle in a few words, on the phone and on paper."""
    known = _knowledge_now(own)
    usual = usual_crank_a(class_usual(known, float(own.unit["system_v"])), hardly_read(known))
    return limit_lines(
        limits_for(own.unit, own_book()), usual_a=usual, temperature_c=temperature_c, fahrenheit=fahrenheit, drops_mv=drops_mv
    )  # fmt: skip


def bay_unit(own: Facts, *, due: str = "", fahrenheit: bool = False) -> BayUnit:
    """What the vehicle's blank bay sheet is filled with."""
    values, last = latest_trusted(own.readings)
    unit = own.unit
    return BayUnit(
        str(unit["unit"]), str(unit["depot"]), str(unit["vehicle_class"]), int(unit["system_v"]), due, values, last,
        limits_shown(own, fahrenheit=fahrenheit),
    )  # fmt: skip


# --- a reading taken apart -------------------------------------------------------------------------------------------


def for_reader(text: str) -> str:
    """A sentence about a reading as it is shown, its temperatures in the reader's degrees."""
    return safe(reading_sheet.for_reader(text, fahrenheit=session.fahrenheit()))


def show_fit(check: ReadingCheck) -> None:
    """The battery's charge, and whether the reading fits: as a warning where it does not."""
    *charge, closure = (for_reader(text) for text in reading_sheet.fit_words(check))
    for text in charge:
        st.markdown(text)
    if reading_sheet.misfit(check):
        st.warning(closure, icon=":material/help:")
    else:
        st.markdown(closure)
    if against := reading_sheet.against_words(check):
        st.markdown(for_reader(against))


def show_unidentified(check: ReadingCheck) -> None:
    """In small print which resistances the reading does not tell, and what was assumed."""
    for text in (*reading_sheet.not_identified(check), *reading_sheet.assumed_words(check)):
        st.caption(for_reader(text))


def show_limits(check: ReadingCheck) -> None:
    with st.expander(say.EVERY_CHECK):
        st.markdown("\n".join(f"- {for_reader(text)}" for text in reading_sheet.limit_words(check)))


@st.cache_resource(show_spinner=False, max_entries=CLASSES_KEPT)
def _knowledge(
    key: session.Key,
    name: str,  # noqa: ARG001 - of the cache's key
    judged: bool,  # noqa: ARG001 - of the cache's key
    _own: Facts,
    _assessment: Assessment | None,
) -> ClassKnowledge:
    """What is known of a vehicle's class before the day shown: from the assessment where there is one."""
    if _assessment is not None:
        return knowledge_of(_assessment, _own.unit)
    return session.read(knowledge_from, _own.unit, before=pd.Timestamp(key.as_of))


@st.cache_resource(show_spinner=False, max_entries=UNITS_KEPT)
def _expected(
    key: session.Key,
    unit: str,  # noqa: ARG001 - of the cache's key
    hour: str,  # noqa: ARG001 - of the cache's key
    written: str,  # noqa: ARG001 - of the cache's key: readings of the day shown count here too
    _own: Facts,
    _at: pd.Timestamp,
) -> Expected:
    """What a vehicle should show at a moment, from what is on record before it; kept for that hour."""
    known = _knowledge_now(_own, key)
    return session.read(expect, _own.unit, _own.readings, known, at=_at)


def _knowledge_now(own: Facts, key: session.Key | None = None) -> ClassKnowledge:
    """What is known of a vehicle's class on the day shown."""
    at = key or session.key_of()
    assessment = session.judge().latest(at)
    return _knowledge(at, class_name(own.unit), assessment is not None, own, assessment)


def expected_at(own: Facts, at: pd.Timestamp) -> Expected:
    """What this vehicle should show at a moment, from what is on record before it."""
    return _expected(session.key_of(), str(own.unit["unit"]), f"{at:%Y-%m-%dT%H}", session.written(), own, at)


def taken_apart(own: Facts, reading: Mapping[str, Any]) -> Taken:
    """A reading of this vehicle, on record or just typed, against what its readings before make one expect."""
    expected = expected_at(own, pd.Timestamp(reading["taken_at"]))
    return session.read(take_apart, own.unit, reading, own.readings, expected, own_book())


def whose_reading(own: Facts, reading: Mapping[str, Any]) -> Whose:
    """Whether a reading that was typed for this vehicle is another's."""
    at, key, now = pd.Timestamp(reading["taken_at"]), session.key_of(), session.written()

    def vehicle_of(unit: str) -> Vehicle:
        one = own if unit == str(own.unit["unit"]) else facts(unit)
        return Vehicle(_expected(key, unit, f"{at:%Y-%m-%dT%H}", now, one, at), odometer_at(one.readings, at))

    return session.read(whose, str(own.unit["unit"]), reading, lambda names: {name: vehicle_of(name) for name in names})


def own_book() -> LimitBook:
    return session.read(limit_book)


def latest_apart(own: Facts) -> Taken | None:
    """The latest reading before the day shown, taken apart; None where there is none."""
    known = own.readings[own.readings["taken_at"] < pd.Timestamp(session.as_of())]
    return None if known.empty else taken_of(own, known.iloc[-1])


def taken_of(own: Facts, row: pd.Series) -> Taken:
    """A reading on record, taken apart; kept until something is written."""
    return _taken_of(session.key_of(), str(own.unit["unit"]), int(row["reading_id"]), repr(own_book()), own, row)


@st.cache_resource(show_spinner=False, max_entries=UNITS_KEPT)
def _taken_of(key: session.Key, unit: str, reading_id: int, book: str, _own: Facts, _row: pd.Series) -> Taken:  # noqa: ARG001
    return taken_apart(_own, {str(name): value for name, value in _row.to_dict().items()})
