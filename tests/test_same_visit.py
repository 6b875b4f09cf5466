"""One visit to the bay: what is advised is measured next, never twice, until a finding stands.

The starts are those of the bench's own forward model; what a technician would find is common practice.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from bench.starts import BUILDS, reading, sound_history, units
from samples_chance import one_in
from samples_ingest import NOW

from analysis.bay.decision_table import FILLS
from analysis.bay.same_visit import measured_before
from dashboard.cli.main import main
from dashboard.words.next_words import NEXT
from ingest.importer import import_paths
from ingest.store import open_database

AT = pd.Timestamp("2025-11-20T10:00")


@pytest.fixture(scope="module")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Sound vehicles of two classes with nine readings each."""
    place = tmp_path_factory.mktemp("bay")
    kinds, history = units(), sound_history()
    kept = kinds["vehicle_class"].isin(["sedan", "lorry"])
    kinds[kept].to_csv(place / "units.csv", index=False)
    history[history["unit"].isin(kinds["unit"][kept])].drop(columns="doubtful").to_csv(
        place / "readings.csv", index=False
    )
    db = open_database(place / "bay.db")
    done = import_paths(db, [place / "units.csv", place / "readings.csv"], now=NOW.replace(year=2026))
    assert done.set_aside == 0
    db.close()
    return place / "bay.db"


OPEN_WIRE = {"feed_v": 25.1, "jumper_start": "no_crank", "control_loaded_v": 25.0, "coil_loaded_v": 0.02}


@pytest.mark.parametrize(
    ("unit", "parts", "also", "first", "outcome", "advised", "found"),
    one_in(3, [
        ("lorry-1", {"ground": 9.0}, {}, ("rest_v", "crank_min_v"), "slow", ["the three drops"], "Points to the ground path"),
        ("sedan-1", {"torque": 2.1}, {}, ("rest_v", "crank_min_v", "crank_a"), "slow", ["cranking speed and peak amps"],
         "Points to drag in the engine"),
        ("lorry-2", {}, OPEN_WIRE, ("rest_v",), "no_click",
         ["feed terminal", "loaded check of the control wire"], "the control wire or a connector between the two is open"),
    ], apart=True),
)  # fmt: skip
def test_what_is_advised_is_measured_once_until_a_finding_stands(
    unit: str, parts: dict[str, float], also: dict[str, Any], first: tuple[str, ...], outcome: str, advised: list[str],
    found: str, fleet: Path, capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    build = BUILDS[unit[:-2]]
    own = replace(build, **{name: getattr(build, name) * factor for name, factor in parts.items()})
    truth: dict[str, Any] = {n: round(v, 3) for n, v in reading(own, 8.0).items()} | also
    wanted, measured, told = first, set[str](), ""
    for step, advice in enumerate([*advised, ""]):
        assert not measured & set(wanted), "advised again"
        measured |= set(wanted)
        values = [f"--{name.replace('_', '-')}={truth[name]}" for name in wanted]
        at = f"--taken-at=2025-11-20T10:{6 * step:02d}"
        assert main(["--db", str(fleet), "record", unit, at, "--temperature-c=8", f"--outcome={outcome}", *values]) == 0
        told = " ".join(capsys.readouterr().out.split())
        if advice:
            following = re.findall(r"these measurements, next: (.*)", told)[0]
            assert following.startswith(advice), told
            key = max((key for key, said in NEXT.items() if following.startswith(said)), key=lambda key: len(NEXT[key]))
            wanted = FILLS.get(key, (key,))
    assert found in told
    assert "With what was measured in the hours before" in told


def readings(*rows: dict[str, Any]) -> pd.DataFrame:
    """Readings so many minutes before AT."""
    return pd.DataFrame([{**row, "taken_at": AT - pd.Timedelta(minutes=row["before"])} for row in rows])


def test_nothing_counts_from_before_it_was_measured_again_or_repaired() -> None:
    now = {"taken_at": AT, "crank_rpm": 160.0}
    earlier = readings(
        {"before": 90, "rest_v": 12.6, "crank_a": 210.0, "outcome": "slow"},
        {"before": 60, "crank_a": 205.0, "drop_ground_v": 0.9, "doubtful": "drop_ground_v"},
        {"before": 30, "drop_positive_v": 0.1},
    )
    assert measured_before(now, earlier) == {"crank_a": 205.0, "drop_positive_v": 0.1}
    assert measured_before(now | {"drop_positive_v": 0.2}, earlier) == {}
    assert measured_before(now, earlier, repaired_on=AT.normalize()) == {}
    assert measured_before(now, readings({"before": 60 * 24, "crank_a": 205.0})) == {}


def test_a_try_that_failed_is_known_to_the_start_after_it_unless_repaired() -> None:
    """Common practice: what fails at times only is looked for where the failed try says, however sound the next start is."""
    tries = readings(
        {"before": 60, "rest_v": 12.6, "outcome": "click"}, {"before": 30, "rest_v": 12.6, "outcome": "no_click"}
    )
    now = {"taken_at": AT, "rest_v": 12.6, "outcome": "started"}
    assert measured_before(now, tries) == {"failed_before": "no_click"}
    assert measured_before(now, tries, repaired_on=AT.normalize()) == {}
    assert measured_before(now | {"outcome": "slow"}, tries) == {}
    assert measured_before(now, readings({"before": 30, "rest_v": 12.6, "outcome": "slow"})) == {}


def test_what_fails_at_times_only_is_named_after_a_sound_start(fleet: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record = ["--db", str(fleet), "record", "sedan-2", "--temperature-c=8"]
    assert main([*record, "--taken-at=2025-11-20T10:00", "--outcome=click", "--rest-v=12.65"]) == 0
    sound = [
        f"--{n.replace('_', '-')}={v:.3f}" for n, v in reading(BUILDS["sedan"], 8.0).items() if n != "temperature_c"
    ]
    capsys.readouterr()
    assert main([*record, "--dry-run", "--taken-at=2025-11-20T10:05", "--outcome=started", *sound]) == 0
    assert "the contacts do not close each time" in " ".join(capsys.readouterr().out.split())
