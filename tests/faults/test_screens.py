"""The screens on a full disk: one clear sentence, nothing half-written, and with room it goes.

Truth: a real disk of memory that the test fills, and the rows of the database before and after.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from samples_screens import assess_here, one_reading_database, shown
from streamlit.testing.v1 import AppTest
from test_files_page import bring_in, readings
from test_views import run

from faults.afterwards import faults_of
from faults.disks import filled, small_disk, why_no_mount

pytestmark = pytest.mark.skipif(bool(why_no_mount()), reason=why_no_mount())


@pytest.fixture
def disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A small disk with a database of one vehicle and one reading, shown by the screens."""
    with small_disk(tmp_path / "disk", 8 * 1024) as place:
        shown(monkeypatch, one_reading_database(place / "fleet.db"), assess_here)
        yield place


def dump(disk: Path) -> str:
    connection = sqlite3.connect(disk / "fleet.db")
    lines = [line for line in connection.iterdump() if 'INTO "devices"' not in line]
    connection.close()
    return "\n".join(lines)


def typed(app: AppTest) -> None:
    app.text_input(key="m_rest_v_X-1_0").set_value("12,5").run()


def chosen(app: AppTest) -> None:
    app.button_group(key="repair_part").set_value("battery").run()
    app.button_group(key="repair_action").set_value("replaced").run()


def horizon(app: AppTest) -> None:
    app.number_input(key="set_horizon").set_value(45).run()


nightly = pytest.mark.nightly
FORMS = (
    ("bay", typed, "save"),
    pytest.param("work", chosen, "save_repair", marks=nightly),
    pytest.param("settings", horizon, "save_settings", marks=nightly),
)


@pytest.mark.parametrize(("page", "fill_in", "button"), FORMS)
def test_a_form_saved_on_a_full_disk(disk: Path, page: str, fill_in: Callable[[AppTest], None], button: str) -> None:
    """One error, which says that the disk is full; the same press with room saves what is still filled in."""
    app = run(page, unit=None if page == "settings" else "X-1")
    fill_in(app)
    before = dump(disk)
    with filled(disk, 0):
        app.button(key=button).click().run()
        assert not app.exception, app.exception
        assert [("disk is full" in one.value) for one in app.error] == [True], [one.value for one in app.error]
    assert dump(disk) == before
    assert faults_of(disk / "fleet.db") == []
    app.button(key=button).click().run()
    assert not app.error
    assert dump(disk) != before


@nightly
def test_files_brought_in_on_a_full_disk(disk: Path) -> None:
    """The file is named as not stored, in red; nothing of it is there; brought in again with room it is."""
    run("files")
    before = dump(disk)
    with filled(disk, 0):
        app = bring_in(("r.csv", readings(1, 2, 3)))
        assert len(app.error) == 1
        assert "disk is full" in " ".join([*(one.value for one in app.error), *(one.value for one in app.markdown)])
    assert dump(disk) == before
    app = bring_in(("r.csv", readings(1, 2, 3)))
    assert not app.error
    assert faults_of(disk / "fleet.db") == []
