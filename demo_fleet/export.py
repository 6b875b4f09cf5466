"""Writing a fleet as the files a user would have: plain CSV, one depot's in a format of its own."""

from pathlib import Path

import numpy as np
import pandas as pd

from demo_fleet.simulate import Fleet

KM_PER_MILE = 1.609344
"""Exact by definition."""
MILLIVOLT_COLUMNS = ("drop_positive_v", "drop_ground_v", "drop_contacts_v", "drop_control_v")
SPLITS = ("none", "depot", "year")


def export_fleet(
    fleet: Fleet, folder: Path, *, split: str = "none", own_habits: str | None = None, weekly_hours: bool = False
) -> list[Path]:
    """Write the fleet's tables into `folder` (made if absent) and return the files in the order to import them.

    `split` puts readings into one file per depot or year ("none", "depot", "year"); `own_habits` names a depot
    whose readings come in a file of another format: semicolons, decimal commas, °F, mV and miles;
    `weekly_hours` writes workshop hours week by week, with holidays as zero.

    Raises ValueError for an unknown split or depot. Truth and severity are not written: `export_truth` does that.
    """
    depots = list(fleet.units["depot"].unique())
    if split not in SPLITS:
        raise ValueError(f"split is {split!r}; allowed: {', '.join(SPLITS)}")
    if own_habits is not None and own_habits not in depots:
        raise ValueError(f"own_habits is {own_habits!r}; allowed: {', '.join(sorted(depots))}")
    folder.mkdir(parents=True, exist_ok=True)
    tables = {
        "units": fleet.units, "climate": fleet.climate, "repairs": fleet.repairs, "services": fleet.services,
        "workshops": fleet.workshop_weeks if weekly_hours else fleet.workshops, "parts": fleet.parts,
        "forecast": fleet.forecast, "lows": fleet.lows,
    }  # fmt: skip
    written = [_write(_dates_as_text(table), folder / f"{name}.csv") for name, table in tables.items()]
    return written + _write_readings(fleet, folder, split=split, own_habits=own_habits)


def export_truth(fleet: Fleet, folder: Path) -> list[Path]:
    """Write truth.csv and severity.csv, for scoring only."""
    folder.mkdir(parents=True, exist_ok=True)
    severity = folder / "severity.csv"
    fleet.severity.to_csv(severity, date_format="%Y-%m-%d")
    return [_write(_dates_as_text(fleet.truth), folder / "truth.csv"), severity]


def _write_readings(fleet: Fleet, folder: Path, *, split: str, own_habits: str | None) -> list[Path]:
    readings = fleet.readings
    depot = readings["unit"].map(fleet.units.set_index("unit")["depot"])
    written = []
    if own_habits is not None:
        own = readings[depot == own_habits]
        path = folder / f"readings_{own_habits}.csv"
        own_format(own).to_csv(path, index=False, sep=";", decimal=",", encoding="utf-8-sig")
        written.append(path)
        readings, depot = readings[depot != own_habits], depot[depot != own_habits]
    key = {"none": pd.Series("", index=readings.index), "depot": depot, "year": readings["taken_at"].dt.year}[split]
    for name, part in readings.groupby(key, sort=True):
        stem = f"readings_{name}" if split != "none" else "readings"
        written.append(_write(_dates_as_text(part), folder / f"{stem}.csv"))
    return written


def own_format(readings: pd.DataFrame) -> pd.DataFrame:
    """The same readings with units in the column names: temperature_f, odometer_mi and drops in mV."""
    table = readings.copy()
    table["temperature_f"] = np.round(table.pop("temperature_c") * 9 / 5 + 32, 2)
    table["odometer_mi"] = np.round(table.pop("odometer_km") / KM_PER_MILE, 1)
    for name in MILLIVOLT_COLUMNS:
        table[name.removesuffix("_v") + "_mv"] = np.round(table.pop(name) * 1000, 1)
    table["taken_at"] = table["taken_at"].dt.strftime("%Y-%m-%dT%H:%M:%S")
    return table


def _dates_as_text(table: pd.DataFrame) -> pd.DataFrame:
    """Dates as 2026-01-31, times as 2026-01-31T07:45:00, odometers as whole numbers."""
    text = table.copy()
    for name in text.columns:
        if str(text[name].dtype).startswith("datetime64"):
            text[name] = text[name].dt.strftime("%Y-%m-%dT%H:%M:%S" if name == "taken_at" else "%Y-%m-%d")
    if "odometer_km" in text:
        text["odometer_km"] = text["odometer_km"].round().astype("int64")
    return text


def _write(table: pd.DataFrame, path: Path) -> Path:
    table.to_csv(path, index=False)
    return path
