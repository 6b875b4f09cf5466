"""Small fleets at the edges of what a workshop may bring, for properties that have to hold for any fleet."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.readings.panel import MEASURED, FleetTables

AS_OF = pd.Timestamp("2025-12-01")
KINDS = ("one channel", "constant", "one moment", "hours old", "wild", "usual", "5,000 readings", "outcomes")
USUAL = {
    "rest_v": 12.6, "crank_min_v": 11.4, "crank_a": 180.0, "peak_a": 550.0, "drop_positive_v": 0.11, "drop_ground_v": 0.08,
    "drop_contacts_v": 0.12, "drop_control_v": 0.7, "coil_a": 8.0, "crank_rpm": 190.0,
}  # fmt: skip
WORDS = ("unit", "outcome", "jumper_start", "technician", "instrument", "note", "doubtful", "confirmed")
COLUMNS = ("unit", "taken_at", "odometer_km", *MEASURED, "outcome", "technician", "doubtful", "confirmed")


def odd_fleet(kind: str, seed: int) -> FleetTables:
    """One to six vehicles of two classes with up to 24 readings each, of a kind of KINDS; always the same for a seed."""
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    count = int(rng.integers(1, 7))
    units = pd.DataFrame(
        {
            "unit": [f"U{i}" for i in range(count)],
            "vehicle_class": [f"class {k}" for k in rng.integers(0, 2, count)],
            "system_v": 12, "fuel": "diesel", "cylinders": 4.0, "rated_cca_a": np.nan, "depot": "d", "in_service": pd.NaT,
        }
    )  # fmt: skip
    rows = [row for i in range(count) for row in _readings(rng, kind, f"U{i}", first=i == 0)]
    frame = pd.DataFrame(rows or [{"unit": "U0", "taken_at": AS_OF - pd.Timedelta(days=9)}]).reindex(columns=COLUMNS)
    for name in COLUMNS:
        if name in WORDS:
            frame[name] = frame[name].astype(object).where(frame[name].notna(), "").astype("str")
        elif name != "taken_at":
            frame[name] = frame[name].astype(np.float64)
    frame["taken_at"] = pd.to_datetime(frame["taken_at"]).astype("datetime64[us]")
    frame = frame.sort_values("taken_at", kind="stable", ignore_index=True)
    return FleetTables(units, frame, _empty_repairs(), _climate(known=rng.random() < 0.8), _empty_forecast())


def _readings(rng: np.random.Generator, kind: str, unit: str, *, first: bool) -> list[dict[str, object]]:
    count = 5000 if kind == "5,000 readings" and first else int(rng.integers(0, 25))
    channels = list(USUAL)
    if kind == "one channel":
        channels = [str(rng.choice(channels)) for _ in range(int(rng.integers(1, 4)))]
    scale = dict(zip(USUAL, np.exp(rng.normal(0.0, 0.25, len(USUAL))), strict=True))
    growing = rng.random() < 0.3
    rows: list[dict[str, object]] = []
    for _ in range(count):
        day = float(rng.uniform(0.0, 700.0))
        at = AS_OF - pd.Timedelta(days=701.0 - day)
        at = AS_OF - pd.Timedelta(days=10) if kind == "one moment" else at
        at = AS_OF - pd.Timedelta(hours=float(rng.uniform(3.0, 20.0))) if kind == "hours old" else at
        row: dict[str, object] = {"unit": unit, "taken_at": at}
        row["temperature_c"] = 15.0 if kind == "constant" else float(rng.normal(10.0, 8.0))
        for name in channels:
            value = USUAL[name]
            if kind != "constant":
                value *= np.exp(rng.normal(0.0, 0.15 if kind == "wild" else 0.03))
                value *= scale[name] if name.startswith("drop") else 1.0
            if growing and name == "drop_positive_v":
                value *= 1.0 + day / 100.0
            if kind == "wild" and rng.random() < 0.1:
                value *= rng.choice([0.1, 10.0, 0.5, 2.0])
            row[name] = round(float(value), 3)
        if kind == "outcomes" and rng.random() < 0.5:
            row["outcome"] = str(rng.choice(["started", "slow", "no_start", "click", "chatter", "cranks_only"]))
        rows.append(row)
    return rows


def _climate(*, known: bool) -> pd.DataFrame:
    lows = [-6.0, -5.0, -1.0, 3.0, 7.0, 10.0, 12.0, 12.0, 9.0, 5.0, 0.0, -4.0]
    frame = pd.DataFrame({"depot": "d", "month": np.arange(1, 13), "low_c": lows, "low_sd_c": 4.0})
    return frame if known else frame.iloc[:0]


def _empty_repairs() -> pd.DataFrame:
    names = ("unit", "part", "action", "reason")
    days = pd.Series([], dtype="datetime64[us]")
    return pd.DataFrame({"done_on": days, **{n: pd.Series([], dtype="str") for n in names}})


def _empty_forecast() -> pd.DataFrame:
    days = pd.Series([], dtype="datetime64[us]")
    return pd.DataFrame({"depot": pd.Series([], dtype="str"), "date": days, "low_c": pd.Series([], dtype=np.float64)})
