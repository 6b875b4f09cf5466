"""The invented fleet as files: what is written is what was simulated."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from demo_fleet.export import export_fleet, export_truth
from demo_fleet.simulate import Fleet, simulate_fleet
from demo_fleet.specs import FleetSpec


@pytest.fixture(scope="module")
def fleet() -> Fleet:
    return simulate_fleet(FleetSpec(91, units=40, years=1.5))


def read(path: Path) -> pd.DataFrame:
    return pd.read_csv(path)


def test_plain_files_hold_the_tables_unchanged(fleet: Fleet, tmp_path: Path) -> None:
    """Every table comes back with the same columns, rows and values; readings last."""
    written = export_fleet(fleet, tmp_path / "new" / "folder")
    names = [p.name for p in written]
    assert names[0] == "units.csv"
    assert names[-1] == "readings.csv"
    assert set(names) == {
        "units.csv", "climate.csv", "repairs.csv", "services.csv", "workshops.csv", "parts.csv", "forecast.csv", "lows.csv",
        "readings.csv",
    }  # fmt: skip
    dates = {
        "units": ["in_service"],
        "repairs": ["done_on"],
        "services": ["due_on"],
        "forecast": ["date"],
        "lows": ["date"],
    }
    for path in written:
        table: pd.DataFrame = getattr(fleet, path.stem)
        back = pd.read_csv(
            path, parse_dates=[*dates.get(path.stem, []), *(["taken_at"] if "readings" in path.stem else [])]
        )
        pd.testing.assert_frame_equal(back, table.reset_index(drop=True), check_dtype=False)


def test_dates_and_times_are_written_as_iso_8601(fleet: Fleet, tmp_path: Path) -> None:
    """2021-06-06T07:56:00 for readings, 2021-06-06 for days, whole odometers."""
    export_fleet(fleet, tmp_path)
    readings, repairs = read(tmp_path / "readings.csv"), read(tmp_path / "repairs.csv")
    assert readings.taken_at.str.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d").all()
    assert repairs.done_on.str.fullmatch(r"\d{4}-\d\d-\d\d").all()
    assert readings.odometer_km.dtype == np.int64


@pytest.mark.parametrize("split", ["depot", "year"])
def test_split_files_hold_every_reading_once(fleet: Fleet, tmp_path: Path, split: str) -> None:
    """Conservation: the parts add up to the whole, none twice."""
    parts = [read(p) for p in export_fleet(fleet, tmp_path, split=split) if p.stem.startswith("readings")]
    assert len(parts) == 2
    together = pd.concat(parts)[["unit", "taken_at"]]
    assert len(together) == len(fleet.readings)
    assert not together.duplicated().any()


def test_a_depot_with_its_own_habits_writes_the_same_readings_in_other_units(fleet: Fleet, tmp_path: Path) -> None:
    """Back from °F, miles, mV, semicolons and decimal commas by hand: equal to rounding (0.006 K, 0.1 km, 0.1 mV)."""
    paths = {p.name: p for p in export_fleet(fleet, tmp_path, own_habits="lower")}
    own = pd.read_csv(paths["readings_lower.csv"], sep=";", decimal=",", encoding="utf-8-sig")
    assert (tmp_path / "readings_lower.csv").read_bytes()[:3] == b"\xef\xbb\xbf"
    depot = fleet.readings.unit.map(fleet.units.set_index("unit").depot)
    true = fleet.readings[depot == "lower"].reset_index(drop=True)
    assert len(own) + len(read(paths["readings.csv"])) == len(fleet.readings)
    np.testing.assert_allclose((own.temperature_f - 32) / 1.8, true.temperature_c, atol=0.006)
    np.testing.assert_allclose(own.odometer_mi * 1.609344, true.odometer_km, atol=0.1)
    np.testing.assert_allclose(own.drop_ground_mv / 1000, true.drop_ground_v, atol=1e-4)
    np.testing.assert_allclose(own.rest_v, true.rest_v)


def test_hours_can_be_written_week_by_week(fleet: Fleet, tmp_path: Path) -> None:
    """With weekly_hours the file has a row per depot and week."""
    export_fleet(fleet, tmp_path, weekly_hours=True)
    weeks = read(tmp_path / "workshops.csv")
    assert list(weeks.columns) == ["depot", "week_from", "hours_per_week"]
    assert len(weeks) == 26 * fleet.units.depot.nunique()


def test_truth_is_written_apart(fleet: Fleet, tmp_path: Path) -> None:
    """truth.csv and severity.csv come only when asked for, with the columns that a scorer reads."""
    export_fleet(fleet, tmp_path / "files")
    assert not (tmp_path / "files" / "truth.csv").exists()
    export_truth(fleet, tmp_path / "truth")
    truth = pd.read_csv(tmp_path / "truth" / "truth.csv", parse_dates=["date"])
    pd.testing.assert_frame_equal(truth, fleet.truth, check_dtype=False)
    severity = pd.read_csv(tmp_path / "truth" / "severity.csv", index_col=0, parse_dates=True)
    assert list(severity.columns) == list(fleet.units.unit)
    np.testing.assert_allclose(severity.to_numpy(), fleet.severity.to_numpy())


def test_bad_calls_are_refused_before_anything_is_written(fleet: Fleet, tmp_path: Path) -> None:
    """ValueError with the argument, its value and what is allowed; the folder is not made."""
    with pytest.raises(ValueError, match="split is 'week'; allowed: none, depot, year"):
        export_fleet(fleet, tmp_path / "a", split="week")
    with pytest.raises(ValueError, match="own_habits is 'moon'; allowed: lower, upper"):
        export_fleet(fleet, tmp_path / "a", own_habits="moon")
    assert not (tmp_path / "a").exists()
