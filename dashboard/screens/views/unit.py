"""One vehicle: where it stands, why, what to do, every part over time, and the decision about it."""

from collections.abc import Mapping
from datetime import date
from functools import partial
from typing import Any

import pandas as pd
import streamlit as st

from analysis.worklist.assess import Assessment
from analysis.worklist.course import plain_slopes
from dashboard.desk import weekly
from dashboard.desk.assessment import open_questions, row_of, terms_of
from dashboard.desk.rights import Act
from dashboard.files import paper
from dashboard.screens import (
    bay,
    beginning,
    columns,
    decisions,
    downloads,
    one_unit,
    pictures,
    rounds,
    session,
    unit_charts,
    visits,
)
from dashboard.screens.address import screens_address
from dashboard.screens.caution import before_work
from dashboard.screens.codes import code_button, code_reach
from dashboard.screens.issued import issued_row, newest_issued, until_fresh
from dashboard.screens.pages import in_tabs, page
from dashboard.screens.picker import pick_unit
from dashboard.words import every_page, reading_sheet
from dashboard.words import vehicle_words as say
from dashboard.words.plain_text import (
    as_sentence,
    below_nil,
    cold_range,
    cold_words,
    count_words,
    day,
    percent,
    safe,
    sure,
    sureness,
    temperature,
    whole,
    words,
)
from dashboard.words.reasons import (
    OUTCOME_WORDS,
    PART_WORDS,
    plain,
    quantity_unit,
    read_reasons,
    suspect_name,
    told_name,
)
from dashboard.words.record_words import REASON_WORDS
from dashboard.words.safety import with_caution
from dashboard.words.since import since_issued
from ingest.fields import SAMPLED
from ingest.records import save_reset_answer

METRIC_PX = 172  # [px] two side by side on a phone


def show() -> None:
    if not session.has_vehicles():
        st.title(every_page.PAGES["unit"])
        beginning.nothing_yet()
        return
    unit = choose()
    if unit is None:
        return
    facts = one_unit.facts(unit)
    head(facts)
    rounds.steps(unit)
    if one_unit.said_left(facts, session.as_of()):
        visits.about(unit)
        latest_says(facts)
        records(facts)
        return
    assessment = session.assessment(patient=False)
    row = judged_row(assessment, unit)
    if assessment is None and session.has_readings(session.as_of()):
        while_judging(facts)
        return
    if assessment is not None and row is not None:
        standing(assessment, row, facts)
        decisions.about(unit, flagged=bool(row["flagged"]))
        visits.about(unit)
        replaced_questions(assessment, unit)
        shown = {
            say.OVER_TIME: partial(time_charts, assessment, row, facts),
            say.LATEST: partial(latest_says, facts),
            say.RECORDS: partial(records, facts),
            say.ON_PAPER: partial(sheets, assessment, row, facts),
        }
        st.fragment(in_tabs)(shown, "unit_tab")  # what is above stays as it is meanwhile
    else:
        st.info(say.NOT_JUDGED)
        st.page_link(page("bay"), label=every_page.MEASURE_IT, query_params={"unit": unit}, icon=":material/speed:")
        latest_says(facts)
        records(facts)
        sheets(assessment, row, facts)


def while_judging(facts: one_unit.Facts) -> None:
    """What is on record, as long as the fresh figures are being worked out."""
    unit, issued = str(facts.unit["unit"]), until_fresh()
    row = issued_row(issued, unit) if issued is not None else None
    if issued is not None:
        if row is not None:
            as_issued(row, pd.Timestamp(issued.body["as_of"]), int(issued.body["horizon_days"]))
        else:
            st.write(say.NOT_ON_LIST.format(week=issued.iso_week))
        decisions.about(unit, flagged=row is not None and bool(row["flagged"]))
        visits.about(unit)
    records(facts)
    sheets(None, None, facts)


def as_issued(row: dict[Any, Any], as_of: pd.Timestamp, horizon_days: int) -> None:
    """The four numbers, the reasons and what to do as a list of the past worded them."""
    dates = {name: pd.to_datetime(row[name]) for name in ("act_by", "last_reading_on")}
    four_numbers({**row, **dates, "flagged": True}, as_of, horizon_days)
    advice(row, as_of)


def choose() -> str | None:
    asked = st.query_params.get("unit")
    if asked is not None and (session.units()["unit"] == asked).any():
        st.query_params["unit"] = str(asked)  # a link from this very page does not write it into the browser's address
        return str(asked)
    st.title(every_page.PAGES["unit"])
    with st.container(width=480):
        return pick_unit()


def head(facts: one_unit.Facts) -> None:
    unit = facts.unit
    st.title(safe(unit["unit"]))
    about = [
        safe(unit["depot"] or every_page.NO_DEPOT),
        safe(words(str(unit["vehicle_class"]))),
        f"{unit['system_v']} V",
    ]
    if unit["fuel"]:
        about.append(safe(unit["fuel"]))
    if pd.notna(unit["in_service"]):
        about.append(say.IN_SERVICE.format(day=day(unit["in_service"])))
    if pd.notna(unit["rated_cca_a"]):
        about.append(say.BATTERY_RATED.format(amps=unit["rated_cca_a"]))
    st.caption(" · ".join(about))


def judged_row(assessment: Assessment | None, unit: str) -> dict[Any, Any] | None:
    if assessment is None:
        return None
    found = assessment.units[assessment.units["unit"] == unit].to_dict("records")
    return found[0] if found else None


def standing(assessment: Assessment, row: dict[Any, Any], facts: one_unit.Facts) -> None:
    """The four numbers that matter, the reasons, and what to do."""
    listed = listed_row(assessment, str(row["unit"]), facts)
    four_numbers(
        row | {"evidence": listed["evidence"], "act_by": pd.to_datetime(listed["act_by"])},
        assessment.as_of,
        assessment.horizon_days,
    )
    since(assessment, row | {"evidence": listed["evidence"]})
    not_judged_yet(facts, assessment.as_of)
    advice(listed, assessment.as_of)


def since(assessment: Assessment, row: dict[Any, Any]) -> None:
    """Where the list last issued says otherwise, both figures."""
    issued = newest_issued(session.as_of())
    if issued is None:
        return
    said = since_issued(
        issued, issued_row(issued, str(row["unit"])), row, as_of=f"{assessment.as_of:%Y-%m-%d}",
        horizon_days=assessment.horizon_days, fahrenheit=session.fahrenheit(),
    )  # fmt: skip
    if said:
        st.markdown(whole(safe(said)))


def not_judged_yet(facts: one_unit.Facts, as_of: pd.Timestamp) -> None:
    """What came in on the very day shown: nobody who has just reported that it does not start is told that nothing is to be done."""
    next_day = as_of + pd.Timedelta(days=1)
    read = facts.readings[facts.readings["taken_at"].between(as_of, next_day, inclusive="left")]
    done = facts.repairs[facts.repairs["done_on"] == as_of]
    came = [OUTCOME_WORDS.get(str(outcome), say.A_READING) for outcome in read["outcome"].fillna("")]
    came += [weekly.work_words(repair) for repair in done.to_dict("records")]
    if came:
        st.info(safe(say.NOT_JUDGED_YET.format(what="; ".join(dict.fromkeys(came)))))


def four_numbers(row: Mapping[Any, Any], as_of: pd.Timestamp, horizon_days: int) -> None:
    in_f = session.fahrenheit()
    with st.container(key="numbers"):
        with st.container(horizontal=True):
            a, b, c, d = (st.container(width=METRIC_PX, gap="xxsmall") for _ in range(4))
        a.metric(say.NO_START.format(days=horizon_days), percent(row["no_start_probability"]))
        if "probability_low" in row:  # a list as issued holds no interval of it
            a.caption(sure(percent(row["probability_low"]), percent(row["probability_high"])))
        b.metric(say.STARTS_DOWN_TO, cold_words(row["coldest_start_c"], fahrenheit=in_f))
        b.caption(cold_range(row, fahrenheit=in_f))
        c.metric(say.ACT_BY, by_words(row, as_of))
        count = f", {count_words(row['readings'], 'reading')}" if "readings" in row else ""
        c.caption(say.LAST_READ.format(day=day(row["last_reading_on"]), count=count))
        d.metric(say.SUSPECT if row["flagged"] else say.MOST_WORN, suspect_name(row))
        d.caption(f"{sureness(row['part_probability'])} ({percent(row['part_probability'])})")


def advice(listed: Mapping[Any, Any], as_of: pd.Timestamp) -> None:
    reasons = read_reasons(listed, as_of, fahrenheit=session.fahrenheit())
    lines = "\n".join(f"- {safe(as_sentence(reason))}" for reason in reasons)
    st.markdown(lines)
    action = as_sentence(f"{listed['action']}.")
    st.markdown(say.WHAT_TO_DO.format(action=safe(with_caution(action))))
    if listed["next_test"]:
        st.markdown(every_page.MEASURE_NEXT.format(what=safe(with_caution(listed["next_test"]))))
        st.page_link(page("bay"), label=say.ENTER, query_params={"unit": listed["unit"]})
        before_work()
    elif listed.get("flagged", True):
        st.markdown(every_page.MEASURE_NEXT.format(what=say.ENOUGH))


def by_words(row: Mapping[Any, Any], as_of: pd.Timestamp) -> str:
    if pd.isna(row["act_by"]):
        return say.NO_DATE
    return "now" if row["act_by"] <= as_of else day(row["act_by"])


def listed_row(assessment: Assessment, unit: str, facts: one_unit.Facts) -> dict[str, Any]:
    with session.database() as db:
        terms = terms_of(db, assessment.as_of.date())
    row = row_of(assessment, unit, facts.readings, terms)
    if row is None:
        raise ValueError(f"unit is {unit!r}; allowed are the vehicles that were judged")
    return row


def replaced_questions(assessment: Assessment, unit: str) -> None:
    """Ask about renewals that nobody recorded; an answer can be changed."""
    still = session.read(open_questions, assessment)
    for reset in still[still["unit"] == unit].to_dict("records"):
        part, on = str(reset["part"]), reset["around_on"]
        with st.container(border=True):
            st.markdown(
                say.LOOKS_RENEWED.format(
                    part=PART_WORDS[part], day=day(on), before=reset["before"], after=reset["after"]
                )
            )
            with st.container(horizontal=True):
                for answer in say.ANSWER_WORDS:
                    answer_button(unit, part, on.date(), answer, say.ANSWER_WORDS[answer])
    for (part, around), (answer, by) in one_unit.answered(unit).items():
        other = next(word for word in say.ANSWER_WORDS if word != answer)
        with st.container(horizontal=True, vertical_alignment="center"):
            st.caption(
                say.ANSWERED.format(part=PART_WORDS[part], day=day(around), answer=say.ANSWER_SAID[answer], by=safe(by))
            )
            answer_button(unit, part, around, other, say.IT_WAS_NOT if other == "denied" else say.IT_WAS)


def answer_button(unit: str, part: str, around: date, answer: str, label: str) -> None:
    """A button that puts an answer on record, in place of an earlier one."""
    if session.may(Act.ANSWER) and st.button(label, key=f"{answer}_{part}_{around:%Y%m%d}"):
        with session.saving(Act.ANSWER, unit=unit) as db:
            save_reset_answer(
                db, unit=unit, part=part, around_on=around, answer=answer, by=session.who(), now=session.now()
            )  # fmt: skip
            st.rerun()


# --- charts ----------------------------------------------------------------------------------------------------------


def time_charts(assessment: Assessment, row: dict[Any, Any], facts: one_unit.Facts) -> None:
    """The part over time, the cold it starts in, and the probability of a no-start by week."""
    parts = list(PART_WORDS)
    chosen = st.pills(
        say.PART_OVER_TIME, parts, default=row["part"], format_func=PART_WORDS.__getitem__, key=f"part_{row['unit']}"
    )
    drawn = unit_charts.part_drawn(assessment, row, facts, chosen or parts[0])
    drawn.show("part_chart")
    st.caption(f"{safe(drawn.text)} {say.PART_KEY}")
    left, right = st.columns(2)
    with left:
        drawn = unit_charts.cold_drawn(assessment, row)
        drawn.show("cold_chart")
        st.caption(f"{safe(drawn.text)} {say.COLD_KEY}")
    with right:
        ahead = unit_charts.outlook_drawn(assessment, row)
        if ahead is not None:
            ahead.show("outlook_chart")
            st.caption(f"{safe(ahead.text)} {say.OUTLOOK_KEY}")
    parts_table(assessment, row)


def parts_frame(mine: pd.DataFrame, slopes: Mapping[str, tuple[float, float, float]], *, in_f: bool) -> pd.DataFrame:
    """The parts of one vehicle under plain heads, numbers as numbers and days as days."""
    slope, low, high = zip(*(slopes[part] for part in mine["part"]), strict=True)
    return pd.DataFrame(
        {
            "part": [told_name(part) for part in mine.to_dict("records")],
            say.LEVEL_AT.format(temperature=temperature(20.0, fahrenheit=in_f)): mine["level_mohm"],
            "±": mine["se_mohm"],
            "usual": mine["usual_mohm"],
            say.A_MONTH_ADDS: mine["growth_mohm_per_month"],
            every_page.MEASURED_IN: [quantity_unit(part) for part in mine["part"]],
            "suspect": mine["part_probability"],
            "wearing": mine["worn_probability"],
            say.RENEWED_STARTS: mine["renewed_coldest_start_c"],
            say.WEAR_BEGAN: columns.days(mine["began_on"]),
            say.MEDIAN_SLOPE: slope,
            "from": low,
            "to": high,
        }
    )


def sized_number(value: float) -> str:
    """A resistance or a current with the digits it is worth; a dash where there is none."""
    return below_nil(plain(value, "").strip()) if pd.notna(value) else "–"


def parts_table(assessment: Assessment, row: dict[Any, Any]) -> None:
    """Every part's level, growth and what renewing it alone would gain."""
    in_f = session.fahrenheit()
    mine = assessment.parts[assessment.parts["unit"] == row["unit"]].reset_index(drop=True)
    st.subheader(say.EVERY_PART)
    frame = parts_frame(mine, plain_slopes(assessment.state, str(row["unit"])), in_f=in_f)
    sized = {str(name): sized_number for name in frame if frame[name].dtype == float}
    degrees = {say.RENEWED_STARTS: partial(cold_words, fahrenheit=in_f)}
    columns.show(
        columns.in_words(frame, {**sized, "suspect": percent, "wearing": percent, **degrees}),
        alt=say.PARTS_ALT, key="parts_table",
        columns={"part": st.column_config.TextColumn(pinned=True)},
    )  # fmt: skip
    st.caption(say.PARTS_KEY)
    downloads.table_button(frame, f"parts-{row['unit']}", key="parts")


def work_since(facts: one_unit.Facts, moment: pd.Timestamp) -> str:
    """What was done after a reading, as far as the day shown knows."""
    known = facts.repairs[facts.repairs["done_on"] < pd.Timestamp(session.as_of())]
    return reading_sheet.work_since(known, moment, day)


def latest_says(facts: one_unit.Facts) -> None:
    """What the latest reading alone says: resistances or why not, whether it fits, charge, limits."""
    taken = one_unit.latest_apart(facts)
    if taken is None:
        return
    check = taken.check
    st.subheader(say.LATEST_SAYS)
    at = temperature(20.0, fahrenheit=session.fahrenheit())
    st.caption(say.TAKEN.format(day=day(taken.taken_at), temperature=at))
    if since := work_since(facts, taken.taken_at):
        st.info(safe(since))
    pictures.volts(pictures.volts_of(facts, taken), taken.check)
    left, right = st.columns([5, 6])
    with left:
        identified = reading_sheet.identified_table(check)
        st.table(columns.in_words(identified, cells=reading_sheet.identified_words(identified)))
        downloads.table_button(identified.reset_index(), f"latest-reading-{facts.unit['unit']}", key="identified")
    with right:
        one_unit.show_fit(check)
        for text in reading_sheet.pointed_words(check, reading_sheet.MOST_FINDINGS):
            st.markdown(one_unit.for_reader(text))
    one_unit.show_unidentified(check)
    one_unit.show_limits(check)
    with st.expander(say.OVER_READINGS):
        table = reading_sheet.over_time_table(taken.over_time)
        cells = reading_sheet.over_time_words(taken.over_time)
        columns.show(columns.in_words(table, cells=cells), alt=say.OVER_READINGS_ALT, key="over_time_table")
        downloads.table_button(taken.over_time, f"resistances-{facts.unit['unit']}", key="over_time")


# --- records and paper -----------------------------------------------------------------------------------------------


def records(facts: one_unit.Facts) -> None:
    unit = facts.unit["unit"]
    st.subheader(say.READINGS)
    habits = session.habits()
    shown = one_unit.readings_shown(facts, habits)
    if shown.empty:
        st.write(say.NO_READING)
    else:
        columns.show(
            shown, alt=say.READINGS_ALT, height=min(38 * len(shown) + 40, 330),
            key="readings_table", columns=one_unit.reading_columns(
                habits, bounds=bool((facts.readings["lowest_is"] == SAMPLED).any())
            ),
        )  # fmt: skip
        if (shown["doubtful"] != "").any():
            st.caption(say.DOUBTFUL_KEY)
    with st.container(horizontal=True):
        # in °C and km, as named
        downloads.table_button(one_unit.readings_shown(facts), f"readings-{unit}", key="readings")
        st.page_link(page("correct"), label=say.CORRECT_READING, query_params={"unit": unit})
        st.page_link(page("correct"), label=say.CORRECT_VEHICLE, query_params={"unit": unit, "what": "vehicle"})
    if len(facts.set_aside):
        st.markdown(say.not_taken_in(len(facts.set_aside)))
        for row in facts.set_aside.head(5).to_dict("records"):
            why = safe(bay.spoken(str(row["reason"])))
            st.caption(say.ROW_OF_FILE.format(file=safe(row["file"]), line=row["line"], reason=why))
        st.page_link(page("set_aside"), label=say.PUT_RIGHT)
    st.subheader(say.REPAIRS)
    if facts.repairs.empty:
        st.write(say.NO_REPAIR)
    else:
        table = facts.repairs.iloc[::-1][["done_on", "part", "action", "reason", "note", "repair_id"]]
        shown_as = table.assign(
            part=[PART_WORDS.get(part, part) for part in table["part"]],
            reason=[REASON_WORDS.get(reason, reason) for reason in table["reason"]],
        )
        columns.show(shown_as, alt=say.REPAIRS_ALT, key="repairs_table")
        with st.container(horizontal=True):
            downloads.table_button(table, f"repairs-{unit}", key="repairs")
            st.page_link(page("correct"), label=say.CORRECT_REPAIR, query_params={"unit": unit, "what": "repair"})
        pictures.before_and_after(facts)


def sheets(assessment: Assessment | None, row: dict[Any, Any] | None, facts: one_unit.Facts) -> None:
    unit = str(facts.unit["unit"])
    st.subheader(say.ON_PAPER)
    in_f = session.fahrenheit()
    with st.container(horizontal=True):
        if assessment is not None and row is not None:
            listed = listed_row(assessment, unit, facts)
            taken = one_unit.latest_apart(facts)
            volts = None
            if taken is not None:
                volts = pictures.volts_of(facts, taken)
                since = work_since(facts, taken.taken_at)
                said = reading_sheet.paper_lines(day(taken.taken_at), taken.check, since)
                listed = {**listed, "latest": said}
            parts = assessment.parts[assessment.parts["unit"] == unit]
            known = facts.readings[facts.readings["taken_at"] < assessment.as_of]
            as_of = f"{assessment.as_of:%Y-%m-%d}"
            downloads.pdf_button(
                say.SHEET, lambda: paper.unit_pdf(
                    listed, parts, known, facts.repairs, as_of=as_of, horizon_days=assessment.horizon_days,
                    volts=volts, fahrenheit=in_f,
                ), f"vehicle-{unit}", key="unit_pdf",
            )  # fmt: skip
        downloads.pdf_button(
            say.BAY_SHEET, lambda: paper.bay_pdf([one_unit.bay_unit(facts, fahrenheit=in_f)], fahrenheit=in_f),
            f"bay-{unit}", key="bay_pdf",
        )  # fmt: skip
        base = screens_address()
        code_button(base, [unit], f"code-{unit}", say.CODE)
    code_reach(base)


show()
