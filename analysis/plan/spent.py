"""What the work of visits is expected to cost."""

from dataclasses import dataclass

import numpy as np

from analysis.costs import PlanSettings
from analysis.plan.candidates import Candidates, between
from analysis.plan.visit_costs import CHEAP_FIRST, REPLACE, REPLACE_TWO, CostTable, Options
from analysis.readings.panel import Floats


@dataclass(frozen=True)
class Work:
    """Expected money (N,) of visits: parts used, hours worked, vehicles called in. A vehicle that fails before its visit
    is repaired as one that failed, and has none of them."""

    parts: Floats
    labour: Floats
    access: Floats

    @property
    def total(self) -> Floats:
        """All three (N,)."""
        return self.parts + self.labour + self.access


def work_of(c: Candidates, table: CostTable, rows: Options, settings: PlanSettings) -> Work:
    """What the work of the visits `rows` is expected to cost.

    A cheap act that is followed by the replacement only where it is in vain uses the part, and its hours, that often.
    """
    u, kind = rows.unit, rows.kind
    alive = 1.0 - between(c.risk[u], rows.day[:, None] / 7.0)[:, 0]
    vain = 1.0 - c.cheap_success[u]
    one, first = c.part_cost[u], kind == CHEAP_FIRST
    parts = np.select(
        [kind == REPLACE, kind == REPLACE_TWO, first], [one, one + c.second_cost[u], vain * one], default=0.0
    )
    hours = table.own_hours[kind, u] - np.where(first, (1.0 - vain) * c.part_h[u], 0.0)
    access = np.where(rows.calls_in, settings.access_cost, 0.0)
    return Work(alive * parts, alive * hours * settings.hour_rate, alive * access)
