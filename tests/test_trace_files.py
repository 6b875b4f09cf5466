"""Files of recorded starts: columns of any order and unit become even samples; what is none is refused in a sentence.

Truth: files that the test itself wrote.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ingest.errors import FileRefused
from ingest.readers import read_sheets
from ingest.trace_files import TraceFile, read_trace

COUNT = 60
LATE, MS = dt.datetime(2026, 10, 31, 23, 59, 59, 970_000), dt.timedelta(milliseconds=1)


@pytest.fixture
def read(tmp_path: Path) -> Callable[..., TraceFile]:
    """Write text and read it as a trace."""

    def _read(text: str, **how: object) -> TraceFile:
        path = tmp_path / "trace.csv"
        path.write_text(text, encoding="utf-8")
        return read_trace(read_sheets(path), **how)  # type: ignore[arg-type]

    return _read


def rows(line: Callable[[int], str], count: int = COUNT) -> str:
    return "".join(f"{line(k)}\n" for k in range(count))


def comma(value: float) -> str:
    return f"{value}".replace(".", ",")


# the same trace, a sample a millisecond: 12.5 V falling by 10 mV, amps rising by 2 A
WRITTEN: dict[str, tuple[str, Callable[[int], str], dict[str, Any]]] = {
    "own headings": ("time_s,volts,amps\n", lambda k: f"{k / 1000},{12.5 - k / 100},{2 * k}", {}),
    "another order": ("Current (A),Time (ms),Battery voltage (V)\n", lambda k: f"{2 * k},{k},{12.5 - k / 100}", {}),
    "units row": ("Time,Channel A,Channel B\n(us),(mV),(A)\n", lambda k: f"{1000 * k},{12500 - 10 * k},{2 * k}", {}),
    "blank line under the units": ("Time,Channel A,Channel B\n(ms),(V),(A)\n\n", lambda k: f"{k},{12.5 - k / 100},{2 * k}", {}),
    "bare units row": ("t;U;I\nms;V;A\n", lambda k: f"{k};{12.5 - k / 100};{2 * k}", {}),
    "decimal comma": ("Zeit;Spannung;Strom\n[s];[V];[A]\n", lambda k: f"{comma(k / 1000)};{comma(12.5 - k / 100)};{2 * k},0", {}),
    "comma in all": ("Zeit (ms);U (V);I (A)\n", lambda k: f"{k},0;{comma(12.5 - k / 100)};{2 * k},0", {}),
    "tabs and a title": ("Recorder 3\n\nt/s\tU/V\tI/A\n", lambda k: f"{k / 1000}\t{12.5 - k / 100}\t{2 * k}", {}),
    "exponents": ("Time (s);Volts;Amps\n", lambda k: ";".join(f"{v:.4E}".replace(".", ",") for v in (k / 1000, 12.5 - k / 100, 2 * k)), {}),
    "clamp in mV": ("Time (s),Battery (V),Clamp (mV)\n", lambda k: f"{k / 1000},{12.5 - k / 100},{20 * k}", {"clamp_mv_per_a": 10.0}),
    "clamp in V": ("Time (s),Battery (V),Clamp (V)\n", lambda k: f"{k / 1000},{12.5 - k / 100},{0.2 * k}", {"clamp_mv_per_a": 100.0}),
    "clamp without a word": ("Time (s),Channel A (V),Channel B (mV)\n", lambda k: f"{k / 1000},{12.5 - k / 100},{2 * k}", {"clamp_mv_per_a": 1.0}),
    "times of day": ("Time,Volts,Amps\n", lambda k: f"23:59:58.{900 + k:03d},{12.5 - k / 100},{2 * k}", {}),
    "day and time": ("Timestamp;Volts;Amps\n", lambda k: f"{LATE + k * MS:%Y-%m-%d %H:%M:%S,%f};{12.5 - k / 100};{2 * k}", {}),
    "no time": ("volts,amps\n", lambda k: f"{12.5 - k / 100},{2 * k}", {"rate_hz": 1000.0}),
    "named": ("Time (s),X,Y\n", lambda k: f"{k / 1000},{2 * k},{12.5 - k / 100}", {"volts": "y", "amps": "X"}),
    "more columns": ("time_ms,battery_v,crank_a,Note\n", lambda k: f"{k},{12.5 - k / 100},{2 * k},x", {}),
}  # fmt: skip


@pytest.mark.parametrize("habit", WRITTEN)
def test_one_trace_in_many_habits(habit: str, read: Callable[..., TraceFile]) -> None:
    head, line, how = WRITTEN[habit]
    found = read(head + rows(line), **how)
    assert found.volts is not None
    assert found.amps is not None
    k = np.arange(COUNT)
    assert found.time_s - found.time_s[0] == pytest.approx(k / 1000, abs=1e-9)
    assert found.volts == pytest.approx(12.5 - k / 100, abs=0.001)
    assert found.amps == pytest.approx(2.0 * k, abs=0.01)


def test_volts_alone_and_amps_alone(read: Callable[..., TraceFile]) -> None:
    assert read("time_s,volts\n" + rows(lambda k: f"{k / 100},12.5")).amps is None
    assert read("time_s,amps\n" + rows(lambda k: f"{k / 100},{k}")).volts is None


REFUSED: dict[str, tuple[str, dict[str, Any], str]] = {
    "empty": ("", {}, "the file is empty"),
    "readings": ("unit,taken_at,crank_min_v\nK-1,2026-01-01T10:00,9.8\n", {}, "no heading|value in each column"),
    "no heading": (rows(lambda k: f"{k / 100},12.5,{k}"), {}, "no heading over its numbers names volts or amps"),
    "a day that is none": ("Time,Volts\n" + rows(lambda k: f"2026-11-3{k // 40} 08:00:00.{k:03d},12.5"), {},
        "line 42, column 'Time': '2026-11-31 08:00:00.040' is no time of day as"),
    "no rate": ("volts\n" + "12.5\n" * COUNT, {}, "no column of time; say how many samples a second it has"),
    "no scale": ("time_s,Clamp (mV)\n" + rows(lambda k: f"{k / 100},{k}"), {}, "say the clamp's scale, such as 10mV/A"),
    "scale of amps": ("time_s,Clamp (A)\n" + rows(lambda k: f"{k / 100},{k}"), {"clamp_mv_per_a": 1.0}, "is in A already"),
    "two volts": ("time_s,A (V),B (V)\n" + rows(lambda k: f"{k / 100},12,3"), {}, "may each hold volts; say the heading"),
    "not there": ("time_s,volts\n" + rows(lambda k: f"{k / 100},12"), {"volts": "U bat"}, "no column 'U bat' for volts; allowed are"),
    "a word": ("time_s,volts\n" + rows(lambda k: f"{k / 100},{'x' if k == 30 else 12}"), {}, "line 32, column 'volts': 'x' is not a number"),
    "millivolts": ("time_s,volts\n" + rows(lambda k: f"{k / 100},{12000 + k}"), {}, "goes to 12,059 V; allowed are 60 V: is it in mV"),
    "the clamp's volts": ("Time,A,B\n(s),(mV),(V)\n" + rows(lambda k: f"{k},12000,{k / 50}"), {"clamp_mv_per_a": 10.0}, "1.18 V, no battery's"),
    "scale of ten": ("time_s,amps\n" + rows(lambda k: f"{k / 100},{k * 200}"), {}, "goes to 11,800 A; allowed are 6,000 A"),
    "goes back": ("time_s,volts\n" + rows(lambda k: f"{k % 40},12"), {}, "line 42: the time goes back from 39 to 0 s"),
    "a pause": ("time_s,volts\n" + rows(lambda k: f"{k + 90 * (k > 30)},12"), {}, "91 s are missing after line 32"),
    "gaps": ("time_s,volts,amps\n" + rows(lambda k: f"{k / 100},{12 if k % 2 else ''},{k}"), {}, "rows lack a value"),
    "another rate": ("time_s,volts\n" + rows(lambda k: f"{k / 100},12"), {"rate_hz": 1000.0}, "100 samples a second, and 1000 are said"),
    "too slow": ("time_s,volts\n" + rows(lambda k: f"{k * 10},12"), {}, r"its times make 0\.1 samples a second"),
    "a stopped clock": ("time_s,volts\n" + "5,12\n" * COUNT, {}, "samples a second; allowed are"),
    "few": ("time_s,volts\n" + rows(lambda k: f"{k / 100},12", 5), {}, "5 rows with a value in each column; allowed are 20 or more"),
    "more cells": ("time_s,volts\n" + rows(lambda k: f"{k / 100},12" + ",7" * (k == 9)), {}, "line 11: it has 3 values"),
    "over the range": ("time_s,volts\n" + rows(lambda k: f"{k / 100},OL"), {}, "over the meter's range in every row"),
}  # fmt: skip


@pytest.mark.parametrize("habit", REFUSED)
def test_what_is_no_trace_is_refused_in_a_sentence(habit: str, read: Callable[..., TraceFile]) -> None:
    text, how, said = REFUSED[habit]
    with pytest.raises(FileRefused, match=said):
        read(text, **how)


@pytest.mark.parametrize("how", [{"clamp_mv_per_a": 0.0}, {"clamp_mv_per_a": float("nan")}, {"rate_hz": -5.0}, {"rate_hz": 1e9}])  # fmt: skip
def test_scales_and_rates_that_cannot_be_are_refused(how: dict[str, float], read: Callable[..., TraceFile]) -> None:
    with pytest.raises(ValueError, match="allowed is"):
        read("time_s,volts\n" + rows(lambda k: f"{k / 100},12"), **how)


def test_rounded_and_uneven_times(read: Callable[..., TraceFile]) -> None:
    """Ten samples to a printed millisecond are ten thousand a second; times that jump are laid on even ones."""
    rounded = read("time_ms,volts\n" + rows(lambda k: f"{k // 10},{12 + k / 1000}", 400))
    assert np.diff(rounded.time_s) == pytest.approx(1e-4, rel=0.05)
    assert any("repeat" in remark for remark in rounded.remarks)
    uneven = read("time_s,volts\n" + rows(lambda k: f"{(k + 0.4 * (k % 2)) / 100},{k + 0.4 * (k % 2)}"))
    assert uneven.volts == pytest.approx(100 * uneven.time_s, abs=1e-6)
    assert any("uneven" in remark for remark in uneven.remarks)


def test_values_over_the_range_stand_at_its_end(read: Callable[..., TraceFile]) -> None:
    found = read("time_s,amps\n" + rows(lambda k: f"{k / 100},{'∞' if 20 < k < 30 else k}"))
    assert found.amps is not None
    assert found.amps[21:30] == pytest.approx(59.0)
    assert any("9 of the values" in remark for remark in found.remarks)


def test_a_torn_last_line_is_left_out(read: Callable[..., TraceFile]) -> None:
    found = read("time_s,volts,amps\n" + rows(lambda k: f"{k / 100},12.5,{k}") + "0.6,12.")
    assert len(found.time_s) == COUNT
