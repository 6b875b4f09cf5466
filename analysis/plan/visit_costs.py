"""Expected cost of acting on a vehicle in each week, against the cost of waiting (advisory generation, ISO 13374).

Costs are those of a renewal process in relative value: a new part is worth 0, every week that passes without a cost
is credited with `rate`, the part's long-run cost per week. Acting at time t therefore costs

    C(t) = fail F(t) - rate E[min(T, t)] + S(t) [work(t) + risk left after the work]

and postponing is worth it exactly while hazard x (fail - work) < rate: the condition of Barlow & Proschan (1965) for
the best age of replacement. Beyond the horizon a part goes on with the value that :func:`cost_to_go` finds, never
with 0, so that postponing to the edge gains nothing. Shown costs add the constant rate E[T], which turns the credit
into the life thrown away.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.arrays import Rows
from analysis.costs import PlanSettings
from analysis.plan.candidates import LEAST_RISK, Candidates, between
from analysis.plan.choices import VISITS
from analysis.plan.workshop_calendar import Opening, PlanWeeks
from analysis.readings.panel import Bools, Floats, Ints

REPLACE, REPLACE_TWO, CHEAP, MEASURE, CHEAP_FIRST = KINDS = range(5)


@dataclass(frozen=True)
class Values:
    """Relative values (U, K+1) at the week boundaries, for a vehicle still running there [money].

    waiting: cost-to-go when the next planned services bring readings; informed: the same if all were known from here;
    left: cost of the risk left after renewing the suspect part; left_two: after renewing both parts;
    lost: cost of the no-starts up to the boundary, each with its repair and the risk left after that (a repair at the
    roadside renews the part as a planned one does); end: (U,) value at the end of the outlook; life: (U,) expected weeks
    until it fails if nobody acts.
    """

    waiting: Floats
    informed: Floats
    left: Floats
    left_two: Floats
    lost: Floats
    end: Floats
    life: Floats


@dataclass(frozen=True)
class Options(Rows):
    """Ways of acting, one row each, sorted by unit: what is done to whom in which week, and what it costs.

    unit, week, kind: (N,) positions; hours: (N,) [h]; calls_in: (N,) whether the vehicle is called in for it (not in
    anyway); day: (N,) days after the plan's date; cost: (N,) expected cost relative to waiting [money], negative when
    acting pays.
    """

    unit: Ints
    week: Ints
    kind: Ints
    hours: Floats
    calls_in: Bools
    day: Ints
    cost: Floats

    def __len__(self) -> int:
        return len(self.unit)


@dataclass(frozen=True)
class CostTable:
    """Costs of every vehicle, kind and week.

    cost: (5, U, W) relative value [money], inf where it cannot be done; day: (5, U, W) day of the visit, -1 for none;
    free: (5, U, W) whether the vehicle is in for a planned service that day; hours: (5, U) hours
    to be kept free for it [h], for a measurement or a cheap act also those of the work that may follow; own_hours: (5, U)
    hours of the visit itself;
    wait: (U,) cost of not planning it now; least: (U,) what a visit has to save to be planned, as less lies within the doubt of
    the reckoning; waits_for: (U,) day of the service that is waited for, -1 if for none;
    constant: (U,) what turns relative values into shown costs; services: (U, W) day of a planned service, -1 for none.
    """

    cost: Floats
    day: Ints
    free: Bools
    hours: Floats
    own_hours: Floats
    wait: Floats
    least: Floats
    waits_for: Ints
    constant: Floats
    services: Ints

    @property
    def to_beat(self) -> Floats:
        """(U,) cost below which a visit is planned."""
        return self.wait - self.least


def lived(risk: Floats) -> Floats:
    """E[min(T, t)] at the week boundaries (U, K+1) [weeks]: the integral of survival."""
    alive = 1.0 - risk
    steps = 0.5 * (alive[:, 1:] + alive[:, :-1])
    return np.concatenate([np.zeros((len(risk), 1)), np.cumsum(steps, axis=1)], axis=1)


def mean_hazard(risk: Floats) -> Floats:
    """(U,) hazard [1/week] that leads to the same risk at the end of the outlook (U, K+1)."""
    return np.asarray(np.maximum(-np.log1p(-risk[:, -1]) / (risk.shape[1] - 1), LEAST_RISK), dtype=np.float64)


def end_value(risk: Floats, act: Floats, fail: Floats, rate: Floats) -> Floats:
    """Value (U,) at the end of the outlook: act then, or run on at the mean hazard; never below a new part."""
    hazard = mean_hazard(risk)
    return np.asarray(np.maximum(np.minimum(act, fail - rate / hazard), 0.0), dtype=np.float64)


def cost_to_go(
    risk: Floats, act: Floats, fail: Floats, rate: Floats, end: Floats, informed: Floats | None = None
) -> Floats:
    """Least expected cost from each week boundary on (U, K+1) for a vehicle still running, without limits of capacity.

    act: (U, K) cost of acting in a week; fail: (U,) or (U, K) cost of failing in a week; informed: (U, K) value that
    replaces the next week's where a reading is taken in the week, NaN elsewhere. Backward induction (Bellman).
    """
    weeks = risk.shape[1] - 1
    failing = np.broadcast_to(fail[:, None] if fail.ndim == 1 else fail, (len(risk), weeks))
    value = np.empty_like(risk)
    value[:, weeks] = end
    alive = np.maximum(1.0 - risk, LEAST_RISK)
    for k in range(weeks - 1, -1, -1):
        hazard = (risk[:, k + 1] - risk[:, k]) / alive[:, k]
        after = value[:, k + 1]
        if informed is not None:
            after = np.where(np.isfinite(informed[:, k]), np.minimum(informed[:, k], after), after)
        going_on = hazard * failing[:, k] - rate * (1.0 - 0.5 * hazard) + (1.0 - hazard) * after
        value[:, k] = np.minimum(act[:, k], going_on)
    return value


def _kept(renewed: Floats, risk: Floats) -> Floats:
    """Share (U,) of the risk that renewing the part does not remove: other parts, or a wrong suspicion."""
    return np.asarray(np.clip(renewed[:, -1] / np.maximum(risk[:, -1], LEAST_RISK), 0.0, 1.0), dtype=np.float64)


def _left(renewed: Floats, fail: Floats, other: Floats, end: Floats) -> Floats:
    """Cost of the risk left after acting at each boundary (U, K+1), for a vehicle that runs on.

    other: (U,) cost of renewing the next likely part, which is done as soon as that is the cheaper; end: (U,) what the
    risk left costs beyond the outlook. A week's delay of that is worth nothing here.
    """
    act = np.repeat(other[:, None], renewed.shape[1] - 1, axis=1)
    return cost_to_go(renewed, act, fail, np.zeros(len(renewed)), np.minimum(end, other))


def later_value(
    risk: Floats, renewed: Floats, act: Floats, fail: Floats, rate: Floats, stays: Bools | None = None
) -> Floats:
    """Value (U,) at the end of the weekly outlook, from the risk after it; never below a new part.

    risk, renewed: (U, M+1) for a vehicle that runs at the end, as it is and with the part renewed; act: (U,) cost of
    renewing it; stays: (U,) whether it goes on after the last of these, all do where it is None. Only the risk that renewing takes
    away counts: what is left meets both ways alike. A worn part that has lived through one winter is not a new one, and this is what
    it still costs.
    """
    avoidable = np.clip(1.0 - (1.0 - risk) / np.maximum(1.0 - renewed, LEAST_RISK), 0.0, 1.0 - LEAST_RISK)
    avoidable = np.maximum.accumulate(avoidable, axis=1)
    end = end_value(avoidable, act, fail, rate)
    end = end if stays is None else np.where(stays, end, 0.0)
    value = cost_to_go(avoidable, np.repeat(act[:, None], risk.shape[1] - 1, axis=1), fail, rate, end)
    return np.asarray(np.maximum(value[:, 0], 0.0), dtype=np.float64)


def _sound(risk: Floats, renewed: Floats, right: Floats) -> Floats:
    """Risk (U, K+1) after the right part is renewed, when the suspicion is right with probability `right` (U,)."""
    return np.asarray(np.maximum((renewed - (1.0 - right[:, None]) * risk) / right[:, None], 0.0), dtype=np.float64)


def _scenarios(c: Candidates) -> list[tuple[Floats, Floats, Floats, Floats, Floats, bool]]:
    """What a measurement could find: weight (U,), risk, risk after the right repair, both for later, suspicion right."""
    worst = np.divide(c.renewed, c.risk, out=np.ones_like(c.risk), where=c.risk > LEAST_RISK).min(axis=1)
    right = np.clip(
        np.maximum(c.table["part_probability"].to_numpy(np.float64), 1.0 - worst), VISITS.least_part_probability, 1.0
    )
    base, base_later = _sound(c.risk, c.renewed, right), _sound(c.later[0], c.later[1], right)
    out = []
    for risk, later in ((c.better, c.later[2]), (c.worse, c.later[3])):
        sound = (np.minimum(base, risk), np.minimum(base_later, later))
        for weight, suspicion in ((0.5 * right, True), (0.5 * (1.0 - right), False)):
            out.append((weight, risk, sound[0], later, sound[1], suspicion))
    return out


def make_values(c: Candidates, service_week: Bools, settings: PlanSettings) -> Values:
    """Values of waiting, of knowing, and of the risk left; service_week: (U, K) whether a reading is due in a week."""
    access = np.where(service_week, 0.0, settings.access_cost)
    week_end = 7.0 * (np.arange(access.shape[1]) + 1.0)
    here, second_here = week_end > c.lead[:, None], week_end > np.maximum(c.lead, c.second_lead)[:, None]
    work = c.part_cost + c.part_h * settings.hour_rate
    work_two = work + c.second_cost + c.second_h * settings.hour_rate
    other = c.other_cost + settings.access_cost
    renewed_two = c.renewed * (1.0 - c.second_share[:, None])
    known_later = c.later.shape[2] > 1
    kept, kept_two = np.zeros(len(c)), np.zeros(len(c))
    if not known_later:
        other_end = np.where(np.isinf(c.leaves), end_value(c.risk, c.other_cost, c.fail_cost, c.rate), 0.0)
        kept, kept_two = _kept(c.renewed, c.risk) * other_end, _kept(renewed_two, c.risk) * other_end

    stays = np.isinf(c.leaves)

    def end_of(risk: Floats, later: Floats, later_renewed: Floats, act: Floats, rest: Floats) -> Floats:
        if known_later:
            return later_value(later, later_renewed, act, c.fail_cost, c.rate, stays)
        return np.where(stays, end_value(risk, act + rest, c.fail_cost + rest, c.rate), 0.0)

    end = end_of(c.risk, c.later[0], c.later[1], work, kept)
    left = _left(c.renewed, c.fail_cost, other, kept)
    left_two = _left(renewed_two, c.fail_cost, other, kept_two)
    total, weight_sum = np.zeros_like(c.risk), np.zeros_like(c.risk)
    for weight, risk, sound, later, sound_later, suspicion in _scenarios(c):
        own = work if suspicion else c.other_cost
        own_kept = kept if known_later else stays * _kept(sound, risk) * end_value(risk, own, c.fail_cost, c.rate)
        own_left = _left(sound, c.fail_cost, other, own_kept)
        act = np.where(here, own[:, None] + access + own_left[:, :-1], np.inf)
        own_end = end_of(risk, later, sound_later, own, own_kept)
        weights = weight[:, None] * (1.0 - risk)
        total += weights * cost_to_go(risk, act, _failing(c.fail_cost, own_left), c.rate, own_end)
        weight_sum += weights
    informed = total / np.maximum(weight_sum, LEAST_RISK)
    act = np.where(c.has_part[:, None] & here, work[:, None] + access + left[:, :-1], np.inf)
    both = np.where(c.has_second[:, None] & second_here, work_two[:, None] + access + left_two[:, :-1], np.inf)
    act = np.minimum(act, both)
    failing = _failing(c.fail_cost, left)
    blind = cost_to_go(c.risk, act, failing, c.rate, end)
    gained = settings.measure_resolves * np.minimum(informed - blind, 0.0) + blind
    with_reading = np.where(service_week, gained[:, 1:], np.nan)
    waiting = cost_to_go(c.risk, act, failing, c.rate, end, with_reading)
    hazard = mean_hazard(np.concatenate([c.risk, 1.0 - (1.0 - c.risk[:, -1:]) * (1.0 - c.later[0, :, 1:])], axis=1))
    longest = np.minimum(1.0 / hazard, c.life_weeks)
    life = lived(c.risk)[:, -1] + (1.0 - c.risk[:, -1]) * longest
    lost = np.concatenate([np.zeros((len(c), 1)), np.cumsum(np.diff(c.risk, axis=1) * failing, axis=1)], axis=1)
    return Values(waiting, informed, left, left_two, lost, end, life)


def _failing(fail: Floats, left: Floats) -> Floats:
    """Cost (U, K) of failing in a week: the no-start with its repair (U,), and the risk left after it (U, K+1)."""
    return np.asarray(fail[:, None] + 0.5 * (left[:, 1:] + left[:, :-1]), dtype=np.float64)


def _visit_days(
    c: Candidates, weeks: PlanWeeks, services: Ints, not_before: Ints, opened: Opening, depot: Ints
) -> tuple[Ints, Bools]:
    """Day of a visit (5, U, W) of each kind, -1 where it is too early for it, and whether it is a service."""
    ready = np.zeros((len(KINDS), len(c)))
    ready[REPLACE] = ready[CHEAP_FIRST] = c.lead
    ready[REPLACE_TWO] = np.maximum(c.lead, c.second_lead)
    ready_days = np.maximum(np.ceil(ready).astype(np.int64), not_before)
    own = np.stack([opened.visit_days(weeks, depot, days) for days in ready_days])
    at_service = (services >= 0)[None] & (services[None] >= ready_days[:, :, None])
    day = np.where(at_service, services[None], own)
    here = day < c.leaves[None, :, None]  # on its last day a vehicle is called in no more
    return np.where(here, day, -1), at_service & here


def make_costs(
    c: Candidates, values: Values, weeks: PlanWeeks, services: Ints, first_service: Ints, settings: PlanSettings,
    opened: Opening, depot: Ints, *, not_before: Ints | None = None,
) -> CostTable:  # fmt: skip
    """Cost of each kind of visit in each week, and of waiting.

    opened, depot: when the workshops work, and the depot (U,) of each vehicle; services: (U, W) day of a planned service in
    the week, -1 for none; first_service: (U,) day of the next, -1; not_before: (U,) first day that a visit may be on,
    whatever it is for. All in days after the plan's date.
    """
    earliest = np.zeros(len(c), np.int64) if not_before is None else not_before
    day, free = _visit_days(c, weeks, services, earliest, opened, depot)
    access = np.where(free, 0.0, settings.access_cost)
    rate_h = settings.hour_rate
    cheap_h = np.nan_to_num(c.cheap_h)
    measure_h = np.full(len(c), settings.measure_h)
    own = np.stack([c.part_h, c.part_h + c.second_h, cheap_h, measure_h, cheap_h + c.part_h]) + c.beside_h
    own[REPLACE_TWO] -= c.second_beside_h
    due = c.beside_h * rate_h  # it is seen to sooner or later, with this visit or without
    hours = own + np.stack([0 * cheap_h, 0 * cheap_h, c.part_h, c.part_h, 0 * cheap_h])
    lived_weeks = lived(c.risk)
    cost = np.full(day.shape, np.inf)
    has_cheap = c.has_part & np.isfinite(c.cheap_h)
    possible = [c.has_part, c.has_part & c.has_second, has_cheap, c.table["may_measure"].to_numpy(np.bool_), has_cheap]
    for kind in range(len(KINDS)):
        t = np.maximum(day[kind], 0) / 7.0
        then = own[kind][:, None] * rate_h - due[:, None] + access[kind] + _after(c, values, kind, t, settings)
        alive = 1.0 - between(c.risk, t)
        relative = between(values.lost, t) - c.rate[:, None] * between(lived_weeks, t) + alive * then
        cost[kind] = np.where((day[kind] >= 0) & possible[kind][:, None], relative, np.inf)
    wait, waits_for = _wait(c, values, lived_weeks, float(weeks.end_day[-1]) / 7.0, first_service, settings)
    least = VISITS.least_saved * c.fail_cost
    return CostTable(cost, day, free, hours, own, wait, least, waits_for, c.rate * values.life + due, services)


def _after(c: Candidates, values: Values, kind: int, t: Floats, settings: PlanSettings) -> Floats:
    """Parts used and value after the work, given that the vehicle still runs at t (U, W) [weeks]."""
    if kind == REPLACE:
        return c.part_cost[:, None] + between(values.left, t)
    if kind == REPLACE_TWO:
        return (c.part_cost + c.second_cost)[:, None] + between(values.left_two, t)
    later = between(values.waiting, t + VISITS.react_weeks)
    if kind in (CHEAP, CHEAP_FIRST):
        work = c.part_cost + c.part_h * settings.hour_rate
        used = (np.minimum(c.rate * c.life_weeks, work) * (1.0 - settings.cheap_life_share))[:, None]
        chance = c.cheap_success[:, None]
        if kind == CHEAP_FIRST:
            unused_h = (chance * c.part_h[:, None]) * settings.hour_rate
            return chance * used + (1.0 - chance) * c.part_cost[:, None] - unused_h + between(values.left, t)
        return chance * (used + between(values.left, t)) + (1.0 - chance) * _meanwhile(c, values, t, later)
    known = np.minimum(between(values.informed, t + VISITS.react_weeks), later)
    return _meanwhile(c, values, t, later + settings.measure_resolves * (known - later))


def _meanwhile(c: Candidates, values: Values, t: Floats, then: Floats) -> Floats:
    """Cost from t (U, W) [weeks] on when the vehicle runs on for `VISITS.react_weeks` and `then` is its value after that."""
    risk = between(c.risk, t)
    hazard = (between(c.risk, t + VISITS.react_weeks) - risk) / np.maximum(1.0 - risk, LEAST_RISK)
    credit = c.rate[:, None] * VISITS.react_weeks * (1.0 - 0.5 * hazard)
    failing = c.fail_cost[:, None] + between(values.left, t)
    return np.asarray(hazard * failing - credit + (1.0 - hazard) * then, dtype=np.float64)


def _wait(
    c: Candidates, values: Values, lived_weeks: Floats, end: float, first_service: Ints, settings: PlanSettings
) -> tuple[Floats, Ints]:
    """Cost (U,) of no visit in this plan: until its end, or until the next service's reading says more.

    The reading counts also when the plan ends before: a measuring visit must not look better only for being within it.
    """

    def until(t: Floats, then: Floats) -> Floats:
        risk = between(c.risk, t)[:, 0]
        return between(values.lost, t)[:, 0] - c.rate * between(lived_weeks, t)[:, 0] + (1.0 - risk) * then

    last = c.risk.shape[1] - 1.0
    t_end = np.full((len(c), 1), min(end, last))
    to_end = until(t_end, between(values.waiting, t_end)[:, 0])
    t_read = np.maximum(first_service, 0)[:, None] / 7.0 + VISITS.react_weeks
    later = between(values.waiting, t_read)[:, 0]
    known = np.minimum(between(values.informed, t_read)[:, 0], later)
    to_reading = until(t_read, later + settings.measure_resolves * (known - later))
    reading = (first_service >= 0) & (t_read[:, 0] < last) & (to_reading < to_end)
    return np.where(reading, to_reading, to_end), np.where(reading, first_service, -1).astype(np.int64)


def worthwhile(table: CostTable, *, keep: Bools | None = None, bonus: Floats | None = None) -> Options:
    """All ways of acting that save enough against waiting (and all of the vehicles in `keep`, which must act), by unit.

    keep: (U,) who must act; bonus: (U, W) what a visit in the week that was promised before saves [money].
    Of the kinds possible in one week only those that no other beats in both cost and hours are kept.
    """
    relative = table.cost - table.wait[None, :, None]
    if bonus is not None:
        relative = relative - bonus[None]
    must = np.zeros(len(table.wait), np.bool_) if keep is None else keep
    wanted = np.isfinite(relative) & ((relative < -table.least[None, :, None]) | must[None, :, None])
    for kind in range(len(KINDS)):
        for other in range(len(KINDS)):
            better = wanted[other] & (relative[other] <= relative[kind])
            better &= (table.hours[other] <= table.hours[kind])[:, None]
            if other != kind:
                strictly = (relative[other] < relative[kind]) | (table.hours[other] < table.hours[kind])[:, None]
                wanted[kind] &= ~(better & strictly) | must[:, None]
    unit, week, what = (x.astype(np.int64) for x in np.nonzero(wanted.transpose(1, 2, 0)))
    return replace(options_of(table, unit, week, what), cost=relative[what, unit, week])


def options_of(table: CostTable, unit: Ints, week: Ints, kind: Ints) -> Options:
    """The visits of `unit` in `week` by `kind` (N,), with their costs relative to waiting."""
    return Options(
        unit=unit,
        week=week,
        kind=kind,
        hours=table.hours[kind, unit],
        calls_in=~table.free[kind, unit, week],
        day=table.day[kind, unit, week],
        cost=table.cost[kind, unit, week] - table.wait[unit],
    )
