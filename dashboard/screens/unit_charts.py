"""The three charts of a vehicle's page with the numbers behind them, drawn once per assessment and kept."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd
import streamlit as st

from analysis.worklist.assess import Assessment
from dashboard.charts import charts
from dashboard.desk.reading_source import limits_for
from dashboard.screens import one_unit, pictures, session
from dashboard.words import chart_numbers, chart_words
from dashboard.words import vehicle_words as say
from dashboard.words.plain_text import day, in_reader_unit, percent
from dashboard.words.reasons import PART_WORDS, measure_name

KEPT = 900  # drawn charts kept in memory, our choice: a few hundred kB


@dataclass(frozen=True)
class Drawn:
    """A chart as a specification, the same in words, and the numbers behind it."""

    spec: dict[str, Any]
    text: str
    tables: tuple[pd.DataFrame, ...]

    def show(self, key: str) -> None:
        pictures.chart(self.spec, self.text, key, *self.tables)


def part_drawn(assessment: Assessment, row: Mapping[Any, Any], facts: one_unit.Facts, part: str) -> Drawn:
    in_f, unit = session.fahrenheit(), str(row["unit"])
    key = ("part", part, in_f, session.written(), *_key(assessment, unit))  # readings not judged yet are marked
    return _kept(key, lambda: _part(assessment, facts, unit, part, in_f=in_f))


def cold_drawn(assessment: Assessment, row: Mapping[Any, Any]) -> Drawn:
    """The coldest start against the coming mornings."""
    in_f = session.fahrenheit()
    return _kept(("cold", in_f, *_key(assessment, str(row["unit"]))), lambda: _cold(assessment, row, in_f=in_f))


def outlook_drawn(assessment: Assessment, row: Mapping[Any, Any]) -> Drawn | None:
    """The probability of a no-start by week; None for a vehicle that needs no look ahead."""
    mine = assessment.outlook[assessment.outlook["unit"] == row["unit"]]
    return None if mine.empty else _kept(("outlook", *_key(assessment, str(row["unit"]))), lambda: _outlook(mine))


def _key(assessment: Assessment, unit: str) -> tuple[object, object, str]:
    """What the charts depend on: the assessment shown, what is on record now, the vehicle."""
    return session.judge().key_of_found(assessment), session.key_of(), unit


@st.cache_data(show_spinner=False, max_entries=KEPT)
def _kept(key: tuple[object, ...], _draw: Callable[[], Drawn]) -> Drawn:  # noqa: ARG001 - its key
    return _draw()


def _part(assessment: Assessment, facts: one_unit.Facts, unit: str, part: str, *, in_f: bool) -> Drawn:
    limits = limits_for(facts.unit, one_unit.own_book())
    course, limit = one_unit.course(assessment, unit, part, limits)
    mine = assessment.parts[(assessment.parts["unit"] == unit) & (assessment.parts["part"] == part)]
    name = measure_name(mine.to_dict("records")[0]).capitalize()
    chart = charts.part_chart(
        course,
        title=say.PART_TITLE.format(measure=name, unit=unit),
        as_of=assessment.as_of,
        repairs=facts.repairs[facts.repairs["part"] == part].rename(columns={"action": "words"}),
        printed_limit=limit,
        marks=one_unit.marks(facts, part, assessment.as_of),
        fahrenheit=in_f,
    )
    text = in_reader_unit(chart_words.part_text(course, name, limit), fahrenheit=in_f)
    return Drawn(charts.specification(chart), text, chart_numbers.part_numbers(course, charts.kinds_of(course)))


def _cold(assessment: Assessment, row: Mapping[Any, Any], *, in_f: bool) -> Drawn:
    cold, season, forecast = one_unit.cold(assessment, row)
    renewed = say.WITH_RENEWED.format(part=PART_WORDS[row["part"]]) if row["flagged"] else None
    chart = charts.cold_chart(cold, season, forecast, title=say.COLD_TITLE, renewed=renewed, fahrenheit=in_f)
    tables = chart_numbers.cold_numbers(cold, season, forecast, renewed=renewed, fahrenheit=in_f)
    return Drawn(charts.specification(chart), chart_words.cold_text(cold, season, fahrenheit=in_f), tables)


def _outlook(mine: pd.DataFrame) -> Drawn:
    part = PART_WORDS[str(mine["part"].iloc[0])]
    end = mine.iloc[-1]
    text = say.OUTLOOK.format(
        day=day(end["week_start"]),
        chance=percent(end["probability"]),
        renewed_chance=percent(end["probability_renewed"]),
        part=part,
    )
    renewed = say.PART_RENEWED.format(part=part)
    chart = charts.outlook_chart(mine, title=say.OUTLOOK_TITLE, renewed=renewed)
    return Drawn(charts.specification(chart), text, (chart_numbers.outlook_numbers(mine, renewed),))
