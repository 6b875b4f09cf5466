"""Vehicles of which only cranking speed, or only cranking time, and the air were ever read are judged, honestly wide.

Truth: a starting circuit of its own, below: a source, a loop, a motor whose back-emf goes with speed, and a drag that grows
with the cold and partly with speed.  Published beside it: 46 cranks of one car with 7.8 V at 186 rpm, 9.5 V at 235 (cold)
and 10.3 V at 296 (hot), that is speed by volts with 10 % to either side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest
from samples_fleet import drawn_of, quick

from analysis.bay.expected import class_knowledge
from analysis.readings.class_laws import estimate_laws, observe
from analysis.readings.observe import BATTERY, LOAD, Observations
from analysis.readings.panel import FleetTables, Floats, make_panel
from analysis.worklist.assess import Assessment, assess
from dashboard.cli.tables import list_table
from dashboard.desk.assessment import list_rows
from dashboard.words.reasons import lacking_words, suspect_name
from dashboard.words.since import changed

DAY = pd.Timestamp("2025-02-01")
VEHICLES, STARTS, EVERY_D = 12, 14, 24
LOSES, COLD, ONCE = (
    6,
    1,
    2,
)  # starts at the end that get slower; the vehicles that stand colder there, and that were read once


@dataclass(frozen=True)
class Circuit:
    """A 12 V diesel: volts, ohms and amps at 20 degC."""

    rest_v: float = 12.6
    brush_v: float = 1.2
    battery_ohm: float = 0.0075
    loop_ohm: float = 0.0125
    load_a: float = 190.0
    stands: float = 0.65
    rpm: float = 190.0

    def speed(self, celsius: Floats, lost_v: Floats | float = 0.0) -> Floats:
        """Speed at which drive and drag agree, by halving."""
        cold = 20.0 - celsius
        ohm = self.battery_ohm * np.exp(0.010 * cold) + self.loop_ohm
        k = (self.rest_v - self.brush_v - self.load_a * (self.battery_ohm + self.loop_ohm)) / self.rpm
        low, high = np.zeros_like(cold), np.full_like(cold, 2.0 * self.rpm)
        for _ in range(50):
            rpm = 0.5 * (low + high)
            amps = self.load_a * np.exp(0.009 * cold) * (self.stands + (1.0 - self.stands) * rpm / self.rpm)
            turns = self.rest_v - self.brush_v - lost_v - amps * ohm > k * rpm
            low, high = np.where(turns, rpm, low), np.where(turns, high, rpm)
        return low


def starts(seed: int) -> tuple[pd.DataFrame, Floats]:
    """Vehicles, days and temperatures of a summer and a winter, and the speed that each would turn at when sound."""
    chance = np.random.default_rng(seed)
    days = DAY - pd.to_timedelta(np.arange(STARTS)[::-1] * EVERY_D + 2, unit="D")
    season = 9.0 - 11.0 * np.cos(2.0 * np.pi * (days.day_of_year.to_numpy() - 20) / 365.0)
    celsius = season + chance.normal(0.0, 3.0, (VEHICLES, STARTS))
    celsius[COLD, -LOSES:] -= 14.0
    own = np.exp(chance.normal(0.0, 0.03, (VEHICLES, 1)) + chance.normal(0.0, 0.025, (VEHICLES, STARTS)))
    frame = pd.DataFrame({
        "unit": np.repeat([f"V{i:02d}" for i in range(VEHICLES)], STARTS), "taken_at": np.tile(days, VEHICLES),
        "temperature_c": np.round(celsius.ravel(), 1),
    })  # fmt: skip
    return frame, Circuit().speed(celsius) * own


def tables(readings: pd.DataFrame) -> FleetTables:
    units = pd.DataFrame({
        "unit": sorted(readings["unit"].unique()), "vehicle_class": "van", "system_v": 12, "fuel": "diesel", "cylinders": 4,
        "rated_cca_a": np.nan, "depot": "north", "in_service": pd.Timestamp("2022-01-01"),
    })  # fmt: skip
    month = np.arange(1, 13)
    low_c = 4.0 - 9.0 * np.cos(2.0 * np.pi * (month - 1) / 12.0)
    climate = pd.DataFrame({"depot": "north", "month": month, "low_c": low_c, "low_sd_c": 3.5})
    repairs = pd.DataFrame({"unit": [], "done_on": pd.to_datetime([]), "part": [], "action": [], "reason": []})
    forecast = pd.DataFrame({"depot": [], "date": pd.to_datetime([]), "low_c": []})
    return FleetTables(units, readings, repairs, climate, forecast)


def judged(readings: pd.DataFrame) -> Assessment:
    with pytest.MonkeyPatch.context() as patch:
        quick(patch)
        return assess(tables(readings), as_of=DAY, draws=128)


def read_once(readings: pd.DataFrame) -> pd.DataFrame:
    """The readings without all but the last of one vehicle."""
    gone = (readings["unit"] == f"V{ONCE:02d}") & (readings["taken_at"] < readings["taken_at"].max())
    return readings[~gone].reset_index(drop=True)


def worse(sound: Floats, share: float) -> Floats:
    """The first vehicle loses `share` more of its speed at each of its last LOSES starts."""
    out = sound.copy()
    out[0, -LOSES:] *= (1.0 - share) ** np.arange(1, LOSES + 1)
    return out


@pytest.fixture(scope="module")
def speed() -> Assessment:
    return judged(by_speed())


@pytest.fixture(scope="module")
def time() -> Assessment:
    return judged(by_time())


def by_speed(seed: int = 1, share: float = 0.06) -> pd.DataFrame:
    frame, sound = starts(seed)
    return read_once(frame.assign(crank_rpm=np.round(worse(sound, share).ravel())))


def by_time(seed: int = 1, share: float = 1.0 - 2.0 ** (-1.0 / LOSES)) -> pd.DataFrame:
    """Two and a half turns until it fires, a quarter more or less, and at the end of it twice the time."""
    frame, sound = starts(seed)
    late = np.exp(np.random.default_rng(100 + seed).normal(0.0, 0.2, sound.shape))
    return frame.assign(crank_s=np.round((150.0 / worse(sound, share) * late).ravel(), 2))


def test_speed_alone_finds_the_one_that_slows(speed: Assessment) -> None:
    """Six times 6 % slower is at the top and flagged; sound ones are not, neither is the one that is slow because it is cold."""
    units = speed.units.set_index("unit")
    assert units["no_start_probability"].idxmax() == "V00"
    assert units.index[units["flagged"]].tolist() == ["V00"]
    level = drawn_of(speed).state.growth[BATTERY].level
    assert level[0] > 1.7
    assert level[COLD] == pytest.approx(1.0, abs=0.15)
    _frame, sound = starts(1)
    assert sound[COLD, -LOSES:].mean() < 0.93 * np.delete(sound, COLD, axis=0)[:, -LOSES:].mean(), "it does turn slower"


def test_time_alone_finds_the_one_that_takes_twice_as_long(time: Assessment) -> None:
    units = time.units.set_index("unit")
    assert units["no_start_probability"].idxmax() == "V00"
    assert units.index[units["flagged"]].tolist() == ["V00"]


def test_time_tells_far_less_than_speed(speed: Assessment, time: Assessment) -> None:
    """The errors are the scatter that was put in: 2.5 % of speed, 20 % of time; the range of the coldest start is wide."""
    laws = [a.state.laws.speed for a in (speed, time)]
    assert laws[0] is not None
    assert laws[1] is not None
    assert laws[0].scatter[0, 0] == pytest.approx(0.025, abs=0.01)
    assert laws[1].scatter[1, 0] == pytest.approx(0.20, abs=0.05)
    by_speed, by_time = (np.nanmedian(a.state.observed.se[BATTERY]) for a in (speed, time))
    assert by_time > 3.0 * by_speed
    for one in (speed.units, time.units):
        read = one["status"] == "judged"
        assert (one["coldest_start_high_c"] - one["coldest_start_low_c"])[read].min() > 5.0


@pytest.mark.parametrize("word", ["speed", "time"])
def test_it_is_named_for_what_it_is(word: str, request: pytest.FixtureRequest) -> None:
    """Slow or long cranking, what is not told apart, what would tell, and nothing bought before it is measured."""
    judged: Assessment = request.getfixturevalue(word)
    rows = {r["unit"]: r for r in list_rows(judged, tables(by_speed()).readings, flagged_only=False)}
    first, other = rows["V00"], rows["V05"]
    assert suspect_name(first) == {"speed": "slow cranking", "time": "long cranking"}[word]
    assert suspect_name(other) == f"cranking {word}"
    assert f"Judged by cranking {word} alone" in lacking_words(first, DAY)
    assert "rest volts and lowest volts of one start would tell" in lacking_words(first, DAY)
    assert first["reasons"][0].startswith(f"cranks as {'slowly' if word == 'speed' else 'long'} as with a battery of")
    assert first["action"] == "measure again first"
    assert first["next_test"].startswith("Rest volts, then lowest volts")
    assert not any("renewed" in reason or "suspected only" in reason for reason in first["reasons"])
    assert suspect_name(first) in list_table(list(rows.values()), judged)
    plain = judged.units.set_index("unit").loc["V00"].to_dict() | {"unit": "V00"}
    assert not [
        said
        for said in changed(first, plain, horizons=(30, 30), days=("2026-01-05", "2026-01-05"), fahrenheit=False)
        if "suspect" in said
    ]


def test_one_start_is_too_few(speed: Assessment) -> None:
    once = speed.units.set_index("unit").loc[f"V{ONCE:02d}"]
    assert once["status"] != "judged"
    rows = {r["unit"]: r for r in list_rows(speed, by_speed(), flagged_only=False)}
    assert rows[f"V{ONCE:02d}"]["reasons"] == ["1 reading so far: too few to judge, not known to be healthy"]


def mixed(seed: int = 4) -> pd.DataFrame:
    """Volts and speed of all but the first vehicle, of which it is speed alone."""
    frame = by_speed(seed)
    circuit, known = Circuit(), (frame["unit"] != "V00").to_numpy()
    cold = 20.0 - frame["temperature_c"].to_numpy()
    amps = (
        circuit.load_a
        * np.exp(0.009 * cold)
        * (circuit.stands + (1.0 - circuit.stands) * frame["crank_rpm"] / circuit.rpm)
    )
    low = circuit.rest_v - amps * circuit.battery_ohm * np.exp(0.010 * cold)
    return frame.assign(
        rest_v=np.where(known, circuit.rest_v, np.nan), crank_min_v=np.where(known, low.round(2), np.nan)
    )


def observed(readings: pd.DataFrame) -> Observations:
    told = tables(readings)
    panel = make_panel(told.units, told.readings)
    return observe(panel, estimate_laws(panel))


def test_among_vehicles_with_volts_speed_counts_where_it_is_alone() -> None:
    """The first is told by speed; of the others' starts nothing changes, for their volts say it already."""
    readings = mixed()
    both = observed(readings)
    others = observed(readings[readings["unit"] != "V00"])
    assert both.turned is not None
    assert both.turned[0, 0].all()
    assert not both.turned[:, 1:].any()
    assert others.turned is None
    assert np.array_equal(both.value[BATTERY, 1:], others.value[BATTERY], equal_nan=True)
    assert np.median(both.value[BATTERY, 0, -3:]) > 1.6
    assert np.median(both.value[BATTERY, 0, :-LOSES]) == pytest.approx(1.0, abs=0.25)
    assert both.habit_sd is not None
    assert both.habit_sd[0] > 0.0
    assert not both.habit_sd[1:].any()
    assert np.isnan(both.by_meters().value[BATTERY, 0]).all(), "no meter is judged by it, and no class is taught"


def test_a_slow_start_has_lost_the_volts_that_were_measured_at_such_speeds() -> None:
    """Published cranks of one car: 7.8 V at 186 rpm, 9.5 V at 235. A class at the second, one start of it at the first."""
    frame, _ = starts(1)
    frame = frame.assign(temperature_c=10.0, crank_rpm=235.0, rest_v=12.6, crank_min_v=9.5)
    slow = (frame["unit"] == "V00") & (frame["taken_at"] == frame["taken_at"].max())
    frame.loc[slow, ["crank_rpm", "crank_min_v"]] = 186.0, np.nan
    found = observed(frame)
    laws, ratio = found.laws, 186.0 / 235.0
    usual_mohm = 1e3 * (12.6 - 9.5) / laws.base[0, LOAD]
    amps = laws.base[0, LOAD] * (1.0 - laws.speed_share[0] * (1.0 - ratio))
    volts = 12.6 - 1e-3 * amps * usual_mohm * found.value[BATTERY, 0, -1] / np.median(found.value[BATTERY, 1])
    assert volts == pytest.approx(7.8, abs=0.5)


def test_the_bay_knows_such_a_class_too(speed: Assessment) -> None:
    """What a class is expected to show is made of the laws of the assessment, of a class alone."""
    told = class_knowledge(drawn_of(speed).state.panel, "van 12 V", drawn_of(speed).state.laws)
    assert told.laws.speed is None
    assert told.laws.base.shape == (1, 7)
