"""What a person typed is harmless, and temperatures come in the reader's unit.

Truth: °F = 1.8 °C + 32 and 1 K = 1.8 °F by definition.
"""

from __future__ import annotations

import pytest

from dashboard.words.plain_text import (
    act_words,
    as_sentence,
    below_nil,
    in_reader_unit,
    percent,
    week_and_monday,
    week_days,
)


@pytest.mark.parametrize(
    ("said", "read"),
    [
        ("battery 9.1 mΩ at 20 °C, was 8.0 mΩ in May", "battery 9.1 mΩ at 68 °F, was 8.0 mΩ in May"),
        ("starts down to −10 °C (80 % sure: between below −40 °C and 0 °C)",
         "starts down to 14 °F (80 % sure: between below −40 °F and 32 °F)"),
        ("it starts about 10 degrees colder, down to −20 °C", "it starts about 18 degrees colder, down to −4 °F"),
        ("it starts about 10 K colder, down to −20 °C", "it starts about 18 degrees colder, down to −4 °F"),
        ("12.6 V at 300 A", "12.6 V at 300 A"),
        ("thermometer about 3 ± 1 degrees high", "thermometer about 5 ± 2 degrees high"),
    ],
)  # fmt: skip
def test_sentences_come_in_the_readers_unit(said: str, read: str) -> None:
    assert in_reader_unit(said, fahrenheit=True) == read
    assert in_reader_unit(said, fahrenheit=False) == said


def test_degrees_below_nil_have_a_minus_sign() -> None:
    """Whether what says them wrote a hyphen or not, and in either unit; a hyphen elsewhere stays."""
    assert in_reader_unit("K-142 at -14 °C", fahrenheit=False) == "K-142 at −14 °C"
    assert in_reader_unit("K-142 at -30 °C", fahrenheit=True) == "K-142 at −22 °F"
    assert below_nil("K-142: -0.02 V on 2026-01-31") == "K-142: −0.02 V on 2026-01-31"


def test_a_week_is_said_with_its_monday() -> None:
    """Of the weeks about a turn of the year, from a calendar."""
    assert week_and_monday("2026-W53") == "2026-W53, from Mon 28 Dec 2026"
    assert week_days("2027-W01") == "Mon 4 Jan 2027 to Sun 10 Jan 2027"


@pytest.mark.parametrize(
    ("probability", "said"),
    [(0.0, "under 1 %"), (0.0099, "under 1 %"), (0.01, "1 %"), (0.5, "50 %"), (0.99, "99 %"), (0.9901, "over 99 %"),
     (1.0, "over 99 %"), (float("nan"), "–")],
)  # fmt: skip
def test_nothing_is_said_to_be_certain(probability: float, said: str) -> None:
    """Definition: one in a hundred and ninety-nine in a hundred are the last that are said as they are."""
    assert percent(probability) == said


def test_a_capital_first_leaves_the_rest() -> None:
    """A month keeps its capital: "looked at on 21 Nov", not "21 nov"."""
    assert as_sentence("postponed on 21 Nov until 5 Dec 2026") == "Postponed on 21 Nov until 5 Dec 2026"
    assert as_sentence("") == ""


def test_when_to_act_is_said_as_people_say_it() -> None:
    assert act_words("2026-12-05", "2026-12-05") == "act **now**"
    assert act_words("2026-12-12", "2026-12-05") == "act by **12 Dec 2026**"
    assert act_words(None, "2026-12-05") == "no day to act by yet"
