"""The server of the screens: what is begun with it."""

from __future__ import annotations

import gc
from pathlib import Path

import pytest
from samples_screens import AS_OF, empty_database, one_reading_database
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from streamlit.runtime.forward_msg_queue import ForwardMsgQueue
from streamlit.testing.v1 import AppTest

from dashboard.screens import serving, session
from dashboard.screens.session import DATABASE_VARIABLE, TODAY_VARIABLE


def test_judging_begins_with_the_server(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[session.Key] = []
    monkeypatch.setattr(session, "_assess", asked.append)
    monkeypatch.setenv(TODAY_VARIABLE, AS_OF.isoformat())
    monkeypatch.setenv(DATABASE_VARIABLE, str(empty_database(tmp_path / "empty.db")))
    serving.prepare()
    monkeypatch.setenv(DATABASE_VARIABLE, str(one_reading_database(tmp_path / "one.db")))
    serving.prepare()
    session.judge().ask(session.key_of(AS_OF)).result(30)
    assert [key.as_of for key in asked] == [AS_OF]


def test_pages_are_run_as_they_are_and_not_parsed_for_bare_values(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The parsing fails on Python 3.11 where another thread works: "AST constructor recursion depth mismatch"."""
    parsed: list[str] = []
    monkeypatch.setattr(
        "streamlit.runtime.scriptrunner.magic.add_magic", lambda code, path: parsed.append(path) or code
    )
    page = tmp_path / "page.py"
    page.write_text("import streamlit as st\n'a bare value'\nst.text('shown')\n")
    app = AppTest.from_file(str(page)).run()
    assert [text.value for text in app.text] == ["shown"]
    assert parsed == []
    assert serving.FLAGS["runner.magicEnabled"] is False


def test_what_is_loaded_is_not_looked_through_after_every_page() -> None:
    """The framework collects all garbage after every run of a page; what is frozen is no longer among what it looks at."""
    loaded = [[] for _ in range(1000)]
    serving.keep_loaded()
    assert not {id(one) for one in loaded} & {id(one) for one in gc.get_objects()}


def test_an_answer_is_sent_though_a_page_begins_to_be_drawn() -> None:
    """A file given while a page is about to be drawn gets its address; what was drawn by then is dropped, as before."""
    serving.keep_answers()
    serving.keep_answers()  # once is enough
    address, drawn, made = ForwardMsg(), ForwardMsg(), ForwardMsg()
    address.file_urls_response.response_id = "of the file"
    made.backend_operation_response.request_id = "of the button"
    drawn.delta.new_element.text.body = "overtaken"
    queue = ForwardMsgQueue()
    for one in (address, drawn, made):
        queue.enqueue(one)
    queue.clear(retain_lifecycle_msgs=True)
    assert queue.flush() == [address, made]
    assert queue.flush() == [], "sent once"
