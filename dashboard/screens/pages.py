"""The pages, each a file of `views`, under the three people who use them."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

import streamlit as st
from streamlit.navigation.page import Page

from dashboard.words import every_page as say

_VIEWS = Path(__file__).parent / "views"
IN_ADDRESS: Final = "query-params"  # a choice that lives in the page's address, under its key

HEADINGS: dict[str, tuple[str, ...]] = {
    say.MONDAY: ("weekly_list", "fleet", "unit", "plan"),
    say.IN_THE_BAY: ("bay", "visit", "work", "correct"),
    say.DATA: ("files", "set_aside", "logbook", "settings"),
}
_ICONS = {
    "weekly_list": "format_list_numbered",
    "fleet": "ac_unit",
    "unit": "local_shipping",
    "plan": "calendar_month",
    "bay": "speed",
    "visit": "assignment_turned_in",
    "work": "build",
    "correct": "edit",
    "logbook": "history",
    "files": "upload_file",
    "set_aside": "rule",
    "settings": "tune",
}
START = "weekly_list"
ROOT = "start"  # the first page is served at the bare address; this name is only its number among the pages


ADDRESSES: Final = (ROOT, *_ICONS)


def page(name: str) -> Page:
    """The page of the file `name` of `views`; ValueError when there is none such."""
    if name not in _ICONS:
        raise ValueError(f"name is {name!r}; allowed are {', '.join(_ICONS)}")
    return _page(name, url_path=ROOT, default=True) if name == START else _page(name, url_path=name)


def _page(name: str, **how: Any) -> Page:
    return st.Page(_VIEWS / f"{name}.py", title=say.PAGES[name], icon=f":material/{_ICONS[name]}:", **how)


def all_pages() -> dict[str, list[Page]]:
    """Headings of the margin with their pages."""
    pages = {heading: [page(name) for name in names] for heading, names in HEADINGS.items()}
    # the first page once more, out of the margin's sight, so that its own name is an address too
    pages[next(iter(pages))].append(_page(START, url_path=START, visibility="hidden"))
    return pages


def in_tabs(shown: Mapping[str, Callable[[], None]], key: str) -> None:
    """One block behind each tab, made only when it is looked at; which one is in the address under `key`."""
    tabs = st.tabs(list(shown), key=key, on_change="rerun", bind=IN_ADDRESS)
    for tab, draw in zip(tabs, shown.values(), strict=True):
        if tab.open:
            with tab:
                draw()
