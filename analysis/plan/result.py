"""The plan as a result: its tables, and the plain values that are stored and read again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pandas as pd

DATES = (
    "visit_on", "order_by", "needed_on", "week_start", "done_on", "act_by", "part_on", "leaves_on", "told_on", "soonest_on",
)  # fmt: skip
LISTS = ("parts", "actions", "units", "beside")
COUNTS = ("sequence", "quantity", "visits")
FLAGS = ("in_service",)
TEXTS = (
    "unit", "depot", "iso_week", "kind", "state", "uid", "job", "why", "best_week", "reason", "part", "policy",
    "decision", "decided_on", "decided_until", "decided_why", "found", "measurement",
)  # fmt: skip


@dataclass(frozen=True)
class Note:
    """Something to know about a plan: its key, and the names and figures of its sentence in `dashboard/words/plan_notes.py`."""

    key: str
    figures: tuple[tuple[str, Any], ...]


def note(key: str, **figures: Any) -> Note:
    return Note(key, tuple(figures.items()))


@dataclass(frozen=True)
class ReplacementPlan:
    """A plan as it is shown, stored and exported; columns of the frames are listed in FRAMES.

    visits: those to come; done: those of its weeks that were reported as done; notes: as keys with their figures until words are
    found for them, as sentences in a plan that is shown or stored.
    """

    as_of: pd.Timestamp
    weeks: int
    settings: Mapping[str, Any]
    notes: tuple[Note | str, ...]
    visits: pd.DataFrame
    cancelled: pd.DataFrame
    left_out: pd.DataFrame
    orders: pd.DataFrame
    hours: pd.DataFrame
    policies: pd.DataFrame
    done: pd.DataFrame
    summary: Mapping[str, Any]
    act_by_missed: pd.DataFrame
    version: int = 0

    def to_body(self) -> dict[str, Any]:
        """Plain values for JSON; :meth:`from_body` reads them again."""
        out: dict[str, Any] = {
            "as_of": self.as_of.date().isoformat(),
            "weeks": self.weeks,
            "version": self.version,
            "summary": dict(self.summary),
            "notes": list(self.notes),
        }
        for name in FRAMES:
            out[name] = [_plain(row) for row in getattr(self, name).to_dict("records")]
        out["settings"] = dict(self.settings)
        return out

    @staticmethod
    def from_body(body: Mapping[str, Any]) -> ReplacementPlan:
        """The plan that :meth:`to_body` wrote."""
        frames = {name: frame_of(body.get(name, []), FRAMES[name]) for name in FRAMES}
        return ReplacementPlan(
            pd.Timestamp(body["as_of"]), int(body["weeks"]), body["settings"], tuple(body["notes"]),
            summary=body["summary"], version=int(body["version"]), **frames,
        )  # fmt: skip


FRAMES: Mapping[str, tuple[str, ...]] = {
    "visits": (
        "unit", "depot", "iso_week", "visit_on", "in_service", "kind", "parts", "actions", "hours", "cost_now",
        "cost_waiting", "saving", "cost_parts", "cost_labour", "cost_access", "cost_failing_before", "cost_life",
        "cost_after", "probability_before", "probability_waiting", "no_starts_avoided", "state", "uid", "sequence",
        "job", "why", "decision", "decided_on", "decided_until", "decided_why", "measurement",
        "leaves_on", "beside",
    ),
    "cancelled": ("unit", "depot", "visit_on", "uid", "sequence", "job"),
    "left_out": (
        "unit", "depot", "kind", "parts", "best_week", "saving", "risk", "cost_at_risk", "reason", "job", "why",
        "decision", "decided_on", "decided_until", "decided_why", "measurement", "leaves_on", "beside",
    ),
    "orders": ("part", "quantity", "order_by", "needed_on", "units", "price_each", "price", "lead_days", "told_on"),
    "hours": ("depot", "iso_week", "week_start", "hours", "booked", "visits", "hour_price"),
    "policies": ("policy", "cost", "no_starts", "visits", "hours", "cost_visits", "cost_no_starts", "cost_after"),
    "done": ("unit", "depot", "iso_week", "visit_on", "done_on", "part", "found", "hours", "job", "uid", "sequence"),
    "act_by_missed": (
        "unit", "depot", "act_by", "visit_on", "reason", "part_on", "costs_more", "why", "leaves_on", "risk", "soonest_on", "risk_before",
    ),
}  # fmt: skip


def rows_of(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """The rows of a frame as mappings from column to value."""
    return [{str(key): value for key, value in row.items()} for row in frame.to_dict("records")]


def _plain(row: Mapping[Any, Any]) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for key, value in row.items():
        if value is pd.NaT:
            out[str(key)] = None
        elif isinstance(value, pd.Timestamp):
            out[str(key)] = value.date().isoformat()
        elif isinstance(value, np.generic):
            out[str(key)] = value.item()
        else:
            out[str(key)] = value
    return out


def _missing(name: str) -> object:
    """What stands in a column that an older version of the plan did not have."""
    if name in LISTS:
        return []
    return "" if name in TEXTS else pd.NaT if name in DATES else 0


def frame_of(rows: list[dict[str, Any]], columns: tuple[str, ...]) -> pd.DataFrame:
    """A frame of the plan with the types of its columns, also without any row."""
    return _typed(rows, columns) if rows else _without_rows(columns).copy()


@cache
def _without_rows(columns: tuple[str, ...]) -> pd.DataFrame:
    return _typed([], columns)


def _typed(rows: list[dict[str, Any]], columns: tuple[str, ...]) -> pd.DataFrame:
    out: dict[str, Any] = {}
    for name in columns:
        values = [row.get(name, _missing(name)) for row in rows]
        if name in DATES:
            out[name] = pd.DatetimeIndex(pd.to_datetime(np.asarray(values, dtype=object))).as_unit("us")
        elif name in TEXTS:
            out[name] = pd.array(values, dtype="str")
        elif name in LISTS:
            out[name] = pd.Series(values, dtype="object")
        else:
            out[name] = np.array(values, dtype="int64" if name in COUNTS else "bool" if name in FLAGS else "float64")
    return pd.DataFrame(out, columns=list(columns))
