"""What was learned of every vehicle class, from how much: a table to be read."""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.circuit.limits import REFERENCE_C
from analysis.constants import DAYS_PER_YEAR
from analysis.costs import PlanSettings
from analysis.forecast.learning import LearnedNeeds
from analysis.readings.observe import CHANNELS, ClassLaws, LawDoubt
from analysis.readings.panel import FleetTables, Floats, among, dates_of, in_service
from analysis.readings.renewals import PART_CHANNELS, PARTS
from analysis.wear.choices import LIVES
from analysis.wear.lives import Lifetime, observed_lives, part_lifetimes
from analysis.wear.paths import LIVES_D, default_prior
from analysis.wear.state import FleetRead
from analysis.worklist.choices import JUDGING

MOST_VEHICLES = 500  # of each class, for the lives of parts; for speed
COLUMNS = ["vehicle_class", "quantity", "value", "se", "unit", "units", "readings", "no_starts", "cases"]


def class_table(state: FleetRead, learned: LearnedNeeds, known: FleetTables) -> pd.DataFrame:
    """Long table: vehicle_class, quantity, value, se, unit; units in service, readings, no_starts of the class; and cases: vehicles,
    onsets of wear or failures that the row itself rests on, NaN where it rests on the readings or the no-starts.

    known: what the state was made from; value and se of shares and rates are those of their posterior.
    """
    laws, panel = state.laws, state.panel
    names = panel.units["unit"].astype(str).to_numpy()
    lives = _lives(known, names, state.day)
    whose = panel.group[pd.Index(names).get_indexer(pd.Index(lives["unit"]))]
    of_fleet = part_lifetimes(lives, parts=PARTS, life_years=PlanSettings().life_years)
    here = in_service(panel.units, state.day)
    rows: list[tuple[object, ...]] = []
    for g, name in enumerate(panel.groups):
        mine = panel.group == g
        if not here[mine].any():  # all that is left of the class is a memory
            continue
        counts = (int(here[mine].sum()), int(panel.present[mine].sum()), int(learned.no_starts[g]))
        found = [*need_rows(learned, g), *law_rows(laws, g)]
        for c in range(len(CHANNELS)):
            found += growth_rows(state, g, c)
        found += failure_rows(lives[whose == g], of_fleet)
        rows += [(name, *row[:4], *counts, row[4]) for row in found]
    return pd.DataFrame(rows, columns=COLUMNS)


_Row = tuple[str, float, float, str, float]
"""Quantity, value, standard error, unit, cases."""


def need_rows(learned: LearnedNeeds, group: int) -> list[_Row]:
    """What a start needs, how many repairs are recorded, and how many failures were none of the circuit's."""
    names = (("least cranking speed", "rpm"), ("least supply", "V per 12 V"), ("least coil volts", "V per 12 V"))
    rows = [
        (quantity, float(learned.needs[group, k]), float(learned.se[group, k]), unit, np.nan)
        for k, (quantity, unit) in enumerate(names)
    ]
    stray = "share of failed starts without a repair that were none of the circuit's"
    shares = (("share of repairs that are recorded", learned.recorded), (stray, learned.stray))
    return [*rows, *((quantity, float(share), np.nan, "1", np.nan) for quantity, share in shares)]


def law_rows(laws: ClassLaws, group: int) -> list[_Row]:
    """Temperature laws, and the usual value of every channel with its spread between vehicles."""
    rows: list[_Row] = [
        ("battery resistance per kelvin colder", 100 * float(laws.battery_per_k[group]), np.nan, "%/K", np.nan),
        ("load per kelvin colder", 100 * float(laws.load_per_k[group]), np.nan, "%/K", np.nan),
        _in_the_cold("battery resistance", laws.battery_per_k, laws.battery_curve, laws.battery_doubt, group),
        _in_the_cold("load", laws.load_per_k, laws.load_curve, laws.load_doubt, group),
        ("loop resistance share of rest volts over peak amps", float(laws.inrush[group, 0]), np.nan, "1", np.nan),
    ]
    for c, channel in enumerate(CHANNELS):
        unit = "A at 20 °C" if channel == "load" else "mΩ at 20 °C"
        usual = float(laws.base[group, c])
        rows.append((f"usual {channel.replace('_', ' ')}", usual, float(laws.base_sd[group, c]) * usual, unit, np.nan))
    return rows


def _in_the_cold(name: str, slope: Floats, curve: Floats, doubt: LawDoubt, group: int) -> _Row:
    """A law at `JUDGING.cold_c` as a multiple of the value at 20 °C: the slope there does not say it, because laws bend."""
    x = REFERENCE_C.value - JUDGING.cold_c
    step = np.array([x, x * x])
    times = float(np.exp(step @ np.array([slope[group], curve[group]])))
    error = times * float(np.sqrt(step @ doubt.covariance[group] @ step))
    return f"{name} at −20 °C, times that at 20 °C", times, error, "1", np.nan


def growth_rows(state: FleetRead, group: int, channel: int) -> list[_Row]:
    """How often wear of a channel begins, and how long it takes until it alone stops a sound vehicle at +5 °C."""
    found = state.growth_laws
    prior, words = found.prior[group], CHANNELS[channel].replace("_", " ")
    seen = float(found.onsets[group, channel])
    worth = found.counts + seen
    rate = 100 * float(prior.onset_per_year[channel])
    share, log_life = prior.life_share[channel], np.log(LIVES_D / DAYS_PER_YEAR)
    mean = float(share @ log_life)
    life, spread = float(np.exp(mean)), float(np.sqrt(share @ np.square(log_life - mean)))
    ageing = found.ageing[channel]
    percent = (100 * float(ageing.per_year[group]), 100 * float(ageing.se[group]))
    return [
        (f"ordinary ageing of sound parts, {words}", *percent, "% of usual per year", float(ageing.lives[group])),
        (f"wear that begins, {words}", rate, rate / float(np.sqrt(worth)), "per 100 part-years", seen),
        (f"time from first wear to failing, {words}", life, life * spread / float(np.sqrt(worth)), "years", seen),
    ]


def failure_rows(lives: pd.DataFrame, of_fleet: Mapping[str, Lifetime]) -> list[_Row]:
    """Shares of no-starts by part, and the age by which half of a part has failed.

    lives: of :func:`analysis.wear.lives.observed_lives`, of the class; of_fleet: of
    :func:`analysis.wear.lives.part_lifetimes`, which a class with too few failures of a part is given.
    """
    failed = lives[lives["failed"] > 0]
    count = failed["part"].value_counts().reindex(list(PARTS), fill_value=0).to_numpy(np.float64)
    onset = default_prior().onset_per_year
    stated = np.array([sum(onset[c] for c in PART_CHANNELS[part]) for part in PARTS])
    worth = JUDGING.share_counts * stated / stated.sum() + count
    share = worth / worth.sum()
    share_sd = np.sqrt(share * (1.0 - share) / (worth.sum() + 1.0))  # of a Dirichlet distribution
    of_class = part_lifetimes(lives, parts=PARTS, life_years=PlanSettings().life_years)
    rows: list[_Row] = []
    for k, part in enumerate(PARTS):
        words = part.replace("_", " ")
        own, whole = of_class[part], of_fleet[part]
        life = own if own.failures >= LIVES.least_failures else whole
        half = life.law.scale * np.log(2.0) ** (1.0 / life.law.shape) / DAYS_PER_YEAR
        spread = half / (life.law.shape * np.sqrt(max(life.failures, 1)))
        rows += [
            (f"share of no-starts, {words}", float(share[k]), float(share_sd[k]), "1", float(count[k])),
            (f"age by which half have failed, {words}", float(half), float(spread), "years", float(life.failures)),
        ]
    return rows


def _lives(known: FleetTables, names: npt.NDArray[np.object_], day: float) -> pd.DataFrame:
    """Lives of the parts of at most MOST_VEHICLES vehicles of each class, evenly taken."""
    units = known.units.drop_duplicates("unit")
    units = units[among(units["unit"].astype(str), names)]
    place = units.groupby("vehicle_class").cumcount()
    size = units.groupby("vehicle_class")["unit"].transform("size")
    step = np.ceil(size / MOST_VEHICLES)
    some = units[place % step == 0]
    repairs = known.repairs[among(known.repairs["unit"], some["unit"])]
    return observed_lives(some, repairs, pd.Timestamp(dates_of(np.array([day]))[0]), parts=PARTS)
