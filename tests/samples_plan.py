"""Made-up assessments and tables for the tests of the plan: risks that rise as they do before a winter."""

from __future__ import annotations

from collections.abc import Mapping
from collections.abc import Set as AbstractSet
from typing import Final

import numpy as np
import pandas as pd

from analysis.bay.next_measurement import Candidate, next_measurements
from analysis.costs import DEFAULT_NO_START, PlanSettings
from analysis.plan.replacement_plan import PlanInputs

AS_OF = pd.Timestamp("2026-11-23")  # a Monday
PARTS = (
    "battery", "positive_cable", "ground_path", "solenoid_contacts", "starter_motor", "control_circuit", "engine_drag",
)  # fmt: skip
WEEKS = 26
COSTS: Final = PlanSettings()


def catalogue() -> pd.DataFrame:
    """A full parts table."""
    return pd.DataFrame({
        "part": pd.Series(PARTS, dtype="str"),
        "price": [210.0, 65.0, 35.0, 85.0, 420.0, 45.0, 160.0],
        "labour_h": [0.8, 1.2, 1.0, 1.8, 2.5, 1.5, 4.0],
        "lead_days": [2.0, 5.0, 4.0, 6.0, 7.0, 3.0, 4.0],
    })  # fmt: skip


def dates(values: list[pd.Timestamp]) -> pd.Series:
    """Dates in the contract's dtype."""
    return pd.Series(pd.to_datetime(pd.Series(values, dtype="object"))).astype("datetime64[us]")


def make_inputs(
    *,
    fleet: int = 40,
    at_risk: int = 8,
    depots: int = 2,
    hours: float = 8.0,
    seed: int = 1,
    services: bool = True,
    parts: tuple[str, ...] = PARTS,
) -> PlanInputs:
    """A fleet of which the first `at_risk` vehicles have a part that grows worse; Weibull curves of random scale."""
    rng = np.random.default_rng(seed)
    names = [f"V-{i:04d}" for i in range(fleet)]
    where = [f"depot{i % depots}" for i in range(fleet)]
    volts = rng.choice([12, 24], fleet)
    units = pd.DataFrame({
        "unit": pd.Series(names, dtype="str"), "vehicle_class": pd.Series(["van"] * fleet, dtype="str"),
        "system_v": volts, "depot": pd.Series(where, dtype="str"),
        "in_service": dates([AS_OF - pd.Timedelta(days=int(d)) for d in rng.integers(400, 2500, fleet)]),
    })  # fmt: skip
    suspect = [parts[i] for i in rng.integers(0, len(parts), at_risk)]
    scale = rng.uniform(3, 60, at_risk)
    share = rng.uniform(0.6, 1.0, at_risk)
    week = np.arange(1, WEEKS + 1)
    risk = 0.98 * (1.0 - np.exp(-((week / scale[:, None]) ** 1.5)))
    outlook = pd.DataFrame({
        "unit": pd.Series(np.repeat(names[:at_risk], WEEKS), dtype="str"),
        "part": pd.Series(np.repeat(suspect, WEEKS), dtype="str"), "week": np.tile(week - 1, at_risk),
        "week_start": [AS_OF + pd.Timedelta(days=7 * int(w)) for w in np.tile(week - 1, at_risk)],
        "probability": risk.ravel(), "probability_low": 0.6 * risk.ravel(),
        "probability_high": np.minimum(1.3 * risk.ravel(), 1.0),
        "probability_renewed": ((1 - share)[:, None] * risk).ravel(),
    })  # fmt: skip
    judged = units.assign(
        flagged=np.arange(fleet) < at_risk // 2, part=suspect + [""] * (fleet - at_risk),
        part_probability=np.concatenate([share, np.zeros(fleet - at_risk)]), flag_probability=0.5, status="judged",
        failed_starts=0, failure_unexplained=0.0, repaired_probability=0.0, renewed_on=pd.NaT,
    )  # fmt: skip
    chance = np.where(np.array(PARTS)[None] == np.array(suspect)[:, None], share[:, None], (1 - share)[:, None] / 6)
    table = pd.DataFrame({
        "unit": np.repeat(names[:at_risk], len(PARTS)), "part": PARTS * at_risk, "part_probability": chance.ravel(),
        "worn_probability": chance.ravel(), "last_slip": 0.0, "readings": 5,
    })  # fmt: skip
    due = [(n, AS_OF + pd.Timedelta(days=int(d))) for n in names for d in rng.integers(0, 180, 3)] if services else []
    return PlanInputs(
        outlook=outlook, units=judged, parts=table, catalogue=catalogue(), fleet=units,
        services=services_of(due),
        workshops=pd.DataFrame({"depot": [f"depot{i}" for i in range(depots)], "hours_per_week": [hours] * depots}),
        repairs=no_repairs(),
    )  # fmt: skip


def services_of(due: list[tuple[str, pd.Timestamp]]) -> pd.DataFrame:
    """A services table."""
    return pd.DataFrame({"unit": pd.Series([d[0] for d in due], dtype="str"), "due_on": dates([d[1] for d in due])})


def no_repairs() -> pd.DataFrame:
    """An empty repairs table."""
    texts = {name: pd.Series([], dtype="str") for name in ("unit", "part", "action", "reason")}
    return pd.DataFrame({**texts, "done_on": pd.Series([], dtype="datetime64[us]")})


def pins(*rows: tuple[str, str, str]) -> pd.DataFrame:
    """Pins: unit, kind, week."""
    return pd.DataFrame(list(rows), columns=["unit", "kind", "week"])


def measured_next(
    shares: Mapping[str, float],
    *,
    risk: float = 0.5,
    slip: float = 0.0,
    discharged: float = 1.0,
    measured: AbstractSet[str] = frozenset(),
    no_start_cost: float = DEFAULT_NO_START["light"].total,
) -> Candidate | None:
    """What to measure next on one vehicle; shares: part -> probability that it is what limits the start."""
    return next_measurements(
        np.array([[shares.get(part, 0.0) for part in PARTS]]), no_start_probability=np.array([risk]),
        last_slip=np.array([slip]), discharged=np.array([discharged]), measured=[measured], settings=COSTS,
        no_start_cost=np.array([no_start_cost]),
    )[0]  # fmt: skip
