"""What stands in the terminal: aligned, printable, with the cautions, and one vehicle's sheet.

Truth: worked by hand on rows written here, and the assessment they come from.
"""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import date

import pandas as pd
import pytest
import samples_kept
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples
from samples_fleet import fleet, quick, tables_of

from analysis.worklist.assess import Assessment
from dashboard.cli.tables import (
    SAFE_NOTE,
    WIDTH,
    clean,
    list_table,
    part_object,
    readings_text,
    row_line,
    start_words,
    unit_sheet,
)
from dashboard.desk.assessment import list_rows
from dashboard.desk.weekly import decision_with_reason
from dashboard.words import list_words, reading_sheet, terminal_words

DAY = pd.Timestamp("2022-12-12")


@pytest.fixture(scope="module")
def assessed() -> Assessment:
    """A small fleet, assessed once."""
    with pytest.MonkeyPatch.context() as patch:
        quick(patch)
        return samples_kept.assess(tables_of(fleet()), as_of=DAY)


@pytest.fixture(scope="module")
def rows(assessed: Assessment) -> list[dict]:
    return list_rows(assessed, fleet().readings, flagged_only=True)


@examples(25)
@given(st.text(max_size=40))
def test_cleaned_text_is_printable_and_as_long(text: str) -> None:
    """Common practice (CWE-150): no character that a terminal acts on; harmless ones stay."""
    assert clean(text).isprintable()
    assert len(clean(text)) == len(text)
    if text.isprintable():
        assert clean(text) == text


def test_the_list_says_how_many_and_ends_with_the_cautions(assessed: Assessment, rows: list[dict]) -> None:
    """Contract: flagged of all, those not judged, cautions where someone acts."""
    text = list_table(rows, assessed)
    assert text.startswith("Weekly list for 2022-12-12: no-start within 30 days\n====")
    assert f"{len(rows)} of {len(assessed.units)} vehicles flagged; 0 have too few readings to judge." in text
    assert " ".join(text.split())[-len(SAFE_NOTE) :] == SAFE_NOTE
    for caution in ("wheels chocked", "Eye protection", "30 s", "vehicle maker's procedure", "licensed practice"):
        assert caution in SAFE_NOTE


def test_one_vehicle_is_one_vehicle(assessed: Assessment) -> None:
    one = replace(assessed, units=assessed.units.head(1).assign(status="too few readings", flagged=False))
    assert "0 of 1 vehicle flagged; 1 has too few readings to judge." in list_table([], one)
    assert "**0 of 1 vehicle** needs attention" in list_words.head(
        "2026-W49", "2026-11-30", needing=0, of=1, changes="", days=30
    )
    assert "**1 of 3 vehicles** needs attention" in list_words.head(
        "2026-W49", "2026-11-30", needing=1, of=3, changes="", days=30
    )
    assert "**0 of 3 vehicles** need attention" in list_words.head(
        "2026-W49", "2026-11-30", needing=0, of=3, changes="", days=30
    )


def test_an_empty_list_is_said_in_one_sentence(assessed: Assessment) -> None:
    """Nothing flagged: the head and the count, no empty table."""
    text = list_table([], assessed)
    assert "unit " not in text.splitlines()[-1]
    assert text.splitlines()[-1].endswith("too few readings to judge.")


def test_lines_fit_and_columns_stand_under_their_heads(assessed: Assessment, rows: list[dict]) -> None:
    """Our choice: 118 columns and a little; the same columns in every row."""
    lines = list_table(rows, assessed).splitlines()
    assert max(len(line) for line in lines) <= WIDTH + 2
    head = next(line for line in lines if line.startswith("unit "))
    mine = [line for line in lines if line.startswith("U0")]
    assert len(mine) == len(rows)
    for line in mine:
        assert line[head.index("depot") - 1] == " "
        assert line[head.index("part") - 1] == " "


def test_long_and_hostile_names_keep_the_columns() -> None:
    """Property: whatever the name, part and the rest start where they do."""
    usual = row_line("A", "hill", "battery", "90 %", "50 %", "−4 °C (−5 to −1)", "-", "-")
    odd = row_line("A" * 60 + "\x1b[0m", "\n\n" + "d" * 30, "battery", "90 %", "50 %", "−4 °C (−5 to −1)", "-", "-")
    assert usual.index("battery") == odd.index("battery")
    assert odd.isprintable()


def test_start_words() -> None:
    """Worked by hand: one unit, a real minus, below where nothing was worked out."""
    row = {"coldest_start_c": -12.4, "coldest_start_low_c": -46.0, "coldest_start_high_c": 3.2}
    assert start_words(row) == "−12 °C (below −44 to 3)"


def test_a_unit_s_sheet_says_what_was_decided_and_why(assessed: Assessment, rows: list[dict]) -> None:
    """What a person typed stands in one line and does nothing to the terminal."""
    decision = {
        "kind": "postponed",
        "at": DAY,
        "until": DAY + pd.Timedelta(days=9),
        "reason": "its strap\n\x1b[31m is late",
    }
    said = decision_with_reason(decision)
    assert said == "postponed on 12 Dec until 21 Dec 2022: its strap ?[31m is late"
    made = fleet()
    own = made.readings[(made.readings["unit"] == rows[0]["unit"]) & (made.readings["taken_at"] < DAY)]
    with_it, without = (
        unit_sheet(rows[0], assessed, own, made.repairs.assign(repair_id=1), fmt="table", decided=d) for d in (said, "")
    )
    assert f"Decided: {said}" in with_it
    assert "Decided" not in without


def test_work_after_the_latest_reading_is_said_beside_it() -> None:
    """Worked by hand: what was cleaned before the reading, and on its day, is in it; the battery renewed since is not."""
    at, days = pd.Timestamp("2026-04-13T07:00"), ["2026-04-01", "2026-04-13", "2026-11-28", "2026-11-28"]
    parts, actions = (
        ["ground_path", "positive_cable", "battery", "battery"],
        ["cleaned", "cleaned", "replaced", "replaced"],
    )
    repairs = pd.DataFrame({"done_on": pd.to_datetime(days), "part": parts, "action": actions})
    said = reading_sheet.work_since(repairs, at, "{:%Y-%m-%d}".format)
    assert said == "Since then: battery replaced (2026-11-28). The reading tells how it was before."
    assert reading_sheet.work_since(repairs.iloc[:2], at, "{:%Y-%m-%d}".format) == ""


def test_a_unit_s_sheet_shows_every_part(assessed: Assessment, rows: list[dict]) -> None:
    """The sheet: row, parts with their class values, latest readings, repairs."""
    made = fleet()
    unit = rows[0]["unit"]
    own = made.readings[(made.readings["unit"] == unit) & (made.readings["taken_at"] < DAY)]
    repairs = pd.DataFrame(
        {"unit": [unit], "done_on": [pd.Timestamp("2022-05-05")], "part": ["ground_path"], "action": ["cleaned"], "reason": ["preventive"],
         "repair_id": [7]}
    )  # fmt: skip
    text = unit_sheet(rows[0], assessed, own, repairs, fmt="table")
    for words in (
        "battery",
        "positive cable",
        "engine drag",
        "Latest readings:",
        "2022-05-05 ground path cleaned (preventive)",
    ):
        assert words in text
    body = json.loads(unit_sheet(rows[0], assessed, own, repairs, fmt="json"), parse_constant=pytest.fail)
    assert (body["as_of"], body["unit"], len(body["parts"])) == ("2022-12-12", unit, 7)


def test_part_objects_are_json() -> None:
    """Worked by hand: dates as text, missing as null, counts as integers, the unit left out."""
    part = {
        "unit": "A",
        "part": "battery",
        "level": 1.23456,
        "began_on": pd.NaT,
        "before_on": DAY,
        "se_mohm": float("nan"),
        "readings": 4,
    }
    assert part_object(part) == {
        "part": "battery", "level": 1.2346, "began_on": None, "before_on": "2022-12-12", "se_mohm": None, "readings": 4,
    }  # fmt: skip


def test_readings_text_shows_the_last_six_with_dashes_for_gaps() -> None:
    """Worked by hand."""
    taken = pd.date_range("2022-01-01", periods=8, freq="30D")
    frame = pd.DataFrame({"taken_at": taken, "rest_v": [12.6] * 7 + [float("nan")]})
    lines = readings_text(frame).splitlines()
    assert len(lines) == 7
    assert lines[-1].split() == ["2022-07-30", "-"]
    assert readings_text(frame.iloc[:0]).strip() == "none"
    told = frame.assign(outcome="").reset_index(drop=True)
    assert "start" not in readings_text(told).splitlines()[0]
    told.loc[told.index[-1], "outcome"] = "no_start"
    assert readings_text(told).splitlines()[0].split()[-1] == "start"
    assert readings_text(told).splitlines()[-1].endswith("no start")


def test_readings_are_printed_with_the_digits_of_their_meter() -> None:
    """39 °F and 46,356 miles as they are stored, in °C and km."""
    taken = pd.DataFrame({"taken_at": [pd.Timestamp("2024-01-31")], "temperature_c": [3.888889], "rest_v": [12.6],
                          "odometer_km": [74602.750464], "doubtful": [""]})  # fmt: skip
    assert readings_text(taken).splitlines()[1].split() == ["2024-01-31", "3.9", "12.60", "74603"]


def test_no_chance_is_printed_as_certain(assessed: Assessment) -> None:
    """A probability is never 0 % nor 100 %: neither the model nor anybody can know that."""
    rows = list_rows(assessed, tables_of(fleet()).readings, flagged_only=False)
    edge = [{**rows[0], "part": "battery", "part_probability": 0.9996, "no_start_probability": 0.004}]
    line = list_table(edge, assessed).splitlines()[5]
    assert "over 99 %" in line
    assert "under 1 %" in line
    assert not re.search(r"\b(0|100) %", line)


def test_a_sheet_says_which_readings_it_knows() -> None:
    """A sheet of the start of a day holds nothing of that day: who has just measured is told where to find it."""
    day = date(2026, 11, 30)
    assert terminal_words.known_readings(day, 0, None) == "This sheet knows what was read before 2026-11-30."
    assert terminal_words.known_readings(day, 1, day) == (
        "This sheet knows what was read before 2026-11-30: 1 reading of that day or later is not in it; --as-of 2026-12-01 shows it."
    )
    assert terminal_words.known_readings(day, 2, date(2026, 12, 4)).endswith(
        "are not in it; --as-of 2026-12-05 shows them."
    )
