"""Values beyond a printed limit that nobody did anything about."""

import pandas as pd

from analysis.backtest.choices import PAST_LISTS
from analysis.backtest.history import LIMIT_PARTS, repaired_since
from analysis.bay.verdict import verdict
from analysis.circuit.limit_book import LimitBook
from analysis.readings.panel import trusted_values

COLUMNS = ("unit", "part", "check", "value", "value_unit", "limit", "times", "since", "last", "readings")


def beyond_untouched(
    readings: pd.DataFrame,
    units: pd.DataFrame,
    repairs: pd.DataFrame,
    as_of: pd.Timestamp,
    *,
    book: LimitBook | None = None,
) -> pd.DataFrame:
    """Parts whose newest value is beyond its printed limit, with no repair of the part on record since it was read.

    :param readings, units, repairs: as in DEVELOPERS.md; what is dated `as_of` or later is left out, doubtful values too
    :param book: the user's own limits; the printed ones without
    :returns: one row per vehicle and part, its worst check: unit, part, check, value [value_unit], limit, times (how
        far beyond, as a share of the limit), since and last (first and newest reading of the unbroken run), readings
        (how many are in the run); longest beyond first
    """
    known = readings[readings["unit"].isin(units["unit"]) & (readings["taken_at"] < as_of)]
    known = known.sort_values(["unit", "taken_at"]).groupby("unit").tail(PAST_LISTS.run_readings).reset_index(drop=True)
    known = known.assign(**{name: value for name, value in trusted_values(known).items() if name in known})
    judged = verdict(known, units, book)
    judged = judged[judged["check"].isin(list(LIMIT_PARTS))].sort_values(["unit", "check", "taken_at"], kind="stable")
    judged = judged.assign(part=judged["check"].map(LIMIT_PARTS), times=-judged["margin"] / judged["limit"].abs())
    inside = judged["verdict"] != "act"
    newest = judged[~judged.duplicated(["unit", "check"], keep="last") & ~inside]
    broken = inside.groupby([judged["unit"], judged["check"]]).cumsum()
    key = [judged["unit"], judged["check"], broken]
    beyond = judged.assign(begun=judged["taken_at"].where(~inside).groupby(key).transform("min"))
    beyond = beyond.assign(count=(~inside).groupby(key).transform("sum"))
    found = beyond.loc[newest.index].rename(columns={"taken_at": "last", "begun": "since", "count": "readings"})
    found = found[~repaired_since(found.assign(taken_at=found["last"], as_of=as_of), repairs)]
    found = found.sort_values(["unit", "part", "times"], ascending=[True, True, False], kind="stable")
    found = found.drop_duplicates(["unit", "part"]).sort_values(["since", "unit"], kind="stable")
    return found[list(COLUMNS)].reset_index(drop=True)
