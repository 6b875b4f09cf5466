"""All that is typed or imported is shown as text: on every page, in files, on paper; nothing is made of it.

Truth: the names of samples_hostile.py, each of which is a mark, a link, a picture or a command of some medium, and the
programs that read these media: openpyxl, icalendar, Python's csv and email.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest
import samples_hostile
from google.protobuf.message import Message
from icalendar import Calendar
from samples_hostile import HOST, NAMES, hostile_database
from samples_screens import AS_OF, assess_here, shown
from streamlit.testing.v1 import AppTest
from test_views import APP, OF_A_VEHICLE, PAGES

from analysis.plan.workshop_calendar import iso_week
from dashboard.charts.behind import behind
from dashboard.desk import weekly
from dashboard.desk.planning import load_plan
from dashboard.desk.work_orders import chosen_visits
from dashboard.files.as_csv import as_csv
from dashboard.files.paper import list_pdf
from dashboard.files.plan_export import render
from dashboard.files.work_order import printed_orders
from dashboard.files.workbook import table_xlsx
from dashboard.words import post_words
from dashboard.words.plain_text import file_name, in_html, safe
from ingest import store
from ingest.records import read_weekly_list

PLAIN = {
    "id", "form_id", "key", "url", "query_string", "alt", "default", "value", "placeholder", "page_script_hash", "data",
    "spec", "element_id",
}  # fmt: skip
"""Fields of Streamlit's messages that are no Markdown: names, values of fields, and what a browser reads out."""
PLAIN_OPTIONS = ("Selectbox", "MultiSelect")  # their options are text, seen in Chromium
_ACTED_ON = re.compile(
    r"(?<!\\)[*_`$~\[\]<>#|]|(?<!\\)!\[|https?:(?!\u2060)/|www\.|www\\\.|@(?!\u2060)|:(?!\u2060)[\w+-]+:|[\u202a-\u202e]|\n"
)
"""What Streamlit's Markdown acts on, or what hides text."""


@pytest.mark.parametrize(
    "name", [*NAMES, samples_hostile.LONG, "a -> b", "x <-> y", ">= 1", "\u2028# x", "a\x1b[31m", "1:100:2"]
)
def test_nothing_of_a_name_is_acted_on_in_markdown(name: str) -> None:
    text = safe(name)
    assert not _ACTED_ON.search(text), text
    assert not re.search(r"(?<!\S)\\?[-<>~](?!\u2060)\\?[-=>]", text)
    seen = re.sub(r"\\(.)", r"\1", text).replace("\u2060", "")
    assert seen == "".join(c if c.isprintable() else "?" for c in " ".join(name.split()))


def test_a_name_with_an_empty_line_does_not_end_the_html_of_a_picture() -> None:
    """In CommonMark an empty line ends a block of HTML, and what follows is Markdown again."""
    html = behind(NAMES[1], pd.DataFrame({NAMES[1]: [NAMES[1]]}), note=NAMES[1])
    assert "\n" not in html
    assert in_html('<b title="x">&\u00a0') == "&lt;b title=&quot;x&quot;&gt;&amp;\u00a0"
    assert not re.search(r"<(?:img|style|script)", "".join(map(in_html, NAMES)))


# --- pages -----------------------------------------------------------------------------------------------------------


def texts_of(message: Message, path: str = "") -> Iterator[tuple[str, str]]:
    """Every text in a message that Streamlit may read as Markdown or HTML, with where it stands."""
    for field, value in message.ListFields():
        if field.name in PLAIN or (field.name == "options" and path in PLAIN_OPTIONS):
            continue
        for one in [value] if isinstance(value, (str, bytes, int, float, Message)) else list(value):
            if isinstance(one, Message):
                yield from texts_of(one, f"{path}.{field.name}")
            elif isinstance(one, str):
                yield f"{path}.{field.name}", one


def blocks(block: Any) -> Iterator[Any]:
    """A block of a page and all that is in it."""
    yield block
    for inner in getattr(block, "children", {}).values():
        yield from blocks(inner)


def unescaped(app: AppTest) -> list[str]:
    """Texts of a page in which a hostile name stands as it was typed."""
    assert not app.exception, app.exception
    raw = [re.compile(rf"(?<!\\){re.escape(name)}") for name in (*NAMES, "$x$") if safe(name) != name]
    found = []
    for block in blocks(app._tree):
        message = getattr(block, "proto", None)
        if not isinstance(message, Message):
            continue
        kind = type(message).__name__
        if kind in ("Text", "Dataframe", "ArrowDataFrame", "Arrow"):  # no Markdown: one shows text, one draws cells
            continue
        for where, text in texts_of(message, kind):
            if kind == "Html" or text.startswith("<div"):
                found += [f"{where}: {text[:300]}" for bad in ("<img", "<style>*", "<script") if bad in text]
            else:
                found += [f"{where}: {text[:300]}" for name in raw if name.search(text)]
    return found


def test_every_page_shows_names_as_text(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shown(monkeypatch, hostile_database(tmp_path / "hostile"), assess_here)
    app = AppTest.from_file(str(APP), default_timeout=60)
    app.session_state["device"] = "ab" * 16
    app.session_state["find"] = "e"
    app.session_state["files_tab"] = "Descriptions on record"
    app.session_state["what"] = "decision"
    app.run()
    found = unescaped(app)
    for page in PAGES[1:]:
        app.switch_page(f"views/{page}.py")
        if page in OF_A_VEHICLE:
            app.query_params["unit"] = NAMES[0]
        app.run()
        found += unescaped(app)
        if page == "plan":
            app.session_state["plan_tab"] = "Work orders"
            app.run()
            found += unescaped(app)
    assert not found, "\n".join(sorted(set(found)))


# --- files -----------------------------------------------------------------------------------------------------------


def test_no_cell_of_a_file_is_a_formula(tmp_path: Path) -> None:
    """Heads too: where a table has a column for every depot, a depot's name is one."""
    starts = ("=1+1", "+1", "-1+1", "@x", "\t=1", "\n=1", "＝1")
    table = pd.DataFrame({name: [name] for name in starts})
    rows = list(csv.reader(io.StringIO(as_csv(table))))
    assert rows == [[f"'{name}" for name in starts]] * 2
    book = openpyxl.load_workbook(io.BytesIO(table_xlsx(table, "x")))
    assert {cell.data_type for row in book["x"].iter_rows() for cell in row} == {"s"}
    with store.open_database(hostile_database(tmp_path / "hostile")) as db:
        plan = load_plan(db)
    assert plan is not None
    whole = openpyxl.load_workbook(io.BytesIO(render(plan, "xlsx")))  # type: ignore[arg-type]
    assert "f" not in {cell.data_type for sheet in whole for row in sheet.iter_rows() for cell in row}
    cells = {cell for row in csv.reader(io.StringIO(str(render(plan, "csv")))) for cell in row}
    assert not [cell for cell in cells if cell.startswith(("=", "+", "@"))]
    assert json.loads(str(render(plan, "json")))["visits"]


def test_calendar_paper_and_mail_hold_names_as_text(tmp_path: Path) -> None:
    with store.open_database(hostile_database(tmp_path / "hostile")) as db:
        plan = load_plan(db)
        issued = read_weekly_list(db, iso_week(AS_OF))
        assert plan is not None
        assert issued is not None
        orders = printed_orders(db, plan, chosen_visits(plan)[:2], base=f"http://{HOST}", fahrenheit=False)
    for pdf in (orders, list_pdf(issued, weekly.ranked(issued.body), {})):
        assert not re.search(rb"/URI|/JavaScript|/Launch|/EmbeddedFile", pdf)
    calendar = Calendar.from_ical(str(render(plan, "ics", now=datetime(2026, 11, 30))))
    events = calendar.walk("VEVENT")
    assert len(events) == len(plan.visits) + len(plan.done)
    assert all("\n" not in str(event["summary"]) for event in events)
    assert all("\n" not in post_words.subject("2026-W49", 1, name) for name in NAMES)


@pytest.mark.parametrize("name", [*NAMES, "../../etc/passwd", "..", "a/b\\c", "x" * 300, ""])
def test_a_name_in_a_files_name_is_letters_and_figures(name: str) -> None:
    assert re.fullmatch(r"\w[\w.-]{0,79}", file_name(name))
