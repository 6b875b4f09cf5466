"""What it is worth that somebody looked at a part and found nothing ("Nothing found" in NUMBERS.md; health assessment,
ISO 13374)."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.forecast.choices import LEARNING
from analysis.forecast.outlook import Outlook, chosen, coldest_with, renewed_coldest
from analysis.readings.panel import Bools, Floats, Ints, Reals, dates_of, days_since_epoch
from analysis.readings.renewals import PART_CHANNELS, PARTS
from analysis.wear.state import FleetState
from analysis.worklist.choices import INSPECTION, NAMING


@dataclass(frozen=True)
class Inspected:
    """What looks that found nothing changed, arrays (U,), in the order of the state, as the tables of its vehicles are.

    looked_day: day of the last look that counts [d since 1970], NaN for none; part: what was looked at;
    sound: probability that the vehicle is sound after all, though its readings blame a part; repaired: that it was
    repaired without a record.
    """

    looked_day: Floats
    part: tuple[str, ...]
    sound: Floats
    repaired: Floats

    def on_parts(self, parts: pd.DataFrame, shares: Floats) -> tuple[pd.DataFrame, Floats]:
        """The table of parts and (U, 7) part probabilities, less the probability that no part is at fault at all."""
        left = 1.0 - self.sound / np.maximum(1.0 - self.repaired, self.sound + 1e-9)
        share = parts["part_probability"] * np.repeat(left, len(PARTS))
        return parts.assign(part_probability=share), shares * left[:, None]

    def on_units(self, units: pd.DataFrame) -> pd.DataFrame:
        """The table of vehicles with what was looked at and found sound, and when."""
        return units.assign(
            repaired_probability=self.repaired,
            sound_probability=self.sound,
            looked_on=dates_of(self.looked_day),
            looked_part=np.array(self.part, dtype=str),
        )


def inspected(state: FleetState, outlook: Outlook, h: int, findings: pd.DataFrame | None) -> tuple[Outlook, Inspected]:
    """The outlook with draws weighted by looks that found nothing, and what that changed.

    h: place in the state's `ahead_d` of the time at which the list asks what limits the start;
    findings: unit, part ("" for the part that the readings blame), found_on, nothing dated the state's day or later.
    Looks at one part in one ISO week count once; a renewal of the part since makes an earlier look void.
    """
    names = tuple(state.names)
    day, part = np.full(len(names), np.nan), np.full(len(names), "", dtype=object)
    sound, repaired = np.zeros(len(names)), outlook.renewed.copy()
    looks = _looks(findings, names)
    if not len(looks):
        return outlook, Inspected(day, tuple(part), sound, repaired)
    alive, renewed = outlook.alive.copy(), outlook.renewed.copy()
    rows = looks["row"].to_numpy(np.int64)
    ahead = gained(state, outlook, rows, state.drawn[h][:, rows])
    limiting = np.where(ahead.max(axis=0) > NAMING.least_gain_k, ahead.argmax(axis=0), -1)
    then = gained(state, outlook, rows, drawn_ago(state, rows, state.day - looks["day"].to_numpy(np.float64)))
    doubt = np.zeros(len(names))
    for i, (look, named, moment) in enumerate(zip(rows, looks["part"], looks["day"], strict=True)):
        weight = outlook.alive[look]
        looked = PARTS.index(named) if named in PARTS else _most_blamed(limiting[i], weight)
        if looked < 0 or moment <= max(state.reset_day[c, look] for c in PART_CHANNELS[PARTS[looked]]):
            continue
        fault = (limiting[i] == looked) & (then[looked, i] > NAMING.least_gain_k)
        share = float(weight[fault].sum() / weight.sum())
        alive[look] *= np.where(fault, 1.0 - INSPECTION.sees, 1.0)
        doubt[look] = max(doubt[look], 1.0 - min(1.0, INSPECTION.surest / max(share, 1e-9)))
        day[look], part[look] = moment, PARTS[looked]
    doubt[outlook.failures.any] = 0.0  # a start that failed is no reading that misleads
    seen = np.flatnonzero(np.isfinite(day))
    left = alive[seen].sum(axis=1) / outlook.alive[seen].sum(axis=1)
    faulty = (1.0 - outlook.renewed[seen]) * (1.0 - doubt[seen]) * left
    clear = (1.0 - outlook.renewed[seen]) * doubt[seen]
    total = faulty + clear + outlook.renewed[seen]
    sound[seen], repaired[seen] = clear / total, outlook.renewed[seen] / total
    renewed[seen] = 1.0 - faulty / total
    return replace(outlook, alive=alive, renewed=renewed), Inspected(day, tuple(part), sound, repaired)


def gained(state: FleetState, outlook: Outlook, rows: Ints, drawn: Reals) -> Reals:
    """(7 parts, rows, K) kelvin colder that drawn states (7, rows, K) start with each part alone renewed."""
    own, each, every = state.of(rows), chosen(outlook, rows), np.arange(len(rows))
    as_it_is = coldest_with(own, each, every, np.zeros_like(every), drawn, None)
    return np.asarray(as_it_is - renewed_coldest(own, each, every, drawn, as_it_is))


def drawn_ago(state: FleetState, rows: Ints, ago_d: Floats) -> Reals:
    """(7, rows, K) drawn state `ago_d` days ago (rows,): on the line through those `survival_d` days ago and today, no
    better than sound."""
    share = (1.0 - ago_d / LEARNING.survival_d)[:, None]
    before, now = state.drawn[0][:, rows], state.drawn[1][:, rows]
    return np.asarray(np.maximum(before + share * (now - before), np.minimum(now, 1.0)), dtype=state.drawn.dtype)


def _looks(findings: pd.DataFrame | None, names: tuple[str, ...]) -> pd.DataFrame:
    """The looks that count, oldest first: row of the vehicle, part, day [d since 1970]."""
    if findings is None or not len(findings):
        return pd.DataFrame({"row": [], "part": [], "day": []})
    row = pd.Index(names).get_indexer(pd.Index(findings["unit"].astype(str)))
    week = findings["found_on"].dt.to_period("W-SUN").astype(str)
    looks = pd.DataFrame({
        "row": row, "part": findings["part"].astype(str).to_numpy(), "day": days_since_epoch(findings["found_on"]),
        "week": week.to_numpy(),
    })  # fmt: skip
    once = looks.sort_values("day", kind="stable").drop_duplicates(["row", "part", "week"], keep="last")
    return once[once["row"] >= 0]


def _most_blamed(draws: Ints, weight: Floats) -> int:
    """The part that limits the start in most of the draws (K,), -1 where none does."""
    some: Bools = draws >= 0
    if not some.any():
        return -1
    return int(np.bincount(draws[some], weight[some], len(PARTS)).argmax())
