"""Paper: the weekly list, a vehicle's sheet and a blank bay sheet, in black on white, with room to write."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any, Final
from xml.sax.saxutils import escape

import pandas as pd
import reportlab
from reportlab.graphics.barcode.qr import QrCodeWidget
from reportlab.graphics.shapes import Drawing
from reportlab.lib.pagesizes import A4, landscape
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Flowable, LongTable, PageBreak, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from dashboard.desk import weekly
from dashboard.words.plain_text import (
    as_sentence,
    by_when,
    celsius,
    cold_range,
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
    PART_WORDS,
    Reader,
    first_reason,
    part_name,
    plain,
    quantity_unit,
    read_reasons,
)
from dashboard.words.safety import SAFE_NOTE, with_caution
from ingest.fields import MEASUREMENTS, QUANTITIES
from ingest.records import WeeklyList

LONGEST_CELL = 220  # characters of a text in a cell, so that no cell fills a page; our choice
LONGEST_NAME = 64
CHANGE_WORDS: Final = {"new": "new", "worse": "worse", "better": "better", "same": "as before"}
LONGEST_LINE = 400
_REGULAR, _BOLD = "Vera", "VeraBd"
_MARGIN = 13 * mm


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


@cache
def _font() -> TTFont:
    """Bitstream Vera comes with reportlab and knows Ω, minus and the accents of Latin-1."""
    folder = Path(reportlab.__file__).parent / "fonts"
    regular = TTFont(_REGULAR, str(folder / "Vera.ttf"))
    pdfmetrics.registerFont(regular)
    pdfmetrics.registerFont(TTFont(_BOLD, str(folder / "VeraBd.ttf")))
    pdfmetrics.registerFontFamily(_REGULAR, normal=_REGULAR, bold=_BOLD, italic=_REGULAR, boldItalic=_BOLD)
    return regular


def name_of(text: object) -> str:
    """A vehicle's, depot's or class's name for a Paragraph."""
    return printable(text, longest=LONGEST_NAME)


def printable(text: object, *, longest: int = LONGEST_CELL) -> str:
    """Text for a Paragraph: markup escaped, marks that the font lacks as "?", shortened."""
    glyphs = _font().face.charToGlyph
    flat = " ".join(str(text).split())[:longest]
    return escape("".join(c if ord(c) in glyphs else "?" for c in flat))


def _style(size: float, *, bold: bool = False) -> ParagraphStyle:
    _font()
    return ParagraphStyle(
        "p", fontName=_BOLD if bold else _REGULAR, fontSize=size, leading=size * 1.28, splitLongWords=True
    )


def _p(text: str, size: float = 8, *, bold: bool = False) -> Paragraph:
    """A paragraph of text that is escaped already, or our own."""
    return Paragraph(text, _style(size, bold=bold))


def _grid(rows: Sequence[Sequence[Any]], widths: Sequence[float], *, heights: float | None = None) -> Table:
    table = LongTable(
        [list(row) for row in rows], colWidths=list(widths), repeatRows=1,
        rowHeights=None if heights is None else [None, *([heights] * (len(rows) - 1))],
    )  # fmt: skip
    table.setStyle(
        TableStyle(
            [
                ("GRID", (0, 0), (-1, -1), 0.4, (0, 0, 0)),
                ("LINEBELOW", (0, 0), (-1, 0), 1.2, (0, 0, 0)),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 3),
                ("RIGHTPADDING", (0, 0), (-1, -1), 3),
                ("TOPPADDING", (0, 0), (-1, -1), 2),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
            ]
        )
    )
    return table


def _build(story: list[Flowable], *, title: str, wide: bool) -> bytes:
    out = BytesIO()
    document = SimpleDocTemplate(
        out, pagesize=landscape(A4) if wide else A4, leftMargin=_MARGIN, rightMargin=_MARGIN, topMargin=_MARGIN,
        bottomMargin=_MARGIN + 4 * mm, title=title, author="cranktrend", invariant=1,
    )  # fmt: skip

    def foot(canvas: Any, doc: Any) -> None:
        canvas.setFont(_REGULAR, 7)
        canvas.drawString(_MARGIN, 8 * mm, printable_plain(title))
        canvas.drawRightString(doc.pagesize[0] - _MARGIN, 8 * mm, f"page {doc.page}")

    document.build(story, onFirstPage=foot, onLaterPages=foot)
    return out.getvalue()


def printable_plain(text: str) -> str:
    """The same for text drawn without markup."""
    glyphs = _font().face.charToGlyph
    return "".join(c if ord(c) in glyphs else "?" for c in " ".join(text.split())[:LONGEST_CELL])


# --- the weekly list -------------------------------------------------------------------------------------------------


def list_pdf(
    chosen: WeeklyList,
    rows: Sequence[Mapping[str, Any]],
    standing: Mapping[str, Mapping[Any, Any]],
    *,
    fahrenheit: bool = False,
) -> bytes:
    """The weekly list on landscape A4, with a column to write in what was decided."""
    body = chosen.body
    heads = (
        "",
        "vehicle",
        "part, how sure",
        "no-start",
        "starts down to",
        "act by",
        "why and what",
        "decided",
    )
    table: list[Sequence[Any]] = [[_p(h, 7.5, bold=True) for h in heads]]
    table += [_list_row(row, body, standing.get(row["unit"]), in_f=fahrenheit) for row in rows]
    title = f"Weekly list {chosen.iso_week}"
    story: list[Flowable] = [
        _p(title, 15, bold=True),
        Spacer(1, 2 * mm),
        _p(
            f"Knowledge before {day(body['as_of'])}; no-start within {body['horizon_days']} days if nothing is done; "
            f"{len(rows)} of {body['counts']['units']} vehicles."
        ),
        *(_p(_sentence(text)) for text in weekly.said_of_list(chosen, fahrenheit=fahrenheit)),
        Spacer(1, 3 * mm),
        _grid(table, [w * mm for w in (8, 33, 37, 22, 43, 27, 66, 35)]),
    ]
    if body.get("gone"):
        story += [Spacer(1, 4 * mm), _p("Gone since the list before", 10, bold=True)]
        story += [_p(f"<b>{printable(g['unit'])}</b>: {printable(g['why'])}.") for g in body["gone"]]
    story += [Spacer(1, 4 * mm), _p(SAFE_NOTE, 7)]
    return _build(story, title=title, wide=True)


def _sentence(text: str) -> str:
    """Text for a Paragraph that begins as a sentence, numbers kept with their units."""
    return whole(printable(as_sentence(text), longest=LONGEST_LINE))


def _list_row(
    row: Mapping[str, Any], body: Mapping[str, Any], decision: Mapping[Any, Any] | None, *, in_f: bool
) -> list[Any]:
    low = body["depots"].get(row["depot"], {}).get("coming_low_c")
    coming = "–" if low is None else temperature(low, fahrenheit=in_f)
    why = first_reason(row, pd.Timestamp(body["as_of"]), fahrenheit=in_f)
    cold = celsius(row["coldest_start_c"], fahrenheit=in_f)
    change = str(row.get("change", ""))
    by = by_when(row["act_by"], body["as_of"], missing="–")
    decided = printable(f"{weekly.decision_words(decision)} {decision['reason']}") if decision else ""
    return [
        _p(str(row.get("rank", "")), 8, bold=True),
        _p(f"<b>{name_of(row['unit'])}</b><br/>{name_of(row['depot'] or '')}, {name_of(words(row['vehicle_class']))}"),
        _p(
            f"<b>{PART_WORDS[row['part']].capitalize()}</b><br/>{sureness(row['part_probability'])} "
            f"{whole('(' + percent(row['part_probability']) + ')')}"
        ),
        _p(whole(f"<b>{glued(percent(row['no_start_probability']))}</b><br/>{CHANGE_WORDS.get(change, '')}")),
        _p(whole(f"<b>{cold}</b><br/>{cold_range(row, fahrenheit=in_f)}<br/>coming low {coming}"), 7.5),
        _p(glued(f"<b>{by}</b><br/>read {day(row['last_reading_on'])}"), 7.5),
        _p(f"{_sentence(why)}. <b>{_sentence(str(row['action']))}.</b>", 7.5),
        _p(decided, 7.5),
    ]


# --- one vehicle -----------------------------------------------------------------------------------------------------

_LAST_READINGS = 10
PORTRAIT_MM, TAKEN_MM = 184, 19  # width of what is printed on a portrait A4, and of the day in a table of readings
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
    fahrenheit: bool = False,
) -> bytes:
    """One vehicle on portrait A4: where it stands, every part, last readings, repairs, room for notes."""
    cold = Reader(pd.Timestamp(as_of), fahrenheit).down_to(float(row["coldest_start_c"]))
    reasons = read_reasons(row, pd.Timestamp(as_of), fahrenheit=fahrenheit)
    reasons += [for_reader(text, fahrenheit=fahrenheit) for text in row.get("latest", [])]
    title = f"Vehicle {row['unit']}, knowledge before {day(as_of)}"
    by = by_when(row["act_by"], as_of)
    shown = readings.tail(_LAST_READINGS)
    story: list[Flowable] = [
        _p(printable(title), 14, bold=True),
        _p(f"{printable(row['depot'] or 'no depot')}, {name_of(words(row['vehicle_class']))}", 9),
        Spacer(1, 3 * mm),
        _p(
            f"No-start within {horizon_days} days: <b>{percent(row['no_start_probability'])}</b>. Starts "
            f"<b>{cold}</b> ({cold_range(row, fahrenheit=fahrenheit)}). Suspect: <b>{part_name(row['part'])}</b>, "
            f"{sureness(row['part_probability'])} ({percent(row['part_probability'])}). Act by: <b>{by}</b>.",
            9,
        ),
        Spacer(1, 2 * mm),
        *[_p(f"• {_sentence(reason.rstrip('.'))}.", 8.5) for reason in reasons],
        Spacer(1, 2 * mm),
        _p(f"What to do: <b>{_sentence(str(row['action']))}.</b>", 9),
        _p(f"Next measurement: {printable(with_caution(row['next_test'] or 'enough is known.'))}", 9),
        Spacer(1, 3 * mm),
        _parts_table(parts, fahrenheit=fahrenheit),
        Spacer(1, 3 * mm),
        _p("Last readings", 10, bold=True),
        *_reading_tables(shown, fahrenheit=fahrenheit),
        *([_p("? doubtful: kept, but not used in the judgement", 7)] if (shown["doubtful"] != "").any() else []),
        Spacer(1, 3 * mm),
        _p("Repairs", 10, bold=True),
        *(_repair_lines(repairs) or [_p("none on record", 8.5)]),
        Spacer(1, 5 * mm),
        _p("Notes", 10, bold=True),
        Table([[""]] * 5, colWidths=[184 * mm], rowHeights=[8 * mm] * 5,
              style=TableStyle([("LINEBELOW", (0, 0), (-1, -1), 0.3, (0, 0, 0))])),
        Spacer(1, 3 * mm),
        _p(SAFE_NOTE, 7),
    ]  # fmt: skip
    return _build(story, title=title, wide=False)


def _parts_table(parts: pd.DataFrame, *, fahrenheit: bool) -> Table:
    heads = (
        "part",
        f"level at {temperature(20.0, fahrenheit=fahrenheit)}",
        "usual in class",
        "a month adds",
        "suspect",
        "renewed it starts at",
    )
    rows: list[Sequence[Any]] = [[_p(h, 8, bold=True) for h in heads]]
    for part in parts.to_dict("records"):
        name = str(part["part"])
        unit = quantity_unit(name)
        rows.append(
            [
                _p(MEASURES[name]),
                _p(f"{plain(part['level_mohm'], unit)} ± {plain(part['se_mohm'], unit)}"),
                _p(plain(part["usual_mohm"], unit)),
                _p(plain(part["growth_mohm_per_month"], unit)),
                _p(percent(part["part_probability"])),
                _p(celsius(part["renewed_coldest_start_c"], fahrenheit=fahrenheit)),
            ]
        )
    return _grid(rows, [w * mm for w in (42, 38, 28, 26, 20, 30)])


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
    heads = [f"{QUANTITIES[name].over_column}, {_own(QUANTITIES[name].unit, fahrenheit=fahrenheit)}" for name in filled]
    went = [OUTCOME_WORDS.get(str(outcome), "") for outcome in readings.get("outcome", [""] * len(readings))]
    heads += ["start"] if any(went) else []
    rows: list[Sequence[Any]] = [[_p(head, 5.5, bold=True) for head in ("taken", *heads)]]
    for reading, outcome in zip(readings.to_dict("records"), went, strict=True):
        doubtful = str(reading.get("doubtful", "")).split(",")
        cells = [day(reading["taken_at"])]
        for name in filled:
            cell = ("at most " if is_bound(reading, name) else "") + _reading_cell(
                name, reading[name], fahrenheit=fahrenheit
            )
            cells.append(cell + (" ?" if name in doubtful else ""))
        cells += [outcome] if any(went) else []
        rows.append([_p(cell, 6.5) for cell in cells])
    letters = [max(NARROWEST, *map(len, head.split())) for head in heads]
    each = min(WIDEST_LETTER_MM, (PORTRAIT_MM - TAKEN_MM) / max(1, sum(letters)))
    return _grid(rows, [TAKEN_MM * mm, *(count * each * mm for count in letters)])


def _own(unit: str, *, fahrenheit: bool) -> str:
    """A unit as the reader's thermometer has it."""
    return "°F" if unit == "°C" and fahrenheit else unit


def _reading_cell(name: str, value: Any, *, fahrenheit: bool = False) -> str:
    if value is None or pd.isna(value):
        return ""
    if name == "temperature_c" and fahrenheit:
        return number(fahrenheit_of(float(value)))
    return number(float(value), QUANTITIES[name].digits)


def _repair_lines(repairs: pd.DataFrame) -> list[Flowable]:
    lines: list[Flowable] = []
    for r in repairs.tail(_LAST_REPAIRS).to_dict("records"):
        reason = printable(words(str(r["reason"])) or "no reason")
        lines.append(_p(f"{day(r['done_on'])}: {printable(weekly.work_words(r))} ({reason})", 8.5))
    return lines


# --- blank sheets for the bay ----------------------------------------------------------------------------------------

BAY_ROWS_MM, HIGHEST_ROW_MM = 134, 11  # room for the rows of a bay sheet, and the height of one where few; our choice


def bay_pdf(units: Iterable[BayUnit], *, fahrenheit: bool = False) -> bytes:
    """A blank sheet per vehicle with its last values beside the lines to fill in."""
    story: list[Flowable] = []
    for unit in units:
        if story:
            story.append(PageBreak())
        story += _bay_page(unit, fahrenheit=fahrenheit)
    return _build(story or [_p("No vehicle is due.", 11)], title="Bay sheet", wide=False)


def _bay_page(unit: BayUnit, *, fahrenheit: bool) -> list[Flowable]:
    heads = ("measure", "limit", f"last ({day(unit.last_on)})", "now")
    rows: list[Sequence[Any]] = [[_p(h, 9, bold=True) for h in heads]]
    asked = {name: quantity for name, quantity in QUANTITIES.items() if not quantity.seldom}
    for name, quantity in asked.items():
        last, measured_in = unit.last.get(name), _own(quantity.unit, fahrenheit=fahrenheit)
        cell = _reading_cell(name, last, fahrenheit=fahrenheit)
        shown = f"{cell} {measured_in}" if cell else ""
        label = f"{quantity.label}: {quantity.where}" if quantity.where else quantity.label
        rows.append([_p(label, 8.5), _p(printable(unit.limits.get(name, "")), 8), _p(shown, 10), _p(measured_in, 8)])
    return [
        _p(f"Vehicle {printable(unit.unit)}", 18, bold=True),
        _p(f"{printable(unit.depot)}, {printable(words(unit.vehicle_class))}, {unit.system_v} V.", 9.5),
        _p(printable(unit.due), 9.5),
        Spacer(1, 3 * mm),
        _p(SAFE_NOTE, 7.5),
        Spacer(1, 3 * mm),
        Table([[_p("Day and time", 9), "", _p("Measured by", 9), ""]], colWidths=[w * mm for w in (26, 66, 26, 66)],
              rowHeights=[9 * mm], style=TableStyle([("BOX", (0, 0), (-1, -1), 0.4, (0, 0, 0))])),
        Spacer(1, 3 * mm),
        _grid(rows, [w * mm for w in (74, 46, 30, 34)], heights=min(HIGHEST_ROW_MM, BAY_ROWS_MM / len(asked)) * mm),
        Spacer(1, 4 * mm),
        _outcome_boxes(),
        Spacer(1, 3 * mm),
        _p("Work done, remarks", 9),
        Table([[""]] * 3, colWidths=[184 * mm], rowHeights=[9 * mm] * 3,
              style=TableStyle([("LINEBELOW", (0, 0), (-1, -1), 0.3, (0, 0, 0))])),
    ]  # fmt: skip


OUTCOMES_A_LINE = 3


def _outcome_boxes() -> Table:
    """A box to tick for every way a start can go."""
    said = list(OUTCOME_WORDS.values())
    lines = [said[k : k + OUTCOMES_A_LINE] for k in range(0, len(said), OUTCOMES_A_LINE)]
    rows = [
        [_p("" if number else "How it started", 9), *(cell for text in line for cell in ("", _p(text, 8)))]
        for number, line in enumerate(lines)
    ]
    rows[-1] += [""] * (1 + 2 * OUTCOMES_A_LINE - len(rows[-1]))
    boxes = [
        ("BOX", (1 + 2 * column, row), (1 + 2 * column, row), 0.8, (0, 0, 0))
        for row, line in enumerate(lines)
        for column in range(len(line))
    ]
    return Table(
        rows, colWidths=[w * mm for w in (28, *(6, 46) * OUTCOMES_A_LINE)], rowHeights=[6 * mm] * len(rows),
        style=TableStyle([*boxes, ("LEFTPADDING", (0, 0), (0, -1), 0), ("VALIGN", (0, 0), (-1, -1), "MIDDLE")]),
    )  # fmt: skip


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
    return _build([sheet], title="Codes for windscreens; cut along the lines", wide=False)


def _label(unit: str, address: str) -> Table:
    code = QrCodeWidget(address, barLevel="M", barBorder=2, barWidth=CODE_MM * mm, barHeight=CODE_MM * mm)
    drawing = Drawing(CODE_MM * mm, CODE_MM * mm)
    drawing.add(code)
    said = [
        _p(name_of(unit), 17, bold=True),
        Spacer(1, 2 * mm),
        _p("Point a phone's camera at the code to enter a measurement.", 8),
        Spacer(1, 2 * mm),
        _p(printable(address, longest=LONGEST_LINE), 5.5),
    ]
    return Table(
        [[drawing, said]], colWidths=[(CODE_MM + 2) * mm, (LABEL_MM[0] - CODE_MM - 6) * mm],
        style=TableStyle([("VALIGN", (0, 0), (-1, -1), "MIDDLE"), ("LEFTPADDING", (0, 0), (-1, -1), 1)]),
    )  # fmt: skip
