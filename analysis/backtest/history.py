"""Past lists beside what happened: no-starts foreseen, what became of flags, and what printed limits would have said."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from analysis.backtest.choices import PAST_LISTS
from analysis.bay.verdict import LOAD_TEST_CHECK, verdict
from analysis.circuit.limit_book import LimitBook
from analysis.constants import DAYS_PER_YEAR
from analysis.readings.panel import dates_of, left_d

LIMIT_PARTS: Mapping[str, str] = {
    "rest_v": "battery",
    LOAD_TEST_CHECK: "battery",
    "crank_min_v": "battery",
    "drop_positive_v": "positive_cable",
    "drop_ground_v": "ground_path",
    "drop_contacts_v": "solenoid_contacts",
    "drop_control_v": "control_circuit",
}
"""Printed limits that name one part -> the part."""


def counted_no_starts(repairs: pd.DataFrame, dates: pd.DatetimeIndex) -> pd.DataFrame:
    """No-starts that a list could have foreseen: unit, date, part, by date (see the constants for which count)."""
    bad = repairs[repairs["reason"] == "no_start"].rename(columns={"done_on": "date"})[["unit", "date", "part"]]
    bad = bad.sort_values(["unit", "date"], kind="stable").drop_duplicates(["unit", "date"])
    since = bad.groupby("unit")["date"].diff()
    again = since.notna() & (since < pd.Timedelta(days=PAST_LISTS.again_d))
    late = bad["date"] > dates[-1] + pd.Timedelta(days=PAST_LISTS.foreseen_d)
    early = bad["date"] <= dates[0] + pd.Timedelta(days=PAST_LISTS.settling_d)
    return bad[~again & ~late & ~early].sort_values(["date", "unit"], ignore_index=True)


def runs(lists: pd.DataFrame) -> pd.DataFrame:
    """Lists sorted by unit and date with `run_first`, the first date of the unbroken run of flags (NaT where not flagged)."""
    out = lists.sort_values(["unit", "as_of"], ignore_index=True)
    flagged = out["flagged"].astype(bool)
    before = flagged.groupby(out["unit"]).shift(fill_value=False)
    starts = flagged & ~before
    number = starts.cumsum().where(flagged)
    out["run_first"] = out["as_of"].where(flagged).groupby(number).transform("min")
    return out


def foreseen(lists: pd.DataFrame, events: pd.DataFrame) -> pd.DataFrame:
    """Each no-start with the part named, whether the last list `PAST_LISTS.foreseen_d` before flagged it, and the lead [d]."""
    if events.empty:
        return events.assign(named=pd.Series(dtype="str"), foreseen=False, lead_days=np.nan)
    looked = events.assign(by=events["date"] - pd.Timedelta(days=PAST_LISTS.foreseen_d)).sort_values(
        "by", kind="stable"
    )
    ran = runs(lists).rename(columns={"part": "named"}).sort_values("as_of", kind="stable")
    found = pd.merge_asof(looked, ran, left_on="by", right_on="as_of", by="unit")
    seen = found["flagged"].eq(True)
    lead = (found["date"] - found["run_first"]).dt.days.where(seen).astype(float)
    out = found.assign(foreseen=seen, named=found["named"].where(seen), lead_days=lead)
    return out[["unit", "date", "part", "named", "foreseen", "lead_days"]].sort_values(
        ["date", "unit"], ignore_index=True
    )


def left_on(units: pd.DataFrame) -> pd.Series[pd.Timestamp]:
    """Last day in service of vehicles, NaT where not known, by name."""
    return pd.Series(
        dates_of(np.where(np.isinf(left_d(units)), np.nan, left_d(units))), index=units["unit"].astype(str)
    )


def judged_flags(
    lists: pd.DataFrame,
    repairs: pd.DataFrame,
    known_to: pd.Timestamp,
    left: pd.Series[pd.Timestamp],
    decisions: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Each run of flags with what followed: unit, part (first named), first, last, outcome.

    outcome: "no-start" or "repaired" (a part named in the run) within `PAST_LISTS.for_nothing_d` of its first list, else "nothing",
    or "too early to say" where the history is shorter, or the vehicle left service before (`left`: of :func:`left_on`).
    """
    ran = runs(lists)
    ran = ran[ran["run_first"].notna()]
    if ran.empty:
        return pd.DataFrame(columns=["unit", "part", "first", "last", "outcome"])
    grouped = ran.groupby(["unit", "run_first"], sort=True)
    out = grouped.agg(part=("part", "first"), last=("as_of", "max")).reset_index()
    out = out.rename(columns={"run_first": "first"})
    named = ran[["unit", "run_first", "part"]].drop_duplicates().rename(columns={"run_first": "first"})
    until = pd.Timedelta(days=PAST_LISTS.for_nothing_d)
    done = named.merge(repairs[["unit", "done_on", "part", "reason"]], on="unit", suffixes=("", "_done"))
    done = done[(done["done_on"] >= done["first"]) & (done["done_on"] <= done["first"] + until)]
    stopped = done[done["reason"] == "no_start"]
    mended = done[(done["reason"] != "no_start") & (done["part"] == done["part_done"])]
    key = pd.MultiIndex.from_frame(out[["unit", "first"]])
    no_start = key.isin(pd.MultiIndex.from_frame(stopped[["unit", "first"]]))
    repaired = key.isin(pd.MultiIndex.from_frame(mended[["unit", "first"]]))
    over = out["first"] + until
    open_yet = ((over > known_to) | (over > out["unit"].map(left))).to_numpy()
    nothing = _found_nothing(out, decisions)
    out["outcome"] = np.select(
        [no_start, nothing, repaired, open_yet], ["no-start", "nothing", "repaired", "too early to say"], "nothing"
    )
    return out[["unit", "part", "first", "last", "outcome"]]


def _found_nothing(flags: pd.DataFrame, decisions: pd.DataFrame | None) -> np.ndarray:
    """(flags,) whether somebody looked during the run and found nothing."""
    if decisions is None or decisions.empty:
        return np.zeros(len(flags), dtype=bool)
    looked = decisions.loc[decisions["kind"] == "nothing_found", ["unit", "at"]].copy()
    looked["at"] = pd.to_datetime(looked["at"])
    met = flags.reset_index()[["index", "unit", "first", "last"]].merge(looked, on="unit")
    met = met[(met["at"] >= met["first"]) & (met["at"] <= met["last"] + pd.Timedelta(days=PAST_LISTS.foreseen_d))]
    return np.asarray(flags.index.isin(met["index"]))


def limit_lists(
    readings: pd.DataFrame,
    units: pd.DataFrame,
    repairs: pd.DataFrame,
    dates: pd.DatetimeIndex,
    *,
    book: LimitBook | None = None,
) -> pd.DataFrame:
    """Lists as printed limits would have made them: the last reading before each date has a value past a limit.

    The part is the one furthest past its limit in proportion; its repair after the reading clears the flag.
    """
    known = readings[readings["unit"].isin(units["unit"])].reset_index(drop=True)
    judged = verdict(known, units, book)
    past = judged[(judged["verdict"] == "act") & judged["check"].isin(list(LIMIT_PARTS))].copy()
    past["size"] = past["margin"] / past["limit"].abs()
    worst = past.sort_values(["row", "size"], kind="stable").drop_duplicates("row").set_index("row")["check"]
    state = known[["unit", "taken_at"]].assign(part=worst.map(LIMIT_PARTS).reindex(range(len(known))))
    grid = pd.MultiIndex.from_product([dates, units["unit"]], names=["as_of", "unit"]).to_frame(index=False)
    grid["unit"], state["unit"] = grid["unit"].astype(object), state["unit"].astype(object)
    last = pd.merge_asof(
        grid.sort_values("as_of", kind="stable"), state.sort_values("taken_at", kind="stable"),
        left_on="as_of", right_on="taken_at", by="unit", allow_exact_matches=False,
    )  # fmt: skip
    last = last[~(last["unit"].map(left_on(units)) <= last["as_of"])].reset_index(drop=True)
    last["flagged"] = last["part"].notna() & ~repaired_since(last, repairs)
    last["no_start_probability"] = np.nan
    last["unit"] = last["unit"].astype("str")
    return last[["as_of", "unit", "part", "flagged", "no_start_probability"]]


def repaired_since(last: pd.DataFrame, repairs: pd.DataFrame) -> pd.Series:
    """Whether the part was worked on between the reading (`taken_at`) and the list (`as_of`)."""
    rows = last.reset_index()[["index", "unit", "part", "taken_at", "as_of"]].dropna()
    done = rows.merge(repairs[["unit", "part", "done_on"]].astype({"unit": object}), on=["unit", "part"])
    done = done[(done["done_on"] >= done["taken_at"].dt.normalize()) & (done["done_on"] < done["as_of"])]
    return pd.Series(last.index.isin(done["index"]), index=last.index)


def watched_years(lists: pd.DataFrame) -> float:
    """Vehicle-years that the lists cover: every vehicle on a list counts until the next one."""
    dates = np.sort(lists["as_of"].unique())
    if len(dates) < 2:
        return 0.0
    step = float(np.median(np.diff(dates) / np.timedelta64(1, "D")))
    return len(lists) * step / DAYS_PER_YEAR


def part_lives(
    units: pd.DataFrame,
    readings: pd.DataFrame,
    repairs: pd.DataFrame,
    part: str,
    window: tuple[pd.Timestamp, pd.Timestamp],
) -> pd.DataFrame:
    """Lives of one part that reach into the window: unit, born, ended.

    A life begins in service, or with the first reading where that is not known, and with every recorded replacement; it ends with the
    next one, or with the vehicle's last day in service.
    """
    first = readings.groupby("unit")["taken_at"].min().dt.normalize()
    born = units["in_service"] if "in_service" in units else pd.Series(pd.NaT, index=units.index)
    born = born.fillna(units["unit"].map(first)).fillna(window[0])
    start = pd.DataFrame({"unit": units["unit"].astype(str), "born": born})
    new = repairs[(repairs["part"] == part) & (repairs["action"] == "replaced")]
    later = pd.DataFrame({"unit": new["unit"].astype(str), "born": new["done_on"]})
    lives = pd.concat([start, later], ignore_index=True).sort_values(["unit", "born"], ignore_index=True)
    left = lives["unit"].map(left_on(units))
    lives["ended"] = lives.groupby("unit")["born"].shift(-1).fillna(left).fillna(window[1])
    return lives[(lives["ended"] > window[0]) & (lives["born"] < window[1])].reset_index(drop=True)


def labelled(
    lists: pd.DataFrame,
    repairs: pd.DataFrame,
    known_to: pd.Timestamp,
    *,
    horizon_days: int,
    left: pd.Series[pd.Timestamp],
) -> pd.DataFrame:
    """Lists whose horizon has ended, with `no_start`: 1 where one came on the list's day or within the horizon.

    left: of :func:`left_on`; a vehicle that left service within the horizon is taken out, unless it failed before.
    """
    horizon = pd.Timedelta(days=horizon_days)
    over = lists[lists["as_of"] + horizon <= known_to + pd.Timedelta(days=1)].sort_values("as_of", kind="stable")
    bad = repairs.loc[repairs["reason"] == "no_start", ["unit", "done_on"]].sort_values("done_on", kind="stable")
    over, bad = over.astype({"unit": object}), bad.astype({"unit": object})
    met = pd.merge_asof(over, bad, left_on="as_of", right_on="done_on", by="unit", direction="forward")
    met["no_start"] = (met["done_on"] - met["as_of"] < horizon).astype(float)
    cut = met["unit"].map(left) < met["as_of"] + horizon - pd.Timedelta(days=1)
    met = met[~cut | (met["no_start"] == 1.0)]
    return met.drop(columns="done_on").sort_values(["as_of", "unit"], ignore_index=True)
