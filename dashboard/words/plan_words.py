"""Numbers of the plan to sentences of the trade: what is done, why then, and what leaving it out risks."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pandas as pd

from analysis.plan.replacement_plan import ReplacementPlan
from analysis.plan.result import rows_of
from dashboard.words import plain_text
from dashboard.words.plain_text import as_sentence, day, words
from dashboard.words.reasons import PART_WORDS

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
}


def money(amount: float, currency: str) -> str:
    """An amount without decimals, thousands apart."""
    return f"{amount:,.0f} {currency}"


def percent(probability: float) -> str:
    """A probability of the plan, in which none and all are sure."""
    return f"{100 * probability:.0f} %" if probability in (0.0, 1.0) else plain_text.percent(probability)


def job_words(kind: str, parts: list[str]) -> str:
    """What is done at a visit."""
    names = " and ".join(PART_WORDS.get(part, part) for part in parts)
    if kind == "measure":
        return f"measure again, {names} first; time kept to act on it" if names else "measure the starting circuit"
    if kind == "replace":
        return "put the engine's drag right" if parts == ["engine_drag"] else f"replace {names}"
    cheap = f"charge {names}" if parts == ["battery"] else f"clean and tighten {names}"
    if kind == "cheap":
        return f"{cheap}, then measure; time kept to replace"
    return f"{cheap} and measure; replace if that does not help"


def why_words(visit: Mapping[str, Any], currency: str, last_day: pd.Timestamp) -> str:
    """Why this visit in this week: its expected cost against that of waiting."""
    place = "It is in for its planned service that day. " if visit["in_service"] else ""
    waits = percent(visit["probability_waiting"])
    risk = (
        f"{as_sentence(waits)} chance of a no-start by {day(last_day)} if nothing is done, "
        f"{percent(visit['probability_before'])} before the visit."
    )
    now, waiting = money(visit["cost_now"], currency), money(visit["cost_waiting"], currency)
    pinned = "Pinned by the planner. " if visit["state"] == "pinned" else ""
    known = (
        " Knowing which part it is, and how far gone, is what the visit pays for." if visit["kind"] == "measure" else ""
    )
    return f"{pinned}{decided_words(visit)}{place}Expected cost {now} with this visit, {waiting} when waiting. {risk}{known}"


def saving_words(visit: Mapping[str, Any], currency: str) -> str:
    """What a visit saves against waiting: the difference of the two costs as they are shown."""
    difference = round(visit["cost_waiting"]) - round(visit["cost_now"])
    if visit["saving"] < 0:
        return f"costs {money(max(-difference, 1), currency)} more than waiting"
    return f"saves {money(difference, currency)}" if difference >= 1 else f"saves under {money(1, currency)}"


def decided_words(row: Mapping[str, Any]) -> str:
    """What was decided about a vehicle and how the plan obeys it, as a sentence with a blank after it; "" for none."""
    on = f" on {day(row['decided_on'])}" if row["decided_on"] else ""
    if row["decision"] == "accepted":
        return f"Accepted{on}. "
    if row["decision"] == "postponed":
        return f"Postponed{on} until {day(row['decided_until'])}. "
    return f"Looked at{on}, nothing found: its risk is the lower for it. " if row["decision"] == "nothing_found" else ""


def left_out_words(row: Mapping[str, Any], currency: str) -> str:
    """Why a vehicle is left out, and what that risks."""
    return (
        f"{decided_words(row)}Left out because {REASON_WORDS[row['reason']]}: {percent(row['risk'])} chance of a no-start within "
        f"the plan's weeks, {money(row['cost_at_risk'], currency)} at risk; "
        + (f"a visit would save {money(row['saving'], currency)}." if row["saving"] > 0 else "a visit would not pay.")
    )


def no_visit_words(plan: ReplacementPlan) -> str:
    """Why a plan has no visit."""
    if not (plan.hours["hours"] > 0).any():
        return "No visit can be planned: no workshop has hours in these weeks."
    if len(plan.left_out):
        return "No visit can be planned in these weeks; what is left out, and why, stands under Left out."
    return "No visit pays in these weeks."


def with_words(plan: ReplacementPlan) -> ReplacementPlan:
    """The plan with the sentences `job` and `why` filled in."""
    currency = str(plan.summary["currency"])
    last_day = plan.hours["week_start"].max() + pd.Timedelta(days=6) if len(plan.hours) else plan.as_of
    visits, left_out = plan.visits.copy(), plan.left_out.copy()
    for frame in (visits, left_out):
        frame["job"] = [job_words(kind, parts) for kind, parts in zip(frame["kind"], frame["parts"], strict=True)]
    visits["why"] = [why_words(row, currency, last_day) for row in rows_of(visits)]
    left_out["why"] = [left_out_words(row, currency) for row in rows_of(left_out)]
    return replace(plan, visits=visits, left_out=left_out)


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
