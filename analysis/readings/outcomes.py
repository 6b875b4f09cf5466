"""How starts went: what a no-start, a slow start or a start on record says of a vehicle ("Outcomes of starts" in NUMBERS.md;
prognostic assessment, ISO 13374)."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
import scipy

from analysis.arrays import Rows
from analysis.readings.choices import LIKELY_PARTS, OUTCOMES
from analysis.readings.panel import RAN_FREE, Bools, Floats, Ints, Reals, days_since_epoch
from analysis.readings.renewals import PARTS
from analysis.readings.strays import Course, courses, mended

FAILED: Final = ("no_start", "no_click", "click", "chatter", RAN_FREE)
"""Outcomes that are failures of the starting system; `cranks_only` is not: it cranks, fuel or spark is missing."""
UNTURNED: Final = tuple(outcome for outcome in FAILED if outcome != "no_start")
"""Outcomes of starts at which the engine did not turn: the amps of other starts did not flow."""


@dataclass(frozen=True)
class Starts(Rows):
    """Starts with a known outcome, S of them by vehicle and time.

    unit: (S,) row of the vehicle; day: (S,) days since 1970; kind: (S,) outcome; temperature_c: (S,), NaN for unknown.
    """

    unit: Ints
    day: Floats
    kind: npt.NDArray[np.object_]
    temperature_c: Floats

    @property
    def failed(self) -> Bools:
        """(S,) whether the starting system failed."""
        return np.isin(self.kind.astype(str), FAILED)


@dataclass(frozen=True)
class Failures(Rows):
    """Failures that nobody repaired, arrays (U,).

    count: how many on record since the last repair, 0 for none; last_day: day of the latest [d since 1970], NaN for none;
    kind: its outcome, "" for none; temperature_c: of the warmest of them, NaN where none was written down;
    stands: probability that the fault is still there; circuits: the same if nobody mended it without a record, 0 where none failed
    of late, of vehicles too whose failure no longer leads the list; unexplained: probability that it is one that the readings do
    not show, 0 where none failed; cold_c: as temperature_c, the season's usual low where none was written down.
    """

    count: Ints
    last_day: Floats
    kind: npt.NDArray[np.object_]
    temperature_c: Floats
    stands: Floats
    circuits: Floats
    unexplained: Floats
    cold_c: Floats

    def again(self, days: float | Reals) -> Floats:
        """Probability that the fault stops a start within the coming days; scalar days -> (U,), (W,) days -> (U, W)."""
        within = 1.0 - np.exp(-OUTCOMES.again_per_day * np.asarray(days, dtype=np.float64))
        return np.asarray(np.multiply.outer(self.stands, within), dtype=np.float64)

    @property
    def any(self) -> Bools:
        """(U,) whether a failure leads the list."""
        return self.count > 0


def starts_on_record(units: pd.DataFrame, readings: pd.DataFrame) -> Starts:
    """Outcomes of starts in the readings, of these vehicles; a reading without an outcome is none."""
    some = with_outcome(readings)
    code = pd.Index(units["unit"].astype(str)).get_indexer(pd.Index(some["unit"].astype(str)))
    some, code = some[code >= 0], code[code >= 0]
    day = days_since_epoch(some["taken_at"]) if len(some) else np.zeros(0)
    order = np.lexsort((day, code))
    temperature = some["temperature_c"].to_numpy(np.float64) if "temperature_c" in some else np.full(len(some), np.nan)
    kind = some["outcome"].to_numpy(dtype=object) if len(some) else np.zeros(0, dtype=object)
    return Starts(code[order].astype(np.int64), day[order], kind[order], temperature[order])


def with_outcome(readings: pd.DataFrame) -> pd.DataFrame:
    """The readings of starts of which it is known how they went."""
    told = readings["outcome"].fillna("").astype(str) if "outcome" in readings else pd.Series("", index=readings.index)
    found: pd.DataFrame = readings[told.to_numpy() != ""]
    return found


def no_starts_on_record(repairs: pd.DataFrame, readings: pd.DataFrame) -> pd.DataFrame:
    """Every no-start known: unit, date, part ("" where no repair names one), one a vehicle and day, by vehicle and date.

    From repairs that a no-start was the reason for, and from outcomes of starts on days without such a repair.
    """
    repaired = repairs[repairs["reason"] == "no_start"]
    rows = repaired.rename(columns={"done_on": "date"})[["unit", "date", "part"]]
    if "outcome" in readings:
        failed = readings[readings["outcome"].isin(FAILED)]
        seen = pd.DataFrame({"unit": failed["unit"], "date": failed["taken_at"].dt.normalize(), "part": ""})
        rows = pd.concat([rows, seen], ignore_index=True) if len(seen) else rows
    return rows.drop_duplicates(["unit", "date"]).sort_values(["unit", "date"], kind="stable", ignore_index=True)


def last_repair(units: pd.DataFrame, repairs: pd.DataFrame, found_day: Floats) -> Floats:
    """(U,) day of the latest repair of any part [d since 1970], recorded or only seen in readings; -inf for none.

    found_day: (7, U) days of renewals that nobody recorded, -inf for none.
    """
    day = np.full(len(units), -np.inf)
    np.maximum.at(day, *mended(units, repairs))
    return np.asarray(np.maximum(day, found_day.max(axis=0, initial=-np.inf)))


def courses_of(
    starts: Starts, repairs: tuple[Ints, Floats], today: float, recorded: float, those: Bools | None = None
) -> list[Course]:
    """:func:`analysis.readings.strays.courses` of starts on record; those: (S,) whose failures count, all by default."""
    failed, started = starts.failed, starts.kind.astype(str) == "started"
    counts = failed if those is None else failed & those
    return courses(starts.unit, starts.day, counts, started, ~failed, starts.temperature_c, repairs, today, recorded)


def standing_failures(starts: Starts, repaired: Floats, today: float, recorded: float, stray: float) -> Failures:
    """Failures of U vehicles that no repair has followed, at the start of a day [d since 1970].

    repaired: (U,) of :func:`last_repair`; recorded: share of no-starts that are recorded; stray: share of failures without a repair
    that had nothing to do with the circuit.  A repair on the day of the failure follows it.
    """
    n = len(repaired)
    count, last = np.zeros(n, dtype=np.int64), np.full(n, np.nan)
    kind, warmest, stands, circuits = np.full(n, "", dtype=object), np.full(n, np.nan), np.zeros(n), np.zeros(n)
    since = (np.floor(starts.day) > repaired[starts.unit]) & (starts.day >= today - OUTCOMES.stands_d)
    none = np.zeros(0, dtype=np.int64), np.zeros(0)
    for one in courses_of(starts, none, today, recorded, since):
        stands[one.unit], circuits[one.unit] = one.stands(stray)
    leads = stands > OUTCOMES.leads
    stands[~leads] = 0.0
    for s in np.flatnonzero(starts.failed & since & leads[starts.unit]):  # in order of time within a vehicle
        u = starts.unit[s]
        count[u] += 1
        last[u], kind[u] = starts.day[s], starts.kind[s]
        warmest[u] = np.fmax(warmest[u], starts.temperature_c[s])
    return Failures(count, last, kind, warmest, stands, circuits, np.where(count > 0, 1.0, 0.0), warmest)


def explained(failures: Failures, fits: Floats, season_c: Floats) -> Failures:
    """The failures with how probable it is that the readings do not show why; fits: (U,) of :func:`outcome_weight`; season_c: (U,)
    usual low [degC]."""
    open_share = np.where(
        failures.any, OUTCOMES.unexplained / (OUTCOMES.unexplained + (1.0 - OUTCOMES.unexplained) * fits), 0.0
    )
    cold = np.where(np.isfinite(failures.temperature_c), failures.temperature_c, season_c)
    return replace(failures, unexplained=open_share, cold_c=cold)


def outcome_weight(
    starts: Starts,
    failures: Failures,
    repaired: Floats,
    coldest: tuple[Reals, Reals],
    season_c: Floats,
    span_d: tuple[float, float],
    alive: Reals | None = None,
    survived: Reals | None = None,
) -> tuple[Floats, Floats]:
    """(U, K) likelihood of the outcomes on record for every draw, 1 where there are none, and (U,) share of the draws, weighted as
    before, that would have failed where the vehicle did.

    coldest: (U, K) coldest start [degC] at the start and at the end of the span; span_d: its days [d since 1970];
    alive: (U, K) weights before; survived: (U, K) likelihood of a failure that had nothing to do with the circuit, 1 by default: that
    nothing else stopped it; season_c: (U,) usual low, for starts whose temperature nobody wrote down; repaired: (U,), starts before it say
    nothing of the parts now fitted.  Starts of one vehicle share their errors, so of each kind the most telling one
    counts: the warmest failure, the coldest start, the latest slow one.
    """
    weight = np.ones(coldest[0].shape)
    now_fitted = np.floor(starts.day) > repaired[starts.unit]
    recent = now_fitted & (starts.day >= span_d[0]) & (starts.day < span_d[1])
    known = np.isfinite(starts.temperature_c)
    temperature = np.where(known, starts.temperature_c, season_c[starts.unit])
    sd = np.where(known, OUTCOMES.sd_k, OUTCOMES.unknown_sd_k)[:, None]
    share = np.clip((starts.day - span_d[0]) / (span_d[1] - span_d[0]), 0.0, 1.0)[:, None]
    then = coldest[0][starts.unit] * (1.0 - share) + coldest[1][starts.unit] * share
    above = then - temperature[:, None]
    too_cold, slowed = scipy.special.ndtr(above / sd), scipy.special.ndtr((above + OUTCOMES.slow_above_k) / sd)
    known_cause = 1.0 - OUTCOMES.unexplained
    kinds = (
        (starts.failed & now_fitted & (failures.circuits[starts.unit] > 0.0), -temperature, too_cold),
        (recent & (starts.kind == "started"), temperature, 1.0 - too_cold),
        (recent & (starts.kind == "slow"), -starts.day, slowed * (1.0 - too_cold)),
    )
    fits_failure = np.ones(len(weight))
    before = np.ones(weight.shape) if alive is None else alive
    for which, telling, fits in kinds:
        rows = _most_telling(starts.unit, which, telling)
        at = starts.unit[rows]
        if fits is too_cold:
            fits_failure[at] = (before[at] * fits[rows]).sum(axis=1) / before[at].sum(axis=1)
            circuits, other = failures.circuits[at, None], 1.0 if survived is None else survived[at]
            weight[at] *= circuits * (OUTCOMES.unexplained + known_cause * fits[rows]) + (1.0 - circuits) * other
            continue
        weight[at] *= OUTCOMES.unexplained + known_cause * fits[rows]
    return weight, fits_failure


def _most_telling(unit: Ints, which: Bools, telling: Floats) -> Ints:
    """Of the starts `which`, the one of each vehicle with the least `telling`."""
    rows = np.flatnonzero(which)
    rows = rows[np.lexsort((telling[rows], unit[rows]))]
    return np.asarray(rows[np.unique(unit[rows], return_index=True)[1]], dtype=np.int64)


def blamed(shares: Floats, worn: Floats, failures: Failures) -> Floats:
    """(U, 7) part probabilities of vehicles whose failure stands: what the readings say and what the failure says.

    shares: (U, 7) from the readings alone, of what limits the start in the cold; what they leave open is shared out as the kind of
    failure has it.  Where they do not show why it failed, that kind says which part it is, and a part that wears, worn (U, 7), is
    likelier than one that is sound.
    """
    out = shares.copy()
    for u in np.flatnonzero(failures.any):
        likely = np.array(getattr(LIKELY_PARTS, str(failures.kind[u])))
        shown = shares[u] + max(0.0, 1.0 - shares[u].sum()) * likely
        shown = shown * (OUTCOMES.unexplained / len(PARTS) + (1.0 - OUTCOMES.unexplained) * likely)
        hidden = likely * (1.0 + (OUTCOMES.worn_counts - 1.0) * worn[u])
        open_share = failures.unexplained[u]
        own = (1.0 - open_share) * shown / shown.sum() + open_share * hidden / hidden.sum()
        out[u] = (1.0 - OUTCOMES.unexplained) * own
    return out
