"""The suspect part's course in a few numbers, for a small picture on every card of the list; kept with the list.

The same paths, readings and limits as `course`, for many vehicles at a time.
"""

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from analysis.circuit.limit_book import LimitBook
from analysis.constants import Z_80
from analysis.readings.observe import CHANNELS
from analysis.wear.paths import mean_value
from analysis.worklist.assess import Assessment
from analysis.worklist.course import LIMIT_OF, failing_levels, position, printed_limit, with_bounds
from analysis.worklist.part import PART_CHANNEL

AHEAD_D: Final = (-364.0, -273.0, -182.0, -91.0, 0.0, 45.0, 91.0)
"""Days from the list's day at which the path is kept: a year back and a quarter ahead, as much as a card shows."""
MOST_READINGS: Final = 8  # of the latest that are kept: more than a card shows apart
PRINTED, FAILS = "printed", "fails"


def short_courses(
    assessment: Assessment, suspects: Sequence[tuple[str, str]], book: LimitBook | None = None
) -> dict[str, dict[str, Any]]:
    """Vehicle -> course of its suspect part, of plain numbers, rounded to six figures.

    :param suspects: vehicle and part of each; ValueError for a vehicle that was not assessed
    :returns: `unit` (mΩ or A at 20 °C), `usual`, `limit` and `limit_is` (printed, or fails: no start from there on at the coming low
        `limit_at_c`; `limit` None where there is no such level, `others_fail` where it would not start with the part renewed
        either), `readings` ([days from the list's day, value, 1 for an upper bound's least value]), `path` ([days, value, low,
        high], 80 % sure)
    """
    by_part: dict[str, list[str]] = defaultdict(list)
    for unit, part in suspects:
        by_part[part].append(unit)
    found: dict[str, dict[str, Any]] = {}
    for part, units in by_part.items():
        found |= _of_part(assessment, part, units, book or LimitBook())
    return found


def _of_part(assessment: Assessment, part: str, units: list[str], book: LimitBook) -> dict[str, dict[str, Any]]:
    """The courses of one part of many vehicles: one posterior, a value for all of them at every day."""
    state, c = assessment.state, PART_CHANNEL[part]
    rows = np.array([position(assessment, unit) for unit in units])
    own = state.channels[c].posterior(rows)
    levels = [mean_value(own, state.grid, ahead) for ahead in AHEAD_D]
    fails = None if c in LIMIT_OF else failing_levels(assessment, rows, c)
    found = {}
    for i, (unit, u) in enumerate(zip(units, rows.tolist(), strict=True)):
        usual = float(state.laws.base[state.group[u], c])
        readings = _readings(assessment, u, c, usual)
        first = min((days for days, _, _ in readings), default=0.0)
        path = [
            [ahead, *(_short(v * usual) for v in (mean[i], max(0.0, mean[i] - Z_80 * sd[i]), mean[i] + Z_80 * sd[i]))]
            for ahead, (mean, sd) in zip(AHEAD_D, levels, strict=True)
            if ahead >= min(first, 0.0)
        ]
        limit = _printed(assessment, u, c, book) if fails is None else float(fails[0][i]) * usual
        kept: dict[str, Any] = {"limit": _short(limit) if math.isfinite(limit) else None, "limit_is": PRINTED}
        if fails is not None:
            kept |= {"limit_is": FAILS, "limit_at_c": float(fails[1][i]), "others_fail": bool(fails[2][i])}
        found[unit] = {"part": part, "unit": "A" if CHANNELS[c] == "load" else "mΩ", "usual": _short(usual),
                       **kept, "readings": readings, "path": path}  # fmt: skip
    return found


def _readings(assessment: Assessment, u: int, c: int, usual: float) -> list[list[float]]:
    state = assessment.state
    value, bound = with_bounds(state, u, c)
    keep = np.flatnonzero(np.isfinite(value) & state.panel.present[u] & state.usable[c, u])[-MOST_READINGS:]
    return [
        [round(float(state.panel.day[u, k] - state.day), 1), _short(value[k] * usual), float(bound[k])] for k in keep
    ]


def _printed(assessment: Assessment, u: int, c: int, book: LimitBook) -> float:
    """The printed limit at the class's usual amps."""
    state = assessment.state
    row: Mapping[Any, Any] = state.panel.units.iloc[u].to_dict()
    limits = book.for_group(str(row["vehicle_class"]), int(row["system_v"]), str(row.get("fuel", "diesel")), None)
    limit = getattr(limits, LIMIT_OF[c][0]).value
    return printed_limit(state.laws, int(state.group[u]), c, limit, float(limits.system_v))


def _short(value: float) -> float:
    """Six figures: so many more than are said that what is rounded again reads as on the list, and little to keep."""
    return float(f"{float(value):.6g}")
