"""A small fleet in which every rule of the weekly list is at work: what a choice moves is measured on it.

Three workshops read two classes of vans, 24 V vehicles and a few cars; some vans have a logger, some tell volts, speed or
cranking time only, some burn glow plugs or have a battery or an oil that is known; one class was never read, one begins from
what another fleet taught, another does not fit it. One depot has measured lows, a forecast, both, neither, or no climate at
all. Starts failed in every way, were slow, were colder since; looks found nothing; a renewal was denied.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from fleets import logged

from analysis.readings.panel import FleetTables
from analysis.readings.taught import TaughtClass
from analysis.worklist.assess import assess
from demo_fleet.simulate import Fleet, simulate_fleet
from demo_fleet.specs import CONTINENTAL, MOUNTAIN, PRACTICE_LIKE, FleetSpec, grown

YEARS = 1.55
"""So long a past holds a dozen looks; it ends in December."""
VANS = {"light_van": 0.5, "panel_van_diesel": 0.5}
FAST = grown(pace=0.4, rate=3.0)
"""Parts wear so much sooner, and more often, that a short past holds renewals of them."""
READ = (
    FleetSpec(8801, units=28, years=YEARS, classes=VANS, depots=PRACTICE_LIKE, prefix="W", rpm_share=0.5, unrecorded=0.25,
              silent_swaps=0.3, gross=0.01, interval_weeks=(3, 6), act_share=0.3, growth=FAST),
    FleetSpec(8802, units=14, years=YEARS, classes={"rigid_truck": 0.6, "long_haul_tractor": 0.4}, depots=CONTINENTAL, prefix="H",
              record_instrument=True, noise=1.3, interval_weeks=(3, 6), gross=0.01, growth=FAST),
    FleetSpec(8803, units=16, years=YEARS, classes=VANS, depots=MOUNTAIN, prefix="V", interval_weeks=(2, 5), rpm_share=0.9),
    FleetSpec(8804, units=6, years=YEARS, classes={"passenger_car": 1.0}, depots=MOUNTAIN, prefix="C", interval_weeks=(4, 8)),
)  # fmt: skip
TEACHING = FleetSpec(
    8805, units=24, years=YEARS, classes={"passenger_car": 0.5, "rigid_truck": 0.5}, interval_weeks=(4, 8)
)
STARTS = 150
"""Of each logged vehicle, over a year."""
LOGGED, VOLTS_ONLY, SPEED_ONLY, TIME_ONLY, LITTLE_READ = (
    [f"V{k:05d}" for k in numbers] for numbers in (range(1, 6), range(6, 10), range(10, 13), range(13, 15), range(15, 17))
)  # fmt: skip
TURNS_UNTIL_IT_FIRES = 4.0
"""From cranking speed to cranking time (from memory: one to two seconds)."""
WRONG_CLAMP = 1.15
"""One person's clamp shows so many times the amps."""
FAILURES = ("no_start", "no_click", "click", "chatter", "spins")


def composed_fleet() -> tuple[FleetTables, pd.Timestamp]:
    """The tables, and the day of its list."""
    made = [simulate_fleet(spec) for spec in READ]
    day = pd.Timestamp(made[0].as_of)
    frames = {
        name: pd.concat([getattr(f, name) for f in made], ignore_index=True)
        for name in ("units", "readings", "repairs")
    }
    places = {name: _of_depots(made, name) for name in ("climate", "forecast", "lows")}
    units = _known_of_vehicles(frames["units"])
    readings = _outcomes(_read_otherwise(frames["readings"], units, places["climate"]), day)
    climate, forecast, lows = places["climate"], places["forecast"], places["lows"]
    denied = {"unit": "W00003", "part": "battery", "around_on": day - pd.Timedelta(days=60), "answer": "denied",
              "by": "a technician", "at": day - pd.Timedelta(days=20)}  # fmt: skip
    tables = FleetTables(
        units,
        readings.sort_values(["unit", "taken_at"], kind="stable", ignore_index=True),
        frames["repairs"],
        climate[climate["depot"] != "valley"].assign(low_sd_c=lambda c: c["low_sd_c"].where(c["depot"] != "river")),
        forecast[forecast["depot"].isin(["upper", "lower", "plain"])],
        reset_answers=pd.DataFrame([denied]),
        findings=_looks(frames["units"], day),
        lows=lows[lows["date"] < day],
        taught=_taught(),
    )
    return tables, day


def _of_depots(made: list[Fleet], name: str) -> pd.DataFrame:
    """Of every depot once."""
    every = pd.concat([getattr(f, name) for f in made], ignore_index=True)
    return every.drop_duplicates(["depot", "month" if name == "climate" else "date"], ignore_index=True)


def _known_of_vehicles(units: pd.DataFrame) -> pd.DataFrame:
    """The vehicles with what is known of some of them, and one of a class that was never read."""
    number = units["unit"].str[1:].astype(int)
    first, third = units["unit"].str[0], number % 3
    diesel = units["vehicle_class"] == "panel_van_diesel"
    known = units.assign(
        oil_grade=np.select([diesel & (third == 0), (first == "H") & (third == 0)], ["5W-30", "15W-40"], ""),
        battery_type=np.where((third == 1) & (first != "H"), "AGM", ""),
        batteries=np.where(first == "H", 2.0, 1.0),
        in_parallel=np.where(first == "H", "no", ""),
        aid_load_a=np.where(diesel & (third > 0), 60.0, np.nan),
        aid_below_c=np.where(diesel & (third == 1), 8.0, np.nan),
        starting_aid=np.where(diesel & (third == 2), "intake_heater", ""),
        fuel_limit_c=np.where(diesel & (number % 5 == 0), -12.0, np.nan),
    )
    unread = known.iloc[[0]].assign(unit="N00001", vehicle_class="wheel_loader", system_v=24)
    return pd.concat([known, unread], ignore_index=True)


def _read_otherwise(readings: pd.DataFrame, units: pd.DataFrame, climate: pd.DataFrame) -> pd.DataFrame:
    """The readings with those of loggers, and with vehicles of which little is measured."""
    of = readings["unit"]
    volts = readings[of.isin(VOLTS_ONLY)][["unit", "taken_at", "temperature_c", "rest_v", "crank_min_v", "technician"]]
    dips = readings[of.isin(VOLTS_ONLY[:2])]["peak_a"].notna()
    volts = volts.assign(crank_dip_v=(volts["crank_min_v"] - 0.8).where(dips.reindex(volts.index, fill_value=False)))
    volts["crank_min_v"] = volts["crank_min_v"].where(volts["unit"] != VOLTS_ONLY[0])
    speed = readings[of.isin([*SPEED_ONLY, *TIME_ONLY])][["unit", "taken_at", "temperature_c", "rest_v", "crank_rpm"]]
    time = speed["unit"].isin(TIME_ONLY)
    speed = speed.assign(
        crank_s=(60.0 * TURNS_UNTIL_IT_FIRES / speed["crank_rpm"]).where(time),
        crank_rpm=speed["crank_rpm"].where(~time),
    )
    wrong = of.str.startswith("W") & (np.arange(len(readings)) % 3 == 0)
    readings.loc[wrong, ["crank_a", "peak_a"]] *= WRONG_CLAMP
    readings.loc[wrong, "technician"] = "T99"
    seen = logged(readings[of.isin(LOGGED)], STARTS, units, climate).assign(outcome="started")
    seen["lowest_is"] = np.where(seen["unit"].isin(LOGGED[:2]), "sampled", "")
    few = readings[of.isin(LITTLE_READ)].groupby("unit").tail(3)
    gone = [*VOLTS_ONLY, *SPEED_ONLY, *TIME_ONLY, *LITTLE_READ]
    return pd.concat([readings[~of.isin(gone)], few, volts, speed, seen], ignore_index=True)


def _outcomes(readings: pd.DataFrame, day: pd.Timestamp) -> pd.DataFrame:
    """The readings with starts that failed and nobody repaired, slow ones, and ones as cold since."""
    failed = pd.DataFrame(
        {
            "unit": [f"W{k:05d}" for k in range(11, 18)],
            "taken_at": [day - pd.Timedelta(days=float(ago), hours=17) for ago in (6, 13, 20, 27, 34, 100, 150)],
            "temperature_c": [-4.0, -6.0, np.nan, -3.0, -5.0, 4.0, 9.0],
            "outcome": [*FAILURES, "no_start", "no_start"],
        }
    )
    since = pd.DataFrame(
        {
            "unit": ["W00014"] * 2 + ["W00016"] * 4 + ["W00021", "W00022"],
            "taken_at": [day - pd.Timedelta(days=float(ago), hours=16) for ago in (12, 8, 60, 50, 40, 30, 9, 10)],
            "temperature_c": [-5.0, -4.0, 2.0, 1.0, 0.0, -2.0, -3.0, -5.0],
            "outcome": ["started"] * 6 + ["slow"] * 2,
        }
    )
    every = pd.concat([readings, failed, since], ignore_index=True)
    every["taken_at"] = every["taken_at"].astype(readings["taken_at"].dtype)
    return every


def _looks(units: pd.DataFrame, day: pd.Timestamp) -> pd.DataFrame:
    """Looks that found nothing, at a part and at the one that the readings blame."""
    some = units["unit"].iloc[::3].tolist()
    parts = ["battery", "ground_path", "", "starter_motor", "positive_cable"]
    return pd.DataFrame(
        {
            "unit": some,
            "part": [parts[k % len(parts)] for k in range(len(some))],
            "found_on": [day - pd.Timedelta(days=5 + 3 * (k % 4)) for k in range(len(some))],
        }
    )


def _taught() -> tuple[TaughtClass, ...]:
    """What another fleet taught of the cars, and of trucks that are built otherwise."""
    made = simulate_fleet(TEACHING)
    tables = FleetTables(made.units, made.readings, made.repairs, made.climate, made.forecast)
    found = assess(tables, as_of=pd.Timestamp(made.as_of)).teaches
    return tuple(one if one.name.startswith("passenger_car") else replace(one, usual=one.usual * 1.45) for one in found)
