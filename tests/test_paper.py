"""Paper: what was asked for stands on the pages, in black on white, and hostile text stays text.

Truth: the rows given to it by the test.
"""

from __future__ import annotations

import base64
import re
import zlib
from html import unescape
from typing import Any

import pandas as pd
import pytest
from reportlab.lib.units import mm
from reportlab.platypus import LongTable, Paragraph
from samples_screens import assessed, readings_of, worst_unit

from analysis.circuit.limits import default_limits
from dashboard.files import paper, pieces
from dashboard.words import safety
from dashboard.words.limit_lines import limit_lines
from dashboard.words.list_row import list_row
from dashboard.words.next_words import TESTS
from dashboard.words.paper_words import list_line
from dashboard.words.reasons import OUTCOME_WORDS
from ingest.records import WeeklyList

HOSTILE = "<b>x</b> & <para>=1+1 日本 " + "W" * 3000


def pages(pdf: bytes) -> int:
    return len(re.findall(rb"/Type /Page\b", pdf))


def drawing(pdf: bytes) -> bytes:
    """The pages' drawing operators."""
    out = b""
    for found in re.finditer(rb"stream\r?\n(.*?)\r?\n?endstream", pdf, re.S):
        data = found.group(1)
        try:
            data = base64.a85decode(data.removesuffix(b"~>")) if data.endswith(b"~>") else data
            out += zlib.decompress(data)
        except (ValueError, zlib.error):
            continue  # a font, not a page
    return out


def plain(text: str) -> str:
    """The text without the capital and the blanks that only paper has."""
    return unescape(text).replace("\u00a0", " ").lower()


def row(**changes: Any) -> dict[str, Any]:
    base = {
        "unit": "T-001", "depot": "ridge", "vehicle_class": "light_van", "part": "battery", "part_probability": 0.8,
        "no_start_probability": 0.4, "coldest_start_c": -9.0, "coldest_start_low_c": -15.0,
        "coldest_start_high_c": -4.0, "act_by": "2026-12-04", "last_reading_on": "2026-11-01",
        "reasons": ["battery 9 mΩ at 20 °C"], "action": "renew", "next_test": None, "rank": 1, "change": "new",
    }  # fmt: skip
    return {**base, **changes}


def issued(rows: list[dict[str, Any]]) -> WeeklyList:
    body = {
        "as_of": "2026-11-30", "horizon_days": 30, "counts": {"units": 40}, "units": rows,
        "depots": {"ridge": {"coming_low_c": -12.0}}, "gone": [{"unit": "T-009", "why": "battery replaced"}],
    }  # fmt: skip
    return WeeklyList("2026-W49", "2026-11-30", "", body)


def test_the_list_is_one_page_for_few_and_more_for_many() -> None:
    few = paper.list_pdf(issued([row()]), [row()], {})
    assert few.startswith(b"%PDF")
    assert pages(few) == 1
    many = [row(unit=f"T-{i:03d}", rank=i) for i in range(1, 61)]
    assert 2 <= pages(paper.list_pdf(issued(many), many, {})) <= 8


def test_a_part_of_the_list_is_not_said_to_be_all_of_it() -> None:
    counts = {"days": 30, "needing": 19, "of": 144}
    whole = "Knowledge before 30 Nov 2026; no-start within 30 days if nothing is done; 19 of 144 vehicles."
    assert list_line("2026-11-30", **counts, shown=19) == whole
    assert list_line("2026-11-30", **counts, shown=4).startswith(f"{whole} Here stand 4 of these 19,")


def test_only_black_and_white_is_drawn() -> None:
    """Prints well in black and white: no colour operator other than black, white or grey."""
    ink = drawing(paper.list_pdf(issued([row()]), [row()], {}))
    colours = re.findall(rb"([\d.]+) ([\d.]+) ([\d.]+) (?:rg|RG)\b", ink)
    assert colours
    assert all(r == g == b for r, g, b in colours)


def test_a_sheet_of_a_vehicle_shows_every_column_it_filled_and_how_its_starts_went() -> None:
    """What was written down, seldom or not, stands on paper; a start without a measurement has its words."""
    readings = readings_of(worst_unit()).tail(3).reset_index(drop=True)
    readings["outcome"] = ["", "click", ""]
    readings["coil_alone_v"] = [float("nan"), 7.43, float("nan")]
    readings.loc[1, ["rest_v", "crank_min_v"]] = float("nan")
    tables = paper._reading_tables(readings, fahrenheit=False)
    said = [str(table) for table in tables]
    assert "one click, no crank" in said[0]
    assert all(words in said[0] for words in ("rest, V", "odometer, km"))
    assert "charging" not in "".join(said)
    assert "coil alone loaded, V" in said[-1]
    assert "7.43" in said[-1]


def test_no_advice_is_cut_on_paper_and_what_is_cut_says_so() -> None:
    for advice in TESTS.values():
        said = safety.with_caution(advice)
        assert plain(pieces.sentence(said)) == plain(said), "the caution stands last: it would be what is lost"
    assert pieces.printable("volts " * 100).endswith("…")


def test_the_bay_sheet_has_a_box_for_every_outcome() -> None:
    unit = paper.BayUnit("T-1", "ridge", "van", 12, "", {}, None, {})
    page = "".join(str(f) for f in paper._bay_page(unit, fahrenheit=False))
    assert all(words in page for words in OUTCOME_WORDS.values())
    assert pages(paper.bay_pdf([unit])) == 1


def test_no_limit_on_a_bay_sheet_runs_into_the_row_below() -> None:
    """The longest limits there are: of 24 V in °F, drops in mV; every row as high as its highest cell, all on one page."""
    limits = limit_lines(default_limits(24), usual_a=400.0, fahrenheit=True, drops_mv=True)
    last = dict.fromkeys(limits, 23.45)
    unit = paper.BayUnit("T-1" * 12, "ridge", "van", 24, "Due: service on 24 Nov 2026.", last, None, limits)
    table = next(f for f in paper._bay_page(unit, fahrenheit=True) if isinstance(f, LongTable))
    assert "load-test table" in "".join(cell.text for row in table._cellvalues for cell in row if hasattr(cell, "text"))
    table.wrap(pieces.PORTRAIT_MM * mm, 1000 * mm)
    for row, high in zip(table._cellvalues, table._rowHeights, strict=True):
        cells = [(c, width) for c, width in zip(row, table._colWidths, strict=True) if isinstance(c, Paragraph)]
        assert all(cell.wrap(width - 6, 1000 * mm)[1] <= high for cell, width in cells)
    assert pages(paper.bay_pdf([unit])) == 1


def test_paper_follows_the_readers_thermometer() -> None:
    """°F by definition: the bay sheet asks for °F, with the last value in °F; -9 °C is 16 °F."""
    unit = paper.BayUnit("T-1", "ridge", "van", 12, "", {"temperature_c": -9.0}, pd.Timestamp("2026-11-01"), {})
    table = next(f for f in paper._bay_page(unit, fahrenheit=True) if "Air at the vehicle" in str(f))
    assert "16 °F" in str(table)
    assert "°C" not in str(table)
    cells = [c.text.replace("\u00a0", " ") for c in paper._list_row(row(), issued([row()]).body, None, in_f=True)]
    assert any("<b>16 °F</b><br/>80 % sure: 5 °F to 25 °F<br/>coming low 10 °F" in c for c in cells)
    assert any("at 68 °F" in c for c in cells)
    assert paper.list_pdf(issued([row()]), [row()], {}, fahrenheit=True).startswith(b"%PDF")


def test_hostile_text_stays_text() -> None:
    bad = row(unit=HOSTILE[:64], depot=HOSTILE, vehicle_class=HOSTILE, reasons=[HOSTILE], action=HOSTILE)
    decision = {
        "kind": "postponed",
        "at": pd.Timestamp("2026-11-30"),
        "until": pd.Timestamp("2026-12-07"),
        "reason": HOSTILE,
    }
    pdf = paper.list_pdf(issued([bad]), [bad], {bad["unit"]: decision})
    assert pages(pdf) >= 1
    assert "&lt;b&gt;" in pieces.printable(HOSTILE)
    assert "日" not in pieces.printable(HOSTILE)


def test_vehicle_sheet_from_the_assessment() -> None:
    a, unit = assessed(), worst_unit()
    judged = a.units[a.units["unit"] == unit].to_dict("records")[0]
    parts = a.parts[a.parts["unit"] == unit]
    repairs = pd.DataFrame(
        {"done_on": [pd.Timestamp("2026-02-01")], "part": ["battery"], "action": ["replaced"], "reason": [""]}
    )
    listed = list_row(judged, parts, None, a)
    pdf = paper.unit_pdf(listed, parts, readings_of(unit), repairs, as_of="2026-11-30", horizon_days=30)
    assert 1 <= pages(pdf) <= 2


def test_drag_is_said_to_have_had_its_cause_renewed() -> None:
    """Drag is no piece that could be replaced; a cable is."""
    days = [pd.Timestamp("2026-02-01"), pd.Timestamp("2026-03-01")]
    repairs = pd.DataFrame(
        {
            "done_on": days,
            "part": ["engine_drag", "ground_path"],
            "action": ["replaced"] * 2,
            "reason": ["", "no_start"],
        }
    )
    assert [line.text for line in paper._repair_lines(repairs)] == [  # type: ignore[attr-defined]
        "1 Feb 2026: cause of the engine drag replaced (no reason)",
        "1 Mar 2026: ground path replaced (no start)",
    ]


def test_a_bay_sheet_per_due_vehicle() -> None:
    unit = paper.BayUnit(
        "T-001", "ridge", "light_van", 12, "Due: service.", {"rest_v": 12.61}, pd.Timestamp("2026-11-01"), {}
    )
    assert pages(paper.bay_pdf([unit])) == 1
    assert pages(paper.bay_pdf([unit, unit, unit])) == 3
    assert pages(paper.bay_pdf([])) == 1


@pytest.mark.parametrize("said", ["chocked", "Eye protection", "30 s", "2 min", "hybrid", "licensed practice", "Fused"])
def test_cautions_stand_on_the_bay_sheet(said: str) -> None:
    """TM 10-3930-671-24: crank 30 s at most, then cool; the others common practice."""
    assert said in safety.SAFE_NOTE


def test_codes_stand_eight_to_a_sheet_in_black() -> None:
    """One label each, whatever the number and the address hold; more squares drawn for a longer address."""
    vehicles = [(f"T-{i:03d}", f"http://workshop:8501/bay?unit=T-{i:03d}") for i in range(9)]
    assert pages(paper.codes_pdf(vehicles[:8])) == 1
    assert pages(paper.codes_pdf(vehicles)) == 2
    assert pages(paper.codes_pdf([(HOSTILE, "http://workshop:8501/bay?unit=" + "%20" * 60)])) == 1
    ink = drawing(paper.codes_pdf(vehicles[:1]))
    assert ink.count(b" re") > 150, "the squares of the code"
    longer = drawing(paper.codes_pdf([(vehicles[0][0], vehicles[0][1] + "x" * 80)]))
    assert longer.count(b" re") > ink.count(b" re")
    with pytest.raises(ValueError, match="no vehicle"):
        paper.codes_pdf([])
