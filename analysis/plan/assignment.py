"""Who comes when: at most one visit per vehicle, under each depot's hours and vehicles down per week, at least cost.

Depots share nothing, so each is solved by itself (`scipy.optimize.milp`, HiGHS), two at a time. A lower bound is returned too, so that the
distance from the best possible plan is known, and the price of one more workshop hour in each week.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis.plan.visit_costs import Options
from analysis.readings.panel import Floats, Ints, in_chunks

if TYPE_CHECKING:  # loaded where a plan is made, not where it stands
    from scipy.sparse import csr_matrix

EXACT_OPTIONS = 1500
"""Depots with no more ways of acting than this are solved exactly, larger ones nearly (for speed: a few seconds)."""
GAP = {"exact": 2e-4, "nearly exact": 2e-3}
"""The solver may stop this close to the best."""
NODES = {"exact": 200, "nearly exact": 1}
"""The solver stops after so many branches with the best found; the gap says what that cost. Branches, not seconds,
so that a slow machine gets the same plan."""
LEAST_SAVING = 1e-3
"""Possible savings below this [money] are rounding in the solver."""
HOURS_TOLERANCE = 1e-6
"""Hours [h] by which rounding in the solver may exceed a limit before a visit is taken out again."""


@dataclass(frozen=True)
class Capacity:
    """hours: (D, W) hours of each depot and week [h]; visits: (D, W) most vehicles called in."""

    hours: Floats
    visits: Floats


@dataclass(frozen=True)
class Assignment:
    """chosen: rows of the options; cost: their sum; lower_bound: no assignment costs less; hour_price: (D, W) what one
    more hour would save [money/h]; method: (D,) a key of GAP; fixed: part of the cost that was not free to
    choose."""

    chosen: Ints
    cost: float
    lower_bound: float
    hour_price: Floats
    method: tuple[str, ...]
    fixed: float = 0.0

    @property
    def gap(self) -> float:
        """Share of the saving that is possible at most, among what is free to choose, that is missed; from 0 to 1."""
        possible = self.fixed - self.lower_bound
        return float(np.clip((self.cost - self.lower_bound) / possible, 0.0, 1.0)) if possible > LEAST_SAVING else 0.0


@dataclass(frozen=True)
class _Part:
    chosen: Ints
    bound: float
    price: Floats
    method: str


Solved = dict[bytes, _Part]
"""Depots that were solved already, by what was asked: pins at one depot change nothing at the others."""


def assign(options: Options, depot: Ints, capacity: Capacity, *, solved: Solved | None = None) -> Assignment:
    """Choose at most one way of acting per vehicle so that the sum of costs is least.

    options: sorted by unit; depot: (U,) depot of each vehicle; solved: taken where the same is asked, and added to. Raises
    ValueError when an option names a week that the capacity lacks.
    """
    depots, weeks = capacity.hours.shape
    if len(options) and int(options.week.max()) >= weeks:
        raise ValueError(f"options name week {int(options.week.max())}; allowed are 0 to {weeks - 1}")
    known = {} if solved is None else solved
    of_option = depot[options.unit] if len(options) else np.zeros(0, dtype=np.int64)
    rows = [np.flatnonzero(of_option == d) for d in range(depots)]
    parts = [_Part(np.zeros(0, dtype=np.int64), 0.0, np.zeros(weeks), "exact")] * depots

    def solve(some: slice) -> None:  # HiGHS lets go of the interpreter's lock
        for d in range(some.start, some.stop):
            own, hours, visits = options.of(rows[d]), capacity.hours[d], capacity.visits[d]
            asked = _asked(own, hours, visits)
            if asked not in known:
                known[asked] = _solve_depot(own, hours, visits)
            parts[d] = known[asked]

    in_chunks(depots, 1, solve)
    every = np.sort(np.concatenate([np.zeros(0, np.int64), *(r[p.chosen] for r, p in zip(rows, parts, strict=True))]))
    cost, bound = float(options.cost[every].sum()), float(sum(part.bound for part in parts))
    price = np.array([part.price for part in parts]).reshape(depots, weeks)
    return Assignment(every, cost, min(bound, cost), price, tuple(part.method for part in parts))


def _asked(options: Options, hours: Floats, visits: Floats) -> bytes:
    """A name for one depot's question: everything that its solution depends on."""
    named = hashlib.sha256()
    for column in (options.unit, options.week, options.hours, options.calls_in, options.cost, hours, visits):
        named.update(np.ascontiguousarray(column).tobytes() + b"|")
    return named.digest()


def _solve_depot(options: Options, hours: Floats, visits: Floats) -> _Part:
    if not len(options):
        return _Part(np.zeros(0, dtype=np.int64), 0.0, np.zeros(len(hours)), "exact")
    method = "exact" if len(options) <= EXACT_OPTIONS else "nearly exact"
    bound, price = relaxation(options, hours, visits)
    chosen, solver_bound = _best(options, hours, visits, method)
    return _Part(_within(options, chosen, hours, visits), max(bound, solver_bound), price, method)


def _constraints(options: Options, weeks: int) -> csr_matrix:
    """Rows: one per vehicle, hours per week, vehicles called in per week."""
    from scipy.sparse import csr_matrix, vstack

    n = len(options)
    column = np.arange(n)
    _, unit = np.unique(options.unit, return_inverse=True)
    one = csr_matrix((np.ones(n), (unit, column)), shape=(int(unit.max()) + 1, n))
    hours = csr_matrix((options.hours, (options.week, column)), shape=(weeks, n))
    calls = csr_matrix((options.calls_in.astype(np.float64), (options.week, column)), shape=(weeks, n))
    return csr_matrix(vstack([one, hours, calls]))


def _limits(matrix: csr_matrix, hours: Floats, visits: Floats) -> Floats:
    units = matrix.shape[0] - 2 * len(hours)
    return np.concatenate([np.ones(units), hours, visits])


def relaxation(options: Options, hours: Floats, visits: Floats) -> tuple[float, Floats]:
    """Lower bound and price of an hour per week (W,) from the linear relaxation (HiGHS); prices are its dual values."""
    from scipy.optimize import linprog

    matrix: Any = _constraints(options, len(hours))  # sparse, which the stubs of linprog do not know
    limits = _limits(matrix, hours, visits)
    found = linprog(options.cost, A_ub=matrix, b_ub=limits, bounds=(0.0, 1.0), method="highs")
    units = matrix.shape[0] - 2 * len(hours)
    price = -np.asarray(found.ineqlin.marginals)[units : units + len(hours)]
    bound = float(found.fun) if found.fun is not None else -np.inf
    return bound, np.maximum(price, 0.0)


def _best(options: Options, hours: Floats, visits: Floats, method: str) -> tuple[Ints, float]:
    """Best choice and the solver's own lower bound."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    matrix = _constraints(options, len(hours))
    found = milp(
        options.cost,
        integrality=np.ones(len(options), dtype=np.int64),
        bounds=Bounds(0.0, 1.0),
        constraints=LinearConstraint(matrix, -np.inf, _limits(matrix, hours, visits)),
        options={"mip_rel_gap": GAP[method], "node_limit": NODES[method]},
    )
    if found.x is None:
        return np.zeros(0, dtype=np.int64), -np.inf
    bound = float(found.mip_dual_bound) if found.mip_dual_bound is not None else -np.inf
    return np.flatnonzero(np.asarray(found.x) > 0.5).astype(np.int64), bound


def _within(options: Options, chosen: Ints, hours: Floats, visits: Floats) -> Ints:
    """Take out the least worthwhile visits of weeks that rounding in the solver overfilled."""
    keep: list[int] = []
    used, calls = np.zeros(len(hours)), np.zeros(len(hours))
    for row in chosen[np.argsort(options.cost[chosen], kind="stable")]:
        week = options.week[row]
        fits = used[week] + options.hours[row] <= hours[week] + HOURS_TOLERANCE
        if fits and calls[week] + options.calls_in[row] <= visits[week] + HOURS_TOLERANCE:
            keep.append(int(row))
            used[week] += options.hours[row]
            calls[week] += options.calls_in[row]
    return np.sort(np.array(keep, dtype=np.int64))


def reserve(options: Options, depot: Ints, capacity: Capacity, units: Ints) -> tuple[Ints, Capacity, tuple[int, ...]]:
    """Book the vehicles that must come (pinned, frozen from the last version, accepted) before all others.

    units: vehicles whose cheapest option is to be booked, in this order. Returns the rows booked, the capacity left, and
    the vehicles that did not fit even so.
    """
    hours, visits = capacity.hours.copy(), capacity.visits.copy()
    booked, refused = [], []
    for unit in units:
        rows = np.flatnonzero(options.unit == unit)
        done = False
        for row in rows[np.argsort(options.cost[rows], kind="stable")]:
            d, w = depot[unit], options.week[row]
            if d < 0 or options.hours[row] > hours[d, w] + HOURS_TOLERANCE or options.calls_in[row] > visits[d, w]:
                continue
            hours[d, w] -= options.hours[row]
            visits[d, w] -= options.calls_in[row]
            booked.append(int(row))
            done = True
            break
        if not done:
            refused.append(int(unit))
    return np.array(booked, dtype=np.int64), Capacity(np.maximum(hours, 0.0), visits), tuple(refused)
