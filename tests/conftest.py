"""One folder for a run of the tests, shared by its workers."""

from __future__ import annotations

import os

import pytest
import samples_kept

os.environ["OPENPYXL_LXML"] = (
    "False"  # workbooks are written alike whether the extra `logs`, which brings lxml, is there or not
)


def pytest_configure() -> None:
    """The run steps back as far as it can: what the screens start beside it, which steps back too, is then not starved."""
    if hasattr(os, "nice"):
        os.nice(19)


@pytest.fixture(scope="session", autouse=True)
def _kept_for_the_run(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Where `samples_kept` keeps what is made once a run: above the workers' own folders, where there are workers."""
    base = tmp_path_factory.getbasetemp()
    samples_kept.keep_in((base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "kept")
