"""From the tables to everything a plan is computed from: costs, weeks, hours, and what is missing, in sentences."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from analysis.costs import CHEAP_ACTIONS, LONGEST_WEEKS, PARTS, PlanSettings
from analysis.plan.assignment import Capacity
from analysis.plan.candidates import Candidates, Catalogue, best_ages, complete_catalogue, make_candidates
from analysis.plan.choices import VISITS
from analysis.plan.decisions import ACCEPTED, Decided, decided, in_force
from analysis.plan.ordered import Ordered, ordered_before
from analysis.plan.result import Note, ReplacementPlan, note
from analysis.plan.visit_costs import CostTable, Values, make_costs, make_values
from analysis.plan.workshop_calendar import Opening, PlanWeeks, iso_week, opening, workshop_hours
from analysis.readings.panel import Bools, Floats, Ints, days_since_epoch, in_service, left_d
from analysis.wear.lives import Lifetime, observed_lives, part_lifetimes


def _nothing(*columns: str, days: tuple[str, ...] = ()) -> Callable[[], pd.DataFrame]:
    """What makes a table without rows; `days`: those of its columns that hold days or moments."""
    types = {name: "datetime64[us]" if name in days else "object" for name in (*columns, *days)}
    return lambda: pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in types.items()})


@dataclass(frozen=True)
class PlanInputs:
    """outlook, units, parts: of the Assessment; catalogue, services, workshops, repairs: tables as in DEVELOPERS.md;
    fleet: the units table; pins: unit, kind, week (ISO weeks; later rows win); beyond: of the Assessment, the
    quarters after the outlook's weeks; without it the plan takes the last weeks' risk to go on; decisions: unit, kind, at,
    until and, where known, the part they are about; done: visits that were reported, as in `analysis.plan.done`, and `at`;
    workshop_days, closures: as in :func:`analysis.plan.workshop_calendar.opening`; measure: what the list would have measured
    before anything is done to a vehicle, "" where that would change nothing, by unit; beside: the parts that the list says to
    see to at the same visit, by unit."""

    outlook: pd.DataFrame
    units: pd.DataFrame
    parts: pd.DataFrame
    catalogue: pd.DataFrame
    services: pd.DataFrame
    workshops: pd.DataFrame
    repairs: pd.DataFrame
    fleet: pd.DataFrame
    pins: pd.DataFrame = field(default_factory=_nothing("unit", "kind", "week"))
    beyond: pd.DataFrame | None = None
    decisions: pd.DataFrame = field(default_factory=_nothing("unit", "kind", days=("at", "until")))
    done: pd.DataFrame = field(
        default_factory=_nothing(
            "uid", "unit", "depot", "part", "found", "hours", "job", days=("planned_on", "done_on", "at")
        )
    )
    workshop_days: pd.DataFrame | None = None
    closures: pd.DataFrame | None = None
    measure: Mapping[str, str] = field(default_factory=dict)
    beside: Mapping[str, Sequence[str]] = field(default_factory=dict)

    def in_service(self, as_of: pd.Timestamp) -> pd.DataFrame:
        """The vehicles that are in service on the plan's day; lives of parts are learned from those that left, too."""
        fleet = self.fleet.assign(unit=self.fleet["unit"].astype(str))
        return fleet[in_service(fleet, as_of)]

    def leaving(self, as_of: pd.Timestamp) -> dict[str, float]:
        """Unit -> last day in service of the vehicles that leave after the plan's day [d after it]."""
        ahead = left_d(self.fleet) - days_since_epoch(pd.DatetimeIndex([as_of]))[0]
        known = np.isfinite(ahead) & (ahead > 0)
        return dict(zip(self.fleet["unit"].astype(str)[known], ahead[known].tolist(), strict=True))


@dataclass(frozen=True)
class Work:
    """Everything between the inputs and the frames."""

    weeks: PlanWeeks
    settings: PlanSettings
    catalogue: Catalogue
    seen: pd.DataFrame
    lives: Mapping[str, Lifetime]
    rates: Mapping[str, float]
    candidates: Candidates
    values: Values
    table: CostTable
    depots: list[str]
    depot: Ints
    capacity: Capacity
    decided: Decided
    done_h: Floats
    opened: Opening
    ordered: Mapping[tuple[str, str], Ordered]
    notes: list[Note] = field(default_factory=list)

    @property
    def end_week(self) -> float:
        """End of the plan [weeks after its date]."""
        return float(self.weeks.end_day[-1]) / 7.0

    def left_on(self, row: int) -> pd.Timestamp | None:
        """The last day in service of a vehicle that leaves within what is looked at, None of one that stays."""
        days = float(self.candidates.leaves[row])
        return self.weeks.as_of + pd.Timedelta(days=days) if np.isfinite(days) else None


def prepare(
    inputs: PlanInputs, weeks: PlanWeeks, settings: PlanSettings, previous: ReplacementPlan | None = None
) -> Work:
    catalogue = complete_catalogue(inputs.catalogue, settings)
    notes = list(catalogue.notes)
    fleet = inputs.in_service(weeks.as_of)
    every = inputs.fleet.assign(unit=inputs.fleet["unit"].astype(str))
    seen = observed_lives(every, inputs.repairs, weeks.as_of, parts=PARTS)
    lives = part_lifetimes(seen, parts=PARTS, life_years=settings.life_years)
    # long-run cost under the best age replacement, by week: what postponing saves
    rates = {
        part: 7.0 * best.cost_rate for part, best in best_ages(fleet, lives, catalogue, settings, access=0.0).items()
    }
    leaving, ordered = inputs.leaving(weeks.as_of), ordered_before(previous, inputs.repairs, weeks.as_of)
    standing = in_force(inputs.decisions, inputs.repairs, weeks.as_of, inputs.done)
    forced = _accepted_parts(standing, inputs.outlook, fleet) | _pinned(inputs.pins, weeks, fleet)
    candidates = make_candidates(
        inputs.outlook, inputs.units, inputs.parts, catalogue=catalogue, rates=rates, lives=lives, settings=settings,
        success=cheap_success(inputs.repairs, weeks.as_of, settings), forced=forced, beyond=inputs.beyond,
        measure=inputs.measure, leaving=leaving, ordered={known: one.ready for known, one in ordered.items()},
        beside=inputs.beside,
    )  # fmt: skip
    names = candidates.table["unit"].tolist()
    services, service_week, first_service = _service_days(inputs.services, names, weeks, candidates.risk.shape[1] - 1)
    values = make_values(candidates, service_week, settings)
    what = decided(standing, names, weeks.as_of)
    depots = sorted({d for d in fleet["depot"].fillna("").astype(str) if d})
    depot = np.array([depots.index(d) if d in depots else -1 for d in candidates.table["depot"]], dtype=np.int64)
    opened = opening(depots, weeks, days=inputs.workshop_days, closures=inputs.closures)
    shut = opened.closed[depot[:, None], np.maximum(services, 0)]  # a service on a weekend counts all the same
    services = np.where(shut, -1, services)
    table = make_costs(
        candidates, values, weeks, services, first_service, settings, opened, depot, not_before=what.not_before
    )
    capacity, done_h = _capacity(inputs, fleet, depots, weeks, settings, opened)
    notes += _warnings(inputs, candidates, catalogue, depots, capacity, weeks)
    return Work(
        weeks, settings, catalogue, seen, lives, rates, candidates, values, table, depots, depot, capacity, what, done_h, opened, ordered, notes
    )  # fmt: skip


def cheap_success(repairs: pd.DataFrame, as_of: pd.Timestamp, settings: PlanSettings) -> dict[str, float]:
    """Chance that the cheap act cures each part: the stated one, moved by how the fleet's own acts turned out.

    An act counts once `VISITS.success_days` have passed; it has helped when the part needed nothing more in that time.
    """
    known = repairs[(repairs["done_on"] < as_of) & repairs["part"].isin(list(CHEAP_ACTIONS))]
    part, unit = pd.Index(list(CHEAP_ACTIONS)).get_indexer(pd.Index(known["part"])), pd.factorize(known["unit"])[0]
    day = days_since_epoch(known["done_on"])
    order = np.lexsort((day, unit, part))
    part, unit, day = part[order], unit[order], day[order]
    again = np.append((part[1:] == part[:-1]) & (unit[1:] == unit[:-1]), False)[: len(day)]
    later = np.where(again, np.roll(day, -1), np.inf)
    acts = known["action"].isin(["cleaned", "tightened", "charged"]).to_numpy(np.bool_)[order]
    acts &= np.floor(days_since_epoch(pd.DatetimeIndex([as_of]))[0] - day) >= VISITS.success_days
    good = acts & (np.floor(later - day) > VISITS.success_days)
    tried, helped = (np.bincount(part[those], minlength=len(CHEAP_ACTIONS)) for those in (acts, good))
    stated = np.array([settings.clean_success.get(name, 0.0) for name in CHEAP_ACTIONS])
    chance = (VISITS.success_prior * stated + helped) / (VISITS.success_prior + tried)
    return dict(zip(CHEAP_ACTIONS, chance.tolist(), strict=True))


def _pinned(pins: pd.DataFrame, weeks: PlanWeeks, fleet: pd.DataFrame) -> dict[str, str]:
    """Units of the fleet that are pinned to a week of the plan, for no part."""
    known = set(fleet["unit"])
    here = [u for u, kind, week in pin_rows(pins) if kind != "forbid" and weeks.index(week) >= 0 and u in known]
    return dict.fromkeys(here, "")


def _accepted_parts(standing: pd.DataFrame, outlook: pd.DataFrame, fleet: pd.DataFrame) -> dict[str, str]:
    """Accepted vehicles of the fleet that are too little at risk to be planned by themselves, with the part accepted."""
    accepted = standing.loc[standing["kind"] == ACCEPTED, "part"]
    alone = accepted[accepted.index.isin(fleet["unit"]) & ~accepted.index.isin(outlook["unit"].astype(str))]
    return {str(unit): part if part in PARTS else "" for unit, part in alone.items()}


def _service_days(
    services: pd.DataFrame, names: list[str], weeks: PlanWeeks, outlook_weeks: int
) -> tuple[Ints, Bools, Ints]:
    """Planned services: day in each plan week (U, W), -1 for none; whether in each outlook week (U, K); first (U,).

    Beyond LONGEST_WEEKS services are taken to go on as in the weeks before.
    """
    in_plan = np.full((len(names), len(weeks)), -1, dtype=np.int64)
    in_outlook = np.zeros((len(names), outlook_weeks), dtype=np.bool_)
    first = np.full(len(names), -1, dtype=np.int64)
    due = services[services["due_on"] >= weeks.as_of].sort_values("due_on", ascending=False)
    row = pd.Index(names).get_indexer(pd.Index(due["unit"].astype(str)))
    day = (due["due_on"] - weeks.as_of).dt.days.to_numpy(np.int64)
    row, day = row[row >= 0], day[row >= 0]
    week = weeks.position(day.astype(np.float64))
    inside = week >= 0
    in_plan[row[inside], week[inside]] = day[inside]
    near = day < 7 * outlook_weeks
    in_outlook[row[near], day[near] // 7] = True
    first[row] = day
    for week_after in range(LONGEST_WEEKS, outlook_weeks):
        in_outlook[:, week_after] |= in_outlook[:, week_after - LONGEST_WEEKS]
    return in_plan, in_outlook, first


def _capacity(
    inputs: PlanInputs,
    fleet: pd.DataFrame,
    depots: list[str],
    weeks: PlanWeeks,
    settings: PlanSettings,
    opened: Opening,
) -> tuple[Capacity, Floats]:
    """What there is for visits to come, and hours (D, W) of visits that were done on the plan's day already [h]."""
    hours = workshop_hours(inputs.workshops, depots, weeks, closed_weeks=settings.closed_weeks, opened=opened)
    size = fleet["depot"].value_counts().reindex(depots).to_numpy(np.float64)
    down = np.maximum(1.0, np.floor(settings.down_share * size))
    used = np.zeros_like(hours)
    for row in inputs.done[inputs.done["done_on"] >= weeks.as_of].to_dict("records"):
        d, w = (depots.index(row["depot"]) if row["depot"] in depots else -1), weeks.index(iso_week(row["done_on"]))
        if d >= 0 and w >= 0:
            used[d, w] += float(row["hours"])
    used = np.minimum(used, hours)
    return Capacity(hours - used, np.repeat(down[:, None], len(weeks), axis=1)), used


def _warnings(
    inputs: PlanInputs, c: Candidates, catalogue: Catalogue, depots: list[str], capacity: Capacity, weeks: PlanWeeks
) -> list[Note]:
    out = []
    empty = [d for d, hours in zip(depots, capacity.hours.sum(axis=1), strict=True) if hours <= 0]
    if len(empty) == len(depots):
        out.append(note("no_hours_known" if inputs.workshops.empty else "no_hours_anywhere"))
    elif empty:
        out.append(note("no_hours_at", depots=tuple(empty)))
    out += _weeks_without_hours(inputs.workshops, depots, weeks)
    homeless = c.table.loc[c.table["depot"] == "", "unit"].tolist()
    if homeless:
        out.append(note("no_depot_known", units=tuple(homeless)))
    late = last_working_day(weeks)
    for part in sorted(set(c.table["part"]) - {""}):
        if catalogue.lead_days[part] > late:
            out.append(note("delivered_after", part=part, days=catalogue.lead_days[part], weeks=len(weeks)))
    known = set(inputs.in_service(weeks.as_of)["unit"])
    for unit, _, week in pin_rows(inputs.pins):
        if unit not in known:
            out.append(note("pin_of_nobody", unit=unit, week=week))
    return out


def _weeks_without_hours(workshops: pd.DataFrame, depots: list[str], weeks: PlanWeeks) -> list[Note]:
    """Depots whose hours are given week by week only, and not for every week of the plan."""
    if "week_from" not in workshops.columns:
        return []
    out = []
    for depot in depots:
        own = workshops[workshops["depot"] == depot]
        if own.empty or own["week_from"].isna().any():
            continue
        given = {iso_week(pd.Timestamp(start)) for start in own["week_from"]}
        missing = [week for week in weeks.iso if week not in given]
        if missing and len(missing) < len(weeks):
            out.append(note("weeks_without_hours", depot=depot, missing=tuple(missing)))
    return out


def last_working_day(weeks: PlanWeeks) -> int:
    """Last working day of the plan [days after its date]."""
    return int(weeks.end_day[-1]) - 7 + VISITS.working_days - 1


def pin_rows(pins: pd.DataFrame) -> list[tuple[str, str, str]]:
    columns = (pins[name].astype(str) for name in ("unit", "kind", "week"))
    return list(zip(*columns, strict=True))
