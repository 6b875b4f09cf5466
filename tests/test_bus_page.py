"""A log of the bus on the Files page: shown before it is stored, stored once, refused in one sentence.

Truth: a drive that the test itself made (`samples_bus`).
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from samples_bus import BEGAN, Start, Trip
from samples_screens import assess_here, one_reading_database, shown
from streamlit.testing.v1 import AppTest
from test_views import run, said

from dashboard.desk.bus_source import starts_in
from dashboard.judging import bus_looking
from dashboard.screens import bus_logs
from ingest.errors import FileRefused
from ingest.store import open_database, read_readings

TRIP = Trip((Start(20.0), Start(110.0, crank_s=3.0, runs=False)), seconds=130.0, ambient_c=4.0, coolant_c=5.0)
NOVEMBER = BEGAN - 20 * 86_400.0
TAB = "Logs of the bus"


@pytest.fixture
def database(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(bus_logs, "look_into", starts_in)
    return shown(monkeypatch, one_reading_database(tmp_path / "fleet.db"), assess_here)


def page_with(name: str, data: str, **chosen: str) -> AppTest:
    app = run("files")
    app.session_state["files_tab"] = TAB
    app.run()
    app.file_uploader(key="log_file").set_value((name, data.encode(), "text/plain"))
    if "unit" in chosen:
        app.selectbox(key="log_unit").set_value(chosen["unit"])
    if "began" in chosen:
        app.text_input(key="log_began").set_value(chosen["began"])
    app.run()
    assert not app.exception, app.exception
    return app


def test_a_log_is_shown_before_it_is_stored_and_stored_once(database: Path) -> None:
    app = page_with("drive.log", TRIP.candump(began=NOVEMBER))
    table = app.dataframe[0].value
    assert table["went"].tolist() == ["started", "did not start"]
    assert table["lowest, V"].tolist() == ["at most 9.80", "at most 9.80"]
    assert app.button(key="log_store").disabled, "nobody said which vehicle"
    app.selectbox(key="log_unit").set_value("X-1").run()
    assert app.dataframe[0].value["as a reading"].tolist() == ["to be stored", "to be stored"]
    assert len(read_readings(open_database(database))) == 1, "only looked at so far"
    app.button(key="log_store").click().run()
    assert "2 stored, 0 already known, 0 not believed." in [one.value.replace("\\", "") for one in app.success]
    kept = read_readings(open_database(database))
    assert kept["lowest_is"].tolist() == ["", "sampled", "sampled"]
    app.button(key="log_store").click().run()
    assert "0 stored, 2 already known, 0 not believed." in [one.value.replace("\\", "") for one in app.success]


def test_a_log_without_dates_and_one_that_is_none(database: Path) -> None:
    app = page_with("drive.csv", TRIP.table(), unit="X-1")
    assert app.button(key="log_store").disabled
    assert "The log holds no dates: say above when it began." in [one.value for one in app.info]
    app.text_input(key="log_began").set_value("2026-11-10T07:00").run()
    assert not app.button(key="log_store").disabled
    app.text_input(key="log_began").set_value("soon").run()
    assert "soon is no time" in app.error[0].value
    app = page_with("letter.txt", "Dear all,\nno log.\n")
    assert "candump text with its times, MDF4, and a table" in said(app).replace("\\", "")
    assert database.exists()


@pytest.mark.nightly
def test_a_log_is_looked_into_by_a_process_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same starts as in this process; one that takes too long ends in a sentence."""
    file = tmp_path / "drive.log"
    file.write_text(replace(TRIP, seconds=40.0).candump())
    assert bus_looking.look_into(file) == starts_in(file)
    monkeypatch.setattr(bus_looking, "SECONDS_PER_FILE", 0.0005)
    with pytest.raises(FileRefused, match="more time or memory"):
        bus_looking.look_into(file)
