"""A recorded start in the bay: the picture, marks that can be moved, values that fill the form.

Truth: a trace of `demo_fleet.traces`, whose values tests/test_trace.py holds; what the test itself moved or typed.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from samples_screens import assess_here, one_reading_database, shown
from streamlit.testing.v1 import AppTest

from analysis.trace.record import Marks, Measured, Trace
from analysis.trace.signals import envelope
from dashboard.charts import theme
from dashboard.charts.trace_chart import trace_charts, trace_text
from dashboard.desk.trace_source import Recording, recording_of
from dashboard.screens import bay
from dashboard.words import trace_words
from demo_fleet.traces import write_example
from ingest import store

APP = Path(__file__).parents[1] / "dashboard" / "screens" / "app.py"


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_example(tmp_path_factory.mktemp("trace") / "start.csv")


@pytest.fixture(scope="module")
def recording(example: Path) -> Recording:
    return recording_of(example, clamp_mv_per_a=1.0, cylinders=4)


def test_the_picture_shows_both_lines_marks_and_levels(recording: Recording) -> None:
    """Valid Vega-Lite; each line with its unit, marks at their times, levels with their words."""
    start = recording.measured(1)
    volts, amps = (chart.to_dict() for chart in trace_charts(recording.trace, start, title="A start"))
    said = json.dumps([volts, amps], ensure_ascii=False)
    for words in (*trace_words.MARK_WORDS.values(), "volts", "amps", "12.60 V", "9.76 V", "11.53 V", "809 A", "234 A"):
        assert words in said, words
    for at in vars(start.marks).values():
        assert str(at) in said
    assert theme.BLUE in json.dumps(volts)
    assert theme.VERMILION in json.dumps(amps)


def test_a_picture_of_one_channel_and_of_no_start(recording: Recording) -> None:
    trace = recording.trace
    (amps,) = trace_charts(Trace(trace.time_s, None, trace.amps), None, title="no start")
    assert "234 A" not in json.dumps(amps.to_dict())
    bound = replace(recording.measured(1), peak_a=Measured(600.0, 1.0, "at least"))
    assert "at least 600 A" in json.dumps([one.to_dict() for one in trace_charts(trace, bound, title="")])
    assert "inrush 0.80 s" in trace_text(recording.measured(1), ["rest volts 12.6 V"])


def test_thinning_for_the_picture_keeps_the_peaks() -> None:
    time = np.arange(100_000) / 1e5
    values = np.random.default_rng(1).standard_normal(len(time))
    at, kept = envelope(time, values, 700)
    assert len(kept) <= 702
    assert (kept.min(), kept.max()) == (values.min(), values.max())
    assert (np.diff(at) > 0).all()
    assert envelope(time[:5], values[:5], 700)[1] is not None


def test_every_reason_and_caution_has_its_words() -> None:
    from typing import get_args

    from analysis.trace.record import Caution, Missing

    assert set(trace_words.MISSING) == set(get_args(Missing)) - {""}
    assert set(trace_words.CAUTIONS) == set(get_args(Caution))
    assert all(sentence.endswith(".") and "{}" in sentence for sentence in trace_words.CAUTIONS.values())


@pytest.fixture
def database(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """One vehicle, its screens on a Monday."""
    return shown(monkeypatch, one_reading_database(tmp_path / "one.db"), assess_here)


def chosen(app: AppTest, content: bytes, name: str = "start.csv", scale: str = trace_words.AS_WRITTEN) -> AppTest:
    """The same with a file chosen and its clamp's scale."""
    app.file_uploader[0].set_value((name, content, "text/csv"))
    app.run()
    if scale != trace_words.AS_WRITTEN:
        next(one for one in app.button_group if one.label == trace_words.SCALE_LABEL).set_value(scale)
        app.run()
    return app


def panel() -> None:
    """The panel alone, for a vehicle with four cylinders."""
    from dashboard.screens import bay, trace_panel

    trace_panel.offer({"unit": "X-1", "cylinders": 4, "system_v": 12}, bay.Meter(), 0)


def alone() -> AppTest:
    return AppTest.from_function(panel, default_timeout=60).run()


def marks_of(app: AppTest) -> list[float]:
    return [one.value for one in app.number_input if one.label in trace_words.MARK_LABELS.values()]


def test_a_trace_fills_the_form_and_is_saved_with_its_instrument(database: Path, example: Path) -> None:
    app = AppTest.from_file(str(APP), default_timeout=60)
    app.session_state["device"] = "ab" * 16
    app.switch_page("views/bay.py")
    app.query_params["unit"] = "X-1"
    app.run()
    chosen(app, example.read_bytes(), scale="1 mV/A")
    assert not app.error
    assert marks_of(app) == pytest.approx([0.8, 1.31, 2.53], abs=0.02)
    assert "11.53" in str(app.table[0].value)
    next(one for one in app.button if one.label == trace_words.FILL_IN).click()
    app.run()
    typed = {one.label.split(",")[0]: one.value for one in app.text_input}
    assert typed[bay.LABELS["rest_v"]] == "12.60"
    assert typed[bay.LABELS["crank_dip_v"]] == "9.76"
    assert typed[bay.LABELS["crank_min_v"]] == "11.53"
    assert typed[bay.LABELS["crank_a"]] == "234"
    assert any("recorded trace" in one.value for one in app.caption)
    next(one for one in app.button if one.key == "save").click()
    app.run()
    assert not app.exception
    last = store.read_readings(store.open_database(database), units=["X-1"]).iloc[-1]
    assert (last["crank_min_v"], last["crank_a"], last["instrument"]) == (11.53, 234, "recorded trace, 1000 Hz")
    assert not any("recorded trace" in one.value for one in app.caption), "the next reading is another"


@pytest.mark.nightly
def test_the_lowest_of_slow_samples_is_saved_as_a_bound_until_another_value_is_typed(
    database: Path, example: Path
) -> None:
    lines = example.read_text(encoding="utf-8").splitlines()
    slow = "\n".join([*lines[:2], *lines[2::100]])  # ten samples a second
    app = AppTest.from_file(str(APP), default_timeout=60)
    app.session_state["device"] = "ab" * 16
    app.switch_page("views/bay.py")
    app.query_params["unit"] = "X-1"
    app.run()
    chosen(app, slow.encode(), scale="1 mV/A")
    next(one for one in app.button if one.label == trace_words.FILL_IN).click()
    app.run()
    assert any(one.value == trace_words.SAMPLED_WORDS for one in app.caption)
    lowest = next(one.value for one in app.text_input if one.label.startswith(bay.LABELS["crank_min_v"]))
    next(one for one in app.button if one.key == "save").click()
    app.run()
    last = store.read_readings(store.open_database(database), units=["X-1"]).iloc[-1]
    assert (f"{last['crank_min_v']:.2f}", last["lowest_is"]) == (lowest, "sampled")
    chosen(app, slow.encode(), scale="1 mV/A")
    next(one for one in app.button if one.label == trace_words.FILL_IN).click()
    app.run()
    typed = next(one for one in app.text_input if one.label.startswith(bay.LABELS["crank_min_v"]))
    typed.set_value("9.9")
    app.run()
    assert not any(one.value == trace_words.SAMPLED_WORDS for one in app.caption)


def test_values_follow_a_moved_mark_and_come_back(example: Path) -> None:
    app = chosen(alone(), example.read_bytes())
    assert any("such as 10mV" in one.value.replace("\\", "") for one in app.error), "the clamp's scale is asked for"
    chosen(app, example.read_bytes(), scale="1 mV/A")
    assert not app.error
    own = str(app.table[0].value)
    end = next(one for one in app.number_input if one.label == trace_words.MARK_LABELS["end_s"])
    end.set_value(2.3)
    app.run()
    assert "1.50" in str(app.table[0].value)
    begin = next(one for one in app.number_input if one.label == trace_words.MARK_LABELS["begin_s"])
    begin.set_value(2.0)
    app.run()
    assert any("begin before steady turning before end" in one.value.replace("\\", "") for one in app.error)
    next(one for one in app.button if one.label == trace_words.AS_FOUND).click()
    app.run()
    assert str(app.table[0].value) == own


@pytest.mark.parametrize("content", [b"", b"\x00\x01\x02", b"PK\x03\x04nothing", b"unit,taken_at\nX,1\n", b"t,\n" * 50])
def test_a_hostile_file_is_refused_in_a_sentence(content: bytes) -> None:
    app = chosen(alone(), content, "<b>*.csv")
    assert not app.exception
    assert len(app.error) == 1


def test_a_trace_without_a_start_shows_itself_and_says_so() -> None:
    lines = "".join(f"{k / 100},12.{k % 3}\n" for k in range(300))
    app = chosen(alone(), f"time_s,volts\n{lines}".encode())
    assert any(trace_words.NO_START.split(".")[0] in one.value.replace("\\", "") for one in app.info)
    assert not marks_of(app)


def test_marks_moved_in_one_start_leave_the_others(recording: Recording) -> None:
    two = recording.marked(Marks(0.2, 0.3, 0.4))
    moved = two.moved(2, Marks(0.2, 0.35, 0.4))
    assert moved.found.marks == (recording.found.marks[0], Marks(0.2, 0.35, 0.4))
