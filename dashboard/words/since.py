"""What has changed about a vehicle since its list was issued: list and page never say two figures without a word."""

from collections.abc import Mapping
from typing import Any

import pandas as pd

from dashboard.words.plain_text import cold_words, day, percent, span
from dashboard.words.reasons import suspect_name
from ingest.records import WeeklyList


def changed(
    then: Mapping[str, Any] | None,
    now: Mapping[Any, Any],
    *,
    horizons: tuple[int, int],
    days: tuple[str, str],
    fahrenheit: bool,
) -> list[str]:
    """Each figure that reads otherwise now than on the list, with both.

    then: the vehicle's row of the list, None where it was not on it; now: its row of the assessment; horizons: days looked
    ahead then and now;
    days: of the list and of the assessment, as 2026-01-31: whoever was and is to act at once is to do so now, not later.
    """
    if then is None:
        return ["not on the list then, it would be now"] if now["flagged"] else []
    within = [f" within {days} days" if horizons[0] != horizons[1] else "" for days in horizons]
    chances = [percent(round(float(row["no_start_probability"]), 4)) for row in (then, now)]
    now = {"evidence": then.get("evidence", ()), **now}  # by what alone it is judged, where the row does not say it
    pairs = {
        "no-start": tuple(f"{chance}{days}" for chance, days in zip(chances, within, strict=True)),
        "starts down to": tuple(
            cold_words(float(row["coldest_start_c"]), fahrenheit=fahrenheit) for row in (then, now)
        ),
        "80 % sure of": tuple(
            span(*(cold_words(float(row[f"coldest_start_{end}_c"]), fahrenheit=fahrenheit) for end in ("low", "high")))
            for row in (then, now)
        ),
        "suspect": (suspect_name(then), suspect_name(now) if now["flagged"] else suspect_name(then)),
        "its sureness": tuple(percent(round(float(row["part_probability"]), 3)) for row in (then, now)),
        "to act": tuple(_act(row["act_by"], on) for row, on in zip((then, now), days, strict=True)),
        "last read": tuple(day(row["last_reading_on"]) for row in (then, now)),
    }
    said = [f"{name} {old} then, {new} now" for name, (old, new) in pairs.items() if old != new]
    return said if now["flagged"] else [*said, "on the list then, it would not be now"]


def since_issued(
    issued: WeeklyList,
    then: Mapping[str, Any] | None,
    now: Mapping[Any, Any] | None,
    *,
    as_of: str,
    horizon_days: int,
    fahrenheit: bool,
) -> str:
    """One sentence with both figures of everything that reads otherwise now; "" where nothing does.

    now: None where the vehicle is out of service; as_of: the day it is of.
    """
    horizons = (int(issued.body["horizon_days"]), horizon_days)
    days = (issued.as_of, as_of)
    said = (
        ["out of service now"]
        if now is None
        else changed(then, now, horizons=horizons, days=days, fahrenheit=fahrenheit)
    )
    return f"Since the list of {issued.iso_week} was issued: {'; '.join(said)}." if said else ""


def _act(act_by: Any, on: str) -> str:
    if pd.isna(act_by):
        return "no date"
    return "at once" if pd.Timestamp(act_by) <= pd.Timestamp(on) else f"by {day(act_by)}"


def rows_now(units: pd.DataFrame) -> dict[str, dict[Any, Any]]:
    return {str(row["unit"]): row for row in units.to_dict("records")}
