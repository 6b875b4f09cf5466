"""Workshop hours, working days and closed days as a planner sets them on the screen; each setting is one change."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

import pandas as pd
from sqlite_utils import Database

from analysis.plan.choices import VISITS
from ingest import store
from ingest.sheet_edits import DAY_NAMES, Edit, checked_closure, checked_hours, checked_monday, save_edits

SAME_SHARE = 1e-9  # shares of a week's hours that are less apart are the same


@dataclass(frozen=True)
class DepotHours:
    """What is on record of one workshop: hours of each day of the usual week [h] (all None where no usual week is known),
    hours of weeks that differ by their Monday, and closed days as (first, last, why)."""

    usual: tuple[float | None, ...]
    weeks: tuple[tuple[date, float], ...]
    closed: tuple[tuple[date, date, str], ...]


def known_depots(db: Database) -> list[str]:
    """Every depot that a vehicle stands at or a workshop is at."""
    rows = db.query("SELECT depot FROM units WHERE depot <> '' UNION SELECT depot FROM workshops ORDER BY 1")
    return [str(row["depot"]) for row in rows]


def depot_hours(db: Database, depot: str, *, since: date) -> DepotHours:
    """Hours of the workshop at `depot`; weeks and closed days that were over before `since` are left out. depot "" has only
    the days on which every depot is closed."""
    hours, closures = store.read_workshops(db), store.read_closures(db)
    own = hours[hours["depot"] == depot]
    week = own.loc[own["week_from"].isna(), "hours_per_week"]
    usual = [None] * 7 if week.empty else [float(week.iloc[-1]) * share for share in _shares(db, depot)]
    monday = pd.Timestamp(since) - pd.Timedelta(days=since.weekday())
    special = own[own["week_from"] >= monday].sort_values("week_from")
    shut = closures[(closures["depot"] == depot) & (closures["to_on"] >= pd.Timestamp(since))]
    return DepotHours(
        tuple(usual),
        tuple(
            (start.date(), float(h)) for start, h in zip(special["week_from"], special["hours_per_week"], strict=True)
        ),
        tuple(
            (a.date(), b.date(), str(why)) for a, b, why in shut[["from_on", "to_on", "why"]].itertuples(index=False)
        ),
    )


def set_usual_week(
    db: Database, depot: str, hours: Sequence[float | None], *, by: str, now: datetime | None = None
) -> int:
    """Set the hours of each day of the usual week, Monday first, an empty one for none; all empty: no usual week is known.

    Returns the number of the change, 0 where nothing differs. Raises ValueError with a sentence for what cannot be.
    """
    _known(db, depot)
    told = [
        checked_hours(f"{name} at {depot}", h if h is not None else 0.0)
        for name, h in zip(DAY_NAMES, hours, strict=True)
    ]
    total = sum(told)
    checked_hours(f"the week at {depot}", total)
    none = all(h is None for h in hours)
    shares = [h / total for h in told] if total else _usual_shares()
    usual = max(abs(a - b) for a, b in zip(shares, _usual_shares(), strict=True)) < SAME_SHARE
    before = _shares(db, depot)
    if total and max(abs(a - b) for a, b in zip(shares, before, strict=True)) < SAME_SHARE:
        shares, usual = before, depot not in set(store.read_workshop_days(db)["depot"])
    edits = [Edit("workshops", (depot, ""), None if none else {"hours_per_week": round(total, 6)})]
    for at, share in enumerate(shares, start=1):
        edits.append(Edit("workshop_days", (depot, str(at)), None if usual or not share else {"share": share}))
    return save_edits(db, edits, by=by, now=now)


def set_week(
    db: Database, depot: str, iso_week: str, hours: float | None, *, by: str, now: datetime | None = None
) -> int:
    """Set the hours of one week, or None to have it as the usual week again; the change's number as above."""
    _known(db, depot)
    monday = checked_monday(iso_week)
    values = None if hours is None else {"hours_per_week": checked_hours(f"the week {iso_week} at {depot}", hours)}
    return save_edits(db, [Edit("workshops", (depot, monday.isoformat()), values)], by=by, now=now)


def close_days(
    db: Database, depot: str, first: object, last: object, why: object, *, by: str, now: datetime | None = None
) -> int:
    """Close a workshop ("" every one) from a day to a day; the change's number as above."""
    if depot:
        _known(db, depot)
    a, b, text = checked_closure(first, last, why)
    return save_edits(db, [Edit("closures", (depot, a, b), {"why": text})], by=by, now=now)


def open_days(db: Database, depot: str, first: date, last: date, *, by: str, now: datetime | None = None) -> int:
    """Take closed days away again; the change's number as above."""
    return save_edits(db, [Edit("closures", (depot, first.isoformat(), last.isoformat()), None)], by=by, now=now)


def _known(db: Database, depot: str) -> None:
    depots = known_depots(db)
    if depot not in depots:
        raise ValueError(f"there is no depot {depot[:64]!r}; allowed are {', '.join(depots)}")


def _usual_shares() -> list[float]:
    """Shares of a week's hours where no working days are known: alike from Monday on."""
    return [1.0 / VISITS.working_days if at < VISITS.working_days else 0.0 for at in range(7)]


def _shares(db: Database, depot: str) -> list[float]:
    days = store.read_workshop_days(db)
    here = days[days["depot"] == depot]
    own = dict(zip(here["weekday"].tolist(), here["share"].tolist(), strict=True))
    return [float(own.get(at, 0.0)) for at in range(1, 8)] if own else _usual_shares()
