"""Text and cells become numbers and times: units written beside the value, decimal commas, dates of many habits."""

import re
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Literal

from ingest.choices import FILES
from ingest.fields import (
    A_PER_KA,
    C_PER_F,
    F_AT_FREEZING,
    KM_PER_MILE,
    MA_PER_A,
    MOHM_PER_OHM,
    MS_PER_S,
    MV_PER_V,
    OHM_PER_KOHM,
)

DateOrder = Literal["iso", "day-first", "month-first", "year-first", "?"]
ShortOrder = Literal["day-first", "month-first", "year-first"]
ORDERS: tuple[ShortOrder, ...] = ("day-first", "month-first", "year-first")
"""Orders of a short date such as 05/06/2022 or 26-11-25; the last one for years of two digits only."""

EMPTY_WORDS = frozenset(
    {
        "",
        "-",
        "--",
        "---",
        "–",
        "—",
        ".",
        "?",
        "n/a",
        "na",
        "n.a.",
        "#n/a",
        "n/d",
        "none",
        "null",
        "nil",
        "k.a.",
        "s/o",
        "not measured",
        "not taken",
        "not tested",
        "unknown",
        "not known",
        "unbekannt",
        "inconnu",
        "desconocido",
        "not read",
        "nicht gemessen",
        "non mesuré",
        "no medido",
    }
)
OVER_RANGE = frozenset(
    {
        "ol",
        "o.l",
        "o.l.",
        "0l",
        "0.l",
        ".ol",
        "over",
        "overload",
        "ovld",
        "over range",
        "overrange",
        "overflow",
        "ofl",
        "o.f",
        "-ol",
        "+ol",
    }
)
SERIAL_ZERO = datetime(1899, 12, 30)  # day 0 of the spreadsheet calendar that counts 1900 as a leap year
SERIAL_ZERO_1904 = datetime(1904, 1, 1)  # day 0 of workbooks that say so (ECMA-376, part 1, 18.17.4.1)

DEGREE = "°"  # beside a number alone: of whichever scale its column is
_UNIT_WORDS: dict[str, tuple[str, float, float]] = {  # what stands beside the value -> (our unit, factor, offset)
    word: meant
    for words, meant in (
        ("v volt volts vdc", ("V", 1.0, 0.0)),
        ("mv mvdc", ("V", 1.0 / MV_PER_V, 0.0)),
        ("a amp amp. amps ampere amperes adc", ("A", 1.0, 0.0)),
        ("ma", ("A", 1.0 / MA_PER_A, 0.0)),
        ("ka", ("A", A_PER_KA, 0.0)),
        ("°c c degc deg.c celsius", ("°C", 1.0, 0.0)),
        ("°f f degf deg.f fahrenheit", ("°C", C_PER_F, -F_AT_FREEZING * C_PER_F)),
        ("km", ("km", 1.0, 0.0)),
        ("mi mile miles", ("km", KM_PER_MILE, 0.0)),
        ("rpm 1/min min-1 u/min", ("rpm", 1.0, 0.0)),
        ("s sec", ("s", 1.0, 0.0)),
        ("ms msec", ("s", 1.0 / MS_PER_S, 0.0)),
        ("h", ("h", 1.0, 0.0)),
        ("d", ("d", 1.0, 0.0)),
        (DEGREE, (DEGREE, 1.0, 0.0)),
        ("ω ohm ohms", ("Ω", 1.0, 0.0)),
        ("mω mohm milliohm", ("Ω", 1.0 / MOHM_PER_OHM, 0.0)),
        ("kω kohm kiloohm kilo-ohm kiloohms kilo-ohms", ("Ω", OHM_PER_KOHM, 0.0)),
    )
    for word in words.split()
}
SECONDS: dict[str, float] = {  # a word for a unit of time -> seconds
    "s": 1.0, "sec": 1.0, "secs": 1.0, "second": 1.0, "seconds": 1.0, "sek": 1.0, "sekunden": 1.0,
    "ms": 1e-3, "msec": 1e-3, "millisecond": 1e-3, "milliseconds": 1e-3, "us": 1e-6, "µs": 1e-6, "μs": 1e-6,
    "usec": 1e-6, "microsecond": 1e-6, "microseconds": 1e-6, "ns": 1e-9,
}  # fmt: skip
_NUMBER = re.compile(r"^([+-]?) ?([0-9][0-9.,' ]*|[.,][0-9]+)([eE][+-]?[0-9]{1,2})?$")
DEGREES = str.maketrans({"º": "°", "˚": "°", "℃": "°c", "℉": "°f"})  # signs that are written for a degree's
_WITH_UNIT = re.compile(r"^(.*[0-9.,])\s*([A-Za-z°º˚℃℉µΩ\u2126/][A-Za-z0-9°º˚Ω\u2126/\- .]*)$")
_FULL_WIDTH = {
    0xFF01 + k: 0x21 + k for k in range(94)
}  # as Japanese and Chinese programs write figures (Unicode, FF01 to FF5E)
_SPACES = re.compile("[\u00a0\u2007\u2009\u202f\u3000]")
_UNSEEN = re.compile("[\u00ad\u200b\u200e\u200f\u2060\ufeff]")  # what copying from a page leaves behind
_ABOUT = re.compile(r"^(?:~|≈|ca\.?|circa|about|approx(?:imately|\.)?|etwa|env(?:iron|\.))\s*(?=[0-9])", re.IGNORECASE)
_SOUND = re.compile(
    r"[\s,;]+\(?(?:ok|o\.k\.|okay|good|fine|pass(?:ed)?|gut|i\.\s?o\.|bon|bien)[\s.!)]*$", re.IGNORECASE
)
_DASHED = re.compile(r"^[\u2012\u2013](?=\s?[0-9.,])")  # what an office program makes of a minus
_GROUPS = {mark: re.compile(rf"^[0-9]{{1,3}}(?:{re.escape(mark)}[0-9]{{3}})+$") for mark in (".", ",", "'", " ")}
_DECIMAL = {  # as in 12,6 and 12,3456, in 0,125, in 1.234,567, in 1,2e-3
    mark: re.compile(
        rf"^[+-]?(?:[0-9]+[{mark}](?:[0-9]{{1,2}}|[0-9]{{4,}})|0[{mark}][0-9]+"
        rf"|[0-9]{{1,3}}(?:[{group}][0-9]{{3}})+[{mark}][0-9]+)(?:[eE][+-]?[0-9]+)?$"
    )
    for mark, group in ((",", "."), (".", ","))
}


@dataclass(frozen=True)
class NumberStyle:
    """How a file writes numbers: the decimal mark and the thousands mark ('' when it uses none)."""

    decimal: Literal[".", ","] = "."
    thousands: str = ""

    def __post_init__(self) -> None:
        if self.decimal not in (".", ","):
            raise ValueError(f"decimal is {self.decimal!r}; allowed are '.' and ','")
        if self.thousands not in ("", ".", ",", "'", " ") or self.thousands == self.decimal:
            raise ValueError(
                f"thousands is {self.thousands!r}; allowed are '', '.', ',', ' ', \"'\", not the decimal mark"
            )


@dataclass(frozen=True)
class Parsed:
    """A cell as a number: `value` (None when empty), the `unit` written in the cell, what is wrong, what to remark."""

    value: float | None = None
    unit: str = ""
    problem: str = ""
    remark: str = ""


@dataclass(frozen=True)
class Measured:
    """A workbook's number with the unit that its format shows behind it."""

    value: float
    unit: str

    def __str__(self) -> str:
        return f"{self.value:.15g} {self.unit}"


def clean_text(cell: object) -> str:
    """Return the cell as text without outer blanks, with plain spaces and a plain minus."""
    if cell is None:
        return ""
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return str(int(cell))
    text = str(cell)
    if text.isascii():
        return text.strip()
    text = _SPACES.sub(" ", _UNSEEN.sub("", text)).translate(_FULL_WIDTH)
    return text.replace("\u2212", "-").replace("’", "'").strip()


def plain_float(text: str) -> float:
    """A number without thousands, whose decimal mark is a point or a comma; ValueError where it is none."""
    return float(text.replace(",", "."))


def is_empty(cell: object) -> bool:
    """Tell whether the cell holds no value (blank, a dash, n/a)."""
    return cell is None or (isinstance(cell, float) and cell != cell) or clean_text(cell).casefold() in EMPTY_WORDS


def parse_number(cell: object, style: NumberStyle = NumberStyle()) -> Parsed:
    """Read a cell as a number, with the unit that stands beside it if one does; never guesses an ambiguous comma."""
    if isinstance(cell, bool):
        return Parsed(problem=f"{cell} is not a number")
    if isinstance(cell, (int, float)):
        value = float(cell)
        return (
            Parsed(problem=f"{cell} is not a number")
            if value in (float("inf"), float("-inf"))
            else (Parsed() if value != value else Parsed(value))
        )
    if isinstance(cell, Measured):
        return replace(parse_number(cell.value), unit=_unit_key(cell.unit))
    if isinstance(cell, (date, time, timedelta)):
        return Parsed(problem=f"{cell} is a date or time, not a number")
    text = clean_text(cell)
    folded = text.casefold()
    if folded in EMPTY_WORDS:
        return Parsed()
    text = _DASHED.sub("-", text)
    if folded in OVER_RANGE:
        return Parsed(remark=f"meter over range ({text})")
    return _parse_text(text, style)


def _parse_text(text: str, style: NumberStyle) -> Parsed:
    found = _with_its_unit(text.removeprefix("'"), style)  # an apostrophe: how a spreadsheet marks a text
    if not found.problem:
        return found
    bare = _SOUND.sub("", _ABOUT.sub("", text))  # words that leave the number as it is
    plain = _with_its_unit(bare, style) if bare != text else found
    return found if plain.problem else replace(plain, remark=f"written {shown(text)}")


def _with_its_unit(text: str, style: NumberStyle) -> Parsed:
    body, unit = text, ""
    value, why = _read_digits(body, style)
    if value is None and not why:
        beside = _WITH_UNIT.match(text)
        if beside and _unit_key(beside[2]) in _UNIT_WORDS:
            body, unit = beside[1].strip(), _unit_key(beside[2])
            value, why = _read_digits(body, style)
    if value is None:
        return Parsed(problem=why or f"{shown(text)} is not a number")
    return Parsed(value, unit)


def _read_digits(text: str, style: NumberStyle) -> tuple[float | None, str]:
    """Return the number, or None and the reason when the marks can be read in two ways ('' when it is no number)."""
    match = _NUMBER.match(text)
    if not match:
        return None, ""
    sign, digits, exponent = match[1], match[2].strip(), match[3] or ""
    for mark in (" ", "'"):
        if mark in digits:
            whole, _, rest = _split_decimal(digits, style)
            if not _GROUPS[mark].match(whole):
                return None, ""
            digits = whole.replace(mark, "") + rest
    plain, why = _plain_digits(digits, style)
    if not plain:
        return None, why
    return float(sign + plain + exponent), ""


def decimal_mark(text: str, largest: float = float("inf")) -> str:
    """Return the mark that the digits show to be the decimal one, '' where they can be read in two ways or have none.

    12,610 shows it too where no value is over `largest`, so that it cannot be 12610.
    """
    shown_by = next((mark for mark, shows in _DECIMAL.items() if shows.match(text)), "")
    return shown_by or next((m for m in ",." if _over(text, m, largest)), "")


def _over(text: str, mark: str, largest: float) -> bool:
    return text.count(mark) == 1 and _GROUPS[mark].match(text) is not None and float(text.replace(mark, "")) > largest


def _split_decimal(digits: str, style: NumberStyle) -> tuple[str, str, str]:
    """Split at the last mark that can be the decimal one: whole part, mark, mark with decimals."""
    for mark in (style.decimal, "," if style.decimal == "." else "."):
        head, found, tail = digits.rpartition(mark)
        if found:
            return head, mark, mark + tail
    return digits, "", ""


def _plain_digits(digits: str, style: NumberStyle) -> tuple[str, str]:
    """Return the digits with '.' as the only mark; ('', reason) when two readings are possible."""
    dots, commas = digits.count("."), digits.count(",")
    if not dots and not commas:
        return digits, ""
    if dots and commas:  # the last one is the decimal mark, the other groups thousands
        decimal, group = (".", ",") if digits.rfind(".") > digits.rfind(",") else (",", ".")
        whole, _, rest = digits.rpartition(decimal)
        if decimal in whole or not _GROUPS[group].match(whole):
            return "", ""
        return whole.replace(group, "") + "." + rest, ""
    mark = "." if dots else ","
    if dots + commas > 1:
        return (digits.replace(mark, ""), "") if _GROUPS[mark].match(digits) else ("", "")
    if mark == style.decimal:
        return digits.replace(mark, "."), ""
    grouped = bool(_GROUPS[mark].match(digits)) and not digits.startswith("0")
    if not grouped:
        return digits.replace(mark, "."), ""
    if style.thousands == mark:
        return digits.replace(mark, ""), ""
    return "", f"{digits} can be read in two ways ({digits.replace(mark, '')} or {digits.replace(mark, '.')})"


def in_unit(parsed: Parsed, unit: str) -> tuple[float, float] | None:
    """Return factor and offset from the unit written in the cell to `unit` (V, A, °C, km ...); None if it is another.

    A cell that names a clamp's output (mV in a column of amps) is not converted here.
    """
    if not parsed.unit:
        return 1.0, 0.0
    ours, factor, offset = _UNIT_WORDS[parsed.unit]
    return (factor, offset) if ours == unit else None


def unit_word(text: str) -> tuple[str, float, float] | None:
    """Return (our unit, factor, offset) for a word that names a unit, as in a heading; None when it names none."""
    return _UNIT_WORDS.get(_unit_key(text))


def _unit_key(text: str) -> str:
    return text.replace(" ", "").translate(DEGREES).casefold().strip()


def unit_factor(text: str) -> tuple[float, float]:
    """Factor and offset from the unit that a word names to ours; the value as it is where it names none."""
    return (unit_word(text) or ("", 1.0, 0.0))[1:]


def shown(text: str, longest: int = 60) -> str:
    """Return text quoted for a message: one line, shortened, control characters made visible."""
    return repr(text if len(text) <= longest else text[: longest - 3] + "...")


# --- dates and times -------------------------------------------------------------------------------------------------

_MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "jan january januar jän janvier janv enero ene januari gennaio gen styczeń stycznia sty ocak oca",
            "feb february februar février fevrier fév fev févr febrero februari febbraio luty lutego lut şubat şub",
            "mar march märz maerz mär mrz mars marzo maart mrt marzec marca mart",
            "apr april avril avr abril abr aprile kwiecień kwietnia kwi nisan nis",
            "may mai mayo mei maggio mag maj maja mayıs",
            "jun june juni juin junio giugno giu czerwiec czerwca cze haziran haz",
            "jul july juli juillet juil julio luglio lug lipiec lipca lip temmuz tem",
            "aug august août aout agosto ago augustus augusti sierpień sierpnia sie ağustos ağu",
            "sep sept september septembre septiembre setiembre settembre set wrzesień września wrz eylül eyl",
            "oct october oktober okt octobre octubre ottobre ott październik października paź ekim eki",
            "nov november novembre noviembre listopad listopada kasım kas",
            "dec december dezember dez décembre decembre déc diciembre dic dicembre grudzień grudnia gru aralık ara",
        ),
        start=1,
    )
    for name in names.split()
}
_OF_ANOTHER_MONTH = re.compile(r"^[0-9]{1,2}\.\s*listopad", re.IGNORECASE)
"""With a point after the day it is Croatian, where the word means October (CLDR: "d. MMMM y." there, "d MMMM y" in Polish)."""
UTC_MARK = r"(?i:Z|UTC|GMT|\+00(?::?00)?|-00:?00)"
"""What stands behind a time that is in UTC (ISO 8601-1, 4.2.5; RFC 3339, 4.3)."""
ZONE_WORDS = r"(?i:[CEW]ES?T|ME(?:S|W)?Z|BST|[ECMP][SD]T|A[CEW][SD]T|NZ[SD]T|JST|SAST|MSK)"
"""Names of local clocks behind a time, as CET or EDT; a clock's name says no more than that it was the local one (common practice)."""
_ZONE = rf"({UTC_MARK}|[+-][0-9]{{2}}(?::?[0-9]{{2}})?|{ZONE_WORDS})?"
_AT = r"(?:(?i:à|a las|at|um|om|alle|ore|kl\.?|o|godz\.?)\s+)?"  # before a time of day in words of several languages, from memory
_TIME = (
    rf"(?:(?:[T\s,]+{_AT}|\s-\s)([0-9]{{1,2}})"
    r"(?:(?:[:.h]|(?<=[0-9][0-9]))([0-9]{2})(?:[:.]([0-9]{2})(?:[.,][0-9]+)?)?)?"
    rf"\s*([AaPp]\.?\s?[Mm]\.?)?\s*(?:Uhr|h|hrs)?\s*{_ZONE})?$"
)
_ISO = re.compile(r"^([0-9]{4})[-/.年]([0-9]{1,2})[-/.月]([0-9]{1,2})日?" + _TIME)
_COMPACT = re.compile(r"^((?:19|20)[0-9]{2})([0-9]{2})([0-9]{2})" + _TIME)
_BASIC = re.compile(  # ISO 8601, basic format; loggers leave the T out
    rf"^((?:19|20)[0-9]{{2}})([0-9]{{2}})([0-9]{{2}})[T ]?([0-9]{{2}})([0-9]{{2}})([0-9]{{2}})?()\s*{_ZONE}$"
)
_SHORT = re.compile(r"^([0-9]{1,2})([-/.])\s?([0-9]{1,2})\2\s?([0-9]{4}|[0-9]{2})" + _TIME)
_WEEK = re.compile(r"^([0-9]{4})-?W([0-9]{2})-?([1-7])" + _TIME)  # ISO 8601, week date
_NAMED_DAY_FIRST = re.compile(
    r"^([0-9]{1,2})(?:st|nd|rd|th|er)?[\s.\-]*(?:(?:de|of)\s+)?([^\W\d_]{3,12})[\s.,\-]*(?:del?\s+)?([0-9]{4}(?:\s+r\.?)?|[0-9]{2})"
    + _TIME
)
_NAMED_MONTH_FIRST = re.compile(r"^([^\W\d_]{3,12})[\s.]*([0-9]{1,2})(?:st|nd|rd|th)?[\s,]+([0-9]{4})" + _TIME)
CAN_BE_READ = "can be read"  # what a problem says of a date that means several
_WEEKDAY = re.compile(r"^[^\W\d_]{2,10}\.?,?\s+(?=[0-9]|[^\W\d_]{3,12}[\s.]+[0-9])")


@dataclass(frozen=True)
class ParsedTime:
    """A cell as a time: `value` (None when there is none), what is wrong, what to remark, whether it is in UTC (`UTC_MARK`)."""

    value: datetime | None = None
    problem: str = ""
    remark: str = ""
    utc: bool = False


def month_of(text: str) -> int:
    """Return the month that a text names, whole or short, in a language that dates are read in; 0 where it names none."""
    return _MONTHS.get(text.casefold().rstrip("."), 0)


def parse_time(cell: object, order: DateOrder = "iso", day_zero: datetime = SERIAL_ZERO) -> ParsedTime:
    """Read a cell as a date with or without time of day, local clock, to the second.

    An offset as +01:00 belongs to a local clock and is left out, with a remark. A time in UTC (Z, +00:00) is none of the local
    clock, which nobody here knows: that is a problem, but for midnight, which is how a date alone is written by many programs.

    Years of four digits first or behind points, and named months, need no order. A date such as 05/06/2022 or 26-11-25 needs `order`; without it
    ('iso', '?') it is read where only one order makes a date of it, else the problem says in which ways it can be read.
    day_zero: of a bare day number.
    """
    if isinstance(cell, datetime):
        return ParsedTime(cell.replace(microsecond=0, tzinfo=None))
    if isinstance(cell, date):
        return ParsedTime(datetime(cell.year, cell.month, cell.day))
    if isinstance(cell, (int, float)) and not isinstance(cell, bool) and not cell > FILES.last_serial_d:
        return _from_serial(float(cell), day_zero)
    text = clean_text(cell)
    if text.casefold() in EMPTY_WORDS:
        return ParsedTime(problem="is empty")
    match = _ISO.match(text) or _COMPACT.match(text) or _BASIC.match(text)
    if match:
        return _build(text, (match[1], match[2], match[3]), match.groups()[3:])
    if re.fullmatch(r"[0-9]{5}(?:[.,][0-9]+)?", text):
        return _from_serial(plain_float(text), day_zero)
    week = _WEEK.match(text)
    named = _week_date(text, week) if week else _named_date(text)
    if named is not None:
        return named
    bare = _WEEKDAY.sub("", text)
    match = _SHORT.match(bare)
    if match:
        return _short_date(bare, match, order)
    return _named_date(bare) or ParsedTime(problem=f"{shown(text)} is not a date")


def _week_date(text: str, match: re.Match[str]) -> ParsedTime:
    """Read a year, its week and the day of that week."""
    try:
        day = date.fromisocalendar(int(match[1]), int(match[2]), int(match[3]))
    except ValueError:
        return ParsedTime(problem=f"{shown(text)} is not a date in the calendar")
    return _build(text, (str(day.year), str(day.month), str(day.day)), match.groups()[3:])


def _named_date(text: str) -> ParsedTime | None:
    """Read a date with the month as a word; None when there is no such word."""
    match = _NAMED_DAY_FIRST.match(text)
    if match and match[2].casefold() in _MONTHS and not _OF_ANOTHER_MONTH.match(text):
        return _build(
            text, (_year(match[3].rstrip(" .r")), str(_MONTHS[match[2].casefold()]), match[1]), match.groups()[3:]
        )
    match = _NAMED_MONTH_FIRST.match(text)
    if match and match[1].casefold() in _MONTHS:
        return _build(text, (match[3], str(_MONTHS[match[1].casefold()]), match[2]), match.groups()[3:])
    return None


def _short_date(text: str, match: re.Match[str], order: DateOrder) -> ParsedTime:
    meant, clock = _meant(match), match.groups()[4:]
    if order in ("iso", "?") or (order == "year-first" and not _may_begin_with_year(match)):
        if len(set(meant.values())) > 1:
            return ParsedTime(problem=f"{shown(text)} {CAN_BE_READ} {joined(_ways(meant), 'or')}")
        order = next(iter(meant), "day-first" if int(match[1]) > 12 else "month-first")
    year, month, day = _in_order(match, order)
    if int(month) > 12 >= int(day):
        return ParsedTime(problem=f"{shown(text)} has no month {int(month)} when read {order.replace('-', ' ')}")
    return _build(text, (year, month, day), clock)


def _may_begin_with_year(match: re.Match[str]) -> bool:
    """Whether a short date may be ISO 8601 without its century, as 26-11-25; with slashes or points nobody writes it so."""
    return match[2] == "-" and all(len(match[group]) == 2 for group in (1, 3, 4))


def _in_order(match: re.Match[str], order: DateOrder) -> tuple[str, str, str]:
    """Year, month and day of a short date."""
    if order == "year-first":
        return _year(match[1]), match[3], match[4]
    day, month = (match[1], match[3]) if order == "day-first" else (match[3], match[1])
    return _year(match[4]), month, day


def _meant(match: re.Match[str]) -> dict[ShortOrder, date]:
    """The dates of the calendar that a short date can mean, by order."""
    found: dict[ShortOrder, date] = {}
    for order in ORDERS:
        if order == "year-first" and not (_may_begin_with_year(match) and (found or int(match[1]) > 31)):
            continue  # 30-02-26 is a slip, and proves nothing
        if order == "month-first" and found and match[2] == "." and len(match[4]) == 4:
            continue  # no locale of CLDR writes 11.25.2026
        with suppress(ValueError):
            found[order] = date(*map(int, _in_order(match, order)))
    return found


def _ways(orders: Iterable[str]) -> list[str]:
    return [order.replace("-", " ") for order in orders]


def ways_to_read(cell: object) -> str:
    """The orders that a short date can be read in, as "day first or month first"."""
    match = _SHORT.match(_WEEKDAY.sub("", clean_text(cell)))
    meant = _meant(match) if match else {}
    return joined(_ways(meant), "or") if meant else ""


def _year(text: str) -> str:
    if len(text) == 4:
        return text
    return f"20{text}" if int(text) < FILES.century_split else f"19{text}"


def _build(text: str, day: tuple[str, str, str], clock: tuple[str | None, ...]) -> ParsedTime:
    hour, minute, second, half, zone = clock
    hours = int(hour or 0)
    if half:
        if not 1 <= hours <= 12:
            return ParsedTime(problem=f"{shown(text)} is not a time of day: hours with AM or PM go from 1 to 12")
        hours = hours % 12 + (12 if half.strip().casefold().startswith("p") else 0)
    try:
        value = datetime(int(day[0]), int(day[1]), int(day[2]), hours, int(minute or 0), int(second or 0))
    except ValueError:
        return ParsedTime(problem=f"{shown(text)} is not a date in the calendar")
    utc = re.fullmatch(UTC_MARK, zone or "") is not None
    if utc and value.time() != time():
        return ParsedTime(problem=in_utc(text), utc=True)
    remark = f"time zone {zone} left out, clock time kept as written" if zone else ""
    return ParsedTime(value, remark=remark, utc=utc)


def in_utc(text: str) -> str:
    """What is wrong with a time in UTC where the local clock is asked for."""
    return f"{shown(text)} is in UTC, not by the local clock"


def _from_serial(serial: float, day_zero: datetime) -> ParsedTime:
    if not FILES.first_serial_d <= serial + (day_zero - SERIAL_ZERO).days <= FILES.last_serial_d:
        return ParsedTime(problem=f"{serial:g} is not a date" if serial == serial else "is empty")
    value = day_zero + timedelta(seconds=round(serial * 86_400))
    return ParsedTime(
        value, remark=f"{serial:g} read as a spreadsheet day number{' from 1904' if day_zero.year == 1904 else ''}"
    )


def date_order_evidence(cell: object) -> Literal["", "day-first", "month-first", "year-first", "either"]:
    """Tell what a cell says about the order of day, month and year: "either" where it can mean several dates, '' when it is no
    short date, or the same in every order."""
    match = _SHORT.match(_WEEKDAY.sub("", clean_text(cell))) if isinstance(cell, str) else None
    meant = _meant(match) if match else {}
    if len(set(meant.values())) > 1:
        return "either"
    return next(iter(meant)) if len(meant) == 1 else ""


def counted(number: int, noun: str) -> str:
    """ "1 row", "3 rows"."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def joined(names: Sequence[str], word: str = "and") -> str:
    """ "a, b and c"."""
    *first, last = names
    return f"{', '.join(first)} {word} {last}" if first else last
