"""What is said where somebody cranks, probes or repairs: once, whole, and with the advice that it belongs to.

Truth: common practice; TM 10-3930-671-24 for 30 s and 2 min; the list of dangers stands here, written out.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from analysis.bay.decision_table import TABLE
from dashboard.cli import tables
from dashboard.files import paper, plan_book, plan_calendar, work_order
from dashboard.words import plan_table, reading_sheet, safety
from dashboard.words.list_row import CHEAP_FIRST
from dashboard.words.next_words import NEXT, TESTS
from ingest.fields import PARTS

ROOT = Path(__file__).resolve().parents[1]
DANGERS = (
    "Disable fuel or ignition", "no sparks near the battery", "Fused test lead, with the maker's fuse size",
    "bypasses the neutral or clutch switch", "Nobody under the vehicle", "on stands if it is raised",
    "Never load-test airbag or steering-column wiring", "start-stop vehicle can start by itself",
    "Never charge a frozen battery", "Disconnect the battery's ground first", "maker's procedure, local rules",
)  # fmt: skip


@pytest.mark.parametrize("danger", DANGERS)
def test_every_danger_is_said_before_anybody_acts(danger: str) -> None:
    assert danger in safety.SAFE_NOTE
    assert danger in safety.in_bold()


def test_each_sentence_stands_once_in_the_program() -> None:
    """No second place says it in other words: the words that tell it are in this module only."""
    told = re.compile(r"wheels chocked|sparks near|rings off|30 s at most|frozen battery", re.IGNORECASE)
    places = {
        str(path.relative_to(ROOT)) for package in ("analysis", "dashboard", "ingest")
        for path in (ROOT / package).rglob("*.py") if told.search(path.read_text(encoding="utf-8"))
    }  # fmt: skip
    assert places == {"dashboard/words/safety.py"}


@pytest.mark.parametrize(
    ("advice", "said"),
    [
        ("fused jumper at the relay socket", safety.JUMPER),
        ("loaded check of the coil alone", safety.AIRBAG),
        ("charge fully, rest some hours", safety.FROZEN),
        ("turn the engine by hand at the crankshaft", safety.GROUND_FIRST),
        ("control circuit drop while cranking", safety.DISABLE),
        ("rest some hours, then load-test it", safety.BATTERY),
        ("31.6 V with the engine running: the battery is overcharged", safety.BATTERY),
        ("voltage drop of the ground path, once more", safety.DISABLE),
    ],
)
def test_an_advice_comes_with_its_danger(advice: str, said: str) -> None:
    assert said in safety.said_with(advice)
    assert safety.with_caution(advice) == f"{advice}. {said}"
    assert safety.with_caution("rest volts") == "rest volts"


def test_who_looks_for_a_generator_that_does_not_charge_is_not_told_of_ice() -> None:
    """Common practice: a frozen battery is not put on a charger; volts with the engine running put nothing on."""
    assert not safety.said_with(
        "12.1 V with the engine running: the battery is not charged. charging volts at the generator's own post"
    )


def test_every_advice_that_can_hurt_is_said_with_it() -> None:
    """Every next measurement of the two tables that names a jumper, a load or a charge."""
    advices = [*NEXT.values(), *TESTS.values(), *CHEAP_FIRST.values()]
    for word, said in (("jumper", safety.JUMPER), ("loaded check", safety.AIRBAG), ("charge", safety.FROZEN)):
        found = [advice for advice in advices if word in advice.casefold()]
        assert found
        assert all(said in safety.said_with(advice) for advice in found)


def test_whoever_takes_the_circuit_apart_disconnects_ground_first() -> None:
    """Common practice: a spanner between the positive side and the body shorts the battery."""
    for part in set(PARTS) - {"engine_drag"}:
        assert safety.GROUND_FIRST in safety.said_with(CHEAP_FIRST[part])


def test_paper_exports_and_terminal_carry_it() -> None:
    for place in (paper, work_order, plan_table, plan_book, plan_calendar, tables):
        assert place.SAFE_NOTE is safety.SAFE_NOTE


@pytest.mark.parametrize(
    ("page", "shown"),
    [("bay", "caution("), ("work", "caution("), ("unit", "before_work("), ("plan", "before_work("),
     ("weekly_list", "before_work(")],
)  # fmt: skip
def test_every_page_that_sends_somebody_to_a_vehicle_shows_it(page: str, shown: str) -> None:
    """Read in the source, because each page needs a fleet of its own to be drawn."""
    assert shown in (ROOT / "dashboard" / "screens" / "views" / f"{page}.py").read_text(encoding="utf-8")


def test_every_segment_has_its_words() -> None:
    """Parts, pieces of parts, and what is none of them: every segment of the decision table is read aloud."""
    assert set(reading_sheet.SEGMENT_WORDS) == {row.segment for row in TABLE} | set(PARTS)
    assert not any("_" in words for words in reading_sheet.SEGMENT_WORDS.values())


def test_where_an_action_sends_hands_to_belts_a_start_stop_vehicle_is_warned_of() -> None:
    assert safety.ALONE in safety.with_caution(CHEAP_FIRST["engine_drag"])
