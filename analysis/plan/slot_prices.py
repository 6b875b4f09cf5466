"""Assignment of large fleets by slot prices: every workshop hour and every call-in gets a price per week.

At given prices each vehicle chooses for itself (Lagrangian relaxation); the prices follow the excess demand
(subgradient with Polyak's step). The value at any prices is a lower bound on the cost of every plan, so the plan that a
repair makes of the choices has a known distance from the best. Source: Fisher, "The Lagrangian relaxation method for
solving integer programming problems", Management Science 27 (1981), from memory; checked against the LP bound.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.plan.visit_costs import Options
from analysis.readings.panel import Floats, Ints

ROUNDS = 400
"""Most rounds of price setting (the bound moves by less than 0.1 % after that)."""
PATIENCE = 15
"""Rounds without a better bound after which the step is halved."""
LEAST_STEP = 1e-3
"""The search ends when the step has been halved below this."""
REPAIR_EVERY = 10
"""A plan is made of the choices every so many rounds: it is the target of the step."""
PASSES = 6
"""Most passes of improving by moves and exchanges."""
TOLERANCE = 1e-9


@dataclass(frozen=True)
class SlotPrices:
    """hour_price: (W,) [money/h]; call_price: (W,) [money per call-in]; bound: lower bound of the cost; reduced: (N,)
    cost of each option with the prices paid."""

    hour_price: Floats
    call_price: Floats
    bound: float
    reduced: Floats


def slot_prices(options: Options, hours: Floats, visits: Floats) -> SlotPrices:
    """Prices of hours [h] and call-ins per week (W,) that make the lower bound as high as possible."""
    starts = np.flatnonzero(np.concatenate([[True], options.unit[1:] != options.unit[:-1]]))
    calls = options.calls_in.astype(np.float64)
    weeks = len(hours)
    price, call_price = np.zeros(weeks), np.zeros(weeks)
    best = SlotPrices(price, call_price, -np.inf, options.cost)
    plan_cost, step, since = 0.0, 1.0, 0
    for turn in range(ROUNDS):
        reduced = options.cost + price[options.week] * options.hours + call_price[options.week] * calls
        chosen = _cheapest(reduced, starts)
        value = float(reduced[chosen].sum() - price @ hours - call_price @ visits)
        since = 0 if value > best.bound + TOLERANCE else since + 1
        if value > best.bound:
            best = SlotPrices(price.copy(), call_price.copy(), value, reduced)
        if turn % REPAIR_EVERY == 0:
            plan_cost = min(plan_cost, float(options.cost[greedy_assignment(options, reduced, hours, visits)].sum()))
        if since >= PATIENCE:
            step, since = step / 2.0, 0
            price, call_price = best.hour_price.copy(), best.call_price.copy()
        more_hours = np.bincount(options.week[chosen], options.hours[chosen], weeks) - hours
        more_calls = np.bincount(options.week[chosen], calls[chosen], weeks) - visits
        more_hours = np.where((price > 0) | (more_hours > 0), more_hours, 0.0)
        more_calls = np.where((call_price > 0) | (more_calls > 0), more_calls, 0.0)
        length = float(more_hours @ more_hours + more_calls @ more_calls)
        if length <= TOLERANCE or step < LEAST_STEP or plan_cost - best.bound <= TOLERANCE * abs(best.bound):
            break
        move = step * max(plan_cost - value, TOLERANCE) / length
        price = np.maximum(price + move * more_hours, 0.0)
        call_price = np.maximum(call_price + move * more_calls, 0.0)
    return best


def _cheapest(reduced: Floats, starts: Ints) -> Ints:
    """Row of each vehicle's cheapest option, where it is cheaper than not acting."""
    least = np.minimum.reduceat(reduced, starts)
    counts = np.diff(np.concatenate([starts, [len(reduced)]]))
    rows = np.where(reduced == np.repeat(least, counts), np.arange(len(reduced)), len(reduced))
    first = np.minimum.reduceat(rows, starts)
    return first[least < 0]


def greedy_assignment(options: Options, reduced: Floats, hours: Floats, visits: Floats) -> Ints:
    """Book the options that are worth most above their price first, as long as there is room; return their rows."""
    left, calls = hours.copy(), visits.copy()
    taken: set[int] = set()
    chosen = []
    order = np.argsort(reduced, kind="stable")
    order = order[options.cost[order] < 0]
    for row, unit, week, need, call in zip(
        order.tolist(),
        options.unit[order].tolist(),
        options.week[order].tolist(),
        options.hours[order].tolist(),
        options.calls_in[order].tolist(),
        strict=True,
    ):
        if unit not in taken and need <= left[week] + TOLERANCE and call <= calls[week]:
            taken.add(unit)
            left[week] -= need
            calls[week] -= call
            chosen.append(row)
    return np.sort(np.array(chosen, dtype=np.int64))


def improve(options: Options, chosen: Ints, hours: Floats, visits: Floats) -> Ints:
    """Make a plan cheaper by moving single vehicles into free room and by giving a place to one who needs it more."""
    book = _Book(options, chosen, hours, visits)
    units = np.unique(options.unit)
    for _ in range(PASSES):
        changes = sum(book.settle(int(unit)) for unit in units)
        if not changes:
            break
    return np.sort(np.array(list(book.row.values()), dtype=np.int64))


class _Book:
    """Who has which place, and the room left; the state of :func:`improve`."""

    def __init__(self, options: Options, chosen: Ints, hours: Floats, visits: Floats) -> None:
        self.options = options
        self.row = {int(options.unit[row]): int(row) for row in chosen}
        weeks = len(hours)
        self.left = hours - np.bincount(options.week[chosen], options.hours[chosen], weeks)
        self.calls = visits - np.bincount(options.week[chosen], options.calls_in[chosen].astype(np.float64), weeks)
        starts = np.flatnonzero(np.concatenate([[True], options.unit[1:] != options.unit[:-1]]))
        ends = np.concatenate([starts[1:], [len(options)]])
        self.rows = {}
        for unit, start, end in zip(options.unit[starts].tolist(), starts.tolist(), ends.tolist(), strict=True):
            self.rows[unit] = start + np.argsort(options.cost[start:end], kind="stable")
        self.in_week: dict[int, set[int]] = {week: set() for week in range(weeks)}
        for unit, row in self.row.items():
            self.in_week[int(options.week[row])].add(unit)

    def _fits(self, row: int, without: int | None = None) -> bool:
        week = self.options.week[row]
        hours, calls = self.left[week], self.calls[week]
        if without is not None and self.options.week[without] == week:
            hours += self.options.hours[without]
            calls += self.options.calls_in[without]
        return bool(self.options.hours[row] <= hours + TOLERANCE and self.options.calls_in[row] <= calls)

    def _take_out(self, unit: int) -> None:
        row = self.row.pop(unit)
        week = int(self.options.week[row])
        self.left[week] += self.options.hours[row]
        self.calls[week] += self.options.calls_in[row]
        self.in_week[week].discard(unit)

    def _put(self, unit: int, row: int) -> None:
        week = int(self.options.week[row])
        self.row[unit] = row
        self.left[week] -= self.options.hours[row]
        self.calls[week] -= self.options.calls_in[row]
        self.in_week[week].add(unit)

    def settle(self, unit: int) -> bool:
        """Give `unit` a better place if there is one; True when something changed."""
        cost = self.options.cost
        own = self.row.get(unit)
        now = cost[own] if own is not None else 0.0
        for row in self.rows[unit]:
            if cost[row] >= now - TOLERANCE:
                return False
            if self._fits(int(row), own):
                if own is not None:
                    self._take_out(unit)
                self._put(unit, int(row))
                return True
            if own is None and self._push_out(unit, int(row)):
                return True
        return False

    def _push_out(self, unit: int, row: int) -> bool:
        """Take the place of a vehicle of that week that loses less by it, moving it elsewhere if that can be."""
        cost = self.options.cost
        for other in list(self.in_week[int(self.options.week[row])]):
            held = self.row[other]
            if not self._fits(row, held):
                continue
            self._take_out(other)
            self._put(unit, row)
            refuge = next((int(r) for r in self.rows[other] if cost[r] < 0 and self._fits(int(r))), None)
            if cost[row] + (cost[refuge] if refuge is not None else 0.0) < cost[held] - TOLERANCE:
                if refuge is not None:
                    self._put(other, refuge)
                return True
            self._take_out(unit)
            self._put(other, held)
        return False
