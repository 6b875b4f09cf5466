"""A plan as a table for the terminal: words, and columns that stand under their heads."""

from collections.abc import Sequence

import pandas as pd

from analysis.plan.figures import figures_of, to_order, week_shown
from analysis.plan.replacement_plan import ReplacementPlan
from analysis.plan.result import rows_of
from dashboard.words.plain_text import clean, count_words, number
from dashboard.words.plan_words import (
    LATE_HEAD,
    NOTHING_TO_ORDER,
    ORDER_TODAY,
    fewer_words,
    figure_heads,
    figure_rows,
    figures_words,
    hours_note,
    missed_line,
    money,
    no_visit_words,
    noted,
    order_words,
    percent,
    told_words,
    week_words,
)
from dashboard.words.reasons import PART_WORDS
from dashboard.words.safety import SAFE_NOTE
from dashboard.words.visit_words import closed_words


def grid(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Left-aligned columns, two blanks apart."""
    cells = [list(headings), *[[clean(cell) for cell in row] for row in rows]]
    widths = [max(len(row[i]) for row in cells) for i in range(len(headings))]
    return ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in cells]


def table(plan: ReplacementPlan) -> str:
    """Headline, notes, visits, those done, what was left out, orders, hours and policies, for a terminal."""
    lines = [headline(plan), ""]
    lines += [f"! {clean(note)}" for note in noted(plan)] + ([""] if plan.notes else [])
    lines += _week_lines(plan) + _visit_lines(plan) + _done_lines(plan) + _late_lines(plan) + _left_out_lines(plan)
    lines += _order_lines(plan) + _hour_lines(plan) + _policy_lines(plan)
    return "\n".join([*lines, SAFE_NOTE, ""])


def headline(plan: ReplacementPlan) -> str:
    """The plan in a sentence, of the visits that it holds: those of one depot, or without what was overtaken."""
    s = plan.summary
    version = f", version {plan.version}" if plan.version else ""
    price = money(float(plan.settings["move_price"]), s["currency"])
    there, gone = int((plan.visits["state"] == "moved").sum()), len(plan.cancelled)
    moved = f" {there} moved (a move counts {price}), {gone} cancelled." if there or gone else ""
    pins = f" What was fixed by hand costs {money(s['pins_cost'], s['currency'])}." if abs(s["pins_cost"]) >= 1 else ""
    saving, avoided = (float(plan.visits[name].sum()) for name in ("saving", "no_starts_avoided"))
    ways = figures_of(plan)
    if ways and abs(ways[0].saved - saving) < 2:  # of the same visits as the table of ways, whose figures add up
        never = next(way for way in ways if way.policy == "run_to_failure")
        saving, avoided = float(ways[0].saved), never.starts - ways[0].starts
    size = money(abs(saving), s["currency"])
    near = f", at most {100 * s['gap']:.1f} % less than the most that can be saved" if len(plan.visits) else ""
    saved = f"{size} saved against waiting" if saving >= 0 else f"{size} more than waiting"
    return (
        f"Plan of {plan.as_of.date()} for {count_words(plan.weeks, 'week')}{version}: {count_words(len(plan.visits), 'visit')}, "
        f"{plan.visits['hours'].sum():.1f} h, {number(avoided, 1)} no-starts avoided, {saved}{near}.{moved}{pins}"
    )


def _week_lines(plan: ReplacementPlan) -> list[str]:
    """How much work this week, and what to order on the plan's day."""
    orders = [f"  {clean(order_words(order, plan.as_of))}" for order in rows_of(to_order(plan, plan.as_of))]
    week = week_words(plan, week_shown(plan, plan.as_of))
    told = told_words(plan)
    today = [f"{ORDER_TODAY}:", *orders] if orders else [NOTHING_TO_ORDER]
    return [f"This week, {week}.", *today, *([clean(told)] if told else []), ""]


def _late_lines(plan: ReplacementPlan) -> list[str]:
    """Who comes after the day by which the weekly list says to act."""
    rows = [
        f"  {clean(r['unit'])} ({clean(r['depot'])}): {clean(missed_line(r, plan.as_of))}"
        for r in rows_of(plan.act_by_missed)
    ]
    return [LATE_HEAD + ":", *rows, ""] if rows else []


def _visit_lines(plan: ReplacementPlan) -> list[str]:
    if not len(plan.visits):
        return [] if hours_note(plan) else [no_visit_words(plan), ""]
    rows = [
        [str(v["visit_on"].date()), v["iso_week"], v["unit"], v["depot"], v["job"], f"{v['hours']:.1f}",
         "in service" if v["in_service"] else "call in", percent(v["probability_waiting"]), f"{v['cost_now']:,.0f}",
         f"{v['cost_waiting']:,.0f}", v["state"]]
        for v in rows_of(plan.visits)
    ]  # fmt: skip
    cost = f"cost {plan.summary['currency']}"
    headings = ["date", "week", "unit", "depot", "job", "hours", "access", "if waiting", cost, "waiting", "state"]
    return [*grid(headings, rows), ""]


def _done_lines(plan: ReplacementPlan) -> list[str]:
    if not len(plan.done):
        return []
    return [
        "Done:",
        *(f"  {clean(r['unit'])} ({clean(r['depot'])}), {r['job']}: {closed_words(r)}" for r in rows_of(plan.done)),
        "",
    ]


def _left_out_lines(plan: ReplacementPlan) -> list[str]:
    if not len(plan.left_out):
        return []
    rows = [f"  {clean(r['unit'])} ({clean(r['depot'])}), {r['job']}: {r['why']}" for r in rows_of(plan.left_out)]
    return ["Left out:", *rows, ""]


def _order_lines(plan: ReplacementPlan) -> list[str]:
    if not len(plan.orders):
        return []
    rows = [
        [str(o["order_by"].date()) if pd.isna(o["told_on"]) else "ordered", str(o["quantity"]),
         PART_WORDS.get(o["part"], o["part"]), f"{o['price']:,.0f}", str(o["needed_on"].date()), ", ".join(o["units"])]
        for o in rows_of(plan.orders)
    ]  # fmt: skip
    headings = ["by", "pieces", "part", str(plan.summary["currency"]), "needed", "for"]
    return ["Parts to order:", *grid(headings, rows), ""]


def _hour_lines(plan: ReplacementPlan) -> list[str]:
    shut = closed_sentences(plan.hours)
    busy = plan.hours[(plan.hours["booked"] > 0) | (plan.hours["hour_price"] > 0)]
    if not len(busy):
        return [*shut, ""] if shut else []
    rows = [
        [h["depot"], h["iso_week"], f"{h['booked']:.1f}", f"{h['hours']:.1f}", str(h["visits"]),
         f"{h['hour_price']:,.0f}"]
        for h in rows_of(busy)
    ]  # fmt: skip
    headings = ["depot", "week", "booked h", "hours", "visits", f"one more hour saves {plan.summary['currency']}"]
    return ["Workshop hours:", *grid(headings, rows), *shut, ""]


def closed_sentences(hours: pd.DataFrame) -> list[str]:
    """One line per depot that is closed in some weeks of the plan and open in others."""
    out = []
    for depot, own in hours.groupby("depot", sort=True):
        shut = own.loc[own["hours"] <= 0, "iso_week"]
        if 0 < len(shut) < len(own):
            out.append(f"{clean(depot)} is closed in {', '.join(map(str, shut))}.")
    return out


def _policy_lines(plan: ReplacementPlan) -> list[str]:
    rows = figure_rows(plan)
    if not rows:
        return []
    return [*grid(figure_heads(plan), rows), figures_words(plan), *fewer_words(plan), ""]
