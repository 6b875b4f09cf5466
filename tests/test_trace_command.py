"""`cranktrend trace`: what a recorded start shows, and the reading it becomes, checked as `record` checks it.

Truth: the contract (exit codes, JSON names); a trace of `demo_fleet.traces`, whose values tests/test_trace.py holds.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from samples_fleet import fleet_folder, quick

from dashboard.cli.main import main
from dashboard.desk.trace_source import reading_values, recording_of
from demo_fleet.traces import Instruments, Key, play, record, script_of, write_example
from demo_fleet.vehicles import CLASSES
from ingest.backups import backup
from ingest.fields import OF_A_TRACE
from ingest.store import open_database, read_readings

WHEN = ("--taken-at", "2022-12-12T09:00", "--temperature-c", "5")


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A van that starts, clamp at 1 mV/A."""
    return write_example(tmp_path_factory.mktemp("trace") / "start.csv")


@pytest.fixture(scope="module")
def three(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An aborted start and two more."""
    played = play(script_of(CLASSES["panel_van_diesel"]), [Key(1, 1.25), Key(3, 4), Key(6, 8)], lasts_s=9.0)
    rows = np.column_stack(record(played, Instruments(500.0), np.random.default_rng(1)))
    path = tmp_path_factory.mktemp("trace") / "three.csv"
    np.savetxt(path, rows, fmt="%.4f", delimiter=",", header="time_s,volts,amps", comments="")
    return path


@pytest.fixture(scope="module")
def fleet_database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return fleet_folder(tmp_path_factory.mktemp("fleet"))


@pytest.fixture
def db(fleet_database: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of a small fleet's database."""
    quick(monkeypatch)
    return backup(open_database(fleet_database, create=False), tmp_path / "own.db")


def unit_of(db: Path, cylinders: int = 4, system_v: int = 12) -> str:
    """A vehicle of so many cylinders and volts."""
    found = open_database(db, create=False).execute(
        "SELECT unit FROM units WHERE cylinders = ? AND system_v = ? AND vehicle_class = 'panel_van_diesel'",
        (cylinders, system_v),
    )  # fmt: skip
    return str(found.fetchone()[0])


def test_text_says_every_value_with_its_error(example: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["trace", str(example), "--clamp", "1mV/A", "--cylinders", "4"]) == 0
    out = capsys.readouterr().out
    for said in ("rest volts", "lowest volts in the inrush", "lowest volts while turning steadily", "inrush peak",
                 "steady amps", "cranking time", "cranking speed", "source resistance", "mΩ", "cylinders", "hint",
                 "±", "Before it is cranked again", "The engine ran"):  # fmt: skip
        assert said in out, said


def test_json_holds_every_value_with_error_bound_and_reason(example: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["trace", str(example), "--clamp", "1mV/A", "--format", "json"]) == 0
    start = json.loads(capsys.readouterr().out)["starts"][0]
    assert start["begin_s"] == pytest.approx(0.8, abs=0.005)
    for name in (*OF_A_TRACE, "source_mohm", "ripple_low_v", "firing_hz"):
        assert set(start[name]) == {"value", "se", "bound", "reason"}, name
    assert start["crank_rpm"] == {
        "value": None,
        "se": None,
        "bound": None,
        "reason": "the number of cylinders is not known",
    }
    assert start["crank_dip_v"]["value"] < start["crank_min_v"]["value"] - 1


def test_cylinders_come_from_the_vehicle(example: Path, db: Path, capsys: pytest.CaptureFixture[str]) -> None:
    unit = unit_of(db)
    assert main(["--db", str(db), "trace", str(example), "--clamp", "1", "--unit", unit, "--format", "json"]) == 0
    body = json.loads(capsys.readouterr().out)
    assert (body["cylinders"], body["system_v"]) == (4, 12)
    assert body["starts"][0]["crank_rpm"]["value"] == pytest.approx(193.4, abs=2)
    assert "reading" not in body


def test_a_trace_becomes_a_reading_once(example: Path, db: Path, capsys: pytest.CaptureFixture[str]) -> None:
    unit = unit_of(db)
    words = ["--db", str(db), "trace", str(example), "--clamp", "1mV/A", "--unit", unit, "--record", *WHEN]
    before = len(read_readings(open_database(db, create=False)))
    assert main(words) == 0
    assert f"{unit}: reading stored (2022-12-12T09:00:00)" in capsys.readouterr().out
    readings = read_readings(open_database(db, create=False))
    assert len(readings) == before + 1
    stored = readings[(readings["unit"] == unit) & (readings["taken_at"] == "2022-12-12T09:00")].iloc[0]
    recording = recording_of(example, clamp_mv_per_a=1.0, cylinders=4)
    for name, value in reading_values(recording.measured(1), recording.trace.rate_hz).items():
        assert stored[name] == value, name
    assert stored["instrument"] == "recorded trace, 1000 Hz"
    assert stored["temperature_c"] == 5
    assert main([*words, "--format", "json"]) == 0
    assert json.loads(capsys.readouterr().out)["reading"]["known"] is True
    assert len(read_readings(open_database(db, create=False))) == before + 1


@pytest.mark.nightly
def test_a_reading_that_cannot_be_is_not_stored(example: Path, db: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A 12 V van's trace under a 24 V vehicle's number: the checks of `record`, its exit code, nothing half-written."""
    other = open_database(db, create=False).execute("SELECT unit FROM units WHERE system_v = 24").fetchone()[0]
    before = len(read_readings(open_database(db, create=False)))
    words = ["--db", str(db), "trace", str(example), "--clamp", "0.02mV/A", "--unit", other, "--record", *WHEN]
    assert main(words) == 2  # 40,000 A: the file is refused
    assert main([*words[:5], "1mV/A", *words[6:-4], "--taken-at", "2999-01-01T00:00"]) == 1
    assert "taken_at" in capsys.readouterr().err
    assert len(read_readings(open_database(db, create=False))) == before


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--record",), "--record needs the vehicle's number"),
        (("--temperature-c", "5"), "--temperature-c belongs to a reading"),
        (("--event", "4"), "--event is 4; allowed is 1 to 3"),
        (("--begin", "2"), "the trace holds 3 starts; say which is meant, as in --event 1"),
        (("--event", "2", "--begin", "9"), "allowed is begin before steady turning before end"),
        (("--clamp", "10mV/A"), "the column 'amps' is in amps already; leave the clamp's scale out"),
    ],
)
def test_words_that_cannot_be_are_refused(
    words: tuple[str, ...], said: str, three: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code = main(["trace", str(three), *words])
    err = " ".join(capsys.readouterr().err.split())
    assert code == 2
    assert said in err


@pytest.mark.parametrize("scale", ["7x", "0", "-1", "1e9", "10mA/V", ""])
def test_scales_of_clamps_that_cannot_be(scale: str, three: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(["trace", str(three), f"--clamp={scale}"])
    assert left.value.code == 2
    assert "allowed is as 10mV/A" in " ".join(capsys.readouterr().err.split())


def test_one_event_and_moved_marks(three: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def told(*words: str) -> list[dict]:
        assert main(["trace", str(three), "--cylinders", "4", "--format", "json", *words]) == 0
        return list(json.loads(capsys.readouterr().out)["starts"])

    assert [round(start["begin_s"]) for start in told()] == [1, 3, 6]
    (third,) = told("--event", "3")
    assert third["start"] == 3
    (moved,) = told("--event", "3", "--end", "7,5")
    assert moved["crank_s"]["value"] == pytest.approx(1.5, abs=0.01)


def test_several_starts_are_not_recorded_at_a_guess(three: Path, db: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["--db", str(db), "trace", str(three), "--unit", unit_of(db), "--record", *WHEN]
    assert main(words) == 2
    assert "say which is meant, as in --event 1" in capsys.readouterr().err
    assert main([*words, "--event", "3"]) == 0


def test_a_file_without_a_start_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "none.csv"
    path.write_text("time_s,volts\n" + "".join(f"{k / 100},12.{k % 3}\n" for k in range(200)), encoding="utf-8")
    assert main(["trace", str(path)]) == 0
    assert "No start is in this trace." in capsys.readouterr().out


def test_a_file_that_is_no_trace_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["trace", str(tmp_path / "gone.csv")]) == 2
    assert "gone.csv: there is no such file" in capsys.readouterr().err


def test_bounds_become_no_values(tmp_path: Path) -> None:
    """At 15 samples a second the lowest volts are a bound, and are kept as one; the dip is not kept."""
    played = play(script_of(CLASSES["panel_van_diesel"]), [Key(1, 4)], lasts_s=5.0)
    time, volts, _ = record(played, Instruments(15.0), np.random.default_rng(1))
    path = tmp_path / "slow.csv"
    np.savetxt(path, np.column_stack([time, volts]), fmt="%.4f", delimiter=",", header="time_s,volts", comments="")
    recording = recording_of(path, cylinders=4)
    assert recording.measured(1).crank_min_v.bound == "at most"
    values = reading_values(recording.measured(1), 15.0)
    assert set(values) == {"rest_v", "crank_min_v", "lowest_is", "instrument"}
    assert values["lowest_is"] == "sampled"
