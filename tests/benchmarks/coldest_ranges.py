"""How often the 80 % range of the coldest start holds, on every evaluation fleet:

python coldest_ranges.py [volts | loggers] [lows] [SEED ...]

With `volts` nothing was read but rest volts, lowest volts while cranking and the air. With `loggers` a workshop sees each vehicle two
to four times a year, and a logger of these three notes every second morning of the last two years. With `lows` the daily lows
of the depots are known, too.

A fleet's classes are one draw of nature's laws each, so that its vehicles err together: one fleet holds nearly all of the
time and another half of it, and only many of them show whether the range is honest. Each has winters and wear of its own:
with one seed for all of them they would be of one winter, and lean as it does. Prints a line a fleet and their sum;
then how often a fleet's ranges would hold if a draw were the truth of each class, and what a class and a vehicle in it err
by, beside what is said of both.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))
from samples_fleet import drawn_of, tables_of
from test_ranges import ROUNDING_K

from analysis.constants import MAD_TO_SD
from analysis.readings.panel import FleetTables, Floats
from analysis.worklist.assess import assess
from demo_fleet.cranking import crank
from demo_fleet.faults import apply_wear
from demo_fleet.simulate import FleetRun
from demo_fleet.specs import MEASUREMENTS, FleetSpec, evaluation_specs

SEEDS = (1, 2)
APART = 100
"""Between the seeds that a SEED gives to fleets, one after the other."""
UNITS, YEARS = 90, 2.4
MISSED = 2.0 / (1.0 - 0.8)
"""By what the interval score of an 80 % range counts the kelvin by which it misses: Gneiting and Raftery 2007, from memory. Of
two ways to say a range the one that scores less is the truer: holding more often by being wider is no gain."""
NATURES = 400
"""Fleets whose classes each have one of the draws as their truth."""
FEWEST = 8
"""Vehicles of a class whose middle and spread are looked at."""
VOLTS = ("rest_v", "crank_min_v")

LOGGED_UNITS, LOGGED_YEARS, LOGGED_D, SEEN_WEEKS = 60, 2.75, 730, (13, 26)
YARD_K, THERMOMETER_K, SENSOR_K = 1.0, 1.5, 1.0
"""How far places of a yard differ on a morning, a logger's thermometer errs from start to start, and for good [K]."""
REST_V, LOWEST_V, CHARGED, TURNED = 0.05, 0.08, 0.02, 0.03
"""Scatter of a logger's volts for each block [V], and of the charge and the drag from start to start."""


class LoggedRun(FleetRun):
    """A fleet whose vehicles carry loggers: half of them note a start each morning, in whole degrees and tenths of a volt."""

    def __init__(self, spec: FleetSpec) -> None:
        super().__init__(spec)
        self.noted: list[pd.DataFrame] = []
        self._sensor_k = np.random.default_rng((spec.seed, 5)).normal(0.0, SENSOR_K, spec.units)

    def _look(self, day: int, level: Floats, draws: Floats) -> None:
        super()._look(day, level, draws)
        setting, spec = self.setting, self.spec
        rows = np.flatnonzero(((np.arange(spec.units) + day) % 2 == 0) & (setting.first_day <= day))
        if day < spec.days - LOGGED_D or not len(rows):
            return
        chance = np.random.default_rng((spec.seed, 99, day))
        z = chance.standard_normal((len(rows), 5))
        air_c = setting.weather.low_c[day, setting.depot[rows]] + YARD_K * draws[rows, 0]
        charge = np.clip(setting.charge(day)[rows] + CHARGED * z[:, 0], 0.02, 1.0)
        state = apply_wear(self._change(level, rows, draws[rows, 2:]), self._fate.second[rows], charge)
        state = replace(state, drag_factor=state.drag_factor * np.exp(TURNED * z[:, 1]))
        start, blocks = crank(setting.hardware.take(rows), state, spec.cold, air_c), setting.hardware.blocks[rows]
        minute = day * 1440 + 300 + chance.integers(0, 60, len(rows))
        noted = pd.DataFrame(
            {
                "unit": np.array(setting.names, dtype=object)[rows],
                "taken_at": pd.Timestamp(spec.start) + pd.to_timedelta(minute, unit="min"),
                "temperature_c": np.round(air_c + THERMOMETER_K * z[:, 2] + self._sensor_k[rows]),
                "rest_v": np.round(start.rest_v + blocks * REST_V * z[:, 3], 1),
                "crank_min_v": np.round(start.crank_min_v + blocks * LOWEST_V * z[:, 4], 1),
                "technician": "logger",
            }
        )
        self.noted.append(noted[np.asarray(start.margin_v >= 0.0)])

    def with_noted(self, tables: FleetTables) -> FleetTables:
        """The workshop's readings with those of the loggers."""
        every = pd.concat([tables.readings, *self.noted], ignore_index=True)
        every = every.assign(taken_at=every["taken_at"].astype("datetime64[us]"), unit=every["unit"].astype(str))
        return replace(tables, readings=every.sort_values(["unit", "taken_at"], kind="stable", ignore_index=True))


def run_of(spec: FleetSpec, *, loggers: bool) -> tuple[FleetRun, FleetTables]:
    """A fleet lived through to its end, and what is known of it."""
    if not loggers:
        run = FleetRun(replace(spec, units=UNITS, years=YEARS))
        run.advance(run.spec.end)
        return run, tables_of(run.fleet())
    logged = LoggedRun(replace(spec, units=LOGGED_UNITS, years=LOGGED_YEARS, interval_weeks=SEEN_WEEKS))
    logged.advance(logged.spec.end)
    return logged, logged.with_noted(tables_of(logged.fleet()))


def held(
    spec: FleetSpec, seed: int, without: tuple[str, ...] = (), *, loggers: bool = False, lows: bool = False
) -> tuple[pd.DataFrame, Floats]:
    """One list of a fleet, without some measurements, beside its truth: class, error, width and interval score [K], as said (the range
    holds, to the last digit), below and above (the truth lies there), flagged; and its drawn coldest starts (vehicles, draws)."""
    run, tables = run_of(replace(spec, seed=seed, without=(*spec.without, *without)), loggers=loggers)
    if lows:
        tables = replace(tables, lows=run.fleet().lows)
    found = assess(tables, as_of=pd.Timestamp(run.spec.end), with_classes=False)
    made = drawn_of(found)
    units = found.units.set_index("unit").loc[made.state.names]
    truth = run.true_state().set_index("unit")["coldest_start_c"].reindex(units.index)
    low, high = units["coldest_start_low_c"], units["coldest_start_high_c"]
    beside = pd.DataFrame(
        {
            "class": units["vehicle_class"],
            "error": units["coldest_start_c"] - truth,
            "width": high - low,
            "score": high - low + MISSED * (np.maximum(low - truth, 0.0) + np.maximum(truth - high, 0.0)),
            "as_said": (truth >= low) & (truth <= high),
            "below": truth < low - ROUNDING_K,
            "above": truth > high + ROUNDING_K,
            "flagged": units["flagged"],
        }
    )
    return beside, np.asarray(made.prognosis.coldest[int(np.argmin(np.abs(made.state.ahead_d)))], dtype=np.float64)


def if_a_draw_were_true(classes: pd.Series, drawn: Floats) -> Floats:
    """(NATURES,) how often the ranges of a fleet hold where one draw is the truth of all vehicles of a class."""
    chance = np.random.default_rng(11)
    low, high = np.quantile(drawn, (0.1, 0.9), axis=1)
    code = pd.factorize(classes)[0]
    true = chance.integers(drawn.shape[1], size=(NATURES, code.max() + 1))[:, code]
    truth = drawn[np.arange(len(code)), true]
    return np.asarray(((truth >= low - ROUNDING_K) & (truth <= high + ROUNDING_K)).mean(axis=1))


def apart(beside: pd.DataFrame, drawn: Floats) -> pd.DataFrame:
    """Of each class with enough vehicles: its middle error and the standard deviation said of it, what its vehicles depart from it by
    and what is said of that [K]. A draw's laws and needs are those of a whole class, the rest is a vehicle's own."""
    rows = []
    for name in beside["class"].unique():
        mine = (beside["class"] == name).to_numpy()
        if mine.sum() >= FEWEST:
            error, own = beside["error"].to_numpy()[mine], drawn[mine]
            middle = np.median(own - np.median(own, axis=1, keepdims=True), axis=0)
            within = MAD_TO_SD * np.median(np.abs(error - np.median(error)))
            rows.append((np.median(error), middle.std(), within, np.median((own - middle).std(axis=1))))
    return pd.DataFrame(rows, columns=["class_error", "class_said", "within", "within_said"])


def line(name: str, some: pd.DataFrame) -> str:
    """The figures of some vehicles."""
    flagged = some[some["flagged"]]

    def holds(frame: pd.DataFrame) -> float:
        return 1.0 - float((frame["below"] | frame["above"]).mean())

    return (
        f"{name:22s} {len(some):5d} vehicles, range holds {holds(some):4.2f} (flagged {holds(flagged):4.2f} of {len(flagged)}), "
        f"as said {some['as_said'].mean():4.2f}, median error {some['error'].median():+5.2f} K, width {some['width'].median():4.1f} K, "
        f"interval score {some['score'].mean():4.1f} K, "
        f"truth colder {some['below'].mean():4.2f}, warmer {some['above'].mean():4.2f}"
    )


def main() -> None:
    """A line a fleet and seed, all of them, and where the errors come from."""
    seeds = [int(word) for word in sys.argv[1:] if word.isdigit()] or list(SEEDS)
    without = tuple(name for name in MEASUREMENTS if name not in VOLTS) if "volts" in sys.argv else ()
    every, possible, classes = [], [], []
    for place, spec in enumerate(evaluation_specs()):
        for seed in seeds:
            own = APART * seed + place
            beside, drawn = held(spec, own, without, loggers="loggers" in sys.argv, lows="lows" in sys.argv)
            every.append(beside)
            possible.append(if_a_draw_were_true(beside["class"], drawn))
            classes.append(apart(beside, drawn))
            print(line(f"{spec.name} {seed}", beside), flush=True)
    print(line("all", pd.concat(every)))
    share, of = np.concatenate(possible), pd.concat(classes)
    inside = np.mean((share >= 0.75) & (share <= 0.88))
    print(
        f"if a draw were true: a fleet's range holds {share.mean():.2f} ± {np.mean([p.std() for p in possible]):.2f} of the time, "
        f"between .75 and .88 in {inside:.2f} of fleets"
    )
    error, said = (np.sqrt((of[name] ** 2).mean()) for name in ("class_error", "class_said"))
    print(
        f"{len(of)} classes: middle off by {error:.2f} K (root mean square; said {said:.2f}), their vehicles apart by "
        f"{of['within'].median():.2f} K (said {of['within_said'].median():.2f})"
    )


if __name__ == "__main__":
    main()
