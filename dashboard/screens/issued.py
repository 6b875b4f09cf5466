"""Lists as they were issued, kept in memory: what stands on record while vehicles are being judged."""

from datetime import date
from typing import Any

import streamlit as st

from analysis.plan.workshop_calendar import iso_week
from dashboard.screens import session
from dashboard.words import every_page
from ingest.records import WeeklyList, list_versions, read_weekly_list, weekly_lists

LISTS_KEPT = 6  # issued lists kept in memory, our choice


def read_issued(iso: str, version: int | None = None) -> WeeklyList | None:
    """A list as it was issued, the last version unless told; read once, because it never changes."""
    versions = session.read(list_versions, iso)
    wanted = version or next(iter(versions), 0)
    if wanted not in versions:
        return None
    path = session.database_path().resolve()
    return _issued(str(path), path.stat().st_ino, iso, wanted, versions[wanted])


@st.cache_resource(show_spinner=False, max_entries=LISTS_KEPT)
def _issued(path: str, inode: int, iso: str, version: int, issued_at: str) -> WeeklyList | None:  # noqa: ARG001 - its key
    return session.read(read_weekly_list, iso, version)


def newest_issued(day: date) -> WeeklyList | None:
    """The list last issued in the week of `day` or before; None where there is none."""
    weeks = [week for week in session.read(weekly_lists) if week <= iso_week(day)]
    return read_issued(max(weeks)) if weeks else None


def until_fresh() -> WeeklyList | None:
    """Have the page follow when every vehicle is judged, and say so; the newest list, which is shown until then."""
    issued = newest_issued(session.as_of())
    here = f" {every_page.UNTIL_THEN.format(week=issued.iso_week)}" if issued else ""
    session.fresh_when_ready(session.key_of(), words=f"{every_page.JUDGING_ALL}{here}")
    return issued


def issued_row(issued: WeeklyList, unit: str) -> dict[str, Any] | None:
    """The vehicle's row of a list as it was issued; None for a vehicle that is not on it."""
    return next((dict(row) for row in issued.body["units"] if row["unit"] == unit), None)
