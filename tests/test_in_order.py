"""In the bay the fields stand in the order of the work, those first that matter most for the vehicle."""

from __future__ import annotations

import pytest

from dashboard.desk.in_order import ALWAYS, STEPS, fields_today
from dashboard.words.bay_words import today_words
from ingest.fields import MAIN_DROPS, QUANTITIES

ALL = tuple(name for name, quantity in QUANTITIES.items() if not quantity.seldom)


def test_every_usual_measurement_stands_in_one_step_and_one_crank_gives_several() -> None:
    """Rest volts first, then one crank (lowest volts, amps, speed), then drop by drop: as a technician works."""
    taken = [name for _, names in STEPS for name in names]
    assert sorted(taken) == sorted(ALL)
    order = ["rest_v", "crank_min_v", "crank_a", "crank_rpm", *MAIN_DROPS, "drop_control_v"]
    assert [name for name in taken if name in order] == order


@pytest.mark.parametrize(
    ("suspect", "known", "wanted", "words"),
    [
        ("", ALL, ALWAYS, "Two are enough today"),
        ("", (), ALWAYS, "Two are enough today"),
        ("battery", ALL, (*ALWAYS, "crank_a"), "Three are enough today: battery suspected"),
        ("ground_path", ALL, (*ALWAYS, "crank_a", "drop_ground_v"), "Four are enough today: ground path suspected"),
        ("starter_motor", ALL, (*ALWAYS, "crank_a", "peak_a", "crank_rpm"), "Five are enough today"),
        ("", ("rest_v", "crank_min_v"), (*ALWAYS, "crank_a"), ": never all measured here"),
        ("", ("rest_v", "crank_a"), (*ALWAYS, "crank_a", *MAIN_DROPS), ": never all measured here"),
    ],
)
def test_what_is_suspected_or_was_never_measured_comes_first(
    suspect: str, known: tuple[str, ...], wanted: tuple[str, ...], words: str
) -> None:
    found = fields_today(suspect, known)
    assert found == wanted
    assert words in today_words(found, suspect, never=bool(known) and not set(found) <= set(known))
