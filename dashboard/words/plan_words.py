"""Numbers of the plan to sentences of the trade: what is done, why then, and what leaving it out risks."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import reduce
from typing import Any, Final

import pandas as pd

from analysis.plan.choices import VISITS
from analysis.plan.done import Outdated, without_outdated
from analysis.plan.figures import figures_of, last_day, told_before, whole_amounts
from analysis.plan.ordered import SPARE
from analysis.plan.replacement_plan import ReplacementPlan
from analysis.plan.result import rows_of
from dashboard.words import plain_text
from dashboard.words.plain_text import (
    as_sentence,
    clean,
    count_words,
    day,
    number,
    safe,
    week_and_monday,
    week_days,
    words,
)
from dashboard.words.plan_notes import STAND_INS, note_words
from dashboard.words.reasons import PART_WORDS, the_parts
from ingest.values import joined

POLICY_WORDS = {
    "plan": "this plan",
    "run_to_failure": "run to failure: no visit in these weeks",
    "fixed_age": "fixed age (best age from the fleet's lifetimes)",
    "flagged_list": "flagged list, first come first served",
}
COST_WORDS = {
    "currency": "currency",
    "hour_rate": "a workshop hour [money]",
    "access_cost": "calling a vehicle in [money]",
    "failure_hours_factor": "hours of an unplanned repair, times the planned ones",
    "measure_h": "a measuring visit [h]",
    "clean_h": "clean and tighten [h]",
    "charge_h": "charge a battery [h]",
    "clean_success": "cleaning, or a charge, cures it [chance]",
    "cheap_life_share": "life left after that, of a new part's [share]",
    "life_years": "life where own repairs are too few [years]",
    "measure_resolves": "doubt that a reading takes away [share]",
    "down_share": "largest part of a depot called in per week [share]",
    "frozen_weeks": "near weeks that stay as planned",
    "urgent_probability": "urgent from a no-start probability of",
    "move_price": "moving a planned visit [money]",
    "part_price": "price where the parts file is silent [money]",
    "part_labour_h": "work where the parts file is silent [h]",
    "default_lead_days": "delivery where the parts file is silent [days]",
    "closed_weeks": "weeks without hours",
    "roadside": "roadside help [money]",
    "tow": "tow [money]",
    "lost_work": "lost work [money]",
}
REASON_WORDS = {
    "no hours": "no workshop hours were left in the weeks in which it would have paid",
    "no places": "as many vehicles as allowed are called in already in the weeks in which it would have paid",
    "no depot": "no depot is known for it",
    "part too late": "the part arrives after the plan's last week",
    "postponed": "it is postponed",
    "leaves": "nothing can be done before its last day in service",
}
LATE_WORDS = {
    "part": "",  # said by the day on which it comes
    "pinned": "it is fixed to that week by hand",
    "kept out": "it is kept out of the weeks before by hand",
    "frozen": "the near weeks stay as the last plan had them",
    "kept": "the last plan had it then, and moving it would save less than a move counts",
    "closed": "the workshop at {depot} is closed until then",
    "no hours": "no hours are free at {depot} before",
    "no places": "as many vehicles of {depot} as allowed are called in before",
    "postponed": "it is postponed until then",
    "service": "it is in for its service on the planned day{cheaper}",
    "later": "coming before would cost {more} more",
}
LATER_STILL = {
    "closed": "the workshop at {depot} is closed from then to the planned day",
    "postponed": "it is postponed for longer than that",
}
"""The same after the day on which a part comes, which "then" would mean there."""
NO_VISIT_WORDS = {
    "waiting pays": "no visit pays in these weeks{at_risk}",
    "no hours": "no workshop hours are left at {depot} in the weeks in which it would pay",
    "no places": "as many vehicles of {depot} as allowed are called in already",
    "no depot": "no depot is known for it",
    "part too late": "its part comes after the plan's last week",
    "postponed": "it is postponed",
    "fails before": "no visit pays in these weeks{at_risk} and {before} before {soonest}, the first day on which the work could be done; "
    "order its part now and keep the vehicle from the cold",
    "leaves": "no visit pays before its last day in service, {left_on}{at_risk}",
}
LATE_HEAD = "Later than the weekly list says to act"
NOT_COMPARABLE = (
    "In this version the ways of working were not reckoned over the same weeks; plan again to compare them."
)
UNITS_NAMED = 30  # vehicles of one order that are named on a page, our choice
CALENDAR: Final = "Starting-system visits"
CALENDAR_DONE: Final = "{unit}: {job} (done)"
NO_VISIT: Final = "No visit is planned in the {weeks} from {day}"
ORDER_TODAY = "Order today"
ORDERED_BEFORE: Final = ", taken to be ordered"
NOTHING_TO_ORDER = "Nothing has to be ordered today."
NO_HOURS: Final = "No visit is planned, because no workshop hours are known for these weeks"
HOURS_NEEDED: Final = (
    "give each depot's hours a week for this work, in this template or below, under Hours and their price."
)
OF_ONE_DEPOT: Final = (
    "Here stand the visits and orders of {depot}; policies, settings and the notes below are of the whole fleet."
)
CHANGED_WORDS = {"hours": "workshop hours", "prices": "prices of parts", "costs": "costs and rules"}
WAYS = {
    "plan": "this plan", "run_to_failure": "run to failure: no visit", "fixed_age": "fixed age",
    "flagged_list": "flagged list, first come first served",
}  # fmt: skip
"""The ways of working as short as a table needs."""


def money(amount: float, currency: str) -> str:
    return f"{amount:,.0f} {currency}"


def percent(probability: float) -> str:
    """A probability of the plan, in which none and all are sure."""
    return f"{100 * probability:.0f} %" if probability in (0.0, 1.0) else plain_text.percent(probability)


def noted(plan: ReplacementPlan) -> list[str]:
    """The plan's notes, with parts as they are called."""
    return [
        reduce(lambda note, named: note.replace(*named), PART_WORDS.items(), note)
        for note in map(note_words, plan.notes)
    ]


def hours_note(plan: ReplacementPlan) -> str:
    """The note that workshop hours are missing everywhere, "" where it is none."""
    return next(
        (note for note in noted(plan) if note.startswith(("No workshop has", "No workshop hours are known"))), ""
    )


def _done_to(one: Outdated) -> str:
    """ "battery replaced on 28 Nov 2026", or its last day in service."""
    if one.left_on is not None:
        return f"last day in service {day(one.left_on)}"
    return ", ".join(f"{PART_WORDS[part]} {action} on {day(on)}" for part, (action, on) in one.renewed.items())


def _open_parts(one: Outdated) -> str:
    return joined([PART_WORDS[part] for part in one.still])


def outdated_words(since: Sequence[Outdated]) -> list[str]:
    """What has overtaken visits of a plan since it was made, a sentence for those with nothing left and one for the others."""
    whole_ones, some = ([one for one in since if one.whole is whole] for whole in (True, False))
    out = []
    if whole_ones:
        named = "; ".join(f"{one.unit} ({_done_to(one)})" for one in whole_ones)
        out.append(
            f"Overtaken since this plan was made, so that no work order is printed: {named}. A plan made anew knows of repairs dated "
            "before its day, and of last days in service."
        )
    if some:
        named = "; ".join(f"{one.unit} ({_done_to(one)}; {_open_parts(one)} still to do)" for one in some)
        out.append(f"Partly done since this plan was made: {named}. Their work orders say so.")
    return out


def postponed_words(until: Mapping[str, pd.Timestamp]) -> str:
    """That visits of the plan on record lie before the days until which their vehicles were postponed since; "" where none does."""
    if not until:
        return ""
    named = "; ".join(f"{unit} (until {day(on)})" for unit, on in until.items())
    return f"Postponed since this plan was made, beyond the day of the visit: {named}. Plan again to count with it."


def as_it_stands(plan: ReplacementPlan, since: Sequence[Outdated]) -> ReplacementPlan:
    """A plan on record for who works by it now: without the visits that were overtaken since, which its notes name."""
    return replace(without_outdated(plan, since), notes=(*plan.notes, *outdated_words(since))) if since else plan


def partly_done(one: Outdated) -> str:
    """What a work order says first of a visit of which a part was done since."""
    return f"Since the plan was made: {_done_to(one)}; see to the {_open_parts(one)} only."


def job_words(kind: str, parts: list[str], measurement: str, beside: Sequence[str] = ()) -> str:
    """What is done at a visit; measurement: what is measured before anything is done, "" for nothing; beside: further parts to see to."""
    if beside:
        return f"{job_words(kind, parts, measurement)}; see to {the_parts(beside)}"
    if measurement and kind != "measure":
        return f"measure first, then {job_words(kind, parts, '')}"
    names = joined([PART_WORDS.get(part, part) for part in parts]) if parts else ""
    if kind == "measure":
        return f"measure again, {names} first; time kept to act on it" if names else "measure the starting circuit"
    if kind == "replace":
        return "put the engine's drag right" if parts == ["engine_drag"] else f"replace {names}"
    cheap = f"charge {names}" if parts == ["battery"] else f"clean and tighten {names}"
    if kind == "cheap":
        return f"{cheap}, then measure; time kept to replace"
    return f"{cheap} and measure; replace if that does not help"


def why_words(visit: Mapping[str, Any], currency: str, end: pd.Timestamp) -> str:
    """Why this visit in this week: its expected cost against that of waiting."""
    leaves = pd.notna(visit["leaves_on"]) and visit["leaves_on"] <= end
    end = visit["leaves_on"] if leaves else end
    last = f"{day(end)}, its last day in service," if leaves else day(end)
    place = "It is in for its planned service that day. " if visit["in_service"] else ""
    waits = percent(visit["probability_waiting"])
    before = visit["probability_before"]
    risk = f"{as_sentence(waits)} chance of a no-start by {last} if nothing is done"
    risk += f", {percent(before)} before the visit." if before else "."
    now, waiting = money(visit["cost_now"], currency), money(visit["cost_waiting"], currency)
    pinned = "Fixed by hand. " if visit["state"] == "pinned" else ""
    pays = visit["saving"] >= 0
    if visit["state"] == "kept" and not pays:
        pinned = "Kept, as the version before promised it. "
    known = (
        " Knowing which part it is, and how far gone, is what the visit pays for."
        if visit["kind"] == "measure" and pays
        else ""
    )
    if visit["measurement"]:
        known += f" Measure first: {visit['measurement']}"
    return f"{pinned}{decided_words(visit)}{place}Expected cost {now} with this visit, {waiting} when waiting. {risk}{known}"


def saving_words(visit: Mapping[str, Any], currency: str) -> str:
    """What a visit saves against waiting: the difference of the two costs as they are shown."""
    difference = round(visit["cost_waiting"]) - round(visit["cost_now"])
    if visit["saving"] < 0:
        return f"costs {money(max(-difference, 1), currency)} more than waiting"
    return f"saves {money(difference, currency)}" if difference >= 1 else f"saves under {money(1, currency)}"


def decided_words(row: Mapping[str, Any]) -> str:
    """What was decided about a vehicle, the reason as it was typed, and how the plan obeys it, with a blank after it; "" for
    none."""
    on = f" on {day(row['decided_on'])}" if row["decided_on"] else ""
    typed = clean(" ".join(row["decided_why"].split())).rstrip(".")
    why = f": {typed}. " if typed else ". "
    if row["decision"] == "accepted":
        return f"Accepted{on}{why}"
    if row["decision"] == "postponed":
        return f"Postponed{on} until {day(row['decided_until'])}{why}"
    if row["decision"] == "nothing_found":
        said = f" ({typed})" if typed else ""
        return f"Looked at{on}, nothing found{said}: its risk is the lower for it. "
    return ""


def left_out_words(row: Mapping[str, Any], currency: str) -> str:
    after = ", what comes after these weeks counted" if round(row["saving"]) > round(row["cost_at_risk"]) else ""
    return (
        f"{decided_words(row)}Left out because {REASON_WORDS[row['reason']]}: {percent(row['risk'])} chance of a no-start within "
        f"the plan's weeks, {money(row['cost_at_risk'], currency)} at risk; "
        + (
            f"a visit would save {money(row['saving'], currency)}{after}."
            if row["saving"] > 0
            else "a visit would not pay."
        )
    )


def no_hours_words(plan: ReplacementPlan) -> str:
    """What to do where workshops have no hours in the plan's weeks, "" where all have."""
    known = plan.hours.groupby("depot")["hours"].sum()
    without = known.index[known <= 0].tolist()
    if not without:
        return ""
    where = "" if len(without) == len(known) else f" at {plain_text.some(without)}"
    return f"{NO_HOURS}{where}: {HOURS_NEEDED}"


def no_visit_words(plan: ReplacementPlan) -> str:
    if not (plan.hours["hours"] > 0).any():
        return "No visit can be planned: no workshop has hours in these weeks."
    if len(plan.left_out):
        return "No visit can be planned in these weeks; what is left out, and why, stands under Left out."
    return "No visit pays in these weeks."


def with_words(plan: ReplacementPlan) -> ReplacementPlan:
    """The plan with the sentences `job` and `why` filled in, and its notes said."""
    currency = str(plan.summary["currency"])
    end = last_day(plan)
    visits, left_out = plan.visits.copy(), plan.left_out.copy()
    for frame in (visits, left_out):
        named = zip(frame["kind"], frame["parts"], frame["measurement"], frame["beside"], strict=True)
        jobs = [job_words(*row) for row in named]
        frame["job"] = pd.Series(jobs, index=frame.index, dtype="str")  # texts, also where there is none
    ordered = {unit for units in told_before(plan)["units"] for unit in units}
    why = [missed_words(row, currency, ordered=row["unit"] in ordered) for row in rows_of(plan.act_by_missed)]
    missed = plan.act_by_missed.assign(why=why)
    visits["why"] = [why_words(row, currency, end) for row in rows_of(visits)]
    left_out["why"] = [left_out_words(row, currency) for row in rows_of(left_out)]
    notes = tuple(dict.fromkeys(note_words(note) for note in plan.notes))
    return replace(plan, visits=visits, left_out=left_out, act_by_missed=missed, notes=notes)


# --- what to do first, and what changed since ------------------------------------------------------------------------


def first_steps(plan: ReplacementPlan) -> list[str]:
    """What to look at before the first plan is issued, in order."""
    known = plan.hours.groupby("depot")["hours"].sum()
    without = known.index[known <= 0].tolist()
    hours = (
        "Workshop hours are not known yet" if known.empty or len(without) == len(known)
        else f"No workshop hours are known for {plain_text.some(without)}" if without
        else "See whether the workshop hours, holidays and closed weeks are right"
    )  # fmt: skip
    guessed = any(STAND_INS in note for note in noted(plan))
    prices = (
        "Prices and delivery times of some parts are stand-ins"
        if guessed
        else "See whether prices and delivery times are right"
    )
    return [
        f"{hours}: tab Hours and their price, below the table.",
        f"{prices}: page Settings, under Parts; what a no-start and a workshop hour cost stands there too.",
        "Give your name, so that the plan says who made it.",
        "Issue the plan. From then on visits can be moved, printed and reported as done.",
    ]


def changed_words(what: Sequence[str], by: str, at: pd.Timestamp | None) -> str:
    """That a plan was made before hours, prices or costs were changed."""
    named = joined([CHANGED_WORDS[name] for name in what])
    who = f" by {by} on {day(at)} at {at:%H:%M}" if at is not None else ""
    return f"{as_sentence(named)} were changed{who}, after this plan was made: plan again to count with them."


# --- this week, what to order, who comes late, and figures that add up ------------------------------------------------


def span_words(plan: ReplacementPlan) -> str:
    return f"{count_words(plan.weeks, 'week')}, {day(plan.as_of)} to {day(last_day(plan))}"


def summary_words(plan: ReplacementPlan) -> str:
    """The plan in two sentences: how much work over which days, and what it saves against what; for Markdown."""
    s, ways = plan.summary, figures_of(plan)
    version, currency = f"Version {plan.version}" if plan.version else "Not issued", str(s["currency"])
    head = f"{version}, {span_words(plan)}: **{count_words(s['visits'], 'visit')}, {number(float(s['hours']), 1)} h**"
    if (done := int(s["visits"]) - len(plan.visits)) > 0:
        head += f", {done} of them done"
    if not ways:
        return plain_text.whole(f"{head}. {safe(NOT_COMPARABLE)}")
    own, never = ways[0], next(way for way in ways if way.policy == "run_to_failure")
    fewer, size = number(never.starts - own.starts, 1), safe(money(abs(own.saved), currency))
    told = f"**{size} saved** against" if own.saved >= 0 else f"**{size} more** than"
    return plain_text.whole(
        f"{head}, **{fewer} no-starts avoided** ({number(never.starts, 1)} with no visit, {number(own.starts, 1)} with these), "
        f"{told} running to failure: {safe(money(own.total, currency))} instead of {safe(money(never.total, currency))}."
    )


def week_words(plan: ReplacementPlan, iso_week: str, *, depot: str | None = None) -> str:
    """A week of the plan by its days, with its work, of one depot or of all."""
    visits = plan.visits[plan.visits["iso_week"] == iso_week]
    visits = visits if depot is None else visits[visits["depot"] == depot]
    work = (
        f"{count_words(len(visits), 'visit')}, {number(float(visits['hours'].sum()), 1)} h"
        if len(visits)
        else "no visit"
    )
    return f"{week_days(iso_week)}: {work}"


ORDERED: Final = {"engine_drag": "set of parts for the engine's drag"}
"""Part -> what is ordered for it, where that is not called as the part is."""


def _ordered_as(order: Mapping[str, Any]) -> str:
    return ORDERED.get(order["part"]) or PART_WORDS.get(order["part"], order["part"])


def order_words(order: Mapping[str, Any], looked: pd.Timestamp) -> str:
    """What to order, how many, for whom, and by when it must be ordered and be there; looked: the day on which it is read."""
    part, count = _ordered_as(order), int(order["quantity"])
    takes = f", delivery takes {count_words(math.ceil(order['lead_days']), 'day')}" if order["lead_days"] else ""
    by = f"{'was to be ordered' if order['order_by'] < looked else 'order'} by {day(order['order_by'], weekday=True)}"
    comes = looked + pd.Timedelta(days=math.ceil(order["lead_days"]))
    late = f"; ordered today it comes on {day(comes, weekday=True)}, too late" if comes > order["needed_on"] else ""
    return (
        f"{count} x {part} for {units_words(order['units'])}: {by}, "
        f"needed on {day(order['needed_on'], weekday=True)}{takes}{late}"
    )


def told_words(plan: ReplacementPlan) -> str:
    """What earlier plans told to order and this one counts on, or has no use for now; "" for nothing."""
    named = [
        f"{order['quantity']} x {_ordered_as(order)} for {units_words(order['units'])} ({day(order['told_on'])})"
        for order in rows_of(told_before(plan))
    ]
    said = (
        [
            f"Taken to be ordered, as plans before said: {'; '.join(named)}. Order today what did not go out. "
            "What it costs is spent either way, and counts in no visit."
        ]
        if named
        else []
    )
    spare = [f"{_ordered_as(one)} for {one['unit']} ({day(one['told_on'])})" for one in plan.summary.get(SPARE, ())]
    if spare:
        said.append(f"Told before, and used by no visit of this plan: {'; '.join(spare)}.")
    return " ".join(said)


def missed_words(row: Mapping[str, Any], currency: str, *, ordered: bool = False) -> str:
    """Why a vehicle comes after the day by which the list says to act, or has no visit; ordered: whether its part is on its way."""
    more = money(row["costs_more"], currency)
    cheaper = f", {more} cheaper than calling it in before" if row["costs_more"] else ""
    left_on = day(row["leaves_on"]) if pd.notna(row["leaves_on"]) else ""
    at_risk = f", at a {percent(row['risk'])} chance of a no-start if nothing is done" if row["risk"] else ""
    about = {
        "depot": row["depot"] or "its depot",
        "more": more,
        "cheaper": cheaper,
        "left_on": left_on,
        "at_risk": at_risk,
        "before": percent(row["risk_before"]),
        "soonest": day(row["soonest_on"], weekday=True) if pd.notna(row["soonest_on"]) else "",
    }
    if pd.isna(row["visit_on"]):
        return NO_VISIT_WORDS[row["reason"]].format(**about)
    why = LATE_WORDS[row["reason"]].format(**about)
    if pd.isna(row["part_on"]):
        return why
    part = f"its part, {'ordered before' if ordered else 'ordered now'}, comes on {day(row['part_on'])}"
    still = LATER_STILL.get(row["reason"], "").format(**about)
    return part if row["reason"] == "part" else f"{part}, and {still or why}"


def units_words(units: Sequence[str]) -> str:
    """The vehicles of an order; of very many the first ones, the files name all."""
    more = len(units) - UNITS_NAMED
    return ", ".join(units[:UNITS_NAMED]) + (f" and {more} more" if more > 0 else "")


def order_heads(plan: ReplacementPlan) -> list[str]:
    in_money = f"[{plan.summary['currency']}]"
    return [
        "part",
        "pieces",
        "for",
        "order by",
        "needed on",
        "delivery [days]",
        f"each {in_money}",
        f"in all {in_money}",
    ]


def order_rows(plan: ReplacementPlan) -> list[list[str]]:
    """The table of orders; the whole amounts in its last column add up to that of all orders."""
    orders = rows_of(plan.orders)
    prices = whole_amounts({str(at): order["price"] for at, order in enumerate(orders)})
    return [
        [PART_WORDS.get(o["part"], o["part"]), str(o["quantity"]), units_words(o["units"]),
         day(o["order_by"], weekday=True) + ("" if pd.isna(o["told_on"]) else ORDERED_BEFORE),
         day(o["needed_on"], weekday=True), number(o["lead_days"]), amount(o["price_each"]), amount(prices[str(at)])]
        for at, o in enumerate(orders)
    ]  # fmt: skip


def left_out_heads(plan: ReplacementPlan) -> list[str]:
    in_money = f"[{plan.summary['currency']}]"
    return [
        "vehicle",
        "depot",
        "to do",
        "best week",
        "why",
        "no-start risk",
        f"at risk {in_money}",
        f"would save {in_money}",
    ]


def left_out_rows(plan: ReplacementPlan) -> list[list[str]]:
    return [
        [r["unit"], r["depot"] or "–", r["job"], week_and_monday(r["best_week"]) if r["best_week"] else "–",
         decided_words(r) + as_sentence(REASON_WORDS[r["reason"]]), percent(r["risk"]),
         amount(r["cost_at_risk"]), amount(r["saving"])]
        for r in rows_of(plan.left_out)
    ]  # fmt: skip


def late_words(plan: ReplacementPlan) -> str:
    count = len(plan.act_by_missed)
    return f"{count_words(count, 'vehicle')} come{'s' if count == 1 else ''} later than the weekly list says to act: who, and why"


def missed_line(row: Mapping[str, Any], as_of: pd.Timestamp) -> str:
    """A vehicle that misses its day: by when, planned for when, and why; without the vehicle's name."""
    by = "now" if row["act_by"] <= as_of else f"by {day(row['act_by'])}"
    planned = "no visit" if pd.isna(row["visit_on"]) else f"planned for {day(row['visit_on'], weekday=True)}"
    return f"act {by}, {planned}: {row['why']}"


def figure_heads(plan: ReplacementPlan) -> list[str]:
    in_money = f"[{plan.summary['currency']}]"
    return [
        "way of working", "visits", "hours", "no-starts", f"work of visits {in_money}", f"+ no-starts {in_money}",
        f"+ left for later {in_money}", f"= in all {in_money}", f"saved against no visit {in_money}",
    ]  # fmt: skip


def figure_rows(plan: ReplacementPlan) -> list[list[str]]:
    """The table of figures: one way of working a row, whole amounts that add up across it."""
    return [
        [WAYS.get(f.policy, f.policy), str(f.count), number(f.hours, 1), number(f.starts, 1),
         *(amount(value) for value in (f.visits, f.no_starts, f.after, f.total, f.saved))]
        for f in figures_of(plan)
    ]  # fmt: skip


def amount(value: float) -> str:
    """A whole amount with its thousands apart and a real minus sign."""
    return f"{value:,.0f}".replace("-", plain_text.MINUS)


def figures_words(plan: ReplacementPlan) -> str:
    """What the columns of the table of figures mean, and over which days they count."""
    promised = " Only this plan keeps what the version before promised." if keeps_promises(plan) else ""
    return (
        f"All over the same {span_words(plan)}, the same vehicles and workshop hours. Work of visits: parts, hours and "
        "calling vehicles in. No-starts: help, tow, lost work and the repair of those that are still expected. Left for "
        f"later: what worn parts will cost after {day(last_day(plan))}, and the life given up in parts renewed before their "
        "time; it is why renewing more is not always cheaper. The reckoning is no finer than "
        f"{percent(VISITS.least_saved)} of what a no-start and its repair cost: a visit that saves less is not planned.{promised}"
    )


def keeps_promises(plan: ReplacementPlan) -> bool:
    """Whether what the version before promised binds the plan, which may cost something."""
    return bool(plan.summary.get("promised")) or bool(plan.visits["state"].isin(["kept", "moved"]).any())


def fewer_words(plan: ReplacementPlan) -> list[str]:
    """Why another way of working has fewer no-starts than the plan and costs more all the same: one sentence for each."""
    ways, currency = figures_of(plan), str(plan.summary["currency"])
    if not ways:
        return []
    own, out = ways[0], []
    for other in ways[1:]:
        if other.starts >= own.starts or other.total <= own.total:
            continue
        way = WAYS[other.policy]
        parts = [
            (other.visits - own.visits, "its visits cost"), (other.no_starts - own.no_starts, "its no-starts cost"),
            (other.after - own.after, "what is left for later costs"),
        ]  # fmt: skip
        why = ", ".join(f"{what} {money(abs(v), currency)} {'more' if v > 0 else 'less'}" for v, what in parts if v)
        out.append(
            f"{as_sentence(way)}{',' if ',' in way else ''} has {number(own.starts - other.starts, 1)} fewer no-starts than this plan and "
            f"costs {money(other.total - own.total, currency)} more in all: {why}."
        )
    return out


def settings_table(settings: Mapping[str, Any]) -> pd.DataFrame:
    """Costs and rules of a plan in words: rule, for (a part or a class, else ""), value; in words where it is no number."""
    currency = str(settings.get("currency", ""))
    rows: list[tuple[str, str, object]] = []
    for name, value in settings.items():
        if name == "no_start":
            rows += [(COST_WORDS[n], f"no-start, {words(kind)}", v) for kind, c in value.items() for n, v in c.items()]
        elif isinstance(value, Mapping):
            rows += [
                (COST_WORDS.get(name, words(name)), PART_WORDS.get(part, words(part)), v) for part, v in value.items()
            ]
        else:
            rows.append((COST_WORDS.get(name, words(name)), "", value))
    named = [(rule.replace("[money]", f"[{currency}]"), about, *valued(value)) for rule, about, value in rows]
    return pd.DataFrame(named, columns=["cost or rule", "for", "value", "in words"])


def valued(value: object) -> tuple[float, str]:
    """A setting's value as a number, or, where it is none, as it is read aloud."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value), ""
    if isinstance(value, list | tuple):
        return math.nan, ", ".join(map(str, value)) or "none"
    return math.nan, str(value)
