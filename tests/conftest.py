"""One folder for a run of the tests, shared by its workers."""

from __future__ import annotations

import fcntl
import gc
import os
import sys
from collections.abc import Generator, Iterator
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import samples_chance

if TYPE_CHECKING:  # what few tests need is loaded by those
    from sqlite_utils import Database

os.environ["OPENBLAS_NUM_THREADS"] = "1"  # every core has a worker; threads that wait for others only burn its time
os.environ["OPENPYXL_LXML"] = (
    "False"  # workbooks are written alike whether the extra `logs`, which brings lxml, is there or not
)
gc.disable()  # while what stays to the end is loaded


def pytest_configure(config: pytest.Config) -> None:
    """The run steps back as far as it can: what the screens start beside it, which steps back too, is then not starved."""
    samples_chance.by_night(config.option.markexpr == "nightly")
    if hasattr(os, "nice"):
        os.nice(19)


@pytest.hookimpl(wrapper=True)
def pytest_collection(session: pytest.Session) -> Generator[None, object, object]:
    """The first worker compiles every module that is imported; the others wait, and find them compiled."""
    if "PYTEST_XDIST_WORKER" not in os.environ or sys.dont_write_bytecode:
        return (yield)
    with (Path(session.config.option.basetemp).parent / "collecting.lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            fcntl.flock(lock, fcntl.LOCK_SH)
        return (yield)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Tests with compiled loops come first, so that one worker compiles them, and no other waits; the longest tests are among them.

    By day inputs by chance hold no constants of our own: each worker would read every module for them; by night they do.
    """
    items.sort(key=lambda item: "compiled" not in getattr(item, "fixturenames", ()))
    if "hypothesis" in sys.modules and not samples_chance.is_night():
        from hypothesis.internal.conjecture import providers

        own = providers._local_constants
        providers._get_local_constants = lambda: own  # type: ignore[assignment]


def pytest_collection_finish() -> None:
    """What was loaded stays to the end: it is not looked through again at every collection of garbage, nor are these as frequent.

    Which installed packages bring components for Streamlit is looked for once, and not by every page that a test opens; a page is
    compiled once, as the server does; its end is waited for, and not asked for a thousand times a second.
    """
    if "streamlit.testing.v1" in sys.modules:
        from streamlit.components.v2 import manifest_scanner
        from streamlit.testing.v1 import local_script_runner as pages

        asked = pages.require_widgets_deltas

        def waited(page: pages.LocalScriptRunner, timeout: float = 3) -> None:
            page._script_thread.join(timeout)
            if not page.script_stopped():
                asked(page, timeout)

        compiled = pages.ScriptCache()
        pages.ScriptCache = lambda: compiled  # type: ignore[assignment,misc]
        pages.require_widgets_deltas = waited
        manifest_scanner.scan_component_manifests = cache(manifest_scanner.scan_component_manifests)
    gc.freeze()
    gc.set_threshold(20_000, 20, 10)
    gc.enable()


@pytest.fixture(scope="session", autouse=True)
def _kept_for_the_run(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Where `samples_kept` keeps what is made once a run: above the workers' own folders, where there are workers."""
    import samples_kept  # here, so that the process that only deals the tests out does not load the program

    base = tmp_path_factory.getbasetemp()
    samples_kept.keep_in((base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "kept")


@pytest.fixture(scope="session")
def _loops(tmp_path_factory: pytest.TempPathFactory) -> dict[object, object]:
    """Loops as they are compiled: by one worker, while the others wait and take what it kept."""
    from analysis.kernel import ready

    with (tmp_path_factory.getbasetemp().parent / "kernel.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        assert ready.make_ready(lambda: None)
    made = dict(ready._made)
    ready.leave()
    return made


@pytest.fixture(scope="module")
def compiled(_loops: dict[object, object]) -> Iterator[None]:
    """Compiled loops, as large fleets have them."""
    from analysis.kernel import ready

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ready, "_made", dict(_loops))
        yield


@pytest.fixture
def db(tmp_path: Path) -> Database:
    """Three vehicles without a reading (`samples_ingest`)."""
    from samples_ingest import fleet

    return fleet(tmp_path)


@pytest.fixture
def fleet(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The screens on a copy of the small fleet, which is judged once a run (`samples_screens`)."""
    from samples_screens import assessed, fleet_database, past_like_today, shown

    from dashboard.screens import history

    monkeypatch.setattr(history, "_work_out", past_like_today)
    return shown(monkeypatch, fleet_database(tmp_path / "fleet.db"), lambda _key: assessed())
