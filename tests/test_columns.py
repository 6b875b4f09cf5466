"""Tables sort as they read: no column of any page holds numbers, per cents or dates as text. Opening a page writes nothing.

Truth: the screens' own tables as the browser gets them; words worked by hand.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from samples_chance import one_in
from samples_screens import AS_OF, content, worst_unit
from streamlit.testing.v1 import AppTest
from test_views import OF_A_VEHICLE, PAGES, run

from dashboard.screens import columns, device, picker, session
from dashboard.words.plain_text import percent
from ingest import store
from ingest.corrections import correct
from ingest.entries import record_repair
from ingest.records import save_decision, save_setting

NUMBER = r"[−-]?\d[\d., ]*( ?(%|°[CF]|mΩ|Ω|A|V|h|km|K|rpm))?"
MONTHS = "Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec"
AS_TEXT = re.compile(
    rf"^(under |over |below |above )?{NUMBER}( ?(±|to|\() ?{NUMBER}.*)?$"
    rf"|^\d{{4}}-\d\d-\d\d([ T].*)?$|^(\w{{3}} )?\d{{1,2}} ({MONTHS})( \d{{4}})?$"
)
ANY_KIND = {
    "original",
    "old",
    "new",
    "old_value",
    "new_value",
    "was",
    "is",
    "80 % sure",
}  # columns that keep what stood in a file or field, and a range, which sorts by the column that it is about
TABS = {
    "weekly_list": "list_tab",
    "unit": "unit_tab",
    "plan": "plan_tab",
}  # pages that draw one of their tabs, and its key


def as_text(frame: pd.DataFrame) -> list[str]:
    """Columns of text whose every value is a number, a per cent or a date."""
    found = []
    for name in frame.columns:
        if name in ANY_KIND or pd.api.types.is_numeric_dtype(frame[name]):
            continue
        if pd.api.types.is_datetime64_any_dtype(frame[name]):
            continue
        said = [
            str(v) for v in frame[name] if str(v).strip() not in ("", "–", "-", "None", "nan", "none", "not identified")
        ]
        if said and all(AS_TEXT.match(text) for text in said):
            found.append(f"{name}: {said[0]}")
    return found


@pytest.mark.parametrize(
    "text", ["under 1 %", "8 %", "-12 °C", "−12 °C", "below −44 °C", "1.9 ± 0.1 mΩ", "2026-11-21", "21 Nov 2026", "Sat 21 Nov 2026",
             "12.6", "1,745", "0.55 (0.40 to 0.70)", "−20 °C to −12 °C"],
)  # fmt: skip
def test_what_counts_as_a_number_or_a_date(text: str) -> None:
    """The check itself: what the tables once held as text."""
    assert as_text(pd.DataFrame({"a": [text, "–"]}))


@pytest.mark.parametrize("text", ["battery", "K-101", "no date yet", "2026-W47", "service on 5 Dec 2026", "12 V van"])
def test_words_are_words(text: str) -> None:
    assert not as_text(pd.DataFrame({"a": [text, "3"]}))


@pytest.fixture
def fleet(fleet: Path) -> Path:
    """The small fleet with a decision, a setting, a correction and a row that was set aside."""
    now = pd.Timestamp(AS_OF).to_pydatetime()
    db = store.open_database(fleet)
    save_decision(db, unit=worst_unit(), iso_week="2026-W48", kind="nothing_found", reason="", by="Test", now=now)
    save_setting(db, "horizon_days", 30, by="Test", now=now)
    reading = store.read_readings(db, units=[worst_unit()])["reading_id"].iloc[-1]
    correct(db, "reading", int(reading), {"rest_v": "12.51"}, by="Test", reason="misread", now=now)
    record_repair(
        db,
        {"unit": worst_unit(), "part": "battery", "action": "charged", "done_on": "2026-11-20"},
        by="Test",
        now=now,
    )
    return fleet


def pages_of(page: str) -> Iterator[tuple[str, AppTest]]:
    """The page, and what is behind each of its other tabs; the same app all along."""
    app = run(page, unit=worst_unit() if page in OF_A_VEHICLE else None)
    yield "", app
    for tab in [one.label for one in app.tabs][1:] if page in TABS else ():
        app.session_state[TABS[page]] = tab
        app.run()
        assert not app.exception, app.exception
        yield tab, app


CODES = re.compile(r"_|^(unit|se|at|by)$")
CODE = re.compile(r"[a-z]+(_[a-z]+)+")


def coded_heads(table: Any) -> list[str]:
    """Heads of a table that are no words: an underscore, or a name of ours that only files and commands use."""
    told = json.loads(table.proto.columns or "{}")
    heads = [(told.get(str(name)) or {}).get("label") or str(name) for name in table.value.columns]
    return [head for head in heads if CODES.search(head)]


def other_things(table: Any, vehicles: set[str]) -> list[str]:
    """Columns that stand under "vehicle" and hold something else, and cells that are codes of ours."""
    told = json.loads(table.proto.columns or "{}")
    found = []
    for name in map(str, table.value.columns):
        head, cells = (told.get(name) or {}).get("label") or name, {str(cell) for cell in table.value[name]}
        if head == "vehicle" and not cells - {""} <= vehicles:
            found.append(f"vehicle: {sorted(cells - vehicles)[0]}")
        if name not in ANY_KIND:
            found += [f"{name}: {cell}" for cell in sorted(cells) if CODE.fullmatch(cell)][:1]
    return found


@pytest.mark.parametrize("page", one_in(3, PAGES))
def test_no_table_holds_numbers_or_dates_as_text_or_stands_under_codes_and_nothing_is_written(
    fleet: Path, page: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every table of every page and tab; a text column of numbers sorts 8 % above 80 %. The database is as it was before, though the device
    is known and has a vehicle to remember."""
    monkeypatch.setattr(device, "number", lambda: "0" * 32)
    wrong, seen = [], 0
    vehicles, before = set(session.units()["unit"]), content(fleet)
    for tab, app in pages_of(page):
        wrong += [f"{page} {tab}: {one}" for table in app.dataframe for one in other_things(table, vehicles)]
        wrong += [f"{page} {tab}: {head}" for table in app.dataframe for head in coded_heads(table)]
        for table in (*app.dataframe, *app.table):
            seen += 1
            wrong += [f"{page} {tab}: {column}" for column in as_text(table.value)]
    assert content(fleet) == before
    assert not wrong
    assert seen >= {"weekly_list": 1, "unit": 4, "plan": 2, "fleet": 4, "settings": 1, "correct": 1, "logbook": 1}.get(
        page, 0
    )


def test_a_table_in_words_keeps_its_values() -> None:
    """Worked by hand: the words stand over the numbers, the numbers stay."""
    frame = pd.DataFrame({"chance": [0.004, 0.8, np.nan], "on": columns.days(["2026-11-21", None, ""]), "n": [1, 2, 3]})
    shown = columns.in_words(frame, {"chance": percent}, cells={"n": ["one", "two", "three"]})
    assert shown.data["chance"].tolist()[:2] == [0.004, 0.8]
    text = shown.to_html()
    for words in ("under 1 %", "80 %", "–", "21 Nov 2026", "one", "three"):
        assert words in text
    assert columns.plain_number(12.0) == "12"
    assert columns.plain_number(-0.25) == "−0.25"
    assert columns.or_blank(float("nan")) == ""


def test_moments_kept_as_text_become_moments() -> None:
    """Worked by hand: days and times in ISO 8601, and a column in which one value is none."""
    frame = pd.DataFrame(
        {"on": ["2026-11-17", ""], "at": ["2026-11-17T08:00:00", None], "note": ["2026-11-17", "late"], "n": [1, 2]}
    )
    typed = columns.with_moments(frame)
    assert [pd.api.types.is_datetime64_any_dtype(typed[name]) for name in frame] == [True, True, False, False]
    assert typed["at"].iloc[0] == pd.Timestamp("2026-11-17 08:00")


def test_a_vehicle_is_found_as_its_number_is_spoken() -> None:
    """A phone's keyboard has the hyphen on another page, and who walks past a plate leaves its blank out."""
    numbers = ["M-VL 1200", "STA 03", "K.7/a", "4103"]
    for typed, found in {
        "mvl 12": ["M-VL 1200"], "sta03": ["STA 03"], "a 0": ["STA 03"], "k7": ["K.7/a"], "-": ["M-VL 1200"], "/": ["K.7/a"],
        "03": ["STA 03", "4103"], "[": [], "zz": [],
    }.items():  # fmt: skip
        assert picker.matching(numbers, typed) == found, typed
