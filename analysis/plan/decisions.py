"""What was decided about vehicles, as the plan obeys it: accepted ones come, postponed ones not before their date."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.readings.panel import Bools, Ints

ACCEPTED, POSTPONED, NOTHING_FOUND = "accepted", "postponed", "nothing_found"


@dataclass(frozen=True)
class Decided:
    """What stands on the plan's date about its U vehicles.

    kind, on, until, why: (U,) the decision ("" for none), its day and the end of a postponement, as ISO 8601 dates, and the
    reason as it was typed; accepted: (U,) who is to come; not_before: (U,) first day of a visit [days after the plan's date], 0 for any.
    """

    kind: tuple[str, ...]
    on: tuple[str, ...]
    until: tuple[str, ...]
    why: tuple[str, ...]
    accepted: Bools
    not_before: Ints


def in_force(decisions: pd.DataFrame, repairs: pd.DataFrame, as_of: pd.Timestamp, done: pd.DataFrame) -> pd.DataFrame:
    """The decisions that a plan made on `as_of` obeys, the latest of each vehicle, by unit: kind, part, at, until, reason.

    A postponement ends with its date; accepted work ends with a repair of the vehicle, on that day or later, or with a
    visit that was done, whatever it found.
    """
    columns = ["kind", "part", "at", "until", "reason"]
    if decisions.empty:
        return pd.DataFrame(columns=columns, index=pd.Index([], name="unit"))
    known = decisions[decisions["at"] < as_of + pd.Timedelta(days=1)].assign(unit=lambda d: d["unit"].astype(str))
    known = known.assign(**{name: "" for name in ("part", "reason") if name not in known.columns})
    last = known.sort_values("at", kind="stable").drop_duplicates("unit", keep="last").set_index("unit")[columns]
    over = (last["kind"] == POSTPONED) & ~(last["until"] > as_of)
    work = pd.concat([frame[["unit", "done_on"]] for frame in (repairs, done) if len(frame)] or [repairs])
    worked = work.groupby(work["unit"].astype(str))["done_on"].max().reindex(last.index)
    ended = (last["kind"] == ACCEPTED) & (worked >= last["at"].dt.normalize())
    standing: pd.DataFrame = last[~(over | ended)]
    return standing


def decided(standing: pd.DataFrame, names: list[str], as_of: pd.Timestamp) -> Decided:
    """What :func:`in_force` says of the vehicles `names`."""
    mine = standing.reindex(names)
    kind = mine["kind"].fillna("").astype(str)
    until = pd.to_datetime(mine["until"]).where(kind == POSTPONED)
    days = ((until - as_of) / pd.Timedelta(days=1)).fillna(0.0).to_numpy(np.float64)
    return Decided(
        tuple(kind),
        tuple(_iso(pd.to_datetime(mine["at"]))),
        tuple(_iso(until)),
        tuple(mine["reason"].fillna("").astype(str)),
        (kind == ACCEPTED).to_numpy(),
        np.maximum(np.ceil(days), 0).astype(np.int64),
    )


def _iso(moments: pd.Series) -> list[str]:
    return ["" if pd.isna(moment) else f"{moment:%Y-%m-%d}" for moment in moments]
