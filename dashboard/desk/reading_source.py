"""From the tables to a reading taken apart: which earlier readings, which class, which limits."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import pandas as pd
from sqlite_utils import Database

from analysis.bay.against import NOTED
from analysis.bay.expected import ClassKnowledge, Expected, class_knowledge, expected_of_each
from analysis.bay.one_reading import ReadingCheck, check_one_reading, resistances_over_time
from analysis.bay.same_visit import measured_before
from analysis.bay.where_volts_go import WhereVoltsGo, where_volts_go
from analysis.bay.whose import (
    OWN,
    Vehicle,
    Whose,
    latest_values,
    looks_foreign,
    nearest_vehicles,
    odometer_at,
    whose_reading,
)
from analysis.circuit.limit_book import LimitBook
from analysis.circuit.limits import AGM, Limits, class_fuels
from analysis.readings.class_laws import fitting
from analysis.readings.panel import FleetTables, days_since_epoch, doubted, group_name, make_panel, without_slips
from dashboard.desk.taught_laws import taught_laws
from ingest import store
from ingest.fields import CIRCUIT_MEASUREMENTS, MEASUREMENTS, SAMPLED
from ingest.records import read_reset_answers

if TYPE_CHECKING:
    from analysis.worklist.assess import Assessment

CLASS_VEHICLES: Final = 400  # of one class that its laws are learned from outside an assessment, our choice


@dataclass(frozen=True)
class Taken:
    """A reading taken apart, when it was taken, the vehicle's latest readings as resistances at 20 °C, and the reading with
    what was expected of it."""

    taken_at: pd.Timestamp
    check: ReadingCheck
    over_time: pd.DataFrame
    reading: Mapping[str, Any]
    expected: Expected

    def volts(self, limits: Limits, *, coming_c: float | None = None) -> WhereVoltsGo:
        """Where the volts of the reading go, and would go on the coldest morning to be expected [°C]."""
        return where_volts_go(self.reading, self.check, self.expected, limits, coming_c=coming_c)


def class_name(unit: Mapping[Any, Any]) -> str:
    return group_name(unit["vehicle_class"], unit["system_v"])


def knowledge_of(assessment: Assessment, unit: Mapping[Any, Any]) -> ClassKnowledge:
    state = assessment.state
    return class_knowledge(state.panel, class_name(unit), state.laws, state.growth_laws)


def knowledge_from(
    db: Database, unit: Mapping[Any, Any], *, before: pd.Timestamp, units: pd.DataFrame | None = None
) -> ClassKnowledge:
    """What the readings of the vehicle's class before a moment tell of it, where no assessment is at hand.

    units: all vehicles, where they were read already.
    """
    units = store.read_units(db) if units is None else units
    alike = units[(units["vehicle_class"] == unit["vehicle_class"]) & (units["system_v"] == unit["system_v"])]
    own = alike["unit"] == unit["unit"]
    alike = pd.concat([alike[own], alike[~own].head(CLASS_VEHICLES - 1)])
    readings = store.read_readings(db, units=alike["unit"].tolist())
    earlier, taught = readings[readings["taken_at"] < before], taught_laws(db)
    panel = without_slips(make_panel(alike, earlier))
    if taught:  # as on the list: only what fits the readings here
        fits = tuple(one for one, fit in fitting(panel, taught) if fit)
        panel = without_slips(make_panel(alike, earlier, fits))
    return class_knowledge(panel, class_name(unit))


def expect(
    db: Database, unit: Mapping[Any, Any], readings: pd.DataFrame, known: ClassKnowledge, *, at: pd.Timestamp
) -> Expected:
    """What a vehicle should show at a moment, from its own readings and repairs before it."""
    (found,) = expect_each(db, [unit], readings, known, at=at).values()
    return found


def expect_each(
    db: Database,
    units: Sequence[Mapping[Any, Any]],
    readings: pd.DataFrame,
    known: ClassKnowledge,
    *,
    at: pd.Timestamp,
    repairs: pd.DataFrame | None = None,
    answers: pd.DataFrame | None = None,
) -> dict[str, Expected]:
    """The same of vehicles of one class, by name.

    repairs, answers: of all vehicles, where they were read already.
    """
    rows, empty = pd.DataFrame(units), pd.DataFrame()
    repairs = store.read_repairs(db) if repairs is None else repairs
    answers = read_reset_answers(db) if answers is None else answers
    tables = FleetTables(
        rows, readings[readings["unit"].isin(rows["unit"]) & (readings["taken_at"] < at)],
        repairs[repairs["unit"].isin(rows["unit"]) & (repairs["done_on"] <= at)], empty, empty,
        answers[answers["unit"].isin(rows["unit"])],
    )  # fmt: skip
    return expected_of_each(tables, float(days_since_epoch(pd.DatetimeIndex([at]))[0]), known)


def take_apart(
    db: Database,
    unit: Mapping[Any, Any],
    reading: Mapping[str, Any],
    readings: pd.DataFrame,
    expected: Expected,
    book: LimitBook,
) -> Taken:
    """One reading of a vehicle against what its readings before it make one expect."""
    at = pd.Timestamp(reading["taken_at"])
    reading = {**reading, "tester_load_ohm": load_of_tester(db, reading)}
    mine = readings[readings["unit"] == unit["unit"]]
    repaired_on = last_repair_on(db, str(unit["unit"]), at)
    before = measured_before(reading, mine, repaired_on=repaired_on)
    earlier = mine.loc[
        (mine["taken_at"] < at) & (True if repaired_on is None else mine["taken_at"].dt.normalize() > repaired_on),
        [name for name in (*NOTED, *CIRCUIT_MEASUREMENTS) if name in mine],
    ]
    check = check_one_reading(
        reading, {**unit, "fuel": burnt(unit)}, expected, limits_for(unit, book), book, before, earlier
    )
    latest = mine[mine["taken_at"] <= at].sort_values("taken_at").tail(LATEST)
    over_time = resistances_over_time(latest, expected, agm=unit.get("battery_type") == AGM)
    return Taken(at, check, over_time, reading, expected)


def last_repair_on(db: Database, unit: str, at: pd.Timestamp) -> pd.Timestamp | None:
    """Day of a vehicle's last repair up to a moment; None where there is none."""
    sql = "SELECT done_on FROM repairs WHERE unit = ? AND done_on <= ? ORDER BY done_on DESC LIMIT 1"
    return next((pd.Timestamp(row["done_on"]) for row in db.query(sql, [unit, f"{at:%Y-%m-%d}"])), None)


LOADED: Final = ("control_loaded_v", "coil_loaded_v", "coil_alone_v")


def load_of_tester(db: Database, reading: Mapping[str, Any]) -> float | None:
    """The load of the tester in a reading's loaded check [Ω]: as noted, else as it was last noted with that instrument."""
    noted = reading.get("tester_load_ohm")
    if noted not in (None, "") and not pd.isna(noted):
        return float(str(noted))
    instrument = str(reading.get("instrument") or "")
    if not instrument or all(reading.get(name) is None or pd.isna(reading.get(name)) for name in LOADED):
        return None
    found = db.query(
        "SELECT tester_load_ohm FROM readings WHERE instrument = ? AND tester_load_ohm IS NOT NULL AND taken_at <= ? "
        "ORDER BY taken_at DESC LIMIT 1",
        [instrument, f"{pd.Timestamp(reading['taken_at']):%Y-%m-%dT%H:%M:%S}"],
    )
    return next((float(row["tester_load_ohm"]) for row in found), None)


LATEST: Final = 6  # readings shown over time, our choice
CLASS_BURNS: Final = "class_burns"  # key of a vehicle's row, beside the columns of the units table


def burnt(unit: Mapping[Any, Any]) -> str:
    """What a vehicle burns; where nobody said, what its class does."""
    return str(unit["fuel"] or unit.get(CLASS_BURNS, ""))


def limits_for(unit: Mapping[Any, Any], book: LimitBook) -> Limits:
    """What a vehicle is held to; unit: its row, of :func:`row_of` where its class is to say what nobody said of it."""
    cylinders = None if pd.isna(unit["cylinders"]) else float(unit["cylinders"])
    return book.for_group(
        str(unit["vehicle_class"]),
        int(unit["system_v"]),
        burnt(unit),
        cylinders,
        str(unit.get("battery_type") or ""),
    )


def latest_taken(
    db: Database, unit: Mapping[Any, Any], readings: pd.DataFrame, known: ClassKnowledge, book: LimitBook
) -> Taken | None:
    """The latest of `readings` of a vehicle taken apart; None where it was never read."""
    mine = readings[readings["unit"] == unit["unit"]].sort_values("taken_at")
    if mine.empty:
        return None
    latest = {str(name): value for name, value in mine.iloc[-1].to_dict().items()}
    expected = expect(db, unit, mine, known, at=latest["taken_at"])
    return take_apart(db, unit, latest, mine, expected, book)


def unit_row(db: Database, unit: str) -> Mapping[Any, Any]:
    """A vehicle's row of the units table; ValueError for one that is not there."""
    return row_of(store.read_units(db), unit)


def row_of(units: pd.DataFrame, unit: str) -> Mapping[Any, Any]:
    """A vehicle's row; ValueError for one that is not there."""
    return rows_of(units, [unit])[0]


def rows_of(units: pd.DataFrame, names: Sequence[str]) -> list[dict[Any, Any]]:
    """Vehicles' rows in the order of the units table, of those of unknown fuel with what the class burns; ValueError for one that
    is not there."""
    found: list[dict[Any, Any]] = units[units["unit"].isin(names)].to_dict("records")
    if missing := set(names) - {row["unit"] for row in found}:
        raise ValueError(f"unit is {min(missing)!r}; allowed are the vehicles of the units table")
    if silent := [row for row in found if not row["fuel"]]:
        alike = units[units["vehicle_class"].isin({row["vehicle_class"] for row in silent})]
        fuels = class_fuels(map(group_name, alike["vehicle_class"], alike["system_v"]), alike["fuel"])
        for row in silent:
            row[CLASS_BURNS] = fuels.get(class_name(row), "")
    return found


class Record:
    """What is on record before a moment, where no assessment is at hand: every table read, every vehicle looked at once."""

    def __init__(self, db: Database, at: pd.Timestamp) -> None:
        self.db, self.at = db, at
        self.units, self._repairs, self._answers = store.read_units(db), store.read_repairs(db), read_reset_answers(db)
        self._classes: dict[str, ClassKnowledge] = {}
        self._vehicles: dict[str, Vehicle] = {}
        self._readings: dict[str, pd.DataFrame] = {}

    def readings(self, unit: str) -> pd.DataFrame:
        self._read([unit])
        return self._readings[unit]

    def _read(self, names: Sequence[str]) -> None:
        new = [name for name in names if name not in self._readings]
        found = store.read_readings(self.db, units=new) if new else pd.DataFrame()
        self._readings |= {name: found[found["unit"] == name] for name in new}

    def vehicles(self, names: Sequence[str]) -> dict[str, Vehicle]:
        """What some vehicles should show at the moment; what is usual in their classes is learned from readings before."""
        self._read(names)
        alike: dict[str, list[Mapping[Any, Any]]] = {}
        for row in rows_of(self.units, [name for name in names if name not in self._vehicles]):
            alike.setdefault(class_name(row), []).append(row)
        for rows in alike.values():
            readings = pd.concat([self._readings[row["unit"]] for row in rows])
            known = self.known(rows[0])
            found = expect_each(
                self.db, rows, readings, known, at=self.at, repairs=self._repairs, answers=self._answers
            )
            self._vehicles |= {
                unit: Vehicle(expected, odometer_at(self._readings[unit], self.at)) for unit, expected in found.items()
            }
        return {name: self._vehicles[name] for name in names}

    def known(self, unit: Mapping[Any, Any]) -> ClassKnowledge:
        """What the readings of a vehicle's class tell of it, learned once for all vehicles of the class."""
        of = class_name(unit)
        if of not in self._classes:
            self._classes[of] = knowledge_from(self.db, unit, before=self.at, units=self.units)
        return self._classes[of]


# --- whose reading it is ---------------------------------------------------------------------------------------------

LATEST_OF_EACH: Final = 3  # readings of every vehicle whose latest values are looked through, our choice


def whose(
    db: Database, unit: str, reading: Mapping[str, Any], vehicles_of: Callable[[Sequence[str]], Mapping[str, Vehicle]]
) -> Whose:
    """Whether a reading is another vehicle's; `vehicles_of` tells what vehicles should show at its time."""
    own = vehicles_of([unit])[unit]
    if not looks_foreign(reading, own):
        return OWN
    recent = store.read_latest(db, before=pd.Timestamp(reading["taken_at"]).to_pydatetime(), most=LATEST_OF_EACH)
    latest = latest_values(recent).drop(index=unit, errors="ignore")
    near = nearest_vehicles(reading, latest)
    count = db.table("units").count - 1
    return whose_reading(reading, own, vehicles_of(near), vehicles=max(count, len(near)))


# --- what is looked at of a part, and what was read last -------------------------------------------------------------

MEASURED_BY = {
    "battery": ("rest_v", "crank_min_v", "crank_a"),
    "positive_cable": ("drop_positive_v", "crank_a"),
    "ground_path": ("drop_ground_v", "crank_a"),
    "solenoid_contacts": ("drop_contacts_v", "crank_a"),
    "starter_motor": ("peak_a",),
    "control_circuit": ("drop_control_v", "coil_a"),
    "engine_drag": ("crank_a", "temperature_c"),
}
"""Part -> the measurements that tell of it."""


def latest_trusted(readings: pd.DataFrame) -> tuple[dict[str, float], pd.Timestamp | None]:
    """The latest trusted value of every measurement of a vehicle's readings, and when it was last read."""
    values: dict[str, float] = {}
    for name, value in zip(MEASUREMENTS, readings[list(MEASUREMENTS)].to_numpy("float64").T, strict=True):
        trusted = pd.notna(value) & ~doubted(readings, name)
        if name == "crank_min_v":
            trusted &= (readings["lowest_is"] != SAMPLED).to_numpy()
        if trusted.any():
            values[name] = float(value[trusted][-1])
    last = readings["taken_at"].max() if len(readings) else None
    return values, last
