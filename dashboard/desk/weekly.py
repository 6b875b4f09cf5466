"""The weekly list as issued: what is on it, what changed since the week before, and why a vehicle has gone."""

from collections.abc import Callable, Collection, Mapping, Sequence
from datetime import date, datetime
from typing import Any

import pandas as pd
from sqlite_utils import Database

from analysis.circuit.limit_book import LimitBook
from analysis.forecast.choices import WEATHER
from analysis.forecast.lows import make_weather
from analysis.plan.workshop_calendar import iso_week
from analysis.worklist.assess import Assessment, FleetList
from analysis.worklist.short_course import short_courses
from dashboard.desk.assessment import assess_database, known_climate, list_rows, terms_of
from dashboard.desk.choices import CHANGES, SELDOM
from dashboard.desk.own_limits import limit_book
from dashboard.words import decision_words as said_words
from dashboard.words import list_words
from dashboard.words.begun import begun_words
from dashboard.words.list_row import to_do
from dashboard.words.meter_words import meter_words
from dashboard.words.plain_text import as_sentence, clean, in_reader_unit, percent, safe, some, temperature
from dashboard.words.plain_text import day as day_words
from dashboard.words.reasons import part_name, suspect_name
from dashboard.words.visit_words import found_said
from ingest import store
from ingest.records import WeeklyList, issue_again, issue_weekly_list, read_decisions, read_weekly_list, weekly_lists
from ingest.visits import read_visits

Row = dict[str, Any]


ORDERS: dict[str, Callable[[Row], Any]] = {
    list_words.BY_RANK: lambda _row: 0,
    list_words.ACT_BY_HEAD: lambda row: row["act_by"] or "9999",
    list_words.STARTS_HEAD: lambda row: -float(row["coldest_start_c"]),
    list_words.LAST_READ_HEAD: lambda row: row["last_reading_on"] or "",
    "depot": lambda row: row["depot"] or "",
    "part": suspect_name,
    "vehicle": lambda row: row["unit"],
}
"""What the list can be put in order by: the most pressing first, then the longest unread, then by name."""


def make_body(db: Database, assessment: Assessment) -> dict[str, Any]:
    """The list of the assessment's day with its comparison to the list issued last before that week.

    Returns a JSON-able dict: as_of, horizon_days, compared_with, counts, depots (coming lows), units, gone, assumed, notes.
    """
    day = assessment.as_of.date()
    readings = store.read_readings(db, before=day)
    rows = list_rows(assessment, readings, terms_of(db, day), flagged_only=True)
    last = next((week for week in weekly_lists(db) if week < iso_week(day)), None)
    earlier = read_weekly_list(db, last) if last else None
    before_rows: Sequence[Row] = earlier.body.get("units", []) if earlier else []
    since = date.fromisoformat(earlier.as_of) if earlier else day
    decisions = read_decisions(db, before=day)
    repairs = store.read_repairs(db, before=day)
    judged, climate = assessment.units, known_climate(db, before=day)
    return {
        "as_of": day.isoformat(),
        "horizon_days": assessment.horizon_days,
        "compared_with": last or "",
        "counts": {
            "units": len(judged),
            "judged": int((judged["status"] == "judged").sum()),
            "too_few": int((judged["status"] == "too few readings").sum()),
            "no_reading": int((judged["status"] == "no reading").sum()),
        },
        "depots": coming_lows(db, assessment),
        "units": with_courses(
            with_changes(rows, before_rows, compared=earlier is not None), assessment, limit_book(db)
        ),
        "gone": gone_rows(rows, before_rows, judged, repairs, decisions, readings, since, read_visits(db, before=day)),
        "assumed": assumed(climate, assessment),
        "notes": notes_of(assessment, days_read(readings, assessment.as_of)),
    }


def with_courses(rows: Sequence[Row], assessment: Assessment, book: LimitBook) -> list[Row]:
    """Each row with `course`, the small course of its part, None where no part is named."""
    found = short_courses(assessment, [(row["unit"], row["part"]) for row in rows if row["part"]], book)
    return [{**row, "course": found.get(row["unit"])} for row in rows]


def notes_of(assessment: FleetList, read_on: pd.Series) -> list[str]:
    """Sentences about bays, meters, whole classes, laws of another fleet, and how seldom vehicles are read. read_on: `days_read`."""
    seldom = seldom_read(read_on, assessment.units["unit"].tolist())
    return [*map(meter_words, assessment.fleet_notes), *begun_words(assessment.begun), *seldom]


def coming_lows(db: Database, assessment: Assessment) -> dict[str, dict[str, Any]]:
    """Per depot: the low that the horizon reaches with even odds [°C], and the lowest forecast with its day."""
    forecast = store.read_forecast(db)
    out: dict[str, dict[str, Any]] = {}
    until = assessment.as_of + pd.Timedelta(days=assessment.horizon_days)
    season = assessment.shared.season
    coldest_of = dict(zip(season.depots, season.soon.coldest, strict=True))
    for depot in sorted({str(d) for d in assessment.units["depot"].dropna()}):
        coldest = coldest_of[depot]
        own = forecast[
            (forecast["depot"] == depot) & (forecast["date"] >= assessment.as_of) & (forecast["date"] < until)
        ]
        entry: dict[str, Any] = {"coming_low_c": round(float(coldest), 1), "forecast_low_c": None, "forecast_on": None}
        if len(own):
            least = own.iloc[int(own["low_c"].to_numpy().argmin())]
            entry |= {"forecast_low_c": float(least["low_c"]), "forecast_on": f"{least['date']:%Y-%m-%d}"}
        out[depot] = entry
    return out


def coming_low_of(db: Database, depot: str, as_of: date, horizon_days: int) -> float:
    """The low that a depot reaches within the horizon with even odds [°C], as on the list of that day."""
    climate, first = known_climate(db, before=as_of), (as_of - date(1970, 1, 1)).days
    return round(float(make_weather(climate, [depot], first, horizon_days, store.read_forecast(db)).coldest[0]), 1)


def days_read(readings: pd.DataFrame, as_of: pd.Timestamp) -> pd.Series:
    """Vehicle -> on how many days of the year before `as_of` it was read, of those whose first reading is older than that;
    readings: all before `as_of`, of any vehicles."""
    year_ago = as_of - pd.Timedelta(days=SELDOM.year_d)
    long = pd.Index(readings.loc[readings["taken_at"] < year_ago, "unit"].unique())
    lately = readings.loc[readings["taken_at"] >= year_ago, ["unit", "taken_at"]]
    days: pd.Series = lately["taken_at"].dt.normalize().groupby(lately["unit"]).nunique().reindex(long, fill_value=0)
    return days


def seldom_read(days: pd.Series, units: Collection[str]) -> list[str]:
    """One sentence where most of the vehicles were read on fewer days (`days_read`) than wanted (`SELDOM`)."""
    few = int((days[days.index.isin(units)] < SELDOM.days).sum())
    return [list_words.SELDOM_READ.format(count=few, of=len(units))] if few > SELDOM.share * len(units) else []


def assumed(climate: pd.DataFrame, found: FleetList) -> list[str]:
    """What the list rests on that nobody stated, a sentence each: the lows of depots without a climate, and the cold
    spells of those without a year of daily lows; and where far more or fewer no-starts came than it rests on. climate: of
    `known_climate` on the list's day."""
    depots = {str(depot) for depot in found.units["depot"].dropna()}
    unknown = sorted(depots - set(climate.loc[climate["low_c"].notna(), "depot"]))
    measured = set(climate.loc[climate["skew"].notna(), "depot"]) if "skew" in climate else set()
    sentences = []
    if unknown:
        low, high = (temperature(WEATHER.unknown_low_c + side * WEATHER.unknown_sd_k) for side in (-1, 1))
        sentences.append(
            list_words.CLIMATE_ASSUMED.format(
                depots=some(unknown), middle=temperature(WEATHER.unknown_low_c), low=low, high=high
            )
        )
    if usual := sorted(depots - set(unknown) - measured):
        sentences.append(list_words.SPELLS_ASSUMED.format(depots=some(usual)))
    if found.tally.off:
        sentences.append(list_words.past_words(found.tally))
    return sentences


def with_changes(rows: Sequence[Row], before: Sequence[Row], *, compared: bool) -> list[Row]:
    """Each row with `change` (new, worse, better, same; first without an earlier list) and `was` (probability)."""
    earlier = {row["unit"]: row for row in before}
    out = []
    for row in rows:
        old = earlier.get(row["unit"])
        if not compared:
            change: Row = {"change": "first", "was": None}
        elif old is None:
            change = {"change": "new", "was": None}
        else:
            change = {
                "change": direction(row, old),
                "was": old["no_start_probability"],
                "was_coldest_start_c": old["coldest_start_c"],
            }
        out.append({**row, **change})
    return out


def direction(row: Mapping[str, Any], old: Mapping[str, Any]) -> str:
    """Whether a vehicle stands worse, better or the same as on the list before."""
    rise = float(row["no_start_probability"]) - float(old["no_start_probability"])
    warmer = float(row["coldest_start_c"]) - float(old["coldest_start_c"])
    if rise >= CHANGES.worse_rise or (warmer >= CHANGES.worse_k and rise > -CHANGES.worse_rise):
        return "worse"
    if rise <= -CHANGES.worse_rise or warmer <= -CHANGES.worse_k:
        return "better"
    return "same"


def gone_rows(
    rows: Sequence[Row],
    before: Sequence[Row],
    judged: pd.DataFrame,
    repairs: pd.DataFrame,
    decisions: pd.DataFrame,
    readings: pd.DataFrame,
    since: date,
    visits: pd.DataFrame,
) -> list[Row]:
    """Vehicles of the list before that are not on this one, each with one sentence why."""
    still = {row["unit"] for row in rows}
    left = [row for row in before if row["unit"] not in still]
    own = {str(u["unit"]): u for u in judged[judged["unit"].isin([r["unit"] for r in left])].to_dict("records")}
    return [
        {
            "unit": row["unit"],
            "depot": row.get("depot"),
            "part": row["part"],
            "was": row["no_start_probability"],
            "why": why_gone(row, own.get(row["unit"]), repairs, decisions, readings, pd.Timestamp(since), visits),
        }
        for row in left
    ]


def why_gone(
    row: Mapping[str, Any],
    now: Mapping[Any, Any] | None,
    repairs: pd.DataFrame,
    decisions: pd.DataFrame,
    readings: pd.DataFrame,
    since: pd.Timestamp,
    visits: pd.DataFrame,
) -> str:
    """One sentence why a vehicle is no longer on the list; visits: those that were reported as done."""
    unit = row["unit"]
    if now is None:
        return list_words.OUT_OF_SERVICE
    done = repairs[(repairs["unit"] == unit) & (repairs["done_on"] >= since)]
    if len(done):
        last = done.iloc[-1]
        return list_words.WORK_ON.format(work=work_words(last.to_dict()), day=_short(last["done_on"]))
    came = visits[(visits["unit"] == unit) & (visits["done_on"] >= since)]
    if len(came):
        visit = came.iloc[-1].to_dict()
        return list_words.VISIT_ON.format(day=_short(visit["done_on"]), found=found_said(visit))
    mine = decisions[(decisions["unit"] == unit) & (decisions["at"] >= since)]
    looked = mine[mine["kind"] == "nothing_found"]
    if len(looked):
        return list_words.LOOKED_ON.format(day=_short(looked.iloc[-1]["at"]))
    if row.get("failed_on") and not now.get("failed_starts"):
        return list_words.NOT_AGAIN.format(day=_short(pd.Timestamp(str(row["failed_on"]))))
    was, is_now = float(row["no_start_probability"]), float(now["no_start_probability"])
    fell = was > is_now and percent(was) != percent(is_now)
    change = (list_words.FELL if fell else list_words.BELOW).format(then=percent(was), now=percent(is_now))
    fresh = readings[(readings["unit"] == unit) & (readings["taken_at"] >= since)]
    if len(fresh):
        return list_words.READ_AGAIN.format(day=_short(fresh.iloc[-1]["taken_at"]), change=change)
    return list_words.WITHOUT_READING.format(change=change) if fell else change


def _short(moment: pd.Timestamp) -> str:
    return f"{moment.day} {moment:%b}"


def work_words(repair: Mapping[Any, Any]) -> str:
    """What a repair did, in words; drag is nothing that is replaced itself, but what caused it is."""
    part, action = str(repair["part"]), str(repair["action"])
    return list_words.DRAG_CAUSE.format(action=action) if part == "engine_drag" else f"{part_name(part)} {action}"


def issue(db: Database, assessment: Assessment, *, by: str = "", now: datetime | None = None) -> bool:
    """Freeze the list of the assessment's week; False, changing nothing, when that week has one already."""
    iso = iso_week(assessment.as_of.date())
    if read_weekly_list(db, iso) is not None:
        return False
    return issue_weekly_list(db, iso, as_of=assessment.as_of.date(), body=make_body(db, assessment), by=by, now=now)


def issue_once_more(db: Database, assessment: Assessment, *, by: str, reason: str, now: datetime | None = None) -> int:
    """Freeze the list of the assessment's week beside the one issued before; ValueError without a reason."""
    day = assessment.as_of.date()
    return issue_again(db, iso_week(day), as_of=day, body=make_body(db, assessment), by=by, reason=reason, now=now)


def issue_for(db: Database, day: date, *, by: str = "", now: datetime | None = None) -> bool:
    """Assess as of `day` and freeze that week's list; False when it is issued already."""
    if read_weekly_list(db, iso_week(day)) is not None:
        return False
    return issue(db, assess_database(db, as_of=day), by=by, now=now)


def said_of_list(issued: WeeklyList, *, fahrenheit: bool = False) -> list[str]:
    """What has to be said with a list, in whole sentences: that it is none yet, what it assumes, why it was issued again, and its notes."""

    def told(kind: str) -> list[str]:
        return [in_reader_unit(str(text), fahrenheit=fahrenheit) for text in issued.body.get(kind, [])]

    said = [] if issued.version else [
        list_words.NOT_ISSUED.format(week=issued.iso_week, day=day_words(issued.as_of))
    ]  # fmt: skip
    said += told("assumed")
    if issued.version > 1:
        said.append(list_words.ISSUED_AGAIN.format(day=day_words(issued.issued_at), by=issued.by, reason=issued.reason))
    return [as_sentence(f"{text.rstrip('.')}.") for text in (*said, *told("notes"))]


def decision_words(decision: Mapping[Any, Any]) -> str:
    """A decision in a few words, without what the user typed."""
    kind = str(decision["kind"])
    until = day_words(decision["until"]) if kind == "postponed" else ""
    return said_words.DECIDED[kind].format(day=_short(decision["at"]), until=until)


def decision_with_reason(decision: Mapping[Any, Any]) -> str:
    """A decision and the reason that was typed, in one line, for a table or a terminal."""
    reason = clean(" ".join(str(decision["reason"] or "").split()))
    return f"{decision_words(decision)}: {reason}" if reason else decision_words(decision)


def decision_line(decision: Mapping[Any, Any]) -> str:
    """What was decided, why and by whom, for Markdown."""
    reason = f": {safe(decision['reason'])}" if decision["reason"] else ""
    return f"{as_sentence(decision_words(decision))}{reason} ({safe(decision['by'])})"


def latest_decisions(decisions: pd.DataFrame, day: date) -> dict[str, dict[Any, Any]]:
    """Per vehicle the latest decision that still stands on `day`: a postponement ends with its date."""
    out: dict[str, dict[Any, Any]] = {}
    for decision in decisions.to_dict("records"):
        out[str(decision["unit"])] = decision
    over = [
        unit
        for unit, d in out.items()
        if d["kind"] == "postponed" and (pd.isna(d["until"]) or d["until"] <= pd.Timestamp(day))
    ]
    for unit in over:
        out.pop(unit)
    return out


def ranked(body: Mapping[str, Any]) -> list[Row]:
    """The rows of a list, each with its rank on the whole of it."""
    return [{**row, "rank": i} for i, row in enumerate(body["units"], 1)]


def list_frame(body: Mapping[str, Any], decided: Mapping[str, Mapping[Any, Any]]) -> pd.DataFrame:
    """The list as a table for the screen and for download, one row per vehicle."""
    rows = body.get("units", [])
    lows = body.get("depots", {})
    return pd.DataFrame(
        {
            "rank": [r.get("rank", i) for i, r in enumerate(rows, 1)],
            "unit": [r["unit"] for r in rows],
            "depot": [r["depot"] for r in rows],
            "class": [r["vehicle_class"] for r in rows],
            "part": [suspect_name(r) for r in rows],
            "part_probability": [r["part_probability"] for r in rows],
            "no_start_probability": [r["no_start_probability"] for r in rows],
            "coldest_start_c": [r["coldest_start_c"] for r in rows],
            "coming_low_c": [lows.get(r["depot"], {}).get("coming_low_c") for r in rows],
            "act_by": [r["act_by"] for r in rows],
            "last_reading_on": [r["last_reading_on"] for r in rows],
            "change": [r.get("change", "") for r in rows],
            "why": [(r.get("reasons") or [""])[0] for r in rows],
            "action": [to_do(r) for r in rows],
            "decision": [decision_words(decided[r["unit"]]) if r["unit"] in decided else "" for r in rows],
            "caution": [r.get("caution", "") for r in rows],
        }
    )
