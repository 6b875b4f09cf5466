"""What a person types in goes through the same checks; resends change nothing; corrections keep the old value."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st
from samples_chance import examples
from samples_ingest import NOW, fleet, reading, readings_file
from sqlite_utils import Database

from dashboard.cli.main import main
from ingest.entries import check_reading, record_reading, record_repair
from ingest.importer import import_paths
from ingest.store import open_database, read_readings, read_repairs

VALUES = {
    "unit": "K-101",
    "taken_at": "2024-05-01T09:00",
    "rest_v": "12,65",
    "crank_min_v": "11.3 V",
    "drop_ground_mv": "95",
}


def test_recorded_in_the_units_of_the_meter(db: Database) -> None:
    typed = {
        **VALUES,
        "temperature_f": "50",
        "crank_clamp_mv": "17",
        "crank_clamp_mv_per_a": "0,1",
        "coil_clamp_mv": 760,
    }
    entry = record_reading(db, typed, by="ben", now=NOW)
    assert entry.stored, entry.problems
    row = read_readings(db).iloc[0]
    assert (row["rest_v"], row["crank_min_v"], row["drop_ground_v"]) == (12.65, 11.3, 0.095)
    assert (row["temperature_c"], row["crank_a"], row["coil_a"]) == pytest.approx((10.0, 170.0, 7.6))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"unit": "K-999"}, "unknown"),
        ({"rest_v": "126,5"}, "decimal point misplaced"),
        ({"crank_min_v": "13"}, "above rest volts"),
        ({"drop_ground_v": "0.1"}, "allowed is one of them"),
        ({"colour": "red"}, "'colour' is not a column"),
        ({"outcome": "maybe"}, "started, slow, no_start"),
        ({"taken_at": "2030-01-01"}, "future"),
        ({"crank_clamp_mv": "170", "crank_clamp_mv_per_a": "0"}, "above 0"),
    ],
)
def test_slips_are_said_before_and_on_saving(db: Database, changes: dict[str, Any], words: str) -> None:
    checked = check_reading(db, {**VALUES, **changes}, now=NOW)
    recorded = record_reading(db, {**VALUES, **changes}, by="ben", now=NOW)
    assert checked.problems == recorded.problems
    assert words in " ".join(checked.problems)
    assert len(read_readings(db)) == 0


def test_checking_stores_nothing_and_foresees_doubts(db: Database, tmp_path: Path) -> None:
    lines = [reading(taken_at=f"2023-0{month}-01T08:00") for month in (1, 2, 3)]
    import_paths(db, [readings_file(tmp_path, *lines)], now=NOW)
    entry = check_reading(db, {**VALUES, "drop_ground_mv": "910"}, now=NOW)
    assert entry.problems == ()
    assert entry.doubtful == ("drop_ground_v",)
    assert "ten times" in entry.doubts[0]
    assert len(read_readings(db)) == 3
    assert record_reading(db, {**VALUES, "drop_ground_mv": "910"}, by="ben", now=NOW).doubts == entry.doubts


def test_a_resend_changes_nothing(db: Database) -> None:
    first = record_reading(db, VALUES, by="ben", now=NOW, entry_id="form-1")
    again = record_reading(db, VALUES, by="ben", now=NOW, entry_id="form-1")
    same = record_reading(db, VALUES, by="ben", now=NOW, entry_id="form-2")
    assert first.stored
    assert again.known
    assert same.known
    assert first.row_id == again.row_id == same.row_id
    assert len(read_readings(db)) == 1


@pytest.mark.parametrize("typed", ["no click", "No-Click", "chatter", "spins", "cranks only", "click"])
def test_how_a_start_failed_is_kept(db: Database, typed: str) -> None:
    assert record_reading(db, {"unit": "K-101", "outcome": typed}, by="ben", now=NOW).stored
    assert read_readings(db)["outcome"].tolist() == [typed.casefold().replace(" ", "_").replace("-", "_")]


def test_an_outcome_alone_is_a_reading(db: Database) -> None:
    assert record_reading(db, {"unit": "K-101", "outcome": "no_start"}, by="ben", now=NOW).stored
    assert read_readings(db)["outcome"].tolist() == ["no_start"]


def test_repairs(db: Database) -> None:
    values = {"unit": "K-101", "part": "ground_path", "action": "Cleaned"}
    first = record_repair(db, values, by="ben", now=NOW, entry_id="r1")
    assert first.stored
    assert record_repair(db, values, by="ben", now=NOW, entry_id="r1").known
    assert record_repair(db, values, by="ben", now=NOW).known
    frame = read_repairs(db)
    assert frame["action"].tolist() == ["cleaned"]
    assert frame["done_on"].dt.strftime("%Y-%m-%d").tolist() == ["2024-06-01"]
    assert "battery" in record_repair(db, {**values, "part": "belt"}, by="ben", now=NOW).problems[0]


@examples(15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.dictionaries(st.sampled_from(["unit", "rest_v", "crank_a", "note", "taken_at"]), st.text(max_size=12)))
def test_whatever_is_typed_gets_an_answer(tmp_path: Path, values: dict[str, str]) -> None:
    if "db" not in _KEPT:
        _KEPT["db"] = fleet(tmp_path)
    entry = check_reading(_KEPT["db"], values, now=NOW)
    assert all("\n" not in problem for problem in entry.problems)


_KEPT: dict[str, Database] = {}


def test_two_technicians_and_an_import_at_once_lose_nothing(db: Database, tmp_path: Path) -> None:
    """Each on a connection of its own, as the screens have it: every entry is stored once, and waits for the others."""
    path = tmp_path / "fleet.db"
    rounds = 8
    file = readings_file(
        tmp_path, *(reading(unit="K-102", taken_at=f"2023-05-{n + 1:02d}T08:00") for n in range(rounds))
    )

    def technician(unit: str, name: str) -> int:
        own = open_database(path)
        kept = 0
        for n in range(rounds):
            values = {**VALUES, "unit": unit, "taken_at": f"2024-04-{n + 1:02d}T09:00"}
            kept += record_reading(own, values, by=name, now=NOW, entry_id=f"{name}-{n}").stored
        own.conn.close()
        return kept

    with ThreadPoolExecutor(3) as pool:
        work = [pool.submit(technician, "K-101", "ben"), pool.submit(technician, "K-102", "eva")]
        brought = pool.submit(lambda: import_paths(open_database(path), [file], now=NOW))
        assert [one.result(60) for one in work] == [rounds, rounds]
        assert brought.result(60).stored == rounds
    read = read_readings(db)
    assert read["unit"].value_counts().to_dict() == {"K-101": rounds, "K-102": 2 * rounds}


def test_a_vehicle_written_another_way_is_recorded_and_shown_as_itself(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    fleet(tmp_path)
    file = str(tmp_path / "fleet.db")
    assert main(["--db", file, "record", "k 101", "--rest-v", "12.6", "--taken-at", "2024-05-01T08:00"]) == 0
    shown = capsys.readouterr()
    assert shown.out.startswith("K-101: reading stored")
    assert "written 'k 101', taken for K-101" in shown.err
    assert main(["--db", file, "unit", "k101", "--as-of", "2024-05-02"]) == 0
    shown = capsys.readouterr()
    assert "'k101' is taken for K-101" in shown.err
    assert "K-101" in shown.out
    assert "knows what was read before 2024-05-02." in " ".join(shown.out.split())
