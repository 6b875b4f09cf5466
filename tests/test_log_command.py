"""`cranktrend log`: starts found in logs of the bus, printed, and stored as readings: whole, once, bounds as bounds.

Truth: drives that the test itself made (`samples_bus`), and the rules that every reading has to pass.
"""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from samples_bus import BEGAN, Start, Trip
from samples_ingest import fleet

from dashboard.cli.main import main
from dashboard.desk import bus_source
from ingest.store import open_database, read_readings

TRIP = Trip((Start(20.0), Start(110.0, crank_s=3.0, runs=False, lowest_v=9.4)), seconds=130.0)
SUMMER = BEGAN - 190 * 86_400.0  # the invented fleet's clock is not the machine's: any past day will do


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A database with the invented fleet, a log beside it, and a clock in UTC."""
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    fleet(tmp_path)
    (tmp_path / "drive.log").write_text(replace(TRIP, ambient_c=7.0, coolant_c=9.0).candump(began=SUMMER))
    monkeypatch.chdir(tmp_path)
    yield tmp_path
    monkeypatch.undo()
    time.tzset()


def run(*words: str, capsys: pytest.CaptureFixture[str]) -> tuple[int, str, str]:
    code = main(["--db", "fleet.db", "log", *words])
    said = capsys.readouterr()
    return code, said.out, said.err


def test_starts_are_printed_without_a_database_and_nothing_is_stored(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("drive.log").write_text(TRIP.candump())
    code, out, err = run("drive.log", capsys=capsys)
    assert (code, err) == (0, "")
    words = " ".join(out.split())
    assert "2 starts, speed from address 00; volts from address 00 every 1.00 s (also from address 21)" in words
    assert "started, rest 12.60 V, lowest at most 9.80 V, cranking 1.4" in words
    assert (
        "did not start, rest 12.60 V, lowest at most 9.40 V, cranking 3.00 ± 0.01 s, at 180 ± 9 rpm, air −4 °C" in words
    )
    assert not Path("fleet.db").exists()


def test_starts_become_readings_once_with_bounds_as_bounds(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run("drive.log", "--unit", "K-101", "--record", capsys=capsys)
    assert code == 0
    assert out.count("stored as reading") == 2
    kept = read_readings(open_database(folder / "fleet.db"))
    assert kept["taken_at"].dt.strftime("%H:%M").tolist() == ["07:00", "07:01"]
    assert kept["crank_min_v"].round(2).tolist() == [9.8, 9.4]
    assert kept["lowest_is"].tolist() == ["sampled", "sampled"]
    assert kept["rest_v"].round(2).tolist() == [12.6, 12.6]
    assert kept["temperature_c"].tolist() == [7.0, 7.0]
    assert kept["outcome"].tolist() == ["started", ""], "how an engine did not start is for a person to say"
    assert kept["instrument"].tolist() == ["bus log", "bus log"]
    assert kept["crank_rpm"].round().tolist() == [181.0, 180.0]
    code, out, _ = run("drive.log", "--unit", "K-101", "--record", capsys=capsys)
    assert (code, out.count("already known")) == (0, 2)
    assert len(read_readings(open_database(folder / "fleet.db"))) == 2


def test_a_start_that_cannot_be_believed_is_said_and_not_stored(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """24 V in a log of a 12 V vehicle: the other vehicle's."""
    trip = Trip((Start(20.0, lowest_v=19.0, dip_v=18.0),), rest_v=25.2, ambient_c=7.0, coolant_c=9.0)
    (folder / "other.log").write_text(trip.candump(began=SUMMER))
    code, out, _ = run("other.log", "drive.log", "--unit", "K-101", "--record", capsys=capsys)
    assert code == 1
    assert "not stored: rest_v is 25.2 V" in out
    assert len(read_readings(open_database(folder / "fleet.db"))) == 2, "the other log is stored"


def test_a_warm_engine_gives_no_reading(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "warm.log").write_text(replace(TRIP, ambient_c=7.0, coolant_c=70.0).candump(began=SUMMER))
    code, out, _ = run("warm.log", "--unit", "K-101", "--record", capsys=capsys)
    assert (code, out.count("no reading: the engine was warm")) == (0, 2)
    assert read_readings(open_database(folder / "fleet.db")).empty


def test_a_log_is_stored_whole_or_not_at_all(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    real, seen = bus_source.record_reading, []

    def stopped(*words: object, **more: object) -> object:
        seen.append(1)
        if len(seen) == 2:
            raise KeyboardInterrupt
        return real(*words, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(bus_source, "record_reading", stopped)
    assert run("drive.log", "--unit", "K-101", "--record", capsys=capsys)[0] == 130
    assert len(seen) == 2
    assert read_readings(open_database(folder / "fleet.db")).empty


def test_what_is_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "table.csv").write_text(TRIP.table())
    (folder / "silent.log").write_text("(1.0) can0 18FEF700#FFFFFFFFFC00FFFF\n")
    refusals = {
        ("drive.log", "--record"): "--record needs --unit",
        ("drive.log", "--record", "--unit", "K-999"): "unit is 'K-999'",
        ("drive.log", "--began", "yesterday"): "allowed is a time as 2026-01-31T07:45",
        ("table.csv", "--record", "--unit", "K-101"): "it holds no dates",
        ("silent.log",): "no engine speed",
        ("nothing.log", "drive.log", "--record", "--unit", "K-101"): "there is no such file",
    }
    for words, sentence in refusals.items():
        code, _, err = run(*words, capsys=capsys)
        assert (code, sentence in err) == (2, True), (words, err)
        assert err.count("\n") == 1, err
    assert len(read_readings(open_database(folder / "fleet.db"))) == 2, "the other file is stored"


def test_a_log_without_dates_begins_when_the_user_says(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "table.csv").write_text(replace(TRIP, ambient_c=7.0, coolant_c=9.0).table())
    words = ("table.csv", "--unit", "K-101", "--record", "--began", "2024-05-01T06:30", "--format", "json")
    code, out, _ = run(*words, capsys=capsys)
    assert code == 0
    (log,) = json.loads(out, parse_constant=pytest.fail)
    assert [start["taken_at"] for start in log["starts"]] == ["2024-05-01T06:30:19", "2024-05-01T06:31:49"]
    assert [(start["stored"], start["lowest_is"]) for start in log["starts"]] == [(True, "sampled")] * 2
