"""Below the oil's, the fuel's and the electrolyte's own limits no start is promised.

Sources: SAE J300 cranking viscosity limits; TM 5-4210-230-14&P-1 Table 2 (freezing by gravity); open data of charged and
discharged AGM blocks, DOI 10.5281/zenodo.14981233, own reduction.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import samples_kept
from samples_fleet import fleet, quick, tables_of
from test_circuit import STATE

from analysis.circuit.battery import state_of_charge
from analysis.circuit.temperature import DRAG_LAW, drag_law
from analysis.readings.aid import engine_c
from analysis.readings.choices import OBSERVING
from analysis.readings.class_laws import estimate_laws
from analysis.readings.panel import make_panel
from analysis.starting.floors import FLOORS, NOWHERE_C, floors_of, freezing_c
from analysis.starting.loop import StartState, solve_start
from analysis.worklist.assess import assess

DAY = pd.Timestamp("2022-12-12")


def vehicle(**own: object) -> pd.DataFrame:
    return pd.DataFrame({"unit": ["A"], **{name: [value] for name, value in own.items()}})


@pytest.mark.parametrize(
    ("grade", "celsius"), [("0W-20", -35), ("5W-30", -30), ("10W-40", -25), ("15W-40", -20), ("20W-50", -15)]
)
def test_oil_has_the_cranking_limit_of_its_winter_grade(grade: str, celsius: float) -> None:
    """SAE J300: highest cranking viscosity is stated at these temperatures."""
    found = floors_of(vehicle(oil_grade=grade), np.array([12.7]))
    assert (found.as_charged[0], FLOORS[found.binding[0]]) == (celsius, "oil")


@pytest.mark.parametrize("below_c", [10.0, 0.0, -20.0, -21.0, -30.0, np.nan])
@pytest.mark.parametrize("aid", ["block_heater", "intake_heater", "none"])
def test_no_start_is_promised_where_the_engine_s_oil_is_colder_than_its_limit(aid: str, below_c: float) -> None:
    """SAE J300: 15W down to -20 degC, of an engine as warm as :func:`engine_c` says in each air; the floor is the coldest air from which
    on all warmer ones keep to it.  By hand: plugged in from -20 degC on or above, it is colder by what the heater warms."""
    found = floors_of(
        vehicle(oil_grade="15W-40", starting_aid=aid, aid_below_c=below_c, aid_load_a=50.0), np.array([12.7])
    )
    air = np.arange(-60.0, 20.0, 0.5)
    warmer = OBSERVING.heater_k if aid == "block_heater" else 0.0
    too_cold = air[engine_c(air, below_c, warmer) < -20.0]
    assert found.charged[0] == too_cold.max() + 0.5
    assert found.charged[0] == -20.0 - (warmer if below_c >= -20.0 else 0.0)


def test_a_block_heater_moves_neither_the_fuel_s_limit_nor_the_battery_s_and_an_unknown_grade_has_none() -> None:
    """The air's own; nothing is assumed that nobody said."""
    heater = {"starting_aid": "block_heater", "aid_below_c": 0.0}
    assert floors_of(vehicle(oil_grade="15W-40", fuel_limit_c=-22.0, **heater), np.array([12.7])).charged[0] == -22.0
    discharged = np.array([12.0])
    assert floors_of(vehicle(**heater), discharged).as_charged[0] == freezing_c(discharged)[0]
    assert floors_of(vehicle(**heater), np.array([12.7])).charged[0] == NOWHERE_C
    assert floors_of(vehicle(oil_grade=""), np.array([12.7])).charged[0] == NOWHERE_C
    assert floors_of(vehicle(), np.array([np.nan])).as_charged[0] == NOWHERE_C


def test_fuel_that_gels_is_the_warmer_limit() -> None:
    found = floors_of(vehicle(oil_grade="5W-30", fuel_limit_c=-12.0), np.array([12.7]))
    assert (found.as_charged[0], FLOORS[found.binding[0]]) == (-12.0, "fuel")


def test_a_discharged_battery_freezes_where_the_tables_and_the_open_data_say() -> None:
    """Table 2: 1.155 freezes at -15 degC, which is 12.06 V at rest (BCI); blocks of 12.03 V: ohms x4.75 at -20 degC, x1.06 at -10."""
    assert -20.0 < freezing_c(np.array([12.03]))[0] < -10.0
    assert -30.0 < freezing_c(np.array([12.19]))[0] < -20.0
    assert freezing_c(np.array([12.46]))[0] < -36.0
    assert np.diff(freezing_c(np.linspace(11.8, 12.7, 40))).max() <= 0.0


@pytest.mark.parametrize("block_v", [11.95, 12.1, 12.3])
@pytest.mark.parametrize("need_rpm", [60.0, 110.0, 150.0])
def test_the_ohms_of_ice_move_no_coldest_start_because_none_is_promised_in_ice(block_v: float, need_rpm: float) -> None:
    """Ice multiplies the resistance by 5, the most that is printed, at every temperature below the freezing point: the coldest start
    on a fine grid, held by the floor, is the same.  So the forward model knows the floor alone."""
    celsius = np.linspace(-60.0, 30.0, 901)
    floor = float(freezing_c(np.array([block_v]))[0])
    times = np.where(celsius < floor, 5.0, 1.0)
    state = replace(STATE, open_circuit_v=block_v)

    def coldest(state: StartState) -> float:
        short = celsius[solve_start(state, celsius).speed_rpm < need_rpm]
        return max(floor, float(short.max(initial=-60.0)))

    assert coldest(replace(state, battery_mohm=state.battery_mohm * times)) == coldest(state)


def test_the_freezing_point_is_known_as_well_as_the_volts_that_tell_of_it() -> None:
    """Two rows of Table 2, 0.18 V and 20 °F apart (BCI, TM 5-4210-230-14&P-1): 0.045 V of surface charge and meter are 2.8 K.  What
    the oil holds is known."""
    units = pd.DataFrame({"unit": ["A", "B"], "oil_grade": ["", "15W-40"]})
    away = np.random.default_rng(3).standard_normal((2, 4000))
    found = floors_of(units, np.array([12.15, 12.6]), away)
    assert found.as_charged[0].std() == pytest.approx(np.hypot(0.04, 0.02) / 0.18 * 20 / 1.8, rel=0.05)
    assert np.median(found.as_charged[0]) == pytest.approx(
        floors_of(units, np.array([12.15, 12.6])).as_charged[0], abs=0.2
    )
    assert (found.as_charged[1] == -20.0).all()


def test_an_agm_battery_at_the_same_volts_is_less_charged_and_freezes_earlier() -> None:
    """12.65 V is a full flooded battery and an AGM one at about three quarters (12.8 V full, from memory)."""
    assert float(state_of_charge(12.65)) == 1.0
    assert float(state_of_charge(12.8, agm=True)) == pytest.approx(1.0)
    assert 0.7 < float(state_of_charge(12.65, agm=True)) < 0.85
    units = pd.DataFrame({"battery_type": ["flooded", "AGM", ""]})
    found = floors_of(units, np.full(3, 12.4)).as_charged
    assert found[0] == found[2] < found[1] - 5.0


def test_no_list_promises_a_start_below_the_oil_and_says_what_holds_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every vehicle of a small fleet gets thick oil: none is said to start colder, and where it holds, oil is the reason."""
    quick(monkeypatch)
    tables = tables_of(fleet())
    thick = replace(tables, units=tables.units.assign(oil_grade="25W-60"))
    plain, held = (
        found.units.set_index("unit").sort_index()
        for found in (samples_kept.assess(tables, as_of=DAY), assess(thick, as_of=DAY))
    )
    assert (plain.coldest_start_c < -12.0).any()
    assert (held.coldest_start_c >= -10.0).all()
    assert (held.limited_by == "oil").any()
    warmer = plain.index[plain.coldest_start_low_c > -9.0]
    pd.testing.assert_series_equal(held.coldest_start_c[warmer], plain.coldest_start_c[warmer])
    assert held.no_start_probability.mean() > plain.no_start_probability.mean()


KV_CST = {
    "0W": (44.0, 8.2),
    "5W": (62.0, 10.6),
    "10W": (92.0, 14.0),
    "15W": (108.0, 14.6),
    "20W": (140.0, 16.0),
    "25W": (170.0, 17.0),
}


@pytest.mark.parametrize("grade", KV_CST)
def test_the_drag_of_a_grade_is_that_of_its_d341_line(grade: str) -> None:
    """Usual oils of each grade (cSt at 40 and 100 degC, from memory) on an ASTM D341 line, torque by viscosity^0.45 over 40 %
    dry drag: the stated law stays within 6 % of it from +20 to -25 degC, and its doubt covers the other exponents."""
    at_40, at_100 = KV_CST[grade]
    celsius = np.linspace(-25.0, 20.0, 10)
    law = drag_law(f"{grade}-40")

    def viscosity(at: np.ndarray) -> np.ndarray:
        """ASTM D341: log10 log10(v + 0.7) = A - B log10(T)."""
        z40, z100 = (np.log10(np.log10(v + 0.7)) for v in (at_40, at_100))
        slope = (z40 - z100) / (np.log10(373.0) - np.log10(313.0))
        return 10.0**10.0 ** (z40 - slope * (np.log10(at + 273.0) - np.log10(313.0))) - 0.7

    def torque(exponent: float, dry: float) -> np.ndarray:
        ratio = viscosity(celsius) / viscosity(np.array(20.0))
        return np.log(dry + (1.0 - dry) * ratio**exponent)

    assert law.log_factor(celsius) == pytest.approx(torque(0.45, 0.4), abs=0.06)
    se = law.log_factor_se(-25.0)
    assert all(abs(torque(e, d)[0] - law.log_factor(-25.0)) < 2.6 * se for e in (0.4, 0.5) for d in (0.3, 0.5))
    assert se < DRAG_LAW.log_factor_se(-25.0)


def test_a_class_s_oil_is_that_of_most_of_its_vehicles() -> None:
    """Without readings a class has the law of its oil; a class whose oil nobody stated has the plain published one."""
    units = pd.DataFrame(
        {"unit": list("ABC"), "vehicle_class": "van", "system_v": 12, "fuel": "diesel", "depot": "yard"}
    )
    empty = tables_of(fleet()).readings.iloc[:0]
    thick = estimate_laws(make_panel(units.assign(oil_grade=["15W-40", "15W-40", "0W-20"]), empty))
    assert thick.load_per_k[0] == pytest.approx(drag_law("15W-40").b_per_k)
    assert estimate_laws(make_panel(units, empty)).load_per_k[0] == pytest.approx(DRAG_LAW.b_per_k)
