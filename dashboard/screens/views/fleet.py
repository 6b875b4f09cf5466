"""The fleet at a glance: the coming cold, who was at risk over the year, what happened, and who is overdue."""

from collections.abc import Mapping
from datetime import date, timedelta
from functools import partial
from typing import Any

import pandas as pd
import streamlit as st
from pandas.io.formats.style import Styler
from sqlite_utils import Database

from analysis.worklist.assess import Assessment
from dashboard.charts import charts
from dashboard.desk import weekly
from dashboard.files import paper
from dashboard.screens import beginning, columns, downloads, history, one_unit, past_ways, pictures, session
from dashboard.screens.address import screens_address
from dashboard.screens.codes import code_button, code_reach
from dashboard.screens.issued import until_fresh
from dashboard.screens.pages import IN_ADDRESS
from dashboard.screens.picker import pick_depot
from dashboard.words import chart_numbers, every_page
from dashboard.words import fleet_words as say
from dashboard.words.chart_numbers import SUMMARY
from dashboard.words.heads import head
from dashboard.words.plain_text import (
    as_sentence,
    cold_words,
    count_words,
    day,
    fahrenheit_of,
    safe,
    span,
    temperature,
    whole,
    words,
)
from dashboard.words.reasons import PART_WORDS
from ingest import store
from ingest.fields import FAILED_STARTS, fahrenheit_to_celsius
from ingest.records import WeeklyList, read_decisions

OVERDUE_D = 90  # days without a reading after which a vehicle is overdue, our choice: a quarter
SERVICE_SOON_D = 14
SHEETS_AT_ONCE = 60  # bay sheets in one file, our choice
CODES_AT_ONCE = 400  # codes in one file, our choice: fifty sheets
METRIC_PX = 172  # [px] two side by side on a phone
DEPOTS_SAID = 6  # depots with a sentence of their own, the coldest first; our choice


def show() -> None:
    st.title(every_page.PAGES["fleet"])
    if not session.has_vehicles():
        beginning.nothing_yet()
        return
    if not session.has_readings(session.as_of()):
        beginning.no_reading()
        return
    assessment = session.assessment(patient=False)
    if assessment is None:
        while_judging()
        return
    units = assessment.units
    late = late_units(units, assessment.as_of)
    numbers(len(units), int(units["flagged"].sum()), int((units["status"] != "judged").sum()), len(late))
    coming_cold(assessment)
    year(assessment.as_of)
    past_ways.untouched(assessment.as_of)
    overdue(units, assessment.as_of)
    windscreens()
    learned(assessment)


def while_judging() -> None:
    """What is on record, as long as the fresh figures are being worked out."""
    as_of, issued = pd.Timestamp(session.as_of()), until_fresh()
    units = last_read(session.key_of())
    if issued is not None:
        few = issued.body["counts"]["too_few"] + issued.body["counts"]["no_reading"]
        numbers(len(units), len(issued.body["units"]), few, len(late_units(units, as_of)))
        sentences = issued_cold_sentences(issued)
        if sentences:
            st.subheader(say.COMING_COLD)
            st.markdown("\n".join(f"- {whole(sentence)}" for sentence in sentences))
    if history.archive().known(session.key_of()) is not None:
        year(as_of)
    overdue(units, as_of)


@st.cache_resource(show_spinner=False, max_entries=2)
def last_read(key: session.Key) -> pd.DataFrame:
    """When each vehicle was last read before the day shown: unit, depot, last_reading_on."""
    with session.database() as db:
        sql = "SELECT unit, max(taken_at) AS last FROM readings WHERE taken_at < ? GROUP BY unit"
        last = {row["unit"]: row["last"] for row in db.query(sql, [key.as_of.isoformat()])}
    units = session.units_in_service(key.as_of)
    on = pd.to_datetime(units["unit"].map(last), format="ISO8601").dt.normalize().astype("datetime64[us]")
    return units[["unit", "depot"]].assign(last_reading_on=on)


def issued_cold_sentences(issued: WeeklyList) -> list[str]:
    """Per depot with a forecast still to come: which vehicles of the list likely fail on its coldest morning."""
    out = []
    for depot, low in issued.body["depots"].items():
        if low["forecast_low_c"] is None or low["forecast_on"] < session.as_of().isoformat():
            continue
        low_c = float(low["forecast_low_c"])
        likely = [r["unit"] for r in issued.body["units"] if r["depot"] == depot and r["coldest_start_c"] > low_c]
        at = temperature(low_c, fahrenheit=session.fahrenheit())
        out.append(
            say.FORECAST.format(depot=safe(depot), day=day(low["forecast_on"], weekday=True))
            + say.of_the_list(at, likely)
        )
    return out


def numbers(units: int, flagged: int, too_few: int, late: int) -> None:
    """How many vehicles, how many need attention, how many cannot be judged, how many are overdue."""
    with st.container(horizontal=True, key="numbers"):
        st.metric(every_page.VEHICLES, f"{units}", width=METRIC_PX)
        st.metric(say.NEED_ATTENTION, f"{flagged}", width=METRIC_PX)
        st.metric(say.TOO_FEW, f"{too_few}", width=METRIC_PX)
        st.metric(say.OVERDUE, f"{late}", width=METRIC_PX)


# --- the coming cold -------------------------------------------------------------------------------------------------


def coming_cold(assessment: Assessment) -> None:
    """How many vehicles likely fail to start at a temperature, for a depot or all."""
    st.subheader(say.COMING_COLD)
    in_f = session.fahrenheit()
    lows = session.read(weekly.coming_lows, assessment)
    sentences = forecast_sentences(assessment, lows)
    if sentences:
        st.markdown("\n".join(f"- {whole(sentence)}" for sentence in sentences))
    else:
        st.caption(say.NO_FORECAST)
    units = assessment.units[assessment.units["status"] == "judged"]
    if units.empty:
        st.write(every_page.NONE_JUDGED)
        return
    with st.container(horizontal=True, vertical_alignment="bottom"):
        depot = pick_depot(units["depot"].dropna(), "cold_depot", bind=IN_ADDRESS)
        low = low_slider(_first_low(lows), in_f=in_f)
    mine = units if depot is None else units[units["depot"] == depot]
    sentence = cold_sentence(mine, low)
    st.markdown(as_sentence(sentence))
    counts = cold_counts(mine)
    text = cold_count_text(counts, in_f=in_f)
    chart = charts.cold_count_chart(counts, chosen_c=low, title=say.FAIL_BY_LOW, fahrenheit=in_f)
    pictures.chart(
        charts.specification(chart), text, "cold_count", chart_numbers.cold_count_numbers(counts, fahrenheit=in_f)
    )
    st.caption(say.COLD_KEY)
    table = mine[mine["coldest_start_high_c"] > low][
        ["unit", "depot", "vehicle_class", "part", "coldest_start_c", "coldest_start_low_c", "coldest_start_high_c"]
    ].sort_values("coldest_start_c", ascending=False)
    with st.expander(say.WHICH_FAIL):  # the same label keeps it open while the low is moved
        st.caption(say.SO_MANY_AT.format(count=len(table), low=temperature(low, fahrenheit=in_f)))
        columns.show(
            cold_shown(table.head(500), low, in_f=in_f), alt=say.FAIL_ALT,
            key="cold_table", columns={"vehicle": st.column_config.TextColumn(pinned=True)},
        )  # fmt: skip
        downloads.table_button(table, f"fail-at-{low:.0f}-c", key="cold")


def cold_shown(table: pd.DataFrame, low_c: float, *, in_f: bool) -> Styler:
    """The table as it is read; the file keeps codes and numbers."""
    degrees = partial(cold_words, fahrenheit=in_f)
    shown = pd.DataFrame(
        {
            "vehicle": table["unit"],
            "depot": table["depot"],
            "class": [words(str(name)) for name in table["vehicle_class"]],
            say.MOST_WORN: [PART_WORDS[part] for part in table["part"]],
            say.A_NO_START_IS: [say.LIKELY if c > low_c else say.POSSIBLE for c in table["coldest_start_c"]],
            say.STARTS_DOWN_TO: table["coldest_start_c"],
            say.SURE: [
                span(degrees(low), degrees(high))
                for low, high in zip(table["coldest_start_low_c"], table["coldest_start_high_c"], strict=True)
            ],
        }
    )
    return columns.in_words(shown, {say.STARTS_DOWN_TO: degrees})


def low_slider(first_c: int, *, in_f: bool) -> float:
    """A morning low [°C], chosen in the reader's unit."""
    if not in_f:
        return float(st.slider(say.MORNING_LOW_C, -40, 20, first_c, key="cold_low", width=420, bind=IN_ADDRESS))
    low_f = st.slider(
        say.MORNING_LOW_F, -40, 68, round(fahrenheit_of(first_c)), key="cold_low_f", width=420, bind=IN_ADDRESS
    )
    return fahrenheit_to_celsius(float(low_f))


def cold_sentence(units: pd.DataFrame, low_c: float) -> str:
    """How many of `units` likely fail to start at `low_c`, and which."""
    likely = units[units["coldest_start_c"] > low_c].sort_values("coldest_start_c", ascending=False)
    possible = int((units["coldest_start_high_c"] > low_c).sum())
    at = temperature(low_c, fahrenheit=session.fahrenheit())
    return say.at_a_low(at, likely["unit"].tolist(), of=len(units), possible=possible)


def cold_counts(units: pd.DataFrame) -> pd.DataFrame:
    """Vehicles that likely and possibly fail at each whole degree: low_c, likely, possible."""
    lows = list(range(-40, 21))
    return pd.DataFrame(
        {
            "low_c": lows,
            "likely": [int((units["coldest_start_c"] > low).sum()) for low in lows],
            "possible": [int((units["coldest_start_high_c"] > low).sum()) for low in lows],
        }
    )


def cold_count_text(counts: pd.DataFrame, *, in_f: bool) -> str:
    at = counts[counts["low_c"].isin([0, -10, -20, -30, -40])].iloc[::-1]
    said = "; ".join(
        say.COUNTS_AT.format(
            low=temperature(float(str(r.low_c)), fahrenheit=in_f), likely=r.likely, possible=r.possible
        )
        for r in at.itertuples()
    )
    return say.COLD_ALT.format(title=say.FAIL_BY_LOW, counts=said)


def forecast_sentences(assessment: Assessment, lows: Mapping[str, Mapping[str, Any]]) -> list[str]:
    """Per depot with a forecast: its coldest morning, what it would do there; where there are several, all together.

    lows: of `weekly.coming_lows`.
    """
    units = assessment.units[assessment.units["status"] == "judged"]
    known = [(d, low) for d, low in lows.items() if low["forecast_low_c"] is not None]
    known.sort(key=lambda pair: float(pair[1]["forecast_low_c"]))
    said = [
        say.FORECAST.format(depot=safe(depot), day=day(low["forecast_on"], weekday=True))
        + cold_sentence(units[units["depot"] == depot], float(low["forecast_low_c"]))
        for depot, low in known[:DEPOTS_SAID]
    ]
    if len(known) < 2:
        return said
    coldest = units["depot"].map({depot: float(low["forecast_low_c"]) for depot, low in known})
    likely, possible = (int((units[f"coldest_start{end}_c"] > coldest).sum()) for end in ("", "_high"))
    return [say.on_the_coldest(likely, of=int(coldest.notna().sum()), possible=possible), *said]


def _first_low(lows: Mapping[str, Mapping[str, Any]]) -> int:
    return int(max(-40, min(20, round(min((low["coming_low_c"] for low in lows.values()), default=-10)))))


# --- the year ---------------------------------------------------------------------------------------------------------


def year(as_of: pd.Timestamp) -> None:
    st.subheader(say.LAST_YEAR)
    past = history.archive().ask(session.key_of())
    if not past.done:
        follow(past.days)
    if past.failed:
        st.error(safe(past.failed))
    flagged = past.flagged()
    if len(flagged):
        by = (
            st.segmented_control(say.COUNT_BY, ["depot", "part"], default="part", key="history_by", bind=IN_ADDRESS)
            or "part"
        )
        counted = flagged.groupby(["day", by], as_index=False).size().rename(columns={"size": "vehicles"})
        order = counted.groupby(by)["vehicles"].sum().sort_values(ascending=False).index.tolist()[:7]
        every = counted.groupby("day", as_index=False)["vehicles"].sum().assign(**{by: every_page.ALL})
        counted = counted[counted[by].isin(order)]
        if by == "part":
            counted["part"] = [PART_WORDS[p] for p in counted["part"]]
            order = [PART_WORDS[p] for p in order]
        text = history.in_words(counted, by)
        if len(order) > 1:
            counted, order = pd.concat([counted, every], ignore_index=True), [every_page.ALL, *order]
        chart = charts.risk_history_chart(counted, by=by, title=say.YEAR_TITLE.format(by=by), order=order)
        st.vega_lite_chart(charts.specification(chart), width="stretch", alt=text, key="history_chart")
        st.caption(f"{safe(text)} {say.YEAR_KEY}")
        with st.expander(SUMMARY):
            table = counted.pivot_table(index="day", columns=by, values="vehicles", aggfunc="sum", fill_value=0)
            table = table.astype(int)[[name for name in order if name in table]].iloc[::-1].reset_index()
            columns.show(table, alt=text, key="history_table")
            downloads.table_button(table, f"on-the-list-by-{by}", key="history")
    elif past.done and not past.failed:
        st.write(say.NOBODY_LISTED)
    past_ways.what_lists_would_have_done(past)
    happened_table(past, as_of)
    found_nothing(past, as_of)


@st.fragment(run_every=3.0)
def follow(days: tuple[Any, ...]) -> None:
    """How far the past lists are; the page is drawn again when they are all there."""
    past = history.archive().ask(session.key_of())
    if past.done:
        session.draw_again("past")
    st.progress(len(past.lists) / len(days), text=say.PAST_WORKED_OUT.format(done=len(past.lists), of=len(days)))


def happened_table(past: history.Past, as_of: pd.Timestamp) -> None:
    with session.database() as db:
        repairs = store.read_repairs(db, before=as_of)
        readings = no_start_readings(db)
    happened = history.no_starts(repairs, readings, first=past.days[0], before=as_of.date())
    if happened.empty:
        st.write(say.NO_NO_START)
        return
    issued = issued_in(session.key_of(), past.days[0])
    happened[say.LISTED_BEFORE] = history.was_listed(happened, past, issued)
    happened[say.THAT_LIST], happened[say.THAT_LIST_WAS] = history.which_list(happened, past, issued)
    happened["part"] = [PART_WORDS.get(p, "") for p in happened["part"]]
    said = happened[say.LISTED_BEFORE]
    if past.done:
        listed = int(said.str.startswith(say.YES).sum())
        st.markdown(say.happened(len(happened), listed))
    columns.show(
        happened, alt=say.HAPPENED_ALT, height=240, key="happened_table",
        columns={"day": columns.day_of(say.DAY), say.THAT_LIST: columns.day_of(say.THAT_LIST)},
    )  # fmt: skip
    downloads.table_button(happened, "no-starts", key="happened")


@st.cache_resource(show_spinner=False, max_entries=2)
def issued_in(key: session.Key, first: date) -> dict[date, pd.DataFrame]:
    """Lists issued from `first` to before the day shown; read once per state of the database."""
    return session.read(history.issued_lists, first=first, before=key.as_of)


def found_nothing(past: history.Past, as_of: pd.Timestamp) -> None:
    """Flags that somebody looked at and found nothing behind: the wrong ones, as far as they are known."""
    made = session.read(read_decisions, before=as_of.date())
    year_ago = pd.Timestamp(past.days[0])
    wrong = made[(made["kind"] == "nothing_found") & (made["at"] >= year_ago)]
    if wrong.empty:
        return
    st.markdown(say.for_nothing(len(wrong)))
    table = wrong[["at", "unit", "iso_week", "reason", "by"]]
    with st.expander(say.WRONG_WHICH):
        columns.show(
            table, alt=say.WRONG_ALT, key="wrong_table",
            columns={"at": columns.day_of(say.LOOKED_AT)},
        )  # fmt: skip
        downloads.table_button(table, "looked-at-nothing-found", key="wrong")


def no_start_readings(db: Database) -> pd.DataFrame:
    """Readings whose start failed: unit, taken_at, outcome."""
    failed = ", ".join("?" * len(FAILED_STARTS))
    sql = f"SELECT unit, taken_at, outcome FROM readings WHERE outcome IN ({failed})"
    frame = pd.DataFrame(db.query(sql, list(FAILED_STARTS)), columns=["unit", "taken_at", "outcome"])
    frame["taken_at"] = pd.to_datetime(frame["taken_at"], format="ISO8601").astype("datetime64[us]")
    return frame


# --- readings overdue, and what was learned ---------------------------------------------------------------------------


def late_units(units: pd.DataFrame, as_of: pd.Timestamp) -> pd.DataFrame:
    """Vehicles whose last reading is more than OVERDUE_D old, or missing."""
    edge = as_of - pd.Timedelta(days=OVERDUE_D)
    late = units[units["last_reading_on"].isna() | (units["last_reading_on"] < edge)]
    return late.sort_values("last_reading_on", na_position="first")


def overdue(units: pd.DataFrame, as_of: pd.Timestamp) -> None:
    st.subheader(say.TO_BE_READ)
    due = due_units(units, as_of)
    if due.empty:
        st.write(say.NONE_OVERDUE.format(days=OVERDUE_D))
        return
    columns.show(due.head(500), alt=say.TO_BE_READ_ALT, height=240, key="due_table")
    in_f = session.fahrenheit()
    with st.container(horizontal=True):
        downloads.table_button(due, "to-be-read", key="due")
        downloads.pdf_button(
            say.BAY_SHEETS.format(count=min(len(due), SHEETS_AT_ONCE)), lambda: bay_sheets(due, in_f=in_f),
            "bay-sheets", key="bay_sheets",
        )  # fmt: skip


def due_units(units: pd.DataFrame, as_of: pd.Timestamp) -> pd.DataFrame:
    """Vehicles to be read: unit, depot, last_reading_on, why; those asked for first."""
    with session.database() as db:
        decisions = weekly.latest_decisions(read_decisions(db), session.as_of())
        services = store.read_services(db)
    until = as_of + timedelta(days=SERVICE_SOON_D)
    soon = services[(services["due_on"] >= as_of) & (services["due_on"] < until)]
    service_on = soon.groupby("unit")["due_on"].min()
    late = say.NO_READING_FOR.format(days=OVERDUE_D)
    why = {str(u): say.SERVICE_ON.format(day=day(on)) for u, on in service_on.items()}
    why |= dict.fromkeys(late_units(units, as_of)["unit"], late)
    why |= {u: say.ASKED_FOR for u, d in decisions.items() if d["kind"] == "measure"}
    mine = units[units["unit"].isin(list(why))]
    frame = mine[["unit", "depot", "last_reading_on"]].assign(why=[why[u] for u in mine["unit"]])
    order = frame["why"].map({say.ASKED_FOR: 0, late: 1}).fillna(2)
    return (
        frame.assign(order=order).sort_values(["order", "last_reading_on"]).drop(columns="order").reset_index(drop=True)
    )


def bay_sheets(due: pd.DataFrame, *, in_f: bool) -> bytes:
    rows = due.head(SHEETS_AT_ONCE).to_dict("records")
    sheets = (
        one_unit.bay_unit(one_unit.facts(str(r["unit"])), due=say.DUE.format(why=r["why"]), fahrenheit=in_f)
        for r in rows
    )
    return paper.bay_pdf(sheets, fahrenheit=in_f)


def windscreens() -> None:
    """Codes for the windscreens of a depot's vehicles, or of the first of them."""
    units = session.units_in_service()
    with st.expander(say.CODES):
        st.write(say.CODES_HELP)
        depot = pick_depot(units["depot"].dropna(), "codes_depot")
        mine = units if depot is None else units[units["depot"] == depot]
        names = mine["unit"].tolist()[:CODES_AT_ONCE]
        first = "" if len(names) == len(mine) else say.FIRST_CODES.format(count=len(names))
        base = screens_address()
        code_button(base, names, "codes", say.CODES_OF.format(first=first, count=count_words(len(mine), "vehicle")))
        code_reach(base)


def learned(assessment: Assessment) -> None:
    with st.expander(say.LEARNED):
        table = assessment.classes.assign(
            vehicle_class=[words(str(name)) for name in assessment.classes["vehicle_class"]],
            quantity=[words(str(name)) for name in assessment.classes["quantity"]],
        )
        columns.show(
            table, alt=say.LEARNED, key="classes_table",
            columns={
                "vehicle_class": st.column_config.TextColumn(head("vehicle_class"), pinned=True),
                "value": st.column_config.NumberColumn(format="%.3g"),
                "unit": every_page.MEASURED_IN,
                "se": st.column_config.NumberColumn(head("se"), format="%.2g"),
            },
        )  # fmt: skip
        downloads.table_button(assessment.classes, "classes", key="classes")


show()
