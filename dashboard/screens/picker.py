"""Choosing a vehicle with gloves on: part of the number, recent ones, or the address on the windscreen's code."""

from collections.abc import Callable, Iterable
from datetime import timedelta
from typing import Literal

import streamlit as st

from dashboard.screens import beginning, device, session
from dashboard.words import every_page as say
from dashboard.words.plain_text import safe

RECENT_KEPT = 6  # vehicles that a device remembers, our choice
MATCHES_SHOWN = 8
DEPOT_PX = 220


def with_unit(title: str, show: Callable[[str], None], beside: Callable[[], None] | None = None) -> None:
    """A page of one vehicle, as wide as a phone held across: it is chosen, then shown."""
    st.title(title)
    with st.container(key="bay", width=640):
        if not session.has_vehicles():
            beginning.nothing_yet()
        elif unit := pick_unit(beside):
            show(unit)


def pick_depot(depots: Iterable[str], key: str, *, bind: Literal["query-params"] | None = None) -> str | None:
    """One of the depots, in their order; None for all of them."""
    return st.selectbox(
        say.DEPOT, sorted(set(depots)), index=None, placeholder=say.ALL, key=key, width=DEPOT_PX, bind=bind
    )


def pick_unit(beside: Callable[[], None] | None = None) -> str | None:
    """The vehicle of the address or one chosen here; it becomes part of the address, so that a reload keeps it.

    beside: draws what stands beside the button for another vehicle.
    """
    who = session.looking()
    if not who.may_read:  # a windscreen's code opens its own vehicle, and names no other
        if beside is not None:
            beside()
        return who.code_unit
    numbers = session.units()["unit"].tolist()
    asked = st.query_params.get("unit")
    if asked in numbers:
        note_recent(str(asked))
        with st.container(horizontal=True, key="picked"):
            if st.button(say.ANOTHER, key="another", icon=":material/swap_horiz:"):
                del st.query_params["unit"]
                st.rerun()
            if beside is not None:
                beside()
        return str(asked)
    if asked:
        st.error(say.NO_VEHICLE.format(asked=safe(asked), count=len(numbers)))
    typed = st.text_input(say.VEHICLE, placeholder=say.PART_OF_NUMBER, max_chars=64, key="pick", live=True).strip()
    here = session.units_in_service(session.today() - timedelta(days=1))[
        "unit"
    ].tolist()  # on its last day it is read still
    known = set(here)
    recent = [u for u in device.remembered().get("recent", []) if u in known]
    found = [*(matching(here, typed)), *(u for u in matching(numbers, typed) if u not in known)] if typed else recent
    if not typed and recent:
        st.caption(say.RECENT)
    if typed and not found:
        st.caption(say.NO_SUCH_NUMBER.format(part=safe(typed)))
    for unit in found[:MATCHES_SHOWN]:
        label = safe(unit) if unit in known else say.LEFT.format(unit=safe(unit))
        if st.button(label, key=f"pick_{unit}", width="stretch"):
            st.query_params["unit"] = unit
            st.rerun()
    if len(found) > MATCHES_SHOWN:
        st.caption(say.MORE_OF_NUMBER.format(count=len(found)))
    return None


def matching(numbers: Iterable[str], typed: str) -> list[str]:
    """Vehicles whose number holds what was typed, whatever the capitals, and the blanks and marks between its letters."""
    part, bare = typed.casefold(), _bare(typed)
    return [unit for unit in numbers if part in unit.casefold() or (bare and bare in _bare(unit))]


def _bare(text: str) -> str:
    return "".join(sign for sign in text.casefold() if sign.isalnum())


def note_recent(unit: str) -> None:
    """Put a vehicle first among the device's recent ones."""
    kept = device.remembered().get("recent", [])
    recent = [unit, *(u for u in kept if isinstance(u, str) and u != unit)][:RECENT_KEPT]
    device.note(recent=recent)
