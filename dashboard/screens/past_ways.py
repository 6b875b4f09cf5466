"""On the fleet's page: what past lists would have done, and what is beyond a printed limit with nobody acting on it."""

from collections.abc import Mapping
from functools import partial

import pandas as pd
import streamlit as st

from analysis.backtest.untouched import beyond_untouched
from analysis.readings.panel import in_service
from dashboard.desk import weekly
from dashboard.desk.assessment import own_costs
from dashboard.desk.own_limits import limit_book
from dashboard.screens import columns, downloads, history, session
from dashboard.words import past_words as say
from dashboard.words.past_words import beyond_words, two_figures, way_rows
from dashboard.words.plain_text import number, safe
from ingest import store
from ingest.records import read_decisions

METRIC_PX = 240  # [px] one beside the other on a phone held across


def what_lists_would_have_done(past: history.Past) -> None:
    """The two figures that a manager takes along, and every way of working beside each other."""
    if not past.ways:
        return
    currency = session.read(own_costs).currency
    figures = two_figures(past.ways, currency)
    if figures is None:
        st.write(say.NO_NO_START)
        return
    foreseen, saved, sentence = figures
    with st.container(horizontal=True, key="two_figures"):
        st.metric(say.FORESEEN, foreseen, width=METRIC_PX)
        st.metric(say.SAVED, safe(saved), width=METRIC_PX)
    st.caption(safe(sentence))
    with st.expander(say.OTHER_WAYS):
        table = pd.DataFrame(way_rows(past.ways, currency))
        columns.show(columns.in_words(table), alt=say.WAYS_ALT, key="ways_table")
        downloads.table_button(table, "past-ways", key="ways")


def untouched(as_of: pd.Timestamp) -> None:
    """Values beyond a printed limit, and nobody acted."""
    found = _beyond(session.key_of(), as_of)
    st.subheader(say.BEYOND)
    if found.empty:
        st.write(say.NOT_BEYOND)
        return
    standing = weekly.latest_decisions(session.read(read_decisions), as_of.date())
    table = beyond_table(found, standing)
    twice = int((found["readings"] > 1).sum())
    st.markdown(say.beyond_how_many(len(found), found["unit"].nunique(), twice))
    volts = partial(number, digits=2)
    shown = columns.in_words(table, {say.READ_V: volts, say.LIMIT_V: volts})
    columns.show(shown, alt=say.BEYOND_ALT, height=240, key="beyond_table")
    downloads.table_button(table, "beyond-limits", key="beyond")


def beyond_table(found: pd.DataFrame, standing: Mapping[str, Mapping[object, object]]) -> pd.DataFrame:
    """The rows of `beyond_untouched` in words, furthest beyond its limit first, with what was decided."""
    rows = found.sort_values("times", ascending=False, kind="stable", ignore_index=True)
    said = [beyond_words(row) for row in rows.to_dict("records")]  # type: ignore[arg-type]
    decided = [
        weekly.decision_with_reason(standing[unit]) if (unit := str(name)) in standing else "" for name in rows["unit"]
    ]
    return pd.DataFrame(
        {
            "unit": rows["unit"],
            "part": [part for part, _ in said],
            say.WHAT_WAS_READ: [what for _, what in said],
            say.READ_V: rows["value"].round(2),
            say.LIMIT_V: rows["limit"].round(2),
            "since": columns.days(rows["since"]),
            "readings": rows["readings"],
            "decided": decided,
        }
    )


@st.cache_resource(show_spinner=False, max_entries=2)
def _beyond(key: session.Key, as_of: pd.Timestamp) -> pd.DataFrame:  # noqa: ARG001 - its key
    with session.database() as db:
        units, readings = store.read_units(db), store.read_readings(db)
        units = units[in_service(units, as_of)]
        return beyond_untouched(readings, units, store.read_repairs(db), as_of, book=limit_book(db))
