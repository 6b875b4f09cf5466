"""Numbers and dates of many habits; expected values worked by hand."""

from __future__ import annotations

from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from samples_chance import examples

from ingest.values import NumberStyle, date_order_evidence, in_unit, parse_number, parse_time

COMMA = NumberStyle(",", ".")


@pytest.mark.parametrize(
    ("text", "style", "value"),
    [
        ("12.65", NumberStyle(), 12.65),
        ("0,12", NumberStyle(), 0.12),
        ("1,234.5", NumberStyle(), 1234.5),
        ("1.234,5", NumberStyle(), 1234.5),
        ("1 234,5", COMMA, 1234.5),
        ("1'234.5", NumberStyle(), 1234.5),
        ("1\u00a0234,5", COMMA, 1234.5),
        ("217.462", COMMA, 217462.0),
        ("1.217.462", COMMA, 1217462.0),
        ("14,8", COMMA, 14.8),
        ("12.5", COMMA, 12.5),
        ("12,345", NumberStyle(".", ","), 12345.0),
        ("\u22120.5", NumberStyle(), -0.5),
        (" 7 ", NumberStyle(), 7.0),
        (".5", NumberStyle(), 0.5),
        ("1e3", NumberStyle(), 1000.0),
        (17, NumberStyle(), 17.0),
    ],
)
def test_numbers(text: object, style: NumberStyle, value: float) -> None:
    assert parse_number(text, style).value == value


@pytest.mark.parametrize("text", ["", "-", "--", "n/a", "N/A", "Unknown", "unbekannt", None, float("nan"), "  "])
def test_nothing_is_no_value_and_no_problem(text: object) -> None:
    parsed = parse_number(text)
    assert (parsed.value, parsed.problem) == (None, "")


@pytest.mark.parametrize(
    "text", ["abc", "=1+1", "12..5", "1,23,4", "12 13", "0x10", "1_000", "inf", "nan", True, "٣", "1e999999"]
)
def test_text_is_not_a_number(text: object) -> None:
    parsed = parse_number(text)
    assert parsed.value is None
    assert parsed.problem


def test_a_lone_group_of_three_is_not_guessed() -> None:
    assert "two ways" in parse_number("12,345").problem
    assert "two ways" in parse_number("12.345", NumberStyle(",")).problem


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("23.13 V", "V", 23.13),
        ("850 mV", "V", 0.85),
        ("54 °F", "°C", 12.2222222),
        ("235A", "A", 235.0),
        ("10 mi", "km", 16.09344),
        ("0,92 kA", "A", 920.0),
        ("450 mΩ", "Ω", 0.45),
        ("1.2 kΩ", "Ω", 1200.0),
        ("850 ms", "s", 0.85),
        ("210 A DC", "A", 210.0),
        ("\u200e12610 mVDC", "V", 12.61),  # a mark that nobody sees came along
        ("–5,2 °C", "°C", -5.2),  # the dash that an office program makes of a minus
    ],
)
def test_a_unit_beside_the_value_is_converted(text: str, unit: str, value: float) -> None:
    parsed = parse_number(text)
    factors = in_unit(parsed, unit)
    assert parsed.value is not None
    assert factors is not None
    assert parsed.value * factors[0] + factors[1] == pytest.approx(value)


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [("12,4 V ok", 12.4, "v"), ("~210", 210.0, ""), ("ca. 210 A", 210.0, "a"), ("12.65 (ok)", 12.65, ""), ("12.65; i.O.", 12.65, "")],
)  # fmt: skip
def test_words_that_leave_a_number_as_it_is_stay_as_a_remark(text: str, value: float, unit: str) -> None:
    parsed = parse_number(text)
    assert (parsed.value, parsed.unit, parsed.remark) == (value, unit, f"written {text!r}")


@pytest.mark.parametrize(
    "text", ["12.4 V not ok", "12.4?", ">12.4", "12.4 V wrong clamp", "12.4-12.6", "ok", "~", "~12.4-12.6"]
)
def test_words_that_say_something_of_a_number_are_asked_about(text: str) -> None:
    assert parse_number(text).value is None
    assert parse_number(text).problem


def test_figures_of_full_width_and_a_spreadsheet_s_mark_of_text_are_read() -> None:
    assert parse_number("１２．６５").value == parse_number("'12.65").value == 12.65
    assert parse_number("not measured").problem == ""


@pytest.mark.parametrize("shows", ["OL", "-OL", "O.F", "OFL"])
def test_over_range_is_empty_with_a_remark(shows: str) -> None:
    parsed = parse_number(shows)
    assert parsed.value is None
    assert "over range" in parsed.remark


@examples(25)
@given(st.floats(-1e6, 1e6).map(lambda x: round(x, 3)))
def test_round_trip_of_both_marks(value: float) -> None:
    english, german = f"{value:,.3f}", f"{value:,.3f}".translate(str.maketrans(",.", ".,"))
    assert parse_number(english, NumberStyle(".", ",")).value == value
    assert parse_number(german, COMMA).value == value
    assert parse_number(repr(value)).value == value


@examples(25)
@given(st.text(max_size=30))
def test_any_text_gives_a_value_a_problem_or_nothing_and_never_an_error(text: str) -> None:
    parsed = parse_number(text)
    assert parsed.value is None or not parsed.problem
    assert parse_time(text).value is None or not parse_time(text).problem


@pytest.mark.parametrize(
    ("cell", "order", "value"),
    [
        ("2022-04-28T07:57:00", "iso", datetime(2022, 4, 28, 7, 57)),
        ("2022/4/8 7:57", "iso", datetime(2022, 4, 8, 7, 57)),
        ("28.04.2022 07:57", "day-first", datetime(2022, 4, 28, 7, 57)),
        ("01/11/2022 04:31 PM", "month-first", datetime(2022, 1, 11, 16, 31)),
        ("01/11/2022 12:05 a.m.", "month-first", datetime(2022, 1, 11, 0, 5)),
        ("01/11/2022 12:05 PM", "day-first", datetime(2022, 11, 1, 12, 5)),
        ("28.4.22", "day-first", datetime(2022, 4, 28)),
        ("28. 4. 2022 7:57", "iso", datetime(2022, 4, 28, 7, 57)),  # as Czech and Austrian offices space it
        ("28.4.69", "day-first", datetime(2069, 4, 28)),  # our choice of where the century turns, beside POSIX's 69
        ("28.4.70", "day-first", datetime(1970, 4, 28)),
        ("28 Apr 2022", "iso", datetime(2022, 4, 28)),
        ("Apr 28, 2022 3:00 pm", "iso", datetime(2022, 4, 28, 15)),
        ("3. März 2022 14:30 Uhr", "iso", datetime(2022, 3, 3, 14, 30)),
        ("Mo, 28.04.2022", "day-first", datetime(2022, 4, 28)),
        ("28.04.2022", "iso", datetime(2022, 4, 28)),
        ("05/05/2022", "iso", datetime(2022, 5, 5)),
        ("05.06.2022", "iso", datetime(2022, 6, 5)),  # day first behind points: no date format of CLDR 49 is MM.dd.y
        ("5.6.2022 07:57", "?", datetime(2022, 6, 5, 7, 57)),
        ("12.31.2022", "iso", datetime(2022, 12, 31)),
        (44571.5, "iso", datetime(2022, 1, 10, 12)),
        ("44571", "iso", datetime(2022, 1, 10)),
        ("44571,5", "iso", datetime(2022, 1, 10, 12)),
        ("2022-04-28T07:57:00+01:00", "iso", datetime(2022, 4, 28, 7, 57)),
        ("2022-04-28T07:57+01", "iso", datetime(2022, 4, 28, 7, 57)),
        ("2022-04-28T00:00:00Z", "iso", datetime(2022, 4, 28)),  # how many programs write a date alone
        ("22-04-28", "year-first", datetime(2022, 4, 28)),  # ISO 8601 without its century
        ("22-04-28 07:57", "year-first", datetime(2022, 4, 28, 7, 57)),
        ("28-04-22", "day-first", datetime(2022, 4, 28)),
        ("28.04.22", "year-first", datetime(2022, 4, 28)),
        ("99-04-28", "iso", datetime(1999, 4, 28)),
        ("20220428T075700+0200", "iso", datetime(2022, 4, 28, 7, 57)),  # ISO 8601, basic format
        ("20220428 0757", "iso", datetime(2022, 4, 28, 7, 57)),
        (datetime(2022, 1, 10, 7, 19, 0, 5), "iso", datetime(2022, 1, 10, 7, 19)),
        (date(2022, 1, 10), "iso", datetime(2022, 1, 10)),
        ("2022-W17-4", "iso", datetime(2022, 4, 28)),  # ISO 8601, week date: the fourth day of the week of 25 April
        ("2020W537 07:57", "iso", datetime(2021, 1, 3, 7, 57)),
        ("202204280757", "iso", datetime(2022, 4, 28, 7, 57)),
        ("20220428075700", "iso", datetime(2022, 4, 28, 7, 57)),
        (20220428.0, "iso", datetime(2022, 4, 28)),  # the same in a workbook's cell
        ("28 de abril de 2022 07:57", "iso", datetime(2022, 4, 28, 7, 57)),  # months by CLDR, from memory
        ("28 maggio 2022 7:57", "iso", datetime(2022, 5, 28, 7, 57)),
        ("8 mrt. 2022", "iso", datetime(2022, 3, 8)),
        ("28 października 2022 r. 07:57", "iso", datetime(2022, 10, 28, 7, 57)),
        ("5 listopada 2022", "iso", datetime(2022, 11, 5)),
        ("5 Kasım 2022", "iso", datetime(2022, 11, 5)),
        ("torsdag 28 april 2022 kl. 07.57", "iso", datetime(2022, 4, 28, 7, 57)),
        ("jeudi 28 avril 2022 à 07h57", "iso", datetime(2022, 4, 28, 7, 57)),
        ("Thursday, April 28th, 2022 7:57 AM", "iso", datetime(2022, 4, 28, 7, 57)),
        ("28th of April 2022", "iso", datetime(2022, 4, 28)),
        ("28.04.2022 - 07:57 Uhr", "iso", datetime(2022, 4, 28, 7, 57)),
        ("2022年4月28日 07:57", "iso", datetime(2022, 4, 28, 7, 57)),
        ("2022-04-28 0757", "iso", datetime(2022, 4, 28, 7, 57)),
        (
            "2022-04-28 07:57 CEST",
            "iso",
            datetime(2022, 4, 28, 7, 57),
        ),  # a local clock's name is left out, as +02:00 is
    ],
)
def test_times(cell: object, order: str, value: datetime) -> None:
    assert parse_time(cell, order).value == value  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "cell",
    [
        "31/31/2022",
        "2022-02-30",
        "abc",
        "25:00",
        "13/13/2022",
        "01/02/2022 13:00 PM",
        "2022-04-28 123",  # a minute after midnight, or a remark
        "30-02-26",
        3.0,
        "2022-W53-1",
        "KW 17/2022",
        "5. listopada 2022",
    ],  # the last in Croatian, where it is October
)
def test_no_such_times(cell: object) -> None:
    parsed = parse_time(cell)
    assert parsed.value is None
    assert parsed.problem


def test_day_and_month_are_never_guessed() -> None:
    assert "day first or month first" in parse_time("05/06/2022").problem
    assert "day first or month first" in parse_time("05/06/2022", "?").problem
    assert "day first or month first" in parse_time("05.06.22").problem
    assert "day first or month first" in parse_time("5. 6. 22").problem
    assert "no month 27" in parse_time("27/05/2022", "month-first").problem
    assert parse_time("26-11-25").problem == "'26-11-25' can be read day first or year first"
    assert "day first, month first or year first" in parse_time("05-06-22").problem
    assert "no month 27" in parse_time("22-27-05", "year-first").problem


def test_a_time_in_utc_is_none_of_the_local_clock() -> None:
    """An offset is a local clock's own; Z, or none from UTC, says that it is another clock's (ISO 8601-1, 4.2.5; RFC 3339, 4.3)."""
    for text in (
        "2026-11-25T07:45Z", "20261125T074500Z", "2026-11-25 07:45:10Z", "2026-11-25T07:45+00:00", "25.11.2026 07:45 UTC",
        "20261125T0745+00", "2026-11-25 07:45:10.5-00:00", "2026-11-25 07:45 gmt",
    ):  # fmt: skip
        found = parse_time(text)
        assert (found.value, found.problem, found.utc) == (None, f"{text!r} is in UTC, not by the local clock", True)
    assert parse_time("2026-11-25T07:45+00:30").remark == "time zone +00:30 left out, clock time kept as written"


def test_evidence_of_the_order() -> None:
    found = [
        date_order_evidence(text) for text in ("27.04.2022", "04/27/2022", "04/05/2022", "05/05/2022", "2022-04-27")
    ]
    assert found == ["day-first", "month-first", "either", "", ""]
    assert date_order_evidence("04.05.2022") == "day-first"
    short = [
        date_order_evidence(text) for text in ("26-11-25", "26/11/25", "26.11.25", "26-11-2025", "99-11-25", "30-02-26")
    ]
    assert short == ["either", "day-first", "day-first", "day-first", "year-first", ""], (
        "a slip of a date proves nothing"
    )


@pytest.mark.parametrize("mark", ["\t", "\x0b", "\x0c", "\x1c", "\u2028", "\n"])
def test_a_number_with_another_mark_than_a_space_in_it_is_none(mark: str) -> None:
    """What groups thousands is a space, a point, a comma or an apostrophe (ISO 80000-1, 7.3.1 names the space)."""
    assert parse_number(f"12{mark}345").problem.endswith("is not a number")
    assert parse_number("12 345").value == 12345
