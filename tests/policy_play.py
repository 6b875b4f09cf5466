"""Policies acting on the same invented vehicles and weather: what each costs and lets happen.

Each policy steps through the simulation week by week and sees only what a workshop would know; the all-knowing planner
sees the coming no-starts and renews the failing part at the last planned service before, or calls the vehicle in.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd

from analysis.costs import CHEAP_ACTIONS, PARTS, PlanSettings
from analysis.forecast.learning import Look
from analysis.plan.candidates import best_ages, complete_catalogue, no_start_costs
from analysis.plan.replacement_plan import PlanInputs, ReplacementPlan, plan_replacements
from analysis.readings.panel import FleetTables
from analysis.wear.lives import observed_lives, part_lifetimes
from analysis.worklist.assess import assess
from demo_fleet.simulate import Fleet, FleetRun
from demo_fleet.specs import FleetSpec

WARM_UP_DAYS = 365
"""Every policy runs to failure for the first year, so that there is something to learn from."""
STEP_DAYS = 7
CLOSING_DAYS = 182
"""After this the all-knowing planner takes over from every policy, so that what they leave behind has its value."""


@dataclass(frozen=True)
class Visit:
    """Work that a policy has done: on whom, when, what; hours and whether it was called in for it."""

    unit: str
    day: dt.date
    part: str
    action: str
    called_in: bool


@dataclass(frozen=True)
class Outcome:
    """What a policy cost and let happen after the first year."""

    policy: str
    cost: float
    no_starts: int
    visits: int
    unit_years: float

    @property
    def cost_per_100(self) -> float:
        """Cost per 100 unit-years, the closing time's cost included [money]."""
        return 100 * self.cost / self.unit_years

    @property
    def no_starts_per_100(self) -> float:
        """No-starts per 100 unit-years."""
        return 100 * self.no_starts / self.unit_years


Policy = Callable[[FleetRun], list[Visit]]


def price(run: FleetRun, visits: list[Visit], settings: PlanSettings, since: dt.date) -> float:
    """Cost of all that happened since a day: no-starts with their repairs, and the visits, at the plan's own prices."""
    fleet = run.fleet()
    catalogue = complete_catalogue(fleet.parts, settings)
    extra = dict(zip(fleet.units["unit"], no_start_costs(fleet.units, settings), strict=True))
    done = run.repairs_done()
    failed = done[(done["reason"] == "no_start") & (done["done_on"] >= pd.Timestamp(since))]
    total = sum(extra[unit] for unit in run.no_starts().query("date >= @since")["unit"])
    repair_h = settings.failure_hours_factor * settings.hour_rate
    total += sum(catalogue.price[part] + catalogue.labour_h[part] * repair_h for part in failed["part"])
    called: set[tuple[str, dt.date]] = set()
    for visit in visits:
        if visit.action == "replaced":
            total += catalogue.price[visit.part] + catalogue.labour_h[visit.part] * settings.hour_rate
        elif visit.action == "charged":
            total += settings.charge_h * settings.hour_rate
        elif visit.action == "measured":
            total += settings.measure_h * settings.hour_rate
        else:
            total += settings.clean_h * settings.hour_rate
        if visit.called_in and (visit.unit, visit.day) not in called:
            called.add((visit.unit, visit.day))
            total += settings.access_cost
    return float(total)


def play(
    spec: FleetSpec,
    name: str,
    policy: Policy,
    settings: PlanSettings,
    *,
    warm_up_days: int = WARM_UP_DAYS,
    closing_days: int = CLOSING_DAYS,
) -> tuple[Outcome, list[Visit]]:
    """Let `policy` act every week from the warm-up to the closing time, which the all-knowing planner takes over.

    The closing time values what a policy leaves behind: a part renewed early saves its renewal then.
    """
    run = FleetRun(spec)
    run.advance(spec.start + dt.timedelta(days=warm_up_days))
    since, handed_over = run.today, spec.end - dt.timedelta(days=closing_days)
    closing = AllKnowing(settings)
    visits: list[Visit] = []
    while run.today < spec.end:
        until = min(run.today + dt.timedelta(days=STEP_DAYS), spec.end)
        acting = policy if run.today < handed_over else closing
        for visit in acting(run):
            if visit.day < until:
                if visit.action != "measured":
                    run.do(visit.unit, visit.day, visit.part, visit.action)
                visits.append(visit)
        run.advance(until)
    years = (handed_over - since).days / 365.25 * spec.units
    dates = run.no_starts()["date"]
    no_starts = int(((dates >= pd.Timestamp(since)) & (dates < pd.Timestamp(handed_over))).sum())
    own = sum(visit.day < handed_over for visit in visits)
    return Outcome(name, price(run, visits, settings, since), no_starts, own, years), visits


def failed_this_week(run: FleetRun) -> set[str]:
    """Vehicles repaired at a no-start in the last days."""
    recent = run.no_starts()
    return set(recent[recent["date"] >= pd.Timestamp(run.today - dt.timedelta(days=STEP_DAYS))]["unit"])


def nobody_acts(run: FleetRun) -> list[Visit]:
    """Run to failure."""
    del run
    return []


def service_dates(fleet: Fleet) -> dict[str, list[dt.date]]:
    """Planned services of each vehicle, soonest first."""
    due = fleet.services.sort_values("due_on")
    return {str(unit): [d.date() for d in rows] for unit, rows in due.groupby("unit")["due_on"]}


class FixedAge:
    """Every part is replaced at its best fixed age, at the first planned service after it."""

    def __init__(self, settings: PlanSettings) -> None:
        self.settings = settings
        self.booked: set[tuple[str, str]] = set()

    def __call__(self, run: FleetRun) -> list[Visit]:
        fleet = run.fleet()
        now = pd.Timestamp(run.today)
        catalogue = complete_catalogue(fleet.parts, self.settings)
        lives = part_lifetimes(
            observed_lives(fleet.units, fleet.repairs, now, parts=PARTS),
            parts=PARTS,
            life_years=self.settings.life_years,
        )
        ages = best_ages(fleet.units, lives, catalogue, self.settings, access=self.settings.access_cost)
        done = fleet.repairs[fleet.repairs["action"] == "replaced"].groupby(["unit", "part"])["done_on"].max()
        services = service_dates(fleet)
        out = []
        week = run.today + dt.timedelta(days=STEP_DAYS)
        for unit, born in zip(fleet.units["unit"], fleet.units["in_service"], strict=True):
            due = [d for d in services.get(unit, []) if d < week]
            for part in PARTS if due else ():
                if (due_day := due[0]) and (now - done.get((unit, part), born)).days >= ages[part].age:
                    out.append(Visit(unit, due_day, part, "replaced", False))
        return out


@dataclass
class Assessed:
    """Assessment of the run's fleet, made once per date for all policies that want it."""

    every_days: int = 14

    def __post_init__(self) -> None:
        self.looks: dict[str, Look] = {}

    def __call__(self, run: FleetRun) -> tuple[Fleet, object]:
        fleet = run.fleet()
        tables = FleetTables(fleet.units, fleet.readings, fleet.repairs, fleet.climate, fleet.forecast)
        return fleet, assess(tables, as_of=pd.Timestamp(run.today), looks=self.looks)


class FlaggedList:
    """The suspect part of every flagged vehicle is renewed, highest probability first, as far as hours reach."""

    def __init__(self, settings: PlanSettings) -> None:
        self.settings = settings
        self.look = Assessed()
        self.turn = 0

    def __call__(self, run: FleetRun) -> list[Visit]:
        self.turn += 1
        if self.turn % 2 == 0:
            return []
        fleet, found = self.look(run)
        catalogue = complete_catalogue(fleet.parts, self.settings)
        left = dict(zip(fleet.workshops["depot"], 2 * fleet.workshops["hours_per_week"], strict=True))
        out = []
        day = run.today + dt.timedelta(days=6)
        for row in found.units[found.units["flagged"]].itertuples():
            if row.part in PARTS and left[row.depot] >= catalogue.labour_h[row.part]:
                left[row.depot] -= catalogue.labour_h[row.part]
                out.append(Visit(row.unit, day, row.part, "replaced", True))
        return [v for v in out if v.day < run.spec.end]


class Planned:
    """The replacement plan, made anew every other week; visits of the coming two weeks are carried out."""

    def __init__(self, settings: PlanSettings, *, every_weeks: int = 2, weeks: int = 8) -> None:
        self.settings = settings
        self.look = Assessed()
        self.every = every_weeks
        self.weeks = weeks
        self.turn = 0
        self.last: ReplacementPlan | None = None

    def __call__(self, run: FleetRun) -> list[Visit]:
        if self.turn % self.every == 0:
            self.last = self.plan(run)
        self.turn += 1
        assert self.last is not None
        week = run.today + dt.timedelta(days=STEP_DAYS)
        out = []
        for row in self.last.visits.to_dict("records"):
            day = row["visit_on"].date()
            if not run.today <= day < week or row["unit"] in failed_this_week(run):
                continue
            called = not row["in_service"]
            for part, action in zip(row["parts"] or [""], row["actions"], strict=True):
                out += self.carried_out(run, row["unit"], day, part, action, called)
        return [v for v in out if v.day < run.spec.end]

    def plan(self, run: FleetRun) -> ReplacementPlan:
        fleet, found = self.look(run)
        inputs = PlanInputs(
            outlook=found.outlook, beyond=found.beyond, units=found.units, parts=found.parts, catalogue=fleet.parts,
            services=fleet.services, workshops=fleet.workshops, repairs=fleet.repairs, fleet=fleet.units,
        )  # fmt: skip
        return plan_replacements(
            inputs, as_of=pd.Timestamp(run.today), weeks=self.weeks, settings=self.settings, previous=self.last
        )

    def carried_out(self, run: FleetRun, unit: str, day: dt.date, part: str, action: str, called: bool) -> list[Visit]:
        """A cheap act with the part at hand: try it on a copy of the run, and replace when the wear is still there."""
        if not action.endswith(" or replaced"):
            return [Visit(unit, day, part, action, called)]
        cheap = action.split(" ")[0]
        out = [Visit(unit, day, part, cheap, called)]
        twin = run.fork()
        twin.advance(min(day, run.spec.end - dt.timedelta(days=2)))
        before = twin.true_state().set_index("unit").at[unit, "coldest_start_c"]
        twin.do(unit, twin.today, part, cheap)
        twin.advance(twin.today + dt.timedelta(days=1))
        after = twin.true_state().set_index("unit").at[unit, "coldest_start_c"]
        if after > before - 3.0:
            out.append(Visit(unit, day, part, "replaced", called))
        return out


class AllKnowing:
    """Acts exactly on the part that is about to stop a vehicle, at the last planned service before, or calls it in.

    It charges or cleans instead of renewing where that keeps the vehicle going to the end, which it knows too.
    """

    def __init__(self, settings: PlanSettings, *, days: int = 70) -> None:
        self.settings = settings
        self.days = days

    def __call__(self, run: FleetRun) -> list[Visit]:
        coming = run.foresee(self.days).drop_duplicates("unit")
        services = service_dates(run.fleet()) if len(coming) else {}
        week = run.today + dt.timedelta(days=STEP_DAYS)
        out = []
        for row in coming.itertuples():
            fails = row.date.date()
            before = [d for d in services.get(row.unit, []) if d <= fails]
            due = before[-1] if before else fails
            if due < week:
                action = self.least_act(run, row.unit, due, row.part)
                out.append(Visit(row.unit, due, row.part, action, not before))
        return out

    def least_act(self, run: FleetRun, unit: str, day: dt.date, part: str) -> str:
        """The cheap act if the vehicle then never stops again, else renewing."""
        cheap = CHEAP_ACTIONS.get(part)
        if cheap is None:
            return "replaced"
        twin = run.fork()
        twin.do(unit, day, part, cheap)
        later = twin.foresee(max((run.spec.end - run.today).days, 1))
        return "replaced" if (later["unit"] == unit).any() else cheap


def all_policies(settings: PlanSettings) -> dict[str, Policy]:
    """The policies by name."""
    return {
        "run_to_failure": nobody_acts,
        "fixed_age": FixedAge(settings),
        "flagged_list": FlaggedList(settings),
        "plan": Planned(settings),
        "all_knowing": AllKnowing(settings),
    }


def share_of_saving(outcomes: dict[str, Outcome], policy: str = "plan") -> float:
    """Saving of a policy over run to failure, as a share of the all-knowing planner's."""
    worst, best = outcomes["run_to_failure"].cost, outcomes["all_knowing"].cost
    return (worst - outcomes[policy].cost) / (worst - best)
