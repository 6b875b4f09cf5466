"""The limits on the bay sheet are those on the phone, and those that a value is judged by.

Truth: `analysis.bay.verdict`, which must change its mind exactly at the number that is printed.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import streamlit as st
from samples_screens import assessed, worst_unit
from test_views import run, said

from analysis.bay.verdict import verdict
from analysis.circuit.limit_book import LimitBook
from dashboard.desk.own_limits import save_limits
from dashboard.desk.reading_source import limits_for
from dashboard.screens import one_unit, unit_charts
from dashboard.words.limit_lines import limit_lines
from ingest import store

KINDS = [("van", 12, "diesel", 4.0), ("car", 12, "petrol", 6.0), ("tractor", 24, "diesel", 6.0)]
USUAL_A = 180.0
STEP = {"V": 0.006, "A": 0.6, "rpm": 0.6}  # just beyond the printed digits


def verdicts(kind: tuple[Any, ...], usual_a: float | None, values: list[tuple[str, float]]) -> list[str]:
    """The verdict of each reading of a single value, by every check but those that want the amps with a drop."""
    vehicle_class, system_v, fuel, cylinders = kind
    unit = {"unit": "A", "vehicle_class": vehicle_class, "system_v": system_v, "fuel": fuel, "cylinders": cylinders}
    taken = pd.Timestamp("2026-11-20")
    rows = pd.DataFrame(
        [{"unit": "A", "taken_at": taken, "temperature_c": np.nan, name: value} for name, value in values]
    )
    usual = None if usual_a is None else {vehicle_class: usual_a}
    found = verdict(rows, pd.DataFrame([unit]), LimitBook(), class_crank_a=usual)
    return found.groupby("row")["verdict"].first().tolist()  # the worst of each comes first


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("usual_a", [None, USUAL_A])
def test_a_verdict_changes_at_the_printed_number(kind: tuple[Any, ...], usual_a: float | None) -> None:
    limits = LimitBook().for_group(*kind)
    lines = limit_lines(limits, usual_a=usual_a, temperature_c=float("nan"))
    assert set(lines) >= {"rest_v", "crank_min_v", "crank_a", "drop_ground_v", "coil_a", "crank_rpm"}
    printed: list[tuple[str, str, float]] = []
    beside: list[tuple[str, float]] = []
    for name, words in lines.items():
        for low, number, unit in re.findall(r"(at least |at most |under |to )?([\d.,]+)(?: (V|A|rpm))?", words):
            unit = unit or "A"  # the lower end of "90 to 240 A"
            value, step = float(number.replace(",", "")), STEP[unit]
            lower = low in ("at least ", "under ") or (not low and " to " in words)
            inside, outside = (value + step, value - step) if lower else (value - step, value + step)
            printed.append((name, words, value))
            beside += [(name, inside), (name, outside)]
    said_of = verdicts(kind, usual_a, beside)
    assert len(said_of) == 2 * len(printed)
    for what, inner, outer in zip(printed, said_of[::2], said_of[1::2], strict=True):
        assert inner != outer, (what, inner)
        assert outer != "pass", what


@pytest.mark.usefixtures("fleet")
def test_the_phone_and_the_sheet_say_the_same() -> None:
    """Both from the day's assessment, which the phone's page has asked for; before there is one, the class is known from
    its own readings alone, and its usual amps may be another by a fraction of an ampere."""
    unit = worst_unit()
    phone = said(run("bay", unit=unit)).replace("\\", "").replace("\u00a0", " ")
    sheet = one_unit.bay_unit(one_unit.facts(unit)).limits
    assert len(sheet) == 10
    for words in sheet.values():
        assert words in phone


def test_a_meter_in_mv_and_a_thermometer_in_fahrenheit() -> None:
    limits = LimitBook().for_group("van", 12, "diesel", 4.0)
    lines = limit_lines(limits, temperature_c=0.0, fahrenheit=True, drops_mv=True)
    assert lines["drop_ground_v"] == "at most 200 mV"
    assert lines["crank_min_v"].startswith(
        "at least 6.78 V at 32 °F (9.00 V in the warm); "
    )  # two thirds at -7 °C: TM 5-3895-382-24
    assert lines["crank_min_v"].endswith("V at 32 °F")
    assert limit_lines(limits)["crank_min_v"].startswith("at least 9.00 V; ")


def test_own_limits_reach_the_chart_that_was_drawn_before(fleet: Path) -> None:
    """Definition: the chart is the one that would be drawn afresh; the limit line halves with the limit."""
    unit = worst_unit()
    row = assessed().units.iloc[0].to_dict()

    def drawn() -> dict[str, Any]:
        return unit_charts.part_drawn(assessed(), row, one_unit.facts(unit), "ground_path").spec

    printed = drawn()
    limit = limits_for(one_unit.facts(unit).unit, one_unit.own_book()).ground_path_drop_v.value
    save_limits(store.open_database(fleet), f"[system_12]\nground_path_drop_v = {limit / 2}\n", by="test")
    own = drawn()
    st.cache_data.clear()
    assert own == drawn()
    assert own != printed
