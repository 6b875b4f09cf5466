"""All that is settled before the first day: vehicles, weather, fates of parts, visits and meters; and staging it."""

import datetime as dt
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from demo_fleet.cranking import WARM_C, viscosity_cst
from demo_fleet.faults import LAWS, PARTS, draw_lives, limits
from demo_fleet.measuring import make_bays, plan_visits
from demo_fleet.specs import OILS, FleetSpec
from demo_fleet.vehicles import CLASSES, build
from demo_fleet.weather import make_weather

Array = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

OLDEST_YEARS, NEWEST_YEARS = 7.0, -0.4
"""Vehicles have been in service for up to this long at the start; some join the fleet later (our choice)."""
WINTER_BATTERY, WINTER_OIL = 0.82, 0.85
"""Battery resistance and viscous load of winter-ready vehicles, relative to the class (our choice)."""
USE_SD, BATTERY_USE_SD = 0.25, 0.12
"""Log sd of the pace of wear between vehicles."""
CHARGE, CHARGE_SD, WINTER_CHARGE = 0.94, 0.025, 0.03
"""Resting state of charge of a sound battery, its sd between vehicles, and its dip in mid-winter."""
TYPICAL_COLD_SD = 1.0
"""The typical cold morning lies this many sd below the coldest month's mean low."""
HEAT_DOUBLING_C = 20.0
"""Batteries age twice as fast for this much more warmth [K] (our choice; the usual rule says 10 K for the whole day's
temperature, of which a parked vehicle's battery sees about half)."""
SEASON_PACE = (1.5, 0.5)
"""Pace of wear of seasonal vehicles in and out of their season, April to September."""
MOST_OF_LIFE = 0.97
"""Parts are at most at this share of their first life at the start."""
JOINTS = (PARTS.index("positive_cable"), PARTS.index("ground_path"), PARTS.index("control_circuit"))
"""Parts that corrode in the wet and can be loose."""
WEATHER_AFTER_DAYS = 11
"""Weather is drawn beyond the end for the forecast [d]."""
SPELL_SCATTER = 0.3
FIXED_AGE_DAYS = 500
"""Vehicles given a fixed class and depot have been in service at least this long [d]."""
SETTLED_DAYS = 400.0
"""Effective age given to the parts of a staged vehicle on the first day [d]."""

BATTERIES = {"flooded": (1.0, 0.0), "EFB": (0.95, 0.0), "AGM": (0.86, 0.12)}
"""By kind of battery, resistance relative to a flooded one of the same label, and rest volts above it as charged [V per 12 V]:
our own round values; an AGM block rests 0.1 to 0.2 V higher (from memory)."""

Plan = list[tuple[int, int, str, str, bool]]
"""Repairs of one day: vehicle row, part column, action, reason, recorded."""


class Setting:
    """One fleet before its first day, drawn from the seed of `spec`; the methods stage a story, then it stays as it is.

    A FleetRun reads it and never changes it, so that runs with other actions meet the same vehicles and weather.
    """

    def __init__(self, spec: FleetSpec) -> None:
        self.spec = spec
        streams = [np.random.default_rng(s) for s in np.random.SeedSequence(spec.seed).spawn(8)]
        self._draw_units(streams[0])
        self.weather = make_weather(spec.depots, spec.start, spec.days + WEATHER_AFTER_DAYS, streams[1])
        self.lives = draw_lives(spec.units, spec.growth, streams[2])
        self.bays = make_bays(spec, streams[3])
        self.visits = plan_visits(spec, self.depot, self.first_day, streams[4])
        self._draw_habits(streams[5])
        self._draw_ages(streams[6])
        self._plan_swaps(streams[7])
        self._measure_limits()
        self.left_alone: set[int] = set()
        self.fitted: dict[str, list[object]] = {}

    def _draw_units(self, rng: np.random.Generator) -> None:
        spec = self.spec
        shares = np.array(list(spec.classes.values()), np.float64)
        self.classes: list[str] = rng.choice(list(spec.classes), size=spec.units, p=shares / shares.sum()).tolist()
        self.depot: IntArray = rng.integers(0, len(spec.depots), spec.units)
        years = rng.uniform(NEWEST_YEARS, OLDEST_YEARS, spec.units)
        age_days = np.rint(365.25 * years).astype(np.int64)
        for row, (name, depot) in spec.fixed.items():
            self.classes[row], self.depot[row] = name, depot
            age_days[row] = max(int(age_days[row]), FIXED_AGE_DAYS)
        self.first_day: IntArray = -age_days
        numbers = range(spec.first_number, spec.first_number + spec.units)
        self.names = [f"{spec.prefix}{n:0{spec.digits}d}" for n in numbers]
        self.row = {name: row for row, name in enumerate(self.names)}
        self.hardware = build(self.classes, rng)
        if spec.winter_ready:
            every = np.arange(spec.units)
            self.hardware = self.hardware.scaled(every, battery_mohm=WINTER_BATTERY, viscous_a=WINTER_OIL)
        if spec.oil:
            thin, thick = (np.full(spec.units, v) for v in OILS[spec.oil])
            self.hardware = replace(self.hardware, oil_40_cst=thin, oil_100_cst=thick)

    def _draw_habits(self, rng: np.random.Generator) -> None:
        units, depots = self.spec.units, self.spec.depots
        self.usage: Array = np.exp(USE_SD * rng.standard_normal((units, len(PARTS))))
        self.usage[:, 0] = np.exp(BATTERY_USE_SD * rng.standard_normal(units))
        self.soc: Array = np.clip(CHARGE + CHARGE_SD * rng.standard_normal(units), 0.8, 0.995)
        self.seasonal = rng.random(units) < self.spec.seasonal
        coldest = np.array([min(d.january_c, d.july_c) - TYPICAL_COLD_SD * d.low_sd_c for d in depots])
        self.typical_c: Array = coldest[self.depot]
        self._mean_c = np.array([(d.january_c + d.july_c) / 2 for d in depots])

    def _draw_ages(self, rng: np.random.Generator) -> None:
        """Effective ages on the first day: as old as the vehicle, or somewhere in a later life of the part."""
        vehicle = np.maximum(-self.first_day, 0).astype(np.float64)[:, None] * self.usage
        life = MOST_OF_LIFE * (self.lives.onset + self.lives.days)[:, :, 0]
        renewed = rng.random(vehicle.shape) * np.minimum(vehicle, life)
        self.age_days: Array = np.where(vehicle < life, vehicle, renewed)

    def _plan_swaps(self, rng: np.random.Generator) -> None:
        spec = self.spec
        self.swaps: dict[int, Plan] = {}
        for unit in np.flatnonzero(rng.random(spec.units) < spec.silent_swaps * spec.years):
            day = int(rng.integers(0, spec.days))
            self.swaps.setdefault(day, []).append((int(unit), 0, "replaced", "preventive", False))

    def _measure_limits(self) -> None:
        law = self.spec.cold
        self.limits = limits(self.hardware, law, typical_cold_c=self.typical_c, soc=self.soc)

    # ---- the course of the year -------------------------------------------------------------------------------

    def date(self, day: int) -> dt.date:
        """The date of a day number."""
        return self.spec.start + dt.timedelta(days=day)

    def pace(self, day: int) -> Array:
        """Effective days of ageing on a day [unit, part]: heat for batteries, wet for joints, use for all."""
        heat = 2.0 ** ((self.weather.mean_low_c[day] - self._mean_c) / HEAT_DOUBLING_C)
        pace = self.usage.copy()
        pace[:, 0] *= heat[self.depot]
        pace[:, JOINTS] *= self.weather.wet[day, self.depot][:, None]
        in_season = 4 <= self.date(day).month <= 9
        pace[self.seasonal] *= SEASON_PACE[0] if in_season else SEASON_PACE[1]
        pace[self.first_day > day] = 0.0
        return pace

    def charge(self, day: int) -> Array:
        """Resting state of charge before wear: a little lower in winter."""
        turn = 2 * np.pi * (self.date(day).timetuple().tm_yday - 20) / 365.25
        return np.asarray(np.clip(self.soc - WINTER_CHARGE * np.cos(turn), 0.05, 0.995), np.float64)

    def units_table(self) -> pd.DataFrame:
        """The contract's units table."""
        classes = [CLASSES[n] for n in self.classes]
        service = pd.to_datetime([self.date(int(d)) for d in self.first_day]).astype("datetime64[us]")
        columns: dict[str, Any] = {
            "unit": pd.Series(self.names, dtype="str"), "vehicle_class": pd.Series(self.classes, dtype="str"),
            "system_v": np.array([12 * c.blocks for c in classes], np.int64),
            "fuel": pd.Series([c.fuel for c in classes], dtype="str"),
            "cylinders": np.array([c.cylinders for c in classes], np.int64),
            "rated_cca_a": np.array([c.rated_cca_a for c in classes], np.float64),
            "depot": pd.Series([self.spec.depots[d].name for d in self.depot], dtype="str"), "in_service": service,
        }  # fmt: skip
        return pd.DataFrame(columns | self.fitted)

    # ---- staging a story --------------------------------------------------------------------------------------

    def make_sound(self, unit: str) -> None:
        """Make every part now fitted last beyond the end."""
        row = self.row[unit]
        self.usage[row], self.seasonal[row] = 1.0, False
        self.age_days[row] = SETTLED_DAYS
        self.lives.onset[row, :, 0] = 10.0 * self.spec.days + SETTLED_DAYS

    def set_fate(self, unit: str, part: str, *, onset: dt.date, days: float, law: str, curable: bool = False) -> None:
        """Make the part now fitted begin to fail on `onset` and reach level 1 in about `days` at the usual pace.

        Raises ValueError for a law not in `faults.LAWS`.
        """
        if law not in LAWS:
            raise ValueError(f"law is {law!r}; allowed: {', '.join(LAWS)}")
        row, column = self.row[unit], PARTS.index(part)
        at = (row, column, 0)
        begin = (onset - self.spec.start).days
        elapsed = sum(float(self.pace(day)[row, column]) for day in range(begin)) if begin > 0 else begin
        self.age_days[row, column] = SETTLED_DAYS
        self.lives.onset[at], self.lives.days[at] = SETTLED_DAYS + elapsed, days
        self.lives.law[at], self.lives.second[at] = LAWS.index(law), curable

    def change_hardware(self, unit: str, **factors: float) -> None:
        """Multiply as-built quantities of one vehicle (names of Hardware)."""
        self.hardware = self.hardware.scaled(np.array([self.row[unit]]), **factors)
        self._measure_limits()

    def fill_oil(self, unit: str, grade: str, usual: str) -> None:
        """Put another oil in than the class's usual one: its drag in the warm and in the cold, and its name on record.

        Raises KeyError for a grade that is none of OILS.
        """
        row, (thin, thick), (usual_40, usual_100) = np.array([self.row[unit]]), OILS[grade], OILS[usual]
        warm = viscosity_cst(WARM_C, thin, thick) / viscosity_cst(WARM_C, usual_40, usual_100)
        self.hardware = self.hardware.given(row, oil_40_cst=thin, oil_100_cst=thick)
        self.hardware = self.hardware.scaled(row, viscous_a=warm**self.spec.cold.oil_exponent)
        self._note(unit, "oil_grade", grade, "")

    def fit_battery(self, unit: str, kind: str) -> None:
        """Fit a battery of a kind of BATTERIES, and note it."""
        row, (times, above_v) = np.array([self.row[unit]]), BATTERIES[kind]
        self.hardware = self.hardware.scaled(row, battery_mohm=times).given(row, rest_above_v=above_v)
        self._note(unit, "battery_type", kind, "")

    def fit_aid(self, unit: str, aid: str, *, below_c: float, load_a: float) -> None:
        """Fit a starting aid that works in air below `below_c` [°C], and note it; see :class:`demo_fleet.vehicles.VehicleClass`."""
        row = np.array([self.row[unit]])
        self.hardware = self.hardware.given(row, aid_below_c=below_c, aid_a=load_a)
        self._note(unit, "starting_aid", aid, "none")
        self._note(unit, "aid_below_c", below_c, np.nan)
        self._note(unit, "aid_load_a", load_a, np.nan)

    def _note(self, unit: str, column: str, value: object, otherwise: object) -> None:
        self.fitted.setdefault(column, [otherwise] * self.spec.units)[self.row[unit]] = value

    def settle_fittings(self) -> None:
        """Measure anew how much wear stops each vehicle, once all are fitted out."""
        self._measure_limits()

    def leave_alone(self, unit: str) -> None:
        """Have nobody renew a part of this vehicle because a reading is past its limit."""
        self.left_alone.add(self.row[unit])

    def read_outdoors(self, unit: str) -> None:
        """Have all readings of a vehicle taken in the unheated yard."""
        self.visits.heated[self.visits.unit == self.row[unit]] = 0.0

    def wet_winter(self, first: dt.date, last: dt.date, *, factor: float) -> None:
        """Make the days from `first` to `last` wetter by a factor at every depot."""
        self.weather.wet[self._days(first, last)] *= factor

    def cold_spell(self, first: dt.date, last: dt.date, *, below_mean_c: float) -> None:
        """Make the lows fall to `below_mean_c` [K] under the mean halfway through and recover; drawn ups and downs
        remain at SPELL_SCATTER of their size."""
        days = self._days(first, last)
        mean, count = self.weather.mean_low_c[days], days.stop - days.start
        depth = below_mean_c * np.sin(np.pi * (np.arange(count) + 1) / (count + 1))
        self.weather.low_c[days] = mean + SPELL_SCATTER * (self.weather.low_c[days] - mean) - depth[:, None]

    def _days(self, first: dt.date, last: dt.date) -> slice:
        return slice((first - self.spec.start).days, (last - self.spec.start).days + 1)
