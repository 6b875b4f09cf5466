"""Logs of the bus: published layouts decoded, whatever is no log refused in one sentence.

Truth: worked examples in print (a generator controller's manual: 0CF00400 ff 7d 7d e0 15 ff f0 ff is 700 rpm; an OBD library's
page: 41 05 3C is 20 °C), the standards' formulas worked by hand, and signals that the test itself packed.
"""

from __future__ import annotations

import importlib
import importlib.util
import os
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples_bus import BEGAN, Start, Trip, rpm_at
from samples_chance import examples

from ingest.bus_codes import AMBIENT_C, BATTERY_V, COOLANT_C, ENGINE_RPM, KEYSWITCH_V, pgn_of, values_of
from ingest.bus_logs import BusLog, read_log
from ingest.bus_tables import signal_of
from ingest.errors import FileRefused

TRIP = Trip((Start(20.0),))


def decoded(identifier: int, words: str, *, long: bool = True) -> dict[str, float]:
    return {signal: value for signal, _, value in values_of(identifier, long, bytes.fromhex(words))}


def taken(folder: Path, text: str | bytes, name: str = "a.log") -> BusLog:
    file = folder / name
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_log(file)


def refused(folder: Path, text: str | bytes, name: str = "a.log") -> str:
    with pytest.raises(FileRefused) as error:
        taken(folder, text, name)
    assert "\n" not in str(error.value)
    return str(error.value)


# --- frames ----------------------------------------------------------------------------------------------------------


def test_frames_are_decoded_as_in_print() -> None:
    assert decoded(0x0CF00400, "ff7d7de015fff0ff") == {ENGINE_RPM: 700.0}
    assert decoded(0x7E8, "0341053c00000000", long=False) == {COOLANT_C: 20.0}
    assert decoded(0x7E8, "04410c1af8000000", long=False) == {ENGINE_RPM: 1726.0}  # (256 * 26 + 248) / 4
    assert decoded(0x18DAF110, "04 41 42 31 38 00 00 00".replace(" ", "")) == {BATTERY_V: 12.6}  # 12600 mV
    assert decoded(0x7E9, "0341462300000000", long=False) == {AMBIENT_C: -5.0}


def test_frames_are_decoded_as_the_standard_s_formulas_say() -> None:
    """By hand: 252 * 0.05 V = 12.6 V, 251 * 0.05 V = 12.55 V; 37 - 40 = -3 °C; 8608 / 32 - 273 = -4 °C."""
    assert decoded(0x18FEF721, "fffffffffc00fb00") == {
        BATTERY_V: pytest.approx(12.6),
        KEYSWITCH_V: pytest.approx(12.55),
    }
    assert decoded(0x18FEEE00, "25ffffffffffffff") == {COOLANT_C: -3.0}
    assert decoded(0x18FEF500, "ffffffa021ffffff") == {AMBIENT_C: -4.0}


def test_what_is_not_available_is_no_value_and_short_frames_are_none() -> None:
    """SAE J1939-71: whole numbers from 0xFB00 on, of one byte from 0xFB on, are no values."""
    for raw in ("00fb", "ffff", "00fe"):
        assert decoded(0x0CF00400, f"ff7d7d{raw}fff0ff") == {}
    assert decoded(0x0CF00400, "ff7d7dfffafff0ff") == {ENGINE_RPM: 8031.875}, "0xFAFF is the highest"
    assert decoded(0x18FEEE00, "fb") == {}
    assert decoded(0x0CF00400, "ff7d7de0") == {}
    assert decoded(0x123, "ff7d7de015fff0ff", long=False) == {}


def test_an_answer_may_hold_several_pids() -> None:
    assert decoded(0x7E8, "06410c0b40055500", long=False) == {ENGINE_RPM: 720.0, COOLANT_C: 45.0}
    assert decoded(0x7E8, "034105", long=False) == {}, "cut off"
    assert decoded(0x7E8, "0241050000000000", long=False) == {}, "a length without a value"


def test_the_parameter_group_of_an_identifier() -> None:
    """SAE J1939-21: below 240 the second byte is the address that is spoken to."""
    assert (pgn_of(0x0CF00400), pgn_of(0x18FEF721), pgn_of(0x18EA00F9)) == (61444, 65271, 0xEA00)


@examples(25)
@given(st.integers(0, 0x1FFFFFFF), st.booleans(), st.binary(max_size=9))
def test_any_frame_gives_numbers_of_known_signals(identifier: int, long: bool, data: bytes) -> None:
    for signal, source, value in values_of(identifier, long, data):
        assert signal in (ENGINE_RPM, BATTERY_V, KEYSWITCH_V, COOLANT_C, AMBIENT_C)
        assert source
        assert np.isfinite(value)


# --- candump text ----------------------------------------------------------------------------------------------------


def test_a_candump_log_becomes_signals_by_source(tmp_path: Path) -> None:
    log = taken(tmp_path, TRIP.candump())
    assert log.dated
    assert log.unread == 0
    assert sorted(log.signals[BATTERY_V]) == ["address 00", "address 21"]
    source, speed = log.fastest(ENGINE_RPM)
    assert source == "address 00"
    assert speed is not None
    truth = [round(8.0 * rpm_at(t, TRIP.starts)) / 8.0 for t in speed.time_s - BEGAN]
    assert np.mean(np.isclose(speed.value, truth, atol=1.0)) > 0.998, "but where rounded times fall across an edge"
    assert log.fastest(AMBIENT_C)[1].value.tolist() == [-4.0] * 60  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("line", "dated"),
    [
        ("(1796108400.000100) can0 0CF00400#FF7D7DE015FFF0FF", True),
        ("(1796108400.000100) can0 0CF00400#FF7D7DE015FFF0FF R", True),
        (" (1796108400.000100)  can0  0CF00400   [8]  FF 7D 7D E0 15 FF F0 FF", True),
        (" (2026-12-01 07:00:00.000100)  can0  0CF00400   [8]  FF 7D 7D E0 15 FF F0 FF   '.}}.....'", True),
        (" (000.000100)  vcan1  0CF00400   [8]  FF 7D 7D E0 15 FF F0 FF", False),
    ],
)
def test_each_way_that_candump_writes_a_frame(line: str, dated: bool, tmp_path: Path) -> None:
    log = taken(tmp_path, f"{line}\n{line}\n")
    assert log.dated == dated
    assert log.signals[ENGINE_RPM]["address 00"].value.tolist() == [700.0, 700.0]


def test_lines_that_are_no_frames_are_counted_and_error_frames_left_out(tmp_path: Path) -> None:
    good = "(1796108400.1) can0 0CF00400#FF7D7DE015FFF0FF\n"
    log = taken(tmp_path, f"{good * 3}(1796108400.2) can0 20000080#0000000000000000\n{good}(nan) can0 cut o")
    assert log.unread == 1
    assert len(log.signals[ENGINE_RPM]["address 00"].value) == 4


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("(1.0) can0 123#00\n" * 3, "none of the signals"),
        ("unit,taken_at,rest_v\nK-1,2026-01-01,12.6\n", "candump text with its times, MDF4, and a table"),
        ("".join(f"({9 - k}.0) can0 0CF00400#FF7D7DE015FFF0FF\n" for k in range(9)), "run backwards"),
        (b"\x00\x01\x02" * 500, "not a text table"),
    ],
)
def test_what_is_no_log_is_refused_in_one_sentence(text: str | bytes, words: str, tmp_path: Path) -> None:
    assert words in refused(tmp_path, text)


def test_pipes_folders_and_missing_files_are_refused(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.log")
    for name in ("pipe.log", ".", "nothing.log"):
        with pytest.raises(FileRefused):
            read_log(tmp_path / name)


@examples(25)
@given(st.binary(max_size=300))
def test_any_bytes_are_a_log_or_one_sentence(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    file = tmp_path_factory.getbasetemp() / "any.log"
    file.write_bytes(b"(1.0) can0 0CF00400#FF7D7DE015FFF0FF\n" + data)
    try:
        said = "".join(read_log(file).signals)
    except FileRefused as error:
        said = str(error)
    assert said
    assert "\n" not in said


# --- tables ----------------------------------------------------------------------------------------------------------


def test_a_table_of_signals_over_time_is_read_in_its_units(tmp_path: Path) -> None:
    log = taken(tmp_path, TRIP.table(), "drive.csv")
    assert not log.dated
    assert sorted(log.signals) == sorted([ENGINE_RPM, BATTERY_V, COOLANT_C, AMBIENT_C])
    volts = log.signals[BATTERY_V]["table"]
    assert volts.time_s[:3].tolist() == [0.0, 0.25, 0.5]
    assert volts.value[0] == 12.6
    assert log.signals[COOLANT_C]["table"].value[0] == pytest.approx(-3.0)


def test_a_table_may_name_pids_or_hold_one_a_row(tmp_path: Path) -> None:
    wide = "timestamp,010C,42\n2026-12-01T07:00:00.5,700,12.6\n2026-12-01T07:00:01.0,710,12.5\n"
    log = taken(tmp_path, wide, "wide.csv")
    assert log.dated
    assert np.diff(log.signals[ENGINE_RPM]["table"].time_s).tolist() == [0.5]
    long = "seconds,pid,value\n0.1,0C,700\n0.2,42,12.6\n0.3,0D,50\n0.4,Coolant temperature,20\n"
    log = taken(tmp_path, long, "long.csv")
    assert {name: one["table"].value.tolist() for name, one in log.signals.items()} == {
        ENGINE_RPM: [700.0], BATTERY_V: [12.6], COOLANT_C: [20.0],
    }  # fmt: skip


@pytest.mark.parametrize(
    ("heading", "times", "volts"),
    [("t_s,rpm,volts", (2.0, 2.5), 12.6), ("time_ms,rpm,battery_mv", (2000, 2500), 12600), ("Time/ms,rpm,Battery V", (2000, 2500), 12.6)],
)  # fmt: skip
def test_units_of_a_heading_need_no_brackets(
    heading: str, times: tuple[float, float], volts: float, tmp_path: Path
) -> None:
    """Half a second and 12.6 V, however they are written."""
    log = taken(tmp_path, f"{heading}\n{times[0]},700,{volts}\n{times[1]},710,{volts}\n", "u.csv")
    assert np.diff(log.signals[ENGINE_RPM]["table"].time_s) == pytest.approx([0.5])
    assert log.signals[BATTERY_V]["table"].value == pytest.approx([12.6, 12.6])


def test_a_time_of_day_goes_on_past_midnight(tmp_path: Path) -> None:
    rows = "23:59:59.5,700\n00:00:00.5,710\n00:00:01.5,720\n"
    times = taken(tmp_path, f"time,rpm\n{rows}", "t.csv").signals[ENGINE_RPM]["table"].time_s
    assert np.diff(times).tolist() == [1.0, 1.0]


def test_parts_of_a_second_behind_a_date_are_kept(tmp_path: Path) -> None:
    rows = "02.03.2026 06:10:00,25;700\n02.03.2026 06:10:00,75;710\n02.03.2026 06:10:01,250;720\n"
    times = taken(tmp_path, f"Zeitstempel;rpm\n{rows}", "t.csv").signals[ENGINE_RPM]["table"].time_s
    assert np.diff(times) == pytest.approx([0.5, 0.5], abs=1e-6)


@pytest.mark.parametrize(
    ("heading", "signal"),
    [
        ("ECT (°C)", COOLANT_C), ("Battery (mV)", BATTERY_V), ("Battery (%)", ""), ("AAT (°C)", AMBIENT_C), ("Toerental", ENGINE_RPM),
        ("Engine RPM (rpm)", ENGINE_RPM), ("EngSpeed", ""), ("Vehicle speed (km/h)", ""), ("PID 0C", ENGINE_RPM),
        ("Control module voltage (V)", BATTERY_V), ("O2 sensor voltage", ""), ("Kühlmitteltemperatur", COOLANT_C),
        ("volts", BATTERY_V), ("vbat", BATTERY_V), ("U_batt", BATTERY_V), ("battery_mv", BATTERY_V), ("O2 sensor volts", ""),
        ("Fuel trim", ""), ("Intake air temperature", ""), ("Ambient air temperature", AMBIENT_C), ("Oil temperature", ""),
    ],
)  # fmt: skip
def test_headings_and_what_they_mean(heading: str, signal: str) -> None:
    assert signal_of(heading) == (signal if heading != "EngSpeed" else ENGINE_RPM)


# --- the extra -------------------------------------------------------------------------------------------------------

DBC = """VERSION ""
BU_: Vector__XXX
BO_ 291 OwnFrame: 4 Vector__XXX
 SG_ EngineSpeed : 0|16@1+ (0.5,0) [0|8000] "rpm" Vector__XXX
 SG_ BatteryVoltage : 16|16@1+ (1,0) [0|40000] "mV" Vector__XXX
"""


def test_a_data_base_of_signals_of_the_user_s_own(tmp_path: Path) -> None:
    """By hand: 0x0578 is 1400, times 0.5 is 700 rpm; 12600 mV are 12.6 V."""
    pytest.importorskip("cantools")
    (tmp_path / "own.dbc").write_text(DBC)
    (tmp_path / "a.log").write_text("(1.0) can0 123#78053831\n(1.1) can0 0CF00400#FF7D7DE015FFF0FF\n")
    log = read_log(tmp_path / "a.log", dbc=tmp_path / "own.dbc")
    assert log.signals[ENGINE_RPM]["identifier 123"].value.tolist() == [700.0]
    assert log.signals[BATTERY_V]["identifier 123"].value.tolist() == [pytest.approx(12.6)]
    assert log.signals[ENGINE_RPM]["address 00"].value.tolist() == [700.0], (
        "what it does not know is decoded as published"
    )
    (tmp_path / "own.dbc").write_text("no data base")
    with pytest.raises(FileRefused):
        read_log(tmp_path / "a.log", dbc=tmp_path / "own.dbc")


def test_mdf4_channels_and_frames(tmp_path: Path) -> None:
    """Written by the library that reads it; the values are the test's own."""
    asammdf = pytest.importorskip("asammdf")
    from datetime import UTC, datetime

    with asammdf.MDF(version="4.10") as made:
        made.header.start_time = datetime.fromtimestamp(BEGAN, UTC)
        times = np.arange(0.0, 2.0, 0.1)
        one = asammdf.Signal(np.full(20, 700.0), times, name="EngineSpeed", unit="rpm")
        two = asammdf.Signal(np.full(20, 12600.0), times, name="BatteryVoltage", unit="mV")
        made.append([one, two])
        made.save(tmp_path / "a.mf4")
    log = read_log(tmp_path / "a.mf4")
    assert log.dated
    (speed,), (volts,) = log.signals[ENGINE_RPM].values(), log.signals[BATTERY_V].values()
    assert speed.time_s[0] == pytest.approx(BEGAN, abs=1e-3)
    assert (set(speed.value.tolist()), set(volts.value.round(6).tolist())) == ({700.0}, {12.6})
    (tmp_path / "cut.mf4").write_bytes((tmp_path / "a.mf4").read_bytes()[:200])
    with pytest.raises(FileRefused):
        read_log(tmp_path / "cut.mf4")


def test_mdf4_frames_of_the_bus_are_decoded_in_pieces(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Frames as a bus logger keeps them (ASAM MDF, bus logging): 0x15E0 * 0.125 rpm = 700 rpm, 252 * 0.05 V = 12.6 V."""
    asammdf = pytest.importorskip("asammdf")
    from datetime import UTC, datetime

    monkeypatch.setattr(importlib.import_module("ingest.bus_databases"), "RECORDS_AT_ONCE", 7)
    frames = np.zeros(
        20,
        dtype=[
            ("CAN_DataFrame.BusChannel", "u1"), ("CAN_DataFrame.ID", "<u4"), ("CAN_DataFrame.IDE", "u1"),
            ("CAN_DataFrame.DataLength", "u1"), ("CAN_DataFrame.DataBytes", "u1", (8,)),
        ],
    )  # fmt: skip
    frames["CAN_DataFrame.ID"] = np.where(np.arange(20) % 2, 0x18FEF700, 0x0CF00400)
    frames["CAN_DataFrame.IDE"], frames["CAN_DataFrame.DataLength"] = 1, 8
    said = {0x0CF00400: "ff7d7de015fff0ff", 0x18FEF700: "fffffffffc00ffff"}
    frames["CAN_DataFrame.DataBytes"] = [list(bytes.fromhex(said[int(i)])) for i in frames["CAN_DataFrame.ID"]]
    with asammdf.MDF(version="4.10") as made:
        made.header.start_time = datetime.fromtimestamp(BEGAN, UTC)
        made.append(asammdf.Signal(frames, np.arange(20) * 0.1, name="CAN_DataFrame"))
        made.save(tmp_path / "a.mf4")
    log = read_log(tmp_path / "a.mf4")
    speed, volts = log.signals[ENGINE_RPM]["address 00"], log.signals[BATTERY_V]["address 00"]
    assert speed.value.tolist() == [700.0] * 10
    assert volts.value.round(6).tolist() == [12.6] * 10
    assert np.diff(speed.time_s) == pytest.approx([0.2] * 9, abs=1e-6)


def test_without_the_extra_one_sentence_says_how_to_get_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [m for m in sys.modules if m.split(".")[0] in ("asammdf", "cantools")]:
        monkeypatch.delitem(sys.modules, name)
    for name in ("asammdf", "cantools"):
        monkeypatch.setitem(sys.modules, name, None)
    assert "pip install 'cranktrend[logs]'" in refused(tmp_path, b"MDF     4.10    " + bytes(200), "a.mf4")
    (tmp_path / "a.log").write_text("(1.0) can0 0CF00400#FF7D7DE015FFF0FF\n")
    with pytest.raises(FileRefused, match="cranktrend"):
        read_log(tmp_path / "a.log", dbc=tmp_path / "own.dbc")


def test_the_extra_is_not_needed_for_anything_else() -> None:
    """The packages that `pip install .` brings do not hold it: nothing imports it when a module is loaded."""
    assert importlib.util.find_spec("ingest.bus_databases") is not None
    source = (Path(__file__).parents[1] / "ingest" / "bus_databases.py").read_text()
    assert not [line for line in source.splitlines() if line.startswith(("import", "from")) and "asammdf" in line]
