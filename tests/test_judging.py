"""The processes beside the screens: their order among others, and what they say when they fail."""

from __future__ import annotations

import json
import os
from datetime import date
from pathlib import Path

import pytest
from samples_screens import AS_OF, fleet_database

from dashboard.judging.process import JudgingFailed, assess_apart
from dashboard.screens import history


def test_past_lists_are_worked_out_where_the_system_knows_no_nice(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Definition: a day before the first reading has an empty list, on every system (os.nice is Unix's only)."""
    monkeypatch.delattr(os, "nice", raising=False)
    assert history.main([str(fleet_database(tmp_path / "fleet.db")), "30", "2020-01-01"]) == 0
    assert json.loads(capsys.readouterr().out) == {"day": "2020-01-01", "units": []}


@pytest.mark.nightly
def test_a_damaged_database_is_said_by_the_judging_in_a_sentence(tmp_path: Path) -> None:
    """Contract: what the process says last is a sentence, not the end of a traceback."""
    path = fleet_database(tmp_path / "fleet.db")
    path.write_bytes(path.read_bytes()[:4096] + b"\xa5" * 100_000)
    with pytest.raises(JudgingFailed, match="judged: cranktrend: the database is damaged; go back to a backup"):
        assess_apart(str(path), date.fromisoformat(str(AS_OF)), 30)
