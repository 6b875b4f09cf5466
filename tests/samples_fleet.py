"""Small simulated fleets as the tables of an assessment, for the tests of `analysis` and `dashboard`."""

from __future__ import annotations

import pickle
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from pathlib import Path
from typing import TypeVar

import numpy as np
import pandas as pd
import pytest
import samples_kept
from samples_kept import content, copy_of, in_one_file, kept, kept_file

from analysis.bay.expected import ClassKnowledge, Expected, expected_of_each
from analysis.forecast import learning, lows, past, season
from analysis.forecast import outlook as prognosis
from analysis.forecast.choices import LEARNING
from analysis.readings.draws import Draws, keys_of
from analysis.readings.panel import FleetTables
from analysis.wear.paths import Growth
from analysis.wear.state import FleetState
from analysis.worklist.assess import Assessment
from analysis.worklist.judge import drawn
from dashboard.cli.main import main
from dashboard.desk import assessment
from demo_fleet.export import export_fleet
from demo_fleet.scenario import demo_run
from demo_fleet.simulate import Fleet, FleetRun, simulate_fleet
from demo_fleet.specs import FleetSpec
from ingest.importer import import_paths
from ingest.store import open_database

Made = TypeVar("Made")
FEW = ("U00003", "U00004", "U00008", "U00019", "U00024")
"""Vehicles of the small fleet, of three classes: sound and flagged ones, with a row set aside and renewals that nobody recorded."""
SMALL = FleetSpec(901, units=24, years=2.0, unrecorded=0.2)


@lru_cache(maxsize=4)
def fleet(spec_seed: int = SMALL.seed) -> Fleet:
    """A fleet of 24 vehicles over two years with a dozen no-starts; another seed, another fleet."""
    spec = FleetSpec(spec_seed, units=SMALL.units, years=SMALL.years, unrecorded=SMALL.unrecorded)
    return kept(f"fleet {spec_seed}", lambda: simulate_fleet(spec))


def demo() -> FleetRun:
    """The demo's operator, gone forward to its day."""
    return kept("demo run", demo_run)


def fleet_folder(path: Path) -> Path:
    """A copy of the small fleet's database, its files beside it in `files`, in the folder `path`."""
    return copy_of(kept_file("small fleet", _import_fleet), path) / "fleet.db"


def few() -> Fleet:
    """The small fleet without all vehicles but FEW."""
    made = fleet()
    tables = {f.name: getattr(made, f.name) for f in fields(made)}
    return replace(
        made,
        **{
            name: table[table["unit"].isin(FEW)].reset_index(drop=True)
            for name, table in tables.items()
            if isinstance(table, pd.DataFrame) and "unit" in table
        },
    )


def few_folder(path: Path) -> Path:
    """A copy of the database of these, its files beside it in `files`, in the folder `path`."""
    return copy_of(kept_file("few vehicles", _import_few), path) / "fleet.db"


def _import_few(folder: Path) -> None:
    export_fleet(few(), folder / "files")
    db = open_database(folder / "fleet.db")
    import_paths(db, [folder / "files"])
    in_one_file(db)


def _import_fleet(folder: Path) -> None:
    """Through the front door."""
    export_fleet(fleet(), folder / "files")
    assert main(["--db", str(folder / "fleet.db"), "import", str(folder / "files")]) == 1, "one row is set aside"
    in_one_file(open_database(folder / "fleet.db"))


def tables_of(made: Fleet) -> FleetTables:
    """What an assessment may know of a simulated fleet: never its truth."""
    return FleetTables(made.units, made.readings, made.repairs, made.climate, made.forecast)


@dataclass(frozen=True)
class Drawn:
    """The draws that an assessment was made from, made again."""

    state: FleetState
    prognosis: prognosis.Outlook


_DRAWN: list[tuple[Assessment, Drawn]] = []


def drawn_of(found: Assessment) -> Drawn:
    """State and outlook of all vehicles of an assessment; those of the last few are kept."""
    for one, made in _DRAWN:
        if one is found:
            return made
    state, outlook, _ = drawn(found.state, found.shared)
    _DRAWN[:] = [*_DRAWN[-3:], (found, Drawn(state, outlook))]
    return _DRAWN[-1][1]


def cut(tables: FleetTables, day: pd.Timestamp) -> FleetTables:
    """The tables with every row dated `day` or later deleted, forecast too; does not use `FleetTables.before`."""
    return FleetTables(
        tables.units,
        tables.readings[tables.readings["taken_at"] < day].reset_index(drop=True),
        tables.repairs[tables.repairs["done_on"] < day].reset_index(drop=True),
        tables.climate,
        tables.forecast[tables.forecast["date"] < day].reset_index(drop=True),
        None if tables.reset_answers is None else tables.reset_answers[tables.reset_answers["at"] < day],
    )


def quick(patch: pytest.MonkeyPatch, *, looks: int = 1) -> None:
    """Few looks at the past instead of eighteen; weather, and a database's assessment, worked out once for equal arguments.

    For properties that do not depend on how much was learned; what is kept is the result of pure functions.
    """
    patch.setattr(past, "LEARNING", replace(LEARNING, looks=looks))
    patch.setattr(assessment, "assess", samples_kept.assess)
    patch.setattr(learning, "make_weather", _kept_weather)
    for module in (learning, season):
        patch.setattr(module, "winters_of", _kept_winters)


def _once(of: Callable[..., Made]) -> Callable[..., Made]:
    """The same function, worked out once for equal arguments."""
    made: dict[tuple[object, ...], Made] = {}

    def once(*given: object, **told: object) -> Made:
        key = tuple(
            content(one) if isinstance(one, pd.DataFrame) else pickle.dumps(one)
            for one in (*given, *told, *told.values())
        )
        if key not in made:
            made[key] = of(*given, **told)
        return made[key]

    return once


_kept_weather, _kept_winters = _once(lows.make_weather), _once(lows.winters_of)


def chance_of(vehicles: int, draws: int, seed: int = 0) -> Draws:
    """Draws of so many made-up vehicles."""
    return Draws(keys_of([f"vehicle {i}" for i in range(vehicles)]), draws, seed)


def evidence_of(growth: Growth) -> np.ndarray:
    """(U,) log odds of wear over steady after the readings."""
    worn, steady = growth.weight[:, 1:].sum(axis=1, dtype=np.float64), growth.weight[:, 0].astype(np.float64)
    return np.asarray(np.log(np.maximum(worn, 1e-30)) - np.log(np.maximum(steady, 1e-30)))


def expected_of(tables: FleetTables, day: float, known: ClassKnowledge | None = None) -> Expected:
    """What a reading taken on `day` [d since 1970] should show of the only vehicle."""
    (found,) = expected_of_each(tables, day, known).values()
    return found
