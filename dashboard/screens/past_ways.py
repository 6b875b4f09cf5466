"""On the fleet's page: what past lists would have done, and what is beyond a printed limit with nobody acting on it."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd
import streamlit as st

from analysis.backtest.untouched import beyond_untouched
from dashboard.desk import weekly
from dashboard.desk.assessment import own_costs
from dashboard.desk.own_limits import limit_book
from dashboard.screens import columns, downloads, history, session
from dashboard.words.past_words import beyond_words, two_figures, way_rows
from dashboard.words.plain_text import count_words, safe
from ingest import store
from ingest.records import read_decisions

METRIC_PX = 240  # [px] one beside the other on a phone held across


def what_lists_would_have_done(past: history.Past) -> None:
    """The two figures that a manager takes along, and every way of working beside each other."""
    if not past.ways:
        return
    with session.database() as db:
        currency = own_costs(db).currency
    figures = two_figures(past.ways, currency)
    if figures is None:
        st.write("No no-start is on record in this time, so that nothing can be said of what lists would have done.")
        return
    foreseen, saved, sentence = figures
    with st.container(horizontal=True, key="two_figures"):
        st.metric("No-starts foreseen", foreseen, width=METRIC_PX)
        st.metric("Saved against waiting", saved, width=METRIC_PX)
    st.caption(safe(sentence, longest=600))
    with st.expander("Beside other ways of working"):
        table = pd.DataFrame(way_rows(past.ways, currency))
        columns.show(columns.in_words(table), alt="Ways of working held against what happened", key="ways_table")
        downloads.table_button(table, "past-ways", key="ways")


def untouched(as_of: pd.Timestamp) -> None:
    """Values beyond a printed limit, and nobody acted."""
    found = _beyond(session.key_of(), as_of)
    st.subheader("Beyond a printed limit, and nobody acted")
    if found.empty:
        st.write("No vehicle's newest reading is beyond a printed limit without a repair of that part since.")
        return
    with session.database() as db:
        standing = weekly.latest_decisions(read_decisions(db), as_of.date())
    table = beyond_table(found, standing)
    twice = int((found["readings"] > 1).sum())
    st.markdown(
        f"**{count_words(len(found), 'part')} of {count_words(found['unit'].nunique(), 'vehicle')}**, {twice} of them in "
        f"two readings or more. A limit says nothing of the cold to come: the weekly list does."
    )
    columns.show(
        columns.in_words(table),
        alt="Parts beyond a printed limit without a repair since",
        height=240,
        key="beyond_table",
    )
    downloads.table_button(table, "beyond-limits", key="beyond")


def beyond_table(found: pd.DataFrame, standing: Mapping[str, Mapping[object, object]]) -> pd.DataFrame:
    """The rows of `beyond_untouched` in words, furthest beyond its limit first, with what was decided."""
    rows = found.sort_values("times", ascending=False, kind="stable", ignore_index=True)
    said = [beyond_words(row) for row in rows.to_dict("records")]  # type: ignore[arg-type]
    decided = [
        weekly.decision_words(standing[unit]) if (unit := str(name)) in standing else "" for name in rows["unit"]
    ]
    return pd.DataFrame(
        {
            "unit": rows["unit"],
            "part": [part for part, _ in said],
            "what was read": [what for _, what in said],
            "read [V]": rows["value"].round(2),
            "limit [V]": rows["limit"].round(2),
            "since": columns.days(rows["since"]),
            "readings": rows["readings"],
            "decided": decided,
        }
    )


@st.cache_resource(show_spinner=False, max_entries=2)
def _beyond(key: session.Key, as_of: pd.Timestamp) -> pd.DataFrame:  # noqa: ARG001 - its key
    with session.database() as db:
        units, readings = store.read_units(db), store.read_readings(db)
        return beyond_untouched(readings, units, store.read_repairs(db), as_of, book=limit_book(db))
