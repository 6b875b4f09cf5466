"""Pictures that are drawn as HTML, on any page: where the volts go, of a reading on record or just typed."""

import json
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Any

import pandas as pd
import streamlit as st

from analysis.bay.one_reading import ReadingCheck
from analysis.bay.repaired import compare, readings_around
from analysis.bay.where_volts_go import WhereVoltsGo, where_volts_go
from dashboard.charts.behind import behind
from dashboard.charts.leads import leads_html
from dashboard.charts.repaired import repaired_html
from dashboard.charts.short_course import short_course_html
from dashboard.charts.volts_bar import volts_html
from dashboard.desk import weekly
from dashboard.desk.reading_source import MEASURED_BY, Taken, limits_for
from dashboard.screens import one_unit, session
from dashboard.words import lead_words, repaired_words
from ingest.fields import QUANTITIES

REPAIRS_OFFERED = 12  # of the latest, our choice
DEPOTS_KEPT = 256  # coming lows that a server keeps, our choice
COURSES_KEPT = 256  # small courses that a server keeps drawn: a few pages of lists, our choice


def draw(html: str) -> None:
    """Show a picture of ours: one line of HTML in which whatever a person typed was escaped."""
    st.markdown(html, unsafe_allow_html=True)


def chart(spec: dict[str, Any], text: str, key: str, *tables: pd.DataFrame) -> None:
    """A chart with the same in words for those who cannot see it, and its numbers folded below."""
    st.vega_lite_chart(spec, width="stretch", alt=text, key=key)
    if tables:
        draw(f'<div class="ct-picture">{behind(key, *tables)}</div>')


@st.fragment
def leads(own: one_unit.Facts, typed: Mapping[str, str], order: Iterable[str]) -> None:
    """Where the two leads go for the field at hand: the first of the form's order that is empty, or one that is chosen."""
    with st.expander(lead_words.TITLE, key="leads", on_change="rerun"):
        now = lead_words.field_at_hand(typed, order)
        names = [name for name in order if name in lead_words.LEADS]
        field = st.selectbox(
            lead_words.CHOOSE, names, index=names.index(now), key=f"leads_{own.unit['unit']}_{now}",
            format_func=lambda name: QUANTITIES[name].label,
        )  # fmt: skip
        count, system_v = own.unit["batteries"], int(own.unit["system_v"])
        parallel = bool(pd.notna(count) and count > 1 and own.unit["in_parallel"] != "no")
        draw(leads_html(field, system_v=system_v, parallel=parallel))


def volts_of(own: one_unit.Facts, taken: Taken) -> WhereVoltsGo:
    """Where the volts of a reading go, with the coming low of the vehicle's depot."""
    return taken.volts(limits_for(own.unit, one_unit.own_book()), coming_c=coming_low(own.unit))


def volts_typed(own: one_unit.Facts, reading: Mapping[str, Any], check: ReadingCheck) -> None:
    """Where the volts of a reading go that was just typed; nothing before there are volts to draw."""
    found = where_volts_go(
        reading, check, one_unit.expected_at(own, pd.Timestamp(reading["taken_at"])),
        limits_for(own.unit, one_unit.own_book()), coming_c=coming_low(own.unit),
    )  # fmt: skip
    if not found.why_not:
        volts(found, check)


def volts(found: WhereVoltsGo, check: ReadingCheck) -> None:
    draw(volts_html(found, fahrenheit=session.fahrenheit(), suspect=check.closure.suspect))


def coming_low(unit: Mapping[Any, Any]) -> float | None:
    """The coldest morning to be expected at a vehicle's depot [°C]; None for a vehicle without one."""
    return _coming_low(session.key_of(), str(unit["depot"])) if unit["depot"] else None


@st.cache_data(show_spinner=False, max_entries=DEPOTS_KEPT)
def _coming_low(key: session.Key, depot: str) -> float:
    return session.read(weekly.coming_low_of, depot, key.as_of, key.horizon_days)


def short_course(row: Mapping[str, Any], as_of: str, *, in_f: bool) -> None:
    """The small course of a listed vehicle's part; lists that were issued before it was kept have none."""
    course = row.get("course")
    if course:
        draw(_short_course(json.dumps(course), as_of, f"course-{row['rank']}", in_f))


@lru_cache(COURSES_KEPT)
def _short_course(course: str, as_of: str, key: str, in_f: bool) -> str:
    return short_course_html(json.loads(course), as_of=as_of, key=key, fahrenheit=in_f)


def before_and_after(own: one_unit.Facts) -> None:
    """The readings on both sides of a repair beside each other: of the latest that has them, or of one that is chosen."""
    known = own.readings[own.readings["taken_at"] < pd.Timestamp(session.as_of())]
    around = {}
    for repair in own.repairs.iloc[::-1].head(REPAIRS_OFFERED).to_dict("records"):
        pair = readings_around(known, repair["done_on"], MEASURED_BY[str(repair["part"])])
        if pair is not None:
            around[repaired_words.repair_title(repair)] = (str(repair["part"]), pair)
    st.subheader(repaired_words.TITLE)
    if not around:
        st.write(repaired_words.NONE)
        return
    chosen = st.selectbox(repaired_words.CHOOSE, list(around), key=f"repair_{own.unit['unit']}", width=400)
    part, pair = around[chosen or next(iter(around))]
    taken = {side: one_unit.taken_of(own, row) for side, row in zip(repaired_words.SIDES, pair, strict=True)}
    limits = limits_for(own.unit, one_unit.own_book())
    found = compare(part, taken["before"].check, taken["after"].check, taken["after"].expected)
    draw(
        repaired_html(
            part, found, {side: one.volts(limits) for side, one in taken.items()},
            {side: one.taken_at for side, one in taken.items()}, fahrenheit=session.fahrenheit(),
        )
    )  # fmt: skip
