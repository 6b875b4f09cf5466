"""The backtest report as plain text and as a reliability chart: words and marks only, the arithmetic is in `analysis`."""

import textwrap
from collections.abc import Hashable, Mapping

import numpy as np

from analysis.backtest.choices import PAST_LISTS
from analysis.backtest.reliability import ALIKE, BACKWARDS, FEW, LEARNED, Calibration
from analysis.backtest.report import FIXED_AGES_Y, BacktestReport, OddsReport
from dashboard.words.plain_text import count_words, day, number
from dashboard.words.reasons import PART_WORDS

WIDTH = 100
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def report_text(report: BacktestReport) -> str:
    """The whole report as plain text, at most WIDTH columns wide."""
    parts = [*_head(report), "", *_ways(report), "", *_no_starts(report), "", *_odds(report.odds, report.horizon_days)]
    return "\n".join(_wrapped(line) for line in [*parts, "", *_costs(report)])


def _wrapped(line: str) -> str:
    """A long line broken between words, further lines indented."""
    if len(line) <= WIDTH:
        return line.rstrip()
    indent = " " * (len(line) - len(line.lstrip()) + 2)
    return textwrap.fill(line, WIDTH, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)


def _head(report: BacktestReport) -> list[str]:
    return [
        f"Backtest: {count_words(report.lists, 'list')} of {count_words(report.vehicles, 'vehicle')}, "
        f"{day(report.first)} to {day(report.last)}, history known to {day(report.known_to)}",
        f"A no-start counts as foreseen when the last list {PAST_LISTS.foreseen_d} days or more before it flagged the vehicle.",
        f"A flag is for nothing when neither a no-start nor a repair of that part follows within {PAST_LISTS.for_nothing_d} days.",
    ]


def _ways(report: BacktestReport) -> list[str]:
    currency = report.costs.settings.currency
    head = f"{'':36}{'no-starts':>10}{'right':>7}{'lead':>7}{'flags for':>11}{'per 100':>9}{'cost':>14}"
    under = f"{'':36}{'foreseen':>10}{'part':>7}{'[d]':>7}{'nothing':>11}{'years':>9}{f'[{currency}]':>14}"
    return [head, under, *(_way(row) for row in report.ways.to_dict("records"))]


def _way(row: Mapping[Hashable, object]) -> str:
    def cell(name: str, digits: int = 0) -> str:
        return number(float(str(row[name])), digits)

    caught = f"{cell('foreseen')} of {cell('no_starts')}"
    flags = cell("for_nothing") if np.isnan(float(str(row["replacements"]))) else f"{cell('replacements')} new"
    return (
        f"{row['way']!s:36}{caught:>10}{cell('right_part'):>7}{cell('median_lead_days'):>7}{flags:>11}"
        f"{cell('for_nothing_per_100', 1):>9}{cell('cost'):>14}"
    )


def _no_starts(report: BacktestReport) -> list[str]:
    """What was missed, by part, and what is still open."""
    seen = report.no_starts
    if seen.empty:
        return ["No no-start happened in this time that a list could have foreseen."]
    lines = []
    for part, mine in seen.groupby("part", sort=True):
        caught = mine[mine["foreseen"]]
        words = f"{PART_WORDS.get(str(part), str(part))}: {len(caught)} of {len(mine)} foreseen"
        if len(caught):
            lead = caught["lead_days"]
            words += (
                f", {number(float(lead.median()))} days before (10 % of them under {number(float(lead.quantile(0.1)))})"
            )
        lines.append("  " + words)
    best = report.ways[report.ways["way"] == "battery at a fixed age"].iloc[0]
    waiting = int((report.flags["outcome"] == "too early to say").sum())
    return [
        "No-starts by the part that failed:",
        *lines,
        f"{count_words(waiting, 'flag')} too young to be judged. Battery at a fixed age: {best['age_y']:g} years, the cheapest of "
        f"{', '.join(f'{a:g}' for a in FIXED_AGES_Y)}, chosen in hindsight.",
    ]


def _calibrated(found: Calibration) -> str:
    """From how many no-starts, or why not."""
    return {
        LEARNED: f"from {found.no_starts} no-starts on past lists",
        FEW: f"{found.no_starts} no-starts on past lists, {PAST_LISTS.fewest_no_starts} needed: left as it is",
        ALIKE: "all probabilities are alike: left as they are",
        BACKWARDS: "higher probabilities did not mean more no-starts: left as it is",
    }[found.why]


def _odds(odds: OddsReport | None, horizon_days: int) -> list[str]:
    if odds is None:
        return ["No list is old enough for its probabilities to be judged."]
    p = odds.parts
    return [
        f"Probability of a no-start within {horizon_days} days, {odds.rows} vehicle-lists with {odds.no_starts} no-starts:",
        f"  Brier score {p.brier:.4f} = reliability {p.reliability:.4f} - resolution {p.resolution:.4f} "
        f"+ uncertainty {p.uncertainty:.4f} {'+' if p.within >= 0 else '-'} within bins {abs(p.within):.4f}",
        f"  skill {number(odds.skill, 3)} against the base rate, {number(odds.monthly_skill, 3)} against each month's own; "
        f"log score {odds.log:.4f}",
        f"  in the 5 % ranked highest: {number(100 * odds.recall_top5)} % of the no-starts",
        f"  calibration {_calibrated(odds.calibration)}; on earlier lists only it makes the skill {number(odds.forward_skill, 3)}",
        "  said        seen (90 % interval)     vehicle-lists  no-starts",
        *(
            f"  {_percent(b['said']):>7}   {_percent(b['seen']):>7} ({_percent(b['seen_low'])} to "
            f"{_percent(b['seen_high'])})".ljust(42)
            + f"{b['rows']:>8}{b['no_starts']:>11}"
            for b in odds.bins.to_dict("records")
        ),
        "  by month, no-starts expected and seen: "
        + ", ".join(
            f"{MONTHS[int(m['month']) - 1]} {m['expected']:.1f}/{m['no_starts']}"
            for m in odds.months.to_dict("records")
        ),
    ]


def _costs(report: BacktestReport) -> list[str]:
    costs, settings = report.costs, report.costs.settings
    one = settings.no_start
    told = "; ".join(
        f"{name}: roadside {number(c.roadside)}, tow {number(c.tow)}, lost work {number(c.lost_work)}"
        for name, c in sorted(one.items())
    )
    return [
        f"Costs [{settings.currency}], to be set under the plan's settings. A no-start, {told}; repair at "
        f"{settings.failure_hours_factor:g} times its hours.",
        f"A flag for nothing: {number(costs.visit)}, and in {number(100 * costs.renewed_for_nothing)} % of the cases "
        "the part named. A foreseen no-start: the planned repair, and that of a part wrongly named.",
        f"Not counted: no-starts within {PAST_LISTS.settling_d} days of the first list or {PAST_LISTS.again_d} days of the vehicle's last one.",
    ]


def _percent(share: object) -> str:
    return f"{100 * float(str(share)):.1f} %"
