"""Glow plugs and intake heaters: their amps go through the battery, not through the starter's cable. A block heater warms the
engine and nothing else.

Truth: Ohm's and Kirchhoff's laws by hand; nothing changes where no vehicle has any.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import samples_kept
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
from analysis.readings.observe import CONTACTS, LOAD, raw_quantities, reference_values
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
    assert np.asarray(aid_amps(units, at)).tolist() == [[80.0, 0.0], [0.0, 0.0], [0.0, 0.0]]
    assert aid_of(units.drop(columns="aid_load_a")) is None
    assert aid_of(units.assign(aid_load_a=0.0)) is None
    some = aid_of(units)
    assert some is not None
    one = some.of(slice(1, 2))
    assert (one.load_a.tolist(), one.below_c.tolist(), one.warmer_k.tolist()) == ([60.0], [-5.0], [0.0])


def test_a_block_heater_warms_the_engine_and_leaves_the_battery_cold() -> None:
    """At -20 °C, heater on below 0: the drag of -5 °C with the battery and the copper of -20; nothing of it at 4 °C."""
    state = replace(CIRCUIT, battery_b=0.009, battery_c=1.75e-4, drag_b=0.012, drag_c=2.8e-4, aid_below_c=0.0)
    heated = replace(state, engine_warmer_k=15.0)
    times = float(np.exp(0.012 * 25.0 + 2.8e-4 * 25.0**2))
    start, bare = solve_start(heated, -20.0), solve_start(state, -20.0)
    assert float(start.amps) == pytest.approx(200.0 * times)
    battery = 0.005 * float(np.exp(0.009 * 40.0 + 1.75e-4 * 40.0**2))
    assert float(start.battery_v) == pytest.approx(12.6 - float(start.amps) * battery)
    assert float(start.speed_rpm) > float(bare.speed_rpm)
    assert solve_start(heated, 4.0) == solve_start(state, 4.0)


@pytest.mark.parametrize(
    ("aid", "below_c", "warmer_k"),
    [("block_heater", -5.0, OBSERVING.heater_k), ("block_heater", np.nan, 0.0), ("intake_heater", -5.0, 0.0), ("none", -5.0, 0.0)],
)  # fmt: skip
def test_only_a_block_heater_that_says_below_what_warms_an_engine(aid: str, below_c: float, warmer_k: float) -> None:
    units = pd.DataFrame({"unit": ["A", "B"], "starting_aid": [aid, ""], "aid_below_c": [below_c, np.nan]})
    found = aid_of(units)
    assert ([0.0, 0.0] if found is None else found.warmer_k.tolist()) == [warmer_k, 0.0]


def test_a_reading_beside_a_plugged_heater_tells_the_same_parts() -> None:
    """What the loop by hand shows of one circuit at -15 °C with a warm engine, and with a cold one: battery, motor and load."""
    units = pd.DataFrame({"unit": ["A"], "vehicle_class": "van", "system_v": 12, "depot": "hill", "aid_below_c": [0.0]})
    law = np.array([STATE.drag_b]), np.array([STATE.drag_c])
    cold = replace(STATE, load_speed_share=0.0)
    found = []
    warmed = replace(cold, aid_below_c=0.0, engine_warmer_k=OBSERVING.heater_k)
    for aid, state in (("block_heater", warmed), ("none", cold)):
        shown = dict(zip(MEASURED, map(float, np.ravel(predicted_measurements(state, -15.0))), strict=True))
        readings = pd.DataFrame(
            [{"unit": "A", "taken_at": pd.Timestamp("2026-01-10"), "temperature_c": -15.0, **shown}]
        )
        panel = make_panel(units.assign(starting_aid=aid), readings)
        raw = raw_quantities(panel, *law, np.ones((1, 2)))
        battery = np.array([STATE.battery_b]), np.array([STATE.battery_c])
        found.append(reference_values(panel, raw, battery, law, np.zeros(1), None)[:, 0, 0])
    assert found[0][: CONTACTS + 1] == pytest.approx(found[1][: CONTACTS + 1])
    assert [v[LOAD] for v in found] == pytest.approx([STATE.load_a] * 2)


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
    bare = samples_kept.assess(tables, as_of=day, with_classes=False)
    nil = assess(
        replace(tables, units=tables.units.assign(aid_load_a=0.0, aid_below_c=3.0)), as_of=day, with_classes=False
    )
    pd.testing.assert_frame_equal(nil.units, bare.units)
    state, own = drawn_of(bare).state, drawn_of(bare).prognosis
    n = len(state.rest_v)
    found = [
        drawn_coldest_starts(
            state.drawn[1],
            state.field,
            replace(state.vehicles, aid=Aid(np.full(n, amps), np.full(n, 5.0), np.zeros(n)) if amps else None),
            own.limits.needs,
            own.laws,
        ).max(axis=0)
        for amps in (0.0, 60.0, 150.0)
    ]
    for less, more in itertools.pairwise(found):
        assert (more >= less - 1e-3).all()
    cold = (found[0] > -60.0) & (found[0] < 0.0)
    assert cold.mean() > 0.5
    assert (found[2][cold] > found[0][cold] + 0.3).all()


def test_engines_on_a_heater_start_colder_and_all_others_as_before(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of the same drawn vehicles, every second with a heater below 5 °C: by some kelvin, and by no more than it warms, as far as a grid
    of 4 K tells; the others to the bit."""
    quick(monkeypatch)
    state, own = (lambda a: (a.state, a.prognosis))(
        drawn_of(samples_kept.assess(tables_of(fleet()), as_of=pd.Timestamp(fleet().as_of), with_classes=False))
    )
    n = len(state.rest_v)
    heated = np.arange(n) % 2 == 0
    bare, found = (
        drawn_coldest_starts(state.drawn[1], state.field, replace(state.vehicles, aid=aid), own.limits.needs, own.laws)
        for aid in (None, Aid(np.zeros(n), np.full(n, 5.0), np.where(heated, OBSERVING.heater_k, 0.0)))
    )
    assert (found[:, ~heated] == bare[:, ~heated]).all()
    speed, was = found[0, heated], bare[0, heated]
    cold = (was > -50.0) & (was < 0.0)
    assert cold.mean() > 0.5
    assert (speed[cold] < was[cold] - 2.0).all()
    assert (speed[cold] > was[cold] - OBSERVING.heater_k - 1.0).all()
