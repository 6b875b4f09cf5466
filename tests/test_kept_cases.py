"""Single readings of vehicles from a town car to a bus, imported as a user does, and what a technician would find.

The files of `bench/kept` hold vehicles, nine sound readings of each, and of most one more; the starts are of a small circuit with
permanent-magnet and series-wound motors, oils by ASTM D341 and batteries by a table of open data, apart from the bench's and
the program's own laws. `expected.csv` names for each what the first finding may be, what none may be, and the source.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from dashboard.desk.own_limits import limit_book
from dashboard.desk.reading_source import class_name, knowledge_from, latest_taken
from ingest import store
from ingest.importer import import_paths
from ingest.store import open_database

KEPT = Path(__file__).parent / "bench" / "kept"
NOW = datetime(2026, 2, 11)
DAY = pd.Timestamp("2026-02-10")  # of the readings that are judged
WANTED: list[dict[str, Any]] = pd.read_csv(KEPT / "expected.csv", keep_default_na=False).to_dict("records")


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[str]]:
    """Vehicle -> the segments that its latest reading points to, the likeliest first."""
    db = open_database(tmp_path_factory.mktemp("kept") / "kept.db")
    for files in (("units", "climate", "history"), ("cases",)):
        assert import_paths(db, [KEPT / f"{name}.csv" for name in files], now=NOW).set_aside == 0
    book, known, said = limit_book(db), dict[str, Any](), dict[str, list[str]]()
    units = store.read_units(db)
    for unit in units[units["unit"].isin([case["unit"] for case in WANTED])].to_dict("records"):
        of = class_name(unit)
        if of not in known:
            known[of] = knowledge_from(db, unit, before=DAY, units=units)
        taken = latest_taken(db, unit, store.read_readings(db, units=[unit["unit"]]), known[of], book)
        assert taken is not None
        assert taken.taken_at >= DAY
        said[unit["unit"]] = [finding.segment for finding in taken.check.findings]
    return said


@pytest.mark.parametrize("case", WANTED, ids=lambda case: str(case["what"]))
def test_a_technician_would_sign_it(case: dict[str, Any], found: dict[str, list[str]]) -> None:
    said = found[case["unit"]]
    assert (said[0] if said else "none") in case["first"].split(), (said, case["source"])
    assert not set(said) & set(case["never"].split()), (said, case["source"])


def test_every_case_names_its_source() -> None:
    assert len(WANTED) >= 20
    assert all(len(case["source"]) > 15 for case in WANTED)
