"""What the form says that describes a foreign file: each column of ours in a few words, with the unit it is held in."""

from dashboard.words.plain_text import as_sentence, safe, words
from ingest.fields import CLAMP_COLUMNS, QUANTITIES, Table, conversion, other_units
from ingest.sources import IGNORE, PARTIAL, WORK

NOT_CHOSEN = "choose what it is, or leave it out"
DATE_ORDERS = {
    "day-first": "day first, 31/01/2026",
    "month-first": "month first, 01/31/2026",
    "year-first": "year of two digits first, 26-01-31",
    "iso": "year first, 2026-01-31",
}
MARKS = {".": "point, 12.6", ",": "comma, 12,6"}
GROUPS = {"": "none", ".": "point, 1.200", ",": "comma, 1,200", " ": "blank, 1 200"}
_PARTS = {
    "lowest_is": "what kind of lowest volts: steady, dip or slow samples",
    "taken_on": "date of the reading",
    "taken_time": "time of day of the reading",
    WORK: "what was done to which part, in words",
}
_CLAMPS = {
    "crank_clamp_mv": "clamp round the starter cable, steady, mV",
    "peak_clamp_mv": "clamp round the starter cable, inrush, mV",
    "coil_clamp_mv": "clamp round the coil wire, mV",
}


def columns_to_choose(table: Table) -> list[str]:
    """Everything that a heading may be, none first: columns in every unit, clamps, date and time apart."""
    own = [
        name
        for column in table.columns
        for name in (
            other_units(column.name) if column.name in QUANTITIES or column.name.endswith("_c") else (column.name,)
        )
        if not name.endswith(("_ma", "_ka"))  # of a starter: where a file has them, the draft says so
    ]
    if table.name != "readings":
        return ["", IGNORE, *own, *([WORK] if table.name == "repairs" else [])]
    return ["", IGNORE, *own, *CLAMP_COLUMNS, *PARTIAL]


def column_words(target: str, table: Table) -> str:
    if not target:
        return NOT_CHOSEN
    if target == IGNORE:
        return "leave it out"
    known = _PARTS.get(target) or _CLAMPS.get(target)
    if known:
        return known
    found = conversion(target)
    name = found.column if found else target
    unit = found.unit if found else ""
    if name in QUANTITIES:
        return f"{QUANTITIES[name].label}, {unit}"
    meaning = next(column.meaning for column in table.columns if column.name == name)
    return meaning.partition(" [")[0] + (f", {unit}" if unit else "")


def question_words(question: str, table: Table) -> str:
    """A draft's question as the form asks it: by words, not by names of columns."""
    key, _, asked = question.partition(": ")
    if key != "columns":
        return as_sentence(safe(asked))
    name = asked.partition("'")[2].partition("'")[0]
    return f"Which heading is {column_words(name, table)}? A file of {words(table.name)} needs it."
