"""A vehicle that was bought this week: on record, never read, beside a fleet that is; its pages open and take its first reading.

Truth: the first reading, as it was typed.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from samples_fleet import quick
from samples_screens import assess_here, fleet_database, shown
from streamlit.testing.v1 import AppTest
from test_hostile_names import APP

from dashboard.cli.main import main
from ingest import store
from ingest.importer import import_paths

NEW = "NEW-1"


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick(monkeypatch)


def with_new(folder: Path) -> Path:
    path, units = fleet_database(folder / "fleet.db"), folder / "units.csv"
    units.write_text(f"unit,vehicle_class,system_v,depot\n{NEW},light_van,12,hill\n")
    import_paths(store.open_database(path), [units])
    return path


def test_its_pages_open_and_take_its_first_reading(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = shown(monkeypatch, with_new(tmp_path), assess_here)
    app = AppTest.from_file(str(APP), default_timeout=60)
    app.session_state["device"] = "ab" * 16
    app.run()
    for page in ("unit", "visit", "correct", "bay"):
        app.switch_page(f"views/{page}.py")
        app.query_params["unit"] = NEW
        app.run()
        assert not app.exception, page
    for label, value in (("Rest volts", "12.65"), ("Lowest volts", "11.2"), ("Steady amps", "160"), ("Air", "10")):
        next(field for field in app.text_input if field.label.startswith(label)).set_value(value)
    app.run()
    assert not app.exception
    said = " ".join(part.value for part in app.markdown)
    assert "never read" in said
    next(field for field in app.text_input if field.label.startswith("Your name")).set_value("A. Fitter").run()
    next(button for button in app.button if button.label == "Save reading").click().run()
    assert not app.exception
    read = store.read_readings(store.open_database(path), units=[NEW])
    assert read[["rest_v", "crank_min_v", "crank_a", "temperature_c"]].to_numpy().tolist() == [
        [12.65, 11.2, 160.0, 10.0]
    ]


def test_the_command_line_knows_it_before_and_after(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = with_new(tmp_path)
    assert main(["--db", str(path), "unit", NEW]) == 0
    assert "too few to judge" in " ".join(capsys.readouterr().out.split())
    words = ["record", NEW, "--rest-v", "12.65", "--crank-min-v", "11.2", "--crank-a", "160", "--temperature-c", "10"]
    assert main(["--db", str(path), *words]) == 0
    assert f"{NEW}: reading stored" in capsys.readouterr().out
