"""A reading beside the vehicle's earlier ones: what no circuit foretells, as a logger or a seldom check reads it.

Truth: Ohm's law by hand: the dip is the rest volts less the inrush times what the battery has of its resistance in the first moment; a
winding's amps go with its volts and with one over its copper's resistance.
"""

from typing import Any

import numpy as np
import pandas as pd
import pytest
from test_circuit import SPREAD, STATE
from test_one_reading import UNIT

from analysis.bay.against import Moved
from analysis.bay.closure import Inrush, predicted_measurements
from analysis.bay.expected import Expected
from analysis.bay.one_reading import ReadingCheck, check_one_reading
from analysis.circuit.limit_book import LimitBook
from analysis.circuit.resistances import MEASURED
from analysis.circuit.temperature import BATTERY_LAW
from dashboard.words import reading_sheet

EARLY = 0.75  # of the battery's steady resistance in the first moment
EXPECTED = Expected(STATE, SPREAD, STATE, Inrush(0.9, EARLY), BATTERY_LAW, 7, frozenset(), 12.0)
BOOK = LimitBook()


def logged(celsius: float, times: float = 1.0, **more: Any) -> dict[str, Any]:
    """What a logger reads of the expected vehicle at a temperature: rest volts and the dip, whose fall is `times` as deep."""
    shown = dict(zip(MEASURED, np.ravel(predicted_measurements(STATE, celsius, inrush=EXPECTED.inrush)), strict=True))
    battery_ohm = (shown["rest_v"] - shown["crank_min_v"]) / shown["crank_a"]
    fall = times * EARLY * battery_ohm * shown["peak_a"]
    return {"temperature_c": celsius, "rest_v": shown["rest_v"], "crank_dip_v": shown["rest_v"] - fall, **more}


def frame(rows: list[dict[str, Any]]) -> pd.DataFrame:
    days = [
        {"taken_at": pd.Timestamp(f"2026-10-{d:02d}"), "doubtful": "", "lowest_is": "", **row}
        for d, row in enumerate(rows, 1)
    ]
    return pd.DataFrame(days)


def take(reading: dict[str, Any], earlier: list[dict[str, Any]]) -> ReadingCheck:
    limits = BOOK.for_group(UNIT["vehicle_class"], UNIT["system_v"], UNIT["fuel"], UNIT["cylinders"])
    return check_one_reading(
        {"taken_at": "2026-11-20", **reading}, UNIT, EXPECTED, limits, BOOK, earlier=frame(earlier)
    )


def moved(reading: dict[str, Any], earlier: list[dict[str, Any]]) -> dict[str, Moved]:
    return {one.name: one for one in take(reading, earlier).against.moved}


AIRS = (18.0, 4.0, -6.0, 11.0, 22.0)


def test_a_dip_is_held_against_earlier_dips_at_its_own_temperature() -> None:
    """A vehicle whose dips are 1.15 times what the circuit makes them has that for its own; 1.6 times that is unlike it."""
    earlier = [logged(c, 1.15) for c in AIRS]
    assert not moved(logged(-15.0, 1.15), earlier), "deeper than any before, as the cold has it"
    deep = logged(-15.0, 1.15 * 1.6)
    (one,) = moved(deep, earlier).values()
    assert one.name == "crank_dip_v"
    assert one.expected == pytest.approx(logged(-15.0, 1.15)["crank_dip_v"])
    said = reading_sheet.against_words(take(deep, earlier))
    assert f"dip at the first moment {deep['crank_dip_v']:.2f} V, not {one.expected:.2f} V" in said
    assert reading_sheet.perhaps_worse(one)


def test_a_vehicle_that_scatters_by_itself_is_allowed_to() -> None:
    wild = [logged(c, t) for c, t in zip(AIRS, (0.7, 1.4, 0.8, 1.3, 1.0), strict=True)]
    assert not moved(logged(10.0, 1.4), wild)
    assert moved(logged(10.0, 1.4), [logged(c) for c in AIRS])


def test_fewer_than_three_readings_and_those_before_a_renewal_tell_nothing() -> None:
    assert not moved(logged(10.0, 2.0), [logged(5.0), logged(6.0)])
    assert take(logged(10.0, 2.0), []).against.compared == take(logged(10.0, 2.0), [logged(5.0)]).against.compared


def test_doubtful_dips_and_starts_that_did_not_turn_do_not_count() -> None:
    odd = logged(5.0, 0.3, doubtful="crank_dip_v", outcome="started")
    stood = logged(5.0, 0.2, outcome="click")
    earlier = [logged(c, outcome="started") for c in AIRS[:3]] + [odd, odd, stood, stood]
    assert not moved(logged(5.0), earlier)
    assert "crank_dip_v" not in moved(logged(5.0, 0.2, outcome="click"), earlier)


def test_slow_samples_are_held_against_slow_samples() -> None:
    """The lowest of slow samples is above the true lowest by its own share of the fall, which stays."""

    def sampled(celsius: float, share: float) -> dict[str, Any]:
        shown = dict(zip(MEASURED, np.ravel(predicted_measurements(STATE, celsius)), strict=True))
        low = shown["rest_v"] - share * (shown["rest_v"] - shown["crank_min_v"])
        return {"temperature_c": celsius, "rest_v": shown["rest_v"], "crank_min_v": low, "lowest_is": "sampled"}

    earlier = [sampled(c, 0.7) for c in AIRS]
    assert not moved(sampled(-10.0, 0.7), earlier)
    assert set(moved(sampled(-10.0, 1.0), earlier)) == {"crank_min_v"}


@pytest.mark.parametrize(
    ("name", "usual", "odd"),
    [("charging_v", 14.3, 17.9), ("feed_v", 12.4, 9.0), ("pull_in_a", 55.0, 30.0), ("crank_s", 0.8, 2.4)],
)
def test_what_is_measured_seldom_is_held_against_its_own_last_values(name: str, usual: float, odd: float) -> None:
    earlier = [{"temperature_c": 15.0, "rest_v": 12.6, name: usual * t} for t in (0.98, 1.0, 1.03, 1.0)]
    now = {"temperature_c": 15.0, "rest_v": 12.6}
    assert name not in moved({**now, name: usual}, earlier)
    assert moved({**now, name: odd}, earlier)[name].expected == pytest.approx(usual, rel=0.03)


def test_a_loaded_check_is_held_against_those_with_the_same_load_only() -> None:
    earlier = [{"temperature_c": 15.0, "control_loaded_v": 0.7, "tester_load_ohm": 10.0} for _ in range(4)]
    assert moved({"temperature_c": 15.0, "control_loaded_v": 2.6, "tester_load_ohm": 10.0}, earlier)
    assert not moved({"temperature_c": 15.0, "control_loaded_v": 2.6, "tester_load_ohm": 3.0}, earlier)
