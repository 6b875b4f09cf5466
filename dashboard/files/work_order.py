"""Work orders on paper: one sheet a visit, with room to write and a code that opens the report on the phone."""

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, PageBreak, Spacer, Table, TableStyle
from sqlite_utils import Database

from analysis.plan.done import Outdated
from analysis.plan.replacement_plan import ReplacementPlan
from dashboard.desk.work_orders import WorkOrder, latest_volts, work_orders
from dashboard.files.paper import own_unit, reading_cell
from dashboard.files.paper_volts import volts_drawing
from dashboard.files.pieces import (
    LONGEST_LINE,
    PORTRAIT_MM,
    build,
    code,
    grid,
    name_of,
    para,
    printable,
    sentence,
    tick_boxes,
)
from dashboard.words import every_page, visit_words
from dashboard.words.plain_text import day, number, whole, words
from dashboard.words.reasons import PART_WORDS
from dashboard.words.safety import SAFE_NOTE, said_with
from ingest.fields import ACTIONS, QUANTITIES

CODE_MM = 30  # read from arm's length on a bench; our choice
ROW_MM = 6  # [mm] the least room of a row to write in by hand, our choice


def printed_orders(
    db: Database,
    plan: ReplacementPlan,
    visits: list[dict[str, Any]],
    *,
    base: str,
    fahrenheit: bool,
    since: Sequence[Outdated] = (),
) -> bytes:
    """The sheets of visits of a plan, with where the volts go of each vehicle's latest reading."""
    found = latest_volts(db, (str(visit["unit"]) for visit in visits), as_of=plan.as_of.date())
    pictures = {unit: volts_drawing(one, fahrenheit=fahrenheit) for unit, one in found.items()}
    orders = work_orders(db, plan, visits, base=base, fahrenheit=fahrenheit, since=since)
    return work_orders_pdf(orders, pictures=pictures, fahrenheit=fahrenheit)


def work_orders_pdf(
    orders: Sequence[WorkOrder], *, pictures: Mapping[str, Flowable] | None = None, fahrenheit: bool = False
) -> bytes:
    """A sheet for every order; ValueError for none.

    pictures: drawings of vehicles by their number, no higher than some 49 mm, put between what is known and what is asked.
    """
    if not orders:
        raise ValueError("there is no visit to print a work order for")
    story: list[Flowable] = []
    for order in orders:
        story += [PageBreak()] if story else []
        story += _sheet(order, (pictures or {}).get(str(order.visit["unit"])), fahrenheit=fahrenheit)
    return build(story, title=visit_words.ORDER, wide=False)


def _sheet(order: WorkOrder, picture: Flowable | None, *, fahrenheit: bool) -> list[Flowable]:
    visit = order.visit
    caution = said_with(str(visit["job"]))
    return [
        _head(order),
        Spacer(1, 2 * mm),
        para(f"{visit_words.TO_DO}: {sentence(str(visit['job']))}.", 12, bold=True),
        *([para(sentence(caution), 9, bold=True)] if caution else []),
        Spacer(1, 1.5 * mm),
        *[para(f"• {sentence(why.rstrip('.'))}.", 8) for why in order.why],
        Spacer(1, 1.5 * mm),
        para(f"<b>{visit_words.PARTS}:</b> {_parts(order)}", 9),
        Spacer(1, 1.5 * mm),
        para(SAFE_NOTE, 7),
        Spacer(1, 2 * mm),
        *([picture, Spacer(1, 1 * mm)] if picture is not None else []),
        _measures(order, fahrenheit=fahrenheit),
        Spacer(1, 2 * mm),
        *_report(str(visit["parts"][0]) if len(visit["parts"]) else ""),
    ]


def _head(order: WorkOrder) -> Table:
    """The vehicle, when and how long; at the right the code, or why there is none."""
    visit, vehicle = order.visit, order.vehicle
    when = f"{day(visit['visit_on'], weekday=True)} ({visit['iso_week']}), {number(float(visit['hours']), 1)} h"
    left = [
        para(f"{visit_words.ORDER} {name_of(vehicle['unit'])}", 18, bold=True),
        Spacer(1, 2 * mm),
        para(whole(f"{when}{visit_words.WITH_SERVICE if visit['in_service'] else ''}"), 11),
        para(f"{name_of(visit['depot'])}, {name_of(words(str(vehicle['vehicle_class'])))}, {vehicle['system_v']} V", 9),
        Spacer(1, 2 * mm),
        para(visit_words.CODE_HELP if order.address else visit_words.NO_CODE, 8),
        para(printable(order.address, longest=LONGEST_LINE), 5),
    ]
    right = code(order.address, CODE_MM) if order.address else ""
    return Table(
        [[left, right]], colWidths=[(PORTRAIT_MM - CODE_MM) * mm, CODE_MM * mm],
        style=TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 6)]),
    )  # fmt: skip


def _parts(order: WorkOrder) -> str:
    said = [f"{PART_WORDS[part]}{_by(by)}" for part, by in order.parts.items()]
    return whole(", ".join(said)) if said else visit_words.NO_PARTS


def _by(order_by: pd.Timestamp | None) -> str:
    return "" if order_by is None else f" ({visit_words.ORDER_BY} {day(order_by)})"


def _measures(order: WorkOrder, *, fahrenheit: bool) -> Table:
    """What to measure: its limit, what it read last, and two cells to write in."""
    heads = visit_words.measure_heads(day(order.last_on))
    rows: list[Sequence[Any]] = [[para(head, 8.5, bold=True) for head in heads]]
    for name in order.measure:
        quantity = QUANTITIES[name]
        unit, cell = (
            own_unit(quantity.unit, fahrenheit=fahrenheit),
            reading_cell(name, order.last.get(name), fahrenheit=fahrenheit),
        )
        where = f": {quantity.where}" if quantity.where else ""
        rows.append([
            para(f"{quantity.label}{where}, {unit}", 8), para(whole(printable(order.limits.get(name, ""))), 7), para(cell, 9),
            Spacer(1, ROW_MM * mm), "",
        ])  # fmt: skip
    return grid(rows, [w * mm for w in (66, 54, 20, 22, 22)])


def _report(part: str) -> list[Flowable]:
    found = dict(visit_words.found_words(part))
    found["other"] = f"{found['other']}: ..............."
    who = [cell for asked_of in visit_words.WHO_ASKED for cell in (para(asked_of, 9), "")]
    return [
        para(visit_words.asked_words(part), 9, bold=True),
        tick_boxes("", list(found.values())),
        Spacer(1, 2 * mm),
        tick_boxes(every_page.WHAT_DONE, [*ACTIONS, f"{visit_words.SOMETHING_ELSE}: ..............."]),
        Spacer(1, 2 * mm),
        Table([who, [para(visit_words.REMARKS, 9), *[""] * 5]], colWidths=[w * mm for w in (18, 56, 26, 46, 14, 24)],
              rowHeights=[9 * mm, 11 * mm],
              style=TableStyle([("BOX", (0, 0), (-1, 0), 0.4, (0, 0, 0)), ("BOX", (0, 1), (-1, 1), 0.4, (0, 0, 0)),
                                ("VALIGN", (0, 0), (-1, 0), "MIDDLE"), ("SPAN", (0, 1), (-1, 1)), ("VALIGN", (0, 1), (-1, 1), "TOP")])),
    ]  # fmt: skip
