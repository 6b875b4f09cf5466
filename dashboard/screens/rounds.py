"""The way through the list: from one vehicle's page to the next as the list was last looked at, and back to it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import streamlit as st

from dashboard.screens import session
from dashboard.screens.issued import newest_issued
from dashboard.screens.pages import page
from dashboard.words import every_page as say
from dashboard.words.plain_text import safe

_KEY: Final = "round"


@dataclass(frozen=True)
class Round:
    """Vehicles in the order in which a list showed them, its week, and the filters of its address."""

    week: str
    units: tuple[str, ...]
    filters: tuple[tuple[str, str], ...]


def begin(week: str, units: Sequence[str]) -> None:
    filters = tuple((name, value) for name in st.query_params for value in st.query_params.get_all(name))
    st.session_state[_KEY] = Round(week, tuple(units), filters)


def _of(unit: str) -> Round | None:
    """The list last looked at, else the newest issued, where the vehicle stands on it."""
    known = st.session_state.get(_KEY)
    if isinstance(known, Round) and unit in known.units:
        return known
    issued = newest_issued(session.as_of())
    if issued is None:
        return None
    found = Round(issued.iso_week, tuple(str(row["unit"]) for row in issued.body["units"]), ())
    return found if unit in found.units else None


def steps(unit: str) -> None:
    """Links to the vehicle before and after on the list, and back to where the list was left."""
    on = _of(unit)
    if on is None:
        return
    at = on.units.index(unit)
    with st.container(horizontal=True, vertical_alignment="center", key="round"):
        if at > 0:
            _link(on.units[at - 1], say.STEP_BEFORE, "arrow_back")
        if at + 1 < len(on.units):
            _link(on.units[at + 1], say.STEP_NEXT, "arrow_forward")
        with st.container(width="content", key="back_to_list"):
            st.page_link(
                page("weekly_list"),
                label=say.PLACE_ON_LIST.format(week=on.week, position=at + 1, count=len(on.units)),
                query_params=on.filters,
            )


def _link(unit: str, word: str, icon: str) -> None:
    st.page_link(page("unit"), label=f"{word}: {safe(unit)}", icon=f":material/{icon}:", query_params={"unit": unit})
