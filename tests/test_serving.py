"""The server of the screens: what is begun with it."""

from __future__ import annotations

from pathlib import Path

import pytest
from samples_screens import AS_OF, empty_database, one_reading_database
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
