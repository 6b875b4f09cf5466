"""What each part of the model is worth: lists of past days with it switched off, beside the same lists with everything on.

    python tests/benchmarks/ablation.py                          every part, on all evaluation fleets: some 40 minutes
    python tests/benchmarks/ablation.py --only "cold tail"       one part, by its name
    python tests/benchmarks/ablation.py --fleets 2 --units 30    minutes; shows that it runs
    ... --lows                                                   with the daily lows of all depots but the last

A list's probability is scored by whether the vehicle would have started: mornings that a simulated fleet met with a block heater that
no table tells of (`Fleet.heated`) count as no-starts there. They are none of what is to be caught.

A part is switched off from outside: a choice is put where it says nothing, or a function of the house is replaced by one that
finds nothing. A row tells by how much the log score of a vehicle falls (summed over its lists, each by what came until the next
one; the standard error is that of the fleets' means, because vehicles of one fleet err together), then the share of no-starts
that was caught and the false flags per 100 healthy vehicle-years, as `tests/test_recovery.py` counts them. Flag levels stay as
they were chosen with everything on.

Not switched: what these fleets hold nothing of (looks that found nothing, starts told as failed, loggers, aids, oils and fuels
that are known, laws of another fleet), and what changes words alone (drift, bounds).
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any
from unittest.mock import patch

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))
from bench_travel import days_to_failure
from print_choices import stage
from samples_fleet import tables_of
from test_recovery import Score, score

from analysis.backtest.choices import PAST_LISTS
from analysis.backtest.lists import backtest_lists
from analysis.forecast.learning import Look
from analysis.kernel.ready import make_ready
from analysis.readings.choices import SLIPS
from analysis.readings.cold_laws import fitted
from analysis.starting.coldest_start import as_fitted
from analysis.starting.floors import NOWHERE_C, Floors
from analysis.wear.state import draw_field, read_fleet
from demo_fleet.simulate import Fleet, simulate_fleet
from demo_fleet.specs import FleetSpec, evaluation_specs

UNITS, YEARS = 60, 2.0
LISTS, EVERY_D = 6, 56
"""Every no-start after the first list is in the window of one of them."""
MUCH = 1e9
"""So many counts, or errors, that nothing moves what was stated, or nothing is found."""


@dataclass(frozen=True)
class Switch:
    """A part of the model and what stands in its place: choices by ROOM.STAGE.CHOICE, functions by MODULE.NAME.

    looks: whether looks at the past rest on it, which are made anew then.
    """

    name: str
    instead: str
    choices: Mapping[str, object] = field(default_factory=dict)
    functions: Mapping[str, Callable[..., Any]] = field(default_factory=dict)
    looks: bool = True


def _published(panel: Any, log_value: Any, *others: Any) -> Any:
    return fitted(panel, np.full_like(log_value, np.nan), *others)


def _all_engine(panel: Any, observed: Any, now: Any, chance: Any) -> Any:
    field_, weak, share = draw_field(panel, observed, now, chance)
    return np.ones_like(field_), np.zeros_like(weak), np.zeros_like(share)


def _no_floors(units: pd.DataFrame, _volts: Any, away: Any = None) -> Floors:
    nowhere = np.full(len(units), NOWHERE_C)
    drawn = nowhere if away is None else np.full(away.shape, NOWHERE_C)
    return Floors(nowhere, drawn, np.zeros(len(units), dtype=np.int64))


def _as_if_failed_never(failed: Any, *_others: Any) -> Any:
    return np.ones_like(failed), np.zeros(failed.shape[:-1], failed.dtype)


def _of_prior(_estimates: Any, prior: tuple[float, float]) -> float:
    return prior[0]


SWITCHES = (
    Switch("needs learned", "the stated ones", {"forecast.learning.learning_counts": 0.0}, looks=False),
    Switch("calibration", "none", {"forecast.learning.calibration_counts": 0.0}, looks=False),
    Switch("share of repairs recorded", "the stated one", {"forecast.learning.recorded_counts": MUCH}),
    Switch("vehicle known to have started", "every draw counts alike",
           functions={f"analysis.forecast.{m}.not_failed": _as_if_failed_never for m in ("learning", "outlook")}),
    Switch("vehicles apart from their class", "all need the same", {
        "forecast.departure.speed_share": 0.0, "forecast.departure.supply_v": 0.0, "forecast.departure.coil_v": 0.0}),
    Switch("cold tail of the lows", "a normal distribution",
           {"forecast.weather.steady_skew": 0.0, "forecast.weather.changing_skew": 0.0}),
    Switch("cold spells", "each day on its own", {"forecast.weather.persistence": 0.0}),
    Switch("mornings as they came (with --lows)", "the climate's", functions={"analysis.forecast.lows._as_they_came": lambda lows, *_: lows}),
    Switch("no-starts of other causes", "none", {"worklist.judging.other_causes_per_year": 0.0}, looks=False),
    Switch("batteries that freeze", "none do", functions={"analysis.forecast.outlook.floors_of": _no_floors}, looks=False),
    Switch("growth learned", "the stated laws", {
        "wear.growth.onset_counts": MUCH, "wear.growth.life_counts": MUCH, "wear.growth.class_counts": MUCH}),
    Switch("growth of each class", "the fleet's", {"wear.growth.class_counts": MUCH}),
    Switch("ordinary ageing", "none", {"wear.ageing.fewest_telling": MUCH}),
    Switch("wear departs from its path", "never", {"wear.paths.departure": 0.0}),
    Switch("wear ahead at its own pace", "its path's", {"wear.paths.pace_sd": 0.0}),
    Switch("temperature laws learned", "the published ones",
           functions={f"analysis.readings.{m}.fitted": _published for m in ("class_laws", "cold_laws")}),
    Switch("errors of temperature laws", "drawn as fitted",
           functions={f"analysis.forecast.{m}.drawn_laws": lambda laws, _: as_fitted(laws) for m in ("learning", "outlook")}),
    Switch("inrush and slowing learned", "the stated shares", functions={"analysis.readings.class_laws.combined": _of_prior}),
    Switch("spread of sound vehicles learned", "the stated one", {"readings.classes.prior_vehicles": MUCH}),
    Switch("scatter of meters learned", "the stated errors", {"readings.classes.scatter_readings": MUCH}),
    Switch("errors that readings share", "none", {"readings.observing.shared_sd": 0.0}),
    Switch("wrong meters and thermometers", "not looked for",
           functions={"analysis.worklist.assess.read_fleet": lambda *a, **k: read_fleet(*a, **k | {"bays": False})}, looks=False),
    Switch("field told from drag", "every raised load is the engine's", functions={"analysis.wear.state.draw_field": _all_engine}),
    Switch("slips of pen and decimal point", "all values count", {
        "readings.slips.factors": MappingProxyType(dict.fromkeys(SLIPS.factors, MUCH)), "wear.paths.stand_alone_se": MUCH,
        "wear.paths.may_be_slip_se": MUCH}),
    Switch("renewals that nobody recorded", "not looked for", {"readings.renewals.step_se": MUCH}),
)  # fmt: skip


@contextmanager
def off(switch: Switch) -> Iterator[None]:
    """With what stands in a part's place; everything is on again afterwards."""
    before = []
    with ExitStack() as functions:
        try:
            for path, value in switch.choices.items():
                key, _, name = path.rpartition(".")
                held = stage(key)
                before.append((held, name, getattr(held, name)))
                object.__setattr__(held, name, value)
            for path, function in switch.functions.items():
                functions.enter_context(patch(path, function))
            yield
        finally:
            for held, name, value in before:
                object.__setattr__(held, name, value)


@dataclass(frozen=True)
class Found:
    """Lists of one fleet: (vehicles,) log score of each vehicle over its lists, how they scored, no-starts that they expected, by
    vehicle and list, and those that came, and of these the ones that were met with a heater."""

    log: pd.Series[float]
    scored: Score
    expected: float
    came: int
    heated: int


def listed(fleet: Fleet, looks: dict[str, Look], lows: bool) -> Found:
    """The lists of a fleet beside what failed, with its daily lows or without. Vehicles that no list judges have no score."""
    last = pd.Timestamp(fleet.as_of) - pd.Timedelta(days=EVERY_D)
    days = pd.date_range(end=last, periods=LISTS, freq=f"{EVERY_D}D")
    issued = backtest_lists(
        replace(tables_of(fleet), lows=fleet.lows if lows else None), days, horizon_days=EVERY_D, looks=looks
    )
    columns = ["unit", "flagged", "part", "no_start_probability"]
    lists = pd.concat([found.units[columns].assign(date=day) for day, found in issued], ignore_index=True)
    no_start = days_to_failure(fleet, lists) < EVERY_D
    failed = no_start | (days_to_failure(replace(fleet, truth=fleet.heated), lists) < EVERY_D)
    p = lists["no_start_probability"].clip(PAST_LISTS.least_p, 1.0 - PAST_LISTS.least_p).to_numpy(np.float64)
    log = pd.Series(np.log(np.where(failed, p, 1.0 - p))).groupby(lists["unit"]).sum(min_count=1)
    expected = float(lists["no_start_probability"].sum())
    return Found(log.dropna(), score(fleet, lists), expected, int(failed.sum()), int((failed & ~no_start).sum()))


def together(found: list[Found]) -> tuple[float, float]:
    """Share of no-starts caught, and false flags per 100 healthy vehicle-years, of several fleets."""
    every = [one.scored for one in found]
    caught = sum(one.caught * one.no_starts for one in every) / max(sum(one.no_starts for one in every), 1)
    return caught, 100.0 * sum(one.false_flags for one in every) / sum(one.healthy_years for one in every)


def row(name: str, instead: str, on: list[Found], without: list[Found]) -> str:
    """A row of the table: loss of log score a vehicle with its standard error, caught, false flags."""
    loss = np.array([(a.log - b.log).mean() for a, b in zip(on, without, strict=True)])
    error = loss.std(ddof=1) / np.sqrt(len(loss)) if len(loss) > 1 else float("nan")
    caught, false = together(without)
    return f"| {name} | {instead} | {1e3 * loss.mean():+.1f} | {1e3 * error:.1f} | {caught:.3f} | {false:.2f} |"


def measured(switches: list[Switch], specs: list[FleetSpec], lows: bool) -> tuple[list[Found], list[list[Found]]]:
    """Every fleet with everything on, and without each part; what is whole so far where somebody interrupts."""
    on, without = list[Found](), [list[Found]() for _ in switches]
    try:
        for spec in specs:
            fleet, looks = simulate_fleet(spec), dict[str, Look]()
            with_all = listed(fleet, looks, lows)
            found = []
            for switch in switches:
                with off(switch):
                    found.append(listed(fleet, {} if switch.looks else dict(looks), lows))
            on.append(with_all)
            for every, one in zip(without, found, strict=True):
                every.append(one)
            print(f"{spec.name}: {with_all.scored.no_starts} no-starts", file=sys.stderr, flush=True)
    except KeyboardInterrupt:
        print("interrupted", file=sys.stderr)
    return on, without


def table(switches: list[Switch], specs: list[FleetSpec], *, lows: bool = False) -> str:
    """A row with everything on and one without each part, of all fleets, or of those that are done when it is interrupted."""
    make_ready(lambda: print("compiling", file=sys.stderr))
    on, without = measured(switches, specs, lows)
    caught, false = together(on)
    events = sum(one.scored.no_starts for one in on)
    expected, came, heated = (sum(getattr(one, name) for one in on) for name in ("expected", "came", "heated"))
    head = [
        f"{len(on)} fleets of {specs[0].units} vehicles over {specs[0].years} years, {LISTS} lists, {events} no-starts to foresee",
        f"windows with a no-start: {expected:.0f} expected, {came} came, {heated} of them met with a heater\n",
        "| part | instead | log score lost | its error | caught | false flags |",
        "| --- | --- | --- | --- | --- | --- |",
        f"| everything on | | | | {caught:.3f} | {false:.2f} |",
    ]
    return "\n".join(
        [*head, *(row(one.name, one.instead, on, own) for one, own in zip(switches, without, strict=True))]
    )


def fleets(count: int, units: int = UNITS, years: float = YEARS) -> list[FleetSpec]:
    """The first so many evaluation fleets, so large and so long."""
    return [replace(spec, units=units, years=years) for spec in evaluation_specs()[:count]]


def main() -> None:
    """The table of what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", nargs="+", default=[], help="names of parts")
    parser.add_argument("--fleets", type=int, default=len(evaluation_specs()))
    parser.add_argument("--units", type=int, default=UNITS)
    parser.add_argument("--years", type=float, default=YEARS)
    parser.add_argument("--lows", action="store_true")
    options = parser.parse_args()
    if unknown := set(options.only) - {one.name for one in SWITCHES}:
        sys.exit(f"--only {' '.join(unknown)}: allowed are {', '.join(one.name for one in SWITCHES)}")
    asked = [one for one in SWITCHES if not options.only or one.name in options.only]
    print(table(asked, fleets(options.fleets, options.units, options.years), lows=options.lows))


if __name__ == "__main__":
    main()
