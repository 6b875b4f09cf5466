"""Glow plugs and intake heaters: their amps go through the battery, not through the starter's cable.

Truth: Ohm's and Kirchhoff's laws by hand; nothing changes where no vehicle has any.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from samples_fleet import drawn_of, fleet, quick, tables_of
from test_circuit import STATE
from test_one_reading import EXPECTED, take, value_of

from analysis.bay.closure import predicted_measurements
from analysis.bay.facts import with_derived
from analysis.bay.one_reading import usual_facts
from analysis.circuit.limit_book import LimitBook
from analysis.circuit.limits import BRUSH_V
from analysis.circuit.resistances import ELEMENTS, MEASURED, infer_resistances
from analysis.readings.aid import Aid, aid_amps, aid_of
from analysis.readings.choices import OBSERVING
from analysis.readings.observe import raw_quantities
from analysis.readings.panel import make_panel
from analysis.starting.coldest_start import drawn_coldest_starts
from analysis.starting.loop import StartState, solve_start
from analysis.worklist.assess import assess

CIRCUIT = StartState(
    open_circuit_v=12.6, battery_mohm=5.0, positive_mohm=0.5, ground_mohm=0.5, contacts_mohm=0.5, motor_mohm=10.0,
    load_a=200.0, emf_v_per_rpm=0.04, reference_rpm=190.0, control_mohm=80.0, coil_mohm=1500.0, load_speed_share=0.0,
    battery_b=0.0, battery_c=0.0, drag_b=0.0, drag_c=0.0, open_circuit_v_per_k=0.0,
)  # fmt: skip


def test_by_hand_the_battery_falls_by_all_amps_and_the_clamp_sees_the_starter_s() -> None:
    """5 mΩ, 200 A and 80 A: 12.6 − 1.4 V below 5 °C, 12.6 − 1.0 V above; the load of constant torque stays 200 A."""
    aided = replace(CIRCUIT, aid_load_a=80.0)
    cold, mild = solve_start(aided, -10.0), solve_start(aided, 10.0)
    assert float(cold.battery_v) == pytest.approx(12.6 - 0.005 * 280.0)
    assert float(mild.battery_v) == pytest.approx(12.6 - 0.005 * 200.0)
    assert float(cold.amps) == pytest.approx(200.0)
    assert float(cold.speed_rpm) < float(solve_start(CIRCUIT, -10.0).speed_rpm)


def test_one_reading_tells_the_same_battery_with_the_aid_and_without() -> None:
    """The sag of 280 A over 280 A, and that of 200 A over 200 A: 5 mΩ; at the stall of a loop of 16.5 mΩ the aid's 80 A
    have taken 0.4 V before the starter takes its own, and the motor's winding is the same too."""
    reading = {"crank_a": 200.0, "rest_v": 12.6} | dict.fromkeys(
        ("drop_positive_v", "drop_ground_v", "drop_contacts_v"), 0.1
    )
    stall_v = 12.6 - BRUSH_V.value
    both = pd.DataFrame(
        [{**reading, "crank_min_v": 11.2, "peak_a": (stall_v - 0.4) / 0.0165, "aid_a": 80.0},
         {**reading, "crank_min_v": 11.6, "peak_a": stall_v / 0.0165, "aid_a": 0.0}]
    )  # fmt: skip
    found = infer_resistances(both, 12).value_mohm
    for element in ("battery", "motor_winding"):
        one, other = found[:, ELEMENTS.index(element)]
        assert one == pytest.approx(other)
    assert found[0, ELEMENTS.index("battery")] == pytest.approx(5.0)


@pytest.mark.parametrize("amps", [40.0, 80.0, 150.0])
def test_a_sound_vehicle_with_glow_plugs_on_fits_in_the_bay_and_its_battery_is_not_called_worn(amps: float) -> None:
    """At rest the aid is off: the rest volts are those without it. What is shown while cranking is the loop by hand above."""
    state = replace(STATE, aid_load_a=amps)
    expected = replace(EXPECTED, state=state, usual=state)
    shown = dict(zip(MEASURED, map(float, np.ravel(predicted_measurements(state, -10.0))), strict=True))
    bare = dict(zip(MEASURED, map(float, np.ravel(predicted_measurements(STATE, -10.0))), strict=True))
    assert shown["rest_v"] == bare["rest_v"]
    assert shown["crank_min_v"] < bare["crank_min_v"]
    check = take({"temperature_c": -10.0, **shown}, expected)
    assert check.closure.closes
    assert not check.findings
    for element in ("battery", "motor_winding"):
        value, _, then = value_of(check, element)
        assert value == pytest.approx(then)
        assert value == pytest.approx(value_of(take({"temperature_c": -10.0, **bare}), element)[0])
    facts = with_derived({**shown, **usual_facts(expected, -10.0)}, LimitBook().for_group("van", 12, "diesel", 4.0))
    assert facts["battery_times"] == pytest.approx(1.0)


def test_a_worn_battery_beside_glow_plugs_is_still_found() -> None:
    """Twice the resistance, 80 A beside the starter: twice what is usual, and said so."""
    state = replace(STATE, aid_load_a=80.0)
    worn = replace(state, battery_mohm=2.0 * STATE.battery_mohm)
    shown = dict(zip(MEASURED, map(float, np.ravel(predicted_measurements(worn, -10.0))), strict=True))
    facts = with_derived(
        {**shown, **usual_facts(replace(EXPECTED, state=state, usual=state), -10.0)},
        LimitBook().for_group("van", 12, "diesel", 4.0),
    )
    assert facts["battery_times"] == pytest.approx(2.0)


def test_its_amps_count_in_the_cold_alone() -> None:
    """Below the vehicle's own temperature, else the stated one; nil and nothing where no vehicle has any."""
    units = pd.DataFrame({"unit": ["A", "B", "C"], "vehicle_class": "van", "system_v": 12, "depot": "hill",
                          "aid_load_a": [80.0, 60.0, np.nan], "aid_below_c": [np.nan, -5.0, 3.0]})  # fmt: skip
    at = np.array([[OBSERVING.aid_below_c - 1.0, OBSERVING.aid_below_c + 1.0]] * 3)
    readings = pd.DataFrame({"unit": [], "taken_at": pd.to_datetime([])})
    assert np.asarray(aid_amps(make_panel(units, readings), at)).tolist() == [[80.0, 0.0], [0.0, 0.0], [0.0, 0.0]]
    assert aid_of(units.drop(columns="aid_load_a")) is None
    assert aid_of(units.assign(aid_load_a=0.0)) is None
    assert aid_of(units).of(slice(1, 2)) == Aid(np.array([60.0]), np.array([-5.0]))  # type: ignore[union-attr]


def test_a_fleet_s_readings_tell_the_same_parts_with_the_aid_on_as_without() -> None:
    """What the loop by hand shows of one circuit, aid on and off: battery, and the loop that the inrush sees."""
    units = pd.DataFrame({"unit": ["A"], "vehicle_class": "van", "system_v": 12, "depot": "hill", "aid_load_a": [80.0]})
    found = []
    for vehicles, state in ((units, replace(STATE, aid_load_a=80.0)), (units.drop(columns="aid_load_a"), STATE)):
        shown = dict(zip(MEASURED, map(float, np.ravel(predicted_measurements(state, -10.0))), strict=True))
        readings = pd.DataFrame(
            [{"unit": "A", "taken_at": pd.Timestamp("2026-01-10"), "temperature_c": -10.0, **shown}]
        )
        flat, stall = np.zeros(1), np.ones((1, 2))
        found.append(raw_quantities(make_panel(vehicles, readings), flat, flat, stall))
    on, off = found
    assert on.battery == pytest.approx(off.battery)
    brush_share = 80.0 * on.battery[0, 0] / 1e3 / on.rest_v[0, 0] * BRUSH_V.value / (on.rest_v[0, 0] - BRUSH_V.value)
    assert on.loop == pytest.approx(off.loop, rel=2.0 * brush_share)  # brushes are within the class's share, not apart


def test_a_list_changes_nothing_without_and_no_draw_starts_colder_with_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nil amps, the same list; of the same drawn vehicles, the more the aid draws the warmer the coldest start of each."""
    quick(monkeypatch)
    tables, day = tables_of(fleet()), pd.Timestamp(fleet().as_of)
    bare = assess(tables, as_of=day, with_classes=False)
    nil = assess(
        replace(tables, units=tables.units.assign(aid_load_a=0.0, aid_below_c=3.0)), as_of=day, with_classes=False
    )
    pd.testing.assert_frame_equal(nil.units, bare.units)
    state, own = drawn_of(bare).state, drawn_of(bare).prognosis
    n = len(state.rest_v)
    found = [
        drawn_coldest_starts(
            state.drawn[1], state.field, state.rest_v, state.group, state.panel.volts, state.laws, own.limits.needs, own.laws,
            Aid(np.full(n, amps), np.full(n, 5.0)) if amps else None,
        ).max(axis=0)
        for amps in (0.0, 60.0, 150.0)
    ]  # fmt: skip
    for less, more in itertools.pairwise(found):
        assert (more >= less - 1e-3).all()
    cold = (found[0] > -60.0) & (found[0] < 0.0)
    assert cold.mean() > 0.5
    assert (found[2][cold] > found[0][cold] + 0.3).all()
