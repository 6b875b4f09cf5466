"""Paper: the weekly list, a vehicle's sheet and a blank bay sheet, in black on white, with room to write."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, PageBreak, Spacer, Table, TableStyle

from analysis.bay.where_volts_go import WhereVoltsGo
from dashboard.desk import weekly
from dashboard.desk.in_order import STEPS
from dashboard.files.paper_volts import volts_drawing
from dashboard.files.pieces import (
    LONGEST_LINE,
    PORTRAIT_MM,
    build,
    code,
    grid,
    lines_to_write,
    name_of,
    para,
    printable,
    sentence,
    tick_boxes,
)
from dashboard.words import every_page, list_words, vehicle_words
from dashboard.words import paper_words as say
from dashboard.words.list_row import to_do
from dashboard.words.plain_text import (
    by_when,
    cold_range,
    cold_words,
    day,
    fahrenheit_of,
    glued,
    number,
    percent,
    sureness,
    temperature,
    whole,
    words,
)
from dashboard.words.reading_sheet import for_reader, is_bound
from dashboard.words.reasons import (
    MEASURES,
    OUTCOME_WORDS,
    Reader,
    first_reason,
    plain,
    quantity_unit,
    read_reasons,
    suspect_name,
)
from dashboard.words.safety import SAFE_NOTE, with_caution
from ingest.fields import MEASUREMENTS, QUANTITIES
from ingest.records import WeeklyList


@dataclass(frozen=True)
class BayUnit:
    """What a bay sheet is filled with: the vehicle, why it is due, its last values by column, limits in words."""

    unit: str
    depot: str
    vehicle_class: str
    system_v: int
    due: str
    last: Mapping[str, float]
    last_on: pd.Timestamp | None
    limits: Mapping[str, str]


# --- the weekly list -------------------------------------------------------------------------------------------------


def list_pdf(
    chosen: WeeklyList,
    rows: Sequence[Mapping[str, Any]],
    standing: Mapping[str, Mapping[Any, Any]],
    *,
    fahrenheit: bool = False,
    responsible: str = "",
) -> bytes:
    """The weekly list on landscape A4, with a column to write in what was decided; `responsible`: a sentence."""
    body = chosen.body
    table: list[Sequence[Any]] = [[para(h, 7.5, bold=True) for h in say.LIST_HEADS]]
    table += [_list_row(row, body, standing.get(row["unit"]), in_f=fahrenheit) for row in rows]
    title = say.LIST_TITLE.format(week=chosen.iso_week)
    story: list[Flowable] = [
        para(title, 15, bold=True),
        Spacer(1, 2 * mm),
        para(
            say.list_line(
                body["as_of"],
                days=body["horizon_days"],
                needing=len(body["units"]),
                of=body["counts"]["units"],
                shown=len(rows),
            )
        ),
        *(para(sentence(text)) for text in weekly.said_of_list(chosen, fahrenheit=fahrenheit)),
        *([para(sentence(responsible))] if responsible else []),
        Spacer(1, 3 * mm),
        grid(table, [w * mm for w in (8, 33, 37, 22, 43, 27, 66, 35)]),
    ]
    if body.get("gone"):
        story += [Spacer(1, 4 * mm), para(say.GONE, 10, bold=True)]
        story += [
            para(f"<b>{printable(g['unit'])}</b>: {printable(g['why'], longest=LONGEST_LINE)}.") for g in body["gone"]
        ]
    story += [Spacer(1, 4 * mm), para(SAFE_NOTE, 7)]
    return build(story, title=title, wide=True)


def _list_row(
    row: Mapping[str, Any], body: Mapping[str, Any], decision: Mapping[Any, Any] | None, *, in_f: bool
) -> list[Any]:
    low = body["depots"].get(row["depot"], {}).get("coming_low_c")
    coming = "–" if low is None else temperature(low, fahrenheit=in_f)
    why = first_reason(row, pd.Timestamp(body["as_of"]), fahrenheit=in_f)
    cold = cold_words(row["coldest_start_c"], fahrenheit=in_f)
    change = str(row.get("change", ""))
    by = by_when(row["act_by"], body["as_of"], missing="–")
    decided = printable(weekly.decision_with_reason(decision)) if decision else ""
    return [
        para(str(row.get("rank", "")), 8, bold=True),
        para(
            f"<b>{name_of(row['unit'])}</b><br/>{name_of(row['depot'] or '')}, {name_of(words(row['vehicle_class']))}"
        ),
        para(
            f"<b>{suspect_name(row).capitalize()}</b><br/>{sureness(row['part_probability'])} "
            f"{whole('(' + percent(row['part_probability']) + ')')}"
        ),
        para(
            whole(
                f"<b>{glued(percent(row['no_start_probability']))}</b><br/>{'' if change == 'first' else list_words.CHANGE_WORDS.get(change, '')}"
            )
        ),
        para(
            whole(f"<b>{cold}</b><br/>{cold_range(row, fahrenheit=in_f)}<br/>{list_words.COMING_LOW_HEAD} {coming}"),
            7.5,
        ),
        para(glued(f"<b>{by}</b><br/>{say.READ_ON.format(day=day(row['last_reading_on']))}"), 7.5),
        para(f"{sentence(why)}. <b>{sentence(to_do(row))}.</b>", 7.5),
        para(decided, 7.5),
    ]


# --- one vehicle -----------------------------------------------------------------------------------------------------

_LAST_READINGS = 10
TAKEN_MM = 19  # width of the day in a table of readings
NARROWEST = 5  # [letters] a column of readings is at least as wide as so many of its heading; our choice
WIDEST_LETTER_MM = 2.1  # so that few columns do not sprawl; our choice
_LAST_REPAIRS = 12


def unit_pdf(
    row: Mapping[str, Any],
    parts: pd.DataFrame,
    readings: pd.DataFrame,
    repairs: pd.DataFrame,
    *,
    as_of: str,
    horizon_days: int,
    volts: WhereVoltsGo | None = None,
    fahrenheit: bool = False,
) -> bytes:
    """One vehicle on portrait A4: where it stands, where its volts go, every part, last readings, repairs, room for notes."""
    cold = Reader(pd.Timestamp(as_of), fahrenheit).down_to(float(row["coldest_start_c"]))
    reasons = read_reasons(row, pd.Timestamp(as_of), fahrenheit=fahrenheit)
    reasons += [for_reader(text, fahrenheit=fahrenheit) for text in row.get("latest", [])]
    title = say.SHEET_TITLE.format(unit=row["unit"], day=day(as_of))
    by = by_when(row["act_by"], as_of)
    shown = readings.tail(_LAST_READINGS)
    story: list[Flowable] = [
        para(printable(title), 14, bold=True),
        para(f"{printable(row['depot'] or every_page.NO_DEPOT)}, {name_of(words(row['vehicle_class']))}", 9),
        Spacer(1, 3 * mm),
        para(
            say.STANDS.format(
                days=horizon_days, chance=percent(row["no_start_probability"]), cold=cold,
                cold_range=cold_range(row, fahrenheit=fahrenheit), part=suspect_name(row),
                sure=sureness(row["part_probability"]), share=percent(row["part_probability"]), day=by,
            ),
            9,
        ),
        Spacer(1, 2 * mm),
        *[para(f"• {sentence(reason.rstrip('.'))}.", 8.5) for reason in reasons],
        Spacer(1, 2 * mm),
        para(say.WHAT_TO_DO.format(action=sentence(with_caution(str(row["action"])).rstrip("."))), 9),
        para(say.MEASURE_NEXT.format(what=sentence(with_caution(row["next_test"] or vehicle_words.ENOUGH))), 9),
        Spacer(1, 3 * mm),
        *([volts_drawing(volts, fahrenheit=fahrenheit), Spacer(1, 3 * mm)] if volts is not None else []),
        _parts_table(parts, fahrenheit=fahrenheit),
        Spacer(1, 3 * mm),
        para(say.LAST_READINGS, 10, bold=True),
        *_reading_tables(shown, fahrenheit=fahrenheit),
        *([para(say.DOUBTFUL, 7)] if (shown["doubtful"] != "").any() else []),
        Spacer(1, 3 * mm),
        para(vehicle_words.REPAIRS, 10, bold=True),
        *(_repair_lines(repairs) or [para(say.NONE_ON_RECORD, 8.5)]),
        Spacer(1, 5 * mm),
        para(say.NOTES, 10, bold=True),
        lines_to_write(5, 8),
        Spacer(1, 3 * mm),
        para(SAFE_NOTE, 7),
    ]  # fmt: skip
    return build(story, title=title, wide=False)


def _parts_table(parts: pd.DataFrame, *, fahrenheit: bool) -> Table:
    heads = say.part_heads(temperature(20.0, fahrenheit=fahrenheit))
    rows: list[Sequence[Any]] = [[para(h, 8, bold=True) for h in heads]]
    for part in parts.to_dict("records"):
        name = str(part["part"])
        unit = quantity_unit(name)
        rows.append(
            [
                para(MEASURES[name]),
                para(f"{plain(part['level_mohm'], unit)} ± {plain(part['se_mohm'], unit)}"),
                para(plain(part["usual_mohm"], unit)),
                para(plain(part["growth_mohm_per_month"], unit)),
                para(percent(part["part_probability"])),
                para(cold_words(part["renewed_coldest_start_c"], fahrenheit=fahrenheit)),
            ]
        )
    return grid(rows, [w * mm for w in (42, 38, 28, 26, 20, 30)])


def _reading_tables(readings: pd.DataFrame, *, fahrenheit: bool) -> list[Flowable]:
    """The readings with the columns that this vehicle ever filled; those seldom measured in a table of their own."""
    filled = [name for name in MEASUREMENTS if name in readings and readings[name].notna().any()]
    usual = [name for name in filled if not QUANTITIES[name].seldom]
    seldom = [name for name in filled if QUANTITIES[name].seldom]
    tables: list[Flowable] = [_readings_table(readings, usual, fahrenheit=fahrenheit)]
    if seldom:
        some = readings.dropna(subset=seldom, how="all")
        tables += [Spacer(1, 2 * mm), _readings_table(some, seldom, fahrenheit=fahrenheit)]
    return tables


def _readings_table(readings: pd.DataFrame, filled: Sequence[str], *, fahrenheit: bool) -> Table:
    heads = [
        f"{QUANTITIES[name].over_column}, {own_unit(QUANTITIES[name].unit, fahrenheit=fahrenheit)}" for name in filled
    ]
    went = [OUTCOME_WORDS.get(str(outcome), "") for outcome in readings.get("outcome", [""] * len(readings))]
    heads += [say.START_HEAD] if any(went) else []
    rows: list[Sequence[Any]] = [[para(head, 5.5, bold=True) for head in (say.TAKEN_HEAD, *heads)]]
    for reading, outcome in zip(readings.to_dict("records"), went, strict=True):
        doubtful = str(reading.get("doubtful", "")).split(",")
        cells = [day(reading["taken_at"])]
        for name in filled:
            cell = (say.AT_MOST if is_bound(reading, name) else "") + reading_cell(
                name, reading[name], fahrenheit=fahrenheit
            )
            cells.append(cell + (" ?" if name in doubtful else ""))
        cells += [outcome] if any(went) else []
        rows.append([para(cell, 6.5) for cell in cells])
    letters = [max(NARROWEST, *map(len, head.split())) for head in heads]
    each = min(WIDEST_LETTER_MM, (PORTRAIT_MM - TAKEN_MM) / max(1, sum(letters)))
    return grid(rows, [TAKEN_MM * mm, *(count * each * mm for count in letters)])


def own_unit(unit: str, *, fahrenheit: bool) -> str:
    """A unit as the reader's thermometer has it."""
    return "°F" if unit == "°C" and fahrenheit else unit


def reading_cell(name: str, value: Any, *, fahrenheit: bool = False) -> str:
    if value is None or pd.isna(value):
        return ""
    if name == "temperature_c" and fahrenheit:
        return number(fahrenheit_of(float(value)))
    return number(float(value), QUANTITIES[name].digits)


def _repair_lines(repairs: pd.DataFrame) -> list[Flowable]:
    lines: list[Flowable] = []
    for r in repairs.tail(_LAST_REPAIRS).to_dict("records"):
        reason = printable(words(str(r["reason"])) or say.NO_REASON)
        lines.append(para(f"{day(r['done_on'])}: {printable(weekly.work_words(r))} ({reason})", 8.5))
    return lines


# --- blank sheets for the bay ----------------------------------------------------------------------------------------

BAY_ROWS_MM, HIGHEST_ROW_MM = 134, 11  # room for the rows of a bay sheet, and the height of one where few; our choice
UNIT_HIGH = 15.5  # [pt] a line of a unit with what a cell leaves above and below; the rest of the row is to write in


def bay_pdf(units: Iterable[BayUnit], *, fahrenheit: bool = False) -> bytes:
    """A blank sheet per vehicle with its last values beside the lines to fill in."""
    story: list[Flowable] = []
    for unit in units:
        if story:
            story.append(PageBreak())
        story += _bay_page(unit, fahrenheit=fahrenheit)
    return build(story or [para(say.NONE_DUE, 11)], title=say.BAY_SHEET, wide=False)


def _bay_page(unit: BayUnit, *, fahrenheit: bool) -> list[Flowable]:
    heads = say.bay_heads(day(unit.last_on))
    rows: list[Sequence[Any]] = [[para(h, 9, bold=True) for h in heads]]
    asked = {name: QUANTITIES[name] for _, names in STEPS for name in names}
    room = min(HIGHEST_ROW_MM, BAY_ROWS_MM / len(asked)) * mm - UNIT_HIGH
    for name, quantity in asked.items():
        last, measured_in = unit.last.get(name), own_unit(quantity.unit, fahrenheit=fahrenheit)
        cell = reading_cell(name, last, fahrenheit=fahrenheit)
        shown = f"{cell} {measured_in}" if cell else ""
        label = f"{quantity.label}: {quantity.where}" if quantity.where else quantity.label
        rows.append(
            [
                para(label, 8.5),
                para(whole(printable(unit.limits.get(name, ""))), 8),
                para(shown, 10),
                [para(measured_in, 8), Spacer(1, room)],
            ]
        )
    return [
        para(say.VEHICLE.format(unit=printable(unit.unit)), 18, bold=True),
        para(f"{printable(unit.depot)}, {printable(words(unit.vehicle_class))}, {unit.system_v} V.", 9.5),
        para(printable(unit.due), 9.5),
        Spacer(1, 3 * mm),
        para(SAFE_NOTE, 7.5),
        Spacer(1, 3 * mm),
        Table([[para(say.DAY_AND_TIME, 9), "", para(say.MEASURED_BY, 9), ""]], colWidths=[w * mm for w in (26, 66, 26, 66)],
              rowHeights=[9 * mm], style=TableStyle([("BOX", (0, 0), (-1, -1), 0.4, (0, 0, 0))])),
        Spacer(1, 3 * mm),
        grid(rows, [w * mm for w in (66, 56, 29, 33)]),
        Spacer(1, 4 * mm),
        tick_boxes(every_page.HOW_STARTED, list(OUTCOME_WORDS.values())),
        Spacer(1, 3 * mm),
        para(say.WORK_DONE, 9),
        lines_to_write(3, 9),
    ]  # fmt: skip


# --- codes for windscreens -------------------------------------------------------------------------------------------

CODE_MM, LABEL_MM = 44, (92, 62)  # a code read at arm's length through glass; two by four labels on a sheet; our choice


def codes_pdf(vehicles: Sequence[tuple[str, str]]) -> bytes:
    """Labels to cut out, one per vehicle: its number, and a QR code (ISO/IEC 18004) of the address where it is measured.

    vehicles: (unit, address); ValueError for none at all.
    """
    if not vehicles:
        raise ValueError("there is no vehicle to print a code for")
    labels = [_label(unit, address) for unit, address in vehicles]
    rows = [[*labels[k : k + 2], *([""] * (2 - len(labels[k : k + 2])))] for k in range(0, len(labels), 2)]
    width, height = (side * mm for side in LABEL_MM)
    sheet = Table(
        rows, colWidths=[width] * 2, rowHeights=[height] * len(rows),
        style=TableStyle([("GRID", (0, 0), (-1, -1), 0.3, (0, 0, 0), None, (2, 3)), ("VALIGN", (0, 0), (-1, -1), "MIDDLE")]),
    )  # fmt: skip
    return build([sheet], title=say.CODES_TITLE, wide=False)


def _label(unit: str, address: str) -> Table:
    drawing = code(address, CODE_MM)
    said = [
        para(name_of(unit), 17, bold=True),
        Spacer(1, 2 * mm),
        para(say.CODE_HELP, 8),
        Spacer(1, 2 * mm),
        para(printable(address, longest=LONGEST_LINE), 5.5),
    ]
    return Table(
        [[drawing, said]], colWidths=[(CODE_MM + 2) * mm, (LABEL_MM[0] - CODE_MM - 6) * mm],
        style=TableStyle([("VALIGN", (0, 0), (-1, -1), "MIDDLE"), ("LEFTPADDING", (0, 0), (-1, -1), 1)]),
    )  # fmt: skip
