"""The weekly list: what was issued for the week, what changed since the last, and what was decided."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

import pandas as pd
import streamlit as st
from pandas.io.formats.style import Styler

from analysis.plan.workshop_calendar import iso_week
from analysis.worklist.assess import Assessment
from dashboard.charts import theme
from dashboard.desk import weekly
from dashboard.desk.choices import CHANGES
from dashboard.desk.habits import responsible_words
from dashboard.desk.planning import named, when
from dashboard.desk.rights import Act
from dashboard.files.paper import list_pdf
from dashboard.screens import (
    acts,
    beginning,
    columns,
    decisions,
    device,
    downloads,
    kept,
    pictures,
    rounds,
    session,
    visits,
)
from dashboard.screens.caution import before_work
from dashboard.screens.issued import newest_issued, read_issued
from dashboard.screens.pages import IN_ADDRESS, in_tabs, page
from dashboard.words import every_page
from dashboard.words import list_words as say
from dashboard.words.list_row import to_do
from dashboard.words.plain_text import (
    act_words,
    as_sentence,
    cold_range,
    cold_words,
    day,
    glued,
    percent,
    safe,
    sureness,
    temperature,
    whole,
    words,
)
from dashboard.words.reasons import PART_WORDS, Reader, first_reason, lacking_words, suspect_name
from dashboard.words.since import rows_now, since_issued
from ingest.records import WeeklyList, list_versions, read_decisions, weekly_lists

ROWS_A_PAGE = 25
ROWS_AT_FIRST = 8  # rows of the very first drawing, a window full; the rest follow at once, our choice
FILTER_PX = 172  # [px] two side by side on a phone
ISSUED = "list_issued"
PAGE = "weekly_list"


def show() -> None:
    st.title(every_page.PAGES[PAGE])
    if not session.has_vehicles():
        beginning.begin()
        return
    shown = this_week()
    if shown is None:
        return
    chosen = choose_version(choose_week(shown))
    body = chosen.body
    head(chosen)
    visits.right_part_line()
    issue(chosen)
    decisions = session.read(read_decisions)
    standing = weekly.latest_decisions(decisions, session.as_of())
    rows = arranged(body)
    behind: dict[str, Callable[[], None]] = {
        say.THE_LIST: lambda: show_rows(rows, chosen, standing),
        say.GONE_SINCE: lambda: show_gone(body),
        say.TABLE_AND_PAPER: lambda: show_table(chosen, rows, standing),
    }
    in_tabs(behind, "list_tab")
    issue_again(chosen)
    before_work()


def this_week() -> WeeklyList | None:
    """The list of the week shown: as issued, else as it would be, or the one before while that is worked out.

    None where there is nothing to judge.
    """
    day_shown = session.as_of()
    iso = iso_week(day_shown)
    found = read_issued(iso)
    if found is not None:
        return found
    last = newest_issued(day_shown) if session.has_readings(day_shown) else None
    assessment = session.assessment(patient=last is None)
    waiting = st.container()  # there in any case, so that the browser knows what stands below again, and keeps it open
    if assessment is None and last is not None:
        with waiting:
            if session.judge().failure(session.key_of()) is None:
                st.info(say.BEING_WORKED_OUT.format(week=iso))
            session.fresh_when_ready(session.key_of())
        return last
    if assessment is None:
        beginning.no_reading()
        return None
    body = as_it_would_be(str(session.judge().key_of_found(assessment)), session.written(), assessment)
    return WeeklyList(iso, day_shown.isoformat(), "", body, version=0)


@st.cache_resource(show_spinner=False, max_entries=2)
def as_it_would_be(key: str, written: str, _found: Assessment) -> dict[str, Any]:  # noqa: ARG001 - its key
    """The list that an assessment would give, for reading only."""
    return session.read(weekly.make_body, _found)


def choose_week(shown: WeeklyList) -> WeeklyList:
    weeks = [week for week in session.read(weekly_lists) if week < shown.iso_week]
    weeks.insert(0, shown.iso_week)
    session.follow("week", shown.iso_week)
    if len(weeks) < 2:
        return shown
    chosen = st.selectbox(every_page.WEEK, weeks, key="week", width=180, bind=IN_ADDRESS) or shown.iso_week
    if chosen == shown.iso_week:
        return shown
    newest = shown.iso_week if shown.version else weeks[1]
    st.caption(say.EARLIER.format(newest=newest))
    return read_issued(chosen) or shown


def choose_version(issued: WeeklyList) -> WeeklyList:
    """Let what was issued for the week before the last time be looked at."""
    versions = session.read(list_versions, issued.iso_week)
    if len(versions) < 2:
        return issued
    chosen = st.selectbox(
        say.ISSUED, list(versions), key=f"version_{issued.iso_week}_{len(versions)}", width=280,
        format_func=lambda version: say.ISSUED_AT.format(moment=versions[version].replace('T', ' ')[:16], version=version, count=len(versions)),
    )  # fmt: skip
    if chosen != len(versions):
        st.caption(say.ISSUED_SINCE)
    return read_issued(issued.iso_week, chosen) or issued


def is_this_week(chosen: WeeklyList) -> bool:
    """Whether it is the list of the running week with today's knowledge: that one can be issued."""
    return session.as_of() == session.today() and chosen.iso_week == iso_week(session.today())


def issue(chosen: WeeklyList) -> None:
    """Issue this week's list where that was not done yet; say who did it, where somebody just has."""
    kept.told(ISSUED, "")
    if (
        chosen.version
        or not is_this_week(chosen)
        or not acts.pressed(say.ISSUE.format(week=chosen.iso_week), "issue", Act.ISSUE)
    ):
        return
    fresh = session.judged(session.key_of())
    with session.database(Act.ISSUE) as db:
        first = weekly.issue(db, fresh, by=session.who(), now=session.now())
        said = say.IS_ISSUED if first else say.WAS_ISSUED
        kept.keep(kept.Kept(ISSUED, "", said.format(week=chosen.iso_week)))
    st.rerun()


def issue_again(chosen: WeeklyList) -> None:
    """Issue this week's list once more with today's knowledge; the earlier one stays on record."""
    if not chosen.version or not is_this_week(chosen) or not session.may(Act.ISSUE):
        return
    with st.popover(say.ISSUE_AGAIN, key=f"again_{chosen.version}"):
        st.caption(say.ISSUE_AGAIN_HELP)
        reason = st.text_input(say.WHY_AGAIN, max_chars=200, key=f"again_why_{chosen.version}")
        if st.button(say.AGAIN, key="again_now", type="primary"):
            if not reason.strip():
                st.error(say.SAY_WHY)
                return
            fresh = session.judged(session.key_of())
            with session.database(Act.ISSUE) as db:
                weekly.issue_once_more(db, fresh, by=session.who(), reason=reason, now=session.now())
                kept.keep(kept.Kept(ISSUED, "", say.IS_ISSUED.format(week=chosen.iso_week)))
            st.rerun()


def head(chosen: WeeklyList) -> None:
    body = chosen.body
    counts, rows = body["counts"], body["units"]
    new = sum(r.get("change") == "new" for r in rows)
    worse = sum(r.get("change") == "worse" for r in rows)
    before = body["compared_with"]
    changes = say.CHANGES.format(new=new, worse=worse, gone=len(body["gone"]), before=before) if before else ""
    st.markdown(
        say.head(
            chosen.iso_week, body["as_of"], needing=len(rows), of=counts["units"], changes=changes,
            days=body["horizon_days"],
        )
    )  # fmt: skip
    if chosen.version == 1:
        at = pd.Timestamp(chosen.issued_at)
        st.caption(say.BY.format(who=safe(named(chosen.by)), when=when(at)))
    in_f = session.fahrenheit()
    lows = []
    for depot, low in body["depots"].items():
        text = f"{safe(depot)} {temperature(low['coming_low_c'], fahrenheit=in_f)}"
        if low["forecast_low_c"] is not None:
            text += say.FORECAST.format(
                low=temperature(low["forecast_low_c"], fahrenheit=in_f), day=day(low["forecast_on"])
            )
        lows.append(text)
    if lows:
        shown = "; ".join(lows[:8]) + (every_page.MORE_DEPOTS.format(count=len(lows) - 8) if len(lows) > 8 else "")
        st.caption(say.COLDEST.format(lows=shown))
    answering = responsible_words(session.settings(), list(body["depots"]))
    if answering:
        st.caption(safe(answering))
    unjudged = counts["too_few"] + counts["no_reading"]
    if unjudged:
        st.caption(say.unjudged(unjudged))
    notes = weekly.said_of_list(chosen, fahrenheit=in_f)
    if notes:
        st.warning("\n\n".join(whole(safe(note)) for note in notes))
    if body.get("assumed"):
        st.page_link(page("files"), label=say.BRING_CLIMATE)


def arranged(body: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The rows that the filters leave, in the order asked for, each with its rank on the whole list."""
    every = rows = weekly.ranked(body)
    if len(rows) < 2:
        return rows
    with st.container(horizontal=True, key="filters"):
        for name, label, worded in (
            ("depot", every_page.DEPOT, str),
            ("vehicle_class", every_page.CLASS, words),
            ("part", every_page.PART, PART_WORDS.__getitem__),
        ):
            allowed = sorted({row[name] for row in rows if row[name]})
            chosen = st.multiselect(
                label,
                allowed,
                format_func=worded,
                key=name,
                placeholder=every_page.ALL,
                width=FILTER_PX,
                bind=IN_ADDRESS,
            )
            rows = [row for row in rows if not chosen or row[name] in chosen]
        by = st.selectbox(say.ORDER, list(weekly.ORDERS), key="order", width=FILTER_PX, bind=IN_ADDRESS)
    if len(rows) < len(every):  # above stands what is true of the whole list
        st.caption(say.part_shown(len(every), rows, changes=bool(body["compared_with"])))
    return sorted(rows, key=weekly.ORDERS[by])


def show_rows(rows: list[dict[str, Any]], chosen: WeeklyList, standing: Mapping[str, Mapping[Any, Any]]) -> None:
    """The vehicles, those still to decide about first, a page at a time."""
    body = chosen.body
    if not rows:
        if not body["counts"]["judged"]:
            st.info(every_page.NONE_JUDGED)
        else:
            st.success(say.NONE_LEFT if body["units"] else say.NONE_NEEDS)
        return
    rounds.begin(chosen.iso_week, [str(row["unit"]) for row in rows])
    aside = {unit for unit, decision in standing.items() if decision["kind"] in ("postponed", "nothing_found")}
    aside.discard(kept.about(PAGE))  # decided a moment ago: it keeps its place, with the way to take it back
    parked = [row for row in rows if row["unit"] in aside]
    open_rows = [row for row in rows if row["unit"] not in aside]
    pages = max(1, -(-len(open_rows) // ROWS_A_PAGE))
    in_f = session.fahrenheit()
    number = st.number_input(say.PAGE, 1, pages, 1, key="page", width=140, bind=IN_ADDRESS) if pages > 1 else 1
    start = (int(number) - 1) * ROWS_A_PAGE
    at_first = device.awaited()  # the browser tells its number a moment later, and the page is drawn again
    now = said_since(chosen, in_f=in_f)
    for row in open_rows[start : start + (ROWS_AT_FIRST if at_first else ROWS_A_PAGE)]:
        show_row(row, body, standing.get(row["unit"]), now(row), in_f=in_f)
    if parked and not at_first:
        st.subheader(say.PARKED.format(count=len(parked)))
        for row in parked[:ROWS_A_PAGE]:
            show_row(row, body, standing.get(row["unit"]), now(row), in_f=in_f)


def said_since(chosen: WeeklyList, *, in_f: bool) -> Callable[[Mapping[str, Any]], str]:
    """What to say of a row that happened since the list was made: its visit was done, and other figures."""
    figures, done = changes_since(chosen, in_f=in_f), visits.done_since(chosen.body["as_of"])
    return lambda row: " ".join(one for one in (done.get(str(row["unit"]), ""), figures(row)) if one)


def changes_since(chosen: WeeklyList, *, in_f: bool) -> Callable[[Mapping[str, Any]], str]:
    """What to say of a row of the newest list where the fresh figures, if they are there, are others."""
    fresh = session.judge().latest(session.key_of())
    newest = newest_issued(session.as_of())
    if fresh is None or newest is None or newest.iso_week != chosen.iso_week or not chosen.issued_at:
        return lambda _row: ""
    known = rows_now(fresh.units)

    def said(row: Mapping[str, Any]) -> str:
        now = known.get(str(row["unit"]))
        return since_issued(
            chosen, row, now, as_of=f"{fresh.as_of:%Y-%m-%d}", horizon_days=fresh.horizon_days, fahrenheit=in_f
        )

    return said


def show_row(
    row: Mapping[str, Any], body: Mapping[str, Any], decision: Mapping[Any, Any] | None, since: str, *, in_f: bool
) -> None:
    """One vehicle: what, how sure, how likely, how cold, by when, why, and what changed."""
    with st.container(border=True, key=f"row-{row['rank']}"):
        left, middle, right, drawn = st.columns([1.05, 1.45, 1.2, 1.3], gap="small")
        with left:
            st.page_link(
                page("unit"), label=f"{row['rank']}\u2002{safe(row['unit'])}", icon=None,
                query_params={"unit": row["unit"]},
            )  # fmt: skip
            changed = f"  \n{whole(change_words(row, in_f=in_f))}" if body["compared_with"] else ""
            st.markdown(
                f":small[{safe(row['depot'] or every_page.NO_DEPOT)} · {safe(words(row['vehicle_class']))}]{changed}"
            )
        middle.markdown(
            f"**{suspect_name(row).capitalize()}**, {sureness(row['part_probability'])} "
            f"({glued(percent(row['part_probability']))})  \n"
            + say.CHANCE.format(
                chance=percent(row["no_start_probability"]), act=act_words(row["act_by"], body["as_of"])
            )
            + f"  \n:small[{say.LAST_READ.format(day=day(row['last_reading_on']))}]"
        )
        coldest = body["depots"].get(row["depot"], {}).get("coming_low_c")
        coming = (
            f"  \n{say.COMING_LOW.format(low=temperature(coldest, fahrenheit=in_f))}" if coldest is not None else ""
        )
        down_to = Reader(pd.Timestamp(body["as_of"]), in_f).down_to(float(row["coldest_start_c"]))
        right.markdown(f"{say.STARTS.format(down_to=down_to)}  \n:small[{cold_range(row, fahrenheit=in_f)}]{coming}")
        with drawn:
            pictures.short_course(row, str(body["as_of"]), in_f=in_f)
        why = first_reason(row, pd.Timestamp(body["as_of"]), fahrenheit=in_f)
        decided = f"  \n:small[{weekly.decision_line(decision)}]" if decision else ""
        action = f"{as_sentence(to_do(row))}."
        newer = f"  \n:small[{safe(since)}]" if since else ""
        lacks = lacking_words(row, pd.Timestamp(body["as_of"]))
        lacking = f"  \n:small[{safe(lacks)}]" if lacks else ""
        st.markdown(whole(f"{safe(as_sentence(why))}. **{safe(action)}**{lacking}{newer}{decided}"))
        decisions.on_card(str(row["unit"]), decision, PAGE)


def change_words(row: Mapping[str, Any], *, in_f: bool) -> str:
    """What changed since the list before, with its sign: the probability, or else the coldest start."""
    change = str(row.get("change", "first"))
    then = ""
    was, was_c = row.get("was"), row.get("was_coldest_start_c")
    if change in ("worse", "better") and was is not None:
        moved = abs(float(row["no_start_probability"]) - float(was)) >= CHANGES.worse_rise
        before = percent(float(was)) if moved or was_c is None else cold_words(float(was_c), fahrenheit=in_f)
        then = f" ({say.was(before, cold=not moved and was_c is not None)})"
    return f"{theme.CHANGE_SIGNS[change]} {say.CHANGE_WORDS[change]}{then}"


def show_gone(body: Mapping[str, Any]) -> None:
    """Vehicles that are no longer on the list, and why."""
    if not body["compared_with"]:
        st.write(say.FIRST_LIST)
    elif not body["gone"]:
        st.write(say.NONE_GONE)
    for row in body["gone"]:
        with st.container(border=True, key=f"row-gone-{row['unit'][:24]}"):
            st.page_link(page("unit"), label=safe(row["unit"]), icon=None, query_params={"unit": row["unit"]})
            st.markdown(say.WAS_ON_LIST.format(part=PART_WORDS[row['part']], chance=percent(float(row['was'])), why=safe(row['why'])))  # fmt: skip
    if body["gone"]:
        downloads.table_button(pd.DataFrame(body["gone"]), f"gone-since-{body['compared_with']}", key="gone")


def table_shown(frame: pd.DataFrame, *, in_f: bool) -> Styler:
    """The table as it is read: plain heads, spoken classes, the reader's degrees; the file keeps codes and numbers."""
    degrees = partial(cold_words, fahrenheit=in_f)
    table = pd.DataFrame(
        {
            "rank": frame["rank"],
            "vehicle": frame["unit"],
            "depot": frame["depot"],
            "class": [words(str(name)) for name in frame["class"]],
            "part": frame["part"],
            "sure": frame["part_probability"].astype(float),
            say.NO_START_HEAD: frame["no_start_probability"].astype(float),
            say.STARTS_HEAD: frame["coldest_start_c"].astype(float),
            say.COMING_LOW_HEAD: frame["coming_low_c"].astype(float),
            say.ACT_BY_HEAD: columns.days(frame["act_by"]),
            say.LAST_READ_HEAD: columns.days(frame["last_reading_on"]),
            "change": [say.CHANGE_WORDS.get(str(c), str(c)) for c in frame["change"]],
            "why": frame["why"],
            say.ACTION_HEAD: frame["action"],
            "decided": frame["decision"],
        }
    )
    return columns.in_words(
        table, {"sure": percent, say.NO_START_HEAD: percent, say.STARTS_HEAD: degrees, say.COMING_LOW_HEAD: degrees}
    )


def show_table(chosen: WeeklyList, rows: list[dict[str, Any]], standing: Mapping[str, Mapping[Any, Any]]) -> None:
    frame = weekly.list_frame({**chosen.body, "units": rows}, standing)
    in_f, as_of = session.fahrenheit(), pd.Timestamp(chosen.body["as_of"])
    why = [first_reason(row, as_of, fahrenheit=in_f) for row in rows]
    columns.show(
        table_shown(frame.assign(why=why), in_f=in_f), alt=say.TABLE_ALT, key="list_table",
        columns={"vehicle": st.column_config.TextColumn(pinned=True)},
    )  # fmt: skip
    with st.container(horizontal=True):
        downloads.table_button(frame, f"weekly-list-{chosen.iso_week}", key="list")
        downloads.workbook_button(frame, f"weekly-list-{chosen.iso_week}", key="list")
        downloads.pdf_button(
            say.PRINTED, lambda: list_pdf(
                chosen, rows, standing, fahrenheit=in_f,
                responsible=responsible_words(session.settings(), list(chosen.body["depots"])),
            ),
            f"weekly-list-{chosen.iso_week}", key="list_pdf",
        )  # fmt: skip


show()
