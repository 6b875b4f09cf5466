"""The server of the screens: what is begun with it."""

from __future__ import annotations

from pathlib import Path

import pytest
from samples_screens import AS_OF, empty_database, one_reading_database

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
