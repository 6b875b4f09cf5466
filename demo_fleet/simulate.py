"""A fleet that ages, is read, fails on cold mornings and is repaired, day by day and reproducibly.

Weather, fates of parts, visits and meter errors are drawn before the first day, and each morning has a generator
of its own, so that two policies acting differently meet the same vehicles, weather and fates (common random numbers).
"""

from __future__ import annotations

import copy
import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from demo_fleet.cranking import Condition, coldest_start_c, crank
from demo_fleet.faults import (
    GENERATIONS,
    LAWS,
    LOOSE_SHARE,
    PARTS,
    Lives,
    apply_wear,
    draw_lives,
    left_after,
    limits,
    wear,
)
from demo_fleet.measuring import Seen, Visits, make_bays, measure, plan_visits, readings_table
from demo_fleet.offices import parts_table, services_table, workshop_weeks_table, workshops_table
from demo_fleet.specs import FleetSpec
from demo_fleet.vehicles import CLASSES, build
from demo_fleet.weather import climate_table, forecast_table, make_weather

Array = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

WORN_ENOUGH = 0.35
"""A morning that stops a vehicle with no part past this level is met with the block heater: no part has failed."""
WORKDAY_SHARE = 0.8
"""Chance that a vehicle is started on a given morning (our choice, between five and six days a week)."""
PARKING_C = 1.0
"""sd of a parked battery's temperature about the depot's low [K]."""
TYPICAL_COLD_SD = 1.0
"""The typical cold morning lies this many sd below the coldest month's mean low."""
FORECAST_DAYS = 10
SETTLED_DAYS = 400.0
"""Effective age given to the parts of a staged vehicle on the first day [d]."""
FIXED_AGE_DAYS = 500
"""Vehicles given a fixed class and depot have been in service at least this long [d]."""
LOOSE_PARTS = (1, 2, 5)
"""Columns of PARTS whose second kind of fault is a loose or dirty joint that varies from start to start."""


@dataclass(frozen=True)
class Fleet:
    """The contract's tables of one simulated fleet, and the truth about it.

    `repairs` is what was written down, `repairs_done` what was done (with `recorded`); `truth` and `no_starts`
    are every no-start (unit, date, part that failed); `severity` is weekly, units as columns, 0 new, 1 = the worst
    part alone stops a start on a typical cold morning of the depot.
    """

    spec: FleetSpec
    as_of: dt.date
    units: pd.DataFrame
    readings: pd.DataFrame
    repairs: pd.DataFrame
    climate: pd.DataFrame
    forecast: pd.DataFrame
    services: pd.DataFrame
    workshops: pd.DataFrame
    workshop_weeks: pd.DataFrame
    parts: pd.DataFrame
    truth: pd.DataFrame
    severity: pd.DataFrame
    repairs_done: pd.DataFrame

    @property
    def no_starts(self) -> pd.DataFrame:
        """Every no-start: unit, date, part (the same as `truth`)."""
        return self.truth


class FleetRun:
    """A simulation that goes forward on request: advance, look at what a workshop would know, act, advance.

    `today` is a date; everything before it has happened, nothing of it or later has.
    """

    def __init__(self, spec: FleetSpec) -> None:
        self.spec = spec
        self.today = spec.start
        streams = [np.random.default_rng(s) for s in np.random.SeedSequence(spec.seed).spawn(8)]
        self._draw_units(streams[0])
        self._weather = make_weather(spec.depots, spec.start, spec.days + FORECAST_DAYS + 1, streams[1])
        self._lives = draw_lives(spec.units, spec.growth, streams[2])
        self._bays = make_bays(spec, streams[3])
        self._visits = plan_visits(spec, self._depot, self._first_day, streams[4])
        self._draw_habits(streams[5])
        self._limits = limits(self.hardware, spec.cold, typical_cold_c=self._typical_c, soc=self._soc)
        self._start_ages(streams[6])
        self._plan_swaps(streams[7])
        self._prepare_records()

    # ---- what is drawn before the first day -------------------------------------------------------------------

    def _draw_units(self, rng: np.random.Generator) -> None:
        spec = self.spec
        shares = np.array(list(spec.classes.values()), np.float64)
        self._class = rng.choice(list(spec.classes), size=spec.units, p=shares / shares.sum()).tolist()
        self._depot: IntArray = rng.integers(0, len(spec.depots), spec.units)
        age_days = np.rint(rng.uniform(-0.06, 1.0, spec.units) * 365.25 * 7).astype(np.int64)
        self._first_day = -age_days
        for row, (name, depot) in spec.fixed.items():
            self._class[row], self._depot[row], age_days[row] = name, depot, max(int(age_days[row]), FIXED_AGE_DAYS)
        numbers = range(spec.first_number, spec.first_number + spec.units)
        self.names = [f"{spec.prefix}{n:0{spec.digits}d}" for n in numbers]
        self._row = {name: row for row, name in enumerate(self.names)}
        self.hardware = build(self._class, rng)
        if spec.winter_ready:
            every = np.arange(spec.units)
            self.hardware = self.hardware.scaled(every, battery_mohm=0.82, viscous_a=0.85)

    def _draw_habits(self, rng: np.random.Generator) -> None:
        units, depots = self.spec.units, self.spec.depots
        self._usage = np.exp(0.25 * rng.standard_normal((units, len(PARTS))))
        self._usage[:, 0] = np.exp(0.12 * rng.standard_normal(units))
        self._soc = np.clip(0.94 + 0.025 * rng.standard_normal(units), 0.8, 0.995)
        self._km_per_day = self.hardware.km_per_year / 365.25
        self._seasonal = rng.random(units) < self.spec.seasonal
        coldest = np.array([min(d.january_c, d.july_c) - TYPICAL_COLD_SD * d.low_sd_c for d in depots])
        self._typical_c: Array = coldest[self._depot]

    def _start_ages(self, rng: np.random.Generator) -> None:
        units = self.spec.units
        self._generation = np.zeros((units, len(PARTS)), np.int64)
        self._fate = self._lives.pick(self._generation)
        vehicle = np.maximum(-self._first_day, 0).astype(np.float64)[:, None] * self._usage
        life = 0.97 * (self._fate.onset + self._fate.days)
        renewed = rng.random((units, len(PARTS))) * np.minimum(vehicle, life)
        self._age: Array = np.where(vehicle < life, vehicle, renewed)
        self._kept = np.ones((units, len(PARTS)))

    def _plan_swaps(self, rng: np.random.Generator) -> None:
        spec = self.spec
        self._planned: defaultdict[int, list[tuple[int, int, str, str, bool]]] = defaultdict(list)
        for unit in np.flatnonzero(rng.random(spec.units) < spec.silent_swaps * spec.years):
            self._planned[int(rng.integers(0, spec.days))].append((int(unit), 0, "replaced", "preventive", False))

    def _prepare_records(self) -> None:
        visits = len(self._visits.day)
        self._seen = Seen(np.zeros((visits, len(PARTS))), np.zeros((visits, len(PARTS)), np.bool_), np.zeros(visits))
        self._truth: list[tuple[str, dt.date, str]] = []
        self._repairs: list[tuple[str, dt.date, str, str, str, bool]] = []
        self._severity: list[Array] = []

    def fork(self) -> FleetRun:
        """An independent copy: what happens to it does not touch this run (for a planner that looks ahead)."""
        twin = copy.copy(self)
        for name in ("_age", "_kept", "_generation"):
            setattr(twin, name, getattr(self, name).copy())
        twin._seen = Seen(self._seen.change.copy(), self._seen.second.copy(), self._seen.soc.copy())
        twin._truth, twin._repairs = list(self._truth), list(self._repairs)
        twin._severity = list(self._severity)
        twin._planned = defaultdict(list, {day: list(acts) for day, acts in self._planned.items()})
        return twin

    # ---- the passing of time ----------------------------------------------------------------------------------

    def advance(self, to_date: dt.date) -> None:
        """Let everything before `to_date` happen; raises ValueError for a date before today or after the end."""
        if not self.today <= to_date <= self.spec.end:
            raise ValueError(f"to_date is {to_date}; allowed: {self.today} to {self.spec.end}")
        first, last = (self.today - self.spec.start).days, (to_date - self.spec.start).days
        for day in range(first, last):
            self._one_day(day)
        self.today = to_date

    def _one_day(self, day: int) -> None:
        for unit, part, action, reason, recorded in self._planned.pop(day, ()):
            self._repair(unit, part, action, reason, day=day, recorded=recorded)
        self._age += self._pace(day)
        level = self._levels()
        if day % 7 == 0:
            self._severity.append(level.max(axis=1))
        rng = np.random.default_rng((self.spec.seed, 77, day))
        draws = rng.standard_normal((self.spec.units, 2 + len(LOOSE_PARTS)))
        starts = rng.random(self.spec.units) < WORKDAY_SHARE
        candidates = np.flatnonzero(starts & (level.max(axis=1) >= WORN_ENOUGH) & (self._first_day <= day))
        if len(candidates):
            self._morning(day, candidates, level, draws)
        self._look(day, draws)

    def _pace(self, day: int) -> Array:
        """Effective days of ageing per calendar day [unit, part]: heat for batteries, wet for joints, use for all."""
        wet = self._weather.wet[day, self._depot]
        mean = np.array([(d.january_c + d.july_c) / 2 for d in self.spec.depots])[self._depot]
        heat = 2.0 ** ((self._weather.mean_low_c[day, self._depot] - mean) / 20.0)
        pace = self._usage.copy()
        pace[:, 0] *= heat
        pace[:, (1, 2, 5)] *= wet[:, None]
        year_part = ((self.spec.start + dt.timedelta(days=day)).month + 9) % 12 < 6
        pace[self._seasonal] *= 1.5 if not year_part else 0.5
        pace[self._first_day > day] = 0.0
        return pace

    def _levels(self) -> Array:
        return np.minimum(wear(self._age, self._fate) * self._kept, 6.0)

    def _change(self, level: Array, rows: npt.NDArray[np.intp], loose: Array) -> Array:
        """Physical change [row, part] of some vehicles, loose joints varied by standard normal draws [row, 3]."""
        second = self._fate.second[rows]
        limit = np.where(second, self._limits[rows, :, 1], self._limits[rows, :, 0])
        change = level[rows] * limit
        for column, part in enumerate(LOOSE_PARTS):
            factor = np.exp(LOOSE_SHARE * loose[:, column])
            change[:, part] *= np.where(second[:, part], factor, 1.0)
        return change

    def _charge(self, day: int) -> Array:
        """Resting state of charge before wear: a little lower in winter."""
        return np.clip(self._soc - 0.03 * np.cos(2 * np.pi * (self._day_of_year(day) - 20) / 365.25), 0.05, 0.995)

    def _day_of_year(self, day: int) -> int:
        return (self.spec.start + dt.timedelta(days=day)).timetuple().tm_yday

    def _morning(self, day: int, rows: npt.NDArray[np.intp], level: Array, draws: Array) -> None:
        """Try to start the candidates at this morning's low; repair those that do not start."""
        temperature = self._weather.low_c[day, self._depot[rows]] + PARKING_C * draws[rows, 0]
        change = self._change(level, rows, draws[rows, 2:])
        soc, second = self._charge(day)[rows], self._fate.second[rows]
        hardware = self.hardware.take(rows)
        margin = crank(hardware, apply_wear(change, second, soc), self.spec.cold, temperature).margin_v
        for at in np.flatnonzero(margin < 0):
            self._fail(day, int(rows[at]), level[rows[at]], change[at], float(soc[at]), float(temperature[at]))

    def _fail(self, day: int, unit: int, level: Array, change: Array, soc: float, temperature: float) -> None:
        """Record the no-start under its worst part and replace that, and further worn parts until it starts."""
        change, second = change.copy(), self._fate.second[unit].copy()
        date = self.spec.start + dt.timedelta(days=day)
        for turn in range(3):
            without = np.tile(change, (len(PARTS), 1))
            np.fill_diagonal(without, 0.0)
            one = self.hardware.take(np.full(len(PARTS), unit))
            state = apply_wear(without, np.tile(second, (len(PARTS), 1)), np.full(len(PARTS), soc))
            margins = crank(one, state, self.spec.cold, np.full(len(PARTS), temperature)).margin_v
            margins[level < WORN_ENOUGH] = -np.inf
            worst = int(np.argmax(margins))
            if turn and level[worst] < WORN_ENOUGH:
                return
            if turn == 0:
                self._truth.append((self.names[unit], date, PARTS[worst]))
            self._repair(unit, worst, "replaced", "no_start", day=day, recorded=None)
            if margins[worst] >= 0:
                return
            change[worst], level = 0.0, np.where(np.arange(len(PARTS)) == worst, 0.0, level)

    def _repair(self, unit: int, part: int, action: str, reason: str, *, day: int, recorded: bool | None) -> None:
        """Do one repair; `recorded` None lets the fleet's habits of recording decide."""
        left = left_after(PARTS[part], action, curable=bool(self._fate.second[unit, part]))
        written = part
        if recorded is None:
            draw = self._fate.record_draw[unit, part]
            recorded = bool(draw >= self.spec.unrecorded)
            if draw > 1 - self.spec.misrecorded:
                written = (part + 1 + int(1e6 * draw) % (len(PARTS) - 1)) % len(PARTS)
        date = self.spec.start + dt.timedelta(days=day)
        self._repairs.append((self.names[unit], date, PARTS[written], action, reason, recorded))
        if action == "replaced":
            self._generation[unit, part] = min(self._generation[unit, part] + 1, GENERATIONS - 1)
            self._fate = self._lives.pick(self._generation)
            self._age[unit, part], self._kept[unit, part] = 0.0, 1.0
        else:
            self._kept[unit, part] *= left

    def _look(self, day: int, draws: Array) -> None:
        """Keep the true state of the vehicles read today."""
        first, last = np.searchsorted(self._visits.day, (day, day + 1))
        if first == last:
            return
        rows = self._visits.unit[first:last].astype(np.intp)
        self._seen.change[first:last] = self._change(self._levels(), rows, draws[rows, 2:])
        self._seen.second[first:last] = self._fate.second[rows]
        self._seen.soc[first:last] = self._charge(day)[rows]

    # ---- acting -----------------------------------------------------------------------------------------------

    def do(self, unit: str, date: dt.date, part: str, action: str, *, reason: str = "preventive") -> None:
        """Have `action` done on `part` of `unit` on `date`, before that morning's start; it is recorded.

        Raises ValueError for an unknown unit, part or action, or a date that has passed or lies after the end.
        """
        if unit not in self._row:
            raise ValueError(f"unit is {unit!r}; allowed: {self.names[0]} to {self.names[-1]}")
        left_after(part, action, curable=False)
        if not self.today <= date < self.spec.end:
            raise ValueError(f"date is {date}; allowed: {self.today} up to, not including, {self.spec.end}")
        act = (self._row[unit], PARTS.index(part), action, reason, True)
        self._planned[(date - self.spec.start).days].append(act)

    def do_silently(self, unit: str, date: dt.date, part: str, action: str) -> None:
        """As `do`, but nobody writes it down."""
        self.do(unit, date, part, action)
        acts = self._planned[(date - self.spec.start).days]
        acts[-1] = (*acts[-1][:4], False)

    # ---- staging a story before the first day -----------------------------------------------------------------

    def set_fate(self, unit: str, part: str, *, onset: dt.date, days: float, law: str, curable: bool = False) -> None:
        """Make the part now fitted begin to fail on `onset` and reach level 1 in about `days` at the usual pace.

        Raises ValueError once the run has begun, or for a law not in `faults.LAWS`.
        """
        self._before_first_day()
        if law not in LAWS:
            raise ValueError(f"law is {law!r}; allowed: {', '.join(LAWS)}")
        row, column = self._row[unit], PARTS.index(part)
        at = (row, column, 0)
        begin = (onset - self.spec.start).days
        elapsed = sum(float(self._pace(day)[row, column]) for day in range(begin))
        self._age[row, column] = SETTLED_DAYS
        self._lives.onset[at], self._lives.days[at] = SETTLED_DAYS + (elapsed if begin > 0 else begin), days
        self._lives.law[at], self._lives.second[at] = LAWS.index(law), curable
        self._fate = self._lives.pick(self._generation)

    def make_sound(self, unit: str) -> None:
        """Make every part now fitted last beyond the end; raises ValueError once the run has begun."""
        self._before_first_day()
        row = self._row[unit]
        self._usage[row], self._seasonal[row] = 1.0, False
        self._age[row] = SETTLED_DAYS
        self._lives.onset[row, :, 0] = 10.0 * self.spec.days + SETTLED_DAYS
        self._fate = self._lives.pick(self._generation)

    def change_hardware(self, unit: str, **factors: float) -> None:
        """Multiply as-built quantities of one vehicle (names of Hardware); raises ValueError once the run has begun."""
        self._before_first_day()
        self.hardware = self.hardware.scaled(np.array([self._row[unit]]), **factors)
        self._limits = limits(self.hardware, self.spec.cold, typical_cold_c=self._typical_c, soc=self._soc)

    def read_outdoors(self, unit: str) -> None:
        """Have all readings of a vehicle taken in the unheated yard."""
        self._before_first_day()
        self._visits.heated[self._visits.unit == self._row[unit]] = 0.0

    def change_weather(self, first: dt.date, last: dt.date, *, colder_c: float = 0.0, wetter: float = 1.0) -> None:
        """Make the days from `first` to `last` colder [K] and wetter (factor) at every depot, before the first day."""
        self._before_first_day()
        days = slice((first - self.spec.start).days, (last - self.spec.start).days + 1)
        self._weather.low_c[days] -= colder_c
        self._weather.wet[days] *= wetter

    def _before_first_day(self) -> None:
        if self.today != self.spec.start:
            raise ValueError(f"today is {self.today}; allowed only before the first day, {self.spec.start}")

    # ---- what a workshop knows --------------------------------------------------------------------------------

    def readings_so_far(self) -> pd.DataFrame:
        """Readings taken before today (contract columns)."""
        rows = np.arange(int(np.searchsorted(self._visits.day, (self.today - self.spec.start).days)))
        visits: Visits = self._visits.take(rows)
        seen = Seen(self._seen.change[rows], self._seen.second[rows], self._seen.soc[rows])
        values = measure(self.spec, self.hardware, self._weather, self._bays, visits, seen)
        km = self._km_per_day[visits.unit] * (visits.day - self._first_day[visits.unit] + visits.minute / 1440)
        return readings_table(self.spec, self.names, visits, values, km)

    def repairs_so_far(self) -> pd.DataFrame:
        """Repairs written down before today: unit, done_on, part, action, reason."""
        done = self.repairs_done()
        return done[done.recorded].drop(columns="recorded").reset_index(drop=True)

    def repairs_done(self) -> pd.DataFrame:
        """Every repair done before today with the part written down, and whether it was `recorded`."""
        columns = ["unit", "done_on", "part", "action", "reason", "recorded"]
        return _dated(pd.DataFrame(self._repairs, columns=columns), "done_on", recorded=True)

    def no_starts(self) -> pd.DataFrame:
        """Every no-start before today: unit, date, part."""
        return _dated(pd.DataFrame(self._truth, columns=["unit", "date", "part"]), "date")

    def units(self) -> pd.DataFrame:
        """The contract's units table."""
        classes = [CLASSES[n] for n in self._class]
        service = [self.spec.start + dt.timedelta(days=int(d)) for d in self._first_day]
        table = pd.DataFrame({
            "unit": self.names, "vehicle_class": self._class, "system_v": [12 * c.blocks for c in classes],
            "fuel": [c.fuel for c in classes], "cylinders": [c.cylinders for c in classes],
            "rated_cca_a": [float(c.rated_cca_a) for c in classes],
            "depot": [self.spec.depots[d].name for d in self._depot], "in_service": pd.to_datetime(service),
        })  # fmt: skip
        table["in_service"] = table["in_service"].astype("datetime64[us]")
        return table

    # ---- what only the simulation knows -----------------------------------------------------------------------

    def true_state(self) -> pd.DataFrame:
        """The truth today: unit, coldest_start_c, part (whose renewal helps most), severity, margin_c.

        `margin_c` is the season's mean low of the depot minus the coldest start [K]: small or negative is bad.
        """
        day = (self.today - self.spec.start).days
        rows, level = np.arange(self.spec.units), self._levels()
        change = self._change(level, rows, np.zeros((self.spec.units, len(LOOSE_PARTS))))
        soc, second, law = self._charge(day), self._fate.second, self.spec.cold
        coldest = coldest_start_c(self.hardware, apply_wear(change, second, soc), law)
        renewed = np.empty_like(change)
        for column in range(len(PARTS)):
            without = change.copy()
            without[:, column] = 0.0
            state: Condition = apply_wear(without, second, soc)
            renewed[:, column] = coldest_start_c(self.hardware, state, law)
        mean_low = self._weather.mean_low_c[day, self._depot]
        return pd.DataFrame({
            "unit": self.names, "coldest_start_c": coldest, "part": [PARTS[i] for i in np.argmin(renewed, axis=1)],
            "severity": level.max(axis=1), "margin_c": mean_low - coldest,
        })  # fmt: skip

    def severity(self) -> pd.DataFrame:
        """Weekly severity before today: dates as index, units as columns."""
        index = pd.date_range(self.spec.start, periods=len(self._severity), freq="7D", unit="us")
        return pd.DataFrame(np.round(np.array(self._severity), 3), index=index, columns=self.names)

    def fleet(self) -> Fleet:
        """Everything so far as tables."""
        spec, depots = self.spec, self.spec.depots
        rng = np.random.default_rng((spec.seed, 78))
        lead = min(FORECAST_DAYS, (spec.end - self.today).days + FORECAST_DAYS)
        forecast = forecast_table(self._weather, depots, first=self.today, days=lead, rng=rng)
        sizes = {d.name: int((self._depot == i).sum()) for i, d in enumerate(depots)}
        return Fleet(
            spec=spec, as_of=self.today, units=self.units(), readings=self.readings_so_far(),
            repairs=self.repairs_so_far(), climate=climate_table(depots), forecast=forecast,
            services=services_table(self.names, self.today, rng), workshops=workshops_table(sizes),
            workshop_weeks=workshop_weeks_table(sizes, self.today), parts=parts_table(), truth=self.no_starts(), severity=self.severity(), repairs_done=self.repairs_done(),
        )  # fmt: skip


def _dated(table: pd.DataFrame, date: str, *, recorded: bool = False) -> pd.DataFrame:
    """Contract dtypes for a table of events in order of date, also when it is empty."""
    table[date] = pd.to_datetime(table[date]).astype("datetime64[us]")
    texts = [c for c in table.columns if c not in (date, "recorded")]
    table[texts] = table[texts].astype("str")
    if recorded:
        table["recorded"] = table["recorded"].astype(bool)
    return table.sort_values([date, "unit"], kind="stable", ignore_index=True)


Act = pd.DataFrame | Iterable[tuple[str, dt.date, str, str]]
"""Preventive actions: rows of unit, done_on, part, action."""


def simulate_fleet(spec: FleetSpec, *, act: Act | None = None) -> Fleet:
    """Simulate the whole of `spec`; `act` None: nobody acts, every degradation runs to its no-start."""
    run = FleetRun(spec)
    if isinstance(act, pd.DataFrame):
        columns = act[["unit", "done_on", "part", "action"]]
        rows: Iterable[tuple[str, dt.date, str, str]] = columns.itertuples(index=False, name=None)
    else:
        rows = act or ()
    for unit, done_on, part, action in rows:
        run.do(unit, pd.Timestamp(done_on).date(), part, action)
    run.advance(spec.end)
    return run.fleet()
