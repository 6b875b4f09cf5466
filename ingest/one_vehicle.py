"""Whether all rows of a file are of the one vehicle that its description names for them: what in the file names another."""

import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from ingest.cells import Batch
from ingest.errors import FileRefused, NotDescribed
from ingest.layout import Layout
from ingest.rules import Context
from ingest.sheets import Sheet
from ingest.values import clean_text, shown
from ingest.vocabulary import OF_A_VEHICLE, meaning

_WORD = re.compile(r"[^\s_,;:|\"'()\[\]]+")
_AFTER_A_WORD = re.compile(r"^(.*?[^\W\d_])\s*[.:#]*\s+(\S*[0-9]\S*)$")  # as in "Vehicle: K-101"


def vehicle_for_all(layout: Layout) -> str:
    """The vehicle that a description names for every row, where no column tells whose it is; "" for none."""
    return "" if "unit" in layout.targets else layout.constants.get("unit", "")


def of_what(sheet: Sheet) -> str:
    """What a title is that of."""
    return "sheet" if sheet.is_workbook else "table"


def by_their_titles(sheets: Sequence[tuple[Sheet, Layout]], context: Context) -> tuple[tuple[Sheet, Layout], ...]:
    """Sheets for the vehicles of the fleet that their titles name; NotDescribed where one of these names none."""
    out = []
    for sheet, layout in sheets:
        if layout.by_title:
            unit = context.same_unit(sheet.name)
            if not unit:
                raise NotDescribed(
                    f"no column is unit, which {layout.table.name} need, and the title of its {of_what(sheet)} {sheet.name!r} is no vehicle of the "
                    "fleet; allowed is a column for it, one for each vehicle under its number, or a constant in a source description"
                )
            layout = replace(layout, constants={**layout.constants, "unit": unit})
        out.append((sheet, layout))
    return tuple(out)


def refuse_another_vehicle(stem: str, sheet: Sheet, layout: Layout, batch: Batch, context: Context) -> None:
    """FileRefused where the file's name, its sheet's, a line that is no row, or a column that is not ours names another vehicle than
    the description does for all rows."""
    unit = vehicle_for_all(layout)
    ours = context.same_unit(unit) or unit
    for where, text in _beside_the_rows(stem, sheet, layout, batch, context):
        other = _another(text, ours, context)
        if other:
            said = f"the title of its {of_what(sheet)} {sheet.name!r}" if layout.by_title else "its source description"
            raise FileRefused(
                f"{where} names the vehicle {shown(other)}, and {said} says that every row is of {unit}; allowed is "
                "a description for each vehicle, or one table with a column that says in every row whose it is (unit)"
            )


def _beside_the_rows(
    stem: str, sheet: Sheet, layout: Layout, batch: Batch, context: Context
) -> Iterator[tuple[str, str]]:
    """Where a vehicle may be named, and what stands there."""
    if not layout.by_title:
        yield "its name", stem
        yield f"sheet {sheet.name!r}", sheet.name
    for row, line in zip(sheet.head, sheet.head_lines, strict=True):
        if line <= layout.heading_line:
            texts = [text for cell in row if (text := clean_text(cell))]
            for text in (*texts, " ".join(texts)):
                yield f"line {line}", text
    told = [times for name, times in batch.times.items() if batch.table.column(name).required]
    for number in np.flatnonzero(np.any([np.isnat(times) for times in told], axis=0)).tolist() if told else []:
        text = batch.original(number).strip(" ,;|\t\"'")
        alone = text.isdigit() and context.same_unit(text)  # figures alone, with nothing else in their line
        yield f"line {batch.lines[number]}", f"vehicle: {text}" if alone else text
    theirs = [heading for heading in batch.beside if meaning(heading, (OF_A_VEHICLE,))]
    for number, extra in enumerate(batch.extra if theirs else ()):
        for heading in theirs:
            if extra and (text := json.loads(extra).get(heading)):
                yield f"line {batch.lines[number]}", f"vehicle: {text}"


def _another(text: str, ours: str, context: Context) -> str:
    """The vehicle that a text names, as written there, where it is another than `ours`; "" for none.

    A vehicle of the fleet is known wherever it stands, one of figures alone behind a word for a vehicle only, as is one that is in no
    table yet but written as ours is.
    """
    if context.same_unit(text) == ours:
        return ""
    for word in _WORD.findall(text):
        if re.search("[0-9]", word) and re.search(r"[^\W\d_]", word) and context.same_unit(word) not in ("", ours):
            return str(word)
    found = _AFTER_A_WORD.match(text)
    if not found or not meaning(found[1], (OF_A_VEHICLE,)):
        return ""
    known = context.same_unit(found[2])
    alike = known or (_shape(found[2]) == _shape(ours) and found[2].casefold() != ours.casefold())
    return found[2] if alike and known != ours else ""


def _shape(unit: str) -> str:
    return re.sub(r"[^\W\d_]+", "a", re.sub(r"[0-9]+", "0", unit.strip()))
