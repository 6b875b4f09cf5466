"""What may stand behind a command: kinds of values, and options that several commands share.

Nothing heavy is imported here nor by the parser: help and refusals come at once.
"""

import argparse
import os
import re
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path

from ingest.fields import (
    FASTEST_HZ,
    LARGEST_CLAMP,
    MEASUREMENTS,
    OBSERVATIONS,
    OF_A_TRACE,
    QUANTITIES,
    READINGS,
    SLOWEST_HZ,
    SMALLEST_CLAMP,
    allowed_words,
)
from ingest.values import plain_float

DATABASE_VARIABLE = "CRANKTREND_DB"
MAIL_VARIABLE = "CRANKTREND_MAIL"  # the file with the settings for mail
DEFAULT_DATABASE = "fleet.db"
DEMO_DATABASE = "demo.db"
DEMO_FILES = "demo-files"
FIRST_DAY, LAST_DAY = date(1980, 1, 1), date(2999, 12, 31)  # no reading is older; and no end of the calendar is near
FIRST_NUMBER, LAST_NUMBER = 1, 2**62  # of a row or a change, within SQLite's whole numbers
WHO = "command line"
QUIET, VERBOSE = "quiet", "verbose"  # how much a command tells beside its result
RECORDABLE = ("taken_at", *MEASUREMENTS, *OBSERVATIONS, "technician", "instrument", "note", "lowest_is")
BESIDE_A_TRACE = tuple(name for name in RECORDABLE if name not in (*OF_A_TRACE, "instrument", "lowest_is"))
A_CHANGE = "COLUMN=VALUE, as in crank_a=145"
A_PIN = "UNIT=WEEK, as in K-142=2026-W50"


def database_path(options: argparse.Namespace) -> Path:
    """--db, else for all but the demo CRANKTREND_DB, else the command's default name here."""
    if options.command == "demo":
        return Path(options.db or DEMO_DATABASE)
    return Path(options.db or os.environ.get(DATABASE_VARIABLE) or DEFAULT_DATABASE)


def a_date(text: str) -> date:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a date; allowed is YYYY-MM-DD") from None
    if not FIRST_DAY <= day <= LAST_DAY:
        raise argparse.ArgumentTypeError(f"{text} is not allowed; a day from {FIRST_DAY} to {LAST_DAY} is")
    return day


def a_week(text: str) -> str:
    if not re.fullmatch(r"[0-9]{4}-W(?:0[1-9]|[1-4][0-9]|5[0-3])", text):
        raise argparse.ArgumentTypeError(f"{text!r} is no week; allowed is as 2026-W50")
    return text


def whole(low: int, high: int) -> Callable[[str], int]:
    """A whole number in a range."""

    def parse(text: str) -> int:
        if not re.fullmatch(r"-?[0-9]{1,19}", text.strip()) or not low <= int(text) <= high:
            raise argparse.ArgumentTypeError(f"{text!r} is not allowed; a whole number from {low} to {high} is")
        return int(text)

    return parse


a_number = whole(FIRST_NUMBER, LAST_NUMBER)


def pair(allowed: str) -> Callable[[str], tuple[str, str]]:
    """NAME=VALUE, which is `allowed`."""

    def parse(text: str) -> tuple[str, str]:
        name, sign, value = text.partition("=")
        if not sign or not name.strip():
            raise argparse.ArgumentTypeError(f"{text!r} is no change; allowed is {allowed}")
        return name.strip(), value

    return parse


def a_file(text: str) -> str:
    """The name of a file or folder; no name is not the folder one stands in."""
    if not text:
        raise argparse.ArgumentTypeError("a file to import has no name; allowed are names of files and folders")
    return text


def a_folder(text: str) -> str:
    if not text or "\0" in text:
        raise argparse.ArgumentTypeError(f"{text!r} is no name of a folder")
    return text


def a_scale(text: str) -> float:
    """A clamp's scale in mV/A: 10mV/A, 0.01 V/A, or the bare number."""
    found = re.fullmatch(r"\s*([0-9]{1,6}(?:[.,][0-9]{1,6})?)\s*(?:(m?)V\s*/\s*A)?\s*", text)
    scale = plain_float(found[1]) * (1000 if "V" in text and not found[2] else 1) if found else 0.0
    if not SMALLEST_CLAMP <= scale <= LARGEST_CLAMP:
        raise argparse.ArgumentTypeError(f"{text!r} is no scale of a clamp; allowed is as 10mV/A, 1mV/A or 100mV/A")
    return scale


def a_rate(text: str) -> float:
    found = re.fullmatch(r"\s*([0-9]{1,7}(?:[.,][0-9]{1,6})?)\s*(?:(k?)Hz)?\s*", text, re.IGNORECASE)
    rate = plain_float(found[1]) * (1000 if found[2] else 1) if found else 0.0
    if not SLOWEST_HZ <= rate <= FASTEST_HZ:
        raise argparse.ArgumentTypeError(f"{text!r} is no rate; allowed is {SLOWEST_HZ:g} to {FASTEST_HZ:,.0f} Hz")
    return rate


def seconds(text: str) -> float:
    """A moment of a recording, in seconds."""
    if not re.fullmatch(r"-?[0-9]{1,9}(?:[.,][0-9]{1,9})?", text.strip()):
        raise argparse.ArgumentTypeError(f"{text!r} is no time; allowed are seconds as 1.25")
    return plain_float(text)


def add_as_of(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--as-of", type=a_date, default=None, metavar="DATE",
        help="knowledge at the start of this day; nothing dated then or later is used (default: today)",
    )  # fmt: skip


def add_horizon(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--horizon-days", type=whole(1, 180), default=30, metavar="DAYS",
        help="days that the probability of a no-start looks ahead, 1 to 180 (default: 30)",
    )  # fmt: skip


def add_format(parser: argparse.ArgumentParser, *formats: str) -> None:
    """How the result is written; the first is the default."""
    parser.add_argument(
        "--format", choices=formats, default=formats[0], help=f"how to write it (default: {formats[0]})"
    )


def add_measurements(parser: argparse.ArgumentParser, names: Sequence[str] = RECORDABLE) -> None:
    """An option for everything that a reading may hold, or for `names`: what it is, its unit, and what is allowed."""
    for name in names:
        parser.add_argument(
            f"--{name.replace('_', '-')}", dest=name, metavar=metavar_of(name), help=measurement_help(name)
        )


def metavar_of(name: str) -> str:
    """A measurement's unit; WORDS for what is none."""
    return QUANTITIES[name].unit if name in QUANTITIES else "TIME" if name == "taken_at" else "WORDS"


def measurement_help(name: str) -> str:
    """What a value of a reading is, its unit, and what is allowed."""
    if name not in QUANTITIES:
        column = READINGS.column(name)
        return f"{column.meaning}: {allowed_words(column)}{' (default: now)' if name == 'taken_at' else ''}"
    quantity = QUANTITIES[name]
    small, large = (f"{low:.12g} to {high:.12g}" for low, high in (quantity.range_12, quantity.range_24))
    allowed = small if small == large else f"{small} on 12 V, {large} on 24 V"
    return f"{quantity.meaning} [{quantity.unit}]: {allowed}"
