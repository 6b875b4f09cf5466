"""A plan written out: table, CSV, JSON, sheets, and calendars read again by an independent reader's rules."""

import csv
import io
import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pandas as pd
import pytest
import vobject
from icalendar import Calendar
from openpyxl import load_workbook
from samples_plan import AS_OF, make_inputs, pins

from analysis.costs import PARTS
from analysis.plan.figures import figures_of
from analysis.plan.replacement_plan import PlanInputs, ReplacementPlan, plan_replacements
from dashboard.files.plan_export import FORMATS, render
from dashboard.files.workbook import table_xlsx
from dashboard.words.plan_table import headline
from dashboard.words.plan_words import job_words, percent, saving_words, why_words, with_words

NOW = datetime(2026, 11, 23, 8, 0, tzinfo=UTC)
HOSTILE = "=cmd|'/c calc'!A1\r\nX,\";\u2028\x07<b>"


@pytest.fixture(scope="module")
def inputs() -> PlanInputs:
    return make_inputs(fleet=80, at_risk=30, hours=2.0, seed=4)


@pytest.fixture(scope="module")
def plan(inputs: PlanInputs) -> ReplacementPlan:
    return with_words(plan_replacements(inputs, as_of=AS_OF, weeks=13))


def events(text: str) -> dict[str, dict[str, object]]:
    """UID -> summary, day, sequence, status of all events of a calendar."""
    out = {}
    for event in Calendar.from_ical(text).walk("VEVENT"):
        out[str(event["UID"])] = {
            "summary": str(event["SUMMARY"]), "day": event["DTSTART"].dt, "end": event["DTEND"].dt,
            "sequence": int(event["SEQUENCE"]), "status": str(event["STATUS"]), "stamp": event["DTSTAMP"].dt,
        }  # fmt: skip
    return out


def renamed(plan: ReplacementPlan, name: str) -> ReplacementPlan:
    """The plan with its first vehicle under another name."""
    unit = plan.visits["unit"].iloc[0]
    return with_words(replace(plan, visits=plan.visits.assign(unit=plan.visits["unit"].replace({unit: name}))))


def test_the_table_says_who_when_what_and_why_not(plan: ReplacementPlan) -> None:
    text = render(plan, "table")
    assert isinstance(text, str)
    for row in plan.visits.to_dict("records"):
        line = next(x for x in text.splitlines() if f" {row['unit']} " in x and row["iso_week"] in x)
        assert str(row["visit_on"].date()) in line
        assert row["job"] in line
    assert len(plan.left_out)
    assert all(unit in text for unit in plan.left_out["unit"])
    assert "Parts to order:" in text
    assert "one more hour saves USD" in text
    assert "run to failure" in text
    assert "vehicle maker's procedure" in text


def test_the_headline_says_one_visit_and_what_a_plan_costs_more(plan: ReplacementPlan) -> None:
    """Worked by hand: a single visit that the near weeks keep, though waiting is 124 cheaper by now."""
    one = replace(plan, visits=plan.visits.head(1).assign(saving=-124.4), weeks=1, version=2)
    own, never = figures_of(plan)[:2]
    assert (
        f", {never.starts - own.starts:.1f} no-starts avoided, {own.saved:,} USD saved against waiting, "
        in headline(plan)
    )
    said = headline(one)
    assert "for 1 week, version 2: 1 visit, " in said
    assert ", 124 USD more than waiting, " in said
    assert "USD saved against waiting, " in headline(plan)


def test_notes_call_parts_as_the_trade_does(plan: ReplacementPlan) -> None:
    """What is a column in files is no word in a sentence: in the terminal, in the workbook and on the page."""
    told = replace(plan, notes=("Delivery of starter_motor takes 200 days: order now.",))
    assert "! Delivery of starter motor takes 200 days" in str(render(told, "table"))
    raw = render(told, "xlsx")
    assert isinstance(raw, bytes)
    notes = [str(cell.value) for cell in load_workbook(io.BytesIO(raw))["notes"]["A"]]
    assert "Delivery of starter motor takes 200 days: order now." in notes


def test_csv_holds_every_visit(plan: ReplacementPlan) -> None:
    rows = list(csv.DictReader(io.StringIO(str(render(plan, "csv")))))
    assert [row["unit"] for row in rows] == plan.visits["unit"].tolist()
    assert [row["visit_on"] for row in rows] == [str(d.date()) for d in plan.visits["visit_on"]]
    assert float(rows[0]["cost_now"]) == pytest.approx(plan.visits["cost_now"].iloc[0], abs=1e-3)


def test_json_is_strict_and_complete(plan: ReplacementPlan) -> None:
    def refuse(text: str) -> None:
        raise AssertionError(f"{text} is not JSON")

    body = json.loads(str(render(plan, "json")), parse_constant=refuse)
    assert {"as_of", "weeks", "visits", "left_out", "orders", "hours", "policies", "settings", "notes"} <= set(body)
    assert body["visits"][0]["parts"] == plan.visits["parts"].iloc[0]
    assert body["settings"]["no_start"]["heavy"]["roadside"] == 491.0


def test_sheets_hold_the_plan_and_no_formula(plan: ReplacementPlan) -> None:
    hostile = renamed(plan, HOSTILE)
    raw = render(hostile, "xlsx")
    assert isinstance(raw, bytes)
    book = load_workbook(io.BytesIO(raw))
    sheets = ["visits", "left out", "orders", "hours", "policies", "settings", "notes", "done", "act by missed"]
    assert book.sheetnames == sheets
    visits = book["visits"]
    assert visits.max_row == len(plan.visits) + 1
    assert all(cell.data_type != "f" for sheet in book for row in sheet.iter_rows() for cell in row)
    assert str(visits["A2"].value).startswith("=cmd")
    assert visits["D2"].value == plan.visits["visit_on"].iloc[0].to_pydatetime()


def test_sheets_are_for_people(plan: ReplacementPlan) -> None:
    """Words over every column, amounts in the plan's currency, no code in a cell; chances and amounts stay figures, whose sums agree."""
    named = replace(plan, summary={**plan.summary, "currency": "CHF"}, settings={**plan.settings, "currency": "CHF"})
    raw = render(named, "xlsx")
    assert isinstance(raw, bytes)
    book = load_workbook(io.BytesIO(raw))
    for sheet in book:
        heads = [str(cell.value) for cell in sheet[1]]
        assert not [head for head in heads if "_" in head or "[money]" in head], sheet.title
        assert len(set(heads)) == len(heads)
        texts = [cell.value for row in sheet.iter_rows(min_row=2) for cell in row if isinstance(cell.value, str)]
        assert not [text for text in texts if text.startswith('"') or (text in PARTS and "_" in text)], sheet.title
    assert [cell.value for cell in book["settings"][2]] == ["currency", None, None, "CHF"]
    heads, *rows = book["visits"].values
    at = {str(head): number for number, head in enumerate(heads)}
    first = at["of which, as far as it still runs by then: parts [CHF]"]
    for row, visit in zip(rows, plan.visits.to_dict("records"), strict=True):
        assert row[at["expected cost with this visit [CHF]"]] == pytest.approx(sum(row[first : first + 6]), abs=1e-3)
        assert row[at["no-start before the visit"]] == pytest.approx(visit["probability_before"], abs=1e-4)
    assert [head for head in book["left out"][1] if head.value == "a visit would save [CHF]"]


def test_hostile_names_stay_in_their_cell_and_line(plan: ReplacementPlan) -> None:
    hostile = renamed(plan, HOSTILE)
    rows = list(csv.DictReader(io.StringIO(str(render(hostile, "csv")))))
    assert len(rows) == len(plan.visits)
    assert rows[0]["unit"].startswith("'=cmd")
    assert len(str(render(hostile, "table")).splitlines()) == len(str(render(plan, "table")).splitlines())
    found = events(str(render(hostile, "ics", now=NOW)))
    assert len(found) == len(plan.visits)
    assert any("=cmd" in str(event["summary"]) for event in found.values())


@pytest.mark.parametrize("depot", [None, "depot1"])
def test_a_calendar_file_is_one_calendar_by_the_rules(plan: ReplacementPlan, depot: str | None) -> None:
    """RFC 5545: one calendar, CRLF, lines of at most 75 octets, VERSION, PRODID, UID and DTSTAMP in UTC."""
    text = str(render(plan, "ics", depot=depot, now=NOW))
    assert text.startswith("BEGIN:VCALENDAR\r\n")
    assert text.endswith("END:VCALENDAR\r\n")
    assert text.count("BEGIN:VCALENDAR") == 1
    assert all(len(line.encode()) <= 75 for line in text.split("\r\n"))
    assert "\n" not in text.replace("\r\n", "")
    calendar = Calendar.from_ical(text)  # refuses a second calendar in the file
    assert calendar["VERSION"] == "2.0"
    assert calendar["METHOD"] == "PUBLISH"
    mine = plan.visits if depot is None else plan.visits[plan.visits["depot"] == depot]
    assert len(mine) > 3
    found = events(text)
    assert sorted(found) == sorted(mine["uid"])
    for row in mine.to_dict("records"):
        event = found[row["uid"]]
        assert event["day"] == row["visit_on"].date()
        assert event["end"] == row["visit_on"].date() + timedelta(days=1)
        assert event["stamp"] == NOW
        assert row["unit"] in str(event["summary"])


def test_a_second_library_reads_the_same_calendar(plan: ReplacementPlan) -> None:
    """Another reader (vobject), which shares no code with the writer, finds one valid calendar and every visit in it."""
    (calendar,) = vobject.readComponents(str(render(renamed(plan, HOSTILE), "ics", now=NOW)))
    calendar.validate(raiseException=True)
    read = {event.uid.value: event for event in calendar.vevent_list}
    assert sorted(read) == sorted(plan.visits["uid"])
    for row in plan.visits.to_dict("records"):
        event = read[row["uid"]]
        assert event.dtstart.value == row["visit_on"].date()
        assert event.location.value == row["depot"]
        assert event.status.value == "TENTATIVE"
        assert "Expected cost" in event.description.value


def test_a_calendar_without_visits_is_valid_and_says_so() -> None:
    """RFC 5545, 3.6: a calendar holds at least one component."""
    inputs = make_inputs(fleet=10, at_risk=3)
    empty = plan_replacements(replace(inputs, outlook=inputs.outlook.iloc[:0]), as_of=AS_OF, weeks=4)
    (calendar,) = vobject.readComponents(str(render(with_words(empty), "ics", now=NOW)))
    calendar.validate(raiseException=True)
    assert calendar.vjournal.summary.value == "No visit is planned in the 4 weeks from 2026-11-23"


def test_a_second_import_updates_and_cancels(inputs: PlanInputs, plan: ReplacementPlan) -> None:
    """What a calendar program does with the stream: the highest sequence of a UID wins, CANCELLED takes it out."""
    stays, moved, gone = plan.visits["unit"].iloc[[0, 1, 2]]
    later = plan_replacements(
        replace(inputs, pins=pins((moved, "move", "2027-W05")), outlook=inputs.outlook[inputs.outlook["unit"] != gone]),
        as_of=AS_OF,
        weeks=13,
        previous=plan,
    )
    before, after = (events(str(render(with_words(p), "ics", now=NOW))) for p in (plan, later))
    uid = plan.visits.set_index("unit")["uid"]
    assert after[uid[stays]]["sequence"] == before[uid[stays]]["sequence"] == 0
    assert after[uid[moved]]["sequence"] == 1
    assert after[uid[moved]]["status"] == "CONFIRMED"
    assert after[uid[moved]]["day"].isocalendar()[:2] == (2027, 5)
    assert after[uid[gone]] | {"stamp": None, "summary": ""} == before[uid[gone]] | {
        "sequence": 1, "status": "CANCELLED", "stamp": None, "summary": "",
    }  # fmt: skip


def test_one_depot_alone(plan: ReplacementPlan) -> None:
    body = json.loads(str(render(plan, "json", depot="depot1")))
    assert {v["depot"] for v in body["visits"]} == {"depot1"}
    assert set(events(str(render(plan, "ics", depot="depot1", now=NOW)))) == {v["uid"] for v in body["visits"]}


@pytest.mark.parametrize("format", FORMATS)
def test_a_plan_without_visits_can_be_written_too(format: str) -> None:
    inputs = make_inputs(fleet=10, at_risk=3)
    empty = plan_replacements(replace(inputs, outlook=inputs.outlook.iloc[:0]), as_of=AS_OF, weeks=4)
    assert render(with_words(empty), format, now=NOW)


def test_unknown_formats_and_depots_are_bad_calls(plan: ReplacementPlan) -> None:
    with pytest.raises(ValueError, match="allowed are table, csv, json, ics, xlsx"):
        render(plan, "pdf")
    with pytest.raises(ValueError, match="allowed are depot0, depot1"):
        render(plan, "table", depot="moon")


def test_a_visit_kept_at_a_loss_is_not_said_to_pay(plan: ReplacementPlan) -> None:
    """A near week stays as it was promised, though the vehicle may have been found sound since: 504 now, 380 when waiting."""
    visit = plan.visits.iloc[0].to_dict() | {
        "kind": "measure",
        "state": "kept",
        "decision": "",
        "decided_on": "",
        "decided_why": "",
    }
    lost = why_words(visit | {"cost_now": 504.0, "cost_waiting": 380.0, "saving": -124.0}, "USD", pd.Timestamp(AS_OF))
    assert lost.startswith("Kept, as the version before promised it. ")
    assert "pays for" not in lost
    saved = why_words(visit | {"cost_now": 380.0, "cost_waiting": 504.0, "saving": 124.0}, "USD", pd.Timestamp(AS_OF))
    assert "is what the visit pays for" in saved
    assert "Kept" not in saved


def test_words() -> None:
    assert job_words("replace", ["battery", "ground_path"], "") == "replace battery and ground path"
    assert job_words("replace", ["engine_drag"], "") == "put the engine's drag right"
    assert job_words("cheap_first", ["ground_path"], "") == (
        "clean and tighten ground path and measure; replace if that does not help"
    )
    assert (percent(0.0), percent(0.004), percent(0.5), percent(0.996)) == ("0 %", "under 1 %", "50 %", "over 99 %")
    assert (percent(0.01), percent(0.99), percent(0.9901), percent(1.0)) == ("1 %", "99 %", "over 99 %", "100 %")
    assert isinstance(pd.Timestamp(AS_OF), pd.Timestamp)


@pytest.mark.parametrize(
    ("now", "waiting", "expected"),
    [
        (746.6, 1709.4, "saves 962 USD"), (1084.6, 1085.4, "saves under 1 USD"), (1084.4, 1085.6, "saves 2 USD"),
        (177.6, 171.3, "costs 7 USD more than waiting"), (10.4, 10.3, "costs 1 USD more than waiting"),
    ],
)  # fmt: skip
def test_a_saving_is_the_difference_of_the_costs_shown(now: float, waiting: float, expected: str) -> None:
    """By hand: rounded costs, then subtracted, as a reader does it."""
    visit = {"cost_now": now, "cost_waiting": waiting, "saving": waiting - now}
    assert saving_words(visit, "USD") == expected


def test_any_table_is_a_workbook_without_formulas() -> None:
    """As the weekly list is taken along: text as text, days as days, numbers as numbers."""
    frame = pd.DataFrame(
        {"unit": ["=cmd()"], "on": [pd.Timestamp("2026-11-30")], "probability": [0.41], "act_by": [None]}
    )
    page = load_workbook(io.BytesIO(table_xlsx(frame, "weekly-list-2026-W49")))["weekly-list-2026-W49"]
    assert [cell.value for cell in page[1]] == ["vehicle", "on", "probability", "act by"]
    assert (page["A2"].value, page["A2"].data_type, page["C2"].value) == ("=cmd()", "s", 0.41)
    assert page["B2"].value == datetime(2026, 11, 30)
    assert page["D2"].value is None
