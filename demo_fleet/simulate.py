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

from demo_fleet.cranking import coldest_start_c, crank
from demo_fleet.faults import GENERATIONS, LOOSE_SHARE, MOST_LEVEL, PARTS, apply_wear, left_after, wear
from demo_fleet.measuring import Seen, measure, readings_table
from demo_fleet.offices import PLAN_WEEKS, parts_table, workshop_weeks_table, workshops_table
from demo_fleet.setting import JOINTS, Plan, Setting
from demo_fleet.specs import FleetSpec
from demo_fleet.weather import climate_table, forecast_table, lows_table

Array = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

WORN_ENOUGH = 0.35
"""A morning that stops a vehicle with no part past this level is met with the block heater: no part has failed (`Fleet.heated`)."""
COLD_ENOUGH_C = 4.0
"""Vehicles of little wear are looked at on mornings this far above a typical cold one and colder [K]."""
WORKDAY_SHARE = 0.8
"""Chance that a vehicle is started on a given morning (our choice, between five and six days a week)."""
NOTEWORTHY = 0.10
"""Below this wear a part is not asked whether it is the one that limits the start."""
PARKING_C = 1.0
"""sd of a parked battery's temperature about the depot's low [K]."""
FORECAST_DAYS = 10
MORNING_STREAM, OFFICE_STREAM, ACTING_STREAM = 77, 78, 79
"""Second entries of the seeds of a morning's, of the forecast's and of a technician's generators."""


DAY_OVER_LOW_C = 6.0
"""Air at a vehicle read in the yard over the morning's low [K] (our choice)."""
LOWEST_CRANKING_V = 9.6
"""Lowest volts while cranking that a workshop lets pass, per 12 V block (common practice)."""
PRINTED_LIMITS_V = {
    "battery": ("crank_min_v", LOWEST_CRANKING_V), "positive_cable": ("drop_positive_v", 0.2),
    "ground_path": ("drop_ground_v", 0.2), "solenoid_contacts": ("drop_contacts_v", 0.3),
    "control_circuit": ("drop_control_v", 1.0),
}  # fmt: skip
"""What a workshop holds readings against, V per 12 V block (common practice)."""


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
    lows: pd.DataFrame
    services: pd.DataFrame
    workshops: pd.DataFrame
    workshop_weeks: pd.DataFrame
    parts: pd.DataFrame
    truth: pd.DataFrame
    severity: pd.DataFrame
    repairs_done: pd.DataFrame
    heated: pd.DataFrame

    @property
    def no_starts(self) -> pd.DataFrame:
        """Every no-start: unit, date, part (the same as `truth`)."""
        return self.truth


class FleetRun:
    """A simulation that goes forward on request: advance, look at what a workshop would know, act, advance.

    `today` is a date; everything before it has happened, nothing of it or later has.
    """

    def __init__(self, spec: FleetSpec, *, setting: Setting | None = None) -> None:
        """Begin on the first day; `setting` is a staged fleet of the same spec, if the drawn one will not do."""
        self.spec = spec
        self.today = spec.start
        self.setting = setting or Setting(spec)
        self._generation = np.zeros((spec.units, len(PARTS)), np.int64)
        self._fate = self.setting.lives.pick(self._generation)
        self._age: Array = self.setting.age_days.copy()
        self._kept = np.ones((spec.units, len(PARTS)))
        visits = len(self.setting.visits.day)
        self._seen = Seen(np.zeros((visits, len(PARTS))), np.zeros((visits, len(PARTS)), np.bool_), np.zeros(visits))
        self._planned: defaultdict[int, Plan] = defaultdict(list, {d: list(p) for d, p in self.setting.swaps.items()})
        self._truth: list[tuple[str, dt.date, str]] = []
        self._heated: list[tuple[str, dt.date]] = []
        self._repairs: list[tuple[str, dt.date, str, str, str, bool]] = []
        self._severity: list[Array] = []

    def fork(self) -> FleetRun:
        """An independent copy: what happens to it does not touch this run (for a planner that looks ahead)."""
        twin = copy.copy(self)
        for name in ("_age", "_kept", "_generation"):
            setattr(twin, name, getattr(self, name).copy())
        twin._seen = Seen(self._seen.change.copy(), self._seen.second.copy(), self._seen.soc.copy())
        twin._truth, twin._repairs, twin._heated = list(self._truth), list(self._repairs), list(self._heated)
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
        self._age += self.setting.pace(day)
        level = self._levels()
        if day % 7 == 0:
            self._severity.append(level.max(axis=1))
        rng = np.random.default_rng((self.spec.seed, MORNING_STREAM, day))
        draws = rng.standard_normal((self.spec.units, 2 + len(JOINTS)))
        starts = rng.random(self.spec.units) < WORKDAY_SHARE
        tried, worn = starts & (self.setting.first_day <= day), level.max(axis=1) >= WORN_ENOUGH
        cold = self.setting.weather.low_c[day, self.setting.depot] < self.setting.typical_c + COLD_ENOUGH_C
        for candidates in (np.flatnonzero(tried & worn), np.flatnonzero(tried & ~worn & cold)):
            if len(candidates):
                self._morning(day, candidates, level, draws)
        self._look(day, level, draws)

    def _levels(self) -> Array:
        return np.minimum(wear(self._age, self._fate) * self._kept, MOST_LEVEL)

    def _change(self, level: Array, rows: npt.NDArray[np.intp], loose: Array) -> Array:
        """Physical change [row, part] of some vehicles, loose joints varied by standard normal draws [row, 3]."""
        second = self._fate.second[rows]
        limit = np.where(second, self.setting.limits[rows, :, 1], self.setting.limits[rows, :, 0])
        change = level[rows] * limit
        for column, part in enumerate(JOINTS):
            factor = np.exp(LOOSE_SHARE * loose[:, column])
            change[:, part] *= np.where(second[:, part], factor, 1.0)
        return change

    def _morning(self, day: int, rows: npt.NDArray[np.intp], level: Array, draws: Array) -> None:
        """Try to start the candidates at this morning's low; repair those that do not start, or heat those without a worn part."""
        temperature = self.setting.weather.low_c[day, self.setting.depot[rows]] + PARKING_C * draws[rows, 0]
        change = self._change(level, rows, draws[rows, 2:])
        soc, second = self.setting.charge(day)[rows], self._fate.second[rows]
        hardware = self.setting.hardware.take(rows)
        margin = crank(hardware, apply_wear(change, second, soc), self.spec.cold, temperature).margin_v
        for at in np.flatnonzero(margin < 0):
            if level[rows[at]].max() < WORN_ENOUGH:
                self._heated.append((self.setting.names[rows[at]], self.setting.date(day)))
                continue
            self._fail(day, int(rows[at]), level[rows[at]], change[at], float(soc[at]), float(temperature[at]))
            level[rows[at]] = self._levels()[rows[at]]

    def _fail(self, day: int, unit: int, level: Array, change: Array, soc: float, temperature: float) -> None:
        """Record the no-start under its worst part and replace that, and further worn parts until it starts."""
        change, second = change.copy(), self._fate.second[unit].copy()
        date = self.setting.date(day)
        for turn in range(3):
            without = np.tile(change, (len(PARTS), 1))
            np.fill_diagonal(without, 0.0)
            one = self.setting.hardware.take(np.full(len(PARTS), unit))
            state = apply_wear(without, np.tile(second, (len(PARTS), 1)), np.full(len(PARTS), soc))
            margins = crank(one, state, self.spec.cold, np.full(len(PARTS), temperature)).margin_v
            margins[level < WORN_ENOUGH] = -np.inf
            worst = int(np.argmax(margins))
            if turn and level[worst] < WORN_ENOUGH:
                return
            if turn == 0:
                self._truth.append((self.setting.names[unit], date, PARTS[worst]))
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
        date = self.setting.date(day)
        self._repairs.append((self.setting.names[unit], date, PARTS[written], action, reason, recorded))
        if action == "replaced":
            self._generation[unit, part] = min(self._generation[unit, part] + 1, GENERATIONS - 1)
            self._fate = self.setting.lives.pick(self._generation)
            self._age[unit, part], self._kept[unit, part] = 0.0, 1.0
        else:
            self._kept[unit, part] *= left

    def _look(self, day: int, level: Array, draws: Array) -> None:
        """Keep the true state of the vehicles read today, after this morning's repairs if there were any."""
        first, last = np.searchsorted(self.setting.visits.day, (day, day + 1))
        if first == last:
            return
        rows = self.setting.visits.unit[first:last].astype(np.intp)
        self._seen.change[first:last] = self._change(level, rows, draws[rows, 2:])
        self._seen.second[first:last] = self._fate.second[rows]
        self._seen.soc[first:last] = self.setting.charge(day)[rows]
        if self.spec.act_share > 0.0:
            self._act_on_limits(day, rows, slice(first, last))

    def _act_on_limits(self, day: int, rows: npt.NDArray[np.intp], visits: slice) -> None:
        """A technician who reads a part past its printed limit has it renewed the next day, now and then."""
        seen = Seen(self._seen.change[visits], self._seen.second[visits], self._seen.soc[visits])
        air = self.setting.weather.low_c[day, self.setting.depot[rows]] + DAY_OVER_LOW_C
        shown = crank(
            self.setting.hardware.take(rows), apply_wear(seen.change, seen.second, seen.soc), self.spec.cold, air
        )
        rng = np.random.default_rng((self.spec.seed, ACTING_STREAM, day))
        acts = rng.random((len(rows), len(PARTS))) < self.spec.act_share
        for at, unit in enumerate(rows):
            blocks = float(self.setting.hardware.blocks[unit])
            for part, (name, limit_v) in PRINTED_LIMITS_V.items():
                over = float(getattr(shown, name)[at]) >= self.spec.act_at * limit_v * blocks
                if part == "battery":  # a lowest voltage: under it, not over it
                    over = float(shown.crank_min_v[at]) < LOWEST_CRANKING_V * blocks / self.spec.act_at
                if over and acts[at, PARTS.index(part)] and int(unit) not in self.setting.left_alone:
                    plan = self._planned[day + 1]
                    plan.append((int(unit), PARTS.index(part), "replaced", "preventive", True))

    # ---- acting -----------------------------------------------------------------------------------------------

    def do(self, unit: str, date: dt.date, part: str, action: str, *, reason: str = "preventive") -> None:
        """Have `action` done on `part` of `unit` on `date`, before that morning's start; it is recorded.

        Raises ValueError for an unknown unit, part or action, or a date that has passed or lies after the end.
        """
        if unit not in self.setting.row:
            raise ValueError(f"unit is {unit!r}; allowed: {self.setting.names[0]} to {self.setting.names[-1]}")
        left_after(part, action, curable=False)
        if not self.today <= date < self.spec.end:
            raise ValueError(f"date is {date}; allowed: {self.today} up to, not including, {self.spec.end}")
        act = (self.setting.row[unit], PARTS.index(part), action, reason, True)
        self._planned[(date - self.spec.start).days].append(act)

    def do_silently(self, unit: str, date: dt.date, part: str, action: str) -> None:
        """As `do`, but nobody writes it down."""
        self.do(unit, date, part, action)
        acts = self._planned[(date - self.spec.start).days]
        acts[-1] = (*acts[-1][:4], False)

    # ---- what a workshop knows --------------------------------------------------------------------------------

    def readings_so_far(self) -> pd.DataFrame:
        """Readings taken before today (contract columns)."""
        rows = np.arange(int(np.searchsorted(self.setting.visits.day, (self.today - self.spec.start).days)))
        visits = self.setting.visits.take(rows)
        seen = Seen(self._seen.change[rows], self._seen.second[rows], self._seen.soc[rows])
        values = measure(self.spec, self.setting.hardware, self.setting.weather, self.setting.bays, visits, seen)
        age_days = visits.day - self.setting.first_day[visits.unit] + visits.minute / 1440
        km = self.setting.hardware.km_per_year[visits.unit] / 365.25 * age_days
        return readings_table(self.spec, self.setting.names, visits, values, km)

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

    # ---- what only the simulation knows -----------------------------------------------------------------------

    def true_state(self) -> pd.DataFrame:
        """The truth today: unit, coldest_start_c, part (whose renewal helps most), severity, margin_c.

        `margin_c` is the season's mean low of the depot minus the coldest start [K]: small or negative is bad.
        """
        day = (self.today - self.spec.start).days
        every, level = np.arange(self.spec.units), self._levels()
        change = self._change(level, every, np.zeros((self.spec.units, len(JOINTS))))
        soc, second, law = self.setting.charge(day), self._fate.second, self.spec.cold
        coldest = coldest_start_c(self.setting.hardware, apply_wear(change, second, soc), law)
        part = np.argmax(level, axis=1)
        several = np.flatnonzero((level > NOTEWORTHY).sum(axis=1) > 1)
        if len(several):
            rows, columns = np.repeat(several, len(PARTS)), np.tile(np.arange(len(PARTS)), len(several))
            renewed = change[rows]
            renewed[np.arange(len(rows)), columns] = 0.0
            state = apply_wear(renewed, second[rows], soc[rows])
            helped = coldest_start_c(self.setting.hardware.take(rows), state, law).reshape(-1, len(PARTS))
            part[several] = np.argmin(helped, axis=1)
        mean_low = self.setting.weather.mean_low_c[day, self.setting.depot]
        return pd.DataFrame({
            "unit": self.setting.names, "coldest_start_c": coldest, "part": [PARTS[i] for i in part],
            "severity": level.max(axis=1), "margin_c": mean_low - coldest,
        })  # fmt: skip

    def foresee(self, days: int) -> pd.DataFrame:
        """The no-starts of the next `days` days if nobody does more than is planned: unit, date, part.

        What an all-knowing planner knows; weather and wear are the ones that will come.
        """
        if days < 1:
            raise ValueError(f"days is {days}; allowed: 1 or more")
        ahead = self.fork()
        ahead.advance(min(self.today + dt.timedelta(days=days), self.spec.end))
        coming = ahead.no_starts()
        return coming[coming["date"] >= pd.Timestamp(self.today)].reset_index(drop=True)

    def severity(self) -> pd.DataFrame:
        """Weekly severity before today: dates as index, units as columns."""
        index = pd.date_range(self.spec.start, periods=len(self._severity), freq="7D", unit="us")
        return pd.DataFrame(np.round(np.array(self._severity), 3), index=index, columns=self.setting.names)

    def _services(self) -> pd.DataFrame:
        """Planned visits of the coming half year: unit, due_on; a reading is taken on each."""
        visits, day = self.setting.visits, (self.today - self.spec.start).days
        rows = np.flatnonzero((visits.day >= day) & (visits.day < day + 7 * PLAN_WEEKS))
        due = [(self.setting.names[visits.unit[row]], self.setting.date(int(visits.day[row]))) for row in rows]
        table = _dated(pd.DataFrame(due, columns=["unit", "due_on"]), "due_on")
        return table.sort_values(["unit", "due_on"], ignore_index=True)

    def fleet(self) -> Fleet:
        """Everything so far as tables."""
        spec, depots = self.spec, self.spec.depots
        rng = np.random.default_rng((spec.seed, OFFICE_STREAM))
        lead = min(FORECAST_DAYS, (spec.end - self.today).days + FORECAST_DAYS)
        forecast = forecast_table(self.setting.weather, depots, first=self.today, days=lead, rng=rng)
        sizes = {d.name: int((self.setting.depot == i).sum()) for i, d in enumerate(depots)}
        return Fleet(
            spec=spec, as_of=self.today, units=self.setting.units_table(), readings=self.readings_so_far(),
            repairs=self.repairs_so_far(), climate=climate_table(depots), forecast=forecast,
            lows=lows_table(self.setting.weather, depots, before=self.today),
            services=self._services(), workshops=workshops_table(sizes),
            workshop_weeks=workshop_weeks_table(sizes, self.today), parts=parts_table(), truth=self.no_starts(),
            severity=self.severity(), repairs_done=self.repairs_done(),
            heated=_dated(pd.DataFrame(self._heated, columns=["unit", "date"]), "date"),
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
