"""A click that the next one overtakes: what was saved is said, is saved once, and bears the name typed last thing before.

The framework ends an overtaken run at its next touch of the page; here the first run is told to end right after its write,
which is the worst moment, and the second click comes then. Truth: what the test itself clicked, read back from the database.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from samples_chance import one_in
from samples_screens import assessed, listed_database, shown, worst_unit
from streamlit.runtime.scriptrunner import get_script_run_ctx
from streamlit.testing.v1 import AppTest
from test_views import run, said

import ingest.entries
import ingest.records
import ingest.visits
from dashboard.screens import decisions, plan_changes, session
from dashboard.words import decision_words, plan_page, record_words, settings_words, visit_words
from ingest import store
from ingest.visits import open_visits

NAME = "Ann of the bay"


@pytest.fixture
def fleet(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    return shown(monkeypatch, listed_database(tmp_path / "fleet.db"), lambda _key: assessed())


def end_after(monkeypatch: pytest.MonkeyPatch, where: object, name: str) -> list[int]:
    """Have the first run that calls this function ended at its next touch of the page; a 1 for every call."""
    calls, does = list[int](), getattr(where, name)

    def ended(*args: object, **more: object) -> object:
        done = does(*args, **more)
        running = get_script_run_ctx()
        if not calls and running is not None and running.script_requests is not None:
            running.script_requests.request_stop()
        calls.append(1)
        return done

    monkeypatch.setattr(where, name, ended)
    return calls


def bay(_fleet: Path) -> AppTest:
    app = run("bay", unit=worst_unit())
    app.text_input(key="who_bay").set_value(NAME).run()
    app.text_input(key=f"m_drop_ground_v_{worst_unit()}_0").set_value("0.11")
    return app.run()


def repair(_fleet: Path) -> AppTest:
    app = run("work", unit=worst_unit())
    app.button_group(key="repair_part").set_value("battery")
    app.button_group(key="repair_action").set_value("charged")
    return app.run()


def decision(_fleet: Path) -> AppTest:
    return run("unit", unit=worst_unit())


def visit(fleet: Path) -> AppTest:
    (planned, *_) = open_visits(store.open_database(fleet), worst_unit())
    app = run("visit", unit=worst_unit())
    app.text_input(key="who_visit").set_value(NAME)
    app.button_group(key=f"found_{planned['uid'][:12]}_{worst_unit()}").set_value("worn")
    return app.run()


def settings(_fleet: Path) -> AppTest:
    app = run("settings")
    app.number_input(key="set_horizon").set_value(45)
    return app


def plan(_fleet: Path) -> AppTest:
    return run("plan")


@dataclass(frozen=True)
class Save:
    """A page made ready, its button, what writes, what is to be said, and what is to be on record once."""

    ready: Callable[[Path], AppTest]
    button: str
    where: object
    name: str
    words: str
    once: str = "SELECT 1"


SAVES = (
    Save(bay, "save", ingest.entries, "record_reading", f"measured by {NAME}",
         f"SELECT count(*) FROM readings WHERE technician = '{NAME}' AND drop_ground_v = 0.11"),
    Save(repair, "save_repair", ingest.entries, "record_repair", record_words.REPAIR_KEPT,
         "SELECT count(*) FROM repairs WHERE action = 'charged' AND done_on = '2026-11-30'"),
    Save(decision, "accept", decisions, "save_decision", decision_words.KEPT, "SELECT count(*) FROM decisions"),
    Save(visit, "save_visit", ingest.visits, "close_visit", visit_words.KEPT,
         "SELECT count(*) FROM visits WHERE found = 'worn'"),
    Save(settings, "save_settings", ingest.records, "save_setting", settings_words.SAVED,
         "SELECT count(*) FROM audit WHERE row_key = 'horizon_days'"),
    Save(plan, "plan_again", plan_changes, "make_plan", plan_page.NOTHING_CHANGES.format(version=1)),
)  # fmt: skip


@pytest.mark.parametrize("save", one_in(6, SAVES), ids=lambda save: save.ready.__name__)
def test_what_two_quick_clicks_saved_is_said_and_there_once(
    fleet: Path, save: Save, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = save.ready(fleet)
    assert save.words not in said(app).replace("\\", "")
    calls = end_after(monkeypatch, save.where, save.name)
    app.button(key=save.button).click().run()
    assert calls, "the first click wrote, and its run ended there"
    for again in [one for one in app.button if one.key == save.button]:
        again.click()
    app.run()
    assert not app.exception
    assert save.words in said(app).replace("\\", "")
    assert [one.key for one in app.button if one.key and one.key.startswith("undo_")] or save.ready in (settings, plan)
    assert store.open_database(fleet).execute(save.once).fetchone()[0] == 1


@pytest.mark.usefixtures("fleet")
def test_a_name_is_kept_whatever_ended_the_run_that_it_came_with() -> None:
    """Typed, and overtaken before the page was drawn: the next run has it, in the bay as in the margin."""
    app = run("bay", unit=worst_unit())
    app.text_input(key="who_bay").set_value(NAME)
    with pytest.MonkeyPatch.context() as patch:
        begun = end_after(patch, session, "acts_ended")
        app.run()
    assert begun
    assert app.run().text_input(key="who").value == NAME
    assert app.text_input(key="who_bay").value == NAME
