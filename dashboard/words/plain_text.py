"""Text that a person typed made harmless for what it is shown in, each by one function here; numbers and dates in plain words.

Markdown: `safe`; HTML: `in_html`; a terminal, a sheet, a calendar, the head of a mail: `clean`; the cells of a CSV:
`formula_safe`; a file's name: `file_name`.  Paper has `files.pieces.printable`, which knows the letters of its font.
"""

from __future__ import annotations

import math
import re
import string
import unicodedata
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from html import escape
from typing import TYPE_CHECKING, Any, Final, TypeVar

from ingest.values import counted

if TYPE_CHECKING:
    import pandas as pd

_PUNCTUATION = frozenset(string.punctuation)
MINUS = "−"
STARTS_ALWAYS_C = -44.0  # colder is outside the range that is worked out, see analysis.starting.coldest_start
STARTS_NEVER_C = 30.0  # a coldest start above is warmer than any morning that counts; our choice
F_PER_K = 1.8  # exact by definition of the scales
NAMED = 6  # of many names in a sentence, our choice
Degrees = TypeVar("Degrees", float, "pd.Series[float]")

_CELSIUS = re.compile(rf"([{MINUS}-]?\d+(?:\.\d+)?) °C")
_BELOW_NIL = re.compile(r"(?<![\w.)-])-(?=\d)")
_APART = re.compile(r"(\d+(?:\.\d+)?)(?: ± (\d+(?:\.\d+)?))? (?:degrees\b|K (?=colder|warmer))")  # older lists said K
_LETTERS_NUMBER = re.compile(r"(?<=[^\W\d_])(\\?-)(?=\d)")
_NUMBER_UNIT = re.compile(r"(\d) (?=\\?%|°|mΩ|Ω|V\b|A\b|h\b|K\b|km\b|rpm\b|[A-Z][a-z]{2}\b|[A-Z]{3}\b)")
_UNUSUAL = re.compile(r"[^ -~]")  # everything but the printable characters of ASCII
_UNUSUAL_IN_HTML = re.compile(r"[^ -~\u00a0]")  # the same but for the blank that breaks no line
_BLANKS = re.compile(r"[^\S\u00a0]+")
_KEPT_MARKS = re.compile(r"(?!\r\n)[^ -~\n\t]")  # the same but for line ends and tabs

_JOINER = "\u2060"  # has no width and breaks no line: nothing is seen of it
_FOUND_IN_TEXT = re.compile(r"https?:(?=//)|www(?=\.)|@|:(?=[\w+-]+:)|(?<!\S)[-<>~](?=[-=>]>?(?!\S))", re.IGNORECASE)
"""Where addresses, mail addresses, icons, arrows and dashes begin that Streamlit looks for in text that is escaped already."""
_FILE_NAME = re.compile(r"[^\w.-]+")
# characters: more than any sentence of ours, few enough that no text from a file fills a page; our choice
LONGEST_SHOWN = 1200
LONGEST_FILE_NAME = 80  # characters, so that any system takes it; our choice

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def safe(text: object, *, longest: int = LONGEST_SHOWN) -> str:
    """Return `text` for use inside Markdown, in one line: nothing in it is a mark, a link, an icon or turns what follows."""
    flat = clean(" ".join(str(text).split()))
    cut = flat if len(flat) <= longest else flat[: longest - 1] + "…"
    apart = _FOUND_IN_TEXT.sub(lambda found: found[0] + _JOINER, cut)
    return "".join(f"\\{c}" if c in _PUNCTUATION else c for c in apart)


def in_html(text: object) -> str:
    """Return `text` for use between the tags of HTML or in an attribute, in one line; numbers stay with their units."""
    flat = _BLANKS.sub(" ", str(text))
    return escape(_UNUSUAL_IN_HTML.sub(lambda found: _harmless(found[0]), flat), quote=True)


def file_name(text: str) -> str:
    """The text as a part of a file's name: letters, figures, points and dashes."""
    return _FILE_NAME.sub("-", text).strip("-.")[:LONGEST_FILE_NAME] or "file"


def clean(text: object) -> str:
    """Text in one line without characters that a terminal, a sheet or a calendar would act on, as long as it was."""
    return _UNUSUAL.sub(lambda found: _harmless(found[0]), str(text))


def printable(text: str) -> str:
    """The same for text of several lines, which keeps its line ends and tabs."""
    return _KEPT_MARKS.sub(lambda found: _harmless(found[0]), text)


def _harmless(character: str) -> str:
    if character.isprintable():
        return character
    return " " if unicodedata.category(character) == "Zs" else "?"


def formula_safe(cell: object) -> object:
    """Text that a spreadsheet would run as a formula gets an apostrophe in front; other cells are left (OWASP, CSV injection)."""
    return "'" + cell if isinstance(cell, str) and cell.startswith(FORMULA_STARTS) else cell


def number(value: float, digits: int = 0) -> str:
    """A number with a real minus sign; a dash when it is missing."""
    if not math.isfinite(value):
        return "–"
    text = f"{value:.{digits}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def below_nil(text: str) -> str:
    """The text with a real minus sign before numbers below nil; numbers of vehicles and days keep their dashes."""
    return _BELOW_NIL.sub(MINUS, text)


def percent(probability: float) -> str:
    """A probability in per cent, never rounded to a false certainty."""
    if not math.isfinite(probability):
        return "–"
    if probability > 0.99:
        return "over 99 %"
    if probability < 0.01:
        return "under 1 %"
    return f"{100 * probability:.0f} %"


def sureness(probability: float) -> str:
    """How sure the suspect part is, in a word."""
    if probability >= 0.9:
        return "very likely"
    if probability >= 0.7:
        return "likely"
    return "most likely of several" if probability >= 0.4 else "uncertain"


def cold_words(celsius: float, *, fahrenheit: bool = False) -> str:
    """A coldest start with its unit; beyond what is looked at, only that it is."""
    if not math.isfinite(celsius):
        return "–"
    bound = min(max(celsius, STARTS_ALWAYS_C), STARTS_NEVER_C)
    beyond = "below " if bound == STARTS_ALWAYS_C else "above " if bound == STARTS_NEVER_C else ""
    return beyond + temperature(bound, fahrenheit=fahrenheit)


def span(low: str, high: str) -> str:
    """An interval in words; one word where both ends are the same."""
    return low if low == high else f"{low} to {high}"


def cold_range(row: Mapping[Any, Any], *, fahrenheit: bool) -> str:
    """The range of a vehicle's coldest start, with how sure it is."""
    low, high = (cold_words(row[f"coldest_start_{end}_c"], fahrenheit=fahrenheit) for end in ("low", "high"))
    return sure(low, high)


def sure(low: str, high: str) -> str:
    """A range with how sure it is."""
    return f"80 % sure: {span(low, high)}"


def temperature(value: float, *, fahrenheit: bool = False) -> str:
    """A temperature [°C] in the reader's unit."""
    kept = round(value, 1)  # as lists keep it, so that one figure never reads as two
    return f"{number(fahrenheit_of(kept))} °F" if fahrenheit else f"{number(kept)} °C"


def fahrenheit_of(celsius: Degrees) -> Degrees:
    """A temperature [°C], or a column of them, in °F."""
    return celsius * F_PER_K + 32.0


def in_reader_unit(text: str, *, fahrenheit: bool) -> str:
    """A sentence of the list with its temperatures in the reader's unit; °C is what the lists keep."""
    if not fahrenheit:
        return below_nil(text)
    degrees = _CELSIUS.sub(lambda m: temperature(float(m[1].replace(MINUS, "-")), fahrenheit=True), text)
    return _APART.sub(_apart_f, degrees)


def _apart_f(found: re.Match[str]) -> str:
    size, error = found[1], found[2]
    more = f" ± {number(float(error) * F_PER_K)}" if error else ""
    return f"{number(float(size) * F_PER_K)}{more} degrees" + (" " if found[0].endswith(" ") else "")


def day(moment: object, *, weekday: bool = False, missing: str = "–") -> str:
    """A day as "Sat 21 Nov 2026"; `missing` where there is none."""
    stamp = datetime.fromisoformat(moment) if isinstance(moment, str) and moment else moment
    if not isinstance(stamp, date) or stamp != stamp:  # a missing moment of a table differs from itself
        return missing
    return f"{stamp:%a} {stamp.day} {stamp:%b %Y}" if weekday else f"{stamp.day} {stamp:%b %Y}"


def monday_of(iso_week: str) -> date:
    """The Monday of a week written as 2026-W48."""
    return date.fromisocalendar(int(iso_week[:4]), int(iso_week[-2:]), 1)


def week_and_monday(iso_week: str) -> str:
    """A week with the day it begins on: nobody at a desk has the numbers of weeks by heart."""
    return f"{iso_week}, from {day(monday_of(iso_week), weekday=True)}"


def week_days(iso_week: str) -> str:
    """A week by its first and last day."""
    monday = monday_of(iso_week)
    return f"{day(monday, weekday=True)} to {day(monday + timedelta(days=6), weekday=True)}"


count_words: Final = counted  # one rule for all packages that say numbers


def by_when(act_by: str | None, as_of: str, *, missing: str = "no date yet") -> str:
    """The day to act by, of a list of the day `as_of`; "now" when that day has come."""
    return "now" if act_by and act_by <= as_of else day(act_by, missing=missing)


def act_words(act_by: str | None, as_of: str) -> str:
    """By when to act, of a list of the day `as_of`; for Markdown."""
    if not act_by:
        return "no day to act by yet"
    return "act **now**" if act_by <= as_of else f"act by **{day(act_by)}**"


def some(names: Sequence[str]) -> str:
    """The first few of many names."""
    return ", ".join(names[:NAMED]) + (" and others" if len(names) > NAMED else "")


def whole(text: str) -> str:
    """The text with every number kept on one line with the unit or month after it."""
    return _NUMBER_UNIT.sub("\\1\u00a0", text)


def unbroken(text: str) -> str:
    """The text with every number as K-157 on one line."""
    return _LETTERS_NUMBER.sub(f"\\1{_JOINER}", text)


def glued(text: str) -> str:
    """Words that stay on one line."""
    return text.replace(" ", "\u00a0")


def as_sentence(text: str) -> str:
    """The text with a capital first; the rest as it is, names and months too."""
    return text[:1].upper() + text[1:]


def words(name: str) -> str:
    """A coded word (`rigid_truck`) as it is spoken."""
    return name.replace("_", " ")
