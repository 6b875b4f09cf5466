"""Tables for a terminal: the weekly list and one vehicle's sheet."""

import json
import math
import textwrap
from collections.abc import Mapping
from typing import Any

import pandas as pd

from analysis.worklist.assess import Assessment, FleetList
from analysis.worklist.course import plain_slopes
from dashboard.desk.reading_source import Taken
from dashboard.desk.terminal import WIDTH, wrapped
from dashboard.files import reading_json
from dashboard.words import list_row as wording
from dashboard.words import reading_sheet, reasons, terminal_words
from dashboard.words.plain_text import clean, cold_words, count_words, number, percent
from dashboard.words.safety import SAFE_NOTE, with_caution
from ingest.fields import MEASUREMENTS, OBSERVATIONS


def list_table(rows: list[dict[str, Any]], assessment: FleetList) -> str:
    judged = assessment.units["status"] == "judged"
    head = terminal_words.LIST_HEAD.format(day=assessment.as_of, days=assessment.horizon_days)
    lines = [head, "=" * len(head)]
    flagged = int(assessment.units["flagged"].sum())
    of, few = count_words(len(assessment.units), "vehicle"), int((~judged).sum())
    lines.append(terminal_words.FLAGGED.format(flagged=flagged, of=of, few=few, have="has" if few == 1 else "have"))
    if rows:
        lines += ["", row_line(*terminal_words.LIST_HEADS)]
    for row in rows:
        lines.append(
            row_line(
                row["unit"], row["depot"] or "-", reasons.suspect_name(row),
                percent(row["part_probability"]) if row["part"] else "-",
                percent(row["no_start_probability"]), start_words(row), row["act_by"] or "-",
                row["last_reading_on"] or "-",
            )
        )  # fmt: skip
        for reason in row["reasons"]:
            lines += wrapped(clean(reason), "    - ")
        if row["next_test"]:
            lines += wrapped(terminal_words.MEASURE_NEXT.format(what=with_caution(row["next_test"])), "    > ")
        elif row["flagged"]:
            lines += wrapped(terminal_words.ACT.format(what=with_caution(row["action"])), "    > ")
    if rows:
        lines += ["", *textwrap.wrap(SAFE_NOTE, WIDTH, break_on_hyphens=False)]
    return "\n".join(lines)


def row_line(unit: str, depot: str, part: str, sure: str, risk: str, start: str, act_by: str, last: str) -> str:
    return f"{clean(unit):12.12s} {clean(depot):10.10s} {part:18s} {sure:>9s} {risk:>9s}  {start:29s} {act_by:11s} {last:11s}"


def start_words(row: Mapping[str, Any]) -> str:
    """Coldest start with its interval, short."""
    middle = cold_words(row["coldest_start_c"])
    span = reasons.cold_span(row["coldest_start_low_c"], row["coldest_start_high_c"])
    return middle if span == middle else f"{middle} ({span.replace(' °C', '')})"


def unit_sheet(
    row: dict[str, Any],
    assessment: Assessment,
    readings: pd.DataFrame,
    repairs: pd.DataFrame,
    *,
    fmt: str,
    taken: Taken | None = None,
    decided: str = "",
    known: str = "",
) -> str:
    """One vehicle: where it stands, every part, the latest readings and what the latest says, repairs.

    taken: the latest reading taken apart, None for a vehicle without readings; decided: what stands decided about it, and why;
    known: which readings it knows.
    """
    parts = assessment.parts[assessment.parts["unit"] == row["unit"]]
    if fmt == "json":
        body = {
            "as_of": f"{assessment.as_of:%Y-%m-%d}",
            "horizon_days": assessment.horizon_days,
            **row,
            "parts": [part_object(p) for p in parts.to_dict("records")],
            "latest_reading": None
            if taken is None
            else reading_object(taken) | {"measured": measured_object(readings)},
        }
        return json.dumps(body, ensure_ascii=False, indent=1)
    mine = repairs[repairs["unit"] == row["unit"]]
    lines = [list_table([row], assessment).split("\n\n", 1)[1]]
    lines += ["", *wrapped(terminal_words.DECIDED.format(what=decided), "")] if decided else []
    lines += ["", terminal_words.PARTS]
    lines.append("  {:18s} {:>14s} {:>9s} {:>9s} {:>10s} {:>22s} {:>6s}  {}".format(*terminal_words.PART_HEADS))
    slopes = plain_slopes(assessment.state, str(row["unit"]))
    for p in parts.to_dict("records"):
        unit = reasons.quantity_unit(p["part"])
        renewed = "-" if pd.isna(p["renewed_coldest_start_c"]) else cold_words(p["renewed_coldest_start_c"])
        lines.append(
            f"  {reasons.told_name(p):18s} {reasons.plain(p['level_mohm'], unit):>14s} {reasons.bare(p['se_mohm']):>9s}"
            f" {reasons.bare(p['usual_mohm']):>9s} {reasons.bare(p['growth_mohm_per_month']):>10s}"
            f" {slope_words(slopes[p['part']]):>22s} {100 * p['worn_probability']:4.0f} %  {renewed}"
        )
    lines.append(terminal_words.MEDIAN_SLOPE)
    lines += ["", terminal_words.LATEST_READINGS, readings_text(readings), *wrapped(known, "  ")]
    lines += [] if taken is None else taken_lines(taken, mine)
    if len(mine):
        lines += ["", terminal_words.REPAIRS]
        lines += [
            terminal_words.REPAIR.format(
                number=r.repair_id,
                day=r.done_on,
                part=reasons.PART_WORDS.get(r.part, r.part),
                action=r.action,
                reason=r.reason,
            )
            for r in mine.itertuples()
        ]
    return "\n".join(lines)


def slope_words(slope: tuple[float, float, float]) -> str:
    """A slope a month with its interval, or why there is none."""
    middle, low, high = slope
    if math.isnan(middle):
        return terminal_words.UNDER_FIVE
    places = next((n for n in (2, 3, 4) if number(low, n) != number(high, n)), 4)
    return f"{number(middle, places)} ({number(low, places)} to {number(high, places)})"


def taken_lines(taken: Taken, repairs: pd.DataFrame) -> list[str]:
    """What the latest reading says: resistances, whether it fits, charge, limits, and what it points to; repairs: the vehicle's."""
    check = taken.check
    since = reading_sheet.work_since(repairs, taken.taken_at, "{:%Y-%m-%d}".format)
    blocks = (
        (
            terminal_words.LATEST_SAYS.format(day=taken.taken_at),
            [*([since] if since else []), *reading_sheet.identified_lines(check)],
            "  ",
        ),
        (terminal_words.DOES_IT_FIT, reading_sheet.fit_words(check), "  - "),
        (terminal_words.LIMITS, reading_sheet.limit_words(check), "  - "),
        (terminal_words.POINTS_TO, reading_sheet.pointed_words(check), "  - "),
        (terminal_words.OVER_TIME, reading_sheet.over_time_lines(taken.over_time), "  "),
    )
    lines = []
    for head, texts, mark in blocks:
        if texts:
            lines += ["", head]
            lines += [w for text in texts for w in wrapped(text, mark)]
    return lines


def reading_object(taken: Taken) -> dict[str, Any]:
    """The latest reading for JSON, with the resistances of the readings before it."""
    over_time = [
        part_object({str(name): value for name, value in row.items()}) for row in taken.over_time.to_dict("records")
    ]
    moment = taken.taken_at.isoformat()
    return {"taken_at": moment, **reading_json.reading_object(taken.check), "resistances_over_time": over_time}


def measured_object(readings: pd.DataFrame) -> dict[str, Any]:
    """What the latest reading holds, for JSON: each measurement and observation that was written down."""
    latest = readings.sort_values("taken_at").iloc[-1]
    numbers = {name: float(latest[name]) for name in MEASUREMENTS if pd.notna(latest.get(name))}
    bounds = [name for name in numbers if reading_sheet.is_bound(latest, name)]
    return (
        numbers
        | {name: str(latest[name]) for name in OBSERVATIONS if latest.get(name)}
        | ({"at_most": bounds} if bounds else {})
    )


def readings_text(readings: pd.DataFrame) -> str:
    """The last six readings, newest last."""
    if readings.empty:
        return "  none"
    table = readings.tail(6)
    filled = [name for name in MEASUREMENTS if name in table and table[name].notna().any()]
    rows = table.to_dict("records")
    table = table.assign(**{name: [reading_sheet.measured(row, name) or "-" for row in rows] for name in filled})
    said = ["doubtful"] if "doubtful" in table and (table["doubtful"] != "").any() else []
    first = [name for name in ("reading_id", "taken_at") if name in table]
    table = table[[*first, *filled, *said]].rename(columns={"reading_id": "reading"})
    if "outcome" in readings and (told := readings["outcome"].tail(6)).ne("").any():
        table["start"] = [reasons.OUTCOME_WORDS.get(outcome, outcome) or "-" for outcome in told]
    table["taken_at"] = table["taken_at"].dt.strftime("%Y-%m-%d")
    return textwrap.indent(table.to_string(index=False, na_rep="-"), "  ")


def logbook_lines(done: pd.DataFrame) -> list[str]:
    """Who did what, one line each; the number in brackets undoes a change."""
    lines = []
    for row in done.to_dict("records"):
        said = (
            f" {row['old'] or 'nothing'} -> {row['new'] or 'nothing'}" if row["what"] == "changed" else f" {row['new']}"
        )
        value = f"{' ' if row['column'] else ''}{row['column']}{said}".rstrip()
        unit = f" ({row['unit']})" if row["unit"] else ""
        why = f": {row['why']}" if row["why"] else ""
        number = terminal_words.CHANGE.format(number=row["change"]) if row["change"] else ""
        when = str(row["at"]).replace("T", " ")[:16]
        lines.append(f"{when} {row['by']}: {row['what']} {row['record']}{unit}{value}{why}{number}")
    return lines


def part_object(part: Mapping[str, Any]) -> dict[str, Any]:
    """One part for JSON: numbers rounded, dates as text, missing as null."""
    out: dict[str, Any] = {}
    for name, value in part.items():
        if name == "unit":
            continue
        if isinstance(value, pd.Timestamp) or value is pd.NaT:
            out[name] = wording.iso_day(value)
        elif isinstance(value, float):
            out[name] = None if pd.isna(value) else round(value, 4)
        else:
            out[name] = value if isinstance(value, str | bool) else int(value)
    return out
